//! A flight on the desk: followed while it flies, looked back on when it is down.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::folder::{FLIGHT, LOGBOOK, beside, made_for};
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
use crate::listen::listening::{Batch, Listening, log_of, read_file};
use crate::listen::{ReportSource, Said, Waiting};
use crate::logbook::Logbook;
use crate::plan::Plan;
use crate::report::files::live_folder::LiveFolder;
use crate::report::pictures::map::debrief::sheet;
use crate::track::fields::Fields;
use crate::track::reader::Reader;
use crate::units::UnitSystem;
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
    /// Where the log of another flight is now that lay in that folder.
    pub earlier: Option<String>,
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
    let source = source(asked)?;
    let reader = reader(asked)?;
    let grows = asked.typed("grows") == "yes";
    let car = car(asked)?;
    let mut follower = Follower::new(asked.plan, winds, Options::default())?;
    follower.set_car(car);
    let mut flight = InFlight::begin(asked, follower, &source)?;
    let mut listening = Listening::new(&source, reader, grows, Waiting::default())?;
    // What is read from its own log is not written there twice.
    let logs = listening.is_live() && !flight.goes_on;
    asked.work.begin(words::doing("follow"), 0);
    loop {
        let batch = listening.hear();
        // Nothing is done yet; this is where work that is not wanted any more ends.
        asked.work.step(0);
        // A file that is read from its beginning has a time of its own: that of its reports.
        let now = listening.is_live().then(Timestamp::now);
        let ended = batch.ended;
        flight.hear(batch, now, logs)?;
        if ended {
            // After the end silence means nothing: the flight stands as of its last report.
            return Ok(Answer::Followed(flight.stands(None)?));
        }
        let Some(now) = now.filter(|_| flight.views.are_due()) else {
            continue;
        };
        let made = Made {
            of: asked.text.to_owned(),
            answer: Answer::Followed(flight.stands(Some(now))?),
        };
        asked.desk.keep(asked.name, Station::Follow, made);
        // The page asks for the new standing when this count has grown.
        asked.work.step(1);
    }
}

/// A flight while it is followed.
struct InFlight<'a> {
    plan: &'a Plan,
    units: UnitSystem,
    follower: Follower<'a>,
    /// What is written on the way, and the name of its folder.
    live: LiveFolder,
    folder: String,
    /// Whether the reports come from the log of that folder.
    goes_on: bool,
    /// The log of another flight that lay there.
    earlier: Option<String>,
    views: Views,
    said: Option<Said>,
}

impl<'a> InFlight<'a> {
    fn begin(
        asked: &DeskRequest<'a>,
        follower: Follower<'a>,
        source: &ReportSource,
    ) -> Result<InFlight<'a>> {
        let files = &asked.desk.folder;
        let folder = made_for(asked.name, FLIGHT);
        let path = files.path(&folder)?;
        let goes_on = LiveFolder::is_log_in(&path, source);
        let live = LiveFolder::open(&path, asked.plan.release, goes_on)?;
        Ok(InFlight {
            plan: asked.plan,
            units: asked.desk.view().units_of(asked.plan),
            follower,
            earlier: live.earlier().and_then(|log| files.name(log)),
            live,
            folder,
            goes_on,
            views: Views::default(),
            said: None,
        })
    }

    /// Hears what came, and writes it into the log where `logs` says so.
    fn hear(&mut self, batch: Batch, now: Option<Timestamp>, logs: bool) -> Result<()> {
        // What a page or a file had before it was looked at was not heard now.
        let heard = now.filter(|_| !batch.was_there);
        // Before anything is made of it: what was heard stays, whatever becomes of this run.
        if logs {
            self.live.keep(&log_of(&batch.heard, heard))?;
        }
        for outcome in batch.heard.into_iter().flat_map(|heard| heard.outcomes) {
            self.views.heard(self.follower.hear(outcome, heard));
        }
        self.said = batch.said.into_iter().next_back().or(self.said.take());
        Ok(())
    }

    /// How it stands, which is written into the folder, too.
    fn stands(&mut self, now: Option<Timestamp>) -> Result<Box<Followed>> {
        self.views.show();
        let mut standing = self.follower.standing(now)?;
        let waiting = self.follower.waiting(&mut standing)?;
        self.live
            .write(&standing, &waiting, self.plan, self.units)?;
        Ok(Box::new(Followed {
            standing,
            waiting,
            said: self.said.clone(),
            timezone: self.plan.timezone.clone(),
            folder: self.folder.clone(),
            earlier: self.earlier.clone(),
        }))
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

/// Where reports come from: an address that was typed, or a file of the folder.
fn source(asked: &DeskRequest) -> Result<ReportSource> {
    let (address, file) = (asked.typed("address"), asked.typed("file"));
    if !address.is_empty() && !file.is_empty() {
        return Err(Error::CannotDo {
            why: words::TWO_SOURCES.into(),
            remedy: words::TWO_SOURCES_REMEDY.into(),
        });
    }
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
