//! Where a condition turns from true to false.

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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_square_root() {
        let root = last_true(0.0, 10.0, |x| x * x <= 2.0);
        assert!((root - 2f64.sqrt()).abs() < 1e-15);
    }
}
