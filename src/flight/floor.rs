//! What ends the way down.

use super::model::Moment;
use crate::ground::terrain::Terrain;
use crate::ground::touchdown::{Fix, touchdown};

/// The ground below one flight.
#[derive(Debug, Clone, Copy)]
pub(super) struct Floor<'a> {
    terrain: Option<&'a Terrain>,
    /// No ground lies above this, m above mean sea level.
    highest_m: f64,
    /// Altitude of the release: where the terrain has no height, flights come down there.
    release_m: f64,
}

/// Layer boundaries are met to this, m.
const NEAR_M: f64 = 1e-6;

impl<'a> Floor<'a> {
    /// Terrain, or flat ground at the altitude of the release.
    pub fn new(terrain: Option<&'a Terrain>, release_m: f64) -> Floor<'a> {
        let highest_m = terrain.and_then(Terrain::highest_m);
        Floor {
            terrain: terrain.filter(|_| highest_m.is_some()),
            // Terrain may have holes, where flights come down at the release's altitude: up to
            // there it is looked.
            highest_m: highest_m.map_or(release_m, |m| m.max(release_m)),
            release_m,
        }
    }

    /// Whether ground may be met before the end of a way that ends at an altitude.
    pub fn is_near(&self, altitude_m: f64) -> bool {
        altitude_m < self.highest_m - NEAR_M
    }

    /// Where a falling leg, straight from one moment to the next and ending at a boundary of
    /// layers, meets the ground.
    pub fn met(&self, from: Moment, to: Moment) -> Option<Moment> {
        if to.altitude_m > self.highest_m + NEAR_M {
            return None;
        }
        let at_release = to.altitude_m <= self.release_m + NEAR_M;
        let Some(terrain) = self.terrain else {
            return at_release.then_some(to);
        };
        let fix = |m: Moment| Fix {
            place: m.place,
            altitude_m: m.altitude_m,
        };
        if let Some(down) = touchdown(terrain, &[fix(from), fix(to)]) {
            return Some(Moment {
                time_s: from.time_s + down.after * (to.time_s - from.time_s),
                altitude_m: down.fix.altitude_m,
                place: down.fix.place,
            });
        }
        (at_release && terrain.height_at(to.place).is_none()).then_some(to)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geodesy::Position;
    use crate::geodesy::lattice::{Axis, Lattice, Plane};
    use crate::ground::terrain::{Heights, Raster};

    fn moment(lon: f64, time_s: f64, altitude_m: f64) -> Moment {
        Moment {
            time_s,
            altitude_m,
            place: Position::new(0.0, lon).unwrap().normal(),
        }
    }

    /// Heights of 300 m from 10 to 10.01 degrees east.
    fn plateau() -> Terrain {
        let axis = |first| Axis {
            first,
            step: 0.005,
            count: 3,
        };
        let lattice = Lattice {
            plane: Plane::LatLon,
            x: axis(10.0),
            y: axis(-0.005),
        };
        let heights = Heights::Whole(vec![300; 9]);
        Terrain::of(vec![Raster::new("t".into(), &lattice, heights).unwrap()])
    }

    #[test]
    fn without_terrain_flights_end_at_the_altitude_of_the_release() {
        let floor = Floor::new(None, 500.0);
        let (a, b) = (moment(0.0, 0.0, 750.0), moment(0.01, 60.0, 500.0));
        assert_eq!(floor.met(a, b), Some(b));
        assert_eq!(floor.met(moment(0.0, 0.0, 1_000.0), a), None);
        assert!(floor.is_near(499.0) && !floor.is_near(500.0));
    }

    #[test]
    fn terrain_is_met_above_or_below_the_release() {
        let ground = plateau();
        for release_m in [0.0, 1_000.0] {
            let floor = Floor::new(Some(&ground), release_m);
            let (a, b) = (moment(10.004, 10.0, 350.0), moment(10.006, 60.0, 100.0));
            let down = floor.met(a, b).unwrap();
            assert!((down.altitude_m - 300.0).abs() < 0.11, "{down:?}");
            assert!((down.time_s - 20.0).abs() < 0.1, "{down:?}");
        }
        // Beyond the heights that are known the altitude of the release counts.
        let floor = Floor::new(Some(&ground), 250.0);
        let (a, b) = (moment(20.0, 0.0, 500.0), moment(20.0, 50.0, 250.0));
        assert_eq!(floor.met(a, b), Some(b));
        let below = Floor::new(Some(&ground), 250.0).met(b, moment(20.0, 99.0, 0.0));
        assert_eq!(below, Some(moment(20.0, 99.0, 0.0)));
    }
}
