//! Years of winds once their files are open: flights a second with balloon physics, winds decoded, ground
//! looked at. `cargo bench --bench years`.
//!
//! Aim: 40 hours from 5 fields with 200 draws each under 2 s on two cores, 100,000 flights a second a core
//! where there are many draws.
//!
//! Counted are flights that land. Of the sample's 83 hours 49 have no winds for a release, and of 8 more the
//! planned flight leaves the region: draws of those are not flown, so only hours of the day are asked for.

#![allow(missing_docs, reason = "what the macros of criterion make")]
#![allow(clippy::expect_used, reason = "a bench may fail as a test may")]

use std::path::PathBuf;

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use windfall::choice::candidates::Candidate;
use windfall::geodesy::Position;
use windfall::plan::Plan;
use windfall::sources::Hints;
use windfall::years::digest::Digest;
use windfall::years::long_record::LongRecord;
use windfall::years::{Job, YearsRequest};
use windfall::zone::Options;

fn job(draws: u64, fields: u32) -> Job {
    let plan = Plan::read("samples/ribatejo/plan.toml").expect("a plan");
    let files = [PathBuf::from("samples/ribatejo/era5-portugal-2023.nc")];
    let candidate = |i: u32| {
        let place = Position::new(39.7 + 0.02 * f64::from(i), -8.85).expect("a place");
        Candidate::at(place)
    };
    let candidates: Vec<Candidate> = (0..fields).map(candidate).collect();
    let record = LongRecord::survey(&plan, &files, &Hints::default(), None).expect("a record");
    let asked = YearsRequest {
        between: [None; 2],
        every_s: 3_600,
        hours_s: [9 * 3_600, 16 * 3_600],
        into: None,
        cell_m: 5_000.0,
        options: Options {
            draws,
            seed: 1,
            keep_draws: false,
        },
    };
    Job::new(&plan, &candidates, record, asked, Digest::default()).expect("a job")
}

fn years(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("years");
    group.sample_size(10);
    for (draws, fields) in [(20, 5), (200, 5), (2_000, 1)] {
        let job = job(draws, fields);
        let part = job.fly(0..job.units(), |_| ()).expect("flights");
        let landed = part.releases.iter().map(|release| release.landed).sum();
        group.throughput(Throughput::Elements(landed));
        let name = format!("{draws} draws from {fields} fields, {landed} land");
        group.bench_function(BenchmarkId::from_parameter(name), |bencher| {
            bencher.iter(|| job.fly(0..job.units(), |_| ()).expect("flights"));
        });
    }
    group.finish();
}

criterion_group!(benches, years);
criterion_main!(benches);
