//! `windfall debrief`: what the track of a flight says of its prediction.

use std::io::Write;
use std::path::PathBuf;

use clap::Args;

use super::instead::{Instead, ReleaseInstead, heading};
use super::options::{RunArgs, with_threads};
use super::output;
use super::plan_file::PlanFiles;
use super::trackers::TrackerArgs;
use super::wind_files::WindArgs;
use windfall::debrief::Debrief;
use windfall::error::Result;
use windfall::listen::hearing::read_file;
use windfall::logbook::Logbook;
use windfall::report::tables;
use windfall::zone::DRAWS;

/// Compares a flight's track with its prediction: where it fell short, and what to take into the next plan.
#[derive(Debug, Args)]
#[command(after_long_help = "\
Examples:
  windfall debrief flight.toml --track reports.log
  windfall debrief flight.toml --track first.csv --track second.gpx --json
  windfall debrief flight.toml --track reports.log --logbook flights.toml")]
pub struct DebriefArgs {
    /// The plan (TOML).
    #[arg(value_name = "PLAN.toml")]
    pub plan: PathBuf,
    /// What it may read.
    #[command(flatten)]
    pub files: PlanFiles,
    /// The flight's track, in any of the formats that `follow` reads; several files are merged.
    #[arg(long, value_name = "FILE", required = true)]
    pub track: Vec<PathBuf>,
    /// Whose reports are read, and how.
    #[command(flatten)]
    pub trackers: TrackerArgs,
    /// Appends the flight to this logbook (TOML), which is made if it is not there; a flight that is in it
    /// already is not written twice. A plan uses it by [spread] logbook.
    #[arg(long, value_name = "FILE.toml")]
    pub logbook: Option<PathBuf>,
    /// Which winds.
    #[command(flatten)]
    pub winds: WindArgs,
    /// When, in place of the plan's time.
    #[command(flatten)]
    pub late: ReleaseInstead,
    /// What else stands in place of the plan's.
    #[command(flatten)]
    pub instead: Instead,
    /// How many flights to draw.
    #[arg(long, default_value_t = DRAWS, value_parser = clap::value_parser!(u64).range(20..=20_000))]
    pub draws: u64,
    /// How it is run.
    #[command(flatten)]
    pub run: RunArgs,
    /// Prints the result as JSON instead of the table.
    #[arg(long)]
    pub json: bool,
}

/// Runs the command.
///
/// # Errors
///
/// Whatever is wrong with the plan, the winds or the track.
pub fn run(args: &DebriefArgs, out: &mut impl Write, talk: &mut impl Write) -> Result<()> {
    let reader = args.trackers.reader()?;
    let mut plan = args.files.read(&args.plan)?;
    args.late.apply(&mut plan)?;
    let units = args.run.units(&plan);
    args.instead.apply(&mut plan, units)?;
    let winds = args.winds.read(&plan)?;
    let mut heard = Vec::new();
    for path in &args.track {
        heard.extend(read_file(path, reader.clone())?);
    }
    let options = args.run.options(args.draws);
    let debrief = with_threads(args.run.threads, || {
        Debrief::of(&plan, &winds, options, heard)
    })?;
    let text = match args.json {
        true => output::json(&debrief)?,
        false => heading(&plan) + &tables::debrief::table(&debrief, &plan, units),
    };
    output::print(out, "standard output", &text)?;
    let Some(path) = &args.logbook else {
        return Ok(());
    };
    let said = match Logbook::append(path, &debrief.row())? {
        true => "the flight was written to",
        false => "nothing was written: the flight is already in",
    };
    output::print(
        talk,
        "standard error",
        &format!("{said} {}\n", path.display()),
    )
}
