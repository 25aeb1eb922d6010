//! Everything that hangs below the neck, item by item.

use super::answer::{Ledger, LedgerItem};
use crate::plan::{LoadItem, StackPlan};
use crate::sizing::Stack;
use crate::units::UnitSystem;

/// The masses of a plan, with the energy at which its packages come down.
pub fn ledger(plan: &StackPlan, stack: &Stack, units: UnitSystem) -> Ledger {
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
            about: about(item, units),
            impact_j: item.is_package().then(|| impact_j(item.mass_kg)),
        })
        .collect();
    if let Some(parachute) = plan.descent.parachute().filter(|p| p.mass_kg > 0.0) {
        items.push(LedgerItem {
            name: "parachute".into(),
            mass_kg: parachute.mass_kg,
            planned_kg: parachute.planned_kg,
            measured: parachute.measured,
            about: format!("{} laid out", units.size(parachute.diameter_m)),
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

/// Length and strength of a line, faces of a box.
fn about(item: &LoadItem, units: UnitSystem) -> String {
    let mut parts = Vec::new();
    if let Some(length) = item.length_m {
        parts.push(units.size(length));
    }
    if let Some(strength) = item.strength_n {
        parts.push(format!("breaks at {}", units.force(strength)));
    }
    if let Some((a, b)) = item.smallest_face_m {
        let density = item.mass_kg / (a * b);
        parts.push(format!(
            "{} on its smallest face",
            units.area_density(density)
        ));
    }
    parts.join(", ")
}
