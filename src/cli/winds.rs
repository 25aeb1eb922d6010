//! `windfall winds`: what is in a wind file.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;
use jiff::Timestamp;

use super::options::Units;
use super::output;
use super::wind_files::{self, Ascent};
use crate::error::Result;
use crate::report::picture::Picture;
use crate::report::write_file::write_atomically;
use crate::report::{profile_picture, winds};
use crate::sources::Format;
use crate::units::UnitSystem;

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

/// Runs the command; the report goes to `out`.
///
/// # Errors
///
/// The faults of all files together, or a file or `out` that cannot be written.
pub fn run(args: &WindsArgs, out: &mut impl Write) -> Result<()> {
    let units = args.units.into();
    let mut ascents = wind_files::read_all(&args.files, args.format)?;
    if let Some(time) = args.at {
        ascents = vec![wind_files::nearest(ascents, time)?];
    }
    if let (Some(path), Some(first)) = (&args.out, ascents.first()) {
        let title = match first.sounding.name.as_str() {
            "" => file_name(Path::new(&first.file)),
            name => name.to_owned(),
        };
        write_picture(path, &profile_picture::draw(&first.sounding, &title, units))?;
    }
    let report = if args.json {
        output::json(&ascents)?
    } else {
        as_text(&ascents, units, args.all)
    };
    output::print(out, "standard output", &report)
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
