//! Readers: one file a format, each turning bytes into [`crate::wind`] types.
//!
//! A reader only takes the file apart; what every sounding needs done to it (fillers, order,
//! heights, calm winds) is done once, in `clean`.

// Numbers and lengths from outside are another kind until they were found to be ours.
#![cfg_attr(
    not(test),
    deny(
        clippy::cast_possible_truncation,
        clippy::cast_possible_wrap,
        clippy::cast_sign_loss,
        clippy::indexing_slicing,
        clippy::string_slice
    )
)]

mod aligned;
mod around;
mod ascents;
mod binary;
mod bufkit;
mod bufr;
mod cells;
mod clean;
mod columns;
mod continued;
mod course;
mod csv;
mod drifted;
mod fillers;
pub mod grid;
mod gsl;
mod heading;
mod hint;
mod igra;
mod json;
mod listing;
mod looked;
mod model;
mod netcdf_sounding;
mod page;
mod parts;
pub mod point;
mod spc;
mod table;
mod text;
mod thousands;
mod waiting;
mod zones;

use std::fmt;
use std::path::Path;
use std::str::FromStr;

use jiff::Timestamp;
use serde::Serialize;

use crate::error::{Error, Fault, Result};
use crate::files::{packed, shown};
use crate::notes::Cleaning;
use crate::notes::left_out::LeftOut;
use crate::wind::sounding::Sounding;

pub use self::binary::{is_sounding, is_sounding_in};
use self::clean::Raw;
pub use self::columns::Columns;

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

/// Soundings closer than this are of one station, m.
pub const ONE_STATION_M: f64 = 5_000.0;

/// The formats that are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// A table with headings that name quantity and unit, or with units below them, whatever
    /// separates its cells. The university archive's own CSV is one of these.
    Csv,
    /// The Integrated Global Radiosonde Archive, version 2: the text file of one station, plain or
    /// derived.
    Igra,
    /// The university archive's listing in columns of fixed width.
    Listing,
    /// The numbered lines of NOAA's Global Systems Laboratory (once FSL), of a sounding or a model.
    Gsl,
    /// BUFKIT: the run of a model above one station, a profile for each hour.
    Bufkit,
    /// Levels between `%RAW%` and `%END%`, as of the Storm Prediction Center.
    Spc,
    /// JSON that holds levels or lists of values by name.
    Json,
    /// A point forecast in JSON: lists of values by the hour above one place.
    Point,
}

/// What a person says of files beside their content.
#[derive(Debug, Clone, Default)]
pub struct Hints {
    /// The format, where it is not recognised.
    pub format: Option<Format>,
    /// What columns of tables hold, where their headings do not say.
    pub columns: Columns,
    /// The hours that are needed, the first and the last: of a Zarr store with very many times the others
    /// are not listed.
    pub near: Option<[Timestamp; 2]>,
}

impl From<Option<Format>> for Hints {
    fn from(format: Option<Format>) -> Hints {
        Hints {
            format,
            ..Hints::default()
        }
    }
}

impl From<&Hints> for Hints {
    fn from(hints: &Hints) -> Hints {
        hints.clone()
    }
}

/// Every format with its name on the command line.
const NAMES: [(&str, Format); 8] = [
    ("csv", Format::Csv),
    ("igra2", Format::Igra),
    ("listing", Format::Listing),
    ("gsl", Format::Gsl),
    ("bufkit", Format::Bufkit),
    ("spc", Format::Spc),
    ("json", Format::Json),
    ("point", Format::Point),
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
    recognise_with(text, &Columns::default())
}

fn recognise_with(text: &str, columns: &Columns) -> Option<Format> {
    // From the strictest on: words that head columns are found in many a text, so tables come last.
    if igra::looks_like(text) {
        Some(Format::Igra)
    } else if bufkit::looks_like(text) {
        Some(Format::Bufkit)
    } else if spc::looks_like(text) {
        Some(Format::Spc)
    } else if listing::looks_like(text) {
        Some(Format::Listing)
    } else if gsl::looks_like(text) {
        Some(Format::Gsl)
    } else if point::looks_like(text) {
        Some(Format::Point)
    } else if json::looks_like(text) {
        Some(Format::Json)
    } else if csv::looks_like(text, columns) {
        Some(Format::Csv)
    } else {
        None
    }
}

/// Reads every ascent in a file, in the order of the file. One that is packed is read through.
///
/// # Errors
///
/// The file cannot be read, is empty or binary, is in no known format, is cut short, or holds no
/// ascent with two levels of wind.
pub fn read_soundings(path: &Path, hints: impl Into<Hints>) -> Result<Vec<Sounding>> {
    soundings_of(&shown(path), &packed::read(path)?, hints)
}

/// Reads every ascent in what a file holds; `name` is the file's, for messages.
///
/// # Errors
///
/// As [`read_soundings`].
pub fn soundings_of(name: &str, bytes: &[u8], hints: impl Into<Hints>) -> Result<Vec<Sounding>> {
    // Before it is taken for a text: these tell themselves by their first bytes.
    if let Some(read) = binary::read(name, bytes) {
        return read;
    }
    let (text, byte_order_mark) = text::decode(name, bytes)?;
    let mut soundings = parse(name, &text, hints)?;
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
pub fn parse(name: &str, text: &str, hints: impl Into<Hints>) -> Result<Vec<Sounding>> {
    let Hints {
        format, columns, ..
    } = hints.into();
    // Before formats are told apart: the marks of a page stand between their words.
    let is_page = page::is_page(text);
    let plain = is_page.then(|| page::text_of(text));
    let text = plain.as_deref().unwrap_or(text);
    // Before formats are tried: words that head columns may stand in a plan, too.
    if format.is_none() && is_plan(text) {
        let expected = format!(
            "a sounding or a forecast; the winds of a plan are shown by windfall winds --plan {name}"
        );
        return Err(Fault::new(name, "a plan, which has no winds of its own", expected).into());
    }
    let format = format.or_else(|| recognise_with(text, &columns));
    let format = format.ok_or_else(|| unknown(name, is_page))?;
    let ascents = match format {
        Format::Csv => csv::read(name, text, &columns),
        Format::Igra => igra::read(name, text),
        Format::Listing => each(listing::read(name, text)),
        Format::Gsl => each(gsl::read(name, text)),
        Format::Bufkit => bufkit::read(name, text),
        Format::Spc => spc::read(name, text),
        Format::Json => json::read(name, text, &columns),
        Format::Point => each(point::read(name, text)),
    };
    let clean = |ascent: Result<Raw>| ascent.and_then(clean::clean);
    keep_usable(name, ascents.into_iter().map(clean).collect())
}

/// Whether a text is a plan, by the two sections that each must have.
fn is_plan(text: &str) -> bool {
    let has = |section: &str| {
        let mut lines = text.lines();
        lines.any(|line| line.split('#').next().unwrap_or("").trim() == section)
    };
    has("[flight]") && has("[site]")
}

fn unknown(name: &str, is_page: bool) -> Fault {
    let formats = format_names();
    if is_page {
        let expected = format!(
            "the data that the page shows or links to, saved as a text of its own: one of {formats}"
        );
        return Fault::new(
            name,
            "a page saved from the web without a sounding",
            expected,
        );
    }
    let expected = format!("a sounding as one of {formats}");
    Fault::new(name, "a text in no format that is known", expected)
}

/// The ascents of a reader that gives all or none.
fn each(read: Result<Vec<Raw>>) -> Vec<Result<Raw>> {
    match read {
        Ok(all) => all.into_iter().map(Ok).collect(),
        Err(fault) => vec![Err(fault)],
    }
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
            first.tally.lost = told(name, &faults);
            Ok(good)
        }
        None => Err(faults
            .into_iter()
            .next()
            .unwrap_or_else(|| Fault::new(name, "no ascent", "at least one sounding").into())),
    }
}

/// Ascents that were left out are told one by one up to this many.
const TOLD: usize = 3;

/// What is said of the ascents of a file that were left out.
fn told(name: &str, faults: &[Error]) -> Vec<LeftOut> {
    let one = |fault: &Error| LeftOut::Ascent {
        fault: fault.to_string(),
    };
    let mut told: Vec<LeftOut> = faults.iter().take(TOLD).map(one).collect();
    if faults.len() > TOLD {
        told.push(LeftOut::MoreAscents {
            count: faults.len() - TOLD,
            file: name.to_owned(),
        });
    }
    told
}

/// Which of several ascents is nearest in time to the release, the earlier of two equally near, that of the
/// newer run of two for the same time, the fuller of two of the same ascent.
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
    let all: Vec<&Sounding> = soundings.into_iter().collect();
    let away = |time: Timestamp| (time.duration_since(release).abs(), time);
    let numbered = all.iter().enumerate();
    let known = numbered.filter_map(|(i, sounding)| Some((away(sounding.time?), i)));
    // Of two runs of a model for the same time the newer.
    let lead_s = |i: usize| all.get(i).map_or(0.0, |sounding| sounding.lead_s());
    let nearest = known.min_by(|a, b| a.0.cmp(&b.0).then(lead_s(a.1).total_cmp(&lead_s(b.1))));
    match (nearest, all.len()) {
        (Some((_, i)), _) => Ok(fullest(&all, i)),
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

/// The fullest of those of the same place, time and run as one of them, itself where none is fuller.
fn fullest(all: &[&Sounding], which: usize) -> usize {
    let Some(one) = all.get(which) else {
        return which;
    };
    let is_same = |other: &Sounding| {
        let run = |s: &Sounding| (s.time, s.model.is_some(), s.lead_s().to_bits());
        let at_one_place = match (one.position, other.position) {
            (Some(here), Some(there)) => here.distance_m(there) < ONE_STATION_M,
            // Of two without a name nothing says that they are of one station.
            (None, None) => !one.name.is_empty() && one.name == other.name,
            _ => false,
        };
        run(one) == run(other) && at_one_place
    };
    let same = all.iter().enumerate().filter(|(_, other)| is_same(other));
    let fullest = same.min_by(|a, b| a.1.fuller_first(b.1));
    fullest.map_or(which, |(i, _)| i)
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
    fn of_two_messages_of_one_ascent_the_fuller_is_chosen() {
        let time: Timestamp = "2010-06-01T12:00:00Z".parse().unwrap();
        let at = |rows: &str, lon_deg: f64| {
            let text = format!("{TWO_LEVELS}{rows}");
            let mut s = parse("a.csv", &text, None).unwrap().remove(0);
            (s.time, s.position) = (Some(time), crate::geodesy::Position::new(43.0, lon_deg));
            s
        };
        let (part, whole) = (at("", 5.0), at("1900,8,290\n", 5.01));
        let finer = at("1700,8,290\n1900,8,290\n", 5.0);
        assert_eq!(nearest([&part, &whole], time).unwrap(), 1);
        assert_eq!(nearest([&whole, &part], time).unwrap(), 0);
        assert_eq!(nearest([&part, &whole, &finer], time).unwrap(), 2);
        // Without places and names nothing says that they are of one ascent.
        let nameless = |rows: &str| Sounding {
            position: None,
            ..at(rows, 0.0)
        };
        let two = [nameless(""), nameless("1900,8,290\n")];
        assert_eq!(nearest(&two, time).unwrap(), 0);
        // Of two stations it is still the first.
        assert_eq!(nearest([&part, &at("1900,8,290\n", 6.0)], time).unwrap(), 0);
    }

    #[test]
    fn an_unknown_text_says_what_is_known() {
        let message = parse("a.txt", "dear diary\n", None)
            .unwrap_err()
            .to_string();
        assert!(
            message.contains("gsl, bufkit, spc, json, point"),
            "{message}"
        );
    }
}
