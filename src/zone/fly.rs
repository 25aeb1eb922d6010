//! Flying the plan and its draws, in as much of the winds as they reach.

use super::Options;
use super::reach::{Extent, Reach};
use super::setup::Setup;
use super::weather::{FlownWinds, Weather, process_of};
use crate::clock::after;
use crate::error::{Error, Missing, Result};
use crate::flight::layers::Layers;
use crate::flight::model::{Departures, FlightModel, Flown, Moment, Scratch, Variation};
use crate::flight::rise::Miss;
use crate::notes::left_out::LeftOut;
use crate::notes::{Assumption, NoLanding};
use crate::spread::draws::Sampler;
use crate::spread::run::{Landings, run_keeping};
use crate::units::in_both;
use crate::wind::error::WindError;
use crate::wind::error_process::WindErrorProcess;
use crate::wind::placing::Outside;

/// Share of the draws that may leave the winds before no region is given.
pub const LEFT_ALLOWED: f64 = 0.01;

/// All flights of a zone.
pub struct Flights {
    /// The flight without spread.
    pub planned: Flown,
    /// The same, a point at every layer.
    pub track: Vec<Moment>,
    /// The member of the winds that it flies in.
    pub member: usize,
    /// Seconds it spends in each layer.
    pub seconds: Vec<f64>,
    /// How wrong its winds may be; `None` for winds taken as exact.
    pub error: Option<WindError>,
    /// What is assumed of that.
    pub error_assumed: Vec<Assumption>,
    /// That error over its layers.
    pub process: Option<WindErrorProcess>,
    /// What the draws were made by.
    pub sampler: Sampler,
    /// How many there were.
    pub draws: u64,
    /// What came of them.
    pub landings: Landings,
    /// Members of the winds that were not flown in, with the reason.
    pub left_out: Vec<LeftOut>,
    /// How much of the winds they were flown in.
    pub extent: Extent,
}

impl Flights {
    /// The share of the draws that left the winds.
    pub fn left(&self) -> f64 {
        left(&self.landings) as f64 / self.draws as f64
    }

    /// The highest burst, planned or drawn, above mean sea level, m.
    pub fn highest_m(&self) -> f64 {
        let drawn = self.landings.landed.iter().map(|landing| landing.burst_m);
        drawn.fold(self.planned.burst.altitude_m, f64::max)
    }

    /// Whether so few left them that the others may stand for all.
    pub fn few_left(&self) -> bool {
        self.left() <= LEFT_ALLOWED
    }
}

/// How many flights left the winds.
pub fn left(landings: &Landings) -> usize {
    landings.left(Outside::Region) + landings.left(Outside::Hours)
}

/// What came of flying in a part of the winds.
pub enum FlyOutcome {
    /// All that was wanted.
    Flown(Box<Flights>),
    /// Flights left that part, but not the winds.
    NeedsMore(Outside),
}

/// Flies the plan and its draws: where they leave the part of a forecast that was decoded, in more of
/// it than `reach`. `flown` is called after each draw. With them, how far it was.
///
/// # Errors
///
/// When the planned flight does not come down or leaves the winds, or when these cannot be decoded.
pub fn fly_all(
    weather: &Weather,
    setup: &mut Setup,
    options: Options,
    mut reach: Reach,
    flown: impl Fn() + Sync,
) -> Result<(Flights, Reach)> {
    loop {
        let winds = weather.flown(&reach, &setup.model)?;
        match fly_in(weather, setup, &winds, None, options, &flown)? {
            FlyOutcome::Flown(flights) => return Ok((*flights, reach)),
            FlyOutcome::NeedsMore(left) => reach = reach.grown(left),
        }
    }
}

/// How far flights go, by the planned one in the column above the site.
///
/// # Errors
///
/// When that one does not come down.
pub fn reach_of(weather: &Weather, setup: &Setup) -> Result<Reach> {
    // Before any of a forecast is decoded: the column above the site is at hand.
    let (above_site, track) = fly_planned(&setup.model, 0);
    above_site.map_err(|miss| cannot_fly(miss, &track, weather))?;
    let reach = Reach::of(&track, &setup.model, &setup.spread);
    Ok(match weather.is_uneven() {
        // Else members that end early would be left out for hours that few draws need.
        true => reach.short(&track),
        false => reach,
    })
}

/// Flies the plan and its draws in winds that may be only a part of what there are; keeps the way of
/// each below `low_m`, if given.
///
/// # Errors
///
/// When the planned flight does not come down or leaves all the winds.
pub fn fly_in(
    weather: &Weather,
    setup: &mut Setup,
    winds: &FlownWinds,
    low_m: Option<f64>,
    options: Options,
    flown: impl Fn() + Sync,
) -> Result<FlyOutcome> {
    setup.model.winds = winds.winds.clone();
    let (planned, track) = fly_planned(&setup.model, winds.planned);
    let planned = match planned {
        Ok(planned) => planned,
        // Only the decoded part ends there: more of the winds is asked for, and all is flown again.
        Err(Miss::Leaves(left)) if !winds.end_at(left) => {
            return Ok(FlyOutcome::NeedsMore(left));
        }
        Err(miss) => return Err(cannot_fly(miss, &track, weather)),
    };
    let seconds = seconds_by_layer(&track, &setup.model.layers);
    // By the planned track, as winds are as wrong as the flight is late and far from them.
    let (error, error_assumed) = weather.error(&track);
    let process = error
        .as_ref()
        .map(|error| process_of(error, &setup.model, &seconds));
    let sampler = Sampler {
        seed: options.seed,
        spread: setup.spread,
        mass: setup.mass,
        members: winds.members,
    };
    let landings = run_keeping(
        &setup.model,
        &sampler,
        process.as_ref(),
        options.draws,
        low_m,
        &flown,
    );
    if let Some(left) = more_needed(&landings, winds) {
        return Ok(FlyOutcome::NeedsMore(left));
    }
    Ok(FlyOutcome::Flown(Box::new(Flights {
        planned,
        track,
        member: winds.planned,
        seconds,
        error,
        error_assumed,
        process,
        sampler,
        draws: options.draws,
        landings,
        left_out: winds.left_out.clone(),
        extent: winds.extent,
    })))
}

/// Where draws left the part of the winds, if there is more to be had there.
fn more_needed(landings: &Landings, winds: &FlownWinds) -> Option<Outside> {
    [Outside::Region, Outside::Hours]
        .into_iter()
        .find(|&left| landings.left(left) > 0 && !winds.end_at(left))
}

/// The flight without spread, with its track: a point at every layer, up to where it ended.
fn fly_planned(
    model: &FlightModel,
    member: usize,
) -> (std::result::Result<Flown, Miss>, Vec<Moment>) {
    // Up and down, and between boundaries the release, the burst and the landing.
    let mut moments: Vec<Moment> = Vec::with_capacity(2 * model.layers.count + 3);
    let mut keep = |m: Moment| {
        // The burst is told twice, at the end of the way up and before the way down.
        if moments.last() != Some(&m) {
            moments.push(m);
        }
    };
    let planned = Variation {
        member,
        ..Variation::NONE
    };
    let flown = model.fly(
        &planned,
        Departures::NONE,
        &mut Scratch::default(),
        Some(&mut keep),
    );
    (flown, moments)
}

/// Seconds the planned flight spends in each layer, up and down.
pub fn seconds_by_layer(track: &[Moment], layers: &Layers) -> Vec<f64> {
    let mut seconds = vec![0.0; layers.count];
    for pair in track.windows(2) {
        // By the middle, as both ends lie on boundaries, where a layer is a matter of rounding.
        let middle = 0.5 * (pair[0].altitude_m + pair[1].altitude_m);
        seconds[layers.locate(middle).0] += pair[1].time_s - pair[0].time_s;
    }
    seconds
}

/// What winds lack outside of which a flight goes.
pub fn missing(outside: Outside) -> Missing {
    match outside {
        Outside::Region => Missing::Region,
        Outside::Hours => Missing::Hours,
    }
}

fn cannot_fly(miss: Miss, track: &[Moment], weather: &Weather) -> Error {
    let why = NoLanding::from(miss);
    // Where it leaves the winds tells what to get; else the stack is at fault, wherever it is.
    let (Miss::Leaves(outside), Some(last)) = (miss, track.last()) else {
        return Error::CannotDo {
            why: format!("the flight as planned does not come down: {why}"),
            remedy: "expected a balloon that rises, bursts and falls".into(),
        };
    };
    Error::NoWinds {
        missing: missing(outside),
        why: format!(
            "{why}: the planned one at about {}, {} above sea level, {:.0}",
            last.place.position().text(),
            in_both(|units| units.height(last.altitude_m)),
            after(weather.release, last.time_s)
        ),
        remedy: format!(
            "the winds cover {}; expected winds for a larger region or for more hours, or a release that stays within these",
            weather.covered()
        ),
    }
}
