//! The Integrated Global Radiosonde Archive, version 2: all ascents of one station in columns of
//! fixed width. Its derived files have the same headers and other columns.
//!
//! # References
//!
//! NOAA National Centers for Environmental Information, "IGRA version 2: format of the data
//! files" (igra2-data-format.txt): column numbers, units and fillers below.

mod derived;

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

/// The columns of a level that are used: name, first and last (from 1, as in the format's text).
const ETIME: Column = ("ETIME", 4, 8);
const PRESS: Column = ("PRESS", 10, 15);
const GPH: Column = ("GPH", 17, 21);
const TEMP: Column = ("TEMP", 23, 27);
const RH: Column = ("RH", 29, 33);
const DPDP: Column = ("DPDP", 35, 39);
const WDIR: Column = ("WDIR", 41, 45);
const WSPD: Column = ("WSPD", 47, 51);

type Column = (&'static str, usize, usize);

/// How the levels of a file are laid out.
struct Form {
    /// Length of a level's record up to its last value.
    width: usize,
    /// What stands for a missing value.
    filled: &'static [i32],
    /// Whether the headers have the place.
    has_place: bool,
    level: fn(&mut Record) -> Result<Row>,
}

/// A level's line, being read.
struct Record<'a> {
    file: &'a str,
    line: usize,
    record: &'a str,
    filled: &'static [i32],
    tally: &'a mut Tally,
}

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

/// Takes a station's file apart into ascents. One that is damaged or cut short costs no other.
pub(super) fn read(file: &str, text: &str) -> Vec<Result<Raw>> {
    let lines: Vec<(usize, &str)> = text
        .lines()
        .enumerate()
        .map(|(i, line)| (i + 1, line.trim_end()))
        .filter(|(_, line)| !line.is_empty())
        .collect();
    let is_record = |line: &&(usize, &str)| !line.1.starts_with('#');
    // Headers are the same in both kinds of files, so the first level tells.
    let first = lines.iter().find(is_record).map_or("", |line| line.1);
    let form = match derived::looks_like(first) {
        true => derived::FORM,
        false => FORM,
    };
    let mut rest = &lines[..];
    let mut ascents = Vec::new();
    while let Some((head, below)) = rest.split_first() {
        let (records, behind) = below.split_at(below.iter().take_while(is_record).count());
        ascents.push(ascent(file, *head, records, &form));
        rest = behind;
    }
    ascents
}

/// One ascent: its header and the lines up to the next.
fn ascent(
    file: &str,
    (line, head): (usize, &str),
    below: &[(usize, &str)],
    form: &Form,
) -> Result<Raw> {
    let header = header(head).ok_or_else(|| {
        let expected =
            "the header of an ascent: #, station, date, hour, release time, levels, place";
        Fault::new(file, format!("\"{}\"", excerpt(head)), expected).at_line(line)
    })?;
    // A record is cut short only where the file is.
    let is_whole = |record: &&(usize, &str)| record.1.len() >= form.width;
    let records = below.iter().take_while(is_whole).count();
    if records < header.levels {
        let found = format!(
            "an ascent that ends after {records} of {} levels",
            header.levels
        );
        let expected = "all levels its header promises; is the file complete?";
        return Err(Fault::new(file, found, expected).at_line(line).into());
    }
    if let Some((line, text)) = below.get(header.levels) {
        let found = format!("\"{}\", after {} levels", excerpt(text), header.levels);
        let expected = "the header of the next ascent";
        return Err(Fault::new(file, found, expected).at_line(*line).into());
    }
    let mut tally = Tally::default();
    let level = |&(line, record): &(usize, &str)| {
        let mut values = Record {
            file,
            line,
            record,
            filled: form.filled,
            tally: &mut tally,
        };
        (form.level)(&mut values)
    };
    let rows = below.iter().map(level).collect::<Result<_>>()?;
    Ok(Raw {
        file: file.to_owned(),
        line,
        name: header.station,
        time: header.time,
        // Where the plain file has the place, the derived one has other things.
        position: header.position.filter(|_| form.has_place),
        model: None,
        heights: HeightSource::Geopotential,
        in_time_order: false,
        rows,
        tally,
    })
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
    // 99 stands for minutes that are not known, 9999 for no release: a clock has no such hour.
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

/// The levels of the archive's plain files.
const FORM: Form = Form {
    width: 51,
    filled: &FILLERS,
    has_place: true,
    level,
};

fn level(record: &mut Record) -> Result<Row> {
    let tenths = |value: Option<f64>| value.map(|v| v / 10.0);
    Ok(Row {
        pressure_pa: record.value(PRESS)?,
        height_m: record.value(GPH)?,
        temperature_k: tenths(record.value(TEMP)?).map(|t| t + ZERO_CELSIUS_K),
        relative_humidity: tenths(record.value(RH)?).map(|percent| percent / 100.0),
        dew_point_depression_k: tenths(record.value(DPDP)?),
        from_deg: record.value(WDIR)?,
        speed_m_s: tenths(record.value(WSPD)?),
        after_s: record.elapsed_s(),
        ..Row::default()
    })
}

impl Record<'_> {
    /// Time since the release, written as minutes and two digits of seconds. Few records have it, and no
    /// wind depends on it: what is no such time is missing.
    fn elapsed_s(&self) -> Option<f64> {
        let text = columns(self.record, ETIME.1 - 1, ETIME.2).trim();
        let value: u32 = text.parse().ok()?;
        let (minutes, seconds) = (value / 100, value % 100);
        (seconds < 60).then(|| f64::from(60 * minutes + seconds))
    }

    /// The whole number in a column; `None` where it is missing.
    fn value(&mut self, (name, from, to): Column) -> Result<Option<f64>> {
        let text = columns(self.record, from - 1, to).trim();
        let value: i32 = text.parse().map_err(|_| {
            let expected = format!("a whole number in columns {from} to {to}");
            Fault::new(self.file, format!("\"{text}\""), expected)
                .at_line(self.line)
                .of_key(name)
        })?;
        if self.filled.contains(&value) {
            self.tally.fillers += 1;
            return Ok(None);
        }
        Ok(Some(f64::from(value)))
    }
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
        let raw = read("f", &[HEAD, LOW, HIGH].concat()).remove(0).unwrap();
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

    fn message(read: &Result<Raw>) -> String {
        read.as_ref().err().unwrap().to_string()
    }

    #[test]
    fn a_short_ascent_says_so_and_costs_no_other() {
        for (text, bad, good) in [
            ([HEAD, LOW].concat(), 0, 0),
            ([HEAD, LOW, &HIGH[..30]].concat(), 0, 0),
            ([HEAD, LOW, HEAD, LOW, HIGH].concat(), 0, 1),
            ([HEAD, LOW, HIGH, HEAD, LOW].concat(), 1, 1),
        ] {
            let all = read("f", &text);
            assert_eq!(all.iter().filter(|r| r.is_ok()).count(), good);
            let message = message(&all[bad]);
            assert!(message.contains("ends after 1 of 2 levels"), "{message}");
        }
        let longer = message(&read("f", &[HEAD, LOW, HIGH, HIGH].concat())[0]);
        assert!(
            longer.contains("line 4") && longer.contains("header"),
            "{longer}"
        );
        let bad = LOW.replace("  351", "  3x1");
        let wrong = message(&read("f", &[HEAD, &bad, HIGH].concat())[0]);
        assert!(wrong.contains("line 2, GPH: found \"3x1\""), "{wrong}");
    }
}
