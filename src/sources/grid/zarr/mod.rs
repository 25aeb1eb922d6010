//! Zarr stores of version 2 and 3: folders in which every variable is an array, cut into chunks.
//!
//! They keep the same data sets as NetCDF, with the same attributes; dimensions have names in version 3
//! and in the attribute `_ARRAY_DIMENSIONS` of version 2. The crate `zarrs` knows metadata and codecs;
//! what they may make us allocate is looked at before.
//!
//! # References
//!
//! Zarr core specification, version 3; Zarr storage specification, version 2. How xarray keeps
//! dimensions and fill values in them is read from stores that it wrote.

#![allow(
    clippy::cast_possible_truncation,
    reason = "sizes are bounded when an array is opened, far below what usize holds"
)]

#[cfg(feature = "buckets")]
pub(super) mod bucket;
mod chunks;
mod metadata;
mod packing;
mod place;

use std::fs;
use std::path::Path;
use std::sync::Arc;

use ndarray::ArrayD;
use netcdf_reader::{NcSliceInfoElem, NcVariable};

use self::chunks::Chunked;
pub(super) use self::place::Place;
use super::left_out::LeftOut;
use crate::error::{Error, Fault, Result};

/// The most arrays in a store.
const MOST_ARRAYS: usize = 2_000;

/// An opened store: its metadata is read, no chunk.
pub(super) struct Store {
    variables: Vec<NcVariable>,
    /// Where each variable's values are.
    arrays: Vec<Chunked>,
}

impl Store {
    /// Opens a store, with what cannot be read in it.
    pub fn open(name: &str, place: Place) -> Result<(Store, LeftOut)> {
        if let metadata::Kind::Array { .. } = metadata::kind(&place, "") {
            let expected = "the folder of the whole store, which holds this one";
            return Err(Fault::new(name, "a single array of a Zarr store", expected).into());
        }
        let folders = match &place {
            Place::Folder(path, _) => folders(name, path)?,
            #[cfg(feature = "buckets")]
            Place::Bucket(bucket) => bucket.names(name)?,
        };
        let place = Arc::new(place);
        let (mut variables, mut arrays) = (Vec::new(), Vec::new());
        let (mut left_out, mut groups) = (LeftOut::default(), Vec::new());
        for folder in folders {
            let opened = match metadata::kind(&place, &folder) {
                metadata::Kind::Neither => continue,
                metadata::Kind::Group => {
                    groups.push(folder);
                    continue;
                }
                metadata::Kind::Refused(why) => Err(why),
                metadata::Kind::Array { packing } => Chunked::open(&place, &folder, packing),
            };
            match opened {
                Ok((variable, array)) => {
                    variables.push(variable);
                    arrays.push(array);
                }
                Err(why) => left_out.count(format!("\"{folder}\": {why}")),
            }
        }
        if let (true, Some(group)) = (variables.is_empty(), groups.first()) {
            let found = format!("a Zarr store with groups only, such as \"{group}\"");
            let expected = format!("the folder of the group with the winds, as in {name}/{group}");
            return Err(Fault::new(name, found, expected).into());
        }
        Ok((Store { variables, arrays }, left_out))
    }

    pub fn variables(&self) -> &[NcVariable] {
        &self.variables
    }

    fn array(&self, name: &str) -> std::result::Result<&Chunked, String> {
        let at = self.variables.iter().position(|v| v.name() == name);
        at.map(|at| &self.arrays[at])
            .ok_or_else(|| "no such array".to_owned())
    }

    pub fn coordinate(&self, name: &str) -> std::result::Result<ArrayD<f64>, String> {
        self.array(name)?.all()
    }

    pub fn part(
        &self,
        name: &str,
        selections: &[NcSliceInfoElem],
    ) -> std::result::Result<ArrayD<f64>, String> {
        self.array(name)?.part(selections)
    }

    pub fn stored(
        &self,
        name: &str,
        selections: &[NcSliceInfoElem],
    ) -> std::result::Result<[usize; 2], String> {
        self.array(name)?.stored(selections)
    }
}

/// The folders in a store, in the order of their names.
fn folders(name: &str, path: &Path) -> Result<Vec<String>> {
    let failed = |cause| Error::file(path, "read", cause);
    let mut folders = Vec::new();
    for entry in fs::read_dir(path).map_err(failed)? {
        let entry = entry.map_err(failed)?;
        let Ok(folder) = entry.file_name().into_string() else {
            continue;
        };
        if folder.starts_with('.') || !entry.path().is_dir() {
            continue;
        }
        if folders.len() == MOST_ARRAYS {
            return Err(too_many(name));
        }
        folders.push(folder);
    }
    // Systems list them in any order, and the order of variables is seen in what is told.
    folders.sort();
    Ok(folders)
}

fn too_many(name: &str) -> Error {
    let found = format!("more than {MOST_ARRAYS} folders in a Zarr store");
    Fault::new(name, found, "some dozens, one a variable").into()
}
