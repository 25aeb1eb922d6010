//! A download that is not finished: what is there stays for the next time.
//!
//! Beside `FILE.part` stands `FILE.part.journal`: its first line tells which download this is, each
//! other line a chunk that is written, with the digest of its bytes. When the program starts again,
//! the chunks whose bytes still have their digest need not be fetched again.

use std::collections::BTreeMap;
use std::fs::{self, File, OpenOptions};
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use super::manifest::{beside, digest, digest_of_file};
use super::ranges::{Chunk, Placed};
use crate::error::{Error, Result};
use crate::files::read_text;

/// An unfinished download.
#[derive(Debug)]
pub struct PartFile {
    path: PathBuf,
    journal_path: PathBuf,
    file: File,
    journal: File,
    have: Vec<bool>,
}

impl PartFile {
    /// Opens the unfinished download of a file, or begins it.
    ///
    /// # Errors
    ///
    /// The folder cannot be written to.
    pub fn open(file: &Path, chunks: &[Chunk]) -> Result<PartFile> {
        let path = beside(file, ".part");
        let journal_path = beside(file, ".part.journal");
        // Of another run, region or server other chunks are made, and what is there is of no use.
        let header = format!("windfall {}", digest(format!("{chunks:?}").as_bytes()));
        let noted = read_journal(&journal_path, &header);
        let open = |path: &Path, anew: bool| {
            OpenOptions::new()
                .read(true)
                .write(true)
                .create(true)
                .truncate(anew)
                .open(path)
                .map_err(|cause| Error::file(path, "write", cause))
        };
        let mut part = PartFile {
            // What is left of another download may be longer than this one gets.
            file: open(&path, noted.is_empty())?,
            // Written anew with the chunks that still have their digests, and no others.
            journal: open(&journal_path, true)?,
            have: vec![false; chunks.len()],
            path,
            journal_path,
        };
        part.note(&header)?;
        for (which, chunk) in chunks.iter().enumerate() {
            let found = noted
                .get(&which)
                .filter(|d| part.digest_of(chunk).as_ref() == Some(d));
            if let Some(digest) = found {
                part.note(&format!("{which} {digest}"))?;
                part.has_now(which);
            }
        }
        Ok(part)
    }

    /// Where it is until it is finished.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Whether a chunk is there.
    pub fn has(&self, which: usize) -> bool {
        self.have.get(which).copied().unwrap_or(false)
    }

    /// Writes the messages of a chunk, `bytes` being all that was asked for, and notes it.
    ///
    /// # Errors
    ///
    /// The disk is full.
    pub fn store(&mut self, which: usize, chunk: &Chunk, bytes: &[u8]) -> Result<()> {
        let mut useful = Vec::new();
        for message in &chunk.messages {
            let message_bytes = within(chunk, message, bytes);
            let failed = |cause| Error::file(&self.path, "write", cause);
            self.file
                .seek(SeekFrom::Start(message.to))
                .map_err(failed)?;
            self.file.write_all(message_bytes).map_err(failed)?;
            useful.extend_from_slice(message_bytes);
        }
        // After the bytes, so that what is noted has been written.
        self.note(&format!("{which} {}", digest(&useful)))?;
        self.has_now(which);
        Ok(())
    }

    fn has_now(&mut self, which: usize) {
        if let Some(have) = self.have.get_mut(which) {
            *have = true;
        }
    }

    /// Digest of a finished part of this many bytes.
    ///
    /// # Errors
    ///
    /// It cannot be read, or has another length.
    pub fn whole(&mut self, bytes: u64) -> Result<String> {
        let failed = |cause| Error::file(&self.path, "read", cause);
        // On the disk before it gets its name: after a crash the name must not stand for less.
        self.file.sync_all().map_err(failed)?;
        let length = self.file.metadata().map_err(failed)?.len();
        if length != bytes || self.have.contains(&false) {
            return Err(Error::CannotDo {
                why: format!("{} has {length} of {bytes} bytes", self.path.display()),
                remedy: "delete it and fetch again".into(),
            });
        }
        digest_of_file(&self.path).map_err(failed)
    }

    /// Gives the finished part its name.
    ///
    /// # Errors
    ///
    /// The name cannot be given.
    pub fn finish(self, file: &Path) -> Result<()> {
        // The journal goes last: left without its part it only says what has to be fetched again.
        fs::rename(&self.path, file).map_err(|cause| Error::file(file, "write", cause))?;
        fs::remove_file(&self.journal_path)
            .map_err(|cause| Error::file(&self.journal_path, "remove", cause))
    }

    fn note(&mut self, line: &str) -> Result<()> {
        self.journal
            .write_all(format!("{line}\n").as_bytes())
            .map_err(|cause| Error::file(&self.journal_path, "write", cause))
    }

    /// Digest of a chunk's messages as they are on the disk.
    fn digest_of(&mut self, chunk: &Chunk) -> Option<String> {
        let mut useful = Vec::new();
        for message in &chunk.messages {
            self.file.seek(SeekFrom::Start(message.to)).ok()?;
            let length = message.from.length;
            let read = (&self.file).take(length).read_to_end(&mut useful).ok()?;
            if read as u64 != length {
                return None;
            }
        }
        Some(digest(&useful))
    }
}

/// The bytes of a message among those of its chunk.
fn within<'b>(chunk: &Chunk, message: &Placed, bytes: &'b [u8]) -> &'b [u8] {
    let within = message.from.within(chunk.span.start, bytes);
    within.unwrap_or(&[])
}

/// The chunks noted in a journal of this download.
fn read_journal(path: &Path, header: &str) -> BTreeMap<usize, String> {
    // A journal that cannot be read is as good as none: all is fetched again.
    let text = read_text(path, "a journal").unwrap_or_default();
    let mut lines = text.lines();
    if lines.next() != Some(header) {
        return BTreeMap::new();
    }
    let noted = lines.filter_map(|line| {
        let (which, digest) = line.split_once(' ')?;
        Some((which.parse().ok()?, digest.to_owned()))
    });
    noted.collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fetch::http::ByteSpan;
    use crate::fetch::ranges::{RangeSource, chunks};

    #[test]
    fn what_was_written_is_still_there_the_next_time() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("a");
        let source = |url: &str| RangeSource {
            url: url.into(),
            step: 0,
            messages: vec![
                ByteSpan {
                    start: 5,
                    length: 3,
                },
                ByteSpan {
                    start: 10,
                    length: 2,
                },
            ],
        };
        let chunks = chunks(&[source("x"), source("y")]);
        let mut part = PartFile::open(&file, &chunks).unwrap();
        part.store(1, &chunks[1], b"abc--de").unwrap();
        drop(part);
        let mut part = PartFile::open(&file, &chunks).unwrap();
        assert!(part.has(1) && !part.has(0));
        assert!(part.whole(10).is_err());
        part.store(0, &chunks[0], b"ABC--DE").unwrap();
        part.whole(10).unwrap();
        drop(part);
        // A byte that changed on the disk is found out.
        let path = beside(&file, ".part");
        fs::write(&path, b"ABCDEabcdX").unwrap();
        let mut part = PartFile::open(&file, &chunks).unwrap();
        assert!(part.has(0) && !part.has(1));
        part.store(1, &chunks[1], b"abc--de").unwrap();
        part.finish(&file).unwrap();
        assert_eq!(fs::read(&file).unwrap(), b"ABCDEabcde");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
        // Another download begins anew.
        fs::write(
            beside(&file, ".part.journal"),
            "windfall of something else\n0 x\n",
        )
        .unwrap();
        assert!(!PartFile::open(&file, &chunks).unwrap().has(0));
    }
}
