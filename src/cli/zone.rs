//! `windfall zone`: the landing zone of one release.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;
use jiff::Timestamp;

use super::cost::Run;
use super::instead::{Instead, ReleaseInstead, heading};
use super::options::{RunArgs, moment, with_threads};
use super::output::{self, Outputs};
use super::plan_file::{PlanFiles, inputs};
use super::progress::Progress;
use super::show;
use super::wind_files::WindArgs;
use windfall::brief::{Brief, brief_of, where_to_wait};
use windfall::error::Result;
use windfall::report::files::briefing::PIXELS;
use windfall::report::files::{geojson, gpx, kml, zone_csv};
use windfall::report::pictures::map;
use windfall::report::round_heights::round_heights;
use windfall::report::{json, pages, tables};
use windfall::units::UnitSystem;
use windfall::zone::{DRAWS, Options, Prediction, predict_and_keep};

/// Predicts the landing zone of a plan: where, when, and how sure.
#[derive(Debug, Args)]
#[command(after_long_help = "\
Examples:
  windfall zone flight.toml
  windfall zone flight.toml --wind sounding.csv --out zone.geojson --out zone.kml
  windfall zone flight.toml --release 09:40 --lift \"10 % less\" --units us
  curl -s ADDRESS | windfall zone flight.toml --wind -")]
pub struct ZoneArgs {
    /// The plan (TOML).
    #[arg(value_name = "PLAN.toml")]
    pub plan: PathBuf,
    /// What it may read.
    #[command(flatten)]
    pub files: PlanFiles,
    /// Which winds.
    #[command(flatten)]
    pub winds: WindArgs,
    /// When, in place of the plan's time.
    #[command(flatten)]
    pub late: ReleaseInstead,
    /// What else stands in place of the plan's.
    #[command(flatten)]
    pub instead: Instead,
    /// Also writes the zone, as the ending says: .geojson, .png, .svg, .kml, .gpx, .csv or .html (the
    /// briefing's page); may be given several times. "-" prints the GeoJSON, and the table goes to
    /// stderr.
    #[arg(long, value_name = "PATH", value_parser = zone_file)]
    pub out: Vec<PathBuf>,
    /// Opens the first file that was written, in the system's program for it.
    #[arg(long, requires = "out")]
    pub open: bool,
    /// The time that files say they were made; now, unless given.
    #[arg(long, value_name = "TIME", value_parser = moment)]
    pub made: Option<Timestamp>,
    /// Keeps every landing in the GeoJSON.
    #[arg(long)]
    pub keep_draws: bool,
    /// How many flights to simulate, each a little different: the draws.
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
    let mut plan = args.files.read(&args.plan)?;
    let options = Options {
        keep_draws: args.keep_draws,
        ..args.run.options(args.draws)
    };
    args.late.apply(&mut plan)?;
    let units = args.run.units(&plan);
    args.instead.apply(&mut plan)?;
    // Before the winds: to read and decode them may take long by itself.
    args.run.leave.to(Run::once(args.draws, args.run.threads))?;
    let winds = args.winds.read(&plan)?;
    // "-" is no file to begin: it is printed when all else is ready.
    let (printed, paths): (Vec<PathBuf>, Vec<PathBuf>) =
        args.out.iter().cloned().partition(|path| path == STDOUT);
    let read = [inputs(&args.plan, &plan), args.winds.wind.clone()].concat();
    let mut begun = Outputs::begin(&paths, &read)?;
    let (prediction, wait, brief) = with_threads(args.run.threads, || {
        let progress = Progress::new(args.draws, 512);
        let (mut prediction, kept) = predict_and_keep(&plan, &winds, options, || progress.step())?;
        progress.done();
        // A briefing takes time of its own, so it is made only for a file that needs it.
        let brief = match paths.iter().all(|path| is_geojson(path)) {
            true => None,
            false => {
                let heights = round_heights(units);
                let made = args.made.unwrap_or_else(Timestamp::now);
                let flown = (prediction.clone(), &kept);
                Some(brief_of(&plan, &winds, options, &heights, made, flown)?)
            }
        };
        let wait = match &brief {
            Some(brief) => {
                prediction.zone.notes.clone_from(&brief.zone.notes);
                brief.wait.clone()
            }
            None => where_to_wait(&plan, &mut prediction.zone, &kept)?,
        };
        Ok((prediction, wait, brief))
    })?;
    begun.write(|path| match &brief {
        Some(brief) if !is_geojson(path) => brief_file(path, brief, units),
        _ => Ok(geojson::text(&prediction.zone, units).into_bytes()),
    })?;
    let report = if args.json {
        output::json(&json::zone(&prediction, &wait, units))?
    } else {
        let Prediction { zone, facts } = &prediction;
        heading(&plan, units) + &tables::zone::table(zone, facts, &wait, &plan.timezone, units)
    };
    begun.finish(|| {
        if printed.is_empty() {
            return output::print(out, "standard output", &report);
        }
        // The table gives way to what was asked for by name.
        output::print(talk, "standard error", &report)?;
        let text = geojson::text(&prediction.zone, units);
        output::print(out, "standard output", &text)
    })?;
    match paths.first() {
        Some(first) if args.open => show::open(
            first.as_os_str(),
            &format!("{} was written", first.display()),
            talk,
        ),
        _ => Ok(()),
    }
}

/// The path that stands for standard output.
const STDOUT: &str = "-";
/// Endings of GeoJSON.
const GEOJSON: [&str; 2] = ["geojson", "json"];
/// Endings of what a briefing tells.
const OF_BRIEF: [&str; 6] = ["png", "svg", "kml", "gpx", "csv", "html"];

fn zone_file(text: &str) -> std::result::Result<PathBuf, String> {
    match text {
        STDOUT => Ok(PathBuf::from(text)),
        _ => output::path_of_kind(text, &[&GEOJSON[..], &OF_BRIEF].concat()),
    }
}

fn is_geojson(path: &Path) -> bool {
    output::extension(path).is_some_and(|kind| GEOJSON.contains(&kind.as_str()))
}

/// What a file of a briefing holds, by its ending.
fn brief_file(path: &Path, brief: &Brief, units: UnitSystem) -> Result<Vec<u8>> {
    let text = match output::extension(path).as_deref() {
        Some("png") => return map::draw(brief, units).scaled_png(PIXELS),
        Some("svg") => map::draw(brief, units).svg(),
        Some("kml") => kml::text(brief, units),
        Some("gpx") => gpx::text(brief, units),
        Some("csv") => zone_csv::text(brief)?,
        _ => pages::brief::text(brief, &map::draw(brief, units), units),
    };
    Ok(text.into_bytes())
}
