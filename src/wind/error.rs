//! How wrong the winds may be: a vector process correlated in height, the sum of independent parts.
//!
//! Each component of a part is a first-order autoregressive process in altitude: a standard
//! deviation by altitude, and the correlation exp(-dz / L) between two altitudes.

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

    /// Standard deviation of each component at an altitude, m/s.
    pub fn sigma_m_s(&self, altitude_m: f64) -> f64 {
        let above = self.rows.partition_point(|r| r.0 <= altitude_m);
        match (
            above.checked_sub(1).map(|i| self.rows[i]),
            self.rows.get(above),
        ) {
            (Some(a), Some(b)) => a.1 + (b.1 - a.1) * (altitude_m - a.0) / (b.0 - a.0),
            (Some(a), None) => a.1,
            (None, Some(b)) => b.1,
            (None, None) => 0.0,
        }
    }
}

/// What the error grows by above the highest known wind, m/s for each metre (assumed).
pub const GROWTH_ABOVE_TOP_PER_S: f64 = 1.0 / 1000.0;

/// Correlation length of errors of forecasts and of tables the user gives, m (assumed).
pub const FORECAST_CORRELATION_M: f64 = 2_000.0;

/// Correlation length of the departures of an old sounding, m: the value that gives the drift
/// errors of consecutive soundings at Darwin, uncertain by half.
pub const SOUNDING_CORRELATION_M: f64 = 800.0;

/// Standard deviation of a wind component between two soundings six hours apart, by altitude
/// (m, m/s): 11 pairs of soundings, Darwin, January 2006, in 2.5 km bands, smoothed. One tropical
/// place in one season; above 19 km only two to four pairs. `tests/sounding_age.rs` recomputes it.
pub const SIX_HOUR_DEPARTURE: [(f64, f64); 8] = [
    (1_250.0, 3.59),
    (3_750.0, 3.85),
    (6_250.0, 4.15),
    (8_750.0, 4.19),
    (11_250.0, 4.24),
    (13_750.0, 4.54),
    (16_250.0, 4.57),
    (20_000.0, 4.21),
];

/// What a sounding is wrong by at once, m/s a component: instrument, and one to two hours and
/// tens of kilometres between the way up and the way down of one flight (Barbados, 2019-02-10).
pub const FRESH_SOUNDING_M_S: f64 = 1.0;

/// How the variance grows with the age of a sounding, (t / 6 h)^p: fitted to lags of 6 to 24 h.
pub const AGE_EXPONENT: f64 = 0.75;

/// Standard deviations for a forecast of a day, by altitude of the standard atmosphere (850, 500,
/// 250, 100, 50, 20, 10 hPa), m and m/s. A judgement (assumed), above the observation
/// errors of the NCEP global analysis (`prepobs_errtable.global`, type 220: 1.4 to 3.2 m/s).
/// Others found vector errors of about 4 m/s, 2.8 a component, between 1000 and 100 hPa in a
/// year of a regional model's forecasts of 6 h (quoted, 2016; the paper itself was not read).
pub const FORECAST: [(f64, f64); 7] = [
    (1_457.0, 2.0),
    (5_574.0, 2.5),
    (10_363.0, 3.5),
    (16_180.0, 2.5),
    (20_576.0, 2.5),
    (26_481.0, 3.5),
    (31_055.0, 5.0),
];

/// How a forecast's standard deviations grow with its lead time: [`FORECAST`] times
/// 0.75 + 0.25 (lead / 24 h), at most four times. A judgement (assumed): it makes 1.5 times at
/// three days and 2 times at five, as scores of global models do (from memory, not read).
pub fn forecast_growth(lead_s: f64) -> f64 {
    (0.75 + 0.25 * lead_s.max(0.0) / 86_400.0).min(4.0)
}

impl WindError {
    /// A sounding of some age used for a flight: sigma^2 = s0^2 + (s6^2 - s0^2) (t / 6 h)^p.
    pub fn of_sounding(age_s: f64, known_up_to_m: f64) -> WindError {
        let growth = (age_s.abs() / 21_600.0).powf(AGE_EXPONENT);
        let s0 = FRESH_SOUNDING_M_S * FRESH_SOUNDING_M_S;
        WindError {
            parts: vec![
                ErrorPart {
                    rows: SIX_HOUR_DEPARTURE
                        .iter()
                        .map(|&(z, s6)| (z, (s0 + (s6 * s6 - s0) * growth).sqrt()))
                        .collect(),
                    correlation_length_m: SOUNDING_CORRELATION_M,
                },
                above_top(known_up_to_m),
            ],
        }
    }

    /// A forecast so many seconds after its run.
    pub fn of_forecast(lead_s: f64, known_up_to_m: f64) -> WindError {
        let growth = forecast_growth(lead_s);
        WindError {
            parts: vec![
                ErrorPart {
                    rows: FORECAST.map(|(z, sigma)| (z, growth * sigma)).to_vec(),
                    correlation_length_m: FORECAST_CORRELATION_M,
                },
                above_top(known_up_to_m),
            ],
        }
    }

    /// No error where the winds are known: the members of an ensemble differ instead.
    pub fn none(known_up_to_m: f64) -> WindError {
        WindError {
            parts: vec![above_top(known_up_to_m)],
        }
    }

    /// Standard deviation of each component at an altitude, m/s.
    pub fn sigma_m_s(&self, altitude_m: f64) -> f64 {
        let squares = self.parts.iter().map(|p| p.sigma_m_s(altitude_m).powi(2));
        squares.sum::<f64>().sqrt()
    }
}

/// What holding the last wind adds above the highest known one.
pub fn above_top(known_up_to_m: f64) -> ErrorPart {
    const FAR_M: f64 = 100_000.0;
    ErrorPart {
        rows: vec![
            (known_up_to_m, 0.0),
            (known_up_to_m + FAR_M, FAR_M * GROWTH_ABOVE_TOP_PER_S),
        ],
        correlation_length_m: FORECAST_CORRELATION_M,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sigma_grows_with_age_and_above_the_top() {
        let fresh = WindError::of_sounding(0.0, 30_000.0);
        assert!((fresh.sigma_m_s(5_000.0) - FRESH_SOUNDING_M_S).abs() < 1e-12);
        let old = WindError::of_sounding(21_600.0, 30_000.0);
        assert!((old.sigma_m_s(8_750.0) - 4.19).abs() < 1e-12);
        assert!((old.sigma_m_s(7_500.0) - 4.17).abs() < 1e-12);
        assert!((old.sigma_m_s(0.0) - 3.59).abs() < 1e-12);
        assert!(old.sigma_m_s(33_000.0) > 5.1);
    }

    #[test]
    fn a_forecast_is_the_more_wrong_the_longer_it_is() {
        let at = |days: f64| WindError::of_forecast(86_400.0 * days, 40_000.0);
        let jet = |days| at(days).sigma_m_s(10_363.0);
        assert!((jet(1.0) - 3.5).abs() < 1e-12);
        assert!((jet(0.0) - 0.75 * 3.5).abs() < 1e-12);
        assert!((jet(5.0) - 2.0 * 3.5).abs() < 1e-12);
        assert!((jet(60.0) - 4.0 * 3.5).abs() < 1e-12);
        assert_eq!(WindError::none(9_000.0).sigma_m_s(5_000.0), 0.0);
        assert!(WindError::none(9_000.0).sigma_m_s(11_000.0) > 1.9);
    }
}
