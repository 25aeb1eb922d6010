//! A data set of the CF conventions: variables along named dimensions, in a NetCDF file or a Zarr store.
//!
//! What the variables mean is read the same way whatever keeps their values.

use ndarray::ArrayD;
use netcdf_reader::{NcFile, NcSliceInfo, NcSliceInfoElem, NcVariable};

use super::left_out::LeftOut;
#[cfg(feature = "zarr")]
use super::zarr::{Place, Store};
#[cfg(feature = "zarr")]
use crate::error::Result;

/// Where the variables are.
pub(super) enum DataSet {
    NetCdf(NcFile),
    #[cfg(feature = "zarr")]
    Zarr(Store),
}

/// A data set, and what of it cannot be read.
pub(super) type Opened = (DataSet, LeftOut);

/// That of a Zarr store.
#[cfg(feature = "zarr")]
pub(super) fn of_store(name: &str, place: Place) -> Result<Opened> {
    let (store, left_out) = Store::open(name, place)?;
    Ok((DataSet::Zarr(store), left_out))
}

/// Values, missing ones not-a-number, with scale and offset applied; or what is wrong with them.
type Values = std::result::Result<ArrayD<f64>, String>;

impl DataSet {
    /// All variables, with their dimensions and attributes.
    pub fn variables(&self) -> &[NcVariable] {
        match self {
            DataSet::NetCdf(file) => file.variables().unwrap_or_default(),
            #[cfg(feature = "zarr")]
            DataSet::Zarr(store) => store.variables(),
        }
    }

    /// All values of a variable that is a coordinate.
    pub fn coordinate(&self, name: &str) -> Values {
        match self {
            DataSet::NetCdf(file) => file
                .read_variable_unpacked_masked(name)
                .map_err(|cause| cause.to_string()),
            #[cfg(feature = "zarr")]
            DataSet::Zarr(store) => store.coordinate(name),
        }
    }

    /// A part of a variable: along each dimension one index, or some in steps of one.
    pub fn part(&self, name: &str, selections: Vec<NcSliceInfoElem>) -> Values {
        match self {
            DataSet::NetCdf(file) => file
                .read_variable_slice_unpacked_masked(name, &NcSliceInfo { selections })
                .map_err(|cause| cause.to_string()),
            #[cfg(feature = "zarr")]
            DataSet::Zarr(store) => store.part(name, &selections),
        }
    }

    /// How many pieces of this part are stored, and of how many: a store may lack some of its chunks.
    #[cfg_attr(not(feature = "zarr"), expect(unused_variables))]
    pub fn stored(
        &self,
        name: &str,
        selections: &[NcSliceInfoElem],
    ) -> std::result::Result<[usize; 2], String> {
        match self {
            // A NetCDF file has all of its values, be they fill values.
            DataSet::NetCdf(_) => Ok([1, 1]),
            #[cfg(feature = "zarr")]
            DataSet::Zarr(store) => store.stored(name, selections),
        }
    }
}
