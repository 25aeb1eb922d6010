//! Flights by neck lift, of the plan's balloon and of its neighbours in the table.

use rayon::prelude::*;

use super::answer::{Curve, CurvePoint, FlightSummary};
use crate::plan::{Ascent, BalloonPlan, Plan, StackPlan};
use crate::sizing::{Filled, Stack};
use crate::vehicle::burst::Burst;
use crate::zone::stack::to_be_filled;

/// Points of each curve.
const POINTS: usize = 41;

/// The curves, the plan's own first.
pub fn curves(plan: &Plan, balloon: &BalloonPlan, stack: &Stack, filled: &Filled) -> Vec<Curve> {
    let mut balloons = vec![(stack.balloon_kg, stack.burst)];
    // A burst altitude that is stated belongs to one balloon; its neighbours would burst elsewhere.
    if let Burst::Diameter { .. } = stack.burst {
        let neighbours = plan.balloons.neighbours(stack.balloon_kg);
        let others = neighbours.into_iter().flatten();
        balloons.extend(others.map(|(kg, diameter_m)| (kg, Burst::Diameter { diameter_m })));
    }
    // From no free lift to twice the chosen one and more.
    // Of a fill that lifts next to nothing this shows what another would do.
    let free = filled.free_lift_kg.max(0.3 * stack.load_kg);
    let lifts: Vec<f64> = (0..POINTS)
        .map(|i| stack.load_kg + 2.2 * free * i as f64 / (POINTS - 1) as f64)
        .collect();
    balloons
        .into_iter()
        .map(|(balloon_kg, burst)| {
            let other = BalloonPlan {
                mass_kg: balloon_kg,
                burst,
                ..balloon.clone()
            };
            let plan = StackPlan {
                ascent: Ascent::Balloon(other.clone()),
                ..plan.stack.clone()
            };
            // Laid out anew: what remains of a heavier balloon falls with the load.
            let stack = to_be_filled(&plan, &other, &stack.air, stack.site_m());
            Curve {
                balloon_kg,
                burst_diameter_m: burst.diameter_m(),
                points: lifts.par_iter().map(|&kg| point(&stack, kg)).collect(),
            }
        })
        .collect()
}

fn point(stack: &Stack, neck_kg: f64) -> CurvePoint {
    let filled = stack.with_neck_lift(neck_kg);
    let flight = stack.fly(&filled).ok();
    CurvePoint {
        neck_kg,
        volume_m3: filled.volume_m3,
        diameter_m: filled.diameter_m,
        flight: flight.map(FlightSummary::from),
    }
}
