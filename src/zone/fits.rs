//! Whether what a plan says of its site belongs together: elevation, time zone, speed at the landing.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::stack;
use super::terrain::{OF_FORECAST, height_at};
use crate::atmosphere::AirProfile;
use crate::error::Result;
use crate::geodesy::Position;
use crate::ground::airports::nearest_elevation;
use crate::ground::terrain::Terrain;
use crate::ground::time_zone::ahead_s;
use crate::notes::Note;
use crate::notes::warning::OFF_GROUND_M;
use crate::plan::Plan;
use crate::sizing::Stack;

/// Clocks farther from the sun's are told, s.
const AHEAD_S: f64 = 2.0 * 3_600.0;
/// A landing faster than this is hard, m/s (by judgement) ...
pub const HARD_M_S: f64 = 7.0;
/// ... and faster than this nobody should fly, m/s (by judgement).
pub const DANGEROUS_M_S: f64 = 10.0;

/// What does not fit of a plan's site, with what is known of the ground around it. Where the plan states no elevation
/// it is the altitude that is flown from, m above mean sea level, if that is known.
///
/// # Errors
///
/// When the airports inside the program are damaged.
pub fn site(plan: &Plan, terrain: Option<&Terrain>, flown_m: Option<f64>) -> Result<Vec<Note>> {
    let place = plan.site.position;
    let of_clocks = clocks(&plan.timezone, plan.release, place);
    let doubtful = match height_at(terrain, place) {
        // Stated, or where the winds begin.
        None => true,
        // A forecast's own ground is too smooth to stand for the ground at the site.
        Some(at) => at.source == OF_FORECAST && plan.site.elevation_m.is_some(),
    };
    let of_airport = match plan.site.elevation_m.or(flown_m) {
        Some(site_m) if doubtful => airport(place, site_m)?,
        _ => None,
    };
    Ok(of_airport.into_iter().chain(of_clocks).collect())
}

/// That the clocks are far from the sun's, if they are.
fn clocks(zone: &TimeZone, at: Timestamp, place: Position) -> Option<Note> {
    ahead_s(zone, at, place, AHEAD_S).map(|ahead_s| Note::TimeZoneOff {
        timezone: zone.iana_name().unwrap_or_default().to_owned(),
        ahead_s,
    })
}

fn airport(place: Position, site_m: f64) -> Result<Option<Note>> {
    let Some(near) = nearest_elevation(place)? else {
        return Ok(None);
    };
    let off = (site_m - near.elevation_m).abs() > OFF_GROUND_M;
    Ok(off.then(|| Note::ElevationOffAirport {
        site_m,
        airport_m: near.elevation_m,
        airport: near.ident.to_owned(),
        distance_m: near.distance_m,
    }))
}

/// That a load lands hard, if it does.
pub fn landing(speed_m_s: f64) -> Option<Note> {
    (speed_m_s > HARD_M_S).then_some(Note::HardLanding {
        speed_m_s,
        hard_m_s: HARD_M_S,
        dangerous_m_s: DANGEROUS_M_S,
    })
}

/// The same of a plan that is not flown yet, in the standard atmosphere.
pub fn planned_landing(plan: &Plan) -> Option<Note> {
    let site_m = plan.site.elevation_m.unwrap_or(0.0);
    let layers = Stack::layers(site_m);
    let air = AirProfile::standard();
    let down = stack::fall(&plan.stack).law.through(&air, &layers);
    // The lowest layer lies on the site: it comes down through that one last.
    landing(layers.thickness_m / down.seconds.first()?)
}
