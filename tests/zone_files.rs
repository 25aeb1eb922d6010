//! The files of `windfall zone`, each as its ending says, and showing one.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "common/program.rs"]
mod program;

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use program::{stderr, stdout, windfall};

const PLAN: &str = "samples/high-plains/plan.toml";
const MADE: &str = "2026-02-05T20:00:00Z";

fn zone(args: &[&str]) -> Output {
    windfall("zone", &[&[PLAN, "--draws", "200"], args].concat())
}

#[test]
fn a_file_is_what_its_ending_says() {
    let folder = tempfile::tempdir().unwrap();
    let begins: [(&str, &[u8]); 8] = [
        ("zone.geojson", b"{"),
        ("zone.json", b"{"),
        ("map.PNG", b"\x89PNG"),
        ("map.svg", b"<svg"),
        ("zone.kml", b"<?xml"),
        ("zone.gpx", b"<?xml"),
        ("zone.csv", b"kind,name,"),
        ("zone.html", b"<!DOCTYPE html>"),
    ];
    let paths: Vec<String> = begins
        .iter()
        .map(|(name, _)| folder.path().join(name).display().to_string())
        .collect();
    let mut args = vec!["--made", MADE];
    paths.iter().for_each(|path| args.extend(["--out", path]));
    let output = zone(&args);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    assert!(stdout(&output).starts_with("Landing zone"));
    for ((name, begin), path) in begins.iter().zip(&paths) {
        let bytes = fs::read(path).unwrap();
        assert!(bytes.starts_with(begin), "{name}");
    }
    assert!(fs::read_to_string(&paths[4]).unwrap().contains("<kml"));
    assert!(fs::read_to_string(&paths[5]).unwrap().contains("<gpx"));
    // The table and the GeoJSON are the same whatever else is written.
    let alone = zone(&["--out", "-"]);
    assert_eq!(fs::read(&paths[0]).unwrap(), alone.stdout);
    assert_eq!(stderr(&alone), stdout(&output));

    // The files of the briefing are the same.
    let brief = folder.path().join("brief");
    let brief = brief.to_str().unwrap();
    let args = [PLAN, "--draws", "200", "--made", MADE, "--out", brief];
    assert_eq!(windfall("brief", &args).status.code(), Some(0));
    for (name, path) in [
        ("brief.html", &paths[7]),
        ("zone.kml", &paths[4]),
        ("map.svg", &paths[3]),
    ] {
        let of_brief = fs::read(Path::new(brief).join(name)).unwrap();
        assert!(of_brief == fs::read(path).unwrap(), "{name}");
    }
}

#[test]
fn an_unknown_ending_is_wrong_usage() {
    for wrong in ["zone.docx", "zone", "zone.kmz"] {
        let output = zone(&["--out", wrong]);
        assert_eq!(output.status.code(), Some(2), "{wrong}");
        assert!(
            stderr(&output).contains("geojson, json, png"),
            "{}",
            stderr(&output)
        );
    }
    assert_eq!(zone(&["--open"]).status.code(), Some(2));
}

#[cfg(target_os = "linux")]
#[test]
fn the_first_file_is_shown_and_no_opener_is_only_a_message() {
    use std::os::unix::fs::PermissionsExt;

    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).display().to_string();
    let (first, second) = (path("zone.kml"), path("zone.csv"));
    let shown = |programs: &str| {
        Command::new(env!("CARGO_BIN_EXE_windfall"))
            .current_dir(env!("CARGO_MANIFEST_DIR"))
            .env("PATH", programs)
            .args(["zone", PLAN, "--draws", "100", "--open", "--out", &first])
            .args(["--out", &second])
            .output()
            .unwrap()
    };
    let none = shown(&path("no programs"));
    assert_eq!(none.status.code(), Some(0));
    assert!(stderr(&none).contains("zone.kml was written, but xdg-open does not open it"));

    let told = path("told.txt");
    let opener = path("xdg-open");
    fs::write(&opener, format!("#!/bin/sh\necho \"$@\" > '{told}'\n")).unwrap();
    fs::set_permissions(&opener, fs::Permissions::from_mode(0o755)).unwrap();
    let output = shown(folder.path().to_str().unwrap());
    assert_eq!(
        (output.status.code(), stderr(&output).as_str()),
        (Some(0), "")
    );
    assert_eq!(fs::read_to_string(told).unwrap().trim_end(), first);
}
