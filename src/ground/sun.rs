//! When the sun rises and sets.
//!
//! # References
//!
//! Reda and Andreas (2004, revised 2008), NREL/TP-560-34302, "Solar Position Algorithm for Solar
//! Radiation Applications", through the crate solar-positioning.

use jiff::Timestamp;
use jiff::civil::{Date, Time};
use jiff::tz::TimeZone;
use solar_positioning::{Horizon, Location, SolarEvents, delta_t};

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

fn above(horizon: Horizon, place: Position, day: Date, zone: &TimeZone) -> Result<Span> {
    let refused = |cause: String| Error::CannotDo {
        why: format!("no sunrise for {day}: {cause}"),
        remedy: "expected a day of the calendar between the years -2000 and 6000".into(),
    };
    // By the clocks of the zone: a day there may have 23 or 25 hours.
    let midnight = |day: Date| {
        let start = zone.to_zoned_datetime(day.to_datetime(Time::midnight()));
        let start = start.map_err(|e| refused(e.to_string()))?;
        Ok::<f64, Error>(julian_day(start.timestamp()))
    };
    let next = day.tomorrow().map_err(|e| refused(e.to_string()))?;
    let (start, end) = (midnight(day)?, midnight(next)?);
    let delta_t =
        delta_t::estimate_from_date(i32::from(day.year()), u32::from(day.month().unsigned_abs()))
            .map_err(|e| refused(e.to_string()))?;
    let location = Location {
        latitude: place.lat_deg,
        longitude: place.lon_deg,
    };
    let events = SolarEvents::new()
        .for_interval_from_julian(start, end, location, delta_t, horizon)
        .map_err(|e| refused(e.to_string()))?;
    if events.always_above() {
        return Ok(Span::AlwaysAbove);
    }
    if events.always_below() {
        return Ok(Span::AlwaysBelow);
    }
    let time = |days: Option<&f64>| days.and_then(|&d| timestamp(d));
    Ok(Span::Crosses {
        // Where there are several within a day, its light lies from the first rise to the last set.
        rise: time(events.rises.first()),
        set: time(events.sets.last()),
    })
}

/// Julian day of 1970-01-01T00:00:00Z.
const EPOCH_DAY: f64 = 2_440_587.5;
const DAY_S: f64 = 86_400.0;

fn julian_day(time: Timestamp) -> f64 {
    EPOCH_DAY + time.as_second() as f64 / DAY_S
}

fn timestamp(julian_day: f64) -> Option<Timestamp> {
    Timestamp::from_second(((julian_day - EPOCH_DAY) * DAY_S).round() as i64).ok()
}
