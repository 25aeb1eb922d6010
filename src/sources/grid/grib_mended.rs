//! Copies of messages in a form that the crate unpacks, where the file's own is not.
//!
//! Three forms need it. Fields whose points follow each other along columns: the same values are
//! unpacked when they are said to run along rows. And images in PNG whose samples are wider than
//! the width the message gives, which the most used writer makes of all but whole bytes: the width
//! is that of the image. And images in JPEG 2000 (see `grib_jpeg`).
//!
//! # References
//!
//! WMO-No. 306, Manual on Codes, volume I.2: grid definition templates, data representation
//! template 5.41. PNG (W3C Recommendation, third edition), sections 5.2 and 11.2.1: signature and
//! image header.

use grib_reader::{DataRepresentation, Message};

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
    if !image && !jpeg && !scan.by_columns() {
        return Ok(None);
    }
    let mut bytes = match jpeg {
        true => unpacked(
            message.raw_bytes(),
            message.metadata().field_index_in_message,
        )?,
        false => message.raw_bytes().to_vec(),
    };
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
    let mut at = 16;
    std::iter::from_fn(move || {
        let start = at;
        let head = message.get(start..start + 5)?;
        let length = u32::from_be_bytes([head[0], head[1], head[2], head[3]]) as usize;
        if length < 5 || head.starts_with(b"7777") {
            return None;
        }
        at = start.checked_add(length)?;
        Some((head[4], start))
    })
}

/// Says of each grid that runs along columns that it runs along rows, as many as it has columns.
fn turn(message: &mut [u8], edition: u8) {
    if edition == 1 {
        let Some(length) = message.get(9..11) else {
            return;
        };
        let grid = 8 + (usize::from(length[0]) << 8 | usize::from(length[1]));
        turn_grid(message, grid, [6, 8], 2, 27);
        return;
    }
    let grids: Vec<usize> = sections(message)
        .filter_map(|(number, start)| (number == 3).then_some(start))
        .collect();
    for start in grids {
        let scan = match message.get(start + 13) {
            Some(0) => 71,
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
    if section.len() <= scan || section[scan] & BY_COLUMNS == 0 {
        return;
    }
    section[scan] &= !BY_COLUMNS;
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
                if let Some((packing, width)) = packing.zip(image_width(&message[start..]))
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
