//! Two forecasts given together: the one that ends lower is continued by the one that reaches higher.

#![allow(
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "files, lattices, slabs and steps are numbered by ourselves"
)]

use super::GridFile;
use super::archive::{Archive, Joining, is_wind};
use crate::earth::DEGREE_M;
use crate::error::{Fault, Result};
use crate::geodesy::lattice::{Lattice, Plane, Window};
use crate::notes::reading::Reading;
use crate::wind::grid::Block;
use crate::wind::placing::ONE_TIME_STANDS_S;
use crate::wind::slab::Surface;

impl Archive {
    /// Joins files as [`Archive::join`] does; where they are of two grids, of which the finer ends
    /// lower, the other continues it.
    ///
    /// # Errors
    ///
    /// As [`Archive::join`], and where two grids cannot be told into a lower and an upper one.
    pub fn join_all(files: Vec<GridFile>, how: Joining) -> Result<Archive> {
        // One grid needs nothing here; of three and more joining tells what is wrong.
        let Some(of_first) = two_grids(&files) else {
            return Archive::join(files, how);
        };
        let (mut one, mut other) = (Vec::new(), Vec::new());
        for (file, first) in files.into_iter().zip(of_first) {
            if first {
                one.push(file)
            } else {
                other.push(file)
            }
        }
        let (one, other) = (Archive::join(one, how)?, Archive::join(other, how)?);
        let top = |archive: &Archive| archive.levels_pa.last().copied();
        let (lower, upper) = match top(&one).cmp(&top(&other)) {
            // The one that ends at the higher pressure is the lower one.
            std::cmp::Ordering::Greater => (one, other),
            std::cmp::Ordering::Less => (other, one),
            std::cmp::Ordering::Equal => return Err(neither_continues(&one, &other).into()),
        };
        // A coarser one below that ends lower as well adds nothing to the finer one.
        if spacing_m(&lower.lattice) > spacing_m(&upper.lattice) {
            return Err(needless(&lower, &upper).into());
        }
        Ok(lower.under(upper))
    }

    fn under(mut self, upper: Archive) -> Archive {
        let said = Reading::ContinuedAbove {
            top: top_of(&self),
            lower: self.names(),
            upper: upper.names(),
            region: upper.lattice.describe(),
        };
        self.assumed.push(said);
        if let ([only], true) = (&upper.steps[..], self.steps.len() > 1) {
            self.assumed.push(Reading::OneTimeAbove {
                time: only.valid,
                stands_s: ONE_TIME_STANDS_S,
            });
        }
        self.assumed.extend(upper.assumed.iter().cloned());
        self.left_out.extend(upper.left_out.iter().cloned());
        self.above = Some(Box::new(upper));
        self
    }

    /// A block of this archive's with what continues it.
    pub(super) fn continued(&self, block: Block) -> Result<Block> {
        let (Some(upper), [first, .., last] | [first @ last]) =
            (&self.above, block.steps.as_slice())
        else {
            return Ok(block);
        };
        let window = window_around(&block.lattice, &upper.lattice)?;
        let above = upper.cut(window, upper.steps_around(first.valid, last.valid))?;
        let mut joined = block.continued(&above)?;
        joined.left_out.extend(above.left_out);
        Ok(joined)
    }
}

/// Which files are on the grid of the first that has winds, where the winds are on two grids; files
/// without winds go with the grid they are on, or else with the first.
fn two_grids(files: &[GridFile]) -> Option<Vec<bool>> {
    let of_winds = |file: &GridFile| {
        let slab = file.slabs.iter().find(|slab| is_wind(slab))?;
        Some(file.lattices[slab.lattice].clone())
    };
    let grids: Vec<Option<Lattice>> = files.iter().map(of_winds).collect();
    let mut different: Vec<&Lattice> = Vec::new();
    for lattice in grids.iter().flatten() {
        if !different.iter().any(|known| known.same_as(lattice)) {
            different.push(lattice);
        }
    }
    let [first, second] = different[..] else {
        return None;
    };
    let is_first = |(file, winds): (&GridFile, &Option<Lattice>)| match winds {
        Some(lattice) => first.same_as(lattice),
        None => !file.lattices.iter().any(|lattice| second.same_as(lattice)),
    };
    Some(files.iter().zip(&grids).map(is_first).collect())
}

/// From row to row, m.
fn spacing_m(lattice: &Lattice) -> f64 {
    match lattice.plane {
        Plane::LatLon => lattice.y.step * DEGREE_M,
        Plane::Projected(_) => lattice.y.step,
    }
}

/// The window of a lattice that holds another lattice.
fn window_around(inner: &Lattice, outer: &Lattice) -> Result<Window> {
    let map = inner.map()?;
    let ends = |count: usize| {
        let last = count.saturating_sub(1) as f64;
        [0.0, 0.5 * last, last]
    };
    let (rows, columns) = (ends(inner.y.count), ends(inner.x.count));
    let center = map.position(rows[1], columns[1])?;
    let mut reach_m: f64 = 0.0;
    for row in rows {
        for column in columns {
            // Corners and middles of edges: the rest of an edge bulges by
            // less than the twentieth below.
            reach_m = reach_m.max(center.distance_m(map.position(row, column)?));
        }
    }
    outer.around(center, 1.05 * reach_m + 0.5 * spacing_m(inner))
}

fn top_of(archive: &Archive) -> String {
    let top = archive.levels_pa.last();
    top.map_or_else(String::new, |pa| Surface::Isobaric(*pa).to_string())
}

fn neither_continues(one: &Archive, other: &Archive) -> Fault {
    Fault::new(
        other.names().join(", "),
        format!(
            "winds for {}, up to {}",
            other.lattice.describe(),
            top_of(other)
        ),
        format!(
            "the region and spacing of {}, {}: one forecast at a time, or a fine one and one that \
             continues it above; both reach the same level",
            one.names().join(", "),
            one.lattice.describe()
        ),
    )
}

fn needless(lower: &Archive, upper: &Archive) -> Fault {
    Fault::new(
        lower.names().join(", "),
        format!(
            "winds for {}, up to {}",
            lower.lattice.describe(),
            top_of(lower)
        ),
        format!(
            "{} alone: it is finer, {}, and reaches higher, {}",
            upper.names().join(", "),
            upper.lattice.describe(),
            top_of(upper)
        ),
    )
}
