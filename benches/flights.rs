//! Flights a second on one core, single column, full spread. `cargo bench --bench flights`.
//!
//! Aims: 100,000 a second with the balloon's physics, 300,000 with stated rates.

#![allow(missing_docs, reason = "what the macros of criterion make")]
#![allow(clippy::expect_used, reason = "a bench may fail as a test may")]

#[path = "../tests/common/mod.rs"]
mod common;
#[path = "../tests/common/stack.rs"]
mod stack;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use rayon::ThreadPoolBuilder;
use stack::Stack;
use windfall::flight::layers::{STATED_THICKNESS_M, THICKNESS_M};
use windfall::flight::model::FlightModel;
use windfall::flight::rise::RiseTable;
use windfall::spread::run::run;

const FLIGHTS: u64 = 2_000;

fn fly(criterion: &mut Criterion, name: &str, stack: &Stack, model: &FlightModel) {
    let one_core = ThreadPoolBuilder::new()
        .num_threads(1)
        .build()
        .expect("a pool");
    let (sampler, wind_error) = (stack.sampler(), stack.wind_error(model));
    let mut group = criterion.benchmark_group("one core");
    group.throughput(Throughput::Elements(FLIGHTS));
    group.bench_function(name, |bencher| {
        bencher
            .iter(|| one_core.install(|| run(model, &sampler, Some(&wind_error), FLIGHTS, || {})));
    });
    group.finish();
}

fn flights(criterion: &mut Criterion) {
    let stack = Stack::at_riverton();
    fly(
        criterion,
        "balloon physics",
        &stack,
        &stack.balloon_model(THICKNESS_M),
    );
    fly(
        criterion,
        "stated rates",
        &stack,
        &stack.stated_model(STATED_THICKNESS_M),
    );
}

fn table(criterion: &mut Criterion) {
    let stack = Stack::at_riverton();
    criterion.bench_function("rise table, all cores", |bencher| {
        bencher.iter(|| {
            RiseTable::new(
                &stack.plan,
                stack.rise_spread(),
                &stack.column.air,
                &stack.layers(THICKNESS_M),
            )
        });
    });
}

criterion_group!(benches, flights, table);
criterion_main!(benches);
