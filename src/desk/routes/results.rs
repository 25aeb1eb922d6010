//! Long work, what it made, and the launch-day card.

use axum::Json;
use axum::extract::{Form, Query, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Redirect, Response};
use maud::html;
use serde_json::json;

use super::plan::{Now, units};
use super::reply::{Given, Shared, alone, aside, of, refused, sent, values, wants_json};
use crate::desk::live::parsed;
use crate::desk::page;
use crate::desk::show::Take;
use crate::desk::words::Station;
use crate::desk::work::start_work;
use crate::error::Result;
use crate::fill;
use crate::report::fill_words::round_in_kg;
use crate::report::pages::fill_card;

pub async fn job(
    State(desk): Shared,
    headers: HeaderMap,
    Form(pairs): Form<Vec<(String, String)>>,
) -> Response {
    let given = values(pairs);
    let name = of(&given, "name").to_owned();
    match start_work(&desk, &name, given) {
        Ok(station) if wants_json(&headers) => {
            Json(json!({ "station": station.id() })).into_response()
        }
        Ok(station) => Redirect::to(&page::address(&name, Some(station))).into_response(),
        Err(error) => refused(&desk, &headers, &error, &page::address(&name, None)),
    }
}

pub async fn stop_job(State(desk): Shared, headers: HeaderMap) -> Response {
    desk.jobs.stop();
    match (wants_json(&headers), desk.jobs.now()) {
        (false, Some(job)) => Redirect::to(&page::address(&job.plan, None)).into_response(),
        (false, None) => Redirect::to("/").into_response(),
        _ => StatusCode::NO_CONTENT.into_response(),
    }
}

/// What a job made, for the script.
pub async fn result(
    State(desk): Shared,
    headers: HeaderMap,
    Query(given): Query<Given>,
) -> Response {
    let name = of(&given, "name");
    let station = Station::ALL
        .into_iter()
        .find(|s| s.id() == of(&given, "station"));
    let made = station.and_then(|station| desk.made(name, station));
    match (made, desk.with_draft(name, Now::of)) {
        (Some(made), Ok(now)) => {
            let view = desk.view();
            let take = Take {
                plan: name,
                step: now.step,
            };
            let units = units(view, &now.text);
            sent(page::answer(&made, &take, &now.text, view, units)).into_response()
        }
        (_, Err(error)) => refused(&desk, &headers, &error, "/"),
        _ => sent(html! {}).into_response(),
    }
}

/// The launch-day card of a plan.
pub async fn card(State(desk): Shared, headers: HeaderMap, Query(given): Query<Given>) -> Response {
    let name = of(&given, "name").to_owned();
    let back = page::address(&name, Some(Station::Stack));
    let worker = desk.clone();
    let drawn = aside(move || -> Result<String> {
        let (text, _) = worker.text_now(&name)?;
        // A sheet for the crew: by the plan's own clocks, whatever the page shows.
        let plan = parsed(&worker, &name, &text)?;
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
