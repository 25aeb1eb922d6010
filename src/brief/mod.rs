//! What the crew needs besides the zone: where to wait, what changes the answer, what it hits, how
//! far the tracker is heard, what remains when it goes quiet.

pub mod answer;
mod changes;
pub mod ground;
pub(crate) mod heights;
mod quiet;
pub mod radio;
mod timeline;
pub mod waiting;

use std::sync::Arc;

use jiff::Timestamp;

use self::answer::MapGround;
pub use self::answer::{Brief, Wait};
use self::ground::BriefGround;
use crate::choice;
use crate::choice::verdict::Limits;
use crate::clock::after;
use crate::error::Result;
use crate::files::name_of;
use crate::geodesy::Normal;
use crate::ground::hits::Share;
use crate::ground::layers::Layer;
use crate::ground::map::GroundMap;
use crate::ground::region::Region;
use crate::ground::terrain::Terrain;
use crate::ground::towns::towns;
use crate::ground::water::Water;
use crate::notes::{Assumption, Note};
use crate::plan::{LimitsPlan, Plan};
use crate::spread::run::quantiles;
use crate::winds::Winds;
use crate::zone::aloft::Continuation;
use crate::zone::{Options, Prediction, Zone, predict_and_keep};

/// Heights that are round to the people who read of them, m above mean sea level.
#[derive(Debug, Clone, PartialEq)]
pub struct RoundHeights {
    /// For the times at which the planned flight passes them.
    pub passed_m: Vec<f64>,
    /// On the way up, for what remains when the tracker goes quiet there.
    pub rising_m: Vec<f64>,
    /// On the way down, likewise.
    pub falling_m: Vec<f64>,
}

/// Predicts the zone of a plan and finds all that its briefing tells, some of it at `heights`. `made` is
/// the time it gives as that of its making; `flown` is called after each draw.
///
/// # Errors
///
/// As [`predict_and_keep`], and when a file of the ground cannot be read.
pub fn brief(
    plan: &Plan,
    input: &Winds,
    options: Options,
    heights: &RoundHeights,
    made: Timestamp,
    flown: impl Fn() + Sync,
) -> Result<Brief> {
    let (prediction, kept) = predict_and_keep(plan, input, options, flown)?;
    brief_of(plan, input, options, heights, made, (prediction, &kept))
}

/// [`brief`] of a zone that is predicted already.
///
/// # Errors
///
/// When a file of the ground cannot be read.
pub fn brief_of(
    plan: &Plan,
    input: &Winds,
    options: Options,
    heights: &RoundHeights,
    made: Timestamp,
    (prediction, kept): (Prediction, &Continuation),
) -> Result<Brief> {
    let (mut zone, mut facts) = (prediction.zone, prediction.facts);
    // A briefing goes to people who need not know in which folders its maker keeps files.
    for file in &mut facts.wind.files {
        *file = name_of(&*file);
    }
    let landings = places(kept);
    // Three that need nothing of each other, the first of which waits for files.
    let ((ground, changes), quiet) = rayon::join(
        || {
            rayon::join(
                || BriefGround::new(plan, &zone, &landings),
                || changes::changes(plan, input, options),
            )
        },
        || quiet::quiet(kept, &zone.track, heights, options),
    );
    let ground = ground?;
    let water = Water::of(&ground.map)?;
    let wait = wait(plan, &water, &ground.layers, &mut zone, kept)?;
    let (filling, timeline) = timeline::events(plan, &zone, kept.landings());
    let of_radio = Assumption::RadioLineOfSight {
        with_terrain: kept.ground().is_some(),
        antenna_m: radio::ANTENNA_M,
    };
    let assumptions = filling
        .into_iter()
        .chain(choice::ground::ON_GROUND)
        .chain([of_radio, Assumption::HeardOnPlannedFlight]);
    zone.assumptions.extend(assumptions);
    Ok(Brief {
        wait,
        load_kg: (!plan.stack.load.is_empty()).then(|| plan.stack.load_kg()),
        suspension_m: suspension_m(plan),
        timezone: plan.timezone.clone(),
        made,
        timeline,
        landing_times_s: kept.landings().iter().map(|l| l.time_s).collect(),
        changes,
        hazards: ground.hazards(&water, &landings),
        heights: heights::rows(&zone.track, &heights.passed_m),
        quiet: quiet?,
        near: ground.near(&zone)?,
        contacts: plan.brief.contacts.clone(),
        remarks: plan.brief.notes.clone(),
        sources: choice::ground::sources(&plan.ground, &[&ground.map], &facts.landed_on),
        // This takes the ground apart, so it comes after all that is asked of it.
        ground: ground.shown(kept.ground()),
        zone,
        facts,
    })
}

/// Where to wait for the landing of a zone that is predicted already, for who wants no whole briefing; the
/// zone is noted to lie in water if it does.
///
/// # Errors
///
/// When a file of the ground cannot be read.
pub fn where_to_wait(plan: &Plan, zone: &mut Zone, kept: &Continuation) -> Result<Wait> {
    let region = waiting_region(plan, zone, kept);
    // The towns, which places are told by, are decoded meanwhile.
    let (ground, _) = rayon::join(|| WaitingGround::new(plan, region), towns);
    ground?.where_to_wait(plan, zone, kept)
}

/// The region in which places to wait are looked for.
pub fn waiting_region(plan: &Plan, zone: &Zone, kept: &Continuation) -> Region {
    ground::region(plan, zone, &places(kept))
}

/// The ground on which places to wait are looked for, for as many zones as lie in its region.
pub struct WaitingGround {
    map: GroundMap,
    layers: Vec<Layer>,
}

impl WaitingGround {
    /// Reads a plan's ground within a region.
    ///
    /// # Errors
    ///
    /// When a file of the ground cannot be read.
    pub fn new(plan: &Plan, region: Region) -> Result<WaitingGround> {
        let layers = choice::ground::layers(&plan.ground, &region)?;
        let map = GroundMap::new(region, &layers)?;
        Ok(WaitingGround { map, layers })
    }

    /// The region it was read in.
    pub fn region(&self) -> &Region {
        self.map.region()
    }

    /// Where to wait for the landing of a plan's zone in its region; the zone is noted to lie in water if
    /// it does.
    ///
    /// # Errors
    ///
    /// When the data in the program are damaged.
    pub fn where_to_wait(&self, plan: &Plan, zone: &mut Zone, kept: &Continuation) -> Result<Wait> {
        wait(plan, &Water::of(&self.map)?, &self.layers, zone, kept)
    }
}

/// Where to wait for the landings of a zone, and from when: 19 of 20 balloons burst later. Too many landings
/// in water are noted in the zone.
fn wait(
    plan: &Plan,
    water: &Water,
    layers: &[Layer],
    zone: &mut Zone,
    kept: &Continuation,
) -> Result<Wait> {
    let landings = places(kept);
    // Where no zone is given many draws left the winds, and those that stayed tell nothing of them.
    if zone.outer().is_some() {
        let in_water = water.shares(&landings).any;
        zone.notes.extend(wet_landings(&plan.limits, in_water));
    }
    let bursts_s = quantiles(kept.landings(), |l| l.burst_s);
    Ok(Wait {
        points: waiting::points(water, layers, zone, &landings, kept.ground())?,
        from: after(kept.release(), bursts_s.low),
        layer_notes: water.map().notes().to_vec(),
    })
}

/// What to know of landings in water, where there are more than a plan allows.
fn wet_landings(limits: &LimitsPlan, in_water: Share) -> Option<Note> {
    let limit_share = Limits::of(limits, &mut Vec::new()).water_probability;
    (in_water.share() > limit_share).then(|| Note::LandsInWater {
        share: in_water.share(),
        limit_share,
        limit_assumed: limits.water_probability.is_none(),
    })
}

/// What a map shows of a plan's ground within a region.
///
/// # Errors
///
/// When a file of the ground cannot be read.
pub fn map_ground(plan: &Plan, region: Region) -> Result<MapGround> {
    let terrain = match plan.ground.terrain.as_slice() {
        [] => None,
        files => Some(Arc::new(Terrain::open(files, &region)?)),
    };
    Ok(BriefGround::within(plan, region)?.shown(terrain.as_ref()))
}

/// Where the draws come down.
fn places(kept: &Continuation) -> Vec<Normal> {
    kept.landings().iter().map(|l| l.place).collect()
}

/// The lengths of the lines among the load, m.
fn suspension_m(plan: &Plan) -> Option<f64> {
    let lengths = plan.stack.load.iter().filter_map(|item| item.length_m);
    lengths.reduce(|sum, length| sum + length)
}
