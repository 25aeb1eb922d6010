//! What varies from flight to flight, and how much.

use crate::atmosphere::AirProfile;
use crate::notes::{Assumption, Varying};
use crate::plan::{Descent, SpreadPlan, StackPlan};
use crate::spread::draws::{BurstSpread, Spread};
use crate::vehicle::ascent::{STATED_RATE_ERROR, TABLED_RATE_ERROR};
use crate::vehicle::burst::EARLY_BURST_DIAMETER;

/// Spread of the drag area where the landing speed was stated, one standard deviation (assumed).
const STATED_FALL_AREA: f64 = 0.10;

/// Spread of the drag behind a stated rate of ascent, one standard deviation (assumed).
const STATED_RATE_DRAG: f64 = 0.08;

/// The spread of a burst diameter as one of the burst altitude: dz = 3 H dD / D, with the density
/// scale height H of the air there. Early bursts lie 3 H ln x higher, x below 1; of a low burst they,
/// and four standard deviations of the others, stay at a tenth of its height above the site or more.
pub fn by_altitude(burst: BurstSpread, air: &AirProfile, burst_m: f64, site_m: f64) -> BurstSpread {
    let scale_m = air.density_scale_height_m(burst_m);
    let room_m = 0.9 * (burst_m - site_m);
    BurstSpread::AltitudeM {
        sigma_m: match burst {
            BurstSpread::AltitudeM { sigma_m, .. } => sigma_m,
            BurstSpread::Diameter(sigma) => (3.0 * scale_m * sigma).min(room_m / 4.0),
        },
        scale_m: Some(scale_m.min(room_m / 3.0 / -EARLY_BURST_DIAMETER[0].ln())),
    }
}

/// The spread of a stack, with what is assumed where the plan gives nothing.
pub fn spread(stack: &StackPlan, given: &SpreadPlan, assumed: &mut Vec<Assumption>) -> Spread {
    let mut spread = Spread::ASSUMED;
    if let Some(rates) = stack.ascent.rates() {
        // A stated rate already has its drag in it; what is left is how it varies from day to day.
        spread.drag = STATED_RATE_DRAG;
        spread.ln_re0 = 0.0;
        // One rate for all heights hides how it changes from height to height; a table tells it. Neither
        // goes by the drag curve, whose error is larger.
        spread.rate_error = match rates.is_constant() {
            true => STATED_RATE_ERROR,
            false => TABLED_RATE_ERROR,
        };
    }
    let mut share = |to: &mut f64, given: Option<f64>, what: Varying| match given {
        Some(given) => *to = given,
        None => assumed.push(Assumption::Varies { what, sigma: *to }),
    };
    share(&mut spread.lift, given.lift, Varying::Lift);
    share(&mut spread.drag, given.drag, Varying::BalloonDrag);
    share(&mut spread.rate_error, given.rate, Varying::AscentRate);
    match (given.burst, &mut spread.burst) {
        (Some(given), burst) => *burst = given,
        (None, BurstSpread::Diameter(sigma)) => share(sigma, None, Varying::BurstDiameter),
        // Does not come up: what is assumed is of the diameter.
        (None, BurstSpread::AltitudeM { .. }) => {}
    }
    fall(&mut spread, stack, given, assumed);
    match given.early_bursts {
        Some(given) => spread.early_bursts = given,
        None => assumed.push(Assumption::EarlyBurstsDrawn {
            share: spread.early_bursts,
            least_diameter_share: EARLY_BURST_DIAMETER[0],
            most_diameter_share: EARLY_BURST_DIAMETER[1],
        }),
    }
    match given.release_delay_s {
        Some(given) => spread.release_delay_s = given,
        None => assumed.push(Assumption::ReleaseDelay {
            two_thirds_below_s: spread.release_delay_s,
        }),
    }
    spread
}

/// What of the spread is of the fall.
fn fall(spread: &mut Spread, stack: &StackPlan, given: &SpreadPlan, assumed: &mut Vec<Assumption>) {
    let mut share = |to: &mut f64, given: Option<f64>, what: Varying| match given {
        Some(given) => *to = given,
        None => assumed.push(Assumption::Varies { what, sigma: *to }),
    };
    if let Descent::Parachute { .. } = stack.descent {
        let what = Varying::ParachuteDragArea;
        share(&mut spread.parachute, given.parachute, what);
        match stack.ascent.balloon() {
            Some(_) => share(&mut spread.remnant, given.remnant, Varying::Remnant),
            // Without a balloon nothing of it can stay on the line.
            None => spread.remnant = 0.0,
        }
    } else {
        spread.parachute = STATED_FALL_AREA;
        let what = Varying::StatedFallDragArea;
        share(&mut spread.parachute, given.parachute, what);
        spread.remnant = 0.0;
    }
    match (&stack.descent, given.canopy_changes) {
        // Stated rates hold at every altitude: neither a canopy nor the law of thin air is behind
        // them.
        (Descent::Rates { .. }, _) => {
            spread.canopy_changes = 0.0;
            spread.fall_exponent = 0.0;
        }
        (_, Some(given)) => spread.canopy_changes = given,
        (_, None) => assumed.push(Assumption::CanopyChanges {
            share: spread.canopy_changes,
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::flight::rates::RateTable;
    use crate::plan::Ascent;
    use crate::vehicle::ascent::RATE_ERROR;

    #[test]
    fn a_table_of_rates_is_surer_than_one_rate_and_that_than_the_drag_curve() {
        let error = |rates: RateTable| {
            let stack = StackPlan {
                load: Vec::new(),
                ascent: Ascent::Rates {
                    rates,
                    burst_altitude_m: 30_000.0,
                },
                descent: Descent::LandingSpeed {
                    landing_speed_m_s: 5.0,
                    parachute: None,
                },
                cylinders: Vec::new(),
            };
            spread(&stack, &SpreadPlan::default(), &mut Vec::new()).rate_error
        };
        let one = error(RateTable::constant(5.0));
        let table = error(RateTable::new(vec![(0.0, 5.0), (10_000.0, 6.0)]).unwrap());
        assert!(table < one && one < RATE_ERROR, "{table} {one}");
    }

    #[test]
    fn low_bursts_stay_above_the_site() {
        let air = AirProfile::standard();
        let of = |burst: BurstSpread, burst_m: f64| match by_altitude(burst, &air, burst_m, 500.0) {
            BurstSpread::AltitudeM { sigma_m, scale_m } => (sigma_m, scale_m.unwrap()),
            BurstSpread::Diameter(_) => unreachable!(),
        };
        let (sigma_m, scale_m) = of(BurstSpread::Diameter(0.05), 600.0);
        assert!((sigma_m - 22.5).abs() < 1e-9, "{sigma_m}");
        assert!((3.0 * scale_m * EARLY_BURST_DIAMETER[0].ln() + 90.0).abs() < 1e-9);
        // High up nothing is held back: 3 H times 5 %.
        let (sigma_m, scale_m) = of(BurstSpread::Diameter(0.05), 30_000.0);
        assert!((sigma_m / scale_m - 0.15).abs() < 1e-12 && sigma_m > 900.0);
        // What a plan states holds.
        let given = BurstSpread::AltitudeM {
            sigma_m: 300.0,
            scale_m: None,
        };
        assert_eq!(of(given, 600.0).0, 300.0);
    }
}
