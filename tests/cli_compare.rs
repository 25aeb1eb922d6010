//! `windfall compare` as a person runs it: on zones of the samples' winds.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "common/program.rs"]
mod program;

use program::{stderr, stdout, windfall};
use serde_json::Value;

const PLAN: &str = "samples/high-plains/plan.toml";

/// A zone of the sample in a file, with other options.
fn zone(folder: &tempfile::TempDir, name: &str, options: &[&str]) -> String {
    let path = folder.path().join(name).display().to_string();
    let output = windfall("zone", &[&[PLAN, "--out", &path], options].concat());
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    path
}

#[test]
fn another_seed_moves_a_zone_by_little_of_its_own_size() {
    let folder = tempfile::tempdir().unwrap();
    let old = zone(&folder, "old.geojson", &["--seed", "1"]);
    let new = zone(&folder, "new.geojson", &["--seed", "2"]);
    let output = windfall("compare", &[&old, &new, "--json"]);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    let json: Value = serde_json::from_slice(&output.stdout).unwrap();
    let share = json["share_of_old_radius"].as_f64().unwrap();
    // The mean of 2,000 draws is off by a fiftieth of their spread at most.
    assert!(share > 0.0 && share < 0.05, "{share}");
    assert_eq!(json["old_center_within"], 0.5);
    let area = json["area_ratio"].as_f64().unwrap();
    assert!((area - 1.0).abs() < 0.1, "{area}");

    let words = stdout(&windfall("compare", &[&old, &new, "--units", "us"]));
    assert!(words.contains("still in the new 90 % ellipse"), "{words}");
    assert!(
        words.contains("at the same time, from the same place"),
        "{words}"
    );
}

#[test]
fn what_is_no_zone_is_refused_with_its_name() {
    let folder = tempfile::tempdir().unwrap();
    let old = zone(&folder, "old.geojson", &[]);
    for wrong in ["samples/idaho/lakes.geojson", "samples/high-plains", PLAN] {
        let output = windfall("compare", &[&old, wrong]);
        assert_eq!(output.status.code(), Some(1));
        assert!(stderr(&output).contains(wrong), "{}", stderr(&output));
    }
}
