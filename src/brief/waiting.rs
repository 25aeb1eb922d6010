//! Where to wait for the landing.

use std::sync::Arc;

use rayon::prelude::*;

use super::answer::{Road, WaitingPoint, WaitingReason};
use super::radio::hearing;
use crate::choice::judge::near_place;
use crate::error::Result;
use crate::geodesy::{Normal, Position, wrap_longitude};
use crate::ground::layers::{Kind, Layer, Line, RoadClass};
use crate::ground::plane::Plane;
use crate::ground::terrain::Terrain;
use crate::ground::water::Water;
use crate::numeric::{between, quantile};
use crate::zone::Zone;

/// Cars that a place is found for.
const POINTS: usize = 2;
/// Places on roads that are compared, about.
const CANDIDATES: usize = 2_000;
/// Points of a road are compared at least this often, m, and at most this many of one edge.
const ALONG_M: f64 = 1_000.0;
const MOST_PARTS: f64 = 500.0;
/// Where no roads are known, places along each side of a grid that are compared.
const GRID: usize = 45;
/// Landings that they are compared by, about.
const LANDINGS: usize = 500;
/// Landings that a place is asked to share the shore with, about.
const SHORE_LANDINGS: usize = 12;
/// A place is on another shore where it shares that of fewer landings than this share of what the best
/// place does. A straight way past a pond counts as another shore, so no fixed share would do.
const SHORE_SHARE: f64 = 0.5;
/// Where fewer landings than this share are dry (by judgement), they send nobody to their shore: that of one in a
/// thousand may lie across the sea.
const DRY_SHARE: f64 = 0.1;
/// Names of the points.
const NAMES: [&str; POINTS] = ["A", "B"];

/// A place that may be chosen.
#[derive(Clone, Copy)]
struct Candidate<'a> {
    at: [f64; 2],
    position: Position,
    road: Option<&'a Line>,
}

/// The points from which the landings are nearest: on roads if any are known, else anywhere on dry
/// ground. None in water, none where the terrain has no height, none on another shore; none at all for a
/// zone without its widest ellipse.
///
/// # Errors
///
/// When the data in the program are damaged.
pub fn points(
    water: &Water,
    layers: &[Layer],
    zone: &Zone,
    landings: &[Normal],
    terrain: Option<&Arc<Terrain>>,
) -> Result<Vec<WaitingPoint>> {
    // Where many draws left the winds, those that stayed are no reason to send a car anywhere.
    if zone.outer().is_none() {
        return Ok(Vec::new());
    }
    let map = water.map();
    let plane = map.region().plane;
    let all: Vec<[f64; 2]> = landings.iter().map(|l| plane.to_plane(*l)).collect();
    // Each place is held against each of these: not all draws, or it would take too long.
    let some = thinned(&all, LANDINGS);
    let mut places = near_landings(on_roads(&plane, layers), &some);
    if places.is_empty() {
        places = open_country(&plane, &some);
    }
    let is_dry = |place: Normal| water.at(place).is_none();
    let places = on_ground(places, terrain, is_dry);
    let ashore = ashore(landings, zone.release.position.normal(), is_dry);
    let places = on_the_shore(places, &ashore, |a, b| water.on_same_shore(a, b));
    let chosen = nearest(&places, &some);
    let at: Vec<[f64; 2]> = chosen.iter().map(|place| place.at).collect();
    let first = |landing: &[f64; 2]| {
        (0..at.len()).min_by(|a, b| apart(at[*a], *landing).total_cmp(&apart(at[*b], *landing)))
    };
    let firsts: Vec<usize> = all.iter().filter_map(first).collect();
    let numbered = chosen.iter().enumerate();
    numbered
        .map(|(i, place)| {
            let position = place.position;
            let mut distances: Vec<f64> = all.iter().map(|l| apart(at[i], *l)).collect();
            distances.sort_by(f64::total_cmp);
            let within_m = |p: f64| quantile(&distances, p).unwrap_or(0.0);
            let ground_m = terrain.and_then(|t| t.height_m(position));
            let nearest_count = firsts.iter().filter(|k| **k == i).count();
            // Smooth ground where none is known: at the height of the site.
            let antenna_on_m = ground_m.unwrap_or(zone.release.altitude_m);
            Ok(WaitingPoint {
                name: NAMES[i].to_owned(),
                position,
                ground_m,
                near: near_place(map, position)?,
                road: place.road.map(|road| Road {
                    class: road.class,
                    name: road.name.clone(),
                }),
                why: match (i, place.road) {
                    (0, Some(_)) => WaitingReason::ShortestWay,
                    (0, None) => WaitingReason::Middle,
                    _ => WaitingReason::SecondCar,
                },
                half_within_m: within_m(0.5),
                most_within_m: within_m(0.9),
                nearest_share: nearest_count as f64 / firsts.len().max(1) as f64,
                hearing: hearing(position, antenna_on_m, &zone.track, terrain),
            })
        })
        .collect()
}

/// Points of roads on which one may stop: their corners, and between these no farther apart than
/// [`ALONG_M`].
fn on_roads<'a>(plane: &Plane, layers: &'a [Layer]) -> Vec<Candidate<'a>> {
    let roads = layers.iter().filter(|l| l.kind == Kind::Road);
    let roads = roads
        .flat_map(|l| &l.lines)
        .filter(|line| line.class != RoadClass::Motorway);
    let mut places = Vec::new();
    for road in roads {
        let on_road = |[lon, lat]: [f64; 2]| {
            let position = Position::new(lat, wrap_longitude(lon))?;
            Some(Candidate {
                at: plane.to_plane(position.normal()),
                position,
                road: Some(road),
            })
        };
        places.extend(road.points.first().and_then(|p| on_road(*p)));
        for edge in road.points.windows(2) {
            let [Some(a), Some(b)] = [edge[0], edge[1]].map(on_road) else {
                continue;
            };
            let parts = (apart(a.at, b.at) / ALONG_M).clamp(1.0, MOST_PARTS).ceil() as u32;
            let along = |k: u32| between(edge[0], edge[1], f64::from(k) / f64::from(parts));
            // Its first end is the last of the edge before.
            places.extend((1..=parts).filter_map(|k| on_road(along(k))));
        }
    }
    places
}

/// A grid of places over the landings and around them.
fn open_country(plane: &Plane, landings: &[[f64; 2]]) -> Vec<Candidate<'static>> {
    let middle = middle(landings);
    let mut away: Vec<f64> = landings.iter().map(|l| apart(middle, *l)).collect();
    away.sort_by(f64::total_cmp);
    // Of most landings: early bursts far away would make the grid coarse.
    let reach = 1.5 * quantile(&away, 0.9).unwrap_or(0.0).max(2_000.0);
    let along = |k: usize, i: usize| middle[k] + reach * (2.0 * i as f64 / (GRID - 1) as f64 - 1.0);
    (0..GRID * GRID)
        .map(|i| [along(0, i % GRID), along(1, i / GRID)])
        .map(|[east, north]| {
            // On an azimuthal plane both are true as seen from its centre.
            let azimuth_deg = east.atan2(north).to_degrees();
            let position = plane.center().destination(azimuth_deg, east.hypot(north));
            Candidate {
                at: [east, north],
                position,
                road: None,
            }
        })
        .collect()
}

/// The places that are dry and, where terrain is known at some of them, have a height.
fn on_ground<'a>(
    mut places: Vec<Candidate<'a>>,
    terrain: Option<&Arc<Terrain>>,
    is_dry: impl Fn(Normal) -> bool,
) -> Vec<Candidate<'a>> {
    places.retain(|place| is_dry(place.position.normal()));
    if let Some(terrain) = terrain {
        let known = |place: &Candidate| terrain.height_m(place.position).is_some();
        // Terrain that ends before all of them says nothing against any.
        if places.iter().any(known) {
            places.retain(known);
        }
    }
    places
}

/// What tells the shore to wait on: some of the landings, or the release where nearly all are in water and it
/// is not.
fn ashore(landings: &[Normal], release: Normal, is_dry: impl Fn(Normal) -> bool) -> Vec<Normal> {
    // A landing in water shares its shore with no place, and would rule out all of them.
    let dry: Vec<Normal> = landings.iter().copied().filter(|l| is_dry(*l)).collect();
    let few = (dry.len() as f64) < DRY_SHARE * landings.len() as f64;
    // A release in water, as from a boat, has no shore that cars could come from.
    match dry.is_empty() || few && is_dry(release) {
        // The shore that cars come from.
        true => vec![release],
        false => thinned(&dry, SHORE_LANDINGS),
    }
}

/// The places on the shore of the landings.
fn on_the_shore<'a>(
    places: Vec<Candidate<'a>>,
    landings: &[Normal],
    on_same_shore: impl Fn(Normal, Normal) -> bool + Sync,
) -> Vec<Candidate<'a>> {
    let shared = |place: &Candidate| {
        let place = place.position.normal();
        let same = landings.iter().filter(|l| on_same_shore(place, **l));
        same.count()
    };
    let shares: Vec<usize> = places.par_iter().map(shared).collect();
    let best = shares.iter().copied().max().unwrap_or(0) as f64;
    // Where nobody shares a shore, half of nothing would let everybody through.
    let enough = |share: usize| share > 0 && share as f64 >= SHORE_SHARE * best;
    let judged = places.into_iter().zip(shares);
    judged
        .filter_map(|(place, share)| enough(share).then_some(place))
        .collect()
}

/// One place after another, each the one that makes the mean distance from the landings to the nearest
/// of them shortest; fewer where no other place makes it shorter.
fn nearest<'a>(places: &[Candidate<'a>], landings: &[[f64; 2]]) -> Vec<Candidate<'a>> {
    let mut chosen: Vec<Candidate> = Vec::new();
    let mut so_far = vec![f64::INFINITY; landings.len()];
    // Not the best pair: of two thousand places there are two million.
    for _ in 0..POINTS {
        let mean = |place: &Candidate| -> f64 {
            let ways = landings.iter().zip(&so_far);
            // The sum puts places in the same order as the mean.
            ways.map(|(l, best)| apart(place.at, *l).min(*best)).sum()
        };
        let best = places
            .iter()
            .map(|place| (mean(place), place))
            .min_by(|a, b| a.0.total_cmp(&b.0));
        let Some((way, place)) = best else {
            break;
        };
        if way >= so_far.iter().sum() {
            break;
        }
        for (best, landing) in so_far.iter_mut().zip(landings) {
            *best = best.min(apart(place.at, *landing));
        }
        chosen.push(*place);
    }
    chosen
}

/// The places on roads that are worth comparing: not farther from the middle of the landings than the
/// farthest of these and half as much again; not too many.
fn near_landings<'a>(mut roads: Vec<Candidate<'a>>, landings: &[[f64; 2]]) -> Vec<Candidate<'a>> {
    let middle = middle(landings);
    let reach = landings
        .iter()
        .map(|l| apart(middle, *l))
        // Landings close together would leave no road to choose from: some kilometres always count.
        .fold(5_000.0, f64::max);
    roads.retain(|place| apart(middle, place.at) <= 1.5 * reach);
    thinned(&roads, CANDIDATES)
}

fn middle(landings: &[[f64; 2]]) -> [f64; 2] {
    let count = landings.len().max(1) as f64;
    [0, 1].map(|k| landings.iter().map(|l| l[k]).sum::<f64>() / count)
}

/// About this many of many, evenly picked.
fn thinned<T: Copy>(all: &[T], most: usize) -> Vec<T> {
    let step = all.len().div_ceil(most).max(1);
    all.iter().copied().step_by(step).collect()
}

fn apart(a: [f64; 2], b: [f64; 2]) -> f64 {
    // Not `hypot`, which guards against numbers that no distance has, at four times the cost.
    ((a[0] - b[0]).powi(2) + (a[1] - b[1]).powi(2)).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn place(x: f64) -> Candidate<'static> {
        Candidate {
            at: [x, 0.0],
            position: Position::new(0.0, x / 111_000.0).unwrap(),
            road: None,
        }
    }

    #[test]
    fn two_clumps_get_a_car_each() {
        let places: Vec<Candidate> = (0..=20).map(|k| place(1_000.0 * f64::from(k))).collect();
        let mut landings = vec![[4_000.0, 0.0]; 30];
        landings.extend(vec![[15_000.0, 0.0]; 20]);
        let chosen = nearest(&places, &landings);
        assert_eq!(chosen.len(), 2);
        assert_eq!((chosen[0].at[0], chosen[1].at[0]), (4_000.0, 15_000.0));
        assert!(nearest(&[], &landings).is_empty());
        // A second car is not sent to where the first one is.
        assert_eq!(nearest(&places[..1], &landings).len(), 1);
    }

    /// Landings east of a strait at 10 km, which is water up to 12 km.
    #[test]
    fn nobody_waits_in_water_or_on_the_other_shore() {
        let x = |place: Normal| place.position().lon_deg * 111_000.0;
        let places: Vec<Candidate> = (0..=20).map(|k| place(1_000.0 * f64::from(k))).collect();
        let dry = on_ground(places, None, |p| !(10_000.0..12_001.0).contains(&x(p)));
        assert_eq!(dry.len(), 18);
        let same = |a: Normal, b: Normal| (x(a) < 11_000.0) == (x(b) < 11_000.0);
        let east = [13_000.0, 13_500.0, 9_000.0].map(|x| place(x).position.normal());
        let shore = on_the_shore(dry.clone(), &east, same);
        // Both shores have at least half of what the better one has: two landings and one.
        assert_eq!(shore.len(), 18);
        let east = [13_000.0, 13_500.0, 14_000.0, 9_000.0].map(|x| place(x).position.normal());
        let shore = on_the_shore(dry, &east, same);
        assert!(shore.iter().all(|p| p.at[0] > 12_000.0), "{}", shore.len());
    }

    /// The sea begins at 5 km, and has another shore at 15 km.
    #[test]
    fn one_landing_in_a_thousand_sends_nobody_across_the_sea() {
        let at = |x: f64| place(x).position.normal();
        let x = |place: Normal| place.position().lon_deg * 111_000.0;
        let is_dry = |p: Normal| !(5_000.0..15_000.0).contains(&x(p));
        let same = |a: Normal, b: Normal| (x(a) < 10_000.0) == (x(b) < 10_000.0);
        let landings = |wet: usize, dry: usize| {
            let wet = vec![at(12_000.0); wet];
            [wet, vec![at(16_000.0); dry]].concat()
        };
        let waits = |release: f64, wet: usize, dry: usize| {
            let places = vec![place(15_500.0), place(17_000.0)];
            let shore = ashore(&landings(wet, dry), at(release), is_dry);
            on_the_shore(places, &shore, same).len()
        };
        let of_land = [
            waits(0.0, 999, 1),
            waits(0.0, 1_000, 0),
            waits(0.0, 800, 200),
        ];
        assert_eq!(of_land, [0, 0, 2]);
        // From a boat in the middle there is only the shore of the landings to wait on.
        assert_eq!([waits(9_000.0, 950, 50), waits(9_000.0, 1_000, 0)], [2, 0]);
    }

    #[test]
    fn without_roads_the_middle_is_the_place() {
        let plane = Plane::new(Position::new(39.5, -8.5).unwrap());
        let landings: Vec<[f64; 2]> = (0..400)
            .map(|i| [3_000.0 + 40.0 * f64::from(i % 20), 20.0 * f64::from(i / 20)])
            .collect();
        let chosen = nearest(&open_country(&plane, &landings), &landings);
        let at = chosen[0].at;
        assert!(apart(at, [3_380.0, 190.0]) < 200.0, "{at:?}");
        let back = plane.to_plane(chosen[0].position.normal());
        assert!(apart(at, back) < 0.1, "{back:?}");
    }
}
