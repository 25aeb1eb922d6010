//! Long work: one job at a time, told while it runs, and stopped when it is not wanted any more.

use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use serde::Serialize;
use tokio::sync::watch;

use super::state::locked;
use super::words;
use crate::error::{Error, Result};

/// How often the state of a job is told.
const TOLD_EVERY: Duration = Duration::from_millis(150);

/// What work unwinds with when it is stopped. The long functions of the library know no stopping, but call back
/// after each step: unwinding from there ends them, and `rayon` passes it on.
struct Stopped;

/// Ends the work that this is called from, if it is not wanted any more.
pub fn end_if(stopped: bool) {
    if stopped {
        // Not `panic!`, whose hook would print it as a fault.
        resume_unwind(Box::new(Stopped));
    }
}

/// What `work` gives; `None` if it was ended. Anything else that unwinds is a fault of ours, and told as one.
pub fn unless_ended<T>(work: impl FnOnce() -> Result<T>) -> Option<Result<T>> {
    // What work shares lies behind locks, and that is whole after each statement (`locked`).
    match catch_unwind(AssertUnwindSafe(work)) {
        Ok(done) => Some(done),
        Err(payload) if payload.is::<Stopped>() => None,
        Err(_) => Some(Err(Error::CannotDo {
            why: words::BROKEN.into(),
            remedy: words::BROKEN_REMEDY.into(),
        })),
    }
}

/// How far a job is.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct JobNow {
    /// The plan it works for.
    pub plan: String,
    /// The station it belongs to.
    pub station: String,
    /// What it does.
    pub doing: String,
    /// Parts done.
    pub done: u64,
    /// Parts in all; 0 where that is not known.
    pub of: u64,
    /// "running", "done", "failed" or "stopped".
    pub state: &'static str,
    /// What went wrong.
    pub message: String,
}

/// What pages are told as it happens.
#[derive(Debug, Clone, Default, Serialize)]
pub struct Pulse {
    /// The job that runs, or ran last.
    pub job: Option<JobNow>,
    /// The step that each open plan is at.
    pub plans: BTreeMap<String, u64>,
    /// Grows with each job that ends.
    pub ended: u64,
}

/// The job that runs, and who wants to know.
pub struct Jobs {
    pulse: watch::Sender<Pulse>,
    running: Arc<Mutex<Option<Arc<Work>>>>,
}

/// A job as the work sees it.
pub struct Work {
    stop: AtomicBool,
    done: AtomicU64,
    told: Mutex<Instant>,
    pulse: watch::Sender<Pulse>,
}

impl Work {
    /// Says what is done now, and how many parts it has.
    pub fn begin(&self, doing: &str, of: u64) {
        end_if(self.stop.load(Ordering::Relaxed));
        self.done.store(0, Ordering::Relaxed);
        self.pulse.send_modify(|pulse| {
            if let Some(job) = &mut pulse.job {
                (job.done, job.of) = (0, of);
                doing.clone_into(&mut job.doing);
            }
        });
    }

    /// Parts done more. Ends the work when it is not wanted any more.
    pub fn step(&self, parts: u64) {
        end_if(self.stop.load(Ordering::Relaxed));
        let done = parts + self.done.fetch_add(parts, Ordering::Relaxed);
        // Another thread is telling just now: no step waits for that.
        let Ok(mut told) = self.told.try_lock() else {
            return;
        };
        if told.elapsed() >= TOLD_EVERY {
            *told = Instant::now();
            self.pulse.send_modify(|pulse| {
                if let Some(job) = &mut pulse.job {
                    job.done = done;
                }
            });
        }
    }
}

impl Default for Jobs {
    fn default() -> Self {
        Jobs {
            pulse: watch::Sender::new(Pulse::default()),
            running: Arc::default(),
        }
    }
}

impl Jobs {
    /// Whatever pages are told, from now on.
    pub fn listen(&self) -> watch::Receiver<Pulse> {
        self.pulse.subscribe()
    }

    /// Whether somebody listens.
    pub fn heard(&self) -> bool {
        self.pulse.receiver_count() > 0
    }

    /// The job that runs, or ran last.
    pub fn now(&self) -> Option<JobNow> {
        self.pulse.borrow().job.clone()
    }

    /// Says which step a plan is at.
    pub fn plan_is_at(&self, plan: &str, number: u64) {
        // Only what is new: every look at a draft comes by here.
        self.pulse
            .send_if_modified(|pulse| pulse.plans.insert(plan.to_owned(), number) != Some(number));
    }

    /// Whether a job runs.
    pub fn runs(&self) -> bool {
        self.now().is_some_and(|job| job.state == "running")
    }

    /// Starts a job on a thread of its own; `ended` gets what came out.
    ///
    /// # Errors
    ///
    /// Another job runs.
    pub fn start<T: Send + 'static>(
        &self,
        (plan, station): (&str, &str),
        work: impl FnOnce(&Work) -> Result<T> + Send + 'static,
        ended: impl FnOnce(T) + Send + 'static,
    ) -> Result<()> {
        let mut running = locked(&self.running);
        if running.is_some() {
            return Err(Error::CannotDo {
                why: words::BUSY.into(),
                remedy: words::BUSY_REMEDY.into(),
            });
        }
        let job = JobNow {
            plan: plan.to_owned(),
            station: station.to_owned(),
            state: "running",
            ..JobNow::default()
        };
        self.pulse.send_modify(|pulse| pulse.job = Some(job));
        let mine = Arc::new(Work {
            stop: AtomicBool::new(false),
            done: AtomicU64::new(0),
            told: Mutex::new(Instant::now()),
            pulse: self.pulse.clone(),
        });
        *running = Some(mine.clone());
        let running = self.running.clone();
        std::thread::spawn(move || {
            // Kept before it is told, so that a page that asks at once finds it.
            let done = unless_ended(|| in_own_pool(|| work(&mine)).map(ended));
            let (state, message) = match done {
                None => ("stopped", String::new()),
                Some(Err(error)) => ("failed", error.to_string()),
                Some(Ok(())) => ("done", String::new()),
            };
            // Told before another can start, which would be taken for the one that ended.
            let mut running = locked(&running);
            *running = None;
            mine.pulse.send_modify(|pulse| {
                pulse.ended += 1;
                if let Some(job) = &mut pulse.job {
                    job.state = state;
                    job.message = message;
                }
            });
        });
        Ok(())
    }

    /// Stops the job that runs, if one does.
    /// It ends when it calls back next, after a step.
    pub fn stop(&self) {
        let running = locked(&self.running);
        if let Some(work) = &*running {
            work.stop.store(true, Ordering::Relaxed);
        }
    }
}

/// Long work has threads of its own: what the page shows while typing never waits for it.
fn in_own_pool<T: Send>(work: impl FnOnce() -> Result<T> + Send) -> Result<T> {
    let pool = rayon::ThreadPoolBuilder::new().build();
    let pool = pool.map_err(|cause| Error::CannotDo {
        why: format!("no threads can be started: {cause}"),
        remedy: "close other programs".into(),
    })?;
    pool.install(work)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rayon::prelude::*;

    fn wait(jobs: &Jobs) -> JobNow {
        let until = Instant::now() + Duration::from_secs(20);
        loop {
            let now = jobs.now().unwrap();
            if now.state != "running" {
                return now;
            }
            assert!(Instant::now() < until, "the job does not end");
            std::thread::sleep(Duration::from_millis(5));
        }
    }

    /// A job that is started the moment another ends is never taken for that one.
    #[test]
    fn the_end_of_a_job_is_not_that_of_the_next() {
        let jobs = Jobs::default();
        for _ in 0..100 {
            jobs.start(("a", "days"), |_| Ok(()), |()| ()).unwrap();
            let over = Arc::new(AtomicBool::new(false));
            let seen = over.clone();
            let waits = move |_: &Work| {
                while !seen.load(Ordering::Relaxed) {
                    std::thread::sleep(Duration::from_micros(100));
                }
                Ok(())
            };
            // Again and again, so that it comes as soon as it can.
            while jobs.start(("b", "sites"), waits.clone(), |()| ()).is_err() {}
            std::thread::sleep(Duration::from_millis(1));
            let now = jobs.now().unwrap();
            assert_eq!((now.plan.as_str(), now.state), ("b", "running"));
            over.store(true, Ordering::Relaxed);
            wait(&jobs);
        }
    }

    #[test]
    fn one_job_at_a_time_which_can_be_stopped() {
        let jobs = Jobs::default();
        let endless = |work: &Work| -> Result<()> {
            work.begin("counting", 0);
            (0..usize::MAX).into_par_iter().for_each(|_| {
                std::thread::sleep(Duration::from_micros(200));
                work.step(1);
            });
            Ok(())
        };
        jobs.start(("a", "days"), endless, |()| ()).unwrap();
        let busy = jobs.start(("a", "days"), |_| Ok(()), |()| ());
        assert!(busy.is_err());
        jobs.stop();
        assert_eq!(wait(&jobs).state, "stopped");
        let (tell, told) = std::sync::mpsc::channel();
        jobs.start(("b", "sites"), |_| Ok(7), move |n| tell.send(n).unwrap())
            .unwrap();
        assert_eq!(told.recv().unwrap(), 7);
        assert_eq!(wait(&jobs).state, "done");
        let fault = Error::CannotDo {
            why: "no".into(),
            remedy: "yes".into(),
        };
        jobs.start(("b", "sites"), |_| Err::<(), _>(fault), |()| ())
            .unwrap();
        let failed = wait(&jobs);
        assert_eq!(
            (failed.state, failed.message.as_str()),
            ("failed", "no; yes")
        );
    }
}
