//! Heights of the ground against independent readers, and touchdown on slopes.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)]

use std::fs;
use std::path::{Path, PathBuf};

use windfall::geodesy::lattice::{Axis, Lattice, Plane};
use windfall::geodesy::{Normal, Position};
use windfall::ground::region::Region;
use windfall::ground::terrain::{Heights, Raster, Terrain};
use windfall::ground::touchdown::{Fix, meet, touchdown};

fn at(lat: f64, lon: f64) -> Position {
    Position::new(lat, lon).unwrap()
}

fn data(name: &str) -> PathBuf {
    Path::new("tests/data/ground").join(name)
}

/// Rows of latitude, longitude and height.
fn table(name: &str) -> Vec<[f64; 3]> {
    let mut reader = csv::Reader::from_path(data(name)).unwrap();
    let rows = reader.records().map(|row| {
        let row = row.unwrap();
        [0, 1, 2].map(|i| row[i].parse().unwrap())
    });
    rows.collect()
}

fn refusal(paths: &[PathBuf], region: &Region) -> String {
    Terrain::open(paths, region).err().unwrap().to_string()
}

/// tests/data/ground/N44W072_heights.csv: points of the tile and bilinear values, by numpy.
#[test]
fn heights_of_a_real_tile_are_those_of_an_independent_reader() {
    let region = Region::around(at(44.5, -71.5), 90_000.0);
    let terrain = Terrain::open(&[data("N44W072.hgt.gz")], &region).unwrap();
    let rows = table("N44W072_heights.csv");
    assert_eq!(rows.len(), 46);
    for [lat, lon, height] in rows {
        let got = terrain.height_m(at(lat, lon)).unwrap();
        assert!((got - height).abs() < 0.01, "{lat} {lon}: {got} {height}");
    }
    assert_eq!(terrain.highest_m(), Some(1908.0));
    assert_eq!(terrain.source(), "N44W072.hgt.gz");
    assert_eq!(terrain.source_at(at(44.2, -71.3)), Some("N44W072.hgt.gz"));
    assert_eq!(terrain.height_m(at(44.5, -70.9)), None);
    // 3 arc seconds.
    assert!((terrain.spacing_m().unwrap() - 92.7).abs() < 0.1);
}

#[test]
fn only_the_region_is_kept() {
    let region = Region::around(at(44.3, -71.3), 5_000.0);
    let terrain = Terrain::open(&[data("N44W072.hgt.gz")], &region).unwrap();
    assert!(terrain.height_m(at(44.3, -71.3)).is_some());
    assert_eq!(terrain.height_m(at(44.8, -71.3)), None);
}

/// A tile of one arc second a degree wide whose height is a function of place.
fn tile(folder: &Path, name: &str, side: usize, height: impl Fn(usize, usize) -> i16) -> PathBuf {
    let mut bytes = Vec::with_capacity(2 * side * side);
    for row in 0..side {
        for column in 0..side {
            bytes.extend(height(row, column).to_be_bytes());
        }
    }
    let path = folder.join(name);
    fs::write(&path, bytes).unwrap();
    path
}

#[test]
fn tiles_join_without_a_seam_and_voids_are_none() {
    let folder = tempfile::tempdir().unwrap();
    // Height grows by 1 m from column to column, across both tiles; three and one arc seconds.
    let west = tile(folder.path(), "N10E020.hgt", 1201, |_, c| c as i16);
    let east = tile(folder.path(), "N10E021.hgt", 3601, |r, c| {
        if (r, c) == (1800, 1800) {
            i16::MIN
        } else {
            1200 + (c / 3) as i16
        }
    });
    let region = Region::around(at(10.5, 21.0), 100_000.0);
    let terrain = Terrain::open(&[west, east], &region).unwrap();
    for lon in [20.3, 20.9995, 21.0, 21.0005, 21.4] {
        let expected = (lon - 20.0) * 1200.0;
        let got = terrain.height_m(at(10.5, lon)).unwrap();
        assert!((got - expected).abs() < 1.0, "{lon} {got}");
    }
    assert_eq!(terrain.height_m(at(10.5, 21.5)), None);
    // The finest comes first.
    assert!((terrain.spacing_m().unwrap() - 30.9).abs() < 0.1);
    assert_eq!(terrain.source(), "N10E020.hgt, N10E021.hgt");
    assert_eq!(Terrain::default().height_m(at(0.0, 0.0)), None);
}

/// tests/data/ground/utm*.tif: written by tifffile, a plane in UTM zone 19; places by pyproj.
#[test]
fn geotiffs_on_a_map_are_placed_as_pyproj_says() {
    let region = Region::around(at(44.15, -71.4), 30_000.0);
    for (name, tolerance) in [("utm.tif", 0.02), ("utm_point.tif", 0.6)] {
        let terrain = Terrain::open(&[data(name)], &region).unwrap();
        let rows = table("utm_heights.csv");
        assert_eq!(rows.len(), 30);
        for [lat, lon, height] in rows {
            let got = terrain.height_m(at(lat, lon)).unwrap();
            assert!(
                (got - height).abs() < tolerance,
                "{name} {lat} {lon}: {got} {height}"
            );
        }
        assert_eq!(terrain.height_m(at(43.5, -71.4)), None);
        assert_eq!(terrain.spacing_m(), Some(200.0));
    }
}

#[test]
fn heights_in_feet_become_metres() {
    let region = Region::around(at(44.95, -71.95), 30_000.0);
    let terrain = Terrain::open(&[data("degrees_feet.tif")], &region).unwrap();
    // The centre of the pixel in row 10 and column 20: 1000 + 2 x 20 - 3 x 10 ft.
    let [lat, lon] = [45.0 - 10.5 / 600.0, -72.0 + 20.5 / 600.0];
    let got = terrain.height_m(at(lat, lon)).unwrap();
    assert!((got - 1010.0 * 0.3048).abs() < 1e-3, "{got}");
}

#[test]
fn an_ascii_grid_of_degrees_is_read_and_others_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("grid.asc");
    let text = "ncols 3\nnrows 2\nxllcorner 10\nyllcorner 50\ncellsize 0.1\nNODATA_value -9999\n\
                10 20 30\n40 50 -9999\n";
    fs::write(&path, text).unwrap();
    let region = Region::around(at(50.1, 10.15), 50_000.0);
    let terrain = Terrain::open(std::slice::from_ref(&path), &region).unwrap();
    assert_eq!(terrain.height_m(at(50.05, 10.05)).unwrap().round(), 40.0);
    assert_eq!(terrain.height_m(at(50.10, 10.10)).unwrap().round(), 30.0);
    assert_eq!(terrain.height_m(at(50.05, 10.25)), None);
    for (from, to, says) in [
        ("xllcorner 10", "xllcorner 420000", "no degrees"),
        ("40 50 -9999", "40 50", "5 heights; expected 2 rows of 3"),
        ("20 30", "2x 30", "line 7: found \"2x\""),
        ("ncols 3", "ncols three", "line 1"),
        ("nrows 2\n", "", "nrows: found nothing"),
        ("cellsize 0.1", "cellsize 0", "cellsize"),
        ("cellsize", "cellsiz", "line 5"),
    ] {
        fs::write(&path, text.replace(from, to)).unwrap();
        let message = refusal(std::slice::from_ref(&path), &region);
        assert!(message.contains(says), "{message}");
    }
    fs::write(&path, text).unwrap();
    fs::write(folder.path().join("grid.prj"), "PROJCS[\"NAD83 / UTM\"]").unwrap();
    let message = refusal(std::slice::from_ref(&path), &region);
    assert!(
        message.contains(".prj") && message.contains("gdalwarp"),
        "{message}"
    );
    let old = "GEOGCS[\"GCS_North_American_1927\",DATUM[\"D_North_American_1927\",SPHEROID[\"Clarke_1866\",6378206.4,294.9786982]],PRIMEM[\"Greenwich\",0.0],UNIT[\"Degree\",0.0174532925199433]]";
    fs::write(folder.path().join("grid.prj"), old).unwrap();
    let message = refusal(std::slice::from_ref(&path), &region);
    assert!(message.contains("another datum"), "{message}");
    // In capitals, and in the words of older programs.
    fs::remove_file(folder.path().join("grid.prj")).unwrap();
    let words = "Projection    GEOGRAPHIC\nDatum         WGS84\nSpheroid      WGS84\nUnits         DD\nParameters\n";
    fs::write(folder.path().join("grid.PRJ"), words).unwrap();
    assert!(Terrain::open(std::slice::from_ref(&path), &region).is_ok());
    fs::write(
        folder.path().join("grid.PRJ"),
        words.replace("GEOGRAPHIC", "UTM"),
    )
    .unwrap();
    assert!(refusal(&[path], &region).contains("names a projection"));
}

/// The format's own number stands for no height where the heading has none; other fillers are
/// known by being no height of any ground.
#[test]
fn fillers_that_no_heading_declares_are_no_ground() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("grid.asc");
    let region = Region::around(at(50.1, 10.15), 50_000.0);
    let heading = "ncols 3\nnrows 2\nxllcorner 10\nyllcorner 50\ncellsize 0.1\n";
    for (heights, lowest_m, highest_m) in [
        ("10 20 30\n40 50 -9999\n", 10.0, 50.0),
        ("10 20 30\n40 -32767 9999\n", 10.0, 40.0),
        ("-400 20 30\n40 50 8800\n", -400.0, 8_800.0),
    ] {
        fs::write(&path, format!("{heading}{heights}")).unwrap();
        let terrain = Terrain::open(std::slice::from_ref(&path), &region).unwrap();
        assert_eq!(terrain.lowest_m(), Some(lowest_m), "{heights}");
        assert_eq!(terrain.highest_m(), Some(highest_m), "{heights}");
    }
    // Decimetres, and a filler averaged with heights.
    for heights in [
        "12010 12020 30\n40 50 12030\n",
        "-9999 -4980 -2470\n40 50 -750\n",
    ] {
        fs::write(&path, format!("{heading}{heights}")).unwrap();
        let message = refusal(std::slice::from_ref(&path), &region);
        assert!(message.contains("expected -500 to 9000 m"), "{message}");
    }
}

#[test]
fn bad_files_are_told_apart() {
    let folder = tempfile::tempdir().unwrap();
    let region = Region::around(at(44.5, -71.5), 50_000.0);
    let put = |name: &str, bytes: &[u8]| {
        let path = folder.path().join(name);
        fs::write(&path, bytes).unwrap();
        path
    };
    for (path, says) in [
        (put("N44W072.hgt", &[0; 100]), "found 100 bytes"),
        (
            put("heights.hgt", &[0; 100]),
            "name that gives the south-west corner",
        ),
        (put("x.dem", &[0; 100]), ".hgt.gz, .tif"),
        (put("x.tif", b"not a tiff"), "TIFF"),
        (
            put("short.tif", &fs::read(data("utm.tif")).unwrap()[..20_000]),
            "complete",
        ),
        (data("nad27.tif"), "EPSG:26719"),
        (folder.path().join("none.tif"), "cannot read"),
    ] {
        let message = refusal(&[path], &region);
        assert!(message.contains(says), "{says}: {message}");
    }
}

#[test]
fn damaged_images_end_in_errors() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("x.tif");
    let region = Region::around(at(44.15, -71.4), 30_000.0);
    let whole = fs::read(data("utm_point.tif")).unwrap();
    for k in 0..150_usize {
        let mut bytes = whole.clone();
        // The tags stand in the first bytes.
        bytes[4 + k % 380] ^= 1 << (k % 8);
        fs::write(&path, &bytes).unwrap();
        let _ = Terrain::open(&[&path], &region);
    }
}

#[test]
fn a_forecasts_own_orography_serves_as_terrain() {
    let axis = |first, step, count| Axis { first, step, count };
    let lattice = Lattice {
        plane: Plane::LatLon,
        x: axis(-9.0, 0.25, 3),
        y: axis(39.0, 0.25, 2),
    };
    let heights = Heights::Fine(vec![0.0, 100.0, 200.0, 0.0, 100.0, 200.0]);
    let raster = Raster::new("orography of the forecast".into(), &lattice, heights).unwrap();
    let terrain = Terrain::of(vec![raster]);
    let got = terrain.height_m(at(39.1, -8.875)).unwrap();
    assert!((got - 50.0).abs() < 1e-3);
    assert_eq!(
        terrain.source_at(at(39.1, -8.9)),
        Some("orography of the forecast")
    );
}

/// Ground that rises eastwards by `slope`, from 0 m at the start of the track; the track falls
/// by `fall` m for each metre eastwards. They meet where fall x = height - slope x.
#[test]
fn touchdown_on_a_slope_is_where_closed_form_says() {
    let start = at(45.0, 7.0);
    for (slope, fall, height) in [(0.1, 0.5, 900.0), (0.0, 1.0, 500.0), (-0.2, 0.9, 700.0)] {
        let ground = |place: Normal| {
            let p = place.position();
            Some(slope * start.distance_m(p))
        };
        let fix = |east_m: f64| Fix {
            place: start.destination(90.0, east_m).normal(),
            altitude_m: height - fall * east_m,
        };
        let track = [fix(0.0), fix(400.0), fix(1_500.0), fix(4_000.0)];
        let down = meet(ground, 1e4, 90.0, &track).unwrap();
        let expected = height / (fall + slope);
        let east = start.distance_m(down.fix.place.position());
        assert!((east - expected).abs() < 0.5, "{slope}: {east} {expected}");
        assert!((down.fix.altitude_m - slope * expected).abs() < 0.5);
    }
}

#[test]
fn touchdown_on_a_real_mountain_is_on_its_ground() {
    let summit = at(44.270_8, -71.303_3);
    let region = Region::around(summit, 40_000.0);
    let terrain = Terrain::open(&[data("N44W072.hgt.gz")], &region).unwrap();
    let mut down_hill = 0;
    for azimuth in (0..360).step_by(15) {
        let fix = |m: f64| Fix {
            place: summit.destination(f64::from(azimuth), m).normal(),
            altitude_m: 3_000.0 - 0.4 * m,
        };
        let track: Vec<Fix> = (0..20).map(|k| fix(600.0 * f64::from(k))).collect();
        let down = touchdown(&terrain, &track).unwrap();
        let ground = terrain.height_at(down.fix.place).unwrap();
        assert!((down.fix.altitude_m - ground).abs() < 0.2, "{azimuth}");
        // Nowhere before was it below ground: looked at ten times as closely.
        for k in 0..(down.after * 100.0) as usize {
            let (i, t) = (k / 100, (k % 100) as f64 / 100.0);
            let before = fix(600.0 * (i as f64 + t));
            let ground = terrain.height_at(before.place).unwrap();
            assert!(before.altitude_m > ground - 15.0, "{azimuth} {k}");
        }
        down_hill += 1;
    }
    assert_eq!(down_hill, 24);
}
