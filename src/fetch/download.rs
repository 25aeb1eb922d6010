//! Fetches what a survey found, and writes it whole or not at all.

use std::fs;
use std::sync::{Mutex, PoisonError};

use jiff::Timestamp;

use super::check;
use super::http::{Client, vanished};
use super::manifest::Manifest;
use super::parallel;
use super::part::Part;
use super::ranges::{Chunk, chunks};
use super::survey::{Order, Planned, Survey};
use crate::error::{Error, Fault, Result};

/// Fetches one file of a survey; `arrived` is called with the bytes of each chunk, of those that were there
/// from an earlier time as well. What is there when it fails stays for the next time.
///
/// # Errors
///
/// The server's or the disk's, or bytes that are not whole GRIB messages.
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
    let chunks = chunks(&file.sources);
    let part = Part::open(&file.path, &chunks)?;
    let (here, open): (Vec<usize>, Vec<usize>) = (0..chunks.len()).partition(|i| part.has(*i));
    let kept: u64 = here.iter().map(|i| chunks[*i].useful()).sum();
    if kept > 0 {
        say(&format!(
            "{}: {kept} bytes are here from before",
            file.path.display()
        ));
        arrived(kept);
    }
    let part = Mutex::new(part);
    let fetch = |which: &usize| {
        let chunk = &chunks[*which];
        let bytes = fetch_chunk(client, chunk)?;
        part.lock()
            .unwrap_or_else(PoisonError::into_inner)
            .store(*which, chunk, &bytes)?;
        arrived(chunk.useful());
        Ok(())
    };
    parallel::each(order.connections, &open, fetch)?;
    let mut part = part.into_inner().unwrap_or_else(PoisonError::into_inner);
    let manifest = manifest(order, survey, file, part.whole(file.bytes())?);
    // The manifest first: a file without one would be fetched again, one without a file does no harm.
    manifest.write(&file.path)?;
    part.finish(&file.path)?;
    Ok(manifest)
}

/// The bytes of a chunk; its messages are whole.
fn fetch_chunk(client: &Client, chunk: &Chunk) -> Result<Vec<u8>> {
    let piece = client.piece(&chunk.url, chunk.span)?;
    let piece = piece.ok_or_else(|| vanished(&chunk.url))?;
    for message in &chunk.messages {
        let at = (message.from.start - chunk.span.start) as usize;
        let bytes = piece.bytes.get(at..at + message.from.length as usize);
        let bytes = bytes.ok_or_else(|| ends_early(chunk, piece.bytes.len() as u64))?;
        check::whole_messages(&chunk.url, message.from.start, bytes)?;
    }
    Ok(piece.bytes)
}

fn ends_early(chunk: &Chunk, got: u64) -> Error {
    let found = format!("its end at byte {}", chunk.span.start + got);
    let expected = format!("at least {} bytes, as its inventory says", chunk.span.end());
    Fault::new(&chunk.url, found, expected).into()
}

fn manifest(order: &Order, survey: &Survey, file: &Planned, sha256: String) -> Manifest {
    Manifest {
        program: concat!("windfall ", env!("CARGO_PKG_VERSION")).to_owned(),
        feed: order.feed.name.clone(),
        title: order.feed.title.clone(),
        licence: order.feed.licence.clone(),
        attribution: order.feed.attribution.clone(),
        run: survey.choice.run,
        member: file.member.clone(),
        steps: survey.choice.steps.clone(),
        wanted: file.wanted.clone(),
        fetched: whole_second(order.now),
        bytes: file.bytes(),
        sha256,
        sources: file.sources.clone(),
    }
}

fn whole_second(time: Timestamp) -> Timestamp {
    Timestamp::from_second(time.as_second()).unwrap_or(time)
}
