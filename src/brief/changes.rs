//! What changes the answer: the same flight with one number of the plan changed.

use rayon::prelude::*;

use super::answer::{Change, ChangeBy, ChangeKind, Moved, NotMoved};
use crate::atmosphere::DENSITY_SCALE_HEIGHT_M;
use crate::clock::{after, seconds_between};
use crate::plan::Plan;
use crate::sizing::Known;
use crate::spread::draws::{BurstSpread, Spread};
use crate::winds::Winds;
use crate::zone::{Options, Prediction, predict};

/// Draws for each change. The same draws with and without it, so that what differs is the change and
/// not the sample.
const DRAWS: u64 = 256;
/// A release later by this, s.
const LATE_S: f64 = 1_800.0;

/// What a share more of burst diameter raises the burst by, m: 3 H of the density scale height there.
const BURST_PER_SHARE_M: f64 = 3.0 * DENSITY_SCALE_HEIGHT_M;

/// A plan with one number changed.
struct ChangedPlan {
    kind: ChangeKind,
    by: ChangeBy,
    plan: Plan,
}

/// Where the centre of the landings goes with each change.
pub fn changes(plan: &Plan, input: &Winds, options: Options) -> Vec<Change> {
    let options = Options {
        draws: DRAWS.min(options.draws),
        keep_draws: false,
        ..options
    };
    let fly = |plan: &Plan| predict(plan, input, options, || ());
    let Ok(as_planned) = fly(plan) else {
        return Vec::new();
    };
    let one_time = as_planned.facts.wind.source.is_of_one_time();
    let outcome = |changed: &ChangedPlan| {
        // Winds of one time are the same half an hour later: a centre that stays would say nothing.
        if changed.kind == ChangeKind::LateRelease && one_time {
            return Err(NotMoved::WindsOfOneTime);
        }
        let there = fly(&changed.plan).map_err(|error| NotMoved::NotFlown(error.to_string()))?;
        moved(&as_planned, &there)
    };
    let neck_lift_kg = as_planned.facts.balloon.map(|b| b.neck_lift_kg);
    changed_plans(plan, neck_lift_kg)
        .into_par_iter()
        .map(|changed| Change {
            outcome: outcome(&changed),
            kind: changed.kind,
            by: changed.by,
        })
        .collect()
}

fn moved(from: &Prediction, to: &Prediction) -> Result<Moved, NotMoved> {
    // The centre of those that happened to stay in the winds would not be that of all.
    if from.zone.outer().and(to.zone.outer()).is_none() {
        return Err(NotMoved::LeaveWinds);
    }
    let (a, b) = (from.zone.center(), to.zone.center());
    let median = |p: &Prediction| p.facts.landing_quantiles.middle;
    Ok(Moved {
        center: b,
        distance_m: a.distance_m(b),
        azimuth_deg: a.azimuth_deg(b),
        later_s: seconds_between(median(from), median(to)),
    })
}

/// The changes: the burst and the lift by one standard deviation, the release by half an hour.
fn changed_plans(plan: &Plan, neck_lift_kg: Option<f64>) -> Vec<ChangedPlan> {
    let share = plan.spread.lift.unwrap_or(Spread::ASSUMED.lift);
    let later = Plan {
        release: after(plan.release, LATE_S),
        ..plan.clone()
    };
    let changed = |kind, (by, plan): (ChangeBy, Plan)| ChangedPlan { kind, by, plan };
    vec![
        changed(ChangeKind::LateBurst, burst(plan, neck_lift_kg, 1.0)),
        changed(ChangeKind::EarlyBurst, burst(plan, neck_lift_kg, -1.0)),
        changed(ChangeKind::LowLift, lift(plan, neck_lift_kg, -share)),
        changed(ChangeKind::HighLift, lift(plan, neck_lift_kg, share)),
        changed(ChangeKind::LateRelease, (ChangeBy::Release(LATE_S), later)),
    ]
}

/// The burst by one standard deviation higher or lower, with the same gas.
fn burst(plan: &Plan, neck_lift_kg: Option<f64>, sign: f64) -> (ChangeBy, Plan) {
    let (share, higher_m) = match plan.spread.burst.unwrap_or(Spread::ASSUMED.burst) {
        BurstSpread::Diameter(share) => (share, BURST_PER_SHARE_M * share),
        BurstSpread::AltitudeM { sigma_m, .. } => (sigma_m / BURST_PER_SHARE_M, sigma_m),
    };
    let mut changed = plan.clone();
    // A fill that is solved for a burst or a time would make up for another diameter.
    if let (Some(balloon), Some(kg)) = (changed.stack.ascent.balloon_mut(), neck_lift_kg) {
        balloon.fill = Known::NeckLift(kg);
    }
    // Where the plan states the altitude of the burst, no diameter decides about it.
    if let Some(burst_m) = changed.stack.ascent.burst_altitude_mut() {
        *burst_m += sign * higher_m;
        return (ChangeBy::BurstAltitude(sign * higher_m), changed);
    }
    if let Some(balloon) = changed.stack.ascent.balloon_mut() {
        balloon.burst = balloon.burst.wider(1.0 + sign * share);
    }
    (ChangeBy::BurstDiameter(sign * share), changed)
}

/// The lift at the neck by a factor; a stated rate of ascent in proportion, as in the spread.
fn lift(plan: &Plan, neck_lift_kg: Option<f64>, share: f64) -> (ChangeBy, Plan) {
    let factor = 1.0 + share;
    let mut changed = plan.clone();
    // Where rates are stated no lift decides about them.
    if let Some(rates) = changed.stack.ascent.rates_mut() {
        *rates = rates.scaled(factor);
        return (ChangeBy::AscentRate(share), changed);
    }
    // However the plan states its fill, it came to this lift; stated as a lift it can be scaled.
    if let (Some(balloon), Some(kg)) = (changed.stack.ascent.balloon_mut(), neck_lift_kg) {
        balloon.fill = Known::NeckLift(factor * kg);
    }
    (ChangeBy::NeckLift(share), changed)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_changes_is_the_same_however_the_fill_is_stated() {
        let plan = Plan::read("samples/high-plains/plan.toml").unwrap();
        let winds = Winds::of_plan(&plan).unwrap();
        let options = Options {
            draws: 64,
            ..Options::default()
        };
        let burst_m = predict(&plan, &winds, options, || ())
            .unwrap()
            .zone
            .burst
            .altitude_m;
        let mut by_burst = plan.clone();
        by_burst.stack.ascent.balloon_mut().unwrap().fill = Known::BurstAltitude(burst_m);
        let [a, b] = [&plan, &by_burst].map(|plan| changes(plan, &winds, options));
        for (a, b) in a
            .iter()
            .zip(&b)
            .filter(|(a, _)| a.kind != ChangeKind::LateRelease)
        {
            let [a, b] = [a, b].map(|change| change.outcome.as_ref().unwrap());
            assert!((a.distance_m - b.distance_m).abs() < 100.0, "{a:?} {b:?}");
            assert!((a.later_s - b.later_s).abs() < 10.0, "{a:?} {b:?}");
        }
    }
}
