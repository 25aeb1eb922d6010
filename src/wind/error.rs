//! How wrong the winds may be: a vector process correlated in height.
//!
//! Each component of the error is a first-order autoregressive process in altitude: a standard
//! deviation by altitude, and the correlation exp(-dz / L) between two altitudes.

use crate::random::{NormalTable, SplitMix};

/// Standard deviation of a wind component by altitude, and how far errors reach in height.
#[derive(Debug, Clone, PartialEq)]
pub struct WindErrorTable {
    /// Altitude above mean sea level (m, strictly rising) and standard deviation of each
    /// component (m/s); linear between, held outside.
    pub rows: Vec<(f64, f64)>,
    /// L, m.
    pub correlation_length_m: f64,
    /// Above this altitude (m) no wind is known and the standard deviation grows.
    pub known_up_to_m: f64,
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

impl WindErrorTable {
    /// A sounding of some age used for a flight: sigma^2 = s0^2 + (s6^2 - s0^2) (t / 6 h)^p.
    pub fn of_sounding(age_s: f64, known_up_to_m: f64) -> WindErrorTable {
        let growth = (age_s.abs() / 21_600.0).powf(AGE_EXPONENT);
        let s0 = FRESH_SOUNDING_M_S * FRESH_SOUNDING_M_S;
        WindErrorTable {
            rows: SIX_HOUR_DEPARTURE
                .iter()
                .map(|&(z, s6)| (z, (s0 + (s6 * s6 - s0) * growth).sqrt()))
                .collect(),
            correlation_length_m: SOUNDING_CORRELATION_M,
            known_up_to_m,
        }
    }

    /// A forecast so many seconds after its run.
    pub fn of_forecast(lead_s: f64, known_up_to_m: f64) -> WindErrorTable {
        let growth = forecast_growth(lead_s);
        WindErrorTable {
            rows: FORECAST.map(|(z, sigma)| (z, growth * sigma)).to_vec(),
            correlation_length_m: FORECAST_CORRELATION_M,
            known_up_to_m,
        }
    }

    /// No error where the winds are known: the members of an ensemble differ instead.
    pub fn none(known_up_to_m: f64) -> WindErrorTable {
        WindErrorTable {
            rows: Vec::new(),
            correlation_length_m: FORECAST_CORRELATION_M,
            known_up_to_m,
        }
    }

    /// Standard deviation of each component at an altitude, m/s.
    pub fn sigma_m_s(&self, altitude_m: f64) -> f64 {
        let above = self.rows.partition_point(|r| r.0 <= altitude_m);
        let sigma = match (
            above.checked_sub(1).map(|i| self.rows[i]),
            self.rows.get(above),
        ) {
            (Some(a), Some(b)) => a.1 + (b.1 - a.1) * (altitude_m - a.0) / (b.0 - a.0),
            (Some(a), None) => a.1,
            (None, Some(b)) => b.1,
            (None, None) => 0.0,
        };
        let unknown = (altitude_m - self.known_up_to_m).max(0.0) * GROWTH_ABOVE_TOP_PER_S;
        sigma.hypot(unknown)
    }
}

/// The error process on the layers of a flight model, ready to be drawn from.
///
/// The process is drawn at knots L apart and is linear between, scaled so that the drift it causes
/// over many L has the variance of the process, 2 L sigma^2 for each unit of height; at a single
/// height the variance is 8 % less at a knot and 37 % less half way between. The part that moves the
/// planned landing is fixed by two given normal deviates, so that an even sampling of those two
/// samples the landing evenly; the rest is conditioned on it.
#[derive(Debug, Clone)]
pub struct WindErrorProcess {
    /// Correlation between neighbouring knots.
    rho: f64,
    knots: usize,
    /// For each layer: the knot below, the share of the way to the next, the standard deviation.
    layers: Vec<(usize, f64, f64)>,
    /// The planned drift as a sum over knots, s m/s: what the conditioning acts on.
    drift: Vec<f64>,
    /// C a / (a' C a): how each knot answers to a change of the drift.
    gain: Vec<f64>,
    /// sqrt(a' C a): standard deviation of the planned drift, m.
    drift_sigma_m: f64,
    normal: NormalTable,
}

impl WindErrorProcess {
    /// The process on layers with middles at `heights_m` (equally spaced, rising), in which the
    /// planned flight spends `seconds` altogether.
    pub fn new(table: &WindErrorTable, heights_m: &[f64], seconds: &[f64]) -> WindErrorProcess {
        let spacing = table.correlation_length_m;
        // Knots d apart give d (1 + rho) / (1 - rho) = d / tanh(d / 2L) instead of 2 L.
        let scale = (2.0 * 0.5f64.tanh()).sqrt();
        let base = heights_m.first().copied().unwrap_or(0.0);
        let span = heights_m.last().map_or(0.0, |top| top - base);
        let knots = (span / spacing).ceil() as usize + 1;
        let layers: Vec<(usize, f64, f64)> = heights_m
            .iter()
            .map(|z| {
                let x = (z - base) / spacing;
                let below = (x as usize).min(knots.saturating_sub(2));
                (below, x - below as f64, scale * table.sigma_m_s(*z))
            })
            .collect();
        let mut drift = vec![0.0; knots + 1];
        for (&(below, share, sigma), s) in layers.iter().zip(seconds) {
            drift[below] += s * sigma * (1.0 - share);
            drift[below + 1] += s * sigma * share;
        }
        drift.truncate(knots);
        let rho = (-spacing / table.correlation_length_m).exp();
        let mut gain: Vec<f64> = (0..knots)
            .map(|i| {
                let term = |j: usize| drift[j] * rho.powi(i.abs_diff(j) as i32);
                (0..knots).map(term).sum()
            })
            .collect();
        let variance: f64 = gain.iter().zip(&drift).map(|(g, a)| g * a).sum();
        let scale = if variance > 0.0 { 1.0 / variance } else { 0.0 };
        gain.iter_mut().for_each(|g| *g *= scale);
        WindErrorProcess {
            rho,
            knots,
            layers,
            drift,
            gain,
            drift_sigma_m: variance.max(0.0).sqrt(),
            normal: NormalTable::new(),
        }
    }

    /// Standard deviation of each component of the planned drift, m.
    pub fn drift_sigma_m(&self) -> f64 {
        self.drift_sigma_m
    }

    /// Draws an error for each layer (m/s east and north) into `out`: `deviates` fix the planned
    /// drift's error, `stream` the rest.
    pub fn draw(
        &self,
        deviates: [f64; 2],
        stream: &mut SplitMix,
        knots: &mut Vec<[f64; 2]>,
        out: &mut Vec<[f64; 2]>,
    ) {
        let innovation = (1.0 - self.rho * self.rho).sqrt();
        knots.clear();
        let mut last = [self.normal.next(stream), self.normal.next(stream)];
        let mut drift = [0.0; 2];
        for a in &self.drift {
            knots.push(last);
            for i in 0..2 {
                drift[i] += a * last[i];
                last[i] = self.rho * last[i] + innovation * self.normal.next(stream);
            }
        }
        // Conditioning by kriging (Matheron): x + gain (wanted - found).
        let missing = [0, 1].map(|i| self.drift_sigma_m * deviates[i] - drift[i]);
        for (knot, gain) in knots.iter_mut().zip(&self.gain) {
            knot[0] += gain * missing[0];
            knot[1] += gain * missing[1];
        }
        out.clear();
        out.extend(self.layers.iter().map(|&(below, share, sigma)| {
            let above = (below + 1).min(self.knots - 1);
            let (a, b) = (knots[below], knots[above]);
            [0, 1].map(|i| sigma * (a[i] + share * (b[i] - a[i])))
        }));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sigma_grows_with_age_and_above_the_top() {
        let fresh = WindErrorTable::of_sounding(0.0, 30_000.0);
        assert!((fresh.sigma_m_s(5_000.0) - FRESH_SOUNDING_M_S).abs() < 1e-12);
        let old = WindErrorTable::of_sounding(21_600.0, 30_000.0);
        assert!((old.sigma_m_s(8_750.0) - 4.19).abs() < 1e-12);
        assert!((old.sigma_m_s(7_500.0) - 4.17).abs() < 1e-12);
        assert!((old.sigma_m_s(0.0) - 3.59).abs() < 1e-12);
        assert!(old.sigma_m_s(33_000.0) > 5.1);
    }

    #[test]
    fn a_forecast_is_the_more_wrong_the_longer_it_is() {
        let at = |days: f64| WindErrorTable::of_forecast(86_400.0 * days, 40_000.0);
        let jet = |days| at(days).sigma_m_s(10_363.0);
        assert!((jet(1.0) - 3.5).abs() < 1e-12);
        assert!((jet(0.0) - 0.75 * 3.5).abs() < 1e-12);
        assert!((jet(5.0) - 2.0 * 3.5).abs() < 1e-12);
        assert!((jet(60.0) - 4.0 * 3.5).abs() < 1e-12);
        assert_eq!(WindErrorTable::none(9_000.0).sigma_m_s(5_000.0), 0.0);
        assert!(WindErrorTable::none(9_000.0).sigma_m_s(11_000.0) > 1.9);
    }

    #[test]
    fn draws_have_the_variance_and_correlation_asked_for() {
        let table = WindErrorTable {
            rows: vec![(0.0, 3.0)],
            correlation_length_m: 2_000.0,
            known_up_to_m: f64::INFINITY,
        };
        let heights: Vec<f64> = (0..30).map(|k| 1_000.0 * f64::from(k)).collect();
        let process = WindErrorProcess::new(&table, &heights, &[100.0; 30]);
        let (mut knots, mut out) = (Vec::new(), Vec::new());
        let draws = 20_000;
        let (mut variance, mut lagged, mut cross) = (0.0, 0.0, 0.0);
        for i in 0..draws {
            let mut stream = SplitMix::stream(3, i);
            let deviates = [stream.next_normal(), stream.next_normal()];
            process.draw(deviates, &mut stream, &mut knots, &mut out);
            variance += out[10][0] * out[10][0] / draws as f64;
            lagged += out[10][0] * out[12][0] / draws as f64;
            cross += out[10][0] * out[10][1] / draws as f64;
        }
        // Five standard errors: sqrt(2/n) of the variance is 1 %.
        let at_knots = 2.0 * 0.5f64.tanh();
        assert!((variance / 9.0 - at_knots).abs() < 0.05, "{variance}");
        assert!(
            (lagged / 9.0 - at_knots * (-1f64).exp()).abs() < 0.05,
            "{lagged}"
        );
        assert!(cross.abs() / 9.0 < 0.05, "{cross}");
    }

    #[test]
    fn no_layers_and_no_error_are_harmless() {
        let table = WindErrorTable::of_forecast(0.0, 0.0);
        let process = WindErrorProcess::new(&table, &[], &[]);
        let (mut knots, mut out) = (Vec::new(), Vec::new());
        process.draw(
            [1.0, 1.0],
            &mut SplitMix::stream(0, 0),
            &mut knots,
            &mut out,
        );
        assert!(out.is_empty());
        let process = WindErrorProcess::new(&table, &[100.0], &[0.0]);
        process.draw(
            [1.0, 1.0],
            &mut SplitMix::stream(0, 0),
            &mut knots,
            &mut out,
        );
        assert!(out[0][0].is_finite());
    }
}
