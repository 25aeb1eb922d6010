//! Drawing the error of the winds, layer by layer.

use super::error::{ErrorPart, WindError};
use crate::random::{NormalTable, SplitMix};

/// The error of the winds on the layers of a flight model, ready to be drawn from.
///
/// Each part is a first-order autoregressive series from layer to layer, which at the middles of
/// equal layers is the process itself: variances and covariances are exact. The part that moves the
/// planned landing is fixed by two given normal deviates, so that an even sampling of those two
/// samples the landing evenly; the rest is conditioned on it.
#[derive(Debug, Clone)]
pub struct WindErrorProcess {
    pairs: Vec<Pair>,
    /// This many layers at the bottom share the error of the one above them.
    repeated: usize,
    /// Seconds that the planned flight spends in each layer, those that share an error together.
    seconds: Vec<f64>,
    /// C s / (s' C s): how the error of each layer answers to a change of the drift.
    gain: Vec<f64>,
    /// sqrt(s' C s): standard deviation of the planned drift, m.
    drift_sigma_m: f64,
}

/// One part of the error by layer.
struct Part {
    /// Correlation between neighbouring layers.
    rho: f64,
    /// Standard deviation in each layer, m/s.
    sigma_m_s: Vec<f64>,
}

impl Part {
    /// A part at equally spaced heights.
    fn new(part: &ErrorPart, heights_m: &[f64]) -> Part {
        let spacing_m = match heights_m {
            [a, b, ..] => b - a,
            _ => 0.0,
        };
        // Over equal steps this makes the series exact, so that no matrix has to be taken apart.
        Part {
            rho: (-spacing_m / part.correlation_length_m).exp(),
            sigma_m_s: heights_m.iter().map(|z| part.sigma_m_s(*z)).collect(),
        }
    }

    /// The lowest layer in which it is not 0, if there is one.
    fn first(&self) -> Option<usize> {
        self.sigma_m_s.iter().position(|sigma| *sigma > 0.0)
    }

    /// The covariance matrix times a vector, by one recursion up and one down.
    fn covariance_times(&self, s: &[f64]) -> Vec<f64> {
        let terms: Vec<f64> = self.sigma_m_s.iter().zip(s).map(|(a, b)| a * b).collect();
        let mut sums = terms.clone();
        let mut below = 0.0;
        for (sum, term) in sums.iter_mut().zip(&terms) {
            *sum += below;
            below = self.rho * (below + term);
        }
        let mut above = 0.0;
        for (sum, term) in sums.iter_mut().zip(&terms).rev() {
            *sum += above;
            above = self.rho * (above + term);
        }
        for (sum, sigma) in sums.iter_mut().zip(&self.sigma_m_s) {
            *sum *= sigma;
        }
        sums
    }
}

/// One part or two, drawn beside each other: four series, east and north of both, take as long as
/// one.
#[derive(Debug, Clone)]
struct Pair {
    /// Correlation between neighbouring layers, by series.
    rho: [f64; 4],
    /// What is new in the next layer, in standard deviations, by series.
    innovation: [f64; 4],
    /// The lowest layer in which there is an error.
    first: usize,
    /// Standard deviations in each layer from there on, m/s.
    sigma_m_s: Vec<[f64; 2]>,
}

impl Pair {
    /// Of the parts, by where they begin: what holding the last wind adds begins at its top only.
    fn of(parts: &[Part]) -> Vec<Pair> {
        let mut begin: Vec<(usize, &Part)> = parts
            .iter()
            .filter_map(|part| Some((part.first()?, part)))
            .collect();
        // The lower begin first: a pair is drawn from where its first part begins.
        begin.sort_by_key(|(first, _)| *first);
        begin.chunks(2).map(Pair::new).collect()
    }

    fn new(parts: &[(usize, &Part)]) -> Pair {
        let second = parts.get(1);
        let rho = [0, 0, 1, 1].map(|i| parts.get(i).map_or(0.0, |(_, part)| part.rho));
        let (first, part) = parts[0];
        let sigma_m_s = (first..part.sigma_m_s.len())
            .map(|k| {
                [
                    part.sigma_m_s[k],
                    second.map_or(0.0, |(_, p)| p.sigma_m_s[k]),
                ]
            })
            .collect();
        Pair {
            rho,
            innovation: rho.map(|rho| (1.0 - rho * rho).sqrt()),
            first,
            sigma_m_s,
        }
    }

    /// Adds a drawn error (m/s east and north) to each layer.
    fn add(&self, stream: &mut SplitMix, errors: &mut [[f64; 2]]) {
        let normal = NormalTable::shared();
        let mut x = normal.next_four(stream);
        for (error, [a, b]) in errors[self.first..].iter_mut().zip(&self.sigma_m_s) {
            error[0] += a * x[0] + b * x[2];
            error[1] += a * x[1] + b * x[3];
            let new = normal.next_four(stream);
            for i in 0..4 {
                x[i] = self.rho[i] * x[i] + self.innovation[i] * new[i];
            }
        }
    }
}

impl WindErrorProcess {
    /// The process on layers with middles at `heights_m`, in which the planned flight spends
    /// `seconds` altogether. The heights are equally spaced and rise; only the lowest may be
    /// repeated, for layers that share its error.
    pub fn new(error: &WindError, heights_m: &[f64], seconds: &[f64]) -> WindErrorProcess {
        let same = heights_m.iter().take_while(|z| **z == heights_m[0]).count();
        let repeated = same.saturating_sub(1);
        let heights_m = &heights_m[repeated..];
        let parts: Vec<Part> = error
            .parts
            .iter()
            .map(|part| Part::new(part, heights_m))
            .collect();
        let mut seconds = seconds.to_vec();
        let shared: f64 = seconds.drain(..repeated).sum();
        if let Some(first) = seconds.first_mut() {
            *first += shared;
        }
        let mut gain = vec![0.0; heights_m.len()];
        for part in &parts {
            for (gain, c) in gain.iter_mut().zip(part.covariance_times(&seconds)) {
                *gain += c;
            }
        }
        // s' C s: the parts are independent, so their covariances add up.
        let variance: f64 = gain.iter().zip(&seconds).map(|(g, s)| g * s).sum();
        // Winds that are exact where the flight is leave nothing to condition on.
        let scale = if variance > 0.0 { 1.0 / variance } else { 0.0 };
        gain.iter_mut().for_each(|g| *g *= scale);
        WindErrorProcess {
            pairs: Pair::of(&parts),
            repeated,
            seconds,
            gain,
            drift_sigma_m: variance.max(0.0).sqrt(),
        }
    }

    /// Standard deviation of each component of the planned drift, m.
    pub fn drift_sigma_m(&self) -> f64 {
        self.drift_sigma_m
    }

    /// Draws an error for each layer (m/s east and north) into `out`: `deviates` fix the planned
    /// drift's error, `stream` the rest.
    pub fn draw(&self, deviates: [f64; 2], stream: &mut SplitMix, out: &mut Vec<[f64; 2]>) {
        out.clear();
        out.resize(self.repeated + self.seconds.len(), [0.0; 2]);
        let (lowest, layers) = out.split_at_mut(self.repeated);
        for pair in &self.pairs {
            pair.add(stream, layers);
        }
        let mut drift = [0.0; 2];
        for (error, seconds) in layers.iter().zip(&self.seconds) {
            drift[0] += error[0] * seconds;
            drift[1] += error[1] * seconds;
        }
        // Conditioning by kriging (Matheron): x + gain (wanted - found).
        let missing = [0, 1].map(|i| self.drift_sigma_m * deviates[i] - drift[i]);
        for (error, gain) in layers.iter_mut().zip(&self.gain) {
            error[0] += gain * missing[0];
            error[1] += gain * missing[1];
        }
        if let Some(first) = layers.first() {
            lowest.fill(*first);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wind::error::ErrorPart;

    #[test]
    fn layers_below_the_release_share_the_error_and_change_no_draw() {
        let error = WindError {
            parts: vec![ErrorPart::constant(3.0, 2_000.0)],
        };
        let flat: Vec<f64> = (0..20).map(|k| 100.0 + 250.0 * f64::from(k)).collect();
        let mut deep = vec![flat[0]; 5];
        deep.extend(&flat);
        let mut seconds = vec![0.0; 5];
        seconds.extend([50.0; 20]);
        let draw = |heights: &[f64], seconds: &[f64]| {
            let process = WindErrorProcess::new(&error, heights, seconds);
            let mut out = Vec::new();
            process.draw([0.3, -1.0], &mut SplitMix::stream(4, 2), &mut out);
            out
        };
        let (flat, deep) = (draw(&flat, &seconds[5..]), draw(&deep, &seconds));
        assert_eq!(deep[5..], flat[..]);
        assert!(deep[..5].iter().all(|e| *e == flat[0]));
    }

    #[test]
    fn no_layers_and_no_error_are_harmless() {
        let error = WindError {
            parts: vec![ErrorPart::constant(1.0, 500.0)],
        };
        let mut out = Vec::new();
        let mut draw = |error: &WindError, heights: &[f64], seconds: &[f64]| {
            let process = WindErrorProcess::new(error, heights, seconds);
            process.draw([1.0, 1.0], &mut SplitMix::stream(0, 0), &mut out);
            out.clone()
        };
        assert!(draw(&error, &[], &[]).is_empty());
        assert!(draw(&error, &[100.0], &[0.0])[0][0].is_finite());
        let none = WindError { parts: Vec::new() };
        assert_eq!(draw(&none, &[100.0, 200.0], &[5.0, 5.0]), [[0.0; 2]; 2]);
    }
}
