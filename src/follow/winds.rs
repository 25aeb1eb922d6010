//! What legs teach of the winds: conditioning of Gaussian fields (kriging), in which the draws are moved
//! and not weighted (Matheron). Weights on every leg would leave one draw of thousands within half an
//! hour (Snyder and others 2008, Mon. Wea. Rev. 136, 4629).
//!
//! The state of one component is the error of the wind in each layer on the way up, and the same on the way
//! down. The second is the first and a change that grows with the time between.

use crate::flight::layers::Layers;
use crate::flight::model::FlightModel;
use crate::random::SplitMix;
use crate::wind::error::WindError;

/// Variance of a component of the wind between the way up and the way down: 1 + 15 (lag / 6 h)^0.75,
/// m2/s2, with a correlation length of 0.8 km; measured over 374 legs of 18 flights, rms 2.2 m/s.
const CHANGE_AT_ONCE: f64 = 1.0;
const CHANGE_IN_6_H: f64 = 15.0;
const CHANGE_EXPONENT: f64 = 0.75;
const CHANGE_CORRELATION_M: f64 = 800.0;

/// A fix is off by this in its place, m, and a stack by this from the wind's speed, m/s.
const PLACE_M: f64 = 25.0;
const DRIFT_M_S: f64 = 0.5;

/// What is known of the winds' errors, for one component of both ways.
#[derive(Debug, Clone)]
pub struct WindLearning {
    count: usize,
    /// Covariance of the state, row by row, (m/s)2.
    covariance: Vec<f64>,
    /// Correlation and standard deviation of the change between the ways, by layer.
    change: Vec<f64>,
    rho: f64,
    /// Legs learnt from.
    legs: u64,
}

/// How a leg's mean wind is made of the layers of one way.
#[derive(Debug, Clone)]
pub struct Mean {
    /// Layers with their shares, which add up to 1.
    pub layers: Vec<(usize, f64)>,
    /// Whether they are passed on the way up.
    pub rising: bool,
    /// How long the leg took, s.
    pub seconds: f64,
}

impl WindLearning {
    /// Before anything is learnt; with the seconds between both ways by layer.
    pub fn new(model: &FlightModel, error: Option<&WindError>, lags_s: &[f64]) -> WindLearning {
        let layers = &model.layers;
        let count = layers.count;
        let heights: Vec<f64> = (0..count)
            // As the errors are drawn: below the release that of the lowest layer above it.
            .map(|k| layers.middle_m(k.max(model.release_layer)))
            .collect();
        let change: Vec<f64> = lags_s.iter().map(|lag_s| change_m_s(*lag_s)).collect();
        let parts = error.map_or(&[][..], |e| &e.parts);
        let sigmas: Vec<Vec<f64>> = parts
            .iter()
            .map(|part| heights.iter().map(|z| part.sigma_m_s(*z)).collect())
            .collect();
        let size = 2 * count;
        let mut covariance = vec![0.0; size * size];
        for k in 0..count {
            for l in 0..=k {
                let apart_m = (heights[k] - heights[l]).abs();
                let parts = parts.iter().zip(&sigmas);
                let shared: f64 = parts
                    .map(|(p, s)| s[k] * s[l] * (-apart_m / p.correlation_length_m).exp())
                    .sum();
                let changed = change[k] * change[l] * (-apart_m / CHANGE_CORRELATION_M).exp();
                let mut put = |a: usize, b: usize, value: f64| {
                    covariance[a * size + b] = value;
                    covariance[b * size + a] = value;
                };
                put(k, l, shared);
                put(count + k, l, shared);
                put(k, count + l, shared);
                put(count + k, count + l, shared + changed);
            }
        }
        WindLearning {
            count,
            covariance,
            change,
            rho: (-layers.thickness_m / CHANGE_CORRELATION_M).exp(),
            legs: 0,
        }
    }

    /// Adds the change of one draw to its wind errors on the way down.
    pub fn draw_change(&self, stream: &mut SplitMix, release_layer: usize, down: &mut [[f64; 2]]) {
        let new = (1.0 - self.rho * self.rho).sqrt();
        let mut x = [stream.next_normal(), stream.next_normal()];
        for (k, error) in down.iter_mut().enumerate() {
            // Below the release the lowest layer above it is repeated, as in the errors themselves.
            if k > release_layer {
                x = x.map(|x| self.rho * x + new * stream.next_normal());
            }
            error[0] += self.change[k] * x[0];
            error[1] += self.change[k] * x[1];
        }
    }

    fn place(&self, layer: usize, rising: bool) -> usize {
        layer + if rising { 0 } else { self.count }
    }

    /// Learns from a leg; gives how each state answers to a difference of the leg's mean wind, and the
    /// standard deviation of what is uncertain of it, m/s. `None` where nothing is to be learnt.
    pub fn learn(&mut self, mean: &Mean) -> Option<(Vec<f64>, f64)> {
        let size = 2 * self.count;
        let noise = (PLACE_M / mean.seconds).powi(2) + DRIFT_M_S.powi(2);
        let mut with_mean = vec![0.0; size];
        for &(layer, share) in &mean.layers {
            let row = &self.covariance[self.place(layer, mean.rising) * size..][..size];
            for (sum, c) in with_mean.iter_mut().zip(row) {
                *sum += share * c;
            }
        }
        let layers = mean.layers.iter();
        let variance: f64 = layers
            .map(|&(l, share)| share * with_mean[self.place(l, mean.rising)])
            .sum();
        // Winds that are taken as exact have nothing to learn.
        if variance <= 0.0 {
            return None;
        }
        let gain: Vec<f64> = with_mean.iter().map(|c| c / (variance + noise)).collect();
        // What the leg told is taken out of every covariance: less is left to be learnt of all
        // states.
        for (g, row) in gain.iter().zip(self.covariance.chunks_mut(size)) {
            for (c, w) in row.iter_mut().zip(&with_mean) {
                *c -= g * w;
            }
        }
        self.legs += 1;
        Some((gain, noise.sqrt()))
    }

    /// How many legs were learnt from.
    pub fn legs(&self) -> u64 {
        self.legs
    }
}

/// Standard deviation of a component's change after so many seconds, m/s.
pub fn change_m_s(lag_s: f64) -> f64 {
    let grown = (lag_s.max(0.0) / 21_600.0).powf(CHANGE_EXPONENT);
    (CHANGE_AT_ONCE + CHANGE_IN_6_H * grown).sqrt()
}

/// Moves one draw: both ways by the gain times what its own mean wind of the leg is off.
pub fn move_draw(gain: &[f64], off: [f64; 2], up: &mut [[f64; 2]], down: &mut [[f64; 2]]) {
    let (gain_up, gain_down) = gain.split_at(up.len());
    for (errors, gain) in [(up, gain_up), (down, gain_down)] {
        for (error, g) in errors.iter_mut().zip(gain) {
            error[0] += g * off[0];
            error[1] += g * off[1];
        }
    }
}

/// Seconds between the planned ways up and down by layer, from its track's times by altitude.
pub fn lags_s(track: &[(f64, f64)], layers: &Layers) -> Vec<f64> {
    let top = (0..track.len())
        .max_by(|i, j| track[*i].0.total_cmp(&track[*j].0))
        .unwrap_or(0);
    let (up, down) = track.split_at((top + 1).min(track.len()));
    let mut down: Vec<(f64, f64)> = down.to_vec();
    down.reverse();
    let mut up = up.to_vec();
    up.dedup_by(|b, a| b.0 <= a.0);
    down.dedup_by(|b, a| b.0 <= a.0);
    (0..layers.count)
        .map(|k| {
            let z = layers.middle_m(k);
            let at = |way: &[(f64, f64)]| crate::numeric::linear(way, z);
            at(&down)
                // Near the top the planned ways meet, and rounding may put the fall before the
                // rise.
                .zip(at(&up))
                .map_or(0.0, |(d, u)| (d - u).max(0.0))
        })
        .collect()
}
