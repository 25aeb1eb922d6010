//! Files that are either whole or not there.

use std::io::Write;
use std::path::Path;

use tempfile::NamedTempFile;

use crate::error::{Error, Result};

/// Writes a file under a temporary name beside its place and then renames it, so that nobody ever
/// sees half a file, and an old one stays whole when the disk is full.
///
/// # Errors
///
/// The folder is missing or cannot be written to, or the disk is full.
pub fn write_atomically(path: &Path, bytes: &[u8]) -> Result<()> {
    let failed = |cause| Error::file(path, "write", cause);
    let folder = match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    let mut file = NamedTempFile::new_in(folder).map_err(failed)?;
    file.write_all(bytes).map_err(failed)?;
    open_to_all(&file).map_err(failed)?;
    file.persist(path).map_err(|e| failed(e.error))?;
    Ok(())
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
