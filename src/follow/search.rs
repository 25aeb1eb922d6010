//! Where to look for a flight that was heard near the ground for the last time.

use super::answer::{Drift, Search};
use super::ensemble::Onward;
use crate::geodesy::Position;
use crate::ground::plane::Plane;
use crate::numeric::{Quantiles, quantile};
use crate::zone::Mark;

/// It is searched from a last fix no higher above the ground than this, m; from a higher one as soon as it is down.
pub const NEAR_GROUND_M: f64 = 1_500.0;
/// A stack that was heard lying is within this of its last fix, m (assumed: what receivers are off by at most).
const LYING_M: f64 = 50.0;
/// The ring holds this share of the draws.
const HELD: f64 = 0.95;
/// Corners of a ring.
const CORNERS: u32 = 72;

/// Around a stack that lies still.
pub fn lying(last: Mark, above_ground_m: f64) -> Search {
    Search {
        last,
        above_ground_m: above_ground_m.max(0.0),
        center: last.position,
        radius_m: LYING_M,
        ring: ring(last.position, LYING_M),
        drift: None,
    }
}

fn times_s(landed: &[&Onward]) -> Quantiles<f64> {
    Quantiles::of(landed.iter().map(|o| o.flown.landing.time_s))
}

/// When 95 % of the draws have come down, s after the release that was predicted for.
pub fn latest_s(landed: &[&Onward]) -> f64 {
    times_s(landed).high
}

/// From a last fix in the air, at a time in s after that release, to where the draws come down.
pub fn search(last: Mark, above_ground_m: f64, heard_s: f64, landed: &[&Onward]) -> Option<Search> {
    let middle_s = times_s(landed).middle;
    let plane = Plane::new(last.position);
    let points: Vec<[f64; 2]> = landed
        .iter()
        .map(|o| plane.to_plane(o.flown.landing.place))
        .collect();
    let n = points.len() as f64;
    let mean = [0, 1].map(|i| points.iter().map(|p| p[i]).sum::<f64>() / n);
    let away = points
        .iter()
        .map(|p| (p[0] - mean[0]).hypot(p[1] - mean[1]));
    let mut away: Vec<f64> = away.collect();
    away.sort_by(f64::total_cmp);
    let distance_m = mean[0].hypot(mean[1]);
    let azimuth_deg = mean[0].atan2(mean[1]).to_degrees().rem_euclid(360.0);
    let center = last.position.destination(azimuth_deg, distance_m);
    // However well draws agree, the fix that they set out from is off by as much.
    let radius_m = quantile(&away, HELD)?.max(LYING_M);
    Some(Search {
        last,
        above_ground_m: above_ground_m.max(0.0),
        center,
        radius_m,
        ring: ring(center, radius_m),
        drift: Some(Drift {
            seconds: (middle_s - heard_s).max(0.0),
            distance_m,
            azimuth_deg,
        }),
    })
}

/// A closed ring around a place, counter-clockwise.
fn ring(center: Position, radius_m: f64) -> Vec<Position> {
    let step_deg = 360.0 / f64::from(CORNERS);
    // The last corner is the first one again to the last bit, as a closed ring needs.
    (0..=CORNERS)
        .map(|k| center.destination(-step_deg * f64::from(k % CORNERS), radius_m))
        .collect()
}
