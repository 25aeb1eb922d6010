//! Where one ascent ends and the next begins, in rows that stand under one line of headings.

#![allow(clippy::indexing_slicing, reason = "by numbers of its own rows")]

use std::collections::{BTreeMap, HashMap};

use jiff::Timestamp;

use super::clean::{Row, rough_height};
use crate::clock::{DAY_S, seconds_between};

/// Rows of one ascent are not so far apart in time, s.
pub(super) const GAP_S: f64 = 3.0 * 3_600.0;
/// From one row of an ascent to the next its heights do not fall so far, m.
const FALL_M: f64 = 2_000.0;
/// Heights that differ by less are those of a sonde that waits, m.
pub(super) const WAITING_M: f64 = 50.0;
/// Fewer rows are no ascent.
const FEWEST: usize = 2;

/// What tells ascents apart beside the heights of their rows.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Mark<'a> {
    /// The station; empty where the row does not say.
    pub station: &'a str,
    pub time: Option<Timestamp>,
    /// Whether the headings stand once more before the row.
    pub headed: bool,
}

/// The rows of each ascent by their numbers, in their order; at least one ascent, be it empty. Rows that are the only
/// one of their station are in none.
pub(super) fn parted(rows: &[Row], marks: &[Mark]) -> Vec<Vec<usize>> {
    let stations = by_station(marks).into_iter();
    stations
        .flat_map(|of_one| {
            at_hours(&of_one, rows, marks).unwrap_or_else(|| in_time(&of_one, rows, marks))
        })
        .collect()
}

fn by_station(marks: &[Mark]) -> Vec<Vec<usize>> {
    let mut stations: Vec<Vec<usize>> = Vec::new();
    let mut numbers: HashMap<&str, usize> = HashMap::new();
    let named = |mark: &&Mark| !mark.station.is_empty();
    let mut station = marks.iter().find(named).map_or("", |mark| mark.station);
    for (row, mark) in marks.iter().enumerate() {
        // What is not said again is as before.
        if named(&mark) {
            station = mark.station;
        }
        let number = *numbers.entry(station).or_insert(stations.len());
        if number == stations.len() {
            stations.push(Vec::new());
        }
        stations[number].push(row);
    }
    let alone = stations.iter().filter(|rows| rows.len() < FEWEST).count();
    // A column that numbers the rows names no stations.
    if stations.len() < 2 || 2 * alone >= marks.len() {
        return vec![(0..marks.len()).collect()];
    }
    stations.retain(|rows| rows.len() >= FEWEST);
    stations
}

/// The rows of each time, where all rows of a profile have one time, in whatever order they stand: the profiles
/// reach through the same heights, as the minutes of an ascent do not.
fn at_hours(all: &[usize], rows: &[Row], marks: &[Mark]) -> Option<Vec<Vec<usize>>> {
    let mut profiles: BTreeMap<Timestamp, Vec<usize>> = BTreeMap::new();
    for &row in all {
        profiles.entry(marks[row].time?).or_default().push(row);
    }
    let range = |of_one: &Vec<usize>| {
        let heights = || of_one.iter().filter_map(|row| rough_height(&rows[*row]));
        [
            heights().fold(f64::INFINITY, f64::min),
            heights().fold(f64::NEG_INFINITY, f64::max),
        ]
    };
    let ranges: Vec<[f64; 2]> = profiles.values().map(range).collect();
    let overlap = |pair: &[[f64; 2]]| {
        let [a, b] = [pair[0], pair[1]];
        let both_m = a[1].min(b[1]) - a[0].max(b[0]);
        both_m > 0.5 * (a[1] - a[0]).min(b[1] - b[0])
    };
    let is_so = ranges.len() > 1
        && profiles.values().all(|of_one| of_one.len() >= FEWEST)
        && ranges.windows(2).all(overlap);
    is_so.then(|| profiles.into_values().collect())
}

fn in_time(all: &[usize], rows: &[Row], marks: &[Mark]) -> Vec<Vec<usize>> {
    // In tables that run down heights are counted downwards, so that those of an ascent always rise.
    let heights: Vec<Option<f64>> = all.iter().map(|row| rough_height(&rows[*row])).collect();
    let known: Vec<f64> = heights.iter().copied().flatten().collect();
    let rising = known.windows(2).filter(|w| w[1] > w[0]).count();
    let falling = known.windows(2).filter(|w| w[1] < w[0]).count();
    let sign = if falling > rising { -1.0 } else { 1.0 };
    let heights: Vec<Option<f64>> = heights.iter().map(|h| h.map(|h| sign * h)).collect();
    let mut ascents = vec![Vec::new()];
    let mut now = Now::default();
    for (i, &row) in all.iter().enumerate() {
        let fall = now.falls(&heights, i);
        let jump = now.jump(all, marks, i);
        let begins = match jump {
            Some(Jump::Hours) => true,
            // Where its date stays the same over midnight, an ascent seems to jump by a day.
            Some(Jump::Day) => fall,
            _ => fall && (marks[row].headed || now.is_outside(marks[row].time)),
        };
        if begins {
            ascents.push(Vec::new());
            now = Now::default();
        }
        if let Some(ascent) = ascents.last_mut() {
            ascent.push(row);
        }
        // A time of a row alone is none to go by.
        let time = marks[row].time.filter(|_| jump != Some(Jump::Alone));
        now.take(heights[i], time);
    }
    ascents
}

/// How the time of a row is not that of the row before.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Jump {
    Hours,
    /// By about a day.
    Day,
    /// The next row's is as before.
    Alone,
}

/// What is known of the ascent up to a row.
#[derive(Debug, Default)]
struct Now {
    /// The lowest height, the highest and the last.
    heights: Option<[f64; 3]>,
    /// The earliest time, the latest and the last.
    times: Option<[Timestamp; 3]>,
}

impl Now {
    fn take(&mut self, height: Option<f64>, time: Option<Timestamp>) {
        if let Some(h) = height {
            let [low, high, _] = self.heights.unwrap_or([h; 3]);
            self.heights = Some([low.min(h), high.max(h), h]);
        }
        if let Some(t) = time {
            let [first, last, _] = self.times.unwrap_or([t; 3]);
            self.times = Some([first.min(t), last.max(t), t]);
        }
    }

    /// Whether the heights fall far at a row and rise again from there, rather than fall on or jump back.
    fn falls(&self, heights: &[Option<f64>], at: usize) -> bool {
        let (Some([low, high, last]), Some(h)) = (self.heights, heights[at]) else {
            return false;
        };
        let fall_m = last - h;
        if fall_m < FALL_M || fall_m < 0.5 * (high - low) {
            return false;
        }
        let mut ahead = heights[at + 1..].iter().copied().flatten();
        let next = ahead.find(|next| (next - h).abs() > WAITING_M);
        next.is_some_and(|next| next > h && next - h < 0.5 * fall_m)
    }

    fn jump(&self, all: &[usize], marks: &[Mark], at: usize) -> Option<Jump> {
        let time = marks[all[at]].time?;
        let away_s = seconds_between(self.times?[2], time).abs();
        if away_s < GAP_S {
            return None;
        }
        let next = all.get(at + 1).and_then(|row| marks[*row].time);
        let lasts = next.is_some_and(|next| seconds_between(time, next).abs() < GAP_S);
        Some(match (lasts, (away_s - DAY_S).abs() < GAP_S) {
            (false, _) => Jump::Alone,
            (true, true) => Jump::Day,
            (true, false) => Jump::Hours,
        })
    }

    /// Whether a time is none of those of the ascent: some list its levels in several blocks.
    fn is_outside(&self, time: Option<Timestamp>) -> bool {
        let times = self.times.zip(time);
        times.is_some_and(|([first, last, _], time)| !(first..=last).contains(&time))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The lengths of the ascents in rows of a height, m, and a time, min.
    fn lengths(rows: &[(f64, Option<i64>)]) -> Vec<usize> {
        let heights = rows.iter().map(|(h, _)| Row {
            height_m: Some(*h),
            ..Row::default()
        });
        let marks = rows.iter().map(|(_, minute)| Mark {
            time: minute.map(|m| Timestamp::from_second(60 * m).unwrap()),
            ..Mark::default()
        });
        let (heights, marks): (Vec<Row>, Vec<Mark>) = (heights.collect(), marks.collect());
        parted(&heights, &marks).iter().map(Vec::len).collect()
    }

    /// So many rows from 0 m on, 1 km and 3 min apart.
    fn ascent(rows: u32, from_min: i64) -> Vec<(f64, Option<i64>)> {
        let row = |i| (1_000.0 * f64::from(i), Some(from_min + 3 * i64::from(i)));
        (0..rows).map(row).collect()
    }

    #[test]
    fn ascents_end_where_time_or_height_begin_anew() {
        let hours = [ascent(20, 0), ascent(15, 720)].concat();
        assert_eq!(lengths(&hours), [20, 15]);
        let soon = [ascent(20, 0), ascent(15, 70)].concat();
        assert_eq!(lengths(&soon), [20, 15]);
        let a_day = [ascent(20, 0), ascent(15, 1_440)].concat();
        assert_eq!(lengths(&a_day), [20, 15]);
        let down: Vec<_> = hours.into_iter().rev().collect();
        assert_eq!(lengths(&down), [15, 20]);
        assert_eq!(lengths(&[]), [0]);
    }

    #[test]
    fn one_ascent_stays_one() {
        let mut one = ascent(20, 1_400);
        // A row of a wrong time, some of a wrong height.
        one[5].1 = Some(0);
        one[9].0 = 0.0;
        one[10].0 = 0.0;
        assert_eq!(lengths(&one), [20]);
        // A date that stays the same over midnight.
        let clock = |row: &(f64, Option<i64>)| (row.0, row.1.map(|m| m % 1_440));
        let night: Vec<_> = ascent(20, 1_400).iter().map(clock).collect();
        assert_eq!(lengths(&night), [20]);
        // A descent after it, in long steps.
        let down = (0..6).map(|i| (16_000.0 - 3_000.0 * f64::from(i), Some(61 + i64::from(i))));
        let both: Vec<_> = ascent(20, 0).into_iter().chain(down).collect();
        assert_eq!(lengths(&both), [26]);
        // Its levels in two blocks, of one time and of none.
        for time in [Some(0), None] {
            let block = |rows| ascent(rows, 0).into_iter().map(move |row| (row.0, time));
            let blocks: Vec<_> = block(20).chain(block(15)).collect();
            assert_eq!(lengths(&blocks), [35]);
        }
    }

    #[test]
    fn profiles_of_hours_are_told_apart_in_any_order() {
        let at = |i: u32, hour: i64| (100.0 * f64::from(i), Some(60 * hour));
        let by_hour: Vec<_> = (0..4)
            .flat_map(|k| (0..20).map(move |i| at(i, k)))
            .collect();
        assert_eq!(lengths(&by_hour), [20; 4]);
        let by_level: Vec<_> = (0..20)
            .flat_map(|i| (0..4).map(move |k| at(i, k)))
            .collect();
        assert_eq!(lengths(&by_level), [20; 4]);
        // Many rows of each minute of one ascent.
        let minutes: Vec<_> = (0..200)
            .map(|i| (5.0 * f64::from(i), Some(i64::from(i / 60))))
            .collect();
        assert_eq!(lengths(&minutes), [200]);
    }

    #[test]
    fn stations_are_told_apart_unless_they_number_rows() {
        let parts = |stations: &[&'static str]| {
            let mark = |station: &&'static str| Mark {
                station,
                ..Mark::default()
            };
            let marks: Vec<Mark> = stations.iter().map(mark).collect();
            parted(&vec![Row::default(); stations.len()], &marks)
        };
        assert_eq!(parts(&["a", "b", "a", "b"]), [[0, 2], [1, 3]]);
        assert_eq!(parts(&["a", "", "b", ""]), [[0, 1], [2, 3]]);
        assert_eq!(parts(&["1", "2", "3"]), [[0, 1, 2]]);
        // A row of a sonde far away.
        assert_eq!(parts(&["a", "b", "a", "c", "b"]), [[0, 2], [1, 4]]);
    }
}
