//! Grids of latitudes and longitudes counted from another pole than the earth's.

use super::lattice::{Axis, Lattice, Plane};
use crate::earth::MEAN_RADIUS_M;

/// The north pole of a rotated system.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RotatedPole {
    /// Its true latitude, degrees.
    pub lat_deg: f64,
    /// Its true longitude, degrees.
    pub lon_deg: f64,
    /// The longitude that the true north pole has in the rotated system, degrees; 0 in most.
    pub lon_in_grid_deg: f64,
}

/// What the definition of a rotated system begins with.
const TURNED: &str = "+proj=ob_tran";

/// The lattice of equally spaced degrees of a rotated system, `x` longitudes and `y` latitudes: on
/// the plane on which these degrees are metres (equidistant cylindrical, on a sphere).
///
/// The system is rotated as on a sphere, whatever the earth's shape; so is the forecast's.
pub fn rotated(x: Axis, y: Axis, pole: RotatedPole) -> Lattice {
    // Longitudes count from the grid's middle, so that the map's edge is far from the grid.
    let middle = x.value(0) + 0.5 * x.step * x.count.saturating_sub(1) as f64;
    let definition = format!(
        "{TURNED} +o_proj=eqc +o_lat_p={} +o_lon_p={} +lon_0={} +R={MEAN_RADIUS_M} +units=m \
         +no_defs",
        pole.lat_deg,
        pole.lon_in_grid_deg - middle,
        super::wrap_longitude(pole.lon_deg + 180.0),
    );
    let metres = |axis: Axis, zero: f64| Axis {
        first: MEAN_RADIUS_M * (axis.first - zero).to_radians(),
        step: MEAN_RADIUS_M * axis.step.to_radians(),
        count: axis.count,
    };
    Lattice {
        plane: Plane::Projected(definition),
        x: metres(x, middle),
        y: metres(y, 0.0),
    }
}

/// How much longer a metre along x is on a plane than one along y, at `y`: 1 on maps that keep angles,
/// which are all but those of rotated degrees.
pub(super) fn widened(plane: &Plane, y: f64) -> f64 {
    match plane {
        Plane::Projected(definition) if definition.starts_with(TURNED) => {
            1.0 / (y / MEAN_RADIUS_M).cos()
        }
        _ => 1.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geodesy::Position;

    /// The closed form of the rotation (COSMO documentation, part I, section 3.3, from memory): here
    /// written out as a turn of the unit vector.
    fn true_place(lon_r: f64, lat_r: f64, pole: RotatedPole) -> (f64, f64) {
        let (lon, lat) = (
            (lon_r - pole.lon_in_grid_deg).to_radians(),
            lat_r.to_radians(),
        );
        let [x, y, z] = [lat.cos() * lon.cos(), lat.cos() * lon.sin(), lat.sin()];
        // Tilted about y by the pole's colatitude, then about z: the grid's origin lies on the
        // meridian opposite to the pole's.
        let (s, c) = pole.lat_deg.to_radians().sin_cos();
        let [x, z] = [x * s - z * c, x * c + z * s];
        let lon = y.atan2(x).to_degrees() + pole.lon_deg + 180.0;
        (crate::geodesy::wrap_longitude(lon), z.asin().to_degrees())
    }

    #[test]
    fn points_are_those_of_the_closed_form() {
        let axis = |first, step, count| Axis { first, step, count };
        for (pole, first) in [
            ([39.25, -162.0, 0.0], -28.0),
            ([37.5, 177.5, 0.0], -33.78),
            ([-35.0, 20.0, 0.0], 100.0),
            ([60.0, 10.0, 30.0], 170.0),
        ] {
            let [lat_deg, lon_deg, lon_in_grid_deg] = pole;
            let pole = RotatedPole {
                lat_deg,
                lon_deg,
                lon_in_grid_deg,
            };
            let (x, y) = (axis(first, 0.5, 90), axis(-20.0, 0.5, 80));
            let lattice = rotated(x, y, pole);
            let map = lattice.map().unwrap();
            for (row, column) in [(0, 0), (79, 0), (10, 45), (40, 89), (79, 89)] {
                let (lon, lat) = true_place(x.value(column), y.value(row), pole);
                let found = map.position(row as f64, column as f64).unwrap();
                let wanted = Position::new(lat, lon).unwrap();
                let off: f64 = (0..3)
                    .map(|i| (found.normal().0[i] - wanted.normal().0[i]).powi(2))
                    .sum();
                assert!(off.sqrt() < 1e-9, "{pole:?} {found:?} {wanted:?}");
                let [r, c] = map.row_column(wanted).unwrap();
                assert!((r - row as f64).abs() < 1e-6 && (c - column as f64).abs() < 1e-6);
            }
        }
    }
}
