//! What lies below: heights and touchdowns on a real tile, hits on real roads and lakes.

// Bench code may fail as a test may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::hint::black_box;
use std::path::Path;

use criterion::{Criterion, criterion_group, criterion_main};
use windfall::geodesy::{Normal, Position};
use windfall::ground::hits::{default_buffers, hits};
use windfall::ground::layers::{Kind, LayerRequest, read};
use windfall::ground::map::GroundMap;
use windfall::ground::region::Region;
use windfall::ground::terrain::Terrain;
use windfall::ground::touchdown::{Fix, touchdown};

fn place(lat: f64, lon: f64) -> Position {
    Position::new(lat, lon).unwrap()
}

/// Places all around a centre, so far away at most.
fn around(center: Position, most_m: f64, count: u32) -> Vec<Normal> {
    let place = |i: u32| {
        let turn = f64::from(i) * 137.508;
        let away_m = most_m * (f64::from(i) / f64::from(count)).sqrt();
        center.destination(turn, away_m).normal()
    };
    (0..count).map(place).collect()
}

fn heights(criterion: &mut Criterion) {
    let middle = place(44.5, -71.5);
    let region = Region::around(middle, 90_000.0);
    let terrain = Terrain::open(&["tests/data/ground/N44W072.hgt.gz"], &region).unwrap();
    let places = around(middle, 35_000.0, 1_000);
    criterion.bench_function("heights of 1,000 places", |bench| {
        bench.iter(|| {
            places
                .iter()
                .filter_map(|p| terrain.height_at(*p))
                .sum::<f64>()
        });
    });
    let image = Terrain::open(&["tests/data/ground/utm.tif"], &region).unwrap();
    criterion.bench_function("heights of 1,000 places of a projected image", |bench| {
        bench.iter(|| {
            places
                .iter()
                .filter_map(|p| image.height_at(*p))
                .sum::<f64>()
        });
    });
    // A fall at 5 m/s in 8 m/s of wind, a point every 250 m of height.
    let fall = |from: &Normal| -> Vec<Fix> {
        let fix = |k: i32| Fix {
            place: from
                .position()
                .destination(70.0, 400.0 * f64::from(k))
                .normal(),
            altitude_m: 2_500.0 - 250.0 * f64::from(k),
        };
        (0..=10).map(fix).collect()
    };
    let falls: Vec<Vec<Fix>> = places.iter().map(fall).collect();
    criterion.bench_function("1,000 touchdowns from 2,500 m", |bench| {
        let found = || falls.iter().filter_map(|f| touchdown(&terrain, f)).count();
        bench.iter(found);
    });
}

fn idaho(criterion: &mut Criterion) {
    let middle = place(43.6, -113.0);
    let region = Region::around(middle, 80_000.0);
    let layer = |kind, file: &str| {
        let path = Path::new("samples/idaho").join(file);
        read(&path, &LayerRequest::new(kind), &region).unwrap()
    };
    let layers = [
        layer(Kind::Road, "roads.geojson"),
        layer(Kind::KeepOut, "lakes.geojson"),
    ];
    criterion.bench_function("map of roads, lakes and what is built in", |bench| {
        bench.iter(|| GroundMap::new(region, black_box(&layers)).unwrap());
    });
    let map = GroundMap::new(region, &layers).unwrap();
    let (buffers, landings) = (default_buffers(), around(middle, 50_000.0, 10_000));
    criterion.bench_function("hits of 10,000 landings", |bench| {
        bench.iter(|| hits(&map, &buffers, black_box(&landings)));
    });
}

criterion_group!(benches, heights, idaho);
criterion_main!(benches);
