//! The tiles of the Shuttle Radar Topography Mission: a degree by a degree, 16-bit heights.
//!
//! # References
//!
//! USGS, "SRTM Documentation" (SRTM_Topo.txt, 2005), section 3: names, order, voids.

use std::io::Read;
use std::path::Path;

use flate2::read::GzDecoder;

use super::raster::{Heights, Part, Raster};
use crate::error::{Error, Fault, Result};
use crate::files::{name_of, open_regular};
use crate::geodesy::lattice::{Axis, Lattice, Plane};
use crate::ground::region::Region;

/// Points along a side of tiles of one and of three arc seconds.
const SIDES: [usize; 2] = [3601, 1201];

pub(super) fn read(path: &Path, region: &Region, most: usize) -> Result<Raster> {
    let name = &name_of(path);
    let Some([lat, lon]) = corner(name) else {
        let expected = "a name that gives the south-west corner, as in N44W072.hgt";
        return Err(Fault::new(name, "a name without a corner", expected).into());
    };
    let bytes = bytes(path, name)?;
    let Some(&side) = SIDES.iter().find(|&&side| 2 * side * side == bytes.len()) else {
        let found = format!("{} bytes", bytes.len());
        let expected =
            "2,884,802 bytes (3 arc seconds) or 25,934,402 (1 arc second); is the file complete?";
        return Err(Fault::new(name, found, expected).into());
    };
    let axis = |first: f64| Axis {
        first,
        step: 1.0 / (side as f64 - 1.0),
        count: side,
    };
    let whole = Lattice {
        plane: Plane::LatLon,
        x: axis(lon),
        y: axis(lat),
    };
    let part = Part::new(name, whole, region, most)?;
    let mut heights = vec![i16::MIN; part.count()];
    for (file_row, row) in bytes.chunks_exact(2 * side).enumerate() {
        for (column, pair) in row.as_chunks::<2>().0.iter().enumerate() {
            // Files run from the north.
            let i = part.index(side - 1 - file_row, column);
            if let Some(height) = i.and_then(|i| heights.get_mut(i)) {
                // The tiles have -32768 for a void, which is missing here as well.
                *height = i16::from_be_bytes(*pair);
            }
        }
    }
    part.raster(name, Heights::Whole(heights))
}

fn bytes(path: &Path, name: &str) -> Result<Vec<u8>> {
    let refused = |cause| Error::file(path, "read", cause);
    let file = open_regular(path, "heights")?;
    // One byte more than the largest tile tells that there are too many.
    let most = 2 * SIDES[0] * SIDES[0] + 1;
    let mut bytes = Vec::new();
    if name.to_ascii_lowercase().ends_with(".gz") {
        GzDecoder::new(file)
            .take(most as u64)
            .read_to_end(&mut bytes)
    } else {
        file.take(most as u64).read_to_end(&mut bytes)
    }
    .map_err(refused)?;
    Ok(bytes)
}

/// Latitude and longitude of the south-west corner, degrees, from a name such as `N44W072.hgt`.
fn corner(name: &str) -> Option<[f64; 2]> {
    let upper = name.to_ascii_uppercase();
    let ns = upper.strip_prefix('N').map(|rest| (1.0, rest));
    let (north, rest) = ns.or_else(|| upper.strip_prefix('S').map(|rest| (-1.0, rest)))?;
    // By `get`: a name may have letters of several bytes.
    let (lat, rest) = (rest.get(..2)?, rest.get(2..)?);
    let ew = rest.strip_prefix('E').map(|rest| (1.0, rest));
    let (east, rest) = ew.or_else(|| rest.strip_prefix('W').map(|rest| (-1.0, rest)))?;
    let (lat, lon) = (lat.parse::<u8>().ok()?, rest.get(..3)?.parse::<u8>().ok()?);
    (lat <= 90 && lon <= 180).then(|| [north * f64::from(lat), east * f64::from(lon)])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_give_corners() {
        assert_eq!(corner("N44W072.hgt"), Some([44.0, -72.0]));
        assert_eq!(corner("s01e179.SRTMGL1.hgt"), Some([-1.0, 179.0]));
        for name in [
            "",
            "N",
            "N4",
            "44W072.hgt",
            "N44072.hgt",
            "N95W072.hgt",
            "N44W9é9",
        ] {
            assert_eq!(corner(name), None, "{name}");
        }
    }
}
