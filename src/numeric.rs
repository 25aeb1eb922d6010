//! Small numerical work that several rooms share.

use serde::Serialize;

/// The largest number for which `holds` is still true, to the last bits, between `low`, where it
/// is, and `high`, where it is not; it must turn only once between them.
pub fn last_true(mut low: f64, mut high: f64, holds: impl Fn(f64) -> bool) -> f64 {
    // Each step halves what is left: after 80 the ends are neighbours, or nearly.
    for _ in 0..80 {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        if holds(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    low
}

/// Of numbers in ascending order the one that a share of them stays below: the nearest in rank,
/// p (n - 1), none between two; `None` of no numbers.
pub fn quantile(ascending: &[f64], share: f64) -> Option<f64> {
    let last = ascending.len().saturating_sub(1);
    ascending
        .get((share * last as f64).round() as usize)
        .copied()
}

/// What 5, 50 and 95 % of some values stay below; in JSON a list of the three.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(into = "[T; 3]", bound = "T: Clone + Serialize")]
pub struct Quantiles<T> {
    /// 5 % of them.
    pub low: T,
    /// Half of them.
    pub middle: T,
    /// 95 % of them.
    pub high: T,
}

impl<T> From<Quantiles<T>> for [T; 3] {
    fn from(q: Quantiles<T>) -> [T; 3] {
        [q.low, q.middle, q.high]
    }
}

impl<T> Quantiles<T> {
    /// The same in another form.
    pub fn map<U>(self, form: impl Fn(T) -> U) -> Quantiles<U> {
        Quantiles {
            low: form(self.low),
            middle: form(self.middle),
            high: form(self.high),
        }
    }
}

impl Quantiles<f64> {
    /// Of some values; 0 of none.
    pub fn of(values: impl Iterator<Item = f64>) -> Quantiles<f64> {
        let mut values: Vec<f64> = values.collect();
        values.sort_by(f64::total_cmp);
        let below = |share| quantile(&values, share).unwrap_or(0.0);
        Quantiles {
            low: below(0.05),
            middle: below(0.5),
            high: below(0.95),
        }
    }
}

/// The index of the last of `items` at or below `x`, and the share of the way from it to the next;
/// below the first and above the last, that one and 0. `key` must not fall from item to item.
pub fn bracket<T>(items: &[T], key: impl Fn(&T) -> f64, x: f64) -> (usize, f64) {
    let above = items.partition_point(|item| key(item) <= x);
    match (above.checked_sub(1), items.get(above)) {
        (Some(below), Some(next)) => {
            let from = key(&items[below]);
            // The next one lies above x, the one below does not: they differ, also where keys
            // repeat.
            (below, (x - from) / (key(next) - from))
        }
        (Some(last), None) => (last, 0.0),
        (None, _) => (0, 0.0),
    }
}

/// The second of each pair, linear between pairs whose first does not fall, held at the ends; `None`
/// without pairs.
pub fn linear(pairs: &[(f64, f64)], x: f64) -> Option<f64> {
    let (below, share) = bracket(pairs, |pair| pair.0, x);
    let from = pairs.get(below)?.1;
    let to = pairs.get(below + 1).map_or(from, |pair| pair.1);
    Some(from + share * (to - from))
}

/// Each but the last with the one behind it.
pub fn neighbours<T>(all: &[T]) -> impl Iterator<Item = (&T, &T)> {
    all.iter().zip(all.iter().skip(1))
}

/// The point at a share of the way from one to another.
pub fn between<const N: usize>(from: [f64; N], to: [f64; N], share: f64) -> [f64; N] {
    std::array::from_fn(|k| from[k] + share * (to[k] - from[k]))
}

/// The whole number nearest to a number, where the type has it; `None` for those beyond it and for NaN.
pub fn nearest_whole<T: TryFrom<i64>>(x: f64) -> Option<T> {
    // Up to here each whole number is a double of its own.
    const EXACT: f64 = 9_007_199_254_740_992.0;
    let whole = x.round();
    #[allow(clippy::cast_possible_truncation, reason = "within what i64 holds")]
    (whole.abs() <= EXACT)
        .then_some(whole as i64)
        .and_then(|whole| T::try_from(whole).ok())
}

/// A number as grids keep it: nearest of the 32-bit ones, infinite beyond them.
#[allow(clippy::cast_possible_truncation, reason = "what grids are: f32")]
pub const fn single(x: f64) -> f32 {
    x as f32
}

/// One number for each of several, by its place among them. A plain loop, of which the compiler makes
/// several at a time, as it does not of `array::from_fn`.
#[inline(always)]
pub fn each<const N: usize>(number: impl Fn(usize) -> f64) -> [f64; N] {
    let mut all = [0.0; N];
    for (i, one) in all.iter_mut().enumerate() {
        *one = number(i);
    }
    all
}

/// Added to a number below 2^51 it leaves the nearest whole one in the lowest bits.
const WHOLE: f64 = 1.5 * (1u64 << 52) as f64;
/// The bits of 2^52, which are those of every whole number below it with that number in the lowest.
const TWO_52: u64 = 0x4330_0000_0000_0000;
/// The bits of 1, and of the square root of one half.
const ONE: u64 = 0x3ff0_0000_0000_0000;
const ROOT_HALF: u64 = 0x3fe6_a09e_667f_3bcd;

/// e^x, relative error below 1e-11, the same on every machine. Unlike `f64::exp` it is no call: over
/// arrays the compiler makes it several at a time. Beyond 700 on either side x counts as 700.
#[inline]
pub fn exp(x: f64) -> f64 {
    let x = x.clamp(-700.0, 700.0);
    let shifted = x * std::f64::consts::LOG2_E + WHOLE;
    let r = x - (shifted - WHOLE) * std::f64::consts::LN_2;
    // The series of e^r, r within 0.35: halves that do not wait for each other.
    let q = r * r;
    let even = 1.0 + q * (0.5 + q * (1.0 / 24.0 + q * (1.0 / 720.0 + q / 40_320.0)));
    let odd = 1.0 + q * (1.0 / 6.0 + q * (1.0 / 120.0 + q * (1.0 / 5_040.0 + q / 362_880.0)));
    let two_to = f64::from_bits((shifted.to_bits() << 52).wrapping_add(ONE));
    two_to * (even + r * odd)
}

/// The natural logarithm of a normal positive number, off by less than 1e-11; as [`exp`] it is no call.
#[inline]
pub fn ln(x: f64) -> f64 {
    let bits = x.to_bits();
    // Exponent (and 1023) and the number between the roots of 1/2 and 2 that is left.
    let exponent = bits.wrapping_sub(ROOT_HALF).wrapping_add(ONE) >> 52;
    let m = f64::from_bits(bits.wrapping_sub(exponent << 52).wrapping_add(ONE));
    let twos = f64::from_bits(exponent | TWO_52) - (f64::from_bits(TWO_52) + 1_023.0);
    let s = (m - 1.0) / (m + 1.0);
    let q = s * s;
    let low = 1.0 + q * (1.0 / 3.0 + q / 5.0);
    let high = 1.0 / 7.0 + q * (1.0 / 9.0 + q * (1.0 / 11.0 + q / 13.0));
    2.0 * s * (low + q * q * q * high) + twos * std::f64::consts::LN_2
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exponential_and_logarithm_are_those_of_the_library() {
        for k in -7_000..=7_000 {
            let x = 0.1 * f64::from(k);
            assert!((exp(x) / x.exp() - 1.0).abs() < 1e-11, "{x}");
            let y = (0.05 * f64::from(k)).exp();
            for y in [y, 1.4 * y] {
                assert!((ln(y) - y.ln()).abs() < 1e-11 + 1e-15 * y.ln().abs(), "{y}");
            }
        }
        assert_eq!(exp(0.0), 1.0);
        assert!(exp(f64::NEG_INFINITY) < 1e-300);
    }

    #[test]
    fn whole_numbers_are_those_that_the_type_has() {
        assert_eq!(nearest_whole::<u8>(254.6), Some(255));
        assert_eq!(nearest_whole::<u8>(255.5), None);
        assert_eq!(nearest_whole::<u8>(-0.6), None);
        assert_eq!(nearest_whole::<u8>(-0.4), Some(0));
        assert_eq!(nearest_whole::<i64>(f64::NAN), None);
        assert_eq!(nearest_whole::<i64>(f64::INFINITY), None);
        assert_eq!(nearest_whole::<i64>(-1e15), Some(-1_000_000_000_000_000));
        assert_eq!(nearest_whole::<u64>(1e17), None);
    }

    #[test]
    fn a_square_root() {
        let root = last_true(0.0, 10.0, |x| x * x <= 2.0);
        assert!((root - 2f64.sqrt()).abs() < 1e-15);
    }

    #[test]
    fn quantiles_are_numbers_of_the_list() {
        let ascending = [1.0, 2.0, 4.0, 8.0, 16.0];
        let of = |share| quantile(&ascending, share);
        assert_eq!(
            [of(0.0), of(0.5), of(1.0)],
            [Some(1.0), Some(4.0), Some(16.0)]
        );
        assert_eq!([of(0.6), of(0.65)], [Some(4.0), Some(8.0)]);
        assert_eq!(quantile(&[], 0.5), None);
    }

    #[test]
    fn linear_between_pairs_and_held_outside() {
        let pairs = [(0.0, 1.0), (2.0, 5.0), (2.0, 6.0), (4.0, 0.0)];
        let at = |x| linear(&pairs, x);
        assert_eq!(
            [at(-1.0), at(0.0), at(1.0)],
            [Some(1.0), Some(1.0), Some(3.0)]
        );
        assert_eq!(
            [at(2.0), at(3.0), at(9.0)],
            [Some(6.0), Some(3.0), Some(0.0)]
        );
        assert_eq!(linear(&[], 0.0), None);
        assert_eq!(bracket(&pairs, |p| p.0, 4.0), (3, 0.0));
        assert_eq!(between([0.0, 4.0], [1.0, 0.0], 0.25), [0.25, 3.0]);
    }
}
