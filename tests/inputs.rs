//! Files that hold less than they seem to: winds with holes or with directions of both signs, areas
//! drawn as lines, coordinates exchanged. What reading did is told, or the file is refused, and the
//! zone is as large as what is not known.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::print_stdout, reason = "figures for whoever runs the tests")]

#[path = "common/changed.rs"]
mod changed;
#[path = "common/program.rs"]
mod program;

use std::fs;
use std::process::Output;

use changed::Changed;
use program::{stderr, stdout, windfall};
use serde_json::Value;

const PLAN: &str = "samples/high-plains/plan.toml";
const WINDS: &str = "samples/high-plains/riverton-2026-02-05.csv";
const FILE: &str = "riverton-2026-02-05.csv";
/// Columns of the file.
const HEIGHT: usize = 4;
const FROM: usize = 8;

/// The sample with every row of its sounding changed, or left out where that gives `None`.
fn sample(row: impl Fn(Vec<String>) -> Option<Vec<String>>) -> Changed {
    let sample = Changed::of(PLAN, WINDS, &[]);
    let text = fs::read_to_string(WINDS).unwrap();
    let mut lines = text.lines();
    let mut changed = vec![lines.next().unwrap().to_owned()];
    let cells = lines.map(|line| line.split(',').map(str::to_owned).collect());
    changed.extend(
        cells
            .filter_map(row)
            .map(|cells: Vec<String>| cells.join(",")),
    );
    fs::write(sample.path(FILE), changed.join("\n") + "\n").unwrap();
    sample
}

fn holed(low_m: f64, high_m: f64) -> Changed {
    sample(|cells| {
        let height_m: f64 = cells[HEIGHT].parse().unwrap();
        (!(low_m..high_m).contains(&height_m)).then_some(cells)
    })
}

fn run(command: &str, args: &[&str]) -> String {
    let output = windfall(command, args);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    stdout(&output)
}

/// Four releases of the day of the sample's.
fn days(sample: &Changed) -> Output {
    let plan = sample.plan();
    let day = "2026-02-05";
    let args = [
        "--from", day, "--to", day, "--every", "6h", "--draws", "100",
    ];
    windfall("days", &[&[plan.as_str()], args.as_slice()].concat())
}

fn zone(sample: &Changed) -> Value {
    serde_json::from_str(&run("zone", &[&sample.plan(), "--json"])).unwrap()
}

fn place(at: &Value) -> [f64; 2] {
    let [lat, lon] = ["lat_deg", "lon_deg"].map(|key| at[key].as_f64().unwrap());
    [111_195.0 * lat.to_radians().cos() * lon, 111_195.0 * lat]
}

/// How many half axes of the 90 % ellipse a place lies from its centre; on its line it is one.
fn half_axes(zone: &Value, there: [f64; 2]) -> f64 {
    let ellipses = zone["zone"]["ellipses"].as_array().unwrap();
    let outer = ellipses
        .iter()
        .find(|e| e["shape"]["probability"] == 0.9 || e["probability"] == 0.9)
        .unwrap();
    let number = |key: &str| {
        let here = outer[key].as_f64().or(outer["shape"][key].as_f64());
        here.unwrap_or_else(|| panic!("{key}: {outer}"))
    };
    let center = place(&outer["center"]);
    let (east, north) = (there[0] - center[0], there[1] - center[1]);
    let (s, c) = number("azimuth_deg").to_radians().sin_cos();
    let along = (east * s + north * c) / number("semi_major_m");
    let across = (east * c - north * s) / number("semi_minor_m");
    along.hypot(across)
}

#[test]
fn a_sounding_with_a_hole_has_a_zone_that_holds_the_landing_of_the_whole_one() {
    let whole = zone(&sample(Some));
    let cleaned = |zone: &Value, list: &str| {
        let all = zone["zone"][list].as_array().unwrap().clone();
        all.into_iter().find(|said| said["code"] == "cleaned")
    };
    assert_eq!(cleaned(&whole, "notes"), None);
    let landing = place(&whole["zone"]["landing"]["position"]);
    for (low_m, high_m) in [
        (2_000.0, 30_000.0),
        (5_000.0, 20_000.0),
        (8_000.0, 14_000.0),
    ] {
        let sample = holed(low_m, high_m);
        let zone = zone(&sample);
        let half_axes = half_axes(&zone, landing);
        let wind = &zone["facts"]["wind"];
        println!(
            "without {low_m} to {high_m} m: landing of the whole sounding {half_axes:.2} half axes off, drift sd {:.0} m, of the whole {:.0} m",
            wind["drift_sigma_m"], whole["facts"]["wind"]["drift_sigma_m"]
        );
        assert!(half_axes < 1.0, "{half_axes}");
        let cleaning = cleaned(&zone, "notes").unwrap();
        assert!(cleaned(&zone, "warnings").is_some());
        let gap = &cleaning["gaps"][0];
        assert!(
            (gap["from_m"].as_f64().unwrap() - low_m).abs() < 400.0,
            "{gap}"
        );
        assert!(
            (gap["to_m"].as_f64().unwrap() - high_m).abs() < 400.0,
            "{gap}"
        );
        let says = "no wind is known between";
        let table = run("zone", &[&sample.plan()]);
        assert!(table.contains(says) && table.contains(FILE), "{table}");
        let first = table.split("\n\n").nth(1).unwrap();
        assert!(
            first.starts_with("WARNINGS") && first.contains(says),
            "{table}"
        );
    }
    // Days says it too, and so does the page of the briefing.
    let sample = holed(2_000.0, 30_000.0);
    let days = stdout(&days(&sample));
    assert!(days.contains("no wind is known between"), "{days}");
    let folder = sample.path("brief");
    let folder = folder.to_str().unwrap();
    run(
        "brief",
        &[&sample.plan(), "--draws", "100", "--out", folder],
    );
    let page = fs::read_to_string(sample.path("brief/brief.html")).unwrap();
    assert!(page.contains("no wind is known between"));
}

/// Winds of ten years before are not those of the day, and their hole is none of its flights.
#[test]
fn a_hole_in_a_sounding_that_is_not_flown_in_is_not_told() {
    let (whole, old) = (sample(Some), holed(5_000.0, 20_000.0));
    let [winds, before] = [&whole, &old].map(|sample| sample.path(FILE).display().to_string());
    let text = fs::read_to_string(&before).unwrap();
    fs::write(&before, text.replace("2026-02-", "2016-02-")).unwrap();
    let plan = whole.plan();
    let said = |day: &str| {
        let args = [
            &plan,
            "--wind",
            &winds,
            &before,
            "--from",
            day,
            "--to",
            day,
            "--every",
            "12h",
            "--hours",
            "12:00-12:00",
            "--draws",
            "40",
            "--json",
        ];
        let json: Value = serde_json::from_str(&run("days", &args)).unwrap();
        let warned = json["warnings"].as_array().unwrap().clone();
        let warned = warned.iter().any(|w| w["code"] == "cleaned");
        assert_eq!(warned, json["cleaning"].is_array(), "{json:#}");
        warned
    };
    assert_eq!(["2026-02-05", "2016-02-05"].map(said), [false, true]);
}

#[test]
fn directions_of_both_signs_change_nothing_but_a_note() {
    let whole = zone(&sample(Some));
    let signed = zone(&sample(|mut cells| {
        let from_deg: f64 = cells[FROM].parse().unwrap();
        if from_deg > 180.0 {
            cells[FROM] = (from_deg - 360.0).to_string();
        }
        Some(cells)
    }));
    assert_eq!(signed["zone"]["landing"], whole["zone"]["landing"]);
    let assumed = signed["zone"]["assumptions"].to_string();
    assert!(assumed.contains("signed_directions"), "{assumed}");
}

/// Rows of which most hold no wind are told.
#[test]
fn rows_that_were_lost_are_told() {
    let lost = sample(|mut cells| {
        let height_m: f64 = cells[HEIGHT].parse().unwrap();
        if (height_m / 300.0) as u32 % 2 == 1 {
            cells[FROM] = "777".to_owned();
        }
        Some(cells)
    });
    let table = run("zone", &[&lost.plan()]);
    // Wherever its lines break.
    let words = table.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        words.contains("impossible values are taken as missing"),
        "{table}"
    );
}

/// The sample with a layer of its own to keep out of.
fn with_keep_out(features: &str) -> Changed {
    let sample = Changed::of(
        PLAN,
        WINDS,
        &[(
            "[balloon]",
            "[ground]\nkeep_out = [\"reservoir.geojson\"]\n\n[balloon]",
        )],
    );
    let text = format!("{{\"type\":\"FeatureCollection\",\"features\":[{features}]}}");
    fs::write(sample.path("reservoir.geojson"), text).unwrap();
    sample
}

fn feature(kind: &str, coordinates: &str) -> String {
    format!(
        "{{\"type\":\"Feature\",\"properties\":{{\"name\":\"reservoir\"}},\
         \"geometry\":{{\"type\":\"{kind}\",\"coordinates\":{coordinates}}}}}"
    )
}

/// A square that holds all landings of the sample, as the line around it; and as an area with
/// latitude first.
#[test]
fn keep_out_files_do_what_was_meant_or_are_refused() {
    let around = "[[-109.2,42.2],[-106.8,42.2],[-106.8,43.6],[-109.2,43.6],[-109.2,42.2]]";
    let drawn = with_keep_out(&feature("LineString", around));
    let output = days(&drawn);
    let table = stdout(&output);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    assert!(
        table.contains("1 closed lines were taken as the outlines of areas"),
        "{table}"
    );
    assert!(table.contains("100.0 %"), "{table}");
    let folder = drawn.path("brief");
    run(
        "brief",
        &[
            &drawn.plan(),
            "--draws",
            "100",
            "--out",
            folder.to_str().unwrap(),
        ],
    );
    let page = fs::read_to_string(drawn.path("brief/brief.html")).unwrap();
    assert!(page.contains("closed lines were taken"));

    let lat_first = "[[[42.2,-89.2],[42.2,-86.8],[43.6,-86.8],[43.6,-89.2],[42.2,-89.2]]]";
    let output = days(&with_keep_out(&feature("Polygon", lat_first)));
    let message = stderr(&output);
    assert_eq!(output.status.code(), Some(1), "{message}");
    assert!(
        message.contains("reservoir.geojson: found nothing within 300 km"),
        "{message}"
    );
    let lat_first = "[[[42.2,-109.2],[42.2,-106.8],[43.6,-106.8],[42.2,-109.2]]]";
    let output = days(&with_keep_out(&feature("Polygon", lat_first)));
    let message = stderr(&output);
    assert!(
        message.contains("longitude and latitude seem to be exchanged"),
        "{message}"
    );
}
