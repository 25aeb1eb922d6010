//! `windfall winds`: what is in a wind file.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;
use jiff::Timestamp;

use super::instead::heading;
use super::options::{Units, moment, units};
use super::output::{self, Outputs};
use super::plan_file::PlanFiles;
use super::wind_files::HintArgs;
use windfall::error::{Error, Result};
use windfall::geodesy::Position;
use windfall::notes::left_out::LeftOut;
use windfall::report::pictures::{self, picture::Picture};
use windfall::report::tables::{forecast, winds};
use windfall::sources::grid::GridFile;
use windfall::sources::grid::archive::{Archive, Joining};
use windfall::sources::{self, FileAscent};
use windfall::units::UnitSystem;
use windfall::winds::Winds;
use windfall::winds::files::WindFiles;
use windfall::zone::above_site;

/// Shows what is in a wind file: levels, times, gaps, what was cleaned, and a picture.
#[derive(Debug, Args)]
#[command(after_long_help = "\
Examples:
  windfall winds sounding.csv --out profile.svg
  windfall winds forecast.nc --place 39.75,-8.85 --at 2026-05-09T12:00:00Z")]
pub struct WindsArgs {
    /// Wind files; also a Zarr store at an address, as for --wind of `windfall zone`.
    #[arg(required_unless_present = "plan", value_name = "FILE")]
    pub files: Vec<PathBuf>,
    /// Only the winds for this plan's flight, above its site at its release: one ascent of the files, or
    /// what several make together. Without FILE, the plan's own files.
    #[arg(long, value_name = "PLAN.toml", conflicts_with_all = ["at", "place"])]
    pub plan: Option<PathBuf>,
    /// What the plan may read.
    #[command(flatten)]
    pub named: PlanFiles,
    #[command(flatten)]
    pub hints: HintArgs,
    /// Only the ascent nearest to this time, as in 2010-06-01T12:00:00Z; for a forecast, the winds
    /// at this time (its first, unless given).
    #[arg(long, value_name = "TIME", value_parser = moment)]
    pub at: Option<Timestamp>,
    /// For a forecast: the winds above this place, as in 39.75,-8.85 (degrees north and east).
    #[arg(long, value_name = "LAT,LON", value_parser = place, allow_hyphen_values = true)]
    pub place: Option<Position>,
    /// Every level instead of about thirty, and every one of many ascents.
    #[arg(long)]
    pub all: bool,
    /// Units for people; those of a plan's [flight] units, else metric.
    #[arg(long, value_enum)]
    pub units: Option<Units>,
    /// Prints everything as JSON instead.
    #[arg(long)]
    pub json: bool,
    /// Also draws the ascent, as .svg or .png; if there are several, --at or --plan chooses one.
    #[arg(long, value_name = "PATH", value_parser = picture_path)]
    pub out: Option<PathBuf>,
}

/// Runs the command; the report goes to `out`.
///
/// # Errors
///
/// The faults of all files together, or a file or `out` that cannot be written.
pub fn run(args: &WindsArgs, out: &mut impl Write) -> Result<()> {
    if let Some(plan) = &args.plan {
        let plan = args.named.read(plan)?;
        let files = match args.files.as_slice() {
            [] => &plan.wind_files,
            files => files,
        };
        let hints = args.hints.around([plan.release; 2]);
        let winds = Winds::of_files(&plan, files, &hints)?;
        let units = units(args.units, &plan);
        let ascents = [above_site(&plan, &winds)?];
        return show_ascents(args, &heading(&plan, units), &ascents, units, out);
    }
    let hints = match args.at {
        Some(at) => args.hints.around([at; 2]),
        None => args.hints.hints(),
    };
    match WindFiles::read(&args.files, &hints, false)? {
        WindFiles::Soundings(_) if args.place.is_some() => Err(Error::CannotDo {
            why: "soundings are of the places that they were made at".into(),
            remedy: "expected --place for forecasts alone; --plan PLAN.toml shows what several soundings make together above a site"
                .into(),
        }),
        WindFiles::Soundings(mut ascents) => {
            if let Some(time) = args.at {
                ascents = vec![nearest(ascents, time)?];
            }
            show_ascents(args, "", &ascents, own_units(args), out)
        }
        WindFiles::Grids { files, damaged } => show_forecast(args, files, damaged, out),
    }
}

/// The units where there is no plan.
fn own_units(args: &WindsArgs) -> UnitSystem {
    args.units.map_or(UnitSystem::Metric, UnitSystem::from)
}

/// The ascent nearest to a time.
fn nearest(mut ascents: Vec<FileAscent>, time: Timestamp) -> Result<FileAscent> {
    let which = sources::nearest(ascents.iter().map(|a| &a.sounding), time)?;
    // The others are dropped, so their order does not matter.
    Ok(ascents.swap_remove(which))
}

/// The ascents as text below a heading or as JSON, and the picture that was asked for.
fn show_ascents(
    args: &WindsArgs,
    heading: &str,
    ascents: &[FileAscent],
    units: UnitSystem,
    out: &mut impl Write,
) -> Result<()> {
    if let (Some(_), [_, _, ..]) = (&args.out, ascents) {
        return Err(Error::CannotDo {
            why: format!("one ascent is drawn, and there are {}", ascents.len()),
            remedy: "expected --at TIME for the nearest, or --plan PLAN.toml for the winds of its flight"
                .into(),
        });
    }
    let out_paths = args.out.as_slice();
    let mut begun = Outputs::begin(out_paths, &args.files)?;
    if let (Some(_), Some(first)) = (&args.out, ascents.first()) {
        let title = match first.sounding.name.as_str() {
            "" => file_name(Path::new(&first.file)),
            name => name.to_owned(),
        };
        let picture = pictures::profile::draw(&first.sounding, &title, units);
        begun.write(|path| picture_of_kind(path, &picture))?;
    }
    let report = if args.json {
        output::json(&ascents)?
    } else {
        heading.to_owned() + &as_text(ascents, units, args.all)
    };
    begun.finish(|| output::print(out, "standard output", &report))
}

/// What is in a forecast, or its column above a place.
fn show_forecast(
    args: &WindsArgs,
    files: Vec<GridFile>,
    damaged: Vec<LeftOut>,
    out: &mut impl Write,
) -> Result<()> {
    let mut archive = Archive::join_all(files, Joining::default())?;
    archive.left_out.extend(damaged);
    let Some(place) = args.place else {
        if args.out.is_some() || args.at.is_some() {
            return Err(Error::CannotDo {
                why: "a forecast has a column above every place".into(),
                remedy: "expected --place LAT,LON with --at or --out".into(),
            });
        }
        let contents = forecast::Contents::of(&archive);
        let report = if args.json {
            output::json(&contents)?
        } else {
            forecast::report(&contents)
        };
        return output::print(out, "standard output", &report);
    };
    // Something has to be shown of a forecast whose hours nobody named.
    let first = archive.steps.first().map(|s| s.valid);
    let Some(time) = args.at.or(first) else {
        return Ok(());
    };
    let ascent = FileAscent {
        file: archive.names().join(", "),
        sounding: archive.profile(place, time)?,
    };
    show_ascents(args, "", &[ascent], own_units(args), out)
}

/// More ascents than this are listed, not shown level by level.
const SHOWN: usize = 4;

fn as_text(ascents: &[FileAscent], units: UnitSystem, all: bool) -> String {
    if ascents.len() > SHOWN && !all {
        return winds::list(ascents, units);
    }
    let reports: Vec<String> = ascents
        .iter()
        .map(|a| {
            let report = winds::report(&a.sounding, units, all);
            format!("{:10}{}\n{report}", "file", a.file)
        })
        .collect();
    reports.join("\n")
}

fn file_name(path: &Path) -> String {
    path.file_name()
        .map_or_else(String::new, |name| name.to_string_lossy().into_owned())
}

fn picture_of_kind(path: &Path, picture: &Picture) -> Result<Vec<u8>> {
    match output::extension(path).as_deref() {
        Some("png") => picture.png(),
        _ => Ok(picture.svg().into_bytes()),
    }
}

/// A path whose extension names a kind of picture.
fn picture_path(text: &str) -> std::result::Result<PathBuf, String> {
    let path = PathBuf::from(text);
    match output::extension(&path).as_deref() {
        Some("svg" | "png") => Ok(path),
        _ => Err("expected a path that ends in .svg or .png".to_owned()),
    }
}

/// A place as latitude and longitude with a comma.
fn place(text: &str) -> std::result::Result<Position, String> {
    let degrees = text
        .split_once(',')
        .and_then(|(lat, lon)| Some((lat.trim().parse().ok()?, lon.trim().parse().ok()?)));
    degrees
        .and_then(|(lat, lon)| Position::new(lat, lon))
        .ok_or_else(|| {
            "expected degrees north and degrees east with a comma, as in 39.75,-8.85".to_owned()
        })
}
