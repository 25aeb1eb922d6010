//! Damaged, incomplete and mixed forecast files: a message that names file and place, never a panic.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::print_stdout, reason = "figures for whoever runs the tests")]

#[path = "common/grids.rs"]
mod grids;
#[path = "common/program.rs"]
mod program;

use std::fs;
use std::ops::Range;
use std::path::Path;

use grids::{
    CCSDS, ECMWF, GEFS_MEAN, GFS_EUROPE, PORTUGAL_2022, PORTUGAL_2023, bytes, is, joined, messages,
    path, retimed, slabs, without,
};
use jiff::Timestamp;
use program::{stderr, stdout, windfall};
use proptest::prelude::*;
use windfall::geodesy::lattice::Window;
use windfall::notes::left_out::{LeftOut, NoField};
use windfall::notes::reading::Reading;
use windfall::sources::grid::GridFile;
use windfall::sources::grid::archive::{Archive, Joining};
use windfall::wind::slab::{Quantity, Slab};

fn join(files: Vec<(&str, Vec<u8>)>) -> windfall::error::Result<Archive> {
    joined(files, Joining::default())
}

fn refused(files: Vec<(&str, Vec<u8>)>) -> String {
    join(files).err().expect("it is refused").to_string()
}

fn holds(message: &str, wanted: &[&str]) {
    for words in wanted {
        assert!(message.contains(words), "no \"{words}\" in: {message}");
    }
}

// ---- files that change while they are read ----

/// A program that fetches or mounts may cut a file short behind our back: a message, not an end by
/// signal. What was read before is not needed again.
#[test]
fn a_netcdf_file_cut_while_it_is_open_is_a_fault() {
    let folder = tempfile::tempdir().unwrap();
    let cut = folder.path().join("cut.nc");
    fs::copy(path("era5_midwest_20200223_16z.nc"), &cut).unwrap();
    let file = GridFile::open(&cut).unwrap();
    fs::OpenOptions::new()
        .write(true)
        .open(&cut)
        .and_then(|cut| cut.set_len(100_000))
        .unwrap();
    let read = |index: usize| {
        let lattice = &file.lattices[file.slabs[index].lattice];
        let whole = Window {
            row: 0,
            column: 0,
            rows: lattice.y.count,
            columns: lattice.x.count,
        };
        file.read(index, whole)
    };
    let faults: Vec<String> = (0..file.slabs.len())
        .filter_map(|index| read(index).err())
        .map(|fault| fault.to_string())
        .collect();
    assert!(
        faults.len() > 10,
        "{} of {}",
        faults.len(),
        file.slabs.len()
    );
    holds(&faults[0], &["cut.nc", "is the file damaged"]);
}

// ---- wrong units ----

/// The ECMWF file's geopotential (parameter 129, octet 9 of section 1 of GRIB 1, WMO FM 92) called
/// a height in metres (156): winds "to 496,204 m" otherwise.
#[test]
fn heights_that_their_pressures_belie_are_refused() {
    let file = bytes(ECMWF);
    let mut wrong = Vec::new();
    for message in messages(&file) {
        let mut message = message.to_vec();
        if message[16] == 129 {
            message[16] = 156;
        }
        wrong.extend(message);
    }
    let whole = |archive: &Archive| Window {
        row: 0,
        column: 0,
        rows: archive.lattice.y.count,
        columns: archive.lattice.x.count,
    };
    let right = join(vec![("z.grib", file)]).unwrap();
    assert!(right.cut(whole(&right), 0..1).is_ok());
    let archive = join(vec![("z.grib", wrong)]).unwrap();
    let message = archive.cut(whole(&archive), 0..1).unwrap_err().to_string();
    holds(
        &message,
        &[
            "z.grib: found a height of",
            " hPa",
            "geopotential in m2 s-2",
        ],
    );
}

// ---- incomplete ----

#[test]
fn a_file_cut_short_names_its_last_message() {
    let whole = bytes(CCSDS);
    let count = messages(&whole).len();
    assert_eq!(count, 65);
    // Behind the tenth message, and within the eleventh.
    let ten: usize = messages(&whole)[..10].iter().map(|m| m.len()).sum();
    let message = refused(vec![("cut.grib2", whole[..ten + 500].to_vec())]);
    holds(&message, &["cut.grib2, message 11", "cut short"]);
    let message = refused(vec![("cut.grib2", whole[..whole.len() - 1].to_vec())]);
    holds(&message, &["cut.grib2, message 65", "cut short"]);
}

#[test]
fn one_component_without_the_other_names_the_message() {
    let (east_only, gone) = without(&bytes(CCSDS), |s| s.quantity == Quantity::NorthWind);
    assert_eq!(gone, 16);
    let message = refused(vec![("half.grib2", east_only)]);
    holds(
        &message,
        &[
            "half.grib2, message",
            "the eastward wind at",
            "without the other component",
        ],
    );
    // On one level only that level is left out, and it is told.
    let (cut, gone) = without(&bytes(CCSDS), |s| is(s, Quantity::EastWind, 500));
    assert_eq!(gone, 1);
    let archive = join(vec![("half.grib2", cut)]).unwrap();
    assert_eq!(archive.levels_pa.len(), 15);
    assert!(!archive.levels_pa.contains(&50_000));
    let told = "the northward wind at 500 hPa, without the other component";
    assert_eq!(archive.left_out[0].to_string(), told);
    assert_eq!(archive.left_out.len(), 1);
    // At one time only it is a level that is missing then.
    let time: Timestamp = "2024-06-03T18:00:00Z".parse().unwrap();
    let (cut, gone) = without(&bytes(ECMWF), |s| {
        is(s, Quantity::NorthWind, 500) && s.valid == time
    });
    assert_eq!(gone, 1);
    holds(
        &refused(vec![("steps.grib", cut)]),
        &["steps.grib", "missing for 2024-06-03T18:00:00Z at 500 hPa"],
    );
}

#[test]
fn heights_without_winds() {
    let no_winds = without(&bytes(CCSDS), |s| {
        matches!(s.quantity, Quantity::EastWind | Quantity::NorthWind)
    });
    assert_eq!(no_winds.1, 32);
    holds(
        &refused(vec![("a.grib2", no_winds.0)]),
        &["a.grib2", "no wind on levels of pressure"],
    );
    holds(
        &refused(vec![(
            "members.grib",
            bytes("ecmwf_6members_4steps_no_v.grib"),
        )]),
        &[
            "members.grib, message",
            "eastward wind",
            "without the other",
        ],
    );
}

#[test]
fn a_level_missing_at_one_time_names_time_and_level() {
    let time: Timestamp = "2024-06-03T18:00:00Z".parse().unwrap();
    let (cut, gone) = without(&bytes(ECMWF), |s| {
        is(s, Quantity::Height, 500) && s.valid == time
    });
    assert_eq!(gone, 1);
    holds(
        &refused(vec![("steps.grib", cut)]),
        &[
            "steps.grib",
            "missing for 2024-06-03T18:00:00Z at 500 hPa",
            "the same levels at all times",
        ],
    );
    // At all times it is only a level less, where there is no temperature to reckon it from.
    let (cut, gone) = without(&bytes(ECMWF), |s| {
        is(s, Quantity::Height, 500) || is(s, Quantity::Temperature, 500)
    });
    assert_eq!(gone, 16);
    let archive = join(vec![("steps.grib", cut)]).unwrap();
    assert_eq!(archive.levels_pa, [100_000, 85_000, 70_000, 40_000, 30_000]);
}

#[test]
fn files_for_different_regions_name_both() {
    holds(
        &refused(vec![
            ("a.grib2", bytes(CCSDS)),
            ("b.grib2", bytes(GEFS_MEAN)),
        ]),
        &[
            "b.grib2",
            "every 0.5 by 0.5",
            "of a.grib2",
            "every 0.25 by 0.25",
            "one forecast",
        ],
    );
    holds(
        &refused(vec![
            ("a.nc", bytes(PORTUGAL_2023)),
            ("b.nc", bytes(PORTUGAL_2022)),
        ]),
        &["b.nc", "9 to 8 W", "9 to 7 W"],
    );
}

// ---- what is not read ----

#[test]
fn model_levels_are_refused_by_name_with_a_way_out() {
    // Section 4 of GRIB 2, octet 23: the type of the surface; 105 is a hybrid level (code table 4.5).
    let mut file = bytes(CCSDS);
    let starts: Vec<usize> = {
        let base = file.as_ptr() as usize;
        let all = messages(&file);
        all.iter().map(|m| m.as_ptr() as usize - base).collect()
    };
    for start in starts {
        let section = sections(&file[start..])
            .into_iter()
            .find(|(number, _)| *number == 4)
            .unwrap()
            .1;
        if file[start + section.start + 22] == 100 {
            file[start + section.start + 22] = 105;
        }
    }
    let way_out = "ask for pressure levels";
    holds(
        &refused(vec![("hybrid.grib2", file)]),
        &[
            "hybrid.grib2",
            "64 messages: on a model's own levels",
            way_out,
        ],
    );
    for (name, words) in [
        (
            "made/made_hybrid_levels.nc",
            "2 variables: on a model's own levels",
        ),
        ("made/made_wrf_like.nc", "output of WRF on its own levels"),
    ] {
        holds(&refused(vec![(name, bytes(name))]), &[name, words, way_out]);
    }
}

#[test]
fn an_unknown_packing_is_named_with_a_way_out() {
    let whole = bytes(CCSDS);
    let mut first = messages(&whole)[0].to_vec();
    let packing = sections(&first)
        .into_iter()
        .find(|(n, _)| *n == 5)
        .unwrap()
        .1;
    // Octets 10 and 11 of section 5: the template; 61 is none that is used.
    first[packing.start + 9..packing.start + 11].copy_from_slice(&[0, 61]);
    holds(
        &refused(vec![("packed.grib2", first)]),
        &[
            "packed.grib2",
            "packing 61",
            "ask for simple, complex or CCSDS packing",
        ],
    );
}

// ---- two runs ----

/// The messages of one time of one run.
fn of_step(file: &[u8], run: &str, step: &str) -> Vec<u8> {
    let wanted: [Timestamp; 2] = [run, step].map(|t| t.parse().unwrap());
    let is_it = |m: &&[u8]| {
        let slab = &slabs(m)[0];
        [slab.run.unwrap(), slab.valid] == wanted
    };
    messages(file)
        .into_iter()
        .filter(is_it)
        .collect::<Vec<_>>()
        .concat()
}

/// The run of 00 UTC is made to give 12 UTC as well, which the run of 12 UTC gives too.
#[test]
fn of_two_runs_for_a_time_the_newer_is_flown() {
    let file = bytes(ECMWF);
    let old_06 = of_step(&file, "2024-06-03T00:00:00Z", "2024-06-03T06:00:00Z");
    let new_12 = of_step(&file, "2024-06-03T12:00:00Z", "2024-06-03T12:00:00Z");
    assert_eq!((messages(&old_06).len(), messages(&new_12).len()), (30, 30));
    let old_12 = retimed(&old_06, [6, 3, 0], 12);
    let corner = Window {
        row: 12,
        column: 5,
        rows: 2,
        columns: 2,
    };
    let winds =
        |archive: &Archive, step: usize| archive.cut(corner, step..step + 1).unwrap().east_m_s;
    let new_alone = join(vec![("new", new_12.clone())]).unwrap();
    let old_alone = join(vec![("old", old_12.clone())]).unwrap();
    assert_eq!(old_alone.steps[0].valid, new_alone.steps[0].valid);
    assert_ne!(winds(&old_alone, 0), winds(&new_alone, 0));
    // In either order, in one file or two.
    let both = [old_12.clone(), new_12.clone()].concat();
    for files in [
        vec![("old", old_12.clone()), ("new", new_12.clone())],
        vec![("new", new_12.clone()), ("old", old_12.clone())],
        vec![("both", both)],
    ] {
        let archive = join(files).unwrap();
        assert_eq!(archive.steps, new_alone.steps);
        assert_eq!(winds(&archive, 0), winds(&new_alone, 0));
        let told = "30 fields of older runs, for times that a newer run gives";
        assert_eq!(archive.left_out[0].to_string(), told);
        assert_eq!(archive.left_out.len(), 1);
    }
    // The step of 06 UTC stays with the older run.
    let archive = join(vec![("06", old_06), ("old", old_12), ("new", new_12)]).unwrap();
    let runs: Vec<String> = archive
        .steps
        .iter()
        .filter_map(|s| Some(s.run?.to_string()))
        .collect();
    assert_eq!(runs, ["2024-06-03T00:00:00Z", "2024-06-03T12:00:00Z"]);
}

/// Heights of one run do not stand beside the winds of another, unless that has none.
#[test]
fn each_time_has_winds_and_heights_of_one_run() {
    let file = bytes(ECMWF);
    let old = retimed(
        &of_step(&file, "2024-06-03T00:00:00Z", "2024-06-03T06:00:00Z"),
        [6, 3, 0],
        12,
    );
    let new = of_step(&file, "2024-06-03T12:00:00Z", "2024-06-03T12:00:00Z");
    let is_wind = |s: &Slab| matches!(s.quantity, Quantity::EastWind | Quantity::NorthWind);
    let is_height = |s: &Slab| s.quantity == Quantity::Height;
    let (heights, _) = without(&new, |s| !is_height(s));
    let corner = Window {
        row: 12,
        column: 5,
        rows: 2,
        columns: 2,
    };
    let cut = |archive: &Archive| archive.cut(corner, 0..1).unwrap();
    let alone = join(vec![("old", old.clone())]).unwrap();
    // In either order.
    for files in [
        vec![("old", old.clone()), ("heights", heights.clone())],
        vec![("heights", heights.clone()), ("old", old.clone())],
    ] {
        let archive = join(files).unwrap();
        assert_eq!(archive.steps, alone.steps);
        assert_eq!(cut(&archive).altitude_m, cut(&alone).altitude_m);
        let count = messages(&heights).len();
        let why = NoField::NewerRun;
        assert_eq!(archive.left_out, [LeftOut::Fields { count, why }]);
        assert_eq!(archive.assumed, alone.assumed);
    }
    // Winds without heights take those that there are, whichever run is the newer, and that is said.
    let (winds, _) = without(&old, |s| !is_wind(s));
    let archive = join(vec![("winds", winds), ("heights", heights.clone())]).unwrap();
    let new_alone = join(vec![("new", new.clone())]).unwrap();
    assert_eq!(cut(&archive).altitude_m, cut(&new_alone).altitude_m);
    assert_eq!(cut(&archive).east_m_s, cut(&alone).east_m_s);
    let said = Reading::OfOtherRuns {
        fields: archive.levels_pa.len(),
        quantities: vec!["height".into()],
    };
    assert_eq!(archive.assumed, [said]);
    let (winds, _) = without(&new, |s| !is_wind(s));
    let archive = join(vec![("winds", winds), ("old", old)]).unwrap();
    assert_eq!(cut(&archive).altitude_m, cut(&alone).altitude_m);
    assert_eq!(cut(&archive).east_m_s, cut(&new_alone).east_m_s);
}

#[test]
fn the_runs_of_the_real_file_are_told_for_each_time() {
    let archive = join(vec![("steps.grib", bytes(ECMWF))]).unwrap();
    let leads: Vec<i64> = archive
        .steps
        .iter()
        .map(|s| s.valid.duration_since(s.run.unwrap()).as_hours())
        .collect();
    assert_eq!(leads, [0, 6, 0, 6, 0, 6, 0, 6]);
    assert!(archive.left_out.is_empty());
}

// ---- damaged ----

/// Joins and cuts: an error in words, or a block of the size it says; never a panic.
fn try_all(bytes: Vec<u8>) -> bool {
    let archive = match join(vec![("damaged", bytes)]) {
        Err(error) => {
            let words = error.to_string();
            assert!(
                words.contains("expected") && words.contains("damaged"),
                "{words}"
            );
            return false;
        }
        Ok(archive) => archive,
    };
    let whole = archive.lattice.whole();
    let window = Window {
        rows: whole.rows.min(3),
        columns: whole.columns.min(3),
        ..whole
    };
    let steps = archive.steps.len().min(2);
    match archive.cut(window, 0..steps) {
        Err(error) => {
            let words = error.to_string();
            assert!(words.contains("expected"), "{words}");
            false
        }
        Ok(block) => {
            let columns = archive.members.len() * steps * window.rows * window.columns;
            assert_eq!(block.east_m_s.dim(), (columns, archive.levels_pa.len()));
            for column in 0..columns {
                let winds = block.winds(column);
                assert!(winds.base_m().is_finite() && winds.at(10_000.0).east_m_s.is_finite());
            }
            true
        }
    }
}

/// What is read of a NetCDF file is what is asked for, so a file that lacks its end still gives its
/// first hours (version 3 holds them one after the other); all of it is never to be had.
#[test]
fn netcdf_cut_anywhere() {
    for name in [PORTUGAL_2022, PORTUGAL_2023] {
        let whole = bytes(name);
        let mut lengths: Vec<usize> = (0..40).map(|k| whole.len() * k / 40).collect();
        lengths.extend([8, 9, 64, 512, 2_048, whole.len() - 1]);
        let mut refused = [0, 0];
        for &length in &lengths {
            let cut = whole[..length].to_vec();
            refused[0] += usize::from(!try_all(cut.clone()));
            let all = join(vec![("cut.nc", cut)])
                .and_then(|a| a.cut(a.lattice.whole(), 0..a.steps.len()));
            let words = all.expect_err("it is refused").to_string();
            holds(&words, &["cut.nc", "expected"]);
            refused[1] += 1;
        }
        let [first, all] = refused;
        println!("{name}: of {all}, {first} give nothing of the first hours");
        assert!(all == 46 && first > 30, "{refused:?}");
    }
}

/// Sections of a GRIB 2 message, each with its number: octets 1 to 4 are its length, octet 5 its
/// number; section 0 has 16 octets, section 8 is "7777".
fn sections(message: &[u8]) -> Vec<(u8, Range<usize>)> {
    let mut found = vec![(0, 0..16)];
    let mut at = 16;
    while &message[at..at + 4] != b"7777" {
        let length = u32::from_be_bytes(message[at..at + 4].try_into().unwrap()) as usize;
        found.push((message[at + 4], at..at + length));
        at += length;
    }
    found.push((8, at..at + 4));
    found
}

/// Every bit of the first 80 octets of every section of the first message, one at a time.
#[test]
fn bits_flipped_in_every_section() {
    let whole = bytes(CCSDS);
    let first = sections(messages(&whole)[0]);
    let numbers: Vec<u8> = first.iter().map(|s| s.0).collect();
    assert_eq!(numbers, [0, 1, 3, 4, 5, 6, 7, 8]);
    let (mut tried, mut refused) = (0, 0);
    for (_, octets) in first {
        for at in octets.clone().take(80) {
            let mut bytes = whole.clone();
            bytes[at] ^= 1 << (at % 8);
            tried += 1;
            refused += usize::from(!try_all(bytes));
        }
    }
    println!("{refused} of {tried} flipped bits refused");
    assert!(tried > 250 && refused > 20, "{refused} of {tried}");
}

/// What is at a place near the beginning or anywhere.
fn place(bytes: &[u8], share: f64) -> usize {
    ((share.powi(3) * bytes.len() as f64) as usize).min(bytes.len() - 1)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(150))]

    #[test]
    fn bytes_changed_anywhere(
        which in 0..2_usize,
        changes in proptest::collection::vec((0.0..1.0, any::<u8>()), 1..8),
    ) {
        let mut bytes = bytes([CCSDS, GEFS_MEAN][which]);
        for (share, byte) in changes {
            let at = place(&bytes, share);
            bytes[at] = byte;
        }
        try_all(bytes);
    }
}

// ---- through the program ----

/// Runs the sample's plan on a wind file made of these bytes; expects one message and nothing
/// written.
fn program_refuses(name: &str, bytes: &[u8]) -> String {
    let folder = tempfile::tempdir().unwrap();
    let sample = fs::read_to_string(path(PORTUGAL_2023).with_file_name("plan.toml")).unwrap();
    let plan = folder.path().join("plan.toml");
    fs::write(&plan, sample.replace("era5-portugal-2023.nc", name)).unwrap();
    fs::write(folder.path().join(name), bytes).unwrap();
    let out = folder.path().join("zone.geojson");
    let text = |p: &Path| p.to_str().unwrap().to_owned();
    let output = windfall("zone", &[&text(&plan), "--out", &text(&out)]);
    let message = stderr(&output);
    assert_eq!(output.status.code(), Some(1), "{message}");
    assert_eq!(stdout(&output), "");
    assert!(
        message.starts_with("windfall: ") && message.contains(name),
        "{message}"
    );
    assert!(!message.contains("panicked"), "{message}");
    assert_eq!(message.lines().count(), 1, "{message}");
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 2);
    message
}

#[test]
fn the_program_says_what_is_wrong() {
    let europe = bytes(GFS_EUROPE);
    holds(
        &program_refuses("cut.grib2", &europe[..europe.len() / 2]),
        &["message", "cut short"],
    );
    let half = without(&bytes(CCSDS), |s| s.quantity == Quantity::NorthWind).0;
    holds(
        &program_refuses("half.grib2", &half),
        &["without the other component"],
    );
    let portugal = bytes(PORTUGAL_2023);
    program_refuses("cut.nc", &portugal[..portugal.len() / 3]);
    program_refuses("headless.nc", &portugal[..100]);
    // A whole file, but of another day and place.
    let elsewhere = program_refuses_to_fly("europe.grib2", &europe);
    holds(
        &elsewhere,
        &[
            "the release at 2023-10-12T09:30:00Z",
            "41 to 51 N, 5 W to 9 E",
            "2020-03-14T00:00:00Z",
        ],
    );
}

/// The same for a file that is sound but of no use: the message need not name it.
fn program_refuses_to_fly(name: &str, bytes: &[u8]) -> String {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join(name);
    fs::write(&file, bytes).unwrap();
    let plan = path(PORTUGAL_2023).with_file_name("plan.toml");
    let output = windfall(
        "zone",
        &[plan.to_str().unwrap(), "--wind", file.to_str().unwrap()],
    );
    assert_eq!(output.status.code(), Some(1));
    assert_eq!(stdout(&output), "");
    assert_eq!(stderr(&output).lines().count(), 1);
    stderr(&output)
}
