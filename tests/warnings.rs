//! What decides whether an answer can be trusted stands above everything else, in every output; what
//! cannot belong together is refused.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "common/changed.rs"]
mod changed;
#[path = "common/program.rs"]
mod program;

use std::fs;

use changed::Changed;
use program::{stderr, stdout, windfall};
use serde_json::Value;

const PLAN: &str = "samples/high-plains/plan.toml";
const WINDS: &str = "samples/high-plains/riverton-2026-02-05.csv";
/// So that a test is quick.
const FEW: [&str; 2] = ["--draws", "100"];

fn changed(changes: &[(&str, &str)]) -> Changed {
    Changed::of(PLAN, WINDS, changes)
}

fn run(command: &str, args: &[&str]) -> String {
    let output = windfall(command, args);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    stdout(&output)
}

/// The lines of the block of a zone's table, which stands right under the title.
fn warned(changes: &[(&str, &str)]) -> Vec<String> {
    let plan = changed(changes);
    let table = run("zone", &[&[plan.plan().as_str()], &FEW[..]].concat());
    let block = table.split("\n\n").nth(1).unwrap();
    let Some(lines) = block.strip_prefix("WARNINGS\n") else {
        assert!(!table.contains("WARNINGS"), "{table}");
        return Vec::new();
    };
    lines.lines().map(str::to_owned).collect()
}

/// That one line, and no other, warns.
fn warns(changes: &[(&str, &str)], words: &str) {
    let lines = warned(changes);
    let [line] = lines.as_slice() else {
        panic!("{changes:?}: {lines:?}");
    };
    assert!(line.starts_with("! ") && line.contains(words), "{line}");
}

#[test]
fn what_fits_does_not_warn() {
    assert_eq!(warned(&[]), Vec::<String>::new());
    // In UTC people fly everywhere.
    assert_eq!(
        warned(&[
            ("\"America/Denver\"", "\"UTC\""),
            ("17:00:00-07:00", "12:00:00Z"),
            ("2026-02-05T", "2026-02-06T"),
            ("2026-02-06T12", "2026-02-06T00"),
        ]),
        Vec::<String>::new()
    );
}

#[test]
fn a_site_and_winds_of_two_continents_are_refused() {
    // A forgotten minus sign; the time zone tells it first.
    let east = ("lon = -108.35", "lon = 108.35");
    let message = changed(&[east]).refused_in_one_line();
    assert!(message.contains("[flight] timezone"), "{message}");
    assert!(
        message.contains("ahead of the sun's at 43.0200 N"),
        "{message}"
    );
    let utc = [east, ("timezone = \"America/Denver\"\n", "")];
    let message = changed(&utc).refused();
    assert!(message.contains("do not belong together"), "{message}");
    assert!(message.contains("south and west are negative"), "{message}");
}

#[test]
fn a_sounding_far_away_warns() {
    // 4.3 degrees of longitude at 43 north are 350 km.
    let far = ("lon = -108.35", "lon = -104.05");
    let own = ("elevation = \"1640 m\"", "elevation = \"1400 m\"");
    let lines = warned(&[far, own]);
    let first = lines.first().unwrap();
    assert!(
        first.contains("the winds are ") && first.contains(" km away"),
        "{lines:?}"
    );
    // Also where the plan says how wrong they are.
    let stated = ("wind = \"sounding\"", "wind = [[\"10 km\", \"3 m/s\"]]");
    let lines = warned(&[far, own, stated]);
    assert!(lines[0].contains("away from the site"), "{lines:?}");
}

#[test]
fn a_time_zone_of_elsewhere_warns() {
    warns(
        &[
            ("\"America/Denver\"", "\"America/New_York\""),
            ("17:00:00-07:00", "19:00:00-05:00"),
        ],
        "America/New_York are 2 h 13 min ahead of the sun's",
    );
}

#[test]
fn an_elevation_unlike_the_airports_nearby_warns() {
    // Riverton's airport lies at 1,684 m (5,525 ft), 2 km away.
    let at = |elevation: &str| {
        let site = [
            ("lon = -108.35", "lon = -108.44"),
            ("lat = 43.02", "lat = 43.06"),
        ];
        let elevation = format!("\"{elevation}\"");
        let lines = warned(&[site[0], site[1], ("\"1640 m\"", &elevation)]);
        lines
            .iter()
            .filter(|line| line.contains("at the airport KRIW"))
            .count()
    };
    assert_eq!([at("1820 m"), at("1850 m"), at("1520 m")], [0, 1, 1]);
}

/// An elevation that is only where the winds begin is told, and held against the airports nearby.
#[test]
fn an_elevation_by_the_winds_warns() {
    let unknown = ("elevation = \"1640 m\"\n", "");
    warns(&[unknown], "where the winds begin");
    // Worland's airport lies 400 m lower than where the sounding begins.
    let lines = warned(&[
        unknown,
        ("lat = 43.02", "lat = 43.97"),
        ("lon = -108.35", "lon = -107.95"),
    ]);
    let told = |words: &str| lines.iter().any(|line| line.contains(words));
    assert!(
        told("where the winds begin") && told("at the airport KWRL"),
        "{lines:?}"
    );
}

#[test]
fn a_hard_landing_warns_and_a_harder_one_says_do_not_fly() {
    warns(&[("\"2.1 m\"", "\"1.5 m\"")], "lands hard, at ");
    warns(
        &[("\"2.1 m\"", "\"7 in\"")],
        "DO NOT FLY: the load lands at ",
    );
}

#[test]
fn a_soft_landing_tells_its_energy() {
    let zone = run("zone", &[PLAN, "--json", "--draws", "50"]);
    let facts = &serde_json::from_str::<Value>(&zone).unwrap()["facts"];
    let [speed, energy] =
        ["touchdown_speed_m_s", "touchdown_energy_j"].map(|key| facts[key].as_f64().unwrap());
    // The plan's load and parachute weigh 4.3 kg; m v^2 / 2.
    assert!(
        (energy - 0.5 * 4.3 * speed * speed).abs() < 1e-6,
        "{energy}"
    );
    let table = run("zone", &[PLAN, "--draws", "50"]);
    assert!(table.contains(&format!("the whole load with {energy:.0} J")));
    // Of rates alone nobody knows what comes down.
    let rates = "samples/high-plains/rates.toml";
    assert!(!run("zone", &[rates, "--draws", "50"]).contains("the whole load"));
}

#[test]
fn an_assumed_parachute_warns() {
    warns(
        &[("drag_coefficient = 0.75\n", "")],
        "drag coefficient of 0.75 is assumed",
    );
    warns(
        &[("mass = \"0.35 kg\"\n", "")],
        "parachute's mass is not given",
    );
}

#[test]
fn every_output_has_the_warnings_the_gravest_first() {
    let plan = changed(&[
        ("\"2.1 m\"", "\"7 in\""),
        ("drag_coefficient = 0.75\n", ""),
        ("mass = \"0.35 kg\"\n", ""),
    ]);
    let plan_file = plan.plan();
    let wanted = ["hard_landing", "no_parachute_mass", "parachute_drag"];
    let codes = |warnings: &Value| -> Vec<String> {
        let all = warnings.as_array().unwrap().iter();
        assert!(all.clone().all(|w| w["words"].is_string()));
        all.map(|w| w["code"].as_str().unwrap().to_owned())
            .collect()
    };
    let json = |command: &str, args: &[&str]| -> Value {
        let text = run(command, &[&[plan_file.as_str()], args, &FEW[..]].concat());
        serde_json::from_str(&text).unwrap()
    };
    assert_eq!(
        codes(&json("zone", &["--json"])["zone"]["warnings"]),
        wanted
    );
    assert_eq!(codes(&json("zone", &["--out", "-"])["warnings"]), wanted);

    let day = [
        "--from",
        "2026-02-05",
        "--to",
        "2026-02-05",
        "--every",
        "6h",
    ];
    let hours = ["--hours", "11:00-23:00"];
    let days = [&day[..], &hours].concat();
    let as_json = json("days", &[&days[..], &["--json"]].concat());
    assert_eq!(codes(&as_json["warnings"]), wanted);
    let table = run("days", &[&[plan_file.as_str()], &days[..], &FEW].concat());
    let (block, row) = (
        table.find("WARNINGS\n! DO NOT FLY"),
        table.find("what decides"),
    );
    assert!(block.is_some() && block < row, "{table}");

    let candidates = plan.path("candidates.csv");
    fs::write(&candidates, "name,lat,lon\nfield,43.03,-108.40\n").unwrap();
    let given = ["--candidates", candidates.to_str().unwrap()];
    let table = run(
        "sites",
        &[&[plan_file.as_str()], &given[..], &days, &FEW].concat(),
    );
    let (block, row) = (
        table.find("WARNINGS\n! DO NOT FLY"),
        table.find("what decides"),
    );
    assert!(block.is_some() && block < row, "{table}");

    let page = plan.path("zone.html");
    let out = ["--out", page.to_str().unwrap()];
    run("zone", &[&[plan_file.as_str()], &out[..], &FEW].concat());
    let page = fs::read_to_string(page).unwrap();
    let (block, lead) = (page.find("DO NOT FLY"), page.find("class=\"lead\""));
    assert!(block.is_some() && block < lead, "{block:?} {lead:?}");
}

#[test]
fn a_plan_without_winds_says_how_to_get_them() {
    let plan = changed(&[("[wind]\nfiles = [\"riverton-2026-02-05.csv\"]\n", "")]);
    let message = plan.refused_in_one_line();
    let command = format!("`windfall fetch {}`", plan.plan());
    for words in [command.as_str(), "--wind FILE", "GRIB2", "radiosonde"] {
        assert!(message.contains(words), "{words}: {message}");
    }
}
