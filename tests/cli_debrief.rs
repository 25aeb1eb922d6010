//! `windfall debrief` as a person runs it: on a flight simulated from the sample plan's own prediction, with a
//! logbook that the next zone learns from, and on what can be wrong.

#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "common/briefing.rs"]
mod briefing;
#[path = "common/changed.rs"]
mod changed;
#[path = "common/program.rs"]
mod program;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use briefing::{root, said, skipped, tool};
use program::{stderr, stdout, windfall};
use serde_json::Value;

const PLAN: &str = "samples/high-plains/plan.toml";

/// Rows of the planned flight as a table, a share of its way up to another.
fn rows(from: f64, to: f64) -> String {
    let output = windfall("zone", &[PLAN, "--out", "-", "--draws", "100"]);
    let zone: Value = serde_json::from_slice(&output.stdout).unwrap();
    let features = zone["features"].as_array().unwrap();
    let track = features
        .iter()
        .find(|f| f["properties"]["kind"] == "track")
        .unwrap();
    let times = track["properties"]["times"].as_array().unwrap();
    let points = track["geometry"]["coordinates"].as_array().unwrap();
    let [from, to] = [from, to].map(|share| (share * times.len() as f64) as usize);
    let mut text = "time,latitude,longitude,altitude_m\n".to_owned();
    for (time, p) in times.iter().zip(points).take(to).skip(from) {
        text += &format!("{},{},{},{}\n", time.as_str().unwrap(), p[1], p[0], p[2]);
    }
    text
}

fn debrief(args: &[&str]) -> std::process::Output {
    windfall("debrief", &[&[PLAN, "--draws", "200"], args].concat())
}

fn file(folder: &Path, name: &str, text: &str) -> PathBuf {
    let path = folder.join(name);
    fs::write(&path, text).unwrap();
    path
}

/// Winds in a table have columns, and so has a logger.
#[test]
fn columns_of_winds_and_of_a_logger_are_told_apart() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str, text: &str| file(folder.path(), name, text).display().to_string();
    let track = path("track.csv", &rows(0.0, 1.0));
    let table = "z,s,d\n1500,5,270\n9000,20,280\n30000,10,290\n";
    let winds = path("winds.csv", table);
    let named = "z=height m, s=wind speed m/s, d=wind from";
    let output = debrief(&["--track", &track, "--wind", &winds, "--columns", named]);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    let logger = path("logger.csv", "1,2\n3,4\n");
    let wrong = ["--align", &logger, "--logger-columns", "time=1,furlong=2"];
    let output = debrief(&[&["--track", track.as_str()][..], &wrong].concat());
    assert!(
        stderr(&output).contains("--logger-columns"),
        "{}",
        stderr(&output)
    );
    // Nothing is lined up by the winds: what is said of them would be passed over.
    for (name, value) in [
        ("--wind", &*winds),
        ("--columns", named),
        ("--format", "csv"),
    ] {
        let args = ["--track", &track, "--align", &logger, name, value];
        let output = debrief(&args);
        assert_eq!(output.status.code(), Some(2), "{name}: {}", stderr(&output));
    }
}

#[test]
fn a_flight_as_planned_misses_nothing_and_two_halves_are_one_track() {
    let folder = tempfile::tempdir().unwrap();
    let whole = file(folder.path(), "whole.csv", &rows(0.0, 1.0));
    let first = file(folder.path(), "first.csv", &rows(0.0, 0.7));
    let second = file(folder.path(), "second.csv", &rows(0.5, 1.0));
    let json = |tracks: &[&Path]| -> Value {
        let mut args = vec!["--json"];
        for track in tracks {
            args.extend(["--track", track.to_str().unwrap()]);
        }
        serde_json::from_str(&stdout(&debrief(&args))).unwrap()
    };
    let one = json(&[&whole]);
    assert!(one["miss_m"].as_f64().unwrap() < 500.0, "{one}");
    assert_eq!(one["held"]["ellipse"], 0.5);
    for ln in one["ln_rates"].as_array().unwrap() {
        assert!(ln.as_f64().unwrap().abs() < 0.01, "{one}");
    }
    for part in one["causes"].as_array().unwrap() {
        for m in part["along_across_m"].as_array().unwrap() {
            assert!(m.as_f64().unwrap().abs() < 700.0, "{part}");
        }
    }
    for tracks in [[&first, &second], [&second, &first]] {
        let two = json(&tracks.map(PathBuf::as_path));
        for key in ["miss_m", "landing", "causes"] {
            assert_eq!(one[key], two[key], "{key}");
        }
    }
}

#[test]
fn a_track_that_ends_in_the_air_is_told_with_its_height() {
    let folder = tempfile::tempdir().unwrap();
    let falling = file(folder.path(), "falling.csv", &rows(0.0, 0.97));
    let text = stdout(&debrief(&["--track", falling.to_str().unwrap()]));
    assert!(text.contains("ends in the air, at "), "{text}");
    for (share, said) in [(0.3, "on its way up"), (0.01, "no report")] {
        let short = file(folder.path(), "short.csv", &rows(0.0, share));
        let output = debrief(&["--track", short.to_str().unwrap()]);
        let error = stderr(&output);
        assert!(!output.status.success());
        assert!(error.contains(said) || share < 0.02, "{error}");
    }
}

/// The height of its first fix is above the ground that it left, wherever the plan's site is.
#[test]
fn a_track_that_begins_late_is_told_from_where_it_was_released() {
    let folder = tempfile::tempdir().unwrap();
    let late = file(folder.path(), "late.csv", &rows(0.1, 1.0));
    let text = stdout(&debrief(&["--track", late.to_str().unwrap()]));
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains(" above where it was released on"), "{text}");
}

/// A higher flight five hours before it in the same file is another one, and is said to be.
#[test]
fn of_two_flights_of_a_day_the_one_of_the_plan_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let today = rows(0.0, 1.0);
    let (header, rows) = today.split_once('\n').unwrap();
    let mut earlier = String::new();
    for row in rows.lines() {
        let cells: Vec<&str> = row.split(',').collect();
        let time: jiff::Timestamp = cells[0].parse().unwrap();
        let time = time - jiff::SignedDuration::from_hours(5);
        let altitude_m: f64 = cells[3].parse().unwrap();
        let higher_m = 1_640.0 + 1.2 * (altitude_m - 1_640.0);
        earlier += &format!("{time},{},{},{higher_m}\n", cells[1], cells[2]);
    }
    let one = file(folder.path(), "one.csv", &today);
    let two = file(
        folder.path(),
        "two.csv",
        &format!("{header}\n{earlier}{rows}"),
    );
    let told = |path: &Path, more: &[&str]| {
        let args = [&["--track", path.to_str().unwrap()], more].concat();
        stdout(&debrief(&args))
    };
    let json = |path: &Path| -> Value { serde_json::from_str(&told(path, &["--json"])).unwrap() };
    let (one, both) = (json(&one), json(&two));
    for key in ["measured", "miss_m", "landing", "causes"] {
        assert_eq!(one[key], both[key], "{key}");
    }
    assert_eq!(both["others"]["flights"], 1);
    let text = told(&two, &[]);
    assert!(text.contains("of another flight are left out"), "{text}");
}

/// Heard last high up: where it landed is an estimate by the same winds, which teaches nothing of them.
#[test]
fn a_logbook_does_not_learn_from_a_landing_that_nobody_saw() {
    let folder = tempfile::tempdir().unwrap();
    let book = folder.path().join("flights.toml");
    for (share, seen) in [(0.8, false), (1.0, true)] {
        let track = file(folder.path(), "track.csv", &rows(0.0, share));
        let _ = fs::remove_file(&book);
        let paths = [&track, &book].map(|p| p.to_str().unwrap());
        let output = debrief(&["--track", paths[0], "--logbook", paths[1]]);
        let said = stderr(&output);
        assert_eq!(said.contains("but for what its landing"), !seen, "{said}");
        let row = fs::read_to_string(&book).unwrap();
        for key in ["within", "energy_km", "along_sigmas", "across_sigmas"] {
            assert_eq!(row.contains(&format!("\n{key} = ")), seen, "{key}: {row}");
        }
        assert!(row.contains("\nrate = "), "{row}");
    }
}

/// What a tracker sent long after its time is of the flight, as it stands in the log of one that was followed.
#[test]
fn what_was_heard_late_counts_after_the_flight() {
    let folder = tempfile::tempdir().unwrap();
    let table = rows(0.0, 1.0);
    let (mut at_once, mut later) = (String::new(), String::new());
    for (k, row) in table.lines().skip(1).enumerate() {
        let cells: Vec<&str> = row.split(',').collect();
        let at: jiff::Timestamp = cells[0].parse().unwrap();
        let held = (40..60).contains(&k);
        let heard = at + jiff::SignedDuration::from_secs(if held { 9_000 } else { 5 });
        let raw = format!(
            "{{\"time\":\"{at}\",\"lat\":{},\"lon\":{},\"alt\":{}}}",
            cells[1], cells[2], cells[3]
        );
        let line = windfall::track::reader::log_line(heard, raw.as_bytes());
        if held { &mut later } else { &mut at_once }.push_str(&line);
    }
    let log = file(folder.path(), "reports.log", &(at_once + &later));
    let output = debrief(&["--track", log.to_str().unwrap(), "--json"]);
    let told: Value = serde_json::from_slice(&output.stdout).unwrap();
    let heard = table.lines().count() as u64 - 1;
    assert_eq!(told["accepted"], heard, "{}", told["refused"]);
}

#[test]
fn the_next_zone_learns_from_the_logbook() {
    let folder = tempfile::tempdir().unwrap();
    let track = file(folder.path(), "whole.csv", &rows(0.0, 1.0));
    let book = folder.path().join("flights.toml");
    let args = [
        "--track",
        track.to_str().unwrap(),
        "--logbook",
        book.to_str().unwrap(),
    ];
    let first = debrief(&args);
    assert!(
        stderr(&first).contains("was written to"),
        "{}",
        stderr(&first)
    );
    let once = fs::read_to_string(&book).unwrap();
    assert!(stderr(&debrief(&args)).contains("already in"));
    assert_eq!(once, fs::read_to_string(&book).unwrap());
    // Ten slow flights with a fast fall.
    let start = once.find("[[flight]]").unwrap();
    let mut many = String::new();
    for day in 10..20 {
        let mut row = once[start..].to_owned();
        let key = |text: &str, key: &str, value: &str| -> String {
            let line = |l: &str| match l.starts_with(key) {
                true => format!("{key} = {value}\n"),
                false => format!("{l}\n"),
            };
            text.lines().map(line).collect()
        };
        for (name, value) in [
            ("rate", "0.8"),
            ("fall", "1.2"),
            ("released", &format!("\"2026-01-{day}T00:00:00Z\"")),
        ] {
            row = key(&row, name, value);
        }
        // The sample's sounding is of its release: what it says of winds is not written, and said so.
        assert!(!row.contains("winds_squared"));
        many += &(row + "winds_squared = 2.0\n");
    }
    fs::write(&book, many).unwrap();
    let plan = fs::read_to_string(PLAN).unwrap();
    let winds = fs::canonicalize("samples/high-plains").unwrap();
    for entry in fs::read_dir(winds).unwrap() {
        let entry = entry.unwrap();
        if entry.file_type().unwrap().is_file() {
            fs::copy(entry.path(), folder.path().join(entry.file_name())).unwrap();
        }
    }
    let learning = plan.replace("[spread]", "[spread]\nlogbook = \"flights.toml\"");
    assert_ne!(plan, learning);
    let learning = file(folder.path(), "learning.toml", &learning);
    let zone = |plan: &str| -> Value {
        let output = windfall("zone", &[plan, "--draws", "200", "--json"]);
        assert!(output.status.success(), "{}", stderr(&output));
        serde_json::from_slice(&output.stdout).unwrap()
    };
    let (before, after) = (zone(PLAN), zone(learning.to_str().unwrap()));
    let codes = |zone: &Value| {
        let all = zone["zone"]["assumptions"].as_array().unwrap().iter();
        all.filter(|a| a["code"] == "learnt").count()
    };
    assert_eq!((codes(&before), codes(&after)), (0, 4), "{after}");
    let touchdown = |zone: &Value| zone["facts"]["touchdown_speed_m_s"].as_f64().unwrap();
    let rate = |zone: &Value| zone["facts"]["mean_rate_m_s"].as_f64().unwrap();
    // 10 of 12 flights' worth of ln 1.2 and of ln 0.8.
    let fall = touchdown(&after) / touchdown(&before);
    assert!((fall - 1.2f64.powf(10.0 / 12.0)).abs() < 0.01, "{fall}");
    let rise = rate(&after) / rate(&before);
    assert!((rise - 0.8f64.powf(10.0 / 12.0)).abs() < 0.05, "{rise}");
    // A logbook that is none is refused with its name.
    fs::write(&book, "[[flight]]\nname = 3\n").unwrap();
    let output = windfall("zone", &[learning.to_str().unwrap()]);
    assert!(
        stderr(&output).contains("flights.toml"),
        "{}",
        stderr(&output)
    );
}

/// Reads one column of the row that is written for the records.
fn of_record(text: &str, name: &str) -> String {
    let mut lines = text.lines().map(|l| l.split(',').collect::<Vec<_>>());
    let (names, values) = (lines.next().unwrap(), lines.next().unwrap());
    assert_eq!((names.len(), lines.next()), (values.len(), None));
    let at = names.iter().position(|n| *n == name).unwrap();
    values[at].to_owned()
}

#[test]
fn a_page_a_map_and_a_row_are_written_by_ending_or_into_a_folder() {
    let folder = tempfile::tempdir().unwrap();
    // Later, and 12 km farther east than planned.
    let moved: String = rows(0.0, 1.0)
        .lines()
        .map(|line| {
            let mut cells: Vec<String> = line.split(',').map(str::to_owned).collect();
            if let Ok(lon) = cells[2].parse::<f64>() {
                cells[2] = format!("{:.6}", lon + 0.15);
            }
            cells.join(",") + "\n"
        })
        .collect();
    let track = file(folder.path(), "track.csv", &moved);
    let out = folder.path().join("debrief");
    let empty = file(
        folder.path(),
        "empty.csv",
        "time,latitude,longitude,altitude_m\n",
    );
    let [empty, to] = [&empty, &out].map(|path| path.to_str().unwrap());
    let refused = debrief(&["--track", empty, "--out", to]);
    assert!(!refused.status.success() && !out.exists());
    let args = [
        "--track",
        track.to_str().unwrap(),
        "--out",
        out.to_str().unwrap(),
        "--json",
    ];
    let json: Value = serde_json::from_str(&stdout(&debrief(&args))).unwrap();
    assert_eq!(json["winds_teach"], "of_the_flight");
    let text = |name: &str| fs::read_to_string(out.join(name)).unwrap();
    let record = text("record.csv");
    let miss_m: f64 = of_record(&record, "miss_m").parse().unwrap();
    assert!((miss_m - json["miss_m"].as_f64().unwrap()).abs() < 0.51);
    let number = |name: &str| of_record(&record, name).parse::<f64>().unwrap();
    for side in ["along_m", "across_right_m"] {
        let parts = ["release", "rise", "burst", "fall", "winds"];
        let sum: f64 = parts.iter().map(|p| number(&format!("{p}_{side}"))).sum();
        assert!((sum - number(side)).abs() < 3.0, "{side} {sum}: {record}");
    }
    let page = text("debrief.html");
    for said in [
        "<svg",
        "as flown (a double line)",
        "What caused the miss",
        "prefers-color-scheme: dark",
        "measured by the flight itself",
        "landing_speed = ",
        "across_right_m",
    ] {
        assert!(page.contains(said), "{said}");
    }
    for wrong in ["http://", "https://", "<script"] {
        let outside = page.replace("http://www.w3.org/2000/svg", "");
        assert!(!outside.contains(wrong), "{wrong}");
    }
    // What is copied from it is read by a plan.
    let (_, lines) = page.split_once("<pre").unwrap();
    let lines = lines
        .split_once('>')
        .unwrap()
        .1
        .split_once("</pre>")
        .unwrap()
        .0;
    let table: toml::Table = lines.replace("&quot;", "\"").parse().unwrap();
    assert!(table.contains_key("descent"), "{lines}");
    let zone: Value = serde_json::from_str(&text("debrief.geojson")).unwrap();
    let kinds: Vec<&str> = zone["features"]
        .as_array()
        .unwrap()
        .iter()
        .map(|f| f["properties"]["kind"].as_str().unwrap())
        .collect();
    for kind in ["track", "flown", "ellipse", "contour", "flown_landing"] {
        assert!(kinds.contains(&kind), "{kind} of {kinds:?}");
    }
    assert_eq!(&fs::read(out.join("map.png")).unwrap()[1..4], b"PNG");
    look_at(&out.join("debrief.html"));
    // Made again it takes the place of itself, but not that of a briefing.
    let again = &args[..4];
    stdout(&debrief(again));
    fs::remove_file(out.join("debrief.html")).unwrap();
    let map = fs::read(out.join("map.svg")).unwrap();
    let refused = stderr(&debrief(again));
    assert!(refused.contains("a folder of its own"), "{refused}");
    assert!(
        refused.contains("nothing says that it is of a debrief"),
        "{refused}"
    );
    assert_eq!(fs::read(out.join("map.svg")).unwrap(), map);
    // Before the track is read and anything flown.
    let refused = stderr(&debrief(&["--track", empty, "--out", to]));
    assert!(refused.contains("a folder of its own"), "{refused}");
    // By ending; over what is read, or of a kind that there is not, nothing is written.
    let one = folder.path().join("one.svg");
    stdout(&debrief(&[
        "--track",
        track.to_str().unwrap(),
        "--out",
        one.to_str().unwrap(),
    ]));
    assert!(fs::read_to_string(&one).unwrap().starts_with("<svg"));
    for wrong in [track.to_str().unwrap(), "flight.pdf"] {
        let output = debrief(&["--track", track.to_str().unwrap(), "--out", wrong]);
        assert!(!output.status.success(), "{wrong}");
    }
}

#[test]
fn what_replaces_the_plan_is_told_to_programs_too() {
    let folder = tempfile::tempdir().unwrap();
    let track = file(folder.path(), "whole.csv", &rows(0.0, 1.0));
    let replaced = |more: &[&str]| {
        let args = [&["--track", track.to_str().unwrap(), "--json"], more].concat();
        let json: Value = serde_json::from_slice(&debrief(&args).stdout).unwrap();
        json["replaced"].as_array().unwrap().clone()
    };
    assert!(replaced(&[]).is_empty());
    let said = replaced(&["--lift", "6.5 kg"]);
    assert!(
        said.len() == 1 && said[0]["words"].as_str().unwrap().contains("--lift"),
        "{said:?}"
    );
}

#[test]
fn a_logbook_alone_is_scored() {
    let folder = tempfile::tempdir().unwrap();
    let book = |count: usize, within: f64| {
        let flights: String = (0..count)
            .map(|k| {
                let within = within * (k as f64 + 0.5) / count as f64 + (1.0 - within);
                format!(
                    "[[flight]]\nname = \"{k}\"\nreleased = \"2026-01-{:02}T08:00:00Z\"\nlat = 40\nlon = -89\nmiss_km = 4.0\nalong_km = 4.0\nacross_km = 0.0\nwithin = {within}\nenergy_km = 2.0\nalong_sigmas = 1.0\nacross_sigmas = 0.0\nrate = 0.9\nfall = 1.1\n",
                    k + 1
                )
            })
            .collect();
        file(folder.path(), "flights.toml", &flights)
    };
    let scored = |path: &Path, more: &[&str]| {
        windfall(
            "debrief",
            &[&["--logbook", path.to_str().unwrap()], more].concat(),
        )
    };
    let even = stdout(&scored(&book(20, 1.0), &[]));
    for said in [
        "consistent: where 20",
        "50 % region    held 10; right ones hold 6 to 14",
        "  0 to  20 %     4  ########",
        "energy score   2.0 km in the mean of 20",
        "rate of rise: 0.91 times",
        "speed of fall: 1.09 times",
    ] {
        assert!(even.contains(said), "{said}: {even}");
    }
    let narrow = stdout(&scored(&book(20, 0.2), &[]));
    assert!(
        narrow.contains("too narrow") && narrow.contains("not as it should be"),
        "{narrow}"
    );
    let few = stdout(&scored(&book(5, 1.0), &[]));
    assert!(
        few.contains("consistent") && !few.contains("energy"),
        "{few}"
    );
    let picture = folder.path().join("ranks.svg");
    let out = ["--out", picture.to_str().unwrap()];
    assert!(!scored(&book(5, 1.0), &out).status.success() && !picture.exists());
    stdout(&scored(&book(12, 1.0), &out));
    assert!(
        fs::read_to_string(&picture)
            .unwrap()
            .contains("19 times in 20")
    );
    let none = scored(&file(folder.path(), "none.toml", "# no flight yet\n"), &[]);
    assert_eq!(none.status.code(), Some(1));
    let said = stderr(&none);
    assert!(
        said.contains("none.toml") && said.contains("to score"),
        "{said}"
    );
    // A plan that would change nothing.
    let output = scored(&book(5, 1.0), &[PLAN]);
    let said = stderr(&output);
    assert!(
        said.contains("without --track") && output.status.code() == Some(1),
        "{said}"
    );
    // Neither a track nor a logbook; a track without a plan.
    assert!(!windfall("debrief", &[PLAN]).status.success());
    assert!(!windfall("debrief", &["--track", "x.csv"]).status.success());
}

/// The page in Chromium: by day and by night, on a phone and on a desk, by the rules of axe-core.
fn look_at(page: &Path) {
    let (Some(chromium), Some(node)) = (
        tool(&["chromium", "chromium-browser"]),
        tool(&["node", "nodejs"]),
    ) else {
        return;
    };
    let modules = root().join("target/browser/node_modules");
    if !modules.join("axe-core").is_dir() {
        assert!(std::env::var_os("CI").is_none(), "CI has no axe-core");
        return skipped("npm ci has not been run in target/browser (.ci/run does it)");
    }
    let mut command = Command::new(node);
    command
        .env("NODE_PATH", modules)
        .arg(root().join("tests/browser/plain_page.cjs"))
        .args([chromium.as_path(), page]);
    let found: Value = serde_json::from_str(&said(&mut command)).unwrap();
    let found = found.as_array().unwrap();
    assert_eq!(found.len(), 4);
    for one in found {
        assert_eq!(one["violations"], serde_json::json!([]), "{one}");
        assert_eq!(one["requests"], serde_json::json!([]), "{one}");
        assert_eq!(one["wide"], one["width"], "sticks out to the side: {one}");
        let passes = one["passes"].as_array().unwrap();
        assert!(passes.iter().any(|p| p == "color-contrast"), "{one}");
    }
}
