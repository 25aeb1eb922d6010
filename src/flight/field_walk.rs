//! Flights through a field of winds.
//!
//! Each leg waits for the one before, and a processor waits with it. So several flights are flown beside
//! each other, leg by leg: what one waits for, others have time to compute.

use super::field::{FIELD_LEG_LAYERS, LayerField};
use super::floor::Floor;
use super::model::{FlightModel, Flown, Moment, Scratch, Way};
use super::rise::Miss;
use crate::geodesy::Normal;
use crate::geodesy::beside::{Vectors, half_ways, whole_ways};
use crate::wind::placing::Weights;

/// A flight on its way. Each leg is a midpoint step: the columns around its middle count, and the
/// middle is found with the columns of the leg before.
pub(super) struct FieldWalk<'a> {
    model: &'a FlightModel,
    field: &'a LayerField,
    way: Way<'a>,
    scratch: &'a Scratch,
    floor: Floor<'a>,
    moment: Moment,
    weights: Weights,
    /// Where it burst, once it falls.
    burst: Option<Moment>,
    /// The boundary of layers where the next leg begins.
    at: usize,
    /// Layers that a leg takes where no ground is near.
    size: usize,
}

/// What is to be flown next: whole layers of one leg of the field.
#[derive(Clone, Copy)]
struct Leg {
    number: usize,
    /// Seconds for which the wind of each layer is felt.
    felt: [f32; FIELD_LEG_LAYERS],
    /// Drift by the error of the wind, m.
    error_m: [f64; 2],
    seconds: f64,
    arrive_m: f64,
    middle_m: f64,
}

impl<'a> FieldWalk<'a> {
    /// A flight about to be released; its seconds stand in `scratch`. With `every_layer` a leg is a layer.
    ///
    /// # Errors
    ///
    /// [`Miss::Leaves`] when no wind is known there and then.
    pub fn new(
        model: &'a FlightModel,
        field: &'a LayerField,
        way: Way<'a>,
        scratch: &'a Scratch,
        every_layer: bool,
    ) -> Result<FieldWalk<'a>, Miss> {
        let moment = way.start;
        Ok(FieldWalk {
            model,
            field,
            way,
            scratch,
            floor: model.floor(),
            moment,
            weights: field.weights_at(moment.place, moment.time_s, moment.altitude_m)?,
            burst: None,
            at: 0,
            size: if every_layer { 1 } else { FIELD_LEG_LAYERS },
        })
    }

    /// The next leg that takes any time, which may begin with the burst; `None` where the way ends.
    fn next(&mut self, tell: &mut impl FnMut(Moment)) -> Option<Leg> {
        loop {
            let falls = self.burst.is_some();
            let (first, end) = match falls {
                false if self.at == self.scratch.up.felt.len() * FIELD_LEG_LAYERS => {
                    self.turn(tell);
                    continue;
                }
                false => (self.at, self.at + self.size),
                true => (self.at.checked_sub(self.size_down())?, self.at),
            };
            self.at = if falls { first } else { end };
            // Legs wholly behind the flight have no middle to look for; that saves asking the field.
            if let Some(leg) = self.leg(first, end) {
                return Some(leg);
            }
        }
    }

    /// At the summit.
    fn turn(&mut self, tell: &mut impl FnMut(Moment)) {
        // A last part without any time was not passed, so the altitude may still be the one below.
        self.moment.altitude_m = self.way.summit.altitude_m;
        self.burst = Some(self.moment);
        self.at = self.scratch.down.felt.len() * FIELD_LEG_LAYERS;
        tell(self.moment);
    }

    /// Where ground may be met, a leg is cut into single layers, as its end may be far from there.
    fn size_down(&self) -> usize {
        let below = self.at.saturating_sub(1) / FIELD_LEG_LAYERS * FIELD_LEG_LAYERS;
        match self.floor.is_near(self.model.layers.altitude_m(below)) {
            true => 1,
            false => self.size,
        }
    }

    /// Through layers `first` to `end`, all of one leg; `None` where they take no time.
    fn leg(&self, first: usize, end: usize) -> Option<Leg> {
        let (passage, errors, arrive) = match self.burst {
            None => (&self.scratch.up, self.way.wind_errors[0], end),
            Some(_) => (&self.scratch.down, self.way.wind_errors[1], first),
        };
        let number = first / FIELD_LEG_LAYERS;
        let inside = first % FIELD_LEG_LAYERS..first % FIELD_LEG_LAYERS + (end - first);
        let mut felt = [0.0f32; FIELD_LEG_LAYERS];
        felt[inside.clone()].copy_from_slice(&passage.felt[number][inside]);
        let flown = &passage.flown[first..end];
        let seconds = flown.iter().sum();
        if felt == [0.0; FIELD_LEG_LAYERS] && seconds == 0.0 {
            return None;
        }
        let mut error_m = [0.0; 2];
        for (error, seconds) in errors.get(first..).unwrap_or(&[]).iter().zip(flown) {
            error_m[0] += error[0] * seconds;
            error_m[1] += error[1] * seconds;
        }
        let arrive_m = self.model.layers.altitude_m(arrive);
        let arrive_m = arrive_m.min(self.way.summit.altitude_m);
        Some(Leg {
            number,
            felt,
            error_m,
            seconds,
            arrive_m,
            middle_m: 0.5 * (self.moment.altitude_m + arrive_m),
        })
    }

    #[inline(always)]
    fn drift(&self, leg: &Leg) -> [f64; 2] {
        let field = self.field;
        let [east, north] = field.drift(&self.weights, self.way.member, leg.number, &leg.felt);
        [east + leg.error_m[0], north + leg.error_m[1]]
    }

    /// The columns around the middle of a leg count from now on.
    #[inline(always)]
    fn weigh(&mut self, middle: Normal, located: [f64; 2], leg: &Leg) -> Result<(), Miss> {
        let middle_s = self.moment.time_s + 0.5 * leg.seconds;
        let weights = &mut self.weights;
        let found = self
            .field
            .weigh(middle, located, middle_s, leg.middle_m, weights);
        Ok(found?)
    }

    /// To the end of a leg; where it meets the ground, that is all.
    fn arrive(&mut self, leg: &Leg, place: Normal, tell: &mut impl FnMut(Moment)) -> Option<Flown> {
        let before = self.moment;
        self.moment = Moment {
            time_s: before.time_s + leg.seconds,
            altitude_m: leg.arrive_m,
            place,
        };
        if leg.seconds <= 0.0 {
            return None;
        }
        let burst = self.burst;
        let landed = burst.and_then(|burst| Some((burst, self.floor.met(before, self.moment)?)));
        tell(landed.map_or(self.moment, |(_, landing)| landing));
        landed.map(|(burst, landing)| Flown { burst, landing })
    }
}

/// One of the flights beside each other.
#[allow(clippy::large_enum_variant, reason = "a handful, each ends once")]
enum Lane<'a> {
    Flies(FieldWalk<'a>),
    Ended(Result<Flown, Miss>),
}

/// Flies up to `N` beside each other, up to their summits and down to the ground, each as if it were alone;
/// tells of the ends of all legs, with the number of the flight.
pub(super) fn fly_beside<'a, const N: usize>(
    model: &FlightModel,
    field: &LayerField,
    walks: impl Iterator<Item = Result<FieldWalk<'a>, Miss>>,
    tell: &mut impl FnMut(usize, Moment),
) -> Vec<Result<Flown, Miss>> {
    let mut beside = Beside::<N> {
        lanes: walks.take(N).map(Lane::new).collect(),
        legs: [None; N],
        // Lanes without a flight are computed with the others, for nothing.
        starts: Vectors::of(|_| model.start),
        drifts_m: [[0.0; N]; 2],
        middles_m: [0.0; N],
    };
    for (i, lane) in beside.lanes.iter().enumerate() {
        if let Lane::Flies(walk) = lane {
            tell(i, walk.moment);
        }
    }
    while beside.next(tell) {
        let compass = &model.compass;
        let middles = half_ways(&beside.starts, compass, &beside.middles_m, &beside.drifts_m);
        let located = field.locate_all(&middles);
        beside.weigh(&middles, &located);
        let (starts, drifts_m) = (&beside.starts, &beside.drifts_m);
        let ends = whole_ways(starts, &middles, compass, &beside.middles_m, drifts_m);
        beside.arrive(&ends, tell);
    }
    let lanes = beside.lanes.into_iter();
    lanes.map(Lane::end).collect()
}

impl<'a> Lane<'a> {
    fn new(walk: Result<FieldWalk<'a>, Miss>) -> Lane<'a> {
        match walk {
            Ok(walk) => Lane::Flies(walk),
            Err(miss) => Lane::Ended(Err(miss)),
        }
    }

    fn end(self) -> Result<Flown, Miss> {
        match self {
            // Where the way ends without meeting the ground.
            Lane::Flies(walk) => Ok(Flown {
                burst: walk.burst.unwrap_or(walk.moment),
                landing: walk.moment,
            }),
            Lane::Ended(flown) => flown,
        }
    }
}

/// Flights beside each other, with the legs that they are on.
struct Beside<'a, const N: usize> {
    lanes: Vec<Lane<'a>>,
    legs: [Option<Leg>; N],
    starts: Vectors<N>,
    drifts_m: [[f64; N]; 2],
    middles_m: [f64; N],
}

impl<const N: usize> Beside<'_, N> {
    /// The next leg of each, with its drift in the columns of the leg before; whether any flies on.
    fn next(&mut self, tell: &mut impl FnMut(usize, Moment)) -> bool {
        let mut any = false;
        for (i, lane) in self.lanes.iter_mut().enumerate() {
            let Lane::Flies(walk) = lane else {
                continue;
            };
            self.legs[i] = walk.next(&mut |moment| tell(i, moment));
            if let Some(leg) = &self.legs[i] {
                any = true;
                self.starts.set(i, walk.moment.place);
                self.middles_m[i] = leg.middle_m;
                [self.drifts_m[0][i], self.drifts_m[1][i]] = walk.drift(leg);
            }
        }
        any
    }

    /// The columns around the middles of the legs, and the drifts in them.
    fn weigh(&mut self, middles: &Vectors<N>, located: &[[f64; N]; 2]) {
        for (i, lane) in self.lanes.iter_mut().enumerate() {
            if let (Lane::Flies(walk), Some(leg)) = (&mut *lane, &self.legs[i]) {
                let located = [located[0][i], located[1][i]];
                match walk.weigh(middles.one(i), located, leg) {
                    Ok(()) => [self.drifts_m[0][i], self.drifts_m[1][i]] = walk.drift(leg),
                    Err(miss) => *lane = Lane::Ended(Err(miss)),
                }
            }
        }
    }

    fn arrive(&mut self, ends: &Vectors<N>, tell: &mut impl FnMut(usize, Moment)) {
        for (i, lane) in self.lanes.iter_mut().enumerate() {
            if let (Lane::Flies(walk), Some(leg)) = (&mut *lane, &self.legs[i])
                && let Some(flown) = walk.arrive(leg, ends.one(i), &mut |moment| tell(i, moment))
            {
                *lane = Lane::Ended(Ok(flown));
            }
        }
    }
}
