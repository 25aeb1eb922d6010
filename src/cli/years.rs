//! `windfall years`: a plan flown through every day of a long record of winds.

mod batch;
mod cost;
mod shard;

use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

use clap::Args;

use self::batch::Scheduler;
use self::shard::Shard;
use super::options::{RunArgs, When, with_threads};
use super::output::{self, Outputs};
use super::plan_file::{PlanFiles, inputs};
use super::progress::Progress;
use super::releases::{Hours, step};
use super::sites::length;
use super::wind_files::HintArgs;
use windfall::choice::candidates;
use windfall::error::{Error, Result};
use windfall::plan::Plan;
use windfall::report::tables::years as report;
use windfall::report::{json, pages};
use windfall::sources::grid::may_answer_later;
use windfall::units::UnitSystem;
use windfall::years::answer::Years;
use windfall::years::digest::Digest;
use windfall::years::long_record::{LongRecord, listed};
use windfall::years::parts::{self, Part, is_of_work};
use windfall::years::tally::years;
use windfall::years::{Job, YearsRequest};
use windfall::zone::Options;

/// Flies the plan through years of winds: which field, which season, how often.
#[derive(Debug, Args)]
#[command(after_long_help = "\
Examples:
  windfall years flight.toml --wind era5/ --hours 06:00-10:00 --out years.html
  windfall years flight.toml --wind era5/ --candidates fields.csv --into meadows.geojson --out record/
  windfall years flight.toml --wind era5/ --out record/ --shards 40 --script slurm > years.sh
  windfall years flight.toml --wind era5/ --gather record/ --out years.csv

Parts of the work can be done anywhere, and again: --shard K/N writes part-K-of-N into the folder of
--out, whole or not at all; what is there is not done again. Exit code 75 says that it may work when
tried again (trouble with a disk or a network), 1 that something is wrong.")]
pub struct YearsArgs {
    /// The plan (TOML).
    #[arg(value_name = "PLAN.toml")]
    pub plan: PathBuf,
    /// What it may read.
    #[command(flatten)]
    pub files: PlanFiles,
    /// The record of winds: files or folders with grids or soundings of many days; the plan's own files
    /// unless given. In a program built with the feature "buckets" also a Zarr store at an address, which is
    /// then read from the network: https://..., s3://... or gs://...
    #[arg(long, value_name = "ARCHIVE", num_args = 1..)]
    pub wind: Vec<PathBuf>,
    #[command(flatten)]
    pub hints: HintArgs,
    /// Fields to compare: CSV (lat, lon, and name and elevation if wanted) or GeoJSON, points or polygons to
    /// lay a grid over; the plan's own site unless given.
    #[arg(long, value_name = "FILE")]
    pub candidates: Option<PathBuf>,
    /// Spacing of the grid over polygons, as in "5 km" or "3 mi".
    #[arg(long, value_name = "LENGTH", default_value = "5 km", value_parser = length)]
    pub spacing: f64,
    /// Polygons to come down in: fields are ranked by how often flights do.
    #[arg(long, value_name = "TARGET.geojson")]
    pub into: Option<PathBuf>,
    /// The first day (in the plan's time zone) or time; the first of the record, unless given.
    #[arg(long, value_name = "DATE|TIME")]
    pub from: Option<When>,
    /// The last day or time; the last of the record, unless given.
    #[arg(long, value_name = "DATE|TIME")]
    pub to: Option<When>,
    /// Time from one release to the next, as in "1 h" or "30 min".
    #[arg(long, value_name = "TIME", default_value = "2h", value_parser = step)]
    pub every: i64,
    /// Hours of the day for releases, as a clock in the plan's time zone shows them.
    #[arg(long, value_name = "HH:MM-HH:MM", default_value = "05:00-11:00")]
    pub hours: Hours,
    /// How many flights to simulate for each release: the draws.
    #[arg(long, default_value_t = 200, value_parser = clap::value_parser!(u64).range(20..=1_000_000))]
    pub draws: u64,
    /// Size of the cells of the map.
    #[arg(long, value_name = "LENGTH", default_value = "5 km", value_parser = cell)]
    pub cell: f64,
    /// How it is run.
    #[command(flatten)]
    pub run: RunArgs,
    /// Does one part of the work: K/N, or "array" for the part that a cluster's scheduler assigns, or "array/N" with how many parts there are (tasks are numbered from 1).
    #[arg(long, value_name = "K/N", conflicts_with_all = ["gather", "script", "json"], requires = "out")]
    pub shard: Option<Shard>,
    /// Joins the parts in this folder instead of flying.
    #[arg(long, value_name = "DIR", conflicts_with = "script")]
    pub gather: Option<PathBuf>,
    /// Prints a batch file that runs this on a cluster: slurm, pbs or kubernetes.
    #[arg(long, value_name = "NAME", requires = "out", conflicts_with = "json")]
    pub script: Option<Scheduler>,
    /// How many parts to split the work into, on this machine or for --script.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=100_000))]
    pub shards: Option<u32>,
    /// Prints the result as JSON instead of the table.
    #[arg(long)]
    pub json: bool,
    /// Also writes .html, .csv (months; releases where the name is releases.csv), .json, .geojson (cells of
    /// the map) or .parquet (releases; in a program built with that feature); a folder gets all but the
    /// last, and the finished parts of the work meanwhile.
    #[arg(long, value_name = "PATH")]
    pub out: Vec<PathBuf>,
}

/// What a scheduler takes for "try again" (EX_TEMPFAIL of sysexits.h).
pub const TRY_AGAIN: u8 = 75;

/// Whether an error may pass: a disk or a network that fails, and not a name that is wrong.
pub fn may_pass(error: &Error) -> bool {
    use ErrorKind::{
        AlreadyExists, InvalidInput, IsADirectory, NotADirectory, NotFound, PermissionDenied,
    };
    let wrong = [
        AlreadyExists,
        InvalidInput,
        IsADirectory,
        NotADirectory,
        NotFound,
        PermissionDenied,
    ];
    // What is wrong within a file stays so, however often it is tried.
    may_answer_later()
        || matches!(error, Error::File { cause, .. } if !wrong.contains(&cause.kind()))
}

/// Kinds of files that are written.
const KINDS: [&str; 5] = ["html", "csv", "json", "geojson", "parquet"];
/// What a folder gets.
const IN_FOLDER: [&str; 5] = [
    "years.html",
    "months.csv",
    "releases.csv",
    "years.json",
    "cells.geojson",
];
/// Days in a part on this machine, unless the number of parts is given.
const DAYS_A_PART: usize = 31;

/// Runs the command; the report goes to `out`, messages to `talk`.
///
/// # Errors
///
/// Whatever is wrong with the plan, the winds, the ground, the fields, the parts or the places to write
/// to.
pub fn run(args: &YearsArgs, out: &mut impl Write, talk: &mut (impl Write + Send)) -> Result<()> {
    let plan = args.files.read(&args.plan)?;
    let places = Places::of(args)?;
    // Before any file is begun: what is printed here is all that is made.
    if let Some(scheduler) = args.script {
        let text = with_threads(args.run.threads, || {
            let folder = made(places.folder()?)?;
            batch::text(args, &job(args, &plan, Some(folder))?, scheduler, folder)
        })?;
        return output::print(out, "standard output", &text);
    }
    if let Some(shard) = &args.shard {
        return with_threads(args.run.threads, || {
            let folder = made(places.folder()?)?;
            one_part(&job(args, &plan, Some(folder))?, shard, folder, talk)
        });
    }
    let mut begun = places.begin(args, &plan)?;
    let text = with_threads(args.run.threads, || {
        // The survey of the archive lies where the parts do.
        let kept = args.gather.as_deref().or(places.folder.as_deref());
        let job = job(args, &plan, kept)?;
        let whole = match &args.gather {
            Some(folder) => parts::gather(&job, folder)?,
            None => all(args, &job, places.folder.as_deref(), talk)?,
        };
        answer(args, &plan, &job, &whole, &mut begun)
    })?;
    begun.finish(|| output::print(out, "standard output", &text))
}

/// Cells fit on whole degrees, so none is larger than one.
const LARGEST_CELL_M: f64 = 111_000.0;

fn cell(text: &str) -> std::result::Result<f64, String> {
    let size_m = length(text)?;
    match size_m <= LARGEST_CELL_M {
        true => Ok(size_m),
        false => Err("expected a length from 10 m to 111 km, a degree, as in 25km".to_owned()),
    }
}

/// A folder that is made where it is not there.
fn made(folder: &Path) -> Result<&Path> {
    let made = std::fs::create_dir_all(folder);
    made.map_err(|cause| Error::file(folder, "make", cause))?;
    Ok(folder)
}

/// Where results go.
struct Places {
    files: Vec<PathBuf>,
    folder: Option<PathBuf>,
}

impl Places {
    fn of(args: &YearsArgs) -> Result<Places> {
        let is_parquet = |path: &&PathBuf| output::extension(path).as_deref() == Some("parquet");
        if let (false, Some(path)) = (cfg!(feature = "parquet"), args.out.iter().find(is_parquet)) {
            return Err(no_parquet(path));
        }
        let is_file = |path: &&PathBuf| {
            let kind = output::extension(path);
            // A folder may have any name, also one that ends like a file's.
            !path.is_dir() && kind.is_some_and(|kind| KINDS.contains(&kind.as_str()))
        };
        let (files, folders): (Vec<&PathBuf>, Vec<&PathBuf>) = args.out.iter().partition(is_file);
        let odd = folders
            .iter()
            // Folders are made unasked, so a file whose ending is misspelt must not become one.
            .find(|path| !path.is_dir() && path.extension().is_some());
        match (folders.len() > 1, odd) {
            (_, Some(odd)) => Err(Error::CannotDo {
                why: format!(
                    "{}: neither a folder nor one of the kinds of file",
                    odd.display()
                ),
                remedy: format!("expected a folder, or an end in {}", KINDS.join(", ")),
            }),
            (true, _) => Err(Error::CannotDo {
                why: "several folders to write to".into(),
                remedy: "expected one".into(),
            }),
            (false, None) => Ok(Places {
                files: files.into_iter().cloned().collect(),
                folder: folders.first().map(|path| (*path).clone()),
            }),
        }
    }

    /// Begins all files, and makes the folder.
    fn begin(&self, args: &YearsArgs, plan: &Plan) -> Result<Outputs> {
        let mut read = inputs(&args.plan, plan);
        read.extend(args.candidates.iter().chain(&args.into).cloned());
        read.extend(args.wind.iter().cloned());
        if let Some(folder) = &self.folder {
            made(folder)?;
        }
        let folder = self.folder.iter();
        let in_folder = folder.flat_map(|folder| IN_FOLDER.map(|name| folder.join(name)));
        let paths: Vec<PathBuf> = self.files.iter().cloned().chain(in_folder).collect();
        Outputs::begin(&paths, &read)
    }

    fn folder(&self) -> Result<&Path> {
        self.folder.as_deref().ok_or_else(|| Error::CannotDo {
            why: "no folder to write parts to".into(),
            remedy: "expected --out FOLDER".into(),
        })
    }
}

/// The work; what is known of the archive is kept in the folder of the parts.
fn job(args: &YearsArgs, plan: &Plan, folder: Option<&Path>) -> Result<Job> {
    let fields = match &args.candidates {
        Some(file) => candidates::read(file, args.spacing)?,
        None => Vec::new(),
    };
    let given = match args.wind.as_slice() {
        [] => &plan.wind_files,
        given => given,
    };
    let winds = winds(args, given)?;
    let record = LongRecord::survey(plan, &winds, &args.hints.hints(), folder)?;
    let from = args
        .from
        .map(|when| when.begins(&plan.timezone))
        .transpose()?;
    let to = args.to.map(|when| when.ends(&plan.timezone)).transpose()?;
    let asked = YearsRequest {
        between: [from, to],
        every_s: args.every,
        hours_s: args.hours.0,
        into: args.into.clone(),
        cell_m: args.cell,
        options: Options {
            draws: args.draws,
            seed: args.run.seed,
            keep_draws: false,
        },
    };
    Job::new(plan, &fields, record, asked, digest(args, plan)?)
}

/// The files of winds, but for those that this command itself made in a folder of theirs.
fn winds(args: &YearsArgs, given: &[PathBuf]) -> Result<Vec<PathBuf>> {
    let folder = |path: &Path| {
        let folder = path.parent().filter(|p| !p.as_os_str().is_empty());
        folder.unwrap_or(Path::new(".")).canonicalize().ok()
    };
    let places = args.out.iter().chain(&args.gather);
    let own: Vec<PathBuf> = places.filter_map(|path| path.canonicalize().ok()).collect();
    let made = |path: &PathBuf| {
        let Some((within, name)) = folder(path).zip(path.file_name()) else {
            return false;
        };
        let name = name.to_string_lossy();
        let of_folder = IN_FOLDER.contains(&&*name) || is_of_work(&name);
        own.contains(&within.join(&*name)) || (of_folder && own.contains(&within))
    };
    let mut all = listed(given)?;
    // What is given by its name is meant.
    all.retain(|path| given.contains(path) || !made(path));
    Ok(all)
}

/// Of the plan and what it names, but for the winds, which have their own.
fn digest(args: &YearsArgs, plan: &Plan) -> Result<Digest> {
    let winds = &plan.wind_files;
    let mut read = inputs(&args.plan, plan);
    read.retain(|path| !winds.contains(path));
    read.extend(args.candidates.iter().chain(&args.into).cloned());
    let mut digest = Digest::default();
    for path in &read {
        digest = digest.with_file(path)?;
    }
    Ok(digest)
}

/// Does one part, unless it is there.
fn one_part(job: &Job, shard: &Shard, folder: &Path, talk: &mut impl Write) -> Result<()> {
    let (k, n, said) = shard.resolved(|name| std::env::var(name).ok())?;
    let units = job.shard(k, n);
    // Schedulers start a task again that they believe lost.
    if parts::done(job, folder, k, n)?.is_some() {
        say(talk, &format!("part {k} of {n}{said} is done already"))?;
        return Ok(());
    }
    let days = units.len().div_ceil(job.fields.len().max(1));
    let days = match days {
        1 => "1 day".to_owned(),
        _ => format!("{days} days"),
    };
    say(talk, &format!("part {k} of {n}{said}: {days}"))?;
    let part = flown(job, units)?;
    parts::write(folder, k, n, &part)
}

/// Does all of it; in a folder part by part, those that are there left out.
fn all(args: &YearsArgs, job: &Job, folder: Option<&Path>, talk: &mut impl Write) -> Result<Part> {
    cost::told(args, job, talk)?;
    let Some(folder) = folder else {
        return flown(job, 0..job.units());
    };
    let usual = job.days.len().div_ceil(DAYS_A_PART).max(1);
    let n = args.shards.map_or(usual, |n| n as usize);
    let releases = (job.releases() * job.fields.len()) as u64;
    let progress = Progress::new(releases, 1);
    let mut whole = Part::empty(&job.digest, 0..0);
    for k in 1..=n {
        let part = match parts::done(job, folder, k, n)? {
            Some(part) => {
                part.releases.iter().for_each(|_| progress.step());
                part
            }
            None => {
                let part = job.fly(job.shard(k, n), |releases| {
                    (0..releases).for_each(|_| progress.step());
                })?;
                // At once, so that work that is stopped goes on from here.
                parts::write(folder, k, n, &part)?;
                part
            }
        };
        whole = whole.with(part);
    }
    progress.done();
    Ok(whole)
}

fn flown(job: &Job, units: std::ops::Range<usize>) -> Result<Part> {
    let progress = Progress::new(units.len() as u64, 1);
    let part = job.fly(units, |_| progress.step());
    progress.done();
    part
}

/// Writes the files; the text to print.
fn answer(
    args: &YearsArgs,
    plan: &Plan,
    job: &Job,
    whole: &Part,
    begun: &mut Outputs,
) -> Result<String> {
    let units = args.run.units(plan);
    let answer = years(job, whole);
    let made = Made {
        answer: &answer,
        job,
        whole,
        units,
    };
    begun.write(|path| made.bytes(path))?;
    match args.json {
        true => output::json(&json::years(&answer, units)),
        false => Ok(report::table(&answer, units)),
    }
}

/// What files are made of.
struct Made<'a> {
    answer: &'a Years,
    job: &'a Job,
    whole: &'a Part,
    units: UnitSystem,
}

impl Made<'_> {
    fn bytes(&self, path: &Path) -> Result<Vec<u8>> {
        if output::extension(path).as_deref() == Some("parquet") {
            return parquet(self.job, self.whole, path);
        }
        let (answer, units) = (self.answer, self.units);
        let is_of_releases = path.file_name().is_some_and(|name| name == "releases.csv");
        Ok(match output::extension(path).as_deref() {
            Some("csv") if is_of_releases => report::releases_csv(self.job, self.whole)?,
            Some("csv") => report::months_csv(answer)?,
            Some("json") => output::json(&json::years(answer, units))?,
            Some("geojson") => report::geojson(answer, units),
            _ => pages::years::text(answer, units),
        }
        .into_bytes())
    }
}

#[cfg(feature = "parquet")]
fn parquet(job: &Job, whole: &Part, _: &Path) -> Result<Vec<u8>> {
    windfall::report::files::parquet::releases(job, whole)
}

#[cfg(not(feature = "parquet"))]
fn parquet(_: &Job, _: &Part, path: &Path) -> Result<Vec<u8>> {
    Err(no_parquet(path))
}

fn no_parquet(path: &Path) -> Error {
    Error::CannotDo {
        why: format!("{}: this program was built without Parquet", path.display()),
        remedy: "expected releases.csv, or a program built with --features parquet".into(),
    }
}

/// A line for whoever watches.
fn say(talk: &mut impl Write, text: &str) -> Result<()> {
    output::print(talk, "standard error", &format!("windfall: {text}\n"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_cell_is_larger_than_a_degree() {
        assert_eq!(cell("25km"), Ok(25_000.0));
        assert!(cell("400 km").unwrap_err().contains("111 km"));
    }
}
