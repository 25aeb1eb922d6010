//! What is to be done: a plan, its fields, the days of a record; and all that every part of the work
//! needs alike.

use std::ops::Range;
use std::path::PathBuf;
use std::sync::Arc;

use jiff::civil::Date;
use jiff::{SignedDuration, Timestamp};

use super::cells::CellGrid;
use super::digest::Digest;
use super::long_record::{LongRecord, Opened};
use crate::choice::basis::{Basis, basis};
use crate::choice::candidates::{Candidate, assumed_of_heights};
use crate::choice::ground;
use crate::choice::judge::assumed_of_surface;
use crate::choice::times::release_times;
use crate::choice::together::{Together, group_of, middle, together};
use crate::choice::verdict::Limits;
use crate::error::{Error, Result};
use crate::geodesy::Position;
use crate::ground::airspace::{default_cylinders, highest_top_m};
use crate::ground::map::GroundMap;
use crate::ground::region::Region;
use crate::ground::terrain::Terrain;
use crate::notes::Assumption;
use crate::plan::{GroundPlan, Plan};
use crate::spread::draws::{SIGMAS, Spread};
use crate::winds::Winds;
use crate::zone::duration::TimeAloft;
use crate::zone::facts::LandedOn;
use crate::zone::releases::{FlownIn, FlownRelease, TriedRelease, fly_releases};
use crate::zone::said::Said;
use crate::zone::{Options, fits, terrain};

/// What is asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct YearsRequest {
    /// The first and the last moment of releases; those of the record unless given.
    pub between: [Option<Timestamp>; 2],
    /// From one release to the next, s.
    pub every_s: i64,
    /// Hours of the day within which to release, s since midnight on the plan's clock.
    pub hours_s: [i64; 2],
    /// Polygons to come down in.
    pub into: Option<PathBuf>,
    /// Size of the cells of the map, m.
    pub cell_m: f64,
    /// Draws and seed.
    pub options: Options,
}

/// A field to launch from.
pub struct LaunchField {
    /// What it is called.
    pub name: String,
    /// The plan as flown from there.
    pub plan: Plan,
    /// Which of the grounds it lies on.
    pub(super) ground: usize,
}

/// The ground of fields that lie together.
pub(super) struct FieldGround {
    pub heights: Option<Arc<Terrain>>,
    pub map: GroundMap,
    /// Flights through a single sounding are followed layer by layer below this, as `days` does for the air
    /// near airports; else whole legs would move a landing by some metres.
    pub low_m: Option<f64>,
}

/// The releases of a day on the plan's clock.
#[derive(Debug, Clone, PartialEq)]
pub struct DayReleases {
    /// The day.
    pub date: Date,
    /// Its releases.
    pub times: Vec<Timestamp>,
}

/// The work, and what all of it needs.
pub struct Job {
    /// What is asked for.
    pub asked: YearsRequest,
    /// The fields.
    pub fields: Vec<LaunchField>,
    /// The days with releases, in their order.
    pub days: Vec<DayReleases>,
    /// The winds.
    pub record: LongRecord,
    /// The limits.
    pub limits: Limits,
    /// The cells of the map.
    pub grid: CellGrid,
    /// What the answer is made from.
    pub basis: Basis,
    /// What tells parts of this work from those of another.
    pub digest: String,
    pub(super) grounds: Vec<FieldGround>,
    pub(super) around: Around,
}

/// How far and how long flights may go.
#[derive(Debug, Clone, Copy)]
pub(super) struct Around {
    pub middle: Position,
    pub reach_m: f64,
    pub late_s: f64,
}

/// Longer than planned in standard air, with all that varies and room to grow: what flights need is decoded
/// with the day.
const LONGER: f64 = 2.0;
/// More days than these are no record of winds.
const MOST_DAYS: i64 = 200_000;

impl Job {
    /// Lays out the work; `candidates` are the fields, the plan's own site where there are none. `digest`
    /// is that of the plan and all it names.
    ///
    /// # Errors
    ///
    /// Whatever is wrong with the winds, the ground or the target, and no release at all.
    pub fn new(
        plan: &Plan,
        candidates: &[Candidate],
        record: LongRecord,
        asked: YearsRequest,
        digest: Digest,
    ) -> Result<Job> {
        let mut plan = plan.clone();
        if let Some(target) = &asked.into {
            plan.ground = GroundPlan {
                // In place of the plan's own areas, so that the share within is the target's alone.
                land_in: vec![target.clone()],
                ..plan.ground
            };
        }
        let days = days(&plan, &record, &asked)?;
        // The ground is looked at once, in the first winds: no part may depend on where it begins.
        let opened = first_winds(&record, &days)?;
        let mut said = Said::begun(&plan);
        let limits = Limits::of(&plan.limits, &mut said.assumed);
        let places: Vec<Position> = match candidates {
            [] => vec![plan.site.position],
            some => some.iter().map(|c| c.position).collect(),
        };
        let aloft = TimeAloft::of(&plan);
        let around = Around::of(&plan, &aloft, &places);
        let of_soundings = record.is_of_soundings();
        let those = together(&places);
        // As far as `days` looks at least, so that what is said of a release is the same.
        let reach_m = aloft.reach_m();
        let far_m = |those: &Together| (reach_m + those.reach_m).max(terrain::FAR_M);
        let regions: Vec<Region> = those
            .iter()
            .map(|those| Region::around(those.middle, far_m(those)))
            .collect();
        let maps = ground::maps(&plan.ground, &regions)?;
        let grounds: Vec<FieldGround> = those
            .iter()
            .zip(maps)
            .map(|(those, map)| {
                let around = (those.middle, far_m(those));
                FieldGround::of(&plan, &opened.winds, map, around, of_soundings)
            })
            .collect::<Result<_>>()?;
        let heights: Vec<Option<&Terrain>> = grounds.iter().map(|g| g.heights.as_deref()).collect();
        terrain::refuse_elsewhere(&plan.ground, &heights)?;
        let fields = fields(&plan, candidates, &those, &grounds);
        let ground_of = |field: &LaunchField| grounds[field.ground].heights.as_deref();
        let from = candidates.iter().zip(fields.iter().map(ground_of));
        said.assumed.extend(assumed_of_heights(&plan, from));
        said.assumed.extend(ground::ON_GROUND);
        let landed_on = first_landings(&opened, &grounds, &fields, &days, &asked, &mut said)?;
        said.assumed.extend(terrain::assumed(&heights, &landed_on));
        for (number, field) in fields.iter().enumerate() {
            field.unfit(&plan, candidates.get(number), ground_of(field), &mut said)?;
        }
        let maps: Vec<&GroundMap> = grounds.iter().map(|ground| &ground.map).collect();
        let mut basis = basis(
            &plan,
            &opened.winds,
            &limits,
            asked.options,
            &maps,
            &landed_on,
            said,
        );
        // The winds at hand are those of the first days; the record covers more.
        basis.covered = None;
        // Around the plan's own site: maps of other fields then have the same cells.
        let grid = CellGrid::around(plan.site.position, asked.cell_m);
        let digest = with_asked(digest, &asked, &days, &fields).with(&record.digest.text());
        Ok(Job {
            asked,
            fields,
            days,
            record,
            limits,
            grid,
            basis,
            digest: digest.text(),
            grounds,
            around,
        })
    }

    /// How many units of work there are, a day from a field each: day by day, and of each day field by
    /// field.
    pub fn units(&self) -> usize {
        self.days.len() * self.fields.len()
    }

    /// The units of shard `k` (from 1) of `n`.
    pub fn shard(&self, k: usize, n: usize) -> Range<usize> {
        let units = self.units() as u128;
        // In 128 bits no product overflows; in whole numbers shards fit on each other.
        let at = |k: usize| (units * k as u128 / n.max(1) as u128) as usize;
        at(k.saturating_sub(1))..at(k)
    }

    /// How many releases there are from each field.
    pub fn releases(&self) -> usize {
        self.days.iter().map(|day| day.times.len()).sum()
    }
}

impl LaunchField {
    /// What does not fit of it, above its ground; by its name where it is a candidate.
    fn unfit(
        &self,
        plan: &Plan,
        of: Option<&Candidate>,
        ground: Option<&Terrain>,
        said: &mut Said,
    ) -> Result<()> {
        let site = &self.plan.site;
        let off = site
            .elevation_m
            .and_then(|site_m| terrain::off_ground(ground, site.position, site_m))
            .map(Assumption::ReleaseOffGround);
        let (off, notes) = match of {
            Some(candidate) => (
                off.map(|off| candidate.by_name(off)),
                candidate.unfit(plan, ground, None)?,
            ),
            None => (off, fits::site(plan, ground, None)?),
        };
        said.assumed.extend(off);
        notes.into_iter().for_each(|note| said.note(note));
        Ok(())
    }
}

impl Around {
    fn of(plan: &Plan, aloft: &TimeAloft, places: &[Position]) -> Around {
        let middle = middle(places).unwrap_or(plan.site.position);
        let away = places.iter().map(|p| middle.distance_m(*p));
        let assumed_s = Spread::ASSUMED.release_delay_s;
        let delay_s = SIGMAS * plan.spread.release_delay_s.unwrap_or(assumed_s);
        Around {
            middle,
            reach_m: aloft.reach_m() + away.fold(0.0, f64::max),
            late_s: LONGER * aloft.seconds + delay_s,
        }
    }
}

impl FieldGround {
    fn of(
        plan: &Plan,
        winds: &Winds,
        map: GroundMap,
        (center, far_m): (Position, f64),
        of_soundings: bool,
    ) -> Result<FieldGround> {
        Ok(FieldGround {
            heights: terrain::around(&plan.ground, Some(winds), center, far_m)?,
            map,
            low_m: match of_soundings {
                true => highest_top_m(center, far_m, &default_cylinders())?,
                false => None,
            },
        })
    }
}

/// Draws of the flights that tell what landings come down on.
const FEW_DRAWS: u64 = 100;

/// What landings come down on, by a first release from a field on each of the grounds; what is to be said of
/// these flights, as far as it holds for all, goes to `said`.
fn first_landings(
    opened: &Opened,
    grounds: &[FieldGround],
    fields: &[LaunchField],
    days: &[DayReleases],
    asked: &YearsRequest,
    said: &mut Said,
) -> Result<Vec<LandedOn>> {
    let options = Options {
        draws: asked.options.draws.min(FEW_DRAWS),
        ..asked.options
    };
    let covers = opened.winds.covers();
    let mut times = days.iter().flat_map(|day| &day.times);
    let at = times.find(|at| covers.is_none_or(|[from, _]| **at >= from));
    let mut landed = Vec::new();
    let mut at_ground = Vec::new();
    for (number, ground) in grounds.iter().enumerate() {
        let heights = ground.heights.as_deref();
        let (Some(field), Some(at)) = (fields.iter().find(|f| f.ground == number), at) else {
            continue;
        };
        let flown_in = FlownIn {
            winds: &opened.winds,
            ground: ground.heights.as_ref(),
            low_m: None,
        };
        let tried = fly_releases(&field.plan, flown_in, &[*at], options, || {})?;
        said.add(of_all(&tried, &opened.winds));
        let flown: Vec<FlownRelease> = tried.into_iter().filter_map(|(_, f)| f.ok()).collect();
        at_ground.extend(flown.iter().flat_map(|f| &f.surface).map(|wind| wind.from));
        let landings = flown.into_iter().flat_map(|flown| flown.landings);
        landed.push((heights, landings.collect::<Vec<_>>()));
    }
    said.assumed
        .extend(assumed_of_surface(at_ground.into_iter()));
    let landed = landed.iter().map(|(on, all)| (*on, all.as_slice()));
    Ok(terrain::sources_of(landed))
}

/// What is to be said of the first flights as far as it holds for all: a forecast's levels are those of other
/// days too, one sounding tells nothing of how high others reach.
fn of_all(first: &[TriedRelease], winds: &Winds) -> Said {
    let mut said = Said::of(first);
    said.assumed.retain(holds_for_all);
    if matches!(winds, Winds::Soundings(_)) {
        said.assumed.retain(|of| *of != Assumption::StandardAir);
        said.notes.clear();
        said.cleaning.clear();
    }
    said
}

/// Whether what is assumed of the first winds says something of the others.
fn holds_for_all(assumption: &Assumption) -> bool {
    !matches!(
        assumption,
        Assumption::LeftOut { .. }
            | Assumption::NearestSounding { .. }
            | Assumption::SoundingsBlended { .. }
            | Assumption::SoundingsContinued { .. }
    )
}

fn fields(
    plan: &Plan,
    candidates: &[Candidate],
    those: &[Together],
    grounds: &[FieldGround],
) -> Vec<LaunchField> {
    if candidates.is_empty() {
        let name = "the plan's site".to_owned();
        return vec![LaunchField {
            name,
            plan: plan.clone(),
            ground: 0,
        }];
    }
    let field = |(candidate, ground): (&Candidate, usize)| LaunchField {
        name: candidate.name.clone(),
        plan: candidate.plan(plan, grounds[ground].heights.as_deref()),
        ground,
    };
    candidates.iter().zip(group_of(those)).map(field).collect()
}

/// The days of the record, or between the moments asked for, with their releases.
fn days(plan: &Plan, record: &LongRecord, asked: &YearsRequest) -> Result<Vec<DayReleases>> {
    let covers = record.covers().ok_or_else(no_release)?;
    let [from, to] = [0, 1].map(|i| asked.between[i].unwrap_or(covers[i]));
    // Before the times are listed: an end far in the future would make too many of them to hold.
    let count = to.duration_since(from).as_hours() / 24;
    if count > MOST_DAYS {
        return Err(Error::CannotDo {
            why: format!("{count} days from {from} to {to}"),
            remedy: format!("expected at most {MOST_DAYS}: other --from and --to"),
        });
    }
    let times = release_times([from, to], asked.every_s, asked.hours_s, &plan.timezone);
    let mut days: Vec<DayReleases> = Vec::new();
    for time in times {
        let date = plan.timezone.to_datetime(time).date();
        match days.last_mut() {
            Some(day) if day.date == date => day.times.push(time),
            _ => days.push(DayReleases {
                date,
                times: vec![time],
            }),
        }
    }
    match days.is_empty() {
        true => Err(no_release()),
        false => Ok(days),
    }
}

fn no_release() -> Error {
    Error::CannotDo {
        why: "there is no release time in this record within these hours".into(),
        remedy: "expected other --from, --to, --every or --hours".into(),
    }
}

/// The winds of the first days that have some: what they tell of the ground stands for all.
fn first_winds(record: &LongRecord, days: &[DayReleases]) -> Result<Opened> {
    let (Some(first), Some(last)) = (days.first(), days.last()) else {
        return Err(no_release());
    };
    let covers = record.covers().unwrap_or([first.times[0]; 2]);
    let whole = [first.times[0], last.times[last.times.len() - 1]];
    // The first moment that both the releases and the record have.
    let from = whole[0].max(covers[0]).min(covers[1]);
    let day = SignedDuration::from_hours(24);
    let to = from.checked_add(day).unwrap_or(from);
    let opened = record.open([from, to], [from, to], None)?;
    opened.ok_or_else(|| Error::CannotDo {
        why: format!("there are no winds from {from} on"),
        remedy: "expected a record without a gap at its beginning, or another --from".into(),
    })
}

/// What makes parts of one work: all that their numbers depend on.
fn with_asked(
    digest: Digest,
    asked: &YearsRequest,
    days: &[DayReleases],
    fields: &[LaunchField],
) -> Digest {
    let Options { draws, seed, .. } = asked.options;
    let mut digest = digest.with(env!("CARGO_PKG_VERSION")).with(&format!(
        "{draws} {seed} {} {} {:?}",
        asked.every_s, asked.cell_m, asked.hours_s
    ));
    for time in days.iter().flat_map(|day| &day.times) {
        // Every release, as the same days may have others on other clocks.
        digest = digest.with(&time.as_second().to_string());
    }
    for field in fields {
        let Position { lat_deg, lon_deg } = field.plan.site.position;
        let elevation_m = field.plan.site.elevation_m;
        let place = format!("{lat_deg} {lon_deg} {elevation_m:?}");
        digest = digest.with(&field.name).with(&place);
    }
    digest
}
