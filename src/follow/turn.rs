//! Where the rise of a flight ends and its fall begins: one account for those who follow it and for the debrief.

use super::mark;
use super::phase::{
    FLOATING_M_S, FLOATING_S, LANDS_M_S, NEAR_GROUND_M, SILENT_S, Told, WINDOW_S, long_before,
};
use crate::atmosphere::{AirProfile, RHO0_KG_M3};
use crate::clock::{after, seconds_between};
use crate::track::Fix;
use crate::track::gate::rate;
use crate::zone::Mark;

/// Nothing falls more slowly, m/s.
pub const SLOWEST_FALL_M_S: f64 = 1.0;
/// Fixes nearer in time say little of the rate of a fall, s.
const APART_S: f64 = 10.0;
/// What rises to its highest fix at less than this share of its rate before, and falls from there, has turned before.
const SLOWED: f64 = 0.9;
/// No balloon rises faster, m/s.
const FASTEST_RISE_M_S: f64 = 15.0;

/// The turn of a flight: places among its fixes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Turn {
    /// The first fix of the float that the fall ended; the same as `end` where it did not float.
    pub level: usize,
    /// The last fix before the fall: the burst lies between it and the next one.
    pub end: usize,
}

impl Turn {
    /// The turn of a flight that falls, or fell, from a site at an altitude.
    pub fn of(fixes: &[Fix], told: &Told, site_m: f64) -> Turn {
        let Told { first, top, .. } = *told;
        // Lower down what hardly falls lies on the ground.
        let half_m = fixes
            .get(top)
            .map_or(site_m, |f| 0.5 * (f.altitude_m + site_m));
        let end = match falls_at_top(fixes, first, top, half_m) {
            true => top - 1,
            false => falls_from(fixes, top, half_m),
        };
        let level = level_from(fixes, first, end);
        Turn { level, end }
    }

    /// Where it burst, if enough was heard to tell: its rise, and either no long silence after it, or two fixes in
    /// the fall, whose line leads back up. What has landed lies at an altitude.
    pub fn burst(&self, fixes: &[Fix], lies_m: Option<f64>) -> Option<Mark> {
        let falling = fixes.get(self.end + 1..)?;
        let silent_s = seconds_between(fixes[self.end].time, falling.first()?.time);
        let floor_m = lies_m.map_or(f64::NEG_INFINITY, |m| m + NEAR_GROUND_M);
        let aloft = falling.iter().filter(|f| f.altitude_m > floor_m);
        let heard = self.end > 0 && (silent_s <= SILENT_S || aloft.count() >= 2);
        heard.then(|| meeting(fixes, self.end))
    }
}

/// Whether it burst before its highest fix, which is one of the fall already.
fn falls_at_top(fixes: &[Fix], first: usize, top: usize, half_m: f64) -> bool {
    let (highest, Some(next)) = (&fixes[top], fixes.get(top + 1)) else {
        return false;
    };
    if top <= first {
        return false;
    }
    let last = &fixes[top - 1];
    let silent = |from: &Fix, to: &Fix| seconds_between(from.time, to.time) > SILENT_S;
    let lost = silent(highest, next);
    // Lost where it was highest it burst in the silence after that, unless it may have in one before.
    if lost && !silent(last, highest) {
        return false;
    }
    let middle_m = 0.5 * (highest.altitude_m + next.altitude_m);
    let falls_m_s = LANDS_M_S * thinness(&AirProfile::standard(), middle_m).sqrt();
    // What may have lain there for long tells no rate of the fall.
    let lies = lost && next.altitude_m < half_m;
    // Else it had not burst yet where it was highest.
    if !lies && rate(highest, next) > -falls_m_s {
        return false;
    }
    let before = long_before(&fixes[..top], WINDOW_S);
    before.is_some_and(|b| rate(last, highest) < SLOWED * rate(b, last))
}

/// The last fix at which it has fallen more slowly than anything falls, since its highest one and of late: what floats
/// sinks and rises again, and its fall begins where that ends.
fn falls_from(fixes: &[Fix], top: usize, half_m: f64) -> usize {
    let highest = &fixes[top];
    let stays = |i: &usize| {
        let fix = &fixes[*i];
        let slowly = |from: &Fix| rate(from, fix) > -SLOWEST_FALL_M_S;
        // Most of a fall is low, or far below, and needs no search.
        if fix.altitude_m <= half_m || !slowly(highest) {
            return false;
        }
        // From its highest fix, or over a silence, it may have risen on and burst.
        // Of reports that are rarer the next tells whether it did.
        let goes_on = fixes
            .get(i + 1)
            .is_some_and(|next| next.altitude_m > half_m && rate(fix, next) > -SLOWEST_FALL_M_S);
        let heard = |f: &&Fix| goes_on || seconds_between(f.time, fix.time) <= WINDOW_S + SILENT_S;
        let of_late = long_before(&fixes[top + 1..=*i], WINDOW_S).filter(heard);
        of_late.is_some_and(slowly)
    };
    (top + 1..fixes.len()).rfind(stays).unwrap_or(top)
}

/// The first fix from which on it hardly rises any more, if it floats for a while from there; else the end.
fn level_from(fixes: &[Fix], first: usize, end: usize) -> usize {
    let last = &fixes[end];
    let floats = |i: &usize| {
        let from = &fixes[*i];
        let slowly = |to: &Fix| rate(from, to) < FLOATING_M_S;
        let later = |f: &&Fix| seconds_between(from.time, f.time) >= WINDOW_S;
        slowly(last) && fixes[*i..=end].iter().find(later).is_some_and(slowly)
    };
    let long = |i: &usize| seconds_between(fixes[*i].time, last.time) >= FLOATING_S;
    (first..end).find(floats).filter(long).unwrap_or(end)
}

/// Where the lines of rise and fall meet after the last fix before the fall: the rise of the last minutes goes on; the
/// fall goes back up at the steepest rate of its first pairs of fixes, faster where air is thinner.
fn meeting(fixes: &[Fix], end: usize) -> Mark {
    let highest = &fixes[end];
    let after_it = |f: &Fix| seconds_between(highest.time, f.time);
    let before = long_before(&fixes[..=end], WINDOW_S);
    let up_m_s = before
        .map_or(0.0, |b| rate(b, highest))
        .clamp(0.0, FASTEST_RISE_M_S);
    // The burst itself lies in the first pair, which tells of the fall only where there is no other.
    let pair = steepest(&fixes[end + 1..]).or_else(|| steepest(&fixes[end..]));
    let (Some([from, to]), Some(next)) = (pair, fixes.get(end + 1)) else {
        return mark(highest);
    };
    let air = AirProfile::standard();
    let measured_at = thinness(&air, 0.5 * (from.altitude_m + to.altitude_m));
    let next_s = after_it(next);
    let mut burst_s: f64 = 0.0;
    // How fast it falls at the burst depends on how high that is: each round brings them nearer.
    for _ in 0..30 {
        let burst_m = highest.altitude_m + up_m_s * burst_s;
        let thinner = thinness(&air, 0.5 * (from.altitude_m + burst_m)) / measured_at;
        let down_m_s = -rate(from, to) * thinner.sqrt();
        burst_s = (after_it(from) - (burst_m - from.altitude_m) / down_m_s).clamp(0.0, next_s);
    }
    let share = if next_s > 0.0 { burst_s / next_s } else { 0.0 };
    let way_m = share * highest.position.distance_m(next.position);
    let azimuth_deg = highest.position.azimuth_deg(next.position);
    Mark {
        position: highest.position.destination(azimuth_deg, way_m),
        altitude_m: highest.altitude_m + up_m_s * burst_s,
        time: after(highest.time, burst_s),
    }
}

/// How many times thinner than the standard atmosphere at sea level air is at an altitude, m.
fn thinness(air: &AirProfile, altitude_m: f64) -> f64 {
    RHO0_KG_M3 / air.at(altitude_m).density_kg_m3
}

/// The steepest of the first pairs of a fall.
fn steepest(falling: &[Fix]) -> Option<[&Fix; 2]> {
    let mut apart: Vec<&Fix> = Vec::new();
    for fix in falling {
        let far = |f: &&Fix| seconds_between(f.time, fix.time) >= APART_S;
        if apart.last().is_none_or(far) {
            apart.push(fix);
        }
        if apart.len() > 4 {
            break;
        }
    }
    let pairs = apart.windows(2).map(|w| [w[0], w[1]]);
    pairs
        .filter(|[a, b]| rate(a, b) < 0.0)
        .min_by(|a, b| rate(a[0], a[1]).total_cmp(&rate(b[0], b[1])))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::follow::phase::{Phase, told};
    use crate::geodesy::Position;
    use jiff::Timestamp;

    /// Heights above the sea every second from the release on: up by about 5 m/s in waves, down in air that grows
    /// denser, and half an hour where it lies; with the time of the burst, s.
    fn flown(burst_m: f64, lands_m_s: f64) -> (Vec<f64>, f64) {
        let (mut heights, mut height_m) = (Vec::new(), 0.0);
        while height_m < burst_m {
            heights.push(height_m);
            let wave = std::f64::consts::TAU * heights.len() as f64 / 400.0;
            height_m += 5.0 + 0.8 * wave.sin();
        }
        let burst_s = heights.len() as f64;
        let air = AirProfile::standard();
        while height_m > 0.0 {
            heights.push(height_m);
            height_m -= lands_m_s * thinness(&air, height_m).sqrt();
        }
        heights.extend([0.0; 1_800]);
        (heights, burst_s)
    }

    fn fix(second: usize, altitude_m: f64) -> Fix {
        Fix {
            tracker: String::new(),
            time: after(Timestamp::UNIX_EPOCH, second as f64),
            position: Position::new(43.0, -108.0).unwrap(),
            altitude_m,
        }
    }

    fn burst_of(mut fixes: Vec<Fix>) -> Option<Mark> {
        let told = told(&mut fixes, 0.0);
        assert_eq!(told.phase, Phase::Landed);
        let lies_m = fixes.last().map(|f| f.altitude_m);
        Turn::of(&fixes, &told, 0.0).burst(&fixes, lies_m)
    }

    /// Reports every five minutes: the one pair that holds the burst tells no rate of the fall.
    #[test]
    fn a_burst_between_rare_reports_is_found() {
        let (heights, burst_s) = flown(30_000.0, 5.0);
        for first in (0..300).step_by(10) {
            let seconds = (first..heights.len()).step_by(300);
            let burst = burst_of(seconds.map(|s| fix(s, heights[s])).collect());
            let off_s = seconds_between(Timestamp::UNIX_EPOCH, burst.unwrap().time) - burst_s;
            assert!(off_s.abs() < 60.0, "{first}: {off_s}");
        }
    }

    /// Every ten minutes a report: two hours of float are no fall.
    #[test]
    fn a_float_between_rare_reports_is_none_of_the_fall() {
        let height_m = |second: f64| match second {
            s if s < 4_800.0 => 5.0 * s,
            s if s < 12_000.0 => 24_000.0 - 0.05 * (s - 4_800.0),
            s => (23_640.0 - 10.0 * (s - 12_000.0)).max(0.0),
        };
        let seconds = (0..=16_200).step_by(600);
        let mut fixes: Vec<Fix> = seconds.map(|s| fix(s, height_m(s as f64))).collect();
        let told = told(&mut fixes, 0.0);
        let turn = Turn::of(&fixes, &told, 0.0);
        let end_s = seconds_between(Timestamp::UNIX_EPOCH, fixes[turn.end].time);
        assert!((11_400.0..=12_000.0).contains(&end_s), "{end_s}");
    }

    /// Lost on its way up, whatever the wave it was in, and heard next where it lies.
    #[test]
    fn of_a_flight_that_is_lost_on_its_way_up_no_burst_is_made_up() {
        let (heights, _) = flown(28_000.0, 6.0);
        let lies = heights.len() - 1_200;
        for lost in (3_800..4_200).step_by(20) {
            let heard = (0..heights.len()).step_by(20);
            let heard = heard.filter(|s| !(lost..lies).contains(s));
            let burst = burst_of(heard.map(|s| fix(s, heights[s])).collect());
            assert_eq!(burst, None, "{lost}");
        }
    }
}
