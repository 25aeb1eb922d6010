//! The plan's stack in numbers: what it weighs, how much gas, how fast it falls.

use crate::atmosphere::{Air, AirProfile, RHO0_KG_M3};
use crate::error::{Error, Result};
use crate::flight::model::Fall;
use crate::flight::rise::RisePlan;
use crate::plan::{BalloonPlan, CylinderPlan, FillPlan, Plan};
use crate::sizing::{Known, Stack};
use crate::spread::draws::FallingMass;
use crate::units::UnitSystem;
use crate::vehicle::balloon::Balloon;
use crate::vehicle::cylinder::{Cylinders, all_give_mol};
use crate::vehicle::descent::FallSpeed;
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

/// The plan's stack, to be filled in the air at `site_m`.
pub fn to_be_filled(plan: &Plan, balloon: &BalloonPlan, air: &AirProfile, site_m: f64) -> Stack {
    let (speed, _) = fall(plan, UnitSystem::Metric, &mut Vec::new());
    let layers = Stack::layers(site_m);
    let down = match &plan.descent_rates {
        Some(rates) => Fall::stated(rates, &layers),
        None => Fall::at_speed(&speed, air, &layers),
    };
    let rubber = Balloon {
        mass_kg: balloon.mass_kg,
        burst_diameter_m: balloon.burst_diameter_m.unwrap_or(f64::INFINITY),
    };
    let load = load_kg(plan);
    let mut stack = Stack::new(rubber, balloon.gas, load, air.clone(), site_m, down);
    stack.burst_altitude_m = plan.burst_altitude_m;
    stack
}

/// That the burst diameter is of a table, and of which.
pub fn burst_diameter_assumed(balloon: &BalloonPlan, from: &str, units: UnitSystem) -> String {
    let diameter = balloon.burst_diameter_m.map(|d| units.size(d));
    format!(
        "burst diameter of {} for a balloon of {}, {from}, assumed",
        diameter.unwrap_or_default(),
        units.balloon(balloon.mass_kg)
    )
}

/// The plan's cylinders, at the temperature of the air where the plan gives none.
pub fn cylinders(plan: &Plan, here: &Air) -> Vec<Cylinders> {
    let one = |c: &CylinderPlan| Cylinders {
        count: c.count,
        water_volume_m3: c.water_volume_m3,
        gauge_pa: c.gauge_pa,
        temperature_k: c.temperature_k.unwrap_or(here.temperature_k),
    };
    plan.cylinders.iter().map(one).collect()
}

/// That the content of cylinders cannot be told: the plan's ranges leave no such case.
pub fn unknown_content() -> Error {
    Error::CannotDo {
        why: "the content of the cylinders cannot be told".into(),
        remedy: "expected a temperature between 200 and 400 K and up to 450 bar".into(),
    }
}

/// What the plan knows of its fill.
///
/// # Errors
///
/// [`Error::CannotDo`] for cylinders whose content cannot be told.
pub fn known(plan: &Plan, balloon: &BalloonPlan, here: &Air) -> Result<Known> {
    Ok(match balloon.fill {
        FillPlan::NeckLift(kg) => Known::NeckLift(kg),
        FillPlan::FreeLift(kg) => Known::FreeLift(kg),
        FillPlan::GasVolume(m3) => Known::GasVolume(m3),
        FillPlan::AscentRate(m_s) => Known::AscentRate(m_s),
        FillPlan::BurstAltitude(m) => Known::BurstAltitude(m),
        FillPlan::FlightTime(s) => Known::FlightTime(s),
        FillPlan::Cylinders => {
            let all = cylinders(plan, here);
            let gives = all_give_mol(&all, balloon.gas.gas, here.pressure_pa);
            Known::Amount(gives.ok_or_else(unknown_content)?)
        }
    })
}

/// The plan's balloon, filled in the air at `site_m`.
///
/// # Errors
///
/// [`Error::CannotDo`] when the lift cannot raise the load or no fill gives what is wanted.
pub fn filled_balloon(
    plan: &Plan,
    balloon: &BalloonPlan,
    air: &AirProfile,
    site_m: f64,
) -> Result<FilledBalloon> {
    let stack = to_be_filled(plan, balloon, air, site_m);
    let known = known(plan, balloon, &stack.here())?;
    let filled = stack.solve(known).map_err(|unsolved| Error::CannotDo {
        why: unsolved.to_string(),
        remedy: "expected a [balloon] fill that this stack can have".into(),
    })?;
    if filled.free_lift_kg <= 0.0 {
        return Err(Error::CannotDo {
            why: format!(
                "the neck lift of {:.2} kg does not raise the load of {:.2} kg: {:.2} kg is missing",
                filled.neck_lift_kg, stack.load_kg, -filled.free_lift_kg
            ),
            remedy: "expected more neck lift than load; common practice is half as much again"
                .into(),
        });
    }
    Ok(FilledBalloon {
        rise: stack.rise_plan(&filled),
        burst_diameter_m: balloon.burst_diameter_m,
        neck_lift_kg: filled.neck_lift_kg,
        free_lift_kg: filled.free_lift_kg,
        volume_m3: filled.volume_m3,
    })
}

/// How the plan's stack falls, and what of its mass varies. Says what it assumes.
pub fn fall(plan: &Plan, units: UnitSystem, assumed: &mut Vec<String>) -> (FallSpeed, FallingMass) {
    let speed = FallSpeed::landing_at;
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
