//! Which wind files a command is given.

use std::path::PathBuf;

use clap::Args;

use windfall::error::Result;
use windfall::plan::Plan;
use windfall::sources::{Columns, Format, Hints};
use windfall::winds::Winds;

/// The winds of one release.
#[derive(Debug, Args)]
pub struct WindArgs {
    /// Wind files that replace the plan's.
    #[arg(long, value_name = "FILE", num_args = 1..)]
    pub wind: Vec<PathBuf>,
    #[command(flatten)]
    pub hints: HintArgs,
}

/// What is known of wind files beside their content.
#[derive(Debug, Args)]
pub struct HintArgs {
    /// The wind files' format, when it is not recognised: csv, igra2, listing, gsl, bufkit, spc,
    /// json or point.
    #[arg(long, value_name = "NAME")]
    pub format: Option<Format>,
    /// What the columns of a table hold, where headings do not say, by heading or number, as in
    /// "P=pressure hPa, 2=height m, S=wind speed kt, D=wind from, Q=none".
    #[arg(long, value_name = "COLUMNS")]
    pub columns: Option<Columns>,
}

impl HintArgs {
    /// For the readers.
    pub fn hints(&self) -> Hints {
        Hints {
            format: self.format,
            columns: self.columns.clone().unwrap_or_default(),
        }
    }
}

impl WindArgs {
    /// The winds that are asked for: the plan's own where none are.
    ///
    /// # Errors
    ///
    /// Whatever is wrong with their files.
    pub fn read(&self, plan: &Plan) -> Result<Winds> {
        let files = match self.wind.as_slice() {
            [] => &plan.wind_files,
            instead => instead,
        };
        Winds::of_files(plan, files, &self.hints.hints())
    }
}
