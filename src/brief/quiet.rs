//! What remains of the zone when the tracker goes quiet, for several heights.

use rayon::prelude::*;

use super::RoundHeights;
use super::answer::QuietZone;
use crate::error::Result;
use crate::zone::Options;
use crate::zone::aloft::Kept;

/// Draws for each height.
const DRAWS: u64 = 1_000;

/// A zone for each height that the planned flight passes.
///
/// # Errors
///
/// When no plane can be laid somewhere.
pub fn quiet(kept: &Kept, heights: &RoundHeights, options: Options) -> Result<Vec<QuietZone>> {
    let ups = heights.rising_m.iter().map(|m| (*m, true));
    let downs = heights.falling_m.iter().map(|m| (*m, false));
    let heights_m: Vec<(f64, bool)> = ups.chain(downs).collect();
    let draws = DRAWS.min(options.draws);
    let zones: Vec<Option<QuietZone>> = heights_m
        .into_par_iter()
        .map(|(height_m, rising)| {
            let remaining = kept.remaining(height_m, rising, draws)?;
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
