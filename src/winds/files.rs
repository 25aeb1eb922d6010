//! Wind files as they are given: soundings or forecasts, not both.

use std::collections::BTreeSet;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use rayon::prelude::*;

use crate::error::{Error, Fault, Result};
use crate::files::{is_regular, read_bytes, shown};
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
        let inputs = files.iter().map(|path| Input::open(path, format));
        let inputs: Vec<Input> = inputs.collect::<Result<_>>()?;
        match (
            inputs.iter().find(|input| input.is_grid),
            inputs.iter().find(|input| !input.is_grid),
        ) {
            (Some(grid), Some(sounding)) => Err(Fault::new(
                shown(sounding.path),
                format!("a sounding together with {}, a forecast", shown(grid.path)),
                "soundings or forecast files, not both",
            )
            .into()),
            (Some(_), None) => {
                let opened: Vec<_> = inputs.into_par_iter().map(Input::grid).collect();
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
                let read = inputs.into_iter().map(|input| input.ascents(format));
                let read = read.collect();
                let ascents: Vec<Vec<FileAscent>> = all_or_faults(read)?;
                Ok(WindFiles::Soundings(
                    ascents.into_iter().flatten().collect(),
                ))
            }
        }
    }
}

/// A wind file, and what of it had to be read already.
struct Input<'a> {
    path: &'a Path,
    is_grid: bool,
    /// All of it, where it can be read once only.
    bytes: Option<Vec<u8>>,
}

impl<'a> Input<'a> {
    fn open(path: &'a Path, format: Option<Format>) -> Result<Input<'a>> {
        let (first, bytes) = match is_regular(path) {
            true => (first_bytes(path)?, None),
            false => (Vec::new(), Some(read_bytes(path)?)),
        };
        let known_by = bytes.as_deref().unwrap_or(&first);
        Ok(Input {
            path,
            is_grid: format.is_none() && GridFile::looks_like(known_by),
            bytes,
        })
    }

    fn grid(self) -> Result<GridFile> {
        match self.bytes {
            Some(bytes) => GridFile::from_bytes(&shown(self.path), bytes),
            None => GridFile::open(self.path),
        }
    }

    fn ascents(self, format: Option<Format>) -> Result<Vec<FileAscent>> {
        let file = shown(self.path);
        let soundings = match self.bytes {
            Some(bytes) => sources::soundings_of(&file, &bytes, format)?,
            None => sources::read_soundings(self.path, format)?,
        };
        let ascent = |sounding| FileAscent {
            file: file.clone(),
            sounding,
        };
        Ok(soundings.into_iter().map(ascent).collect())
    }
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

/// The bytes by which a forecast is known.
fn first_bytes(path: &Path) -> Result<Vec<u8>> {
    let mut first = Vec::new();
    File::open(path)
        .and_then(|file| file.take(GridFile::FIRST_BYTES).read_to_end(&mut first))
        .map_err(|cause| Error::file(path, "read", cause))?;
    Ok(first)
}
