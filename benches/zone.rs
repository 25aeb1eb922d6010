//! `windfall zone` from the start of the process to its end. `cargo bench --bench zone`.
//!
//! Aim: under 0.1 s for 2,000 draws on two cores; the cost grows in proportion to the draws.

#![allow(missing_docs, reason = "what the macros of criterion make")]
#![allow(clippy::expect_used, reason = "a bench may fail as a test may")]

use std::process::{Command, Stdio};

use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};

fn zone(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("windfall zone");
    for draws in ["2000", "20000"] {
        group.bench_function(BenchmarkId::from_parameter(draws), |bencher| {
            bencher.iter(|| {
                let status = Command::new(env!("CARGO_BIN_EXE_windfall"))
                    .current_dir(env!("CARGO_MANIFEST_DIR"))
                    .args(["zone", "samples/high-plains/plan.toml", "--draws", draws])
                    .stdout(Stdio::null())
                    .status()
                    .expect("it starts");
                assert!(status.success());
            });
        });
    }
    group.finish();
}

criterion_group!(benches, zone);
criterion_main!(benches);
