//! Many flights in parallel.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::draws::Sampler;
use super::rate_error::RateErrorProcess;
use crate::flight::model::{Aloft, Departures, FlightModel, FlightWinds, Moment, Scratch};
use crate::flight::rise::Miss;
use crate::geodesy::Normal;
use crate::ground::touchdown::Fix;
use crate::numeric::Quantiles;
use crate::wind::error_process::WindErrorProcess;
use crate::wind::placing::Outside;

/// How one flight of many ended.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Landing {
    /// Where.
    pub place: Normal,
    /// Seconds after the planned release.
    pub time_s: f64,
    /// Altitude of the burst, m above mean sea level.
    pub burst_m: f64,
    /// Seconds after the planned release at which it burst.
    pub burst_s: f64,
    /// The member of the winds it flew in.
    pub member: usize,
    /// Whether the balloon burst early.
    pub burst_early: bool,
}

/// The landings of a run, in the order of the draws, and what did not come down.
#[derive(Debug, Clone, Default)]
pub struct Landings {
    /// Flights that came down.
    pub landed: Vec<Landing>,
    /// Of each of these the points of its way below an altitude, up and down again, if asked for.
    pub low: Vec<Box<[Fix]>>,
    /// Flights that did not, counted by reason.
    pub missed: BTreeMap<Miss, usize>,
}

impl Landings {
    /// How many flights left the winds there.
    pub fn left(&self, outside: Outside) -> usize {
        let missed = self.missed.get(&Miss::Leaves(outside));
        missed.copied().unwrap_or(0)
    }
}

/// A landing and the points kept of its way, or what came in between.
type Outcome = Result<(Landing, Box<[Fix]>), Miss>;

/// Flights that one thread flies before it looks for others to share with: its memory is made anew
/// for each such batch.
const AT_ONCE: usize = 64;

/// Flies `draws` flights. `flown` is called after each; the result does not depend on the number
/// of threads.
pub fn run(
    model: &FlightModel,
    sampler: &Sampler,
    wind_error: Option<&WindErrorProcess>,
    draws: u64,
    flown: impl Fn() + Sync,
) -> Landings {
    run_keeping(model, sampler, wind_error, draws, None, flown)
}

/// [`run`], keeping the points of each way below `low_m` and the first above.
pub fn run_keeping(
    model: &FlightModel,
    sampler: &Sampler,
    wind_error: Option<&WindErrorProcess>,
    draws: u64,
    low_m: Option<f64>,
    flown: impl Fn() + Sync,
) -> Landings {
    run_from(model, None, sampler, wind_error, draws, low_m, flown)
}

/// Flies on `draws` flights that are in the air at one place and time. What varies of them is drawn as
/// of flights from the release.
pub fn run_aloft(
    model: &FlightModel,
    from: &Aloft,
    sampler: &Sampler,
    wind_error: Option<&WindErrorProcess>,
    draws: u64,
) -> Landings {
    run_from(model, Some(from), sampler, wind_error, draws, None, || ())
}

fn run_from(
    model: &FlightModel,
    from: Option<&Aloft>,
    sampler: &Sampler,
    wind_error: Option<&WindErrorProcess>,
    draws: u64,
    low_m: Option<f64>,
    flown: impl Fn() + Sync,
) -> Landings {
    // Layers below the release are there for the fall alone; rates are of the rise.
    let above_release = model.layers.above(model.release_layer);
    let rate_error = RateErrorProcess::new(sampler.spread.rate_error, &above_release);
    let errors = Errors {
        wind: wind_error,
        rate: rate_error.as_ref(),
    };
    // In `usize`, as rayon keeps order and length of no range of `u64`.
    let outcomes: Vec<Outcome> = (0..draws as usize)
        .into_par_iter()
        .with_min_len(AT_ONCE)
        .map_init(Bench::default, |bench, index| {
            let outcome = bench.fly(model, from, sampler, errors, low_m, index as u64);
            flown();
            outcome
        })
        .collect();
    let mut landings = Landings::default();
    // In the order of the draws, whichever thread flew them.
    for outcome in outcomes {
        match outcome {
            Ok((landing, low)) => {
                landings.landed.push(landing);
                if low_m.is_some() {
                    landings.low.push(low);
                }
            }
            Err(miss) => *landings.missed.entry(miss).or_default() += 1,
        }
    }
    landings
}

/// Values that 5, 50 and 95 % of the landings stay below; 0 of no landings.
pub fn quantiles(landings: &[Landing], value: impl Fn(&Landing) -> f64) -> Quantiles<f64> {
    Quantiles::of(landings.iter().map(value))
}

/// What is drawn layer by layer; `None` for nothing.
#[derive(Clone, Copy)]
struct Errors<'a> {
    wind: Option<&'a WindErrorProcess>,
    rate: Option<&'a RateErrorProcess>,
}

/// Memory that one thread reuses.
#[derive(Default)]
struct Bench {
    scratch: Scratch,
    wind_m_s: Vec<[f64; 2]>,
    slowness: Vec<f64>,
    low: Vec<Fix>,
}

/// Keeps the points of a way that are next to one below an altitude.
struct LowWay<'a> {
    low_m: f64,
    last: Option<Moment>,
    kept: &'a mut Vec<Fix>,
}

impl LowWay<'_> {
    fn new(low_m: f64, kept: &mut Vec<Fix>) -> LowWay<'_> {
        LowWay {
            low_m,
            last: None,
            kept,
        }
    }

    fn pass(&mut self, moment: Moment) {
        let fix = |m: Moment| Fix {
            place: m.place,
            altitude_m: m.altitude_m,
        };
        let low = |m: &Moment| m.altitude_m < self.low_m;
        match self.last {
            Some(last) if low(&moment) && !low(&last) => {
                self.kept.extend([fix(last), fix(moment)]);
            }
            Some(last) if low(&moment) || low(&last) => self.kept.push(fix(moment)),
            None if low(&moment) => self.kept.push(fix(moment)),
            _ => {}
        }
        self.last = Some(moment);
    }
}

impl Bench {
    fn fly(
        &mut self,
        model: &FlightModel,
        from: Option<&Aloft>,
        sampler: &Sampler,
        errors: Errors,
        low_m: Option<f64>,
        index: u64,
    ) -> Outcome {
        // Rates before winds, from one stream: their order is part of what a seed means.
        let mut draw = sampler.draw(index);
        if let Some(process) = errors.rate {
            process.draw(&mut draw.stream, &mut self.slowness);
        }
        if let Some(process) = errors.wind {
            process.draw(draw.wind, &mut draw.stream, &mut self.wind_m_s);
        }
        let v = &draw.variation;
        let departures = Departures {
            wind_m_s: &self.wind_m_s,
            slowness: &self.slowness,
        };
        // Of the flight before on the same thread.
        self.low.clear();
        let flown = match (from, low_m) {
            // Nothing of the way is kept of these: they are asked for landings alone.
            (Some(from), _) => {
                model.fly_on(from, v, departures, &mut self.scratch, false, |_| ())?
            }
            (None, None) => model.fly(v, departures, &mut self.scratch, None)?,
            (None, Some(low_m)) => {
                let mut low = LowWay::new(low_m, &mut self.low);
                // Through a single column whole legs are too long to stand for the way.
                let every_layer = matches!(model.winds, FlightWinds::Column(_));
                let tell = |m| low.pass(m);
                model.fly_telling(v, departures, &mut self.scratch, every_layer, tell)?
            }
        };
        let landing = Landing {
            place: flown.landing.place,
            time_s: flown.landing.time_s,
            burst_m: flown.burst.altitude_m,
            burst_s: flown.burst.time_s,
            member: v.member,
            burst_early: draw.bursts_early,
        };
        Ok((landing, self.low.as_slice().into()))
    }
}
