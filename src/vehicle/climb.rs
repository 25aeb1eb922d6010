//! The climb of a stack through layers of air: lift and drag in balance, gas that lags behind the
//! temperature of the air.
//!
//! Every step waits for the one before, and a processor waits with it. So climbs of several stacks
//! through the same air are computed beside each other: eight cost little more than two alone.

use std::array::from_fn;
use std::f64::consts::PI;

use super::ascent::DragCurve;
use super::balloon::{Gas, GasFill, LiftingGas};
use crate::atmosphere::{AirProfile, GAS_CONSTANT_J_MOL_K, gravity_m_s2};
use crate::numeric::{each, exp, ln};

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
/// Where the search for the rate of ascent begins at release, m/s.
const FIRST_GUESS_M_S: f64 = 5.0;

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
        let mut climb = Climb {
            seconds: Vec::new(),
            states: Vec::new(),
            middles: Vec::new(),
        };
        climb_beside(&[*self], layers, |half, points| {
            let state = points.state(0);
            match half % 2 {
                0 => climb.states.push(state),
                _ => climb.middles.push(state),
            }
        });
        let below_and_above = climb.states.windows(2).zip(&climb.middles);
        // Only where the stack rises at all three: Simpson's rule takes no infinite slowness.
        let rates = below_and_above.map(|(s, middle)| [s[0], *middle, s[1]].map(|s| s.rate_m_s));
        let seconds = rates.map(|rates| match rates.iter().all(|&w| w > FLOATING_M_S) {
            true => layers.thickness_m / 6.0 * (1.0 / rates[0] + 4.0 / rates[1] + 1.0 / rates[2]),
            false => f64::INFINITY,
        });
        climb.seconds = seconds.collect();
        climb
    }

    /// Rate of ascent at release, m/s, with the gas at the temperature of the air.
    pub fn rate_at(&self, air: &AirProfile, altitude_m: f64) -> f64 {
        let here = AirPoint::new(air, altitude_m);
        let stack = Stacks::of(&[*self]);
        stack.points(&here, [here.temperature_k], None).rate_m_s[0]
    }
}

/// Climbs of several stacks through the same layers, each as if it were alone. `tell` is called with
/// every boundary of layers, numbered 0, 2, 4 ..., and every middle in between.
pub fn climb_beside<const N: usize>(
    climbers: &[Climber; N],
    layers: &ClimbAir,
    mut tell: impl FnMut(usize, &Points<N>),
) {
    let (dz, halves) = (layers.thickness_m, &layers.halves);
    let stacks = Stacks::of(climbers);
    let mut here = stacks.points(&halves[0], [halves[0].temperature_k; N], None);
    tell(0, &here);
    // Two half steps share their air: boundary, middle and boundary overlap from layer to layer.
    for (k, air) in halves.windows(3).enumerate().step_by(2) {
        let [below, in_middle, above] = [&air[0], &air[1], &air[2]];
        // First to the middle with the slopes at the boundary, then all the way with those of the
        // middle.
        let to_middle = (below, in_middle, below.ln_to_next);
        let half = stacks.gas_after(&here, 0.5 * dz, &here, to_middle);
        let middle = stacks.points(in_middle, half, Some(&here));
        tell(k + 1, &middle);
        let to_top = (below, above, below.ln_to_second);
        let full = stacks.gas_after(&here, dz, &middle, to_top);
        here = stacks.points(above, full, Some(&middle));
        tell(k + 2, &here);
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
        let at = |i: usize| AirPoint::new(air, from_m + 0.5 * thickness_m * i as f64);
        let mut halves: Vec<AirPoint> = (0..=2 * count).map(at).collect();
        for i in 0..halves.len() {
            let ln_to = |j: usize| {
                let above = halves.get(j).map(|above| above.pressure_pa);
                above.map_or(0.0, |pa| (pa / halves[i].pressure_pa).ln())
            };
            let (next, second) = (ln_to(i + 1), ln_to(i + 2));
            halves[i].ln_to_next = next;
            halves[i].ln_to_second = second;
        }
        ClimbAir {
            thickness_m,
            halves,
        }
    }

    /// The air at boundaries and middles in turn, from the lowest boundary up.
    pub fn halves(&self) -> &[AirPoint] {
        &self.halves
    }
}

/// The air at one altitude, with all that a climb needs of it.
#[derive(Debug, Clone, Copy)]
pub struct AirPoint {
    /// Temperature, K.
    pub temperature_k: f64,
    /// Pressure, Pa.
    pub pressure_pa: f64,
    /// Density, kg/m3.
    pub density_kg_m3: f64,
    /// Kinematic viscosity, m2/s.
    pub nu_m2_s: f64,
    /// 8 g / (pi rho nu^2): Cd Re^2 for each kg of free lift.
    pub drive_per_kg: f64,
    /// p^(-1/3).
    narrower: f64,
    /// (g p^2)^(1/3).
    inside: f64,
    /// Conductivity of air from its viscosity with cp = 1004.7 J/(kg K), Pr = 0.71 (from memory),
    /// W/(m K).
    conductivity_w_m_k: f64,
    /// ln of the pressures of the next point and of the one after that, over this one's.
    ln_to_next: f64,
    ln_to_second: f64,
}

impl AirPoint {
    fn new(air: &AirProfile, altitude_m: f64) -> AirPoint {
        let air = air.at(altitude_m);
        let gravity_m_s2 = gravity_m_s2(altitude_m);
        let viscosity_pa_s = air.viscosity_pa_s();
        let nu = viscosity_pa_s / air.density_kg_m3;
        AirPoint {
            temperature_k: air.temperature_k,
            pressure_pa: air.pressure_pa,
            density_kg_m3: air.density_kg_m3,
            nu_m2_s: nu,
            drive_per_kg: 8.0 * gravity_m_s2 / (PI * air.density_kg_m3 * nu * nu),
            narrower: 1.0 / air.pressure_pa.cbrt(),
            inside: (gravity_m_s2 * air.pressure_pa * air.pressure_pa).cbrt(),
            conductivity_w_m_k: viscosity_pa_s * 1004.7 / 0.71,
            ln_to_next: 0.0,
            ln_to_second: 0.0,
        }
    }
}

/// One number for each of several stacks.
type Each<const N: usize> = [f64; N];

/// What several stacks differ by.
struct Stacks<const N: usize> {
    /// n R: the volume is this times Tg / p.
    amount: Each<N>,
    gas_kg: Each<N>,
    dead_kg: Each<N>,
    /// (6 n R / pi)^(1/3): the diameter is this times (Tg / p)^(1/3).
    width: Each<N>,
    curve: [DragCurve; N],
    drag_factor: Each<N>,
    /// R / cp.
    kappa: Each<N>,
    /// Heat transfer inside: [`inside_at_1_k`].
    inside: [(f64, f64); N],
    heat_capacity_j_k: Each<N>,
    convective: [bool; N],
}

/// Everything known of several stacks at one altitude of their climbs.
pub struct Points<const N: usize> {
    /// Temperature of the air, K.
    pub air_temperature_k: f64,
    /// Temperature of the gas, K.
    pub gas_temperature_k: Each<N>,
    diameter_m: Each<N>,
    /// At the gas temperature.
    free_lift_kg: Each<N>,
    rate_m_s: Each<N>,
    reynolds: Each<N>,
    /// That of the air: Cd Re^2 for each kg of free lift.
    drive_per_kg: f64,
    balance: Balance<N>,
    /// Altitude over which the gas would take on the air's temperature, m.
    relaxation_m: Each<N>,
}

/// Where lift and drag balance.
struct Balance<const N: usize> {
    ln_drive: Each<N>,
    ln_re: Each<N>,
    /// d ln Cd / d ln Re there.
    slope: Each<N>,
}

/// A stack that is not lifted is reckoned as if it had this little lift, kg: it has no rate.
pub const LEAST_LIFT_KG: f64 = 1e-6;
/// A step of the balance so small leaves a third power of it: 1e-9 of the rate.
const LAST_STEP: f64 = 1e-3;
/// Most steps of the balance.
const STEPS: usize = 40;

impl<const N: usize> Points<N> {
    fn state(&self, i: usize) -> ClimbState {
        let drive = self.free_lift_kg[i].max(LEAST_LIFT_KG) * self.drive_per_kg;
        ClimbState {
            rate_m_s: self.rate_m_s[i],
            gas_temperature_k: self.gas_temperature_k[i],
            diameter_m: self.diameter_m[i],
            free_lift_kg: self.free_lift_kg[i],
            drag_coefficient: drive * (-2.0 * self.balance.ln_re[i]).exp(),
            reynolds: self.reynolds[i],
        }
    }
}

impl<const N: usize> Stacks<N> {
    fn of(climbers: &[Climber; N]) -> Stacks<N> {
        let each = |value: fn(&Climber) -> f64| each(|i| value(&climbers[i]));
        let amount = each(|c| c.fill.amount_mol * GAS_CONSTANT_J_MOL_K);
        Stacks {
            amount,
            gas_kg: each(|c| c.fill.mass_kg()),
            dead_kg: each(|c| c.dead_mass_kg),
            width: amount.map(|n| (6.0 * n / PI).cbrt()),
            curve: from_fn(|i| climbers[i].drag),
            drag_factor: each(|c| c.drag_factor),
            kappa: each(|c| GAS_CONSTANT_J_MOL_K / c.fill.gas.heat_capacity_j_mol_k()),
            inside: from_fn(|i| inside_at_1_k(climbers[i].fill.gas)),
            heat_capacity_j_k: each(|c| c.fill.amount_mol * c.fill.gas.heat_capacity_j_mol_k()),
            convective: from_fn(|i| climbers[i].heat == GasHeat::Convective),
        }
    }

    /// With the gas at some temperatures; the balance is looked for from that `before`.
    fn points(&self, at: &AirPoint, tg: Each<N>, before: Option<&Points<N>>) -> Points<N> {
        let ln_tg: Each<N> = each(|i| ln(tg[i]));
        // By the logarithm, which the transfer inside needs as well.
        let wider: Each<N> = each(|i| exp(ln_tg[i] / 3.0));
        let d: Each<N> = each(|i| self.width[i] * at.narrower * wider[i]);
        let lift: Each<N> = each(|i| {
            let volume_m3 = self.amount[i] * tg[i] / at.pressure_pa;
            at.density_kg_m3 * volume_m3 - self.gas_kg[i] - self.dead_kg[i]
        });
        // Cd Re^2 = 8 F g / (pi rho nu^2).
        let drive: Each<N> = each(|i| {
            let lift_kg = if lift[i] > LEAST_LIFT_KG {
                lift[i]
            } else {
                LEAST_LIFT_KG
            };
            lift_kg * at.drive_per_kg / self.drag_factor[i]
        });
        let ln_drive: Each<N> = each(|i| ln(drive[i]));
        let guess = match before {
            // From the step below the balance has moved little: its solution is carried on.
            Some(before) => before.balance.carried_to(&ln_drive),
            None => each(|i| (FIRST_GUESS_M_S * d[i] / at.nu_m2_s).ln()),
        };
        let balance = self.balance(ln_drive, guess);
        // Re^(1/5): heat goes by its third power.
        // One exponential for the power 3/5 and for Re itself.
        let fifth: Each<N> = each(|i| exp(0.2 * balance.ln_re[i]));
        let reynolds: Each<N> = each(|i| match lift[i] > 0.0 {
            true => fifth[i] * fifth[i] * fifth[i] * fifth[i] * fifth[i],
            false => 0.0,
        });
        let rate_m_s: Each<N> = each(|i| reynolds[i] * at.nu_m2_s / d[i]);
        let outside: Each<N> =
            each(|i| 0.37 * (fifth[i] * fifth[i] * fifth[i]) * at.conductivity_w_m_k / d[i]);
        let inside: Each<N> = each(|i| {
            let (factor, power) = self.inside[i];
            factor * at.inside * exp(power * ln_tg[i])
        });
        let theta: Each<N> = each(|i| (tg[i] - at.temperature_k).abs());
        let transfer = transfer(&theta, &outside, &inside);
        // l = w m cp / (U pi D^2); one that floats has the time to take on the air's temperature.
        let relaxation_m = each(|i| match lift[i] > 0.0 && self.convective[i] {
            true => rate_m_s[i] * self.heat_capacity_j_k[i] / (transfer[i] * PI * d[i] * d[i]),
            false => 0.0,
        });
        Points {
            air_temperature_k: at.temperature_k,
            gas_temperature_k: tg,
            diameter_m: d,
            free_lift_kg: lift,
            rate_m_s,
            reynolds,
            drive_per_kg: at.drive_per_kg,
            balance,
            relaxation_m,
        }
    }

    /// The solution x = ln Re of 2 x + ln Cd(x) = `ln_drive` from a guess, by Halley's method; the
    /// slope of the curve keeps the equation monotonic. Where it is found, it stays.
    #[allow(
        clippy::needless_range_loop,
        reason = "several arrays side by side, which the compiler takes several numbers of at once"
    )]
    fn balance(&self, ln_drive: Each<N>, guess: Each<N>) -> Balance<N> {
        let (mut x, mut last) = (guess, [f64::INFINITY; N]);
        let (mut cd, mut slope, mut bend) = ([0.0; N], [0.0; N], [0.0; N]);
        for _ in 0..STEPS {
            let q: Each<N> = each(|i| exp(self.curve[i].steepness * (x[i] - self.curve[i].ln_re0)));
            for i in 0..N {
                let curve = &self.curve[i];
                let share = 1.0 / (1.0 + q[i]);
                let rise = (curve.high - curve.low) * share;
                cd[i] = curve.low + rise;
                let here = -rise * curve.steepness * (q[i] * share) / cd[i];
                slope[i] = if last[i] > LAST_STEP { here } else { slope[i] };
                bend[i] = here * (curve.steepness * (1.0 - 2.0 * q[i] * share) - here);
            }
            let ln_cd: Each<N> = each(|i| ln(cd[i]));
            let mut far = false;
            for i in 0..N {
                let (off, steep) = (2.0 * x[i] + ln_cd[i] - ln_drive[i], steep(slope[i]));
                let step = within(off / (steep - 0.5 * off * bend[i] / steep));
                // One that has arrived stays, however long its neighbours go on: each comes out as
                // if alone.
                let goes_on = last[i] > LAST_STEP;
                x[i] -= if goes_on { step } else { 0.0 };
                last[i] = if goes_on { step.abs() } else { 0.0 };
                far |= last[i] > LAST_STEP;
            }
            if !far {
                break;
            }
        }
        Balance {
            ln_drive,
            ln_re: x,
            slope,
        }
    }

    /// Gas temperature after `dz`, from one air to another with the logarithm of the ratio of their
    /// pressures, with the coefficients of `during`:
    /// theta = Tg - Ta relaxes to S l, S = kappa Tg d(ln p)/dz - dTa/dz.
    fn gas_after(
        &self,
        here: &Points<N>,
        dz: f64,
        during: &Points<N>,
        (below, above, ln_ratio): (&AirPoint, &AirPoint, f64),
    ) -> Each<N> {
        let warmer = above.temperature_k - below.temperature_k;
        // Gas that relaxes at once is as warm as the air: e^-infinity is as good as 0.
        let left: Each<N> = each(|i| exp(-dz / during.relaxation_m[i]));
        each(|i| {
            let forcing = self.kappa[i] * during.gas_temperature_k[i] * ln_ratio - warmer;
            let balance = forcing / dz * during.relaxation_m[i];
            let theta = here.gas_temperature_k[i] - below.temperature_k;
            above.temperature_k + balance + (theta - balance) * left[i]
        })
    }
}

impl<const N: usize> Balance<N> {
    /// A guess of ln Re at another drive.
    fn carried_to(&self, ln_drive: &Each<N>) -> Each<N> {
        each(|i| self.ln_re[i] + within((ln_drive[i] - self.ln_drive[i]) / steep(self.slope[i])))
    }
}

/// d (2 x + ln Cd) / dx, kept from 0.
fn steep(slope: f64) -> f64 {
    let steep = 2.0 + slope;
    if steep > 0.4 { steep } else { 0.4 }
}

/// A step of ln Re, not too far.
fn within(step: f64) -> f64 {
    step.clamp(-0.5, 0.5)
}

/// Heat transfer between gas and air, W/(m2 K), with a difference `theta` (K) between them: what gets
/// through from outside and, at 1 K between gas and film, from inside.
fn transfer<const N: usize>(theta: &Each<N>, outside: &Each<N>, inside: &Each<N>) -> Each<N> {
    // Without any difference Newton's step would be 0 / 0; so little makes no heat to speak of.
    let theta: Each<N> = each(|i| if theta[i] > 0.05 { theta[i] } else { 0.05 });
    let ln_theta: Each<N> = each(|i| ln(theta[i]));
    // The cube root y of the part of the difference that stands inside the film: the film passes on
    // what it gets, y^3 (h1 y) = (theta - y^3) h_e. Newton's method from above, where the polynomial
    // h1 y^4 + h_e y^3 - theta h_e is convex.
    let mut y: Each<N> = each(|i| exp(ln_theta[i] / 3.0));
    // As many steps for all, without a test: so they stay beside each other.
    for _ in 0..5 {
        y = each(|i| {
            let (y, h1, he) = (y[i], inside[i], outside[i]);
            let (square, cube) = (y * y, y * y * y);
            let value = cube * (h1 * y + he) - theta[i] * he;
            y - value / (square * (4.0 * h1 * y + 3.0 * he))
        });
    }
    each(|i| {
        let inside = inside[i] * y[i];
        outside[i] * inside / (outside[i] + inside)
    })
}

/// Heat transfer from the gas to a film 1 K away, W/(m2 K): Nu = 0.13 Ra^(1/3), that is
/// h = 0.13 (k^2 g rho^2 cp / (T mu))^(1/3); it grows with the cube root of the difference. As a factor
/// on (g p^2)^(1/3) and a power of T: conductivity k and viscosity mu are power laws about 273.15 K
/// (k in W/(m K), mu in Pa s) from memory (helium 0.1430, exponent 0.70, and 1.87e-5, 0.67; hydrogen
/// 0.1680, 0.75, and 8.40e-6, 0.69), and rho = p M / (R T). The impurity is neglected in both: at 5 %
/// air the heat exchange changes by a few percent, the gas temperature by tenths of a kelvin.
fn inside_at_1_k(gas: LiftingGas) -> (f64, f64) {
    let (at_273_k, power) = match gas.gas {
        Gas::Helium => (0.1430 * 0.1430 / 1.87e-5, 2.0 * 0.70 - 0.67),
        Gas::Hydrogen => (0.1680 * 0.1680 / 8.40e-6, 2.0 * 0.75 - 0.69),
    };
    let transport = at_273_k * 273.15_f64.powf(-power);
    let molar_mass = gas.molar_mass_kg_mol();
    let cp_per_kg = gas.heat_capacity_j_mol_k() / molar_mass;
    let density = molar_mass / GAS_CONSTANT_J_MOL_K;
    let factor = 0.13 * (transport * cp_per_kg * density * density).cbrt();
    (factor, (power - 3.0) / 3.0)
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

    #[test]
    fn climbs_beside_each_other_are_as_alone_to_the_last_bit() {
        let (middle, air) = climber();
        let layers = ClimbAir::new(&air, 0.0, 250.0, 140);
        let climbers: [Climber; 8] = from_fn(|i| {
            let mut climber = middle;
            // The first two never lift off, the last one has the air's temperature.
            climber.fill.amount_mol *= 0.65 + 0.06 * i as f64;
            climber.drag.ln_re0 += 0.2 * (i % 3) as f64;
            if i == 7 {
                climber.heat = GasHeat::AirTemperature;
            }
            climber
        });
        let alone = climbers.map(|climber| climber.climb_through(&layers));
        assert!(alone[0].seconds[0].is_infinite() && alone[7].seconds[0].is_finite());
        climb_beside(&climbers, &layers, |half, points| {
            for (i, alone) in alone.iter().enumerate() {
                let expected = match half % 2 {
                    0 => alone.states[half / 2],
                    _ => alone.middles[half / 2],
                };
                assert_eq!(points.state(i), expected, "{i} at {half}");
            }
        });
    }
}
