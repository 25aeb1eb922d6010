//! What a little more load, gas or rubber changes.

use super::answer::{BurstSigma, CostPerKg, Sensitivities};
use crate::sizing::{Filled, Known, Stack};
use crate::spread::draws::BurstSpread;

/// Half of the difference from which changes are computed, as a share of the free lift, at most
/// [`MOST_KG`].
const SHARE: f64 = 0.05;
/// See [`SHARE`].
const MOST_KG: f64 = 0.05;

/// What a fill comes to: rate at release (m/s), burst (m), gas (m3).
fn numbers(stack: &Stack, filled: &Filled) -> Option<[f64; 3]> {
    let flight = stack.fly(filled).ok()?;
    Some([flight.release_rate_m_s, flight.burst_m, filled.volume_m3])
}

/// Central differences around a fill; `None` where a neighbour does not fly.
pub fn sensitivities(stack: &Stack, filled: &Filled) -> Option<Sensitivities> {
    // So small that less of it still flies, and not so large that the curves' bend counts.
    let step_kg = (SHARE * filled.free_lift_kg).min(MOST_KG);
    let change = |at: &dyn Fn(f64) -> Option<[f64; 3]>| -> Option<CostPerKg> {
        let (less, more) = (at(-step_kg)?, at(step_kg)?);
        let [rate_m_s_kg, burst_m_kg, gas_m3_kg] =
            [0, 1, 2].map(|i| (more[i] - less[i]) / (2.0 * step_kg));
        Some(CostPerKg {
            rate_m_s_kg,
            burst_m_kg,
            gas_m3_kg,
        })
    };
    let loaded = |kg: f64| stack.with_load(stack.load_kg + kg);
    let amount = filled.fill.amount_mol;
    let rate = Known::AscentRate(stack.release_rate_m_s(filled));
    let wider = |share: f64| {
        let other = stack.with_wider_burst(share);
        other.fly(filled).ok().map(|f| f.burst_m)
    };
    Some(Sensitivities {
        load: change(&|kg| {
            let stack = loaded(kg);
            numbers(&stack, &stack.filled(amount))
        })?,
        load_at_rate: change(&|kg| {
            let stack = loaded(kg);
            numbers(&stack, &stack.solve(rate).ok()?)
        })?,
        lift: change(&|kg| numbers(stack, &stack.with_neck_lift(filled.neck_lift_kg + kg)))?,
        burst_m_a_percent: 0.5 * (wider(1.01)? - wider(0.99)?),
    })
}

/// One standard deviation of the burst altitude, m, and what it is of: half of what one standard
/// deviation of lift and of burst diameter change, up and down, as independent.
pub fn burst_sigma(
    stack: &Stack,
    filled: &Filled,
    burst_m: f64,
    lift: f64,
    burst: BurstSpread,
) -> (f64, BurstSigma) {
    let burst_of =
        // A neighbour that makes no flight counts as no change: a spread is told all the same.
        |stack: &Stack, filled: &Filled| stack.fly(filled).map_or(burst_m, |f| f.burst_m);
    let of_lift = |share: f64| burst_of(stack, &stack.with_neck_lift(share * filled.neck_lift_kg));
    let of_diameter = |share: f64| {
        let other = stack.with_wider_burst(share);
        burst_of(&other, filled)
    };
    if stack.burst.altitude_m().is_some() {
        return of_stated_burst(stack, burst_m, burst);
    }
    // With less gas it bursts higher, so this is above 0 as the other one is.
    let by_lift = 0.5 * (of_lift(1.0 - lift) - of_lift(1.0 + lift));
    let (by_rubber, of) = match burst {
        BurstSpread::Diameter(sigma) => (
            0.5 * (of_diameter(1.0 + sigma) - of_diameter(1.0 - sigma)),
            BurstSigma::LiftAndDiameter {
                lift_share: lift,
                diameter_share: sigma,
            },
        ),
        BurstSpread::AltitudeM { sigma_m, .. } => (
            sigma_m,
            BurstSigma::LiftAndAltitude {
                lift_share: lift,
                altitude_sigma_m: sigma_m,
            },
        ),
    };
    (by_lift.hypot(by_rubber), of)
}

/// The same of a burst altitude that is stated: the gas does not matter, and the spread of a diameter
/// stands for that of the altitude, dz = 3 H dD / D with the scale height H of the air's density.
fn of_stated_burst(stack: &Stack, burst_m: f64, burst: BurstSpread) -> (f64, BurstSigma) {
    match burst {
        BurstSpread::AltitudeM { sigma_m, .. } => (sigma_m, BurstSigma::StatedAltitude { burst_m }),
        BurstSpread::Diameter(sigma) => {
            let scale_m = stack.air.density_scale_height_m(burst_m);
            let of = BurstSigma::DiameterAtStatedAltitude {
                diameter_share: sigma,
            };
            (3.0 * scale_m * sigma, of)
        }
    }
}
