//! A part of a forecast: winds and air at points of a lattice, at several times, of one or more
//! members.

use std::ops::Range;

use jiff::Timestamp;
use ndarray::{Array2, s};

use super::column::WindProfile;
use super::placing::Weights;
use super::slab::Span;
use super::sounding::Wind;
use crate::atmosphere::{AirLevel, AirProfile};
use crate::clock::seconds_between;
use crate::geodesy::lattice::{Lattice, Window};
use crate::notes::left_out::LeftOut;

/// A time of a forecast.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// What the values are for.
    pub valid: Timestamp,
    /// The run they come from, if known.
    pub run: Option<Timestamp>,
}

/// The steps from the last one before `from` to the first one after `to`; two at least where there are
/// this many, as one alone stands for the hours around it.
pub fn steps_around(steps: &[Step], from: Timestamp, to: Timestamp) -> Range<usize> {
    let count = steps.len();
    let before = steps.partition_point(|s| s.valid <= from);
    let first = before.saturating_sub(1).min(count.saturating_sub(2));
    let reached = steps.partition_point(|s| s.valid < to);
    first..(reached + 1).max(first + 2).min(count)
}

/// The members of an ensemble; none where there is one forecast alone, whose only member has no number.
pub fn ensemble(members: &[Option<u32>]) -> &[Option<u32>] {
    match members {
        [None] => &[],
        all => all,
    }
}

/// Columns of wind and air. A column is one row of each array, levels from the ground up, so what
/// a flight reads together lies together. Columns are numbered member by member, then time by
/// time, then row by row (south to north), then west to east: see [`Block::column`].
#[derive(Debug, Clone)]
pub struct Block {
    /// The points.
    pub lattice: Lattice,
    /// The times, rising.
    pub steps: Vec<Step>,
    /// The members' numbers; one `None` where there is no ensemble.
    pub members: Vec<Option<u32>>,
    /// Members of the forecast that are not among them, with the reason.
    pub left_out: Vec<LeftOut>,
    /// Pressures of the levels, Pa, falling.
    pub pressures_pa: Vec<f64>,
    /// Geometric altitude above mean sea level, m: columns by levels.
    pub altitude_m: Array2<f32>,
    /// Wind towards true east, m/s: columns by levels.
    pub east_m_s: Array2<f32>,
    /// Wind towards true north, m/s: columns by levels.
    pub north_m_s: Array2<f32>,
    /// Temperature, K: columns by levels; `None` where the files have none.
    pub temperature_k: Option<Array2<f32>>,
    /// Partial pressure of water vapour, Pa: columns by levels; NaN where unknown.
    pub vapour_pressure_pa: Option<Array2<f32>>,
    /// What is known near the ground.
    pub ground: Option<Ground>,
}

/// The forecast's own ground and what it says just above it.
#[derive(Debug, Clone)]
pub struct Ground {
    /// Altitude of the ground above mean sea level, m: rows by columns of the lattice; NaN where unknown.
    pub altitude_m: Array2<f32>,
    /// Wind at 10 m above the ground, m/s east and north: columns by two.
    pub wind_m_s: Option<Array2<f32>>,
    /// Gusts near the ground, m/s: columns by one.
    pub gust_m_s: Option<Array2<f32>>,
    /// Which time the gusts of each step are of.
    pub gust_spans: Vec<Span>,
    /// Temperature 2 m above the ground (K) and pressure at it (Pa): columns by two.
    pub air: Option<Array2<f32>>,
}

/// Columns of a window of blocks, at some of their steps.
struct Gather<'a> {
    sources: &'a [BlockColumn<'a>],
    window: Window,
    members: usize,
}

impl Gather<'_> {
    /// One array of all; not-a-number where a block does not have it.
    fn columns(
        &self,
        levels: usize,
        values: impl for<'b> Fn(&'b Block) -> Option<&'b Array2<f32>>,
    ) -> Array2<f32> {
        let size = self.window.rows * self.window.columns;
        let columns = self.members * self.sources.len() * size;
        let mut all = Array2::from_elem((columns, levels), f32::NAN);
        let mut to = 0;
        for member in 0..self.members {
            for &(block, step) in self.sources {
                let from = values(block);
                for row in 0..self.window.rows {
                    let (row, column) = (self.window.row + row, self.window.column);
                    let first = block.column(member, step, row, column);
                    let count = self.window.columns;
                    if let Some(from) = from {
                        let part = from.slice(s![first..first + count, ..]);
                        all.slice_mut(s![to..to + count, ..]).assign(&part);
                    }
                    to += count;
                }
            }
        }
        all
    }

    /// What all of them have near the ground.
    fn ground(&self) -> Option<Ground> {
        let grounds: Option<Vec<&Ground>> = self
            .sources
            .iter()
            .map(|(block, _)| block.ground.as_ref())
            .collect();
        let grounds = grounds?;
        let first = grounds.first()?;
        let all = |levels: usize, values: for<'b> fn(&'b Ground) -> Option<&'b Array2<f32>>| {
            let have = grounds.iter().all(|ground| values(ground).is_some());
            have.then(|| self.columns(levels, |block| values(block.ground.as_ref()?)))
        };
        let Window {
            row,
            column,
            rows,
            columns,
        } = self.window;
        let part = s![row..row + rows, column..column + columns];
        Some(Ground {
            // A model's ground is the same at all times.
            altitude_m: first.altitude_m.slice(part).to_owned(),
            wind_m_s: all(2, |ground| ground.wind_m_s.as_ref()),
            gust_m_s: all(1, |ground| ground.gust_m_s.as_ref()),
            gust_spans: self
                .sources
                .iter()
                .zip(&grounds)
                .filter_map(|((_, step), ground)| ground.gust_spans.get(*step).copied())
                .collect(),
            air: all(2, |ground| ground.air.as_ref()),
        })
    }
}

/// Height above the ground at which forecasts give the surface wind, m (WMO practice).
const SURFACE_WIND_M: f64 = 10.0;

/// A time of a block: which of its steps.
pub type BlockColumn<'a> = (&'a Block, usize);

impl Block {
    /// The block of a window of others, of one lattice each, at some of their steps; `lattice` is that of
    /// the window. `None` where they are not of the same members and levels, or there are none.
    pub fn of_steps(sources: &[BlockColumn], lattice: Lattice, window: Window) -> Option<Block> {
        let (first, _) = sources.first()?;
        // Members that are missing in some hours would shift the numbers of all that follow.
        let is_of_values = |what: &LeftOut| matches!(what, LeftOut::Impossible { .. });
        let alike = |block: &Block| {
            block.members == first.members
                && block.pressures_pa == first.pressures_pa
                && block.left_out.iter().all(is_of_values)
                && block.lattice == first.lattice
        };
        if !sources.iter().all(|(block, _)| alike(block)) {
            return None;
        }
        let gather = Gather {
            sources,
            window,
            members: first.members.len(),
        };
        let mut left_out: Vec<LeftOut> = Vec::new();
        for what in sources.iter().flat_map(|(block, _)| &block.left_out) {
            if !left_out.contains(what) {
                left_out.push(what.clone());
            }
        }
        let levels = first.pressures_pa.len();
        let any = |values: for<'a> fn(&'a Block) -> Option<&'a Array2<f32>>| {
            let some = sources.iter().any(|(block, _)| values(block).is_some());
            some.then(|| gather.columns(levels, values))
        };
        Some(Block {
            lattice,
            steps: sources
                .iter()
                .map(|(block, step)| block.steps[*step])
                .collect(),
            members: first.members.clone(),
            left_out,
            pressures_pa: first.pressures_pa.clone(),
            altitude_m: gather.columns(levels, |block| Some(&block.altitude_m)),
            east_m_s: gather.columns(levels, |block| Some(&block.east_m_s)),
            north_m_s: gather.columns(levels, |block| Some(&block.north_m_s)),
            temperature_k: any(|block| block.temperature_k.as_ref()),
            vapour_pressure_pa: any(|block| block.vapour_pressure_pa.as_ref()),
            ground: gather.ground(),
        })
    }

    /// How many columns one member has.
    pub fn columns_of_member(&self) -> usize {
        self.steps.len() * self.points()
    }

    /// The number of the column of a member, time, row and column of the lattice.
    pub fn column(&self, member: usize, step: usize, row: usize, column: usize) -> usize {
        ((member * self.steps.len() + step) * self.lattice.y.count + row) * self.lattice.x.count
            + column
    }

    fn points(&self) -> usize {
        self.lattice.x.count * self.lattice.y.count
    }

    /// Row and column of the lattice at which column `index` stands.
    pub fn point(&self, index: usize) -> (usize, usize) {
        let point = index % self.points();
        (point / self.lattice.x.count, point % self.lattice.x.count)
    }

    fn ground_m(&self, index: usize) -> Option<f64> {
        let (row, column) = self.point(index);
        let z = self.ground.as_ref()?.altitude_m[[row, column]];
        z.is_finite().then_some(f64::from(z))
    }

    /// Whether a column has wind on any level; all its values may be missing.
    pub fn has_wind(&self, index: usize) -> bool {
        (0..self.pressures_pa.len()).any(|level| {
            let at = [index, level];
            let values = [self.altitude_m[at], self.east_m_s[at], self.north_m_s[at]];
            values.iter().all(|v| v.is_finite())
        })
    }

    /// The winds at 10 m above the forecast's ground, member by member; `None` where they are not known in
    /// all the columns that count.
    pub fn winds_at_10_m(&self, weights: &Weights) -> Option<Vec<Wind>> {
        let surface = self.ground.as_ref()?.wind_m_s.as_ref()?;
        let [east, north] = [0, 1].map(|component| self.of_members(surface, component, weights));
        let both = east.zip(north);
        both.map(|(east, north)| wind([east as f32, north as f32]))
            .collect()
    }

    /// Gusts near the forecast's ground, m/s, the mean of its members; `None` where they are not known in
    /// all the columns that count.
    pub fn gust_m_s(&self, weights: &Weights) -> Option<f64> {
        let ground = self.ground.as_ref()?;
        let weights = self.of_its_span(&ground.gust_spans, weights)?;
        let gusts = self.of_members(ground.gust_m_s.as_ref()?, 0, &weights);
        let gust_m_s = gusts.sum::<f64>() / self.members.len() as f64;
        gust_m_s.is_finite().then_some(gust_m_s)
    }

    /// The columns that tell of a moment: of values over some time those of the step whose time holds the
    /// moment, not what lies between two steps; `None` where none does.
    fn of_its_span(&self, spans: &[Span], weights: &Weights) -> Option<Weights> {
        let step = |column: usize| column / self.points();
        // Columns with a weight of 0 are of other steps, and may hold no number.
        let used = || weights.counting();
        let (first, last) = (
            used().map(|t| step(t.0)).min()?,
            used().map(|t| step(t.0)).max()?,
        );
        // Gusts over some time are told at its end, so the later of two steps is the one that may
        // hold it.
        let of_last = || used().filter(|t| step(t.0) == last);
        let share: f64 = of_last().map(|(_, weight)| weight).sum();
        let between_s = seconds_between(self.steps[first].valid, self.steps[last].valid);
        match spans.get(last)? {
            Span::Moment => Some(*weights),
            // A second for rounding.
            Span::Before(span_s) if (1.0 - share) * between_s > f64::from(*span_s) + 1.0 => None,
            Span::Before(_) | Span::SinceLast => Some(Weights::of(
                of_last().map(|(c, weight)| (c, weight / share)),
            )),
        }
    }

    /// One value of columns around a place, member by member.
    fn of_members(
        &self,
        values: &Array2<f32>,
        which: usize,
        weights: &Weights,
    ) -> impl Iterator<Item = f64> {
        (0..self.members.len()).map(move |member| {
            let first = member * self.columns_of_member();
            weights
                .counting()
                .map(|(c, weight)| weight * f64::from(values[[first + c, which]]))
                .sum()
        })
    }

    /// The wind of a column: on its levels above the ground, and at 10 m where that is known.
    /// Levels below the forecast's ground are made up by the model, and left out.
    pub fn winds(&self, index: usize) -> WindProfile {
        let mut winds: Vec<(f64, Wind)> = Vec::with_capacity(self.pressures_pa.len() + 1);
        // From 10 m above the ground on, where the wind near it stands if it is known.
        let lowest_m = match self.ground_m(index) {
            Some(ground_m) => {
                let surface = self.ground.as_ref().and_then(|g| g.wind_m_s.as_ref());
                if let Some(wind) = surface.and_then(|w| wind([w[[index, 0]], w[[index, 1]]])) {
                    winds.push((ground_m + SURFACE_WIND_M, wind));
                }
                ground_m + SURFACE_WIND_M
            }
            None => f64::NEG_INFINITY,
        };
        for level in 0..self.pressures_pa.len() {
            let z = f64::from(self.altitude_m[[index, level]]);
            let last = winds.last().map_or(lowest_m, |l| l.0);
            let found = wind([
                self.east_m_s[[index, level]],
                self.north_m_s[[index, level]],
            ]);
            // This also leaves out levels whose altitude is not a number.
            if let Some(wind) = found.filter(|_| z > last) {
                winds.push((z, wind));
            }
        }
        WindProfile::new(&winds)
    }

    /// The winds around a place and time, member by member.
    pub fn winds_of_members(&self, weights: &Weights) -> Vec<WindProfile> {
        let of_member = |member: usize| {
            // All columns of one member lie together, so one set of weights serves every member.
            let first = member * self.columns_of_member();
            let around: Vec<(f64, WindProfile)> = weights
                .counting()
                .map(|(c, w)| (w, self.winds(first + c)))
                .collect();
            let parts: Vec<(f64, &WindProfile)> = around.iter().map(|(w, p)| (*w, p)).collect();
            WindProfile::blend(&parts)
        };
        (0..self.members.len()).map(of_member).collect()
    }

    /// The run that tells of a time: where the steps around it are of two runs, the newer.
    pub fn run_at(&self, time: Timestamp) -> Option<Timestamp> {
        let around = &self.steps[steps_around(&self.steps, time, time)];
        around.iter().filter_map(|s| s.run).max()
    }

    /// The air around a place and time: levels interpolated as the weights say.
    pub fn air(&self, weights: &Weights, member: usize) -> AirProfile {
        let Some(temperature_k) = &self.temperature_k else {
            return AirProfile::standard();
        };
        let first = member * self.columns_of_member();
        let mean = |values: &Array2<f32>, level: usize| -> f64 {
            weights.mean(|c| f64::from(values[[first + c, level]]))
        };
        let mut levels: Vec<AirLevel> = Vec::with_capacity(self.pressures_pa.len());
        for (level, &pressure_pa) in self.pressures_pa.iter().enumerate() {
            let vapour = self.vapour_pressure_pa.as_ref().map(|v| mean(v, level));
            let found = AirLevel {
                altitude_m: mean(&self.altitude_m, level),
                temperature_k: mean(temperature_k, level),
                pressure_pa,
                vapour_pressure_pa: vapour.filter(|e| e.is_finite()).unwrap_or(0.0),
            };
            // Levels that do not rise would make the air between them meaningless.
            let above = levels
                .last()
                .is_none_or(|l| found.altitude_m > l.altitude_m);
            if above && found.altitude_m.is_finite() && found.temperature_k.is_finite() {
                levels.push(found);
            }
        }
        AirProfile::from_levels(&levels)
    }

    /// Bytes the values take.
    pub fn bytes(&self) -> usize {
        let optional = |v: &Option<Array2<f32>>| v.as_ref().map_or(0, Array2::len);
        let values = 3 * self.altitude_m.len()
            + optional(&self.temperature_k)
            + optional(&self.vapour_pressure_pa);
        values * size_of::<f32>()
    }
}

fn wind([east, north]: [f32; 2]) -> Option<Wind> {
    (east.is_finite() && north.is_finite()).then(|| Wind {
        east_m_s: f64::from(east),
        north_m_s: f64::from(north),
    })
}
