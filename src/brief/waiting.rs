//! Where to wait for the landing.

use std::sync::Arc;

use super::answer::{Road, WaitingPoint, WaitingReason};
use super::ground::BriefGround;
use super::radio::hearing;
use crate::geodesy::{Normal, Position, wrap_longitude};
use crate::ground::layers::{Kind, Line, RoadClass};
use crate::ground::terrain::Terrain;
use crate::numeric::quantile;
use crate::zone::Zone;

/// Cars that a place is found for.
const POINTS: usize = 2;
/// Places on roads that are compared, about.
const CANDIDATES: usize = 2_000;
/// Landings that they are compared by, about.
const LANDINGS: usize = 500;
/// Names of the points.
const NAMES: [&str; POINTS] = ["A", "B"];

/// A place on a road.
#[derive(Clone, Copy)]
struct OnRoad<'a> {
    at: [f64; 2],
    position: Position,
    road: &'a Line,
}

/// A place that was chosen, and why.
struct Choice {
    position: Position,
    road: Option<Road>,
    why: WaitingReason,
}

/// The points from which the landings are nearest, on roads if any are known; else the edge of the
/// zone that the load comes from.
pub fn points(
    ground: &BriefGround,
    zone: &Zone,
    landings: &[Normal],
    terrain: Option<&Arc<Terrain>>,
) -> Vec<WaitingPoint> {
    let plane = ground.map.region().plane;
    let all: Vec<[f64; 2]> = landings.iter().map(|l| plane.to_plane(*l)).collect();
    let some = thinned(&all, LANDINGS);
    let roads = on_roads(ground);
    let chosen = nearest_on_roads(&roads, &some);
    let mut places: Vec<Choice> = chosen
        .iter()
        .enumerate()
        .map(|(i, place)| Choice {
            position: place.position,
            road: Some(Road {
                class: place.road.class,
                name: place.road.name.clone(),
            }),
            why: match i {
                0 => WaitingReason::ShortestWay,
                _ => WaitingReason::SecondCar,
            },
        })
        .collect();
    if places.is_empty() {
        places.extend(upwind_edge(zone).map(|position| Choice {
            position,
            road: None,
            why: WaitingReason::UpwindEdge,
        }));
    }
    let at: Vec<[f64; 2]> = places
        .iter()
        .map(|place| plane.to_plane(place.position.normal()))
        .collect();
    let nearest = |landing: &[f64; 2]| {
        (0..at.len()).min_by(|a, b| apart(at[*a], *landing).total_cmp(&apart(at[*b], *landing)))
    };
    let shares: Vec<usize> = all.iter().filter_map(nearest).collect();
    places
        .into_iter()
        .enumerate()
        .map(|(i, choice)| {
            let position = choice.position;
            let mut distances: Vec<f64> = all.iter().map(|l| apart(at[i], *l)).collect();
            distances.sort_by(f64::total_cmp);
            let within_m = |p: f64| quantile(&distances, p).unwrap_or(0.0);
            let ground_m = terrain
                .and_then(|t| t.height_m(position))
                .unwrap_or(zone.release.altitude_m);
            let nearest_count = shares.iter().filter(|k| **k == i).count();
            WaitingPoint {
                name: NAMES[i].to_owned(),
                position,
                ground_m,
                road: choice.road,
                why: choice.why,
                half_within_m: within_m(0.5),
                most_within_m: within_m(0.9),
                nearest_share: nearest_count as f64 / shares.len().max(1) as f64,
                hearing: hearing(position, ground_m, &zone.track, terrain),
            }
        })
        .collect()
}

/// The corners of roads on which one may stop.
fn on_roads(ground: &BriefGround) -> Vec<OnRoad<'_>> {
    let region = ground.map.region();
    let roads = ground.layers.iter().filter(|l| l.kind == Kind::Road);
    let roads = roads
        .flat_map(|l| &l.lines)
        .filter(|line| line.class != RoadClass::Motorway);
    roads
        .flat_map(|road| {
            road.points.iter().filter_map(move |&[lon, lat]| {
                let position = Position::new(lat, wrap_longitude(lon))?;
                Some(OnRoad {
                    at: region.plane.to_plane(position.normal()),
                    position,
                    road,
                })
            })
        })
        .collect()
}

/// One place after another, each the one that makes the mean distance from the landings to the nearest
/// of them shortest.
fn nearest_on_roads<'a>(roads: &[OnRoad<'a>], landings: &[[f64; 2]]) -> Vec<OnRoad<'a>> {
    let mut chosen: Vec<OnRoad> = Vec::new();
    let mut so_far = vec![f64::INFINITY; landings.len()];
    let near = near_landings(roads, landings);
    for _ in 0..POINTS {
        let mean = |place: &OnRoad| -> f64 {
            let ways = landings.iter().zip(&so_far);
            ways.map(|(l, best)| apart(place.at, *l).min(*best)).sum()
        };
        let best = near
            .iter()
            .map(|place| (mean(place), place))
            .min_by(|a, b| a.0.total_cmp(&b.0));
        let Some((_, place)) = best else {
            break;
        };
        for (best, landing) in so_far.iter_mut().zip(landings) {
            *best = best.min(apart(place.at, *landing));
        }
        chosen.push(**place);
    }
    chosen
}

/// The places on roads that are worth comparing: not farther from the middle of the landings than the
/// farthest of these and half as much again; not too many.
fn near_landings<'r, 'a>(roads: &'r [OnRoad<'a>], landings: &[[f64; 2]]) -> Vec<&'r OnRoad<'a>> {
    let count = landings.len().max(1) as f64;
    let middle = [0, 1].map(|k| landings.iter().map(|l| l[k]).sum::<f64>() / count);
    let reach = landings
        .iter()
        .map(|l| apart(middle, *l))
        .fold(5_000.0, f64::max);
    let near: Vec<&OnRoad> = roads
        .iter()
        .filter(|place| apart(middle, place.at) <= 1.5 * reach)
        .collect();
    let step = near.len().div_ceil(CANDIDATES).max(1);
    near.into_iter().step_by(step).collect()
}

/// About so many of many, evenly picked.
fn thinned(all: &[[f64; 2]], most: usize) -> Vec<[f64; 2]> {
    let step = all.len().div_ceil(most).max(1);
    all.iter().copied().step_by(step).collect()
}

/// The point of the outer line nearest to where the load comes from.
fn upwind_edge(zone: &Zone) -> Option<Position> {
    let outer = zone.outer()?;
    let from = zone.burst.position;
    let from = if from.distance_m(outer.center) > 1_000.0 {
        from
    } else {
        zone.release.position
    };
    outer
        .ring
        .iter()
        .min_by(|a, b| a.distance_m(from).total_cmp(&b.distance_m(from)))
        .copied()
}

fn apart(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_clumps_get_a_car_each() {
        let road = Line {
            points: Vec::new(),
            class: RoadClass::Primary,
            name: String::new(),
        };
        let place = |x: f64| OnRoad {
            at: [x, 0.0],
            position: Position::new(0.0, x / 111_000.0).unwrap(),
            road: &road,
        };
        let roads: Vec<OnRoad> = (0..=20).map(|k| place(1_000.0 * f64::from(k))).collect();
        let mut landings = vec![[4_000.0, 0.0]; 30];
        landings.extend(vec![[15_000.0, 0.0]; 20]);
        let chosen = nearest_on_roads(&roads, &landings);
        assert_eq!(chosen.len(), 2);
        assert_eq!((chosen[0].at[0], chosen[1].at[0]), (4_000.0, 15_000.0));
        assert!(nearest_on_roads(&[], &landings).is_empty());
    }
}
