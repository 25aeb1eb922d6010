//! A landing zone as GeoJSON (RFC 7946).
//!
//! One FeatureCollection with the members `seed`, `version`, `draws` (how many), `assumptions`
//! and `notes`; the `kind` of each Feature says what it is. Keys are in alphabetical order and
//! numbers rounded, so the same zone always makes the same bytes.

use geo::{Coord, LineString, Polygon};
use geojson::{Feature, FeatureCollection, Geometry, GeometryValue, JsonObject, JsonValue};
use jiff::{SignedDuration, Timestamp, Unit};
use serde_json::json;

use super::antimeridian::{CutPoint, cut_line, cut_rings};
use super::extent::Extent;
use super::zone::{Mark, Zone};
use crate::geodesy::Position;
use crate::spread::region::{GroundContour, GroundEllipse, GroundPolygon, nest};

/// Decimals of longitude and latitude: about a centimetre.
const DEGREE_DECIMALS: i32 = 7;
/// Decimals of metres.
const METRE_DECIMALS: i32 = 1;
/// Decimals of other angles, areas in square kilometres and shares.
const OTHER_DECIMALS: i32 = 6;

/// The zone as GeoJSON text, ending in a newline.
pub fn text(zone: &Zone) -> String {
    format!("{}\n", collection(zone))
}

/// The zone as a FeatureCollection.
///
/// The bounding boxes of the track and its marks have altitudes, those of the areas and of the
/// whole have not, since an area has none. Degrees are rounded to 7 decimals, metres to 0.1, times to
/// a millisecond, in UTC.
pub fn collection(zone: &Zone) -> FeatureCollection {
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
    .collect();

    gathered(
        features,
        [
            ("seed", json!(zone.seed)),
            ("version", json!(zone.version)),
            ("draws", json!(zone.draw_count)),
            ("assumptions", json!(zone.assumptions)),
            ("notes", json!(zone.notes)),
        ],
    )
}

/// Features with their bounding box, and members of the collection's own.
pub(super) fn gathered<const N: usize>(
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
pub(super) fn spot_feature<const N: usize>(
    kind: &str,
    position: Position,
    properties: [(&str, JsonValue); N],
) -> (Feature, Extent) {
    let at = lon_lat(position);
    let geometry = GeometryValue::new_point([at.x, at.y]);
    feature(kind, geometry, Extent::of([[at].as_slice()]), properties)
}

/// Polygons.
pub(super) fn polygons_feature<const N: usize>(
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

fn mark_feature(kind: &str, mark: &Mark) -> (Feature, Extent) {
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
fn track_feature(track: &[Mark]) -> Option<(Feature, Extent)> {
    let positions: Vec<Position> = track.iter().map(|mark| mark.position).collect();
    let pieces = cut_line(&positions);
    let mut lines = Vec::new();
    let mut times = Vec::new();
    let mut outlines: Vec<Vec<Coord>> = Vec::new();
    for piece in pieces.iter().filter(|piece| piece.len() > 1) {
        let marks: Vec<(Coord, f64, Timestamp)> =
            piece.iter().map(|point| mark_at(track, point)).collect();
        lines.push(
            marks
                .iter()
                .map(|(at, altitude_m, _)| with_altitude(*at, *altitude_m))
                .collect::<Vec<_>>(),
        );
        times.push(
            marks
                .iter()
                .map(|(_, _, time)| clock(*time))
                .collect::<Vec<_>>(),
        );
        outlines.push(marks.iter().map(|(at, _, _)| *at).collect());
    }
    let altitudes = lines.iter().flatten().map(|[_, _, altitude_m]| *altitude_m);
    let extent = Extent::of(outlines.iter().map(Vec::as_slice)).with_altitudes(altitudes);
    let (geometry, times) = match (lines.len(), lines.pop(), times.pop()) {
        (1, Some(line), Some(times)) => (GeometryValue::new_line_string(line), json!(times)),
        (_, Some(line), Some(last)) => {
            lines.push(line);
            times.push(last);
            (GeometryValue::new_multi_line_string(lines), json!(times))
        }
        _ => return None,
    };
    Some(feature("track", geometry, extent, [("times", times)]))
}

/// Place, altitude and time of a point of the cut track, linear between its marks.
fn mark_at(track: &[Mark], point: &CutPoint) -> (Coord, f64, Timestamp) {
    let (before, after) = (
        &track[point.index.floor() as usize],
        &track[point.index.ceil() as usize],
    );
    let t = point.index.fract();
    let gap_s = after.time.duration_since(before.time).as_secs_f64();
    let since = SignedDuration::try_from_secs_f64(t * gap_s).unwrap_or_default();
    (
        rounded(point.at),
        before.altitude_m * (1.0 - t) + after.altitude_m * t,
        before.time.checked_add(since).unwrap_or(before.time),
    )
}

fn ellipse_feature(ellipse: &GroundEllipse) -> (Feature, Extent) {
    ellipse_with(ellipse, [])
}

/// An ellipse with more properties than its own.
pub(super) fn ellipse_with<const N: usize>(
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
    let on_map: Vec<Polygon> = polygons
        .into_iter()
        .flat_map(|rings| nest(cut_rings(rings).into_iter().map(tidy).collect()))
        .collect();
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

/// A ring with rounded corners, none the same as the one before.
fn tidy(ring: Vec<Coord>) -> Vec<Coord> {
    let mut ring: Vec<Coord> = ring.into_iter().map(rounded).collect();
    ring.dedup();
    ring
}

fn feature<const N: usize>(
    kind: &str,
    geometry: GeometryValue,
    extent: Extent,
    properties: [(&str, JsonValue); N],
) -> (Feature, Extent) {
    let mut properties = object(properties);
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

pub(super) fn object<const N: usize>(members: [(&str, JsonValue); N]) -> JsonObject {
    members
        .into_iter()
        .map(|(key, value)| (key.to_owned(), value))
        .collect()
}

/// RFC 3339, in UTC, to a millisecond.
fn clock(time: Timestamp) -> String {
    time.round(Unit::Millisecond).unwrap_or(time).to_string()
}

fn lon_lat(position: Position) -> Coord {
    rounded(Coord {
        x: position.lon_deg,
        y: position.lat_deg,
    })
}

fn with_altitude(at: Coord, altitude_m: f64) -> [f64; 3] {
    [at.x, at.y, metres(altitude_m)]
}

fn rounded(at: Coord) -> Coord {
    Coord {
        x: round(at.x, DEGREE_DECIMALS),
        y: round(at.y, DEGREE_DECIMALS),
    }
}

fn metres(m: f64) -> f64 {
    round(m, METRE_DECIMALS)
}

fn other(x: f64) -> f64 {
    round(x, OTHER_DECIMALS)
}

/// Rounded to a number of decimals; adding 0 turns -0 into 0.
fn round(x: f64, decimals: i32) -> f64 {
    let scale = 10f64.powi(decimals);
    (x * scale).round() / scale + 0.0
}
