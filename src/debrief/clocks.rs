//! Clocks of loggers and cameras lined up with the track.
//!
//! A clock is taken to run as fast as the track's: cheap crystals are off by 0.7 s in two hours. What is looked for
//! is its offset, what it shows less the seconds since 1970 (UTC).

use jiff::Timestamp;
use serde::Serialize;

use super::measured::Measured;
use crate::clock::{after, seconds_between};
use crate::numeric::linear;
use crate::track::logger::{Clock, Logger};
use crate::zone::Mark;

/// A clock's offset.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Aligned {
    /// What it is from.
    pub by: By,
    /// What the clock shows less the seconds since 1970.
    pub offset_s: f64,
    /// One standard deviation, s.
    pub sigma_s: f64,
    /// The offsets that agree nearly as well (19 of 20), s.
    pub range_s: [f64; 2],
    /// The rows of the logger that are of this flight: from and to (exclusive), as they stand there.
    pub rows: [usize; 2],
}

/// What an offset is from.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum By {
    /// Heights of the logger beside those of the track, below 10 km.
    Profile {
        /// So many fixes.
        fixes: usize,
        /// They differ by so much after the fit, m, root mean square.
        rms_m: f64,
    },
    /// Shocks of an accelerometer: the burst and the landing.
    Shocks {
        /// The offsets that each of them alone would have, s.
        each_s: [f64; 2],
    },
    /// One shock that stands out from all others, taken for this.
    Shock {
        /// The burst or the landing.
        of: Shown,
    },
    /// A photo of an event.
    Photo,
}

/// The profiles are compared up to this altitude, m: above, the air departs too far from the standard one.
const UP_TO_M: f64 = 10_000.0;
/// A logger's rows are averaged over so long to each side, s, and are no profile where they are farther apart.
const SMOOTH_S: f64 = 5.0;
const GAP_S: f64 = 120.0;
/// Offsets are tried in steps of this, then finer, s.
const STEP_S: f64 = 10.0;
const FINE_S: f64 = 0.5;
/// The fewest fixes that make an offset, and how much of the largest span of heights they have to cover.
const FEWEST: usize = 6;
const SPAN: f64 = 0.6;
/// The heights of one pressure differ by this from the way up to the way down, and a sensor lags, m (assumed; 1.1 s
/// on the one flight that was tried).
const SURFACES_M: f64 = 10.0;
/// What heights that are right differ by at least, m: no misfit counts more than some of that.
const NOISE_M: f64 = 30.0;
const CLIP_M: f64 = 300.0;
/// How far a logger's height may be from the track's, m: a constant, and in the shape of x, x2 and x3 over the
/// heights compared (one standard deviation). Without it an offset in time could pass for one in height.
const SHAPE_M: [f64; 4] = [300.0, 300.0, 200.0, 200.0];
/// The misfit may grow by so much, in units of its own, over 19 of 20 offsets (chi-square, one degree of freedom).
const ENOUGH: f64 = 3.84;

fn unix_s(time: Timestamp) -> f64 {
    seconds_between(Timestamp::UNIX_EPOCH, time)
}

/// Fixes of a flight as (s since 1970, altitude in m).
fn heights(measured: &Measured) -> Vec<(f64, f64)> {
    let marks = measured.track.iter();
    marks.map(|m| (unix_s(m.time), m.altitude_m)).collect()
}

/// Lines up a logger by its heights, else by its shocks; `None` where neither tells enough.
pub fn align(logger: &Logger, measured: &Measured) -> Option<Aligned> {
    by_profile(logger, measured)
        .or_else(|| by_shocks(logger, measured))
        .or_else(|| by_one_shock(logger, measured))
}

/// Lines up a logger's heights with the track's: that run of its clock, and that offset, at which the track's
/// heights differ least from a cubic of the logger's.
pub fn by_profile(logger: &Logger, measured: &Measured) -> Option<Aligned> {
    let fixes: Vec<(f64, f64)> = heights(measured)
        .into_iter()
        .filter(|f| f.1 < UP_TO_M)
        .collect();
    let profiles: Vec<([usize; 2], Profile)> = logger
        .runs
        .iter()
        .filter_map(|&(from, to)| Some(([from, to], Profile::of(logger, from, to)?)))
        .collect();
    let mut tried: Vec<(usize, Tried)> = Vec::new();
    for (k, (_, profile)) in profiles.iter().enumerate() {
        tried.extend(profile.offsets(&fixes).map(|t| (k, t)));
    }
    let widest_m = tried.iter().map(|(_, t)| t.span_m).fold(0.0, f64::max);
    // Where little overlaps a cubic fits nearly anything.
    tried.retain(|(_, t)| t.span_m >= SPAN * widest_m && t.span_m > 500.0);
    let mut best: Option<(usize, f64, Tried)> = None;
    // The coarse steps may miss the best by so much that another low looks better.
    for (k, near) in lows(&tried) {
        let steps = (2.0 * STEP_S / FINE_S) as i32;
        let finer = |i: i32| {
            profiles[k]
                .1
                .tried(&fixes, near.offset_s + FINE_S * f64::from(i))
        };
        let fine: Vec<Tried> = (-steps..=steps)
            .filter_map(finer)
            .filter(|t| t.span_m >= SPAN * widest_m)
            .collect();
        if let Some((offset_s, least)) = lowest(&fine)
            && best.is_none_or(|b| least.misfit_m2 < b.2.misfit_m2)
        {
            best = Some((k, offset_s, *least));
        }
    }
    let (k, offset_s, least) = best?;
    let (rows, profile) = &profiles[k];
    // The misfit is a mean of so many independent ones: it may grow by that share of itself.
    let enough_m2 = least.misfit_m2 * (1.0 + ENOUGH / least.independent);
    let near_best = tried
        .iter()
        .filter(|(other, t)| *other == k && t.misfit_m2 <= enough_m2);
    let range_s = near_best.fold([offset_s; 2], |r, (_, t)| {
        [r[0].min(t.offset_s), r[1].max(t.offset_s)]
    });
    let range_s = widened(profile, &fixes, range_s, enough_m2);
    let surfaces_s = SURFACES_M / mean_speed(&fixes);
    // The range reaches sqrt(3.84) = 1.96 standard deviations to each side.
    let sigma_s = ((range_s[1] - range_s[0]) / (2.0 * ENOUGH.sqrt())).hypot(surfaces_s);
    let more_s = ENOUGH.sqrt() * surfaces_s;
    Some(Aligned {
        by: By::Profile {
            fixes: least.fixes,
            rms_m: least.misfit_m2.sqrt(),
        },
        offset_s,
        sigma_s,
        range_s: [range_s[0] - more_s, range_s[1] + more_s],
        rows: *rows,
    })
}

/// The best offsets that were tried, none near a better one of the same run.
fn lows(tried: &[(usize, Tried)]) -> Vec<(usize, Tried)> {
    const LOWS: usize = 6;
    let mut order: Vec<&(usize, Tried)> = tried.iter().collect();
    order.sort_by(|a, b| a.1.misfit_m2.total_cmp(&b.1.misfit_m2));
    let mut lows: Vec<(usize, Tried)> = Vec::new();
    for (k, t) in order {
        let near =
            |l: &(usize, Tried)| l.0 == *k && (l.1.offset_s - t.offset_s).abs() < 4.0 * STEP_S;
        if lows.len() < LOWS && !lows.iter().any(near) {
            lows.push((*k, *t));
        }
    }
    lows
}

/// Mean vertical speed of a track, m/s.
fn mean_speed(fixes: &[(f64, f64)]) -> f64 {
    let legs = || fixes.windows(2).filter(|w| w[1].0 - w[0].0 < GAP_S);
    let way: f64 = legs().map(|w| (w[1].1 - w[0].1).abs()).sum();
    let time: f64 = legs().map(|w| w[1].0 - w[0].0).sum();
    // Bounded: in level flight ten metres would stand for hours.
    (way / time.max(1.0)).max(0.5)
}

/// The lowest of misfits in equal steps, between them by a parabola.
fn lowest(tried: &[Tried]) -> Option<(f64, &Tried)> {
    let at = (0..tried.len()).min_by(|a, b| tried[*a].misfit_m2.total_cmp(&tried[*b].misfit_m2))?;
    let misfit = |i: usize| tried.get(i).map(|t| t.misfit_m2);
    let turn = at
        .checked_sub(1)
        .and_then(misfit)
        .zip(misfit(at + 1))
        .map(|(before, after)| {
            let bend = before - 2.0 * tried[at].misfit_m2 + after;
            // A parabola that opens downwards has no lowest point.
            if bend > 0.0 {
                0.5 * (before - after) / bend
            } else {
                0.0
            }
        });
    Some((
        tried[at].offset_s + FINE_S * turn.unwrap_or(0.0).clamp(-1.0, 1.0),
        &tried[at],
    ))
}

/// The edges of a range as finely as offsets are tried.
fn widened(
    profile: &Profile,
    fixes: &[(f64, f64)],
    [low, high]: [f64; 2],
    enough_m2: f64,
) -> [f64; 2] {
    let edge = |from: f64, side: f64| {
        let mut at = from;
        for i in 1..=(2.0 * STEP_S / FINE_S) as i32 {
            let next = from + side * FINE_S * f64::from(i);
            match profile.tried(fixes, next) {
                Some(t) if t.misfit_m2 <= enough_m2 => at = next,
                _ => break,
            }
        }
        at
    };
    [edge(low, -1.0), edge(high, 1.0)]
}

/// A logger's heights by its clock, smoothed.
struct Profile {
    points: Vec<(f64, f64)>,
}

/// An offset that was tried.
#[derive(Debug, Clone, Copy)]
struct Tried {
    offset_s: f64,
    misfit_m2: f64,
    fixes: usize,
    /// How many of them tell something of their own.
    independent: f64,
    span_m: f64,
}

impl Profile {
    fn of(logger: &Logger, from: usize, to: usize) -> Option<Profile> {
        let rows = logger.rows.get(from..to)?.iter();
        let raw: Vec<(f64, f64)> = rows.filter_map(|r| r.time_s.zip(r.height_m)).collect();
        let (mut first, mut end) = (0, 0);
        let mut points: Vec<(f64, f64)> = Vec::new();
        for (t, _) in &raw {
            while raw[first].0 < t - SMOOTH_S {
                first += 1;
            }
            while end < raw.len() && raw[end].0 <= t + SMOOTH_S {
                end += 1;
            }
            let window = &raw[first..end.max(first + 1)];
            let n = window.len() as f64;
            let sum = window
                .iter()
                .fold((0.0, 0.0), |s, p| (s.0 + p.0, s.1 + p.1));
            let mean = (sum.0 / n, sum.1 / n);
            // A clock that was set back while it ran must not make the profile go back.
            if points.last().is_none_or(|p| mean.0 > p.0) {
                points.push(mean);
            }
        }
        (points.len() >= FEWEST).then_some(Profile { points })
    }

    /// The height by its clock; `None` outside and in gaps.
    fn at(&self, clock_s: f64) -> Option<f64> {
        let after = self.points.partition_point(|p| p.0 < clock_s);
        let (a, b) = (
            self.points.get(after.checked_sub(1)?)?,
            self.points.get(after)?,
        );
        let share = (clock_s - a.0) / (b.0 - a.0);
        (b.0 - a.0 <= GAP_S).then_some(a.1 + share * (b.1 - a.1))
    }

    /// All offsets at which they overlap, in coarse steps.
    fn offsets<'a>(&'a self, fixes: &'a [(f64, f64)]) -> impl Iterator<Item = Tried> + 'a {
        let ends = |p: &[(f64, f64)]| Some([p.first()?.0, p.last()?.0]);
        let range = ends(&self.points).zip(ends(fixes));
        let [low, high] = range.map_or([0.0, -1.0], |(l, f)| [l[0] - f[1], l[1] - f[0]]);
        // A file may say that it goes on for years.
        let steps = (((high - low) / STEP_S) as i64).min(200_000);
        (0..=steps).filter_map(move |i| self.tried(fixes, low + STEP_S * i as f64))
    }

    /// How well they agree at an offset: `None` where too little overlaps.
    fn tried(&self, fixes: &[(f64, f64)], offset_s: f64) -> Option<Tried> {
        let pairs: Vec<(f64, f64)> = fixes
            .iter()
            .filter_map(|(t, z)| Some((self.at(t + offset_s)?, *z)))
            // The logger's height may be too high for the air of that day: some room before it is
            // left out.
            .filter(|(h, _)| *h < 1.3 * UP_TO_M)
            .collect();
        if pairs.len() < FEWEST {
            return None;
        }
        let (low, high) = pairs
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |b, p| {
                (b.0.min(p.1), b.1.max(p.1))
            });
        let mut weights = vec![1.0; pairs.len()];
        let (mut off, mut unlike_m2) = (Vec::new(), 0.0);
        // Clipped: what is far off counts less in the second fit, and no more than the clip in the misfit.
        for _ in 0..3 {
            (off, unlike_m2) = misfits(&pairs, &weights)?;
            let mut sizes: Vec<f64> = off.iter().map(|x| x.abs()).collect();
            sizes.sort_by(f64::total_cmp);
            let clip_m = (4.0 * sizes[sizes.len() / 2]).clamp(NOISE_M, CLIP_M);
            weights = off.iter().map(|x| (clip_m / x.abs()).min(1.0)).collect();
        }
        let n = off.len() as f64;
        let misfit_m2 = off.iter().map(|x| x.abs().min(CLIP_M).powi(2)).sum::<f64>();
        let misfit_m2 = (misfit_m2 + unlike_m2) / n;
        // Neighbours that are off alike tell the same thing twice; the cubic takes four of what is
        // left.
        let lagged: f64 = off.windows(2).map(|w| w[0] * w[1]).sum();
        let alike = (lagged / off.iter().map(|x| x * x).sum::<f64>().max(1e-9)).clamp(0.0, 0.9);
        Some(Tried {
            offset_s,
            // A perfect fit would have no range at all.
            misfit_m2: misfit_m2.max(1.0),
            fixes: off.len(),
            independent: (n * (1.0 - alike) / (1.0 + alike) - 4.0).max(1.0),
            span_m: high - low,
        })
    }
}

/// What heights (m) are off a weighted cubic of the logger's, and how unlikely that cubic is, m2.
fn misfits(pairs: &[(f64, f64)], weights: &[f64]) -> Option<(Vec<f64>, f64)> {
    let basis = |h: f64| {
        // From -1 to 1 over the heights compared: powers of metres would drown in rounding.
        let x = h / (0.5 * UP_TO_M) - 1.0;
        [1.0, x, x * x, x * x * x]
    };
    let mut rows = [[0.0; 5]; 4];
    for (i, sigma_m) in SHAPE_M.iter().enumerate() {
        // What is known of a coefficient beforehand counts as one more height, of the usual noise.
        rows[i][i] = (NOISE_M / sigma_m).powi(2);
    }
    for ((h, z), w) in pairs.iter().zip(weights) {
        let b = basis(*h);
        for i in 0..4 {
            for j in 0..4 {
                rows[i][j] += w * b[i] * b[j];
            }
            rows[i][4] += w * b[i] * (z - h);
        }
    }
    let shape = solved(rows)?;
    let fitted = |h: f64| h + basis(h).iter().zip(shape).map(|(b, c)| b * c).sum::<f64>();
    let unlike = |(c, sigma_m): (f64, f64)| (NOISE_M * c / sigma_m).powi(2);
    let off = pairs.iter().map(|(h, z)| z - fitted(*h)).collect();
    Some((off, shape.into_iter().zip(SHAPE_M).map(unlike).sum()))
}

/// Four equations solved by elimination; they are symmetric and positive, so no rows are exchanged.
fn solved(mut rows: [[f64; 5]; 4]) -> Option<[f64; 4]> {
    for k in 0..4 {
        let pivot = rows[k];
        if pivot[k].abs() < 1e-12 {
            return None;
        }
        for (i, row) in rows.iter_mut().enumerate() {
            if i != k {
                let by = row[k] / pivot[k];
                (k..5).for_each(|j| row[j] -= by * pivot[j]);
            }
        }
    }
    Some([0, 1, 2, 3].map(|k| rows[k][4] / rows[k][k]))
}

/// Shocks are below the one and above the other of these times the usual acceleration.
const FREE: f64 = 0.5;
const SPIKE: f64 = 2.0;
/// Shocks nearer in time are one, s.
const ONE_SHOCK_S: f64 = 5.0;
/// What follows a landing is still for so long, s, within this of the usual acceleration.
const STILL_S: f64 = 60.0;
const STILL: f64 = 0.3;
/// The time between them may differ from the track's by this share, and at least by so much, s.
const OFF_SHARE: f64 = 0.05;
const OFF_LEAST_S: f64 = 60.0;
/// The burst and the landing are known from a track so well, s (assumed: half the time between two fixes).
const KNOWN_S: f64 = 15.0;
/// The largest shocks are compared.
const MOST_SHOCKS: usize = 1_000;

/// Lines up an accelerometer: a shock and, as much later as the fall took, one that is followed by stillness.
pub fn by_shocks(logger: &Logger, measured: &Measured) -> Option<Aligned> {
    let (burst, landing) = (
        unix_s(measured.burst?.time),
        unix_s(measured.landing_time()?),
    );
    let fall_s = landing - burst;
    let allowed_s = allowed_s(fall_s);
    let mut best: Option<(f64, f64, f64, [usize; 2])> = None;
    for &(from, to) in &logger.runs {
        let all = accelerations(logger, from, to)?;
        let shocks = shocks(&all);
        for (down, size) in shocks.iter().filter(|s| is_still_after(&all, s.0)) {
            for (up, other) in &shocks {
                let off_s = (down - up - fall_s).abs();
                let worth = size + other - off_s / allowed_s;
                if off_s < allowed_s && best.is_none_or(|b| worth > b.0) {
                    best = Some((worth, *up, *down, [from, to]));
                }
            }
        }
    }
    let (_, up, down, rows) = best?;
    let each_s = [up - burst, down - landing];
    let offset_s = 0.5 * (each_s[0] + each_s[1]);
    // Two times of one clock should give one offset: by what they do not, it is uncertain.
    let sigma_s = (KNOWN_S / 2f64.sqrt()).max(0.5 * (each_s[0] - each_s[1]).abs());
    Some(Aligned::normal(
        By::Shocks { each_s },
        offset_s,
        sigma_s,
        rows,
    ))
}

/// How far the time between burst and landing may be from the track's, s.
fn allowed_s(fall_s: f64) -> f64 {
    (OFF_SHARE * fall_s).max(OFF_LEAST_S)
}

/// Accelerations of a run of rows over the usual one, by the clock, s.
fn accelerations(logger: &Logger, from: usize, to: usize) -> Option<Vec<(f64, f64)>> {
    let rows = logger.rows.get(from..to)?.iter();
    Some(rows.filter_map(|r| r.time_s.zip(r.shock)).collect())
}

/// A shock stands out where no other that could be it is more than this share of it.
const STANDS_OUT: f64 = 0.6;

/// Lines up an accelerometer by one shock that stands out: the landing where stillness follows it, else the burst,
/// if the rows end before the landing. `None` where another shock is nearly as large.
pub fn by_one_shock(logger: &Logger, measured: &Measured) -> Option<Aligned> {
    let (burst, landing) = (unix_s(measured.burst?.time), unix_s(measured.last.time));
    let fall_s = landing - burst;
    let allowed_s = allowed_s(fall_s);
    let found = logger.runs.iter().filter_map(|&(from, to)| {
        let all = accelerations(logger, from, to)?;
        let shocks = shocks(&all);
        let landed = |s: &&(f64, f64)| is_still_after(&all, s.0) && is_quieter_after(&all, s.0);
        let still = shocks.iter().filter(landed);
        let still: Vec<(f64, f64)> = still.copied().collect();
        let (of, (at_s, size)) = match still.is_empty() {
            true => (Shown::Burst, standing_out(&shocks)?),
            false => (Shown::Landing, standing_out(&still)?),
        };
        let goes_on_s = all.last()?.0 - at_s;
        let possible = match of {
            Shown::Landing => measured.landing_time().is_some(),
            // After the burst of a flight that landed, rows that go on for longer would have the
            // landing.
            _ => !measured.landed || goes_on_s < fall_s + allowed_s,
        };
        possible.then_some((of, at_s, size, [from, to]))
    });
    let (of, at_s, _, rows) = found.max_by(|a, b| a.2.total_cmp(&b.2))?;
    let happened_s = if of == Shown::Landing { landing } else { burst };
    let offset_s = at_s - happened_s;
    Some(Aligned::normal(By::Shock { of }, offset_s, KNOWN_S, rows))
}

/// The largest shock, if it stands out.
fn standing_out(shocks: &[(f64, f64)]) -> Option<(f64, f64)> {
    let mut sizes = shocks.to_vec();
    sizes.sort_by(|a, b| b.1.total_cmp(&a.1));
    let largest = *sizes.first()?;
    let second = sizes.get(1).map_or(0.0, |s| s.1);
    (second <= STANDS_OUT * largest.1).then_some(largest)
}

/// Shocks with their sizes, in time.
fn shocks(all: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut shocks: Vec<(f64, f64)> = Vec::new();
    let mut last = f64::NEG_INFINITY;
    for (t, g) in all.iter().filter(|(_, g)| *g < FREE || *g > SPIKE) {
        let size = (g - 1.0).abs();
        match shocks.last_mut() {
            // After its last row, not its first: a tumble may go on for longer than that.
            Some(shock) if t - last < ONE_SHOCK_S => shock.1 = shock.1.max(size),
            _ => shocks.push((*t, size)),
        }
        last = *t;
    }
    shocks.sort_by(|a, b| b.1.total_cmp(&a.1));
    // Every shock is paired with every other, so there must be an end to them.
    shocks.truncate(MOST_SHOCKS);
    shocks.sort_by(|a, b| a.0.total_cmp(&b.0));
    shocks
}

fn is_still_after(all: &[(f64, f64)], time_s: f64) -> bool {
    let from = all.partition_point(|p| p.0 < time_s + ONE_SHOCK_S);
    let to = all.partition_point(|p| p.0 < time_s + ONE_SHOCK_S + STILL_S);
    let still = all[from..to]
        .iter()
        .filter(|p| (p.1 - 1.0).abs() < STILL)
        .count();
    to > from + 2 && 20 * still >= 19 * (to - from)
}

/// A stack that lies swings less than this share of what it did in the minute before it landed.
const QUIETER: f64 = 0.5;

fn is_quieter_after(all: &[(f64, f64)], time_s: f64) -> bool {
    let swing = |from_s: f64| {
        let from = all.partition_point(|p| p.0 < from_s);
        let to = all.partition_point(|p| p.0 < from_s + STILL_S);
        let squares = all[from..to].iter().map(|p| (p.1 - 1.0).powi(2));
        (squares.sum::<f64>() / (to - from).max(1) as f64).sqrt()
    };
    swing(time_s + ONE_SHOCK_S) < QUIETER * swing(time_s - ONE_SHOCK_S - STILL_S)
}

/// What a photo may show.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Shown {
    /// The stack is let go.
    Release,
    /// The balloon bursts.
    Burst,
    /// It lands.
    Landing,
}

/// A camera's offset by one photo of an event, whose clock shows so many seconds since 1970 in steps of a length;
/// `None` where the track does not tell when that was.
pub fn by_photo(clock_s: f64, step_s: f64, shown: Shown, measured: &Measured) -> Option<Aligned> {
    let (time, known_s) = match shown {
        Shown::Release => (measured.released, KNOWN_S),
        Shown::Burst => (measured.burst?.time, KNOWN_S),
        Shown::Landing => (measured.landing_time()?, KNOWN_S),
    };
    let offset_s = clock_s - unix_s(time);
    // Within a step of its clock every moment is as likely.
    let sigma_s = known_s.hypot(step_s / 12f64.sqrt());
    Some(Aligned::normal(By::Photo, offset_s, sigma_s, [0, 0]))
}

impl Aligned {
    /// An offset whose error is normal.
    fn normal(by: By, offset_s: f64, sigma_s: f64, rows: [usize; 2]) -> Aligned {
        Aligned {
            by,
            offset_s,
            sigma_s,
            range_s: [offset_s - 1.96 * sigma_s, offset_s + 1.96 * sigma_s],
            rows,
        }
    }

    /// When it was that a clock showed a number of seconds.
    pub fn time(&self, clock_s: f64) -> Timestamp {
        after(Timestamp::UNIX_EPOCH, clock_s - self.offset_s)
    }

    /// Whether a clock tells dates that may be taken for UTC, so that its offset is one of a wrong clock.
    pub fn is_of_dates(&self, clock: Clock) -> bool {
        clock == Clock::Date || self.by == By::Photo
    }
}

/// Places of a flight by time, burst and landing included.
pub struct TrackPlaces {
    marks: Vec<Mark>,
}

impl TrackPlaces {
    /// Of a measured flight.
    pub fn of(measured: &Measured) -> TrackPlaces {
        let mut marks = measured.track.clone();
        marks.extend(measured.burst);
        marks.push(measured.last);
        marks.sort_by_key(|m| m.time);
        marks.dedup_by_key(|m| m.time);
        TrackPlaces { marks }
    }

    /// Where it was at a time, between two fixes; `None` before the first and after the last.
    pub fn at(&self, time: Timestamp) -> Option<Mark> {
        let next = self.marks.partition_point(|m| m.time < time);
        let b = self.marks.get(next)?;
        if b.time == time {
            return Some(*b);
        }
        let a = self.marks.get(next.checked_sub(1)?)?;
        let span_s = seconds_between(a.time, b.time);
        let share = linear(&[(0.0, 0.0), (span_s, 1.0)], seconds_between(a.time, time))?;
        let way_m = share * a.position.distance_m(b.position);
        let azimuth_deg = a.position.azimuth_deg(b.position);
        Some(Mark {
            position: a.position.destination(azimuth_deg, way_m),
            altitude_m: a.altitude_m + share * (b.altitude_m - a.altitude_m),
            time,
        })
    }
}
