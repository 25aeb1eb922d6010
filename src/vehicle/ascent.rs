//! How fast a latex balloon rises: drag that depends on the Reynolds number, gas that lags behind
//! the temperature of the air.
//!
//! Measured balloons do not speed up with height as constant drag and gas at air temperature
//! would have them (by 1.45 at 18 km, 2.0 at 30 km): the drag coefficient triples while the
//! Reynolds number falls tenfold. [`DragCurve::FITTED`] was fitted to ten measured flights and
//! checked on eight others; DEVELOPERS.md has the residuals, `tests/ascent_fit.rs` recomputes them.
//!
//! Neglected: overpressure and heat capacity of the film, radiation, drag of load and lines,
//! vertical air motion.

use std::f64::consts::PI;

use super::balloon::{Fill, Gas, LiftingGas, sphere_diameter_m};
use crate::atmosphere::{Air, AirProfile, GAS_CONSTANT_J_MOL_K, gravity_m_s2};

/// Drag coefficient of the balloon by Reynolds number, both on its diameter:
/// Cd = low + (high - low) / (1 + (Re / Re0)^n).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DragCurve {
    /// Cd far above the transition: at release.
    pub low: f64,
    /// Cd far below the transition: aloft.
    pub high: f64,
    /// Natural logarithm of the Reynolds number in the middle of the transition.
    pub ln_re0: f64,
    /// Steepness of the transition.
    pub steepness: f64,
}

impl DragCurve {
    /// The curve fitted to measured flights. `low` is held by the manufacturer's table of
    /// release rates (implied Cd 0.265 to 0.309), the others by the flights; standard errors
    /// 0.06 (`high`), 2.4 % (Re0), 0.8 (`steepness`). No data above Re = 6.8e5.
    pub const FITTED: DragCurve = DragCurve {
        low: 0.300,
        high: 0.887,
        ln_re0: 12.078_239, // Re0 = 1.76e5
        steepness: 5.26,
    };

    /// How far ln Re0 departs from the fitted one from flight to flight, one standard deviation
    /// (16 flights refitted one by one).
    pub const LN_RE0_SIGMA: f64 = 0.22;

    /// Constant drag.
    pub fn constant(drag_coefficient: f64) -> DragCurve {
        DragCurve {
            low: drag_coefficient,
            high: drag_coefficient,
            ..DragCurve::FITTED
        }
    }

    /// Cd and its slope d ln Cd / d ln Re at a logarithm of the Reynolds number.
    fn at_ln(&self, ln_re: f64) -> (f64, f64) {
        let q = (self.steepness * (ln_re - self.ln_re0)).exp();
        let rise = (self.high - self.low) / (1.0 + q);
        let cd = self.low + rise;
        (cd, -rise * self.steepness * q / ((1.0 + q) * cd))
    }

    /// Cd at a Reynolds number.
    pub fn at(&self, reynolds: f64) -> f64 {
        self.at_ln(reynolds.ln()).0
    }
}

/// How the gas follows the temperature of the air.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum GasHeat {
    /// It cools by expansion and gets its heat back by convection: what happens.
    Convective,
    /// It has the temperature of the air: what textbook tables assume.
    AirTemperature,
}

/// A balloon stack on its way up.
#[derive(Debug, Clone, Copy)]
pub struct Climber {
    /// Everything that hangs on the lift but the gas: balloon and load, kg.
    pub dead_mass_kg: f64,
    /// The gas.
    pub fill: Fill,
    /// The drag curve.
    pub drag: DragCurve,
    /// Multiplies the drag curve; 1 for the curve as it is.
    pub drag_factor: f64,
    /// How the gas gets its temperature.
    pub heat: GasHeat,
}

/// The state of a climb at one altitude.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClimbState {
    /// Rate of ascent, m/s.
    pub rate_m_s: f64,
    /// Gas temperature, K.
    pub gas_temperature_k: f64,
    /// Diameter, m.
    pub diameter_m: f64,
    /// Drag coefficient.
    pub drag_coefficient: f64,
    /// Reynolds number on the diameter.
    pub reynolds: f64,
}

/// A climb through equal layers.
#[derive(Debug, Clone, PartialEq)]
pub struct Climb {
    /// Seconds spent in each layer; infinite from where the lift no longer carries the stack.
    pub seconds: Vec<f64>,
    /// State at each boundary, one more than layers.
    pub states: Vec<ClimbState>,
}

/// Below this rate a stack is taken to float, m/s.
const FLOATING_M_S: f64 = 0.05;

impl Climber {
    /// Climbs from `from_m` through `count` layers of `thickness_m`.
    ///
    /// At every height the drag balances the free lift,
    /// (rho V - m_gas - m_dead) g = Cd(Re) rho A w^2 / 2, and the gas follows
    /// dTg/dz = kappa Tg d(ln p)/dz + (Ta - Tg) / l,  l = w m_gas cp / (U pi D^2),
    /// kappa = R / cp. U holds forced convection outside, Nu = 0.37 Re^0.6, and free convection
    /// inside, Nu = 0.13 Ra^(1/3), in series (handbook forms, from memory). The gas starts at the
    /// temperature of the air. One midpoint step a layer, the relaxation exact; time by Simpson.
    pub fn climb(&self, air: &AirProfile, from_m: f64, thickness_m: f64, count: usize) -> Climb {
        let mut seconds = Vec::with_capacity(count);
        let mut states = Vec::with_capacity(count + 1);
        let below = air.at(from_m);
        let mut here = Point::new(self, from_m, below, below.temperature_k, 5.0);
        states.push(here.state);
        for k in 0..count {
            let z = from_m + thickness_m * k as f64;
            let (z_mid, z_top) = (z + 0.5 * thickness_m, z + thickness_m);
            let (air_mid, air_top) = (air.at(z_mid), air.at(z_top));
            let half = here.gas_after(self, 0.5 * thickness_m, here, air_mid);
            let middle = Point::new(self, z_mid, air_mid, half, here.state.rate_m_s);
            let full = here.gas_after(self, thickness_m, middle, air_top);
            let top = Point::new(self, z_top, air_top, full, middle.state.rate_m_s);
            let rates = [here, middle, top].map(|p| p.state.rate_m_s);
            seconds.push(if rates.iter().all(|&w| w > FLOATING_M_S) {
                thickness_m / 6.0 * (1.0 / rates[0] + 4.0 / rates[1] + 1.0 / rates[2])
            } else {
                f64::INFINITY
            });
            states.push(top.state);
            here = top;
        }
        Climb { seconds, states }
    }

    /// Rate of ascent at release, m/s, with the gas at the temperature of the air.
    pub fn rate_at(&self, air: &AirProfile, altitude_m: f64) -> f64 {
        let here = air.at(altitude_m);
        let point = Point::new(self, altitude_m, here, here.temperature_k, 5.0);
        point.state.rate_m_s
    }

    /// Free lift in kg at a gas temperature and in an air.
    fn free_lift_kg(&self, volume_m3: f64, air: &Air) -> f64 {
        air.density_kg_m3 * volume_m3 - self.fill.mass_kg() - self.dead_mass_kg
    }

    /// ln w of the balance of lift and drag, by Newton's method from a nearby rate; the slope of
    /// the drag curve keeps the equation monotonic.
    fn solve_ln_rate(&self, ln_target: f64, ln_re_of_1: f64, guess_m_s: f64) -> f64 {
        let mut x = guess_m_s.max(FLOATING_M_S).ln();
        for _ in 0..30 {
            let (cd, slope) = self.drag.at_ln(ln_re_of_1 + x);
            let step = ((2.0 * x + cd.ln() - ln_target) / (2.0 + slope).max(0.4)).clamp(-0.5, 0.5);
            x -= step;
            if step.abs() < 1e-10 {
                break;
            }
        }
        x
    }
}

/// Everything known at one altitude of a climb.
#[derive(Clone, Copy)]
struct Point {
    air: Air,
    state: ClimbState,
    /// Altitude over which the gas would take on the air's temperature, m.
    relaxation_m: f64,
}

impl Point {
    fn new(climber: &Climber, z: f64, air: Air, gas_temperature_k: f64, guess_m_s: f64) -> Point {
        let volume = climber.fill.volume_m3(gas_temperature_k, air.pressure_pa);
        let d = sphere_diameter_m(volume);
        let gravity = gravity_m_s2(z);
        let free_n = climber.free_lift_kg(volume, &air) * gravity;
        let nu = air.viscosity_pa_s() / air.density_kg_m3;
        let area = PI / 4.0 * d * d;
        let rate_m_s = if free_n > 0.0 {
            let target = 2.0 * free_n / (air.density_kg_m3 * area * climber.drag_factor);
            climber
                .solve_ln_rate(target.ln(), (d / nu).ln(), guess_m_s)
                .exp()
        } else {
            0.0
        };
        let reynolds = rate_m_s * d / nu;
        let state = ClimbState {
            rate_m_s,
            gas_temperature_k,
            diameter_m: d,
            drag_coefficient: climber.drag_factor * climber.drag.at(reynolds),
            reynolds,
        };
        let relaxation_m = match climber.heat {
            GasHeat::AirTemperature => 0.0,
            GasHeat::Convective => relaxation_m(climber, &air, &state, gravity),
        };
        Point {
            air,
            state,
            relaxation_m,
        }
    }

    /// Gas temperature after `dz`, with the coefficients of `during`:
    /// theta = Tg - Ta relaxes to S l, S = kappa Tg d(ln p)/dz - dTa/dz.
    fn gas_after(&self, climber: &Climber, dz: f64, during: Point, above: Air) -> f64 {
        let l = during.relaxation_m;
        if l <= 0.0 {
            return above.temperature_k;
        }
        let kappa = GAS_CONSTANT_J_MOL_K / climber.fill.gas.heat_capacity_j_mol_k();
        let forcing = kappa
            * during.state.gas_temperature_k
            * (above.pressure_pa / self.air.pressure_pa).ln()
            - (above.temperature_k - self.air.temperature_k);
        let balance = forcing / dz * l;
        let theta = self.state.gas_temperature_k - self.air.temperature_k;
        above.temperature_k + balance + (theta - balance) * (-dz / l).exp()
    }
}

/// l = w m cp / (U pi D^2), m.
fn relaxation_m(climber: &Climber, air: &Air, state: &ClimbState, gravity: f64) -> f64 {
    let gas = climber.fill.gas;
    let (d, tg) = (state.diameter_m, state.gas_temperature_k);
    let outside = 0.37 * state.reynolds.powf(0.6) * air_conductivity_w_m_k(air) / d;
    if outside <= 0.0 {
        return f64::INFINITY;
    }
    let (conductivity, viscosity) = gas_transport(gas, tg);
    let heat_capacity_j_k = climber.fill.amount_mol * gas.heat_capacity_j_mol_k();
    let cp_per_kg = gas.heat_capacity_j_mol_k() / gas.molar_mass_kg_mol();
    let density = air.pressure_pa * gas.molar_mass_kg_mol() / (GAS_CONSTANT_J_MOL_K * tg);
    let (nu, alpha) = (viscosity / density, conductivity / (density * cp_per_kg));
    let per_cbrt = 0.13 * conductivity * (gravity / (tg * nu * alpha)).cbrt();
    // The part of the difference that stands inside the film: dT h_i = (theta - dT) h_e.
    let theta = (tg - air.temperature_k).abs().max(0.05);
    let mut inside_k = 0.5 * theta;
    for _ in 0..8 {
        let inside = per_cbrt * inside_k.max(1e-3).cbrt();
        inside_k = 0.5 * inside_k + 0.5 * theta * outside / (outside + inside);
    }
    let inside = per_cbrt * inside_k.max(1e-3).cbrt();
    let u = outside * inside / (outside + inside);
    state.rate_m_s * heat_capacity_j_k / (u * PI * d * d)
}

/// Conductivity of air from its viscosity with cp = 1004.7 J/(kg K), Pr = 0.71 (from memory).
fn air_conductivity_w_m_k(air: &Air) -> f64 {
    air.viscosity_pa_s() * 1004.7 / 0.71
}

/// Conductivity (W/(m K)) and viscosity (Pa s) of the lifting gas; power laws about 273.15 K from
/// memory. The impurity is neglected: at 5 % air the heat exchange changes by a few percent, the
/// gas temperature by tenths of a kelvin.
fn gas_transport(gas: LiftingGas, temperature_k: f64) -> (f64, f64) {
    let x = temperature_k / 273.15;
    match gas.gas {
        Gas::Helium => (0.1430 * x.powf(0.70), 1.87e-5 * x.powf(0.67)),
        Gas::Hydrogen => (0.1680 * x.powf(0.75), 8.40e-6 * x.powf(0.69)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::vehicle::balloon::sphere_volume_m3;

    /// 1,200 g balloon, 4.08 kg of load, 6.8 kg of neck lift in pure helium.
    fn climber() -> (Climber, AirProfile) {
        let air = AirProfile::standard();
        let gas = LiftingGas {
            gas: Gas::Helium,
            purity: 1.0,
        };
        let climber = Climber {
            dead_mass_kg: 1.2 + 4.08,
            fill: Fill::of_gross_lift(gas, 8.0, &air.at(0.0)),
            drag: DragCurve::FITTED,
            drag_factor: 1.0,
            heat: GasHeat::Convective,
        };
        (climber, air)
    }

    #[test]
    fn agrees_with_an_independent_implementation() {
        // A separate program in another language, 10 m steps, written for the fit:
        // altitude m, rate m/s, gas minus air K, diameter m, time s.
        let reference = [
            (0, 5.577_91, 0.0, 2.436_96, 0.0),
            (5_000, 5.900_88, -4.916, 2.868_84, 879.98),
            (10_000, 6.446_26, -5.229, 3.472_43, 1691.62),
            (15_000, 7.016_17, -9.447, 4.432_10, 2439.52),
            (20_000, 7.291_65, -9.931, 5.751_53, 3126.88),
            (25_000, 5.565_68, -8.941, 7.515_19, 3960.51),
            (30_000, 6.122_91, -9.556, 9.734_21, 4821.66),
        ];
        let (climber, air) = climber();
        let climb = climber.climb(&air, 0.0, 200.0, 160);
        for (z, rate, lag, diameter, time) in reference {
            let k = z / 200;
            let state = climb.states[k];
            let seconds: f64 = climb.seconds[..k].iter().sum();
            let gas_lag = state.gas_temperature_k - air.at(z as f64).temperature_k;
            assert!(
                (state.rate_m_s / rate - 1.0).abs() < 2e-3,
                "{z}: {}",
                state.rate_m_s
            );
            assert!((gas_lag - lag).abs() < 0.15, "{z}: {gas_lag}");
            assert!((state.diameter_m / diameter - 1.0).abs() < 5e-4, "{z}");
            assert!((seconds - time).abs() < 1.5, "{z}: {seconds}");
        }
    }

    #[test]
    fn the_step_does_not_matter() {
        let (climber, air) = climber();
        let total = |n: usize| -> f64 {
            let climb = climber.climb(&air, 0.0, 30_000.0 / n as f64, n);
            climb.seconds.iter().sum()
        };
        let (coarse, fine) = (total(150), total(15_000));
        assert!((coarse - fine).abs() < 0.3, "{coarse} {fine}");
    }

    #[test]
    fn constant_drag_at_air_temperature_follows_the_closed_form() {
        // v / v0 = (rho0 / rho)^(1/6) when gravity is constant.
        let (mut climber, air) = climber();
        climber.drag = DragCurve::constant(0.3);
        climber.heat = GasHeat::AirTemperature;
        let climb = climber.climb(&air, 0.0, 200.0, 150);
        let (start, end) = (climb.states[0], climb.states[150]);
        let density = air.at(0.0).density_kg_m3 / air.at(30_000.0).density_kg_m3;
        let g = (gravity_m_s2(30_000.0) / gravity_m_s2(0.0)).sqrt();
        assert!((end.rate_m_s / start.rate_m_s / g - density.powf(1.0 / 6.0)).abs() < 1e-3);
        assert!(
            (sphere_volume_m3(end.diameter_m) / sphere_volume_m3(start.diameter_m) - density).abs()
                < 0.1
        );
    }

    #[test]
    fn too_little_lift_is_an_infinite_climb() {
        let (mut climber, air) = climber();
        climber.dead_mass_kg = 8.1;
        let climb = climber.climb(&air, 0.0, 200.0, 10);
        assert!(climb.seconds[0].is_infinite());
        assert_eq!(climb.states[0].rate_m_s, 0.0);
    }
}
