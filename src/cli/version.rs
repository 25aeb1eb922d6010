//! `windfall --version`: which version, and whose data are built in.

use std::io::Write;

use super::output;
use windfall::error::Result;
use windfall::ground::data;

/// Commit and date, as .ci/release gives them. A build script that asked git would build the library
/// anew after every commit.
const BUILT_FROM: Option<&str> = option_env!("WINDFALL_BUILT_FROM");

/// Prints the version; `verbose` also the sources, dates and licences of built-in data.
///
/// # Errors
///
/// When it cannot be printed.
pub fn run(verbose: bool, out: &mut impl Write) -> Result<()> {
    let built_from = BUILT_FROM.map_or_else(String::new, |from| format!(" ({from})"));
    let mut text = format!("windfall {}{built_from}\n", env!("CARGO_PKG_VERSION"));
    if verbose {
        for source in data::sources() {
            text.push_str(&format!("{}\n", source.in_words()));
        }
        text.push_str(
            "built in: time zones by place; from OpenStreetMap (openstreetmap.org/copyright) through \
             timezone-boundary-builder and tzf-dist; Open Database Licence 1.0; outlines simplified\n",
        );
        text.push_str("font of the pictures: DejaVu Sans, under its own free licence\n");
    }
    output::print(out, "standard output", &text)
}
