//! The first page: the plans of the folder, a new plan, how things are shown.

use axum::extract::{Form, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Redirect, Response};
use maud::{Markup, html};

use super::reply::{Given, Shared, of, refused, sent};
use crate::desk::fields::Values;
use crate::desk::folder::is_plan;
use crate::desk::page::Home;
use crate::desk::state::{Desk, View};
use crate::desk::{begin, page, words};
use crate::error::{Fault, Result};
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
        is_plan(name) || name.ends_with("/zone.geojson") || name.ends_with("zone.json")
    };
    let mut zones: Vec<String> = files.filter(zone).collect();
    zones.sort_by_key(|name| (!is_plan(name), name.clone()));
    zones
}

fn home_page(desk: &Desk, given: &Values, faults: Vec<(String, String)>) -> Result<Markup> {
    let files = desk.folder.files();
    let plans = files.names.iter().filter(|name| is_plan(name)).map(|name| {
        let draft = format!("{name}.draft");
        (name.clone(), files.names.contains(&draft))
    });
    Ok(page::home(
        &Home {
            folder: desk.folder.root().display().to_string(),
            plans: plans.collect(),
            cut: files.cut,
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
    let made = begin::plan(&given).and_then(|made| match made {
        Ok((name, text)) => {
            let path = desk.folder.path(&name)?;
            if path.exists() {
                let expected = "the name of a new plan: none is overwritten";
                let there = Fault::new("", format!("{name}, which is there already"), expected);
                return Ok(Err(vec![there.of_key("file")]));
            }
            // Each answer is sound by itself, but together they may still be no plan.
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
