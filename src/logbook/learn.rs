//! What a few flights teach: conjugate updates, so that two flights move little and ten a lot.
//!
//! Gelman et al., Bayesian Data Analysis, chapter 3 (cited from memory); a prior counts as so many flights.

#![allow(
    clippy::indexing_slicing,
    reason = "two by two numbers, east and north"
)]

/// A mean and a spread that are both unknown: normal-inverse-gamma.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NormalGamma {
    /// The mean.
    pub m: f64,
    /// How many flights it is worth.
    pub k: f64,
    /// Shape of the variance.
    pub a: f64,
    /// Its scale.
    pub b: f64,
}

/// What the next flight is expected to be: a Student t.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Predicted {
    /// Degrees of freedom.
    pub freedom: f64,
    /// Its middle.
    pub location: f64,
    /// Its scale.
    pub scale: f64,
}

impl NormalGamma {
    /// What is believed before any flight: no bias, worth two flights, and a spread whose variance has the mean
    /// `sigma` squared. The next flight's scale is just `sigma`.
    pub fn prior(sigma: f64) -> NormalGamma {
        // Six degrees of freedom: few, but enough for the variance to have a mean, b / (a - 1).
        let a = 3.0;
        NormalGamma {
            m: 0.0,
            k: 2.0,
            a,
            b: (a - 1.0) * sigma * sigma,
        }
    }

    /// After what flights showed.
    #[must_use]
    pub fn after(self, seen: &[f64]) -> NormalGamma {
        if seen.is_empty() {
            return self;
        }
        let n = seen.len() as f64;
        let mean = seen.iter().sum::<f64>() / n;
        let squares: f64 = seen.iter().map(|x| (x - mean).powi(2)).sum();
        let k = self.k + n;
        let off = mean - self.m;
        NormalGamma {
            m: (self.k * self.m + n * mean) / k,
            k,
            a: self.a + 0.5 * n,
            b: self.b + 0.5 * squares + self.k * n * off * off / (2.0 * k),
        }
    }

    /// The expected standard deviation: the root of the variance's mean.
    pub fn sigma(&self) -> f64 {
        (self.b / (self.a - 1.0)).sqrt()
    }

    /// The next flight.
    pub fn next(&self) -> Predicted {
        Predicted {
            freedom: 2.0 * self.a,
            location: self.m,
            scale: (self.b * (self.k + 1.0) / (self.a * self.k)).sqrt(),
        }
    }
}

/// The factor on a variance, where q / s2 of each flight is chi-square with two degrees of freedom:
/// inverse-gamma.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InverseGamma {
    /// Shape.
    pub a: f64,
    /// Scale.
    pub b: f64,
}

impl InverseGamma {
    /// What is believed before any flight: a factor of 1, worth four flights.
    pub const PRIOR: InverseGamma = InverseGamma { a: 4.0, b: 3.0 };

    /// After the squared distances of flights, in standard deviations.
    #[must_use]
    pub fn after(self, squares: &[f64]) -> InverseGamma {
        InverseGamma {
            // Two degrees of freedom add a whole one to the shape, and half the value to the scale.
            a: self.a + squares.len() as f64,
            b: self.b + 0.5 * squares.iter().sum::<f64>(),
        }
    }

    /// The expected factor on the variance.
    pub fn mean(&self) -> f64 {
        self.b / (self.a - 1.0)
    }

    /// The factor on standard deviations.
    pub fn factor(&self) -> f64 {
        self.mean().sqrt()
    }

    /// The squared radius, in standard deviations as forecast, that holds the next flight with a probability.
    pub fn squared_radius(&self, probability: f64) -> f64 {
        // An exponential of unknown scale is a Lomax: P(q > x) = (1 + x / 2b)^-a.
        2.0 * self.b * ((1.0 - probability).powf(-1.0 / self.a) - 1.0)
    }
}

/// Misses along and across the drift: normal-inverse-Wishart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NormalWishart {
    /// The mean.
    pub mean: [f64; 2],
    /// How many flights it is worth.
    pub k: f64,
    /// Degrees of freedom of the covariance.
    pub nu: f64,
    /// Its scale.
    pub lambda: [[f64; 2]; 2],
}

impl NormalWishart {
    /// No bias, worth two flights; a covariance with a mean, worth six.
    pub fn prior(covariance: [[f64; 2]; 2]) -> NormalWishart {
        NormalWishart {
            mean: [0.0; 2],
            k: 2.0,
            nu: 6.0,
            // So that lambda / (nu - 3), the expected covariance, is the one that is given.
            lambda: covariance.map(|row| row.map(|x| 3.0 * x)),
        }
    }

    /// After the misses of flights.
    #[must_use]
    pub fn after(self, misses: &[[f64; 2]]) -> NormalWishart {
        if misses.is_empty() {
            return self;
        }
        let n = misses.len() as f64;
        let k = self.k + n;
        let mean = [0, 1].map(|i| misses.iter().map(|x| x[i]).sum::<f64>() / n);
        let off = [0, 1].map(|i| mean[i] - self.mean[i]);
        let entry = |i: usize, j: usize| {
            let within = misses.iter().map(|x| (x[i] - mean[i]) * (x[j] - mean[j]));
            self.lambda[i][j] + within.sum::<f64>() + self.k * n / k * off[i] * off[j]
        };
        NormalWishart {
            mean: [0, 1].map(|i| (self.k * self.mean[i] + n * mean[i]) / k),
            k,
            nu: self.nu + n,
            lambda: [[entry(0, 0), entry(0, 1)], [entry(1, 0), entry(1, 1)]],
        }
    }

    /// The expected covariance.
    pub fn covariance(&self) -> [[f64; 2]; 2] {
        self.lambda.map(|row| row.map(|x| x / (self.nu - 3.0)))
    }

    /// The next miss: degrees of freedom of a bivariate t, and its scale.
    pub fn next(&self) -> (f64, [[f64; 2]; 2]) {
        // nu - d + 1 in d = 2 dimensions.
        let freedom = self.nu - 1.0;
        let by = (self.k + 1.0) / (self.k * freedom);
        (freedom, self.lambda.map(|row| row.map(|x| x * by)))
    }

    /// The squared radius, in that scale, that holds the next miss with a probability.
    pub fn squared_radius(&self, probability: f64) -> f64 {
        let (freedom, _) = self.next();
        // Of a bivariate t with f degrees of freedom P(q > x) = (1 + x / f)^(-f / 2).
        freedom * ((1.0 - probability).powf(-2.0 / freedom) - 1.0)
    }
}

#[cfg(test)]
mod tests {
    //! Expected values computed with numpy and scipy.

    use super::*;

    fn close(found: f64, expected: f64) {
        assert!((found - expected).abs() <= 5.001e-7, "{found} {expected}");
    }

    #[test]
    fn the_scale_of_a_region() {
        let prior = InverseGamma::PRIOR;
        for (p, expected) in [(0.5, 1.135243), (0.9, 4.669676), (0.95, 6.688455)] {
            close(prior.squared_radius(p), expected);
        }
        assert_eq!(prior.factor(), 1.0);
        let learnt = prior.after(&[1.2, 5.8, 9.4]);
        close(learnt.a, 7.0);
        close(learnt.b, 11.2);
        close(learnt.mean(), 1.866667);
        close(learnt.factor(), 1.366260);
        for (p, expected) in [(0.5, 2.331605), (0.9, 8.724699), (0.95, 11.964454)] {
            close(learnt.squared_radius(p), expected);
        }
    }

    #[test]
    fn a_mean_and_a_spread() {
        let prior = NormalGamma::prior(0.15);
        close(prior.b, 0.045);
        close(prior.next().scale, 0.15);
        let learnt = prior.after(&[0.18, 0.05, 0.22, 0.11]);
        close(learnt.m, 0.093333);
        close(learnt.a, 5.0);
        close(learnt.b, 0.066567);
        close(learnt.sigma(), 0.129003);
        let next = learnt.next();
        assert_eq!(next.freedom, 10.0);
        close(next.location, 0.093333);
        close(next.scale, 0.124628);
        assert_eq!(prior.after(&[]), prior);
        // All at once or one after another.
        let in_turn = prior.after(&[0.18, 0.05]).after(&[0.22, 0.11]);
        close(in_turn.b, learnt.b);
        // Two flights are worth as much as what was believed before.
        close(prior.after(&[0.2, 0.2]).m, 0.1);
    }

    #[test]
    fn misses_along_and_across() {
        let misses = [[1.0, -0.5], [3.0, 1.0], [-2.0, 2.0], [2.5, 0.5]];
        let learnt = NormalWishart::prior([[4.0, 0.0], [0.0, 2.25]]).after(&misses);
        assert_eq!((learnt.k, learnt.nu), (6.0, 10.0));
        assert_eq!(learnt.mean, [0.75, 0.5]);
        let expected = [
            (learnt.lambda, [[28.875, -2.5], [-2.5, 10.75]]),
            (
                learnt.covariance(),
                [[4.125, -0.357143], [-0.357143, 1.535714]],
            ),
            (
                learnt.next().1,
                [[3.743056, -0.324074], [-0.324074, 1.393519]],
            ),
        ];
        for (found, expected) in expected {
            for (f, e) in found.iter().flatten().zip(expected.iter().flatten()) {
                close(*f, *e);
            }
        }
        assert_eq!(learnt.next().0, 9.0);
        close(learnt.squared_radius(0.9), 6.012905);
    }
}
