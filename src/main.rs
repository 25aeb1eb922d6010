//! The command-line program: parses, dispatches, and turns errors into exit codes.

use std::io::{self, ErrorKind, Write};
use std::process::ExitCode;

use clap::{Parser, Subcommand};
use windfall::cli::brief::{self, BriefArgs};
use windfall::cli::days::{self, DaysArgs};
use windfall::cli::fetch::{self, FetchArgs};
use windfall::cli::winds::{self, WindsArgs};
use windfall::cli::zone::{self, ZoneArgs};
use windfall::error::Error;

/// Where a small high-altitude balloon will come down, and how sure that is.
#[derive(Parser)]
#[command(version)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    Zone(ZoneArgs),
    Days(DaysArgs),
    Brief(BriefArgs),
    Winds(WindsArgs),
    Fetch(FetchArgs),
}

fn main() -> ExitCode {
    let done = match Cli::parse().command {
        Command::Zone(args) => zone::run(&args, &mut io::stdout().lock(), &mut io::stderr()),
        Command::Days(args) => days::run(&args, &mut io::stdout().lock()),
        Command::Brief(args) => brief::run(&args, &mut io::stdout().lock()),
        Command::Winds(args) => winds::run(&args, &mut io::stdout().lock()),
        Command::Fetch(args) => fetch::run(&args, &mut io::stdout().lock(), &mut io::stderr()),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        // Whoever reads us has seen enough.
        Err(Error::File { cause, .. }) if cause.kind() == ErrorKind::BrokenPipe => {
            ExitCode::SUCCESS
        }
        Err(error) => {
            let _ = writeln!(io::stderr(), "windfall: {error}");
            ExitCode::FAILURE
        }
    }
}
