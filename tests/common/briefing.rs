//! Briefings made as a person makes them, and the tools that look at them.

#![allow(dead_code, reason = "each test file uses a part of it")]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a helper of a test may fail as the test itself may"
)]

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::{Value, json};

use super::changed::Changed;
use super::program::{stderr, windfall};

/// The time that all of them give as that of their making.
pub const MADE: &str = "2023-10-11T18:00:00Z";
const PLAN: &str = "samples/ribatejo/plan.toml";
const WINDS: &str = "samples/ribatejo/era5-portugal-2023.nc";

/// A text with all that has broken formats before.
pub fn hostile(what: &str) -> String {
    let start = format!(
        "{what} <b>&amp; \"double\" 'single' ]]> <!-- \\ a,b;c \u{1f388} \u{645}\u{631}\u{62d}\u{628}\u{627} \u{5e9}\u{5dc}\u{5d5}\u{5dd} "
    );
    let more = 500 - start.chars().count();
    start + &"x".repeat(more)
}

/// A briefing in a folder of its own.
pub struct Briefing {
    changed: Changed,
}

impl Briefing {
    /// Of the Portuguese sample.
    pub fn of_sample(more: &[&str]) -> Briefing {
        Briefing::of(&[], "", &[], more)
    }

    /// Of the sample with changes, further sections and further files.
    pub fn of(
        changes: &[(&str, &str)],
        sections: &str,
        files: &[(&str, String)],
        more: &[&str],
    ) -> Briefing {
        let changed = Changed::of(PLAN, WINDS, changes);
        let plan = fs::read_to_string(changed.plan()).unwrap() + sections;
        fs::write(changed.plan(), plan).unwrap();
        for (name, text) in files {
            fs::write(changed.path(name), text).unwrap();
        }
        let out = changed.path("out");
        let plan = changed.plan();
        let mut args = vec![plan.as_str(), "--out", out.to_str().unwrap()];
        if !more.contains(&"--made") {
            args.extend(["--made", MADE]);
        }
        args.extend(more);
        let output = windfall("brief", &args);
        assert!(output.status.success(), "{}", stderr(&output));
        Briefing { changed }
    }

    /// Of the sample with everything that a plan's texts can be, on roads and hills made up for it.
    pub fn of_everything() -> Briefing {
        let quoted = |what: &str| json!(hostile(what)).to_string();
        let name = format!("name = {}", quoted("name"));
        let sections = format!(
            "\n[ground]\nroads = [\"roads.geojson\"]\nroad_class = \"class\"\nkeep_out = [\"keep.geojson\"]\nterrain = [\"hills.asc\"]\n\
             [brief]\ncontacts = [{}, \"Range office: +351 000\"]\nnotes = {}\nfilling = \"45 min\"\n",
            quoted("contact"),
            quoted("notes")
        );
        let files = [
            ("roads.geojson", roads().to_string()),
            ("keep.geojson", keep_out().to_string()),
            ("hills.asc", hills()),
        ];
        Briefing::of(&[("name = \"Sobreiro 1\"", &name)], &sections, &files, &[])
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.changed.path("out").join(name)
    }

    pub fn text(&self, name: &str) -> String {
        fs::read_to_string(self.path(name)).unwrap()
    }

    pub fn geojson(&self) -> Value {
        serde_json::from_str(&self.text("zone.geojson")).unwrap()
    }
}

fn feature(geometry: Value, properties: Value) -> Value {
    json!({"type": "Feature", "geometry": geometry, "properties": properties})
}

/// A grid of roads of all classes around the zone, made up.
fn roads() -> Value {
    let classes = [
        "motorway",
        "primary",
        "secondary",
        "tertiary",
        "residential",
    ];
    let mut features = Vec::new();
    for k in 0..10 {
        let (lat, lon) = (39.55 + 0.06 * f64::from(k), -8.75 + 0.06 * f64::from(k));
        let class = classes[k as usize % classes.len()];
        let east: Vec<[f64; 2]> = (0..30)
            .map(|i| [-8.9 + 0.03 * f64::from(i), lat + 0.01 * f64::from(i % 3)])
            .collect();
        let north: Vec<[f64; 2]> = (0..30)
            .map(|i| [lon + 0.01 * f64::from(i % 4), 39.5 + 0.025 * f64::from(i)])
            .collect();
        for line in [east, north] {
            features.push(feature(
                json!({"type": "LineString", "coordinates": line}),
                json!({"class": class, "name": hostile("road")}),
            ));
        }
    }
    json!({"type": "FeatureCollection", "features": features})
}

fn keep_out() -> Value {
    let ring = [
        [-8.55, 39.85],
        [-8.45, 39.85],
        [-8.45, 39.9],
        [-8.55, 39.9],
        [-8.55, 39.85],
    ];
    json!({"type": "FeatureCollection", "features": [feature(
        json!({"type": "Polygon", "coordinates": [ring]}),
        json!({"name": hostile("area")}),
    )]})
}

/// Ridges 400 m high running north-east, made up.
fn hills() -> String {
    let mut grid =
        "ncols 241\nnrows 241\nxllcorner -9.3\nyllcorner 39.2\ncellsize 0.005\n".to_owned();
    for row in 0..241 {
        for column in 0..241 {
            let phase = 0.16 * f64::from(row + column);
            let _ = write!(grid, "{:.0} ", 200.0 + 200.0 * phase.sin());
        }
        grid.push('\n');
    }
    grid
}

/// A program that a test needs: where CI runs it must be there, elsewhere a test may be passed over,
/// aloud.
pub fn tool(names: &[&str]) -> Option<PathBuf> {
    let folders: Vec<PathBuf> = std::env::split_paths(&std::env::var_os("PATH")?).collect();
    let found = names
        .iter()
        .flat_map(|name| folders.iter().map(move |folder| folder.join(name)))
        .find(|path| path.is_file());
    assert!(
        found.is_some() || std::env::var_os("CI").is_none(),
        "CI has none of {names:?}: .ci/run installs it"
    );
    if found.is_none() {
        skipped(&format!("none of {names:?} is installed"));
    }
    found
}

/// Says that a check is not made. Not with `println!`, which a test that succeeds keeps to itself.
pub fn skipped(why: &str) {
    use std::io::Write;
    let _ = writeln!(std::io::stderr(), "skipped: {why}");
}

/// Where the project lies.
pub fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// What a command prints, if it succeeds; else a failed test with what it said.
pub fn said(command: &mut Command) -> String {
    let output = command.output().unwrap();
    assert!(
        output.status.success(),
        "{command:?}: {}{}",
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    );
    String::from_utf8(output.stdout).unwrap()
}
