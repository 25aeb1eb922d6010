//! How low a tracker is still heard: the radio horizon of an earth of four thirds its radius, and
//! hills in between.
//!
//! # References
//!
//! ITU-R P.310-10 (2019) and P.453 (from memory): refraction in an average atmosphere bends rays as
//! if the earth's radius were 4/3 of the true one.

use std::sync::Arc;

use super::answer::Hearing;
use crate::earth::MEAN_RADIUS_M;
use crate::geodesy::Position;
use crate::ground::terrain::Terrain;
use crate::zone::Mark;

/// The radius for radio, m.
const RADIO_EARTH_M: f64 = 4.0 / 3.0 * MEAN_RADIUS_M;
/// The antenna's height above the ground, m (assumed: hand-held, or on the roof of a car).
pub const ANTENNA_M: f64 = 2.0;
/// Terrain is looked at every this many metres along a ray, at the finest.
const STEP_M: f64 = 150.0;
/// Looks along a ray at most.
const MOST_LOOKS: f64 = 600.0;

/// The distance along the ground between two heights above a smooth earth that just see each
/// other, m: k R (acos(k R / (k R + h1)) + acos(k R / (k R + h2))) with k = 4/3.
///
/// # Examples
///
/// ```
/// use windfall::brief::radio::horizon_m;
/// assert!((horizon_m(30_000.0, 2.0) - 718_700.0).abs() < 20.0);
/// ```
pub fn horizon_m(height_m: f64, other_m: f64) -> f64 {
    let arc = |h: f64| (RADIO_EARTH_M / (RADIO_EARTH_M + h.max(0.0))).acos();
    RADIO_EARTH_M * (arc(height_m) + arc(other_m))
}

/// The lowest altitude above mean sea level at which something at a distance is seen from an antenna,
/// m, over ground whose altitude at a distance is `ground_m` and nowhere below `base_m`.
///
/// Over an earth of radius R' = 4/3 R a ray that leaves at an elevation a from a radius r rises to
/// r cos(a) / cos(t + a) at an angle t from there. The ray asked for is the lowest above all ground.
pub fn lowest_seen_m(
    antenna_m: f64,
    base_m: f64,
    distance_m: f64,
    ground_m: impl Fn(f64) -> Option<f64>,
) -> f64 {
    let radius = RADIO_EARTH_M + base_m;
    let from = radius + (antenna_m - base_m).max(0.0);
    // Over a smooth earth the lowest ray touches it, if it gets that far.
    let touch = (radius / from).min(1.0).acos();
    let end = distance_m / radius;
    let smooth = if end > touch {
        -touch
    } else {
        elevation(from, radius, end)
    };
    let looks = (distance_m / STEP_M).ceil().clamp(1.0, MOST_LOOKS);
    // Without both ends: the ground below the antenna and below the tracker hides nothing.
    let lowest = (1..looks as usize)
        .filter_map(|k| {
            let there_m = distance_m * k as f64 / looks;
            let height_m = ground_m(there_m)?;
            Some(elevation(
                from,
                radius + height_m - base_m,
                there_m / radius,
            ))
        })
        .fold(smooth, f64::max);
    from * lowest.cos() / (end + lowest).cos() - radius + base_m
}

/// The elevation at which a radius at an angle away is seen from another.
fn elevation(from: f64, to: f64, angle: f64) -> f64 {
    let (s, c) = angle.sin_cos();
    (to * c - from).atan2(to * s)
}

/// Between which heights a place hears the tracker on a track.
/// `ground_m` is the height of the ground below the antenna above mean sea level; without terrain
/// the ground in between is smooth.
pub fn hearing(
    place: Position,
    ground_m: f64,
    track: &[Mark],
    terrain: Option<&Arc<Terrain>>,
) -> Hearing {
    let lowest = |mark: &Mark| {
        let distance_m = place.distance_m(mark.position);
        let azimuth_deg = place.azimuth_deg(mark.position);
        let ground = |m: f64| terrain?.height_m(place.destination(azimuth_deg, m));
        // The lower of both ends: a smooth earth as high as the hill of the car would hide much.
        let base_m = ground_m.min(landing_m(track));
        lowest_seen_m(ground_m + ANTENNA_M, base_m, distance_m, ground)
    };
    let burst =
        (0..track.len()).max_by(|a, b| track[*a].altitude_m.total_cmp(&track[*b].altitude_m));
    // The burst itself belongs to the way down.
    let (up, down) = track.split_at(burst.unwrap_or(0));
    // Near the antenna the lowest ray ends on the ground, where the landing lies: rounding must not decide.
    let heard = |mark: &&Mark| mark.altitude_m >= lowest(mark) - 0.1;
    let from_m = crossing(up, &lowest, up.iter().position(|m| heard(&m)));
    let last = down.iter().rposition(|m| heard(&m));
    // It is lost somewhere between the last mark that is heard and the one after.
    let next = last.map(|i| (i + 1).min(down.len() - 1));
    let until_m = match (last, next) {
        (Some(i), Some(j)) if j > i => crossing(down, &lowest, Some(j)),
        (Some(i), _) => Some(down[i].altitude_m),
        _ => None,
    };
    // Never heard on the way down: what is told then is of the landing.
    let at = last.map_or(track.len().saturating_sub(1), |i| up.len() + i);
    let there = track.get(at).map(|m| m.position);
    Hearing {
        from_m,
        until_m,
        last_distance_m: there.map_or(0.0, |p| place.distance_m(p)),
        ground_m: there
            .and_then(|p| terrain?.height_m(p))
            .unwrap_or(landing_m(track)),
        with_terrain: terrain.is_some(),
    }
}

/// Altitude of the planned landing, m.
fn landing_m(track: &[Mark]) -> f64 {
    track.last().map_or(0.0, |m| m.altitude_m)
}

/// The altitude at which a track crosses the lowest altitude that is heard, between a mark and the
/// one before it.
fn crossing(track: &[Mark], lowest: &impl Fn(&Mark) -> f64, at: Option<usize>) -> Option<f64> {
    let at = at?;
    let here = &track[at];
    let Some(before) = at.checked_sub(1).map(|i| &track[i]) else {
        return Some(here.altitude_m);
    };
    let (a, b) = (
        before.altitude_m - lowest(before),
        here.altitude_m - lowest(here),
    );
    let share = if a == b {
        1.0
    } else {
        (a / (a - b)).clamp(0.0, 1.0)
    };
    Some(before.altitude_m + share * (here.altitude_m - before.altitude_m))
}
