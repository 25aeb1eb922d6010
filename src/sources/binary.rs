//! Soundings that are no texts, known by their first bytes.

use std::path::Path;

use super::clean::clean;
use super::grid::GridFile;
use super::{bufr, keep_usable, netcdf_sounding};
use crate::error::Result;
use crate::wind::sounding::Sounding;

/// Whether a file that begins with these bytes is a sounding, though it begins as a forecast may.
pub fn is_sounding(path: &Path, first_bytes: &[u8]) -> bool {
    GridFile::is_netcdf(first_bytes) && netcdf_sounding::is_one(path)
}

/// Whether bytes are a sounding, though they begin as a forecast may.
pub fn is_sounding_in(bytes: &[u8]) -> bool {
    GridFile::is_netcdf(bytes) && netcdf_sounding::is_one_in(bytes)
}

/// The ascents in a file's bytes; `None` where they are neither NetCDF nor BUFR.
pub(super) fn read(name: &str, bytes: &[u8]) -> Option<Result<Vec<Sounding>>> {
    let ascents = if GridFile::is_netcdf(bytes) {
        netcdf_sounding::read(name, bytes).map(|ascent| vec![Ok(ascent)])
    } else if bufr::looks_like(bytes) {
        bufr::read(name, bytes)
    } else {
        return None;
    };
    Some(ascents.and_then(|all| {
        let clean = |ascent: Result<_>| ascent.and_then(clean);
        keep_usable(name, all.into_iter().map(clean).collect())
    }))
}
