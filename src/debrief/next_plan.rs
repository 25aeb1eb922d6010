//! What a flight measured, as lines of the next plan.

use std::fmt::Write as _;

use serde::Serialize;

use super::measured::Measured;
use crate::atmosphere::{AirProfile, RHO0_KG_M3};
use crate::numeric::{last_true, linear};
use crate::plan::Plan;
use crate::vehicle::descent::FallSpeed;
use crate::vehicle::parachute::{drag_area_m2, terminal_speed_m_s};

/// What to take into the next plan.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct NextPlan {
    /// The mean rate of rise, without a float at its end, m/s.
    pub mean_rate_m_s: f64,
    /// The landing speed at sea-level density whose fall, by the law of canopies of that speed, takes as long
    /// as the measured one, in the standard atmosphere, m/s; `None` where too little was heard of the fall, as of the
    /// drag area and the sections of the descent.
    pub landing_speed_m_s: Option<f64>,
    /// The drag area that makes it, m2, where the plan says what falls.
    pub drag_area_m2: Option<f64>,
    /// What falls, kg: the load and as much of the balloon as is assumed.
    pub falling_kg: Option<f64>,
    /// The lift at the neck with which the balloon of the plan rises as fast, kg; `None` where the plan states
    /// rates, or where no lift near the planned one does.
    pub neck_lift_kg: Option<f64>,
    /// The diameter at the burst, m, with the gas of the plan.
    pub burst_diameter_m: Option<f64>,
    /// Rates of rise by altitude, slow where it floated, and the burst, where it was heard: sections of a plan.
    pub ascent: String,
    /// Rates of fall by altitude: a section of a plan.
    pub descent: Option<String>,
    /// The fall in one number: the section that serves another burst altitude, too.
    pub descent_by_speed: Option<String>,
}

/// Rates are told for bands of this height, m.
const BAND_M: f64 = 2_000.0;
/// The share of a balloon that stays on the line, where the plan does not say (assumed, as for zones).
const REMNANT: f64 = 0.3;
/// Landing speeds that there are, m/s.
const SPEEDS_M_S: [f64; 2] = [0.5, 60.0];

impl NextPlan {
    /// Of what was measured.
    pub fn of(plan: &Plan, measured: &Measured) -> NextPlan {
        let (first, last) = (measured.up[0], measured.risen);
        let down = Some(&measured.down[..]).filter(|down| !down.is_empty());
        let landing_speed_m_s = down.map(landing_speed);
        let falling_kg = falling(plan);
        // v = v1 / sqrt(Cd S), v1 that of 1 m2.
        let area = |kg: f64, m_s: f64| (terminal_speed_m_s(kg, 1.0, RHO0_KG_M3) / m_s).powi(2);
        let burst = measured.burst.map_or(String::new(), |burst| {
            format!("burst_altitude = \"{:.0} m\"\n", burst.altitude_m)
        });
        NextPlan {
            mean_rate_m_s: (last.0 - first.0) / (last.1 - first.1).max(1.0),
            landing_speed_m_s,
            drag_area_m2: falling_kg
                .zip(landing_speed_m_s)
                .map(|(kg, m_s)| area(kg, m_s)),
            falling_kg,
            neck_lift_kg: None,
            burst_diameter_m: None,
            ascent: format!("[ascent]\n{}{burst}", rates(&measured.up)),
            descent: down.map(|down| format!("[descent]\n{}", rates(down))),
            descent_by_speed: landing_speed_m_s
                .map(|m_s| format!("[descent]\nlanding_speed = \"{m_s:.2} m/s\"\n")),
        }
    }

    /// The drag coefficient of the plan's parachute that makes the drag area, on its laid-out area.
    pub fn drag_coefficient(&self, plan: &Plan) -> Option<f64> {
        let parachute = plan.stack.descent.parachute()?;
        Some(self.drag_area_m2? / drag_area_m2(parachute.diameter_m, 1.0))
    }
}

fn falling(plan: &Plan) -> Option<f64> {
    let remnant = match &plan.stack.descent {
        crate::plan::Descent::Parachute { remnant, .. } => remnant.unwrap_or(REMNANT),
        _ => REMNANT,
    };
    let balloon_kg = plan.stack.ascent.balloon().map_or(0.0, |b| b.mass_kg);
    let load_kg = plan.stack.load_kg();
    (load_kg > 0.0).then_some(load_kg + remnant * balloon_kg)
}

/// The landing speed of a fall by the law that takes as long over the same heights.
fn landing_speed(down: &[(f64, f64)]) -> f64 {
    const STEP_M: f64 = 100.0;
    let (low, high) = (down[0], down[down.len() - 1]);
    let air = AirProfile::standard();
    let steps = ((high.0 - low.0) / STEP_M).ceil().max(1.0);
    let height_m = (high.0 - low.0) / steps;
    let seconds = |v0: f64| -> f64 {
        let speed = FallSpeed::landing_at(v0);
        let slowness = |k: usize| {
            let z = low.0 + (k as f64 + 0.5) * height_m;
            height_m / speed.at(air.at(z).density_kg_m3)
        };
        (0..steps as usize).map(slowness).sum()
    };
    let measured_s = low.1 - high.1;
    // By time, not by the speed near the ground: a fall is measured best as a whole.
    last_true(SPEEDS_M_S[0], SPEEDS_M_S[1], |v0| seconds(v0) > measured_s)
}

/// A table of rates by altitude.
fn rates(track: &[(f64, f64)]) -> String {
    let (low, high) = (track[0].0, track[track.len() - 1].0);
    let at = |z: f64| linear(track, z).unwrap_or(0.0);
    let bands = ((high - low) / BAND_M).round().max(1.0) as usize;
    let height_m = (high - low) / bands as f64;
    let mut text = "rates = [\n".to_owned();
    for k in 0..bands {
        let from = low + k as f64 * height_m;
        // A fall heard twice within a moment would have a rate without bound.
        let rate = height_m / (at(from + height_m) - at(from)).abs().max(0.1);
        let _ = writeln!(text, "  [\"{from:.0} m\", \"{rate:.2} m/s\"],");
    }
    text + "]\n"
}
