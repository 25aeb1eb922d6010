//! The ground below a map, and what is pointed at or drawn on it.

use axum::Json;
use axum::extract::{Form, Query, State};
use axum::http::HeaderMap;
use axum::response::{IntoResponse, Redirect, Response};
use maud::{Markup, html};
use serde_json::{Value, json};

use super::not_found;
use super::plan::units;
use super::reply::{Given, Shared, aside, of, refused, sent, wants_json};
use crate::desk::folder::folder_of;
use crate::desk::land::Frame;
use crate::desk::live::parsed;
use crate::desk::page;
use crate::desk::state::Desk;
use crate::desk::words::Station;
use crate::desk::work::free_name;
use crate::error::{Fault, Result};
use crate::geodesy::Position;
use crate::plan::Plan;
use crate::report::words as said;
use crate::units::UnitSystem;

/// The ground of a plan's map; where its files are at fault, that of the built-in world.
pub fn below(desk: &Desk, name: &str, text: &str, frame: Option<Frame>) -> Markup {
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
        // The least that a plan must have; it is never flown.
        "[flight]\nrelease = 2000-01-01T00:00:00Z\n[site]\nlat = {:?}\nlon = {:?}\n\
         [ascent]\nrate = \"5 m/s\"\nburst_altitude = \"30 km\"\n[descent]\nlanding_speed = \"5 m/s\"\n",
        site.lat_deg, site.lon_deg
    );
    Plan::parse("", &text, std::path::Path::new(""))
}

/// A point of a map.
pub fn place_on(given: &Given, x: &str, y: &str) -> Result<Position> {
    let wrong = || Fault::new("map", "a point off the map", "a point of the map");
    let frame = Frame::read(of(given, "frame")).ok_or_else(wrong)?;
    let number = |id: &str| {
        of(given, id)
            .parse::<f64>()
            .ok()
            // A little beside the sheet there are places, too; far off, its plane means nothing.
            .filter(|v| v.abs() < 5_000.0)
    };
    let (Some(x), Some(y)) = (number(x), number(y)) else {
        return Err(wrong().into());
    };
    let place = frame.sheet().place([x, y]);
    Position::new(place.lat_deg, place.lon_deg).ok_or_else(|| wrong().into())
}

pub async fn ground(
    State(desk): Shared,
    headers: HeaderMap,
    Query(given): Query<Given>,
) -> Response {
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
pub async fn measure(
    State(desk): Shared,
    headers: HeaderMap,
    Query(given): Query<Given>,
) -> Response {
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
pub async fn target(State(desk): Shared, headers: HeaderMap, Form(given): Form<Given>) -> Response {
    let name = of(&given, "name");
    let back = page::address(name, Some(Station::Site));
    let kept = drawn_target(&given).and_then(|area| {
        let beside = folder_of(name);
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
    // More corners than anybody draws by hand.
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
    // A ring of GeoJSON ends where it begins (RFC 7946, section 3.1.6).
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
