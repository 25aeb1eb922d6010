//! Whether a table goes on where something stands between its rows, as its headings once more at the top of a printed
//! page.

use super::ascents::GAP_S;
use super::columns::Columns;
use super::heading::{Heading, Quantity};
use super::table::{Table, moment};
use crate::clock::seconds_between;

/// What the order of a table's rows is known by: the places of columns.
pub(super) struct Order<'a> {
    table: &'a Table,
    time: Option<usize>,
    date: Option<usize>,
    height: Option<usize>,
    pressure: Option<usize>,
}

impl<'a> Order<'a> {
    pub(super) fn of(table: &'a Table, columns: &Columns) -> Order<'a> {
        let quantity = |place: usize| match table.heading(place, columns, true) {
            Heading::Known(quantity, _) => Some(quantity),
            _ => None,
        };
        let quantities: Vec<Option<Quantity>> = (0..table.headings.len()).map(quantity).collect();
        let place = |is: fn(Quantity) -> bool| quantities.iter().position(|q| q.is_some_and(is));
        Order {
            table,
            time: place(|q| q == Quantity::Time),
            date: place(|q| q == Quantity::Date),
            height: place(Quantity::is_height),
            pressure: place(|q| q == Quantity::Pressure),
        }
    }

    /// Whether a row goes on where the last one ends: higher, or lower in a table from the top down, and not hours later.
    pub(super) fn goes_on(&self, next: &[String]) -> bool {
        let rows = &self.table.rows;
        let (Some((_, first)), Some((_, last))) = (rows.first(), rows.last()) else {
            return false;
        };
        match self.rises(last, first) {
            true => self.rises(next, last),
            false => self.rises(last, next),
        }
    }

    /// Whether the second of two rows is the higher one, and not hours apart from the first.
    pub(super) fn rises(&self, first: &[String], second: &[String]) -> bool {
        let number = |row: &[String], place| self.table.uncounted(cell(row, place)?);
        let (lower, higher) = match self.height {
            Some(_) => (number(first, self.height), number(second, self.height)),
            None => (number(second, self.pressure), number(first, self.pressure)),
        };
        let at = |row: &[String]| moment(cell(row, self.time), cell(row, self.date));
        let times = at(first).zip(at(second));
        lower.zip(higher).is_some_and(|(less, more)| more > less)
            && times.is_none_or(|(a, b)| seconds_between(a.0, b.0).abs() < GAP_S)
    }
}

fn cell(row: &[String], place: Option<usize>) -> Option<&str> {
    Some(row.get(place?)?.trim())
}
