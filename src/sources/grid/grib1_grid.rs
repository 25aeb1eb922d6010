//! Grids of GRIB 1 other than regular latitude-longitude, which the crate does not take apart: in
//! the crate's own terms, those of GRIB 2.
//!
//! # References
//!
//! WMO-No. 306, Manual on Codes, volume I.2, FM 92-IX GRIB edition 1: section 2, octets 1 to 42,
//! code table 6 (types), code tables 7 (components) and 8 (scanning). The sphere of 6,367.47 km and
//! the ellipsoid of 1965 are the only shapes of the earth it knows.

use std::borrow::Cow;

use grib_reader::{
    GridDefinition, LambertConformalGrid, LatLonGrid, MercatorGrid, Message,
    PolarStereographicGrid, ProjectedGridCore, RegularGaussianGrid, RotatedLatLonGrid,
};

use super::grib_mended::{grid_section_1, sections};
use super::grib_reduced::full;

/// The grid of a message, whatever its edition.
pub(super) fn definition<'a>(message: &'a Message<'_>) -> Cow<'a, GridDefinition> {
    let grid = message.grid_definition();
    if message.edition() == 1
        && let GridDefinition::Unsupported(_) = grid
        && let Some(ours) = section(message).and_then(of_section)
    {
        return Cow::Owned(ours);
    }
    match full(message) {
        Some(full) => Cow::Owned(full),
        None => Cow::Borrowed(grid),
    }
}

/// The flags of resolution and components of a grid of degrees, true or rotated: octet 17 of the
/// grid section of GRIB 1, octet 55 of that of GRIB 2.
pub(super) fn component_flags(message: &Message<'_>) -> Option<u8> {
    let bytes = message.raw_bytes();
    match message.edition() {
        1 => section(message)?.get(16).copied(),
        _ => {
            let (_, start) = sections(bytes).find(|(number, _)| *number == 3)?;
            bytes.get(start + 54).copied()
        }
    }
}

fn section<'a>(message: &'a Message<'_>) -> Option<&'a [u8]> {
    let bytes = message.raw_bytes();
    bytes.get(grid_section_1(bytes)?..)
}

/// What the octets of a section say; octet n is `n - 1` here.
struct Octets<'a>(&'a [u8]);

impl Octets<'_> {
    fn at(&self, octet: usize) -> Option<u8> {
        self.0.get(octet - 1).copied()
    }

    fn two(&self, octet: usize) -> Option<u32> {
        Some(u32::from(self.at(octet)?) << 8 | u32::from(self.at(octet + 1)?))
    }

    fn three(&self, octet: usize) -> Option<u32> {
        Some(self.two(octet)? << 8 | u32::from(self.at(octet + 2)?))
    }

    /// Thousandths of a degree, the first bit a sign, as millionths.
    fn degrees(&self, octet: usize) -> Option<i32> {
        const SIGN: u32 = 1 << 23;
        let raw = self.three(octet)?;
        let micro = i32::try_from(raw & !SIGN).ok()?.checked_mul(1_000)?;
        Some(if raw & SIGN != 0 { -micro } else { micro })
    }

    /// Metres as millimetres; the largest number, which is none, where there are too many.
    fn metres(&self, octet: usize) -> Option<u32> {
        Some(self.three(octet)?.saturating_mul(1_000))
    }

    /// What is at the same place in all types.
    fn core(&self, spacing: usize) -> Option<ProjectedGridCore> {
        const OBLATE: u8 = 0x40;
        let (nx, ny, flags) = (self.two(7)?, self.two(9)?, self.at(17)?);
        Some(ProjectedGridCore {
            // Counts of 16 bits each: their product fits.
            number_of_points: nx * ny,
            // Code table 3.2 of GRIB 2: the same two.
            shape_of_earth: if flags & OBLATE != 0 { 2 } else { 0 },
            scale_factor_radius: 0,
            scaled_value_radius: 0,
            scale_factor_major_axis: 0,
            scaled_value_major_axis: 0,
            scale_factor_minor_axis: 0,
            scaled_value_minor_axis: 0,
            nx,
            ny,
            lat_first: self.degrees(11)?,
            lon_first: self.degrees(14)?,
            resolution_and_component_flags: flags,
            dx: self.metres(spacing)?,
            dy: self.metres(spacing + 3)?,
            scanning_mode: self.at(28)?,
        })
    }

    fn lat_lon(&self) -> Option<LatLonGrid> {
        Some(LatLonGrid {
            ni: self.two(7)?,
            nj: self.two(9)?,
            lat_first: self.degrees(11)?,
            lon_first: self.degrees(14)?,
            lat_last: self.degrees(18)?,
            lon_last: self.degrees(21)?,
            di: self.two(24)? * 1_000,
            dj: self.two(26)? * 1_000,
            scanning_mode: self.at(28)?,
        })
    }
}

/// The grid of a section 2; `None` when it is of a type that is not read, or cut short.
fn of_section(bytes: &[u8]) -> Option<GridDefinition> {
    let octets = Octets(bytes);
    Some(match octets.at(6)? {
        1 => GridDefinition::Mercator(MercatorGrid {
            core: octets.core(29)?,
            lat_d: octets.degrees(24)?,
            lat_last: octets.degrees(18)?,
            lon_last: octets.degrees(21)?,
            orientation_of_grid: 0,
        }),
        3 => GridDefinition::LambertConformal(LambertConformalGrid {
            core: octets.core(21)?,
            // Edition 1 has no latitude of true lengths; the first parallel is one.
            lat_d: octets.degrees(29)?,
            lon_v: octets.degrees(18)?,
            projection_center_flag: octets.at(27)?,
            latin1: octets.degrees(29)?,
            latin2: octets.degrees(32)?,
            lat_southern_pole: octets.degrees(35)?,
            lon_southern_pole: octets.degrees(38)?,
        }),
        4 => {
            let grid = octets.lat_lon()?;
            GridDefinition::RegularGaussian(RegularGaussianGrid {
                ni: grid.ni,
                nj: grid.nj,
                lat_first: grid.lat_first,
                lon_first: grid.lon_first,
                lat_last: grid.lat_last,
                lon_last: grid.lon_last,
                di: grid.di,
                number_of_parallels: octets.two(26)?,
                scanning_mode: grid.scanning_mode,
            })
        }
        5 => GridDefinition::PolarStereographic(PolarStereographicGrid {
            core: octets.core(21)?,
            // Lengths are true at 60 degrees: edition 1 has no other.
            lat_d: 60_000_000,
            lon_v: octets.degrees(18)?,
            projection_center_flag: octets.at(27)?,
        }),
        10 => GridDefinition::RotatedLatLon(RotatedLatLonGrid {
            grid: octets.lat_lon()?,
            lat_southern_pole: octets.degrees(33)?,
            // Edition 2, whose terms these are, has no sign here.
            lon_southern_pole: octets.degrees(36)?.rem_euclid(360_000_000).cast_unsigned(),
            // A number of four octets of which only 0 is taken; 1 stands for any other.
            angle_of_rotation: match bytes.get(38..42)? {
                [0 | 0x40 | 0x80, 0, 0, 0] => 0.0,
                _ => 1.0,
            },
        }),
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn signs_and_lengths() {
        let octets = Octets(&[0x80, 0x03, 0xe8, 0xff, 0xff, 0xff, 0, 0x27, 0x10]);
        assert_eq!(octets.degrees(1), Some(-1_000_000));
        assert_eq!(octets.metres(4), Some(u32::MAX));
        assert_eq!(octets.metres(7), Some(10_000_000));
        assert_eq!(octets.metres(8), None);
    }

    #[test]
    fn a_section_cut_short_is_none() {
        for kind in [1, 3, 4, 5, 10, 50, 255] {
            let mut section = vec![0; 42];
            section[5] = kind;
            let whole = of_section(&section);
            assert_eq!(whole.is_some(), kind <= 10, "{kind}");
            for length in 0..28 {
                assert!(of_section(&section[..length]).is_none(), "{kind} {length}");
            }
        }
    }
}
