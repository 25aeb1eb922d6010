//! `windfall days` on the Portugal sample: every row is what `zone` says of that release, and the
//! ranking follows from the rows.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "common/grids.rs"]
mod grids;
#[path = "common/program.rs"]
mod program;

use std::path::Path;

use grids::{PORTUGAL_2023, archive, path};
use jiff::Timestamp;
use jiff::tz::TimeZone;
use program::{stderr, stdout, windfall};
use serde_json::Value;
use windfall::choice::answer::{Days, ReleaseRow, SurfaceWind, Verdict};
use windfall::choice::days::days;
use windfall::choice::reason::Reason;
use windfall::ground::site::SiteVerdict;
use windfall::ground::towns::{Town, towns};
use windfall::plan::Plan;
use windfall::winds::Winds;
use windfall::zone::{Options, predict};

const PLAN: &str = "samples/ribatejo/plan.toml";

const OPTIONS: Options = Options {
    draws: 1_000,
    seed: 1,
    keep_draws: true,
};

/// What decides, in words.
fn reason(row: &ReleaseRow) -> String {
    let units = windfall::units::UnitSystem::Metric;
    windfall::report::reasons::reason(&row.reason, units, &TimeZone::UTC)
}

/// The sample's plan with `more` at its end, and at most that drift in its limits.
fn plan(more: &str) -> Plan {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(root.join(PLAN)).unwrap() + more;
    Plan::parse(PLAN, &text, &root.join("samples/ribatejo")).unwrap()
}

/// The sample's winds, with the time of the run that the plan names.
fn winds(plan: &Plan) -> Winds {
    let file = windfall::sources::grid::GridFile::open(&path(PORTUGAL_2023)).unwrap();
    let how = windfall::sources::grid::archive::Joining {
        issued: plan.wind_issued,
        member_per_file: false,
    };
    let archive = windfall::sources::grid::archive::Archive::join(vec![file], how).unwrap();
    Winds::Forecast(Box::new(archive))
}

fn times(hours: &[&str]) -> Vec<Timestamp> {
    hours.iter().map(|h| h.parse().unwrap()).collect()
}

/// In the night, at the first hour, and while flights stay, partly stay and leave.
fn sample_times() -> Vec<Timestamp> {
    times(&[
        "2023-10-12T09:00:00Z",
        "2023-10-12T09:30:00Z",
        "2023-10-12T13:00:00Z",
        "2023-10-13T03:00:00Z",
        "2023-10-13T09:00:00Z",
        "2023-10-14T13:00:00Z",
    ])
}

fn compared(more: &str) -> (Plan, Winds, Days) {
    let plan = plan(more);
    let input = winds(&plan);
    let days = days(&plan, &input, &sample_times(), OPTIONS, || {}).unwrap();
    (plan, input, days)
}

#[test]
fn a_row_is_what_zone_says_of_that_release() {
    let (plan, input, days) = compared("");
    let mut checked = 0;
    for row in &days.rows {
        let one = Plan {
            release: row.release,
            ..plan.clone()
        };
        let zone = predict(&one, &input, OPTIONS, || {});
        match &row.day {
            Some(day) => {
                let zone = zone.unwrap();
                let left = 1.0 - zone.facts.landed as f64 / 1_000.0;
                assert!((day.left - left).abs() < 1e-9, "{}", row.release);
                let ellipse = zone
                    .zone
                    .ellipses
                    .iter()
                    .find(|e| e.shape.probability == 0.9);
                assert_eq!(day.ellipse.is_some(), ellipse.is_some());
                if let (Some(mine), Some(its)) = (&day.ellipse, ellipse) {
                    // The same draws in the same winds, decoded in another part: rounding differs.
                    assert!(day.center.distance_m(its.center) < 0.5);
                    let area = mine.shape.area_m2() / its.shape.area_m2();
                    assert!((area - 1.0).abs() < 1e-4, "{area}");
                    let landing = zone.facts.landing_quantiles.high;
                    let late = day.latest_landing.duration_since(landing).as_secs_f64();
                    assert!(late.abs() < 0.1, "{late}");
                    checked += 1;
                }
            }
            None => {
                let message = zone.unwrap_err().to_string();
                let Reason::NotFlown { why, .. } = &row.reason else {
                    panic!("{:?}", row.reason);
                };
                assert!(message.starts_with(why), "{message} / {why}");
                checked += 1;
            }
        }
    }
    assert!(checked >= 4, "{checked}");
}

#[test]
fn what_is_not_known_keeps_its_row_and_has_no_rank() {
    let (_, _, days) = compared("");
    let at = |hour: &str| {
        let time: Timestamp = hour.parse().unwrap();
        days.rows.iter().find(|r| r.release == time).unwrap()
    };
    assert_eq!(days.rows.len(), sample_times().len());
    let night = at("2023-10-13T03:00:00Z");
    assert_eq!((night.verdict, night.rank), (Verdict::Unknown, None));
    assert!(
        reason(night).contains("lies outside the winds"),
        "{}",
        reason(night)
    );
    let leaves = at("2023-10-13T09:00:00Z");
    assert_eq!((leaves.verdict, leaves.rank), (Verdict::Unknown, None));
    // Where, at what height and when it left.
    for part in [
        "leaves the region",
        "N, 8.",
        " ft) above sea level",
        "2023-10-13 10:",
    ] {
        assert!(reason(leaves).contains(part), "{}", reason(leaves));
    }
    let partly = at("2023-10-14T13:00:00Z");
    assert_eq!((partly.verdict, partly.rank), (Verdict::Unknown, None));
    assert!(partly.day.is_some() && reason(partly).contains("% of the draws leave"));
    assert!(days.basis.covered.unwrap().contains("39 to 40 N"));
}

#[test]
fn ranks_follow_from_verdict_and_strain() {
    let (_, _, days) = compared("[limits]\nsurface_wind = \"5 m/s\"\nmax_drift = \"33 km\"\n");
    let mut known: Vec<&ReleaseRow> = days.rows.iter().filter(|r| r.rank.is_some()).collect();
    known.sort_by_key(|r| r.rank);
    assert!(known.len() >= 2, "{}", known.len());
    let ranks: Vec<usize> = known.iter().filter_map(|r| r.rank).collect();
    assert_eq!(ranks, (1..=known.len()).collect::<Vec<_>>());
    for pair in known.windows(2) {
        let key = |r: &ReleaseRow| (r.verdict, r.strain);
        assert!(key(pair[0]) <= key(pair[1]));
    }
    for row in &known {
        let s = row.strains;
        let strains = [s.wind, s.drift, s.hits, s.all_hits, s.water, s.daylight];
        let worst = strains.into_iter().flatten().fold(0.0, f64::max);
        assert_eq!(worst, row.strain);
        let verdict = match worst {
            w if w > 1.0 => Verdict::BeyondLimit,
            w if w > 0.8 => Verdict::NearLimit,
            _ => Verdict::WithinLimits,
        };
        assert_eq!(row.verdict, verdict);
    }
    let day = known[0].day.as_ref().unwrap();
    assert!((known[0].strains.drift.unwrap() - day.distance_m / 33_000.0).abs() < 1e-12);
}

/// The wind at the ground is the lowest of the forecast's column above the site, brought down to 10 m
/// by a logarithmic profile over a roughness of 0.1 m.
#[test]
fn the_wind_at_the_ground_is_that_of_the_column() {
    let (plan, _, days) = compared("");
    let archive = archive(PORTUGAL_2023);
    let row = &days.rows[0];
    let day = row.day.as_ref().unwrap();
    let mut checked = 0;
    for &SurfaceWind {
        after_s,
        speed_m_s: speed,
        ..
    } in &day.surface
    {
        let time = row.release + jiff::SignedDuration::from_secs(after_s as i64);
        let column = archive.profile(plan.site.position, time).unwrap();
        // ERA5 in the sample has no wind at 10 m; its lowest level is at some 160 m, above 106 m.
        let mut levels = column.levels.iter();
        let lowest = levels
            .find(|l| l.wind.is_some() && l.altitude_m > 96.0)
            .unwrap();
        let above_m = lowest.altitude_m - 96.0;
        let share = (10.0_f64 / 0.1).ln() / (above_m / 0.1).ln();
        let expected = share * lowest.wind.unwrap().speed_m_s();
        // Levels of a blended column are a little apart from those of the columns around.
        assert!((speed - expected).abs() < 0.1, "{speed} {expected}");
        checked += 1;
    }
    assert_eq!(checked, 4);
}

#[test]
fn keep_out_and_land_in_areas_are_counted() {
    let folder = tempfile::tempdir().unwrap();
    let square = |west: f64, east: f64| {
        format!(
            r#"{{"type":"Polygon","coordinates":[[[{west},39.0],[{east},39.0],[{east},40.5],[{west},40.5],[{west},39.0]]]}}"#
        )
    };
    let (out, into) = (
        folder.path().join("out.geojson"),
        folder.path().join("into.geojson"),
    );
    // The landings' centre is about 8.47 W.
    std::fs::write(&out, square(-8.47, -7.0)).unwrap();
    std::fs::write(&into, square(-9.0, -8.47)).unwrap();
    let more = format!(
        "[ground]\nkeep_out = [{:?}]\nland_in = [{:?}]\n",
        out.to_str().unwrap(),
        into.to_str().unwrap()
    );
    let (_, _, days) = compared(&more);
    let day = days.rows[0].day.as_ref().unwrap();
    let worst = day.worst_hazard().unwrap();
    assert_eq!(worst.name, "keep-out area");
    assert!(worst.share > 0.2 && worst.share < 0.7, "{worst:?}");
    assert!((day.land_in.unwrap() + worst.share - 1.0).abs() < 1e-9);
    assert_eq!(days.rows[0].verdict, Verdict::BeyondLimit);
    assert!(
        reason(&days.rows[0]).contains("keep-out area"),
        "{}",
        reason(&days.rows[0])
    );
}

/// A buffer of the plan replaces the default one, a site limit likewise.
#[test]
fn distances_of_the_plan_replace_the_defaults() {
    let more = "[ground]\nbuffers = [[\"small airport\", \"5 km\"]]\nsite_limits = [[\"small airport\", \"5 km\"]]\n";
    let share = |days: &Days| {
        let day = days.rows[0].day.as_ref().unwrap();
        let hazard = day.hazards.iter().find(|h| h.name == "small airport");
        let hazard = hazard.unwrap();
        (hazard.within_m, hazard.share.unwrap())
    };
    let ((_, _, default), (_, _, wider)) = (compared(""), compared(more));
    assert_eq!(share(&default).0, 1_000.0);
    assert_eq!(share(&wider).0, 5_000.0);
    assert!(share(&wider).1 > 3.0 * share(&default).1);
    let near = |days: &Days| {
        let found = days.site_check.iter().find(|f| f.name == "small airport");
        found.unwrap().verdict
    };
    // The nearest is 4.2 km away.
    assert_eq!(near(&default), SiteVerdict::FarEnough);
    assert_eq!(near(&wider), SiteVerdict::TooNear);
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(root.join(PLAN)).unwrap();
    let wrong = text + "[ground]\nbuffers = [[\"motorways\", \"5 km\"]]\n";
    let error = Plan::parse("p.toml", &wrong, root).unwrap_err();
    let error = error.to_string();
    assert!(
        error.contains("motorway road") && error.contains("\"motorways\""),
        "{error}"
    );
}

/// What lies around: the nearest town, and the airports that flights pass.
#[test]
fn the_nearest_place_and_the_air_near_airports_are_told() {
    let (_, _, days) = compared("");
    let day = days.rows[0].day.as_ref().unwrap();
    let place = day.place.as_ref().unwrap();
    // The nearest of all built-in towns by the haversine formula.
    let haversine_m = |town: &Town| {
        let (lat, lon) = (
            town.position.lat_deg.to_radians(),
            town.position.lon_deg.to_radians(),
        );
        let (lat2, lon2) = (
            day.center.lat_deg.to_radians(),
            day.center.lon_deg.to_radians(),
        );
        let h = ((lat2 - lat) / 2.0).sin().powi(2)
            + lat.cos() * lat2.cos() * ((lon2 - lon) / 2.0).sin().powi(2);
        2.0 * 6_371_000.0 * h.sqrt().asin()
    };
    let all = towns().unwrap().all().iter();
    let nearest = all
        .min_by(|a, b| haversine_m(a).total_cmp(&haversine_m(b)))
        .unwrap();
    assert_eq!(place.name, nearest.full_name());
    assert!(place.name.ends_with(", PT"), "{}", place.name);
    assert!((place.distance_m - haversine_m(nearest)).abs() < 0.005 * place.distance_m + 1.0);
    // All flights start 4.2 km from a small airport: within its 4.6 km, below its 610 m.
    let small = day.airspace.iter().find(|p| p.airport == "small airport");
    assert_eq!(small.unwrap().share, 1.0);
    let large = day.airspace.iter().find(|p| p.airport == "large airport");
    assert_eq!(large.unwrap().share, 0.0);
}

#[test]
fn the_program_writes_every_format() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let all: Vec<String> = ["d.csv", "d.json", "d.geojson", "d.svg", "d.png"]
        .iter()
        .map(|name| file(name))
        .collect();
    let run = |threads: &str| {
        let mut args = vec![PLAN, "--draws", "200", "--threads", threads];
        args.extend(["--from", "2023-10-12", "--to", "2023-10-12"]);
        for path in &all {
            args.extend(["--out", path]);
        }
        let output = windfall("days", &args);
        assert!(output.status.success(), "{}", stderr(&output));
        let files: Vec<Vec<u8>> = all.iter().map(|f| std::fs::read(f).unwrap()).collect();
        (stdout(&output), files)
    };
    let one = run("1");
    assert_eq!(one, run("3"));
    let (text, files) = one;
    assert!(text.contains("what decides") && text.contains("Thu 2023-10-12 10:00"));
    let mut rows = csv::Reader::from_reader(&files[0][..]);
    assert_eq!(rows.records().count(), 7);
    let json: Value = serde_json::from_slice(&files[1]).unwrap();
    assert_eq!(json["rows"].as_array().unwrap().len(), 7);
    let geojson: Value = serde_json::from_slice(&files[2]).unwrap();
    let feature = &geojson["features"][0];
    assert_eq!(feature["properties"]["kind"], "ellipse");
    assert!(feature["properties"]["release"].is_string());
    assert!(files[3].starts_with(b"<svg") || files[3].starts_with(b"<?xml"));
    assert!(files[4].starts_with(b"\x89PNG"));
}

/// Files are told by their names: where their maker keeps them is nobody else's business. What to know of them
/// stands in each format.
#[test]
fn no_format_tells_folders_and_all_have_the_notes() {
    let folder = tempfile::tempdir().unwrap();
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("samples/high-plains");
    let text = std::fs::read_to_string(root.join("plan.toml")).unwrap();
    // A gap of some kilometres.
    let sounding = std::fs::read_to_string(root.join("riverton-2026-02-05.csv")).unwrap();
    let gap = sounding
        .lines()
        .enumerate()
        .filter(|(i, _)| *i < 60 || *i > 110);
    let gap: Vec<&str> = gap.map(|(_, line)| line).collect();
    std::fs::write(
        folder.path().join("riverton-2026-02-05.csv"),
        gap.join("\n"),
    )
    .unwrap();
    let ring = "[[[-109,42],[-107,42],[-107,44],[-109,44],[-109,42]]]";
    let area = format!(r#"{{"type":"Polygon","coordinates":{ring}}}"#);
    std::fs::write(folder.path().join("area.geojson"), area).unwrap();
    let line = r#"{"type":"LineString","coordinates":[[-108.5,42.9],[-108.1,42.9]]}"#;
    let odd = format!(
        r#"{{"type":"FeatureCollection","features":[{{"type":"Feature","properties":{{}},"geometry":{line}}},
        {{"type":"Feature","properties":{{}},"geometry":{{"type":"Polygon","coordinates":{ring}}}}}]}}"#
    );
    std::fs::write(folder.path().join("odd.geojson"), odd).unwrap();
    let plan = folder.path().join("plan.toml");
    let more = "[ground]\nland_in = [\"area.geojson\"]\nkeep_out = [\"odd.geojson\"]\n";
    std::fs::write(&plan, text + more).unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let outputs = ["d.csv", "d.json", "d.geojson"].map(path);
    let mut args = vec![plan.to_str().unwrap(), "--draws", "100"];
    args.extend([
        "--from",
        "2026-02-05",
        "--to",
        "2026-02-05",
        "--hours",
        "17:00-17:00",
    ]);
    for path in &outputs {
        args.extend(["--out", path]);
    }
    let output = windfall("days", &args);
    assert!(output.status.success(), "{}", stderr(&output));
    let files = outputs.map(|path| std::fs::read_to_string(path).unwrap());
    let [_, json, geojson] = &files;
    let table = stdout(&output);
    for text in files.iter().chain([&table]) {
        assert!(!text.contains(folder.path().to_str().unwrap()), "{text}");
    }
    let [json, geojson] = [json, geojson].map(|text| serde_json::from_str::<Value>(text).unwrap());
    assert_eq!(json["cleaning"][0]["file"], "riverton-2026-02-05.csv");
    let notes = geojson["notes"].as_array().unwrap();
    let said: Vec<&str> = notes.iter().filter_map(|n| n["words"].as_str()).collect();
    assert_eq!(said.len(), notes.len());
    for file in ["riverton-2026-02-05.csv: ", "odd.geojson, "] {
        let note = said.iter().find(|words| words.starts_with(file));
        let note = note.unwrap_or_else(|| panic!("{file}: {said:?}"));
        // The table breaks its lines.
        let words = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(words(&table).contains(&words(note)), "{note}: {table}");
    }
}

/// The pictures that lie beside the samples.
#[test]
fn the_pictures_of_the_samples_are_those_that_are_drawn() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("days.svg");
    for (sample, hours, every) in [
        ("ribatejo", "09:00-16:00", "1h"),
        ("lake-shore", "06:00-18:00", "2h"),
    ] {
        let plan = format!("samples/{sample}/plan.toml");
        let out = path.to_str().unwrap();
        let args = [&plan, "--hours", hours, "--every", every, "--out", out];
        assert!(windfall("days", &args).status.success());
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let kept = root.join(format!("samples/{sample}/days.svg"));
        let kept = std::fs::read_to_string(kept).unwrap();
        assert_eq!(std::fs::read_to_string(&path).unwrap(), kept, "{sample}");
    }
}

/// Programs read what decides and what is assumed by its code and its numbers in SI, whatever units
/// the words are in.
#[test]
fn reasons_and_assumptions_are_data_with_words() {
    let [metric, us] = ["metric", "us"].map(|units| {
        let args = [
            PLAN,
            "--hours",
            "09:00-13:00",
            "--draws",
            "40",
            "--json",
            "--units",
            units,
        ];
        let text = stdout(&windfall("days", &args));
        serde_json::from_str::<serde_json::Value>(&text).unwrap()
    });
    let mut decided = 0;
    for (a, b) in metric["rows"]
        .as_array()
        .unwrap()
        .iter()
        .zip(us["rows"].as_array().unwrap())
    {
        let (a, b) = (&a["reason"], &b["reason"]);
        assert_eq!(a["code"], b["code"]);
        assert!(!a["words"].as_str().unwrap().is_empty());
        if a["code"] == "surface_wind" {
            assert_eq!(
                (&a["speed_m_s"], &a["limit_m_s"]),
                (&b["speed_m_s"], &b["limit_m_s"])
            );
            assert!(a["words"].as_str().unwrap().ends_with(" m/s"), "{a}");
            assert!(b["words"].as_str().unwrap().ends_with(" mph"), "{b}");
            decided += 1;
        }
    }
    assert!(decided > 0, "{metric:#}");
    let coarse = |json: &serde_json::Value| {
        let all = json["assumptions"].as_array().unwrap().clone();
        all.iter()
            .any(|a| a["code"] == "coarse_ground" && a["words"].is_string())
    };
    assert!(coarse(&metric) && coarse(&us));
    assert!(metric["limits"]["surface_wind_m_s"].is_number());
    assert_eq!(metric["limits"]["words"].as_array().unwrap().len(), 6);
}

/// A forecast of one hour is held for several, and every table says so.
#[test]
fn a_forecast_of_one_time_is_said_to_be_held() {
    let args = [
        "samples/idaho/plan.toml",
        "--hours",
        "13:00-14:00",
        "--draws",
        "40",
    ];
    let text = stdout(&windfall("days", &args));
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let held = "the winds are for one time, 2017-03-22 00:00 UTC: they are used for 4 h 00 min before and after, assumed";
    assert!(words.contains(held), "{text}");
}

/// The first hour of a forecast is not left before it begins: releases are late, never early.
#[test]
fn the_first_hour_of_a_forecast_is_known() {
    let plan = plan("");
    let at_first = times(&["2023-10-12T09:00:00Z"]);
    let days = days(&plan, &winds(&plan), &at_first, OPTIONS, || ()).unwrap();
    let words = reason(&days.rows[0]);
    assert!(!words.contains("hours"), "{words}");
}

#[test]
fn wrong_usage_and_empty_periods_are_refused() {
    for (args, code, words) in [
        (&[PLAN, "--hours", "11-5"][..], 2, "hours of the day"),
        (&[PLAN, "--every", "5 s"], 2, "from a minute to a day"),
        (&[PLAN, "--out", "days.pdf"], 2, "csv, json"),
        (
            &[PLAN, "--from", "2023-10-20", "--to", "2023-10-19"],
            1,
            "no release time",
        ),
        (&["nowhere.toml"], 1, "nowhere.toml"),
    ] {
        let output = windfall("days", args);
        assert_eq!(output.status.code(), Some(code), "{args:?}");
        assert!(stderr(&output).contains(words), "{}", stderr(&output));
        assert_eq!(stdout(&output), "");
    }
}

/// What `zone` says of stack, site and logbook, `days` says as well.
#[test]
fn days_tell_what_is_assumed_of_site_stack_and_logbook() {
    let folder = tempfile::tempdir().unwrap();
    let text = std::fs::read_to_string("samples/high-plains/plan.toml").unwrap();
    let text = text
        .replace("elevation = \"1640 m\"\n", "")
        .replace("burst_diameter = \"8.63 m\"\n", "")
        .replace(
            "neck_lift = \"6.8 kg\"",
            "cylinders = { contents = \"291 ft3\" }",
        )
        .replace("[spread]", "[spread]\nlogbook = \"flights.toml\"");
    let path = |name: &str| folder.path().join(name);
    std::fs::write(path("plan.toml"), text).unwrap();
    let flight = "[[flight]]\nname = \"a\"\nreleased = \"2024-05-03T14:03:33Z\"\nlat = 40\nlon = -87\nmiss_km = 4\nalong_km = 3\nacross_km = 2\nrate = 0.9\nfall = 1.1\nwinds_squared = 3.0\n";
    std::fs::write(path("flights.toml"), flight).unwrap();
    let winds = "riverton-2026-02-05.csv";
    std::fs::copy(Path::new("samples/high-plains").join(winds), path(winds)).unwrap();
    let plan = path("plan.toml");
    let codes = |command: &str, more: &[&str]| {
        let args = [&[plan.to_str().unwrap(), "--draws", "40", "--json"], more].concat();
        let output = windfall(command, &args);
        let json: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
        let all = json
            .pointer("/zone/assumptions")
            .unwrap_or(&json["assumptions"]);
        let told = all.as_array().unwrap().iter().map(|a| {
            let what = a["what"].as_str().unwrap_or_default();
            format!("{} {what}", a["code"].as_str().unwrap())
        });
        told.collect::<std::collections::BTreeSet<String>>()
    };
    let hours = [
        "--from",
        "2026-02-05",
        "--to",
        "2026-02-05",
        "--hours",
        "16:00-17:00",
    ];
    let (zone, days) = (codes("zone", &[]), codes("days", &hours));
    for code in [
        "site_elevation ",
        "burst_diameter ",
        "times_in_utc ",
        "contents_at_pressure ",
        "learnt rate",
        "learnt fall",
        "learnt winds",
        "lands_at_site ",
    ] {
        assert!(zone.contains(code), "{code}: {zone:?}");
        assert!(days.contains(code), "{code}: {days:?}");
    }
}
