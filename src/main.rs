//! The command-line program: parses, dispatches, and turns errors into exit codes.

use std::io::{self, ErrorKind, Write};
use std::process::ExitCode;

use clap::{CommandFactory, Parser, Subcommand};
use windfall::cli::brief::{self, BriefArgs};
use windfall::cli::days::{self, DaysArgs};
use windfall::cli::fetch::{self, FetchArgs};
use windfall::cli::fill::{self, FillArgs};
use windfall::cli::sites::{self, SitesArgs};
use windfall::cli::version;
use windfall::cli::winds::{self, WindsArgs};
use windfall::cli::zone::{self, ZoneArgs};
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
    Zone(ZoneArgs),
    Days(DaysArgs),
    Fill(FillArgs),
    Sites(SitesArgs),
    Brief(BriefArgs),
    Winds(WindsArgs),
    Fetch(FetchArgs),
}

fn main() -> ExitCode {
    let cli = Cli::parse();
    let (mut out, mut talk) = (io::stdout().lock(), io::stderr());
    let done = match cli.command {
        _ if cli.version => version::run(cli.verbose, &mut out),
        Some(Command::Zone(args)) => zone::run(&args, &mut out, &mut talk),
        Some(Command::Days(args)) => days::run(&args, &mut out),
        Some(Command::Fill(args)) => fill::run(&args, &mut out),
        Some(Command::Sites(args)) => sites::run(&args, &mut out),
        Some(Command::Brief(args)) => brief::run(&args, &mut out),
        Some(Command::Winds(args)) => winds::run(&args, &mut out),
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
