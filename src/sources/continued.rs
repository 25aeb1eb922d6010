//! Whether a table goes on below its headings where they stand once more, as at the top of a printed page.

use super::ascents::GAP_S;
use super::columns::Columns;
use super::heading::{Heading, Quantity};
use super::table::{Table, moment, value};
use crate::clock::seconds_between;
use crate::wind::sounding::Tally;

impl Table {
    /// Whether a row goes on where the last one ends: higher, and not hours later.
    pub(super) fn goes_on(&self, columns: &Columns, next: &[String]) -> bool {
        let Some((_, last)) = self.rows.last() else {
            return false;
        };
        let column = |is: fn(Quantity) -> bool| {
            let known = |place: &usize| match self.heading(*place, columns, true) {
                Heading::Known(quantity, _) => is(quantity),
                _ => false,
            };
            (0..self.headings.len()).find(known)
        };
        let [time, date] = [
            column(|q| q == Quantity::Time),
            column(|q| q == Quantity::Date),
        ];
        let at = |row: &[String]| moment(cell(row, time), cell(row, date));
        let between_s = at(last)
            .zip(at(next))
            .map(|(a, b)| seconds_between(a.0, b.0).abs());
        let number = |row: &[String], place| {
            let cell = cell(row, place)?;
            value(cell, self.decimal_comma, &mut Tally::default()).flatten()
        };
        let rise = match column(Quantity::is_height) {
            Some(height) => number(next, Some(height)).zip(number(last, Some(height))),
            None => {
                let pressure = column(|q| q == Quantity::Pressure);
                number(last, pressure).zip(number(next, pressure))
            }
        };
        rise.is_some_and(|(more, less)| more > less) && between_s.is_none_or(|s| s < GAP_S)
    }
}

fn cell(row: &[String], place: Option<usize>) -> Option<&str> {
    Some(row.get(place?)?.trim())
}
