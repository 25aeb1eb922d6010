//! Forecast files of the tests, the tables of independent decoders, and single GRIB messages.

#![allow(dead_code, reason = "each test file uses a part of it")]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a helper of a test may fail as the test itself may"
)]

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use jiff::Timestamp;
use windfall::geodesy::Position;
use windfall::sources::grid::GridFile;
use windfall::sources::grid::archive::{Archive, Joining};
use windfall::wind::slab::{Quantity, Slab, Surface};

pub const PORTUGAL_2022: &str = "era5_portugal_20221013_17.nc";
pub const PORTUGAL_2023: &str = "era5_portugal_2023.nc";
pub const GFS_EUROPE: &str = "gfs_0p25_western_europe_20200314_00z.grib2";
pub const GFS_2011: &str = "gfs_2p5_global_20110110_12z_f120.grib2";
pub const NAM: &str = "nam_lambert_20180917_00z.grib2";
pub const ECMWF: &str = "ecmwf_10deg_global_20240603_2runs_2steps.grib";
pub const GEFS_MEAN: &str = "gefs_mean_0p5_20200815_06z_f006.grib2";
pub const CCSDS: &str = "repacked/gfs20200314_isobaric_grid_ccsds.grib2";

pub fn path(file: &str) -> PathBuf {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    match file {
        PORTUGAL_2023 => root.join("samples/ribatejo/era5-portugal-2023.nc"),
        _ => root.join("tests/data/grids").join(file),
    }
}

pub fn bytes(file: &str) -> Vec<u8> {
    std::fs::read(path(file)).unwrap()
}

pub fn archive(file: &str) -> Archive {
    let opened = GridFile::open(&path(file)).unwrap_or_else(|error| panic!("{error}"));
    Archive::join(vec![opened], Joining::default()).unwrap_or_else(|error| panic!("{error}"))
}

/// What joining files that are in memory comes to.
pub fn joined(files: Vec<(&str, Vec<u8>)>, how: Joining) -> windfall::error::Result<Archive> {
    let opened: windfall::error::Result<Vec<GridFile>> = files
        .into_iter()
        .map(|(name, bytes)| GridFile::from_bytes(name, bytes))
        .collect();
    Archive::join(opened?, how)
}

/// A row of a table, by the names of its columns.
pub type Row = BTreeMap<String, String>;

/// The rows of a reference table (`tests/data/grids/reference`).
pub fn table(name: &str) -> Vec<Row> {
    let mut reader = csv::Reader::from_path(path("reference").join(name)).unwrap();
    reader.deserialize().map(Result::unwrap).collect()
}

pub fn number(row: &Row, column: &str) -> f64 {
    row[column].parse().unwrap()
}

pub fn place_of(row: &Row) -> Position {
    Position::new(number(row, "lat"), number(row, "lon")).unwrap()
}

pub fn time_of(row: &Row) -> Timestamp {
    row["time"].parse().unwrap()
}

/// The messages of a GRIB file. Each begins with "GRIB" and tells its length: octets 5 to 7 in
/// edition 1, 9 to 16 in edition 2 (WMO Manual on Codes, FM 92).
pub fn messages(bytes: &[u8]) -> Vec<&[u8]> {
    let mut found = Vec::new();
    let mut rest = bytes;
    while let Some(start) = rest.windows(4).position(|w| w == b"GRIB") {
        let message = &rest[start..];
        let octets = match message[7] {
            1 => &message[4..7],
            2 => &message[8..16],
            edition => panic!("edition {edition}"),
        };
        let length = octets.iter().fold(0, |n, &o| n << 8 | usize::from(o));
        found.push(&message[..length]);
        rest = &message[length..];
    }
    found
}

/// What a message holds that a flight can use.
pub fn slabs(message: &[u8]) -> Vec<Slab> {
    GridFile::from_bytes("message", message.to_vec()).map_or_else(|_| Vec::new(), |f| f.slabs)
}

/// A GRIB file with only those messages all of whose fields are wanted; and how many went.
pub fn without(bytes: &[u8], unwanted: impl Fn(&Slab) -> bool) -> (Vec<u8>, usize) {
    let all = messages(bytes);
    let kept: Vec<&[u8]> = all
        .iter()
        .copied()
        .filter(|message| !slabs(message).iter().any(&unwanted))
        .collect();
    let gone = all.len() - kept.len();
    (kept.concat(), gone)
}

/// Whether a slab is of a quantity on a level of pressure (hPa).
pub fn is(slab: &Slab, quantity: Quantity, hpa: u32) -> bool {
    slab.quantity == quantity && slab.surface == Surface::Isobaric(100 * hpa)
}

/// Sets the reference time and the step (hours) of every message of a GRIB 1 file: octets 13 to 17
/// of section 1 are year of century, month, day, hour and minute, octet 18 the unit of time (1 is
/// the hour) and 19 the step; section 1 begins with octet 9 of the message.
pub fn retimed(bytes: &[u8], [month, day, hour]: [u8; 3], step: u8) -> Vec<u8> {
    let mut changed = Vec::new();
    for message in messages(bytes) {
        assert_eq!(message[7], 1, "edition 1");
        let mut message = message.to_vec();
        assert_eq!(message[8 + 17], 1, "steps in hours");
        message[8 + 13..8 + 17].copy_from_slice(&[month, day, hour, 0]);
        message[8 + 18] = step;
        changed.extend(message);
    }
    changed
}
