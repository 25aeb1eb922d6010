//! Packs open data of the world into the files that the program carries, in this folder.
//!
//! ```text
//! cargo run --release --example pack_world -- AIRPORTS.csv.gz NATURAL_EARTH_FOLDER src/ground/data
//! ```
//!
//! AIRPORTS.csv.gz: ident, type, latitude_deg, longitude_deg, elevation_ft of OurAirports.
//! NATURAL_EARTH_FOLDER: the GeoJSON layers `ne_50m_*`. Coordinates are rounded to 1e-4 degrees,
//! 11 m: the map 1:50 million is true to about a kilometre.

use std::error::Error;
use std::fs::{self, File};
use std::io::Write;
use std::path::Path;

use flate2::Compression;
use flate2::read::GzDecoder;
use flate2::write::GzEncoder;
use serde_json::{Value, json};

/// Layers: the file of Natural Earth and ours.
const LAYERS: [(&str, &str); 5] = [
    ("ne_50m_lakes", "lakes"),
    ("ne_50m_rivers_lake_centerlines", "rivers"),
    ("ne_50m_urban_areas", "urban"),
    ("ne_50m_admin_0_boundary_lines_land", "borders"),
    ("ne_50m_coastline", "coast"),
];

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [airports, natural_earth, into] = arguments.as_slice() else {
        return Err("give AIRPORTS.csv.gz, NATURAL_EARTH_FOLDER and the folder to write to".into());
    };
    let (natural_earth, into) = (Path::new(natural_earth), Path::new(into));
    write(&into.join("airports.csv.gz"), &pack_airports(airports)?)?;
    for (from, to) in LAYERS {
        let text = fs::read_to_string(natural_earth.join(from).with_extension("geojson"))?;
        let packed = pack_layer(&serde_json::from_str(&text)?).to_string();
        write(&into.join(format!("{to}.geojson.gz")), &packed)?;
    }
    let places = natural_earth.join("ne_50m_populated_places_simple.geojson");
    let places = pack_places(&serde_json::from_str(&fs::read_to_string(places)?)?)?;
    write(&into.join("places.csv.gz"), &places)
}

fn write(path: &Path, text: &str) -> Result<(), Box<dyn Error>> {
    let mut out = GzEncoder::new(File::create(path)?, Compression::best());
    out.write_all(text.as_bytes())?;
    out.finish()?;
    Ok(())
}

/// Kind, code, latitude, longitude, elevation: neighbouring codes are near each other and pack well.
fn pack_airports(path: &str) -> Result<String, Box<dyn Error>> {
    let mut rows = Vec::new();
    let mut reader = csv::Reader::from_reader(GzDecoder::new(File::open(path)?));
    for row in reader.records() {
        let row = row?;
        let kind = match &row[1] {
            "large_airport" => "L",
            "medium_airport" => "M",
            "small_airport" => "S",
            "seaplane_base" => "W",
            other => return Err(format!("unknown type {other}").into()),
        };
        let elevation = row[4].trim_end_matches(".0");
        rows.push(format!(
            "{kind},{},{},{},{elevation}\n",
            &row[0], &row[2], &row[3]
        ));
    }
    rows.sort();
    Ok(rows.concat())
}

/// Geometries with rounded coordinates, and names.
fn pack_layer(layer: &Value) -> Value {
    let features: Vec<Value> = layer["features"]
        .as_array()
        .into_iter()
        .flatten()
        .filter(|feature| !feature["geometry"].is_null())
        .map(|feature| {
            let geometry = &feature["geometry"];
            let name = feature["properties"]["name"].as_str();
            json!({
                "type": "Feature",
                "properties": name.map_or(json!({}), |name| json!({ "name": name })),
                "geometry": {
                    "type": geometry["type"],
                    "coordinates": rounded(&geometry["coordinates"]),
                },
            })
        })
        .collect();
    json!({ "type": "FeatureCollection", "features": features })
}

/// Numbers rounded, and points that are then the same as the one before left out.
fn rounded(value: &Value) -> Value {
    match value {
        Value::Array(items) => {
            let mut items: Vec<Value> = items.iter().map(rounded).collect();
            if items.first().is_some_and(Value::is_array) {
                items.dedup();
            }
            Value::Array(items)
        }
        Value::Number(number) => {
            let number = number.as_f64().unwrap_or_default();
            json!((number * 1e4).round() / 1e4)
        }
        other => other.clone(),
    }
}

/// Name, country, latitude, longitude, people.
fn pack_places(layer: &Value) -> Result<String, Box<dyn Error>> {
    let mut out = csv::Writer::from_writer(Vec::new());
    for feature in layer["features"].as_array().into_iter().flatten() {
        let properties = &feature["properties"];
        let text = |key: &str| properties[key].as_str().unwrap_or_default().to_owned();
        let degrees = |i: usize| {
            let value = feature["geometry"]["coordinates"][i]
                .as_f64()
                .unwrap_or_default();
            format!("{:.4}", value)
        };
        let people = properties["pop_max"]
            .as_i64()
            .unwrap_or_default()
            .to_string();
        out.write_record([
            text("name"),
            text("adm0name"),
            degrees(1),
            degrees(0),
            people,
        ])?;
    }
    Ok(String::from_utf8(out.into_inner()?)?)
}
