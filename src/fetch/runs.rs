//! Which run of a feed, and which of its steps, cover a span of time.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::feed::{Feed, Runs};
use crate::clock::after;
use crate::error::{Error, Result};

const HOUR_S: i64 = 3600;
/// Runs that are tried, the newest first.
const MOST_TRIED: usize = 4;

/// Flights of the spread take so much longer than the planned one.
const LONGER: f64 = 1.5;

/// A span of time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Period {
    /// Its beginning.
    pub from: Timestamp,
    /// Its end.
    pub to: Timestamp,
}

impl Period {
    /// What a flight of so many seconds needs at the most: an hour before its release to six hours after
    /// it, or half as long again as it takes and an hour.
    pub fn around(release: Timestamp, aloft_s: f64) -> Period {
        let after_s = (LONGER * aloft_s + 3_600.0).max(6.0 * 3_600.0);
        Period {
            from: after(release, -3_600.0),
            to: after(release, after_s),
        }
    }
}

/// A run and the steps of it that are wanted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RunChoice {
    /// The hour of the run.
    pub run: Timestamp,
    /// Hours after it, rising.
    pub steps: Vec<u32>,
}

impl RunChoice {
    /// The run as YYYYMMDD and HH.
    pub fn date_and_hour(&self) -> (String, String) {
        let date = self.run.strftime("%Y%m%d").to_string();
        (date, self.run.strftime("%H").to_string())
    }

    /// The time a step is for.
    pub fn valid(&self, step: u32) -> Timestamp {
        let seconds = i64::from(step) * HOUR_S;
        Timestamp::from_second(self.run.as_second() + seconds).unwrap_or(self.run)
    }

    /// From the first valid time to the last.
    pub fn covers(&self) -> Period {
        let valid = |step: Option<&u32>| self.valid(step.copied().unwrap_or(0));
        Period {
            from: valid(self.steps.first()),
            to: valid(self.steps.last()),
        }
    }
}

/// The runs that cover a period and are normally complete now, the newest first.
///
/// # Errors
///
/// No run does.
pub fn candidates(feed: &Feed, period: Period, now: Timestamp) -> Result<Vec<RunChoice>> {
    check(period)?;
    let complete_s = now.as_second().saturating_sub(feed.complete_after_s);
    // A run after the beginning of the period has no winds for it.
    let newest_s = complete_s.min(period.from.as_second()).div_euclid(HOUR_S) * HOUR_S;
    let choices: Vec<RunChoice> = (0..=reach_h(feed))
        .filter_map(|back| Timestamp::from_second(newest_s - i64::from(back) * HOUR_S).ok())
        .filter_map(|run| covering(feed, run, period))
        .take(MOST_TRIED)
        .collect();
    if choices.is_empty() {
        let reach = f64::from(reach_h(feed)) / 24.0;
        return Err(Error::CannotDo {
            why: format!(
                "no run of {} that is complete at {now} covers {} to {}",
                feed.name, period.from, period.to
            ),
            remedy: format!(
                "its runs reach {reach:.1} days; expected an earlier --to, a later start, or another --feed"
            ),
        });
    }
    Ok(choices)
}

/// A run that was asked for.
///
/// # Errors
///
/// The feed has no such run, or it does not cover the period.
pub fn given(feed: &Feed, run: Timestamp, period: Period) -> Result<RunChoice> {
    check(period)?;
    covering(feed, run, period).ok_or_else(|| {
        let hours: Vec<String> = feed.runs.iter().flat_map(|r| &r.hours).map(u8::to_string).collect();
        Error::CannotDo {
            why: format!("there is no run {run} of {} that covers {} to {}", feed.name, period.from, period.to),
            remedy: format!(
                "expected a run at one of the hours {} UTC, before the period and at most {} h before its end",
                hours.join(", "),
                reach_h(feed)
            ),
        }
    })
}

fn check(period: Period) -> Result<()> {
    if period.from <= period.to {
        return Ok(());
    }
    Err(Error::CannotDo {
        why: format!(
            "the time to fetch from, {}, is after {}, the one to fetch to",
            period.from, period.to
        ),
        remedy: "expected --from before --to".into(),
    })
}

/// The last step of the longest run, hours.
fn reach_h(feed: &Feed) -> u32 {
    feed.runs
        .iter()
        .filter_map(|r| r.steps.last())
        .copied()
        .max()
        .unwrap_or(0)
}

/// The run with the steps from the one at or before the period to the one at or after it.
fn covering(feed: &Feed, run: Timestamp, period: Period) -> Option<RunChoice> {
    // Feeds name their runs by the hour alone.
    if run.as_second() % HOUR_S != 0 {
        return None;
    }
    let hour = run.to_zoned_datetime(TimeZone::UTC).hour();
    let has_hour = |runs: &&Runs| runs.hours.iter().any(|h| i8::try_from(*h) == Ok(hour));
    let steps = &feed.runs.iter().find(has_hour)?.steps;
    let after_run = |time: Timestamp| time.as_second() - run.as_second();
    let seconds = |step: &u32| i64::from(*step) * HOUR_S;
    let first = steps
        .iter()
        .rposition(|s| seconds(s) <= after_run(period.from))?;
    let last = steps
        .iter()
        .position(|s| seconds(s) >= after_run(period.to))?;
    Some(RunChoice {
        run,
        steps: steps.get(first..=last)?.to_vec(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fetch::feed::Feeds;

    fn time(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    #[test]
    fn a_long_flight_asks_for_more_hours() {
        let release = time("2026-06-01T12:00:00Z");
        let usual = Period::around(release, 2.0 * 3_600.0);
        assert_eq!(usual.from, time("2026-06-01T11:00:00Z"));
        assert_eq!(usual.to, time("2026-06-01T18:00:00Z"));
        let long = Period::around(release, 8.0 * 3_600.0);
        assert_eq!(long.to, time("2026-06-02T01:00:00Z"));
    }

    fn period(from: &str, to: &str) -> Period {
        Period {
            from: time(from),
            to: time(to),
        }
    }

    fn chosen(feed: &str, from: &str, to: &str, now: &str) -> Vec<(String, Vec<u32>)> {
        let feeds = Feeds::built_in().unwrap();
        let choices = candidates(feeds.get(feed).unwrap(), period(from, to), time(now)).unwrap();
        choices
            .into_iter()
            .map(|c| (c.run.to_string(), c.steps))
            .collect()
    }

    #[test]
    fn the_newest_complete_run_comes_first() {
        let now = "2026-11-25T16:59:00Z";
        let all = chosen("gfs", "2026-11-26T13:00:00Z", "2026-11-26T20:30:00Z", now);
        assert_eq!(all.len(), 4);
        assert_eq!(all[0], ("2026-11-25T06:00:00Z".into(), (31..=39).collect()));
        assert_eq!(all[1].0, "2026-11-25T00:00:00Z");
        let later = chosen(
            "gfs",
            "2026-11-26T13:00:00Z",
            "2026-11-26T20:30:00Z",
            "2026-11-25T17:00:00Z",
        );
        assert_eq!(later[0].0, "2026-11-25T12:00:00Z");
    }

    #[test]
    fn steps_reach_beyond_both_ends() {
        let far = chosen(
            "gfs",
            "2026-11-30T13:00:00Z",
            "2026-11-30T14:00:00Z",
            "2026-11-25T05:00:00Z",
        );
        assert_eq!(far[0].1, [132, 135]);
        let one = chosen(
            "gfs",
            "2020-08-15T06:00:00Z",
            "2020-08-15T06:00:00Z",
            "2026-11-25T05:00:00Z",
        );
        assert_eq!(one[0], ("2020-08-15T06:00:00Z".into(), vec![0]));
    }

    #[test]
    fn short_runs_are_passed_over() {
        let all = chosen(
            "hrrr",
            "2026-11-26T13:00:00Z",
            "2026-11-26T14:00:00Z",
            "2026-11-25T17:00:00Z",
        );
        assert_eq!(all[0].0, "2026-11-25T12:00:00Z");
        let soon = chosen(
            "hrrr",
            "2026-11-25T20:00:00Z",
            "2026-11-26T02:00:00Z",
            "2026-11-25T17:00:00Z",
        );
        assert_eq!(soon[0], ("2026-11-25T15:00:00Z".into(), (5..=11).collect()));
    }

    #[test]
    fn what_cannot_be_covered_is_refused() {
        let feeds = Feeds::built_in().unwrap();
        let gfs = feeds.get("gfs").unwrap();
        let far = period("2026-12-26T00:00:00Z", "2026-12-26T06:00:00Z");
        let now = time("2026-11-25T16:00:00Z");
        assert!(
            candidates(gfs, far, now)
                .unwrap_err()
                .to_string()
                .contains("16.0 days")
        );
        let backwards = period("2026-11-26T06:00:00Z", "2026-11-26T00:00:00Z");
        assert!(candidates(gfs, backwards, now).is_err());
        let soon = period("2026-11-26T00:00:00Z", "2026-11-26T06:00:00Z");
        for wrong in [
            "2026-11-25T13:00:00Z",
            "2026-11-25T12:30:00Z",
            "2026-11-26T06:00:00Z",
        ] {
            assert!(given(gfs, time(wrong), soon).is_err(), "{wrong}");
        }
        assert_eq!(
            given(gfs, time("2026-11-25T12:00:00Z"), soon)
                .unwrap()
                .steps
                .len(),
            7
        );
    }

    #[test]
    fn times_at_the_ends_of_the_calendar_are_no_trouble() {
        let feeds = Feeds::built_in().unwrap();
        let gfs = feeds.get("gfs").unwrap();
        let all = Period {
            from: Timestamp::MIN,
            to: Timestamp::MAX,
        };
        assert!(candidates(gfs, all, Timestamp::MAX).is_err());
        assert!(candidates(gfs, all, Timestamp::MIN).is_err());
    }
}
