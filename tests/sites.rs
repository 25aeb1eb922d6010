//! `windfall sites` as a person runs it: real roads and lakes of Idaho in the global forecast, and the
//! Portugal sample.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "common/program.rs"]
mod program;

use program::{stderr, stdout, windfall};
use serde_json::Value;
use windfall::geodesy::Position;

const IDAHO: &str = "samples/idaho/plan.toml";
const CANDIDATES: &str = "samples/idaho/candidates.csv";
const HOURS: [&str; 2] = ["--hours", "13:00-17:00"];

fn json(command: &str, args: &[&str]) -> Value {
    let output = windfall(command, &[args, &["--json"]].concat());
    assert!(output.status.success(), "{}", stderr(&output));
    serde_json::from_slice(&output.stdout).unwrap()
}

fn sites(args: &[&str]) -> Vec<Value> {
    let all = json("sites", args);
    all["sites"].as_array().unwrap().clone()
}

fn idaho(more: &[&str]) -> Vec<Value> {
    sites(&[&[IDAHO, "--candidates", CANDIDATES][..], &HOURS, more].concat())
}

#[test]
fn every_row_is_what_days_says_of_that_site() {
    let folder = tempfile::tempdir().unwrap();
    for site in idaho(&["--draws", "300"]) {
        let text = std::fs::read_to_string(IDAHO).unwrap();
        let place = &site["position"];
        let elevation = elevation_of(site["name"].as_str().unwrap());
        let text = text
            .replace("lat = 43.35", &format!("lat = {}", place["lat_deg"]))
            .replace("lon = -113.35", &format!("lon = {}", place["lon_deg"]))
            .replace(
                "elevation = \"1580 m\"",
                &format!("elevation = \"{elevation}\""),
            )
            .replace(
                "\"gfs_2p5",
                &format!("\"{}", here("tests/data/grids/gfs_2p5")),
            )
            .replace(
                "\"roads.geojson",
                &format!("\"{}", here("samples/idaho/roads.geojson")),
            )
            .replace(
                "\"lakes.geojson",
                &format!("\"{}", here("samples/idaho/lakes.geojson")),
            );
        let path = folder.path().join("plan.toml");
        std::fs::write(&path, text).unwrap();
        let args = [
            &[path.to_str().unwrap(), "--outside", "--draws", "300"][..],
            &HOURS,
        ]
        .concat();
        let days = json("days", &args);
        let (mine, theirs) = (
            site["rows"].as_array().unwrap(),
            days["rows"].as_array().unwrap(),
        );
        assert_eq!(mine.len(), theirs.len());
        for (a, b) in mine.iter().zip(theirs) {
            assert_eq!(a["verdict"], b["verdict"], "{}", site["name"]);
            // Within all limits two numbers may be as near to theirs as each other.
            if a["verdict"] != "within_limits" {
                let what = |row: &Value| {
                    row["reason"]["words"]
                        .as_str()
                        .unwrap()
                        .split(':')
                        .next()
                        .map(str::to_owned)
                };
                assert_eq!(what(a), what(b), "{}", site["name"]);
            }
            assert_eq!(a["rank"], b["rank"]);
            // A landing or two of 300 may fall on the other side of an edge.
            for (mine, theirs) in shares(a).into_iter().zip(shares(b)) {
                let off = mine.zip(theirs).map(|(a, b)| (a - b).abs());
                assert!(off.is_some_and(|off| off < 0.01) || mine == theirs);
            }
            // The highest ground known differs with the region, and with it where legs get short.
            if let (Some(mine), Some(theirs)) = (center(a), center(b)) {
                assert!(mine.distance_m(theirs) < 20.0, "{mine:?} {theirs:?}");
            }
        }
    }
}

fn shares(row: &Value) -> Vec<Option<f64>> {
    let hazards = row["day"]["hazards"].as_array();
    hazards.map_or_else(Vec::new, |all| {
        all.iter().map(|h| h["share"].as_f64()).collect()
    })
}

fn center(row: &Value) -> Option<Position> {
    let center = &row["day"]["center"];
    Position::new(center["lat_deg"].as_f64()?, center["lon_deg"].as_f64()?)
}

fn here(path: &str) -> String {
    format!("{}/{path}", env!("CARGO_MANIFEST_DIR"))
}

fn elevation_of(name: &str) -> String {
    let text = std::fs::read_to_string(CANDIDATES).unwrap();
    let row = text.lines().find(|l| l.starts_with(name)).unwrap();
    row.rsplit(',').next().unwrap().to_owned()
}

/// Verdicts in their order.
fn order(verdict: &Value) -> usize {
    let names = ["within_limits", "near_limit", "beyond_limit", "unknown"];
    names.iter().position(|n| verdict == n).unwrap()
}

#[test]
fn the_best_comes_first_and_real_lakes_and_airports_decide() {
    let sites = idaho(&[]);
    assert_eq!(sites.len(), 8);
    let verdicts: Vec<usize> = sites.iter().map(|s| order(&s["verdict"])).collect();
    assert!(verdicts.is_sorted(), "{verdicts:?}");
    let ranks: Vec<u64> = sites.iter().filter_map(|s| s["rank"].as_u64()).collect();
    assert_eq!(ranks, (1..=ranks.len() as u64).collect::<Vec<_>>());
    let of = |name: &str| sites.iter().find(|s| s["name"] == name).unwrap();
    // Downwind of the lava edge lie the reservoirs that are kept out of.
    assert_eq!(of("Lava edge")["verdict"], "beyond_limit");
    assert!(
        of("Lava edge")["reason"]["words"]
            .as_str()
            .unwrap()
            .contains("keep-out area")
    );
    // An airfield lies 3 km from the rest area.
    let check = of("Rest area")["check"].as_array().unwrap();
    let mut near = check.iter().filter(|f| f["verdict"] == "too_near");
    let airfield = near.next().unwrap();
    assert_eq!(airfield["name"], "small airport");
    let nearest_m = airfield["nearest_m"].as_f64().unwrap();
    assert!((nearest_m - 3_300.0).abs() < 50.0, "{nearest_m}");
    assert_eq!(of("Rest area")["verdict"], "near_limit");
    // The layer of roads has no classes: motorways are not known, and never "far enough".
    for site in &sites {
        for finding in site["check"].as_array().unwrap() {
            if ["motorway road", "trunk road"].contains(&finding["name"].as_str().unwrap()) {
                assert_eq!(finding["verdict"], "unknown");
            }
        }
    }
    let day = &of("Grain silo")["rows"][1]["day"];
    let walk_in_m = day["walk_in_m"].as_f64().unwrap();
    assert!((1_000.0..20_000.0).contains(&walk_in_m), "{walk_in_m}");
    let roads = day["hazards"].as_array().unwrap().iter();
    let mut roads = roads.filter(|h| h["name"] == "road of unknown class");
    let share = roads.next().unwrap()["share"].as_f64().unwrap();
    assert!(share > 0.0 && share < 0.2, "{share}");
}

/// The first pass carries flights over from the middle: what it finds best is among the best.
#[test]
fn the_first_pass_finds_the_best() {
    let all = idaho(&[]);
    let few = idaho(&["--fully", "4"]);
    assert_eq!(few.len(), 8);
    let flown = |site: &&Value| site["flown"] == true;
    assert_eq!(few.iter().filter(flown).count(), 4);
    // Flown sites are told as when all are, and come first.
    for site in few.iter().filter(flown) {
        let same = all.iter().find(|s| s["name"] == site["name"]).unwrap();
        assert_eq!(site["rows"][1]["strains"], same["rows"][1]["strains"]);
    }
    let first_carried = few.iter().position(|s| s["flown"] == false).unwrap();
    assert_eq!(first_carried, 4);
    for site in &few[4..] {
        assert_eq!(
            (
                site["rank"].is_null(),
                site["rows"].as_array().unwrap().len()
            ),
            (true, 1)
        );
    }
    // The worst, by the reservoirs, is not among those worth flying.
    let names: Vec<&Value> = few[..4].iter().map(|s| &s["name"]).collect();
    assert!(!names.contains(&&Value::from("Lava edge")), "{names:?}");
}

#[test]
fn a_grid_is_laid_over_a_polygon() {
    let args = [
        "samples/ribatejo/plan.toml",
        "--candidates",
        "samples/ribatejo/meadows.geojson",
        "--spacing",
        "20 km",
        "--from",
        "2023-10-12T09:00:00Z",
        "--to",
        "2023-10-12T10:00:00Z",
        "--hours",
        "00:00-24:00",
        "--draws",
        "200",
    ];
    let sites = sites(&args);
    // 3 rows in 46 km, 2 columns in 37 km.
    assert_eq!(sites.len(), 6);
    for site in &sites {
        let lat = site["position"]["lat_deg"].as_f64().unwrap();
        let lon = site["position"]["lon_deg"].as_f64().unwrap();
        assert!((39.35..39.76).contains(&lat) && (-8.95..-8.52).contains(&lon));
        assert_eq!(site["rows"].as_array().unwrap().len(), 2);
    }
}

#[test]
fn every_format_is_written_and_the_same_on_any_number_of_threads() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let all = ["s.csv", "s.json", "s.geojson"].map(file);
    let run = |threads: &str| {
        let mut args = vec![IDAHO, "--candidates", CANDIDATES, "--draws", "100"];
        args.extend(HOURS);
        args.extend(["--threads", threads]);
        all.iter().for_each(|path| args.extend(["--out", path]));
        let output = windfall("sites", &args);
        assert!(output.status.success(), "{}", stderr(&output));
        let files = all.clone().map(|f| std::fs::read_to_string(f).unwrap());
        (stdout(&output), files)
    };
    let one = run("1");
    assert_eq!(one, run("3"));
    let (text, [csv, json, geojson]) = one;
    for words in [
        "Sites compared: Lava plain 1",
        "School field",
        "public domain",
        "assumed",
    ] {
        assert!(text.contains(words), "{words}");
    }
    let mut rows = csv::Reader::from_reader(csv.as_bytes());
    assert_eq!(rows.records().map(Result::unwrap).count(), 8 * 4);
    assert!(serde_json::from_str::<Value>(&json).is_ok());
    let collection: Value = serde_json::from_str(&geojson).unwrap();
    let kinds = |kind: &str| {
        let features = collection["features"].as_array().unwrap().iter();
        features.filter(|f| f["properties"]["kind"] == kind).count()
    };
    assert_eq!((kinds("site"), kinds("ellipse")), (8, 8));
}

/// What does not fit of a candidate that is flown from is told by its name, as of the site of a plan.
#[test]
fn an_elevation_unlike_the_airport_nearby_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let fields = folder.path().join("fields.csv");
    // Beside the airport of Arco, at about 1,620 m.
    std::fs::write(&fields, "name,lat,lon,elevation\nlow,43.61,-113.34,900 m\n").unwrap();
    let fields = fields.to_str().unwrap();
    let more = ["--draws", "40"];
    let told = json(
        "sites",
        &[&[IDAHO, "--candidates", fields][..], &HOURS, &more].concat(),
    );
    let notes = told["notes"].as_array().unwrap();
    assert!(
        notes
            .iter()
            .any(|n| n["site"] == "low" && n["note"]["code"] == "elevation_off_airport"),
        "{notes:#?}"
    );
}

#[test]
fn wrong_candidates_are_refused() {
    for (args, code, words) in [
        (
            &[IDAHO, "--candidates", "nowhere.csv"][..],
            1,
            "nowhere.csv",
        ),
        (&[IDAHO, "--candidates", IDAHO], 1, "lat and lon"),
        (
            &[IDAHO, "--candidates", CANDIDATES, "--spacing", "5"],
            2,
            "unit",
        ),
        (
            &[IDAHO, "--candidates", CANDIDATES, "--out", "s.svg"],
            2,
            "geojson",
        ),
    ] {
        let output = windfall("sites", args);
        assert_eq!(output.status.code(), Some(code), "{args:?}");
        assert!(
            stderr(&output).contains(words),
            "{args:?}: {}",
            stderr(&output)
        );
        assert_eq!(stdout(&output), "");
    }
}

#[test]
fn the_version_tells_whose_data_are_built_in() {
    let short = windfall("--version", &[]);
    assert_eq!(
        stdout(&short),
        format!("windfall {}\n", env!("CARGO_PKG_VERSION"))
    );
    let long = stdout(&windfall("--version", &["--verbose"]));
    for words in [
        "OurAirports",
        "Natural Earth",
        "public domain",
        "November 2026",
    ] {
        assert!(long.contains(words), "{long}");
    }
    assert_eq!(windfall("--verbose", &[]).status.code(), Some(2));
}

/// Sites farther from each other than a map reaches have a ground each, and a keep-out area of one is no
/// slip where the other lies.
#[test]
fn sites_far_apart_are_judged_as_each_alone() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let text = std::fs::read_to_string(IDAHO).unwrap();
    let ground = "[ground]\nroads = [\"roads.geojson\"]\nkeep_out = [\"lakes.geojson\"]\n";
    assert!(text.contains(ground));
    let text = text.replace(ground, "[ground]\nkeep_out = [\"keep-out.geojson\"]\n");
    std::fs::write(path("plan.toml"), text).unwrap();
    let ring = "[[[-109,41],[-103,41],[-103,45],[-109,45],[-109,41]]]";
    let area = format!(
        "{{\"type\":\"Feature\",\"properties\":{{}},\"geometry\":{{\"type\":\"Polygon\",\"coordinates\":{ring}}}}}"
    );
    std::fs::write(path("keep-out.geojson"), area).unwrap();
    let winds = here("samples/idaho/gfs_2p5_global_20170322_00z.grib2");
    let (west, east) = ("west,43.0,-108.2,1700 m\n", "east,43.0,-92.0,350 m\n");
    let of = |rows: &[&str], plan: &str| {
        let table = format!("name,lat,lon,elevation\n{}", rows.concat());
        std::fs::write(path("fields.csv"), table).unwrap();
        let (plan, fields) = (path(plan), path("fields.csv"));
        let args = [&plan[..], "--candidates", &fields, "--wind", &winds];
        sites(&[&args[..], &HOURS, &["--draws", "50"]].concat())
    };
    let both = of(&[west, east], "plan.toml");
    assert_eq!([&both[0]["name"], &both[1]["name"]], ["east", "west"]);
    let kept_out = |site: &Value| {
        let row = &site["rows"][site["best"].as_u64().unwrap() as usize];
        let all = row["day"]["hazards"].as_array().unwrap();
        let area = all.iter().find(|h| h["name"] == "keep-out area").unwrap();
        area["share"].as_f64().unwrap()
    };
    assert_eq!([kept_out(&both[0]), kept_out(&both[1])], [0.0, 1.0]);
    assert_eq!(of(&[west], "plan.toml")[0]["rows"], both[1]["rows"]);
    // Drawn nowhere near any of them it is a slip.
    let away = [&path("plan.toml")[..], "--candidates", &path("fields.csv")].map(str::to_owned);
    std::fs::write(path("fields.csv"), "lat,lon\n43.0,-92.0\n").unwrap();
    let args: Vec<&str> = away.iter().map(String::as_str).collect();
    let output = windfall("sites", &[&args[..], &["--wind", &winds], &HOURS].concat());
    assert!(
        stderr(&output).contains("nothing within 300 km"),
        "{}",
        stderr(&output)
    );
}
