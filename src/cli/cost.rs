//! What a run costs, told before it is paid.

use clap::Args;

use windfall::error::{Error, Result};

/// Flights a second on one core through a forecast, with the ground looked at: well below what the benches
/// give, as other machines are slower.
const FLIGHTS_A_SECOND: f64 = 10_000.0;
/// Bytes that a flight takes until a run has ended, and a release beside its flights: estimates, with a
/// margin.
const BYTES_A_FLIGHT: f64 = 600.0;
const BYTES_A_RELEASE: f64 = 15_000.0;
/// What needs no leave, minutes and megabytes.
const MOST_MINUTES: f64 = 15.0;
const MOST_MB: f64 = 2_000.0;

/// Leave for long runs.
#[derive(Debug, Args)]
pub struct Leave {
    /// Goes ahead even if a run takes long or much memory; without it, a message says how much.
    #[arg(long)]
    pub yes: bool,
}

/// What is to be flown.
#[derive(Debug, Clone, Copy)]
pub struct Run {
    /// Release times.
    pub releases: f64,
    /// Sites that each of them is flown from.
    pub sites: f64,
    /// Flights for each of both.
    pub draws: u64,
    /// Threads, all cores unless given.
    pub threads: Option<u16>,
}

impl Run {
    /// One release from one site.
    pub fn once(draws: u64, threads: Option<u16>) -> Run {
        Run {
            releases: 1.0,
            sites: 1.0,
            draws,
            threads,
        }
    }

    fn flights(&self) -> f64 {
        self.releases * self.sites * self.draws as f64
    }

    fn minutes(&self) -> f64 {
        let cores = std::thread::available_parallelism().map_or(1, usize::from);
        // More threads than cores make nothing faster.
        let threads = self.threads.map_or(cores, usize::from).min(cores);
        self.flights() / FLIGHTS_A_SECOND / threads as f64 / 60.0
    }

    fn megabytes(&self) -> f64 {
        // Sites are flown one after the other.
        let flights = self.releases * self.draws as f64;
        let releases = self.releases * self.sites;
        (flights * BYTES_A_FLIGHT + releases * BYTES_A_RELEASE) / 1e6
    }
}

impl Leave {
    /// Lets a run go ahead, or tells what it costs.
    ///
    /// # Errors
    ///
    /// A run that takes long or much memory, where that is not allowed.
    pub fn to(&self, run: Run) -> Result<()> {
        if self.yes || (run.minutes() <= MOST_MINUTES && run.megabytes() <= MOST_MB) {
            return Ok(());
        }
        Err(Error::CannotDo {
            why: format!(
                "{} flights at {} would take some {} min and {} MB",
                grouped(run.flights()),
                release_times(run.releases),
                grouped(run.minutes()),
                grouped(run.megabytes())
            ),
            remedy: "expected --yes to go ahead all the same, or fewer draws, days or sites".into(),
        })
    }
}

/// How many release times at most.
fn release_times(count: f64) -> String {
    match count > 1.0 {
        true => format!("up to {} release times", grouped(count)),
        false => "one release time".to_owned(),
    }
}

/// A whole number with commas.
fn grouped(number: f64) -> String {
    // Rounded up, so that no cost is told as 0.
    let digits = format!("{:.0}", number.ceil());
    let mut out = String::new();
    for (i, digit) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_runs_are_told_and_allowed() {
        let (no, yes) = (Leave { yes: false }, Leave { yes: true });
        let run = |releases, sites, draws| Run {
            releases,
            sites,
            draws,
            threads: Some(1),
        };
        assert!(no.to(run(1.0, 1.0, 2_000)).is_ok());
        assert!(no.to(run(44.0, 20.0, 1_000)).is_ok());
        // Seven a day up to the year 2223.
        let long = run(504_000.0, 1.0, 1_000);
        let message = no.to(long).unwrap_err().to_string();
        assert!(
            message.starts_with(
                "504,000,000 flights at up to 504,000 release times would take some 840 min and \
                 309,960 MB; expected --yes"
            ),
            "{message}"
        );
        assert!(yes.to(long).is_ok());
        let many = no.to(run(1.0, 1.0, 900_000_000)).unwrap_err().to_string();
        assert!(
            many.contains(" flights at one release time would"),
            "{many}"
        );
        assert_eq!(grouped(0.2), "1");
        assert_eq!(grouped(999.0), "999");
    }
}
