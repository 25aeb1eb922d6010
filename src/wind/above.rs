//! One forecast continued above its highest level by another that reaches higher.

use super::grid::Block;
use super::placing::{Placing, Weights};
use crate::error::Result;
use crate::geodesy::Position;
use ndarray::{Array2, Axis, concatenate};

/// The pressure at which the forecasts begin to be joined, as a multiple of that of the lower one's
/// highest level: from there on the upper one counts more and more. In the stratosphere that is 4.5 km
/// (assumed).
const OVERLAP: f64 = 2.0;

/// Where a column of the lower forecast finds its values in the upper one.
struct Above<'a> {
    block: &'a Block,
    /// Columns with their weights, of one or more members.
    terms: Vec<(usize, f64)>,
}

impl Above<'_> {
    /// The mean of what the columns have on a level, or between it and the next.
    fn mean(&self, values: &Array2<f32>, level: usize, share: f64) -> f64 {
        let at = |level: usize| -> f64 {
            let values = self
                .terms
                .iter()
                .map(|(c, w)| w * f64::from(values[[*c, level]]));
            values.sum()
        };
        // At a level itself there may be none above to ask.
        match share {
            0.0 => at(level),
            share => (1.0 - share) * at(level) + share * at(level + 1),
        }
    }

    /// The level below a pressure and the share of the way to the next, linear in its logarithm;
    /// `None` where it lies below all.
    fn between(&self, pressure_pa: f64) -> Option<(usize, f64)> {
        let levels = &self.block.pressures_pa;
        let level = levels.iter().rposition(|p| *p >= pressure_pa)?;
        match levels.get(level + 1) {
            Some(next) => {
                let share = (levels[level] / pressure_pa).ln() / (levels[level] / next).ln();
                Some((level, share))
            }
            None => (levels[level] == pressure_pa).then_some((level, 0.0)),
        }
    }
}

impl Block {
    /// The same columns with the levels of another forecast above their highest one. Within the
    /// overlap the winds go over from one forecast to the other, linear in the logarithm of pressure.
    /// Columns and times that the other does not cover have no wind any more: nothing is flown there.
    ///
    /// # Errors
    ///
    /// When PROJ refuses a lattice's projection.
    pub fn continued(mut self, above: &Block) -> Result<Block> {
        let Some(&top_pa) = self.pressures_pa.last() else {
            return Ok(self);
        };
        let found = self.columns_above(above)?;
        for (column, found) in found.iter().enumerate() {
            match found {
                Some(found) => self.blend(column, found, top_pa),
                None => {
                    // Held winds would be a guess about other air: flights end here, and that is
                    // told.
                    self.east_m_s.row_mut(column).fill(f32::NAN);
                    self.north_m_s.row_mut(column).fill(f32::NAN);
                }
            }
        }
        let first = above.pressures_pa.partition_point(|p| *p >= top_pa);
        let raised = |ours: &Array2<f32>, theirs: Option<&Array2<f32>>| {
            let size = (ours.nrows(), above.pressures_pa.len() - first);
            let more = Array2::from_shape_fn(size, |(column, level)| {
                let mean = |found: &Above| Some(found.mean(theirs?, first + level, 0.0) as f32);
                found[column].as_ref().and_then(mean).unwrap_or(f32::NAN)
            });
            concatenate(Axis(1), &[ours.view(), more.view()]).unwrap_or_else(|_| ours.clone())
        };
        let air = |ours: &Option<Array2<f32>>, theirs: &Option<Array2<f32>>| {
            ours.as_ref().map(|ours| raised(ours, theirs.as_ref()))
        };
        Ok(Block {
            altitude_m: raised(&self.altitude_m, Some(&above.altitude_m)),
            east_m_s: raised(&self.east_m_s, Some(&above.east_m_s)),
            north_m_s: raised(&self.north_m_s, Some(&above.north_m_s)),
            temperature_k: air(&self.temperature_k, &above.temperature_k),
            vapour_pressure_pa: air(&self.vapour_pressure_pa, &above.vapour_pressure_pa),
            pressures_pa: [&self.pressures_pa, &above.pressures_pa[first..]].concat(),
            ..self
        })
    }

    /// Where each column finds its values in the other forecast; `None` where it has none.
    fn columns_above<'a>(&self, above: &'a Block) -> Result<Vec<Option<Above<'a>>>> {
        let (Some(step), map) = (self.steps.first(), self.lattice.map()?) else {
            return Ok(Vec::new());
        };
        let base = step.valid;
        let (rows, per_row) = (self.lattice.y.count, self.lattice.x.count);
        let mut places: Vec<Position> = Vec::with_capacity(rows * per_row);
        for row in 0..rows {
            for column in 0..per_row {
                places.push(map.position(row as f64, column as f64)?);
            }
        }
        let middle = places[places.len() / 2];
        let placing = Placing::of_block(above, middle, base)?;
        let at = |step: usize, place: Position| -> Option<Weights> {
            let seconds = self.steps[step].valid.duration_since(base).as_secs_f64();
            placing.weights(place.normal(), seconds).ok()
        };
        let of_one: Vec<Option<Weights>> = (0..self.steps.len())
            .flat_map(|step| places.iter().map(move |place| (step, *place)))
            .map(|(step, place)| at(step, place))
            .collect();
        let mut all = Vec::with_capacity(self.members.len() * of_one.len());
        for member in &self.members {
            let theirs = members_for(*member, &above.members);
            let share = 1.0 / theirs.len() as f64;
            all.extend(of_one.iter().map(|weights| {
                let weights = weights.as_ref()?;
                let of_member = |m: &usize| {
                    let first = m * above.columns_of_member();
                    weights.terms().map(move |(c, w)| (first + c, share * w))
                };
                Some(Above {
                    block: above,
                    terms: theirs
                        .iter()
                        .flat_map(of_member)
                        // A weight of 0 does not keep out a value that is not a number.
                        .filter(|t| t.1 > 0.0)
                        .collect(),
                })
            }));
        }
        Ok(all)
    }

    /// Brings the winds of a column over to the other forecast's towards its highest level.
    fn blend(&mut self, column: usize, above: &Above, top_pa: f64) {
        for level in 0..self.pressures_pa.len() {
            let pressure = self.pressures_pa[level];
            // 0 where the overlap begins, 1 at the highest level of ours.
            let share = 1.0 - (pressure / top_pa).ln() / OVERLAP.ln();
            let Some((theirs, between)) = above.between(pressure).filter(|_| share > 0.0) else {
                continue;
            };
            let at = [column, level];
            for (ours, values) in [
                (&mut self.east_m_s, &above.block.east_m_s),
                (&mut self.north_m_s, &above.block.north_m_s),
            ] {
                // The upper forecast may have masked values within the overlap; ours stand there.
                let other = above.mean(values, theirs, between);
                if other.is_finite() {
                    ours[at] = ((1.0 - share) * f64::from(ours[at]) + share * other) as f32;
                }
            }
        }
    }
}

/// The members of the upper forecast that continue one of the lower: that of the same number, else
/// all of them by their mean.
fn members_for(member: Option<u32>, theirs: &[Option<u32>]) -> Vec<usize> {
    match theirs.iter().position(|m| m.is_some() && *m == member) {
        Some(same) => vec![same],
        None => (0..theirs.len()).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn members_go_on_in_their_own_or_in_the_mean_of_all() {
        let ensemble = [Some(1), Some(2), Some(3)];
        assert_eq!(members_for(Some(2), &ensemble), [1]);
        assert_eq!(members_for(Some(9), &ensemble), [0, 1, 2]);
        assert_eq!(members_for(None, &ensemble), [0, 1, 2]);
        assert_eq!(members_for(None, &[None]), [0]);
        assert_eq!(members_for(Some(2), &[None]), [0]);
    }
}
