//! Real files: what a person reads in them must be what the readers return.
//!
//! Expected values were read from the files by eye; provenance is in tests/data/soundings/README.md
//! and tests/data/flights/README.md.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::path::PathBuf;

use windfall::atmosphere::Geopotential;
use windfall::sources::{Format, parse, read_soundings, recognise};
use windfall::wind::sounding::{HeightSource, Level, Sounding};

const KNOT_M_S: f64 = 1852.0 / 3600.0;

fn path(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data")
        .join(name)
}

fn read(name: &str) -> Vec<Sounding> {
    let soundings = read_soundings(&path(name), None).unwrap();
    assert!(!soundings.is_empty());
    soundings
}

fn time(sounding: &Sounding) -> String {
    sounding.time.map_or(String::new(), |t| t.to_string())
}

fn place(sounding: &Sounding) -> (f64, f64) {
    let place = sounding.position.unwrap();
    (place.lat_deg, place.lon_deg)
}

fn at_pressure(sounding: &Sounding, hpa: f64) -> Level {
    *sounding
        .levels
        .iter()
        .find(|level| {
            level
                .pressure_pa
                .is_some_and(|p| (p - 100.0 * hpa).abs() < 0.5)
        })
        .unwrap()
}

/// The level has this geopotential height, wind and temperature.
fn check(level: Level, lat: f64, height: f64, from: f64, speed_m_s: f64, celsius: f64) {
    let expected = Geopotential(height).altitude_m(lat);
    assert!((level.altitude_m - expected).abs() < 1e-6);
    let wind = level.wind.unwrap();
    assert!((wind.from_deg() - from).abs() < 1e-9, "{}", wind.from_deg());
    assert!((wind.speed_m_s() - speed_m_s).abs() < 1e-9);
    assert!((level.temperature_k.unwrap() - 273.15 - celsius).abs() < 1e-9);
}

#[test]
fn nashville_listing_without_a_place() {
    let s = &read("soundings/archive_list_nashville.txt")[0];
    assert_eq!(s.name, "72327 BNA Nashville");
    assert_eq!(time(s), "2014-02-20T12:00:00Z");
    assert_eq!(s.position, None);
    assert_eq!(s.heights, HeightSource::Geopotential);
    assert!(
        s.tally
            .assumed
            .iter()
            .any(|a| a.to_string().contains("45 degrees"))
    );
    // "  850.0   1471   10.2    9.5     95   8.84    210     41"
    let level = at_pressure(s, 850.0);
    check(level, 45.0, 1471.0, 210.0, 41.0 * KNOT_M_S, 10.2);
    let wind = level.wind.unwrap();
    assert!((wind.east_m_s - 41.0 * KNOT_M_S * 0.5).abs() < 1e-9);
    assert!((wind.north_m_s - 41.0 * KNOT_M_S * 0.75f64.sqrt()).abs() < 1e-9);
    // The level of 1000 hPa lies below the ground and carries nothing.
    assert!((s.levels[0].pressure_pa.unwrap() - 99_000.0).abs() < 1e-6);
    assert_eq!(s.tally.unusable, 1);
}

#[test]
fn hobart_listing_with_its_station_block() {
    let s = &read("soundings/archive_list_hobart_20130702_00z.txt")[0];
    assert_eq!(s.name, "94975 YMHB Hobart Airport");
    assert_eq!(time(s), "2013-07-02T00:00:00Z");
    assert_eq!(place(s), (-42.83, 147.50));
    let level = at_pressure(s, 850.0);
    check(level, -42.83, 1403.0, 285.0, 51.0 * KNOT_M_S, 4.2);
    // Levels without wind at the top stay for their temperature: "47.9  20596  -60.7".
    let top = s.levels.last().unwrap();
    assert!(top.wind.is_none() && top.temperature_k.is_some() && top.vapour_pressure_pa.is_none());
    // Geopotential is made geometric: higher by more than 60 m up there.
    assert!(top.altitude_m > 20_596.0 + 50.0);
}

#[test]
fn marte_listing_in_metres_a_second() {
    let s = &read("soundings/fm35_temp_bulletin_decoded.txt")[0];
    assert_eq!(s.name, "83779 MARTE CIV/MIL, Brazil");
    assert_eq!(time(s), "2023-02-23T12:00:00Z");
    assert_eq!(place(s), (-23.52, -46.63));
    check(at_pressure(s, 500.0), -23.52, 5910.0, 295.0, 1.5, -6.5);
}

#[test]
fn the_other_listings() {
    let perth = &read("soundings/archive_list_perth_20100322_00z.txt")[0];
    assert_eq!(place(perth), (-31.93, 115.96));
    let bare = &read("soundings/archive_list_table_only_may4.txt")[0];
    assert_eq!(
        (bare.name.as_str(), bare.time, bare.position),
        ("", None, None)
    );
    check(
        at_pressure(bare, 300.0),
        45.0,
        9330.0,
        245.0,
        38.0 * KNOT_M_S,
        -43.5,
    );
}

#[test]
fn norman_archive_csv() {
    let s = &read("soundings/archive_csv_with_heights.txt")[0];
    assert_eq!(time(s), "2023-05-22T11:04:00Z");
    assert_eq!(place(s), (35.18, -97.44));
    assert_eq!(s.heights, HeightSource::Geopotential);
    check(at_pressure(s, 500.0), 35.18, 5790.0, 230.0, 6.2, -11.3);
    let boise = &read("soundings/archive_csv_high_altitude.txt")[0];
    check(at_pressure(boise, 500.0), 43.56, 5600.0, 275.0, 32.4, -20.9);
    assert_eq!(boise.tally.rows, 132);
    // The last row, at 7.5 hPa, has no wind.
    assert!(boise.levels.last().unwrap().wind.is_none());
}

#[test]
fn san_diego_in_knots() {
    let s = &read("soundings/gsl_raob_san_diego.txt")[0];
    assert_eq!(s.name, "NKX 72293");
    assert_eq!(time(s), "2023-06-30T12:00:00Z");
    assert_eq!(place(s), (32.85, -117.12));
    check(
        at_pressure(s, 850.0),
        32.85,
        1508.0,
        350.0,
        14.0 * KNOT_M_S,
        24.0,
    );
    // Wind at 812.0 hPa has no height in the file; its neighbours are at 1829 and 2110 m.
    let filled = at_pressure(s, 812.0);
    assert!(
        (1_829.0..2_113.0).contains(&filled.altitude_m),
        "{}",
        filled.altitude_m
    );
    assert!(s.tally.heights_computed > 50);
}

#[test]
fn chicago_model_column_in_knots() {
    let s = &read("soundings/gsl_model_profile_gfs_chicago.txt")[0];
    assert_eq!(s.name, "ORD 72530");
    assert_eq!(time(s), "2023-02-23T00:00:00Z");
    // West, though the file has no sign: Chicago.
    assert_eq!(place(s), (42.0, -88.0));
    assert_eq!(s.levels.len(), 31);
    check(
        at_pressure(s, 1000.0),
        42.0,
        29.0,
        72.0,
        9.0 * KNOT_M_S,
        1.5,
    );
    check(
        at_pressure(s, 1.0),
        42.0,
        46_864.0,
        253.0,
        31.0 * KNOT_M_S,
        -18.1,
    );
}

#[test]
fn utqiagvik_station_file() {
    // The copy ends after the header of a third ascent, which costs the others nothing.
    let all = read("soundings/igra2_utqiagvik_3soundings.txt");
    assert_eq!(all[0].tally.lost.len(), 1);
    let lost = all[0].tally.lost[0].to_string();
    assert!(
        lost.contains("line 318") && lost.contains("0 of 147 levels"),
        "{lost}"
    );
    let times: Vec<String> = all.iter().map(time).collect();
    assert_eq!(times, ["2010-05-31T23:03:00Z", "2010-06-01T11:00:00Z"]);
    let s = &all[0];
    assert_eq!(s.tally.rows, 158);
    assert_eq!(place(s), (71.2889, -156.7833));
    check(at_pressure(s, 500.0), 71.2889, 5420.0, 202.0, 15.9, -27.2);
    // Wind-only levels listed in a block after the others: sorted in, not taken for a descent.
    assert_eq!(s.tally.descent, 0);
    assert!(s.tally.unsorted > 0);
}

#[test]
fn the_derived_file_has_the_winds_of_the_plain_one() {
    let plain = read("soundings/igra2_cape_canaveral_1950.txt");
    let derived = read("soundings/igra2_cape_canaveral_1950_derived.txt");
    assert_eq!((plain.len(), derived.len()), (2, 2));
    let mut winds = 0;
    for (plain, derived) in plain.iter().zip(&derived) {
        assert_eq!((&plain.name, plain.time), (&derived.name, derived.time));
        assert_eq!(derived.position, None);
        for level in &derived.levels {
            let hpa = level.pressure_pa.unwrap() / 100.0;
            let same = at_pressure(plain, hpa);
            assert!((level.temperature_k.unwrap() - same.temperature_k.unwrap()).abs() < 0.051);
            // The latitude, which the derived file lacks, moves heights by some metres.
            assert!((level.altitude_m - same.altitude_m).abs() < 40.0);
            if let (Some(a), Some(b)) = (level.wind, same.wind) {
                // Components in tenths against whole degrees.
                assert!((a.east_m_s - b.east_m_s).abs() < 0.1, "{hpa} {a:?} {b:?}");
                assert!((a.north_m_s - b.north_m_s).abs() < 0.1, "{hpa} {a:?} {b:?}");
                winds += 1;
            }
        }
    }
    assert_eq!(winds, 9 + 14);
    // "50000 5787 ... 440 ... UWND 184 ... VWND -78"
    let level = at_pressure(&derived[0], 500.0);
    assert!((level.wind.unwrap().east_m_s - 18.4).abs() < 1e-9);
    assert!((level.wind.unwrap().north_m_s + 7.8).abs() < 1e-9);
}

#[test]
fn nashville_between_percent_signs() {
    let s = &read("soundings/spc_nashville.txt")[0];
    assert_eq!((s.name.as_str(), place(s)), ("BNA", (36.25, -86.56)));
    assert_eq!(time(s), "2014-07-28T00:00:00Z");
    // "500.00, 5900.00, -7.50, -15.50, 285.00, 47.01"
    let level = at_pressure(s, 500.0);
    check(level, 36.25, 5_900.0, 285.0, 47.01 * KNOT_M_S, -7.5);
    assert_eq!((s.levels.len(), s.tally.unusable), (86, 1));
}

#[test]
fn norman_and_its_neighbours_in_json_with_nan() {
    let all = read("soundings/raob_json_with_nan.txt");
    let s = &all[0];
    assert_eq!((all.len(), s.name.as_str()), (1, "KOUN"));
    assert_eq!(time(s), "2011-04-14T18:00:00Z");
    // {"pres": 850.0, "hght": 1421.0, "tmpc": 14.8, "dwpc": 8.8, "drct": 190.0, "sknt": 30.0}
    let level = at_pressure(s, 850.0);
    check(level, 45.0, 1_421.0, 190.0, 30.0 * KNOT_M_S, 14.8);
    assert!(
        s.tally
            .assumed
            .iter()
            .any(|a| a.to_string().contains("sknt in kt"))
    );
    // {"pres": 936.0, "hght": 610.0, "tmpc": 22.4, "dwpc": 10.4, "drct": NaN, "sknt": NaN}
    assert!(at_pressure(s, 936.0).wind.is_none());
}

#[test]
fn omaha_and_the_old_station_files() {
    let omaha = read("soundings/igra2_omaha_2025.txt");
    assert_eq!(omaha.len(), 2);
    check(
        at_pressure(&omaha[0], 500.0),
        41.32,
        5606.0,
        267.0,
        11.3,
        -17.4,
    );
    // An hour of 99 is missing; the release, 2200, is not.
    let old = &read("soundings/igra2_hour99_header.txt")[0];
    assert_eq!(time(old), "1935-07-02T22:00:00Z");
    assert_eq!(old.levels.len(), 8);
    // Winds only, with heights.
    let winds = &read("soundings/igra2_edge_1904.txt")[0];
    assert_eq!(winds.levels.len(), 11);
    assert!((winds.levels[0].wind.unwrap().speed_m_s() - 9.8).abs() < 1e-12);
}

#[test]
fn prague_and_altenstadt_csv() {
    let s = &read("soundings/chmi_11520.csv")[0];
    assert_eq!(time(s), "2007-11-20T17:30:00Z");
    assert_eq!(s.tally.comments, 1);
    check(at_pressure(s, 850.0), 50.00833, 1470.0, 230.0, 3.6, 7.35);
    let s = &read("soundings/dwd_10954_temp_hires.csv")[0];
    assert_eq!(time(s), "2025-02-23T10:45:00Z");
    // "2.0,93999.0,,47.82893": its height comes from its neighbours, 760.1 and 769.6 m.
    let filled = at_pressure(s, 939.99);
    assert!(
        (760.0..770.5).contains(&filled.altitude_m),
        "{}",
        filled.altitude_m
    );
}

#[test]
fn every_measured_flight_reads() {
    let folder = path("flights");
    let mut count = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let file = entry.unwrap().path();
        if file.extension().is_some_and(|e| e == "csv") {
            let s = &read_soundings(&file, None).unwrap()[0];
            assert_eq!(s.heights, HeightSource::Geopotential);
            assert!(s.levels.len() > 100 && s.position.is_some());
            let is_barbados = file.to_string_lossy().contains("barbados");
            assert_eq!(s.time.is_none(), is_barbados);
            count += 1;
        }
    }
    assert_eq!(count, 15);
}

#[test]
fn the_descent_of_barbados_is_cut() {
    let s = &read("flights/barbados_2019-02-10.csv")[0];
    assert_eq!((s.tally.rows, s.tally.descent), (574, 290));
    let top = s.levels.last().unwrap().altitude_m;
    assert!((24_700.0..24_900.0).contains(&top), "{top}");
    check(at_pressure(s, 1011.32), 13.1626, 24.9, 60.8, 5.84, 26.1);
}

#[test]
fn formats_are_recognised_from_content() {
    for (name, format) in [
        ("soundings/archive_list_nashville.txt", Format::Listing),
        (
            "soundings/archive_list_table_only_may4.txt",
            Format::Listing,
        ),
        ("soundings/archive_csv_with_heights.txt", Format::Csv),
        ("soundings/igra2_hour99_header.txt", Format::Igra),
        ("soundings/gsl_raob_san_diego.txt", Format::Gsl),
        ("soundings/gsl_model_profile_gfs_chicago.txt", Format::Gsl),
        ("flights/riverton_2026-02-05.csv", Format::Csv),
        ("soundings/bufkit_nam_missoula.buf", Format::Bufkit),
        ("soundings/spc_nashville.txt", Format::Spc),
        ("soundings/raob_json_with_nan.txt", Format::Json),
        (
            "soundings/igra2_cape_canaveral_1950_derived.txt",
            Format::Igra,
        ),
    ] {
        let text = std::fs::read_to_string(path(name)).unwrap();
        assert_eq!(recognise(&text), Some(format), "{name}");
    }
}

#[test]
fn line_ends_and_marks_make_no_difference() {
    for name in [
        "soundings/archive_list_hobart_20130702_00z.txt",
        "soundings/gsl_raob_san_diego.txt",
        "soundings/igra2_omaha_2025.txt",
        "soundings/archive_csv_with_heights.txt",
        "soundings/bufkit_hrrr_los_angeles.buf",
        "soundings/spc_nashville.txt",
        "soundings/raob_json_with_nan.txt",
    ] {
        let text = std::fs::read_to_string(path(name)).unwrap();
        let unix = parse("f", &text, None).unwrap();
        let dos = parse("f", &text.replace('\n', "\r\n"), None).unwrap();
        assert_eq!(unix, dos, "{name}");
    }
}
