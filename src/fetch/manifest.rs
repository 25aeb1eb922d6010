//! What stands beside a download: where each byte is from, and under which licence.

use std::fs::File;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::ranges::RangeSource;
use super::region::Region;
use crate::error::{Error, Result};
use crate::files::{read_bytes, write_atomically};

/// The facts of a finished download.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Manifest {
    /// The program that made it.
    pub program: String,
    /// The feed's name.
    pub feed: String,
    /// What it is.
    pub title: String,
    /// Under which terms the data may be used.
    pub licence: String,
    /// Whom to name.
    pub attribution: String,
    /// The hour of the run, if it is known.
    pub run: Option<Timestamp>,
    /// The member, if it is an ensemble.
    pub member: Option<String>,
    /// Hours after the run; of a point forecast, after the first hour.
    pub steps: Vec<u32>,
    /// What was wanted of the feed, as a digest: another one means another download.
    pub wanted: String,
    /// When it was fetched.
    pub fetched: Timestamp,
    /// Length of the file, bytes.
    pub bytes: u64,
    /// SHA-256 of the file, hexadecimal.
    pub sha256: String,
    /// Where the bytes are from, in the order in which they stand in the file, without users,
    /// passwords and keys. Of a region across a seam two answers are joined, packed anew.
    pub sources: Vec<RangeSource>,
    /// The region that was cut out, if one was.
    #[serde(default)]
    pub region: Option<Region>,
    /// Hosts that sent to others, as in "a.example to b.example".
    #[serde(default)]
    pub redirects: Vec<String>,
}

impl Manifest {
    /// Where the manifest of a file is.
    pub fn path(file: &Path) -> PathBuf {
        beside(file, ".manifest.json")
    }

    /// The manifest of a file that is there and is what its manifest says.
    pub fn of_whole(file: &Path) -> Option<Manifest> {
        let text = read_bytes(&Manifest::path(file)).ok()?;
        let manifest: Manifest = serde_json::from_slice(&text).ok()?;
        // The length first: a digest reads all of a file that may be large.
        let length = std::fs::metadata(file).ok()?.len();
        let whole = length == manifest.bytes && digest_of_file(file).ok()? == manifest.sha256;
        whole.then_some(manifest)
    }

    /// Writes it beside its file.
    ///
    /// # Errors
    ///
    /// The folder cannot be written to.
    pub fn write(&self, file: &Path) -> Result<()> {
        let path = Manifest::path(file);
        let text = serde_json::to_string_pretty(self)
            .map_err(|cause| Error::file(&path, "write", cause.into()))?;
        write_atomically(&path, (text + "\n").as_bytes())
    }
}

/// The path of a file with something after its name.
pub(super) fn beside(file: &Path, ending: &str) -> PathBuf {
    let mut name = file.as_os_str().to_owned();
    name.push(ending);
    name.into()
}

/// SHA-256 of some bytes, hexadecimal.
pub(super) fn digest(bytes: &[u8]) -> String {
    in_hexadecimal(&Sha256::digest(bytes))
}

/// SHA-256 of a file, hexadecimal.
pub(super) fn digest_of_file(path: &Path) -> io::Result<String> {
    let mut hash = Hash(Sha256::new());
    io::copy(&mut File::open(path)?, &mut hash)?;
    Ok(in_hexadecimal(&hash.0.finalize()))
}

fn in_hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}

/// A digest that can be written to.
struct Hash(Sha256);

impl Write for Hash {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.update(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digests_are_those_of_the_standard() {
        // FIPS 180-2, appendix B.1.
        let abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(digest(b"abc"), abc);
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("abc");
        std::fs::write(&path, "abc").unwrap();
        assert_eq!(digest_of_file(&path).unwrap(), abc);
    }
}
