//! What of the reports is let through: fixes of one stack, in the order of the trackers' own clocks, that
//! a balloon can make. What is refused is counted by reason and kept.
//!
//! The limits are those that let through all of 27 real logs of 18 flights but what was damaged in them.

use std::collections::{BTreeMap, VecDeque};

use jiff::Timestamp;

use super::delays::{Delays, LATE_S};
use super::{Fix, Outcome, Refusal, Report, Stamp};
use crate::clock::{after, seconds_between};
use crate::geodesy::Position;

/// A balloon and what hangs on it move no faster over the ground, m/s; and this much more, m.
pub const FASTEST_M_S: f64 = 110.0;
const PLACE_SLACK_M: f64 = 300.0;
/// They rise no faster, m/s.
pub const FASTEST_RISE_M_S: f64 = 15.0;
/// They fall no faster, m/s.
pub const FASTEST_FALL_M_S: f64 = 130.0;
const HEIGHT_SLACK_M: f64 = 150.0;
/// How far from the site a first fix may be, m, and for how long it may have flown, s.
const NEAR_SITE_M: f64 = 20_000.0;
const FLOWN_S: f64 = 3.0 * 3_600.0;
/// Fixes that nothing speaks for yet.
const SUSPECTS: usize = 12;
/// So many that speak for each other stand against a track of one or two fixes.
const AGAINST_FEW: usize = 3;
/// So many in a row that come before the last fix show that its time is ahead.
const BEFORE_LAST: usize = 3;
/// Why they were refused.
const BY_PLACE: [Refusal; 2] = [Refusal::Jump, Refusal::OtherBalloon];
/// What is refused is kept up to this many, the newest.
const KEPT: usize = 1_000;
/// Fixes older than this, s, are kept only this far apart, s.
const RECENT_S: f64 = 900.0;
const APART_S: f64 = 15.0;
/// A height that stands still for so long while the place moves is not one, s and m/s.
const STALE_S: f64 = 60.0;
const MOVING_M_S: f64 = 3.0;
/// Receivers that stop at 12 or 18 km (or 60,000 ft) say heights like these, m.
const LIMITS_M: [(f64, f64); 2] = [(11_800.0, 12_250.0), (17_900.0, 18_350.0)];
/// Such a limit shows after a silence of this long, s.
const SILENT_S: f64 = 180.0;
/// Heights that there are, m.
const HEIGHTS_M: std::ops::RangeInclusive<f64> = -450.0..=60_000.0;

/// Something that was refused.
#[derive(Debug, Clone, PartialEq)]
pub struct Refused {
    /// Why.
    pub why: Refusal,
    /// When it was heard, if known.
    pub heard: Option<Timestamp>,
    /// The fix, where it is one.
    pub fix: Option<Fix>,
}

/// What a report changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Change {
    /// Nothing.
    Nothing,
    /// The track has a newer fix.
    Newer,
    /// Earlier fixes came or went as well.
    Earlier,
}

/// A fix, and what its report says of its time.
struct Timed {
    fix: Fix,
    /// Whether it has a time of its own, and one that is whole.
    own: bool,
    whole: bool,
}

/// The gate of one flight.
#[derive(Debug, Clone)]
pub struct Gate {
    site: Position,
    release: Timestamp,
    fixes: Vec<Fix>,
    suspects: Vec<Fix>,
    /// How many came since the last fix that was let through.
    doubts: usize,
    delays: Delays,
    /// Whether its reports are read afterwards, when none is too late to be of use.
    past: bool,
    /// Fixes in a row that came just before the last one.
    before_last: usize,
    stale_m: Option<f64>,
    refused: VecDeque<Refused>,
    counts: BTreeMap<Refusal, usize>,
    /// Fixes that had the hearer's clock only.
    untimed: usize,
    accepted: usize,
}

impl Gate {
    /// For a flight from a site, planned to be released at a time.
    pub fn new(site: Position, release: Timestamp) -> Gate {
        Gate {
            site,
            release,
            fixes: Vec::new(),
            suspects: Vec::new(),
            doubts: 0,
            delays: Delays::default(),
            past: false,
            before_last: 0,
            stale_m: None,
            refused: VecDeque::new(),
            counts: BTreeMap::new(),
            untimed: 0,
            accepted: 0,
        }
    }

    /// The same for a flight that is over: what a tracker sent long after its time tells of it as well.
    pub fn of_past(site: Position, release: Timestamp) -> Gate {
        Gate {
            past: true,
            ..Gate::new(site, release)
        }
    }

    /// The fixes let through, in the order of their times.
    pub fn fixes(&self) -> &[Fix] {
        &self.fixes
    }

    /// How many fixes were let through.
    pub fn accepted(&self) -> usize {
        self.accepted
    }

    /// How often was refused, by reason.
    pub fn counts(&self) -> &BTreeMap<Refusal, usize> {
        &self.counts
    }

    /// What was refused last, the newest at the end; without what is not of this flight.
    pub fn refused(&self) -> impl Iterator<Item = &Refused> {
        self.refused.iter()
    }

    /// How many fixes had no time of their own.
    pub fn untimed(&self) -> usize {
        self.untimed
    }

    /// From the trackers' clocks to the hearer's, s, from the promptest of the last; `None` where unknown.
    pub fn usual_delay_s(&self) -> Option<f64> {
        self.delays.usual_s()
    }

    /// Offers what was read of something heard at a time, if that is known.
    pub fn offer(&mut self, outcome: Outcome, heard: Option<Timestamp>) -> Change {
        let report = match outcome {
            Ok(report) => report,
            Err(why) => {
                self.refuse(why, heard, None);
                return Change::Nothing;
            }
        };
        let heard = report.heard.or(heard);
        match self.timed(report, heard) {
            Ok(timed) => self.judge(timed, heard),
            Err(why) => {
                self.refuse(why, heard, None);
                Change::Nothing
            }
        }
    }

    fn timed(&self, report: Report, heard: Option<Timestamp>) -> Result<Timed, Refusal> {
        let Position { lat_deg, lon_deg } = report.position;
        // What receivers say that have no fix.
        if lat_deg.abs() < 1e-3 && lon_deg.abs() < 1e-3 {
            return Err(Refusal::NoFix);
        }
        let altitude_m = report.altitude_m.ok_or(Refusal::NoHeight)?;
        if !HEIGHTS_M.contains(&altitude_m) {
            return Err(Refusal::Impossible);
        }
        let last = self.fixes.last().map(|f| f.time);
        // A time of the day is taken near to what is known best: the last fix,
        // else when it was heard.
        let near = last.or(heard).unwrap_or(self.release);
        let own = report.stamp.near(near);
        let time = own.or(heard).ok_or(Refusal::NoTime)?;
        let fix = Fix {
            tracker: report.tracker,
            time,
            position: report.position,
            altitude_m,
        };
        Ok(Timed {
            fix,
            own: !matches!(report.stamp, Stamp::Unknown),
            whole: matches!(report.stamp, Stamp::At(_)),
        })
    }

    fn judge(&mut self, timed: Timed, heard: Option<Timestamp>) -> Change {
        let Timed { fix, own, whole } = timed;
        let delay_s = heard.filter(|_| own).map(|h| seconds_between(fix.time, h));
        let off = delay_s.and_then(|d| Some((self.delays.judge(d)?, d)));
        // A part of a time is taken near to others, so that of a whole one only is what comes late sure.
        let sent_later = self.past && whole && matches!(off, Some((Refusal::Late, _)));
        if let Some((why, delay_s)) = off.filter(|_| !sent_later) {
            return self.off_clock(why, heard, fix, delay_s);
        }
        if self.is_known(&fix, own) {
            return self.no(Refusal::Duplicate, heard, fix);
        }
        if let Some(why) = self.wrong_height(&fix) {
            let dropped = why == Refusal::StaleHeight && self.drop_stale(&fix);
            self.refuse(why, heard, Some(fix));
            return if dropped {
                Change::Earlier
            } else {
                Change::Nothing
            };
        }
        let time = fix.time;
        let mut change = self.place(fix, heard);
        if change != Change::Nothing {
            self.untimed += usize::from(!own);
            // Of fixes let through only, or what is wrong could become what is usual.
            if let Some(delay_s) = delay_s.filter(|_| !sent_later)
                && self.learn_delay(time, delay_s)
            {
                change = Change::Earlier;
            }
            self.thin();
        }
        change
    }

    /// Learns a delay; whether that shows that the time of a fix is ahead, which is taken out.
    fn learn_delay(&mut self, time: Timestamp, delay_s: f64) -> bool {
        let ahead = self.delays.learn(time, delay_s);
        for time in &ahead {
            if let Ok(at) = self.fixes.binary_search_by(|f| f.time.cmp(time)) {
                self.take_out(at, Refusal::Ahead);
            }
        }
        !ahead.is_empty()
    }

    /// Refuses a fix by its clock, unless there are now so many that it was the track that had a wrong one, or the
    /// hearer that has another one now.
    fn off_clock(
        &mut self,
        why: Refusal,
        heard: Option<Timestamp>,
        fix: Fix,
        delay_s: f64,
    ) -> Change {
        let against = self.delays.stand_against(&fix, delay_s);
        self.refuse(why, heard, Some(fix));
        let Some(against) = against else {
            return Change::Nothing;
        };
        if !self.is_of_track(&against) {
            // Beside the clock of these, that of the track was off the other way.
            let other_way = match why {
                Refusal::Late => Refusal::Ahead,
                _ => Refusal::Late,
            };
            while !self.fixes.is_empty() {
                self.take_out(0, other_way);
            }
            self.suspects.clear();
        }
        for fix in against {
            self.forgive(&fix, &[Refusal::Late, Refusal::Ahead]);
            match self.is_known(&fix, true) {
                true => self.refuse(Refusal::Duplicate, None, Some(fix)),
                false => {
                    self.place(fix, None);
                }
            }
        }
        Change::Earlier
    }

    /// Whether fixes, in the order of their times, lie on the track as far as it goes and go on from there, so that
    /// only their hearer's clock was another.
    fn is_of_track(&self, others: &[Fix]) -> bool {
        let Some(last) = self.fixes.last() else {
            return false;
        };
        let (on_it, later) = others.split_at(others.partition_point(|f| f.time <= last.time));
        on_it.iter().all(|fix| self.fits(fix))
            && later.first().is_none_or(|next| goes_on_from(last, next))
    }

    /// Whether a fix lies between two of the track, or is one of them.
    fn fits(&self, fix: &Fix) -> bool {
        let next = self.fixes.partition_point(|f| f.time < fix.time);
        let (after, before) = (self.fixes.get(next), next.checked_sub(1));
        match after {
            Some(same) if same.time == fix.time => {
                same.position.distance_m(fix.position) <= PLACE_SLACK_M
                    && (same.altitude_m - fix.altitude_m).abs() <= HEIGHT_SLACK_M
            }
            Some(after) => before
                .and_then(|i| self.fixes.get(i))
                .is_some_and(|before| reachable(before, fix) && reachable(fix, after)),
            None => false,
        }
    }

    /// Takes out a fix that was let through.
    fn take_out(&mut self, at: usize, why: Refusal) {
        if at < self.fixes.len() {
            let gone = self.fixes.remove(at);
            self.accepted = self.accepted.saturating_sub(1);
            self.refuse(why, None, Some(gone));
        }
    }

    /// Whether a fix is there already: the same time, or without a time of its own the same place and
    /// height a short while ago.
    fn is_known(&self, fix: &Fix, own_time: bool) -> bool {
        let same_place = |f: &&Fix| f.position == fix.position && f.altitude_m == fix.altitude_m;
        let mut near = self
            .fixes
            .iter()
            .rev()
            .take_while(|f| seconds_between(f.time, fix.time) < 60.0);
        // One time of a tracker is one place, by however many ways the packet comes.
        match own_time {
            true => self
                .fixes
                .binary_search_by(|f| f.time.cmp(&fix.time))
                .is_ok(),
            false => near.any(|f| same_place(&f)),
        }
    }

    /// Whether the height of a newer fix is one of a receiver that has lost it.
    fn wrong_height(&mut self, fix: &Fix) -> Option<Refusal> {
        // Once stuck, a height stays so until the tracker says another.
        if let Some(stale_m) = self.stale_m {
            if same(stale_m, fix.altitude_m) {
                return Some(Refusal::StaleHeight);
            }
            self.stale_m = None;
        }
        let [.., before, first, second] = self.fixes.as_slice() else {
            return None;
        };
        if fix.time <= second.time {
            return None;
        }
        let still =
            same(first.altitude_m, second.altitude_m) && same(second.altitude_m, fix.altitude_m);
        let seconds = seconds_between(first.time, fix.time);
        let moved_m = first.position.distance_m(fix.position);
        if still
            && seconds >= STALE_S
            // It moves on, so it has not landed, and it rose or fell before, so it does not float.
            && moved_m > MOVING_M_S * seconds + 100.0
            && rate(before, first).abs() > 1.0
        {
            self.stale_m = Some(fix.altitude_m);
            return Some(Refusal::StaleHeight);
        }
        let at_limit = LIMITS_M
            .iter()
            .any(|(low, high)| (*low..*high).contains(&fix.altitude_m));
        let silent = seconds_between(second.time, fix.time) > SILENT_S;
        // A receiver at its limit says that height after the silence, as if
        // the rise had nearly stopped.
        let stopped = rate(first, second) > 2.5 && (0.0..1.5).contains(&rate(second, fix));
        (at_limit && silent && stopped).then_some(Refusal::HeightLimit)
    }

    /// Takes back the fix before, which has the height that stands still as well.
    fn drop_stale(&mut self, fix: &Fix) -> bool {
        let is_last = self
            .fixes
            .last()
            .is_some_and(|last| same(last.altitude_m, fix.altitude_m));
        let before = self
            .fixes
            .len()
            .checked_sub(2)
            .and_then(|i| self.fixes.get(i));
        // Two alike proved nothing when they came; of the two the first may have been true.
        let too = is_last && before.is_some_and(|b| same(b.altitude_m, fix.altitude_m));
        if too && let Some(gone) = self.fixes.pop() {
            self.refuse(Refusal::StaleHeight, None, Some(gone));
            self.accepted -= 1;
        }
        too
    }

    fn place(&mut self, fix: Fix, heard: Option<Timestamp>) -> Change {
        let at = self.fixes.partition_point(|f| f.time < fix.time);
        let newest = at == self.fixes.len();
        // A late one comes between two, which both have to allow it.
        let fits = |other: Option<&Fix>| other.is_none_or(|o| reachable(o, &fix));
        let first = self.fixes.is_empty();
        let before = at.checked_sub(1).and_then(|i| self.fixes.get(i));
        if (first && self.is_near_site(&fix))
            || (!first && fits(before) && fits(self.fixes.get(at)))
        {
            let unheard = heard.is_none();
            self.fixes.insert(at, fix);
            self.accepted += 1;
            self.doubts = 0;
            if unheard {
                self.drop_last_if_ahead(at);
            }
            return if newest {
                Change::Newer
            } else {
                Change::Earlier
            };
        }
        if let Some(change) = self.against_last(&fix, at) {
            return change;
        }
        let own_name = self.fixes.iter().any(|f| f.tracker == fix.tracker);
        // A name that the track has is the same balloon elsewhere, another one may be another's.
        let why = match first || own_name {
            true => Refusal::Jump,
            false => Refusal::OtherBalloon,
        };
        self.suspects.push(fix.clone());
        self.doubts += 1;
        if self.suspects.len() > SUSPECTS {
            self.suspects.remove(0);
        }
        self.refuse(why, heard, Some(fix));
        Change::Nothing
    }

    /// Takes out the last fix where one after the other comes before it, long before, and its place goes on into
    /// theirs: its time is ahead of its place. The hearer's clock, where there is one, tells that sooner.
    fn drop_last_if_ahead(&mut self, at: usize) {
        let is_before_last = match self.fixes.get(at..) {
            Some([fix, last]) => {
                fix.tracker == last.tracker && seconds_between(fix.time, last.time) > LATE_S
            }
            _ => false,
        };
        self.before_last = if is_before_last {
            self.before_last + 1
        } else {
            0
        };
        // A landing that was heard of first has them before it as well, but lies elsewhere.
        let belongs = match self.fixes.get((at + 1).saturating_sub(BEFORE_LAST)..) {
            Some([first, .., fix, last]) => is_beside(last, first, fix),
            _ => false,
        };
        if self.before_last >= BEFORE_LAST && belongs {
            self.before_last = 0;
            self.take_out(at + 1, Refusal::Ahead);
        }
    }

    /// Whether a fix that does not fit shows that it is the track that was wrong: its last fix, which
    /// neither neighbour can reach while they can reach each other, or all of a very short one.
    fn against_last(&mut self, fix: &Fix, at: usize) -> Option<Change> {
        let speaks = |s: &Fix| s.time != fix.time && same_balloon(s, fix) && reachable(s, fix);
        let count = self.fixes.len();
        // At the end only: a fix in the middle has two neighbours that spoke for it.
        if at == count
            && let [_, .., before, _] = self.fixes.as_slice()
        {
            let helper = self
                .suspects
                .iter()
                .rposition(|s| speaks(s) && reachable(before, s) && s.time > before.time);
            if reachable(before, fix)
                && let Some(helper) = helper
            {
                let helper = self.suspects.remove(helper);
                self.forgive(&helper, &BY_PLACE);
                if let Some(wrong) = self.fixes.pop() {
                    self.refuse(Refusal::Jump, None, Some(wrong));
                }
                let mut two = [helper, fix.clone()];
                // The one that waited may be of a later time: it may have come out of order.
                two.sort_by_key(|f| f.time);
                self.fixes.extend(two);
                // One went, two came.
                self.accepted += 1;
                return Some(Change::Earlier);
            }
        }
        let with = self.suspects.iter().filter(|s| speaks(s)).count() + 1;
        let enough = match count {
            0 => with >= 2,
            // In a row: none that fits the track has come between them.
            1 | 2 => with >= AGAINST_FEW && self.doubts + 1 >= AGAINST_FEW,
            _ => false,
        };
        if !enough {
            return None;
        }
        let (with, rest): (Vec<Fix>, Vec<Fix>) = self.suspects.drain(..).partition(speaks);
        self.suspects = rest;
        with.iter()
            .for_each(|suspect| self.forgive(suspect, &BY_PLACE));
        let wrong = std::mem::take(&mut self.fixes);
        wrong
            .into_iter()
            .for_each(|f| self.refuse(Refusal::Jump, None, Some(f)));
        self.fixes = with;
        self.fixes.push(fix.clone());
        self.fixes.sort_by_key(|f| f.time);
        // Suspects were held against this fix, not against each other.
        self.fixes.dedup_by(|b, a| a.time == b.time);
        self.accepted = self.fixes.len();
        Some(Change::Earlier)
    }

    fn is_near_site(&self, fix: &Fix) -> bool {
        // Bounded: a clock that is days ahead would otherwise let in the whole earth.
        let flown_s = seconds_between(self.release, fix.time).clamp(0.0, FLOWN_S);
        let away_m = self.site.distance_m(fix.position);
        away_m <= NEAR_SITE_M + FASTEST_M_S * flown_s && self.fixes.is_empty()
    }

    fn no(&mut self, why: Refusal, heard: Option<Timestamp>, fix: Fix) -> Change {
        self.refuse(why, heard, Some(fix));
        Change::Nothing
    }

    fn refuse(&mut self, why: Refusal, heard: Option<Timestamp>, fix: Option<Fix>) {
        *self.counts.entry(why).or_default() += 1;
        // Of a source that many share most lines are such, and would push out what tells something.
        if matches!(why, Refusal::NotAsked | Refusal::NoPosition) {
            return;
        }
        self.refused.push_back(Refused { why, heard, fix });
        if self.refused.len() > KEPT {
            self.refused.pop_front();
        }
    }

    /// What was refused for one of some reasons is let through after all: it was not refused.
    fn forgive(&mut self, fix: &Fix, reasons: &[Refusal]) {
        let of_it = |r: &Refused| r.fix.as_ref() == Some(fix);
        // For these only: the same may have come once more, as a duplicate or late.
        let forgiven = |r: &Refused| reasons.contains(&r.why);
        let at = self.refused.iter().rposition(|r| of_it(r) && forgiven(r));
        // After a thousand others it is not among what is kept any more.
        let Some(refused) = at.and_then(|at| self.refused.remove(at)) else {
            return;
        };
        if let Some(count) = self.counts.get_mut(&refused.why) {
            *count = count.saturating_sub(1);
        }
        self.counts.retain(|_, count| *count > 0);
    }

    /// Keeps of what is old only every few seconds, so that a day of reports is no more than an hour.
    fn thin(&mut self) {
        let Some(last) = self.fixes.last().map(|f| f.time) else {
            return;
        };
        let old = after(last, -RECENT_S);
        let edge = self.fixes.partition_point(|f| f.time < old);
        // Now and then only, as all the old ones are moved by it.
        if edge < 512 || !edge.is_multiple_of(256) {
            return;
        }
        // The burst is worked out from the highest and its neighbours.
        let heights = self.fixes.iter().map(|f| f.altitude_m).enumerate();
        let top = heights
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map_or(0, |h| h.0);
        let at_top = top.saturating_sub(1)..=top + 1;
        let recent = self.fixes.split_off(edge);
        let mut kept: Vec<Fix> = Vec::with_capacity(edge);
        for (i, fix) in self.fixes.drain(..).enumerate() {
            let apart = |k: &Fix| seconds_between(k.time, fix.time) >= APART_S;
            if at_top.contains(&i) || kept.last().is_none_or(apart) {
                kept.push(fix);
            }
        }
        kept.extend(recent);
        self.fixes = kept;
    }
}

fn same(a: f64, b: f64) -> bool {
    (a - b).abs() < 0.01
}

fn same_balloon(a: &Fix, b: &Fix) -> bool {
    a.tracker == b.tracker || a.tracker.is_empty() || b.tracker.is_empty()
}

/// Whether a fix follows another by the same clock: one that is set right jumps by more.
fn goes_on_from(last: &Fix, next: &Fix) -> bool {
    let after_s = seconds_between(last.time, next.time);
    (0.0..LATE_S).contains(&after_s) && reachable(last, next)
}

/// Whether a fix is as near to the first of some others as their last one is.
fn is_beside(fix: &Fix, first: &Fix, last: &Fix) -> bool {
    let up_m = |to: &Fix| (to.altitude_m - first.altitude_m).abs();
    let away_m = |to: &Fix| to.position.distance_m(first.position);
    up_m(fix) <= up_m(last) + HEIGHT_SLACK_M && away_m(fix) <= away_m(last) + PLACE_SLACK_M
}

/// Rate of rise from one fix to another, m/s; 0 where no time lies between.
pub fn rate(from: &Fix, to: &Fix) -> f64 {
    let seconds = seconds_between(from.time, to.time);
    match seconds > 0.0 {
        true => (to.altitude_m - from.altitude_m) / seconds,
        false => 0.0,
    }
}

/// Whether a balloon can make both fixes.
/// In either order; the slack allows for fixes that are close together.
pub fn reachable(a: &Fix, b: &Fix) -> bool {
    let (from, to) = if a.time <= b.time { (a, b) } else { (b, a) };
    let seconds = seconds_between(from.time, to.time);
    let higher_m = to.altitude_m - from.altitude_m;
    let rises = higher_m <= FASTEST_RISE_M_S * seconds + HEIGHT_SLACK_M;
    let falls = higher_m >= -FASTEST_FALL_M_S * seconds - HEIGHT_SLACK_M;
    rises && falls && from.position.distance_m(to.position) <= FASTEST_M_S * seconds + PLACE_SLACK_M
}
