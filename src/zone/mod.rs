//! From a plan and winds to a landing zone: the main job.

mod above;
pub mod aloft;
pub mod answer;
pub mod duration;
pub mod facts;
pub mod fits;
mod fly;
mod learnt;
mod pattern;
mod reach;
pub mod releases;
pub mod said;
mod setup;
pub mod site_air;
mod site_winds;
pub mod stack;
pub mod terrain;
mod varied;
mod weather;
mod wind_error;

use jiff::Timestamp;

pub use self::above::above_site;
use self::aloft::Continuation;
pub use self::answer::{Mark, Zone};
pub use self::facts::Facts;
use self::facts::{BalloonFacts, EarlyBursts, LandedOn, Missed, WindFacts};
pub use self::fly::LEFT_ALLOWED;
use self::fly::{Flights, fly_all, reach_of};
use self::pattern::Pattern;
pub use self::reach::Reach;
pub use self::setup::assumed_of;
use self::setup::{Setup, Surroundings};
use self::site_winds::SiteWinds;
use self::stack::FilledBalloon;
use self::weather::{Weather, left_out};
use crate::clock::after;
use crate::error::Result;
use crate::flight::model::{FlightModel, Moment};
use crate::flight::rise::Miss;
use crate::notes::{Assumption, Note, OffGround};
use crate::numeric::Quantiles;
use crate::plan::Plan;
use crate::spread::members::MemberSpread;
use crate::spread::region::Regions;
use crate::spread::run::{Landing, quantiles};
use crate::vehicle::balloon::sphere_diameter_m;
use crate::vehicle::burst::Burst;
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
}

/// Flights drawn unless the user says otherwise.
pub const DRAWS: u64 = 2_000;

/// [`DRAWS`] flights that are not kept.
impl Default for Options {
    fn default() -> Self {
        Options {
            draws: DRAWS,
            seed: 1,
            keep_draws: false,
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

/// Predicts where the plan's flight comes down. `flown` is called after each draw.
///
/// # Errors
///
/// [`Error::CannotDo`](crate::Error::CannotDo) when the stack does not make a flight, when the winds do
/// not cover it or when too few draws come down.
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
) -> Result<(Prediction, Continuation)> {
    predict_within(plan, input, options, Reach::NONE, flown)
}

/// [`predict_and_keep`], with the winds as far as a reach, where the flights themselves do not need more of them.
///
/// # Errors
///
/// As [`predict`].
pub fn predict_within(
    plan: &Plan,
    input: &Winds,
    options: Options,
    least: Reach,
    flown: impl Fn() + Sync,
) -> Result<(Prediction, Continuation)> {
    let site = SiteWinds::new(plan, input, [plan.release; 2])?;
    let weather = site.weather(plan.release)?;
    // Before the setup: where the plan does not say how high the site lies, the ground does.
    let ground = terrain::far_around(&plan.ground, input, plan.site.position)?;
    let column = &weather.column;
    let (site_m, elevation) = terrain::elevation(&plan.site, ground.as_deref(), Some(column));
    let place = weather.place(site_m, ground.as_ref());
    let mut setup = Setup::new(&plan.stack, &plan.spread, place)?;
    let own = reach_of(&weather, &setup)?;
    let (flights, reach) = fly_all(&weather, &mut setup, options, own.with(least), flown)?;
    let story = Story::new(plan, place, &weather, &setup, &flights)?;
    let prediction = Prediction {
        zone: story.zone(options, &plan.replaced, elevation)?,
        facts: story.facts(&plan.name, plan.stack.load_kg())?,
    };
    let kept = Continuation {
        release: plan.release,
        site: plan.site.position,
        own,
        reach,
        extent: flights.extent,
        wind_error: flights.error,
        model: setup.model,
        sampler: flights.sampler,
        member: flights.member,
        track: flights.track,
        landings: flights.landings.landed,
        ground,
    };
    Ok((prediction, kept))
}

/// All that a zone and its facts are told from.
struct Story<'a> {
    weather: &'a Weather<'a>,
    setup: &'a Setup,
    flights: &'a Flights,
    place: Surroundings<'a>,
    pattern: Pattern,
    wind: WindFacts,
    landed_on: Vec<LandedOn>,
    off_ground: Option<OffGround>,
    touchdown_m_s: f64,
    /// What does not fit of the site.
    unfit: Vec<Note>,
}

impl<'a> Story<'a> {
    fn new(
        plan: &Plan,
        place: Surroundings<'a>,
        weather: &'a Weather<'a>,
        setup: &'a Setup,
        flights: &'a Flights,
    ) -> Result<Story<'a>> {
        let landed = &flights.landings.landed;
        let heights = place.terrain.map(AsRef::as_ref);
        Ok(Story {
            place,
            pattern: Pattern::of(landed, flights.planned.landing.place.position())?,
            wind: weather.facts(
                &setup.model,
                &flights.seconds,
                flights.error.as_ref(),
                flights.process.as_ref(),
            ),
            landed_on: terrain::sources(heights, landed),
            off_ground: terrain::off_ground(heights, place.site, place.site_m),
            touchdown_m_s: touchdown_speed(&setup.model, flights.planned.landing.altitude_m),
            unfit: fits::site(plan, heights, Some(place.site_m))?,
            weather,
            setup,
            flights,
        })
    }

    /// The zone; with what of the plan was replaced, and what was assumed of the site's elevation.
    fn zone(
        &self,
        options: Options,
        replaced: &[Assumption],
        elevation: Option<Assumption>,
    ) -> Result<Zone> {
        let (flights, Pattern { frame, regions, .. }) = (self.flights, &self.pattern);
        let given = flights.few_left();
        // Where many draws left the winds, those that landed do not stand for all.
        let ellipses = regions.ellipses.iter().filter(|_| given);
        let contours = regions.contours.iter().filter(|_| given);
        let places = || flights.landings.landed.iter().map(|l| l.place.position());
        Ok(Zone {
            release: self.mark(&flights.track[0]),
            burst: self.mark(&flights.planned.burst),
            landing: self.mark(&flights.planned.landing),
            track: flights.track.iter().map(|m| self.mark(m)).collect(),
            ellipses: ellipses
                .map(|e| e.on_ground(frame))
                .collect::<Result<_>>()?,
            contours: contours
                .map(|c| c.on_ground(frame))
                .collect::<Result<_>>()?,
            draws: options.keep_draws.then(|| places().collect()),
            draw_count: options.draws as usize,
            seed: options.seed,
            version: env!("CARGO_PKG_VERSION").into(),
            assumptions: self.assumptions(replaced, elevation),
            notes: self.notes(),
        })
    }

    fn facts(&self, name: &str, load_kg: f64) -> Result<Facts> {
        let (flights, setup) = (self.flights, self.setup);
        // E = m v^2 / 2.
        let energy_j = 0.5 * load_kg * self.touchdown_m_s.powi(2);
        let landed = &flights.landings.landed;
        Ok(Facts {
            name: name.to_owned(),
            balloon: setup.balloon.as_ref().map(balloon_facts),
            mean_rate_m_s: self.mean_rate_m_s(),
            touchdown_speed_m_s: self.touchdown_m_s,
            // A plan may say how fast it falls and not what it weighs.
            touchdown_energy_j: (load_kg > 0.0).then_some(energy_j),
            wind: self.wind.clone(),
            members: self.members(),
            burst_quantiles_m: quantiles(landed, |l| l.burst_m),
            landing_quantiles: self.times(quantiles(landed, |l| l.time_s)),
            early_bursts: self.early_bursts()?,
            half_circle_m: self.pattern.regions.half_circle_m,
            landed_on: self.landed_on.clone(),
            landed: landed.len(),
            missed: self.missed().collect(),
        })
    }

    fn assumptions(
        &self,
        replaced: &[Assumption],
        elevation: Option<Assumption>,
    ) -> Vec<Assumption> {
        let mut all = replaced.to_vec();
        all.extend(self.weather.assumptions.iter().cloned());
        all.extend(self.flights.error_assumed.iter().cloned());
        all.extend(elevation);
        all.extend(self.weather.standard_air());
        all.extend(self.setup.assumptions.iter().cloned());
        all.extend(left_out(&self.flights.left_out));
        let heights = self.place.terrain.map(AsRef::as_ref);
        all.extend(terrain::assumed(&[heights], &self.landed_on));
        all
    }

    /// What to know of winds, draws and regions.
    fn notes(&self) -> Vec<Note> {
        let flights = self.flights;
        let off_ground = self.off_ground.clone();
        let mut notes: Vec<Note> = off_ground.map(Note::ReleaseOffGround).into_iter().collect();
        notes.extend(fits::landing(self.touchdown_m_s));
        notes.extend(self.unfit.iter().cloned());
        notes.extend(self.weather.notes(&self.wind, flights.highest_m()));
        if flights.left() > 0.0 {
            notes.push(Note::DrawsLeft {
                share: flights.left(),
                covered: self.weather.covered(),
                regions_given: flights.few_left(),
            });
        }
        if flights.few_left() {
            // Regions that are not given need no remarks.
            let of_regions = self.pattern.regions.notes.iter();
            notes.extend(of_regions.map(|note| Note::from(*note)));
        }
        let missed = flights.landings.missed.iter();
        // Those that left the winds are told already.
        let elsewhere = missed.filter(|(miss, _)| !matches!(miss, Miss::Leaves(_)));
        notes.extend(elsewhere.map(|(&miss, &count)| Note::DrawsMissing {
            count,
            draws: flights.draws,
            why: miss.into(),
        }));
        notes
    }

    fn mark(&self, m: &Moment) -> Mark {
        Mark {
            position: m.place.position(),
            altitude_m: m.altitude_m,
            time: after(self.weather.release, m.time_s),
        }
    }

    /// Mean rate of ascent as planned, m/s.
    fn mean_rate_m_s(&self) -> f64 {
        let burst = &self.flights.planned.burst;
        (burst.altitude_m - self.place.site_m) / burst.time_s
    }

    fn times(&self, seconds: Quantiles<f64>) -> Quantiles<Timestamp> {
        seconds.map(|s| after(self.weather.release, s))
    }

    /// What the members of an ensemble differ by.
    fn members(&self) -> Option<MemberSpread> {
        let landed = self.flights.landings.landed.iter();
        let points = self.pattern.points.iter().copied();
        let by_member: Vec<([f64; 2], usize)> = points.zip(landed.map(|l| l.member)).collect();
        MemberSpread::of(&by_member)
    }

    /// Draws that did not come down.
    fn missed(&self) -> impl Iterator<Item = Missed> {
        let missed = self.flights.landings.missed.iter();
        missed.map(|(&miss, &draws)| Missed {
            why: miss.into(),
            draws,
        })
    }

    /// Where and when those come down whose balloon bursts early; `None` of next to none.
    fn early_bursts(&self) -> Result<Option<EarlyBursts>> {
        let landed = &self.flights.landings.landed;
        let pairs = landed.iter().zip(&self.pattern.points);
        let early = pairs.filter(|(l, _)| l.burst_early);
        let (early, points): (Vec<Landing>, Vec<[f64; 2]>) = early.unzip();
        // Of fewer than three landings no region can be made: next to none burst early then.
        let Ok(regions) = Regions::of(&points) else {
            return Ok(None);
        };
        Ok(Some(EarlyBursts {
            share: early.len() as f64 / landed.len() as f64,
            center: self.pattern.frame.to_position(regions.moments.mean_m)?,
            half_circle_m: regions.half_circle_m,
            burst_quantiles_m: quantiles(&early, |l| l.burst_m),
            landing_quantiles: self.times(quantiles(&early, |l| l.time_s)),
        }))
    }
}

/// Speed of fall as planned at an altitude, m/s.
fn touchdown_speed(model: &FlightModel, altitude_m: f64) -> f64 {
    let (layer, _) = model.layers.locate(altitude_m);
    model.layers.thickness_m / model.fall.seconds[layer]
}

fn balloon_facts(balloon: &FilledBalloon) -> BalloonFacts {
    BalloonFacts {
        load_kg: balloon.load_kg,
        neck_lift_kg: balloon.neck_lift_kg,
        free_lift_kg: balloon.free_lift_kg,
        volume_m3: balloon.volume_m3,
        release_diameter_m: sphere_diameter_m(balloon.volume_m3),
        burst_diameter_m: match balloon.burst {
            Burst::Diameter { diameter_m } => Some(diameter_m),
            Burst::Altitude { .. } => None,
        },
    }
}
