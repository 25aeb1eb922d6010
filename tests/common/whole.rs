//! Whole flights of `tests/data/flights/whole`, up and down: what of each track is the flight, and
//! the burst that lies between two of its fixes.

#![allow(dead_code, reason = "each test file uses a part of it")]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a helper of a test may fail as the test itself may"
)]

use windfall::atmosphere::{AirProfile, RHO0_KG_M3};
use windfall::geodesy::Position;
use windfall::wind::column::Column;
use windfall::wind::sounding::Wind;

use super::common::flights_dir;
use super::falls::MeasuredFall;

/// All of them.
pub const WHOLE_FLIGHTS: [&str; 13] = [
    "rs41_r3320833",
    "rs41_s3140158",
    "rs41_t1240114",
    "student_2022-05-13",
    "student_2023-04-21_b1",
    "student_2023-04-28_k",
    "student_2023-04-29",
    "student_2023-06-02_s",
    "student_2024-04-05_w",
    "student_2024-04-05_z",
    "student_2024-04-08_z",
    "student_2024-05-03_s",
    "student_2024-05-04_y",
];

/// A place of a track.
#[derive(Debug, Clone, Copy)]
pub struct Fix {
    pub time_s: f64,
    pub altitude_m: f64,
    pub place: Position,
}

/// A flight from its first fix on the way up to its last on the way down.
#[derive(Debug, Clone)]
pub struct WholeFlight {
    pub name: &'static str,
    /// Each higher than all before.
    pub rising: Vec<Fix>,
    /// Each lower than all before, after the burst.
    pub falling: Vec<Fix>,
    pub burst_s: f64,
    pub burst_m: f64,
}

/// Only fixes within this of the lowest before the burst may be on the ground, m.
const NEAR_GROUND_M: f64 = 150.0;
/// A fix is on the ground if the stack goes on from it at less than this share of the rate of the
/// minute after (before it rises) or before (after it fell).
const AT_REST: f64 = 0.5;
/// Fixes that are closer in time say little of a rate, s.
const APART_S: f64 = 20.0;
/// Falls are not taken for landed before, s: a drag area may change, too.
const SURELY_FALLING_S: f64 = 300.0;
/// Rates of rise and fall, and winds, are taken over at least so long, s: what positions and
/// altitudes are uncertain by is then little of them.
const WINDOW_S: f64 = 60.0;

impl WholeFlight {
    pub fn read(name: &'static str) -> WholeFlight {
        let fixes = fixes(name);
        let top = (0..fixes.len())
            .max_by(|&i, &j| fixes[i].altitude_m.total_cmp(&fixes[j].altitude_m))
            .expect("a fix");
        let rising = rising(&fixes[..=top]);
        let mut falling = falling(&fixes[top..]);
        let (burst_s, burst_m) = burst(&rising, &falling);
        falling.retain(|f| f.time_s > burst_s);
        assert!(rising.len() > 30 && falling.len() > 10, "{name}: too few");
        WholeFlight {
            name,
            rising,
            falling,
            burst_s,
            burst_m,
        }
    }

    pub fn all() -> Vec<WholeFlight> {
        WHOLE_FLIGHTS.map(WholeFlight::read).to_vec()
    }

    /// Student flights are of one campaign, radiosondes of another.
    pub fn campaign(&self) -> &'static str {
        self.name.split('_').next().unwrap_or_default()
    }

    pub fn first(&self) -> Fix {
        self.rising[0]
    }

    pub fn last(&self) -> Fix {
        self.falling[self.falling.len() - 1]
    }

    /// The fall, in the standard atmosphere: most of these flights measured none.
    pub fn fall(&self) -> MeasuredFall {
        let mut track = vec![(self.burst_m, self.burst_s)];
        track.extend(self.falling.iter().map(|f| (f.altitude_m, f.time_s)));
        MeasuredFall::new(self.name, AirProfile::standard(), &track)
    }

    /// The winds of its own way up: the mean velocity between fixes [`WINDOW_S`] or more apart, at
    /// the altitude in between.
    pub fn column(&self) -> Column {
        let mut winds: Vec<(f64, Wind)> = Vec::new();
        let mut from = self.rising[0];
        for to in &self.rising[1..] {
            let seconds = to.time_s - from.time_s;
            if seconds < WINDOW_S {
                continue;
            }
            // A wind of a direction d comes from there.
            let towards = from.place.azimuth_deg(to.place);
            let speed = from.place.distance_m(to.place) / seconds;
            let middle_m = 0.5 * (from.altitude_m + to.altitude_m);
            winds.push((middle_m, Wind::from_direction(speed, towards + 180.0)));
            from = *to;
        }
        Column::from_winds(&winds, AirProfile::standard())
    }
}

fn fixes(name: &str) -> Vec<Fix> {
    let path = flights_dir().join("whole").join(format!("{name}.csv"));
    let mut reader =
        csv::Reader::from_path(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let fix = |row: csv::StringRecord| {
        let time: jiff::Timestamp = row[0].parse().expect("a time");
        let number = |i: usize| row[i].parse::<f64>().expect("a number");
        Fix {
            time_s: time.as_second() as f64,
            altitude_m: number(3),
            place: Position::new(number(1), number(2)).expect("a place on earth"),
        }
    };
    reader
        .records()
        .map(|row| fix(row.expect("a row")))
        .collect()
}

/// The way up of fixes that end at the top.
fn rising(fixes: &[Fix]) -> Vec<Fix> {
    let lowest = fixes
        .iter()
        .map(|f| f.altitude_m)
        .fold(f64::INFINITY, f64::min);
    let at_rest = |i: &usize| {
        let from = fixes[*i];
        let later = |time_s: f64| fixes.iter().find(|f| f.time_s >= time_s);
        let next = later(from.time_s + APART_S).expect("it rises for longer");
        let after = later(next.time_s + WINDOW_S).expect("it rises for longer");
        rate(&from, next) < AT_REST * rate(next, after)
    };
    let first = (0..fixes.len())
        .filter(|i| fixes[*i].altitude_m < lowest + NEAR_GROUND_M)
        .rfind(at_rest)
        .map_or(0, |i| i + 1);
    let mut way: Vec<Fix> = Vec::new();
    for fix in &fixes[first..] {
        if way
            .last()
            .is_none_or(|last| fix.altitude_m > last.altitude_m)
        {
            way.push(*fix);
        }
    }
    way
}

/// The way down of fixes that begin at the top, without those on the ground.
fn falling(fixes: &[Fix]) -> Vec<Fix> {
    let mut way = vec![fixes[0]];
    for fix in &fixes[1..] {
        let last = way[way.len() - 1];
        if fix.altitude_m >= last.altitude_m {
            continue;
        }
        if last.time_s - fixes[0].time_s > SURELY_FALLING_S {
            let before = way
                .iter()
                .rev()
                .find(|f| last.time_s - f.time_s >= WINDOW_S)
                .expect("it has fallen for longer");
            let apart = fix.time_s - last.time_s > APART_S;
            if apart && -rate(&last, fix) < -AT_REST * rate(before, &last) {
                break;
            }
        }
        way.push(*fix);
    }
    way
}

fn rate(from: &Fix, to: &Fix) -> f64 {
    (to.altitude_m - from.altitude_m) / (to.time_s - from.time_s)
}

/// Time and altitude at which the lines of rise and fall meet: the rise of the last minutes goes on, and the fall
/// goes back up at the steepest rate of its first four pairs of fixes, faster where the air is thinner.
fn burst(rising: &[Fix], falling: &[Fix]) -> (f64, f64) {
    let top = falling[0];
    let before = rising
        .iter()
        .rev()
        .find(|f| top.time_s - f.time_s >= 2.0 * WINDOW_S)
        .expect("it rose for longer");
    let up = rate(before, &top);
    let (from, to) = falling
        .windows(2)
        .take(4)
        .map(|w| (w[0], w[1]))
        .filter(|(a, b)| b.time_s - a.time_s >= 10.0)
        .max_by(|(a, b), (c, d)| (-rate(a, b)).total_cmp(&-rate(c, d)))
        .expect("it falls");
    let air = AirProfile::standard();
    let thinness = |z: f64| RHO0_KG_M3 / air.at(z).density_kg_m3;
    let measured_at = thinness(0.5 * (from.altitude_m + to.altitude_m));
    let latest = if from.time_s > top.time_s { from } else { to };
    let mut burst_s = top.time_s;
    for _ in 0..30 {
        let burst_m = top.altitude_m + up * (burst_s - top.time_s);
        let thinner = thinness(0.5 * (from.altitude_m + burst_m)) / measured_at;
        let down = -rate(&from, &to) * thinner.sqrt();
        burst_s =
            (from.time_s - (burst_m - from.altitude_m) / down).clamp(top.time_s, latest.time_s);
    }
    (burst_s, top.altitude_m + up * (burst_s - top.time_s))
}
