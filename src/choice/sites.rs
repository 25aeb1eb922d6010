//! Candidate sites compared: each flown at each release time, judged and ranked.
//!
//! Drift is nearly the same for neighbouring sites, so where there are many, flights from their
//! middle are carried to each for a first pass, and only the best are flown themselves. Sites far from
//! each other are not neighbours: each group of them has a middle and a ground of its own.

use std::sync::Arc;

use jiff::Timestamp;

use super::answer::{ComparedSite, ReleaseRow, Sites, Verdict};
use super::basis::basis;
use super::candidates::{Candidate, assumed_of_heights};
use super::ground;
use super::judge::{Judge, assumed_at_ground, better_first, rank, unknown_by};
use super::reason::Reason;
use super::together::{Together, group_of, together};
use super::verdict::Limits;
use super::why::between_sites;
use crate::error::Result;
use crate::geodesy::{Normal, Position};
use crate::ground::airspace::{Cylinder, default_cylinders, highest_top_m};
use crate::ground::map::GroundMap;
use crate::ground::region::Region;
use crate::ground::site::{SiteVerdict, check};
use crate::ground::terrain::Terrain;
use crate::notes::Assumption;
use crate::plan::Plan;
use crate::spread::run::Landing;
use crate::winds::Winds;
use crate::zone::releases::{FlownIn, FlownRelease, TriedRelease, flown_from_m, fly_releases};
use crate::zone::said::Said;
use crate::zone::{Options, terrain};

/// Flights from the middle of all candidates for each release of the first pass.
const FIRST_PASS_DRAWS: u64 = 200;
/// Where no flight tells how far landings are, they are looked for so far from a site, m.
const UNKNOWN_DRIFT_M: f64 = 150_000.0;

/// Compares candidates: at most `fully` of them are flown themselves, the others are judged by the
/// first pass. `done` is called after each site that is flown.
///
/// # Errors
///
/// When a file of the ground cannot be read or the winds cannot be decoded.
pub fn sites(
    plan: &Plan,
    input: &Winds,
    candidates: &[Candidate],
    times: &[Timestamp],
    fully: usize,
    options: Options,
    done: impl Fn() + Sync,
) -> Result<Sites> {
    let mut said = Said::begun(plan);
    let limits = Limits::of(&plan.limits, &mut said.assumed);
    let places: Vec<Position> = candidates.iter().map(|c| c.position).collect();
    let cylinders = default_cylinders();
    let those = together(&places);
    let groups: Vec<Group> = those
        .iter()
        .map(|those| Group::of(plan, input, &places, &cylinders, those, times, options))
        .collect::<Result<_>>()?;
    let heights: Vec<Option<&Terrain>> = groups
        .iter()
        .map(|group| group.heights.as_deref())
        .collect();
    terrain::refuse_elsewhere(&plan.ground, &heights)?;
    let regions: Vec<Region> = groups.iter().map(|group| group.region).collect();
    let maps = ground::maps(&plan.ground, &regions)?;
    let group_of = group_of(&those);
    let judges: Vec<Judge> = maps
        .iter()
        .map(|map| Judge::new(plan, map, &cylinders, limits))
        .collect::<Result<_>>()?;

    let mut order: Vec<(usize, Option<ReleaseRow>)> =
        (0..candidates.len()).map(|i| (i, None)).collect();
    // Where all are flown themselves no first order is needed.
    if candidates.len() > fully {
        for (i, row) in &mut order {
            let (group, judge) = (&groups[group_of[*i]], &judges[group_of[*i]]);
            *row = best_of_first_pass(judge, &group.first, group.middle, places[*i])?;
        }
        // Equal ones stay in the order of the file.
        order.sort_by(|a, b| by_row(a.1.as_ref(), b.1.as_ref()).then(a.0.cmp(&b.0)));
        said.assumed.push(Assumption::CarriedOver {
            candidates: candidates.len(),
            flown: fully,
        });
    }
    let mut landings: Vec<Vec<Landing>> = vec![Vec::new(); groups.len()];
    let mut compared = Vec::new();
    // One site after the other: the releases of each share all cores, and its flights are let go.
    for (place, (i, carried)) in order.into_iter().enumerate() {
        let candidate = &candidates[i];
        let (group, judge) = (&groups[group_of[i]], &judges[group_of[i]]);
        let flown = place < fully;
        let rows = if flown {
            let from_there = candidate.plan(plan, group.heights.as_deref());
            let tried = fly_releases(&from_there, group.flown_in(input), times, options, || {})?;
            done();
            // One release's landings tell where the heights come from as well as all.
            let first = tried.iter().find_map(|(_, flown)| flown.as_ref().ok());
            let its = first
                .iter()
                .flat_map(|flown| flown.landings.iter().copied());
            landings[group_of[i]].extend(its);
            said.add(of_flown(&tried, candidate));
            let unfit = candidate.unfit(plan, group.heights.as_deref(), flown_from_m(&tried))?;
            unfit.into_iter().for_each(|note| said.note(note));
            judged(judge, candidate.position, &tried)?
        } else {
            carried.into_iter().collect()
        };
        compared.push(site(plan, candidate, flown, rows, &maps[group_of[i]]));
    }
    rank_sites(&mut compared);
    let heights_at = |i: usize| groups[group_of[i]].heights.as_deref();
    let numbered = || candidates.iter().enumerate();
    said.assumed.extend(assumed_of_heights(
        plan,
        numbered().map(|(i, candidate)| (candidate, heights_at(i))),
    ));
    let landed = landings.iter().map(Vec::as_slice);
    let landed_on = terrain::sources_of(heights.iter().copied().zip(landed));
    let rows = compared.iter().flat_map(|s| &s.rows);
    said.assumed.extend(assumed_at_ground(rows));
    said.assumed.extend(ground::ASSUMED);
    said.assumed.extend(terrain::assumed(&heights, &landed_on));
    let off_ground = numbered().filter_map(|(i, candidate)| {
        let (place, site_m) = (candidate.position, candidate.elevation_m?);
        let off_ground = terrain::off_ground(heights_at(i), place, site_m)?;
        Some(candidate.by_name(Assumption::ReleaseOffGround(off_ground)))
    });
    said.assumed.extend(off_ground);
    let maps: Vec<&GroundMap> = maps.iter().collect();
    Ok(Sites {
        basis: basis(plan, input, &limits, options, &maps, &landed_on, said),
        why_best: between_sites(&compared, options.draws),
        sites: compared,
        releases: times.len(),
    })
}

/// What is to be said of the flights from a candidate: of its elevation with its name.
fn of_flown(tried: &[TriedRelease], candidate: &Candidate) -> Said {
    let mut said = Said::of(tried);
    for assumed in &mut said.assumed {
        if matches!(assumed, Assumption::SiteElevation { .. }) {
            *assumed = candidate.by_name(assumed.clone());
        }
    }
    said
}

/// What candidates that lie together share.
struct Group {
    middle: Position,
    heights: Option<Arc<Terrain>>,
    /// Below which altitude their flights may pass near airports, m above mean sea level.
    low_m: Option<f64>,
    /// Flights from their middle.
    first: Vec<TriedRelease>,
    /// Of them and their landings.
    region: Region,
}

impl Group {
    fn of(
        plan: &Plan,
        input: &Winds,
        places: &[Position],
        cylinders: &[Cylinder],
        those: &Together,
        times: &[Timestamp],
        options: Options,
    ) -> Result<Group> {
        let middle = those.middle;
        let reach_m = those.reach_m + terrain::FAR_M;
        let heights = terrain::around(&plan.ground, Some(input), middle, reach_m)?;
        let flown_in = FlownIn {
            winds: input,
            ground: heights.as_ref(),
            low_m: highest_top_m(middle, reach_m, cylinders)?,
        };
        // Also where all are flown themselves: it tells how far around the ground is needed.
        let first = first_pass(plan, flown_in, middle, times, options)?;
        let places: Vec<Position> = those.numbers.iter().map(|&i| places[i]).collect();
        Ok(Group {
            middle,
            region: region(&places, middle, &first),
            low_m: flown_in.low_m,
            first,
            heights,
        })
    }

    fn flown_in<'a>(&'a self, winds: &'a Winds) -> FlownIn<'a> {
        FlownIn {
            winds,
            ground: self.heights.as_ref(),
            low_m: self.low_m,
        }
    }
}

fn first_pass(
    plan: &Plan,
    flown_in: FlownIn,
    middle: Position,
    times: &[Timestamp],
    options: Options,
) -> Result<Vec<TriedRelease>> {
    let few = Options {
        draws: options.draws.min(FIRST_PASS_DRAWS),
        ..options
    };
    let plan = Candidate::at(middle).plan(plan, flown_in.ground.map(AsRef::as_ref));
    fly_releases(&plan, flown_in, times, few, || {})
}

/// The region of sites and their landings.
fn region(sites: &[Position], middle: Position, first: &[TriedRelease]) -> Region {
    let flown: Vec<&FlownRelease> = first.iter().filter_map(|t| t.1.as_ref().ok()).collect();
    let farthest = flown
        .iter()
        .flat_map(|f| f.landings.iter().map(|l| l.place))
        .chain(flown.iter().map(|f| f.center.normal()));
    let mut landings: Vec<Normal> = farthest.collect();
    if landings.is_empty() {
        let sides = [0.0, 90.0, 180.0, 270.0];
        let around = sides.map(|azimuth| middle.destination(azimuth, UNKNOWN_DRIFT_M).normal());
        landings.extend(around);
    }
    // The outermost landings of the middle, carried to the outermost sites, hold all others.
    let corners = outermost(&landings);
    let places: Vec<Normal> = sites
        .iter()
        .flat_map(|&site| {
            let there = corners.iter().map(move |l| l.carried(middle, site));
            there.chain([site.normal()])
        })
        .collect();
    ground::region(middle, &places)
}

/// Of some places those that lie farthest in one of 26 directions.
fn outermost(places: &[Normal]) -> Vec<Normal> {
    let steps = [-1.0, 0.0, 1.0];
    let mut found = Vec::new();
    for x in steps {
        for y in steps {
            for z in steps {
                // Of normals: in degrees a pole or the antimeridian would be in the way.
                let along = |p: &Normal| x * p.0[0] + y * p.0[1] + z * p.0[2];
                found.extend(
                    places
                        .iter()
                        .copied()
                        .max_by(|a, b| along(a).total_cmp(&along(b))),
                );
            }
        }
    }
    found
}

/// The best release from a site, by flights from the middle carried there.
fn best_of_first_pass(
    judge: &Judge,
    first: &[TriedRelease],
    middle: Position,
    there: Position,
) -> Result<Option<ReleaseRow>> {
    let mut best: Option<ReleaseRow> = None;
    for (release, flown) in first {
        let row = match flown {
            Ok(flown) => judge.flown_row(there, &flown.carried(middle, there))?,
            Err(error) => unknown_by(*release, error),
        };
        if best.as_ref().is_none_or(|b| better_first(&row, b).is_lt()) {
            best = Some(row);
        }
    }
    Ok(best)
}

fn by_row(a: Option<&ReleaseRow>, b: Option<&ReleaseRow>) -> std::cmp::Ordering {
    match (a, b) {
        (Some(a), Some(b)) => better_first(a, b),
        // Where no release was tried there is nothing to judge by: it comes last.
        (a, b) => b.is_some().cmp(&a.is_some()),
    }
}

fn judged(judge: &Judge, place: Position, tried: &[TriedRelease]) -> Result<Vec<ReleaseRow>> {
    let rows: Result<Vec<ReleaseRow>> = tried.iter().map(|t| judge.row(place, t)).collect();
    let mut rows = rows?;
    rank(&mut rows);
    Ok(rows)
}

/// What is thought of a site: its best release, but no better than near a limit where something is
/// nearer than it should be.
fn site(
    plan: &Plan,
    candidate: &Candidate,
    flown: bool,
    rows: Vec<ReleaseRow>,
    map: &GroundMap,
) -> ComparedSite {
    let check = check(map, candidate.position, &ground::site_limits(&plan.ground));
    let best = (0..rows.len()).min_by(|&a, &b| better_first(&rows[a], &rows[b]));
    let of_best = best.map(|i| (rows[i].verdict, rows[i].reason.clone()));
    let (verdict, reason) = of_best.unwrap_or((Verdict::Unknown, Reason::NothingTried));
    let too_near = check.iter().find(|f| f.verdict == SiteVerdict::TooNear);
    let (verdict, reason) = match (verdict, too_near) {
        // What is nearer than it should be is a matter of judgement: near a limit, not beyond it.
        (Verdict::WithinLimits, Some(finding)) => (
            Verdict::NearLimit,
            Reason::TooNearSite {
                finding: finding.clone(),
            },
        ),
        other => (other.0, reason),
    };
    ComparedSite {
        name: candidate.name.clone(),
        position: candidate.position,
        elevation_m: candidate.elevation_m,
        rank: None,
        verdict,
        reason,
        flown,
        best,
        rows,
        check,
    }
}

/// Numbers the sites, the best first, and puts them in that order: by verdict, then by the best
/// release, then by how many releases are as good; what was not flown itself comes after.
fn rank_sites(sites: &mut [ComparedSite]) {
    let best = |site: &ComparedSite| site.best.and_then(|i| site.rows.get(i).cloned());
    // Stable: equal ones stay in the order of the first pass, or else of the file.
    sites.sort_by(|a, b| {
        let strain = |s: &ComparedSite| best(s).map_or(f64::INFINITY, |row| row.strain);
        let good = |s: &ComparedSite| {
            s.rows
                .iter()
                .filter(|r| r.verdict == Verdict::WithinLimits)
                .count()
        };
        b.flown
            .cmp(&a.flown)
            .then(a.verdict.cmp(&b.verdict))
            .then(strain(a).total_cmp(&strain(b)))
            .then(good(b).cmp(&good(a)))
    });
    for (rank, site) in sites.iter_mut().enumerate() {
        // Those judged by carried flights alone would be ranked by less than the others.
        let known = site.flown && site.verdict != Verdict::Unknown;
        site.rank = known.then_some(rank + 1);
    }
}
