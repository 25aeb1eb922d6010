//! What several tests and a bench need: normal numbers that are the same on every machine.

/// A small generator of standard normal numbers: splitmix64 (Steele, Lea and Flood 2014,
/// doi:10.1145/2714064.2660195; constants from memory) and Box-Muller.
pub struct Normals(u64);

impl Normals {
    /// The generator for a seed.
    pub fn new(seed: u64) -> Normals {
        Normals(seed)
    }

    /// Evenly spread above 0 up to 1.
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^= z >> 31;
        ((z >> 11) as f64 + 1.0) / (1u64 << 53) as f64
    }

    /// Two independent standard normal numbers.
    fn pair(&mut self) -> [f64; 2] {
        let r = (-2.0 * self.uniform().ln()).sqrt();
        let (s, c) = (std::f64::consts::TAU * self.uniform()).sin_cos();
        [r * c, r * s]
    }

    /// `n` points with the given mean and covariance `[[a, b], [b, c]]`.
    pub fn points(&mut self, n: usize, mean: [f64; 2], cov: [[f64; 2]; 2]) -> Vec<[f64; 2]> {
        let east = cov[0][0].sqrt();
        let lean = cov[0][1] / east;
        let north = (cov[1][1] - lean * lean).sqrt();
        (0..n)
            .map(|_| {
                let [u, v] = self.pair();
                [mean[0] + east * u, mean[1] + lean * u + north * v]
            })
            .collect()
    }
}
