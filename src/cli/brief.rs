//! `windfall brief`: what the crew carries into the field.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;
use jiff::Timestamp;

use super::cost::Run;
use super::debrief::refuse_debriefed;
use super::instead::{Instead, ReleaseInstead, heading};
use super::options::{RunArgs, moment, with_threads};
use super::output;
use super::plan_file::{PlanFiles, inputs};
use super::progress::Progress;
use super::wind_files::WindArgs;
use windfall::brief::brief;
use windfall::error::Result;
use windfall::files::UnfinishedFolder;
use windfall::report::files::briefing::{FILES, files};
use windfall::report::files::live_folder::refuse_followed;
use windfall::report::round_heights::round_heights;
use windfall::zone::DRAWS;

/// Writes the crew's briefing: a page that needs no network and one for a second car, the map, a message
/// to paste, the facts for a notice, and files for navigation and map programs.
#[derive(Debug, Args)]
#[command(after_long_help = "\
Examples:
  windfall brief flight.toml --out briefing
  windfall brief flight.toml --wind newest.grib2 --release 08:40 --out briefing")]
pub struct BriefArgs {
    /// The plan (TOML).
    #[arg(value_name = "PLAN.toml")]
    pub plan: PathBuf,
    /// What it may read.
    #[command(flatten)]
    pub files: PlanFiles,
    /// The folder to write into; it is made if needed.
    #[arg(long, value_name = "FOLDER")]
    pub out: PathBuf,
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
    #[arg(long, default_value_t = DRAWS, value_parser = clap::value_parser!(u64).range(20..=10_000_000))]
    pub draws: u64,
    /// The time that the briefing says it was made; now, unless given.
    #[arg(long, value_name = "TIME", value_parser = moment)]
    pub made: Option<Timestamp>,
    /// How it is run.
    #[command(flatten)]
    pub run: RunArgs,
}

const WHAT: &str = "a briefing";

/// Runs the command; what was written is listed on `out`.
///
/// # Errors
///
/// Whatever is wrong with the plan, the winds, the ground or the folder to write into.
pub fn run(args: &BriefArgs, out: &mut impl Write) -> Result<()> {
    let mut plan = args.files.read(&args.plan)?;
    let options = args.run.options(args.draws);
    let units = args.run.units(&plan);
    args.late.apply(&mut plan)?;
    args.instead.apply(&mut plan)?;
    args.run.leave.to(Run::once(args.draws, args.run.threads))?;
    let winds = args.winds.read(&plan)?;
    let read = [inputs(&args.plan, &plan), args.winds.wind.clone()].concat();
    // The folder may be that of the plan, with a file that is read under a name of the briefing.
    for name in FILES {
        output::keep_apart(&args.out.join(name), &read)?;
    }
    refuse_followed(&args.out, WHAT)?;
    refuse_debriefed(&args.out, WHAT)?;
    // Before the flights: a folder that cannot be written to is told without waiting.
    let mut folder = UnfinishedFolder::begin(&args.out, &FILES)?;
    // Here and not where it is used: the library reads no clock.
    let made = args.made.unwrap_or_else(Timestamp::now);
    let files = with_threads(args.run.threads, || {
        let progress = Progress::new(args.draws, 512);
        let heights = round_heights(units);
        let brief = brief(&plan, &winds, options, &heights, made, || progress.step())?;
        progress.done();
        files(&brief, units)
    })?;
    folder.write(files.iter().map(|(_, bytes)| bytes.as_slice()))?;
    let mut told = heading(&plan, units);
    for (name, bytes) in &files {
        told.push_str(&line(&args.out.join(name), bytes.len()));
    }
    let printed = output::print(out, "standard output", &told);
    output::name_if(printed, || folder.name())
}

fn line(path: &Path, bytes: usize) -> String {
    format!(
        "{:>9}  {}\n",
        format!("{} kB", bytes.div_ceil(1_000)),
        path.display()
    )
}
