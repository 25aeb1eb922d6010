//! One report of a flight that is followed: heard, learnt from, all draws flown on, regions drawn.
//! `cargo bench --bench follow`.
//!
//! Aim on two cores: under 50 ms with 2,000 draws.

#![allow(missing_docs, reason = "what the macros of criterion make")]
#![allow(clippy::expect_used, reason = "a bench may fail as a test may")]

use std::time::{Duration, Instant};

use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use windfall::follow::Follower;
use windfall::plan::Plan;
use windfall::track::{Report, Stamp};
use windfall::winds::Winds;
use windfall::zone::{Mark, Options};

fn report(mark: &Mark) -> Report {
    Report {
        tracker: String::new(),
        stamp: Stamp::At(mark.time),
        heard: None,
        position: mark.position,
        altitude_m: Some(mark.altitude_m),
    }
}

/// A whole planned flight heard, a report a layer; the time of each report on average.
fn of_report(plan: &Plan, winds: &Winds, draws: u64) -> Duration {
    let options = Options {
        draws,
        ..Options::default()
    };
    let mut follower = Follower::new(plan, winds, options).expect("a flight");
    let track = follower.zone().track.clone();
    let (mut spent, mut reports) = (Duration::ZERO, 0);
    for mark in &track[..track.len() - 5] {
        let begin = Instant::now();
        follower.hear(Ok(report(mark)), None);
        follower.standing(None).expect("a standing");
        spent += begin.elapsed();
        reports += 1;
    }
    spent / reports
}

fn reports(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("one report");
    group.sample_size(10);
    for (name, path) in [
        ("one sounding", "samples/high-plains/plan.toml"),
        ("forecast", "samples/ribatejo/plan.toml"),
    ] {
        let plan = Plan::read(path).expect("a plan");
        let winds = Winds::of_plan(&plan).expect("winds");
        group.bench_function(BenchmarkId::new(name, 2_000), |bencher| {
            bencher.iter_custom(|times| {
                let one = |_| of_report(&plan, &winds, 2_000);
                (0..times).map(one).sum()
            });
        });
    }
    group.finish();
}

criterion_group!(benches, reports);
criterion_main!(benches);
