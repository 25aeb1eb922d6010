//! What several tests share: measured flights, printed numbers, climbs.

#![allow(dead_code, reason = "each test file uses a part of it")]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a helper of a test may fail as the test itself may"
)]

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use windfall::atmosphere::{AirLevel, AirProfile, Geopotential, saturation_vapour_pressure_pa};
use windfall::geodesy::Position;
use windfall::units::ZERO_CELSIUS_K;
use windfall::wind::column::Column;
use windfall::wind::sounding::Wind;

/// Asserts that `value` is the number printed in a table: within 1e-5 of it or half a unit of its
/// last digit, whichever is larger.
pub fn assert_printed(value: f64, printed: &str, what: &str) {
    let wanted: f64 = printed.parse().expect("a number");
    let allowed = (1e-5 * wanted.abs()).max(half_last_digit(printed));
    assert!(
        (value - wanted).abs() <= allowed,
        "{what}: {value}, printed {printed}"
    );
}

/// Asserts that `value`, rounded, is the number printed: within half a unit of its last digit and
/// the last bits of a float.
pub fn assert_digits(value: f64, printed: &str, what: &str) {
    let wanted: f64 = printed.parse().expect("a number");
    let allowed = half_last_digit(printed) + 1e-12 * wanted.abs();
    assert!(
        (value - wanted).abs() <= allowed,
        "{what}: {value}, printed {printed}"
    );
}

/// Half a unit of the last digit of a printed number such as "1013", "0.05", "1.78938e-5".
fn half_last_digit(printed: &str) -> f64 {
    let (mantissa, exponent) = printed.split_once('e').unwrap_or((printed, "0"));
    let decimals = mantissa.split_once('.').map_or(0, |(_, d)| d.len());
    let exponent: i32 = exponent.parse().expect("an exponent");
    0.5 * 10f64.powi(exponent - decimals as i32)
}

/// One record of a measured flight.
#[derive(Debug, Clone, Copy)]
pub struct Record {
    pub time_s: f64,
    /// Geometric, from the recorded geopotential height at the flight's latitude.
    pub altitude_m: f64,
    pub pressure_pa: f64,
    pub temperature_k: Option<f64>,
    pub vapour_pressure_pa: f64,
    pub wind: Wind,
    pub place: Position,
}

/// A measured flight from `tests/data/flights`; where each comes from stands in the README there.
#[derive(Debug, Clone)]
pub struct MeasuredFlight {
    pub name: String,
    pub ascent: Vec<Record>,
    /// Only Barbados has one.
    pub descent: Vec<Record>,
}

pub fn flights_dir() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/flights")
}

impl MeasuredFlight {
    pub fn read(name: &str) -> MeasuredFlight {
        let path = flights_dir().join(format!("{name}.csv"));
        let mut reader = csv::ReaderBuilder::new()
            .comment(Some(b'#'))
            .from_path(&path)
            .unwrap_or_else(|e| panic!("{}: {e}", path.display()));
        let headers = reader.headers().expect("a header").clone();
        let column: HashMap<String, usize> =
            headers.iter().map(str::to_owned).zip(0usize..).collect();
        let mut flight = MeasuredFlight {
            name: name.to_owned(),
            ascent: Vec::new(),
            descent: Vec::new(),
        };
        for row in reader.records() {
            let row = row.expect("a row");
            let text = |key: &str| column.get(key).and_then(|&i| row.get(i));
            let record = record(&|key| text(key).and_then(|t| t.parse().ok()));
            match text("phase") {
                Some("descent") => flight.descent.push(record),
                _ => flight.ascent.push(record),
            }
        }
        assert!(flight.ascent.len() > 100, "{name} has too few records");
        flight
    }

    /// All twelve flights from Darwin, in the order of release.
    pub fn all_darwin() -> Vec<MeasuredFlight> {
        DARWIN
            .iter()
            .map(|t| MeasuredFlight::read(&format!("darwin_{t}")))
            .collect()
    }

    /// The records of the ascent that are higher than all before.
    pub fn rising(&self) -> Vec<Record> {
        let mut top = f64::NEG_INFINITY;
        let mut rising = self.ascent.clone();
        rising.retain(|r| {
            let higher = r.altitude_m > top;
            top = top.max(r.altitude_m);
            higher
        });
        rising
    }

    /// The air of the ascent; without temperatures, the standard one.
    pub fn air(&self) -> AirProfile {
        let levels: Vec<AirLevel> = self.rising().iter().filter_map(air_level).collect();
        AirProfile::from_levels(&levels)
    }
}

/// Release times of the Darwin flights.
pub const DARWIN: [&str; 12] = [
    "2006-01-19T0503",
    "2006-01-19T1120",
    "2006-01-19T1633",
    "2006-01-19T2316",
    "2006-01-20T0438",
    "2006-01-20T1119",
    "2006-01-20T1708",
    "2006-01-20T2315",
    "2006-01-21T0515",
    "2006-01-21T1116",
    "2006-01-21T1716",
    "2006-01-21T2316",
];

fn record(value: &dyn Fn(&str) -> Option<f64>) -> Record {
    let need = |key: &str| value(key).unwrap_or_else(|| panic!("no {key}"));
    let place =
        Position::new(need("latitude_deg"), need("longitude_deg")).expect("a place on earth");
    let temperature_k = value("temperature_C").map(|t| t + ZERO_CELSIUS_K);
    let vapour_pressure_pa = match (temperature_k, value("relative_humidity_%")) {
        (Some(t), Some(percent)) => percent / 100.0 * saturation_vapour_pressure_pa(t),
        _ => 0.0,
    };
    Record {
        time_s: need("time_s"),
        altitude_m: Geopotential(need("geopotential_height_m")).altitude_m(place.lat_deg),
        pressure_pa: 100.0 * need("pressure_hPa"),
        temperature_k,
        vapour_pressure_pa,
        wind: Wind::from_direction(need("wind_speed_m/s"), need("wind_direction_deg")),
        place,
    }
}

fn air_level(r: &Record) -> Option<AirLevel> {
    Some(AirLevel {
        altitude_m: r.altitude_m,
        temperature_k: r.temperature_k?,
        pressure_pa: r.pressure_pa,
        vapour_pressure_pa: r.vapour_pressure_pa,
    })
}

/// The column of winds of records, lowest first, altitudes strictly rising.
pub fn column(records: &[Record], air: AirProfile) -> Column {
    let winds: Vec<(f64, Wind)> = records.iter().map(|r| (r.altitude_m, r.wind)).collect();
    Column::from_winds(&winds, air)
}

/// Linear interpolation of y in points (x, y) with x strictly rising; `None` outside.
pub fn interpolate(points: &[(f64, f64)], x: f64) -> Option<f64> {
    let above = points.partition_point(|p| p.0 <= x);
    if above == 0 {
        return None;
    }
    let a = points[above - 1];
    match points.get(above) {
        Some(b) => Some(a.1 + (b.1 - a.1) * (x - a.0) / (b.0 - a.0)),
        None => (x == a.0).then_some(a.1),
    }
}

/// Isothermal air of scale height `scale_m` in geometric altitude, with the standard density at
/// sea level: rho = rho0 exp(-z / H). The air of several closed forms; its pressure falls alike,
/// p = rho R T, whatever gravity would say.
pub fn exponential_air(scale_m: f64) -> AirProfile {
    use windfall::atmosphere::{R_DRY_J_KG_K, RHO0_KG_M3};
    let temperature_k = 250.0;
    let levels: Vec<AirLevel> = (-10..=600)
        .map(|k| {
            let altitude_m = 100.0 * f64::from(k);
            AirLevel {
                altitude_m,
                temperature_k,
                pressure_pa: RHO0_KG_M3
                    * R_DRY_J_KG_K
                    * temperature_k
                    * (-altitude_m / scale_m).exp(),
                vapour_pressure_pa: 0.0,
            }
        })
        .collect();
    AirProfile::from_levels(&levels)
}
