//! Where and when the sonde was at each level, as far as a file says it.

use super::around::is_unset;
use super::clean::Row;
use crate::geodesy::{Position, wrap_longitude};
use crate::wind::sounding::Tally;

/// No sonde is farther from its release than this, m.
const FARTHEST_M: f64 = 1_000_000.0;
/// Nor is it longer on its way, s.
const LONGEST_S: f64 = 86_400.0;

/// Takes out places and times that cannot be, and those that are the same in every row: the station's.
pub(super) fn check(rows: &mut [Row], release: Option<Position>, tally: &mut Tally) {
    for row in rows.iter_mut() {
        let (at, after_s) = (place(row), row.after_s);
        let here = |at: &Position| release.is_none_or(|r| r.distance_m(*at) < FARTHEST_M);
        let kept = at.filter(here);
        row.after_s = after_s.filter(|s| s.abs() < LONGEST_S);
        (row.lat_deg, row.lon_deg) = kept.map(|at| (at.lat_deg, at.lon_deg)).unzip();
        tally.out_of_range += usize::from(kept != at) + usize::from(row.after_s != after_s);
    }
    if !differ(rows.iter().map(place)) {
        rows.iter_mut()
            .for_each(|row| (row.lat_deg, row.lon_deg) = (None, None));
    }
    if !differ(rows.iter().map(|row| row.after_s)) {
        rows.iter_mut().for_each(|row| row.after_s = None);
    }
}

/// The place of a row; where both numbers are 0 the receiver had none yet.
pub(super) fn place(row: &Row) -> Option<Position> {
    let place = Position::new(row.lat_deg?, wrap_longitude(row.lon_deg?))?;
    (!is_unset(&place)).then_some(place)
}

fn differ<T: PartialEq>(values: impl Iterator<Item = Option<T>>) -> bool {
    let mut known = values.flatten();
    let first = known.next();
    known.any(|value| first.as_ref() != Some(&value))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(after_s: f64, lon_deg: f64) -> Row {
        Row {
            after_s: Some(after_s),
            lat_deg: Some(10.0),
            lon_deg: Some(lon_deg),
            ..Row::default()
        }
    }

    #[test]
    fn what_cannot_be_and_what_says_nothing_is_taken_out() {
        let release = Position::new(10.0, 179.9);
        let mut rows = [row(0.0, 179.9), row(60.0, 180.1), row(1e7, 9.0)];
        let mut tally = Tally::default();
        check(&mut rows, release, &mut tally);
        assert!((rows[1].lon_deg.unwrap() + 179.9).abs() < 1e-9);
        assert_eq!((rows[2].after_s, rows[2].lon_deg), (None, None));
        assert_eq!(tally.out_of_range, 2);
        let mut rows = [row(0.0, 9.0), row(0.0, 9.0)];
        check(&mut rows, None, &mut tally);
        assert!(
            rows.iter()
                .all(|r| r.after_s.is_none() && place(r).is_none())
        );
    }
}
