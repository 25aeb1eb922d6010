//! After the flight: what its track says of the prediction, and what to take into the next plan.

pub mod clocks;
pub mod measured;
pub mod next_plan;
pub mod replay;
pub mod score;
pub mod scores;

use serde::Serialize;

use self::measured::Measured;
use self::next_plan::NextPlan;
use self::replay::{Cause, Replay};
use self::score::{EnergyScore, Normal2, energy_score};
use crate::atmosphere::AirProfile;
use crate::clock::{after, seconds_between};
use crate::error::{Error, Result};
use crate::follow::flights::{Others, keep_nearest};
use crate::geodesy::{LocalFrame, Position};
use crate::logbook::Flight;
use crate::notes::NoLanding;
use crate::plan::Plan;
use crate::spread::region::Regions;
use crate::track::gate::Gate;
use crate::track::{Outcome, Refusal};
use crate::winds::Winds;
use crate::zone::aloft::Continuation;
use crate::zone::facts::WindSource;
use crate::zone::{Mark, Options, Reach, Zone, predict_and_keep, predict_within};

/// A flight beside its prediction.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Debrief {
    /// The flight's name.
    pub name: String,
    /// What the track measured.
    pub measured: Measured,
    /// Where it landed, or would have from its last place in the air.
    pub landing: Mark,
    /// The release as planned.
    pub planned_release: Mark,
    /// The burst as planned.
    pub planned_burst: Mark,
    /// The landing as planned.
    pub planned_landing: Mark,
    /// How far it landed from there, m.
    pub miss_m: f64,
    /// Azimuth of that way, degrees clockwise from true north.
    pub miss_azimuth_deg: f64,
    /// The planned drift, m.
    pub drift_m: f64,
    /// Azimuth of the planned drift at the landing, degrees clockwise from true north.
    pub drift_azimuth_deg: f64,
    /// The miss along the drift and to its right, m.
    pub along_across_m: [f64; 2],
    /// The landing in the zone's own measure; `None` where no zone was given.
    pub held: Option<Held>,
    /// What the miss is made of; they add up to it. Burst and fall are part of the rest where they were not heard.
    /// Empty where the flight cannot be flown again in the winds.
    pub causes: Vec<MissCause>,
    /// Where the plan with all that was measured lands in the winds of the plan.
    pub replayed: Option<Position>,
    /// How far out the winds' part of the miss is, in standard deviations of what they were said to be wrong
    /// by, squared.
    pub winds_squared: Option<f64>,
    /// ln of measured over planned: of the rate of rise up to 10 km above the site, and of the fall.
    pub ln_rates: [Option<f64>; 2],
    /// ln of measured over planned burst diameter: by 3 H a height, with the density scale height H there; `None`
    /// where the burst was not heard, or came after a float: that ends otherwise than by the balloon's size.
    pub ln_burst_diameter: Option<f64>,
    /// What to take into the next plan.
    pub next: NextPlan,
    /// What of them is of other flights, and left out.
    pub others: Others,
    /// Fixes that were let through.
    pub accepted: usize,
    /// What was not, by reason.
    pub refused: std::collections::BTreeMap<Refusal, usize>,
    /// How many draws the zone has.
    pub draws: usize,
    /// What the winds' part of the miss is worth to a logbook.
    pub winds_teach: WindsTeach,
    /// The zone as planned.
    #[serde(skip)]
    pub zone: Zone,
}

/// What the winds' part of a miss says of how wrong the winds of the next plan may be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum WindsTeach {
    /// As much as it should: they were known before the release.
    Plan,
    /// Nothing: they were measured by the flight itself, or beside it.
    OfTheFlight,
    /// Nothing: they were made after the release.
    Newer,
    /// Nothing: when they were made is not known, as of a reanalysis.
    RunUnknown,
}

/// A sounding from so near and so near in time is of the flight itself, m and s.
const OWN_M: f64 = 50_000.0;
const OWN_S: f64 = 3_600.0;

impl WindsTeach {
    /// Of winds for a release.
    pub fn of(source: &WindSource) -> WindsTeach {
        let by_run = |lead_s: Option<f64>| match lead_s {
            None => WindsTeach::RunUnknown,
            Some(lead_s) if lead_s < 0.0 => WindsTeach::Newer,
            Some(_) => WindsTeach::Plan,
        };
        if source.model().is_some() || matches!(source, WindSource::Forecast { .. }) {
            return by_run(source.lead_s());
        }
        match source.age_s() {
            Some(age_s) if age_s.abs() < OWN_S && source.distance_m().is_none_or(|m| m < OWN_M) => {
                WindsTeach::OfTheFlight
            }
            Some(age_s) if age_s < 0.0 => WindsTeach::Newer,
            // Of a sounding without a time the day before is assumed, as for the zone.
            _ => WindsTeach::Plan,
        }
    }
}

/// A landing in the measure of its zone.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Held {
    /// The probability of the smallest ellipse that holds it; `None` when none does.
    pub ellipse: Option<f64>,
    /// The probability of the smallest contour that holds it; `None` when none does.
    pub contour: Option<f64>,
    /// The share of the draws that are nearer to the middle, in the shape of the ellipses.
    pub nearer_share: f64,
    /// The same if landings were normal: 1 - e^(-q/2).
    pub within: f64,
    /// q: how far out it is, in standard deviations, squared.
    pub squared: f64,
    /// The energy score of the draws, m; that of the planned landing alone is the miss.
    pub energy_m: EnergyScore,
    /// Standard deviations of the draws along the drift and across it, m.
    pub sigmas_m: [f64; 2],
}

/// A part of a miss.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct MissCause {
    /// What it is from.
    pub cause: Cause,
    /// Along the drift and to its right, m.
    pub along_across_m: [f64; 2],
}

/// A release elsewhere by less than this is that of the plan, m.
const SAME_SITE_M: f64 = 200.0;
/// A release off by less than this is flown in the winds of the plan's, s.
const SAME_TIME_S: f64 = 300.0;
/// Heard last no higher than this above the site, m, its landing is known well enough to be learnt from.
const NEARLY_DOWN_M: f64 = 1_500.0;
/// The fewest draws that a prediction takes.
const FEW_DRAWS: u64 = 50;
/// Rates of rise are compared up to so high above the site, m: higher up they say more of the drag curve.
pub const LOW_M: f64 = 10_000.0;

impl Debrief {
    /// Compares what was heard with what the plan predicts, without its logbook.
    ///
    /// # Errors
    ///
    /// As [`predict_and_keep`] and [`Measured::of`].
    pub fn of(
        plan: &Plan,
        winds: &Winds,
        options: Options,
        heard: impl IntoIterator<Item = Outcome>,
    ) -> Result<Debrief> {
        let mut gate = Gate::of_past(plan.site.position, plan.release);
        for outcome in heard {
            // Nobody hears these now: a delay would tell of the file's age, not of the tracker.
            gate.offer(outcome, None);
        }
        // Measured over planned is learnt from: beside the plan's own words, not beside what was learnt before.
        let mut plain = plan.clone();
        plain.spread.logbook = None;
        let plan = &plain;
        let (prediction, kept) = predict_and_keep(plan, winds, options, || ())?;
        let zone = &prediction.zone;
        let (site_m, mut fixes) = (zone.release.altitude_m, gate.fixes().to_vec());
        let others = keep_nearest(&mut fixes, plan.site.position, site_m, plan.release);
        let measured = Measured::of(&fixes, site_m, |place| kept.highest_ground_m(place))?;
        let plan_again = as_released(plan, &measured);
        let predict =
            |least| predict_again(plan_again.as_ref().unwrap_or(plan), winds, options, least);
        let again = plan_again.as_ref().and_then(|_| predict(Reach::NONE));
        // The zone stays that of the plan; what the miss is made of is flown as released.
        let flown = again.as_ref().unwrap_or(&kept);
        let farther = beyond(flown, &measured).and_then(predict);
        let flown = farther.as_ref().unwrap_or(flown);
        let replay = Replay::new(flown, &measured).map_err(cannot)?;
        let landing = landing(&replay, flown, &measured)?;
        let sight = Sight::new(zone);
        let miss = sight.frame.to_plane(landing.position);
        // Where the winds do not reach as far as the flight did, all else can still be told.
        let landings = replay.landings().ok();
        let up_to_m = zone.release.altitude_m + LOW_M;
        let planned_burst_m = zone.burst.altitude_m;
        let scale_m = AirProfile::standard().density_scale_height_m(planned_burst_m);
        let ln_burst_diameter = measured
            .burst
            .filter(|_| measured.floated_s == 0.0)
            .map(|burst| (burst.altitude_m - planned_burst_m) / (3.0 * scale_m));
        let mut next = NextPlan::of(plan, &measured);
        if let Some(balloon) = &prediction.facts.balloon {
            let factor = replay.lift_factor(&measured, up_to_m);
            next.neck_lift_kg = factor.map(|f| f * balloon.neck_lift_kg);
            let planned_m = balloon.burst_diameter_m;
            let times = planned_m.zip(ln_burst_diameter);
            next.burst_diameter_m = times.map(|(m, ln)| m * ln.exp());
        }
        let along_across = |p: [f64; 2]| sight.along_across(p);
        Ok(Debrief {
            name: plan.name.clone(),
            planned_release: zone.release,
            planned_burst: zone.burst,
            planned_landing: zone.landing,
            miss_m: zone.landing.position.distance_m(landing.position),
            miss_azimuth_deg: zone.landing.position.azimuth_deg(landing.position),
            drift_m: zone.release.position.distance_m(zone.landing.position),
            drift_azimuth_deg: sight.azimuth_deg(),
            along_across_m: along_across(miss),
            held: held(zone, &kept, landing.position, sight.drift)?,
            causes: match &landings {
                Some(landings) => sight.parts(landings, miss, &measured),
                None => Vec::new(),
            },
            replayed: landings.map(|l| l[3]),
            winds_squared: landings
                // Where the fall is not known, neither is what of the miss the winds alone are to blame for.
                .filter(|_| !measured.down.is_empty())
                .and_then(|_| replay.winds_alone(&sight.frame))
                .map(|n| n.squared_distance(miss)),
            ln_rates: replay.ln_rates(&measured, up_to_m),
            ln_burst_diameter,
            next,
            others,
            accepted: gate.accepted(),
            refused: gate.counts().clone(),
            draws: zone.draw_count,
            winds_teach: WindsTeach::of(&prediction.facts.wind.source),
            zone: zone.clone(),
            landing,
            measured,
        })
    }
}

impl Debrief {
    /// Whether it is known well where it landed: it was heard there, or low above it.
    pub fn saw_landing(&self) -> bool {
        let above_m = self.measured.last.altitude_m - self.planned_release.altitude_m;
        self.measured.landed || above_m <= NEARLY_DOWN_M
    }

    /// Its row in a logbook; of a landing that nobody saw without what it would say of zones and winds.
    pub fn row(&self) -> Flight {
        let [along_m, across_m] = self.along_across_m;
        let [rate, fall] = self.ln_rates.map(|ln| ln.map(f64::exp));
        let held = self.held.as_ref().filter(|_| self.saw_landing());
        let in_sigmas = |side: usize| {
            let sigma_m = held?.sigmas_m[side];
            // Draws without width make no measure.
            (sigma_m > 1.0).then(|| self.along_across_m[side] / sigma_m)
        };
        Flight {
            name: self.name.clone(),
            released: self.measured.released,
            lat: self.landing.position.lat_deg,
            lon: self.landing.position.lon_deg,
            miss_km: 1e-3 * self.miss_m,
            along_km: 1e-3 * along_m,
            across_km: 1e-3 * across_m,
            within: held.map(|h| h.nearer_share),
            rate,
            burst_diameter: self.ln_burst_diameter.map(f64::exp),
            fall,
            winds_squared: self
                .winds_squared
                // Winds known only afterwards would teach that they are better than they are.
                .filter(|_| self.winds_teach == WindsTeach::Plan && self.saw_landing()),
            // Without its bias the score of a landing amid few draws may fall below 0.
            energy_km: held.map(|h| 1e-3 * h.energy_m.fair.max(0.0)),
            along_sigmas: in_sigmas(0),
            across_sigmas: in_sigmas(1),
        }
    }
}

fn cannot(miss: crate::flight::rise::Miss) -> Error {
    Error::CannotDo {
        why: format!(
            "the flight cannot be flown again: {}",
            NoLanding::from(miss)
        ),
        remedy: "expected winds that reach as far as the flight did".into(),
    }
}

/// The plan with the time and the place of the real release, where they differ.
fn as_released(plan: &Plan, measured: &Measured) -> Option<Plan> {
    let late_s = seconds_between(plan.release, measured.released).abs();
    let site = plan.site.position;
    let start = measured
        .start
        .filter(|s| s.distance_m(site) > SAME_SITE_M)
        .unwrap_or(site);
    if late_s < SAME_TIME_S && start == site {
        return None;
    }
    let mut other = plan.clone();
    other.site.position = start;
    if late_s >= SAME_TIME_S {
        other.release = measured.released;
    }
    Some(other)
}

/// A prediction of which only the planned flight is used, in winds as far as a reach at least, where they allow it.
fn predict_again(
    plan: &Plan,
    winds: &Winds,
    options: Options,
    least: Reach,
) -> Option<Continuation> {
    // The planned flight has no draws.
    let few = Options {
        draws: FEW_DRAWS,
        ..options
    };
    let predicted = predict_within(plan, winds, few, least, || ());
    predicted.ok().map(|(_, kept)| kept)
}

/// How far winds are wanted, where the flight as measured leaves those that its prediction took.
fn beyond(kept: &Continuation, measured: &Measured) -> Option<Reach> {
    let replay = Replay::new(kept, measured).ok()?;
    let stays =
        replay.landings().is_ok() && (measured.landed || replay.landing_from(measured).is_ok());
    let places = measured.track.iter();
    let places = places.map(|m| (m.position, seconds_between(kept.release(), m.time)));
    kept.wanted(places).filter(|_| !stays)
}

/// Where it landed; from the last place in the air as it fell so far.
fn landing(replay: &Replay, kept: &Continuation, measured: &Measured) -> Result<Mark> {
    if measured.landed {
        return Ok(measured.last);
    }
    let down = replay.landing_from(measured).map_err(cannot)?;
    Ok(Mark {
        position: down.place.position(),
        altitude_m: down.altitude_m,
        time: after(kept.release(), down.time_s),
    })
}

/// A plane around the planned landing, seen along the drift.
struct Sight {
    frame: LocalFrame,
    /// Unit vector of the drift, east and north.
    drift: [f64; 2],
}

impl Sight {
    fn new(zone: &Zone) -> Sight {
        let frame = LocalFrame::new(zone.landing.position);
        let [east, north] = frame.to_plane(zone.release.position);
        let length = east.hypot(north);
        // Straight above the site there is no drift to look along: north is as good as any.
        let drift = match length > 1.0 {
            true => [-east / length, -north / length],
            false => [0.0, 1.0],
        };
        Sight { frame, drift }
    }

    fn azimuth_deg(&self) -> f64 {
        self.drift[0]
            .atan2(self.drift[1])
            .to_degrees()
            .rem_euclid(360.0)
    }

    fn along_across(&self, [east, north]: [f64; 2]) -> [f64; 2] {
        let [e, n] = self.drift;
        [east * e + north * n, east * n - north * e]
    }

    /// The steps from the planned landing to the real one.
    fn parts(
        &self,
        landings: &[Position; 4],
        miss: [f64; 2],
        measured: &Measured,
    ) -> Vec<MissCause> {
        let mut places = vec![[0.0; 2]];
        places.extend(landings.map(|place| self.frame.to_plane(place)));
        places.push(miss);
        let causes = [
            Cause::Release,
            Cause::Rise,
            Cause::Burst,
            Cause::Fall,
            Cause::Winds,
        ];
        let steps = causes.into_iter().zip(places.windows(2));
        let part = |(cause, way): (Cause, &[[f64; 2]])| MissCause {
            cause,
            along_across_m: self.along_across([way[1][0] - way[0][0], way[1][1] - way[0][1]]),
        };
        // What was not heard was flown as planned.
        let heard = |part: &MissCause| match part.cause {
            Cause::Burst => measured.burst.is_some(),
            Cause::Fall => !measured.down.is_empty(),
            _ => true,
        };
        steps.map(part).filter(heard).collect()
    }
}

/// The landing in the measure of the zone.
fn held(
    zone: &Zone,
    kept: &Continuation,
    landing: Position,
    [e, n]: [f64; 2],
) -> Result<Option<Held>> {
    if zone.ellipses.is_empty() {
        return Ok(None);
    }
    let frame = LocalFrame::new(zone.center());
    let places = kept.landings().iter().map(|l| l.place.position());
    let points: Vec<[f64; 2]> = places.map(|p| frame.to_plane(p)).collect();
    // Anew, as the zone has its regions on the ground, and here they are asked on the plane.
    let regions = Regions::of(&points)?;
    let place = frame.to_plane(landing);
    let (Some(normal), Some(energy_m)) = (Normal2::of(&points), energy_score(&points, place))
    else {
        return Ok(None);
    };
    let squared = normal.squared_distance(place);
    let nearer = points
        .iter()
        .filter(|p| normal.squared_distance(**p) < squared);
    let inside = geo::Point::new(place[0], place[1]);
    let holds =
        |c: &&crate::spread::region::Contour| geo::Intersects::intersects(&c.polygons, &inside);
    Ok(Some(Held {
        ellipse: regions
            .ellipses
            .iter()
            .find(|e| e.contains(place))
            .map(|e| e.probability),
        contour: regions.contours.iter().find(holds).map(|c| c.probability),
        nearer_share: nearer.count() as f64 / points.len() as f64,
        within: normal.within(place),
        squared,
        energy_m,
        sigmas_m: [normal.sigma_along([e, n]), normal.sigma_along([n, -e])],
    }))
}
