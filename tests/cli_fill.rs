//! `windfall fill` as a person runs it, and `windfall zone` on the same fills.

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

/// Without winds, in US units, with cylinders at hand.
const DAWN: &str = "samples/first-light/plan.toml";
/// With a forecast.
const FORECAST: &str = "samples/ribatejo/plan.toml";
const PLAN: &str = "samples/high-plains/plan.toml";
const WINDS: &str = "samples/high-plains/riverton-2026-02-05.csv";

fn table(args: &[&str]) -> String {
    let output = windfall("fill", args);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    assert_eq!(stderr(&output), "");
    stdout(&output)
}

fn json(command: &str, args: &[&str]) -> Value {
    let output = windfall(command, &[args, &["--json"]].concat());
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    serde_json::from_slice(&output.stdout).unwrap()
}

fn number(value: &Value, path: &str) -> f64 {
    let found = value.pointer(path).and_then(Value::as_f64);
    found.unwrap_or_else(|| panic!("no number at {path}"))
}

/// The sample with text replaced, its winds beside it.
fn changed(changes: &[(&str, &str)]) -> Changed {
    Changed::of(PLAN, WINDS, changes)
}

/// What a result assumes.
fn codes(result: &Value) -> Vec<&str> {
    let assumed = result.pointer("/zone/assumptions");
    let all = assumed
        .unwrap_or(&result["assumptions"])
        .as_array()
        .unwrap();
    let all = all.iter();
    all.filter_map(|said| said["code"].as_str()).collect()
}

fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn the_table_of_the_sample() {
    insta::assert_snapshot!(table(&[DAWN]));
}

#[test]
fn the_table_in_us_units_with_thresholds() {
    let text = table(&[DAWN, "--units", "us", "--rules", "us", "--lifted", "13 lb"]);
    let ours = text.split("\nThresholds").next().unwrap();
    for metric in [" m/s", " kg", " km", " m3", " bar ", " J "] {
        assert!(!ours.contains(metric), "{metric}\n{text}");
    }
    insta::assert_snapshot!(text);
}

#[test]
fn the_card_in_plain_text() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("card.txt");
    table(&[DAWN, "--units", "us", "--out", path.to_str().unwrap()]);
    insta::assert_snapshot!(fs::read_to_string(path).unwrap());
}

#[test]
fn every_kind_of_file() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let names = [
        "card.txt",
        "card.html",
        "trade.svg",
        "trade.png",
        "fill.json",
    ];
    let mut args = vec![FORECAST.to_owned()];
    for name in names {
        args.extend(["--out".to_owned(), path(name)]);
    }
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    table(&args);
    let read = |name| fs::read(folder.path().join(name)).unwrap();
    let text = |name| String::from_utf8(read(name)).unwrap();
    for heading in [
        "Masses",
        "re-weighed",
        "Who to call",
        "HEARD BY THE NETWORK",
        "Released at",
        "Cautions",
    ] {
        assert!(text("card.html").contains(heading), "{heading}");
    }
    // Whole in itself.
    assert!(!text("card.html").contains("http"));
    assert!(text("trade.svg").starts_with("<svg") && !text("trade.svg").contains("NaN"));
    assert_eq!(&read("trade.png")[1..4], b"PNG");
    let fill: Value = serde_json::from_slice(&read("fill.json")).unwrap();
    assert_eq!(fill, json("fill", &[FORECAST]));
    // Same input, same bytes.
    let again = path("again.svg");
    table(&[FORECAST, "--out", &again]);
    assert_eq!(text("again.svg"), text("trade.svg"));
    let wrong = windfall("fill", &[FORECAST, "--out", "card.docx"]);
    assert_eq!(wrong.status.code(), Some(2));
}

/// Fill and zone fly the same flight, whatever the fill is known by.
#[test]
fn fill_and_zone_agree() {
    let fills = [
        "neck_lift = \"6.8 kg\"",
        "free_lift = \"2.3 kg\"",
        "gas_volume = \"9 m3\"",
        "ascent_rate = \"5.5 m/s\"",
        "burst_altitude = \"28 km\"",
        "flight_time = \"130 min\"",
        "cylinders = { water_volume = \"50 L\", pressure = \"180 bar\", temperature = \"-6 C\" }",
        "cylinders = [{ water_volume = \"50 L\", pressure = \"60 bar\" }, { count = 2, water_volume = \"20 L\", pressure = \"150 bar\" }]",
    ];
    for fill in fills {
        let no_early = ("[spread]", "[spread]\nearly_bursts = \"0 %\"");
        let folder = changed(&[("neck_lift = \"6.8 kg\"", fill), no_early]);
        let plan = folder.plan();
        let sized = json("fill", &[&plan]);
        let zone = json("zone", &[&plan, "--draws", "400"]);
        let same = |fill_path: &str, zone_path: &str, share: f64| {
            let (a, b) = (number(&sized, fill_path), number(&zone, zone_path));
            assert!(
                (a / b - 1.0).abs() < share,
                "{fill}: {fill_path} {a}, {zone_path} {b}"
            );
        };
        same("/lift/neck_kg", "/facts/balloon/neck_lift_kg", 1e-9);
        same("/lift/volume_m3", "/facts/balloon/volume_m3", 1e-9);
        same(
            "/lift/release_diameter_m",
            "/facts/balloon/release_diameter_m",
            1e-9,
        );
        // Of the climb itself, and of the table of climbs that all flights of a zone share.
        same("/flight/mean_rate_m_s", "/facts/mean_rate_m_s", 3e-5);
        same("/flight/touchdown_m_s", "/facts/touchdown_speed_m_s", 1e-6);
        same("/flight/burst_m", "/zone/burst/altitude_m", 3e-5);
        let time = |path| {
            let text = zone.pointer(path).and_then(Value::as_str).unwrap();
            text.parse::<jiff::Timestamp>().unwrap()
        };
        let flown = time("/zone/landing/time").duration_since(time("/zone/release/time"));
        let whole = number(&sized, "/flight/rise_s") + number(&sized, "/flight/fall_s");
        assert!((flown.as_secs_f64() - whole).abs() < 0.3, "{fill}");
        // The middle 90 % of the draws are as wide as the standard deviation says: +-1.645 of it.
        let width = number(&zone, "/facts/burst_quantiles_m/2")
            - number(&zone, "/facts/burst_quantiles_m/0");
        let sigma = number(&sized, "/flight/burst_sigma_m");
        assert!(
            (width / 3.29 / sigma - 1.0).abs() < 0.08,
            "{fill}: {width} {sigma}"
        );
    }
}

/// A logbook teaches how balloons burst, and not how much gas the plan asks for.
#[test]
fn fill_and_zone_agree_on_the_gas_whatever_the_logbook_says() {
    for fill in ["burst_altitude = \"28 km\"", "flight_time = \"130 min\""] {
        let book = ("[spread]", "[spread]\nlogbook = \"flights.toml\"");
        let folder = changed(&[("neck_lift = \"6.8 kg\"", fill), book]);
        let flight = |k: usize| {
            format!(
                "[[flight]]\nname = \"{k}\"\nreleased = \"2026-01-{k:02}T08:00:00Z\"\nlat = 40\nlon = -89\nmiss_km = 4.0\nalong_km = 4.0\nacross_km = 0.0\nrate = 0.9\nburst_diameter = 1.1\n"
            )
        };
        let flights: String = (1..6).map(flight).collect();
        fs::write(folder.path("flights.toml"), flights).unwrap();
        let sized = json("fill", &[&folder.plan()]);
        let zone = json("zone", &[&folder.plan(), "--draws", "20"]);
        let [a, b] = [
            number(&sized, "/lift/neck_kg"),
            number(&zone, "/facts/balloon/neck_lift_kg"),
        ];
        assert!((a / b - 1.0).abs() < 1e-9, "{fill}: {a} {b}");
        // It is flown to the burst that flights taught.
        let [planned, flown] = [
            number(&sized, "/balloon/burst_diameter_m"),
            number(&zone, "/facts/balloon/burst_diameter_m"),
        ];
        assert!(flown / planned > 1.05, "{planned} {flown}");
    }
}

/// What the plan says of early bursts holds for the card as well, and what stands beside another key and
/// would be passed over is refused.
#[test]
fn what_a_plan_says_is_used_or_refused() {
    let early = |share: &str| {
        let spread = format!("[spread]\nearly_bursts = \"{share}\"");
        let folder = changed(&[("[spread]", &spread)]);
        flat(&table(&[&folder.plan()]))
    };
    assert!(early("25 %").contains("about 1 balloon in 4 bursts early"));
    assert!(!early("0 %").contains("bursts early"));
    let contents = "contents = \"244 ft3\"";
    let cylinder = |more: &str| {
        let fill = format!("neck_lift = \"6.8 kg\"\n[[cylinders]]\n{contents}\ncount = 2\n{more}");
        changed(&[("neck_lift = \"6.8 kg\"", &fill)])
    };
    let words = flat(&table(&[&cylinder("").plan()]));
    assert!(words.contains("at 70 F") && !words.contains("without a temperature"));
    let message = cylinder("temperature = \"-6 C\"").refused_in_one_line();
    assert!(
        message.contains("a temperature together with contents"),
        "{message}"
    );
    let remnant = (
        "[spread]",
        "[descent]\nlanding_speed = \"5 m/s\"\nremnant = \"20 %\"\n[spread]",
    );
    let message = changed(&[remnant]).refused_in_one_line();
    assert!(message.contains("[descent] remnant"), "{message}");
    let falls = |descent: &str, spread: &str| {
        let words = format!("[descent]\n{descent}\n[spread]\n{spread}");
        changed(&[("[spread]", &words)])
    };
    let (speed, rates) = (
        "landing_speed = \"5 m/s\"",
        "rates = [[\"0 m\", \"5 m/s\"]]",
    );
    let (stays, changes) = ("remnant = \"40 %\"", "canopy_changes = \"50 %\"");
    let message = falls(speed, stays).refused_in_one_line();
    assert!(message.contains("[spread] remnant"), "{message}");
    let message = falls(rates, changes).refused_in_one_line();
    assert!(message.contains("[spread] canopy_changes"), "{message}");
    // What does not vary is true of any fall.
    let nothing = falls(rates, "remnant = \"0 %\"\ncanopy_changes = \"0 %\"");
    json("zone", &[&nothing.plan(), "--draws", "20"]);
    // One slip is one fault.
    let text = fs::read_to_string("samples/first-light/plan.toml").unwrap();
    let load = "[[load]]\nname = \"all\"\nmass = \"4.3\"\n";
    let (before, rest) = text.split_once("[[load]]").unwrap();
    let after = rest.rsplit_once("[[load]]").map_or(rest, |(_, last)| last);
    let after = &after[after.find("\n[").unwrap()..];
    let plan = format!("{before}{load}{after}");
    let error = windfall::Plan::parse("p.toml", &plan, std::path::Path::new("")).unwrap_err();
    let message = error.to_string();
    assert!(message.contains("\"4.3\" without a unit"), "{message}");
    assert_eq!(message.lines().count(), 1, "{message}");
}

/// Where there is no balloon nothing of it stays on the line, and what the plan says of that is refused.
#[test]
fn nothing_stays_on_the_line_of_no_balloon() {
    let without = |more: &str| {
        let text = fs::read_to_string(PLAN).unwrap();
        let (head, rest) = text.split_once("[balloon]").unwrap();
        let (_, tail) = rest.split_once("[[load]]").unwrap();
        let folder = changed(&[]);
        let ascent = "[ascent]\nrate = \"5 m/s\"\nburst_altitude = \"27 km\"\n[[load]]";
        let (tail, spread) = tail.split_once("[spread]").unwrap();
        let plan = format!("{head}{ascent}{tail}{more}{spread}");
        fs::write(folder.plan(), plan).unwrap();
        folder
    };
    let plan = without("[spread]");
    let zone = json("zone", &[&plan.plan(), "--draws", "20"]);
    assert!(codes(&zone).contains(&"no_remnant"), "{zone}");
    assert!(!codes(&zone).contains(&"no_parachute_mass"), "{zone}");
    let text = fs::read_to_string(plan.plan()).unwrap();
    fs::write(plan.plan(), text.replace("mass = \"0.35 kg\"\n", "")).unwrap();
    let zone = json("zone", &[&plan.plan(), "--draws", "20"]);
    assert!(codes(&zone).contains(&"no_parachute_mass"), "{zone}");
    let said = without("[descent]\nremnant = \"0 %\"\n[spread]");
    let zone = json("zone", &[&said.plan(), "--draws", "20"]);
    assert!(!codes(&zone).contains(&"no_remnant"), "{zone}");
    let stated = without("[descent]\nlanding_speed = \"5 m/s\"\n[spread]");
    let text = fs::read_to_string(stated.plan()).unwrap();
    fs::write(stated.plan(), text.replace("mass = \"0.35 kg\"\n", "")).unwrap();
    let zone = json("zone", &[&stated.plan(), "--draws", "20"]);
    assert!(!codes(&zone).contains(&"no_parachute_mass"), "{zone}");
    let message = without("[descent]\nremnant = \"20 %\"\n[spread]").refused_in_one_line();
    assert!(message.contains("[descent] remnant"), "{message}");
    let message = without("[spread]\nremnant = \"40 %\"").refused_in_one_line();
    assert!(message.contains("[spread] remnant"), "{message}");
}

/// Files outside of the plan's folder are told with what is made of them.
#[test]
fn the_card_says_which_files_outside_were_read() {
    let folder = changed(&[("files = [\"", "files = [\"../")]);
    let beside = folder.folder.path().parent().unwrap();
    let name = "riverton-2026-02-05.csv";
    let inside = beside
        .join(folder.folder.path().file_name().unwrap())
        .join("in");
    fs::create_dir(&inside).unwrap();
    fs::rename(folder.path("plan.toml"), inside.join("plan.toml")).unwrap();
    let plan = inside.join("plan.toml");
    let words = table(&[plan.to_str().unwrap(), "--outside"]);
    assert!(
        flat(&words).contains(&format!("are read: ../{name}")),
        "{words}"
    );
}

/// What the command line gives stands in place of the plan's fill, and is true of the result.
#[test]
fn known_on_the_command_line() {
    for (option, text, path, si) in [
        ("--neck-lift", "15 lb", "/lift/neck_kg", 6.80388555),
        ("--free-lift", "2 kg", "/lift/free_kg", 2.0),
        ("--gas-volume", "8500 L", "/lift/volume_m3", 8.5),
        (
            "--ascent-rate",
            "1000 ft/min",
            "/flight/release_rate_m_s",
            5.08,
        ),
        ("--burst-altitude", "28000 m", "/flight/burst_m", 28_000.0),
    ] {
        let fill = json("fill", &[FORECAST, option, text]);
        assert!((number(&fill, path) / si - 1.0).abs() < 1e-6, "{option}");
        assert!(
            fill["solved_from"]["words"]
                .as_str()
                .unwrap()
                .contains("in place of")
        );
    }
    let fill = json("fill", &[FORECAST, "--flight-time", "2 h"]);
    let whole = number(&fill, "/flight/rise_s") + number(&fill, "/flight/fall_s");
    assert!((whole - 7_200.0).abs() < 0.01);
    let both = windfall(
        "fill",
        &[FORECAST, "--neck-lift", "6 kg", "--free-lift", "2 kg"],
    );
    assert_eq!(both.status.code(), Some(2));
    for wrong in [
        ["--neck-lift", "6"],
        ["--ascent-rate", "-5 m/s"],
        ["--flight-time", "nan s"],
    ] {
        let output = windfall("fill", &[&[FORECAST], &wrong[..]].concat());
        assert_eq!(output.status.code(), Some(2), "{wrong:?}");
    }
}

#[test]
fn a_burst_or_a_time_that_no_gas_makes_is_refused_with_the_range() {
    let output = windfall("fill", &[FORECAST, "--burst-altitude", "36 km"]);
    assert_eq!(output.status.code(), Some(1));
    let message = stderr(&output);
    assert_eq!(message.lines().count(), 1, "{message}");
    assert!(
        message.contains("36,000 m") && message.contains("lie between"),
        "{message}"
    );
    let message = stderr(&windfall("fill", &[FORECAST, "--flight-time", "9 min"]));
    assert!(message.contains("flies for"), "{message}");
    let message = stderr(&windfall("fill", &["samples/high-plains/rates.toml"]));
    assert!(message.contains("no balloon to fill"), "{message}");
}

/// Programs read findings, remarks and assumptions by their code and numbers in SI, whatever units the
/// words are in.
#[test]
fn what_is_said_is_data_with_words() {
    let folder = changed(&[("neck_lift = \"6.8 kg\"", "neck_lift = \"4.0 kg\"")]);
    let [metric, us] = ["metric", "us"]
        .map(|units| json("fill", &[&folder.plan(), "--rules", "us", "--units", units]));
    let (a, b) = (&metric["findings"][0], &us["findings"][0]);
    assert_eq!(
        (&a["code"], &a["stops"]),
        (&"load_not_raised".into(), &true.into())
    );
    assert!((number(a, "/load_kg") - 4.3).abs() < 1e-9 && a["load_kg"] == b["load_kg"]);
    assert!(a["words"].as_str().unwrap().contains("4.30 kg"), "{a}");
    assert!(b["words"].as_str().unwrap().contains("9.48 lb"), "{b}");
    for fill in [&metric, &us] {
        for said in ["assumptions", "notes"] {
            for one in fill[said].as_array().unwrap() {
                let (code, words) = (
                    one["code"].as_str().unwrap(),
                    one["words"].as_str().unwrap(),
                );
                assert!(
                    code.chars().all(|c| c.is_ascii_lowercase() || c == '_'),
                    "{code}"
                );
                assert!(words.len() > 10, "{one}");
            }
        }
        for line in fill["rules"]["lines"].as_array().unwrap() {
            let remarks = line["remarks"].as_array().unwrap();
            assert!(
                remarks
                    .iter()
                    .all(|r| r["code"].is_string() && r["words"].is_string())
            );
            let threshold = &line["threshold"];
            assert!(
                threshold.is_null() || number(threshold, "/si") > 0.0,
                "{line}"
            );
        }
    }
    let all = metric["assumptions"].as_array().unwrap();
    let said = |a: &Value| a["code"].is_string() && a["words"].is_string();
    assert!(!all.is_empty() && all.iter().all(said), "{all:?}");
}

/// That a stack should not fly is a result, in words with numbers.
#[test]
fn do_not_fly_is_a_result() {
    let says = |changes: &[(&str, &str)], words: &[&str]| {
        let folder = changed(changes);
        let text = flat(&table(&[&folder.plan()]));
        for word in words {
            assert!(text.contains(word), "{word}\n{text}");
        }
        assert!(text.contains("DO NOT FLY"), "{text}");
        let fill = json("fill", &[&folder.plan()]);
        assert_eq!(fill["do_not_fly"], true);
    };
    let fill = "neck_lift = \"6.8 kg\"";
    let small = "water_volume = \"50 L\", pressure = \"30 bar\", count = 2";
    // Two begun cylinders are not enough for the rate that is wanted.
    let at_hand = "ascent_rate = \"5 m/s\"\n[[cylinders]]\nwater_volume = \"50 L\"\npressure = \"65 bar\"\ncount = 2\ntemperature = \"-5 C\"";
    says(
        &[(fill, at_hand)],
        &[
            "these two cylinders give 5.",
            "kg of neck lift; the load needs 5.9",
            "kg at 5.0 m/s: ",
            "m3 short",
        ],
    );
    // Emptied, they do not even raise the load.
    let emptied = format!("cylinders = {{ {small}, temperature = \"0 C\" }}");
    says(
        &[(fill, &emptied)],
        &[
            "these two cylinders give 1.",
            "the load needs 5.9",
            "at 5.0 m/s",
            "does not lift the load",
        ],
    );
    says(
        &[(fill, "neck_lift = \"4.0 kg\"")],
        &["does not lift the load of 4.30 kg: 0.30 kg short"],
    );
    says(
        &[(fill, "neck_lift = \"4.45 kg\"")],
        &["with 4 % less lift"],
    );
    says(
        &[("8.63 m", "2.2 m")],
        &["to its burst diameter on the ground"],
    );
    says(
        &[(
            "elevation = \"1640 m\"",
            "elevation = \"1640 m\"\ndoor = \"2.1 m x 2.4 m\"\nshelter = \"4 m x 3 m x 3 m\"",
        )],
        &[
            "does not fit the door of 2.10 m",
            "fits the shelter of 3.00 m",
        ],
    );
    // Not a reason to stay, but one to look again.
    let folder = changed(&[(fill, "ascent_rate = \"2.5 m/s\"")]);
    let text = table(&[&folder.plan()]);
    assert!(
        text.contains("look again") && text.contains("slow: 2.5 m/s"),
        "{text}"
    );
}

/// A stated burst altitude has the spread that a zone gives it; a balloon with next to no gas is told
/// to lift nothing.
#[test]
fn the_ends_of_what_a_plan_may_say() {
    let stated = changed(&[(
        "[spread]",
        "[ascent]\nburst_altitude = \"28 km\"\n[spread]\nearly_bursts = \"0 %\"",
    )]);
    let fill = json("fill", &[&stated.plan()]);
    let zone = json("zone", &[&stated.plan(), "--draws", "400"]);
    let width =
        number(&zone, "/facts/burst_quantiles_m/2") - number(&zone, "/facts/burst_quantiles_m/0");
    let sigma = number(&fill, "/flight/burst_sigma_m");
    assert!((width / 3.29 / sigma - 1.0).abs() < 0.08, "{width} {sigma}");
    let empty = changed(&[("neck_lift = \"6.8 kg\"", "gas_volume = \"50 L\"")]);
    let text = flat(&table(&[&empty.plan()]));
    assert!(
        text.contains("nothing (it does not even lift the filler)"),
        "{text}"
    );
    assert!(
        text.contains("DO NOT FLY") && !text.contains("NaN"),
        "{text}"
    );
}

/// In a zone the same is an error.
#[test]
fn zone_refuses_cylinders_that_do_not_raise_the_load() {
    let fill = "cylinders = { water_volume = \"50 L\", pressure = \"30 bar\" }";
    let message = changed(&[("neck_lift = \"6.8 kg\"", fill)]).refused_in_one_line();
    assert!(message.contains("does not lift the load"), "{message}");
}

/// Without a burst diameter, that of the table of balloons, said; of a mass that no table has, none.
#[test]
fn the_burst_diameter_of_the_table() {
    let folder = changed(&[("burst_diameter = \"8.63 m\"", "")]);
    let zone = stdout(&windfall("zone", &[&folder.plan(), "--draws", "100"]));
    let words = "burst diameter of 8.63 m for a balloon of 1,200 g, as in Totex, manufacturer's performance table";
    assert!(flat(&zone).contains(words), "{zone}");
    assert!(flat(&table(&[&folder.plan()])).contains(words));
    let given = json("fill", &[&changed(&[]).plan()]);
    assert_eq!(given["flight"], json("fill", &[&folder.plan()])["flight"]);

    let heavy = changed(&[("burst_diameter = \"8.63 m\"", ""), ("1200 g", "4500 g")]);
    let message = heavy.refused();
    assert!(
        message.contains("no table of balloons has this mass"),
        "{message}"
    );

    let own = changed(&[("burst_diameter = \"8.63 m\"", "table = \"ours.toml\"")]);
    let series = "[[series]]\nname = \"ours\"\nsource = \"three flights of ours\"\nread = \"measured\"\nballoons = [[\"1200 g\", \"7.9 m\"]]\n";
    fs::write(own.path("ours.toml"), series).unwrap();
    assert!(
        flat(&table(&[&own.plan()]))
            .contains("7.90 m for a balloon of 1,200 g, as in three flights of ours")
    );
    fs::write(own.path("ours.toml"), series.replace("7.9 m", "7.9")).unwrap();
    assert!(own.refused().contains("ours.toml"));
}

/// Lines by length, and what was weighed against what was planned.
#[test]
fn the_ledger() {
    let fill = json("fill", &[DAWN]);
    let items = fill["ledger"]["items"].as_array().unwrap();
    assert_eq!(items.len(), 7);
    let pound = 0.453_592_37;
    assert_eq!(items[0]["measured"], true);
    assert!((number(&items[0], "/mass_kg") - 1.58 * pound).abs() < 1e-8);
    assert!((number(&items[0], "/planned_kg") - 1.5 * pound).abs() < 1e-8);
    // 16 ft of 2.2 g/m.
    assert!((number(&items[3], "/mass_kg") - 16.0 * 0.3048 * 0.0022).abs() < 1e-8);
    let sum: f64 = items.iter().map(|i| number(i, "/mass_kg")).sum();
    assert!((sum - number(&fill, "/ledger/load_kg")).abs() < 1e-8);
    // m v^2 / 2 of the boxes, none of lines.
    let v = number(&fill, "/flight/touchdown_m_s");
    let energy = number(&items[1], "/impact_j");
    assert!((energy - 0.5 * 2.4 * pound * v * v).abs() < 1e-6);
    assert!(items[3]["impact_j"].is_null());
    assert!(table(&[DAWN]).contains("+36 g"));
}

/// The filler counts: what is hung is the neck lift less the filler.
#[test]
fn the_lift_test() {
    let fill = json("fill", &[DAWN, "--lifted", "13 lb"]);
    let (neck, filler) = (
        number(&fill, "/lift/neck_kg"),
        number(&fill, "/lift_test/filler_kg"),
    );
    assert!((filler - 0.9 * 0.453_592_37).abs() < 1e-8);
    assert!((number(&fill, "/lift_test/hang_kg") - (neck - filler)).abs() < 1e-8);
    for (i, share) in [0.96, 1.04].into_iter().enumerate() {
        let bound = number(&fill, &format!("/lift_test/bounds_kg/{i}"));
        assert!((bound - (share * neck - filler)).abs() < 1e-8);
    }
    let rows = fill["lift_test"]["rows"].as_array().unwrap();
    let mut before: Option<(f64, f64)> = None;
    for row in rows {
        let rate = number(row, "/flight/release_rate_m_s");
        let burst = number(row, "/flight/burst_m");
        if let Some((slower, higher)) = before {
            assert!(rate >= slower && burst <= higher + 0.01);
        }
        before = Some((rate, burst));
    }
    let which: Vec<&str> = rows.iter().filter_map(|r| r["which"].as_str()).collect();
    for (kind, count) in [("target", 1), ("bound", 2), ("asked", 1)] {
        assert_eq!(
            which.iter().filter(|w| **w == kind).count(),
            count,
            "{kind}"
        );
    }
    // A row is what solving from that neck lift gives.
    let asked = rows.iter().find(|r| r["which"] == "asked").unwrap();
    let neck = format!("{} lb", 13.0 + 0.9);
    let other = json("fill", &[DAWN, "--neck-lift", &neck]);
    let same = number(asked, "/flight/burst_m") - number(&other, "/flight/burst_m");
    assert!(same.abs() < 1e-6, "{same}");
    // In a wind: tan(lean) = pull / lift, and a scale in the line reads lift / cos(lean).
    for row in fill["lift_test"]["wind"].as_array().unwrap() {
        let lift = number(&fill, "/lift/neck_kg");
        let lean = number(row, "/lean_deg").to_radians();
        assert!((lean.tan() * lift - number(row, "/pull_kg")).abs() < 1e-9);
        assert!((lift / lean.cos() - lift - number(row, "/too_much_kg")).abs() < 1e-9);
    }
}

/// Warm high-pressure days and cold ones differ: the air is that of the winds, or said as assumed.
#[test]
fn the_air_at_the_site() {
    let from_winds = json("fill", &[FORECAST]);
    assert_eq!(
        from_winds["site"]["air_from"][0],
        "samples/ribatejo/era5-portugal-2023.nc"
    );
    let standard = json("fill", &[FORECAST, "--standard-air"]);
    assert_eq!(standard["site"]["air_from"].as_array().unwrap().len(), 0);
    // Standard air at 96 m: 14.4 C; the sample's morning is ten degrees warmer.
    assert!((number(&standard, "/site/temperature_k") - 287.526).abs() < 0.01);
    assert!(number(&from_winds, "/lift/volume_m3") > number(&standard, "/lift/volume_m3"));
    let text = flat(&table(&[DAWN]));
    assert!(
        text.contains("standard atmosphere (U.S. 1976), assumed"),
        "{text}"
    );
}

#[test]
fn a_checklist_of_ones_own() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let (mine, card, page) = (path("mine.toml"), path("card.txt"), path("card.html"));
    fs::write(&mine, "[[part]]\nheading = \"Ours\"\nitems = [\"tea & <biscuits>\"]\n[[call]]\nwho = \"Ana\"\nnumber = \"0123\"\n").unwrap();
    table(&[DAWN, "--checklist", &mine, "--out", &card, "--out", &page]);
    let text = fs::read_to_string(&card).unwrap();
    assert!(
        text.contains("[ ] tea & <biscuits>")
            && text.contains("Ana")
            && !text.contains("BEFORE ANYTHING")
    );
    let html = fs::read_to_string(&page).unwrap();
    assert!(html.contains("<li>tea &amp; &lt;biscuits&gt;</li>") && html.contains("0123"));
    fs::write(&mine, "[[part]]\nheading = 1\n").unwrap();
    let wrong = windfall("fill", &[DAWN, "--checklist", &mine]);
    assert!(
        stderr(&wrong).contains("mine.toml, line 2"),
        "{}",
        stderr(&wrong)
    );
}

/// Faults of the new keys, all at once and by line.
#[test]
fn a_file_without_rules_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("mine.toml");
    for text in ["", "# none yet\n"] {
        std::fs::write(&path, text).unwrap();
        let args = [
            "samples/first-light/plan.toml",
            "--rules-file",
            path.to_str().unwrap(),
        ];
        let output = windfall("fill", &args);
        assert_eq!(output.status.code(), Some(1));
        assert!(stderr(&output).contains("no rules"), "{}", stderr(&output));
    }
}

#[test]
fn faults_in_the_plan() {
    let message = changed(&[
        (
            "neck_lift = \"6.8 kg\"",
            "cylinders = { water_volume = \"50 L\", pressure = \"200\", bottles = 2 }",
        ),
        (
            "mass = \"0.95 kg\"",
            "mass = \"0.95 kg\"\nmass_per_length = \"2 g/m\"\nkind = \"bag\"\nstrength = \"50 m\"",
        ),
        (
            "elevation = \"1640 m\"",
            "elevation = \"1640 m\"\ndoor = \"wide\"",
        ),
    ])
    .refused();
    for word in [
        "[balloon] cylinders pressure: found \"200\" without a unit",
        "[balloon] cylinders bottles: found an unknown key",
        "mass and mass_per_length together",
        "[[load]] length: found nothing",
        "\"bag\"; expected \"box\", \"line\"",
        "strength: found \"50 m\", which is a length",
        "[site] door: found \"wide\"",
    ] {
        assert!(message.contains(word), "{word}\n{message}");
    }
    let both = changed(&[(
        "neck_lift = \"6.8 kg\"",
        "cylinders = { water_volume = \"50 L\", pressure = \"200 bar\" }\n[[cylinders]]\nwater_volume = \"50 L\"\npressure = \"200 bar\"",
    )]);
    assert!(
        both.refused()
            .contains("[[cylinders]] or [balloon] cylinders, not both")
    );
    let none = changed(&[("neck_lift = \"6.8 kg\"", "cylinders = []")]);
    assert!(
        none.refused()
            .contains("[balloon] cylinders: found an empty array")
    );
    // An unreadable table hides no other fault.
    let table = changed(&[
        (
            "neck_lift = \"6.8 kg\"",
            "neck_lift = \"6.8\"\ntable = \"none.toml\"",
        ),
        ("diameter = \"2.1 m\"", "diameter = \"2.1\""),
    ]);
    let message = table.refused();
    for word in [
        "none.toml",
        "\"6.8\" without a unit",
        "\"2.1\" without a unit",
    ] {
        assert!(message.contains(word), "{word}\n{message}");
    }
    let two = changed(&[(
        "neck_lift = \"6.8 kg\"",
        "neck_lift = \"6.8 kg\"\nflight_time = \"2 h\"",
    )]);
    assert!(two.refused().contains("exactly one of neck_lift"));
}

/// The cautions that people need at the cylinders: those of the gas that is used, and on the card before
/// the work.
#[test]
fn cautions() {
    let helium = flat(&table(&[DAWN])).to_lowercase();
    for word in [
        "great pressure",
        "van or shed",
        "pulls like a sail",
        "eyes and ears",
        "power lines",
        "does not say that a flight is safe",
    ] {
        assert!(helium.contains(word), "{word}");
    }
    assert!(!helium.contains("hydrogen burns"), "{helium}");
    let folder = changed(&[("gas = \"helium\"", "gas = \"hydrogen\"")]);
    let hydrogen = flat(&table(&[&folder.plan()])).to_lowercase();
    for word in ["hydrogen burns", "cotton clothes", "spark"] {
        assert!(hydrogen.contains(word), "{word}");
    }
    let card = folder.path("card.txt").display().to_string();
    table(&[&folder.plan(), "--out", &card]);
    let card = fs::read_to_string(card).unwrap();
    let [cautions, masses, released] =
        ["CAUTIONS", "MASSES", "Released at"].map(|word| card.find(word).unwrap());
    assert!(cautions < masses && masses < released, "{card}");
}

/// The card prints on the paper of those who read it.
#[test]
fn the_cards_paper_goes_by_the_units() {
    let folder = changed(&[]);
    let page = |units| {
        let card = folder.path("card.html").display().to_string();
        table(&[&folder.plan(), "--units", units, "--out", &card]);
        fs::read_to_string(card).unwrap()
    };
    assert!(page("us").contains("size: letter"));
    assert!(page("metric").contains("size: A4"));
}

/// A parachute whose mass nothing tells weighs nothing, and that is said; among the load by its name it is known.
#[test]
fn a_parachute_of_unknown_mass_is_told() {
    let said = "the parachute weighs nothing, assumed";
    let bare = ("mass = \"0.35 kg\"\n", "");
    let unknown = changed(&[bare]);
    assert!(flat(&table(&[&unknown.plan()])).contains(said));
    let among = changed(&[bare, ("air sampler", "sampler and chute")]);
    assert!(!flat(&table(&[&among.plan()])).contains(said));
    let line = changed(&[
        bare,
        ("air sampler\"", "line to the parachute\"\nkind = \"line\""),
    ]);
    assert!(flat(&table(&[&line.plan()])).contains(said));
    // Both in the load and by itself it counts twice, which may not be meant.
    let twice = changed(&[("air sampler", "sampler and chute")]);
    let plan = twice.plan();
    for result in [
        json("fill", &[&plan]),
        json("zone", &[&plan, "--draws", "20"]),
    ] {
        assert!(
            codes(&result).contains(&"parachute_counted_twice"),
            "{result}"
        );
    }
    let words = flat(&table(&[&plan]));
    let part = "\"sampler and chute\" is in the load and [parachute] has a mass";
    assert!(words.contains(part), "{words}");
    let with_length = "Parachute\"\nlength = \"3 m\"";
    let long = changed(&[bare, ("air sampler\"", with_length)]);
    assert!(!flat(&table(&[&long.plan()])).contains(said));
    let once = changed(&[
        ("air sampler", "sampler and chute"),
        ("mass = \"0.35 kg\"", "mass = \"0 kg\""),
    ]);
    assert!(!codes(&json("fill", &[&once.plan()])).contains(&"parachute_counted_twice"));
}

/// Gas expands as it warms, so how warm cylinders are taken to be is told wherever they make the fill.
#[test]
fn how_warm_cylinders_are_taken_to_be_is_told() {
    let said = |fill: &str, command: &str, args: &[&str]| -> Vec<String> {
        let folder = changed(&[("neck_lift = \"6.8 kg\"", fill)]);
        let result = json(command, &[&[folder.plan().as_str()], args].concat());
        let found = codes(&result).into_iter().map(str::to_owned);
        found
            .filter(|code| code.contains("cylinders") || code.contains("contents"))
            .collect()
    };
    let few = ["--draws", "20"];
    let cold = "cylinders = { water_volume = \"50 L\", pressure = \"180 bar\" }";
    assert_eq!(said(cold, "zone", &few), ["cylinders_as_warm_as_air"]);
    assert_eq!(said(cold, "fill", &[]), said(cold, "zone", &few));
    let known = cold.replace("\"180 bar\"", "\"180 bar\", temperature = \"8 C\"");
    assert!(said(&known, "zone", &few).is_empty());
    let named = "cylinders = { contents = \"291 ft3\" }";
    assert_eq!(said(named, "zone", &few), ["contents_at_pressure"]);
    // Beside another fill they only hold the gas for it.
    let at_hand =
        "neck_lift = \"6.8 kg\"\n[[cylinders]]\nwater_volume = \"50 L\"\npressure = \"180 bar\"";
    assert!(said(at_hand, "zone", &few).is_empty());
}

/// Without winds the plan's terrain tells how high the site lies; without that, sea level is not passed over.
#[test]
fn without_winds_the_terrain_tells_how_high_the_site_lies() {
    let heights = format!(
        "ncols 20\nnrows 20\nxllcorner -108.45\nyllcorner 42.92\ncellsize 0.01\n{}",
        format!("{}\n", "1640 ".repeat(20)).repeat(20)
    );
    let without = [
        ("elevation = \"1640 m\"\n", ""),
        ("files = [\"riverton-2026-02-05.csv\"]", ""),
    ];
    let terrain = (
        "[spread]",
        "[ground]\nterrain = [\"heights.asc\"]\n[spread]",
    );
    let known = changed(&[&without[..], &[terrain]].concat());
    fs::write(known.path("heights.asc"), heights).unwrap();
    let fill = json("fill", &[&known.plan()]);
    assert!(
        (number(&fill, "/site/altitude_m") - 1_640.0).abs() < 1.0,
        "{fill}"
    );
    assert!(codes(&fill).contains(&"site_elevation"), "{fill}");
    assert!(!table(&[&known.plan()]).contains("WARNINGS"));
    let unknown = changed(&without);
    let [text, html] = ["card.txt", "card.html"].map(|name| unknown.path(name));
    let [text_to, html_to] = [&text, &html].map(|path| path.to_str().unwrap());
    let said = table(&[&unknown.plan(), "--out", text_to, "--out", html_to]);
    let doubt = "the site's elevation is not known: sea level";
    assert!(said.find(doubt) < said.find("hang on the filler"), "{said}");
    for card in [text, html] {
        let card = fs::read_to_string(card).unwrap().replace("&#39;", "'");
        assert!(
            card.contains("LOOK AGAIN") && flat(&card).contains(doubt),
            "{card}"
        );
    }
}

/// How sure the rate is for a lift that is known: by the drag, 18 % of it unless the plan says
/// otherwise, and in the words of the table.
#[test]
fn the_rate_is_told_with_its_bounds() {
    let fill = json("fill", &[DAWN]);
    let rate = number(&fill, "/flight/release_rate_m_s");
    let low = number(&fill, "/flight/release_rate_bounds_m_s/0");
    let high = number(&fill, "/flight/release_rate_bounds_m_s/1");
    // The rate goes with the root of the drag, and a little more: drag falls with the rate.
    assert!((0.89..0.925).contains(&(low / rate)), "{}", low / rate);
    assert!((1.10..1.14).contains(&(high / rate)), "{}", high / rate);
    let table = flat(&table(&[DAWN]));
    let words =
        format!("{rate:.1} m/s at release ({low:.1} m/s to {high:.1} m/s: drag known to 18 %)");
    assert!(table.contains(&words), "{words}: {table}");
}

/// A door as wide as the balloon is too narrow: it needs room beside it, also with a little too much gas.
#[test]
fn a_door_needs_room_beside_the_balloon() {
    let across = json("fill", &[PLAN])["lift"]["release_diameter_m"]
        .as_f64()
        .unwrap();
    let with_door = |side_m: f64| {
        let door = format!("[site]\ndoor = \"{side_m:.2} m x 3 m\"");
        let folder = changed(&[("[site]", door.as_str())]);
        let fill = json("fill", &[&folder.plan()]);
        (
            fill["lift"]["openings"][0]["fits"].clone(),
            fill["do_not_fly"].clone(),
        )
    };
    assert_eq!(with_door(across + 0.05), (false.into(), true.into()));
    assert_eq!(with_door(across + 0.60).0, true);
}

/// Without cylinders in the plan none is invented: it says how many of the usual kinds it takes.
#[test]
fn usual_cylinders_are_counted_where_the_plan_names_none() {
    let fill = json("fill", &[PLAN]);
    assert_eq!(fill["cylinders"]["cylinders"].as_array().unwrap().len(), 0);
    let usual = fill["cylinders"]["usual"].as_array().unwrap();
    assert_eq!(usual.len(), 11);
    // By hand: the gas at 70 F and 14.7 psi over 244 cubic feet.
    let mol = fill["lift"]["amount_mol"].as_f64().unwrap();
    let contents_m3 = mol * 8.314 * 294.26 / 101_353.0;
    let by_hand = contents_m3 / (244.0 * 0.028_316_85);
    let needed = usual[0]["needed"].as_f64().unwrap();
    assert!((needed / by_hand - 1.0).abs() < 1e-3, "{needed} {by_hand}");
}

/// Cylinders named by their contents give that much.
#[test]
fn cylinders_by_contents() {
    let given = "[[cylinders]]\ncount = 2\ncontents = \"244 ft3\"\n\n[parachute]";
    let folder = changed(&[("[parachute]", given)]);
    let fill = json("fill", &[&folder.plan()]);
    let give = fill["cylinders"]["give_m3"].as_f64().unwrap();
    let site = &fill["site"];
    let [t, p] = ["temperature_k", "pressure_pa"].map(|key| site[key].as_f64().unwrap());
    let by_hand = 2.0 * 244.0 * 0.028_316_85 * (t / 294.26) * (101_353.0 / p);
    assert!((give / by_hand - 1.0).abs() < 2e-3, "{give} {by_hand}");
    let codes: Vec<&str> = fill["assumptions"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|a| a["code"].as_str())
        .collect();
    assert!(codes.contains(&"contents_at_pressure"), "{codes:?}");
}

/// A weight that was lifted, and is less than the load: nobody flies.
#[test]
fn lifted_below_the_load_is_do_not_fly() {
    let output = windfall("fill", &[PLAN, "--lifted", "2 kg"]);
    assert!(
        stdout(&output).contains("DO NOT FLY"),
        "{}",
        stdout(&output)
    );
    let fill = json("fill", &[PLAN, "--lifted", "2 kg"]);
    assert_eq!(fill["findings"][0]["code"], "lifted_too_little");
    assert_eq!(fill["do_not_fly"], true);
}

/// A parachute that is a tenth of the usual one lands far too fast.
#[test]
fn a_dangerous_touchdown_is_do_not_fly() {
    let folder = changed(&[("diameter = \"2.1 m\"", "diameter = \"0.21 m\"")]);
    let fill = json("fill", &[&folder.plan()]);
    assert_eq!(fill["do_not_fly"], true, "{}", fill["findings"]);
    let findings = fill["findings"].as_array().unwrap();
    assert!(
        findings
            .iter()
            .any(|f| f["code"] == "hard_touchdown" && f["stops"] == true)
    );
}
