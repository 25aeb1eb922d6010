//! The batch file for a cluster: this command as an array of parts, and what joins them.

use std::ffi::OsString;
use std::path::{Path, PathBuf};

use clap::ValueEnum;

use super::YearsArgs;
use super::cost::trial;
use windfall::error::{Fault, Result};
use windfall::files::address::has_secret;
use windfall::files::{is_url, shown};
use windfall::report::files::batch::{Batch, kubernetes, pbs, slurm};
use windfall::years::Job;

/// Schedulers of clusters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Scheduler {
    /// Slurm: a shell script that submits an array and a job that depends on it.
    Slurm,
    /// PBS: the same.
    Pbs,
    /// Kubernetes: an indexed Job and one that gathers.
    Kubernetes,
}

/// Time and memory of a trial are multiplied by this: other days and machines differ.
const MARGIN: f64 = 3.0;
/// Less time than this is not asked for, s.
const LEAST_S: f64 = 600.0;
/// Nor less memory, bytes.
const LEAST_BYTES: f64 = 512e6;
/// Options that are not for a single part, and whether a value follows.
const NOT_FOR_PARTS: [(&str, bool); 4] = [
    ("--script", true),
    ("--shards", true),
    ("--out", true),
    ("--threads", true),
];

/// Its text.
///
/// # Errors
///
/// Those of the trial.
pub fn text(args: &YearsArgs, job: &Job, scheduler: Scheduler, folder: &Path) -> Result<String> {
    // The command stands in the file as it was typed.
    let secret = |path: &&PathBuf| is_url(path) && has_secret(&path.to_string_lossy());
    if let Some(path) = args.wind.iter().find(secret) {
        let expected = "an address without user and parameters: a batch file is read by others";
        return Err(Fault::new(
            shown(path),
            "an address with a user or parameters",
            expected,
        )
        .into());
    }
    let trial = trial(job)?;
    let shards = args
        .shards
        .map_or_else(|| trial.shards(job), |n| n as usize);
    let threads = args.run.threads.map_or(1, usize::from);
    let here = rayon::current_num_threads() as f64;
    let days = job.days.len().div_ceil(shards) as f64;
    // The trial had all threads of this machine, which a part will not have.
    let slower = here / threads as f64;
    let batch = Batch {
        // As it was typed: whatever option there is goes to the parts without being named here.
        command: command(std::env::args_os().skip(1), &args.plan),
        program: program(),
        folder: folder.display().to_string(),
        shards,
        threads,
        seconds: LEAST_S
            .max(MARGIN * (trial.seconds_to_begin + slower * days * trial.seconds_a_day)),
        bytes: LEAST_BYTES.max(MARGIN * trial.memory.unwrap_or(0.0)),
    };
    Ok(match scheduler {
        Scheduler::Slurm => slurm(&batch),
        Scheduler::Pbs => pbs(&batch),
        Scheduler::Kubernetes => kubernetes(&batch),
    })
}

/// The program, as it was called.
fn program() -> String {
    // By its whole path, as a node of a cluster may look for programs elsewhere.
    let path = std::env::current_exe();
    path.map_or_else(|_| "windfall".to_owned(), |path| path.display().to_string())
}

/// The words of this command that every part needs, the plan first: behind options that take any number of
/// values it would be one of them, once what stood between is left out.
fn command(words: impl Iterator<Item = OsString>, plan: &Path) -> Vec<String> {
    let mut kept = kept(words);
    let plan = plan.to_string_lossy();
    let here = |i: &usize| kept[*i] == plan;
    // Where an option's value is the same word, the one that stands behind no option.
    let alone = |i: &usize| *i > 0 && !kept[*i - 1].starts_with('-');
    let all = || (0..kept.len()).filter(here);
    if let Some(at) = all().find(alone).or(all().next_back()) {
        let plan = kept.remove(at);
        // Behind the name of the command.
        kept.insert(1.min(kept.len()), plan);
    }
    kept
}

fn kept(words: impl Iterator<Item = OsString>) -> Vec<String> {
    let mut kept = Vec::new();
    let mut skip = false;
    for word in words {
        let word = word.to_string_lossy().into_owned();
        if skip {
            skip = false;
            continue;
        }
        // An option's value is the next word, or stands behind a `=` in the same.
        let (name, joined) = match word.split_once('=') {
            Some((name, _)) => (name, true),
            None => (word.as_str(), false),
        };
        match NOT_FOR_PARTS.iter().find(|(option, _)| *option == name) {
            Some((_, has_value)) => skip = *has_value && !joined,
            None => kept.push(word),
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_get_the_words_that_they_need() {
        let words =
            "years a.toml --wind x y --out d --script=slurm --shards 4 --seed 3 --threads 2";
        let command = |words: &str| {
            let words = words.split(' ').map(OsString::from);
            super::command(words, Path::new("a.toml")).join(" ")
        };
        assert_eq!(command(words), "years a.toml --wind x y --seed 3");
        let words = "years --wind x y --out d a.toml --script slurm --json";
        assert_eq!(command(words), "years a.toml --wind x y --json");
        let words = "years --wind a.toml x --out=d a.toml";
        assert_eq!(command(words), "years a.toml --wind a.toml x");
    }
}
