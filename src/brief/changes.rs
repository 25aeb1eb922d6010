//! What changes the answer: the same flight with one number of the plan changed.

use rayon::prelude::*;

use super::answer::{Change, Moved};
use crate::atmosphere::DENSITY_SCALE_HEIGHT_M;
use crate::clock::{after, seconds_between};
use crate::plan::Plan;
use crate::sizing::Known;
use crate::spread::draws::{BurstSpread, Spread};
use crate::units::{UnitSystem, duration};
use crate::winds::Winds;
use crate::zone::{Options, Prediction, predict};

/// Draws for each change. The same draws with and without it, so that what differs is the change and
/// not the sample.
const DRAWS: u64 = 256;
/// A release later by this, s.
const LATE_S: f64 = 1_800.0;
/// What that change is called.
const LATE_RELEASE: &str = "late release";

/// What a share more of burst diameter raises the burst by, m: 3 H of the density scale height there.
const BURST_PER_SHARE_M: f64 = 3.0 * DENSITY_SCALE_HEIGHT_M;

/// A plan with one number changed: its name, by how much, and the plan.
type Changed = (&'static str, String, Plan);

/// Where the centre of the landings goes with each change.
pub fn changes(plan: &Plan, input: &Winds, options: Options) -> Vec<Change> {
    let options = Options {
        draws: DRAWS.min(options.draws),
        keep_draws: false,
        ..options
    };
    let fly = |plan: &Plan| predict(plan, input, options, || ()).map_err(|e| e.to_string());
    let Ok(as_planned) = fly(plan) else {
        return Vec::new();
    };
    let one_time = as_planned.facts.wind.source.is_of_one_time();
    let outcome = |name: &str, changed: &Plan| {
        if name == LATE_RELEASE && one_time {
            return Err("the winds are of one time".to_owned());
        }
        fly(changed).and_then(|there| moved(&as_planned, &there))
    };
    let neck_lift_kg = as_planned.facts.balloon.map(|b| b.neck_lift_kg);
    plans(plan, neck_lift_kg, options.units)
        .into_par_iter()
        .map(|(name, by, changed)| Change {
            outcome: outcome(name, &changed),
            name: name.to_owned(),
            by,
        })
        .collect()
}

fn moved(from: &Prediction, to: &Prediction) -> Result<Moved, String> {
    if to.zone.outer().is_none() {
        return Err("too many of the flights then leave the winds".to_owned());
    }
    let (a, b) = (from.zone.center(), to.zone.center());
    let median = |p: &Prediction| p.facts.landing_quantiles[1];
    Ok(Moved {
        center: b,
        distance_m: a.distance_m(b),
        azimuth_deg: a.azimuth_deg(b),
        later_s: seconds_between(median(from), median(to)),
    })
}

/// The changes: the burst and the lift by one standard deviation, the release by half an hour.
fn plans(plan: &Plan, neck_lift_kg: Option<f64>, units: UnitSystem) -> Vec<Changed> {
    let mut plans = Vec::new();
    for (name, sign) in [("late burst", 1.0), ("early burst", -1.0)] {
        let (by, changed) = burst(plan, sign, units);
        plans.push((name, by, changed));
    }
    let share = plan.spread.lift.unwrap_or(Spread::ASSUMED.lift);
    for (name, sign) in [("low lift", -1.0), ("high lift", 1.0)] {
        let (by, changed) = lift(plan, neck_lift_kg, sign * share);
        plans.push((name, by, changed));
    }
    let later = Plan {
        release: after(plan.release, LATE_S),
        ..plan.clone()
    };
    plans.push((LATE_RELEASE, duration(LATE_S), later));
    plans
}

/// The burst by one standard deviation higher or lower.
fn burst(plan: &Plan, sign: f64, units: UnitSystem) -> (String, Plan) {
    let (share, higher_m) = match plan.spread.burst.unwrap_or(Spread::ASSUMED.burst) {
        BurstSpread::Diameter(share) => (share, BURST_PER_SHARE_M * share),
        BurstSpread::AltitudeM { sigma_m, .. } => (sigma_m / BURST_PER_SHARE_M, sigma_m),
    };
    let mut changed = plan.clone();
    if let Some(burst_m) = changed.stack.ascent.burst_altitude_mut() {
        *burst_m += sign * higher_m;
        let side = if sign > 0.0 { "higher" } else { "lower" };
        return (format!("{} {side}", units.height(higher_m)), changed);
    }
    if let Some(balloon) = changed.stack.ascent.balloon_mut() {
        balloon.burst = balloon.burst.wider(1.0 + sign * share);
    }
    (
        format!("{:+.0} % of burst diameter", 100.0 * sign * share),
        changed,
    )
}

/// The lift at the neck by a factor; a stated rate of ascent in proportion, as in the spread.
fn lift(plan: &Plan, neck_lift_kg: Option<f64>, share: f64) -> (String, Plan) {
    let by = |what: &str| format!("{:+.0} % {what}", 100.0 * share);
    let factor = 1.0 + share;
    let mut changed = plan.clone();
    if let Some(rates) = changed.stack.ascent.rates_mut() {
        *rates = rates.scaled(factor);
        return (by("of the rate of ascent"), changed);
    }
    if let (Some(balloon), Some(kg)) = (changed.stack.ascent.balloon_mut(), neck_lift_kg) {
        balloon.fill = Known::NeckLift(factor * kg);
    }
    (by("at the neck"), changed)
}
