//! How far winds measured at another place or time depart from those of a flight.
//!
//! The structure function of the wind: the variance of the difference of one component between two
//! places D apart is
//!
//! kappa(z)^2 (v0^2 + |V(z)|^2) (1 - exp(-(D / D0)^1.5)),
//!
//! which grows nearly as D^1.5 and ends at what the weather of a season varies by. Weather moves,
//! so winds of the age t are as those of the distance U t. Of the variance a share has the scale
//! of the folds of a profile, the rest reaches over many kilometres of height, less of them towards
//! the equator, as the height of flow of a given width goes with the Coriolis parameter (Prandtl's
//! ratio f / N).
//!
//! Fitted by likelihood to differences of components and of the drifts of whole flights: five
//! analyses and forecasts on grids (globe, North America, western Europe, the Midwest; 120 to
//! 3,000 km), and series of profiles of Darwin, Prague, Missoula, Des Moines, Los Angeles and
//! Portugal (3 to 48 h), each grid and place weighted alike; then rounded. `tests/wind_calibration.rs`
//! judges it by drifts.

use super::column::WindProfile;
use super::error::{ErrorPart, interpolate};

/// v0, m/s: what the wind varies by where it is calm, as if it blew so fast.
pub const CALM_M_S: f64 = 25.0;
/// kappa in the troposphere of middle latitudes.
pub const TROPOSPHERE: f64 = 0.75;
/// kappa in the stratosphere.
pub const STRATOSPHERE: f64 = 0.25;
/// D0, m.
pub const REACH_M: f64 = 1_500_000.0;
/// The exponent of D.
pub const EXPONENT: f64 = 1.5;
/// U, m/s, in middle latitudes: 40 km/h.
pub const MOVES_AT_M_S: f64 = 40.0 / 3.6;
/// Share of the variance that has the small scale.
pub const SMALL_SHARE: f64 = 0.35;
/// Correlation length of the small scale, m.
pub const SMALL_CORRELATION_M: f64 = 1_000.0;
/// Correlation length of the large scale from 45 degrees of latitude on, m.
pub const LARGE_CORRELATION_M: f64 = 12_000.0;
/// The least of that, near the equator, m.
pub const EQUATOR_CORRELATION_M: f64 = 3_000.0;
/// How long after a sounding made at its release a flight meets its winds, s: an hour, on the way
/// up and down.
pub const FLIGHT_S: f64 = 3_600.0;

/// What a fresh sounding is wrong by, altitude in m and m/s a component: the instrument, and waves
/// that no hour leaves as they were. Small in the troposphere; above it, as measured profiles and
/// forecasts change within three to six hours.
pub const FRESH: &[(f64, f64)] = &[(15_000.0, 1.2), (23_000.0, 2.5)];

/// Ratio of the sine of a latitude to that of another, at most 1.
fn towards(latitude_deg: f64, full_at_deg: f64) -> f64 {
    of_sine(latitude_deg.to_radians().sin(), full_at_deg)
}

fn of_sine(sine_of_latitude: f64, full_at_deg: f64) -> f64 {
    (sine_of_latitude.abs() / full_at_deg.to_radians().sin()).min(1.0)
}

/// How fast weather moves, m/s, by the sine of the latitude. In the tropics it moves more slowly: two fifths
/// of the speed at the equator, all of it from 40 degrees on.
pub fn moves_at_m_s(sine_of_latitude: f64) -> f64 {
    MOVES_AT_M_S * (0.4 + 0.6 * of_sine(sine_of_latitude, 40.0))
}

/// D, m: the distance that winds of an age and a distance amount to.
pub fn away_m(latitude_deg: f64, age_s: f64, distance_m: f64) -> f64 {
    let moves_at_m_s = moves_at_m_s(latitude_deg.to_radians().sin());
    // Drift of the weather and distance are taken to have no direction in common: squares add.
    distance_m.hypot(moves_at_m_s * age_s.hypot(FLIGHT_S))
}

/// kappa: the troposphere ends where its tropopause does, at 17.5 km above the equator and 12.5 km
/// from 50 degrees on; within 40 degrees it varies less.
fn kappa(latitude_deg: f64, altitude_m: f64) -> f64 {
    let end_m = 17_500.0 - 5_000.0 * towards(latitude_deg, 50.0).powi(2);
    // Joined gradually: by latitude the tropopause is a mean one, not that of the day.
    let share = 1.0 / (1.0 + ((altitude_m - end_m) / 1_200.0).exp());
    let troposphere = TROPOSPHERE * (0.65 + 0.35 * towards(latitude_deg, 40.0));
    STRATOSPHERE + (troposphere - STRATOSPHERE) * share
}

/// The parts of small and of large scale, for winds D metres away at an altitude. `besides` is what they are wrong
/// by without that, of the small scale, altitude in m and m/s.
pub fn parts(
    winds: &WindProfile,
    latitude_deg: f64,
    away_m: impl Fn(f64) -> f64,
    besides: &[(f64, f64)],
) -> [ErrorPart; 2] {
    let variance = |z: f64| {
        let grown = 1.0 - (-(away_m(z) / REACH_M).powf(EXPONENT)).exp();
        // Smoothed over 2 km: folds of a profile say little of how its winds change.
        let speed_m_s = winds.mean(z - 1_000.0, z + 1_000.0).speed_m_s();
        let kappa = kappa(latitude_deg, z);
        kappa * kappa * (CALM_M_S * CALM_M_S + speed_m_s * speed_m_s) * grown
    };
    let large_m = LARGE_CORRELATION_M * towards(latitude_deg, 45.0);
    [
        ErrorPart::by_altitude(SMALL_CORRELATION_M, |z| {
            (SMALL_SHARE * variance(z) + interpolate(besides, z).powi(2)).sqrt()
        }),
        ErrorPart::by_altitude(large_m.max(EQUATOR_CORRELATION_M), |z| {
            ((1.0 - SMALL_SHARE) * variance(z)).sqrt()
        }),
    ]
}
