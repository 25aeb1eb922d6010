//! Readers: one file a format, each turning bytes into [`crate::wind`] types.
//!
//! A reader only takes the file apart; what every sounding needs done to it (fillers, order,
//! heights, calm winds) is done once, in `clean`.

mod clean;
mod csv;
pub mod grid;
mod gsl;
mod heading;
mod igra;
mod listing;
mod model;
mod text;

use std::fmt;
use std::path::Path;
use std::str::FromStr;

use jiff::Timestamp;
use serde::Serialize;

use crate::error::{Fault, Result};
use crate::files::{read_bytes, shown};
use crate::notes::Cleaning;
use crate::wind::sounding::Sounding;

/// An ascent with the file it comes from.
#[derive(Debug, Clone, Serialize)]
pub struct FileAscent {
    /// The file, as the user named it.
    pub file: String,
    /// The ascent.
    pub sounding: Sounding,
}

/// What reading did to ascents, of those to which it did enough to be known.
pub fn cleaned<'a>(ascents: impl IntoIterator<Item = &'a FileAscent>) -> Vec<Cleaning> {
    let all = ascents.into_iter();
    all.map(|a| Cleaning::of(&a.file, &a.sounding))
        .filter(Cleaning::matters)
        .collect()
}

/// The formats that are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// A table with a header whose columns name quantity and unit, separated by comma, semicolon
    /// or tab. The university archive's own CSV is one of these.
    Csv,
    /// The Integrated Global Radiosonde Archive, version 2: the text file of one station.
    Igra,
    /// The university archive's listing in columns of fixed width.
    Listing,
    /// The numbered lines of NOAA's Global Systems Laboratory (once FSL), of a sounding or a model.
    Gsl,
}

/// Every format with its name on the command line.
const NAMES: [(&str, Format); 4] = [
    ("csv", Format::Csv),
    ("igra2", Format::Igra),
    ("listing", Format::Listing),
    ("gsl", Format::Gsl),
];

/// The names of the formats, for messages.
pub fn format_names() -> String {
    NAMES.map(|(name, _)| name).join(", ")
}

impl FromStr for Format {
    type Err = String;

    fn from_str(name: &str) -> std::result::Result<Format, String> {
        NAMES
            .iter()
            .find(|(n, _)| n.eq_ignore_ascii_case(name))
            .map(|&(_, format)| format)
            .ok_or_else(|| format!("\"{name}\" is not a format; expected {}", format_names()))
    }
}

impl fmt::Display for Format {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let name = NAMES.iter().find(|(_, format)| format == self);
        f.write_str(name.map_or("", |(name, _)| name))
    }
}

/// The format a text is in, from its content; `None` when it looks like none of them.
pub fn recognise(text: &str) -> Option<Format> {
    if igra::looks_like(text) {
        Some(Format::Igra)
    } else if listing::looks_like(text) {
        Some(Format::Listing)
    } else if gsl::looks_like(text) {
        Some(Format::Gsl)
    } else if csv::looks_like(text) {
        Some(Format::Csv)
    } else {
        None
    }
}

/// Reads every ascent in a file, in the order of the file.
///
/// # Errors
///
/// The file cannot be read, is empty or binary, is in no known format, is cut short, or holds no
/// ascent with two levels of wind.
pub fn read_soundings(path: &Path, format: Option<Format>) -> Result<Vec<Sounding>> {
    soundings_of(&shown(path), &read_bytes(path)?, format)
}

/// Reads every ascent in the bytes of a file; `name` is for messages.
///
/// # Errors
///
/// As [`read_soundings`].
pub fn soundings_of(name: &str, bytes: &[u8], format: Option<Format>) -> Result<Vec<Sounding>> {
    let (text, byte_order_mark) = text::decode(name, bytes)?;
    let mut soundings = parse(name, &text, format)?;
    for sounding in &mut soundings {
        sounding.tally.byte_order_mark = byte_order_mark;
    }
    Ok(soundings)
}

/// Reads every ascent in a text; `name` is the file's name, for messages.
///
/// # Errors
///
/// As [`read_soundings`].
pub fn parse(name: &str, text: &str, format: Option<Format>) -> Result<Vec<Sounding>> {
    let format = format.or_else(|| recognise(text)).ok_or_else(|| {
        Fault::new(
            name,
            "a text in no format that is known",
            format!("a sounding as one of {}", format_names()),
        )
    })?;
    let ascents = match format {
        Format::Csv => vec![csv::read(name, text)?],
        Format::Igra => igra::read(name, text)?,
        Format::Listing => listing::read(name, text)?,
        Format::Gsl => gsl::read(name, text)?,
    };
    keep_usable(name, ascents.into_iter().map(clean::clean).collect())
}

/// The usable ascents. One bad ascent must not cost its good neighbours, but the first of them
/// says that it was left out; when none is usable, the first fault is the file's.
fn keep_usable(name: &str, ascents: Vec<Result<Sounding>>) -> Result<Vec<Sounding>> {
    let mut good = Vec::new();
    let mut faults = Vec::new();
    for ascent in ascents {
        match ascent {
            Ok(sounding) => good.push(sounding),
            Err(fault) => faults.push(fault),
        }
    }
    match good.first_mut() {
        Some(first) => {
            let left_out = faults.iter().map(|f| format!("an ascent left out: {f}"));
            first.tally.left_out.extend(left_out);
            Ok(good)
        }
        None => Err(faults
            .into_iter()
            .next()
            .unwrap_or_else(|| Fault::new(name, "no ascent", "at least one sounding").into())),
    }
}

/// Which of several ascents is nearest in time to the release, the earlier of two equally near.
///
/// A single ascent is taken even when its time is unknown.
///
/// # Errors
///
/// There is no ascent, or several of which none has a time.
pub fn nearest<'a>(
    soundings: impl IntoIterator<Item = &'a Sounding>,
    release: Timestamp,
) -> Result<usize> {
    let times: Vec<Option<Timestamp>> = soundings.into_iter().map(|s| s.time).collect();
    let away = |time: Timestamp| (time.duration_since(release).abs(), time);
    let known = (0..times.len()).filter_map(|i| Some((away(times[i]?), i)));
    match (known.min(), times.len()) {
        (Some((_, i)), _) => Ok(i),
        (None, 1) => Ok(0),
        (None, count) => {
            let found = match count {
                0 => "no ascent".to_owned(),
                n => format!("{n} ascents, none with a time"),
            };
            Err(Fault::new("wind files", found, "an ascent with its time").into())
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TWO_LEVELS: &str = "altitude_m,wind_speed_m/s,wind_dir\n100,5,270\n900,7,280\n";

    #[test]
    fn formats_have_names() {
        for (name, format) in NAMES {
            assert_eq!(name.parse::<Format>().unwrap(), format);
            assert_eq!(format.to_string(), name);
        }
        let message = "wmo".parse::<Format>().unwrap_err();
        assert!(message.contains("igra2"), "{message}");
    }

    #[test]
    fn the_nearest_ascent_is_chosen() {
        let at = |time: Option<&str>| {
            let mut s = parse("a.csv", TWO_LEVELS, None).unwrap().remove(0);
            s.time = time.map(|t| t.parse().unwrap());
            s
        };
        let (early, late) = ("2010-06-01T00:00:00Z", "2010-06-01T12:00:00Z");
        let three = [at(Some(late)), at(None), at(Some(early))];
        let chosen = |hour: &str| {
            let release = format!("2010-06-01T{hour}:00:00Z").parse().unwrap();
            let which = nearest(&three, release).unwrap();
            three[which].time.unwrap().to_string()
        };
        assert_eq!(chosen("05"), early);
        assert_eq!(chosen("07"), late);
        assert_eq!(chosen("06"), early);
        let release = early.parse().unwrap();
        assert!(nearest(&[at(None)], release).is_ok());
        assert!(nearest(&[at(None), at(None)], release).is_err());
        assert!(nearest(&[], release).is_err());
    }

    #[test]
    fn an_unknown_text_says_what_is_known() {
        let message = parse("a.txt", "dear diary\n", None)
            .unwrap_err()
            .to_string();
        assert!(message.contains("csv, igra2, listing, gsl"), "{message}");
    }
}
