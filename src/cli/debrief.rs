//! `windfall debrief`: what the track of a flight says of its prediction.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;
use serde::Serialize;
use serde_json::Value;

use super::clocks::ClockArgs;
use super::instead::{Instead, ReleaseInstead, heading};
use super::options::{RunArgs, Units, with_threads};
use super::output::{self, Outputs};
use super::plan_file::{PlanFiles, inputs};
use super::trackers::TrackerArgs;
use super::wind_files::WindArgs;
use windfall::brief::map_ground;
use windfall::debrief::Debrief;
use windfall::debrief::scores::{FEW, Scores};
use windfall::error::{Error, Fault, Result};
use windfall::files::check_is_free;
use windfall::listen::listening::read_file;
use windfall::logbook::{Flight, Logbook};
use windfall::plan::Plan;
use windfall::report::files::briefing::{self, PIXELS};
use windfall::report::pictures::map;
use windfall::report::pictures::picture::Picture;
use windfall::report::{files, notes, pages, pictures, tables};
use windfall::track::Outcome;
use windfall::track::reader::Reader;
use windfall::units::UnitSystem;
use windfall::zone::DRAWS;

/// Compares a flight's track with its prediction: where it fell short, and what to take into the next plan; with
/// a logbook alone, how good its flights' zones were.
#[derive(Debug, Args)]
#[command(after_long_help = "\
Examples:
  windfall debrief flight.toml --track reports.log
  windfall debrief flight.toml --track first.csv --track second.gpx --json
  windfall debrief flight.toml --track reports.log --logbook flights.toml --out debrief
  windfall debrief --logbook flights.toml
  windfall debrief flight.toml --track reports.log --align logger.csv --aligned placed.csv
  windfall debrief flight.toml --track reports.log --camera IMG_0123.JPG=burst --places photos.kml")]
pub struct DebriefArgs {
    /// The plan (TOML); not needed for a logbook alone.
    #[arg(value_name = "PLAN.toml", required_unless_present = "logbook")]
    pub plan: Option<PathBuf>,
    /// What it may read.
    #[command(flatten)]
    pub files: PlanFiles,
    /// The flight's track, in any of the formats that `follow` reads; several files are merged.
    #[arg(
        long,
        value_name = "FILE",
        required_unless_present = "logbook",
        requires = "plan"
    )]
    pub track: Vec<PathBuf>,
    /// Whose reports are read, and how.
    #[command(flatten)]
    pub trackers: TrackerArgs,
    /// Appends the flight to this logbook (TOML), which is made if needed; a flight that is in it already is not
    /// written twice. A plan uses it by [spread] logbook. Without --track, scores the zones of its flights.
    #[arg(long, value_name = "FILE.toml")]
    pub logbook: Option<PathBuf>,
    /// Also writes the flight, as the ending says: .html (a page), .png or .svg (its map), .csv (a row for the
    /// records) or .geojson; a path without an ending is a folder for all of them. May be given several times. For a
    /// logbook alone, .png or .svg: where in their zones its flights came down.
    #[arg(long, value_name = "PATH", value_parser = debrief_file)]
    pub out: Vec<PathBuf>,
    /// Loggers and cameras to line up with the track.
    #[command(flatten)]
    pub clocks: ClockArgs,
    /// Which winds.
    #[command(flatten)]
    pub winds: WindArgs,
    /// When, in place of the plan's time.
    #[command(flatten)]
    pub late: ReleaseInstead,
    /// What else stands in place of the plan's.
    #[command(flatten)]
    pub instead: Instead,
    /// How many flights to simulate, each a little different: the draws.
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
    match (&args.plan, &args.logbook) {
        (Some(plan), _) if !args.track.is_empty() => of_flight(args, plan, out, talk),
        (None, Some(book)) => of_logbook(args, book, out),
        // The zones of a logbook are scored as they are there: a plan would change nothing.
        (Some(plan), Some(_)) => {
            let found = format!("{} without --track", plan.display());
            let expected =
                "--track with the reports of its flight, or no plan for the logbook alone";
            Err(Fault::new("debrief", found, expected).into())
        }
        _ => Err(Fault::new("debrief", "no --track and no --logbook", "one of them").into()),
    }
}

/// What is made of one flight.
fn of_flight(
    args: &DebriefArgs,
    plan_path: &Path,
    out: &mut impl Write,
    talk: &mut impl Write,
) -> Result<()> {
    let reader = args.trackers.reader()?;
    let mut plan = args.files.read(plan_path)?;
    args.late.apply(&mut plan)?;
    let units = args.run.units(&plan);
    args.instead.apply(&mut plan)?;
    if args.clocks.is_asked() {
        // Before the winds are read: loggers and cameras are lined up without them.
        let heard = heard(args, &reader)?;
        let read = [inputs(plan_path, &plan), args.track.clone()].concat();
        return args.clocks.run(&plan, heard, read, units, args.json, out);
    }
    let winds = args.winds.read(&plan)?;
    let read = [
        inputs(plan_path, &plan),
        args.winds.wind.clone(),
        args.track.clone(),
    ]
    .concat();
    let (files, folders) = files_and_folders(&args.out)?;
    let mut begun = Outputs::begin(&files, &read)?;
    let heard = heard(args, &reader)?;
    let options = args.run.options(args.draws);
    let debrief = with_threads(args.run.threads, || {
        Debrief::of(&plan, &winds, options, heard)
    })?;
    begun = begun.and(Outputs::begin(&in_folders(&folders)?, &read)?);
    let mut drawn = None;
    begun.write(|path| file(path, &debrief, &plan, units, &mut drawn))?;
    let text = match args.json {
        true => output::json(&Told::of(&debrief, &plan, units))?,
        false => heading(&plan, units) + &tables::debrief::table(&debrief, &plan, units),
    };
    begun.finish(|| output::print(out, "standard output", &text))?;
    // Last of all, so that a run that fails leaves the logbook as it was.
    let Some(path) = &args.logbook else {
        return Ok(());
    };
    let there = Logbook::append(path, &debrief.row())?;
    let said = logged(&debrief, there.as_ref(), path);
    output::print(talk, "standard error", &said)
}

/// What became of a flight's row in a logbook, `there` already or not.
fn logged(debrief: &Debrief, there: Option<&Flight>, path: &Path) -> String {
    let book = path.display();
    match there {
        Some(row) => format!(
            "nothing was written: the flight is already in {book}, as \"{}\" released at {}; remove that row to write it anew\n",
            row.name, row.released
        ),
        None if debrief.saw_landing() => format!("the flight was written to {book}\n"),
        None => format!(
            "the flight was written to {book}, but for what its landing would say of zones and winds: it was heard last too far above the ground\n"
        ),
    }
}

/// A flight, with what stands in place of the plan's own words.
#[derive(Serialize)]
struct Told<'a> {
    #[serde(flatten)]
    debrief: &'a Debrief,
    replaced: Value,
}

impl<'a> Told<'a> {
    fn of(debrief: &'a Debrief, plan: &Plan, units: UnitSystem) -> Told<'a> {
        Told {
            debrief,
            replaced: notes::assumptions_json(&plan.replaced, units),
        }
    }
}

/// All that the files of the track say.
fn heard(args: &DebriefArgs, reader: &Reader) -> Result<Vec<Outcome>> {
    let mut all = Vec::new();
    for path in &args.track {
        // Each with a reader of its own: what one file leaves unfinished is not of the next.
        all.extend(read_file(path, reader.clone())?);
    }
    Ok(all)
}

/// How good the zones of a logbook's flights were.
fn of_logbook(args: &DebriefArgs, book: &Path, out: &mut impl Write) -> Result<()> {
    let pictures = ["png", "svg"];
    let of_flights = args
        .out
        .iter()
        .find(|p| !output::extension(p).is_some_and(|kind| pictures.contains(&kind.as_str())));
    if let Some(path) = of_flights {
        let found = format!("{} of a logbook alone", path.display());
        return Err(Fault::new("--out", found, "a path that ends in .png or .svg").into());
    }
    let mut begun = Outputs::begin(&args.out, &[book.to_owned()])?;
    let flown = Logbook::read(book)?;
    if flown.flights.is_empty() {
        let name = book.display().to_string();
        return Err(Fault::new(name, "no flights", "at least one [[flight]] to score").into());
    }
    let scores = Scores::of(&flown);
    begun.write(|path| match &scores.many {
        Some(many) => picture(path, &pictures::debrief::ranks(many)),
        None => Err(Error::CannotDo {
            why: format!("{} flights make no picture", scores.ranked),
            remedy: format!("expected {FEW} flights with a zone in the logbook"),
        }),
    })?;
    // No plan is read here that could say which units its people use.
    let units = UnitSystem::of(args.run.units == Some(Units::Us));
    let text = match args.json {
        true => output::json(&scores)?,
        false => tables::scores::table(&scores, units),
    };
    begun.finish(|| output::print(out, "standard output", &text))
}

/// Endings of files, and their names in a folder; the page is always among them, and no briefing
/// has it.
const KINDS: [&str; 6] = ["html", "png", "svg", "csv", "geojson", "json"];
const PAGE: &str = "debrief.html";
/// The maps, which have the same names in a briefing.
const MAPS: [&str; 2] = ["map.png", "map.svg"];
const FILES: [&str; 5] = [PAGE, MAPS[0], MAPS[1], "record.csv", "debrief.geojson"];

fn debrief_file(text: &str) -> std::result::Result<PathBuf, String> {
    match Path::new(text).extension() {
        None => Ok(PathBuf::from(text)),
        Some(_) => output::path_of_kind(text, &KINDS),
    }
}

/// Which paths are files, and which folders: these are made when there is something to put into them, but refused
/// before anything is flown.
fn files_and_folders(out: &[PathBuf]) -> Result<(Vec<PathBuf>, Vec<PathBuf>)> {
    let paths = out.iter().cloned();
    let (files, folders): (Vec<_>, Vec<_>) = paths.partition(|p| p.extension().is_some());
    for folder in &folders {
        check_is_free(folder, &FILES, &[PAGE], "a debrief")?;
    }
    Ok((files, folders))
}

/// Refuses the folder of a debrief to a briefing, which would write over its maps.
///
/// # Errors
///
/// Such a folder.
pub(super) fn refuse_debriefed(folder: &Path, what: &str) -> Result<()> {
    // The page alone may have been written into the folder of a briefing, whose maps they then are.
    match folder.join(PAGE).exists() {
        true => check_is_free(folder, &MAPS, &[briefing::PAGE], what),
        false => Ok(()),
    }
}

/// The files of folders, which are made.
fn in_folders(folders: &[PathBuf]) -> Result<Vec<PathBuf>> {
    for folder in folders {
        fs::create_dir_all(folder).map_err(|cause| Error::file(folder, "make", cause))?;
    }
    let files = |folder: &PathBuf| FILES.map(|name| folder.join(name));
    Ok(folders.iter().flat_map(files).collect())
}

/// What a file of a flight holds, by its ending; the map is drawn once.
fn file(
    path: &Path,
    debrief: &Debrief,
    plan: &Plan,
    units: UnitSystem,
    drawn: &mut Option<Picture>,
) -> Result<Vec<u8>> {
    let kind = output::extension(path);
    match kind.as_deref() {
        Some("csv") => return Ok(files::debrief::csv(debrief)?.into_bytes()),
        Some("geojson" | "json") => return Ok(files::debrief::geojson(debrief).into_bytes()),
        _ => {}
    }
    let map = match drawn {
        Some(map) => map,
        none => {
            let ground = map_ground(plan, map::debrief::sheet(debrief).region())?;
            none.insert(map::debrief::draw(debrief, &ground, &plan.timezone, units))
        }
    };
    match kind.as_deref() {
        Some("html") => Ok(pages::debrief::text(debrief, plan, map, units).into_bytes()),
        _ => picture(path, map),
    }
}

fn picture(path: &Path, picture: &Picture) -> Result<Vec<u8>> {
    match output::extension(path).as_deref() {
        Some("png") => picture.scaled_png(PIXELS),
        _ => Ok(picture.svg().into_bytes()),
    }
}
