//! A table of values whose headings name quantities and units, however it was written, into levels.

#![allow(
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "by numbers of its own lines, rows and words"
)]

use jiff::Timestamp;

use super::around::Around;
use super::ascents::{Mark, parted};
use super::clean::{Raw, Row, mostly, rough_height, turn_signed};
use super::columns::Columns;
use super::course;
use super::drifted::place;
use super::fillers::{drop_fillers, may_be_filler};
use super::heading::{self, Heading, Quantity};
use super::hint;
use super::parts::{FROM_DEG, SPEED_M_S};
use super::text::date_time;
use super::thousands::{self, Signs};
use super::waiting;
use crate::clock::{DAY_S, after, seconds_between};
use crate::error::{Error, Fault, Result};
use crate::geodesy::wrap_longitude;
use crate::notes::reading::Reading;
use crate::units::{counted, to_si};
use crate::wind::sounding::{HeightSource, Tally};

/// Words that stand for a missing value.
const MISSING_WORDS: [&str; 10] = [
    "nan", "na", "n/a", "null", "none", "missing", "m", // Of a direction.
    "vrb", "variable", "calm",
];

/// Signs that stand for a missing value, once or more; so does nothing at all.
const MISSING_SIGNS: &str = "-/*";

/// A table as it stands in a file.
pub(super) struct Table {
    /// The line of its headings.
    pub line: usize,
    pub headings: Vec<String>,
    /// The units that stand apart from the headings, one for each, empty where there is none.
    pub units: Vec<String>,
    /// The cells of each row with its line. A row has as many as there are headings, or more.
    pub rows: Vec<(usize, Vec<String>)>,
    /// The numbers of the rows before which the headings stand once more.
    pub headed: Vec<usize>,
    /// Whether a comma may separate decimals.
    pub decimal_comma: bool,
    /// What the text around the table says of it.
    pub around: Around,
    pub tally: Tally,
}

/// A column whose heading was understood.
pub(super) struct Column {
    pub heading: String,
    pub quantity: Quantity,
    pub unit: &'static str,
    /// Its values, row by row: in its unit, then in SI.
    pub values: Vec<Option<f64>>,
}

impl Column {
    /// One without values yet.
    fn new(heading: &str, quantity: Quantity, unit: &'static str) -> Column {
        Column {
            heading: heading.to_owned(),
            quantity,
            unit,
            values: Vec::new(),
        }
    }
}

/// When a row is, as far as it says.
#[derive(Debug, Clone, Copy, Default)]
struct Stamp<'a> {
    time: Option<&'a str>,
    date: Option<&'a str>,
    /// Its time, and whether that is only taken for UTC.
    moment: Option<(Timestamp, bool)>,
    /// Its time of day, s.
    clock_s: Option<f64>,
}

/// What a table holds, in SI.
struct Levels<'a> {
    rows: Vec<Row>,
    heights: HeightSource,
    stamps: Vec<Stamp<'a>>,
    /// Whether the times of rows are said to be in UTC.
    in_utc: bool,
    /// What the column of the directions that winds come from is called in an option, if there is one.
    directions: Option<String>,
}

impl Table {
    /// The ascents of the table; `columns` says what headings do not.
    pub(super) fn read(mut self, file: &str, columns: &Columns) -> Vec<Result<Raw>> {
        let cells = std::mem::take(&mut self.rows);
        let levels = match self.levels(file, &cells, columns) {
            Ok(levels) => levels,
            Err(fault) => return vec![Err(fault)],
        };
        let marks = self.marks(&cells, &levels.stamps, columns);
        let ascents = parted(&levels.rows, &marks);
        let alone = cells.len() - ascents.iter().map(Vec::len).sum::<usize>();
        if alone > 0 {
            let said = format!(
                "{} of stations that have no other",
                counted(alone, "row", "rows")
            );
            self.tally.left_out.push(said);
        }
        let station = |ascent: &Vec<usize>| ascent.first().map(|row| marks[*row].station);
        let several = ascents.iter().any(|a| station(a) != station(&ascents[0]));
        let raw = |(number, ascent): (usize, &Vec<usize>)| {
            let station = station(ascent).filter(|_| several);
            let mut raw = self.ascent(file, &levels, ascent, number == 0, station);
            if let (true, Some(first), Ok(raw)) = (number > 0, ascent.first(), &mut raw) {
                raw.line = cells[*first].0;
            }
            raw
        };
        ascents.iter().enumerate().map(raw).collect()
    }

    fn levels<'a>(
        &mut self,
        file: &str,
        cells: &'a [(usize, Vec<String>)],
        columns: &Columns,
    ) -> Result<Levels<'a>> {
        let mut used = self.understood(file, columns)?;
        let others = self.others_of_wind(cells, &used, columns);
        self.tally.left_out.extend(others);
        let stamps = self.fill(file, cells, &mut used)?;
        let directions = used.iter().find(|(_, c)| c.quantity == Quantity::From);
        let directions = directions.map(|(place, _)| self.name(*place));
        let in_utc = self.are_in_utc(&used);
        let used: Vec<Column> = used.into_iter().map(|(_, column)| column).collect();
        let (rows, heights) = rows(used, &mut self.tally);
        Ok(Levels {
            rows,
            heights,
            stamps,
            in_utc,
            directions,
        })
    }

    /// Fills columns with the values of their cells, and gives the times of the rows.
    ///
    /// # Errors
    ///
    /// A cell of a quantity is no number.
    fn fill<'a>(
        &mut self,
        file: &str,
        cells: &'a [(usize, Vec<String>)],
        used: &mut [(usize, Column)],
    ) -> Result<Vec<Stamp<'a>>> {
        let signs = self.parted(file, cells, used)?;
        let mut stamps = Vec::with_capacity(cells.len());
        for (line, row) in cells {
            let mut stamp = Stamp::default();
            for (place, column) in used.iter_mut() {
                let cell = row.get(*place).map_or("", |cell| cell.trim());
                match column.quantity {
                    Quantity::Time => stamp.time = Some(cell),
                    Quantity::Date => stamp.date = Some(cell),
                    // Nobody needs it: what is no number is missing.
                    Quantity::Elapsed => column.values.push(self.uncounted(cell)),
                    _ => {
                        let parts = signs.iter().find(|(parted, _)| parted == place);
                        let value = self.number(cell, parts.map(|(_, sign)| *sign));
                        let fault = || no_number(file, cell, *line, &column.heading);
                        column.values.push(value.ok_or_else(fault)?);
                    }
                }
            }
            stamp.moment = moment(stamp.time, stamp.date);
            stamp.clock_s = stamp.time.and_then(clock_s);
            stamps.push(stamp);
        }
        Ok(stamps)
    }

    /// Whether headings or units of times say that they are in UTC.
    fn are_in_utc(&self, used: &[(usize, Column)]) -> bool {
        let of_time =
            |(_, c): &&(usize, Column)| matches!(c.quantity, Quantity::Time | Quantity::Date);
        used.iter().filter(of_time).any(|(place, column)| {
            let mut texts = [column.heading.as_str(), self.unit(*place)].into_iter();
            texts.any(heading::is_in_utc)
        })
    }

    /// A cell as a number, of which nothing is counted; `None` also of one that is none.
    pub(super) fn uncounted(&self, cell: &str) -> Option<f64> {
        value(cell, self.decimal_comma, &mut Tally::default()).flatten()
    }

    /// As [`value`], of a column in which a sign parts thousands, or none does.
    #[allow(clippy::option_option)] // the outer is a fault, the inner a missing value
    fn number(&mut self, cell: &str, thousands: Option<char>) -> Option<Option<f64>> {
        let whole = thousands.map(|sign| cell.replace(sign, ""));
        let number = whole.as_deref().unwrap_or(cell);
        value(number, self.decimal_comma, &mut self.tally)
    }

    /// The places of columns in which a sign parts thousands, with that sign.
    ///
    /// # Errors
    ///
    /// Where they may part decimals as well.
    fn parted(
        &mut self,
        file: &str,
        cells: &[(usize, Vec<String>)],
        used: &[(usize, Column)],
    ) -> Result<Vec<(usize, char)>> {
        // Kilometres have decimals, and no other quantity has thousands.
        let has_thousands = |(_, c): &&(usize, Column)| match c.quantity {
            Quantity::Pressure => c.unit == "hPa",
            _ => c.quantity.is_height() && c.unit != "km",
        };
        let mut parted = Vec::new();
        for (place, column) in used.iter().filter(has_thousands) {
            match self.signs(cells, used, *place, column.quantity) {
                Signs::Decimals => {}
                Signs::Thousands(sign) => {
                    parted.push((*place, sign));
                    let column = column.heading.clone();
                    self.tally.assumed.push(Reading::Thousands { column });
                }
                Signs::Unclear(number) => {
                    let fault = unclear_sign(file, &number).at_line(self.line);
                    return Err(fault.of_key(&column.heading).into());
                }
            }
        }
        Ok(parted)
    }

    /// What the signs between digits are in the column of a height or a pressure.
    fn signs(
        &self,
        cells: &[(usize, Vec<String>)],
        used: &[(usize, Column)],
        place: usize,
        quantity: Quantity,
    ) -> Signs {
        let of_column = |place: usize| {
            let of_column = cells.iter().filter_map(move |(_, row)| row.get(place));
            of_column.map(|cell| cell.trim())
        };
        if quantity == Quantity::Pressure {
            return thousands::in_pressures(of_column(place), self.decimal_comma);
        }
        // Times have signs of their own.
        let is_other = |(_, c): &&(usize, Column)| {
            let is_time = matches!(c.quantity, Quantity::Time | Quantity::Date);
            !is_time && !c.quantity.is_height()
        };
        let others = used.iter().filter(is_other);
        let others = others.flat_map(|(other, _)| of_column(*other));
        thousands::signs(of_column(place), others, self.decimal_comma)
    }

    /// What tells the ascents of the table apart.
    fn marks<'a>(
        &self,
        cells: &'a [(usize, Vec<String>)],
        stamps: &[Stamp],
        columns: &Columns,
    ) -> Vec<Mark<'a>> {
        let mut headings = self.headings.iter().enumerate();
        let is_station = |place: usize, text: &str| {
            columns.of(text, place).is_none() && heading::is_station(text)
        };
        let station = headings.find(|(place, text)| is_station(*place, text));
        let mut marks: Vec<Mark> = cells
            .iter()
            .zip(stamps)
            .map(|((_, row), stamp)| Mark {
                station: station
                    .and_then(|(place, _)| row.get(place))
                    .map_or("", |cell| cell.trim()),
                time: stamp.moment.map(|(time, _)| time),
                headed: false,
            })
            .collect();
        for &row in &self.headed {
            if let Some(mark) = marks.get_mut(row) {
                mark.headed = true;
            }
        }
        marks
    }

    /// One of the ascents of the table, by the numbers of its rows; of one of several stations with its name. A
    /// time that stands before the table is of the first, and what is counted is told with it.
    ///
    /// # Errors
    ///
    /// Its sonde went against its winds.
    fn ascent(
        &self,
        file: &str,
        levels: &Levels,
        of: &[usize],
        is_first: bool,
        station: Option<&str>,
    ) -> Result<Raw> {
        let mut rows: Vec<Row> = of.iter().map(|&i| levels.rows[i]).collect();
        let stamps: Vec<Stamp> = of.iter().map(|&i| levels.stamps[i]).collect();
        let mut tally = self.tally.clone();
        if !is_first {
            tally = Tally {
                assumed: tally.assumed,
                ..Tally::default()
            };
        }
        let runs_down = runs_down(&rows, &stamps);
        let around = self.around.time.filter(|_| is_first);
        let of_rows = released(&stamps, runs_down);
        let of_rows = of_rows.map(|(time, assumed)| (time, assumed && !levels.in_utc));
        let time = self.times(&mut rows, &stamps, [around, of_rows], runs_down, &mut tally);
        if let Some(column) = &levels.directions {
            course::check(file, column, &rows).map_err(|fault| fault.at_line(self.line))?;
        }
        let position = match runs_down {
            true => rows.iter().rev().find_map(place),
            false => rows.iter().find_map(place),
        };
        // A place before the table is not that of several stations.
        let around = || self.around.position().filter(|_| station.is_none());
        Ok(Raw {
            file: file.to_owned(),
            line: self.line,
            name: station.unwrap_or(&self.around.station).to_owned(),
            time,
            position: position.or_else(around),
            model: self.around.model.clone(),
            heights: levels.heights,
            in_time_order: true,
            rows,
            tally,
        })
    }

    /// Gives the rows of an ascent their times since the release, without those before it; with them the time of the
    /// release, which may stand `around` the table.
    fn times(
        &self,
        rows: &mut Vec<Row>,
        stamps: &[Stamp],
        [around, of_rows]: [Option<(Timestamp, bool)>; 2],
        runs_down: bool,
        tally: &mut Tally,
    ) -> Option<Timestamp> {
        let mut time = surer(around, of_rows);
        // Clocks of another zone tell nothing but how long after each other rows are.
        let is_local = self.around.is_local && of_rows.is_none_or(|(_, assumed)| assumed);
        let first = if is_local { of_rows } else { time };
        // Moments of rows held against a release that is told are times since it already.
        let is_since =
            first != of_rows && of_rows.is_some() && rows.iter().all(|row| row.after_s.is_none());
        timed(rows, stamps, first.map(|(time, _)| time));
        let wait = if runs_down { None } else { waiting::cut(rows) };
        if let Some(wait) = wait {
            let count = counted(wait.rows, "row", "rows");
            let said = format!("the first {count}, before the release");
            tally.left_out.push(said);
            if time == of_rows {
                time = time.map(|(time, assumed)| (after(time, wait.until_s), assumed));
            }
            if !is_since {
                let since = |row: &mut Row| row.after_s = row.after_s.map(|s| s - wait.until_s);
                rows.iter_mut().for_each(since);
            }
        }
        let time = time.filter(|(_, assumed)| !(*assumed && is_local));
        if time.is_some_and(|(_, assumed)| assumed) {
            tally.assumed.push(Reading::TimesInUtc);
        }
        time.map(|(time, _)| time)
    }

    /// The unit that stands apart from a heading, if any.
    fn unit(&self, place: usize) -> &str {
        self.units.get(place).map_or("", String::as_str)
    }

    /// What the column at a place holds, by what is said of it, else by its heading.
    pub(super) fn heading(&self, place: usize, columns: &Columns, convention: bool) -> Heading {
        let text = &self.headings[place];
        match columns.of(text, place) {
            Some(Some((quantity, unit))) => Heading::Known(quantity, unit),
            Some(None) => Heading::Other,
            None => heading::read_with(text, self.unit(place), convention),
        }
    }

    /// The columns that are used, with their places. Of several with one quantity the first is taken.
    ///
    /// # Errors
    ///
    /// A quantity without its unit, or without columns for the wind or for the height.
    fn understood(&mut self, file: &str, columns: &Columns) -> Result<Vec<(usize, Column)>> {
        if let Some(name) = columns.unknown_among(&self.headings) {
            let expected = format!("one of its headings: {}", self.headings.join(", "));
            let found = format!("no column \"{name}\"");
            return Err(Fault::new(file, found, expected).at_line(self.line).into());
        }
        // One of these names shows whose they all are, and so the units of those without any.
        let convention = self
            .headings
            .iter()
            .any(|text| heading::is_conventional(text));
        let mut used: Vec<(usize, Column)> = Vec::new();
        let mut unitless: Vec<(Quantity, &str)> = Vec::new();
        let mut unclear: Vec<(Quantity, &str)> = Vec::new();
        let mut other: Vec<&str> = Vec::new();
        let mut by_convention = Vec::new();
        for (place, text) in self.headings.iter().enumerate() {
            match self.heading(place, columns, convention) {
                Heading::Known(quantity, unit) => {
                    if used.iter().any(|(_, c)| c.quantity == quantity) {
                        continue;
                    }
                    // Known by the convention alone: then its unit is assumed.
                    if self.heading(place, columns, false) == Heading::NoUnit(quantity) {
                        by_convention.push(format!("{text} in {unit}"));
                    }
                    used.push((place, Column::new(text, quantity, unit)));
                }
                // Nobody needs it.
                Heading::NoUnit(Quantity::Elapsed) => {}
                Heading::NoUnit(quantity) => unitless.push((quantity, text)),
                Heading::Unclear(quantity) => unclear.push((quantity, text)),
                // One that is to be passed over was told.
                Heading::Other if columns.of(text, place).is_none() => other.push(text),
                Heading::Other => {}
            }
        }
        let has = |quantity| used.iter().any(|(_, c)| c.quantity == quantity);
        for (quantity, text) in unclear {
            // Elapsed times are not needed, and a second column of a quantity is not missed.
            if quantity != Quantity::Time && !has(quantity) {
                self.tally.left_out.push(format!(
                    "column \"{text}\": not a quantity and unit that is known"
                ));
            }
        }
        if !used.iter().any(|(_, c)| c.quantity.is_height()) {
            self.tally.left_out.extend(may_be_heights(&other));
        }
        // A column without unit does no harm beside the same quantity with one.
        unitless.retain(|&(quantity, _)| !has(quantity));
        if let Some(fault) = without_units(file, &unitless) {
            return Err(fault.at_line(self.line).into());
        }
        if !by_convention.is_empty() {
            self.tally.assumed.push(Reading::UsualUnits {
                columns: by_convention,
            });
        }
        self.all_there(file, columns, &has)?;
        Ok(used)
    }

    /// Whether there are columns for the wind and for the height.
    fn all_there(
        &self,
        file: &str,
        columns: &Columns,
        has: &impl Fn(Quantity) -> bool,
    ) -> Result<()> {
        let has_direction = has(Quantity::From) || has(Quantity::To);
        let has_wind = (has(Quantity::Speed) && has_direction)
            || (has(Quantity::East) && has(Quantity::North));
        let has_height = [
            Quantity::Altitude,
            Quantity::Geopotential,
            Quantity::Height,
            Quantity::Pressure,
        ]
        .into_iter()
        .any(has);
        let mut faults = Vec::new();
        let mut need = |there: bool, what: &str, meant: &[&str], expected: &str| {
            if !there {
                faults.push(self.lacking(file, columns, what, meant, expected));
            }
        };
        let wind: &[&str] = match (has(Quantity::Speed), has_direction) {
            (true, _) => &["wind from"],
            (_, true) => &["wind speed kt"],
            _ => &["wind speed kt", "wind from"],
        };
        need(
            has_wind,
            "wind",
            wind,
            "wind speed and the direction it comes from, as in wind_speed_m/s (or _kt, _km/h, \
             _mph) and wind_direction_deg, or both components, as in u_m_s and v_m_s",
        );
        need(
            has_height,
            "height",
            &["altitude m"],
            "a height above sea level (not above the ground) or a pressure, as in altitude_m, \
             geopotential height_m, height (ft), pressure_hPa",
        );
        match faults.is_empty() {
            true => Ok(()),
            false => Err(Error::Faults(faults)),
        }
    }

    /// The fault of a table without columns for something.
    fn lacking(
        &self,
        file: &str,
        columns: &Columns,
        what: &str,
        meant: &[&str],
        expected: &str,
    ) -> Fault {
        let headings: Vec<&str> = self.headings.iter().map(String::as_str).take(20).collect();
        let found = format!("no column of {what} among: {}", headings.join(", "));
        let expected = match self.ready_made(columns, meant) {
            Some(line) => format!("{expected}; or, if that is true, {line}"),
            None => expected.to_owned(),
        };
        Fault::new(file, found, expected).at_line(self.line)
    }

    /// What is said of further columns of the wind that say otherwise than the first, as those of another hour.
    fn others_of_wind(
        &self,
        cells: &[(usize, Vec<String>)],
        used: &[(usize, Column)],
        columns: &Columns,
    ) -> Vec<String> {
        let value = |row: &[String], place: usize, column: &Column| {
            let value = self.uncounted(row.get(place)?.trim());
            si(value.filter(|value| !may_be_filler(*value))?, column)
        };
        let mut said = Vec::new();
        for (place, text) in self.headings.iter().enumerate() {
            let Heading::Known(quantity, unit) = self.heading(place, columns, true) else {
                continue;
            };
            let is_first = |(_, c): &&(usize, Column)| c.quantity == quantity;
            let Some((first, column)) = used.iter().find(is_first).filter(|c| c.0 != place) else {
                continue;
            };
            let other = Column::new(text, quantity, unit);
            let pairs = cells
                .iter()
                .filter_map(|(_, row)| value(row, *first, column).zip(value(row, place, &other)));
            if are_apart(quantity, pairs) {
                let (number, first) = (place + 1, first + 1);
                said.push(format!(
                    "column {number}, \"{text}\": another wind, which says otherwise than column {first}"
                ));
            }
        }
        said
    }

    /// An option to copy that gives the first columns of unknown headings these meanings; `None` where
    /// there are too few that may have them.
    fn ready_made(&self, columns: &Columns, meant: &[&str]) -> Option<String> {
        let unknown = (0..self.headings.len()).filter(|&place| {
            let known = matches!(self.heading(place, columns, true), Heading::Known(..));
            let said = [self.headings[place].as_str(), self.unit(place)];
            !known && !said.iter().any(|words| heading::says_otherwise(words))
        });
        let mut unknown: Vec<usize> = unknown.collect();
        let mut parts = Vec::new();
        for meant in meant {
            let hints = unknown.iter().enumerate().filter_map(|(at, &place)| {
                let hint = hint::hint(&self.headings[place], self.unit(place), meant)?;
                Some((at, hint))
            });
            // Those that say something of it before those that say nothing.
            let (at, hint) = hints.min_by_key(|(_, hint)| !hint.is_named)?;
            let place = unknown.remove(at);
            parts.push(format!("{}={}", self.name(place), hint.meaning));
        }
        Some(format!("--columns \"{}\"", parts.join(", ")))
    }

    /// What a column may be called in an option: its heading, or its number where that is not clear.
    fn name(&self, place: usize) -> String {
        let heading = &self.headings[place];
        let alike = self.headings.iter().filter(|h| *h == heading).count();
        let awkward = heading.is_empty() || heading.contains([',', '"', '=']);
        match alike > 1 || awkward {
            true => (place + 1).to_string(),
            false => heading.clone(),
        }
    }
}

/// Gives rows the times since the release that they have not: by their stamps, else by their clock since the
/// first, over midnight, too. Tables may run down, from the last moment to the first.
fn timed(rows: &mut [Row], stamps: &[Stamp], release: Option<Timestamp>) {
    let mut clocks = stamps.iter().filter_map(|stamp| stamp.clock_s);
    let first_s = clocks.next();
    let last_s = clocks.next_back();
    let runs_down = first_s
        .zip(last_s)
        .filter(|(first, last)| over_midnight_s(last - first) < 0.0);
    let begin_s = runs_down.map(|(_, last)| last).or(first_s);
    for (row, stamp) in rows.iter_mut().zip(stamps) {
        let since = stamp.moment.zip(release);
        let since = since.map(|(to, from)| match seconds_between(from, to.0) {
            // Beside a date that stays the same over midnight.
            since_s if is_midnight(since_s) => since_s + DAY_S,
            since_s => since_s,
        });
        let by_clock = stamp.clock_s.zip(begin_s);
        let by_clock = by_clock.map(|(to, from)| over_midnight_s(to - from));
        row.after_s = row.after_s.or(since).or(by_clock);
    }
}

/// A time between two clocks, s. No ascent lasts half a day: what seems longer is over midnight.
fn over_midnight_s(between_s: f64) -> f64 {
    (between_s + 0.5 * DAY_S).rem_euclid(DAY_S) - 0.5 * DAY_S
}

/// Whether what seems to lie so far back is over midnight, as beside a date that stays the same.
fn is_midnight(since_s: f64) -> bool {
    (-DAY_S..-0.5 * DAY_S).contains(&since_s)
}

/// Whether a table runs from the last moment to the first.
fn runs_down(rows: &[Row], stamps: &[Stamp]) -> bool {
    let heights: Vec<(usize, f64)> = rows
        .iter()
        .enumerate()
        .filter_map(|(i, row)| Some((i, rough_height(row)?)))
        .collect();
    let falls = heights.len() > 1 && mostly(&heights, |a, b| b < a);
    let mut moments = stamps.iter().filter_map(|stamp| stamp.moment);
    if let (Some(first), Some(last)) = (moments.next(), moments.next_back())
        && first.0 != last.0
    {
        let since_s = seconds_between(first.0, last.0);
        return match since_s < 0.0 {
            true => !is_midnight(since_s),
            // Here, too, the date may stay the same, but a balloon may also fly for long.
            false => falls && is_midnight(-since_s),
        };
    }
    let mut clocks = stamps.iter().filter_map(|stamp| stamp.clock_s);
    match (clocks.next(), clocks.next_back()) {
        (Some(first), Some(last)) if first != last => over_midnight_s(last - first) < 0.0,
        _ => falls,
    }
}

/// The time of release by the rows of an ascent.
fn released(stamps: &[Stamp], runs_down: bool) -> Option<(Timestamp, bool)> {
    let mut moments = stamps.iter().filter_map(|stamp| stamp.moment);
    let of_rows = match runs_down {
        true => moments.next_back(),
        false => moments.next(),
    };
    // A date may stand in another row than the first time.
    let first = |part: fn(&Stamp) -> bool| stamps.iter().find(|stamp| part(stamp));
    let time = first(|stamp| stamp.time.is_some()).and_then(|stamp| stamp.time);
    let date = first(|stamp| stamp.date.is_some()).and_then(|stamp| stamp.date);
    of_rows.or_else(|| moment(time, date))
}

/// The first of two times, unless it is only taken for UTC and the second is not.
fn surer(
    first: Option<(Timestamp, bool)>,
    second: Option<(Timestamp, bool)>,
) -> Option<(Timestamp, bool)> {
    let is_certain = |(_, assumed): &(Timestamp, bool)| !assumed;
    first
        .filter(is_certain)
        .or(second.filter(is_certain))
        .or(first)
        .or(second)
}

/// A time, beside a date where it has none itself, and whether it is only taken for UTC.
pub(super) fn moment(time: Option<&str>, date: Option<&str>) -> Option<(Timestamp, bool)> {
    date_time(time?).or_else(|| date_time(&format!("{} {}", date?, time?)))
}

/// The time of day in a cell such as 23:05:10, s.
pub(super) fn clock_s(cell: &str) -> Option<f64> {
    let mut parts = cell.split(':').map(|part| part.parse::<f64>().ok());
    let [hour, minute, second] = [parts.next()??, parts.next()??, parts.next()??];
    let is_one =
        (0.0..24.0).contains(&hour) && [minute, second].iter().all(|x| (0.0..60.0).contains(x));
    (is_one && parts.next().is_none()).then_some(3_600.0 * hour + 60.0 * minute + second)
}

/// Whether most of a wind's values are far from those beside them, in SI.
fn are_apart(quantity: Quantity, pairs: impl Iterator<Item = (f64, f64)>) -> bool {
    let is_apart = |(a, b): &(f64, f64)| match quantity {
        Quantity::Speed | Quantity::East | Quantity::North => (a - b).abs() > SPEED_M_S,
        Quantity::From | Quantity::To => wrap_longitude(a - b).abs() > FROM_DEG,
        _ => false,
    };
    let apart: Vec<bool> = pairs.map(|pair| is_apart(&pair)).collect();
    2 * apart.iter().filter(|is_apart| **is_apart).count() > apart.len()
}

/// What is said of headings that are not known and may be those of heights.
fn may_be_heights(headings: &[&str]) -> impl Iterator<Item = String> {
    let may_be = headings.iter().filter(|text| heading::may_be_height(text));
    may_be.map(|text| format!("column \"{text}\": may be a height, by a name that is not known"))
}

/// The fault of columns that have no unit.
fn without_units(file: &str, columns: &[(Quantity, &str)]) -> Option<Fault> {
    let (first, key) = columns.first()?;
    let named: Vec<String> = columns
        .iter()
        .map(|(_, text)| format!("\"{text}\""))
        .collect();
    let told: Vec<String> = columns
        .iter()
        .map(|(quantity, text)| format!("{text}={}", quantity.told_as()))
        .collect();
    let (found, whose) = match columns.len() {
        1 => (format!("{} without a unit", named[0]), "its unit"),
        _ => (format!("{} without units", named.join(", ")), "their units"),
    };
    let expected = format!(
        "{whose} in the heading, as in {}; or, with the units that are true, --columns \"{}\"",
        first.examples(),
        told.join(", ")
    );
    Some(Fault::new(file, found, expected).of_key(*key))
}

fn no_number(file: &str, cell: &str, line: usize, heading: &str) -> Fault {
    let fault = Fault::new(file, format!("\"{cell}\""), "a number, or nothing");
    fault.at_line(line).of_key(heading)
}

fn unclear_sign(file: &str, number: &str) -> Fault {
    let found = format!("\"{number}\", whose sign may part thousands or decimals");
    Fault::new(file, found, "heights without signs between thousands")
}

/// Whether a cell says that its value is missing.
pub(super) fn is_missing(cell: &str) -> bool {
    let blank = cell.chars().all(|c| MISSING_SIGNS.contains(c));
    blank || MISSING_WORDS.iter().any(|w| cell.eq_ignore_ascii_case(w))
}

/// A cell as a number; `None` when it is neither a number nor a word for a missing one.
#[allow(clippy::option_option)] // the outer is a fault, the inner a missing value
fn value(cell: &str, decimal_comma: bool, tally: &mut Tally) -> Option<Option<f64>> {
    if is_missing(cell) {
        tally.fillers += 1;
        return Some(None);
    }
    let number: Option<f64> = match cell.parse() {
        Err(_) => {
            let plain = cell.replacen('\u{2212}', "-", 1);
            let plain = match decimal_comma {
                true => plain.replacen(',', ".", 1),
                false => plain,
            };
            plain.parse().ok()
        }
        other => other.ok(),
    };
    number.map(|n| n.is_finite().then_some(n))
}

/// The rows in SI, and what kind of height there is.
fn rows(mut columns: Vec<Column>, tally: &mut Tally) -> (Vec<Row>, HeightSource) {
    // Before fillers go: heights are held against them, whichever column comes first.
    let pressures = columns
        .iter()
        .find(|c| c.quantity == Quantity::Pressure)
        .map(|c| {
            c.values
                .iter()
                .map(|v| v.and_then(|v| si(v, c)))
                .collect::<Vec<_>>()
        });
    drop_fillers(&mut columns, pressures.as_deref(), tally);
    to_si_all(&mut columns, tally);
    let length = columns.iter().map(|c| c.values.len()).max();
    let (height, heights) = height_column(&columns, tally);
    let row = |i: usize| row(&columns, height, i);
    let rows = (0..length.unwrap_or_default()).map(row).collect();
    (rows, heights)
}

/// Brings the values of columns to SI, and directions to 0 to 360 degrees where that is clear.
fn to_si_all(columns: &mut [Column], tally: &mut Tally) {
    for column in columns {
        let values = std::mem::take(&mut column.values);
        column.values = values
            .into_iter()
            .map(|v| v.and_then(|v| si(v, column)))
            .collect();
        if column.quantity == Quantity::To {
            turn_signed(column.values.iter_mut().flatten(), tally);
        }
    }
}

/// The values of a row; `height` is the column that heights are taken from.
fn row(columns: &[Column], height: Quantity, number: usize) -> Row {
    let cell = |quantity: Quantity| -> Option<f64> {
        let column = columns.iter().find(|c| c.quantity == quantity)?;
        column.values.get(number).copied().flatten()
    };
    let to = || cell(Quantity::To).filter(|to_deg| (0.0..=360.0).contains(to_deg));
    let opposite = |to_deg: f64| (to_deg + 180.0) % 360.0;
    Row {
        height_m: cell(height),
        pressure_pa: cell(Quantity::Pressure),
        temperature_k: cell(Quantity::Temperature),
        dew_point_k: cell(Quantity::DewPoint),
        dew_point_depression_k: cell(Quantity::DewPointDepression),
        relative_humidity: cell(Quantity::Humidity),
        speed_m_s: cell(Quantity::Speed),
        from_deg: cell(Quantity::From).or_else(|| to().map(opposite)),
        east_m_s: cell(Quantity::East),
        north_m_s: cell(Quantity::North),
        after_s: cell(Quantity::Elapsed),
        lat_deg: cell(Quantity::Latitude),
        lon_deg: cell(Quantity::Longitude),
        ..Row::default()
    }
}

/// The column that heights are taken from, that with the most of them: of equals geometric rather than geopotential,
/// and plain "height" last, as geometric.
fn height_column(columns: &[Column], tally: &mut Tally) -> (Quantity, HeightSource) {
    let known = |quantity: &Quantity| {
        let column = columns.iter().find(|c| c.quantity == *quantity);
        column.map(|c| c.values.iter().flatten().count())
    };
    // The last of equals is found.
    let order = [Quantity::Height, Quantity::Geopotential, Quantity::Altitude];
    match order.into_iter().max_by_key(known) {
        Some(Quantity::Geopotential) => (Quantity::Geopotential, HeightSource::Geopotential),
        Some(Quantity::Height) => {
            tally.assumed.push(Reading::GeometricHeight);
            (Quantity::Height, HeightSource::Geometric)
        }
        _ => (Quantity::Altitude, HeightSource::Geometric),
    }
}

/// A value in the column's unit, in SI.
pub(super) fn si(value: f64, column: &Column) -> Option<f64> {
    match column.quantity.dimension() {
        None => Some(value),
        // A difference of temperatures has no zero to shift.
        Some(dimension) if column.quantity == Quantity::DewPointDepression => {
            Some(to_si(value, column.unit, dimension)? - to_si(0.0, column.unit, dimension)?)
        }
        Some(dimension) => to_si(value, column.unit, dimension),
    }
}
