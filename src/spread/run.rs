//! Many flights in parallel.

use std::collections::BTreeMap;
use std::ops::Range;

use rayon::prelude::*;

use super::draws::{Draw, Sampler};
use super::rate_error::RateErrorProcess;
use crate::flight::model::{
    Aloft, Departures, FlightModel, FlightWinds, Flown, Moment, OneOfMany, Scratch,
};
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

/// Flights that are flown beside each other.
const BESIDE: usize = 4;

/// So many of these that one thread flies before it looks for others to share with: its memory is made
/// anew for each such batch.
const AT_ONCE: usize = 64 / BESIDE;

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
    let flights = Flights {
        model,
        from,
        sampler,
        errors,
        low_m,
    };
    // In `usize`, as rayon keeps order and length of no range of `u64`.
    let outcomes: Vec<Vec<Outcome>> = (0..draws.div_ceil(BESIDE as u64) as usize)
        .into_par_iter()
        .with_min_len(AT_ONCE)
        .map_init(Bench::default, |bench, group| {
            let first = (group * BESIDE) as u64;
            let outcomes = bench.fly(&flights, first..draws.min(first + BESIDE as u64));
            outcomes.iter().for_each(|_| flown());
            outcomes
        })
        .collect();
    let mut landings = Landings::default();
    // In the order of the draws, whichever thread flew them.
    for outcome in outcomes.into_iter().flatten() {
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

/// What all flights share.
struct Flights<'a> {
    model: &'a FlightModel,
    from: Option<&'a Aloft>,
    sampler: &'a Sampler,
    errors: Errors<'a>,
    low_m: Option<f64>,
}

/// Memory that one thread reuses.
#[derive(Default)]
struct Bench {
    seats: [Seat; BESIDE],
}

/// That of one flight.
#[derive(Default)]
struct Seat {
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

impl Seat {
    /// Draws what varies of one flight.
    fn draw(&mut self, sampler: &Sampler, errors: Errors, index: u64) -> Draw {
        // Rates before winds, from one stream: their order is part of what a seed means.
        let mut draw = sampler.draw(index);
        if let Some(process) = errors.rate {
            process.draw(&mut draw.stream, &mut self.slowness);
        }
        if let Some(process) = errors.wind {
            process.draw(draw.wind, &mut draw.stream, &mut self.wind_m_s);
        }
        // Of the flight before in the same seat.
        self.low.clear();
        draw
    }
}

impl Bench {
    /// Flies a few draws beside each other.
    fn fly(&mut self, flights: &Flights, draws: Range<u64>) -> Vec<Outcome> {
        let &Flights { model, low_m, .. } = flights;
        let seats = self.seats.iter_mut().zip(draws);
        let draw =
            |(seat, index): (&mut Seat, u64)| seat.draw(flights.sampler, flights.errors, index);
        let draws: Vec<Draw> = seats.map(draw).collect();
        let (mut ready, mut low): (Vec<OneOfMany>, Vec<LowWay>) = self
            .seats
            .iter_mut()
            .zip(&draws)
            .map(|(seat, draw)| {
                let one = OneOfMany {
                    variation: &draw.variation,
                    departures: Departures {
                        wind_m_s: &seat.wind_m_s,
                        slowness: &seat.slowness,
                    },
                    scratch: &mut seat.scratch,
                };
                (one, LowWay::new(low_m.unwrap_or_default(), &mut seat.low))
            })
            .unzip();
        // Through a single column whole legs are too long to stand for the way.
        let every_layer = low_m.is_some() && matches!(model.winds, FlightWinds::Column(_));
        let tell = |i: usize, moment| {
            if low_m.is_some() {
                low[i].pass(moment);
            }
        };
        let flown = model.fly_beside::<BESIDE>(flights.from, &mut ready, every_layer, tell);
        let ended = flown.into_iter().zip(&draws).zip(&self.seats);
        ended
            .map(|((flown, draw), seat)| Ok((landing(flown?, draw), seat.low.as_slice().into())))
            .collect()
    }
}

fn landing(flown: Flown, draw: &Draw) -> Landing {
    Landing {
        place: flown.landing.place,
        time_s: flown.landing.time_s,
        burst_m: flown.burst.altitude_m,
        burst_s: flown.burst.time_s,
        member: draw.variation.member,
        burst_early: draw.bursts_early,
    }
}
