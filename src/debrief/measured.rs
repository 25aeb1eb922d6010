//! What the track of a whole flight measured: release, rise, burst, fall, and where it ended.

use jiff::Timestamp;
use serde::Serialize;

use crate::atmosphere::{AirProfile, RHO0_KG_M3};
use crate::clock::{after, seconds_between};
use crate::error::{Error, Result};
use crate::follow::phase::{self, Phase, Told};
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
    /// How high above the site it was heard first, m.
    pub heard_from_m: f64,
    /// Where the lines of rise and fall meet.
    pub burst: Mark,
    /// The last place in the air, or where it lies.
    pub last: Mark,
    /// Whether it was heard on the ground.
    pub landed: bool,
    /// The fixes from the ground to the ground, as far as they were heard.
    #[serde(skip)]
    pub track: Vec<Mark>,
    /// Altitude (m, rising) and seconds after the release on the way up, burst included.
    #[serde(skip)]
    pub up: Vec<(f64, f64)>,
    /// Altitude (m, rising) and seconds after the release on the way down, burst included.
    #[serde(skip)]
    pub down: Vec<(f64, f64)>,
}

/// Rates are taken over at least so long, s.
const WINDOW_S: f64 = 120.0;
/// Fixes nearer in time say little of the rate of a fall, s.
const APART_S: f64 = 10.0;
/// The rate at the landing is taken over at least so long, s.
const OVER_S: f64 = 45.0;
/// Nothing falls more slowly, m/s.
const SLOWEST_FALL_M_S: f64 = 1.0;
/// On the ground its height stays within this, m: that of receivers at rest wanders.
const STILL_UP_M: f64 = 60.0;
/// Higher than this above where it lies it may still fall, m: then its last fall is taken down to there.
const TOUCHES_M: f64 = 30.0;

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
        let Told { first, top, .. } = told;
        let time = |f: &Fix| seconds_between(released, f.time);
        let mut up = vec![(site_m, 0.0)];
        for fix in &fixes[first..=top] {
            let last = up[up.len() - 1];
            // Heights that do not rise are left out: the way up is asked by its height.
            if fix.altitude_m > last.0 && time(fix) > last.1 {
                up.push((fix.altitude_m, time(fix)));
            }
        }
        // Where it lies in the end there is ground, whatever is known of it.
        let lies_m = match (told.phase, fixes.last()) {
            (Phase::Landed, Some(last)) => last.altitude_m + STILL_UP_M,
            _ => f64::NEG_INFINITY,
        };
        let highest_m = |place| highest_m(place).max(lies_m);
        let ground = on_ground(&fixes, top, site_m, &highest_m);
        let landed = ground.is_some();
        let end = ground.map_or(fixes.len(), |ground| ground.still);
        let (burst_s, burst) = burst(
            // One fix beyond the highest at least: without it there is no fall to go back up along.
            &fixes[first..end.max(top + 2).min(fixes.len())],
            top - first,
        );
        let burst_s = burst_s + time(&fixes[top]);
        // Where the burst is the highest fix itself, that must not stand there twice.
        up.retain(|p| p.0 < burst.altitude_m && p.1 < burst_s);
        up.push((burst.altitude_m, burst_s));
        let mut down = vec![(burst.altitude_m, burst_s)];
        for fix in &fixes[top + 1..end] {
            let last = down[down.len() - 1];
            if fix.altitude_m < last.0 && time(fix) > last.1 {
                down.push((fix.altitude_m, time(fix)));
            }
        }
        // With a fix on the ground at both ends, where there is one.
        let heard = &fixes[first.saturating_sub(1)..fixes.len().min(end + 1)];
        let track = heard.iter().map(mark).collect();
        let last = ground.map_or(fixes.last(), |ground| fixes.get(ground.lies));
        let mut mark = mark(last.ok_or_else(|| short("no fix".into()))?);
        if let Some(ground) = ground {
            let lies = &fixes[ground.lies];
            mark.altitude_m = ground.altitude_m;
            if let Some(down_at) = touched(&down, ground.altitude_m, (lies.altitude_m, time(lies)))
            {
                down.push(down_at);
                mark.time = after(released, down_at.1);
            }
        }
        down.reverse();
        Ok(Measured {
            released,
            start: first.checked_sub(1).map(|i| fixes[i].position),
            heard_from_m: fixes[first].altitude_m - site_m,
            burst,
            last: mark,
            landed,
            track,
            up,
            down,
        })
    }

    /// Seconds after the release at an altitude on the way up, m.
    pub fn up_at(&self, altitude_m: f64) -> Option<f64> {
        linear(&self.up, altitude_m)
    }

    /// Seconds after the release at an altitude on the way down, m.
    pub fn down_at(&self, altitude_m: f64) -> Option<f64> {
        linear(&self.down, altitude_m)
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
        Phase::Rising | Phase::Floating => Err(short(format!(
            "the track ends in the air on its way up, at {height} above sea level"
        ))),
        Phase::Falling | Phase::Landed => Ok(()),
    }
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
        let before = fixes[top..*i]
            .iter()
            .rfind(|f| seconds_between(f.time, to.time) >= OVER_S);
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
    if last.0 <= ground_m {
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

fn mark(fix: &Fix) -> Mark {
    Mark {
        position: fix.position,
        altitude_m: fix.altitude_m,
        time: fix.time,
    }
}

/// Where the lines of rise and fall meet, with its seconds after the highest fix: the rise of the last minutes
/// goes on; the fall goes back up at the steepest rate of its first pairs of fixes, faster where air is thinner.
fn burst(fixes: &[Fix], top: usize) -> (f64, Mark) {
    let highest = &fixes[top];
    let after_top = |f: &Fix| seconds_between(highest.time, f.time);
    let before = fixes[..top]
        .iter()
        .rev()
        .find(|f| after_top(f) <= -WINDOW_S);
    let up_m_s = before.map_or(0.0, |b| rate(b, highest)).clamp(0.0, 15.0);
    let steepest = fixes[top..]
        .windows(2)
        .take(4)
        .filter(|w| seconds_between(w[0].time, w[1].time) >= APART_S && rate(&w[0], &w[1]) < 0.0)
        .min_by(|a, b| rate(&a[0], &a[1]).total_cmp(&rate(&b[0], &b[1])));
    let Some([from, to]) = steepest else {
        return (0.0, mark(highest));
    };
    let air = AirProfile::standard();
    let thinness = |z: f64| RHO0_KG_M3 / air.at(z).density_kg_m3;
    let measured_at = thinness(0.5 * (from.altitude_m + to.altitude_m));
    // The burst comes before the fix that the fall is taken back from.
    let latest_s = if after_top(from) > 0.0 {
        after_top(from)
    } else {
        after_top(to)
    };
    let mut burst_s = 0.0;
    // How fast it falls at the burst depends on how high that is: each round brings them nearer.
    for _ in 0..30 {
        let burst_m = highest.altitude_m + up_m_s * burst_s;
        let thinner = thinness(0.5 * (from.altitude_m + burst_m)) / measured_at;
        let down_m_s = -rate(from, to) * thinner.sqrt();
        burst_s = (after_top(from) - (burst_m - from.altitude_m) / down_m_s).clamp(0.0, latest_s);
    }
    let next = fixes.get(top + 1).unwrap_or(highest);
    let share = if after_top(next) > 0.0 {
        (burst_s / after_top(next)).min(1.0)
    } else {
        0.0
    };
    let way_m = share * highest.position.distance_m(next.position);
    let burst = Mark {
        position: highest
            .position
            .destination(highest.position.azimuth_deg(next.position), way_m),
        altitude_m: highest.altitude_m + up_m_s * burst_s,
        time: after(highest.time, burst_s),
    };
    (burst_s, burst)
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
            assert!(measured.burst.altitude_m >= 13_640.0 - 1e-6);
        }
    }
}
