//! Rates of rise or fall that the user simply states: one, or one for each band of altitude.

use super::layers::Layers;

/// Rates by altitude: each holds from its altitude up to the next; the first also below.
#[derive(Debug, Clone, PartialEq)]
pub struct RateTable {
    /// Altitude from which (m above mean sea level, strictly rising) and rate (m/s, above 0).
    bands: Vec<(f64, f64)>,
}

impl RateTable {
    /// One rate at all altitudes.
    pub fn constant(rate_m_s: f64) -> RateTable {
        RateTable {
            bands: vec![(0.0, rate_m_s)],
        }
    }

    /// A table; `None` unless there is at least one band, altitudes strictly rise and rates are
    /// above zero.
    pub fn new(bands: Vec<(f64, f64)>) -> Option<RateTable> {
        let rising = bands.windows(2).all(|w| w[0].0 < w[1].0);
        let positive = bands.iter().all(|b| b.1 > 0.0 && b.1.is_finite());
        (!bands.is_empty() && rising && positive).then_some(RateTable { bands })
    }

    /// All rates by a factor above zero.
    #[must_use]
    pub fn scaled(&self, factor: f64) -> RateTable {
        RateTable {
            bands: self.bands.iter().map(|b| (b.0, factor * b.1)).collect(),
        }
    }

    /// Whether it is one rate at all altitudes.
    pub fn is_constant(&self) -> bool {
        self.bands.len() == 1
    }

    /// The rate at an altitude, m/s.
    pub fn at(&self, altitude_m: f64) -> f64 {
        let above = self.bands.partition_point(|b| b.0 <= altitude_m);
        self.bands[above.saturating_sub(1)].1
    }

    /// Seconds between two altitudes, exact across band edges.
    fn seconds_between(&self, low_m: f64, high_m: f64) -> f64 {
        let mut seconds = 0.0;
        let mut z = low_m;
        for &(edge, _) in self.bands.iter().filter(|b| b.0 > low_m && b.0 < high_m) {
            seconds += (edge - z) / self.at(z);
            z = edge;
        }
        seconds + (high_m - z) / self.at(z)
    }

    /// Seconds spent in each layer.
    pub fn seconds(&self, layers: &Layers) -> Vec<f64> {
        (0..layers.count)
            .map(|k| self.seconds_between(layers.altitude_m(k), layers.altitude_m(k + 1)))
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bands_meet_inside_a_layer() {
        let table = RateTable::new(vec![(0.0, 5.0), (100.0, 10.0)]).unwrap();
        let layers = Layers::covering(0.0, 400.0, 200.0);
        assert_eq!(table.seconds(&layers), vec![30.0, 20.0]);
        assert_eq!(table.at(-50.0), 5.0);
        assert_eq!(RateTable::constant(4.0).seconds(&layers), vec![50.0, 50.0]);
    }

    #[test]
    fn tables_are_checked() {
        assert!(RateTable::new(vec![]).is_none());
        assert!(RateTable::new(vec![(0.0, 5.0), (0.0, 6.0)]).is_none());
        assert!(RateTable::new(vec![(0.0, 0.0)]).is_none());
    }
}
