//! How clocks were lined up with a track, in words.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::clock::DAY_S;
use crate::debrief::clocks::{Aligned, By, Shown};
use crate::report::layout::wrapped;
use crate::report::words::clock_with_zone;
use crate::track::logger::{Clock, Logger, LoggerNote};
use crate::track::photo::Photo;
use crate::units::{UnitSystem, duration};

/// Offsets of clocks that people set are smaller, s; larger ones are told as what the clock says.
const LARGE_S: f64 = DAY_S;

fn rows(said: &[(&str, String)]) -> String {
    let mut text = String::new();
    for (name, what) in said {
        for (i, line) in wrapped(what, 84).iter().enumerate() {
            text += &format!("{:15}{line}\n", if i == 0 { name } else { "" });
        }
    }
    text
}

fn seconds(s: f64) -> String {
    format!("{s:+.1} s")
}

/// A logger lined up.
pub fn logger(
    logger: &Logger,
    aligned: &Aligned,
    with_place: usize,
    zone: &TimeZone,
    units: UnitSystem,
) -> String {
    let by = match aligned.by {
        By::Profile { fixes, rms_m } => format!(
            "heights beside {fixes} fixes below 10 km, a cubic of the logger's, which then differ by {} (rms)",
            units.height(rms_m)
        ),
        By::Shocks { each_s } => format!(
            "the shocks of burst and landing, whose offsets differ by {:.0} s",
            (each_s[0] - each_s[1]).abs()
        ),
        By::Shock { of } => format!(
            "one shock that stands out, taken for the {} (assumed)",
            event(of)
        ),
        By::Photo => "a photo".to_owned(),
    };
    let mut said = vec![
        ("lined up by", by),
        (
            "offset",
            offset(
                aligned,
                aligned.is_of_dates(logger.clock),
                logger.clock,
                zone,
            ),
        ),
        ("rows", rows_of(logger, aligned, with_place)),
    ];
    said.extend(logger.notes.iter().map(|n| ("", note(n))));
    format!("\nThe logger beside the track\n\n{}", rows(&said))
}

fn offset(aligned: &Aligned, of_dates: bool, clock: Clock, zone: &TimeZone) -> String {
    // From the offset on, as the deviation beside them is.
    let [low, high] = aligned.range_s.map(|s| s - aligned.offset_s);
    let doubt = format!(
        "+- {:.1} s (one standard deviation; 19 of 20 from {} to {})",
        aligned.sigma_s,
        seconds(low),
        seconds(high)
    );
    if of_dates && aligned.offset_s.abs() < LARGE_S {
        let side = if aligned.offset_s < 0.0 {
            "behind"
        } else {
            "ahead of"
        };
        return format!(
            "its clock is {:.1} s ({}) {side} UTC, {doubt}",
            aligned.offset_s.abs(),
            duration(aligned.offset_s.abs())
        );
    }
    let zero: Timestamp = aligned.time(0.0);
    match clock {
        Clock::Date => format!(
            "its clock is {:.1} days {} UTC, {doubt}",
            aligned.offset_s.abs() / DAY_S,
            side(aligned.offset_s)
        ),
        // It has no date: all that it tells is when it showed nothing.
        _ => format!(
            "its clock showed 0 at {} ({zero:.1}), {doubt}",
            clock_with_zone(zero, zone)
        ),
    }
}

/// On which side of another a clock is that is so much ahead of it, s.
fn side(ahead_s: f64) -> &'static str {
    match ahead_s < 0.0 {
        true => "behind",
        false => "ahead of",
    }
}

fn rows_of(logger: &Logger, aligned: &Aligned, with_place: usize) -> String {
    let [from, to] = aligned.rows;
    let line = |i: usize| logger.rows.get(i).map_or(0, |r| r.line);
    let runs = match logger.runs.len() {
        1 => String::new(),
        n => format!(" of {n} power cycles or flights in it"),
    };
    format!(
        "those from line {} to {}{runs}; {with_place} of them have a place on the track",
        line(from),
        // The range ends before its second number.
        line(to.saturating_sub(1))
    )
}

fn note(note: &LoggerNote) -> String {
    match note {
        LoggerNote::NoNames { time, pressure } => {
            let pressure =
                pressure.map_or(String::new(), |p| format!(", the pressure in column {p}"));
            format!(
                "It has no names of columns: the time is taken to be in column {time}{pressure} (assumed; give --logger-columns to change that)."
            )
        }
        LoggerNote::NamesAgain(1) => "One more line of names was left out.".to_owned(),
        LoggerNote::NamesAgain(count) => format!("{count} more lines of names were left out."),
        LoggerNote::PressureUnit(unit) => {
            format!("Its pressure has no unit: {unit} by its size (assumed).")
        }
        LoggerNote::TimeUnit(unit) => {
            format!("Its time has no unit: {unit} by its steps (assumed).")
        }
        LoggerNote::DateOrder(order) => format!(
            "Its dates can be read in several ways: {order}, which comes nearest to the flight (assumed)."
        ),
        LoggerNote::WithoutTime(1) => "One row has no time that can be read.".to_owned(),
        LoggerNote::WithoutTime(rows) => format!("{rows} rows have no time that can be read."),
    }
}

fn event(of: Shown) -> &'static str {
    match of {
        Shown::Release => "release",
        Shown::Burst => "burst",
        Shown::Landing => "landing",
    }
}

/// A camera lined up: by which photo, and how many there are.
pub fn camera(
    photo: &Photo,
    shown: Shown,
    aligned: &Aligned,
    [all, placed, without]: [usize; 3],
    zone: &TimeZone,
) -> String {
    let event = event(shown);
    let name = photo.path.display();
    let mut said = vec![
        ("lined up by", format!("{name}, which shows the {event}")),
        ("offset", offset(aligned, true, Clock::Date, zone)),
    ];
    if let Some(zone_s) = photo.zone_s {
        said.push((
            "",
            format!(
                "The camera takes its clock to be {} h {} UTC: it is wrong by {}.",
                zone_s.abs() / 3_600.0,
                side(zone_s),
                seconds(aligned.offset_s - zone_s)
            ),
        ));
    }
    said.push((
        "photos",
        format!(
            "{all} with a time in the folder, {placed} of them on the track; {without} without one"
        ),
    ));
    format!("\nThe camera beside the track\n\n{}", rows(&said))
}
