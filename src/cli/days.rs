//! `windfall days`: release times over some days, judged and ranked.

use std::io::Write;
use std::path::PathBuf;

use clap::Args;

use super::instead::{Instead, heading};
use super::options::with_threads;
use super::output::{self, Outputs};
use super::plan_file::{PlanFiles, inputs};
use super::progress::Progress;
use super::releases::ReleasesArgs;
use windfall::choice::days::days;
use windfall::error::Result;
use windfall::report::{json, pictures, tables::days as report};

/// Compares release times over the days that the winds cover, and ranks them by the plan's limits.
#[derive(Debug, Args)]
#[command(after_long_help = "\
Examples:
  windfall days flight.toml --wind forecast.grib2 --hours 06:00-12:00
  windfall days flight.toml --from 2026-05-09 --to 2026-05-12 --every \"2 h\" --out days.svg")]
pub struct DaysArgs {
    /// The plan (TOML).
    #[arg(value_name = "PLAN.toml")]
    pub plan: PathBuf,
    /// What it may read.
    #[command(flatten)]
    pub files: PlanFiles,
    /// Which releases.
    #[command(flatten)]
    pub releases: ReleasesArgs,
    /// What stands in place of the plan's.
    #[command(flatten)]
    pub instead: Instead,
    /// Also writes .csv, .json, .geojson (the 90 % ellipses), .svg or .png.
    #[arg(long, value_name = "PATH", value_parser = output_path)]
    pub out: Vec<PathBuf>,
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
    let mut plan = args.files.read(&args.plan)?;
    let releases = &args.releases;
    let options = releases.options();
    let units = releases.run.units(&plan);
    args.instead.apply(&mut plan)?;
    let winds = releases.winds(&plan)?;
    let times = releases.times(&plan, &winds, 1)?;
    let read = [inputs(&args.plan, &plan), releases.winds.wind.clone()].concat();
    let mut begun = Outputs::begin(&args.out, &read)?;
    let compared = with_threads(releases.run.threads, || {
        let progress = Progress::new(times.len() as u64, 1);
        let compared = days(&plan, &winds, &times, options, || progress.step());
        progress.done();
        compared
    })?;
    begun.write(|path| {
        Ok(match output::extension(path).as_deref() {
            Some("csv") => report::csv(&compared, units)?.into_bytes(),
            Some("json") => output::json(&json::days(&compared, units))?.into_bytes(),
            Some("geojson") => report::geojson(&compared, units).into_bytes(),
            Some("png") => pictures::days::draw(&compared, units).png()?,
            _ => pictures::days::draw(&compared, units).svg().into_bytes(),
        })
    })?;
    let text = if releases.json {
        output::json(&json::days(&compared, units))?
    } else {
        heading(&plan, units) + &report::table(&compared, units)
    };
    begun.finish(|| output::print(out, "standard output", &text))
}
