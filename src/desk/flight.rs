//! A flight on the desk: followed while it flies, looked back on when it is down.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::folder::{LOGBOOK, beside};
use super::made::{Answer, Made};
use super::words::{self, Station};
use super::work::DeskRequest;
use crate::brief::answer::{MapGround, WaitingPoint};
use crate::brief::map_ground;
use crate::debrief::Debrief;
use crate::error::{Error, Fault, Result};
use crate::follow::Follower;
use crate::follow::answer::Standing;
use crate::follow::views::Views;
use crate::geodesy::Position;
use crate::geodesy::reading::{EXPECTED, read_position};
use crate::listen::listening::{Listening, log_of, read_file};
use crate::listen::{ReportSource, Said, Waiting};
use crate::logbook::Logbook;
use crate::plan::Plan;
use crate::report::files::live_folder::LiveFolder;
use crate::report::pictures::map::debrief::sheet;
use crate::track::fields::Fields;
use crate::track::reader::Reader;
use crate::winds::Winds;
use crate::zone::Options;

/// How a flight stands that is followed.
#[derive(Clone)]
pub struct Followed {
    /// How it stands.
    pub standing: Standing,
    /// Where to wait.
    pub waiting: Vec<WaitingPoint>,
    /// What happened to the source last.
    pub said: Option<Said>,
    /// The clocks it is told by.
    pub timezone: TimeZone,
    /// The folder it is written into, as the desk's folder has it.
    pub folder: String,
}

/// A flight looked back on.
pub struct Debriefed {
    /// What was found.
    pub debrief: Debrief,
    /// The plan it was of.
    pub plan: Plan,
    /// The ground below its map.
    pub ground: MapGround,
    /// Whether the flight was written into the logbook, where that was asked for; or why it could not be.
    pub written: Option<std::result::Result<bool, String>>,
}

/// Follows a flight until its source ends or it is stopped; how it stands is kept again and again.
///
/// # Errors
///
/// Whatever is wrong with the plan, the winds or the source.
pub fn follow(asked: &DeskRequest, winds: &Winds) -> Result<Answer> {
    let desk = asked.desk;
    let source = source(asked)?;
    let reader = reader(asked)?;
    let grows = asked.typed("grows") == "yes";
    let car = car(asked)?;
    let units = desk.view().units_of(asked.plan);
    let mut follower = Follower::new(asked.plan, winds, Options::default())?;
    follower.set_car(car);
    let stem = asked.name.strip_suffix(".toml").unwrap_or(asked.name);
    let folder = format!("{stem}-flight");
    let path = desk.folder.path(&folder)?;
    let goes_on = LiveFolder::is_log_in(&path, &source);
    let mut live = LiveFolder::open(&path, asked.plan.release, goes_on)?;
    let mut listening = Listening::new(&source, reader, grows, Waiting::default())?;
    // What is read from its own log is not written there twice.
    let logs = listening.is_live() && !goes_on;
    asked.work.begin(words::doing("follow"), 0);
    let (mut views, mut said) = (Views::default(), None);
    loop {
        let batch = listening.hear();
        // Nothing is done yet; this is where work that is not wanted any more ends.
        asked.work.step(0);
        // A file that is read from its beginning has a time of its own: that of its reports.
        let now = listening.is_live().then(Timestamp::now);
        // Before anything is made of it: what was heard stays, whatever becomes of this run.
        // What a page or a file had before it was looked at was not heard now.
        let heard = now.filter(|_| !batch.was_there);
        if logs {
            live.keep(&log_of(&batch.heard, heard))?;
        }
        for outcome in batch.heard.into_iter().flat_map(|heard| heard.outcomes) {
            views.heard(follower.hear(outcome, heard));
        }
        said = batch.said.into_iter().next_back().or(said);
        let due = now.is_some() && views.are_due();
        if !due && !batch.ended {
            continue;
        }
        views.show();
        // After the end silence means nothing: the flight stands as of its last report.
        let mut standing = follower.standing(now.filter(|_| !batch.ended))?;
        let waiting = follower.waiting(&mut standing)?;
        live.write(&standing, &waiting, asked.plan, units)?;
        let followed = Box::new(Followed {
            standing,
            waiting,
            said: said.clone(),
            timezone: asked.plan.timezone.clone(),
            folder: folder.clone(),
        });
        if batch.ended {
            return Ok(Answer::Followed(followed));
        }
        let made = Made {
            of: asked.text.to_owned(),
            answer: Answer::Followed(followed),
        };
        desk.keep(asked.name, Station::Follow, made);
        // The page asks for the new standing when this count has grown.
        asked.work.step(1);
    }
}

/// Looks back on a flight.
///
/// # Errors
///
/// Whatever is wrong with the plan, the winds or the tracks.
pub fn debrief(asked: &DeskRequest, winds: &Winds) -> Result<Answer> {
    let reader = reader(asked)?;
    let mut heard = Vec::new();
    for file in asked.typed("file").lines() {
        heard.extend(read_file(&asked.desk.folder.path(file)?, reader.clone())?);
    }
    asked.work.begin(words::doing("debrief"), 0);
    let debrief = Debrief::of(asked.plan, winds, Options::default(), heard)?;
    let ground = map_ground(asked.plan, sheet(&debrief).region())?;
    // Last: a flight that cannot be looked back on leaves no row.
    let written = match asked.typed("logbook") {
        "yes" => {
            let path = asked.desk.folder.path(&beside(asked.name, LOGBOOK))?;
            // A logbook that cannot be written into shall not cost the answer.
            let written = Logbook::append(&path, &debrief.row());
            Some(
                written
                    .map(|there| there.is_none())
                    .map_err(|error| error.to_string()),
            )
        }
        _ => None,
    };
    Ok(Answer::Debriefed(Box::new(Debriefed {
        debrief,
        plan: asked.plan.clone(),
        ground,
        written,
    })))
}

/// Where reports come from: an address that was typed, or else a file of the folder.
fn source(asked: &DeskRequest) -> Result<ReportSource> {
    let (address, file) = (asked.typed("address"), asked.typed("file"));
    // Without a scheme it would be read as the path of a file, in the folder or not.
    let found = match address.contains("://") {
        true => ReportSource::parse(address)?,
        false if !address.is_empty() => {
            let found = format!("\"{address}\"");
            return Err(Fault::new(words::ADDRESS, found, words::ADDRESS_HINT).into());
        }
        false if file.is_empty() => {
            return Err(Error::CannotDo {
                why: words::NO_SOURCE.into(),
                remedy: words::NO_SOURCE_REMEDY.into(),
            });
        }
        false => ReportSource::File(asked.desk.folder.path(file)?),
    };
    match &found {
        ReportSource::Aprs { .. } if asked.typed("call").is_empty() => {
            Err(Fault::new(words::CALL, "nothing", words::CALL_HINT).into())
        }
        ReportSource::File(path) if !path.is_file() => Err(Error::file(
            path,
            "read",
            std::io::ErrorKind::NotFound.into(),
        )),
        _ => Ok(found),
    }
}

/// A reader of the trackers that were named, or of all.
fn reader(asked: &DeskRequest) -> Result<Reader> {
    let calls: Vec<String> = asked
        .typed("call")
        .split([',', ' ', '\n'])
        .filter(|call| !call.is_empty())
        .map(str::to_owned)
        .collect();
    let fields = match asked.typed("columns") {
        "" => Fields::default(),
        text => Fields::parse(text)?,
    };
    Ok(Reader::new(fields, &calls))
}

fn car(asked: &DeskRequest) -> Result<Option<Position>> {
    let text = asked.typed("me");
    if text.is_empty() {
        return Ok(None);
    }
    let wrong = || Fault::new(words::CAR, format!("\"{text}\""), EXPECTED);
    Ok(Some(read_position(text).ok_or_else(wrong)?))
}
