//! Tables in text: headings somewhere near the start, units in them or on the line below, cells
//! separated by commas, semicolons, tabs, bars or blanks.

#![allow(
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "by numbers of its own lines, rows and words"
)]

use std::ops::Range;

use csv::{ReaderBuilder, Trim};

use super::around::Around;
use super::clean::Raw;
use super::columns::Columns;
use super::heading::{self, Heading};
use super::table::Table;
use super::text::date_time;
use crate::error::{Fault, Result};
use crate::wind::sounding::Tally;

/// Headings are looked for in so many lines.
const LOOKED: usize = 80;
/// A row of values stands among so many lines below its headings.
const BELOW: usize = 6;
/// So many rows, one of them of so many numbers, make a table without headings.
const BARE_ROWS: usize = 3;
const BARE_NUMBERS: usize = 3;

/// What separates cells.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Separator {
    Char(u8),
    /// Two blanks or more: names have single ones.
    Gaps,
    Blanks,
}

const SEPARATORS: [Separator; 6] = [
    Separator::Char(b','),
    Separator::Char(b';'),
    Separator::Char(b'\t'),
    Separator::Char(b'|'),
    Separator::Gaps,
    Separator::Blanks,
];

/// A line of headings.
struct Heads {
    /// Its index; that of the first row of values where there are no headings.
    at: usize,
    separator: Separator,
    cells: Vec<Cell>,
    units: Vec<String>,
    /// The index of the line from which rows are read.
    rows_from: usize,
}

/// The text of a cell and where it stands in its line, counted in characters.
#[derive(Debug, Clone)]
struct Cell {
    text: String,
    place: Range<usize>,
}

pub(super) fn looks_like(text: &str, columns: &Columns) -> bool {
    let lines: Vec<&str> = text.lines().collect();
    Looked::at(&lines, columns).heads(0).is_some() || bare(&lines).is_some()
}

/// Takes the tables of a text apart; each is an ascent.
pub(super) fn read(file: &str, text: &str, columns: &Columns) -> Vec<Result<Raw>> {
    let lines: Vec<&str> = text.lines().collect();
    let mut looked = Looked::at(&lines, columns);
    let mut from = 0;
    let mut ascents = Vec::new();
    while let Some(heads) = looked.heads(from) {
        let around = from..heads.at;
        let (table, end) = table(file, &lines, heads, around);
        match table {
            Ok(table) => ascents.extend(table.read(file, columns)),
            Err(fault) => ascents.push(Err(fault)),
        }
        from = end;
    }
    if ascents.is_empty() {
        match bare_table(file, &lines, columns) {
            Ok(table) => ascents.extend(table.read(file, columns)),
            Err(fault) => ascents.push(Err(fault)),
        }
    }
    ascents
}

/// A table without headings, whose columns were named by number.
fn bare_table(file: &str, lines: &[&str], columns: &Columns) -> Result<Table> {
    let Some(heads) = bare(lines) else {
        let expected =
            "a line of headings, as in altitude_m, wind_kt, wind_dir, and rows of numbers";
        return Err(Fault::new(file, "no table", expected).into());
    };
    if columns.is_empty() {
        const LIKELY: [&str; 5] = [
            "pressure hPa",
            "height m",
            "temperature C",
            "wind from",
            "wind speed kt",
        ];
        let numbered = (1..=heads.cells.len()).zip(LIKELY);
        let told: Vec<String> = numbered.map(|(n, what)| format!("{n}={what}")).collect();
        let found = format!("a table of {} columns without headings", heads.cells.len());
        let expected = format!(
            "headings with units; or, with what is true of these columns, --columns \"{}\"",
            told.join(", ")
        );
        return Err(Fault::new(file, found, expected)
            .at_line(heads.at + 1)
            .into());
    }
    let around = 0..heads.at;
    table(file, lines, heads, around).0
}

/// How good a line of headings is: one with values below it before one without, one that is no comment before one
/// that is, then the one with most names that are known.
type Rank = (bool, bool, usize);

/// Lines that are looked at for headings, each once: short tables share most of those they look at.
struct Looked<'a> {
    lines: &'a [&'a str],
    columns: &'a Columns,
    /// What each line is as headings; the outer `None` where it was not looked at.
    found: Vec<Option<Option<(Rank, Separator)>>>,
}

impl<'a> Looked<'a> {
    fn at(lines: &'a [&'a str], columns: &'a Columns) -> Looked<'a> {
        Looked {
            lines,
            columns,
            found: vec![None; lines.len()],
        }
    }

    /// The best line of headings from an index on; of equals the upper one.
    fn heads(&mut self, from: usize) -> Option<Heads> {
        let looked = from..self.lines.len().min(from + LOOKED);
        let ranked = looked.filter_map(|at| self.ranked(at).map(|(rank, by)| (rank, at, by)));
        let best = ranked.reduce(|best, next| if next.0 > best.0 { next } else { best });
        // Further tables need values; the only one may be told that it has none.
        let (_, at, separator) = best.filter(|((has_rows, ..), ..)| *has_rows || from == 0)?;
        let cells = cells(uncommented(self.lines[at]), separator);
        let (units, rows_from) = units(self.lines, at + 1, separator, &cells);
        Some(Heads {
            at,
            separator,
            cells,
            units,
            rows_from,
        })
    }

    fn ranked(&mut self, at: usize) -> Option<(Rank, Separator)> {
        if let Some(known) = self.found[at] {
            return known;
        }
        let ranked = SEPARATORS
            .into_iter()
            .filter_map(|by| Some((self.rank(at, by)?, by)));
        // Of equals the separator that is rarer in names.
        let best = ranked.reduce(|best, next| if next.0 > best.0 { next } else { best });
        self.found[at] = Some(best);
        best
    }

    /// Of a line as headings between which a separator stands; `None` where it is none.
    fn rank(&self, at: usize, separator: Separator) -> Option<Rank> {
        let line = uncommented(self.lines[at]);
        let cells = cells(line, separator);
        // No heading is a number: such a line is a row, or tells of the station.
        if cells.len() < 2 || numbers(&cells) > 0 {
            return None;
        }
        let known = cells.iter().enumerate().filter(|(place, cell)| {
            self.columns.of(&cell.text, *place).is_some()
                || !matches!(heading::read(&cell.text), Heading::Other)
        });
        let known = known.count();
        // One word that is known stands in many a sentence.
        if known < 2 {
            return None;
        }
        let (_, rows_from) = units(self.lines, at + 1, separator, &cells);
        let has_rows = self.lines[rows_from.min(self.lines.len())..]
            .iter()
            .filter(|line| is_content(line))
            .take(BELOW)
            .any(|line| is_row(&self::cells(line, separator), cells.len()));
        Some((has_rows, line.len() == self.lines[at].len(), known))
    }
}

/// Where a table without headings begins.
fn bare(lines: &[&str]) -> Option<Heads> {
    let looked = 0..lines.len().min(LOOKED);
    let mut candidates = looked.flat_map(|at| SEPARATORS.map(|separator| (at, separator)));
    candidates.find_map(|(at, separator)| {
        let rows = lines[at..]
            .iter()
            .filter(|line| is_content(line))
            .take(BARE_ROWS);
        let rows: Vec<Vec<Cell>> = rows.map(|line| cells(line, separator)).collect();
        let count = rows.first()?.len();
        let alike = rows
            .iter()
            .all(|row| row.len() == count && is_row(row, count))
            && rows.iter().any(|row| numbers(row) >= BARE_NUMBERS);
        let begins = is_content(lines[at]) && rows.len() == BARE_ROWS && alike;
        begins.then(|| Heads {
            at,
            separator,
            cells: (1..=count)
                .map(|n| Cell {
                    text: n.to_string(),
                    place: rows[0][n - 1].place.clone(),
                })
                .collect(),
            units: Vec::new(),
            rows_from: at,
        })
    })
}

/// The units that stand on the line below the headings, and the index of the first line after them.
fn units(
    lines: &[&str],
    from: usize,
    separator: Separator,
    heads: &[Cell],
) -> (Vec<String>, usize) {
    let next = (from..lines.len()).find(|&i| !lines[i].trim().is_empty() && !is_rule(lines[i]));
    let none = (Vec::new(), from);
    let Some(at) = next else { return none };
    let found = cells(uncommented(lines[at]), separator);
    let said: Vec<&Cell> = found.iter().filter(|cell| !cell.text.is_empty()).collect();
    let known = said
        .iter()
        .filter(|cell| heading::is_unit(&cell.text))
        .count();
    // "1" may stand for a unit, but a line of numbers is a row.
    if known < 2 || 2 * known < said.len() || numbers(&found) > said.len() / 2 {
        return none;
    }
    // Between blanks a column without a unit leaves no cell: there places decide.
    if found.len() == heads.len() || matches!(separator, Separator::Char(_)) {
        return (found.into_iter().map(|cell| cell.text).collect(), at + 1);
    }
    let placed = placed(&found, heads);
    let texts = placed.map(|p| p.into_iter().map(Option::unwrap_or_default).collect());
    texts.map_or(none, |units| (units, at + 1))
}

/// Takes the rows under some headings; with them the index of the first line that belongs to no row.
fn table(file: &str, lines: &[&str], heads: Heads, around: Range<usize>) -> (Result<Table>, usize) {
    let Heads {
        at,
        separator,
        cells: names,
        units,
        rows_from,
    } = heads;
    let mut tally = Tally::default();
    let mut about = Around::default();
    lines[around.clone()]
        .iter()
        .for_each(|line| about.learn(line));
    let mut aligned = Aligned::new(separator);
    let mut rows = Vec::new();
    let mut headed = Vec::new();
    let mut end = lines.len();
    for (i, line) in lines.iter().enumerate().skip(rows_from) {
        if !is_content(line) {
            continue;
        }
        let row = cells(line, separator);
        // A head that comes again right after a row, as at the top of a printed page or of another ascent.
        if i > at && *line == lines[at] && is_content(lines[i - 1]) {
            headed.push(rows.len());
            continue;
        }
        // Before the first row a line of words may still belong to the heads.
        if numbers(&row) == 0 && !rows.is_empty() && !is_row(&row, names.len()) {
            end = i;
            break;
        }
        match aligned.row(row, &names) {
            Ok(Some(row)) => rows.push((i + 1, row)),
            Ok(None) => {}
            Err(fault) => {
                let fault = Fault {
                    file: file.to_owned(),
                    ..fault
                };
                // Where this table ends is not known any more, so none is looked for behind it.
                return (Err(fault.at_line(i + 1).into()), lines.len());
            }
        }
    }
    tally.left_out.extend(aligned.said());
    let comments = lines[around.start..end]
        .iter()
        .filter(|line| is_comment(line));
    tally.comments = comments.clone().count();
    let told = |surely| {
        comments
            .clone()
            .find_map(|line| time_in_comment(line, surely))
    };
    // A line that names the time counts more than a comment in which there is just one.
    about.time = told(true).or(about.time).or_else(|| told(false));
    let table = Table {
        line: at + 1,
        headings: names.into_iter().map(|cell| cell.text).collect(),
        units,
        rows,
        headed,
        decimal_comma: separator != Separator::Char(b','),
        around: about,
        tally,
    };
    (Ok(table), end)
}

/// How rows with fewer cells than headings are read: where blanks separate, a missing value leaves no
/// cell, and only its place tells which it is.
struct Aligned {
    separator: Separator,
    /// Rows in which every value stands under its heading, and all whole rows.
    straight: usize,
    whole: usize,
    /// Rows with values missing that cannot be told apart.
    unclear: usize,
}

impl Aligned {
    fn new(separator: Separator) -> Aligned {
        Aligned {
            separator,
            straight: 0,
            whole: 0,
            unclear: 0,
        }
    }

    /// The cells of a row, one for each heading; `None`, counted, where that cannot be told.
    fn row(
        &mut self,
        row: Vec<Cell>,
        heads: &[Cell],
    ) -> std::result::Result<Option<Vec<String>>, Fault> {
        let (found, wanted) = (row.len(), heads.len());
        let texts = |row: Vec<Cell>| row.into_iter().map(|cell| cell.text).collect();
        let beyond = row.iter().skip(wanted).any(|cell| !cell.text.is_empty());
        if beyond {
            let expected = format!(
                "{wanted}, as in the headings; where commas are decimal signs, ; or tabs between values"
            );
            return Err(Fault::new("", format!("{found} values"), expected));
        }
        let separated = matches!(self.separator, Separator::Char(_));
        if found >= wanted {
            let is_straight =
                !separated && placed(&row, heads).is_some_and(|p| p.iter().all(Option::is_some));
            self.whole += 1;
            self.straight += usize::from(is_straight);
            return Ok(Some(texts(row)));
        }
        if separated {
            let expected = format!("{wanted}, as in the header; is the file complete?");
            return Err(Fault::new("", format!("{found} values"), expected));
        }
        // Where whole rows do not stand under their headings, places tell nothing of the others.
        let placed = match self.straight == self.whole {
            true => placed(&row, heads),
            false => None,
        };
        self.unclear += usize::from(placed.is_none());
        Ok(placed.map(|cells| cells.into_iter().map(Option::unwrap_or_default).collect()))
    }

    fn said(&self) -> Option<String> {
        (self.unclear > 0).then(|| {
            format!(
                "{} rows that lack values: with blanks between values it is not clear which",
                self.unclear
            )
        })
    }
}

/// The text of each cell under the heading it stands under; `None` where two stand under one.
fn placed(row: &[Cell], heads: &[Cell]) -> Option<Vec<Option<String>>> {
    let mut placed = vec![None; heads.len()];
    for cell in row {
        // How far apart they are; less than 0 where they overlap.
        let apart = |head: &Cell| {
            let from = cell.place.start.max(head.place.start).cast_signed();
            from - cell.place.end.min(head.place.end).cast_signed()
        };
        let nearest = (0..heads.len()).min_by_key(|&i| apart(&heads[i]))?;
        if placed[nearest].is_some() {
            return None;
        }
        placed[nearest] = Some(cell.text.clone());
    }
    Some(placed)
}

/// The cells of a line.
fn cells(line: &str, separator: Separator) -> Vec<Cell> {
    match separator {
        Separator::Char(delimiter) => separated(line, delimiter),
        Separator::Gaps => spaced(line, 2),
        Separator::Blanks => spaced(line, 1),
    }
}

fn separated(line: &str, delimiter: u8) -> Vec<Cell> {
    let cell = |text: &str| Cell {
        text: text.trim().to_owned(),
        place: 0..0,
    };
    // A reader of its own for every line would be slow, and only quotes need one.
    if !line.contains('"') {
        return line.split(char::from(delimiter)).map(cell).collect();
    }
    let mut reader = ReaderBuilder::new()
        .delimiter(delimiter)
        .has_headers(false)
        .flexible(true)
        .trim(Trim::All)
        .from_reader(line.as_bytes());
    let record = reader.records().next().and_then(std::result::Result::ok);
    record.unwrap_or_default().iter().map(cell).collect()
}

/// The cells of a line with so many blanks between them; a tab counts for any number. What stands in
/// brackets belongs to the cell before.
fn spaced(line: &str, blanks: usize) -> Vec<Cell> {
    let mut cells: Vec<Cell> = Vec::new();
    let (mut gap, mut depth) = (blanks, 0_usize);
    for (at, c) in line.chars().enumerate() {
        if c.is_whitespace() && depth == 0 {
            gap += if c == '\t' { blanks } else { 1 };
            continue;
        }
        let opens = matches!(c, '(' | '[');
        match cells.last_mut() {
            Some(cell) if gap < blanks || (opens && gap == 1) => {
                if gap > 0 {
                    cell.text.push(' ');
                }
                cell.text.push(c);
                cell.place.end = at + 1;
            }
            _ => cells.push(Cell {
                text: c.to_string(),
                place: at..at + 1,
            }),
        }
        gap = 0;
        depth = match c {
            '(' | '[' => depth + 1,
            ')' | ']' => depth.saturating_sub(1),
            _ => depth,
        };
    }
    cells
}

/// Whether cells are a row of values under so many headings.
fn is_row(cells: &[Cell], heads: usize) -> bool {
    let said = cells.iter().filter(|cell| !cell.text.is_empty());
    let values = said.clone().filter(|cell| is_value(&cell.text)).count();
    cells.len() >= heads && values >= 2 && 2 * values >= said.count()
}

/// How many cells are numbers.
fn numbers(cells: &[Cell]) -> usize {
    cells.iter().filter(|cell| is_number(&cell.text)).count()
}

fn is_number(text: &str) -> bool {
    // The parser takes "inf" and "nan" as well.
    let begins = |c: char| c.is_ascii_digit() || "+-.\u{2212}".contains(c);
    let plain = text.replacen(',', ".", 1).replacen('\u{2212}', "-", 1);
    text.starts_with(begins) && plain.parse::<f64>().is_ok()
}

fn is_value(text: &str) -> bool {
    is_number(text)
        || date_time(text).is_some()
        || ["nan", "null", "na"].contains(&text.to_ascii_lowercase().as_str())
}

fn is_comment(line: &str) -> bool {
    line.starts_with('#')
}

/// A line without the sign of a comment before it.
fn uncommented(line: &str) -> &str {
    line.strip_prefix(['#', '%', '!']).unwrap_or(line)
}

/// Whether a line is one of signs between heads and rows.
fn is_rule(line: &str) -> bool {
    line.trim().chars().all(|c| "-=_+*|~ ".contains(c))
}

fn is_content(line: &str) -> bool {
    !line.trim().is_empty() && !is_comment(line) && !is_rule(line)
}

/// A time of release in a comment: `# launch 2007-11-20T17:30`, `# ... First record
/// 2026-02-05T23:03:59Z.`; where it is not `surely` one, `# time 2007-11-20T17:30`.
fn time_in_comment(line: &str, surely: bool) -> Option<(jiff::Timestamp, bool)> {
    const RELEASE: [&str; 4] = ["launch", "release", "released", "record"];
    /// What a time is of that is as good as that of the release.
    const OF: [&str; 14] = [
        "launch",
        "release",
        "released",
        "record",
        "valid",
        "observation",
        "observed",
        "nominal",
        "start",
        "sounding",
        "ascent",
        "flight",
        "date",
        "utc",
    ];
    /// Times of something else, or not in UTC.
    const OTHERS: [&str; 6] = ["creat", "process", "retriev", "download", "local", "last"];
    let words: Vec<String> = uncommented(line)
        .split_ascii_whitespace()
        .map(|w| w.trim_end_matches(['.', ',', ';', ':', '=']).to_owned())
        .collect();
    let is = |at: usize, of: &[&str]| of.iter().any(|w| words[at].eq_ignore_ascii_case(w));
    let is_time = |at: usize| is(at, &["time"]);
    let is_other = |at: usize| {
        OTHERS
            .iter()
            .any(|o| words[at].to_lowercase().starts_with(o))
    };
    let told = |at: &usize| match surely {
        true => is(*at, &RELEASE),
        false => is_time(*at) && (*at == 0 || is(at - 1, &OF)),
    };
    let at = (0..words.len()).find(told)?;
    if at.checked_sub(1).is_some_and(is_other) {
        return None;
    }
    let behind = at + 1 + usize::from(words.get(at + 1).is_some() && is_time(at + 1));
    date_time(words.get(behind)?)
}

#[cfg(test)]
mod tests {
    use super::super::clean::clean;
    use super::*;
    use crate::geodesy::Position;
    use crate::notes::reading::Reading;
    use crate::units::ZERO_CELSIUS_K;
    use crate::wind::sounding::Sounding;

    fn sounding(text: &str) -> Sounding {
        clean(read("f", text, &Columns::default()).remove(0).unwrap()).unwrap()
    }

    fn message(text: &str) -> String {
        let read = read("f", text, &Columns::default()).remove(0);
        read.and_then(clean).err().unwrap().to_string()
    }

    /// As many lines are looked at twice as large: time grows with them, not with their square.
    #[test]
    fn many_small_tables_are_read_one_after_the_other() {
        let table = "# one\naltitude_m,wind_speed_ms,wind_dir_deg\n100,5,270\n500,6,280\n\n";
        let took = |count: usize| {
            let begin = std::time::Instant::now();
            let found = read("f", &table.repeat(count), &Columns::default());
            let comments = found.iter().map(|raw| raw.as_ref().unwrap().tally.comments);
            assert_eq!((found.len(), comments.sum::<usize>()), (count, count));
            let last = clean(found.into_iter().next_back().unwrap().unwrap()).unwrap();
            assert_eq!(last.levels.len(), 2);
            begin.elapsed().as_secs_f64()
        };
        let (some, more) = (took(1_000), took(8_000));
        assert!(more < 24.0 * some.max(0.01), "{some} s, {more} s");
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
        assert!(s.tally.assumed.contains(&Reading::GeometricHeight));
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
        assert!(s.tally.assumed.contains(&Reading::TimesInUtc));
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
    fn times_of_making_are_none_of_the_release() {
        let table = "altitude_m,u_kt,v_kt\n1,2,3\n4,5,6\n";
        let time = |comments: &str| {
            let time = sounding(&format!("{comments}\n{table}")).time;
            time.map(|t| t.to_string())
        };
        let launch = Some("2026-02-05T12:00:00Z".to_owned());
        let made = "# File creation time: 2026-03-01T10:00:00Z";
        for told in [
            "# Launch time: 2026-02-05T12:00:00Z",
            "# launch time 2026-02-05T12:00:00Z",
            "# time 2026-02-05T12:00:00Z",
            "# valid time 2026-02-05T12:00Z",
        ] {
            assert_eq!(time(told), launch, "{told}");
            assert_eq!(time(&format!("{made}\n{told}")), launch, "{told}");
        }
        for other in [
            made,
            "# Processing time 2026-03-01T10:00:00Z",
            "# Local time 2026-02-05T05:00",
            "# Local launch 2026-02-05T05:00",
            "# Download time 2026-03-01T10:00:00Z",
        ] {
            assert_eq!(time(other), None, "{other}");
        }
        let timed = "time,altitude_m,u_kt,v_kt\n2026-02-05T12:00Z,1,2,3\n2026-02-05T12:01Z,4,5,6\n";
        let s = sounding(&format!("# Processing time 2026-03-01T10:00:00Z\n{timed}"));
        assert_eq!(s.time.map(|t| t.to_string()), launch);
    }

    #[test]
    fn two_files_under_each_other_are_two_ascents() {
        let heads = "time,height_m,u_m_s,v_m_s\n";
        let rows = |day: u32, u: u32| -> String {
            let row = |i: u32| format!("2026-02-0{day} 11:{:02}:00,{},{u},1\n", 2 * i, 1_000 * i);
            (0..20).map(row).collect()
        };
        let (one, two) = (rows(5, 10), rows(6, 20));
        for text in [
            format!("{heads}{one}{heads}{two}"),
            format!("{heads}{one}{two}"),
            format!("{heads}{one}\n{heads}{two}"),
        ] {
            let found = read("f", &text, &Columns::default()).into_iter();
            let found: Vec<Sounding> = found.map(|raw| clean(raw.unwrap()).unwrap()).collect();
            assert_eq!(found.len(), 2);
            for (s, (day, u)) in found.iter().zip([(5, 10.0), (6, 20.0)]) {
                assert_eq!(
                    s.time.unwrap().to_string(),
                    format!("2026-02-0{day}T11:00:00Z")
                );
                assert_eq!(s.levels.len(), 20);
                assert!(s.levels.iter().all(|l| l.wind.unwrap().east_m_s == u));
            }
        }
        // The head of a printed page ends nothing.
        let page = one[..one.len() / 2].rfind('\n').unwrap() + 1;
        let (low, high) = one.split_at(page);
        let text = format!("{heads}{low}{heads}{high}");
        let paged = read("f", &text, &Columns::default());
        assert_eq!(paged.len(), 1);
    }

    #[test]
    fn stations_of_a_column_are_ascents_of_their_own() {
        let text = "station,validUTC,height_m,u_m_s,v_m_s\n\
                    A,2026-02-05 00:00:00,100,1,2\nB,2026-02-05 00:00:00,100,3,4\n\
                    A,2026-02-05 00:00:00,900,1,2\nB,2026-02-05 00:00:00,900,3,4\n";
        let found = read("f", text, &Columns::default()).into_iter();
        let found: Vec<Sounding> = found.map(|raw| clean(raw.unwrap()).unwrap()).collect();
        let names: Vec<&str> = found.iter().map(|s| s.name.as_str()).collect();
        assert_eq!(names, ["A", "B"]);
        assert!(
            found
                .iter()
                .all(|s| s.levels.len() == 2 && s.time.is_some())
        );
    }

    #[test]
    fn a_date_that_stays_the_same_over_midnight() {
        let head = "date,time,lat,lon,height_m,u_m_s,v_m_s\n";
        let row = |i: u32| {
            let minute = 23 * 60 + 30 + 4 * i;
            let (hour, minute) = (minute / 60 % 24, minute % 60);
            format!(
                "2026-02-05,{hour:02}:{minute:02}:00,43.0{i:02},-108.3,{},1,2\n",
                1_000 * i
            )
        };
        let up: String = (0..20).map(row).collect();
        let down: String = (0..20).rev().map(row).collect();
        let [up, down] = [up, down].map(|rows| sounding(&format!("{head}{rows}")));
        assert_eq!(up.time.unwrap().to_string(), "2026-02-05T23:30:00Z");
        assert_eq!(up.levels.last().unwrap().after_s, Some(19.0 * 240.0));
        // From the top down it is the same ascent, from the same place.
        assert_eq!((up.time, up.position), (down.time, down.position));
        assert_eq!(up.levels, down.levels);
        assert_eq!(up.position, Position::new(43.0, -108.3));
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
