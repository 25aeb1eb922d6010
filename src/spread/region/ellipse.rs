//! Ellipses that hold a given share of the landings, and the circle that does.

use std::f64::consts::{PI, TAU};

use serde::Serialize;

use super::moments::{Moments, PrincipalAxes};
use crate::numeric::last_true;

/// An axis shorter than this, metres, counts as this long when points are counted and rings are
/// drawn, so that a region without width still has an inside and a drawable outline.
const THINNEST_M: f64 = 0.5;

/// The fewest points that an ellipse can be made from.
const FEWEST: usize = 3;
/// From this many draws on a region is as large as its share of them needs, whatever their
/// distribution; of fewer as large as that of a normal.
const COUNTED_FROM: usize = 200;

/// An ellipse on a local plane.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Ellipse {
    /// The probability it is meant to hold, 0 to 1.
    pub probability: f64,
    /// Its centre, `[east, north]` in metres.
    pub center_m: [f64; 2],
    /// Half the longer axis, metres.
    pub semi_major_m: f64,
    /// Half the shorter axis, metres; 0 when the points lie on a line.
    pub semi_minor_m: f64,
    /// Azimuth of the longer axis, degrees clockwise from the plane's north, 0 up to 180.
    pub azimuth_deg: f64,
    /// The share of the draws it was made from that lie inside; `None` when it was not made
    /// from draws.
    pub held: Option<f64>,
}

impl Ellipse {
    /// The ellipse that holds the next landing with `probability`, judged from `points` (metres):
    /// with their mean, and the shape of their covariance.
    ///
    /// Of 200 points and more it is the smallest such ellipse that holds its share of them, as
    /// landings are not normal where some balloons burst early. For a normal that is the chi-square
    /// radius. Of fewer points that share says little, and mean and covariance are themselves
    /// estimates: the squared radius is that of the prediction region of a bivariate normal (see
    /// [`squared_radius_predicted`]).
    ///
    /// `None` for fewer than three points, when one is not finite, or when `probability` is not
    /// at least 0 and below 1.
    pub fn of(points: &[[f64; 2]], probability: f64) -> Option<Ellipse> {
        Ellipse::of_moments(points, &Moments::of(points)?, probability)
    }

    /// [`Ellipse::of`] with the moments of `points` already known.
    pub(super) fn of_moments(
        points: &[[f64; 2]],
        moments: &Moments,
        probability: f64,
    ) -> Option<Ellipse> {
        let of = |squared| {
            let (mean_m, covariance_m2) = (moments.mean_m, moments.covariance_m2);
            Ellipse::with_squared_radius(mean_m, covariance_m2, probability, squared)
        };
        let predicted = squared_radius_predicted(probability, moments.count)?;
        let mut ellipse = if points.len() < COUNTED_FROM {
            of(predicted)
        } else {
            // Its measure of a point is the squared radius that would just reach it.
            let unit = of(1.0);
            let squares = points.iter().map(|p| unit.measure(*p));
            of(holding(probability, squares.collect()))
        };
        let inside = points.iter().filter(|p| ellipse.contains(**p)).count();
        ellipse.held = Some(inside as f64 / points.len() as f64);
        Some(ellipse)
    }

    /// The ellipse that holds `probability` of a bivariate normal of known mean (metres) and
    /// covariance (square metres; rows and columns east, north).
    ///
    /// `None` when a number is not finite, a variance is negative, or `probability` is not at
    /// least 0 and below 1.
    ///
    /// # Examples
    ///
    /// ```
    /// use windfall::spread::region::Ellipse;
    /// let unit = [[1.0, 0.0], [0.0, 1.0]];
    /// let e = Ellipse::from_moments([0.0, 0.0], unit, 0.95).unwrap();
    /// assert!((e.semi_major_m - 2.447746831).abs() < 1e-9);
    /// ```
    pub fn from_moments(
        mean_m: [f64; 2],
        covariance_m2: [[f64; 2]; 2],
        probability: f64,
    ) -> Option<Ellipse> {
        let squared = squared_radius(probability)?;
        let sound = mean_m.iter().all(|x| x.is_finite())
            && covariance_m2.iter().flatten().all(|x| x.is_finite())
            && covariance_m2[0][0] >= 0.0
            && covariance_m2[1][1] >= 0.0;
        sound.then(|| Ellipse::with_squared_radius(mean_m, covariance_m2, probability, squared))
    }

    fn with_squared_radius(
        center_m: [f64; 2],
        covariance_m2: [[f64; 2]; 2],
        probability: f64,
        squared: f64,
    ) -> Ellipse {
        let axes = PrincipalAxes::of(covariance_m2);
        let k = squared.sqrt();
        Ellipse {
            probability,
            center_m,
            semi_major_m: k * axes.sigma_major_m,
            semi_minor_m: k * axes.sigma_minor_m,
            azimuth_deg: axes.azimuth_deg,
            held: None,
        }
    }

    /// Area in square metres, pi a b.
    pub fn area_m2(&self) -> f64 {
        PI * self.semi_major_m * self.semi_minor_m
    }

    /// Whether `point` (metres) is inside or on the edge. An axis shorter than half a metre
    /// counts as half a metre.
    pub fn contains(&self, point: [f64; 2]) -> bool {
        // What holds just its share has a point on its edge.
        self.measure(point) <= 1.0 + 1e-9
    }

    /// How far out a point (metres) is, squared: 1 on the edge.
    fn measure(&self, point: [f64; 2]) -> f64 {
        let [east, north] = self.major_direction();
        let (dx, dy) = (point[0] - self.center_m[0], point[1] - self.center_m[1]);
        let along = (dx * east + dy * north) / self.semi_major_m.max(THINNEST_M);
        let across = (dy * east - dx * north) / self.semi_minor_m.max(THINNEST_M);
        along * along + across * across
    }

    /// `n` points of the edge, counter-clockwise, metres; the first is not repeated. An axis
    /// shorter than half a metre is drawn half a metre long.
    pub fn ring(&self, n: usize) -> Vec<[f64; 2]> {
        let [east, north] = self.major_direction();
        let (a, b) = (
            self.semi_major_m.max(THINNEST_M),
            self.semi_minor_m.max(THINNEST_M),
        );
        (0..n)
            .map(|i| {
                let (s, c) = (TAU * i as f64 / n as f64).sin_cos();
                let (along, across) = (a * c, b * s);
                [
                    self.center_m[0] + along * east - across * north,
                    self.center_m[1] + along * north + across * east,
                ]
            })
            .collect()
    }

    /// The end of the longer axis that lies in its azimuth, metres.
    pub fn tip_m(&self) -> [f64; 2] {
        let [east, north] = self.major_direction();
        [
            self.center_m[0] + self.semi_major_m * east,
            self.center_m[1] + self.semi_major_m * north,
        ]
    }

    fn major_direction(&self) -> [f64; 2] {
        let (east, north) = self.azimuth_deg.to_radians().sin_cos();
        [east, north]
    }
}

/// The least of `values`, at least one, that a share of them does not exceed; of the next one as
/// well, as far as they can tell.
fn holding(share: f64, mut values: Vec<f64>) -> f64 {
    let rank = (share * (values.len() + 1) as f64).ceil() as usize;
    // A share near 1 asks for one more than there are.
    let index = rank.clamp(1, values.len()) - 1;
    *values.select_nth_unstable_by(index, f64::total_cmp).1
}

/// Radius in metres of the circle around the mean that holds `probability` of `points`; of fewer
/// than 200, of a normal with their moments.
///
/// `None` unless `probability` is at least 0 and below 1.
pub(super) fn circle_holding(
    probability: f64,
    points: &[[f64; 2]],
    moments: &Moments,
) -> Option<f64> {
    let axes = PrincipalAxes::of(moments.covariance_m2);
    let normal = radius_holding(probability, axes.sigma_major_m, axes.sigma_minor_m)?;
    if points.len() < COUNTED_FROM {
        return Some(normal);
    }
    let [east, north] = moments.mean_m;
    let away = points.iter().map(|p| (p[0] - east).hypot(p[1] - north));
    Some(holding(probability, away.collect()))
}

/// Squared radius, in standard deviations, of the circle that holds `probability` of a standard
/// bivariate normal: the quantile of chi-square with two degrees of freedom.
///
/// k2 = -2 ln(1 - p)
///
/// `None` unless `probability` is at least 0 and below 1.
pub fn squared_radius(probability: f64) -> Option<f64> {
    (0.0..1.0)
        .contains(&probability)
        .then(|| -2.0 * (-probability).ln_1p())
}

/// Squared radius, in sample standard deviations, of the region that holds one further draw with
/// `probability`, when mean and covariance come from `count` independent draws of a bivariate
/// normal.
///
/// T2 = 2 (n - 1) (n + 1) / (n (n - 2)) F(2, n - 2; p), and as the quantile of F with 2 and m
/// degrees of freedom is m/2 ((1 - p)^(-2/m) - 1),
///
/// T2 = (n2 - 1) / n ((1 - p)^(-2/(n - 2)) - 1)
///
/// which tends to -2 ln(1 - p). `None` for fewer than three draws, or unless `probability` is
/// at least 0 and below 1.
///
/// # References
///
/// Hotelling's T2 prediction region, e.g. Johnson and Wichern, Applied Multivariate Statistical
/// Analysis, section 5.4 (cited from memory); values checked in tests/ellipse.rs.
pub fn squared_radius_predicted(probability: f64, count: usize) -> Option<f64> {
    let chi2 = squared_radius(probability)?;
    if count < FEWEST {
        return None;
    }
    let n = count as f64;
    Some((n * n - 1.0) / n * (chi2 / (n - 2.0)).exp_m1())
}

/// How many directions of a quarter turn the circle's probability is summed over.
const DIRECTIONS: usize = 200;

/// Radius in metres of the circle, around the mean of a bivariate normal, that holds
/// `probability`; with 0.5, the circular error probable.
///
/// A draw at angle f of the whitened plane is inside up to the radius r / s(f) there, so
///
/// P(r) = 1 - 2/pi integral from 0 to pi/2 of exp(-r2 / (2 s2)) df,
/// s2 = a2 cos2 f + b2 sin2 f
///
/// The integrand is smooth and periodic, also for b = 0, so the trapezoidal rule is exact to
/// rounding; r is found by bisection between b k and a k, k2 = -2 ln(1 - p).
///
/// `None` when a standard deviation is negative or not finite, or unless `probability` is at
/// least 0 and below 1.
///
/// # Examples
///
/// ```
/// use windfall::spread::region::radius_holding;
/// assert!((radius_holding(0.5, 2.0, 1.0).unwrap() - 1.740835).abs() < 1e-6);
/// ```
pub fn radius_holding(probability: f64, sigma_major_m: f64, sigma_minor_m: f64) -> Option<f64> {
    let k = squared_radius(probability)?.sqrt();
    if ![sigma_major_m, sigma_minor_m]
        .iter()
        .all(|s| s.is_finite() && *s >= 0.0)
    {
        return None;
    }
    let (long, short) = (
        sigma_major_m.max(sigma_minor_m),
        sigma_major_m.min(sigma_minor_m),
    );
    if long == 0.0 {
        return Some(0.0);
    }
    // In units of the longer one, so that the bisection has the same bounds for every size.
    let ratio = short / long;
    let radius = last_true(k * ratio, k, |radius| {
        circle_share(radius, ratio) < probability
    });
    Some(long * radius)
}

/// Share of a centred normal with standard deviations 1 and `minor` within `radius`.
fn circle_share(radius: f64, minor: f64) -> f64 {
    let outside = |i: usize| {
        let (s, c) = (0.5 * PI * i as f64 / DIRECTIONS as f64).sin_cos();
        let variance = c * c + (minor * s).powi(2);
        // exp(-infinity) = 0 where the variance vanishes.
        (-0.5 * radius * radius / variance).exp()
    };
    let ends = 0.5 * (outside(0) + outside(DIRECTIONS));
    let sum: f64 = ends + (1..DIRECTIONS).map(outside).sum::<f64>();
    1.0 - sum / DIRECTIONS as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_point_and_a_line_have_ellipses() {
        let point = Ellipse::of(&[[5.0, 7.0]; 10], 0.9).unwrap();
        assert_eq!((point.semi_major_m, point.semi_minor_m), (0.0, 0.0));
        assert_eq!(point.held, Some(1.0));
        assert!(point.ring(12).iter().flatten().all(|x| x.is_finite()));

        let line: Vec<[f64; 2]> = (0..101)
            .map(|i| [1e6 + 3.3 * f64::from(i), 77.7 * f64::from(i)])
            .collect();
        let line = Ellipse::of(&line, 0.99).unwrap();
        assert!(line.semi_minor_m < 0.01 && line.semi_major_m > 1000.0);
        assert_eq!(line.held, Some(1.0));
    }

    /// Nine landings in ten around one place, the tenth far away: not normal at all.
    #[test]
    fn an_ellipse_holds_its_share_of_any_draws() {
        let draws: Vec<[f64; 2]> = (0..1_000)
            .map(|i| {
                let (s, c) = (2.399_963 * f64::from(i)).sin_cos();
                let r = 1_000.0 * (f64::from(i % 97) / 97.0).sqrt();
                let far = if i % 10 == 0 { 30_000.0 } else { 0.0 };
                [r * c + far, 0.5 * r * s]
            })
            .collect();
        for p in [0.5, 0.9, 0.95] {
            let e = Ellipse::of(&draws, p).unwrap();
            assert!((e.held.unwrap() - p).abs() <= 2e-3, "{p}: {:?}", e.held);
        }
        let moments = Moments::of(&draws).unwrap();
        let half = circle_holding(0.5, &draws, &moments).unwrap();
        let inside = draws
            .iter()
            .filter(|d| (d[0] - moments.mean_m[0]).hypot(d[1] - moments.mean_m[1]) <= half);
        assert!((inside.count() as i32 - 500).abs() <= 2);
    }

    #[test]
    fn nothing_comes_of_nothing() {
        assert!(Ellipse::of(&[], 0.5).is_none());
        assert!(Ellipse::of(&[[0.0, 0.0], [1.0, 0.0]], 0.5).is_none());
        assert!(Ellipse::of(&[[0.0, 0.0], [1.0, 0.0], [f64::NAN, 0.0]], 0.5).is_none());
        for p in [-0.1, 1.0, f64::NAN] {
            assert!(Ellipse::from_moments([0.0; 2], [[1.0, 0.0], [0.0, 1.0]], p).is_none());
            assert!(radius_holding(p, 1.0, 1.0).is_none());
        }
        assert!(radius_holding(0.5, -1.0, 1.0).is_none());
        assert_eq!(radius_holding(0.5, 0.0, 0.0), Some(0.0));
    }

    #[test]
    fn the_circle_of_a_line_is_the_interval_of_a_normal() {
        // Phi(0.67448975) = 0.75.
        assert!((radius_holding(0.5, 3.0, 0.0).unwrap() - 3.0 * 0.674_489_75).abs() < 1e-7);
    }

    #[test]
    fn the_ring_lies_on_the_edge_and_turns_left() {
        let e = Ellipse::from_moments([10.0, -4.0], [[25.0, 12.0], [12.0, 16.0]], 0.9).unwrap();
        let ring = e.ring(60);
        let area: f64 = (0..60)
            .map(|i| {
                let (a, b) = (ring[i], ring[(i + 1) % 60]);
                0.5 * (a[0] * b[1] - a[1] * b[0])
            })
            .sum();
        // An inscribed polygon of n corners has sin(2 pi/n) / (2 pi/n) of the area.
        let share = (TAU / 60.0).sin() / (TAU / 60.0);
        assert!((area / e.area_m2() - share).abs() < 1e-9);
        for p in &ring {
            let shrunk = [10.0 + 0.999 * (p[0] - 10.0), -4.0 + 0.999 * (p[1] + 4.0)];
            let grown = [10.0 + 1.001 * (p[0] - 10.0), -4.0 + 1.001 * (p[1] + 4.0)];
            assert!(e.contains(shrunk) && !e.contains(grown));
        }
        assert!((ring[0][0] - e.tip_m()[0]).abs() < 1e-9);
    }
}
