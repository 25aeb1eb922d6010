//! Moves of the release to another place or hour, and what the plan says of the place then: its elevation and its
//! clocks.

use axum::extract::{Form, State};
use axum::http::HeaderMap;
use axum::response::Response;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};

use super::edits::{changed_and_told, edited};
use super::map::place_on;
use super::plan::units;
use super::reply::{Given, Shared, of};
use crate::clock::local::read_time;
use crate::desk::drafts::Draft;
use crate::desk::fields::{key, set, value};
use crate::desk::live::{parsed, site};
use crate::desk::state::Desk;
use crate::desk::words::Station;
use crate::desk::{begin, words};
use crate::draft::{Elevation, ElevationFrom, elevation};
use crate::error::{Fault, Result};
use crate::geodesy::Position;
use crate::geodesy::reading::{EXPECTED, read_position};
use crate::ground::time_zone::time_zone;
use crate::plan::SITE_ELEVATIONS_M;
use crate::plan::edit::PlanText;
use crate::report::files::plan::{degrees, elevation_remark, release_text};

/// The plan's elevation stands for a site moved by less than this, m.
const SAME_GROUND_M: f64 = 200.0;
/// A quarter of a year, h. Whoever looks as often sees both summer and winter time, of which neither is shorter.
const QUARTER_H: i64 = 91 * 24;

pub async fn place(State(desk): Shared, headers: HeaderMap, Form(given): Form<Given>) -> Response {
    let at = (of(&given, "name"), Some(Station::Flight));
    changed_and_told(&desk, &headers, at, |draft| {
        let to = begin::place(of(&given, "place"))?;
        let moved = Move::of(draft, to, None);
        edited(draft, "", |doc| moved.apply(&desk, at.0, doc))
    })
}

pub async fn point(State(desk): Shared, headers: HeaderMap, Form(given): Form<Given>) -> Response {
    let at = (of(&given, "name"), Some(Station::Site));
    changed_and_told(&desk, &headers, at, |draft| {
        let to = place_on(&given, "x", "y")?;
        let moved = Move::of(draft, to, None);
        edited(draft, "", |doc| moved.apply(&desk, at.0, doc))
    })
}

/// Takes a release that was compared: its site, its hour or both.
pub async fn take(State(desk): Shared, headers: HeaderMap, Form(given): Form<Given>) -> Response {
    let name = of(&given, "name");
    let station = match given.contains_key("site") {
        true => Station::Site,
        false => Station::Days,
    };
    changed_and_told(&desk, &headers, (name, Some(station)), |draft| {
        let moved = match given.get("site") {
            Some(text) => {
                let to = read_position(text).ok_or_else(|| Fault::new("site", text, EXPECTED))?;
                Some(Move::of(draft, to, compared_elevation(&given)?))
            }
            None => None,
        };
        edited(draft, "", |doc| {
            let said = moved
                .map(|moved| moved.apply(&desk, name, doc))
                .transpose()?;
            if let Some(text) = given.get("release") {
                take_release(doc, text)?;
            }
            Ok(said.unwrap_or_default())
        })
    })
}

/// The elevation that a site was compared with, m, where its file gave one.
fn compared_elevation(given: &Given) -> Result<Option<f64>> {
    let Some(text) = given.get("elevation") else {
        return Ok(None);
    };
    let height = text.parse().ok().filter(|m| SITE_ELEVATIONS_M.contains(m));
    let wrong = || Fault::new("elevation", text, "the elevation of a site in metres");
    Ok(Some(height.ok_or_else(wrong)?))
}

fn take_release(doc: &mut PlanText, text: &str) -> Result<()> {
    let wrong = || Fault::new("release", text, "a time, as in 2026-05-01T09:00:00Z");
    let time: Timestamp = text.parse().map_err(|_| wrong())?;
    let named = value(doc, "flight.timezone");
    let written = release_text(time, &TimeZone::get(&named).unwrap_or(TimeZone::UTC));
    // Without a zone of its own a plan's release needs an offset.
    let alone = read_time(&written, None).is_err() && named.is_empty();
    let written = if alone { time.to_string() } else { written };
    set(doc, "flight.release", &written);
    Ok(())
}

/// A move of the site.
struct Move {
    to: Position,
    /// The elevation there, m, if it is known with the place.
    elevation_m: Option<f64>,
    /// Where the plan's elevation was given for.
    given_at: Option<Position>,
}

impl Move {
    fn of(draft: &Draft, to: Position, elevation_m: Option<f64>) -> Move {
        Move {
            to,
            elevation_m,
            given_at: given_at(draft),
        }
    }

    /// Moves the site of a plan; what else that changed, in words.
    fn apply(&self, desk: &Desk, name: &str, doc: &mut PlanText) -> Result<Vec<String>> {
        let left = site(doc);
        set(doc, "site.lat", &degrees(self.to.lat_deg));
        set(doc, "site.lon", &degrees(self.to.lon_deg));
        let moved_m = self.given_at.map(|from| from.distance_m(self.to));
        let same_ground = moved_m.is_some_and(|m| m <= SAME_GROUND_M);
        let mut said = Vec::new();
        // The elevation of another field is not this one's.
        if self.elevation_m.is_some() || !same_ground {
            said.push(self.new_elevation(desk, name, doc)?);
        }
        said.extend(left.and_then(|left| new_clocks(doc, left, self.to)));
        Ok(said)
    }

    /// Writes the elevation of the new place and where it is from; the same in words.
    fn new_elevation(&self, desk: &Desk, name: &str, doc: &mut PlanText) -> Result<String> {
        let units = units(desk.view(), &doc.text());
        let known = match self.elevation_m {
            Some(elevation_m) => Some(Elevation {
                elevation_m,
                from: ElevationFrom::Given(units.height(elevation_m)),
            }),
            None => {
                // A plan that is at fault elsewhere can be moved all the same.
                let terrain = parsed(desk, name, &doc.text()).map(|plan| plan.ground.terrain);
                elevation(self.to, &terrain.unwrap_or_default())?
            }
        };
        // Where none is known the key goes: that of the old place would be wrong.
        let (height, remark) = match known {
            Some(known) => (
                units.height(known.elevation_m),
                elevation_remark(&known.from, units),
            ),
            None => (String::new(), String::new()),
        };
        set(doc, "site.elevation", &height);
        // What stood beside them was said of the other field.
        for (id, remark) in [
            ("site.lat", ""),
            ("site.lon", ""),
            ("site.elevation", &remark),
        ] {
            if let Some(key) = key(id) {
                doc.remark(key, remark);
            }
        }
        Ok(words::new_elevation(&height, &remark))
    }
}

/// Where a plan's elevation was given: the site of the first step that has it, however often that was moved since.
fn given_at(draft: &Draft) -> Option<Position> {
    let elevation = |doc: &PlanText| value(doc, "site.elevation");
    let mut steps = draft.back().map_while(PlanText::read).peekable();
    let now = elevation(steps.peek()?);
    let same = steps.take_while(|doc| elevation(doc) == now);
    site(&same.last()?)
}

/// Puts the clocks of the new place into a plan that went by those of the old one; the same in words. The hour that
/// is written stays: it is meant on the clocks of the place.
fn new_clocks(doc: &mut PlanText, left: Position, to: Position) -> Option<String> {
    let release = value(doc, "flight.release");
    let zone = TimeZone::get(&value(doc, "flight.timezone")).ok()?;
    let time = read_time(&release, Some(&zone)).ok()?;
    let (old, new) = (time_zone(left)?, time_zone(to)?);
    let offset = |zone: &TimeZone| zone.to_offset(time);
    // A plan that keeps other clocks than its place, as UTC, keeps them.
    if !are_alike(&zone, &old, time) || offset(&old) == offset(&new) {
        return None;
    }
    let name = new.iana_name()?;
    // With an offset of the old place, or at an hour that the new clocks skip.
    if read_time(&release, Some(&new)).is_err() {
        return Some(words::other_clocks(name));
    }
    set(doc, "flight.timezone", name);
    Some(words::new_clocks(name))
}

/// Whether two zones have the same clocks all the year from a time on: those of UTC are some places' in winter only.
fn are_alike(one: &TimeZone, other: &TimeZone, time: Timestamp) -> bool {
    let later = |quarters| time.checked_add(SignedDuration::from_hours(quarters * QUARTER_H));
    let mut times = (0..4).filter_map(|quarters| later(quarters).ok());
    times.all(|time| one.to_offset(time) == other.to_offset(time))
}
