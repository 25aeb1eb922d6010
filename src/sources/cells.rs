//! The cells of a line of text, by what separates them.

#![allow(
    clippy::indexing_slicing,
    reason = "by numbers of its own lines, rows and words"
)]

use std::ops::Range;

use csv::{ReaderBuilder, Trim};
use jiff::civil::Date;

use super::table::{clock_s, is_missing};
use super::text::date_time;

/// What separates cells.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Separator {
    Char(u8),
    /// Two blanks or more: names have single ones.
    Gaps,
    Blanks,
}

pub(super) const SEPARATORS: [Separator; 6] = [
    Separator::Char(b','),
    Separator::Char(b';'),
    Separator::Char(b'\t'),
    Separator::Char(b'|'),
    Separator::Gaps,
    Separator::Blanks,
];

/// The text of a cell and where it stands in its line, counted in characters.
#[derive(Debug, Clone)]
pub(super) struct Cell {
    pub text: String,
    pub place: Range<usize>,
}

/// The cells of a line.
pub(super) fn cells(line: &str, separator: Separator) -> Vec<Cell> {
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
pub(super) fn is_row(cells: &[Cell], heads: usize) -> bool {
    let said = cells.iter().filter(|cell| !cell.text.is_empty());
    let values = said.clone().filter(|cell| is_value(&cell.text)).count();
    cells.len() >= heads && values >= 2 && 2 * values >= said.count()
}

/// Whether cells are a row under so many headings of which at most the time is known.
pub(super) fn is_row_without_values(cells: &[Cell], heads: usize) -> bool {
    cells.len() >= heads && cells.iter().all(says_nothing)
}

/// Whether a cell is a time, or says that its value is missing.
pub(super) fn says_nothing(cell: &Cell) -> bool {
    let text = &cell.text;
    let is_time =
        || date_time(text).is_some() || clock_s(text).is_some() || text.parse::<Date>().is_ok();
    is_missing(text) || is_time()
}

/// How many cells are numbers.
pub(super) fn numbers(cells: &[Cell]) -> usize {
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

/// The text of each cell under the heading it stands under; `None` where two stand under one.
pub(super) fn placed(row: &[Cell], heads: &[Cell]) -> Option<Vec<Option<String>>> {
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
