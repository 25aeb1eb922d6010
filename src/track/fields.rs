//! Which column or member of a table or of JSON is the time, the place and the height: by name, or as
//! the user says.

use super::stamp::{self, Stamp};
use super::{FOOT_M, Outcome, Refusal, Report};
use crate::error::{Fault, Result};
use crate::geodesy::Position;
use crate::units::{Dimension, symbols, to_si};

/// What is looked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum What {
    /// When.
    Time,
    /// The day of it, where it stands by itself.
    Date,
    /// Latitude.
    Latitude,
    /// Longitude.
    Longitude,
    /// Altitude.
    Altitude,
    /// Which tracker.
    Tracker,
    /// When it was heard.
    Heard,
}

/// Names by which things are known, in lower case, without anything between words.
const KNOWN: [(What, &[&str]); 7] = [
    (
        What::Time,
        &[
            "time",
            "t",
            "timestamp",
            "at",
            "txat",
            "datetime",
            "utc",
            "timeutc",
            "utctime",
            "transmittime",
            "gpstime",
            "fixtime",
            "unixtime",
            "unix",
            "epoch",
            "isotime",
            "timestamputc",
            "datetimeutc",
        ],
    ),
    (
        What::Date,
        &["date", "day", "utcdate", "gpsdate", "dateutc"],
    ),
    (
        What::Latitude,
        &[
            "lat",
            "latitude",
            "latitudei",
            "latitudedeg",
            "latdeg",
            "gpslat",
            "gpslatitude",
        ],
    ),
    (
        What::Longitude,
        &[
            "lon",
            "lng",
            "long",
            "longitude",
            "longitudei",
            "longitudedeg",
            "londeg",
            "lngdeg",
            "gpslon",
            "gpslong",
            "gpslongitude",
        ],
    ),
    (
        What::Altitude,
        &[
            "alt",
            "altitude",
            "height",
            "ele",
            "elevation",
            "gpsalt",
            "gpsaltitude",
            "altmsl",
            "altitudemsl",
            "amsl",
            "gpsheight",
        ],
    ),
    (
        What::Tracker,
        &[
            "tracker",
            "call",
            "callsign",
            "payloadcallsign",
            "payload",
            "id",
            "name",
            "device",
            "deviceid",
            "imei",
            "serial",
            "source",
            "station",
        ],
    ),
    (
        What::Heard,
        &["heard", "heardat", "receivedat", "received", "timereceived"],
    ),
];

/// Where one thing stands, and its unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// A path of names, or one number of a column (from 1).
    pub path: Vec<String>,
    /// What its numbers are multiplied by.
    pub scale: f64,
}

/// Where things stand, as the user says.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Fields {
    given: Vec<(usize, Place)>,
}

/// How far back among the names of a tracker one stands: a column of numbers called `id` is none beside a call sign.
pub fn rank(name: &str) -> usize {
    let of_tracker = KNOWN.iter().find(|(w, _)| *w == What::Tracker);
    let at = of_tracker.and_then(|(_, names)| names.iter().position(|n| *n == name));
    at.unwrap_or(usize::MAX)
}

fn number_of(what: What) -> usize {
    KNOWN.iter().position(|(w, _)| *w == what).unwrap_or(0)
}

impl Fields {
    /// From `time=...,lat=...,lon=...,alt=...`: names or dotted paths, for tables also numbers of
    /// columns; behind a colon the unit, as in `alt=gps.height:ft`.
    ///
    /// # Errors
    ///
    /// When it is not that.
    pub fn parse(text: &str) -> Result<Fields> {
        const EXPECTED: &str = "time=...,lat=...,lon=...,alt=... (also date, tracker, heard) with names or dotted paths, \
             a unit behind a colon, as in alt=gps.height:ft";
        let mut given = Vec::new();
        for part in text.split(',').filter(|p| !p.trim().is_empty()) {
            let fault = || Fault::new("--fields", format!("\"{}\"", part.trim()), EXPECTED);
            let (key, value) = part.split_once('=').ok_or_else(fault)?;
            let what = what(&plain(key)).ok_or_else(fault)?;
            let (path, unit) = match value.rsplit_once(':') {
                Some((path, unit)) => (path, Some(unit.trim())),
                None => (value, None),
            };
            let path: Vec<String> = path.split('.').map(|p| p.trim().to_owned()).collect();
            if path.iter().any(String::is_empty) {
                return Err(fault().into());
            }
            let scale = match unit {
                None => default_scale(path.last().map_or("", String::as_str)),
                Some("1e-7") => 1e-7,
                Some(unit) => to_si(1.0, unit, Dimension::Length).ok_or_else(|| {
                    let expected = format!("one of {}, or 1e-7", symbols(Dimension::Length));
                    Fault::new("--fields", format!("the unit \"{unit}\""), expected)
                })?,
            };
            given.push((number_of(what), Place { path, scale }));
        }
        Ok(Fields { given })
    }

    /// Where the user says that something stands.
    pub fn given(&self, what: What) -> Option<&Place> {
        let number = number_of(what);
        self.given
            .iter()
            .find(|(n, _)| *n == number)
            .map(|(_, p)| p)
    }

    /// Whether the user says anything.
    pub fn is_given(&self) -> bool {
        !self.given.is_empty()
    }
}

/// A name in lower case, without what stands between its words and without a unit.
pub fn plain(name: &str) -> String {
    let bare = name.split(['(', '[']).next().unwrap_or(name);
    let lower = bare.trim().trim_matches('"').to_lowercase();
    let mut words: Vec<&str> = lower
        .split(|c: char| !c.is_alphanumeric())
        .filter(|w| !w.is_empty())
        .collect();
    // A unit alone stays a name.
    if words.len() > 1
        && words
            .last()
            .is_some_and(|w| UNITS.iter().any(|(u, _)| u == w))
    {
        words.pop();
    }
    words.concat()
}

/// What a name (as [`plain`] makes it) stands for.
pub fn what(plain: &str) -> Option<What> {
    KNOWN
        .iter()
        .find(|(_, names)| names.contains(&plain))
        .map(|(w, _)| *w)
}

/// Units that stand in names of columns.
const UNITS: [(&str, f64); 11] = [
    ("m", 1.0),
    ("meters", 1.0),
    ("metres", 1.0),
    ("meter", 1.0),
    ("metre", 1.0),
    ("ft", FOOT_M),
    ("feet", FOOT_M),
    ("foot", FOOT_M),
    ("km", 1_000.0),
    ("deg", 1.0),
    ("degrees", 1.0),
];

/// What a name says of its unit: metres and degrees unless it names another.
pub fn default_scale(name: &str) -> f64 {
    let lower = name.to_lowercase();
    // Names for whole numbers in units of 1e-7 degrees.
    if matches!(plain(name).as_str(), "latitudei" | "longitudei") {
        return 1e-7;
    }
    let words = |text: &str| -> Vec<String> {
        let parts = text.split(|c: char| !c.is_alphanumeric());
        parts.filter(|w| !w.is_empty()).map(str::to_owned).collect()
    };
    let unit = |word: &String| {
        UNITS
            .iter()
            .find(|(unit, _)| *unit == word.as_str() && *unit != lower)
    };
    // Behind its unit a bracket may say above what: "(ft MSL)".
    let bracket = lower.split_once(['(', '[']);
    let within = bracket.and_then(|(_, text)| words(text).iter().find_map(unit));
    let said = within.or_else(|| words(&lower).last().and_then(unit));
    said.map_or(1.0, |(_, scale)| *scale)
}

/// A report from the texts of its parts; `text` gives that of one, with the scale of its numbers.
pub fn report(text: impl Fn(What) -> Option<(String, f64)>) -> Outcome {
    let lat = text(What::Latitude);
    let lon = text(What::Longitude);
    let (Some(lat), Some(lon)) = (lat, lon) else {
        return Err(Refusal::NoPosition);
    };
    let filled = |(t, _): &(String, f64)| {
        !matches!(t.trim(), "" | "null" | "nan" | "NaN" | "-" | "NA" | "N/A")
    };
    // A place that is left empty is a tracker without a fix, no damage.
    if !filled(&lat) || !filled(&lon) {
        return Err(Refusal::NoFix);
    }
    let decimal = decimal_sign(&lat.0).or(decimal_sign(&lon.0));
    let degrees = |(t, scale): (String, f64)| degrees(&t).map(|d| d * scale);
    let (lat, lon) = degrees(lat).zip(degrees(lon)).ok_or(Refusal::Damaged)?;
    let position = Position::new(lat, lon)
        .or_else(|| in_minutes(lat, lon))
        .ok_or(Refusal::Damaged)?;
    let height = text(What::Altitude).filter(filled);
    // Left empty it is no height, which the gate counts as such; unreadable, it is damage.
    let altitude_m = match height {
        None => None,
        Some((t, scale)) => Some(length(&t, scale, decimal).ok_or(Refusal::Damaged)?),
    };
    let time = text(What::Time).map_or(Stamp::Unknown, |(t, _)| stamp::read(&t));
    // Beside a whole moment a column of dates adds nothing.
    let stamp = match (time, text(What::Date)) {
        (Stamp::OfDay(second), Some((date, _))) => match Stamp::of_day(&date, second) {
            Stamp::Unknown => time,
            dated => dated,
        },
        _ => time,
    };
    let heard = text(What::Heard).map(|(t, _)| stamp::read(&t));
    Ok(Report {
        tracker: text(What::Tracker).map_or(String::new(), |(t, _)| t.trim().to_owned()),
        stamp,
        heard: match heard {
            Some(Stamp::At(heard)) => Some(heard),
            _ => None,
        },
        position,
        altitude_m,
    })
}

/// A place as loggers write it that copy it from NMEA with a sign: `4036.073` and `-8813.312` are degrees and
/// minutes. They are told by being no degrees.
fn in_minutes(lat: f64, lon: f64) -> Option<Position> {
    let degrees = |x: f64| {
        let (whole, minutes) = ((x.abs() / 100.0).floor(), x.abs() % 100.0);
        (minutes < 60.0).then(|| x.signum() * (whole + minutes / 60.0))
    };
    Position::new(degrees(lat)?, degrees(lon)?)
}

/// Degrees as tables have them: a number, with a comma for the point, with a letter of the side. Beside a letter of
/// the south or the west a sign says the same once more.
fn degrees(text: &str) -> Option<f64> {
    let text = text.trim().trim_end_matches('°');
    let upper = text.to_ascii_uppercase();
    let (digits, turned) = match upper.strip_suffix(['N', 'E']) {
        Some(digits) => (digits.to_owned(), false),
        None => match upper.strip_suffix(['S', 'W']) {
            Some(digits) => (digits.to_owned(), true),
            None => (upper, false),
        },
    };
    let digits = digits.trim().trim_end_matches('°').replace(',', ".");
    let degrees = digits
        .trim()
        .parse::<f64>()
        .ok()
        .filter(|d| d.is_finite())?;
    Some(if turned { -degrees.abs() } else { degrees })
}

/// The sign before decimals in a row, by its place.
fn decimal_sign(degrees: &str) -> Option<char> {
    degrees.chars().find(|c| matches!(c, '.' | ','))
}

/// A length in metres: a number in a unit of so many, or with its own unit. Beside a sign of decimals the other
/// one stands between thousands.
fn length(text: &str, scale: f64, decimal: Option<char>) -> Option<f64> {
    let text = text.trim();
    // An e may be of the number.
    let end = text.find(|c: char| c.is_alphabetic() && c != 'e' && c != 'E');
    let (digits, unit) = text.split_at(end.unwrap_or(text.len()));
    let value = number(digits.trim(), decimal)?;
    match unit.trim() {
        "" => Some(scale * value),
        // Said beside the number, it counts before that of the column.
        unit => to_si(value, unit, Dimension::Length),
    }
}

/// A number with one sign before decimals, another between thousands, or neither.
fn number(digits: &str, decimal: Option<char>) -> Option<f64> {
    let thousands = |sign: char| {
        let whole = digits.split(if sign == ',' { '.' } else { ',' }).next()?;
        let mut groups = whole.trim_start_matches(['-', '+']).split(sign);
        let first = groups.next()?;
        let mut groups = groups.peekable();
        let is_one = groups.peek().is_some()
            && (1..=3).contains(&first.len())
            && groups.all(|g| g.len() == 3 && g.bytes().all(|b| b.is_ascii_digit()));
        is_one.then(|| digits.replace(sign, "").replace(',', "."))
    };
    let several = |sign: char| digits.matches(sign).count() > 1;
    let plain = match decimal {
        Some('.') if thousands(',').is_some() => thousands(',')?,
        Some(',') if thousands('.').is_some() => thousands('.')?,
        // Nothing tells whether 5,381 is five or five thousand.
        None if digits.contains(',') && !several(',') && thousands(',').is_some() => return None,
        None if several(',') => thousands(',')?,
        _ => digits.replace(',', "."),
    };
    plain.parse::<f64>().ok().filter(|v| v.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sign_and_a_letter_say_the_same() {
        for text in ["-33.865 S", "33.865 S", "-33.865", "33,865°S", "-33.865° s"] {
            assert_eq!(degrees(text), Some(-33.865), "{text}");
        }
        assert_eq!(degrees("151.2094 E"), Some(151.2094));
        assert_eq!(degrees("-108.35W"), Some(-108.35));
    }

    #[test]
    fn the_unit_of_a_name_is_its_last_word_or_the_first_in_brackets() {
        for name in [
            "Altitude (ft)",
            "Altitude (ft MSL)",
            "alt [ft AMSL]",
            "Altitude (feet above sea level)",
            "altitude_ft",
        ] {
            assert_eq!(default_scale(name), FOOT_M, "{name}");
        }
        for name in [
            "altitude",
            "alt (m above sea level)",
            "m",
            "height_m",
            "alt (MSL)",
        ] {
            assert_eq!(default_scale(name), 1.0, "{name}");
        }
    }

    #[test]
    fn heights_with_signs_between_thousands_and_with_units_of_their_own() {
        let near = |found: Option<f64>, right: f64| found.is_some_and(|f| (f - right).abs() < 1e-9);
        let (dot, comma) = (Some('.'), Some(','));
        assert!(near(length("5,381", FOOT_M, dot), 5_381.0 * FOOT_M));
        assert!(near(length("5381 ft", FOOT_M, dot), 5_381.0 * FOOT_M));
        assert!(near(length("5,381 ft", FOOT_M, dot), 5_381.0 * FOOT_M));
        assert!(near(length("1640 m", FOOT_M, dot), 1_640.0));
        assert!(near(length("12,345,678.5", 1.0, None), 12_345_678.5));
        assert!(near(length("-1,234.5", 1.0, dot), -1_234.5));
        assert!(near(length("1640,5", 1.0, comma), 1_640.5));
        assert!(near(length("1.640,5", 1.0, comma), 1_640.5));
        assert!(near(length("31.640", 1.0, comma), 31_640.0));
        assert!(near(length("1640.5", 1.0, comma), 1_640.5));
        assert!(near(length("1640,5", 1.0, None), 1_640.5));
        assert!(near(length("1.5e3", 1.0, dot), 1_500.0));
        assert!(near(length("1640,5", 1.0, dot), 1_640.5));
        // Commas where neither kind of sign may stand, and one that may be either.
        assert_eq!(length("1,23,456", 1.0, dot), None);
        assert_eq!(length("5,381", 1.0, None), None);
    }
}
