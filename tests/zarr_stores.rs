//! Zarr stores as winds, held against the NetCDF file of the same hours and against the formula of
//! invented ones.
//!
//! Stores: tests/data/grids/zarr, made by the script there with zarr-python and xarray.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[cfg(feature = "zarr")]
#[path = "common/packed.rs"]
mod packed;

use std::path::{Path, PathBuf};

use windfall::sources::grid::GridFile;

fn path(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/grids")
        .join(name)
}

#[test]
fn a_store_is_known_by_what_is_in_its_folder() {
    for store in [
        "zarr/era5_v2_blosc",
        "zarr/era5_v3_sharded",
        "zarr/era5_v2_blosc/u",
    ] {
        assert!(GridFile::is_store(&path(store)), "{store}");
    }
    assert!(!GridFile::is_store(&path("zarr")));
    assert!(!GridFile::is_store(&path("zarr/make.py")));
}

#[cfg(not(feature = "zarr"))]
#[test]
fn a_store_is_refused_by_name_where_it_is_not_read() {
    let refused = GridFile::open(&path("zarr/era5_v2_blosc")).err().unwrap();
    let message = refused.to_string();
    assert!(
        message.contains("a Zarr store") && message.contains("--features zarr"),
        "{message}"
    );
}

#[cfg(feature = "zarr")]
mod read {
    use std::collections::BTreeMap;
    use std::fs;

    use ndarray::Array2;
    use windfall::geodesy::lattice::Window;
    use windfall::sources::Hints;
    use windfall::sources::grid::archive::{Archive, Joining};
    use windfall::wind::slab::{Quantity, Slab, Surface};
    use windfall::winds::files::WindFiles;

    use super::*;

    fn open(name: &str) -> GridFile {
        GridFile::open(&path(name)).unwrap_or_else(|error| panic!("{error}"))
    }

    fn whole(file: &GridFile, slab: usize) -> Array2<f32> {
        let lattice = &file.lattices[file.slabs[slab].lattice];
        file.read(slab, lattice.whole()).unwrap()
    }

    fn place(slab: &Slab) -> (Quantity, Surface, jiff::Timestamp) {
        (slab.quantity, slab.surface, slab.valid)
    }

    fn the_same_as_netcdf(store: &Path) {
        let netcdf = open("era5_portugal_20221013_17.nc");
        let store = GridFile::open(store).unwrap_or_else(|error| panic!("{error}"));
        assert_eq!(store.slabs.len(), 12 * 37 * 4);
        let mut of_netcdf = BTreeMap::new();
        for (index, slab) in netcdf.slabs.iter().enumerate() {
            of_netcdf.insert(place(slab), index);
        }
        for (index, slab) in store.slabs.iter().enumerate() {
            let same = of_netcdf[&place(slab)];
            let lattice = &netcdf.lattices[netcdf.slabs[same].lattice];
            assert!(store.lattices[slab.lattice].same_as(lattice));
            assert_eq!(whole(&store, index), whole(&netcdf, same), "{slab:?}");
        }
    }

    #[test]
    fn real_hours_are_those_of_the_netcdf_file() {
        for store in ["era5_v2_blosc", "era5_v3_sharded"] {
            the_same_as_netcdf(&path("zarr").join(store));
        }
    }

    /// The formula of make.py: rows and columns counted from the north and from 3 degrees west.
    fn invented(slab: &Slab, row: usize, column: usize) -> f32 {
        let k = (slab.valid.as_second() - 1_709_164_800) / (6 * 3_600);
        let l = [100_000, 50_000, 10_000]
            .iter()
            .position(|pa| slab.surface == Surface::Isobaric(*pa))
            .unwrap();
        let (j, i) = ((4 - row) as f32, column as f32);
        let speed = 1.0 + 10.0 * l as f32 + k as f32 + 0.25 * j + 0.5 * i;
        match slab.quantity {
            Quantity::EastWind => speed,
            Quantity::NorthWind => -speed,
            _ => [100.0, 5_500.0, 16_000.0][l] + k as f32 + j + i,
        }
    }

    /// Checks every value of an invented store; returns how many were missing, by quantity.
    fn check_invented(file: &GridFile) -> BTreeMap<Quantity, usize> {
        let mut missing = BTreeMap::new();
        for (index, slab) in file.slabs.iter().enumerate() {
            for ((row, column), value) in whole(file, index).indexed_iter() {
                let expected = invented(slab, row, column);
                if value.is_nan() {
                    *missing.entry(slab.quantity).or_default() += 1;
                } else {
                    assert!(
                        (value - expected).abs() < 1e-4,
                        "{slab:?}: {value} {expected}"
                    );
                }
            }
        }
        missing
    }

    #[test]
    fn shards_of_packed_numbers_are_read_and_what_is_not_stored_is_told() {
        let file = open("zarr/invented_v3_shards");
        let lattice = &file.lattices[0];
        assert_eq!((lattice.x.first, lattice.y.first), (-3.0, 48.0));
        // v of hour 12 is not stored: three levels.
        assert_eq!(file.slabs.len(), 9 + 6 + 9);
        assert!(check_invented(&file).is_empty());
        let told = file.left_out.join("; ");
        assert!(told.contains("3 of 9 levels and times of \"v\""), "{told}");
    }

    #[test]
    fn old_stores_of_other_orders_are_read() {
        let file = open("zarr/invented_v2_zlib");
        assert_eq!(file.slabs.len(), 27);
        let missing = check_invented(&file);
        // Two rows with the fill value, and a chunk of four levels and times that is not stored.
        assert_eq!(
            missing,
            BTreeMap::from([(Quantity::Height, 2 * 6 + 4 * 2 * 2)])
        );
        let told = file.left_out.join("; ");
        assert!(
            told.contains("parts of 4 of 9 levels and times of \"z\""),
            "{told}"
        );
    }

    #[test]
    fn any_window_is_that_part_of_the_whole() {
        for name in ["zarr/invented_v3_shards", "zarr/invented_v2_zlib"] {
            let file = open(name);
            for (index, slab) in file.slabs.iter().enumerate().step_by(4) {
                let all = whole(&file, index);
                for (row, column, rows, columns) in [
                    (0, 0, 1, 1),
                    (4, 5, 1, 1),
                    (1, 2, 3, 4),
                    (2, 0, 2, 6),
                    (3, 1, 0, 2),
                ] {
                    let window = Window {
                        row,
                        column,
                        rows,
                        columns,
                    };
                    let part = file.read(index, window).unwrap();
                    let same = all.slice(ndarray::s![row..row + rows, column..column + columns]);
                    let bits = |v: &f32| v.to_bits();
                    assert!(part.iter().map(bits).eq(same.iter().map(bits)), "{slab:?}");
                }
            }
        }
    }

    #[test]
    fn stores_come_in_where_wind_files_do() {
        let files = [path("zarr/era5_v3_sharded")];
        let read = WindFiles::read(&files, &Hints::default(), false).unwrap();
        let WindFiles::Grids { files, damaged } = read else {
            panic!("not a forecast");
        };
        assert!(damaged.is_empty());
        let archive = Archive::join_all(files, Joining::default()).unwrap();
        let netcdf = vec![open("era5_portugal_20221013_17.nc")];
        let netcdf = Archive::join_all(netcdf, Joining::default()).unwrap();
        assert_eq!(archive.levels_pa, netcdf.levels_pa);
        let [a, b] = [&archive, &netcdf].map(|a| a.cut(a.lattice.whole(), 0..12).unwrap());
        assert_eq!(a.east_m_s, b.east_m_s);
        assert_eq!(a.altitude_m, b.altitude_m);
    }

    /// A store changed in one file; what is said of it.
    fn changed(store: &str, file: &str, change: impl Fn(&str) -> Vec<u8>) -> String {
        let folder = tempfile::tempdir().unwrap();
        let to = folder.path().join("store");
        copy(&path("zarr").join(store), &to);
        let at = to.join(file);
        let before = fs::read(&at).unwrap();
        fs::write(&at, change(&String::from_utf8_lossy(&before))).unwrap();
        let file = match GridFile::open(&to) {
            Ok(file) => file,
            Err(error) => return error.to_string(),
        };
        let mut told = file.left_out.join("; ");
        for (index, slab) in file.slabs.iter().enumerate() {
            if let Err(error) = file.read(index, file.lattices[slab.lattice].whole()) {
                told = format!("{told}; {error}");
            }
        }
        told
    }

    fn copy(from: &Path, to: &Path) {
        fs::create_dir_all(to).unwrap();
        for entry in fs::read_dir(from).unwrap() {
            let entry = entry.unwrap();
            let (from, to) = (entry.path(), to.join(entry.file_name()));
            match from.is_dir() {
                true => copy(&from, &to),
                false => drop(fs::copy(from, to).unwrap()),
            }
        }
    }

    #[test]
    fn what_would_fill_the_memory_or_is_damaged_is_told() {
        let new = |from: &str, to: &str| {
            let (from, to) = (from.to_owned(), to.to_owned());
            move |text: &str| {
                assert!(text.contains(&from), "{text}");
                text.replacen(&from, &to, 1).into_bytes()
            }
        };
        let v2 =
            |change: &dyn Fn(&str) -> Vec<u8>| changed("invented_v2_zlib", "u/.zarray", change);
        let v3 =
            |change: &dyn Fn(&str) -> Vec<u8>| changed("invented_v3_shards", "u/zarr.json", change);
        let of_2 = "\"chunks\": [\n    2,";
        for (told, expected) in [
            (
                v2(&new(of_2, "\"chunks\": [\n    200000000,")),
                "chunks of more than 256 MB",
            ),
            (v2(&new(of_2, "\"chunks\": [\n    0,")), "\"u\": "),
            (
                v2(&new(
                    "\"shape\": [\n    3,",
                    "\"shape\": [\n    4000000000,",
                )),
                "whose coordinate has 3",
            ),
            (v2(&new("\"zlib\"", "\"none such\"")), "none such"),
            (v2(&new("\">f4\"", "\"<M8[ns]\"")), "\"u\": "),
            (v2(&new("{", "[")), "not JSON"),
            (v2(&new(">f4", ">f8")), "decoded chunk"),
            (
                v3(&new(
                    "        1,\n        3,\n        6",
                    "        1,\n        3000000,\n        6",
                )),
                "shards of",
            ),
            (
                v3(&new("\"regular\"", "\"rectilinear\"")),
                "a \"rectilinear\" grid",
            ),
        ] {
            assert!(told.contains(expected), "{expected}: {told}");
        }
        let cut = changed("era5_v2_blosc", "u/0.0.0.0", |_| {
            b"\x02\x01\x33\x04".to_vec()
        });
        assert!(cut.contains("blosc"), "{cut}");
        // A chunk of zeros, 100 MB of them.
        let bomb = packed::zeros(100 << 20);
        let told = changed("invented_v2_zlib", "u/0/0/0/0", |_| bomb.clone());
        assert!(told.contains("a chunk of more than"), "{told}");
    }

    #[test]
    fn an_array_alone_is_no_store() {
        for array in ["zarr/era5_v2_blosc/u", "zarr/era5_v3_sharded/u"] {
            let told = GridFile::open(&path(array)).err().unwrap().to_string();
            assert!(told.contains("a single array"), "{told}");
        }
    }

    #[test]
    fn a_store_without_chunks_or_of_groups_says_so() {
        let folder = tempfile::tempdir().unwrap();
        let to = folder.path().join("store");
        copy(&path("zarr/invented_v2_zlib"), &to);
        for name in ["u", "v", "z"] {
            fs::remove_dir_all(to.join(name).join("0")).unwrap();
            fs::remove_dir_all(to.join(name).join("1")).unwrap();
        }
        let told = GridFile::open(&to).err().unwrap().to_string();
        assert!(
            told.contains("27 of 27") || told.contains("9 of 9 levels"),
            "{told}"
        );
        fs::write(folder.path().join(".zgroup"), "{\"zarr_format\": 2}").unwrap();
        let told = GridFile::open(folder.path()).err().unwrap().to_string();
        assert!(told.contains("groups only, such as \"store\""), "{told}");
    }
}
