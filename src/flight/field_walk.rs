//! A flight through a field of winds.

use super::field::{FIELD_LEG_LAYERS, LayerField};
use super::floor::Floor;
use super::model::{FlightModel, Flown, Moment, Scratch, Summit};
use super::passage::Passage;
use super::rise::Miss;
use crate::geodesy::{half_way, whole_way};
use crate::wind::placing::Weights;

/// A flight on its way. Each leg is a midpoint step: the columns around its middle count, and the
/// middle is found with the columns of the leg before.
pub(super) struct FieldWalk<'a> {
    model: &'a FlightModel,
    field: &'a LayerField,
    member: usize,
    /// Of the way that it is on.
    wind_error: &'a [[f64; 2]],
    /// Of the way down.
    wind_error_down: &'a [[f64; 2]],
    moment: Moment,
    weights: Weights,
    floor: Floor<'a>,
}

/// Layers `first` to `end` of leg `leg`, both counted within the leg.
#[derive(Clone, Copy)]
struct Part {
    leg: usize,
    first: usize,
    end: usize,
}

impl<'a> FieldWalk<'a> {
    /// A flight about to be released.
    ///
    /// # Errors
    ///
    /// [`Miss::Leaves`] when no wind is known there and then.
    pub fn new(
        model: &'a FlightModel,
        field: &'a LayerField,
        member: usize,
        [wind_error, wind_error_down]: [&'a [[f64; 2]]; 2],
        moment: Moment,
        floor: Floor<'a>,
    ) -> Result<FieldWalk<'a>, Miss> {
        Ok(FieldWalk {
            model,
            field,
            member,
            wind_error,
            wind_error_down,
            moment,
            weights: field.weights_at(moment.place, moment.time_s, moment.altitude_m)?,
            floor,
        })
    }

    /// Up to the summit and down to the ground; tells of every leg's end.
    pub fn up_and_down(
        &mut self,
        summit: &Summit,
        scratch: &Scratch,
        every_layer: bool,
        tell: &mut impl FnMut(Moment),
    ) -> Result<Flown, Miss> {
        let size = if every_layer { 1 } else { FIELD_LEG_LAYERS };
        tell(self.moment);
        for leg in 0..scratch.up.felt.len() {
            for first in (0..FIELD_LEG_LAYERS).step_by(size) {
                let end = first + size;
                let part = Part { leg, first, end };
                let top_m = self.model.layers.altitude_m(leg * FIELD_LEG_LAYERS + end);
                let arrive_m = top_m.min(summit.altitude_m);
                if self.pass(part, &scratch.up, summit, arrive_m)? {
                    tell(self.moment);
                }
            }
        }
        // A last part without any time was not passed, so the altitude may still be the one below.
        self.moment.altitude_m = summit.altitude_m;
        let burst = self.moment;
        tell(burst);
        self.wind_error = self.wind_error_down;
        let bottom_m = |layer: usize| self.model.layers.altitude_m(layer);
        for leg in (0..scratch.down.felt.len()).rev() {
            // Where ground may be met, the leg is cut into single layers, as its end may be far
            // from there.
            let size = match self.floor.is_near(bottom_m(leg * FIELD_LEG_LAYERS)) {
                true => 1,
                false => size,
            };
            for first in (0..FIELD_LEG_LAYERS).step_by(size).rev() {
                let end = first + size;
                let part = Part { leg, first, end };
                let arrive_m = bottom_m(leg * FIELD_LEG_LAYERS + first).min(summit.altitude_m);
                let before = self.moment;
                if self.pass(part, &scratch.down, summit, arrive_m)? {
                    if let Some(landing) = self.floor.met(before, self.moment) {
                        tell(landing);
                        return Ok(Flown { burst, landing });
                    }
                    tell(self.moment);
                }
            }
        }
        Ok(Flown {
            burst,
            landing: self.moment,
        })
    }

    /// Through part of a leg; whether it took any time.
    fn pass(
        &mut self,
        part: Part,
        passage: &Passage,
        summit: &Summit,
        arrive_m: f64,
    ) -> Result<bool, Miss> {
        let mut felt = [0.0f32; FIELD_LEG_LAYERS];
        felt[part.first..part.end].copy_from_slice(&passage.felt[part.leg][part.first..part.end]);
        let (mut time_s, mut error) = (0.0, [0.0; 2]);
        let mut feel = |seconds: f64, wind: Option<&[f64; 2]>| {
            time_s += seconds;
            if let Some(wind) = wind {
                error[0] += wind[0] * seconds;
                error[1] += wind[1] * seconds;
            }
        };
        let bottom = part.leg * FIELD_LEG_LAYERS;
        let (first, end) = (bottom + part.first, bottom + part.end);
        // Layers above the summit take no time: what is felt there is only the slope of the wind.
        let whole = first.min(summit.layer)..end.min(summit.layer);
        let mut errors = self.wind_error.iter().skip(whole.start);
        for &seconds in &passage.seconds[whole] {
            feel(seconds, errors.next());
        }
        if (first..end).contains(&summit.layer) {
            feel(passage.last_part_s(summit.share), errors.next());
        }
        // Legs wholly behind the flight have no middle to look for; that saves asking the field.
        if felt == [0.0; FIELD_LEG_LAYERS] && time_s == 0.0 {
            return Ok(false);
        }
        let (field, member) = (self.field, self.member);
        let drift = |weights: &Weights| {
            let [east, north] = field.drift(weights, member, part.leg, &felt);
            [east + error[0], north + error[1]]
        };
        let (compass, from) = (&self.model.compass, self.moment.place);
        let middle_m = 0.5 * (self.moment.altitude_m + arrive_m);
        let middle = half_way(from, compass, middle_m, drift(&self.weights));
        let middle_s = self.moment.time_s + 0.5 * time_s;
        field.weigh(middle, middle_s, middle_m, &mut self.weights)?;
        let place = whole_way(from, middle, compass, middle_m, drift(&self.weights));
        self.moment = Moment {
            time_s: self.moment.time_s + time_s,
            altitude_m: arrive_m,
            place,
        };
        Ok(time_s > 0.0)
    }
}
