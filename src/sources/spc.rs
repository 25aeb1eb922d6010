//! The text that the Storm Prediction Center's pages and many tools after them give: a title, then
//! the levels between `%RAW%` and `%END%`, commas between values, wind in knots.
//!
//! # References
//!
//! No description of the format could be read. The heads of its own table name the columns, and
//! their units (hPa, m, degrees Celsius, degrees, knots) are those of published readers.

#![allow(
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "by numbers of its own lines, rows and words"
)]

use super::clean::{Raw, Row};
use super::model;
use super::text::short_time;
use crate::error::{Fault, Result};
use crate::geodesy::reading::read_position;
use crate::units::{KNOT_M_S, ZERO_CELSIUS_K};
use crate::wind::sounding::{HeightSource, Tally};

/// Missing.
const FILLER: f64 = -9999.0;

/// The columns, where no line over them names them.
const NAMES: [&str; 6] = ["LEVEL", "HGHT", "TEMP", "DWPT", "WDIR", "WSPD"];

pub(super) fn looks_like(text: &str) -> bool {
    text.lines().any(is_begin)
}

fn is_begin(line: &str) -> bool {
    line.trim() == "%RAW%"
}

/// Takes the soundings of a file apart.
pub(super) fn read(file: &str, text: &str) -> Vec<Result<Raw>> {
    let lines: Vec<&str> = text.lines().collect();
    let begins: Vec<usize> = (0..lines.len()).filter(|&i| is_begin(lines[i])).collect();
    let mut above = 0;
    let read = begins.iter().map(|&begin| {
        let rest = &lines[begin + 1..];
        let end = rest.iter().position(|line| line.trim().starts_with('%'));
        let levels = &rest[..end.unwrap_or(rest.len())];
        let raw = sounding(file, &lines[above..begin], begin, levels, end.is_some());
        // Title and heads of the next one stand behind these levels.
        above = begin + 1 + levels.len();
        raw
    });
    read.collect()
}

/// One sounding: the lines above its levels, and the levels, which begin below line `begin`.
fn sounding(file: &str, above: &[&str], begin: usize, levels: &[&str], whole: bool) -> Result<Raw> {
    let names = names(above);
    let mut tally = Tally::default();
    let mut rows = Vec::new();
    for (i, line) in levels.iter().enumerate() {
        if line.trim().is_empty() {
            continue;
        }
        let values: Vec<&str> = line.split(',').map(str::trim).collect();
        if values.len() < names.len() {
            let found = format!("{} values", values.len());
            let expected = format!("{}, as in the heads; is the file complete?", names.len());
            return Err(Fault::new(file, found, expected)
                .at_line(begin + i + 2)
                .into());
        }
        let row = row(&names, &values, &mut tally);
        rows.push(row.map_err(|fault| {
            Fault {
                file: file.to_owned(),
                ..fault
            }
            .at_line(begin + i + 2)
        })?);
    }
    if !whole {
        // The number it ends with may be half of one.
        rows.pop();
        tally
            .left_out
            .push("the last level: the file ends without %END%".to_owned());
    }
    let title = above.iter().rev().skip_while(|l| l.trim() != "%TITLE%");
    let title = above[title.count()..].first().copied().unwrap_or("");
    let mut words = title.split_ascii_whitespace();
    Ok(Raw {
        file: file.to_owned(),
        line: begin + 1,
        name: words.next().unwrap_or("").to_owned(),
        time: words.clone().find_map(short_time),
        position: words.filter(|w| w.contains(',')).find_map(read_position),
        model: above.iter().find_map(|line| model::named(line)),
        heights: HeightSource::Geopotential,
        in_time_order: false,
        rows,
        tally,
    })
}

/// The names of the columns.
fn names<'a>(above: &[&'a str]) -> Vec<&'a str> {
    // From below: of several lines of heads the nearest is that of the levels.
    let heads = above.iter().rev().map(|line| line.split_ascii_whitespace());
    heads
        .map(Iterator::collect)
        .find(|words: &Vec<&str>| words.first() == Some(&NAMES[0]))
        .unwrap_or_else(|| NAMES.to_vec())
}

fn row(names: &[&str], values: &[&str], tally: &mut Tally) -> std::result::Result<Row, Fault> {
    let mut row = Row::default();
    for (name, text) in names.iter().zip(values) {
        let value: f64 = text
            .parse()
            .map_err(|_| Fault::new("", format!("\"{text}\""), "a number").of_key(*name))?;
        let value = (value != FILLER).then_some(value);
        tally.fillers += usize::from(value.is_none());
        match *name {
            "LEVEL" => row.pressure_pa = value.map(|p| 100.0 * p),
            "HGHT" => row.height_m = value,
            "TEMP" => row.temperature_k = value.map(|t| t + ZERO_CELSIUS_K),
            "DWPT" => row.dew_point_k = value.map(|t| t + ZERO_CELSIUS_K),
            "WDIR" => row.from_deg = value,
            "WSPD" => row.speed_m_s = value.map(|s| s * KNOT_M_S),
            _ => {}
        }
    }
    Ok(row)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geodesy::Position;

    const NASHVILLE: &str = "\
%TITLE%
 BNA 140728/0000 36.25,-86.56
     LEVEL       HGHT       TEMP       DWPT       WDIR       WSPD
-------------------------------------------------------------------
%RAW%
   1000.00,     82.00,  -9999.00,  -9999.00,  -9999.00,  -9999.00
    989.00,    210.00,     32.60,     23.60,    265.00,     10.00
    982.00,    271.10,     32.00,     24.00,    264.24,     12.28
%END%
";

    #[test]
    fn a_title_and_levels() {
        assert!(looks_like(NASHVILLE));
        let raw = read("f", NASHVILLE).remove(0).unwrap();
        assert_eq!(raw.name, "BNA");
        assert_eq!(raw.time.unwrap().to_string(), "2014-07-28T00:00:00Z");
        assert_eq!(raw.position, Position::new(36.25, -86.56));
        assert_eq!(
            (raw.rows[0].temperature_k, raw.rows[0].height_m),
            (None, Some(82.0))
        );
        assert!((raw.rows[1].speed_m_s.unwrap() - 18_520.0 / 3_600.0).abs() < 1e-9);
        assert_eq!(raw.tally.fillers, 4);
    }

    #[test]
    fn a_model_is_told_from_a_station() {
        let of_model = format!("GFS 12 h forecast\n{NASHVILLE}");
        let model = read("f", &of_model).remove(0).unwrap().model.unwrap();
        assert_eq!((model.name.as_str(), model.lead_s), ("GFS", Some(43_200.0)));
        assert!(read("f", NASHVILLE).remove(0).unwrap().model.is_none());
    }

    #[test]
    fn several_and_cut() {
        let both = format!("{NASHVILLE}\n{}", NASHVILLE.replace("BNA", "OUN"));
        let names: Vec<String> = read("f", &both)
            .into_iter()
            .map(|r| r.unwrap().name)
            .collect();
        assert_eq!(names, ["BNA", "OUN"]);
        let cut = read("f", &NASHVILLE[..NASHVILLE.len() - 8])
            .remove(0)
            .unwrap();
        assert_eq!(cut.rows.len(), 2);
        assert!(cut.tally.left_out[0].contains("%END%"));
        let message = read("f", &NASHVILLE[..NASHVILLE.len() - 30])
            .remove(0)
            .err()
            .unwrap();
        assert!(message.to_string().contains("line 8"), "{message}");
    }
}
