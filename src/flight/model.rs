//! The integrator: one stack, one column of wind, any number of flights.

use super::layers::{LayerWinds, Layers};
use super::rates::RateTable;
use super::rise::{Miss, Rise, RiseVariation};
use crate::atmosphere::{AirProfile, RHO0_KG_M3};
use crate::geodesy::{Compass, Normal, drift};
use crate::vehicle::descent::FallSpeed;

/// What makes one flight differ from the planned one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Variation {
    /// The rise.
    pub rise: RiseVariation,
    /// Multiplies the burst diameter.
    pub burst_diameter: f64,
    /// Added to the burst altitude, m.
    pub burst_higher_m: f64,
    /// Multiplies the speed of fall.
    pub fall_speed: f64,
    /// Added to the exponent of the fall speed in thin air.
    pub fall_exponent: f64,
    /// Released so many seconds late.
    pub delay_s: f64,
}

impl Variation {
    /// The flight as planned.
    pub const NONE: Variation = Variation {
        rise: RiseVariation::NONE,
        burst_diameter: 1.0,
        burst_higher_m: 0.0,
        fall_speed: 1.0,
        fall_exponent: 0.0,
        delay_s: 0.0,
    };
}

/// The way down through each layer as planned.
#[derive(Debug, Clone)]
pub struct Fall {
    /// Seconds in each layer.
    pub seconds: Vec<f64>,
    /// Half of ln(rho0 / rho) in the middle of each layer: what the exponent of thin air works on.
    pub half_ln_thinness: Vec<f64>,
}

impl Fall {
    /// Falling as fast as the air's density lets it; Simpson's rule over each layer.
    pub fn at_speed(speed: &FallSpeed, air: &AirProfile, layers: &Layers) -> Fall {
        let slowness = |z: f64| 1.0 / speed.at(air.at(z).density_kg_m3);
        let seconds = (0..layers.count)
            .map(|k| {
                let [low, middle, high] = [
                    layers.altitude_m(k),
                    layers.middle_m(k),
                    layers.altitude_m(k + 1),
                ]
                .map(slowness);
                layers.thickness_m / 6.0 * (low + 4.0 * middle + high)
            })
            .collect();
        Fall {
            seconds,
            half_ln_thinness: (0..layers.count)
                .map(|k| 0.5 * (RHO0_KG_M3 / air.at(layers.middle_m(k)).density_kg_m3).ln())
                .collect(),
        }
    }

    /// Falling at stated rates, which no exponent of thin air changes.
    pub fn stated(rates: &RateTable, layers: &Layers) -> Fall {
        Fall {
            seconds: rates.seconds(layers),
            half_ln_thinness: vec![0.0; layers.count],
        }
    }
}

/// Everything that flights share; built once, read by all threads.
#[derive(Debug, Clone)]
pub struct FlightModel {
    /// The layers.
    pub layers: Layers,
    /// Their winds.
    pub winds: LayerWinds,
    /// The way up.
    pub rise: Rise,
    /// The way down.
    pub fall: Fall,
    /// Where the stack is released.
    pub start: Normal,
    /// Which way the winds' east and north point.
    pub compass: Compass,
}

/// Where and when one flight was at some moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moment {
    /// Seconds since the planned release.
    pub time_s: f64,
    /// Altitude above mean sea level, m.
    pub altitude_m: f64,
    /// Place.
    pub place: Normal,
}

/// One flight's burst and landing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flown {
    /// At the burst.
    pub burst: Moment,
    /// At touchdown.
    pub landing: Moment,
}

/// Memory that one thread reuses from flight to flight.
#[derive(Debug, Clone, Default)]
pub struct Scratch {
    up: Passage,
    down: Passage,
}

/// How long one flight is in each layer, on one way.
#[derive(Debug, Clone, Default)]
struct Passage {
    /// Seconds in each layer.
    seconds: Vec<f64>,
    /// How the time within each layer leans to its upper half, s: what the slope of the wind in
    /// the layer is felt for.
    lean: Vec<f64>,
}

impl Passage {
    /// Sets `lean` from `seconds`. With the wind u + S x and the time t (1 + g x) dx over a layer,
    /// x from -1/2 to 1/2, the drift is u t + S g t / 12, and g t is half the change of t from the
    /// layer below to the one above.
    fn set_lean(&mut self) {
        let t = &self.seconds;
        self.lean.clear();
        if let [first, second, ..] = t[..] {
            self.lean.push((second - first) / 12.0);
            self.lean.extend(t.windows(3).map(|w| (w[2] - w[0]) / 24.0));
        }
        // The last layer is passed in part only, and told by its own slope.
        self.lean.resize(t.len(), 0.0);
    }
}

/// Layers whose drifts are added up before the place on the ellipsoid is moved. Over so short a
/// leg the order of the small drifts does not matter; a track is recorded layer by layer.
const LAYERS_A_LEG: usize = 12;

impl FlightModel {
    /// Flies once. `wind_error` is added to each layer's wind (m/s east and north; empty for
    /// none); `record` sees every leg's end when `every_layer` is set.
    pub fn fly(
        &self,
        v: &Variation,
        wind_error: &[[f64; 2]],
        scratch: &mut Scratch,
        mut record: Option<&mut dyn FnMut(Moment)>,
    ) -> Result<Flown, Miss> {
        let burst_m = self.rise.of(
            &self.layers,
            &v.rise,
            v.burst_diameter,
            v.burst_higher_m,
            &mut scratch.up.seconds,
        )?;
        let (last, share) = self.layers.locate(burst_m);
        self.fall_seconds(v, last + 1, &mut scratch.down.seconds);
        scratch.up.set_lean();
        scratch.down.set_lean();

        let leg = if record.is_some() { 1 } else { LAYERS_A_LEG };
        let mut walk = Walk {
            model: self,
            wind_error,
            moment: Moment {
                time_s: v.delay_s,
                altitude_m: self.layers.base_m,
                place: self.start,
            },
        };
        let mut tell = |moment: Moment| {
            if let Some(record) = record.as_mut() {
                record(moment);
            }
        };
        tell(walk.moment);
        for first in (0..last).step_by(leg) {
            let end = (first + leg).min(last);
            let arrive_m = self.layers.altitude_m(end);
            walk.through(first..end, &scratch.up, arrive_m);
            tell(walk.moment);
        }
        walk.through_lower_part(share, &scratch.up, burst_m);
        let burst = walk.moment;
        tell(burst);
        walk.through_lower_part(share, &scratch.down, self.layers.altitude_m(last));
        tell(walk.moment);
        let mut end = last;
        while end > 0 {
            let first = end.saturating_sub(leg);
            walk.through(first..end, &scratch.down, self.layers.altitude_m(first));
            tell(walk.moment);
            end = first;
        }
        Ok(Flown {
            burst,
            landing: walk.moment,
        })
    }

    fn fall_seconds(&self, v: &Variation, count: usize, out: &mut Vec<f64>) {
        out.clear();
        let slower = 1.0 / v.fall_speed;
        let planned = self.fall.seconds[..count].iter();
        if v.fall_exponent == 0.0 {
            out.extend(planned.map(|s| s * slower));
        } else {
            let thinness = &self.fall.half_ln_thinness[..count];
            out.extend(
                planned
                    .zip(thinness)
                    .map(|(s, l)| s * slower * exp_of_small(v.fall_exponent * l)),
            );
        }
    }
}

/// e^x for |x| up to 2: the sixteenth power of a series of e^(x / 16), relative error below 2e-7;
/// unlike `exp` the compiler makes it several at a time.
fn exp_of_small(x: f64) -> f64 {
    let y = x / 16.0;
    let series = 1.0 + y * (1.0 + y / 2.0 * (1.0 + y / 3.0 * (1.0 + y / 4.0 * (1.0 + y / 5.0))));
    let square = series * series;
    let fourth = square * square;
    let eighth = fourth * fourth;
    eighth * eighth
}

/// A flight on its way.
struct Walk<'a> {
    model: &'a FlightModel,
    wind_error: &'a [[f64; 2]],
    moment: Moment,
}

impl Walk<'_> {
    /// Through whole layers, as one leg.
    fn through(&mut self, layers: std::ops::Range<usize>, passage: &Passage, arrive_m: f64) {
        let winds = &self.model.winds;
        let seconds = &passage.seconds[layers.clone()];
        let (mut east, mut north, mut time) = (0.0, 0.0, 0.0);
        for (w, s) in winds.mean[layers.clone()].iter().zip(seconds) {
            east += w[0] * s;
            north += w[1] * s;
            time += s;
        }
        let leans = &passage.lean[layers.clone()];
        for (w, s) in winds.slope[layers.clone()].iter().zip(leans) {
            east += w[0] * s;
            north += w[1] * s;
        }
        if !self.wind_error.is_empty() {
            for (e, s) in self.wind_error[layers].iter().zip(seconds) {
                east += e[0] * s;
                north += e[1] * s;
            }
        }
        self.step(east, north, time, arrive_m);
    }

    /// Through the lowest `share` of the last layer of a passage. The time in it leans as from
    /// the layer below: t (s + g (s^2 - s) / 2), with g t the change of t from layer to layer.
    fn through_lower_part(&mut self, share: f64, passage: &Passage, arrive_m: f64) {
        let Some((&seconds, below)) = passage.seconds.split_last() else {
            return;
        };
        let k = below.len();
        let change = below.last().map_or(0.0, |b| seconds - b);
        let rate = seconds + 0.5 * change * (share - 1.0);
        let [mut east, mut north] = self.model.winds.lower_part(k, share).map(|w| w * rate);
        let time = share * rate;
        if let Some(error) = self.wind_error.get(k) {
            east += error[0] * time;
            north += error[1] * time;
        }
        self.step(east, north, time, arrive_m);
    }

    fn step(&mut self, east_m: f64, north_m: f64, seconds: f64, arrive_m: f64) {
        let middle_m = 0.5 * (self.moment.altitude_m + arrive_m);
        self.moment = Moment {
            time_s: self.moment.time_s + seconds,
            altitude_m: arrive_m,
            place: drift(
                self.moment.place,
                &self.model.compass,
                east_m,
                north_m,
                middle_m,
            ),
        };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_fast_exponential_is_one() {
        for k in -200..=200 {
            let x = 0.01 * f64::from(k);
            assert!((exp_of_small(x) / x.exp() - 1.0).abs() < 2e-7, "{x}");
        }
    }
}
