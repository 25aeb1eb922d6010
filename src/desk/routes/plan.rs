//! The page of a plan, and what follows from the plan while it is typed.

use std::sync::Arc;
use std::time::Duration;

use axum::Json;
use axum::extract::{Query, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use maud::Markup;
use serde_json::{Value, json};

use super::map::below;
use super::reply::{Given, Shared, Waits, aside, of, refused, sent};
use crate::desk::drafts::{Draft, FileIs};
use crate::desk::fields::{Values, shown};
use crate::desk::jobs::unless_ended;
use crate::desk::land::Frame;
use crate::desk::live::{Live, faults, live};
use crate::desk::page::PlanPage;
use crate::desk::server::SLOW_TIME;
use crate::desk::state::{Desk, View};
use crate::desk::words::Station;
use crate::desk::{page, words};
use crate::error::Result;
use crate::plan::edit::PlanText;
use crate::report::markup;
use crate::units::UnitSystem;

/// A page waits this long for what follows from a plan; what takes longer comes later.
const PATIENCE: Duration = Duration::from_millis(1_500);

/// The same, of a page that was asked for again: nearly as long as an answer may take.
const LONG_PATIENCE: Duration = SLOW_TIME.saturating_sub(Duration::from_secs(60));

/// A plan that is being worked on, as it is now.
pub struct Now {
    pub text: String,
    pub step: u64,
    file: FileIs,
    unsaved: bool,
    can: [bool; 2],
    /// What a change brought along.
    pub told: Vec<String>,
}

impl Now {
    pub fn of(draft: &mut Draft) -> Result<Now> {
        let file = draft.look()?;
        Ok(Now {
            text: draft.text().to_owned(),
            step: draft.number(),
            file,
            unsaved: draft.unsaved(),
            can: draft.can(),
            told: Vec::new(),
        })
    }

    fn values(&self) -> Option<(PlanText, Values)> {
        let doc = PlanText::read(&self.text)?;
        let values = shown(&doc);
        Some((doc, values))
    }

    /// For the script: what the fields show, and the state of the file.
    pub fn json(&self) -> Value {
        let said = match (self.file, self.unsaved) {
            (FileIs::Changed, _) => words::CHANGED,
            (FileIs::TakenOver, _) => words::TAKEN_OVER,
            (FileIs::Gone, _) => words::GONE,
            (_, true) => words::UNSAVED,
            _ => words::SAVED,
        };
        // A file that was taken over may be told of by both.
        let told = self
            .told
            .iter()
            .map(String::as_str)
            .filter(|told| *told != said);
        let said: Vec<&str> = told.chain([said]).collect();
        json!({
            "step": self.step,
            "said": said.join(" "),
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
pub fn units(view: View, text: &str) -> UnitSystem {
    let doc = PlanText::read(text);
    let us = doc.is_some_and(|doc| shown(&doc).get("flight.units").is_some_and(|u| u == "us"));
    view.units.unwrap_or(UnitSystem::of(us))
}

pub async fn plan(State(desk): Shared, headers: HeaderMap, Query(given): Query<Given>) -> Response {
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
    Ok(page::plan(&PlanPage {
        name,
        step: now.step,
        file: now.file,
        unsaved: now.unsaved,
        can: now.can,
        values: now.values(),
        // Not those of what is live, which may still be missing.
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
        view,
        text: &now.text,
    }))
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
    let (worker, plan, typed) = (desk.clone(), name.to_owned(), text.to_owned());
    let waits = Waits::default();
    let given_up = waits.over();
    let work = aside(move || unless_ended(|| Ok(live(&worker, &plan, &typed, None, &given_up))));
    let Ok(Ok(Some(Ok(live)))) = tokio::time::timeout_at(until, work).await else {
        return (None, None);
    };
    let frame = live.map.as_ref().map(|map| map.frame);
    let (worker, plan, typed) = (desk.clone(), name.to_owned(), text.to_owned());
    let drawn = aside(move || below(&worker, &plan, &typed, frame));
    let below = tokio::time::timeout_at(until, drawn).await;
    (Some(live), below.ok().and_then(Result::ok))
}

pub async fn state(
    State(desk): Shared,
    headers: HeaderMap,
    Query(given): Query<Given>,
) -> Response {
    match desk.with_draft(of(&given, "name"), Now::of) {
        Ok(now) => Json(now.json()).into_response(),
        Err(error) => refused(&desk, &headers, &error, "/"),
    }
}

pub async fn live_now(
    State(desk): Shared,
    headers: HeaderMap,
    Query(given): Query<Given>,
) -> Response {
    let name = of(&given, "name").to_owned();
    let number = of(&given, "n").parse().unwrap_or(0);
    let newer = desk.asked(of(&given, "page"), number);
    let had = Frame::read(of(&given, "frame"));
    let (text, step) = match desk.text_now(&name) {
        Ok(now) => now,
        Err(error) => return refused(&desk, &headers, &error, "/"),
    };
    let worker = desk.clone();
    let waits = Waits::default();
    let given_up = waits.over();
    let ended = move || newer() || given_up();
    let shown = aside(move || unless_ended(|| Ok(live(&worker, &name, &text, had, &ended)))).await;
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
