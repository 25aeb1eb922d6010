//! Shows a file or an address in the program that the system has for it.

use std::ffi::OsStr;
use std::io::Write;

use super::output;
use windfall::error::Result;
use windfall::files::shown::show;

/// Shows it; where that fails, says so after what is `done` already.
///
/// # Errors
///
/// When there is nobody to say it to.
pub fn open(what: &OsStr, done: &str, talk: &mut impl Write) -> Result<()> {
    match show(what) {
        Ok(()) => Ok(()),
        Err(why) => output::print(talk, "standard error", &format!("{done}, but {why}\n")),
    }
}
