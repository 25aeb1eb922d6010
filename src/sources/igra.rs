//! The Integrated Global Radiosonde Archive, version 2: all ascents of one station in columns of
//! fixed width.
//!
//! # References
//!
//! NOAA National Centers for Environmental Information, "IGRA version 2: format of the data
//! files" (igra2-data-format.txt): column numbers, units and fillers below.

use jiff::civil::{Date, DateTime};
use jiff::{Timestamp, ToSpan};

use super::clean::{Raw, Row};
use super::text::{columns, utc};
use crate::error::{Fault, Result};
use crate::geodesy::Position;
use crate::units::ZERO_CELSIUS_K;
use crate::wind::sounding::{HeightSource, Tally};

/// Missing (-9999), or removed by the archive's quality control (-8888).
const FILLERS: [i32; 2] = [-9999, -8888];

/// Length of a level's record up to its last value.
const RECORD_WIDTH: usize = 51;

/// The columns of a level that are used: name, first and last (from 1, as in the format's text).
const PRESS: Column = ("PRESS", 10, 15);
const GPH: Column = ("GPH", 17, 21);
const TEMP: Column = ("TEMP", 23, 27);
const RH: Column = ("RH", 29, 33);
const DPDP: Column = ("DPDP", 35, 39);
const WDIR: Column = ("WDIR", 41, 45);
const WSPD: Column = ("WSPD", 47, 51);

type Column = (&'static str, usize, usize);

/// The header line of an ascent.
struct Header {
    station: String,
    time: Option<Timestamp>,
    levels: usize,
    position: Option<Position>,
}

pub(super) fn looks_like(text: &str) -> bool {
    text.lines()
        .find(|line| !line.trim().is_empty())
        .is_some_and(|line| header(line).is_some())
}

/// Takes a station's file apart into ascents.
pub(super) fn read(file: &str, text: &str) -> Result<Vec<Raw>> {
    let mut lines = text
        .lines()
        .enumerate()
        .map(|(i, line)| (i + 1, line.trim_end()))
        .filter(|(_, line)| !line.is_empty())
        .peekable();
    let mut ascents = Vec::new();
    while let Some((line, head)) = lines.next() {
        let Some(header) = header(head) else {
            return Err(Fault::new(
                file,
                format!("\"{}\"", excerpt(head)),
                "the header of an ascent: #, station, date, hour, release time, levels, place",
            )
            .at_line(line)
            .into());
        };
        let mut tally = Tally::default();
        let mut rows = Vec::new();
        while rows.len() < header.levels {
            // A record is cut short only where the file is; a new header says the same.
            let Some((at, record)) = lines
                .next_if(|(_, record)| record.len() >= RECORD_WIDTH && !record.starts_with('#'))
            else {
                let found = format!(
                    "an ascent that ends after {} of {} levels",
                    rows.len(),
                    header.levels
                );
                let expected = "all levels its header promises; is the file complete?";
                return Err(Fault::new(file, found, expected).at_line(line).into());
            };
            rows.push(level(file, at, record, &mut tally)?);
        }
        ascents.push(Raw {
            file: file.to_owned(),
            line,
            name: header.station,
            time: header.time,
            position: header.position,
            model: None,
            heights: HeightSource::Geopotential,
            in_time_order: false,
            rows,
            tally,
        });
    }
    Ok(ascents)
}

/// A header, if the line is one.
fn header(line: &str) -> Option<Header> {
    let station = line.strip_prefix('#')?.get(..11)?;
    if !station.bytes().all(|b| b.is_ascii_alphanumeric()) {
        return None;
    }
    let number = |from: usize, to: usize| columns(line, from - 1, to).trim().parse::<i32>().ok();
    let (year, month, day) = (number(14, 17)?, number(19, 20)?, number(22, 23)?);
    let (hour, release) = (number(25, 26)?, number(28, 31)?);
    let levels = usize::try_from(number(33, 36)?).ok()?;
    let date = Date::new(
        i16::try_from(year).ok()?,
        i8::try_from(month).ok()?,
        i8::try_from(day).ok()?,
    );
    let position = number(56, 62)
        .zip(number(64, 71))
        .and_then(|(lat, lon)| Position::new(f64::from(lat) / 1e4, f64::from(lon) / 1e4));
    Some(Header {
        station: station.to_owned(),
        time: date.ok().and_then(|date| time(date, hour, release)),
        levels,
        position,
    })
}

/// The release where it is given, else the nominal hour. Sondes are released up to an hour before
/// the nominal hour, so the release of a midnight ascent is on the day before.
fn time(date: Date, hour: i32, release: i32) -> Option<Timestamp> {
    let nominal = clock(date, hour, 0);
    let minute = if release % 100 == 99 {
        0
    } else {
        release % 100
    };
    let Some(released) = clock(date, release / 100, minute) else {
        return utc(nominal?);
    };
    let Some(nominal) = nominal else {
        return utc(released);
    };
    let candidates = [-1, 0, 1].map(|days| released.checked_add(days.days()).ok());
    let nominal = utc(nominal)?;
    candidates
        .into_iter()
        .flatten()
        .filter_map(utc)
        .min_by_key(|time| time.duration_since(nominal).abs())
}

fn clock(date: Date, hour: i32, minute: i32) -> Option<DateTime> {
    let (hour, minute) = (i8::try_from(hour).ok()?, i8::try_from(minute).ok()?);
    let time = jiff::civil::Time::new(hour, minute, 0, 0).ok()?;
    Some(date.to_datetime(time))
}

fn level(file: &str, line: usize, record: &str, tally: &mut Tally) -> Result<Row> {
    let mut field = |(name, from, to): Column| -> Result<Option<f64>> {
        let text = columns(record, from - 1, to).trim();
        let value: i32 = text.parse().map_err(|_| {
            Fault::new(
                file,
                format!("\"{text}\""),
                format!("a whole number in columns {from} to {to}"),
            )
            .at_line(line)
            .of_key(name)
        })?;
        if FILLERS.contains(&value) {
            tally.fillers += 1;
            return Ok(None);
        }
        Ok(Some(f64::from(value)))
    };
    let tenths = |value: Option<f64>| value.map(|v| v / 10.0);
    Ok(Row {
        pressure_pa: field(PRESS)?,
        height_m: field(GPH)?,
        temperature_k: tenths(field(TEMP)?).map(|t| t + ZERO_CELSIUS_K),
        relative_humidity: tenths(field(RH)?).map(|percent| percent / 100.0),
        dew_point_depression_k: tenths(field(DPDP)?),
        from_deg: field(WDIR)?,
        speed_m_s: tenths(field(WSPD)?),
        ..Row::default()
    })
}

/// The start of a line, for a message.
fn excerpt(line: &str) -> String {
    line.chars().take(40).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEAD: &str = "#USM00072558 2021 01 01 00 2303    2 ncdc-nws ncdc-nws  413200  -963669\n";
    const LOW: &str = "21     0  97856B  351   -31B  870    19   124    21 \n";
    const HIGH: &str = "20  1010  66714  3406B  -77B  471    93   219    63 \n";

    fn headed(hour: &str, release: &str) -> String {
        HEAD.replace(" 00 2303", &format!(" {hour} {release}"))
    }

    #[test]
    fn a_header_and_two_levels() {
        let raw = read("f", &[HEAD, LOW, HIGH].concat()).unwrap().remove(0);
        assert_eq!(raw.name, "USM00072558");
        let place = raw.position.unwrap();
        assert_eq!((place.lat_deg, place.lon_deg), (41.32, -96.3669));
        // Released at 23:03 on the day before the nominal midnight.
        assert_eq!(raw.time.unwrap().to_string(), "2020-12-31T23:03:00Z");
        let low = raw.rows[0];
        assert_eq!(low.pressure_pa, Some(97_856.0));
        assert_eq!(low.height_m, Some(351.0));
        assert!((low.temperature_k.unwrap() - 270.05).abs() < 1e-9);
        assert!((low.relative_humidity.unwrap() - 0.87).abs() < 1e-12);
        assert_eq!(low.dew_point_depression_k, Some(1.9));
        assert_eq!((low.from_deg, low.speed_m_s), (Some(124.0), Some(2.1)));
    }

    #[test]
    fn release_and_nominal_hour() {
        let time = |hour, release| {
            let head = headed(hour, release);
            header(&head).unwrap().time.map(|t| t.to_string())
        };
        let some = |t: &str| Some(t.to_owned());
        assert_eq!(time("12", "9999"), some("2021-01-01T12:00:00Z"));
        assert_eq!(time("12", "1107"), some("2021-01-01T11:07:00Z"));
        assert_eq!(time("99", "2200"), some("2021-01-01T22:00:00Z"));
        assert_eq!(time("12", "1199"), some("2021-01-01T11:00:00Z"));
        assert_eq!(time("99", "9999"), None);
    }

    #[test]
    fn a_short_file_says_so() {
        for text in [
            [HEAD, LOW].concat(),
            [HEAD, LOW, &HIGH[..30]].concat(),
            [HEAD, LOW, HEAD, LOW, HIGH].concat(),
        ] {
            let message = read("f", &text).err().unwrap().to_string();
            assert!(message.contains("ends after 1 of 2 levels"), "{message}");
        }
        let message = read("f", &[HEAD, LOW, HIGH, HIGH].concat())
            .err()
            .unwrap()
            .to_string();
        assert!(
            message.contains("line 4") && message.contains("header"),
            "{message}"
        );
        let bad = LOW.replace("  351", "  3x1");
        let message = read("f", &[HEAD, &bad, HIGH].concat())
            .err()
            .unwrap()
            .to_string();
        assert!(message.contains("line 2, GPH: found \"3x1\""), "{message}");
    }
}
