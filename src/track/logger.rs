//! Data loggers' files as they are: with a line of names, with several, or with none; with several power cycles and
//! flights in one file; with dates in any order, and pressures without a unit.
//!
//! What is read is when each row was written, by the logger's own clock, and a pressure, a height or an acceleration.

use jiff::Timestamp;
use jiff::civil::{Date, Time};
use jiff::tz::Offset;

use super::fields::{What, default_scale, plain, what};
use super::stamp::{self, Stamp};
use crate::atmosphere::standard_height_of_pressure;
use crate::clock::seconds_between;
use crate::error::{Fault, Result};
use crate::numeric::{neighbours, quantile};
use crate::units::{Dimension, to_si};

/// A logger's file.
#[derive(Debug, Clone, PartialEq)]
pub struct Logger {
    /// What stands between its cells.
    pub separator: char,
    /// Its names of columns, where it has any.
    pub names: Option<Vec<String>>,
    /// Its rows as they stand, names left out.
    pub rows: Vec<Row>,
    /// Power cycles and flights: rows from and to (exclusive) between which its clock runs on.
    pub runs: Vec<(usize, usize)>,
    /// What its clock counts.
    pub clock: Clock,
    /// What was made of it.
    pub notes: Vec<LoggerNote>,
}

/// What a logger's clock counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Clock {
    /// Days and hours: its seconds are those since 1970.
    Date,
    /// Hours of some day.
    OfDay,
    /// Seconds since it was switched on.
    Elapsed,
}

/// One row.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Its line in the file, from 1.
    pub line: usize,
    /// Its cells.
    pub cells: Vec<String>,
    /// By the logger's clock, s.
    pub time_s: Option<f64>,
    /// Height, m: that of the pressure in the standard atmosphere, else that which stands there.
    pub height_m: Option<f64>,
    /// Size of the acceleration over its usual one.
    pub shock: Option<f64>,
}

/// What was made of a logger's file.
#[derive(Debug, Clone, PartialEq)]
pub enum LoggerNote {
    /// It has no line of names: columns are told by their numbers (from 1): time, and pressure or height.
    NoNames {
        /// The column of the time.
        time: usize,
        /// The column of the pressure.
        pressure: Option<usize>,
    },
    /// So many more lines of names.
    NamesAgain(usize),
    /// The pressure has no unit: taken for this one by its size.
    PressureUnit(&'static str),
    /// The time has no unit: taken for this one by its steps.
    TimeUnit(&'static str),
    /// The dates could be read in several ways: taken in this order.
    DateOrder(&'static str),
    /// So many rows without a time.
    WithoutTime(usize),
}

/// Which column is what, as a person says: numbers from 1, or names.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct LoggerColumns(Vec<(Quantity, String, Option<String>)>);

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Quantity {
    Time,
    Date,
    Pressure,
    Height,
    Acceleration,
}

/// Files of more rows are refused: a hundred a second for half a day are fewer. Of a row so many cells are told apart.
const MOST_ROWS: usize = 5_000_000;
const MOST_CELLS: usize = 256;
/// Lines that tell what stands between cells.
const TOLD_BY: usize = 400;
/// A clock that stands still for longer, s, was switched off.
const OFF_S: f64 = 1_800.0;
/// Names of pressures and accelerations, in lower case without anything between words.
const PRESSURES: [&str; 12] = [
    "pressure",
    "pres",
    "press",
    "p",
    "baro",
    "barometer",
    "airpressure",
    "barometricpressure",
    "baropressure",
    "atmosphericpressure",
    "luftdruck",
    "pressao",
];
const ACCELERATIONS: [&str; 22] = [
    "ax",
    "ay",
    "az",
    "accx",
    "accy",
    "accz",
    "accelx",
    "accely",
    "accelz",
    "accelerationx",
    "accelerationy",
    "accelerationz",
    "xacceleration",
    "yacceleration",
    "zacceleration",
    "xaccel",
    "yaccel",
    "zaccel",
    "acceleration",
    "accel",
    "acc",
    "gforce",
];
const ELAPSED: [&str; 9] = [
    "millis",
    "milliseconds",
    "ms",
    "seconds",
    "sec",
    "s",
    "elapsed",
    "elapsedtime",
    "uptime",
];
/// Units of pressure: symbol, Pa, and between which it lies at the ground.
const PRESSURE_UNITS: [(&str, f64); 3] = [("Pa", 1.0), ("hPa", 100.0), ("kPa", 1_000.0)];
const AT_GROUND_PA: std::ops::Range<f64> = 45_000.0..115_000.0;

impl LoggerColumns {
    /// From `time=1,pressure=3:hPa,height=alt:ft,acceleration=5`; `acceleration` may be given for each axis.
    ///
    /// # Errors
    ///
    /// When it is not that.
    pub fn parse(text: &str) -> Result<LoggerColumns> {
        const EXPECTED: &str = "time=..., date=..., pressure=..., height=... or acceleration=..., each a name or a number of a column (from 1), a unit behind a colon, as in pressure=3:hPa";
        let mut columns = Vec::new();
        for part in text.split(',').filter(|p| !p.trim().is_empty()) {
            let fault = || Fault::new("--logger-columns", format!("\"{}\"", part.trim()), EXPECTED);
            let (key, value) = part.split_once('=').ok_or_else(fault)?;
            let quantity = match key.trim() {
                "time" => Quantity::Time,
                "date" => Quantity::Date,
                "pressure" => Quantity::Pressure,
                "height" | "alt" | "altitude" => Quantity::Height,
                "acceleration" => Quantity::Acceleration,
                _ => return Err(fault().into()),
            };
            let (name, unit) = match value.rsplit_once(':') {
                Some((name, unit)) => (name.trim(), Some(unit.trim().to_owned())),
                None => (value.trim(), None),
            };
            let known = match (quantity, &unit) {
                (_, None) => true,
                (Quantity::Pressure, Some(u)) => to_si(1.0, u, Dimension::Pressure).is_some(),
                (Quantity::Height, Some(u)) => to_si(1.0, u, Dimension::Length).is_some(),
                (Quantity::Time, Some(u)) => TIME_UNITS.iter().any(|(s, _)| s == u),
                _ => false,
            };
            if !known || name.is_empty() {
                return Err(fault().into());
            }
            columns.push((quantity, name.to_owned(), unit));
        }
        Ok(LoggerColumns(columns))
    }
}

/// Units of elapsed time.
const TIME_UNITS: [(&str, f64); 4] = [("s", 1.0), ("ms", 1e-3), ("us", 1e-6), ("min", 60.0)];

/// Columns found: numbers from 0.
#[derive(Debug, Clone, Default)]
struct Found {
    time: Option<(usize, Option<f64>)>,
    date: Option<usize>,
    pressure: Option<(usize, Option<f64>)>,
    height: Option<(usize, f64)>,
    acceleration: Vec<usize>,
}

impl Logger {
    /// Reads a file; of dates that can be read in several ways the ones near a moment are taken.
    ///
    /// # Errors
    ///
    /// [`Fault`] where no rows with times are found, or no pressure, height or acceleration.
    pub fn read(
        name: &str,
        bytes: &[u8],
        asked: &LoggerColumns,
        near: Timestamp,
    ) -> Result<Logger> {
        let text = String::from_utf8_lossy(bytes);
        let text = text.trim_start_matches('\u{feff}');
        let count = text.lines().count();
        if count > MOST_ROWS {
            let expected = format!("at most {MOST_ROWS} rows: cut it to the flight");
            return Err(Fault::new(name, format!("{count} rows"), expected).into());
        }
        let separator = separator(text);
        let lines = text.lines().enumerate();
        let mut rows: Vec<Row> = lines
            .filter(|(_, line)| !line.trim().is_empty() && !line.trim_start().starts_with('#'))
            .map(|(i, line)| Row {
                line: i + 1,
                cells: cells(line, separator),
                time_s: None,
                height_m: None,
                shock: None,
            })
            .collect();
        let mut notes = Vec::new();
        let (names, again) = take_names(&mut rows);
        notes.extend((again > 0).then_some(LoggerNote::NamesAgain(again)));
        let mut found = asked_for(name, asked, names.as_deref())?;
        match &names {
            Some(names) => by_name(names, &mut found),
            None => by_content(&rows, &mut found, &mut notes),
        }
        let Some(time) = found.time else {
            let expected = "a column of times: with a name such as time, or given by --logger-columns time=NUMBER";
            return Err(Fault::new(name, "no column of times", expected).into());
        };
        let clock = set_times(&mut rows, time, found.date, near, &mut notes);
        set_heights(&mut rows, &found, &mut notes);
        set_shocks(&mut rows, &found.acceleration);
        let without = rows.iter().filter(|r| r.time_s.is_none()).count();
        notes.extend((without > 0).then_some(LoggerNote::WithoutTime(without)));
        if !rows.iter().any(|r| r.time_s.is_some()) {
            return Err(Fault::new(name, "no row with a time", "rows with a time each").into());
        }
        if !rows
            .iter()
            .any(|r| r.height_m.is_some() || r.shock.is_some())
        {
            let expected = "a column of pressures, heights or accelerations: with such a name, or given by --logger-columns";
            let found = match &names {
                Some(names) => format!("the columns {}", names.join(", ")),
                None => "no names of columns, and none with such numbers".to_owned(),
            };
            let found: String = found.chars().take(300).collect();
            return Err(Fault::new(name, found, expected).into());
        }
        let runs = runs(&rows);
        Ok(Logger {
            separator,
            names,
            rows,
            runs,
            clock,
            notes,
        })
    }
}

/// What stands between cells: that which makes the most of them in most lines.
fn separator(text: &str) -> char {
    let count = |s: char| {
        let lines = text.lines().filter(|l| !l.trim().is_empty()).take(TOLD_BY);
        let mut counts: Vec<usize> = lines.map(|l| cells(l, s).len()).collect();
        counts.sort_unstable();
        counts.get(counts.len() / 2).copied().unwrap_or(0)
    };
    // Of as many the earlier: a comma is a decimal point where semicolons separate.
    let all = [';', '\t', ','];
    let best = all.into_iter().rev().max_by_key(|s| count(*s));
    match all[0] {
        first if count(first) > 2 => first,
        _ => best.unwrap_or(','),
    }
}

/// Cells of a line; quotes hold separators.
fn cells(line: &str, separator: char) -> Vec<String> {
    let mut quoted = false;
    let mut cells = vec![String::new()];
    for c in line.chars() {
        match c {
            '"' => quoted = !quoted,
            c if c == separator && !quoted && cells.len() < MOST_CELLS => cells.push(String::new()),
            c => cells.last_mut().into_iter().for_each(|cell| cell.push(c)),
        }
    }
    cells.iter().map(|c| c.trim().to_owned()).collect()
}

/// A number, with a point or a comma.
fn number(cell: &str) -> Option<f64> {
    let plain = cell
        .parse::<f64>()
        .or_else(|_| cell.replace(',', ".").parse());
    plain.ok().filter(|x| x.is_finite())
}

/// Takes the lines of names out of the rows: the first, and how many more there were.
fn take_names(rows: &mut Vec<Row>) -> (Option<Vec<String>>, usize) {
    let is_names = |row: &Row| {
        let filled = row.cells.iter().filter(|c| !c.is_empty());
        let words = filled.clone().filter(|c| {
            number(c).is_none()
                && stamp::read(c) == Stamp::Unknown
                && stamp::in_order(c, stamp::ORDERS[0].1).is_none()
        });
        let known = row.cells.iter().filter(|c| quantity(c).is_some()).count();
        // No number among them: a row may have a word, but names have no value.
        known >= 1 && words.count() == filled.count() && row.cells.len() > 1
    };
    let all = rows.iter().enumerate();
    let named: Vec<usize> = all
        .filter(|(_, row)| is_names(row))
        .map(|(i, _)| i)
        .collect();
    let first = named.first().and_then(|i| rows.get(*i));
    let names = first.map(|row| row.cells.clone());
    let mut at = 0;
    rows.retain(|_| {
        at += 1;
        named.binary_search(&(at - 1)).is_err()
    });
    (names, named.len().saturating_sub(1))
}

/// What a name stands for.
fn quantity(name: &str) -> Option<Quantity> {
    let words = words(name);
    let bare = |drop: usize| -> String {
        let kept = words.len().saturating_sub(drop);
        words.iter().take(kept).map(String::as_str).collect()
    };
    let last_is_unit = words.len() > 1 && words.last().is_some_and(|w| is_unit(w));
    let plain_name = plain(name);
    let all = [bare(0), bare(usize::from(last_is_unit)), plain_name];
    all.iter().find_map(|n| match n.as_str() {
        n if PRESSURES.contains(&n) => Some(Quantity::Pressure),
        n if ACCELERATIONS.contains(&n) => Some(Quantity::Acceleration),
        n if ELAPSED.contains(&n) => Some(Quantity::Time),
        n => match what(n)? {
            What::Time => Some(Quantity::Time),
            What::Date => Some(Quantity::Date),
            What::Altitude => Some(Quantity::Height),
            _ => None,
        },
    })
}

fn words(name: &str) -> Vec<String> {
    let lower = name.to_lowercase();
    let words = lower.split(|c: char| !c.is_alphanumeric());
    words.filter(|w| !w.is_empty()).map(str::to_owned).collect()
}

/// Units that names of columns end in; `g` and `mg` of accelerations besides.
fn is_unit(word: &str) -> bool {
    let more = ["g", "mg", "utc", "s", "ms", "us", "c", "ft", "m"];
    pressure_unit(word).is_some() || more.contains(&word)
}

/// Pascals of a unit as names have it.
fn pressure_unit(word: &str) -> Option<f64> {
    match word {
        "pa" | "pascal" => Some(1.0),
        "hpa" | "mbar" | "mb" | "millibar" => Some(100.0),
        "kpa" => Some(1_000.0),
        "bar" => Some(1e5),
        "psi" => to_si(1.0, "psi", Dimension::Pressure),
        _ => None,
    }
}

fn asked_for(file: &str, asked: &LoggerColumns, names: Option<&[String]>) -> Result<Found> {
    let mut found = Found::default();
    for (quantity, name, unit) in &asked.0 {
        let by_number = name.parse::<usize>().ok().and_then(|n| n.checked_sub(1));
        let by_name = || {
            names?
                .iter()
                .position(|n| n == name || plain(n) == plain(name))
        };
        let Some(column) = by_number.or_else(by_name) else {
            let told = names.map_or("it has no names".to_owned(), |n| n.join(", "));
            return Err(Fault::new(file, format!("no column \"{name}\""), told).into());
        };
        let unit = unit.as_deref();
        match quantity {
            Quantity::Time => {
                let scale = unit.and_then(|u| TIME_UNITS.iter().find(|(s, _)| *s == u));
                found.time = Some((column, scale.map(|(_, scale)| *scale)));
            }
            Quantity::Date => found.date = Some(column),
            Quantity::Pressure => {
                let pa = unit.and_then(|u| to_si(1.0, u, Dimension::Pressure));
                found.pressure = Some((column, pa));
            }
            Quantity::Height => {
                let m = unit.and_then(|u| to_si(1.0, u, Dimension::Length));
                found.height = Some((column, m.unwrap_or(1.0)));
            }
            Quantity::Acceleration => found.acceleration.push(column),
        }
    }
    Ok(found)
}

fn by_name(names: &[String], found: &mut Found) {
    let given = !found.acceleration.is_empty();
    for (i, name) in names.iter().enumerate() {
        let words = words(name);
        let last = words.last().map_or("", String::as_str);
        match quantity(name) {
            Some(Quantity::Time) if found.time.is_none() => {
                let unit = match last {
                    "ms" | "millis" | "milliseconds" => Some(1e-3),
                    "us" | "micros" => Some(1e-6),
                    "s" | "sec" | "seconds" => Some(1.0),
                    _ => None,
                };
                found.time = Some((i, unit));
            }
            Some(Quantity::Date) if found.date.is_none() => found.date = Some(i),
            Some(Quantity::Pressure) if found.pressure.is_none() => {
                found.pressure = Some((i, pressure_unit(last)));
            }
            Some(Quantity::Height) if found.height.is_none() => {
                found.height = Some((i, default_scale(name.trim_end_matches([')', ']', '"']))));
            }
            Some(Quantity::Acceleration) if !given => found.acceleration.push(i),
            _ => {}
        }
    }
    // Whatever it is called: what has a unit of pressure is one.
    if found.pressure.is_none() && found.height.is_none() {
        let unit = |name: &String| pressure_unit(words(name).last().map_or("", String::as_str));
        let mut units = names.iter().map(unit).enumerate();
        found.pressure = units.find_map(|(i, unit)| unit.map(|pa| (i, Some(pa))));
    }
}

/// Without names: the first column whose cells are times or rise steadily, and one that falls as pressures do.
fn by_content(rows: &[Row], found: &mut Found, notes: &mut Vec<LoggerNote>) {
    let wide = rows
        .iter()
        .map(|r| r.cells.len())
        .max()
        .unwrap_or(0)
        .min(200);
    let half = |of: &dyn Fn(&str) -> bool, i: usize| {
        let filled = rows
            .iter()
            .filter_map(|r| r.cells.get(i))
            .filter(|c| !c.is_empty());
        let all = filled.clone().count();
        // Few filled cells may look like anything.
        all > rows.len() / 4 && 2 * filled.filter(|c| of(c)).count() > all
    };
    let is_clock = |c: &str| c.contains(':') && moment(c, stamp::ORDERS[0].1).is_some();
    // Six digits alone may be any number.
    let is_date = |c: &str| {
        stamp::ORDERS
            .iter()
            .any(|(_, order)| stamp::in_order(c, *order).is_some())
    };
    let any_clock =
        |c: &str| is_clock(c) || stamp::ORDERS.iter().any(|(_, o)| moment(c, *o).is_some());
    let column = |of: &dyn Fn(&str) -> bool| (0..wide).find(|i| half(of, *i));
    if found.time.is_none() {
        let clock = column(&any_clock);
        let rising = (0..wide).find(|i| rises(rows, *i));
        found.time = clock.or(rising).map(|i| (i, None));
    }
    let time = found.time.map(|(i, _)| i);
    if found.date.is_none() {
        found.date = column(&is_date).filter(|i| Some(*i) != time);
    }
    if found.pressure.is_none() && found.height.is_none() {
        let free = |i: &usize| Some(*i) != time && Some(*i) != found.date;
        found.pressure = (0..wide)
            .filter(free)
            .find(|i| falls(rows, *i))
            .map(|i| (i, None));
    }
    notes.extend(found.time.map(|(time, _)| LoggerNote::NoNames {
        time: time + 1,
        pressure: found.pressure.map(|(i, _)| i + 1),
    }));
}

fn numbers(rows: &[Row], i: usize) -> impl Iterator<Item = f64> {
    rows.iter().filter_map(move |r| number(r.cells.get(i)?))
}

/// Whether the numbers of a column hardly ever fall.
fn rises(rows: &[Row], i: usize) -> bool {
    let all: Vec<f64> = numbers(rows, i).collect();
    let falls = neighbours(&all).filter(|(a, b)| b < a).count();
    let rises = neighbours(&all).filter(|(a, b)| b > a).count();
    // It falls where the logger was switched off and on again.
    all.len() > rows.len() / 2 && falls * 50 < all.len() && rises * 2 > all.len()
}

/// Whether the numbers of a column are pressures of a flight: in some unit that of the ground at the most, much
/// less at the least, and never far from the one before.
fn falls(rows: &[Row], i: usize) -> bool {
    let all: Vec<f64> = numbers(rows, i).collect();
    let mut sorted = all.clone();
    sorted.sort_by(f64::total_cmp);
    // Not the least and the most: a damaged row may have any number.
    let (Some(low), Some(high)) = (quantile(&sorted, 0.02), quantile(&sorted, 0.98)) else {
        return false;
    };
    let steady = neighbours(&all)
        .filter(|(a, b)| (*b - *a).abs() < 0.1 * high)
        .count();
    let of_ground = PRESSURE_UNITS
        .iter()
        .any(|(_, pa)| AT_GROUND_PA.contains(&(high * pa)));
    all.len() > rows.len() / 4
        && low > 0.0
        && low < 0.7 * high
        && of_ground
        && 10 * steady > 9 * all.len()
}

/// A date in an order of its parts, also of six digits without anything between them.
fn date(text: &str, order: [usize; 3]) -> Option<Date> {
    let text = text.trim();
    let digits = text.len() == 6 && text.bytes().all(|b| b.is_ascii_digit());
    match (text.get(..2), text.get(2..4), text.get(4..)) {
        (Some(a), Some(b), Some(c)) if digits => stamp::in_order(&format!("{a}-{b}-{c}"), order),
        _ => stamp::in_order(text, order),
    }
}

/// A date and a time in one cell, or a time alone; in an order of the date's parts.
fn moment(text: &str, order: [usize; 3]) -> Option<Stamp> {
    if let Some((day, clock)) = text.split_once([' ', 'T', '_'])
        && let Some(day) = date(day, order)
        && let Some(Stamp::OfDay(second)) = clock_of(clock)
    {
        return of_day(day, second);
    }
    match stamp::read(text) {
        Stamp::Unknown => None,
        // In another order than the one that is asked for; the first is that of most files.
        Stamp::OneOf([first, ..]) => Some(Stamp::At(first)),
        found => Some(found),
    }
}

fn of_day(day: Date, second: f64) -> Option<Stamp> {
    let midnight = Offset::UTC
        .to_timestamp(day.to_datetime(Time::midnight()))
        .ok()?;
    Some(Stamp::At(crate::clock::after(midnight, second)))
}

/// A time of the day, also with AM and PM.
fn clock_of(text: &str) -> Option<Stamp> {
    Some(stamp::read(text)).filter(|s| matches!(s, Stamp::OfDay(_)))
}

/// A clock of the day without colons, 140529, is told by so many rows over so long, as a number.
const CLOCK_ROWS: usize = 120;
const CLOCK_SPAN: f64 = 1_000.0;

/// Hours, minutes and seconds of a number like 140529.
fn of_clock_number(x: f64) -> Option<f64> {
    let (hour, minute) = ((x / 10_000.0).floor(), (x / 100.0).floor() % 100.0);
    let there_is = (0.0..24.0).contains(&hour) && minute < 60.0 && x % 100.0 < 60.0;
    there_is.then_some(3_600.0 * hour + 60.0 * minute + x % 100.0)
}

/// Whether numbers are clocks of the day: seconds that go on would pass 60 to 99 of some hundred.
fn are_clocks(rows: &[Row], column: usize) -> bool {
    let all: Vec<f64> = numbers(rows, column).collect();
    let least = all.iter().copied().fold(f64::INFINITY, f64::min);
    let most = all.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    all.len() >= CLOCK_ROWS
        && most - least >= CLOCK_SPAN
        && all.iter().all(|x| of_clock_number(*x).is_some())
}

/// A longer clock is one of milliseconds: in seconds it would be as many times longer than a flight of two and a half
/// hours as in milliseconds it is shorter.
const LONGEST_IN_S: f64 = 285_000.0;

/// Gives rows their times.
fn set_times(
    rows: &mut [Row],
    (column, unit): (usize, Option<f64>),
    dates: Option<usize>,
    near: Timestamp,
    notes: &mut Vec<LoggerNote>,
) -> Clock {
    let cell = |row: &Row, i: usize| row.cells.get(i).cloned().unwrap_or_default();
    let plain_numbers = rows
        .iter()
        .filter(|r| number(&cell(r, column)).is_some())
        .count();
    let stamps = rows.iter().filter(|r| !cell(r, column).is_empty()).count();
    let of_1970 = |x: f64| matches!(stamp::of_number(x), Stamp::At(_));
    let clocks = unit.is_none() && are_clocks(rows, column);
    let elapsed = !clocks
        && 2 * plain_numbers > stamps
        && (unit.is_some()
            || !numbers(rows, column)
                .nth(plain_numbers / 2)
                .is_some_and(of_1970));
    if elapsed {
        let unit = unit.unwrap_or_else(|| {
            let mut steps: Vec<f64> = numbers(rows, column).collect();
            steps = neighbours(&steps)
                .map(|(a, b)| b - a)
                .filter(|d| *d > 0.0)
                .collect();
            steps.sort_by(f64::total_cmp);
            let count = steps.len() as f64;
            let (name, unit) = match quantile(&steps, 0.5) {
                // No flight is logged as seldom as every 90 s; of rows more often their whole length tells.
                Some(step) if step >= 90.0 || step * count > LONGEST_IN_S => ("ms", 1e-3),
                _ => ("s", 1.0),
            };
            notes.push(LoggerNote::TimeUnit(name));
            unit
        });
        for row in rows.iter_mut() {
            row.time_s = number(&cell(row, column)).map(|t| t * unit);
        }
        return Clock::Elapsed;
    }
    let read = |row: &Row, order: [usize; 3]| -> Option<Stamp> {
        let text = cell(row, column);
        let found = match number(&text) {
            Some(x) if clocks => Stamp::OfDay(of_clock_number(x)?),
            Some(x) => return Some(stamp::of_number(x)).filter(|s| *s != Stamp::Unknown),
            None => moment(&text, order).or_else(|| clock_of(&text))?,
        };
        match (found, dates.map(|i| cell(row, i))) {
            (Stamp::OfDay(second), Some(day)) => of_day(date(&day, order)?, second),
            _ => Some(found),
        }
    };
    let counted = stamp::ORDERS.map(|(name, order)| {
        let times: Vec<Stamp> = rows.iter().filter_map(|r| read(r, order)).collect();
        let first = times.iter().find_map(|s| match s {
            Stamp::At(t) => Some(seconds_between(near, *t).abs()),
            _ => None,
        });
        (name, order, times.len(), first.unwrap_or(0.0))
    });
    let most = counted.iter().map(|c| c.2).max().unwrap_or(0);
    // Nearly as many will do: a damaged cell may be a date in one order and none in another.
    let valid: Vec<_> = counted.iter().filter(|c| 20 * c.2 >= 19 * most).collect();
    let best = valid.iter().min_by(|a, b| a.3.total_cmp(&b.3));
    let (name, order) = best.map_or((stamp::ORDERS[0].0, stamp::ORDERS[0].1), |c| (c.0, c.1));
    if neighbours(&valid).any(|(a, b)| a.3 != b.3) {
        notes.push(LoggerNote::DateOrder(name));
    }
    let mut clock = Clock::OfDay;
    let (mut days, mut before) = (0.0, None::<f64>);
    let epoch = Timestamp::UNIX_EPOCH;
    for row in rows.iter_mut() {
        row.time_s = match read(row, order) {
            Some(Stamp::At(t)) => {
                clock = Clock::Date;
                Some(seconds_between(epoch, t))
            }
            Some(Stamp::OfDay(second)) => {
                // Past midnight the hours begin anew.
                // By half a day at least, as rows may be out of order by seconds.
                if before.is_some_and(|b| second + 43_200.0 < b) {
                    days += 86_400.0;
                }
                before = Some(second);
                Some(days + second)
            }
            _ => None,
        };
    }
    clock
}

fn set_heights(rows: &mut [Row], found: &Found, notes: &mut Vec<LoggerNote>) {
    if let Some((column, unit)) = found.pressure {
        let unit = unit.or_else(|| {
            let mut all: Vec<f64> = numbers(rows, column).filter(|p| *p > 0.0).collect();
            all.sort_by(f64::total_cmp);
            // Not the most, as in `falls`: one damaged row must not choose the unit.
            let ground = quantile(&all, 0.98)?;
            let of_ground = |u: &&(&str, f64)| AT_GROUND_PA.contains(&(ground * u.1));
            let (name, unit) = PRESSURE_UNITS.iter().find(of_ground)?;
            notes.push(LoggerNote::PressureUnit(name));
            Some(*unit)
        });
        if let Some(unit) = unit {
            for row in rows.iter_mut() {
                let pa = row
                    .cells
                    .get(column)
                    .and_then(|c| number(c))
                    .map(|p| p * unit);
                row.height_m = pa
                    .filter(|p| (1.0..120_000.0).contains(p))
                    .map(|p| standard_height_of_pressure(p).standard_altitude_m());
            }
            return;
        }
    }
    if let Some((column, unit)) = found.height {
        for row in rows.iter_mut() {
            let m = row
                .cells
                .get(column)
                .and_then(|c| number(c))
                .map(|m| m * unit);
            // 0 is what receivers without a fix write.
            row.height_m = m.filter(|m| *m != 0.0 && (-500.0..60_000.0).contains(m));
        }
    }
}

fn set_shocks(rows: &mut [Row], columns: &[usize]) {
    if columns.is_empty() {
        return;
    }
    let size = |row: &Row| -> Option<f64> {
        let parts = columns.iter().map(|i| number(row.cells.get(*i)?));
        let parts: Option<Vec<f64>> = parts.collect();
        Some(parts?.iter().map(|a| a * a).sum::<f64>().sqrt())
    };
    let mut all: Vec<f64> = rows.iter().filter_map(size).collect();
    all.sort_by(f64::total_cmp);
    let Some(usual) = quantile(&all, 0.5).filter(|u| *u > 0.0) else {
        return;
    };
    for row in rows.iter_mut() {
        // Over the usual one the unit does not matter.
        row.shock = size(row).map(|a| a / usual);
    }
}

/// Runs of rows between which the clock went back or stood still for long.
fn runs(rows: &[Row]) -> Vec<(usize, usize)> {
    let mut runs = Vec::new();
    let (mut from, mut last) = (0, None::<f64>);
    for (i, row) in rows.iter().enumerate() {
        let Some(time) = row.time_s else { continue };
        let broken = last.is_some_and(|l| time < l - 1.0 || time > l + OFF_S);
        if broken {
            runs.push((from, i));
            from = i;
        }
        last = Some(time);
    }
    runs.push((from, rows.len()));
    runs
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Logger {
        let near = "2023-04-29T15:00:00Z".parse().unwrap();
        Logger::read("log.csv", text.as_bytes(), &LoggerColumns::default(), near).unwrap()
    }

    fn first_and_last(logger: &Logger) -> [f64; 2] {
        let times: Vec<f64> = logger.rows.iter().filter_map(|r| r.time_s).collect();
        [times[0], times[times.len() - 1]]
    }

    /// A flight of one hour to 10 km, a row a minute: (clock, hPa).
    fn flight(row: impl Fn(usize, f64) -> String) -> String {
        (0..60)
            .map(|k| {
                row(
                    k,
                    1_013.25 * (1.0 - 6.5e-3 * 166.0 * k as f64 / 288.15).powf(5.2559),
                ) + "\n"
            })
            .collect()
    }

    #[test]
    fn names_units_and_days_in_any_order() {
        let day_first =
            flight(|k, p| format!("28-04-23,14:{k:02}:05,{:.0},4036.073,-8813.312", 100.0 * p));
        let logger = read(&format!("Date,Time,Pressure,Lat,Lon\n{day_first}"));
        assert_eq!(logger.clock, Clock::Date);
        let at: Timestamp = "2023-04-28T14:00:05Z".parse().unwrap();
        assert_eq!(first_and_last(&logger)[0], at.as_second() as f64);
        assert!(
            logger.notes.contains(&LoggerNote::PressureUnit("Pa")),
            "{:?}",
            logger.notes
        );
        let top = logger.rows[59].height_m.unwrap();
        assert!((top - 166.0 * 59.0).abs() < 20.0, "{top}");
        let month_first = flight(|k, p| format!("04/29/2023 02:{k:02}:05 PM;{p:.2}"));
        let logger = read(&format!("time;pressure (hPa)\n{month_first}"));
        let at: Timestamp = "2023-04-29T14:00:05Z".parse().unwrap();
        assert_eq!(first_and_last(&logger)[0], at.as_second() as f64);
        assert_eq!(logger.notes, []);
        // Both ways are dates: the nearer is taken, and said.
        let either = flight(|k, p| format!("05/04/2023 14:{k:02}:05,{p:.2}"));
        let logger = read(&format!("time,pressure_hpa\n{either}"));
        let at: Timestamp = "2023-05-04T14:00:05Z".parse().unwrap();
        assert_eq!(first_and_last(&logger)[0], at.as_second() as f64);
        assert_eq!(logger.notes, [LoggerNote::DateOrder("month, day, year")]);
    }

    /// Clocks in ms at any rate, and in s: told by how long they run.
    #[test]
    fn the_unit_of_a_clock_is_told_by_its_whole_length() {
        for (step, count, unit) in [
            (50, 60_000, "ms"),
            (10, 90_000, "ms"),
            (20, 100_000, "ms"),
            (200, 20_000, "ms"),
            (1, 9_000, "s"),
            (1, 100_000, "s"),
            (60, 150, "s"),
        ] {
            let rows: String = (0..count)
                .map(|k| {
                    let pressure_pa = 83_113.0 - 60_000.0 * f64::from(k) / f64::from(count);
                    format!("{},{pressure_pa:.0}\n", 5_000 + step * k)
                })
                .collect();
            let logger = read(&format!("time,pressure_pa\n{rows}"));
            assert_eq!(logger.notes, [LoggerNote::TimeUnit(unit)], "{step} {count}");
            let [first, last] = first_and_last(&logger);
            let scale = if unit == "ms" { 1e-3 } else { 1.0 };
            let right = f64::from(step) * f64::from(count - 1) * scale;
            assert!((last - first - right).abs() < 1e-6, "{step} {count}");
        }
    }

    /// Hours, minutes and seconds without anything between them, with a date or past midnight.
    #[test]
    fn a_clock_without_colons_is_no_count_of_seconds() {
        let rows = |step: usize, date: &str| -> String {
            let row = |k: usize| {
                let s = 85_237 + step * k;
                let clock = 10_000 * (s / 3_600 % 24) + 100 * (s / 60 % 60) + s % 60;
                format!("{date}{clock:06},{:.2}\n", 1_000.0 - 0.1 * k as f64)
            };
            (0..2_000).map(row).collect()
        };
        for step in [1, 2, 10] {
            let logger = read(&format!("time,pressure_hPa\n{}", rows(step, "")));
            assert_eq!(logger.clock, Clock::OfDay, "{step}");
            let last_s = 85_237.0 + 1_999.0 * step as f64;
            assert_eq!(first_and_last(&logger), [85_237.0, last_s], "{step}");
        }
        let logger = read(&format!(
            "date,time,pressure_hPa\n{}",
            &rows(1, "280423,")[..20 * 700]
        ));
        assert_eq!(logger.clock, Clock::Date);
        let at: Timestamp = "2023-04-28T23:40:37Z".parse().unwrap();
        assert_eq!(first_and_last(&logger)[0], at.as_second() as f64);
    }

    #[test]
    fn names_again_none_and_in_the_middle() {
        let rows = flight(|k, p| format!("{},{p:.1},21.5", 35_000 * k));
        let named = read(&format!(
            "millis,pressure,temp\nmillis,pressure,temp\n{rows}millis,pressure,temp\n"
        ));
        assert_eq!(named.rows.len(), 60);
        assert_eq!(first_and_last(&named), [0.0, 35.0 * 59.0]);
        assert!(named.notes.contains(&LoggerNote::NamesAgain(2)));
        let bare = read(&rows);
        assert_eq!(first_and_last(&bare), [0.0, 35.0 * 59.0]);
        assert!(
            bare.notes.contains(&LoggerNote::NoNames {
                time: 1,
                pressure: Some(2)
            }),
            "{:?}",
            bare.notes
        );
        assert_eq!(bare.rows[20].height_m, named.rows[20].height_m);
        let german = read(&format!("Millis;Druck (hPa)\n{}", rows.replace(',', ";")));
        assert_eq!(german.rows[20].height_m, named.rows[20].height_m);
        let asked = LoggerColumns::parse("time=1:ms,pressure=2:hPa").unwrap();
        let near = Timestamp::UNIX_EPOCH;
        let told = Logger::read("x", rows.as_bytes(), &asked, near).unwrap();
        assert_eq!(first_and_last(&told), first_and_last(&bare));
    }

    #[test]
    fn power_cycles_midnight_short_rows_and_commas_for_points() {
        let day = flight(|k, p| {
            let minute = 23 * 60 + 30 + k;
            format!(
                "{:02}:{:02}:00;{}",
                minute / 60 % 24,
                minute % 60,
                format!("{p:.1}").replace('.', ",")
            )
        });
        let logger = read(&format!("time;pressure_hPa;extra\n{day}"));
        assert_eq!(logger.clock, Clock::OfDay);
        let [first, last] = first_and_last(&logger);
        assert_eq!(last - first, 59.0 * 60.0);
        assert_eq!(logger.runs, [(0, 60)]);
        let again = flight(|k, p| format!("{},{p:.1}", 10 * k));
        let logger = read(&format!("seconds,pressure_hpa\n0\n,\n{again}{again}\n"));
        assert_eq!(logger.runs.len(), 2, "{:?}", logger.runs);
        assert!(
            logger.notes.contains(&LoggerNote::WithoutTime(1)),
            "{:?}",
            logger.notes
        );
    }

    #[test]
    fn what_is_no_logger_is_refused() {
        let near = Timestamp::UNIX_EPOCH;
        let none = LoggerColumns::default();
        for text in [
            "",
            "a,b\n1,2\n",
            "time,pressure\n",
            "\0\u{1}\n;;;\n",
            "time,temp\n1,2\n2,3\n",
        ] {
            let error = Logger::read("x.csv", text.as_bytes(), &none, near).unwrap_err();
            assert!(error.to_string().starts_with("x.csv"), "{text:?}: {error}");
        }
        for wrong in ["time", "depth=3", "pressure=3:furlong", "pressure="] {
            assert!(LoggerColumns::parse(wrong).is_err(), "{wrong}");
        }
    }
}
