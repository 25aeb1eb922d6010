//! Airports, places and the sun, against independent programs and published tables.

#![allow(clippy::unwrap_used, clippy::expect_used)]

use jiff::civil::date;
use jiff::tz::TimeZone;
use windfall::geodesy::Position;
use windfall::ground::airports::{AirportKind, airports};
use windfall::ground::sun::{Span, SunNow, daylight, evening, sun_now};
use windfall::ground::towns::towns;

/// tests/data/ground/nearest.csv: found by brute force over the unpacked files, with geodesics by
/// geographiclib 2.1 for Python.
#[test]
fn the_nearest_airports_and_places_are_those_of_an_independent_search() {
    let mut reader = csv::Reader::from_path("tests/data/ground/nearest.csv").unwrap();
    let mut checked = 0;
    for row in reader.records() {
        let row = row.unwrap();
        let number = |i: usize| row[i].parse::<f64>().unwrap();
        let here = Position::new(number(0), number(1)).unwrap();
        let kind = match &row[2] {
            "large_airport" => Some(AirportKind::Large),
            "medium_airport" => Some(AirportKind::Medium),
            "small_airport" => Some(AirportKind::Small),
            "seaplane_base" => Some(AirportKind::Seaplane),
            _ => None,
        };
        let (name, distance, azimuth, rounded_m) = if let Some(kind) = kind {
            let near = airports().unwrap().nearest(kind, here, 1)[0];
            (
                near.what.ident.to_owned(),
                near.distance_m,
                near.azimuth_deg,
                0.01,
            )
        } else {
            let near = towns().unwrap().nearest(here).unwrap();
            // Built-in towns are rounded to 1e-3 degrees.
            (
                near.what.full_name().replace(", ", "; "),
                near.distance_m,
                near.azimuth_deg,
                80.0,
            )
        };
        assert_eq!(name, &row[3], "{row:?}");
        assert!(
            (distance - number(4)).abs() < rounded_m,
            "{row:?} {distance}"
        );
        let turn = (azimuth - number(5) + 180.0).rem_euclid(360.0) - 180.0;
        let across_m = turn.to_radians().abs() * distance * here.lat_deg.to_radians().cos();
        assert!(across_m < rounded_m.max(0.02), "{row:?} {azimuth}");
        checked += 1;
    }
    assert_eq!(checked, 65);
}

/// Seconds after midnight of the rise and the set.
fn seconds(span: Span) -> [f64; 2] {
    let Span::Crosses {
        rise: Some(rise),
        set: Some(set),
    } = span
    else {
        panic!("{span:?}");
    };
    [rise, set].map(|t| t.as_second().rem_euclid(86_400) as f64)
}

/// NREL/TP-560-34302 (Reda and Andreas, revised 2008), table A2.1, longitude 0, UT.
#[test]
fn the_sun_rises_and_sets_as_in_the_table_of_nrel() {
    let clock = |h: f64, m: f64, s: f64| h * 3600.0 + m * 60.0 + s;
    for (day, lat, rise, set) in [
        (
            date(1994, 1, 2),
            35.0,
            clock(7.0, 8.0, 12.8),
            clock(16.0, 59.0, 55.9),
        ),
        (
            date(1996, 7, 5),
            -35.0,
            clock(7.0, 8.0, 15.4),
            clock(17.0, 1.0, 4.5),
        ),
        (
            date(2004, 12, 4),
            -35.0,
            clock(4.0, 38.0, 57.1),
            clock(19.0, 2.0, 2.5),
        ),
    ] {
        let place = Position::new(lat, 0.0).unwrap();
        let light = daylight(place, day, &TimeZone::UTC).unwrap();
        let [up, down] = seconds(light.sun);
        assert!(
            (up - rise).abs() < 3.0 && (down - set).abs() < 3.0,
            "{day} {up} {down}"
        );
        // Civil twilight lasts between 24 and 32 minutes at this latitude.
        let [dawn, dusk] = seconds(light.civil);
        assert!((1_400.0..1_950.0).contains(&(up - dawn)), "{day} {dawn}");
        assert!((1_400.0..1_950.0).contains(&(dusk - down)), "{day} {dusk}");
    }
}

#[test]
fn a_day_is_that_of_the_time_zone() {
    // In Sydney the sun rises on the evening before in UTC.
    let zone = TimeZone::get("Australia/Sydney").unwrap();
    let place = Position::new(-33.87, 151.21).unwrap();
    let light = daylight(place, date(2026, 3, 10), &zone).unwrap();
    let Span::Crosses {
        rise: Some(rise),
        set: Some(set),
    } = light.sun
    else {
        panic!("{light:?}");
    };
    assert_eq!(
        rise.to_zoned_datetime(zone.clone()).date(),
        date(2026, 3, 10)
    );
    assert_eq!(set.to_zoned_datetime(zone).date(), date(2026, 3, 10));
    assert!(rise < set && rise.to_string().starts_with("2026-03-09"));
}

/// The evening of a moment is the next one by day; by night the one that began it, or the next one when morning
/// is nearer. No clocks have a say in it.
#[test]
fn the_evening_of_a_moment_is_that_of_its_light() {
    let place = Position::new(-33.87, 151.21).unwrap();
    let light = |day: i8| {
        let of = daylight(
            place,
            date(2026, 3, day),
            &TimeZone::get("Australia/Sydney").unwrap(),
        );
        let Span::Crosses { rise, set } = of.unwrap().sun else {
            panic!("the sun rises in Sydney");
        };
        (rise.unwrap(), set.unwrap())
    };
    let hours = jiff::SignedDuration::from_hours;
    let near = |a: Option<jiff::Timestamp>, b: jiff::Timestamp| {
        a.is_some_and(|a| a.duration_since(b).as_secs().abs() <= 1)
    };
    let ((rise, set), (next_rise, next_set)) = (light(10), light(11));
    for (at, sunset) in [
        (rise + hours(1), set),
        (set - hours(1), set),
        (set + hours(1), set),
        (next_rise - hours(1), next_set),
    ] {
        let [sun, civil] = evening(place, at).unwrap();
        assert!(near(sun, sunset), "{at}: {sun:?} {sunset}");
        assert!(civil > sun, "{at}: {civil:?} {sun:?}");
    }
    assert_eq!(sun_now(place, set + hours(1)).unwrap(), SunNow::Down);
    // Where there is no evening there is none to tell.
    let north = Position::new(78.2, 15.6).unwrap();
    assert_eq!(
        evening(north, "2026-06-21T12:00:00Z".parse().unwrap()).unwrap(),
        [None, None]
    );
}

#[test]
fn polar_days_and_nights_have_no_sunrise() {
    let place = Position::new(78.2, 15.6).unwrap();
    let summer = daylight(place, date(2026, 6, 21), &TimeZone::UTC).unwrap();
    assert_eq!(
        (summer.sun, summer.civil),
        (Span::AlwaysAbove, Span::AlwaysAbove)
    );
    let winter = daylight(place, date(2026, 12, 21), &TimeZone::UTC).unwrap();
    assert_eq!(
        (winter.sun, winter.civil),
        (Span::AlwaysBelow, Span::AlwaysBelow)
    );
    assert!(daylight(place, date(9999, 12, 31), &TimeZone::UTC).is_err());
}
