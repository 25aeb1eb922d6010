//! `windfall zone` as a person runs it: on the samples, and on everything that can be wrong.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "common/changed.rs"]
mod changed;
#[path = "common/program.rs"]
mod program;

use std::fs;
use std::process::{Command, Output, Stdio};

use changed::Changed;
use program::{stderr, stdout, windfall};
use serde_json::Value;

const PLAN: &str = "samples/high-plains/plan.toml";
const RATES: &str = "samples/high-plains/rates.toml";
const WINDS: &str = "samples/high-plains/riverton-2026-02-05.csv";

fn zone(args: &[&str]) -> Output {
    windfall("zone", args)
}

fn geojson(args: &[&str]) -> Value {
    let output = zone(&[args, &["--out", "-"]].concat());
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    serde_json::from_slice(&output.stdout).unwrap()
}

fn features<'a>(collection: &'a Value, kind: &str) -> Vec<&'a Value> {
    let all = collection["features"].as_array().unwrap().iter();
    all.filter(|f| f["properties"]["kind"] == kind).collect()
}

/// A plan in a folder of its own, made of the sample's by replacing text.
fn changed(plan: &str, changes: &[(&str, &str)]) -> Changed {
    Changed::of(plan, WINDS, changes)
}

fn refused(changes: &[(&str, &str)]) -> String {
    changed(PLAN, changes).refused()
}

#[test]
fn the_table_of_the_sample() {
    let output = zone(&[PLAN]);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    assert_eq!(stderr(&output), "");
    insta::assert_snapshot!(stdout(&output));
}

#[test]
fn the_table_by_rates_in_us_units() {
    let output = zone(&[RATES, "--units", "us"]);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    let text = stdout(&output);
    assert!(
        !text.contains(" km") && !text.contains(" m/s") && !text.contains(" kg"),
        "{text}"
    );
    insta::assert_snapshot!(text);
}

#[test]
fn the_geojson_keeps_its_contract() {
    let zone = geojson(&[PLAN]);
    assert_eq!(zone["type"], "FeatureCollection");
    assert_eq!(zone["seed"], 1);
    assert_eq!(zone["draws"], 2000);
    assert_eq!(zone["version"], env!("CARGO_PKG_VERSION"));
    assert!(!zone["assumptions"].as_array().unwrap().is_empty());
    assert_eq!(zone["bbox"].as_array().unwrap().len(), 4);
    for kind in ["release", "burst", "landing", "track"] {
        assert_eq!(features(&zone, kind).len(), 1, "{kind}");
    }
    let track = features(&zone, "track")[0];
    let points = track["geometry"]["coordinates"].as_array().unwrap().len();
    assert_eq!(
        track["properties"]["times"].as_array().unwrap().len(),
        points
    );
    let ellipses = features(&zone, "ellipse");
    let contours = features(&zone, "contour");
    assert_eq!((ellipses.len(), contours.len()), (4, 2));
    for feature in ellipses.iter().chain(&contours) {
        let p = &feature["properties"];
        let (wanted, held) = (
            p["probability"].as_f64().unwrap(),
            p["held"].as_f64().unwrap(),
        );
        assert!((held - wanted).abs() < 0.06, "{p}");
        assert!(p["area_km2"].as_f64().unwrap() > 1.0);
    }
    for key in ["semi_major_m", "semi_minor_m", "azimuth_deg"] {
        assert!(
            ellipses[0]["properties"][key].as_f64().unwrap() > 0.0,
            "{key}"
        );
    }
    assert!(features(&zone, "draws").is_empty());
    let kept = geojson(&[PLAN, "--keep-draws", "--draws", "50"]);
    let draws = features(&kept, "draws")[0]["geometry"]["coordinates"]
        .as_array()
        .unwrap();
    assert_eq!(draws.len(), 50);
}

#[test]
fn the_same_seed_gives_the_same_bytes_on_any_number_of_threads() {
    let bytes = |threads, seed| {
        let args = [
            PLAN,
            "--threads",
            threads,
            "--seed",
            seed,
            "--out",
            "-",
            "--keep-draws",
        ];
        zone(&args).stdout
    };
    let one = bytes("1", "7");
    assert_eq!(one, bytes("2", "7"));
    assert_eq!(one, bytes("5", "7"));
    assert_ne!(one, bytes("2", "8"));
}

/// glibc has another exp, ln, sin, atan2 ... for processors without FMA, whose last bits differ: as those of
/// another machine.
#[test]
#[cfg(all(target_arch = "x86_64", target_os = "linux", target_env = "gnu"))]
fn the_same_bytes_with_other_last_bits() {
    let run = |args: &[&str], processor: &str| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_windfall"));
        command.current_dir(env!("CARGO_MANIFEST_DIR"));
        command.args(args).env("GLIBC_TUNABLES", processor);
        command.output().unwrap().stdout
    };
    let plain = "glibc.cpu.hwcaps=-FMA,-FMA4,-AVX2,-AVX512F";
    for args in [
        &["zone", PLAN, "--out", "-", "--keep-draws"][..],
        &["zone", PLAN, "--json"],
        &[
            "days",
            "samples/ribatejo/plan.toml",
            "--draws",
            "50",
            "--json",
        ],
    ] {
        let bytes = run(args, "");
        assert!(bytes.len() > 10_000);
        assert_eq!(bytes, run(args, plain), "{args:?}");
    }
}

#[test]
fn json_instead_of_the_table() {
    let output = zone(&[PLAN, "--json"]);
    let json: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(json["facts"]["landed"], 2000);
    assert!(json["facts"]["wind"]["source"]["age_s"].as_f64().unwrap() > 3_000.0);
    assert!(
        json["zone"]["landing"]["position"]["lat_deg"]
            .as_f64()
            .unwrap()
            > 40.0
    );
}

/// What was found in the files of the ground is told, as the places to wait rest on them.
#[test]
fn notes_on_the_ground_stand_with_the_others() {
    let plan = "samples/idaho/plan.toml";
    let said = "roads.geojson, roads: ";
    let table = stdout(&zone(&[plan, "--draws", "200"]));
    assert!(table.contains(said), "{table}");
    let output = zone(&[plan, "--draws", "200", "--json"]);
    let json: Value = serde_json::from_slice(&output.stdout).unwrap();
    let note = &json["wait"]["layer_notes"][0];
    assert_eq!(note["code"], "no_class");
    assert!(note["words"].as_str().unwrap().starts_with(said), "{note}");
}

#[test]
fn out_writes_the_file_and_prints_the_table() {
    let sample = changed(PLAN, &[]);
    let out = sample.path("zone.geojson");
    let output = zone(&[&sample.plan(), "--out", out.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    assert!(stdout(&output).starts_with("Landing zone"));
    let file: Value = serde_json::from_slice(&fs::read(&out).unwrap()).unwrap();
    assert_eq!(file, geojson(&[&sample.plan()]));
    assert_eq!(fs::read_dir(sample.folder.path()).unwrap().count(), 3);
    let to_stdout = zone(&[&sample.plan(), "--out", "-"]);
    assert!(stderr(&to_stdout).starts_with("Landing zone"));
}

#[test]
fn a_reader_that_goes_away_is_no_failure() {
    let mut child = Command::new(env!("CARGO_BIN_EXE_windfall"))
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args([
            "zone",
            PLAN,
            "--out",
            "-",
            "--keep-draws",
            "--draws",
            "20000",
        ])
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    assert_eq!(child.wait().unwrap().code(), Some(0));
}

#[test]
fn wrong_usage_is_exit_2() {
    for args in [
        &[][..],
        &[PLAN, "--draws", "1"],
        &[PLAN, "--units", "ell"],
        &[PLAN, "--nosuch"],
    ] {
        assert_eq!(zone(args).status.code(), Some(2), "{args:?}");
    }
}

#[test]
fn bad_wind_files() {
    let winds = |name: &str, bytes: &[u8]| {
        let sample = changed(PLAN, &[("riverton-2026-02-05.csv", name)]);
        fs::write(sample.path("riverton-2026-02-05.csv"), bytes).unwrap();
        sample.refused()
    };
    let same = "riverton-2026-02-05.csv";
    assert!(winds("missing.csv", b"").contains("missing.csv"));
    assert!(winds(same, b"").contains("empty"));
    assert!(winds(same, &[0, 159, 146, 150, 0, 7, 1, 2]).contains("binary"));
    let header = "pressure_hPa,geopotential height_m,wind direction_degree,wind speed_m/s\n";
    let one = format!("{header}850,1500,270,5\n");
    assert!(winds(same, one.as_bytes()).contains("expected at least 2"));
    let calm_less = "pressure_hPa,geopotential height_m,temperature_C\n850,1500,4\n700,3000,-5\n";
    assert!(winds(same, calm_less.as_bytes()).contains("wind"));
    assert!(winds(same, b"just some words\nand more\n").contains("no format"));
    let no_file = refused(&[("files = [\"riverton-2026-02-05.csv\"]", "files = []")]);
    assert!(no_file.contains("--wind FILE"), "{no_file}");
}

#[test]
fn bad_plans() {
    let sample = changed(PLAN, &[]);
    for bytes in [
        &b""[..],
        b"[flight\nname = 1",
        &[0xff, 0xfe, 0, 1],
        b"\x00\x01\x02",
    ] {
        fs::write(sample.path("plan.toml"), bytes).unwrap();
        sample.refused();
    }
    assert!(stderr(&zone(&["no-such-plan.toml"])).contains("no-such-plan.toml"));
    let message = refused(&[("2026-02-05T17:00:00-07:00", "2026-02-05T17:00:00-06:00")]);
    assert!(
        message.contains("line 4, [flight] release") && message.contains("expected -07:00"),
        "{message}"
    );
    let message = refused(&[("lat = 43.02", "lat = 91")]);
    assert!(
        message.contains("[site] lat: found 91; expected degrees north"),
        "{message}"
    );
    let message = refused(&[("mass = \"1200 g\"", "mass = \"1200\"")]);
    assert!(
        message.contains("[balloon] mass: found \"1200\" without a unit"),
        "{message}"
    );
    let message = refused(&[("neck_lift = \"6.8 kg\"", "neck_lift = \"6.8 m\"")]);
    assert!(
        message.contains("which is a length; expected a mass"),
        "{message}"
    );
    let message = refused(&[(
        "neck_lift = \"6.8 kg\"",
        "neck_lift = \"6.8 kg\"\nfree_lift = \"2 kg\"",
    )]);
    assert!(message.contains("exactly one of"), "{message}");
    let message = refused(&[("[parachute]", "[parachute]\ncolour = \"red\"")]);
    assert!(
        message.contains("[parachute] colour: found an unknown key"),
        "{message}"
    );
    let message = refused(&[("[spread]", "[spreads]")]);
    assert!(
        message.contains("spreads: found an unknown section"),
        "{message}"
    );
}

#[test]
fn all_faults_of_a_plan_at_once() {
    let message = refused(&[
        ("lat = 43.02", "lat = 91"),
        ("1200 g", "1200 kg"),
        ("\"helium\"", "\"neon\""),
        ("lift = \"4 %\"", "lift = \"40 %\""),
    ]);
    let lines: Vec<&str> = message.lines().collect();
    assert_eq!(lines.len(), 4, "{message}");
    assert!(
        lines[0].contains("line 8") && lines[1].contains("line 16") && lines[2].contains("neon")
    );
}

#[test]
fn stacks_that_do_not_fly() {
    let message = refused(&[("neck_lift = \"6.8 kg\"", "neck_lift = \"4.0 kg\"")]);
    assert!(message.contains("0.30 kg short"), "{message}");
    let message = refused(&[("burst_diameter = \"8.63 m\"", "burst_diameter = \"2.2 m\"")]);
    assert!(message.contains("bursts at 2.20 m"), "{message}");
    let message = refused(&[("burst_diameter = \"8.63 m\"", "burst_diameter = \"30 m\"")]);
    assert!(message.contains("burst diameter of 30.00 m"), "{message}");
    let below = changed(RATES, &[("98000 ft", "5000 ft")]).refused();
    assert!(
        below.contains("not above the site") || below.contains("above sea level"),
        "{below}"
    );
}

#[test]
fn a_stack_that_only_just_rises_is_flown() {
    let sample = changed(
        PLAN,
        &[("neck_lift = \"6.8 kg\"", "neck_lift = \"4.8 kg\"")],
    );
    let output = zone(&[&sample.plan(), "--json"]);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    let json: Value = serde_json::from_slice(&output.stdout).unwrap();
    // With 0.5 kg of free lift and 0.19 kg of spread, about 1 % of the draws stay down.
    let landed = json["facts"]["landed"].as_u64().unwrap();
    assert!((1_900..2_000).contains(&landed), "{landed}");
}

#[test]
fn sites_at_the_ends_of_the_earth() {
    for (lat, lon) in [
        ("89.999995", "12"),
        ("-90", "0"),
        ("90", "-180"),
        ("-16.5", "179.999995"),
        ("0", "-180"),
    ] {
        let sample = changed(
            PLAN,
            &[
                ("lat = 43.02", &format!("lat = {lat}")),
                ("lon = -108.35", &format!("lon = {lon}")),
                ("timezone = \"America/Denver\"\n", ""),
            ],
        );
        // Winds of nowhere: those of Wyoming are refused elsewhere.
        let winds = sample.path("riverton-2026-02-05.csv");
        let text = fs::read_to_string(&winds).unwrap();
        fs::write(&winds, text.replace("longitude,latitude", "x,y")).unwrap();
        let zone = geojson(&[&sample.plan()]);
        let landing = features(&zone, "landing")[0];
        let lon = landing["geometry"]["coordinates"][0].as_f64().unwrap();
        let lat = landing["geometry"]["coordinates"][1].as_f64().unwrap();
        assert!(lat.abs() <= 90.0 && lon.abs() <= 180.0);
        let way = 1e3 * 20.0;
        let release = windfall::geodesy::Position::new(
            features(&zone, "release")[0]["geometry"]["coordinates"][1]
                .as_f64()
                .unwrap(),
            features(&zone, "release")[0]["geometry"]["coordinates"][0]
                .as_f64()
                .unwrap(),
        );
        let there = windfall::geodesy::Position::new(lat, lon).unwrap();
        let drifted = release.unwrap().distance_m(there);
        assert!(drifted > way && drifted < 10.0 * way, "{drifted}");
        assert_eq!(features(&zone, "ellipse").len(), 4);
        assert_eq!(features(&zone, "contour").len(), 2);
    }
}

#[test]
fn the_spread_of_the_wind_follows_the_age_of_the_sounding() {
    let drift = |release: &str| {
        let sample = changed(PLAN, &[("2026-02-05T17:00:00-07:00", release)]);
        let output = zone(&[&sample.plan(), "--json"]);
        let json: Value = serde_json::from_slice(&output.stdout).unwrap();
        json["facts"]["wind"]["drift_sigma_m"].as_f64().unwrap()
    };
    let fresh = drift("2026-02-05T16:10:00-07:00");
    let six_hours = drift("2026-02-05T22:04:00-07:00");
    let a_day = drift("2026-02-06T16:04:00-07:00");
    assert!(
        fresh < 0.5 * six_hours && six_hours < a_day,
        "{fresh} {six_hours} {a_day}"
    );
    let none = changed(PLAN, &[("wind = \"sounding\"", "wind = \"none\"")]);
    assert!(stdout(&zone(&[&none.plan()])).contains("taken as exact"));
    let table = changed(
        PLAN,
        &[(
            "wind = \"sounding\"",
            "wind = [[\"850 hPa\", \"2 m/s\"], [\"20 km\", \"4 m/s\"]]",
        )],
    );
    assert!(stdout(&zone(&[&table.plan()])).contains("4.0 m/s at 20,000 m"));
}
