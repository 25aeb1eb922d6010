//! `windfall fetch`: the part of a public forecast that a flight needs.
//!
//! One of the two commands that talk to a network; the other is `follow`.

use std::io::{self, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::time::Duration;

use clap::Args;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use jiff::Timestamp;

use super::fetch_words::{MB, by_hand, in_words, requests, summary, to_download};
use super::options::{When, moment};
use super::output;
use super::plan_file::PlanFiles;
use windfall::error::{Error, Result};
use windfall::fetch::download::download;
use windfall::fetch::feed::{Feed, Feeds};
use windfall::fetch::http::{Client, Patience};
use windfall::fetch::ranges::total;
use windfall::fetch::runs::Period;
use windfall::fetch::survey::{Order, Planned, Survey, members, survey};
use windfall::files::read_text;
use windfall::plan::Plan;
use windfall::units::{Dimension, parse};
use windfall::zone::duration::{FAST_M_S, ROOM_M, TimeAloft};

/// Downloads the part of a public forecast that a plan needs.
#[derive(Debug, Args)]
#[command(after_long_help = "\
Examples:
  windfall fetch flight.toml --dry-run
  windfall fetch flight.toml")]
pub struct FetchArgs {
    /// The plan (TOML).
    #[arg(value_name = "PLAN.toml")]
    pub plan: PathBuf,
    /// What the plan may read.
    #[command(flatten)]
    pub files: PlanFiles,
    /// The forecast, as in the program's table or in --feeds.
    #[arg(long, value_name = "NAME", default_value = "gfs")]
    pub feed: String,
    /// The first day (in the plan's time zone) or time to cover; an hour before the release, unless given.
    #[arg(long, value_name = "DATE|TIME")]
    pub from: Option<When>,
    /// The last day or time to cover; six hours after the release (more for a long flight), unless given.
    #[arg(long, value_name = "DATE|TIME")]
    pub to: Option<When>,
    /// How far around the site, as in "300 km"; unless given, as far as a strong wind carries.
    #[arg(long, value_name = "DISTANCE", value_parser = reach)]
    pub reach: Option<f64>,
    /// The run, as in 2026-11-25T12:00:00Z; the newest that is complete unless given.
    #[arg(long, value_name = "TIME", value_parser = moment)]
    pub run: Option<Timestamp>,
    /// Members of an ensemble: names, numbers, ranges as 1-5, or all; the first unless given.
    #[arg(long, value_name = "N", num_args = 1..)]
    pub members: Vec<String>,
    /// The folder for the files; winds/ beside the plan unless given.
    #[arg(long, value_name = "FOLDER")]
    pub out: Option<PathBuf>,
    /// More feeds, or others in place of the program's.
    #[arg(long, value_name = "FILE.toml")]
    pub feeds: Option<PathBuf>,
    /// Prints what would be downloaded. Reads inventories, which are small; writes nothing.
    #[arg(long)]
    pub dry_run: bool,
    /// Downloads more than 200 MB without asking.
    #[arg(long)]
    pub yes: bool,
    /// How many requests to make at the same time.
    #[arg(long, value_name = "N", default_value_t = 4, value_parser = clap::value_parser!(u8).range(1..=16))]
    pub connections: u8,
}

/// More than this is not downloaded without being asked, bytes.
const MUCH: u64 = 200 * MB;

fn reach(text: &str) -> std::result::Result<f64, String> {
    let m = parse(text, Dimension::Length).map_err(|wrong| wrong.to_string())?;
    match (1_000.0..=5_000_000.0).contains(&m) {
        true => Ok(m),
        false => Err("expected 1 km to 5,000 km".into()),
    }
}

/// Runs the command: what was written on `out`, talk on `talk` and, from the threads that wait for
/// servers, on stderr.
///
/// # Errors
///
/// Whatever is wrong with the plan, the feeds, the network or the place to write to.
pub fn run(args: &FetchArgs, out: &mut impl Write, talk: &mut impl Write) -> Result<()> {
    let plan = args.files.read(&args.plan)?;
    let feeds = read_feeds(args.feeds.as_deref())?;
    let feed = feeds.get(&args.feed)?;
    let aloft = TimeAloft::of(&plan);
    let order = order(args, &plan, feed, &aloft)?;
    // Shown only once there is something to download.
    let bar = ProgressBar::hidden();
    // A clone is the same bar: whatever is said, from any thread, goes above it.
    let above = bar.clone();
    // Nothing depends on whether somebody listens.
    let voice = move |text: &str| above.suspend(|| _ = writeln!(io::stderr(), "{text}"));
    let client = Client::new(Patience::default())
        .paced(feed.a_minute)
        .saying(Box::new(voice));
    // Several functions say something, one after the other.
    let talk = std::cell::RefCell::new(talk);
    let say = |text: &str| bar.suspend(|| _ = writeln!(talk.borrow_mut(), "{text}"));
    introduce(args, &order, &aloft, &say);
    let done = fetch(args, &client, &order, &bar, &say);
    // Only where servers or the network are at fault: other ways to get winds mend no plan.
    if done.is_err() && client.gave_up() {
        say(&by_hand(args, &order));
    }
    let survey = done?;
    let report = match args.dry_run {
        true => requests(&survey),
        false => summary(args, &plan, feed, &survey),
    };
    output::print(out, "standard output", &report)
}

/// What is known before anything is asked.
fn introduce(args: &FetchArgs, order: &Order, aloft: &TimeAloft, say: &dyn Fn(&str)) {
    let feed = order.feed;
    if let Some(what) = &feed.untried {
        say(&format!("untried: {what}"));
    }
    if args.members.is_empty() && feed.members.len() > 1 {
        let (count, first) = (feed.members.len(), order.members.join(""));
        say(&format!(
            "{first} of the {count} members of {}; --members all for all",
            feed.name
        ));
    }
    if let Some(region) = order.region() {
        let why = match args.reach {
            Some(_) => String::new(),
            None => format!(": {}; --reach for another", why_so_far(aloft)),
        };
        say(&format!(
            "region: {}, {:.0} km around the site{why}",
            region.in_words(),
            order.reach_m / 1e3
        ));
    }
    let asks = feed.service.is_none() && feed.point.is_none() && feed.whole_bytes.is_none();
    match (args.dry_run, asks) {
        (false, _) => {}
        (true, true) => {
            say("dry run: the inventories are read; no data is downloaded, nothing is written")
        }
        (true, false) => say(
            "dry run: nothing is asked (whether the run is there, too, is not), nothing is written",
        ),
    }
}

/// Why the region is as large as it is.
fn why_so_far(aloft: &TimeAloft) -> String {
    let assumed = if aloft.told_by_plan { "" } else { " (assumed)" };
    format!(
        "{:.1} h aloft{assumed} in a mean wind of {FAST_M_S} m/s (assumed) and {} km",
        aloft.seconds / 3600.0,
        ROOM_M / 1e3
    )
}

/// The program's feeds with those of a file.
///
/// # Errors
///
/// What is wrong with the file.
pub fn read_feeds(path: Option<&Path>) -> Result<Feeds> {
    let feeds = Feeds::built_in()?;
    let Some(path) = path else {
        return Ok(feeds);
    };
    let text = read_text(path, "feeds in TOML")?;
    feeds.extended(&path.display().to_string(), &text)
}

fn order<'a>(
    args: &FetchArgs,
    plan: &Plan,
    feed: &'a Feed,
    aloft: &TimeAloft,
) -> Result<Order<'a>> {
    let around = Period::around(plan.release, aloft.seconds);
    let from = match args.from {
        Some(when) => when.begins(&plan.timezone)?,
        None => around.from,
    };
    let to = match args.to {
        Some(when) => when.ends(&plan.timezone)?,
        None => around.to,
    };
    let folder = match &args.out {
        Some(folder) => folder.clone(),
        None => plan_folder(&args.plan).join("winds"),
    };
    Ok(Order {
        feed,
        site: plan.site.position,
        reach_m: args.reach.unwrap_or(aloft.reach_m()),
        period: Period { from, to },
        now: Timestamp::now(),
        run: args.run,
        members: members(feed, &args.members)?,
        folder,
        connections: usize::from(args.connections),
        // A dry run promises to ask nothing of a service.
        probe: !args.dry_run,
    })
}

/// The folder a plan is in.
pub fn plan_folder(plan: &Path) -> &Path {
    plan.parent().unwrap_or(Path::new(""))
}

/// Finds what there is and fetches every file that is not here.
fn fetch(
    args: &FetchArgs,
    client: &Client,
    order: &Order,
    bar: &ProgressBar,
    say: &dyn Fn(&str),
) -> Result<Survey> {
    let survey = survey(client, order, say)?;
    if args.dry_run {
        return Ok(survey);
    }
    let open = |file: &&Planned| file.there.is_none();
    for file in survey.files.iter().filter(|f| f.there.is_some()) {
        say(&format!("{} is there already, whole", file.path.display()));
    }
    if survey.files.iter().any(|file| open(&file)) {
        say(&to_download(order.feed, &survey));
        agree(args, survey.requests().1, say)?;
    }
    show(
        bar,
        total(survey.files.iter().filter(open).map(Planned::bytes)),
    );
    let arrived = |bytes| bar.inc(bytes);
    let fetched = survey
        .files
        .iter()
        .filter(open)
        .try_for_each(|file| download(client, order, &survey, file, say, &arrived).map(|_| ()));
    // After a failure as well, whose message would stand beside it.
    bar.finish_and_clear();
    fetched.map(|()| survey)
}

/// Asks before much is downloaded.
fn agree(args: &FetchArgs, bytes: u64, say: &dyn Fn(&str)) -> Result<()> {
    if bytes <= MUCH || args.yes {
        return Ok(());
    }
    let refused = |why: String| {
        let remedy = "expected --yes; or fewer --members, a shorter time, a smaller --reach, or a feed \
                      that cuts a region out, as gfs and gefs do";
        Err(Error::CannotDo {
            why,
            remedy: remedy.into(),
        })
    };
    let size = in_words(bytes);
    // A script that is asked would wait for ever.
    if !io::stdin().is_terminal() {
        return refused(format!(
            "{size} are more than {} and there is no terminal to ask at",
            in_words(MUCH)
        ));
    }
    say("go on? y or n");
    let mut answer = String::new();
    let read = io::stdin().read_line(&mut answer);
    match read.map(|_| answer.trim().to_lowercase()) {
        Ok(answer) if ["y", "yes"].contains(&answer.as_str()) => Ok(()),
        // The end of the input, too: silence is no yes.
        _ => refused(format!("{size} were not agreed to")),
    }
}

/// Makes a bar on stderr, if that is a terminal.
fn show(bar: &ProgressBar, bytes: u64) {
    bar.set_length(bytes);
    bar.set_draw_target(ProgressDrawTarget::stderr());
    let template = "{elapsed_precise} {bar:40} {decimal_bytes}/{decimal_total_bytes}, {decimal_bytes_per_sec}, {eta} to go";
    if let Ok(style) = ProgressStyle::with_template(template) {
        bar.set_style(style);
    }
    bar.enable_steady_tick(Duration::from_millis(500));
}
