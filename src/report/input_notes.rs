//! What readers of files found that their user should know, in words.

use crate::ground::layers::{Kind, LayerFinding, LayerNote};
use crate::notes::Cleaning;
use crate::units::UnitSystem;

/// Soundings and gaps that are named one by one.
const NAMED: usize = 3;

/// A sentence for each of the first few soundings of which reading left little, and one for the rest.
pub fn of_cleaning(soundings: &[Cleaning], units: UnitSystem) -> Vec<String> {
    let mut notes: Vec<String> = soundings
        .iter()
        .take(NAMED)
        .map(|cleaning| of_sounding(cleaning, units))
        .collect();
    if soundings.len() > NAMED {
        notes.push(match soundings.len() - NAMED {
            1 => "and likewise in one more sounding".to_owned(),
            more => format!("and likewise in {more} more soundings"),
        });
    }
    notes
}

/// A sentence for a sounding, which begins with the file's name.
pub fn of_sounding(cleaning: &Cleaning, units: UnitSystem) -> String {
    let mut parts = Vec::new();
    for gap in cleaning.gaps.iter().take(NAMED) {
        parts.push(format!(
            "no wind is known between {} and {} above sea level, so its error grows there",
            units.height(gap.from_m),
            units.height(gap.to_m)
        ));
    }
    if cleaning.gaps.len() > NAMED {
        parts.push(match cleaning.gaps.len() - NAMED {
            1 => "one more gap".to_owned(),
            more => format!("{more} more gaps"),
        });
    }
    if cleaning.lost_most() {
        parts.push(format!(
            "only {} levels with wind are left of {} rows",
            cleaning.winds, cleaning.rows
        ));
    }
    // Where most is lost, what became of it is told as well.
    if cleaning.lost_most() || cleaning.has_many_impossible() {
        parts.push(format!(
            "{} impossible values are taken as missing, {} rows have nothing usable",
            cleaning.impossible, cleaning.unusable
        ));
    }
    format!("{}: {}", cleaning.file, parts.join("; "))
}

/// A sentence for each note on a layer, which begins with the file's name.
pub fn of_layers(notes: &[LayerNote], units: UnitSystem) -> Vec<String> {
    notes.iter().map(|note| of_layer(note, units)).collect()
}

/// A sentence for a note on a layer.
pub fn of_layer(note: &LayerNote, units: UnitSystem) -> String {
    let file = &note.source;
    let what = note.kind.map_or("all kinds", Kind::name);
    let found = match note.found {
        LayerFinding::WrongShapes { count } => {
            format!("{count} shapes that cannot be {what} were passed over")
        }
        LayerFinding::OpenLines { count } => {
            format!("{count} lines whose ends do not meet are no areas and were passed over")
        }
        LayerFinding::ClosedLines { count } => {
            format!("{count} closed lines were taken as the outlines of areas")
        }
        LayerFinding::NoArea { count } => {
            format!("{count} outlines that hold no area were passed over")
        }
        LayerFinding::NoClass { count } => format!("{count} roads have no known class"),
        LayerFinding::NotForCars { count } => {
            format!("{count} paths, tracks and the like were left out: no roads for cars")
        }
        LayerFinding::Crossed { count } => format!(
            "{count} outlines cross themselves: inside is where an odd number of rings overlap"
        ),
        LayerFinding::Incomplete { count } => {
            format!("{count} areas are not complete in this extract")
        }
        LayerFinding::EndsWithin {
            north_deg,
            south_deg,
            east_deg,
            west_deg,
        } => {
            let sides = [
                (north_deg, ["N", "S"]),
                (south_deg, ["N", "S"]),
                (east_deg, ["E", "W"]),
                (west_deg, ["E", "W"]),
            ];
            format!(
                "the file ends at {}: beyond, it tells nothing",
                ends(&sides).join(" and ")
            )
        }
        LayerFinding::NothingNear {
            center,
            reach_m,
            nearest_m,
        } => format!(
            "nothing within {} of {}; the nearest is {} away",
            units.distance(reach_m),
            center.text(),
            units.distance(nearest_m)
        ),
    };
    format!("{file}, {what}: {found}")
}

/// Degrees at which something ends, those of them that it does, as in "111.05 W".
fn ends(sides: &[(Option<f64>, [&str; 2])]) -> Vec<String> {
    let told = |&(degrees, [above, below]): &(Option<f64>, [&str; 2])| {
        let degrees: f64 = degrees?;
        let letter = if degrees < 0.0 { below } else { above };
        Some(format!("{:.2} {letter}", degrees.abs()))
    };
    sides.iter().filter_map(told).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn soundings_that_are_not_told_are_counted() {
        let of = |count: usize| {
            let one = Cleaning {
                file: "july.csv".into(),
                rows: 9,
                winds: 2,
                impossible: 0,
                unusable: 0,
                gaps: Vec::new(),
            };
            of_cleaning(&vec![one; count], UnitSystem::Metric)
        };
        assert!(
            of(1)[0].starts_with("july.csv: only 2 levels"),
            "{:?}",
            of(1)
        );
        assert_eq!(of(4)[3], "and likewise in one more sounding");
        assert_eq!(of(5)[3], "and likewise in 2 more soundings");
    }
}
