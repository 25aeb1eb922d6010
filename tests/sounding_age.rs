//! What a sounding is worth some hours later: departures of twelve consecutive soundings, band by
//! band, beside the error that is said. `tests/wind_calibration.rs` judges whole drifts.
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

use common::{DARWIN, MeasuredFlight, column, interpolate};
use jiff::civil::DateTime;
use windfall::wind::column::WindProfile;
use windfall::wind::error::WindError;
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

/// What is said of a sounding of Darwin so old, the mean square over the soundings, m/s.
fn said(lag_h: f64, altitude_m: f64) -> f64 {
    let squares: Vec<f64> = MeasuredFlight::all_darwin()
        .iter()
        .map(|flight| {
            let winds: WindProfile = column(&flight.rising(), flight.air()).winds;
            let error = WindError::of_sounding(&winds, -12.42, 3_600.0 * lag_h, 0.0);
            error.sigma_m_s(altitude_m).powi(2)
        })
        .collect();
    (squares.iter().sum::<f64>() / squares.len() as f64).sqrt()
}

/// The bands as an independent program found them, within 3 %, and what is said within a half of
/// them: it is meant for the tropics, not for this fortnight.
fn bands(lag_h: f64, expected: [f64; 7]) {
    let pairs = departures(&soundings(), lag_h);
    println!("{lag_h} h: km, departure m/s, independent program, said");
    for (k, expected) in expected.into_iter().enumerate() {
        let low = BAND_M * k as f64;
        let raw = sigma(&pairs, low, low + BAND_M);
        let middle = low + 0.5 * BAND_M;
        let said = said(lag_h, middle);
        println!("{:.2} {raw:.2} {expected:.2} {said:.2}", middle / 1_000.0);
        assert!((raw / expected - 1.0).abs() < 0.03, "{middle} m: {raw}");
        assert!(
            (said / raw).ln().abs() < 1.5_f64.ln() + 0.1,
            "{middle} m: {said} {raw}"
        );
    }
}

#[test]
fn six_hours_old() {
    bands(6.0, [3.53, 3.76, 4.32, 4.17, 4.08, 4.62, 4.82]);
}

#[test]
fn a_day_old() {
    bands(24.0, [5.69, 9.07, 7.99, 6.12, 5.02, 7.38, 7.46]);
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

/// The same as said of each sounding, the mean square.
fn said_drift_m(top_m: f64) -> f64 {
    let layers = (top_m / GRID_M) as usize - 1;
    let heights: Vec<f64> = (0..layers).map(|k| GRID_M * (k as f64 + 1.5)).collect();
    let squares: Vec<f64> = MeasuredFlight::all_darwin()
        .iter()
        .map(|flight| {
            let winds = column(&flight.rising(), flight.air()).winds;
            let error = WindError::of_sounding(&winds, -12.42, 6.0 * 3_600.0, 0.0);
            let process = WindErrorProcess::new(&error, &heights, &vec![GRID_M / 5.0; layers]);
            process.drift_sigma_m().powi(2)
        })
        .collect();
    (squares.iter().sum::<f64>() / squares.len() as f64).sqrt()
}

/// Drift errors to 14 km (11 pairs) 3,765 m with a jackknife error of 558 m, to 16.5 km (9 pairs)
/// 3,627 m with 976 m: what is said is at most twice that, and not less.
#[test]
fn drifts_of_six_hours() {
    let pairs = departures(&soundings(), 6.0);
    for (top, count, expected, error) in [
        (14_000.0, 11, 3_765.0, 558.0),
        (16_500.0, 9, 3_627.0, 976.0),
    ] {
        let (observed, n) = observed_drift_m(&pairs, top);
        let said = said_drift_m(top);
        println!("to {top} m: observed {observed:.0} m, said {said:.0} m");
        assert_eq!(n, count);
        assert!((observed / expected - 1.0).abs() < 0.03, "{observed}");
        assert!(said > observed - error && said < 2.0 * observed, "{said}");
    }
}
