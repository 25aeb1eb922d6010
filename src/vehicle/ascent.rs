//! How fast a latex balloon rises: drag that depends on the Reynolds number, gas that lags behind
//! the temperature of the air.
//!
//! Measured balloons do not speed up with height as constant drag and gas at air temperature
//! would have them (by 1.45 at 18 km, 2.0 at 30 km): the drag coefficient nearly triples while the
//! Reynolds number falls tenfold. [`DragCurve::FITTED`] was fitted to seven campaigns of measured
//! flights and to rates at a known lift; `tests/ascent_fit.rs` makes the fit, leaves one campaign
//! out at a time, and puts one constant rate beside every figure; DEVELOPERS.md tells it.
//!
//! Neglected: overpressure and heat capacity of the film, radiation, drag of load and lines,
//! vertical air motion.

use std::f64::consts::PI;

use super::balloon::{Gas, GasFill, LiftingGas, sphere_diameter_m};
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
    /// The curve fitted to seven campaigns of measured flights (30 flights, free lift matched to
    /// the time of each, campaigns weighing alike), which give its shape, and to rates at a known
    /// lift from five sources, which give its level. The steepness is held: these flights leave it
    /// open, and 58 others, since 2012, ask for 2.4 to 3. Standard errors from campaigns left out are in
    /// DEVELOPERS.md. Flights reached from Re = 3e4 to 8e5; the sources of known lift go to 8e5.
    pub const FITTED: DragCurve = DragCurve {
        low: 0.227,
        high: 0.779,
        ln_re0: 12.328, // Re0 = 2.26e5
        steepness: 2.7,
    };

    /// How far ln Re0 departs from the fitted one from flight to flight, one standard deviation
    /// (flights refitted one by one).
    pub const LN_RE0_SIGMA: f64 = 0.22;

    /// How far the drag departs from the curve at a known neck lift, one standard deviation as a
    /// share: sources of rates at a known lift disagree by 11 % of the rate. The rate goes with the
    /// root of it.
    pub const DRAG_SIGMA: f64 = 0.18;

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

    /// The solution x = ln Re of 2 x + ln Cd(x) = `ln_drive`, and Cd there, by Newton's method from
    /// a guess; the slope of the curve keeps the equation monotonic.
    fn solve_ln_re(&self, ln_drive: f64, guess: f64) -> (f64, f64) {
        let mut x = guess;
        let mut cd = self.high;
        for _ in 0..30 {
            let slope;
            (cd, slope) = self.at_ln(x);
            let step = ((2.0 * x + cd.ln() - ln_drive) / (2.0 + slope).max(0.4)).clamp(-0.5, 0.5);
            x -= step;
            // What is left is of the order of the square.
            if step.abs() < 1e-6 {
                break;
            }
        }
        (x, cd)
    }

    /// Cd at a Reynolds number.
    pub fn at(&self, reynolds: f64) -> f64 {
        self.at_ln(reynolds.ln()).0
    }
}

/// What the curve leaves of the rate of ascent when the lift is known to match the whole ascent:
/// one standard deviation of the logarithm of the rate, at every height. Nine bands of 2.5 km in
/// ten of campaigns that were left out of the fit lie within what it says.
pub const RATE_ERROR: f64 = 0.13;

/// How far up that error goes on: it is correlated as exp(-|dz| / this), m.
pub const RATE_ERROR_CORRELATION_M: f64 = 5_000.0;

/// What a single stated rate leaves of ln rate from height to height, one standard deviation.
pub const STATED_RATE_ERROR: f64 = 0.10;

/// The Reynolds number at which drag and lift balance, tabulated for many flights.
///
/// With Re = w D / nu and A = pi D^2 / 4 the balance F g = Cd(Re) rho A w^2 / 2 reads
/// Cd(Re) Re^2 = 8 F g / (pi rho nu^2): the diameter drops out. Divided by Re0^2 both sides depend
/// on Re / Re0 only, so that one table serves every Re0.
#[derive(Debug, Clone)]
pub struct DragBalance {
    curve: DragCurve,
    /// The cell of the first entry.
    first: u64,
    /// Re / Re0 at the lower end of each cell.
    ratios: Vec<f64>,
}

/// A number's cell is its exponent and this many bits of its mantissa: 128 cells to an octave,
/// found without a logarithm; linear interpolation in them leaves 1e-5 of Re.
const CELL_BITS: u32 = 7;
/// Bits of a number below those that name its cell.
const INNER_BITS: u32 = f64::MANTISSA_DIGITS - 1 - CELL_BITS;
/// Beyond this distance of ln Re from ln Re0 a balance is solved for itself: few balloons get there.
const BALANCE_REACH: f64 = 2.5;

impl DragBalance {
    /// The table of a drag curve, whatever its Re0.
    pub fn new(curve: DragCurve) -> DragBalance {
        let curve = DragCurve {
            ln_re0: 0.0,
            ..curve
        };
        let cell = |x: f64| ((2.0 * x).exp() * curve.at_ln(x).0).to_bits() >> INNER_BITS;
        let (first, last) = (cell(-BALANCE_REACH), cell(BALANCE_REACH) + 1);
        let mut x = -BALANCE_REACH;
        let ratios = (first..=last)
            .map(|cell| {
                let drive = f64::from_bits(cell << INNER_BITS);
                (x, _) = curve.solve_ln_re(drive.ln(), x);
                x.exp()
            })
            .collect();
        DragBalance {
            curve,
            first,
            ratios,
        }
    }

    /// Re / Re0 at Cd Re^2 / Re0^2, which must be above zero.
    pub fn reynolds_ratio(&self, drive: f64) -> f64 {
        let bits = drive.to_bits();
        let cell = (bits >> INNER_BITS).wrapping_sub(self.first) as usize;
        match (self.ratios.get(cell), self.ratios.get(cell.wrapping_add(1))) {
            (Some(a), Some(b)) => {
                let inner = bits & ((1 << INNER_BITS) - 1);
                let share = inner as f64 / (1u64 << INNER_BITS) as f64;
                a + share * (b - a)
            }
            _ => {
                let ln_drive = drive.ln();
                self.curve.solve_ln_re(ln_drive, 0.5 * ln_drive).0.exp()
            }
        }
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
    pub fill: GasFill,
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
    /// Free lift at the gas temperature, kg.
    pub free_lift_kg: f64,
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
    /// State in the middle of each layer.
    pub middles: Vec<ClimbState>,
}

/// Below this rate a stack is taken to float, m/s.
pub const FLOATING_M_S: f64 = 0.05;

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
        self.climb_through(&ClimbAir::new(air, from_m, thickness_m, count))
    }

    /// Climbs through layers whose air has been looked up.
    pub fn climb_through(&self, layers: &ClimbAir) -> Climb {
        let (thickness_m, count) = (layers.thickness_m, layers.halves.len() / 2);
        let mut seconds = Vec::with_capacity(count);
        let mut states = Vec::with_capacity(count + 1);
        let mut middles = Vec::with_capacity(count);
        let below = layers.halves[0];
        let mut here = Point::new(self, below, below.air.temperature_k, 5.0);
        states.push(here.state);
        for k in 0..count {
            let (air_mid, air_top) = (layers.halves[2 * k + 1], layers.halves[2 * k + 2]);
            let half = here.gas_after(self, 0.5 * thickness_m, here, air_mid.air);
            let middle = Point::new(self, air_mid, half, here.state.rate_m_s);
            let full = here.gas_after(self, thickness_m, middle, air_top.air);
            let top = Point::new(self, air_top, full, middle.state.rate_m_s);
            let rates = [here, middle, top].map(|p| p.state.rate_m_s);
            seconds.push(if rates.iter().all(|&w| w > FLOATING_M_S) {
                thickness_m / 6.0 * (1.0 / rates[0] + 4.0 / rates[1] + 1.0 / rates[2])
            } else {
                f64::INFINITY
            });
            states.push(top.state);
            middles.push(middle.state);
            here = top;
        }
        Climb {
            seconds,
            states,
            middles,
        }
    }

    /// Rate of ascent at release, m/s, with the gas at the temperature of the air.
    pub fn rate_at(&self, air: &AirProfile, altitude_m: f64) -> f64 {
        let here = air.at(altitude_m);
        let here = AirPoint::new(here, altitude_m);
        let point = Point::new(self, here, here.air.temperature_k, 5.0);
        point.state.rate_m_s
    }

    /// Free lift in kg of a volume in an air.
    fn free_lift_kg(&self, volume_m3: f64, air: &Air) -> f64 {
        air.density_kg_m3 * volume_m3 - self.fill.mass_kg() - self.dead_mass_kg
    }
}

/// The air at the boundaries and in the middle of equal layers: what climbs share.
#[derive(Debug, Clone)]
pub struct ClimbAir {
    thickness_m: f64,
    /// Lowest boundary, middle, boundary, ...
    halves: Vec<AirPoint>,
}

impl ClimbAir {
    /// The air in `count` layers of `thickness_m` from `from_m` up.
    pub fn new(air: &AirProfile, from_m: f64, thickness_m: f64, count: usize) -> ClimbAir {
        let halves = (0..=2 * count)
            .map(|i| {
                let z = from_m + 0.5 * thickness_m * i as f64;
                AirPoint::new(air.at(z), z)
            })
            .collect();
        ClimbAir {
            thickness_m,
            halves,
        }
    }
}

/// The air at one altitude, with what a climb needs of it.
#[derive(Debug, Clone, Copy)]
struct AirPoint {
    air: Air,
    gravity_m_s2: f64,
    viscosity_pa_s: f64,
}

impl AirPoint {
    fn new(air: Air, altitude_m: f64) -> AirPoint {
        AirPoint {
            air,
            gravity_m_s2: gravity_m_s2(altitude_m),
            viscosity_pa_s: air.viscosity_pa_s(),
        }
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
    fn new(climber: &Climber, at: AirPoint, gas_temperature_k: f64, guess_m_s: f64) -> Point {
        let air = at.air;
        let volume = climber.fill.volume_m3(gas_temperature_k, air.pressure_pa);
        let d = sphere_diameter_m(volume);
        let free_lift_kg = climber.free_lift_kg(volume, &air);
        let nu = at.viscosity_pa_s / air.density_kg_m3;
        let (ln_re, drag_coefficient) = if free_lift_kg > 0.0 {
            // Cd Re^2 = 8 F g / (pi rho nu^2).
            let drive = 8.0 * free_lift_kg * at.gravity_m_s2
                / (PI * air.density_kg_m3 * nu * nu * climber.drag_factor);
            let guess = guess_m_s.max(FLOATING_M_S) * d / nu;
            climber.drag.solve_ln_re(drive.ln(), guess.ln())
        } else {
            (f64::NEG_INFINITY, climber.drag.high)
        };
        let reynolds = ln_re.exp();
        let state = ClimbState {
            rate_m_s: reynolds * nu / d,
            gas_temperature_k,
            diameter_m: d,
            free_lift_kg,
            drag_coefficient: climber.drag_factor * drag_coefficient,
            reynolds,
        };
        let relaxation_m = match climber.heat {
            GasHeat::AirTemperature => 0.0,
            GasHeat::Convective => relaxation_m(climber, &at, &state, ln_re),
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
fn relaxation_m(climber: &Climber, at: &AirPoint, state: &ClimbState, ln_re: f64) -> f64 {
    let gas = climber.fill.gas;
    let (d, tg) = (state.diameter_m, state.gas_temperature_k);
    // Conductivity of air from its viscosity with cp = 1004.7 J/(kg K), Pr = 0.71 (from memory).
    let air_conductivity = at.viscosity_pa_s * 1004.7 / 0.71;
    let outside = 0.37 * (0.6 * ln_re).exp() * air_conductivity / d;
    if outside <= 0.0 {
        // It floats: given time, the gas takes on the temperature of the air.
        return 0.0;
    }
    let inside_at_1_k = inside_at_1_k(gas, tg, at);
    let theta = (tg - at.air.temperature_k).abs().max(0.05);
    let inside = inside_at_1_k * cbrt_of_inner_difference(theta, outside, inside_at_1_k);
    let u = outside * inside / (outside + inside);
    let heat_capacity_j_k = climber.fill.amount_mol * gas.heat_capacity_j_mol_k();
    state.rate_m_s * heat_capacity_j_k / (u * PI * d * d)
}

/// Heat transfer from the gas to a film 1 K away, W/(m2 K): Nu = 0.13 Ra^(1/3), that is
/// h = 0.13 (k^2 g rho^2 cp / (T mu))^(1/3); it grows with the cube root of the difference.
fn inside_at_1_k(gas: LiftingGas, tg: f64, at: &AirPoint) -> f64 {
    let cp_per_kg = gas.heat_capacity_j_mol_k() / gas.molar_mass_kg_mol();
    let density = at.air.pressure_pa * gas.molar_mass_kg_mol() / (GAS_CONSTANT_J_MOL_K * tg);
    let transport = conductivity_squared_over_viscosity(gas, tg);
    // As a third of the logarithm: f64::cbrt is right to the last bit and three times as slow.
    0.13 * ((transport * at.gravity_m_s2 * density * density * cp_per_kg / tg).ln() / 3.0).exp()
}

/// The cube root y of the part of the difference `theta` (K) that stands inside the film: the film
/// passes on what it gets, y^3 (h1 y) = (theta - y^3) h_e. Newton's method from above, where the
/// polynomial h1 y^4 + h_e y^3 - theta h_e is convex.
fn cbrt_of_inner_difference(theta: f64, outside: f64, inside_at_1_k: f64) -> f64 {
    let mut y = theta.cbrt();
    for _ in 0..5 {
        let (square, cube) = (y * y, y * y * y);
        let value = cube * (inside_at_1_k * y + outside) - theta * outside;
        let slope = square * (4.0 * inside_at_1_k * y + 3.0 * outside);
        y -= value / slope;
    }
    y
}

/// k^2 / mu of the lifting gas, conductivity k in W/(m K) and viscosity mu in Pa s: power laws
/// about 273.15 K from memory (helium 0.1430, exponent 0.70, and 1.87e-5, 0.67; hydrogen 0.1680,
/// 0.75, and 8.40e-6, 0.69). The impurity is neglected: at 5 % air the heat exchange changes by a
/// few percent, the gas temperature by tenths of a kelvin.
fn conductivity_squared_over_viscosity(gas: LiftingGas, temperature_k: f64) -> f64 {
    let x = temperature_k / 273.15;
    match gas.gas {
        Gas::Helium => 0.1430 * 0.1430 / 1.87e-5 * x.powf(2.0 * 0.70 - 0.67),
        Gas::Hydrogen => 0.1680 * 0.1680 / 8.40e-6 * x.powf(2.0 * 0.75 - 0.69),
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
            fill: GasFill::of_gross_lift(gas, 8.0, &air.at(0.0)),
            drag: DragCurve::FITTED,
            drag_factor: 1.0,
            heat: GasHeat::Convective,
        };
        (climber, air)
    }

    #[test]
    fn agrees_with_an_independent_implementation() {
        // A separate program in another language, 10 m steps, with a curve tried during the fit:
        // altitude m, rate m/s, gas minus air K, diameter m, time s.
        let reference = [
            (0, 5.920_26, 0.0, 2.436_96, 0.0),
            (5_000, 6.237_93, -5.097, 2.868_15, 830.90),
            (10_000, 6.772_16, -5.400, 3.471_52, 1600.70),
            (15_000, 7.028_98, -9.515, 4.431_62, 2324.47),
            (20_000, 6.048_65, -8.891, 5.761_16, 3077.11),
            (25_000, 6.053_00, -9.384, 7.509_96, 3921.54),
            (30_000, 6.733_18, -10.137, 9.725_51, 4706.84),
        ];
        let (mut climber, air) = climber();
        climber.drag = DragCurve {
            low: 0.265,
            high: 0.728,
            ln_re0: 12.380,
            steepness: 4.08,
        };
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
