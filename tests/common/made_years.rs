//! A record of winds made by a test: months of NetCDF 3 files in which the wind of a day is the same
//! everywhere, so that what a flight does can be written down.

#![allow(dead_code, reason = "each test file uses a part of it")]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a helper of a test may fail as the test itself may"
)]

use std::path::{Path, PathBuf};

use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};

/// Levels, hPa, and their heights, m (geopotential, about those of the standard atmosphere).
pub const LEVELS: [(f32, f32); 5] = [
    (1000.0, 110.0),
    (700.0, 3_012.0),
    (300.0, 9_164.0),
    (100.0, 16_180.0),
    (30.0, 23_849.0),
];
/// Points of a file: latitudes and longitudes, degrees.
pub const LATITUDES: [f32; 4] = [37.0, 39.0, 41.0, 43.0];
pub const LONGITUDES: [f32; 4] = [-6.0, -4.0, -2.0, 0.0];

/// The wind of a day: speed, m/s, and where it blows to, degrees.
pub type Wind = (f64, f64);

/// Writes a file with the winds of some days, at 00, 06, 12 and 18 UTC of each.
pub fn write(path: &Path, days: &[(Date, Wind)]) {
    let times: Vec<(Timestamp, Wind)> = days
        .iter()
        .flat_map(|&(date, wind)| {
            [0, 6, 12, 18].map(|hour| {
                let at = TimeZone::UTC.to_timestamp(date.at(hour, 0, 0, 0)).unwrap();
                (at, wind)
            })
        })
        .collect();
    std::fs::write(path, netcdf(&times)).unwrap();
}

/// A month of days from `first` on, or fewer, written into a folder as YYYY-MM.nc.
pub fn write_month(folder: &Path, first: Date, wind: impl Fn(Date) -> Wind) -> PathBuf {
    let days: Vec<(Date, Wind)> = first
        .series(1.day())
        .take_while(|date| date.month() == first.month())
        .map(|date| (date, wind(date)))
        .collect();
    let path = folder.join(format!("{:04}-{:02}.nc", first.year(), first.month()));
    write(&path, &days);
    path
}

struct Bytes(Vec<u8>);

impl Bytes {
    fn number(&mut self, n: usize) {
        self.0.extend((n as u32).to_be_bytes());
    }

    fn name(&mut self, text: &str) {
        self.number(text.len());
        self.0.extend(text.as_bytes());
        self.0.resize(self.0.len().next_multiple_of(4), 0);
    }

    fn texts(&mut self, attributes: &[(&str, &str)]) {
        self.number(12);
        self.number(attributes.len());
        for (name, value) in attributes {
            self.name(name);
            self.number(2);
            self.name(value);
        }
    }
}

/// Dimensions, attributes and big-endian values of a variable.
type Variable<'a> = (&'a str, Vec<usize>, Vec<(&'a str, &'a str)>, usize, Vec<u8>);

/// The classic format ("NetCDF Classic Format Specification", Unidata): header, then each variable.
fn netcdf(times: &[(Timestamp, Wind)]) -> Vec<u8> {
    let float = |values: &[f32]| {
        values
            .iter()
            .flat_map(|v| v.to_be_bytes())
            .collect::<Vec<u8>>()
    };
    let hours: Vec<u8> = times
        .iter()
        .flat_map(|(at, _)| (at.as_second() as f64 / 3_600.0).to_be_bytes())
        .collect();
    let points = LATITUDES.len() * LONGITUDES.len();
    let field = |value: &dyn Fn(Wind, usize) -> f32| {
        let mut bytes = Vec::new();
        for (_, wind) in times {
            for level in 0..LEVELS.len() {
                let v = value(*wind, level).to_be_bytes();
                (0..points).for_each(|_| bytes.extend(v));
            }
        }
        bytes
    };
    let east = field(&|(speed, to), _| (speed * to.to_radians().sin()) as f32);
    let north = field(&|(speed, to), _| (speed * to.to_radians().cos()) as f32);
    let height = field(&|_, level| LEVELS[level].1);
    let all = vec![0, 1, 2, 3];
    let variables: Vec<Variable> = vec![
        (
            "time",
            vec![0],
            vec![
                ("units", "hours since 1970-01-01 00:00:00"),
                ("standard_name", "time"),
            ],
            6,
            hours,
        ),
        (
            "level",
            vec![1],
            vec![("units", "hPa"), ("standard_name", "air_pressure")],
            5,
            float(&LEVELS.map(|l| l.0)),
        ),
        (
            "latitude",
            vec![2],
            vec![("units", "degrees_north"), ("standard_name", "latitude")],
            5,
            float(&LATITUDES),
        ),
        (
            "longitude",
            vec![3],
            vec![("units", "degrees_east"), ("standard_name", "longitude")],
            5,
            float(&LONGITUDES),
        ),
        (
            "u",
            all.clone(),
            vec![("units", "m s-1"), ("standard_name", "eastward_wind")],
            5,
            east,
        ),
        (
            "v",
            all.clone(),
            vec![("units", "m s-1"), ("standard_name", "northward_wind")],
            5,
            north,
        ),
        (
            "gh",
            all,
            vec![("units", "m"), ("standard_name", "geopotential_height")],
            5,
            height,
        ),
    ];
    let dimensions = [
        ("time", times.len()),
        ("level", LEVELS.len()),
        ("latitude", LATITUDES.len()),
        ("longitude", LONGITUDES.len()),
    ];
    let header = |begin: usize| {
        let mut bytes = Bytes(b"CDF\x01".to_vec());
        bytes.number(0);
        bytes.number(10);
        bytes.number(dimensions.len());
        for (name, length) in dimensions {
            bytes.name(name);
            bytes.number(length);
        }
        bytes.number(0);
        bytes.number(0);
        bytes.number(11);
        bytes.number(variables.len());
        let mut at = begin;
        for (name, along, attributes, kind, values) in &variables {
            bytes.name(name);
            bytes.number(along.len());
            along.iter().for_each(|&d| bytes.number(d));
            bytes.texts(attributes);
            bytes.number(*kind);
            bytes.number(values.len());
            bytes.number(at);
            at += values.len();
        }
        bytes.0
    };
    let length = header(0).len();
    let mut bytes = header(length);
    variables.iter().for_each(|v| bytes.extend(&v.4));
    bytes
}
