//! Flights that are in the air already: what remains of the zone when the tracker is heard last.

use std::sync::Arc;

use jiff::Timestamp;

use super::answer::Mark;
use super::fly::{LEFT_ALLOWED, left, seconds_by_layer};
use super::pattern::Pattern;
use super::reach::{Extent, Reach};
use super::terrain;
use super::weather::process_of;
use crate::clock::after;
use crate::error::Result;
use crate::flight::model::{Aloft, FlightModel, Moment};
use crate::geodesy::Position;
use crate::ground::terrain::Terrain;
use crate::numeric::Quantiles;
use crate::spread::draws::Sampler;
use crate::spread::region::GroundEllipse;
use crate::spread::run::{Landing, quantiles, run_aloft};
use crate::wind::error::WindError;
use crate::wind::error_process::WindErrorProcess;
use crate::wind::placing::Outside;

/// What lies on the ground is no higher than this above the terrain of files, m, and above what else tells of it
/// (assumed).
const OFF_TERRAIN_M: f64 = 300.0;
const OFF_COARSE_M: f64 = 1_500.0;

/// What is kept of a prediction for further flights of the same stack in the same winds.
#[derive(Debug, Clone)]
pub struct Continuation {
    pub(super) release: Timestamp,
    pub(super) site: Position,
    /// How far flights reach, and the winds that were taken; how much of all winds these are.
    pub(super) own: Reach,
    pub(super) reach: Reach,
    pub(super) extent: Extent,
    pub(super) model: FlightModel,
    pub(super) sampler: Sampler,
    pub(super) wind_error: Option<WindError>,
    pub(super) member: usize,
    pub(super) track: Vec<Moment>,
    pub(super) landings: Vec<Landing>,
    pub(super) ground: Option<Arc<Terrain>>,
}

/// What remains of a zone.
#[derive(Debug, Clone, PartialEq)]
pub struct Remaining {
    /// Where the planned flight is then.
    pub last: Mark,
    /// The ellipse of 90 % of the landings from there.
    pub ellipse: GroundEllipse,
    /// Radius of the circle around its centre that holds half of them, m.
    pub half_circle_m: f64,
    /// Landing times that 5, 50 and 95 % come down before.
    pub landing: Quantiles<Timestamp>,
}

impl Continuation {
    /// When the flights are released.
    pub fn release(&self) -> Timestamp {
        self.release
    }

    /// The draws that came down, in their order.
    pub fn landings(&self) -> &[Landing] {
        &self.landings
    }

    /// The model that flights are flown by.
    pub fn model(&self) -> &FlightModel {
        &self.model
    }

    /// What the draws are made by.
    pub fn sampler(&self) -> &Sampler {
        &self.sampler
    }

    /// The member of the winds that the planned flight flies in.
    pub fn planned_member(&self) -> usize {
        self.member
    }

    /// How wrong the winds may be; `None` where they are taken as exact.
    pub fn wind_error(&self) -> Option<&WindError> {
        self.wind_error.as_ref()
    }

    /// The error of the winds, to be drawn as for the zone.
    pub fn wind_process(&self) -> Option<WindErrorProcess> {
        let seconds = seconds_by_layer(&self.track, &self.model.layers);
        let error = self.wind_error.as_ref()?;
        Some(process_of(error, &self.model, &seconds))
    }

    /// The planned flight, a moment at every layer.
    pub fn planned(&self) -> &[Moment] {
        &self.track
    }

    /// The heights that flights come down on.
    pub fn ground(&self) -> Option<&Arc<Terrain>> {
        self.ground.as_ref()
    }

    /// Whether there are no more winds to be had where a flight left these.
    pub fn end_at(&self, left: Outside) -> bool {
        self.extent.ends_at(left) || (left == Outside::Hours && self.model.winds.gap_ahead())
    }

    /// How far winds are wanted for flights like these that go on from places (with s after the release); `None` where
    /// these reach as far, or there are no more.
    pub fn wanted(&self, from: impl IntoIterator<Item = (Position, f64)>) -> Option<Reach> {
        let reaches = from
            .into_iter()
            .map(|(place, after_s)| self.own.from(self.site.distance_m(place), after_s));
        let wanted = reaches.fold(self.reach, Reach::with);
        (self.extent != Extent::WHOLE && wanted != self.reach).then_some(wanted)
    }

    /// How far winds are wanted where flights that go on from a place (with s after the release) left these on a
    /// side: some more there at least, as a flight that is much longer than planned would leave the next ones too.
    pub fn farther(&self, left: Outside, (place, after_s): (Position, f64)) -> Reach {
        let from = self.own.from(self.site.distance_m(place), after_s);
        self.reach.grown(left).with(self.reach.on_side(left, from))
    }

    /// How high at most something lies on the ground at a place, m: so far above the terrain of the plan's files;
    /// above other heights, which are coarse or assumed, much farther.
    pub fn highest_ground_m(&self, place: Position) -> f64 {
        let known = terrain::height_at(self.ground.as_deref(), place);
        let site_m = self.track.first().map_or(0.0, |m| m.altitude_m);
        match known {
            Some(at) if at.source != terrain::OF_FORECAST => at.height_m + OFF_TERRAIN_M,
            Some(at) => at.height_m + OFF_COARSE_M,
            None => site_m + OFF_COARSE_M,
        }
    }

    /// How thick the layers are, m, at whose boundaries flights go on.
    pub fn layer_m(&self) -> f64 {
        self.model.layers.thickness_m
    }

    /// What remains of the zone when the planned flight is at a height, rising or falling: flights
    /// started there and then, with the spread of what is still to come. At the boundary of layers
    /// that is nearest. `None` where it is never that high, where none of the draws comes by, or
    /// where too many of them leave the winds.
    ///
    /// # Errors
    ///
    /// When no plane can be laid there.
    pub fn remaining(&self, height_m: f64, rising: bool, draws: u64) -> Result<Option<Remaining>> {
        let Some((from, last, way)) = self.planned_at(height_m, rising) else {
            return Ok(None);
        };
        let model = &self.model;
        let seconds = seconds_by_layer(way, &model.layers);
        let process = self
            .wind_error
            .as_ref()
            .map(|table| process_of(table, model, &seconds));
        let landings = run_aloft(model, &from, &self.sampler, process.as_ref(), draws);
        let left = left(&landings) as f64;
        // An ellipse around fewer would say more of chance than of the flight.
        if left > LEFT_ALLOWED * draws as f64 || landings.landed.len() < 20 {
            return Ok(None);
        }
        let pattern = Pattern::of(&landings.landed, last.place.position())?;
        let Some(ellipse) = pattern.outer()? else {
            return Ok(None);
        };
        Ok(Some(Remaining {
            last: Mark {
                position: last.place.position(),
                altitude_m: last.altitude_m,
                time: after(self.release, last.time_s),
            },
            ellipse,
            half_circle_m: pattern.regions.half_circle_m,
            landing: quantiles(&landings.landed, |l| l.time_s).map(|s| after(self.release, s)),
        }))
    }

    /// Where the planned flight passes the boundary nearest to a height, and its way from there on.
    fn planned_at(&self, height_m: f64, rising: bool) -> Option<(Aloft, Moment, &[Moment])> {
        let layers = &self.model.layers;
        // Flights in the air begin at boundaries, where all that is tabulated by layer begins.
        let layer = ((height_m - layers.base_m) / layers.thickness_m).round();
        // Below the layers there is no flight, and above them none goes on.
        if layer < 0.0 || layer as usize >= layers.count {
            return None;
        }
        let layer = layer as usize;
        let altitude_m = layers.altitude_m(layer);
        let burst = self
            .track
            .iter()
            .enumerate()
            .max_by(|a, b| a.1.altitude_m.total_cmp(&b.1.altitude_m))?
            .0;
        // The track has a moment at every boundary; burst and landing lie between.
        let passes = |m: &Moment| (m.altitude_m - altitude_m).abs() < 0.5;
        let at = if rising {
            self.track[..burst].iter().position(passes)?
        } else {
            burst + 1 + self.track.get(burst + 1..)?.iter().position(passes)?
        };
        let last = self.track[at];
        let from = Aloft {
            layer,
            rising,
            time_s: last.time_s,
            place: last.place,
        };
        Some((from, last, &self.track[at..]))
    }
}
