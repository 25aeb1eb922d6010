//! A newcomer's way from nothing to a briefing: the commands of the README's section of that name, in
//! its order, each with what the one before wrote.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use serde_json::Value;

const SECTION: &str = "### From nothing to a briefing";
const OWN: &str = "cargo run --release -- ";

/// The commands of the section, without what starts the program.
fn commands(readme: &str) -> Vec<Vec<String>> {
    let section = readme.split(SECTION).nth(1).unwrap();
    let block = section.split("```sh\n").nth(1).unwrap();
    let block = block.split("```").next().unwrap();
    block
        .lines()
        .map(|line| words(line.strip_prefix(OWN).unwrap()))
        .collect()
}

/// Words as a shell takes them apart, quotes being the only thing that is special here.
fn words(line: &str) -> Vec<String> {
    let quoted = line.split('"').enumerate();
    quoted
        .flat_map(|(i, part)| match i % 2 {
            1 => vec![part.to_owned()],
            _ => part.split_whitespace().map(str::to_owned).collect(),
        })
        .collect()
}

fn run(folder: &Path, arguments: &[String]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_windfall"))
        .current_dir(folder)
        .args(arguments)
        .output()
        .unwrap()
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        fs::copy(entry.path(), to.join(entry.file_name())).unwrap();
    }
}

#[test]
fn the_readmes_way_leads_from_nothing_to_a_briefing() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    copy(
        &root.join("samples/lake-shore"),
        &folder.join("samples/lake-shore"),
    );
    fs::create_dir(folder.join("target")).unwrap();
    let commands = commands(&fs::read_to_string(root.join("README.md")).unwrap());
    let names: Vec<&str> = commands.iter().map(|words| words[0].as_str()).collect();
    let order = [
        "new", "fill", "winds", "days", "sites", "zone", "brief", "compare",
    ];
    assert_eq!(names, order);
    let mut said = Vec::new();
    for arguments in &commands {
        let done = run(folder, arguments);
        let talk = String::from_utf8_lossy(&done.stderr);
        assert!(done.status.success(), "{arguments:?}: {talk}");
        said.push(String::from_utf8(done.stdout).unwrap());
    }
    // What each is for, in its own words.
    let expected = [
        "Assumed",
        "hang on the filler",
        "levels",
        "within limits",
        "Orchard gate",
        "Wait here: ",
        "brief.html",
        "90 %",
    ];
    for ((name, text), words) in order.iter().zip(&said).zip(expected) {
        assert!(text.contains(words), "{name} does not say {words}: {text}");
    }
    // The zone that `zone` wrote and the briefing's are of the same plan, forty minutes apart.
    let released = |path: &str| -> String {
        let text = fs::read_to_string(folder.join(path)).unwrap();
        let json: Value = serde_json::from_str(&text).unwrap();
        let features = json["features"].as_array().unwrap();
        let release = features
            .iter()
            .find(|f| f["properties"]["kind"] == "release");
        release.unwrap()["properties"]["time"]
            .as_str()
            .unwrap()
            .to_owned()
    };
    assert_eq!(released("target/first.geojson"), "2026-05-09T12:00:00Z");
    assert_eq!(
        released("target/first-briefing/zone.geojson"),
        "2026-05-09T12:40:00Z"
    );
}
