//! `windfall zone` and `windfall winds` on forecasts, as a person runs them.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "common/changed.rs"]
mod changed;
#[path = "common/program.rs"]
mod program;

use std::fs;
use std::process::Output;

use changed::Changed;
use program::{stderr, stdout, windfall};
use serde_json::Value;

const PLAN: &str = "samples/ribatejo/plan.toml";
const WINDS: &str = "samples/ribatejo/era5-portugal-2023.nc";
const SOUNDING_PLAN: &str = "samples/high-plains/plan.toml";
const SOUNDING: &str = "samples/high-plains/riverton-2026-02-05.csv";
const COVERED: &str = "39 to 40 N, 9 to 7 W, 2023-10-12T08:00:00Z to 2023-10-12T18:00:00Z, \
                       2023-10-13T08:00:00Z to 2023-10-13T18:00:00Z, 2023-10-14T08:00:00Z to \
                       2023-10-14T18:00:00Z and 2023-10-15T08:00:00Z to 2023-10-15T18:00:00Z";

/// The forecast sample, released at another time.
fn released(at: &str) -> Changed {
    Changed::of(PLAN, WINDS, &[("2023-10-12T10:30:00+01:00", at)])
}

fn flown(args: &[&str]) -> Output {
    let output = windfall("zone", args);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    output
}

fn geojson(args: &[&str]) -> Value {
    serde_json::from_slice(&flown(&[args, &["--out", "-"]].concat()).stdout).unwrap()
}

fn kinds(zone: &Value, kind: &str) -> usize {
    let all = zone["features"].as_array().unwrap().iter();
    all.filter(|f| f["properties"]["kind"] == kind).count()
}

/// Text with its lines joined, as a table breaks them anywhere.
fn on_one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn holds(text: &str, wanted: &[&str]) {
    let text = on_one_line(text);
    for words in wanted {
        assert!(text.contains(words), "no \"{words}\" in: {text}");
    }
}

// ---- zone ----

#[test]
fn the_table_of_the_forecast_sample() {
    let output = flown(&[PLAN]);
    assert_eq!(stderr(&output), "");
    insta::assert_snapshot!(stdout(&output));
}

#[test]
fn the_geojson_has_every_kind() {
    let zone = geojson(&[PLAN, "--keep-draws"]);
    for (kind, count) in [
        ("release", 1),
        ("burst", 1),
        ("landing", 1),
        ("track", 1),
        ("ellipse", 4),
        ("contour", 2),
        ("draws", 1),
    ] {
        assert_eq!(kinds(&zone, kind), count, "{kind}");
    }
}

#[test]
fn a_flight_that_leaves_the_region_is_refused() {
    let message = released("2023-10-13T09:30:00Z").refused_in_one_line();
    // Where, how high, when, and what is covered. It leaves across 40 N, before its burst.
    holds(
        &message,
        &[
            "the flight leaves the region where winds are known",
            "the planned one at about 40.0",
            " above sea level, 2023-10-13T10:",
            COVERED,
            "expected winds for a larger region or for more hours",
        ],
    );
}

/// 28 % of the draws leave the region: no region of the rest would be true.
#[test]
fn a_zone_that_leaves_the_region_has_no_ellipse() {
    let sample = released("2023-10-14T09:30:00Z");
    let text = stdout(&flown(&[&sample.plan()]));
    holds(
        &text,
        &[
            "No region is given: see the notes.",
            "% of the draws left the winds, which cover",
            COVERED,
            "no ellipse and no contour is given",
        ],
    );
    assert!(
        !text.contains("ellipse 50 %") && !text.contains("90 % ellipse"),
        "{text}"
    );
    let zone = geojson(&[&sample.plan(), "--keep-draws"]);
    assert_eq!((kinds(&zone, "ellipse"), kinds(&zone, "contour")), (0, 0));
    assert_eq!((kinds(&zone, "landing"), kinds(&zone, "track")), (1, 1));
    // The share told is that of the draws that are not there.
    let draws = zone["features"]
        .as_array()
        .unwrap()
        .iter()
        .find(|f| f["properties"]["kind"] == "draws")
        .unwrap();
    let landed = draws["geometry"]["coordinates"].as_array().unwrap().len();
    let share = format!("{:.2} % of the draws", (2_000 - landed) as f64 / 20.0);
    assert!(landed < 1_980, "{landed}");
    holds(&text, &[&share]);
}

#[test]
fn hours_that_are_not_covered_are_refused() {
    for at in [
        // A night between two days of the file.
        "2023-10-12T22:00:00Z",
        // Half an hour before its first time and after its last.
        "2023-10-12T07:30:00Z",
        "2023-10-15T18:30:00Z",
        "2022-10-12T12:00:00Z",
    ] {
        let message = released(at).refused_in_one_line();
        let release = format!("the release at {at} lies outside the winds; they cover {COVERED}");
        holds(&message, &[&release]);
    }
    // Released in time, but the hours end before it is down.
    let message = released("2023-10-12T17:00:00Z").refused_in_one_line();
    holds(
        &message,
        &[
            "the flight leaves the hours for which winds are known",
            " above sea level, 2023-10-12T1",
            COVERED,
        ],
    );
}

#[test]
fn a_site_outside_is_refused() {
    for (lat, lon) in [("41.2", "-8.85"), ("39.75", "-9.1"), ("-39.75", "8.85")] {
        let changes = [
            ("lat = 39.75", format!("lat = {lat}")),
            ("lon = -8.85", format!("lon = {lon}")),
        ];
        let changes: Vec<(&str, &str)> = changes.iter().map(|(a, b)| (*a, b.as_str())).collect();
        let message = Changed::of(PLAN, WINDS, &changes).refused_in_one_line();
        holds(
            &message,
            &["the site at", "lies outside the winds", COVERED],
        );
    }
}

#[test]
fn the_same_bytes_on_any_number_of_threads() {
    let bytes = |threads, seed| {
        flown(&[
            PLAN,
            "--threads",
            threads,
            "--seed",
            seed,
            "--out",
            "-",
            "--keep-draws",
        ])
        .stdout
    };
    let one = bytes("1", "7");
    assert_eq!(one, bytes("2", "7"));
    assert_eq!(one, bytes("5", "7"));
    assert_ne!(one, bytes("2", "8"));
}

/// Flights go with the winds around them: the landing is not that of the column above the site.
#[test]
fn the_zone_follows_the_winds_of_the_hour() {
    let landing = |at: &str| {
        let output = flown(&[&released(at).plan(), "--json"]);
        let json: Value = serde_json::from_slice(&output.stdout).unwrap();
        let position = &json["zone"]["landing"]["position"];
        ["lat_deg", "lon_deg"].map(|key| position[key].as_f64().unwrap())
    };
    let (morning, noon) = (
        landing("2023-10-12T09:30:00Z"),
        landing("2023-10-12T12:30:00Z"),
    );
    let apart = (morning[0] - noon[0]).hypot(morning[1] - noon[1]);
    // Three hours make kilometres (0.01 degrees are 1.1 km), and not a flight's whole drift.
    assert!(apart > 0.01 && apart < 0.4, "{morning:?} {noon:?}");
}

// ---- several soundings ----

/// The sample's sounding as if made elsewhere or later, under another name.
fn another(sample: &Changed, name: &str, changes: &[(&str, &str)]) {
    let mut text = fs::read_to_string(SOUNDING).unwrap();
    for (from, to) in changes {
        assert!(text.contains(from), "the sounding has no {from}");
        text = text.replace(from, to);
    }
    fs::write(sample.path(name), text).unwrap();
}

const TWO_FILES: (&str, &str) = (
    "files = [\"riverton-2026-02-05.csv\"]",
    "files = [\"riverton-2026-02-05.csv\", \"other.csv\"]",
);

fn landing_of(sample: &Changed) -> [f64; 2] {
    let output = flown(&[&sample.plan(), "--json", "--draws", "100"]);
    let json: Value = serde_json::from_slice(&output.stdout).unwrap();
    let position = &json["zone"]["landing"]["position"];
    ["lat_deg", "lon_deg"].map(|key| position[key].as_f64().unwrap())
}

#[test]
fn soundings_of_two_stations_make_a_field() {
    let sample = Changed::of(SOUNDING_PLAN, SOUNDING, &[TWO_FILES]);
    // The same winds 111 km to the north: wherever the flight is, the mean is the same again.
    another(&sample, "other.csv", &[(",43.", ",44.")]);
    let text = stdout(&flown(&[&sample.plan()]));
    holds(
        &text,
        &[
            "2 soundings of 2 stations make a field: linear in time, by inverse square distance \
             between stations, assumed",
            "other.csv",
        ],
    );
    let alone = Changed::of(SOUNDING_PLAN, SOUNDING, &[]);
    let (ours, theirs) = (landing_of(&sample), landing_of(&alone));
    // One is flown in legs of four layers, the other in layers: within 20 m.
    let apart = (ours[0] - theirs[0]).hypot(ours[1] - theirs[1]);
    assert!(apart < 2e-4, "{ours:?} {theirs:?}");
    // With the other's winds doubled it is another field.
    let strong = Changed::of(SOUNDING_PLAN, SOUNDING, &[TWO_FILES]);
    let doubled: Vec<String> = fs::read_to_string(SOUNDING)
        .unwrap()
        .replace(",43.", ",44.")
        .lines()
        .enumerate()
        .map(|(i, line)| {
            let (rest, speed) = line.rsplit_once(',').unwrap();
            match speed.parse::<f64>() {
                Ok(speed) if i > 0 => format!("{rest},{}", 2.0 * speed),
                _ => line.to_owned(),
            }
        })
        .collect();
    fs::write(strong.path("other.csv"), doubled.join("\n")).unwrap();
    let theirs = landing_of(&strong);
    assert!(
        (ours[0] - theirs[0]).hypot(ours[1] - theirs[1]) > 1e-3,
        "{theirs:?}"
    );
}

#[test]
fn soundings_before_and_after_make_a_field() {
    let sample = Changed::of(SOUNDING_PLAN, SOUNDING, &[TWO_FILES]);
    // 20 hours later; the release, at 15 UTC of the 6th, lies between.
    another(
        &sample,
        "other.csv",
        &[
            ("2026-02-06 00:", "2026-02-06 20:"),
            ("2026-02-05 23:", "2026-02-06 19:"),
        ],
    );
    holds(
        &stdout(&flown(&[&sample.plan()])),
        &["2 soundings of one station make a field"],
    );
}

#[test]
fn a_sounding_and_a_forecast_are_not_mixed() {
    for command in [
        ["zone", PLAN, "--wind", SOUNDING, WINDS].as_slice(),
        &["winds", WINDS, SOUNDING],
    ] {
        let output = windfall(command[0], &command[1..]);
        assert_eq!(output.status.code(), Some(1));
        assert_eq!(stdout(&output), "");
        let message = stderr(&output);
        assert_eq!(message.lines().count(), 1, "{message}");
        holds(&message, &[SOUNDING, WINDS, "a forecast", "not both"]);
    }
}

// ---- winds ----

fn shown(args: &[&str]) -> String {
    let output = windfall("winds", args);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    assert_eq!(stderr(&output), "");
    stdout(&output)
}

#[test]
fn the_report_on_a_forecast() {
    insta::assert_snapshot!(shown(&[WINDS]));
}

#[test]
fn the_column_above_a_place() {
    let args = [
        WINDS,
        "--place",
        "39.75,-8.85",
        "--at",
        "2023-10-12T09:30:00Z",
    ];
    insta::assert_snapshot!(shown(&args));
}

#[test]
fn a_forecast_as_json() {
    let json: Value = serde_json::from_str(&shown(&[WINDS, "--json"])).unwrap();
    assert_eq!(json["points"], serde_json::json!([5, 9]));
    assert_eq!(json["times"].as_array().unwrap().len(), 44);
    assert_eq!(json["levels_hpa"].as_array().unwrap().len(), 37);
    let args = [WINDS, "--place", "39.75,-8.85", "--json"];
    let json: Value = serde_json::from_str(&shown(&args)).unwrap();
    // The first time, unless another is asked for.
    assert_eq!(json[0]["sounding"]["time"], "2023-10-12T08:00:00Z");
    assert_eq!(json[0]["sounding"]["levels"].as_array().unwrap().len(), 37);
}

#[test]
fn a_picture_of_a_column() {
    let folder = tempfile::tempdir().unwrap();
    for (name, start) in [("a.svg", &b"<svg"[..]), ("b.png", b"\x89PNG")] {
        let path = folder.path().join(name);
        shown(&[
            WINDS,
            "--place",
            "39.75,-8.85",
            "--out",
            path.to_str().unwrap(),
        ]);
        assert!(fs::read(&path).unwrap().starts_with(start));
    }
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 2);
}

#[test]
fn places_and_times_that_are_not_there() {
    let folder = tempfile::tempdir().unwrap();
    let picture = folder.path().join("a.svg");
    let picture = picture.to_str().unwrap();
    for (args, wanted) in [
        (["--place", "41,-8.85", "--out", picture], COVERED),
        (
            ["--place", "39.75,-8.85", "--at", "2023-10-12T07:30:00Z"],
            COVERED,
        ),
        (
            ["--place", "39.75,-8.85", "--at", "2023-10-12T22:00:00Z"],
            COVERED,
        ),
        (
            ["--place", "39.75,-8.85", "--at", "2023-10-15T18:01:00Z"],
            COVERED,
        ),
        (["--out", picture, "--units", "us"], "expected --place"),
    ] {
        let output = windfall("winds", &[&[WINDS], args.as_slice()].concat());
        assert_eq!(output.status.code(), Some(1), "{args:?}");
        assert_eq!(stdout(&output), "");
        holds(&stderr(&output), &[wanted]);
    }
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
    let output = windfall("winds", &[WINDS, "--place", "somewhere"]);
    assert_eq!(output.status.code(), Some(2));
}
