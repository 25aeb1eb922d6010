//! From a place to row and column of a lattice, fast enough for every leg of every flight.

use ndarray::Array2;
use proj::Proj;

use super::beside::Vectors;
use super::lattice::{Axis, Lattice, Plane};
use super::{Normal, Position};
use crate::earth::MEAN_RADIUS_M;
use crate::error::{Error, Result};
use crate::numeric::each;

/// Where a place lies among the rows and columns of a lattice.
#[derive(Debug, Clone)]
pub enum CellMap {
    /// Rows and columns are latitudes and longitudes.
    LatLon {
        /// Longitudes of the columns, degrees.
        x: Axis,
        /// Latitudes of the rows, degrees.
        y: Axis,
        /// Latitude and longitude of the centre.
        near: [Bearing; 2],
    },
    /// Rows and columns tabulated over a plane: PROJ is too slow for the hot loop.
    Mesh(Box<Mesh>),
}

/// Row and column on a square mesh of the gnomonic plane around a centre. The map is smooth: with
/// a second derivative below 1.5e-5 per km up to 500 km from the centre, linear interpolation over
/// cells of 10 km is off by 0.2 m.
#[derive(Debug, Clone)]
pub struct Mesh {
    center: Normal,
    axes: [[f64; 3]; 2],
    /// Coordinate of the first node, in earth radii.
    first: f64,
    /// From node to node, in earth radii.
    step: f64,
    /// Row and column; not-a-number where PROJ refused.
    nodes: Array2<[f64; 2]>,
}

/// A direction in a plane, from which those near it are told by a short series: `atan2` was an eighth of a
/// flight's time.
#[derive(Debug, Clone, Copy)]
pub struct Bearing {
    deg: f64,
    sin: f64,
    cos: f64,
}

impl Bearing {
    fn of(deg: f64) -> Bearing {
        let (sin, cos) = deg.to_radians().sin_cos();
        Bearing { deg, sin, cos }
    }

    /// The directions of points, degrees; to 1e-13.
    #[inline(always)]
    fn of_points<const N: usize>(self, x: &[f64; N], y: &[f64; N]) -> [f64; N] {
        let ahead: [f64; N] = each(|i| x[i] * self.cos + y[i] * self.sin);
        let t: [f64; N] = each(|i| (y[i] * self.cos - x[i] * self.sin) / ahead[i]);
        let mut deg: [f64; N] = each(|i| self.deg + arc_tangent(t[i]).to_degrees());
        for (i, deg) in deg.iter_mut().enumerate() {
            let near = ahead[i] > 0.0 && t[i].abs() < 0.1;
            if !near {
                *deg = y[i].atan2(x[i]).to_degrees();
            }
        }
        deg
    }
}

/// The series of the arc tangent to the thirteenth power: below 0.1 off by 7e-17.
#[inline]
fn arc_tangent(t: f64) -> f64 {
    let q = t * t;
    // In pairs, which do not wait for each other.
    let low = -1.0 / 3.0 + q / 5.0;
    let middle = -1.0 / 7.0 + q / 9.0;
    let high = -1.0 / 11.0 + q / 13.0;
    let q2 = q * q;
    t + t * q * (low + q2 * (middle + q2 * high))
}

/// Spacing of the mesh, m, unless that made too many nodes.
const SPACING_M: f64 = 10_000.0;
/// Most nodes along a side.
const MOST_NODES: f64 = 200.0;

impl CellMap {
    /// The map of a lattice, tabulated as far around `center` as the lattice reaches.
    ///
    /// # Errors
    ///
    /// When PROJ refuses the lattice's projection.
    pub fn new(lattice: &Lattice, center: Position) -> Result<CellMap> {
        let Plane::Projected(definition) = &lattice.plane else {
            return Ok(CellMap::LatLon {
                x: lattice.x,
                y: lattice.y,
                near: [center.lat_deg, center.lon_deg].map(Bearing::of),
            });
        };
        let proj = Proj::new(definition).map_err(|cause| Error::CannotDo {
            why: format!("PROJ refused the projection \"{definition}\": {cause}"),
            remedy: "expected a forecast on a projection that PROJ knows".into(),
        })?;
        let cell = |place: Position| -> [f64; 2] {
            let radians = (place.lon_deg.to_radians(), place.lat_deg.to_radians());
            match proj.project(radians, false) {
                Ok((x, y)) => [
                    (y - lattice.y.first) / lattice.y.step,
                    (x - lattice.x.first) / lattice.x.step,
                ],
                Err(_) => [f64::NAN; 2],
            }
        };
        // The diagonal, as the centre may be in a corner.
        let across = (lattice.x.step * lattice.x.count as f64)
            .hypot(lattice.y.step * lattice.y.count as f64);
        let spacing = SPACING_M.max(2.0 * across / MOST_NODES);
        Ok(CellMap::Mesh(Box::new(Mesh::new(
            center, across, spacing, cell,
        ))))
    }

    /// Row and column of a place, counted from the first ones; not-a-number where there is none.
    pub fn locate(&self, place: Normal) -> (f64, f64) {
        let [[row], [column]] = self.locate_all(&Vectors::<1>::of(|_| place));
        (row, column)
    }

    /// Rows and columns of several places.
    #[inline(always)]
    pub fn locate_all<const N: usize>(&self, places: &Vectors<N>) -> [[f64; N]; 2] {
        match self {
            CellMap::LatLon { x, y, near } => {
                // As Normal::position, without its care for what cannot happen in the hot loop.
                let [a, b, c] = &places.0;
                let level: [f64; N] = each(|i| (a[i] * a[i] + b[i] * b[i]).sqrt());
                let lat_deg = near[0].of_points(&level, c);
                let lon_deg = near[1].of_points(a, b);
                let mut east: [f64; N] = each(|i| lon_deg[i] - x.first);
                for east in &mut east {
                    // East of the first column, whatever side of 180 degrees the place is; a hair
                    // west of it is there, not at the far end.
                    while *east < -1e-9 {
                        *east += 360.0;
                    }
                    while *east >= 360.0 - 1e-9 {
                        *east -= 360.0;
                    }
                }
                [
                    each(|i| (lat_deg[i] - y.first) / y.step),
                    each(|i| east[i].max(0.0) / x.step),
                ]
            }
            CellMap::Mesh(mesh) => {
                let located: [(f64, f64); N] = std::array::from_fn(|i| mesh.locate(places.one(i)));
                [
                    located.map(|(row, _)| row),
                    located.map(|(_, column)| column),
                ]
            }
        }
    }
}

impl Mesh {
    fn new(
        center: Position,
        reach_m: f64,
        spacing_m: f64,
        cell: impl Fn(Position) -> [f64; 2],
    ) -> Mesh {
        let (center, axes) = (center.normal(), center.normal().east_north());
        let half = (reach_m / spacing_m).ceil().max(1.0) as usize;
        let (step, side) = (spacing_m / MEAN_RADIUS_M, 2 * half + 1);
        let first = -(half as f64) * step;
        let nodes = Array2::from_shape_fn((side, side), |(j, i)| {
            let (x, y) = (first + step * i as f64, first + step * j as f64);
            let n: [f64; 3] =
                std::array::from_fn(|k| center.0[k] + x * axes[0][k] + y * axes[1][k]);
            let length = n.iter().map(|v| v * v).sum::<f64>().sqrt();
            cell(Normal(n.map(|v| v / length)).position())
        });
        Mesh {
            center,
            axes,
            first,
            step,
            nodes,
        }
    }

    fn locate(&self, place: Normal) -> (f64, f64) {
        let dot = |a: &[f64; 3]| a[0] * place.0[0] + a[1] * place.0[1] + a[2] * place.0[2];
        let scale = 1.0 / dot(&self.center.0);
        let at = |axis: &[f64; 3]| (dot(axis) * scale - self.first) / self.step;
        let (x, y) = (at(&self.axes[0]), at(&self.axes[1]));
        let last = (self.nodes.nrows() - 1) as f64;
        // Asked this way round, so that not-a-number is outside, too.
        if !(scale > 0.0 && x >= 0.0 && x < last && y >= 0.0 && y < last) {
            return (f64::NAN, f64::NAN);
        }
        let (i, j) = (x as usize, y as usize);
        let (fx, fy) = (x - i as f64, y - j as f64);
        let [row, column] = [0, 1].map(|k| {
            let along = |j: usize| {
                let (a, b) = (self.nodes[[j, i]][k], self.nodes[[j, i + 1]][k]);
                a + fx * (b - a)
            };
            let (low, high) = (along(j), along(j + 1));
            low + fy * (high - low)
        });
        (row, column)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn directions_near_and_far_are_those_of_atan2() {
        for reference in [-179.9, -90.0, -8.3, 0.0, 43.0, 180.0] {
            for turned in [0.0, 1e-9, 0.3, -2.0, 5.7, 5.8, -40.0, 179.0] {
                let angle = f64::to_radians(reference + turned);
                let (y, x) = angle.sin_cos();
                let found = Bearing::of(reference).of_points(&[0.7 * x], &[0.7 * y])[0];
                let off = (found - y.atan2(x).to_degrees() + 180.0).rem_euclid(360.0) - 180.0;
                assert!(off.abs() < 1e-13, "{reference} {turned} {off}");
            }
        }
        assert_eq!(Bearing::of(90.0).of_points(&[0.0], &[0.0]), [0.0]);
    }

    #[test]
    fn a_projected_lattice_is_located_within_metres() {
        let definition = "+proj=lcc +lat_1=25 +lat_2=25 +lat_0=25 +lon_0=-95 +R=6371229 +units=m";
        let axis = |first, step, count| Axis { first, step, count };
        let lattice = Lattice {
            plane: Plane::Projected(definition.into()),
            x: axis(-300_000.0, 20_000.0, 31),
            y: axis(1_500_000.0, 20_000.0, 31),
        };
        let proj = Proj::new(definition).unwrap();
        let center = Position::new(40.0, -95.0).unwrap();
        let map = CellMap::new(&lattice, center).unwrap();
        let mut checked = 0;
        for k in 0..50 {
            let (lat, lon) = (38.0 + 0.08 * f64::from(k), -97.5 + 0.1 * f64::from(k));
            let place = Position::new(lat, lon).unwrap();
            let (x, y) = proj
                .project((lon.to_radians(), lat.to_radians()), false)
                .unwrap();
            let (row, column) = map.locate(place.normal());
            let off_m = (20_000.0 * column - 300_000.0 - x).hypot(20_000.0 * row + 1_500_000.0 - y);
            assert!(off_m < 2.0, "{off_m}");
            checked += 1;
        }
        assert_eq!(checked, 50);
        let far = Position::new(-40.0, 90.0).unwrap().normal();
        assert!(map.locate(far).0.is_nan());
    }
}
