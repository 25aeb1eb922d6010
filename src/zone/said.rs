//! What is to be said of releases that were flown, of all together.

use std::mem::discriminant;

use super::releases::TriedRelease;
use crate::notes::left_out::{LeftOut, NoSounding};
use crate::notes::{Assumption, Cleaning, Note};

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

    /// An assumption; where releases differ in how many soundings it is of, the one that is of most.
    pub fn assume(&mut self, said: Assumption) {
        let same = |known: &&mut Assumption| match soundings(&said) {
            Some(_) => discriminant(*known) == discriminant(&said),
            None => **known == said,
        };
        match self.assumed.iter_mut().find(same) {
            Some(known) if soundings(&said) > soundings(known) => *known = said,
            Some(_) => {}
            None => self.assumed.push(said),
        }
    }

    /// A note; where releases or sites differ in how far something is off, the worst.
    pub fn note(&mut self, said: Note) {
        match self.notes.iter_mut().find(|known| is_of_same(known, &said)) {
            Some(known) if off_by(&said) > off_by(known) => *known = said,
            Some(_) => {}
            None => self.notes.push(said),
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

/// How many soundings an assumption is of, if of some.
fn soundings(assumption: &Assumption) -> Option<usize> {
    match assumption {
        Assumption::SoundingsBlended { soundings, .. }
        | Assumption::SoundingsContinued { soundings, .. } => Some(*soundings),
        Assumption::NearestSounding { of } => Some(*of),
        _ => None,
    }
}

/// Whether two notes say the same, be it by other numbers.
fn is_of_same(a: &Note, b: &Note) -> bool {
    match (a, b) {
        (
            Note::ElevationOffAirport { airport: a, .. },
            Note::ElevationOffAirport { airport: b, .. },
        ) => a == b,
        _ if off_by(a).is_some() => discriminant(a) == discriminant(b),
        _ => a == b,
    }
}

/// How far something is off, in the unit of its note.
fn off_by(note: &Note) -> Option<f64> {
    match note {
        Note::AboveWinds { for_s, .. } | Note::BelowWinds { for_s, .. } => Some(*for_s),
        Note::TimeZoneOff { ahead_s, .. } => Some(ahead_s.abs()),
        Note::ElevationOffAirport {
            site_m, airport_m, ..
        } => Some((site_m - airport_m).abs()),
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
    fn airports_are_named_once_each() {
        let off = |airport: &str, site_m| Note::ElevationOffAirport {
            site_m,
            airport_m: 100.0,
            airport: airport.into(),
            distance_m: 9_000.0,
        };
        let mut all = Said::default();
        [off("A", 400.0), off("B", 500.0), off("A", 900.0)]
            .into_iter()
            .for_each(|note| all.note(note));
        assert_eq!(all.notes, [off("A", 900.0), off("B", 500.0)]);
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
