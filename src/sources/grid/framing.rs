//! The messages of a GRIB file, each with its number.
//!
//! The crate opens a file whole or not at all. When it will not, the file is taken message by
//! message: those on grids or in packings that are not read are left out, and anything else is a
//! fault of the message whose number is then known.

use std::iter::repeat_n;
use std::path::Path;

use grib_reader::indicator::Indicator;
use grib_reader::{Error as GribError, GribFile, GribFileBuilder};

use super::grib_lattice::{GRIDS_READ, grid_name, is_read};
use super::grib_mended::{grid_section_1, sections, within_circle};
use super::grib_reduced::in_one_row;
use super::left_out::LeftOut;
use super::{MOST_POINTS, READ_WHOLE};
use crate::error::{Error, Fault, Result};

/// What one thing of a GRIB file is called, and several.
pub(super) const OF_GRIB: [&str; 2] = ["message", "messages"];

/// The messages that can be read.
pub(super) struct Messages {
    pub file: GribFile,
    pub left_out: LeftOut,
    /// The number of the message, from 1, for each field.
    numbers: Vec<usize>,
}

impl Messages {
    /// Where a field is, for people: its message and, where that has several, which of them.
    pub fn place(&self, field: usize) -> String {
        let Some(number) = self.numbers.get(field) else {
            return format!("field {field}");
        };
        let before = self.numbers.iter().take(field);
        let before = before.rev().take_while(|n| *n == number).count();
        let alone = before == 0 && self.numbers.get(field + 1) != Some(number);
        if alone {
            format!("message {number}")
        } else {
            format!("message {number}, field {}", before + 1)
        }
    }
}

/// How GRIB is read: strictly, and nothing of absurd size.
pub(super) fn builder<'a>() -> GribFileBuilder<'a> {
    GribFile::builder()
        .strict(true)
        .max_decoded_points(MOST_POINTS)
}

/// Reads a file, or maps a large one into memory, and finds its messages.
pub(super) fn open(name: &str, path: &Path) -> Result<Messages> {
    let no_file = |cause| Error::file(path, "read", cause);
    let length = std::fs::metadata(path).map_err(no_file)?.len();
    let opened = match length <= READ_WHOLE {
        true => builder().from_bytes(std::fs::read(path).map_err(no_file)?),
        false => builder().open(path),
    };
    match opened {
        Ok(file) => Ok(all(file, length)),
        Err(GribError::Io(cause, _)) => Err(no_file(cause)),
        Err(_) => one_by_one(name, &std::fs::read(path).map_err(no_file)?),
    }
}

/// Finds the messages in bytes.
pub(super) fn from_bytes(name: &str, bytes: Vec<u8>) -> Result<Messages> {
    let length = bytes.len() as u64;
    match builder().from_bytes(bytes.clone()) {
        Ok(file) => Ok(all(file, length)),
        Err(_) => one_by_one(name, &bytes),
    }
}

/// Padding to blocks of 120 bytes and headings of bulletins are shorter than this, messages longer.
const SHORT_GAP: u64 = 120;

/// All messages of a file that opens whole.
fn all(file: GribFile, length: u64) -> Messages {
    let mut numbers: Vec<usize> = Vec::with_capacity(file.message_count());
    let mut gaps = Vec::new();
    let mut end = 0;
    for message in file.messages() {
        let metadata = message.metadata();
        let first = metadata.field_index_in_message == 0;
        if first {
            gaps.push(metadata.message_offset.saturating_sub(end));
            end = metadata.message_offset + metadata.message_length;
        }
        let before = numbers.last().copied().unwrap_or(0);
        numbers.push(before + usize::from(first));
    }
    gaps.push(length.saturating_sub(end));
    let mut left_out = LeftOut::default();
    // Perhaps a message whose first bytes are damaged: the crate passes over it.
    let besides: u64 = gaps.into_iter().filter(|gap| *gap >= SHORT_GAP).sum();
    if besides > 0 {
        left_out.note(format!("{besides} bytes that belong to no message"));
    }
    Messages {
        file,
        left_out,
        numbers,
    }
}

fn one_by_one(name: &str, bytes: &[u8]) -> Result<Messages> {
    let mut kept = Vec::new();
    let mut numbers = Vec::new();
    let mut left_out = LeftOut::default();
    let mut rest = bytes;
    let mut number = 0;
    while let Some(start) = next_message(rest) {
        number += 1;
        let fault = |found: String| {
            let expected = "a complete GRIB message; is the file damaged or cut short?";
            Fault::new(name, found, expected).of_key(format!("message {number}"))
        };
        let (message, after) = split(rest.split_at(start).1).map_err(fault)?;
        // Only what the crate refuses a whole file for is mended here; what it opens but does not
        // unpack is mended when a field is read.
        let message = in_one_row(within_circle(message));
        match builder().from_bytes(message.to_vec()) {
            Ok(file) => {
                numbers.extend(repeat_n(number, file.message_count()));
                kept.extend_from_slice(&message);
            }
            Err(cause) => match not_read(&message, &cause) {
                Some(why) => left_out.count(why),
                None => return Err(fault(cause.to_string()).into()),
            },
        }
        rest = after;
    }
    if kept.is_empty() {
        let found = match left_out.words(OF_GRIB) {
            none if none.is_empty() => "no GRIB message".to_owned(),
            words => words.join("; "),
        };
        return Err(Fault::new(name, found, GRIDS_READ).into());
    }
    // One file again, so that all goes on as if it had opened whole.
    let file = builder().from_bytes(kept).map_err(|cause| {
        let expected = "complete GRIB messages";
        Fault::new(name, cause.to_string(), expected)
    })?;
    Ok(Messages {
        file,
        left_out,
        numbers,
    })
}

fn next_message(bytes: &[u8]) -> Option<usize> {
    bytes.windows(4).position(|w| w == b"GRIB")
}

/// The message at the start of the bytes and what follows it, or what was found instead.
fn split(bytes: &[u8]) -> std::result::Result<(&[u8], &[u8]), String> {
    if let Some(edition) = Indicator::edition(bytes).filter(|e| !matches!(e, 1 | 2)) {
        return Err(format!("GRIB edition {edition}"));
    }
    let length = Indicator::parse(bytes)
        .and_then(|indicator| usize::try_from(indicator.total_length).ok())
        .ok_or("a message that ends in its heading")?;
    if length > bytes.len() {
        return Err(format!(
            "a message of {length} bytes that ends after {}",
            bytes.len()
        ));
    }
    let (message, after) = bytes.split_at(length);
    // Heading and end of the shorter edition take 8 and 4 bytes.
    if length < 12 || !message.ends_with(b"7777") {
        return Err("a message that does not end with 7777".to_owned());
    }
    Ok((message, after))
}

/// Why a sound message is not read; `None` when it is not sound.
fn not_read(message: &[u8], cause: &GribError) -> Option<String> {
    if let Some((edition, template)) = grid_template(message)
        && !is_read(edition, template)
    {
        return Some(grid_name(edition, template));
    }
    match cause {
        GribError::UnsupportedQuasiRegularGrid { .. } => {
            Some("a reduced grid, with fewer points towards the poles".to_owned())
        }
        GribError::UnsupportedGridAngularUnit { .. } => {
            Some("a grid in an angular unit of its own".to_owned())
        }
        GribError::UnsupportedDataTemplate(template) => Some(packing_name(*template)),
        _ => None,
    }
}

/// What a packing that is not read is called, with what to ask for instead.
pub(super) fn packing_name(template: u16) -> String {
    format!("packing {template} (ask for simple, complex or CCSDS packing)")
}

/// Edition and grid template (in edition 1, data representation type) of the first grid.
fn grid_template(message: &[u8]) -> Option<(u8, u16)> {
    if message.get(7) == Some(&1) {
        // Octet 6 of section 2.
        let kind = message.get(grid_section_1(message)? + 5)?;
        return Some((1, u16::from(*kind)));
    }
    let grid = sections(message).find(|(number, _)| *number == 3)?.1;
    // Octets 13 and 14 of section 3.
    let template = message.get(grid + 12..)?.first_chunk()?;
    Some((2, u16::from_be_bytes(*template)))
}
