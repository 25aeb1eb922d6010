//! Days within the limits in a week, and how long one waits for one.

use std::collections::BTreeMap;

use jiff::ToSpan;
use jiff::civil::{Date, Weekday};

use super::answer::{Bounds, DaysToWait, ENOUGH_YEARS, Weeks};
use super::full::full_years;
use crate::numeric::quantile;

/// What is known of a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DayState {
    /// A release is within the limits.
    Usable,
    /// None is, but of one nothing is known.
    Unknown,
    /// All are beyond a limit.
    Beyond,
}

/// A day of the record.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OfDay {
    /// Which.
    pub date: Date,
    /// What is known of it.
    pub state: DayState,
}

/// The share of years in which a wait is no longer.
const OF_YEARS: f64 = 0.9;

/// Whole weeks from Monday, those whose Thursday lies in the month; `None` without one.
pub fn weeks(days: &[OfDay], month: Option<i8>) -> Option<Weeks> {
    let mut of_week: BTreeMap<Date, Vec<DayState>> = BTreeMap::new();
    for day in days {
        let back = day.date.weekday().since(Weekday::Monday);
        let Ok(monday) = day.date.checked_sub(i32::from(back).days()) else {
            continue;
        };
        of_week.entry(monday).or_default().push(day.state);
    }
    let thursday = |monday: &Date| monday.checked_add(3.days()).map(|date| date.month()).ok();
    let whole: Vec<&Vec<DayState>> = of_week
        .iter()
        .filter(|(monday, states)| {
            // Weeks at the ends of the record and around its gaps would count too few days.
            states.len() == 7 && month.is_none_or(|month| thursday(monday) == Some(month))
        })
        .map(|(_, states)| states)
        .collect();
    let count = |states: &[DayState], state: DayState| {
        states.iter().filter(|s| **s == state).count() as f64
    };
    let mut sure: Vec<f64> = whole.iter().map(|s| count(s, DayState::Usable)).collect();
    let maybe: f64 = whole.iter().map(|s| count(s, DayState::Unknown)).sum();
    sure.sort_by(f64::total_cmp);
    let mean = sure.iter().sum::<f64>() / sure.len().max(1) as f64;
    (!whole.is_empty()).then(|| Weeks {
        weeks: whole.len(),
        mean: Bounds {
            at_least: mean,
            at_most: mean + maybe / whole.len() as f64,
        },
        spread: [0.1, 0.5, 0.9].map(|p| quantile(&sure, p).unwrap_or(0.0)),
    })
}

/// The longest wait that begins in a month, or in a year, by year: no longer in 9 of 10 years; of fewer than ten
/// full years the longest of all, be it of a year that is not full.
pub fn wait(days: &[OfDay], month: Option<i8>) -> Option<DaysToWait> {
    let is_here = |day: &OfDay| month.is_none_or(|month| day.date.month() == month);
    let here = days.iter().filter(|day| is_here(day));
    let full = full_years(here.map(|day| day.date));
    let mut all = by_year(days, is_here);
    let few = full.len() < ENOUGH_YEARS;
    let of_full = all.iter().filter(|(year, _)| full.contains(year));
    let longest = of_full.fold([0; 2], |known, (_, of)| {
        [0, 1].map(|i| known[i].max(of.days[i]))
    });
    // What is left of a year tells nothing but that one may wait longer.
    let is_longer = |of: &OfYear| of.days[0] > longest[0] || of.days[1] > longest[1];
    all.retain(|year, of| full.contains(year) || (few && is_longer(of)));
    let of_years = |which: usize| {
        let mut all: Vec<usize> = all.values().map(|of| of.days[which]).collect();
        all.sort_unstable();
        // Rounded up, so that it holds in so many years at least.
        let enough = match few {
            true => all.len(),
            false => (OF_YEARS * all.len() as f64).ceil() as usize,
        };
        all.get(enough.saturating_sub(1)).copied()
    };
    Some(DaysToWait {
        years: full.len(),
        longest_at_least: of_years(0)?,
        longest_at_most: of_years(1)?,
        cut_short: all.values().any(|of| of.cut_short),
    })
}

/// The longest wait that begins in a year.
#[derive(Default)]
struct OfYear {
    /// If what is unknown is within the limits, and if it is beyond.
    days: [usize; 2],
    /// Whether one ran into the end of the record or a gap in it.
    cut_short: bool,
}

fn by_year(days: &[OfDay], is_here: impl Fn(&OfDay) -> bool) -> BTreeMap<i16, OfYear> {
    let sure = waits(days, |state| state == DayState::Usable);
    let maybe = waits(days, |state| state != DayState::Beyond);
    let mut longest: BTreeMap<i16, OfYear> = BTreeMap::new();
    for ((day, most), least) in days.iter().zip(&sure).zip(&maybe) {
        if !is_here(day) {
            continue;
        }
        let of_year = longest.entry(day.date.year()).or_default();
        of_year.days[0] = of_year.days[0].max(least.days);
        of_year.days[1] = of_year.days[1].max(most.days);
        of_year.cut_short |= most.cut_short;
    }
    longest
}

/// From a day to the next that will do.
#[derive(Clone, Copy)]
struct Waiting {
    days: usize,
    /// Whether none was found before a gap in the record or its end.
    cut_short: bool,
}

fn waits(days: &[OfDay], will_do: impl Fn(DayState) -> bool) -> Vec<Waiting> {
    let mut waits: Vec<Waiting> = Vec::with_capacity(days.len());
    let mut next: Option<(Date, Waiting)> = None;
    // Backwards: each day goes by the wait of the next.
    for day in days.iter().rev() {
        // A gap in the record ends a wait as its end does: what came in it is not known.
        let follows = next.filter(|(date, _)| day.date.tomorrow().ok() == Some(*date));
        let waiting = match (will_do(day.state), follows) {
            (true, _) => Waiting {
                days: 0,
                cut_short: false,
            },
            (false, Some((_, next))) => Waiting {
                days: next.days + 1,
                ..next
            },
            (false, None) => Waiting {
                days: 1,
                cut_short: true,
            },
        };
        next = Some((day.date, waiting));
        waits.push(waiting);
    }
    waits.reverse();
    waits
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Days from a Monday on, by letters: u usable, ? unknown, x beyond.
    fn days(letters: &str) -> Vec<OfDay> {
        let first = Date::constant(2020, 6, 1);
        let day = |(i, letter): (usize, char)| OfDay {
            date: first.checked_add((i as i32).days()).unwrap(),
            state: match letter {
                'u' => DayState::Usable,
                '?' => DayState::Unknown,
                _ => DayState::Beyond,
            },
        };
        letters.chars().enumerate().map(day).collect()
    }

    #[test]
    fn waits_are_counted_to_the_next_day_and_bounded_by_what_is_unknown() {
        let wait = wait(&days("uxx?xxu"), Some(6)).unwrap();
        assert_eq!((wait.longest_at_least, wait.longest_at_most), (2, 5));
        assert!(!wait.cut_short && wait.years == 1);
        let open = super::wait(&days("uxx"), None).unwrap();
        assert_eq!((open.longest_at_most, open.cut_short), (2, true));
    }

    #[test]
    fn weeks_are_whole() {
        let weeks = weeks(&days("uuxx?xxuuuuuuux"), None).unwrap();
        assert_eq!(weeks.weeks, 2);
        assert_eq!(
            weeks.mean,
            Bounds {
                at_least: 4.5,
                at_most: 5.0
            }
        );
        assert_eq!(weeks.spread, [2.0, 7.0, 7.0]);
        assert!(super::weeks(&days("uuu"), None).is_none());
    }

    /// The first `many` days of a June, of which the first `beyond` are beyond a limit.
    fn june(year: i16, many: usize, beyond: usize) -> Vec<OfDay> {
        let dates = Date::constant(year, 6, 1).series(1.day()).take(many);
        let day = |(i, date)| OfDay {
            date,
            state: match i < beyond {
                true => DayState::Beyond,
                false => DayState::Usable,
            },
        };
        dates.enumerate().map(day).collect()
    }

    /// Junes from 2001 on, in which one waits for a day more each year.
    fn junes(years: usize) -> Vec<OfDay> {
        let of_year = |beyond| june(2000 + beyond as i16, 30, beyond);
        (1..=years).flat_map(of_year).collect()
    }

    #[test]
    fn the_longest_wait_of_nine_years_in_ten() {
        // Ten Junes with waits of 1 to 10 days.
        assert_eq!(wait(&junes(10), Some(6)).unwrap().longest_at_most, 9);
    }

    #[test]
    fn of_few_years_the_longest_wait_counts_though_its_year_is_not_full() {
        let mut all = junes(3);
        all.extend(june(2004, 15, 12));
        let wait = wait(&all, Some(6)).unwrap();
        assert_eq!((wait.longest_at_most, wait.years), (12, 3));
    }

    #[test]
    fn a_day_of_a_tenth_year_is_no_year_of_nine_in_ten() {
        let mut all = junes(9);
        all.extend(june(2010, 1, 1));
        let wait = wait(&all, Some(6)).unwrap();
        assert_eq!((wait.longest_at_most, wait.years), (9, 9));
        assert!(!wait.cut_short);
    }
}
