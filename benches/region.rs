//! How long ellipses and contours take: `cargo bench --bench region`.

use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use std::hint::black_box;
use windfall::spread::region::{Ellipse, Regions, contours};

#[path = "../tests/common/normals.rs"]
mod normals;

/// Covariance of the landings, square metres: the worked one of tests/ellipse.rs.
const COVARIANCE_M2: [[f64; 2]; 2] = [[25e6, 12e6], [12e6, 16e6]];

fn regions(c: &mut Criterion) {
    let mut group = c.benchmark_group("region");
    for n in [2_000, 20_000] {
        let draws = normals::Normals::new(1).points(n, [40_000.0, -7_000.0], COVARIANCE_M2);
        group.bench_with_input(BenchmarkId::new("ellipse", n), &draws, |b, draws| {
            b.iter(|| Ellipse::of(black_box(draws), 0.9));
        });
        group.bench_with_input(BenchmarkId::new("contours", n), &draws, |b, draws| {
            b.iter(|| contours(black_box(draws), &[0.5, 0.9]));
        });
        group.bench_with_input(BenchmarkId::new("all", n), &draws, |b, draws| {
            b.iter(|| Regions::of(black_box(draws)));
        });
    }
    group.finish();
}

criterion_group!(benches, regions);
criterion_main!(benches);
