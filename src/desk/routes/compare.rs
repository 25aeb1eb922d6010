//! Two zones beside each other.

use axum::extract::{Query, State};
use axum::http::HeaderMap;
use axum::response::{IntoResponse, Response};
use jiff::Timestamp;
use maud::{Markup, html};

use super::home::zones;
use super::map::below;
use super::reply::{Given, Shared, Waits, aside, of, refused, sent, wants_json};
use crate::compare::{Comparison, PublishedZone};
use crate::desk::folder::is_plan;
use crate::desk::jobs::{end_if, unless_ended};
use crate::desk::land::Frame;
use crate::desk::live::parsed;
use crate::desk::state::Desk;
use crate::desk::{gone, page, show, words};
use crate::error::Result;
use crate::geodesy::Position;
use crate::report::files::geojson;
use crate::report::pictures::map::layered;
use crate::report::tables;
use crate::units::UnitSystem;
use crate::zone::{Options, predict};

pub async fn compare(
    State(desk): Shared,
    headers: HeaderMap,
    Query(given): Query<Given>,
) -> Response {
    let (old, new) = (of(&given, "old").to_owned(), of(&given, "new").to_owned());
    let (worker, chosen) = (desk.clone(), [old.clone(), new.clone()]);
    let release = of(&given, "release").parse().ok();
    let waits = Waits::default();
    let over = waits.over();
    let work = move || unless_ended(|| compared(&worker, [&old, &new], release, &over));
    let found = aside(work).await.map(|found| found.ok_or_else(gone));
    let shown = match found.and_then(|found| found).and_then(|found| found) {
        Ok(shown) => shown,
        Err(error) if wants_json(&headers) => return refused(&desk, &headers, &error, "/"),
        Err(error) => show::error(&error),
    };
    let chosen = [chosen[0].as_str(), chosen[1].as_str()];
    sent(page::compared(&zones(&desk), chosen, shown, desk.view())).into_response()
}

/// A zone of the folder, and the units of its plan: published, or that of a plan as it is now, perhaps with another
/// release.
fn published(
    desk: &Desk,
    name: &str,
    release: Option<Timestamp>,
    over: &(impl Fn() -> bool + Sync),
) -> Result<(PublishedZone, Option<UnitSystem>)> {
    let path = desk.folder.path(name)?;
    if !is_plan(name) {
        let mut zone = PublishedZone::read(&path)?;
        name.clone_into(&mut zone.file);
        return Ok((zone, None));
    }
    let (text, _) = desk.text_now(name)?;
    let mut plan = parsed(desk, name, &text)?;
    plan.release = release.unwrap_or(plan.release);
    let winds = desk.air.of(&plan)?;
    let zone = predict(&plan, &winds, Options::default(), || end_if(over()))?.zone;
    // By way of the file it would be written to: both zones have the same digits then.
    let zone = PublishedZone::of_text(name, &geojson::text(&zone, UnitSystem::Metric))?;
    Ok((zone, Some(desk.view().units_of(&plan))))
}

/// Two zones in words and on one map, the second perhaps of another release than its plan's.
fn compared(
    desk: &Desk,
    [old, new]: [&str; 2],
    release: Option<Timestamp>,
    over: &(impl Fn() -> bool + Sync),
) -> Result<Markup> {
    let (old, units_of_old) = published(desk, old, None, over)?;
    let (new, units_of_new) = published(desk, new, release, over)?;
    let comparison = Comparison::of(old, new);
    // Zones that were published have none; of two plans the one that is new.
    let units = desk.view().units.or(units_of_new).or(units_of_old);
    let units = units.unwrap_or(UnitSystem::Metric);
    let rings = [&comparison.old, &comparison.new].map(|zone| zone.outer().ring());
    let ends = [&comparison.old, &comparison.new]
        .into_iter()
        .flat_map(|zone| [zone.release.position, zone.landing.position]);
    let places: Vec<Position> = rings.iter().flatten().copied().chain(ends).collect();
    let frame = Frame::around(&places, None).ok_or_else(gone)?;
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
