//! BUFKIT: the run of a model above one station, a profile for each hour, with a table of values at
//! the ground behind them.
//!
//! `SNPARM` names the quantities of a level. Under its own head of `KEY = value` each profile repeats
//! those names over as many lines as its levels take, so that the heads tell how to read it: models
//! differ in both.
//!
//! # References
//!
//! Penn State, "Bufkit file parameter definitions" (2017, bufkit_parameters.txt): quantities, units,
//! and that UWND and VWND at the ground are at 10 m, T2MS and TD2M at 2 m.

#![allow(
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "by numbers of its own lines, rows and words"
)]

use std::ops::Range;

use jiff::Timestamp;

use super::clean::{Raw, Row};
use super::text::short_time;
use crate::error::{Fault, Result};
use crate::geodesy::Position;
use crate::units::{KNOT_M_S, ZERO_CELSIUS_K, counted};
use crate::wind::near_ground::TOLD_AT_M;
use crate::wind::sounding::{HeightSource, Model, Tally};

/// Missing.
const FILLER: f64 = -9999.0;

/// What the winds are called: the format does not name its model.
const MODEL: &str = "BUFKIT";

/// The lowest level of a model lies nearer to its ground than this, m.
const LOWEST_LEVEL_M: f64 = 200.0;

/// Rows at the ground, below those of the profile.
const GROUND_ROWS: usize = 2;

/// The lines of a file, without blanks around.
type Lines<'a> = [&'a str];

/// The head of a profile.
#[derive(Default)]
struct Head {
    letters: String,
    number: String,
    time: Option<Timestamp>,
    lat_deg: Option<f64>,
    lon_deg: Option<f64>,
    ground_m: Option<f64>,
    lead_hours: Option<f64>,
}

/// Values at the ground.
struct Surface {
    number: String,
    time: Option<Timestamp>,
    pressure_pa: Option<f64>,
    temperature_k: Option<f64>,
    dew_point_k: Option<f64>,
    east_m_s: Option<f64>,
    north_m_s: Option<f64>,
}

/// How a level is laid out.
struct Layout<'a> {
    names: Vec<&'a str>,
    /// How many values stand on each of its lines.
    widths: Vec<usize>,
}

pub(super) fn looks_like(text: &str) -> bool {
    let named = |key: &str| {
        text.lines().take(60).any(|line| {
            let rest = line.trim_start().strip_prefix(key);
            rest.is_some_and(|rest| rest.trim_start().starts_with('='))
        })
    };
    named("SNPARM") && named("STID")
}

/// Takes the profiles of a file apart. Files that were joined are read one after the other.
pub(super) fn read(file: &str, text: &str) -> Vec<Result<Raw>> {
    let lines: Vec<&str> = text.lines().map(str::trim).collect();
    let mut starts = starts(&lines, 0..lines.len(), "SNPARM");
    starts.push(lines.len());
    let is_whole = text.ends_with(char::is_whitespace);
    let sections = starts.windows(2);
    sections
        // Only what the file ends with may be cut.
        .flat_map(|s| section(file, &lines, s[0]..s[1], is_whole || s[1] < lines.len()))
        .collect()
}

/// Where in `within` lines begin with a word.
fn starts(lines: &Lines, within: Range<usize>, word: &str) -> Vec<usize> {
    within.filter(|&i| lines[i].starts_with(word)).collect()
}

fn is_table(line: &str) -> bool {
    line.starts_with("STN ") && line.contains("/HHMM")
}

/// One run: its profiles, and the table that stands behind or between them. Its last line `is_whole`
/// where it ends with a line end.
fn section(file: &str, lines: &Lines, within: Range<usize>, is_whole: bool) -> Vec<Result<Raw>> {
    let begins = |i: &usize| lines[*i].starts_with("STID") || is_table(lines[*i]);
    let mut blocks: Vec<usize> = within.clone().filter(begins).collect();
    blocks.push(within.end);
    let blocks = blocks.windows(2).map(|b| b[0]..b[1]);
    let (tables, profiles): (Vec<_>, Vec<_>) = blocks.partition(|b| is_table(lines[b.start]));
    let surface: Vec<Surface> = tables
        .iter()
        .flat_map(|t| surface(&lines[t.clone()]))
        .collect();
    let names = lines[within.start].split_once('=').map_or("", |s| s.1);
    let first_name = names.split(';').next().unwrap_or("").trim();
    let mut most = 0;
    let read = profiles.into_iter().map(|block| {
        let is_last = block.end == within.end;
        let raw = profile(file, lines, block, first_name, &surface)?;
        match is_last {
            true => last(raw, most, is_whole, tables.is_empty()),
            false => {
                most = raw.rows.len().max(most);
                Ok(raw)
            }
        }
    });
    read.collect()
}

/// The profile that a file ends with, which may be cut: whole where it has about as many levels as the
/// most of the others. A file that is cut within a line has half a number at its end.
fn last(mut raw: Raw, most: usize, is_whole: bool, no_table: bool) -> Result<Raw> {
    let levels = raw.rows.len();
    // It may lack the rows at the ground, whose table would stand behind it.
    if levels + GROUND_ROWS < most {
        let found = format!("a profile that ends after {levels} levels, others after {most}");
        let expected = "as many as in the profiles before it; is the file complete?";
        return Err(Fault::new(raw.file, found, expected)
            .at_line(raw.line)
            .into());
    }
    if !is_whole {
        raw.rows.pop();
        let said = "the last level: the file ends within its line";
        raw.tally.left_out.push(said.to_owned());
    }
    if no_table {
        let said = "values at the ground: the file ends without their table; is it complete?";
        raw.tally.left_out.push(said.to_owned());
    }
    Ok(raw)
}

fn profile(
    file: &str,
    lines: &Lines,
    within: Range<usize>,
    first_name: &str,
    surface: &[Surface],
) -> Result<Raw> {
    let from = within.start;
    let is_heads = |line: &str| !line.contains('=') && line.split(' ').next() == Some(first_name);
    let heads = within.clone().find(|&i| is_heads(lines[i]));
    let heads = heads.ok_or_else(|| {
        let expected = format!("a line of names under its head that begins with {first_name}");
        Fault::new(file, "a profile without levels", expected).at_line(from + 1)
    })?;
    let head = Head::read(&lines[from..heads]);
    let (layout, first) = Layout::read(lines, heads..within.end);
    let mut tally = Tally::default();
    let levels = levels(&lines[first..within.end], &layout.widths, &mut tally);
    let mut rows: Vec<Row> = levels.iter().map(|l| layout.row(l, &mut tally)).collect();
    // Where a line is lost, values move to other names, and pressures show it.
    if !falls(&rows) {
        let expected = "pressures that fall from level to level; are lines missing?";
        return Err(Fault::new(file, "pressures that do not fall", expected)
            .at_line(first + 1)
            .into());
    }
    let at_ground = surface
        .iter()
        .find(|s| s.time == head.time && s.number == head.number);
    let ground = at_ground.zip(head.ground_below(&rows));
    let ground = ground.map(|(values, ground_m)| values.rows(ground_m));
    // Below the others, as levels run upwards.
    rows.splice(0..0, ground.into_iter().flatten());
    Ok(Raw {
        file: file.to_owned(),
        line: from + 1,
        name: format!("{} {}", head.letters, head.number)
            .trim()
            .to_owned(),
        time: head.time,
        position: head
            .lat_deg
            .zip(head.lon_deg)
            .and_then(|(lat, lon)| Position::new(lat, lon)),
        model: Some(Model {
            name: MODEL.to_owned(),
            lead_s: head.lead_hours.map(|h| 3_600.0 * h),
        }),
        heights: HeightSource::Geopotential,
        in_time_order: false,
        rows,
        tally,
    })
}

/// Whether pressures, where there are any, fall from row to row.
fn falls(rows: &[Row]) -> bool {
    let pressures: Vec<f64> = rows.iter().filter_map(|row| row.pressure_pa).collect();
    pressures.windows(2).all(|p| p[0] > p[1])
}

impl Head {
    fn read(lines: &Lines) -> Head {
        let mut head = Head::default();
        for line in lines {
            let spaced = line.replace('=', " = ");
            let words: Vec<&str> = spaced.split_ascii_whitespace().collect();
            for (i, pair) in words.windows(2).enumerate() {
                // Of "STID = STNM = 727730" the first has no value.
                let value = match (pair, words.get(i + 2), words.get(i + 3)) {
                    ([_, "="], Some(value), next) if next != Some(&"=") => *value,
                    _ => continue,
                };
                head.take(pair[0], value);
            }
        }
        head
    }

    fn take(&mut self, key: &str, value: &str) {
        match key {
            "STID" => self.letters = value.to_owned(),
            "STNM" => self.number = value.to_owned(),
            "TIME" => self.time = short_time(value),
            "SLAT" => self.lat_deg = number(value),
            "SLON" => self.lon_deg = number(value),
            "SELV" => self.ground_m = number(value),
            "STIM" => self.lead_hours = number(value),
            _ => {}
        }
    }

    /// The model's ground, m above sea level, where its levels stand on it.
    fn ground_below(&self, rows: &[Row]) -> Option<f64> {
        let lowest_m = rows.iter().find_map(|row| row.height_m)?;
        self.ground_m
            .filter(|ground_m| (0.0..LOWEST_LEVEL_M).contains(&(lowest_m - ground_m)))
    }
}

impl<'a> Layout<'a> {
    /// From the names over the levels; with it the first line after them.
    fn read(lines: &Lines<'a>, within: Range<usize>) -> (Layout<'a>, usize) {
        let end = within.end;
        let is_name = |word: &str| word.starts_with(|c: char| c.is_ascii_alphabetic());
        let mut layout = Layout {
            names: Vec::new(),
            widths: Vec::new(),
        };
        for i in within {
            let words: Vec<&str> = lines[i].split_ascii_whitespace().collect();
            if words.is_empty() || !words.iter().all(|word| is_name(word)) {
                return (layout, i);
            }
            layout.widths.push(words.len());
            layout.names.extend(words);
        }
        (layout, end)
    }

    fn row(&self, values: &[f64], tally: &mut Tally) -> Row {
        let mut row = Row::default();
        for (name, &value) in self.names.iter().zip(values) {
            let value = (value != FILLER).then_some(value);
            let (slot, value) = match *name {
                "PRES" => (&mut row.pressure_pa, value.map(|p| 100.0 * p)),
                "HGHT" => (&mut row.height_m, value),
                "TMPC" => (&mut row.temperature_k, value.map(|t| t + ZERO_CELSIUS_K)),
                "TMPK" => (&mut row.temperature_k, value),
                "DWPC" => (&mut row.dew_point_k, value.map(|t| t + ZERO_CELSIUS_K)),
                "DWPK" => (&mut row.dew_point_k, value),
                "RELH" => (&mut row.relative_humidity, value.map(|h| h / 100.0)),
                "DRCT" => (&mut row.from_deg, value),
                "SKNT" => (&mut row.speed_m_s, value.map(|s| s * KNOT_M_S)),
                "SPED" => (&mut row.speed_m_s, value),
                "UWND" => (&mut row.east_m_s, value),
                "VWND" => (&mut row.north_m_s, value),
                _ => continue,
            };
            if value.is_none() {
                tally.fillers += 1;
            }
            *slot = value;
        }
        row
    }
}

/// The values of each level, `widths` of them on its lines. A level with more or fewer is left out,
/// and reading goes on with the next line that may begin one.
fn levels(lines: &Lines, widths: &[usize], tally: &mut Tally) -> Vec<Vec<f64>> {
    let Some(&first) = widths.first() else {
        return Vec::new();
    };
    let (mut levels, mut level, mut part) = (Vec::new(), Vec::new(), 0);
    let (mut damaged, mut lost) = (0, false);
    for line in lines.iter().filter(|line| !line.is_empty()) {
        let values: Option<Vec<f64>> = line.split_ascii_whitespace().map(number).collect();
        let values = values.unwrap_or_default();
        if values.len() != widths[part] {
            damaged += usize::from(!lost);
            lost = true;
            (part, level) = (0, Vec::new());
            if values.len() != first {
                continue;
            }
        }
        lost = false;
        level.extend(values);
        part += 1;
        if part == widths.len() {
            levels.push(std::mem::take(&mut level));
            part = 0;
        }
    }
    damaged += usize::from(part > 0);
    if damaged > 0 {
        let one = "level that lacks values or has too many";
        let said = counted(damaged, one, "levels that lack values or have too many");
        tally.left_out.push(said);
    }
    levels
}

/// The rows of the table of values at the ground, names first.
fn surface(lines: &Lines) -> Vec<Surface> {
    // By words: rows go on over several lines.
    let mut words = lines.iter().flat_map(|l| l.split_ascii_whitespace());
    let mut names = Vec::new();
    let mut values: Vec<&str> = Vec::new();
    for word in &mut words {
        if word.starts_with(|c: char| c.is_ascii_alphabetic()) {
            names.push(word);
        } else {
            values.push(word);
            break;
        }
    }
    values.extend(words);
    // A row begins with the station, before the time.
    let times = 1..values.len();
    let mut begins: Vec<usize> = times
        .filter(|&i| values[i].contains('/'))
        .map(|i| i - 1)
        .collect();
    begins.push(values.len());
    let rows = begins.windows(2).map(|b| &values[b[0]..b[1]]);
    rows.filter(|row| row.len() == names.len())
        .map(|row| Surface::of(&names, row))
        .collect()
}

impl Surface {
    fn of(names: &[&str], row: &[&str]) -> Surface {
        let value = |name: &str| {
            let at = names.iter().position(|n| *n == name)?;
            number(row[at]).filter(|v| *v != FILLER)
        };
        Surface {
            number: row[0].to_owned(),
            time: short_time(row[1]),
            pressure_pa: value("PRES").map(|p| 100.0 * p),
            temperature_k: value("T2MS").map(|t| t + ZERO_CELSIUS_K),
            dew_point_k: value("TD2M").map(|t| t + ZERO_CELSIUS_K),
            east_m_s: value("UWND"),
            north_m_s: value("VWND"),
        }
    }

    /// The air at the ground, its temperature that at 2 m, and the wind 10 m above it.
    fn rows(&self, ground_m: f64) -> [Row; GROUND_ROWS] {
        let air = Row {
            height_m: Some(ground_m),
            pressure_pa: self.pressure_pa,
            temperature_k: self.temperature_k,
            dew_point_k: self.dew_point_k,
            ..Row::default()
        };
        let wind = Row {
            height_m: Some(ground_m + TOLD_AT_M),
            east_m_s: self.east_m_s,
            north_m_s: self.north_m_s,
            at_10_m: true,
            ..Row::default()
        };
        [air, wind]
    }
}

fn number(word: &str) -> Option<f64> {
    word.parse().ok().filter(|v: &f64| v.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The first hour of a RAP run (Norman, 2018-12-19 04 UTC), three levels of it.
    const RAP: &str = "
SNPARM = PRES;TMPC;TMWC;DWPC;THTE;DRCT;SKNT;OMEG;CFRL;HGHT
STNPRM = SHOW;LIFT

STID = OUN STNM = 723570 TIME = 181219/0400
SLAT = 35.23 SLON = -97.47 SELV = 350
STIM = 1

SHOW = 11.69 LIFT = 10.38

PRES TMPC TMWC DWPC THTE DRCT SKNT OMEG
CFRL HGHT
971.60 7.14 5.99 4.78 298.26 147.26 6.47 -0.10
5.00 358.46
968.70 9.24 6.86 4.48 300.51 154.31 17.04 -0.20
0.00 383.16
963.40 9.74 6.83 3.89 301.01 155.56 21.14 -0.20
0.00 428.70
STN YYMMDD/HHMM PMSL PRES
UWND VWND T2MS
TD2M
723570 181219/0400 1014.50 972.60
-1.40 2.70 6.44
4.90
";

    fn all(text: &str) -> Vec<Raw> {
        read("f", text).into_iter().map(Result::unwrap).collect()
    }

    fn close(found: Option<f64>, expected: f64) {
        assert!((found.unwrap() - expected).abs() < 1e-9, "{found:?}");
    }

    #[test]
    fn names_over_the_levels_say_what_they_hold() {
        assert!(looks_like(RAP));
        let raw = all(RAP).remove(0);
        assert_eq!(raw.name, "OUN 723570");
        assert_eq!(raw.time.unwrap().to_string(), "2018-12-19T04:00:00Z");
        assert_eq!(raw.position, Position::new(35.23, -97.47));
        assert_eq!(raw.model.unwrap().lead_s, Some(3_600.0));
        let [ground, ten_metres, lowest, ..] = raw.rows[..] else {
            panic!("{} rows", raw.rows.len());
        };
        assert_eq!(
            (ground.height_m, ground.pressure_pa),
            (Some(350.0), Some(97_260.0))
        );
        close(ground.temperature_k, 279.59);
        assert_eq!((ground.speed_m_s, ground.east_m_s), (None, None));
        assert_eq!(ten_metres.height_m, Some(360.0));
        assert_eq!(
            (ten_metres.east_m_s, ten_metres.north_m_s),
            (Some(-1.4), Some(2.7))
        );
        close(lowest.speed_m_s, 6.47 * 1852.0 / 3600.0);
        assert_eq!(
            (lowest.height_m, lowest.from_deg),
            (Some(358.46), Some(147.26))
        );
        close(lowest.dew_point_k, 277.93);
        assert_eq!(raw.rows.len(), 5);

        // The same in another order, on one line, in metres a second.
        let other = RAP
            .replace(
                "PRES TMPC TMWC DWPC THTE DRCT SKNT OMEG\nCFRL HGHT",
                "HGHT SPED DRCT PRES",
            )
            .replace(
                "971.60 7.14 5.99 4.78 298.26 147.26 6.47 -0.10\n5.00 358.46",
                "358.46 6.47 147.26 971.60",
            )
            .replace(
                "968.70 9.24 6.86 4.48 300.51 154.31 17.04 -0.20\n0.00 383.16",
                "383.16 17.04 154.31 968.70",
            )
            .replace(
                "963.40 9.74 6.83 3.89 301.01 155.56 21.14 -0.20\n0.00 428.70",
                "428.70 21.14 155.56 963.40",
            )
            .replace("SNPARM = PRES;", "SNPARM = HGHT;");
        let raw = all(&other).remove(0);
        assert_eq!(
            (raw.rows[2].speed_m_s, raw.rows[2].pressure_pa),
            (Some(6.47), Some(97_160.0))
        );
        assert_eq!(raw.rows[2].temperature_k, None);
    }

    #[test]
    fn missing_values_and_heads_without_values() {
        let text = RAP
            .replace("155.56 21.14", "-9999.00 -9999.00")
            .replace("STID = OUN ", "STID = ");
        let raw = all(&text).remove(0);
        assert_eq!(raw.name, "723570");
        assert_eq!((raw.rows[4].from_deg, raw.rows[4].speed_m_s), (None, None));
        assert_eq!(raw.tally.fillers, 2);
        // A ground that is not the model's: no level is put on it.
        assert_eq!(
            all(&RAP.replace("SELV = 350", "SELV = 20"))
                .remove(0)
                .rows
                .len(),
            3
        );
        assert_eq!(
            all(&RAP.replace("723570 181219", "1 181219"))
                .remove(0)
                .rows
                .len(),
            3
        );
    }

    #[test]
    fn a_damaged_level_costs_itself_only() {
        for (from, to) in [
            ("0.00 383.16\n", ""),
            ("0.00 383.16", "383.16"),
            ("154.31 17.04", "154.31"),
            ("154.31 17.04", "154.31 1x.04"),
            ("968.70 9.24 6.86 4.48 300.51 154.31 17.04 -0.20\n", ""),
        ] {
            let raw = all(&RAP.replace(from, to)).remove(0);
            assert_eq!(raw.rows.len(), 4, "{from:?} to {to:?}");
            assert!(
                raw.tally.left_out[0].contains("1 level that lacks"),
                "{:?}",
                raw.tally.left_out
            );
        }
        let shuffled = RAP.replace("968.70", "268.70");
        let message = read("f", &shuffled).remove(0).err().unwrap().to_string();
        assert!(message.contains("pressures that do not fall"), "{message}");
    }

    #[test]
    fn a_cut_file_keeps_its_whole_profiles() {
        let again = RAP.find("STID").unwrap()..RAP.find("STN YY").unwrap();
        let later = RAP[again.clone()].replace("181219/0400", "181219/0500");
        let both = format!("{}{later}", &RAP[..again.end]);
        let rows = |text: &str| -> Vec<Option<usize>> {
            let all = read("f", text).into_iter();
            all.map(|raw| raw.ok().map(|raw| raw.rows.len())).collect()
        };
        assert_eq!(rows(&both), [Some(3), Some(3)]);
        // Within the height of the last level.
        assert_eq!(rows(&both[..both.len() - 3]), [Some(3), Some(2)]);
        // Nothing but the head is left.
        let end = both.rfind("971.60").unwrap();
        assert_eq!(rows(&both[..end]), [Some(3), None]);
        let message = read("f", &both[..end]).remove(1).err().unwrap().to_string();
        assert!(
            message.contains("ends after 0 levels, others after 3"),
            "{message}"
        );
    }

    #[test]
    fn the_table_may_stand_between_profiles() {
        let begin = RAP.find("STID").unwrap();
        let later = RAP[begin..RAP.find("STN YY").unwrap()].replace("181219/0400", "181219/0500");
        let row = "723570 181219/0500 1014.30 972.20\n-3.00 4.00 5.44\n4.68\n";
        let all = all(&format!("{RAP}{row}\n{later}"));
        let east: Vec<_> = all.iter().map(|raw| raw.rows[1].east_m_s).collect();
        assert_eq!(east, [Some(-1.4), Some(-3.0)]);
    }

    #[test]
    fn files_that_were_joined_keep_their_own_grounds() {
        let later = RAP
            .replace("181219/0400", "181219/0500")
            .replace("-1.40 2.70", "-3.00 4.00");
        let both = all(&format!("{RAP}{later}"));
        let east: Vec<_> = both.iter().map(|raw| raw.rows[1].east_m_s).collect();
        assert_eq!(east, [Some(-1.4), Some(-3.0)]);
    }

    #[test]
    fn only_the_last_of_joined_files_may_be_cut() {
        let one = &RAP[..RAP.find("STN YY").unwrap()];
        let later = one.replace("181219/0400", "181219/0500");
        let both = format!("{one}{}", later.trim_end());
        let levels: Vec<usize> = all(&both).iter().map(|raw| raw.rows.len()).collect();
        assert_eq!(levels, [3, 2]);
    }
}
