//! Helium and hydrogen as they are under pressure: a cylinder at 200 bar holds a tenth less than
//! the ideal gas law says.
//!
//! Both are given by their reference equations, the Helmholtz energy as a function of density and
//! temperature; with delta = rho / rho_c and tau = T_c / T its residual part is
//! alpha = sum n delta^d tau^t exp(-delta^l)
//!       + sum n delta^d tau^t exp(-eta (delta - epsilon)^2 - beta (tau - gamma)^2),
//! and the compressibility Z = p / (rho R T) = 1 + delta d(alpha)/d(delta).
//!
//! # References
//!
//! - Helium: D. O. Ortiz-Vega et al. (2020), "A Helmholtz energy equation of state for helium", as
//!   its coefficients stand in CoolProp 8.0.0 (MIT licence), which names it OrtizVega-JPCRD-2019.
//! - Hydrogen: J. W. Leachman, R. T. Jacobsen, S. G. Penoncello and E. W. Lemmon (2009),
//!   "Fundamental equations of state for parahydrogen, normal hydrogen, and orthohydrogen",
//!   J. Phys. Chem. Ref. Data 38, 721 (normal hydrogen), as its coefficients stand in CoolProp.
//!
//! The papers themselves were not read; densities are held against CoolProp's in the tests.

use super::balloon::Gas;
use crate::numeric::last_true;

/// n delta^d tau^t exp(-delta^l), without the exponential where l is 0.
struct Power {
    n: f64,
    d: i32,
    t: f64,
    l: i32,
}

/// n delta^d tau^t exp(-eta (delta - epsilon)^2 - beta (tau - gamma)^2).
struct Bell {
    n: f64,
    d: i32,
    t: f64,
    eta: f64,
    epsilon: f64,
    beta: f64,
    gamma: f64,
}

/// One gas's equation.
struct Equation {
    /// T_c, K.
    temperature_k: f64,
    /// rho_c, mol/m3.
    density_mol_m3: f64,
    /// R of the equation, J/(mol K).
    gas_constant_j_mol_k: f64,
    powers: &'static [Power],
    bells: &'static [Bell],
}

const fn power(n: f64, d: i32, t: f64, l: i32) -> Power {
    Power { n, d, t, l }
}

const fn bell([n, t]: [f64; 2], d: i32, [eta, epsilon]: [f64; 2], [beta, gamma]: [f64; 2]) -> Bell {
    Bell {
        n,
        d,
        t,
        eta,
        epsilon,
        beta,
        gamma,
    }
}

#[rustfmt::skip]
const HELIUM: Equation = Equation {
    temperature_k: 5.195_3,
    density_mol_m3: 17_383.7,
    gas_constant_j_mol_k: 8.314_459_8,
    powers: &[
        power(0.015_559_018, 4, 1.0, 0),
        power(3.063_893_2, 1, 0.425, 0),
        power(-4.242_084_4, 1, 0.63, 0),
        power(0.054_418_088, 2, 0.69, 0),
        power(-0.189_719_04, 2, 1.83, 0),
        power(0.087_856_262, 3, 0.575, 0),
        power(2.283_356_6, 1, 0.925, 1),
        power(-0.533_315_95, 1, 1.585, 2),
        power(-0.532_965_02, 3, 1.69, 2),
        power(0.994_449_15, 2, 1.51, 1),
        power(-0.300_788_96, 2, 2.9, 2),
        power(-1.643_256_3, 1, 0.8, 1),
    ],
    bells: &[
        bell([0.802_910_2, 1.26], 2, [1.549_7, 0.596], [0.247_1, 3.15]),
        bell([0.026_838_669, 3.51], 1, [9.245, 0.342_3], [0.098_3, 2.545_05]),
        bell([0.046_876_78, 2.785], 2, [4.763_23, 0.761], [0.155_6, 1.251_3]),
        bell([-0.148_327_66, 1.0], 1, [6.382_6, 0.974_7], [2.678_2, 1.941_6]),
        bell([0.030_162_11, 4.22], 1, [8.702_3, 0.586_8], [2.707_7, 0.598_4]),
        bell([-0.019_986_041, 0.83], 3, [0.255, 0.562_7], [0.662_1, 2.228_2]),
        bell([0.142_835_14, 1.575], 2, [0.352_3, 2.534_6], [0.177_5, 1.606]),
        bell([0.007_418_269, 3.447], 2, [0.149_2, 3.676_3], [0.482_1, 3.815]),
        bell([-0.229_897_93, 0.73], 3, [0.05, 4.524_5], [0.306_9, 1.619_58]),
        bell([0.792_248_29, 1.634], 2, [0.166_8, 5.039], [0.175_8, 0.640_7]),
        bell([-0.049_386_338, 6.13], 2, [42.235_8, 0.959], [1_357.657_7, 1.076]),
    ],
};

#[rustfmt::skip]
const HYDROGEN: Equation = Equation {
    temperature_k: 33.145,
    density_mol_m3: 15_508.0,
    gas_constant_j_mol_k: 8.314_472,
    powers: &[
        power(-6.936_43, 1, 0.684_4, 0),
        power(0.01, 4, 1.0, 0),
        power(2.110_1, 1, 0.989, 0),
        power(4.520_59, 1, 0.489, 0),
        power(0.732_564, 2, 0.803, 0),
        power(-1.340_86, 2, 1.144_4, 0),
        power(0.130_985, 3, 1.409, 0),
        power(-0.777_414, 1, 1.754, 1),
        power(0.351_944, 3, 1.311, 1),
    ],
    bells: &[
        bell([-0.021_171_6, 4.187], 2, [1.685, 1.506], [0.171, 0.716_4]),
        bell([0.022_631_2, 5.646], 1, [0.489, 0.156], [0.224_5, 1.344_4]),
        bell([0.032_187, 0.791], 3, [0.103, 1.736], [0.130_4, 1.451_7]),
        bell([-0.023_175_2, 7.249], 1, [2.506, 0.67], [0.278_5, 0.720_4]),
        bell([0.055_734_6, 2.986], 1, [1.607, 1.662], [0.396_7, 1.544_5]),
    ],
};

/// Above the density of either gas at 500 bar and 200 K.
const DENSEST_MOL_M3: f64 = 30_000.0;

impl Equation {
    fn of(gas: Gas) -> &'static Equation {
        match gas {
            Gas::Helium => &HELIUM,
            Gas::Hydrogen => &HYDROGEN,
        }
    }

    /// Z at a density in mol/m3 and a temperature in K.
    fn compressibility(&self, density: f64, temperature_k: f64) -> f64 {
        let delta = density / self.density_mol_m3;
        let tau = self.temperature_k / temperature_k;
        let powers = self.powers.iter().map(|p| {
            let term = p.n * delta.powi(p.d) * tau.powf(p.t);
            match p.l {
                0 => term * f64::from(p.d),
                l => {
                    // The derivative of the exponential brings in its power of delta.
                    let x = delta.powi(l);
                    term * (-x).exp() * (f64::from(p.d) - f64::from(l) * x)
                }
            }
        });
        let bells = self.bells.iter().map(|b| {
            let (off, away) = (delta - b.epsilon, tau - b.gamma);
            let term = b.n * delta.powi(b.d) * tau.powf(b.t);
            let bell = (-b.eta * off * off - b.beta * away * away).exp();
            term * bell * (f64::from(b.d) - 2.0 * b.eta * delta * off)
        });
        1.0 + powers.chain(bells).sum::<f64>()
    }

    fn pressure_pa(&self, density: f64, temperature_k: f64) -> f64 {
        let z = self.compressibility(density, temperature_k);
        z * density * self.gas_constant_j_mol_k * temperature_k
    }
}

/// Density in mol/m3 at a pressure in Pa (absolute) and a temperature in K; `None` above
/// 500 bar or outside 200 to 400 K, where no cylinder is.
///
/// By bisection: far above the critical temperature (5 and 33 K) the pressure grows with density.
///
/// # Examples
///
/// ```
/// use windfall::vehicle::{balloon::Gas, real_gas::density_mol_m3};
/// // CoolProp 8.0.0, helium at 200 bar on the gauge and 15 C.
/// let density = density_mol_m3(Gas::Helium, 20_101_325.0, 288.15).unwrap();
/// assert!((density / 7645.122717 - 1.0).abs() < 1e-8);
/// ```
pub fn density_mol_m3(gas: Gas, pressure_pa: f64, temperature_k: f64) -> Option<f64> {
    if !(0.0..=5e7).contains(&pressure_pa) || !(200.0..=400.0).contains(&temperature_k) {
        return None;
    }
    let equation = Equation::of(gas);
    Some(last_true(0.0, DENSEST_MOL_M3, |density| {
        equation.pressure_pa(density, temperature_k) < pressure_pa
    }))
}

/// Pressure in Pa (absolute) at a density in mol/m3 and a temperature in K.
pub fn pressure_pa(gas: Gas, density_mol_m3: f64, temperature_k: f64) -> f64 {
    Equation::of(gas).pressure_pa(density_mol_m3, temperature_k)
}

/// Compressibility Z = p / (rho R T) at a pressure in Pa (absolute) and a temperature in K; 1 for
/// an ideal gas. `None` as for [`density_mol_m3`].
pub fn compressibility(gas: Gas, pressure_pa: f64, temperature_k: f64) -> Option<f64> {
    let density = density_mol_m3(gas, pressure_pa, temperature_k)?;
    Some(Equation::of(gas).compressibility(density, temperature_k))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thin_gas_is_ideal() {
        for gas in [Gas::Helium, Gas::Hydrogen] {
            let z = compressibility(gas, 100.0, 288.15).unwrap();
            assert!((z - 1.0).abs() < 1e-6, "{z}");
        }
    }

    #[test]
    fn pressure_and_density_are_inverse_and_what_no_cylinder_has_is_refused() {
        for gas in [Gas::Helium, Gas::Hydrogen] {
            for pressure in [1e5, 1e7, 3e7, 4.9e7] {
                for kelvin in [230.0, 288.15, 330.0] {
                    let density = density_mol_m3(gas, pressure, kelvin).unwrap();
                    let again = pressure_pa(gas, density, kelvin);
                    assert!((again / pressure - 1.0).abs() < 1e-9, "{gas:?} {pressure}");
                }
            }
            for (pressure, kelvin) in [(2e8, 288.0), (-1.0, 288.0), (f64::NAN, 288.0), (1e5, 50.0)]
            {
                assert!(density_mol_m3(gas, pressure, kelvin).is_none());
            }
        }
    }
}
