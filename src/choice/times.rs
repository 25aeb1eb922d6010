//! The release times that are compared.

use jiff::tz::{AmbiguousOffset, TimeZone};
use jiff::{Timestamp, ToSpan, civil};

use crate::clock::DAY_S;
use crate::units::{Dimension, QuantityError, parse};

/// Seconds that a clock counts in a day, whatever the day's length.
const CLOCK_DAY_S: i64 = 86_400;

/// The moments of a period at which a clock in the time zone shows a whole step since midnight, within
/// `hours_s` (seconds since midnight on that clock, both included); in order of time.
///
/// On a day when the clocks change, a reading that is skipped is no release, and one that comes twice
/// is two. Taking the moments before or after it in their place, as jiff does unless asked, would
/// try a moment outside the hours, or one twice, in spring, and leave out an hour of the day in autumn.
pub fn release_times(
    [from, to]: [Timestamp; 2],
    every_s: i64,
    hours_s: [i64; 2],
    zone: &TimeZone,
) -> Vec<Timestamp> {
    let date = |time: Timestamp| time.to_zoned_datetime(zone.clone()).date();
    let last = date(to);
    let readings = || {
        // A step of 0 would be none, and steps of seconds far too many.
        let steps = (0..CLOCK_DAY_S).step_by(every_s.max(60) as usize);
        steps.filter(|s| (hours_s[0]..=hours_s[1]).contains(s))
    };
    let mut times: Vec<Timestamp> = date(from)
        .series(1.day())
        .take_while(|date| *date <= last)
        .flat_map(|date| readings().map(move |s| date.at(0, 0, 0, 0).saturating_add(s.seconds())))
        .flat_map(|reading| moments(reading, zone))
        .filter(|time| (from..=to).contains(time))
        .collect();
    // Where an hour comes twice, its second round begins after all of the first.
    times.sort();
    times
}

/// More release times than this are not in a period: told before they are listed.
pub fn at_most([from, to]: [Timestamp; 2], every_s: i64, hours_s: [i64; 2]) -> f64 {
    let a_day = ((hours_s[1] - hours_s[0]) / every_s.max(60) + 1) as f64;
    // A day at each end may be begun. Where the end comes first there is no time at all, which is told later.
    let days = (to.duration_since(from).as_secs_f64() / DAY_S)
        .max(0.0)
        .ceil()
        + 1.0;
    days * a_day
}

/// A time from one release to the next as people write it, in whole minutes; s.
///
/// # Errors
///
/// What would be right.
pub fn read_step(text: &str) -> Result<i64, QuantityError> {
    let seconds = parse(text, Dimension::Time)?;
    let minutes = (seconds / 60.0).round();
    // Hours of the day are given to the minute, and steps are counted from midnight.
    let is_whole = (seconds - 60.0 * minutes).abs() < 1e-6;
    match is_whole && (60.0..=DAY_S).contains(&seconds) {
        true => Ok(minutes as i64 * 60),
        false => Err(QuantityError {
            found: format!("\"{text}\""),
            expected: "whole minutes, from a minute to a day, as in 1h or 30min".into(),
        }),
    }
}

/// The moments at which a clock shows a reading: one, none where the clocks skip it, two where it
/// comes again.
fn moments(reading: civil::DateTime, zone: &TimeZone) -> Vec<Timestamp> {
    let found = zone.to_ambiguous_timestamp(reading);
    let moments = match found.offset() {
        AmbiguousOffset::Gap { .. } => vec![],
        AmbiguousOffset::Unambiguous { .. } => vec![found.unambiguous()],
        AmbiguousOffset::Fold { .. } => vec![found.earlier(), found.later()],
    };
    // A reading at the very end of jiff's calendar has no moment.
    moments.into_iter().flatten().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOUR_S: i64 = 3_600;

    #[test]
    fn steps_are_whole_minutes() {
        assert_eq!(read_step("0.5 h"), Ok(1_800));
        assert_eq!(read_step("120 s"), Ok(120));
        for wrong in ["90 s", "1.01 h", "30 s", "25 h"] {
            assert!(read_step(wrong).is_err(), "{wrong}");
        }
    }

    fn t(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    /// The release times of one local day of a zone, in UTC.
    fn of_day(zone: &str, day: &str, every_s: i64, hours: [i64; 2]) -> Vec<Timestamp> {
        let zone = TimeZone::get(zone).unwrap();
        let day: civil::Date = day.parse().unwrap();
        let start = |day: civil::Date| day.to_zoned_datetime(zone.clone()).unwrap().timestamp();
        let end = t(&start(day.tomorrow().unwrap()).to_string());
        let period = [start(day), end.checked_sub(1.second()).unwrap()];
        release_times(period, every_s, hours.map(|h| h * HOUR_S), &zone)
    }

    fn at(day: &str, times: &[&str]) -> Vec<Timestamp> {
        times.iter().map(|h| t(&format!("{day}T{h}:00Z"))).collect()
    }

    #[test]
    fn release_times_are_on_whole_steps_of_the_local_day() {
        let zone = TimeZone::get("Europe/Lisbon").unwrap();
        let period = [t("2023-10-12T08:00:00Z"), t("2023-10-13T18:00:00Z")];
        let times = release_times(period, HOUR_S, [5 * HOUR_S, 11 * HOUR_S], &zone);
        let expected = [
            "2023-10-12T08:00:00Z",
            "2023-10-12T09:00:00Z",
            "2023-10-12T10:00:00Z",
            "2023-10-13T04:00:00Z",
            "2023-10-13T05:00:00Z",
            "2023-10-13T06:00:00Z",
            "2023-10-13T07:00:00Z",
            "2023-10-13T08:00:00Z",
            "2023-10-13T09:00:00Z",
            "2023-10-13T10:00:00Z",
        ];
        let expected: Vec<Timestamp> = expected.iter().map(|s| t(s)).collect();
        assert_eq!(times, expected);
        assert!(release_times(period, HOUR_S, [12 * HOUR_S, 11 * HOUR_S], &zone).is_empty());
    }

    #[test]
    fn in_spring_the_hours_are_those_of_the_clock() {
        // Lisbon went from 01:00 to 02:00 at 01:00 UTC.
        let day = "2023-03-26";
        let of = |hours| of_day("Europe/Lisbon", day, HOUR_S, hours);
        assert_eq!(of([0, 0]), at(day, &["00:00"]), "before");
        assert_eq!(of([0, 3]), at(day, &["00:00", "01:00", "02:00"]), "across");
        assert!(of([1, 1]).is_empty(), "01:00 does not exist");
        let after = [
            "04:00", "05:00", "06:00", "07:00", "08:00", "09:00", "10:00",
        ];
        assert_eq!(of([5, 11]), at(day, &after), "after");
        // Steps are the clock's as well: 00:00, (01:30), 03:00, 04:30.
        let steps = of_day("Europe/Lisbon", day, 3 * HOUR_S / 2, [0, 5]);
        assert_eq!(steps, at(day, &["00:00", "02:00", "03:30"]));
    }

    #[test]
    fn in_autumn_the_hours_are_those_of_the_clock_and_one_comes_twice() {
        // Lisbon went from 02:00 back to 01:00 at 01:00 UTC.
        let day = "2023-10-29";
        let of = |hours| of_day("Europe/Lisbon", day, HOUR_S, hours);
        assert_eq!(of([0, 0]), [t("2023-10-28T23:00:00Z")], "before");
        let across = [
            &[t("2023-10-28T23:00:00Z")][..],
            &at(day, &["00:00", "01:00", "02:00"]),
        ];
        assert_eq!(
            of([0, 2]),
            across.concat(),
            "across: 00:00, 01:00 twice, 02:00"
        );
        assert_eq!(of([5, 7]), at(day, &["05:00", "06:00", "07:00"]), "after");
        let halves = of_day("Europe/Lisbon", day, HOUR_S / 2, [1, 1]);
        assert_eq!(halves, at(day, &["00:00", "01:00"]));
        let rounds = release_times(
            [t("2023-10-29T00:00:00Z"), t("2023-10-29T01:59:59Z")],
            HOUR_S / 2,
            [HOUR_S, 2 * HOUR_S],
            &TimeZone::get("Europe/Lisbon").unwrap(),
        );
        assert_eq!(
            rounds,
            at(day, &["00:00", "00:30", "01:00", "01:30"]),
            "in order of time"
        );
    }

    #[test]
    fn a_whole_day_has_all_its_hours() {
        for (zone, day, hours) in [
            ("Europe/Lisbon", "2023-10-29", 25),
            ("Europe/Lisbon", "2023-03-26", 23),
            ("Europe/Lisbon", "2023-06-01", 24),
            // The clocks change at midnight, back and forth.
            ("America/Havana", "2023-11-05", 25),
            ("America/Havana", "2023-03-12", 23),
            ("UTC", "2023-10-29", 24),
        ] {
            let times = of_day(zone, day, HOUR_S, [0, 24]);
            assert_eq!(times.len(), hours, "{zone} {day}");
            let apart = |w: &[Timestamp]| w[1].duration_since(w[0]).as_secs();
            assert!(times.windows(2).all(|w| apart(w) == HOUR_S), "{zone} {day}");
        }
        // Lord Howe changes by half an hour: 02:00 is skipped, 02:30 is not.
        let half = of_day("Australia/Lord_Howe", "2023-10-01", HOUR_S / 2, [1, 3]);
        let expected = ["14:30", "15:00", "15:30", "16:00"];
        assert_eq!(half, at("2023-09-30", &expected));
    }
}
