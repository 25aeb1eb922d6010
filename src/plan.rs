//! The plan file: what will be flown, from where, when, and how sure each number is.
//!
//! [`Plan::read`] checks everything and tells all faults at once; what it returns is in SI and
//! within physical range.

mod document;
mod filling;

use std::path::{Path, PathBuf};

use jiff::Timestamp;
use jiff::tz::TimeZone;
use toml::de::DeTable;

use self::document::{Faults, Section, quantity};
use crate::atmosphere::standard_height_of_pressure;
use crate::error::{Error, Fault, Result};
use crate::files::read_text;
use crate::flight::rates::RateTable;
use crate::geodesy::Position;
use crate::ground::map::Class;
use crate::units::{Dimension, parse};
use crate::vehicle::balloon::{Gas, LiftingGas};
use crate::vehicle::latex::LatexTable;

/// A checked plan.
#[derive(Debug, Clone)]
pub struct Plan {
    /// The plan's file as the user named it, for messages.
    pub file: String,
    /// The flight's name; may be empty.
    pub name: String,
    /// The planned release.
    pub release: Timestamp,
    /// The zone of people's times.
    pub timezone: TimeZone,
    /// Where the stack is released.
    pub site: Position,
    /// Elevation of the site above mean sea level, m, if the plan gives it.
    pub elevation_m: Option<f64>,
    /// Wind files, as seen from the current folder.
    pub wind_files: Vec<PathBuf>,
    /// The time of the run, for forecasts whose files do not say.
    pub wind_issued: Option<Timestamp>,
    /// Whether each wind file is a member of an ensemble.
    pub member_per_file: bool,
    /// The balloon, if the plan describes it.
    pub balloon: Option<BalloonPlan>,
    /// Latex balloons by mass: the program's tables, with the plan's own before them.
    pub balloons: LatexTable,
    /// Where the burst diameter is from, if the plan does not give it.
    pub burst_assumed: Option<String>,
    /// The gas at hand, in the order in which cylinders are emptied.
    pub cylinders: Vec<CylinderPlan>,
    /// The narrowest side of the shelter the balloon is filled in, m, if given.
    pub shelter_m: Option<f64>,
    /// The narrowest side of the door it is carried through, m, if given.
    pub door_m: Option<f64>,
    /// What hangs below, item by item.
    pub load: Vec<LoadItem>,
    /// The parachute, if the plan describes it.
    pub parachute: Option<ParachutePlan>,
    /// Rates of ascent that override the balloon's physics.
    pub ascent_rates: Option<RateTable>,
    /// Burst altitude that overrides the burst diameter, m above mean sea level.
    pub burst_altitude_m: Option<f64>,
    /// Landing speed at standard sea-level density that overrides the parachute's, m/s.
    pub landing_speed_m_s: Option<f64>,
    /// Speeds of fall that override everything about the descent.
    pub descent_rates: Option<RateTable>,
    /// Share of the balloon that stays on the line after the burst, if the plan says.
    pub remnant: Option<f64>,
    /// One standard deviation each.
    pub spread: SpreadPlan,
    /// Files about the ground.
    pub ground: GroundPlan,
    /// Limits for the choice of a day and a site.
    pub limits: LimitsPlan,
    /// What the crew's briefing says besides.
    pub brief: BriefPlan,
}

/// What the crew's briefing says besides the flight.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct BriefPlan {
    /// Whom to call, a line each.
    pub contacts: Vec<String>,
    /// Free text.
    pub notes: String,
    /// How long before the release the filling begins, s, if the plan says.
    pub filling_s: Option<f64>,
}

/// Files about the ground, as seen from the current folder.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct GroundPlan {
    /// Heights.
    pub terrain: Vec<PathBuf>,
    /// Areas to come down outside of.
    pub keep_out: Vec<PathBuf>,
    /// Areas to come down in.
    pub land_in: Vec<PathBuf>,
    /// Roads.
    pub roads: Vec<PathBuf>,
    /// The attribute of the roads that holds their class.
    pub road_class: Option<String>,
    /// Power lines.
    pub power_lines: Vec<PathBuf>,
    /// OpenStreetMap extracts, with roads, water, built-up areas and power lines.
    pub osm: Vec<PathBuf>,
    /// How near a landing counts as a hit, m, where the defaults are not wanted.
    pub buffers: Vec<(Class, f64)>,
    /// How far a site should be from something, m, where the defaults are not wanted.
    pub site_limits: Vec<(Class, f64)>,
}

/// Limits of a flight, where the plan gives them.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct LimitsPlan {
    /// Wind at the ground when the balloon is filled and released, m/s.
    pub surface_wind_m_s: Option<f64>,
    /// Share of draws that come down where they should not.
    pub keep_out_probability: Option<f64>,
    /// Distance from the site to the landings' centre, m.
    pub max_drift_m: Option<f64>,
    /// Daylight left after the landing, s.
    pub daylight_after_landing_s: Option<f64>,
}

/// The balloon of a plan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BalloonPlan {
    /// Mass, kg.
    pub mass_kg: f64,
    /// Diameter at the burst, m; may be left out where a burst altitude is given.
    pub burst_diameter_m: Option<f64>,
    /// The gas; its purity is 1 where the plan does not say.
    pub gas: LiftingGas,
    /// Whether the plan gives the purity.
    pub purity_given: bool,
    /// How much gas.
    pub fill: FillPlan,
    /// Mass of the filler that hangs on the neck while the lift is tested, kg, if given.
    pub filler_kg: Option<f64>,
}

/// Cylinders of one kind.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CylinderPlan {
    /// How many.
    pub count: u32,
    /// Inner volume of each, m3.
    pub water_volume_m3: f64,
    /// Pressure on the gauge, Pa above that of the air.
    pub gauge_pa: f64,
    /// Temperature, K; that of the air where the plan does not say.
    pub temperature_k: Option<f64>,
}

/// The one way in which a plan gives the fill.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum FillPlan {
    /// Lift at the neck, kg.
    NeckLift(f64),
    /// Lift beyond the load, kg.
    FreeLift(f64),
    /// Volume at the temperature and pressure of the site, m3.
    GasVolume(f64),
    /// All of the plan's cylinders, emptied.
    Cylinders,
    /// Rate of ascent at release, m/s.
    AscentRate(f64),
    /// Altitude of the burst, m above mean sea level.
    BurstAltitude(f64),
    /// From the release to the landing, s.
    FlightTime(f64),
}

/// One thing that hangs below.
#[derive(Debug, Clone, PartialEq)]
pub struct LoadItem {
    /// What it is.
    pub name: String,
    /// Mass that flies, kg: as measured, else as planned.
    pub mass_kg: f64,
    /// Mass as planned, kg, if given.
    pub planned_kg: Option<f64>,
    /// Whether the mass was measured.
    pub measured: bool,
    /// What kind of thing it is, if given.
    pub kind: Option<LoadKind>,
    /// Sides of its smallest face, m, if given.
    pub smallest_face_m: Option<(f64, f64)>,
    /// Length of a line, m, if given.
    pub length_m: Option<f64>,
    /// Breaking strength of a line, N, if given.
    pub strength_n: Option<f64>,
}

/// Kinds of things that hang below.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LoadKind {
    /// A package, as rules call it.
    Box,
    /// A line that carries what is below it.
    Line,
    /// A radar reflector.
    Reflector,
    /// Anything else.
    Other,
}

impl LoadItem {
    /// Whether rules may count it as a package: a box, or a thing of which nothing is said.
    pub fn is_package(&self) -> bool {
        matches!(self.kind, None | Some(LoadKind::Box))
    }
}

/// The parachute of a plan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ParachutePlan {
    /// Nominal (laid-out) diameter, m.
    pub diameter_m: f64,
    /// Drag coefficient on the nominal area, if given.
    pub drag_coefficient: Option<f64>,
    /// Mass that flies, kg: as measured, else as planned; 0 where it is among the load.
    pub mass_kg: f64,
    /// Mass as planned, kg, if given.
    pub planned_kg: Option<f64>,
    /// Whether the mass was measured.
    pub measured: bool,
}

/// One standard deviation of each thing that varies, where the plan gives it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SpreadPlan {
    /// Of the neck lift, as a share.
    pub lift: Option<f64>,
    /// Of the burst diameter, as a share.
    pub burst_diameter: Option<f64>,
    /// Of the burst altitude, m.
    pub burst_altitude_m: Option<f64>,
    /// The share of balloons that burst early.
    pub early_bursts: Option<f64>,
    /// Of the drag coefficient of the balloon, as a share.
    pub drag: Option<f64>,
    /// Of the rate of ascent from height to height, as a share.
    pub rate: Option<f64>,
    /// The share of falls on which the canopy changes on the way.
    pub canopy_changes: Option<f64>,
    /// Of the drag area of the parachute, as a share.
    pub parachute: Option<f64>,
    /// Of the share of the balloon that stays on the line.
    pub remnant: Option<f64>,
    /// Of the delay of the release, s: two thirds of the delays are shorter.
    pub release_delay_s: Option<f64>,
    /// Of the wind.
    pub wind: Option<WindSpread>,
}

/// How wrong the winds may be.
#[derive(Debug, Clone, PartialEq)]
pub enum WindSpread {
    /// As wrong as a sounding of its age.
    Sounding,
    /// As wrong as a forecast of its lead time.
    Forecast,
    /// Exact.
    None,
    /// Standard deviation of each component (m/s) by altitude (m above mean sea level).
    Table(Vec<(f64, f64)>),
}

const KG: Dimension = Dimension::Mass;
const M: Dimension = Dimension::Length;
const M_S: Dimension = Dimension::Speed;
const SHARE: Dimension = Dimension::Ratio;

/// Elevations that a launch site can have, m above mean sea level.
pub const SITE_ELEVATIONS_M: std::ops::RangeInclusive<f64> = -430.0..=6_000.0;

/// Every section a plan may have.
const SECTIONS: [&str; 13] = [
    "flight",
    "site",
    "wind",
    "balloon",
    "cylinders",
    "load",
    "parachute",
    "ascent",
    "descent",
    "spread",
    "ground",
    "limits",
    "brief",
];

impl Plan {
    /// Reads and checks a plan file. Its wind files are taken relative to it.
    ///
    /// # Errors
    ///
    /// [`Error::File`] when it cannot be read; [`Error::Faults`] with every fault found in it.
    pub fn read(path: impl AsRef<Path>) -> Result<Plan> {
        let path = path.as_ref();
        let text = read_text(path, "a plan in TOML")?;
        let name = path.display().to_string();
        let folder = path.parent().unwrap_or(Path::new(""));
        Plan::parse(&name, &text, folder)
    }

    /// Checks the text of a plan called `name`, with wind files relative to `folder`.
    ///
    /// # Errors
    ///
    /// [`Error::Faults`] with every fault found.
    pub fn parse(name: &str, text: &str, folder: &Path) -> Result<Plan> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let mut faults = Faults::new(name, text);
        let root = DeTable::parse(text)
            .map_err(|wrong| Fault::of_toml(name, text, &wrong, "a plan in valid TOML"))?;
        let root = root.get_ref();
        if root.is_empty() {
            let fault = Fault::new(name, "no section at all", "a plan with [flight] and [site]");
            return Err(fault.into());
        }
        for key in root.keys() {
            if !SECTIONS.iter().any(|s| s == key.get_ref()) {
                let names = SECTIONS.join(", ");
                let at = Some(key.span().start);
                faults.note(
                    at,
                    key.get_ref(),
                    "an unknown section",
                    format!("one of {names}"),
                );
            }
        }
        let plan = read_sections(root, folder, &mut faults);
        let faults = faults.into_sorted();
        match plan {
            Some(plan) if faults.is_empty() => Ok(plan),
            _ => Err(Error::Faults(faults)),
        }
    }
}

/// The sections of a plan, read one by one; `None` where what is missing leaves no plan.
fn read_sections<'a>(root: &'a DeTable<'a>, folder: &Path, faults: &mut Faults) -> Option<Plan> {
    let (name, release, timezone) = flight(&Section::of(root, "flight", faults), faults);
    let site_section = Section::of(root, "site", faults);
    let (site, elevation_m) = site(&site_section, faults);
    let wind = Section::of(root, "wind", faults);
    wind.allow(&["files", "issued", "member_per_file"], faults);
    let issued =
        "the date and time of the forecast's run with its offset, as in 2026-02-05T00:00:00Z";
    let wind_issued = time(&wind, "issued", issued, faults);
    let member_per_file = wind.flag("member_per_file", faults).unwrap_or(false);
    let wind_files = wind
        .texts("files", "an array of file names", faults)
        .iter()
        .map(|file| folder.join(file))
        .collect();
    let ascent_section = Section::of(root, "ascent", faults);
    let (ascent_rates, burst_altitude_m) = ascent(&ascent_section, faults);
    let balloon_section = Section::of(root, "balloon", faults);
    let mut balloon = balloon(&balloon_section, faults);
    let balloons = filling::balloon_table(&balloon_section, folder, faults);
    let burst_assumed = match (&balloons, burst_altitude_m) {
        (Some(balloons), None) => filling::assume_burst(balloon.as_mut(), balloons),
        _ => None,
    };
    let cylinders = filling::cylinders(root, &balloon_section, faults);
    let [shelter_m, door_m] =
        ["shelter", "door"].map(|key| filling::narrowest(&site_section, key, faults));
    let load = Section::all_of(root, "load", faults)
        .iter()
        .filter_map(|section| load_item(section, faults))
        .collect();
    let parachute_section = Section::of(root, "parachute", faults);
    let parachute = parachute(&parachute_section, faults);
    let descent_section = Section::of(root, "descent", faults);
    let (landing_speed_m_s, descent_rates, remnant) = descent(&descent_section, faults);
    let spread = spread(&Section::of(root, "spread", faults), faults);
    let plan = Plan {
        file: faults.file().to_owned(),
        name,
        release: release?,
        timezone,
        site: site?,
        elevation_m,
        wind_files,
        wind_issued,
        member_per_file,
        balloon,
        balloons: balloons?,
        burst_assumed,
        cylinders,
        shelter_m,
        door_m,
        load,
        parachute,
        ascent_rates,
        burst_altitude_m,
        landing_speed_m_s,
        descent_rates,
        remnant,
        spread,
        ground: ground(&Section::of(root, "ground", faults), folder, faults),
        limits: limits(&Section::of(root, "limits", faults), faults),
        brief: brief(&Section::of(root, "brief", faults), faults),
    };
    check_whole(
        &plan,
        &balloon_section,
        &ascent_section,
        &parachute_section,
        faults,
    );
    Some(plan)
}

/// What no section can know alone: whether the rise and the fall are described at all.
fn check_whole(
    plan: &Plan,
    balloon: &Section,
    ascent: &Section,
    parachute: &Section,
    faults: &mut Faults,
) {
    if !balloon.exists() && plan.ascent_rates.is_none() {
        ascent.missing(
            "rate",
            "[balloon] with mass, gas and fill, or [ascent] with rate and burst_altitude",
            faults,
        );
    }
    let bursts = plan.burst_altitude_m.is_some()
        || plan.balloon.is_none_or(|b| b.burst_diameter_m.is_some()) && balloon.exists();
    if !bursts {
        let (section, key) = if balloon.exists() {
            (balloon, "burst_diameter")
        } else {
            (ascent, "burst_altitude")
        };
        let expected = "[balloon] burst_diameter, as in \"8.6 m\", or [ascent] burst_altitude, as in \"30 km\"; no table of balloons has this mass";
        section.missing(key, expected, faults);
    }
    let wanted = plan.balloon.map(|b| b.fill);
    if matches!(wanted, Some(FillPlan::BurstAltitude(_))) && plan.burst_altitude_m.is_some() {
        faults.note(
            ascent.span("burst_altitude"),
            &ascent.path("burst_altitude"),
            "a stated burst together with a wanted one",
            "[ascent] burst_altitude or [balloon] burst_altitude, not both",
        );
    }
    let falls =
        plan.landing_speed_m_s.is_some() || plan.descent_rates.is_some() || parachute.exists();
    if !falls {
        parachute.missing(
            "diameter",
            "[parachute] with diameter, or [descent] with landing_speed or rates",
            faults,
        );
    }
    if plan.load.is_empty() {
        let by_lift = plan.balloon.is_some() && plan.ascent_rates.is_none();
        let by_drag = plan.landing_speed_m_s.is_none() && plan.descent_rates.is_none();
        if by_lift || by_drag && parachute.exists() {
            faults.note(
                None,
                "[[load]]",
                "nothing",
                "at least one [[load]] with name and mass: the stack's weight sets rise and fall",
            );
        }
    }
}

fn flight(s: &Section, faults: &mut Faults) -> (String, Option<Timestamp>, TimeZone) {
    s.allow(&["name", "release", "timezone"], faults);
    let name = s.text("name", "a name in quotes", faults).unwrap_or("");
    let expected = "a date and time with its offset, as in 2026-02-05T16:30:00-07:00";
    if !s.has("release") {
        s.missing("release", expected, faults);
    }
    let release = time(s, "release", expected, faults);
    let timezone = s
        .text("timezone", "an IANA time zone name", faults)
        .and_then(|name| {
            let zone = TimeZone::get(name);
            if zone.is_err() {
                let expected = "an IANA time zone, as in \"America/Denver\"";
                faults.note(
                    s.span("timezone"),
                    &s.path("timezone"),
                    format!("\"{name}\""),
                    expected,
                );
            }
            zone.ok()
        });
    (name.to_owned(), release, timezone.unwrap_or(TimeZone::UTC))
}

/// A date and time with its offset.
fn time(s: &Section, key: &'static str, expected: &str, faults: &mut Faults) -> Option<Timestamp> {
    let written = s.date_time(key, expected, faults)?;
    let time = written.parse::<Timestamp>();
    if time.is_err() {
        faults.note(s.span(key), &s.path(key), written, expected);
    }
    time.ok()
}

fn site(s: &Section, faults: &mut Faults) -> (Option<Position>, Option<f64>) {
    s.allow(&["lat", "lon", "elevation", "shelter", "door"], faults);
    for (key, what) in [
        ("lat", "degrees north, as in 43.06"),
        ("lon", "degrees east, as in -108.48"),
    ] {
        if !s.has(key) {
            s.missing(key, what, faults);
        }
    }
    let lat = s.number("lat", "degrees north", -90.0..=90.0, faults);
    let lon = s.number("lon", "degrees east", -180.0..=360.0, faults);
    // From the shore of the Dead Sea to the highest inhabited places.
    let elevation = s.quantity("elevation", M, SITE_ELEVATIONS_M, faults);
    (
        lat.zip(lon).and_then(|(lat, lon)| Position::new(lat, lon)),
        elevation,
    )
}

fn ascent(s: &Section, faults: &mut Faults) -> (Option<RateTable>, Option<f64>) {
    s.allow(&["rate", "rates", "burst_altitude"], faults);
    let rates = rates(s, "rate", 0.2..=30.0, faults);
    (
        rates,
        s.quantity("burst_altitude", M, 100.0..=50_000.0, faults),
    )
}

fn descent(s: &Section, faults: &mut Faults) -> (Option<f64>, Option<RateTable>, Option<f64>) {
    s.allow(&["landing_speed", "rates", "remnant"], faults);
    s.only_one(&["landing_speed", "rates"], faults);
    let landing_speed = s.quantity("landing_speed", M_S, 0.5..=60.0, faults);
    let table = rate_table(s, 0.5..=200.0, faults);
    (
        landing_speed,
        table,
        s.quantity("remnant", SHARE, 0.0..=1.0, faults),
    )
}

/// One rate under `key`, or a table of them under `rates`.
fn rates(
    s: &Section,
    key: &'static str,
    range: std::ops::RangeInclusive<f64>,
    faults: &mut Faults,
) -> Option<RateTable> {
    s.only_one(&[key, "rates"], faults);
    let one = s.quantity(key, M_S, range.clone(), faults);
    let table = rate_table(s, range, faults);
    one.map(RateTable::constant).or(table)
}

fn rate_table(
    s: &Section,
    range: std::ops::RangeInclusive<f64>,
    faults: &mut Faults,
) -> Option<RateTable> {
    let what = "pairs of altitude and rate, as in [[\"0 m\", \"4.5 m/s\"], [\"10 km\", \"4 m/s\"]]";
    let rows = s.pairs("rates", what, faults, |altitude, rate, path, faults| {
        let altitude = quantity(altitude, path, M, -500.0..=60_000.0, faults);
        altitude.zip(quantity(rate, path, M_S, range.clone(), faults))
    })?;
    let table = RateTable::new(rows);
    if table.is_none() {
        let found = "altitudes that do not rise from pair to pair";
        faults.note(s.span("rates"), &s.path("rates"), found, what);
    }
    table
}

fn balloon(s: &Section, faults: &mut Faults) -> Option<BalloonPlan> {
    let own = [
        "mass",
        "burst_diameter",
        "table",
        "gas",
        "gas_purity",
        "filler",
    ];
    s.allow(&[&own[..], &filling::FILLS].concat(), faults);
    if !s.exists() {
        return None;
    }
    if !s.has("mass") {
        s.missing(
            "mass",
            "the mass of the empty balloon, as in \"1200 g\"",
            faults,
        );
    }
    let mass_kg = s.quantity("mass", KG, 0.005..=20.0, faults);
    let burst_diameter_m = s.quantity("burst_diameter", M, 0.3..=30.0, faults);
    let gas = gas(s, faults);
    let purity = s.number(
        "gas_purity",
        "the share of gas by volume",
        0.5..=1.0,
        faults,
    );
    let filler_kg = s.quantity("filler", KG, 0.0..=10.0, faults);
    let fill = filling::fill(s, faults);
    Some(BalloonPlan {
        mass_kg: mass_kg?,
        burst_diameter_m,
        gas: LiftingGas {
            gas: gas?,
            purity: purity.unwrap_or(1.0),
        },
        purity_given: purity.is_some(),
        fill: fill?,
        filler_kg,
    })
}

fn gas(s: &Section, faults: &mut Faults) -> Option<Gas> {
    let expected = "\"helium\" or \"hydrogen\"";
    match s.text("gas", expected, faults) {
        Some("helium") => Some(Gas::Helium),
        Some("hydrogen") => Some(Gas::Hydrogen),
        Some(other) => {
            faults.note(
                s.span("gas"),
                &s.path("gas"),
                format!("\"{other}\""),
                expected,
            );
            None
        }
        None => {
            if !s.has("gas") {
                s.missing("gas", expected, faults);
            }
            None
        }
    }
}

fn load_item(s: &Section, faults: &mut Faults) -> Option<LoadItem> {
    let known = [
        "name",
        "kind",
        "mass",
        "measured",
        "length",
        "mass_per_length",
        "strength",
        "smallest_face",
    ];
    s.allow(&known, faults);
    let name = s
        .text("name", "a name in quotes", faults)
        .unwrap_or("unnamed");
    let length_m = s.quantity("length", M, 0.01..=1_000.0, faults);
    let planned_kg = filling::planned_mass(s, length_m, faults);
    let measured_kg = s.quantity("measured", KG, 0.0..=100.0, faults);
    if !s.has("mass") && !s.has("mass_per_length") && !s.has("measured") {
        let expected = "a mass, as in \"0.95 kg\", or measured, or length and mass_per_length";
        s.missing("mass", expected, faults);
    }
    let expected = "two sides, as in \"15 cm x 20 cm\"";
    let sides = filling::sides(s, "smallest_face", expected, 2..=2, faults);
    let strength_n = s.quantity("strength", Dimension::Force, 1.0..=100_000.0, faults);
    let line = length_m.is_some() || strength_n.is_some();
    Some(LoadItem {
        name: name.to_owned(),
        mass_kg: measured_kg.or(planned_kg)?,
        planned_kg,
        measured: measured_kg.is_some(),
        kind: filling::kind(s, faults).or(line.then_some(LoadKind::Line)),
        smallest_face_m: sides.map(|sides| (sides[0], sides[1])),
        length_m,
        strength_n,
    })
}

fn parachute(s: &Section, faults: &mut Faults) -> Option<ParachutePlan> {
    s.allow(
        &["diameter", "drag_coefficient", "mass", "measured"],
        faults,
    );
    if !s.exists() {
        return None;
    }
    if !s.has("diameter") {
        s.missing("diameter", "the laid-out diameter, as in \"2.1 m\"", faults);
    }
    let what = "on the laid-out area: 0.75 for a flat circular canopy";
    let drag_coefficient = s.number("drag_coefficient", what, 0.1..=3.0, faults);
    let planned_kg = s.quantity("mass", KG, 0.0..=20.0, faults);
    let measured_kg = s.quantity("measured", KG, 0.0..=20.0, faults);
    Some(ParachutePlan {
        diameter_m: s.quantity("diameter", M, 0.1..=20.0, faults)?,
        drag_coefficient,
        mass_kg: measured_kg.or(planned_kg).unwrap_or(0.0),
        planned_kg,
        measured: measured_kg.is_some(),
    })
}

fn spread(s: &Section, faults: &mut Faults) -> SpreadPlan {
    let known = [
        "lift",
        "burst_diameter",
        "burst_altitude",
        "early_bursts",
        "drag",
        "rate",
        "parachute",
        "canopy_changes",
        "remnant",
        "release_delay",
        "wind",
    ];
    s.allow(&known, faults);
    s.only_one(&["burst_diameter", "burst_altitude"], faults);
    SpreadPlan {
        lift: s.quantity("lift", SHARE, 0.0..=0.2, faults),
        burst_diameter: s.quantity("burst_diameter", SHARE, 0.0..=0.2, faults),
        burst_altitude_m: s.quantity("burst_altitude", M, 0.0..=8_000.0, faults),
        early_bursts: s.quantity("early_bursts", SHARE, 0.0..=0.9, faults),
        drag: s.quantity("drag", SHARE, 0.0..=0.24, faults),
        rate: s.quantity("rate", SHARE, 0.0..=0.3, faults),
        canopy_changes: s.quantity("canopy_changes", SHARE, 0.0..=1.0, faults),
        parachute: s.quantity("parachute", SHARE, 0.0..=0.2, faults),
        remnant: s.quantity("remnant", SHARE, 0.0..=0.5, faults),
        release_delay_s: s.quantity("release_delay", Dimension::Time, 0.0..=86_400.0, faults),
        wind: wind_spread(s, faults),
    }
}

fn ground(s: &Section, folder: &Path, faults: &mut Faults) -> GroundPlan {
    let known = [
        "terrain",
        "keep_out",
        "land_in",
        "roads",
        "road_class",
        "power_lines",
        "osm",
        "buffers",
        "site_limits",
    ];
    s.allow(&known, faults);
    let (buffers, site_limits) = (
        class_distances(s, "buffers", faults),
        class_distances(s, "site_limits", faults),
    );
    let mut files = |key| -> Vec<PathBuf> {
        let names = s.texts(key, "an array of file names", faults);
        names.iter().map(|file| folder.join(file)).collect()
    };
    GroundPlan {
        terrain: files("terrain"),
        keep_out: files("keep_out"),
        land_in: files("land_in"),
        roads: files("roads"),
        power_lines: files("power_lines"),
        osm: files("osm"),
        buffers,
        site_limits,
        road_class: s
            .text("road_class", "the name of an attribute", faults)
            .map(str::to_owned),
    }
}

/// Pairs of a class of things on the ground and a distance.
fn class_distances(s: &Section, key: &'static str, faults: &mut Faults) -> Vec<(Class, f64)> {
    if !s.has(key) {
        return Vec::new();
    }
    let names: Vec<String> = Class::all().map(Class::name).collect();
    let expected = format!(
        "pairs of a thing and a distance, as in [[\"motorway road\", \"200 m\"]]; things are {}",
        names.join(", ")
    );
    let pairs = s.pairs(key, &expected, faults, |thing, distance, path, faults| {
        let name = thing.get_ref().as_str().unwrap_or("");
        let class = Class::all().find(|class| class.name() == name);
        if class.is_none() {
            let found = format!("\"{name}\"");
            faults.note(Some(thing.span().start), path, found, expected.as_str());
        }
        class.zip(quantity(distance, path, M, 0.0..=15_000.0, faults))
    });
    pairs.unwrap_or_default()
}

fn limits(s: &Section, faults: &mut Faults) -> LimitsPlan {
    let known = [
        "surface_wind",
        "keep_out_probability",
        "max_drift",
        "daylight_after_landing",
    ];
    s.allow(&known, faults);
    let share = "a share of the draws";
    LimitsPlan {
        surface_wind_m_s: s.quantity("surface_wind", M_S, 0.1..=30.0, faults),
        keep_out_probability: s.number("keep_out_probability", share, 0.0..=1.0, faults),
        max_drift_m: s.quantity("max_drift", M, 100.0..=2_000_000.0, faults),
        daylight_after_landing_s: s.quantity(
            "daylight_after_landing",
            Dimension::Time,
            0.0..=86_400.0,
            faults,
        ),
    }
}

fn brief(s: &Section, faults: &mut Faults) -> BriefPlan {
    s.allow(&["contacts", "notes", "filling"], faults);
    let contacts = s.texts("contacts", "an array of texts, a contact each", faults);
    let notes = s.text("notes", "a text in quotes", faults).unwrap_or("");
    BriefPlan {
        contacts: contacts.into_iter().map(str::to_owned).collect(),
        notes: notes.to_owned(),
        filling_s: s.quantity("filling", Dimension::Time, 0.0..=86_400.0, faults),
    }
}

fn wind_spread(s: &Section, faults: &mut Faults) -> Option<WindSpread> {
    let expected = "\"sounding\", \"forecast\", \"none\", or pairs of level and standard deviation, as in [[\"1 km\", \"2 m/s\"], [\"250 hPa\", \"3.5 m/s\"]]";
    if s.is_array("wind") {
        let rows = s.pairs("wind", expected, faults, |level, sigma, path, faults| {
            let sigma = quantity(sigma, path, M_S, 0.0..=50.0, faults);
            let text = level.get_ref().as_str().unwrap_or("");
            let altitude = match parse(text, Dimension::Pressure) {
                Ok(p) if p > 0.0 => Some(standard_height_of_pressure(p).standard_altitude_m()),
                _ => quantity(level, path, M, -500.0..=60_000.0, faults),
            };
            altitude.zip(sigma)
        })?;
        let mut rows: Vec<(f64, f64)> = rows;
        rows.sort_by(|a, b| a.0.total_cmp(&b.0));
        if rows.windows(2).any(|w| w[0].0 == w[1].0) {
            faults.note(
                s.span("wind"),
                &s.path("wind"),
                "a level that stands twice",
                expected,
            );
            return None;
        }
        return Some(WindSpread::Table(rows));
    }
    match s.text("wind", expected, faults)? {
        "sounding" => Some(WindSpread::Sounding),
        "forecast" => Some(WindSpread::Forecast),
        "none" => Some(WindSpread::None),
        other => {
            faults.note(
                s.span("wind"),
                &s.path("wind"),
                format!("\"{other}\""),
                expected,
            );
            None
        }
    }
}
