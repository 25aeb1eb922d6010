//! The words of warnings: a line each, at most five, above everything else. Notes and assumptions say
//! the same at length below.

use std::fmt::Write as _;

use serde_json::Value;

use super::json::with_words;
use super::{notes, words};
use crate::fill::Fill;
use crate::notes::warning::{Subject, Warning, warnings};
use crate::notes::{Assumption, Cleaning, Gap, Note, OffGround, Profile};
use crate::units::{UnitSystem, duration};
use crate::zone::Zone;

/// Lines of the block.
const MOST_LINES: usize = 5;

/// The warnings of a zone, the gravest first.
pub fn of_zone(zone: &Zone) -> Vec<Warning> {
    warnings(&zone.notes, &zone.assumptions)
}

/// The warnings of where a balloon is filled, on which its gas and its lift depend.
pub fn of_fill(fill: &Fill) -> Vec<Warning> {
    let mut all = warnings(&[], &fill.assumptions);
    all.retain(|warning| warning.subject() == Some(Subject::Site));
    all
}

/// The lines of the block, the gravest first; the last counts what finds no room.
pub fn lines(all: &[Warning], units: UnitSystem) -> Vec<String> {
    let mut lines = joined(all, units);
    let more = match lines.len() {
        // One line less, as the last one counts those that are left.
        n if n > MOST_LINES => lines.split_off(MOST_LINES - 1).len(),
        _ => return lines,
    };
    lines.push(format!("and {more} more among notes and assumptions"));
    lines
}

/// A line for each warning, but one for all soundings of which the same is to be said.
fn joined(all: &[Warning], units: UnitSystem) -> Vec<String> {
    let mut lines: Vec<(String, usize)> = Vec::new();
    for warning in all {
        let of_sounding = matches!(warning, Warning::Note(Note::Cleaned(_)));
        let line = line(warning, units);
        match lines
            .iter_mut()
            .find(|known| of_sounding && known.0 == line)
        {
            Some(known) => known.1 += 1,
            None => lines.push((line, 0)),
        }
    }
    let told = |(line, more)| match more {
        0 => line,
        1 => format!("{line} (and 1 more sounding)"),
        _ => format!("{line} (and {more} more soundings)"),
    };
    lines.into_iter().map(told).collect()
}

/// The block in plain text, with an empty line after it; nothing where nothing warns.
pub fn block(all: &[Warning], units: UnitSystem) -> String {
    if all.is_empty() {
        return String::new();
    }
    let mut text = "WARNINGS\n".to_owned();
    for line in lines(all, units) {
        let _ = writeln!(text, "! {line}");
    }
    text + "\n"
}

/// All warnings as JSON: the code and the numbers in SI, with the line beside them.
pub fn json(all: &[Warning], units: UnitSystem) -> Value {
    all.iter().map(|w| with_words(w, line(w, units))).collect()
}

fn line(warning: &Warning, units: UnitSystem) -> String {
    match warning {
        Warning::Note(note) => of_note(note, units),
        Warning::Assumption(assumption) => of_assumption(assumption, units),
    }
}

fn of_note(note: &Note, units: UnitSystem) -> String {
    match note {
        Note::DrawsLeft {
            share,
            regions_given,
            ..
        } => format!(
            "{:.2} % of the draws left the winds: {}",
            100.0 * share,
            match regions_given {
                true => "the regions do not hold them",
                false => "no region is given",
            }
        ),
        Note::BetterWinds {
            away_s,
            away_m,
            drift_sigma_m,
            ..
        } => {
            let away = [away_s.map(duration), away_m.map(|m| units.distance(m))];
            let away: Vec<String> = away.into_iter().flatten().collect();
            format!(
                "the winds are {} away from the flight: that alone moves the landing by {} (sd)",
                away.join(" and "),
                units.distance(*drift_sigma_m)
            )
        }
        Note::OldWinds { away_s, .. } => {
            format!("the winds are {} away from the release", duration(*away_s))
        }
        Note::DistantWinds { away_m } => {
            format!(
                "the winds are {} away from the site",
                units.distance(*away_m)
            )
        }
        Note::Cleaned(cleaning) => cleaned(cleaning, units),
        Note::AboveWinds { top_m, for_s } => format!(
            "no wind is known above {}, where the flight spends {}: guessed",
            units.height(*top_m),
            duration(*for_s)
        ),
        Note::BelowWinds { base_m, for_s } => format!(
            "no wind is known below {}, where the flight spends {}: guessed",
            units.height(*base_m),
            duration(*for_s)
        ),
        Note::ReleaseOffGround(off) => off_ground(off, units),
        Note::ElevationOffAirport {
            site_m,
            airport_m,
            airport,
            ..
        } => format!(
            "the site's elevation of {} does not fit {} at the airport {airport} nearby",
            units.height(*site_m),
            units.height(*airport_m)
        ),
        Note::OfSite { site, note } => format!("{site}: {}", of_note(note, units)),
        // These are short enough as they are.
        other => notes::note(other, units),
    }
}

fn of_assumption(assumption: &Assumption, units: UnitSystem) -> String {
    match assumption {
        Assumption::ReleaseOffGround(off) => off_ground(off, units),
        Assumption::SiteAtSeaLevel => "the site's elevation is not known: sea level".into(),
        Assumption::SiteElevation {
            elevation_m,
            from: None,
        } => format!(
            "the site's elevation is not known: {}, where the winds begin",
            units.height(*elevation_m)
        ),
        Assumption::RunOfMeasured => {
            "[wind] issued is not used: the winds are taken as measured".into()
        }
        Assumption::LandsWithoutTerrain { share } => format!(
            "{:.0} % of the draws land where the terrain given has no height: taken as high as the site",
            100.0 * share
        ),
        Assumption::ProfileTimeUnknown { profile } => {
            format!(
                "the {} has no time: taken as a day old",
                profile_name(*profile)
            )
        }
        Assumption::ProfilePlaceUnknown { profile } => {
            format!(
                "the {} has no place: taken as made here",
                profile_name(*profile)
            )
        }
        Assumption::OneTimeHeld { time, .. } => {
            format!(
                "the winds are for one time only, {}: how they change is not known",
                words::utc(*time)
            )
        }
        Assumption::NoParachuteMass => "the parachute's mass is not given: taken as nothing".into(),
        Assumption::ParachuteDrag { coefficient } => format!(
            "the parachute's drag coefficient of {coefficient} is assumed: the speed of fall depends on it"
        ),
        Assumption::OfSite { site, assumption } => {
            format!("{site}: {}", of_assumption(assumption, units))
        }
        other => notes::assumption(other, units),
    }
}

/// The widest gap; where there is none, how little is left.
fn cleaned(cleaning: &Cleaning, units: UnitSystem) -> String {
    let file = &cleaning.file;
    let wide = |gap: &&Gap| gap.to_m - gap.from_m;
    let widest = cleaning.gaps.iter();
    // A warning is one line, with room for one gap.
    match widest.max_by(|a, b| wide(a).total_cmp(&wide(b))) {
        Some(gap) => format!(
            "{file}: no wind is known between {} and {}",
            units.height(gap.from_m),
            units.height(gap.to_m)
        ),
        None => format!(
            "{file}: only {} levels with wind are left of {} rows, {} values are impossible",
            cleaning.winds, cleaning.rows, cleaning.impossible
        ),
    }
}

fn profile_name(profile: Profile) -> &'static str {
    match profile {
        Profile::Sounding => "sounding",
        Profile::Model => "model profile",
    }
}

fn off_ground(off: &OffGround, units: UnitSystem) -> String {
    format!(
        "the release at {} is {} {} the ground by {}",
        units.height(off.release_m),
        units.height(off.above_m.abs()),
        if off.above_m > 0.0 { "above" } else { "below" },
        off.from
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drag(count: usize) -> Vec<Warning> {
        let one = Warning::Assumption(Assumption::ParachuteDrag { coefficient: 0.75 });
        vec![one; count]
    }

    #[test]
    fn a_site_far_off_its_ground_is_named() {
        let off = OffGround {
            release_m: 2_500.0,
            above_m: 1_000.0,
            ground_m: 1_500.0,
            from: "hills.asc".into(),
            smoothed: false,
        };
        let of_site = Assumption::OfSite {
            site: "meadow".into(),
            assumption: Box::new(Assumption::ReleaseOffGround(off)),
        };
        assert_eq!(
            lines(&warnings(&[], &[of_site]), UnitSystem::Metric),
            ["meadow: the release at 2,500 m is 1,000 m above the ground by hills.asc"]
        );
    }

    #[test]
    fn soundings_alike_are_one_line() {
        let of_rows = |rows| {
            Warning::Note(Note::Cleaned(Cleaning {
                file: "july.txt".into(),
                rows,
                winds: 9,
                impossible: 0,
                unusable: 0,
                gaps: vec![Gap {
                    from_m: 9_000.0,
                    to_m: 12_000.0,
                }],
            }))
        };
        let lines = lines(&[9, 10, 11].map(of_rows), UnitSystem::Metric);
        assert_eq!(
            lines,
            ["july.txt: no wind is known between 9,000 m and 12,000 m (and 2 more soundings)"]
        );
    }

    #[test]
    fn there_are_never_more_than_five_lines() {
        let metric = UnitSystem::Metric;
        for (count, wanted) in [(0, 0), (4, 4), (5, 5), (6, 5), (40, 5)] {
            assert_eq!(lines(&drag(count), metric).len(), wanted);
        }
        assert!(lines(&drag(6), metric)[4].starts_with("and 2 more"));
        assert_eq!(block(&[], metric), "");
    }
}
