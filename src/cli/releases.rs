//! The releases that commands compare.

use std::str::FromStr;

use clap::Args;
use jiff::Timestamp;

use super::cost::Run;
use super::options::{RunArgs, When};
use super::wind_files::WindArgs;
use windfall::choice::times::{at_most, read_step, release_times};
use windfall::clock::local::{read_hours, to_the_minute};
use windfall::error::{Error, Result};
use windfall::plan::Plan;
use windfall::winds::Winds;
use windfall::zone::Options;

/// Which releases, in which winds, how often drawn.
#[derive(Debug, Args)]
pub struct ReleasesArgs {
    /// The winds they are flown in.
    #[command(flatten)]
    pub winds: WindArgs,
    /// The first day (in the plan's time zone) or time; the first that the winds cover, unless given.
    #[arg(long, value_name = "DATE|TIME")]
    pub from: Option<When>,
    /// The last day or time; the last that the winds cover, unless given.
    #[arg(long, value_name = "DATE|TIME")]
    pub to: Option<When>,
    /// Time from one release to the next, as in "1 h" or "30 min".
    #[arg(long, value_name = "TIME", default_value = "1h", value_parser = step)]
    pub every: i64,
    /// Hours of the day for releases, as a clock in the plan's time zone shows them.
    #[arg(long, value_name = "HH:MM-HH:MM", default_value = "05:00-11:00")]
    pub hours: Hours,
    /// How many flights to simulate for each release: the draws.
    #[arg(long, default_value_t = 1_000, value_parser = clap::value_parser!(u64).range(20..=1_000_000))]
    pub draws: u64,
    /// How it is run.
    #[command(flatten)]
    pub run: RunArgs,
    /// Prints the result as JSON instead of the table.
    #[arg(long)]
    pub json: bool,
}

impl ReleasesArgs {
    /// The winds that are asked for.
    ///
    /// # Errors
    ///
    /// Whatever is wrong with their files.
    pub fn winds(&self, plan: &Plan) -> Result<Winds> {
        let begins = self.from.map(|when| when.begins(&plan.timezone));
        let ends = self.to.map(|when| when.ends(&plan.timezone));
        let from = begins.transpose()?.unwrap_or(plan.release);
        let to = ends.transpose()?.unwrap_or(from);
        self.winds.read_between(plan, [from, to.max(from)])
    }

    /// As many draws as are asked for, and how they are shown.
    pub fn options(&self) -> Options {
        self.run.options(self.draws)
    }

    /// The release times that are asked for.
    ///
    /// # Errors
    ///
    /// When there are none, or, flown from so many sites, too many to go ahead without leave.
    pub fn times(&self, plan: &Plan, winds: &Winds, sites: usize) -> Result<Vec<Timestamp>> {
        let covered = winds.covers();
        let none = || Error::CannotDo {
            why: "the winds name no times".into(),
            remedy: "expected --from and --to".into(),
        };
        let from = match self.from {
            Some(from) => from.begins(&plan.timezone)?,
            None => covered.ok_or_else(none)?[0],
        };
        let to = match self.to {
            Some(to) => to.ends(&plan.timezone)?,
            None => covered.ok_or_else(none)?[1],
        };
        self.run.leave.to(Run {
            releases: at_most([from, to], self.every, self.hours.0),
            sites: sites as f64,
            draws: self.draws,
            threads: self.run.threads,
        })?;
        let times = release_times([from, to], self.every, self.hours.0, &plan.timezone);
        if times.is_empty() {
            // As the clocks show it that --from and --to are read by.
            let [from, to] = [from, to].map(|time| to_the_minute(time, &plan.timezone));
            return Err(Error::CannotDo {
                why: format!("there is no release time from {from} to {to} within these hours"),
                remedy: "expected other --from, --to, --every or --hours".into(),
            });
        }
        Ok(times)
    }
}

/// Hours of a day, from and to: seconds since midnight on the clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hours(pub [i64; 2]);

impl FromStr for Hours {
    type Err = String;

    fn from_str(text: &str) -> std::result::Result<Hours, String> {
        read_hours(text)
            .map(Hours)
            .ok_or_else(|| "expected hours of the day, as in 05:00-11:00".to_owned())
    }
}

/// A time between releases.
pub fn step(text: &str) -> std::result::Result<i64, String> {
    read_step(text).map_err(|wrong| wrong.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hours_are_exact_to_the_minute() {
        let hours = |text: &str| text.parse::<Hours>();
        assert_eq!(hours("01:40-24:00"), Ok(Hours([6_000, 86_400])));
        for wrong in ["11:00-05:00", "05:60-11:00", "05:00-24:01", "5-11", "05:00"] {
            assert!(hours(wrong).is_err(), "{wrong}");
        }
    }
}
