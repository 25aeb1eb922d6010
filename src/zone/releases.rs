//! Many releases from one site, flown in winds that are decoded once.

use std::sync::Arc;

use jiff::{SignedDuration, Timestamp};
use rayon::prelude::*;

use super::fly::{Flights, FlyOutcome, fly_in, left, reach_of};
use super::pattern;
use super::reach::Reach;
use super::said::{Said, is_of_own_winds};
use super::setup::Setup;
use super::site_winds::SiteWinds;
use super::weather::{FlownWinds, Weather, left_out};
use super::{Options, terrain, wind_error};
use crate::error::{Error, Result};
use crate::flight::layers::Layers;
use crate::flight::model::Moment;
use crate::geodesy::Position;
use crate::ground::terrain::Terrain;
use crate::ground::touchdown::Fix;
use crate::notes::Assumption;
use crate::plan::Plan;
use crate::spread::region::GroundEllipse;
use crate::spread::run::Landing;
use crate::wind::near_ground::GroundWindFrom;
use crate::wind::placing::Outside;
use crate::winds::Winds;

/// What came of one release.
#[derive(Debug, Clone)]
pub struct FlownRelease {
    /// The release.
    pub release: Timestamp,
    /// The planned flight, a point at every layer; the last is the landing.
    pub track: Vec<Moment>,
    /// The draws that came down, in their order.
    pub landings: Vec<Landing>,
    /// Of each of these the way near the ground, up and down again, if it was asked for.
    pub low: Vec<Box<[Fix]>>,
    /// Of how many.
    pub draws: u64,
    /// How many left the winds.
    pub left: usize,
    /// How many of these left their hours; the others left their region.
    pub left_hours: usize,
    /// Centre of the landings.
    pub center: Position,
    /// The ellipse of 90 %; `None` when too many draws left the winds.
    pub ellipse: Option<GroundEllipse>,
    /// From the run of the forecast to the release, s, if known.
    pub lead_s: Option<f64>,
    /// How old the sounding is at the release, s, where the winds are soundings.
    pub wind_age_s: Option<f64>,
    /// From the site to the nearest sounding, m.
    pub wind_distance_m: Option<f64>,
    /// The wind at the ground of the site, by hour around the release.
    pub surface: Vec<GroundWind>,
    /// What is assumed of the site's elevation and of the winds that it was flown in, and what to know of these.
    pub said: Said,
}

/// The wind 10 m above the ground of a site at a time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GroundWind {
    /// When, s after the release.
    pub after_s: f64,
    /// Its speed, m/s.
    pub speed_m_s: f64,
    /// Its gusts, m/s, where the winds tell them.
    pub gust_m_s: Option<f64>,
    /// What it is from.
    pub from: GroundWindFrom,
}

impl FlownRelease {
    /// The landings as they would be around another site with the same drift; without the ellipse
    /// and the ways near the ground.
    #[must_use]
    pub fn carried(&self, from: Position, to: Position) -> FlownRelease {
        let landing = |l: &Landing| Landing {
            place: l.place.carried(from, to),
            ..*l
        };
        FlownRelease {
            track: Vec::new(),
            landings: self.landings.iter().map(landing).collect(),
            low: Vec::new(),
            center: self.center.normal().carried(from, to).position(),
            ellipse: None,
            surface: self.surface.clone(),
            said: self.said.clone(),
            ..*self
        }
    }
}

/// A release as it was tried: flown, or why not.
pub type TriedRelease = (Timestamp, Result<FlownRelease>);

/// The altitude that releases of one site are flown from, m above mean sea level; `None` where none is flown.
pub fn flown_from_m(tried: &[TriedRelease]) -> Option<f64> {
    let mut flown = tried.iter().filter_map(|(_, flown)| flown.as_ref().ok());
    flown.find_map(|flown| Some(flown.track.first()?.altitude_m))
}

/// Hours before and after the release at which the wind at the ground is looked up.
const SURFACE_HOURS: [i64; 4] = [-1, 0, 1, 2];

/// What releases are flown in.
#[derive(Clone, Copy)]
pub struct FlownIn<'a> {
    /// The winds.
    pub winds: &'a Winds,
    /// The heights that flights come down on; else that of the site.
    pub ground: Option<&'a Arc<Terrain>>,
    /// Below which altitude each flight's way is kept, m above mean sea level, if at all.
    pub low_m: Option<f64>,
}

/// A release ready to be flown.
struct Ready<'a> {
    weather: Weather<'a>,
    setup: Setup,
    reach: Reach,
}

/// Flies a plan's stack at each of the `times`, with the plan's spread, and the same draws as
/// [`super::predict`] flies for that release. `done` is called after each release.
///
/// # Errors
///
/// Only when no release can be tried at all, as when a file cannot be decoded; what is wrong with
/// one release is kept with it.
pub fn fly_releases(
    plan: &Plan,
    flown_in: FlownIn,
    times: &[Timestamp],
    options: Options,
    done: impl Fn() + Sync,
) -> Result<Vec<TriedRelease>> {
    // Not the first and last of the list: nobody says that it is in order.
    let (Some(first), Some(last)) = (times.iter().min(), times.iter().max()) else {
        return Ok(Vec::new());
    };
    let hour = |t: Timestamp, h: i64| t.checked_add(SignedDuration::from_hours(h)).unwrap_or(t);
    // Winds at the ground are looked up an hour before to two hours after a release, and one hour
    // more.
    let span = [hour(*first, -2), hour(*last, 3)];
    let site = SiteWinds::new(plan, flown_in.winds, span)?.flown_until(*last);
    let ground = flown_in.ground;
    // One elevation for all: only then their layers begin at the same height and share a field.
    let site_m = times.iter().find_map(|&t| {
        let weather = site.weather(t).ok()?;
        let ground = ground.map(AsRef::as_ref);
        Some(terrain::elevation(
            &plan.site,
            ground,
            Some(&weather.column),
        ))
    });
    // Where no release has winds none is flown, from whatever height.
    let (site_m, elevation) = site_m.unwrap_or((0.0, None));
    let ready: Vec<Result<Ready>> = times
        .par_iter()
        .map(|&t| ready(plan, site.weather(t)?, site_m, ground))
        .collect();
    let flights = fly_ready(&site, span[0], &ready, flown_in.low_m, options, &done)?;
    let flown = ready
        .into_par_iter()
        .zip(flights)
        .map(|(ready, flights)| ready.and_then(|ready| told(&ready, flights?, elevation.as_ref())));
    let flown: Vec<Result<FlownRelease>> = flown.collect();
    Ok(times.iter().copied().zip(flown).collect())
}

fn ready<'a>(
    plan: &Plan,
    weather: Weather<'a>,
    site_m: f64,
    ground: Option<&Arc<Terrain>>,
) -> Result<Ready<'a>> {
    let place = weather.place(site_m, ground);
    let setup = Setup::new(&plan.stack, &plan.spread, place)?;
    let reach = reach_of(&weather, &setup)?;
    Ok(Ready {
        weather,
        setup,
        reach,
    })
}

/// Flies all that are ready in one part of the winds, and those whose flights left it again in more.
fn fly_ready(
    site: &SiteWinds,
    since: Timestamp,
    ready: &[Result<Ready>],
    low_m: Option<f64>,
    options: Options,
    done: &(impl Fn() + Sync),
) -> Result<Vec<Result<Flights>>> {
    let good = || ready.iter().flatten();
    let Some(mut reach) = good().map(|r| r.reach).reduce(Reach::with) else {
        return Ok(ready.iter().map(|_| Err(not_flown())).collect());
    };
    // As if all had left: so the first round flies every release.
    let nowhere = |_: &Result<Ready>| Ok(FlyOutcome::NeedsMore(Outside::Region));
    let mut outcomes: Vec<Result<FlyOutcome>> = ready.iter().map(nowhere).collect();
    loop {
        let shared = shared_winds(site, &reach, ready)?;
        let fly = |ready: &Ready| -> Result<FlyOutcome> {
            let Ready { weather, setup, .. } = ready;
            let winds = match &shared {
                Some(winds) => winds.for_release(since, weather.release),
                // Soundings are all read already: each release takes those around it.
                None => weather.of_soundings(&setup.model),
            };
            // Flying sets the winds of a model, and may be repeated in more of them.
            let outcome = fly_in(weather, &mut setup.clone(), &winds, low_m, options, || {});
            if !matches!(outcome, Ok(FlyOutcome::NeedsMore(_))) {
                done();
            }
            outcome
        };
        outcomes = ready
            .par_iter()
            .zip(outcomes)
            .map(|(ready, before)| match (ready, before) {
                (Ok(ready), Ok(FlyOutcome::NeedsMore(_))) => fly(ready),
                // Flown already: more winds would not change it.
                (Ok(_), before) => before,
                // Its own error is told later; this one only keeps the places in order.
                (Err(_), _) => Err(not_flown()),
            })
            .collect();
        match more_needed(&outcomes) {
            Some(left) => reach = reach.grown(left),
            None => return Ok(outcomes.into_iter().map(flown).collect()),
        }
    }
}

/// A forecast's winds within reach, in layers for the highest of the flights.
fn shared_winds(
    site: &SiteWinds,
    reach: &Reach,
    ready: &[Result<Ready>],
) -> Result<Option<FlownWinds>> {
    let models = || ready.iter().flatten().map(|r| &r.setup.model);
    let Some(model) = models().next() else {
        return Ok(None);
    };
    // The highest is enough for all, as layers are counted from the ground up.
    let layers = Layers {
        count: models().map(|m| m.layers.count).max().unwrap_or(0),
        ..model.layers
    };
    site.decoded(reach, &layers, &model.compass)
}

/// Where flights left the part of the winds, first of all its region.
fn more_needed(outcomes: &[Result<FlyOutcome>]) -> Option<Outside> {
    let needs = |outcome: &Result<FlyOutcome>, more: Outside| matches!(outcome, Ok(FlyOutcome::NeedsMore(left)) if *left == more);
    [Outside::Region, Outside::Hours]
        .into_iter()
        .find(|&left| outcomes.iter().any(|o| needs(o, left)))
}

fn flown(outcome: Result<FlyOutcome>) -> Result<Flights> {
    match outcome? {
        FlyOutcome::Flown(flights) => Ok(*flights),
        FlyOutcome::NeedsMore(_) => Err(not_flown()),
    }
}

fn not_flown() -> Error {
    Error::CannotDo {
        why: "the release was not flown".into(),
        remedy: "expected winds for it".into(),
    }
}

/// What is to be known of a release, from its flights.
fn told(ready: &Ready, flights: Flights, elevation: Option<&Assumption>) -> Result<FlownRelease> {
    let planned = flights.planned.landing.place.position();
    let ellipse = pattern::outer(&flights.landings.landed, planned)?;
    Ok(FlownRelease {
        release: ready.weather.release,
        draws: flights.draws,
        left: left(&flights.landings),
        left_hours: flights.landings.left(Outside::Hours),
        center: ellipse.center,
        // The centre stands in any case; without the farthest landings the ellipse is too small.
        ellipse: flights.few_left().then_some(ellipse),
        lead_s: ready.weather.lead_s(),
        wind_age_s: ready.weather.age_s(),
        wind_distance_m: ready.weather.distance_m(),
        surface: surface_winds(ready),
        said: said(ready, &flights, elevation),
        track: flights.track,
        landings: flights.landings.landed,
        low: flights.landings.low,
    })
}

/// What is to be said of a release, as of a zone of it.
fn said(ready: &Ready, flights: &Flights, elevation: Option<&Assumption>) -> Said {
    let weather = &ready.weather;
    let of_winds = weather.assumptions.iter().chain(&flights.error_assumed);
    let of_own = of_winds.filter(|assumption| is_of_own_winds(assumption));
    let (covered_m, above_s, below_s) = weather.beyond(&ready.setup.model, &flights.seconds);
    Said {
        assumed: left_out(&flights.left_out)
            .chain(of_own.cloned())
            .chain(elevation.cloned())
            .chain(weather.standard_air())
            .collect(),
        notes: wind_error::beyond(covered_m, above_s, below_s).collect(),
        cleaning: weather.cleaning.clone(),
        highest_m: flights.highest_m(),
    }
}

/// The wind at the ground of the site, by hour around the release.
fn surface_winds(ready: &Ready) -> Vec<GroundWind> {
    let model = &ready.setup.model;
    let site_m = model.layers.altitude_m(model.release_layer);
    let at = |h: i64| {
        let time = ready
            .weather
            .release
            .checked_add(SignedDuration::from_hours(h));
        // An hour beyond the winds is left out; the others tell all the same.
        let there = ready.weather.site_winds.near_ground(time.ok()?).ok()?;
        let (speed_m_s, from) = there.wind(site_m)?;
        Some(GroundWind {
            after_s: 3_600.0 * h as f64,
            speed_m_s,
            gust_m_s: there.gust_m_s,
            from,
        })
    };
    SURFACE_HOURS.into_iter().filter_map(at).collect()
}
