//! One download at a time into a folder.

use std::fs::{File, OpenOptions, TryLockError};
use std::path::Path;

use crate::error::{Error, Result};

/// Name of the file whose lock stands for the folder's. It stays there, empty.
const NAME: &str = ".fetch.lock";

/// Takes the folder for this download, until the answer is dropped; waits, and says so, while
/// another one has it.
///
/// # Errors
///
/// The folder cannot be written to.
pub fn take(folder: &Path, say: &dyn Fn(&str)) -> Result<File> {
    let path = folder.join(NAME);
    let failed = |cause| Error::file(&path, "lock", cause);
    // Never removed afterwards: somebody may wait for the lock of the file that loses its name.
    let file = OpenOptions::new()
        .create(true)
        .truncate(false)
        .write(true)
        .open(&path)
        .map_err(failed)?;
    match file.try_lock() {
        Ok(()) => {}
        Err(TryLockError::WouldBlock) => {
            let folder = folder.display();
            say(&format!(
                "another download into {folder} is at work; waiting for its end"
            ));
            file.lock().map_err(failed)?;
        }
        Err(TryLockError::Error(cause)) => return Err(failed(cause)),
    }
    Ok(file)
}
