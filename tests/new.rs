//! `windfall new` as a person uses it: what it writes, every command reads; and what stands in place
//! of a plan with `--release`, `--lift` and `--site`.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "common/program.rs"]
mod program;

use std::path::{Path, PathBuf};

use program::{stderr, stdout, windfall};
use serde_json::Value;
use windfall::plan::Plan;
use windfall::sizing::Known;
use windfall::units::POUND_KG;

/// Winds of the day and the region of the sample: the release is given to suit them.
const WINDS: &str = "samples/high-plains/plan.toml";

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

fn new(plan: &Path, more: &[&str]) -> std::process::Output {
    windfall("new", &[&[text(plan)], more].concat())
}

const ANSWERS: [&str; 10] = [
    "--place",
    "Riverton, WY",
    "--release",
    "2026-02-05 17:00",
    "--balloon",
    "1,200 g",
    "--load",
    "6 lbs",
    "--parachute",
    "7'",
];

fn sounding() -> PathBuf {
    let plan = Plan::read(WINDS).unwrap();
    plan.wind_files[0].clone()
}

#[test]
fn what_new_writes_every_command_reads() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("first.toml");
    let made = new(&path, &ANSWERS);
    assert!(made.status.success(), "{}", stderr(&made));
    let said = stdout(&made);
    for words in [
        "Riverton, WY",
        "America/Denver",
        "airport KRIW",
        "helium",
        "windfall fetch",
        "windfall fill",
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }
    let plan = Plan::read(&path).unwrap();
    assert_eq!(plan.name, "first");
    assert_eq!(plan.release.to_string(), "2026-02-06T00:00:00Z");
    assert_eq!(plan.us_units, Some(true));
    let balloon = plan.stack.ascent.balloon().unwrap();
    assert_eq!(balloon.mass_kg, 1.2);
    assert!(matches!(balloon.fill, Known::AscentRate(rate) if (rate - 5.08).abs() < 1e-9));
    assert!((plan.stack.load[0].mass_kg - 6.0 * POUND_KG).abs() < 1e-12);
    assert!((plan.stack.descent.parachute().unwrap().diameter_m - 7.0 * 0.3048).abs() < 1e-12);
    // KRIW lies at 5,528 ft; written to ten feet.
    assert!((plan.site.elevation_m.unwrap() - 5_528.0 * 0.3048).abs() < 2.0);

    let plan = text(&path);
    let winds = sounding();
    let winds = winds.to_str().unwrap();
    let brief = folder.path().join("brief");
    let candidates = folder.path().join("fields.csv");
    std::fs::write(&candidates, "name,lat,lon\nfield,43.1,-108.4\n").unwrap();
    let days = [
        "--from",
        "2026-02-05",
        "--to",
        "2026-02-05",
        "--hours",
        "16:00-18:00",
    ];
    let runs: [(&str, Vec<&str>); 6] = [
        ("fill", vec![plan]),
        ("fill", vec![plan, "--wind", winds]),
        ("zone", vec![plan, "--draws", "50", "--wind", winds]),
        (
            "days",
            [&[plan, "--draws", "20", "--wind", winds][..], &days].concat(),
        ),
        (
            "sites",
            [
                &[
                    plan,
                    "--draws",
                    "20",
                    "--candidates",
                    text(&candidates),
                    "--wind",
                    winds,
                ][..],
                &days,
            ]
            .concat(),
        ),
        (
            "brief",
            vec![
                plan,
                "--draws",
                "50",
                "--out",
                text(&brief),
                "--wind",
                winds,
            ],
        ),
    ];
    for (command, arguments) in runs {
        let done = windfall(command, &arguments);
        assert!(done.status.success(), "{command}: {}", stderr(&done));
        // The parachute is among the load, and nothing warns of that.
        assert!(!stdout(&done).contains("parachute's mass"), "{command}");
        // The plan's people read feet, miles and pounds.
        if ["zone", "fill"].contains(&command) {
            let said = stdout(&done);
            assert!(
                said.contains(" ft") && !said.contains(" km,"),
                "{command}: {said}"
            );
            let metric = windfall(command, &[&arguments[..], &["--units", "metric"]].concat());
            assert!(stdout(&metric).contains(" m"), "{command}");
            assert_ne!(stdout(&metric), said);
        }
    }
    // Without winds it is said how to get them.
    let dry = windfall("zone", &[plan]);
    assert_eq!(dry.status.code(), Some(1));
    assert!(stderr(&dry).contains("--wind"));
}

#[test]
fn a_file_outside_of_the_plans_folder_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    let plans = here.join("plans");
    std::fs::create_dir(&plans).unwrap();
    let grid =
        "ncols 2\nnrows 2\nxllcorner -108.6\nyllcorner 42.8\ncellsize 0.4\n1640 1640\n1640 1640\n";
    let (inside, outside) = (plans.join("ground.asc"), here.join("ground.asc"));
    for file in [&inside, &outside] {
        std::fs::write(file, grid).unwrap();
    }
    for (terrain, name, more) in [
        (&inside, "terrain = [\"ground.asc\"]", &[][..]),
        (&outside, text(&outside), &["--outside"]),
    ] {
        let plan = plans.join(format!("{}.toml", more.len()));
        let made = new(
            &plan,
            &[&ANSWERS[..], &["--terrain", text(terrain)]].concat(),
        );
        assert!(made.status.success(), "{}", stderr(&made));
        let next = stdout(&made);
        for command in ["fill", "fetch", "zone"] {
            let line = next
                .lines()
                .find(|l| l.contains(&format!("windfall {command}")));
            let told = line.is_some_and(|line| line.contains("--outside"));
            assert_eq!(told, !more.is_empty(), "{next}");
        }
        let written = std::fs::read_to_string(&plan).unwrap();
        assert!(written.contains(name), "{written}");
        // As it was told, it works; without the word only where no file is outside.
        let told = windfall("fill", &[&[text(&plan)], more].concat());
        assert!(told.status.success(), "{}", stderr(&told));
        let plain = windfall("fill", &[text(&plan)]);
        assert_eq!(plain.status.success(), more.is_empty());
    }
}

/// Whether the parachute is among a load of several parts only their names can tell.
#[test]
fn a_load_by_parts_says_whether_the_parachute_is_among_it() {
    let folder = tempfile::tempdir().unwrap();
    for (part, among) in [("camera", false), ("Chute and lines", true)] {
        let path = folder.path().join(format!("{among}.toml"));
        let answers = ANSWERS.map(|a| if a == "6 lbs" { "tracker=1.2 lb" } else { a });
        let load = answers.iter().position(|a| *a == "tracker=1.2 lb").unwrap();
        let part = format!("{part}=2 lb");
        let mut answers = answers.to_vec();
        answers.insert(load + 1, &part);
        let said = stdout(&new(&path, &answers));
        assert_eq!(
            said.contains("the parachute weighs nothing"),
            !among,
            "{said}"
        );
        assert_eq!(said.contains("is among the load"), among, "{said}");
        let fill = stdout(&windfall("fill", &[text(&path)]));
        assert_eq!(fill.contains("parachute weighs nothing"), !among, "{fill}");
    }
}

#[test]
fn a_plan_is_never_overwritten() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("mine.toml");
    std::fs::write(&path, "mine").unwrap();
    let refused = new(&path, &ANSWERS);
    assert_eq!(refused.status.code(), Some(1));
    assert!(stderr(&refused).contains("never overwritten"));
    assert_eq!(std::fs::read_to_string(&path).unwrap(), "mine");
}

#[test]
fn without_a_terminal_a_missing_answer_names_its_option() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("p.toml");
    for option in ["--place", "--release", "--balloon", "--load", "--parachute"] {
        let at = ANSWERS.iter().position(|a| *a == option).unwrap();
        let some: Vec<&str> = (0..ANSWERS.len())
            .filter(|i| *i != at && *i != at + 1)
            .map(|i| ANSWERS[i])
            .collect();
        let refused = new(&path, &some);
        assert_eq!(refused.status.code(), Some(1), "{option}");
        let said = stderr(&refused);
        assert!(
            said.starts_with(&format!("windfall: {option}: found nothing")),
            "{said}"
        );
    }
    for (option, wrong, words) in [
        ("--place", "Riverton", "which 7 towns may be"),
        ("--place", "Xyzzyx", "which no town is called"),
        ("--place", "Torino", "Torino di Sangro, Abruzzo, IT ("),
        ("--place", "91, 0", "as in \"43.0246, -108.3801\""),
        ("--release", "2026-03-08 02:30", "skip"),
        ("--balloon", "1,2 kg", "perhaps \"1.2 kg\""),
        ("--balloon", "1200", "without a unit"),
        ("--load", "tracker=1.5", "without a unit"),
        ("--parachute", "7", "perhaps \"7 m\""),
        ("--balloon", "9 kg", "burst_diameter"),
    ] {
        let mut answers = ANSWERS;
        let at = answers.iter().position(|a| *a == option).unwrap();
        answers[at + 1] = wrong;
        let refused = new(&path, &answers);
        assert_eq!(refused.status.code(), Some(1), "{wrong}");
        assert!(
            stderr(&refused).contains(words),
            "{wrong}: {}",
            stderr(&refused)
        );
    }
    assert!(!path.exists());
}

#[test]
fn places_of_the_world_become_plans() {
    let folder = tempfile::tempdir().unwrap();
    for (i, (place, zone, lat, us)) in [
        (
            "38°45'20\"S 62°16'15\"W",
            "America/Argentina/Buenos_Aires",
            -38.755_556,
            false,
        ),
        ("-33.87, 151.21", "Australia/Sydney", -33.87, false),
        ("Coruche, Portugal", "Europe/Lisbon", 38.96, false),
        ("78 13.5 N, 15 38 E", "Arctic/Longyearbyen", 78.225, false),
        ("Honolulu, HI", "Pacific/Honolulu", 21.3, true),
    ]
    .into_iter()
    .enumerate()
    {
        let path = folder.path().join(format!("{i}.toml"));
        let mut answers = ANSWERS;
        answers[1] = place;
        let made = new(&path, &answers);
        assert!(made.status.success(), "{place}: {}", stderr(&made));
        let plan = Plan::read(&path).unwrap();
        assert_eq!(plan.timezone.iana_name(), Some(zone), "{place}");
        assert!(
            (plan.site.position.lat_deg - lat).abs() < 0.02,
            "{place}: {:?}",
            plan.site
        );
        assert_eq!(plan.us_units, Some(us), "{place}");
    }
}

fn zone(more: &[&str]) -> (String, Value) {
    let plan = "samples/high-plains/plan.toml";
    let base = [plan, "--draws", "50", "--out", "-"];
    let done = windfall("zone", &[&base[..], more].concat());
    assert!(done.status.success(), "{}", stderr(&done));
    (stderr(&done), serde_json::from_str(&stdout(&done)).unwrap())
}

fn release(zone: &Value) -> &Value {
    let features = zone["features"].as_array().unwrap();
    let of_kind = features
        .iter()
        .find(|f| f["properties"]["kind"] == "release");
    of_kind.unwrap()
}

#[test]
fn options_stand_in_place_of_the_plan_and_it_is_said_first() {
    let (_, before) = zone(&[]);
    let (table, late) = zone(&["--release", "17:40"]);
    assert!(
        table.starts_with("Not as the plan says:\n  --release: 2026-02-05 17:40"),
        "{table}"
    );
    assert_eq!(release(&late)["properties"]["time"], "2026-02-06T00:40:00Z");
    assert!(
        late["assumptions"][0]["words"]
            .as_str()
            .unwrap()
            .starts_with("--release")
    );
    assert_eq!(
        release(&before)["properties"]["time"],
        "2026-02-06T00:00:00Z"
    );

    let (table, moved) = zone(&["--site", "43°05' N 108°30' W"]);
    assert!(table.contains("--site: 43.0833 N, 108.5000 W"), "{table}");
    assert!(table.contains("airport"), "{table}");
    assert_eq!(release(&moved)["geometry"]["coordinates"][0], -108.5);

    let refused = |more: &[&str]| {
        let done = windfall("zone", &[&[WINDS][..], more].concat());
        assert_eq!(done.status.code(), Some(1));
        stderr(&done)
    };
    assert!(refused(&["--release", "late"]).contains("as in 09:40"));
    assert!(refused(&["--site", "43"]).contains("latitude and longitude"));
    let lift = refused(&["--lift", "6"]);
    assert!(
        lift.contains("without a unit") && lift.contains("10 % less"),
        "{lift}"
    );
}

#[test]
fn a_lift_stands_in_place_of_the_fill() {
    let (_, before) = zone(&[]);
    let (table, less) = zone(&["--lift", "5 kg"]);
    assert!(table.contains("--lift: a neck lift of"), "{table}");
    assert_ne!(before["features"], less["features"]);
    let rates = windfall(
        "zone",
        &["samples/high-plains/rates.toml", "--lift", "5 kg"],
    );
    assert_eq!(rates.status.code(), Some(1));
    assert!(
        stderr(&rates).contains("would change nothing"),
        "{}",
        stderr(&rates)
    );
}
