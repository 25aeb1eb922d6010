//! The gas that a fill takes out of cylinders.

use super::answer::{CylinderKind, CylinderUse, UsualCylinders};
use crate::atmosphere::Air;
use crate::error::{Error, Result};
use crate::notes::Assumption;
use crate::plan::StackPlan;
use crate::sizing::{Filled, Stack};
use crate::units::CUBIC_FOOT_M3;
use crate::vehicle::balloon::{Gas, GasFill};
use crate::vehicle::cylinder::{Cylinders, all_give_mol, contents_mol, empty};
use crate::zone::stack::cylinders_assumed;

/// Usual cylinders by the gas they give, m3 at 70 F and 14.7 psi: 244 and 291 cubic feet (common
/// practice, no source).
const USUAL_CONTENTS_M3: [f64; 2] = [244.0 * CUBIC_FOOT_M3, 291.0 * CUBIC_FOOT_M3];
/// Usual cylinders by their inner volume, m3 (common practice, no source).
const USUAL_WATER_VOLUMES_M3: [f64; 3] = [0.05, 0.02, 0.01];
/// Usual pressures on the gauges of full ones, Pa (common practice, no source).
const USUAL_GAUGES_PA: [f64; 3] = [1.5e7, 2e7, 3e7];

/// What the fill takes out of the plan's cylinders; of usual ones how many it takes, where the plan names
/// none. What it assumes goes to `assumed`.
///
/// # Errors
///
/// When the content of the cylinders is not known.
pub fn cylinder_use(
    plan: &StackPlan,
    stack: &Stack,
    filled: &Filled,
    assumed: &mut Vec<Assumption>,
) -> Result<CylinderUse> {
    let here = stack.here();
    let (gas, air_pa) = (stack.gas.gas, here.pressure_pa);
    let needed_mol = filled.fill.amount_mol;
    let cylinders = stack.cylinders.clone();
    let at_hand = !cylinders.is_empty();
    assumed.extend(cylinders_assumed(plan, &here));
    // Where the plan names its cylinders, others are of no use.
    let usual = match at_hand {
        true => Vec::new(),
        false => usual(gas, &here, needed_mol).ok_or_else(unknown_content)?,
    };
    let give_mol = all_give_mol(&cylinders, gas, air_pa).ok_or_else(unknown_content)?;
    let emptied = empty(&cylinders, gas, air_pa, needed_mol).ok_or_else(unknown_content)?;
    // By the ideal gas law a cylinder gives p V / (R T) of its gauge pressure p.
    let ideal_mol = |c: &Cylinders| {
        let volume_m3 = f64::from(c.count) * c.water_volume_m3;
        let inside = Air::dry(c.temperature_k, c.gauge_pa);
        GasFill::of_volume(stack.gas, volume_m3, &inside).amount_mol
    };
    let all_ideal_mol: f64 = cylinders.iter().map(ideal_mol).sum();
    // At the site: crews think of gas by what it fills in the balloon.
    let at_site_m3 = |amount_mol: f64| stack.filled(amount_mol).volume_m3;
    Ok(CylinderUse {
        at_hand,
        give_m3: at_site_m3(give_mol),
        less_than_ideal: match at_hand {
            true => 1.0 - give_mol / all_ideal_mol,
            false => 0.0,
        },
        left_m3: at_site_m3(emptied.left_mol),
        short_m3: match at_hand {
            true => at_site_m3(emptied.short_mol),
            false => 0.0,
        },
        emptied,
        cylinders,
        usual,
    })
}

/// How many of the usual cylinders give an amount of gas in some air.
fn usual(gas: Gas, here: &Air, needed_mol: f64) -> Option<Vec<UsualCylinders>> {
    let by_contents = USUAL_CONTENTS_M3.map(|contents_m3| {
        // By the gas that comes out of them, which is what they are named by.
        let needed = needed_mol / contents_mol(contents_m3);
        let kind = CylinderKind::Contents { contents_m3 };
        Some(UsualCylinders { kind, needed })
    });
    let by_pressure = USUAL_WATER_VOLUMES_M3.iter().flat_map(|&water_volume_m3| {
        USUAL_GAUGES_PA.map(|gauge_pa| {
            let one = Cylinders {
                count: 1,
                water_volume_m3,
                gauge_pa,
                temperature_k: here.temperature_k,
            };
            let kind = CylinderKind::Pressure {
                water_volume_m3,
                gauge_pa,
            };
            let needed = needed_mol / one.gives_mol(gas, here.pressure_pa)?;
            Some(UsualCylinders { kind, needed })
        })
    });
    by_contents.into_iter().chain(by_pressure).collect()
}

/// That the content of cylinders is not known.
fn unknown_content() -> Error {
    Error::CannotDo {
        why: "the content of the cylinders is not known".into(),
        remedy: "expected a temperature between 200 and 400 K and up to 450 bar".into(),
    }
}
