//! `windfall sites`: candidate sites compared, or where to launch for a target.

use std::io::Write;
use std::path::PathBuf;

use clap::Args;

use super::options::with_threads;
use super::output::{self, Outputs};
use super::plan_file::{PlanFiles, inputs};
use super::progress::Progress;
use super::releases::ReleasesArgs;
use windfall::choice::aim::{Allowed, aim};
use windfall::choice::candidates;
use windfall::choice::sites::sites;
use windfall::error::Result;
use windfall::plan::Plan;
use windfall::report::json;
use windfall::report::tables::{aim as aim_report, sites as sites_report};
use windfall::units::{Dimension, parse};

/// Compares candidate sites over release times and ranks them, or finds where to launch so that
/// the load comes down in a target.
#[derive(Debug, Args)]
#[command(after_long_help = "\
Examples:
  windfall sites flight.toml --candidates fields.csv --hours 07:00-10:00
  windfall sites flight.toml --into meadows.geojson --on-roads --out launch.geojson")]
pub struct SitesArgs {
    /// The plan (TOML).
    #[arg(value_name = "PLAN.toml")]
    pub plan: PathBuf,
    /// What it may read.
    #[command(flatten)]
    pub files: PlanFiles,
    /// Sites to compare: CSV (lat, lon, and name and elevation if wanted) or GeoJSON, points or
    /// polygons to lay a grid over.
    #[arg(long, value_name = "FILE", required_unless_present = "into")]
    pub candidates: Option<PathBuf>,
    /// Spacing of the grid over polygons, as in "5 km" or "3 mi".
    #[arg(long, value_name = "LENGTH", default_value = "5 km", value_parser = length)]
    pub spacing: f64,
    /// How many candidates to simulate fully: the best after a quick first pass over all.
    #[arg(long, value_name = "N", default_value_t = 20, value_parser = clap::value_parser!(u16).range(1..=1000))]
    pub fully: u16,
    /// Polygons to come down in: finds where to launch from to reach them.
    #[arg(long, value_name = "TARGET.geojson", conflicts_with = "candidates")]
    pub into: Option<PathBuf>,
    /// With --into: launch within these polygons only.
    #[arg(
        long,
        value_name = "FILE",
        requires = "into",
        conflicts_with = "candidates"
    )]
    pub launch_in: Vec<PathBuf>,
    /// With --into: launch on the plan's roads only.
    #[arg(long, requires = "into", conflicts_with = "candidates")]
    pub on_roads: bool,
    /// Which releases.
    #[command(flatten)]
    pub releases: ReleasesArgs,
    /// Also writes .csv, .json or .geojson.
    #[arg(long, value_name = "PATH", value_parser = output_path)]
    pub out: Vec<PathBuf>,
}

pub fn length(text: &str) -> std::result::Result<f64, String> {
    let length = parse(text, Dimension::Length).map_err(|e| e.to_string())?;
    if (10.0..=500_000.0).contains(&length) {
        Ok(length)
    } else {
        Err("expected a length from 10 m to 500 km, as in 5km".to_owned())
    }
}

fn output_path(text: &str) -> std::result::Result<PathBuf, String> {
    output::path_of_kind(text, &["csv", "json", "geojson"])
}

/// What a command found, in the forms it is given out in.
struct SitesOutput {
    table: String,
    csv: String,
    json: String,
    geojson: String,
}

/// Runs the command; the report goes to `out`.
///
/// # Errors
///
/// Whatever is wrong with the plan, the winds, the ground, the candidates, the target or the places
/// to write to.
pub fn run(args: &SitesArgs, out: &mut impl Write) -> Result<()> {
    let plan = args.files.read(&args.plan)?;
    let mut read = inputs(&args.plan, &plan);
    read.extend(args.releases.winds.wind.iter().cloned());
    read.extend(args.candidates.iter().chain(&args.into).cloned());
    read.extend(args.launch_in.iter().cloned());
    // Before the winds are read, of which there may be much.
    let mut begun = Outputs::begin(&args.out, &read)?;
    let made = with_threads(args.releases.run.threads, || outputs(args, &plan))?;
    begun.write(|path| {
        let text = match output::extension(path).as_deref() {
            Some("csv") => &made.csv,
            Some("json") => &made.json,
            _ => &made.geojson,
        };
        Ok(text.clone().into_bytes())
    })?;
    let text = if args.releases.json {
        &made.json
    } else {
        &made.table
    };
    begun.finish(|| output::print(out, "standard output", text))
}

fn outputs(args: &SitesArgs, plan: &Plan) -> Result<SitesOutput> {
    let candidates = match &args.candidates {
        Some(file) => candidates::read(file, args.spacing)?,
        None => Vec::new(),
    };
    let winds = args.releases.winds(plan)?;
    // With a target there are no candidates: each release is flown from one place.
    let count = usize::from(args.fully).min(candidates.len()).max(1);
    let times = args.releases.times(plan, &winds, count)?;
    let options = args.releases.options();
    let units = args.releases.run.units(plan);
    if let Some(target) = &args.into {
        let allowed = Allowed {
            launch_in: args.launch_in.clone(),
            on_roads: args.on_roads,
        };
        let progress = Progress::new(times.len() as u64, 1);
        let step = || progress.step();
        let aim = aim(plan, &winds, target, &allowed, &times, options, step)?;
        progress.done();
        return Ok(SitesOutput {
            table: aim_report::table(&aim, units),
            csv: aim_report::csv(&aim, units)?,
            json: output::json(&json::aim(&aim, units))?,
            geojson: aim_report::geojson(&aim, units),
        });
    }
    let fully = usize::from(args.fully).min(candidates.len());
    let progress = Progress::new(fully as u64, 1);
    let step = || progress.step();
    let sites = sites(plan, &winds, &candidates, &times, fully, options, step)?;
    progress.done();
    Ok(SitesOutput {
        table: sites_report::table(&sites, units),
        csv: sites_report::csv(&sites, units)?,
        json: output::json(&json::sites(&sites, units))?,
        geojson: sites_report::geojson(&sites, units),
    })
}
