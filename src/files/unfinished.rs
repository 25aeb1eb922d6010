//! What is not finished yet, so that a program that is told to stop leaves nothing of it.

use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

static UNFINISHED: Mutex<Vec<PathBuf>> = Mutex::new(Vec::new());

/// Notes a file or a folder that is to vanish if it is never finished.
pub(super) fn note(path: &Path) {
    let mut all = UNFINISHED.lock().unwrap_or_else(PoisonError::into_inner);
    all.push(path.to_owned());
}

/// It is finished, or gone.
pub(super) fn forget(path: &Path) {
    let mut all = UNFINISHED.lock().unwrap_or_else(PoisonError::into_inner);
    all.retain(|known| known != path);
}

/// Removes all that is not finished: for a program that ends before its time. Folders go only where
/// nothing else is in them.
pub fn remove_unfinished() {
    let mut all = UNFINISHED.lock().unwrap_or_else(PoisonError::into_inner);
    // What was begun last goes first: files before their folders.
    for path in all.drain(..).rev() {
        if std::fs::remove_file(&path).is_err() {
            // Nobody is left who could be told.
            let _ = std::fs::remove_dir(&path);
        }
    }
}
