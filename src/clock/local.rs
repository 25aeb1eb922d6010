//! Times as people write them: with an offset, or as the clocks of a time zone show them.

use jiff::civil::{Date, DateTime};
use jiff::fmt::temporal::{Pieces, PiecesOffset};
use jiff::tz::{AmbiguousOffset, Offset, TimeZone};
use jiff::{SignedDuration, Timestamp, ToSpan};

use super::seconds_between;

/// Why a time was not understood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TimeError {
    /// What stands there.
    pub found: String,
    /// What would be right.
    pub expected: String,
}

/// Reads "2026-05-01 09:00", "2026-05-01 9:00 am" or "2026-05-01T09:00:00-06:00". Without an offset
/// it is the time on the clocks of `zone`; an offset must be the one that `zone` has then, or `Z`.
///
/// # Errors
///
/// Not a date and a time; no offset where no time zone is known; an offset that the zone does not
/// have then; a time that its clocks skip or show twice.
pub fn read_time(text: &str, zone: Option<&TimeZone>) -> Result<Timestamp, TimeError> {
    let written = text.trim();
    let fault = |found: String, expected: String| TimeError { found, expected };
    let (clock, offset) = pieces(written).ok_or_else(|| {
        let expected = "a date and a time, as in 2026-05-01 09:00 or 2026-05-01T09:00:00-06:00";
        fault(format!("\"{written}\""), expected.to_owned())
    })?;
    let out_of_range = || fault(format!("\"{written}\""), "a time within years".to_owned());
    match (offset, zone) {
        (Some(offset), _) if offset.zulu => at(clock, offset.value).ok_or_else(out_of_range),
        (Some(offset), Some(zone)) => {
            let time = at(clock, offset.value).ok_or_else(out_of_range)?;
            let right = zone.to_offset(time);
            if right == offset.value {
                return Ok(time);
            }
            Err(fault(
                format!(
                    "{written}, with an offset that {} does not have then",
                    name(zone)
                ),
                format!(
                    "{0}, as in {1}{0}, or no offset",
                    signed(right),
                    to_the_second(clock)
                ),
            ))
        }
        (Some(offset), None) => at(clock, offset.value).ok_or_else(out_of_range),
        (None, Some(zone)) => on_clocks(clock, zone, written),
        (None, None) => Err(fault(
            format!("{written} without an offset or a time zone"),
            format!(
                "[flight] timezone, as in \"America/Denver\", or an offset, as in {}-06:00",
                to_the_second(clock)
            ),
        )),
    }
}

/// As [`read_time`], but "09:40" alone is that time on the day of `like`, or on the day before or after it where
/// that is within six hours: around midnight nobody means the other end of the day.
///
/// # Errors
///
/// As [`read_time`].
pub fn read_time_near(
    text: &str,
    like: Timestamp,
    zone: &TimeZone,
) -> Result<Timestamp, TimeError> {
    let day = zone.to_datetime(like).date();
    let alone = text.trim();
    // A date has two hyphens there; an offset behind a time has one.
    let has_day = alone.len() > 8 && alone.get(..8).is_some_and(|t| t.matches('-').count() == 2);
    if has_day {
        return read_time(alone, Some(zone));
    }
    let on = |day: Date| format!("{day} {alone}");
    // Tried before reading, so that a fault shows what was written and not the day put before it.
    if pieces(&on(day)).is_none() {
        return Err(TimeError {
            found: format!("\"{alone}\""),
            expected: "a time, as in 09:40, or a date and a time, as in 2026-05-01 09:40"
                .to_owned(),
        });
    }
    // Looked for before reading, too: that the clocks change on the day of `like` is no matter beside it.
    let is_near = |day: &Date| {
        let time = pieces(&on(*day)).and_then(|(clock, offset)| about(clock, offset, zone));
        time.is_some_and(|time| seconds_between(like, time).abs() < OTHER_DAY_S)
    };
    let beside = [day.saturating_add(1.day()), day.saturating_sub(1.day())];
    let meant = beside.into_iter().find(is_near).unwrap_or(day);
    read_time(&on(meant), Some(zone))
}

/// A time alone is on the day before or after where it is nearer than this there, s.
const OTHER_DAY_S: f64 = 21_600.0;

/// A moment at which a clock shows a time: one of them where it does so twice, the next where it never does.
fn about(clock: DateTime, offset: Option<Written>, zone: &TimeZone) -> Option<Timestamp> {
    match offset {
        Some(offset) => at(clock, offset.value),
        None => zone.to_ambiguous_timestamp(clock).compatible().ok(),
    }
}

/// An offset as it was written.
#[derive(Clone, Copy)]
struct Written {
    value: Offset,
    /// `Z`: the moment, whatever clocks there show.
    zulu: bool,
}

/// What the clock shows, and the offset.
fn pieces(text: &str) -> Option<(DateTime, Option<Written>)> {
    let (date, clock) = text.split_once(['T', 't', ' '])?;
    let clock = clock.trim().to_ascii_lowercase();
    let (clock, half) = match (clock.strip_suffix("am"), clock.strip_suffix("pm")) {
        (Some(before), _) => (before.trim(), Some(0)),
        (_, Some(before)) => (before.trim(), Some(12)),
        _ => (clock.as_str(), None),
    };
    // Without a colon "0900" or "9" would be taken too.
    let colon = clock.find(':').filter(|at| (1..=2).contains(at))?;
    let padded = if colon == 1 { "0" } else { "" };
    let text = format!("{date}T{padded}{clock}");
    let pieces = Pieces::parse(&text).ok()?;
    // A name in brackets would be a second time zone beside the plan's.
    if pieces.time_zone_annotation().is_some() {
        return None;
    }
    let mut time = pieces.time()?;
    if let Some(half) = half {
        let hour = time.hour();
        if !(1..=12).contains(&hour) {
            return None;
        }
        // 12 am is midnight, 12 pm noon.
        time = time.with().hour(hour % 12 + half).build().ok()?;
    }
    let offset = pieces.offset().map(|offset| match offset {
        PiecesOffset::Numeric(numeric) => Written {
            value: numeric.offset(),
            zulu: false,
        },
        _ => Written {
            value: Offset::UTC,
            zulu: true,
        },
    });
    Some((pieces.date().to_datetime(time), offset))
}

fn at(clock: DateTime, offset: Offset) -> Option<Timestamp> {
    offset.to_timestamp(clock).ok()
}

/// The moment at which the clocks of a zone show a time, if it is one moment.
fn on_clocks(clock: DateTime, zone: &TimeZone, written: &str) -> Result<Timestamp, TimeError> {
    let (first, second, why) = match zone.to_ambiguous_timestamp(clock).offset() {
        AmbiguousOffset::Unambiguous { offset } => (offset, offset, ""),
        AmbiguousOffset::Gap { before, after } => (before, after, "skip"),
        AmbiguousOffset::Fold { before, after } => (before, after, "show twice"),
    };
    let moment = at(clock, first).ok_or_else(|| TimeError {
        found: format!("\"{written}\""),
        expected: "a time within years".to_owned(),
    })?;
    if first == second {
        return Ok(moment);
    }
    let mut times: Vec<Timestamp> = [first, second]
        .iter()
        .filter_map(|offset| at(clock, *offset))
        .collect();
    times.sort();
    let forms: Vec<String> = times
        .iter()
        .map(|time| {
            let there = zone.to_offset(*time);
            // In a gap the clocks show another time than was written.
            let shown = there.to_datetime(*time);
            format!("{}{}", to_the_second(shown), signed(there))
        })
        .collect();
    let changed = SignedDuration::from_secs(i64::from((second.seconds() - first.seconds()).abs()));
    Err(TimeError {
        found: format!(
            "{written}, which the clocks of {} {why} as they change by {} min",
            name(zone),
            changed.as_mins()
        ),
        expected: forms.join(" or "),
    })
}

fn name(zone: &TimeZone) -> &str {
    zone.iana_name().unwrap_or("the time zone")
}

/// Names of UTC, which people use everywhere.
const EVERYWHERE: [&str; 6] = ["UTC", "Etc/UTC", "GMT", "Etc/GMT", "Zulu", "Etc/Zulu"];

/// When a day begins on the clocks of a zone; `None` of a day that it does not know.
pub fn day_begins(day: Date, zone: &TimeZone) -> Option<Timestamp> {
    let start = day.to_zoned_datetime(zone.clone());
    Some(start.ok()?.timestamp())
}

/// Its last second.
pub fn day_ends(day: Date, zone: &TimeZone) -> Option<Timestamp> {
    let next = day_begins(day.saturating_add(1.day()), zone)?;
    let second = SignedDuration::from_secs(1);
    Some(next.saturating_sub(second).unwrap_or(next))
}

/// Hours of a day, as in "05:00-11:00": seconds since midnight on the clock, in whole numbers, as a fraction
/// of an hour would not always be the minute that was meant.
pub fn read_hours(text: &str) -> Option<[i64; 2]> {
    let second = |text: &str| -> Option<i64> {
        let (h, m) = text.trim().split_once(':')?;
        let (h, m): (u8, u8) = (h.parse().ok()?, m.parse().ok()?);
        let second = 3_600 * i64::from(h) + 60 * i64::from(m);
        (m < 60 && second <= 86_400).then_some(second)
    };
    let (from, to) = text.split_once('-')?;
    let both = [second(from)?, second(to)?];
    (both[0] <= both[1]).then_some(both)
}

/// How far the clocks of a zone are ahead of the mean sun's at a longitude, s, between -12 and 12 h,
/// summer time left out; nothing for UTC.
pub fn ahead_of_sun_s(zone: &TimeZone, at: Timestamp, lon_deg: f64) -> f64 {
    if zone
        .iana_name()
        .is_none_or(|name| EVERYWHERE.contains(&name))
    {
        return 0.0;
    }
    let shown = zone.to_offset_info(at);
    let summer_s = if shown.dst().is_dst() { 3_600.0 } else { 0.0 };
    // Summer time is left out: it would look like the zone next to it.
    let ahead_s = f64::from(shown.offset().seconds()) - summer_s - lon_deg * DEGREE_S;
    // Beside the antimeridian clocks are a day apart from the sun's, which is not meant here.
    (ahead_s + HALF_DAY_S).rem_euclid(2.0 * HALF_DAY_S) - HALF_DAY_S
}

/// The sun needs so long for a degree of longitude, s.
const DEGREE_S: f64 = 240.0;
const HALF_DAY_S: f64 = 43_200.0;

/// A date and a time on the clocks of a zone, to the minute, as in "2026-05-01 09:40".
pub fn to_the_minute(at: Timestamp, zone: &TimeZone) -> String {
    zone.to_datetime(at).strftime("%Y-%m-%d %H:%M").to_string()
}

/// A date and a time, to the second, as RFC 3339 has them before the offset.
fn to_the_second(clock: DateTime) -> String {
    clock.strftime("%Y-%m-%dT%H:%M:%S").to_string()
}

/// Whether a time comes as much later than expected as it does where hours of a zone that is not UTC are read as UTC.
pub fn seems_local(zone: &TimeZone, at: Timestamp, late_s: f64) -> bool {
    const NEAR_S: f64 = 900.0;
    let offset_s = f64::from(zone.to_offset(at).seconds());
    offset_s != 0.0 && (late_s - offset_s).abs() < NEAR_S
}

/// An offset as RFC 3339 has it.
pub fn signed(offset: Offset) -> String {
    let seconds = offset.seconds();
    let (minutes, sign) = (seconds.abs() / 60, if seconds < 0 { '-' } else { '+' });
    format!("{sign}{:02}:{:02}", minutes / 60, minutes % 60)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn denver() -> TimeZone {
        TimeZone::get("America/Denver").unwrap()
    }

    fn read(text: &str) -> Result<String, String> {
        read_time(text, Some(&denver()))
            .map(|t| t.to_string())
            .map_err(|e| format!("found {}; expected {}", e.found, e.expected))
    }

    #[test]
    fn local_times_are_those_of_the_zone() {
        for text in [
            "2026-05-01 09:00",
            "2026-05-01 9:00",
            "2026-05-01T09:00:00",
            "2026-05-01 9:00 AM",
            "2026-05-01T09:00:00-06:00",
            "2026-05-01T15:00:00Z",
        ] {
            assert_eq!(read(text).unwrap(), "2026-05-01T15:00:00Z", "{text}");
        }
        assert_eq!(read("2026-01-01 12:30 pm").unwrap(), "2026-01-01T19:30:00Z");
        assert_eq!(read("2026-01-01 12:30 am").unwrap(), "2026-01-01T07:30:00Z");
        for wrong in [
            "2026-05-01",
            "09:00",
            "1 May 2026 09:00",
            "2026-05-01 0900",
            "2026-05-01 13:00 pm",
            "2026-13-01 09:00",
            "2026-05-01 09:00[Europe/Lisbon]",
            "",
        ] {
            let error = read(wrong).unwrap_err();
            assert!(error.contains("as in 2026-05-01 09:00"), "{wrong}: {error}");
        }
    }

    #[test]
    fn an_offset_must_be_that_of_the_zone() {
        assert_eq!(
            read("2026-05-01T09:00:00-07:00").unwrap_err(),
            "found 2026-05-01T09:00:00-07:00, with an offset that America/Denver does not have \
             then; expected -06:00, as in 2026-05-01T09:00:00-06:00, or no offset"
        );
        assert!(read("2026-12-01T09:00:00-07:00").is_ok());
        assert!(read_time("2026-05-01T09:00:00-07:00", None).is_ok());
        let bare = read_time("2026-05-01 09:00", None).unwrap_err();
        assert!(bare.expected.contains("timezone"), "{bare:?}");
    }

    #[test]
    fn clocks_are_near_the_sun() {
        let at = "2026-07-01T12:00:00Z".parse().unwrap();
        let ahead_h = |zone: &str, lon: f64| {
            let zone = TimeZone::get(zone).unwrap();
            ahead_of_sun_s(&zone, at, lon) / 3_600.0
        };
        assert_eq!(ahead_h("America/Denver", -105.0), 0.0);
        assert_eq!(ahead_h("America/Denver", 105.0), 10.0);
        assert_eq!(ahead_h("Asia/Shanghai", 75.0), 3.0);
        // A day ahead, but the same clocks.
        assert_eq!(ahead_h("Pacific/Kiritimati", -157.5), 0.5);
        assert_eq!(ahead_h("UTC", 150.0), 0.0);
        assert_eq!(ahead_h("Etc/GMT+7", 105.0), 10.0);
    }

    #[test]
    fn days_on_which_clocks_change_have_two_readings() {
        assert_eq!(
            read("2026-11-01 01:30").unwrap_err(),
            "found 2026-11-01 01:30, which the clocks of America/Denver show twice as they change \
             by 60 min; expected 2026-11-01T01:30:00-06:00 or 2026-11-01T01:30:00-07:00"
        );
        assert_eq!(
            read("2026-03-08 02:30").unwrap_err(),
            "found 2026-03-08 02:30, which the clocks of America/Denver skip as they change by 60 \
             min; expected 2026-03-08T01:30:00-07:00 or 2026-03-08T03:30:00-06:00"
        );
        // Each of the forms is right.
        for form in [
            "2026-11-01T01:30:00-06:00",
            "2026-11-01T01:30:00-07:00",
            "2026-03-08T01:30:00-07:00",
            "2026-03-08T03:30:00-06:00",
        ] {
            assert!(read(form).is_ok(), "{form}");
        }
    }

    #[test]
    fn around_midnight_a_time_alone_is_on_the_nearer_day() {
        let near = |text: &str, like: &str| {
            let zone = TimeZone::get("America/Detroit").unwrap();
            let time = read_time_near(text, like.parse().unwrap(), &zone);
            time.unwrap().to_string()
        };
        let [late, early] = ["2026-05-10T03:50:00Z", "2026-05-10T04:10:00Z"];
        assert_eq!(near("00:20", late), "2026-05-10T04:20:00Z");
        assert_eq!(near("12:20 am", late), "2026-05-10T04:20:00Z");
        assert_eq!(near("23:50", early), "2026-05-10T03:50:00Z");
        // From an evening to the morning of the same day, and back.
        assert_eq!(
            near("07:00", "2026-05-11T00:00:00Z"),
            "2026-05-10T11:00:00Z"
        );
        assert_eq!(
            near("20:00", "2026-05-10T11:00:00Z"),
            "2026-05-11T00:00:00Z"
        );
    }

    #[test]
    fn around_midnight_the_clocks_that_change_are_those_of_the_day_that_is_meant() {
        let near = |like: &str| {
            let zone = TimeZone::get("America/Detroit").unwrap();
            read_time_near("01:10", like.parse().unwrap(), &zone)
        };
        // They change on 1 November: for who is late on that day it is over.
        let next = near("2026-11-02T04:40:00Z").unwrap();
        assert_eq!(next.to_string(), "2026-11-02T06:10:00Z");
        // Who is late on the day before is asked which of two.
        let twice = near("2026-11-01T03:40:00Z").unwrap_err();
        assert_eq!(
            twice.expected,
            "2026-11-01T01:10:00-04:00 or 2026-11-01T01:10:00-05:00"
        );
    }

    #[test]
    fn a_time_alone_is_on_the_same_day() {
        let like = "2026-05-02T03:00:00Z".parse().unwrap();
        let read = |text: &str| read_time_near(text, like, &denver()).map(|t| t.to_string());
        assert_eq!(read("09:40").unwrap(), "2026-05-01T15:40:00Z");
        assert_eq!(read("9:40 am").unwrap(), "2026-05-01T15:40:00Z");
        assert_eq!(read("2026-05-03 09:40").unwrap(), "2026-05-03T15:40:00Z");
        assert_eq!(
            read("2026-05-03T09:40:00Z").unwrap(),
            "2026-05-03T09:40:00Z"
        );
        assert!(read("40 minutes late").is_err());
        assert!(read("25:00").is_err());
    }
}
