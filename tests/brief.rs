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
use std::path::Path;
use std::process::Output;

use briefing::{Briefing, MADE};
use program::{stderr, windfall};

const FILES: [&str; 11] = [
    "brief.html",
    "map.png",
    "map.svg",
    "message.txt",
    "notice.txt",
    "second-car.html",
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
    let known = [
        "#",
        "geo:",
        "data:,",
        "tel:",
        "https://www.openstreetmap.org/?mlat=",
    ];
    for text in [&page, &briefing.text("second-car.html")] {
        for (at, _) in text.match_indices("href=\"") {
            let target = text[at + 6..].split('"').next().unwrap();
            assert!(
                known.iter().any(|start| target.starts_with(start)),
                "{target}"
            );
        }
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
    // What is said of landings is of those that stayed, and there is no zone to have a centre.
    assert!(page.contains("Of the flights that stay in the winds, 9 in 10 land between"));
    assert!(page.contains("Planned landing: "), "{page}");
    for none in [
        "entre of the zone: ",
        "entre of the zone |",
        "The outer line",
        "Share of all draws",
    ] {
        assert!(!page.contains(none), "{none}: {page}");
    }
}

/// Landings of those flights that stayed in the winds are no reason to wait anywhere, road or not.
#[test]
fn nobody_is_sent_to_where_no_zone_is() {
    let farther_north = ("lat = 39.75", "lat = 39.87");
    let road = r#"{"type": "Feature", "properties": {"highway": "primary", "name": "N110"},
        "geometry": {"type": "LineString", "coordinates": [[-8.6, 39.5], [-8.2, 40.3]]}}"#;
    let briefing = Briefing::of(
        &[farther_north],
        "\n[ground]\nroads = [\"road.geojson\"]\n",
        &[("road.geojson", road.to_owned())],
        &["--draws", "300"],
    );
    let page = words(&briefing.text("brief.html"));
    assert!(!page.contains("Wait here"), "{page}");
    let message = briefing.text("message.txt");
    let lines: Vec<&str> = message.lines().collect();
    assert!(
        lines[0]
            .ends_with("No zone is given, so there is no point to wait at: follow the tracker."),
        "{message}"
    );
    assert!(
        lines[1].contains(": landing 1")
            && lines[1].ends_with("(9 in 10 of the flights that stay in the winds)")
    );
    assert!(
        lines[2].starts_with("release https://") && !message.contains("be there"),
        "{message}"
    );
    assert!(briefing.text("map.svg").contains("no zone is given"));
    let second = words(&briefing.text("second-car.html"));
    assert!(!second.contains("stay with the first car"), "{second}");
    // What is said of most flights is said of those that stay.
    for name in FILES.iter().filter(|name| !name.ends_with("png")) {
        let text = briefing.text(name).replace("\r\n ", "");
        let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
        for wrong in [
            "9 in 10 between",
            "9 in 10 chances between",
            "9 in 10 lie",
            "9 in 10)",
        ] {
            assert!(!text.contains(wrong), "{name}: {wrong}");
        }
    }
}

/// A flight that bursts below the first height of the table has a zone to search all the same.
#[test]
fn a_low_flight_has_a_zone_to_search() {
    let low = (
        "[balloon]",
        "[ascent]\nburst_altitude = \"800 m\"\n[balloon]",
    );
    let briefing = Briefing::of(&[low], "", &[], &["--draws", "50"]);
    let page = words(&briefing.text("brief.html"));
    assert!(page.contains("search the zone"), "{page}");
    assert!(!page.contains("No zone is given"), "{page}");
}

/// What a flight that is followed keeps under the same names is not written over.
#[test]
fn the_folder_of_a_followed_flight_is_not_briefed_into() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["release.txt", "reports.log", "zone.kml"] {
        fs::write(folder.path().join(name), "of a flight").unwrap();
    }
    let said = refused_into(folder.path());
    assert!(said.contains("zone.kml is there already"), "{said}");
    // A lone log is of any tracker, and nothing of a briefing has its name.
    fs::remove_file(folder.path().join("release.txt")).unwrap();
    fs::remove_file(folder.path().join("zone.kml")).unwrap();
    assert!(brief_into(folder.path()).status.success());
    let log = fs::read_to_string(folder.path().join("reports.log"));
    assert_eq!(log.unwrap(), "of a flight");
}

/// Nor are the maps of a debrief, which have the same names; a debrief's page beside a briefing is no reason.
#[test]
fn the_folder_of_a_debrief_is_not_briefed_into() {
    let folder = tempfile::tempdir().unwrap();
    let [page, map] = ["debrief.html", "map.svg"].map(|name| folder.path().join(name));
    for file in [&page, &map] {
        fs::write(file, "of a debrief").unwrap();
    }
    let said = refused_into(folder.path());
    assert!(said.contains("map.svg is there already"), "{said}");
    fs::remove_file(&map).unwrap();
    for _ in ["first", "again"] {
        assert!(brief_into(folder.path()).status.success());
    }
    assert_eq!(fs::read_to_string(&page).unwrap(), "of a debrief");
}

fn brief_into(folder: &Path) -> Output {
    let out = folder.to_str().unwrap();
    let plan = "samples/ribatejo/plan.toml";
    windfall("brief", &[plan, "--out", out, "--draws", "20"])
}

/// Why a folder was refused, with nothing written into it.
fn refused_into(folder: &Path) -> String {
    let files = || fs::read_dir(folder).unwrap().count();
    let before = files();
    let output = brief_into(folder);
    assert_eq!(output.status.code(), Some(1));
    assert_eq!(files(), before);
    let said = stderr(&output);
    assert!(said.contains("a folder of its own"), "{said}");
    said
}

#[test]
fn a_stated_rate_leaves_the_mass_of_the_load_on_the_notice() {
    let rates = [
        (
            "mass = \"1200 g\"\nburst_diameter = \"8.63 m\"\ngas = \"helium\"\ngas_purity = 0.98\nneck_lift = \"6.6 kg\"\n",
            "",
        ),
        (
            "[balloon]",
            "[ascent]\nrate = \"5 m/s\"\nburst_altitude = \"20 km\"\n",
        ),
    ];
    let briefing = Briefing::of(&rates, "", &[], &["--draws", "50"]);
    let notice = briefing.text("notice.txt");
    let mass = notice
        .lines()
        .find(|l| l.contains("Mass below the balloon"));
    assert!(mass.unwrap().ends_with(" kg"), "{notice}");
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

/// The page begins with what to do, and every place opens and copies.
#[test]
fn what_to_do_comes_first() {
    let briefing = Briefing::of_everything();
    let page = briefing.text("brief.html");
    let page = words(&page);
    let text = page.split("Map\n").next().unwrap();
    let lead = text.find("Wait here: ").unwrap();
    let sure = text.find("9 in 10 chances").unwrap();
    assert!(lead < sure, "{text}");
    let lead = &text[lead..sure];
    for wanted in [
        ", from 11:",
        ", landing 12:",
        " WEST",
        " road",
        " km ",
        " of ",
    ] {
        assert!(lead.contains(wanted), "{wanted}: {lead}");
    }
    let raw = briefing.text("brief.html");
    let point = &briefing.geojson()["features"]
        .as_array()
        .unwrap()
        .iter()
        .find(|f| f["properties"]["name"] == "wait A")
        .unwrap()["geometry"]["coordinates"]
        .clone();
    let [lon, lat] = [0, 1].map(|k| point[k].as_f64().unwrap());
    for link in [
        format!("href=\"geo:{lat:.6},{lon:.6}\""),
        format!("href=\"https://www.openstreetmap.org/?mlat={lat:.5}&amp;mlon={lon:.5}#"),
    ] {
        assert!(raw.contains(&link), "{link}");
    }
    for form in ["decimal degrees", "degrees and minutes", "UTM", "29S"] {
        assert!(page.contains(form), "{form}");
    }
    assert!(page.contains(&format!("{lat:.5}, {lon:.5}")));
    assert!(raw.contains("href=\"tel:+351000\""));
    assert!(raw.contains("message-code") && !raw.contains("http-equiv=\"refresh"));
    let second = words(&briefing.text("second-car.html"));
    assert!(second.starts_with("Second car: "), "{second}");
    assert!(second.contains("Wait here: ") && second.contains("If the tracker goes quiet"));
    assert!(!second.contains("What changes the answer"));
}

#[test]
fn the_message_has_three_lines_and_the_notice_blanks() {
    let briefing = Briefing::of_sample(&[]);
    let message = briefing.text("message.txt");
    let lines: Vec<&str> = message.lines().collect();
    assert_eq!(lines.len(), 3, "{message}");
    assert!(lines[0].starts_with("Sobreiro 1: wait at ") && lines[1].contains("be there from 11:"));
    assert!(
        lines[2].starts_with("https://www.openstreetmap.org/?mlat="),
        "{message}"
    );
    insta::assert_snapshot!("the_notice", briefing.text("notice.txt"));
    let everything = Briefing::of_everything();
    // Also with hostile names: three lines.
    assert_eq!(everything.text("message.txt").lines().count(), 3);
    let notice = everything.text("notice.txt");
    assert!(notice.contains("Range office: +351 000"), "{notice}");
    assert!(notice.lines().all(|line| line.chars().count() <= 600));
}

/// Rows of the quiet tracker stand at heights that are round to their readers.
#[test]
fn a_quiet_tracker_is_looked_up_at_round_heights() {
    for (units, heights) in [
        (
            "metric",
            ["5,000 m", "10,000 m", "20,000 m", "2,000 m", "1,000 m"],
        ),
        (
            "us",
            [
                "15,000 ft",
                "30,000 ft",
                "60,000 ft",
                "7,000 ft",
                "3,000 ft",
            ],
        ),
    ] {
        let page = words(&Briefing::of_sample(&["--units", units]).text("brief.html"));
        let quiet = page.split("If the tracker goes quiet").nth(1).unwrap();
        for height in heights {
            let row = |line: &str| line.starts_with(&format!("{height} | "));
            assert!(quiet.lines().any(row), "{height}: {quiet}");
        }
    }
}

/// Without roads there is still a place, in the midst of the landings; without terrain nobody knows its
/// height.
#[test]
fn without_roads_and_terrain_the_middle_is_waited_at() {
    let page = words(&Briefing::of_sample(&[]).text("brief.html"));
    assert!(
        page.contains("No roads are known: the place on land with the shortest"),
        "{page}"
    );
    assert!(page.contains("height of the ground not known"), "{page}");
    let with_terrain = words(&Briefing::of_everything().text("brief.html"));
    assert!(!with_terrain.contains("height of the ground not known"));
}

/// Landings in a great lake: somebody who waits does so on dry land, on the shore of the release, and
/// the lake is drawn.
#[test]
fn nobody_waits_in_a_lake_or_behind_it() {
    use windfall::geodesy::Position;
    use windfall::ground::{map::GroundMap, region::Region, water::Water};

    let changes = [
        ("lat = 43.35", "lat = 43.35"),
        ("lon = -113.35", "lon = -88.6"),
        ("1580 m", "250 m"),
        ("roads = [\"roads.geojson\"]", ""),
        ("keep_out = [\"lakes.geojson\"]", ""),
        ("land_in = [\"farmland.geojson\", \"pasture.geojson\"]", ""),
    ];
    let plan = "samples/idaho/plan.toml";
    let text = fs::read_to_string(plan).unwrap();
    let changes: Vec<_> = changes.into_iter().filter(|c| text.contains(c.0)).collect();
    let winds = "tests/data/grids/gfs_2p5_global_20170322_00z.grib2";
    let changed = changed::Changed::of(plan, winds, &changes);
    let out = changed.path("out");
    let args = [
        changed.plan(),
        "--draws".into(),
        "400".into(),
        "--out".into(),
        out.display().to_string(),
    ];
    let output = windfall("brief", &args.each_ref().map(String::as_str));
    assert!(output.status.success(), "{}", stderr(&output));
    let geojson: serde_json::Value =
        serde_json::from_str(&fs::read_to_string(out.join("zone.geojson")).unwrap()).unwrap();
    let features = geojson["features"].as_array().unwrap();
    let of = |kind: &str| -> Vec<Position> {
        let of_kind = features.iter().filter(|f| f["properties"]["kind"] == kind);
        of_kind
            .map(|f| {
                let c = &f["geometry"]["coordinates"];
                Position::new(c[1].as_f64().unwrap(), c[0].as_f64().unwrap()).unwrap()
            })
            .collect()
    };
    let landing = of("landing")[0];
    let region = Region::around(landing, 150_000.0);
    let map = GroundMap::new(region, &[]).unwrap();
    let water = Water::of(&map).unwrap();
    assert!(
        water.at(landing.normal()).is_some(),
        "{landing:?} is no case of this"
    );
    let waiting = of("waiting");
    assert!(!waiting.is_empty());
    for place in waiting {
        assert!(water.at(place.normal()).is_none(), "{place:?} is in water");
        assert!(place.lon_deg < -87.4, "{place:?} is behind the lake");
    }
    let svg = fs::read_to_string(out.join("map.svg")).unwrap();
    assert!(svg.contains(">water<"));
}

/// A folder is there with all its files, or nothing is.
#[cfg(target_os = "linux")]
#[test]
fn a_briefing_that_cannot_be_told_leaves_no_files() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("briefing");
    let full = fs::OpenOptions::new()
        .write(true)
        .open("/dev/full")
        .unwrap();
    let status = std::process::Command::new(env!("CARGO_BIN_EXE_windfall"))
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args([
            "brief",
            "samples/high-plains/plan.toml",
            "--draws",
            "50",
            "--out",
        ])
        .arg(&out)
        .stdout(full)
        .status()
        .unwrap();
    assert_eq!(status.code(), Some(1));
    assert!(!out.exists());
}
