//! `windfall fetch`: the part of a public forecast that a flight needs.
//!
//! One of the two commands that talk to a network; the other is `follow`.

use std::cell::RefCell;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::Duration;

use clap::Args;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use jiff::{SignedDuration, Timestamp};

use super::options::When;
use super::output;
use windfall::error::Result;
use windfall::fetch::download::download;
use windfall::fetch::feed::{Feed, Feeds};
use windfall::fetch::http::{Client, Patience};
use windfall::fetch::ranges::chunks;
use windfall::fetch::runs::Period;
use windfall::fetch::survey::{Order, Planned, Survey, members, survey};
use windfall::files::read_text;
use windfall::plan::Plan;

/// Downloads the part of a public forecast that a plan needs. Only this command and follow use the network.
#[derive(Debug, Args)]
pub struct FetchArgs {
    /// The plan (TOML).
    #[arg(value_name = "PLAN.toml")]
    pub plan: PathBuf,
    /// The forecast, as in the program's table or in --feeds.
    #[arg(long, value_name = "NAME", default_value = "gfs-half")]
    pub feed: String,
    /// The first day (in the plan's time zone) or time to cover; an hour before the release.
    #[arg(long, value_name = "DATE|TIME")]
    pub from: Option<When>,
    /// The last day or time to cover; six hours after the release.
    #[arg(long, value_name = "DATE|TIME")]
    pub to: Option<When>,
    /// The run, as in 2026-11-25T12:00:00Z; the newest that is complete unless given.
    #[arg(long, value_name = "TIME")]
    pub run: Option<Timestamp>,
    /// Members of an ensemble: names, numbers, ranges as 1-5, or all; the first unless given.
    #[arg(long, value_name = "N", num_args = 1..)]
    pub members: Vec<String>,
    /// Where the files go; winds/ beside the plan unless given.
    #[arg(long, value_name = "FOLDER")]
    pub out: Option<PathBuf>,
    /// More feeds, or others in place of the program's.
    #[arg(long, value_name = "FILE.toml")]
    pub feeds: Option<PathBuf>,
    /// Prints what would be downloaded. Reads the inventories, which are small; writes nothing.
    #[arg(long)]
    pub dry_run: bool,
    /// How many requests at the same time.
    #[arg(long, value_name = "N", default_value_t = 4, value_parser = clap::value_parser!(u8).range(1..=16))]
    pub connections: u8,
}

/// Runs the command: what was written on `out`, talk on `talk`.
///
/// # Errors
///
/// Whatever is wrong with the plan, the feeds, the network or the place to write to.
pub fn run(args: &FetchArgs, out: &mut impl Write, talk: &mut impl Write) -> Result<()> {
    let plan = Plan::read(&args.plan)?;
    let feeds = read_feeds(args.feeds.as_deref())?;
    let feed = feeds.get(&args.feed)?;
    let order = order(args, &plan, feed)?;
    let client = Client::new(Patience::default());
    let talk = RefCell::new(talk);
    let say = |text: &str| {
        // Nothing depends on whether somebody listens.
        let _ = writeln!(talk.borrow_mut(), "{text}");
    };
    if args.members.is_empty() && feed.members.len() > 1 {
        let (count, first) = (feed.members.len(), order.members.join(""));
        say(&format!(
            "{first} of the {count} members of {}; --members all for all",
            feed.name
        ));
    }
    if args.dry_run {
        say("dry run: the inventories are read; no data is downloaded, nothing is written");
    }
    let survey = survey(&client, &order, &say)?;
    let report = if args.dry_run {
        requests(&survey)
    } else {
        fetch(&client, &order, &survey, &say)?;
        summary(args, &plan, feed, &survey)
    };
    output::print(out, "standard output", &report)
}

fn read_feeds(path: Option<&Path>) -> Result<Feeds> {
    let feeds = Feeds::built_in()?;
    let Some(path) = path else {
        return Ok(feeds);
    };
    let text = read_text(path, "feeds in TOML")?;
    feeds.extended(&path.display().to_string(), &text)
}

fn order<'a>(args: &FetchArgs, plan: &Plan, feed: &'a Feed) -> Result<Order<'a>> {
    let before = SignedDuration::from_hours(1);
    let after = SignedDuration::from_hours(6);
    let from = match args.from {
        Some(when) => when.begins(&plan.timezone)?,
        None => plan.release.saturating_sub(before).unwrap_or(plan.release),
    };
    let to = match args.to {
        Some(when) => when.ends(&plan.timezone)?,
        None => plan.release.saturating_add(after).unwrap_or(plan.release),
    };
    let folder = match &args.out {
        Some(folder) => folder.clone(),
        None => plan_folder(&args.plan).join("winds"),
    };
    Ok(Order {
        feed,
        site: plan.site.position,
        period: Period { from, to },
        now: Timestamp::now(),
        run: args.run,
        members: members(feed, &args.members)?,
        folder,
        connections: usize::from(args.connections),
    })
}

fn plan_folder(plan: &Path) -> &Path {
    plan.parent().unwrap_or(Path::new(""))
}

/// Fetches every file that is not there.
fn fetch(client: &Client, order: &Order, survey: &Survey, say: &dyn Fn(&str)) -> Result<()> {
    let open = |file: &&Planned| file.there.is_none();
    for file in survey.files.iter().filter(|f| f.there.is_some()) {
        say(&format!("{} is there already, whole", file.path.display()));
    }
    let bar = bar(survey.files.iter().filter(open).map(Planned::bytes).sum());
    let arrived = |bytes| bar.inc(bytes);
    let say_above = |text: &str| bar.suspend(|| say(text));
    for file in survey.files.iter().filter(open) {
        download(client, order, survey, file, &say_above, &arrived)?;
    }
    bar.finish_and_clear();
    Ok(())
}

/// A bar on stderr, if that is a terminal.
fn bar(bytes: u64) -> ProgressBar {
    let bar = ProgressBar::with_draw_target(Some(bytes), ProgressDrawTarget::stderr());
    let template = "{elapsed_precise} {bar:40} {decimal_bytes}/{decimal_total_bytes}, {decimal_bytes_per_sec}, {eta} to go";
    if let Ok(style) = ProgressStyle::with_template(template) {
        bar.set_style(style);
    }
    bar.enable_steady_tick(Duration::from_millis(500));
    bar
}

/// What a dry run shows: every request.
fn requests(survey: &Survey) -> String {
    let mut text = String::new();
    let (mut count, mut bytes) = (0, 0);
    for file in &survey.files {
        let path = file.path.display();
        if file.there.is_some() {
            text += &format!("{path} is there already, whole\n");
            continue;
        }
        text += &format!("{path}: {}\n", in_words(file.bytes()));
        for chunk in chunks(&file.sources) {
            let (first, last) = (chunk.span.start, chunk.span.end() - 1);
            text += &format!(
                "  {} bytes={first}-{last} ({})\n",
                chunk.url, chunk.span.length
            );
            count += 1;
            bytes += chunk.span.length;
        }
    }
    text + &format!("{count} requests, {} to download\n", in_words(bytes))
}

/// What is there now, and how to use it.
fn summary(args: &FetchArgs, plan: &Plan, feed: &Feed, survey: &Survey) -> String {
    let local = |time: Timestamp| {
        let time = time.to_zoned_datetime(plan.timezone.clone());
        time.strftime("%Y-%m-%d %H:%M %Z").to_string()
    };
    let covers = survey.choice.covers();
    let steps = survey.choice.steps.len();
    let run = survey.choice.run.strftime("%Y-%m-%d %H:%M UTC");
    let mut text = String::new();
    for file in &survey.files {
        let size = in_words(file.bytes());
        text += &format!("{:10}{}, {size}\n", "file", file.path.display());
    }
    text += &format!("{:10}{} ({})\n", "feed", feed.title, feed.name);
    text += &format!("{:10}{run}\n", "run");
    text += &format!(
        "{:10}{} to {}, {steps} times\n",
        "covers",
        local(covers.from),
        local(covers.to)
    );
    let folder = plan_folder(&args.plan);
    let in_plan = survey.files.iter().map(|f| as_in_plan(folder, &f.path));
    text += &format!(
        "{:10}[wind] files = [{}]\n",
        "use",
        in_plan.collect::<Vec<_>>().join(", ")
    );
    let files = survey.files.iter().map(|f| f.path.display().to_string());
    let files = files.collect::<Vec<_>>().join(" ");
    text += &format!(
        "{:10}windfall zone {} --wind {files}\n",
        "or",
        args.plan.display()
    );
    text + &format!("{:10}{} ({})\n", "source", feed.attribution, feed.licence)
}

/// A file's path as a plan in `folder` names it, in TOML.
fn as_in_plan(folder: &Path, file: &Path) -> String {
    let path = match file.strip_prefix(folder) {
        Ok(inside) if file.is_relative() == folder.is_relative() => inside.to_owned(),
        _ => std::path::absolute(file).unwrap_or(file.to_owned()),
    };
    let text = path.display().to_string();
    format!("\"{}\"", text.replace('\\', "\\\\").replace('"', "\\\""))
}

/// A number of bytes for people.
fn in_words(bytes: u64) -> String {
    match bytes {
        0..10_000 => format!("{bytes} bytes"),
        10_000..1_000_000 => format!("{:.1} kB", bytes as f64 / 1e3),
        _ => format!("{:.1} MB", bytes as f64 / 1e6),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_are_named_as_the_plan_sees_them() {
        let named = |folder: &str, file: &str| as_in_plan(Path::new(folder), Path::new(file));
        assert_eq!(named("plans", "plans/winds/a.grib2"), "\"winds/a.grib2\"");
        assert_eq!(named("", "winds/a.grib2"), "\"winds/a.grib2\"");
        assert_eq!(named("plans", "/tmp/a.grib2"), "\"/tmp/a.grib2\"");
        assert!(named("plans", "elsewhere/a.grib2").ends_with("/elsewhere/a.grib2\""));
        assert_eq!(named("", "/tmp/a.grib2"), "\"/tmp/a.grib2\"");
    }
}
