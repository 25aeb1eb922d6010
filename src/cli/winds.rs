//! `windfall winds`: what is in a wind file.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;
use jiff::Timestamp;

use super::options::Units;
use super::output::{self, Outputs};
use windfall::error::{Error, Result};
use windfall::geodesy::Position;
use windfall::report::pictures::{self, picture::Picture};
use windfall::report::tables::{forecast, winds};
use windfall::sources::grid::GridFile;
use windfall::sources::grid::archive::{Archive, Joining};
use windfall::sources::{self, FileAscent, Format};
use windfall::units::UnitSystem;
use windfall::winds::files::WindFiles;

/// Shows what is in a wind file: levels, times, gaps, what was cleaned, and a picture.
#[derive(Debug, Args)]
#[command(after_long_help = "\
Examples:
  windfall winds sounding.csv --out profile.svg
  windfall winds forecast.nc --place 39.75,-8.85 --at 2026-05-09T12:00:00Z")]
pub struct WindsArgs {
    /// Wind files.
    #[arg(required = true, value_name = "FILE")]
    pub files: Vec<PathBuf>,
    /// The files' format, when it is not recognised: csv, igra2, listing or gsl.
    #[arg(long, value_name = "NAME")]
    pub format: Option<Format>,
    /// Only the ascent nearest to this time, as in 2010-06-01T12:00:00Z; of a forecast, the
    /// column at this time (the first unless given).
    #[arg(long, value_name = "TIME")]
    pub at: Option<Timestamp>,
    /// Of a forecast: the column above this place, as in 39.75,-8.85 (degrees north and east).
    #[arg(long, value_name = "LAT,LON", value_parser = place, allow_hyphen_values = true)]
    pub place: Option<Position>,
    /// Every level, not about thirty.
    #[arg(long)]
    pub all: bool,
    /// Units for people.
    #[arg(long, value_enum, default_value = "metric")]
    pub units: Units,
    /// Prints everything as JSON instead.
    #[arg(long)]
    pub json: bool,
    /// Also draws the first ascent shown, as .svg or .png.
    #[arg(long, value_name = "PATH", value_parser = picture_path)]
    pub out: Option<PathBuf>,
}

/// Runs the command; the report goes to `out`.
///
/// # Errors
///
/// The faults of all files together, or a file or `out` that cannot be written.
pub fn run(args: &WindsArgs, out: &mut impl Write) -> Result<()> {
    match WindFiles::read(&args.files, args.format, false)? {
        WindFiles::Soundings(mut ascents) => {
            if let Some(time) = args.at {
                ascents = vec![nearest(ascents, time)?];
            }
            show_ascents(args, &ascents, out)
        }
        WindFiles::Grids { files, damaged } => show_forecast(args, files, damaged, out),
    }
}

/// The ascent nearest to a time.
fn nearest(mut ascents: Vec<FileAscent>, time: Timestamp) -> Result<FileAscent> {
    let which = sources::nearest(ascents.iter().map(|a| &a.sounding), time)?;
    Ok(ascents.swap_remove(which))
}

/// The ascents as text or JSON, and the picture that was asked for.
fn show_ascents(args: &WindsArgs, ascents: &[FileAscent], out: &mut impl Write) -> Result<()> {
    let units = args.units.into();
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
        as_text(ascents, units, args.all)
    };
    begun.finish(|| output::print(out, "standard output", &report))
}

/// What is in a forecast, or its column above a place.
fn show_forecast(
    args: &WindsArgs,
    files: Vec<GridFile>,
    damaged: Vec<String>,
    out: &mut impl Write,
) -> Result<()> {
    let mut archive = Archive::join(files, Joining::default())?;
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
    let first = archive.steps.first().map(|s| s.valid);
    let Some(time) = args.at.or(first) else {
        return Ok(());
    };
    let ascent = FileAscent {
        file: archive.names().join(", "),
        sounding: archive.profile(place, time)?,
    };
    show_ascents(args, &[ascent], out)
}

fn as_text(ascents: &[FileAscent], units: UnitSystem, all: bool) -> String {
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
