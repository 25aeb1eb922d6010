//! `windfall brief` as a person runs it: the files, the words of the page, units, bytes.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "helpers of tests fail by panicking, too"
)]

#[path = "common/briefing.rs"]
mod briefing;
#[path = "common/changed.rs"]
mod changed;
#[path = "common/program.rs"]
mod program;

use std::fs;

use briefing::{Briefing, MADE};
use program::{stderr, windfall};

const FILES: [&str; 8] = [
    "brief.html",
    "map.png",
    "map.svg",
    "timeline.ics",
    "zone.csv",
    "zone.geojson",
    "zone.gpx",
    "zone.kml",
];

/// The words of a page, without pictures, styles and script: a line for each element.
fn words(page: &str) -> String {
    let mut text = page.to_owned();
    for (from, to) in [
        ("<style>", "</style>"),
        ("<script>", "</script>"),
        ("<svg", "</svg>"),
    ] {
        while let Some(start) = text.find(from) {
            let end = text[start..].find(to).unwrap() + start + to.len();
            text.replace_range(start..end, "");
        }
    }
    for end in ["</th>", "</td>", "<br>", "</dt>"] {
        text = text.replace(end, " | ");
    }
    let mut out = String::new();
    let mut inside = false;
    for c in text.chars() {
        match c {
            '<' => inside = true,
            '>' => inside = false,
            c if !inside => out.push(c),
            _ => {}
        }
    }
    let lines = out.lines().map(str::trim).filter(|line| !line.is_empty());
    lines.collect::<Vec<_>>().join("\n")
}

#[test]
fn the_words_of_the_page() {
    let briefing = Briefing::of_sample(&[]);
    insta::assert_snapshot!(words(&briefing.text("brief.html")));
}

/// With winds of one time nobody knows what half an hour's delay does.
#[test]
fn what_a_delay_does_is_not_known_from_winds_of_one_time() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("briefing");
    for plan in ["samples/high-plains/plan.toml", "samples/idaho/plan.toml"] {
        let args = [plan, "--draws", "200", "--out", out.to_str().unwrap()];
        let output = windfall("brief", &args);
        assert!(output.status.success(), "{}", stderr(&output));
        let page = words(&fs::read_to_string(out.join("brief.html")).unwrap());
        let row = page
            .lines()
            .find(|l| l.starts_with("late release"))
            .unwrap();
        assert!(
            row.contains("not known: the winds are of one time"),
            "{row}"
        );
        assert!(page.contains("bursts early"), "{plan}");
    }
}

#[test]
fn the_timeline() {
    let briefing = Briefing::of_sample(&[]);
    // Folded lines are put together again, as readers do.
    let text = briefing.text("timeline.ics").replace("\r\n ", "");
    insta::assert_snapshot!(text.replace("\r\n", "\n"));
}

#[test]
fn all_files_are_there_and_small() {
    let briefing = Briefing::of_everything();
    let mut found: Vec<String> = fs::read_dir(briefing.path(""))
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    found.sort();
    assert_eq!(found, FILES);
    let page = briefing.text("brief.html");
    assert!(page.len() < 1_000_000, "{}", page.len());
    // Nothing is loaded: no address but those of namespaces and of places.
    for part in ["src=", "url(http", "@import", "<iframe", "<object", "<form"] {
        assert!(!page.contains(part), "{part}");
    }
    for (at, _) in page.match_indices("href=\"") {
        let target = &page[at + 6..at + 11];
        assert!(
            target.starts_with('#') || target.starts_with("geo:") || target.starts_with("data:"),
            "{target}"
        );
    }
    assert!(page.contains("<html lang=\"en\">"));
}

/// A number with a metric unit, as these files write it.
fn metric(text: &str) -> Vec<String> {
    let words: Vec<&str> = text
        .split(|c: char| c.is_whitespace() || "<>|;:,()".contains(c))
        .filter(|w| !w.is_empty())
        .collect();
    let number = |w: &str| {
        w.chars().any(|c| c.is_ascii_digit()) && w.chars().all(|c| "0123456789.-+".contains(c))
    };
    words
        .windows(2)
        .filter(|w| {
            number(w[0]) && ["m", "km", "kg", "m/s", "m3", "km2", "g", "cm"].contains(&w[1])
        })
        .map(|w| w.join(" "))
        .collect()
}

#[test]
fn us_units_are_everywhere() {
    let briefing = Briefing::of_sample(&["--units", "us"]);
    let page = words(&briefing.text("brief.html"));
    let texts = [
        page.clone(),
        briefing.text("brief.html"),
        briefing.text("map.svg"),
        briefing.text("zone.kml"),
        briefing.text("zone.gpx"),
        briefing.text("timeline.ics"),
    ];
    for text in texts {
        assert_eq!(metric(&text), Vec::<String>::new());
    }
    for unit in [" ft", " mi", " lb", " ft3", "ft/min"] {
        assert!(page.contains(unit), "{unit}");
    }
    assert!(!metric(&words(&Briefing::of_sample(&[]).text("brief.html"))).is_empty());
}

#[test]
fn the_same_seed_gives_the_same_bytes_on_any_number_of_threads() {
    let [a, b] = ["1", "3"].map(|n| Briefing::of_sample(&["--draws", "400", "--threads", n]));
    for file in FILES {
        let read = |briefing: &Briefing| fs::read(briefing.path(file)).unwrap();
        assert_eq!(read(&a), read(&b), "{file}");
    }
}

#[test]
fn what_leaves_the_winds_is_still_briefed() {
    let farther_north = ("lat = 39.75", "lat = 39.87");
    let briefing = Briefing::of(&[farther_north], "", &[], &["--draws", "300"]);
    let page = words(&briefing.text("brief.html"));
    assert!(page.contains("no zone is given"), "{page}");
    assert!(page.contains("left the winds"), "{page}");
    assert_eq!(briefing.geojson()["features"].as_array().unwrap().len(), 4);
}

#[test]
fn faults_are_told_and_nothing_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("file");
    fs::write(&out, "in the way").unwrap();
    let out = out.to_str().unwrap();
    let plan = "samples/ribatejo/plan.toml";
    let output = windfall("brief", &[plan, "--out", out, "--made", MADE]);
    assert_eq!(output.status.code(), Some(1));
    assert!(
        stderr(&output).starts_with("windfall: cannot make "),
        "{}",
        stderr(&output)
    );
    let output = windfall("brief", &[plan]);
    assert_eq!(output.status.code(), Some(2));
    // Winds that end too early: not even the folder is made.
    let winds = fs::read("samples/ribatejo/era5-portugal-2023.nc").unwrap();
    let cut = folder.path().join("cut.nc");
    fs::write(&cut, &winds[..200_000]).unwrap();
    let never = folder.path().join("never");
    let args = [
        plan,
        "--wind",
        cut.to_str().unwrap(),
        "--out",
        never.to_str().unwrap(),
    ];
    assert_eq!(windfall("brief", &args).status.code(), Some(1));
    assert!(!never.exists());

    let changed = changed::Changed::of(
        plan,
        "samples/ribatejo/era5-portugal-2023.nc",
        &[(
            "[spread]",
            "[brief]\ncontacts = \"Ana\"\nphone = 3\n[spread]",
        )],
    );
    let message = changed.refused();
    assert!(
        message.contains("[brief] contacts") && message.contains("an array of texts"),
        "{message}"
    );
    assert!(
        message.contains("[brief] phone") && message.contains("contacts, notes, filling"),
        "{message}"
    );
}
