//! What readers begin from where the project has no small file: made here.

use std::io::Write;

use flate2::Compression;
use flate2::write::GzEncoder;

#[path = "../../common/pbf.rs"]
mod pbf;

/// The bytes made for a reader.
pub fn seeds(reader: &str) -> Vec<Vec<u8>> {
    match reader {
        "osm" => vec![osm()],
        "shapefile" => vec![shapefile(3, 2), shapefile(5, 1), shapefile(13, 2)],
        "hgt" => vec![tile()],
        "point" => vec![POINT.into()],
        "photo" => vec![photo()],
        "packed" => vec![tile(), packed(POINT.as_bytes())],
        "logbook" => vec![LOGBOOK.into()],
        "part" => vec![PART.into()],
        "payloads" => vec![PAYLOADS.into()],
        "form" => vec![FORM.into()],
        _ => Vec::new(),
    }
}

/// Two flights of a logbook.
const LOGBOOK: &str = r#"[[flight]]
name = "A"
released = "2026-02-05T18:02:52Z"
lat = 43.2
lon = -107.9
miss_km = 6.1
along_km = 5.2
across_km = -3.2
within = 0.4
rate = 1.04
fall = 0.93
burst_diameter = 1.01
winds_squared = 1.4

[[flight]]
name = "B"
released = "2026-03-05T18:02:52Z"
lat = 43.2
lon = -107.9
miss_km = 6.1
along_km = 5.2
across_km = -3.2
"#;

/// Messages of a topic.
const PAYLOADS: &str = r#"{"call":"N0CALL-11","time":"2026-02-05T18:02:52Z","lat":43.2,"lon":-107.9,"alt_m":1612.5}
[{"call":"N0CALL-11","time":1770314632,"latitude":43.21,"longitude":-107.88,"altitude":2012}]
N0CALL-11>APRS:/180252h4312.00N/10754.00WO/A=006600
"#;

/// A plan, and what is typed into its form.
const FORM: &str = r#"[flight]
release = 2026-02-05T18:00:00Z
[site]
lat = 43.0
lon = -108.4
[[load]]
name = "box"
mass = "1 kg"
[balloon]
mass = "600 g"
neck_lift = "2 kg"
---
flight.name = "quoted" name
fill.kind = free_lift
fill.value = 1.2 kg
load.0.mass = 950 g
wind.files = a.csv
"#;

/// The messages of a file of GRIB 2 moved east by the width of their own grids (template 3.0): with them, a
/// forecast cut at a seam.
pub fn beside(west: &[u8]) -> Vec<u8> {
    let mut east = west.to_vec();
    let mut at = 0;
    while let Some(start) = east[at..].windows(4).position(|w| w == b"GRIB") {
        at += start + 4;
        // Section 3 stands behind sections 0 and 1, and perhaps 2: its number is in octet 5.
        let head = east[at..].windows(6).take(400).position(|w| w[0..3] == [0, 0, 0] && w[3] >= 72 && w[4] == 3);
        if let Some(grid) = head.map(|head| at + head) {
            move_east(&mut east[grid..]);
        }
    }
    east
}

/// Octets 31 to 34 are the columns, 51 to 54 and 60 to 63 the first and the last longitude, 64 to 67 the step.
fn move_east(section: &mut [u8]) {
    let number = |section: &[u8], at: usize| {
        let octets = section.get(at..at + 4)?;
        Some(octets.iter().fold(0_u64, |n, octet| n << 8 | u64::from(*octet)))
    };
    let all = [number(section, 30), number(section, 50), number(section, 59), number(section, 63)];
    let [Some(columns), Some(_), Some(last), Some(step)] = all else {
        return;
    };
    let first = last.wrapping_add(step);
    let last = first.wrapping_add(columns.wrapping_sub(1).wrapping_mul(step));
    for (at, degrees) in [(50, first), (59, last)] {
        let turned = u32::try_from(degrees % 360_000_000).unwrap_or(0);
        section[at..at + 4].copy_from_slice(&turned.to_be_bytes());
    }
}

/// A part of two units with cells and no release that came down.
const PART: &str = r#"{"windfall_years":1,"work":"0a","from":0,"to":2}
{"f":0,"t":1600000000,"v":"unknown","n":0,"nr":3}
{"f":1,"t":1600000000,"v":"beyond_limit","by":"drift","beyond":["drift"],"n":20,"nh":1}
{"cell":[0,[3,-2]],"all":7,"usable":5}
{"end":4}
"#;

/// A point forecast of two hours and two levels.
const POINT: &str = r#"{"latitude": 43.0, "longitude": -108.4, "elevation": 1600, "utc_offset_seconds": 0,
"hourly_units": {"wind_speed_850hPa": "km/h", "wind_speed_500hPa": "km/h"},
"hourly": {"time": ["2026-11-25T12:00", "2026-11-25T13:00"],
"wind_speed_850hPa": [20, 22], "wind_direction_850hPa": [270, 280], "geopotential_height_850hPa": [1480, 1482],
"wind_speed_500hPa": [70, 72], "wind_direction_500hPa": [290, 291], "geopotential_height_500hPa": [5600, 5601],
"temperature_850hPa": [5, 6], "temperature_500hPa": [-20, -21], "wind_speed_10m": [9, 8], "wind_direction_10m": [250, null]}}"#;

/// A JPEG of nothing but an EXIF time: a directory that points to another, which holds DateTimeOriginal.
fn photo() -> Vec<u8> {
    let mut tiff = b"II*\0\x08\0\0\0\x01\0\x69\x87\x04\0\x01\0\0\0\x1a\0\0\0\0\0\0\0".to_vec();
    tiff.extend(b"\x01\0\x03\x90\x02\0\x14\0\0\0\x2c\0\0\0\0\0\0\0");
    tiff.extend(b"2026:02:05 18:02:52\0");
    let mut jpeg = vec![0xff, 0xd8, 0xff, 0xe1];
    jpeg.extend(((tiff.len() + 8) as u16).to_be_bytes());
    jpeg.extend(b"Exif\0\0");
    jpeg.extend(tiff);
    jpeg.extend([0xff, 0xd9]);
    jpeg
}

fn osm() -> Vec<u8> {
    let nodes = [
        (1, -113.0, 43.6, &[][..]),
        (2, -113.1, 43.6, &[("place", "town"), ("name", "A")]),
        (3, -113.2, 43.7, &[]),
    ];
    let block = pbf::Block::new()
        .nodes(&nodes)
        .way(7, &[1, 2, 3], &[("highway", "primary"), ("name", "B")])
        .way(8, &[1, 2, 3, 1], &[("natural", "water")]);
    [pbf::heading(), block.blob()].concat()
}

/// A Shapefile of one record, by ESRI's description of 1998.
fn shapefile(kind: u32, parts: u32) -> Vec<u8> {
    let mut content = kind.to_le_bytes().to_vec();
    content.extend([0; 32]);
    content.extend(parts.to_le_bytes());
    content.extend((4 * parts).to_le_bytes());
    (0..parts).for_each(|part| content.extend((4 * part).to_le_bytes()));
    for _ in 0..parts {
        for (lon, lat) in [(-113.0, 43.6), (-113.0, 43.7), (-112.9, 43.7), (-113.0, 43.6_f64)] {
            content.extend(f64::to_le_bytes(lon));
            content.extend(lat.to_le_bytes());
        }
    }
    if kind > 10 {
        // Heights: their range, and one for each point.
        content.extend(vec![0; 16 + 32 * parts as usize]);
    }
    let mut file = 9994_u32.to_be_bytes().to_vec();
    file.extend([0; 20]);
    file.extend(((108 + content.len() as u32) / 2).to_be_bytes());
    file.extend(1000_u32.to_le_bytes());
    file.extend(kind.to_le_bytes());
    file.extend([0; 64]);
    file.extend(1_u32.to_be_bytes());
    file.extend((content.len() as u32 / 2).to_be_bytes());
    file.extend(content);
    file
}

fn tile() -> Vec<u8> {
    packed(&vec![0; 2 * 1201 * 1201])
}

fn packed(bytes: &[u8]) -> Vec<u8> {
    let mut packed = GzEncoder::new(Vec::new(), Compression::fast());
    packed.write_all(bytes).unwrap();
    packed.finish().unwrap()
}
