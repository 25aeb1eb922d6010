//! A flight through one column of wind.

use super::floor::Floor;
use super::layers::{LayerWinds, Layers};
use super::model::{Flown, Moment, Scratch, Summit};
use super::passage::Passage;
use crate::geodesy::{Compass, drift};

/// Layers whose drifts are added up before the place on the ellipsoid is moved. Over so short a
/// leg the order of the small drifts does not matter; a track is recorded layer by layer.
const COLUMN_LEG_LAYERS: usize = 12;

/// A flight on its way.
pub(super) struct Walk<'a> {
    pub layers: &'a Layers,
    pub compass: &'a Compass,
    pub winds: &'a LayerWinds,
    /// Of the way that it is on.
    pub wind_error: &'a [[f64; 2]],
    /// Of the way down.
    pub wind_error_down: &'a [[f64; 2]],
    pub first_layer: usize,
    pub floor: Floor<'a>,
    pub moment: Moment,
}

impl Walk<'_> {
    /// Up to the summit and down to the ground; tells of every leg's end.
    pub fn up_and_down(
        &mut self,
        summit: &Summit,
        scratch: &Scratch,
        every_layer: bool,
        tell: &mut impl FnMut(Moment),
    ) -> Flown {
        let leg = if every_layer { 1 } else { COLUMN_LEG_LAYERS };
        let last = summit.layer;
        tell(self.moment);
        for first in (self.first_layer..last).step_by(leg) {
            let end = (first + leg).min(last);
            let arrive_m = self.layers.altitude_m(end);
            self.through(first..end, &scratch.up, arrive_m);
            tell(self.moment);
        }
        self.through_lower_part(summit, &scratch.up, summit.altitude_m);
        let burst = self.moment;
        tell(burst);
        self.wind_error = self.wind_error_down;
        self.through_lower_part(summit, &scratch.down, self.layers.altitude_m(last));
        let mut down = self.floor.met(burst, self.moment);
        let mut end = last;
        while end > 0 && down.is_none() {
            tell(self.moment);
            let first = end.saturating_sub(leg);
            // Where ground may be met, whole legs are too long to find where: one layer at a time.
            let first = match self.floor.is_near(self.layers.altitude_m(first)) {
                true => end - 1,
                false => first,
            };
            let before = self.moment;
            self.through(first..end, &scratch.down, self.layers.altitude_m(first));
            down = self.floor.met(before, self.moment);
            end = first;
        }
        let landing = down.unwrap_or(self.moment);
        tell(landing);
        Flown { burst, landing }
    }

    /// Through whole layers, as one leg.
    fn through(&mut self, layers: std::ops::Range<usize>, passage: &Passage, arrive_m: f64) {
        let winds = self.winds;
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
        // The planned flight has no error: nothing is looped over.
        if !self.wind_error.is_empty() {
            for (e, s) in self.wind_error[layers].iter().zip(seconds) {
                east += e[0] * s;
                north += e[1] * s;
            }
        }
        self.step(east, north, time, arrive_m);
    }

    /// Through the lowest `share` of the last layer of a passage.
    fn through_lower_part(&mut self, summit: &Summit, passage: &Passage, arrive_m: f64) {
        let time = passage.last_part_s(summit.share);
        // Parts are tabulated by the seconds of the whole layer, of which only those of the part
        // are known.
        let whole = if summit.share > 0.0 {
            time / summit.share
        } else {
            0.0
        };
        let part = self.winds.lower_part(summit.layer, summit.share);
        let [mut east, mut north] = part.map(|w| w * whole);
        if let Some(error) = self.wind_error.get(summit.layer) {
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
            place: drift(self.moment.place, self.compass, east_m, north_m, middle_m),
        };
    }
}
