//! What comparisons of releases and of sites have in common: what they were made from, and the parts
//! of their reports that tell it.

use std::fmt::Write as _;

use geojson::Feature;
use jiff::tz::TimeZone;
use serde::Serialize;
use serde_json::json;

use super::extent::Extent;
use super::geojson::gathered;
use super::zone_table::list;

/// What a comparison was made from.
#[derive(Debug, Clone, Serialize)]
pub struct Basis {
    /// The flight's name; may be empty.
    pub name: String,
    /// The zone of people's times.
    #[serde(skip)]
    pub timezone: TimeZone,
    /// The limits in words.
    pub limits: Vec<String>,
    /// The region and hours that a forecast covers, in words.
    pub covered: Option<String>,
    /// Draws for each release.
    pub draws: u64,
    /// Their seed.
    pub seed: u64,
    /// The program's version.
    pub version: String,
    /// Where the ground comes from.
    pub sources: Vec<String>,
    /// What was assumed.
    pub assumptions: Vec<String>,
}

/// What everybody who chooses a day or a site has to keep in mind.
const CAUTIONS: [&str; 2] = [
    "This is a planning aid. It does not say that a flight is safe or permitted: read the rules in force where you fly, and ask the authority and the owners of the land.",
    "A forecast days ahead changes: compare again with the newest one, and look at the sky.",
];

impl Basis {
    /// A title with the flight's name.
    pub fn title(&self, what: &str) -> String {
        match self.name.as_str() {
            "" => what.to_owned(),
            name => format!("{what}: {name}"),
        }
    }

    /// The end of a table: what it was made from, how it is ranked, cautions. `of` stands before the
    /// number of draws.
    pub fn end_of_table(&self, ranking: &str, of: &str) -> String {
        let mut text = list("Winds cover", self.covered.as_slice());
        text.push_str(&list("Limits", &self.limits));
        text.push_str(&list("Ranking", &[ranking]));
        text.push_str(&list("Assumed", &self.assumptions));
        text.push_str(&list("Ground", &self.sources));
        text.push_str(&list("Cautions", &CAUTIONS));
        let _ = writeln!(
            text,
            "\n{of}{} draws for each, seed {}, windfall {}",
            self.draws, self.seed, self.version
        );
        text
    }

    /// Features as the text of a GeoJSON file.
    pub fn geojson(&self, features: Vec<(Feature, Extent)>) -> String {
        let members = [
            ("seed", json!(self.seed)),
            ("version", json!(self.version)),
            ("draws", json!(self.draws)),
            ("assumptions", json!(self.assumptions)),
        ];
        format!("{}\n", gathered(features, members))
    }
}
