//! A profile that a model computed is a forecast with its own run, whatever text it comes in.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::print_stdout, reason = "figures for whoever runs the tests")]

#[path = "common/program.rs"]
mod program;

use std::path::Path;

use program::{stderr, stdout, windfall};
use serde_json::Value;

const RELEASE: &str = "2023-02-23T03:00:00+00:00";

/// A plan near the profile of Chicago (42.0 N, 88.0 W), so many degrees north of it.
fn plan(name: &str, text: &str, wind: &str, lat_deg: f64) -> String {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR"))
        .join("model_profiles")
        .join(name);
    std::fs::create_dir_all(&folder).unwrap();
    std::fs::write(folder.join("winds.txt"), text).unwrap();
    let plan = format!(
        r#"[flight]
release = {RELEASE}
[site]
lat = {lat_deg}
lon = -88.0
elevation = "205 m"
[wind]
files = ["winds.txt"]
{wind}
[ascent]
rate = "5 m/s"
burst_altitude = "28 km"
[descent]
landing_speed = "5 m/s"
"#
    );
    let path = folder.join("plan.toml");
    std::fs::write(&path, plan).unwrap();
    path.display().to_string()
}

fn chicago() -> String {
    let file = "tests/data/soundings/gsl_model_profile_gfs_chicago.txt";
    std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(file)).unwrap()
}

/// The table and the winds among the facts.
fn zone(plan: &str) -> (String, Value) {
    let table = windfall("zone", &[plan, "--draws", "64"]);
    assert_eq!(table.status.code(), Some(0), "{}", stderr(&table));
    let json = windfall("zone", &[plan, "--draws", "64", "--json"]);
    let json: Value = serde_json::from_slice(&json.stdout).unwrap();
    (stdout(&table), json["facts"]["wind"].clone())
}

fn drift_km(wind: &Value) -> f64 {
    wind["drift_sigma_m"].as_f64().unwrap() / 1e3
}

#[test]
fn a_model_profile_is_a_forecast() {
    let (table, wind) = zone(&plan("analysis", &chicago(), "", 42.0));
    assert!(!table.contains("measured 2023"), "{table}");
    assert!(table.contains("GFS profile, run of 2023-02-23"), "{table}");
    let model = &wind["source"]["model"];
    assert_eq!(model["name"], "GFS");
    assert_eq!(model["lead_s"], 0.0);
    assert_eq!(wind["source"]["distance_m"], 0.0);

    // The plan's word on the run counts, and makes the winds a forecast of three days.
    let issued = "issued = 2023-02-20T00:00:00Z";
    let (by_model, of_three_days) = zone(&plan("issued", &chicago(), issued, 42.0));
    assert!(by_model.contains("forecast of 3 d 0 h"), "{by_model}");
    assert_eq!(of_three_days["source"]["model"]["lead_s"], 259_200.0);

    // So does the heading's.
    let text = chicago().replace("GFS analysis valid", "GFS 72 h forecast valid");
    let (_, by_heading) = zone(&plan("heading", &text, "", 42.0));
    assert_eq!(
        by_heading["source"]["model"],
        of_three_days["source"]["model"]
    );

    let (_, far) = zone(&plan("far", &chicago(), "", 44.7));
    let all = [&wind, &of_three_days, &far].map(drift_km);
    println!(
        "analysis {:.1} km, three days {:.1} km, 300 km away {:.1} km",
        all[0], all[1], all[2]
    );
    assert!(all[1] > 1.1 * all[0] && all[2] > 1.8 * all[0], "{all:?}");

    // Measured, the same numbers: no model, and no run.
    let text = chicago().replace("\nGFS   ", "\nRAOB  ");
    let (table, measured) = zone(&plan("measured", &text, issued, 42.0));
    assert!(table.contains("measured 2023-02-23"), "{table}");
    assert!(measured["source"]["model"].is_null());
    assert!(table.contains("! [wind] issued is not used"), "{table}");
    assert!(!by_model.contains("issued is not used"), "{by_model}");
    // Its levels are wider apart than a sounding's should be, which adds to its error.
    let [measured_km, model_km] = [&measured, &wind].map(drift_km);
    println!("measured {measured_km:.1} km, gaps of its levels included");
    assert!(measured_km < 1.2 * model_km, "{measured_km} {model_km}");
}

#[test]
fn what_would_make_the_zone_smaller_is_said_with_its_number() {
    let text = chicago().replace("\nGFS   ", "\nRAOB  ");
    let (table, wind) = zone(&plan("distant", &text, "", 44.7));
    let new_m = wind["new_forecast_drift_sigma_m"].as_f64().unwrap();
    let table = table.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        table.contains("a forecast for the place and hour"),
        "{table}"
    );
    let number = format!("would reduce that to about {:.1} km", new_m / 1e3);
    assert!(table.contains(&number), "{number}: {table}");
    assert!(drift_km(&wind) > 1.5 * new_m / 1e3);
    let parts = wind["error_parts"].as_array().unwrap();
    let squares = parts
        .iter()
        .map(|p| p["drift_sigma_m"].as_f64().unwrap().powi(2));
    let whole = squares.sum::<f64>().sqrt() / 1e3;
    assert!((whole / drift_km(&wind) - 1.0).abs() < 1e-6, "{whole}");
}
