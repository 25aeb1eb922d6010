//! Which wind files a command is given.

use std::path::PathBuf;

use clap::Args;
use jiff::Timestamp;

use windfall::clock::after;
use windfall::error::Result;
use windfall::plan::Plan;
use windfall::sources::{Columns, Format, Hints};
use windfall::winds::Winds;

/// Flights are over, and winds are interpolated, within so many hours of a release before and after.
const AROUND_H: [f64; 2] = [-12.0, 48.0];

/// The hours in which flights need winds.
fn around([from, to]: [Timestamp; 2]) -> [Timestamp; 2] {
    let [before, later] = AROUND_H.map(|hours| 3_600.0 * hours);
    [after(from, before), after(to, later)]
}

/// The winds of one release.
#[derive(Debug, Args)]
pub struct WindArgs {
    /// Wind files that replace the plan's. In a program built with the feature "buckets" also a Zarr store
    /// at an address, which is then read from the network: https://..., s3://... or gs://...
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
            near: None,
        }
    }

    /// For the readers, of winds for releases between two times.
    pub fn around(&self, releases: [Timestamp; 2]) -> Hints {
        Hints {
            near: Some(around(releases)),
            ..self.hints()
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
        self.read_between(plan, [plan.release; 2])
    }

    /// The same for releases between two times.
    ///
    /// # Errors
    ///
    /// As [`WindArgs::read`].
    pub fn read_between(&self, plan: &Plan, releases: [Timestamp; 2]) -> Result<Winds> {
        let files = match self.wind.as_slice() {
            [] => &plan.wind_files,
            instead => instead,
        };
        Winds::of_files(plan, files, &self.hints.around(releases))
    }
}
