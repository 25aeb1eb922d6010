//! What remains of the zone when the tracker goes quiet, for several heights.

use rayon::prelude::*;

use super::RoundHeights;
use super::answer::QuietZone;
use super::heights::passing;
use crate::error::Result;
use crate::numeric::between;
use crate::zone::aloft::{Continuation, Remaining};
use crate::zone::{Mark, Options};

/// Draws for each height.
const DRAWS: u64 = 1_000;

/// A zone for each height that the planned flight passes.
///
/// Flights begin at boundaries of layers; a height between two of them is brought to the round one by
/// the way to the centre, linear between both. The rest is that of the nearer boundary.
///
/// # Errors
///
/// When no plane can be laid somewhere.
pub fn quiet(
    kept: &Continuation,
    track: &[Mark],
    heights: &RoundHeights,
    options: Options,
) -> Result<Vec<QuietZone>> {
    let ups = heights.rising_m.iter().map(|m| (*m, true));
    let downs = heights.falling_m.iter().map(|m| (*m, false));
    let heights_m: Vec<(f64, bool)> = ups.chain(downs).collect();
    let draws = DRAWS.min(options.draws);
    let zones: Vec<Option<QuietZone>> = heights_m
        .into_par_iter()
        .map(|(height_m, rising)| {
            let Some(last) = passing(track, height_m, rising) else {
                return Ok(None);
            };
            let Some(near) = kept.remaining(height_m, rising, draws)? else {
                return Ok(None);
            };
            // Just at a boundary either neighbour will do: its share is 0 then.
            let beyond_m = (height_m - near.last.altitude_m).signum() * kept.layer_m();
            let far = kept.remaining(near.last.altitude_m + beyond_m, rising, draws)?;
            let [east_m, north_m] = way_from(height_m, &near, far.as_ref());
            Ok(Some(QuietZone {
                rising,
                last,
                distance_m: east_m.hypot(north_m),
                azimuth_deg: east_m.atan2(north_m).to_degrees().rem_euclid(360.0),
                half_circle_m: near.half_circle_m,
                ellipse: near.ellipse,
                landing: near.landing,
            }))
        })
        .collect::<Result<_>>()?;
    Ok(zones.into_iter().flatten().collect())
}

/// From the place at a height to the centre of the landings, east and north, m: between those at two
/// boundaries.
fn way_from(height_m: f64, near: &Remaining, far: Option<&Remaining>) -> [f64; 2] {
    let way = |from: &Remaining| {
        let (at, to) = (from.last.position, from.ellipse.center);
        let (s, c) = at.azimuth_deg(to).to_radians().sin_cos();
        [s, c].map(|part| part * at.distance_m(to))
    };
    let Some(far) = far else {
        return way(near);
    };
    let [a_m, b_m] = [near, far].map(|r| r.last.altitude_m);
    // One boundary twice leaves nothing to go by between both.
    if a_m == b_m {
        return way(near);
    }
    between(way(near), way(far), (height_m - a_m) / (b_m - a_m))
}
