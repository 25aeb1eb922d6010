//! The gas that a fill takes out of cylinders.

use super::answer::CylinderUse;
use crate::atmosphere::Air;
use crate::error::{Error, Result};
use crate::notes::Assumption;
use crate::plan::StackPlan;
use crate::sizing::{Filled, Stack};
use crate::vehicle::balloon::Fill;
use crate::vehicle::cylinder::{Cylinders, all_give_mol, empty};

/// Cylinders that are assumed where the plan names none: 50 L at 200 bar (a supplier's list,
/// unigases.ae).
const USUAL_CYLINDER: (f64, f64) = (0.05, 2e7);

/// What the fill takes out of the plan's cylinders, or out of usual ones. What it assumes goes to `assumed`.
///
/// # Errors
///
/// When the content of the cylinders cannot be told.
pub fn cylinder_use(
    plan: &StackPlan,
    stack: &Stack,
    filled: &Filled,
    assumed: &mut Vec<Assumption>,
) -> Result<CylinderUse> {
    let here = stack.here();
    let (gas, air_pa) = (stack.gas.gas, here.pressure_pa);
    let needed_mol = filled.fill.amount_mol;
    let mut cylinders = stack.cylinders.clone();
    let at_hand = !cylinders.is_empty();
    if at_hand && plan.cylinders.iter().any(|c| c.temperature_k.is_none()) {
        assumed.push(Assumption::CylindersAsWarmAsAir {
            temperature_k: here.temperature_k,
        });
    }
    if !at_hand {
        let mut usual = Cylinders {
            count: 1,
            water_volume_m3: USUAL_CYLINDER.0,
            gauge_pa: USUAL_CYLINDER.1,
            temperature_k: here.temperature_k,
        };
        let one = usual.gives_mol(gas, air_pa);
        let one = one.ok_or_else(unknown_content)?;
        usual.count = (needed_mol / one).ceil().clamp(1.0, 1e6) as u32;
        cylinders.push(usual);
        assumed.push(Assumption::UsualCylinders {
            water_volume_m3: usual.water_volume_m3,
            gauge_pa: usual.gauge_pa,
        });
    }
    let give_mol = all_give_mol(&cylinders, gas, air_pa).ok_or_else(unknown_content)?;
    let emptied = empty(&cylinders, gas, air_pa, needed_mol).ok_or_else(unknown_content)?;
    // By the ideal gas law a cylinder gives p V / (R T) of its gauge pressure p.
    let ideal_mol = |c: &Cylinders| {
        let volume_m3 = f64::from(c.count) * c.water_volume_m3;
        let inside = Air::dry(c.temperature_k, c.gauge_pa);
        Fill::of_volume(stack.gas, volume_m3, &inside).amount_mol
    };
    let all_ideal_mol: f64 = cylinders.iter().map(ideal_mol).sum();
    let at_site_m3 = |amount_mol: f64| stack.filled(amount_mol).volume_m3;
    Ok(CylinderUse {
        at_hand,
        give_m3: at_site_m3(give_mol),
        less_than_ideal: 1.0 - give_mol / all_ideal_mol,
        left_m3: at_site_m3(emptied.left_mol),
        short_m3: at_site_m3(emptied.short_mol),
        emptied,
        cylinders,
    })
}

/// That the content of cylinders cannot be told.
fn unknown_content() -> Error {
    Error::CannotDo {
        why: "the content of the cylinders cannot be told".into(),
        remedy: "expected a temperature between 200 and 400 K and up to 450 bar".into(),
    }
}
