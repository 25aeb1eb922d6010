//! A flight as it flies: reports of its trackers come in, and the landing zone is predicted anew.
//!
//! The draws of the zone are kept and moved by what each leg between fixes shows: winds learnt on the way up
//! are used on the way down, rates of rise and fall are learnt as well ([`winds`], [`rates`]). Each draw is then
//! flown on from the last fix ([`crate::flight::onward`]).

pub mod answer;
pub mod ensemble;
pub mod flights;
pub mod legs;
pub mod phase;
pub mod rates;
mod search;
pub mod turn;
pub mod views;
pub mod winds;

use jiff::Timestamp;

use self::answer::{FollowNote, FromCar, Landing, Last, OffPlan, Standing, Whereabouts};
use self::ensemble::{Ensemble, Onward};
use self::flights::Others;
use self::phase::{HEARD_LATE_M, Phase, Stuck, Told};
use self::search::{latest_s, lying, search};
use self::turn::Turn;
use crate::brief::answer::WaitingPoint;
use crate::brief::ground::BriefGround;
use crate::brief::heights::passing;
use crate::brief::waiting;
use crate::choice::verdict::Limits;
use crate::clock::local::seems_local;
use crate::clock::{after, seconds_between};
use crate::error::Result;
use crate::flight::model::{FlightWinds, Moment};
use crate::flight::rise::Miss;
use crate::geodesy::{LocalFrame, Normal, Position};
use crate::ground::water::Water;
use crate::numeric::{Quantiles, quantile};
use crate::plan::Plan;
use crate::spread::region::Regions;
use crate::track::gate::{Change, Gate, rate};
use crate::track::{Fix, Outcome};
use crate::wind::placing::Outside;
use crate::winds::Winds;
use crate::zone::aloft::Continuation;
use crate::zone::{LEFT_ALLOWED, Mark, Options, Reach, Zone, predict_and_keep, predict_within};

/// After so long without a report the tracker is quiet, s.
pub const QUIET_S: f64 = 300.0;
/// A release that differs by more than this from the plan's is predicted anew, s.
const OTHER_RELEASE_S: f64 = 300.0;
/// It has to rise by so much before its release is known, m.
const RISEN_M: f64 = 400.0;
/// Clocks that differ by more than this are told, s.
const CLOCK_S: f64 = 120.0;
/// Within this, s, of the clock of who hears them no tracker tells the hours of another time zone.
const SAME_HOURS_S: f64 = 900.0;
/// A release farther away than this is told, m.
pub(crate) const ELSEWHERE_M: f64 = 5_000.0;
/// Rates are told that differ from the plan's by these factors.
const SLOW: f64 = 0.6;
const FAST: f64 = 1.8;
/// Fixes that an answer has, at most, about.
const TRACK_POINTS: usize = 600;
/// Fewer draws that land make no zone.
const FEWEST_LANDED: usize = 20;

/// Follows one flight.
pub struct Follower<'a> {
    plan: Plan,
    winds: &'a Winds,
    options: Options,
    gate: Gate,
    zone: Zone,
    kept: Continuation,
    /// The draws before anything is learnt.
    prior: Ensemble,
    learnt: Ensemble,
    /// Ends of the last legs that were learnt from, up and down.
    used: [Option<Timestamp>; 2],
    told: Told,
    /// A place far above the ground that its receiver goes on telling.
    stuck: Option<Stuck>,
    fixes: Vec<Fix>,
    /// What is left out, as it is of other flights.
    others: Others,
    stale: bool,
    released: Option<Timestamp>,
    /// The release that the prediction is for.
    predicted_for: Timestamp,
    /// The release for which no more of the winds could be taken.
    no_farther_for: Option<Timestamp>,
    winds_of_plan: bool,
    frame: Option<LocalFrame>,
    car: Option<Position>,
    /// Where the draws landed that the last answer was made of.
    landings: Vec<Normal>,
    ground: Option<BriefGround>,
    waiting: Option<Waiting>,
}

/// Points to wait at, and the landings they were found for.
struct Waiting {
    center: Position,
    area_m2: f64,
    points: Vec<WaitingPoint>,
    in_water_share: f64,
}

impl<'a> Follower<'a> {
    /// Predicts the plan's flight and waits for reports.
    ///
    /// # Errors
    ///
    /// As [`predict_and_keep`].
    pub fn new(plan: &Plan, winds: &'a Winds, options: Options) -> Result<Follower<'a>> {
        let (prediction, kept) = predict_and_keep(plan, winds, options, || ())?;
        let prior = Ensemble::new(&kept, options.draws, options.seed);
        Ok(Follower {
            gate: Gate::new(plan.site.position, plan.release),
            zone: prediction.zone,
            learnt: prior.clone(),
            prior,
            kept,
            used: [None; 2],
            told: Told {
                phase: Phase::OnGround,
                first: 0,
                top: 0,
            },
            stuck: None,
            fixes: Vec::new(),
            others: Others::default(),
            stale: false,
            released: None,
            predicted_for: plan.release,
            no_farther_for: None,
            winds_of_plan: false,
            frame: None,
            car: None,
            landings: Vec::new(),
            ground: None,
            waiting: None,
            plan: plan.clone(),
            winds,
            options,
        })
    }

    /// Where the crew's car is.
    pub fn set_car(&mut self, car: Option<Position>) {
        self.car = car;
    }

    /// The gate, with what it let through and what it refused.
    pub fn gate(&self) -> &Gate {
        &self.gate
    }

    /// The zone before the release.
    pub fn zone(&self) -> &Zone {
        &self.zone
    }

    /// Takes what was read of something heard at a time (if that is known); whether it changes anything.
    pub fn hear(&mut self, outcome: Outcome, heard: Option<Timestamp>) -> bool {
        let change = self.gate.offer(outcome, heard);
        self.stale |= change == Change::Earlier;
        change != Change::Nothing
    }

    /// Learns from the fixes that are new.
    fn digest(&mut self) {
        let before = self.told.phase;
        let mut fixes = self.gate.fixes().to_vec();
        let (site, site_m) = (self.plan.site.position, self.site_m());
        let others = flights::keep_nearest(&mut fixes, site, site_m, self.plan.release);
        if others.flights != self.others.flights {
            // What was found of another flight says nothing of this one.
            (self.stale, self.released, self.winds_of_plan) = (true, None, false);
        }
        self.others = others;
        let heard = fixes.clone();
        let highest_m = |place| self.kept.highest_ground_m(place);
        (self.told, self.stuck) = phase::told_above(&mut fixes, self.site_m(), highest_m);
        // A height that is taken out now may have been learnt from; what came after the landing was not.
        self.stale |= self.told.phase != Phase::Landed && loses_any(&self.fixes, &heard, &fixes);
        self.fixes = fixes;
        // It had not fallen after all: what was learnt as its fall has to go.
        if matches!(before, Phase::Falling | Phase::Landed)
            && matches!(self.told.phase, Phase::Rising | Phase::Floating)
        {
            self.stale = true;
        }
        self.set_release();
        self.learn_all();
    }

    /// Learns from all legs that are new, or from all that there are where what was learnt does not hold any more.
    fn learn_all(&mut self) {
        let turn = self.turn();
        // Before it was heard to fall, its highest fix was taken for one of the rise.
        let turned = turn.filter(|t| t.end < self.told.top);
        let end = turned.map(|t| self.fixes[t.end].time);
        self.stale |= end.is_some_and(|end| self.used[0].is_some_and(|used| used > end));
        if self.stale {
            self.learnt = self.prior.clone();
            self.used = [None; 2];
            self.stale = false;
        }
        let Told { phase, first, .. } = self.told;
        let rise_end = turn.map_or(self.fixes.len(), |turn| turn.end + 1);
        self.learn(first.min(rise_end), rise_end, true);
        if phase == Phase::Falling {
            self.learn(rise_end, self.fixes.len(), false);
        }
    }

    /// Learns from the legs among fixes that were not used yet.
    fn learn(&mut self, first: usize, end: usize, rising: bool) {
        let way = usize::from(!rising);
        let fixes = &self.fixes[first.min(end)..end];
        let since = self.used[way];
        let from = since.map_or(0, |t| fixes.partition_point(|f| f.time < t));
        let floor_m = self.kept.model().layers.base_m;
        for leg in legs::legs(&fixes[from..], rising) {
            // Below the lowest layer, which ends on the ground that is known or assumed, none is learnt from.
            let below = !rising && leg.to.altitude_m < floor_m;
            // What sinks on its way up is a burst that is not known yet, or noise.
            let wrong_way = rising
                && leg.to.altitude_m < leg.from.altitude_m
                && self.told.phase != Phase::Floating;
            if !wrong_way && !below {
                self.learnt.learn(&self.kept, &leg);
            }
            // Also where nothing was learnt, or the leg would be looked at with every report.
            self.used[way] = Some(leg.to.time);
        }
    }

    /// Finds when it was released; predicts anew where that is not when the plan says.
    fn set_release(&mut self) {
        let Told { phase, first, top } = self.told;
        let Some(start) = self.fixes.get(first).filter(|_| phase != Phase::OnGround) else {
            return;
        };
        let ground_m = phase::ground_m(&self.fixes, &self.told, self.site_m());
        if self.fixes[top].altitude_m - start.altitude_m.min(ground_m) < RISEN_M {
            return;
        }
        let Some(released) = phase::released(&self.fixes, &self.told, self.site_m()) else {
            return;
        };
        self.released = Some(released);
        let off_s = seconds_between(self.predicted_for, released);
        // Where its winds do not reach the real release, those of the plan's own time stay for
        // good.
        if off_s.abs() < OTHER_RELEASE_S || self.winds_of_plan {
            return;
        }
        self.winds_of_plan = !self.predict(released, Reach::NONE);
    }

    /// Predicts anew for a release, in winds as far as a reach at least; whether there are such.
    fn predict(&mut self, release: Timestamp, least: Reach) -> bool {
        let plan = Plan {
            release,
            ..self.plan.clone()
        };
        let predicted = predict_within(&plan, self.winds, self.options, least, || ());
        let Ok((_, kept)) = predicted else {
            return false;
        };
        self.prior = Ensemble::new(&kept, self.options.draws, self.options.seed);
        self.kept = kept;
        self.predicted_for = release;
        self.stale = true;
        true
    }

    /// Takes in more of the winds, where draws from a fix left those that were taken and there are more.
    fn reach_farther(&mut self, from: &Fix, flown: &[std::result::Result<Onward, Miss>]) -> bool {
        let leaves = |o: Outside| {
            flown
                .iter()
                .filter(|f| matches!(f, Err(Miss::Leaves(l)) if *l == o))
                .count()
        };
        let many = |o: Outside| leaves(o) as f64 > LEFT_ALLOWED * flown.len() as f64;
        let more = |o: &Outside| many(*o) && !self.kept.end_at(*o);
        let left = [Outside::Region, Outside::Hours].into_iter().filter(more);
        let after_s = seconds_between(self.kept.release(), from.time);
        let wanted = left.map(|o| self.kept.farther(o, (from.position, after_s)));
        let Some(wanted) = wanted.reduce(Reach::with) else {
            return false;
        };
        // What failed once fails again with every fix, and takes as long.
        if self.no_farther_for == Some(self.predicted_for) {
            return false;
        }
        if !self.predict(self.predicted_for, wanted) {
            self.no_farther_for = Some(self.predicted_for);
            return false;
        }
        self.learn_all();
        true
    }

    fn site_m(&self) -> f64 {
        self.zone.release.altitude_m
    }

    /// How the flight stands at a moment of this computer's clock; without one, as of the last fix.
    ///
    /// # Errors
    ///
    /// When no plane can be laid around the landing.
    pub fn standing(&mut self, clock: Option<Timestamp>) -> Result<Standing> {
        self.digest();
        let last = self.fixes.last().cloned();
        let delay_s = self.gate.usual_delay_s().unwrap_or(0.0);
        let last_time = last.as_ref().map(|f| f.time);
        // The trackers' clock counts; this computer's may be wrong.
        let ahead_s = if delay_s.abs() > CLOCK_S {
            delay_s
        } else {
            0.0
        };
        let now = clock
            .map(|c| after(c, -ahead_s))
            .or(last_time)
            .unwrap_or(self.plan.release);
        // A clock behind the trackers' must not put the last fix into the future.
        let now = last_time.map_or(now, |t| now.max(t));
        let mut standing = self.outline(now);
        match last {
            Some(last) if self.told.phase != Phase::OnGround => {
                self.fly(&last, now, &mut standing)?;
            }
            Some(last) => self.lies_elsewhere(&last, now, &mut standing),
            None => {}
        }
        self.note(ahead_s, &mut standing);
        let target = standing.landing.as_ref().map(|l| l.center);
        let target = target.unwrap_or(self.zone.center());
        standing.from_car = self.car.map(|car| FromCar {
            car,
            distance_m: car.distance_m(target),
            azimuth_deg: car.azimuth_deg(target),
        });
        Ok(standing)
    }

    /// Says of what is on the ground after the release that it is far from the site; where to look, if it lies still.
    fn lies_elsewhere(&self, last: &Fix, now: Timestamp, standing: &mut Standing) {
        let away_m = self.plan.site.position.distance_m(last.position);
        if now <= self.plan.release || away_m <= ELSEWHERE_M {
            return;
        }
        standing.notes.push(FollowNote::LiesElsewhere { away_m });
        if phase::lies_still(&self.fixes) {
            let above_m = last.altitude_m - self.ground_m(last.position);
            standing.search = Some(lying(mark(last), above_m));
        }
    }

    /// The points from which the landings of an answer are nearest, the best first; found anew where the
    /// landings have moved by half of what half of them lie within, or fill half the area. More landings in water
    /// than the plan allows are noted in the answer.
    ///
    /// # Errors
    ///
    /// When a file of the plan's ground cannot be read.
    pub fn waiting(&mut self, standing: &mut Standing) -> Result<Vec<WaitingPoint>> {
        let Some((landing, outer)) = standing
            .landing
            .as_ref()
            .and_then(|l| Some((l, l.outer()?)))
        else {
            return Ok(Vec::new());
        };
        let (center, area_m2) = (landing.center, outer.shape.area_m2());
        let holds = |w: &Waiting| {
            let ratio = area_m2 / w.area_m2.max(1.0);
            (0.5..2.0).contains(&ratio) && w.center.distance_m(center) < 0.5 * landing.half_circle_m
        };
        let waiting = match self.waiting.take().filter(holds) {
            Some(known) => known,
            None => self.found_waiting(landing, area_m2)?,
        };
        let limit_share = Limits::of(&self.plan.limits, &mut Vec::new()).water_probability;
        let share = waiting.in_water_share;
        if share > limit_share {
            standing.notes.push(FollowNote::LandsInWater { share });
        }
        Ok(self.waiting.insert(waiting).points.clone())
    }

    fn found_waiting(&mut self, landing: &Landing, area_m2: f64) -> Result<Waiting> {
        let prior: Vec<Normal> = self.kept.landings().iter().map(|l| l.place).collect();
        let zone = Zone {
            ellipses: landing.ellipses.clone(),
            contours: Vec::new(),
            ..self.zone.clone()
        };
        // Files are read once, for the landings before the flight and those of now.
        let ground = match self.ground.take() {
            Some(ground) => ground,
            None => BriefGround::new(&self.plan, &zone, &[&prior[..], &self.landings].concat())?,
        };
        let ground = self.ground.insert(ground);
        let water = Water::of(&ground.map)?;
        Ok(Waiting {
            center: landing.center,
            area_m2,
            points: waiting::points(
                &water,
                &ground.layers,
                &zone,
                &self.landings,
                self.kept.ground(),
            )?,
            in_water_share: water.shares(&self.landings).any.share(),
        })
    }

    /// All that needs no flights.
    fn outline(&self, now: Timestamp) -> Standing {
        let last = self.fixes.last();
        let every = self.fixes.len().div_ceil(TRACK_POINTS).max(1);
        let kept = |i: usize| i.is_multiple_of(every) || i + 1 == self.fixes.len();
        let track = self.fixes.iter().enumerate().filter(|(i, _)| kept(*i));
        Standing {
            name: self.plan.name.clone(),
            time: now,
            phase: self.told.phase,
            last: last.map(|f| Last {
                mark: mark(f),
                tracker: f.tracker.clone(),
                age_s: seconds_between(f.time, now),
                above_ground_m: (f.altitude_m - self.ground_m(f.position)).max(0.0),
                ground_assumed: self.terrain_m(f.position).is_none(),
            }),
            silent_s: self.silent_s(now),
            rate_m_s: phase::rate_now(&self.fixes),
            released: self.released,
            burst: self.burst(),
            off_plan: last.and_then(|f| self.off_plan(f)),
            landing: None,
            now: None,
            search: None,
            area_at_release_m2: self.zone.outer().map(|e| e.shape.area_m2()),
            from_car: None,
            track: track.map(|(_, f)| mark(f)).collect(),
            accepted: self.gate.accepted(),
            refused: self.gate.counts().clone(),
            draws: self.learnt.count(),
            seed: self.options.seed,
            notes: Vec::new(),
        }
    }

    /// For how long nothing was heard, s, where it should have been released and tell of itself by now.
    fn silent_s(&self, now: Timestamp) -> Option<f64> {
        let release = self.plan.release;
        let since = self.fixes.last().map_or(release, |f| f.time);
        Some(seconds_between(since, now)).filter(|s| *s > QUIET_S && now > release)
    }

    /// The ground's height at a place; where none is known, the site's (assumed).
    fn ground_m(&self, place: Position) -> f64 {
        self.terrain_m(place).unwrap_or(self.site_m())
    }

    fn terrain_m(&self, place: Position) -> Option<f64> {
        self.kept.ground().and_then(|t| t.height_m(place))
    }

    /// Flies the draws on from the last fix.
    fn fly(&mut self, last: &Fix, now: Timestamp, standing: &mut Standing) -> Result<()> {
        let above_m = last.altitude_m - self.ground_m(last.position);
        if self.told.phase == Phase::Landed {
            standing.search = Some(lying(mark(last), above_m));
            return Ok(());
        }
        let falling = self.told.phase == Phase::Falling;
        if falling && self.terrain_m(last.position).is_none() {
            // Below the ground that is assumed it falls on: where to, nothing here can tell.
            if above_m <= 0.0 {
                let lower_m = -above_m;
                standing
                    .notes
                    .push(FollowNote::BelowAssumedGround { lower_m });
                return Ok(());
            }
            standing.notes.push(FollowNote::GroundAssumed);
        }
        let release = self.kept.release();
        let from = Moment {
            time_s: seconds_between(release, last.time),
            altitude_m: last.altitude_m,
            place: last.position.normal(),
        };
        let now_s = seconds_between(release, now);
        let (mut flown, mut worn) = self.learnt.fly_on(&self.kept, from, falling, now_s);
        if self.reach_farther(last, &flown) {
            (flown, worn) = self.learnt.fly_on(&self.kept, from, falling, now_s);
        }
        let landed: Vec<&Onward> = flown.iter().flatten().collect();
        let left_share = 1.0 - landed.len() as f64 / flown.len().max(1) as f64;
        if worn {
            standing.notes.push(FollowNote::HigherThanExpected {
                altitude_m: last.altitude_m,
            });
        }
        if left_share > LEFT_ALLOWED {
            standing
                .notes
                .push(FollowNote::DrawsLeft { share: left_share });
        }
        if landed.len() < FEWEST_LANDED {
            standing.notes.push(FollowNote::NoLanding);
            return Ok(());
        }
        self.landings = landed.iter().map(|o| o.flown.landing.place).collect();
        standing.landing = Some(self.landing(&landed, falling, left_share)?);
        // On its way up it is as low just after the release.
        let near_ground = falling && above_m < search::NEAR_GROUND_M;
        standing.search = match near_ground || now_s >= latest_s(&landed) {
            true => search(mark(last), above_m, from.time_s, &landed),
            false => None,
        };
        // As long as it is heard, its last fix says where it is.
        if seconds_between(last.time, now) > QUIET_S {
            standing.now = self.whereabouts(&landed, now_s)?;
        }
        Ok(())
    }

    /// A plane around a place; kept as long as it serves.
    fn plane(&mut self, around: Position) -> LocalFrame {
        const FAR_M: f64 = 50_000.0;
        let kept = self
            .frame
            .filter(|frame| frame.center().distance_m(around) < FAR_M);
        *self.frame.insert(kept.unwrap_or(LocalFrame::new(around)))
    }

    fn landing(&mut self, landed: &[&Onward], falling: bool, left_share: f64) -> Result<Landing> {
        let release = self.kept.release();
        let places: Vec<Position> = landed
            .iter()
            .map(|o| o.flown.landing.place.position())
            .collect();
        let frame = self.plane(places[0]);
        let points: Vec<[f64; 2]> = places.iter().map(|p| frame.to_plane(*p)).collect();
        let regions = Regions::of(&points)?;
        let contours = regions.contours.iter().map(|c| c.on_ground(&frame));
        let ellipses = regions.ellipses.iter().map(|e| e.on_ground(&frame));
        let (ellipses, contours) = (
            ellipses.collect::<Result<_>>()?,
            contours.collect::<Result<_>>()?,
        );
        let center = frame.to_position(regions.moments.mean_m)?;
        let three = |value: &dyn Fn(&Onward) -> f64| Quantiles::of(landed.iter().map(|o| value(o)));
        let ground_m = self.ground_m(center);
        Ok(Landing {
            center,
            ellipses,
            contours,
            half_circle_m: regions.half_circle_m,
            times: three(&|o| o.flown.landing.time_s).map(|s| after(release, s)),
            // A burst that is over is told by the fixes.
            burst_m: (!falling).then(|| three(&|o| o.flown.burst.altitude_m)),
            speed_m_s: self.learnt.rate_m_s(&self.kept, ground_m, false),
            left_share,
        })
    }

    fn whereabouts(&mut self, landed: &[&Onward], now_s: f64) -> Result<Option<Whereabouts>> {
        let places: Vec<Position> = landed.iter().map(|o| o.now.place.position()).collect();
        let frame = self.plane(places[0]);
        let points: Vec<[f64; 2]> = places.iter().map(|p| frame.to_plane(*p)).collect();
        let n = points.len() as f64;
        let mean = [0, 1].map(|i| points.iter().map(|p| p[i]).sum::<f64>() / n);
        let center = frame.to_position(mean)?;
        let mut away: Vec<f64> = points
            .iter()
            .map(|p| (p[0] - mean[0]).hypot(p[1] - mean[1]))
            .collect();
        away.sort_by(f64::total_cmp);
        let down = landed
            .iter()
            .filter(|o| o.flown.landing.time_s <= now_s)
            .count();
        Ok(quantile(&away, 0.9).map(|radius_m| Whereabouts {
            center,
            radius_m,
            altitude_m: Quantiles::of(landed.iter().map(|o| o.now.altitude_m)),
            landed_share: down as f64 / n,
        }))
    }

    /// Where it burst, if it falls and enough was heard to tell.
    fn burst(&self) -> Option<Mark> {
        let turn = self.turn()?;
        let lies = self
            .fixes
            .last()
            .filter(|_| self.told.phase == Phase::Landed);
        turn.burst(&self.fixes, lies.map(|f| f.altitude_m))
    }

    /// Where its rise ended, if it falls or fell.
    fn turn(&self) -> Option<Turn> {
        matches!(self.told.phase, Phase::Falling | Phase::Landed)
            .then(|| Turn::of(&self.fixes, &self.told, self.site_m()))
    }

    /// How far a fix is from where the planned flight is at that height; `None` above its top.
    fn off_plan(&self, fix: &Fix) -> Option<OffPlan> {
        let track = &self.zone.track;
        let falling = matches!(self.told.phase, Phase::Falling | Phase::Landed);
        // Lower than the planned flight begins or ends, it is beside that end of it.
        let end = if falling { track.last() } else { track.first() };
        let lower = end.filter(|m| fix.altitude_m <= m.altitude_m);
        let at = lower
            .copied()
            .or(passing(track, fix.altitude_m, !falling))?;
        Some(OffPlan {
            distance_m: at.position.distance_m(fix.position),
            azimuth_deg: at.position.azimuth_deg(fix.position),
            later_s: seconds_between(at.time, fix.time),
        })
    }

    fn note(&self, ahead_s: f64, standing: &mut Standing) {
        let notes = &mut standing.notes;
        let phase = self.told.phase;
        if let Some(for_s) = standing.silent_s.filter(|_| phase == Phase::OnGround) {
            notes.push(FollowNote::LeftUnknown { for_s });
        }
        if self.others.fixes > 0 {
            let Others { flights, fixes } = self.others;
            notes.push(FollowNote::OtherFlights { flights, fixes });
        }
        let Some(last) = &standing.last else {
            return;
        };
        let altitude_m = last.mark.altitude_m;
        if phase == Phase::Floating {
            notes.push(FollowNote::Floats { altitude_m });
        }
        notes.extend(self.rate_note(altitude_m, standing.rate_m_s));
        let flying = matches!(phase, Phase::Rising | Phase::Floating | Phase::Falling);
        if flying && last.age_s > QUIET_S {
            notes.push(FollowNote::Quiet { for_s: last.age_s });
        }
        let down = standing
            .landing
            .as_ref()
            .is_some_and(|l| standing.time > l.times.high);
        if flying && down && last.age_s > QUIET_S {
            notes.push(FollowNote::PresumedDown {
                heard_at_m: last.above_ground_m,
            });
        }
        if let Some(stuck) = self.stuck {
            notes.push(FollowNote::Stuck {
                for_s: stuck.for_s,
                above_m: last.above_ground_m,
            });
        }
        if ahead_s != 0.0 {
            notes.push(FollowNote::ClockDiffers { by_s: ahead_s });
        }
        if self.gate.untimed() > 0 {
            notes.push(FollowNote::WithoutTime {
                reports: self.gate.untimed(),
            });
        }
        self.note_release(notes);
    }

    fn note_release(&self, notes: &mut Vec<FollowNote>) {
        if self.winds_of_plan {
            notes.push(FollowNote::WindsOfPlan);
        }
        if let Some(released) = self.released {
            let by_s = seconds_between(self.plan.release, released);
            let delay_s = self.gate.usual_delay_s();
            let same_hours = delay_s.is_some_and(|s| s.abs() < SAME_HOURS_S);
            if by_s.abs() > OTHER_RELEASE_S {
                notes.push(FollowNote::ReleasedLater {
                    by_s,
                    // Else it is still the flight of the plan's release that is told.
                    again: !self.winds_of_plan,
                    local: !same_hours && seems_local(&self.plan.timezone, released, by_s),
                });
            }
        }
        let first = self.fixes.get(self.told.first);
        let Some(first) = first.filter(|_| self.told.phase != Phase::OnGround) else {
            return;
        };
        let above_m = first.altitude_m - self.site_m();
        let released = self.released.is_some();
        // Heard late, its first fix says nothing of where it was released.
        if self.told.first == 0 && above_m > HEARD_LATE_M {
            notes.push(FollowNote::HeardLate { above_m, released });
        } else if released {
            let away_m = self.plan.site.position.distance_m(first.position);
            if away_m > ELSEWHERE_M {
                let winds = &self.kept.model().winds;
                notes.push(FollowNote::ReleasedElsewhere {
                    away_m,
                    winds_of_site: matches!(winds, FlightWinds::Column(_)),
                });
            }
        }
    }

    /// That it rises or falls at another rate than planned, over the last ten minutes.
    fn rate_note(&self, altitude_m: f64, now_m_s: Option<f64>) -> Option<FollowNote> {
        const OVER_S: f64 = 600.0;
        let last = self.fixes.last()?;
        match self.told.phase {
            Phase::Rising => {
                let from = phase::long_before(&self.fixes, OVER_S)?;
                let rate_m_s = rate(from, last);
                let planned_m_s = self.prior.rate_m_s(&self.kept, altitude_m, true)?;
                // Ten minutes that begin on the ground would make any rise a slow one.
                let whole = self
                    .fixes
                    .get(self.told.first)
                    .is_some_and(|f| f.time <= from.time);
                (whole && rate_m_s < SLOW * planned_m_s).then_some(FollowNote::RisesSlowly {
                    rate_m_s,
                    planned_m_s,
                })
            }
            Phase::Falling => {
                let rate_m_s = -now_m_s?;
                let planned_m_s = self.prior.rate_m_s(&self.kept, altitude_m, false)?;
                let fallen_s = seconds_between(self.fixes.get(self.told.top)?.time, last.time);
                match rate_m_s / planned_m_s {
                    // The first minutes after the burst say little of the canopy.
                    _ if fallen_s < 120.0 => None,
                    x if x < SLOW => Some(FollowNote::FallsSlowly {
                        rate_m_s,
                        planned_m_s,
                    }),
                    x if x > FAST => Some(FollowNote::FallsFast {
                        rate_m_s,
                        planned_m_s,
                    }),
                    _ => None,
                }
            }
            _ => None,
        }
    }
}

/// Where and when a fix was.
pub(crate) fn mark(fix: &Fix) -> Mark {
    Mark {
        position: fix.position,
        altitude_m: fix.altitude_m,
        time: fix.time,
    }
}

/// Whether any of the fixes that there were before is taken out of those that were heard.
fn loses_any(before: &[Fix], heard: &[Fix], left: &[Fix]) -> bool {
    let has = |fixes: &[Fix], fix: &Fix| fixes.binary_search_by(|f| f.time.cmp(&fix.time)).is_ok();
    let mut gone = heard.iter().filter(|f| !has(left, f));
    gone.any(|f| has(before, f))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::track::{Report, Stamp};

    /// A balloon that leaks rises for hours more than planned: the forecast is read on for it by large steps, not by a
    /// bit with every fix.
    #[test]
    fn a_forecast_is_read_on_a_few_times_for_a_flight_that_leaks() {
        let root = concat!(env!("CARGO_MANIFEST_DIR"), "/samples/ribatejo/plan.toml");
        let plan = Plan::read(root).unwrap();
        let winds = Winds::of_plan(&plan).unwrap();
        let options = Options {
            draws: 200,
            seed: 1,
            keep_draws: false,
        };
        let mut follower = Follower::new(&plan, &winds, options).unwrap();
        let site = plan.site.position;
        // Each prediction has a planned flight of its own.
        let mut predicted = vec![follower.kept.planned().as_ptr()];
        let mut landing = None;
        for k in 0..40 {
            let seconds = 300.0 * f64::from(k);
            let fix = Report {
                tracker: String::new(),
                stamp: Stamp::At(after(plan.release, seconds)),
                heard: None,
                position: site.destination(90.0, 5.0 * seconds),
                altitude_m: Some(follower.site_m() + seconds),
            };
            follower.hear(Ok(fix), None);
            landing = follower.standing(None).unwrap().landing;
            let planned = follower.kept.planned().as_ptr();
            if predicted.last() != Some(&planned) {
                predicted.push(planned);
            }
        }
        assert!((2..=6).contains(&predicted.len()), "{}", predicted.len());
        assert!(landing.is_some());
    }

    /// A receiver that hangs says the same again and again: that is left out at every look, and was never learnt from.
    #[test]
    fn only_a_fix_that_was_used_makes_what_was_learnt_stale() {
        let fix = |second: i32| Fix {
            tracker: String::new(),
            time: after(Timestamp::UNIX_EPOCH, f64::from(second)),
            position: Position::new(43.0, -108.0).unwrap(),
            altitude_m: 9_000.0,
        };
        let fixes: Vec<Fix> = (0..10).map(fix).collect();
        assert!(!loses_any(&fixes[..5], &fixes, &fixes[..5]));
        assert!(loses_any(&fixes[..6], &fixes, &fixes[..5]));
        // What the gate thinned out says nothing new.
        assert!(!loses_any(&fixes[..6], &fixes[2..], &fixes[2..]));
    }
}
