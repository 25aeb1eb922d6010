//! Positions on the WGS84 ellipsoid, and the ways between them.
//!
//! The integrator works with the unit normal of the ellipsoid, a 3-vector that knows no pole and
//! no antimeridian; statistics work on the plane of a [`LocalFrame`]; people see degrees.

pub mod beside;
pub mod cell_map;
pub mod lattice;
pub mod reading;
pub mod rotated;
pub mod utm;
mod window;

use geo::{Bearing, Destination, Distance, Geodesic, Point};
use geographiclib_rs::{Geodesic as Wgs84, InverseGeodesic};
use serde::Serialize;

use crate::error::{Error, Result};

use beside::{Vectors, half_ways, whole_ways};

pub use crate::earth::{FLATTENING, SEMI_MAJOR_M};

/// A place on the ellipsoid, in degrees.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Position {
    /// Geodetic latitude, positive north, -90 to 90.
    pub lat_deg: f64,
    /// Longitude, positive east, -180 to 180.
    pub lon_deg: f64,
}

impl Position {
    /// A position, if the latitude is one and the longitude is between -180 and 360.
    pub fn new(lat_deg: f64, lon_deg: f64) -> Option<Self> {
        ((-90.0..=90.0).contains(&lat_deg) && (-180.0..=360.0).contains(&lon_deg)).then(|| {
            Position {
                lat_deg,
                lon_deg: wrap_longitude(lon_deg),
            }
        })
    }

    /// Degrees with the hemisphere, as people read them: `43.0200 N, 108.3500 W`.
    pub fn text(self) -> String {
        format!(
            "{:.4} {}, {:.4} {}",
            self.lat_deg.abs(),
            if self.lat_deg < 0.0 { 'S' } else { 'N' },
            self.lon_deg.abs(),
            if self.lon_deg < 0.0 { 'W' } else { 'E' }
        )
    }

    fn point(self) -> Point {
        Point::new(self.lon_deg, self.lat_deg)
    }

    /// Length of the geodesic to `other` in metres (Karney 2013, doi:10.1007/s00190-012-0578-z).
    ///
    /// # Examples
    ///
    /// ```
    /// use windfall::geodesy::Position;
    /// let a = Position::new(0.0, 0.0).unwrap();
    /// let b = Position::new(0.0, 1.0).unwrap();
    /// assert!((a.distance_m(b) - 111_319.490_793).abs() < 1e-6);
    /// ```
    pub fn distance_m(self, other: Position) -> f64 {
        Geodesic.distance(self.point(), other.point())
    }

    /// Azimuth at which the geodesic to `other` leaves, degrees clockwise from true north, 0 to 360.
    pub fn azimuth_deg(self, other: Position) -> f64 {
        Geodesic
            .bearing(self.point(), other.point())
            .rem_euclid(360.0)
    }

    /// Where the geodesic that leaves at `azimuth_deg` arrives after `distance_m`.
    #[must_use]
    pub fn destination(self, azimuth_deg: f64, distance_m: f64) -> Position {
        let end = Geodesic.destination(self.point(), azimuth_deg, distance_m);
        Position {
            lat_deg: end.y(),
            lon_deg: wrap_longitude(end.x()),
        }
    }

    /// Unit vectors to true east and true north along the meridian of this longitude, even
    /// exactly at a pole.
    pub fn east_north(self) -> [[f64; 3]; 2] {
        let (s, c) = self.lon_deg.to_radians().sin_cos();
        let [x, y, z] = self.normal().0;
        [[-s, c, 0.0], [-z * c, -z * s, x.hypot(y)]]
    }

    /// The unit normal of the ellipsoid here.
    pub fn normal(self) -> Normal {
        let (sin_lat, cos_lat) = self.lat_deg.to_radians().sin_cos();
        let (sin_lon, cos_lon) = self.lon_deg.to_radians().sin_cos();
        Normal([cos_lat * cos_lon, cos_lat * sin_lon, sin_lat])
    }
}

/// A longitude brought into -180 (exclusive) to 180 (inclusive) degrees.
pub fn wrap_longitude(lon_deg: f64) -> f64 {
    // Most are there already and stay the same to the last bit.
    if lon_deg > -180.0 && lon_deg <= 180.0 {
        return lon_deg;
    }
    // Counted down from 180, so that -180 becomes 180.
    180.0 - (180.0 - lon_deg).rem_euclid(360.0)
}

/// The unit normal of the ellipsoid at a place: earth-fixed x (0 N 0 E), y (0 N 90 E), z (pole).
///
/// Geodetic latitude is the angle of this vector above the equator, so it names a place as well
/// as latitude and longitude do, but without a singularity anywhere (Gade 2010, "A
/// Non-singular Horizontal Position Representation", J. Navigation 63, 395-417,
/// doi:10.1017/S0373463309990415; cited from memory).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Normal(pub [f64; 3]);

impl Normal {
    /// This place in degrees. At a pole the longitude is 0.
    pub fn position(self) -> Position {
        let [x, y, z] = self.0;
        Position {
            lat_deg: z.atan2(x.hypot(y)).to_degrees(),
            lon_deg: if x == 0.0 && y == 0.0 {
                0.0
            } else {
                wrap_longitude(y.atan2(x).to_degrees())
            },
        }
    }

    /// Unit vectors to true east and true north. At a pole, "east" is taken along 90 E.
    pub fn east_north(self) -> [[f64; 3]; 2] {
        let [x, y, z] = self.0;
        // Not hypot: components of a unit vector do not overflow.
        let cos_lat = (x * x + y * y).sqrt();
        // Nearer to a pole than this the direction of east is rounding.
        let (c, s) = if cos_lat > 1e-12 {
            let scale = 1.0 / cos_lat;
            (x * scale, y * scale)
        } else {
            (1.0, 0.0)
        };
        [[-s, c, 0.0], [-z * c, -z * s, cos_lat]]
    }

    /// The place that lies from `to` as this one lies from `from`: as far in the same true
    /// direction, but for the ellipsoid's curvature, which differs by at most 0.7 % over the earth
    /// and by 0.01 % over 100 km.
    #[must_use]
    pub fn carried(self, from: Position, to: Position) -> Normal {
        let [e, n] = from.east_north();
        let u = from.normal().0;
        let along = |axis: [f64; 3]| (0..3).map(|k| axis[k] * self.0[k]).sum::<f64>();
        let (east, north, up) = (along(e), along(n), along(u));
        let ([e, n], u) = (to.east_north(), to.normal().0);
        Normal([0, 1, 2].map(|k| east * e[k] + north * n[k] + up * u[k]))
    }
}

/// Which way "east" and "north" of a wind point, as the air carries the stack away.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Compass {
    /// True east and north at every place passed: what winds are reported in.
    True,
    /// East and north of one place, carried along without turning. Within a few degrees of a
    /// pole true north turns so fast along the way that only this keeps a wind's direction.
    Carried {
        /// The place.
        origin: Normal,
        /// Its east and north.
        axes: [[f64; 3]; 2],
    },
}

/// Poleward of this latitude winds keep the directions of the place they were measured at.
const CARRIED_FROM_LAT_DEG: f64 = 85.0;

impl Compass {
    /// The compass for winds measured at `place`.
    pub fn at(place: Position) -> Compass {
        if place.lat_deg.abs() < CARRIED_FROM_LAT_DEG {
            return Compass::True;
        }
        Compass::Carried {
            origin: place.normal(),
            axes: place.east_north(),
        }
    }

    /// The components towards this compass's east and north of a wind given towards true east and
    /// north at `place`.
    pub fn components(&self, place: Position, [east, north]: [f64; 2]) -> [f64; 2] {
        let Compass::Carried { origin, axes } = self else {
            return [east, north];
        };
        let here = place.normal();
        let [e, n] = place.east_north();
        axes.map(|axis| {
            let axis = carried(axis, *origin, here);
            (0..3).map(|i| axis[i] * (east * e[i] + north * n[i])).sum()
        })
    }
}

/// A tangent vector at `from`, turned along the great circle to `to`.
fn carried(v: [f64; 3], from: Normal, to: Normal) -> [f64; 3] {
    let dot = |a: [f64; 3], b: [f64; 3]| a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
    let scale = dot(to.0, v) / (1.0 + dot(from.0, to.0));
    std::array::from_fn(|i| v[i] - scale * (from.0[i] + to.0[i]))
}

/// The place reached from `start` in `seconds` in a wind that may depend on the place: one step
/// of the explicit midpoint method on the ellipsoid, of second order.
///
/// `wind` gives the components towards the compass's east and north, m/s.
pub fn advance(
    start: Normal,
    compass: &Compass,
    altitude_m: f64,
    seconds: f64,
    wind: impl Fn(Normal) -> [f64; 2],
) -> Normal {
    let middle = half_way(start, compass, altitude_m, wind(start).map(|w| w * seconds));
    let drift = wind(middle).map(|w| w * seconds);
    whole_way(start, middle, compass, altitude_m, drift)
}

/// The first half of [`advance`]: the middle of a leg that drifts `[east_m, north_m]` as seen from
/// its `start`.
#[inline]
pub fn half_way(start: Normal, compass: &Compass, altitude_m: f64, drift_m: [f64; 2]) -> Normal {
    let start = Vectors::<1>::of(|_| start);
    half_ways(&start, compass, &[altitude_m], &drift_m.map(|m| [m])).one(0)
}

/// The second half of [`advance`]: the end of a leg that drifts `[east_m, north_m]` as felt in its
/// `middle`.
#[inline]
pub fn whole_way(
    start: Normal,
    middle: Normal,
    compass: &Compass,
    altitude_m: f64,
    drift_m: [f64; 2],
) -> Normal {
    let [start, middle] = [start, middle].map(|place| Vectors::<1>::of(|_| place));
    let drift_m = drift_m.map(|m| [m]);
    whole_ways(&start, &middle, compass, &[altitude_m], &drift_m).one(0)
}

/// The place reached from `start` by drifting `east_m` and `north_m` at `altitude_m`.
///
/// One step of [`advance`]; for legs of tens of kilometres the error is centimetres.
pub fn drift(
    start: Normal,
    compass: &Compass,
    east_m: f64,
    north_m: f64,
    altitude_m: f64,
) -> Normal {
    advance(start, compass, altitude_m, 1.0, |_| [east_m, north_m])
}

/// A plane in metres around a centre: azimuthal equidistant on WGS84, x east and y north.
///
/// Distances and directions from the centre are true: they are those of the geodesic (Karney 2013).
#[derive(Debug, Clone, Copy)]
pub struct LocalFrame {
    center: Position,
}

/// Half a meridian, m: geodesics are the shortest way no farther than about this.
const HALF_ROUND_M: f64 = 20_003_931.0;

impl LocalFrame {
    /// The plane around `center`.
    pub fn new(center: Position) -> LocalFrame {
        LocalFrame { center }
    }

    /// The centre.
    pub fn center(&self) -> Position {
        self.center
    }

    /// East and north of the centre, in metres.
    pub fn to_plane(&self, place: Position) -> [f64; 2] {
        let from = self.center;
        let (distance_m, azimuth_deg, _, _): (f64, f64, f64, f64) =
            // One solution gives distance and azimuth, for which `geo` would be asked twice.
            Wgs84::wgs84().inverse(from.lat_deg, from.lon_deg, place.lat_deg, place.lon_deg);
        let (sin, cos) = azimuth_deg.to_radians().sin_cos();
        // At the centre itself 0, and not -0.
        [distance_m * sin, distance_m * cos].map(|m| m + 0.0)
    }

    /// The place at `[east_m, north_m]` of the centre.
    ///
    /// # Errors
    ///
    /// When the point is farther away than the other side of the earth.
    pub fn to_position(&self, [east_m, north_m]: [f64; 2]) -> Result<Position> {
        let distance_m = east_m.hypot(north_m);
        // The comparison alone would let not-a-number through.
        if distance_m.is_nan() || distance_m > HALF_ROUND_M {
            return Err(Error::CannotDo {
                why: format!(
                    "{east_m} m, {north_m} m is not in the plane around {:.4}, {:.4}",
                    self.center.lat_deg, self.center.lon_deg
                ),
                remedy: "expected a place less than half way round the earth".into(),
            });
        }
        let azimuth_deg = east_m.atan2(north_m).to_degrees();
        Ok(self.center.destination(azimuth_deg, distance_m))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::earth::ECCENTRICITY_2;

    #[test]
    fn a_place_is_carried_with_its_distance_and_direction() {
        let place = |lat, lon| Position::new(lat, lon).unwrap();
        let (from, to) = (place(39.75, -8.85), place(40.3, -7.9));
        for (azimuth, distance_m) in [(75.0, 1_000.0), (200.0, 60_000.0), (350.0, 150_000.0)] {
            let there = from.destination(azimuth, distance_m);
            let carried = there.normal().carried(from, to).position();
            let (a, d) = (to.azimuth_deg(carried), to.distance_m(carried));
            assert!(
                (a - azimuth).abs() < 0.02 && (d / distance_m - 1.0).abs() < 2e-4,
                "{a} {d}"
            );
        }
        let here = place(10.0, 179.9).normal();
        let same = here.carried(from, from);
        assert!((0..3).all(|k| (same.0[k] - here.0[k]).abs() < 1e-15));
    }

    fn at(lat: f64, lon: f64) -> Position {
        Position::new(lat, lon).unwrap()
    }

    #[test]
    fn positions_are_checked_and_wrapped() {
        assert!(Position::new(91.0, 0.0).is_none());
        assert!(Position::new(f64::NAN, 0.0).is_none());
        assert_eq!(at(-0.5, -108.25).text(), "0.5000 S, 108.2500 W");
        assert_eq!(at(10.0, 350.0).lon_deg, -10.0);
        assert_eq!(wrap_longitude(-180.0), 180.0);
        assert_eq!(wrap_longitude(540.0), 180.0);
        assert_eq!(wrap_longitude(-190.0), 170.0);
    }

    #[test]
    fn normal_and_back() {
        for (lat, lon) in [
            (0.0, 0.0),
            (52.0, -8.8),
            (-89.999, 179.999),
            (89.99999, -20.0),
        ] {
            let back = at(lat, lon).normal().position();
            assert!((back.lat_deg - lat).abs() < 1e-9 && (back.lon_deg - lon).abs() < 1e-6);
        }
    }

    #[test]
    fn a_short_drift_follows_the_geodesic() {
        // North-east legs on the ground against Karney's direct solution.
        for lat in [0.0, 39.42, -60.0, 84.0] {
            let start = at(lat, 178.9);
            let end = drift(start.normal(), &Compass::at(start), 0.0, 10_000.0, 0.0).position();
            assert!(
                end.distance_m(start.destination(0.0, 10_000.0)) < 0.01,
                "{lat}"
            );
            let end = drift(start.normal(), &Compass::at(start), 100.0, 0.0, 0.0).position();
            assert!(
                end.distance_m(start.destination(90.0, 100.0)) < 0.02,
                "{lat}"
            );
        }
    }

    #[test]
    fn a_drift_across_the_pole_keeps_its_direction() {
        let start = at(89.99, 30.0);
        let compass = Compass::at(start);
        let mut n = start.normal();
        for _ in 0..20 {
            n = drift(n, &compass, 0.0, 1000.0, 0.0);
        }
        let end = n.position();
        let straight = start.destination(0.0, 20_000.0);
        assert!(end.distance_m(straight) < 0.1, "{end:?} {straight:?}");
    }

    #[test]
    fn height_shortens_the_way_over_the_ground() {
        let start = at(45.0, 7.0);
        let low = drift(start.normal(), &Compass::True, 5000.0, 0.0, 0.0).position();
        let high = drift(start.normal(), &Compass::True, 5000.0, 0.0, 30_000.0).position();
        let ratio = start.distance_m(low) / start.distance_m(high);
        let n = SEMI_MAJOR_M / (1.0 - ECCENTRICITY_2 * 0.5).sqrt();
        assert!((ratio - (n + 30_000.0) / n).abs() < 1e-8);
    }

    #[test]
    fn the_local_frame_is_true_from_its_centre() {
        for center in [at(39.42, -8.83), at(90.0, 0.0), at(-16.5, 180.0)] {
            let frame = LocalFrame::new(center);
            for azimuth in [0.0, 77.0, 190.0] {
                let there = center.destination(azimuth, 40_000.0);
                let [x, y] = frame.to_plane(there);
                assert!((x.hypot(y) - 40_000.0).abs() < 1e-3);
                if center.lat_deg < 89.0 {
                    assert!((x.atan2(y).to_degrees().rem_euclid(360.0) - azimuth).abs() < 1e-7);
                }
                let back = frame.to_position([x, y]).unwrap();
                assert!(back.distance_m(there) < 1e-3);
            }
        }
    }
}
