//! The nearest of many places anywhere on the earth.

use rstar::primitives::GeomWithData;
use rstar::{PointDistance, RTree};

use crate::geodesy::Position;

/// A place found, with the way to it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Near<T> {
    /// What was found.
    pub what: T,
    /// Length of the geodesic, m.
    pub distance_m: f64,
    /// The direction of what was found, seen from the place asked for, degrees clockwise from true
    /// north.
    pub azimuth_deg: f64,
}

impl<T> Near<T> {
    /// The same way, to what is told of what was found.
    pub fn of<U>(&self, what: U) -> Near<U> {
        Near {
            what,
            distance_m: self.distance_m,
            azimuth_deg: self.azimuth_deg,
        }
    }
}

/// Places by the unit normals of the ellipsoid: no pole, no antimeridian.
#[derive(Debug, Clone, Default)]
pub(super) struct Globe {
    tree: RTree<GeomWithData<[f64; 3], u32>>,
}

/// Between normals at the same chord, geodesics differ by 0.7 % at most (the flattening, twice).
pub(super) const SLACK: f64 = 1.007;

impl Globe {
    /// Of places and their numbers.
    pub fn new(places: impl Iterator<Item = (Position, u32)>) -> Globe {
        let points = places
            .map(|(at, i)| GeomWithData::new(at.normal().0, i))
            .collect();
        Globe {
            tree: RTree::bulk_load(points),
        }
    }

    /// The numbers of the `count` nearest places, the nearest first, `at` giving where they are.
    pub fn nearest(
        &self,
        from: Position,
        count: usize,
        at: impl Fn(u32) -> Position,
    ) -> Vec<Near<u32>> {
        let center = from.normal().0;
        let mut found: Vec<Near<u32>> = Vec::new();
        let mut enough = f64::INFINITY;
        for (i, point) in self.tree.nearest_neighbor_iter(center).enumerate() {
            let chord = point.distance_2(&center).sqrt();
            if chord > enough {
                break;
            }
            // In order of chords is not quite in order of geodesics: some beyond the last may be
            // nearer.
            if i + 1 == count {
                enough = chord * SLACK;
            }
            let there = at(point.data);
            found.push(Near {
                what: point.data,
                distance_m: from.distance_m(there),
                azimuth_deg: from.azimuth_deg(there),
            });
        }
        found.sort_by(|a, b| a.distance_m.total_cmp(&b.distance_m));
        found.truncate(count);
        found
    }
}
