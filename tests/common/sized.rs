//! Stacks to be filled in the standard atmosphere at sea level, landing at 5 m/s.

#![allow(dead_code, reason = "each test file uses a part of it")]

use windfall::atmosphere::AirProfile;
use windfall::flight::model::Fall;
use windfall::sizing::Stack;
use windfall::vehicle::balloon::{Balloon, Gas, LiftingGas};
use windfall::vehicle::burst::Burst;
use windfall::vehicle::descent::FallSpeed;

/// A stack of balloon and load (kg) in a pure gas.
pub fn stack(masses_kg: (f64, f64), gas: Gas, burst_diameter_m: f64) -> Stack {
    stack_at(0.0, masses_kg, gas, burst_diameter_m)
}

/// The same at a site of an altitude, m.
pub fn stack_at(
    site_m: f64,
    (mass_kg, load_kg): (f64, f64),
    gas: Gas,
    burst_diameter_m: f64,
) -> Stack {
    let air = AirProfile::standard();
    let speed = FallSpeed {
        landing_speed_m_s: 5.0,
        thin_air_exponent: 0.1,
    };
    let fall = Fall::at_speed(&speed, &air, &Stack::layers(site_m));
    let gas = LiftingGas { gas, purity: 1.0 };
    let balloon = Balloon {
        mass_kg,
        burst: Burst::Diameter {
            diameter_m: burst_diameter_m,
        },
    };
    Stack::new(balloon, gas, load_kg, air, site_m, fall)
}
