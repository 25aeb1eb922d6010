//! The film of a latex balloon: stretched rubber presses on the gas.

/// How strongly the film presses, Pa times the root of its mass in kg: fitted to measured ascents
/// (`tests/ascent_fit.rs`).
pub const FILM_PRESSURE_PA: f64 = 150.0;
/// What the second term of the rubber's law adds with the square of the stretch (assumed).
const SECOND_TERM: f64 = 0.1;
/// Diameter of an unstretched balloon of 1 kg, m (assumed; it goes with the root of the mass, as
/// the film of all is as thick).
const REST_DIAMETER_M: f64 = 1.4;

/// By how much the gas inside has a higher pressure than the air, Pa, when the balloon of a mass
/// (kg) is so large (m): a thin sphere of Mooney-Rivlin rubber stretched by x,
/// P (1/x - 1/x^7) (1 + 0.1 x^2), with P going as film thickness over rest diameter. 0 where it is
/// not stretched, and without a balloon.
///
/// # References
///
/// I. Mueller and P. Strehlow, *Rubber and Rubber Balloons* (2004), for the form (from memory).
pub fn film_pressure_pa(balloon_kg: f64, diameter_m: f64) -> f64 {
    let size = balloon_kg.sqrt();
    let stretch = diameter_m / (REST_DIAMETER_M * size);
    if balloon_kg <= 0.0 || stretch <= 1.0 {
        return 0.0;
    }
    let first = 1.0 / stretch - stretch.powi(-7);
    FILM_PRESSURE_PA / size * first * (1.0 + SECOND_TERM * stretch * stretch)
}
