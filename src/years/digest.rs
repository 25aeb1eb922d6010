//! What tells that parts belong together: a digest of all that they were made from.

use std::fs;
use std::io::{Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

use sha2::{Digest as _, Sha256};

use crate::error::{Error, Result};

/// Of a file so many bytes at its beginning and at its end count, and its length: an archive is too long
/// to be read once more.
const ENDS: u64 = 65_536;

/// A digest that is being made.
#[derive(Clone, Default)]
pub struct Digest(Sha256);

impl Digest {
    /// Adds a text that stands by itself.
    #[must_use]
    pub fn with(mut self, text: &str) -> Digest {
        // The length first, or "ab" and "c" would be the same as "a" and "bc".
        self.0.update((text.len() as u64).to_le_bytes());
        self.0.update(text.as_bytes());
        self
    }

    /// Adds a file, or all files below a folder: names without where they lie, lengths, and the ends of
    /// what they hold. So a copy elsewhere is the same.
    ///
    /// # Errors
    ///
    /// When it cannot be read.
    pub fn with_file(self, path: &Path) -> Result<Digest> {
        let failed = |cause| Error::file(path, "read", cause);
        let name = path
            .file_name()
            .map(|name| name.to_string_lossy().into_owned());
        // The name without its folder: nodes of a cluster may see the same file under other paths.
        let mut digest = self.with(&name.unwrap_or_default());
        let about = fs::metadata(path).map_err(failed)?;
        if about.is_dir() {
            for inside in entries(path)? {
                digest = digest.with_file(&inside)?;
            }
            return Ok(digest);
        }
        let mut file = fs::File::open(path).map_err(failed)?;
        digest.0.update(about.len().to_le_bytes());
        let mut ends = Vec::new();
        let first = ENDS.min(about.len());
        let mut take = |from: u64| -> std::io::Result<()> {
            file.seek(SeekFrom::Start(from))?;
            file.by_ref().take(ENDS).read_to_end(&mut ends).map(|_| ())
        };
        take(0).map_err(failed)?;
        // Of a short file nothing counts twice.
        take(first.max(about.len().saturating_sub(ENDS))).map_err(failed)?;
        digest.0.update(&ends);
        Ok(digest)
    }

    /// As text, of as many characters as nobody mixes up.
    pub fn text(&self) -> String {
        let bytes = self.0.clone().finalize();
        bytes
            .iter()
            .take(12)
            .map(|byte| format!("{byte:02x}"))
            .collect()
    }
}

/// What lies in a folder, by name.
///
/// # Errors
///
/// When it cannot be read.
pub fn entries(folder: &Path) -> Result<Vec<PathBuf>> {
    let failed = |cause| Error::file(folder, "read", cause);
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).map_err(failed)? {
        found.push(entry.map_err(failed)?.path());
    }
    // File systems list a folder in orders of their own.
    found.sort();
    Ok(found)
}
