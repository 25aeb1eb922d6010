//! Forecast and reanalysis grids: what a file holds, and single slabs of it.
//!
//! GRIB 1 and 2, NetCDF 3 and 4, Zarr 2 and 3. Opening a file reads its catalogue only; a slab is decoded when it
//! is asked for.

#![allow(
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "files, lattices, slabs and steps are numbered by ourselves"
)]

mod above;
pub mod archive;
mod cut;
mod data_set;
mod derived;
mod ensemble;
mod framing;
mod grib;
mod grib1_grid;
mod grib_jpeg;
mod grib_lattice;
mod grib_mended;
mod grib_reduced;
pub mod kept;
mod left_out;
mod longitudes;
pub(super) mod netcdf;
mod netcdf_axes;
mod netcdf_beside;
mod netcdf_fitted;
mod netcdf_grid;
mod netcdf_mapping;
pub(super) mod netcdf_meaning;
mod netcdf_names;
pub(super) mod netcdf_time;
mod parameter;
mod profile;
mod reckoned;
#[cfg(feature = "zarr")]
mod zarr;

use std::collections::BTreeSet;
use std::fs::File;
use std::io::Read;
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use jiff::Timestamp;
use ndarray::Array2;

use crate::error::{Error, Fault, Result};
use crate::files::http::Patience;
use crate::files::{guarded, is_url, shown};
use crate::geodesy::lattice::{Lattice, Window};
use crate::notes::reading::Reading;
use crate::wind::slab::Slab;
use derived::{SpeedAndDirection, add_components, component};
use left_out::LeftOut;

/// How many bytes at the start of a file say what it is. A GRIB message may stand behind the
/// heading of a bulletin.
const FIRST_BYTES: usize = 1024;

/// What a file was to be, for messages.
const FORMAT: &str = "a forecast in GRIB, NetCDF or Zarr";

/// What begins the advice in reasons why fields are left out, where there is any.
const WAY_OUT: &str = "(ask for ";

/// Why fields on a model's own levels are left out.
const MODEL_LEVELS: &str = "on a model's own levels (ask for pressure levels)";

/// The most points a grid may have: 5 km over the whole earth are 32 million.
const MOST_POINTS: usize = 50_000_000;

/// An opened file: its catalogue is read, nothing is decoded.
pub struct GridFile {
    /// The file as the user named it.
    pub name: String,
    /// The grids in it.
    pub lattices: Vec<Lattice>,
    /// What it holds that a flight can use, in the order of the file.
    pub slabs: Vec<Slab>,
    /// What it holds besides, counted in words.
    pub left_out: Vec<String>,
    /// What was assumed in reading it.
    pub assumed: Vec<Reading>,
    source: Source,
    /// How many values were decoded so far.
    decoded: AtomicU64,
    /// What the last slabs come from, two each, which the file gives as speed and direction.
    derived: Vec<SpeedAndDirection>,
}

/// Where the values of a slab are: one entry for each slab.
enum Source {
    Grib(grib::Fields),
    NetCdf(netcdf::Variables),
}

/// Hours that are asked for, the first and the last; `None` for all.
type Hours = Option<[Timestamp; 2]>;

/// What a reader finds in a file.
#[derive(Default)]
struct Catalogue {
    hours: Hours,
    lattices: Vec<Lattice>,
    slabs: Vec<Slab>,
    left_out: LeftOut,
    assumed: Vec<Reading>,
}

impl Catalogue {
    /// Something that is assumed, told once.
    fn assume(&mut self, what: Reading) {
        if !self.assumed.contains(&what) {
            self.assumed.push(what);
        }
    }

    /// The number of a lattice among the file's.
    fn lattice(&mut self, lattice: Lattice) -> usize {
        match self.lattices.iter().position(|l| *l == lattice) {
            Some(i) => i,
            None => {
                self.lattices.push(lattice);
                self.lattices.len() - 1
            }
        }
    }

    fn finish(mut self, name: &str, source: Source, of: [&str; 2]) -> Result<GridFile> {
        let left_out = self.left_out.words(of);
        if self.slabs.is_empty() {
            let found = match left_out.as_slice() {
                [] => "a file without fields".to_owned(),
                _ => format!("only {}", left_out.join("; ")),
            };
            let expected = "winds, heights or temperatures on levels of pressure at points in \
                            time, on a regular or rotated latitude-longitude, Gaussian, Mercator, \
                            polar stereographic or Lambert conformal grid; where you choose what \
                            to get, ask for pressure levels on a regular latitude-longitude grid";
            let or_sounding = match source {
                Source::Grib(_) => "",
                Source::NetCdf(_) => {
                    "; or, for a sounding, wind with height or pressure along one dimension, each \
                     with its units"
                }
            };
            return Err(Fault::new(name, found, format!("{expected}{or_sounding}")).into());
        }
        let derived = add_components(&mut self.slabs);
        Ok(GridFile {
            name: name.to_owned(),
            lattices: self.lattices,
            slabs: self.slabs,
            left_out,
            assumed: self.assumed,
            source,
            decoded: AtomicU64::new(0),
            derived,
        })
    }
}

/// What the first bytes of a file say it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Grib,
    NetCdf,
}

fn kind(first_bytes: &[u8]) -> Option<Kind> {
    // NetCDF 4 is kept in HDF5.
    let hdf5 = first_bytes.starts_with(b"\x89HDF\r\n\x1a\n");
    let classic = matches!(first_bytes, [b'C', b'D', b'F', 1 | 2 | 5, ..]);
    if hdf5 || classic {
        return Some(Kind::NetCdf);
    }
    let near_start = first_bytes.get(..FIRST_BYTES).unwrap_or(first_bytes);
    let grib = near_start
        .windows(8)
        // With the edition, octet 8 of both: the word alone may stand in any text.
        .any(|w| matches!(w, [b'G', b'R', b'I', b'B', _, _, _, 1 | 2]));
    grib.then_some(Kind::Grib)
}

/// The kind of a file's first bytes, or what is wrong with them.
fn known_kind(name: &str, first_bytes: &[u8]) -> Result<Kind> {
    kind(first_bytes).ok_or_else(|| {
        let expected = "a forecast in GRIB (edition 1 or 2) or NetCDF (3 or 4)";
        Fault::new(name, "a file that is neither", expected).into()
    })
}

/// Which hours of a store are listed.
#[derive(Clone, Copy)]
enum Listed {
    /// All of them; where these are too many, those within.
    All(Hours),
    /// Those within.
    Within([Timestamp; 2]),
}

#[cfg(feature = "buckets")]
fn at_address(name: &str, path: &Path, patience: Patience) -> Result<data_set::Opened> {
    let bucket = zarr::bucket::Bucket::open(&path.to_string_lossy(), patience)?;
    data_set::of_store(name, zarr::Place::Bucket(bucket))
}

#[cfg(not(feature = "buckets"))]
fn at_address(name: &str, _: &Path, _: Patience) -> Result<data_set::Opened> {
    let found = "an address on the network";
    let expected = "a file: `windfall fetch` downloads forecasts. Zarr stores at addresses are read by a build \
                    with `cargo install --path . --features buckets`";
    Err(Fault::new(name, found, expected).into())
}

#[cfg(feature = "zarr")]
fn in_folder(name: &str, path: &Path) -> Result<data_set::Opened> {
    let place = zarr::Place::of_folder(path)
        .map_err(|cause| Fault::new(name, cause, "a folder that is a Zarr store"))?;
    data_set::of_store(name, place)
}

#[cfg(not(feature = "zarr"))]
fn in_folder(name: &str, _: &Path) -> Result<data_set::Opened> {
    let found = "a Zarr store, which this build of Windfall does not read";
    let expected =
        "the same as NetCDF or GRIB; or build it with `cargo install --path . --features zarr`";
    Err(Fault::new(name, found, expected).into())
}

/// How long a server with a store is waited for.
fn patience() -> Patience {
    Patience {
        // Many chunks may be asked for, each as often.
        longest: Duration::from_secs(60),
        ..Patience::default()
    }
}

/// The data set of a store, in a folder or at an address.
fn store(name: &str, path: &Path, patience: Patience) -> Result<data_set::Opened> {
    match is_url(path) {
        true => at_address(name, path, patience),
        false => in_folder(name, path),
    }
}

fn of_store(name: &str, path: &Path, listed: Listed, patience: Patience) -> Result<GridFile> {
    let (file, left_out) = store(name, path, patience)?;
    let hours = match listed {
        Listed::Within(hours) => Some(hours),
        Listed::All(near) => near.filter(|_| netcdf::is_long(&file)),
    };
    netcdf::catalogue(name, file, hours, left_out)
}

/// How many bytes of stores at addresses came over the network since the program began.
pub fn bytes_fetched() -> u64 {
    #[cfg(feature = "buckets")]
    return zarr::bucket::bytes_fetched();
    #[cfg(not(feature = "buckets"))]
    0
}

/// Whether a store at an address did not answer, which may be another time.
pub fn may_answer_later() -> bool {
    #[cfg(feature = "buckets")]
    return zarr::bucket::may_answer_later();
    #[cfg(not(feature = "buckets"))]
    false
}

impl GridFile {
    /// How many bytes [`GridFile::looks_like`] needs to see.
    pub const FIRST_BYTES: u64 = FIRST_BYTES as u64;

    /// Whether the first bytes of a file are those of a GRIB or NetCDF file.
    pub fn looks_like(first_bytes: &[u8]) -> bool {
        kind(first_bytes).is_some()
    }

    /// Whether the first bytes of a file are those of a NetCDF file.
    pub fn is_netcdf(first_bytes: &[u8]) -> bool {
        kind(first_bytes) == Some(Kind::NetCdf)
    }

    /// Whether a path is that of a Zarr store, which is a folder, or an address on the network, where nothing
    /// else is read.
    pub fn is_store(path: &Path) -> bool {
        if is_url(path) {
            return true;
        }
        let has = |name: &&str| path.join(name).is_file();
        let marks = ["zarr.json", ".zgroup", ".zmetadata", ".zarray"];
        path.is_dir() && marks.iter().any(has)
    }

    /// Opens a file, or the folder or the address of a Zarr store, and reads its catalogue. Large GRIB files
    /// are mapped into memory, not read. An address is read from the network, in a build with the feature
    /// `buckets`.
    ///
    /// # Errors
    ///
    /// The file cannot be read, is neither GRIB nor NetCDF nor Zarr, is damaged or cut short, or holds
    /// nothing that is of use; a Zarr store, where Windfall is built without the feature `zarr`.
    pub fn open(path: &Path) -> Result<GridFile> {
        GridFile::open_near(path, None)
    }

    /// The same with slabs of some hours only, the first and the last: of a NetCDF file or Zarr store of
    /// many years the list of all would fill the memory. Of GRIB all are listed.
    ///
    /// # Errors
    ///
    /// As [`GridFile::open`]; and when there is nothing for those hours.
    pub fn open_hours(path: &Path, hours: [Timestamp; 2]) -> Result<GridFile> {
        GridFile::opened(path, Listed::Within(hours), patience())
    }

    /// Opens a file or store; of a store with very many times only those near some hours.
    ///
    /// # Errors
    ///
    /// As [`GridFile::open`].
    pub fn open_near(path: &Path, near: Option<[Timestamp; 2]>) -> Result<GridFile> {
        GridFile::opened(path, Listed::All(near), patience())
    }

    /// Opens a Zarr store at an address with other patience than usual.
    ///
    /// # Errors
    ///
    /// As [`GridFile::open`].
    pub fn open_address(address: &str, patience: Patience) -> Result<GridFile> {
        GridFile::opened(Path::new(address), Listed::All(None), patience)
    }

    /// The times of a store that has so many of them that it is to be opened some hours at a time; `None`
    /// for any other.
    ///
    /// # Errors
    ///
    /// As [`GridFile::open`].
    pub fn many_times(path: &Path) -> Result<Option<BTreeSet<Timestamp>>> {
        if !GridFile::is_store(path) {
            return Ok(None);
        }
        let name = shown(path);
        guarded(&name, FORMAT, || {
            let (file, _) = store(&name, path, patience())?;
            let many = netcdf::is_long(&file).then(|| netcdf::times(&name, &file));
            many.transpose()
        })
    }

    fn opened(path: &Path, listed: Listed, patience: Patience) -> Result<GridFile> {
        let name = shown(path);
        if GridFile::is_store(path) {
            return guarded(&name, FORMAT, || of_store(&name, path, listed, patience));
        }
        let hours = match listed {
            Listed::Within(hours) => Some(hours),
            Listed::All(_) => None,
        };
        let no_file = |cause| Error::file(path, "read", cause);
        let mut first = Vec::new();
        File::open(path)
            .and_then(|file| file.take(FIRST_BYTES as u64).read_to_end(&mut first))
            .map_err(no_file)?;
        match known_kind(&name, &first)? {
            Kind::Grib => guarded(&name, FORMAT, || {
                grib::catalogue(&name, framing::open(&name, path)?)
            }),
            Kind::NetCdf => guarded(&name, FORMAT, || {
                netcdf::catalogue(&name, netcdf::open(&name, path)?, hours, LeftOut::default())
            }),
        }
    }

    /// Opens what was read already.
    ///
    /// # Errors
    ///
    /// As [`GridFile::open`].
    pub fn from_bytes(name: &str, bytes: Vec<u8>) -> Result<GridFile> {
        match known_kind(name, &bytes)? {
            Kind::Grib => guarded(name, FORMAT, || {
                grib::catalogue(name, framing::from_bytes(name, bytes)?)
            }),
            Kind::NetCdf => guarded(name, FORMAT, || {
                netcdf::catalogue(
                    name,
                    netcdf::from_bytes(name, bytes)?,
                    None,
                    LeftOut::default(),
                )
            }),
        }
    }

    /// Whether it holds the mean of an ensemble, and none of its members.
    fn is_mean(&self) -> bool {
        match &self.source {
            Source::Grib(fields) => fields.is_mean(),
            Source::NetCdf(variables) => variables.is_mean(),
        }
    }

    /// How many values were decoded from it so far.
    pub fn values_decoded(&self) -> u64 {
        self.decoded.load(Ordering::Relaxed)
    }

    /// What slab `index` is called in the file, for messages: `message 12`, `variable u`.
    pub(super) fn label(&self, index: usize) -> String {
        let index = self.derived_from(index).map_or(index, |pair| pair.speed);
        match &self.source {
            Source::Grib(fields) => fields.label(index),
            Source::NetCdf(variables) => variables.label(index),
        }
    }

    /// The speed and direction that a slab comes from, if it does.
    fn derived_from(&self, index: usize) -> Option<SpeedAndDirection> {
        // They were added last, two for each pair.
        let first = self.slabs.len() - 2 * self.derived.len();
        self.derived.get(index.checked_sub(first)? / 2).copied()
    }

    /// The values of slab `index` over a window of its lattice: rows from south to north, columns
    /// from west to east, in the units of [`Slab::quantity`], NaN where missing.
    ///
    /// Winds are as in the file: where [`Slab::along_grid`] says so they still have to be turned.
    /// May be called from several threads at once.
    ///
    /// # Errors
    ///
    /// There is no such slab or window, or the file is damaged there.
    pub fn read(&self, index: usize, window: Window) -> Result<Array2<f32>> {
        let slab = self.slabs.get(index).ok_or_else(|| {
            let expected = format!("a slab below {}", self.slabs.len());
            Fault::new(&self.name, format!("no slab {index}"), expected)
        })?;
        let lattice = &self.lattices[slab.lattice];
        if !lattice.holds(window) {
            let found = format!(
                "a window of {} by {} points from row {}, column {}",
                window.rows, window.columns, window.row, window.column
            );
            let expected = format!("one within {} by {}", lattice.y.count, lattice.x.count);
            return Err(Fault::new(&self.name, found, expected).into());
        }
        if let Some(pair) = self.derived_from(index) {
            let (speed, from) = (
                self.read(pair.speed, window)?,
                self.read(pair.from, window)?,
            );
            return Ok(component(slab.quantity, &speed, &from));
        }
        let values = (window.rows * window.columns) as u64;
        self.decoded.fetch_add(values, Ordering::Relaxed);
        guarded(&self.name, FORMAT, || match &self.source {
            Source::Grib(fields) => fields.read(&self.name, index, lattice, window),
            Source::NetCdf(variables) => variables.read(&self.name, index, lattice, window),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_are_known_by_their_first_bytes() {
        assert!(GridFile::looks_like(b"GRIB\0\0\0\x02rest"));
        assert!(GridFile::looks_like(
            b"\x01\r\r\n123 \r\r\nHTEN88 ECMF 011200\r\r\nGRIB\0\0\x54\x01"
        ));
        assert!(GridFile::looks_like(b"CDF\x01"));
        assert!(GridFile::looks_like(b"CDF\x05...."));
        assert!(GridFile::looks_like(b"\x89HDF\r\n\x1a\n"));
        assert!(!GridFile::looks_like(b"CDF\x03"));
        assert!(!GridFile::looks_like(b"GRIB is a format of the WMO"));
        assert!(!GridFile::looks_like(b"pressure,height"));
        assert!(!GridFile::looks_like(b""));
    }

    #[test]
    fn what_is_no_grid_is_refused() {
        let message = GridFile::from_bytes("a.bin", b"hello".to_vec())
            .err()
            .unwrap()
            .to_string();
        assert!(
            message.contains("neither") && message.contains("a.bin"),
            "{message}"
        );
    }

    #[test]
    fn a_panic_becomes_an_error() {
        let result: Result<()> =
            guarded("a.grib", FORMAT, || panic!("a surprise, as it should be"));
        assert!(result.unwrap_err().to_string().contains("damaged"));
    }

    #[test]
    fn a_file_serves_several_threads() {
        fn needs_sync<T: Sync + Send>() {}
        needs_sync::<GridFile>();
    }
}
