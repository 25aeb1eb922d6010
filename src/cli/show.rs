//! Shows a file or an address in the program that the system has for it.

use std::ffi::OsStr;
use std::io::Write;
use std::process::{Command, Stdio};

use super::output;
use windfall::error::Result;

/// Shows it; where that fails, says so after what is `done` already.
///
/// # Errors
///
/// When there is nobody to say it to.
pub fn open(what: &OsStr, done: &str, talk: &mut impl Write) -> Result<()> {
    let (opener, before): (&str, &[&str]) = match std::env::consts::OS {
        "macos" => ("open", &[]),
        "windows" => ("cmd", &["/C", "start", ""]),
        _ => ("xdg-open", &[]),
    };
    let mut command = Command::new(opener);
    command
        .args(before)
        .arg(what)
        .stdin(Stdio::null())
        .stdout(Stdio::null());
    let failed = match command.status() {
        Ok(status) if status.success() => return Ok(()),
        Ok(status) => status.to_string(),
        Err(cause) => cause.to_string(),
    };
    let said = format!("{done}, but {opener} does not open it: {failed}\n");
    output::print(talk, "standard error", &said)
}
