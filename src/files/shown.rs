//! Showing a file, a folder or an address in the program that the system has for it.

use std::ffi::OsStr;
use std::process::{Command, Stdio};

/// Shows it.
///
/// # Errors
///
/// In words, why it is not shown.
pub fn show(what: &OsStr) -> Result<(), String> {
    let (opener, before): (&str, &[&str]) = match std::env::consts::OS {
        "macos" => ("open", &[]),
        // `start` takes a first word in quotes for the title of a window.
        "windows" => ("cmd", &["/C", "start", ""]),
        _ => ("xdg-open", &[]),
    };
    let mut command = Command::new(opener);
    command
        .args(before)
        .arg(what)
        .stdin(Stdio::null())
        .stdout(Stdio::null());
    let why = match command.status() {
        Ok(status) if status.success() => return Ok(()),
        Ok(status) => status.to_string(),
        Err(cause) => cause.to_string(),
    };
    Err(format!("{opener} does not open it: {why}"))
}
