//! Numbers that depend on a seed and a count only, so that any thread may make any of them.

use std::sync::LazyLock;

/// The SplitMix64 generator (Steele, Lea, Flood 2014, "Fast splittable pseudorandom number
/// generators", doi:10.1145/2714064.2660195; constants from memory).
#[derive(Debug, Clone)]
pub struct SplitMix(u64);

impl SplitMix {
    /// The stream of draw `index` under `seed`.
    pub fn stream(seed: u64, index: u64) -> SplitMix {
        let mut mixed = SplitMix(seed);
        // The seed is mixed before the index comes in: neighbouring seeds share no streams.
        let salt = mixed.next_u64();
        // Multiplied by an odd number no two indexes become the same.
        let mut stream = SplitMix(salt ^ index.wrapping_mul(0xD1B5_4A32_D192_ED03));
        stream.next_u64();
        stream
    }

    /// The next 64 bits.
    #[inline]
    pub fn next_u64(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// The next standard normal number.
    pub fn next_normal(&mut self) -> f64 {
        // The top 53 bits, centred in their cells so that neither 0 nor 1 comes out.
        let uniform = ((self.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64;
        normal_quantile(uniform)
    }
}

/// The standard normal deviate below which a share `p` (above 0, below 1) lies.
///
/// # References
///
/// P. J. Acklam's rational approximation (relative error 1.15e-9; coefficients from memory, held
/// by the tests against tabulated deviates).
pub fn normal_quantile(p: f64) -> f64 {
    const A: [f64; 6] = [
        -3.969_683_028_665_376e1,
        2.209_460_984_245_205e2,
        -2.759_285_104_469_687e2,
        1.383_577_518_672_69e2,
        -3.066_479_806_614_716e1,
        2.506_628_277_459_239,
    ];
    const B: [f64; 5] = [
        -5.447_609_879_822_406e1,
        1.615_858_368_580_409e2,
        -1.556_989_798_598_866e2,
        6.680_131_188_771_972e1,
        -1.328_068_155_288_572e1,
    ];
    const C: [f64; 6] = [
        -7.784_894_002_430_293e-3,
        -3.223_964_580_411_365e-1,
        -2.400_758_277_161_838,
        -2.549_732_539_343_734,
        4.374_664_141_464_968,
        2.938_163_982_698_783,
    ];
    const D: [f64; 4] = [
        7.784_695_709_041_462e-3,
        3.224_671_290_700_398e-1,
        2.445_134_137_142_996,
        3.754_408_661_907_416,
    ];
    const TAIL: f64 = 0.024_25;
    let horner = |c: &[f64], x: f64| c.iter().fold(0.0, |sum, c| sum * x + c);
    if (TAIL..=1.0 - TAIL).contains(&p) {
        let q = p - 0.5;
        let r = q * q;
        return horner(&A, r) * q / (horner(&B, r) * r + 1.0);
    }
    // Shares of 0 and 1 would be infinitely far out.
    let tail = p.min(1.0 - p).max(f64::MIN_POSITIVE);
    let q = (-2.0 * tail.ln()).sqrt();
    let x = horner(&C, q) / (horner(&D, q) * q + 1.0);
    if p < 0.5 { x } else { -x }
}

/// Evenly likely values of a [`NormalTable`].
const LEVELS: usize = 2048;
/// Bits that name one of them.
const LEVEL_BITS: u64 = LEVELS as u64 - 1;

/// Standard normal numbers fast, for sums of many: each is one of 2,048 evenly likely values, the
/// means of the normal over cells of equal probability, scaled to a variance of 1. None lies beyond
/// 3.6 standard deviations.
#[derive(Debug)]
pub struct NormalTable {
    values: Box<[f32; LEVELS]>,
}

impl NormalTable {
    /// The table, made once.
    pub fn shared() -> &'static NormalTable {
        static TABLE: LazyLock<NormalTable> = LazyLock::new(NormalTable::new);
        &TABLE
    }

    fn new() -> NormalTable {
        let density = |i: usize| match i {
            0 | LEVELS => 0.0,
            _ => (-0.5 * normal_quantile(i as f64 / LEVELS as f64).powi(2)).exp(),
        };
        // The mean of a normal over a cell goes with the difference of its density at the ends.
        let means: Vec<f64> = (0..LEVELS).map(|i| density(i) - density(i + 1)).collect();
        let square = means.iter().map(|m| m * m).sum::<f64>() / LEVELS as f64;
        let scale = 1.0 / square.sqrt();
        NormalTable {
            values: Box::new(std::array::from_fn(|i| (scale * means[i]) as f32)),
        }
    }

    /// The next four numbers of a stream.
    #[inline]
    pub fn next_four(&self, stream: &mut SplitMix) -> [f64; 4] {
        // One call for four: of each sixteen bits eleven are used.
        let bits = stream.next_u64();
        [0, 16, 32, 48].map(|shift| f64::from(self.values[(bits >> shift & LEVEL_BITS) as usize]))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_of_the_normal_distribution() {
        // Tabulated deviates (any table of the normal distribution).
        for (p, x) in [
            (0.5, 0.0),
            (0.841_344_746_068_543, 1.0),
            (0.975, 1.959_963_984_540_054),
            (0.995, 2.575_829_303_548_901),
            (0.999, 3.090_232_306_167_814),
            (0.01, -2.326_347_874_040_841),
        ] {
            assert!((normal_quantile(p) - x).abs() < 1e-8, "{p}");
        }
        assert!(normal_quantile(0.0).is_finite() && normal_quantile(1.0).is_finite());
    }

    #[test]
    fn fast_numbers_are_normal() {
        let table = NormalTable::shared();
        let mut stream = SplitMix::stream(1, 2);
        let numbers: Vec<f64> = (0..50_000)
            .flat_map(|_| table.next_four(&mut stream))
            .collect();
        let share = |x: f64| {
            let below = numbers.iter().filter(|n| **n < x).count();
            below as f64 / numbers.len() as f64
        };
        for p in [0.001, 0.025, 0.159, 0.5, 0.9, 0.999] {
            // Four standard errors, and half a value of the table.
            let allowed = 4.0 * (p * (1.0 - p) / 2e5f64).sqrt() + 0.5 / LEVELS as f64;
            assert!((share(normal_quantile(p)) - p).abs() < allowed, "{p}");
        }
        let values = table.values.iter().map(|v| f64::from(*v));
        let square = values.map(|v| v * v).sum::<f64>() / LEVELS as f64;
        assert!((square - 1.0).abs() < 1e-6, "{square}");
    }

    #[test]
    fn streams_are_normal_and_differ() {
        let mut sums = [0.0; 4];
        for index in 0..200 {
            let mut stream = SplitMix::stream(7, index);
            for _ in 0..500 {
                let x = stream.next_normal();
                for (k, sum) in sums.iter_mut().enumerate() {
                    *sum += x.powi(k as i32 + 1) / 1e5;
                }
            }
        }
        // Five standard errors of each moment of 100,000 numbers.
        assert!(sums[0].abs() < 0.016 && (sums[1] - 1.0).abs() < 0.023);
        assert!(sums[2].abs() < 0.062 && (sums[3] - 3.0).abs() < 0.155);
        assert_ne!(
            SplitMix::stream(7, 0).next_u64(),
            SplitMix::stream(7, 1).next_u64()
        );
        assert_ne!(
            SplitMix::stream(7, 0).next_u64(),
            SplitMix::stream(8, 0).next_u64()
        );
    }
}
