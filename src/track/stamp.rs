//! When a report says that it was made: a moment, or only what of a clock it gives.

use jiff::civil::{Date, DateTime};
use jiff::tz::Offset;
use jiff::{SignedDuration, Timestamp, ToSpan};

use crate::clock::letters::HOURS_EAST;
use crate::clock::{after, seconds_between};

/// What a report says of its time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Stamp {
    /// A moment.
    At(Timestamp),
    /// One of these: a date whose parts may stand in several orders, the year first or last.
    OneOf([Timestamp; 3]),
    /// Seconds since midnight UTC, of some day.
    OfDay(f64),
    /// A day of some month, and seconds since midnight UTC.
    OfMonth(i8, f64),
    /// Nothing.
    Unknown,
}

/// Seconds a day.
const DAY_S: f64 = 86_400.0;
/// A stamp that names a day of the month is looked for so many days around.
const MONTH_DAYS: i64 = 20;

impl Stamp {
    /// The moment nearest to one that is known to be near; `None` where there is none.
    pub fn near(self, near: Timestamp) -> Option<Timestamp> {
        match self {
            Stamp::At(time) => Some(time),
            Stamp::OneOf(times) => nearest(near, times),
            Stamp::Unknown => None,
            Stamp::OfDay(second) => {
                let today = midnight(near)?;
                let days = [-1.0, 0.0, 1.0];
                nearest(near, days.map(|day| after(today, day * DAY_S + second)))
            }
            Stamp::OfMonth(day, second) => {
                let today = midnight(near)?;
                let days = (-MONTH_DAYS..=MONTH_DAYS)
                    .filter_map(|days| today.checked_add((24 * days).hours()).ok())
                    .filter(|there| Offset::UTC.to_datetime(*there).day() == day);
                nearest(near, days.map(|there| after(there, second)))
            }
        }
    }

    /// A time of a day that a date may be, in whichever order its parts stand.
    pub fn of_day(date: &str, second: f64) -> Stamp {
        let days = ORDERS
            .iter()
            .filter_map(|(_, order)| in_order(date, *order));
        let midnights = days.filter_map(|d| utc(d.to_datetime(jiff::civil::Time::midnight())));
        let times: Vec<Timestamp> = midnights.map(|m| after(m, second)).collect();
        match times.as_slice() {
            [] => Stamp::Unknown,
            [one] => Stamp::At(*one),
            [first, others @ ..] => {
                let last = others.last().unwrap_or(first);
                Stamp::OneOf([*first, *others.first().unwrap_or(first), *last])
            }
        }
    }
}

/// Orders of the parts of a date: which part is the year, the month and the day.
pub(super) const ORDERS: [(&str, [usize; 3]); 3] = [
    ("year, month, day", [0, 1, 2]),
    ("day, month, year", [2, 1, 0]),
    ("month, day, year", [2, 0, 1]),
];

/// A date whose parts stand in an order; its year of four digits or of two.
pub(super) fn in_order(text: &str, [year, month, day]: [usize; 3]) -> Option<Date> {
    let parts: Vec<&str> = text.trim().split(['-', '/', '.']).collect();
    let is_number = |p: &&str| !p.is_empty() && p.bytes().all(|b| b.is_ascii_digit());
    if parts.len() != 3 || !parts.iter().all(is_number) {
        return None;
    }
    let year = *parts.get(year)?;
    let years: i16 = match year.len() {
        2 => 2000 + year.parse::<i16>().ok()?,
        4 => year.parse().ok()?,
        _ => return None,
    };
    let small = |part: usize| parts.get(part)?.parse::<i8>().ok();
    Date::new(years, small(month)?, small(day)?).ok()
}

fn nearest(near: Timestamp, times: impl IntoIterator<Item = Timestamp>) -> Option<Timestamp> {
    let by_distance = |a: &Timestamp, b: &Timestamp| away_s(near, *a).total_cmp(&away_s(near, *b));
    times.into_iter().min_by(by_distance)
}

fn away_s(from: Timestamp, to: Timestamp) -> f64 {
    seconds_between(from, to).abs()
}

fn midnight(time: Timestamp) -> Option<Timestamp> {
    let day = Offset::UTC.to_datetime(time).date();
    Offset::UTC
        .to_timestamp(day.to_datetime(jiff::civil::Time::midnight()))
        .ok()
}

/// Seconds since midnight of an hour, a minute and a second that there are.
pub fn second_of_day(hour: u32, minute: u32, second: f64) -> Option<f64> {
    // With the leap second, the 61st.
    let there_is = hour < 24 && minute < 60 && (0.0..61.0).contains(&second);
    there_is.then_some(f64::from(3_600 * hour + 60 * minute) + second)
}

/// A time as files write it: RFC 3339, a date and a time with or without zone letters (without: UTC),
/// seconds, milliseconds or microseconds since 1970, or a time of the day alone.
pub fn read(text: &str) -> Stamp {
    // Tables of pages may have blanks that do not break.
    let text = text.trim().replace('\u{a0}', " ");
    let text = text.trim_matches('"').trim();
    if let Ok(number) = text.parse::<f64>() {
        return of_number(number);
    }
    if let Ok(time) = text.parse::<Timestamp>() {
        return Stamp::At(time);
    }
    of_date_and_time(text).unwrap_or_else(|| of_clock(text))
}

/// Seconds, milliseconds or microseconds since 1970, by their size: from 1985 to 2070.
pub fn of_number(number: f64) -> Stamp {
    // The units are a thousandfold apart, the range not sevenfold wide: no number fits two.
    let seconds = [1.0, 1e3, 1e6]
        .map(|unit| number / unit)
        .into_iter()
        .find(|s| (4.7e8..3.2e9).contains(s));
    let time = seconds.and_then(|s| {
        // A number so large holds no more than microseconds.
        let whole = SignedDuration::try_from_secs_f64((s * 1e6).round() / 1e6).ok()?;
        Timestamp::UNIX_EPOCH.checked_add(whole).ok()
    });
    time.map_or(Stamp::Unknown, Stamp::At)
}

/// `2024-04-05 10:19:33`, `2024/04/05 10:19:33.5 CDT`, `21-10-31 10:41:50`, `2024-04-05T10:19`, `31.10.2021 10:41`.
fn of_date_and_time(text: &str) -> Option<Stamp> {
    let (date, rest) = text.split_once([' ', 'T', 't'])?;
    let (clock, zone) = match rest.trim().split_once(' ') {
        Some((clock, zone)) => (clock, zone.trim()),
        None => (rest.trim(), ""),
    };
    let digits = clock.find(|c: char| !c.is_ascii_digit() && c != ':' && c != '.');
    let (clock, joined) = clock.split_at(digits.unwrap_or(clock.len()));
    let (half, zone) = match (is_half(joined), zone) {
        (true, zone) => (joined, zone),
        (false, "") => ("", joined),
        (false, zone) => half_and_zone(zone),
    };
    let Stamp::OfDay(second) = of_clock(&format!("{clock}{half}")) else {
        return None;
    };
    let offset_s = offset_s(zone)?;
    Some(Stamp::of_day(date, second - offset_s)).filter(|s| *s != Stamp::Unknown)
}

fn utc(clock: DateTime) -> Option<Timestamp> {
    Offset::UTC.to_timestamp(clock).ok()
}

/// Halves of the day, and the second that each begins with.
const HALVES: [(&str, f64); 2] = [("AM", 0.0), ("PM", 43_200.0)];

/// What of the words behind a clock names the half of the day, and what the zone.
fn half_and_zone(text: &str) -> (&str, &str) {
    let (word, rest) = text.split_once(' ').unwrap_or((text, ""));
    match is_half(word) {
        true => (word, rest.trim()),
        false => ("", text),
    }
}

fn is_half(word: &str) -> bool {
    HALVES
        .iter()
        .any(|(half, _)| word.eq_ignore_ascii_case(half))
}

/// `10:19:33`, `10:19:33.25`, `10:19`, with or without a `Z`, `1:19 PM`.
fn of_clock(text: &str) -> Stamp {
    let upper = text.trim().to_ascii_uppercase();
    let half = |(name, begins_s): &(&str, f64)| Some((upper.strip_suffix(name)?, *begins_s));
    let Some((clock, begins_s)) = HALVES.iter().find_map(half) else {
        return of_whole_clock(&upper);
    };
    match of_whole_clock(clock) {
        // 12 AM is midnight, 12 PM noon.
        Stamp::OfDay(second) => Stamp::OfDay(second % 43_200.0 + begins_s),
        _ => Stamp::Unknown,
    }
}

fn of_whole_clock(text: &str) -> Stamp {
    let text = text.trim().trim_end_matches('Z');
    let parts: Vec<&str> = text.split(':').collect();
    let number = |t: &str| t.parse::<u32>().ok();
    let second = match parts.as_slice() {
        [hour, minute] => number(hour).zip(number(minute)).map(|(h, m)| (h, m, 0.0)),
        [hour, minute, second] => number(hour)
            .zip(number(minute))
            .zip(second.parse::<f64>().ok())
            .map(|((h, m), s)| (h, m, s)),
        _ => None,
    };
    second
        .and_then(|(h, m, s)| second_of_day(h, m, s))
        .map_or(Stamp::Unknown, Stamp::OfDay)
}

/// Seconds east of UTC of zone letters or of an offset; none for UTC.
fn offset_s(zone: &str) -> Option<f64> {
    let upper = zone.to_ascii_uppercase();
    if ["", "Z", "UTC", "GMT"].contains(&upper.as_str()) {
        return Some(0.0);
    }
    if let Some((_, hours)) = HOURS_EAST.iter().find(|(letters, _)| *letters == upper) {
        return Some(3_600.0 * hours);
    }
    let sign = match upper.chars().next()? {
        '+' => 1.0,
        '-' => -1.0,
        _ => return None,
    };
    let digits: String = upper.chars().filter(char::is_ascii_digit).collect();
    // Three digits could be parted in two ways, so they are no offset.
    let (hours, minutes) = match digits.len() {
        1 | 2 => (digits.as_str(), "0"),
        4 => digits.split_at(2),
        _ => return None,
    };
    Some(sign * (3_600.0 * hours.parse::<f64>().ok()? + 60.0 * minutes.parse::<f64>().ok()?))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Stamp {
        Stamp::At(text.parse().unwrap())
    }

    #[test]
    fn times_are_read_in_the_forms_that_files_have() {
        for text in [
            "2024-04-05T15:19:33Z",
            "2024-04-05 15:19:33",
            "2024-04-05\u{a0}10:19:33\u{a0}CDT",
            "2024-04-05 10:19:33 CDT",
            "2024-04-05 17:19:33+0200",
            "2024-04-05T17:19:33+02:00",
            "1712330373",
            "1712330373000",
        ] {
            assert_eq!(read(text), at("2024-04-05T15:19:33Z"), "{text}");
        }
        assert_eq!(read("15:19:33"), Stamp::OfDay(55_173.0));
        for wrong in [
            "",
            "75:42:34",
            "soon",
            "2024-13-05 10:00:00",
            "2024-04-05 10:00 XYZ",
            "7",
        ] {
            assert_eq!(read(wrong), Stamp::Unknown, "{wrong}");
        }
    }

    /// With a year of two digits or last, whichever order is nearest to what is known.
    #[test]
    fn dates_are_read_in_any_order() {
        let find = |text: &str, near: &str| {
            let near = near.parse().unwrap();
            read(text).near(near).map(|t| t.to_string())
        };
        for (text, near, found) in [
            (
                "24-04-05 15:19:33",
                "2024-04-05T10:00:00Z",
                "2024-04-05T15:19:33Z",
            ),
            (
                "06-02-26 23:50",
                "2026-02-06T20:00:00Z",
                "2026-02-06T23:50:00Z",
            ),
            (
                "02/06/26 23:50",
                "2026-02-06T20:00:00Z",
                "2026-02-06T23:50:00Z",
            ),
            (
                "06-02-26 23:50",
                "2006-02-26T20:00:00Z",
                "2006-02-26T23:50:00Z",
            ),
            (
                "31.10.2021 10:41",
                "2026-02-06T20:00:00Z",
                "2021-10-31T10:41:00Z",
            ),
        ] {
            assert_eq!(find(text, near).as_deref(), Some(found), "{text}");
        }
    }

    #[test]
    fn what_of_a_clock_is_given_is_brought_to_the_nearest_moment() {
        let near = "2024-03-01T00:10:00Z".parse().unwrap();
        let find = |stamp: Stamp| stamp.near(near).map(|t| t.to_string());
        let wanted = |text: &str| Some(text.to_owned());
        assert_eq!(find(Stamp::OfDay(86_000.0)), wanted("2024-02-29T23:53:20Z"));
        assert_eq!(find(Stamp::OfDay(1_200.0)), wanted("2024-03-01T00:20:00Z"));
        assert_eq!(
            find(Stamp::OfMonth(29, 3_600.0)),
            wanted("2024-02-29T01:00:00Z")
        );
        assert_eq!(find(Stamp::OfMonth(2, 0.0)), wanted("2024-03-02T00:00:00Z"));
        assert_eq!(find(Stamp::OfMonth(45, 0.0)), None);
        assert_eq!(find(Stamp::Unknown), None);
    }
}
