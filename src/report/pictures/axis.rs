//! Steps, numbers and units of axes.

use crate::units::{FOOT_M, MILE_M, UnitSystem};

/// Heights as people count them: the unit's symbol and its size, m.
pub fn height_unit(units: UnitSystem) -> (&'static str, f64) {
    match units {
        UnitSystem::Metric => ("km", 1_000.0),
        UnitSystem::Us => ("thousand ft", 1_000.0 * FOOT_M),
    }
}

/// Speeds of the wind likewise, m/s.
pub fn speed_unit(units: UnitSystem) -> (&'static str, f64) {
    match units {
        UnitSystem::Metric => ("m/s", 1.0),
        UnitSystem::Us => ("mph", MILE_M / 3_600.0),
    }
}

/// The step of an axis: 1, 2 or 5 times a power of ten, so that at most `most` steps cover `range`.
pub fn axis_step(range: f64, most: f64) -> f64 {
    let least = range / most;
    let power = 10f64.powf(least.log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|m| m * power)
        // Rounding must not rule out the step that just does.
        .find(|step| *step >= least * (1.0 - 1e-9))
        .unwrap_or(10.0 * power)
}

/// A number on an axis with no more decimals than its step needs.
/// Three at most.
pub fn tick(value: f64, step: f64) -> String {
    let decimals = (-step.log10().floor()).clamp(0.0, 3.0) as usize;
    // Adding 0 turns -0 into 0.
    format!("{:.decimals$}", value + 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn axes_have_round_steps() {
        for (range, step) in [(32.0, 5.0), (9.0, 1.0), (0.7, 0.1), (110.0, 20.0)] {
            let found = axis_step(range, 9.0);
            assert!((found - step).abs() < 1e-9, "{range}: {found}");
        }
    }

    #[test]
    fn no_two_ticks_of_an_axis_read_alike() {
        for (range, last) in [(0.07, "0.07"), (0.13, "0.12"), (0.9, "0.8"), (30.0, "30")] {
            let step = axis_step(range, 7.0);
            let ticks: Vec<String> = (0..=7)
                .map(|k| f64::from(k) * step)
                .take_while(|value| *value <= range * (1.0 + 1e-9))
                .map(|value| tick(value, step))
                .collect();
            assert!(ticks.windows(2).all(|w| w[0] != w[1]), "{ticks:?}");
            assert_eq!(ticks.last().map(String::as_str), Some(last));
        }
    }
}
