//! `windfall follow`: the landing zone again and again, from what the trackers say.

use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::time::Duration;

use clap::Args;
use jiff::Timestamp;

use super::instead::{Instead, ReleaseInstead, heading};
use super::options::RunArgs;
use super::output;
use super::plan_file::PlanFiles;
use super::trackers::TrackerArgs;
use super::wind_files::WindArgs;
use windfall::clock::seconds_between;
use windfall::error::{Error, Fault, Result};
use windfall::follow::Follower;
use windfall::follow::views::Views;
use windfall::geodesy::Position;
use windfall::geodesy::reading::{EXPECTED, read_position};
use windfall::listen::listening::{Listening, log_of};
use windfall::listen::{ReportSource, Waiting};
use windfall::plan::Plan;
use windfall::report::files::live_folder::LiveFolder;
use windfall::report::{follow_words, tables};
use windfall::track::reader::Reader;
use windfall::units::UnitSystem;
use windfall::zone::DRAWS;

/// Follows a flight: predicts its landing zone again with every report from its trackers.
#[derive(Debug, Args)]
#[command(after_long_help = "\
Examples:
  windfall follow plan.toml --from flight.log
  windfall follow plan.toml --from tcp://localhost:8001 --call N0CALL-11 --out live --me 43.1,-108.4")]
pub struct FollowArgs {
    /// The plan (TOML).
    #[arg(value_name = "PLAN.toml")]
    pub plan: PathBuf,
    /// What it may read.
    #[command(flatten)]
    pub files: PlanFiles,
    /// Where reports come from: a file, - for the standard input, tcp://host:port (lines or KISS),
    /// aprs://host:port?call=YOURS&filter=b/TRACKER, http(s)://..., serial:///dev/ttyUSB0?baud=9600. May be given
    /// several times: files are read first.
    #[arg(long, value_name = "SOURCE", required = true)]
    pub from: Vec<String>,
    /// At the end of a file or of standard input, waits for more; with one --from only.
    #[arg(long)]
    pub wait: bool,
    /// Whose reports are read, and how.
    #[command(flatten)]
    pub trackers: TrackerArgs,
    /// Where the crew's car is.
    #[arg(long, value_name = "LAT,LON", allow_hyphen_values = true)]
    pub me: Option<String>,
    /// The folder in which zone.geojson, zone.kml, page.html and reports.log are kept up to date; it is made
    /// if needed.
    #[arg(long, value_name = "FOLDER")]
    pub out: Option<PathBuf>,
    /// At the end, lists the reports that were refused.
    #[arg(long)]
    pub refused: bool,
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
    /// Seconds between requests for a page.
    #[arg(long, default_value_t = 30, value_parser = clap::value_parser!(u16).range(1..=3_600))]
    pub ask_every: u16,
    /// How it is run.
    #[command(flatten)]
    pub run: RunArgs,
    /// Prints the final state of the flight as JSON.
    #[arg(long)]
    pub json: bool,
}

/// Flight time between two lines of what is read from a file, s.
const LINE_EVERY_S: f64 = 60.0;
/// Brings the cursor home and clears what is below.
const HOME: &str = "\x1b[H\x1b[J";

/// Runs the command: lines or the view on `out`, talk on `talk`.
///
/// # Errors
///
/// Whatever is wrong with the plan, the winds, a source or the folder to write into.
pub fn run(args: &FollowArgs, out: &mut impl Write, talk: &mut impl Write) -> Result<()> {
    // Before anything runs in parallel.
    use_threads(args.run.threads)?;
    let sources = args
        .from
        .iter()
        .map(|s| ReportSource::parse(s))
        .collect::<Result<Vec<ReportSource>>>()?;
    // Before plan and winds are read: what is wrong with the words is seen at once.
    check(args, &sources)?;
    let reader = args.trackers.reader()?;
    let me = args.me.as_deref().map(place).transpose()?;
    let mut plan = args.files.read(&args.plan)?;
    let options = args.run.options(args.draws);
    args.late.apply(&mut plan)?;
    let units = args.run.units(&plan);
    args.instead.apply(&mut plan)?;
    let winds = args.winds.read(&plan)?;
    // As talk: on `out` there are lines to be read by programs, or JSON.
    output::print(talk, "standard error", &heading(&plan, units))?;
    let open = |out: &Path| {
        let is_log = |source: &ReportSource| LiveFolder::is_log_in(out, source);
        LiveFolder::open(out, plan.release, sources.iter().any(is_log))
    };
    let folder = args.out.as_deref().map(open).transpose()?;
    if let Some(log) = folder.as_ref().and_then(LiveFolder::earlier) {
        let said = format!(
            "The reports of an earlier release are kept in {}.\n",
            log.display()
        );
        output::print(talk, "standard error", &said)?;
    }
    let mut follower = Follower::new(&plan, &winds, options)?;
    follower.set_car(me);
    let mut desk = Session {
        plan: &plan,
        units,
        follower,
        folder,
        shown: None,
        views: Views::default(),
    };
    for source in in_order(&sources) {
        desk.follow(source, reader.clone(), args, out, talk)?;
    }
    desk.finish(args, out)
}

/// Threads for all of the run: it writes on the way, which is done on one thread.
fn use_threads(threads: Option<u16>) -> Result<()> {
    let Some(threads) = threads else {
        return Ok(());
    };
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads.into());
    pool.build_global().map_err(|cause| Error::CannotDo {
        why: format!("{threads} threads cannot be started: {cause}"),
        remedy: "expected fewer, or none given".into(),
    })
}

/// Files that end come first.
fn in_order(sources: &[ReportSource]) -> impl Iterator<Item = &ReportSource> {
    let ends = |s: &&ReportSource| !s.is_live();
    sources
        .iter()
        .filter(ends)
        .chain(sources.iter().filter(move |s| !ends(s)))
}

fn check(args: &FollowArgs, sources: &[ReportSource]) -> Result<()> {
    let live = sources.iter().filter(|s| s.is_live()).count();
    // Sources are followed one after the other, and one that is live has no end to wait for.
    if live > 1 {
        let found = format!("{live} sources that go on by themselves");
        return Err(Fault::new("--from", found, "one of them, and files as many as wanted").into());
    }
    if args.wait && sources.len() > 1 {
        let found = format!("{} sources", sources.len());
        let expected = "one: at the end of the first there is no end to waiting, and the next would never be read";
        return Err(Fault::new("--wait", found, expected).into());
    }
    let all = sources
        .iter()
        .any(|s| matches!(s, ReportSource::Aprs { .. }));
    // A server sends all that its filter lets through, among it other people's stations.
    if all && args.trackers.call.is_empty() {
        let found = "an APRS server without --call";
        return Err(Fault::new(
            "--from",
            found,
            "--call with the call sign of each tracker of the stack",
        )
        .into());
    }
    Ok(())
}

fn place(text: &str) -> Result<Position> {
    read_position(text).ok_or_else(|| Fault::new("--me", format!("\"{text}\""), EXPECTED).into())
}

/// All that one run has at hand.
struct Session<'a> {
    plan: &'a Plan,
    units: UnitSystem,
    follower: Follower<'a>,
    folder: Option<LiveFolder>,
    /// The time that was shown last, by the trackers' clock.
    shown: Option<Timestamp>,
    views: Views,
}

impl Session<'_> {
    /// Follows one source to its end.
    fn follow(
        &mut self,
        source: &ReportSource,
        reader: Reader,
        args: &FollowArgs,
        out: &mut impl Write,
        talk: &mut impl Write,
    ) -> Result<()> {
        let waiting = Waiting {
            ask: Duration::from_secs(args.ask_every.into()),
            ..Waiting::default()
        };
        let mut listening = Listening::new(source, reader, args.wait, waiting)?;
        let live = listening.is_live();
        // Reports that are read from the folder's own log are not written there once more.
        let folder = args.out.as_deref();
        let is_log = folder.is_some_and(|folder| LiveFolder::is_log_in(folder, source));
        loop {
            let batch = listening.hear();
            // What a file tells was heard at another time, which only its own times say.
            let heard_at = live.then(Timestamp::now);
            for said in &batch.said {
                let words = format!("{}\n", follow_words::said(said));
                output::print(talk, "standard error", &words)?;
            }
            // Nor does what a page or a file had before it was looked at: it was not heard now.
            let heard_at = heard_at.filter(|_| !batch.was_there);
            if let (Some(folder), true, false) = (&mut self.folder, live, is_log) {
                // On the disk before anything is made of it: whatever fails afterwards, it is kept.
                folder.keep(&log_of(&batch.heard, heard_at))?;
            }
            // With --json standard output is one document.
            let lines: &mut dyn Write = match args.json {
                true => &mut *talk,
                false => &mut *out,
            };
            let mut changed = false;
            for outcome in batch.heard.into_iter().flat_map(|heard| heard.outcomes) {
                let moved = self.follower.hear(outcome, heard_at);
                changed |= moved;
                if moved && !live {
                    self.line_if_due(lines)?;
                }
            }
            if live {
                self.show_if_due(changed, lines)?;
            }
            if batch.ended {
                return Ok(());
            }
        }
    }

    /// A line for every minute of the flight, where it is read and not heard.
    fn line_if_due(&mut self, mut out: &mut dyn Write) -> Result<()> {
        let newest = self.follower.gate().fixes().last().map(|f| f.time);
        let due = match (self.shown, newest) {
            (Some(shown), Some(newest)) => seconds_between(shown, newest) >= LINE_EVERY_S,
            (None, newest) => newest.is_some(),
            (Some(_), None) => false,
        };
        if !due {
            return Ok(());
        }
        self.shown = newest;
        // As of the newest report: by the clock of this computer the flight is long over.
        let standing = self.follower.standing(None)?;
        let line = tables::follow::line(&standing, &self.plan.timezone, self.units);
        output::print(&mut out, "standard output", &line)
    }

    /// The view or a line, where something is new or for a while nothing was shown.
    fn show_if_due(&mut self, changed: bool, mut out: &mut dyn Write) -> Result<()> {
        self.views.heard(changed);
        if !self.views.are_due() {
            return Ok(());
        }
        let news = self.views.show();
        let mut standing = self.follower.standing(Some(Timestamp::now()))?;
        let waiting = self.follower.waiting(&mut standing)?;
        if let Some(folder) = &self.folder {
            folder.write(&standing, &waiting, self.plan, self.units)?;
        }
        let zone = &self.plan.timezone;
        let text = match std::io::stdout().is_terminal() {
            true => format!(
                "{HOME}{}",
                tables::follow::view(&standing, &waiting, zone, self.units)
            ),
            // Lines of nothing new would only fill a file.
            false if news || standing.now.is_some() => {
                tables::follow::line(&standing, zone, self.units)
            }
            false => String::new(),
        };
        output::print(&mut out, "standard output", &text)
    }

    /// How it stands at the end of all sources.
    fn finish(&mut self, args: &FollowArgs, out: &mut impl Write) -> Result<()> {
        let mut standing = self.follower.standing(None)?;
        let waiting = self.follower.waiting(&mut standing)?;
        if let Some(folder) = &self.folder {
            folder.write(&standing, &waiting, self.plan, self.units)?;
        }
        let zone = &self.plan.timezone;
        let mut text = match args.json {
            true => output::json(&standing)?,
            false => format!(
                "\n{}",
                tables::follow::view(&standing, &waiting, zone, self.units)
            ),
        };
        if args.refused && !args.json {
            text += &tables::follow::refused(&standing, self.follower.gate().refused(), zone);
        }
        output::print(out, "standard output", &text)
    }
}
