//! `windfall winds` as a person runs it.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "common/program.rs"]
mod program;

use std::fs;
use std::path::Path;
use std::process::Output;

use program::{stderr, stdout, windfall};

const NASHVILLE: &str = "tests/data/soundings/archive_list_nashville.txt";
const OMAHA: &str = "tests/data/soundings/igra2_omaha_2025.txt";

fn winds(args: &[&str]) -> Output {
    windfall("winds", args)
}

#[test]
fn the_report_on_a_listing() {
    let output = winds(&[NASHVILLE]);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    assert_eq!(stderr(&output), "");
    insta::assert_snapshot!(stdout(&output));
}

#[test]
fn us_units_and_all_levels() {
    let text = stdout(&winds(&[NASHVILLE, "--units", "us", "--all"]));
    assert!(text.contains(" ft") && text.contains(" mph") && !text.contains("m/s"));
    assert!(text.lines().count() > 70);
}

#[test]
fn json_holds_every_ascent() {
    let output = winds(&["--json", OMAHA, NASHVILLE]);
    let json: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let ascents = json.as_array().unwrap();
    assert_eq!(ascents.len(), 3);
    assert_eq!(ascents[2]["file"], NASHVILLE);
    assert_eq!(ascents[2]["sounding"]["heights"], "geopotential");
    let one = winds(&["--json", OMAHA, "--at", "2021-01-01T10:00:00Z"]);
    let json: serde_json::Value = serde_json::from_slice(&one.stdout).unwrap();
    assert_eq!(json.as_array().unwrap().len(), 1);
    assert_eq!(json[0]["sounding"]["time"], "2021-01-01T11:07:00Z");
}

#[test]
fn pictures_are_written_whole() {
    let folder = tempfile::tempdir().unwrap();
    for (name, start) in [("a.svg", &b"<svg"[..]), ("b.png", b"\x89PNG")] {
        let path = folder.path().join(name);
        let output = winds(&[NASHVILLE, "--out", path.to_str().unwrap()]);
        assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
        assert!(fs::read(&path).unwrap().starts_with(start));
    }
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 2);
}

#[test]
fn bad_input_is_one_clear_message() {
    let folder = tempfile::tempdir().unwrap();
    let make = |name: &str, bytes: &[u8]| {
        let path = folder.path().join(name);
        fs::write(&path, bytes).unwrap();
        path.to_str().unwrap().to_owned()
    };
    let omaha = fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join(OMAHA)).unwrap();
    let one_wind = b"altitude_m,wind_kt,wind_dir\n100,5,270\n900,,\n";
    let cases = [
        (
            folder.path().join("none.csv").to_str().unwrap().to_owned(),
            "cannot read",
        ),
        (make("empty.csv", b""), "an empty file"),
        (make("binary.dat", b"BUFR\x00\x00\x04\xff"), "a binary file"),
        (make("cut.txt", &omaha[..5_000]), "ends after"),
        (make("one.csv", one_wind), "1 level with height and wind"),
        (
            make("no_wind.csv", b"altitude_m,temperature_C\n1,2\n"),
            "no column of wind",
        ),
        (
            make("letter.txt", b"Dear all,\nthe wind was fresh.\n"),
            "no format that is known",
        ),
        (
            make(
                "plan.toml",
                b"[flight] # one\nname = \"wind speed, height\"\n[site]\nlat = 1.0\n",
            ),
            "windfall winds --plan",
        ),
    ];
    let picture = folder.path().join("out.svg");
    for (file, message) in cases {
        let output = winds(&[&file, "--out", picture.to_str().unwrap()]);
        let text = stderr(&output);
        assert_eq!(output.status.code(), Some(1), "{file}: {text}");
        assert!(text.contains(message), "{file}: {text}");
        assert_eq!(text.lines().count(), 1, "{text}");
        assert_eq!(stdout(&output), "");
        assert!(!picture.exists());
    }
}

#[test]
fn a_plan_opens_nothing_outside_of_its_folder_unasked() {
    let folder = tempfile::tempdir().unwrap();
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("samples/high-plains");
    let text = fs::read_to_string(root.join("plan.toml")).unwrap();
    let plans = folder.path().join("plans");
    fs::create_dir(&plans).unwrap();
    let write = |text: String| {
        let path = plans.join("plan.toml");
        fs::write(&path, text).unwrap();
        path.to_str().unwrap().to_owned()
    };
    fs::copy(
        root.join("riverton-2026-02-05.csv"),
        folder.path().join("riverton-2026-02-05.csv"),
    )
    .unwrap();
    let plan = write(text.replace("files = [\"", "files = [\"../"));
    let message = stderr(&winds(&["--plan", &plan]));
    assert!(
        message.contains("outside of the plan's folder"),
        "{message}"
    );
    let said = stdout(&winds(&["--plan", &plan, "--outside"]));
    assert!(said.contains("are read: ../riverton"), "{said}");
    // Not even looked at: a pipe that nobody writes to would be waited for.
    for (section, key) in [("spread", "logbook"), ("balloon", "table")] {
        let line = format!("[{section}]\n{key} = \"../none.toml\"");
        let plan = write(text.replace(&format!("[{section}]"), &line));
        let message = stderr(&winds(&["--plan", &plan]));
        assert!(
            message.contains("outside of the plan's folder: ../none.toml"),
            "{message}"
        );
        assert!(stderr(&winds(&["--plan", &plan, "--outside"])).contains("cannot read"));
    }
    let message = stderr(&winds(&[NASHVILLE, "--place", "36.2,-86.6"]));
    assert!(message.contains("--place for forecasts alone"), "{message}");
}

#[test]
fn wrong_usage_is_exit_2() {
    for args in [
        &[][..],
        &[NASHVILLE, "--format", "grib"],
        &[NASHVILLE, "--out", "picture.bmp"],
        &[NASHVILLE, "--units", "nautical"],
    ] {
        let output = winds(args);
        assert_eq!(output.status.code(), Some(2), "{args:?}");
        assert_eq!(stdout(&output), "");
    }
    assert!(stderr(&winds(&[NASHVILLE, "--format", "grib"])).contains("igra2"));
}

#[test]
fn the_picture_in_the_readme_is_the_one_that_is_drawn() {
    let folder = tempfile::tempdir().unwrap();
    let drawn = folder.path().join("winds.svg");
    let sample = "samples/high-plains/riverton-2026-02-05.csv";
    let output = winds(&[sample, "--out", drawn.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    let shown = Path::new(env!("CARGO_MANIFEST_DIR")).join("samples/high-plains/winds.svg");
    assert_eq!(fs::read(drawn).unwrap(), fs::read(shown).unwrap());
}

#[test]
fn the_winds_of_a_plan_are_told_as_what_they_are_and_in_its_units() {
    let forecast = stdout(&winds(&["--plan", "samples/ribatejo/plan.toml"]));
    for wrong in ["rows read", "heights   geometric"] {
        assert!(!forecast.contains(wrong), "{wrong}: {forecast}");
    }
    // Its highest levels are farther apart than a forecast's should be, and no others.
    assert_eq!(forecast.matches("no wind between").count(), 1, "{forecast}");
    assert!(forecast.contains("model     grid: computed"), "{forecast}");
    let plan = "samples/lake-shore/plan.toml";
    let feet = stdout(&winds(&["--plan", plan]));
    assert!(feet.contains(" ft above sea level"), "{feet}");
    let metres = stdout(&winds(&["--plan", plan, "--units", "metric"]));
    assert!(metres.contains(" m above sea level"), "{metres}");
}
