//! How often a server may be asked.

use std::collections::VecDeque;
use std::sync::{Mutex, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

/// Keeps requests apart: so many in any window of time, and none before a moment.
#[derive(Debug)]
pub struct Pace {
    most: Option<usize>,
    window: Duration,
    state: Mutex<State>,
}

#[derive(Debug, Default)]
struct State {
    /// The last requests, as many as a window may have.
    last: VecDeque<Instant>,
    not_before: Option<Instant>,
}

impl Pace {
    /// This many requests in any window; any number for `None`.
    pub fn new(most: Option<u32>, window: Duration) -> Pace {
        Pace {
            most: most.map(|most| most.max(1) as usize),
            window,
            state: Mutex::default(),
        }
    }

    /// Waits until there may be a request, and counts it.
    pub fn wait(&self) {
        // Another thread may have taken the place meanwhile, so it is asked for again.
        while let Some(wait) = self.take() {
            thread::sleep(wait);
        }
    }

    /// No request before this much time has passed, whichever thread asks.
    pub fn hold(&self, time: Duration) {
        let mut state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        let until = Instant::now().checked_add(time);
        // `None` is less than any moment.
        state.not_before = state.not_before.max(until);
    }

    /// Counts a request, or says how long there may be none.
    fn take(&self) -> Option<Duration> {
        let mut state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        let now = Instant::now();
        let free = self.most.and_then(|most| {
            let full = state.last.len() >= most;
            full.then(|| state.last.front().map(|first| *first + self.window))?
        });
        let until = free.max(state.not_before).filter(|until| *until > now);
        if let Some(until) = until {
            return Some(until - now);
        }
        if let Some(most) = self.most {
            state.last.push_back(now);
            // As many as a window may have: the oldest tells when the next may be.
            while state.last.len() > most {
                state.last.pop_front();
            }
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn any_window_has_so_many_requests_at_most() {
        let window = Duration::from_millis(60);
        let pace = Pace::new(Some(3), window);
        let times: Vec<Instant> = (0..8)
            .map(|_| {
                pace.wait();
                Instant::now()
            })
            .collect();
        for (i, time) in times.iter().enumerate().skip(3) {
            assert!(*time - times[i - 3] >= window - Duration::from_millis(1));
        }
        assert!(times[2] - times[0] < window);
    }

    #[test]
    fn a_pause_holds_for_all() {
        let pace = Pace::new(None, Duration::ZERO);
        let begun = Instant::now();
        pace.hold(Duration::from_millis(30));
        pace.hold(Duration::from_millis(1));
        pace.wait();
        assert!(begun.elapsed() >= Duration::from_millis(30));
    }
}
