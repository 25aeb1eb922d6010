//! Falls, brought to numbers: bands, the power law through them, and how long another law takes.

#![allow(dead_code, reason = "each test file uses a part of it")]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a helper of a test may fail as the test itself may"
)]

use windfall::atmosphere::{AirProfile, RHO0_KG_M3};
use windfall::flight::layers::Layers;
use windfall::flight::model::Fall;
use windfall::vehicle::descent::FallSpeed;

use super::common::interpolate;

/// A measured fall and the air it fell through.
#[derive(Debug, Clone)]
pub struct MeasuredFall {
    pub name: String,
    pub air: AirProfile,
    /// Altitude (m) and time (s) by rising altitude; the last is the burst.
    pub track: Vec<(f64, f64)>,
}

/// Mean speed of a fall over a band of height, in logarithms.
#[derive(Debug, Clone, Copy)]
pub struct Band {
    /// Altitude of its middle, m.
    pub middle_m: f64,
    /// ln(rho0 / rho) there.
    pub ln_thinness: f64,
    /// ln of the speed in m/s.
    pub ln_speed: f64,
}

impl Band {
    /// ln of the drag area that falls so fast, up to a constant of the fall.
    pub fn ln_drag_area(&self) -> f64 {
        self.ln_thinness - 2.0 * self.ln_speed
    }
}

/// The top of a fall that is left out of the bands, m: its first seconds, until it is as fast as
/// the air lets it.
const TOP_M: f64 = 1_000.0;

impl MeasuredFall {
    /// A fall from points of altitude and time that go down from the burst.
    pub fn new(name: &str, air: AirProfile, falling: &[(f64, f64)]) -> MeasuredFall {
        let mut track: Vec<(f64, f64)> = Vec::new();
        for point in falling {
            if track.last().is_none_or(|last| point.0 < last.0) {
                track.push(*point);
            }
        }
        track.reverse();
        MeasuredFall {
            name: name.to_owned(),
            air,
            track,
        }
    }

    /// Altitudes of the last fix and of the burst, m.
    pub fn ends_m(&self) -> (f64, f64) {
        (self.track[0].0, self.track[self.track.len() - 1].0)
    }

    /// From the burst to the last fix, s.
    pub fn seconds(&self) -> f64 {
        self.track[0].1 - self.track[self.track.len() - 1].1
    }

    /// Bands of a width from the last fix up.
    pub fn bands(&self, width_m: f64) -> Vec<Band> {
        let (low, burst) = self.ends_m();
        let count = ((burst - TOP_M - low) / width_m) as usize;
        let at = |z: f64| interpolate(&self.track, z).expect("within the fall");
        (0..count)
            .map(|k| {
                let from = low + width_m * k as f64;
                let (to, middle_m) = (from + width_m, from + 0.5 * width_m);
                Band {
                    middle_m,
                    ln_thinness: (RHO0_KG_M3 / self.air.at(middle_m).density_kg_m3).ln(),
                    ln_speed: (width_m / (at(from) - at(to))).ln(),
                }
            })
            .collect()
    }

    /// v = v0 (rho0 / rho)^((1 - a) / 2) through the bands: the median of the slopes between all
    /// pairs of them (Theil 1950, Sen 1968), and the median of what is left.
    pub fn fitted(&self, width_m: f64) -> FallSpeed {
        let bands = self.bands(width_m);
        let mut slopes = Vec::new();
        for (i, a) in bands.iter().enumerate() {
            for b in &bands[i + 1..] {
                slopes.push((b.ln_speed - a.ln_speed) / (b.ln_thinness - a.ln_thinness));
            }
        }
        let slope = median(&slopes);
        let left: Vec<f64> = bands
            .iter()
            .map(|b| b.ln_speed - slope * b.ln_thinness)
            .collect();
        FallSpeed {
            landing_speed_m_s: median(&left).exp(),
            thin_air_exponent: 1.0 - 2.0 * slope,
        }
    }

    /// What somebody who saw it land knows: the mean speed over the lowest 5 km, brought to
    /// standard sea-level density by its square root, m/s.
    pub fn landing_speed_m_s(&self) -> f64 {
        let low: Vec<Band> = self.bands(1_000.0).into_iter().take(5).collect();
        let mean = low
            .iter()
            .map(|b| b.ln_speed - 0.5 * b.ln_thinness)
            .sum::<f64>()
            / low.len() as f64;
        mean.exp()
    }

    /// Seconds that a law takes from the burst to the last fix.
    pub fn seconds_by(&self, speed: &FallSpeed) -> f64 {
        let (low, burst) = self.ends_m();
        let layers = Layers {
            base_m: low,
            thickness_m: (burst - low) / 200.0,
            count: 200,
        };
        Fall::at_speed(speed, &self.air, &layers)
            .seconds
            .iter()
            .sum()
    }
}

/// The middle one, or the mean of the two in the middle.
pub fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let n = sorted.len();
    0.5 * (sorted[(n - 1) / 2] + sorted[n / 2])
}

/// Mean and root mean square.
pub fn mean_and_rms(values: &[f64]) -> (f64, f64) {
    let n = values.len() as f64;
    (
        values.iter().sum::<f64>() / n,
        (values.iter().map(|x| x * x).sum::<f64>() / n).sqrt(),
    )
}
