//! Whether bytes are what they should be: whole messages, whole files, of the time asked for, and
//! of use to a flight.

use std::collections::BTreeSet;

use grib_reader::indicator::Indicator;
use jiff::Timestamp;

use super::address::shown;
use crate::clock::after;
use crate::error::{Error, Fault, Result};
use crate::geodesy::Position;
use crate::sources::grid::GridFile;
use crate::sources::grid::archive::{Archive, Joining};
use crate::wind::slab::{Quantity, Slab, Surface};
use crate::wind::sounding::Sounding;

/// How whole an answer is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Wholeness {
    /// A whole GRIB or NetCDF file.
    Whole,
    /// The beginning of one, or nothing.
    CutShort(String),
    /// One that is long enough, but wrong.
    Damaged(String),
    /// Something else, in its words.
    Else(String),
}

/// Whether bytes are a whole GRIB or NetCDF file.
pub fn wholeness(bytes: &[u8]) -> Wholeness {
    if bytes.is_empty() {
        Wholeness::CutShort("an empty answer".into())
    } else if bytes.starts_with(b"GRIB") {
        whole_grib(bytes)
    } else if bytes.starts_with(b"\x89HDF\r\n\x1a\n") {
        match end_of_hdf5(bytes) {
            // Known by its head alone, before all of it is read.
            Some(end) if end > bytes.len() as u64 => cut_at(bytes.len(), end),
            _ => decodes(bytes),
        }
    } else if bytes.starts_with(b"CDF") {
        decodes(bytes)
    } else {
        Wholeness::Else(plain_text(bytes))
    }
}

fn cut_at(got: usize, of: u64) -> Wholeness {
    Wholeness::CutShort(format!("only {got} of {of} bytes"))
}

fn whole_grib(bytes: &[u8]) -> Wholeness {
    let mut at = 0;
    while let Some(rest) = bytes.get(at..).filter(|rest| !rest.is_empty()) {
        if rest.len() < 16 {
            return cut_at(bytes.len(), (at + 16) as u64);
        }
        let Some(length) = Indicator::parse(rest).map(|i| i.total_length) else {
            let found = format!("no GRIB message at byte {at}");
            return Wholeness::Damaged(found);
        };
        let Some(message) = usize::try_from(length).ok().and_then(|l| rest.get(..l)) else {
            return cut_at(bytes.len(), (at as u64).saturating_add(length));
        };
        // A length of nothing would be looked at for ever.
        if length < 16 || !message.ends_with(b"7777") {
            let found = format!("a GRIB message at byte {at} that does not end with \"7777\"");
            return Wholeness::Damaged(found);
        }
        at += message.len();
    }
    Wholeness::Whole
}

/// Where an HDF5 file says it ends.
///
/// HDF5 File Format Specification 3.0, II.A: the superblock of version 0 and 1 has the address 40
/// and 44 bytes from its beginning, that of 2 and 3 has it at 28, where addresses have 8 bytes.
fn end_of_hdf5(bytes: &[u8]) -> Option<u64> {
    let (at, size) = match *bytes.get(8)? {
        0 => (40, *bytes.get(13)?),
        1 => (44, *bytes.get(13)?),
        2 | 3 => (28, *bytes.get(9)?),
        _ => return None,
    };
    let address: [u8; 8] = bytes.get(at..at + 8)?.try_into().ok()?;
    (size == 8).then(|| u64::from_le_bytes(address))
}

/// Whether everything in a file can be read.
fn decodes(bytes: &[u8]) -> Wholeness {
    // Nothing at its end tells that a NetCDF file is whole, so all of it is read.
    let opened = GridFile::from_bytes("the answer", bytes.to_vec());
    let read = opened.and_then(|file| {
        let lattices = file
            .slabs
            .iter()
            .map(|slab| file.lattices.get(slab.lattice));
        lattices
            .flatten()
            .enumerate()
            .try_for_each(|(i, lattice)| file.read(i, lattice.whole()).map(|_| ()))
    });
    match read {
        Ok(()) => Wholeness::Whole,
        Err(why) => Wholeness::CutShort(format!("a NetCDF file that cannot be read ({why})")),
    }
}

/// The beginning of what bytes say to people, without the marks of a web page.
pub fn plain_text(bytes: &[u8]) -> String {
    const SHOWN: usize = 200;
    // More than is shown: a page may begin with scripts and styles, which are left out.
    let text = String::from_utf8_lossy(first(bytes, 1 << 14));
    let strange = text.chars().filter(|c| *c == '\u{fffd}').count();
    // A few may be letters in another encoding; so many are no text.
    if strange > 8 {
        return first(bytes, 16).escape_ascii().to_string();
    }
    let words = without_tags(&text);
    let words: Vec<&str> = words.split_whitespace().collect();
    let words = words.join(" ");
    match words.char_indices().nth(SHOWN) {
        Some((end, _)) => format!("{} ...", words.split_at(end).0),
        None => words,
    }
}

/// The first bytes, no more than there are.
fn first(bytes: &[u8], count: usize) -> &[u8] {
    bytes.get(..count).unwrap_or(bytes)
}

/// The text of a web page; of one without marks all of it.
fn without_tags(page: &str) -> String {
    let mut text = String::new();
    let mut rest = page;
    while let Some((before, tag)) = rest.split_once('<') {
        text.push_str(before);
        text.push(' ');
        let name = tag.get(..6).unwrap_or("").to_ascii_lowercase();
        // What is for machines goes on to its closing mark.
        let end = match name.as_str() {
            "script" => "</script>",
            "style>" | "style " => "</style>",
            _ => ">",
        };
        rest = match tag.to_ascii_lowercase().find(end) {
            Some(at) => tag.get(at + end.len()..).unwrap_or(""),
            None => "",
        };
    }
    text + rest
}

/// What a part of a download is to be of.
#[derive(Debug, Clone, Copy)]
pub struct Of<'a> {
    /// The run.
    pub run: Timestamp,
    /// Hours after it.
    pub step: u32,
    /// The member, if it is an ensemble.
    pub member: Option<&'a str>,
}

/// Checks that every field of a file that is known is for the run, step and member asked for.
///
/// # Errors
///
/// Names the first that is not.
pub fn is_of(url: &str, file: &GridFile, of: Of) -> Result<()> {
    let valid = after(of.run, 3600.0 * f64::from(of.step));
    let wrong =
        |found: String, expected: String| Err(Fault::new(shown(url), found, expected).into());
    for slab in &file.slabs {
        if slab.valid != valid {
            let found = format!("fields for {}", slab.valid);
            return wrong(found, format!("{valid}, {} h after the run", of.step));
        }
        if let Some(run) = slab.run.filter(|run| *run != of.run) {
            return wrong(
                format!("fields of the run {run}"),
                format!("those of {}", of.run),
            );
        }
        // By their numbers: names of members differ from feed to feed, and messages have none.
        let asked = of.member.and_then(number_of);
        if let (Some(asked), Some(sent)) = (asked, slab.member)
            && asked != sent
        {
            return wrong(
                format!("fields of member {sent}"),
                format!("member {asked}"),
            );
        }
    }
    Ok(())
}

/// The number in a member's name.
fn number_of(member: &str) -> Option<u32> {
    let digits = member.trim_start_matches(|c: char| !c.is_ascii_digit());
    digits.parse().ok()
}

/// The times that a download is to have.
pub fn times(run: Timestamp, steps: &[u32]) -> BTreeSet<Timestamp> {
    let valid = |step: &u32| after(run, 3600.0 * f64::from(*step));
    steps.iter().map(valid).collect()
}

/// Checks that a finished file is one that a plan can use: winds with heights on two levels at
/// every time, at the site.
///
/// # Errors
///
/// Says what it lacks, as reading it would.
pub fn is_of_use(file: GridFile, times: &BTreeSet<Timestamp>, site: Position) -> Result<()> {
    let name = file.name.clone();
    let wrong = |found: String, expected: &str| Err(Fault::new(&name, found, expected).into());
    let height = |slab: &&Slab| slab.quantity == Quantity::Height;
    let aloft = |slab: &Slab| matches!(slab.surface, Surface::Isobaric(_)).then_some(slab.surface);
    let heights: BTreeSet<Surface> = file.slabs.iter().filter(height).filter_map(aloft).collect();
    if heights.len() < 2 {
        // They would be reckoned, worse than the feed gives them: something else was downloaded.
        let found = format!("heights on {} levels", heights.len());
        return wrong(found, "heights on 2 levels at least");
    }
    let archive = Archive::join(vec![file], Joining::default())?;
    if archive.levels_pa.len() < 2 {
        let found = format!("winds with heights on {} levels", archive.levels_pa.len());
        return wrong(found, "2 levels at least");
    }
    let there: BTreeSet<Timestamp> = archive.steps.iter().map(|s| s.valid).collect();
    if let Some(missing) = times.difference(&there).next() {
        return wrong(format!("no winds for {missing}"), "winds for every step");
    }
    let [row, column] = archive.lattice.map()?.row_column(site)?;
    // A site may lie on the edge itself, but for rounding.
    let within = |at: f64, count: usize| at >= -1e-6 && at <= count as f64 - 1.0 + 1e-6;
    let columns = archive.lattice.goes_round() || within(column, archive.lattice.x.count);
    if !columns || !within(row, archive.lattice.y.count) {
        let found = format!("winds for {}", archive.lattice.region());
        return wrong(found, "a region that has the site in it");
    }
    Ok(())
}

/// Checks that bytes, which stand at `start` of a file, are one or more GRIB messages from the first
/// byte to the last: each begins with "GRIB", is as long as it says, and ends with "7777".
///
/// # Errors
///
/// Names the byte at which something else is.
pub fn whole_messages(url: &str, start: u64, bytes: &[u8]) -> Result<()> {
    let mut rest = bytes;
    while !rest.is_empty() {
        let at = start + (bytes.len() - rest.len()) as u64;
        let indicator = Indicator::parse(rest).ok_or_else(|| not_grib(url, at, rest))?;
        let length = usize::try_from(indicator.total_length).ok();
        let message = length.filter(|l| *l >= 12);
        let message = message.and_then(|l| rest.split_at_checked(l));
        let Some((message, after)) = message else {
            let found = format!("a message of {} bytes", indicator.total_length);
            let expected = format!("one of at most {}, as its inventory says", rest.len());
            return Err(at_byte(url, at, found, expected));
        };
        if !message.ends_with(b"7777") {
            let end = message
                .last_chunk::<4>()
                .map(|end| end.escape_ascii().to_string());
            let found = format!("\"{}\" at the end of a message", end.unwrap_or_default());
            return Err(at_byte(url, at, found, "\"7777\""));
        }
        rest = after;
    }
    Ok(())
}

/// The error of bytes that begin with something else.
pub fn not_grib(url: &str, at: u64, bytes: &[u8]) -> Error {
    let shown = first(bytes, 16);
    let page = bytes.trim_ascii_start().first() == Some(&b'<');
    let what = if page {
        "what looks like a web page"
    } else {
        "something else"
    };
    let found = format!("{what}, beginning with \"{}\"", shown.escape_ascii());
    at_byte(url, at, found, "a GRIB message, which begins with \"GRIB\"")
}

fn at_byte(url: &str, at: u64, found: impl Into<String>, expected: impl Into<String>) -> Error {
    let fault = Fault::new(shown(url), found, expected);
    fault.of_key(format!("byte {at}")).into()
}

/// A point forecast may be for the nearest point of its grid, m.
const NEAR_M: f64 = 60_000.0;

/// Checks that profiles are for these hours and about this site.
///
/// # Errors
///
/// Says what they are for.
pub fn covers(
    url: &str,
    profiles: &[Sounding],
    hours: [Timestamp; 2],
    site: Position,
) -> Result<()> {
    let wrong =
        |found: String, expected: String| Err(Fault::new(shown(url), found, expected).into());
    let times = || profiles.iter().filter_map(|p| p.time);
    let (Some(first), Some(last)) = (times().min(), times().max()) else {
        return wrong("no times".into(), "times".into());
    };
    if first > hours[0] || last < hours[1] {
        let found = format!("winds from {first} to {last}");
        return wrong(found, format!("winds from {} to {}", hours[0], hours[1]));
    }
    let far = |place: Position| site.distance_m(place) > NEAR_M;
    match profiles.iter().filter_map(|p| p.position).find(|p| far(*p)) {
        Some(place) => wrong(format!("winds for {}", place.text()), site.text()),
        None => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn message(length: u64, end: &[u8]) -> Vec<u8> {
        let mut bytes = b"GRIB\0\0\0\x02".to_vec();
        bytes.extend(length.to_be_bytes());
        bytes.resize(20, 0);
        bytes.extend(end);
        bytes
    }

    #[test]
    fn answers_are_whole_or_not() {
        let good = message(24, b"7777");
        assert_eq!(wholeness(&good.repeat(3)), Wholeness::Whole);
        let cut = |bytes: &[u8]| matches!(wholeness(bytes), Wholeness::CutShort(_));
        assert!(cut(b"") && cut(&good[..23]) && cut(&good.repeat(2)[..30]));
        let damaged = |bytes: &[u8]| matches!(wholeness(bytes), Wholeness::Damaged(_));
        assert!(damaged(&message(24, b"777X")) && damaged(&message(3, b"7777")));
        assert!(damaged(&[good.clone(), vec![0; 20]].concat()));
        let page = b"<html><style>p{}</style><h1>Sorry</h1>no <b>file</b>\n here</html>";
        let said = Wholeness::Else("Sorry no file here".into());
        assert_eq!(wholeness(page), said);
        assert!(cut(b"CDF\x01") && cut(b"\x89HDF\r\n\x1a\n\x00"));
    }

    #[test]
    fn text_of_any_bytes_is_short_and_does_no_harm() {
        assert_eq!(plain_text(b"<<<a"), "");
        assert_eq!(plain_text("<p>\u{e9}<script>x".as_bytes()), "\u{e9}");
        assert_eq!(plain_text("a<\u{130}\u{130}\u{130}>b".as_bytes()), "a b");
        assert!(plain_text(&[0xff; 99]).starts_with("\\xff"));
        assert!(plain_text("word ".repeat(99).as_bytes()).len() < 210);
    }

    #[test]
    fn messages_are_whole_from_end_to_end() {
        let good = message(24, b"7777");
        let wrong = |bytes: &[u8]| whole_messages("u", 10, bytes).unwrap_err().to_string();
        assert!(whole_messages("u", 10, &good).is_ok());
        assert!(whole_messages("u", 10, &[good.clone(), good.clone()].concat()).is_ok());
        let second = wrong(&[good.clone(), message(25, b"7777")].concat());
        assert!(
            second.starts_with("u, byte 34: found a message of 25 bytes"),
            "{second}"
        );
        assert!(wrong(&message(24, b"777\x01")).contains("777\\x01"));
        assert!(wrong(&message(3, b"7777")).contains("3 bytes"));
        assert!(wrong(&message(u64::MAX, b"7777")).contains("bytes"));
        assert!(wrong(b"<!DOCTYPE html>").contains("web page"));
        assert!(wrong(&good[..7]).contains("GRIB"));
    }
}
