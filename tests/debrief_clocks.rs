//! Loggers and cameras lined up with a track: the Barbados flight of `tests/data/flights` (licence in the README
//! there), whose pressures make a logger and whose heights a track of one fix a minute; shocks and photos are
//! invented, for lack of real ones.

#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::print_stdout, reason = "the numbers are for --nocapture")]

#[path = "common/program.rs"]
mod program;

use std::fs;
use std::path::{Path, PathBuf};

use jiff::Timestamp;
use program::{stderr, stdout, windfall};
use serde_json::Value;
use windfall::clock::after;
use windfall::debrief::clocks::{Aligned, By, Shown, align, by_shocks};
use windfall::debrief::measured::Measured;
use windfall::geodesy::Position;
use windfall::numeric::linear;
use windfall::random::SplitMix;
use windfall::track::Fix;
use windfall::track::logger::{Logger, LoggerColumns};

fn released() -> Timestamp {
    "2019-02-10T12:00:00Z".parse().unwrap()
}

/// Seconds, altitude (m) and pressure (Pa) of a file of flights.
fn flight(name: &str) -> Vec<[f64; 3]> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/data/flights/{name}.csv"));
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_path(path)
        .unwrap();
    let rows = reader.records().map(|r| {
        let r = r.unwrap();
        [0, 1, 2].map(|i| r[i].parse::<f64>().unwrap())
    });
    rows.map(|[t, z, p]| [t, z, 100.0 * p]).collect()
}

/// A column of it at any second, held at the ends.
fn at(rows: &[[f64; 3]], column: usize, second: f64) -> f64 {
    let pairs: Vec<(f64, f64)> = rows.iter().map(|r| (r[0], r[column])).collect();
    linear(&pairs, second).unwrap()
}

/// A track of a fix a minute, on the ground before and after.
fn track(rows: &[[f64; 3]], phase_s: f64) -> Measured {
    let end = rows[rows.len() - 1][0];
    let fixes: Vec<Fix> = (-4..)
        .map(|k| phase_s + 60.0 * f64::from(k))
        .take_while(|t| *t < end + 300.0)
        .map(|t| Fix {
            tracker: "T".into(),
            time: after(released(), t),
            position: Position::new(13.16, -59.43 + 1e-5 * t.clamp(0.0, end)).unwrap(),
            altitude_m: at(rows, 1, t),
        })
        .collect();
    Measured::of(&fixes, rows[0][1], |_| f64::INFINITY).unwrap()
}

fn unix_s(time: Timestamp) -> f64 {
    time.as_second() as f64
}

/// A logger's file: a row every `every_s`, from one second of the flight to another, with noise of 30 Pa.
fn logger(rows: &[[f64; 3]], [from, to]: [f64; 2], every_s: f64, zero_s: f64, seed: u64) -> String {
    let mut noise = SplitMix::stream(7, seed);
    let mut text = String::new();
    let mut t = from;
    while t < to {
        let pa = at(rows, 2, t) + 30.0 * noise.next_normal();
        text += &format!("{:.0},{pa:.0}\n", 1e3 * (t - zero_s));
        t += every_s;
    }
    text
}

fn read(text: &str) -> Logger {
    let none = LoggerColumns::default();
    Logger::read("log.csv", text.as_bytes(), &none, released()).unwrap()
}

#[test]
fn barbados_is_lined_up_within_two_seconds() {
    let rows = flight("barbados_2019-02-10");
    let (mut worst, mut inside) = (0.0f64, 0);
    let mut errors = Vec::new();
    for seed in 0..20u32 {
        let zero_s = -1_500.0 + 37.3 * f64::from(seed);
        let text = logger(&rows, [-600.0, 7_300.0], 1.0, zero_s, u64::from(seed));
        let measured = track(&rows, 3.1 * f64::from(seed % 17));
        let found = align(&read(&format!("millis,pressure_pa\n{text}")), &measured).unwrap();
        assert!(matches!(found.by, By::Profile { .. }));
        let truth = -unix_s(released()) - zero_s;
        let off = found.offset_s - truth;
        worst = worst.max(off.abs());
        inside += usize::from(found.range_s[0] <= truth && truth <= found.range_s[1]);
        errors.push(off);
        if seed == 0 {
            println!("{found:?}");
        }
    }
    let mean = errors.iter().sum::<f64>() / 20.0;
    println!("mean {mean:.2} s, worst {worst:.2} s, {inside} of 20 in the range: {errors:.1?}");
    assert!(worst < 2.0, "{worst}");
    assert!(inside >= 16, "{inside} of 20");
}

/// Rows every 35 s that stop before the burst: the offset is less sure, and says so.
#[test]
fn a_logger_that_stopped_on_the_way_up_tells_a_wider_range() {
    let rows = flight("barbados_2019-02-10");
    let measured = track(&rows, 11.0);
    let truth = -unix_s(released());
    for seed in 0..5 {
        let text = logger(&rows, [-1_200.0, 4_000.0], 35.0, 0.0, seed);
        let found = align(&read(&text), &measured).unwrap();
        println!(
            "{:+.1} s, {:?}",
            found.offset_s - truth,
            found.range_s.map(|s| s - truth)
        );
        assert!((found.offset_s - truth).abs() < 25.0, "{found:?}");
        assert!(
            found.range_s[0] - 5.0 <= truth && truth <= found.range_s[1] + 5.0,
            "{found:?}"
        );
    }
}

/// Another flight and a test on the ground in the same file, each after a power cycle.
#[test]
fn the_flight_is_found_among_others_in_the_file() {
    let (rows, other) = (flight("barbados_2019-02-10"), flight("oklahoma_2019-01-01"));
    let measured = track(&rows, 20.0);
    let text = [
        logger(&other, [0.0, 4_000.0], 10.0, 0.0, 1),
        logger(&rows, [-500.0, -100.0], 10.0, -500.0, 2),
        logger(&rows, [-90.0, 7_000.0], 10.0, -90.0, 3),
    ];
    let lines = |texts: &[String]| texts.concat().lines().count();
    let found = align(&read(&text.concat()), &measured).unwrap();
    assert_eq!(found.rows, [lines(&text[..2]), lines(&text)]);
    assert!(
        (found.offset_s + unix_s(released()) - 90.0).abs() < 3.0,
        "{found:?}"
    );
}

/// Swing, handling before and after, the burst, the landing, ten minutes of stillness.
fn shaken(burst_s: f64, landing_s: f64, seed: u64) -> String {
    let mut noise = SplitMix::stream(8, seed);
    let mut text = "seconds,ax (g),ay (g),az (g)\n".to_owned();
    for k in 0..(2.0 * (landing_s + 1_500.0)) as usize {
        let t = 0.5 * k as f64;
        let swing = match t {
            t if t < 300.0 || t > landing_s + 900.0 => 0.4,
            t if t > landing_s => 0.01,
            t if t > burst_s => 0.2,
            _ => 0.1,
        };
        let mut a = [0, 1, 2].map(|_| swing * noise.next_normal());
        a[2] += 1.0;
        if (t - burst_s).abs() < 0.4 {
            a = [0.1, 0.0, 0.1];
        }
        if (t - burst_s - 1.0).abs() < 0.4 || (t - landing_s).abs() < 0.4 {
            a = [2.0, 1.0, 3.5];
        }
        text += &format!("{t:.1},{:.3},{:.3},{:.3}\n", a[0], a[1], a[2]);
    }
    text
}

#[test]
fn burst_and_landing_are_found_among_other_shocks() {
    let rows = flight("barbados_2019-02-10");
    let measured = track(&rows, 11.0);
    let second = |time: Timestamp| windfall::clock::seconds_between(released(), time);
    let [burst, landing] = [measured.burst.unwrap(), measured.last].map(|m| second(m.time));
    for seed in 0..5 {
        let text = shaken(burst + 700.0, landing + 700.0, seed);
        let found = by_shocks(&read(&text), &measured).unwrap();
        let off = found.offset_s + unix_s(released()) - 700.0;
        assert!(off.abs() < 2.0, "{off} {found:?}");
        // With nothing else the shocks are what counts.
        assert_eq!(align(&read(&text), &measured), Some(found));
    }
    // A fall that took half as long is another flight's.
    let other = shaken(burst + 700.0, 0.5 * (burst + landing) + 700.0, 1);
    assert_eq!(by_shocks(&read(&other), &measured), None::<Aligned>);
}

/// Of the same accelerometer, the rows from one second to another.
fn between(text: &str, from_s: f64, to_s: f64) -> String {
    let second = |line: &str| line.split(',').next().and_then(|t| t.parse::<f64>().ok());
    let kept = text
        .lines()
        .filter(|l| second(l).is_none_or(|t| (from_s..to_s).contains(&t)));
    kept.flat_map(|l| [l, "\n"]).collect()
}

/// The same with one row as the burst's hardest.
fn struck(text: &str, at_s: f64) -> String {
    let at = format!("{:.0}.0,", at_s.floor());
    let row = |l: &str| match l.starts_with(&at) {
        true => format!("{at}2.0,1.0,3.5\n"),
        false => format!("{l}\n"),
    };
    text.lines().map(row).collect()
}

#[test]
fn a_burst_or_a_landing_alone_is_enough_where_it_stands_out() {
    let rows = flight("barbados_2019-02-10");
    let measured = track(&rows, 11.0);
    let second = |time: Timestamp| windfall::clock::seconds_between(released(), time);
    let [burst, landing] = [measured.burst.unwrap(), measured.last].map(|m| second(m.time) + 700.0);
    let away = |found: &Aligned| found.offset_s + unix_s(released()) - 700.0;
    for seed in 0..3 {
        let whole = shaken(burst, landing, seed);
        // The memory was full ten minutes after the burst.
        let full = between(&whole, 400.0, burst + 600.0);
        let found = align(&read(&full), &measured).unwrap();
        assert_eq!(found.by, By::Shock { of: Shown::Burst });
        assert!(away(&found).abs() < 2.0, "{found:?}");
        // It was switched on again on the way down.
        let text = between(&whole, burst + 300.0, landing + 800.0);
        let found = align(&read(&text), &measured).unwrap();
        assert_eq!(found.by, By::Shock { of: Shown::Landing });
        assert!(away(&found).abs() < 2.0, "{found:?}");
        // Nothing but swing, and two shocks alike, are no burst.
        let calm = between(&whole, 400.0, burst - 60.0);
        assert_eq!(align(&read(&calm), &measured), None);
        let twice = struck(&full, burst - 1_000.0);
        assert_eq!(align(&read(&twice), &measured), None, "seed {seed}");
    }
    // Rows that go on for longer than the fall and never come to rest show no landing: it was no burst, either.
    let whole = shaken(burst, landing + 3_000.0, 1);
    let text = between(&whole, 400.0, landing + 1_000.0);
    assert_eq!(align(&read(&text), &measured), None);
}

const PLAN: &str = "samples/high-plains/plan.toml";
/// The plan's release.
const RELEASE: &str = "2026-02-06T00:00:00Z";

/// Altitude of an invented flight, m: 5 m/s to 20 km, 10 m/s down.
fn altitude(t: f64) -> f64 {
    let up = 1_640.0 + 5.0 * t.max(0.0);
    let down = 20_000.0 - 10.0 * (t - 3_672.0);
    up.min(down).max(1_640.0)
}

fn invented_track(folder: &Path) -> PathBuf {
    let start: Timestamp = RELEASE.parse().unwrap();
    let rows: String = (-3..100)
        .map(|k| {
            let t = 60.0 * f64::from(k);
            let east = 2e-4 * t.clamp(0.0, 5_508.0);
            format!(
                "{},43.06,{:.5},{:.1}\n",
                after(start, t),
                -108.48 + east,
                altitude(t)
            )
        })
        .collect();
    let path = folder.join("track.csv");
    fs::write(&path, format!("time,lat,lon,alt\n{rows}")).unwrap();
    path
}

fn debrief(track: &Path, args: &[&str]) -> std::process::Output {
    let track = ["--track", track.to_str().unwrap()];
    windfall("debrief", &[&[PLAN][..], &track, args].concat())
}

/// Pressure of the standard atmosphere, Pa, up to 20 km (from memory; a logger's in any case is off by more).
fn pressure(z: f64) -> f64 {
    match z < 11_000.0 {
        true => 101_325.0 * (1.0 - 0.0065 * z / 288.15).powf(5.2559),
        false => 22_632.0 * (-(z - 11_000.0) / 6_341.6).exp(),
    }
}

#[test]
fn a_loggers_rows_get_times_and_places() {
    let folder = tempfile::tempdir().unwrap();
    let track = invented_track(folder.path());
    // Local time, day first, a quarter of an hour fast, no unit of the pressure.
    let start: Timestamp = "2026-02-05T17:15:00Z".parse().unwrap();
    let rows: String = (-20..620)
        .map(|k| {
            let t = 10.0 * f64::from(k);
            let clock = after(start, t).to_string();
            let (date, time) = clock.trim_end_matches('Z').split_once('T').unwrap();
            let day: Vec<&str> = date.split('-').rev().collect();
            format!(
                "{};{time};{:.0};note, {k}\n",
                day.join("-"),
                pressure(altitude(t))
            )
        })
        .collect();
    let log = folder.path().join("logger.csv");
    fs::write(&log, format!("Date;Time;Pressure;Note\n{rows}")).unwrap();
    let placed = folder.path().join("placed.csv");
    let args = [
        "--align",
        log.to_str().unwrap(),
        "--aligned",
        placed.to_str().unwrap(),
    ];
    let text = stdout(&debrief(&track, &args));
    for said in [
        "its clock is 24",
        "behind UTC",
        "Pa by its size (assumed)",
        "have a place on the track",
    ] {
        assert!(text.contains(said), "{said}: {text}");
    }
    let table = fs::read_to_string(&placed).unwrap();
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(b';')
        .from_reader(table.as_bytes());
    assert_eq!(
        reader.headers().unwrap().iter().skip(3).collect::<Vec<_>>(),
        ["Note", "utc", "lat_deg", "lon_deg", "altitude_m"]
    );
    let all: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert_eq!(all.len(), 640);
    let row = all.iter().find(|r| &r[3] == "note, 120").unwrap();
    let time: Timestamp = row[4].parse().unwrap();
    let off = windfall::clock::seconds_between(RELEASE.parse().unwrap(), time) - 1_200.0;
    assert!(off.abs() < 3.0, "{off}");
    let [lon, altitude_m] = [6, 7].map(|i| row[i].parse::<f64>().unwrap());
    assert!(
        (lon + 108.24).abs() < 1e-3 && (altitude_m - 7_640.0).abs() < 20.0,
        "{row:?}"
    );
    // Before the release there is a time and no place.
    let early = all.iter().find(|r| &r[3] == "note, -20").unwrap();
    assert!(!early[4].is_empty() && early[5].is_empty());
    let json: Value = serde_json::from_str(&stdout(&debrief(
        &track,
        &["--align", log.to_str().unwrap(), "--json"],
    )))
    .unwrap();
    let offset = json["logger"]["offset_s"].as_f64().unwrap();
    assert!((offset + 24_300.0).abs() < 3.0, "{json}");
    // Nothing to line up by; over what is read.
    let flat = folder.path().join("flat.csv");
    fs::write(&flat, "time,pressure_hpa\n1,900\n2,900\n3,900\n").unwrap();
    let output = debrief(&track, &["--align", flat.to_str().unwrap()]);
    assert!(
        stderr(&output).contains("cannot be lined up"),
        "{}",
        stderr(&output)
    );
    let over = [
        "--align",
        log.to_str().unwrap(),
        "--aligned",
        log.to_str().unwrap(),
    ];
    assert!(!debrief(&track, &over).status.success());
    let before = fs::read(&track).unwrap();
    for read in [track.to_str().unwrap(), PLAN] {
        let args = ["--align", log.to_str().unwrap(), "--aligned", read];
        let said = stderr(&debrief(&track, &args));
        assert!(said.contains("which is read"), "{read}: {said}");
    }
    assert_eq!(fs::read(&track).unwrap(), before);
}

/// A JPEG of nothing but an EXIF time: TIFF 6.0 in an APP1 segment (Exif 2.31).
fn photo(folder: &Path, name: &str, time: &str, offset: Option<&str>) -> PathBuf {
    let mut texts = vec![(0x9003u16, format!("{time}\0"))];
    texts.extend(offset.map(|o| (0x9011, format!("{o}\0"))));
    let mut tiff = b"II*\0\x08\0\0\0".to_vec();
    let long = |v: usize| (v as u32).to_le_bytes();
    // The first directory has one entry: where the EXIF directory is.
    tiff.extend(1u16.to_le_bytes());
    tiff.extend([0x69, 0x87, 4, 0, 1, 0, 0, 0]);
    tiff.extend(long(26));
    tiff.extend(long(0));
    tiff.extend((texts.len() as u16).to_le_bytes());
    let mut at = 26 + 2 + 12 * texts.len() + 4;
    for (tag, text) in &texts {
        tiff.extend(tag.to_le_bytes());
        tiff.extend(2u16.to_le_bytes());
        tiff.extend(long(text.len()));
        tiff.extend(long(at));
        at += text.len();
    }
    tiff.extend(long(0));
    texts.iter().for_each(|(_, text)| tiff.extend(text.bytes()));
    let mut jpeg = vec![0xff, 0xd8, 0xff, 0xe1];
    jpeg.extend(((tiff.len() + 8) as u16).to_be_bytes());
    jpeg.extend(b"Exif\0\0");
    jpeg.extend(tiff);
    jpeg.extend([0xff, 0xd9]);
    let path = folder.join(name);
    fs::write(&path, jpeg).unwrap();
    path
}

#[test]
fn photos_get_places_by_one_of_the_burst() {
    let folder = tempfile::tempdir().unwrap();
    let track = invented_track(folder.path());
    let photos = folder.path().join("photos");
    fs::create_dir(&photos).unwrap();
    // The camera is 100 s fast: the burst, 3,672 s after the release at 17:00, at 18:02:52 by its clock.
    let burst = photo(&photos, "IMG_2.JPG", "2026:02:05 18:02:52", Some("-07:00"));
    photo(&photos, "IMG_1.jpg", "2026:02:05 17:21:40", Some("-07:00"));
    photo(&photos, "IMG_0.jpg", "2026:02:05 16:21:40", None);
    photo(&photos, "unset.jpg", "0000:00:00 00:00:00", None);
    fs::write(
        photos.join("broken.jpg"),
        b"\xff\xd8\xff\xe1\xff\xffExif\0\0II*",
    )
    .unwrap();
    let camera = format!("{}=burst", burst.display());
    let read = photos.join("track.json");
    fs::copy(&track, &read).unwrap();
    let args = ["--camera", &camera, "--places", read.to_str().unwrap()];
    let said = stderr(&debrief(&read, &args));
    assert!(said.contains("which is read"), "{said}");
    fs::remove_file(read).unwrap();
    let places = folder.path().join("photos.geojson");
    let text = stdout(&debrief(
        &track,
        &["--camera", &camera, "--places", places.to_str().unwrap()],
    ));
    for said in [
        "which shows the burst",
        "takes its clock to be 7 h behind UTC",
        "3 with a time",
        "2 of them on the track; 2 without",
    ] {
        assert!(text.contains(said), "{said}: {text}");
    }
    let found: Value = serde_json::from_str(&fs::read_to_string(&places).unwrap()).unwrap();
    let first = &found["features"][0];
    assert_eq!(first["properties"]["name"], "IMG_1.jpg");
    let place: Vec<f64> = first["geometry"]["coordinates"]
        .as_array()
        .unwrap()
        .iter()
        .map(|v| v.as_f64().unwrap())
        .collect();
    // 20 min up: the burst is known to some seconds.
    assert!(
        (place[0] + 108.24).abs() < 5e-3 && (place[2] - 7_640.0).abs() < 120.0,
        "{place:?}"
    );
    let kml = folder.path().join("photos.kml");
    stdout(&debrief(
        &track,
        &["--camera", &camera, "--places", kml.to_str().unwrap()],
    ));
    assert!(
        fs::read_to_string(&kml)
            .unwrap()
            .contains("<name>IMG_2.JPG</name>")
    );
    for wrong in [
        format!("{}=lunch", burst.display()),
        format!("{}=burst", photos.join("unset.jpg").display()),
        format!("{}=burst", photos.join("broken.jpg").display()),
        "IMG.jpg".to_owned(),
    ] {
        let output = debrief(&track, &["--camera", &wrong]);
        assert!(!output.status.success(), "{wrong}");
    }
}
