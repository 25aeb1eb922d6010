//! Where to launch so that the load comes down in a target.
//!
//! For each release the site is found from which the middle of the landings is the middle of the
//! target. Drift is nearly the same around it, so the landings are carried to a grid of places
//! there: the share of them in the target is the probability of each place. The best place where
//! one may launch is then flown itself.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use geo::{MultiPolygon, Rect, unary_union};
use jiff::Timestamp;
use rayon::prelude::*;

use super::answer::{Aim, AimRow, LaunchPlace, LaunchRegion, LaunchesIn, Verdict};
use super::basis::basis;
use super::candidates::{Candidate, assumed_of_heights};
use super::ground;
use super::judge::{Judge, assumed_at_ground, unknown_by};
use super::reason::Reason;
use super::verdict::Limits;
use crate::error::{Error, Fault, Result};
use crate::files::name_of;
use crate::geodesy::{LocalFrame, Normal, Position};
use crate::ground::airspace::{default_cylinders, highest_top_m};
use crate::ground::layers::{Kind, Layer, LayerRequest, read};
use crate::ground::map::{Class, GroundMap};
use crate::ground::region::{FARTHEST_M, Region};
use crate::ground::terrain::Terrain;
use crate::ground::water::Water;
use crate::notes::Assumption;
use crate::plan::{GroundPlan, Plan};
use crate::spread::region::polygons_on_ground;
use crate::winds::Winds;
use crate::zone::releases::{FlownIn, FlownRelease, fly_releases};
use crate::zone::said::Said;
use crate::zone::{Options, terrain};

/// Where one may launch; anywhere unless restricted.
#[derive(Debug, Clone, Default)]
pub struct Allowed {
    /// Within these polygons only.
    pub launch_in: Vec<PathBuf>,
    /// On the plan's roads only.
    pub on_roads: bool,
}

/// Flights that look for the site, and that are carried to every place of the grid.
const SEARCH_DRAWS: u64 = 300;
/// The middle of the landings is brought so near to that of the target, m ...
const NEAR_M: f64 = 100.0;
/// ... in at most this many steps; each leaves what the drift changes on its way.
const MOST_STEPS: usize = 12;
/// Places from the middle of the grid to each side.
const HALF_GRID: i32 = 30;
/// Regions are of places with at least this share of the best probability.
const SHARES: [f64; 2] = [0.9, 0.5];

/// A release that can hit the target, and the flights that told.
struct Aimed {
    site: Position,
    flown: FlownRelease,
    /// How far landings are from their middle at most, m.
    spread_m: f64,
}

/// The target.
struct Target {
    center: Position,
    /// How far it reaches from its middle, m.
    reach_m: f64,
}

/// Finds where to launch for each of the release times. `done` is called after each.
///
/// # Errors
///
/// When a file cannot be read, the target has no area, or one is to launch on roads and there are
/// none in the plan.
pub fn aim(
    plan: &Plan,
    input: &Winds,
    target: &Path,
    allowed: &Allowed,
    times: &[Timestamp],
    options: Options,
    done: impl Fn() + Sync,
) -> Result<Aim> {
    let mut said = Said::begun(plan);
    let limits = Limits::of(&plan.limits, &mut said.assumed);
    let place = the_target(target, plan.site.position)?;
    let heights = terrain::far_around(&plan.ground, input, place.center)?;
    let cylinders = default_cylinders();
    let flown_in = FlownIn {
        winds: input,
        ground: heights.as_ref(),
        // The search needs no ways through the air near airports.
        low_m: None,
    };
    let aimed: Vec<Result<Aimed>> = times
        .par_iter()
        .map(|&time| search(plan, flown_in, &place, time, options))
        .collect();
    // The flights of the search tell where the heights come from as well as all.
    let searched = || aimed.iter().flatten().map(|aimed| &aimed.flown);
    let landings = searched().flat_map(|flown| flown.landings.iter().copied());
    let landed_on = terrain::sources(heights.as_deref(), &landings.collect::<Vec<_>>());
    searched().for_each(|flown| add_search(&mut said, flown.said.clone()));
    let aims_at = GroundPlan {
        // In place of the plan's own areas: the share within is to be that of the target alone.
        land_in: vec![target.to_owned()],
        ..plan.ground.clone()
    };
    let map = ground::map(&aims_at, place.center, &surroundings(&aimed, &place))?;
    let judge = Judge::new(plan, &map, &cylinders, limits)?;
    let may_launch = MayLaunch::new(allowed, &map, judge.water())?;
    // Only the flights from the best places are judged, by the air near airports as well.
    let low_m = highest_top_m(place.center, terrain::FAR_M, &cylinders)?;
    let range = Range {
        plan,
        flown_in: FlownIn { low_m, ..flown_in },
        target: &place,
        map: &map,
        may_launch: &may_launch,
        judge: &judge,
        options,
    };
    let rows: Result<Vec<AimRow>> = times
        .par_iter()
        .zip(aimed)
        .map(|(&time, aimed)| {
            let row = range.row(time, aimed);
            done();
            row
        })
        .collect();
    let mut rows = rows?;
    rank(&mut rows);
    said.assumed.push(Assumption::SameDriftNearby);
    let launches = rows.iter().filter_map(|row| row.launch.as_ref());
    let launches: Vec<Candidate> = launches.map(|l| Candidate::at(l.position)).collect();
    let from = launches.iter().map(|place| (place, heights.as_deref()));
    said.assumed.extend(assumed_of_heights(plan, from));
    let of_rows = rows.iter().map(|row| &row.row);
    said.assumed.extend(assumed_at_ground(of_rows));
    said.assumed.extend(ground::ASSUMED);
    said.assumed
        .extend(terrain::assumed(&[heights.as_deref()], &landed_on));
    Ok(Aim {
        basis: basis(plan, input, &limits, options, &[&map], &landed_on, said),
        site: plan.site.position,
        target: name_of(target),
        restricted: may_launch.restriction(),
        rows,
    })
}

/// What is to be said of a search; places to launch from differ in height: of one it is said where that is from.
fn add_search(said: &mut Said, mut more: Said) {
    let of_height = |a: &Assumption| matches!(a, Assumption::SiteElevation { .. });
    if said.assumed.iter().any(of_height) {
        more.assumed.retain(|a| !of_height(a));
    }
    said.add(more);
}

fn the_target(file: &Path, near: Position) -> Result<Target> {
    // As wide as regions are: where the target lies is not known before it is read.
    let region = Region::around(near, FARTHEST_M);
    let layer = read(file, &LayerRequest::new(Kind::LandIn), &region)?;
    let corners: Vec<Normal> = layer
        .areas
        .iter()
        .flat_map(|area| area.rings.iter().flatten())
        .filter_map(|&[lon, lat]| Position::new(lat, crate::geodesy::wrap_longitude(lon)))
        .map(Position::normal)
        .collect();
    let Some(around) = Region::holding(&corners, 0.0) else {
        let found = "no area within 500 km of the plan's site";
        return Err(Fault::new(file.display().to_string(), found, "a target in reach").into());
    };
    Ok(Target {
        center: around.plane.center(),
        reach_m: around.reach_m,
    })
}

/// One release from a place.
fn fly_from(
    plan: &Plan,
    flown_in: FlownIn,
    site: Position,
    time: Timestamp,
    options: Options,
) -> Result<FlownRelease> {
    let heights: Option<&Terrain> = flown_in.ground.map(Arc::as_ref);
    let plan = Candidate::at(site).plan(plan, heights);
    let tried = fly_releases(&plan, flown_in, &[time], options, || {})?;
    let one = tried.into_iter().next().map(|(_, flown)| flown);
    one.unwrap_or_else(|| {
        Err(Error::CannotDo {
            why: "the release was not flown".into(),
            remedy: "expected winds for it".into(),
        })
    })
}

/// The site from which the middle of the landings is the middle of the target.
fn search(
    plan: &Plan,
    flown_in: FlownIn,
    target: &Target,
    time: Timestamp,
    options: Options,
) -> Result<Aimed> {
    let few = Options {
        draws: options.draws.min(SEARCH_DRAWS),
        ..options
    };
    // From the plan's site, or where it lies outside the winds from the target.
    let mut site = plan.site.position;
    let mut flown = fly_from(plan, flown_in, site, time, few).or_else(|_| {
        site = target.center;
        fly_from(plan, flown_in, site, time, few)
    })?;
    // The drift changes with the site only a little, so each step leaves much less than the one
    // before.
    for _ in 0..MOST_STEPS {
        let off_m = flown.center.distance_m(target.center);
        if off_m < NEAR_M {
            break;
        }
        site = site.destination(flown.center.azimuth_deg(target.center), off_m);
        flown = fly_from(plan, flown_in, site, time, few)?;
    }
    let away = flown
        .landings
        .iter()
        .map(|l| flown.center.distance_m(l.place.position()));
    let spread_m = away.fold(0.0, f64::max);
    Ok(Aimed {
        site,
        flown,
        spread_m,
    })
}

/// Places around all that matters: sites, grids, the target, the landings from its edges.
fn surroundings(aimed: &[Result<Aimed>], target: &Target) -> Vec<Normal> {
    let mut places = Vec::new();
    let mut around = |center: Position, reach_m: f64| {
        let sides = [0.0, 90.0, 180.0, 270.0];
        places.extend(sides.map(|azimuth| center.destination(azimuth, reach_m).normal()));
    };
    for aimed in aimed.iter().flatten() {
        around(aimed.site, target.reach_m + aimed.spread_m);
        // From the edge of the grid landings reach as far beyond it as they are spread.
        around(target.center, target.reach_m + 2.0 * aimed.spread_m);
    }
    around(target.center, target.reach_m);
    places
}

/// Where one may launch, ready to be asked.
struct MayLaunch<'a> {
    areas: Option<GroundMap>,
    roads: Option<&'a GroundMap>,
    water: &'a Water<'a>,
}

impl<'a> MayLaunch<'a> {
    fn new(allowed: &Allowed, map: &'a GroundMap, water: &'a Water<'a>) -> Result<MayLaunch<'a>> {
        let region = map.region();
        let layers: Result<Vec<Layer>> = allowed
            .launch_in
            .iter()
            .map(|file| read(file, &LayerRequest::new(Kind::LandIn), region))
            .collect();
        let layers = layers?;
        let areas = match layers.is_empty() {
            true => None,
            false => Some(GroundMap::new(*region, &layers)?),
        };
        if allowed.on_roads && map.way_to_road(region.plane.center().normal()).is_none() {
            return Err(Error::CannotDo {
                why: "there is no road around the places to launch from".into(),
                remedy: "expected [ground] roads or osm in the plan, for the region upwind of the target".into(),
            });
        }
        Ok(MayLaunch {
            areas,
            roads: allowed.on_roads.then_some(map),
            water,
        })
    }

    fn restriction(&self) -> LaunchesIn {
        match (self.areas.is_some(), self.roads.is_some()) {
            (true, true) => LaunchesIn::RoadsInAreas,
            (true, false) => LaunchesIn::Areas,
            (false, true) => LaunchesIn::Roads,
            (false, false) => LaunchesIn::Anywhere,
        }
    }

    /// The place to launch from within `half_m` to each side of a place, `dry` only on land; `None` where there
    /// is none.
    fn near(&self, place: Position, half_m: f64, dry: bool) -> Option<Position> {
        let mut launch = place;
        if let Some(roads) = self.roads {
            let (away_m, azimuth_deg) = roads.way_to_road(place.normal())?;
            // The road may pass anywhere within the place's square: to its corner.
            if away_m > half_m * std::f64::consts::SQRT_2 {
                return None;
            }
            launch = place.destination(azimuth_deg, away_m);
        } else if dry && self.water.at(place.normal()).is_some() {
            // A road is on land, or a bridge; coarse shores might say otherwise.
            return None;
        }
        let areas = self.areas.as_ref();
        let inside = areas.is_none_or(|map| map.is_in(Class::LandIn, launch.normal()));
        inside.then_some(launch)
    }
}

/// A place of the grid: east and north of its middle, m; where to launch there; the probability.
struct GridPlace {
    offset_m: [f64; 2],
    launch: Position,
    probability: f64,
}

/// The probability of hitting the target from each place of a grid where one may launch: on land, but of areas
/// that lie in water all of them, as shores are coarse and whoever drew them knows better.
fn probabilities(
    aimed: &Aimed,
    cell_m: f64,
    map: &GroundMap,
    may_launch: &MayLaunch,
) -> Vec<GridPlace> {
    let offsets: Vec<[f64; 2]> = (-HALF_GRID..=HALF_GRID)
        .flat_map(|j| (-HALF_GRID..=HALF_GRID).map(move |i| [i, j]))
        .map(|offset| offset.map(|k| f64::from(k) * cell_m))
        .collect();
    let landings = &aimed.flown.landings;
    let of = |offset_m: [f64; 2], dry: bool| -> Option<GridPlace> {
        let [east, north] = offset_m;
        let azimuth = east.atan2(north).to_degrees();
        let place = aimed.site.destination(azimuth, east.hypot(north));
        let launch = may_launch.near(place, 0.5 * cell_m, dry)?;
        let hit = |place: Normal| map.is_in(Class::LandIn, place.carried(aimed.site, launch));
        let hits = landings.iter().filter(|l| hit(l.place)).count();
        Some(GridPlace {
            offset_m,
            launch,
            probability: hits as f64 / landings.len().max(1) as f64,
        })
    };
    let all = |dry: bool| -> Vec<GridPlace> {
        let places = offsets.par_iter().filter_map(|&offset_m| of(offset_m, dry));
        places.collect()
    };
    let on_land = all(true);
    match on_land.is_empty() && may_launch.areas.is_some() {
        true => all(false),
        false => on_land,
    }
}

/// The best place; of equal ones that nearest to the middle of the grid.
fn best(grid: &[GridPlace]) -> Option<&GridPlace> {
    let away = |p: &GridPlace| p.offset_m[0].hypot(p.offset_m[1]);
    // From where nothing hits is no place to launch, however near to the middle.
    grid.iter().filter(|p| p.probability > 0.0).max_by(|a, b| {
        let by_probability = a.probability.total_cmp(&b.probability);
        by_probability.then(away(b).total_cmp(&away(a)))
    })
}

/// The squares of the grid with at least a probability, joined.
fn region(grid: &[GridPlace], least: f64, cell_m: f64, site: Position) -> Result<LaunchRegion> {
    let half = 0.5 * cell_m;
    // Squares around the places, not a hull: where one may not launch stays a hole.
    let squares: Vec<geo::Polygon> = grid
        .iter()
        .filter(|p| p.probability >= least)
        .map(|p| {
            let [x, y] = p.offset_m;
            Rect::new((x - half, y - half), (x + half, y + half)).to_polygon()
        })
        .collect();
    let joined: MultiPolygon = unary_union(&squares);
    Ok(LaunchRegion {
        probability: least,
        polygons: polygons_on_ground(&joined, &LocalFrame::new(site))?,
    })
}

/// All that the rows share.
struct Range<'a> {
    plan: &'a Plan,
    flown_in: FlownIn<'a>,
    target: &'a Target,
    map: &'a GroundMap,
    may_launch: &'a MayLaunch<'a>,
    judge: &'a Judge<'a>,
    options: Options,
}

impl Range<'_> {
    fn row(&self, time: Timestamp, aimed: Result<Aimed>) -> Result<AimRow> {
        let aimed = match aimed {
            Ok(aimed) => aimed,
            Err(error) => return Ok(AimRow::without(unknown_by(time, &error))),
        };
        // From beyond the edge of such a grid no landing can be in the target.
        let cell_m = (self.target.reach_m + aimed.spread_m) / f64::from(HALF_GRID);
        let grid = probabilities(&aimed, cell_m, self.map, self.may_launch);
        let Some(best) = best(&grid) else {
            // By the flights of the search: from no place is there a reason to fly all.
            let mut row = self.judge.flown_row(aimed.site, &aimed.flown)?;
            // Where the winds do not tell, they do not tell either that the target is missed; that there is no
            // place to launch from holds in any wind.
            match grid.is_empty() {
                true => (row.verdict, row.reason) = (Verdict::BeyondLimit, Reason::NoLaunchPlace),
                false if row.verdict == Verdict::Unknown => {}
                false => (row.verdict, row.reason) = (Verdict::BeyondLimit, Reason::TargetMissed),
            }
            return Ok(AimRow::without(row));
        };
        let regions: Result<Vec<LaunchRegion>> = SHARES
            .iter()
            .map(|share| region(&grid, share * best.probability, cell_m, aimed.site))
            .collect();
        // Flown anew with all draws: the best of many by few draws was lucky as well.
        let flown = fly_from(self.plan, self.flown_in, best.launch, time, self.options);
        let flown = match flown {
            Ok(flown) => flown,
            Err(error) => return Ok(AimRow::without(unknown_by(time, &error))),
        };
        let row = self.judge.flown_row(best.launch, &flown)?;
        let probability = row.day.as_ref().and_then(|d| d.land_in).unwrap_or(0.0);
        let landed = flown.landings.len().max(1) as f64;
        Ok(AimRow {
            launch: Some(LaunchPlace {
                position: best.launch,
                probability,
                standard_error: (probability * (1.0 - probability) / landed).sqrt(),
                distance_m: self.plan.site.position.distance_m(best.launch),
                azimuth_deg: self.plan.site.position.azimuth_deg(best.launch),
            }),
            regions: regions?,
            row,
            rank: None,
        })
    }
}

/// Numbers the rows by probability, the highest first, then by time; unknown ones have no rank.
fn rank(rows: &mut [AimRow]) {
    let mut order: Vec<usize> = (0..rows.len()).collect();
    let known = |row: &AimRow| row.row.verdict != Verdict::Unknown && row.launch.is_some();
    order.retain(|&i| known(&rows[i]));
    order.sort_by(|&a, &b| {
        let p = |i: usize| rows[i].probability();
        p(b).total_cmp(&p(a))
            .then(rows[a].row.release.cmp(&rows[b].row.release))
    });
    for (rank, i) in order.into_iter().enumerate() {
        rows[i].rank = Some(rank + 1);
    }
}
