//! What a long run costs, told before it is paid, by a trial.

use std::io::Write;
use std::time::Instant;

use super::{YearsArgs, say};
use windfall::error::{Error, Result};
use windfall::sources::grid::bytes_fetched;
use windfall::units::thousands;
use windfall::years::Job;

/// Flights that are drawn without a word.
const FEW_FLIGHTS: f64 = 1_000_000.0;
/// What needs no leave, minutes.
const MOST_MINUTES: f64 = 15.0;
/// A part for a cluster should last so long, s: starting one costs some seconds.
const PART_S: f64 = 300.0;
/// Days of a trial, of which the first opens the files.
const TRIAL_DAYS: usize = 3;

/// What was measured on some days.
pub struct Trial {
    /// Wall-clock time of a day from all fields on all threads, s.
    pub seconds_a_day: f64,
    /// Time to open files and ground, s.
    pub seconds_to_begin: f64,
    /// Bytes decoded for a day.
    pub bytes_a_day: f64,
    /// Bytes that come over the network for a day.
    pub fetched_a_day: f64,
    /// Most memory used so far, bytes, if the system tells.
    pub memory: Option<f64>,
}

/// Flies the first days.
///
/// # Errors
///
/// Those of the flights.
pub fn trial(job: &Job) -> Result<Trial> {
    let fields = job.fields.len();
    let began = Instant::now();
    // One day by itself: what it takes to open files and ground is paid once, not every day.
    let first = job.fly(0..fields, |_| ())?;
    let fetched = bytes_fetched();
    let to_begin = began.elapsed().as_secs_f64();
    let days = TRIAL_DAYS.min(job.days.len());
    let began = Instant::now();
    let all = job.fly(0..days * fields, |_| ())?;
    let took = began.elapsed().as_secs_f64();
    let more = days.saturating_sub(1).max(1) as f64;
    let seconds_a_day = match days {
        1 => took,
        // What the first run read is at hand for the second, so the difference may be next to
        // nothing.
        _ => ((took - to_begin) / more).max(took / days as f64 / 3.0),
    };
    let values = match days {
        1 => first.values_decoded as f64,
        _ => (all.values_decoded.saturating_sub(first.values_decoded)) as f64 / more,
    };
    Ok(Trial {
        seconds_a_day,
        seconds_to_begin: to_begin,
        bytes_a_day: 4.0 * values,
        // What the second run does not find at hand is fetched anew, the first day too.
        fetched_a_day: (bytes_fetched() - fetched) as f64 / days.max(1) as f64,
        memory: memory(),
    })
}

/// The most memory that this program had, bytes.
fn memory() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status
        .lines()
        .find_map(|line| line.strip_prefix("VmHWM:"))?;
    let kilobytes: f64 = line.trim().trim_end_matches(" kB").trim().parse().ok()?;
    Some(1_024.0 * kilobytes)
}

impl Trial {
    /// Minutes that all of it takes on this machine.
    pub fn minutes(&self, job: &Job) -> f64 {
        (self.seconds_to_begin + self.seconds_a_day * job.days.len() as f64) / 60.0
    }

    /// Into how many parts a cluster should cut it: some minutes each, and not more than there are days.
    pub fn shards(&self, job: &Job) -> usize {
        let parts = 60.0 * self.minutes(job) / PART_S;
        (parts.ceil() as usize).clamp(1, job.days.len().max(1))
    }
}

/// What comes over the network.
fn over_network(job: &Job, fetched_a_day: f64) -> String {
    match job.record.at_addresses {
        0 => String::new(),
        many => {
            let all = fetched_a_day * job.days.len() as f64;
            let all = thousands((all / 1e6).ceil());
            format!(" and {many} at addresses, some {all} MB over the network")
        }
    }
}

/// Tells what a long run costs, and asks for leave where it takes very long.
///
/// # Errors
///
/// A run that takes long, where that is not allowed.
pub fn told(args: &YearsArgs, job: &Job, talk: &mut impl Write) -> Result<()> {
    let releases = (job.releases() * job.fields.len()) as f64;
    let flights = releases * job.asked.options.draws as f64;
    if flights <= FEW_FLIGHTS {
        return Ok(());
    }
    let trial = trial(job)?;
    let minutes = trial.minutes(job);
    let bytes = trial.bytes_a_day * job.days.len() as f64;
    let message = format!(
        "{} days, {} releases, {} flights; {} files of {} MB{}, of which some {} MB are decoded; some {:.0} min \
         on this machine by a trial of {} days",
        thousands(job.days.len() as f64),
        thousands(releases),
        thousands(flights),
        thousands((job.record.files - job.record.at_addresses) as f64),
        thousands((job.record.bytes as f64 / 1e6).ceil()),
        over_network(job, trial.fetched_a_day),
        thousands((bytes / 1e6).ceil()),
        minutes.max(1.0),
        TRIAL_DAYS.min(job.days.len()),
    );
    let shards = trial.shards(job);
    let advice = format!("on a cluster: --shards {shards} --script slurm");
    if minutes <= MOST_MINUTES || args.run.leave.yes {
        return say(talk, &format!("{message}; {advice}"));
    }
    Err(Error::CannotDo {
        why: message,
        remedy: format!("expected --yes to go ahead all the same; {advice}"),
    })
}
