//! Reduced Gaussian grids of GRIB 2: rows round the earth, each with a number of points of its own.
//!
//! The crate takes none of them. A copy of the message that says that all points lie in one row is
//! unpacked; then each row is filled up to as many points as the longest has, linear between
//! neighbours. In edition 1 so many points cannot be said to lie in one row: those are not read.
//!
//! # References
//!
//! WMO-No. 306, Manual on Codes, volume I.2: section 3, octets 11 and 12, and template 3.40 with the
//! list behind it; code table 3.11.

use std::borrow::Cow;

use grib_reader::{GridDefinition, Message};

use super::MOST_POINTS;
use super::grib_mended::sections;

/// Places within section 3, from 0.
const POINTS: usize = 6;
const WIDTH: usize = 10;
const MEANING: usize = 11;
const TEMPLATE: usize = 12;
const COLUMNS: usize = 30;
const ROWS: usize = 34;
const SCANNING: usize = 71;
/// Where the list of points in each row begins.
const LIST: usize = 72;
/// Points run from west to east along rows.
const OTHER_WAYS: u8 = 0xb0;
/// A circle in the unit of the template, microdegrees.
const CIRCLE: i32 = 360_000_000;

fn number(section: &[u8], at: usize) -> Option<u32> {
    let bytes = section.get(at..at + 4)?;
    Some(u32::from_be_bytes(bytes.try_into().ok()?))
}

/// How many points each row has, by a list of numbers of so many bytes.
fn list(section: &[u8], width: u8) -> Option<Vec<usize>> {
    let (listed, width) = (section.get(LIST..)?, usize::from(width));
    let whole = matches!(width, 1 | 2 | 4) && listed.len().is_multiple_of(width);
    let number = |bytes: &[u8]| bytes.iter().fold(0, |n, b| n << 8 | usize::from(*b));
    whole.then(|| listed.chunks_exact(width).map(number).collect())
}

/// The rows of a reduced Gaussian grid that is read: as many points as there are, round the earth.
fn rows(section: &[u8], width: u8, count: u32) -> Option<Vec<usize>> {
    let gaussian = section.get(TEMPLATE..TEMPLATE + 2)? == [0, 40];
    let along = section.get(SCANNING)? & OTHER_WAYS == 0;
    let rows = list(section, width).filter(|_| gaussian && along)?;
    let longest = *rows.iter().max()?;
    let all = rows
        .iter()
        .try_fold(0_usize, |sum, n| sum.checked_add(*n))?;
    // A row without points could not be filled up.
    let good = rows.iter().all(|n| *n > 0) && rows.len().checked_mul(longest)? <= MOST_POINTS;
    let points = usize::try_from(number(section, POINTS)?).ok()?;
    let (first, last) = (number(section, 50)?, number(section, 59)?);
    let circle = CIRCLE.cast_unsigned();
    let gap = u64::from(circle) / longest.max(1) as u64;
    // Rows that go round are filled up across their ends; of a part of them the ends are not told.
    // A thousandth of a degree is for rounding.
    let round = first == 0 && u64::from(last) + gap + 1_000 >= u64::from(circle);
    let told = usize::try_from(count).ok()? == rows.len();
    (good && told && round && all == points).then_some(rows)
}

/// The message with each reduced Gaussian grid said to be one row; that which had to be given up, the
/// width of the numbers in the list, stands where their meaning did.
pub(super) fn in_one_row(message: Cow<'_, [u8]>) -> Cow<'_, [u8]> {
    if message.get(7) != Some(&2) {
        return message;
    }
    let starts: Vec<usize> = sections(&message)
        .filter_map(|(number, start)| (number == 3).then_some(start))
        .collect();
    let mut copy = message;
    for start in starts {
        let Some(section) = of(&copy, start) else {
            continue;
        };
        let width = section.get(WIDTH).copied().unwrap_or(0);
        let meant = section.get(MEANING) == Some(&1) && number(section, COLUMNS) == Some(u32::MAX);
        let count = number(section, ROWS).unwrap_or(0);
        if meant && rows(section, width, count).is_some() {
            let points: [u8; 4] = std::array::from_fn(|i| section[POINTS + i]);
            let section = &mut copy.to_mut()[start..];
            section[COLUMNS..COLUMNS + 4].copy_from_slice(&points);
            section[ROWS..ROWS + 4].copy_from_slice(&1_u32.to_be_bytes());
            // The crate refuses grids with a list, so it is told that there is none.
            (section[WIDTH], section[MEANING]) = (0, width);
        }
    }
    copy
}

fn of(message: &[u8], start: usize) -> Option<&[u8]> {
    let length = usize::try_from(number(message, start)?).ok()?;
    message.get(start..start.checked_add(length)?)
}

/// The points of each row of such a copy; `None` of any other message.
pub(super) fn row_lengths(message: &Message<'_>) -> Option<Vec<usize>> {
    let bytes = message.raw_bytes();
    if message.edition() != 2 {
        return None;
    }
    let (_, start) = sections(bytes).find(|(number, _)| *number == 3)?;
    let section = of(bytes, start)?;
    // No sound message has this: without a list there is nothing for it to mean.
    let in_one = number(section, ROWS) == Some(1) && section.get(WIDTH) == Some(&0);
    let width = *section.get(MEANING).filter(|width| in_one && **width > 0)?;
    let count = (section.len().checked_sub(LIST)?) / usize::from(width);
    rows(section, width, u32::try_from(count).ok()?)
}

/// The full grid that the rows of such a copy are filled up to.
pub(super) fn full(message: &Message<'_>) -> Option<GridDefinition> {
    let GridDefinition::RegularGaussian(one_row) = message.grid_definition() else {
        return None;
    };
    let rows = row_lengths(message)?;
    let longest = u32::try_from(*rows.iter().max()?).ok()?;
    let mut grid = one_row.clone();
    grid.ni = longest;
    grid.nj = u32::try_from(rows.len()).ok()?;
    grid.lon_last = CIRCLE - CIRCLE / i32::try_from(longest).ok()?;
    // Missing, so that the step is taken from the ends.
    grid.di = u32::MAX;
    Some(GridDefinition::RegularGaussian(grid))
}

/// The values of all rows, each of so many columns; as they are where they are not of these rows.
pub(super) fn filled(values: Vec<f32>, rows: &[usize], columns: usize) -> Vec<f32> {
    if values.len() != rows.iter().sum::<usize>() {
        return values;
    }
    let mut full = Vec::with_capacity(rows.len().saturating_mul(columns));
    let mut rest = &values[..];
    for count in rows {
        let (row, after) = rest.split_at(*count);
        rest = after;
        full.extend((0..columns).map(|column| {
            // Whole numbers: a point of both is exactly itself.
            let (west, over) = (column * count / columns, column * count % columns);
            let share = over as f32 / columns as f32;
            match over {
                0 => row[west],
                _ => row[west] + share * (row[(west + 1) % count] - row[west]),
            }
        }));
    }
    full
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_are_filled_up_round_the_earth() {
        let values = vec![0.0, 4.0, 0.0, 1.0, 2.0, 3.0];
        let full = filled(values.clone(), &[2, 4], 4);
        assert_eq!(full, [0.0, 2.0, 4.0, 2.0, 0.0, 1.0, 2.0, 3.0]);
        let thirds = filled(vec![0.0, 3.0, 6.0], &[3], 9);
        assert_eq!(thirds, [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 4.0, 2.0]);
        assert_eq!(filled(values.clone(), &[2, 3], 4), values);
    }
}
