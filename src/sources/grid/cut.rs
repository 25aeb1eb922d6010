//! The part of an archive that flights can reach, decoded.

#![allow(
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "files, lattices, slabs and steps are numbered by ourselves"
)]

use std::collections::BTreeSet;
use std::ops::{Range, RangeInclusive};

use ndarray::Array2;
use rayon::prelude::*;

use super::archive::{Archive, Where};
use super::reckoned::fill;
use crate::atmosphere::{
    Geopotential, saturation_vapour_pressure_pa, standard_height_of_pressure,
    vapour_pressure_of_humidity_pa,
};
use crate::earth::{G0_M_S2, HIGHEST_GROUND_M, LOWEST_GROUND_M};
use crate::error::{Error, Fault, Result};
use crate::geodesy::lattice::{Lattice, Window, to_true};
use crate::notes::left_out::{LeftOut, NoMember};
use crate::numeric::single;
use crate::sources::clean::agree;
use crate::wind::grid::{Block, Ground};
use crate::wind::slab::{GROUND, Quantity, Span, Surface};

/// One slab to be decoded, and the column and level its values go to.
struct Task {
    at: Where,
    member: usize,
    first_column: usize,
    level: usize,
}

/// Which members and steps are decoded, and how many points each.
struct Places<'a> {
    members: &'a [usize],
    steps: &'a [usize],
    size: usize,
}

impl Places<'_> {
    /// The tasks of all members and steps; `wanted` gives levels and slabs of each.
    fn tasks(&self, wanted: impl Fn(usize, usize) -> Vec<(usize, Where)>) -> Vec<Task> {
        let mut tasks = Vec::new();
        for (i, &member) in self.members.iter().enumerate() {
            for (k, &step) in self.steps.iter().enumerate() {
                let first_column = (i * self.steps.len() + k) * self.size;
                tasks.extend(wanted(member, step).into_iter().map(|(level, at)| Task {
                    at,
                    member,
                    first_column,
                    level,
                }));
            }
        }
        tasks
    }

    fn columns(&self) -> usize {
        self.members.len() * self.steps.len() * self.size
    }
}

/// A member that cannot be decoded, and why.
struct Damaged {
    member: usize,
    why: Error,
}

impl From<Error> for Damaged {
    /// What is wrong with no member.
    fn from(why: Error) -> Damaged {
        Damaged {
            // No member has this number, so that nothing is left out for it and `decoded` gives up.
            member: usize::MAX,
            why,
        }
    }
}

/// What is the same for all slabs: latitude of each point, and how the grid's axes turn there.
struct Points {
    window: Window,
    lat_deg: Vec<f64>,
    /// Radians clockwise from true north.
    y_direction: Vec<f64>,
}

impl Archive {
    /// Decodes a window of the lattice at some steps, with what continues it above, for all members that have them. Only the slabs
    /// needed are decoded, in parallel. Of an ensemble a member that cannot be decoded is left out;
    /// what is left out stands in [`Block::left_out`].
    ///
    /// # Errors
    ///
    /// When a slab cannot be decoded and it is not one of several members, or when no member has
    /// all these steps.
    pub fn cut(&self, window: Window, steps: Range<usize>) -> Result<Block> {
        match self.of_kept(window, &steps) {
            Some(block) => Ok(block),
            None => self.decoded(window, steps),
        }
    }

    /// [`Archive::cut`] from the files themselves.
    pub(super) fn decoded(&self, window: Window, steps: Range<usize>) -> Result<Block> {
        let steps: Vec<usize> = steps.collect();
        let whole = |member: &usize| steps.iter().all(|&step| self.has(*member, step));
        let (mut members, short): (Vec<usize>, Vec<usize>) =
            (0..self.members.len()).partition(whole);
        let mut left_out: Vec<LeftOut> = short.iter().map(|&m| self.is_short(m)).collect();
        if members.is_empty() {
            let why: Vec<String> = left_out.iter().map(ToString::to_string).collect();
            return Err(Error::CannotDo {
                why: format!(
                    "no member has all the hours that are needed: {}",
                    why.join("; ")
                ),
                remedy: "expected at least one whole member".into(),
            });
        }
        loop {
            match self.cut_members(&members, window, &steps) {
                Ok(mut block) => {
                    left_out.append(&mut block.left_out);
                    return self.continued(Block { left_out, ..block });
                }
                Err(damaged) => {
                    let Some(at) = members.iter().position(|m| *m == damaged.member) else {
                        return Err(damaged.why);
                    };
                    if members.len() < 2 {
                        return Err(damaged.why);
                    }
                    let fault = damaged.why.to_string();
                    left_out.push(LeftOut::Member {
                        member: self.members[members[at]],
                        why: NoMember::Damaged { fault },
                    });
                    // The others are decoded anew: damage is rare, and their columns
                    // lie elsewhere in a block of fewer members.
                    members.remove(at);
                }
            }
        }
    }

    /// That a member lacks hours.
    fn is_short(&self, member: usize) -> LeftOut {
        let mut has = (0..self.steps.len()).filter(|&step| self.has(member, step));
        let last = has.next_back().map(|step| self.steps[step].valid);
        LeftOut::Member {
            member: self.members[member],
            why: last.map_or(NoMember::NoWinds, |ends| NoMember::Hours { ends }),
        }
    }

    fn cut_members(
        &self,
        members: &[usize],
        window: Window,
        steps: &[usize],
    ) -> std::result::Result<Block, Damaged> {
        let lattice = self.lattice.cut(window);
        let points = Points::new(&lattice, window)?;
        let size = window.rows * window.columns;
        let columns = members.len() * steps.len() * size;
        let levels = self.levels_pa.len();
        let places = Places {
            members,
            steps,
            size,
        };
        let on_levels = |quantity: Quantity| {
            places.tasks(|member, step| {
                let slabs = self.levels_pa.iter().enumerate();
                slabs
                    .filter_map(|(level, &pa)| {
                        Some((
                            level,
                            self.find(member, step, quantity, Surface::Isobaric(pa))?,
                        ))
                    })
                    .collect()
            })
        };
        let decode = |quantity| self.decode(&on_levels(quantity), &points, columns, levels);
        let optional = |quantity| -> std::result::Result<Option<Array2<f32>>, Damaged> {
            let tasks = on_levels(quantity);
            if tasks.is_empty() {
                return Ok(None);
            }
            self.decode(&tasks, &points, columns, levels).map(Some)
        };
        let mut altitude_m = decode(Quantity::Height)?;
        // While they are geopotential: the standard heights they are held against are so, too.
        self.hold_against_pressure(&on_levels(Quantity::Height), &altitude_m, size)?;
        let mut east_m_s = decode(Quantity::EastWind)?;
        let mut north_m_s = decode(Quantity::NorthWind)?;
        let mut impossible = drop_impossible(&mut east_m_s, WINDS_M_S);
        impossible.extend(drop_impossible(&mut north_m_s, WINDS_M_S));
        // Those on levels are all along the same axes, or would not have been joined: any tells.
        let aloft = Surface::Isobaric(self.levels_pa[0]);
        let is_along = |&step| self.along_grid(members[0], step, aloft);
        if steps.first().is_some_and(is_along) {
            points.to_true(&mut east_m_s, &mut north_m_s, |_| true);
        }
        let mut temperature_k = optional(Quantity::Temperature)?;
        if let Some(temperature_k) = temperature_k.as_mut() {
            impossible.extend(drop_impossible(temperature_k, TEMPERATURES_K));
        }
        let pressures_pa: Vec<f64> = self.levels_pa.iter().map(|&pa| f64::from(pa)).collect();
        let specific = optional(Quantity::SpecificHumidity)?;
        // The specific one is preferred where there are both: it needs no temperature.
        let relative = match specific {
            None => optional(Quantity::RelativeHumidity)?,
            Some(_) => None,
        };
        let vapour_pressure_pa = vapour(specific, relative, temperature_k.as_ref(), &pressures_pa);
        let air = (temperature_k.as_ref(), vapour_pressure_pa.as_ref());
        self.fill_heights(&mut altitude_m, air, &places, &points)?;
        // After the reckoned ones are in: these are geopotential heights as well.
        points.to_geometric(&mut altitude_m);
        Ok(Block {
            lattice,
            steps: steps.iter().map(|&k| self.steps[k]).collect(),
            members: members.iter().map(|&m| self.members[m]).collect(),
            left_out: self.impossible(&impossible),
            vapour_pressure_pa,
            pressures_pa,
            altitude_m,
            east_m_s,
            north_m_s,
            temperature_k,
            ground: self.ground(&places, &points)?,
        })
    }

    /// Fills the heights of the levels for which the files give none, geopotential m.
    fn fill_heights(
        &self,
        heights: &mut Array2<f32>,
        (temperature_k, vapour_pa): (Option<&Array2<f32>>, Option<&Array2<f32>>),
        places: &Places,
        points: &Points,
    ) -> std::result::Result<(), Damaged> {
        if self.reckoned.levels.is_empty() {
            return Ok(());
        }
        let standard = |pa: f64| single(standard_height_of_pressure(pa).0);
        let (false, Some(temperature_k)) = (self.reckoned.standard, temperature_k) else {
            for (level, &pa) in self.levels_pa.iter().enumerate() {
                if self.reckoned.levels.contains(&pa) {
                    heights.column_mut(level).fill(standard(f64::from(pa)));
                }
            }
            return Ok(());
        };
        let pressures_pa: Vec<f64> = self.levels_pa.iter().map(|&pa| f64::from(pa)).collect();
        let orography = self.orography_at(points)?;
        let tasks = places.tasks(|member, step| {
            let found = self.find(member, step, Quantity::Pressure, Surface::Ground);
            found.map(|at| (0, at)).into_iter().collect()
        });
        let pressure_pa = self.decode(&tasks, points, places.columns(), 1)?;
        let ground = |column: usize| {
            // The points repeat for each member and step, but the ground is the same for all.
            let altitude_m = orography.as_ref()?.iter().nth(column % places.size)?;
            Some((f64::from(*altitude_m), f64::from(pressure_pa[[column, 0]])))
        };
        fill(heights, temperature_k, vapour_pa, &pressures_pa, ground);
        Ok(())
    }

    /// What is said of levels on which values were dropped.
    fn impossible(&self, levels: &BTreeSet<usize>) -> Vec<LeftOut> {
        let levels_pa: Vec<u32> = levels.iter().map(|&level| self.levels_pa[level]).collect();
        match levels_pa.is_empty() {
            true => Vec::new(),
            false => vec![LeftOut::Impossible { levels_pa }],
        }
    }

    /// Heights that cannot belong to the pressures of their levels are not flown with.
    fn hold_against_pressure(
        &self,
        tasks: &[Task],
        heights: &Array2<f32>,
        size: usize,
    ) -> std::result::Result<(), Damaged> {
        for task in tasks {
            let pressure_pa = f64::from(self.levels_pa[task.level]);
            let of_points = task.first_column..task.first_column + size;
            let wrong = of_points
                .map(|column| f64::from(heights[[column, task.level]]))
                .find(|&h| h.is_finite() && !agree(h, pressure_pa));
            if let Some(height) = wrong {
                return Err(Damaged {
                    member: task.member,
                    why: impossible_height(&self.files[task.at.0].name, height, pressure_pa).into(),
                });
            }
        }
        Ok(())
    }

    fn find(&self, member: usize, step: usize, quantity: Quantity, at: Surface) -> Option<Where> {
        self.index.get(&(member, step, quantity, at)).copied()
    }

    /// Whether the wind of a member at a step is along the grid, on a surface.
    fn along_grid(&self, member: usize, step: usize, on: Surface) -> bool {
        let wind = self.find(member, step, Quantity::EastWind, on);
        wind.is_some_and(|(file, slab)| self.files[file].slabs[slab].along_grid)
    }

    /// Whether each member's wind at 10 m is along the grid at each step: not always as those aloft, and of
    /// joined files some may be and some not.
    fn along_grid_near_ground(&self, places: &Places) -> Vec<bool> {
        let at_10_m = Surface::AboveGround(10);
        let of_member = |&member: &usize| {
            let steps = places.steps.iter();
            steps.map(move |&step| self.along_grid(member, step, at_10_m))
        };
        places.members.iter().flat_map(of_member).collect()
    }

    /// Columns by levels; not-a-number where no task fills it.
    fn decode(
        &self,
        tasks: &[Task],
        points: &Points,
        columns: usize,
        levels: usize,
    ) -> std::result::Result<Array2<f32>, Damaged> {
        let mut values = Array2::from_elem((columns, levels), f32::NAN);
        let read = |task: &Task| {
            let slab = self.files[task.at.0].read(task.at.1, points.window);
            slab.map_err(|why| Damaged {
                member: task.member,
                why,
            })
        };
        // Collected first, so that of several errors the first is reported on any number of threads.
        let slabs: Vec<_> = tasks.par_iter().map(read).collect();
        let slabs: Vec<Array2<f32>> = slabs
            .into_iter()
            .collect::<std::result::Result<_, Damaged>>()?;
        for (task, slab) in tasks.iter().zip(&slabs) {
            for (i, value) in slab.iter().enumerate() {
                values[[task.first_column + i, task.level]] = *value;
            }
        }
        Ok(values)
    }

    /// Altitude of the forecast's own ground, m above mean sea level: rows by columns of a window of
    /// the lattice; `None` where the files do not have it.
    ///
    /// # Errors
    ///
    /// When it cannot be decoded.
    pub fn orography(&self, window: Window) -> Result<Option<Array2<f32>>> {
        let points = Points::new(&self.lattice.cut(window), window)?;
        self.orography_at(&points)
    }

    fn orography_at(&self, points: &Points) -> Result<Option<Array2<f32>>> {
        // The ground does not move: any time and member will do, but always the same.
        let heights = self
            .index
            .iter()
            .filter(|(key, _)| (key.2, key.3) == GROUND);
        let Some((_, &(file, slab))) = heights.min_by_key(|(key, _)| (key.0, key.1)) else {
            return Ok(None);
        };
        let mut altitude_m = self.files[file].read(slab, points.window)?;
        let on_earth = LOWEST_GROUND_M..=HIGHEST_GROUND_M;
        let heights = altitude_m.iter().map(|&h| f64::from(h));
        if let Some(wrong) = heights
            .into_iter()
            .find(|h| h.is_finite() && !on_earth.contains(h))
        {
            let found = format!("ground at {wrong:.0} m");
            let expected = format!(
                "{LOWEST_GROUND_M} to {HIGHEST_GROUND_M} m; is a geopotential in m2 s-2 labelled metres?"
            );
            return Err(Fault::new(&self.files[file].name, found, expected).into());
        }
        for (z, lat) in altitude_m.iter_mut().zip(&points.lat_deg) {
            *z = single(Geopotential(f64::from(*z)).altitude_m(*lat));
        }
        Ok(Some(altitude_m))
    }

    /// The forecast's ground and what it says above it, if it says.
    fn ground(
        &self,
        places: &Places,
        points: &Points,
    ) -> std::result::Result<Option<Ground>, Damaged> {
        let orography = self.orography_at(points)?;
        let columns = places.columns();
        let tasks_of = |wanted: &[(Quantity, Surface)]| {
            places.tasks(|member, step| {
                let slabs = wanted.iter().enumerate();
                slabs
                    .filter_map(|(level, &(quantity, surface))| {
                        Some((level, self.find(member, step, quantity, surface)?))
                    })
                    .collect()
            })
        };
        let all_of = |wanted: &[(Quantity, Surface)]| {
            let tasks = tasks_of(wanted);
            // All or none: between a time that has them and one that has not
            // nothing can be interpolated.
            if tasks.len() < wanted.len() * columns / places.size {
                return Ok(None);
            }
            self.decode(&tasks, points, columns, wanted.len()).map(Some)
        };
        let mut wind_m_s = all_of(&[
            (Quantity::EastWind, Surface::AboveGround(10)),
            (Quantity::NorthWind, Surface::AboveGround(10)),
        ])?;
        if let Some(wind) = wind_m_s.as_mut() {
            drop_impossible(wind, WINDS_M_S);
            let along_grid = self.along_grid_near_ground(places);
            let mut north = wind.column(1).to_owned().insert_axis(ndarray::Axis(1));
            let mut east = wind.column(0).to_owned().insert_axis(ndarray::Axis(1));
            points.to_true(&mut east, &mut north, |column| {
                along_grid[column / places.size]
            });
            wind.column_mut(0).assign(&east.column(0));
            wind.column_mut(1).assign(&north.column(0));
        }
        // The first time of a run has none: they are of the hours before.
        let gusts = tasks_of(&[(Quantity::Gust, Surface::Ground)]);
        let mut gust_m_s = match gusts.is_empty() {
            true => None,
            false => Some(self.decode(&gusts, points, columns, 1)?),
        };
        if let Some(gust_m_s) = gust_m_s.as_mut() {
            drop_impossible(gust_m_s, GUSTS_M_S);
        }
        let altitude_m = match (orography, wind_m_s.is_some() || gust_m_s.is_some()) {
            (Some(altitude_m), _) => altitude_m,
            // They are worth knowing even where nobody says how high the ground is.
            (None, true) => {
                Array2::from_elem([points.window.rows, points.window.columns], f32::NAN)
            }
            (None, false) => return Ok(None),
        };
        Ok(Some(Ground {
            altitude_m,
            wind_m_s,
            gust_spans: self.gust_spans(places),
            gust_m_s,
            air: all_of(&[
                (Quantity::Temperature, Surface::AboveGround(2)),
                (Quantity::Pressure, Surface::Ground),
            ])?,
        }))
    }
}

impl Archive {
    /// Which time the gusts of each step are of.
    fn gust_spans(&self, places: &Places) -> Vec<Span> {
        let span = |&step: &usize| {
            let slabs = places.members.iter();
            let mut slabs =
                slabs.filter_map(|&m| self.find(m, step, Quantity::Gust, Surface::Ground));
            let found = slabs
                .next()
                .map(|(file, slab)| self.files[file].slabs[slab].span);
            found.unwrap_or_default()
        };
        places.steps.iter().map(span).collect()
    }
}

/// What components of the wind and temperatures air has: the same as in soundings.
const WINDS_M_S: RangeInclusive<f32> = -200.0..=200.0;
/// Gusts are speeds; a little below 0 where packing rounds them.
const GUSTS_M_S: RangeInclusive<f32> = -0.5..=200.0;
const TEMPERATURES_K: RangeInclusive<f32> = 130.0..=340.0;

/// Takes values that no air has, as those that stand for missing ones where the file does not say so, out of
/// columns; the levels that had some.
fn drop_impossible(values: &mut Array2<f32>, range: RangeInclusive<f32>) -> BTreeSet<usize> {
    let mut levels = BTreeSet::new();
    for ((_, level), value) in values.indexed_iter_mut() {
        if value.is_finite() && !range.contains(value) {
            *value = f32::NAN;
            levels.insert(level);
        }
    }
    levels
}

/// What is said of a height that its pressure belies, and of the unit it would fit in.
fn impossible_height(file: &str, height_m: f64, pressure_pa: f64) -> Fault {
    let found = format!("a height of {height_m:.0} m at {} hPa", pressure_pa / 100.0);
    let mut expected = format!("about {:.0} m", standard_height_of_pressure(pressure_pa).0);
    if agree(height_m / G0_M_S2, pressure_pa) {
        expected += ": it fits a geopotential in m2 s-2, so name it geopotential, with that unit";
    } else if agree(height_m * G0_M_S2, pressure_pa) {
        expected += ": it fits if what is named a geopotential in m2 s-2 is a height in metres";
    }
    Fault::new(file, found, expected)
}

impl Points {
    fn new(lattice: &Lattice, window: Window) -> Result<Points> {
        let map = lattice.map()?;
        let (mut lat_deg, mut y_direction) = (Vec::new(), Vec::new());
        for row in 0..window.rows {
            for column in 0..window.columns {
                let place = map.position(row as f64, column as f64)?;
                lat_deg.push(place.lat_deg);
                y_direction.push(map.y_direction(place)?);
            }
        }
        Ok(Points {
            window,
            lat_deg,
            y_direction,
        })
    }

    /// Geopotential heights of columns become geometric altitudes at their latitudes.
    fn to_geometric(&self, heights: &mut Array2<f32>) {
        for (column, mut levels) in heights.outer_iter_mut().enumerate() {
            let lat = self.lat_deg[column % self.lat_deg.len()];
            levels.mapv_inplace(|h| single(Geopotential(f64::from(h)).altitude_m(lat)));
        }
    }

    /// Components along the grid become components towards true east and north, in columns that are `turned`.
    fn to_true(&self, x: &mut Array2<f32>, y: &mut Array2<f32>, turned: impl Fn(usize) -> bool) {
        let columns = x.outer_iter_mut().zip(y.outer_iter_mut()).enumerate();
        for (column, (mut x, mut y)) in columns.filter(|(column, _)| turned(*column)) {
            let direction = self.y_direction[column % self.y_direction.len()];
            for (x, y) in x.iter_mut().zip(y.iter_mut()) {
                let turned = to_true([f64::from(*x), f64::from(*y)], direction);
                [*x, *y] = turned.map(single);
            }
        }
    }
}

/// Vapour pressure by columns and levels, from what humidity there is.
fn vapour(
    specific: Option<Array2<f32>>,
    relative: Option<Array2<f32>>,
    temperature_k: Option<&Array2<f32>>,
    pressures_pa: &[f64],
) -> Option<Array2<f32>> {
    if let Some(mut q) = specific {
        for mut levels in q.outer_iter_mut() {
            for (value, &p) in levels.iter_mut().zip(pressures_pa) {
                *value = single(vapour_pressure_of_humidity_pa(f64::from(*value), p));
            }
        }
        return Some(q);
    }
    let (mut share, temperature_k) = (relative?, temperature_k?);
    share.zip_mut_with(temperature_k, |value, t| {
        *value *= single(saturation_vapour_pressure_pa(f64::from(*t)));
    });
    Some(share)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_no_air_has_is_missing() {
        let given = [[10.0, -999.0, f32::NAN], [199.0, 32_767.0, -200.0]];
        let mut values = Array2::from(given.to_vec());
        assert_eq!(drop_impossible(&mut values, WINDS_M_S), BTreeSet::from([1]));
        assert!(values.column(1).iter().all(|v| v.is_nan()));
        assert_eq!(values[[0, 0]], 10.0);
        assert_eq!(values.column(2)[1], -200.0);
    }
}
