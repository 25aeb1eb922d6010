//! `windfall zone`: the landing zone of one release.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;

use super::instead::{Instead, ReleaseInstead, heading};
use super::options::{RunArgs, with_threads};
use super::output;
use super::progress::Progress;
use super::wind_files::WindArgs;
use windfall::error::Result;
use windfall::files::UnfinishedFile;
use windfall::plan::Plan;
use windfall::report::{files::geojson, notes, tables};
use windfall::units::UnitSystem;
use windfall::zone::{DRAWS, Options, Prediction, Zone, predict};

/// Predicts the landing zone of a plan: where, when, and how sure.
#[derive(Debug, Args)]
pub struct ZoneArgs {
    /// The plan (TOML).
    #[arg(value_name = "PLAN.toml")]
    pub plan: PathBuf,
    /// Which winds.
    #[command(flatten)]
    pub winds: WindArgs,
    /// When, in place of the plan's time.
    #[command(flatten)]
    pub late: ReleaseInstead,
    /// What else stands in place of the plan's.
    #[command(flatten)]
    pub instead: Instead,
    /// Also writes the zone as GeoJSON; "-" prints it, and the table goes to stderr.
    #[arg(long, value_name = "PATH")]
    pub out: Option<PathBuf>,
    /// Keeps every landing in the GeoJSON.
    #[arg(long)]
    pub keep_draws: bool,
    /// How many flights to draw.
    #[arg(long, default_value_t = DRAWS, value_parser = clap::value_parser!(u64).range(20..=10_000_000))]
    pub draws: u64,
    /// How it is run.
    #[command(flatten)]
    pub run: RunArgs,
    /// Prints the result as JSON instead of the table.
    #[arg(long)]
    pub json: bool,
}

/// Runs the command: data on `out`, talk on `talk`.
///
/// # Errors
///
/// Whatever is wrong with the plan, the winds, the flight or the place to write to.
pub fn run(args: &ZoneArgs, out: &mut impl Write, talk: &mut impl Write) -> Result<()> {
    let mut plan = Plan::read(&args.plan)?;
    let options = Options {
        keep_draws: args.keep_draws,
        ..args.run.options(args.draws)
    };
    args.late.apply(&mut plan)?;
    let units = args.run.units(&plan);
    args.instead.apply(&mut plan, units)?;
    let winds = args.winds.read(&plan)?;
    let to_stdout = args.out.as_deref() == Some(Path::new("-"));
    let unfinished = match &args.out {
        Some(path) if !to_stdout => Some(UnfinishedFile::begin(path)?),
        _ => None,
    };
    let prediction = with_threads(args.run.threads, || {
        let progress = Progress::new(args.draws, 512);
        let prediction = predict(&plan, &winds, options, || progress.step());
        progress.done();
        prediction
    })?;
    let report = if args.json {
        as_json(&prediction, units)?
    } else {
        heading(&plan)
            + &tables::zone::table(&prediction.zone, &prediction.facts, &plan.timezone, units)
    };
    if let Some(unfinished) = unfinished {
        unfinished.finish(geojson::text(&prediction.zone, units).as_bytes())?;
    }
    if to_stdout {
        output::print(talk, "standard error", &report)?;
        output::print(
            out,
            "standard output",
            &geojson::text(&prediction.zone, units),
        )
    } else {
        output::print(out, "standard output", &report)
    }
}

/// The zone without its track, and the facts.
fn as_json(prediction: &Prediction, units: UnitSystem) -> Result<String> {
    let Prediction { zone, facts } = prediction;
    let bare = Zone {
        track: Vec::new(),
        draws: None,
        ..zone.clone()
    };
    let mut json = serde_json::json!({"zone": bare, "facts": facts});
    json["zone"]["assumptions"] = notes::assumptions_json(&zone.assumptions, units);
    json["zone"]["notes"] = notes::notes_json(&zone.notes, units);
    output::json(&json)
}
