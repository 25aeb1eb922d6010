//! Which assumptions and notes are warnings: those that decide whether an answer can be trusted, and
//! which of them come first. Said here and nowhere else.

use serde::Serialize;

use super::{Assumption, Note, OffGround};

/// A release so far from the height of its ground is a warning, m.
pub const OFF_GROUND_M: f64 = 150.0;
/// Draws that are not in the zone are a warning above this share: a tenth of those that its widest line
/// leaves out.
const FEW_DRAWS: f64 = 0.001;
/// Winds that begin so late on the flight are a warning, s.
const BELOW_WINDS_S: f64 = 600.0;

/// Terrain that was given and that more than this share of the draws does not land on is a warning.
const MOST_DRAWS: f64 = 0.5;

/// What a warning is about, the gravest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Subject {
    /// The load comes down hard, or in water.
    Landing,
    /// Draws are not in the zone.
    Draws,
    /// The site does not fit its surroundings.
    Site,
    /// The winds are of another time or place.
    Winds,
    /// The winds have gaps.
    Gaps,
    /// The winds do not reach as high or as low as the flight.
    Reach,
    /// The winds are of one time.
    OneTime,
    /// A mass is assumed.
    Masses,
    /// The parachute is assumed.
    Parachute,
}

/// An assumption or a note that decides whether an answer can be trusted.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Warning {
    /// A note.
    Note(Note),
    /// An assumption.
    Assumption(Assumption),
}

impl Note {
    /// What it warns of, if it is a warning.
    pub fn warns(&self) -> Option<Subject> {
        match self {
            Note::HardLanding { .. } | Note::LandsInWater { .. } => Some(Subject::Landing),
            Note::DrawsLeft { share, .. } if *share > FEW_DRAWS => Some(Subject::Draws),
            Note::DrawsMissing { count, draws, .. }
                if *count as f64 > FEW_DRAWS * *draws as f64 =>
            {
                Some(Subject::Draws)
            }
            Note::TimeZoneOff { .. } | Note::ElevationOffAirport { .. } => Some(Subject::Site),
            Note::ReleaseOffGround(off) if off.is_wrong() => Some(Subject::Site),
            Note::OldWinds { .. } | Note::DistantWinds { .. } | Note::BetterWinds { .. } => {
                Some(Subject::Winds)
            }
            Note::Cleaned(_) => Some(Subject::Gaps),
            Note::AboveWinds { .. } => Some(Subject::Reach),
            Note::OfSite { note, .. } => note.warns(),
            Note::BelowWinds { for_s, .. } if *for_s > BELOW_WINDS_S => Some(Subject::Reach),
            _ => None,
        }
    }
}

impl Assumption {
    /// What it warns of, if it is a warning.
    pub fn warns(&self) -> Option<Subject> {
        match self {
            Assumption::ReleaseOffGround(off) if off.is_wrong() => Some(Subject::Site),
            Assumption::SiteAtSeaLevel | Assumption::SiteElevation { from: None, .. } => {
                Some(Subject::Site)
            }
            Assumption::LandsWithoutTerrain { share } if *share > MOST_DRAWS => Some(Subject::Site),
            Assumption::RunOfMeasured
            | Assumption::ProfileTimeUnknown { .. }
            | Assumption::ProfilePlaceUnknown { .. } => Some(Subject::Winds),
            Assumption::OneTimeHeld { .. } => Some(Subject::OneTime),
            Assumption::NoParachuteMass => Some(Subject::Masses),
            Assumption::ParachuteDrag { .. } => Some(Subject::Parachute),
            Assumption::OfSite { assumption, .. } => assumption.warns(),
            _ => None,
        }
    }
}

impl OffGround {
    /// Whether the site's place or elevation must be wrong, which smoothed ground does not tell.
    fn is_wrong(&self) -> bool {
        !self.smoothed && self.above_m.abs() > OFF_GROUND_M
    }
}

impl Warning {
    /// What it is about.
    pub fn subject(&self) -> Option<Subject> {
        match self {
            Warning::Note(note) => note.warns(),
            Warning::Assumption(assumption) => assumption.warns(),
        }
    }
}

/// The warnings among notes and assumptions, the gravest first.
pub fn warnings(notes: &[Note], assumptions: &[Assumption]) -> Vec<Warning> {
    let notes = notes.iter().cloned().map(Warning::Note);
    let assumptions = assumptions.iter().cloned().map(Warning::Assumption);
    let all = notes.chain(assumptions);
    let mut all: Vec<Warning> = all.filter(|w| w.subject().is_some()).collect();
    // What winds of elsewhere do to the zone says age and distance too.
    let said = |w: &Warning| matches!(w, Warning::Note(Note::BetterWinds { .. }));
    if all.iter().any(said) {
        let less = |note: &Note| matches!(note, Note::OldWinds { .. } | Note::DistantWinds { .. });
        all.retain(|w| !matches!(w, Warning::Note(note) if less(note)));
    }
    // Stable: those about one thing stay in the order in which they were noticed.
    all.sort_by_key(Warning::subject);
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_gravest_come_first_and_what_does_not_decide_is_left() {
        let notes = [
            Note::TooFlatForContours,
            Note::AboveWinds {
                top_m: 20_000.0,
                for_s: 60.0,
            },
            Note::HardLanding {
                speed_m_s: 8.0,
                hard_m_s: 7.0,
                dangerous_m_s: 10.0,
            },
        ];
        let assumptions = [
            Assumption::FittedDragCurve,
            Assumption::ParachuteDrag { coefficient: 0.75 },
        ];
        let found = warnings(&notes, &assumptions);
        let subjects: Vec<_> = found.iter().filter_map(Warning::subject).collect();
        assert_eq!(
            subjects,
            [Subject::Landing, Subject::Reach, Subject::Parachute]
        );
    }

    #[test]
    fn a_release_a_little_off_the_ground_is_no_warning() {
        let off = |above_m, smoothed| {
            let off = OffGround {
                release_m: 1_000.0 + above_m,
                above_m,
                ground_m: 1_000.0,
                from: "terrain".into(),
                smoothed,
            };
            warnings(&[Note::ReleaseOffGround(off)], &[]).len()
        };
        assert_eq!([off(149.0, false), off(151.0, false)], [0, 1]);
        assert_eq!([off(-151.0, false), off(-151.0, true)], [1, 0]);
    }

    #[test]
    fn a_draw_of_thousands_is_no_warning() {
        let left = |share| Note::DrawsLeft {
            share,
            covered: String::new(),
            regions_given: true,
        };
        assert_eq!(
            [left(0.000_5), left(0.002)].map(|n| n.warns().is_some()),
            [false, true]
        );
    }

    #[test]
    fn winds_of_elsewhere_are_told_once() {
        let notes = [
            Note::OldWinds {
                away_s: 1e6,
                measured_s: 1e5,
            },
            Note::BetterWinds {
                away_s: Some(1e6),
                away_m: None,
                drift_sigma_m: 3e4,
                new_forecast_s: 4e4,
                new_forecast_drift_sigma_m: 3e3,
            },
        ];
        assert_eq!(
            warnings(&notes, &[]),
            [Warning::Note(notes[1].clone())].as_slice()
        );
    }
}
