//! Whether winds blow the way that their sonde went. A receiver's log may have the sonde's own course where a sounding
//! has the direction that the wind comes from: the other way round.

use std::ops::RangeInclusive;

use super::clean::Row;
use super::drifted::place;
use crate::error::Fault;
use crate::geodesy::Position;
use crate::wind::sounding::Wind;

/// Shorter steps say little of the wind, m.
const STEP_M: f64 = 300.0;
/// So many steps tell.
const TELLING: usize = 3;
/// A step of the sonde is this many times as fast as its wind; one that is not was flown by something with a motor.
const DRIFT: RangeInclusive<f64> = 0.5..=2.0;
/// The cosine of the angle between step and wind below which it goes against the wind.
const AGAINST: f64 = -0.7;

/// Whether most steps of the sonde do not go against its winds; `column` is what their directions are called in an option.
///
/// # Errors
///
/// They do.
pub(super) fn check(file: &str, column: &str, rows: &[Row]) -> Result<(), Fault> {
    let cosines = cosines(rows);
    let against = cosines.iter().filter(|cos| **cos < AGAINST).count();
    if cosines.len() < TELLING || 2 * against <= cosines.len() {
        return Ok(());
    }
    let found = format!(
        "directions that its places contradict: in {against} of {} steps the sonde went against its wind",
        cosines.len()
    );
    let expected = format!(
        "the direction that the wind comes from, and places with their signs; or, where the column has the sonde's \
         own course, --columns \"{column}=wind to\""
    );
    Err(Fault::new(file, found, expected).of_key(column))
}

/// When a sonde was where, with the wind there.
struct Fix {
    after_s: f64,
    place: Position,
    wind: Wind,
}

/// Cosines of the angles between the steps of the sonde and the mean wind of both their ends. Without times nothing
/// says whether it rose or fell.
fn cosines(rows: &[Row]) -> Vec<f64> {
    let fix = |row: &Row| {
        Some(Fix {
            after_s: row.after_s?,
            place: place(row)?,
            wind: Wind::from_direction(row.speed_m_s?, row.from_deg?),
        })
    };
    let mut fixes = rows.iter().filter_map(fix);
    let mut cosines = Vec::new();
    let Some(mut last) = fixes.next() else {
        return cosines;
    };
    for next in fixes {
        let step_m = last.place.distance_m(next.place);
        if step_m >= STEP_M {
            cosines.extend(cosine(&last, &next, step_m));
            last = next;
        }
    }
    cosines
}

/// The cosine of the angle between a step, so many metres long, and its wind; `None` where the wind did not carry it.
fn cosine(last: &Fix, next: &Fix, step_m: f64) -> Option<f64> {
    let (sin, cos) = last.place.azimuth_deg(next.place).to_radians().sin_cos();
    let sum = |of: fn(Wind) -> f64| of(last.wind) + of(next.wind);
    let [east, north] = [sum(|wind| wind.east_m_s), sum(|wind| wind.north_m_s)];
    let speed = east.hypot(north);
    let between_s = next.after_s - last.after_s;
    let drift = step_m / between_s.abs() / (0.5 * speed);
    DRIFT
        .contains(&drift)
        .then(|| between_s.signum() * (east * sin + north * cos) / speed)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rows of a sonde that drifts east with its wind, that many seconds after each other.
    fn rows(from_deg: f64, step_deg: f64, every_s: f64) -> Vec<Row> {
        let row = |i: u32| Row {
            after_s: Some(every_s * f64::from(i)),
            speed_m_s: Some(86_000.0 * step_deg / every_s.abs()),
            from_deg: Some(from_deg),
            lat_deg: Some(39.4),
            lon_deg: Some(-8.8 + step_deg * f64::from(i)),
            ..Row::default()
        };
        (0..20).map(row).collect()
    }

    #[test]
    fn a_sonde_that_goes_against_its_winds_is_told() {
        let is_told = |from_deg: f64, step_deg: f64, every_s: f64| {
            check("f", "dir", &rows(from_deg, step_deg, every_s)).is_err()
        };
        for step_deg in [0.05, 0.001] {
            assert!(is_told(90.0, step_deg, 60.0));
            assert!(!is_told(270.0, step_deg, 60.0));
            assert!(!is_told(180.0, step_deg, 60.0));
            // From the last row to the first.
            assert!(is_told(270.0, step_deg, -60.0));
            assert!(!is_told(90.0, step_deg, -60.0));
        }
        // Where it hardly moves, or nothing says when, nothing is known.
        assert!(!is_told(90.0, 1e-5, 60.0));
        let mut untimed = rows(90.0, 0.05, 60.0);
        untimed.iter_mut().for_each(|row| row.after_s = None);
        assert!(check("f", "dir", &untimed).is_ok());
        assert!(check("f", "dir", &[]).is_ok());
    }

    #[test]
    fn what_flies_against_its_winds_with_a_motor_is_no_sonde() {
        let mut aircraft = rows(90.0, 0.07, 60.0);
        aircraft
            .iter_mut()
            .for_each(|row| row.speed_m_s = Some(10.0));
        assert!(check("f", "dir", &aircraft).is_ok());
    }
}
