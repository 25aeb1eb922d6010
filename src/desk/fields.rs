//! The fields of the page: which key of the plan each stands for, and how its value is typed.

use std::collections::BTreeMap;

use super::words::Station;
use crate::error::Fault;
use crate::plan::edit::{Key, PlanText, Written};

/// How a value is typed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FieldKind {
    /// A line of text, quantities with their unit among them.
    Text,
    /// A number without a unit.
    Number,
    /// Texts, a line each.
    Lines,
    /// Several lines of one text.
    Long,
    /// One of these; "" for what the program does unless told.
    Choice(&'static [&'static str]),
    /// Yes or no.
    Flag,
    /// Files of the folder, ticked.
    Files,
}

/// A field.
#[derive(Debug, Clone, Copy)]
pub struct FormField {
    /// Section and key of the plan with a dot, as in "site.lat".
    pub id: &'static str,
    /// Where it stands on the page.
    pub station: Station,
    /// How it is typed.
    pub kind: FieldKind,
    /// Whether it stands among those that few need.
    pub seldom: bool,
}

const fn field(station: Station, id: &'static str, kind: FieldKind) -> FormField {
    FormField {
        id,
        station,
        kind,
        seldom: false,
    }
}

const fn seldom(station: Station, id: &'static str, kind: FieldKind) -> FormField {
    FormField {
        id,
        station,
        kind,
        seldom: true,
    }
}

use FieldKind::{Choice, Files, Flag, Lines, Long, Number, Text};
use Station::{Brief, Days, Flight, Site, Stack, Winds, Zone};

/// All fields, in the order of the page.
pub const FIELDS: [FormField; 53] = [
    field(Flight, "flight.name", Text),
    field(Flight, "flight.release", Text),
    field(Flight, "flight.timezone", Text),
    field(Flight, "flight.units", Choice(&["", "metric", "us"])),
    field(Flight, "site.lat", Number),
    field(Flight, "site.lon", Number),
    field(Flight, "site.elevation", Text),
    field(Stack, "balloon.mass", Text),
    field(Stack, "balloon.burst_diameter", Text),
    field(Stack, "balloon.gas", Choice(&["", "helium", "hydrogen"])),
    field(Stack, FILL_KIND, Choice(&FILLS)),
    field(Stack, FILL_VALUE, Text),
    field(Stack, "parachute.diameter", Text),
    field(Stack, "parachute.drag_coefficient", Number),
    field(Stack, "parachute.mass", Text),
    field(Stack, "parachute.measured", Text),
    seldom(Stack, "balloon.gas_purity", Number),
    seldom(Stack, "balloon.filler", Text),
    seldom(Stack, "site.shelter", Text),
    seldom(Stack, "site.door", Text),
    seldom(Stack, "ascent.rate", Text),
    seldom(Stack, "ascent.burst_altitude", Text),
    seldom(Stack, "descent.landing_speed", Text),
    seldom(Stack, "descent.remnant", Text),
    field(Winds, WIND_FILES, Files),
    field(Days, "limits.surface_wind", Text),
    field(Days, "limits.max_drift", Text),
    field(Days, "limits.daylight_after_landing", Text),
    field(Days, "limits.keep_out_probability", Number),
    seldom(Days, "limits.all_hazards_probability", Number),
    seldom(Days, "limits.water_probability", Number),
    seldom(Days, "limits.dark_release", Flag),
    seldom(Site, "ground.terrain", Lines),
    seldom(Site, "ground.roads", Lines),
    seldom(Site, "ground.road_class", Text),
    seldom(Site, "ground.keep_out", Lines),
    seldom(Site, "ground.land_in", Lines),
    seldom(Site, "ground.power_lines", Lines),
    seldom(Site, "ground.osm", Lines),
    seldom(Zone, "spread.wind", Text),
    seldom(Zone, "spread.lift", Text),
    seldom(Zone, "spread.burst_diameter", Text),
    seldom(Zone, "spread.drag", Text),
    seldom(Zone, "spread.rate", Text),
    seldom(Zone, "spread.parachute", Text),
    seldom(Zone, "spread.remnant", Text),
    seldom(Zone, "spread.early_bursts", Text),
    seldom(Zone, "spread.canopy_changes", Text),
    seldom(Zone, "spread.release_delay", Text),
    seldom(Zone, "spread.logbook", Text),
    field(Brief, "brief.contacts", Lines),
    field(Brief, "brief.notes", Long),
    field(Brief, "brief.filling", Text),
];

/// How the fill is given, and as how much: together one key of the balloon.
pub const FILL_KIND: &str = "fill.kind";
/// See [`FILL_KIND`].
pub const FILL_VALUE: &str = "fill.value";
/// The files of winds.
pub const WIND_FILES: &str = "wind.files";
/// The keys that a fill is given by; of each plan exactly one.
pub const FILLS: [&str; 8] = [
    "",
    "neck_lift",
    "free_lift",
    "gas_volume",
    "ascent_rate",
    "burst_altitude",
    "flight_time",
    CYLINDERS,
];
/// The one among them that is a table of its own, written as text.
const CYLINDERS: &str = "cylinders";
/// What is known of each thing that hangs below.
pub const LOAD: [&str; 4] = ["name", "mass", "measured", "smallest_face"];

/// Values of the fields, by their names.
pub type Values = BTreeMap<String, String>;

/// What all fields show of a plan.
pub fn shown(plan: &PlanText) -> Values {
    let of_fields = FIELDS.iter().map(|field| field.id.to_owned());
    let of_load = load_ids(plan);
    let ids = of_fields.chain(of_load);
    ids.map(|id| {
        let value = value(plan, &id);
        (id, value)
    })
    .collect()
}

/// The names of the fields of the load.
pub fn load_ids(plan: &PlanText) -> Vec<String> {
    let rows = 0..plan.tables("load");
    rows.flat_map(|row| LOAD.iter().map(move |key| format!("load.{row}.{key}")))
        .collect()
}

/// What a field shows of a plan.
pub fn value(plan: &PlanText, id: &str) -> String {
    let written = match id {
        FILL_KIND => return fill(plan).to_owned(),
        FILL_VALUE => fill_value(plan),
        _ => key(id).map_or(Written::Nothing, |key| plan.get(key)),
    };
    match written {
        Written::Nothing => String::new(),
        Written::Text(text) | Written::Number(text) | Written::Other(text) => text,
        Written::Flag(flag) => if flag { "yes" } else { "no" }.to_owned(),
        Written::Texts(texts) => texts.join("\n"),
    }
}

/// Whether a field shows something that its box cannot hold: a table, or pairs.
pub fn is_beyond(plan: &PlanText, id: &str) -> bool {
    let found = match id {
        FILL_VALUE => fill_value(plan),
        _ => key(id).map_or(Written::Nothing, |key| plan.get(key)),
    };
    // Dates and times are no texts either, but fit into a box.
    matches!(found, Written::Other(text) if text.contains(['{', '[', '=']))
}

/// The key that a plan's fill is given by; none is "".
fn fill(plan: &PlanText) -> &'static str {
    let given = |name: &&&str| !name.is_empty() && plan.get(of_balloon(name)) != Written::Nothing;
    // A plan that has two of them is at fault, and shows the first.
    FILLS.iter().find(given).unwrap_or(&"")
}

/// How much the fill is; nothing for cylinders, which are a table that another kind of fill has no use for.
fn fill_value(plan: &PlanText) -> Written {
    match fill(plan) {
        CYLINDERS => Written::Nothing,
        kind => plan.get(of_balloon(kind)),
    }
}

fn of_balloon(name: &str) -> Key<'_> {
    Key {
        section: "balloon",
        table: None,
        name,
    }
}

/// The key that the name of a field stands for.
pub fn key(id: &str) -> Option<Key<'_>> {
    let (section, rest) = id.split_once('.')?;
    match rest.split_once('.') {
        None => Some(Key {
            section,
            table: None,
            name: rest,
        }),
        Some((table, name)) => Some(Key {
            section,
            table: Some(table.parse().ok()?),
            name,
        }),
    }
}

/// Puts the fields that differ from what a page was shown into the plan as it is now; which ones. `None` where
/// one is of a row of the load that is another now: its number is all that the page knows of it.
pub fn apply(plan: &mut PlanText, was: &PlanText, given: &Values) -> Option<Vec<String>> {
    let was_shown = shown(was);
    let ids: Vec<&String> = was_shown
        .iter()
        // A page can only change what it was shown.
        .filter(|(id, was)| given.get(*id).is_some_and(|now| tidy(now) != tidy(was)))
        .map(|(id, _)| id)
        .collect();
    let mut rows = ids.iter().filter_map(|id| key(id)?.table);
    if !rows.all(|row| is_same_row(plan, was, row)) {
        return None;
    }
    for id in &ids {
        let typed = given.get(*id).map_or("", String::as_str);
        match id.as_str() {
            FILL_KIND | FILL_VALUE => {}
            id => set(plan, id, typed),
        }
    }
    // Kind and value of the fill are one key, so either of them writes both.
    if ids
        .iter()
        .any(|id| [FILL_KIND, FILL_VALUE].contains(&id.as_str()))
    {
        set_fill(plan, given);
    }
    Some(ids.into_iter().cloned().collect())
}

/// Whether a row of the load is the one that it was, as far as pages show it.
pub fn is_same_row(plan: &PlanText, was: &PlanText, row: usize) -> bool {
    let of = |plan: &PlanText| LOAD.map(|key| value(plan, &format!("load.{row}.{key}")));
    // By the count as well: of two rows alike one may be gone.
    plan.tables("load") == was.tables("load") && of(plan) == of(was)
}

/// Line ends as browsers send them, made one.
fn tidy(text: &str) -> String {
    text.replace("\r\n", "\n").trim().to_owned()
}

/// Writes what was typed into one field.
pub fn set(plan: &mut PlanText, id: &str, typed: &str) {
    let Some(key) = key(id) else {
        return;
    };
    let kind = FIELDS.iter().find(|field| field.id == id);
    let typed = tidy(typed);
    let lines = || typed.lines().map(str::trim).filter(|line| !line.is_empty());
    // The rows of the load are not among the fields: all that they hold is text.
    let written = match kind.map_or(Text, |field| field.kind) {
        // An emptied box means what the program does unless told: the key goes.
        _ if typed.is_empty() => Written::Nothing,
        Number => Written::Number(typed),
        Lines | Files => Written::Texts(lines().map(str::to_owned).collect()),
        Flag => Written::Flag(typed == "yes"),
        Text | Long | Choice(_) => Written::Text(typed),
    };
    plan.set(key, written);
}

/// Writes the fill: one key in place of the others.
fn set_fill(plan: &mut PlanText, given: &Values) {
    let of = |id: &str| given.get(id).map(|text| tidy(text)).unwrap_or_default();
    let (kind, value) = (of(FILL_KIND), of(FILL_VALUE));
    if kind == CYLINDERS {
        return;
    }
    // A plan has exactly one of them: one that was left would be a fault.
    for name in FILLS
        .iter()
        .filter(|name| !name.is_empty() && **name != kind)
    {
        plan.set(of_balloon(name), Written::Nothing);
    }
    if FILLS.contains(&kind.as_str()) && !kind.is_empty() {
        plan.set(of_balloon(&kind), Written::Text(value));
    }
}

/// The field that a fault of the plan belongs to, if it has one on the page.
pub fn of_fault(plan: &PlanText, fault: &Fault) -> Option<String> {
    let (section, name) = fault.key.as_deref()?.split_once(' ')?;
    let inside = section.trim_start_matches('[').trim_end_matches(']');
    // All kinds of fill share one box, but for cylinders, which have none.
    if section == "[balloon]" && FILLS.contains(&name) && name != CYLINDERS {
        return Some(FILL_VALUE.to_owned());
    }
    // Nothing but the line tells which of several tables it is.
    let id = match section.starts_with("[[") {
        true => format!(
            "{inside}.{}.{name}",
            plan.table_of_line(inside, fault.line?)?
        ),
        false => format!("{inside}.{name}"),
    };
    let known = FIELDS.iter().any(|field| field.id == id) || load_ids(plan).contains(&id);
    known.then_some(id)
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLAN: &str = "\
[flight]
name = \"A\"                    # ours
[site]
lat = 43.06
lon = -108.48
[balloon]
mass = \"1200 g\"
ascent_rate = \"5 m/s\"         # at release
[[load]]
name = \"box\"
mass = \"1 kg\"
[limits]
dark_release = true
[brief]
contacts = [\"Ana\", \"Rui\"]
";

    fn changed(changes: &[(&str, &str)]) -> (String, Vec<String>) {
        let mut plan = PlanText::read(PLAN).unwrap();
        let was = plan.clone();
        let mut given = shown(&was);
        for (id, value) in changes {
            given.insert((*id).to_owned(), (*value).to_owned());
        }
        let ids = apply(&mut plan, &was, &given).unwrap();
        (plan.text(), ids)
    }

    #[test]
    fn a_form_sent_back_as_it_was_changes_nothing() {
        assert_eq!(changed(&[]), (PLAN.to_owned(), vec![]));
        let (text, ids) = changed(&[("brief.contacts", "Ana\r\nRui\r\n")]);
        assert_eq!((text.as_str(), ids.len()), (PLAN, 0));
    }

    #[test]
    fn only_what_differs_from_what_was_shown_is_written() {
        // Another page has moved the site meanwhile; this one changed the mass.
        let was = PlanText::read(PLAN).unwrap();
        let mut now = PlanText::read(&PLAN.replace("43.06", "44.0")).unwrap();
        let mut given = shown(&was);
        given.insert("balloon.mass".into(), "1 kg".into());
        assert_eq!(apply(&mut now, &was, &given).unwrap(), ["balloon.mass"]);
        assert!(now.text().contains("lat = 44.0") && now.text().contains("mass = \"1 kg\""));
    }

    #[test]
    fn a_row_that_is_another_now_is_not_written_into() {
        let camera = "[[load]]\nname = \"camera\"\nmass = \"2 kg\"\n";
        let both = PLAN.replace("[limits]", &format!("{camera}[limits]"));
        let was = PlanText::read(&both).unwrap();
        let mut given = shown(&was);
        given.insert("load.1.mass".into(), "3 kg".into());
        let put = |now: &str| {
            let mut now = PlanText::read(now).unwrap();
            apply(&mut now, &was, &given).map(|_| now.text())
        };
        // Another page has changed the first row: the second is still the one that was shown.
        let text = put(&both.replace("\"1 kg\"", "\"9 kg\"")).unwrap();
        assert!(
            text.contains("\"9 kg\"") && text.contains("\"3 kg\""),
            "{text}"
        );
        let gone = {
            let mut plan = was.clone();
            plan.remove_table("load", 0);
            plan.text()
        };
        let more = format!("{both}{camera}");
        for now in [&gone, PLAN, &more, &both.replace("camera", "parcel")] {
            assert_eq!(put(now), None, "{now}");
        }
    }

    #[test]
    fn every_kind_of_field_is_written_as_its_key_has_it() {
        let (text, ids) = changed(&[
            ("site.lat", "43.1"),
            ("limits.dark_release", "no"),
            ("brief.contacts", "Ana"),
            ("brief.notes", "one\r\ntwo"),
            ("load.0.mass", "2 lb"),
            ("balloon.gas", "hydrogen"),
        ]);
        assert_eq!(ids.len(), 6);
        for line in [
            "lat = 43.1\n",
            "dark_release = false\n",
            "contacts = [\"Ana\"]\n",
            "mass = \"2 lb\"\n",
            "gas = \"hydrogen\"\n",
            "name = \"A\"                    # ours\n",
        ] {
            assert!(text.contains(line), "{line}: {text}");
        }
        let plan = PlanText::read(&text).unwrap();
        assert_eq!(shown(&plan)["brief.notes"], "one\ntwo");
    }

    #[test]
    fn a_plan_has_one_fill() {
        let (text, _) = changed(&[(FILL_KIND, "neck_lift"), (FILL_VALUE, "6 kg")]);
        assert!(text.contains("neck_lift = \"6 kg\"") && !text.contains("ascent_rate"));
        let (text, _) = changed(&[(FILL_VALUE, "6 m/s")]);
        assert!(
            text.contains("ascent_rate = \"6 m/s\"         # at release"),
            "{text}"
        );
        let (text, _) = changed(&[(FILL_KIND, "")]);
        assert!(!text.contains("ascent_rate"));
    }

    #[test]
    fn cylinders_leave_their_box_empty_for_the_next_kind_of_fill() {
        let cylinders = "cylinders = { count = 2, contents = \"9 m3\" }\n";
        let text = PLAN.replace("ascent_rate = \"5 m/s\"         # at release\n", cylinders);
        let was = PlanText::read(&text).unwrap();
        let mut given = shown(&was);
        assert_eq!(
            (given[FILL_KIND].as_str(), given[FILL_VALUE].as_str()),
            (CYLINDERS, "")
        );
        assert!(!is_beyond(&was, FILL_VALUE));
        given.insert(FILL_KIND.into(), "neck_lift".into());
        let mut now = was.clone();
        apply(&mut now, &was, &given).unwrap();
        assert!(now.text().contains("neck_lift = \"\"\n"), "{}", now.text());
        assert!(!now.text().contains("count"), "{}", now.text());
        assert!(!is_beyond(&now, FILL_VALUE));
    }

    #[test]
    fn faults_are_found_at_their_fields() {
        let text = PLAN.replace("43.06", "\"north\"").replace("1 kg", "heavy");
        let plan = PlanText::read(&text).unwrap();
        let error = crate::plan::Plan::parse("a", &text, std::path::Path::new("")).unwrap_err();
        let crate::error::Error::Faults(faults) = error else {
            panic!("{error}");
        };
        let at: Vec<_> = faults.iter().filter_map(|f| of_fault(&plan, f)).collect();
        for id in ["site.lat", "load.0.mass", "flight.release"] {
            assert!(at.iter().any(|a| a == id), "{id}: {at:?} {faults:?}");
        }
    }

    #[test]
    fn every_field_has_words_and_a_key_that_plans_know() {
        for field in FIELDS {
            let [label, _] = super::super::words::field(field.id);
            assert!(!label.is_empty(), "{}", field.id);
            if field.id.starts_with("fill.") {
                continue;
            }
            // An unknown key is a fault that says so.
            let mut plan = PlanText::read("[flight]\n").unwrap();
            set(&mut plan, field.id, "1");
            let parsed = crate::plan::Plan::parse("a", &plan.text(), std::path::Path::new(""));
            let said = parsed.unwrap_err().to_string();
            assert!(!said.contains("unknown"), "{}: {said}", field.id);
        }
    }
}
