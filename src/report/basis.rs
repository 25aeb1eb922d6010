//! The parts that reports of comparisons, of releases and of sites, have in common: what they were
//! made from.

use std::fmt::Write as _;

use geojson::Feature;
use serde_json::{Value, json};

use super::extent::Extent;
use super::files::geojson::gathered;
use super::json::with_words;
use super::layout::list;
use super::{input_notes, notes, reasons, warnings};
use crate::choice::basis::Basis;
use crate::choice::ground::GroundSource;
use crate::notes::Note;
use crate::notes::warning::{Warning, warnings as among};
use crate::report::cautions::CHOOSING;
use crate::units::UnitSystem;

/// The warnings of a comparison, the gravest first.
pub(super) fn warned(basis: &Basis) -> Vec<Warning> {
    // What reading did to soundings is no note of a basis, but warns as one of a zone does.
    let soundings = basis.cleaning.iter().cloned().map(Note::Cleaned);
    let notes: Vec<Note> = basis.notes.iter().cloned().chain(soundings).collect();
    among(&notes, &basis.assumptions)
}

/// What warns, to stand below the title of a table; nothing where nothing does.
pub(super) fn warning_block(basis: &Basis, units: UnitSystem) -> String {
    warnings::block(&warned(basis), units)
}

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
    let mut text = list("Notes", &found(basis, units));
    text.push_str(&list("Winds cover", basis.covered.as_slice()));
    text.push_str(&list("Limits", &reasons::limits(&basis.limits, units)));
    text.push_str(&list("Ranking", &[ranking]));
    text.push_str(&list(
        "Assumed",
        &notes::assumptions(&basis.assumptions, units),
    ));
    text.push_str(&list("Ground", &ground_sources(&basis.sources)));
    text.push_str(&list("Cautions", &CHOOSING));
    let _ = writeln!(
        text,
        "\n{of}{} draws for each, seed {}, windfall {}",
        basis.draws, basis.seed, basis.version
    );
    text
}

/// What to know of winds, ground, site and stack, a sentence each.
pub(super) fn found(basis: &Basis, units: UnitSystem) -> Vec<String> {
    let mut found = input_notes::of_cleaning(&basis.cleaning, units);
    found.extend(input_notes::of_layers(&basis.layer_notes, units));
    found.extend(notes::notes(&basis.notes, units));
    found
}

/// The same as JSON: codes and numbers in SI, with the sentence beside them.
fn found_json(basis: &Basis, units: UnitSystem) -> Value {
    let soundings = basis.cleaning.iter().cloned().map(Note::Cleaned);
    let noted = soundings.chain(basis.notes.iter().cloned());
    let noted = noted.map(|note| with_words(&note, notes::note(&note, units)));
    let layers = basis.layer_notes.iter();
    let layers = layers.map(|note| with_words(note, input_notes::of_layer(note, units)));
    noted.chain(layers).collect()
}

/// Where the ground comes from, a line each.
pub(super) fn ground_sources(sources: &[GroundSource]) -> Vec<String> {
    sources.iter().map(ground_source).collect()
}

/// Where something of the ground comes from.
pub(super) fn ground_source(source: &GroundSource) -> String {
    match source {
        GroundSource::Layer { from } => from.clone(),
        GroundSource::Heights { from, share } => format!(
            "heights at the landings: {}, {:.1} % of the draws",
            from.as_deref().unwrap_or("the elevation of the site"),
            100.0 * share
        ),
        GroundSource::BuiltIn(source) => source.in_words(),
    }
}

/// Features as the text of a GeoJSON file.
pub(super) fn geojson(
    basis: &Basis,
    features: Vec<(Feature, Extent)>,
    units: UnitSystem,
) -> String {
    let members = [
        ("seed", json!(basis.seed)),
        ("version", json!(basis.version)),
        ("draws", json!(basis.draws)),
        ("warnings", warnings::json(&warned(basis), units)),
        (
            "assumptions",
            notes::assumptions_json(&basis.assumptions, units),
        ),
        ("notes", found_json(basis, units)),
    ];
    format!("{}\n", gathered(features, members))
}
