//! Copies of messages in a form that the crate unpacks, where the file's own is not.
//!
//! Five forms need it. Fields whose points follow each other along columns: the same values are
//! unpacked when they are said to run along rows. And images in PNG whose samples are wider than
//! the width the message gives, which the most used writer makes of all but whole bytes: the width
//! is that of the image. Images in JPEG 2000 (see `grib_jpeg`). Grids of GRIB 1 other than of
//! latitudes and longitudes: the values do not depend on where the points are, so they are unpacked
//! as on one. And longitudes that go on beyond 360 degrees, which some centres write.
//!
//! # References
//!
//! WMO-No. 306, Manual on Codes, volume I.2: grid definition templates, data representation
//! template 5.41. PNG (W3C Recommendation, third edition), sections 5.2 and 11.2.1: signature and
//! image header.

use std::borrow::Cow;

use grib_reader::{DataRepresentation, GridDefinition, Message};

use super::grib_jpeg::unpacked;
use super::grib_lattice::Scan;

/// A copy that can be unpacked; `None` when the message itself can.
///
/// # Errors
///
/// What is wrong with an image in JPEG 2000, in words.
pub(super) fn mended(message: &Message<'_>, scan: Scan) -> Result<Option<Vec<u8>>, String> {
    let representation = &message.metadata().data_representation;
    let jpeg = matches!(representation, DataRepresentation::Jpeg2000Packing(_));
    let image = match representation {
        DataRepresentation::PngPacking(png) => {
            // The widths the crate takes; 0 is a field of one value.
            !matches!(png.packing.bits_per_value, 0 | 1 | 2 | 4 | 8 | 16 | 24 | 32)
        }
        _ => false,
    };
    let foreign = message.edition() == 1
        && matches!(message.grid_definition(), GridDefinition::Unsupported(_));
    if !image && !jpeg && !foreign && !scan.by_columns() {
        return Ok(None);
    }
    let mut bytes = match jpeg {
        true => unpacked(
            message.raw_bytes(),
            message.metadata().field_index_in_message,
        )?,
        false => message.raw_bytes().to_vec(),
    };
    if foreign {
        make_lat_lon(&mut bytes);
    }
    if scan.by_columns() {
        turn(&mut bytes, message.edition());
    }
    if image {
        widen(&mut bytes);
    }
    Ok(Some(bytes))
}

/// Number and offset of each section of a GRIB 2 message.
pub(super) fn sections(message: &[u8]) -> impl Iterator<Item = (u8, usize)> {
    // Behind section 0, which has no number of its own.
    let mut at = 16;
    std::iter::from_fn(move || {
        let start = at;
        let &[a, b, c, d, number] = message.get(start..)?.first_chunk()?;
        let length = u32::from_be_bytes([a, b, c, d]) as usize;
        // A section that is shorter than its own heading would be found again and again.
        if length < 5 || [a, b, c, d] == *b"7777" {
            return None;
        }
        at = start.checked_add(length)?;
        Some((number, start))
    })
}

/// Where the grid section of a GRIB 1 message begins, if it has one.
pub(super) fn grid_section_1(message: &[u8]) -> Option<usize> {
    const HAS_GRID: u8 = 0x80;
    let &[a, b, c, _, _, _, _, flags] = message.get(8..)?.first_chunk()?;
    let length = u32::from_be_bytes([0, a, b, c]) as usize;
    (flags & HAS_GRID != 0).then_some(8 + length)
}

/// Says of a GRIB 1 grid that it is of latitudes and longitudes, all of them 0: counts and scanning
/// stand at the same octets in all types.
fn make_lat_lon(message: &mut [u8]) {
    // Octets 6 to 27: the next is the scanning mode, which stays.
    let section = grid_section_1(message).and_then(|start| message.get_mut(start + 5..start + 27));
    if let Some([kind, _, _, _, _, places @ ..]) = section {
        *kind = 0;
        places.fill(0);
    }
}

/// The message with its first and last longitude (GRIB 2, grids of degrees) within 360 degrees.
pub(super) fn within_circle(message: &[u8]) -> Cow<'_, [u8]> {
    const CIRCLE: u32 = 360_000_000;
    const NEGATIVE: u32 = 1 << 31;
    let mut copy = Cow::Borrowed(message);
    if message.get(7) != Some(&2) {
        return copy;
    }
    for (number, start) in sections(message) {
        if number != 3 || !matches!(message.get(start + 12..start + 14), Some([0, 0 | 1 | 40])) {
            continue;
        }
        for at in [start + 50, start + 59] {
            let Some(&[a, b, c, d]) = message.get(at..at + 4) else {
                continue;
            };
            let micro = u32::from_be_bytes([a, b, c, d]);
            // Up to one turn more is a way of writing; beyond that it is damage.
            if (CIRCLE + 1..=2 * CIRCLE).contains(&micro)
                && micro & NEGATIVE == 0
                && let Some(written) = copy.to_mut().get_mut(at..at + 4)
            {
                written.copy_from_slice(&(micro - CIRCLE).to_be_bytes());
            }
        }
    }
    copy
}

/// Says of each grid that runs along columns that it runs along rows, as many as it has columns.
fn turn(message: &mut [u8], edition: u8) {
    if edition == 1 {
        if let Some(grid) = grid_section_1(message) {
            turn_grid(message, grid, [6, 8], 2, 27);
        }
        return;
    }
    let grids: Vec<usize> = sections(message)
        .filter_map(|(number, start)| (number == 3).then_some(start))
        .collect();
    for start in grids {
        // Where the scanning mode is, which differs from template to template.
        let scan = match message.get(start + 13) {
            Some(0 | 1 | 40) => 71,
            Some(10) => 59,
            _ => 64,
        };
        turn_grid(message, start, [30, 34], 4, scan);
    }
}

/// Exchanges the counts of columns and rows, each `width` bytes, of a grid section, and clears the
/// flag for points that follow each other along columns.
fn turn_grid(message: &mut [u8], start: usize, counts: [usize; 2], width: usize, scan: usize) {
    const BY_COLUMNS: u8 = 0x20;
    let Some(section) = message.get_mut(start..) else {
        return;
    };
    // Behind the counts, so these are there as well.
    match section.get_mut(scan) {
        Some(flags) if *flags & BY_COLUMNS != 0 => *flags &= !BY_COLUMNS,
        _ => return,
    }
    for k in 0..width {
        section.swap(counts[0] + k, counts[1] + k);
    }
}

/// Gives each field packed as PNG the width of its image's samples.
fn widen(message: &mut [u8]) {
    let all: Vec<(u8, usize)> = sections(message).collect();
    let mut packing = None;
    for (number, start) in all {
        match number {
            5 => packing = Some(start),
            7 => {
                if let Some((packing, width)) =
                    packing.zip(image_width(message.get(start..).unwrap_or_default()))
                    && message.get(packing + 9..packing + 11) == Some(&[0, 41])
                    && let Some(bits) = message.get_mut(packing + 19)
                    && *bits != 0
                {
                    *bits = width;
                }
            }
            _ => {}
        }
    }
}

/// Bits of one point of the PNG image in a data section.
fn image_width(section: &[u8]) -> Option<u8> {
    let image = section.get(5..)?;
    if !image.starts_with(b"\x89PNG\r\n\x1a\n") {
        return None;
    }
    let (depth, colour) = (*image.get(24)?, *image.get(25)?);
    let samples = match colour {
        0 => 1,
        2 => 3,
        6 => 4,
        _ => return None,
    };
    depth.checked_mul(samples)
}
