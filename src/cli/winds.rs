//! `windfall winds`: what is in a wind file.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;
use jiff::Timestamp;
use serde::Serialize;

use super::options::Units;
use crate::error::{Error, Result};
use crate::report::picture::Picture;
use crate::report::write_file::write_atomically;
use crate::report::{profile_picture, winds};
use crate::sources::{self, Format};
use crate::units::UnitSystem;
use crate::wind::sounding::Sounding;

/// Shows what is in a wind file: levels, times, gaps, what was cleaned, and a picture.
#[derive(Debug, Args)]
pub struct WindsArgs {
    /// Wind files.
    #[arg(required = true, value_name = "FILE")]
    pub files: Vec<PathBuf>,
    /// The files' format, when it is not recognised: csv, igra2, listing or gsl.
    #[arg(long, value_name = "NAME")]
    pub format: Option<Format>,
    /// Only the ascent nearest to this time, as in 2010-06-01T12:00:00Z.
    #[arg(long, value_name = "TIME")]
    pub at: Option<Timestamp>,
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

/// An ascent with the file it comes from.
#[derive(Serialize)]
struct Ascent {
    file: String,
    sounding: Sounding,
}

/// Runs the command; the report goes to `out`.
///
/// # Errors
///
/// The faults of all files together, or a file or `out` that cannot be written.
pub fn run(args: &WindsArgs, out: &mut impl Write) -> Result<()> {
    let units = args.units.into();
    let ascents = read_all(args)?;
    if let (Some(path), Some(first)) = (&args.out, ascents.first()) {
        let title = match first.sounding.name.as_str() {
            "" => file_name(Path::new(&first.file)),
            name => name.to_owned(),
        };
        write_picture(path, &profile_picture::draw(&first.sounding, &title, units))?;
    }
    let report = if args.json {
        as_json(&ascents)?
    } else {
        as_text(&ascents, units, args.all)
    };
    out.write_all(report.as_bytes())
        .and_then(|()| out.flush())
        .map_err(|cause| Error::file(Path::new("standard output"), "write to", cause))
}

/// The ascents of all files, or the faults of all.
fn read_all(args: &WindsArgs) -> Result<Vec<Ascent>> {
    let mut ascents = Vec::new();
    let mut faults = Vec::new();
    for path in &args.files {
        match sources::read_soundings(path, args.format) {
            Ok(soundings) => {
                let file = path.display().to_string();
                ascents.extend(soundings.into_iter().map(|sounding| Ascent {
                    file: file.clone(),
                    sounding,
                }));
            }
            Err(Error::Faults(more)) => faults.extend(more),
            Err(other) => return Err(other),
        }
    }
    if !faults.is_empty() {
        return Err(Error::Faults(faults));
    }
    match args.at {
        Some(time) => nearest(ascents, time),
        None => Ok(ascents),
    }
}

/// The ascent nearest to a time, of all files.
fn nearest(ascents: Vec<Ascent>, time: Timestamp) -> Result<Vec<Ascent>> {
    let soundings = ascents.iter().map(|a| a.sounding.clone()).collect();
    let chosen = sources::choose(soundings, time)?;
    Ok(ascents
        .into_iter()
        .filter(|a| a.sounding == chosen)
        .take(1)
        .collect())
}

fn as_text(ascents: &[Ascent], units: UnitSystem, all: bool) -> String {
    let reports: Vec<String> = ascents
        .iter()
        .map(|a| {
            let report = winds::report(&a.sounding, units, all);
            format!("{:10}{}\n{report}", "file", a.file)
        })
        .collect();
    reports.join("\n")
}

fn as_json(ascents: &[Ascent]) -> Result<String> {
    serde_json::to_string_pretty(ascents)
        .map(|text| text + "\n")
        .map_err(|cause| Error::file(Path::new("standard output"), "write to", cause.into()))
}

fn file_name(path: &Path) -> String {
    path.file_name()
        .map_or_else(String::new, |name| name.to_string_lossy().into_owned())
}

fn write_picture(path: &Path, picture: &Picture) -> Result<()> {
    let bytes = match extension(path).as_deref() {
        Some("png") => picture.png()?,
        _ => picture.svg().into_bytes(),
    };
    write_atomically(path, &bytes)
}

fn extension(path: &Path) -> Option<String> {
    Some(path.extension()?.to_str()?.to_ascii_lowercase())
}

/// A path whose extension names a kind of picture.
fn picture_path(text: &str) -> std::result::Result<PathBuf, String> {
    let path = PathBuf::from(text);
    match extension(&path).as_deref() {
        Some("svg" | "png") => Ok(path),
        _ => Err("expected a path that ends in .svg or .png".to_owned()),
    }
}
