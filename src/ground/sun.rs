//! When the sun rises and sets.
//!
//! # References
//!
//! Reda and Andreas (2004, revised 2008), NREL/TP-560-34302, "Solar Position Algorithm for Solar
//! Radiation Applications", through the crate solar-positioning.

use jiff::civil::{Date, Time};
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};
use solar_positioning::{Events, Horizon, HorizonState, Location, SolarEvents, delta_t};

use crate::clock::DAY_S;
use crate::error::{Error, Result};
use crate::geodesy::Position;

/// A day's light at a place at sea level with a free horizon.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Daylight {
    /// When the upper edge of the sun rises (its centre 0.833 degrees below the horizon) and sets.
    pub sun: Span,
    /// When civil twilight begins and ends (the sun's centre 6 degrees below the horizon): there
    /// is light enough outdoors to see by.
    pub civil: Span,
}

/// When the sun is above some height, within a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Span {
    /// It comes up, goes down, or both; in whichever order.
    Crosses {
        /// When it comes up.
        rise: Option<Timestamp>,
        /// When it goes down.
        set: Option<Timestamp>,
    },
    /// All day.
    AlwaysAbove,
    /// Never.
    AlwaysBelow,
}

/// The light of a calendar day of a time zone at a place, to the second.
///
/// ```
/// use jiff::{civil::date, tz::TimeZone};
/// use windfall::Position;
/// use windfall::ground::sun::{Span, daylight};
///
/// let greenwich = Position::new(51.48, 0.0).expect("degrees");
/// let light = daylight(greenwich, date(2026, 3, 20), &TimeZone::UTC)?;
/// // About the equinox: a little over twelve hours.
/// let Span::Crosses { rise: Some(rise), set: Some(set) } = light.sun else {
///     panic!("the sun rises and sets in Greenwich");
/// };
/// assert_eq!(set.duration_since(rise).as_hours(), 12);
/// # Ok::<(), windfall::Error>(())
/// ```
///
/// # Errors
///
/// A day outside the years -2000 to 6000, or one that the time zone does not have.
pub fn daylight(place: Position, day: Date, zone: &TimeZone) -> Result<Daylight> {
    Ok(Daylight {
        sun: sun(place, day, zone)?,
        civil: above(Horizon::CivilTwilight, place, day, zone)?,
    })
}

/// When the upper edge of the sun rises and sets, of [`daylight`].
///
/// # Errors
///
/// As [`daylight`].
pub fn sun(place: Position, day: Date, zone: &TimeZone) -> Result<Span> {
    above(Horizon::SunriseSunset, place, day, zone)
}

/// Where the sun stands at a moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SunNow {
    /// Above the horizon, and when it sets next; `None` where that is more than a day away.
    Up {
        /// When it sets.
        until: Option<Timestamp>,
    },
    /// Below it.
    Down,
}

/// Whether the sun is up at a moment, and until when, whatever day the clocks show: in summer at high latitudes
/// it sets after midnight.
///
/// # Errors
///
/// As [`daylight`].
pub fn sun_now(place: Position, at: Timestamp) -> Result<SunNow> {
    now(Horizon::SunriseSunset, place, at)
}

/// Sunset and the end of civil twilight that belong to a moment: those that follow it by day; by night those
/// it began with or, when its end is nearer, those of the next evening. `None` of what does not come within a day.
///
/// # Errors
///
/// As [`daylight`].
pub fn evening(place: Position, at: Timestamp) -> Result<[Option<Timestamp>; 2]> {
    let of = |horizon| match now(horizon, place, at)? {
        SunNow::Up { until } => Ok(until),
        SunNow::Down => of_night(horizon, place, at),
    };
    Ok([of(Horizon::SunriseSunset)?, of(Horizon::CivilTwilight)?])
}

fn now(horizon: Horizon, place: Position, at: Timestamp) -> Result<SunNow> {
    let day = at.to_zoned_datetime(TimeZone::UTC).date();
    let here = julian_day(at);
    // The sun is up where it sets before it rises. Asked for one after the other that takes a fifth of the time of
    // all that it does in a day.
    if let Some(set) = next(false, horizon, place, day, [here, here + 1.0])? {
        return Ok(match next(true, horizon, place, day, [here, set])? {
            None => SunNow::Up {
                until: timestamp(set),
            },
            Some(_) => SunNow::Down,
        });
    }
    let ahead = events(horizon, place, at, DAY)?;
    Ok(match ahead.state_at_start {
        HorizonState::Above => SunNow::Up { until: None },
        _ => SunNow::Down,
    })
}

/// When the sun next rises, or sets, after a moment and not after another, as Julian days; `day` is one of theirs.
fn next(
    rises: bool,
    horizon: Horizon,
    place: Position,
    day: Date,
    [start, end]: [f64; 2],
) -> Result<Option<f64>> {
    let (location, delta_t) = (location(place), delta_t_s(day)?);
    let all = SolarEvents::new();
    let found = match rises {
        true => all.next_rise_from_julian(start, end, location, delta_t, horizon),
        false => all.next_set_from_julian(start, end, location, delta_t, horizon),
    };
    found.map_err(|e| refused(day, &e.to_string()))
}

fn of_night(horizon: Horizon, place: Position, at: Timestamp) -> Result<Option<Timestamp>> {
    let before = events(horizon, place, at, -DAY)?.sets.last().copied();
    let ahead = events(horizon, place, at, DAY)?;
    let next = ahead.sets.first().copied();
    let here = julian_day(at);
    let set = match (before, ahead.rises.first()) {
        (Some(before), Some(rise)) if rise - here < here - before => next,
        (before, _) => before.or(next),
    };
    Ok(set.and_then(timestamp))
}

/// What the sun does in the time from a moment, or up to it where that is negative.
fn events(
    horizon: Horizon,
    place: Position,
    at: Timestamp,
    time: SignedDuration,
) -> Result<Events<f64>> {
    let day = at.to_zoned_datetime(TimeZone::UTC).date();
    let other = at.checked_add(time);
    let other = julian_day(other.map_err(|cause| refused(day, &cause.to_string()))?);
    let here = julian_day(at);
    between(horizon, place, day, [here.min(other), here.max(other)])
}

fn refused(day: Date, cause: &str) -> Error {
    Error::CannotDo {
        why: format!("no sunrise for {day}: {cause}"),
        remedy: "expected a day of the calendar between the years -2000 and 6000".into(),
    }
}

fn above(horizon: Horizon, place: Position, day: Date, zone: &TimeZone) -> Result<Span> {
    // By the clocks of the zone: a day there may have 23 or 25 hours.
    let midnight = |day: Date| {
        let start = zone.to_zoned_datetime(day.to_datetime(Time::midnight()));
        let start = start.map_err(|e| refused(day, &e.to_string()))?;
        Ok::<f64, Error>(julian_day(start.timestamp()))
    };
    let next_day = day.tomorrow();
    let next_day = next_day.map_err(|e| refused(day, &e.to_string()))?;
    let [start, end] = [midnight(day)?, midnight(next_day)?];
    let rise = next(true, horizon, place, day, [start, end])?;
    // Where there are two within a day, its light lies from the first rise to the last set.
    let first = next(false, horizon, place, day, [start, end])?;
    let again = first
        .map(|set| set + MINUTE_DAYS)
        .filter(|from| *from < end);
    let set = match again {
        Some(from) => next(false, horizon, place, day, [from, end])?.or(first),
        None => first,
    };
    if rise.is_none() && set.is_none() {
        return Ok(
            match between(horizon, place, day, [start, end])?.always_above() {
                true => Span::AlwaysAbove,
                false => Span::AlwaysBelow,
            },
        );
    }
    Ok(Span::Crosses {
        rise: rise.and_then(timestamp),
        set: set.and_then(timestamp),
    })
}

fn between(
    horizon: Horizon,
    place: Position,
    day: Date,
    [start, end]: [f64; 2],
) -> Result<Events<f64>> {
    SolarEvents::new()
        .for_interval_from_julian(start, end, location(place), delta_t_s(day)?, horizon)
        .map_err(|e| refused(day, &e.to_string()))
}

fn location(place: Position) -> Location {
    Location {
        latitude: place.lat_deg,
        longitude: place.lon_deg,
    }
}

/// How much terrestrial time is ahead of the earth's rotation, s.
fn delta_t_s(day: Date) -> Result<f64> {
    delta_t::estimate_from_date(i32::from(day.year()), u32::from(day.month().unsigned_abs()))
        .map_err(|e| refused(day, &e.to_string()))
}

/// Julian day of 1970-01-01T00:00:00Z.
const EPOCH_DAY: f64 = 2_440_587.5;
/// Sets are farther apart than this.
const MINUTE_DAYS: f64 = 60.0 / DAY_S;
const DAY: SignedDuration = SignedDuration::from_hours(24);

fn julian_day(time: Timestamp) -> f64 {
    EPOCH_DAY + time.as_second() as f64 / DAY_S
}

fn timestamp(julian_day: f64) -> Option<Timestamp> {
    Timestamp::from_second(((julian_day - EPOCH_DAY) * DAY_S).round() as i64).ok()
}
