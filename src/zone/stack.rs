//! The plan's stack in numbers: what it weighs, how much gas, how fast it falls.

use crate::atmosphere::{Air, AirProfile, RHO0_KG_M3};
use crate::error::{Error, Result};
use crate::flight::rise::RisePlan;
use crate::plan::{BalloonPlan, FillPlan, Plan};
use crate::spread::draws::FallingMass;
use crate::units::UnitSystem;
use crate::vehicle::ascent::{Climber, DragCurve, GasHeat};
use crate::vehicle::balloon::Fill;
use crate::vehicle::descent::{FallSpeed, THIN_AIR_EXPONENT};
use crate::vehicle::parachute::{drag_area_m2, terminal_speed_m_s};

/// Drag coefficient of a flat circular canopy on its laid-out area, where the plan gives none
/// (low end of 0.75 to 0.80, Knacke 1991, Table 5-1, from memory).
const CANOPY_DRAG_COEFFICIENT: f64 = 0.75;

/// Share of the balloon that stays on the line where the plan says nothing (assumed).
const REMNANT: f64 = 0.3;

/// A filled balloon with its load.
#[derive(Debug, Clone, Copy)]
pub struct FilledBalloon {
    /// How it rises.
    pub rise: RisePlan,
    /// Diameter at the burst, m, unless a burst altitude stands for it.
    pub burst_diameter_m: Option<f64>,
    /// Lift at the neck, kg.
    pub neck_lift_kg: f64,
    /// Lift beyond the load, kg.
    pub free_lift_kg: f64,
    /// Volume of gas at the temperature and pressure of the site, m3.
    pub volume_m3: f64,
}

/// Mass of everything below the neck, kg: the load and the parachute.
pub fn load_kg(plan: &Plan) -> f64 {
    let items: f64 = plan.load.iter().map(|item| item.mass_kg).sum();
    items + plan.parachute.map_or(0.0, |p| p.mass_kg)
}

/// The plan's balloon, filled in the air at `site_m`.
///
/// # Errors
///
/// [`Error::CannotDo`] when the lift cannot raise the load or no fill gives the wanted rate.
pub fn filled_balloon(
    plan: &Plan,
    balloon: &BalloonPlan,
    air: &AirProfile,
    site_m: f64,
) -> Result<FilledBalloon> {
    let load = load_kg(plan);
    let here = air.at(site_m);
    let with_neck_lift = |neck_kg: f64| RisePlan {
        climber: Climber {
            dead_mass_kg: balloon.mass_kg + load,
            fill: Fill::of_gross_lift(balloon.gas, neck_kg + balloon.mass_kg, &here),
            drag: DragCurve::FITTED,
            drag_factor: 1.0,
            heat: GasHeat::Convective,
        },
        balloon_kg: balloon.mass_kg,
        gross_lift_kg: neck_kg + balloon.mass_kg,
    };
    let neck_lift_kg = match balloon.fill {
        FillPlan::NeckLift(kg) => kg,
        FillPlan::FreeLift(kg) => kg + load,
        FillPlan::GasVolume(m3) => gross_of_volume(balloon, m3, &here) - balloon.mass_kg,
        FillPlan::AscentRate(m_s) => {
            let rate = |free: f64| with_neck_lift(load + free).climber.rate_at(air, site_m);
            load + free_lift_for_rate(m_s, rate)?
        }
    };
    let free_lift_kg = neck_lift_kg - load;
    if free_lift_kg <= 0.0 {
        return Err(Error::CannotDo {
            why: format!(
                "the neck lift of {neck_lift_kg:.2} kg does not raise the load of {load:.2} kg: {:.2} kg is missing",
                -free_lift_kg
            ),
            remedy: "expected more neck lift than load; common practice is half as much again"
                .into(),
        });
    }
    let rise = with_neck_lift(neck_lift_kg);
    Ok(FilledBalloon {
        rise,
        burst_diameter_m: balloon.burst_diameter_m,
        neck_lift_kg,
        free_lift_kg,
        volume_m3: rise
            .climber
            .fill
            .volume_m3(here.temperature_k, here.pressure_pa),
    })
}

fn gross_of_volume(balloon: &BalloonPlan, volume_m3: f64, air: &Air) -> f64 {
    Fill::of_volume(balloon.gas, volume_m3, air).gross_lift_kg(air)
}

/// The free lift in kg that gives a rate, by bisection; the rate grows with the lift.
fn free_lift_for_rate(wanted_m_s: f64, rate: impl Fn(f64) -> f64) -> Result<f64> {
    let (mut low, mut high) = (0.0, 100.0);
    if rate(high) < wanted_m_s {
        return Err(Error::CannotDo {
            why: format!("no fill makes this stack rise at {wanted_m_s:.1} m/s"),
            remedy: "expected a lower [balloon] ascent_rate".into(),
        });
    }
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if rate(middle) < wanted_m_s {
            low = middle;
        } else {
            high = middle;
        }
    }
    Ok(high)
}

/// How the plan's stack falls, and what of its mass varies. Says what it assumes.
pub fn fall(plan: &Plan, units: UnitSystem, assumed: &mut Vec<String>) -> (FallSpeed, FallingMass) {
    let speed = |landing_speed_m_s| FallSpeed {
        landing_speed_m_s,
        thin_air_exponent: THIN_AIR_EXPONENT,
    };
    let unvarying = FallingMass {
        load_kg: 1.0,
        balloon_kg: 0.0,
        remnant: 0.0,
    };
    if let Some(landing_speed) = plan.landing_speed_m_s {
        return (speed(landing_speed), unvarying);
    }
    let Some(parachute) = plan.parachute else {
        // Rates of fall are stated; nothing here is used.
        return (speed(1.0), unvarying);
    };
    let coefficient = parachute.drag_coefficient.unwrap_or_else(|| {
        assumed.push(format!(
            "parachute drag coefficient {CANOPY_DRAG_COEFFICIENT} on the laid-out area (flat circular canopy), assumed"
        ));
        CANOPY_DRAG_COEFFICIENT
    });
    let balloon_kg = plan.balloon.map_or(0.0, |b| b.mass_kg);
    let remnant = plan.remnant.unwrap_or_else(|| {
        if balloon_kg > 0.0 {
            assumed.push(format!(
                "{:.0} % of the balloon ({}) stays on the line after the burst, assumed",
                100.0 * REMNANT,
                units.mass(REMNANT * balloon_kg)
            ));
        }
        REMNANT
    });
    let mass = FallingMass {
        load_kg: load_kg(plan),
        balloon_kg,
        remnant,
    };
    let total = mass.load_kg + mass.balloon_kg * mass.remnant;
    let area = drag_area_m2(parachute.diameter_m, coefficient);
    (speed(terminal_speed_m_s(total, area, RHO0_KG_M3)), mass)
}
