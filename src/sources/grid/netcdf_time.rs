//! Times in the words of the CF conventions: "hours since 1900-01-01 00:00:00.0".
//!
//! # References
//!
//! NetCDF Climate and Forecast (CF) Metadata Conventions 1.11, sections 4.4 and 4.4.1.

use jiff::civil::{Date, DateTime, Time};
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};

use crate::numeric::nearest_whole;

/// A unit of time and the moment it is counted from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::sources) struct Since {
    unit_s: f64,
    epoch: Timestamp,
}

/// Whether units are those of a moment, not of a length of time.
pub(in crate::sources) fn is_since(units: &str) -> bool {
    units
        .split_whitespace()
        .nth(1)
        .is_some_and(|word| word.eq_ignore_ascii_case("since"))
}

/// Seconds in a unit of time.
pub(super) fn seconds_in(unit: &str) -> Option<f64> {
    Some(match unit.to_ascii_lowercase().as_str() {
        "seconds" | "second" | "secs" | "sec" | "s" => 1.0,
        "minutes" | "minute" | "mins" | "min" => 60.0,
        "hours" | "hour" | "hrs" | "hr" | "h" => 3600.0,
        "days" | "day" | "d" => 86_400.0,
        _ => return None,
    })
}

impl Since {
    /// Takes units and calendar apart; or says what is wrong with them.
    pub fn parse(units: &str, calendar: Option<&str>) -> Result<Since, String> {
        let calendar = calendar.unwrap_or("standard").trim().to_ascii_lowercase();
        let mixed = matches!(calendar.as_str(), "standard" | "gregorian");
        if !mixed && calendar != "proleptic_gregorian" {
            return Err(format!("the calendar \"{calendar}\""));
        }
        let no_time = || format!("\"{units}\"");
        let words: Vec<&str> = units.split_whitespace().collect();
        let [unit, _, moment @ ..] = words.as_slice() else {
            return Err(no_time());
        };
        let unit_s = seconds_in(unit).ok_or_else(no_time)?;
        let epoch = epoch(moment).ok_or_else(no_time)?;
        // Until October 1582 these calendars differ, and files disagree about which they mean.
        if mixed && epoch < gregorian_reform() {
            return Err(no_time());
        }
        Ok(Since { unit_s, epoch })
    }

    /// A count as seconds.
    pub fn seconds(self, count: f64) -> f64 {
        count * self.unit_s
    }

    /// The moment of a count, to the second.
    pub fn timestamp(self, count: f64) -> Option<Timestamp> {
        // Days in floating point miss whole hours by parts of a second.
        let seconds = whole_seconds(count * self.unit_s)?;
        self.epoch.checked_add(seconds).ok()
    }
}

/// A length of time to the second; `None` when it is absurd.
pub(super) fn whole_seconds(seconds: f64) -> Option<SignedDuration> {
    // 30,000 years.
    let seconds = (seconds.abs() < 1e12).then_some(seconds)?;
    nearest_whole(seconds).map(SignedDuration::from_secs)
}

fn gregorian_reform() -> Timestamp {
    // 1582-10-15, its first day.
    Timestamp::constant(-12_219_292_800, 0)
}

/// `1900-01-01`, `1900-1-1 0:0:0.0`, `2010-10-26T12:00:00+00:00`, `1970-01-01 00:00:00 UTC`.
fn epoch(words: &[&str]) -> Option<Timestamp> {
    // Some give the zone as "0:00", without a sign.
    let words = match words {
        [first @ .., "0:00" | "00:00"] if first.len() > 1 => first,
        all => all,
    };
    let text = words.join(" ");
    let parts = text.split_once([' ', 'T', 't']);
    let (date, rest) = parts.map_or((text.as_str(), ""), |(date, rest)| (date, rest.trim()));
    // Behind the date, whose hyphens would be taken for signs.
    let zone_at = rest.find(['+', '-', 'Z', 'z', 'U', 'u', 'G', 'g']);
    let (clock, zone) = rest.split_at(zone_at.unwrap_or(rest.len()));
    let local = DateTime::from_parts(date_of(date)?, clock_of(clock.trim())?);
    let utc = TimeZone::UTC.to_timestamp(local).ok()?;
    utc.checked_sub(zone_of(zone.trim())?).ok()
}

fn date_of(text: &str) -> Option<Date> {
    let mut parts = text.split('-');
    let mut next = || parts.next()?.parse::<i16>().ok();
    let (year, month, day) = (next()?, next()?, next()?);
    if parts.next().is_some() {
        return None;
    }
    Date::new(year, month.try_into().ok()?, day.try_into().ok()?).ok()
}

fn clock_of(text: &str) -> Option<Time> {
    if text.is_empty() {
        return Some(Time::midnight());
    }
    let mut parts = text.split(':');
    let hour = parts.next()?.parse().ok()?;
    let minute = parts.next().unwrap_or("0").parse().ok()?;
    let second: f64 = parts.next().unwrap_or("0").parse().ok()?;
    if parts.next().is_some() || second.fract() != 0.0 || !(0.0..60.0).contains(&second) {
        return None;
    }
    Time::new(hour, minute, nearest_whole(second)?, 0).ok()
}

/// How far a zone is ahead of UTC.
fn zone_of(text: &str) -> Option<SignedDuration> {
    if ["", "z", "utc", "gmt"].contains(&text.to_ascii_lowercase().as_str()) {
        return Some(SignedDuration::ZERO);
    }
    let (sign, text) = match text.split_at_checked(1)? {
        ("+", rest) => (1, rest),
        ("-", rest) => (-1, rest),
        _ => return None,
    };
    let (hours, minutes) = match text.split_once(':') {
        Some(parts) => parts,
        None if text.len() == 4 => text.split_at_checked(2)?,
        None => (text, "0"),
    };
    let (hours, minutes): (u8, u8) = (hours.parse().ok()?, minutes.parse().ok()?);
    let plausible = hours < 24 && minutes < 60;
    plausible
        .then(|| SignedDuration::from_mins(sign * (60 * i64::from(hours) + i64::from(minutes))))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn at(units: &str, count: f64) -> String {
        let since = Since::parse(units, None).unwrap();
        since.timestamp(count).unwrap().to_string()
    }

    #[test]
    fn times_in_all_their_forms() {
        assert_eq!(
            at("hours since 1900-01-01 00:00:00.0", 1_085_024.0),
            "2023-10-12T08:00:00Z"
        );
        assert_eq!(
            at("seconds since 1970-01-01", 1_665_655_200.0),
            "2022-10-13T10:00:00Z"
        );
        assert_eq!(
            at("Hour since 2010-10-26T12:00:00+00:00", 6.0),
            "2010-10-26T18:00:00Z"
        );
        assert_eq!(at("days since 2000-1-1 6:0:0", 0.5), "2000-01-01T18:00:00Z");
        assert_eq!(
            at("days since 2000-01-01 00:00:00 UTC", 60.0),
            "2000-03-01T00:00:00Z"
        );
        assert_eq!(
            at("minutes since 2000-01-01 12:00 -5:30", 0.0),
            "2000-01-01T17:30:00Z"
        );
        assert_eq!(
            at("seconds since 2019-01-01 00:00:00 0:00", 19_920.0),
            "2019-01-01T05:32:00Z"
        );
        assert_eq!(
            at("h since 2000-01-01T00:00:00Z", 0.0),
            "2000-01-01T00:00:00Z"
        );
    }

    #[test]
    fn what_is_no_time_is_refused() {
        for units in [
            "months since 2000-01-01",
            "hours since yesterday",
            "hours since 2000-13-01",
            "hours since 0001-01-01",
            "hours",
            "",
        ] {
            assert!(Since::parse(units, None).is_err(), "{units}");
        }
        let message = Since::parse("days since 2000-01-01", Some("360_day")).unwrap_err();
        assert_eq!(message, "the calendar \"360_day\"");
        let early = "days since 0001-01-01";
        assert!(Since::parse(early, Some("proleptic_gregorian")).is_ok());
        let since = Since::parse("days since 2000-01-01", None).unwrap();
        assert!(since.timestamp(f64::NAN).is_none());
        assert!(since.timestamp(1e300).is_none());
    }

    proptest! {
        #[test]
        fn no_text_panics(units in "\\PC*", tail in "[-0-9TZ:+ .a-z]{0,24}") {
            let _ = Since::parse(&units, None);
            let _ = Since::parse(&format!("hours since {tail}"), None);
            let _ = is_since(&units);
        }
    }
}
