//! The desk in Debian's Chromium, with every other host out of reach: from an empty folder to a briefing with the
//! winds of the sample, by the rules of axe-core (WCAG 2.2 AA).

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "helpers of tests fail by panicking, too"
)]
#![allow(clippy::print_stdout, reason = "what is passed over is said aloud")]

#[path = "common/briefing.rs"]
mod briefing;
#[path = "common/changed.rs"]
mod changed;
#[path = "common/desk.rs"]
mod desk;
#[path = "common/program.rs"]
#[allow(dead_code)]
mod program;

use std::fs;
use std::io::{BufRead as _, BufReader, Write as _};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use briefing::{root, said, tool};
use desk::{Desk, over_the_sample};
use serde_json::{Value, json};
use windfall::Plan;

const WINDS: &str = "samples/lake-shore/invented-winds.nc";

/// A log of reports that never come.
const HEAD: &str = "time,latitude,longitude,altitude_m\n";

/// A script of the browser's, to which only its arguments are missing; `None` where no browser is.
fn browser(script: &str) -> Option<Command> {
    let (chromium, node) = (
        tool(&["chromium", "chromium-browser"])?,
        tool(&["node", "nodejs"])?,
    );
    let modules = root().join("target/browser/node_modules");
    if !modules.join("axe-core").is_dir() {
        assert!(std::env::var_os("CI").is_none(), "CI has no axe-core");
        println!("PASSED OVER: npm ci has not been run in target/browser (.ci/run does it)");
        return None;
    }
    let mut command = Command::new(node);
    command
        .env("NODE_PATH", modules)
        .arg(root().join("tests/browser").join(script))
        .arg(chromium);
    Some(command)
}

#[test]
fn from_an_empty_folder_to_a_briefing() {
    let Some(mut command) = browser("desk.cjs") else {
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let desk = Desk::open(folder.path(), &[]);
    command
        .arg(desk.address())
        .args([root().join(WINDS), root().join("target/pages/desk")]);
    let found: Value = serde_json::from_str(&said(&mut command)).unwrap();
    println!(
        "from a key to the zone on the page: {} ms",
        found["milliseconds"]
    );
    went_the_way(&found["seen"], &desk);
    moved_the_map(&found["seen"]);
    is_kind(&found);
    let plan = Plan::read(folder.path().join("first.toml")).unwrap();
    assert_eq!(plan.name, "From the second page");
    assert!(folder.path().join("winds/invented-winds.nc").exists());
    assert!(folder.path().join("first-briefing/brief.html").exists());
}

fn text<'a>(seen: &'a Value, id: &str) -> &'a str {
    seen[id]
        .as_str()
        .unwrap_or_else(|| panic!("{id}: {}", seen[id]))
}

fn went_the_way(seen: &Value, desk: &Desk) {
    assert_eq!(text(seen, "address"), format!("http://{}/", desk.host));
    assert!(
        text(seen, "clicked").starts_with(['3', '4']),
        "{}",
        seen["clicked"]
    );
    let faults = seen["faults"].to_string();
    assert!(
        faults.contains("1200") && faults.contains("expected"),
        "{faults}"
    );
    assert!(text(seen, "focus").contains("summary"));
    assert_eq!(text(seen, "plan"), "first.toml");
    assert!(
        text(seen, "zone").contains("9 in 10 inside an ellipse"),
        "{}",
        seen["zone"]
    );
    let wrong = text(seen, "wrong");
    assert!(
        wrong.starts_with("found \"12\"") && wrong.contains("expected"),
        "{wrong}"
    );
    assert_eq!(seen["invalid"], "true");
    assert_ne!(seen["typed"], seen["zone"]);
    assert!(text(seen, "saved").starts_with("Not saved yet"));
    assert_eq!(seen["second"], json!(["From the second page", "800 g"]));
    assert_eq!(seen["days"], 2, "at 6 and 9 o'clock");
    assert_ne!(seen["release"][0], seen["release"][1]);
    assert_eq!(seen["files"], 11);
    assert_eq!(text(seen, "briefing"), "From the second page");
    assert_eq!(text(seen, "last"), "All is saved.");
    assert!(text(seen, "compared").contains("Landing zones compared"));
}

fn moved_the_map(seen: &Value) {
    let numbers = |value: &Value| -> Vec<f64> {
        value
            .as_array()
            .unwrap()
            .iter()
            .map(|v| v.as_f64().unwrap())
            .collect()
    };
    let boxes: Vec<Vec<f64>> = seen["boxes"]
        .as_array()
        .unwrap()
        .iter()
        .map(numbers)
        .collect();
    let [whole, nearer, right, dragged, again] = &boxes[..] else {
        panic!("{boxes:?}");
    };
    assert!((whole[2] / nearer[2] - 1.69).abs() < 0.01, "{boxes:?}");
    assert!(
        right[0] > nearer[0] && right[1] == nearer[1] && right[2] == nearer[2],
        "{boxes:?}"
    );
    assert!(dragged[0] < right[0] && dragged[1] < right[1], "{boxes:?}");
    assert_eq!(again, whole);
    assert!(
        text(seen, "measured").contains(" mi"),
        "{}",
        seen["measured"]
    );
    let site = numbers(&seen["site"]);
    assert!(
        (site[0] - site[1]).abs() > 0.001 && (site[0] - site[1]).abs() < 3.0,
        "{site:?}"
    );
    assert_eq!(seen["layers"], json!(["none", ""]));
    assert_eq!(seen["under"], json!([true, true, 0]));
    let along = text(seen, "along");
    assert!(
        along.contains("above sea level") && along.contains("rising"),
        "{along}"
    );
}

fn is_kind(found: &Value) {
    assert_eq!(found["foreign"], json!([]), "requests to others");
    assert_eq!(found["talk"], json!([]));
    for (page, widths) in found["axe"].as_object().unwrap() {
        for (width, schemes) in widths.as_object().unwrap() {
            for scheme in ["light", "dark"] {
                let axe = &schemes[scheme];
                let at = format!("{page} at {width} px, {scheme}");
                assert_eq!(
                    axe["violations"],
                    json!([]),
                    "{at}: {:#}",
                    axe["violations"]
                );
                let passes = axe["passes"].as_array().unwrap();
                for rule in ["color-contrast", "label", "html-has-lang", "heading-order"] {
                    let tried =
                        passes.iter().any(|p| p == rule) || rule == "label" && page == "compare";
                    assert!(tried, "{at}: {rule} was not tried");
                }
            }
        }
    }
    for (page, wide) in found["wide"].as_object().unwrap() {
        let wide = wide.as_array().unwrap();
        assert!(
            wide.iter().all(|w| w == 0),
            "{page} is wider than the screen: {wide:?}"
        );
    }
    let stops = found["seen"]["stops"].as_array().unwrap();
    assert_eq!(stops[0][1], "To the content");
    let unseen: Vec<_> = stops
        .iter()
        .filter(|s| s[2] == false && s[0] != "BODY")
        .collect();
    assert!(unseen.is_empty(), "{unseen:?}");
    let still: Vec<u64> = found["still"]
        .as_array()
        .unwrap()
        .iter()
        .map(|v| v.as_u64().unwrap())
        .collect();
    assert!(still[0] >= 5 && still[1] == 1, "{still:?}");
}

/// The page says that nobody answers; what was typed before is there when the desk is started anew.
#[test]
fn a_desk_killed_in_the_middle_loses_nothing() {
    let Some(mut command) = browser("restart.cjs") else {
        return;
    };
    let (folder, mut desk) = over_the_sample();
    fs::write(folder.path().join("receiver.csv"), HEAD).unwrap();
    let mut script = command
        .arg(desk.address())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut tell = script.stdin.take().unwrap();
    let mut lines = BufReader::new(script.stdout.take().unwrap()).lines();
    let mut next = || lines.next().map_or_else(String::new, |line| line.unwrap());
    assert_eq!(next(), "kill");
    desk.kill();
    writeln!(tell, "killed").unwrap();
    assert_eq!(next(), "start");
    let desk = Desk::open(folder.path(), &[]);
    writeln!(tell, "{}", desk.address()).unwrap();
    let found: Value = serde_json::from_str(&next()).unwrap();
    assert!(script.wait().unwrap().success());
    assert_eq!(found["values"], json!(["1000 g", "Sagebrush 2"]));
    let said = found["said"].to_string();
    assert!(said.contains("Start it again"), "{said}");
    assert_eq!(said.matches("Not saved yet").count(), 2, "{said}");
    // Nor does it go on saying that it follows a flight.
    let [before, after, hidden] = &found["work"].as_array().unwrap()[..] else {
        panic!("{found}");
    };
    assert_eq!(before, &json!(["Following the flight", false]));
    assert!(
        after[0].as_str().unwrap().contains("does not answer"),
        "{after}"
    );
    assert_eq!((&after[1], hidden), (&json!(true), &json!(true)));
}

/// Whoever types faster than the desk answers loses nothing, and writes into no other row.
#[test]
fn keys_that_come_before_an_answer_are_not_lost() {
    let Some(mut command) = browser("typing.cjs") else {
        return;
    };
    let (folder, desk) = over_the_sample();
    // Another plan, and reports that never come.
    let [plan, other] = ["plan.toml", "other.toml"].map(|name| folder.path().join(name));
    fs::copy(plan, other).unwrap();
    fs::write(folder.path().join("receiver.csv"), HEAD).unwrap();
    let found: Value = serde_json::from_str(&said(command.arg(desk.address()))).unwrap();
    assert_eq!(found["saved"], "At the last moment");
    assert_eq!(found["meanwhile"], json!(["Sagebrush 2", "70 km"]));
    let rows = json!(["1.35 kg", "1.40 kg", "0.25 kg", ""]);
    assert_eq!(found["rows"], rows);
    let lists = json!(["other.csv\nriverton-2026-02-05.csv", "neon"]);
    assert_eq!(found["lists"], lists);
    assert_eq!(found["half"], json!([false, true]));
    assert_eq!(found["empty"], "");
    assert_eq!(found["whole"], json!([true, "Third"]));
    assert_eq!(found["stop"], true);
    let refused = text(&found, "refused");
    assert!(refused.contains("other work is going on"), "{refused}");
    let away = text(&found, "away");
    assert!(away.contains("does not answer"), "{away}");
}

/// Idle it takes no time, and what is served for the page stays small.
#[test]
fn an_idle_desk_is_cheap_and_its_page_small() {
    let folder = tempfile::tempdir().unwrap();
    let since = Instant::now();
    let desk = Desk::open(folder.path(), &[]);
    assert_eq!(desk.get("/").status, 200);
    println!("from start to the first page: {:?}", since.elapsed());
    let served = desk.get("/desk.js").body.len() + desk.get("/desk.css").body.len();
    assert!(served < 150_000, "{served}");
    if !cfg!(target_os = "linux") {
        return;
    }
    let stat = || fs::read_to_string(format!("/proc/{}/stat", desk.id())).unwrap();
    let ticks = |stat: &str| -> u64 {
        let fields: Vec<&str> = stat
            .rsplit_once(')')
            .unwrap()
            .1
            .split_whitespace()
            .collect();
        fields[11].parse::<u64>().unwrap() + fields[12].parse::<u64>().unwrap()
    };
    std::thread::sleep(Duration::from_secs(1));
    let before = ticks(&stat());
    std::thread::sleep(Duration::from_secs(3));
    assert!(ticks(&stat()) - before <= 1, "an idle desk is busy");
    let status = fs::read_to_string(format!("/proc/{}/status", desk.id())).unwrap();
    let resident = status.lines().find(|l| l.starts_with("VmRSS")).unwrap();
    let kb: u64 = resident.split_whitespace().nth(1).unwrap().parse().unwrap();
    println!("idle: {kb} kB");
    assert!(kb < 50_000, "{resident}");
}
