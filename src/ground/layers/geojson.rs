//! GeoJSON, feature by feature.

use std::path::Path;

use geojson::{Feature, GeoJson, GeometryValue, JsonValue, Position};
use serde::Deserialize;

use super::LayerRequest;
use super::collect::{Attributes, Collected, Collector, Shape};
use super::features::each_feature;
use crate::error::{Fault, Result};
use crate::files::read_bytes;
use crate::ground::projection::{Reference, ToDegrees};
use crate::ground::region::Region;

/// What of the outermost object is looked at before its features.
#[derive(Deserialize)]
struct Outermost {
    r#type: String,
    crs: Option<JsonValue>,
}

pub(super) fn read(
    path: &Path,
    name: &str,
    wanted: &LayerRequest,
    region: &Region,
) -> Result<Collected> {
    let bytes = read_bytes(path)?;
    collect(&bytes, name, wanted, region)
}

/// Takes apart the bytes of a file.
pub(super) fn collect(
    bytes: &[u8],
    name: &str,
    wanted: &LayerRequest,
    region: &Region,
) -> Result<Collected> {
    // RFC 8259 lets readers pass over a byte order mark; serde_json does not.
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    // What it is and its crs may stand behind the features, so these are read in a second pass.
    let outermost: Outermost = serde_json::from_slice(bytes)
        .map_err(|wrong| Fault::of_json(name, &wrong, "a complete GeoJSON object"))?;
    let to_degrees = reference(name, outermost.crs.as_ref())?;
    let mut collector = Collector::new(name, wanted, region, to_degrees);
    if outermost.r#type == "FeatureCollection" {
        each_feature(name, bytes, |feature| take(&mut collector, feature))?;
        return collector.finish();
    }
    let one = serde_json::from_slice::<GeoJson>(bytes)
        .map_err(|wrong| Fault::new(name, wrong.to_string(), "GeoJSON"))?;
    let feature = match one {
        GeoJson::Feature(feature) => feature,
        GeoJson::Geometry(geometry) => Feature {
            geometry: Some(geometry),
            ..Feature::default()
        },
        GeoJson::FeatureCollection(_) => return collector.finish(),
    };
    take(&mut collector, feature)?;
    collector.finish()
}

fn take(collector: &mut Collector, feature: Feature) -> Result<()> {
    let attributes: Attributes = feature
        .properties
        .into_iter()
        .flatten()
        .map(|(key, value)| (key, text(&value)))
        .collect();
    let mut shapes = Vec::new();
    if let Some(geometry) = feature.geometry {
        flatten(geometry.value, &mut shapes);
    }
    collector.feature(&attributes, shapes)
}

fn text(value: &JsonValue) -> String {
    match value {
        JsonValue::Null => String::new(),
        JsonValue::String(text) => text.clone(),
        other => other.to_string(),
    }
}

fn flatten(value: GeometryValue, into: &mut Vec<Shape>) {
    let polygon =
        |rings: Vec<Vec<Position>>| Shape::Polygon(rings.iter().map(|r| points(r)).collect());
    match value {
        GeometryValue::Point { coordinates } => into.push(Shape::Point(point(&coordinates))),
        GeometryValue::MultiPoint { coordinates } => {
            into.extend(coordinates.iter().map(|p| Shape::Point(point(p))));
        }
        GeometryValue::LineString { coordinates } => into.push(Shape::Line(points(&coordinates))),
        GeometryValue::MultiLineString { coordinates } => {
            into.extend(coordinates.iter().map(|line| Shape::Line(points(line))));
        }
        GeometryValue::Polygon { coordinates } => into.push(polygon(coordinates)),
        GeometryValue::MultiPolygon { coordinates } => {
            into.extend(coordinates.into_iter().map(polygon));
        }
        GeometryValue::GeometryCollection { geometries } => {
            for geometry in geometries {
                flatten(geometry.value, into);
            }
        }
    }
}

fn points(positions: &[Position]) -> Vec<[f64; 2]> {
    positions.iter().map(point).collect()
}

/// Not-a-number where a position has no two numbers: that is no degree, and an error says so.
fn point(position: &Position) -> [f64; 2] {
    match position.as_slice() {
        [x, y, ..] => [*x, *y],
        _ => [f64::NAN; 2],
    }
}

/// The projection that files from before RFC 7946 may name.
fn reference(name: &str, crs: Option<&JsonValue>) -> Result<ToDegrees> {
    let Some(crs) = crs.filter(|crs| !crs.is_null()) else {
        return Ok(ToDegrees::same());
    };
    let text = crs.pointer("/properties/name").and_then(JsonValue::as_str);
    let text = text.unwrap_or_default();
    // Longitude and latitude on WGS84 by a name of OGC's, which has no EPSG code.
    if text.to_ascii_uppercase().ends_with("CRS84") {
        return Ok(ToDegrees::same());
    }
    let upper = text.to_ascii_uppercase();
    // As "EPSG:3006" or "urn:ogc:def:crs:EPSG::3006": the code is what comes last.
    let code = upper
        .contains("EPSG")
        .then(|| upper.rsplit(':').next()?.parse().ok())
        .flatten();
    let Some(code) = code else {
        let expected = "no crs (longitude and latitude on WGS84), or an EPSG code";
        return Err(Fault::new(name, crs.to_string(), expected)
            .of_key("crs")
            .into());
    };
    Ok(ToDegrees::new(name, &Reference::Epsg(code)).map_err(|fault| fault.of_key("crs"))?)
}
