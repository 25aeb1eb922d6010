//! `windfall follow` as a person runs it: on a flight as its tracker might have told it (simulated from the
//! sample plan's own prediction), and on what can be wrong.

#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "common/program.rs"]
mod program;

use std::fs;
use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};

use program::{stderr, stdout, windfall};
use serde_json::Value;

const PLAN: &str = "samples/high-plains/plan.toml";

fn planned() -> Value {
    let output = windfall("zone", &[PLAN, "--out", "-", "--draws", "200"]);
    serde_json::from_slice(&output.stdout).unwrap()
}

/// The planned flight as a table, a row a minute: as far as a share of its way.
fn log(share: f64) -> String {
    let zone = planned();
    let features = zone["features"].as_array().unwrap();
    let track = features
        .iter()
        .find(|f| f["properties"]["kind"] == "track")
        .unwrap();
    let times = track["properties"]["times"].as_array().unwrap();
    let points = track["geometry"]["coordinates"].as_array().unwrap();
    let count = (share * times.len() as f64) as usize;
    let mut text = "time,latitude,longitude,altitude_m\n".to_owned();
    for (time, p) in times.iter().zip(points).take(count) {
        text += &format!("{},{},{},{}\n", time.as_str().unwrap(), p[1], p[0], p[2]);
    }
    text
}

fn follow(args: &[&str]) -> std::process::Output {
    windfall("follow", &[&[PLAN, "--draws", "200"], args].concat())
}

fn landing(out: &Path) -> (f64, f64) {
    let text = fs::read_to_string(out.join("zone.geojson")).unwrap();
    let zone: Value = serde_json::from_str(&text).unwrap();
    let features = zone["features"].as_array().unwrap();
    let landing = features
        .iter()
        .find(|f| f["properties"]["kind"] == "landing")
        .unwrap();
    let at = &landing["geometry"]["coordinates"];
    (at[0].as_f64().unwrap(), at[1].as_f64().unwrap())
}

/// Lines of the flight are talk where the answer is read by a program.
#[test]
fn standard_output_is_one_document_for_programs() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("flight.csv");
    fs::write(&path, log(0.3)).unwrap();
    let output = follow(&["--from", path.to_str().unwrap(), "--json"]);
    let standing: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(standing["phase"], "rising");
    assert!(stderr(&output).contains("rising"), "{}", stderr(&output));
}

#[test]
fn a_log_is_followed_and_the_same_log_gives_the_same_bytes() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("flight.csv");
    fs::write(&path, log(0.8)).unwrap();
    let from = path.to_str().unwrap();
    let run = |name: &str, threads: &str| {
        let out = folder.path().join(name);
        let args = [
            "--from",
            from,
            "--out",
            out.to_str().unwrap(),
            "--threads",
            threads,
            "--me",
            "43.0,-107.0",
        ];
        let output = follow(&args);
        assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
        let files: Vec<String> = ["zone.geojson", "zone.kml", "zone-now.kml", "page.html"]
            .iter()
            .map(|f| fs::read_to_string(out.join(f)).unwrap())
            .collect();
        (stdout(&output), files)
    };
    let (first, second) = (run("a", "1"), run("b", "2"));
    assert_eq!(first, second);
    let (text, files) = first;
    assert!(
        text.contains("falling") && text.contains("Lands at"),
        "{text}"
    );
    assert!(text.contains("From the car"), "{text}");
    assert!(
        files[1].contains("<refreshInterval>10</refreshInterval>")
            && files[1].contains("zone-now.kml")
    );
    assert!(files[3].contains("http-equiv=\"refresh\"") && !files[3].contains("<script"));
    // In a page, a shape that is not closed holds all that follows it, which is then not drawn.
    for shape in ["polygon", "polyline", "circle", "path", "rect"] {
        let opened = files[3].matches(&format!("<{shape} ")).count();
        let closed = files[3].matches(&format!("</{shape}>")).count();
        assert!(
            opened > 0 && opened == closed,
            "{shape}: {opened} and {closed}"
        );
    }
    for xml in &files[1..3] {
        roxmltree::Document::parse(xml).unwrap();
    }
    // The flight goes as planned, so it lands where it is planned to.
    let planned = planned();
    let features = planned["features"].as_array().unwrap();
    let place = features
        .iter()
        .find(|f| f["properties"]["kind"] == "landing")
        .unwrap();
    let at = &place["geometry"]["coordinates"];
    let (lon, lat) = landing(&folder.path().join("a"));
    let off = (lon - at[0].as_f64().unwrap()).hypot(lat - at[1].as_f64().unwrap());
    assert!(off < 0.03, "{off} degrees");
}

#[test]
fn what_was_heard_live_is_kept_and_resumed() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("out");
    let mut child = Command::new(env!("CARGO_BIN_EXE_windfall"))
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args([
            "follow",
            PLAN,
            "--draws",
            "50",
            "--from",
            "-",
            "--wait",
            "--out",
            out.to_str().unwrap(),
        ])
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    let text = log(0.4);
    child
        .stdin
        .take()
        .unwrap()
        .write_all(text.as_bytes())
        .unwrap();
    assert!(child.wait().unwrap().success());
    let kept = fs::read_to_string(out.join("reports.log")).unwrap();
    assert_eq!(kept.lines().count(), text.lines().count());
    let (before, path) = (landing(&out), out.join("reports.log"));
    let resumed = windfall(
        "follow",
        &[
            PLAN,
            "--draws",
            "50",
            "--from",
            path.to_str().unwrap(),
            "--out",
            out.to_str().unwrap(),
        ],
    );
    assert_eq!(resumed.status.code(), Some(0), "{}", stderr(&resumed));
    assert_eq!(landing(&out), before);
    // Its own log is not written into itself.
    assert_eq!(fs::read_to_string(&path).unwrap(), kept);
}

#[test]
fn what_is_refused_can_be_listed() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("flight.csv");
    let text = log(0.3);
    let last = text.lines().last().unwrap().to_owned();
    fs::write(
        &path,
        format!(
            "{text}{last}\n2026-02-05T23:59:59Z,0,0,500\n2026-02-06T00:20:00Z,12.0,30.0,9000\n"
        ),
    )
    .unwrap();
    let output = follow(&["--from", path.to_str().unwrap(), "--refused"]);
    let said = stdout(&output);
    for words in [
        "the same fix again",
        "0 N 0 E",
        "a jump that no balloon makes",
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }
}

#[test]
fn wrong_use_is_told() {
    for (args, words) in [
        (vec!["--from", "no/such/file"], "cannot read no/such/file"),
        (vec!["--from", "tcp://nowhere"], "expected host:port"),
        (vec!["--from", "aprs://127.0.0.1:9?call=N0CALL"], "--call"),
        (vec!["--from", "http://[::1"], "expected an address"),
        (vec!["--from", "tcp://[::1:1"], "expected host:port"),
        (vec!["--from", "mqtt://host"], "cannot listen"),
        (vec!["--from", "-", "--me", "here"], "--me"),
        (vec!["--from", "-", "--fields", "speed=x"], "--fields"),
        (
            vec!["--from", "tcp://a:1", "--from", "tcp://b:1"],
            "one of them",
        ),
    ] {
        let output = follow(&args);
        assert_eq!(output.status.code(), Some(1), "{args:?}");
        let said = stderr(&output);
        assert!(said.contains(words), "{args:?}: {said}");
    }
}

#[test]
fn several_sources_are_not_waited_for() {
    let output = follow(&["--from", "a.log", "--from", "b.log", "--wait"]);
    assert_eq!(output.status.code(), Some(1));
    assert!(
        stderr(&output).contains("--wait: found 2 sources"),
        "{}",
        stderr(&output)
    );
}
