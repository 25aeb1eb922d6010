//! From a plan and a sounding to a landing zone: the main job.

mod setup;
mod stack;

use jiff::{SignedDuration, Timestamp};

use self::setup::Setup;
use crate::error::{Error, Result};
use crate::flight::model::{FlightModel, Flown, Moment, Scratch, Variation};
use crate::flight::rise::Miss;
use crate::geodesy::{LocalFrame, Position};
use crate::plan::{Plan, WindSpread};
use crate::report::facts::{BalloonFacts, Facts, WindFacts};
use crate::report::zone::{Mark, Zone};
use crate::spread::draws::Sampler;
use crate::spread::region::Regions;
use crate::spread::run::{Landing, Landings, run};
use crate::units::{UnitSystem, duration};
use crate::vehicle::balloon::sphere_diameter_m;
use crate::wind::column::Column;
use crate::wind::error::{FORECAST_CORRELATION_M, WindErrorProcess, WindErrorTable};
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

/// Departures of soundings were measured up to this age, s.
const KNOWN_AGE_S: f64 = 48.0 * 3_600.0;

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
/// [`Error::NoFlight`] when the stack does not make a flight or too few draws come down.
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
    far_from_station(plan, sounding, units, &mut notes);

    let setup = Setup::new(plan, &column, site_m, units, &mut assumed)?;
    let model = &setup.model;
    let (planned, moments) = fly_planned(model)?;
    let seconds = seconds_by_layer(model);
    let age_s = sounding.time.map(|t| seconds_between(t, plan.release));
    if let Some(age) = age_s.filter(|age| age.abs() > KNOWN_AGE_S) {
        notes.push(format!(
            "the sounding is {} away from the release: it says little about the winds of the flight, and no error was measured beyond {}",
            duration(age.abs()),
            duration(KNOWN_AGE_S)
        ));
    }
    let table = wind_error_table(plan, &column, age_s, units, &mut assumed);
    let process = table.as_ref().map(|table| {
        let heights: Vec<f64> = (0..model.layers.count)
            .map(|k| model.layers.middle_m(k))
            .collect();
        WindErrorProcess::new(table, &heights, &seconds)
    });

    let sampler = Sampler {
        seed: options.seed,
        spread: setup.spread,
        mass: setup.mass,
    };
    let landings = run(model, &sampler, process.as_ref(), options.draws, flown);
    let wind = wind_facts(
        wind_file,
        sounding,
        &column,
        model,
        &seconds,
        age_s,
        table.as_ref(),
        process.as_ref(),
    );
    held_winds(&wind, units, &mut notes);

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
        balloon: balloon_facts(plan, &setup, &column, site_m),
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
        .map_err(|miss| Error::NoFlight {
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
fn seconds_by_layer(model: &FlightModel) -> Vec<f64> {
    let mut seconds = vec![0.0; model.layers.count];
    let mut last: Option<Moment> = None;
    let mut add = |m: Moment| {
        if let Some(before) = last {
            let middle = 0.5 * (before.altitude_m + m.altitude_m);
            seconds[model.layers.locate(middle).0] += m.time_s - before.time_s;
        }
        last = Some(m);
    };
    // The planned flight has been flown before: it comes down.
    let _ = model.fly(
        &Variation::NONE,
        &[],
        &mut Scratch::default(),
        Some(&mut add),
    );
    seconds
}

fn wind_error_table(
    plan: &Plan,
    column: &Column,
    age_s: Option<f64>,
    units: UnitSystem,
    assumed: &mut Vec<String>,
) -> Option<WindErrorTable> {
    /// What an unknown age is taken for, s.
    const UNKNOWN_AGE_S: f64 = 86_400.0;
    let top_m = column.top_m();
    match plan.spread.wind.as_ref().unwrap_or(&WindSpread::Sounding) {
        WindSpread::None => None,
        WindSpread::Sounding => {
            let age = age_s.unwrap_or_else(|| {
                assumed.push("the sounding has no time: taken as a day old, assumed".into());
                UNKNOWN_AGE_S
            });
            let side = if age < 0.0 { "after" } else { "before" };
            let table = WindErrorTable::of_sounding(age, top_m);
            assumed.push(format!(
                "wind error of a sounding made {} {side} the release: {} a component (sd) at {} above sea level; measured departures of soundings at Darwin (January 2006, 11 pairs), assumed to hold here",
                duration(age.abs()),
                units.speed(table.sigma_m_s(TOLD_AT_M[2])),
                units.height(TOLD_AT_M[2])
            ));
            Some(table)
        }
        WindSpread::Forecast => {
            assumed.push(
                "wind error of a forecast of up to a day by a table of judgement, assumed".into(),
            );
            Some(WindErrorTable::of_forecast(top_m))
        }
        WindSpread::Table(rows) => {
            assumed.push("wind errors correlated over 2 km of height, assumed".into());
            Some(WindErrorTable {
                rows: rows.clone(),
                correlation_length_m: FORECAST_CORRELATION_M,
                known_up_to_m: top_m,
            })
        }
    }
}

/// Altitudes at which the wind error is told, m.
const TOLD_AT_M: [f64; 5] = [1_000.0, 5_000.0, 10_000.0, 20_000.0, 30_000.0];

#[allow(clippy::too_many_arguments)] // One call gathers what six places know.
fn wind_facts(
    file: &str,
    sounding: &Sounding,
    column: &Column,
    model: &FlightModel,
    seconds: &[f64],
    age_s: Option<f64>,
    table: Option<&WindErrorTable>,
    process: Option<&WindErrorProcess>,
) -> WindFacts {
    let time_where = |outside: &dyn Fn(f64) -> bool| -> f64 {
        let inside = seconds.iter().enumerate();
        inside
            .filter(|(k, _)| outside(model.layers.middle_m(*k)))
            .map(|(_, s)| s)
            .sum()
    };
    WindFacts {
        file: file.to_owned(),
        station: sounding.name.clone(),
        time: sounding.time,
        age_s,
        covered_m: (column.base_m(), column.top_m()),
        above_s: time_where(&|z| z > column.top_m()),
        below_s: time_where(&|z| z < column.base_m()),
        sigma: table.map_or_else(Vec::new, |t| {
            TOLD_AT_M.iter().map(|&z| (z, t.sigma_m_s(z))).collect()
        }),
        correlation_length_m: table.map_or(0.0, |t| t.correlation_length_m),
        drift_sigma_m: process.map_or(0.0, WindErrorProcess::drift_sigma_m),
    }
}

fn held_winds(wind: &WindFacts, units: UnitSystem, notes: &mut Vec<String>) {
    if wind.above_s > 0.0 {
        notes.push(format!(
            "no wind is known above {} above sea level: the last one is held for {} of the flight, and its error grows",
            units.height(wind.covered_m.1),
            duration(wind.above_s)
        ));
    }
    if wind.below_s > 0.0 {
        notes.push(format!(
            "no wind is known below {} above sea level: the lowest one is held for {} of the flight",
            units.height(wind.covered_m.0),
            duration(wind.below_s)
        ));
    }
}

/// A sounding from farther away than this is told, m.
const FAR_M: f64 = 100_000.0;

fn far_from_station(plan: &Plan, sounding: &Sounding, units: UnitSystem, notes: &mut Vec<String>) {
    if let Some(place) = sounding.position {
        let away = plan.site.distance_m(place);
        if away > FAR_M {
            notes.push(format!(
                "the sounding was made {} from the site: that distance is not in the spread",
                units.distance(away)
            ));
        }
    }
}

fn balloon_facts(plan: &Plan, setup: &Setup, column: &Column, site_m: f64) -> Option<BalloonFacts> {
    let balloon = setup.balloon.as_ref()?;
    let air = column.air.at(site_m);
    let fill = balloon.rise.climber.fill;
    Some(BalloonFacts {
        load_kg: stack::load_kg(plan),
        neck_lift_kg: balloon.neck_lift_kg,
        free_lift_kg: balloon.free_lift_kg,
        volume_m3: balloon.volume_m3,
        release_diameter_m: sphere_diameter_m(fill.volume_m3(air.temperature_k, air.pressure_pa)),
        burst_diameter_m: balloon
            .burst_diameter_m
            .filter(|_| plan.burst_altitude_m.is_none()),
    })
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

fn seconds_between(from: Timestamp, to: Timestamp) -> f64 {
    to.duration_since(from).as_secs_f64()
}

fn after(release: Timestamp, seconds: f64) -> Timestamp {
    SignedDuration::try_from_secs_f64(seconds)
        .ok()
        .and_then(|d| release.checked_add(d).ok())
        .unwrap_or(release)
}
