//! What a logbook says of its flights' zones, as a table for people.

use std::fmt::Write as _;

use crate::debrief::score::Calibration;
use crate::debrief::scores::{FEW, Many, Misses, Scores};
use crate::logbook::Shift;
use crate::report::layout::list;
use crate::units::UnitSystem;

/// Width of the longest bar of the picture of ranks.
const BAR: usize = 40;

/// The table.
pub fn table(scores: &Scores, units: UnitSystem) -> String {
    let mut text = "\nThe flights beside their zones\n\n".to_owned();
    let mut row = |name: &str, what: &str| {
        let _ = writeln!(text, "{name:15}{what}");
    };
    row("flights", &flights(scores));
    if let Some(calibration) = scores.calibration {
        row("zones", &zones(calibration, scores.ranked));
    }
    if let Some(many) = &scores.many {
        for (name, what) in many_rows(many, units) {
            row(&name, &what);
        }
    }
    if let Some(misses) = &scores.misses {
        row("misses", &of_misses(misses));
    }
    if let Some(many) = &scores.many {
        text += &ranks(many);
    }
    text + &list("What a plan learns from this logbook", &learnt(scores))
}

fn flights(scores: &Scores) -> String {
    let few = match scores.ranked {
        n if n < FEW => format!("; there are more scores from {FEW} on"),
        _ => String::new(),
    };
    format!(
        "{}; for {} it is known where in their zone they came down{few}",
        scores.flights, scores.ranked
    )
}

fn counted(flights: usize) -> String {
    match flights {
        1 => "1 flight".to_owned(),
        n => format!("{n} flights"),
    }
}

fn zones(calibration: Calibration, ranked: usize) -> String {
    match calibration {
        Calibration::Consistent => {
            format!("consistent: where {} came down does not contradict them", counted(ranked))
        }
        Calibration::TooNarrow => {
            "not consistent: too narrow; if they were right, flights would come down this far out only 1 time in 40".into()
        }
        Calibration::TooWide => {
            "not consistent: too wide; if they were right, flights would come down this near the middle only 1 time in 40"
                .into()
        }
    }
}

fn many_rows(many: &Many, units: UnitSystem) -> Vec<(String, String)> {
    let mut rows = Vec::new();
    for c in many.coverage {
        let [low, high] = c.bounds;
        let held = c.held as u32;
        let word = match (low..=high).contains(&held) {
            true => "as it should be",
            false => "not as it should be",
        };
        rows.push((
            format!("{:.0} % region", 100.0 * c.probability),
            format!("held {held}; right ones hold {low} to {high}, 19 times in 20: {word}"),
        ));
    }
    if let Some(e) = many.energy {
        // Scores are in kilometres, lengths are written from metres.
        let km = |x: f64| units.distance(1e3 * x);
        rows.push((
            "energy score".into(),
            format!(
                "{} in the mean of {}; for a fixed circle as wide as the other flights' misses {}, for the planned landings alone {} (less is better)",
                km(e.zones_km),
                e.flights,
                km(e.circle_km),
                km(e.points_km)
            ),
        ));
    }
    rows
}

fn of_misses(misses: &Misses) -> String {
    let side = |mean: f64, words: [&str; 2]| {
        // Short and left are the negative sides.
        format!("{:.1} {}", mean.abs(), words[usize::from(mean >= 0.0)])
    };
    format!(
        "in the zones' own standard deviations: mean {}, {}; they vary by {:.1} and {:.1} (1 is right); 9 in 10 of the next lie {:.0} % as far out as said (from {} and a prior that the zones are right, worth 2 of them for the mean, 6 for the spread)",
        side(misses.mean[0], ["short", "long"]),
        side(misses.mean[1], ["left", "right"]),
        misses.sigmas[0],
        misses.sigmas[1],
        100.0 * misses.outer,
        counted(misses.flights)
    )
}

/// Bars of flights by the share of draws nearer to the middle.
fn ranks(many: &Many) -> String {
    // At least one, as the bars are divided by it.
    let most = many.ranks.iter().copied().max().unwrap_or(0).max(1);
    let mut text = format!(
        "\nShare of the draws nearer to the middle than the flight: evenly spread if zones are right,\n{} to {} flights in each row 19 times in 20\n\n",
        many.usual[0], many.usual[1]
    );
    // Whole percents, as the bars divide a hundred.
    let step = 100 / many.ranks.len();
    for (k, count) in many.ranks.iter().enumerate() {
        let bar = "#".repeat(count * BAR / most);
        let _ = writeln!(
            text,
            "{:>3} to {:>3} %  {count:>4}  {bar}",
            k * step,
            (k + 1) * step
        );
    }
    text
}

fn learnt(scores: &Scores) -> Vec<String> {
    let names = ["rate of rise", "burst diameter", "speed of fall"];
    let mut said: Vec<String> = names
        .into_iter()
        .zip(scores.learnt)
        .filter_map(|(name, shift)| Some(of_shift(name, shift?)))
        .collect();
    if let Some((factor, flights)) = scores.winds {
        said.push(format!(
            "winds: {factor:.2} times as wrong as said, from {} and what is assumed, which is worth 4",
            counted(flights)
        ));
    }
    if !said.is_empty() {
        said.push(
            "A plan that states its own spread learns from that; here the assumed one is used."
                .into(),
        );
    }
    said
}

fn of_shift(name: &str, shift: Shift) -> String {
    format!(
        "{name}: {:.2} times the plan's, varying {:.2} times as much as assumed, from {} and the plan, which is worth 2",
        shift.factor,
        shift.wider,
        counted(shift.flights)
    )
}
