//! The nearest of many edges on a plane.

use rstar::primitives::{GeomWithData, Line as Edge};
use rstar::{AABB, PointDistance, RTree};

use super::region::Region;
use crate::earth::DEGREE_M;
use crate::numeric::between;

/// Edges longer than this, m, are divided: a line straight in degrees is not straight on the
/// plane, and is off it by d^2 tan(latitude) / (8 R), 0.5 m for this at 45 degrees.
const LONGEST_M: f64 = 5_000.0;
/// The most parts of one edge.
const MOST_PARTS: f64 = 10_000.0;

/// Edges on a plane, each with the number of what it belongs to.
#[derive(Debug, Clone, Default)]
pub(super) struct Lines {
    tree: RTree<GeomWithData<Edge<[f64; 2]>, u32>>,
}

impl Lines {
    /// Of edges and their numbers.
    pub fn new(edges: Vec<([f64; 2], [f64; 2], u32)>) -> Lines {
        let edges = edges
            .into_iter()
            .map(|(a, b, number)| GeomWithData::new(Edge::new(a, b), number))
            .collect();
        Lines {
            tree: RTree::bulk_load(edges),
        }
    }

    /// The distance to the nearest edge, m, and its number.
    pub fn nearest(&self, point: [f64; 2]) -> Option<(f64, u32)> {
        let edge = self.tree.nearest_neighbor(point)?;
        Some((edge.distance_2(&point).sqrt(), edge.data))
    }

    /// The nearest point of an edge whose number counts; slow where these are few and far.
    pub fn foot(&self, point: [f64; 2], counts: impl Fn(u32) -> bool) -> Option<[f64; 2]> {
        let mut edges = self.tree.nearest_neighbor_iter(point);
        let edge = edges.find(|edge| counts(edge.data))?;
        Some(edge.geom().nearest_point(&point))
    }

    /// The distance to the nearest edge whose number counts, m; slow where these are few and far.
    pub fn nearest_of(&self, point: [f64; 2], counts: impl Fn(u32) -> bool) -> Option<f64> {
        let mut edges = self.tree.nearest_neighbor_iter(point);
        let edge = edges.find(|edge| counts(edge.data))?;
        Some(edge.distance_2(&point).sqrt())
    }

    /// Whether an edge whose number counts is within a distance, m; fast where none is near.
    pub fn within(&self, point: [f64; 2], distance_m: f64, counts: impl Fn(u32) -> bool) -> bool {
        self.tree
            .locate_within_distance(point, distance_m * distance_m)
            .any(|edge| counts(edge.data))
    }

    /// Whether an edge crosses the straight line between two points.
    pub fn cross(&self, a: [f64; 2], b: [f64; 2]) -> bool {
        self.tree
            .locate_in_envelope_intersecting(AABB::from_corners(a, b))
            .any(|edge| meet([edge.geom().from, edge.geom().to], [a, b]))
    }

    /// The number of each edge that a line from a point to the east meets, as far as an x.
    pub fn met_eastward(&self, [x, y]: [f64; 2], east: f64) -> impl Iterator<Item = u32> + '_ {
        let line = AABB::from_corners([x, y], [east, y]);
        let near = self.tree.locate_in_envelope_intersecting(line);
        near.filter(move |edge| {
            let [a, b] = [edge.geom().from, edge.geom().to];
            // An end on the line counts with what lies above it.
            (a[1] > y) != (b[1] > y) && x < a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0])
        })
        .map(|edge| edge.data)
    }

    /// How many edges.
    #[cfg(test)]
    pub fn len(&self) -> usize {
        self.tree.size()
    }
}

/// Whether two straight lines meet whose ends lie on both sides of each other, or on it.
fn meet([a, b]: [[f64; 2]; 2], [c, d]: [[f64; 2]; 2]) -> bool {
    let side = |p: [f64; 2], q: [f64; 2], r: [f64; 2]| {
        (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])
    };
    side(c, d, a) * side(c, d, b) <= 0.0 && side(a, b, c) * side(a, b, d) <= 0.0
}

/// Far from the region a part of an edge may be as long as this share of the way there: it is off its line by
/// less than would bring it into the region.
const FAR_SHARE: f64 = 0.25;

/// The points on the plane of a line of longitudes and latitudes, dense enough to follow it.
pub(super) fn on_plane(region: &Region, points: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let mut out: Vec<[f64; 2]> = Vec::with_capacity(points.len());
    let mut before: Option<([f64; 2], [f64; 2])> = None;
    for &here in points {
        let there = region.project(here);
        if let Some((from, start)) = before {
            let edge = LongEdge::new(region, [from, here], [start, there]);
            edge.follow([0, edge.parts], [start, there], &mut out);
        }
        out.push(there);
        before = Some((here, there));
    }
    out
}

/// An edge that is straight in degrees, in parts short enough for the plane.
struct LongEdge<'a> {
    region: &'a Region,
    /// Its ends, degrees.
    ends: [[f64; 2]; 2],
    parts: usize,
    /// Length of each part, m: at least as long as it is.
    part_m: f64,
}

impl LongEdge<'_> {
    fn new<'a>(region: &'a Region, ends: [[f64; 2]; 2], places: [[f64; 2]; 2]) -> LongEdge<'a> {
        // Degrees, not the plane: there a box round half the earth may look short.
        let degrees = apart(ends);
        let length_m = match degrees > 1.0 {
            true => apart(places).max(degrees * DEGREE_M),
            false => apart(places),
        };
        // The most parts reach once round the earth, so only damaged files have longer edges.
        let parts = (length_m / LONGEST_M).ceil().clamp(1.0, MOST_PARTS);
        LongEdge {
            region,
            ends,
            parts: parts as usize,
            part_m: length_m / parts,
        }
    }

    /// Adds the ends of the parts between two of them, whose places are given: all near the region, few far
    /// from it, or long edges of a small file would fill the memory.
    fn follow(&self, [first, last]: [usize; 2], places: [[f64; 2]; 2], out: &mut Vec<[f64; 2]>) {
        if last - first < 2 {
            return;
        }
        let length_m = apart(places).max(self.part_m * (last - first) as f64);
        let farther_m = places
            .map(|p| p[0].hypot(p[1]))
            .into_iter()
            .fold(0.0, f64::max);
        // Negative where it may reach into the region.
        let away_m = farther_m - length_m - self.region.reach_m;
        if length_m <= FAR_SHARE * away_m {
            return;
        }
        let middle = first.midpoint(last);
        let [from, to] = self.ends;
        let share = middle as f64 / self.parts as f64;
        let there = self.region.project(between(from, to, share));
        self.follow([first, middle], [places[0], there], out);
        out.push(there);
        self.follow([middle, last], [there, places[1]], out);
    }
}

fn apart([a, b]: [[f64; 2]; 2]) -> f64 {
    (b[0] - a[0]).hypot(b[1] - a[1])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geodesy::Position;

    #[test]
    fn a_parallel_is_followed_on_the_plane() {
        let center = Position::new(45.0, 10.0).unwrap();
        let region = Region::around(center, 200_000.0);
        let points = on_plane(&region, &[[9.0, 45.5], [11.0, 45.5]]);
        let edges = points.windows(2).map(|w| (w[0], w[1], 7)).collect();
        let lines = Lines::new(edges);
        assert!(lines.len() > 30);
        // On the meridian of the centre the parallel lies due north.
        let expected = center.distance_m(Position::new(45.5, 10.0).unwrap());
        let (distance, number) = lines.nearest([0.0, 0.0]).unwrap();
        assert!(
            (distance - expected).abs() < 1.0 && number == 7,
            "{distance} {expected}"
        );
        assert_eq!(Lines::default().nearest([0.0, 0.0]), None);
    }

    #[test]
    fn a_line_round_half_the_earth_is_dense_only_near_the_region() {
        let center = Position::new(45.0, 10.0).unwrap();
        let region = Region::around(center, 200_000.0);
        let points = on_plane(&region, &[[-75.0, 45.5], [95.0, 45.5]]);
        assert!(points.len() < 250, "{}", points.len());
        let edges = points.windows(2).map(|w| (w[0], w[1], 7)).collect();
        let lines = Lines::new(edges);
        for lon in [8.0, 9.3, 10.0, 12.0] {
            let here = Position::new(45.0, lon).unwrap();
            let due_north = here.distance_m(Position::new(45.5, lon).unwrap());
            let (distance, _) = lines.nearest(region.project([lon, 45.0])).unwrap();
            // A parallel bends towards its pole: to its side it is a little nearer than due north.
            assert!(
                (distance - due_north).abs() < 60.0,
                "{lon}: {distance} {due_north}"
            );
        }
    }
}
