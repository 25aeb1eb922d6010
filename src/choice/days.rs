//! Release times over some days, each flown with the plan's spread, judged and ranked.

use jiff::Timestamp;

use super::answer::{Days, ReleaseRow};
use super::basis::basis;
use super::ground;
use super::judge::{Judge, assumed_at_ground, rank};
use super::verdict::Limits;
use super::why::between_releases;
use crate::error::Result;
use crate::geodesy::Normal;
use crate::ground::airspace::{default_cylinders, highest_top_m};
use crate::ground::site::check;
use crate::notes::Assumption;
use crate::plan::Plan;
use crate::spread::run::Landing;
use crate::winds::Winds;
use crate::zone::releases::{FlownIn, flown_from_m, fly_releases};
use crate::zone::said::Said;
use crate::zone::{Options, fits, terrain};

/// Flies, judges and ranks releases. `done` is called after each.
///
/// # Errors
///
/// When no release can be tried at all, or a file of the ground cannot be read.
pub fn days(
    plan: &Plan,
    input: &Winds,
    times: &[Timestamp],
    options: Options,
    done: impl Fn() + Sync,
) -> Result<Days> {
    let mut said = Said::begun(plan);
    let limits = Limits::of(&plan.limits, &mut said.assumed);
    let ground = terrain::far_around(&plan.ground, input, plan.site.position)?;
    let cylinders = default_cylinders();
    let flown_in = FlownIn {
        winds: input,
        ground: ground.as_ref(),
        low_m: highest_top_m(plan.site.position, terrain::FAR_M, &cylinders)?,
    };
    let tried = fly_releases(plan, flown_in, times, options, done)?;
    let landings: Vec<Landing> = tried
        .iter()
        .filter_map(|(_, flown)| flown.as_ref().ok())
        .flat_map(|flown| flown.landings.iter().copied())
        .collect();
    let places: Vec<Normal> = landings.iter().map(|l| l.place).collect();
    let map = ground::map(&plan.ground, plan.site.position, &places)?;
    let judge = Judge::new(plan, &map, &cylinders, limits)?;
    let rows: Result<Vec<ReleaseRow>> = tried
        .iter()
        .map(|t| judge.row(plan.site.position, t))
        .collect();
    let mut rows = rows?;
    rank(&mut rows);
    // Of all releases together: one line for each source, not one for each release.
    let landed_on = terrain::sources(ground.as_deref(), &landings);
    said.add(Said::of(&tried));
    said.assumed.extend(assumed_at_ground(rows.iter()));
    said.assumed.extend(ground::ASSUMED);
    said.assumed
        .extend(terrain::assumed(&[ground.as_deref()], &landed_on));
    // Of an elevation that was given: one that was looked up is that of the ground.
    let off_ground = plan
        .site
        .elevation_m
        .and_then(|site_m| terrain::off_ground(ground.as_deref(), plan.site.position, site_m));
    said.assumed
        .extend(off_ground.map(Assumption::ReleaseOffGround));
    said.notes
        .extend(fits::site(plan, ground.as_deref(), flown_from_m(&tried))?);
    Ok(Days {
        basis: basis(plan, input, &limits, options, &[&map], &landed_on, said),
        site: plan.site.position,
        why_best: between_releases(&rows, options.draws),
        rows,
        site_check: check(&map, plan.site.position, &ground::site_limits(&plan.ground)),
    })
}
