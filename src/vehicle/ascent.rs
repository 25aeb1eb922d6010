//! How fast a latex balloon rises: drag that depends on the Reynolds number, gas that lags behind
//! the temperature of the air.
//!
//! Measured balloons do not speed up with height as constant drag and gas at air temperature
//! would have them (by 1.45 at 18 km, 2.0 at 30 km): the drag coefficient nearly triples while the
//! Reynolds number falls tenfold. [`DragCurve::FITTED`] was fitted to nine campaigns of measured
//! flights and to rates at a known lift; `tests/ascent_fit.rs` makes the fit, leaves one campaign
//! out at a time, and puts one constant rate beside every figure; DEVELOPERS.md tells it.
//!
//! Neglected: overpressure and heat capacity of the film, radiation, drag of load and lines,
//! vertical air motion.

use std::sync::{Arc, LazyLock};

pub use super::climb::{Climb, ClimbAir, ClimbState, Climber, FLOATING_M_S, GasHeat};

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
    /// The curve fitted to nine campaigns of measured flights (34 flights, free lift matched to
    /// the time of each, campaigns weighing alike), which give its shape, and to rates at a known
    /// lift from five sources, which give its level. The steepness is held: these flights leave it
    /// open, and 58 others, since 2012, ask for 2.4 to 3. Standard errors from campaigns left out are in
    /// DEVELOPERS.md. Flights reached from Re = 3e4 to 8e5; the sources of known lift go to 8e5.
    pub const FITTED: DragCurve = DragCurve {
        low: 0.225,
        high: 0.737,
        ln_re0: 12.393, // Re0 = 2.41e5
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
            // Short steps: on the bend of the transition a whole one may leap to the other side and
            // back.
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
    /// At 0 it is the high end of the curve.
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

/// What a table of rates leaves of it, one standard deviation: it tells how the rate changes with height
/// (assumed).
pub const TABLED_RATE_ERROR: f64 = 0.07;

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
    /// The table of a drag curve, whatever its Re0; of the fitted one it is made once.
    pub fn of(curve: DragCurve) -> Arc<DragBalance> {
        static FITTED: LazyLock<Arc<DragBalance>> =
            LazyLock::new(|| Arc::new(DragBalance::new(DragCurve::FITTED)));
        let ln_re0 = FITTED.curve.ln_re0;
        match (DragCurve { ln_re0, ..curve }) == FITTED.curve {
            true => FITTED.clone(),
            false => Arc::new(DragBalance::new(curve)),
        }
    }

    fn new(curve: DragCurve) -> DragBalance {
        let curve = DragCurve {
            ln_re0: 0.0,
            ..curve
        };
        // At Re0 = 1 the drive is Re^2 Cd; bits of a positive number rise with it, so cells do too.
        let cell = |x: f64| ((2.0 * x).exp() * curve.at_ln(x).0).to_bits() >> INNER_BITS;
        let (first, last) = (cell(-BALANCE_REACH), cell(BALANCE_REACH) + 1);
        let mut x = -BALANCE_REACH;
        let ratios = (first..=last)
            .map(|cell| {
                let drive = f64::from_bits(cell << INNER_BITS);
                // The balance of the cell below is a close guess for the next one.
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
        // Below the table the difference wraps round, to a cell that is not there either.
        let cell = (bits >> INNER_BITS).wrapping_sub(self.first) as usize;
        match (self.ratios.get(cell), self.ratios.get(cell.wrapping_add(1))) {
            (Some(a), Some(b)) => {
                let inner = bits & ((1 << INNER_BITS) - 1);
                let share = inner as f64 / (1u64 << INNER_BITS) as f64;
                a + share * (b - a)
            }
            _ => {
                let ln_drive = drive.ln();
                // As if the drag coefficient were 1, which is within the curve's own order of
                // magnitude.
                self.curve.solve_ln_re(ln_drive, 0.5 * ln_drive).0.exp()
            }
        }
    }
}
