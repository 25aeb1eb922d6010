//! Gusts of a forecast: read, shown beside the wind at the ground, and held against its limit. In invented
//! winds whose gusts are twice the wind at 10 m (tests/data/grids/made/README.md).

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "common/program.rs"]
mod program;

use std::fs;
use std::path::Path;

use program::{stderr, stdout, windfall};
use serde_json::Value;
use windfall::geodesy::Position;
use windfall::sources::grid::GridFile;
use windfall::sources::grid::archive::{Archive, Joining};
use windfall::wind::placing::Placing;

const GUSTS: &str = "tests/data/grids/made/gusts.nc";
const HOUR: [&str; 6] = [
    "--from",
    "2026-05-09",
    "--to",
    "2026-05-09",
    "--hours",
    "08:00-08:00",
];

/// `days` on the sample of the lake shore in winds with or without gusts, the limit of the wind as given.
fn days(winds: &str, limit: &str, json: bool) -> String {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let folder = tempfile::tempdir().unwrap();
    let text = fs::read_to_string(root.join("samples/lake-shore/plan.toml")).unwrap();
    let text = text.replace("roads = [\"invented-roads.geojson\"]", "");
    let text = text.replace(
        "surface_wind = \"10 mph\"",
        &format!("surface_wind = \"{limit}\""),
    );
    let plan = folder.path().join("plan.toml");
    fs::write(&plan, text).unwrap();
    let mut arguments = vec![plan.to_str().unwrap(), "--wind", winds, "--draws", "50"];
    arguments.extend(HOUR);
    arguments.extend(json.then_some("--json"));
    let done = windfall("days", &arguments);
    assert!(done.status.success(), "{}", stderr(&done));
    stdout(&done)
}

fn row(text: &str) -> Value {
    let json: Value = serde_json::from_str(text).unwrap();
    json["rows"][0].clone()
}

#[test]
fn gusts_stand_beside_the_wind() {
    let row = row(&days(GUSTS, "4 m/s", true));
    for wind in row["day"]["surface"].as_array().unwrap() {
        let [speed, gust] = ["speed_m_s", "gust_m_s"].map(|key| wind[key].as_f64().unwrap());
        // The mean of speeds around is not the speed of the mean wind.
        assert!(gust > 1.9 * speed && gust < 3.0 * speed, "{wind}");
    }
    let table = days(GUSTS, "4 m/s", false);
    let words: Vec<&str> = table.split_whitespace().collect();
    assert!(
        words.join(" ").contains("g: the strongest gusts"),
        "{table}"
    );
    // 0.38 m/s and twice that, in miles an hour.
    assert!(table.contains(" 0.8g2 "), "{table}");
}

/// The colour of the wind may be that of its gusts, so the picture has them, too.
#[test]
fn the_picture_has_the_gusts() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let plan = root.join("samples/lake-shore/plan.toml");
    let folder = tempfile::tempdir().unwrap();
    let picture = folder.path().join("days.svg");
    let [plan, out] = [&plan, &picture].map(|path| path.to_str().unwrap());
    let mut arguments = vec![plan, "--wind", GUSTS, "--draws", "50", "--out", out];
    arguments.extend(HOUR);
    let done = windfall("days", &arguments);
    assert!(done.status.success(), "{}", stderr(&done));
    let picture = fs::read_to_string(&picture).unwrap();
    assert!(picture.contains("0.8g2 mph"), "{picture}");
}

#[test]
fn gusts_above_the_limit_of_the_wind_are_near_a_limit() {
    let limited = row(&days(GUSTS, "0.45 m/s", true));
    assert_eq!(limited["reason"]["code"], "gusts", "{limited:#}");
    assert_eq!(limited["verdict"], "near_limit", "{limited:#}");
    // The wind itself beyond the limit decides before its gusts.
    let beyond = row(&days(GUSTS, "0.2 m/s", true));
    assert_eq!(beyond["reason"]["code"], "surface_wind", "{beyond:#}");
}

#[test]
fn winds_without_gusts_say_so() {
    let winds = "samples/lake-shore/invented-winds.nc";
    let calm = row(&days(winds, "4 m/s", true));
    assert!(calm["day"]["surface"][0]["gust_m_s"].is_null());
    let table = days(winds, "4 m/s", false);
    let words: Vec<&str> = table.split_whitespace().collect();
    assert!(
        words.join(" ").contains("the winds tell no gusts"),
        "{table}"
    );
}

/// Gusts at a place in the middle of an invented forecast, so many hours after its run.
fn gusts_after(file: &str, hours: f64) -> Option<f64> {
    let archive = archive(file);
    let run = archive.steps[0].valid;
    let block = archive.cut(archive.lattice.whole(), 0..3).unwrap();
    let place = Position::new(51.3, 5.4).unwrap();
    let placing = Placing::of_block(&block, place, run).unwrap();
    let weights = placing.weights(place.normal(), 3_600.0 * hours).unwrap();
    block.gust_m_s(&weights)
}

fn archive(file: &str) -> Archive {
    let path = Path::new("tests/data/grids/made").join(file);
    Archive::join_all(vec![GridFile::open(&path).unwrap()], Joining::default()).unwrap()
}

/// The strongest gusts before a time hold for the moments that it spans, not for those between two times
/// in proportion (make_gusts.py in the folder of the files).
#[test]
fn gusts_over_some_time_are_those_of_the_time_that_holds_the_moment() {
    for (file, hours, expected) in [
        ("gusts_3h.grib2", 0.5, Some(10.0)),
        ("gusts_3h.grib2", 3.0, Some(10.0)),
        ("gusts_3h.grib2", 3.1, Some(20.0)),
        ("gusts_3h.grib2", 6.0, Some(20.0)),
        ("gusts_3h.grib2", 0.0, None),
        ("gusts_1h.grib2", 1.9, None),
        ("gusts_1h.grib2", 2.1, Some(10.0)),
        ("gusts_1h.grib2", 4.0, None),
        ("gusts_since_last.grib1", 0.1, Some(10.0)),
        ("gusts_since_last.grib1", 5.9, Some(20.0)),
    ] {
        let found = gusts_after(file, hours);
        let same = match (found, expected) {
            (Some(a), Some(b)) => f64::abs(a - b) < 1e-3,
            (a, b) => a == b,
        };
        assert!(
            same,
            "{file} after {hours} h: {found:?}, expected {expected:?}"
        );
    }
}

#[test]
fn that_gusts_are_over_some_time_is_said() {
    for (file, words) in [
        ("gusts_3h.grib2", "the strongest of the 3 h before each"),
        ("gusts_1h.grib2", "the strongest of the 1 h before each"),
        ("gusts_since_last.grib1", "since the forecast's last time"),
    ] {
        let assumed = archive(file)
            .assumed
            .iter()
            .map(ToString::to_string)
            .collect::<Vec<_>>()
            .join("; ");
        assert!(assumed.contains(words), "{assumed}");
    }
    assert!(archive("gusts.nc").assumed.is_empty());
}
