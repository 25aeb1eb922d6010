//! Heights that are round to the people who read of them.

use crate::brief::RoundHeights;
use crate::units::{FOOT_M, UnitSystem};

/// Thousands of metres or of feet that forms ask about. 60,000 ft (18,288 m) is a limit in rules of many
/// countries.
const PASSED_M: [f64; 8] = [
    3_000.0,
    6_000.0,
    9_000.0,
    12_000.0,
    15_000.0,
    60_000.0 * FOOT_M,
    24_000.0,
    30_000.0,
];
const PASSED_KFT: [f64; 8] = [10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 80.0, 100.0];

/// Where a tracker may go quiet, kilometres, on the way up and on the way down.
const RISING_KM: [f64; 3] = [5.0, 10.0, 20.0];
const FALLING_KM: [f64; 5] = [20.0, 10.0, 5.0, 2.0, 1.0];
/// As round in thousands of feet as the others in kilometres.
const RISING_KFT: [f64; 3] = [15.0, 30.0, 60.0];
const FALLING_KFT: [f64; 5] = [60.0, 30.0, 15.0, 7.0, 3.0];

/// The heights of a briefing.
pub fn round_heights(units: UnitSystem) -> RoundHeights {
    let in_m = |heights: &[f64], unit_m: f64| heights.iter().map(|h| h * unit_m).collect();
    match units {
        UnitSystem::Metric => RoundHeights {
            passed_m: PASSED_M.to_vec(),
            rising_m: in_m(&RISING_KM, 1_000.0),
            falling_m: in_m(&FALLING_KM, 1_000.0),
        },
        UnitSystem::Us => RoundHeights {
            passed_m: in_m(&PASSED_KFT, 1_000.0 * FOOT_M),
            rising_m: in_m(&RISING_KFT, 1_000.0 * FOOT_M),
            falling_m: in_m(&FALLING_KFT, 1_000.0 * FOOT_M),
        },
    }
}
