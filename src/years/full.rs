//! Which years of a record count as years.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;

/// The years with at least four fifths of the days of the year that has most: the day of a clock's new year with
/// which a record ends tells nothing of that year.
pub fn full_years(dates: impl Iterator<Item = Date>) -> BTreeSet<i16> {
    let mut days: BTreeMap<i16, usize> = BTreeMap::new();
    // A day counts once, however many releases it has.
    for date in dates.collect::<BTreeSet<Date>>() {
        *days.entry(date.year()).or_default() += 1;
    }
    let most = days.values().copied().max().unwrap_or(0);
    let full = days.into_iter().filter(|(_, count)| 5 * count >= 4 * most);
    full.map(|(year, _)| year).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::ToSpan;

    #[test]
    fn a_day_of_a_new_year_is_no_year() {
        let from = |year: i16, days: usize| Date::constant(year, 1, 1).series(1.day()).take(days);
        let dates = || from(2018, 365).chain(from(2019, 300)).chain(from(2020, 1));
        assert_eq!(full_years(dates()), BTreeSet::from([2018, 2019]));
        let twice = dates().chain(from(2020, 1)).chain(from(2019, 300));
        assert_eq!(full_years(twice), BTreeSet::from([2018, 2019]));
        assert_eq!(full_years(from(2020, 1)), BTreeSet::from([2020]));
    }
}
