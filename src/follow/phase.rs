//! What the balloon is doing, by its fixes alone.

use jiff::Timestamp;
use serde::Serialize;

use crate::clock::{after, seconds_between};
use crate::earth::HIGHEST_GROUND_M;
use crate::geodesy::Position;
use crate::track::Fix;
use crate::track::gate::rate;

/// What the balloon is doing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Phase {
    /// Nothing has left the ground yet.
    OnGround,
    /// On its way up.
    Rising,
    /// In the air, and for ten minutes neither up nor down.
    Floating,
    /// On its way down.
    Falling,
    /// It lies still.
    Landed,
}

/// A flight as its fixes tell it: places among them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Told {
    /// What it is doing.
    pub phase: Phase,
    /// The first fix in the air.
    pub first: usize,
    /// The highest fix.
    pub top: usize,
}

/// A fix is on the ground up to so much above the lowest, m: heights of receivers at rest wander by tens of
/// metres.
pub(super) const NEAR_GROUND_M: f64 = 100.0;
/// What stands still is no higher than this above the lowest, m: higher up it may rise already.
const STANDING_M: f64 = 30.0;
/// Nothing has left the ground before it was so much higher than the lowest, m.
const LEFT_GROUND_M: f64 = 150.0;
/// A flight that is first heard higher than this above its site was heard late, m.
pub const HEARD_LATE_M: f64 = 400.0;
/// One leg that falls by more than this is a fall, m.
const SURE_FALL_M: f64 = 300.0;
/// A crew drives up no farther than this, m, before it lets go.
const DRIVEN_UP_M: f64 = 1_000.0;
/// What rises so fast, m/s, flies: no car climbs like that.
const RISING_M_S: f64 = 2.0;
/// However slowly: no road rises by so much, m.
const SURE_RISE_M: f64 = 3_000.0;
/// Of two legs that fall each falls at least so much, m, and so fast, m/s.
const LEG_FALL_M: f64 = 40.0;
const LEG_FALL_M_S: f64 = 1.5;
/// A height from which it "fell" and rises again by this, m, was none.
const RISES_AGAIN_M: f64 = 250.0;
/// It floats if it rises or sinks more slowly than this, m/s, for so long, s.
pub(super) const FLOATING_M_S: f64 = 0.5;
pub(super) const FLOATING_S: f64 = 600.0;
/// It lies still if it moves less than this, m, in so long, s.
pub(super) const STILL_M: f64 = 60.0;
const STILL_UP_M: f64 = 90.0;
pub(super) const STILL_S: f64 = 60.0;

/// What has lain still falls no more, faster than this, m/s: else its receiver stood still.
const FALLS_ON_M_S: f64 = 3.0;
/// Nothing rises faster than this, m/s.
const JUMPS_M_S: f64 = 20.0;
/// As far as this, m, the wind may drag what has landed; beyond, the crew carries it.
pub(super) const DRAGGED_M: f64 = 1_000.0;

/// In a longer silence, s, it may have burst, landed, or been picked up.
pub(super) const SILENT_S: f64 = 300.0;
/// Rates of what may have burst are taken over at least so long, s.
pub(super) const WINDOW_S: f64 = 120.0;
/// What has burst falls no more slowly than what lands with this, m/s, does at its height.
pub(super) const LANDS_M_S: f64 = 2.0;
/// From where it was heard last it drifts on no faster than this and falls no more slowly, m/s.
const DRIFTS_M_S: f64 = 40.0;
const FALLS_M_S: f64 = 1.0;
/// What moves faster than this over the ground, m/s, and hardly falls, is carried.
const CARRIED_M_S: f64 = 3.0;

/// A place far above the ground that was told again and again.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stuck {
    /// When it was told first.
    pub since: Timestamp,
    /// For so long, s.
    pub for_s: f64,
}

/// [`told`] where the ground is thought not to be higher than `highest_m` at a place: a receiver above that which says
/// the same again and again has stopped. Its repeats are taken out, and told where nothing came after them. One that
/// lies there wanders by metres, and has landed on a mountain.
pub fn told_above(
    fixes: &mut Vec<Fix>,
    site_m: f64,
    highest_m: impl Fn(Position) -> f64,
) -> (Told, Option<Stuck>) {
    let mut stuck = None;
    loop {
        let mut of_flight = fixes.clone();
        let told = told(&mut of_flight, site_m);
        let hangs = |f: &&Fix| told.phase == Phase::Landed && f.altitude_m > highest_m(f.position);
        let last = of_flight.last().filter(hangs);
        let end = last.map_or(0, |last| fixes.partition_point(|f| f.time <= last.time));
        let Some(from) = repeated_from(&fixes[..end]) else {
            let end = of_flight.last().map(|f| f.time);
            *fixes = of_flight;
            return (told, stuck.filter(|s: &Stuck| Some(s.since) == end));
        };
        let since = fixes[from].time;
        stuck = Some(Stuck {
            since,
            for_s: seconds_between(since, fixes[end - 1].time),
        });
        fixes.drain(from + 1..end);
    }
}

/// The first of the last fixes, where these are the same for as long as what lies is still, and came out of the air.
fn repeated_from(fixes: &[Fix]) -> Option<usize> {
    let last = fixes.last()?;
    let first_of =
        |is: &dyn Fn(&&Fix) -> bool| fixes.len() - fixes.iter().rev().take_while(is).count();
    let same = first_of(&|f| f.position == last.position && f.altitude_m == last.altitude_m);
    let near = first_of(&|f| is_near(f, last, STILL_M));
    // What had lain there for a while may say the same by chance.
    let lay_s = seconds_between(fixes[near].time, fixes[same].time);
    let repeats_s = seconds_between(fixes[same].time, last.time);
    (repeats_s >= STILL_S && lay_s < STILL_S).then_some(same)
}

/// What fixes tell of a flight from a site at an altitude; heights that turn out to be none are taken out
/// of them, and what comes after it has lain still and was carried away.
pub fn told(fixes: &mut Vec<Fix>, site_m: f64) -> Told {
    loop {
        let told = told_once(fixes, site_m);
        if told.phase == Phase::Falling && rises_again(&fixes[told.top..]) {
            // A wrong height on top makes a fall of what is none; without it the next highest is the
            // top.
            fixes.remove(told.top);
            continue;
        }
        if !matches!(told.phase, Phase::Falling | Phase::Landed) {
            return told;
        }
        if let Some(carried) = carried(&fixes[told.top..], site_m) {
            fixes.truncate(told.top + carried);
            continue;
        }
        let Some(lies) = lies(&fixes[told.top..], site_m) else {
            return told;
        };
        leave_out_what_follows(fixes, told.top, told.top + lies, site_m);
        return Told {
            phase: Phase::Landed,
            ..told
        };
    }
}

/// Takes out what comes after it was carried away from where it lies. While it stays near, the wind may drag it.
fn leave_out_what_follows(fixes: &mut Vec<Fix>, top: usize, lies: usize, site_m: f64) {
    let end = lies + staying(&fixes[lies..]);
    if end < fixes.len() {
        let top_m = fixes[top].altitude_m;
        let mut stays = (lies..end).rev();
        let still = stays.find(|&i| is_still(&fixes[top..=i], top_m, site_m));
        fixes.truncate(still.map_or(end, |i| i + 1));
    }
}

fn told_once(fixes: &[Fix], site_m: f64) -> Told {
    let by_height = |i: &usize, j: &usize| fixes[*i].altitude_m.total_cmp(&fixes[*j].altitude_m);
    let on_ground = |first| Told {
        phase: Phase::OnGround,
        first,
        top: first,
    };
    // Of equal heights the first counts: `max_by` takes the last, so they are looked at from the
    // end.
    let Some(top) = (0..fixes.len()).rev().max_by(by_height) else {
        return on_ground(0);
    };
    let lowest_m = lowest(&fixes[..=top]);
    // What stands still at first stands on the ground, at whatever height the plan's site is.
    let late = lowest_m > site_m + HEARD_LATE_M && !stands_at_first(fixes);
    let floor_m = stood_m(&fixes[..=top]);
    let near_ground = |f: &Fix| f.altitude_m < floor_m + NEAR_GROUND_M;
    // Heard late, its first fix is in the air already, and none tells of the ground.
    let first = match late {
        true => 0,
        false => fixes[..=top]
            .iter()
            .rposition(near_ground)
            .map_or(0, |i| i + 1),
    };
    let risen = |from_m: f64| fixes[top].altitude_m >= from_m + LEFT_GROUND_M;
    let from = &fixes[first.saturating_sub(1).min(top)];
    // What is below the site may still be on its way up there.
    let left = risen(floor_m) && (risen(site_m) || flies_up(from, &fixes[top]));
    if first > top || (!late && !left) {
        return on_ground(top);
    }
    let phase = match () {
        () if !is_falling(&fixes[top..]) => match is_floating(&fixes[first..]) {
            true => Phase::Floating,
            false => Phase::Rising,
        },
        () if is_still(&fixes[top..], fixes[top].altitude_m, site_m) => Phase::Landed,
        () if sinks_slowly(&fixes[top..], site_m) => Phase::Floating,
        () => Phase::Falling,
    };
    Told { phase, first, top }
}

/// The height at which it stood last, of what is low: the lowest, or where a crew drove up to from there.
fn stood_m(fixes: &[Fix]) -> f64 {
    let lowest_m = lowest(fixes);
    let stands =
        |k: &usize| fixes[*k].altitude_m < lowest_m + DRIVEN_UP_M && lies_still(&fixes[..=*k]);
    let Some(stood) = (0..fixes.len()).rev().find(stands) else {
        return lowest_m;
    };
    let there = |k: &usize| is_near(&fixes[*k], &fixes[stood], STILL_M);
    let from = (0..stood).rev().take_while(there).last().unwrap_or(stood);
    // What a receiver at rest wanders by is no drive.
    match lowest(&fixes[from..=stood]) {
        stood_m if stood_m > lowest_m + NEAR_GROUND_M => stood_m,
        _ => lowest_m,
    }
}

/// Whether it rises from one fix to another as nothing does that a crew carries.
pub(super) fn flies_up(from: &Fix, to: &Fix) -> bool {
    rate(from, to) >= RISING_M_S || to.altitude_m - from.altitude_m >= SURE_RISE_M
}

fn is_falling(from_top: &[Fix]) -> bool {
    let (Some(top), Some(last)) = (from_top.first(), from_top.last()) else {
        return false;
    };
    if top.altitude_m - last.altitude_m > SURE_FALL_M {
        return true;
    }
    falls_by_legs(from_top)
}

/// Two legs, as the height of one fix alone may be wrong by as much.
fn falls_by_legs(from_top: &[Fix]) -> bool {
    let falls = |pair: &[Fix]| {
        let fallen_m = pair[0].altitude_m - pair[1].altitude_m;
        fallen_m > LEG_FALL_M && rate(&pair[0], &pair[1]) < -LEG_FALL_M_S
    };
    from_top.len() > 2 && from_top.windows(2).rev().take(2).all(falls)
}

/// Whether it rose again after it had fallen.
fn rises_again(from_top: &[Fix]) -> bool {
    let lowest = from_top
        .iter()
        .map(|f| f.altitude_m)
        .enumerate()
        .min_by(|a, b| a.1.total_cmp(&b.1));
    let (Some((at, lowest_m)), Some(last)) = (lowest, from_top.last()) else {
        return false;
    };
    // Down from a wrong height it is one step, down from a burst it are many.
    let down_to = from_top.get(..=at).unwrap_or(from_top);
    let fallen_m = down_to
        .windows(2)
        .map(|pair| pair[0].altitude_m - pair[1].altitude_m);
    let at_once_m = fallen_m.fold(0.0, f64::max);
    let was_wrong = at_once_m > 0.5 * (from_top[0].altitude_m - lowest_m);
    let low = |f: &&Fix| f.altitude_m < lowest_m + NEAR_GROUND_M;
    // What fell in a silence and lay there may be driven over a hill.
    let flies = || {
        from_top
            .iter()
            .rfind(low)
            .is_some_and(|from| flies_up(from, last))
    };
    was_wrong && from_top.len() >= at + 2 && last.altitude_m > lowest_m + RISES_AGAIN_M && flies()
}

/// Whether it only sinks while it floats: high up, and heard all the while, as in a silence it may have burst.
fn sinks_slowly(from_top: &[Fix], site_m: f64) -> bool {
    let (Some(top), Some(last)) = (from_top.first(), from_top.last()) else {
        return false;
    };
    let high = last.altitude_m > 0.5 * (top.altitude_m + site_m);
    let of_late = |leg: &&[Fix]| seconds_between(leg[1].time, last.time) < FLOATING_S;
    let heard = |leg: &[Fix]| seconds_between(leg[0].time, leg[1].time) <= SILENT_S;
    let mut legs = from_top.windows(2).rev().take_while(of_late);
    let sinks = high && !falls_by_legs(from_top) && is_floating(from_top) && legs.all(heard);
    sinks && !fell(from_top)
}

/// Whether it fell since its highest fix as what has burst does: what then stands still lies, or its receiver stopped.
fn fell(from_top: &[Fix]) -> bool {
    from_top.iter().enumerate().any(|(i, to)| {
        let from = long_before(&from_top[..=i], WINDOW_S);
        from.is_some_and(|from| rate(from, to) < -LANDS_M_S)
    })
}

fn is_floating(aloft: &[Fix]) -> bool {
    let Some(last) = aloft.last() else {
        return false;
    };
    let begin = after(last.time, -FLOATING_S);
    let Some(from) = aloft.iter().rposition(|f| f.time <= begin) else {
        return false;
    };
    let slow = |f: &Fix| {
        (f.altitude_m - aloft[from].altitude_m).abs()
            < FLOATING_M_S * seconds_between(aloft[from].time, last.time)
    };
    // All of them: a balloon that rose and sank between would pass by its ends.
    aloft[from + 1..].iter().all(slow)
}

fn is_still(from_top: &[Fix], top_m: f64, site_m: f64) -> bool {
    let Some(last) = from_top.last() else {
        return false;
    };
    // A float high up may be as still; what lies is in the lower half of the way.
    let low = last.altitude_m < site_m + 0.5 * (top_m - site_m);
    low && lies_still(from_top)
}

/// Whether two fixes are of one place.
pub(super) fn is_near(a: &Fix, b: &Fix, within_m: f64) -> bool {
    (a.altitude_m - b.altitude_m).abs() < STILL_UP_M && a.position.distance_m(b.position) < within_m
}

/// Whether it has lain where it is for a while.
pub fn lies_still(fixes: &[Fix]) -> bool {
    let earlier = long_before(fixes, STILL_S).zip(fixes.last());
    earlier.is_some_and(|(f, last)| is_near(f, last, STILL_M))
}

/// The last of some fixes that is at least so long, s, before the last one of them.
pub fn long_before(fixes: &[Fix], by_s: f64) -> Option<&Fix> {
    let last = fixes.last()?;
    fixes
        .iter()
        .rfind(|f| seconds_between(f.time, last.time) >= by_s)
}

/// The lowest height of some fixes, m.
fn lowest(fixes: &[Fix]) -> f64 {
    let heights = fixes.iter().map(|f| f.altitude_m);
    heights.fold(f64::INFINITY, f64::min)
}

/// Whether it stood still on some ground before it rose.
fn stands_at_first(fixes: &[Fix]) -> bool {
    let Some(first) = fixes.first().filter(|f| f.altitude_m < HIGHEST_GROUND_M) else {
        return false;
    };
    let mut later = fixes.iter();
    let later = later.find(|f| seconds_between(first.time, f.time) >= STILL_S);
    // A receiver that repeats a place of the way up goes on from there with a jump.
    let jumps = leaving(fixes).is_some_and(|(before, away)| rate(before, away) > JUMPS_M_S);
    !jumps && later.is_some_and(|f| is_near(first, f, STILL_M))
}

/// The first fix from the top on at which it has lain still for a while, and does not fall on.
fn lies(from_top: &[Fix], site_m: f64) -> Option<usize> {
    let top_m = from_top.first()?.altitude_m;
    (1..from_top.len())
        .find(|&i| is_still(&from_top[..=i], top_m, site_m) && !falls_on(&from_top[i..]))
}

/// Whether it leaves the place of the first fix downwards, as nothing does that lay there.
pub fn falls_on(fixes: &[Fix]) -> bool {
    let stay = staying(fixes);
    let (Some(first), Some(away)) = (fixes.first(), fixes.get(stay)) else {
        return false;
    };
    // With a fix a second it falls on for a while before it is away.
    let as_high = |f: &&Fix| f.altitude_m > first.altitude_m - STANDING_M;
    let before = fixes[..stay].iter().rfind(as_high);
    first.altitude_m - away.altitude_m >= STILL_UP_M
        && before.is_some_and(|before| rate(before, away) < -FALLS_ON_M_S)
}

/// The first fix from the top on that somebody carries, heard after a silence: farther from the last one in the air
/// than it can have drifted, or on the move.
fn carried(from_top: &[Fix], site_m: f64) -> Option<usize> {
    let half_m = 0.5 * (from_top.first()?.altitude_m + site_m);
    let is_carried = |i: &usize| {
        let (before, fix) = (&from_top[i - 1], &from_top[*i]);
        let silent = seconds_between(before.time, fix.time) > SILENT_S;
        if !silent || fix.altitude_m > half_m || is_near(before, fix, DRAGGED_M) {
            return false;
        }
        let fallen_m = (before.altitude_m - fix.altitude_m).max(0.0);
        let reach_m = DRAGGED_M + DRIFTS_M_S * fallen_m / FALLS_M_S;
        before.position.distance_m(fix.position) > reach_m || is_on_the_move(&from_top[*i..])
    };
    (1..from_top.len()).find(is_carried)
}

/// Whether it goes over the ground and hardly falls.
fn is_on_the_move(fixes: &[Fix]) -> bool {
    let goes = |leg: &[Fix]| {
        let seconds = seconds_between(leg[0].time, leg[1].time);
        let way_m = leg[0].position.distance_m(leg[1].position);
        way_m > STILL_M + CARRIED_M_S * seconds && rate(&leg[0], &leg[1]) > -FALLS_M_S
    };
    // Two legs, where there are: the first may be the last of the fall.
    let mut legs = fixes.windows(2).take(2);
    fixes.len() > 1 && legs.all(goes)
}

/// The last fix where the first of them lies, and the next one.
fn leaving(fixes: &[Fix]) -> Option<(&Fix, &Fix)> {
    let stay = staying(fixes);
    fixes.get(stay.checked_sub(1)?).zip(fixes.get(stay))
}

/// How many fixes it stays where the first of them lies.
fn staying(fixes: &[Fix]) -> usize {
    let Some(first) = fixes.first() else {
        return 0;
    };
    let away = |f: &Fix| !is_near(first, f, DRAGGED_M);
    fixes.iter().position(away).unwrap_or(fixes.len())
}

/// How high the ground is that it left: the plan's site, or where it stood, if that is much higher.
pub fn ground_m(fixes: &[Fix], told: &Told, site_m: f64) -> f64 {
    let stood_m = stood_m(fixes.get(..told.first).unwrap_or_default());
    match stood_m.is_finite() && stood_m > site_m + HEARD_LATE_M {
        true => stood_m,
        false => site_m,
    }
}

/// When it left the ground: its first rate taken back to the site.
pub fn released(fixes: &[Fix], told: &Told, site_m: f64) -> Option<Timestamp> {
    let site_m = ground_m(fixes, told, site_m);
    let aloft = fixes.get(told.first..=told.top)?;
    let first = aloft.first()?;
    let later = aloft
        .iter()
        // Over some height, of which what fixes are off by is little.
        .find(|f| f.altitude_m > first.altitude_m + 300.0)
        .or(aloft.last())?;
    let rate_m_s = rate(first, later);
    // Taken back along so slow a rise, the release would lie anywhere.
    if rate_m_s < 0.5 {
        return None;
    }
    let back_s = ((first.altitude_m - site_m) / rate_m_s).max(0.0);
    let time = after(first.time, -back_s);
    // Not before it was seen standing on the ground. A track of a fix a second has many that are near it
    // and rise already.
    let before = fixes.get(..told.first).unwrap_or_default();
    let stood_m = stood_m(before);
    let stands = |f: &&Fix| f.altitude_m < stood_m + STANDING_M;
    let back = |f: &Fix| after(f.time, (stood_m - f.altitude_m) / rate_m_s);
    let stood = before.iter().rfind(stands).map(back);
    Some(stood.map_or(time, |ground| time.max(ground)))
}

/// Rate of rise (less than 0: fall) over about the last minute, m/s.
pub fn rate_now(fixes: &[Fix]) -> Option<f64> {
    let last = fixes.last()?;
    let from = fixes
        .iter()
        .rev()
        .skip(1)
        .find(|f| seconds_between(f.time, last.time) >= 30.0);
    let from = from.or_else(|| fixes.iter().rev().nth(1))?;
    Some(rate(from, last))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Up by 5 m/s to 12 km and down by 10 m/s to a height at which it is heard for ten minutes more.
    fn flight_that_stays_at(height_m: f64, wander_m: f64) -> Vec<Fix> {
        let site = Position::new(43.0, -108.0).unwrap();
        let stays_s = 2_400.0 + (12_000.0 - height_m) / 10.0;
        let fix = |k: i32| {
            let second = 30.0 * f64::from(k);
            let aloft_s = second.min(stays_s);
            let wander_m = match second > stays_s {
                true => wander_m * (1.7 * f64::from(k)).sin(),
                false => 0.0,
            };
            Fix {
                tracker: String::new(),
                time: after("2026-05-01T09:00:00Z".parse().unwrap(), second),
                position: site.destination(90.0, 10.0 * aloft_s + 2.0 * wander_m),
                altitude_m: (5.0 * aloft_s).min(12_000.0 - 10.0 * (aloft_s - 2_400.0)) + wander_m,
            }
        };
        (0..=(stays_s / 30.0) as i32 + 20).map(fix).collect()
    }

    /// Switched on at home, lower than the site: on the drive and on the pad nothing has left the ground.
    #[test]
    fn a_crew_that_drives_up_to_the_site_has_not_released() {
        let site = Position::new(43.0, -108.0).unwrap();
        let fix = |second: i32| {
            let seconds = f64::from(second);
            let home_m = 12_000.0 - 12.0 * (seconds + 5_000.0).clamp(0.0, 1_000.0);
            Fix {
                tracker: String::new(),
                time: after("2026-05-01T09:00:00Z".parse().unwrap(), seconds),
                position: site.destination(270.0, home_m),
                altitude_m: 1_640.0 - 0.025 * home_m + 5.0 * seconds.max(0.0),
            }
        };
        // Heard all the way, and switched off for the drive.
        for driven in [true, false] {
            let heard = |s: &i32| driven || !(-4_990..-1_000).contains(s);
            for end in [-4_600, -900, 0, 600] {
                let fixes = (-6_000..=end).step_by(30).filter(heard);
                let mut fixes: Vec<Fix> = fixes.map(fix).collect();
                let told = told(&mut fixes, 1_640.0);
                assert_eq!(told.phase == Phase::Rising, end > 0, "{driven} {end}");
                if end > 0 {
                    let released = released(&fixes, &told, 1_640.0).unwrap();
                    let off_s = seconds_between(fix(0).time, released);
                    assert!(off_s.abs() < 30.0, "{driven}: {off_s}");
                    assert!(fixes[told.first - 1].position.distance_m(site) < 100.0);
                }
            }
        }
    }

    /// Heard last high in the fall, found lying, and driven over a hill: that is no rise.
    #[test]
    fn what_was_found_and_is_driven_over_a_hill_has_landed() {
        let mut fixes = flight_that_stays_at(0.0, 5.0);
        fixes.retain(|f| {
            let high = f.altitude_m > 11_000.0 || f.altitude_m < 100.0;
            high || f.time < "2026-05-01T09:40:00Z".parse().unwrap()
        });
        let lay = fixes.last().unwrap().clone();
        let drive = (1..60).map(|k| {
            let k = f64::from(k);
            Fix {
                time: after(lay.time, 30.0 * k),
                position: lay.position.destination(90.0, 360.0 * k),
                altitude_m: lay.altitude_m + 15.0 * k,
                tracker: String::new(),
            }
        });
        fixes.extend(drive);
        assert_eq!(told(&mut fixes, 0.0).phase, Phase::Landed);
        assert!(fixes.last().unwrap().position.distance_m(lay.position) < DRAGGED_M);
    }

    #[test]
    fn a_receiver_that_stops_in_the_fall_floats_nowhere() {
        let phase = told(&mut flight_that_stays_at(6_500.0, 5.0), 0.0).phase;
        assert_eq!(phase, Phase::Falling);
    }

    /// No file tells how high the mountain is; that its receiver wanders tells that it lies.
    #[test]
    fn on_a_mountain_it_has_landed_and_a_receiver_that_stopped_has_not() {
        for (wander_m, phase, stopped) in [(5.0, Phase::Landed, false), (0.0, Phase::Falling, true)]
        {
            let mut fixes = flight_that_stays_at(2_100.0, wander_m);
            let (told, stuck) = told_above(&mut fixes, 0.0, |_| 1_950.0);
            assert_eq!(
                (told.phase, stuck.is_some()),
                (phase, stopped),
                "{wander_m}"
            );
        }
    }
}
