//! Forecast files: what the readers return, against tables made by independent decoders.
//!
//! Files: tests/data/grids/README.md. Tables: tests/data/grids/reference/README.md (ecCodes for
//! GRIB, netCDF4 for NetCDF, pyproj for projections).

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use proptest::prelude::*;
use windfall::geodesy::Position;
use windfall::geodesy::lattice::{Window, to_true};
use windfall::sources::grid::GridFile;
use windfall::wind::slab::{Quantity, Slab, Surface};

/// Every file of which the table of points has rows.
const FILES: [&str; 27] = [
    "ecmwf_10deg_global_20240603_2runs_2steps.grib",
    "ecmwf_6members_4steps_no_v.grib",
    "era5_portugal_20221013_17.nc",
    "era5_portugal_2023.nc",
    "gefs_mean_0p5_20200815_06z_f006.grib2",
    "gefs_member08_20200825_00z_f012.grib2",
    "gfs_0p25_western_europe_20200314_00z.grib2",
    "gfs_10m_wind_packing_5_0.grib2",
    "gfs_10m_wind_packing_5_3.grib2",
    "gfs_2p5_global_20110110_12z_f120.grib2",
    "nam_lambert_20180917_00z.grib2",
    "polar_stereographic_20200125_12z.grib2",
    "repacked/gfs20200314_isobaric_grid_ccsds.grib2",
    "repacked/gfs20200314_isobaric_grid_complex.grib2",
    "repacked/gfs20200314_isobaric_grid_complex_spatial_differencing.grib2",
    "repacked/gfs20200314_isobaric_grid_jpeg.grib2",
    "repacked/gfs20200314_isobaric_grid_png.grib2",
    "repacked/gfs20200314_isobaric_grid_simple.grib2",
    "ecmwf_0p4_global_20240101_00z_ccsds.grib2",
    "era5_10members_no_wind.grib",
    "era5_midwest_20200223_16z.nc",
    "gfs_1p0_north_america_20101026_12z.nc",
    "gfs_2p5_global_20170322_00z.grib2",
    "gfs_10m_wind_packing_5_2.grib2",
    "gfs_z500_packing_5_40.grib2",
    "gfs_z500_packing_5_41.grib2",
    "rotated_latlon_unsupported.grib2",
];

const NAM: &str = "nam_lambert_20180917_00z.grib2";
const POLAR: &str = "polar_stereographic_20200125_12z.grib2";
const GFS_2011: &str = "gfs_2p5_global_20110110_12z_f120.grib2";

fn path(file: &str) -> PathBuf {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    match file {
        "era5_portugal_2023.nc" => root.join("samples/ribatejo/era5-portugal-2023.nc"),
        _ => root.join("tests/data/grids").join(file),
    }
}

fn open(file: &str) -> GridFile {
    GridFile::open(&path(file)).unwrap_or_else(|error| panic!("{error}"))
}

/// The rows of a reference table, each by the names of its columns.
fn table(name: &str) -> Vec<BTreeMap<String, String>> {
    let file = path("reference").join(name);
    let mut reader = csv::Reader::from_path(file).unwrap();
    reader.deserialize().map(Result::unwrap).collect()
}

fn number(row: &BTreeMap<String, String>, column: &str) -> f64 {
    row[column].parse().unwrap()
}

/// A single value.
fn value(file: &GridFile, slab: usize, row: usize, column: usize) -> f64 {
    let window = Window {
        row,
        column,
        rows: 1,
        columns: 1,
    };
    f64::from(file.read(slab, window).unwrap()[[0, 0]])
}

/// The slabs for which something holds.
fn find(file: &GridFile, is_it: impl Fn(&Slab) -> bool) -> Vec<usize> {
    (0..file.slabs.len())
        .filter(|i| is_it(&file.slabs[*i]))
        .collect()
}

fn all_of(file: &GridFile, slab: usize) -> ndarray::Array2<f32> {
    let whole = file.lattices[file.slabs[slab].lattice].whole();
    file.read(slab, whole).unwrap()
}

/// The quantity of a name in the table; `None` for those that are not used.
fn quantity(name: &str) -> Option<Quantity> {
    Some(match name {
        "u" | "10u" => Quantity::EastWind,
        "v" | "10v" => Quantity::NorthWind,
        "t" | "2t" => Quantity::Temperature,
        "gh" | "z" | "orog" => Quantity::Height,
        "r" => Quantity::RelativeHumidity,
        "sp" => Quantity::Pressure,
        "sde" => return None,
        other => panic!("what is {other}?"),
    })
}

fn surface(row: &BTreeMap<String, String>) -> Surface {
    match row["level_type"].as_str() {
        "isobaric" => Surface::Isobaric(row["level"].parse().unwrap()),
        "ground" => Surface::Ground,
        "above_ground" => Surface::AboveGround(row["level"].parse().unwrap()),
        other => panic!("where is {other}?"),
    }
}

/// Checks a row of the table of points; whether it is of a quantity that is used.
fn check_point(file: &GridFile, row: &BTreeMap<String, String>) -> bool {
    let Some(quantity) = quantity(&row["name"]) else {
        return false;
    };
    let (surface, valid) = (surface(row), row["valid"].parse().unwrap());
    let member = row["member"].parse().ok();
    let run = row["run"].parse().ok();
    let found = find(file, |slab| {
        (slab.quantity, slab.surface, slab.valid) == (quantity, surface, valid)
            && slab.member == member
            && slab.run == run
    });
    let [slab] = found[..] else {
        panic!("{} slabs for {row:?}", found.len());
    };
    let map = file.lattices[file.slabs[slab].lattice].map().unwrap();
    let place = Position::new(number(row, "lat"), number(row, "lon")).unwrap();
    let [i, j] = map.row_column(place).unwrap();
    // The table gives nine digits.
    let off = (i - i.round()).abs().max((j - j.round()).abs());
    assert!(off < 1e-4, "{i} {j} in {row:?}");
    let columns = file.lattices[file.slabs[slab].lattice].x.count;
    let ours = value(file, slab, i.round() as usize, j.round() as usize % columns);
    let expected = number(row, "value");
    let close = 1e-6 * expected.abs().max(1.0);
    assert!((ours - expected).abs() <= close, "{ours} in {row:?}");
    true
}

#[test]
fn points_are_those_of_independent_decoders() {
    let rows = table("points.csv");
    let mut checked = 0;
    for name in FILES {
        let file = open(name);
        let mine = rows.iter().filter(|row| row["file"] == name);
        let count = mine.filter(|row| check_point(&file, row)).count();
        assert!(count > 0, "no row checked of {name}");
        checked += count;
    }
    assert!(checked >= 900, "only {checked} rows checked");
}

/// A real file of means over months is refused, and the message says by what.
#[test]
fn a_real_file_that_is_not_read_is_refused_by_name() {
    let file = "erainterim_monthly_3levels_packed.nc";
    let message = GridFile::open(&path(file)).err().unwrap().to_string();
    assert!(
        message.contains(file) && message.contains("\"month\""),
        "{message}"
    );
}

#[test]
fn corners_are_where_they_are_said_to_be() {
    for (name, corners) in [(NAM, "nam_corners.csv"), (POLAR, "polar_corners.csv")] {
        let file = open(name);
        let map = file.lattices[0].map().unwrap();
        let rows = table(corners);
        assert!(rows.len() >= 5);
        for row in rows {
            let place = map
                .position(number(&row, "row"), number(&row, "column"))
                .unwrap();
            assert!((place.lat_deg - number(&row, "lat_eccodes")).abs() < 1e-6);
            assert!((place.lon_deg - number(&row, "lon_eccodes")).abs() < 1e-6);
        }
    }
}

#[test]
fn grid_relative_winds_are_turned_to_true_north() {
    let rotations = [
        (NAM, "nam_rotation.csv", Surface::Isobaric(50_000)),
        (POLAR, "polar_rotation.csv", Surface::AboveGround(10)),
    ];
    for (name, rotation, surface) in rotations {
        let file = open(name);
        let map = file.lattices[0].map().unwrap();
        // The first of each: the table has the first time.
        let first = |quantity| find(&file, |s| (s.quantity, s.surface) == (quantity, surface))[0];
        let (u, v) = (first(Quantity::EastWind), first(Quantity::NorthWind));
        assert!(file.slabs[u].along_grid && file.slabs[v].along_grid);
        let rows = table(rotation);
        assert_eq!(rows.len(), 3);
        for row in rows {
            let (i, j) = (number(&row, "row"), number(&row, "column"));
            let place = map.position(i, j).unwrap();
            let angle = map.y_direction(place).unwrap();
            assert!((angle.to_degrees() - number(&row, "angle_deg")).abs() < 1e-5);
            let along = [u, v].map(|slab| value(&file, slab, i as usize, j as usize));
            let [east, north] = to_true(along, angle);
            assert!(
                (east - number(&row, "u_true")).abs() < 1e-5,
                "{east} {row:?}"
            );
            assert!(
                (north - number(&row, "v_true")).abs() < 1e-5,
                "{north} {row:?}"
            );
        }
    }
}

/// The most a field departs from the one it was repacked from (the provenance in the README of the
/// files), and a little for values of 32 bits.
fn allowed(quantity: Quantity) -> f32 {
    match quantity {
        Quantity::Height => 0.24 + 0.005,
        Quantity::Temperature => 0.2 + 1e-4,
        _ => 0.1 + 1e-5,
    }
}

#[test]
fn every_packing_holds_the_same_fields() {
    let source = open("gfs_0p25_western_europe_20200314_00z.grib2");
    for name in FILES.iter().filter(|name| name.starts_with("repacked/")) {
        let file = open(name);
        assert_eq!(file.slabs.len(), 65);
        for (i, slab) in file.slabs.iter().enumerate() {
            let original = find(&source, |s| s == slab);
            assert_eq!(original.len(), 1, "{slab:?}");
            let difference = all_of(&file, i) - all_of(&source, original[0]);
            let largest = difference.iter().fold(0.0, |a: f32, d| a.max(d.abs()));
            assert!(
                largest <= allowed(slab.quantity),
                "{largest} {slab:?} {name}"
            );
        }
    }
}

#[test]
fn both_winds_of_a_message_are_found() {
    let file = open(GFS_2011);
    let keys = |quantity| {
        let mut keys: Vec<_> = file
            .slabs
            .iter()
            .filter(|slab| slab.quantity == quantity)
            .map(|slab| (slab.surface, slab.valid, slab.run))
            .collect();
        keys.sort();
        keys
    };
    let east = keys(Quantity::EastWind);
    assert_eq!(east.len(), 27);
    assert_eq!(east, keys(Quantity::NorthWind));
    assert!(
        file.left_out
            .iter()
            .any(|words| words.contains("over time"))
    );
}

#[test]
fn winds_in_degrees_are_true_already() {
    let file = open("gfs_0p25_western_europe_20200314_00z.grib2");
    assert!(file.slabs.iter().all(|slab| !slab.along_grid));
    // 355 to 9 degrees, across Greenwich.
    assert_eq!(
        (file.lattices[0].x.first, file.lattices[0].x.step),
        (-5.0, 0.25)
    );
}

#[test]
fn a_window_is_cut_from_the_whole() {
    // Scanned north to south and south to north, projected, and NetCDF.
    for name in [
        GFS_2011,
        NAM,
        "era5_portugal_20221013_17.nc",
        "era5_portugal_2023.nc",
    ] {
        let file = open(name);
        let whole = all_of(&file, 3);
        let window = Window {
            row: 1,
            column: 2,
            rows: 3,
            columns: 2,
        };
        let part = file.read(3, window).unwrap();
        assert_eq!(part, whole.slice(ndarray::s![1..4, 2..4]), "{name}");
        let beyond = Window {
            row: whole.nrows() - 2,
            ..window
        };
        assert!(file.read(3, beyond).is_err());
        assert!(file.read(file.slabs.len(), window).is_err());
    }
}

#[test]
fn a_window_goes_on_at_the_first_column() {
    let file = open(GFS_2011);
    let whole = all_of(&file, 0);
    let window = Window {
        row: 10,
        column: 143,
        rows: 2,
        columns: 3,
    };
    let part = file.read(0, window).unwrap();
    assert_eq!(part.column(0), whole.slice(ndarray::s![10..12, 143]));
    assert_eq!(part.column(1), whole.slice(ndarray::s![10..12, 0]));
    assert_eq!(part.column(2), whole.slice(ndarray::s![10..12, 1]));
}

#[test]
fn members_and_means_are_told_apart() {
    let members = |name| {
        let mut members: Vec<_> = open(name).slabs.iter().map(|slab| slab.member).collect();
        members.sort();
        members.dedup();
        members
    };
    let six: Vec<_> = (1..=6).map(Some).collect();
    assert_eq!(members("ecmwf_6members_4steps_no_v.grib"), six);
    assert_eq!(members("gefs_member08_20200825_00z_f012.grib2"), [Some(8)]);
    assert_eq!(members("gefs_mean_0p5_20200815_06z_f006.grib2"), [None]);
}

/// In one file with a member the mean of all is left out: it would be flown as one more of them.
#[test]
fn beside_its_members_the_mean_of_an_ensemble_is_left_out() {
    let read = |name: &str| std::fs::read(path(name)).unwrap();
    let [mean, member] = [
        "gefs_mean_0p5_20200815_06z_f006.grib2",
        "gefs_member08_20200825_00z_f012.grib2",
    ];
    let both = [read(mean), read(member)].concat();
    let file = GridFile::from_bytes("both", both).unwrap();
    let of_member = open(member);
    assert_eq!(file.slabs.len(), of_member.slabs.len());
    assert!(file.slabs.iter().all(|slab| slab.member == Some(8)));
    let (lattice, own) = (
        file.lattices[file.slabs[0].lattice].whole(),
        of_member.lattices[0].whole(),
    );
    assert_eq!(
        file.read(0, lattice).unwrap(),
        of_member.read(0, own).unwrap()
    );
    let told = file.left_out.join("; ");
    assert!(
        told.contains("the mean of an ensemble, beside its members"),
        "{told}"
    );
}

#[test]
fn two_runs_at_the_same_time_are_told_apart() {
    let file = open("ecmwf_10deg_global_20240603_2runs_2steps.grib");
    let mut runs: Vec<_> = file.slabs.iter().filter_map(|slab| slab.run).collect();
    runs.sort();
    runs.dedup();
    assert_eq!(runs.len(), 4);
    assert_eq!(file.left_out, [""; 0]);
}

#[test]
fn a_part_of_the_hours_is_opened_alone() {
    let file = path("era5_portugal_20221013_17.nc");
    let all = GridFile::open(&file).unwrap();
    let hours = ["2022-10-13T12:00:00Z", "2022-10-13T14:30:00Z"].map(|t| t.parse().unwrap());
    let part = GridFile::open_hours(&file, hours).unwrap();
    assert_eq!(part.slabs.len(), 4 * 37 * 3);
    for (i, slab) in part.slabs.iter().enumerate().step_by(29) {
        let same = all.slabs.iter().position(|s| s == slab).unwrap();
        let whole = part.lattices[slab.lattice].whole();
        assert_eq!(part.read(i, whole).unwrap(), all.read(same, whole).unwrap());
    }
    let none = ["1999-01-01T00:00:00Z", "1999-01-02T00:00:00Z"].map(|t| t.parse().unwrap());
    assert!(GridFile::open_hours(&file, none).is_err());
}

#[test]
fn several_threads_read_one_file() {
    for name in [GFS_2011, "era5_portugal_20221013_17.nc"] {
        let file = open(name);
        let expected: Vec<_> = (0..8).map(|i| all_of(&file, i)).collect();
        std::thread::scope(|scope| {
            for (i, expected) in expected.iter().enumerate() {
                let file = &file;
                scope.spawn(move || assert_eq!(all_of(file, i), expected));
            }
        });
    }
}

fn message_of(bytes: Vec<u8>) -> String {
    let error = GridFile::from_bytes("a.grib2", bytes).err().unwrap();
    error.to_string()
}

#[test]
fn a_file_cut_short_names_the_message() {
    let mut bytes = std::fs::read(path("repacked/gfs20200314_isobaric_grid_simple.grib2")).unwrap();
    bytes.truncate(bytes.len() - 40);
    let message = message_of(bytes);
    assert!(
        message.contains("message 65") && message.contains("cut short"),
        "{message}"
    );
}

#[test]
fn a_grid_that_is_not_read_is_named() {
    let member = std::fs::read(path("gefs_member08_20200825_00z_f012.grib2")).unwrap();
    // The grid template's number stands in octets 13 and 14 of section 3, which follows the
    // indicator (16 octets) and section 1 (21).
    let mut rotated = member.clone();
    rotated[16 + 21 + 13] = 31;
    let first = u64::from_be_bytes(rotated[8..16].try_into().unwrap()) as usize;
    let message = message_of(rotated[..first].to_vec());
    let named = "1 message: a grid of template 3.31 (Albers equal-area)";
    assert!(
        message.contains(named) && message.contains("Lambert conformal; ask for"),
        "{message}"
    );
    // With others in the file it is only left out.
    rotated.truncate(first);
    rotated.extend(member);
    let file = GridFile::from_bytes("a.grib2", rotated).unwrap();
    assert_eq!(file.slabs.len(), 1);
    assert!(
        file.left_out.contains(&named.to_owned()),
        "{:?}",
        file.left_out
    );
}

#[test]
fn columns_first_is_read_as_rows_first() {
    // The same field said to run along columns: 29 by 21 values become 21 by 29.
    let bytes = std::fs::read(path("gefs_member08_20200825_00z_f012.grib2")).unwrap();
    let grid = 16 + 21;
    let mut turned = bytes.clone();
    assert_eq!(turned[grid + 71], 0x40);
    turned[grid + 71] |= 0x20;
    let by_rows = GridFile::from_bytes("rows", bytes).unwrap();
    let by_columns = GridFile::from_bytes("columns", turned).unwrap();
    let index = find(&by_rows, |slab| slab.quantity == Quantity::Temperature)[0];
    let (rows, columns) = (all_of(&by_rows, index), all_of(&by_columns, index));
    assert_eq!(rows.dim(), (21, 29));
    let mut in_order: Vec<f32> = Vec::new();
    for column in columns.columns() {
        in_order.extend(column);
    }
    assert_eq!(in_order, rows.into_iter().collect::<Vec<_>>());
}

#[test]
fn a_file_without_anything_of_use_says_what_it_holds() {
    let bytes = std::fs::read(path("gefs_member08_20200825_00z_f012.grib2")).unwrap();
    let first = u64::from_be_bytes(bytes[8..16].try_into().unwrap()) as usize;
    let rain = GridFile::from_bytes("rain", bytes[first..].to_vec());
    let temperature = GridFile::from_bytes("temperature", bytes[..first].to_vec());
    let message = [rain, temperature]
        .into_iter()
        .find_map(Result::err)
        .unwrap()
        .to_string();
    assert!(
        message.contains("only 1 message: accumulations"),
        "{message}"
    );
}

/// Opens and, where that succeeds, reads: values or errors with words, never a panic.
fn try_all(bytes: Vec<u8>) {
    match GridFile::from_bytes("f", bytes) {
        Err(error) => assert!(error.to_string().contains("expected")),
        Ok(file) => {
            for i in [0, file.slabs.len() / 2, file.slabs.len() - 1] {
                let lattice = &file.lattices[file.slabs[i].lattice];
                match file.read(i, lattice.whole()) {
                    Ok(values) => assert_eq!(values.dim(), (lattice.y.count, lattice.x.count)),
                    Err(error) => assert!(error.to_string().contains("expected")),
                }
            }
        }
    }
}

/// One file of each format and packing; the JPEG 2000 one is slow to unpack, so it is the small
/// one.
const DAMAGED: [&str; 9] = [
    "gefs_member08_20200825_00z_f012.grib2",
    "ecmwf_6members_4steps_no_v.grib",
    "era5_portugal_20221013_17.nc",
    "era5_portugal_2023.nc",
    "repacked/gfs20200314_isobaric_grid_ccsds.grib2",
    "repacked/gfs20200314_isobaric_grid_complex_spatial_differencing.grib2",
    "repacked/gfs20200314_isobaric_grid_jpeg.grib2",
    "repacked/gfs20200314_isobaric_grid_png.grib2",
    "repacked/gfs20200314_isobaric_grid_simple.grib2",
];

fn real(which: usize) -> Vec<u8> {
    std::fs::read(path(DAMAGED[which])).unwrap()
}

/// A place in the bytes, more often near the beginning, where the headings are.
fn place(bytes: &[u8], share: f64) -> usize {
    ((share.powi(3) * bytes.len() as f64) as usize).min(bytes.len() - 1)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn cut_anywhere(which in 0..DAMAGED.len(), share in 0.0..1.0) {
        let mut bytes = real(which);
        bytes.truncate(place(&bytes, share));
        try_all(bytes);
    }

    #[test]
    fn bits_flipped(
        which in 0..DAMAGED.len(),
        flips in proptest::collection::vec((0.0..1.0, 0_u8..8), 1..6),
    ) {
        let mut bytes = real(which);
        for (share, bit) in flips {
            let at = place(&bytes, share);
            bytes[at] ^= 1 << bit;
        }
        try_all(bytes);
    }

    #[test]
    fn bytes_at_random(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        for start in [&b"GRIB\0\0\0\x02"[..], b"GRIB\0\0\0\x01", b"CDF\x01", b"\x89HDF\r\n\x1a\n"] {
            try_all([start, &bytes].concat());
        }
    }
}
