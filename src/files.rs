//! Files: written whole or not at all, read as text, and guarded against the readers of others.

mod guard;
pub mod packed;

use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;

pub use self::guard::{guarded, quiet};
use crate::error::{Error, Fault, Result};

/// A file that is being made: it has a temporary name until it is [finished](Self::finish), and
/// vanishes if it never is. So nobody ever sees half a file, an old one stays whole when the disk
/// is full, and a place that cannot be written to is found out before the work is done.
#[derive(Debug)]
pub struct UnfinishedFile {
    file: NamedTempFile,
    path: PathBuf,
}

impl UnfinishedFile {
    /// Begins a file beside its final place.
    ///
    /// # Errors
    ///
    /// The folder is missing or cannot be written to, or the place is a folder.
    pub fn begin(path: &Path) -> Result<UnfinishedFile> {
        let failed = |cause| Error::file(path, "write", cause);
        if path.is_dir() {
            return Err(failed(ErrorKind::IsADirectory.into()));
        }
        let folder = match path.parent() {
            Some(parent) if !parent.as_os_str().is_empty() => parent,
            _ => Path::new("."),
        };
        Ok(UnfinishedFile {
            file: NamedTempFile::new_in(folder).map_err(failed)?,
            path: path.to_owned(),
        })
    }

    /// Writes the whole content and gives the file its name.
    ///
    /// # Errors
    ///
    /// The disk is full, or the name cannot be given.
    pub fn finish(mut self, bytes: &[u8]) -> Result<()> {
        let failed = |cause| Error::file(&self.path, "write", cause);
        self.file.write_all(bytes).map_err(failed)?;
        open_to_all(&self.file).map_err(failed)?;
        self.file.persist(&self.path).map_err(|e| failed(e.error))?;
        Ok(())
    }
}

/// Writes a file whole, in one go; see [`UnfinishedFile`].
///
/// # Errors
///
/// As [`UnfinishedFile`].
pub fn write_atomically(path: &Path, bytes: &[u8]) -> Result<()> {
    UnfinishedFile::begin(path)?.finish(bytes)
}

/// The text of a file that people write, without a byte-order mark; `what` it is to be is for the
/// message, as in "a plan in TOML".
///
/// # Errors
///
/// The file cannot be read, or is not UTF-8.
pub fn read_text(path: &Path, what: &str) -> Result<String> {
    let bytes = std::fs::read(path).map_err(|cause| Error::file(path, "read", cause))?;
    let text = String::from_utf8(bytes).map_err(|_| {
        let name = path.display().to_string();
        Fault::new(name, "bytes that are not UTF-8 text", what)
    })?;
    Ok(match text.strip_prefix('\u{feff}') {
        Some(rest) => rest.to_owned(),
        None => text,
    })
}

/// Temporary files are private; the finished one may be read by everybody, as is usual.
#[cfg(unix)]
fn open_to_all(file: &NamedTempFile) -> std::io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    file.as_file()
        .set_permissions(std::fs::Permissions::from_mode(0o644))
}

#[cfg(not(unix))]
fn open_to_all(_: &NamedTempFile) -> std::io::Result<()> {
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_are_read_without_their_mark_and_others_are_told() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.toml");
        std::fs::write(&path, "\u{feff}a = 1").unwrap();
        assert_eq!(read_text(&path, "data in TOML").unwrap(), "a = 1");
        std::fs::write(&path, [0xff, 0xfe, 0x00]).unwrap();
        let message = read_text(&path, "data in TOML").unwrap_err().to_string();
        assert!(message.contains("a.toml: found bytes that are not UTF-8 text"));
        assert!(message.ends_with("expected data in TOML"), "{message}");
        let missing = read_text(&folder.path().join("none"), "data in TOML");
        assert!(missing.unwrap_err().to_string().contains("cannot read"));
    }

    #[test]
    fn a_file_is_replaced_whole() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.txt");
        write_atomically(&path, b"one").unwrap();
        write_atomically(&path, b"two").unwrap();
        assert_eq!(std::fs::read(&path).unwrap(), b"two");
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
        let missing = folder.path().join("no/such/a.txt");
        assert!(write_atomically(&missing, b"x").is_err());
    }
}
