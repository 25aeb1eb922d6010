//! How often landings hit what is on the ground, against closed forms.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)]

use std::path::Path;

use windfall::geodesy::{Normal, Position};
use windfall::ground::hits::{Share, default_buffers, hits};
use windfall::ground::layers::{
    Area, Kind, Layer, LayerFinding, LayerRequest, Line, RoadClass, read,
};
use windfall::ground::map::{Class, GroundMap, Knowledge};
use windfall::ground::region::Region;
use windfall::random::SplitMix;

fn at(lat: f64, lon: f64) -> Position {
    Position::new(lat, lon).unwrap()
}

/// Landings with normal deviates of `sd_m` east and north of a centre.
fn landings(center: Position, sd_m: [f64; 2], count: usize) -> Vec<Normal> {
    let mut stream = SplitMix::stream(7, 0);
    (0..count)
        .map(|_| {
            let [x, y] = sd_m.map(|sd| sd * stream.next_normal());
            let azimuth = x.atan2(y).to_degrees().rem_euclid(360.0);
            center.destination(azimuth, x.hypot(y)).normal()
        })
        .collect()
}

/// Cumulative normal distribution, by the series for erf: good to 1e-12 for |x| below 6.
fn phi(x: f64) -> f64 {
    let (mut term, mut sum) = (x, x);
    for k in 1..200 {
        term *= x * x / (2.0 * f64::from(k) + 1.0);
        sum += term;
    }
    0.5 + sum * (-0.5 * x * x).exp() / std::f64::consts::TAU.sqrt()
}

/// A square of the plane around a centre, given by its corners in metres, as degrees.
fn square(center: Position, west: f64, south: f64, side: f64) -> Vec<[f64; 2]> {
    let corners = [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]];
    let place = |[i, j]: [f64; 2]| {
        let (x, y) = (west + i * side, south + j * side);
        let p = center.destination(x.atan2(y).to_degrees().rem_euclid(360.0), x.hypot(y));
        [p.lon_deg, p.lat_deg]
    };
    corners.map(place).to_vec()
}

fn layer(kind: Kind, areas: Vec<Area>) -> Layer {
    let mut layer = Layer::new(kind, "made for the test");
    layer.areas = areas;
    layer
}

fn within(share: Share, exact: f64, deviations: f64) {
    let error = (exact * (1.0 - exact) / share.draws as f64).sqrt();
    let off = (share.share() - exact) / error;
    assert!(off.abs() < deviations, "{} {exact} {off}", share.share());
}

/// A chequerboard of 1 km under a Gaussian of 2 by 1.2 km: the exact share of each square and of
/// all black ones is a sum of products of the cumulative normal distribution.
#[test]
fn shares_on_a_chequerboard_are_gaussian_integrals() {
    for center in [at(43.0, -108.4), at(-17.0, 180.0), at(0.0, 0.0)] {
        let sd = [2_000.0, 1_200.0];
        let region = Region::around(center, 20_000.0);
        let mut black = Vec::new();
        let mut exact = 0.0;
        let mut one = 0.0;
        for i in -8..8 {
            for j in -8..8 {
                if (i + j) % 2 != 0 {
                    continue;
                }
                let (x, y) = (1_000.0 * f64::from(i), 1_000.0 * f64::from(j));
                let of = |low: f64, sd: f64| phi((low + 1_000.0) / sd) - phi(low / sd);
                let p = of(x, sd[0]) * of(y, sd[1]);
                exact += p;
                if (i, j) == (1, 1) {
                    one = p;
                }
                let ring = square(center, x, y, 1_000.0);
                black.push(Area {
                    rings: region.clip_ring(&ring),
                    name: format!("{i} {j}"),
                });
            }
        }
        let map = GroundMap::new(region, &[layer(Kind::KeepOut, black)]).unwrap();
        let landings = landings(center, sd, 200_000);
        let found = hits(&map, &default_buffers(), &landings);
        assert_eq!((found.draws, found.outside), (200_000, 0));
        within(found.share(Class::KeepOut).unwrap(), exact, 4.0);
        let area = found.areas.iter().find(|a| a.name == "1 1").unwrap();
        within(area.share, one, 4.0);
        let sum: usize = found.areas.iter().map(|a| a.share.hits).sum();
        assert_eq!(
            sum,
            found.share(Class::KeepOut).unwrap().hits,
            "squares do not overlap"
        );
    }
}

/// A straight road 1.5 km north of the centre: the share within a buffer is a difference of
/// cumulative normals, the distance to it a folded normal.
#[test]
fn buffers_around_a_straight_road_are_as_wide_as_they_say() {
    let center = at(52.0, 13.0);
    let region = Region::around(center, 30_000.0);
    let ends = [
        center.destination(270.0, 40_000.0),
        center.destination(90.0, 40_000.0),
    ];
    // A geodesic through the centre, then moved north by what the plane says.
    let points: Vec<[f64; 2]> = (0..=400)
        .map(|k| {
            let east = -40_000.0 + 200.0 * f64::from(k);
            let azimuth = east.atan2(1_500.0).to_degrees().rem_euclid(360.0);
            let p = center.destination(azimuth, east.hypot(1_500.0));
            [p.lon_deg, p.lat_deg]
        })
        .collect();
    assert!(ends[0].distance_m(ends[1]) > 79_000.0);
    let mut roads = Layer::new(Kind::Road, "made for the test");
    roads.lines.push(Line {
        points,
        class: RoadClass::Primary,
        name: "straight".into(),
    });
    let map = GroundMap::new(region, &[roads]).unwrap();
    let sd = 1_000.0;
    let landings = landings(center, [1_500.0, sd], 100_000);
    let mut buffers = default_buffers();
    for buffer in &mut buffers {
        buffer.radius_m = 400.0;
    }
    let found = hits(&map, &buffers, &landings);
    let exact = phi(1_900.0 / sd) - phi(1_100.0 / sd);
    within(
        found.share(Class::Road(RoadClass::Primary)).unwrap(),
        exact,
        4.0,
    );
    assert_eq!(
        found.share(Class::Road(RoadClass::Motorway)).unwrap().hits,
        0
    );
    // The median of |1500 - y|, y normal with 1000: found by bisection of its distribution.
    let folded = |d: f64| phi((1_500.0 + d) / sd) - phi((1_500.0 - d) / sd);
    let (mut low, mut high) = (0.0, 5_000.0);
    while high - low > 1e-6 {
        let middle = 0.5 * (low + high);
        if folded(middle) < 0.5 {
            low = middle
        } else {
            high = middle
        }
    }
    let median = found.walk_in_m(0.5).unwrap();
    assert!((median - low).abs() < 15.0, "{median} {low}");
    let (distance, class, name) = map.nearest_road(center.normal()).unwrap();
    assert!((distance - 1_500.0).abs() < 1.0, "{distance}");
    assert_eq!((class, name), (RoadClass::Primary, "straight"));
}

#[test]
fn a_polygon_with_a_hole_across_the_antimeridian() {
    let center = at(-17.0, 180.0);
    let region = Region::around(center, 100_000.0);
    let outer = [
        [179.8, -17.2],
        [-179.8, -17.2],
        [-179.8, -16.8],
        [179.8, -16.8],
    ];
    let hole = [
        [179.9, -17.1],
        [179.9, -16.9],
        [-179.9, -16.9],
        [-179.9, -17.1],
    ];
    let rings = [outer, hole]
        .iter()
        .flat_map(|r| region.clip_ring(r))
        .collect();
    let name = "ring".to_owned();
    let map = GroundMap::new(region, &[layer(Kind::LandIn, vec![Area { rings, name }])]).unwrap();
    for (lat, lon, inside) in [
        (-17.0, 180.0, false),
        (-17.0, 179.95, false),
        (-17.0, 179.85, true),
        (-17.0, -179.85, true),
        (-17.15, 180.0, true),
        (-16.7, 180.0, false),
        (-17.0, -179.7, false),
    ] {
        let holding = map.areas_holding(Class::LandIn, at(lat, lon).normal());
        assert_eq!(holding == ["ring"], inside, "{lat} {lon}");
    }
}

/// Distances to roads against the geodesic to a point of the road, up to 100 km away: a road that
/// is a single short edge, so that its middle is the nearest to within its own length.
#[test]
fn distances_to_roads_are_true_to_a_thousandth() {
    let center = at(61.0, -149.0);
    let region = Region::around(center, 220_000.0);
    let there = center.destination(40.0, 100_000.0);
    let mut roads = Layer::new(Kind::Road, "made for the test");
    let end = there.destination(0.0, 1.0);
    roads.lines.push(Line {
        points: vec![[there.lon_deg, there.lat_deg], [end.lon_deg, end.lat_deg]],
        class: RoadClass::Local,
        name: String::new(),
    });
    let map = GroundMap::new(region, &[roads]).unwrap();
    for (azimuth, from_m) in [
        (0.0, 0.0),
        (220.0, 80_000.0),
        (100.0, 60_000.0),
        (40.0, 99_000.0),
    ] {
        let here = center.destination(azimuth, from_m);
        let exact = here.distance_m(there);
        let got = map.nearest_road(here.normal()).unwrap().0;
        assert!(
            (got - exact).abs() < 1.0 + 1e-3 * exact,
            "{azimuth}: {got} {exact}"
        );
    }
}

/// A square as an area, as a layer covers it.
fn box_of(west: f64, east: f64, south: f64, north: f64) -> Area {
    Area {
        rings: vec![vec![
            [west, south],
            [east, south],
            [east, north],
            [west, north],
        ]],
        name: String::new(),
    }
}

/// An extract from beside Grand Rapids knows nothing of Grand Rapids.
#[test]
fn a_layer_tells_only_of_what_it_covers() {
    let center = at(42.96, -85.67);
    let region = Region::around(center, 100_000.0);
    let covers = Some(box_of(-85.3, -84.5, 42.0, 44.0));
    let mut urban = layer(Kind::Urban, vec![box_of(-85.2, -85.19, 42.9, 42.91)]);
    urban.covers.clone_from(&covers);
    let mut lines = Layer::new(Kind::PowerLine, "beside");
    lines.lines.push(Line {
        points: vec![[-85.2, 42.8], [-85.2, 43.1]],
        class: RoadClass::Unknown,
        name: String::new(),
    });
    let mut roads = Layer::new(Kind::Road, "beside");
    roads.lines.push(Line {
        class: RoadClass::Local,
        ..lines.lines[0].clone()
    });
    (lines.covers, roads.covers) = (covers.clone(), covers);
    let beside = GroundMap::new(region, &[urban, lines, roads]).unwrap();
    let bare = GroundMap::new(region, &[]).unwrap();

    let there = landings(center, [5_000.0, 5_000.0], 1_000);
    let of = |map: &GroundMap, landings: &[Normal]| hits(map, &default_buffers(), landings);
    let (with, without) = (of(&beside, &there), of(&bare, &there));
    assert!(without.share(Class::Urban).unwrap().hits > 300);
    assert_eq!(with.share(Class::Urban), without.share(Class::Urban));
    assert_eq!(with.share(Class::PowerLine), None);
    assert_eq!(with.share(Class::Road(RoadClass::Local)), None);
    assert_eq!(with.walk_in_m(0.5), None);

    // Where the extract tells, what is built in does not.
    let covered = landings(at(42.95, -85.1), [3_000.0, 3_000.0], 1_000);
    let with = of(&beside, &covered);
    let urban = with
        .classes
        .iter()
        .find(|row| row.buffer.class == Class::Urban);
    assert_eq!(urban.unwrap().knowledge, Knowledge::Known);
    assert!(with.share(Class::PowerLine).is_some() && with.walk_in_m(0.5).is_some());
}

/// A town that most landings hit is a town, though some landings lie beyond what the layer covers.
#[test]
fn what_was_hit_is_told_wherever_layers_end() {
    let center = at(42.96, -85.67);
    let region = Region::around(center, 100_000.0);
    let mut lines = Layer::new(Kind::PowerLine, "west of here");
    lines.lines.push(Line {
        points: vec![[-85.7, 42.8], [-85.7, 43.1]],
        class: RoadClass::Unknown,
        name: String::new(),
    });
    lines.covers = Some(box_of(-86.0, -85.6, 42.0, 44.0));
    let map = GroundMap::new(region, &[lines]).unwrap();
    let on_it = vec![at(42.96, -85.7).normal(); 900];
    let beyond = vec![at(42.96, -85.5).normal(); 100];
    let found = hits(&map, &default_buffers(), &[on_it, beyond].concat());
    let row = found
        .classes
        .iter()
        .find(|row| row.buffer.class == Class::PowerLine)
        .unwrap();
    assert_eq!(row.knowledge, Knowledge::Coarse);
    assert_eq!(row.share.unwrap().hits, 900);
}

#[test]
fn nobody_walks_in_from_a_motorway() {
    let center = at(43.0, -108.0);
    let along = |lat: f64, class: RoadClass| {
        let mut road = Layer::new(Kind::Road, "made for the test");
        road.lines.push(Line {
            points: vec![[-108.1, lat], [-107.9, lat]],
            class,
            name: String::new(),
        });
        road
    };
    let found = |layers: &[Layer]| {
        let map = GroundMap::new(Region::around(center, 30_000.0), layers).unwrap();
        hits(&map, &default_buffers(), &[center.normal()])
    };
    let motorway = along(43.0, RoadClass::Motorway);
    let alone = found(std::slice::from_ref(&motorway));
    assert_eq!(alone.walk_in_m(0.9), None);
    let hit = Class::Road(RoadClass::Motorway);
    assert_eq!(alone.share(hit).unwrap().hits, 1);
    let both = found(&[motorway, along(43.01, RoadClass::Local)]);
    assert!((both.walk_in_m(0.9).unwrap() - 1_111.0).abs() < 2.0);
    assert_eq!(both.share(hit).unwrap().hits, 1);
}

#[test]
fn the_parts_of_one_reserve_are_counted_together() {
    let center = at(43.0, -108.0);
    let named = |west_m: f64, name: &str| Area {
        rings: vec![square(center, west_m, -500.0, 1_000.0)],
        name: name.to_owned(),
    };
    let parts = vec![
        named(-5_000.0, "Reserve"),
        named(-500.0, ""),
        named(5_000.0, "Reserve"),
        named(9_000.0, ""),
    ];
    let region = Region::around(center, 50_000.0);
    let map = GroundMap::new(region, &[layer(Kind::KeepOut, parts)]).unwrap();
    let east = |m: f64| center.destination(90.0, m).normal();
    let places = [east(-4_500.0), east(5_500.0), east(0.0), east(20_000.0)];
    let found = hits(&map, &default_buffers(), &places);
    let rows: Vec<(&str, usize)> = found
        .areas
        .iter()
        .map(|row| (row.name.as_str(), row.share.hits))
        .collect();
    assert_eq!(rows, [("Reserve", 2), ("no. 2", 1)]);

    // Of another file it is another one.
    let files =
        [-5_000.0, 5_000.0].map(|west_m| layer(Kind::KeepOut, vec![named(west_m, "Reserve")]));
    let found = hits(
        &GroundMap::new(region, &files).unwrap(),
        &default_buffers(),
        &places,
    );
    let counts: Vec<usize> = found.areas.iter().map(|row| row.share.hits).collect();
    assert_eq!(counts, [1, 1]);
}

fn idaho() -> (Position, Region, Vec<Layer>) {
    let center = at(43.6, -113.0);
    let region = Region::around(center, 120_000.0);
    let file = |name: &str| Path::new("samples/idaho").join(name);
    let layers = vec![
        read(
            &file("roads.geojson"),
            &LayerRequest::new(Kind::Road),
            &region,
        )
        .unwrap(),
        read(
            &file("lakes.geojson"),
            &LayerRequest::new(Kind::Lake),
            &region,
        )
        .unwrap(),
    ];
    (center, region, layers)
}

#[test]
fn real_roads_and_lakes() {
    let (center, region, layers) = idaho();
    assert_eq!((layers[0].lines.len(), layers[1].areas.len()), (47, 53));
    assert!(
        layers[0]
            .notes
            .iter()
            .any(|n| matches!(n.found, LayerFinding::NoClass { .. }))
    );
    let map = GroundMap::new(region, &layers).unwrap();
    assert_eq!(
        map.knowledge(Class::Road(RoadClass::Unknown)),
        Knowledge::Known
    );
    assert_eq!(map.knowledge(Class::Lake), Knowledge::Known);
    assert_eq!(map.knowledge(Class::Urban), Knowledge::Coarse);
    assert_eq!(map.knowledge(Class::PowerLine), Knowledge::Unknown);
    let landings = landings(center, [20_000.0, 15_000.0], 20_000);
    let found = hits(&map, &default_buffers(), &landings);
    assert!(found.share(Class::Road(RoadClass::Unknown)).unwrap().hits > 10);
    assert_eq!(found.share(Class::PowerLine), None);
    assert_eq!(found.to_road_m.len(), found.draws);
    // Each distance is what a search through all edges finds, on planes around the landings.
    for landing in landings.iter().step_by(1_000) {
        let here = Region::around(landing.position(), 100_000.0);
        let edges = layers[0].lines.iter().flat_map(|l| l.points.windows(2));
        let nearest = edges
            .map(|w| from_origin(here.project(w[0]), here.project(w[1])))
            .fold(f64::INFINITY, f64::min);
        let got = map.nearest_road(*landing).unwrap().0;
        assert!(
            (got - nearest).abs() < 1.0 + 1e-3 * nearest,
            "{got} {nearest}"
        );
    }
}

/// The distance of an edge from 0, 0.
fn from_origin(a: [f64; 2], b: [f64; 2]) -> f64 {
    let d = [b[0] - a[0], b[1] - a[1]];
    let length2 = d[0] * d[0] + d[1] * d[1];
    let t = if length2 > 0.0 {
        -(a[0] * d[0] + a[1] * d[1]) / length2
    } else {
        0.0
    };
    let t = t.clamp(0.0, 1.0);
    (a[0] + t * d[0]).hypot(a[1] + t * d[1])
}

#[test]
fn landings_outside_the_region_are_told_apart() {
    let center = at(43.0, -108.0);
    let map = GroundMap::new(Region::around(center, 10_000.0), &[]).unwrap();
    let far = center.destination(10.0, 20_000.0).normal();
    let found = hits(&map, &default_buffers(), &[center.normal(), far]);
    assert_eq!((found.draws, found.outside), (1, 1));
    assert!(found.to_road_m.is_empty() && found.walk_in_m(0.5).is_none());
    let none = hits(&map, &default_buffers(), &[]);
    assert_eq!((none.draws, none.outside), (0, 0));
}
