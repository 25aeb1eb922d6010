//! Rows before the release: a sonde is switched on before it flies, and what it reports then is no wind.

use super::ascents::WAITING_M;
use super::clean::{Row, rough_height};
use super::drifted::place;
use crate::numeric::quantile;

/// A shorter wait is none that matters, s.
const WAIT_S: f64 = 60.0;
/// A sonde that lies still reports no more than this as wind, m/s.
const STILL_M_S: f64 = 1.0;
/// Most heights of a sonde that lies still are no farther than this from their middle, m, whatever its first fixes
/// were; one that rises in steps reports others.
const LYING_M: f64 = 10.0;

/// What was cut off before a release.
pub(super) struct Wait {
    pub rows: usize,
    /// The time of the release by the clock of the rows, s.
    pub until_s: f64,
}

/// Cuts off the rows before the release, in the order of their times; `None` where there are none.
pub(super) fn cut(rows: &mut Vec<Row>) -> Option<Wait> {
    drop_zeros(rows);
    let blank = |row: &&Row| is_unset(row) && rough_height(row).is_none();
    let blank = rows.iter().take_while(blank).count();
    let lying = lying(rows.get(blank..).unwrap_or_default()).unwrap_or(0);
    let count = blank + lying;
    let first = rows.get_mut(count)?;
    if lying > 0 && is_still(first) {
        drop_wind(first);
    }
    let until_s = first.after_s.unwrap_or(0.0);
    rows.drain(..count);
    (count > 0).then_some(Wait {
        rows: count,
        until_s,
    })
}

/// Takes the zeros out of rows in which the receiver had no place yet, if it has one in others.
fn drop_zeros(rows: &mut [Row]) {
    if rows.iter().all(|row| place(row).is_none()) {
        return;
    }
    for row in rows.iter_mut().filter(|row| is_unset(row)) {
        for value in [
            &mut row.height_m,
            &mut row.speed_m_s,
            &mut row.east_m_s,
            &mut row.north_m_s,
        ] {
            *value = value.filter(|value| *value != 0.0);
        }
    }
}

fn is_unset(row: &Row) -> bool {
    row.lat_deg == Some(0.0) && row.lon_deg == Some(0.0)
}

/// How many rows a sonde lies on the ground before the one from which it only rises; `None` where it does not for
/// long, or never rises.
fn lying(rows: &[Row]) -> Option<usize> {
    let first_m = rows.iter().find_map(rough_height)?;
    let is_near = |row: &&Row| rough_height(row).is_none_or(|z| (z - first_m).abs() <= WAITING_M);
    let near = rows.iter().take_while(is_near).count();
    if rough_height(rows.get(near)?)? < first_m {
        return None;
    }
    let mut release = (0, f64::INFINITY);
    for (i, row) in rows.iter().enumerate().take(near).rev() {
        match rough_height(row) {
            Some(height_m) if height_m >= release.1 => break,
            Some(height_m) => release = (i, height_m),
            None => {}
        }
    }
    if !lies(rows.get(..release.0)?) {
        return None;
    }
    let after_s = |row: usize| rows.get(row)?.after_s;
    (after_s(release.0)? - after_s(0)? > WAIT_S).then_some(release.0)
}

/// Whether three in four of some rows are at one height.
fn lies(rows: &[Row]) -> bool {
    let mut heights: Vec<f64> = rows.iter().filter_map(rough_height).collect();
    heights.sort_by(f64::total_cmp);
    let Some(middle_m) = quantile(&heights, 0.5) else {
        return false;
    };
    let near = heights.iter().filter(|z| (**z - middle_m).abs() <= LYING_M);
    4 * near.count() >= 3 * heights.len()
}

fn is_still(row: &Row) -> bool {
    let by_parts = row.east_m_s.zip(row.north_m_s).map(|(u, v)| u.hypot(v));
    row.speed_m_s
        .or(by_parts)
        .is_none_or(|speed| speed < STILL_M_S)
}

fn drop_wind(row: &mut Row) {
    (row.speed_m_s, row.from_deg) = (None, None);
    (row.east_m_s, row.north_m_s) = (None, None);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(after_s: f64, height_m: f64, speed_m_s: f64) -> Row {
        Row {
            after_s: Some(after_s),
            height_m: Some(height_m),
            speed_m_s: Some(speed_m_s),
            from_deg: Some(270.0),
            ..Row::default()
        }
    }

    fn flight(begin_s: f64, every_s: f64) -> impl Iterator<Item = Row> {
        (0..100).map(move |i| {
            let after_s = every_s * f64::from(i);
            row(begin_s + after_s, 45.0 + 5.0 * after_s, 9.0)
        })
    }

    #[test]
    fn a_sonde_that_lies_still_has_not_flown() {
        for (every_s, speed_m_s, wind) in
            [(1.0, 0.1, None), (60.0, 0.1, None), (1.0, 3.0, Some(3.0))]
        {
            let lying = (0..300).map(|i| row(f64::from(i), 40.0 + f64::from(i % 3), speed_m_s));
            let mut rows: Vec<Row> = lying.chain(flight(300.0, every_s)).collect();
            let wait = cut(&mut rows).unwrap();
            assert_eq!((wait.rows, wait.until_s), (297, 297.0));
            assert_eq!(rows[0].speed_m_s, wind);
            assert_eq!(rows[3].speed_m_s, Some(9.0));
        }
    }

    /// Two receivers tell each fix, and the first fixes are off.
    #[test]
    fn rows_that_stand_twice_or_begin_with_wrong_heights_hide_no_wait() {
        let lying = (0..300).map(|i| row(f64::from(i), 40.0 + f64::from(i % 3), 0.1));
        let flight: Vec<Row> = lying.chain(flight(300.0, 1.0)).collect();
        let mut twice: Vec<Row> = flight.iter().flat_map(|r| [*r, *r]).collect();
        let wait = cut(&mut twice).unwrap();
        assert!((290.0..312.0).contains(&wait.until_s), "{}", wait.until_s);
        let mut cold = flight;
        for row in &mut cold[..5] {
            row.height_m = Some(78.0);
        }
        assert_eq!(cut(&mut cold).unwrap().until_s, 297.0);
    }

    #[test]
    fn a_flight_begins_with_its_first_row() {
        for every_s in [1.0, 2.0, 10.0, 60.0] {
            let mut rows: Vec<Row> = flight(0.0, every_s).collect();
            // It dips a little in the first gust.
            rows[2].height_m = rows[1].height_m.map(|z| z - 1.0);
            assert!(cut(&mut rows).is_none());
            assert_eq!((rows.len(), rows[0].speed_m_s), (100, Some(9.0)));
        }
        // Without times nothing is known, nor where it never rises.
        let still = |after_s: Option<f64>| Row {
            after_s,
            ..row(0.0, 40.0, 0.0)
        };
        let mut rows: Vec<Row> = (0..90)
            .map(|_| still(None))
            .chain(flight(90.0, 1.0))
            .collect();
        assert!(cut(&mut rows).is_none());
        let mut rows: Vec<Row> = (0..90).map(|i| still(Some(f64::from(i)))).collect();
        assert!(cut(&mut rows).is_none());
    }

    #[test]
    fn steps_of_a_low_profile_are_winds() {
        let rows_at = |heights: &[f64]| -> Vec<Row> {
            let at = |i: u32, height_m: f64| row(10.0 * f64::from(i), height_m, 4.0);
            let steps = heights.iter().flat_map(|height_m| [*height_m; 10]);
            (0..)
                .zip(steps)
                .map(|(i, height_m)| at(i, height_m))
                .collect()
        };
        for heights in [&[10.0, 30.0, 50.0, 100.0][..], &[110.0, 100.0, 50.0, 10.0]] {
            let mut rows = rows_at(heights);
            assert!(cut(&mut rows).is_none(), "{heights:?}");
            assert_eq!(rows.len(), 40);
        }
    }

    #[test]
    fn zeros_of_a_receiver_without_a_place_are_no_values() {
        let at = |lat_deg: f64, row: Row| Row {
            lat_deg: Some(lat_deg),
            lon_deg: Some(lat_deg),
            ..row
        };
        let unset = (0..3).map(|i| at(0.0, row(f64::from(i), 0.0, 0.0)));
        let mut rows: Vec<Row> = unset
            .chain(flight(3.0, 1.0).map(|row| at(40.0, row)))
            .collect();
        rows[50] = at(0.0, row(50.0, 0.0, 0.0));
        let wait = cut(&mut rows).unwrap();
        assert_eq!((wait.rows, wait.until_s), (3, 3.0));
        assert_eq!(
            (rows[0].height_m, rows[0].speed_m_s),
            (Some(45.0), Some(9.0))
        );
        assert_eq!((rows[47].height_m, rows[47].speed_m_s), (None, None));
        // Where no row has a place, these are no signs of anything.
        let mut rows: Vec<Row> = flight(0.0, 1.0).map(|row| at(0.0, row)).collect();
        rows[0].height_m = Some(0.0);
        assert!(cut(&mut rows).is_none());
        assert_eq!(rows[0].height_m, Some(0.0));
    }
}
