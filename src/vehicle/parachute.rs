//! The fall under the parachute.

use std::f64::consts::PI;

use crate::atmosphere::G0_M_S2;

/// Drag area of a round canopy, m2: Cd S0 with S0 = pi D0^2 / 4.
///
/// Both refer to the nominal (laid-out) diameter; coefficients quoted for the inflated diameter
/// are about twice as large and must not be mixed in.
pub fn drag_area_m2(nominal_diameter_m: f64, drag_coefficient: f64) -> f64 {
    drag_coefficient * PI / 4.0 * nominal_diameter_m * nominal_diameter_m
}

/// Terminal speed, m/s: v = sqrt(2 m g / (rho Cd S)), with g = g0.
///
/// # Examples
///
/// ```
/// use windfall::vehicle::parachute::{drag_area_m2, terminal_speed_m_s};
/// let v = terminal_speed_m_s(1.0, drag_area_m2(1.0, 0.75), 1.225);
/// assert!((v - 5.2135).abs() < 5e-5);
/// ```
///
/// # References
///
/// T. W. Knacke, *Parachute Recovery Systems Design Manual*, NWC TP 6575 (1991), chapter 5.
pub fn terminal_speed_m_s(mass_kg: f64, drag_area_m2: f64, density_kg_m3: f64) -> f64 {
    // With g0 at every height: at 30 km gravity is 1 % less, which is half a percent of the speed.
    (2.0 * mass_kg * G0_M_S2 / (density_kg_m3 * drag_area_m2)).sqrt()
}
