//! From a plan and winds to a landing zone: the main job.

pub mod aloft;
pub mod answer;
pub mod facts;
mod reach;
pub mod releases;
mod setup;
pub mod site_air;
pub mod stack;
pub mod terrain;
mod weather;
mod wind_error;

use jiff::Timestamp;

use self::aloft::Kept;
pub use self::answer::{Mark, Zone};
pub use self::facts::Facts;
use self::facts::{BalloonFacts, EarlyBursts};
use self::reach::Reach;
use self::setup::Setup;
use self::stack::FilledBalloon;
use self::weather::{FlownWinds, SiteWinds, Weather};
use crate::clock::after;
use crate::error::{Error, Result};
use crate::flight::layers::Layers;
use crate::flight::model::{Departures, FlightModel, Flown, Moment, Scratch, Variation};
use crate::flight::rise::Miss;
use crate::geodesy::{LocalFrame, Position};
use crate::ground::terrain::Terrain;
use crate::plan::Plan;
use crate::spread::draws::Sampler;
use crate::spread::members::MemberSpread;
use crate::spread::region::Regions;
use crate::spread::run::{Landing, Landings, quantiles, run_keeping};
use crate::units::UnitSystem;
use crate::vehicle::balloon::sphere_diameter_m;
use crate::wind::error_process::WindErrorProcess;
use crate::wind::placing::Outside;
use crate::winds::Winds;

/// How a zone is drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    /// How many flights.
    pub draws: u64,
    /// The seed of everything random.
    pub seed: u64,
    /// Whether the zone keeps every landing.
    pub keep_draws: bool,
    /// Units in which assumptions and messages are worded.
    pub units: UnitSystem,
}

/// Flights drawn unless the user says otherwise.
pub const DRAWS: u64 = 2_000;

/// [`DRAWS`] flights that are not kept, in metric words.
impl Default for Options {
    fn default() -> Self {
        Options {
            draws: DRAWS,
            seed: 1,
            keep_draws: false,
            units: UnitSystem::default(),
        }
    }
}

/// A landing zone and the facts behind it.
#[derive(Debug, Clone, PartialEq)]
pub struct Prediction {
    /// The zone.
    pub zone: Zone,
    /// The facts.
    pub facts: Facts,
}

/// Predicts where the plan's flight comes down. `flown` is told after each draw.
///
/// # Errors
///
/// [`Error::CannotDo`] when the stack does not make a flight, when the winds do not cover it or when
/// too few draws come down.
pub fn predict(
    plan: &Plan,
    input: &Winds,
    options: Options,
    flown: impl Fn() + Sync,
) -> Result<Prediction> {
    predict_and_keep(plan, input, options, flown).map(|(prediction, _)| prediction)
}

/// [`predict`], with what further flights of the same stack in the same winds need.
///
/// # Errors
///
/// As [`predict`].
pub fn predict_and_keep(
    plan: &Plan,
    input: &Winds,
    options: Options,
    flown: impl Fn() + Sync,
) -> Result<(Prediction, Kept)> {
    let units = options.units;
    let (mut assumed, mut notes) = (plan.replaced.clone(), Vec::new());
    let site = SiteWinds::new(plan.site, input, [plan.release; 2])?;
    let weather = site.weather(plan, units, &mut assumed)?;
    let ground = terrain::around(plan, input, plan.site, terrain::FAR_M)?;
    let site_m = elevation(plan, ground.as_deref(), &weather, units, &mut assumed);
    notes.extend(terrain::off_ground(
        ground.as_deref(),
        plan.site,
        site_m,
        units,
    ));
    if weather.column.air.measured_m().is_none() {
        assumed.push(
            "the winds come without temperature and pressure: standard atmosphere, assumed".into(),
        );
    }

    let mut setup = Setup::new(
        plan,
        &weather.column,
        site_m,
        ground.as_ref(),
        weather.is_field(),
        units,
        &mut assumed,
    )?;
    let flights = fly_all(plan, &site, &weather, &mut setup, options, flown)?;
    let (model, landings) = (&setup.model, &flights.landings);
    let process = flights.process.as_ref();
    let out = flights.left_out.iter();
    assumed.extend(out.map(|member| format!("left out of the winds: {member}")));
    let wind = weather.facts(&model.layers, &flights.seconds, process);
    wind_error::notes(plan, &wind, units, &mut notes);

    let landing = flights.planned.landing.place.position();
    let frame = LocalFrame::new(landing)?;
    let places: Vec<Position> = landings.landed.iter().map(|l| l.place.position()).collect();
    let points = places
        .iter()
        .map(|p| frame.to_plane(*p))
        .collect::<Result<Vec<[f64; 2]>>>()?;
    let regions = Regions::of(&points)?;
    let by_member: Vec<([f64; 2], usize)> = points
        .iter()
        .zip(&landings.landed)
        .map(|(point, landing)| (*point, landing.member))
        .collect();
    let members = MemberSpread::of(&by_member);
    let given = regions_given(landings, options.draws, &weather, &mut notes);
    if given {
        notes.extend(regions.notes.iter().map(ToString::to_string));
    }
    let missed = told(landings, options.draws, &mut notes);
    let landed_on = terrain::sources(ground.as_deref(), &landings.landed);
    assumed.extend(terrain::assumed(&landed_on));

    let mark = |m: &Moment| Mark {
        position: m.place.position(),
        altitude_m: m.altitude_m,
        time: after(plan.release, m.time_s),
    };
    let planned = &flights.planned;
    let facts = Facts {
        name: plan.name.clone(),
        balloon: setup.balloon.as_ref().map(|b| balloon_facts(plan, b)),
        mean_rate_m_s: (planned.burst.altitude_m - site_m) / planned.burst.time_s,
        touchdown_speed_m_s: touchdown_speed(model, planned.landing.altitude_m),
        wind,
        members,
        burst_quantiles_m: quantiles(&landings.landed, |l| l.burst_m),
        landing_quantiles: quantiles(&landings.landed, |l| l.time_s)
            .map(|s| after(plan.release, s)),
        early_bursts: early_bursts(&landings.landed, &points, &frame, plan.release)?,
        half_circle_m: regions.half_circle_m,
        landed_on,
        landed: landings.landed.len(),
        missed,
    };
    let zone = Zone {
        release: mark(&flights.track[0]),
        burst: mark(&planned.burst),
        landing: mark(&planned.landing),
        track: flights.track.iter().map(mark).collect(),
        ellipses: regions
            .ellipses
            .iter()
            .filter(|_| given)
            .map(|e| e.on_ground(&frame))
            .collect::<Result<_>>()?,
        contours: regions
            .contours
            .iter()
            .filter(|_| given)
            .map(|c| c.on_ground(&frame))
            .collect::<Result<_>>()?,
        draws: options.keep_draws.then_some(places),
        draw_count: options.draws as usize,
        seed: options.seed,
        version: env!("CARGO_PKG_VERSION").into(),
        assumptions: assumed,
        notes,
    };
    let kept = Kept {
        release: plan.release,
        model: setup.model,
        sampler: flights.sampler,
        wind_error: weather.wind_error().cloned(),
        track: flights.track,
        landings: flights.landings.landed,
        ground,
    };
    Ok((Prediction { zone, facts }, kept))
}

/// Speed of fall as planned at an altitude, m/s.
fn touchdown_speed(model: &FlightModel, altitude_m: f64) -> f64 {
    let (layer, _) = model.layers.locate(altitude_m);
    model.layers.thickness_m / model.fall.seconds[layer]
}

/// Elevation of the site: the plan's, else the ground's, else the lowest wind.
fn elevation(
    plan: &Plan,
    ground: Option<&Terrain>,
    weather: &Weather,
    units: UnitSystem,
    assumed: &mut Vec<String>,
) -> f64 {
    if let Some(elevation_m) = plan.elevation_m {
        return elevation_m;
    }
    let (elevation_m, whose) = terrain::height_at(ground, plan.site).unwrap_or((
        weather.column.winds.base_m(),
        "the lowest level of the winds",
    ));
    assumed.push(format!(
        "the site lies at {} above sea level, {whose}, assumed",
        units.height(elevation_m)
    ));
    elevation_m
}

/// All flights of a zone.
struct Flights {
    planned: Flown,
    /// The planned flight, a point at every layer.
    track: Vec<Moment>,
    /// Seconds it spends in each layer.
    seconds: Vec<f64>,
    process: Option<WindErrorProcess>,
    sampler: Sampler,
    landings: Landings,
    /// Members of the winds that were not flown in, with the reason, in words.
    left_out: Vec<String>,
}

/// Flies the plan and its draws, in as much of the winds as they reach: where they leave the part
/// of a forecast that was decoded, more is.
fn fly_all(
    plan: &Plan,
    site: &SiteWinds,
    weather: &Weather,
    setup: &mut Setup,
    options: Options,
    flown: impl Fn() + Sync,
) -> Result<Flights> {
    let mut reach = reach_of(plan, weather, setup, options.units)?;
    loop {
        let model = &setup.model;
        let winds = match weather.of_soundings(plan, model) {
            Some(winds) => winds,
            None => decoded(plan, site, &reach, model)?,
        };
        match fly_in(plan, weather, setup, &winds, None, options, &flown)? {
            Outcome::Flown(flights) => return Ok(*flights),
            Outcome::NeedsMore(left) => reach = reach.grown(left),
        }
    }
}

/// A forecast's winds around a site.
fn decoded(
    plan: &Plan,
    site: &SiteWinds,
    reach: &Reach,
    model: &FlightModel,
) -> Result<FlownWinds> {
    let winds = site.decoded(plan, reach, &model.layers, &model.compass)?;
    winds.ok_or_else(|| Error::CannotDo {
        why: "no forecast was decoded".into(),
        remedy: "expected a forecast around the site".into(),
    })
}

/// How far flights go, by the planned one in the column above the site.
fn reach_of(plan: &Plan, weather: &Weather, setup: &Setup, units: UnitSystem) -> Result<Reach> {
    let (above_site, track) = fly_planned(&setup.model, 0);
    above_site.map_err(|miss| cannot_fly(miss, &track, plan, weather, units))?;
    let reach = Reach::of(&track, &setup.model, &setup.spread);
    Ok(match weather.is_uneven() {
        true => reach.short(&track),
        false => reach,
    })
}

/// What came of flying in a part of the winds.
enum Outcome {
    Flown(Box<Flights>),
    /// Flights left that part, but not the winds.
    NeedsMore(Outside),
}

/// Flies the plan and its draws in winds that may be only a part of what there are.
fn fly_in(
    plan: &Plan,
    weather: &Weather,
    setup: &mut Setup,
    winds: &FlownWinds,
    low_m: Option<f64>,
    options: Options,
    flown: impl Fn() + Sync,
) -> Result<Outcome> {
    setup.model.winds = winds.winds.clone();
    let (planned, track) = fly_planned(&setup.model, winds.planned);
    let planned = match planned {
        Ok(planned) => planned,
        Err(Miss::Leaves(left)) if !winds.extent.ends_at(left) => {
            return Ok(Outcome::NeedsMore(left));
        }
        Err(miss) => return Err(cannot_fly(miss, &track, plan, weather, options.units)),
    };
    let seconds = seconds_by_layer(&track, &setup.model.layers);
    let process = weather.process(&setup.model, &seconds);
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
    let more = [Outside::Region, Outside::Hours]
        .into_iter()
        .find(|&left| landings.left(left) > 0 && !winds.extent.ends_at(left));
    Ok(match more {
        Some(left) => Outcome::NeedsMore(left),
        None => Outcome::Flown(Box::new(Flights {
            planned,
            track,
            seconds,
            process,
            sampler,
            landings,
            left_out: winds.left_out.clone(),
        })),
    })
}

/// The flight without spread, with its track: a point at every layer, up to where it ended.
fn fly_planned(
    model: &FlightModel,
    member: usize,
) -> (std::result::Result<Flown, Miss>, Vec<Moment>) {
    let mut moments: Vec<Moment> = Vec::with_capacity(2 * model.layers.count + 3);
    let mut keep = |m: Moment| {
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

fn cannot_fly(
    miss: Miss,
    track: &[Moment],
    plan: &Plan,
    weather: &Weather,
    units: UnitSystem,
) -> Error {
    let (Miss::Leaves(_), Some(last)) = (miss, track.last()) else {
        return Error::CannotDo {
            why: format!(
                "the flight as planned does not come down: {}",
                in_words(miss)
            ),
            remedy: "expected a balloon that rises, bursts and falls".into(),
        };
    };
    Error::CannotDo {
        why: format!(
            "{}: the planned one at about {}, {} above sea level, {:.0}",
            in_words(miss),
            last.place.position().text(),
            units.height(last.altitude_m),
            after(plan.release, last.time_s)
        ),
        remedy: format!(
            "the winds cover {}; expected winds for a larger region or for more hours, or a release that stays within these",
            weather.covered()
        ),
    }
}

/// Share of the draws that may leave the winds before no region is given.
pub const LEFT_ALLOWED: f64 = 0.01;

/// Whether few enough draws left the winds for regions to be given; says so when any did.
fn regions_given(
    landings: &Landings,
    draws: u64,
    weather: &Weather,
    notes: &mut Vec<String>,
) -> bool {
    let left = landings.left(Outside::Region) + landings.left(Outside::Hours);
    if left == 0 {
        return true;
    }
    let share = left as f64 / draws as f64;
    let given = share <= LEFT_ALLOWED;
    let what = if given {
        "the regions are made of the others"
    } else {
        "no ellipse and no contour is given, as they would leave out the farthest landings"
    };
    notes.push(format!(
        "{:.2} % of the draws left the winds, which cover {}: {what}",
        100.0 * share,
        weather.covered()
    ));
    given
}

fn in_words(miss: Miss) -> &'static str {
    match miss {
        Miss::Stalls => "the lift does not carry the load up to the burst",
        Miss::NoBurst => "the balloon does not burst below the highest layer",
        Miss::BurstsOnGround => "the balloon bursts on the ground",
        Miss::Leaves(Outside::Region) => "the flight leaves the region where winds are known",
        Miss::Leaves(Outside::Hours) => "the flight leaves the hours for which winds are known",
    }
}

/// Seconds the planned flight spends in each layer, up and down.
fn seconds_by_layer(track: &[Moment], layers: &Layers) -> Vec<f64> {
    let mut seconds = vec![0.0; layers.count];
    for pair in track.windows(2) {
        let middle = 0.5 * (pair[0].altitude_m + pair[1].altitude_m);
        seconds[layers.locate(middle).0] += pair[1].time_s - pair[0].time_s;
    }
    seconds
}

fn balloon_facts(plan: &Plan, balloon: &FilledBalloon) -> BalloonFacts {
    BalloonFacts {
        load_kg: stack::load_kg(plan),
        neck_lift_kg: balloon.neck_lift_kg,
        free_lift_kg: balloon.free_lift_kg,
        volume_m3: balloon.volume_m3,
        release_diameter_m: sphere_diameter_m(balloon.volume_m3),
        burst_diameter_m: balloon
            .burst_diameter_m
            .filter(|_| plan.burst_altitude_m.is_none()),
    }
}

/// Where and when those come down whose balloon bursts early; `None` of next to none.
fn early_bursts(
    landed: &[Landing],
    points: &[[f64; 2]],
    frame: &LocalFrame,
    release: Timestamp,
) -> Result<Option<EarlyBursts>> {
    let early = landed.iter().zip(points).filter(|(l, _)| l.burst_early);
    let (early, points): (Vec<Landing>, Vec<[f64; 2]>) = early.unzip();
    let Ok(regions) = Regions::of(&points) else {
        return Ok(None);
    };
    Ok(Some(EarlyBursts {
        share: early.len() as f64 / landed.len() as f64,
        center: frame.to_position(regions.moments.mean_m)?,
        half_circle_m: regions.half_circle_m,
        burst_quantiles_m: quantiles(&early, |l| l.burst_m),
        landing_quantiles: quantiles(&early, |l| l.time_s).map(|s| after(release, s)),
    }))
}

/// Draws that did not come down, in words; a note when there are any.
fn told(landings: &Landings, draws: u64, notes: &mut Vec<String>) -> Vec<(String, usize)> {
    let told_already = |miss: &Miss| matches!(miss, Miss::Leaves(_));
    for (miss, count) in landings.missed.iter().filter(|m| !told_already(m.0)) {
        let why = in_words(*miss);
        notes.push(format!(
            "{count} of {draws} draws are not in the zone: {why}"
        ));
    }
    let in_words = |(miss, count): (&Miss, &usize)| (in_words(*miss).to_owned(), *count);
    landings.missed.iter().map(in_words).collect()
}
