//! `windfall compare`: did the zone move, and by how much of its own uncertainty.

use std::io::Write;
use std::path::PathBuf;

use clap::Args;

use super::options::Units;
use super::output;
use windfall::compare::{Comparison, PublishedZone};
use windfall::error::Result;
use windfall::report;

/// Compares two predictions of a flight: did the zone move, and how far compared with its uncertainty.
#[derive(Debug, Args)]
#[command(after_long_help = "\
Examples:
  windfall compare yesterday.geojson today.geojson
  windfall compare yesterday-briefing today-briefing --units us")]
pub struct CompareArgs {
    /// The older zone: the GeoJSON that `zone --out` wrote, or the folder of a briefing.
    #[arg(value_name = "OLD")]
    pub old: PathBuf,
    /// The newer zone, likewise.
    #[arg(value_name = "NEW")]
    pub new: PathBuf,
    /// Units for people.
    #[arg(long, value_enum, default_value = "metric")]
    pub units: Units,
    /// Prints the result as JSON instead of the table.
    #[arg(long)]
    pub json: bool,
}

/// Runs the command.
///
/// # Errors
///
/// A file that cannot be read or is not a zone.
pub fn run(args: &CompareArgs, out: &mut impl Write) -> Result<()> {
    let [old, new] = [&args.old, &args.new].map(|path| PublishedZone::read(path));
    let comparison = Comparison::of(old?, new?);
    let text = match args.json {
        true => output::json(&comparison)?,
        false => report::tables::compare::table(&comparison, args.units.into()),
    };
    output::print(out, "standard output", &text)
}
