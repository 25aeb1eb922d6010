//! What decides about a release: water, all hazards, darkness, old and distant soundings; and how that is
//! told. On the sample whose days compare, in invented winds, and in a real sounding.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "common/program.rs"]
mod program;

use std::path::Path;

use program::{stderr, stdout, windfall};
use serde_json::Value;

const LAKE: &str = "samples/lake-shore";
/// Saturday's release stays on land, Sunday's comes down in Lake Michigan.
const HOUR: [&str; 4] = ["--hours", "09:00-09:00", "--draws", "300"];

/// A sample's plan with something in place of something else, its files beside it.
fn plan(folder: &Path, sample: &str, changes: &[(&str, &str)]) -> String {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join(sample);
    let mut text = std::fs::read_to_string(root.join("plan.toml")).unwrap();
    for (from, to) in changes {
        assert!(text.contains(from), "{from}");
        text = text.replace(from, to);
    }
    // A plan reads below its own folder only.
    for file in [
        "invented-winds.nc",
        "invented-roads.geojson",
        "riverton-2026-02-05.csv",
    ] {
        if root.join(file).is_file() {
            std::fs::copy(root.join(file), folder.join(file)).unwrap();
        }
    }
    let path = folder.join("plan.toml");
    std::fs::write(&path, text).unwrap();
    path.to_str().unwrap().to_owned()
}

fn days(plan: &str, args: &[&str]) -> Value {
    let output = windfall("days", &[&[plan, "--json"], args].concat());
    assert!(output.status.success(), "{}", stderr(&output));
    serde_json::from_slice(&output.stdout).unwrap()
}

/// The row of a release.
fn at<'a>(days: &'a Value, release: &str) -> &'a Value {
    let rows = days["rows"].as_array().unwrap();
    let mut found = rows.iter().filter(|row| row["release"] == release);
    found.next().unwrap_or_else(|| panic!("{release}"))
}

const SATURDAY: &str = "2026-05-09T13:00:00Z";
const SUNDAY: &str = "2026-05-10T13:00:00Z";

fn lake(changes: &[(&str, &str)], args: &[&str]) -> Value {
    let folder = tempfile::tempdir().unwrap();
    days(&plan(folder.path(), LAKE, changes), args)
}

#[test]
fn a_zone_in_a_lake_is_beyond_a_limit_of_its_own() {
    let compared = lake(&[], &HOUR);
    let (saturday, sunday) = (at(&compared, SATURDAY), at(&compared, SUNDAY));
    assert_eq!(saturday["verdict"], "within_limits", "{saturday:#}");
    assert_eq!(sunday["verdict"], "beyond_limit", "{sunday:#}");
    assert_eq!(sunday["reason"]["code"], "water");
    assert_eq!(sunday["reason"]["kind"], "lake");
    let words = sunday["reason"]["words"].as_str().unwrap();
    assert!(
        words.starts_with("water: ") && words.ends_with("limit 5 %"),
        "{words}"
    );
    let water = &sunday["day"]["water"];
    assert!(water["share"].as_f64().unwrap() > 0.9, "{water}");
    assert_eq!(water["share"], water["lake_share"]);
    assert_eq!(at(&compared, SATURDAY)["day"]["water"]["share"], 0.0);
    let assumed = compared["assumptions"].as_array().unwrap();
    assert!(assumed.iter().any(|a| a["code"] == "water_limit"));

    let wide = [("[limits]\n", "[limits]\nwater_probability = 1.0\n")];
    let compared = lake(&wide, &HOUR);
    assert_ne!(at(&compared, SUNDAY)["verdict"], "beyond_limit");
}

#[test]
fn landings_in_a_lake_are_told_before_where_to_wait() {
    let folder = tempfile::tempdir().unwrap();
    let plan = plan(folder.path(), LAKE, &[]);
    let sunday = [
        plan.as_str(),
        "--release",
        "2026-05-10 10:00",
        "--draws",
        "300",
    ];
    let output = windfall("zone", &sunday);
    let table = stdout(&output);
    let wet =
        "of the draws come down in water, limit 5 % (assumed): think again before you release";
    let (warned, wait) = (table.find(wet).unwrap(), table.find("Wait here").unwrap());
    assert!(warned < wait, "{table}");
    let out = folder.path().join("out");
    let out = out.to_str().unwrap();
    windfall("brief", &[&sunday[..], &["--out", out]].concat());
    let message = std::fs::read_to_string(format!("{out}/message.txt")).unwrap();
    let second = message.lines().nth(1).unwrap();
    assert!(
        second.ends_with("% chance of coming down in water: think again before you release"),
        "{message}"
    );
    let saturday = [
        plan.as_str(),
        "--release",
        "2026-05-09 09:00",
        "--draws",
        "300",
    ];
    let table = stdout(&windfall("zone", &saturday));
    assert!(!table.contains("in water"), "{table}");
}

/// A plan on a coast whose loads come down in the sea.
fn coast(folder: &Path) -> String {
    // From Romney Marsh some 50 km to the southeast, into the Channel.
    let rows = "altitude_m,wind_speed_m_s,wind_direction_deg\n0,3,330\n300,8,330\n40000,8,330\n";
    std::fs::write(folder.join("uniform.csv"), rows).unwrap();
    let text = "[flight]\nrelease = 2026-05-01T08:00:00Z\n[site]\nlat = 50.95\nlon = 0.8\nelevation = \"0 m\"\n[wind]\nfiles = [\"uniform.csv\"]\n[ascent]\nrate = \"5 m/s\"\nburst_altitude = \"20 km\"\n[descent]\nrates = [[\"0 m\", \"10 m/s\"]]\n[spread]\nwind = \"none\"\n";
    let path = folder.join("plan.toml");
    std::fs::write(&path, text).unwrap();
    path.to_str().unwrap().to_owned()
}

#[test]
fn the_sea_of_the_built_in_coast_is_water() {
    let folder = tempfile::tempdir().unwrap();
    let path = coast(folder.path());
    let args = [
        "--from",
        "2026-05-01",
        "--to",
        "2026-05-01",
        "--hours",
        "08:00-08:00",
        "--draws",
        "200",
    ];
    let compared = days(&path, &args);
    let row = &compared["rows"][0];
    assert!(
        row["day"]["water"]["sea_share"].as_f64().unwrap() > 0.9,
        "{row:#}"
    );
    assert_eq!(row["verdict"], "beyond_limit");
    assert_eq!(row["reason"]["kind"], "sea");
}

/// A landing in the dark is beyond its limit by a number, which JSON has.
#[test]
fn a_landing_in_the_dark_has_a_number() {
    let folder = tempfile::tempdir().unwrap();
    let args = [
        "--from",
        "2026-05-01",
        "--to",
        "2026-05-01",
        "--hours",
        "20:00-20:00",
        "--draws",
        "50",
    ];
    let compared = days(&coast(folder.path()), &args);
    let strains = &compared["rows"][0]["strains"];
    assert_eq!(strains["daylight"], 1e12, "{strains:#}");
}

/// In June at Fairbanks the sun sets after midnight, and before that of the evening before.
#[test]
fn the_sunset_of_a_day_is_its_last() {
    let folder = tempfile::tempdir().unwrap();
    let path = coast(folder.path());
    let text = std::fs::read_to_string(&path).unwrap();
    let text = text.replace("2026-05-01T08", "2026-06-21T20");
    let text = text.replace("lat = 50.95\nlon = 0.8", "lat = 64.84\nlon = -147.72");
    let text = text.replace("[flight]", "[flight]\ntimezone = \"America/Anchorage\"");
    std::fs::write(&path, text).unwrap();
    let args = [
        "--from",
        "2026-06-21",
        "--to",
        "2026-06-21",
        "--hours",
        "00:00-24:00",
        "--every",
        "6h",
        "--draws",
        "50",
    ];
    let output = windfall("days", &[&[path.as_str()], &args[..]].concat());
    let table = stdout(&output);
    assert!(
        table.contains("sunrise 02:5") && table.contains(" the next day"),
        "{table}{}",
        stderr(&output)
    );
}

/// A stack that does not rise is not told as winds that end too soon.
#[test]
fn what_cannot_fly_is_not_blamed_on_the_winds() {
    let folder = tempfile::tempdir().unwrap();
    let plan = plan(folder.path(), LAKE, &[]);
    let args = [
        plan.as_str(),
        "--lift",
        "1 kg",
        "--every",
        "6h",
        "--hours",
        "06:00-18:00",
    ];
    let table = stdout(&windfall("days", &args));
    assert!(table.contains("releases unknown, not flown"), "{table}");
    assert!(
        table.contains("does not lift") && !table.contains("the winds do not reach"),
        "{table}"
    );
}

/// The briefing of landings in the sea has it among what the draws come down on, and sends nobody there.
#[test]
fn a_briefing_of_the_sea_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("out");
    let plan = coast(folder.path());
    let args = [
        plan.as_str(),
        "--draws",
        "200",
        "--out",
        out.to_str().unwrap(),
    ];
    let output = windfall("brief", &args);
    assert!(output.status.success(), "{}", stderr(&output));
    let read = |name: &str| std::fs::read_to_string(out.join(name)).unwrap();
    let page = read("brief.html");
    let rows = page.split("<tr>").filter(|row| row.contains(">sea<"));
    let shares = rows.filter_map(|row| {
        row.split(" %")
            .next()?
            .rsplit('>')
            .next()?
            .parse::<f64>()
            .ok()
    });
    assert!(shares.max_by(f64::total_cmp).unwrap() > 50.0);
    let message = read("message.txt");
    assert!(
        message.contains("Think again before you release") && !message.contains("be there"),
        "{message}"
    );
    assert!(
        message
            .lines()
            .last()
            .unwrap()
            .starts_with("release https://"),
        "{message}"
    );
}

#[test]
fn motorways_decide_and_so_does_the_sum_over_all_hazards() {
    // So wide around motorways that half of Saturday's landings count.
    let near = [(
        "[ground]\n",
        "[ground]\nbuffers = [[\"motorway road\", \"8 km\"]]\n",
    )];
    let compared = lake(&near, &HOUR);
    let row = at(&compared, SATURDAY);
    assert_eq!(row["verdict"], "beyond_limit", "{row:#}");
    assert_eq!(row["reason"]["hazard"], "motorway road");

    let compared = lake(&[], &HOUR);
    let mut larger = 0;
    for row in compared["rows"].as_array().unwrap() {
        let hazards = row["day"]["hazards"].as_array().unwrap().iter();
        let shares: Vec<f64> = hazards
            .filter(|h| h["to_keep_clear_of"] == true)
            .filter_map(|h| h["share"].as_f64())
            .collect();
        let most = shares.iter().copied().fold(0.0, f64::max);
        let all = row["day"]["all_hazards"]["share"].as_f64().unwrap();
        assert!(
            all >= most && all <= shares.iter().sum::<f64>() + 1e-9,
            "{row:#}"
        );
        larger += usize::from(all > most);
    }
    assert!(larger > 0);
    // A limit on all of them that is broken where that on any one is kept.
    let all = [("[limits]\n", "[limits]\nall_hazards_probability = 0.01\n")];
    let compared = lake(&all, &HOUR);
    let reason = &at(&compared, SATURDAY)["reason"];
    assert_eq!(reason["code"], "all_hits", "{reason}");
    assert_eq!(reason["limit_share"], 0.01);
}

#[test]
fn a_release_before_sunrise_is_near_a_limit_unless_the_plan_allows_it() {
    let early = ["--hours", "05:00-08:00", "--every", "3h", "--draws", "100"];
    let release = "2026-05-09T10:00:00Z";
    let hours = ["--hours", "06:00-06:00", "--draws", "100"];
    let compared = lake(&[], &hours);
    let row = at(&compared, release);
    assert_eq!(row["verdict"], "near_limit", "{row:#}");
    assert_eq!(row["reason"]["code"], "dark_release");
    // By Spencer's series (1971), good to two minutes, the sun rises at 06:29 and sets at 20:51 that day.
    let words = row["reason"]["words"].as_str().unwrap();
    assert!(
        words.contains("sunrise 06:27") && words.contains("sunset 20:51"),
        "{words}"
    );
    let allowed = lake(&[("[limits]\n", "[limits]\ndark_release = true\n")], &hours);
    assert_eq!(at(&allowed, release)["verdict"], "within_limits");
    assert_eq!(at(&allowed, release)["day"]["dark_release"], true);
    let folder = tempfile::tempdir().unwrap();
    let path = plan(folder.path(), LAKE, &[]);
    let table = stdout(&windfall("days", &[&[path.as_str()], &early[..]].concat()));
    assert!(
        table.contains("Sat 2026-05-09, sunrise 06:27, sunset 20:51"),
        "{table}"
    );
    assert!(table.contains("06:00d ~ near a limit"), "{table}");
}

/// A forecast's own wind at 10 m is taken even where nobody says how high the ground is. The number was
/// computed from the file with netCDF4, bilinear between its four points.
#[test]
fn the_forecasts_own_wind_at_10_m_goes_before_levels() {
    let compared = lake(&[], &["--hours", "08:00-08:00", "--draws", "50"]);
    let day = &at(&compared, "2026-05-09T12:00:00Z")["day"];
    assert_eq!(day["surface_from"]["code"], "ten_metres", "{day:#}");
    let winds = day["surface"].as_array().unwrap();
    let mut now = winds.iter().filter(|wind| wind["after_s"] == 0.0);
    let speed = now.next().unwrap()["speed_m_s"].as_f64().unwrap();
    assert!((speed - 0.379).abs() < 0.002, "{speed}");
    let folder = tempfile::tempdir().unwrap();
    let path = plan(folder.path(), LAKE, &[]);
    let table = stdout(&windfall("days", &[&[path.as_str()], &HOUR[..]].concat()));
    assert!(table.contains("the forecast's own at 33 ft"), "{table}");
}

#[test]
fn an_old_or_distant_sounding_makes_a_release_unknown() {
    let folder = tempfile::tempdir().unwrap();
    let path = plan(folder.path(), "samples/high-plains", &[]);
    let run = |plan: &str, day: &str| {
        days(
            plan,
            &[
                "--from",
                day,
                "--to",
                day,
                "--hours",
                "17:00-17:00",
                "--draws",
                "100",
            ],
        )
    };
    let fresh = run(&path, "2026-02-05");
    assert_ne!(fresh["rows"][0]["verdict"], "unknown", "{fresh:#}");
    let old = run(&path, "2027-02-05");
    let row = &old["rows"][0];
    assert_eq!(
        (&row["verdict"], &row["rank"]),
        (&"unknown".into(), &Value::Null)
    );
    assert_eq!(row["reason"]["code"], "old_winds");
    assert_eq!(row["reason"]["limit_s"], 86_400.0);
    let age_s = row["day"]["wind_age_s"].as_f64().unwrap();
    assert!((age_s / 86_400.0 - 365.0).abs() < 0.2, "{age_s}");
    let args = [
        path.as_str(),
        "--from",
        "2027-02-05",
        "--to",
        "2027-02-05",
        "--draws",
        "50",
    ];
    let table = stdout(&windfall("days", &args));
    assert!(
        table.contains("? unknown") && table.contains("h old, limit 24 h"),
        "{table}"
    );

    // 43.02 N and 3.5 degrees farther north are 389 km apart.
    let far = plan(
        folder.path(),
        "samples/high-plains",
        &[("lat = 43.02", "lat = 46.52")],
    );
    let row = &run(&far, "2026-02-05")["rows"][0];
    assert_eq!(row["verdict"], "unknown");
    assert_eq!(row["reason"]["code"], "distant_winds");
    assert!(row["day"]["wind_distance_m"].as_f64().unwrap() > 300_000.0);
}

#[test]
fn the_table_is_at_most_120_columns_wide_and_names_the_limit() {
    for (plan, hours, units, no_limit) in [
        ("samples/lake-shore/plan.toml", "05:00-11:00", "us", false),
        ("samples/ribatejo/plan.toml", "09:00-16:00", "metric", true),
    ] {
        let args = [plan, "--hours", hours, "--units", units, "--draws", "100"];
        let table = stdout(&windfall("days", &args));
        let (rows, _) = table.split_once("\n* strongest").unwrap();
        assert!(rows.lines().all(|l| l.chars().count() <= 120), "{table}");
        let releases: Vec<&str> = rows.lines().filter(|l| l.get(7..8) == Some(":")).collect();
        assert!(releases.len() > 6, "{table}");
        for row in releases {
            assert!(row.contains("limit") || row.contains("dark"), "{row}");
            assert_eq!(row.contains("no limit"), no_limit, "{row}");
        }
    }
}

#[test]
fn days_that_the_winds_do_not_cover_are_summed_up() {
    let args = [
        "samples/ribatejo/plan.toml",
        "--hours",
        "09:00-10:00",
        "--draws",
        "300",
    ];
    let table = stdout(&windfall("days", &args));
    let line =
        "Fri 2023-10-13 to Sun 2023-10-15: 6 releases unknown, the winds do not reach far enough";
    assert!(table.contains(line), "{table}");
    // Times in reasons are local: 09:19 in UTC.
    assert!(table.contains("2023-10-13 10:19"), "{table}");
    let told = table.split("Winds cover").next().unwrap();
    assert!(!told.contains("2023-10-13T"), "{told}");
}

#[test]
fn verdicts_are_the_same_codes_in_every_format_and_signs_for_people() {
    let folder = tempfile::tempdir().unwrap();
    let files = ["d.csv", "d.geojson", "d.svg"].map(|name| folder.path().join(name));
    let path = plan(folder.path(), LAKE, &[]);
    let mut args = vec![path.as_str()];
    args.extend(HOUR);
    for file in &files {
        args.extend(["--out", file.to_str().unwrap()]);
    }
    let table = stdout(&windfall("days", &args));
    assert!(
        table.contains("+ within limits") && table.contains("x beyond a limit"),
        "{table}"
    );
    let [csv, geojson, svg] = files.map(|file| std::fs::read_to_string(file).unwrap());
    for text in [&csv, &geojson] {
        assert!(
            text.contains("within_limits") && text.contains("beyond_limit"),
            "{text}"
        );
    }
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let column = reader
        .headers()
        .unwrap()
        .iter()
        .position(|name| name == "water_share");
    let shares: Vec<f64> = reader
        .records()
        .map(|row| row.unwrap()[column.unwrap()].parse().unwrap())
        .collect();
    assert!(shares[1] == 0.0 && shares[2] > 0.9, "{shares:?}");
    // Days apart, with rank and reason.
    for words in [
        "+ within limits",
        "Sat 9 May",
        "in water",
        "rank",
        "what decides",
        "limit 5 %",
    ] {
        assert!(svg.contains(words), "{words}");
    }
    for gone in [">+ fly", "marginal", "don't"] {
        assert!(
            !svg.contains(gone) && !table.contains(gone) && !csv.contains(gone),
            "{gone}"
        );
    }
}

#[test]
fn what_differs_between_the_best_two_is_told_with_its_sampling_error() {
    let compared = lake(&[], &["--hours", "07:00-08:00", "--draws", "300"]);
    let why = &compared["why_best"];
    let of_rank = |rank: u64| {
        let rows = compared["rows"].as_array().unwrap();
        rows.iter().find(|row| row["rank"] == rank).unwrap()
    };
    assert_eq!(why["best"]["release"], of_rank(1)["release"]);
    assert_eq!(why["second"]["release"], of_rank(2)["release"]);
    assert_eq!(why["verdict"], of_rank(2)["verdict"]);
    let differences = why["differences"].as_array().unwrap();
    let number = |d: &Value, key: &str| d[key].as_f64().unwrap();
    let of = |what: &str| differences.iter().find(|d| d["of"] == what).unwrap();
    for d in differences {
        let apart = (number(d, "best") - number(d, "second")).abs();
        assert_eq!(
            d["is_sure"],
            apart > 2.0 * number(d, "standard_error"),
            "{d}"
        );
    }
    assert_eq!(
        number(of("drift_m"), "best"),
        of_rank(1)["day"]["distance_m"].as_f64().unwrap()
    );
    // An hour of daylight is more than chance, a difference in the area of 300 draws is not.
    assert_eq!(of("daylight_s")["is_sure"], true);
    assert_eq!(of("area_m2")["is_sure"], false);
    // Friday's best is beyond a limit: of unlike verdicts nothing needs to be told.
    let args = [
        "--from",
        "2026-05-09",
        "--to",
        "2026-05-10",
        "--hours",
        "09:00-09:00",
        "--draws",
        "100",
    ];
    assert_eq!(lake(&[], &args)["why_best"], Value::Null);
}
