//! The wind files a command is given: soundings or a forecast.

use std::collections::BTreeSet;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use clap::Args;
use jiff::Timestamp;
use rayon::prelude::*;

use crate::error::{Error, Fault, Result};
use crate::plan::Plan;
use crate::sources::grid::GridFile;
use crate::sources::grid::archive::{Archive, Joining};
use crate::sources::{self, Ascent, Format};
use crate::zone::WindInput;

/// The winds of one release.
#[derive(Debug, Args)]
pub struct WindArgs {
    /// Wind files that replace the plan's.
    #[arg(long, value_name = "FILE", num_args = 1..)]
    pub wind: Vec<PathBuf>,
    /// The wind files' format, when it is not recognised: csv, igra2, listing or gsl.
    #[arg(long, value_name = "NAME")]
    pub format: Option<Format>,
}

impl WindArgs {
    /// The winds that are asked for.
    ///
    /// # Errors
    ///
    /// Whatever is wrong with their files.
    pub fn read(&self, plan: &Plan, plan_file: &Path) -> Result<WindInput> {
        of_plan(plan, plan_file, &self.wind, self.format)
    }
}

/// What the files hold.
pub enum WindFiles {
    /// Every ascent of every file.
    Soundings(Vec<Ascent>),
    /// Forecasts, not yet joined.
    Grids {
        /// The files.
        files: Vec<GridFile>,
        /// Files of an ensemble that could not be read, with the reason.
        damaged: Vec<String>,
    },
}

/// Reads all files, or tells the faults of all. Where the others are several members of an ensemble,
/// or `member_per_file`, a forecast file that cannot be read is left out.
pub fn read_all(
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
            let ascents: Vec<Vec<Ascent>> = all_or_faults(read)?;
            Ok(WindFiles::Soundings(
                ascents.into_iter().flatten().collect(),
            ))
        }
    }
}

fn ascents(path: &Path, format: Option<Format>) -> Result<Vec<Ascent>> {
    let file = path.display().to_string();
    let soundings = sources::read_soundings(path, format)?;
    let ascent = |sounding| Ascent {
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
    Ok(GridFile::looks_like(&first))
}

/// The ascent nearest to a time.
pub fn nearest(mut ascents: Vec<Ascent>, time: Timestamp) -> Result<Ascent> {
    let which = sources::nearest(ascents.iter().map(|a| &a.sounding), time)?;
    Ok(ascents.swap_remove(which))
}

/// The winds of a plan, or of the files that replace its own.
pub fn of_plan(
    plan: &Plan,
    plan_file: &Path,
    instead: &[PathBuf],
    format: Option<Format>,
) -> Result<WindInput> {
    let files = if instead.is_empty() {
        &plan.wind_files
    } else {
        instead
    };
    if files.is_empty() {
        let expected = "[wind] files = [\"sounding.csv\"] in the plan, or --wind FILE";
        return Err(
            Fault::new(plan_file.display().to_string(), "no wind file", expected)
                .of_key("[wind] files")
                .into(),
        );
    }
    Ok(match read_all(files, format, plan.member_per_file)? {
        WindFiles::Soundings(ascents) => WindInput::Soundings(ascents),
        WindFiles::Grids { files, damaged } => {
            let how = Joining {
                issued: plan.wind_issued,
                member_per_file: plan.member_per_file,
            };
            let mut archive = Archive::join(files, how)?;
            archive.left_out.extend(damaged);
            WindInput::Forecast(Box::new(archive))
        }
    })
}
