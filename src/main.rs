//! The command-line program: parses, dispatches, and turns errors into exit codes.

mod cli;

use std::io::{self, ErrorKind, Write};
use std::process::ExitCode;

use self::cli::command::{Cli, Command};
use self::cli::{
    brief, compare, days, debrief, desk, fetch, fill, follow, help, new, sites, stop, version,
    winds, years, zone,
};
use clap::{CommandFactory, Parser};
use windfall::error::{Error, Result};
use windfall::report::plain;

fn main() -> ExitCode {
    // Before any file can have been begun.
    stop::leave_nothing();
    let mut for_schedulers = false;
    let done = match Cli::try_parse() {
        Ok(cli) => {
            for_schedulers = matches!(cli.command, Some(Command::Years(_)));
            run(cli)
        }
        // Help is no mistake; what cannot be printed is.
        Err(told) => match told.print() {
            Ok(()) => return ExitCode::from(u8::try_from(told.exit_code()).unwrap_or(2)),
            Err(cause) => Err(Error::file("standard output".as_ref(), "write to", cause)),
        },
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        // Whoever reads us has seen enough.
        Err(Error::File { cause, .. }) if cause.kind() == ErrorKind::BrokenPipe => {
            ExitCode::SUCCESS
        }
        Err(error) => {
            let message = error.to_string();
            let _ = writeln!(io::stderr(), "windfall: {}", plain::text(&message));
            match for_schedulers && years::may_pass(&error) {
                true => ExitCode::from(years::TRY_AGAIN),
                false => ExitCode::FAILURE,
            }
        }
    }
}

fn run(cli: Cli) -> Result<()> {
    let (mut out, mut talk) = (io::stdout().lock(), io::stderr());
    match cli.command {
        _ if cli.version => version::run(cli.verbose, &mut out),
        Some(Command::New(args)) => new::run(&args, &mut out, &mut talk),
        Some(Command::Zone(args)) => zone::run(&args, &mut out, &mut talk),
        Some(Command::Days(args)) => days::run(&args, &mut out),
        Some(Command::Fill(args)) => fill::run(&args, &mut out),
        Some(Command::Sites(args)) => sites::run(&args, &mut out),
        Some(Command::Years(args)) => years::run(&args, &mut out, &mut talk),
        Some(Command::Brief(args)) => brief::run(&args, &mut out),
        Some(Command::Compare(args)) => compare::run(&args, &mut out),
        Some(Command::Winds(args)) => winds::run(&args, &mut out),
        Some(Command::Follow(args)) => follow::run(&args, &mut out, &mut talk),
        Some(Command::Debrief(args)) => debrief::run(&args, &mut out, &mut talk),
        Some(Command::Fetch(args)) => fetch::run(&args, &mut out, &mut talk),
        Some(Command::Desk(args)) => desk::run(&args, &mut out),
        Some(Command::Help(args)) => help::run(&args, &mut out),
        None => {
            let missing = clap::error::ErrorKind::MissingSubcommand;
            Cli::command().error(missing, "expected a command").exit()
        }
    }
}
