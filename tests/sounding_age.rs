//! What a sounding is worth some hours later: the default table of departures recomputed from
//! twelve consecutive soundings.
//!
//! Source of the soundings: ARM user facility, balloon-borne sounding system (sondewnpn), Darwin,
//! 19 to 21 January 2006; see tests/data/flights/README.md.
//!
//! Definitions. Rows higher than all before; u and v linear in geometric altitude, on a grid of 250
//! m, no extrapolation. Two soundings are a pair of lag L when their releases are L apart within
//! 1.25 h. sigma^2 of a band of 2.5 km is the mean of (du^2 + dv^2) / 2 over all pairs and grid
//! levels in it (lower edge included); no mean is removed.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::print_stdout, reason = "tables for whoever runs the tests")]

mod common;

use common::{DARWIN, MeasuredFlight, interpolate};
use jiff::civil::DateTime;
use windfall::wind::error::{
    AGE_EXPONENT, FRESH_SOUNDING_M_S, SIX_HOUR_DEPARTURE, SOUNDING_CORRELATION_M, WindError,
};
use windfall::wind::error_process::WindErrorProcess;

const GRID_M: f64 = 250.0;
const GRID_LEVELS: usize = 100;
const BAND_M: f64 = 2_500.0;

/// Winds on the grid, from 250 m up; `None` above the highest record.
struct Gridded {
    hours: f64,
    winds: Vec<Option<[f64; 2]>>,
}

fn gridded(release: &str) -> Gridded {
    let flight = MeasuredFlight::read(&format!("darwin_{release}"));
    let part = |wind: fn(&common::Record) -> f64| -> Vec<(f64, f64)> {
        flight
            .rising()
            .iter()
            .map(|r| (r.altitude_m, wind(r)))
            .collect()
    };
    let (east, north) = (part(|r| r.wind.east_m_s), part(|r| r.wind.north_m_s));
    let winds = (1..=GRID_LEVELS)
        .map(|k| {
            let z = GRID_M * k as f64;
            Some([interpolate(&east, z)?, interpolate(&north, z)?])
        })
        .collect();
    let time = DateTime::strptime("%Y-%m-%dT%H%M", release).expect("a time");
    Gridded {
        hours: f64::from(time.day()) * 24.0
            + f64::from(time.hour())
            + f64::from(time.minute()) / 60.0,
        winds,
    }
}

/// Differences later - earlier on the grid, of every pair of a lag.
fn departures(soundings: &[Gridded], lag_h: f64) -> Vec<Vec<Option<[f64; 2]>>> {
    let mut pairs = Vec::new();
    for (i, a) in soundings.iter().enumerate() {
        for b in &soundings[i + 1..] {
            if (b.hours - a.hours - lag_h).abs() <= 1.25 {
                let difference = a
                    .winds
                    .iter()
                    .zip(&b.winds)
                    .map(|(a, b)| Some([(*b)?[0] - (*a)?[0], (*b)?[1] - (*a)?[1]]))
                    .collect();
                pairs.push(difference);
            }
        }
    }
    pairs
}

/// sigma in m/s over all levels from `low_m` (included) to `high_m` (not).
fn sigma(pairs: &[Vec<Option<[f64; 2]>>], low_m: f64, high_m: f64) -> f64 {
    let (mut sum, mut count) = (0.0, 0);
    for pair in pairs {
        for (k, d) in pair.iter().enumerate() {
            let z = GRID_M * (k + 1) as f64;
            if let (true, Some([u, v])) = ((low_m..high_m).contains(&z), d) {
                sum += 0.5 * (u * u + v * v);
                count += 1;
            }
        }
    }
    assert!(count > 0, "nothing between {low_m} and {high_m} m");
    (sum / f64::from(count)).sqrt()
}

fn soundings() -> Vec<Gridded> {
    DARWIN.iter().map(|t| gridded(t)).collect()
}

#[test]
fn pairs_of_each_lag() {
    let soundings = soundings();
    let counts = [6.0, 12.0, 18.0, 24.0].map(|lag| departures(&soundings, lag).len());
    assert_eq!(counts, [11, 10, 9, 8]);
}

/// The bands as an independent program found them, within 3 %, and the smoothed default table
/// within 8 % of the bands.
#[test]
fn the_six_hour_table() {
    let soundings = soundings();
    let pairs = departures(&soundings, 6.0);
    let expected = [3.53, 3.76, 4.32, 4.17, 4.08, 4.62, 4.82];
    println!("km, six-hour departure m/s, independent program, default table");
    for (k, expected) in expected.into_iter().enumerate() {
        let low = BAND_M * k as f64;
        let raw = sigma(&pairs, low, low + BAND_M);
        let (knot, smoothed) = SIX_HOUR_DEPARTURE[k];
        println!("{:.2} {raw:.2} {expected:.2} {smoothed:.2}", knot / 1_000.0);
        assert_eq!(knot, low + 0.5 * BAND_M);
        assert!((raw / expected - 1.0).abs() < 0.03, "{knot} m: {raw}");
        assert!(
            (smoothed / raw - 1.0).abs() < 0.08,
            "{knot} m: {raw} {smoothed}"
        );
    }
    // The highest knot pools all above 17.5 km: two to four pairs.
    let (knot, pooled) = SIX_HOUR_DEPARTURE[7];
    let raw = sigma(&pairs, 17_500.0, 25_001.0);
    println!("{:.2} {raw:.2} - {pooled:.2}", knot / 1_000.0);
    assert!((pooled / raw - 1.0).abs() < 0.15, "{raw} {pooled}");
}

/// The same bands a day apart.
#[test]
fn the_day_old_table() {
    let pairs = departures(&soundings(), 24.0);
    for (k, expected) in [5.69, 9.07, 7.99, 6.12, 5.02, 7.38, 7.46]
        .into_iter()
        .enumerate()
    {
        let low = BAND_M * k as f64;
        let raw = sigma(&pairs, low, low + BAND_M);
        assert!((raw / expected - 1.0).abs() < 0.03, "{low} m: {raw}");
    }
}

/// sigma^2 - s0^2 grows as t^p: the exponent by least squares of the logarithms over lags of 6 to
/// 24 h. Its jackknife error is 0.2.
#[test]
fn growth_with_age() {
    let soundings = soundings();
    let points: Vec<(f64, f64)> = [6.0, 12.0, 18.0, 24.0]
        .into_iter()
        .map(|lag: f64| {
            let sigma = sigma(&departures(&soundings, lag), 0.0, 25_001.0);
            let grown = sigma * sigma - FRESH_SOUNDING_M_S * FRESH_SOUNDING_M_S;
            println!("{lag} h: {sigma:.2} m/s");
            ((lag / 6.0).ln(), grown.ln())
        })
        .collect();
    let exponent = slope(&points);
    println!("exponent {exponent:.2}, default {AGE_EXPONENT}");
    assert!((exponent - AGE_EXPONENT).abs() < 0.2, "{exponent}");
}

fn slope(points: &[(f64, f64)]) -> f64 {
    let n = points.len() as f64;
    let x_mean = points.iter().map(|p| p.0).sum::<f64>() / n;
    let y_mean = points.iter().map(|p| p.1).sum::<f64>() / n;
    let covariance: f64 = points.iter().map(|p| (p.0 - x_mean) * (p.1 - y_mean)).sum();
    covariance / points.iter().map(|p| (p.0 - x_mean).powi(2)).sum::<f64>()
}

/// RMS per component of the drift error when the sounding of six hours before is flown at 5 m/s
/// from 250 m to `top_m`: trapezoids over the grid, pairs that reach so far.
fn observed_drift_m(pairs: &[Vec<Option<[f64; 2]>>], top_m: f64) -> (f64, usize) {
    let levels = (top_m / GRID_M) as usize;
    let drifts: Vec<[f64; 2]> = pairs
        .iter()
        .filter_map(|pair| pair[..levels].iter().copied().collect::<Option<Vec<_>>>())
        .map(|d| {
            [0, 1].map(|i| {
                let legs = d.windows(2).map(|w| 0.5 * (w[0][i] + w[1][i]));
                legs.sum::<f64>() * GRID_M / 5.0
            })
        })
        .collect();
    let sum: f64 = drifts.iter().map(|d| d[0] * d[0] + d[1] * d[1]).sum();
    ((sum / (2.0 * drifts.len() as f64)).sqrt(), drifts.len())
}

/// The same from the model: default table, correlation length L.
fn modelled_drift_m(top_m: f64, correlation_length_m: f64) -> f64 {
    let mut error = WindError::of_sounding(6.0 * 3_600.0, 90_000.0);
    error.parts[0].correlation_length_m = correlation_length_m;
    let layers = (top_m / GRID_M) as usize - 1;
    let heights: Vec<f64> = (0..layers).map(|k| GRID_M * (k as f64 + 1.5)).collect();
    WindErrorProcess::new(&error, &heights, &vec![GRID_M / 5.0; layers]).drift_sigma_m()
}

/// The correlation length is the one that gives the observed drift errors: to 14 km (11 pairs)
/// 3,765 m with a jackknife error of 558 m, to 16.5 km (9 pairs) 3,627 m with 976 m. Twice the
/// length, which the correlation at lags under 3 km alone would suggest, gives too much.
#[test]
fn the_correlation_length_gives_the_observed_drift() {
    let soundings = soundings();
    let pairs = departures(&soundings, 6.0);
    for (top, count, expected, error) in [
        (14_000.0, 11, 3_765.0, 558.0),
        (16_500.0, 9, 3_627.0, 976.0),
    ] {
        let (observed, n) = observed_drift_m(&pairs, top);
        let model = modelled_drift_m(top, SOUNDING_CORRELATION_M);
        println!("to {top} m: observed {observed:.0} m, model {model:.0} m");
        assert_eq!(n, count);
        assert!((observed / expected - 1.0).abs() < 0.03, "{observed}");
        assert!((model - observed).abs() < error, "{model} {observed}");
    }
    let (observed, _) = observed_drift_m(&pairs, 14_000.0);
    let too_long = modelled_drift_m(14_000.0, 2.0 * SOUNDING_CORRELATION_M);
    assert!(too_long > observed + 2.0 * 558.0, "{too_long} {observed}");
}
