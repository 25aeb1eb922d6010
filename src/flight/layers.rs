//! The air cut into equal layers, each with its mean wind: what the integrator walks through.

use crate::numeric::between;
use crate::wind::column::WindProfile;

/// Equal layers of geometric altitude above the ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Layers {
    /// Altitude of the lowest boundary, m above mean sea level.
    pub base_m: f64,
    /// Thickness of each, m.
    pub thickness_m: f64,
    /// How many.
    pub count: usize,
}

/// Thickness of layers for a balloon's physics, m: costs about 10 m at the landing at most
/// (`tests/layer_thickness.rs`, `tests/forecast_flights.rs`).
pub const THICKNESS_M: f64 = 250.0;
/// Thickness of layers for stated rates in a single column, m, which cost less.
pub const STATED_THICKNESS_M: f64 = 500.0;

impl Layers {
    /// Layers from `base_m` to at least `top_m`.
    pub fn covering(base_m: f64, top_m: f64, thickness_m: f64) -> Layers {
        // At least one, as an altitude is always located in some layer.
        let count = ((top_m - base_m) / thickness_m).ceil().max(1.0) as usize;
        Layers {
            base_m,
            thickness_m,
            count,
        }
    }

    /// The same with `count` layers more below.
    #[must_use]
    pub fn lowered(&self, count: usize) -> Layers {
        Layers {
            base_m: self.base_m - self.thickness_m * count as f64,
            count: self.count + count,
            ..*self
        }
    }

    /// The same without the `count` lowest.
    #[must_use]
    pub fn above(&self, count: usize) -> Layers {
        Layers {
            base_m: self.altitude_m(count),
            count: self.count.saturating_sub(count),
            ..*self
        }
    }

    /// Altitude of the lower boundary of layer `k`, m.
    pub fn altitude_m(&self, k: usize) -> f64 {
        self.base_m + self.thickness_m * k as f64
    }

    /// Altitude of the middle of layer `k`, m.
    pub fn middle_m(&self, k: usize) -> f64 {
        self.base_m + self.thickness_m * (k as f64 + 0.5)
    }

    /// Altitude of the highest boundary, m.
    pub fn top_m(&self) -> f64 {
        self.altitude_m(self.count)
    }

    /// The layer an altitude is in and the share of that layer below it.
    /// Altitudes outside of all layers count as those of the nearest boundary.
    pub fn locate(&self, altitude_m: f64) -> (usize, f64) {
        let x = ((altitude_m - self.base_m) / self.thickness_m).clamp(0.0, self.count as f64);
        let k = (x as usize).min(self.count - 1);
        (k, x - k as f64)
    }
}

/// The wind of a single column by layer.
#[derive(Debug, Clone)]
pub struct LayerWinds {
    /// Mean east and north components over each layer, m/s: exact, so thin levels lose nothing.
    pub mean: Vec<[f64; 2]>,
    /// How much the wind changes from the lower to the upper half, doubled: its slope over the
    /// layer, m/s.
    pub slope: Vec<[f64; 2]>,
    /// For the one layer that is passed in part: mean components over each of its [`PARTS`]
    /// lower parts, times the share of the layer they are.
    parts: Vec<[[f64; 2]; PARTS]>,
}

/// Parts a layer is cut into.
const PARTS: usize = 16;

impl LayerWinds {
    /// Cuts a profile into layers.
    pub fn of_profile(profile: &WindProfile, layers: &Layers) -> LayerWinds {
        let part_m = layers.thickness_m / PARTS as f64;
        let boundaries = (0..=layers.count * PARTS).map(|j| layers.base_m + part_m * j as f64);
        let integrals: Vec<[f64; 2]> = profile.integrals(boundaries).collect();
        // The mean between two of the boundaries of parts times their share of the layer.
        let share = |from: usize, to: usize| {
            [0, 1].map(|i| (integrals[to][i] - integrals[from][i]) / layers.thickness_m)
        };
        let (mut mean, mut slope, mut parts) = (Vec::new(), Vec::new(), Vec::new());
        for low in (0..layers.count).map(|k| k * PARTS) {
            let (middle, high) = (low + PARTS / 2, low + PARTS);
            let (lower, upper) = (share(low, middle), share(middle, high));
            mean.push(share(low, high));
            slope.push([0, 1].map(|i| 4.0 * (upper[i] - lower[i])));
            parts.push(std::array::from_fn(|j| share(low, low + j + 1)));
        }
        LayerWinds { mean, slope, parts }
    }

    /// Drift through the lowest `share` of layer `k` for each second that the whole layer would
    /// take at the same rate, m: the mean wind there times `share`.
    pub fn lower_part(&self, k: usize, share: f64) -> [f64; 2] {
        let at = share * PARTS as f64;
        let above = (at as usize).min(PARTS - 1);
        let low = match above {
            0 => [0.0; 2],
            _ => self.parts[k][above - 1],
        };
        let high = self.parts[k][above];
        between(low, high, at - above as f64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wind::sounding::Wind;

    #[test]
    fn layers_count_and_locate() {
        let layers = Layers::covering(38.0, 1_000.0, 200.0);
        assert_eq!(layers.count, 5);
        assert_eq!(layers.locate(38.0), (0, 0.0));
        assert_eq!(layers.locate(338.0), (1, 0.5));
        assert_eq!(layers.locate(9_999.0), (4, 1.0));
    }

    #[test]
    fn a_linear_wind_is_cut_exactly() {
        let wind = |e| Wind {
            east_m_s: e,
            north_m_s: 1.0,
        };
        let profile = WindProfile::new(&[(0.0, wind(0.0)), (1_000.0, wind(10.0))]);
        let winds = LayerWinds::of_profile(&profile, &Layers::covering(0.0, 1_000.0, 200.0));
        assert!((winds.mean[1][0] - 3.0).abs() < 1e-12);
        assert!((winds.slope[1][0] - 2.0).abs() < 1e-12);
        assert!((winds.lower_part(1, 0.5)[0] - 0.5 * 2.5).abs() < 1e-12);
        assert!((winds.lower_part(1, 0.25)[0] - 0.25 * 2.25).abs() < 1e-12);
        assert!((winds.lower_part(1, 1.0)[0] - 3.0).abs() < 1e-12);
    }
}
