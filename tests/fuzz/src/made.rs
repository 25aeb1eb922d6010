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
        _ => Vec::new(),
    }
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
    let mut packed = GzEncoder::new(Vec::new(), Compression::fast());
    packed.write_all(&vec![0; 2 * 1201 * 1201]).unwrap();
    packed.finish().unwrap()
}
