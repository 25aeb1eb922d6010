//! The integrator: one stack, the winds around it, any number of flights.

use std::sync::Arc;

use super::field::LayerField;
use super::field_walk::{FieldWalk, fly_beside};
use super::floor::Floor;
use super::layers::{LayerWinds, Layers};
use super::passage::Passage;
use super::rates::RateTable;
use super::rise::{Miss, Rise, RiseVariation};
use super::walk::Walk;
use crate::atmosphere::{AirProfile, RHO0_KG_M3};
use crate::geodesy::{Compass, Normal};
use crate::ground::terrain::Terrain;
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
    /// Whether and where the canopy changes.
    pub canopy_change: Option<CanopyChange>,
    /// Released this many seconds late.
    pub delay_s: f64,
    /// Which member of the winds it flies in.
    pub member: usize,
}

impl Variation {
    /// The flight as planned.
    pub const NONE: Variation = Variation {
        rise: RiseVariation::NONE,
        burst_diameter: 1.0,
        burst_higher_m: 0.0,
        fall_speed: 1.0,
        fall_exponent: 0.0,
        canopy_change: None,
        delay_s: 0.0,
        member: 0,
    };
}

/// Where one flight departs from what the model knows, layer by layer; empty for nowhere.
#[derive(Debug, Clone, Copy, Default)]
pub struct Departures<'a> {
    /// Added to the wind of each layer, m/s east and north.
    pub wind_m_s: &'a [[f64; 2]],
    /// Multiplies the time of the rise through each layer from the release up.
    pub slowness: &'a [f64],
}

impl Departures<'_> {
    /// The flight goes by the model.
    pub const NONE: Departures<'static> = Departures {
        wind_m_s: &[],
        slowness: &[],
    };
}

/// A canopy that changes on its way down: until then its drag area is another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CanopyChange {
    /// Where, as a share of the way from the altitude of the release (0) to that of the burst: where it
    /// lands is not known before it has fallen.
    pub from_share: f64,
    /// Multiplies the speed of fall above that.
    pub speed_above: f64,
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

/// What carries the stack away.
#[derive(Debug, Clone)]
pub enum FlightWinds {
    /// One column for every place and time.
    Column(LayerWinds),
    /// Columns here and there, now and then.
    Field(Box<LayerField>),
}

impl FlightWinds {
    /// Whether hours are missing among them.
    pub fn gap_ahead(&self) -> bool {
        matches!(self, FlightWinds::Field(field) if field.gap_ahead())
    }
}

/// Everything that flights share; built once, read by all threads.
#[derive(Debug, Clone)]
pub struct FlightModel {
    /// The layers.
    pub layers: Layers,
    /// Their winds.
    pub winds: FlightWinds,
    /// The way up.
    pub rise: Rise,
    /// The way down.
    pub fall: Fall,
    /// Where the stack is released.
    pub start: Normal,
    /// Which way the winds' east and north point.
    pub compass: Compass,
    /// The layer at whose lower boundary the stack is released. Layers below it are for falls onto
    /// lower ground.
    pub release_layer: usize,
    /// What flights come down on. Where it has no height, and without it, that is the altitude of
    /// the release.
    pub ground: Option<Arc<Terrain>>,
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

/// Where a flight goes on that is in the air already: at the lower boundary of a layer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Aloft {
    /// The layer.
    pub layer: usize,
    /// Whether it is still rising.
    pub rising: bool,
    /// Seconds since the planned release.
    pub time_s: f64,
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
    pub(super) up: Passage,
    pub(super) down: Passage,
}

/// Where a flight turns from rise to fall.
#[derive(Debug, Clone, Copy)]
pub(super) struct Summit {
    /// Altitude of the burst, m.
    pub altitude_m: f64,
    /// The layer it is in.
    pub layer: usize,
    /// The share of that layer below it.
    pub share: f64,
}

/// A flight of several that are flown beside each other.
pub struct OneOfMany<'a> {
    /// What makes it differ from the planned one.
    pub variation: &'a Variation,
    /// Where it departs from what the model knows.
    pub departures: Departures<'a>,
    /// Its memory.
    pub scratch: &'a mut Scratch,
}

/// A way through whole layers, whose seconds are known.
#[derive(Clone, Copy)]
pub(super) struct Way<'a> {
    pub start: Moment,
    /// The layer at whose lower boundary it starts.
    pub first_layer: usize,
    pub summit: Summit,
    pub member: usize,
    /// Added to the wind of each layer, m/s, on the way up and on the way down.
    pub wind_errors: [&'a [[f64; 2]]; 2],
}

impl FlightModel {
    /// Flies once; `record`, if given, is called at every layer passed.
    pub fn fly(
        &self,
        v: &Variation,
        departures: Departures,
        scratch: &mut Scratch,
        record: Option<&mut dyn FnMut(Moment)>,
    ) -> Result<Flown, Miss> {
        let released = self.released(v);
        match record {
            Some(record) => self.fly_on(&released, v, departures, scratch, true, record),
            None => self.fly_on(&released, v, departures, scratch, false, |_| ()),
        }
    }

    /// Where a flight begins.
    fn released(&self, v: &Variation) -> Aloft {
        Aloft {
            layer: self.release_layer,
            rising: true,
            time_s: v.delay_s,
            place: self.start,
        }
    }

    /// Flies up to `N` beside each other, from where they are in the air or else from their releases, each as
    /// if it were alone; tells of every leg's end, with the number of the flight.
    pub fn fly_beside<const N: usize>(
        &self,
        from: Option<&Aloft>,
        flights: &mut [OneOfMany],
        every_layer: bool,
        mut tell: impl FnMut(usize, Moment),
    ) -> Vec<Result<Flown, Miss>> {
        let from_of = |flight: &OneOfMany| from.copied().unwrap_or(self.released(flight.variation));
        let flights = flights.iter_mut();
        let FlightWinds::Field(field) = &self.winds else {
            let alone = flights.enumerate().map(|(i, one)| {
                let (from, tell) = (from_of(one), |moment| tell(i, moment));
                let (v, scratch) = (one.variation, &mut *one.scratch);
                self.fly_on(&from, v, one.departures, scratch, every_layer, tell)
            });
            return alone.collect();
        };
        let walks = flights.map(|one| {
            let from = from_of(one);
            let way = self.way(&from, one.variation, one.departures, one.scratch)?;
            self.set_passages(&way, one.scratch);
            FieldWalk::new(self, field, way, &*one.scratch, every_layer)
        });
        fly_beside::<N>(self, field, walks, &mut tell)
    }

    /// Flies on from where a flight is in the air, and tells of every leg's end; with `every_layer` a leg is a
    /// layer. Its delay is not used.
    ///
    /// # Errors
    ///
    /// As a flight from the release; [`Miss::BurstsOnGround`] also where it would have burst below.
    pub fn fly_on(
        &self,
        from: &Aloft,
        v: &Variation,
        departures: Departures,
        scratch: &mut Scratch,
        every_layer: bool,
        mut tell: impl FnMut(Moment),
    ) -> Result<Flown, Miss> {
        let way = self.way(from, v, departures, scratch)?;
        self.walk(&way, scratch, every_layer, &mut tell)
    }

    /// The way of a flight; sets its seconds.
    fn way<'a>(
        &self,
        from: &Aloft,
        v: &Variation,
        departures: Departures<'a>,
        scratch: &mut Scratch,
    ) -> Result<Way<'a>, Miss> {
        let summit = self.summit(from, v, departures.slowness, scratch)?;
        self.fall_seconds(v, &summit, &mut scratch.down.seconds);
        let start = Moment {
            time_s: from.time_s,
            altitude_m: self.layers.altitude_m(from.layer),
            place: from.place,
        };
        Ok(Way {
            start,
            first_layer: from.layer,
            summit,
            member: v.member,
            wind_errors: [departures.wind_m_s; 2],
        })
    }

    /// Flies a way through layers whose seconds, up and down, stand in `scratch`.
    pub(super) fn walk(
        &self,
        way: &Way,
        scratch: &mut Scratch,
        every_layer: bool,
        tell: &mut impl FnMut(Moment),
    ) -> Result<Flown, Miss> {
        self.set_passages(way, scratch);
        match &self.winds {
            FlightWinds::Column(winds) => {
                let mut walk = Walk {
                    layers: &self.layers,
                    compass: &self.compass,
                    winds,
                    wind_error: way.wind_errors[0],
                    wind_error_down: way.wind_errors[1],
                    first_layer: way.first_layer,
                    floor: self.floor(),
                    moment: way.start,
                };
                Ok(walk.up_and_down(&way.summit, scratch, every_layer, tell))
            }
            FlightWinds::Field(field) => {
                let walk = FieldWalk::new(self, field, *way, scratch, every_layer);
                let alone = std::iter::once(walk);
                let mut flown = fly_beside::<1>(self, field, alone, &mut |_, moment| tell(moment));
                flown.remove(0)
            }
        }
    }

    /// Sets what of the seconds in the layers of a way its winds are felt for.
    fn set_passages(&self, way: &Way, scratch: &mut Scratch) {
        scratch.up.set_lean(way.first_layer);
        // The way down ends with the lowest layer, wherever the way up began.
        scratch.down.set_lean(0);
        if matches!(self.winds, FlightWinds::Field(_)) {
            scratch.up.set_felt(&way.summit, way.first_layer);
            scratch.down.set_felt(&way.summit, 0);
        }
    }

    /// What ends the way down.
    pub(super) fn floor(&self) -> Floor<'_> {
        let release_m = self.layers.altitude_m(self.release_layer);
        Floor::new(self.ground.as_deref(), release_m)
    }

    /// Where a flight turns: where it bursts, or where it is if it falls already. Sets the seconds of
    /// the way up.
    fn summit(
        &self,
        from: &Aloft,
        v: &Variation,
        slowness: &[f64],
        scratch: &mut Scratch,
    ) -> Result<Summit, Miss> {
        let up = &mut scratch.up.seconds;
        let altitude_m = self.layers.altitude_m(from.layer);
        if !from.rising {
            // No way up is left, but a passage has seconds up to the layer of its summit.
            up.clear();
            up.resize(from.layer + 1, 0.0);
            return Ok(Summit {
                altitude_m,
                layer: from.layer,
                share: 0.0,
            });
        }
        let below = self.release_layer;
        let burst_m = self.rise.of(
            &self.layers.above(below),
            &v.rise,
            v.burst_diameter,
            v.burst_higher_m,
            up,
        )?;
        // Before the layers below are put in front: slowness counts from the release.
        for (seconds, slower) in up.iter_mut().zip(slowness) {
            *seconds *= slower;
        }
        // The rise begins at the release; below it only the fall goes on, to lower ground.
        up.splice(0..0, std::iter::repeat_n(0.0, below));
        if from.layer > below && burst_m <= altitude_m {
            return Err(Miss::BurstsOnGround);
        }
        // What lies behind takes no time any more, but keeps its place: layers are found by number.
        let passed = from.layer.min(up.len());
        up[..passed].fill(0.0);
        let (layer, share) = self.layers.locate(burst_m);
        Ok(Summit {
            altitude_m: burst_m,
            layer,
            share,
        })
    }

    pub(super) fn fall_seconds(&self, v: &Variation, summit: &Summit, out: &mut Vec<f64>) {
        let count = summit.layer + 1;
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
        if let Some(change) = v.canopy_change {
            let at = self.change_at(change, summit.layer as f64 + summit.share);
            let layer = at as usize;
            let in_it = at - layer as f64;
            // Drag area counts from the change down as planned, so it is the layers above that
            // differ.
            let slower = 1.0 / change.speed_above;
            out[layer] *= in_it + (1.0 - in_it) * slower;
            out[layer + 1..].iter_mut().for_each(|s| *s *= slower);
        }
    }
}

impl FlightModel {
    /// Where a canopy changes, as a number of layers from the lowest, on a fall that begins at `top` of
    /// them. Layers below the release are there for lower ground far or near, and must change no draw.
    pub(super) fn change_at(&self, change: CanopyChange, top: f64) -> f64 {
        let release = (self.release_layer as f64).min(top);
        release + change.from_share * (top - release)
    }
}

/// e^x for |x| up to 2: the sixteenth power of a series of e^(x / 16), relative error below 2e-7;
/// unlike `f64::exp` the compiler makes it several at a time. [`crate::numeric::exp`] is closer.
pub(crate) fn exp_of_small(x: f64) -> f64 {
    let y = x / 16.0;
    let series = 1.0 + y * (1.0 + y / 2.0 * (1.0 + y / 3.0 * (1.0 + y / 4.0 * (1.0 + y / 5.0))));
    let square = series * series;
    let fourth = square * square;
    let eighth = fourth * fourth;
    eighth * eighth
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
