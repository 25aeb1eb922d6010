//! The plan flown again with one measured part after the other: what each of them moves the landing by.

use serde::Serialize;

use super::measured::Measured;
use crate::clock::seconds_between;
use crate::flight::model::{Departures, FlightModel, Moment, Scratch, Variation};
use crate::flight::onward::Course;
use crate::flight::rise::{Miss, Rise};
use crate::geodesy::{LocalFrame, Position};
use crate::numeric::{last_true, linear};
use crate::spread::draws::{BurstSpread, SIGMAS, Sampler, Spread};
use crate::spread::run::run;
use crate::zone::aloft::Continuation;

use super::score::Normal2;

/// What a miss is from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Cause {
    /// Released at another time or place.
    Release,
    /// It rose faster or more slowly.
    Rise,
    /// It burst higher or lower.
    Burst,
    /// It fell faster or more slowly.
    Fall,
    /// What is left: the winds.
    Winds,
}

/// Flights of a prediction with measured seconds.
pub struct Replay<'a> {
    kept: &'a Continuation,
    delay_s: f64,
    planned_burst_m: f64,
    planned_up: Vec<f64>,
    planned_down: Vec<f64>,
    measured_up: Vec<f64>,
    measured_rise: Vec<f64>,
    measured_down: Vec<f64>,
    burst_m: f64,
}

/// Flights that the winds' own error is counted by.
const WIND_DRAWS: u64 = 500;

impl<'a> Replay<'a> {
    /// Of a prediction and what was measured.
    ///
    /// # Errors
    ///
    /// When the stack as planned does not rise or burst.
    pub fn new(kept: &'a Continuation, measured: &Measured) -> std::result::Result<Self, Miss> {
        let model = kept.model();
        let (mut planned_up, mut planned_down) = (Vec::new(), Vec::new());
        let burst_m =
            model.seconds_of(&Variation::NONE, &[], &mut planned_up, &mut planned_down)?;
        let by = |planned: &[f64], track: &[(f64, f64)]| by_layer(model, planned, track);
        let turns_m = measured.burst.and(measured.up.last()).map(|p| p.0);
        // The model's layers end there, and a burst must lie within one.
        let highest_m = model.layers.top_m() - 1.0;
        Ok(Replay {
            delay_s: seconds_between(kept.release(), measured.released),
            planned_burst_m: burst_m,
            measured_rise: with_float(model, &planned_up, measured),
            measured_up: by(&planned_up, &measured.up),
            measured_down: by(&planned_down, &measured.down),
            planned_up,
            planned_down,
            // That of the plan where none was heard.
            burst_m: turns_m.map_or(burst_m, |m| m.min(highest_m)),
            kept,
        })
    }

    /// Landings with ever more measured parts: the release, the rise, the burst, the fall.
    ///
    /// # Errors
    ///
    /// When one leaves the winds.
    pub fn landings(&self) -> std::result::Result<[Position; 4], Miss> {
        let fly = |up: &[f64], burst_m, down: &[f64]| self.fly(up, burst_m, down);
        Ok([
            fly(&self.planned_up, self.planned_burst_m, &self.planned_down)?,
            fly(
                &self.measured_rise,
                self.planned_burst_m,
                &self.planned_down,
            )?,
            fly(&self.measured_up, self.burst_m, &self.planned_down)?,
            fly(&self.measured_up, self.burst_m, &self.measured_down)?,
        ])
    }

    fn model(&self, up: &[f64], burst_m: f64, down: &[f64]) -> FlightModel {
        let mut model = self.kept.model().clone();
        model.rise = Rise::Stated {
            // From the release on: layers below it are there for falls onto lower ground.
            seconds: up[model.release_layer..].to_vec(),
            burst_altitude_m: burst_m,
        };
        model.fall.seconds = down.to_vec();
        model
    }

    fn fly(&self, up: &[f64], burst_m: f64, down: &[f64]) -> std::result::Result<Position, Miss> {
        let variation = Variation {
            delay_s: self.delay_s,
            member: self.kept.planned_member(),
            ..Variation::NONE
        };
        let model = self.model(up, burst_m, down);
        let flown = model.fly(&variation, Departures::NONE, &mut Scratch::default(), None)?;
        Ok(flown.landing.place.position())
    }

    /// Where it comes down from its last place in the air, as it fell so far and in the winds of the plan.
    ///
    /// # Errors
    ///
    /// When it leaves the winds.
    pub fn landing_from(&self, measured: &Measured) -> std::result::Result<Moment, Miss> {
        let model = self.kept.model();
        let last = &measured.last;
        let from = Moment {
            time_s: seconds_between(self.kept.release(), last.time),
            altitude_m: last.altitude_m,
            place: last.position.normal(),
        };
        let none = vec![[0.0; 2]; model.layers.count];
        let course = Course {
            member: self.kept.planned_member(),
            up_s: &self.measured_up,
            // Below wherever it is, so it falls at once.
            burst_m: f64::NEG_INFINITY,
            down_s: &self.measured_down,
            wind_up_m_s: &none,
            wind_down_m_s: &none,
        };
        let flown = model.fly_onward(from, &course, &mut Scratch::default(), |_| ())?;
        Ok(flown.landing)
    }

    /// Landings of the flight as measured in draws of the winds' error; `None` where these are taken as exact.
    pub fn winds_alone(&self, frame: &LocalFrame) -> Option<Normal2> {
        let process = self.kept.wind_process()?;
        // All but the winds is as measured, so nothing else varies.
        let sampler = Sampler {
            spread: Spread {
                burst: BurstSpread::AltitudeM {
                    sigma_m: 0.0,
                    scale_m: None,
                },
                ..Spread::NONE
            },
            ..*self.kept.sampler()
        };
        let model = self.model(&self.measured_up, self.burst_m, &self.measured_down);
        let landings = run(&model, &sampler, Some(&process), WIND_DRAWS, || ());
        let places = landings.landed.iter().map(|l| l.place.position());
        let points: Vec<[f64; 2]> = places.map(|p| frame.to_plane(p)).collect();
        Normal2::of(&points)
    }

    /// The factor on the lift at the neck that makes the balloon of the plan rise as fast as measured up to a
    /// height; `None` where rates are stated, or outside of what lifts are drawn.
    pub fn lift_factor(&self, measured: &Measured, up_to_m: f64) -> Option<f64> {
        let model = self.kept.model();
        if matches!(model.rise, Rise::Stated { .. }) {
            return None;
        }
        let reach = SIGMAS * self.kept.sampler().spread.lift;
        let (low, high) = (measured.up[0].0, measured.risen.0.min(up_to_m));
        let measured_s = measured.up_at(high)? - measured.up_at(low)?;
        let seconds = |lift: f64| {
            let mut v = Variation::NONE;
            v.rise.lift = lift;
            let (mut up, mut down) = (Vec::new(), Vec::new());
            model.seconds_of(&v, &[], &mut up, &mut down).ok()?;
            let share = |k: usize| covered(model, k, low, high) / model.layers.thickness_m;
            Some(
                up.iter()
                    .enumerate()
                    .map(|(k, s)| share(k) * s)
                    .sum::<f64>(),
            )
        };
        let [least, most] = [1.0 - reach, 1.0 + reach];
        let within = seconds(least)? >= measured_s && measured_s >= seconds(most)?;
        let slower = |lift| seconds(lift).is_some_and(|s| s > measured_s);
        within.then(|| last_true(least, most, slower))
    }

    /// ln of the measured over the planned rate of rise up to a height, and of the fall over all that was heard.
    pub fn ln_rates(&self, measured: &Measured, up_to_m: f64) -> [Option<f64>; 2] {
        let ratio = |planned: &[f64], track: &[(f64, f64)], top_m: f64| {
            let model = self.kept.model();
            // Both times are of the same heights: a flight may land lower than the planned one can, or rise higher.
            let low = track.first()?.0.max(model.layers.base_m);
            let high = track.last()?.0.min(top_m).min(model.layers.top_m());
            if high <= low {
                return None;
            }
            let share = |k: usize| covered(model, k, low, high) / model.layers.thickness_m;
            let planned_s: f64 = planned.iter().enumerate().map(|(k, s)| share(k) * s).sum();
            let at = |z| linear(track, z);
            let seconds = (at(high)? - at(low)?).abs();
            (seconds > 0.0 && planned_s > 0.0).then(|| (planned_s / seconds).ln())
        };
        [
            ratio(
                &self.planned_up,
                &measured.up,
                up_to_m.min(measured.risen.0),
            ),
            ratio(&self.planned_down, &measured.down, f64::INFINITY),
        ]
    }
}

/// Seconds of the way up for a flight that bursts elsewhere: the pace of the rise without its float, which is added
/// whole to the layer where that was.
fn with_float(model: &FlightModel, planned: &[f64], measured: &Measured) -> Vec<f64> {
    let (from_m, from_s) = measured.risen;
    let mut rise = measured.up.clone();
    rise.retain(|p| p.0 <= from_m);
    let mut up_s = by_layer(model, planned, &rise);
    if let Some((top_m, end_s)) = measured.up.last() {
        let (layer, _) = model.layers.locate(*top_m);
        if let Some(seconds) = up_s.get_mut(layer) {
            *seconds += end_s - from_s;
        }
    }
    up_s
}

/// Metres of a layer between two altitudes.
fn covered(model: &FlightModel, k: usize, low_m: f64, high_m: f64) -> f64 {
    let layers = &model.layers;
    (layers.altitude_m(k + 1).min(high_m) - layers.altitude_m(k).max(low_m)).max(0.0)
}

/// Seconds in each layer at the pace of a track by altitude; where it was not heard as planned, by the factor of
/// where it was.
fn by_layer(model: &FlightModel, planned: &[f64], track: &[(f64, f64)]) -> Vec<f64> {
    let (low, high) = match (track.first(), track.last()) {
        (Some(low), Some(high)) => (low.0, high.0),
        _ => return planned.to_vec(),
    };
    let thickness_m = model.layers.thickness_m;
    let at = |z: f64| linear(track, z).unwrap_or(0.0);
    let pace = |k: usize| {
        let metres = covered(model, k, low, high);
        let from = model.layers.altitude_m(k).max(low);
        // A sliver of a layer tells no pace.
        (metres > 1.0).then(|| (at(from + metres) - at(from)).abs() * thickness_m / metres)
    };
    let paces: Vec<Option<f64>> = (0..planned.len()).map(pace).collect();
    let heard = || {
        paces
            .iter()
            .zip(planned)
            .filter_map(|(m, p)| m.map(|m| (m, p)))
    };
    let (measured_s, planned_s) = heard().fold((0.0, 0.0), |s, (m, p)| (s.0 + m, s.1 + p));
    let factor = if planned_s > 0.0 {
        measured_s / planned_s
    } else {
        1.0
    };
    let seconds = paces.iter().zip(planned);
    seconds.map(|(m, p)| m.unwrap_or(p * factor)).collect()
}
