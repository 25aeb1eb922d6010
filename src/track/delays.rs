//! How long reports take from the trackers' clocks to the hearer's, and which of them has a wrong clock.

use std::collections::VecDeque;

use jiff::Timestamp;

use super::{Fix, Refusal};
use crate::clock::seconds_between;
use crate::numeric::quantile;

/// What is heard later than this after its time is of no use, and no clock is ahead by more, s.
pub const LATE_S: f64 = 900.0;
/// Delays that the usual one is taken from.
const DELAYS: usize = 31;
/// Of the first few nobody knows whose clock is wrong.
const ENOUGH: usize = 3;
/// From so many on the usual one is known well.
const SETTLED: usize = 6;
/// Of the delays that are kept, the usual one is so far up from the least: what comes late was held up on its way,
/// and only what was not shows the clocks. One wrong time among them does not count.
const USUAL: f64 = 0.1;
/// So many in a row stand against delays that are known well.
const AGAINST_SETTLED: usize = 12;
/// Two delays are of one clock if they differ by less than this share of the time between their fixes: what
/// was held back and is sent at once has delays that shrink as fast as its times go on.
const SAME_CLOCK: f64 = 0.5;

/// Delays of fixes that were let through, and what was refused by them last.
#[derive(Debug, Clone, Default)]
pub(super) struct Delays {
    /// Times of fixes and their delays, s.
    kept: VecDeque<(Timestamp, f64)>,
    /// Refused in a row, with their delays, s.
    against: Vec<(Fix, f64)>,
}

impl Delays {
    /// From the trackers' clocks to the hearer's, s, from the promptest of the last; `None` where unknown.
    pub fn usual_s(&self) -> Option<f64> {
        let mut delays: Vec<f64> = self.kept.iter().map(|(_, delay_s)| *delay_s).collect();
        delays.sort_by(f64::total_cmp);
        // Of a few the promptest may be the one whose clock is wrong.
        let share = if delays.len() < SETTLED { 0.5 } else { USUAL };
        quantile(&delays, share)
    }

    /// Why a fix with a delay is none of these clocks'.
    ///
    /// Against the usual delay: a clock that is wrong by the same all the time does no harm.
    pub fn judge(&self, delay_s: f64) -> Option<Refusal> {
        let usual_s = self.usual_s().filter(|_| self.kept.len() >= ENOUGH)?;
        match delay_s - usual_s {
            later_s if later_s > LATE_S => Some(Refusal::Late),
            _ => is_ahead(delay_s, usual_s).then_some(Refusal::Ahead),
        }
    }

    /// Learns from a fix that was let through; the times of those that are found to have been ahead.
    pub fn learn(&mut self, time: Timestamp, delay_s: f64) -> Vec<Timestamp> {
        self.against.clear();
        self.kept.push_back((time, delay_s));
        if self.kept.len() > DELAYS {
            self.kept.pop_front();
        }
        let Some(usual_s) = self.usual_s().filter(|_| self.kept.len() >= ENOUGH) else {
            return Vec::new();
        };
        let ahead = |(_, delay_s): &&(Timestamp, f64)| is_ahead(*delay_s, usual_s);
        let times = self.kept.iter().filter(ahead).map(|(time, _)| *time);
        let times: Vec<Timestamp> = times.collect();
        self.kept.retain(|(time, _)| !times.contains(time));
        times
    }

    /// Takes a fix that was refused; those that stand against the delays that are known, where they are so many in
    /// a row, and of one clock. Then nothing is known any more.
    pub fn stand_against(&mut self, fix: &Fix, delay_s: f64) -> Option<Vec<Fix>> {
        if self.against.iter().any(|(f, _)| f.time == fix.time) {
            return None;
        }
        self.against.push((fix.clone(), delay_s));
        let needed = match self.kept.len() < SETTLED {
            true => ENOUGH,
            false => AGAINST_SETTLED,
        };
        if self.against.len() < needed {
            return None;
        }
        let one_clock = self.against.windows(2).all(same_clock);
        if !one_clock {
            self.against.remove(0);
            return None;
        }
        self.kept.clear();
        let against = std::mem::take(&mut self.against);
        Some(against.into_iter().map(|(fix, _)| fix).collect())
    }
}

/// Whether a fix was heard before its time, and not only as the hearer's clock is always behind.
fn is_ahead(delay_s: f64, usual_s: f64) -> bool {
    // What a source had kept comes with delays that shrink down to those of now.
    delay_s < usual_s.min(0.0) - LATE_S
}

fn same_clock(pair: &[(Fix, f64)]) -> bool {
    let [(from, before_s), (to, delay_s)] = pair else {
        return true;
    };
    let on_s = seconds_between(from.time, to.time);
    from.tracker == to.tracker && (delay_s - before_s).abs() < SAME_CLOCK * on_s
}
