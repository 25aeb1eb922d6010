//! `windfall days`: release times over some days, judged and ranked.

use std::io::Write;
use std::path::PathBuf;
use std::str::FromStr;

use clap::Args;
use jiff::Timestamp;

use super::options::{Units, When, with_threads};
use super::output;
use super::progress::Progress;
use super::wind_files;
use crate::choice::days::days;
use crate::choice::times::release_times;
use crate::error::{Error, Result};
use crate::plan::Plan;
use crate::report::write_file::UnfinishedFile;
use crate::report::{days as report, days_picture};
use crate::units::{Dimension, UnitSystem, parse};
use crate::zone::{Options, WindInput};

/// Compares release times over the days that the winds cover, and ranks them by the plan's limits.
#[derive(Debug, Args)]
pub struct DaysArgs {
    /// The plan (TOML).
    #[arg(value_name = "PLAN.toml")]
    pub plan: PathBuf,
    /// Wind files that replace the plan's.
    #[arg(long, value_name = "FILE", num_args = 1..)]
    pub wind: Vec<PathBuf>,
    /// The first day (in the plan's time zone) or time; the first that the winds cover.
    #[arg(long, value_name = "DATE|TIME")]
    pub from: Option<When>,
    /// The last day or time; the last that the winds cover.
    #[arg(long, value_name = "DATE|TIME")]
    pub to: Option<When>,
    /// From one release to the next, as in "1 h" or "30 min".
    #[arg(long, value_name = "TIME", default_value = "1h", value_parser = every)]
    pub every: i64,
    /// Hours of the day in the plan's time zone within which to release.
    #[arg(long, value_name = "HH:MM-HH:MM", default_value = "05:00-11:00")]
    pub hours: Hours,
    /// Also writes .csv, .json, .geojson (the 90 % ellipses), .svg or .png.
    #[arg(long, value_name = "PATH", value_parser = output_path)]
    pub out: Vec<PathBuf>,
    /// How many flights to draw for each release.
    #[arg(long, default_value_t = 1_000, value_parser = clap::value_parser!(u64).range(20..=1_000_000))]
    pub draws: u64,
    /// Seed of everything random: the same seed gives the same bytes.
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// Threads to use; all cores unless given.
    #[arg(long, value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Units for people.
    #[arg(long, value_enum, default_value = "metric")]
    pub units: Units,
    /// Prints the result as JSON instead of the table.
    #[arg(long)]
    pub json: bool,
}

/// Hours of a day, from and to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hours([f64; 2]);

impl FromStr for Hours {
    type Err = String;

    fn from_str(text: &str) -> std::result::Result<Hours, String> {
        let hour = |text: &str| -> Option<f64> {
            let (h, m) = text.trim().split_once(':')?;
            let (h, m): (u8, u8) = (h.parse().ok()?, m.parse().ok()?);
            let hour = f64::from(h) + f64::from(m) / 60.0;
            (m < 60 && hour <= 24.0).then_some(hour)
        };
        let both = text.split_once('-');
        both.and_then(|(from, to)| Some([hour(from)?, hour(to)?]))
            .filter(|[from, to]| from <= to)
            .map(Hours)
            .ok_or_else(|| "expected hours of the day, as in 05:00-11:00".to_owned())
    }
}

/// A time between releases, in whole minutes.
fn every(text: &str) -> std::result::Result<i64, String> {
    let seconds = parse(text, Dimension::Time).map_err(|e| e.to_string())?;
    if (60.0..=86_400.0).contains(&seconds) {
        Ok((seconds / 60.0).round() as i64 * 60)
    } else {
        Err("expected a time from a minute to a day, as in 1h or 30min".to_owned())
    }
}

const KINDS: [&str; 5] = ["csv", "json", "geojson", "svg", "png"];

fn output_path(text: &str) -> std::result::Result<PathBuf, String> {
    let path = PathBuf::from(text);
    match output::extension(&path) {
        Some(kind) if KINDS.contains(&kind.as_str()) => Ok(path),
        _ => Err(format!(
            "expected a path that ends in one of {}",
            KINDS.join(", ")
        )),
    }
}

/// Runs the command; the report goes to `out`.
///
/// # Errors
///
/// Whatever is wrong with the plan, the winds, the ground or the places to write to.
pub fn run(args: &DaysArgs, out: &mut impl Write) -> Result<()> {
    let plan = Plan::read(&args.plan)?;
    let units: UnitSystem = args.units.into();
    let winds = wind_files::of_plan(&plan, &args.plan, &args.wind, None)?;
    let times = times(args, &plan, &winds)?;
    let unfinished: Vec<(UnfinishedFile, &PathBuf)> = args
        .out
        .iter()
        .map(|path| Ok((UnfinishedFile::begin(path)?, path)))
        .collect::<Result<_>>()?;
    let options = Options {
        draws: args.draws,
        seed: args.seed,
        keep_draws: false,
        units,
    };
    let compared = with_threads(args.threads, || {
        let progress = Progress::new(times.len() as u64, 1);
        let compared = days(&plan, &winds, &times, options, || progress.step());
        progress.done();
        compared
    })?;
    for (file, path) in unfinished {
        let bytes = match output::extension(path).as_deref() {
            Some("csv") => report::csv(&compared)?.into_bytes(),
            Some("json") => output::json(&compared)?.into_bytes(),
            Some("geojson") => report::geojson(&compared).into_bytes(),
            Some("png") => days_picture::draw(&compared, units).png()?,
            _ => days_picture::draw(&compared, units).svg().into_bytes(),
        };
        file.finish(&bytes)?;
    }
    let text = if args.json {
        output::json(&compared)?
    } else {
        report::table(&compared, units)
    };
    output::print(out, "standard output", &text)
}

/// The release times that are asked for.
fn times(args: &DaysArgs, plan: &Plan, winds: &WindInput) -> Result<Vec<Timestamp>> {
    let covered = winds.covers();
    let none = || Error::CannotDo {
        why: "the winds name no times".into(),
        remedy: "expected --from and --to".into(),
    };
    let from = match args.from {
        Some(from) => from.begins(&plan.timezone)?,
        None => covered.ok_or_else(none)?[0],
    };
    let to = match args.to {
        Some(to) => to.ends(&plan.timezone)?,
        None => covered.ok_or_else(none)?[1],
    };
    let times = release_times([from, to], args.every, args.hours.0, &plan.timezone);
    if times.is_empty() {
        return Err(Error::CannotDo {
            why: format!("there is no release time from {from} to {to} within these hours"),
            remedy: "expected other --from, --to, --every or --hours".into(),
        });
    }
    Ok(times)
}
