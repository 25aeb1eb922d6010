//! Where tables begin and end among the lines of a text: headings, the units below them, rows, words between.

#![allow(
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "by numbers of its own lines, rows and words"
)]

use super::around::Around;
use super::cells::{
    Cell, SEPARATORS, Separator, cells, is_row, is_row_without_values, numbers, placed,
    says_nothing,
};
use super::columns::Columns;
use super::continued::Order;
use super::heading::{self, Heading, Quantity};
use super::table::{Table, is_missing};
use crate::numeric::neighbours;
use crate::units::counted;
use crate::wind::sounding::Tally;

/// Headings are looked for in so many lines.
const LOOKED: usize = 80;
/// A row of values stands among so many lines below its headings.
const BELOW: usize = 6;
/// So many rows, one of them of so many numbers, make a table without headings.
const BARE_ROWS: usize = 3;
const BARE_NUMBERS: usize = 3;

/// A line of headings.
pub(super) struct Heads {
    /// Its index; that of the first row of values where there are no headings.
    pub at: usize,
    pub separator: Separator,
    pub cells: Vec<Cell>,
    units: Vec<String>,
    /// The index of the line from which rows are read.
    pub rows_from: usize,
}

/// How good a line of headings is: one with values below it before one without, one that is no comment before one
/// that is, then the one with most names that are known.
type Rank = (bool, bool, usize);

/// A line as headings.
#[derive(Debug, Clone, Copy)]
struct Ranked {
    rank: Rank,
    separator: Separator,
    /// Whether it names a wind and its height, and rows begin right below it.
    begins: bool,
}

/// What a line below headings is.
pub(super) enum Below {
    /// Blank, a comment, or what belongs to headings.
    Nothing,
    /// The headings once more, within a table.
    Heads,
    Row(Vec<Cell>),
    /// Words between rows.
    Words,
    /// The first line that does not belong to the table.
    End,
}

/// Lines that are looked at for headings, each once: short tables share most of those they look at.
pub(super) struct Looked<'a> {
    pub lines: &'a [&'a str],
    pub columns: &'a Columns,
    /// What each line is as headings; the outer `None` where it was not looked at.
    found: Vec<Option<Option<Ranked>>>,
}

impl<'a> Looked<'a> {
    pub(super) fn at(lines: &'a [&'a str], columns: &'a Columns) -> Looked<'a> {
        Looked {
            lines,
            columns,
            found: vec![None; lines.len()],
        }
    }

    /// The first line from an index on below which a sounding begins, else the best of headings; of equals the
    /// upper one.
    pub(super) fn heads(&mut self, from: usize) -> Option<Heads> {
        let looked = from..self.lines.len().min(from + LOOKED);
        let mut best: Option<(usize, Ranked)> = None;
        for at in looked {
            let Some(ranked) = self.ranked(at) else {
                continue;
            };
            if ranked.begins {
                best = Some((at, ranked));
                break;
            }
            if best.is_none_or(|(_, best)| ranked.rank > best.rank) {
                best = Some((at, ranked));
            }
        }
        // Further tables need values; the only one may be told that it has none.
        let (at, ranked) = best.filter(|(_, ranked)| ranked.rank.0 || from == 0)?;
        let separator = ranked.separator;
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

    fn ranked(&mut self, at: usize) -> Option<Ranked> {
        if let Some(known) = self.found[at] {
            return known;
        }
        let ranked = SEPARATORS.into_iter().filter_map(|by| self.rank(at, by));
        // Of equals the separator that is rarer in names.
        let best = ranked.reduce(|best, next| if next.rank > best.rank { next } else { best });
        self.found[at] = Some(best);
        best
    }

    /// Of a line as headings between which a separator stands; `None` where it is none.
    fn rank(&self, at: usize, separator: Separator) -> Option<Ranked> {
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
        let below = self.lines[rows_from.min(self.lines.len())..].iter();
        let mut are_rows = below
            .filter(|line| is_content(line))
            .take(BELOW)
            .map(|line| is_row(&self::cells(line, separator), cells.len()));
        let is_first = are_rows.next().unwrap_or(false);
        let has_rows = is_first || are_rows.any(|is_row| is_row);
        Some(Ranked {
            rank: (has_rows, line.len() == self.lines[at].len(), known),
            separator,
            begins: is_first && self.names_sounding(&cells),
        })
    }

    /// What a heading at a place names, with or without its unit.
    fn quantity(&self, place: usize, head: &Cell) -> Option<Quantity> {
        match self.columns.of(&head.text, place) {
            Some(told) => told.map(|(quantity, _)| quantity),
            None => match heading::read(&head.text) {
                Heading::Known(quantity, _) | Heading::NoUnit(quantity) => Some(quantity),
                _ => None,
            },
        }
    }

    /// Whether headings name a wind and its height, with or without their units.
    fn names_sounding(&self, cells: &[Cell]) -> bool {
        let cells = cells.iter().enumerate();
        let named: Vec<Quantity> = cells
            .filter_map(|(i, cell)| self.quantity(i, cell))
            .collect();
        let all = |of: &[Quantity]| of.iter().all(|quantity| named.contains(quantity));
        let has_wind =
            all(&[Quantity::Speed, Quantity::From]) || all(&[Quantity::East, Quantity::North]);
        has_wind
            && named
                .iter()
                .any(|q| q.is_height() || *q == Quantity::Pressure)
    }

    /// What a line below headings is, with the rows above it in a table.
    pub(super) fn below(&mut self, at: usize, heads: &Heads, above: &Table) -> Below {
        let line = self.lines[at];
        let is_headed = heads.rows_from > heads.at;
        if !is_content(line) || (is_headed && heads.is_units(self.lines, at)) {
            return Below::Nothing;
        }
        if is_headed && line == self.lines[heads.at] && self.is_within(at, heads, above) {
            return Below::Heads;
        }
        let row = cells(line, heads.separator);
        let wanted = heads.cells.len();
        let has_numbers = numbers(&row) > 0;
        let is_blank = !has_numbers && is_row_without_values(&row, wanted);
        if is_blank && self.is_time_alone(&row, heads) {
            return Below::Nothing;
        }
        // Before the first row a line of words may still belong to the heads.
        let is_first = above.rows.is_empty();
        if is_first || has_numbers || is_blank || is_row(&row, wanted) {
            return Below::Row(row);
        }
        // As many words as there are columns may be headings themselves.
        let words = row.iter().filter(|cell| !says_nothing(cell)).count();
        let are_few = match heads.separator {
            Separator::Blanks => words < wanted,
            _ => words == 1,
        };
        match are_few && self.ranked(at).is_none() && self.is_before_rows(at, heads, above) {
            true => Below::Words,
            false => Below::End,
        }
    }

    /// Whether headings that stand once more end no table: right below a row, as at the top of a printed page or of
    /// another ascent, or behind blank lines where its heights go on.
    fn is_within(&self, at: usize, heads: &Heads, above: &Table) -> bool {
        if is_content(self.lines[at - 1]) {
            return true;
        }
        let mut between = self.lines[..at].iter().rev().take_while(|l| !is_content(l));
        // A comment tells of another sounding.
        let is_blank = between.all(|line| !is_comment(line));
        let mut next = (at + 1..self.lines.len()).filter(|&i| is_content(self.lines[i]));
        let next = next.find(|&i| !heads.is_units(self.lines, i));
        next.is_some_and(|next| {
            let row = cells(self.lines[next], heads.separator);
            let texts: Vec<String> = row.into_iter().map(|cell| cell.text).collect();
            is_blank && Order::of(above, self.columns).goes_on(&texts)
        })
    }

    /// Whether a row without values has a time that is none of its columns, as one that tells of the rows below it.
    fn is_time_alone(&self, row: &[Cell], heads: &Heads) -> bool {
        let said = row.iter().zip(&heads.cells).enumerate();
        let mut said = said.filter(|(_, (cell, _))| !is_missing(&cell.text));
        said.any(|(place, (_, head))| {
            let quantity = self.quantity(place, head);
            quantity
                .is_some_and(|q| !matches!(q, Quantity::Time | Quantity::Date | Quantity::Elapsed))
        })
    }

    /// Whether the next lines that say something are rows which go on where the table ends, or rise as those of another
    /// ascent.
    fn is_before_rows(&mut self, at: usize, heads: &Heads, above: &Table) -> bool {
        let mut next: Vec<Vec<String>> = Vec::new();
        for i in at + 1..self.lines.len() {
            let row = cells(self.lines[i], heads.separator);
            if !is_content(self.lines[i]) || is_row_without_values(&row, heads.cells.len()) {
                continue;
            }
            if next.len() == BELOW || !heads.is_whole(&row) || self.ranked(i).is_some() {
                break;
            }
            next.push(row.into_iter().map(|cell| cell.text).collect());
        }
        let order = Order::of(above, self.columns);
        let mut pairs = neighbours(&next);
        next.iter().any(|row| order.goes_on(row)) || pairs.any(|(row, next)| order.rises(row, next))
    }

    /// What is said of rows from an index on that stand under no headings of their own.
    pub(super) fn lost(&mut self, end: usize, heads: &Heads) -> Option<String> {
        let mut count = 0;
        for at in end..self.lines.len() {
            if heads.is_row(self.lines[at]) {
                count += 1;
            } else if self.ranked(at).is_some() {
                break;
            }
        }
        let line = self.lines.get(end)?;
        let rows = counted(count, "row", "rows");
        let (line, text) = (end + 1, quoted(line));
        let said = format!("{rows} below line {line}, {text}, under no headings that are known");
        (count > 0).then_some(said)
    }
}

impl Heads {
    /// Whether a line, which is not the headings', is that of their units.
    fn is_units(&self, lines: &[&str], at: usize) -> bool {
        !self.units.is_empty() && at >= self.rows_from && lines[at] == lines[self.rows_from - 1]
    }

    /// Whether cells are a row that has nothing beyond the headings.
    fn is_whole(&self, row: &[Cell]) -> bool {
        let wanted = self.cells.len();
        let mut beyond = row.iter().skip(wanted);
        is_row(row, wanted) && beyond.all(|cell| cell.text.is_empty())
    }

    fn is_row(&self, line: &str) -> bool {
        is_content(line) && is_row(&cells(line, self.separator), self.cells.len())
    }

    /// A table without rows yet.
    pub(super) fn table(&self) -> Table {
        Table {
            line: self.at + 1,
            headings: self.cells.iter().map(|cell| cell.text.clone()).collect(),
            units: self.units.clone(),
            rows: Vec::new(),
            headed: Vec::new(),
            decimal_comma: self.separator != Separator::Char(b','),
            around: Around::default(),
            tally: Tally::default(),
        }
    }
}

/// Where a table without headings begins.
pub(super) fn bare(lines: &[&str]) -> Option<Heads> {
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

/// The beginning of a line, as messages show it.
pub(super) fn quoted(line: &str) -> String {
    let begin: String = line.trim().chars().take(40).collect();
    format!("\"{begin}\"")
}

pub(super) fn is_comment(line: &str) -> bool {
    line.starts_with('#')
}

/// A line without the sign of a comment before it.
pub(super) fn uncommented(line: &str) -> &str {
    line.strip_prefix(['#', '%', '!']).unwrap_or(line)
}

/// Whether a line is one of signs between heads and rows.
fn is_rule(line: &str) -> bool {
    line.trim().chars().all(|c| "-=_+*|~ ".contains(c))
}

fn is_content(line: &str) -> bool {
    !line.trim().is_empty() && !is_comment(line) && !is_rule(line)
}
