//! Wind files as they are given: soundings or forecasts, not both.

use std::collections::BTreeSet;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use rayon::prelude::*;

use crate::error::{Error, Fault, Result};
use crate::sources::grid::GridFile;
use crate::sources::{self, FileAscent, Format};

/// What wind files hold, before it is made into the winds of a plan.
pub enum WindFiles {
    /// Every ascent of every file.
    Soundings(Vec<FileAscent>),
    /// Forecasts, not yet joined.
    Grids {
        /// The files.
        files: Vec<GridFile>,
        /// Files of an ensemble that could not be read, with the reason.
        damaged: Vec<String>,
    },
}

impl WindFiles {
    /// Reads all files, or tells the faults of all. Where the others are several members of an
    /// ensemble, or `member_per_file`, a forecast file that cannot be read is left out.
    ///
    /// # Errors
    ///
    /// The faults of all files, and soundings together with forecasts.
    pub fn read(
        files: &[PathBuf],
        format: Option<Format>,
        member_per_file: bool,
    ) -> Result<WindFiles> {
        let grids: Vec<bool> = files
            .iter()
            .map(|path| Ok(format.is_none() && is_grid(path)?))
            .collect::<Result<_>>()?;
        match (
            grids.iter().position(|&g| g),
            grids.iter().position(|&g| !g),
        ) {
            (Some(grid), Some(sounding)) => Err(Fault::new(
                files[sounding].display().to_string(),
                format!(
                    "a sounding together with {}, a forecast",
                    files[grid].display()
                ),
                "soundings or forecast files, not both",
            )
            .into()),
            (Some(_), None) => {
                let opened: Vec<_> = files.par_iter().map(|path| GridFile::open(path)).collect();
                let good = opened.iter().flatten();
                let members: BTreeSet<u32> = good
                    .clone()
                    .flat_map(|file| file.slabs.iter().filter_map(|slab| slab.member))
                    .collect();
                let mut damaged = Vec::new();
                let opened = match members.len() > 1 || (member_per_file && good.count() > 1) {
                    false => opened,
                    true => opened
                        .into_iter()
                        .filter_map(|file| match file {
                            Err(why @ Error::Faults(_)) => {
                                damaged.push(why.to_string());
                                None
                            }
                            other => Some(other),
                        })
                        .collect(),
                };
                all_or_faults(opened).map(|files| WindFiles::Grids { files, damaged })
            }
            _ => {
                let read = files.iter().map(|path| ascents(path, format)).collect();
                let ascents: Vec<Vec<FileAscent>> = all_or_faults(read)?;
                Ok(WindFiles::Soundings(
                    ascents.into_iter().flatten().collect(),
                ))
            }
        }
    }
}

fn ascents(path: &Path, format: Option<Format>) -> Result<Vec<FileAscent>> {
    let file = path.display().to_string();
    let soundings = sources::read_soundings(path, format)?;
    let ascent = |sounding| FileAscent {
        file: file.clone(),
        sounding,
    };
    Ok(soundings.into_iter().map(ascent).collect())
}

/// All values, or the faults of all that failed.
fn all_or_faults<T>(results: Vec<Result<T>>) -> Result<Vec<T>> {
    let (mut values, mut faults) = (Vec::new(), Vec::new());
    for result in results {
        match result {
            Ok(value) => values.push(value),
            Err(Error::Faults(more)) => faults.extend(more),
            Err(other) => return Err(other),
        }
    }
    if faults.is_empty() {
        Ok(values)
    } else {
        Err(Error::Faults(faults))
    }
}

/// Whether a file begins as a forecast does.
fn is_grid(path: &Path) -> Result<bool> {
    let mut first = Vec::new();
    File::open(path)
        .and_then(|file| file.take(GridFile::FIRST_BYTES).read_to_end(&mut first))
        .map_err(|cause| Error::file(path, "read", cause))?;
    Ok(GridFile::looks_like(&first) && !sources::is_sounding(path, &first))
}
