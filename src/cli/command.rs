//! The command line as a whole: the program and its manual pages are made from it.

use clap::{Parser, Subcommand};

use super::brief::BriefArgs;
use super::compare::CompareArgs;
use super::days::DaysArgs;
use super::debrief::DebriefArgs;
use super::desk::DeskArgs;
use super::fetch::FetchArgs;
use super::fill::FillArgs;
use super::follow::FollowArgs;
use super::help::HelpArgs;
use super::new::NewArgs;
use super::sites::SitesArgs;
use super::winds::WindsArgs;
use super::years::YearsArgs;
use super::zone::ZoneArgs;

/// Where a small high-altitude balloon will come down, and how sure that is.
#[derive(Parser)]
#[command(
    name = "windfall",
    disable_version_flag = true,
    disable_help_subcommand = true,
    arg_required_else_help = true,
    after_long_help = "\
Examples:
  windfall new first.toml
  windfall zone first.toml --wind sounding.csv --out zone.geojson
  windfall help units"
)]
pub struct Cli {
    /// Prints the version; with --verbose also the data that are built in, with age and licence.
    #[arg(short = 'V', long)]
    pub version: bool,
    /// With --version: also lists the data that are built in.
    #[arg(long, requires = "version")]
    pub verbose: bool,
    /// What to do.
    #[command(subcommand)]
    pub command: Option<Command>,
}

/// The commands, in the order of the job.
#[derive(Subcommand)]
#[allow(missing_docs, reason = "each says what it does where its options are")]
pub enum Command {
    New(NewArgs),
    Zone(ZoneArgs),
    Days(DaysArgs),
    Fill(FillArgs),
    Sites(SitesArgs),
    Years(YearsArgs),
    Brief(BriefArgs),
    Compare(CompareArgs),
    Winds(WindsArgs),
    Fetch(FetchArgs),
    Follow(FollowArgs),
    Debrief(DebriefArgs),
    Desk(DeskArgs),
    Help(HelpArgs),
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use clap::CommandFactory;

    use super::*;

    #[test]
    fn no_two_options_of_a_command_share_a_name() {
        for command in Cli::command().get_subcommands() {
            let mut known = BTreeSet::new();
            for long in command.get_arguments().filter_map(clap::Arg::get_long) {
                assert!(known.insert(long), "{}: --{long}", command.get_name());
            }
        }
    }
}
