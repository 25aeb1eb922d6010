//! Heights of levels for which the files give none: from the temperatures between them and a known
//! height, or those of the standard atmosphere.

#![allow(
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "by levels of the block"
)]

use std::collections::{BTreeMap, BTreeSet};

use ndarray::{Array2, ArrayView1, ArrayViewMut1};

use crate::atmosphere::{
    hypsometric_thickness, standard_height_of_pressure, virtual_temperature_k,
};
use crate::notes::reading::{HeightsFrom, Reading};
use crate::numeric::single;
use crate::wind::slab::{Quantity, Surface};

/// Levels whose heights are reckoned, and how.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Reckoned {
    /// Their pressures, Pa.
    pub levels: BTreeSet<u32>,
    /// Whether they are the standard atmosphere's, as there are no temperatures either.
    pub standard: bool,
    /// Whether nothing tells a height to begin from.
    pub adrift: bool,
}

impl Reckoned {
    /// Of the levels of all moments, each given by what it holds on levels of pressure: those with both
    /// components of the wind that never have a height, where that can be helped.
    pub fn of<'a, K: 'a>(
        moments: impl Iterator<Item = &'a BTreeMap<(Quantity, Surface), K>>,
    ) -> Self {
        let (mut winds, mut heights, mut cold) =
            (BTreeSet::new(), BTreeSet::new(), BTreeSet::new());
        let mut grounded = false;
        for slabs in moments {
            let has = |quantity, pa| slabs.contains_key(&(quantity, Surface::Isobaric(pa)));
            let ground = |quantity| slabs.contains_key(&(quantity, Surface::Ground));
            grounded |= ground(Quantity::Pressure) && ground(Quantity::Height);
            for (quantity, surface) in slabs.keys() {
                let Surface::Isobaric(pa) = *surface else {
                    continue;
                };
                match quantity {
                    Quantity::Height => {
                        heights.insert(pa);
                    }
                    Quantity::EastWind if has(Quantity::NorthWind, pa) => {
                        winds.insert(pa);
                        if !has(Quantity::Temperature, pa) {
                            // Missing at one time is missing at all: levels are
                            // the same at all times.
                            cold.insert(pa);
                        }
                    }
                    _ => {}
                }
            }
        }
        let without: BTreeSet<u32> = winds.difference(&heights).copied().collect();
        let with_temperature: BTreeSet<u32> = without.difference(&cold).copied().collect();
        let no_height = heights.is_disjoint(&winds);
        // One temperature spans no layer.
        let standard = no_height && with_temperature.len() < 2;
        Reckoned {
            levels: if standard { without } else { with_temperature },
            standard,
            adrift: no_height && !grounded,
        }
    }

    /// What is assumed.
    pub fn assumed(&self) -> Option<Reading> {
        let names: Vec<String> = self
            .levels
            .iter()
            .rev()
            .map(|pa| Surface::Isobaric(*pa).to_string())
            .collect();
        let which = match names.as_slice() {
            [] => return None,
            [first, .., last] if names.len() > 4 => {
                format!("{} levels from {first} to {last}", names.len())
            }
            few => few.join(", "),
        };
        let from = match (self.standard, self.adrift) {
            (true, _) => HeightsFrom::StandardAtmosphere,
            (false, true) => HeightsFrom::TemperaturesAlone,
            (false, false) => HeightsFrom::Temperatures,
        };
        Some(Reading::HeightsComputed {
            levels: which,
            from,
        })
    }
}

/// The forecast's ground below a column: its altitude (m) and the pressure on it (Pa).
pub(super) type GroundBelow = Option<(f64, f64)>;

/// Fills heights that are not known, geopotential m, columns by levels: by the hypsometric equation
/// from the nearest known height below, or above where there is none below; where no level has one,
/// from the ground; where that is not known either, from the standard atmosphere's height of the
/// lowest level.
pub(super) fn fill(
    heights: &mut Array2<f32>,
    temperature_k: &Array2<f32>,
    vapour_pa: Option<&Array2<f32>>,
    pressures_pa: &[f64],
    ground: impl Fn(usize) -> GroundBelow,
) {
    for (column, mut h) in heights.outer_iter_mut().enumerate() {
        let virtual_k: Vec<f64> = (0..pressures_pa.len())
            .map(|level| {
                let e = vapour_pa.map_or(0.0, |e| f64::from(e[[column, level]]));
                let t = f64::from(temperature_k[[column, level]]);
                // Dry air where humidity is missing: a height a little off is better than none.
                virtual_temperature_k(t, pressures_pa[level], if e.is_finite() { e } else { 0.0 })
            })
            .collect();
        fill_column(&mut h, &virtual_k, pressures_pa, || ground(column));
    }
}

fn fill_column(
    h: &mut ArrayViewMut1<f32>,
    virtual_k: &[f64],
    pressures_pa: &[f64],
    ground: impl Fn() -> GroundBelow,
) {
    // Levels without a temperature have no height either; the others are reckoned across them.
    let usable: Vec<usize> = (0..pressures_pa.len())
        .filter(|&level| virtual_k[level].is_finite() || h[level].is_finite())
        .collect();
    let known = |h: ArrayView1<f32>| usable.iter().position(|&level| h[level].is_finite());
    let first = match known(h.view()) {
        Some(first) => first,
        None => {
            let Some(&lowest) = usable.first() else {
                return;
            };
            h[lowest] = single(from_ground(
                ground(),
                virtual_k[lowest],
                pressures_pa[lowest],
            ));
            0
        }
    };
    let thickness = |low: usize, high: usize| {
        // A level that has only its height has no temperature to give: the other's stands for both.
        let warm = match [virtual_k[low], virtual_k[high]] {
            [a, b] if a.is_finite() && b.is_finite() => 0.5 * (a + b),
            [a, _] if a.is_finite() => a,
            [_, b] => b,
        };
        hypsometric_thickness(pressures_pa[low], pressures_pa[high], warm)
    };
    for pair in usable[first..].windows(2) {
        if !h[pair[1]].is_finite() {
            h[pair[1]] = single(f64::from(h[pair[0]]) + thickness(pair[0], pair[1]));
        }
    }
    for pair in usable[..=first].windows(2).rev() {
        if !h[pair[0]].is_finite() {
            h[pair[0]] = single(f64::from(h[pair[1]]) - thickness(pair[0], pair[1]));
        }
    }
}

/// The height of the lowest level above the ground, m: the altitude of the ground is taken as
/// geopotential, which is off by a metre or two in mountains.
fn from_ground(ground: GroundBelow, virtual_k: f64, pressure_pa: f64) -> f64 {
    match ground {
        Some((altitude_m, ground_pa)) if altitude_m.is_finite() && ground_pa > 0.0 => {
            altitude_m + hypsometric_thickness(ground_pa, pressure_pa, virtual_k)
        }
        _ => standard_height_of_pressure(pressure_pa).0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PA: [f64; 4] = [100_000.0, 85_000.0, 50_000.0, 20_000.0];

    fn filled(known: [f32; 4], t: [f32; 4], ground: GroundBelow) -> Vec<f32> {
        let mut heights = Array2::from_shape_vec((1, 4), known.to_vec()).unwrap();
        let t = Array2::from_shape_vec((1, 4), t.to_vec()).unwrap();
        fill(&mut heights, &t, None, &PA, |_| ground);
        heights.into_raw_vec_and_offset().0
    }

    #[test]
    fn an_isothermal_column_is_logarithmic() {
        // Scale height of 250 K: 287.05 * 250 / 9.80665 = 7317.7 m.
        let scale = 287.053 * 250.0 / 9.806_65;
        let t = [250.0; 4];
        let n = f32::NAN;
        let at = |i: usize, zero: f64| zero - scale * (PA[i] / PA[0]).ln();
        for known in [
            [110.0, n, n, n],
            [n, n, single(at(2, 110.0)), n],
            [n, n, n, single(at(3, 110.0))],
            [110.0, n, single(at(2, 110.0)), n],
        ] {
            for (i, h) in filled(known, t, None).into_iter().enumerate() {
                assert!((f64::from(h) - at(i, 110.0)).abs() < 0.1, "{i} {h}");
            }
        }
        // From the ground at 500 m with 95,000 Pa.
        let h = filled([n; 4], t, Some((500.0, 95_000.0)));
        let lowest = 500.0 - scale * (100_000.0_f64 / 95_000.0).ln();
        assert!((f64::from(h[0]) - lowest).abs() < 0.1, "{h:?}");
        // From nothing at all: 110.9 m, the standard atmosphere's height of 1000 hPa.
        assert!((filled([n; 4], t, None)[0] - 110.9).abs() < 0.1);
    }

    #[test]
    fn a_level_without_temperature_is_passed_over() {
        let n = f32::NAN;
        let h = filled([110.0, n, n, n], [280.0, n, 250.0, 220.0], None);
        assert!(h[1].is_nan() && h[2] > 5_000.0 && h[3] > 11_000.0);
        assert!(filled([n; 4], [n; 4], None).iter().all(|h| h.is_nan()));
    }
}
