//! Sites to choose from: points of a file, or a grid over its polygons.

use std::path::Path;

use geo::{BoundingRect, Contains, Coord, LineString, MultiPolygon, Point, Polygon};
use geojson::{FeatureReader, GeoJson, GeometryValue};

use crate::earth::DEGREE_M;
use crate::error::{Error, Fault, Result};
use crate::files::read_bytes;
use crate::geodesy::Position;
use crate::ground::terrain::Terrain;
use crate::notes::Assumption;
use crate::plan::{Plan, SITE_ELEVATIONS_M, Site};
use crate::units::{Dimension, parse};
use crate::zone::terrain::{OF_FORECAST, height_at};

/// A site to choose.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// What it is called.
    pub name: String,
    /// Where it is.
    pub position: Position,
    /// Its elevation above mean sea level, m, if given.
    pub elevation_m: Option<f64>,
}

impl Candidate {
    /// A place of which nothing else is known.
    pub fn at(position: Position) -> Candidate {
        Candidate {
            name: String::new(),
            position,
            elevation_m: None,
        }
    }

    /// How high it lies, m above mean sea level, and what is assumed of that: as given, else as a file of
    /// heights says; at the plan's own site as the plan says; else as the forecast's own ground, else as the
    /// plan's site.
    fn elevation(
        &self,
        plan: &Plan,
        terrain: Option<&Terrain>,
    ) -> (Option<f64>, Option<Assumption>) {
        let ground = height_at(terrain, self.position);
        let of_file = ground.as_ref().filter(|g| g.source != OF_FORECAST);
        if let Some(known_m) = self.elevation_m.or(of_file.map(|g| g.height_m)) {
            return (Some(known_m), None);
        }
        let planned_m = plan.site.elevation_m;
        // The forecast's ground is smooth: in a valley some hundred metres above what the plan says of
        // the same place.
        if planned_m.is_some() && self.position.distance_m(plan.site.position) <= AT_SITE_M {
            return (planned_m, None);
        }
        match ground {
            Some(ground) => (Some(ground.height_m), Some(Assumption::ElevationOfForecast)),
            None => (planned_m, planned_m.map(|_| Assumption::ElevationAsPlanned)),
        }
    }

    /// A plan flown from here.
    pub fn plan(&self, plan: &Plan, terrain: Option<&Terrain>) -> Plan {
        Plan {
            site: Site {
                position: self.position,
                elevation_m: self.elevation(plan, terrain).0,
                ..plan.site
            },
            ..plan.clone()
        }
    }
}

/// This close to the plan's site a candidate is that site, m.
const AT_SITE_M: f64 = 500.0;

/// What is assumed of the heights of candidates, each above its terrain; once for all of them.
pub fn assumed_of_heights<'a>(
    plan: &Plan,
    candidates: impl IntoIterator<Item = (&'a Candidate, Option<&'a Terrain>)>,
) -> Vec<Assumption> {
    let mut said: Vec<Assumption> = Vec::new();
    for (candidate, terrain) in candidates {
        let assumed = candidate.elevation(plan, terrain).1;
        said.extend(assumed.filter(|assumed| !said.contains(assumed)));
    }
    said
}

/// The most candidates that are compared.
const MOST: usize = 10_000;

/// Reads candidates: a CSV table with `lat`, `lon` and, if wanted, `name` and `elevation` (with its
/// unit), or GeoJSON with points (`name` among their properties) or polygons, over which a grid is
/// laid with `spacing_m` between its points.
///
/// # Errors
///
/// A file that cannot be read, a row without a place on the earth, no candidate at all, too many.
pub fn read(path: &Path, spacing_m: f64) -> Result<Vec<Candidate>> {
    let bytes = read_bytes(path)?;
    let name = path.display().to_string();
    // Spreadsheets put a byte-order mark before their CSV.
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(&bytes);
    let found = match bytes.iter().find(|b| !b.is_ascii_whitespace()) {
        // By what it begins with: a table has no brace there, and endings are anything.
        Some(b'{') => of_geojson(&name, bytes, spacing_m)?,
        None => {
            return Err(Fault::new(
                name,
                "an empty file",
                "CSV with columns lat and lon, or GeoJSON",
            )
            .into());
        }
        _ => of_csv(&name, bytes)?,
    };
    match found.len() {
        0 => Err(Fault::new(name, "no candidate", "at least one point or polygon").into()),
        n if n > MOST => Err(too_many(name, n)),
        _ => Ok(found),
    }
}

fn too_many(name: String, count: usize) -> Error {
    let expected = format!("at most {MOST}: fewer points, or a larger --spacing");
    Fault::new(name, format!("{count} candidates"), expected).into()
}

fn of_csv(name: &str, bytes: &[u8]) -> Result<Vec<Candidate>> {
    let mut reader = csv::ReaderBuilder::new()
        // As people type tables: blanks behind commas, remarks above.
        .trim(csv::Trim::All)
        .comment(Some(b'#'))
        .from_reader(bytes);
    let unreadable = |cause: csv::Error| {
        let line = cause.position().map_or(1, csv::Position::line);
        let fault = Fault::new(
            name,
            cause.to_string(),
            "a row with as many fields as the header",
        );
        fault.at_line(line as usize)
    };
    let header = reader.headers().map_err(unreadable)?.clone();
    let column = |names: &[&str]| {
        header
            .iter()
            .position(|h| names.iter().any(|n| h.eq_ignore_ascii_case(n)))
    };
    let needed = |names: &[&str]| {
        column(names).ok_or_else(|| {
            let columns: Vec<&str> = header.iter().collect();
            let expected = "columns lat and lon in degrees, and name and elevation if wanted";
            Fault::new(name, format!("columns {}", columns.join(", ")), expected).at_line(1)
        })
    };
    let lat = needed(&["lat", "latitude", "lat_deg"])?;
    let lon = needed(&["lon", "longitude", "lon_deg"])?;
    let label = column(&["name", "site"]);
    // With the unit behind each number, or of all in the heading.
    let elevation = [
        (&["elevation", "elev", "altitude", "alt", "height"][..], ""),
        (
            &["elevation_m", "elev_m", "altitude_m", "alt_m", "height_m"],
            "m",
        ),
        (
            &[
                "elevation_ft",
                "elev_ft",
                "altitude_ft",
                "alt_ft",
                "height_ft",
            ],
            "ft",
        ),
    ];
    let elevation = elevation
        .iter()
        .find_map(|(names, unit)| Some((column(names)?, *unit)));
    let mut found = Vec::new();
    for row in reader.records() {
        let row = row.map_err(unreadable)?;
        let line = row.position().map_or(1, csv::Position::line) as usize;
        let field = |at: usize| row.get(at).unwrap_or("");
        let place = || Position::new(field(lat).parse().ok()?, field(lon).parse().ok()?);
        let position = place().ok_or_else(|| {
            let found = format!("\"{}\", \"{}\"", field(lat), field(lon));
            let expected = "degrees north from -90 to 90 and east from -180 to 360";
            Fault::new(name, found, expected)
                .at_line(line)
                .of_key("lat, lon")
        })?;
        let height = elevation.map(|(at, unit)| (field(at), unit));
        let elevation_m = match height.filter(|(text, _)| !text.is_empty()) {
            Some((text, unit)) => Some(elevation_of(text, unit).map_err(|found| {
                let expected = "a height from -430 m to 6000 m, as in 120 m";
                let fault = Fault::new(name, found, expected);
                fault.at_line(line).of_key("elevation")
            })?),
            None => None,
        };
        let label = label.map(field).filter(|text| !text.is_empty());
        found.push(Candidate {
            name: label.map_or_else(|| format!("site {}", found.len() + 1), str::to_owned),
            position,
            elevation_m,
        });
    }
    Ok(found)
}

/// An elevation that a site can have, m; a number without a unit is in that of its column.
fn elevation_of(text: &str, unit: &str) -> std::result::Result<f64, String> {
    let whole = match text.parse::<f64>() {
        Ok(_) => &format!("{text} {unit}"),
        Err(_) => text,
    };
    let elevation_m = parse(whole, Dimension::Length).map_err(|wrong| wrong.to_string())?;
    match SITE_ELEVATIONS_M.contains(&elevation_m) {
        true => Ok(elevation_m),
        false => Err(format!("\"{text}\"")),
    }
}

fn of_geojson(name: &str, bytes: &[u8], spacing_m: f64) -> Result<Vec<Candidate>> {
    let wrong = |what: String| Fault::new(name, what, "GeoJSON points or polygons");
    let whole: GeoJson = serde_json::from_slice(bytes).map_err(|e| wrong(e.to_string()))?;
    let mut found = Vec::new();
    match whole {
        GeoJson::Geometry(geometry) => take(name, "", &geometry.value, spacing_m, &mut found)?,
        GeoJson::Feature(feature) => take_feature(name, &feature, spacing_m, &mut found)?,
        // The reader of features cannot do without one.
        GeoJson::FeatureCollection(all) if all.features.is_empty() => {}
        GeoJson::FeatureCollection(_) => {
            for feature in FeatureReader::from_reader(bytes).features() {
                let feature = feature.map_err(|e| wrong(e.to_string()))?;
                take_feature(name, &feature, spacing_m, &mut found)?;
            }
        }
    }
    Ok(found)
}

fn take_feature(
    name: &str,
    feature: &geojson::Feature,
    spacing_m: f64,
    found: &mut Vec<Candidate>,
) -> Result<()> {
    let label = feature.property("name").and_then(|n| n.as_str());
    match &feature.geometry {
        Some(geometry) => take(name, label.unwrap_or(""), &geometry.value, spacing_m, found),
        None => Ok(()),
    }
}

fn take(
    name: &str,
    label: &str,
    value: &GeometryValue,
    spacing_m: f64,
    found: &mut Vec<Candidate>,
) -> Result<()> {
    match value {
        GeometryValue::Point { coordinates } => {
            let label = match label {
                "" => format!("site {}", found.len() + 1),
                label => label.to_owned(),
            };
            found.push(candidate(name, label, coordinates.as_slice())?);
        }
        GeometryValue::MultiPoint { coordinates } => {
            for point in coordinates {
                let label = format!("{label} {}", found.len() + 1).trim().to_owned();
                found.push(candidate(name, label, point.as_slice())?);
            }
        }
        GeometryValue::Polygon { coordinates } => {
            let rings: Vec<Vec<&[f64]>> = rings(coordinates);
            grid(name, label, &[rings], spacing_m, found)?;
        }
        GeometryValue::MultiPolygon { coordinates } => {
            let all: Vec<Vec<Vec<&[f64]>>> = coordinates.iter().map(|p| rings(p)).collect();
            grid(name, label, &all, spacing_m, found)?;
        }
        GeometryValue::GeometryCollection { geometries } => {
            for geometry in geometries {
                take(name, label, &geometry.value, spacing_m, found)?;
            }
        }
        GeometryValue::LineString { .. } | GeometryValue::MultiLineString { .. } => {
            // Where along it to launch would be a guess.
            return Err(Fault::new(name, "a line", "points or polygons").into());
        }
    }
    Ok(())
}

fn rings(polygon: &[Vec<geojson::Position>]) -> Vec<Vec<&[f64]>> {
    let mut rings = Vec::new();
    for ring in polygon {
        rings.push(ring.iter().map(geojson::Position::as_slice).collect());
    }
    rings
}

fn candidate(name: &str, label: String, lon_lat: &[f64]) -> Result<Candidate> {
    Ok(Candidate {
        name: label,
        position: position(name, lon_lat)?,
        elevation_m: None,
    })
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

/// Points `spacing_m` apart inside polygons, row by row from the south.
fn grid(
    name: &str,
    label: &str,
    polygons: &[Vec<Vec<&[f64]>>],
    spacing_m: f64,
    found: &mut Vec<Candidate>,
) -> Result<()> {
    let mut first_lon = None;
    let mut shapes = Vec::new();
    for rings in polygons {
        let mut lines = Vec::new();
        for ring in rings {
            let mut line = Vec::new();
            for point in ring {
                let at = position(name, point)?;
                // Every longitude on the side of the first: no edge is cut at the antimeridian.
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
    let shape = MultiPolygon::new(shapes);
    let Some(bounds) = shape.bounding_rect() else {
        return Ok(());
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
    let before = found.len();
    for row in 0..=rows as usize {
        let lat = low.y + offset + row as f64 * step_lat;
        let columns = ((high.x - low.x) / step_lon(lat)).floor();
        let west = low.x + 0.5 * ((high.x - low.x) - columns * step_lon(lat));
        for column in 0..=columns as usize {
            let lon = west + column as f64 * step_lon(lat);
            if !shape.contains(&Point::new(lon, lat)) {
                continue;
            }
            let position = position(name, &[crate::geodesy::wrap_longitude(lon), lat])?;
            found.push(Candidate {
                name: format!("{label} {}", found.len() - before + 1)
                    .trim()
                    .to_owned(),
                position,
                elevation_m: None,
            });
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geodesy::lattice::{Axis, Lattice, Plane};
    use crate::ground::terrain::{Heights, Raster};

    fn read_text(name: &str, text: &str, spacing_m: f64) -> Result<Vec<Candidate>> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(name);
        std::fs::write(&path, text).unwrap();
        read(&path, spacing_m)
    }

    #[test]
    fn tables_give_names_places_and_elevations() {
        let text = "# ours\nSite,Lat,Lon,Elevation\nschool field,39.7,-8.8,312 ft\n,39.8,-8.9,\n";
        let found = read_text("sites.csv", text, 1.0).unwrap();
        assert_eq!(found[0].name, "school field");
        assert!((found[0].elevation_m.unwrap() - 95.0976).abs() < 1e-9);
        assert_eq!(found[0].position, Position::new(39.7, -8.8).unwrap());
        assert_eq!(
            (found[1].name.as_str(), found[1].elevation_m),
            ("site 2", None)
        );
    }

    #[test]
    fn a_heading_may_give_the_unit_of_elevations() {
        for (heading, cell, elevation_m) in [
            ("elevation_m", "1640", 1_640.0),
            ("alt_ft", "1000", 304.8),
            ("elev_m", "1000 ft", 304.8),
            ("Altitude", "120 m", 120.0),
        ] {
            let text = format!("lat,lon,{heading}\n39,-8,{cell}\n");
            let found = read_text("sites.csv", &text, 1.0).unwrap();
            let told_m = found[0].elevation_m.unwrap();
            assert!((told_m - elevation_m).abs() < 1e-9, "{heading}: {told_m}");
        }
    }

    #[test]
    fn the_plans_own_site_is_as_high_as_the_plan_says() {
        let plan = Plan::read("samples/ribatejo/plan.toml").unwrap();
        let around = Lattice {
            plane: Plane::LatLon,
            x: Axis {
                first: -9.5,
                step: 1.0,
                count: 2,
            },
            y: Axis {
                first: 39.0,
                step: 1.0,
                count: 2,
            },
        };
        let raster = |source: &str| {
            let heights = Heights::Fine(vec![400.0; 4]);
            Terrain::of(vec![Raster::new(source.into(), &around, heights).unwrap()])
        };
        let (forecast, file) = (raster(OF_FORECAST), raster("heights.asc"));
        let at = |lat_deg, lon_deg| Candidate::at(Position::new(lat_deg, lon_deg).unwrap());
        let site = plan.site.position;
        let (here, away) = (at(site.lat_deg, site.lon_deg), at(39.5, -9.0));
        let height_m =
            |c: &Candidate, t: Option<&Terrain>| c.plan(&plan, t).site.elevation_m.unwrap();
        assert_eq!(height_m(&here, Some(&forecast)), 96.0);
        assert_eq!(height_m(&away, Some(&forecast)), 400.0);
        assert_eq!(height_m(&here, Some(&file)), 400.0);
        assert_eq!(height_m(&away, None), 96.0);
        let said = |c: &Candidate, t| assumed_of_heights(&plan, [(c, t), (c, t)]);
        assert_eq!(said(&here, Some(&forecast)), []);
        assert_eq!(
            said(&away, Some(&forecast)),
            [Assumption::ElevationOfForecast]
        );
        assert_eq!(said(&away, Some(&file)), []);
        assert_eq!(said(&away, None), [Assumption::ElevationAsPlanned]);
    }

    #[test]
    fn what_is_wrong_with_a_table_is_told_with_its_line() {
        for (text, words) in [
            ("lat,lon\n39,-8\n95,-8\n", "line 3"),
            ("lat,lon\n39,west\n", "line 2"),
            ("lat,lon,elevation\n39,-8,120\n", "elevation"),
            (
                "lat,lon,elevation\n39,-8,12000 m\n",
                "line 2, elevation: found \"12000 m\"",
            ),
            ("north,east\n39,-8\n", "columns lat and lon"),
            ("lat,lon\n39\n", "line 2"),
            ("lat,lon\n", "no candidate"),
            ("", "lat and lon"),
            (" \n", "an empty file"),
        ] {
            let message = read_text("sites.csv", text, 1.0).unwrap_err().to_string();
            assert!(message.contains(words), "{text:?}: {message}");
        }
    }

    #[test]
    fn points_and_polygons_of_geojson_are_taken() {
        let points = r#"{"type":"FeatureCollection","features":[
            {"type":"Feature","properties":{"name":"quarry"},"geometry":{"type":"Point","coordinates":[-8.8,39.7]}},
            {"type":"Feature","properties":null,"geometry":{"type":"MultiPoint","coordinates":[[-8.9,39.8],[-9,40]]}}]}"#;
        let found = read_text("p.geojson", points, 1.0).unwrap();
        let names: Vec<&str> = found.iter().map(|c| c.name.as_str()).collect();
        assert_eq!(names, ["quarry", "2", "3"]);
        // 4 by 4 km across the antimeridian with a hole in the middle: 5 x 5 points less 1.
        let square = r#"{"type":"Polygon","coordinates":[
            [[179.98,-0.02],[-179.98,-0.02],[-179.98,0.02],[179.98,0.02],[179.98,-0.02]],
            [[179.999,-0.001],[-179.999,-0.001],[-179.999,0.001],[179.999,0.001],[179.999,-0.001]]]}"#;
        let found = read_text("a.geojson", square, 1_000.0).unwrap();
        assert_eq!(found.len(), 24);
        assert!(found.iter().all(|c| c.position.lon_deg.abs() > 179.97));
        let apart = found[0].position.distance_m(found[1].position);
        assert!((apart - 1_000.0).abs() < 10.0, "{apart}");
    }

    #[test]
    fn what_is_wrong_with_geojson_is_told() {
        let empty = r#"{"type":"FeatureCollection","features":[]}"#;
        let line = r#"{"type":"LineString","coordinates":[[0,0],[1,1]]}"#;
        let metres = r#"{"type":"Point","coordinates":[512000,4400000]}"#;
        let large = r#"{"type":"Polygon","coordinates":[[[0,0],[9,0],[9,9],[0,0]]]}"#;
        for (text, words) in [
            (empty, "no candidate"),
            (line, "points or polygons"),
            (metres, "512000"),
            (large, "--spacing"),
            ("{", "GeoJSON"),
        ] {
            let message = read_text("x.geojson", text, 100.0).unwrap_err().to_string();
            assert!(message.contains(words), "{text}: {message}");
        }
    }
}
