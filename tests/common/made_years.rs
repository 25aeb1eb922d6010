//! A record of winds made by a test: months of NetCDF 3 files in which the wind of a day is the same
//! everywhere, so that what a flight does can be written down.

#![allow(dead_code, reason = "each test file uses a part of it")]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a helper of a test may fail as the test itself may"
)]

#[path = "netcdf.rs"]
mod netcdf;

use std::path::{Path, PathBuf};

use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};

use netcdf::{Attribute, Variable, netcdf};

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

/// Which forecast a file holds.
#[derive(Clone, Copy)]
pub enum Whose {
    Only,
    Member(u8),
    Mean,
}

/// Writes a file with the winds of some days, at 00, 06, 12 and 18 UTC of each.
pub fn write(path: &Path, days: &[(Date, Wind)]) {
    write_of(path, days, Whose::Only);
}

/// The same for an ensemble.
pub fn write_of(path: &Path, days: &[(Date, Wind)], whose: Whose) {
    let times: Vec<(Timestamp, Wind)> = days
        .iter()
        .flat_map(|&(date, wind)| {
            [0, 6, 12, 18].map(|hour| {
                let at = TimeZone::UTC.to_timestamp(date.at(hour, 0, 0, 0)).unwrap();
                (at, wind)
            })
        })
        .collect();
    std::fs::write(path, bytes(&times, whose)).unwrap();
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

/// Writes a file with the height of the ground, m, the same everywhere, for one time.
pub fn write_ground(path: &Path, date: Date, altitude_m: f64) {
    let at = TimeZone::UTC.to_timestamp(date.at(0, 0, 0, 0)).unwrap();
    let points = LATITUDES.len() * LONGITUDES.len();
    let height = [("units", "m"), ("standard_name", "surface_altitude")];
    let along = ["time", "latitude", "longitude"];
    let axis = |name, along, unit, values: Vec<f64>| {
        Variable::new(name, along, &[("units", unit)], values)
    };
    let degrees = |values: [f32; 4]| values.map(f64::from).to_vec();
    let [since, north, east] = ["hours since 1970-01-01", "degrees_north", "degrees_east"];
    let hours = vec![at.as_second() as f64 / 3_600.0];
    let file = netcdf(
        &[("time", 1), ("latitude", 4), ("longitude", 4)],
        &[
            axis("time", &["time"], since, hours),
            axis("latitude", &["latitude"], north, degrees(LATITUDES)),
            axis("longitude", &["longitude"], east, degrees(LONGITUDES)),
            Variable::new("z", &along, &height, vec![altitude_m; points]),
        ],
    );
    std::fs::write(path, file).unwrap();
}

/// A file of some times, the wind of each the same everywhere.
fn bytes(times: &[(Timestamp, Wind)], whose: Whose) -> Vec<u8> {
    let points = LATITUDES.len() * LONGITUDES.len();
    let field = |value: &dyn Fn(Wind, usize) -> f64| {
        let mut values = Vec::new();
        for (_, wind) in times {
            for level in 0..LEVELS.len() {
                values.extend(std::iter::repeat_n(value(*wind, level), points));
            }
        }
        values
    };
    let hours = times.iter().map(|(at, _)| at.as_second() as f64 / 3_600.0);
    let east = field(&|(speed, to), _| speed * to.to_radians().sin());
    let north = field(&|(speed, to), _| speed * to.to_radians().cos());
    let height = field(&|_, level| f64::from(LEVELS[level].1));
    let along = |name, along, unit, standard_name, values: Vec<f64>| {
        let attributes = [("units", unit), ("standard_name", standard_name)];
        Variable::new(name, along, &attributes, values)
    };
    let all = |name, unit, standard_name, values| {
        let dimensions = &["time", "level", "latitude", "longitude"];
        let mut field = along(name, dimensions, unit, standard_name, values);
        let says = match whose {
            Whose::Only => None,
            Whose::Member(_) => Some(("coordinates", Attribute::Text("number"))),
            Whose::Mean => Some(("GRIB_dataType", Attribute::Text("em"))),
        };
        field.attributes.extend(says);
        field
    };
    let number = match whose {
        Whose::Member(number) => f64::from(number),
        Whose::Only | Whose::Mean => 0.0,
    };
    let (since, level) = (
        "hours since 1970-01-01 00:00:00",
        LEVELS.map(|level| level.0),
    );
    let degrees = |values: [f32; 4]| values.map(f64::from).to_vec();
    let (lats, lons) = (degrees(LATITUDES), degrees(LONGITUDES));
    netcdf(
        &[
            ("time", times.len()),
            ("level", LEVELS.len()),
            ("latitude", LATITUDES.len()),
            ("longitude", LONGITUDES.len()),
        ],
        &[
            along("time", &["time"], since, "time", hours.collect()),
            along("number", &[], "1", "realization", vec![number]),
            along(
                "level",
                &["level"],
                "hPa",
                "air_pressure",
                level.map(f64::from).to_vec(),
            ),
            along("latitude", &["latitude"], "degrees_north", "latitude", lats),
            along(
                "longitude",
                &["longitude"],
                "degrees_east",
                "longitude",
                lons,
            ),
            all("u", "m s-1", "eastward_wind", east),
            all("v", "m s-1", "northward_wind", north),
            all("gh", "m", "geopotential_height", height),
        ],
    )
}
