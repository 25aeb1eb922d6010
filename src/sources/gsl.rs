//! The numbered lines of NOAA's Global Systems Laboratory (once the Forecast Systems Laboratory),
//! of measured soundings and of model columns.
//!
//! A title line gives kind, hour, day, month and year; lines 1, 2 and 3 the station, checks and
//! the wind's unit; lines 4 to 9 are levels: mandatory, significant, wind, tropopause, strongest
//! wind, surface. Their columns are pressure, height, temperature, dew point, wind direction and
//! wind speed.
//!
//! # References
//!
//! NOAA Forecast Systems Laboratory, "FSL Rawinsonde data format" (the text served with the
//! radiosonde database): line types, units and fillers.

use jiff::Timestamp;
use jiff::civil::Date;

use super::clean::{Raw, Row};
use super::model;
use super::text::{month, utc};
use crate::error::{Fault, Result};
use crate::geodesy::Position;
use crate::notes::reading::Reading;
use crate::units::{KNOT_M_S, ZERO_CELSIUS_K};
use crate::wind::sounding::{HeightSource, Model, Tally};

/// Missing in the present format and in the original one.
const FILLERS: [f64; 2] = [99_999.0, 32_767.0];

/// Lines of an ascent that are not levels: the title and lines 1 to 3.
const TITLE_LINES: f64 = 4.0;

/// An ascent being read.
struct Ascent {
    raw: Raw,
    /// Metres a second for one unit of wind speed, from line 3.
    speed_unit_m_s: Option<f64>,
    /// How many lines line 2 promises.
    lines: Option<f64>,
}

pub(super) fn looks_like(text: &str) -> bool {
    let mut kinds = text
        .lines()
        .filter_map(|line| line.split_ascii_whitespace().next())
        .skip_while(|&word| word != "1");
    let titled = text.lines().take(10).any(|line| title_time(line).is_some());
    titled
        && ["1", "2", "3"]
            .iter()
            .all(|&kind| kinds.next() == Some(kind))
}

/// Takes a file apart into ascents.
pub(super) fn read(file: &str, text: &str) -> Result<Vec<Raw>> {
    let mut ascents: Vec<Ascent> = Vec::new();
    let mut heading = "";
    for (i, text) in text.lines().enumerate() {
        let line = i + 1;
        if let Some(time) = title_time(text) {
            let model = model_of(text, heading);
            ascents.push(Ascent::begin(file, line, time, model));
            continue;
        }
        // If a title comes next, this line above it may tell of a model's run.
        heading = text;
        let words: Vec<&str> = text.split_ascii_whitespace().collect();
        let Some(ascent) = ascents.last_mut() else {
            continue;
        };
        match words.first() {
            Some(&"1") => ascent.station(&words),
            Some(&"2") => ascent.lines = words.get(4).and_then(|w| number(w)),
            Some(&"3") => ascent.units(file, line, &words)?,
            Some(&("4" | "5" | "6" | "7" | "8" | "9")) => ascent.level(file, line, &words)?,
            _ => {}
        }
    }
    if ascents.is_empty() {
        let expected = "a title line of kind, hour, day, month and year, as in RAOB 12 30 JUN 2023";
        return Err(Fault::new(file, "no sounding", expected).into());
    }
    ascents
        .into_iter()
        .map(|ascent| ascent.finish(file))
        .collect()
}

/// The time of a title line such as `RAOB 12 30 JUN 2023`; `None` when it is none.
fn title_time(line: &str) -> Option<Timestamp> {
    let words: Vec<&str> = line.split_ascii_whitespace().collect();
    let &[_, hour, day, month_name, year] = words.as_slice() else {
        return None;
    };
    let date = Date::new(year.parse().ok()?, month(month_name)?, day.parse().ok()?).ok()?;
    let clock = jiff::civil::Time::new(hour.parse().ok()?, 0, 0, 0).ok()?;
    utc(date.to_datetime(clock))
}

/// The model that a title line names, with what the line above it says of its run; `None` for the
/// kinds of measured soundings, `RAOB` and, in the original format, 254.
fn model_of(title: &str, heading: &str) -> Option<Model> {
    let kind = title.split_ascii_whitespace().next()?;
    let measured = kind.eq_ignore_ascii_case("RAOB") || kind.bytes().all(|b| b.is_ascii_digit());
    (!measured).then(|| Model {
        name: kind.to_owned(),
        lead_s: model::lead_s(heading),
    })
}

fn number(word: &str) -> Option<f64> {
    let value: f64 = word.parse().ok()?;
    (value.is_finite() && !FILLERS.contains(&value)).then_some(value)
}

impl Ascent {
    fn begin(file: &str, line: usize, time: Timestamp, model: Option<Model>) -> Ascent {
        Ascent {
            raw: Raw {
                file: file.to_owned(),
                line,
                name: String::new(),
                time: Some(time),
                position: None,
                model,
                heights: HeightSource::Geopotential,
                in_time_order: false,
                rows: Vec::new(),
                tally: Tally::default(),
            },
            speed_unit_m_s: None,
            lines: None,
        }
    }

    /// Line 1: WBAN number, WMO number, latitude and longitude, elevation, release.
    fn station(&mut self, words: &[&str]) {
        if let Some(&wmo) = words.get(2).filter(|w| number(w).is_some()) {
            self.raw.name = wmo.to_owned();
        }
        let place = words.get(3..).unwrap_or_default().join(" ");
        let (position, west_assumed) = place_of(&place);
        self.raw.position = position;
        if west_assumed {
            self.raw.tally.assumed.push(Reading::LongitudeWest);
        }
    }

    /// Line 3: station letters, and the wind's unit at the end.
    fn units(&mut self, file: &str, line: usize, words: &[&str]) -> Result<()> {
        if let Some(&letters) = words.get(1).filter(|w| w.contains(char::is_alphabetic))
            && words.len() > 2
        {
            self.raw.name = format!("{letters} {}", self.raw.name).trim().to_owned();
        }
        let unit = words.last().copied().unwrap_or("");
        self.speed_unit_m_s = match unit.to_ascii_lowercase().as_str() {
            "kt" => Some(KNOT_M_S),
            // Tenths, as the format has temperatures and pressures.
            "ms" => Some(0.1),
            _ => {
                let expected =
                    "the wind's unit at the end of line type 3: kt or ms (tenths of m/s)";
                return Err(Fault::new(file, format!("\"{unit}\""), expected)
                    .at_line(line)
                    .into());
            }
        };
        Ok(())
    }

    fn level(&mut self, file: &str, line: usize, words: &[&str]) -> Result<()> {
        let fault = |found: String, expected: &str| Fault::new(file, found, expected).at_line(line);
        let Some(speed_unit) = self.speed_unit_m_s else {
            let expected = "line type 3, with the wind's unit, before the levels";
            return Err(fault("a level".to_owned(), expected).into());
        };
        if words.len() < 7 {
            let found = format!("{} columns", words.len());
            let expected = "7 columns or more in a level; is the file complete?";
            return Err(fault(found, expected).into());
        }
        let mut values = [None; 6];
        for (value, word) in values.iter_mut().zip(words.iter().skip(1)) {
            if word.parse::<f64>().is_err() {
                return Err(fault(format!("\"{word}\""), "a number").into());
            }
            *value = number(word);
            if value.is_none() {
                self.raw.tally.fillers += 1;
            }
        }
        let [pressure, height, temperature, dew_point, from, speed] = values;
        let tenths_celsius = |v: Option<f64>| v.map(|t| t / 10.0 + ZERO_CELSIUS_K);
        self.raw.rows.push(Row {
            // Tenths of a hectopascal; see `finish` for the original format.
            pressure_pa: pressure.map(|p| p * 10.0),
            height_m: height,
            temperature_k: tenths_celsius(temperature),
            dew_point_k: tenths_celsius(dew_point),
            from_deg: from,
            speed_m_s: speed.map(|s| s * speed_unit),
            ..Row::default()
        });
        Ok(())
    }

    fn finish(mut self, file: &str) -> Result<Raw> {
        let levels = self.raw.rows.len() as f64;
        if let Some(promised) = self.lines
            && levels + TITLE_LINES < promised
        {
            let found = format!(
                "an ascent that ends after {levels} of {} levels",
                promised - TITLE_LINES
            );
            let expected = "all levels its line type 2 promises; is the file complete?";
            return Err(Fault::new(file, found, expected)
                .at_line(self.raw.line)
                .into());
        }
        // The original format has whole hectopascals: no ascent of that begins above 1,100, and
        // none in tenths ends its highest pressure below 110.0 hPa.
        let highest_pa = self
            .raw
            .rows
            .iter()
            .filter_map(|r| r.pressure_pa)
            .fold(0.0, f64::max);
        if highest_pa <= 11_000.0 {
            for row in &mut self.raw.rows {
                row.pressure_pa = row.pressure_pa.map(|p| 10.0 * p);
            }
        }
        Ok(self.raw)
    }
}

/// The place in what follows the station numbers, and whether "west" had to be assumed:
/// `32.85N117.12W 137 0`, `42.00 88.00 205 99999`.
fn place_of(text: &str) -> (Option<Position>, bool) {
    let spaced: String = text
        .chars()
        .flat_map(|c| match c.to_ascii_uppercase() {
            letter @ ('N' | 'S' | 'E' | 'W') => vec![' ', letter, ' '],
            other => vec![other],
        })
        .collect();
    let mut words = spaced.split_ascii_whitespace().peekable();
    let mut next = || -> Option<(f64, Option<&str>)> {
        let value = number(words.next()?)?;
        let letter = words.next_if(|w| w.starts_with(['N', 'S', 'E', 'W']));
        Some((value, letter))
    };
    let (Some((lat, ns)), Some((lon, ew))) = (next(), next()) else {
        return (None, false);
    };
    let lat = if ns == Some("S") { -lat } else { lat };
    let west_assumed = ew.is_none() && lon > 0.0;
    let lon = if ew == Some("W") || west_assumed {
        -lon
    } else {
        lon
    };
    (Position::new(lat, lon), west_assumed)
}

#[cfg(test)]
mod tests {
    use super::*;

    const RAOB: &str = "\
RAOB sounding valid at:
   RAOB     12     30    JUN   2023
      1  99999  72293 32.85N117.12W    137      0
      2  99999  99999  99999      6  99999  99999
      3           NKX                99999     kt
      9   9970    137    160    138    355      3   1102    359      0
      4   8500   1508    240    -10    350     14   1107    173      0
";

    #[test]
    fn a_measured_sounding() {
        assert!(looks_like(RAOB));
        let raw = read("f", RAOB).unwrap().remove(0);
        assert_eq!(raw.name, "NKX 72293");
        assert_eq!(raw.time.unwrap().to_string(), "2023-06-30T12:00:00Z");
        assert_eq!(raw.position, Position::new(32.85, -117.12));
        let low = raw.rows[0];
        assert_eq!(low.pressure_pa, Some(99_700.0));
        assert_eq!(low.height_m, Some(137.0));
        assert!((low.temperature_k.unwrap() - 289.15).abs() < 1e-9);
        assert!((low.speed_m_s.unwrap() - 3.0 * 1852.0 / 3600.0).abs() < 1e-12);
    }

    #[test]
    fn the_wind_unit_is_the_files_own() {
        let raw = read("f", &RAOB.replace("kt", "ms")).unwrap().remove(0);
        // Tenths of metres a second.
        assert!((raw.rows[1].speed_m_s.unwrap() - 1.4).abs() < 1e-12);
        let message = read("f", &RAOB.replace("kt", "mi"))
            .err()
            .unwrap()
            .to_string();
        assert!(message.contains("line 5: found \"mi\""), "{message}");
    }

    #[test]
    fn the_original_format_has_whole_hectopascals() {
        let old = RAOB
            .replace("RAOB     12", "254 12")
            .replace(" 9970", "  997")
            .replace(" 8500", "  850");
        let raw = read("f", &old).unwrap().remove(0);
        assert_eq!(raw.rows[1].pressure_pa, Some(85_000.0));
    }

    #[test]
    fn places_in_all_their_forms() {
        assert_eq!(
            place_of("42.00 88.00 205"),
            (Position::new(42.0, -88.0), true)
        );
        assert_eq!(
            place_of("42.00 -88.00 205"),
            (Position::new(42.0, -88.0), false)
        );
        assert_eq!(
            place_of("12.42S130.89E 30"),
            (Position::new(-12.42, 130.89), false)
        );
        assert_eq!(
            place_of("32.85 N 117.12 W"),
            (Position::new(32.85, -117.12), false)
        );
        assert_eq!(place_of("99999 99999"), (None, false));
        assert_eq!(place_of(""), (None, false));
    }

    #[test]
    fn a_short_file_says_so() {
        let end = RAOB.find("      4   8500").unwrap();
        let message = read("f", &RAOB[..end]).err().unwrap().to_string();
        assert!(message.contains("ends after 1 of 2 levels"), "{message}");
        let message = read("f", &RAOB[..end + 30]).err().unwrap().to_string();
        assert!(
            message.contains("line 7") && message.contains("complete"),
            "{message}"
        );
    }
}
