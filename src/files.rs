//! Files: written whole or not at all, read once, asked of servers, and guarded against the readers of others.

// Numbers and lengths from outside are another kind until they were found to be ours.
#![cfg_attr(
    not(test),
    deny(
        clippy::cast_possible_truncation,
        clippy::cast_possible_wrap,
        clippy::cast_sign_loss,
        clippy::indexing_slicing,
        clippy::string_slice
    )
)]

pub mod address;
mod guard;
pub mod http;
mod input;
mod output;
pub mod pace;
pub mod packed;
pub mod shown;
mod trust;
mod unfinished;

use std::path::{Path, PathBuf};

use crate::error::{Error, Result};

pub use self::guard::{guarded, quiet};
pub use self::input::{STDIN, is_regular, is_url, open_regular, read_bytes, read_text, shown};
pub(crate) use self::output::for_new_files;
pub use self::output::{UnfinishedFile, UnfinishedFolder, finish_all, write_atomically};
pub use self::unfinished::remove_unfinished;

/// Refuses a folder that has a file of these names and none of `own`, which `what` always has: it is of something
/// else, whose files would be lost.
///
/// # Errors
///
/// Such a folder.
pub fn check_is_free(folder: &Path, names: &[&str], own: &[&str], what: &str) -> Result<()> {
    let there = |name: &&&str| folder.join(name).exists();
    if own.iter().any(|name| there(&name)) {
        return Ok(());
    }
    let Some(name) = names.iter().find(there) else {
        return Ok(());
    };
    Err(Error::CannotDo {
        why: format!(
            "{} is there already, and nothing says that it is of {what}",
            folder.join(name).display()
        ),
        remedy: format!("expected a folder of its own for {what}"),
    })
}

/// The name of a file without the folders that it lies in.
pub fn name_of(path: impl AsRef<Path>) -> String {
    let path = path.as_ref();
    let name = path.file_name().unwrap_or(path.as_os_str());
    name.to_string_lossy().into_owned()
}

/// The file beside another that has its name with an extension, in small letters or, where there is none such, in
/// capitals.
pub fn beside(path: &Path, extension: &str) -> PathBuf {
    let small = path.with_extension(extension);
    match small.exists() {
        true => small,
        false => path.with_extension(extension.to_ascii_uppercase()),
    }
}
