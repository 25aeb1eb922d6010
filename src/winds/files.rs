//! Wind files as they are given: soundings or forecasts, not both.

use std::collections::BTreeSet;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use rayon::prelude::*;

use crate::error::{Error, Fault, Result, all_or_faults};
use crate::files::{packed, shown};
use crate::notes::left_out::LeftOut;
use crate::sources::grid::GridFile;
use crate::sources::{self, FileAscent, Hints};

/// What wind files hold, before it is made into the winds of a plan.
pub enum WindFiles {
    /// Every ascent of every file.
    Soundings(Vec<FileAscent>),
    /// Forecasts, not yet joined.
    Grids {
        /// The files.
        files: Vec<GridFile>,
        /// Files of an ensemble that could not be read, with the reason.
        damaged: Vec<LeftOut>,
    },
}

impl WindFiles {
    /// Reads all files, or tells the faults of all. Where the others are several members of an
    /// ensemble, or `member_per_file`, a forecast file that cannot be read is left out.
    ///
    /// # Errors
    ///
    /// The faults of all files, and soundings together with forecasts.
    pub fn read(files: &[PathBuf], hints: &Hints, member_per_file: bool) -> Result<WindFiles> {
        let given = files.par_iter().map(|path| Given::open(path, hints));
        let given: Vec<Given> = all_or_faults(given.collect())?;
        let first = |is_grid| given.iter().position(|g| g.is_grid == is_grid);
        match (first(true), first(false)) {
            (Some(grid), Some(sounding)) => Err(Fault::new(
                shown(&files[sounding]),
                format!(
                    "a sounding together with {}, a forecast",
                    shown(&files[grid])
                ),
                "soundings or forecast files, not both",
            )
            .into()),
            (Some(_), None) => {
                let opened: Vec<_> = given.into_par_iter().map(|g| g.grid(hints)).collect();
                let good = opened.iter().flatten();
                let members: BTreeSet<u32> = good
                    .clone()
                    .flat_map(|file| file.slabs.iter().filter_map(|slab| slab.member))
                    .collect();
                let mut damaged = Vec::new();
                // Of one forecast a file that is missing would leave hours out, of an ensemble one
                // weather of many.
                let opened = match members.len() > 1 || (member_per_file && good.count() > 1) {
                    false => opened,
                    true => opened
                        .into_iter()
                        .filter_map(|file| match file {
                            // What is wrong within a file only: one that cannot be read at all is
                            // still told.
                            Err(why @ Error::Faults(_)) => {
                                let fault = why.to_string();
                                damaged.push(LeftOut::File { fault });
                                None
                            }
                            other => Some(other),
                        })
                        .collect(),
                };
                all_or_faults(opened).map(|files| WindFiles::Grids { files, damaged })
            }
            _ => {
                let read = given.into_iter().map(|g| g.ascents(hints)).collect();
                let ascents: Vec<Vec<FileAscent>> = all_or_faults(read)?;
                Ok(WindFiles::Soundings(
                    ascents.into_iter().flatten().collect(),
                ))
            }
        }
    }
}

/// A file that was opened.
struct Given<'a> {
    path: &'a Path,
    /// What it holds, where it is packed or can be read once only.
    unpacked: Option<Vec<u8>>,
    is_grid: bool,
}

impl<'a> Given<'a> {
    fn open(path: &'a Path, hints: &Hints) -> Result<Given<'a>> {
        // A store is a folder or an address, and neither can be read by its first bytes.
        if GridFile::is_store(path) && hints.format.is_none() {
            return Ok(Given {
                path,
                unpacked: None,
                is_grid: true,
            });
        }
        let unpacked = packed::unpacked(path)?;
        // Only soundings have formats to name, so who names one means a sounding.
        let is_grid = hints.format.is_none()
            && match &unpacked {
                // A NetCDF file may be either, so the readers of soundings are asked, too.
                Some(bytes) => GridFile::looks_like(bytes) && !sources::is_sounding_in(bytes),
                None => begins_as_grid(path)?,
            };
        Ok(Given {
            path,
            unpacked,
            is_grid,
        })
    }

    fn grid(self, hints: &Hints) -> Result<GridFile> {
        match self.unpacked {
            Some(bytes) => GridFile::from_bytes(&shown(self.path), bytes),
            None => GridFile::open_near(self.path, hints.near),
        }
    }

    fn ascents(self, hints: &Hints) -> Result<Vec<FileAscent>> {
        let file = shown(self.path);
        let soundings = match self.unpacked {
            Some(bytes) => sources::soundings_of(&file, &bytes, hints)?,
            None => sources::read_soundings(self.path, hints)?,
        };
        let ascent = |sounding| FileAscent {
            file: file.clone(),
            sounding,
        };
        Ok(soundings.into_iter().map(ascent).collect())
    }
}

/// Whether a file begins as a forecast does.
fn begins_as_grid(path: &Path) -> Result<bool> {
    let mut first = Vec::new();
    File::open(path)
        .and_then(|file| file.take(GridFile::FIRST_BYTES).read_to_end(&mut first))
        .map_err(|cause| Error::file(path, "read", cause))?;
    Ok(GridFile::looks_like(&first) && !sources::is_sounding(path, &first))
}
