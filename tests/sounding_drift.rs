//! A sounding's winds were measured where and when its sonde was: what that means for a flight.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::print_stdout, reason = "figures for whoever runs the tests")]

#[path = "common/program.rs"]
mod program;

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use program::{stderr, stdout, windfall};
use serde_json::Value;

const RELEASE: &str = "2024-05-01T12:00:00Z";
/// Metres of a degree of longitude on the equator.
const DEGREE_M: f64 = 111_319.49;

fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR"))
        .join("sounding_drift")
        .join(name);
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

/// A sounding on the equator (not at 0 degrees east, which is no place) in a wind from the west or, if `north`, from the
/// south, its sonde rising at 5 m/s; with or without its way.
fn sounding(lon_deg: f64, speed_m_s: f64, north: bool, with_way: bool) -> String {
    let mut text = "time_s,lat,lon,altitude_m,wind_speed_m/s,wind_dir_deg\n".to_owned();
    for k in 0..=32 {
        let (z, after_s) = (1_000 * k, 200 * k);
        let moved = speed_m_s * f64::from(after_s) / DEGREE_M;
        let way = match (with_way, north) {
            (true, false) => format!("{after_s},0,{:.6}", lon_deg + moved),
            (true, true) => format!("{after_s},{moved:.6},{lon_deg}"),
            (false, _) => format!(",0,{lon_deg}"),
        };
        let from = if north { 180 } else { 270 };
        writeln!(text, "{way},{z},{speed_m_s},{from}").unwrap();
    }
    text
}

/// Writes winds and a plan whose flight rises at this rate from the equator at a longitude.
fn plan(name: &str, winds: &[String], rate_m_s: f64, lon_deg: f64) -> String {
    let folder = folder(name);
    let files: Vec<String> = (0..winds.len()).map(|i| format!("\"{i}.csv\"")).collect();
    for (i, text) in winds.iter().enumerate() {
        let text = format!("# Launch time: {RELEASE}\n{text}");
        std::fs::write(folder.join(format!("{i}.csv")), text).unwrap();
    }
    let plan = format!(
        r#"[flight]
release = {RELEASE}
[site]
lat = 0.0
lon = {lon_deg}
elevation = "0 m"
[wind]
files = [{}]
[ascent]
rate = "{rate_m_s} m/s"
burst_altitude = "30 km"
[descent]
landing_speed = "5 m/s"
"#,
        files.join(", ")
    );
    let path = folder.join("plan.toml");
    std::fs::write(&path, plan).unwrap();
    path.display().to_string()
}

fn zone(plan: &str) -> Value {
    let json = windfall("zone", &[plan, "--draws", "20", "--json"]);
    assert_eq!(json.status.code(), Some(0), "{}", stderr(&json));
    serde_json::from_slice(&json.stdout).unwrap()
}

/// Standard deviation of a component of the wind at 30 km, m/s.
fn sigma_m_s(zone: &Value) -> f64 {
    let rows = zone["facts"]["wind"]["sigma"].as_array().unwrap();
    rows.last().unwrap()[1].as_f64().unwrap()
}

/// By the structure function of the wind (`wind::departure`) on the equator, where weather moves at two
/// fifths of 40 km/h and the stratosphere has 0.25: the square of 2.5 m/s and what D amounts to.
fn expected_m_s(speed_m_s: f64, distance_m: f64, age_s: f64) -> f64 {
    let away_m = distance_m.hypot(0.4 * 40.0 / 3.6 * age_s.hypot(3_600.0));
    let grown = 1.0 - (-(away_m / 1.5e6).powf(1.5)).exp();
    let kappa = 0.25 + (0.75 * 0.65 - 0.25) / (1.0 + ((30_000.0 - 17_500.0) / 1_200.0_f64).exp());
    (kappa * kappa * (625.0 + speed_m_s * speed_m_s) * grown + 6.25).sqrt()
}

#[test]
fn a_flight_that_rises_as_its_sonde_did_is_with_it_all_the_way() {
    let of = |name: &str, with_way, rate| {
        zone(&plan(
            name,
            &[sounding(10.0, 30.0, false, with_way)],
            rate,
            10.0,
        ))
    };
    let alike = sigma_m_s(&of("alike", true, 5.0));
    let unknown = sigma_m_s(&of("unknown", false, 5.0));
    println!("{alike:.3} m/s alike, {unknown:.3} m/s where the way is not known");
    assert!((alike - unknown).abs() < 2e-3);
    assert!((alike - expected_m_s(30.0, 0.0, 0.0)).abs() < 2e-3);

    // At 2.5 m/s it is at 30 km after 12,000 s, not 6,000 s, and 180 km farther.
    let slow = sigma_m_s(&of("slow", true, 2.5));
    let expected = expected_m_s(30.0, 180_000.0, 6_000.0);
    println!("{slow:.3} m/s for half the rate, {expected:.3} m/s by hand");
    // By hand a degree is as long at 30 km as on the ground.
    assert!((slow - expected).abs() < 1e-2);
    let as_before = sigma_m_s(&of("slow_unknown", false, 2.5));
    assert!((as_before - unknown).abs() < 2e-3);
}

#[test]
fn between_two_stations_it_is_as_near_to_each_as_to_its_sonde() {
    // Half a degree east of a sounding in 20 m/s from the west and 1.5 degrees west of one in 20 m/s from
    // the south: shares of 0.9 and 0.1 at the release.
    let burst = |name: &str, with_way| {
        let winds = [false, true].map(|north| {
            let lon = if north { 12.0 } else { 10.0 };
            sounding(lon, 20.0, north, with_way)
        });
        let zone = zone(&plan(name, &winds, 5.0, 10.5));
        let burst = &zone["zone"]["burst"]["position"];
        let degrees = |key: &str| burst[key].as_f64().unwrap();
        (degrees("lat_deg"), degrees("lon_deg") - 10.5)
    };
    let (north, east) = burst("two", true);
    let (north_alone, east_alone) = burst("two_unknown", false);
    println!(
        "burst {north:.3} north and {east:.3} east, {north_alone:.3} and {east_alone:.3} by the stations alone"
    );
    // 6,000 s in 20 m/s are 1.08 degrees. By its sonde, which drifts as the flight does, the first stays the
    // nearer one; by the stations the second counts the more the farther the flight has come.
    assert!((0.05..0.2).contains(&north) && (0.9..1.08).contains(&east));
    assert!(north_alone > 2.0 * north && east_alone < east - 0.2);
}

#[test]
fn the_drift_is_shown_and_kept() {
    let path = folder("shown").join("a.csv");
    std::fs::write(&path, sounding(179.9, 30.0, false, true)).unwrap();
    let path = path.to_str().unwrap();
    let shown = windfall("winds", &[path]);
    assert!(
        stdout(&shown)
            .contains("drift     the sonde's, up to 32,000 m: 192.0 km towards E in 1 h 47 min"),
        "{}",
        stdout(&shown)
    );
    let json = windfall("winds", &[path, "--json"]);
    let json: Value = serde_json::from_slice(&json.stdout).unwrap();
    let top = &json[0]["sounding"]["levels"][32];
    assert_eq!(top["after_s"], 6_400.0);
    // Across the date line.
    let lon = top["place"]["lon_deg"].as_f64().unwrap();
    assert!(
        (lon - (179.9 + 192_000.0 / DEGREE_M - 360.0)).abs() < 1e-5,
        "{lon}"
    );
}
