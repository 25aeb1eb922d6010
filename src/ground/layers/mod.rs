//! What lies on the ground, as users give it: roads, water, towns, power lines, places to keep out
//! of and to land in.
//!
//! One reader a format, each handing features to a `Collector`, which checks them, turns
//! them into degrees on WGS84 and keeps what touches the region.

// Numbers and lengths from outside are another kind until they were found to be ours.
#![cfg_attr(
    not(test),
    deny(
        clippy::cast_possible_truncation,
        clippy::cast_possible_wrap,
        clippy::cast_sign_loss,
        clippy::indexing_slicing,
        clippy::string_slice
    )
)]

pub mod class;
mod collect;
mod crossing;
mod far;
mod features;
mod flatgeobuf;
mod geojson;
mod note;
mod osm;
mod osm_tags;
mod shapefile;

use std::path::Path;

use serde::Serialize;

pub use self::class::RoadClass;
pub use self::note::{LayerFinding, LayerNote};
use super::region::Region;
use crate::error::{Fault, Result};
use crate::files::{guarded, name_of, open_regular};

/// What a layer is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// Roads, each with its class.
    Road,
    /// Rivers and canals.
    River,
    /// Lakes and reservoirs.
    Lake,
    /// Built-up areas.
    Urban,
    /// Power lines.
    PowerLine,
    /// Airfields and their runways.
    Airfield,
    /// Where not to come down.
    KeepOut,
    /// Where to come down.
    LandIn,
    /// Named places, as points.
    Place,
}

impl Kind {
    /// In words, as in "roads".
    pub fn name(self) -> &'static str {
        match self {
            Kind::Road => "roads",
            Kind::River => "rivers",
            Kind::Lake => "lakes",
            Kind::Urban => "built-up areas",
            Kind::PowerLine => "power lines",
            Kind::Airfield => "airfields",
            Kind::KeepOut => "keep-out areas",
            Kind::LandIn => "land-in areas",
            Kind::Place => "named places",
        }
    }

    fn takes_lines(self) -> bool {
        matches!(
            self,
            Kind::Road | Kind::River | Kind::PowerLine | Kind::Airfield
        )
    }

    fn takes_areas(self) -> bool {
        !matches!(self, Kind::Road | Kind::PowerLine | Kind::Place)
    }

    /// The shapes it is made of, for messages.
    fn shapes(self) -> &'static str {
        match (self.takes_lines(), self.takes_areas()) {
            (true, true) => "lines or polygons",
            (true, false) => "lines",
            (false, true) => "polygons",
            (false, false) => "points",
        }
    }
}

/// What to take from a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LayerRequest {
    /// What its features are.
    pub kind: Kind,
    /// The attribute that holds the class of a road; `highway` or else `fclass`, as in OpenStreetMap and
    /// its downloads by country, if none is named.
    pub class_attribute: Option<String>,
    /// The attribute that holds the name; `name`, whatever its case, if none is named.
    pub name_attribute: Option<String>,
}

impl LayerRequest {
    /// Features of a kind, with the usual attributes.
    pub fn new(kind: Kind) -> LayerRequest {
        LayerRequest {
            kind,
            class_attribute: None,
            name_attribute: None,
        }
    }
}

/// Features of one kind from one source, in degrees, as far as they touch the region.
#[derive(Debug, Clone, PartialEq)]
pub struct Layer {
    /// What they are.
    pub kind: Kind,
    /// The file's name.
    pub source: String,
    /// Lines.
    pub lines: Vec<Line>,
    /// Areas.
    pub areas: Vec<Area>,
    /// Points.
    pub spots: Vec<Spot>,
    /// The part of the region of which the source tells; `None` where that is all of it, or where nothing was found
    /// and nobody knows.
    pub covers: Option<Area>,
    /// What a reader of the result should know: shapes passed over, classes not given.
    pub notes: Vec<LayerNote>,
}

/// A line; its longitudes run on without a jump.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Longitude and latitude of its points, degrees.
    pub points: Vec<[f64; 2]>,
    /// The class of a road; [`RoadClass::Unknown`] for anything else.
    pub class: RoadClass,
    /// Its name; may be empty.
    pub name: String,
}

/// An area: inside is where an odd number of its rings overlap.
#[derive(Debug, Clone, PartialEq)]
pub struct Area {
    /// Longitude and latitude along each ring, degrees, the first point not repeated; clipped to
    /// the region's box.
    pub rings: Vec<Vec<[f64; 2]>>,
    /// Its name; may be empty.
    pub name: String,
}

/// A named point.
#[derive(Debug, Clone, PartialEq)]
pub struct Spot {
    /// Longitude and latitude, degrees.
    pub at: [f64; 2],
    /// Its name.
    pub name: String,
}

impl Layer {
    /// A layer without features.
    pub fn new(kind: Kind, source: impl Into<String>) -> Layer {
        Layer {
            kind,
            source: source.into(),
            lines: Vec::new(),
            areas: Vec::new(),
            spots: Vec::new(),
            covers: None,
            notes: Vec::new(),
        }
    }

    /// Adds a note.
    fn note(&mut self, found: LayerFinding) {
        self.note_of(Some(self.kind), found);
    }

    /// Adds a note of one kind, or of all kinds of its file.
    fn note_of(&mut self, kind: Option<Kind>, found: LayerFinding) {
        self.notes.push(LayerNote {
            source: name_of(&self.source),
            kind,
            found,
        });
    }

    /// Whether nothing of it touches the region.
    pub fn is_empty(&self) -> bool {
        self.lines.is_empty() && self.areas.is_empty() && self.spots.is_empty()
    }
}

/// What was read of a file.
#[derive(Debug, Clone, PartialEq)]
pub struct FileLayers {
    /// Its layers.
    pub layers: Vec<Layer>,
    /// What is wrong with a file that lies wholly farther than 300 km from the region.
    pub too_far: Option<Fault>,
}

impl FileLayers {
    fn near(self) -> Result<Vec<Layer>> {
        match self.too_far {
            Some(fault) => Err(fault.into()),
            None => Ok(self.layers),
        }
    }
}

/// Reads one kind of feature from a file, as far as it touches the region: GeoJSON (.geojson,
/// .json), FlatGeobuf (.fgb), Shapefile (.shp, with its .dbf and .prj) or an extract of
/// OpenStreetMap (.osm.pbf).
///
/// # Errors
///
/// As [`read_or_far`], and a file that lies too far away.
pub fn read(path: &Path, wanted: &LayerRequest, region: &Region) -> Result<Layer> {
    // One kind was asked for, so there is one layer.
    Ok(read_or_far(path, wanted, region)?.near()?.swap_remove(0))
}

/// The same, but a file that lies too far away is told apart: of several regions it may be near another.
///
/// # Errors
///
/// A file that cannot be read or understood, has no feature of the right shape, is not on a known
/// projection, has no such attribute; a keep-out or land-in area that crosses itself.
pub fn read_or_far(path: &Path, wanted: &LayerRequest, region: &Region) -> Result<FileLayers> {
    let name = path.display().to_string();
    if is_osm(path) {
        open_regular(path, "an extract of OpenStreetMap")?;
        return osm::read(path, &name, region, Some(wanted.kind));
    }
    let extension = path
        .extension()
        .map(|e| e.to_string_lossy().to_ascii_lowercase());
    let collected = match extension.as_deref() {
        Some("geojson" | "json") => geojson::read(path, &name, wanted, region)?,
        Some("fgb") => guarded(&name, "a FlatGeobuf", || {
            flatgeobuf::read(path, &name, wanted, region)
        })?,
        Some("shp") => guarded(&name, "a Shapefile", || {
            shapefile::read(path, &name, wanted, region)
        })?,
        _ => {
            let expected = "a name ending in .geojson, .json, .fgb, .shp or .osm.pbf";
            return Err(Fault::new(&name, "a layer in an unknown format", expected).into());
        }
    };
    Ok(FileLayers {
        layers: vec![collected.layer],
        too_far: collected.too_far,
    })
}

/// Whether a file is an OpenStreetMap extract, by its name.
pub fn is_osm(path: &Path) -> bool {
    path.to_string_lossy()
        .to_ascii_lowercase()
        .ends_with(".pbf")
}

/// Reads all kinds of feature from an OpenStreetMap extract that it has: one layer for each of
/// roads, rivers, lakes, built-up areas, power lines, airfields and named places.
///
/// # Errors
///
/// A file that cannot be read or understood, or lies wholly farther than 300 km from the region.
pub fn read_osm(path: &Path, region: &Region) -> Result<Vec<Layer>> {
    read_osm_or_far(path, region)?.near()
}

/// The same, but a file that lies too far away is told apart.
///
/// # Errors
///
/// A file that cannot be read or understood.
pub fn read_osm_or_far(path: &Path, region: &Region) -> Result<FileLayers> {
    osm::read(path, &path.display().to_string(), region, None)
}

/// Takes one kind of feature from the bytes of a GeoJSON file.
pub(super) fn collect_geojson(
    bytes: &[u8],
    name: &str,
    wanted: &LayerRequest,
    region: &Region,
) -> Result<Layer> {
    // The built-in map is of the whole earth: in the middle of an ocean its lakes are far, and no
    // slip.
    Ok(geojson::collect(bytes, name, wanted, region)?.layer)
}
