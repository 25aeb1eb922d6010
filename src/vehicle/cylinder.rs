//! Gas cylinders: what is in them, what comes out, and what the gauge reads afterwards.

use serde::Serialize;

use super::balloon::Gas;
use super::real_gas::{density_mol_m3, pressure_pa};
use crate::atmosphere::GAS_CONSTANT_J_MOL_K;

/// Cylinders of one kind, equally full.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Cylinders {
    /// How many.
    pub count: u32,
    /// Inner volume of each (its water volume), m3.
    pub water_volume_m3: f64,
    /// Pressure on the gauge of each, Pa above that of the air around.
    pub gauge_pa: f64,
    /// Temperature of the gas in it, K.
    pub temperature_k: f64,
}

/// Temperature at which suppliers tell the contents of cylinders, K (70 F).
const CONTENTS_TEMPERATURE_K: f64 = 294.261;
/// Pressure at which they do, Pa (14.7 psi).
const CONTENTS_PRESSURE_PA: f64 = 101_353.0;
/// Pressure on the gauge of a full cylinder that is named by its contents, Pa (2,400 psi; common
/// practice, no source).
pub const FULL_GAUGE_PA: f64 = 1.654_74e7;

/// Gas that a cylinder named by its contents (m3 at 70 F and 14.7 psi) gives, mol.
pub fn contents_mol(contents_m3: f64) -> f64 {
    CONTENTS_PRESSURE_PA * contents_m3 / (GAS_CONSTANT_J_MOL_K * CONTENTS_TEMPERATURE_K)
}

/// What is left when a balloon has been filled.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CylindersAfter {
    /// Cylinders that are empty: down to the pressure of the air.
    pub whole: u32,
    /// The share of what the next one gives that is used; 0 where the last is just empty.
    pub share_of_next: f64,
    /// What the gauge of that one reads at the end, Pa, once its gas has the temperature it began
    /// with; `None` where none is begun.
    pub gauge_left_pa: Option<f64>,
    /// Gas that is left over, mol.
    pub left_mol: f64,
    /// Gas that is missing, mol; 0 where there is enough.
    pub short_mol: f64,
}

impl Cylinders {
    /// Full cylinders that are named by their contents (m3 at 70 F and 14.7 psi): of the inner volume
    /// that holds this at [`FULL_GAUGE_PA`]. `None` where the equation of the gas does not reach.
    pub fn of_contents(count: u32, contents_m3: f64, gas: Gas) -> Option<Cylinders> {
        let full = FULL_GAUGE_PA + CONTENTS_PRESSURE_PA;
        let density = |pa| density_mol_m3(gas, pa, CONTENTS_TEMPERATURE_K);
        // Named by what comes out: at the pressure of the air some gas stays inside.
        let gives_mol_m3 = density(full)? - density(CONTENTS_PRESSURE_PA)?;
        Some(Cylinders {
            count,
            water_volume_m3: contents_mol(contents_m3) / gives_mol_m3,
            gauge_pa: FULL_GAUGE_PA,
            temperature_k: CONTENTS_TEMPERATURE_K,
        })
    }

    /// Gas in one of them, mol, in air of a pressure (Pa); `None` where the equation of the gas
    /// does not reach.
    pub fn content_mol(&self, gas: Gas, air_pa: f64) -> Option<f64> {
        let density = density_mol_m3(gas, self.gauge_pa + air_pa, self.temperature_k)?;
        Some(density * self.water_volume_m3)
    }

    /// Gas that one of them gives until it has the pressure of the air, mol.
    pub fn gives_mol(&self, gas: Gas, air_pa: f64) -> Option<f64> {
        let empty = Cylinders {
            gauge_pa: 0.0,
            ..*self
        };
        let left = empty.content_mol(gas, air_pa)?;
        Some((self.content_mol(gas, air_pa)? - left).max(0.0))
    }

    /// What the gauge of one reads when `taken_mol` are out of it, Pa, at its first temperature.
    fn gauge_after(&self, gas: Gas, air_pa: f64, taken_mol: f64) -> Option<f64> {
        let left = self.content_mol(gas, air_pa)? - taken_mol;
        let pressure = pressure_pa(gas, left / self.water_volume_m3, self.temperature_k);
        Some((pressure - air_pa).max(0.0))
    }
}

/// Gas that all of them give, mol.
pub fn all_give_mol(cylinders: &[Cylinders], gas: Gas, air_pa: f64) -> Option<f64> {
    let each = cylinders.iter();
    each.map(|c| Some(f64::from(c.count) * c.gives_mol(gas, air_pa)?))
        .sum()
}

/// What a fill of `needed_mol` leaves of cylinders that are emptied one after the other, in their
/// order; `None` where the equation of the gas does not reach.
pub fn empty(
    cylinders: &[Cylinders],
    gas: Gas,
    air_pa: f64,
    needed_mol: f64,
) -> Option<CylindersAfter> {
    let all_mol = all_give_mol(cylinders, gas, air_pa)?;
    let mut done = CylindersAfter {
        whole: 0,
        share_of_next: 0.0,
        gauge_left_pa: None,
        left_mol: (all_mol - needed_mol).max(0.0),
        short_mol: (needed_mol - all_mol).max(0.0),
    };
    let mut open_mol = needed_mol;
    for kind in cylinders {
        let one_mol = kind.gives_mol(gas, air_pa)?;
        for _ in 0..kind.count {
            // A billionth of a cylinder is nothing.
            if open_mol <= 1e-9 * one_mol {
                return Some(done);
            }
            // One that is emptied but for rounding is empty, not begun.
            if open_mol < one_mol * (1.0 - 1e-9) {
                done.share_of_next = open_mol / one_mol;
                done.gauge_left_pa = kind.gauge_after(gas, air_pa, open_mol);
                return Some(done);
            }
            done.whole += 1;
            open_mol -= one_mol;
        }
    }
    Some(done)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::atmosphere::P0_PA;

    const LARGE: Cylinders = Cylinders {
        count: 2,
        water_volume_m3: 0.05,
        gauge_pa: 2e7,
        temperature_k: 288.15,
    };

    #[test]
    fn one_after_the_other() {
        let one = LARGE.gives_mol(Gas::Helium, P0_PA).unwrap();
        let after = |cylinders: f64| empty(&[LARGE], Gas::Helium, P0_PA, cylinders * one).unwrap();
        let half = after(0.5);
        assert_eq!((half.whole, half.short_mol), (0, 0.0));
        assert!((half.left_mol / one - 1.5).abs() < 1e-9);
        // Helium is less compressible when full: half of the gas is less than half of the gauge.
        let gauge = half.gauge_left_pa.unwrap();
        assert!((0.47..0.49).contains(&(gauge / 2e7)), "{gauge}");
        let whole = after(1.0);
        assert_eq!((whole.whole, whole.gauge_left_pa), (1, None));
        let more = after(1.25);
        assert_eq!(more.whole, 1);
        assert!((more.share_of_next - 0.25).abs() < 1e-9);
        let short = after(2.5);
        assert_eq!((short.whole, short.gauge_left_pa), (2, None));
        assert!((short.short_mol / one - 0.5).abs() < 1e-9 && short.left_mol == 0.0);
        assert_eq!(after(0.0).whole, 0);
    }

    /// 244 ft3 are 6.909 m3 of gas at 70 F and 14.7 psi; such a cylinder holds about 43 to 49 L
    /// (common practice, no source).
    #[test]
    fn contents_are_what_the_name_says() {
        let contents_m3 = 244.0 * 0.028_316_847;
        let one = Cylinders::of_contents(1, contents_m3, Gas::Helium).unwrap();
        let gives = one.gives_mol(Gas::Helium, 101_353.0).unwrap();
        assert!((gives / contents_mol(contents_m3) - 1.0).abs() < 1e-9);
        // p V / (R T) by hand.
        assert!((gives - 286.2).abs() < 0.2, "{gives}");
        assert!((0.042..0.050).contains(&one.water_volume_m3), "{one:?}");
    }

    #[test]
    fn begun_ones_first() {
        let begun = Cylinders {
            count: 1,
            gauge_pa: 6e6,
            ..LARGE
        };
        let needed = begun.gives_mol(Gas::Hydrogen, P0_PA).unwrap() * 1.5;
        let done = empty(&[begun, LARGE], Gas::Hydrogen, P0_PA, needed).unwrap();
        assert_eq!(done.whole, 1);
        assert!(done.gauge_left_pa.unwrap() > 1.6e7);
    }
}
