//! Forecasts: opening, cutting, and flights a second through a field. `cargo bench --bench field`.
//!
//! Aims: 40,000 flights a second on one core through the block with the balloon's physics and the
//! full spread (better 80,000), 1.8 times that on two; opening the regional file and cutting it
//! under 100 ms, the global one under 150 ms.

#![allow(missing_docs, reason = "what the macros of criterion make")]
#![allow(clippy::expect_used, reason = "a bench may fail as a test may")]

#[path = "../tests/common/mod.rs"]
mod common;
#[path = "../tests/common/stack.rs"]
mod stack;

use std::path::Path;

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use jiff::Timestamp;
use rayon::ThreadPoolBuilder;
use stack::Stack;
use windfall::flight::field::LayerField;
use windfall::flight::layers::THICKNESS_M;
use windfall::flight::model::{FlightModel, FlightWinds};
use windfall::geodesy::Position;
use windfall::sources::grid::GridFile;
use windfall::sources::grid::archive::{Archive, Joining};
use windfall::spread::run::run;
use windfall::wind::grid::Block;

const FLIGHTS: u64 = 2_000;
/// 31 levels at a quarter of a degree, one time.
const REGIONAL: &str = "tests/data/grids/gfs_0p25_western_europe_20200314_00z.grib2";
/// 352 messages at 2.5 degrees.
const GLOBAL: &str = "tests/data/grids/gfs_2p5_global_20110110_12z_f120.grib2";
/// 44 times at a quarter of a degree.
const HOURLY: &str = "samples/ribatejo/era5-portugal-2023.nc";

fn archive(file: &str) -> Archive {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(file);
    let file = GridFile::open(&path).expect("a forecast");
    Archive::join(vec![file], Joining::default()).expect("winds")
}

/// The winds within 300 km of a site, from two hours before a time to twelve after it.
fn cut(archive: &Archive, site: Position, time: Timestamp) -> Block {
    let window = archive.lattice.around(site, 300_000.0).expect("a window");
    let hours = jiff::SignedDuration::from_hours;
    let steps = archive.steps_around(time - hours(2), time + hours(12));
    archive.cut(window, steps).expect("a block")
}

fn model(file: &str, site: Position, release: Timestamp) -> (Stack, FlightModel) {
    let stack = Stack::at_riverton();
    let mut model = stack.balloon_model(THICKNESS_M);
    model.start = site.normal();
    let block = cut(&archive(file), site, release);
    let field = LayerField::of_block(&block, site, release, &model.layers, &model.compass)
        .expect("a field");
    model.winds = FlightWinds::Field(Box::new(field));
    (stack, model)
}

fn flights(criterion: &mut Criterion) {
    let at = |lat, lon| Position::new(lat, lon).expect("a place");
    let time = |text: &str| text.parse::<Timestamp>().expect("a time");
    let cases = [
        (
            "one time",
            REGIONAL,
            at(46.0, 2.0),
            time("2020-03-14T00:00:00Z"),
        ),
        (
            "hourly",
            HOURLY,
            at(39.5, -8.3),
            time("2023-10-12T10:00:00Z"),
        ),
    ];
    for (name, file, site, release) in cases {
        let (stack, model) = model(file, site, release);
        let (sampler, wind_error) = (stack.sampler(), stack.wind_error(&model));
        let mut group = criterion.benchmark_group("flights");
        group.throughput(Throughput::Elements(FLIGHTS));
        for cores in [1, 2] {
            let pool = ThreadPoolBuilder::new()
                .num_threads(cores)
                .build()
                .expect("a pool");
            let landed = pool.install(|| run(&model, &sampler, Some(&wind_error), 200, || {}));
            assert!(landed.landed.len() > 190, "{:?}", landed.missed);
            group.bench_function(BenchmarkId::new(name, cores), |bencher| {
                bencher.iter(|| {
                    pool.install(|| run(&model, &sampler, Some(&wind_error), FLIGHTS, || {}))
                });
            });
        }
        group.finish();
    }
}

fn opening(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("open and cut");
    let europe = Position::new(46.0, 2.0).expect("a place");
    for (name, file, time) in [
        ("regional, 432 messages", REGIONAL, "2020-03-14T00:00:00Z"),
        ("global, 352 messages", GLOBAL, "2011-01-15T12:00:00Z"),
    ] {
        let time = time.parse().expect("a time");
        group.bench_function(name, |bencher| {
            bencher.iter(|| cut(&archive(file), europe, time));
        });
    }
    group.finish();
}

criterion_group!(benches, flights, opening);
criterion_main!(benches);
