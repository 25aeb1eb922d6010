//! Words for years of winds.

use crate::units::UnitSystem;
use crate::years::answer::{Bounds, Counts, Drift, ENOUGH_YEARS, Season, Years};
use crate::years::release::{Decides, Unknown};

/// The limit in a few words.
pub fn limit(limit: Decides) -> &'static str {
    match limit {
        Decides::Drift => "drift",
        Decides::SurfaceWind => "wind at the ground",
        Decides::KeepOut => "things to keep clear of",
        Decides::Water => "water",
        Decides::Daylight => "daylight",
        Decides::DarkRelease => "release in the dark",
    }
}

/// Why nothing is known.
pub fn unknown(why: Unknown) -> &'static str {
    match why {
        Unknown::LeftRegion => "flights left the region of the winds",
        Unknown::LeftHours => "the winds do not reach the hours of the flight",
        Unknown::OldWinds => "the nearest sounding is too old",
        Unknown::DistantWinds => "the nearest sounding is too far away",
        Unknown::OffMap => "flights came down farther away than the ground was read",
        Unknown::NotFlown => "the stack did not make a flight, or too few draws came down",
    }
}

/// A mean landing place nearer than this share of the median drift is no direction.
const ONE_WAY: f64 = 0.25;

/// The months, short.
const MONTHS: [&str; 12] = [
    "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
];

/// A month, or the year.
pub fn month(month: Option<i8>) -> &'static str {
    let at = month.and_then(|m| usize::try_from(m).ok()?.checked_sub(1));
    at.and_then(|at| MONTHS.get(at)).copied().unwrap_or("year")
}

/// A time on the clock.
pub fn hour(at_s: i64) -> String {
    format!("{:02}:{:02}", at_s / 3_600, at_s % 3_600 / 60)
}

/// A share in whole percent, both bounds where they differ.
pub fn bounds(of: Bounds) -> String {
    // As written: bounds that differ by less than can be seen are one number.
    let [low, high] = [of.at_least, of.at_most].map(|share| format!("{:.0}", 100.0 * share));
    match low == high {
        true => format!("{low} %"),
        false => format!("{low}-{high} %"),
    }
}

/// What decides about most of the releases beyond a limit, with their shares of these.
pub fn deciding(counts: &Counts, most: usize) -> String {
    let mut decided = counts.decided.clone();
    // The sort is stable: where counts are equal the order of the limits stays.
    decided.sort_by_key(|d| std::cmp::Reverse(d.1));
    // Months without any are no division by nought.
    let of = counts.beyond.max(1) as f64;
    let words = decided.iter().take(most).map(|(limit, count)| {
        let share = 100.0 * *count as f64 / of;
        format!("{} {share:.0} %", self::limit(*limit))
    });
    words.collect::<Vec<_>>().join(", ")
}

/// How much is unknown, and why: nothing where nothing is.
pub fn what_is_unknown(counts: &Counts) -> Vec<String> {
    let of = |count: usize| 100.0 * count as f64 / counts.releases.max(1) as f64;
    let each = counts.why_unknown.iter();
    each.map(|(why, count)| {
        format!(
            "{count} of {} releases ({:.1} %): {}",
            counts.releases,
            of(*count),
            unknown(*why)
        )
    })
    .collect()
}

/// How long one waits, in words.
pub fn wait(season: &Season) -> String {
    let Some(wait) = &season.wait else {
        return String::new();
    };
    // The unknown days make two numbers of it: as if they were good, and as if they were not.
    let (least, most) = (wait.longest_at_least, wait.longest_at_most);
    let days = match least == most {
        true => format!("{most} d"),
        false => format!("{least}-{most} d"),
    };
    days + if wait.cut_short { "+" } else { "" }
}

/// How many of a thing.
fn several(count: usize, what: &str) -> String {
    match count {
        1 => format!("1 {what}"),
        _ => format!("{count} {what}s"),
    }
}

/// Days of years that count as none, if any.
fn other_days(days: usize) -> String {
    match days {
        0 => String::new(),
        days => format!(" and {} of other years", several(days, "day")),
    }
}

/// What was flown through.
pub fn record(years: &Years) -> String {
    let [from, to] = years.days;
    let of = match years.of_soundings {
        true => "sounding",
        false => "time",
    };
    format!(
        "{from} to {to}: {} with releases in {}{}, {} from each field; {} in {}",
        several(years.day_count, "day"),
        several(years.year_count, "year"),
        other_days(years.other_days),
        several(years.releases, "release"),
        several(years.times, of),
        several(years.files, "file")
    )
}

/// What the numbers mean.
pub fn how_to_read(years: &Years) -> Vec<String> {
    let mut lines = vec![
        "A release near a limit still counts as within the limits; a day counts if one of its releases does. Two numbers, as in 40-60 %, are at least and at most: releases of which nothing is known (flights that leave the winds among them) count against, or for. Where there are many, the first number stands for calm days alone.".to_owned(),
        "Drift is from the field to the centre of the landings: half of the releases, and 90 %, drift no farther. Of these numbers releases of which nothing is known are left out; JSON has what they may be with them.".to_owned(),
        "toward: the direction of the mean landing place; \"no one way\" where that is nearer than a quarter of the drift of half of the releases.".to_owned(),
        format!(
            "days a week: 10, 50 and 90 % of the weeks have no more days within the limits. wait: days from the morning of a day until one within the limits, 0 where that day is; {}. + where it ran into the end of the record or a gap in it.",
            longest(&years_of_waits(years))
        ),
        "of 90 %: where the share lies in 90 % of samples of the years, drawn with replacement (bootstrap), from what is at least in 5 % to what is at most in 95 % of them; it shows how much the years differ, not how good the winds are. Years with less than four fifths of the days of others are left out here, and of waits of which ten years or more tell.".to_owned(),
    ];
    if years.of_soundings {
        lines.push("The winds are soundings: each release uses those near it in time, and their age widens the spread.".to_owned());
    }
    lines
}

/// What the longest wait is the longest of, by how many years tell of each.
fn longest(years: &[usize]) -> String {
    let most = years.iter().copied().max().unwrap_or(0);
    let of = match most {
        ENOUGH_YEARS.. if years.iter().all(|of| *of >= ENOUGH_YEARS) => {
            return "the longest that begins in the month is no longer in 9 of 10 years".to_owned();
        }
        ENOUGH_YEARS.. => {
            return "the longest that begins in the month, where ten years or more tell of it no longer in 9 of 10 of them (where fewer do, in another year it may be longer)".to_owned();
        }
        1 => "the one year".to_owned(),
        most => format!("these {most} years"),
    };
    format!(
        "the longest that begins in the month in {of} (fewer than ten: in another year it may be longer)"
    )
}

/// How many years tell of the waits in each time of the year.
fn years_of_waits(years: &Years) -> Vec<usize> {
    let fields = years.fields.iter();
    let seasons = fields.flat_map(|field| field.months.iter().chain([&field.year]));
    let waits = seasons.filter_map(|season| season.wait);
    waits.map(|wait| wait.years).collect()
}

/// The order of fields.
pub fn ranking(years: &Years) -> &'static str {
    match years.into {
        Some(_) => {
            "by the share of flights that come down in the target, at least; then by releases within the limits. What is unknown counts against a field."
        }
        None => {
            "by the share of days with a release within the limits, at least; then by releases. What is unknown counts against a field."
        }
    }
}

/// A drift with its direction.
pub fn drift(season: &Season, units: UnitSystem) -> [String; 3] {
    match &season.drift {
        Some(drift) => [
            units.distance(drift.median_m),
            units.distance(drift.most_m),
            toward(drift).to_owned(),
        ],
        None => ["?".to_owned(), "?".to_owned(), String::new()],
    }
}

/// Where flights go, if they go one way.
fn toward(drift: &Drift) -> &'static str {
    match drift.mean_m < ONE_WAY * drift.median_m {
        true => "no one way",
        false => super::words::compass(drift.mean_azimuth_deg),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fewer_than_ten_years_do_not_tell_of_nine_in_ten() {
        assert!(longest(&[10, 11]).ends_with("is no longer in 9 of 10 years"));
        assert!(longest(&[4, 3]).contains("in these 4 years (fewer than ten"));
        assert!(longest(&[1]).contains("in the one year (fewer"));
        assert!(longest(&[9, 10]).contains("where fewer do"));
    }

    #[test]
    fn days_beside_the_years_are_no_part_of_these() {
        assert_eq!(other_days(0), "");
        assert_eq!(other_days(366), " and 366 days of other years");
    }

    #[test]
    fn flights_that_go_all_ways_have_no_direction() {
        let drift = |mean_m| Drift {
            known: 10,
            median_m: 40_000.0,
            most_m: 60_000.0,
            median_between_m: [None; 2],
            most_between_m: [None; 2],
            mean_azimuth_deg: 90.0,
            mean_m,
            rose: Vec::new(),
        };
        assert_eq!(toward(&drift(9_000.0)), "no one way");
        assert_eq!(toward(&drift(11_000.0)), super::super::words::compass(90.0));
    }
}
