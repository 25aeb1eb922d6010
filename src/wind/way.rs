//! The way of a sonde or a flight: when it was at an altitude, and where.
//!
//! A sounding is named for where and when its sonde was released. Half an hour later that is somewhere
//! else, and so is a flight released with it: what counts is how far the two are from each other at the
//! same altitude.

use super::sounding::Sounding;
use crate::earth::MEAN_RADIUS_M;
use crate::geodesy::Normal;
use crate::numeric::{between, bracket, linear};

/// A way by altitude. What is not known of it is empty.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Way {
    /// Altitude, m, and seconds since the release, by rising altitude.
    after_s: Vec<(f64, f64)>,
    /// Altitude, m, and place.
    places: Vec<(f64, Normal)>,
}

impl Way {
    /// Of the sonde of a sounding, as far as its file tells.
    pub fn of_sounding(sounding: &Sounding) -> Way {
        let levels = || sounding.levels.iter();
        Way {
            after_s: levels()
                .filter_map(|l| Some((l.altitude_m, l.after_s?)))
                .collect(),
            places: levels()
                .filter_map(|l| Some((l.altitude_m, l.place?.normal())))
                .collect(),
        }
    }

    /// Of altitudes (m, rising) with seconds since the release and places.
    pub fn of_moments(moments: impl Iterator<Item = (f64, f64, Normal)>) -> Way {
        let mut way = Way::default();
        for (altitude_m, after_s, place) in moments {
            way.after_s.push((altitude_m, after_s));
            way.places.push((altitude_m, place));
        }
        way
    }

    /// Whether nothing is known of it.
    pub fn is_unknown(&self) -> bool {
        self.after_s.is_empty() && self.places.is_empty()
    }

    /// Seconds since the release at an altitude, those of the nearest known one beyond; `None` where
    /// none are known.
    pub fn after_s(&self, altitude_m: f64) -> Option<f64> {
        linear(&self.after_s, altitude_m)
    }

    /// The place at an altitude, likewise.
    pub fn place(&self, altitude_m: f64) -> Option<Normal> {
        let (below, share) = bracket(&self.places, |row| row.0, altitude_m);
        let from = self.places.get(below)?.1;
        let to = self.places.get(below + 1).map_or(from, |row| row.1);
        // A little short of length 1, which over the way of one sonde does not matter.
        Some(Normal(between(from.0, to.0, share)))
    }

    /// How far and how long it is from another at an altitude, m and s: this one later than the other is
    /// more than 0. `None` for what is not known of both.
    pub fn apart(&self, other: &Way, altitude_m: f64) -> (Option<f64>, Option<f64>) {
        let places = self.place(altitude_m).zip(other.place(altitude_m));
        let times = self.after_s(altitude_m).zip(other.after_s(altitude_m));
        (
            places.map(|(here, there)| chord_m(here, there)),
            times.map(|(here, there)| here - there),
        )
    }
}

/// From one place to another through the mean sphere, m: a part in ten thousand short over 300 km.
pub fn chord_m(a: Normal, b: Normal) -> f64 {
    let squares = (0..3).map(|i| (a.0[i] - b.0[i]).powi(2));
    MEAN_RADIUS_M * squares.sum::<f64>().sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geodesy::Position;

    #[test]
    fn ways_are_as_far_apart_as_they_are_at_the_same_altitude() {
        let at = |lon: f64| Position::new(0.0, lon).unwrap().normal();
        let way = |rate: f64, from: f64, per_km: f64| {
            let row = |k: u8| {
                let km = f64::from(k);
                (1_000.0 * km, 1_000.0 * km / rate, at(from + per_km * km))
            };
            Way::of_moments((0..=20).map(row))
        };
        let (sonde, slow) = (way(5.0, 0.0, 0.02), way(2.5, 0.1, 0.04));
        // At 10 km: 0.1 + 0.4 - 0.2 degrees, and 2,000 s.
        let (m, s) = slow.apart(&sonde, 10_000.0);
        assert!((m.unwrap() - 0.3_f64.to_radians() * MEAN_RADIUS_M).abs() < 1.0);
        assert!((s.unwrap() - 2_000.0).abs() < 1e-9);
        // Alike, but for where they are released.
        let (m, s) = way(5.0, 0.1, 0.02).apart(&sonde, 17_300.0);
        assert!((m.unwrap() - 0.1_f64.to_radians() * MEAN_RADIUS_M).abs() < 1.0);
        assert!(s.unwrap().abs() < 1e-9);
        // Beyond the highest level, what is known there.
        assert_eq!(sonde.after_s(30_000.0), Some(4_000.0));
        assert_eq!(Way::default().apart(&sonde, 0.0), (None, None));
        assert!(Way::default().is_unknown());
    }
}
