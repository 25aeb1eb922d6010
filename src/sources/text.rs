//! Bytes to text, and the small things all readers look for in a text.

use jiff::Timestamp;
use jiff::civil::{self, Date, DateTime};
use jiff::tz::TimeZone;

use crate::error::{Fault, Result};

const BYTE_ORDER_MARK: &str = "\u{feff}";

/// The text of a file, and whether it began with a byte-order mark.
///
/// UTF-16 where a mark or the zeros of plain letters say so, UTF-8, else Latin-1 (a lone degree sign in an
/// old file), as long as nothing says that the file is not a text at all. Zeros at the end are what a disk was filled with;
/// where there are carriage returns only, they end lines.
pub(super) fn decode(name: &str, bytes: &[u8]) -> Result<(String, bool)> {
    let expected = "a sounding as text, or a forecast in GRIB or NetCDF";
    if bytes.iter().all(u8::is_ascii_whitespace) {
        return Err(Fault::new(name, "an empty file", expected).into());
    }
    // Before zeros at the end are cut off: here every other byte of plain text is one.
    if let Some((text, marked)) = utf_16(bytes) {
        return Ok((with_lines(text), marked));
    }
    let end = bytes.iter().rposition(|b| *b != 0).map_or(0, |at| at + 1);
    let bytes = bytes.get(..end).unwrap_or(bytes);
    if let Some((at, byte)) = bytes.iter().enumerate().find(|(_, b)| is_binary(**b)) {
        let line = 1 + bytes.iter().take(at).filter(|&&b| b == b'\n').count();
        let found = format!("a binary file (byte {byte:#04x} at {at})");
        return Err(Fault::new(name, found, expected).at_line(line).into());
    }
    // In this order: any bytes at all are Latin-1.
    let text = match std::str::from_utf8(bytes) {
        Ok(text) => text.to_owned(),
        Err(_) => bytes.iter().map(|&b| char::from(b)).collect(),
    };
    match text.strip_prefix(BYTE_ORDER_MARK) {
        Some(rest) if rest.trim().is_empty() => {
            Err(Fault::new(name, "an empty file", expected).into())
        }
        Some(rest) => Ok((with_lines(rest.to_owned()), true)),
        None => Ok((with_lines(text), false)),
    }
}

/// The text with line feeds, where it has none.
fn with_lines(text: String) -> String {
    match text.contains('\n') {
        true => text,
        false => text.replace('\r', "\n"),
    }
}

/// The text of bytes in UTF-16, known by its mark or by its first two letters, and whether there is a
/// mark.
fn utf_16(bytes: &[u8]) -> Option<(String, bool)> {
    const PLAIN: std::ops::RangeInclusive<u8> = b'\t'..=b'~';
    let (unit, rest): (fn([u8; 2]) -> u16, _) = match bytes {
        [0xff, 0xfe, rest @ ..] => (u16::from_le_bytes, rest),
        [0xfe, 0xff, rest @ ..] => (u16::from_be_bytes, rest),
        [a, 0, b, 0, ..] if PLAIN.contains(a) && PLAIN.contains(b) => (u16::from_le_bytes, bytes),
        [0, a, 0, b, ..] if PLAIN.contains(a) && PLAIN.contains(b) => (u16::from_be_bytes, bytes),
        _ => return None,
    };
    let units = rest.as_chunks::<2>().0.iter().map(|pair| unit(*pair));
    let text = String::from_utf16(&units.collect::<Vec<u16>>()).ok()?;
    let marked = rest.len() < bytes.len();
    (!text.trim().is_empty() && !text.bytes().any(is_binary)).then_some((text, marked))
}

/// Control characters no text file has; tab, line ends, form feed and the old end-of-file mark
/// are common in archives.
fn is_binary(byte: u8) -> bool {
    matches!(byte, 0..=8 | 0x0b | 0x0e..=0x19 | 0x1b..=0x1f | 0x7f)
}

/// A date and time as `2007-11-20T17:30`, with or without seconds and offset. The flag says that
/// there was no offset, so that UTC is an assumption.
pub(super) fn date_time(text: &str) -> Option<(Timestamp, bool)> {
    let text = text.trim();
    if let Ok(time) = text.parse::<Timestamp>() {
        return Some((time, false));
    }
    // A date alone would parse too, as midnight, which nobody meant.
    if !text.contains(':') {
        return None;
    }
    let civil: DateTime = text.trim_end_matches("UTC").trim_end().parse().ok()?;
    utc(civil).map(|time| (time, !text.ends_with("UTC")))
}

/// A civil date and time read as UTC.
pub(super) fn utc(civil: DateTime) -> Option<Timestamp> {
    TimeZone::UTC.to_timestamp(civil).ok()
}

/// `130702/0000`: year, of the century or whole, month and day, then hour and minute, UTC. Archives of
/// upper air begin in 1973.
pub(super) fn short_time(word: &str) -> Option<Timestamp> {
    let (date, clock) = word.split_once('/')?;
    let digits = |text: &str, least: usize| -> Option<i32> {
        let plain = text.len() >= least && text.bytes().all(|b| b.is_ascii_digit());
        plain.then(|| text.parse().ok()).flatten()
    };
    let (date, clock) = (digits(date, 6)?, digits(clock.get(..4)?, 4)?);
    let year = match date / 10_000 {
        year @ 0..73 => 2_000 + year,
        year @ 73..100 => 1_900 + year,
        year => year,
    };
    let part = |value: i32| i8::try_from(value % 100).ok();
    let day = Date::new(i16::try_from(year).ok()?, part(date / 100)?, part(date)?).ok()?;
    let clock = civil::Time::new(part(clock / 100)?, part(clock)?, 0, 0).ok()?;
    utc(day.to_datetime(clock))
}

/// The number of a month from the first three letters of its English name, in any case.
pub(super) fn month(name: &str) -> Option<i8> {
    const MONTHS: [&str; 12] = [
        "jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec",
    ];
    let start = name.get(..3)?;
    let index = MONTHS.iter().position(|m| m.eq_ignore_ascii_case(start))?;
    i8::try_from(index + 1).ok()
}

/// The columns `from..to` (bytes, from 0) of a line, as far as the line reaches.
pub(super) fn columns(line: &str, from: usize, to: usize) -> &str {
    line.get(from..to.min(line.len())).unwrap_or("")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_and_what_is_none() {
        let decoded = |bytes: &[u8]| decode("f", bytes);
        assert_eq!(decoded(b"a\r\nb").unwrap(), ("a\r\nb".to_owned(), false));
        assert_eq!(
            decoded("\u{feff}a".as_bytes()).unwrap(),
            ("a".to_owned(), true)
        );
        assert_eq!(decoded(b"temp [\xb0C]").unwrap().0, "temp [\u{b0}C]");
        for empty in [&b""[..], b" \r\n", "\u{feff}\n".as_bytes()] {
            let message = decoded(empty).unwrap_err().to_string();
            assert!(message.contains("empty"), "{message}");
        }
        let wide: Vec<u8> = "\u{feff}a\u{b0}"
            .encode_utf16()
            .flat_map(u16::to_le_bytes)
            .collect();
        assert_eq!(decoded(&wide).unwrap(), ("a\u{b0}".to_owned(), true));
        let message = decoded(b"BUFR\n\x00\x01").unwrap_err().to_string();
        assert!(message.contains("line 2") && message.contains("binary"));
    }

    #[test]
    fn dates_as_digits() {
        let read = |word| short_time(word).map(|t| t.to_string());
        assert_eq!(read("130702/0000").unwrap(), "2013-07-02T00:00:00Z");
        assert_eq!(read("991231/2355").unwrap(), "1999-12-31T23:55:00Z");
        assert_eq!(read("20170401/0600").unwrap(), "2017-04-01T06:00:00Z");
        for bad in [
            "130702",
            "131302/0000",
            "130702/2500",
            "1307/0000",
            "-30702/0000",
            "1307020000000/0000",
        ] {
            assert_eq!(read(bad), None, "{bad}");
        }
    }

    #[test]
    fn dates_with_and_without_offset() {
        let read = |text| date_time(text).map(|(t, assumed)| (t.to_string(), assumed));
        let utc = |assumed| Some(("2007-11-20T17:30:00Z".to_owned(), assumed));
        assert_eq!(read("2007-11-20T17:30"), utc(true));
        assert_eq!(read("2007-11-20 17:30:00"), utc(true));
        assert_eq!(read("2007-11-20 17:30 UTC"), utc(false));
        assert_eq!(read("2007-11-20T17:30:00Z"), utc(false));
        assert_eq!(read("2007-11-20T18:30:00+01:00"), utc(false));
        for bad in ["2007-11-20", "12:30", "60", "", "2007-13-01T00:00"] {
            assert_eq!(read(bad), None, "{bad}");
        }
    }
}
