//! What a survey found, kept beside the parts: hundreds of parts need not each look through all files.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::UNIX_EPOCH;

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use crate::files::{read_bytes, write_atomically};

/// Its name in the folder of the parts.
pub(super) const NAME: &str = "archive.json";

/// The times of a file of grids.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Times {
    /// The first.
    pub first: Timestamp,
    /// The last.
    pub last: Timestamp,
    /// How many there are.
    pub count: usize,
    /// Whether it holds the height of the ground alone, which is the same at all times.
    pub of_ground: bool,
}

/// Times of a file, and by what it is known to be the same.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct KnownFile {
    bytes: u64,
    modified_s: u64,
    times: Times,
}

/// The files of an archive that were looked through.
#[derive(Debug, Clone, Default)]
pub struct KnownFiles {
    folder: Option<PathBuf>,
    files: BTreeMap<String, KnownFile>,
}

impl KnownFiles {
    /// What is known in a folder; nothing where there is no folder, or what is there cannot be read.
    pub fn of(folder: Option<&Path>) -> KnownFiles {
        let text = folder.and_then(|folder| read_bytes(&folder.join(NAME)).ok());
        // What cannot be read is only not known: it is looked for anew and written over.
        let files = text.and_then(|text| serde_json::from_slice(&text).ok());
        KnownFiles {
            folder: folder.map(Path::to_owned),
            files: files.unwrap_or_default(),
        }
    }

    /// The times of a file, if it has not changed since.
    pub fn find(&self, path: &Path) -> Option<Times> {
        let known = self.files.get(&path.display().to_string())?;
        let now = stamp(path)?;
        (now == (known.bytes, known.modified_s)).then_some(known.times)
    }

    /// Adds a file.
    pub fn add(&mut self, path: &Path, times: Times) {
        let Some((bytes, modified_s)) = stamp(path) else {
            return;
        };
        let known = KnownFile {
            bytes,
            modified_s,
            times,
        };
        self.files.insert(path.display().to_string(), known);
    }

    /// Keeps it in the folder, if that is there. Where it cannot be written the next one looks itself.
    pub fn keep(&self) {
        let there = self.folder.as_ref().filter(|folder| folder.is_dir());
        if let (Some(folder), Ok(text)) = (there, serde_json::to_vec(&self.files)) {
            // Kept for the speed alone, so a folder that cannot be written to is no fault.
            let _ = write_atomically(&folder.join(NAME), &text);
        }
    }
}

/// Length and time of the last change; `None` for what is no file.
fn stamp(path: &Path) -> Option<(u64, u64)> {
    let about = fs::metadata(path).ok().filter(fs::Metadata::is_file)?;
    let since = about.modified().ok()?.duration_since(UNIX_EPOCH).ok()?;
    Some((about.len(), since.as_secs()))
}
