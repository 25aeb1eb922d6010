//! Parts of a lattice.

use super::Position;
use super::lattice::{Axis, Lattice, LatticeMap, Plane, Window};
use crate::earth::{SEMI_MAJOR_M, SHORTEST_DEGREE_M};
use crate::error::Result;

/// Poleward of this a window takes all columns, degrees: they lie too close to count.
const POLAR_LAT_DEG: f64 = 87.0;

impl Lattice {
    /// Whether two lattices have the same points, up to the rounding of files.
    pub fn same_as(&self, other: &Lattice) -> bool {
        let same = |a: Axis, b: Axis| {
            a.count == b.count
                && (a.first - b.first).abs() < 1e-3 * a.step
                // What the steps differ by adds up over all points.
                && (a.step - b.step).abs() * (a.count as f64) < 1e-3 * a.step
        };
        self.plane == other.plane && same(self.x, other.x) && same(self.y, other.y)
    }

    /// The points of a window as a lattice of their own.
    #[must_use]
    pub fn cut(&self, window: Window) -> Lattice {
        let part = |axis: Axis, first: usize, count: usize| Axis {
            first: axis.value(first),
            count,
            ..axis
        };
        Lattice {
            plane: self.plane.clone(),
            x: part(self.x, window.column, window.columns),
            y: part(self.y, window.row, window.rows),
        }
    }

    /// The window that reaches `reach_m` from a place on all sides, with a point to spare, as far
    /// as the lattice goes; never less than two rows and columns where there are that many.
    ///
    /// # Errors
    ///
    /// When the place is not on the lattice's map.
    pub fn around(&self, place: Position, reach_m: f64) -> Result<Window> {
        let map = self.map()?;
        let [row, column] = map.row_column(place)?;
        let (rows, columns) = match self.plane {
            Plane::LatLon => {
                let degrees = reach_m / SHORTEST_DEGREE_M;
                let farthest = (place.lat_deg.abs() + degrees).min(90.0);
                if self.goes_round() && farthest > POLAR_LAT_DEG {
                    let (row, rows) = span(row, degrees / self.y.step, self.y.count);
                    return Ok(Window {
                        row,
                        rows,
                        column: 0,
                        columns: self.x.count,
                    });
                }
                // Degrees of longitude are shortest at the farthest parallel that is reached.
                let shrink = farthest.min(89.0).to_radians().cos();
                (degrees / self.y.step, degrees / shrink / self.x.step)
            }
            // A map's scale changes: by a fifth is plenty over what flights reach.
            Plane::Projected(_) => {
                let reach = 1.2 * self.stretch(&map, place)? * reach_m;
                (reach / self.y.step, reach / self.x.step)
            }
        };
        let (row, rows) = span(row, rows, self.y.count);
        if self.goes_round() {
            // Whole columns, with one to spare on each side.
            let first = (column - columns).floor() as i64 - 1;
            let many = (2.0 * columns).ceil() as usize + 4;
            if many >= self.x.count {
                return Ok(Window {
                    row,
                    rows,
                    column: 0,
                    columns: self.x.count,
                });
            }
            let column = first.rem_euclid(self.x.count as i64) as usize;
            return Ok(Window {
                row,
                rows,
                column,
                columns: many,
            });
        }
        let (column, columns) = span(column, columns, self.x.count);
        Ok(Window {
            row,
            rows,
            column,
            columns,
        })
    }

    /// Metres on the map for a metre on the ground at a place, northward or eastward, whichever
    /// are more.
    fn stretch(&self, map: &LatticeMap, place: Position) -> Result<f64> {
        let [r0, c0] = map.row_column(place)?;
        // Towards the equator, as there may be no latitude beyond.
        let lat_deg = place.lat_deg - 0.1_f64.copysign(place.lat_deg);
        // As far on the ground as the step in latitude, but for the pole itself.
        let near_pole = place.lat_deg.to_radians().cos().max(0.01);
        let lon_deg = super::wrap_longitude(place.lon_deg + 0.1 / near_pole);
        let mut most: f64 = 0.0;
        for near in [Position { lat_deg, ..place }, Position { lon_deg, ..place }] {
            let [r1, c1] = map.row_column(near)?;
            let on_map = ((r1 - r0) * self.y.step).hypot((c1 - c0) * self.x.step);
            most = most.max(on_map / (0.1_f64.to_radians() * SEMI_MAJOR_M));
        }
        Ok(most)
    }

    /// The region and the spacing in words.
    pub fn describe(&self) -> String {
        let (rows, columns) = (self.y.count, self.x.count);
        match &self.plane {
            Plane::LatLon => format!(
                "{} every {} by {} degrees",
                self.region(),
                round(self.y.step),
                round(self.x.step)
            ),
            Plane::Projected(_) => format!(
                "{rows} by {columns} points every {:.1} km on a map projection",
                self.x.step / 1_000.0
            ),
        }
    }

    /// The region in words, as in `39 to 40 N, 9 to 7 W`.
    pub fn region(&self) -> String {
        let last = |axis: Axis| axis.value(axis.count.saturating_sub(1));
        match &self.plane {
            Plane::LatLon if self.goes_round() => {
                format!(
                    "{}, all longitudes",
                    degrees(self.y.first, last(self.y), ["N", "S"])
                )
            }
            Plane::LatLon => {
                let west = super::wrap_longitude(self.x.first);
                let east = super::wrap_longitude(last(self.x));
                format!(
                    "{}, {}",
                    degrees(self.y.first, last(self.y), ["N", "S"]),
                    degrees(west, east, ["E", "W"])
                )
            }
            Plane::Projected(_) => {
                let corner = |row: usize, column: usize| {
                    let map = self.map().ok()?;
                    Some(map.position(row as f64, column as f64).ok()?.text())
                };
                match (corner(0, 0), corner(self.y.count - 1, self.x.count - 1)) {
                    (Some(a), Some(b)) => format!("a map from {a} to {b}"),
                    _ => "a map".to_owned(),
                }
            }
        }
    }
}

/// The whole numbers from below `at - reach` to above `at + reach`, one to spare on each side,
/// within `count`: the first and how many.
fn span(at: f64, reach: f64, count: usize) -> (usize, usize) {
    if !(at.is_finite() && reach.is_finite()) {
        return (0, count.min(2));
    }
    let last = count.saturating_sub(1) as f64;
    let low = (at - reach).floor() - 1.0;
    let high = (at + reach).ceil() + 1.0;
    // Somewhere outside the lattice there is nothing; the nearest points will tell.
    let low = low.clamp(0.0, (last - 1.0).max(0.0));
    let high = high.clamp(low + 1.0, last.max(1.0)).min(last);
    (low as usize, (high - low) as usize + 1)
}

fn degrees(from: f64, to: f64, [plus, minus]: [&str; 2]) -> String {
    let side = |v: f64| if v < 0.0 { minus } else { plus };
    if side(from) == side(to) {
        format!("{} to {} {}", round(from.abs()), round(to.abs()), side(to))
    } else {
        format!(
            "{} {} to {} {}",
            round(from.abs()),
            side(from),
            round(to.abs()),
            side(to)
        )
    }
}

/// Without digits that say nothing.
fn round(v: f64) -> f64 {
    (v * 1e4).round() / 1e4
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lattice(x: (f64, f64, usize), y: (f64, f64, usize)) -> Lattice {
        let axis = |(first, step, count)| Axis { first, step, count };
        Lattice {
            plane: Plane::LatLon,
            x: axis(x),
            y: axis(y),
        }
    }

    fn at(lat: f64, lon: f64) -> Position {
        Position::new(lat, lon).unwrap()
    }

    #[test]
    fn windows_reach_as_far_as_asked_and_the_lattice_goes() {
        let globe = lattice((0.0, 0.25, 1440), (-90.0, 0.25, 721));
        let w = globe.around(at(40.0, 0.1), 100_000.0).unwrap();
        assert!(globe.holds(w));
        // 100 km are 0.9 degrees of latitude and 1.2 of longitude: across Greenwich.
        assert!((9..=12).contains(&w.rows), "{w:?}");
        assert!((12..=15).contains(&w.columns), "{w:?}");
        assert!(w.column > 1430, "{w:?}");
        let cut = globe.cut(w);
        let map = cut.map().unwrap();
        let [row, column] = map.row_column(at(40.0, 0.1)).unwrap();
        assert!(row > 4.0 && row < 7.0 && column > 5.0 && column < 9.0);

        let pole = globe.around(at(89.5, 0.0), 100_000.0).unwrap();
        assert_eq!((pole.columns, pole.row + pole.rows), (1440, 721));

        let small = lattice((-9.0, 0.25, 9), (39.0, 0.25, 5));
        assert_eq!(small.around(at(39.7, -8.8), 1e6).unwrap(), small.whole());
        let tiny = small.around(at(39.6, -8.1), 1.0).unwrap();
        assert!(small.holds(tiny) && tiny.rows >= 2 && tiny.columns >= 2);
        assert!(small.holds(small.around(at(60.0, 100.0), 1.0).unwrap()));
    }

    #[test]
    fn nonsense_makes_a_small_window_and_no_panic() {
        assert_eq!(span(f64::NAN, 3.0, 9), (0, 2));
        assert_eq!(span(1.0, f64::INFINITY, 9), (0, 2));
        assert_eq!(span(1.0, 1.0, 1), (0, 1));
        assert_eq!(span(-50.0, 1.0, 9), (0, 2));
    }

    #[test]
    fn regions_are_told_in_words() {
        let small = lattice((-9.0, 0.25, 9), (39.0, 0.25, 5));
        assert_eq!(small.region(), "39 to 40 N, 9 to 7 W");
        let greenwich = lattice((355.0, 0.25, 57), (41.0, 0.25, 41));
        assert_eq!(greenwich.region(), "41 to 51 N, 5 W to 9 E");
        assert!(greenwich.same_as(&greenwich));
        assert!(!greenwich.same_as(&small));
    }
}
