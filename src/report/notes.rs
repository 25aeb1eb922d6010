//! Assumptions and notes in words.

use serde_json::Value;

use super::json::with_words;
use crate::notes::{Assumption, Note};
use crate::units::{UnitSystem, duration};

/// An assumption in words.
pub fn assumption(assumption: &Assumption, units: UnitSystem) -> String {
    match assumption {
        Assumption::InWords { words } => words.clone(),

        // Fill.
        Assumption::PureGas => "pure gas (no gas_purity given), assumed".into(),
        Assumption::WeightlessFiller => "the filler on the neck weighs nothing, assumed: weigh it with what hangs on it of the hose, and give [balloon] filler; the weight to hang is less by it".into(),
        Assumption::CountedAsPackages { names } => format!(
            "without a kind, counted as packages, assumed: {}",
            names.join(", ")
        ),
        Assumption::CylindersAsWarmAsAir { temperature_k } => format!(
            "cylinders without a temperature have that of the air, {}, assumed: one that stood in the sun or in a cold van has another",
            units.temperature(*temperature_k)
        ),
        Assumption::UsualCylinders {
            water_volume_m3,
            gauge_pa,
        } => format!(
            "the plan has no [[cylinders]]: told for such of {:.0} L at {:.0} bar on the gauge, at the temperature of the air, assumed",
            1_000.0 * water_volume_m3,
            gauge_pa / 1e5
        ),
        Assumption::FittedAscent => "ascent by a drag curve fitted to thirty flights and to rates at known lifts; no wind up or down".into(),
        Assumption::EarlyBursts {
            share,
            least_diameter_share,
            most_diameter_share,
        } => format!(
            "about 1 balloon in {:.0} bursts early, at {least_diameter_share:.2} to {most_diameter_share:.2} of its diameter: that is not in the deviation of the burst",
            1.0 / share
        ),

        // Choice.
        Assumption::SurfaceWindLimit { limit_m_s } => format!(
            "limit of the wind at the ground: {}, assumed",
            units.speed(*limit_m_s)
        ),
        Assumption::KeepOutLimit { limit_share } => format!(
            "limit of the share of draws on any one thing to keep clear of: {:.0} %, assumed",
            100.0 * limit_share
        ),
        Assumption::DaylightLimit { limit_s } => format!(
            "daylight wanted after the landing: {}, assumed",
            duration(*limit_s)
        ),
        Assumption::HitDistances => "how near to a road, an airport or a town counts, by default distances where [ground] buffers gives none, assumed".into(),
        Assumption::CoarseGround => "built-in lakes, rivers and towns are a coarse map of the world: what it does not show may be there".into(),
        Assumption::AirportsForAirspace => "the air around airports stands in for controlled airspace, by default distances and heights, assumed: charts decide".into(),
        Assumption::CarriedOver { candidates, flown } => format!(
            "of {candidates} candidates the {flown} best by flights carried over from their middle were flown themselves; the others are told by those, assumed"
        ),
        Assumption::ElevationAsPlanned => "sites without an elevation lie as high as the plan's site, assumed".into(),
        Assumption::SameDriftNearby => "drift is the same for neighbouring places of launch regions, assumed; launch places were flown themselves".into(),
        Assumption::OfSite { site, assumption: there } => {
            format!("{site}: {}", self::assumption(there, units))
        }

        // Brief.
        Assumption::FillingBegins { before_release_s } => format!(
            "filling begins {} before the release (no [brief] filling), assumed",
            duration(*before_release_s)
        ),
        Assumption::RadioLineOfSight {
            with_terrain,
            antenna_m,
        } => {
            let ground = match with_terrain {
                true => "with the ground as high as the terrain says",
                false => "over smooth ground, no terrain is read",
            };
            format!(
                "radio: line of sight over an earth of 4/3 its radius, {ground}; antenna {} above the ground, no trees or houses, enough power, assumed",
                units.size(*antenna_m)
            )
        }
        Assumption::HeardOnPlannedFlight => "when the tracker goes quiet: heard last where the planned flight is at that height; what comes after varies as planned, as if nothing had been learnt on the way, assumed".into(),
    }
}

/// A note in words.
pub fn note(note: &Note) -> String {
    match note {
        // Fill.
        Note::RatesOfPlanUnused => "the plan states rates of ascent, which `windfall zone` flies with; here the rise is that of the gas",
        Note::BurstAltitudeOfPlan => "the plan states the burst altitude: it does not depend on the gas here, nor in `windfall zone`",
        Note::NoThresholds => "no thresholds were compared: --rules us, icao, uk or canada",
    }
    .to_owned()
}

/// Assumptions in words.
pub fn assumptions(all: &[Assumption], units: UnitSystem) -> Vec<String> {
    all.iter().map(|one| assumption(one, units)).collect()
}

/// Notes in words.
pub fn notes(all: &[Note]) -> Vec<String> {
    all.iter().map(note).collect()
}

/// Assumptions for programs: code, numbers and words.
pub fn assumptions_json(all: &[Assumption], units: UnitSystem) -> Vec<Value> {
    all.iter()
        .map(|one| with_words(one, assumption(one, units)))
        .collect()
}

/// Notes for programs: code, numbers and words.
pub fn notes_json(all: &[Note]) -> Vec<Value> {
    all.iter().map(|one| with_words(one, note(one))).collect()
}
