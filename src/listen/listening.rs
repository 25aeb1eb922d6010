//! A source and the reader of what it says, as one.

use std::collections::HashSet;
use std::fs::File;
use std::io::Read;
use std::path::Path;
use std::sync::mpsc::{Receiver, RecvTimeoutError, TryRecvError};
use std::time::Duration;

use jiff::Timestamp;

use super::{Event, ReportSource, Said, Waiting, listen};
use crate::error::{Error, Result};
use crate::files::{is_regular, read_bytes};
use crate::track::reader::{Heard, Reader, log_line};
use crate::track::{Outcome, Refusal, Stamp};

/// Events taken at once.
const MOST: usize = 64;
/// So long a source that goes on by itself is waited for.
const PATIENCE: Duration = Duration::from_secs(1);

/// A source that is listened to.
pub struct Listening {
    events: Receiver<Event>,
    reader: Reader,
    live: bool,
    /// What the page had when it was asked last; `None` of other sources.
    on_page: Option<HashSet<Vec<u8>>>,
    /// Whether a page or a file that grows is looked at for the first time still.
    first_look: bool,
}

/// What came since the last look.
#[derive(Debug, Default)]
pub struct Batch {
    /// Reports, and what was none.
    pub heard: Vec<Heard>,
    /// What happened to the source.
    pub said: Vec<Said>,
    /// It was there already at the first look: when it was heard first, nobody knows.
    pub was_there: bool,
    /// There is no more.
    pub ended: bool,
}

impl Listening {
    /// Listens to a source; with `grows` a file or the standard input is waited at its end for more.
    ///
    /// # Errors
    ///
    /// When a file cannot be opened.
    pub fn new(
        source: &ReportSource,
        reader: Reader,
        grows: bool,
        waiting: Waiting,
    ) -> Result<Listening> {
        let live = source.is_live() || grows;
        Ok(Listening {
            events: listen(source, grows, waiting)?,
            reader: if live { reader.streaming() } else { reader },
            live,
            first_look: live && matches!(source, ReportSource::Page(_) | ReportSource::File(_)),
            on_page: matches!(source, ReportSource::Page(_)).then(HashSet::new),
        })
    }

    /// Whether reports come as they are made, and not from a file of what was.
    pub fn is_live(&self) -> bool {
        self.live
    }

    /// What came, after a second at the latest where the source goes on by itself.
    pub fn hear(&mut self) -> Batch {
        let (events, ended) = self.take();
        let mut batch = Batch {
            ended,
            ..Batch::default()
        };
        for event in events {
            self.look(&event, &mut batch);
            let mut hear = |heard: Heard| batch.heard.push(heard);
            match event {
                Event::Bytes(bytes) => self.reader.bytes(&bytes, &mut hear),
                Event::Whole(bytes) => batch.heard.extend(self.new_of(&bytes)),
                Event::Cut => self.reader.cut(),
                Event::Said(said) => batch.said.push(said),
                Event::End => {}
            }
        }
        if ended {
            self.reader.end(&mut |heard: Heard| batch.heard.push(heard));
        }
        batch
    }

    /// The first look ends with the first page, or at the end that a file had when it was opened.
    fn look(&mut self, event: &Event, batch: &mut Batch) {
        let told = match event {
            Event::Bytes(bytes) => !bytes.is_empty(),
            Event::Whole(_) => true,
            _ => return,
        };
        batch.was_there |= self.first_look && told;
        // A page without a change has no bytes either; a file has some until its end.
        self.first_look &= told && self.on_page.is_none();
    }

    /// What is new in a whole document: a page that grows tells all that it told before.
    fn new_of(&mut self, bytes: &[u8]) -> Vec<Heard> {
        let mut all = Vec::new();
        self.reader
            .whole(bytes, &mut |heard: Heard| all.push(heard));
        if let Some(before) = &mut self.on_page {
            let now = all.iter().map(|heard| heard.raw.clone()).collect();
            let before = std::mem::replace(before, now);
            all.retain(|heard| !before.contains(&heard.raw));
        }
        if newest_first(&all) {
            all.reverse();
        }
        all
    }

    /// All events that wait, or the next one; and whether there will be no more.
    fn take(&self) -> (Vec<Event>, bool) {
        let first = match self.live {
            true => self.events.recv_timeout(PATIENCE),
            false => self
                .events
                .recv()
                .map_err(|_| RecvTimeoutError::Disconnected),
        };
        let mut events = Vec::new();
        match first {
            Ok(event) => events.push(event),
            Err(RecvTimeoutError::Timeout) => return (events, false),
            Err(RecvTimeoutError::Disconnected) => return (events, true),
        }
        // Not all there are: from a source that never rests there would be no coming back.
        while events.len() < MOST {
            match self.events.try_recv() {
                Ok(event) => events.push(event),
                Err(TryRecvError::Empty) => break,
                Err(TryRecvError::Disconnected) => return (events, true),
            }
        }
        // The sender may not be gone yet, but after this word there is nothing more.
        let ended = events.contains(&Event::End);
        (events, ended)
    }
}

/// Whether a list begins with what is newest, as pages of the last reports do.
fn newest_first(all: &[Heard]) -> bool {
    let times = |heard: &Heard| match heard.outcomes.first()?.as_ref().ok()?.stamp {
        Stamp::At(time) => Some([time; 3]),
        Stamp::OneOf(times) => Some(times),
        _ => None,
    };
    let mut all = all.iter().filter_map(times);
    let ends = all.next().zip(all.next_back());
    // In whichever order the parts of the dates stand.
    ends.is_some_and(|(first, last)| first.iter().zip(last).all(|(first, last)| *first > last))
}

/// Lines of a log for what is of this flight, as heard at a time, if that is known.
pub fn log_of(all: &[Heard], at: Option<Timestamp>) -> String {
    let ours = all.iter().filter(|h| h.outcomes.iter().any(is_ours));
    ours.map(|heard| log_line(at, &heard.raw)).collect()
}

/// Reads a track's file to its end; what is of other stations is not kept.
///
/// # Errors
///
/// When it cannot be read.
pub fn read_file(path: &Path, mut reader: Reader) -> Result<Vec<Outcome>> {
    let failed = |cause| Error::file(path, "read", cause);
    let mut all = Vec::new();
    let mut keep = |heard: Heard| all.extend(heard.outcomes.into_iter().filter(is_ours));
    // A pipe or a device may have no end, or no beginning.
    if !is_regular(path) {
        reader.bytes(&read_bytes(path)?, &mut keep);
        reader.end(&mut keep);
        return Ok(all);
    }
    let mut file = File::open(path).map_err(failed)?;
    let mut buffer = vec![0; 1 << 16];
    loop {
        match file.read(&mut buffer).map_err(failed)? {
            0 => break,
            count => reader.bytes(buffer.get(..count).unwrap_or(&buffer), &mut keep),
        }
    }
    reader.end(&mut keep);
    Ok(all)
}

/// What is of another station is not kept.
fn is_ours(outcome: &Outcome) -> bool {
    !matches!(outcome, Err(Refusal::NotAsked))
}
