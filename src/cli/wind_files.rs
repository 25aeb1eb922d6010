//! Which wind files a command is given.

use std::path::PathBuf;

use clap::Args;

use windfall::error::Result;
use windfall::plan::Plan;
use windfall::sources::Format;
use windfall::winds::Winds;

/// The winds of one release.
#[derive(Debug, Args)]
pub struct WindArgs {
    /// Wind files that replace the plan's.
    #[arg(long, value_name = "FILE", num_args = 1..)]
    pub wind: Vec<PathBuf>,
    /// The wind files' format, when it is not recognised: csv, igra2, listing, gsl or point.
    #[arg(long, value_name = "NAME")]
    pub format: Option<Format>,
}

impl WindArgs {
    /// The winds that are asked for.
    ///
    /// # Errors
    ///
    /// Whatever is wrong with their files.
    pub fn read(&self, plan: &Plan) -> Result<Winds> {
        winds(plan, &self.wind, self.format)
    }
}

/// The winds in `instead`, or in the plan's own files where there are none.
///
/// # Errors
///
/// Whatever is wrong with the files.
pub fn winds(plan: &Plan, instead: &[PathBuf], format: Option<Format>) -> Result<Winds> {
    let files = match instead {
        [] => &plan.wind_files,
        _ => instead,
    };
    Winds::of_files(plan, files, format)
}
