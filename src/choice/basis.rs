//! What comparisons tell of how they were made.

use super::ground;
use super::verdict::Limits;
use crate::ground::map::GroundMap;
use crate::plan::Plan;
use crate::report::basis::Basis;
use crate::winds::Winds;
use crate::zone::Options;

/// Of a plan, winds, limits and ground, with what was assumed and what told the heights at landings.
pub fn basis(
    plan: &Plan,
    input: &Winds,
    limits: &Limits,
    options: Options,
    map: &GroundMap,
    landed_on: &[(Option<String>, f64)],
    mut assumptions: Vec<String>,
) -> Basis {
    assumptions.extend(input.one_time_held());
    Basis {
        name: plan.name.clone(),
        timezone: plan.timezone.clone(),
        limits: limits.in_words(options.units),
        covered: input.covered(),
        draws: options.draws,
        seed: options.seed,
        version: env!("CARGO_PKG_VERSION").into(),
        sources: ground::sources(map, landed_on),
        assumptions,
    }
}
