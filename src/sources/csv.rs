//! A table of values with a header that names quantities and units; comma, semicolon or tab.

use csv::{ReaderBuilder, StringRecord, Trim};
use jiff::Timestamp;

use super::clean::{Raw, Row, agree};
use super::heading::{self, Heading, Quantity};
use super::text::date_time;
use crate::error::{Error, Fault, Result};
use crate::geodesy::Position;
use crate::units::to_si;
use crate::wind::sounding::{HeightSource, Tally};

/// Words that stand for a missing value.
const MISSING_WORDS: [&str; 11] = [
    "", "nan", "na", "n/a", "null", "none", "missing", "-", "--", "/", "m",
];

/// Numbers that stand for a missing value.
const FILLERS: [f64; 9] = [
    9_999.0, -9_999.0, 99_999.0, -99_999.0, 999_999.0, -999_999.0, -8_888.0, -999.0, 999.0,
];

/// A column whose heading was understood.
struct Column {
    heading: String,
    quantity: Quantity,
    unit: &'static str,
    /// Its values in SI, row by row.
    values: Vec<Option<f64>>,
}

pub(super) fn looks_like(text: &str) -> bool {
    let header = header_line(text);
    let fields = header.split(separator(header));
    let known = fields.filter(|f| !matches!(heading::read(unquoted(f)), Heading::Other));
    known.count() >= 2
}

/// Takes a table apart. There is one ascent in a file.
pub(super) fn read(file: &str, text: &str) -> Result<Raw> {
    let separator = separator(header_line(text));
    let mut tally = Tally {
        comments: text.lines().filter(|line| line.starts_with('#')).count(),
        ..Tally::default()
    };
    let mut reader = ReaderBuilder::new()
        .delimiter(separator as u8)
        .comment(Some(b'#'))
        .has_headers(false)
        .flexible(true)
        .trim(Trim::All)
        .from_reader(text.as_bytes());
    let mut records = reader.records();
    let bad = |cause: csv::Error| -> Error {
        let found = format!("an unreadable row ({cause})");
        Fault::new(file, found, "a row of values").into()
    };
    let header = records.next().transpose().map_err(bad)?.unwrap_or_default();
    let line = line_of(&header);
    let mut columns = understood(file, line, &header, &mut tally)?;
    let mut time_cell = None;
    for record in records {
        let record = record.map_err(bad)?;
        if record.iter().all(str::is_empty) {
            continue;
        }
        if record.len() < header.len() {
            let found = format!("{} values", record.len());
            let expected = format!("{}, as in the header; is the file complete?", header.len());
            return Err(Fault::new(file, found, expected)
                .at_line(line_of(&record))
                .into());
        }
        for (place, column) in &mut columns {
            let cell = record.get(*place).unwrap_or("");
            if column.quantity == Quantity::Time {
                time_cell.get_or_insert_with(|| cell.to_owned());
            } else {
                let value = value(cell, separator, &mut tally).ok_or_else(|| {
                    Fault::new(file, format!("\"{cell}\""), "a number, or nothing")
                        .at_line(line_of(&record))
                        .of_key(&column.heading)
                })?;
                column.values.push(value);
            }
        }
    }
    let columns: Vec<Column> = columns.into_iter().map(|(_, column)| column).collect();
    let (rows, position, heights) = rows(columns, &mut tally);
    Ok(Raw {
        file: file.to_owned(),
        line,
        name: String::new(),
        time: time(text, time_cell.as_deref(), &mut tally),
        position,
        model: None,
        heights,
        in_time_order: true,
        rows,
        tally,
    })
}

/// The first line that is neither blank nor a comment.
fn header_line(text: &str) -> &str {
    text.lines()
        .find(|line| !line.trim().is_empty() && !line.starts_with('#'))
        .unwrap_or("")
}

/// The separator most used in the header.
fn separator(header: &str) -> char {
    [',', ';', '\t']
        .into_iter()
        .rev()
        .max_by_key(|&c| header.matches(c).count())
        .unwrap_or(',')
}

fn unquoted(field: &str) -> &str {
    field.trim().trim_matches('"')
}

fn line_of(record: &StringRecord) -> usize {
    record
        .position()
        .map_or(1, |p| usize::try_from(p.line()).unwrap_or(usize::MAX))
}

/// The columns that are used, with their places. Of several with one quantity the first is taken.
///
/// # Errors
///
/// A quantity without its unit, or without columns for the wind or for the height.
fn understood(
    file: &str,
    line: usize,
    header: &StringRecord,
    tally: &mut Tally,
) -> Result<Vec<(usize, Column)>> {
    let mut columns: Vec<(usize, Column)> = Vec::new();
    let mut unitless: Vec<(Quantity, &str)> = Vec::new();
    let mut unclear: Vec<(Quantity, &str)> = Vec::new();
    for (place, text) in header.iter().enumerate() {
        match heading::read(text) {
            Heading::Known(quantity, unit) => {
                if columns.iter().all(|(_, c)| c.quantity != quantity) {
                    let heading = text.to_owned();
                    let values = Vec::new();
                    columns.push((
                        place,
                        Column {
                            heading,
                            quantity,
                            unit,
                            values,
                        },
                    ));
                }
            }
            Heading::NoUnit(quantity) => unitless.push((quantity, text)),
            Heading::Unclear(quantity) => unclear.push((quantity, text)),
            Heading::Other => {}
        }
    }
    let has = |quantity| columns.iter().any(|(_, c)| c.quantity == quantity);
    for (quantity, text) in unclear {
        // Elapsed times are not needed, and a second column of a quantity is not missed.
        if quantity != Quantity::Time && !has(quantity) {
            tally.left_out.push(format!(
                "column \"{text}\": not a quantity and unit that is known"
            ));
        }
    }
    // A column without unit does no harm beside the same quantity with one.
    let mut faults: Vec<Fault> = unitless
        .into_iter()
        .filter(|&(quantity, _)| !has(quantity))
        .map(|(quantity, text)| {
            let expected = format!("its unit in the heading, as in {}", quantity.examples());
            Fault::new(file, format!("\"{text}\" without a unit"), expected)
                .at_line(line)
                .of_key(text)
        })
        .collect();
    let has_wind = (has(Quantity::Speed) && has(Quantity::From))
        || (has(Quantity::East) && has(Quantity::North));
    let has_height = [
        Quantity::Altitude,
        Quantity::Geopotential,
        Quantity::Height,
        Quantity::Pressure,
    ]
    .into_iter()
    .any(has);
    if faults.is_empty() {
        let mut need = |there: bool, what: &str, expected: &str| {
            if !there {
                let headings: Vec<&str> = header.iter().take(20).collect();
                let found = format!("no column of {what} among: {}", headings.join(", "));
                faults.push(Fault::new(file, found, expected).at_line(line));
            }
        };
        need(
            has_wind,
            "wind",
            "wind speed and direction, as in wind_speed_m/s (or _kt, _km/h, _mph) and \
             wind_direction_deg, or both components, as in u_m_s and v_m_s",
        );
        need(
            has_height,
            "height",
            "a height above sea level or a pressure, as in altitude_m, geopotential height_m, \
             height (ft), pressure_hPa",
        );
    }
    if faults.is_empty() {
        Ok(columns)
    } else {
        Err(Error::Faults(faults))
    }
}

/// A cell as a number; `None` when it is neither a number nor a word for a missing one.
#[allow(clippy::option_option)] // the outer is a fault, the inner a missing value
fn value(cell: &str, separator: char, tally: &mut Tally) -> Option<Option<f64>> {
    if MISSING_WORDS.iter().any(|w| cell.eq_ignore_ascii_case(w)) {
        tally.fillers += 1;
        return Some(None);
    }
    let number: Option<f64> = match cell.parse() {
        // Where the comma does not separate values, it may separate decimals.
        Err(_) if separator != ',' => cell.replacen(',', ".", 1).parse().ok(),
        other => other.ok(),
    };
    number.map(|n| n.is_finite().then_some(n))
}

/// The rows in SI, the first place, and what kind of height there is.
fn rows(mut columns: Vec<Column>, tally: &mut Tally) -> (Vec<Row>, Option<Position>, HeightSource) {
    let pressures = columns
        .iter()
        .find(|c| c.quantity == Quantity::Pressure)
        .map(|c| {
            c.values
                .iter()
                .map(|v| v.and_then(|v| si(v, c)))
                .collect::<Vec<_>>()
        });
    for column in &mut columns {
        drop_fillers(column, pressures.as_deref(), tally);
        let values = std::mem::take(&mut column.values);
        column.values = values
            .into_iter()
            .map(|v| v.and_then(|v| si(v, column)))
            .collect();
    }
    let length = columns
        .iter()
        .map(|c| c.values.len())
        .max()
        .unwrap_or_default();
    let cell = |quantity: Quantity, row: usize| -> Option<f64> {
        let column = columns.iter().find(|c| c.quantity == quantity)?;
        column.values.get(row).copied().flatten()
    };
    let (height, heights) = height_column(&columns, tally);
    let position = (0..length)
        .find_map(|i| Position::new(cell(Quantity::Latitude, i)?, cell(Quantity::Longitude, i)?));
    let rows = (0..length)
        .map(|i| Row {
            height_m: cell(height, i),
            pressure_pa: cell(Quantity::Pressure, i),
            temperature_k: cell(Quantity::Temperature, i),
            dew_point_k: cell(Quantity::DewPoint, i),
            dew_point_depression_k: cell(Quantity::DewPointDepression, i),
            relative_humidity: cell(Quantity::Humidity, i),
            speed_m_s: cell(Quantity::Speed, i),
            from_deg: cell(Quantity::From, i),
            east_m_s: cell(Quantity::East, i),
            north_m_s: cell(Quantity::North, i),
        })
        .collect();
    (rows, position, heights)
}

/// The column that heights are taken from: geometric rather than geopotential, and plain "height"
/// last, as geometric.
fn height_column(columns: &[Column], tally: &mut Tally) -> (Quantity, HeightSource) {
    let has = |quantity| columns.iter().any(|c| c.quantity == quantity);
    if has(Quantity::Altitude) {
        (Quantity::Altitude, HeightSource::Geometric)
    } else if has(Quantity::Geopotential) {
        (Quantity::Geopotential, HeightSource::Geopotential)
    } else {
        if has(Quantity::Height) {
            tally.assumed.push(
                "\"height\" is geometric, above mean sea level (write \"geopotential height\" \
                 where it is not)"
                    .to_owned(),
            );
        }
        (Quantity::Height, HeightSource::Geometric)
    }
}

/// A value in the column's unit, in SI.
fn si(value: f64, column: &Column) -> Option<f64> {
    match column.quantity.dimension() {
        None => Some(value),
        // A difference of temperatures has no zero to shift.
        Some(dimension) if column.quantity == Quantity::DewPointDepression => {
            Some(to_si(value, column.unit, dimension)? - to_si(0.0, column.unit, dimension)?)
        }
        Some(dimension) => to_si(value, column.unit, dimension),
    }
}

/// Takes fillers out of a column. 9,999 m is a height like any other in a fine record: it is a
/// filler when it comes up again, or when the pressure beside it says so.
fn drop_fillers(column: &mut Column, pressures: Option<&[Option<f64>]>, tally: &mut Tally) {
    for filler in FILLERS {
        let is_filler = |v: &Option<f64>| *v == Some(filler);
        let is_height = matches!(
            column.quantity,
            Quantity::Altitude | Quantity::Geopotential | Quantity::Height
        );
        let can_be_true = filler > 0.0 && (is_height || column.quantity == Quantity::Pressure);
        let alone = column
            .values
            .iter()
            .filter(|v| is_filler(v))
            .take(2)
            .count()
            == 1;
        for row in 0..column.values.len() {
            if !is_filler(&column.values[row]) {
                continue;
            }
            let pressure = pressures.and_then(|p| p[row]).filter(|&p| p > 0.0);
            let belied = match (si(filler, column), pressure) {
                (Some(height), Some(pressure)) if is_height => !agree(height, pressure),
                _ => false,
            };
            if !(can_be_true && alone) || belied {
                column.values[row] = None;
                tally.fillers += 1;
            }
        }
    }
}

/// The time of release: named in a comment, else the first of the time column.
fn time(text: &str, first_cell: Option<&str>, tally: &mut Tally) -> Option<Timestamp> {
    let comments = text.lines().filter(|line| line.starts_with('#'));
    let (time, assumed) = comments
        .filter_map(time_in_comment)
        .next()
        .or_else(|| first_cell.and_then(date_time))?;
    if assumed {
        tally
            .assumed
            .push("times are UTC (the file gives no offset)".to_owned());
    }
    Some(time)
}

/// A time of release in a comment: `# launch 2007-11-20T17:30`, `# ... First record
/// 2026-02-05T23:03:59Z.`
fn time_in_comment(line: &str) -> Option<(Timestamp, bool)> {
    const WORDS: [&str; 5] = ["launch", "release", "released", "record", "time"];
    let mut words = line
        .split_ascii_whitespace()
        .map(|w| w.trim_end_matches(['.', ',', ';', ':', '=']))
        .skip_while(|word| !WORDS.iter().any(|w| word.eq_ignore_ascii_case(w)));
    words.next()?;
    date_time(words.next()?)
}

#[cfg(test)]
mod tests {
    use super::super::clean::clean;
    use super::*;
    use crate::units::ZERO_CELSIUS_K;
    use crate::wind::sounding::Sounding;

    fn sounding(text: &str) -> Sounding {
        clean(read("f", text).unwrap()).unwrap()
    }

    fn message(text: &str) -> String {
        read("f", text).err().unwrap().to_string()
    }

    #[test]
    fn separators_and_decimal_commas() {
        let comma = sounding("altitude_m,u_m_s,v_m_s\n100.5,1,2\n200,3,4\n");
        let semicolon = sounding("altitude_m;u_m_s;v_m_s\n100,5;1;2\n200;3;4\n");
        let tab = sounding("altitude_m\tu_m_s\tv_m_s\r\n100.5\t1\t2\r\n200\t3\t4\r\n");
        assert_eq!(comma.levels, semicolon.levels);
        assert_eq!(comma.levels, tab.levels);
        assert_eq!(comma.levels[0].altitude_m, 100.5);
        assert_eq!(comma.levels[1].wind.unwrap().east_m_s, 3.0);
    }

    #[test]
    fn units_are_brought_to_si() {
        let s = sounding(
            "height (ft),wind_kt,wind_dir,temperature (F),pressure [mbar]\n\
             1000,10,360,32,977\n2000,20,90,14,942\n",
        );
        assert!((s.levels[0].altitude_m - 304.8).abs() < 1e-9);
        let wind = s.levels[0].wind.unwrap();
        assert!((wind.north_m_s + 18_520.0 / 3_600.0).abs() < 1e-9);
        assert!((s.levels[0].temperature_k.unwrap() - ZERO_CELSIUS_K).abs() < 1e-9);
        assert_eq!(s.levels[0].pressure_pa, Some(97_700.0));
        assert!(s.tally.assumed.iter().any(|a| a.contains("geometric")));
    }

    #[test]
    fn a_missing_unit_is_not_guessed() {
        let text = message("altitude_m,wind_speed,wind_dir\n1,2,3\n");
        assert!(
            text.contains("line 1, wind_speed") && text.contains("wind_kt"),
            "{text}"
        );
        let text = message("altitude_m,wind_speed_furlongs,wind_dir\n1,2,3\n");
        assert!(text.contains("no column of wind"), "{text}");
        let text = message("wind_kt,wind_dir\n1,2\n");
        assert!(text.contains("no column of height"), "{text}");
        // Above ground is not above sea level.
        let text = message("altitude_agl_m,wind_kt,wind_dir\n1,2,3\n");
        assert!(text.contains("no column of height"), "{text}");
    }

    #[test]
    fn fillers_are_missing() {
        let s = sounding(
            "altitude_m,wind_kt,wind_dir,temperature_C\n\
             100,5,270,-9999\n300,NaN,280,9999\n500,99999,270,\n700,5,270,99999\n",
        );
        assert_eq!(s.tally.fillers, 6);
        assert_eq!(s.tally.out_of_range, 0);
        assert_eq!((s.levels.len(), s.tally.unusable), (2, 2));
        assert!(s.levels.iter().all(|l| l.temperature_k.is_none()));
    }

    #[test]
    fn a_height_of_9999_m_may_be_true() {
        let header = "altitude_m,pressure_hPa,wind_kt,wind_dir\n9000,308,5,270\n";
        let s = sounding(&format!("{header}9999,265,5,270\n11000,227,5,270\n"));
        assert_eq!((s.levels.len(), s.tally.fillers), (3, 0));
        let s = sounding(&format!("{header}9999,10,5,270\n11000,227,5,270\n"));
        assert_eq!((s.tally.fillers, s.tally.heights_computed), (1, 1));
        assert!(s.levels.last().unwrap().altitude_m > 29_000.0);
    }

    #[test]
    fn comments_and_their_times() {
        let table = "altitude_m,u_kt,v_kt\n1,2,3\n4,5,6\n";
        let s = sounding(&format!(
            "# station x launch 2007-11-20T17:30 lat0 5\n{table}"
        ));
        assert_eq!(s.time.unwrap().to_string(), "2007-11-20T17:30:00Z");
        assert_eq!(s.tally.comments, 1);
        assert!(s.tally.assumed.iter().any(|a| a.contains("UTC")));
        let s = sounding(&format!("# First record 2026-02-05T23:03:59Z.\n{table}"));
        assert_eq!(s.time.unwrap().to_string(), "2026-02-05T23:03:59Z");
        assert!(s.tally.assumed.is_empty());
        assert_eq!(
            sounding(&format!("# made 2026-02-05T23:03\n{table}")).time,
            None
        );
        let s = sounding("time,altitude_m,u_kt,v_kt\n2010-12-09 11:06:00,1,2,3\nx,4,5,6\n");
        assert_eq!(s.time.unwrap().to_string(), "2010-12-09T11:06:00Z");
        assert_eq!(
            sounding("time,altitude_m,u_kt,v_kt\n0,1,2,3\n1,4,5,6\n").time,
            None
        );
    }

    #[test]
    fn the_first_place_counts() {
        let s = sounding("lat,lon,altitude_m,u_kt,v_kt\n,,1,2,3\n13.1,301,4,5,6\n13.2,-58,7,8,9\n");
        assert_eq!(s.position, Position::new(13.1, -59.0));
    }

    #[test]
    fn faults_name_line_and_column() {
        let header = "# a comment\naltitude_m,wind_kt,wind_dir\n1,2,3\n";
        let text = message(&format!("{header}4,x5,6\n"));
        assert_eq!(
            text,
            "f, line 4, wind_kt: found \"x5\"; expected a number, or nothing"
        );
        let text = message(&format!("{header}4,5\n"));
        assert!(
            text.contains("line 4: found 2 values; expected 3"),
            "{text}"
        );
    }
}
