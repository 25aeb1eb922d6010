//! Speeds and times in closed form: ascent with constant drag, terminal fall.
//!
//! The numbers were computed from the formulas named beside them on the U.S. Standard Atmosphere,
//! 1976, all heights geometric.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;

use common::{assert_digits, exponential_air};
use windfall::atmosphere::{AirProfile, Geopotential, gravity_m_s2, standard};
use windfall::flight::layers::Layers;
use windfall::flight::model::Fall;
use windfall::vehicle::ascent::{Climb, Climber, DragCurve, GasHeat};
use windfall::vehicle::balloon::{Gas, GasFill, LiftingGas};
use windfall::vehicle::descent::FallSpeed;
use windfall::vehicle::parachute::{drag_area_m2, terminal_speed_m_s};

const LAYER_M: f64 = 100.0;

/// A climb with constant drag and gas at air temperature that begins at 5 m/s.
fn textbook_climb(air: &AirProfile, top_m: f64) -> Climb {
    let gas = LiftingGas {
        gas: Gas::Helium,
        purity: 1.0,
    };
    let mut climber = Climber {
        dead_mass_kg: 5.28,
        fill: GasFill::of_gross_lift(gas, 8.0, &air.at(0.0)),
        drag: DragCurve::constant(0.3),
        drag_factor: 1.0,
        heat: GasHeat::AirTemperature,
    };
    let count = (top_m / LAYER_M) as usize;
    // v goes with the root of the drag.
    let start = climber.climb(air, 0.0, LAYER_M, 1).states[0].rate_m_s;
    climber.drag_factor = (start / 5.0).powi(2);
    climber.climb(air, 0.0, LAYER_M, count)
}

/// What gravity that weakens with height does to a speed of balance: v goes with sqrt(g). The
/// closed forms take g as constant, so it is divided out.
fn of_gravity(altitude_m: f64) -> f64 {
    (gravity_m_s2(altitude_m) / gravity_m_s2(0.0)).sqrt()
}

/// Seconds of a climb, had gravity been constant.
fn seconds_at_constant_gravity(climb: &Climb) -> f64 {
    climb
        .seconds
        .iter()
        .enumerate()
        .map(|(k, s)| s * of_gravity(LAYER_M * (k as f64 + 0.5)))
        .sum()
}

/// v / v0 = (rho0 / rho)^(1/6): constant free lift, and an area that grows as rho^(-2/3).
#[test]
fn ascent_speeds_up_with_constant_drag() {
    let climb = textbook_climb(&AirProfile::standard(), 35_000.0);
    for (km, factor) in [
        (5, "1.0885"),
        (10, "1.1984"),
        (15, "1.3587"),
        (20, "1.5483"),
        (25, "1.7682"),
        (30, "2.0130"),
        (35, "2.2914"),
    ] {
        let state = climb.states[10 * km];
        let found = state.rate_m_s / 5.0 / of_gravity(1_000.0 * km as f64);
        assert_digits(found, factor, &format!("{km} km"));
    }
}

#[test]
fn ascent_times_with_constant_drag() {
    for (km, seconds) in [
        (20.0, 3312.2),
        (25.0, 3916.9),
        (30.0, 4447.2),
        (35.0, 4913.3),
    ] {
        let climb = textbook_climb(&AirProfile::standard(), 1_000.0 * km);
        let found = seconds_at_constant_gravity(&climb);
        assert!((found - seconds).abs() < 0.1, "{km} km: {found}");
    }
}

/// Exponential air: t = (6 H / v0) (1 - exp(-z / 6H)); H = 7 km, z = 30 km, v0 = 5 m/s: 4287.850 s.
#[test]
fn ascent_time_in_exponential_air() {
    let (h, z, v0) = (7_000.0, 30_000.0, 5.0);
    let closed = 6.0 * h / v0 * (1.0 - f64::exp(-z / (6.0 * h)));
    assert_digits(closed, "4287.850", "the closed form");
    let found = seconds_at_constant_gravity(&textbook_climb(&exponential_air(h), z));
    assert!((found - closed).abs() < 0.02, "{found}");
}

/// v = sqrt(2 m g / (rho Cd S0)), rho = 1.225 kg/m3 (T. W. Knacke, *Parachute Recovery Systems
/// Design Manual*, 1991, chapter 5): mass kg, Cd, diameter m, speed m/s.
#[test]
fn terminal_speeds() {
    for (mass, cd, diameter, speed) in [
        (1.0, 0.75, 1.0, "5.2135"),
        (2.0, 0.80, 1.2, "5.9491"),
        (0.5, 1.5, 0.6, "4.3446"),
        (1.0, 0.97, 0.91, "5.0377"),
    ] {
        let found = terminal_speed_m_s(mass, drag_area_m2(diameter, cd), 1.225);
        assert_digits(found, speed, &format!("{mass} kg"));
    }
}

/// The other way round: 20 kg at 10 m/s need Cd S = 2 m g / (rho v^2) = 3.2022 m2.
#[test]
fn drag_area_of_a_speed() {
    let diameter = (3.2022f64 * 4.0 / std::f64::consts::PI / 0.8).sqrt();
    let found = terminal_speed_m_s(20.0, drag_area_m2(diameter, 0.8), 1.225);
    // Half a unit of the fourth decimal of the area is 8e-5 in the speed.
    assert!((found - 10.0).abs() < 1e-4, "{found}");
}

/// v / v0 = sqrt(rho0 / rho).
#[test]
fn fall_speeds_up_in_thin_air() {
    let constant_area = FallSpeed {
        landing_speed_m_s: 1.0,
        thin_air_exponent: 0.0,
    };
    for (km, factor) in [
        (5.0, "1.2897"),
        (10.0, "1.7212"),
        (15.0, "2.5080"),
        (20.0, "3.7119"),
        (25.0, "5.5282"),
        (30.0, "8.1572"),
        (35.0, "12.0308"),
    ] {
        let rho = standard(Geopotential::standard(1_000.0 * km)).density_kg_m3;
        assert_digits(constant_area.at(rho), factor, &format!("{km} km"));
    }
}

fn fall_seconds(air: &AirProfile, thin_air_exponent: f64, from_m: f64) -> f64 {
    let speed = FallSpeed {
        landing_speed_m_s: 5.0,
        thin_air_exponent,
    };
    let layers = Layers::covering(0.0, from_m, 200.0);
    Fall::at_speed(&speed, air, &layers).seconds.iter().sum()
}

/// Terminal all the way to sea level, 5 m/s there.
#[test]
fn fall_times_in_the_standard_atmosphere() {
    for (km, seconds) in [
        (20.0, 2378.03),
        (25.0, 2600.09),
        (30.0, 2749.83),
        (35.0, 2851.50),
    ] {
        let found = fall_seconds(&AirProfile::standard(), 0.0, 1_000.0 * km);
        assert!((found - seconds).abs() < 0.02, "{km} km: {found}");
    }
}

/// Exponential air, drag area as rho^-a, v = v0 (rho0 / rho)^((1 - a) / 2):
/// t = 2H / ((1 - a) v0) (1 - exp(-(1 - a) z / 2H)); H = 7 km, z = 30 km, v0 = 5 m/s.
#[test]
fn fall_times_in_exponential_air() {
    let (h, z, v0) = (7_000.0, 30_000.0, 5.0);
    for (a, seconds, speed_at_top) in [
        (0.0, "2471.51", "42.619"),
        (0.1, "2658.89", "34.398"),
        (0.2, "2869.68", "27.764"),
        (0.36, "3264.87", "19.705"),
    ] {
        let b = (1.0 - a) / (2.0 * h);
        let closed = (1.0 - f64::exp(-b * z)) / (b * v0);
        assert_digits(closed, seconds, &format!("closed form, a = {a}"));
        let air = exponential_air(h);
        let found = fall_seconds(&air, a, z);
        assert!((found - closed).abs() < 0.01, "a = {a}: {found}");
        let speed = FallSpeed {
            landing_speed_m_s: v0,
            thin_air_exponent: a,
        };
        assert_digits(
            speed.at(air.at(z).density_kg_m3),
            speed_at_top,
            &format!("a = {a}"),
        );
    }
}
