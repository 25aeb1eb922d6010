//! `windfall follow`: the landing zone again and again, from what the trackers say.

use std::fs::{self, File, OpenOptions};
use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, RecvTimeoutError, TryRecvError};
use std::time::{Duration, Instant};

use clap::Args;
use jiff::Timestamp;

use super::instead::{Instead, ReleaseInstead, heading};
use super::options::RunArgs;
use super::output;
use super::plan_file::PlanFiles;
use super::trackers::TrackerArgs;
use super::wind_files::WindArgs;
use windfall::brief::answer::WaitingPoint;
use windfall::clock::seconds_between;
use windfall::error::{Error, Fault, Result};
use windfall::files::write_atomically;
use windfall::follow::Follower;
use windfall::follow::answer::Standing;
use windfall::geodesy::Position;
use windfall::geodesy::reading::{EXPECTED, read_position};
use windfall::listen::{self, Event, Source, Waiting};
use windfall::plan::Plan;
use windfall::report::{files, follow_words, pages, tables};
use windfall::track::reader::{Heard, Reader, log_line};
use windfall::track::{Outcome, Refusal};
use windfall::units::UnitSystem;
use windfall::zone::DRAWS;

/// Follows a flight: predicts its landing zone again with every report of its trackers.
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
    /// Waits at the end of files and of the standard input for more.
    #[arg(long)]
    pub wait: bool,
    /// Whose reports are read, and how.
    #[command(flatten)]
    pub trackers: TrackerArgs,
    /// Where the crew's car is.
    #[arg(long, value_name = "LAT,LON", allow_hyphen_values = true)]
    pub me: Option<String>,
    /// The folder to write zone.geojson, zone.kml, page.html and reports.log into, again and again; it is made
    /// if it is not there.
    #[arg(long, value_name = "FOLDER")]
    pub out: Option<PathBuf>,
    /// Lists what was not let through, at the end.
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
    /// How many flights to draw.
    #[arg(long, default_value_t = DRAWS, value_parser = clap::value_parser!(u64).range(20..=20_000))]
    pub draws: u64,
    /// Seconds between two requests for a page.
    #[arg(long, default_value_t = 30, value_parser = clap::value_parser!(u16).range(1..=3_600))]
    pub ask_every: u16,
    /// How it is run.
    #[command(flatten)]
    pub run: RunArgs,
    /// Prints how the flight stands at the end as JSON.
    #[arg(long)]
    pub json: bool,
}

/// Flight time between two lines of what is read from a file, s.
const LINE_EVERY_S: f64 = 60.0;
/// Time between two views where nothing is heard.
const VIEW_EVERY: Duration = Duration::from_secs(10);
/// Time between two views at least.
const VIEW_AT_MOST: Duration = Duration::from_secs(1);
/// Brings the cursor home and clears what is below.
const HOME: &str = "\x1b[H\x1b[J";
/// Names of the files in the folder.
const LOG: &str = "reports.log";
const KML_NOW: &str = "zone-now.kml";

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
        .map(|s| Source::parse(s))
        .collect::<Result<Vec<Source>>>()?;
    check(args, &sources)?;
    let reader = args.trackers.reader()?;
    let me = args.me.as_deref().map(place).transpose()?;
    let mut plan = args.files.read(&args.plan)?;
    let options = args.run.options(args.draws);
    args.late.apply(&mut plan)?;
    let units = args.run.units(&plan);
    args.instead.apply(&mut plan, units)?;
    let winds = args.winds.read(&plan)?;
    output::print(talk, "standard error", &heading(&plan))?;
    let folder = args.out.as_deref().map(Folder::open).transpose()?;
    let mut follower = Follower::new(&plan, &winds, options)?;
    follower.set_car(me);
    let mut desk = Desk {
        plan: &plan,
        units,
        follower,
        folder,
        shown: None,
        shown_at: None,
        changed: false,
    };
    for source in in_order(&sources) {
        let live = source.is_live() || args.wait;
        let reader = reader.clone();
        let reader = if live { reader.streaming() } else { reader };
        desk.follow(source, reader, live, args, out, talk)?;
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
fn in_order(sources: &[Source]) -> impl Iterator<Item = &Source> {
    let ends = |s: &&Source| !s.is_live();
    sources
        .iter()
        .filter(ends)
        .chain(sources.iter().filter(move |s| !ends(s)))
}

fn check(args: &FollowArgs, sources: &[Source]) -> Result<()> {
    let live = sources.iter().filter(|s| s.is_live()).count();
    if live > 1 {
        let found = format!("{live} sources that go on by themselves");
        return Err(Fault::new("--from", found, "one of them, and files as many as wanted").into());
    }
    let all = sources.iter().any(|s| matches!(s, Source::Aprs { .. }));
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

/// The folder that is written into.
struct Folder {
    path: PathBuf,
    log: File,
}

impl Folder {
    fn open(path: &Path) -> Result<Folder> {
        fs::create_dir_all(path).map_err(|cause| Error::file(path, "make", cause))?;
        let log = path.join(LOG);
        let failed = |cause| Error::file(&log, "write", cause);
        let file = OpenOptions::new()
            .create(true)
            .append(true)
            .open(&log)
            .map_err(failed)?;
        write_atomically(
            &path.join("zone.kml"),
            files::follow::kml_link(KML_NOW).as_bytes(),
        )?;
        Ok(Folder {
            path: path.to_owned(),
            log: file,
        })
    }

    /// Whether a source is the log itself.
    fn is_log(&self, source: &Source) -> bool {
        let Source::File(path) = source else {
            return false;
        };
        let real = |p: &Path| fs::canonicalize(p).ok();
        real(path).is_some_and(|p| real(&self.path.join(LOG)) == Some(p))
    }

    /// Appends lines, and waits until the disk has them.
    fn keep(&mut self, lines: &str) -> Result<()> {
        if lines.is_empty() {
            return Ok(());
        }
        let path = self.path.join(LOG);
        let failed = |cause| Error::file(&path, "write", cause);
        self.log.write_all(lines.as_bytes()).map_err(failed)?;
        self.log.sync_data().map_err(failed)
    }

    fn write(
        &self,
        standing: &Standing,
        waiting: &[WaitingPoint],
        plan: &Plan,
        units: UnitSystem,
    ) -> Result<()> {
        let zone = &plan.timezone;
        let write =
            |name: &str, text: String| write_atomically(&self.path.join(name), text.as_bytes());
        write("zone.geojson", files::follow::geojson(standing, units))?;
        write(KML_NOW, files::follow::kml(standing, waiting, zone, units))?;
        write(
            "page.html",
            pages::follow::text(standing, waiting, zone, units),
        )
    }
}

/// All that one run has at hand.
struct Desk<'a> {
    plan: &'a Plan,
    units: UnitSystem,
    follower: Follower<'a>,
    folder: Option<Folder>,
    /// The time that was shown last, by the trackers' clock.
    shown: Option<Timestamp>,
    shown_at: Option<Instant>,
    changed: bool,
}

impl Desk<'_> {
    /// Follows one source to its end.
    fn follow(
        &mut self,
        source: &Source,
        mut reader: Reader,
        live: bool,
        args: &FollowArgs,
        out: &mut impl Write,
        talk: &mut impl Write,
    ) -> Result<()> {
        let waiting = Waiting {
            ask: Duration::from_secs(args.ask_every.into()),
            ..Waiting::default()
        };
        let events = listen::listen(source, args.wait, waiting)?;
        let kept = self.folder.as_ref().is_some_and(|f| !f.is_log(source)) && live;
        loop {
            let (batch, ended) = take(&events, live);
            let heard_at = live.then(Timestamp::now);
            let mut all: Vec<Heard> = Vec::new();
            let mut hear = |heard: Heard| all.push(heard);
            for event in batch {
                match event {
                    Event::Bytes(bytes) => reader.bytes(&bytes, &mut hear),
                    Event::Whole(bytes) => reader.whole(&bytes, &mut hear),
                    Event::Cut => reader.cut(),
                    Event::Said(said) => {
                        let words = format!("{}\n", follow_words::said(&said));
                        output::print(talk, "standard error", &words)?;
                    }
                    Event::End => {}
                }
            }
            if ended {
                reader.end(&mut hear);
            }
            let log = match (kept, heard_at) {
                (true, Some(at)) => logged(&all, at),
                _ => String::new(),
            };
            if let Some(folder) = &mut self.folder {
                folder.keep(&log)?;
            }
            let mut changed = false;
            for outcome in all.into_iter().flat_map(|heard| heard.outcomes) {
                let moved = self.follower.hear(outcome, heard_at);
                changed |= moved;
                if moved && !live {
                    self.line_if_due(out)?;
                }
            }
            if live {
                self.show_if_due(changed, out)?;
            }
            if ended {
                return Ok(());
            }
        }
    }

    /// A line for every minute of the flight, where it is read and not heard.
    fn line_if_due(&mut self, out: &mut impl Write) -> Result<()> {
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
        let standing = self.follower.standing(None)?;
        let line = tables::follow::line(&standing, &self.plan.timezone, self.units);
        output::print(out, "standard output", &line)
    }

    /// The view or a line, where something is new or for a while nothing was shown.
    fn show_if_due(&mut self, changed: bool, out: &mut impl Write) -> Result<()> {
        let since = self.shown_at.map_or(VIEW_EVERY, |at| at.elapsed());
        self.changed |= changed;
        let due = since >= VIEW_EVERY || (self.changed && since >= VIEW_AT_MOST);
        if !due {
            return Ok(());
        }
        let news = std::mem::take(&mut self.changed);
        self.shown_at = Some(Instant::now());
        let standing = self.follower.standing(Some(Timestamp::now()))?;
        let waiting = self.follower.waiting(&standing)?;
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
        output::print(out, "standard output", &text)
    }

    /// How it stands at the end of all sources.
    fn finish(&mut self, args: &FollowArgs, out: &mut impl Write) -> Result<()> {
        let standing = self.follower.standing(None)?;
        let waiting = self.follower.waiting(&standing)?;
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

/// Lines of the log for what is of this flight.
fn logged(all: &[Heard], at: Timestamp) -> String {
    let ours = all
        .iter()
        .filter(|heard| heard.outcomes.iter().any(is_ours));
    ours.map(|heard| log_line(at, &heard.raw)).collect()
}

/// What is of another station is not kept.
fn is_ours(outcome: &Outcome) -> bool {
    !matches!(outcome, Err(Refusal::NotAsked))
}

/// All events that wait, or the next within a second; and whether there will be no more.
fn take(events: &Receiver<Event>, live: bool) -> (Vec<Event>, bool) {
    const MOST: usize = 64;
    let first = match live {
        true => events.recv_timeout(Duration::from_secs(1)),
        false => events.recv().map_err(|_| RecvTimeoutError::Disconnected),
    };
    let mut batch = Vec::new();
    match first {
        Ok(event) => batch.push(event),
        Err(RecvTimeoutError::Timeout) => return (batch, false),
        Err(RecvTimeoutError::Disconnected) => return (batch, true),
    }
    while batch.len() < MOST {
        match events.try_recv() {
            Ok(event) => batch.push(event),
            Err(TryRecvError::Empty) => break,
            Err(TryRecvError::Disconnected) => return (batch, true),
        }
    }
    let ended = batch.contains(&Event::End);
    (batch, ended)
}
