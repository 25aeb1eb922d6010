//! The first page: the plans of the folder, a new plan, how things are shown.

use axum::extract::{Form, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Redirect, Response};
use maud::{Markup, html};

use super::reply::{Given, Shared, of, refused, sent};
use crate::desk::drafts::has_work;
use crate::desk::fields::Values;
use crate::desk::folder::{file_of, is_plan};
use crate::desk::page::Home;
use crate::desk::state::{Desk, View};
use crate::desk::{begin, page, words};
use crate::error::{Error, Fault, Result};
use crate::ground::data::coast_lines;
use crate::plan::Plan;
use crate::report::pictures::map::layered;
use crate::units::UnitSystem;

/// Points of the world's coasts are so far apart, degrees.
const COAST_DEG: f64 = 0.8;

pub async fn view(State(desk): Shared, Form(given): Form<Given>) -> Response {
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
    // Two slashes name a host, and browsers read a backslash as a slash.
    let ours = here.starts_with('/') && !here.starts_with("//") && !here.contains('\\');
    let ours = ours && here.bytes().all(|b| b.is_ascii_graphic());
    Redirect::to(if ours { here } else { "/" }).into_response()
}

pub async fn close(State(desk): Shared) -> Response {
    desk.close();
    let said = html! { p { (words::CLOSED) } };
    sent(page::note(words::DESK, desk.view(), said, None)).into_response()
}

/// What can be compared: plans, briefings, zones.
pub fn zones(desk: &Desk) -> Vec<String> {
    let files = desk.folder.files().names.into_iter();
    let zone = |name: &String| {
        let file = file_of(name);
        is_plan(name) || file == "zone.geojson" || file.ends_with("zone.json")
    };
    let mut zones: Vec<String> = files.filter(zone).collect();
    zones.sort_by_key(|name| (!is_plan(name), name.clone()));
    zones
}

/// The plans among files, and what there is to know of each.
fn plans(desk: &Desk, names: &[String]) -> Vec<(String, Option<&'static str>)> {
    let there = |name: &str| names.iter().any(|other| other == name);
    let has_work = |plan: &str| desk.folder.path(plan).is_ok_and(|path| has_work(&path));
    let plan = |name: &String| match name.strip_suffix(".draft") {
        Some(plan) => {
            let alone = is_plan(plan) && !there(plan) && has_work(plan);
            alone.then(|| (plan.to_owned(), Some(words::FILE_GONE)))
        }
        None => is_plan(name).then(|| {
            let unsaved = there(&format!("{name}.draft"));
            (name.clone(), unsaved.then_some(words::UNSAVED_THERE))
        }),
    };
    names.iter().filter_map(plan).collect()
}

fn home_page(desk: &Desk, given: &Values, faults: Vec<(String, String)>) -> Result<Markup> {
    let files = desk.folder.files();
    Ok(page::home(
        &Home {
            folder: desk.folder.root().display().to_string(),
            plans: plans(desk, &files.names),
            cut: files.cut,
            odd: &files.odd,
            zones: zones(desk),
            given,
            faults,
            world: layered::world(&coast_lines(COAST_DEG)?),
        },
        desk.view(),
    ))
}

pub async fn home(State(desk): Shared, headers: HeaderMap) -> Response {
    match home_page(&desk, &Values::new(), Vec::new()) {
        Ok(page) => sent(page).into_response(),
        Err(error) => refused(&desk, &headers, &error, "/"),
    }
}

pub async fn new(State(desk): Shared, headers: HeaderMap, Form(given): Form<Given>) -> Response {
    let faults = match begun(&desk, &given) {
        Ok(Ok(name)) => return Redirect::to(&page::address(&name, None)).into_response(),
        Ok(Err(faults)) => faults.iter().map(begin::in_words).collect(),
        Err(error) => return refused(&desk, &headers, &error, "/"),
    };
    match home_page(&desk, &given, faults) {
        Ok(page) => (StatusCode::UNPROCESSABLE_ENTITY, sent(page)).into_response(),
        Err(error) => refused(&desk, &headers, &error, "/"),
    }
}

/// Writes the plan that the answers make; its name, or what is wrong with each of them.
fn begun(desk: &Desk, given: &Values) -> Result<std::result::Result<String, Vec<Fault>>> {
    let (name, text) = match begin::plan(given)? {
        Ok(plan) => plan,
        Err(faults) => return Ok(Err(faults)),
    };
    let path = desk.folder.path(&name)?;
    let why = match (path.exists(), has_work(&path)) {
        (true, _) => Some(words::IS_THERE),
        (_, true) => Some(words::WORK_IS_THERE),
        _ => None,
    };
    if let Some(why) = why {
        let there = Fault::new("", format!("{name}, {why}"), words::NEW_NAME);
        return Ok(Err(vec![there.of_key("file")]));
    }
    // Each answer can be read by itself, but may still be out of all range, or not go with the others.
    match Plan::parse(&name, &text, desk.folder.root()) {
        Err(Error::Faults(faults)) => begin::at_their_boxes(faults).map(Err),
        Err(error) => Err(error),
        Ok(_) => {
            crate::files::write_atomically(&path, text.as_bytes())?;
            Ok(Ok(name))
        }
    }
}
