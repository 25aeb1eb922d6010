//! BUFKIT files: each column is what is printed, and a run is a forecast by the hour.
//!
//! Expected values were read from the files by eye, or taken from their numbers here without the
//! reader; provenance is in tests/data/soundings/README.md.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::print_stdout, reason = "figures for whoever runs the tests")]

#[path = "common/program.rs"]
mod program;

use std::path::{Path, PathBuf};

use program::{stderr, stdout, windfall};
use serde_json::Value;
use windfall::atmosphere::Geopotential;
use windfall::sources::read_soundings;
use windfall::wind::sounding::{Level, Sounding};

const KNOT_M_S: f64 = 1852.0 / 3600.0;

/// File, values of a level, and which of them is the height.
const FILES: [(&str, usize); 3] = [
    ("bufkit_gfs_missoula.buf", 9),
    ("bufkit_nam_missoula.buf", 10),
    ("bufkit_hrrr_los_angeles.buf", 10),
];

fn path(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/soundings")
        .join(name)
}

fn read(name: &str) -> Vec<Sounding> {
    read_soundings(&path(name), None).unwrap()
}

fn time(sounding: &Sounding) -> String {
    sounding.time.unwrap().to_string()
}

/// The numbers of each profile as they are printed, `width` to a level.
fn printed(name: &str, width: usize) -> Vec<Vec<Vec<f64>>> {
    let text = std::fs::read_to_string(path(name)).unwrap();
    let profiles = text.split("HGHT").skip(2);
    let of_profile = |part: &str| {
        let end = part.find("ST").unwrap_or(part.len());
        let numbers: Vec<f64> = part[..end]
            .split_ascii_whitespace()
            .map(|word| word.parse().unwrap())
            .collect();
        assert_eq!(numbers.len() % width, 0);
        numbers.chunks(width).map(<[f64]>::to_vec).collect()
    };
    profiles.map(of_profile).collect()
}

/// A level holds what is printed of it: PRES TMPC TMWC DWPC THTE DRCT SKNT OMEG ... HGHT.
fn check(level: &Level, printed: &[f64], lat: f64) {
    let height = Geopotential(printed[printed.len() - 1]).altitude_m(lat);
    assert!((level.altitude_m - height).abs() < 1e-6);
    assert!((level.pressure_pa.unwrap() - 100.0 * printed[0]).abs() < 1e-6);
    assert!((level.temperature_k.unwrap() - 273.15 - printed[1]).abs() < 1e-9);
    let (speed, from) = (printed[6] * KNOT_M_S, printed[5].to_radians());
    let wind = level.wind.unwrap();
    assert!((wind.east_m_s + speed * from.sin()).abs() < 1e-9);
    assert!((wind.north_m_s + speed * from.cos()).abs() < 1e-9);
}

#[test]
fn a_column_is_the_profile_that_is_printed() {
    let mut levels = 0;
    for (name, width) in FILES {
        let (columns, printed) = (read(name), printed(name, width));
        assert_eq!((columns.len(), printed.len()), (3, 3), "{name}");
        for (column, printed) in columns.iter().zip(printed) {
            let lat = column.position.unwrap().lat_deg;
            // Below the profile are the ground and the wind at 10 m.
            assert_eq!(column.levels.len(), printed.len() + 2, "{name}");
            let in_air = |l: &&Level| l.pressure_pa.is_some() && l.wind.is_some();
            let profile = column.levels.iter().filter(in_air);
            profile.zip(&printed).for_each(|(l, p)| check(l, p, lat));
            levels += printed.len();
        }
    }
    assert_eq!(levels, 3 * (64 + 60 + 50));
}

#[test]
fn the_values_at_the_ground_are_used() {
    // Missoula, 2017-04-01 06:00: SELV 972, PRES 909.40, T2MS 1.34, UWND 1.10, VWND 0.70.
    let s = &read("bufkit_gfs_missoula.buf")[0];
    let at = |h: f64| Geopotential(h).altitude_m(46.92);
    let [ground, ten_metres] = [s.levels[0], s.levels[1]];
    assert!((ground.altitude_m - at(972.0)).abs() < 1e-6 && ground.wind.is_none());
    assert!((ten_metres.altitude_m - at(982.0)).abs() < 1e-6);
    let wind = ten_metres.wind.unwrap();
    let text = std::fs::read_to_string(path("bufkit_gfs_missoula.buf")).unwrap();
    let table: Vec<&str> = text.split("\n727730 170401/0600 ").collect();
    let row: Vec<f64> = table[1]
        .split_ascii_whitespace()
        .take(21)
        .map(|w| w.parse().unwrap())
        .collect();
    // Without STN and the time: PMSL PRES SKTC STC1 EVAP P03M C03M SWEM LCLD MCLD HCLD UWND VWND T2MS.
    assert_eq!([wind.east_m_s, wind.north_m_s], [row[11], row[12]]);
    assert!((ground.temperature_k.unwrap() - 273.15 - row[13]).abs() < 1e-9);
    assert!((ground.pressure_pa.unwrap() - 100.0 * row[1]).abs() < 1e-6);
}

#[test]
fn runs_and_hours_are_known_from_the_file() {
    let hours = |name| -> Vec<(String, f64)> {
        let all = read(name);
        let lead = |s: &Sounding| s.model.as_ref().unwrap().lead_s.unwrap() / 3_600.0;
        all.iter().map(|s| (time(s), lead(s))).collect()
    };
    let at = |time: &str, lead| (time.to_owned(), lead);
    assert_eq!(
        hours("bufkit_hrrr_los_angeles.buf"),
        [
            at("2020-12-30T18:00:00Z", 0.0),
            at("2020-12-31T12:00:00Z", 18.0),
            at("2021-01-01T00:00:00Z", 30.0)
        ]
    );
    assert_eq!(
        hours("bufkit_gfs_missoula.buf")[1],
        at("2017-04-01T09:00:00Z", 3.0)
    );
    assert_eq!(read("bufkit_hrrr_los_angeles.buf")[0].name, "KLAX 722950");
}

#[test]
fn a_value_that_is_missing_costs_its_level() {
    // A file from which one value was taken: the height of the first profile's highest level.
    let all = read("bufkit_gfs_missoula_damaged.buf");
    assert_eq!(all[0].levels.len() + 1, all[1].levels.len());
    assert!(
        all[0].tally.left_out[0].contains("1 level "),
        "{:?}",
        all[0].tally
    );
    assert!(all[1].tally.left_out.is_empty());
}

/// A plan at Missoula with a file of winds.
fn plan(name: &str, release: &str) -> String {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("bufkit");
    std::fs::create_dir_all(&folder).unwrap();
    let text = format!(
        r#"[flight]
release = {release}
[site]
lat = 46.92
lon = -114.08
[wind]
files = ['{}']
[ascent]
rate = "5 m/s"
burst_altitude = "28 km"
[descent]
landing_speed = "5 m/s"
"#,
        path("bufkit_gfs_missoula.buf").display()
    );
    let path = folder.join(name);
    std::fs::write(&path, text).unwrap();
    path.display().to_string()
}

fn json(command: &str, args: &[&str]) -> Value {
    // The plan lies elsewhere than its winds.
    let of_plan = command != "winds" || args.contains(&"--plan");
    let outside = of_plan.then_some("--outside");
    let args: Vec<&str> = args.iter().copied().chain(outside).collect();
    let output = windfall(command, &args);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    serde_json::from_slice(&output.stdout).unwrap()
}

#[test]
fn a_run_is_a_forecast_by_the_hour() {
    let plan = plan("between.toml", "2017-04-01T10:30:00Z");
    let zone = json("zone", &[&plan, "--draws", "64", "--json"]);
    let source = &zone["facts"]["wind"]["source"];
    assert_eq!(
        (&source["soundings"], &source["stations"]),
        (&3.into(), &1.into())
    );
    assert_eq!(source["model"]["run"], "2017-04-01T06:00:00Z");
    // Between two hours the winds are of the release, as those of a grid are.
    assert_eq!(source["age_s"], 0.0);
    let table = stdout(&windfall("zone", &[&plan, "--draws", "64", "--outside"]));
    let table = table.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        table.contains("3 forecast profiles (BUFKIT) of one station"),
        "{table}"
    );
    // After the last hour they are of another time, and so more uncertain.
    let late = self::plan("late.toml", "2017-04-01T13:30:00Z");
    let late = json("zone", &[&late, "--draws", "64", "--json"]);
    assert_eq!(late["facts"]["wind"]["source"]["age_s"], 5_400.0);
    let sigma = |zone: &Value| zone["facts"]["wind"]["drift_sigma_m"].as_f64().unwrap();
    println!(
        "{:.0} m between hours, {:.0} m after them",
        sigma(&zone),
        sigma(&late)
    );
    assert!(sigma(&late) > sigma(&zone));
}

#[test]
fn the_models_own_wind_at_10_m_is_the_wind_at_the_ground() {
    let plan = plan("days.toml", "2017-04-01T06:00:00Z");
    let args = [
        &plan,
        "--hours",
        "00:00-23:00",
        "--every",
        "3h",
        "--draws",
        "20",
        "--json",
    ];
    let days = json("days", &args.map(|a| a as &str));
    let text = days.to_string();
    let rows = days["rows"].as_array().unwrap();
    let speeds: Vec<f64> = rows
        .iter()
        .flat_map(|row| row["day"]["surface"].as_array().unwrap())
        .map(|at| at["speed_m_s"].as_f64().unwrap())
        .collect();
    // 06 UTC: UWND 1.10, VWND 0.60; the others are read in the same way.
    let s = &read("bufkit_gfs_missoula.buf");
    for sounding in s {
        let own = sounding.wind_at_10_m.unwrap().speed_m_s();
        // JSON has ten digits.
        assert!(
            speeds.iter().any(|speed| (speed - own).abs() < 1e-8),
            "{own} {speeds:?}"
        );
    }
    assert!(
        text.contains("ten_metres") && !text.contains("brought_down"),
        "{text}"
    );
}

#[test]
fn of_two_runs_for_the_same_hour_the_newer_counts() {
    let [old, new] = ["bufkit_gfs_missoula_damaged.buf", "bufkit_gfs_missoula.buf"].map(path);
    let text = std::fs::read_to_string(&old).unwrap();
    // The run of midnight made to reach the hours of the next: 6 and 9 o'clock, six hours ahead.
    let later = text
        .replace("170401/0000", "170401/0600")
        .replace("170401/0300", "170401/0900")
        .replace("STIM = 3", "STIM = 9")
        .replace("STIM = 0", "STIM = 6");
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("bufkit");
    std::fs::create_dir_all(&folder).unwrap();
    let old = folder.join("old.buf");
    std::fs::write(&old, later).unwrap();
    let plan = plan("two.toml", "2017-04-01T07:00:00Z");
    let shown = |files: [&Path; 2]| {
        let [a, b] = files.map(|f| f.to_str().unwrap());
        json("winds", &[a, b, "--plan", &plan, "--json"])[0]["sounding"].clone()
    };
    let alone =
        json("winds", &[new.to_str().unwrap(), "--plan", &plan, "--json"])[0]["sounding"].clone();
    assert_eq!(shown([&old, &new])["levels"], alone["levels"]);
    assert_eq!(shown([&new, &old])["levels"], alone["levels"]);
    assert_eq!(shown([&old, &new])["model"]["lead_s"], 0.0);
}

#[test]
fn the_winds_of_a_plan_are_the_ones_that_are_drawn() {
    let plan = plan("drawn.toml", "2017-04-01T10:30:00Z");
    let picture = Path::new(env!("CARGO_TARGET_TMPDIR")).join("bufkit/winds.svg");
    let shown = json(
        "winds",
        &[
            "--plan",
            &plan,
            "--json",
            "--out",
            picture.to_str().unwrap(),
        ],
    );
    let column = &shown[0]["sounding"];
    assert_eq!(column["time"], "2017-04-01T10:30:00Z");
    // Halfway between 9 and 12 o'clock: at each level of one, half of both.
    let [nine, twelve] = [1, 2].map(|i| read("bufkit_gfs_missoula.buf").remove(i));
    let at = |s: &Sounding, z: f64| {
        windfall::wind::column::Column::from_sounding(s)
            .winds
            .at(z)
            .east_m_s
    };
    let levels = column["levels"].as_array().unwrap();
    for level in levels {
        let z = level["altitude_m"].as_f64().unwrap();
        let half = 0.5 * (at(&nine, z) + at(&twelve, z));
        assert!((level["wind"]["east_m_s"].as_f64().unwrap() - half).abs() < 1e-6);
    }
    assert!(levels.len() > 100);
    assert!(
        std::fs::read_to_string(&picture)
            .unwrap()
            .contains("2017-04-01 10:30")
    );

    // Without a plan or a time nobody knows which of several.
    let file = path("bufkit_gfs_missoula.buf");
    let file = file.to_str().unwrap();
    let output = windfall("winds", &[file, "--out", picture.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(1));
    assert!(
        stderr(&output).contains("--plan PLAN.toml"),
        "{}",
        stderr(&output)
    );
    let near = json("winds", &[file, "--at", "2017-04-01T10:40:00Z", "--json"]);
    assert_eq!(near[0]["sounding"]["time"], "2017-04-01T12:00:00Z");
}

#[test]
fn many_ascents_are_listed() {
    let files = FILES.map(|(name, _)| path(name).display().to_string());
    let text = stdout(&windfall("winds", &[&files[0], &files[2]]));
    assert_eq!(text.matches("KLAX 722950").count(), 3, "{text}");
    assert!(
        text.contains("+ 30 h") && text.contains("--at TIME"),
        "{text}"
    );
    let all = stdout(&windfall("winds", &[&files[0], &files[2], "--all"]));
    assert!(all.lines().count() > 300);
}
