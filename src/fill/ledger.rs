//! Everything that hangs below the neck, item by item.

use super::answer::{Ledger, LedgerItem};
use crate::plan::{LoadItem, StackPlan};
use crate::sizing::Stack;

/// The masses of a plan, with the energy at which its packages come down.
pub fn ledger(plan: &StackPlan, stack: &Stack) -> Ledger {
    let speed = stack.fall_speed_m_s(stack.site_m());
    // E = m v^2 / 2.
    let impact_j = |kg: f64| 0.5 * kg * speed * speed;
    let mut items: Vec<LedgerItem> = plan
        .load
        .iter()
        .map(|item| LedgerItem {
            name: item.name.clone(),
            mass_kg: item.mass_kg,
            planned_kg: item.planned_kg,
            measured: item.measured,
            length_m: item.length_m,
            strength_n: item.strength_n,
            area_density_kg_m2: area_density_kg_m2(item),
            laid_out_m: None,
            impact_j: item.is_package().then(|| impact_j(item.mass_kg)),
        })
        .collect();
    // Without a mass of its own it is among the load, or said to weigh nothing.
    if let Some(parachute) = plan.descent.parachute().filter(|p| p.mass_kg > 0.0) {
        items.push(LedgerItem {
            name: "parachute".into(),
            mass_kg: parachute.mass_kg,
            planned_kg: parachute.planned_kg,
            measured: parachute.measured,
            length_m: None,
            strength_n: None,
            area_density_kg_m2: None,
            laid_out_m: Some(parachute.diameter_m),
            impact_j: None,
        });
    }
    Ledger {
        load_kg: stack.load_kg,
        planned_kg: items
            .iter()
            .map(|i| i.planned_kg.unwrap_or(i.mass_kg))
            .sum(),
        measured: items.iter().filter(|i| i.measured).count(),
        items,
    }
}

/// Mass by the area of the smallest face, where that is known.
fn area_density_kg_m2(item: &LoadItem) -> Option<f64> {
    let (a, b) = item.smallest_face_m?;
    Some(item.mass_kg / (a * b))
}
