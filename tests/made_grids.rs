//! Forecasts on rotated, projected and Gaussian grids, with winds along the grid, by names alone or as
//! speed and direction: what is flown with, against what ecCodes and netCDF4 read in the same files,
//! turned to true north by closed forms.
//!
//! Files and table: tests/data/grids/made/README.md.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::print_stdout, reason = "figures for whoever runs the tests")]

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use windfall::atmosphere::Geopotential;
use windfall::geodesy::Position;
use windfall::sources::grid::GridFile;
use windfall::sources::grid::archive::{Archive, Joining};

fn path(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/grids/made")
        .join(file)
}

fn open(file: &str) -> Archive {
    let opened = GridFile::open(&path(file)).unwrap_or_else(|error| panic!("{error}"));
    Archive::join(vec![opened], Joining::default()).unwrap_or_else(|error| panic!("{error}"))
}

type Row = BTreeMap<String, String>;

fn table() -> BTreeMap<String, Vec<Row>> {
    let mut reader = csv::Reader::from_path(path("made_points.csv")).unwrap();
    let mut files: BTreeMap<String, Vec<Row>> = BTreeMap::new();
    for row in reader.deserialize::<Row>() {
        let row = row.unwrap();
        files.entry(row["file"].clone()).or_default().push(row);
    }
    files
}

fn number(row: &Row, column: &str) -> f64 {
    row[column].parse().unwrap()
}

/// How far off the wind (m/s) and the altitude (m) of one row are in a whole block.
fn off(archive: &Archive, row: &Row) -> [f64; 2] {
    let whole = archive.lattice.whole();
    let block = archive.cut(whole, 0..1).unwrap();
    let place = Position::new(number(row, "lat"), number(row, "lon")).unwrap();
    let [i, j] = archive
        .lattice
        .map()
        .unwrap()
        .row_column(place)
        .unwrap()
        .map(f64::round);
    let [ri, rj] = archive.lattice.map().unwrap().row_column(place).unwrap();
    // Gaussian rows are taken as equally spaced.
    assert!(
        (ri - i).abs() < 2e-3 && (rj - j).abs() < 1e-3,
        "{ri} {rj} {row:?}"
    );
    let column = block.column(0, 0, i as usize, j as usize);
    let pa = 100.0 * number(row, "level_hpa");
    let level = block.pressures_pa.iter().position(|p| *p == pa).unwrap();
    let at = [column, level];
    let altitude = Geopotential(number(row, "height_gpm")).altitude_m(place.lat_deg);
    [
        (f64::from(block.east_m_s[at]) - number(row, "u_true"))
            .hypot(f64::from(block.north_m_s[at]) - number(row, "v_true")),
        (f64::from(block.altitude_m[at]) - altitude).abs(),
    ]
}

#[test]
fn winds_and_altitudes_are_those_of_independent_decoders() {
    let files = table();
    assert_eq!(files.len(), 17);
    for (name, rows) in files {
        let archive = open(&name);
        assert_eq!(archive.levels_pa, [85_000, 50_000, 20_000, 5_000], "{name}");
        let mut worst: [f64; 2] = [0.0; 2];
        for row in &rows {
            let found = off(&archive, row);
            worst = std::array::from_fn(|i| worst[i].max(found[i]));
        }
        println!(
            "{name}: {} points, wind off by {:.1e} m/s, altitude by {:.1e} m",
            rows.len(),
            worst[0],
            worst[1]
        );
        assert!(rows.len() == 16, "{name}");
        // Rows of the coarse grid lie up to 0.01 degrees from where equally spaced ones would.
        let near_m = if name == "made_reduced.grib2" {
            1e-2
        } else {
            5e-3
        };
        assert!(worst[0] < 1e-5 && worst[1] < near_m, "{name}: {worst:?}");
    }
}

/// Without the turn the winds of the grid with the far pole would be wrong by much more than their
/// tolerance: the check above can fail.
#[test]
fn the_turn_matters() {
    let file = GridFile::open(&path("made_rotated_far_pole.grib2")).unwrap();
    assert!(file.slabs.iter().any(|slab| slab.along_grid));
    let file = GridFile::open(&path("made_rotated_true_winds.grib2")).unwrap();
    assert!(file.slabs.iter().all(|slab| !slab.along_grid));
}

#[test]
fn what_names_alone_say_is_told_as_assumed() {
    for name in [
        "made_names_uwnd.nc",
        "made_names_uvh.nc",
        "made_names_ugrd_500mb.nc",
    ] {
        let archive = open(name);
        let told = archive
            .assumed
            .iter()
            .map(ToString::to_string)
            .collect::<Vec<_>>()
            .join("; ");
        assert!(told.contains("by the names of variables alone"), "{told}");
        assert!(told.contains("is the eastward wind"), "{told}");
    }
    let told = open("made_lambert.nc")
        .assumed
        .iter()
        .map(ToString::to_string)
        .collect::<Vec<_>>()
        .join("; ");
    assert!(told.contains("along the map's x and y"), "{told}");
    assert!(open("made_polar.nc").assumed.is_empty());
    assert!(open("made_rotated_pole.nc").assumed.is_empty());
}

/// The way through a rotated grid as flights find it: cut around a place, then located.
#[test]
fn a_window_of_a_rotated_grid_holds_what_it_is_cut_around() {
    for name in [
        "made_rotated_far_pole.grib2",
        "made_lambert.nc",
        "made_polar.grib1",
    ] {
        let archive = open(name);
        let place = Position::new(46.0, 2.0).unwrap();
        let time = archive.steps[0].valid;
        let profile = archive.profile(place, time).unwrap();
        assert_eq!(profile.levels.len(), 4, "{name}");
        let window = archive.lattice.around(place, 30_000.0).unwrap();
        assert!(window.rows < 9 && window.columns < 9, "{name} {window:?}");
    }
}

#[test]
fn a_map_that_is_inferred_is_said_and_winds_of_unknown_axes_are_refused() {
    let assumed = open("made_places.nc")
        .assumed
        .iter()
        .map(ToString::to_string)
        .collect::<Vec<_>>()
        .join("; ");
    assert!(
        assumed.contains("the map of the grid is inferred") && assumed.contains("+proj=lcc"),
        "{assumed}"
    );
    let file = GridFile::open(&path("made_places_unsaid.nc")).unwrap();
    let refused = Archive::join(vec![file], Joining::default()).err().unwrap();
    let told = refused.to_string();
    assert!(told.contains("no wind on levels of pressure"), "{told}");
    let file = GridFile::open(&path("made_places_unsaid.nc")).unwrap();
    let left_out = file.left_out.join("; ");
    assert!(
        left_out.contains("neither an attribute nor a standard name"),
        "{left_out}"
    );
}

/// A reduced grid whose description is spoilt anywhere is read as it says, or refused; in edition 1, or of a
/// part of the earth, it is refused by name.
#[test]
fn a_reduced_grid_that_contradicts_itself_is_refused() {
    let whole = std::fs::read(path("made_reduced.grib2")).unwrap();
    let length = u64::from_be_bytes(whole[8..16].try_into().unwrap()) as usize;
    let message = &whole[..length];
    let mut grid = 16;
    while message[grid + 4] != 3 {
        grid += u32::from_be_bytes(message[grid..grid + 4].try_into().unwrap()) as usize;
    }
    let mut refused = 0;
    for at in grid..grid + 72 + 64 {
        for byte in [0, 1, 0x7f, 0xff] {
            let mut changed = message.to_vec();
            changed[at] = byte;
            let read = GridFile::from_bytes("changed", changed).and_then(|file| {
                let lattice = file.lattices[file.slabs[0].lattice].whole();
                file.read(0, lattice)
            });
            refused += usize::from(read.is_err());
        }
    }
    println!("{refused} of {} changes refused", 4 * (72 + 64));
    assert!(refused > 200);
    let mut part = message.to_vec();
    // Its last longitude: 180 degrees.
    part[grid + 59..grid + 63].copy_from_slice(&180_000_000_u32.to_be_bytes());
    let told = GridFile::from_bytes("part", part)
        .err()
        .unwrap()
        .to_string();
    assert!(told.contains("a reduced grid"), "{told}");
}

/// Winds aloft along the map's axes, at 10 m as speed and direction: each is turned, or not, by itself, in
/// every run.
#[test]
fn winds_aloft_are_turned_and_those_at_10_m_are_not() {
    for _ in 0..8 {
        let archive = open("awkward_axes.nc");
        let block = archive.cut(archive.lattice.whole(), 0..2).unwrap();
        let map = archive.lattice.map().unwrap();
        for row in [0.0, 5.0] {
            let place = map.position(row, 2.0).unwrap();
            // The map is turned by the cone's constant, sin 40, times how far east of 110 W the place lies.
            let turn = 40.0_f64.to_radians().sin() * (place.lon_deg + 110.0).to_radians();
            let column = block.column(0, 0, row as usize, 2);
            let aloft = [&block.east_m_s, &block.north_m_s].map(|w| f64::from(w[[column, 1]]));
            let right = [20.0 * turn.cos(), -20.0 * turn.sin()];
            assert!(
                (aloft[0] - right[0]).hypot(aloft[1] - right[1]) < 1e-3,
                "{aloft:?} {right:?}"
            );
            let near = block.ground.as_ref().unwrap().wind_m_s.as_ref().unwrap();
            let near = [near[[column, 0]], near[[column, 1]]];
            assert!(near[0] == 5.0 && near[1].abs() < 1e-5, "{near:?}");
        }
    }
}

/// On the meridian beside one without values the winds are known, between the two they are not.
#[test]
fn a_missing_column_does_not_matter_where_it_does_not_count() {
    let archive = open("awkward_mask.nc");
    let time = archive.steps[0].valid;
    let at = |lon_deg: f64| {
        let place = Position::new(43.02, lon_deg).unwrap();
        archive.profile(place, time)
    };
    for lon_deg in [-108.0, -106.0, -108.4] {
        let levels = at(lon_deg).unwrap().levels;
        assert_eq!(levels.len(), 4, "{lon_deg}");
        let whole = |l: &windfall::wind::sounding::Level| {
            l.temperature_k.is_some_and(f64::is_finite)
                && l.wind.is_some_and(|w| (w.east_m_s - 20.0).abs() < 1e-4)
        };
        assert!(levels.iter().all(whole), "{levels:?}");
    }
    assert!(at(-107.5).map_or(0, |found| found.levels.len()) < 4);
}

#[test]
fn the_time_of_processing_is_no_time_of_winds() {
    let archive = open("awkward_times.nc");
    assert_eq!(archive.steps.len(), 1);
    assert_eq!(archive.steps[0].valid.to_string(), "2026-02-06T03:00:00Z");
}
