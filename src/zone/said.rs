//! What is to be said of releases that were flown, of all together.

use std::mem::discriminant;

use super::releases::TriedRelease;
use crate::notes::left_out::{LeftOut, NoSounding};
use crate::notes::{Assumption, Cleaning, Note};
use crate::plan::Plan;

/// What is assumed and what to know of releases: each once, however many say it.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Said {
    /// What is assumed.
    pub assumed: Vec<Assumption>,
    /// What to know of winds and site.
    pub notes: Vec<Note>,
    /// What reading did to the soundings that were flown in, where that matters.
    pub cleaning: Vec<Cleaning>,
    /// The highest burst above mean sea level, m.
    pub highest_m: f64,
}

impl Said {
    /// What a plan says itself: what stands in place of its own words is told first.
    pub fn begun(plan: &Plan) -> Said {
        Said {
            assumed: plan.replaced.clone(),
            ..Said::default()
        }
    }

    /// Of all releases that were flown.
    pub fn of(tried: &[TriedRelease]) -> Said {
        let mut all = Said::default();
        let flown = tried.iter().filter_map(|(_, flown)| flown.as_ref().ok());
        flown.for_each(|flown| all.add(flown.said.clone()));
        all
    }

    /// With what is to be said of others.
    pub fn add(&mut self, other: Said) {
        other.assumed.into_iter().for_each(|a| self.assume(a));
        other.notes.into_iter().for_each(|n| self.note(n));
        for cleaning in other.cleaning {
            if !self.cleaning.contains(&cleaning) {
                self.cleaning.push(cleaning);
            }
        }
        self.highest_m = self.highest_m.max(other.highest_m);
    }

    /// An assumption; where releases differ in how many soundings it is of, one that holds for all of them.
    pub fn assume(&mut self, assumption: Assumption) {
        let mut known = self.assumed.iter_mut();
        if !known.any(|known| holds_too(known, &assumption)) {
            self.assumed.push(assumption);
        }
    }

    /// A note; where releases or sites differ in how far something is off, the worst.
    pub fn note(&mut self, note: Note) {
        match self.notes.iter_mut().find(|known| is_of_same(known, &note)) {
            Some(known) if off_by(&note) > off_by(known) => *known = note,
            Some(_) => {}
            None => self.notes.push(note),
        }
    }

    /// What reading did to the soundings, but for gaps that no flight reaches.
    pub fn cleaning_met(&self) -> Vec<Cleaning> {
        let all = self.cleaning.iter().cloned();
        all.filter_map(|cleaning| cleaning.below(self.highest_m))
            .collect()
    }
}

/// What is assumed of a release's own winds and is not told elsewhere: rows have lead, age and distance, and
/// what reading all winds assumed is told with these.
pub(super) fn is_of_own_winds(assumption: &Assumption) -> bool {
    matches!(
        assumption,
        Assumption::SoundingsBlended { .. }
            | Assumption::SoundingsContinued { .. }
            | Assumption::NearestSounding { .. }
            | Assumption::RunOfMeasured
            | Assumption::ProfileRunUnknown
            | Assumption::ProfileTimeUnknown { .. }
            | Assumption::ProfilePlaceUnknown { .. }
            | Assumption::WindsMiscalled { .. }
            | Assumption::WindErrorCorrelation { .. }
            // Soundings of other times and places each release leaves out as it must.
            | Assumption::LeftOut(LeftOut::Soundings {
                why: NoSounding::UnknownPlaceOrTime,
                ..
            })
    )
}

/// Whether a known assumption says the same as another, made to hold for both where they differ in how many
/// soundings they are of.
fn holds_too(known: &mut Assumption, other: &Assumption) -> bool {
    use Assumption::{NearestSounding, SoundingsBlended, SoundingsContinued};
    match (&mut *known, other) {
        (
            SoundingsBlended {
                soundings,
                stations,
            },
            SoundingsBlended {
                soundings: of,
                stations: of_stations,
            },
        ) => {
            *soundings = (*soundings).max(*of);
            *stations = (*stations).max(*of_stations);
            true
        }
        (
            SoundingsContinued {
                soundings,
                lowest_top_m,
            },
            SoundingsContinued {
                soundings: of,
                lowest_top_m: top_m,
            },
        ) => {
            *soundings = (*soundings).max(*of);
            *lowest_top_m = lowest_top_m.min(*top_m);
            true
        }
        (NearestSounding { of }, NearestSounding { of: other }) => {
            *of = (*of).max(*other);
            true
        }
        _ => known == other,
    }
}

/// Whether two notes say the same, be it by other numbers.
fn is_of_same(a: &Note, b: &Note) -> bool {
    match off_by(a) {
        Some(_) => discriminant(a) == discriminant(b),
        None => a == b,
    }
}

/// How far something is off, in the unit of its note.
fn off_by(note: &Note) -> Option<f64> {
    match note {
        Note::AboveWinds { for_s, .. } | Note::BelowWinds { for_s, .. } => Some(*for_s),
        Note::TimeZoneOff { ahead_s, .. } => Some(ahead_s.abs()),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notes::Gap;

    #[test]
    fn the_longest_time_and_the_most_soundings_stand_for_all() {
        let of = |for_s, soundings| Said {
            assumed: vec![Assumption::SoundingsBlended {
                soundings,
                stations: 1,
            }],
            notes: vec![Note::AboveWinds {
                top_m: 16_000.0,
                for_s,
            }],
            ..Said::default()
        };
        let mut all = Said::default();
        [of(60.0, 3), of(90.0, 2), of(30.0, 3)]
            .into_iter()
            .for_each(|said| all.add(said));
        assert_eq!(all.notes, of(90.0, 3).notes);
        assert_eq!(all.assumed, of(90.0, 3).assumed);
    }

    #[test]
    fn what_is_merged_holds_for_all() {
        let continued = |soundings, lowest_top_m| Assumption::SoundingsContinued {
            soundings,
            lowest_top_m,
        };
        let blended = |soundings, stations| Assumption::SoundingsBlended {
            soundings,
            stations,
        };
        let (high, low) = (continued(3, 20_000.0), continued(1, 9_000.0));
        let (one, two) = (blended(4, 1), blended(2, 2));
        for order in [
            [&high, &low, &one, &two, &high],
            [&two, &one, &low, &high, &one],
        ] {
            let mut all = Said::default();
            order.into_iter().for_each(|said| all.assume(said.clone()));
            assert_eq!(all.assumed.len(), 2);
            for merged in [continued(3, 9_000.0), blended(4, 2)] {
                assert!(all.assumed.contains(&merged), "{:?}", all.assumed);
            }
        }
    }

    #[test]
    fn each_site_that_does_not_fit_an_airport_is_named() {
        let off = |site: &str, site_m| Note::OfSite {
            site: site.into(),
            note: Box::new(Note::ElevationOffAirport {
                site_m,
                airport_m: 100.0,
                airport: "A".into(),
                distance_m: 9_000.0,
            }),
        };
        let mut all = Said::default();
        let of_both = [off("quarry", 400.0), off("meadow", 900.0)];
        of_both.iter().for_each(|note| all.note(note.clone()));
        assert_eq!(all.notes, of_both);
    }

    #[test]
    fn gaps_that_no_flight_reaches_are_not_told() {
        let cleaning = |from_m| Cleaning {
            file: "may.csv".into(),
            rows: 40,
            winds: 40,
            impossible: 0,
            unusable: 0,
            gaps: vec![Gap {
                from_m,
                to_m: from_m + 3_000.0,
            }],
        };
        let said = Said {
            cleaning: vec![cleaning(12_000.0), cleaning(31_000.0)],
            highest_m: 30_000.0,
            ..Said::default()
        };
        assert_eq!(said.cleaning_met(), [cleaning(12_000.0)]);
    }
}
