//! From a plan and a sounding to a landing zone: the main job.

mod setup;
mod stack;
mod winds;

use jiff::{SignedDuration, Timestamp};

use self::setup::Setup;
use self::stack::FilledBalloon;
use self::winds::Winds;
use crate::error::{Error, Result};
use crate::flight::layers::Layers;
use crate::flight::model::{FlightModel, Flown, Moment, Scratch, Variation};
use crate::flight::rise::Miss;
use crate::geodesy::{LocalFrame, Position};
use crate::plan::Plan;
use crate::report::facts::{BalloonFacts, Facts};
use crate::report::zone::{Mark, Zone};
use crate::spread::draws::Sampler;
use crate::spread::region::Regions;
use crate::spread::run::{Landing, Landings, run};
use crate::units::UnitSystem;
use crate::vehicle::balloon::sphere_diameter_m;
use crate::wind::column::Column;
use crate::wind::sounding::Sounding;

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

/// A landing zone and the facts behind it.
#[derive(Debug, Clone, PartialEq)]
pub struct Prediction {
    /// The zone.
    pub zone: Zone,
    /// The facts.
    pub facts: Facts,
}

/// Predicts where the plan's flight comes down in the winds of a sounding, read from `wind_file`.
/// `flown` is told after each draw.
///
/// # Errors
///
/// [`Error::CannotDo`] when the stack does not make a flight or too few draws come down.
pub fn predict(
    plan: &Plan,
    wind_file: &str,
    sounding: &Sounding,
    options: Options,
    flown: impl Fn() + Sync,
) -> Result<Prediction> {
    let units = options.units;
    let mut assumed = sounding.tally.assumed.clone();
    let mut notes = Vec::new();
    let column = Column::from_sounding(sounding);
    let site_m = plan.elevation_m.unwrap_or_else(|| {
        let lowest = sounding.levels.first().map_or(0.0, |l| l.altitude_m);
        assumed.push(format!(
            "the site lies at {} above sea level, the lowest level of the sounding, assumed",
            units.height(lowest)
        ));
        lowest
    });
    assumed.push("the load lands at the elevation of the site: no terrain is read".into());
    if column.air.measured_m().is_none() {
        assumed.push(
            "the sounding has no temperature with pressure: standard atmosphere, assumed".into(),
        );
    }
    for section in &plan.unused_sections {
        notes.push(format!(
            "[{section}] is in the plan but not used by this version"
        ));
    }

    let setup = Setup::new(plan, &column, site_m, units, &mut assumed)?;
    let model = &setup.model;
    let (planned, moments) = fly_planned(model)?;
    let seconds = seconds_by_layer(&moments, &model.layers);
    let winds = Winds::new(plan, wind_file, sounding, &column, units, &mut assumed);
    let process = winds.process(&model.layers, &seconds);
    let wind = winds.facts(&model.layers, &seconds, process.as_ref());
    winds::notes(plan, sounding, &wind, units, &mut notes);

    let sampler = Sampler {
        seed: options.seed,
        spread: setup.spread,
        mass: setup.mass,
    };
    let landings = run(model, &sampler, process.as_ref(), options.draws, flown);

    let landing = planned.landing.place.position();
    let frame = LocalFrame::new(landing)?;
    let places: Vec<Position> = landings.landed.iter().map(|l| l.place.position()).collect();
    let points = places
        .iter()
        .map(|p| frame.to_plane(*p))
        .collect::<Result<Vec<[f64; 2]>>>()?;
    let regions = Regions::of(&points)?;
    notes.extend(regions.notes.iter().map(ToString::to_string));
    let missed = told(&landings, options.draws, &mut notes);

    let mark = |m: &Moment| Mark {
        position: m.place.position(),
        altitude_m: m.altitude_m,
        time: after(plan.release, m.time_s),
    };
    let facts = Facts {
        name: plan.name.clone(),
        balloon: setup.balloon.as_ref().map(|b| balloon_facts(plan, b)),
        mean_rate_m_s: (planned.burst.altitude_m - site_m) / planned.burst.time_s,
        touchdown_speed_m_s: model.layers.thickness_m / model.fall.seconds[0],
        wind,
        burst_quantiles_m: quantiles(&landings, |l| l.burst_m),
        landing_quantiles: quantiles(&landings, |l| l.time_s).map(|s| after(plan.release, s)),
        half_circle_m: regions.half_circle_m,
        landed: landings.landed.len(),
        missed,
    };
    let zone = Zone {
        release: mark(&moments[0]),
        burst: mark(&planned.burst),
        landing: mark(&planned.landing),
        track: moments.iter().map(mark).collect(),
        ellipses: regions
            .ellipses
            .iter()
            .map(|e| e.on_ground(&frame))
            .collect::<Result<_>>()?,
        contours: regions
            .contours
            .iter()
            .map(|c| c.on_ground(&frame))
            .collect::<Result<_>>()?,
        draws: options.keep_draws.then_some(places),
        draw_count: options.draws as usize,
        seed: options.seed,
        version: env!("CARGO_PKG_VERSION").into(),
        assumptions: assumed,
        notes,
    };
    Ok(Prediction { zone, facts })
}

/// The flight without spread, with its track: a point at every layer.
fn fly_planned(model: &FlightModel) -> Result<(Flown, Vec<Moment>)> {
    let mut moments: Vec<Moment> = Vec::with_capacity(2 * model.layers.count + 3);
    let mut keep = |m: Moment| {
        if moments.last() != Some(&m) {
            moments.push(m);
        }
    };
    let flown = model
        .fly(
            &Variation::NONE,
            &[],
            &mut Scratch::default(),
            Some(&mut keep),
        )
        .map_err(|miss| Error::CannotDo {
            why: format!(
                "the flight as planned does not come down: {}",
                in_words(miss)
            ),
            remedy: "expected a balloon that rises, bursts and falls".into(),
        })?;
    Ok((flown, moments))
}

fn in_words(miss: Miss) -> &'static str {
    match miss {
        Miss::Stalls => "the lift does not carry the load up to the burst",
        Miss::NoBurst => "the balloon does not burst below the highest layer",
        Miss::BurstsOnGround => "the balloon bursts on the ground",
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

/// Draws that did not come down, in words; a note when there are any.
fn told(landings: &Landings, draws: u64, notes: &mut Vec<String>) -> Vec<(String, usize)> {
    let missed: Vec<(String, usize)> = landings
        .missed
        .iter()
        .map(|(miss, count)| (in_words(*miss).to_owned(), *count))
        .collect();
    for (why, count) in &missed {
        notes.push(format!(
            "{count} of {draws} draws are not in the zone: {why}"
        ));
    }
    missed
}

/// Values that 5, 50 and 95 % of the landings stay below; there is at least one landing.
fn quantiles(landings: &Landings, value: impl Fn(&Landing) -> f64) -> [f64; 3] {
    let mut values: Vec<f64> = landings.landed.iter().map(value).collect();
    values.sort_by(f64::total_cmp);
    let last = values.len().saturating_sub(1);
    [0.05, 0.5, 0.95].map(|p| {
        let at = (p * last as f64).round() as usize;
        values.get(at).copied().unwrap_or(0.0)
    })
}

fn after(release: Timestamp, seconds: f64) -> Timestamp {
    SignedDuration::try_from_secs_f64(seconds)
        .ok()
        .and_then(|d| release.checked_add(d).ok())
        .unwrap_or(release)
}
