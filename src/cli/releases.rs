//! The releases that commands compare.

use std::str::FromStr;

use clap::Args;
use jiff::Timestamp;

use super::cost::Run;
use super::options::{RunArgs, When};
use super::wind_files::WindArgs;
use windfall::choice::times::release_times;
use windfall::clock::local::read_hours;
use windfall::error::{Error, Result};
use windfall::plan::Plan;
use windfall::units::{Dimension, parse};
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
    #[arg(long, value_name = "TIME", default_value = "1h", value_parser = every)]
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
            releases: self.at_most([from, to]),
            sites: sites as f64,
            draws: self.draws,
            threads: self.run.threads,
        })?;
        let times = release_times([from, to], self.every, self.hours.0, &plan.timezone);
        if times.is_empty() {
            // As the clocks show it that --from and --to are read by.
            let [from, to] = [from, to].map(|time| {
                let clock = plan.timezone.to_datetime(time);
                clock.strftime("%Y-%m-%d %H:%M").to_string()
            });
            return Err(Error::CannotDo {
                why: format!("there is no release time from {from} to {to} within these hours"),
                remedy: "expected other --from, --to, --every or --hours".into(),
            });
        }
        Ok(times)
    }
}

impl ReleasesArgs {
    /// More release times than this are not between two moments: told before they are listed.
    fn at_most(&self, [from, to]: [Timestamp; 2]) -> f64 {
        let Hours([first, last]) = self.hours;
        let a_day = ((last - first) / self.every + 1) as f64;
        // A day at each end may be begun.
        let days = (to.duration_since(from).as_secs_f64() / 86_400.0)
            // Where the end comes first there is no time at all, which is told later.
            .max(0.0)
            .ceil()
            + 1.0;
        days * a_day
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

/// A time between releases, in whole minutes.
pub fn every(text: &str) -> std::result::Result<i64, String> {
    let seconds = parse(text, Dimension::Time).map_err(|e| e.to_string())?;
    let minutes = (seconds / 60.0).round();
    // Hours of the day are given to the minute, and steps are counted from midnight.
    let is_whole = (seconds - 60.0 * minutes).abs() < 1e-6;
    match is_whole && (60.0..=86_400.0).contains(&seconds) {
        true => Ok(minutes as i64 * 60),
        false => {
            Err("expected whole minutes, from a minute to a day, as in 1h or 30min".to_owned())
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_whole_minutes() {
        assert_eq!(every("0.5 h"), Ok(1_800));
        assert_eq!(every("120 s"), Ok(120));
        for wrong in ["90 s", "1.01 h", "30 s", "25 h"] {
            assert!(every(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn hours_are_exact_to_the_minute() {
        let hours = |text: &str| text.parse::<Hours>();
        assert_eq!(hours("01:40-24:00"), Ok(Hours([6_000, 86_400])));
        for wrong in ["11:00-05:00", "05:60-11:00", "05:00-24:01", "5-11", "05:00"] {
            assert!(hours(wrong).is_err(), "{wrong}");
        }
    }
}
