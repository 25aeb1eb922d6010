//! Point forecasts in JSON: fetched from this machine, read, flown. Their values are those of a real
//! forecast (tests/data/grids) at one of its points, written as such services do.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::print_stdout, reason = "figures for whoever runs the tests")]

#[path = "common/program.rs"]
mod program;
#[allow(dead_code)]
#[path = "common/server.rs"]
mod server;

use std::fs;
use std::path::Path;

use proptest::prelude::*;
use serde_json::{Map, Value, json};
use windfall::fetch::feed::Feeds;
use windfall::fetch::manifest::Manifest;
use windfall::notes::reading::Reading;
use windfall::sources::grid::GridFile;
use windfall::sources::point::with_keys;
use windfall::sources::{Format, parse, recognise};
use windfall::wind::slab::{Quantity, Surface};
use windfall::wind::sounding::Sounding;

use program::{stderr, stdout, windfall};
use server::{Answer, Files, Request, Server, response};

const TABLE: &str = include_str!("../src/fetch/feeds.toml");
const GRID: &[u8] = include_bytes!("data/grids/gfs_0p25_western_europe_20200314_00z.grib2");
const HOURS: [&str; 4] = ["05:00", "06:00", "07:00", "13:00"];

/// Height (m), temperature (K), u and v (m/s) at 46 N, 2 E by pressure (Pa), to 30 hPa.
fn column() -> Vec<(u32, [f64; 4])> {
    let file = GridFile::from_bytes("grid", GRID.to_vec()).unwrap();
    let value = |quantity: Quantity, pa: u32| {
        let is = |s: &&windfall::wind::slab::Slab| {
            s.quantity == quantity && s.surface == Surface::Isobaric(pa)
        };
        let i = file.slabs.iter().position(|s| is(&s))?;
        let values = file
            .read(i, file.lattices[file.slabs[i].lattice].whole())
            .unwrap();
        // Rows from 41 N, columns from 5 W, a quarter of a degree apart.
        Some(f64::from(values[(20, 28)]))
    };
    let levels = (1..=40).map(|i| 2_500 * i).chain([7_000, 3_000]);
    let mut all: Vec<(u32, [f64; 4])> = levels
        .filter_map(|pa| {
            let row = [
                value(Quantity::Height, pa)?,
                value(Quantity::Temperature, pa)?,
                value(Quantity::EastWind, pa)?,
                value(Quantity::NorthWind, pa)?,
            ];
            Some((pa, row))
        })
        .collect();
    all.sort_by_key(|(pa, _)| std::cmp::Reverse(*pa));
    assert!(all.len() > 15, "{}", all.len());
    all
}

/// The answer of a service, wind speeds in this unit of so many m/s.
fn answer(unit: &str, m_s: f64) -> Value {
    let mut hourly = Map::new();
    let mut units = Map::new();
    let times: Vec<String> = HOURS.iter().map(|h| format!("2020-03-14T{h}")).collect();
    hourly.insert("time".into(), json!(times));
    let mut add = |key: String, unit: &str, value: f64| {
        hourly.insert(key.clone(), json!(vec![value; HOURS.len()]));
        units.insert(key, json!(unit));
    };
    for (pa, [height, kelvin, u, v]) in column() {
        let hpa = pa / 100;
        let from = (-u).atan2(-v).to_degrees().rem_euclid(360.0);
        add(format!("wind_speed_{hpa}hPa"), unit, u.hypot(v) / m_s);
        add(format!("wind_direction_{hpa}hPa"), "\u{b0}", from);
        add(format!("geopotential_height_{hpa}hPa"), "m", height);
        add(format!("temperature_{hpa}hPa"), "\u{b0}C", kelvin - 273.15);
    }
    add("wind_speed_10m".into(), unit, 3.0 / m_s);
    add("wind_direction_10m".into(), "\u{b0}", 90.0);
    add("surface_pressure".into(), "hPa", 985.0);
    json!({
        "latitude": 46.0, "longitude": 2.0, "elevation": 300.0, "utc_offset_seconds": 0,
        "hourly_units": units, "hourly": hourly,
    })
}

fn check(profiles: &[Sounding]) {
    assert_eq!(profiles.len(), HOURS.len());
    for (profile, hour) in profiles.iter().zip(HOURS) {
        let time = format!("2020-03-14T{hour}:00Z");
        assert_eq!(profile.time.unwrap().to_string(), time);
        let place = profile.position.unwrap();
        assert_eq!((place.lat_deg, place.lon_deg), (46.0, 2.0));
        assert!(profile.model.is_some());
        // The wind at 10 m first; levels below the ground are left out.
        let lowest = profile.levels[0];
        assert!((lowest.altitude_m - 310.0).abs() < 1.0);
        assert!((lowest.wind.unwrap().east_m_s + 3.0).abs() < 1e-9);
        let above: Vec<_> = column()
            .into_iter()
            .filter(|(_, row)| row[0] >= 300.0)
            .collect();
        assert_eq!(profile.levels.len(), above.len() + 1);
        for (level, (pa, [height, kelvin, u, v])) in profile.levels[1..].iter().zip(above) {
            assert_eq!(level.pressure_pa.unwrap(), f64::from(pa));
            let wind = level.wind.unwrap();
            assert!((wind.east_m_s - u).abs() < 1e-9 && (wind.north_m_s - v).abs() < 1e-9);
            assert!((level.temperature_k.unwrap() - kelvin).abs() < 1e-9);
            // Geopotential made geometric: more by z^2 / R, and by latitude a little.
            let geometric = height * (1.0 + height / 6.36e6);
            assert!((level.altitude_m - geometric).abs() < 3.0 + 1e-3 * height);
        }
    }
}

#[test]
fn an_answer_that_was_saved_by_hand_is_known_by_its_keys() {
    for (unit, m_s) in [
        ("km/h", 1.0 / 3.6),
        ("m/s", 1.0),
        ("kn", 1852.0 / 3600.0),
        ("mp/h", 0.44704),
    ] {
        let text = answer(unit, m_s).to_string();
        assert_eq!(recognise(&text), Some(Format::Point));
        check(&parse("a.json", &text, None).unwrap());
    }
    // Two places in one answer, as seconds since 1970 and without units.
    let mut one = answer("km/h", 1.0 / 3.6);
    let seconds = [1_584_162_000, 1_584_165_600, 1_584_169_200, 1_584_190_800];
    one["hourly"]["time"] = json!(seconds);
    one.as_object_mut().unwrap().remove("hourly_units");
    let both = parse("a.json", &json!([one, one]).to_string(), None).unwrap();
    check(&both[..HOURS.len()]);
    check(&both[HOURS.len()..]);
    let assumed = &both[0].tally.assumed;
    assert!(
        assumed
            .iter()
            .any(|a| a.to_string().contains("wind_speed_{hpa}hPa in km/h")),
        "{assumed:?}"
    );
}

#[test]
fn a_saved_answer_is_as_old_as_the_run_that_was_complete_then() {
    let feeds = Feeds::built_in().unwrap();
    let keys = feeds.get("point").unwrap().point.as_ref().unwrap();
    let run = "2020-03-13T19:00:00Z".parse().unwrap();
    let text = with_keys("f", answer("m/s", 1.0).to_string().as_bytes(), keys, run).unwrap();
    let profiles = parse("f", &text, None).unwrap();
    check(&profiles);
    let leads = profiles
        .iter()
        .map(|p| p.model.as_ref().unwrap().lead_s.unwrap() / 3600.0);
    assert_eq!(leads.collect::<Vec<_>>(), [10.0, 11.0, 12.0, 18.0]);
}

#[test]
fn what_is_wrong_with_an_answer_is_named() {
    let wrong = |change: &dyn Fn(&mut Value), words: &str| {
        let mut answer = answer("m/s", 1.0);
        change(&mut answer);
        let message = parse("a.json", &answer.to_string(), Some(Format::Point))
            .unwrap_err()
            .to_string();
        assert!(
            message.contains(words) && message.contains("expected"),
            "{words}: {message}"
        );
    };
    wrong(&|a| a["latitude"] = Value::Null, "latitude: found null");
    wrong(&|a| a["longitude"] = json!(999), "999");
    wrong(
        &|a| a["hourly"]["time"] = json!(["noon"]),
        "hourly.time: found \"noon\"",
    );
    wrong(
        &|a| a["hourly"]["wind_speed_500hPa"] = json!([1]),
        "hourly.wind_speed_500hPa: found a list of 1 values",
    );
    wrong(
        &|a| a["hourly"]["wind_direction_500hPa"] = json!([1]),
        "hourly.wind_direction_500hPa: found a list of 1",
    );
    wrong(
        &|a| a["hourly_units"]["wind_speed_500hPa"] = json!("furlongs"),
        "the unit \"furlongs\"",
    );
    wrong(
        &|a| a["hourly"] = json!({}),
        "JSON that is no point forecast",
    );
    wrong(&|a| *a = json!([]), "JSON that is no point forecast");
    // Nothing but missing values: no winds.
    wrong(
        &|a| {
            for (key, list) in a["hourly"].as_object_mut().unwrap() {
                if key != "time" {
                    *list = json!([null, null, null, null]);
                }
            }
        },
        "no level with height and wind",
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn changed_answers_do_no_harm(
        changes in prop::collection::vec((any::<prop::sample::Index>(), "[-0-9a-z\\[\\]{}\",:. ]"), 1..8),
    ) {
        static TEXT: std::sync::LazyLock<String> = std::sync::LazyLock::new(|| answer("kn", 0.5144).to_string());
        let mut text: Vec<char> = TEXT.chars().collect();
        for (at, by) in changes {
            let at = at.index(text.len());
            text[at] = by.chars().next().unwrap();
        }
        let text: String = text.into_iter().collect();
        if let Err(why) = parse("f", &text, Some(Format::Point)) {
            let why = why.to_string();
            prop_assert!(why.contains("expected"), "{}", why);
        }
    }
}

const PLAN: &str = r#"
[flight]
name = "test"
release = 2020-03-14T06:30:00Z
timezone = "UTC"
[site]
lat = LAT
lon = 2.05
elevation = "300 m"
[ascent]
rate = "5 m/s"
burst_altitude = "20 km"
[descent]
landing_speed = "5 m/s"
"#;

struct Bench {
    folder: tempfile::TempDir,
}

impl Bench {
    fn new(server: &Server) -> Bench {
        let bench = Bench {
            folder: tempfile::tempdir().unwrap(),
        };
        let table = TABLE.replace("https://api.open-meteo.com", &server.url());
        fs::write(bench.path("feeds.toml"), table).unwrap();
        fs::write(bench.path("plan.toml"), PLAN.replace("LAT", "46.05")).unwrap();
        bench
    }

    fn path(&self, name: &str) -> String {
        self.folder.path().join(name).to_str().unwrap().to_owned()
    }

    fn fetch(&self, more: &[&str]) -> (Option<i32>, String, String) {
        let (plan, feeds) = (self.path("plan.toml"), self.path("feeds.toml"));
        let args = [&plan, "--feeds", &feeds, "--feed", "point"];
        let output = windfall("fetch", &[&args[..], more].concat());
        (output.status.code(), stdout(&output), stderr(&output))
    }
}

#[test]
fn a_column_is_fetched_and_flown_and_said_to_be_one() {
    let sent = |_: &Request, _| {
        let text = answer("m/s", 1.0).to_string();
        Answer::Raw(response(200, &[], text.as_bytes()))
    };
    let server = Server::start(Files::new(), sent);
    let bench = Bench::new(&server);
    let (code, out, err) = bench.fetch(&["--dry-run"]);
    assert_eq!(code, Some(0), "{err}");
    assert!(
        out.contains("1 requests, about ") && server.seen().is_empty(),
        "{out}"
    );
    let (code, out, err) = bench.fetch(&[]);
    assert_eq!(code, Some(0), "{err}");
    assert!(err.contains("untried: the address and the levels"), "{err}");
    assert!(
        out.contains("not given; a single column above the site"),
        "{out}"
    );
    let asked = &server.seen()[0].path;
    assert!(
        asked.contains(
            "?latitude=46.05&longitude=2.05&start_hour=2020-03-14T05:00&end_hour=2020-03-14T13:00&"
        ),
        "{asked}"
    );
    let file = bench.path("winds/point-20200314-05z-46.05n2.05e-f000-f008.json");
    let profiles = parse("f", &fs::read_to_string(&file).unwrap(), None).unwrap();
    check(&profiles);
    // Fetched years later: the run is taken to be no younger than its times.
    assert_eq!(profiles[0].model.as_ref().unwrap().lead_s, Some(0.0));
    assert!(matches!(
        profiles[0].tally.assumed[0],
        Reading::NewestRun { .. }
    ));
    let manifest = Manifest::of_whole(Path::new(&file)).unwrap();
    assert_eq!(manifest.run, None);
    let (_, _, err) = bench.fetch(&[]);
    assert!(err.contains("is there already, whole"), "{err}");

    let zone = windfall(
        "zone",
        &[&bench.path("plan.toml"), "--wind", &file, "--draws", "64"],
    );
    assert_eq!(zone.status.code(), Some(0), "{}", stderr(&zone));
    for words in [
        "4 forecast profiles (GFS) of one station",
        "wind error of a GFS forecast of",
        "6.8 km from the site",
    ] {
        let text = stdout(&zone)
            .split_whitespace()
            .collect::<Vec<_>>()
            .join(" ");
        assert!(text.contains(words), "{words}: {text}");
    }
    // The same answer without its keys gives the same landing, its run unknown.
    let bare = bench.path("bare.json");
    fs::write(&bare, answer("m/s", 1.0).to_string()).unwrap();
    let json = |wind: &str| {
        let args = [
            &bench.path("plan.toml"),
            "--wind",
            wind,
            "--draws",
            "64",
            "--json",
        ];
        let zone = windfall("zone", &args);
        assert_eq!(zone.status.code(), Some(0), "{}", stderr(&zone));
        serde_json::from_str::<Value>(&stdout(&zone)).unwrap()
    };
    let (saved, bare) = (json(&file), json(&bare));
    assert!(!saved["zone"]["landing"].is_null() || !saved["facts"].is_null());
    assert_eq!(
        saved["facts"]["half_circle_m"],
        bare["facts"]["half_circle_m"]
    );

    // Its error grows with the distance.
    fs::write(bench.path("plan.toml"), PLAN.replace("LAT", "47.5")).unwrap();
    let far = json(&file);
    let size = |zone: &Value| zone["facts"]["half_circle_m"].as_f64().unwrap();
    println!("near {} m, 167 km away {} m", size(&saved), size(&far));
    assert!(size(&far) > 1.2 * size(&saved));
}

#[test]
fn answers_for_elsewhere_or_another_time_are_refused() {
    let changed = |change: fn(&mut Value)| {
        move |_: &Request, _| {
            let mut answer = answer("m/s", 1.0);
            change(&mut answer);
            Answer::Raw(response(200, &[], answer.to_string().as_bytes()))
        }
    };
    for (change, words) in [
        (
            (|a| a["latitude"] = json!(40.0)) as fn(&mut Value),
            "found winds for 40.0000 N",
        ),
        (
            |a| {
                let day = ["05:00", "06:00", "07:00", "08:00"].map(|h| format!("2020-03-15T{h}"));
                a["hourly"]["time"] = json!(day);
            },
            "found winds from 2020-03-15T05:00:00Z",
        ),
    ] {
        let server = Server::start(Files::new(), changed(change));
        let (code, _, err) = Bench::new(&server).fetch(&[]);
        assert_eq!(code, Some(1), "{err}");
        assert!(err.contains(words), "{words}: {err}");
    }
    let reason =
        |_: &Request, _| Answer::Status(400, "{\"error\":true,\"reason\":\"No such variable\"}");
    let server = Server::start(Files::new(), reason);
    let (code, _, err) = Bench::new(&server).fetch(&[]);
    assert_eq!(code, Some(1), "{err}");
    assert!(
        err.contains("No such variable") && err.contains("by hand"),
        "{err}"
    );
}
