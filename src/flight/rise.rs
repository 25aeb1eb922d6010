//! The way up, tabulated once and shared by all flights.
//!
//! How fast a balloon rises does not depend on the wind, so its climb is computed on a grid of
//! lifts, drags and drag transitions. All that is tabulated there is how much warmer the gas is than the
//! air, which changes gently and little over the grid: few nodes will do. From it a flight reckons its free
//! lift and its diameter and solves its own balance of both with the drag, so that the steep transition of
//! the drag curve is not blurred by interpolation.

use std::sync::Arc;

use rayon::prelude::*;

use super::layers::Layers;
use super::rates::RateTable;
use crate::atmosphere::AirProfile;
use crate::notes::NoLanding;
use crate::vehicle::ascent::DragBalance;
use crate::vehicle::balloon::sphere_diameter_m;
use crate::vehicle::burst::Burst;
use crate::vehicle::climb::{
    AirPoint, ClimbAir, Climber, FLOATING_M_S, LEAST_LIFT_KG, climb_beside,
};
use crate::wind::placing::Outside;

/// What makes one rise differ from another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RiseVariation {
    /// Multiplies the neck lift (a balloon's) or the rate (a stated one).
    pub lift: f64,
    /// Multiplies the drag coefficient.
    pub drag: f64,
    /// Added to ln Re0 of the drag curve.
    pub ln_re0: f64,
}

impl RiseVariation {
    /// The flight as planned.
    pub const NONE: RiseVariation = RiseVariation {
        lift: 1.0,
        drag: 1.0,
        ln_re0: 0.0,
    };
}

/// Equally spaced values of one thing that varies.
#[derive(Debug, Clone, Copy)]
struct Axis {
    low: f64,
    step: f64,
    count: usize,
}

/// Most values along an axis.
const MOST: usize = 5;

impl Axis {
    /// From one value to another; one alone where they are the same.
    fn between(low: f64, high: f64, count: usize) -> Axis {
        let count = if high > low { count } else { 1 };
        Axis {
            low,
            step: (high - low) / (count - 1).max(1) as f64,
            count,
        }
    }

    /// The axes of lift, ln drag and ln Re0. Not as wide as draws are: a polynomial through all values of an
    /// axis is closest where most draws lie, and still good a little beyond its ends. Against climbs of 256
    /// draws of four stacks this leaves less than 0.1 s of the rise in the median, 0.5 s at most; 5 x 7 x 7
    /// nodes of the drag itself, parabolas through three at a time, left 0.2 and 2.2 s.
    fn of_spread(spread: RiseSpread) -> [Axis; 3] {
        let [lift, drag, ln_re0] = [2.5 * spread.lift, 2.5 * spread.drag, 3.0 * spread.ln_re0];
        [
            Axis::between(1.0 - lift, 1.0 + lift, 3),
            // Of a wide spread the drag would fall below 0, where nothing flies.
            Axis::between((1.0 - drag).max(0.2).ln(), (1.0 + drag).ln(), 3),
            Axis::between(-ln_re0, ln_re0, 5),
        ]
    }

    fn value(&self, i: usize) -> f64 {
        self.low + self.step * i as f64
    }

    /// Weights of the values in the polynomial through all of them, at `x`.
    fn weights(&self, x: f64) -> [f64; MOST] {
        let t = (x - self.low) / self.step;
        let mut weights = [0.0; MOST];
        for (i, weight) in weights[..self.count].iter_mut().enumerate() {
            let others = (0..self.count).filter(|&j| j != i);
            *weight = others
                .map(|j| (t - j as f64) / (i as f64 - j as f64))
                .product();
        }
        weights
    }
}

/// How much each thing varies: one standard deviation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RiseSpread {
    /// Of the neck lift, as a share.
    pub lift: f64,
    /// Of the drag coefficient, as a share.
    pub drag: f64,
    /// Of ln Re0.
    pub ln_re0: f64,
}

/// A balloon's rise through layers, by lift, drag and drag transition.
#[derive(Debug, Clone)]
pub struct RiseTable {
    /// Of lift, ln drag and ln Re0.
    axes: [Axis; 3],
    /// Tg / Ta - 1 in the middle of each layer.
    warmer: Rows,
    /// The same at each boundary.
    warmer_at_boundary: Rows,
    plan: RisePlan,
    /// Balance of lift and drag on the planned curve.
    balance: Arc<DragBalance>,
    /// The air in the middle of each layer.
    air: Vec<LayerAir>,
    /// Diameter of the planned gas at the air's temperature at each boundary, m.
    boundary_diameter_m: Vec<f64>,
    /// A stack that is longer in a layer than this floats, s.
    floating_s: f64,
}

/// What the air of a layer is to a rising sphere.
#[derive(Debug, Clone, Copy)]
struct LayerAir {
    /// What the planned gas displaces at the air's temperature, kg.
    displaced_kg: f64,
    /// Diameter of the planned gas at the air's temperature, m.
    diameter_m: f64,
    /// 8 g / (pi rho nu^2): Cd Re^2 for each kg of free lift.
    drive_per_kg: f64,
    /// Thickness of the layer over nu: seconds are this times D / Re.
    thickness_by_nu: f64,
}

impl LayerAir {
    fn new(plan: &RisePlan, here: &AirPoint, thickness_m: f64) -> LayerAir {
        let volume_m3 = volume_m3(plan, here);
        LayerAir {
            displaced_kg: here.density_kg_m3 * volume_m3,
            diameter_m: sphere_diameter_m(volume_m3),
            drive_per_kg: here.drive_per_kg,
            thickness_by_nu: thickness_m / here.nu_m2_s,
        }
    }
}

/// Of the planned gas at the air's temperature.
fn volume_m3(plan: &RisePlan, air: &AirPoint) -> f64 {
    let fill = &plan.climber.fill;
    fill.volume_m3(air.temperature_k, air.pressure_pa)
}

/// A balloon as planned, with what is needed to vary it.
#[derive(Debug, Clone, Copy)]
pub struct RisePlan {
    /// The stack as planned.
    pub climber: Climber,
    /// Balloon mass, kg: neck lift varies, gross lift is neck lift plus this.
    pub balloon_kg: f64,
    /// Gross lift as planned, kg.
    pub gross_lift_kg: f64,
}

impl RisePlan {
    /// The stack with another neck lift, drag and drag transition.
    pub fn varied(&self, lift: f64, drag: f64, ln_re0: f64) -> Climber {
        let mut climber = self.climber;
        climber.fill.amount_mol *= self.more_gas(lift);
        climber.drag_factor *= drag;
        climber.drag.ln_re0 += ln_re0;
        climber
    }

    /// Factor on the gas for one on the neck lift: what is weighed at the neck is uncertain, the balloon's
    /// own mass is not, and gas goes with gross lift.
    fn more_gas(&self, lift: f64) -> f64 {
        let neck = self.gross_lift_kg - self.balloon_kg;
        (lift * neck + self.balloon_kg) / self.gross_lift_kg
    }
}

/// What ends a rise.
#[derive(Clone, Copy)]
enum Until {
    /// An altitude, m.
    Altitude(f64),
    /// A diameter, m, and so many metres of altitude more.
    Diameter(f64, f64),
}

impl RiseTable {
    /// Computes the table, in parallel.
    pub fn new(plan: &RisePlan, spread: RiseSpread, air: &AirProfile, layers: &Layers) -> Self {
        let axes = Axis::of_spread(spread);
        let [lift, drag, ln_re0] = axes;
        let nodes = ndarray::indices((lift.count, drag.count, ln_re0.count)).into_iter();
        let climbers: Vec<Climber> = nodes
            .map(|(i, j, l)| plan.varied(lift.value(i), drag.value(j).exp(), ln_re0.value(l)))
            .collect();
        let through = ClimbAir::new(air, layers.base_m, layers.thickness_m, layers.count);
        let climbs: Vec<[Rows; 2]> = climbers
            .par_chunks(BESIDE)
            // Where nothing varies there is one climb, as in every step of sizing a fill: no need
            // of sixteen.
            .map(|climbers| match climbers.len() {
                1 => rows::<1>(climbers, &through, layers.count),
                _ => rows::<BESIDE>(climbers, &through, layers.count),
            })
            .collect();
        // The climbs looked the air up already, at boundaries and middles in turn.
        let halves = through.halves();
        let layer = |here| LayerAir::new(plan, here, layers.thickness_m);
        let diameter_m = |here| sphere_diameter_m(volume_m3(plan, here));
        let [warmer, warmer_at_boundary] = Rows::joined(climbs);
        RiseTable {
            axes,
            warmer,
            warmer_at_boundary,
            plan: *plan,
            balance: DragBalance::of(plan.climber.drag),
            air: halves.iter().skip(1).step_by(2).map(layer).collect(),
            boundary_diameter_m: halves.iter().step_by(2).map(diameter_m).collect(),
            floating_s: layers.thickness_m / FLOATING_M_S,
        }
    }

    /// The altitude of the burst, m, and the seconds in the layers up to it, into `out`: of each the
    /// balance in its middle, with the bend of the slowness over its neighbours.
    fn rise(
        &self,
        v: &RiseVariation,
        until: Until,
        layers: &Layers,
        out: &mut Vec<f64>,
    ) -> Result<f64, Miss> {
        let stack = self.varied(v);
        let stencil = self.stencil(v);
        out.clear();
        let mut diameters_m = Vec::with_capacity(self.air.len());
        for (block, air) in self.air.chunks(BLOCK).enumerate() {
            let warmer = stencil.block(&self.warmer, block);
            for (air, &warmer) in air.iter().zip(&warmer) {
                let (seconds, diameter_m) = stack.in_layer(air, f64::from(warmer));
                out.push(seconds);
                diameters_m.push(diameter_m);
            }
            if is_enough(until, layers, &diameters_m) {
                break;
            }
        }
        let burst_m = match until {
            Until::Altitude(altitude_m) => altitude_m,
            Until::Diameter(diameter_m, higher_m) => {
                let boundary_m = |k: usize| {
                    let warmer = stencil.at(&self.warmer_at_boundary, k);
                    stack.wider * self.boundary_diameter_m[k] * cube_root_about_1(warmer)
                };
                burst_altitude(&diameters_m, boundary_m, layers, diameter_m)? + higher_m
            }
        };
        // Once more: metres on the altitude may take a burst by diameter out of the layers.
        let burst_m = within(layers, burst_m)?;
        out.truncate(layers.locate(burst_m).0 + 1);
        if out.iter().any(|&s| s > self.floating_s) {
            return Err(Miss::Stalls);
        }
        bend(out);
        Ok(burst_m)
    }

    fn varied(&self, v: &RiseVariation) -> VariedStack<'_> {
        let climber = &self.plan.climber;
        let more_gas = self.plan.more_gas(v.lift);
        let re0 = (climber.drag.ln_re0 + v.ln_re0).exp();
        VariedStack {
            more_gas,
            wider: more_gas.cbrt(),
            gas_kg: climber.fill.mass_kg(),
            dead_kg: climber.dead_mass_kg,
            re0,
            scale: 1.0 / (climber.drag_factor * v.drag * re0 * re0),
            balance: &self.balance,
        }
    }

    fn stencil(&self, v: &RiseVariation) -> Stencil {
        let [lift, drag, ln_re0] = self.axes;
        let weights = [
            lift.weights(v.lift),
            drag.weights(v.drag.ln()),
            ln_re0.weights(v.ln_re0),
        ];
        let mut stencil = Stencil {
            weights: [0.0; MOST_NODES],
            count: 0,
        };
        for a in &weights[0][..lift.count] {
            for b in &weights[1][..drag.count] {
                for c in &weights[2][..ln_re0.count] {
                    stencil.weights[stencil.count] = (a * b * c) as f32;
                    stencil.count += 1;
                }
            }
        }
        stencil
    }
}

/// A stack with its lift, drag and drag transition.
struct VariedStack<'a> {
    /// Factors on the gas and on the diameter.
    more_gas: f64,
    wider: f64,
    /// The planned gas.
    gas_kg: f64,
    dead_kg: f64,
    re0: f64,
    /// From Cd Re^2 of the drag curve as planned to what the table of the balance is asked.
    scale: f64,
    balance: &'a DragBalance,
}

impl VariedStack<'_> {
    /// Seconds in a layer by the balance in its middle, and the diameter there, m; the gas is so much
    /// `warmer` than the air, as a share.
    #[inline]
    fn in_layer(&self, air: &LayerAir, warmer: f64) -> (f64, f64) {
        let gross_kg = self.more_gas * (air.displaced_kg * (1.0 + warmer) - self.gas_kg);
        let lift_kg = (gross_kg - self.dead_kg).max(LEAST_LIFT_KG);
        let drive = lift_kg * air.drive_per_kg * self.scale;
        let reynolds = self.re0 * self.balance.reynolds_ratio(drive);
        let diameter_m = self.wider * air.diameter_m * cube_root_about_1(warmer);
        (air.thickness_by_nu * diameter_m / reynolds, diameter_m)
    }
}

/// (1 + x)^(1/3) by its series: 4e-8 off at x = -0.15, more than gas cools behind the air.
fn cube_root_about_1(x: f64) -> f64 {
    let series = [
        1.0,
        1.0 / 3.0,
        -1.0 / 9.0,
        5.0 / 81.0,
        -10.0 / 243.0,
        22.0 / 729.0,
        -154.0 / 6_561.0,
    ];
    series.iter().rev().fold(0.0, |sum, c| sum * x + c)
}

/// Whether the layers with these diameters in their middles reach up to the end of a rise.
fn is_enough(until: Until, layers: &Layers, diameters_m: &[f64]) -> bool {
    let count = diameters_m.len();
    match until {
        Until::Altitude(altitude_m) => layers.altitude_m(count) > altitude_m,
        Until::Diameter(diameter_m, higher_m) => {
            let reached = diameters_m.last().is_some_and(|&d| d >= diameter_m);
            reached && layers.middle_m(count - 1) + higher_m < layers.altitude_m(count)
        }
    }
}

/// Climbs that are computed beside each other.
const BESIDE: usize = 16;

/// How much warmer the gas is than the air, as a share, in the middle of each layer and at each boundary,
/// of up to `N` climbs.
fn rows<const N: usize>(climbers: &[Climber], through: &ClimbAir, layers: usize) -> [Rows; 2] {
    let mut rows = [layers, layers + 1].map(|length| Rows::new(climbers.len(), length));
    let [last, ..] = climbers else {
        return rows;
    };
    // Chunks that are not full are filled up with copies, whose results are not kept.
    let all = std::array::from_fn(|i| *climbers.get(i).unwrap_or(last));
    let [middles, boundaries] = &mut rows;
    climb_beside::<N>(&all, through, |half, points| {
        let to = if half % 2 == 0 {
            &mut *boundaries
        } else {
            &mut *middles
        };
        for (row, gas_k) in points.gas_temperature_k[..climbers.len()]
            .iter()
            .enumerate()
        {
            to.set(row, half / 2, gas_k / points.air_temperature_k - 1.0);
        }
    });
    rows
}

/// From values in the middle of layers to means over them: f + f'' / 24.
fn bend(values: &mut [f64]) {
    let mut below = values.first().copied().unwrap_or(0.0);
    for k in 1..values.len().saturating_sub(1) {
        let here = values[k];
        values[k] += (below - 2.0 * here + values[k + 1]) / 24.0;
        below = here;
    }
}

/// Layers that are interpolated at once: their sums stay in registers.
const BLOCK: usize = 16;

/// Values by height of each node of the table, in the order of lift, drag and ln Re0.
#[derive(Debug, Clone)]
struct Rows {
    values: Vec<f32>,
    /// Blocks of each node; what is left of the last is 0.
    blocks: usize,
}

impl Rows {
    /// Of zeros: so many rows, all equally long.
    fn new(rows: usize, length: usize) -> Rows {
        let blocks = length.div_ceil(BLOCK);
        Rows {
            values: vec![0.0; rows * blocks * BLOCK],
            blocks,
        }
    }

    fn set(&mut self, row: usize, k: usize, value: f64) {
        self.values[row * self.blocks * BLOCK + k] = value as f32;
    }

    fn row(&self, node: usize) -> &[f32] {
        let length = self.blocks * BLOCK;
        &self.values[node * length..][..length]
    }

    /// One after the other, of both.
    fn joined(parts: Vec<[Rows; 2]>) -> [Rows; 2] {
        [0, 1].map(|i| Rows {
            blocks: parts.first().map_or(0, |part| part[i].blocks),
            values: parts
                .iter()
                .flat_map(|part| &part[i].values)
                .copied()
                .collect(),
        })
    }

    fn block(&self, node: usize, block: usize) -> &[f32] {
        &self.values[(node * self.blocks + block) * BLOCK..][..BLOCK]
    }
}

/// Most nodes of a table.
const MOST_NODES: usize = 3 * 3 * MOST;

/// What each node of the table counts for one variation.
struct Stencil {
    weights: [f32; MOST_NODES],
    count: usize,
}

impl Stencil {
    /// The interpolated values of one block.
    fn block(&self, rows: &Rows, block: usize) -> [f32; BLOCK] {
        let mut sums = [0.0; BLOCK];
        for (node, weight) in self.weights[..self.count].iter().enumerate() {
            for (sum, value) in sums.iter_mut().zip(rows.block(node, block)) {
                *sum += weight * value;
            }
        }
        sums
    }

    /// The interpolated value at one height.
    fn at(&self, rows: &Rows, k: usize) -> f64 {
        let weights = self.weights[..self.count].iter().enumerate();
        let terms = weights.map(|(node, &weight)| f64::from(weight) * f64::from(rows.row(node)[k]));
        terms.sum()
    }
}

/// The way up.
#[derive(Debug, Clone)]
pub enum Rise {
    /// A balloon that rises by its lift and bursts by its diameter.
    Balloon {
        /// Its tabulated climb.
        table: Arc<RiseTable>,
        /// When it bursts as planned.
        burst: Burst,
    },
    /// A stated rate and burst altitude.
    Stated {
        /// Seconds in each layer.
        seconds: Vec<f64>,
        /// Altitude of the burst, m.
        burst_altitude_m: f64,
    },
}

/// When and how a flight does not come about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Miss {
    /// The lift does not carry the stack, at the ground or higher up.
    Stalls,
    /// The balloon does not burst below the highest layer.
    NoBurst,
    /// The burst diameter is reached on the ground.
    BurstsOnGround,
    /// The flight leaves where or when the winds are known.
    Leaves(Outside),
}

impl From<Miss> for NoLanding {
    fn from(miss: Miss) -> NoLanding {
        match miss {
            Miss::Stalls => NoLanding::Stalls,
            Miss::NoBurst => NoLanding::NoBurst,
            Miss::BurstsOnGround => NoLanding::BurstsOnGround,
            Miss::Leaves(Outside::Region) => NoLanding::LeavesRegion,
            Miss::Leaves(Outside::Hours) => NoLanding::LeavesHours,
        }
    }
}

impl From<Outside> for Miss {
    fn from(outside: Outside) -> Miss {
        Miss::Leaves(outside)
    }
}

impl Rise {
    /// Rates stated by the user.
    pub fn stated(rates: &RateTable, burst_altitude_m: f64, layers: &Layers) -> Rise {
        Rise::Stated {
            seconds: rates.seconds(layers),
            burst_altitude_m,
        }
    }

    /// Seconds in each layer and the burst altitude (m) of one variation, with a factor on the
    /// burst diameter and metres added to the burst altitude. Writes the seconds to `seconds`, up to
    /// the layer of the burst.
    pub fn of(
        &self,
        layers: &Layers,
        v: &RiseVariation,
        burst_diameter: f64,
        burst_higher_m: f64,
        seconds: &mut Vec<f64>,
    ) -> Result<f64, Miss> {
        seconds.clear();
        match self {
            Rise::Stated {
                seconds: planned,
                burst_altitude_m,
            } => {
                let burst = within(layers, burst_altitude_m + burst_higher_m)?;
                let passed = layers.locate(burst).0 + 1;
                // At a given lift the rate goes with 1 / sqrt(Cd); what varies as lift multiplies
                // the rate itself.
                let slower = v.drag.sqrt() / v.lift;
                seconds.extend(planned[..passed].iter().map(|s| s * slower));
                Ok(burst)
            }
            Rise::Balloon { table, burst } => {
                let until = match burst {
                    // Before the way up is reckoned.
                    Burst::Altitude { altitude_m, .. } => {
                        Until::Altitude(within(layers, altitude_m + burst_higher_m)?)
                    }
                    Burst::Diameter { diameter_m } => {
                        Until::Diameter(diameter_m * burst_diameter, burst_higher_m)
                    }
                };
                table.rise(v, until, layers, seconds)
            }
        }
    }
}

fn within(layers: &Layers, altitude_m: f64) -> Result<f64, Miss> {
    if altitude_m <= layers.base_m {
        Err(Miss::BurstsOnGround)
    } else if altitude_m > layers.top_m() {
        Err(Miss::NoBurst)
    } else {
        Ok(altitude_m)
    }
}

/// Where the balloon has a diameter, of those in the middles of layers and at their boundaries: linear in
/// ln D within the half layer; a few metres.
fn burst_altitude(
    middles_m: &[f64],
    boundary_m: impl Fn(usize) -> f64,
    layers: &Layers,
    diameter_m: f64,
) -> Result<f64, Miss> {
    // Of the first middle above and the last below the boundary that lies between them.
    let above = middles_m.partition_point(|&d| d < diameter_m);
    let boundary = (boundary_m(above), layers.altitude_m(above));
    let middle = |k: usize| Some((*middles_m.get(k)?, layers.middle_m(k)));
    let (low, high) = if boundary.0 < diameter_m {
        (boundary, middle(above).ok_or(Miss::NoBurst)?)
    } else {
        let below = above.checked_sub(1).and_then(middle);
        (below.ok_or(Miss::BurstsOnGround)?, boundary)
    };
    let share = (diameter_m / low.0).ln() / (high.0 / low.0).ln();
    Ok(low.1 + share * (high.1 - low.1))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::vehicle::ascent::{DragCurve, GasHeat};
    use crate::vehicle::balloon::{Gas, GasFill, LiftingGas};

    fn plan(air: &AirProfile) -> RisePlan {
        let gas = LiftingGas {
            gas: Gas::Helium,
            purity: 1.0,
        };
        RisePlan {
            climber: Climber {
                dead_mass_kg: 1.2 + 4.08,
                fill: GasFill::of_gross_lift(gas, 8.0, &air.at(0.0)),
                drag: DragCurve::FITTED,
                drag_factor: 1.0,
                heat: GasHeat::Convective,
            },
            balloon_kg: 1.2,
            gross_lift_kg: 8.0,
        }
    }

    const SPREAD: RiseSpread = RiseSpread {
        lift: 0.04,
        drag: 0.08,
        ln_re0: DragCurve::LN_RE0_SIGMA,
    };

    #[test]
    fn the_table_agrees_with_the_climb_itself() {
        let air = AirProfile::standard();
        let layers = Layers::covering(0.0, 32_000.0, 200.0);
        let plan = plan(&air);
        let rise = Rise::Balloon {
            table: Arc::new(RiseTable::new(&plan, SPREAD, &air, &layers)),
            burst: Burst::Diameter { diameter_m: 8.63 },
        };
        for (lift, drag, ln_re0) in [(1.0, 1.0, 0.0), (1.05, 0.93, 0.13), (0.93, 1.1, -0.3)] {
            let climb = plan.varied(lift, drag, ln_re0).climb(&air, 0.0, 20.0, 1600);
            let k = climb
                .states
                .iter()
                .position(|s| s.diameter_m >= 8.63)
                .unwrap();
            let direct: f64 = climb.seconds[..k].iter().sum();
            let v = RiseVariation { lift, drag, ln_re0 };
            let mut seconds = Vec::new();
            let burst = rise.of(&layers, &v, 1.0, 0.0, &mut seconds).unwrap();
            assert!((burst - 20.0 * k as f64).abs() < 25.0, "{burst}");
            let (last, share) = layers.locate(burst);
            let total: f64 = seconds[..last].iter().sum::<f64>() + share * seconds[last];
            assert!((total - direct).abs() < 4.0, "{total} {direct}");
        }
    }

    /// A stack with so little lift that some draws never get up: the table must tell them from
    /// those that just do, as the climb itself does.
    #[test]
    fn little_lift_stalls_only_the_flights_that_stall() {
        let air = AirProfile::standard();
        let layers = Layers::covering(0.0, 34_000.0, 300.0);
        let mut weak = plan(&air);
        weak.climber.dead_mass_kg = 7.3;
        let rise = Rise::Balloon {
            table: Arc::new(RiseTable::new(&weak, SPREAD, &air, &layers)),
            burst: Burst::Diameter { diameter_m: 8.63 },
        };
        let (mut stalled, mut differ, mut seconds) = (0, 0, Vec::new());
        let lifts: Vec<f64> = (0..=60).map(|i| 0.88 + 0.004 * f64::from(i)).collect();
        for &lift in &lifts {
            let v = RiseVariation {
                lift,
                ..RiseVariation::NONE
            };
            let climb = weak.varied(lift, 1.0, 0.0).climb(&air, 0.0, 20.0, 1_700);
            let burst = climb.states.iter().position(|s| s.diameter_m >= 8.63);
            let up = &climb.seconds[..burst.unwrap()];
            let stalls = up.iter().any(|s| s.is_infinite());
            let told = rise.of(&layers, &v, 1.0, 0.0, &mut seconds);
            assert!(
                matches!(told, Ok(_) | Err(Miss::Stalls)),
                "{lift}: {told:?}"
            );
            stalled += usize::from(stalls);
            differ += usize::from(stalls != told.is_err());
        }
        assert!(stalled > 5 && stalled < lifts.len() - 5, "{stalled}");
        // The edge is found within two steps of the lift, 0.8 %: a fifth of its usual spread.
        assert!(differ <= 2, "{differ} of {}", lifts.len());
    }

    #[test]
    fn misses_are_told_apart() {
        let air = AirProfile::standard();
        let layers = Layers::covering(0.0, 10_000.0, 200.0);
        let mut weak = plan(&air);
        weak.climber.dead_mass_kg = 7.5;
        let mut seconds = Vec::new();
        let mut miss = |plan: &RisePlan, diameter| {
            let rise = Rise::Balloon {
                table: Arc::new(RiseTable::new(plan, SPREAD, &air, &layers)),
                burst: Burst::Diameter {
                    diameter_m: diameter,
                },
            };
            rise.of(&layers, &RiseVariation::NONE, 1.0, 0.0, &mut seconds)
        };
        assert_eq!(miss(&plan(&air), 1.0), Err(Miss::BurstsOnGround));
        assert_eq!(miss(&plan(&air), 20.0), Err(Miss::NoBurst));
        assert!(matches!(miss(&weak, 3.2), Ok(_) | Err(Miss::Stalls)));
        weak.climber.dead_mass_kg = 8.5;
        assert_eq!(miss(&weak, 3.0), Err(Miss::Stalls));
    }

    #[test]
    fn interpolation_is_exact_for_polynomials() {
        for (count, power) in [(3, 2), (5, 4)] {
            let axis = Axis::between(0.6, 1.4, count);
            for x in [0.5, 0.6, 0.83, 1.0, 1.31, 1.5] {
                let weights = axis.weights(x);
                let y: f64 = (0..count)
                    .map(|i| weights[i] * axis.value(i).powi(power))
                    .sum();
                assert!((y - x.powi(power)).abs() < 1e-12);
            }
        }
        assert_eq!(Axis::between(1.0, 1.0, 3).weights(1.2)[0], 1.0);
        assert!((cube_root_about_1(-0.15) - 0.85f64.cbrt()).abs() < 5e-8);
    }
}
