//! What remains of the zone when the tracker goes quiet, for several heights.

use rayon::prelude::*;

use super::answer::QuietZone;
use crate::error::Result;
use crate::units::{FOOT_M, UnitSystem};
use crate::zone::Options;
use crate::zone::aloft::Kept;

/// Draws for each height.
const DRAWS: u64 = 1_000;
/// Kilometres, or thousands of feet, on the way up and on the way down.
const RISING: [f64; 3] = [5.0, 10.0, 20.0];
const FALLING: [f64; 5] = [20.0, 10.0, 5.0, 2.0, 1.0];
/// As round in thousands of feet as the others in kilometres.
const RISING_KFT: [f64; 3] = [15.0, 30.0, 60.0];
const FALLING_KFT: [f64; 5] = [60.0, 30.0, 15.0, 7.0, 3.0];

/// What is assumed of the zones.
pub const ASSUMED: [&str; 1] = [
    "when the tracker goes quiet: heard last where the planned flight is at that height; what comes after varies as planned, as if nothing had been learnt on the way, assumed",
];

/// A zone for each height that the planned flight passes.
///
/// # Errors
///
/// When no plane can be laid somewhere.
pub fn quiet(kept: &Kept, options: Options) -> Result<Vec<QuietZone>> {
    let (rising, falling, unit_m) = match options.units {
        UnitSystem::Metric => (RISING, FALLING, 1_000.0),
        UnitSystem::Us => (RISING_KFT, FALLING_KFT, 1_000.0 * FOOT_M),
    };
    let ups = rising.map(|h| (h, true));
    let downs = falling.map(|h| (h, false));
    let heights: Vec<(f64, bool)> = ups.into_iter().chain(downs).collect();
    let draws = DRAWS.min(options.draws);
    let zones: Vec<Option<QuietZone>> = heights
        .into_par_iter()
        .map(|(height, rising)| {
            let remaining = kept.remaining(height * unit_m, rising, draws)?;
            Ok(remaining.map(|r| QuietZone {
                rising,
                distance_m: r.last.position.distance_m(r.ellipse.center),
                azimuth_deg: r.last.position.azimuth_deg(r.ellipse.center),
                last: r.last,
                half_circle_m: r.half_circle_m,
                ellipse: r.ellipse,
                landing: r.landing,
            }))
        })
        .collect::<Result<_>>()?;
    Ok(zones.into_iter().flatten().collect())
}
