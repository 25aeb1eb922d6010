//! What the track of a whole flight measured: release, rise, burst, fall, and where it ended.

use jiff::Timestamp;
use serde::Serialize;

use crate::clock::{after, seconds_between};
use crate::error::{Error, Result};
use crate::follow::mark;
use crate::follow::phase::{self, Phase, Told};
use crate::follow::turn::{SLOWEST_FALL_M_S, Turn};
use crate::geodesy::Position;
use crate::numeric::linear;
use crate::track::Fix;
use crate::track::gate::rate;
use crate::units::in_both;
use crate::zone::Mark;

/// A flight as its track tells it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Measured {
    /// When it left the ground: its first rate taken back to the site.
    pub released: Timestamp,
    /// The place of the last fix on the ground, if it was heard there.
    pub start: Option<Position>,
    /// How high above the ground that it left it was heard first in the air, m.
    pub heard_from_m: f64,
    /// Where the lines of rise and fall meet; `None` where too little was heard of them.
    pub burst: Option<Mark>,
    /// How long it floated before it fell, s.
    pub floated_s: f64,
    /// The last place in the air, or where it lies.
    pub last: Mark,
    /// Whether it was heard on the ground.
    pub landed: bool,
    /// That it had landed by the last time at the latest, as it was silent for much of its fall.
    pub down_before: bool,
    /// The fixes from the ground to the ground, as far as they were heard.
    #[serde(skip)]
    pub track: Vec<Mark>,
    /// Altitude (m, rising) and seconds after the release on the way up, a float and the burst included.
    #[serde(skip)]
    pub up: Vec<(f64, f64)>,
    /// The same where it began to float, else of the last of the way up.
    #[serde(skip)]
    pub risen: (f64, f64),
    /// Altitude (m, rising) and seconds after the release on the way down, burst included; empty where too little
    /// was heard of it.
    #[serde(skip)]
    pub down: Vec<(f64, f64)>,
}

/// The rate at the landing is taken over at least so long, s.
const OVER_S: f64 = 45.0;
/// On the ground its height stays within this, m: that of receivers at rest wanders.
const STILL_UP_M: f64 = 60.0;
/// Higher than this above where it lies it may still fall, m: then its last fall is taken down to there.
const TOUCHES_M: f64 = 30.0;
/// No farther down than this, m: from higher up the line of the last of its fall tells no time of landing.
const GOES_ON_M: f64 = 5_000.0;
/// Heard over less than this share of its height, a fall tells no rates.
const FALL_HEARD: f64 = 0.2;

impl Measured {
    /// What fixes measured of a flight from a site at an altitude, where the ground is no higher than `highest_m` at a
    /// place.
    ///
    /// # Errors
    ///
    /// [`Error::CannotDo`] for a track that never leaves the ground, or ends before the fall.
    pub fn of(fixes: &[Fix], site_m: f64, highest_m: impl Fn(Position) -> f64) -> Result<Measured> {
        let mut fixes = fixes.to_vec();
        let (told, _) = phase::told_above(&mut fixes, site_m, &highest_m);
        check(&fixes, &told)?;
        let released = phase::released(&fixes, &told, site_m)
            .ok_or_else(|| short("the track does not rise".into()))?;
        Heard {
            ground: ground_after(&fixes, &told, site_m, highest_m),
            ground_m: phase::ground_m(&fixes, &told, site_m),
            turn: Turn::of(&fixes, &told, site_m),
            fixes: &fixes,
            told,
            released,
        }
        .measured()
    }

    /// When it landed, where that was heard.
    pub fn landing_time(&self) -> Option<Timestamp> {
        (self.landed && !self.down_before).then_some(self.last.time)
    }

    /// Seconds after the release at an altitude on the way up, m.
    pub fn up_at(&self, altitude_m: f64) -> Option<f64> {
        linear(&self.up, altitude_m)
    }
}

fn short(why: String) -> Error {
    Error::CannotDo {
        why,
        remedy: "expected a track from the release to the fall".into(),
    }
}

fn check(fixes: &[Fix], told: &Told) -> Result<()> {
    let Some(last) = fixes.last() else {
        return Err(short("no report of this flight was let through".into()));
    };
    let height = in_both(|units| units.height(last.altitude_m));
    match told.phase {
        Phase::OnGround => Err(short("the track never leaves the ground".into())),
        Phase::Rising => Err(short(format!(
            "the track ends in the air on its way up, at {height} above sea level"
        ))),
        Phase::Floating => Err(short(format!(
            "the track ends in the air while it floats, at {height} above sea level"
        ))),
        Phase::Falling | Phase::Landed => Ok(()),
    }
}

/// A flight among its fixes.
struct Heard<'a> {
    fixes: &'a [Fix],
    told: Told,
    turn: Turn,
    /// Where it came down.
    ground: Option<Ground>,
    /// How high the ground is that it left, m.
    ground_m: f64,
    released: Timestamp,
}

impl Heard<'_> {
    fn measured(&self) -> Result<Measured> {
        let (first, end, ground) = (self.told.first, self.end(), self.ground);
        let burst = self.turn.burst(self.fixes, ground.map(|g| g.altitude_m));
        let peak = burst.map(|b| (b.altitude_m, self.seconds(b.time)));
        let up = self.up(peak);
        let last = ground.map_or(self.fixes.last(), |ground| self.fixes.get(ground.lies));
        let last = last.ok_or_else(|| short("no fix".into()))?;
        let mut down = way_down(peak, self.falling().iter().map(|f| self.point(f)));
        let touched = ground.and_then(|g| touched(&down, g.altitude_m, self.point(last)));
        down.extend(touched);
        if !tells_rates(&down, ground.map_or(self.ground_m, |g| g.altitude_m)) {
            down.clear();
        }
        down.reverse();
        // With a fix on the ground at both ends, where there is one.
        let heard = &self.fixes[first.saturating_sub(1)..self.fixes.len().min(end + 1)];
        Ok(Measured {
            released: self.released,
            start: first.checked_sub(1).map(|i| self.fixes[i].position),
            heard_from_m: self.fixes[first].altitude_m - self.ground_m,
            burst,
            floated_s: self.floated_s(),
            risen: match self.floated_s() > 0.0 {
                true => self.point(&self.fixes[self.turn.level]),
                false => up[up.len() - 1],
            },
            last: Mark {
                altitude_m: ground.map_or(last.altitude_m, |g| g.altitude_m),
                time: touched.map_or(last.time, |t| after(self.released, t.1)),
                ..mark(last)
            },
            landed: ground.is_some(),
            down_before: ground.is_some_and(|g| burst.is_none() || !self.is_heard_low(&g)),
            track: heard.iter().map(mark).collect(),
            up,
            down,
        })
    }

    fn seconds(&self, time: Timestamp) -> f64 {
        seconds_between(self.released, time)
    }

    fn point(&self, fix: &Fix) -> (f64, f64) {
        (fix.altitude_m, self.seconds(fix.time))
    }

    fn floated_s(&self) -> f64 {
        let at = |i: usize| self.fixes[i].time;
        seconds_between(at(self.turn.level), at(self.turn.end))
    }

    /// The first fix that is not of the flight any more.
    fn end(&self) -> usize {
        self.ground.map_or(self.fixes.len(), |ground| ground.still)
    }

    /// The fixes of the fall.
    fn falling(&self) -> &[Fix] {
        let falling = self.fixes.get(self.turn.end + 1..self.end());
        falling.unwrap_or_default()
    }

    /// Whether the last of its fall was heard from so low that its line tells when it landed.
    fn is_heard_low(&self, ground: &Ground) -> bool {
        let last = self.falling().last();
        last.is_some_and(|f| f.altitude_m < ground.altitude_m + GOES_ON_M)
    }

    fn up(&self, peak: Option<(f64, f64)>) -> Vec<(f64, f64)> {
        let rising = &self.fixes[self.told.first..=self.turn.end];
        // What floats sinks and rises again: all its time is that of its highest.
        let highest_m = match self.floated_s() > 0.0 {
            true => self.fixes[self.told.top].altitude_m,
            false => f64::NEG_INFINITY,
        };
        let peak = peak.map(|(m, s)| (m.max(highest_m), s));
        way_up(self.ground_m, rising.iter().map(|f| self.point(f)), peak)
    }
}

/// Altitudes that rise from the ground, with their times, to where the fall begins, if that is known.
fn way_up(
    ground_m: f64,
    points: impl Iterator<Item = (f64, f64)>,
    peak: Option<(f64, f64)>,
) -> Vec<(f64, f64)> {
    let mut up = vec![(ground_m, 0.0)];
    for point in points {
        let last = up[up.len() - 1];
        // Heights that do not rise are left out: the way up is asked by its height.
        if point.0 > last.0 && point.1 > last.1 {
            up.push(point);
        }
    }
    if let Some(peak) = peak {
        // Where it is the highest fix itself, that must not stand there twice.
        up.retain(|p| p.0 < peak.0 && p.1 < peak.1);
        up.push(peak);
    }
    up
}

/// Altitudes that fall from the burst, with their times; none where that was not heard.
fn way_down(
    burst: Option<(f64, f64)>,
    points: impl Iterator<Item = (f64, f64)>,
) -> Vec<(f64, f64)> {
    let mut down: Vec<(f64, f64)> = burst.into_iter().collect();
    for point in points {
        if down
            .last()
            .is_some_and(|last| point.0 < last.0 && point.1 > last.1)
        {
            down.push(point);
        }
    }
    down
}

/// Whether enough of the height between the burst and the ground was heard of a fall.
fn tells_rates(down: &[(f64, f64)], ground_m: f64) -> bool {
    let (Some(burst), Some(last)) = (down.first(), down.last()) else {
        return false;
    };
    burst.0 - last.0 >= FALL_HEARD * (burst.0 - ground_m)
}

/// Where a fall ends: places among the fixes, and how high that is.
#[derive(Debug, Clone, Copy)]
struct Ground {
    /// The first fix that is as high as it lies, but for what a receiver at rest wanders.
    still: usize,
    /// The first one from there on that lies there, or nearly.
    lies: usize,
    /// How high it lies, m.
    altitude_m: f64,
}

/// The ground after the fall, which may be higher than is known where it lies in the end.
fn ground_after(
    fixes: &[Fix],
    told: &Told,
    site_m: f64,
    highest_m: impl Fn(Position) -> f64,
) -> Option<Ground> {
    let lies_m = match (told.phase, fixes.last()) {
        (Phase::Landed, Some(last)) => last.altitude_m + STILL_UP_M,
        _ => f64::NEG_INFINITY,
    };
    on_ground(fixes, told.top, site_m, &|place| {
        highest_m(place).max(lies_m)
    })
}

/// The ground after the fall; `None` of a track that ends before. What comes later is no part of
/// the flight: the crew carries the stack away.
fn on_ground(
    fixes: &[Fix],
    top: usize,
    site_m: f64,
    highest_m: &impl Fn(Position) -> f64,
) -> Option<Ground> {
    // Above half the way a slow fall is no landing yet.
    let half_m = 0.5 * (fixes[top].altitude_m + site_m);
    let stopped = |i: &usize| {
        let to = &fixes[*i];
        let before = phase::long_before(&fixes[top..=*i], OVER_S);
        let low = to.altitude_m < half_m && to.altitude_m <= highest_m(to.position);
        low && before.is_some_and(|from| rate(from, to) > -SLOWEST_FALL_M_S)
            // Else its receiver stood still for a while, and it fell on.
            && !phase::falls_on(&fixes[*i..])
    };
    let stopped = (top + 1..fixes.len()).find(stopped)?;
    let ground_m = fixes[stopped].altitude_m;
    let still = |i: &usize| (fixes[*i].altitude_m - ground_m).abs() < STILL_UP_M;
    // Back from there to where the stillness began.
    // It lay there already while its rate was still being averaged with the fall.
    let first = (top + 1..=stopped).rev().take_while(still).last()?;
    let touches = |i: &usize| fixes[*i].altitude_m < ground_m + TOUCHES_M;
    Some(Ground {
        still: first,
        lies: (first..=stopped).find(touches).unwrap_or(stopped),
        altitude_m: ground_m,
    })
}

/// Altitude and time at which the line of the last of a fall meets the ground: between its last fix and the
/// first one that lies there, or falls its last metres.
fn touched(down: &[(f64, f64)], ground_m: f64, lies: (f64, f64)) -> Option<(f64, f64)> {
    let last = *down.last()?;
    if last.0 <= ground_m || last.0 > ground_m + GOES_ON_M {
        return None;
    }
    let before = down.iter().rev().find(|p| last.1 - p.1 >= OVER_S)?;
    let rate_m_s = (before.0 - last.0) / (last.1 - before.1);
    Some((
        ground_m,
        // No later than the first fix that lies there: by then it was down.
        (last.1 + (last.0 - ground_m) / rate_m_s)
            .min(lies.1 + (lies.0 - ground_m).max(0.0) / rate_m_s),
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The ground and the release of the flights here: up by 5 m/s to 12 km above, down by 6 m/s.
    const SITE_M: f64 = 1_640.0;
    const DOWN_S: f64 = 4_400.0;

    fn begin() -> Timestamp {
        "2026-05-01T09:00:00Z".parse().unwrap()
    }

    /// Drifting by 10 m/s as long as it is in the air.
    fn fix(second: i32) -> Fix {
        let seconds = f64::from(second);
        let height_m = (5.0 * seconds)
            .min(12_000.0 - 6.0 * (seconds - 2_400.0))
            .max(0.0);
        let site = Position::new(43.0, -108.0).unwrap();
        Fix {
            tracker: String::new(),
            time: after(begin(), seconds),
            position: site.destination(90.0, 10.0 * seconds.clamp(0.0, DOWN_S)),
            altitude_m: SITE_M + height_m,
        }
    }

    fn measured(fixes: &[Fix]) -> Measured {
        Measured::of(fixes, SITE_M, |_| SITE_M + 300.0).unwrap()
    }

    /// A receiver that tells one place for two minutes of the fall has not landed there, however dense its fixes.
    #[test]
    fn a_place_that_is_repeated_in_the_fall_is_no_landing() {
        for every_s in [1, 10, 30] {
            let told = |second| match second {
                3_000..=3_120 => Fix {
                    time: after(begin(), f64::from(second)),
                    ..fix(3_000)
                },
                _ => fix(second),
            };
            let fixes: Vec<Fix> = (-600..5_000).step_by(every_s).map(told).collect();
            let measured = measured(&fixes);
            assert!(measured.landed, "{every_s}");
            let lies_m = measured.last.altitude_m;
            assert!((lies_m - SITE_M).abs() < 1.0, "{every_s}: {lies_m}");
        }
    }

    /// One that tells it until the end has not landed either: it was heard last when it told that first.
    #[test]
    fn a_receiver_that_stops_far_above_the_ground_has_not_landed() {
        let told = |second: i32| Fix {
            time: after(begin(), f64::from(second)),
            ..fix(second.min(3_600))
        };
        let fixes: Vec<Fix> = (-600..5_000).step_by(30).map(told).collect();
        let measured = measured(&fixes);
        assert!(!measured.landed);
        assert_eq!(measured.last.time, after(begin(), 3_600.0));
    }

    /// On a mountain that no file tells of it lies all the same: its receiver wanders.
    #[test]
    fn a_landing_far_above_the_site_is_one() {
        let mountain_m = 2_100.0;
        let told = |second: i32| {
            let fix = fix(second.min(4_050));
            let wander_m = 5.0 * (0.7 * f64::from(second)).sin();
            Fix {
                time: after(begin(), f64::from(second)),
                altitude_m: match second > 4_050 {
                    true => SITE_M + mountain_m + wander_m,
                    false => fix.altitude_m,
                },
                ..fix
            }
        };
        let fixes: Vec<Fix> = (-600..5_000).step_by(30).map(told).collect();
        let measured = Measured::of(&fixes, SITE_M, |_| SITE_M + 1_500.0).unwrap();
        assert!(measured.landed);
        let off_m = measured.last.altitude_m - SITE_M - mountain_m;
        assert!(off_m.abs() < 10.0, "{off_m}");
    }

    /// Heard last in the air and again in a car, on the move or farther away than it can have drifted.
    #[test]
    fn what_a_crew_carries_is_no_landing() {
        let before: Vec<Fix> = (-600..=4_320).step_by(30).map(fix).collect();
        let site = Position::new(43.0, -108.0).unwrap();
        let in_car = |far_m: f64, speed_m_s: f64| {
            (0..10).map(move |k| {
                let seconds = 60.0 * f64::from(k);
                Fix {
                    time: after(begin(), 6_700.0 + seconds),
                    position: site.destination(80.0, far_m + speed_m_s * seconds),
                    altitude_m: SITE_M + 40.0,
                    tracker: String::new(),
                }
            })
        };
        for (far_m, speed_m_s, landed) in [
            (70_000.0, 15.0, false),
            (45_000.0, 15.0, false),
            (70_000.0, 0.0, false),
            (46_000.0, 0.0, true),
        ] {
            let fixes: Vec<Fix> = before
                .iter()
                .cloned()
                .chain(in_car(far_m, speed_m_s))
                .collect();
            let measured = measured(&fixes);
            assert_eq!(measured.landed, landed, "{far_m} {speed_m_s}");
            if !landed {
                assert_eq!(measured.last.time, after(begin(), 4_320.0));
            }
        }
    }

    /// An hour of float, with its highest wiggle early in it, is no part of the fall.
    #[test]
    fn a_float_is_no_fall() {
        let floating = |second: i32| {
            let floated_s = (second - 2_400).clamp(0, 3_600);
            let wander_m = match floated_s {
                1..3_600 => 20.0 * (0.002 * f64::from(floated_s)).sin(),
                _ => 0.0,
            };
            let fix = fix(second - floated_s);
            Fix {
                time: after(begin(), f64::from(second)),
                altitude_m: fix.altitude_m + wander_m,
                ..fix
            }
        };
        for every_s in [1, 30, 120] {
            let fixes: Vec<Fix> = (-600..9_000).step_by(every_s).map(floating).collect();
            let measured = measured(&fixes);
            let burst_s = seconds_between(begin(), measured.burst.unwrap().time);
            assert!((burst_s - 6_000.0).abs() < 120.0, "{every_s}: {burst_s}");
            assert!((measured.floated_s - 3_600.0).abs() < 240.0);
            let (burst, lies) = (measured.down.last().unwrap(), measured.down[0]);
            let fall_m_s = (burst.0 - lies.0) / (lies.1 - burst.1);
            assert!((fall_m_s - 6.0).abs() < 0.3, "{every_s}: {fall_m_s}");
            let (from, to) = (measured.up[0], measured.risen);
            let rise_m_s = (to.0 - from.0) / (to.1 - from.1);
            assert!((rise_m_s - 5.0).abs() < 0.3, "{every_s}: {rise_m_s}");
        }
    }

    /// Heard on its way up, and lying: nobody knows where it burst, how fast it fell, or when it landed.
    #[test]
    fn a_burst_and_a_fall_that_nobody_heard_are_not_told() {
        let fixes = (-600..7_000)
            .step_by(30)
            .filter(|s| !(1_500..5_400).contains(s));
        let measured = measured(&fixes.map(fix).collect::<Vec<Fix>>());
        assert!(measured.landed && measured.down_before);
        assert_eq!((measured.burst, measured.landing_time()), (None, None));
        assert!(measured.down.is_empty());
        assert_eq!(measured.last.time, after(begin(), 5_400.0));
        assert!((measured.up_at(SITE_M + 5_000.0).unwrap() - 1_000.0).abs() < 5.0);
    }

    /// Heard last just after the burst, and lying: its fall is not known, and its burst is.
    #[test]
    fn the_first_of_a_fall_does_not_tell_the_rest() {
        let fixes = (-600..7_000)
            .step_by(30)
            .filter(|s| !(2_600..5_400).contains(s));
        let measured = measured(&fixes.map(fix).collect::<Vec<Fix>>());
        assert!(measured.burst.is_some() && measured.down_before);
        assert!(measured.down.is_empty());
    }

    /// Silent from the rise to the fall: its highest fix is one of the fall, and it burst higher up.
    #[test]
    fn a_burst_in_a_silence_lies_where_the_lines_meet() {
        // Heard again lower than where it was lost it has fallen in that silence, and did not float.
        for (every_s, heard_s) in [(1, 2_800), (30, 2_800), (1, 3_300), (30, 3_300)] {
            let fixes = (-600..5_000)
                .step_by(every_s)
                .filter(|s| !(1_600..heard_s).contains(s));
            let fixes: Vec<Fix> = fixes.map(fix).collect();
            let measured = measured(&fixes);
            let burst = measured.burst.unwrap();
            let off_s = seconds_between(begin(), burst.time) - 2_400.0;
            assert!(off_s.abs() < 120.0, "{every_s} {heard_s}: {off_s}");
            let rise_s = measured.up_at(SITE_M + 9_000.0).unwrap();
            assert!((rise_s - 1_800.0).abs() < 30.0, "{every_s}: {rise_s}");
            assert_eq!(measured.floated_s, 0.0, "{every_s} {heard_s}");
        }
    }

    /// Heard once in its fall, and found long after it landed: that one fix is none of its rise.
    #[test]
    fn a_single_fix_of_the_fall_is_no_part_of_the_rise() {
        let heard = (-600..1_740)
            .step_by(30)
            .chain([2_533])
            .chain((6_800..7_400).step_by(30));
        let measured = measured(&heard.map(fix).collect::<Vec<Fix>>());
        let (from, to) = (measured.up[0], measured.risen);
        let rise_m_s = (to.0 - from.0) / (to.1 - from.1);
        assert!((rise_m_s - 5.0).abs() < 0.3, "{rise_m_s}");
        assert_eq!(measured.burst, None);
    }

    /// Higher than the plan's site it rises from where it stood.
    #[test]
    fn the_way_up_begins_where_it_stood() {
        let fixes: Vec<Fix> = (-600..5_000).step_by(30).map(fix).collect();
        let measured = Measured::of(&fixes, SITE_M - 700.0, |_| SITE_M).unwrap();
        assert_eq!(measured.up[0], (SITE_M, 0.0));
        assert!(measured.heard_from_m < 300.0, "{}", measured.heard_from_m);
    }

    #[test]
    fn release_and_landing_are_found_however_dense_the_track() {
        for every_s in [1, 10, 60] {
            let fixes: Vec<Fix> = (-600..5_000).step_by(every_s).map(fix).collect();
            let measured = measured(&fixes);
            let released_s = seconds_between(begin(), measured.released);
            let landed_s = seconds_between(begin(), measured.last.time) - DOWN_S;
            assert!(released_s.abs() < 2.0, "{every_s}: {released_s}");
            assert!(landed_s.abs() < 2.0, "{every_s}: {landed_s}");
            assert!((measured.last.altitude_m - SITE_M).abs() < 1.0);
            assert!(measured.burst.unwrap().altitude_m >= 13_640.0 - 1e-6);
        }
    }
}
