//! How good a forecast of a landing was, by what happened: proper scores and coverage.
//!
//! Places are on a plane, m (or any one unit). Scores after Gneiting and Raftery 2007, J. Am. Stat. Assoc. 102,
//! 359 (cited from memory); smaller is better.

use std::f64::consts::PI;

use serde::Serialize;

use crate::spread::region::Moments;

/// The energy score of draws.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct EnergyScore {
    /// E|X - y| - E|X - X'| / 2 with the draws as the whole distribution.
    pub plain: f64,
    /// The same without the bias of few draws: pairs of a draw with itself are not counted.
    pub fair: f64,
}

/// The energy score of draws of which the landing is one more, in the unit of the places; `None` of fewer than
/// two draws.
pub fn energy_score(draws: &[[f64; 2]], landing: [f64; 2]) -> Option<EnergyScore> {
    if draws.len() < 2 {
        return None;
    }
    let m = draws.len() as f64;
    let apart = |a: &[f64; 2], b: &[f64; 2]| (a[0] - b[0]).hypot(a[1] - b[1]);
    let to_landing = draws.iter().map(|x| apart(x, &landing)).sum::<f64>() / m;
    let pairs: f64 = (1..draws.len())
        // Each pair once: the half of the formula is in that already.
        .map(|i| draws[..i].iter().map(|b| apart(&draws[i], b)).sum::<f64>())
        .sum();
    Some(EnergyScore {
        plain: to_landing - pairs / (m * m),
        fair: to_landing - pairs / (m * (m - 1.0)),
    })
}

/// A bivariate normal: what draws are taken for where only their moments count.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Normal2 {
    /// Its mean.
    pub mean: [f64; 2],
    /// Its covariance.
    pub covariance: [[f64; 2]; 2],
}

/// Directions of a half turn that a mean over all directions is taken over: the trapezoidal rule of what is
/// smooth and periodic.
const DIRECTIONS: usize = 720;

impl Normal2 {
    /// With the moments of points; `None` of fewer than three, or where they lie on a line.
    pub fn of(points: &[[f64; 2]]) -> Option<Normal2> {
        let moments = Moments::of(points).filter(|_| points.len() > 2)?;
        let normal = Normal2 {
            mean: moments.mean_m,
            covariance: moments.covariance_m2,
        };
        (normal.determinant() > 0.0).then_some(normal)
    }

    fn determinant(&self) -> f64 {
        let [[a, b], [c, d]] = self.covariance;
        a * d - b * c
    }

    /// q = d' S^-1 d of a place: how far out it is, in standard deviations, squared.
    pub fn squared_distance(&self, place: [f64; 2]) -> f64 {
        let [[a, b], [_, c]] = self.covariance;
        let (x, y) = (place[0] - self.mean[0], place[1] - self.mean[1]);
        (c * x * x - 2.0 * b * x * y + a * y * y) / self.determinant()
    }

    /// The standard deviation along a unit vector.
    pub fn sigma_along(&self, [x, y]: [f64; 2]) -> f64 {
        let [[a, b], [_, c]] = self.covariance;
        (a * x * x + 2.0 * b * x * y + c * y * y).max(0.0).sqrt()
    }

    /// u = 1 - e^(-q/2): the probability of the ellipse on whose edge a place is. Even from 0 to 1 over many
    /// flights where the forecasts are right.
    pub fn within(&self, place: [f64; 2]) -> f64 {
        -(-0.5 * self.squared_distance(place)).exp_m1()
    }

    /// The log score, ln 2 pi + (ln det S + q) / 2.
    pub fn log_score(&self, place: [f64; 2]) -> f64 {
        (2.0 * PI).ln() + 0.5 * self.dawid_sebastiani(place)
    }

    /// The score of Dawid and Sebastiani, ln det S + q.
    pub fn dawid_sebastiani(&self, place: [f64; 2]) -> f64 {
        self.determinant().ln() + self.squared_distance(place)
    }

    /// Area of the ellipse that holds a probability.
    pub fn area(&self, probability: f64) -> f64 {
        -2.0 * PI * (-probability).ln_1p() * self.determinant().sqrt()
    }

    /// Its energy score: |v| is pi / 2 times the mean over all directions of what v is along them, and along
    /// each the normal is one of one dimension.
    pub fn energy_score(&self, place: [f64; 2]) -> f64 {
        let (x, y) = (place[0] - self.mean[0], place[1] - self.mean[1]);
        let [[a, b], [_, c]] = self.covariance;
        let along = |k: usize| {
            let (sin, cos) = (PI * k as f64 / DIRECTIONS as f64).sin_cos();
            let sigma = (a * cos * cos + 2.0 * b * sin * cos + c * sin * sin).sqrt();
            let mean = x * cos + y * sin;
            // Of two draws the difference is wider by the root of 2.
            mean_size(mean, sigma) - 0.5 * mean_size(0.0, sigma * 2f64.sqrt())
        };
        0.5 * PI * (0..DIRECTIONS).map(along).sum::<f64>() / DIRECTIONS as f64
    }
}

/// E|N(mean, sigma)|.
fn mean_size(mean: f64, sigma: f64) -> f64 {
    let z = mean / sigma;
    sigma * (2.0 / PI).sqrt() * (-0.5 * z * z).exp() + mean * erf(z / 2f64.sqrt())
}

/// The error function, by its series in e^(-x2); beyond 6 it is 1 to rounding.
fn erf(x: f64) -> f64 {
    if x.abs() > 6.0 {
        return x.signum();
    }
    let (mut term, mut sum) = (x, x);
    for n in 1..200 {
        term *= 2.0 * x * x / (2.0 * f64::from(n) + 1.0);
        sum += term;
        if term.abs() < 1e-17 * sum.abs() {
            break;
        }
    }
    2.0 / PI.sqrt() * (-x * x).exp() * sum
}

/// How many of `n` flights a region of probability `p` holds if it is right: the central 95 % of the binomial.
pub fn coverage_bounds(n: u32, p: f64) -> [u32; 2] {
    // In logarithms: of many flights the first chances are less than any number.
    let mut ln_chance = f64::from(n) * (-p).ln_1p();
    let (mut below, mut bounds) = (0.0, [n, n]);
    for k in 0..=n {
        let before = below;
        below += ln_chance.exp();
        if before < 0.025 && below >= 0.025 {
            bounds[0] = k;
        }
        if before < 0.975 && below >= 0.975 {
            bounds[1] = k;
        }
        ln_chance += (f64::from(n - k) / f64::from(k + 1) * p / (1.0 - p)).ln();
    }
    bounds
}

/// What flights say of the width of their zones.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Calibration {
    /// They came down farther out than so many would: the zones are too narrow.
    TooNarrow,
    /// As they should, as far as so few flights can tell.
    Consistent,
    /// They came down nearer to the middle: the zones are too wide.
    TooWide,
}

/// A landing beyond all draws has u = 1, whose logarithm would have no end. A logbook has three digits of u: less
/// than half of the last one cannot be told from none, and one flight must not outweigh all others by it.
const LEAST_BEYOND: f64 = 0.0005;

impl Calibration {
    /// By the probabilities within which flights came down, each even from 0 to 1 if the zones are right: -2 ln
    /// of 1 - u is chi-square with two degrees of freedom each, and so is their sum with 2 n. Central 95 %.
    pub fn of(within: &[f64]) -> Calibration {
        let half: f64 = within
            .iter()
            .map(|u| -(1.0 - u).max(LEAST_BEYOND).ln())
            .sum();
        match above(half, within.len()) {
            p if p < 0.025 => Calibration::TooNarrow,
            p if p > 0.975 => Calibration::TooWide,
            _ => Calibration::Consistent,
        }
    }
}

/// Probability that chi-square with 2 n degrees of freedom is more than 2 x: e^-x times the first n terms of e^x.
fn above(x: f64, n: usize) -> f64 {
    let (mut ln_term, mut sum) = (-x, 0.0);
    for k in 0..n {
        sum += ln_term.exp();
        ln_term += (x / (k + 1) as f64).ln();
    }
    if n == 0 { 0.5 } else { sum }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::SplitMix;

    fn close(found: f64, expected: f64, digits: i32) {
        let off = (found - expected).abs();
        assert!(off <= 0.5000001 * 10f64.powi(-digits), "{found} {expected}");
    }

    fn normal(covariance: [[f64; 2]; 2]) -> Normal2 {
        Normal2 {
            mean: [0.0, 0.0],
            covariance,
        }
    }

    const UNIT: [[f64; 2]; 2] = [[1.0, 0.0], [0.0, 1.0]];

    /// By hand: distances 3, 4 and the root of 73; pairs 5, 5 and 10.
    #[test]
    fn three_draws_by_hand() {
        let score = energy_score(&[[0.0, 0.0], [3.0, 4.0], [6.0, 8.0]], [3.0, 0.0]).unwrap();
        close(score.plain, 2.959112, 6);
        close(score.fair, 1.848001, 6);
        assert_eq!(energy_score(&[[0.0, 0.0]], [1.0, 0.0]), None);
    }

    /// sqrt(pi/2) e^(-d2/4) [(1 + d2/2) I0(d2/4) + (d2/2) I1(d2/4)] - sqrt(pi)/2, computed with scipy.
    #[test]
    fn a_round_normal_is_its_closed_form() {
        for (miss, expected) in [
            (0.0, 0.3670872),
            (0.5, 0.4442204),
            (1.0, 0.6623455),
            (2.0, 1.3861565),
            (3.0, 2.2863504),
        ] {
            close(normal(UNIT).energy_score([miss, 0.0]), expected, 7);
            close(normal(UNIT).energy_score([0.0, -miss]), expected, 7);
        }
    }

    /// Computed with scipy (quadrature; at the centre by a complete elliptic integral).
    #[test]
    fn a_long_normal() {
        let long = normal([[9.0, 0.0], [0.0, 1.0]]);
        close(long.energy_score([0.0, 0.0]), 0.780827, 6);
        close(long.energy_score([2.0, 1.0]), 1.447077, 6);
        close(long.energy_score([0.0, 2.0]), 1.510133, 6);
    }

    #[test]
    fn many_draws_score_as_their_normal() {
        let mut stream = SplitMix::stream(1, 1);
        let mut point = |_| [3.0 * stream.next_normal(), stream.next_normal()];
        let draws: Vec<[f64; 2]> = (0..2_000).map(&mut point).collect();
        let score = energy_score(&draws, [2.0, 1.0]).unwrap();
        let exact = normal([[9.0, 0.0], [0.0, 1.0]]).energy_score([2.0, 1.0]);
        assert!((score.fair / exact - 1.0).abs() < 0.05, "{score:?} {exact}");
    }

    #[test]
    fn scores_of_a_slanted_normal() {
        let slanted = normal([[9.0, 3.0], [3.0, 4.0]]);
        let landing = [4.0, -1.0];
        close(slanted.squared_distance(landing), 3.592593, 6);
        close(slanted.log_score(landing), 5.282092, 6);
        close(slanted.dawid_sebastiani(landing), 6.888429, 6);
        close(slanted.within(landing), 0.834088, 6);
        close(slanted.area(0.9), 75.175690, 5);
    }

    /// What is drawn from the forecast scores less, in the mean, than from any other spread.
    #[test]
    fn the_right_spread_scores_best() {
        let mean = |k: f64| {
            let forecast = normal([[k * k, 0.0], [0.0, k * k]]);
            // Miss d of N(0, I): the d with ranks (i + 1/2) / n of the distribution 1 - e^(-d2/2).
            let n = 4_000;
            let miss = |i: i32| (-2.0 * ((f64::from(i) + 10.0) / f64::from(n)).ln()).sqrt();
            let all = (0..n)
                .step_by(20)
                .map(|i| forecast.energy_score([miss(i), 0.0]));
            all.sum::<f64>() / f64::from(n / 20)
        };
        for (k, expected) in [
            (0.5, 0.95813),
            (0.8, 0.89604),
            (1.0, 0.88623),
            (1.25, 0.89850),
            (2.0, 1.03004),
        ] {
            assert!((mean(k) - expected).abs() < 2e-3, "{k}: {}", mean(k));
        }
    }

    /// scipy.stats.binom.interval(0.95, n, p).
    #[test]
    fn coverage_has_bounds() {
        for (n, p, expected) in [
            (5, 0.9, [3, 5]),
            (10, 0.5, [2, 8]),
            (10, 0.9, [7, 10]),
            (18, 0.5, [5, 13]),
            (18, 0.9, [13, 18]),
            (20, 0.5, [6, 14]),
            (20, 0.9, [15, 20]),
            (54, 0.5, [20, 34]),
            (54, 0.9, [44, 52]),
            (400, 0.9, [348, 371]),
            (5_000, 0.95, [4_719, 4_780]),
        ] {
            assert_eq!(coverage_bounds(n, p), expected, "{n} {p}");
        }
    }

    /// Ten flights as they should be, and one beyond all draws, before it is rounded and after.
    #[test]
    fn a_rounding_does_not_turn_the_verdict() {
        let even = (0..10).map(|k| 0.05 + 0.1 * f64::from(k));
        let with = |u: f64| Calibration::of(&even.clone().chain([u]).collect::<Vec<f64>>());
        assert_eq!(with(1.0), Calibration::Consistent);
        assert_eq!(with(0.9996), with(1.0));
        assert_eq!(Calibration::of(&[1.0; 3]), Calibration::TooNarrow);
    }

    /// Twelve flights whose true spread is twice what was forecast are found too narrow in nearly all seeds;
    /// twelve of the right spread are left alone.
    #[test]
    fn zones_too_narrow_are_found_within_twelve_flights() {
        let found = |true_sigma: f64, seed: u64| {
            let mut stream = SplitMix::stream(15, seed);
            let mut flight = |_: u32| {
                let landing = [0, 1].map(|_| true_sigma * stream.next_normal());
                normal(UNIT).within(landing)
            };
            let within: Vec<f64> = (0..12).map(&mut flight).collect();
            Calibration::of(&within)
        };
        let narrow = (0..200).filter(|s| found(2.0, *s) == Calibration::TooNarrow);
        let right = (0..200).filter(|s| found(1.0, *s) == Calibration::Consistent);
        let (narrow, right) = (narrow.count(), right.count());
        assert!(narrow >= 180 && right >= 180, "of 200: {narrow}, {right}");
    }
}
