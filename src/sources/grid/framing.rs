//! The messages of a GRIB file, each with its number.
//!
//! The crate opens a file whole or not at all. When it will not, the file is taken message by
//! message: those on grids or in packings that are not read are left out, and anything else is a
//! fault of the message whose number is then known.

use std::io::Read;
use std::iter::repeat_n;
use std::path::Path;

use grib_reader::indicator::Indicator;
use grib_reader::{Error as GribError, GribFile, GribFileBuilder};

use super::MOST_POINTS;
use super::grib_lattice::{GRIDS_READ, grid_name, is_read};
use super::grib_mended::{grid_section_1, sections, within_circle};
use super::grib_reduced::in_one_row;
use super::left_out::LeftOut;
use crate::error::{Error, Fault, Result};

/// Files up to this size, bytes, are read whole. A mapped one that another program cuts short ends
/// ours at the next look at it (SIGBUS), and nothing in Rust can catch that. Larger ones are mapped all
/// the same: a whole run of a fine global model is more than many machines have memory for, and of each
/// file some percent are looked at.
const READ_WHOLE: u64 = 32 << 20;

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
        Err(_) => {
            let file = std::fs::File::open(path).map_err(no_file)?;
            one_by_one(name, Window::of(file), length > READ_WHOLE, no_file)
        }
    }
}

/// Finds the messages in bytes.
pub(super) fn from_bytes(name: &str, bytes: Vec<u8>) -> Result<Messages> {
    let length = bytes.len() as u64;
    match builder().from_bytes(bytes.clone()) {
        Ok(file) => Ok(all(file, length)),
        Err(_) => {
            let no_bytes = |cause| Error::file(Path::new(name), "read", cause);
            one_by_one(
                name,
                Window::of(bytes.as_slice()),
                length > READ_WHOLE,
                no_bytes,
            )
        }
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

/// The messages that can be read, one at a time; of a `large` file only those of use are kept, as all that is kept
/// is kept in memory.
fn one_by_one<R: Read>(
    name: &str,
    mut rest: Window<R>,
    large: bool,
    no_bytes: impl Fn(std::io::Error) -> Error,
) -> Result<Messages> {
    let mut kept = Vec::new();
    let mut numbers = Vec::new();
    let mut left_out = LeftOut::default();
    let mut number = 0;
    while rest.find_message().map_err(&no_bytes)? {
        number += 1;
        let fault = |found: String| {
            let expected = "a complete GRIB message; is the file damaged or cut short?";
            Fault::new(name, found, expected).of_key(format!("message {number}"))
        };
        let length = length(rest.ahead(HEADING).map_err(&no_bytes)?).map_err(fault)?;
        let ahead = rest
            .ahead(length.min(LONGEST_MESSAGE + 1))
            .map_err(&no_bytes)?;
        let message = whole(ahead, length).map_err(fault)?;
        // Only what the crate refuses a whole file for is mended here; what it opens but does not
        // unpack is mended when a field is read.
        let message = in_one_row(within_circle(message));
        match builder().from_bytes(message.to_vec()) {
            // The first is kept in any case, so that a file of none of use is told as what it is.
            Ok(file) => match unused(&file).filter(|_| large && !kept.is_empty()) {
                Some(why) => why.into_iter().for_each(|why| left_out.count(why)),
                None => {
                    numbers.extend(repeat_n(number, file.message_count()));
                    kept.extend_from_slice(&message);
                }
            },
            Err(cause) => match not_read(&message, &cause) {
                Some(why) => left_out.count(why),
                None => return Err(fault(cause.to_string()).into()),
            },
        }
        if kept.len() > MOST_KEPT {
            let found = "more than 1 GB of winds and heights, beside messages that are not read";
            let expected =
                "a file without those messages, or one of fewer hours or a smaller region";
            return Err(Fault::new(name, found, expected).into());
        }
        rest.pass(length);
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

/// Why nothing of a message is of use, for each of its fields; `None` where something is.
fn unused(file: &GribFile) -> Option<Vec<String>> {
    let fields = file.messages();
    fields
        .map(|field| super::grib::described(&field).err())
        .collect()
}

/// No message is longer, bytes: the most points that are read, in eight bytes each.
const LONGEST_MESSAGE: usize = 8 * MOST_POINTS + (1 << 20);
/// So much is kept of a file that the crate does not open as a whole, bytes.
const MOST_KEPT: usize = 1 << 30;
/// In so many bytes stands how long a message is. In edition 1 that may be behind its bits of missing values.
const HEADING: usize = 8 << 20;

/// What lies ahead in a file, of which only a part is in memory.
struct Window<R> {
    from: R,
    bytes: Vec<u8>,
    /// How many of the bytes lie behind.
    at: usize,
}

impl<R: Read> Window<R> {
    fn of(from: R) -> Window<R> {
        Window {
            from,
            bytes: Vec::new(),
            at: 0,
        }
    }

    /// So many bytes ahead, or as many as there are, and perhaps more.
    fn ahead(&mut self, count: usize) -> std::io::Result<&[u8]> {
        let there = self.bytes.len() - self.at;
        if there < count {
            self.bytes.drain(..self.at);
            self.at = 0;
            // Some more than that, or there would be a move for every message.
            let wanted = (count - there + HEADING) as u64;
            self.from
                .by_ref()
                .take(wanted)
                .read_to_end(&mut self.bytes)?;
        }
        Ok(self.bytes.get(self.at..).unwrap_or_default())
    }

    fn pass(&mut self, count: usize) {
        self.at = (self.at + count).min(self.bytes.len());
    }

    /// Goes to the beginning of the next message; false where there is none.
    fn find_message(&mut self) -> std::io::Result<bool> {
        loop {
            let ahead = self.ahead(4)?;
            if let Some(start) = ahead.windows(4).position(|w| w == b"GRIB") {
                self.pass(start);
                return Ok(true);
            }
            if ahead.len() < 4 {
                return Ok(false);
            }
            // The last three may begin the word.
            let passed = ahead.len() - 3;
            self.pass(passed);
        }
    }
}

/// How long the message at the start of the bytes is, or what was found instead.
fn length(bytes: &[u8]) -> std::result::Result<usize, String> {
    if let Some(edition) = Indicator::edition(bytes).filter(|e| !matches!(e, 1 | 2)) {
        return Err(format!("GRIB edition {edition}"));
    }
    let length = Indicator::parse(bytes)
        .and_then(|indicator| usize::try_from(indicator.total_length).ok())
        .ok_or("a message that ends in its heading")?;
    Ok(length)
}

/// The message at the start of the bytes, or what was found instead.
fn whole(bytes: &[u8], length: usize) -> std::result::Result<&[u8], String> {
    let message = bytes.get(..length).filter(|_| length <= LONGEST_MESSAGE);
    let message = message.ok_or_else(|| {
        let there = match bytes.len() > LONGEST_MESSAGE {
            true => "where none is longer than 400 MB".to_owned(),
            false => format!("that ends after {}", bytes.len()),
        };
        format!("a message of {length} bytes {there}")
    })?;
    // Heading and end of the shorter edition take 8 and 4 bytes.
    if length < 12 || !message.ends_with(b"7777") {
        return Err("a message that does not end with 7777".to_owned());
    }
    Ok(message)
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

#[cfg(test)]
mod tests {
    use super::*;

    fn nowhere(cause: std::io::Error) -> Error {
        Error::file(Path::new("x"), "read", cause)
    }

    /// A reader that gives a few bytes at a time.
    struct Slow<'a>(&'a [u8]);

    impl Read for Slow<'_> {
        fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
            let many = into.len().min(self.0.len()).min(1_001);
            let (now, later) = self.0.split_at(many);
            into[..many].copy_from_slice(now);
            self.0 = later;
            Ok(many)
        }
    }

    /// Of a large file the same is of use as of a small one, and less is kept.
    #[test]
    fn messages_are_taken_one_by_one_and_those_without_use_are_not_kept() {
        let path = "tests/data/grids/gfs_2p5_global_20110110_12z_f120.grib2";
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let real = std::fs::read(root.join(path)).unwrap();
        let noise = [0_u8, 1, b'G', b'R', b'I', 7];
        let bytes = [&noise[..], &real, &noise, &real[..real.len()], b"GRI"].concat();
        let take = |large| one_by_one("x", Window::of(Slow(&bytes)), large, nowhere).unwrap();
        let (all, of_use) = (take(false), take(true));
        assert_eq!(
            all.numbers,
            super::all(builder().from_bytes(bytes.clone()).unwrap(), 0).numbers
        );
        assert!(of_use.numbers.len() < all.numbers.len());
        let catalogue = |messages| super::super::grib::catalogue("x", messages).unwrap();
        let (all, of_use) = (catalogue(all), catalogue(of_use));
        assert_eq!(all.slabs, of_use.slabs);
        let counts = |file: &super::super::GridFile| {
            let mut words = file.left_out.clone();
            words.sort();
            words
        };
        assert_eq!(counts(&all), counts(&of_use));
    }

    #[test]
    fn what_is_no_whole_message_is_told() {
        let told = |bytes: &[u8]| {
            let read = one_by_one("x", Window::of(bytes), true, nowhere);
            read.err().unwrap().to_string()
        };
        assert!(told(b"hello").contains("no GRIB message"));
        let mut long = b"GRIB\0\0\0\x02".to_vec();
        long.extend((5_u64 << 30).to_be_bytes());
        assert!(told(&long).contains("a message of 5368709120 bytes that ends after 16"));
        assert!(told(b"GRIB\0\0\x0c\x03abcd").contains("edition 3"));
        assert!(told(b"GRIB\0\0").contains("ends in its heading"));
    }
}
