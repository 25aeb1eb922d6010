//! Two zones compared, as a table for people.

use jiff::Timestamp;

use crate::compare::Comparison;
use crate::units::{UnitSystem, duration};

/// Shifts shorter than this are not worth a line, s.
const SAME_TIME_S: f64 = 30.0;

/// Ways shorter than this are not worth a line, m.
const SAME_PLACE_M: f64 = 10.0;

/// The table.
pub fn table(c: &Comparison, units: UnitSystem) -> String {
    let lines = [
        ("old", published(&c.old.file, c.old.release.time)),
        ("new", published(&c.new.file, c.new.release.time)),
        ("moved", moved(c, units)),
        ("old centre", old_center(c)),
        ("90 % ellipse", size(c, units)),
        ("landing", shift(c.landing_later_s)),
        ("release", release(c, units)),
    ];
    let lines: String = lines
        .iter()
        .map(|(name, what)| format!("{name:14}{what}\n"))
        .collect();
    format!("Landing zones compared\n\n{lines}\n{}\n", meaning(c))
}

fn published(file: &str, release: Timestamp) -> String {
    format!("{file}, release {release:.0}")
}

fn moved(c: &Comparison, units: UnitSystem) -> String {
    format!(
        "{} at {:03.0} deg true, {:.0} % of the way from the old centre to the edge of the old 90 % ellipse",
        units.distance(c.moved_m),
        c.moved_azimuth_deg,
        100.0 * c.share_of_old_radius
    )
}

fn old_center(c: &Comparison) -> String {
    match c.old_center_within {
        Some(p) => format!("inside the new {:.0} % ellipse", 100.0 * p),
        None => "outside every new ellipse".to_owned(),
    }
}

fn size(c: &Comparison, units: UnitSystem) -> String {
    format!(
        "{}, was {}: {:.0} % of it",
        units.area(c.new.outer().area_m2()),
        units.area(c.old.outer().area_m2()),
        100.0 * c.area_ratio
    )
}

fn shift(later_s: f64) -> String {
    match later_s {
        s if s.abs() < SAME_TIME_S => "at the same time".to_owned(),
        s if s > 0.0 => format!("{} later", duration(s)),
        s => format!("{} earlier", duration(-s)),
    }
}

fn release(c: &Comparison, units: UnitSystem) -> String {
    let time = shift(c.release_later_s);
    match c.release_moved_m {
        m if m < SAME_PLACE_M => format!("{time}, from the same place"),
        m => format!("{time}, {} from the old place", units.distance(m)),
    }
}

/// What to make of it.
fn meaning(c: &Comparison) -> &'static str {
    match (c.still_holds(), c.share_of_old_radius <= 1.0) {
        (false, true) if c.area_ratio >= 1.0 => {
            "The move is within the old zone's uncertainty, but the new zone leaves the old centre out: plan with the new one."
        }
        (true, true) => {
            "The move is within the old zone's uncertainty, and the old centre is still in the new 90 % ellipse."
        }
        (false, true) => {
            "The move is within the old zone's uncertainty, but the new zone is more certain and leaves the old centre out: plan with the new one."
        }
        (_, false) => {
            "The move is larger than the old zone's uncertainty: plan with the new one, and expect that it may move again."
        }
    }
}
