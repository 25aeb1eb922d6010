//! What is answered: pages, their script and style, edits, long work, and files of the folder.

use std::collections::BTreeMap;
use std::convert::Infallible;
use std::fs;
use std::io::Write as _;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use axum::extract::{DefaultBodyLimit, Form, Multipart, Query, State};
use axum::http::header::{
    ACCEPT, CONTENT_SECURITY_POLICY, CONTENT_TYPE, HeaderValue, X_FRAME_OPTIONS,
};
use axum::http::{HeaderMap, StatusCode};
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{Html, IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use axum::{Json, Router};
use jiff::Timestamp;
use maud::{Markup, html};
use serde_json::{Value, json};
use tempfile::NamedTempFile;
use tokio_stream::wrappers::WatchStream;
use tokio_stream::{Stream, StreamExt};

use super::begin;
use super::drafts::{Draft, FileIs};
use super::fields::{Values, apply, key, set, shown};
use super::folder::beside;
use super::jobs::unless_ended;
use super::land::Frame;
use super::live::{Live, faults, live, parsed, site};
use super::page::{self, Home, PlanPage};
use super::server::FILE_BYTES;
use super::show;
use super::state::{Desk, View};
use super::words::{self, Station};
use super::work::{add_winds, free_name, start_work};
use crate::clock::local::read_time;
use crate::compare::{Comparison, PublishedZone};
use crate::draft::elevation;
use crate::error::{Error, Fault, Result};
use crate::fill;
use crate::geodesy::Position;
use crate::geodesy::reading::{EXPECTED, read_position};
use crate::ground::data::coast_lines;
use crate::plan::Plan;
use crate::plan::edit::PlanText;
use crate::report::files::geojson;
use crate::report::files::plan::{degrees, release_text};
use crate::report::fill_words::round_in_kg;
use crate::report::pages::fill_card;
use crate::report::palette::desk_style;
use crate::report::pictures::map::layered;
use crate::report::{markup, tables, words as said};
use crate::sources::Hints;
use crate::units::UnitSystem;
use crate::winds::files::WindFiles;
use crate::zone::{Options, predict};

const SCRIPT: &str = include_str!("desk.js");
const STYLE: &str = include_str!("desk.css");

/// A page waits this long for what follows from a plan; what takes longer comes later.
const PATIENCE: Duration = Duration::from_millis(1_500);
/// The same, of a page that was asked for again.
const LONG_PATIENCE: Duration = Duration::from_secs(55);
/// The plan's elevation stands for a site moved by less than this, m.
const SAME_GROUND_M: f64 = 200.0;
/// Points of the world's coasts are so far apart, degrees.
const COAST_DEG: f64 = 0.8;

type Shared = State<Arc<Desk>>;
type Given = BTreeMap<String, String>;

/// What is answered to forms and for pages.
pub fn forms() -> Router<Arc<Desk>> {
    Router::new()
        .route("/", get(home))
        .route("/desk.css", get(style))
        .route("/desk.js", get(script))
        .route("/alive", get(|| async { StatusCode::NO_CONTENT }))
        .route("/pulse", get(pulse))
        .route("/view", post(view))
        .route("/close", post(close))
        .route("/new", post(new))
        .route("/plan", get(plan))
        .route("/plan/edit", post(edit))
        .route("/plan/undo", post(undo))
        .route("/plan/redo", post(redo))
        .route("/plan/save", post(save))
        .route("/plan/take-file", post(take_file))
        .route("/plan/save-as", post(save_as))
        .route("/plan/row", post(row))
        .route("/plan/place", post(place))
        .route("/plan/point", post(point))
        .route("/plan/take", post(take))
        .route("/plan/text", post(text))
        .route("/plan/state", get(state))
        .route("/live", get(live_now))
        .route("/map/ground", get(ground))
        .route("/map/measure", get(measure))
        .route("/map/target", post(target))
        .route("/job", post(job))
        .route("/job/stop", post(stop_job))
        .route("/result", get(result))
        .route("/card", get(card))
        .route("/compare", get(compare))
        .route("/file", get(file))
}

/// What is answered to who brings files.
pub fn files() -> Router<Arc<Desk>> {
    let route = Router::new().route("/winds/drop", post(drop_winds));
    route.layer(DefaultBodyLimit::max(FILE_BYTES))
}

/// There is nothing else.
pub async fn not_found(State(desk): Shared) -> Response {
    let said = html! { p { (words::NOT_FOUND) } };
    let page = page::note(words::NOT_FOUND, desk.view(), said, Some("/"));
    (StatusCode::NOT_FOUND, sent(page)).into_response()
}

/// A page as it is sent.
fn sent(page: Markup) -> Html<String> {
    Html(markup::document(page))
}

/// Work that takes longer than a moment, apart from the thread that answers.
async fn aside<T: Send + 'static>(work: impl FnOnce() -> T + Send + 'static) -> Result<T> {
    let done = tokio::task::spawn_blocking(work).await;
    done.map_err(|_| Error::CannotDo {
        why: words::BROKEN.into(),
        remedy: words::BROKEN_REMEDY.into(),
    })
}

fn wants_json(headers: &HeaderMap) -> bool {
    let accept = headers.get(ACCEPT).and_then(|v| v.to_str().ok());
    accept.is_some_and(|accept| accept.contains("application/json"))
}

/// What could not be done, as a page or for the script.
fn refused(desk: &Desk, headers: &HeaderMap, error: &Error, back: &str) -> Response {
    let status = StatusCode::UNPROCESSABLE_ENTITY;
    match wants_json(headers) {
        true => (status, Json(json!({ "error": error.to_string() }))).into_response(),
        false => {
            let said = show::error(error);
            let page = page::note(words::REFUSED, desk.view(), said, Some(back));
            (status, sent(page)).into_response()
        }
    }
}

/// What a form is about.
fn of<'a>(given: &'a Given, id: &str) -> &'a str {
    given.get(id).map_or("", String::as_str)
}

/// Pairs as a form sends them; what comes several times is joined, a line each.
fn values(pairs: Vec<(String, String)>) -> Values {
    let mut values = Values::new();
    for (id, value) in pairs {
        let all = values.entry(id).or_default();
        if !all.is_empty() && !value.is_empty() {
            all.push('\n');
        }
        all.push_str(&value);
    }
    values
}

async fn style() -> Response {
    let kind = HeaderValue::from_static("text/css; charset=utf-8");
    ([(CONTENT_TYPE, kind)], desk_style() + STYLE).into_response()
}

async fn script() -> Response {
    let kind = HeaderValue::from_static("text/javascript; charset=utf-8");
    ([(CONTENT_TYPE, kind)], SCRIPT).into_response()
}

/// What happens, as it happens.
async fn pulse(
    State(desk): Shared,
) -> Sse<impl Stream<Item = std::result::Result<Event, Infallible>>> {
    let told = WatchStream::new(desk.jobs.listen()).map(|pulse| {
        let text = serde_json::to_string(&pulse).unwrap_or_default();
        Ok(Event::default().data(text))
    });
    Sse::new(told).keep_alive(KeepAlive::new().interval(Duration::from_secs(30)))
}

async fn view(State(desk): Shared, Form(given): Form<Given>) -> Response {
    desk.set_view(View {
        units: match of(&given, "units") {
            "metric" => Some(UnitSystem::Metric),
            "us" => Some(UnitSystem::Us),
            _ => None,
        },
        utc: of(&given, "clock") == "utc",
    });
    // Only to a page of ours.
    let here = of(&given, "here");
    let ours = here.starts_with('/') && !here.starts_with("//") && !here.contains('\\');
    let ours = ours && here.bytes().all(|b| b.is_ascii_graphic());
    Redirect::to(if ours { here } else { "/" }).into_response()
}

async fn close(State(desk): Shared) -> Response {
    desk.close();
    let said = html! { p { (words::CLOSED) } };
    sent(page::note(words::DESK, desk.view(), said, None)).into_response()
}

fn is_plan(name: &str) -> bool {
    let other = ["feeds.toml", "Cargo.toml"];
    name.ends_with(".toml") && !other.contains(&name)
}

/// What can be compared: plans, briefings, zones.
fn zones(desk: &Desk) -> Vec<String> {
    let files = desk.folder.files().into_iter().map(|f| f.name);
    let zone = |name: &String| {
        is_plan(name) || name.ends_with("/zone.geojson") || name.ends_with("zone.json")
    };
    let mut zones: Vec<String> = files.filter(zone).collect();
    zones.sort_by_key(|name| (!is_plan(name), name.clone()));
    zones
}

fn home_page(desk: &Desk, given: &Values, faults: Vec<(String, String)>) -> Result<Markup> {
    let files = desk.folder.files();
    let plans = files.iter().filter(|f| is_plan(&f.name)).map(|f| {
        let draft = format!("{}.draft", f.name);
        (f.name.clone(), files.iter().any(|f| f.name == draft))
    });
    Ok(page::home(
        &Home {
            folder: desk.folder.root().display().to_string(),
            plans: plans.collect(),
            zones: zones(desk),
            given,
            faults,
            world: layered::world(&coast_lines(COAST_DEG)?),
        },
        desk.view(),
    ))
}

async fn home(State(desk): Shared, headers: HeaderMap) -> Response {
    match home_page(&desk, &Values::new(), Vec::new()) {
        Ok(page) => sent(page).into_response(),
        Err(error) => refused(&desk, &headers, &error, "/"),
    }
}

async fn new(State(desk): Shared, headers: HeaderMap, Form(given): Form<Given>) -> Response {
    let made = begin::plan(&given).and_then(|made| match made {
        Ok((name, text)) => {
            let path = desk.folder.path(&name)?;
            if path.exists() {
                let expected = "the name of a new plan: none is overwritten";
                let there = Fault::new("", format!("{name}, which is there already"), expected);
                return Ok(Err(vec![there.of_key("file")]));
            }
            Plan::parse(&name, &text, desk.folder.root())?;
            crate::files::write_atomically(&path, text.as_bytes())?;
            Ok(Ok(name))
        }
        Err(faults) => Ok(Err(faults)),
    });
    let faults = match made {
        Ok(Ok(name)) => return Redirect::to(&page::address(&name, None)).into_response(),
        Ok(Err(faults)) => faults.iter().map(begin::in_words).collect(),
        Err(error) => return refused(&desk, &headers, &error, "/"),
    };
    match home_page(&desk, &given, faults) {
        Ok(page) => (StatusCode::UNPROCESSABLE_ENTITY, sent(page)).into_response(),
        Err(error) => refused(&desk, &headers, &error, "/"),
    }
}

/// A plan that is being worked on, as it is now.
struct Now {
    text: String,
    step: u64,
    file: FileIs,
    unsaved: bool,
    can: [bool; 2],
}

impl Now {
    fn of(draft: &mut Draft) -> Result<Now> {
        let file = draft.look()?;
        Ok(Now {
            text: draft.text().to_owned(),
            step: draft.number(),
            file,
            unsaved: draft.unsaved(),
            can: draft.can(),
        })
    }

    fn values(&self) -> Option<(PlanText, Values)> {
        let doc = PlanText::read(&self.text)?;
        let values = shown(&doc);
        Some((doc, values))
    }

    /// For the script: what the fields show, and the state of the file.
    fn json(&self) -> Value {
        let said = match (self.file, self.unsaved) {
            (FileIs::Changed, _) => words::CHANGED,
            (FileIs::TakenOver, _) => words::TAKEN_OVER,
            (FileIs::Gone, _) => words::GONE,
            (_, true) => words::UNSAVED,
            _ => words::SAVED,
        };
        json!({
            "step": self.step,
            "said": said,
            "undo": self.can[0],
            "redo": self.can[1],
            "save": (self.unsaved || self.file == FileIs::Gone) && self.file != FileIs::Changed,
            "conflict": self.file == FileIs::Changed,
            "values": self.values().map(|(_, values)| values),
            "text": self.text,
        })
    }
}

/// The units in which the page of a plan's text is shown.
fn units(view: View, text: &str) -> UnitSystem {
    let doc = PlanText::read(text);
    let us = doc.is_some_and(|doc| shown(&doc).get("flight.units").is_some_and(|u| u == "us"));
    view.units.unwrap_or(UnitSystem::of(us))
}

async fn plan(State(desk): Shared, headers: HeaderMap, Query(given): Query<Given>) -> Response {
    let patience = match given.contains_key("wait") {
        true => LONG_PATIENCE,
        false => PATIENCE,
    };
    match plan_page(&desk, of(&given, "name"), patience).await {
        Ok(page) => sent(page).into_response(),
        Err(error) => refused(&desk, &headers, &error, "/"),
    }
}

async fn plan_page(desk: &Arc<Desk>, name: &str, patience: Duration) -> Result<Markup> {
    let now = desk.with_draft(name, Now::of)?;
    let (live, below) = shown_soon(desk, name, &now.text, patience).await;
    let view = desk.view();
    let made = Station::ALL.into_iter();
    Ok(page::plan(
        &PlanPage {
            name,
            step: now.step,
            file: now.file,
            unsaved: now.unsaved,
            can: now.can,
            values: now.values(),
            faults: faults(desk, name, &now.text),
            live,
            below,
            made: made
                .filter_map(|s| Some((s, desk.made(name, s)?)))
                .collect(),
            job: desk.jobs.now().filter(|job| job.plan == name),
            files: desk.folder.files(),
            feeds: desk
                .feeds
                .iter()
                .map(|f| (f.name.clone(), f.title.clone()))
                .collect(),
            units: units(view, &now.text),
            text: &now.text,
        },
        view,
    ))
}

/// What follows from a plan and the ground of its map, as far as they are there soon. What is not is given up: the
/// script asks again.
async fn shown_soon(
    desk: &Arc<Desk>,
    name: &str,
    text: &str,
    patience: Duration,
) -> (Option<Live>, Option<Markup>) {
    let until = tokio::time::Instant::now() + patience;
    let late = Arc::new(AtomicBool::new(false));
    let (worker, plan, typed, given_up) =
        (desk.clone(), name.to_owned(), text.to_owned(), late.clone());
    let work = aside(move || {
        let newer = || given_up.load(Ordering::Relaxed);
        unless_ended(|| Ok(live(&worker, &plan, &typed, None, &newer)))
    });
    let Ok(Ok(Some(Ok(live)))) = tokio::time::timeout_at(until, work).await else {
        late.store(true, Ordering::Relaxed);
        return (None, None);
    };
    let frame = live.map.as_ref().map(|map| map.frame);
    let (worker, plan, typed) = (desk.clone(), name.to_owned(), text.to_owned());
    let drawn = aside(move || below(&worker, &plan, &typed, frame));
    let below = tokio::time::timeout_at(until, drawn).await;
    (Some(live), below.ok().and_then(Result::ok))
}

/// The ground of a plan's map; where its files are at fault, that of the built-in world.
fn below(desk: &Desk, name: &str, text: &str, frame: Option<Frame>) -> Markup {
    let Some(frame) = frame else {
        return html! {};
    };
    let units = units(desk.view(), text);
    let plan = parsed(desk, name, text).or_else(|_| bare(frame.center));
    let drawn = plan.and_then(|plan| desk.land.of(&plan, frame, units));
    let drawn = drawn.or_else(|_| desk.land.of(&bare(frame.center)?, frame, units));
    drawn.unwrap_or_else(|_| html! {})
}

/// A plan without any files, for a map of the built-in world.
fn bare(site: Position) -> Result<Plan> {
    let text = format!(
        "[flight]\nrelease = 2000-01-01T00:00:00Z\n[site]\nlat = {:?}\nlon = {:?}\n\
         [ascent]\nrate = \"5 m/s\"\nburst_altitude = \"30 km\"\n[descent]\nlanding_speed = \"5 m/s\"\n",
        site.lat_deg, site.lon_deg
    );
    Plan::parse("", &text, std::path::Path::new(""))
}

/// Changes a plan and answers with how it is then.
fn changed(
    desk: &Desk,
    headers: &HeaderMap,
    (name, station): (&str, Option<Station>),
    change: impl FnOnce(&mut Draft) -> Result<()>,
) -> Response {
    let back = page::address(name, station);
    let now = desk.with_draft(name, |draft| {
        // What was changed by hand is taken over first, if nothing here is unsaved.
        draft.look()?;
        change(draft)?;
        Now::of(draft)
    });
    match now {
        Err(error) => refused(desk, headers, &error, &back),
        Ok(now) if wants_json(headers) => Json(now.json()).into_response(),
        Ok(_) => Redirect::to(&back).into_response(),
    }
}

/// What a plan's text was when a page showed it.
fn was_shown(draft: &Draft, step: &str) -> Result<PlanText> {
    let text = step.parse().ok().and_then(|step| draft.text_at(step));
    text.and_then(PlanText::read).ok_or_else(stale)
}

fn stale() -> Error {
    Error::CannotDo {
        why: words::STALE.into(),
        remedy: words::LOOK_AGAIN.into(),
    }
}

/// Changes the document of a plan.
fn edited(
    draft: &mut Draft,
    field: &str,
    change: impl FnOnce(&mut PlanText) -> Result<()>,
) -> Result<()> {
    let mut doc = PlanText::read(draft.text()).ok_or_else(|| Error::CannotDo {
        why: words::NOT_TOML.into(),
        remedy: words::LOOK_AGAIN.into(),
    })?;
    change(&mut doc)?;
    draft.edit(doc.text(), field)
}

async fn edit(
    State(desk): Shared,
    headers: HeaderMap,
    Form(pairs): Form<Vec<(String, String)>>,
) -> Response {
    let given = values(pairs);
    let name = of(&given, "name").to_owned();
    changed(&desk, &headers, (&name, None), |draft| {
        let was = shown(&was_shown(draft, of(&given, "step"))?);
        let mut doc = PlanText::read(draft.text()).ok_or_else(stale)?;
        let ids = apply(&mut doc, &was, &given);
        let field = match &ids[..] {
            [one] => one.as_str(),
            _ => "",
        };
        draft.edit(doc.text(), field)
    })
}

async fn undo(State(desk): Shared, headers: HeaderMap, Form(given): Form<Given>) -> Response {
    changed(&desk, &headers, (of(&given, "name"), None), |draft| {
        draft.step(true)
    })
}

async fn redo(State(desk): Shared, headers: HeaderMap, Form(given): Form<Given>) -> Response {
    changed(&desk, &headers, (of(&given, "name"), None), |draft| {
        draft.step(false)
    })
}

async fn save(State(desk): Shared, headers: HeaderMap, Form(given): Form<Given>) -> Response {
    changed(&desk, &headers, (of(&given, "name"), None), Draft::save)
}

async fn take_file(State(desk): Shared, headers: HeaderMap, Form(given): Form<Given>) -> Response {
    changed(
        &desk,
        &headers,
        (of(&given, "name"), None),
        Draft::take_file,
    )
}

async fn save_as(State(desk): Shared, headers: HeaderMap, Form(given): Form<Given>) -> Response {
    let (name, file) = (of(&given, "name"), of(&given, "file").trim());
    let file = format!("{}.toml", file.trim_end_matches(".toml"));
    // Beside the plan, whose files it names as seen from there.
    let file = beside(name, &file);
    let saved = desk
        .folder
        .path(&file)
        .and_then(|path| desk.with_draft(name, |draft| draft.save_as(&path)));
    match saved {
        Ok(()) => Redirect::to(&page::address(&file, None)).into_response(),
        Err(error) => refused(&desk, &headers, &error, &page::address(name, None)),
    }
}

async fn row(State(desk): Shared, headers: HeaderMap, Form(given): Form<Given>) -> Response {
    let at = (of(&given, "name"), Some(Station::Stack));
    changed(&desk, &headers, at, |draft| {
        edited(draft, "", |doc| {
            match given.get("remove").and_then(|row| row.parse().ok()) {
                Some(row) => doc.remove_table("load", row),
                None => {
                    doc.add_table("load");
                    let last = doc.tables("load").saturating_sub(1);
                    set(doc, &format!("load.{last}.name"), words::NEW_THING);
                }
            }
            Ok(())
        })
    })
}

/// Moves the site of a plan, and looks its elevation up.
fn move_site(desk: &Desk, name: &str, doc: &mut PlanText, to: Position) -> Result<()> {
    let moved_m = site(doc).map_or(f64::INFINITY, |from| from.distance_m(to));
    set(doc, "site.lat", &degrees(to.lat_deg));
    set(doc, "site.lon", &degrees(to.lon_deg));
    if moved_m > SAME_GROUND_M {
        // The elevation of another field is not this one's.
        let terrain = parsed(desk, name, &doc.text()).map(|plan| plan.ground.terrain);
        let known = elevation(to, &terrain.unwrap_or_default())?;
        let units = units(desk.view(), &doc.text());
        let text = known.map_or_else(String::new, |known| units.height(known.elevation_m));
        set(doc, "site.elevation", &text);
        // What stood beside them was said of the other field.
        for id in ["site.lat", "site.lon", "site.elevation"] {
            if let Some(key) = key(id) {
                doc.forget_remark(key);
            }
        }
    }
    Ok(())
}

async fn place(State(desk): Shared, headers: HeaderMap, Form(given): Form<Given>) -> Response {
    let name = of(&given, "name");
    changed(&desk, &headers, (name, Some(Station::Flight)), |draft| {
        let to = begin::place(of(&given, "place"))?;
        edited(draft, "", |doc| move_site(&desk, name, doc, to))
    })
}

/// A point of a map.
fn place_on(given: &Given, x: &str, y: &str) -> Result<Position> {
    let wrong = || Fault::new("map", "a point off the map", "a point of the map");
    let frame = Frame::read(of(given, "frame")).ok_or_else(wrong)?;
    let number = |id: &str| {
        of(given, id)
            .parse::<f64>()
            .ok()
            .filter(|v| v.abs() < 5_000.0)
    };
    let (Some(x), Some(y)) = (number(x), number(y)) else {
        return Err(wrong().into());
    };
    let place = frame.sheet().place([x, y]);
    Position::new(place.lat_deg, place.lon_deg).ok_or_else(|| wrong().into())
}

async fn point(State(desk): Shared, headers: HeaderMap, Form(given): Form<Given>) -> Response {
    let name = of(&given, "name");
    changed(&desk, &headers, (name, Some(Station::Site)), |draft| {
        let to = place_on(&given, "x", "y")?;
        edited(draft, "", |doc| move_site(&desk, name, doc, to))
    })
}

async fn take(State(desk): Shared, headers: HeaderMap, Form(given): Form<Given>) -> Response {
    let name = of(&given, "name");
    let station = match given.contains_key("site") {
        true => Station::Site,
        false => Station::Days,
    };
    changed(&desk, &headers, (name, Some(station)), |draft| {
        edited(draft, "", |doc| {
            if let Some(text) = given.get("site") {
                let to = read_position(text).ok_or_else(|| Fault::new("site", text, EXPECTED))?;
                move_site(&desk, name, doc, to)?;
            }
            if let Some(text) = given.get("release") {
                let wrong = || Fault::new("release", text, "a time, as in 2026-05-01T09:00:00Z");
                let time: Timestamp = text.parse().map_err(|_| wrong())?;
                let zone = jiff::tz::TimeZone::get(&shown(doc)["flight.timezone"]);
                let written = release_text(time, &zone.unwrap_or(jiff::tz::TimeZone::UTC));
                // Without a zone of its own a plan's release needs an offset.
                let alone =
                    read_time(&written, None).is_err() && shown(doc)["flight.timezone"].is_empty();
                set(
                    doc,
                    "flight.release",
                    &if alone { time.to_string() } else { written },
                );
            }
            Ok(())
        })
    })
}

async fn text(State(desk): Shared, headers: HeaderMap, Form(given): Form<Given>) -> Response {
    let at = (of(&given, "name"), Some(Station::Text));
    changed(&desk, &headers, at, |draft| {
        // Somebody else's step must not be lost under an older text.
        match of(&given, "step").parse() == Ok(draft.number()) {
            true => draft.edit(of(&given, "text").replace("\r\n", "\n"), ""),
            false => Err(stale()),
        }
    })
}

async fn state(State(desk): Shared, headers: HeaderMap, Query(given): Query<Given>) -> Response {
    match desk.with_draft(of(&given, "name"), Now::of) {
        Ok(now) => Json(now.json()).into_response(),
        Err(error) => refused(&desk, &headers, &error, "/"),
    }
}

async fn live_now(State(desk): Shared, headers: HeaderMap, Query(given): Query<Given>) -> Response {
    let name = of(&given, "name").to_owned();
    let number = of(&given, "n").parse().unwrap_or(0);
    let newer = desk.asked(of(&given, "page"), number);
    let had = Frame::read(of(&given, "frame"));
    let text = desk.with_draft(&name, |draft| Ok((draft.text().to_owned(), draft.number())));
    let (text, step) = match text {
        Ok(text) => text,
        Err(error) => return refused(&desk, &headers, &error, "/"),
    };
    let worker = desk.clone();
    let shown = aside(move || unless_ended(|| Ok(live(&worker, &name, &text, had, &newer)))).await;
    match shown {
        Ok(Some(Ok(live))) => Json(live_json(&live, number, step)).into_response(),
        // Nobody waits for it any more.
        Ok(None) => (StatusCode::CONFLICT, Json(json!({ "n": number }))).into_response(),
        Ok(Some(Err(error))) | Err(error) => refused(&desk, &headers, &error, "/"),
    }
}

fn live_json(live: &Live, number: u64, step: u64) -> Value {
    let text = |part: &Option<Markup>| part.as_ref().map(|m| markup::without_controls(&m.0));
    let wrong: Vec<Value> = live
        .faults
        .iter()
        .map(|(field, said)| json!([field, said]))
        .collect();
    json!({
        "n": number,
        "step": step,
        "wrong": wrong,
        "faults": page::fault_list(&live.faults).0,
        "parts": { "fill": text(&live.fill), "winds": text(&live.winds), "zone": text(&live.zone), "numbers": text(&live.numbers) },
        "map": live.map.as_ref().map(|map| json!({
            "frame": map.frame.text(),
            "above": markup::without_controls(&map.above.0),
            "label": map.label,
            "track": map.track.iter().map(|([x, y], said)| json!([x, y, said])).collect::<Vec<_>>(),
        })),
    })
}

async fn ground(State(desk): Shared, headers: HeaderMap, Query(given): Query<Given>) -> Response {
    let Some(frame) = Frame::read(of(&given, "frame")) else {
        return not_found(State(desk)).await;
    };
    let (name, worker) = (of(&given, "name").to_owned(), desk.clone());
    let drawn = aside(move || {
        let text = match name.as_str() {
            "" => String::new(),
            name => worker
                .with_draft(name, |draft| Ok(draft.text().to_owned()))
                .unwrap_or_default(),
        };
        below(&worker, &name, &text, Some(frame))
    });
    match drawn.await {
        Ok(drawn) => sent(drawn).into_response(),
        Err(error) => refused(&desk, &headers, &error, "/"),
    }
}

/// How far it is between points of a map, and which way; of one point, where it is.
async fn measure(State(desk): Shared, headers: HeaderMap, Query(given): Query<Given>) -> Response {
    let units = desk
        .view()
        .units
        .unwrap_or(UnitSystem::of(of(&given, "us") == "yes"));
    let measured = place_on(&given, "x", "y").and_then(|to| {
        let from = match given.contains_key("x0") {
            true => Some(place_on(&given, "x0", "y0")?),
            false => None,
        };
        Ok((from, to))
    });
    match measured {
        Ok((from, to)) => {
            let way = from.map(|from| said::way(from, to, units));
            Json(json!({ "place": to.text(), "way": way, "lat": to.lat_deg, "lon": to.lon_deg }))
                .into_response()
        }
        Err(error) => refused(&desk, &headers, &error, "/"),
    }
}

/// Keeps a target that was drawn on the map, as a file of the folder.
async fn target(State(desk): Shared, headers: HeaderMap, Form(given): Form<Given>) -> Response {
    let name = of(&given, "name");
    let back = page::address(name, Some(Station::Site));
    let kept = drawn_target(&given).and_then(|area| {
        let beside = name.rsplit_once('/').map_or("", |(folder, _)| folder);
        let (file, path) = free_name(&desk, beside, "target.geojson")?;
        crate::files::write_atomically(&path, area.to_string().as_bytes())?;
        Ok(file)
    });
    match kept {
        Ok(file) if wants_json(&headers) => Json(json!({ "file": file })).into_response(),
        Ok(_) => Redirect::to(&back).into_response(),
        Err(error) => refused(&desk, &headers, &error, &back),
    }
}

/// The area between points of a map, "x,y x,y ...".
fn drawn_target(given: &Given) -> Result<Value> {
    let mut ring = Vec::new();
    for pair in of(given, "points").split_whitespace().take(200) {
        let (x, y) = pair.split_once(',').unwrap_or((pair, ""));
        let one: Given = [("frame", of(given, "frame")), ("x", x), ("y", y)]
            .map(|(id, value)| (id.to_owned(), value.to_owned()))
            .into();
        let place = place_on(&one, "x", "y")?;
        ring.push(json!([place.lon_deg, place.lat_deg]));
    }
    if ring.len() < 3 {
        let found = format!("{} points", ring.len());
        return Err(Fault::new("target", found, "three points or more").into());
    }
    ring.push(ring[0].clone());
    Ok(json!({
        "type": "FeatureCollection",
        "features": [{
            "type": "Feature",
            "properties": { "name": "target" },
            "geometry": { "type": "Polygon", "coordinates": [ring] },
        }],
    }))
}

async fn job(State(desk): Shared, headers: HeaderMap, Form(given): Form<Given>) -> Response {
    let name = of(&given, "name").to_owned();
    match start_work(&desk, &name, given) {
        Ok(station) if wants_json(&headers) => {
            Json(json!({ "station": station.id() })).into_response()
        }
        Ok(station) => Redirect::to(&page::address(&name, Some(station))).into_response(),
        Err(error) => refused(&desk, &headers, &error, &page::address(&name, None)),
    }
}

async fn stop_job(State(desk): Shared, headers: HeaderMap) -> Response {
    desk.jobs.stop();
    match (wants_json(&headers), desk.jobs.now()) {
        (false, Some(job)) => Redirect::to(&page::address(&job.plan, None)).into_response(),
        (false, None) => Redirect::to("/").into_response(),
        _ => StatusCode::NO_CONTENT.into_response(),
    }
}

/// What a job made, for the script.
async fn result(State(desk): Shared, headers: HeaderMap, Query(given): Query<Given>) -> Response {
    let name = of(&given, "name");
    let station = Station::ALL
        .into_iter()
        .find(|s| s.id() == of(&given, "station"));
    let made = station.and_then(|station| desk.made(name, station));
    match (made, desk.with_draft(name, Now::of)) {
        (Some(made), Ok(now)) => {
            let units = units(desk.view(), &now.text);
            sent(page::answer(&made, name, &now.text, now.step, units)).into_response()
        }
        (_, Err(error)) => refused(&desk, &headers, &error, "/"),
        _ => sent(html! {}).into_response(),
    }
}

/// The launch-day card of a plan.
async fn card(State(desk): Shared, headers: HeaderMap, Query(given): Query<Given>) -> Response {
    let name = of(&given, "name").to_owned();
    let back = page::address(&name, Some(Station::Stack));
    let worker = desk.clone();
    let drawn = aside(move || -> Result<String> {
        let text = worker.with_draft(&name, |draft| Ok(draft.text().to_owned()))?;
        let plan = worker.view().clocks(parsed(&worker, &name, &text)?);
        let units = worker.view().units_of(&plan);
        let winds = match plan.wind_files.is_empty() {
            true => None,
            false => Some(worker.air.of(&plan)?),
        };
        let options = fill::Options {
            known: None,
            lifted_kg: None,
            rules: None,
            round_in_kg: round_in_kg(units),
        };
        let fill = fill::size(&plan, winds.as_deref(), options)?;
        Ok(fill_card::html(&fill, &fill::checklist::built_in()?, units))
    });
    match drawn.await.and_then(|drawn| drawn) {
        Ok(card) => alone(card.into_bytes(), "text/html; charset=utf-8"),
        Err(error) => refused(&desk, &headers, &error, &back),
    }
}

async fn compare(State(desk): Shared, headers: HeaderMap, Query(given): Query<Given>) -> Response {
    let (old, new) = (of(&given, "old").to_owned(), of(&given, "new").to_owned());
    let (worker, chosen) = (desk.clone(), [old.clone(), new.clone()]);
    let found = aside(move || compared(&worker, [&old, &new])).await;
    let shown = match found.and_then(|found| found) {
        Ok(shown) => shown,
        Err(error) if wants_json(&headers) => return refused(&desk, &headers, &error, "/"),
        Err(error) => show::error(&error),
    };
    let chosen = [chosen[0].as_str(), chosen[1].as_str()];
    sent(page::compared(&zones(&desk), chosen, shown, desk.view())).into_response()
}

/// A zone of the folder: published, or that of a plan as it is now.
fn published(desk: &Desk, name: &str) -> Result<PublishedZone> {
    let path = desk.folder.path(name)?;
    if !is_plan(name) {
        let mut zone = PublishedZone::read(&path)?;
        name.clone_into(&mut zone.file);
        return Ok(zone);
    }
    let text = desk.with_draft(name, |draft| Ok(draft.text().to_owned()))?;
    let plan = parsed(desk, name, &text)?;
    let winds = desk.air.of(&plan)?;
    let zone = predict(&plan, &winds, Options::default(), || ())?.zone;
    PublishedZone::of_text(name, &geojson::text(&zone, UnitSystem::Metric))
}

/// Two zones in words and on one map.
fn compared(desk: &Desk, names: [&str; 2]) -> Result<Markup> {
    let [old, new] = names.map(|name| published(desk, name));
    let comparison = Comparison::of(old?, new?)?;
    let units = desk.view().units.unwrap_or(UnitSystem::Metric);
    let rings = [&comparison.old, &comparison.new].map(|zone| zone.outer().ring());
    let ends = [&comparison.old, &comparison.new]
        .into_iter()
        .flat_map(|zone| [zone.release.position, zone.landing.position]);
    let places: Vec<Position> = rings.iter().flatten().copied().chain(ends).collect();
    let frame = Frame::around(&places, None).ok_or_else(super::gone)?;
    let above = layered::two(&frame.sheet(), [&rings[..1], &rings[1..]]);
    let below = below(desk, "", "", Some(frame));
    Ok(html! {
        (show::compared(&tables::compare::table(&comparison, units)))
        figure.map {
            (layered::frame("map", words::COMPARE_KEY, &below, &above))
            figcaption { (words::COMPARE_KEY) }
        }
    })
}

/// What a file of the folder is sent as.
fn kind_of(name: &str) -> Option<&'static str> {
    Some(match name.rsplit_once('.')?.1 {
        "html" => "text/html; charset=utf-8",
        "txt" | "csv" => "text/plain; charset=utf-8",
        "svg" => "image/svg+xml",
        "png" => "image/png",
        "geojson" | "json" => "application/geo+json",
        "kml" => "application/vnd.google-earth.kml+xml",
        "gpx" => "application/gpx+xml",
        "ics" => "text/calendar; charset=utf-8",
        _ => return None,
    })
}

/// A page of its own: whatever its script does, it has nothing to do with the desk.
fn alone(bytes: Vec<u8>, kind: &'static str) -> Response {
    let policy = "sandbox allow-scripts allow-popups; default-src 'none'; style-src 'unsafe-inline'; \
                  script-src 'unsafe-inline'; img-src data:; frame-ancestors 'self'";
    let headers = [
        (CONTENT_TYPE, kind),
        (CONTENT_SECURITY_POLICY, policy),
        (X_FRAME_OPTIONS, "SAMEORIGIN"),
    ];
    (headers, bytes).into_response()
}

async fn file(State(desk): Shared, headers: HeaderMap, Query(given): Query<Given>) -> Response {
    let name = of(&given, "name");
    let found = desk
        .folder
        .path(name)
        .and_then(|path| fs::read(&path).map_err(|cause| Error::file(&path, "read", cause)));
    match (found, kind_of(name)) {
        (Ok(bytes), Some(kind)) => alone(bytes, kind),
        (Err(error), Some(_)) => refused(&desk, &headers, &error, "/"),
        (_, None) => not_found(State(desk)).await,
    }
}

async fn drop_winds(State(desk): Shared, headers: HeaderMap, mut parts: Multipart) -> Response {
    let mut name = String::new();
    let kept = keep_files(&desk, &mut parts, &mut name).await;
    let back = page::address(&name, Some(Station::Winds));
    let kept = match kept {
        Ok(kept) => kept,
        Err(error) => return refused(&desk, &headers, &error, &back),
    };
    let (worker, plan) = (desk.clone(), name.clone());
    let added = aside(move || take_winds(&worker, &plan, kept)).await;
    match added.and_then(|added| added) {
        Ok(()) if wants_json(&headers) => Json(json!({})).into_response(),
        Ok(()) => Redirect::to(&back).into_response(),
        Err(error) => refused(&desk, &headers, &error, &back),
    }
}

/// Writes the files that a form brings under temporary names.
async fn keep_files(
    desk: &Desk,
    parts: &mut Multipart,
    name: &mut String,
) -> Result<Vec<(String, NamedTempFile)>> {
    let broken = |cause: axum::extract::multipart::MultipartError| Error::CannotDo {
        why: format!("the files did not arrive: {}", cause.body_text()),
        remedy: "send them again".into(),
    };
    let mut kept = Vec::new();
    while let Some(mut part) = parts.next_field().await.map_err(broken)? {
        if part.name() == Some("name") {
            *name = part.text().await.map_err(broken)?;
            continue;
        }
        let file = part.file_name().unwrap_or_default().to_owned();
        if file.is_empty() {
            continue;
        }
        let root = desk.folder.root();
        let failed = |cause| Error::file(root, "write into", cause);
        let mut written = NamedTempFile::new_in(root).map_err(failed)?;
        while let Some(bytes) = part.chunk().await.map_err(broken)? {
            written.write_all(&bytes).map_err(failed)?;
        }
        kept.push((file, written));
    }
    Ok(kept)
}

/// Reads files as winds, gives them their names, and puts them into the plan.
fn take_winds(desk: &Desk, plan: &str, kept: Vec<(String, NamedTempFile)>) -> Result<()> {
    let mut names = Vec::new();
    for (file, written) in kept {
        // What cannot be read as winds is not kept.
        WindFiles::read(&[written.path().to_owned()], &Hints::default(), false)
            .map_err(|error| renamed(error, &file))?;
        let folder = beside(plan, "winds");
        let path = desk.folder.path(&folder)?;
        fs::create_dir_all(&path).map_err(|cause| Error::file(&path, "make", cause))?;
        let (name, path) = free_name(desk, &folder, &file)?;
        let failed = |cause| Error::file(&path, "write", cause);
        written
            .persist_noclobber(&path)
            .map_err(|e| failed(e.error))?;
        names.push(name);
    }
    add_winds(desk, plan, &names, false)
}

/// A fault of a file that had a temporary name, under its own.
fn renamed(error: Error, file: &str) -> Error {
    match error {
        Error::Faults(faults) => Error::Faults(
            faults
                .into_iter()
                .map(|fault| Fault {
                    file: file.to_owned(),
                    ..fault
                })
                .collect(),
        ),
        other => other,
    }
}
