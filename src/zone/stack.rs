//! The plan's stack in numbers: what it weighs, how much gas, how fast it falls.

use crate::atmosphere::{Air, AirProfile, RHO0_KG_M3};
use crate::error::{Error, Result};
use crate::flight::layers::Layers;
use crate::flight::model::Fall;
use crate::flight::rates::RateTable;
use crate::flight::rise::RisePlan;
use crate::notes::Assumption;
use crate::plan::{BalloonPlan, CylinderContent, CylinderPlan, Descent, ParachutePlan, StackPlan};
use crate::sizing::Stack;
use crate::spread::draws::FallingMass;
use crate::vehicle::balloon::{Balloon, Gas};
use crate::vehicle::burst::Burst;
use crate::vehicle::cylinder::{Cylinders, FULL_GAUGE_PA};
use crate::vehicle::descent::{FallSpeed, THIN_AIR_EXPONENT_SIGMA};
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
    /// Mass of everything below the neck, kg.
    pub load_kg: f64,
    /// When it bursts.
    pub burst: Burst,
    /// Lift at the neck, kg.
    pub neck_lift_kg: f64,
    /// Lift beyond the load, kg.
    pub free_lift_kg: f64,
    /// Volume of gas at the temperature and pressure of the site, m3.
    pub volume_m3: f64,
}

/// The plan's stack, to be filled in the air at `site_m`.
pub fn to_be_filled(
    plan: &StackPlan,
    balloon: &BalloonPlan,
    air: &AirProfile,
    site_m: f64,
) -> Stack {
    // The fall does not depend on the fill, so it is laid out once for all that are tried.
    let down = fall(plan).law.through(air, &Stack::layers(site_m));
    let rubber = Balloon {
        mass_kg: balloon.mass_kg,
        burst: balloon.burst,
    };
    let load_kg = plan.load_kg();
    let mut stack = Stack::new(rubber, balloon.gas, load_kg, air.clone(), site_m, down);
    stack.cylinders = cylinders(plan, balloon.gas.gas, &stack.here());
    stack
}

/// That the burst diameter is of a table, and of which, where it is.
pub fn burst_diameter_assumed(balloon: &BalloonPlan) -> Option<Assumption> {
    Some(Assumption::BurstDiameter {
        diameter_m: balloon.burst.diameter_m()?,
        balloon_kg: balloon.mass_kg,
        from: balloon.diameter_from.clone()?,
    })
}

/// What is odd about the mass of the parachute: that nothing tells it, or that both it and a part of the load that
/// may be it have one.
pub fn parachute_mass(plan: &StackPlan) -> Option<Assumption> {
    let parachute = plan.descent.parachute()?;
    let stated = parachute.planned_kg.is_some() || parachute.measured;
    let among = plan.load.iter().find(|part| part.may_be_parachute());
    match (stated, among) {
        (false, None) => Some(Assumption::NoParachuteMass),
        // Who says that it weighs nothing there means that it is in the load.
        (true, Some(part)) if parachute.mass_kg > 0.0 => Some(Assumption::ParachuteCountedTwice {
            part: part.name.clone(),
        }),
        _ => None,
    }
}

/// What is assumed of the plan's cylinders in the air that they are emptied in.
pub fn cylinders_assumed(plan: &StackPlan, here: &Air) -> impl Iterator<Item = Assumption> {
    // Of those that are named by their contents it is that of their measure.
    let as_air = |c: &CylinderPlan| c.temperature_k.is_none() && !c.content.is_by_contents();
    let warm = plan.cylinders.iter().any(as_air);
    let warm = warm.then_some(Assumption::CylindersAsWarmAsAir {
        temperature_k: here.temperature_k,
    });
    warm.into_iter().chain(contents_assumed(plan))
}

/// What is assumed of the plan's cylinders that are named by their contents, if there are such.
pub fn contents_assumed(plan: &StackPlan) -> Option<Assumption> {
    let by_contents = plan.cylinders.iter().any(|c| c.content.is_by_contents());
    by_contents.then_some(Assumption::ContentsAtPressure {
        gauge_pa: FULL_GAUGE_PA,
    })
}

/// The plan's cylinders, at the temperature of the air where the plan gives none.
fn cylinders(plan: &StackPlan, gas: Gas, here: &Air) -> Vec<Cylinders> {
    // What is named by its contents was measured at a temperature of its own.
    let one = |c: &CylinderPlan| match c.content {
        CylinderContent::Contents(contents_m3) => Cylinders::of_contents(c.count, contents_m3, gas),
        CylinderContent::Pressure {
            water_volume_m3,
            gauge_pa,
        } => Some(Cylinders {
            count: c.count,
            water_volume_m3,
            gauge_pa,
            temperature_k: c.temperature_k.unwrap_or(here.temperature_k),
        }),
    };
    plan.cylinders.iter().filter_map(one).collect()
}

/// The plan's balloon, filled in the air at `site_m`.
///
/// # Errors
///
/// [`Error::CannotDo`] when the lift cannot raise the load or no fill gives what is wanted.
pub fn filled_balloon(
    plan: &StackPlan,
    balloon: &BalloonPlan,
    air: &AirProfile,
    site_m: f64,
) -> Result<FilledBalloon> {
    let stack = to_be_filled(plan, balloon, air, site_m);
    let filled = stack
        .solve(balloon.fill)
        .map_err(|unsolved| Error::CannotDo {
            why: unsolved.to_string(),
            remedy: "expected a [balloon] fill that this stack can have".into(),
        })?;
    // Solved as asked: that so much lift does not raise the load is only known now.
    if filled.free_lift_kg <= 0.0 {
        return Err(Error::CannotDo {
            why: format!(
                "the neck lift of {:.2} kg does not lift the load of {:.2} kg: {:.2} kg short",
                filled.neck_lift_kg, stack.load_kg, -filled.free_lift_kg
            ),
            remedy: "expected more neck lift than load; common practice is half as much again"
                .into(),
        });
    }
    Ok(FilledBalloon {
        rise: stack.rise_plan(&filled),
        load_kg: stack.load_kg,
        burst: balloon.burst,
        neck_lift_kg: filled.neck_lift_kg,
        free_lift_kg: filled.free_lift_kg,
        volume_m3: filled.volume_m3,
    })
}

/// How a stack falls.
#[derive(Debug, Clone)]
pub struct StackFall {
    /// How fast.
    pub law: FallLaw,
    /// What of its mass varies.
    pub mass: FallingMass,
    /// What is assumed.
    pub assumptions: Vec<Assumption>,
}

/// How fast a stack falls.
#[derive(Debug, Clone)]
pub enum FallLaw {
    /// By the density of the air.
    ByDensity(FallSpeed),
    /// At stated rates.
    Rates(RateTable),
}

impl FallLaw {
    /// What is assumed of it.
    pub fn assumed(&self) -> Option<Assumption> {
        match self {
            FallLaw::ByDensity(speed) => Some(Assumption::ThinAir {
                exponent: -speed.thin_air_exponent,
                sigma: THIN_AIR_EXPONENT_SIGMA,
            }),
            FallLaw::Rates(_) => None,
        }
    }

    /// The fall through layers.
    pub fn through(&self, air: &AirProfile, layers: &Layers) -> Fall {
        match self {
            FallLaw::ByDensity(speed) => Fall::at_speed(speed, air, layers),
            FallLaw::Rates(rates) => Fall::stated(rates, layers),
        }
    }
}

/// A mass of which nothing varies: whatever it is, a stated speed does not change with it.
const UNVARYING: FallingMass = FallingMass {
    load_kg: 1.0,
    balloon_kg: 0.0,
    remnant: 0.0,
};

/// How the plan's stack falls.
pub fn fall(plan: &StackPlan) -> StackFall {
    let law = match &plan.descent {
        Descent::Parachute { parachute, remnant } => {
            return under_parachute(plan, parachute, *remnant);
        }
        Descent::LandingSpeed {
            landing_speed_m_s, ..
        } => FallLaw::ByDensity(FallSpeed::landing_at(*landing_speed_m_s)),
        Descent::Rates { rates, .. } => FallLaw::Rates(rates.clone()),
    };
    StackFall {
        law,
        mass: UNVARYING,
        assumptions: Vec::new(),
    }
}

fn under_parachute(plan: &StackPlan, parachute: &ParachutePlan, remnant: Option<f64>) -> StackFall {
    let balloon_kg = plan.ascent.balloon().map_or(0.0, |b| b.mass_kg);
    let mass = FallingMass {
        load_kg: plan.load_kg(),
        balloon_kg,
        remnant: remnant.unwrap_or(REMNANT),
    };
    let coefficient = parachute.drag_coefficient;
    let no_balloon = plan.ascent.balloon().is_none();
    let remnant_assumed = remnant.is_none() && !no_balloon;
    let no_remnant = remnant.is_none() && no_balloon;
    let assumptions = [
        coefficient.is_none().then_some(Assumption::ParachuteDrag {
            coefficient: CANOPY_DRAG_COEFFICIENT,
        }),
        remnant_assumed.then_some(Assumption::Remnant {
            share: REMNANT,
            mass_kg: REMNANT * balloon_kg,
        }),
        no_remnant.then_some(Assumption::NoRemnant),
    ];
    let total_kg = mass.load_kg + mass.balloon_kg * mass.remnant;
    let coefficient = coefficient.unwrap_or(CANOPY_DRAG_COEFFICIENT);
    let area_m2 = drag_area_m2(parachute.diameter_m, coefficient);
    // At the density of sea level, from which the law of the fall counts.
    let speed = FallSpeed::landing_at(terminal_speed_m_s(total_kg, area_m2, RHO0_KG_M3));
    StackFall {
        law: FallLaw::ByDensity(speed),
        mass,
        assumptions: assumptions.into_iter().flatten().collect(),
    }
}
