//! `windfall days`: release times over some days, judged and ranked.

use std::io::Write;
use std::path::PathBuf;

use clap::Args;

use super::options::{Units, with_threads};
use super::output;
use super::progress::Progress;
use super::times::TimesArgs;
use super::wind_files;
use crate::choice::days::days;
use crate::error::Result;
use crate::plan::Plan;
use crate::report::write_file::UnfinishedFile;
use crate::report::{days as report, days_picture};
use crate::units::UnitSystem;
use crate::zone::Options;

/// Compares release times over the days that the winds cover, and ranks them by the plan's limits.
#[derive(Debug, Args)]
pub struct DaysArgs {
    /// The plan (TOML).
    #[arg(value_name = "PLAN.toml")]
    pub plan: PathBuf,
    /// Wind files that replace the plan's.
    #[arg(long, value_name = "FILE", num_args = 1..)]
    pub wind: Vec<PathBuf>,
    /// Which releases.
    #[command(flatten)]
    pub times: TimesArgs,
    /// Also writes .csv, .json, .geojson (the 90 % ellipses), .svg or .png.
    #[arg(long, value_name = "PATH", value_parser = output_path)]
    pub out: Vec<PathBuf>,
    /// How many flights to draw for each release.
    #[arg(long, default_value_t = 1_000, value_parser = clap::value_parser!(u64).range(20..=1_000_000))]
    pub draws: u64,
    /// Seed of everything random: the same seed gives the same bytes.
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// Threads to use; all cores unless given.
    #[arg(long, value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Units for people.
    #[arg(long, value_enum, default_value = "metric")]
    pub units: Units,
    /// Prints the result as JSON instead of the table.
    #[arg(long)]
    pub json: bool,
}

fn output_path(text: &str) -> std::result::Result<PathBuf, String> {
    output::path_of_kind(text, &["csv", "json", "geojson", "svg", "png"])
}

/// Runs the command; the report goes to `out`.
///
/// # Errors
///
/// Whatever is wrong with the plan, the winds, the ground or the places to write to.
pub fn run(args: &DaysArgs, out: &mut impl Write) -> Result<()> {
    let plan = Plan::read(&args.plan)?;
    let units: UnitSystem = args.units.into();
    let winds = wind_files::of_plan(&plan, &args.plan, &args.wind, None)?;
    let times = args.times.times(&plan, &winds)?;
    let unfinished: Vec<(UnfinishedFile, &PathBuf)> = args
        .out
        .iter()
        .map(|path| Ok((UnfinishedFile::begin(path)?, path)))
        .collect::<Result<_>>()?;
    let options = Options {
        draws: args.draws,
        seed: args.seed,
        keep_draws: false,
        units,
    };
    let compared = with_threads(args.threads, || {
        let progress = Progress::new(times.len() as u64, 1);
        let compared = days(&plan, &winds, &times, options, || progress.step());
        progress.done();
        compared
    })?;
    for (file, path) in unfinished {
        let bytes = match output::extension(path).as_deref() {
            Some("csv") => report::csv(&compared)?.into_bytes(),
            Some("json") => output::json(&compared)?.into_bytes(),
            Some("geojson") => report::geojson(&compared).into_bytes(),
            Some("png") => days_picture::draw(&compared, units).png()?,
            _ => days_picture::draw(&compared, units).svg().into_bytes(),
        };
        file.finish(&bytes)?;
    }
    let text = if args.json {
        output::json(&compared)?
    } else {
        report::table(&compared, units)
    };
    output::print(out, "standard output", &text)
}
