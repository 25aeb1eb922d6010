//! How the rate of ascent departs from the model from height to height.

use crate::flight::layers::Layers;
use crate::flight::model::exp_of_small;
use crate::random::{NormalTable, SplitMix};
use crate::vehicle::ascent::RATE_ERROR_CORRELATION_M;

/// A first-order autoregressive series of ln rate from layer to layer: one standard deviation, and
/// the correlation exp(-dz / L) between two heights.
#[derive(Debug, Clone, Copy)]
pub struct RateErrorProcess {
    sigma: f64,
    /// Correlation between neighbouring layers.
    rho: f64,
    /// Layers from the release up.
    count: usize,
}

impl RateErrorProcess {
    /// The process with a standard deviation of ln rate; `None` for none.
    pub fn new(sigma: f64, layers: &Layers) -> Option<RateErrorProcess> {
        (sigma > 0.0).then(|| RateErrorProcess {
            sigma,
            rho: (-layers.thickness_m / RATE_ERROR_CORRELATION_M).exp(),
            count: layers.count,
        })
    }

    /// Draws the factor on the time that each layer takes into `out`.
    pub fn draw(&self, stream: &mut SplitMix, out: &mut Vec<f64>) {
        let normal = NormalTable::shared();
        let innovation = self.sigma * (1.0 - self.rho * self.rho).sqrt();
        // With the whole deviation at once: the process does not begin at the release.
        let mut last = self.sigma * normal.next_four(stream)[0];
        out.clear();
        out.resize(self.count, 0.0);
        for layers in out.chunks_mut(4) {
            // What the four add of their own first: only the last of them waits for those below.
            let (mut own, mut of_last) = (0.0, 1.0);
            for (slower, new) in layers.iter_mut().zip(normal.next_four(stream)) {
                own = self.rho * own + innovation * new;
                of_last *= self.rho;
                *slower = own + of_last * last;
            }
            last = own + of_last * last;
        }
        out.iter_mut().for_each(|x| *x = exp_of_small(*x));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_logarithm_has_the_variance_and_covariance_of_the_closed_form() {
        let layers = Layers::covering(0.0, 30_000.0, 250.0);
        let process = RateErrorProcess::new(0.06, &layers).unwrap();
        let mut out = Vec::new();
        let lags = [0, 4, 20];
        let (mut sums, mut count) = ([0.0; 3], 0.0);
        for index in 0..4_000 {
            process.draw(&mut SplitMix::stream(9, index), &mut out);
            let ln: Vec<f64> = out.iter().map(|x| x.ln()).collect();
            for (sum, lag) in sums.iter_mut().zip(lags) {
                let products = ln.iter().zip(&ln[lag..]).take(100);
                *sum += products.map(|(a, b)| a * b).sum::<f64>();
            }
            count += 100.0;
        }
        for (sum, lag) in sums.into_iter().zip(lags) {
            let found = sum / count / 0.06f64.powi(2);
            let wanted = (-250.0 * lag as f64 / RATE_ERROR_CORRELATION_M).exp();
            // Some ten independent values a draw: the standard error is 0.7 %.
            assert!((found - wanted).abs() < 0.03, "{lag}: {found} {wanted}");
        }
        assert!(RateErrorProcess::new(0.0, &layers).is_none());
    }
}
