//! The parts that reports of comparisons, of releases and of sites, have in common: what they were
//! made from.

use std::fmt::Write as _;

use geojson::Feature;
use serde_json::json;

use super::extent::Extent;
use super::geojson::gathered;
use super::input_notes;
use super::zone_table::list;
use crate::choice::basis::Basis;
use crate::units::UnitSystem;

/// What everybody who chooses a day or a site has to keep in mind.
const CAUTIONS: [&str; 2] = [
    "This is a planning aid. It does not say that a flight is safe or permitted: read the rules in force where you fly, and ask the authority and the owners of the land.",
    "A forecast days ahead changes: compare again with the newest one, and look at the sky.",
];

/// A title with the flight's name.
pub(super) fn title(basis: &Basis, what: &str) -> String {
    match basis.name.as_str() {
        "" => what.to_owned(),
        name => format!("{what}: {name}"),
    }
}

/// The end of a table: what it was made from, how it is ranked, cautions. `of` stands before the
/// number of draws.
pub(super) fn end_of_table(basis: &Basis, ranking: &str, of: &str, units: UnitSystem) -> String {
    let mut notes = input_notes::of_cleaning(&basis.cleaning, units);
    notes.extend(input_notes::of_layers(&basis.layer_notes, units));
    let mut text = list("Notes", &notes);
    text.push_str(&list("Winds cover", basis.covered.as_slice()));
    text.push_str(&list("Limits", &basis.limits));
    text.push_str(&list("Ranking", &[ranking]));
    text.push_str(&list("Assumed", &basis.assumptions));
    text.push_str(&list("Ground", &basis.sources));
    text.push_str(&list("Cautions", &CAUTIONS));
    let _ = writeln!(
        text,
        "\n{of}{} draws for each, seed {}, windfall {}",
        basis.draws, basis.seed, basis.version
    );
    text
}

/// Features as the text of a GeoJSON file.
pub(super) fn geojson(basis: &Basis, features: Vec<(Feature, Extent)>) -> String {
    let members = [
        ("seed", json!(basis.seed)),
        ("version", json!(basis.version)),
        ("draws", json!(basis.draws)),
        ("assumptions", json!(basis.assumptions)),
    ];
    format!("{}\n", gathered(features, members))
}
