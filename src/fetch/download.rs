//! Fetches what a survey found, and writes it whole or not at all.

use std::fs;
use std::sync::{Mutex, PoisonError};

use jiff::{SignedDuration, Timestamp};

use super::address::shown;
use super::asked::FetchRequest;
use super::check::{self, Of, is_of, is_of_use};
use super::http::{ByteSpan, Client, vanished};
use super::join;
use super::lock;
use super::manifest::{Manifest, digest};
use super::parallel;
use super::part::PartFile;
use super::ranges::{Chunk, RangeSource, chunks, total};
use super::survey::{Order, Planned, Survey};
use crate::error::{Error, Fault, Result};
use crate::files::write_atomically;
use crate::sources::grid::GridFile;
use crate::sources::point::{PointKeys, with_keys};
use crate::sources::{self, Format};

/// Fetches one file of a survey; `arrived` is called with the bytes of each request, of those that were
/// there from an earlier time as well. What is there when it fails stays for the next time, unless it is
/// made of a service's answers, which are small.
///
/// # Errors
///
/// The server's or the disk's, bytes that are not what was asked for, or a file that no plan could use.
pub fn download(
    client: &Client,
    order: &Order,
    survey: &Survey,
    file: &Planned,
    say: &dyn Fn(&str),
    arrived: &(dyn Fn(u64) + Sync),
) -> Result<Manifest> {
    if let Some(manifest) = &file.there {
        return Ok(manifest.clone());
    }
    fs::create_dir_all(&order.folder)
        .map_err(|cause| Error::file(&order.folder, "make the folder", cause))?;
    // With a name, though it is never used: `_` alone would let go of the lock at once.
    let _folder = lock::take(&order.folder, say)?;
    // Another download may have fetched it meanwhile.
    if let Some(manifest) = Manifest::of_whole(&file.path).filter(|m| m.wanted == file.wanted) {
        arrived(file.bytes());
        return Ok(manifest);
    }
    let task = Task {
        client,
        order,
        survey,
        file,
    };
    let feed = order.feed;
    match (&feed.service, &feed.point, feed.whole_bytes) {
        (Some(service), ..) => task.answers(service.missing.as_deref(), arrived),
        (None, Some(keys), _) => task.point(keys, arrived),
        (None, None, Some(_)) => task.answers(None, arrived),
        (None, None, None) => task.messages(say, arrived),
    }
}

/// One file to be fetched.
struct Task<'a> {
    client: &'a Client,
    order: &'a Order<'a>,
    survey: &'a Survey,
    file: &'a Planned,
}

impl Task<'_> {
    /// A file of the messages of larger ones.
    fn messages(&self, say: &dyn Fn(&str), arrived: &(dyn Fn(u64) + Sync)) -> Result<Manifest> {
        let file = self.file;
        let chunks = chunks(&file.sources);
        let part = PartFile::open(&file.path, &chunks)?;
        let (here, open): (Vec<_>, Vec<_>) = chunks
            .iter()
            .enumerate()
            .partition(|(which, _)| part.has(*which));
        let kept = total(here.iter().map(|(_, chunk)| chunk.useful()));
        if kept > 0 {
            say(&format!(
                "{}: {kept} bytes are here from before",
                file.path.display()
            ));
            arrived(kept);
        }
        // One file for all threads, which write whole chunks.
        let part = Mutex::new(part);
        let fetch = |&(which, chunk): &(usize, &Chunk)| {
            let bytes = self.chunk(chunk)?;
            part.lock()
                .unwrap_or_else(PoisonError::into_inner)
                .store(which, chunk, &bytes)?;
            arrived(chunk.useful());
            Ok(())
        };
        parallel::each(self.order.connections, &open, fetch)?;
        let mut part = part.into_inner().unwrap_or_else(PoisonError::into_inner);
        let sha256 = part.whole(file.bytes())?;
        // Before it gets its name: what no plan can use must not stand there.
        self.check(GridFile::open(part.path()))?;
        let manifest = self.manifest(file.bytes(), sha256, file.sources.clone());
        // The manifest first: a file without one would be fetched again, one without a file does no harm.
        manifest.write(&file.path)?;
        part.finish(&file.path)?;
        Ok(manifest)
    }

    /// The bytes of a chunk; its messages are whole, and of the step that they should be of.
    fn chunk(&self, chunk: &Chunk) -> Result<Vec<u8>> {
        let piece = self.client.piece(&chunk.url, chunk.span)?;
        let piece = piece.ok_or_else(|| vanished(&chunk.url))?;
        let mut useful = Vec::new();
        for message in &chunk.messages {
            let bytes = message.from.within(chunk.span.start, &piece.bytes);
            let bytes = bytes.ok_or_else(|| ends_early(chunk, piece.bytes.len() as u64))?;
            check::whole_messages(&chunk.url, message.from.start, bytes)?;
            useful.extend_from_slice(bytes);
        }
        // What is not known here is not known later either; the whole file is looked at then.
        if let Ok(known) = GridFile::from_bytes(&chunk.url, useful) {
            is_of(&chunk.url, &known, self.of(chunk.step))?;
        }
        Ok(piece.bytes)
    }

    fn of(&self, step: u32) -> Of<'_> {
        Of {
            run: self.survey.choice.run,
            step,
            member: self.file.member.as_deref(),
        }
    }

    /// A file of whole answers; `missing` are a service's words where it has none.
    fn answers(&self, missing: Option<&str>, arrived: &(dyn Fn(u64) + Sync)) -> Result<Manifest> {
        let file = self.file;
        let ask = |asked: &FetchRequest| {
            let bytes = self.answer(missing, asked)?;
            arrived(asked.about);
            Ok(bytes)
        };
        let answers = parallel::each(self.order.connections, &file.asked, ask)?;
        let sources = file
            .asked
            .iter()
            .zip(&answers)
            .map(|(asked, bytes)| RangeSource {
                url: shown(&asked.url),
                step: asked.step,
                messages: ByteSpan::new(0, bytes.len() as u64).into_iter().collect(),
            });
        let sources = sources.collect();
        let bytes = joined(&file.asked, answers)?.concat();
        let name = file.path.display().to_string();
        self.check(GridFile::from_bytes(&name, bytes.clone()))?;
        let manifest = self.manifest(bytes.len() as u64, digest(&bytes), sources);
        manifest.write(&file.path)?;
        write_atomically(&file.path, &bytes)?;
        Ok(manifest)
    }

    /// An answer, whole and of the step asked for.
    fn answer(&self, missing: Option<&str>, asked: &FetchRequest) -> Result<Vec<u8>> {
        let answer = self.client.reply(&asked.url, missing)?;
        let bytes = answer.ok_or_else(|| {
            let expected = "a run that is complete; --run asks for the one before";
            Error::from(Fault::new(shown(&asked.url), "no such file", expected))
        })?;
        let known = GridFile::from_bytes(&shown(&asked.url), bytes.clone())?;
        is_of(&asked.url, &known, self.of(asked.step))?;
        Ok(bytes)
    }

    /// A point forecast, with the keys to read it by.
    fn point(&self, keys: &PointKeys, arrived: &(dyn Fn(u64) + Sync)) -> Result<Manifest> {
        let file = self.file;
        let mut sources = Vec::new();
        let mut text = String::new();
        for asked in &file.asked {
            let url = shown(&asked.url);
            let answer = self.client.json(&asked.url)?;
            let answer = answer.ok_or_else(|| vanished(&asked.url))?;
            arrived(asked.about);
            text = with_keys(&url, &answer, keys, self.run_assumed())?;
            let profiles = sources::parse(&url, &text, Some(Format::Point))?;
            let covers = self.survey.choice.covers();
            check::covers(&url, &profiles, [covers.from, covers.to], self.order.site)?;
            sources.push(RangeSource {
                url,
                step: asked.step,
                messages: ByteSpan::new(0, answer.len() as u64).into_iter().collect(),
            });
        }
        let bytes = text.as_bytes();
        let manifest = self.manifest(bytes.len() as u64, digest(bytes), sources);
        manifest.write(&file.path)?;
        write_atomically(&file.path, bytes)?;
        Ok(manifest)
    }

    /// The run that a forecast is taken to be of which does not tell: the newest that was complete.
    fn run_assumed(&self) -> Timestamp {
        let complete = SignedDuration::from_secs(self.order.feed.complete_after_s);
        let run = self.order.now.saturating_sub(complete);
        whole_second(run.unwrap_or(self.order.now))
    }

    /// Checks that a plan can use the file.
    fn check(&self, opened: Result<GridFile>) -> Result<()> {
        let times = check::times(self.survey.choice.run, &self.file.steps);
        is_of_use(opened?, &times, self.order.site)
    }

    fn manifest(&self, bytes: u64, sha256: String, sources: Vec<RangeSource>) -> Manifest {
        let (feed, file) = (self.order.feed, self.file);
        let shown = |source: RangeSource| RangeSource {
            url: shown(&source.url),
            ..source
        };
        Manifest {
            program: concat!("windfall ", env!("CARGO_PKG_VERSION")).to_owned(),
            feed: feed.name.clone(),
            title: feed.title.clone(),
            licence: feed.licence.clone(),
            attribution: feed.attribution.clone(),
            // Of a point forecast nobody tells.
            run: feed.point.is_none().then_some(self.survey.choice.run),
            member: file.member.clone(),
            steps: file.steps.clone(),
            wanted: file.wanted.clone(),
            fetched: whole_second(self.order.now),
            bytes,
            sha256,
            sources: sources.into_iter().map(shown).collect(),
            region: self.order.region(),
            redirects: self.client.redirects(),
        }
    }
}

/// Answers in their order, those on both sides of a seam made into one.
fn joined(asked: &[FetchRequest], answers: Vec<Vec<u8>>) -> Result<Vec<Vec<u8>>> {
    let mut whole: Vec<Vec<u8>> = Vec::new();
    for (asked, answer) in asked.iter().zip(answers) {
        match whole.last_mut() {
            Some(west) if asked.goes_on => {
                *west = join::halves(&asked.url, west, &answer)?;
            }
            _ => whole.push(answer),
        }
    }
    Ok(whole)
}

fn ends_early(chunk: &Chunk, got: u64) -> Error {
    let found = format!("its end at byte {}", chunk.span.start + got);
    let expected = format!("at least {} bytes, as its inventory says", chunk.span.end());
    Fault::new(shown(&chunk.url), found, expected).into()
}

fn whole_second(time: Timestamp) -> Timestamp {
    Timestamp::from_second(time.as_second()).unwrap_or(time)
}
