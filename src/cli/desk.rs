//! `windfall desk`: the whole job on one local page.

use std::io::{self, Write};
use std::path::PathBuf;
use std::thread;
use std::time::Duration;

use clap::Args;

use super::fetch::read_feeds;
use super::{output, show};
use windfall::desk::{Settings, bind};
use windfall::error::Result;

/// How long the desk waits without a page before it stops.
const IDLE: Duration = Duration::from_secs(30 * 60);

/// Opens the whole job on one page in the browser: plans, winds, days, sites, zone, briefing. The page is
/// served by this computer to this computer alone; only a download or a
/// tracker's address that you ask for uses the network.
#[derive(Debug, Args)]
#[command(after_long_help = "\
Examples:
  windfall desk my-flights
  windfall desk --no-browser")]
pub struct DeskArgs {
    /// The folder with plans and winds; this one unless given. Nothing outside it is read or written.
    #[arg(value_name = "FOLDER", default_value = ".")]
    pub folder: PathBuf,
    /// More feeds to download from, or others in place of the program's.
    #[arg(long, value_name = "FILE.toml")]
    pub feeds: Option<PathBuf>,
    /// Only prints the address; opens no browser.
    #[arg(long)]
    pub no_browser: bool,
}

/// Runs the command: the address on `out`, then it answers until it is closed on the page, until Ctrl-C, or
/// until no page has been open for half an hour.
///
/// # Errors
///
/// No such folder, or nothing to listen on.
pub fn run(args: &DeskArgs, out: &mut impl Write) -> Result<()> {
    let bound = bind(Settings {
        folder: args.folder.clone(),
        feeds: read_feeds(args.feeds.as_deref())?,
        idle: IDLE,
    })?;
    let said = format!(
        "the desk is open at {}\nclose it on the page, or with Ctrl-C\n",
        bound.address()
    );
    // Before the browser: where none can be started, the address is all that is needed.
    output::print(out, "standard output", &said)?;
    if !args.no_browser {
        let address = bound.address();
        // A browser that is started may stay in front: the desk answers meanwhile.
        thread::spawn(move || show::open(address.as_ref(), "the desk is open", &mut io::stderr()));
    }
    let served = bound.serve();
    // Work that is stopped then does not come to its own end.
    windfall::files::remove_unfinished();
    served
}
