//! The part of the earth that matters: what lies outside of it is not kept.
//!
//! Files give degrees, cut or not at the antimeridian, with 180 or 190 or -170 for the same
//! meridian. Here every longitude is turned to the side of the region, and rings are clipped to
//! its box, so that all that follows can work on a plane.

use super::plane::Plane;
use crate::earth::SHORTEST_DEGREE_M;
use crate::geodesy::{Normal, Position};
use crate::numeric::between;

/// The farthest a region may reach, m: beyond, distances on its plane are off by more than 0.1 %.
pub const FARTHEST_M: f64 = 500_000.0;
/// An edge turning by this much in longitude or more (but not all the way round), degrees, crosses
/// the antimeridian.
const TURN_DEG: f64 = 180.0;

/// A disc around a centre and the box of degrees that holds it.
#[derive(Debug, Clone, Copy)]
pub struct Region {
    /// The plane around the centre.
    pub plane: Plane,
    /// How far the region reaches, m.
    pub reach_m: f64,
    /// Its southernmost and northernmost latitude, degrees.
    pub lat: [f64; 2],
    /// Its westernmost and easternmost longitude, degrees; within 180 of the centre's.
    pub lon: [f64; 2],
}

impl Region {
    /// The region that reaches `reach_m` around a centre; never beyond [`FARTHEST_M`].
    pub fn around(center: Position, reach_m: f64) -> Region {
        let reach_m = reach_m.clamp(0.0, FARTHEST_M);
        let (lat, lon) = box_around(center, reach_m);
        Region {
            plane: Plane::new(center),
            reach_m,
            lat,
            lon,
        }
    }

    /// The region that holds all `places` with `margin_m` to spare; `None` when there are none.
    pub fn holding(places: &[Normal], margin_m: f64) -> Option<Region> {
        // The mean of directions, not of degrees: poles and the antimeridian need no care.
        let mut sum = [0.0; 3];
        for place in places {
            (0..3).for_each(|i| sum[i] += place.0[i]);
        }
        let length = sum.iter().map(|v| v * v).sum::<f64>().sqrt();
        // There are none, or they lie all around the earth and have no middle.
        if length.is_nan() || length < 1e-9 {
            return None;
        }
        let center = Normal(sum.map(|v| v / length)).position();
        let plane = Plane::new(center);
        let reach = places
            .iter()
            .map(|&p| plane.to_plane(p))
            .map(|[x, y]| x.hypot(y))
            .fold(0.0, f64::max);
        Some(Region::around(center, reach + margin_m))
    }

    /// Whether all of another region lies in this one.
    pub fn holds_all_of(&self, other: &Region) -> bool {
        let apart_m = self.plane.center().distance_m(other.plane.center());
        apart_m + other.reach_m <= self.reach_m
    }

    /// Whether a place is in the disc.
    pub fn holds(&self, place: Normal) -> bool {
        let [x, y] = self.plane.to_plane(place);
        x.hypot(y) <= self.reach_m
    }

    /// The plane coordinates of longitude and latitude, degrees.
    pub fn project(&self, [lon, lat]: [f64; 2]) -> [f64; 2] {
        let place = Position {
            lat_deg: lat,
            lon_deg: lon,
        };
        self.plane.to_plane(place.normal())
    }

    /// Whether a box of degrees (west, south, east, north) touches the region on any turn.
    pub fn touches(&self, bounds: [f64; 4]) -> bool {
        overlap(self.lat, self.lon, bounds)
    }

    /// Whether such a box touches the region with `margin_m` around it.
    pub fn touches_within(&self, bounds: [f64; 4], margin_m: f64) -> bool {
        let (lat, lon) = box_around(self.plane.center(), self.reach_m + margin_m);
        overlap(lat, lon, bounds)
    }

    /// Whether a place lies north, south, east and west of the region's box.
    pub fn sides(&self, place: [f64; 2]) -> [bool; 4] {
        let [lon, lat] = self.turned_place(place);
        [
            lat > self.lat[1],
            lat < self.lat[0],
            lon > self.lon[1],
            lon < self.lon[0],
        ]
    }

    /// The runs of a line of longitudes and latitudes whose edges touch the region's box.
    pub fn clip_line(&self, line: &[[f64; 2]]) -> Vec<Vec<[f64; 2]>> {
        let mut runs = Vec::new();
        let mut run: Vec<[f64; 2]> = Vec::new();
        let line = unwrapped(line);
        for edge in line.windows(2) {
            let (a, b) = (edge[0], edge[1]);
            let bounds = [
                a[0].min(b[0]),
                a[1].min(b[1]),
                a[0].max(b[0]),
                a[1].max(b[1]),
            ];
            if self.touches(bounds) {
                if run.is_empty() {
                    run.push(a);
                }
                run.push(b);
            } else if !run.is_empty() {
                runs.push(std::mem::take(&mut run));
            }
        }
        if !run.is_empty() {
            runs.push(run);
        }
        runs
    }

    /// The parts of a ring of longitudes and latitudes within the region's box; insides are where
    /// an odd number of parts overlap. The ring may be closed or not.
    pub fn clip_ring(&self, ring: &[[f64; 2]]) -> Vec<Vec<[f64; 2]>> {
        let ring = closed_over_pole(ring);
        TURNS
            .iter()
            .filter_map(|turn| {
                let turned: Vec<[f64; 2]> = ring.iter().map(|p| [p[0] + turn, p[1]]).collect();
                let inside = self.within_box(turned);
                (inside.len() >= 3).then_some(inside)
            })
            .collect()
    }

    /// One side of the box after another (Sutherland and Hodgman 1974, doi:10.1145/360767.360802).
    fn within_box(&self, mut ring: Vec<[f64; 2]>) -> Vec<[f64; 2]> {
        // Parts of a bent ring stay joined along the side they were cut at: no width, so nothing
        // inside.
        for (axis, bounds) in [(0, self.lon), (1, self.lat)] {
            for (bound, sign) in [(bounds[0], 1.0), (bounds[1], -1.0)] {
                ring = cut(&ring, axis, bound, sign);
            }
        }
        ring
    }

    /// A ring whose longitudes run on without a jump, from the side of the region on.
    pub fn turned(&self, ring: &[[f64; 2]]) -> Vec<[f64; 2]> {
        let ring = closed_over_pole(ring);
        let turn = self.turn_of(&ring);
        ring.iter().map(|p| [p[0] + turn, p[1]]).collect()
    }

    /// A place from the side of the region on.
    pub fn turned_place(&self, [lon, lat]: [f64; 2]) -> [f64; 2] {
        [lon + self.turn_of(&[[lon, lat]]), lat]
    }

    /// A line from the side of the region on.
    pub fn turned_line(&self, line: &[[f64; 2]]) -> Vec<[f64; 2]> {
        let line = unwrapped(line);
        let turn = self.turn_of(&line);
        line.iter().map(|p| [p[0] + turn, p[1]]).collect()
    }

    /// By how many degrees a line or ring is turned to come to the side of the region.
    fn turn_of(&self, line: &[[f64; 2]]) -> f64 {
        let middle = 0.5 * (self.lon[0] + self.lon[1]);
        line.first()
            .map_or(0.0, |p| ((middle - p[0]) / 360.0).round() * 360.0)
    }

    /// Whether an edge lies along a side of the box: there a ring was cut, not ended.
    pub fn is_cut(&self, a: [f64; 2], b: [f64; 2]) -> bool {
        [(0, self.lon), (1, self.lat)]
            .iter()
            .any(|&(axis, bounds)| {
                bounds
                    .iter()
                    .any(|bound| a[axis] == *bound && b[axis] == *bound)
            })
    }
}

/// The southernmost and northernmost latitude, and the westernmost and easternmost longitude of a
/// disc, degrees.
fn box_around(center: Position, reach_m: f64) -> ([f64; 2], [f64; 2]) {
    // With the shortest degree of the ellipsoid, so that the box is never too small.
    let degrees = reach_m / SHORTEST_DEGREE_M;
    let lat = [center.lat_deg - degrees, center.lat_deg + degrees];
    let farthest = center.lat_deg.abs() + degrees;
    // That near to a pole the disc reaches meridians all around it.
    let half = if farthest < 89.0 {
        // On the poleward side a degree of longitude is shortest.
        (degrees / farthest.to_radians().cos()).min(180.0)
    } else {
        180.0
    };
    (
        lat.map(|v| v.clamp(-90.0, 90.0)),
        [center.lon_deg - half, center.lon_deg + half],
    )
}

fn overlap(lat: [f64; 2], lon: [f64; 2], [west, south, east, north]: [f64; 4]) -> bool {
    let beside = south > lat[1] || north < lat[0];
    let meets = |turn: &f64| west + turn <= lon[1] && east + turn >= lon[0];
    !beside && TURNS.iter().any(meets)
}

/// Longitudes are looked for on every turn of the earth that a file may have put them on.
const TURNS: [f64; 5] = [-720.0, -360.0, 0.0, 360.0, 720.0];

/// What of a ring lies where sign x (value - bound) is not below 0.
fn cut(ring: &[[f64; 2]], axis: usize, bound: f64, sign: f64) -> Vec<[f64; 2]> {
    let mut out = Vec::with_capacity(ring.len() + 4);
    let Some(&last) = ring.last() else {
        return out;
    };
    let depth = |p: [f64; 2]| sign * (p[axis] - bound);
    let mut before = last;
    for &here in ring {
        let (d0, d1) = (depth(before), depth(here));
        if (d0 < 0.0) != (d1 < 0.0) {
            let t = d0 / (d0 - d1);
            let mut point = between(before, here, t);
            // The bound itself, not a rounded number beside it: `is_cut` compares for equality.
            point[axis] = bound;
            out.push(point);
        }
        if d1 >= 0.0 {
            out.push(here);
        }
        before = here;
    }
    out
}

/// A line whose longitudes run on without a jump. An edge of exactly 360 degrees is taken as it
/// stands: it runs along a map's whole width.
fn unwrapped(line: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let mut turn = 0.0;
    let mut before: Option<f64> = None;
    line.iter()
        .map(|&[lon, lat]| {
            if let Some(before) = before {
                let step: f64 = lon - before;
                if step.abs() > TURN_DEG && step.abs() < 360.0 - 1e-9 {
                    turn -= 360.0_f64.copysign(step);
                }
            }
            before = Some(lon);
            [lon + turn, lat]
        })
        .collect()
}

/// A ring unwrapped; one that goes round a pole without a cut is closed over that pole.
fn closed_over_pole(ring: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let Some(&first) = ring.first() else {
        return Vec::new();
    };
    let closing = ring.last() != Some(&first);
    let closed: Vec<[f64; 2]> = ring
        .iter()
        .copied()
        .chain(closing.then_some(first))
        .collect();
    let mut out = unwrapped(&closed);
    let (start, end) = (out[0], out[out.len() - 1]);
    // It began and ended a turn apart, so a pole lies inside.
    if (end[0] - start[0]).abs() > TURN_DEG {
        // Which pole: the one on whose side of the equator the ring lies.
        let mean = out.iter().map(|p| p[1]).sum::<f64>() / out.len() as f64;
        let pole = 90.0_f64.copysign(mean);
        out.push([end[0], pole]);
        out.push([start[0], pole]);
    } else {
        // The point that closed it: rings here do not repeat their first one.
        out.pop();
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn region(lat: f64, lon: f64, reach_m: f64) -> Region {
        Region::around(Position::new(lat, lon).unwrap(), reach_m)
    }

    fn area(ring: &[[f64; 2]]) -> f64 {
        (0..ring.len())
            .map(|i| (ring[i], ring[(i + 1) % ring.len()]))
            .map(|(a, b)| 0.5 * (a[0] * b[1] - b[0] * a[1]))
            .sum::<f64>()
            .abs()
    }

    #[test]
    fn rings_across_the_antimeridian_are_whole_however_they_are_written() {
        let r = region(0.0, 180.0, 400_000.0);
        let written = [
            vec![[179.0, -1.0], [-179.0, -1.0], [-179.0, 1.0], [179.0, 1.0]],
            vec![[179.0, -1.0], [181.0, -1.0], [181.0, 1.0], [179.0, 1.0]],
            vec![[-181.0, -1.0], [-179.0, -1.0], [-179.0, 1.0], [-181.0, 1.0]],
        ];
        for ring in written {
            let parts = r.clip_ring(&ring);
            assert_eq!(parts.len(), 1);
            assert!((area(&parts[0]) - 4.0).abs() < 1e-9, "{ring:?}");
        }
        let halves = [
            vec![[179.0, -1.0], [180.0, -1.0], [180.0, 1.0], [179.0, 1.0]],
            vec![[-180.0, -1.0], [-179.0, -1.0], [-179.0, 1.0], [-180.0, 1.0]],
        ];
        let total: f64 = halves
            .iter()
            .flat_map(|h| r.clip_ring(h))
            .map(|p| area(&p))
            .sum();
        assert!((total - 4.0).abs() < 1e-9);
    }

    #[test]
    fn rings_are_clipped_to_the_box() {
        let r = region(10.0, 20.0, 110_574.0);
        let south = vec![
            [-180.0, -90.0],
            [180.0, -90.0],
            [180.0, 10.0],
            [-180.0, 10.0],
        ];
        let parts = r.clip_ring(&south);
        assert_eq!(parts.len(), 1);
        let width = r.lon[1] - r.lon[0];
        assert!((area(&parts[0]) - width).abs() < 1e-9);
        assert!(
            r.clip_ring(&[[50.0, 0.0], [51.0, 0.0], [51.0, 1.0]])
                .is_empty()
        );
        assert!(r.clip_ring(&[]).is_empty());
        assert!(r.is_cut([r.lon[0], 9.5], [r.lon[0], 10.0]));
        assert!(!r.is_cut([20.0, 9.5], [20.0, 10.0]));
    }

    #[test]
    fn a_ring_round_a_pole_holds_it() {
        let r = region(-90.0, 0.0, 300_000.0);
        let ice: Vec<[f64; 2]> = (0..36)
            .map(|k| [f64::from(k * 10) - 180.0, -80.0])
            .collect();
        let total: f64 = r.clip_ring(&ice).iter().map(|p| area(p)).sum();
        assert!((total - 360.0 * (r.lat[1] + 90.0)).abs() < 1e-6, "{total}");
    }

    #[test]
    fn lines_keep_the_edges_that_matter() {
        let r = region(0.0, -179.9, 50_000.0);
        let line = [[170.0, 0.0], [179.0, 0.0], [-179.0, 0.1], [-170.0, 0.0]];
        assert_eq!(r.clip_line(&line), [[[179.0, 0.0], [181.0, 0.1]]]);
        assert!(r.clip_line(&line[..2]).is_empty());
        assert!(r.clip_line(&[]).is_empty());
    }

    #[test]
    fn a_region_holds_its_places() {
        let places: Vec<Normal> = [(0.1, 179.9), (-0.1, -179.8), (0.3, 180.0)]
            .iter()
            .map(|&(lat, lon)| Position::new(lat, lon).unwrap().normal())
            .collect();
        let r = Region::holding(&places, 1_000.0).unwrap();
        assert!(places.iter().all(|&p| r.holds(p)));
        assert!(r.reach_m < 50_000.0);
        assert!(Region::holding(&[], 1.0).is_none());
    }
}
