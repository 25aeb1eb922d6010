//! How often flights pass through the air near airports, on the way up or down.

use super::airports::{Airport, AirportKind, airports};
use super::hits::Share;
use super::map::GroundMap;
use super::region::Region;
use super::touchdown::Fix;
use crate::error::Result;
use crate::geodesy::Position;
use crate::numeric::between;
use crate::units::{FOOT_M, NAUTICAL_MILE_M};

/// A cylinder of air around airports of a kind.
#[derive(Debug, Clone, PartialEq)]
pub struct Cylinder {
    /// Around which airports.
    pub kind: AirportKind,
    /// How far around, m.
    pub radius_m: f64,
    /// How high above the airport, m.
    pub height_m: f64,
    /// Why this large.
    pub reason: String,
}

/// Default cylinders: kind, nautical miles, feet, reason. They stand in for controlled airspace,
/// which is not built in: charts decide.
const CYLINDERS: [(AirportKind, f64, f64, &str); 4] = [
    (
        AirportKind::Large,
        10.0,
        10_000.0,
        "assumed: about as busy terminal areas reach at low height",
    ),
    (
        AirportKind::Medium,
        5.0,
        4_000.0,
        "assumed: about a control zone with instrument approaches",
    ),
    (
        AirportKind::Small,
        2.5,
        2_000.0,
        "assumed: about an aerodrome's traffic zone",
    ),
    (
        AirportKind::Seaplane,
        2.5,
        2_000.0,
        "assumed: as a small airport",
    ),
];

/// The default cylinders, one for each kind.
pub fn default_cylinders() -> Vec<Cylinder> {
    let cylinder = |&(kind, miles, feet, reason): &(AirportKind, f64, f64, &str)| Cylinder {
        kind,
        radius_m: miles * NAUTICAL_MILE_M,
        height_m: feet * FOOT_M,
        reason: reason.to_owned(),
    };
    CYLINDERS.iter().map(cylinder).collect()
}

/// Elevation taken where that of an airport is not known, m: its air reaches too high rather than
/// too low.
const UNKNOWN_M: f64 = 1_000.0;

/// The top of an airport's cylinder, m above mean sea level.
fn top_m(airport: &Airport, cylinder: &Cylinder) -> f64 {
    airport.elevation_m.unwrap_or(UNKNOWN_M) + cylinder.height_m
}

/// The highest top of the cylinders around airports within a distance of a place, m above mean sea
/// level; `None` where there are none.
///
/// # Errors
///
/// When the data in the program are damaged.
pub fn highest_top_m(
    center: Position,
    within_m: f64,
    cylinders: &[Cylinder],
) -> Result<Option<f64>> {
    let region = Region::around(center, within_m);
    let near = airports()?.all().iter().filter(|airport| {
        let at = airport.position;
        region.touches([at.lon_deg, at.lat_deg, at.lon_deg, at.lat_deg])
    });
    let tops = near.flat_map(|airport| {
        let of_kind = cylinders.iter().filter(|c| c.kind == airport.kind);
        of_kind.map(|cylinder| top_m(airport, cylinder))
    });
    Ok(tops.reduce(f64::max))
}

/// Cylinders of air in a region.
#[derive(Debug, Clone)]
pub struct Airspace<'a> {
    map: &'a GroundMap,
    cylinders: &'a [Cylinder],
    /// The cylinders' airports: number of the airport and of the cylinder, top above sea level.
    around: Vec<(usize, usize, f64)>,
    highest_m: f64,
}

impl<'a> Airspace<'a> {
    /// The cylinders around a map's airports.
    pub fn new(map: &'a GroundMap, cylinders: &'a [Cylinder]) -> Airspace<'a> {
        let mut around = Vec::new();
        for (i, (airport, _)) in map.airports().iter().enumerate() {
            for (c, cylinder) in cylinders.iter().enumerate() {
                if cylinder.kind == airport.kind {
                    around.push((i, c, top_m(airport, cylinder)));
                }
            }
        }
        let highest_m = around.iter().map(|a| a.2).fold(f64::NEG_INFINITY, f64::max);
        Airspace {
            map,
            cylinders,
            around,
            highest_m,
        }
    }

    /// The airports whose cylinders a track passes through, in the order of the map; straight
    /// between its points.
    pub fn passed(&self, track: &[Fix]) -> Vec<&'a Airport> {
        // Most legs lie above the air of every airport: they are left out once, not cylinder by
        // cylinder.
        let low = self.low_legs(track);
        let airports = self.map.airports();
        let mut passed: Vec<usize> = self
            .around
            .iter()
            .filter(|around| low.iter().any(|leg| self.meets(around, leg)))
            .map(|around| around.0)
            .collect();
        // Cylinders of one airport stand next to each other, so neighbours are all that may be the
        // same.
        passed.dedup();
        passed.into_iter().map(|i| &airports[i].0).collect()
    }

    /// For each cylinder, the share of tracks that pass through one of them.
    pub fn shares<'t>(&self, tracks: impl IntoIterator<Item = &'t [Fix]>) -> Vec<Share> {
        let mut shares = vec![Share { hits: 0, draws: 0 }; self.cylinders.len()];
        for track in tracks {
            let low = self.low_legs(track);
            for (c, share) in shares.iter_mut().enumerate() {
                share.draws += 1;
                let mut of_this = self.around.iter().filter(|around| around.1 == c);
                let hit = of_this.any(|around| low.iter().any(|leg| self.meets(around, leg)));
                share.hits += usize::from(hit);
            }
        }
        shares
    }

    /// The legs of a track that reach below the highest cylinder: places on the plane, altitudes.
    fn low_legs(&self, track: &[Fix]) -> Vec<[([f64; 2], f64); 2]> {
        let plane = &self.map.region().plane;
        let on_plane = |fix: &Fix| (plane.to_plane(fix.place), fix.altitude_m);
        track
            .windows(2)
            .filter(|leg| leg[0].altitude_m.min(leg[1].altitude_m) <= self.highest_m)
            .map(|leg| [on_plane(&leg[0]), on_plane(&leg[1])])
            .collect()
    }

    /// Whether the part of a leg below the top of a cylinder comes within its radius.
    fn meets(
        &self,
        &(airport, cylinder, top): &(usize, usize, f64),
        leg: &[([f64; 2], f64); 2],
    ) -> bool {
        let [(a, low), (b, high)] = if leg[0].1 <= leg[1].1 {
            *leg
        } else {
            [leg[1], leg[0]]
        };
        if low > top {
            return false;
        }
        // What is above the top is outside, so the leg ends where it comes down to it.
        let share = if high > top {
            (top - low) / (high - low)
        } else {
            1.0
        };
        let end = between(a, b, share);
        let center = self.map.airports()[airport].1;
        distance_m(center, a, end) <= self.cylinders[cylinder].radius_m
    }
}

/// The distance of a point from an edge.
fn distance_m(p: [f64; 2], a: [f64; 2], b: [f64; 2]) -> f64 {
    let d = [b[0] - a[0], b[1] - a[1]];
    let length2 = d[0] * d[0] + d[1] * d[1];
    let along = (p[0] - a[0]) * d[0] + (p[1] - a[1]) * d[1];
    // A leg straight up or down has no length on the plane.
    let t = if length2 > 0.0 {
        (along / length2).clamp(0.0, 1.0)
    } else {
        0.0
    };
    (a[0] + t * d[0] - p[0]).hypot(a[1] + t * d[1] - p[1])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geodesy::Position;
    use crate::ground::region::Region;

    #[test]
    fn a_track_passes_below_a_top_and_within_a_radius() {
        // Denver International (KDEN), 39.86 N 104.67 W, 5,433 ft.
        let denver = Position::new(39.8617, -104.673).unwrap();
        let map = GroundMap::new(Region::around(denver, 50_000.0), &[]).unwrap();
        let large = [Cylinder {
            kind: AirportKind::Large,
            radius_m: 5_000.0,
            height_m: 1_000.0,
            reason: String::new(),
        }];
        let airspace = Airspace::new(&map, &large);
        let fix = |east_m: f64, altitude_m: f64| Fix {
            place: denver.destination(90.0, east_m).normal(),
            altitude_m,
        };
        let over = [fix(-9_000.0, 3_000.0), fix(9_000.0, 3_000.0)];
        let through = [fix(-9_000.0, 2_500.0), fix(9_000.0, 2_500.0)];
        // Falls below the top 6 km away, beyond the radius.
        let beside = [fix(0.0, 5_000.0), fix(12_000.0, 0.0)];
        let beyond = [fix(7_000.0, 5_000.0), fix(12_000.0, 1_700.0)];
        assert!(airspace.passed(&over).is_empty());
        assert_eq!(airspace.passed(&through)[0].ident, "KDEN");
        assert!(airspace.passed(&beside).is_empty());
        assert!(airspace.passed(&beyond).is_empty());
        assert!(airspace.passed(&[]).is_empty());
        let shares = airspace.shares([over.as_slice(), through.as_slice()]);
        assert_eq!(shares, [Share { hits: 1, draws: 2 }]);
    }
}
