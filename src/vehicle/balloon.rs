//! The balloon and its gas: lift, volume, diameter.
//!
//! The latex is taken to add no pressure of its own, so the gas has the pressure of the air; of
//! its few hectopascals only the last kilometre before the burst would notice.

use serde::{Deserialize, Serialize};

use super::burst::Burst;
use crate::atmosphere::{Air, GAS_CONSTANT_J_MOL_K, MOLAR_MASS_AIR_KG_MOL};

/// What lifts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Gas {
    /// Helium.
    Helium,
    /// Hydrogen.
    Hydrogen,
}

impl Gas {
    /// Molar mass, kg/mol (IUPAC standard atomic weights).
    pub fn molar_mass_kg_mol(self) -> f64 {
        match self {
            Gas::Helium => 4.002_602e-3,
            Gas::Hydrogen => 2.015_88e-3,
        }
    }

    /// Heat capacity at constant pressure, J/(mol K): 5/2 R for helium; 28.6 for hydrogen at
    /// about 270 K (ratio of heat capacities 1.41, from memory).
    fn heat_capacity_j_mol_k(self) -> f64 {
        match self {
            Gas::Helium => 2.5 * GAS_CONSTANT_J_MOL_K,
            Gas::Hydrogen => 28.6,
        }
    }
}

/// Heat capacity of air at constant pressure, J/(mol K): 7/2 R.
const AIR_HEAT_CAPACITY_J_MOL_K: f64 = 3.5 * GAS_CONSTANT_J_MOL_K;

/// A lifting gas as it comes from the cylinder; what is not gas is taken to be air.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct LiftingGas {
    /// The gas.
    pub gas: Gas,
    /// Its share by volume, above 0 up to 1.
    pub purity: f64,
}

impl LiftingGas {
    /// Molar mass of the mixture, kg/mol.
    pub fn molar_mass_kg_mol(self) -> f64 {
        self.mixed(self.gas.molar_mass_kg_mol(), MOLAR_MASS_AIR_KG_MOL)
    }

    /// Heat capacity of the mixture at constant pressure, J/(mol K).
    pub fn heat_capacity_j_mol_k(self) -> f64 {
        self.mixed(self.gas.heat_capacity_j_mol_k(), AIR_HEAT_CAPACITY_J_MOL_K)
    }

    /// Lift of a cubic metre at the air's own temperature and pressure, kg/m3.
    pub fn lift_kg_m3(self, air: &Air) -> f64 {
        air.density_kg_m3
            - air.pressure_pa * self.molar_mass_kg_mol()
                / (GAS_CONSTANT_J_MOL_K * air.temperature_k)
    }

    fn mixed(self, of_gas: f64, of_air: f64) -> f64 {
        self.purity * of_gas + (1.0 - self.purity) * of_air
    }
}

/// An empty balloon.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Balloon {
    /// Mass, kg.
    pub mass_kg: f64,
    /// When it bursts.
    pub burst: Burst,
}

/// The gas that was filled in.
///
/// Lifts are given as the masses they hold: gross = displaced air - gas; neck = gross - balloon;
/// free = neck - load.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct GasFill {
    /// The gas.
    pub gas: LiftingGas,
    /// How much, mol.
    pub amount_mol: f64,
}

impl GasFill {
    /// The fill whose gross lift is `gross_kg` in this air.
    ///
    /// ```
    /// use windfall::atmosphere::{Geopotential, standard};
    /// use windfall::vehicle::balloon::{Gas, GasFill, LiftingGas};
    ///
    /// let air = standard(Geopotential(0.0));
    /// let helium = LiftingGas { gas: Gas::Helium, purity: 1.0 };
    /// let fill = GasFill::of_gross_lift(helium, 8.0, &air);
    /// // About a kilogram a cubic metre.
    /// assert!((fill.volume_m3(air.temperature_k, air.pressure_pa) - 7.6).abs() < 0.1);
    /// ```
    pub fn of_gross_lift(gas: LiftingGas, gross_kg: f64, air: &Air) -> GasFill {
        GasFill::of_volume(gas, gross_kg / gas.lift_kg_m3(air), air)
    }

    /// The fill that takes `volume_m3` at the air's temperature and pressure:
    /// n = p V / (R T).
    pub fn of_volume(gas: LiftingGas, volume_m3: f64, air: &Air) -> GasFill {
        GasFill {
            gas,
            amount_mol: air.pressure_pa * volume_m3 / (GAS_CONSTANT_J_MOL_K * air.temperature_k),
        }
    }

    /// Mass of the gas, kg.
    pub fn mass_kg(&self) -> f64 {
        self.amount_mol * self.gas.molar_mass_kg_mol()
    }

    /// Volume in m3 at a gas temperature and pressure: V = n R T / p.
    pub fn volume_m3(&self, gas_temperature_k: f64, pressure_pa: f64) -> f64 {
        self.amount_mol * GAS_CONSTANT_J_MOL_K * gas_temperature_k / pressure_pa
    }

    /// Gross lift in kg with the gas at the air's temperature.
    pub fn gross_lift_kg(&self, air: &Air) -> f64 {
        self.volume_m3(air.temperature_k, air.pressure_pa) * self.gas.lift_kg_m3(air)
    }
}

/// Diameter of a sphere, m: D = (6 V / pi)^(1/3).
pub fn sphere_diameter_m(volume_m3: f64) -> f64 {
    (6.0 * volume_m3 / std::f64::consts::PI).cbrt()
}

/// Volume of a sphere, m3: V = pi D^3 / 6.
pub fn sphere_volume_m3(diameter_m: f64) -> f64 {
    std::f64::consts::PI / 6.0 * diameter_m.powi(3)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::atmosphere::P0_PA;

    #[test]
    fn purity_costs_lift_in_proportion() {
        let air = Air::dry(288.15, P0_PA);
        let lift = |purity| {
            LiftingGas {
                gas: Gas::Helium,
                purity,
            }
            .lift_kg_m3(&air)
        };
        assert!((lift(0.95) / lift(1.0) - 0.95).abs() < 1e-9);
    }

    #[test]
    fn fills_there_and_back() {
        let air = Air::dry(278.0, 95_000.0);
        let gas = LiftingGas {
            gas: Gas::Hydrogen,
            purity: 0.99,
        };
        let fill = GasFill::of_gross_lift(gas, 8.0, &air);
        assert!((fill.gross_lift_kg(&air) - 8.0).abs() < 1e-12);
        let volume = fill.volume_m3(air.temperature_k, air.pressure_pa);
        assert!((sphere_volume_m3(sphere_diameter_m(volume)) - volume).abs() < 1e-12);
        let again = GasFill::of_volume(gas, volume, &air).amount_mol;
        assert!((again / fill.amount_mol - 1.0).abs() < 1e-12);
    }
}
