//! Options that several commands share.

use std::str::FromStr;

use clap::{Args, ValueEnum};
use jiff::tz::TimeZone;
use jiff::{Timestamp, civil};

use super::cost::Leave;
use windfall::clock::local::{day_begins, day_ends};
use windfall::error::{Error, Fault, Result};
use windfall::plan::Plan;
use windfall::units::UnitSystem;
use windfall::zone::Options;

/// The units a person reads.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Units {
    /// Metres and metres per second.
    Metric,
    /// Feet and miles.
    Us,
}

impl From<Units> for UnitSystem {
    fn from(units: Units) -> UnitSystem {
        match units {
            Units::Metric => UnitSystem::Metric,
            Units::Us => UnitSystem::Us,
        }
    }
}

/// The units asked for, else the plan's, else metric.
pub fn units(asked: Option<Units>, plan: &Plan) -> UnitSystem {
    let planned = || UnitSystem::of(plan.us_units.unwrap_or(false));
    asked.map_or_else(planned, UnitSystem::from)
}

/// How flights are drawn and shown, whatever the command.
#[derive(Debug, Args)]
pub struct RunArgs {
    /// Seed for everything random: the same seed gives the same bytes.
    #[arg(long, default_value_t = Options::default().seed, value_parser = seed, allow_negative_numbers = true)]
    pub seed: u64,
    /// Threads to use; all cores unless given.
    #[arg(long, value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Units for people; those of the plan's [flight] units, else metric.
    #[arg(long, value_enum)]
    pub units: Option<Units>,
    /// Leave for long runs.
    #[command(flatten)]
    pub leave: Leave,
}

/// A time with its offset, as options take it.
pub fn moment(text: &str) -> std::result::Result<Timestamp, String> {
    let expected = "expected a time with its offset from UTC, as in 2026-02-05T18:00:00Z";
    text.parse().map_err(|_| expected.to_owned())
}

fn seed(text: &str) -> std::result::Result<u64, String> {
    let wrong = || format!("expected a whole number from 0 to {}", u64::MAX);
    text.parse().map_err(|_| wrong())
}

impl RunArgs {
    /// Draws, as many as are given, with this seed.
    pub fn options(&self, draws: u64) -> Options {
        Options {
            draws,
            seed: self.seed,
            keep_draws: false,
        }
    }

    /// The units asked for, else the plan's, else metric.
    pub fn units(&self, plan: &Plan) -> UnitSystem {
        units(self.units, plan)
    }
}

/// A day, or a moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum When {
    /// A whole day, in the plan's time zone.
    Day(civil::Date),
    /// A moment.
    Moment(Timestamp),
}

impl FromStr for When {
    type Err = String;

    fn from_str(text: &str) -> std::result::Result<When, String> {
        // The length first: a time begins with a date, and must not be taken for one.
        let day = (text.len() == 10).then(|| text.parse().ok()).flatten();
        day.map(When::Day)
            .or_else(|| text.parse().ok().map(When::Moment))
            .ok_or_else(|| {
                "expected a day, as in 2026-11-25, or a time, as in 2026-11-25T12:00:00Z".to_owned()
            })
    }
}

impl When {
    /// The moment at which it begins, in a time zone.
    ///
    /// # Errors
    ///
    /// When the time zone does not know the day.
    pub fn begins(self, zone: &TimeZone) -> Result<Timestamp> {
        match self {
            When::Moment(time) => Ok(time),
            When::Day(day) => day_begins(day, zone).ok_or_else(|| unknown(day)),
        }
    }

    /// The moment at which it ends: of a day, its last second.
    ///
    /// # Errors
    ///
    /// When the time zone does not know the day.
    pub fn ends(self, zone: &TimeZone) -> Result<Timestamp> {
        match self {
            When::Moment(time) => Ok(time),
            When::Day(day) => day_ends(day, zone).ok_or_else(|| unknown(day)),
        }
    }
}

fn unknown(day: civil::Date) -> Error {
    let expected = "a day that the plan's time zone has";
    Fault::new("--from or --to", day.to_string(), expected).into()
}

/// Runs `work` on this many threads, or on all cores.
///
/// # Errors
///
/// Those of `work`, or threads that cannot be started.
pub fn with_threads<T: Send>(
    threads: Option<u16>,
    work: impl FnOnce() -> Result<T> + Send,
) -> Result<T> {
    let Some(threads) = threads else {
        // The pool of rayon itself has a thread for each core.
        return work();
    };
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(usize::from(threads))
        .build()
        .map_err(|cause| Error::CannotDo {
            why: format!("cannot start {threads} threads: {cause}"),
            remedy: "expected a smaller --threads".into(),
        })?;
    pool.install(work)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_are_whole_and_in_the_plans_zone() {
        let zone = TimeZone::get("America/Denver").unwrap();
        let day: When = "2026-11-01".parse().unwrap();
        // The day on which the clocks go back has 25 hours.
        assert_eq!(
            day.begins(&zone).unwrap().to_string(),
            "2026-11-01T06:00:00Z"
        );
        assert_eq!(day.ends(&zone).unwrap().to_string(), "2026-11-02T06:59:59Z");
        let moment: When = "2026-11-01T08:00:00-07:00".parse().unwrap();
        assert_eq!(
            moment.ends(&zone).unwrap().to_string(),
            "2026-11-01T15:00:00Z"
        );
        for wrong in ["2026-13-01", "today", "2026-11-01T08:00", ""] {
            assert!(wrong.parse::<When>().is_err(), "{wrong}");
        }
    }
}
