//! One forecast above another, and heights that files do not give.
//!
//! Files: tests/data/grids/README.md; the coarse one is every fourth point of the fine one.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::print_stdout, reason = "figures for whoever runs the tests")]

#[path = "common/grids.rs"]
mod grids;
#[path = "common/program.rs"]
mod program;

use std::fs;

use grids::{CCSDS, GEFS_MEAN, bytes, is, joined, without};
use program::{stderr, stdout, windfall};
use windfall::sources::grid::GridFile;
use windfall::sources::grid::archive::{Archive, Joining};
use windfall::wind::grid::Block;
use windfall::wind::slab::{Quantity, Slab, Surface};

const COARSE: &str = "made/made_one_degree.grib2";

/// The fine forecast as it would be with nothing above a pressure.
fn fine_to(pa: u32) -> Vec<u8> {
    let above = |slab: &Slab| matches!(slab.surface, Surface::Isobaric(p) if p < pa);
    without(&bytes(CCSDS), above).0
}

fn join_all(files: Vec<(&str, Vec<u8>)>) -> windfall::error::Result<Archive> {
    let opened = files
        .into_iter()
        .map(|(name, bytes)| GridFile::from_bytes(name, bytes).unwrap());
    Archive::join_all(opened.collect(), Joining::default())
}

fn whole(archive: &Archive) -> Block {
    archive.cut(archive.lattice.whole(), 0..1).unwrap()
}

/// Root mean square of the difference of two blocks' winds on a level of the first, m/s.
fn off(a: &Block, b: &Block, level: usize, level_of_b: usize) -> f64 {
    let (mut sum, mut count) = (0.0, 0.0);
    for column in 0..a.east_m_s.nrows() {
        let d = |x: &ndarray::Array2<f32>, y: &ndarray::Array2<f32>| {
            f64::from(x[[column, level]] - y[[column, level_of_b]])
        };
        let square = d(&a.east_m_s, &b.east_m_s).powi(2) + d(&a.north_m_s, &b.north_m_s).powi(2);
        if square.is_finite() {
            sum += square;
            count += 1.0;
        }
    }
    assert!(count > 0.0);
    f64::sqrt(sum / count)
}

#[test]
fn a_coarse_forecast_above_a_fine_one_beats_the_last_wind_held() {
    let full = joined(vec![("full", bytes(CCSDS))], Joining::default()).unwrap();
    let truth = whole(&full);
    // In either order.
    for order in [false, true] {
        let mut files = vec![
            ("fine.grib2", fine_to(10_000)),
            ("coarse.grib2", bytes(COARSE)),
        ];
        if order {
            files.reverse();
        }
        let archive = join_all(files).unwrap();
        assert_eq!(archive.levels_pa.last(), Some(&10_000));
        assert_eq!(archive.all_levels_pa().last(), Some(&1_000));
        let told = archive
            .assumed
            .iter()
            .map(ToString::to_string)
            .collect::<Vec<_>>()
            .join("; ");
        for words in [
            "fine.grib2",
            "coarse.grib2",
            "100 hPa",
            "every 1 by 1 degrees",
        ] {
            assert!(told.contains(words), "{words} in {told}");
        }
        let block = whole(&archive);
        let top = archive.levels_pa.len() - 1;
        for (level, pa) in block.pressures_pa.iter().enumerate() {
            let same = truth.pressures_pa.iter().position(|p| p == pa).unwrap();
            let by_both = off(&block, &truth, level, same);
            let held = off(
                &truth,
                &truth,
                same,
                truth
                    .pressures_pa
                    .iter()
                    .position(|p| *p == 10_000.0)
                    .unwrap(),
            );
            println!(
                "{:5.0} hPa: joined {by_both:.2} m/s, held {held:.2} m/s",
                pa / 100.0
            );
            if *pa >= 20_000.0 {
                assert!(by_both < 1e-6, "the fine forecast counts alone: {by_both}");
            } else if level > top {
                assert!(by_both < 0.5 && held > 6.0, "{pa}: {by_both} {held}");
            }
        }
        // Rising in every column.
        for column in 0..block.altitude_m.nrows() {
            let z = block.altitude_m.row(column);
            assert!((1..z.len()).all(|k| z[k] > z[k - 1]), "{z}");
        }
    }
}

/// Beyond the coarse forecast's region nothing is flown.
#[test]
fn outside_of_the_upper_forecast_there_is_no_wind() {
    let coarse = bytes(COARSE);
    // The fine grid reaches as far as the coarse: 41 to 51 N, 5 W to 9 E.
    let archive = join_all(vec![("fine", fine_to(10_000)), ("coarse", coarse)]).unwrap();
    let block = whole(&archive);
    let empty = (0..block.columns_of_member())
        .filter(|c| !block.has_wind(*c))
        .count();
    assert_eq!(empty, 0);
    // Of another day: nothing is left, and the message says what is covered.
    let other_day = join_all(vec![("fine", fine_to(10_000)), ("mean", bytes(GEFS_MEAN))]).unwrap();
    let block = whole(&other_day);
    assert!((0..block.columns_of_member()).all(|c| !block.has_wind(c)));
    assert!(
        other_day.covered().contains("those above"),
        "{}",
        other_day.covered()
    );
}

#[test]
fn two_that_reach_the_same_level_are_refused() {
    let message = join_all(vec![("a", bytes(CCSDS)), ("b", bytes(COARSE))])
        .err()
        .unwrap()
        .to_string();
    assert!(message.contains("both reach the same level"), "{message}");
    // A coarse one that ends lower than a fine one is of no use.
    let above = |slab: &Slab| matches!(slab.surface, Surface::Isobaric(p) if p < 10_000);
    let low = without(&bytes(COARSE), above).0;
    let message = join_all(vec![("a", bytes(CCSDS)), ("b", low)])
        .err()
        .unwrap()
        .to_string();
    assert!(
        message.contains("b: found winds") && message.contains("a alone"),
        "{message}"
    );
}

#[test]
fn a_plan_with_two_forecasts_names_both() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str, bytes: Vec<u8>| {
        let path = folder.path().join(name);
        fs::write(&path, bytes).unwrap();
        path.to_str().unwrap().to_owned()
    };
    let fine = file("fine.grib2", fine_to(10_000));
    let coarse = file("coarse.grib2", bytes(COARSE));
    let plan = file(
        "plan.toml",
        b"[flight]\nrelease = 2020-03-14T00:30:00Z\n[site]\nlat = 46.1\nlon = 2.3\nelevation = \"300 m\"\n\
          [ascent]\nrate = \"5 m/s\"\nburst_altitude = \"27 km\"\n[descent]\nlanding_speed = \"5 m/s\"\n\
          [wind]\nfiles = [\"fine.grib2\", \"coarse.grib2\"]\n"
            .to_vec(),
    );
    let output = windfall("zone", &[&plan, "--draws", "64"]);
    let text = stdout(&output) + &stderr(&output);
    assert_eq!(output.status.code(), Some(0), "{text}");
    for words in ["fine.grib2", "coarse.grib2", "above 100 hPa"] {
        assert!(text.contains(words), "no {words} in {text}");
    }
    // Without the upper one the flight goes on above the highest wind, and the zone says so.
    let alone = windfall("zone", &[&plan, "--wind", &fine, "--draws", "64"]);
    assert_eq!(alone.status.code(), Some(0));
    assert_ne!(stdout(&alone), stdout(&output));
    let shown = windfall("winds", &[&fine, &coarse]);
    let text = stdout(&shown);
    assert!(text.contains("above 100 hPa 41 to 51 N"), "{text}");
}

/// Heights computed from the temperatures of a real analysis, against its own; the simplest
/// alternative beside them, those of the standard atmosphere.
#[test]
fn heights_are_reckoned_from_temperatures() {
    let truth = whole(&joined(vec![("full", bytes(CCSDS))], Joining::default()).unwrap());
    let worst = |block: &Block| {
        let differences = block.altitude_m.iter().zip(&truth.altitude_m);
        differences.map(|(a, b)| (a - b).abs()).fold(0.0, f32::max)
    };
    let of = |left: Vec<u8>| joined(vec![("a.grib2", left)], Joining::default()).unwrap();
    let is_height = |slab: &Slab| {
        slab.quantity == Quantity::Height && matches!(slab.surface, Surface::Isobaric(_))
    };
    // All but the lowest.
    let lowest = of(without(&bytes(CCSDS), |s| {
        is_height(s) && !is(s, Quantity::Height, 1000)
    })
    .0);
    assert_eq!(lowest.levels_pa.len(), truth.pressures_pa.len());
    assert!(
        lowest
            .assumed
            .iter()
            .map(ToString::to_string)
            .collect::<Vec<_>>()
            .join("; ")
            .contains("computed from the temperatures")
    );
    let none = of(without(&bytes(CCSDS), is_height).0);
    assert!(
        none.assumed
            .iter()
            .map(ToString::to_string)
            .collect::<Vec<_>>()
            .join("; ")
            .contains("the standard atmosphere's height of the lowest")
    );
    let bare = of(without(&bytes(CCSDS), |s| {
        is_height(s) || s.quantity == Quantity::Temperature
    })
    .0);
    assert!(
        bare.assumed
            .iter()
            .map(ToString::to_string)
            .collect::<Vec<_>>()
            .join("; ")
            .contains("neither heights nor temperatures")
    );
    let errors = [&lowest, &none, &bare].map(|archive| worst(&whole(archive)));
    println!(
        "heights off by at most: from 1000 hPa {} m, adrift {} m, standard {} m",
        errors[0], errors[1], errors[2]
    );
    assert!(errors[0] < 39.0 && errors[1] < 125.0, "{errors:?}");
    assert!(errors[2] > 279.0, "{errors:?}");
    // One level alone without a height is filled between the others.
    let gap = of(without(&bytes(CCSDS), |s| is(s, Quantity::Height, 500)).0);
    assert_eq!(gap.levels_pa, lowest.levels_pa);
    let off = worst(&whole(&gap));
    println!("500 hPa alone: off by at most {off} m");
    assert!(off < 30.0, "{off}");
}
