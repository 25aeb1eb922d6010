//! Whole files, that a service makes for the question or that lie packed: with or without their length told.

use ureq::http::{StatusCode, header};

use super::check::{Wholeness, plain_text, wholeness};
use super::http::{Client, Tried, Trouble, cut_short, is_missing, read_most, refusal, text_header};
use crate::error::Result;
use crate::files::packed;

/// The longest answer that is read, bytes.
const LONGEST: u64 = 256 << 20;

impl Client {
    /// A whole GRIB or NetCDF file, unpacked where it is packed; `None` if it says that there is none,
    /// by its status or by the words `missing`.
    ///
    /// # Errors
    ///
    /// The server cannot be reached, refuses, or sends something else; what it says is quoted.
    pub fn reply(&self, url: &str, missing: Option<&str>) -> Result<Option<Vec<u8>>> {
        self.patiently(url, || self.ask_reply(url, missing, wholeness))
    }

    /// What a service of point forecasts answers: whole JSON; `None` if it says that there is none.
    ///
    /// # Errors
    ///
    /// The server cannot be reached, refuses, or sends something else; what it says is quoted.
    pub fn json(&self, url: &str) -> Result<Option<Vec<u8>>> {
        self.patiently(url, || self.ask_reply(url, None, whole_json))
    }

    fn ask_reply(
        &self,
        url: &str,
        missing: Option<&str>,
        wholeness: fn(&[u8]) -> Wholeness,
    ) -> Tried<Option<Vec<u8>>> {
        let response = self.get(url, None)?;
        let status = response.status();
        if is_missing(status) {
            return Ok(None);
        }
        let says_missing = |text: &str| missing.is_some_and(|words| text.contains(words));
        if status != StatusCode::OK {
            let wait = text_header(&response, header::RETRY_AFTER);
            // It may say that there is no such file; where that cannot be read, the status tells.
            let bytes = read_most(response, LONGEST).unwrap_or_default();
            let text = plain_text(&bytes);
            return match says_missing(&text) {
                true => Ok(None),
                false => Err(refusal(status, &wait, &text)),
            };
        }
        let bytes = read_most(response, LONGEST).map_err(cut_short)?;
        if bytes.len() as u64 > LONGEST {
            let found = format!("more than {LONGEST} bytes");
            return Err(Trouble::Lasting(found, "a part of a forecast".into()));
        }
        // A packed file that ends too early may be whole the next time.
        let bytes = packed::opened("the answer", bytes, LONGEST)
            .map_err(|fault| Trouble::passing(fault.to_string()))?;
        match wholeness(&bytes) {
            Wholeness::Whole => Ok(Some(bytes)),
            Wholeness::CutShort(found) => Err(Trouble::passing(found)),
            Wholeness::Damaged(found) => Err(Trouble::Lasting(
                found,
                "a whole GRIB or NetCDF file".into(),
            )),
            Wholeness::Else(text) if says_missing(&text) => Ok(None),
            Wholeness::Else(text) => Err(Trouble::Lasting(
                format!("no forecast, but \"{text}\""),
                "what the feed says that it is".into(),
            )),
        }
    }
}

fn whole_json(bytes: &[u8]) -> Wholeness {
    match serde_json::from_slice::<serde::de::IgnoredAny>(bytes) {
        Ok(_) => Wholeness::Whole,
        Err(cause) if cause.is_eof() => {
            Wholeness::CutShort(format!("JSON that ends early ({} bytes)", bytes.len()))
        }
        Err(_) => Wholeness::Else(plain_text(bytes)),
    }
}
