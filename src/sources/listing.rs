//! The university archive's listing: a table in columns of fixed width under its own heads, with
//! blanks where nothing was observed, so that only the columns' places tell which value is which.

#![allow(
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "by numbers of its own lines, rows and words"
)]

use jiff::Timestamp;
use jiff::civil::Date;

use super::around::Around;
use super::clean::{Raw, Row};
use super::model;
use super::text::{columns, month, short_time, utc};
use crate::error::{Fault, Result};
use crate::geodesy::Position;
use crate::notes::reading::Reading;
use crate::units::{Dimension, to_si};
use crate::wind::sounding::{HeightSource, Tally};

/// One column of the table.
struct Column {
    name: String,
    /// Its unit as the line under the heads has it.
    unit: String,
    from: usize,
    to: usize,
}

/// What the text around a table says about it.
#[derive(Default)]
struct Station {
    name: String,
    time: Option<Timestamp>,
    lat_deg: Option<f64>,
    lon_deg: Option<f64>,
    /// What other lines say, as they stand above tables of any kind.
    around: Around,
}

pub(super) fn looks_like(text: &str) -> bool {
    let mut lines = text.lines();
    while let Some(line) = lines.next() {
        if is_head(line) {
            // Another table may have the same names, and its values elsewhere.
            let begins = |line: &&str| line.trim_start().starts_with(|c: char| c.is_ascii_digit());
            let ends = word_ends(line);
            let flush = |row: &str| word_ends(row).iter().all(|end| ends.contains(end));
            return lines.take(4).find(begins).is_none_or(flush);
        }
    }
    false
}

/// Where the words of a line end.
fn word_ends(line: &str) -> Vec<usize> {
    let bytes = line.trim_end().as_bytes();
    let is_end = |i: &usize| {
        let next = bytes.get(i + 1).is_none_or(u8::is_ascii_whitespace);
        next && !bytes[*i].is_ascii_whitespace()
    };
    (0..bytes.len()).filter(is_end).collect()
}

/// Whether a line is the heads of a table.
fn is_head(line: &str) -> bool {
    let mut words = line.split_ascii_whitespace();
    words.next() == Some("PRES") && words.next() == Some("HGHT")
}

/// Takes the listings of a file apart; each begins with its station line where it has one.
pub(super) fn read(file: &str, text: &str) -> Result<Vec<Raw>> {
    // Pages saved from the web carry their marks.
    let plain: Vec<String> = text.lines().map(without_tags).collect();
    let lines: Vec<&str> = plain.iter().map(|line| line.trim_end()).collect();
    let mut ascents = Vec::new();
    let mut station = Station::default();
    let mut at = 0;
    while at < lines.len() {
        if is_head(lines[at]) {
            let (rows, tally, end) = table(file, &lines, at)?;
            // What stands below the table, up to the next station, belongs to it as well.
            let below = end
                + lines[end..]
                    .iter()
                    .take_while(|line| !is_head(line) && !is_station_line(line))
                    .count();
            lines[end..below].iter().for_each(|l| station.learn(l));
            ascents.push(raw(file, at + 1, std::mem::take(&mut station), rows, tally));
            at = below;
        } else {
            if is_station_line(lines[at]) {
                // What was learnt before is of another station.
                station = Station::from_line(lines[at], lines.get(at + 1));
            } else {
                station.learn(lines[at]);
            }
            at += 1;
        }
    }
    if ascents.is_empty() {
        let expected = "a line of column heads that begins with PRES and HGHT";
        return Err(Fault::new(file, "no table", expected).into());
    }
    Ok(ascents)
}

fn raw(file: &str, line: usize, station: Station, rows: Vec<Row>, mut tally: Tally) -> Raw {
    // A time of the format's own is UTC.
    let time = station
        .time
        .map(|time| (time, false))
        .or(station.around.time);
    if time.is_some_and(|(_, assumed)| assumed) {
        tally.assumed.push(Reading::TimesInUtc);
    }
    Raw {
        file: file.to_owned(),
        line,
        time: time.map(|(time, _)| time),
        position: station
            .lat_deg
            .zip(station.lon_deg)
            .and_then(|(lat, lon)| Position::new(lat, lon))
            .or(station.around.position()),
        name: match station.name.is_empty() {
            true => station.around.station,
            false => station.name,
        },
        model: station.around.model,
        heights: HeightSource::Geopotential,
        in_time_order: false,
        rows,
        tally,
    }
}

/// The rows under the heads at `lines[head]`, and the index of the line after them.
fn table(file: &str, lines: &[&str], head: usize) -> Result<(Vec<Row>, Tally, usize)> {
    let Some(units) = lines.get(head + 1) else {
        let expected = "a line of units under the column heads; is the file complete?";
        return Err(Fault::new(file, "the end of the file", expected)
            .at_line(head + 1)
            .into());
    };
    let columns = heads(lines[head], units);
    let mut tally = Tally::default();
    let mut rows = Vec::new();
    let mut at = head + 2;
    while let Some(line) = lines.get(at) {
        let is_rule = line.starts_with("---");
        let is_row = line
            .trim_start()
            .starts_with(|c: char| c.is_ascii_digit() || "-.".contains(c));
        if is_row && !is_rule {
            rows.push(row(file, at + 1, line, &columns, &mut tally)?);
        } else if !is_rule && !is_within(&lines[at..]) {
            break;
        }
        at += 1;
    }
    Ok((rows, tally, at))
}

/// Whether lines begin with blank ones and then have a row: a station's line begins with its number.
fn is_within(lines: &[&str]) -> bool {
    let is_blank = |line: &&str| line.trim().is_empty();
    let next = lines.iter().find(|line| !is_blank(line));
    let is_row = |line: &&str| {
        line.split_whitespace()
            .all(|word| word.parse::<f64>().is_ok())
    };
    lines.first().is_some_and(is_blank) && next.is_some_and(is_row)
}

/// The columns from the heads: values are set flush right under them.
fn heads(line: &str, units: &str) -> Vec<Column> {
    let mut found: Vec<Column> = Vec::new();
    let mut from = 0;
    for name in line.split_ascii_whitespace() {
        let to = from + line[from..].find(name).unwrap_or(0) + name.len();
        let unit = columns(units, from, to).trim().to_owned();
        found.push(Column {
            name: name.to_owned(),
            unit,
            from,
            to,
        });
        from = to;
    }
    found
}

fn row(file: &str, line: usize, text: &str, heads: &[Column], tally: &mut Tally) -> Result<Row> {
    let mut row = Row::default();
    for column in heads {
        let (slot, dimension) = match column.name.as_str() {
            "PRES" => (&mut row.pressure_pa, Some(Dimension::Pressure)),
            "HGHT" => (&mut row.height_m, Some(Dimension::Length)),
            "TEMP" => (&mut row.temperature_k, Some(Dimension::Temperature)),
            "DWPT" => (&mut row.dew_point_k, Some(Dimension::Temperature)),
            "RELH" => (&mut row.relative_humidity, Some(Dimension::Ratio)),
            "SKNT" | "SPED" => (&mut row.speed_m_s, Some(Dimension::Speed)),
            "DRCT" => (&mut row.from_deg, None),
            _ => continue,
        };
        let fault = |found: String, expected: String| {
            Fault::new(file, found, expected)
                .at_line(line)
                .of_key(&column.name)
        };
        let value = columns(text, column.from, column.to).trim();
        if value.is_empty() {
            tally.fillers += 1;
            continue;
        }
        // What is left of a number is a number as well, but another one.
        if text.len() < column.to {
            let found = format!("\"{value}\", where the line is cut off");
            return Err(fault(found, "a whole line; is the file complete?".to_owned()).into());
        }
        let number: f64 = value
            .parse()
            .map_err(|_| fault(format!("\"{value}\""), "a number".to_owned()))?;
        *slot = match dimension {
            None => Some(number),
            Some(dimension) => {
                let unit = if column.unit == "knot" {
                    "kt"
                } else {
                    &column.unit
                };
                let si = to_si(number, unit, dimension);
                let expected = "hPa, m, C, %, knot or m/s as its unit".to_owned();
                Some(si.ok_or_else(|| fault(format!("the unit \"{}\"", column.unit), expected))?)
            }
        };
    }
    Ok(row)
}

/// Whether a line names the station and the hour of the table below it.
fn is_station_line(line: &str) -> bool {
    line.contains("Observations at ") || line.contains("Observations for ")
}

impl Station {
    /// From `72327 BNA Nashville Observations at 12Z 20 Feb 2014`, or `Observations for Station
    /// 83779 at 12 UTC 23 Feb 2023` with the name on the line below.
    fn from_line(line: &str, below: Option<&&str>) -> Station {
        let (before, after) = line.split_once("Observations").unwrap_or((line, ""));
        let name = match before.trim() {
            "" => {
                let number = after.trim_start().trim_start_matches("for Station");
                let number = number.split(" at ").next().unwrap_or("").trim();
                format!("{number} {}", below.map_or("", |name| name.trim()))
                    .trim()
                    .to_owned()
            }
            name => name.to_owned(),
        };
        let time = after
            .rsplit_once("at ")
            .and_then(|(_, when)| nominal_time(when));
        let mut station = Station {
            name,
            time,
            ..Station::default()
        };
        station.around.model = model::named(line);
        station
    }

    /// Learns from a line `name: value` or `Latitude: a Longitude: b`, if it is one.
    fn learn(&mut self, line: &str) {
        self.around.learn(line);
        let lower = line.to_ascii_lowercase();
        let after = |key: &str| {
            let at = lower.find(key)? + key.len();
            lower[at..].split_ascii_whitespace().next()
        };
        if let Some(lat) = after("latitude:").and_then(|v| v.parse().ok()) {
            self.lat_deg = Some(lat);
        }
        if let Some(lon) = after("longitude:").and_then(|v| v.parse().ok()) {
            self.lon_deg = Some(lon);
        }
        if let Some(name) = after("station identifier:")
            && self.name.is_empty()
        {
            self.name = name.to_ascii_uppercase();
        }
        if let Some(when) = after("observation time:")
            && self.time.is_none()
        {
            self.time = short_time(when);
        }
    }
}

/// `12Z 20 Feb 2014` or `12 UTC 23 Feb 2023`.
fn nominal_time(text: &str) -> Option<Timestamp> {
    let text = text.replace("UTC", " ").replace('Z', " ");
    let mut words = text.split_ascii_whitespace();
    let hour: i8 = words.next()?.parse().ok()?;
    let day: i8 = words.next()?.parse().ok()?;
    let month = month(words.next()?)?;
    let year: i16 = words.next()?.parse().ok()?;
    let clock = jiff::civil::Time::new(hour, 0, 0, 0).ok()?;
    utc(Date::new(year, month, day).ok()?.to_datetime(clock))
}

/// A line without HTML tags.
fn without_tags(line: &str) -> String {
    let mut plain = String::with_capacity(line.len());
    let mut rest = line;
    while let Some(open) = rest.find('<') {
        // A sign alone begins no tag.
        let Some(close) = rest[open..].find('>') else {
            break;
        };
        plain.push_str(&rest[..open]);
        rest = &rest[open + close + 1..];
    }
    plain.push_str(rest);
    plain
}

#[cfg(test)]
mod tests {
    use super::*;

    // A leading line break, as a literal's own would eat the blanks the columns hang on.
    const TABLE: &str = "
   PRES   HGHT   TEMP   DWPT   RELH   MIXR   DRCT   SKNT   THTA   THTE   THTV
    hPa     m      C      C      %    g/kg    deg   knot     K      K      K
-----------------------------------------------------------------------------
 1000.0     97
  850.0   1471   10.2    9.5     95   8.84    210     41  296.8  322.7  298.4
   43.3  21336  -59.7                         300     20  523.4         523.4
";

    #[test]
    fn blanks_in_the_middle_do_not_move_values() {
        let raw = read("f", TABLE).unwrap().remove(0);
        assert_eq!(raw.rows.len(), 3);
        assert_eq!(raw.rows[0].height_m, Some(97.0));
        let top = raw.rows[2];
        assert_eq!(top.dew_point_k, None);
        assert_eq!(top.from_deg, Some(300.0));
        assert!((top.speed_m_s.unwrap() - 20.0 * 1852.0 / 3600.0).abs() < 1e-12);
        assert_eq!(raw.tally.fillers, 5 + 2);
    }

    #[test]
    fn a_blank_line_among_rows_ends_nothing() {
        let broken = TABLE.replace("\n   43.3", "\n\n   43.3");
        assert_eq!(read("f", &broken).unwrap()[0].rows.len(), 3);
        let next = format!("{TABLE}\n72327 BNA Nashville Observations at 12Z 20 Feb 2014\n{TABLE}");
        assert_eq!(read("f", &next).unwrap().len(), 2);
    }

    #[test]
    fn times_without_an_offset_are_said_to_be_taken_for_utc() {
        let read = |line: &str| read("f", &format!("{line}\n{TABLE}")).unwrap().remove(0);
        let assumed = read("Launch time: 2014-02-20 12:00");
        assert!(assumed.time.is_some());
        assert!(assumed.tally.assumed.contains(&Reading::TimesInUtc));
        let known = read("72327 BNA Nashville Observations at 12Z 20 Feb 2014");
        assert!(known.time.is_some() && known.tally.assumed.is_empty());
    }

    #[test]
    fn station_lines_of_both_kinds() {
        let old = format!("<H2>72327 BNA Nashville Observations at 12Z 20 Feb 2014</H2>\n{TABLE}");
        let new = format!(
            "Observations for Station 83779 at 12 UTC 23 Feb 2023\nMARTE CIV/MIL, Brazil\n\n\
             Latitude: -23.520 Longitude: -46.630\n{TABLE}"
        );
        let both = read("f", &format!("{old}\n{new}")).unwrap();
        assert_eq!(both[0].name, "72327 BNA Nashville");
        assert_eq!(both[0].time.unwrap().to_string(), "2014-02-20T12:00:00Z");
        assert_eq!(both[0].position, None);
        assert_eq!(both[1].name, "83779 MARTE CIV/MIL, Brazil");
        assert_eq!(both[1].time.unwrap().to_string(), "2023-02-23T12:00:00Z");
        assert_eq!(both[1].position, Position::new(-23.52, -46.63));
    }

    #[test]
    fn the_block_below_the_table_is_read() {
        let text = format!(
            "{TABLE}\nStation information and sounding indices\n\n  Station identifier: YMHB\n\
             Observation time: 130702/0000\n Station latitude: -42.83\n Station longitude: 147.50\n"
        );
        let raw = read("f", &text).unwrap().remove(0);
        assert_eq!(raw.name, "YMHB");
        assert_eq!(raw.time.unwrap().to_string(), "2013-07-02T00:00:00Z");
        assert_eq!(raw.position, Position::new(-42.83, 147.5));
    }

    #[test]
    fn a_model_is_told_from_a_station() {
        let model = |heading: &str| {
            read("f", &format!("{heading}\n{TABLE}")).unwrap()[0]
                .model
                .clone()
        };
        let gfs = model("GFS 6 h forecast for grid point 42.0 N 88.0 W").unwrap();
        assert_eq!((gfs.name.as_str(), gfs.lead_s), ("GFS", Some(21_600.0)));
        assert!(model("72662 RAP Rapid City Observations at 12Z 20 Feb 2014").is_none());
    }

    #[test]
    fn the_units_line_decides() {
        let metric = TABLE.replace("SKNT", "SPED").replace("knot", " m/s");
        let raw = read("f", &metric).unwrap().remove(0);
        assert_eq!(raw.rows[1].speed_m_s, Some(41.0));
        let message = read("f", &TABLE.replace("knot", "furl"))
            .err()
            .unwrap()
            .to_string();
        assert!(
            message.contains("SKNT: found the unit \"furl\""),
            "{message}"
        );
    }

    #[test]
    fn a_cut_line_says_so() {
        let cut = TABLE.find("  210").unwrap() + 4;
        let message = read("f", &TABLE[..cut]).err().unwrap().to_string();
        assert!(
            message.contains("line 6, DRCT") && message.contains("cut off"),
            "{message}"
        );
    }
}
