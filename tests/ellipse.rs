//! Ellipses, circles and contours against closed forms of the bivariate normal.
//!
//! Values computed outside this project from chi-square(2) = -2 ln(1 - p), Hotelling's prediction
//! region with the quantiles of F, and numeric integration of the bivariate normal (CEP, R95).
//! Coverage is tested with fixed seeds against exact binomial bounds.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "common/normals.rs"]
mod normals;

use normals::Normals;
use windfall::spread::region::{
    CONTOUR_PROBABILITIES, Ellipse, RegionNote, Regions, contours, radius_holding, squared_radius,
    squared_radius_predicted,
};

/// The worked covariance, square kilometres (east, north), here taken as square metres.
const WORKED: [[f64; 2]; 2] = [[25.0, 12.0], [12.0, 16.0]];

fn close(found: f64, expected: f64, tolerance: f64) {
    assert!(
        (found - expected).abs() <= tolerance,
        "{found} is not {expected}"
    );
}

#[test]
fn radius_of_a_share() {
    for (p, chi2) in [
        (0.393469, 1.0),
        (0.50, 1.386294361),
        (0.68, 2.278868566),
        (0.864665, 4.0),
        (0.90, 4.605170186),
        (0.95, 5.991464547),
        (0.988891, 9.0),
        (0.99, 9.210340372),
    ] {
        // Shares are given to 6 digits: 1e-6 / (1 - p) in chi-square is allowed where it matters.
        let tolerance = if chi2 == f64::round(chi2) { 2e-4 } else { 1e-9 };
        close(squared_radius(p).unwrap(), chi2, tolerance);
    }
}

#[test]
fn the_worked_covariance() {
    let area = |e: &Ellipse| e.area_m2();
    for (p, major, minor) in [
        (0.50, 6.796013, 3.263783),
        (0.90, 12.386520, 5.948622),
        (0.95, 14.128399, 6.785159),
        (0.99, 17.517184, 8.412622),
    ] {
        let e = Ellipse::from_moments([1.0, 2.0], WORKED, p).unwrap();
        close(e.semi_major_m, major, 1e-6);
        close(e.semi_minor_m, minor, 1e-6);
        close(e.azimuth_deg, 55.27802, 1e-5);
        assert_eq!((e.center_m, e.held), ([1.0, 2.0], None));
    }
    let at = |p| Ellipse::from_moments([0.0, 0.0], WORKED, p).unwrap();
    close(area(&at(0.5)), 69.682755, 1e-6);
    close(area(&at(0.95)), 301.163856, 1e-6);
}

#[test]
fn radius_from_few_draws() {
    for (n, squared) in [
        (20, [1.59719, 5.81642, 7.87927]),
        (50, [1.46453, 5.03269, 6.64469]),
        (100, [1.42450, 4.81083, 6.30387]),
        (1000, [1.39004, 4.62506, 6.02152]),
    ] {
        for (p, squared) in [0.5, 0.9, 0.95].into_iter().zip(squared) {
            close(squared_radius_predicted(p, n).unwrap(), squared, 5.1e-6);
        }
    }
    assert_eq!(squared_radius_predicted(0.5, 2), None);
    let many = squared_radius_predicted(0.99, 10_000_000).unwrap();
    close(many, squared_radius(0.99).unwrap(), 1e-5);
}

#[test]
fn the_circle_that_holds_half() {
    for (major, minor, half, most) in [
        (1.0, 1.0, 1.177410, 2.447747),
        (2.0, 1.0, 1.740835, 4.071717),
        (1.0, 0.5, 0.870417, 2.035859),
        (3.0, 1.0, 2.304830, 5.970879),
        (1.0, 0.1, 0.681985, 1.962530),
    ] {
        close(radius_holding(0.5, major, minor).unwrap(), half, 1e-6);
        close(radius_holding(0.95, major, minor).unwrap(), most, 1e-6);
        close(radius_holding(0.5, minor, major).unwrap(), half, 1e-6);
    }
}

/// P(X <= k) of a binomial, summed in logarithms.
fn binomial_below(k: u64, n: u64, p: f64) -> f64 {
    let mut log_term = n as f64 * (-p).ln_1p();
    let mut sum = log_term.exp();
    for i in 0..k {
        log_term += ((n - i) as f64 / (i + 1) as f64).ln() + p.ln() - (-p).ln_1p();
        sum += log_term.exp();
    }
    sum
}

/// Whether a count is within the central 99.9 % of its binomial.
fn plausible(k: u64, n: u64, p: f64) -> bool {
    let below = binomial_below(k, n, p);
    let above = 1.0 - binomial_below(k.saturating_sub(1), n, p);
    below > 5e-4 && (k == 0 || above > 5e-4)
}

#[test]
fn binomial_bands() {
    // Central 95 %: n = 30, p = 0.5 is 10 to 20; n = 100, p = 0.95 is 90 to 99.
    assert!(binomial_below(9, 30, 0.5) < 0.025 && binomial_below(10, 30, 0.5) > 0.025);
    assert!(binomial_below(89, 100, 0.95) < 0.025 && binomial_below(90, 100, 0.95) > 0.025);
}

#[test]
fn an_ellipse_from_few_draws_holds_the_next_one() {
    // 4,000 times: an ellipse from 20 draws, and whether the 21st lies inside. The chi-square
    // radius would hold about 85 % instead of 90 %.
    let mut normals = Normals::new(20);
    let (trials, mut inside, mut inside_chi2) = (4000, 0, 0);
    for _ in 0..trials {
        let points = normals.points(21, [7.0, -3.0], WORKED);
        let mut e = Ellipse::of(&points[..20], 0.9).unwrap();
        inside += u64::from(holds(&e, points[20]));
        let narrower =
            (squared_radius(0.9).unwrap() / squared_radius_predicted(0.9, 20).unwrap()).sqrt();
        e.semi_major_m *= narrower;
        e.semi_minor_m *= narrower;
        inside_chi2 += u64::from(holds(&e, points[20]));
    }
    assert!(plausible(inside, trials, 0.9), "{inside}");
    assert!(!plausible(inside_chi2, trials, 0.9), "{inside_chi2}");
}

/// `contains` of a thousand times larger copy, so that no axis counts as thin.
fn holds(e: &Ellipse, p: [f64; 2]) -> bool {
    let mut large = *e;
    large.center_m = e.center_m.map(|x| 1e3 * x);
    large.semi_major_m *= 1e3;
    large.semi_minor_m *= 1e3;
    large.contains(p.map(|x| 1e3 * x))
}

#[test]
fn regions_of_many_draws_hold_new_ones() {
    let covariance = WORKED.map(|row| row.map(|x| 1e6 * x));
    let mean = [40_000.0, -7000.0];
    let draws = Normals::new(3).points(20_000, mean, covariance);
    let regions = Regions::of(&draws).unwrap();
    assert!(regions.notes.is_empty(), "{:?}", regions.notes);
    let axes = Ellipse::from_moments(mean, covariance, 0.9).unwrap();
    close(
        regions.ellipses[1].semi_major_m / axes.semi_major_m,
        1.0,
        0.02,
    );
    close(regions.ellipses[1].azimuth_deg, axes.azimuth_deg, 1.0);
    close(
        regions.half_circle_m,
        radius_holding(0.5, 5772.0019, 2772.0019).unwrap(),
        60.0,
    );

    // Against 2,000 new draws, so that the estimate's own error is small beside the binomial's.
    let new = Normals::new(4).points(2000, mean, covariance);
    for e in &regions.ellipses {
        let inside = new.iter().filter(|p| e.contains(**p)).count() as u64;
        assert!(plausible(inside, 2000, e.probability), "{e:?} {inside}");
        close(e.held.unwrap(), e.probability, 0.01);
    }
    for (contour, p) in regions.contours.iter().zip(CONTOUR_PROBABILITIES) {
        // The share is set by the draws at the density between nodes, the line is straight there.
        close(contour.held, p, 0.005);
        // For a normal the smallest region is the ellipse.
        let ellipse = regions
            .ellipses
            .iter()
            .find(|e| e.probability == p)
            .unwrap();
        close(contour.area_m2() / ellipse.area_m2(), 1.0, 0.05);
        assert_eq!(contour.pieces, 1);
    }
}

#[test]
fn a_bent_zone_is_noted() {
    // Landings along an arc: burst height along it, little else across.
    let bent: Vec<[f64; 2]> = Normals::new(5)
        .points(2000, [0.0, 0.0], [[1.0, 0.0], [0.0, 1.0]])
        .into_iter()
        .map(|[u, v]| {
            let (s, c) = (0.8 * u).sin_cos();
            [(20_000.0 + 500.0 * v) * s, (20_000.0 + 500.0 * v) * c]
        })
        .collect();
    let regions = Regions::of(&bent).unwrap();
    assert!(!regions.notes.is_empty());
    let ratio = regions.contours[1].area_m2() / regions.ellipses[1].area_m2();
    assert!(ratio < 0.7, "{ratio}");
    let said = RegionNote::Smaller {
        probability: 0.9,
        ratio,
    };
    assert!(regions.notes.contains(&said), "{:?}", regions.notes);
}

#[test]
fn contours_do_not_depend_on_the_unit() {
    let draws = Normals::new(6).points(500, [0.0, 0.0], WORKED);
    let large: Vec<[f64; 2]> = draws.iter().map(|p| p.map(|x| 1024.0 * x)).collect();
    let (small, large) = (
        contours(&draws, &[0.9]).unwrap(),
        contours(&large, &[0.9]).unwrap(),
    );
    assert_eq!(small[0].held, large[0].held);
    close(
        large[0].area_m2() / small[0].area_m2(),
        1024.0 * 1024.0,
        1.0,
    );
}
