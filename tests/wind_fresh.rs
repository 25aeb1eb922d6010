//! What a fresh sounding is wrong by: whole flights fall in the winds of their own way up.
//!
//! Source of the flights: tests/data/flights/whole/README.md, and Barbados in
//! tests/data/flights/README.md. Nothing of the wind's error was fitted to them.
//!
//! Definitions. Boundaries 500 m apart are crossed at times and places linear in altitude between
//! fixes, on the way up those higher than all before, on the way down those lower. The wind of a
//! layer is its displacement on the way up over the time; where no fix lies within 800 m of a
//! boundary the layer is left out, as are flights with fewer than eight layers.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::print_stdout, reason = "figures for whoever runs the tests")]

mod common;
#[path = "common/grids.rs"]
mod grids;
#[path = "common/wind_series.rs"]
mod wind_series;

use std::path::Path;

use common::MeasuredFlight;
use jiff::Timestamp;
use wind_series::{Judged, judge};
use windfall::wind::column::WindProfile;
use windfall::wind::error::WindError;
use windfall::wind::error_process::WindErrorProcess;
use windfall::wind::sounding::Wind;

const LAYER_M: f64 = 500.0;
const NEAR_M: f64 = 800.0;

/// Seconds, latitude and longitude (degrees), altitude (m).
type Fix = [f64; 4];

fn whole_flights() -> Vec<(String, Vec<Fix>)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/flights/whole");
    let mut files: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|e| e == "csv"))
        .collect();
    files.sort();
    let mut flights: Vec<(String, Vec<Fix>)> = files
        .iter()
        .map(|path| {
            let name = path.file_stem().unwrap().to_string_lossy().into_owned();
            let fix = |row: csv::StringRecord| -> Fix {
                let time: Timestamp = row[0].parse().unwrap();
                let number = |i: usize| row[i].parse().unwrap();
                [time.as_second() as f64, number(1), number(2), number(3)]
            };
            let mut reader = csv::Reader::from_path(path).unwrap();
            (name, reader.records().map(|r| fix(r.unwrap())).collect())
        })
        .collect();
    let barbados = MeasuredFlight::read("barbados_2019-02-10");
    let records = barbados.ascent.iter().chain(&barbados.descent);
    let fixes = records.map(|r| [r.time_s, r.place.lat_deg, r.place.lon_deg, r.altitude_m]);
    flights.push((barbados.name.clone(), fixes.collect()));
    flights
}

/// The fixes that are higher than all before them.
fn rising(fixes: impl Iterator<Item = Fix>) -> Vec<Fix> {
    let mut rising: Vec<Fix> = Vec::new();
    for fix in fixes {
        if rising.last().is_none_or(|last| fix[3] > last[3] + 1.0) {
            rising.push(fix);
        }
    }
    rising
}

/// Time and place at an altitude, if fixes are near.
fn crossing(rising: &[Fix], altitude_m: f64) -> Option<[f64; 3]> {
    let above = rising.partition_point(|f| f[3] <= altitude_m);
    let (a, b) = (rising.get(above.checked_sub(1)?)?, rising.get(above)?);
    let near = (altitude_m - a[3]).min(b[3] - altitude_m) < NEAR_M;
    let share = (altitude_m - a[3]) / (b[3] - a[3]);
    near.then(|| [0, 1, 2].map(|i| a[i] + share * (b[i] - a[i])))
}

/// A layer: its middle (m), the wind on the way up, seconds and metres east and north on the way
/// down.
struct Layer {
    middle_m: f64,
    up: Wind,
    down_s: f64,
    down_m: [f64; 2],
}

fn layers(fixes: &[Fix]) -> Vec<Layer> {
    let top = (0..fixes.len())
        .max_by(|a, b| fixes[*a][3].total_cmp(&fixes[*b][3]))
        .unwrap();
    let up = rising(fixes[..=top].iter().copied());
    let down = rising(fixes[top..].iter().rev().copied());
    let metres = |a: [f64; 3], b: [f64; 3]| {
        let north = 111_200.0 * (b[1] - a[1]);
        let east = 111_200.0 * (b[2] - a[2]) * a[1].to_radians().cos();
        [east, north]
    };
    (0..80)
        .map(|k| LAYER_M * f64::from(k))
        .filter_map(|low| {
            let ([up_low, up_high], [down_low, down_high]) = (
                [crossing(&up, low)?, crossing(&up, low + LAYER_M)?],
                [crossing(&down, low)?, crossing(&down, low + LAYER_M)?],
            );
            let up_m = metres(up_low, up_high);
            let up_s = up_high[0] - up_low[0];
            let wind = Wind {
                east_m_s: up_m[0] / up_s,
                north_m_s: up_m[1] / up_s,
            };
            let possible = up_s > 0.0 && wind.speed_m_s() < 100.0;
            possible.then(|| Layer {
                middle_m: low + 0.5 * LAYER_M,
                up: wind,
                down_s: down_low[0] - down_high[0],
                down_m: metres(down_high, down_low),
            })
        })
        .collect()
}

#[test]
fn a_fresh_sounding_holds_what_it_says() {
    let mut judged = Vec::new();
    for (name, fixes) in whole_flights() {
        let layers = layers(&fixes);
        if layers.len() < 8 {
            println!("{name}: {} layers, left out", layers.len());
            continue;
        }
        let winds: Vec<(f64, Wind)> = layers.iter().map(|l| (l.middle_m, l.up)).collect();
        let error = WindError::of_sounding(&WindProfile::new(&winds), fixes[0][1], 0.0, 0.0);
        // The process wants all layers between: those left out are passed in no time.
        let lowest = layers[0].middle_m;
        let count = ((layers[layers.len() - 1].middle_m - lowest) / LAYER_M) as usize + 1;
        let mut seconds = vec![0.0; count];
        let (mut used, mut met) = ([0.0; 2], [0.0; 2]);
        for layer in &layers {
            seconds[((layer.middle_m - lowest) / LAYER_M) as usize] = layer.down_s;
            for (i, wind) in [layer.up.east_m_s, layer.up.north_m_s]
                .into_iter()
                .enumerate()
            {
                used[i] += wind * layer.down_s;
                met[i] += layer.down_m[i];
            }
        }
        let heights: Vec<f64> = (0..count).map(|k| lowest + LAYER_M * k as f64).collect();
        let sigma_m = WindErrorProcess::new(&error, &heights, &seconds).drift_sigma_m();
        let [east, north] = [0, 1].map(|i| (met[i] - used[i]) / 1e3);
        println!(
            "{name}: off {east:+.2} {north:+.2} km, said {:.2} a component",
            sigma_m / 1e3
        );
        // Two flights of one place and day are one weather.
        let place = format!("{:.0} {:.0}", fixes[0][1], fixes[0][2]);
        let day = (fixes[0][0] / 86_400.0) as i64;
        judged.push(Judged::new(&place, day, used, met, sigma_m));
    }
    let verdict = judge(&judged);
    verdict.print("fresh");
    assert!(verdict.flights >= 13 && verdict.independent >= 11);
    verdict.assert_held_at_least("fresh");
    assert!(verdict.said_m < 1.5 * verdict.off_m);
}
