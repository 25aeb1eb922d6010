//! Candidates of GeoJSON: points, and grids over polygons.

use geo::{
    BoundingRect, Contains, Coord, InteriorPoint, Intersects, LineString, MultiPolygon, Point,
    Polygon,
};
use geojson::{Feature, GeoJson, GeometryValue};

use super::heights::{EXPECTED, elevation_of, unit_of};
use super::{Candidate, MOST, too_many};
use crate::earth::DEGREE_M;
use crate::error::{Fault, Result};
use crate::geodesy::{Position, wrap_longitude};

/// The candidates of a GeoJSON text; over polygons a grid is laid with `spacing_m` between its points.
///
/// # Errors
///
/// What is no GeoJSON, lines, a place off the earth, a height that no site has, too many points.
pub fn read(name: &str, bytes: &[u8], spacing_m: f64) -> Result<Vec<Candidate>> {
    let wrong = |what: String| Fault::new(name, what, "GeoJSON points or polygons");
    let whole: GeoJson = serde_json::from_slice(bytes).map_err(|e| wrong(e.to_string()))?;
    let mut found = Found {
        name,
        spacing_m,
        all: Vec::new(),
    };
    match whole {
        GeoJson::Geometry(geometry) => found.take(&Told::default(), &geometry.value)?,
        GeoJson::Feature(feature) => found.take_feature(&feature)?,
        GeoJson::FeatureCollection(all) => {
            for feature in &all.features {
                found.take_feature(feature)?;
            }
        }
    }
    Ok(found.all)
}

/// What the properties of a feature tell.
#[derive(Default)]
struct Told {
    label: String,
    elevation_m: Option<f64>,
}

/// Candidates as they are found in a file.
struct Found<'a> {
    /// Of the file.
    name: &'a str,
    spacing_m: f64,
    all: Vec<Candidate>,
}

impl Found<'_> {
    fn take_feature(&mut self, feature: &Feature) -> Result<()> {
        let Some(geometry) = &feature.geometry else {
            return Ok(());
        };
        let told = Told {
            label: label(feature),
            elevation_m: self.elevation_m(feature)?,
        };
        self.take(&told, &geometry.value)
    }

    /// The elevation among a feature's properties.
    fn elevation_m(&self, feature: &Feature) -> Result<Option<f64>> {
        let properties = feature.properties.iter().flatten();
        let mut given: Vec<(&String, &str, String)> = properties
            .filter_map(|(key, value)| {
                let unit = unit_of(key)?;
                // A number without a unit is not guessed; maps have many that are no elevations.
                let is_bare = unit.is_empty() && value.is_number();
                Some((key, unit, text(value).filter(|_| !is_bare)?))
            })
            .collect();
        // As in tables: rather one whose number needs no unit of its own.
        given.sort_by_key(|(_, unit, _)| unit.is_empty());
        let Some((key, unit, text)) = given.first() else {
            return Ok(None);
        };
        let elevation_m = elevation_of(text, unit)
            .map_err(|found| Fault::new(self.name, found, EXPECTED).of_key(key.as_str()))?;
        Ok(Some(elevation_m))
    }

    fn take(&mut self, told: &Told, value: &GeometryValue) -> Result<()> {
        match value {
            GeometryValue::Point { coordinates } => {
                let name = match told.label.as_str() {
                    "" => format!("site {}", self.all.len() + 1),
                    label => label.to_owned(),
                };
                self.push(told, name, coordinates.as_slice())?;
            }
            GeometryValue::MultiPoint { coordinates } => {
                for point in coordinates {
                    let name = numbered(&told.label, self.all.len() + 1);
                    self.push(told, name, point.as_slice())?;
                }
            }
            GeometryValue::Polygon { coordinates } => {
                let rings: Vec<Vec<&[f64]>> = rings(coordinates);
                self.grid(told, &[rings])?;
            }
            GeometryValue::MultiPolygon { coordinates } => {
                let all: Vec<Vec<Vec<&[f64]>>> = coordinates.iter().map(|p| rings(p)).collect();
                self.grid(told, &all)?;
            }
            GeometryValue::GeometryCollection { geometries } => {
                for geometry in geometries {
                    self.take(told, &geometry.value)?;
                }
            }
            GeometryValue::LineString { .. } | GeometryValue::MultiLineString { .. } => {
                // Where along it to launch would be a guess.
                return Err(Fault::new(self.name, "a line", "points or polygons").into());
            }
        }
        Ok(())
    }

    fn push(&mut self, told: &Told, name: String, lon_lat: &[f64]) -> Result<()> {
        self.all.push(Candidate {
            name,
            position: position(self.name, lon_lat)?,
            elevation_m: told.elevation_m,
        });
        Ok(())
    }

    /// Takes the points of a grid over polygons; of a polygon between them a point within.
    fn grid(&mut self, told: &Told, polygons: &[Vec<Vec<&[f64]>>]) -> Result<()> {
        let shape = shape(self.name, polygons)?;
        let points = grid_points(self.name, &shape, self.spacing_m)?;
        let held = |polygon: &Polygon| {
            let bounds = polygon.bounding_rect();
            let near = |point: &&Point| bounds.is_some_and(|b| b.intersects(*point));
            points.iter().filter(near).any(|p| polygon.contains(p))
        };
        let between = shape.iter().filter(|polygon| !held(polygon));
        let within: Vec<Point> = between.filter_map(InteriorPoint::interior_point).collect();
        // Unnamed polygons are numbered over all of a file, or two would have the same names.
        let before = match told.label.as_str() {
            "" => 0,
            _ => self.all.len(),
        };
        for point in points.iter().chain(&within) {
            let name = numbered(&told.label, self.all.len() - before + 1);
            self.push(told, name, &[wrap_longitude(point.x()), point.y()])?;
        }
        Ok(())
    }
}

/// The name of a feature, which may be a number; of none, nothing.
fn label(feature: &Feature) -> String {
    let properties = feature.properties.iter().flatten();
    let mut names: Vec<_> = properties
        .filter(|(key, _)| key.eq_ignore_ascii_case("name"))
        .collect();
    // Rather the one that is written as everybody writes it.
    names.sort_by_key(|(key, _)| key.as_str() != "name");
    let named = names.into_iter().find_map(|(_, value)| text(value));
    named.unwrap_or_default()
}

/// What a property says, if that is a text or a number.
fn text(value: &serde_json::Value) -> Option<String> {
    let text = match value {
        serde_json::Value::String(text) => text.trim().to_owned(),
        serde_json::Value::Number(number) => number.to_string(),
        _ => return None,
    };
    (!text.is_empty()).then_some(text)
}

/// A name with a number, or the number alone.
fn numbered(label: &str, number: usize) -> String {
    format!("{label} {number}").trim().to_owned()
}

fn rings(polygon: &[Vec<geojson::Position>]) -> Vec<Vec<&[f64]>> {
    let mut rings = Vec::new();
    for ring in polygon {
        rings.push(ring.iter().map(geojson::Position::as_slice).collect());
    }
    rings
}

fn position(name: &str, lon_lat: &[f64]) -> Result<Position> {
    let place = match lon_lat {
        [lon, lat, ..] => Position::new(*lat, *lon),
        _ => None,
    };
    place.ok_or_else(|| {
        let expected = "longitude from -180 to 360 and latitude from -90 to 90, in degrees";
        Fault::new(name, format!("the point {lon_lat:?}"), expected).into()
    })
}

/// Polygons with every longitude on the side of the first: no edge is cut at the antimeridian.
fn shape(name: &str, polygons: &[Vec<Vec<&[f64]>>]) -> Result<MultiPolygon> {
    let mut first_lon = None;
    let mut shapes = Vec::new();
    for rings in polygons {
        let mut lines = Vec::new();
        for ring in rings {
            let mut line = Vec::new();
            for point in ring {
                let at = position(name, point)?;
                let first = *first_lon.get_or_insert(at.lon_deg);
                let turns = ((first - at.lon_deg) / 360.0).round();
                line.push(Coord {
                    x: at.lon_deg + 360.0 * turns,
                    y: at.lat_deg,
                });
            }
            lines.push(LineString::new(line));
        }
        let mut lines = lines.into_iter();
        if let Some(outline) = lines.next() {
            shapes.push(Polygon::new(outline, lines.collect()));
        }
    }
    Ok(MultiPolygon::new(shapes))
}

/// Points `spacing_m` apart inside polygons, row by row from the south.
fn grid_points(name: &str, shape: &MultiPolygon, spacing_m: f64) -> Result<Vec<Point>> {
    let Some(bounds) = shape.bounding_rect() else {
        return Ok(Vec::new());
    };
    let (low, high) = (bounds.min(), bounds.max());
    let step_lat = spacing_m / DEGREE_M;
    let rows = ((high.y - low.y) / step_lat).floor();
    // Columns are as far apart as rows, so each row has a step of its own.
    let step_lon = |lat: f64| step_lat / lat.to_radians().cos().max(0.01);
    // By the middle row: it is only to tell boxes that are far too large.
    let widest = (high.x - low.x) / step_lon(0.5 * (low.y + high.y));
    // A box with far more points than are allowed is not looked through.
    if (rows + 1.0) * (widest + 1.0) > 100.0 * MOST as f64 {
        return Err(too_many(
            name.to_owned(),
            ((rows + 1.0) * (widest + 1.0)) as usize,
        ));
    }
    // What is left over is shared by both edges.
    let offset = 0.5 * ((high.y - low.y) - rows * step_lat);
    let mut points = Vec::new();
    for row in 0..=rows as usize {
        let lat = low.y + offset + row as f64 * step_lat;
        let columns = ((high.x - low.x) / step_lon(lat)).floor();
        let west = low.x + 0.5 * ((high.x - low.x) - columns * step_lon(lat));
        let along = (0..=columns as usize).map(|column| west + column as f64 * step_lon(lat));
        let along = along.map(|lon| Point::new(lon, lat));
        points.extend(along.filter(|point| shape.contains(point)));
    }
    Ok(points)
}
