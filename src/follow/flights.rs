//! The flights of one history: a tracker's page or the file of a day may tell of other flights as well.

use jiff::Timestamp;
use serde::Serialize;

use super::ELSEWHERE_M;
use super::phase::{
    DRAGGED_M, HEARD_LATE_M, NEAR_GROUND_M, Phase, flies_up, is_near, lies_still, told,
};
use crate::clock::seconds_between;
use crate::geodesy::Position;
use crate::track::Fix;

/// After a flight has come down from this high above where it lies, m, another may begin.
const FALLEN_M: f64 = 1_000.0;
/// It has to rise by so much for that, m.
const RISEN_M: f64 = 1_000.0;
/// Down from there and up again takes a crew at least so long, s.
const TURN_S: f64 = 1_800.0;
/// What is heard after so long a silence is not of the stay before it, s.
const SILENT_S: f64 = 3_600.0;
/// After so long a silence, s, what is back at the site waits for another flight.
const NIGHT_S: f64 = 6.0 * 3_600.0;

/// What was left out, as it is of other flights.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct Others {
    /// Flights.
    pub flights: usize,
    /// Their fixes.
    pub fixes: usize,
}

/// Keeps of fixes the flight that left the ground nearest to a planned release, or waits for it.
pub fn keep_nearest(
    fixes: &mut Vec<Fix>,
    site: Position,
    site_m: f64,
    release: Timestamp,
) -> Others {
    let begins = beginnings(fixes, site, site_m);
    if begins.len() < 2 {
        return Others::default();
    }
    let ends = begins.iter().skip(1).copied().chain([fixes.len()]);
    let spans: Vec<(usize, usize)> = begins.iter().copied().zip(ends).collect();
    let left: Vec<(bool, f64)> = spans
        .iter()
        .map(|(from, to)| left_ground(&fixes[*from..*to], site_m, release))
        .collect();
    let by_time = |a: &usize, b: &usize| left[*a].1.total_cmp(&left[*b].1);
    let nearest = (0..spans.len()).min_by(by_time).unwrap_or(0);
    let count = fixes.len();
    let (from, to) = spans[nearest];
    fixes.truncate(to);
    fixes.drain(..from);
    let flown = (0..left.len()).filter(|i| *i != nearest && left[*i].0);
    Others {
        flights: flown.count(),
        fixes: count - fixes.len(),
    }
}

/// Whether it flew, and how far from a time it left the ground, s; of what waits on the ground, its last fix.
fn left_ground(fixes: &[Fix], site_m: f64, release: Timestamp) -> (bool, f64) {
    let mut of_it = fixes.to_vec();
    let told = told(&mut of_it, site_m);
    let flew = told.phase != Phase::OnGround;
    let fix = match flew {
        true => of_it.get(told.first),
        false => of_it.last(),
    };
    let off_s = fix.map_or(f64::INFINITY, |f| seconds_between(release, f.time).abs());
    (flew, off_s)
}

/// The first fix of each flight.
fn beginnings(fixes: &[Fix], site: Position, site_m: f64) -> Vec<usize> {
    let mut begins = vec![0];
    let (mut begin, mut peak, mut low) = (0, 0, 0);
    for (i, fix) in fixes.iter().enumerate().skip(1) {
        let anew = match is_back(&fixes[i - 1], fix, site, site_m) {
            true => Some(i),
            false => rises_anew(&fixes[..=i], begin, peak, low),
        };
        if let Some(at) = anew {
            begins.push(at);
            (begin, peak, low) = (at, i, i);
        } else if fix.altitude_m >= fixes[peak].altitude_m {
            (peak, low) = (i, i);
        } else if fix.altitude_m < fixes[low].altitude_m {
            low = i;
        }
    }
    begins
}

/// Whether it stands at the site again after a night of silence.
fn is_back(before: &Fix, fix: &Fix, site: Position, site_m: f64) -> bool {
    let at_site = |f: &Fix| {
        (f.altitude_m - site_m).abs() < HEARD_LATE_M && f.position.distance_m(site) < ELSEWHERE_M
    };
    seconds_between(before.time, fix.time) >= NIGHT_S && at_site(fix) && !at_site(before)
}

/// Where another flight begins, if the last fix shows one: it came down from the highest fix of the flight before
/// (at `peak`) to a low one, lay there for a while, and rises as nothing does that a crew carries.
fn rises_anew(fixes: &[Fix], begin: usize, peak: usize, low: usize) -> Option<usize> {
    let last = fixes.last()?;
    let (peak_m, low_m) = (fixes[peak].altitude_m, fixes[low].altitude_m);
    if peak_m - low_m < FALLEN_M || last.altitude_m - low_m < RISEN_M {
        return None;
    }
    let heights = fixes[begin..=peak].iter().map(|f| f.altitude_m);
    let lowest_m = heights.fold(low_m, f64::min);
    let high = |f: &Fix| f.altitude_m > low_m + FALLEN_M;
    let above = fixes[peak..low].iter().rposition(high).unwrap_or(0) + peak;
    let ground = stood(fixes, low, low_m)?;
    let risen_m = last.altitude_m - fixes[ground].altitude_m;
    // Of one fix alone the height may be wrong.
    let twice = ground + 2 < fixes.len();
    let stayed = seconds_between(fixes[above].time, last.time) >= TURN_S;
    // What floats high up and rises again is the same flight still.
    let is_low = low_m < 0.5 * (lowest_m + peak_m);
    let rises = risen_m >= RISEN_M && flies_up(&fixes[ground], last);
    (twice && stayed && is_low && rises).then(|| stands_from(fixes, ground))
}

/// Where it stood last, from the lowest fix on: as low as that, or still for a while, as where a crew drove up to.
fn stood(fixes: &[Fix], low: usize, low_m: f64) -> Option<usize> {
    let stands =
        |k: &usize| fixes[*k].altitude_m < low_m + NEAR_GROUND_M || lies_still(&fixes[low..=*k]);
    (low..fixes.len()).rev().find(stands)
}

/// The first fix of the stay before a rise, back to where it was carried from or was silent.
fn stands_from(fixes: &[Fix], ground: usize) -> usize {
    let goes_on = |k: &usize| {
        let stands = *k > ground || is_near(&fixes[*k], &fixes[ground], DRAGGED_M);
        stands && seconds_between(fixes[*k].time, fixes[*k + 1].time) < SILENT_S
    };
    let end = fixes.len() - 1;
    (0..end).rev().take_while(goes_on).last().unwrap_or(end)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::after;

    fn site() -> Position {
        Position::new(43.0, -108.0).unwrap()
    }

    fn release() -> Timestamp {
        "2026-02-06T17:00:00Z".parse().unwrap()
    }

    /// Minutes after the planned release, kilometres east of the site, height in m.
    fn fix(minutes: f64, east_km: f64, altitude_m: f64) -> Fix {
        Fix {
            tracker: "T".into(),
            time: after(release(), 60.0 * minutes),
            position: site().destination(90.0, 1_000.0 * east_km),
            altitude_m,
        }
    }

    /// Half an hour on the ground, up by 5 m/s, down by 7.5 m/s 40 km on, and half an hour where it lies.
    fn flight(from: f64, top_m: f64) -> Vec<Fix> {
        let (up, down) = (top_m / 300.0, top_m / 450.0);
        let height_m = |m: f64| match m {
            m if m < 0.0 => 0.0,
            m if m < up => 300.0 * m,
            m => (top_m - 450.0 * (m - up)).max(0.0),
        };
        let way_km = |m: f64| 40.0 * (m / (up + down)).clamp(0.0, 1.0);
        let end = (up + down + 30.0) as i32;
        (-30..end)
            .map(f64::from)
            .map(|m| fix(from + m, way_km(m), 1_500.0 + height_m(m)))
            .collect()
    }

    fn kept(mut fixes: Vec<Fix>) -> (Vec<Fix>, Others) {
        let others = keep_nearest(&mut fixes, site(), 1_500.0, release());
        (fixes, others)
    }

    #[test]
    fn of_two_flights_the_one_of_the_plan_is_kept() {
        // Two days before, the same morning, and the lower one and the higher one of a day.
        for (before, top_m) in [(-2_880.0, 24_000.0), (-300.0, 28_000.0), (-300.0, 9_000.0)] {
            let earlier = flight(before, top_m);
            for minutes in [5, 40, 150] {
                let today: Vec<Fix> = flight(0.0, 20_000.0)
                    .into_iter()
                    .take(30 + minutes)
                    .collect();
                let (left, others) = kept([earlier.clone(), today.clone()].concat());
                assert_eq!(left, today, "{before} {top_m} {minutes}");
                assert_eq!((others.flights, others.fixes), (1, earlier.len()));
            }
        }
        let (first, later) = (flight(10.0, 20_000.0), flight(290.0, 25_000.0));
        assert_eq!(kept([first.clone(), later].concat()).0, first);
    }

    #[test]
    fn today_waits_on_the_ground_after_a_flight_of_another_day() {
        let earlier = flight(-1_440.0, 20_000.0);
        let today: Vec<Fix> = flight(0.0, 20_000.0).into_iter().take(20).collect();
        let (left, others) = kept([earlier, today.clone()].concat());
        assert_eq!((left, others.flights), (today, 1));
    }

    #[test]
    fn what_is_heard_late_after_a_silence_begins_there() {
        let earlier = flight(-300.0, 20_000.0);
        let today: Vec<Fix> = flight(0.0, 20_000.0).into_iter().skip(50).collect();
        let (left, _) = kept([earlier, today.clone()].concat());
        assert_eq!(left, today);
    }

    #[test]
    fn the_drive_up_to_a_higher_site_is_no_part_of_either() {
        let higher = |f: Fix| Fix {
            altitude_m: f.altitude_m + 1_100.0,
            ..f
        };
        let earlier = flight(-300.0, 20_000.0);
        let today: Vec<Fix> = flight(0.0, 20_000.0).into_iter().map(higher).collect();
        let drive = |k: i32| {
            let share = f64::from(k) / 60.0;
            fix(
                -100.0 + f64::from(k),
                40.0 - 38.0 * share,
                1_500.0 + 1_100.0 * share,
            )
        };
        let all: Vec<Fix> = earlier.into_iter().chain((0..60).map(drive)).collect();
        let (left, others) = kept([all, today.clone()].concat());
        assert_eq!((left, others.flights), (today, 1));
    }

    #[test]
    fn a_flight_that_is_carried_home_is_one() {
        let whole = flight(0.0, 20_000.0);
        // Over a pass 1,400 m higher, by road; a wrong height where it lies; and home the day after.
        let road = (0..60).map(|k| {
            fix(
                150.0 + f64::from(k),
                40.0,
                1_500.0 + 1_400.0 * f64::from(k) / 60.0,
            )
        });
        let wrong = [fix(150.0, 40.0, 2_540.0), fix(151.0, 40.0, 1_500.0)];
        for more in [road.collect(), wrong.to_vec(), Vec::new()] {
            let all = [whole.clone(), more].concat();
            assert_eq!(kept(all.clone()), (all, Others::default()));
        }
        let home = fix(1_440.0, 0.0, 1_500.0);
        let (left, others) = kept([whole.clone(), vec![home]].concat());
        assert_eq!((left, others.flights), (whole, 0));
    }
}
