//! The files of a briefing against the rules of their formats, and against each other: KML by the
//! schema of OGC, GPX by Topografix's, both with xmllint; GeoJSON by RFC 7946; the calendar with a
//! parser of RFC 5545 that is not ours; XML with a parser that is not the one they were written with.

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
use std::process::Command;

use briefing::{Briefing, hostile, root, said, tool};
use icalendar::{Calendar, CalendarComponent, Component};
use serde_json::Value;

/// Longitude, latitude and, where there is one, altitude.
type Point = Vec<f64>;

fn schemas(name: &str) -> std::path::PathBuf {
    root().join("tests/data/schemas").join(name)
}

/// Validates a file against a schema, without a network.
fn validate(file: &Path, schema: &str) {
    if let Some(xmllint) = tool(&["xmllint"]) {
        let schema = schemas(schema);
        let mut command = Command::new(xmllint);
        said(
            command
                .args(["--nonet", "--noout", "--schema"])
                .arg(schema)
                .arg(file),
        );
    }
}

/// As it is written: its namespace is that of 2.2, and no attribute says otherwise.
fn validate_kml(briefing: &Briefing) {
    let text = briefing.text("zone.kml");
    let root = "<kml xmlns=\"http://www.opengis.net/kml/2.2\">";
    assert_eq!(text.matches(root).count(), 1);
    validate(&briefing.path("zone.kml"), "ogckml22.xsd");
}

#[test]
fn kml_and_gpx_follow_their_schemas() {
    for briefing in [Briefing::of_sample(&[]), Briefing::of_everything()] {
        validate_kml(&briefing);
        validate(&briefing.path("zone.gpx"), "gpx.xsd");
    }
}

/// A schema that finds nothing wrong proves nothing: what is wrong must be found.
#[test]
fn the_schemas_refuse_what_is_wrong() {
    let Some(xmllint) = tool(&["xmllint"]) else {
        return;
    };
    let briefing = Briefing::of_sample(&["--draws", "200"]);
    for (file, schema, from, to) in [
        ("zone.gpx", "gpx.xsd", "<ele>96", "<ele>x96"),
        ("zone.kml", "ogckml22.xsd", "<Point>", "<Dot/><Point>"),
    ] {
        let text = briefing.text(file);
        assert!(text.contains(from));
        let path = briefing.path("wrong.xml");
        fs::write(&path, text.replacen(from, to, 1)).unwrap();
        let mut command = Command::new(&xmllint);
        let schema = schemas(schema);
        command
            .args(["--nonet", "--noout", "--schema"])
            .arg(schema)
            .arg(&path);
        assert_eq!(command.output().unwrap().status.code(), Some(3), "{file}");
    }
}

fn of_kind<'a>(geojson: &'a Value, kind: &str) -> Vec<&'a Value> {
    let features = geojson["features"].as_array().unwrap().iter();
    features
        .filter(|f| f["properties"]["kind"] == kind)
        .collect()
}

fn point(value: &Value) -> Point {
    let all = value.as_array().unwrap().iter();
    all.map(|v| v.as_f64().unwrap()).collect()
}

fn points(value: &Value) -> Vec<Point> {
    value.as_array().unwrap().iter().map(point).collect()
}

/// The outlines of a Polygon or MultiPolygon, with their holes.
fn rings(geometry: &Value) -> Vec<Vec<Point>> {
    let coordinates = &geometry["coordinates"];
    let polygons = match geometry["type"].as_str().unwrap() {
        "Polygon" => vec![coordinates],
        _ => coordinates.as_array().unwrap().iter().collect(),
    };
    let all = polygons.iter().flat_map(|p| p.as_array().unwrap());
    all.map(points).collect()
}

/// Marks, track, ellipses (with probability), contours and waiting points, as every file should have
/// them.
struct Places {
    marks: Vec<(String, Point, String)>,
    track: Vec<Point>,
    times: Vec<String>,
    ellipses: Vec<(String, Vec<Vec<Point>>)>,
    contours: Vec<(String, Vec<Vec<Point>>)>,
    waiting: Vec<(String, Point)>,
}

fn of_geojson(geojson: &Value) -> Places {
    let regions = |kind: &str| {
        let features = of_kind(geojson, kind).into_iter();
        let region = |f: &Value| {
            let p = f["properties"]["probability"].as_f64().unwrap();
            (format!("{kind} {:.0} %", 100.0 * p), rings(&f["geometry"]))
        };
        features.map(region).collect()
    };
    let marks = ["release", "burst", "landing"].map(|kind| {
        let f = of_kind(geojson, kind)[0];
        let time = f["properties"]["time"].as_str().unwrap().to_owned();
        (kind.to_owned(), point(&f["geometry"]["coordinates"]), time)
    });
    let track = of_kind(geojson, "track")[0];
    let times = track["properties"]["times"].as_array().unwrap();
    Places {
        marks: marks.to_vec(),
        track: points(&track["geometry"]["coordinates"]),
        times: times
            .iter()
            .map(|t| t.as_str().unwrap().to_owned())
            .collect(),
        ellipses: regions("ellipse"),
        contours: regions("contour"),
        waiting: of_kind(geojson, "waiting")
            .iter()
            .map(|f| {
                let name = f["properties"]["name"].as_str().unwrap().to_owned();
                (name, point(&f["geometry"]["coordinates"]))
            })
            .collect(),
    }
}

fn child<'a>(node: roxmltree::Node<'a, 'a>, name: &str) -> Option<roxmltree::Node<'a, 'a>> {
    node.children().find(|c| c.tag_name().name() == name)
}

fn text_of<'a>(node: roxmltree::Node<'a, 'a>, name: &str) -> &'a str {
    child(node, name).and_then(|c| c.text()).unwrap_or("")
}

fn tuples(text: &str) -> Vec<Point> {
    text.split_whitespace()
        .map(|t| t.split(',').map(|v| v.parse().unwrap()).collect())
        .collect()
}

#[test]
fn the_kml_has_the_coordinates_of_the_geojson() {
    for briefing in [Briefing::of_sample(&[]), Briefing::of_everything()] {
        let expected = of_geojson(&briefing.geojson());
        let text = briefing.text("zone.kml");
        let document = roxmltree::Document::parse(&text).unwrap();
        let placemarks: Vec<_> = document
            .descendants()
            .filter(|n| n.tag_name().name() == "Placemark")
            .collect();
        let named = |name: &str| {
            let mut all = placemarks.iter().rev();
            *all.find(|p| text_of(**p, "name") == name)
                .unwrap_or_else(|| panic!("no {name}"))
        };
        let coordinates = |node: &roxmltree::Node| -> Vec<Vec<Point>> {
            node.descendants()
                .filter(|n| n.tag_name().name() == "coordinates")
                .map(|n| tuples(n.text().unwrap()))
                .collect()
        };
        for (name, at, time) in &expected.marks {
            let place = named(name);
            assert_eq!(coordinates(&place), [std::slice::from_ref(at)], "{name}");
            let when = child(place, "TimeStamp").map(|t| text_of(t, "when").to_owned());
            assert_eq!(when.as_ref(), Some(time));
        }
        assert_eq!(
            coordinates(&named("track")),
            std::slice::from_ref(&expected.track)
        );
        for (name, rings) in expected.ellipses.iter().chain(&expected.contours) {
            assert_eq!(&coordinates(&named(name)), rings, "{name}");
        }
        for (name, at) in &expected.waiting {
            assert_eq!(
                coordinates(&named(name)),
                [std::slice::from_ref(at)],
                "{name}"
            );
        }
        // Timed points lie on the track.
        let timed: Vec<_> = placemarks
            .iter()
            .filter(|p| child(**p, "TimeStamp").is_some())
            .collect();
        assert!(timed.len() >= 3 + 10, "{}", timed.len());
        for place in timed {
            let at = &coordinates(place)[0][0];
            let on_leg = |leg: &[Point]| {
                let within = |k: usize, off: f64| {
                    let (a, b) = (leg[0][k], leg[1][k]);
                    at[k] >= a.min(b) - off && at[k] <= a.max(b) + off
                };
                within(0, 1e-4) && within(1, 1e-4) && within(2, 0.2)
            };
            assert!(expected.track.windows(2).any(on_leg), "{at:?}");
        }
        assert_eq!(document.root_element().attribute("version"), None);
    }
}

#[test]
fn the_gpx_has_the_coordinates_of_the_geojson() {
    for briefing in [Briefing::of_sample(&[]), Briefing::of_everything()] {
        let expected = of_geojson(&briefing.geojson());
        let text = briefing.text("zone.gpx");
        let document = roxmltree::Document::parse(&text).unwrap();
        let all = |name: &'static str| {
            document
                .descendants()
                .filter(move |n| n.tag_name().name() == name)
        };
        let at = |n: roxmltree::Node| -> Point {
            let number = |t: &str| t.parse::<f64>().unwrap();
            let mut point: Point = ["lon", "lat"]
                .map(|k| number(n.attribute(k).unwrap()))
                .to_vec();
            let altitude = n.children().find(|c| c.tag_name().name() == "ele");
            point.extend(altitude.map(|a| number(a.text().unwrap())));
            point
        };
        let waypoints: Vec<(String, Point)> = all("wpt")
            .map(|n| (text_of(n, "name").to_owned(), at(n)))
            .collect();
        let marks = expected
            .marks
            .iter()
            .map(|(n, p, _)| (n.clone(), p.clone()));
        let wanted: Vec<(String, Point)> = marks.chain(expected.waiting.iter().cloned()).collect();
        assert_eq!(waypoints, wanted);
        let track: Vec<Point> = all("trkpt").map(at).collect();
        assert_eq!(track, expected.track);
        let times: Vec<&str> = all("trkpt").map(|n| text_of(n, "time")).collect();
        assert_eq!(times, expected.times);
        let routes: Vec<(String, Vec<Vec<Point>>)> = all("rte")
            .map(|n| {
                let corners = n.children().filter(|c| c.tag_name().name() == "rtept");
                (
                    text_of(n, "name").to_owned(),
                    vec![corners.map(at).collect()],
                )
            })
            .collect();
        assert_eq!(routes, expected.ellipses);
    }
}

#[test]
fn the_table_has_the_coordinates_of_the_geojson() {
    let briefing = Briefing::of_everything();
    let expected = of_geojson(&briefing.geojson());
    let mut reader = csv::Reader::from_path(briefing.path("zone.csv")).unwrap();
    let header: Vec<String> = reader
        .headers()
        .unwrap()
        .iter()
        .map(str::to_owned)
        .collect();
    let column = |name: &str| header.iter().position(|h| h == name).unwrap();
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let at = |row: &csv::StringRecord| -> Point {
        ["lon_deg", "lat_deg", "altitude_m"]
            .iter()
            .filter_map(|name| row[column(name)].parse().ok())
            .collect()
    };
    let of = |kind: &str| rows.iter().filter(|r| &r[0] == kind).collect::<Vec<_>>();
    for (name, place, time) in &expected.marks {
        let row = of(name)[0];
        assert_eq!((&at(row), &row[column("time_utc")]), (place, time.as_str()));
    }
    let track: Vec<Point> = of("track").into_iter().map(at).collect();
    assert_eq!(track, expected.track);
    for (kind, regions) in [
        ("ellipse", &expected.ellipses),
        ("contour", &expected.contours),
    ] {
        let found: Vec<Point> = of(kind).into_iter().map(at).collect();
        let wanted: Vec<Point> = regions
            .iter()
            .flat_map(|r| r.1.iter().flatten().cloned())
            .collect();
        assert_eq!(found, wanted, "{kind}");
    }
    let waiting: Vec<(String, Point)> = of("waiting")
        .into_iter()
        .map(|r| (r[column("name")].to_owned(), at(r)))
        .collect();
    assert_eq!(waiting, expected.waiting);
}

/// RFC 7946: types (1.4), positions (3.1.1), rings closed with outlines counter-clockwise (3.1.6),
/// bounding boxes (5), no members of one type in another (7.1).
#[test]
fn the_geojson_follows_rfc_7946() {
    let geojson = Briefing::of_everything().geojson();
    assert_eq!(geojson["type"], "FeatureCollection");
    let bbox = point(&geojson["bbox"]);
    for key in ["geometry", "properties", "coordinates"] {
        assert!(geojson.get(key).is_none(), "{key}");
    }
    let features = geojson["features"].as_array().unwrap();
    assert_eq!(of_kind(&geojson, "waiting").len(), 2);
    for feature in features {
        assert_eq!(feature["type"], "Feature");
        let geometry = &feature["geometry"];
        let kind = geometry["type"].as_str().unwrap();
        let all: Vec<Point> = match kind {
            "Point" => vec![point(&geometry["coordinates"])],
            "LineString" => points(&geometry["coordinates"]),
            "Polygon" | "MultiPolygon" => rings(geometry).concat(),
            other => panic!("{other}"),
        };
        let own = point(&feature["bbox"]);
        assert!(own.len() == 4 || own.len() == 6);
        for p in &all {
            assert!((2..=3).contains(&p.len()));
            assert!(p[0] >= bbox[0] && p[0] <= bbox[2] && p[1] >= bbox[1] && p[1] <= bbox[3]);
        }
        if kind.ends_with("Polygon") {
            for ring in rings(geometry) {
                assert!(ring.len() >= 4 && ring.first() == ring.last());
                let area: f64 = ring
                    .windows(2)
                    .map(|w| {
                        (w[0][0] - bbox[0]) * (w[1][1] - bbox[1])
                            - (w[1][0] - bbox[0]) * (w[0][1] - bbox[1])
                    })
                    .sum();
                assert!(area.abs() > 0.0);
            }
            assert!(signed_area(&rings(geometry)[0]) > 0.0);
        }
    }
}

fn signed_area(ring: &[Point]) -> f64 {
    let o = &ring[0];
    ring.windows(2)
        .map(|w| (w[0][0] - o[0]) * (w[1][1] - o[1]) - (w[1][0] - o[0]) * (w[0][1] - o[1]))
        .sum()
}

#[test]
fn the_calendar_is_read_by_another_parser() {
    for (briefing, title) in [
        (Briefing::of_sample(&[]), "Sobreiro 1".to_owned()),
        (Briefing::of_everything(), hostile("name")),
    ] {
        let text = briefing.text("timeline.ics");
        // Section 3.1: lines end in CR LF and have at most 75 octets.
        assert_eq!(text.matches('\n').count(), text.matches("\r\n").count());
        assert!(text.split_terminator("\r\n").all(|line| line.len() <= 75));
        let calendar: Calendar = text.parse().unwrap();
        let events: Vec<_> = calendar
            .components
            .iter()
            .filter_map(|c| match c {
                CalendarComponent::Event(event) => Some(event),
                _ => None,
            })
            .collect();
        let names: Vec<String> = events
            .iter()
            .map(|e| e.get_summary().unwrap().to_owned())
            .collect();
        let wanted = ["filling", "release", "burst", "landing", "sunset", "dark"]
            .map(|kind| format!("{title}: {kind}"));
        assert_eq!(names, wanted);
        let marks = of_geojson(&briefing.geojson()).marks;
        let second = |text: &str| text[..19].replace(['-', ':'], "") + "Z";
        let start = |i: usize| events[i].property_value("DTSTART").unwrap();
        let end = |i: usize| events[i].property_value("DTEND").unwrap();
        // The release is an event of its own at its time, the window in its text.
        assert_eq!(start(1), second(&marks[0].2));
        assert!(events[1].property_value("DTEND").is_none());
        let said = events[1].get_description().unwrap();
        assert!(
            said.starts_with("Planned at 10:30 WEST; 9 in 10 chances from 10:30 to "),
            "{said}"
        );
        // Filling ends at the release; burst and landing as planned lie within their spans.
        assert_eq!(end(0), second(&marks[0].2));
        for (i, mark) in [(2, 1), (3, 2)] {
            let time = second(&marks[mark].2);
            assert!(start(i) <= time.as_str() && time.as_str() <= end(i), "{i}");
        }
        for event in &events {
            let uid = event.get_uid().unwrap();
            assert!(
                uid.contains('@') && event.property_value("DTSTAMP") == Some("20231011T180000Z")
            );
            assert!(event.get_start().is_some() && event.get_description().is_some());
        }
        let mut uids: Vec<&str> = events.iter().filter_map(|e| e.get_uid()).collect();
        uids.sort_unstable();
        uids.dedup();
        assert_eq!(uids.len(), events.len());
    }
}

/// Texts come out of each format as they went in.
#[test]
fn texts_of_the_plan_are_the_same_in_every_format() {
    let briefing = Briefing::of_everything();
    let name = hostile("name");
    for file in ["zone.kml", "zone.gpx", "map.svg"] {
        let text = briefing.text(file);
        let document = roxmltree::Document::parse(&text).unwrap();
        let first = document
            .descendants()
            .find(|n| ["name", "text"].contains(&n.tag_name().name()))
            .unwrap();
        let found = first.text().unwrap();
        // The map has room for the beginning only.
        assert!(
            !found.is_empty() && name.starts_with(found),
            "{file}: {found}"
        );
        assert!(file == "map.svg" || found == name, "{file}");
    }
    let page = briefing.text("brief.html");
    assert!(!page.contains("<b>&amp; ") && page.contains("&lt;b&gt;&amp;amp; "));
    assert!(page.len() < 1_000_000);
}

/// What lies on the ground lies on the ground of the globe; what flies keeps its height.
#[test]
fn the_kml_clamps_what_lies_on_the_ground() {
    let text = Briefing::of_everything().text("zone.kml");
    let document = roxmltree::Document::parse(&text).unwrap();
    let mut seen = 0;
    for placemark in document
        .descendants()
        .filter(|n| n.tag_name().name() == "Placemark")
    {
        let name = text_of(placemark, "name");
        let of_ground = ["release", "landing", "wait ", "ellipse", "contour"];
        let wanted = match of_ground.iter().any(|start| name.starts_with(start)) {
            true => "clampToGround",
            false => "absolute",
        };
        let modes: Vec<&str> = placemark
            .descendants()
            .filter(|n| n.tag_name().name() == "altitudeMode")
            .filter_map(|n| n.text())
            .collect();
        assert!(
            !modes.is_empty() && modes.iter().all(|m| *m == wanted),
            "{name}: {modes:?}"
        );
        seen += 1;
    }
    assert!(seen > 15, "{seen}");
}

/// Positions by time stand at whole tens of the crew's clock, on the track.
#[test]
fn the_kml_marks_whole_ten_minutes_of_the_clock() {
    let late = (
        "release = 2023-10-12T10:30:00+01:00",
        "release = 2023-10-12T10:33:00+01:00",
    );
    let text = Briefing::of(&[late], "", &[], &["--draws", "200"]).text("zone.kml");
    let document = roxmltree::Document::parse(&text).unwrap();
    let folder = document
        .descendants()
        .find(|n| n.tag_name().name() == "Folder" && text_of(*n, "name") == "Positions by time")
        .unwrap();
    let names: Vec<&str> = folder
        .children()
        .filter(|n| n.tag_name().name() == "Placemark")
        .map(|n| text_of(n, "name"))
        .collect();
    assert_eq!(names[..3], ["10:40", "10:50", "11:00"]);
    assert!(names.len() > 8, "{names:?}");
    for when in folder
        .descendants()
        .filter(|n| n.tag_name().name() == "when")
    {
        let when = when.text().unwrap();
        assert!(
            when.contains("0:00Z") || when.contains("0:00.000Z"),
            "{when}"
        );
    }
}

/// A flight whose release moves keeps the identity of its events, and what is made later counts more.
#[test]
fn a_calendar_made_again_replaces_the_one_before() {
    let events = |changes: &[(&str, &str)], made: &str| -> Vec<(String, u64)> {
        let more = ["--draws", "200", "--made", made];
        let text = Briefing::of(changes, "", &[], &more).text("timeline.ics");
        let calendar: Calendar = text.parse().unwrap();
        let event = |c: &CalendarComponent| match c {
            CalendarComponent::Event(e) => Some((
                e.get_uid()?.to_owned(),
                e.property_value("SEQUENCE")?.parse().ok()?,
            )),
            _ => None,
        };
        calendar.components.iter().filter_map(event).collect()
    };
    let first = events(&[], "2023-10-11T18:00:00Z");
    let moved = (
        "release = 2023-10-12T10:30:00+01:00",
        "release = 2023-10-12T11:10:00+01:00",
    );
    let again = events(&[moved], "2023-10-11T18:00:01Z");
    let other = events(
        &[("name = \"Sobreiro 1\"", "name = \"Sobreiro 2\"")],
        "2023-10-11T18:00:01Z",
    );
    assert_eq!(first.len(), 6);
    for (i, (uid, sequence)) in first.iter().enumerate() {
        assert_eq!(&again[i].0, uid);
        assert!(again[i].1 > *sequence && again[i].1 < 1 << 31, "{sequence}");
        assert_ne!(&other[i].0, uid);
    }
}

#[test]
fn an_alarm_comes_before_the_filling() {
    let text = Briefing::of_sample(&["--draws", "200"]).text("timeline.ics");
    let events: Vec<&str> = text.split("BEGIN:VEVENT").skip(1).collect();
    let alarms: Vec<usize> = (0..events.len())
        .filter(|i| events[*i].contains("BEGIN:VALARM\r\nACTION:DISPLAY\r\nTRIGGER:-PT1H\r\n"))
        .collect();
    assert_eq!(alarms, [0], "{text}");
    assert!(events[0].contains("-filling@"));
}

/// Without a delay there is one time of the release, and no chances of others.
#[test]
fn a_release_without_delay_has_one_time() {
    let delay = |delay: &str| {
        let changed = format!("release_delay = \"{delay}\"");
        let changes = [("release_delay = \"10 min\"", changed.as_str())];
        let briefing = Briefing::of(&changes, "", &[], &["--draws", "200"]);
        let calendar = briefing.text("timeline.ics").replace("\r\n ", "");
        let release = calendar
            .split("BEGIN:VEVENT")
            .find(|e| e.contains(": release"));
        (release.unwrap().to_owned(), briefing.text("notice.txt"))
    };
    let (calendar, notice) = delay("0 min");
    assert!(
        calendar.contains("DESCRIPTION:Planned at 10:30 WEST (09:30 UTC). Write"),
        "{calendar}"
    );
    assert!(!calendar.contains("Planned at 10:30 WEST\\;"), "{calendar}");
    assert!(!notice.contains("9 in 10 chances 10:30"), "{notice}");
    let (calendar, notice) = delay("10 min");
    assert!(
        calendar.contains("Planned at 10:30 WEST\\; 9 in 10 chances from 10:30 to 10:46 WEST"),
        "{calendar}"
    );
    assert!(notice.contains("9 in 10 chances 10:30 to"), "{notice}");
}
