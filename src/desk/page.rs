//! The pages: forms and results, whole without a script.

use maud::{DOCTYPE, Markup, html};

use super::fields::{FIELDS, FieldKind, FormField, LOAD, Values, WIND_FILES, is_beyond};
use super::folder::Entry;
use super::jobs::JobNow;
use super::live::{Live, LiveReply};
use super::made::{Answer, Made};
use super::show::{self, Take, encoded};
use super::state::View;
use super::words::{self, Station};
use super::{begin, drafts::FileIs};
use crate::plan::edit::PlanText;
use crate::report::pictures::map::layered;
use crate::units::UnitSystem;

/// Endings of files that winds come in.
const WINDS: [&str; 12] = [
    "csv", "txt", "dat", "grib", "grib2", "grb", "grb2", "nc", "nc4", "cdf", "gsd", "zip",
];
/// The forecast that is offered first.
const USUAL_FEED: &str = "gfs";
/// Endings of files that may hold reports of trackers.
const REPORTS: [&str; 9] = [
    "csv", "geojson", "gpx", "json", "jsonl", "kiss", "log", "nmea", "txt",
];
/// Endings of files that hold places or areas.
const PLACES: [&str; 3] = ["csv", "geojson", "json"];

/// A page.
pub fn document(title: &str, view: View, here: &str, body: Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                link rel="icon" href="data:,";
                link rel="stylesheet" href="/desk.css";
                script src="/desk.js" defer {}
            }
            body data-words=(script_words()) {
                a.skip href="#main" { (words::SKIP) }
                header.top {
                    a.name href="/" { (words::DESK) }
                    (view_form(view, here))
                    form method="post" action="/close" { button { (words::CLOSE) } }
                }
                (body)
                footer { p { (words::AID) } }
            }
        }
    }
}

/// The words of the script, as it reads them.
fn script_words() -> String {
    let words: std::collections::BTreeMap<_, _> = words::SCRIPT.into_iter().collect();
    serde_json::to_string(&words).unwrap_or_default()
}

/// Units and clocks, for all pages.
fn view_form(view: View, here: &str) -> Markup {
    let units = match view.units {
        None => "",
        Some(UnitSystem::Metric) => "metric",
        Some(UnitSystem::Us) => "us",
    };
    let clock = if view.utc { "utc" } else { "" };
    let option = |value: &str, label: &str, now: &str| {
        html! { option value=(value) selected[value == now] { (label) } }
    };
    html! {
        form.view method="post" action="/view" aria-label=(words::VIEW) {
            input type="hidden" name="here" value=(here);
            label {
                (words::VIEW_UNITS) " "
                select name="units" {
                    (option("", words::AS_PLANNED, units))
                    (option("metric", words::choice("", "metric"), units))
                    (option("us", words::choice("", "us"), units))
                }
            }
            label {
                (words::VIEW_CLOCK) " "
                select name="clock" {
                    (option("", words::SITE_CLOCK, clock))
                    (option("utc", "UTC", clock))
                }
            }
            button { (words::VIEW_BUTTON) }
        }
    }
}

/// A page that says one thing.
pub fn note(title: &str, view: View, said: Markup, back: Option<&str>) -> Markup {
    let body = html! {
        main #main {
            h1 { (title) }
            (said)
            @if let Some(back) = back { p { a href=(back) { (words::BACK) } } }
        }
    };
    document(title, view, "/", body)
}

/// The address of a plan's page, at a station.
pub fn address(name: &str, station: Option<Station>) -> String {
    let at = station.map_or(String::new(), |s| format!("#{}", s.id()));
    format!("/plan?name={}{at}", encoded(name))
}

/// A labelled box with its hint and what is wrong with it.
struct Boxed<'a> {
    id: &'a str,
    label: &'a str,
    hint: &'a str,
    wrong: Vec<&'a str>,
}

impl Boxed<'_> {
    fn around(&self, input: Markup) -> Markup {
        html! {
            div.field {
                label for=(self.id) { (self.label) }
                (input)
                @if !self.hint.is_empty() { small.hint id={ (self.id) "-hint" } { (self.hint) } }
                p.wrong id={ (self.id) "-wrong" } data-wrong=(self.id) {
                    @for line in &self.wrong { (line) br; }
                }
            }
        }
    }

    fn described(&self) -> String {
        match self.hint {
            "" => format!("{}-wrong", self.id),
            _ => format!("{0}-hint {0}-wrong", self.id),
        }
    }

    fn invalid(&self) -> Option<&'static str> {
        (!self.wrong.is_empty()).then_some("true")
    }

    fn line(&self, value: &str) -> Markup {
        self.around(html! {
            input id=(self.id) name=(self.id) value=(value) autocomplete="off"
                aria-describedby=(self.described()) aria-invalid=[self.invalid()];
        })
    }
}

/// The page of the folder: its plans, a new one, two compared.
pub struct Home<'a> {
    /// The folder.
    pub folder: String,
    /// Its plans, and whether each has unsaved work.
    pub plans: Vec<(String, bool)>,
    /// What can be compared.
    pub zones: Vec<String>,
    /// What was typed for a new plan.
    pub given: &'a Values,
    /// What is wrong with it.
    pub faults: Vec<(String, String)>,
    /// The coasts of the earth.
    pub world: Markup,
}

/// The page of the folder.
pub fn home(home: &Home, view: View) -> Markup {
    let body = html! {
        main #main {
            h1 { (words::PLANS) }
            p { (words::FOLDER) ": " code { (home.folder) } }
            @if home.plans.is_empty() { p { (words::NO_PLANS) } }
            ul.plans {
                @for (name, unsaved) in &home.plans {
                    li {
                        a href=(address(name, None)) { (name) }
                        @if *unsaved { " " small { (words::UNSAVED_THERE) } }
                    }
                }
            }
            section aria-labelledby="begin" {
                h2 id="begin" { (words::BEGIN) }
                p { (words::BEGIN_LEAD) }
                (begin_form(home))
            }
            @if home.zones.len() > 1 {
                section aria-labelledby="compare" {
                    h2 id="compare" { (words::COMPARE) }
                    (compare_form(&home.zones, ["", ""]))
                }
            }
        }
    };
    document(words::DESK, view, "/", body)
}

fn begin_form(home: &Home) -> Markup {
    let words_of = |id: &str| match id {
        "file" => [words::FILE_NAME, words::FILE_NAME_HINT],
        "place" => [words::PLACE, words::PLACE_HINT],
        "release" => [words::field("flight.release")[0], words::RELEASE_HINT],
        "balloon" => words::field("balloon.mass"),
        "load" => [words::LOAD_ALL, words::LOAD_ALL_HINT],
        _ => words::field("parachute.diameter"),
    };
    html! {
        div.begin {
            form method="post" action="/new" #begin-form {
                @if !home.faults.is_empty() {
                    div.wrong.summary role="alert" tabindex="-1" data-focus="" {
                        p { (words::MISSING) }
                        ul {
                            @for (id, wrong) in &home.faults {
                                li { a href={ "#" (id) } { (words_of(id)[0]) } ": " (wrong) }
                            }
                        }
                    }
                }
                @for id in begin::FIELDS {
                    @let [label, hint] = words_of(id);
                    @let wrong = home.faults.iter().filter(|(of, _)| of == id).map(|(_, w)| w.as_str()).collect();
                    (Boxed { id, label, hint, wrong }.line(home.given.get(id).map_or("", String::as_str)))
                }
                button.main { (words::BEGIN_BUTTON) }
            }
            figure.scripted #world {
                svg viewBox={ "0 0 " (360.0 * layered::WORLD_UNIT) " " (180.0 * layered::WORLD_UNIT) }
                    role="img" aria-label=(words::WORLD) { g data-part="below" { (home.world) } g data-part="own" {} }
                figcaption { (words::WORLD) }
                button type="button" data-world="" { (words::WHOLE) }
            }
        }
    }
}

/// The form that compares two zones.
pub fn compare_form(zones: &[String], chosen: [&str; 2]) -> Markup {
    let select = |id: &str, label: &str, now: &str| {
        html! {
            div.field {
                label for=(id) { (label) }
                select id=(id) name=(id) {
                    @for zone in zones { option selected[zone == now] { (zone) } }
                }
            }
        }
    };
    html! {
        p { (words::COMPARE_LEAD) }
        form method="get" action="/compare" {
            (select("old", words::OLD, chosen[0]))
            (select("new", words::NEW, chosen[1]))
            button.main { (words::COMPARE_BUTTON) }
        }
    }
}

/// Two zones compared.
pub fn compared(zones: &[String], chosen: [&str; 2], result: Markup, view: View) -> Markup {
    let body = html! {
        main #main {
            h1 { (words::COMPARE) }
            (compare_form(zones, chosen))
            (result)
        }
    };
    document(words::COMPARE, view, "/", body)
}

/// Everything that the page of a plan shows.
pub struct PlanPage<'a> {
    /// The plan's name.
    pub name: &'a str,
    /// Its text.
    pub text: &'a str,
    /// The number of its step.
    pub step: u64,
    /// How its file stands to it.
    pub file: FileIs,
    /// Whether there is something unsaved.
    pub unsaved: bool,
    /// Whether there is a step back, and one forward.
    pub can: [bool; 2],
    /// What its fields show; none where it cannot be read.
    pub values: Option<(PlanText, Values)>,
    /// What is wrong with it.
    pub faults: Vec<LiveReply>,
    /// What follows from it; none where it takes longer.
    pub live: Option<Live>,
    /// The ground of the map; none where it takes longer.
    pub below: Option<Markup>,
    /// What long work made of it.
    pub made: Vec<(Station, std::sync::Arc<Made>)>,
    /// The job that runs, or ran last.
    pub job: Option<JobNow>,
    /// Files of the folder.
    pub files: Vec<Entry>,
    /// Names of forecasts, and what they are.
    pub feeds: Vec<(String, String)>,
    /// Units of the plan's page.
    pub units: UnitSystem,
}

/// The page of a plan.
pub fn plan(page: &PlanPage, view: View) -> Markup {
    let title = format!("{}: {}", page.name, words::DESK);
    let body = html! {
        form method="post" action="/plan/edit" #plan-form {
            input type="hidden" name="name" value=(page.name);
            input type="hidden" name="step" value=(page.step);
        }
        section.bar aria-label=(words::PLAN_BAR) {
            h1 { (page.name) }
            (state(page))
            (job(page.job.as_ref()))
        }
        nav.stations aria-label=(words::STATIONS) {
            ol {
                @for station in Station::ALL {
                    li { a href={ "#" (station.id()) } { (station.title()[0]) } }
                }
            }
        }
        main #main data-plan=(page.name) data-late=[page.live.is_none().then_some("")] {
            (faults(page))
            @for station in Station::ALL {
                section id=(station.id()) aria-labelledby={ (station.id()) "-heading" } tabindex="-1" {
                    h2 id={ (station.id()) "-heading" } { (station.title()[0]) " " small { (station.title()[1]) } }
                    (content(page, station))
                }
            }
        }
    };
    document(&title, view, &address(page.name, None), body)
}

/// Whether all is saved, and the buttons for it.
pub fn state(page: &PlanPage) -> Markup {
    let button = |action: &str, label: &str, on: bool| {
        html! {
            form method="post" action={ "/plan/" (action) } data-state="" {
                input type="hidden" name="name" value=(page.name);
                button disabled[!on] data-do=(action) { (label) }
            }
        }
    };
    let said = match (page.file, page.unsaved) {
        (FileIs::Changed, _) => words::CHANGED,
        (FileIs::TakenOver, _) => words::TAKEN_OVER,
        (FileIs::Gone, _) => words::GONE,
        (_, true) => words::UNSAVED,
        _ => words::SAVED,
    };
    let conflict = page.file == FileIs::Changed;
    html! {
        div #state {
            p #saved role="status" { (said) }
            (button("undo", words::UNDO, page.can[0]))
            (button("redo", words::REDO, page.can[1]))
            (button("save", words::SAVE, (page.unsaved || page.file == FileIs::Gone) && !conflict))
            @if conflict { (button("take-file", words::TAKE_FILE, true)) }
            details open[conflict] {
                summary { (words::SAVE_AS) }
                form.save-as method="post" action="/plan/save-as" {
                    input type="hidden" name="name" value=(page.name);
                    label { (words::FILE_NAME) " " input name="file" autocomplete="off"; }
                    button { (words::SAVE) }
                }
            }
        }
    }
}

/// The job that runs.
pub fn job(job: Option<&JobNow>) -> Markup {
    let running = job.filter(|job| job.state == "running");
    let said = match (running, job) {
        (Some(job), _) => job.doing.clone(),
        (None, Some(job)) if job.state == "failed" => job.message.clone(),
        _ => words::IDLE.to_owned(),
    };
    html! {
        div #job class=[running.map(|_| "on")] {
            p role="status" #job-said { (said) }
            progress #job-share aria-label=(words::PROGRESS) max="1" hidden[running.is_none()] {}
            form method="post" action="/job/stop" hidden[running.is_none()] {
                button { (words::STOP) }
            }
        }
    }
}

fn faults(page: &PlanPage) -> Markup {
    html! { div #faults { (fault_list(&page.faults)) } }
}

/// What is wrong with the plan, each with a way to its field.
pub fn fault_list(faults: &[LiveReply]) -> Markup {
    html! {
        @if !faults.is_empty() {
            div.wrong.summary role="note" {
                p { strong { (words::MISSING) } }
                ul {
                    @for (field, wrong) in faults {
                        li {
                            @match field {
                                Some(id) => { a href={ "#" (id) } { (words::field(id)[0]) } ": " (wrong) }
                                None => (wrong),
                            }
                        }
                    }
                }
            }
        }
    }
}

fn content(page: &PlanPage, station: Station) -> Markup {
    let live = page.live.as_ref();
    let late = || html! { p { (words::LATE) " " a href={ "/plan?name=" (encoded(page.name)) "&wait=yes#" (station.id()) } { (words::LOOK_AGAIN) } } };
    let shown = |part: &str, markup: Option<&Markup>| {
        html! {
            div.shown data-part=(part) {
                @match (live, markup) {
                    (None, _) => (late()),
                    (_, Some(markup)) => (markup),
                    _ => p { (words::NOT_YET) },
                }
            }
        }
    };
    match station {
        Station::Flight => html! {
            (inputs(page, station))
            (place_form(page))
        },
        Station::Stack => html! {
            (inputs(page, station))
            (load(page))
            (shown("fill", live.and_then(|l| l.fill.as_ref())))
            p { a href={ "/card?name=" (encoded(page.name)) } target="_blank" { (words::CARD) } }
        },
        Station::Winds => html! {
            (inputs(page, station))
            (drop_form(page))
            (fetch_form(page))
            (made(page, station))
            (shown("winds", live.and_then(|l| l.winds.as_ref())))
        },
        Station::Days => html! {
            (inputs(page, station))
            (days_form(page))
            (made(page, station))
        },
        Station::Site => html! {
            p.scripted { (words::SITE_MAP) }
            (sites_form(page))
            (made(page, station))
            (inputs(page, station))
        },
        Station::Zone => html! {
            (shown("zone", live.and_then(|l| l.zone.as_ref())))
            (map(page))
            (shown("numbers", live.and_then(|l| l.numbers.as_ref())))
            (inputs(page, station))
        },
        Station::Brief => html! {
            (inputs(page, station))
            (work_form(page, "brief", words::BRIEF_BUTTON, html! {}))
            (made(page, station))
        },
        Station::Follow => html! {
            p { (words::FOLLOW) }
            (follow_form(page))
            (made(page, station))
        },
        Station::After => html! {
            p { (words::AFTER) }
            (debrief_form(page))
            (made(page, station))
        },
        Station::Text => text(page),
    }
}

/// The fields of a station.
fn inputs(page: &PlanPage, station: Station) -> Markup {
    let of = |seldom: bool| {
        let all = FIELDS.iter();
        all.filter(move |f| f.station == station && f.seldom == seldom)
    };
    let heading = match station {
        Station::Zone => words::SPREAD,
        Station::Site => words::GROUND,
        _ => words::SELDOM,
    };
    html! {
        @match &page.values {
            None => p { (words::NOT_TOML) },
            Some((doc, values)) => {
                div.fields { @for field in of(false) { (input(page, field, doc, values)) } }
                @if of(true).next().is_some() {
                    details.seldom {
                        summary { (heading) }
                        div.fields { @for field in of(true) { (input(page, field, doc, values)) } }
                    }
                }
                button.apply form="plan-form" { (words::APPLY) }
            }
        }
    }
}

fn wrong<'a>(page: &'a PlanPage, id: &str) -> Vec<&'a str> {
    let of = page
        .faults
        .iter()
        .filter(|(field, _)| field.as_deref() == Some(id));
    of.map(|(_, wrong)| wrong.as_str()).collect()
}

fn input(page: &PlanPage, field: &FormField, doc: &PlanText, values: &Values) -> Markup {
    let [label, hint] = words::field(field.id);
    let value = values.get(field.id).map_or("", String::as_str);
    let beyond = is_beyond(doc, field.id);
    let boxed = Boxed {
        id: field.id,
        label,
        hint: if beyond { words::BEYOND_BOX } else { hint },
        wrong: wrong(page, field.id),
    };
    let choices = |all: &[&str]| {
        html! {
            select id=(field.id) name=(field.id) form="plan-form"
                aria-describedby=(boxed.described()) aria-invalid=[boxed.invalid()] {
                @for choice in all {
                    option value=(choice) selected[*choice == value] { (words::choice(field.id, choice)) }
                }
            }
        }
    };
    let lines = |rows: &str| {
        html! {
            textarea id=(field.id) name=(field.id) form="plan-form" rows=(rows)
                aria-describedby=(boxed.described()) aria-invalid=[boxed.invalid()] { (value) }
        }
    };
    match field.kind {
        FieldKind::Choice(all) => boxed.around(choices(all)),
        FieldKind::Flag => boxed.around(choices(&["", "yes", "no"])),
        FieldKind::Lines => boxed.around(lines("2")),
        FieldKind::Long => boxed.around(lines("4")),
        FieldKind::Files => wind_files(page, &boxed, value),
        FieldKind::Text | FieldKind::Number => boxed.around(html! {
            input id=(field.id) name=(field.id) value=(value) form="plan-form" autocomplete="off"
                readonly[beyond] aria-describedby=(boxed.described()) aria-invalid=[boxed.invalid()];
        }),
    }
}

/// The folder of a plan, with its slash.
fn beside(name: &str) -> &str {
    name.rfind('/').map_or("", |at| &name[..=at])
}

fn ends_in(name: &str, endings: &[&str]) -> bool {
    let ending = name
        .rsplit_once('.')
        .map(|(_, ending)| ending.to_ascii_lowercase());
    ending.is_some_and(|ending| endings.contains(&ending.as_str()))
}

/// Files that may hold winds, ticked where the plan has them.
fn wind_files(page: &PlanPage, boxed: &Boxed, value: &str) -> Markup {
    let ticked: Vec<&str> = value.lines().collect();
    let folder = beside(page.name);
    let there = page
        .files
        .iter()
        .filter_map(|f| f.name.strip_prefix(folder));
    let there = there.filter(|name| ends_in(name, &WINDS) && !name.contains("-briefing/"));
    let mut all: Vec<&str> = ticked.clone();
    all.extend(there.filter(|name| !ticked.contains(name)));
    html! {
        fieldset id=(WIND_FILES) aria-describedby=(boxed.described()) {
            legend { (boxed.label) }
            small.hint id={ (boxed.id) "-hint" } { (boxed.hint) }
            input type="hidden" name=(WIND_FILES) value="" form="plan-form";
            @if all.is_empty() { p { (words::NO_FILES) } }
            @for name in all {
                label.tick {
                    input type="checkbox" name=(WIND_FILES) value=(name) form="plan-form"
                        checked[ticked.contains(&name)];
                    " " (name)
                }
            }
            p.wrong id={ (boxed.id) "-wrong" } data-wrong=(boxed.id) {
                @for line in &boxed.wrong { (line) br; }
            }
        }
    }
}

/// What hangs below, row by row.
fn load(page: &PlanPage) -> Markup {
    let Some((doc, values)) = &page.values else {
        return html! {};
    };
    let rows = doc.tables("load");
    html! {
        fieldset #load {
            legend { (words::LOAD) }
            @for row in 0..rows {
                div.row role="group" aria-label={ (words::LOAD) " " (row + 1) } {
                    @for key in LOAD {
                        @let id = format!("load.{row}.{key}");
                        @let [label, hint] = words::field(&id);
                        @let boxed = Boxed { id: &id, label, hint, wrong: wrong(page, &id) };
                        (boxed.around(html! {
                            input id=(id) name=(id) value=(values.get(&id).map_or("", String::as_str))
                                form="plan-form" autocomplete="off" aria-describedby=(boxed.described())
                                aria-invalid=[boxed.invalid()];
                        }))
                    }
                    form method="post" action="/plan/row" {
                        input type="hidden" name="name" value=(page.name);
                        input type="hidden" name="remove" value=(row);
                        button aria-label={ (words::REMOVE) " " (row + 1) } { (words::REMOVE) }
                    }
                }
            }
            form method="post" action="/plan/row" {
                input type="hidden" name="name" value=(page.name);
                button { (words::ADD) }
            }
        }
    }
}

fn place_form(page: &PlanPage) -> Markup {
    let (label, hint, wrong) = (words::MOVE_TO, words::MOVE_TO_HINT, Vec::new());
    let boxed = Boxed {
        id: "place",
        label,
        hint,
        wrong,
    };
    html! {
        form.inline method="post" action="/plan/place" {
            input type="hidden" name="name" value=(page.name);
            (boxed.line(""))
            button { (words::MOVE) }
        }
    }
}

fn drop_form(page: &PlanPage) -> Markup {
    html! {
        form #drop method="post" action="/winds/drop" enctype="multipart/form-data" {
            input type="hidden" name="name" value=(page.name);
            div.field {
                label for="dropped" { (words::DROP) }
                input id="dropped" type="file" name="file" multiple aria-describedby="dropped-hint";
                small.hint id="dropped-hint" { (words::DROP_HINT) }
            }
            button { (words::DROP_BUTTON) }
        }
    }
}

fn small_field(id: &str, name: &str, [label, hint]: [&str; 2], value: &str) -> Markup {
    html! {
        div.field {
            label for=(id) { (label) }
            input id=(id) name=(name) value=(value) autocomplete="off" aria-describedby={ (id) "-hint" };
            small.hint id={ (id) "-hint" } { (hint) }
        }
    }
}

/// A form that starts a job.
fn work_form(page: &PlanPage, what: &str, button: &str, fields: Markup) -> Markup {
    html! {
        form.work method="post" action="/job" data-job="" {
            input type="hidden" name="name" value=(page.name);
            input type="hidden" name="what" value=(what);
            (fields)
            button.main { (button) }
        }
    }
}

fn fetch_form(page: &PlanPage) -> Markup {
    let fields = html! {
        div.fields {
            div.field {
                label for="feed" { (words::FEED) }
                select id="feed" name="feed" {
                    @for (name, title) in &page.feeds { option value=(name) selected[name == USUAL_FEED] { (title) } }
                }
            }
            (small_field("fetch-from", "from", [words::FROM, words::FROM_HINT], ""))
            (small_field("fetch-to", "to", [words::TO, words::TO_HINT], ""))
        }
    };
    html! {
        details.fetch {
            summary { (words::FETCH) }
            p { (words::FETCH_LEAD) }
            (work_form(page, "look", words::LOOK, fields))
        }
    }
}

fn times(of: &str) -> Markup {
    let id = |what: &str| format!("{of}-{what}");
    html! {
        (small_field(&id("from"), "from", [words::FROM, words::DAYS_FROM_HINT], ""))
        (small_field(&id("to"), "to", [words::TO, words::DAYS_TO_HINT], ""))
        (small_field(&id("every"), "every", [words::EVERY, words::EVERY_HINT], "1 h"))
        (small_field(&id("hours"), "hours", [words::HOURS, words::HOURS_HINT], "05:00-11:00"))
    }
}

fn days_form(page: &PlanPage) -> Markup {
    work_form(
        page,
        "days",
        words::DAYS_BUTTON,
        html! { div.fields { (times("days")) } },
    )
}

/// The forms for candidates and for a target.
fn sites_form(page: &PlanPage) -> Markup {
    let folder = beside(page.name);
    let files: Vec<&str> = page
        .files
        .iter()
        .map(|f| f.name.as_str())
        .filter(|name| name.starts_with(folder) && ends_in(name, &PLACES))
        .filter(|name| !name.contains("-briefing/"))
        .collect();
    let select = |id: &str, label: &str, hint: &str, areas: bool| {
        let fits = |name: &&&str| !areas || !name.ends_with(".csv");
        html! {
            div.field {
                label for=(id) { (label) }
                select id=(id) name="file" aria-describedby={ (id) "-hint" } {
                    @for name in files.iter().filter(fits) { option { (name) } }
                }
                small.hint id={ (id) "-hint" } { (hint) }
            }
        }
    };
    if files.is_empty() {
        return html! { p { (words::CANDIDATES) ": " (words::NO_FILES) " " (words::CANDIDATES_HINT) } };
    }
    let candidates = html! {
        div.fields {
            (select("candidates", words::CANDIDATES, words::CANDIDATES_HINT, false))
            (small_field("spacing", "spacing", [words::SPACING, words::SPACING_HINT], "5 km"))
            (times("sites"))
        }
    };
    let target = html! {
        div.fields {
            (select("target", words::INTO, words::INTO_HINT, true))
            (times("aim"))
        }
        label.tick { input type="checkbox" name="on_roads" value="yes"; " " (words::ON_ROADS) }
    };
    html! {
        details { summary { (words::SITES_BUTTON) } (work_form(page, "sites", words::SITES_BUTTON, candidates)) }
        details { summary { (words::INTO) } (work_form(page, "aim", words::INTO_BUTTON, target)) }
    }
}

/// Files of the plan's folder that may hold reports of trackers.
fn reports<'a>(page: &'a PlanPage) -> Vec<&'a str> {
    let folder = beside(page.name);
    let files = page.files.iter().map(|f| f.name.as_str());
    files
        .filter(|name| name.starts_with(folder) && ends_in(name, &REPORTS))
        .filter(|name| !name.contains("-briefing/"))
        .filter(|name| !name.contains("-flight/") || name.ends_with(".log"))
        .collect()
}

fn follow_form(page: &PlanPage) -> Markup {
    let fields = html! {
        div.fields {
            div.field {
                label for="reports" { (words::REPORTS) }
                select id="reports" name="file" aria-describedby="reports-hint" {
                    option value="" { (words::NO_REPORTS) }
                    @for name in reports(page) { option value=(name) { (name) } }
                }
                small.hint id="reports-hint" { (words::REPORTS_HINT) }
            }
            (small_field("address", "address", [words::ADDRESS, words::ADDRESS_HINT], ""))
            (small_field("call", "call", [words::CALL, words::CALL_HINT], ""))
            (small_field("columns", "columns", [words::COLUMNS, words::COLUMNS_HINT], ""))
            (small_field("me", "me", [words::CAR, words::CAR_HINT], ""))
        }
        label.tick { input type="checkbox" name="grows" value="yes"; " " (words::GROWS) }
    };
    work_form(page, "follow", words::FOLLOW_BUTTON, fields)
}

fn debrief_form(page: &PlanPage) -> Markup {
    let files = reports(page);
    let fields = html! {
        fieldset aria-describedby="tracks-hint" {
            legend { (words::TRACKS) }
            small.hint id="tracks-hint" { (words::TRACKS_HINT) }
            @if files.is_empty() { p { (words::NO_FILES) } }
            @for name in files {
                label.tick { input type="checkbox" name="file" value=(name); " " (name) }
            }
        }
        div.fields {
            (small_field("after-call", "call", [words::CALL, words::CALL_HINT], ""))
            (small_field("after-columns", "columns", [words::COLUMNS, words::COLUMNS_HINT], ""))
        }
        label.tick { input type="checkbox" name="logbook" value="yes"; " " (words::IN_LOGBOOK) }
    };
    work_form(page, "debrief", words::AFTER_BUTTON, fields)
}

/// What long work made of the plan at a station.
fn made(page: &PlanPage, station: Station) -> Markup {
    let made = page.made.iter().find(|(of, _)| *of == station);
    html! {
        div.made data-made=(station.id()) role="region" aria-label={ (words::RESULT) " " (station.title()[0]) } {
            @if let Some((_, made)) = made { (answer(made, page.name, page.text, page.step, page.units)) }
        }
    }
}

/// An answer of long work.
pub fn answer(made: &Made, name: &str, text: &str, step: u64, units: UnitSystem) -> Markup {
    let take = Take { plan: name, step };
    html! {
        @if made.of != text { p.old { (words::MADE_BEFORE) } }
        @match &made.answer {
            Answer::Days(days) => (show::days(days, &take, units)),
            Answer::Sites(sites) => (show::sites(sites, &take, units)),
            Answer::Aim(aim) => (show::aim(aim, &take, units)),
            Answer::Looked(looked) => (show::looked(looked, name)),
            Answer::Written(files) => (show::written(files, name)),
            Answer::Followed(followed) => (show::followed(followed, units)),
            Answer::Debriefed(debriefed) => (show::debriefed(debriefed, units)),
            Answer::Fetched(files) => {
                p { (words::FETCHED) }
                ul { @for file in files { li { (file) } } }
            }
        }
    }
}

/// The map, and what can be done with it.
fn map(page: &PlanPage) -> Markup {
    let now = page.live.as_ref().and_then(|live| live.map.as_ref());
    let none = html! {};
    let modes = [
        ("look", words::MODE_MOVE),
        ("site", words::MODE_SITE),
        ("measure", words::MODE_MEASURE),
        ("target", words::MODE_TARGET),
    ];
    html! {
        figure.map #map-box data-frame=[now.map(|m| m.frame.text())] data-bare=[page.below.is_none().then_some("")] {
            div.tools.scripted {
                button type="button" data-zoom="in" aria-label=(words::NEARER) { "+" }
                button type="button" data-zoom="out" aria-label=(words::FARTHER) { "\u{2212}" }
                button type="button" data-zoom="all" { (words::WHOLE) }
                fieldset.modes {
                    legend { (words::MODES) }
                    @for (mode, label) in modes {
                        label { input type="radio" name="mode" value=(mode) checked[mode == "look"]; " " (label) }
                    }
                }
                button type="button" data-clear="" hidden { (words::CLEAR) }
                button type="button" data-keep="" hidden { (words::KEEP_TARGET) }
            }
            p #map-said role="status" {}
            div.sheet #map-sheet tabindex="0" role="application" aria-label=(words::MAP) aria-describedby="map-help" {
                (layered::frame("map", now.map_or(words::MAP, |m| &m.label), page.below.as_ref().unwrap_or(&none), now.map_or(&none, |m| &m.above)))
            }
            figcaption { small id="map-help" .scripted { (words::MAP_HELP) } }
            div.scripted #along-box hidden {
                label for="along" { (words::ALONG) }
                input #along type="range" min="0" max="1" value="0" step="1" aria-describedby="along-said";
                output id="along-said" for="along" {}
            }
            details.scripted {
                summary { (words::LAYERS) }
                div.layers {
                    @for (layer, label) in layered::NAMES {
                        label.tick { input type="checkbox" data-switch=(layer) checked; " " (label) }
                    }
                }
            }
        }
    }
}

fn text(page: &PlanPage) -> Markup {
    html! {
        form method="post" action="/plan/text" {
            input type="hidden" name="name" value=(page.name);
            input type="hidden" name="step" value=(page.step);
            div.field {
                label for="whole" { (words::TEXT_LABEL) }
                textarea #whole name="text" rows="24" spellcheck="false" { "\n" (page.text) }
            }
            button { (words::TEXT_APPLY) }
        }
    }
}
