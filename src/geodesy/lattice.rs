//! The points of a forecast's grid, and where a place lies among them.

use proj::Proj;

use super::rotated::widened;
use super::{Position, wrap_longitude};
use crate::error::{Error, Result};

/// The plane on which the points are equally spaced.
#[derive(Debug, Clone, PartialEq)]
pub enum Plane {
    /// Longitude and latitude, degrees.
    LatLon,
    /// A map projection, metres: its PROJ definition.
    Projected(String),
}

/// A grid of points: rows from south to north, columns from west to east on its plane, whichever
/// way the file runs.
#[derive(Debug, Clone, PartialEq)]
pub struct Lattice {
    /// What x and y are.
    pub plane: Plane,
    /// x of the first column (degrees east or m) and the way to the next, above 0.
    pub x: Axis,
    /// y of the first row (degrees north or m) and the way to the next, above 0.
    pub y: Axis,
}

/// Equally spaced values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Axis {
    /// The first.
    pub first: f64,
    /// From one to the next, above 0.
    pub step: f64,
    /// How many.
    pub count: usize,
}

impl Axis {
    /// Value `i`.
    pub fn value(&self, i: usize) -> f64 {
        self.first + self.step * i as f64
    }
}

/// Some rows and columns of a lattice; columns go on at the first one after the last where the
/// lattice goes round the earth.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// The first row.
    pub row: usize,
    /// The first column.
    pub column: usize,
    /// How many rows.
    pub rows: usize,
    /// How many columns.
    pub columns: usize,
}

impl Lattice {
    /// Whether the columns go round the earth, so that the first one follows the last.
    pub fn goes_round(&self) -> bool {
        // Files round their steps: as many of them as there are columns miss a full turn by a
        // little.
        self.plane == Plane::LatLon && (self.x.step * self.x.count as f64 - 360.0).abs() < 0.01
    }

    /// All rows and columns.
    pub fn whole(&self) -> Window {
        Window {
            row: 0,
            column: 0,
            rows: self.y.count,
            columns: self.x.count,
        }
    }

    /// Whether a window lies within the lattice.
    pub fn holds(&self, window: Window) -> bool {
        let ends_within = |first: usize, many: usize, count: usize| {
            first.checked_add(many).is_some_and(|end| end <= count)
        };
        let columns = if self.goes_round() {
            window.column < self.x.count && window.columns <= self.x.count
        } else {
            ends_within(window.column, window.columns, self.x.count)
        };
        columns && ends_within(window.row, window.rows, self.y.count)
    }

    /// The way between rows and columns and places on the earth.
    ///
    /// # Errors
    ///
    /// When PROJ refuses the projection.
    pub fn map(&self) -> Result<LatticeMap<'_>> {
        let proj = match &self.plane {
            Plane::LatLon => None,
            Plane::Projected(definition) => Some(projection(definition)?),
        };
        Ok(LatticeMap {
            lattice: self,
            proj,
        })
    }
}

/// A PROJ handle of a projection from degrees on its own ellipsoid or sphere.
fn projection(definition: &str) -> Result<Proj> {
    Proj::new(definition).map_err(|cause| Error::CannotDo {
        why: format!("PROJ refused the forecast's projection \"{definition}\": {cause}"),
        remedy: "expected a projection that exists; is the file complete?".into(),
    })
}

/// x and y, in metres, of a place in a projection.
///
/// Latitude and longitude are taken as they stand, on the sphere or ellipsoid of the projection:
/// forecast models put the map's latitudes on their sphere without a datum shift, and so do all
/// who use them.
///
/// # Errors
///
/// When PROJ refuses the projection or the place is not in it.
pub fn to_plane(definition: &str, place: Position) -> Result<[f64; 2]> {
    forward(&projection(definition)?, place)
}

fn forward(proj: &Proj, place: Position) -> Result<[f64; 2]> {
    let radians = (place.lon_deg.to_radians(), place.lat_deg.to_radians());
    match proj.project(radians, false) {
        Ok((x, y)) if x.is_finite() && y.is_finite() => Ok([x, y]),
        _ => Err(off_the_map(place.text())),
    }
}

fn off_the_map(what: String) -> Error {
    Error::CannotDo {
        why: format!("{what} is not on the forecast's map"),
        remedy: "expected a place within the forecast's grid".into(),
    }
}

/// A lattice with the means to find places in it.
///
/// Holds a PROJ handle, which is neither `Send` nor `Sync` and takes some milliseconds to set up:
/// make one where it is needed and keep it.
pub struct LatticeMap<'a> {
    lattice: &'a Lattice,
    proj: Option<Proj>,
}

impl LatticeMap<'_> {
    /// The place at a row and a column, whole or not.
    ///
    /// # Errors
    ///
    /// When there is no such place on the earth.
    pub fn position(&self, row: f64, column: f64) -> Result<Position> {
        let Lattice { x, y, .. } = self.lattice;
        let (x, y) = (x.first + x.step * column, y.first + y.step * row);
        let (lon_deg, lat_deg) = match &self.proj {
            None => (x, y),
            Some(proj) => proj
                .project((x, y), true)
                .map(|(lon, lat)| (lon.to_degrees(), lat.to_degrees()))
                .map_err(|_| off_the_map(format!("row {row}, column {column}")))?,
        };
        // Rounding in PROJ must not put the pole beyond the pole.
        let lat_deg = if (lat_deg.abs() - 90.0).abs() < 1e-9 {
            90.0_f64.copysign(lat_deg)
        } else {
            lat_deg
        };
        Position::new(lat_deg, wrap_longitude(lon_deg))
            .ok_or_else(|| off_the_map(format!("row {row}, column {column}")))
    }

    /// Row and column of a place, between the points as fractions; outside of the lattice below 0
    /// or above the last. Where columns are degrees, the turn of the earth is taken that brings
    /// the place nearest to the lattice.
    ///
    /// # Errors
    ///
    /// When the place is not in the projection.
    pub fn row_column(&self, place: Position) -> Result<[f64; 2]> {
        let Lattice { x, y, .. } = self.lattice;
        match &self.proj {
            None => Ok([
                (place.lat_deg - y.first) / y.step,
                self.column_of(place.lon_deg),
            ]),
            Some(proj) => {
                let [east, north] = forward(proj, place)?;
                Ok([(north - y.first) / y.step, (east - x.first) / x.step])
            }
        }
    }

    fn column_of(&self, lon_deg: f64) -> f64 {
        let x = self.lattice.x;
        let round = 360.0 / x.step;
        let column = (lon_deg - x.first).rem_euclid(360.0) / x.step;
        // Round the earth every column is within: there is no gap to split.
        let last = if self.lattice.goes_round() {
            round
        } else {
            (x.count as f64 - 1.0).max(0.0)
        };
        // West of the first column rather than east of the last: whichever is nearer. The gap is
        // split in its middle.
        if column > last && column - last > round - column {
            column - round
        } else {
            column
        }
    }

    /// The direction of the lattice's y at a place, clockwise from true north, radians: what
    /// [`to_true`] needs.
    ///
    /// By central differences of 1e-4 degrees (one-sided at a pole, along the place's meridian).
    ///
    /// # Errors
    ///
    /// When the place is not in the projection.
    pub fn y_direction(&self, place: Position) -> Result<f64> {
        const HALF_STEP_DEG: f64 = 1e-4;
        let Some(proj) = &self.proj else {
            return Ok(0.0);
        };
        let at = |lat_deg: f64| {
            // One-sided at a pole, as no latitude lies beyond.
            let lat_deg = lat_deg.clamp(-90.0, 90.0);
            forward(proj, Position { lat_deg, ..place })
        };
        let [x1, y1] = at(place.lat_deg + HALF_STEP_DEG)?;
        let [x0, y0] = at(place.lat_deg - HALF_STEP_DEG)?;
        // Degrees of a rotated grid are shorter east and west than on its map: back to true
        // lengths.
        let widened = widened(&self.lattice.plane, 0.5 * (y0 + y1));
        Ok(-((x1 - x0) / widened).atan2(y1 - y0))
    }
}

/// East and north components of a wind given along a lattice's x and y, which points
/// `y_direction` radians clockwise of true north.
pub fn to_true([along_x, along_y]: [f64; 2], y_direction: f64) -> [f64; 2] {
    let (sin, cos) = y_direction.sin_cos();
    [along_x * cos + along_y * sin, along_y * cos - along_x * sin]
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// A lattice of conformal cones on the sphere of NOAA's models, at 25 degrees north: the
    /// AWIPS grid 211.
    const CONE: &str =
        "+proj=lcc +lat_1=25 +lat_2=25 +lat_0=25 +lon_0=265 +R=6371229 +units=m +no_defs";
    const POLAR: &str = "+proj=stere +lat_0=90 +lat_ts=60 +lon_0=249 +R=6371229 +units=m +no_defs";

    fn axis(first: f64, step: f64, count: usize) -> Axis {
        Axis { first, step, count }
    }

    fn degrees(x: Axis, y: Axis) -> Lattice {
        Lattice {
            plane: Plane::LatLon,
            x,
            y,
        }
    }

    fn projected(definition: &str) -> Lattice {
        Lattice {
            plane: Plane::Projected(definition.into()),
            x: axis(-4e6, 80_000.0, 100),
            y: axis(-1e6, 80_000.0, 60),
        }
    }

    #[test]
    fn windows_are_held_or_not() {
        let globe = degrees(axis(0.0, 2.5, 144), axis(-90.0, 2.5, 73));
        let window = |row, column, rows, columns| Window {
            row,
            column,
            rows,
            columns,
        };
        assert!(globe.goes_round());
        assert!(globe.holds(globe.whole()));
        assert!(globe.holds(window(72, 143, 1, 2)));
        assert!(!globe.holds(window(72, 144, 1, 1)));
        assert!(!globe.holds(window(72, 0, 2, 1)));
        assert!(!globe.holds(window(usize::MAX, 0, 2, 1)));
        let part = degrees(axis(0.0, 2.5, 10), axis(-90.0, 2.5, 73));
        assert!(part.holds(window(0, 8, 1, 2)));
        assert!(!part.holds(window(0, 9, 1, 2)));
    }

    #[test]
    fn columns_are_found_whichever_way_longitudes_are_counted() {
        let at = |lon| Position::new(0.0, lon).unwrap();
        // 5 W to 9 E, across Greenwich.
        let part = degrees(axis(-5.0, 0.25, 57), axis(-10.0, 0.25, 81));
        let map = part.map().unwrap();
        let column = |lon| map.row_column(at(lon)).unwrap()[1];
        assert_eq!(column(-5.0), 0.0);
        assert_eq!(column(355.0), 0.0);
        assert_eq!(column(9.0), 56.0);
        assert_eq!(column(-6.0), -4.0);
        assert_eq!(column(10.0), 60.0);
        // 210 to 310 degrees east.
        let west = degrees(axis(210.0, 1.0, 101), axis(-10.0, 0.25, 81));
        let map = west.map().unwrap();
        assert_eq!(map.row_column(at(-100.0)).unwrap(), [40.0, 50.0]);
        assert_eq!(map.position(40.0, 50.0).unwrap(), at(260.0));
        // The globe: between the last column and the first.
        let globe = degrees(axis(0.0, 2.5, 144), axis(-90.0, 2.5, 73));
        let column = globe.map().unwrap().row_column(at(-1.0)).unwrap()[1];
        assert!((column - 143.6).abs() < 1e-9);
    }

    #[test]
    fn north_of_a_cone_turns_by_its_constant() {
        // Snyder (1987), eq. 15-3 and 14-4: with one parallel, theta = sin(lat1) (lon - lon0).
        let lattice = projected(CONE);
        let map = lattice.map().unwrap();
        for lon in [-133.459, -95.0, -60.0] {
            let theta = (lon + 95.0_f64).to_radians() * 25.0_f64.to_radians().sin();
            let angle = map.y_direction(Position::new(40.0, lon).unwrap()).unwrap();
            // East of the central meridian true north leans to the left of y: y is clockwise.
            assert!((angle - theta).abs() < 1e-7, "{angle} {theta}");
        }
    }

    #[test]
    fn winds_are_turned_to_true_north() {
        // In a map of the north pole y is turned as far from true north as the place is east of the
        // central meridian.
        let lattice = projected(POLAR);
        let map = lattice.map().unwrap();
        let angle = map
            .y_direction(Position::new(70.0, -21.0).unwrap())
            .unwrap();
        assert!((angle.to_degrees() - 90.0).abs() < 1e-6);
        let [east, north] = to_true([0.0, 10.0], angle);
        assert!((east - 10.0).abs() < 1e-6 && north.abs() < 1e-6);
        let [east, north] = to_true([10.0, 0.0], angle);
        assert!(east.abs() < 1e-6 && (north + 10.0).abs() < 1e-6);
        assert!(map.y_direction(Position::new(90.0, 0.0).unwrap()).is_ok());
    }

    #[test]
    fn a_projection_that_is_none_is_refused() {
        assert!(projected("+proj=nonsense").map().is_err());
        let map = projected(POLAR);
        let map = map.map().unwrap();
        assert!(map.row_column(Position::new(-90.0, 0.0).unwrap()).is_err());
    }

    proptest! {
        // A projection takes PROJ some milliseconds to set up.
        #![proptest_config(ProptestConfig::with_cases(32))]

        #[test]
        fn there_and_back(row in 0.0..59.0, column in 0.0..99.0) {
            for definition in [CONE, POLAR] {
                let lattice = projected(definition);
                let map = lattice.map().unwrap();
                let place = map.position(row, column).unwrap();
                let [r, c] = map.row_column(place).unwrap();
                prop_assert!((r - row).abs() < 1e-6 && (c - column).abs() < 1e-6);
            }
            let lattice = degrees(axis(170.0, 0.25, 100), axis(-10.0, 0.25, 60));
            let map = lattice.map().unwrap();
            let [r, c] = map.row_column(map.position(row, column).unwrap()).unwrap();
            prop_assert!((r - row).abs() < 1e-9 && (c - column).abs() < 1e-9);
        }
    }
}
