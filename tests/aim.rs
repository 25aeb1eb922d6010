//! `windfall sites --into`: where to launch for a target.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "common/program.rs"]
mod program;

use std::path::Path;

use program::{stderr, stdout, windfall};
use serde_json::Value;
use windfall::geodesy::Position;
use windfall::ground::map::GroundMap;
use windfall::ground::region::Region;
use windfall::ground::water::{Water, WaterKind};

const WINDS: &str = "samples/ribatejo/era5-portugal-2023.nc";
const RIBATEJO: &str = "samples/ribatejo/plan.toml";
const IDAHO: &str = "samples/idaho/plan.toml";
/// One release.
const AT_SIX: [&str; 4] = [
    "--from",
    "2026-05-01T06:00:00Z",
    "--to",
    "2026-05-01T06:00:00Z",
];

/// A square around a place, so many metres to each side.
fn square(folder: &Path, name: &str, center: Position, half_m: f64) -> String {
    let side = |azimuth: f64| center.destination(azimuth, half_m);
    let (north, east) = (side(0.0).lat_deg, side(90.0).lon_deg);
    let (south, west) = (side(180.0).lat_deg, side(270.0).lon_deg);
    let text = format!(
        r#"{{"type":"Polygon","coordinates":[[[{west},{south}],[{east},{south}],[{east},{north}],[{west},{north}],[{west},{south}]]]}}"#
    );
    let path = folder.join(name);
    std::fs::write(&path, text).unwrap();
    path.to_str().unwrap().to_owned()
}

/// A disc, so that no place but one is the best.
fn disc(folder: &Path, center: Position, radius_m: f64) -> String {
    let corner = |k: i32| {
        let place = center.destination(360.0 - 10.0 * f64::from(k), radius_m);
        format!("[{},{}]", place.lon_deg, place.lat_deg)
    };
    let ring: Vec<String> = (0..=36).map(corner).collect();
    let text = format!(
        r#"{{"type":"Polygon","coordinates":[[{}]]}}"#,
        ring.join(",")
    );
    let path = folder.join("disc.geojson");
    std::fs::write(&path, text).unwrap();
    path.to_str().unwrap().to_owned()
}

fn aimed(args: &[&str]) -> Value {
    let output = windfall("sites", &[args, &["--json"]].concat());
    assert!(output.status.success(), "{}", stderr(&output));
    serde_json::from_slice(&output.stdout).unwrap()
}

fn launch(row: &Value) -> (Position, f64, f64) {
    let launch = &row["launch"];
    let number = |v: &Value| v.as_f64().unwrap();
    let place = Position::new(
        number(&launch["position"]["lat_deg"]),
        number(&launch["position"]["lon_deg"]),
    );
    (
        place.unwrap(),
        number(&launch["probability"]),
        number(&launch["standard_error"]),
    )
}

/// 8 m/s from 250 degrees at all heights: the drift is speed times the time in the air.
fn uniform(folder: &Path) -> (String, f64) {
    let rows = "altitude_m,wind_speed_m_s,wind_direction_deg\n0,8,250\n40000,8,250\n";
    std::fs::write(folder.join("uniform.csv"), rows).unwrap();
    let text = "[flight]\nrelease = 2026-05-01T06:00:00Z\n[site]\nlat = 51.0\nlon = 0.5\nelevation = \"0 m\"\n[wind]\nfiles = [\"uniform.csv\"]\n[ascent]\nrate = \"5 m/s\"\nburst_altitude = \"20 km\"\n[descent]\nrates = [[\"0 m\", \"10 m/s\"]]\n[spread]\nwind = \"none\"\nlift = \"2 %\"\ndrag = \"2 %\"\nburst_altitude = \"300 m\"\nrate = \"0 %\"\nearly_bursts = \"0 %\"\nparachute = \"2 %\"\nrelease_delay = \"1 min\"\n";
    let path = folder.join("plan.toml");
    std::fs::write(&path, text).unwrap();
    (
        path.to_str().unwrap().to_owned(),
        8.0 * (20_000.0 / 5.0 + 20_000.0 / 10.0),
    )
}

#[test]
fn in_a_uniform_wind_the_answer_is_the_target_less_the_drift() {
    let folder = tempfile::tempdir().unwrap();
    let (plan, drift_m) = uniform(folder.path());
    let center = Position::new(51.3, 0.9).unwrap();
    let target = disc(folder.path(), center, 1_000.0);
    let times = [
        "--from",
        "2026-05-01T06:00:00Z",
        "--to",
        "2026-05-01T07:00:00Z",
    ];
    let aim = aimed(&[&[plan.as_str(), "--into", &target], &times[..]].concat());
    let rows = aim["rows"].as_array().unwrap();
    assert_eq!(rows.len(), 2);
    for row in rows {
        let (place, probability, _) = launch(row);
        // At 10 km on average the air moves 0.16 % farther than the place below it.
        let wanted = center.destination(250.0, drift_m * (1.0 - 0.0016));
        let off = place.distance_m(wanted);
        // The grid's places are 100 to 200 m apart, and the draws' middle is not the planned flight.
        assert!(off < 400.0, "{off}");
        assert!(probability > 0.5, "{probability}");
    }
}

/// Upwind of the target lies the Channel.
#[test]
fn nobody_launches_from_water() {
    let folder = tempfile::tempdir().unwrap();
    let (plan, drift_m) = uniform(folder.path());
    let center = Position::new(50.9, 0.6).unwrap();
    let target = disc(folder.path(), center, 15_000.0);
    let region = Region::around(center, 100_000.0);
    let map = GroundMap::new(region, &[]).unwrap();
    let water = Water::of(&map).unwrap();
    let upwind = center.destination(250.0, drift_m).normal();
    assert_eq!(water.at(upwind), Some(WaterKind::Sea));
    let aim = aimed(&[&[plan.as_str(), "--into", &target], &AT_SIX[..]].concat());
    let (place, probability, _) = launch(&aim["rows"][0]);
    assert_eq!(water.at(place.normal()), None, "{place:?}");
    assert!(probability > 0.1, "{probability}");
    // What somebody drew is there, even if the built-in shores do not show it.
    let island = square(folder.path(), "island.geojson", upwind.position(), 1_000.0);
    let drawn = ["--launch-in", &island];
    let aim = aimed(&[&[plan.as_str(), "--into", &target], &AT_SIX[..], &drawn[..]].concat());
    let (place, probability, _) = launch(&aim["rows"][0]);
    assert!(place.distance_m(upwind.position()) < 1_500.0, "{place:?}");
    assert!(probability > 0.1, "{probability}");
}

/// Launched from the answer with other draws, as many come down inside as was said.
#[test]
fn on_real_winds_the_stated_probability_holds() {
    let folder = tempfile::tempdir().unwrap();
    let target = square(
        folder.path(),
        "target.geojson",
        Position::new(39.7, -8.4).unwrap(),
        7_000.0,
    );
    let day = [
        "--from",
        "2023-10-12T09:30:00Z",
        "--to",
        "2023-10-12T12:00:00Z",
    ];
    let hours = ["--hours", "00:00-24:00"];
    let args = [&[RIBATEJO, "--into", &target][..], &day, &hours].concat();
    let aim = aimed(&args);
    let mut checked = 0;
    for row in aim["rows"].as_array().unwrap() {
        if row["row"]["verdict"] == "unknown" {
            continue;
        }
        let (place, probability, error) = launch(row);
        assert!(probability > 0.2, "{probability}");
        let release = row["row"]["release"].as_str().unwrap();
        let plan = std::fs::read_to_string(RIBATEJO).unwrap();
        let plan = plan
            .replace("2023-10-12T10:30:00+01:00", release)
            .replace("lat = 39.75", &format!("lat = {}", place.lat_deg))
            .replace("lon = -8.85", &format!("lon = {}", place.lon_deg));
        let path = folder.path().join("from-there.toml");
        std::fs::write(&path, plan).unwrap();
        let from_there = [
            path.to_str().unwrap(),
            "--wind",
            WINDS,
            "--seed",
            "77",
            "--draws",
            "4000",
            "--keep-draws",
            "--out",
            "-",
        ];
        let output = windfall("zone", &from_there);
        assert!(output.status.success(), "{}", stderr(&output));
        let zone: Value = serde_json::from_slice(&output.stdout).unwrap();
        let draws = zone["features"].as_array().unwrap().iter();
        let mut draws = draws.filter(|f| f["properties"]["kind"] == "draws");
        let draws = draws.next().unwrap()["geometry"]["coordinates"]
            .as_array()
            .unwrap();
        let text = std::fs::read_to_string(&target).unwrap();
        let polygon: Value = serde_json::from_str(&text).unwrap();
        let corner = |k: usize| {
            let corner = &polygon["coordinates"][0][k];
            [corner[0].as_f64().unwrap(), corner[1].as_f64().unwrap()]
        };
        let (low, high) = (corner(0), corner(2));
        let inside = draws.iter().filter(|point| {
            (0..2).all(|k| (low[k]..=high[k]).contains(&point[k].as_f64().unwrap()))
        });
        let share = inside.count() as f64 / draws.len() as f64;
        let own_error = (share * (1.0 - share) / draws.len() as f64).sqrt();
        let off = (share - probability).abs();
        assert!(
            off < 4.0 * error.hypot(own_error),
            "{share} {probability} {error}"
        );
        checked += 1;
    }
    assert!(checked >= 2, "{checked}");
}

#[test]
fn launches_are_restricted_to_areas_and_roads() {
    let target = "samples/idaho/farmland.geojson";
    let pasture = "samples/idaho/pasture.geojson";
    let hour = [
        "--from",
        "2017-03-21T21:00:00Z",
        "--to",
        "2017-03-21T21:00:00Z",
    ];
    let hours = ["--hours", "00:00-24:00"];
    let run = |more: &[&str]| {
        let args = [&[IDAHO, "--into", target][..], &hour, &hours, more].concat();
        let aim = aimed(&args);
        launch(&aim["rows"][0])
    };
    let (_, anywhere, _) = run(&[]);
    let (place, restricted, _) = run(&["--launch-in", pasture]);
    assert!((43.2..=43.6).contains(&place.lat_deg) && (-113.6..=-112.95).contains(&place.lon_deg));
    let table = stdout(&windfall(
        "sites",
        &[&[IDAHO, "--into", target][..], &hour, &hours].concat(),
    ));
    assert_eq!(
        table.lines().nth(1),
        Some("times in America/Boise"),
        "{table}"
    );
    let (on_road, from_road, _) = run(&["--on-roads"]);
    assert!(restricted <= anywhere + 0.03 && from_road <= anywhere + 0.03);
    // The point is on a road: the nearest corner or edge of the layer is within metres.
    let roads: Value =
        serde_json::from_str(&std::fs::read_to_string("samples/idaho/roads.geojson").unwrap())
            .unwrap();
    let away = nearest_m(&roads, on_road);
    assert!(away < 30.0, "{away}");
}

/// Distance from a place to the nearest line of a layer, on a plane around it, m.
fn nearest_m(layer: &Value, place: Position) -> f64 {
    let scale = [111_195.0 * place.lat_deg.to_radians().cos(), 111_195.0];
    let mut best = f64::INFINITY;
    let mut line = |points: &Vec<Value>| {
        let on_plane = |p: &Value| {
            [
                (p[0].as_f64().unwrap() - place.lon_deg) * scale[0],
                (p[1].as_f64().unwrap() - place.lat_deg) * scale[1],
            ]
        };
        for pair in points.windows(2) {
            let (a, b) = (on_plane(&pair[0]), on_plane(&pair[1]));
            let d = [b[0] - a[0], b[1] - a[1]];
            let length = (d[0] * d[0] + d[1] * d[1]).max(1e-12);
            let t = (-(a[0] * d[0] + a[1] * d[1]) / length).clamp(0.0, 1.0);
            best = best.min((a[0] + t * d[0]).hypot(a[1] + t * d[1]));
        }
    };
    for feature in layer["features"].as_array().unwrap() {
        let geometry = &feature["geometry"];
        let coordinates = geometry["coordinates"].as_array().unwrap();
        match geometry["type"].as_str().unwrap() {
            "LineString" => line(coordinates),
            _ => coordinates
                .iter()
                .for_each(|part| line(part.as_array().unwrap())),
        }
    }
    best
}

#[test]
fn the_regions_are_geojson_with_their_probability() {
    let folder = tempfile::tempdir().unwrap();
    let (plan, _) = uniform(folder.path());
    let center = Position::new(51.3, 0.9).unwrap();
    let target = square(folder.path(), "target.geojson", center, 1_500.0);
    let out = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let run = |threads: &str| {
        let (geojson, csv) = (out("aim.geojson"), out("aim.csv"));
        let args = [plan.as_str(), "--into", &target, "--threads", threads];
        let outs = ["--out", &geojson, "--out", &csv];
        let output = windfall("sites", &[&args[..], &AT_SIX, &outs].concat());
        assert!(output.status.success(), "{}", stderr(&output));
        let files = [&geojson, &csv].map(|f| std::fs::read_to_string(f).unwrap());
        (stdout(&output), files)
    };
    let one = run("1");
    assert_eq!(one, run("3"));
    let (text, [geojson, csv]) = one;
    assert!(text.contains("Where to launch into") && text.contains("+-"));
    let mut rows = csv::Reader::from_reader(csv.as_bytes());
    assert_eq!(rows.records().count(), 1);
    let collection: Value = serde_json::from_str(&geojson).unwrap();
    let features = collection["features"].as_array().unwrap();
    let kinds: Vec<&str> = features
        .iter()
        .map(|f| f["properties"]["kind"].as_str().unwrap())
        .collect();
    assert_eq!(
        kinds,
        ["launch_place", "launch_region", "launch_region", "ellipse"]
    );
    let least = |i: usize| features[i]["properties"]["probability"].as_f64().unwrap();
    assert!((least(2) / least(1) - 0.5 / 0.9).abs() < 1e-9);
}

#[test]
fn what_cannot_be_aimed_at_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let (plan, _) = uniform(folder.path());
    let far = square(
        folder.path(),
        "far.geojson",
        Position::new(40.0, 0.9).unwrap(),
        1_500.0,
    );
    let near = square(
        folder.path(),
        "near.geojson",
        Position::new(51.3, 0.9).unwrap(),
        1_500.0,
    );
    for (args, code, words) in [
        (&["--into", far.as_str()][..], 1, "within 300 km"),
        (&["--into", &near, "--on-roads"], 1, "no road"),
        (&["--into", "nowhere.geojson"], 1, "nowhere.geojson"),
        (
            &["--into", &near, "--candidates", "x.csv"],
            2,
            "cannot be used with",
        ),
        (&["--on-roads", "--candidates", "x.csv"], 2, "--into"),
        (&[], 2, "--candidates"),
    ] {
        let output = windfall("sites", &[&[plan.as_str()][..], &AT_SIX, args].concat());
        assert_eq!(
            output.status.code(),
            Some(code),
            "{args:?} {}",
            stderr(&output)
        );
        assert!(
            stderr(&output).contains(words),
            "{args:?}: {}",
            stderr(&output)
        );
    }
}
