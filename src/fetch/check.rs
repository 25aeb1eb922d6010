//! Whether bytes are whole GRIB messages.

use grib_reader::indicator::Indicator;

use crate::error::{Error, Fault, Result};

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
        let message = length.filter(|l| *l >= 12).and_then(|l| rest.get(..l));
        let Some(message) = message else {
            let found = format!("a message of {} bytes", indicator.total_length);
            let expected = format!("one of at most {}, as its inventory says", rest.len());
            return Err(at_byte(url, at, found, expected));
        };
        if !message.ends_with(b"7777") {
            let end = &message[message.len() - 4..];
            let found = format!("\"{}\" at the end of a message", end.escape_ascii());
            return Err(at_byte(url, at, found, "\"7777\""));
        }
        rest = &rest[message.len()..];
    }
    Ok(())
}

/// The error of bytes that begin with something else.
pub fn not_grib(url: &str, at: u64, bytes: &[u8]) -> Error {
    let shown = &bytes[..bytes.len().min(16)];
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
    let fault = Fault::new(url, found, expected);
    fault.of_key(format!("byte {at}")).into()
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
