//! The heights that an authority's form asks about, and when the planned flight passes them.

use super::answer::HeightRow;
use crate::clock::{after, seconds_between};
use crate::zone::Mark;

/// A row for each height (m above mean sea level) that the planned flight reaches.
pub fn rows(track: &[Mark], heights_m: &[f64]) -> Vec<HeightRow> {
    let rows = heights_m.iter().map(|&height_m| HeightRow {
        height_m,
        up: passing(track, height_m, true),
        down: passing(track, height_m, false),
    });
    rows.filter(|row| row.up.is_some() || row.down.is_some())
        .collect()
}

/// Where a track passes a height on the way up or down, linear between its marks.
/// The first time, where it passes several times.
pub fn passing(track: &[Mark], height_m: f64, rising: bool) -> Option<Mark> {
    let leg = track.windows(2).find(|leg| {
        let (a, b) = (leg[0].altitude_m, leg[1].altitude_m);
        // With one end of each leg only, so that a mark just at the height is passed once.
        if rising {
            a < height_m && height_m <= b
        } else {
            b <= height_m && height_m < a
        }
    })?;
    let (a, b) = (&leg[0], &leg[1]);
    let share = (height_m - a.altitude_m) / (b.altitude_m - a.altitude_m);
    let distance_m = a.position.distance_m(b.position);
    Some(Mark {
        position: a
            .position
            .destination(a.position.azimuth_deg(b.position), share * distance_m),
        altitude_m: height_m,
        time: after(a.time, share * seconds_between(a.time, b.time)),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geodesy::Position;

    #[test]
    fn a_height_is_passed_once_up_and_once_down() {
        let mark = |lon: f64, altitude_m: f64, time: &str| Mark {
            position: Position::new(0.0, lon).unwrap(),
            altitude_m,
            time: time.parse().unwrap(),
        };
        let track = [
            mark(10.0, 0.0, "2026-01-01T00:00:00Z"),
            mark(10.2, 4_000.0, "2026-01-01T00:20:00Z"),
            mark(10.3, 0.0, "2026-01-01T00:30:00Z"),
        ];
        let rows = rows(&track, &[3_000.0, 6_000.0]);
        assert_eq!(rows.len(), 1);
        let up = rows[0].up.unwrap();
        assert_eq!(up.time.to_string(), "2026-01-01T00:15:00Z");
        assert!((up.position.lon_deg - 10.15).abs() < 1e-6);
        let down = rows[0].down.unwrap();
        assert_eq!(down.time.to_string(), "2026-01-01T00:22:30Z");
    }
}
