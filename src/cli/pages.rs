//! Writes what is made from the command line: a manual page for each command, and what shells need to
//! complete it. Not part of the program.
//!
//! `cargo run --release --example pages -- FOLDER`

// It stops with the system's own message.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[allow(dead_code, reason = "the command line without what it does")]
#[path = "mod.rs"]
mod cli;

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use clap::{Command, CommandFactory};
use clap_complete::{Shell, generate_to};

fn main() -> io::Result<()> {
    let folder = std::env::args_os().nth(1).map(PathBuf::from);
    let folder = folder.ok_or_else(|| io::Error::other("expected a folder"))?;
    fs::create_dir_all(&folder)?;
    let mut whole = cli::command::Cli::command();
    for shell in [Shell::Bash, Shell::Zsh, Shell::Fish, Shell::PowerShell] {
        generate_to(shell, &mut whole, "windfall", &folder)?;
    }
    whole.build();
    page(&whole, "windfall", &folder)?;
    for command in whole.get_subcommands() {
        page(
            command,
            &format!("windfall-{}", command.get_name()),
            &folder,
        )?;
    }
    Ok(())
}

/// One page in section 1 of the manual.
fn page(command: &Command, name: &str, folder: &Path) -> io::Result<()> {
    let title = name.to_uppercase();
    let command = command.clone().display_name(name.to_owned());
    let page = clap_mangen::Man::new(command)
        .title(title)
        .source(concat!("windfall ", env!("CARGO_PKG_VERSION")));
    let mut text = Vec::new();
    page.render(&mut text)?;
    fs::write(folder.join(format!("{name}.1")), text)
}
