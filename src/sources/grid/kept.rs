//! A part of an archive that is decoded once and then served from memory: what many flights of
//! neighbouring days share.

#![allow(
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "files, lattices, slabs and steps are numbered by ourselves"
)]

use std::ops::Range;

use super::GridFile;
use super::archive::Archive;
use crate::error::Result;
use crate::geodesy::lattice::{Lattice, Window};
use crate::wind::grid::{Block, BlockColumn};

/// What is kept of an archive: a window of its lattice at some of its times.
pub struct Kept {
    lattice: Lattice,
    window: Window,
    block: Block,
}

impl Archive {
    /// Decodes a window at some steps and keeps it; of what was kept before, the times that are wanted
    /// again are not decoded again. What it holds, [`Archive::cut`] takes from it from now on.
    ///
    /// Of an ensemble some members of which cannot be decoded nothing is kept.
    ///
    /// # Errors
    ///
    /// When it cannot be decoded.
    pub fn keep(&mut self, window: Window, steps: Range<usize>) -> Result<()> {
        let before = self
            .kept
            .take()
            // Columns of another window lie elsewhere in its block.
            .filter(|kept| kept.window == window && kept.lattice.same_as(&self.lattice));
        // Times, not numbers of steps: these change with the files that the archive is made of.
        let valid = |step: usize| self.steps[step].valid;
        let at = |step: usize| {
            let steps = &before.as_ref()?.block.steps;
            steps.binary_search_by_key(&valid(step), |s| s.valid).ok()
        };
        let mut decoded: Vec<(Range<usize>, Block)> = Vec::new();
        // Hours without a gap in one go: their slabs are decoded beside each other.
        for missing in runs(steps.clone().filter(|&step| at(step).is_none())) {
            let block = self.decoded(window, missing.clone())?;
            decoded.push((missing, block));
        }
        let sources: Option<Vec<BlockColumn>> = steps
            .map(|step| match (at(step), &before) {
                (Some(index), Some(kept)) => Some((&kept.block, index)),
                _ => {
                    let (run, block) = decoded.iter().find(|(run, _)| run.contains(&step))?;
                    Some((block, step - run.start))
                }
            })
            .collect();
        let block = sources
            .and_then(|sources| Block::of_steps(&sources, self.lattice.cut(window), whole(window)));
        self.kept = block.map(|block| Kept {
            lattice: self.lattice.clone(),
            window,
            block,
        });
        Ok(())
    }

    /// What is kept, for an archive of the same lattice with other files.
    pub fn take_kept(&mut self) -> Option<Kept> {
        self.kept.take()
    }

    /// Goes on with what another archive kept.
    pub fn give_kept(&mut self, kept: Option<Kept>) {
        self.kept = kept;
    }

    /// A window at some steps out of what is kept, if it holds all of it.
    pub(super) fn of_kept(&self, window: Window, steps: &Range<usize>) -> Option<Block> {
        let kept = self.kept.as_ref()?;
        let row = window.row.checked_sub(kept.window.row)?;
        // What is kept may lie across the seam, and the window east of it.
        let round = self.lattice.goes_round() && window.column < kept.window.column;
        let turn = if round { self.lattice.x.count } else { 0 };
        let column = (window.column + turn).checked_sub(kept.window.column)?;
        let holds =
            row + window.rows <= kept.window.rows && column + window.columns <= kept.window.columns;
        if !holds {
            return None;
        }
        let sources: Option<Vec<BlockColumn>> = steps
            .clone()
            .map(|step| {
                let valid = self.steps[step].valid;
                let found = kept.block.steps.binary_search_by_key(&valid, |s| s.valid);
                Some((&kept.block, found.ok()?))
            })
            .collect();
        let inside = Window {
            row,
            column,
            ..window
        };
        Block::of_steps(&sources?, self.lattice.cut(window), inside)
    }

    /// The files of an archive and of what continues it above.
    pub fn into_files(self) -> Vec<GridFile> {
        let above = self.above.map_or_else(Vec::new, |above| above.into_files());
        self.files.into_iter().chain(above).collect()
    }

    /// Whether another forecast continues it above its highest level.
    pub fn is_continued(&self) -> bool {
        self.above.is_some()
    }

    /// How many values were decoded from the files, those that continue it above included.
    pub fn values_decoded(&self) -> u64 {
        let own = self.files.iter().map(GridFile::values_decoded);
        own.sum::<u64>()
            + self
                .above
                .as_ref()
                .map_or(0, |above| above.values_decoded())
    }
}

fn whole(window: Window) -> Window {
    Window {
        row: 0,
        column: 0,
        ..window
    }
}

/// Rising numbers as runs without a gap.
fn runs(numbers: impl Iterator<Item = usize>) -> Vec<Range<usize>> {
    let mut runs: Vec<Range<usize>> = Vec::new();
    for number in numbers {
        match runs.last_mut() {
            Some(run) if run.end == number => run.end += 1,
            _ => runs.push(number..number + 1),
        }
    }
    runs
}
