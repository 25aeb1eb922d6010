//! How far a long run is.

use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressDrawTarget};

/// A bar on stderr, if that is a terminal, once a run has lasted a second.
pub struct Progress {
    bar: ProgressBar,
    started: Instant,
    taken: AtomicU64,
    look_every: u64,
}

/// Runs shorter than this need no bar.
const PATIENCE: Duration = Duration::from_secs(1);

impl Progress {
    /// For this many steps; the clock is looked at after every `look_every` of them.
    pub fn new(steps: u64, look_every: u64) -> Progress {
        Progress {
            bar: ProgressBar::with_draw_target(Some(steps), ProgressDrawTarget::stderr()),
            started: Instant::now(),
            taken: AtomicU64::new(0),
            look_every,
        }
    }

    /// One step more.
    pub fn step(&self) {
        // A count that nothing else is read by, so its order among threads does not matter.
        let taken = 1 + self.taken.fetch_add(1, Ordering::Relaxed);
        // A look at the clock costs more than a count.
        if taken.is_multiple_of(self.look_every) && self.started.elapsed() > PATIENCE {
            self.bar.set_position(taken);
        }
    }

    /// The end.
    pub fn done(&self) {
        self.bar.finish_and_clear();
    }
}
