//! The command-line program: parses, dispatches, and turns errors into exit codes.

mod cli;

use std::io::{self, ErrorKind, Write};
use std::process::ExitCode;

use self::cli::brief::{self, BriefArgs};
use self::cli::compare::{self, CompareArgs};
use self::cli::days::{self, DaysArgs};
use self::cli::fetch::{self, FetchArgs};
use self::cli::fill::{self, FillArgs};
use self::cli::follow::{self, FollowArgs};
use self::cli::new::{self, NewArgs};
use self::cli::sites::{self, SitesArgs};
use self::cli::version;
use self::cli::winds::{self, WindsArgs};
use self::cli::zone::{self, ZoneArgs};
use clap::{CommandFactory, Parser, Subcommand};
use windfall::error::Error;

/// Where a small high-altitude balloon will come down, and how sure that is.
#[derive(Parser)]
#[command(disable_version_flag = true, arg_required_else_help = true)]
struct Cli {
    /// Prints the version; with --verbose also whose data are built in, how old, on what terms.
    #[arg(short = 'V', long)]
    version: bool,
    /// With --version: more.
    #[arg(long, requires = "version")]
    verbose: bool,
    #[command(subcommand)]
    command: Option<Command>,
}

#[derive(Subcommand)]
enum Command {
    New(NewArgs),
    Zone(ZoneArgs),
    Days(DaysArgs),
    Fill(FillArgs),
    Sites(SitesArgs),
    Brief(BriefArgs),
    Compare(CompareArgs),
    Winds(WindsArgs),
    Fetch(FetchArgs),
    Follow(FollowArgs),
}

fn main() -> ExitCode {
    let cli = Cli::parse();
    let (mut out, mut talk) = (io::stdout().lock(), io::stderr());
    let done = match cli.command {
        _ if cli.version => version::run(cli.verbose, &mut out),
        Some(Command::New(args)) => new::run(&args, &mut out, &mut talk),
        Some(Command::Zone(args)) => zone::run(&args, &mut out, &mut talk),
        Some(Command::Days(args)) => days::run(&args, &mut out),
        Some(Command::Fill(args)) => fill::run(&args, &mut out),
        Some(Command::Sites(args)) => sites::run(&args, &mut out),
        Some(Command::Brief(args)) => brief::run(&args, &mut out),
        Some(Command::Compare(args)) => compare::run(&args, &mut out),
        Some(Command::Winds(args)) => winds::run(&args, &mut out),
        Some(Command::Follow(args)) => follow::run(&args, &mut out, &mut talk),
        Some(Command::Fetch(args)) => fetch::run(&args, &mut out, &mut talk),
        None => {
            let missing = clap::error::ErrorKind::MissingSubcommand;
            Cli::command().error(missing, "expected a command").exit()
        }
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
