//! How wrong the winds may be: a vector process correlated in height, the sum of independent parts.
//!
//! Each component of a part is a first-order autoregressive process in altitude: a standard
//! deviation by altitude, and the correlation exp(-dz / L) between two altitudes.

use super::cleaning::{FORECAST_GAP_M, GAP_M};
use super::column::WindProfile;
use super::{departure, forecast_error};
use crate::numeric::linear;

/// How wrong the winds may be.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct WindError {
    /// The parts, independent of each other.
    pub parts: Vec<ErrorPart>,
}

/// One part of the error of the winds.
#[derive(Debug, Clone, PartialEq)]
pub struct ErrorPart {
    /// Altitude above mean sea level (m, strictly rising) and standard deviation of each
    /// component (m/s); linear between, held outside; 0 where there are no rows.
    pub rows: Vec<(f64, f64)>,
    /// L, m.
    pub correlation_length_m: f64,
}

impl ErrorPart {
    /// The same standard deviation (m/s) at all altitudes.
    pub fn constant(sigma_m_s: f64, correlation_length_m: f64) -> ErrorPart {
        ErrorPart {
            rows: vec![(0.0, sigma_m_s)],
            correlation_length_m,
        }
    }

    /// A standard deviation (m/s) given by altitude (m), every 500 m as high as balloons fly.
    pub fn by_altitude(correlation_length_m: f64, sigma_m_s: impl Fn(f64) -> f64) -> ErrorPart {
        let row = |k: u16| {
            // Close enough for what changes over kilometres, up to 45 km: above any latex balloon.
            let z = 500.0 * f64::from(k);
            (z, sigma_m_s(z))
        };
        ErrorPart {
            rows: (0..=90).map(row).collect(),
            correlation_length_m,
        }
    }

    /// Standard deviation of each component at an altitude, m/s.
    pub fn sigma_m_s(&self, altitude_m: f64) -> f64 {
        interpolate(&self.rows, altitude_m)
    }
}

/// Linear between rows, held outside; 0 where there are none.
pub(super) fn interpolate(rows: &[(f64, f64)], x: f64) -> f64 {
    linear(rows, x).unwrap_or(0.0)
}

/// Correlation length of a table of errors that the user gives, m (assumed).
pub const GIVEN_CORRELATION_M: f64 = 2_000.0;

impl WindError {
    /// All of it by a factor.
    pub fn widen(&mut self, factor: f64) {
        let rows = self.parts.iter_mut().flat_map(|part| &mut part.rows);
        rows.for_each(|row| row.1 *= factor);
    }

    /// A sounding made this many seconds before the flight, this many metres from its site.
    pub fn of_sounding(
        winds: &WindProfile,
        latitude_deg: f64,
        age_s: f64,
        distance_m: f64,
    ) -> WindError {
        WindError::of_sounding_met(winds, latitude_deg, |_| (age_s, distance_m))
    }

    /// A sounding whose winds are met with an age (s) and a distance (m) that depend on the altitude (m).
    pub fn of_sounding_met(
        winds: &WindProfile,
        latitude_deg: f64,
        met: impl Fn(f64) -> (f64, f64),
    ) -> WindError {
        let away_m = |z: f64| {
            let (age_s, distance_m) = met(z);
            departure::away_m(latitude_deg, age_s, distance_m)
        };
        let [small, large] = departure::parts(winds, latitude_deg, away_m, departure::FRESH);
        WindError {
            parts: with_unknown(vec![small, large], winds, GAP_M),
        }
    }

    /// A forecast this many seconds after its run.
    pub fn of_forecast(winds: &WindProfile, lead_s: f64) -> WindError {
        WindError {
            parts: with_unknown(
                vec![
                    forecast_error::unresolved(),
                    forecast_error::growing(lead_s),
                ],
                winds,
                FORECAST_GAP_M,
            ),
        }
    }

    /// A forecast's column alone, `age_s` before the flight and so far from its site: wrong as a
    /// forecast of the lead that it has itself, and as winds of another place and time.
    pub fn of_model_profile(
        winds: &WindProfile,
        lead_s: f64,
        latitude_deg: f64,
        age_s: f64,
        distance_m: f64,
    ) -> WindError {
        let away_m = departure::away_m(latitude_deg, age_s, distance_m);
        let [small, large] =
            departure::parts(winds, latitude_deg, |_| away_m, forecast_error::UNRESOLVED);
        WindError {
            parts: with_unknown(
                vec![small, forecast_error::growing(lead_s), large],
                winds,
                FORECAST_GAP_M,
            ),
        }
    }

    /// What the members of an ensemble leave out, when flights are flown in each of them alike.
    ///
    /// `member_sigma` is the unbiased standard deviation between the members by altitude, m and
    /// m/s. A few members know little of it, so the published error of one forecast counts as
    /// [`forecast_error::PRIOR_MEMBERS`] more of them.
    pub fn of_ensemble(
        winds: &WindProfile,
        lead_s: f64,
        members: usize,
        member_sigma: &[(f64, f64)],
    ) -> WindError {
        WindError {
            parts: with_unknown(
                vec![
                    forecast_error::unresolved(),
                    forecast_error::beyond_members(lead_s, members, member_sigma),
                ],
                winds,
                FORECAST_GAP_M,
            ),
        }
    }

    /// A table that somebody gives.
    pub fn given(rows: &[(f64, f64)], winds: &WindProfile) -> WindError {
        let table = ErrorPart {
            rows: rows.to_vec(),
            correlation_length_m: GIVEN_CORRELATION_M,
        };
        WindError {
            parts: with_unknown(vec![table], winds, GAP_M),
        }
    }

    /// No error where the winds are known.
    pub fn none(winds: &WindProfile) -> WindError {
        WindError {
            parts: with_unknown(Vec::new(), winds, GAP_M),
        }
    }

    /// Standard deviation of each component at an altitude, m/s.
    pub fn sigma_m_s(&self, altitude_m: f64) -> f64 {
        let squares = self.parts.iter().map(|p| p.sigma_m_s(altitude_m).powi(2));
        squares.sum::<f64>().sqrt()
    }
}

/// What holding the last wind is wrong by a kilometre above it, m/s: in still air, and for each
/// m/s of that wind. By the profiles of seven places (`tests/wind_calibration.rs`).
pub const ABOVE_TOP_M_S: (f64, f64) = (2.5, 0.1);
/// It grows as this power of the height above, up to 10 km.
pub const ABOVE_TOP_EXPONENT: f64 = 0.6;
/// Its correlation length, m.
pub const ABOVE_TOP_CORRELATION_M: f64 = 10_000.0;

/// Heights at which the error within a gap is tabulated, as shares of its width: close to each other
/// where it grows fast.
const IN_GAP: [f64; 11] = [0.0, 0.01, 0.04, 0.1, 0.25, 0.5, 0.75, 0.9, 0.96, 0.99, 1.0];

/// Parts, with what is added where no wind is known: above the highest, and in gaps wider than
/// `least_m`.
fn with_unknown(mut parts: Vec<ErrorPart>, winds: &WindProfile, least_m: f64) -> Vec<ErrorPart> {
    parts.push(above_top(winds));
    parts.extend(in_gaps(winds, least_m));
    parts
}

/// What drawing a straight line between the winds on both sides of a gap adds within it; `None`
/// where no gap is wider than `least_m`.
///
/// If D(h) is the variance of the difference of one component between heights h apart, a line
/// between two winds at the distances a and b = G - a is wrong by the variance
/// (b D(a) + a D(b)) / G - a b D(G) / G^2. D is what holding a wind over h is wrong by
/// ([`ABOVE_TOP_M_S`], [`ABOVE_TOP_EXPONENT`]). Of a gap of `least_m` this is taken to be in the other
/// parts, so that nothing jumps there.
fn in_gaps(winds: &WindProfile, least_m: f64) -> Option<ErrorPart> {
    let levels: Vec<(f64, f64)> = winds.speeds().collect();
    let mut rows = Vec::new();
    for pair in levels.windows(2) {
        let [(low_m, low_m_s), (high_m, high_m_s)] = [pair[0], pair[1]];
        let width_m = high_m - low_m;
        if width_m <= least_m {
            continue;
        }
        let at_1_km = at_1_km_m_s(speed_within(0.5 * (low_m_s + high_m_s), width_m));
        // None at a gap of the least width, so that nothing jumps where one level more is missing.
        let grown = 1.0 - (least_m / width_m).powf(2.0 * ABOVE_TOP_EXPONENT);
        rows.extend(IN_GAP.map(|share| {
            let variance = grown * off_line(at_1_km, width_m, share);
            // At the ends of a gap rounding may leave less than 0.
            (low_m + share * width_m, variance.max(0.0).sqrt())
        }));
    }
    (!rows.is_empty()).then_some(ErrorPart {
        rows,
        correlation_length_m: ABOVE_TOP_CORRELATION_M,
    })
}

/// The speed to be expected in a gap, m/s: winds at its ends say nothing of a jet between them, but what
/// the line is wrong by in its middle makes the wind there the stronger.
fn speed_within(at_ends_m_s: f64, width_m: f64) -> f64 {
    let variance = off_line(at_1_km_m_s(at_ends_m_s), width_m, 0.5);
    (at_ends_m_s * at_ends_m_s + 2.0 * variance).sqrt()
}

/// What holding a wind of a speed is wrong by a kilometre away, m/s.
fn at_1_km_m_s(speed_m_s: f64) -> f64 {
    ABOVE_TOP_M_S.0 + ABOVE_TOP_M_S.1 * speed_m_s
}

/// Variance of what a line across a gap is wrong by, a share of the way through it.
fn off_line(at_1_km_m_s: f64, width_m: f64, share: f64) -> f64 {
    let apart = |m: f64| (at_1_km_m_s * held_over(m)).powi(2);
    (1.0 - share) * apart(share * width_m) + share * apart((1.0 - share) * width_m)
        - share * (1.0 - share) * apart(width_m)
}

/// What holding a wind over a height is wrong by, in units of that over a kilometre.
fn held_over(height_m: f64) -> f64 {
    (0.001 * height_m).min(10.0).powf(ABOVE_TOP_EXPONENT)
}

/// What holding the last wind adds above the highest known one.
pub fn above_top(winds: &WindProfile) -> ErrorPart {
    let top_m = winds.top_m();
    let at_1_km = at_1_km_m_s(winds.at(top_m).speed_m_s());
    let row = |k: u8| {
        // Fine steps, as it grows steeply just above the highest wind.
        let above_km = 0.25 * f64::from(k);
        let above_m = 1_000.0 * above_km;
        (top_m + above_m, at_1_km * held_over(above_m))
    };
    ErrorPart {
        rows: (0..=40).map(row).collect(),
        correlation_length_m: ABOVE_TOP_CORRELATION_M,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wind::sounding::Wind;

    fn westerly(speed_m_s: f64, top_m: f64) -> WindProfile {
        let wind = Wind::from_direction(speed_m_s, 270.0);
        let levels = (0..=40_u8).map(|k| (top_m * f64::from(k) / 40.0, wind));
        WindProfile::new(&levels.collect::<Vec<_>>())
    }

    #[test]
    fn a_sounding_is_the_more_wrong_the_older_and_the_farther_away() {
        let winds = westerly(20.0, 40_000.0);
        let sigma = |hours: f64, km: f64| {
            WindError::of_sounding(&winds, 45.0, 3_600.0 * hours, 1_000.0 * km).sigma_m_s(8_000.0)
        };
        assert!(sigma(0.0, 0.0) > 1.2);
        let rising = [0.0, 1.0, 3.0, 6.0, 12.0, 24.0, 48.0, 200.0].map(|h| sigma(h, 0.0));
        assert!(rising.is_sorted() && rising[7] < 30.0, "{rising:?}");
        assert_eq!(sigma(-6.0, 0.0), sigma(6.0, 0.0));
        let rising = [0.0, 50.0, 100.0, 300.0, 1_000.0].map(|d| sigma(6.0, d));
        assert!(
            rising.is_sorted() && rising[4] > 2.0 * rising[0],
            "{rising:?}"
        );
    }

    #[test]
    fn a_forecast_is_the_more_wrong_the_longer_it_is() {
        let winds = westerly(20.0, 40_000.0);
        let at = |days: f64| WindError::of_forecast(&winds, 86_400.0 * days).sigma_m_s(9_000.0);
        let rising = [0.0, 0.25, 1.0, 2.0, 3.0, 5.0, 7.0, 10.0].map(at);
        assert!(rising.is_sorted(), "{rising:?}");
        assert_eq!(at(60.0), at(10.0));
        let column = WindError::of_model_profile(&winds, 86_400.0, 45.0, 0.0, 300_000.0);
        assert!(column.sigma_m_s(9_000.0) > 1.5 * at(1.0));
    }

    #[test]
    fn the_error_grows_within_a_gap_and_not_beside_it() {
        let wind = Wind::from_direction(20.0, 270.0);
        let levels = |low_m: f64, high_m: f64| -> Vec<(f64, Wind)> {
            let all = (0..70).map(|k| 500.0 * f64::from(k));
            let known = all.filter(|z| *z <= low_m || *z >= high_m);
            known.map(|z| (z, wind)).collect()
        };
        let error = |low_m, high_m| WindError::none(&WindProfile::new(&levels(low_m, high_m)));
        let holed = error(2_000.0, 30_000.0);
        for known_m in [0.0, 1_500.0, 2_000.0, 30_000.0, 34_000.0] {
            assert_eq!(holed.sigma_m_s(known_m), 0.0, "{known_m}");
        }
        let up =
            [2_000.0, 2_300.0, 3_000.0, 5_000.0, 9_000.0, 16_000.0].map(|z| holed.sigma_m_s(z));
        assert!(up.is_sorted(), "{up:?}");
        let down = [16_000.0, 23_000.0, 27_000.0, 29_000.0, 29_700.0].map(|z| holed.sigma_m_s(z));
        assert!(down.is_sorted_by(|a, b| a >= b), "{down:?}");
        // A line knows more than one wind held, of the speed to be expected there (29.7 m/s):
        // (2.5 + 0.1 x 29.7) x 10^0.6 m/s are 21.8.
        assert!((12.0..21.8).contains(&up[5]), "{up:?}");
        // No jump where a gap begins to be one, and none in what is whole.
        let small = [9_000.0, 10_000.0, 11_501.0, 12_500.0].map(|z| (z, wind));
        let small = WindError::none(&WindProfile::new(&small));
        assert!(small.parts.len() == 2 && small.sigma_m_s(10_750.0) < 0.1);
        assert_eq!(error(10_000.0, 10_500.0).parts.len(), 1);
        // The middle of a gap of 4 km by the formula: D(2) - D(4) / 4, less the share of 1.5 km.
        let middle = |at_1_km: f64| {
            let d = |km: f64| (at_1_km * km.powf(0.6)).powi(2);
            d(2.0) - 0.25 * d(4.0)
        };
        let speed_m_s = (400.0 + 2.0 * middle(4.5)).sqrt();
        let grown = 1.0 - (1.5_f64 / 4.0).powf(1.2);
        let expected = (grown * middle(2.5 + 0.1 * speed_m_s)).sqrt();
        let found = error(10_000.0, 14_000.0).sigma_m_s(12_000.0);
        assert!((found - expected).abs() < 1e-9, "{found} {expected}");
        // Levels of forecasts lie that far apart.
        let forecast =
            |low_m, high_m| WindError::of_forecast(&WindProfile::new(&levels(low_m, high_m)), 0.0);
        assert_eq!(forecast(26_000.0, 31_000.0).parts.len(), 3);
        assert_eq!(forecast(5_000.0, 26_000.0).parts.len(), 4);
    }

    #[test]
    fn nothing_is_known_above_the_top() {
        let none = |speed| WindError::none(&westerly(speed, 9_000.0));
        assert_eq!(none(0.0).sigma_m_s(9_000.0), 0.0);
        assert!((none(0.0).sigma_m_s(10_000.0) - 2.5).abs() < 1e-12);
        assert!((none(20.0).sigma_m_s(10_000.0) - 4.5).abs() < 1e-12);
        let (at_4_km, far) = (
            none(20.0).sigma_m_s(13_000.0),
            none(20.0).sigma_m_s(60_000.0),
        );
        assert!((at_4_km - 4.5 * 4_f64.powf(0.6)).abs() < 1e-9);
        assert!((far - 4.5 * 10_f64.powf(0.6)).abs() < 1e-9);
    }
}
