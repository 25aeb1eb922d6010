//! Soundings in BUFR and NetCDF against what ecCodes and netCDF4 read in the same files.
//!
//! Files and tables: tests/data/soundings/binary/README.md.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::print_stdout, reason = "figures for whoever runs the tests")]

#[path = "common/program.rs"]
mod program;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use program::{stderr, stdout, windfall};
use proptest::prelude::*;
use windfall::atmosphere::Geopotential;
use windfall::geodesy::Position;
use windfall::notes::reading::Reading;
use windfall::sources::read_soundings;
use windfall::wind::sounding::{HeightSource, Level, Sounding, Wind};

fn path(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/soundings/binary")
        .join(file)
}

fn read(file: &str) -> Vec<Sounding> {
    read_soundings(&path(file), None).unwrap_or_else(|error| panic!("{error}"))
}

type Row = BTreeMap<String, String>;

fn table(name: &str) -> Vec<Row> {
    let mut reader = csv::Reader::from_path(path(name)).unwrap();
    reader.deserialize().map(Result::unwrap).collect()
}

fn number(row: &Row, column: &str) -> Option<f64> {
    row[column].parse().ok()
}

/// The level of a pressure and, where several have it, of this altitude.
fn level(sounding: &Sounding, pressure_pa: f64, altitude_m: f64) -> Option<&Level> {
    let near = |level: &&Level| {
        level
            .pressure_pa
            .is_some_and(|p| (p - pressure_pa).abs() < 0.5)
            && (level.altitude_m - altitude_m).abs() < 0.5
    };
    sounding.levels.iter().find(near)
}

/// Rows of the table with a height and a wind or a temperature, found among the levels and equal; how
/// many.
fn check(sounding: &Sounding, rows: &[&Row]) -> usize {
    let lat = sounding.position.unwrap().lat_deg;
    let mut found = 0;
    for row in rows {
        let (Some(p), Some(h)) = (number(row, "pressure_pa"), number(row, "height_gpm")) else {
            continue;
        };
        let Some(level) = level(sounding, p, Geopotential(h).altitude_m(lat)) else {
            continue;
        };
        found += 1;
        if let (Some(t), Some(ours)) = (number(row, "temperature_k"), level.temperature_k) {
            assert!((t - ours).abs() < 0.01, "{row:?} {level:?}");
        }
        let polar = (number(row, "from_deg"), number(row, "speed_m_s"));
        if let ((Some(from), Some(speed)), Some(ours)) = (polar, level.wind) {
            let wind = Wind::from_direction(speed, from);
            let off = (wind.east_m_s - ours.east_m_s).hypot(wind.north_m_s - ours.north_m_s);
            assert!(off < 0.01, "{row:?} {level:?}");
        }
    }
    found
}

#[test]
fn bufr_is_what_eccodes_reads() {
    let rows = table("bufr_reference.csv");
    let mut all = 0;
    for (file, messages) in [
        ("pdbufr_temp_small.bufr", 7),
        ("pdbufr_temp_hires.bufr", 1),
        ("pybufrkit_IUSD40_OKLI.bufr", 4),
    ] {
        let soundings = read(file);
        assert_eq!(soundings.len(), messages, "{file}");
        for (i, sounding) in soundings.iter().enumerate() {
            let message = (i + 1).to_string();
            let mine: Vec<&Row> = rows
                .iter()
                .filter(|row| row["file"] == file && row["message"] == message)
                .collect();
            let place = sounding.position.unwrap();
            assert!(
                sounding.name.starts_with(&mine[0]["station"]),
                "{}",
                sounding.name
            );
            assert!((place.lat_deg - number(mine[0], "lat").unwrap()).abs() < 1e-5);
            assert!((place.lon_deg - number(mine[0], "lon").unwrap()).abs() < 1e-5);
            let time = sounding.time.unwrap().to_string();
            assert!(time.starts_with(&mine[0]["time"]), "{time}");
            let told = |row: &&&Row| {
                let height = number(row, "height_gpm").is_some();
                height
                    && (number(row, "temperature_k").is_some()
                        || number(row, "speed_m_s").is_some())
            };
            let wanted = mine.iter().filter(told).count();
            let found = check(sounding, &mine);
            println!(
                "{file} {message}: {found} of {wanted} levels, {:?}",
                sounding.tally
            );
            assert_eq!(found, wanted, "{file} {message}");
            all += found;
            assert_eq!(sounding.heights, HeightSource::Geopotential);
        }
    }
    assert_eq!(all, 962);
}

/// Times and places of levels (309052, 309057) as ecCodes gives them.
#[test]
fn sondes_of_bufr_drift_as_eccodes_says() {
    let (mut times, mut places) = (0, 0);
    for row in table("bufr_drift_reference.csv") {
        let message: usize = row["message"].parse().unwrap();
        let sounding = &read(&row["file"])[message - 1];
        let lat = sounding.position.unwrap().lat_deg;
        let wanted = |column| number(&row, column);
        let altitude_m = Geopotential(wanted("height_gpm").unwrap()).altitude_m(lat);
        let Some(level) = level(sounding, wanted("pressure_pa").unwrap(), altitude_m) else {
            continue;
        };
        if let Some(after_s) = wanted("after_s") {
            assert_eq!(level.after_s, Some(after_s), "{row:?}");
            times += 1;
        }
        if let Some((lat, lon)) = wanted("lat").zip(wanted("lon")) {
            let place = level.place.unwrap();
            let near = (place.lat_deg - lat).abs() < 1e-5 && (place.lon_deg - lon).abs() < 1e-5;
            assert!(near, "{row:?} {level:?}");
            places += 1;
        }
    }
    assert!(times > 40 && places > 40, "{times} {places}");
    let shown = windfall("winds", &[path("pdbufr_temp_hires.bufr").to_str().unwrap()]);
    let shown = stdout(&shown);
    assert!(shown.contains("drift     the sonde's, up to"), "{shown}");
}

/// The way of a sonde in the columns of NetCDF: what netCDF4 reads in the last row of the thinned file.
#[test]
fn sondes_of_netcdf_drift() {
    let whole = read("darwin_20060119_1633.cdf");
    assert_eq!(whole[0].levels[0].after_s, Some(0.0));
    let thin = read("made_cf_sounding.nc");
    let top = thin[0].levels.last().unwrap();
    assert_eq!(top.after_s, Some(3_144.0));
    let place = top.place.unwrap();
    assert!((place.lat_deg + 12.439_385).abs() < 1e-5 && (place.lon_deg - 130.797_12).abs() < 1e-5);
}

/// A time without a dimension, a place along one of a single value.
#[test]
fn a_time_and_a_place_that_stand_once_are_those_of_the_profile() {
    let profile = &read("made_cf_profile.nc")[0];
    assert_eq!(profile.time.unwrap().to_string(), "2022-10-14T12:00:00Z");
    assert_eq!(profile.position, Position::new(39.42, -8.83));
    assert_eq!(profile.levels.len(), 4);
}

#[test]
fn netcdf_is_what_netcdf4_reads() {
    let soundings = read("darwin_20060119_1633.cdf");
    let [sounding] = &soundings[..] else {
        panic!("{} soundings", soundings.len());
    };
    assert_eq!(sounding.name, "C3: Darwin, Australia");
    assert_eq!(sounding.time.unwrap().to_string(), "2006-01-19T16:33:00Z");
    let place = sounding.position.unwrap();
    assert!((place.lat_deg + 12.42).abs() < 1e-4 && (place.lon_deg - 130.89).abs() < 1e-4);
    let mut checked = 0;
    for row in table("netcdf_reference.csv") {
        let (p, z) = (
            number(&row, "pressure_pa").unwrap(),
            number(&row, "altitude_m").unwrap(),
        );
        let Some(level) = level(sounding, p, z) else {
            continue;
        };
        let wind = level.wind.unwrap();
        let (u, v) = (number(&row, "u").unwrap(), number(&row, "v").unwrap());
        // The file rounds direction to a degree and speed to 0.1 m/s beside both components.
        assert!(
            (wind.east_m_s - u).hypot(wind.north_m_s - v) < 0.25,
            "{row:?} {wind:?}"
        );
        if let (Some(t), Some(ours)) = (number(&row, "temperature_k"), level.temperature_k) {
            assert!((t - ours).abs() < 0.01, "{row:?}");
        }
        checked += 1;
    }
    assert!(checked > 15, "{checked}");
}

/// The same sounding thinned, with other names, units and CF attributes.
#[test]
fn netcdf_with_cf_names_is_the_same() {
    let (whole, thin) = (
        read("darwin_20060119_1633.cdf"),
        read("made_cf_sounding.nc"),
    );
    let (whole, thin) = (&whole[0], &thin[0]);
    assert_eq!(thin.time, whole.time);
    assert_eq!(thin.name, "made from a Darwin sounding");
    let mut same = 0;
    for level_of_thin in thin.levels.iter().filter(|l| l.wind.is_some()) {
        let p = level_of_thin.pressure_pa.unwrap();
        if let Some(wind) = level(whole, p, level_of_thin.altitude_m).and_then(|l| l.wind) {
            let ours = level_of_thin.wind.unwrap();
            assert!((wind.east_m_s - ours.east_m_s).hypot(wind.north_m_s - ours.north_m_s) < 1e-3);
            same += 1;
        }
    }
    assert!(same > 50, "{same}");
}

#[test]
fn heights_above_the_ellipsoid_are_taken_and_told() {
    let (above, plain) = (read("made_ellipsoid.nc"), read("made_cf_sounding.nc"));
    let assumed = |s: &Sounding| s.tally.assumed.contains(&Reading::HeightAboveEllipsoid);
    assert!(assumed(&above[0]) && !assumed(&plain[0]));
    assert_eq!(above[0].levels[1].altitude_m, plain[0].levels[1].altitude_m);
    let shown = windfall("winds", &[path("made_ellipsoid.nc").to_str().unwrap()]);
    let shown = stdout(&shown);
    assert!(
        shown.contains("heights above the ellipsoid are taken for"),
        "{shown}"
    );
}

/// The first Prague message written again by ecCodes: as edition 4, compressed, and two subsets of which
/// the second is three hours later with 1 m/s more.
#[test]
fn editions_subsets_and_compression_make_no_difference() {
    let whole = &read("pybufrkit_IUSD40_OKLI.bufr")[0];
    for (file, subsets) in [
        ("made_edition4.bufr", 1),
        ("made_compressed.bufr", 1),
        ("made_two_subsets.bufr", 2),
        ("made_two_compressed.bufr", 2),
    ] {
        let found = read(file);
        assert_eq!(found.len(), subsets, "{file}");
        // They were written without the way of the sonde.
        let standing = |level: &Level| Level {
            after_s: None,
            place: None,
            ..*level
        };
        let standing: Vec<Level> = whole.levels.iter().map(standing).collect();
        assert_eq!(found[0].levels, standing, "{file}");
        assert_eq!(found[0].time, whole.time, "{file}");
        let Some(second) = found.get(1) else {
            continue;
        };
        let later = second.time.unwrap().duration_since(whole.time.unwrap());
        assert_eq!(later.as_hours(), 3, "{file}");
        let speed = |s: &Sounding, k: usize| s.levels[k].wind.map(Wind::speed_m_s);
        for k in 0..whole.levels.len() {
            let (a, b) = (speed(whole, k), speed(second, k));
            assert_eq!(a.is_some(), b.is_some(), "{file} {k}");
            assert!(a.zip(b).is_none_or(|(a, b)| (b - a - 1.0).abs() < 1e-9));
        }
    }
}

#[test]
fn the_program_shows_them() {
    for (file, words) in [
        ("darwin_20060119_1633.cdf", "Darwin"),
        ("pybufrkit_IUSD40_OKLI.bufr", "11520"),
        ("pdbufr_temp_hires.bufr", "10954"),
    ] {
        let output = windfall("winds", &[path(file).to_str().unwrap()]);
        assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
        assert!(stdout(&output).contains(words), "{}", stdout(&output));
    }
}

#[test]
fn cut_anywhere_is_an_error_or_what_is_whole() {
    let folder = tempfile::tempdir().unwrap();
    for file in [
        "pdbufr_temp_small.bufr",
        "pybufrkit_IUSD40_OKLI.bufr",
        "darwin_20060119_1633.cdf",
    ] {
        let whole = std::fs::read(path(file)).unwrap();
        for k in 0..20 {
            let cut = folder.path().join("cut");
            std::fs::write(&cut, &whole[..whole.len() * k / 20]).unwrap();
            match read_soundings(&cut, None) {
                Ok(some) => assert!(!some.is_empty()),
                Err(error) => assert!(error.to_string().contains("expected"), "{error}"),
            }
        }
    }
    // What is whole of a file cut within its last message is kept, and the rest is told.
    let whole = std::fs::read(path("pybufrkit_IUSD40_OKLI.bufr")).unwrap();
    let cut = folder.path().join("cut.bufr");
    std::fs::write(&cut, &whole[..whole.len() - 100]).unwrap();
    let kept = read_soundings(&cut, None).unwrap();
    assert_eq!(kept.len(), 3);
    let told = kept[0].tally.lost[0].to_string();
    assert!(
        told.contains("message 4") && told.contains("cut short"),
        "{told}"
    );
}

#[test]
fn other_messages_are_named() {
    let folder = tempfile::tempdir().unwrap();
    let mut message = std::fs::read(path("pybufrkit_IUSD40_OKLI.bufr")).unwrap();
    let start = message.windows(4).position(|w| w == b"BUFR").unwrap();
    // Octet 9 of section 1 in edition 3: the category; then octets 8 and 9 of section 3.
    message[start + 8 + 8] = 1;
    let file = folder.path().join("surface.bufr");
    std::fs::write(&file, &message[..start + 1500.min(message.len() - start)]).unwrap();
    let error = read_soundings(&file, None).unwrap_err().to_string();
    assert!(
        error.contains("category 1") || error.contains("cut short"),
        "{error}"
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn bytes_changed_anywhere(
        which in 0..3_usize,
        changes in proptest::collection::vec((0.0..1.0, any::<u8>()), 1..6),
    ) {
        let file = ["pdbufr_temp_small.bufr", "pybufrkit_IUSD40_OKLI.bufr", "made_cf_sounding.nc"][which];
        let mut bytes = std::fs::read(path(file)).unwrap();
        for (share, byte) in changes {
            let share: f64 = share;
            let at = ((share.powi(2) * bytes.len() as f64) as usize).min(bytes.len() - 1);
            bytes[at] = byte;
        }
        let folder = tempfile::tempdir().unwrap();
        let changed = folder.path().join("changed");
        std::fs::write(&changed, bytes).unwrap();
        if let Ok(soundings) = read_soundings(&changed, None) {
            for sounding in soundings {
                let rising = sounding.levels.windows(2).all(|w| w[1].altitude_m > w[0].altitude_m);
                prop_assert!(rising);
            }
        }
    }
}
