//! The draws of a flight that is followed: each with its rates, its burst and its winds, moved by every leg.

use rayon::prelude::*;

use super::legs::Leg;
use super::rates::{self, Lesson, learn, noise};
use super::winds::{Mean, WindLearning, lags_s, move_draw};
use crate::clock::seconds_between;
use crate::flight::layers::Layers;
use crate::flight::model::{Flown, Moment, Scratch};
use crate::flight::onward::Course;
use crate::flight::rise::Miss;
use crate::geodesy::Position;
use crate::numeric::{linear, quantile};
use crate::random::SplitMix;
use crate::spread::rate_error::RateErrorProcess;
use crate::zone::aloft::Continuation;

/// All draws, row by row.
#[derive(Clone)]
pub struct Ensemble {
    /// Layers of the model.
    layers: usize,
    /// ln of the seconds in each layer on the way up, and the burst in km: one more than layers a row.
    rise: Vec<f64>,
    /// ln of the seconds in each layer on the way down.
    fall: Vec<f64>,
    /// Errors of the wind on the way up, m/s.
    wind_up: Vec<[f64; 2]>,
    /// The same on the way down.
    wind_down: Vec<[f64; 2]>,
    member: Vec<usize>,
    winds: WindLearning,
    lessons: u64,
    seed: u64,
    /// Draws that never come to fly.
    lost: usize,
}

/// One draw on its way to a row.
struct Row {
    rise: Vec<f64>,
    fall: Vec<f64>,
    up: Vec<[f64; 2]>,
    down: Vec<[f64; 2]>,
    member: usize,
}

/// How one draw goes on.
#[derive(Debug, Clone, Copy)]
pub struct Onward {
    /// Its burst and landing.
    pub flown: Flown,
    /// Where it is at the time that was asked for.
    pub now: Moment,
}

/// Streams of what only a followed flight has.
const CHANGE_STREAM: u64 = 0x0f01;
const FALL_STREAM: u64 = 0x0f02;
const BURST_STREAM: u64 = 0x0f03;
/// Legs that rise or fall by less than this teach nothing of rates, m.
const LEAST_HEIGHT_M: f64 = 60.0;
/// Nor do those slower than this, m/s.
const LEAST_RATE_M_S: f64 = 0.5;
/// With fewer draws that burst higher than it is, the burst is this much higher in the mean, m.
const FEWEST_LEFT: usize = 50;
const MEAN_HIGHER_M: f64 = 300.0;

impl Ensemble {
    /// The draws of a prediction, as for its zone.
    pub fn new(kept: &Continuation, draws: u64, seed: u64) -> Ensemble {
        let model = kept.model();
        let layers = &model.layers;
        let track: Vec<(f64, f64)> = kept
            .planned()
            .iter()
            .map(|m| (m.altitude_m, m.time_s))
            .collect();
        let winds = WindLearning::new(model, kept.wind_error(), &lags_s(&track, layers));
        let process = kept.wind_process();
        let above = layers.above(model.release_layer);
        let rate_error = RateErrorProcess::new(kept.sampler().spread.rate_error, &above);
        let make = |index: u64| -> Option<Row> {
            let mut draw = kept.sampler().draw(index);
            let (mut slowness, mut up, mut rise, mut fall) =
                (Vec::new(), Vec::new(), Vec::new(), Vec::new());
            // In the order in which a run draws them: so these are the draws of the zone.
            if let Some(process) = &rate_error {
                process.draw(&mut draw.stream, &mut slowness);
            }
            match &process {
                Some(process) => process.draw(draw.wind, &mut draw.stream, &mut up),
                None => up.resize(layers.count, [0.0; 2]),
            }
            let burst_m = model
                .seconds_of(&draw.variation, &slowness, &mut rise, &mut fall)
                .ok()?;
            // As logarithms times stay above 0 however a lesson moves them, and factors become
            // sums.
            rise.iter_mut()
                .chain(fall.iter_mut())
                .for_each(|s| *s = s.max(1e-3).ln());
            rise.push(0.001 * burst_m);
            // From streams of their own, which leave those of the zone as they are.
            let mut stream = SplitMix::stream(seed ^ FALL_STREAM, index);
            add_fall_error(&mut stream, layers, &mut fall);
            // The same winds on the way down, but for what changes in between.
            let mut down = up.clone();
            let mut stream = SplitMix::stream(seed ^ CHANGE_STREAM, index);
            winds.draw_change(&mut stream, model.release_layer, &mut down);
            Some(Row {
                rise,
                fall,
                up,
                down,
                member: draw.variation.member,
            })
        };
        let rows: Vec<Row> = (0..draws).into_par_iter().filter_map(make).collect();
        let lost = draws as usize - rows.len();
        Ensemble {
            layers: layers.count,
            rise: rows.iter().flat_map(|r| r.rise.iter().copied()).collect(),
            fall: rows.iter().flat_map(|r| r.fall.iter().copied()).collect(),
            wind_up: rows.iter().flat_map(|r| r.up.iter().copied()).collect(),
            wind_down: rows.iter().flat_map(|r| r.down.iter().copied()).collect(),
            member: rows.iter().map(|r| r.member).collect(),
            winds,
            lessons: 0,
            seed,
            lost,
        }
    }

    /// How many draws there are.
    pub fn count(&self) -> usize {
        self.member.len()
    }

    /// How many draws never come to fly.
    pub fn lost(&self) -> usize {
        self.lost
    }

    /// Learns winds and rates from a leg.
    pub fn learn(&mut self, kept: &Continuation, leg: &Leg) {
        let shares = leg.layers(&kept.model().layers);
        self.learn_winds(kept, leg, &shares);
        let height_m = leg.height_m();
        if height_m >= LEAST_HEIGHT_M && height_m >= LEAST_RATE_M_S * leg.seconds() {
            self.learn_rates(kept, leg, &shares);
        }
        self.lessons += 1;
    }

    fn learn_winds(&mut self, kept: &Continuation, leg: &Leg, shares: &[(usize, f64)]) {
        let whole: f64 = shares.iter().map(|s| s.1).sum();
        // A level leg passes nothing of its layer, but is in it all the time.
        let layers = match whole > 1e-6 {
            true => shares.iter().map(|(k, s)| (*k, s / whole)).collect(),
            false => vec![(shares[0].0, 1.0)],
        };
        let mean = Mean {
            layers,
            rising: leg.rising,
            seconds: leg.seconds(),
        };
        let members = self.member.iter().max().map_or(1, |m| m + 1);
        let known: Option<Vec<[f64; 2]>> = (0..members)
            .map(|m| known_wind(kept, leg, &mean, m))
            .collect();
        // Where no wind is known, as beyond a forecast's hours, the leg cannot be compared with
        // any.
        let Some(known) = known else {
            return;
        };
        let Some((gain, sigma)) = self.winds.learn(&mean) else {
            return;
        };
        let seen = mean_velocity(kept, leg);
        let (seed, lesson, count) = (self.seed, self.lessons, self.layers);
        let ups = self.wind_up.par_chunks_mut(count);
        ups.zip(self.wind_down.par_chunks_mut(count))
            .zip(&self.member)
            .enumerate()
            .with_min_len(64)
            .for_each(|(i, ((up, down), member))| {
                let way: &[[f64; 2]] = if mean.rising { up } else { down };
                let off = [0, 1].map(|c| {
                    let error: f64 = mean.layers.iter().map(|(k, s)| s * way[*k][c]).sum();
                    // Each component has a seed of its own, or both would be off alike.
                    let unsure = sigma * noise(seed ^ (0xea << c), lesson, i);
                    seen[c] + unsure - known[*member][c] - error
                });
                // Both ways are moved by either: they differ only by what changes in between.
                move_draw(&gain, off, up, down);
            });
    }

    fn learn_rates(&mut self, kept: &Continuation, leg: &Leg, shares: &[(usize, f64)]) {
        let layers = &kept.model().layers;
        let mut heights: Vec<f64> = (0..layers.count).map(|k| layers.middle_m(k)).collect();
        let (states, base) = match leg.rising {
            true => (&mut self.rise, rates::RISE_NOISE),
            false => (&mut self.fall, rates::FALL_NOISE),
        };
        if leg.rising {
            // The burst is one more of the states; for the taper it lies where the planned one
            // does.
            heights.push(
                kept.planned()
                    .iter()
                    .map(|m| m.altitude_m)
                    .fold(0.0, f64::max),
            );
        }
        let ln_time = |row: &[f64]| {
            let seconds: f64 = shares.iter().map(|(k, s)| s * row[*k].exp()).sum();
            seconds.max(1e-3).ln()
        };
        let predicted: Vec<f64> = states
            .par_chunks(heights.len())
            .with_min_len(64)
            .map(ln_time)
            .collect();
        // Both ends of the leg are off, each by itself.
        let of_height = std::f64::consts::SQRT_2 * rates::HEIGHT_M / leg.height_m();
        let lesson = Lesson {
            predicted: &predicted,
            seen: leg.seconds().ln(),
            noise: base.hypot(of_height),
            middle_m: leg.middle_m(),
            number: self.lessons,
            // Another seed than the winds have: both learn from lessons of the same number.
            seed: self.seed ^ 0x7a7e,
        };
        learn(states, &heights, &lesson);
    }

    /// Flies every draw on from a moment, and tells where each is at `now_s`, or why it does not come down. The
    /// second is whether too few draws burst higher than it is.
    pub fn fly_on(
        &self,
        kept: &Continuation,
        from: Moment,
        falling: bool,
        now_s: f64,
    ) -> (Vec<Result<Onward, Miss>>, bool) {
        let (bursts, worn) = self.bursts(from.altitude_m, falling);
        let count = self.layers;
        let fly = |bench: &mut Bench, i: usize| {
            let rise = &self.rise[i * (count + 1)..][..count];
            bench.up_s.clear();
            bench.up_s.extend(rise.iter().map(|x| x.exp()));
            bench.down_s.clear();
            bench
                .down_s
                .extend(self.fall[i * count..][..count].iter().map(|x| x.exp()));
            let course = Course {
                member: self.member[i],
                up_s: &bench.up_s,
                burst_m: bursts[i],
                down_s: &bench.down_s,
                wind_up_m_s: &self.wind_up[i * count..][..count],
                wind_down_m_s: &self.wind_down[i * count..][..count],
            };
            let (mut last, mut now) = (from, None);
            let tell = |m: Moment| {
                if now.is_none() && m.time_s >= now_s {
                    now = Some(between(last, m, now_s));
                }
                last = m;
            };
            let flown = kept
                .model()
                .fly_onward(from, &course, &mut bench.scratch, tell)?;
            Ok(Onward {
                flown,
                // It was down before that time, and lies there.
                now: now.unwrap_or(flown.landing),
            })
        };
        let flown = (0..self.count())
            .into_par_iter()
            .with_min_len(64)
            .map_init(Bench::default, fly)
            .collect();
        (flown, worn)
    }

    /// The burst of each draw, m: of those that have burst already below where it is, that of another.
    fn bursts(&self, altitude_m: f64, falling: bool) -> (Vec<f64>, bool) {
        let row = self.layers + 1;
        if falling {
            return (vec![altitude_m; self.count()], false);
        }
        let own: Vec<f64> = self
            .rise
            .chunks(row)
            .map(|r| 1_000.0 * r[row - 1])
            .collect();
        let left: Vec<f64> = own.iter().copied().filter(|b| *b > altitude_m).collect();
        // Of few draws fifty may be more than there are, and of fewer than four a quarter is none.
        let worn = left.len() < FEWEST_LEFT.min(self.count() / 4).max(1);
        let drawn = own.iter().enumerate().map(|(i, burst_m)| {
            let mut stream = SplitMix::stream(self.seed ^ BURST_STREAM, i as u64);
            let share = (stream.next_u64() >> 11) as f64 / (1u64 << 53) as f64;
            match () {
                // However much higher it gets, as much more is expected in the mean: an exponential
                // has no age.
                () if worn => altitude_m - MEAN_HIGHER_M * (1.0 - share).ln(),
                () if *burst_m > altitude_m => *burst_m,
                () => left[((share * left.len() as f64) as usize).min(left.len() - 1)],
            }
        });
        (drawn.collect(), worn)
    }

    /// The median of the draws' rate of rise or fall at an altitude, m/s.
    pub fn rate_m_s(&self, kept: &Continuation, altitude_m: f64, rising: bool) -> Option<f64> {
        let layers = &kept.model().layers;
        let (k, _) = layers.locate(altitude_m);
        let (states, row) = match rising {
            true => (&self.rise, self.layers + 1),
            false => (&self.fall, self.layers),
        };
        let mut values: Vec<f64> = states.chunks(row).map(|r| r[k]).collect();
        values.sort_by(f64::total_cmp);
        Some(layers.thickness_m / quantile(&values, 0.5)?.exp())
    }

    /// How many legs were learnt from.
    pub fn legs(&self) -> u64 {
        self.lessons
    }
}

/// Memory that one thread reuses.
#[derive(Default)]
struct Bench {
    scratch: Scratch,
    up_s: Vec<f64>,
    down_s: Vec<f64>,
}

/// A first-order autoregressive series of ln time, from layer to layer.
fn add_fall_error(stream: &mut SplitMix, layers: &Layers, ln_seconds: &mut [f64]) {
    let rho = (-layers.thickness_m / rates::FALL_ERROR_CORRELATION_M).exp();
    let new = (1.0 - rho * rho).sqrt();
    let mut x = stream.next_normal();
    for (k, ln) in ln_seconds.iter_mut().enumerate() {
        let sigma = linear(&rates::FALL_ERROR, layers.middle_m(k)).unwrap_or(0.0);
        *ln += sigma * x;
        x = rho * x + new * stream.next_normal();
    }
}

/// The mean wind of a leg as the winds have it, in one member.
fn known_wind(kept: &Continuation, leg: &Leg, mean: &Mean, member: usize) -> Option<[f64; 2]> {
    let (from, to) = (leg.from.position, leg.to.position);
    // One look half-way stands for a leg: over a minute winds change about evenly.
    let middle = from.destination(from.azimuth_deg(to), 0.5 * from.distance_m(to));
    let time_s = seconds_between(kept.release(), leg.from.time) + 0.5 * mean.seconds;
    let mut sum = [0.0; 2];
    for (k, share) in &mean.layers {
        let wind = kept
            .model()
            .wind_of_layer(*k, member, middle.normal(), time_s)
            .ok()?;
        sum = [0, 1].map(|i| sum[i] + share * wind[i]);
    }
    Some(sum)
}

/// The mean velocity of a leg, m/s towards the compass's east and north, at its altitude.
fn mean_velocity(kept: &Continuation, leg: &Leg) -> [f64; 2] {
    let (from, to): (Position, Position) = (leg.from.position, leg.to.position);
    // Places are told on the ground; at the balloon's altitude the same angle is a longer way.
    let farther = 1.0 + leg.middle_m() / crate::earth::SEMI_MAJOR_M;
    let speed_m_s = from.distance_m(to) * farther / leg.seconds();
    let (s, c) = from.azimuth_deg(to).to_radians().sin_cos();
    kept.model()
        .compass
        .components(from, [speed_m_s * s, speed_m_s * c])
}

/// Where it is at a time between two moments.
fn between(a: Moment, b: Moment, time_s: f64) -> Moment {
    let whole_s = b.time_s - a.time_s;
    let share = match whole_s > 0.0 {
        true => ((time_s - a.time_s) / whole_s).clamp(0.0, 1.0),
        false => 1.0,
    };
    let (p, q) = (a.place.0, b.place.0);
    let mixed = [0, 1, 2].map(|i| p[i] + share * (q[i] - p[i]));
    // The chord lies inside the sphere: brought back to its surface.
    let length = mixed.iter().map(|x| x * x).sum::<f64>().sqrt();
    Moment {
        time_s,
        altitude_m: a.altitude_m + share * (b.altitude_m - a.altitude_m),
        place: crate::geodesy::Normal(mixed.map(|x| x / length)),
    }
}
