//! What comparisons tell of how they were made.

use jiff::tz::TimeZone;
use serde::Serialize;

use super::ground::{self, GroundSource};
use super::verdict::Limits;
use crate::ground::layers::LayerNote;
use crate::ground::map::GroundMap;
use crate::notes::{Assumption, Cleaning, Note};
use crate::plan::Plan;
use crate::winds::Winds;
use crate::zone::facts::LandedOn;
use crate::zone::fits::planned_landing;
use crate::zone::said::Said;
use crate::zone::{Options, assumed_of};

/// What a comparison was made from.
#[derive(Debug, Clone, Serialize)]
pub struct Basis {
    /// The flight's name; may be empty.
    pub name: String,
    /// The zone of people's times.
    #[serde(skip)]
    pub timezone: TimeZone,
    /// The limits.
    pub limits: Limits,
    /// The region and hours that a forecast covers, in words.
    pub covered: Option<String>,
    /// Draws for each release.
    pub draws: u64,
    /// Their seed.
    pub seed: u64,
    /// The program's version.
    pub version: String,
    /// Where the ground comes from.
    pub sources: Vec<GroundSource>,
    /// Soundings that were flown in and of which reading left so little that it should be known.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub cleaning: Vec<Cleaning>,
    /// What the readers of the ground's layers found.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub layer_notes: Vec<LayerNote>,
    /// What was assumed.
    pub assumptions: Vec<Assumption>,
    /// What to know of site and stack.
    pub notes: Vec<Note>,
}

/// Of a plan, winds, limits and maps of the ground, with what told the heights at landings and what is to be said
/// of the releases.
pub fn basis(
    plan: &Plan,
    input: &Winds,
    limits: &Limits,
    options: Options,
    maps: &[&GroundMap],
    landed_on: &[LandedOn],
    said: Said,
) -> Basis {
    let cleaning = said.cleaning_met();
    let mut assumptions = said.assumed;
    tell_apart(&mut assumptions);
    assumptions.extend(input.assumed());
    assumptions.extend(
        input
            .some_run_unknown()
            .then_some(Assumption::ForecastRunUnknown),
    );
    assumptions.extend(assumed_of(plan));
    let mut layer_notes: Vec<LayerNote> = Vec::new();
    for note in maps.iter().flat_map(|map| map.notes()) {
        // Maps of several regions may find the same in the same file.
        if !layer_notes.contains(note) {
            layer_notes.push(note.clone());
        }
    }
    Basis {
        name: plan.name.clone(),
        timezone: plan.timezone.clone(),
        limits: *limits,
        covered: input.covered(),
        draws: options.draws,
        seed: options.seed,
        version: env!("CARGO_PKG_VERSION").into(),
        sources: ground::sources(&plan.ground, maps, landed_on),
        cleaning,
        layer_notes,
        assumptions,
        notes: planned_landing(plan)
            .into_iter()
            .chain(said.notes)
            .collect(),
    }
}

/// Releases near one sounding and releases between several fly in different ways: each is told of some.
fn tell_apart(assumptions: &mut [Assumption]) {
    let is_way = |of: &&mut Assumption| {
        matches!(
            of,
            Assumption::NearestSounding { .. } | Assumption::SoundingsBlended { .. }
        )
    };
    let ways: Vec<&mut Assumption> = assumptions.iter_mut().filter(is_way).collect();
    if ways.len() > 1 {
        for way in ways {
            *way = Assumption::OfSomeReleases {
                assumption: Box::new(way.clone()),
            };
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ways_to_use_soundings_that_differ_are_told_of_some_releases() {
        let nearest = Assumption::NearestSounding { of: 3 };
        let blended = Assumption::SoundingsBlended {
            soundings: 2,
            stations: 1,
        };
        let of_some = |of: &Assumption| Assumption::OfSomeReleases {
            assumption: Box::new(of.clone()),
        };
        let told = |mut assumptions: Vec<Assumption>| {
            tell_apart(&mut assumptions);
            assumptions
        };
        let one = vec![Assumption::PureGas, nearest.clone()];
        assert_eq!(told(one.clone()), one);
        assert_eq!(
            told(vec![nearest.clone(), Assumption::PureGas, blended.clone()]),
            [of_some(&nearest), Assumption::PureGas, of_some(&blended)]
        );
    }
}
