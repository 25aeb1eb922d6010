//! Numbers that stand for missing values in a column.

#![allow(clippy::indexing_slicing, reason = "by numbers of its own rows")]

use super::clean::agree;
use super::heading::Quantity;
use super::table::{Column, si};
use crate::notes::reading::Reading;
use crate::wind::sounding::Tally;

/// Numbers that stand for a missing value.
const FILLERS: [f64; 9] = [
    9_999.0, -9_999.0, 99_999.0, -99_999.0, 999_999.0, -999_999.0, -8_888.0, -999.0, 999.0,
];

/// Numbers that may stand for one, and may be true.
const DOUBTFUL: [f64; 11] = [
    -99.0, 99.0, -99.9, 99.9, -999.9, 999.9, -9_999.9, 9_999.9, -32_767.0, 32_767.0, -32_768.0,
];

/// Two columns that hold the same such number in one row.
const PAIRS: [[Quantity; 2]; 3] = [
    [Quantity::East, Quantity::North],
    [Quantity::Speed, Quantity::From],
    [Quantity::Temperature, Quantity::DewPoint],
];

/// Whether a number stands for a missing value in some files.
pub(super) fn may_be_filler(value: f64) -> bool {
    FILLERS.contains(&value) || DOUBTFUL.contains(&value)
}

/// Takes fillers out of columns; `pressures_pa` are those of the rows.
pub(super) fn drop_fillers(
    columns: &mut [Column],
    pressures_pa: Option<&[Option<f64>]>,
    tally: &mut Tally,
) {
    for column in columns.iter_mut() {
        drop_plain(column, pressures_pa, tally);
    }
    for filler in DOUBTFUL {
        for pair in PAIRS {
            drop_pairs(columns, pair, filler, tally);
        }
        for column in columns.iter_mut() {
            drop_repeated(column, filler, tally);
        }
    }
}

/// Takes fillers out of a column. 9,999 m is a height like any other in a fine record: it is a
/// filler when it comes up again, or when the pressure beside it says so.
fn drop_plain(column: &mut Column, pressures: Option<&[Option<f64>]>, tally: &mut Tally) {
    for filler in FILLERS {
        let is_filler = |v: &Option<f64>| *v == Some(filler);
        let is_height = column.quantity.is_height();
        let is_large =
            is_height || matches!(column.quantity, Quantity::Pressure | Quantity::Elapsed);
        // No temperature, wind or humidity is 999, but a height, a pressure or a time may be.
        let can_be_true = filler > 0.0 && is_large;
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

/// Takes a doubtful number out of the rows in which both of two columns hold it, where the first of them is
/// far from what stands before and behind.
fn drop_pairs(columns: &mut [Column], pair: [Quantity; 2], filler: f64, tally: &mut Tally) {
    let find = |quantity| columns.iter().position(|c| c.quantity == quantity);
    let [Some(one), Some(other)] = pair.map(find) else {
        return;
    };
    let is_both = |row: usize| {
        let at = |column: usize| columns[column].values.get(row).copied().flatten();
        at(one) == Some(filler) && at(other) == Some(filler)
    };
    // Of a wind by its speed: any direction may stand beside any other.
    let Some(far) = far(pair[0], true) else {
        return;
    };
    let rows: Vec<usize> = (0..columns[one].values.len())
        .filter(|row| is_both(*row))
        .collect();
    if rows.is_empty() || !is_far(&columns[one], filler, far) {
        return;
    }
    for column in [one, other] {
        take(&mut columns[column], filler, &rows, tally);
    }
}

/// Takes a doubtful number out of a column in which it stands more than once, each time far from what stands
/// before and behind.
fn drop_repeated(column: &mut Column, filler: f64, tally: &mut Tally) {
    // A speed of 99 kt and a wind of 99.9 are found in a jet.
    let may_be_true = (0.0..100.0).contains(&filler);
    let Some(far) = far(column.quantity, false).filter(|_| !may_be_true) else {
        return;
    };
    let rows: Vec<usize> = (0..column.values.len())
        .filter(|row| column.values[*row] == Some(filler))
        .collect();
    if rows.len() > 1 && is_far(column, filler, far) {
        take(column, filler, &rows, tally);
    }
}

/// How far two values of a quantity, one above the other, do not lie apart, in SI; less for one of which another
/// column says the same. `None` for those out of whose range all such numbers lie, and those that nobody needs.
fn far(quantity: Quantity, is_pair: bool) -> Option<f64> {
    Some(match (quantity, is_pair) {
        (Quantity::Altitude | Quantity::Geopotential | Quantity::Height, _) => 2_000.0,
        (Quantity::Temperature | Quantity::DewPoint, _) => 15.0,
        (Quantity::East | Quantity::North, false) => 40.0,
        (Quantity::East | Quantity::North | Quantity::Speed, true) => 15.0,
        _ => return None,
    })
}

/// Whether wherever a number stands in a column the nearest others before and behind are far from it.
fn is_far(column: &Column, filler: f64, far: f64) -> bool {
    let Some(value) = si(filler, column) else {
        return false;
    };
    let known: Vec<f64> = column.values.iter().copied().flatten().collect();
    let is_near = |other: f64| {
        other != filler && si(other, column).is_some_and(|other| (other - value).abs() < far)
    };
    let near = |pair: &[f64]| pair.contains(&filler) && pair.iter().any(|other| is_near(*other));
    !known.windows(2).any(near)
}

fn take(column: &mut Column, filler: f64, rows: &[usize], tally: &mut Tally) {
    for &row in rows {
        column.values[row] = None;
    }
    tally.fillers += rows.len();
    tally.assumed.push(Reading::MissingAs {
        column: column.heading.clone(),
        number: filler,
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The values that are left of columns, and whether something is assumed.
    fn left(columns: &[(Quantity, &'static str, &[f64])]) -> (Vec<Vec<f64>>, usize) {
        let column = |(quantity, unit, values): &(Quantity, &'static str, &[f64])| Column {
            heading: "x".to_owned(),
            quantity: *quantity,
            unit,
            values: values.iter().map(|v| Some(*v)).collect(),
        };
        let mut columns: Vec<Column> = columns.iter().map(column).collect();
        let mut tally = Tally::default();
        drop_fillers(&mut columns, None, &mut tally);
        let values = columns
            .iter()
            .map(|c| c.values.iter().copied().flatten().collect());
        assert_eq!(tally.fillers > 0, !tally.assumed.is_empty());
        (values.collect(), tally.fillers)
    }

    fn count(quantity: Quantity, unit: &'static str, values: &[f64]) -> usize {
        left(&[(quantity, unit, values)]).1
    }

    #[test]
    fn doubtful_numbers_that_repeat_far_from_their_neighbours_are_missing() {
        use Quantity::{East, Height, Temperature};
        assert_eq!(count(Temperature, "C", &[-99.0, -99.0, -4.5, -7.0]), 2);
        assert_eq!(count(Temperature, "C", &[-50.0, -99.0, -56.5, -99.0]), 2);
        assert_eq!(count(East, "m/s", &[10.0, -99.9, -99.9, 20.0]), 2);
        assert_eq!(
            count(Height, "m", &[1_000.0, 32_767.0, 32_767.0, 2_500.0]),
            2
        );
        assert_eq!(count(Height, "m", &[1_000.0, 9_999.9, 9_999.9, 3_000.0]), 2);
        // What may be true: once, or among its like.
        assert_eq!(count(Temperature, "C", &[-50.0, -99.0, -56.5]), 0);
        assert_eq!(count(Temperature, "C", &[-90.0, -99.0, -99.0, -95.0]), 0);
        assert_eq!(
            count(Height, "m", &[9_990.0, 9_999.9, 9_999.9, 10_010.0]),
            0
        );
        assert_eq!(count(Height, "m", &[32_000.0, 32_767.0, 33_000.0]), 0);
        assert_eq!(count(Quantity::Speed, "kt", &[40.0, 99.0, 99.0, 40.0]), 0);
        assert_eq!(count(Quantity::Pressure, "hPa", &[999.9, 999.9, 850.0]), 0);
        assert_eq!(count(Quantity::Humidity, "%", &[20.0, 99.0, 99.0, 10.0]), 0);
    }

    #[test]
    fn two_columns_with_the_same_doubtful_number_lack_it() {
        use Quantity::{East, From, North, Speed};
        let wind =
            |speeds: &[f64], from: &[f64]| left(&[(Speed, "m/s", speeds), (From, "deg", from)]);
        let (values, fillers) = wind(&[19.5, 99.0, 99.0, 21.0], &[250.0, 99.0, 99.0, 250.0]);
        assert_eq!(
            (values, fillers),
            (vec![vec![19.5, 21.0], vec![250.0; 2]], 4)
        );
        let components = [
            (East, "m/s", &[9.0, -99.0, 8.0][..]),
            (North, "m/s", &[1.0, -99.0, 2.0]),
        ];
        assert_eq!(left(&components).1, 2);
        // A jet from the east, and a speed beside another direction.
        assert_eq!(wind(&[90.0, 99.0, 92.0], &[95.0, 99.0, 97.0]).1, 0);
        assert_eq!(wind(&[20.0, 99.0, 21.0], &[95.0, 250.0, 97.0]).1, 0);
    }
}
