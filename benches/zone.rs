//! `windfall zone` and `windfall brief` from the start of the process to its end.
//! `cargo bench --bench zone`.
//!
//! Aim on two cores: under 0.1 s for a zone of 2,000 draws, in proportion to the draws beyond; under 2 s
//! for a briefing of 2,000 draws with all its files.

#![allow(missing_docs, reason = "what the macros of criterion make")]
#![allow(clippy::expect_used, reason = "a bench may fail as a test may")]

use std::process::{Command, Stdio};

use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};

fn run(args: &[&str]) {
    let status = Command::new(env!("CARGO_BIN_EXE_windfall"))
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args(args)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .expect("it starts");
    assert!(status.success());
}

fn zone(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("windfall zone");
    for draws in ["2000", "20000"] {
        group.bench_function(BenchmarkId::from_parameter(draws), |bencher| {
            let args = ["zone", "samples/high-plains/plan.toml", "--draws", draws];
            bencher.iter(|| run(&args));
        });
    }
    group.finish();
}

fn brief(criterion: &mut Criterion) {
    let folder = tempfile::tempdir().expect("a folder");
    let out = folder.path().display().to_string();
    let plan = "samples/ribatejo/plan.toml";
    let args = ["brief", plan, "--draws", "2000", "--out", &out];
    criterion.bench_function("windfall brief/2000", |bencher| {
        bencher.iter(|| run(&args));
    });
}

criterion_group!(benches, zone, brief);
criterion_main!(benches);
