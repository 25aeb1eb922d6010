//! A landing zone as GeoJSON (RFC 7946).
//!
//! One FeatureCollection with the members `seed`, `version`, `draws` (how many), `warnings`,
//! `assumptions` and `notes`; the `kind` of each Feature says what it is. Keys are in alphabetical order and
//! numbers rounded, so the same zone always makes the same bytes.

use geo::{Coord, LineString};
use geojson::{Feature, FeatureCollection, Geometry, GeometryValue, JsonObject, JsonValue};
use serde_json::json;

use super::coordinates::{TrackPoint, areas, clock, lon_lat, metres, round, track_lines};
use crate::brief::Brief;
use crate::geodesy::Position;
use crate::report::extent::Extent;
use crate::report::notes;
use crate::report::warnings;
use crate::report::words::waiting_name;
use crate::spread::region::{GroundContour, GroundEllipse, GroundPolygon};
use crate::units::UnitSystem;
use crate::zone::{Mark, Zone};

/// Decimals of other angles, areas in square kilometres and shares.
const OTHER_DECIMALS: i32 = 6;

/// The zone as GeoJSON text, ending in a newline; the words of assumptions and notes in these units.
pub fn text(zone: &Zone, units: UnitSystem) -> String {
    format!("{}\n", collection(zone, units))
}

/// The zone of a briefing as GeoJSON text, with a Feature of the kind `waiting` for each point to wait
/// at.
pub fn brief_text(brief: &Brief, units: UnitSystem) -> String {
    let waiting = brief.wait.points.iter().map(|point| {
        let at = lon_lat(point.position);
        let geometry = GeometryValue::new_point([at.x, at.y]);
        let name = ("name", json!(waiting_name(point)));
        feature("waiting", geometry, Extent::of([[at].as_slice()]), [name])
    });
    format!("{}\n", collection_with(&brief.zone, units, waiting))
}

/// The zone as a FeatureCollection.
///
/// The bounding boxes of the track and its marks have altitudes, those of the areas and of the
/// whole have not, since an area has none. Degrees are rounded to 7 decimals, metres to 0.1, times to
/// a millisecond, in UTC.
pub fn collection(zone: &Zone, units: UnitSystem) -> FeatureCollection {
    collection_with(zone, units, [])
}

/// The zone and more.
fn collection_with(
    zone: &Zone,
    units: UnitSystem,
    more: impl IntoIterator<Item = (Feature, Extent)>,
) -> FeatureCollection {
    let features: Vec<(Feature, Extent)> = [
        Some(mark_feature("release", &zone.release)),
        Some(mark_feature("burst", &zone.burst)),
        Some(mark_feature("landing", &zone.landing)),
        track_feature(&zone.track),
    ]
    .into_iter()
    .flatten()
    .chain(zone.ellipses.iter().map(ellipse_feature))
    .chain(zone.contours.iter().map(contour_feature))
    .chain(zone.draws.as_deref().map(draws_feature))
    .chain(more)
    .collect();

    gathered(
        features,
        [
            ("seed", json!(zone.seed)),
            ("version", json!(zone.version)),
            ("draws", json!(zone.draw_count)),
            ("warnings", warnings::json(&warnings::of_zone(zone), units)),
            (
                "assumptions",
                notes::assumptions_json(&zone.assumptions, units),
            ),
            ("notes", notes::notes_json(&zone.notes, units)),
        ],
    )
}

/// Features with their bounding box, and members of the collection's own.
pub(in crate::report) fn gathered<const N: usize>(
    features: Vec<(Feature, Extent)>,
    members: [(&str, JsonValue); N],
) -> FeatureCollection {
    let mut extent = Extent::default();
    for (_, part) in &features {
        extent.add(part);
    }
    FeatureCollection {
        bbox: extent.bbox(),
        features: features.into_iter().map(|(feature, _)| feature).collect(),
        foreign_members: Some(object(members)),
    }
}

/// A place without altitude.
pub(in crate::report) fn spot_feature<const N: usize>(
    kind: &str,
    position: Position,
    properties: [(&str, JsonValue); N],
) -> (Feature, Extent) {
    let at = lon_lat(position);
    let geometry = GeometryValue::new_point([at.x, at.y]);
    feature(kind, geometry, Extent::of([[at].as_slice()]), properties)
}

/// Polygons.
pub(in crate::report) fn polygons_feature<const N: usize>(
    kind: &str,
    polygons: &[GroundPolygon],
    properties: [(&str, JsonValue); N],
) -> (Feature, Extent) {
    let (geometry, extent) = area(polygons.iter().map(rings_of));
    feature(kind, geometry, extent, properties)
}

/// The outline and the holes.
fn rings_of(polygon: &GroundPolygon) -> impl Iterator<Item = &[Position]> {
    std::iter::once(&polygon.exterior)
        .chain(&polygon.holes)
        .map(Vec::as_slice)
}

pub(in crate::report) fn mark_feature(kind: &str, mark: &Mark) -> (Feature, Extent) {
    let at = lon_lat(mark.position);
    let geometry = GeometryValue::new_point(with_altitude(at, mark.altitude_m));
    feature(
        kind,
        geometry,
        Extent::of([[at].as_slice()]).with_altitudes([metres(mark.altitude_m)]),
        [("time", json!(clock(mark.time)))],
    )
}

/// The track; `None` for fewer than two marks. Cut at the antimeridian it is a MultiLineString,
/// and `times` has a list for each line.
pub(in crate::report) fn track_feature(track: &[Mark]) -> Option<(Feature, Extent)> {
    let pieces = track_lines(track);
    let altitudes = pieces.iter().flatten().map(|point| point.altitude_m);
    let outlines: Vec<Vec<Coord>> = pieces
        .iter()
        .map(|piece| piece.iter().map(|point| point.at).collect())
        .collect();
    let extent = Extent::of(outlines.iter().map(Vec::as_slice)).with_altitudes(altitudes);
    let line = |piece: &Vec<TrackPoint>| -> Vec<[f64; 3]> {
        piece
            .iter()
            .map(|point| [point.at.x, point.at.y, point.altitude_m])
            .collect()
    };
    let times =
        |piece: &Vec<TrackPoint>| -> Vec<String> { piece.iter().map(|p| clock(p.time)).collect() };
    let (geometry, times) = match &pieces[..] {
        [] => return None,
        [only] => (
            GeometryValue::new_line_string(line(only)),
            json!(times(only)),
        ),
        more => (
            GeometryValue::new_multi_line_string(more.iter().map(line).collect::<Vec<_>>()),
            json!(more.iter().map(times).collect::<Vec<_>>()),
        ),
    };
    Some(feature("track", geometry, extent, [("times", times)]))
}

fn ellipse_feature(ellipse: &GroundEllipse) -> (Feature, Extent) {
    ellipse_with(ellipse, [])
}

/// An ellipse with more properties than its own.
pub(in crate::report) fn ellipse_with<const N: usize>(
    ellipse: &GroundEllipse,
    more: [(&str, JsonValue); N],
) -> (Feature, Extent) {
    let shape = &ellipse.shape;
    let center = lon_lat(ellipse.center);
    let (geometry, extent) = area([[ellipse.ring.as_slice()]]);
    let (mut made, extent) = feature(
        "ellipse",
        geometry,
        extent,
        [
            ("probability", json!(shape.probability)),
            ("held", json!(shape.held.map(other))),
            ("semi_major_m", json!(metres(shape.semi_major_m))),
            ("semi_minor_m", json!(metres(shape.semi_minor_m))),
            ("azimuth_deg", json!(other(ellipse.azimuth_deg))),
            ("center", json!([center.x, center.y])),
            ("area_km2", json!(other(shape.area_m2() / 1e6))),
        ],
    );
    if let Some(properties) = &mut made.properties {
        properties.extend(more.map(|(key, value)| (key.to_owned(), value)));
    }
    (made, extent)
}

fn contour_feature(contour: &GroundContour) -> (Feature, Extent) {
    polygons_feature(
        "contour",
        &contour.polygons,
        [
            ("probability", json!(contour.probability)),
            ("held", json!(other(contour.held))),
            ("area_km2", json!(other(contour.area_m2 / 1e6))),
        ],
    )
}

fn draws_feature(draws: &[Position]) -> (Feature, Extent) {
    let points: Vec<Coord> = draws.iter().map(|p| lon_lat(*p)).collect();
    // A piece a point: as one piece, draws on both sides of the antimeridian would span the earth.
    let extent = Extent::of(points.chunks(1));
    let geometry = GeometryValue::new_multi_point(points.iter().map(|c| [c.x, c.y]));
    feature("draws", geometry, extent, [])
}

/// Polygons, each an outline and its holes, as a Polygon, or as a MultiPolygon when there is not
/// exactly one on the map.
fn area<'a, P>(polygons: impl IntoIterator<Item = P>) -> (GeometryValue, Extent)
where
    P: IntoIterator<Item = &'a [Position]>,
{
    let on_map = areas(polygons);
    // Holes lie within their outlines, so these alone make the box.
    let extent = Extent::of(on_map.iter().map(|p| p.exterior().0.as_slice()));
    let mut coordinates: Vec<Vec<Vec<[f64; 2]>>> = on_map
        .iter()
        .map(|polygon| {
            std::iter::once(polygon.exterior())
                .chain(polygon.interiors())
                .map(pairs)
                .collect()
        })
        .collect();
    // In this order: how many there are, before the last is taken out.
    let geometry = match (coordinates.len(), coordinates.pop()) {
        (1, Some(only)) => GeometryValue::new_polygon(only),
        (_, last) => {
            coordinates.extend(last);
            GeometryValue::new_multi_polygon(coordinates)
        }
    };
    (geometry, extent)
}

fn pairs(ring: &LineString) -> Vec<[f64; 2]> {
    ring.0.iter().map(|c| [c.x, c.y]).collect()
}

fn feature<const N: usize>(
    kind: &str,
    geometry: GeometryValue,
    extent: Extent,
    properties: [(&str, JsonValue); N],
) -> (Feature, Extent) {
    let mut properties = object(properties);
    // Every feature has it: by this readers tell them apart.
    properties.insert("kind".into(), json!(kind));
    let feature = Feature {
        bbox: extent.bbox(),
        geometry: Some(Geometry::new(geometry)),
        id: None,
        properties: Some(properties),
        foreign_members: None,
    };
    (feature, extent)
}

pub(in crate::report) fn object<const N: usize>(members: [(&str, JsonValue); N]) -> JsonObject {
    members
        .into_iter()
        .map(|(key, value)| (key.to_owned(), value))
        .collect()
}

fn with_altitude(at: Coord, altitude_m: f64) -> [f64; 3] {
    [at.x, at.y, metres(altitude_m)]
}

fn other(x: f64) -> f64 {
    round(x, OTHER_DECIMALS)
}
