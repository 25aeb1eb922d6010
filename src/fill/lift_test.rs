//! The weight that a balloon just lifts, what follows from it, and what wind does to the test.

use std::f64::consts::PI;

use super::answer::{FlightSummary, LiftRow, LiftRowKind, LiftTest, WindRow};
use crate::atmosphere::G0_M_S2;
use crate::sizing::{Filled, Stack};
use crate::vehicle::ascent::DragCurve;

/// Steps between weights, in the unit that they are round in.
const STEPS: [f64; 9] = [0.01, 0.02, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0];
/// How far the table reaches from the target, as a share of the neck lift.
const REACH: f64 = 0.2;
/// Rows it may have.
const ROWS: f64 = 11.0;
/// Winds at which the test is reported, m/s.
const WINDS_M_S: [f64; 5] = [1.0, 2.0, 3.0, 4.0, 5.0];

/// The lift test of a filled stack, with a row for a weight that it was seen to lift, if any, and rows
/// for weights that are round in a unit, kg.
pub fn lift_test(
    stack: &Stack,
    filled: &Filled,
    filler_kg: Option<f64>,
    share: f64,
    lifted_kg: Option<f64>,
    round_in_kg: f64,
) -> LiftTest {
    // Weightless where it is not known, which is told as assumed.
    let filler = filler_kg.unwrap_or(0.0);
    let target = filled.neck_lift_kg - filler;
    let bounds = [1.0 - share, 1.0 + share].map(|s| s * filled.neck_lift_kg - filler);
    let row = |hang_kg: f64, which| row(stack, hang_kg, filler, which);
    let mut rows = vec![row(target, LiftRowKind::Target)];
    rows.extend(bounds.map(|kg| row(kg, LiftRowKind::Bound)));
    rows.extend(lifted_kg.map(|kg| row(kg, LiftRowKind::Asked)));
    for kg in weights(filled.neck_lift_kg, filler, round_in_kg) {
        // Two rows that read the same help nobody.
        if rows.iter().all(|r| (r.hang_kg - kg).abs() > 2e-3) {
            rows.push(row(kg, LiftRowKind::Other));
        }
    }
    // What does not even lift itself is no fill to test.
    rows.retain(|r| r.neck_kg > 0.0);
    rows.sort_by(|a, b| a.hang_kg.total_cmp(&b.hang_kg));
    LiftTest {
        filler_kg: filler,
        filler_known: filler_kg.is_some(),
        hang_kg: target,
        bounds_kg: bounds,
        bounds_share: share,
        rows,
        wind: WINDS_M_S.map(|wind| leaning(stack, filled, wind)).to_vec(),
    }
}

/// Weights around a target that are round in a unit (kg), kg.
fn weights(neck_kg: f64, filler_kg: f64, unit_kg: f64) -> Vec<f64> {
    let [low, high] = [1.0 - REACH, 1.0 + REACH].map(|s| (s * neck_kg - filler_kg) / unit_kg);
    let fits = |step: &f64| (high - low) / step <= ROWS;
    let step = STEPS.into_iter().find(fits).unwrap_or(10.0);
    // Nobody hangs less than nothing, which a heavy filler would ask for.
    let first = (low / step).ceil().max(0.0) as i64;
    // Multiples of the step: one added to the other would not stay round.
    (first..)
        .map(|k| k as f64 * step)
        .take_while(|w| *w <= high)
        // Whatever weights there are, a card has no room for hundreds of rows.
        .take(2 * ROWS as usize)
        .map(|w| w * unit_kg)
        .collect()
}

fn row(stack: &Stack, hang_kg: f64, filler_kg: f64, which: LiftRowKind) -> LiftRow {
    let filled = stack.with_neck_lift(hang_kg + filler_kg);
    let flight = stack.fly(&filled).ok();
    LiftRow {
        hang_kg,
        neck_kg: filled.neck_lift_kg,
        free_kg: filled.free_lift_kg,
        volume_m3: filled.volume_m3,
        flight: flight.map(FlightSummary::from),
        which,
    }
}

/// A steady wind U pulls with D = Cd(Re) rho pi d^2 / 4 U^2 / 2 sideways, so that the line leans by
/// atan(D / L) and a scale in the line reads sqrt(L^2 + D^2) for a lift of L. The drag is that of
/// the rising balloon at the same Reynolds number (assumed: near the ground the air flows otherwise).
fn leaning(stack: &Stack, filled: &Filled, wind_m_s: f64) -> WindRow {
    let air = stack.here();
    let d = filled.diameter_m;
    let reynolds = wind_m_s * d * air.density_kg_m3 / air.viscosity_pa_s();
    let cd = DragCurve::FITTED.at(reynolds);
    let pull_n = cd * air.density_kg_m3 * PI * d * d / 4.0 * wind_m_s * wind_m_s / 2.0;
    let pull_kg = pull_n / G0_M_S2;
    // Without lift the line lies flat, and a scale reads the pull alone.
    let lift_kg = filled.neck_lift_kg.max(0.0);
    WindRow {
        wind_m_s,
        pull_kg,
        lean_deg: pull_kg.atan2(lift_kg).to_degrees(),
        too_much_kg: pull_kg.hypot(lift_kg) - lift_kg,
    }
}
