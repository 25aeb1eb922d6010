//! The heights that flights come down on: the plan's files, where these have none the forecast's
//! own ground, where that has none the site's elevation.

use std::sync::Arc;

use super::facts::LandedOn;
use crate::error::{Fault, Result};
use crate::files::name_of;
use crate::flight::field::FIELD_LEG_LAYERS;
use crate::geodesy::Position;
use crate::ground::region::Region;
use crate::ground::terrain::{Heights, Raster, Terrain};
use crate::notes::{Assumption, OffGround};
use crate::plan::{GroundPlan, Site};
use crate::sources::grid::archive::Archive;
use crate::spread::run::Landing;
use crate::wind::column::Column;
use crate::winds::Winds;

/// Heights are kept so far around a site, m: farther than most flights drift.
pub const FAR_M: f64 = 300_000.0;
/// The forecast's ground as a source of heights.
pub const OF_FORECAST: &str = "the forecast's own ground";
/// A release farther than this above or below the ground is reported, m.
const OFF_GROUND_M: f64 = 50.0;

/// What is known of the heights within a distance of a place; `None` where that is nothing.
///
/// # Errors
///
/// When a file of the plan or the forecast's ground cannot be read.
pub fn around(
    plan: &GroundPlan,
    input: Option<&Winds>,
    center: Position,
    reach_m: f64,
) -> Result<Option<Arc<Terrain>>> {
    let region = Region::around(center, reach_m);
    let mut terrain = Terrain::open(&plan.terrain, &region)?;
    if let Some(Winds::Forecast(archive)) = input
        && let Some(raster) = of_forecast(archive, center, reach_m)?
    {
        terrain = terrain.or_else(raster);
    }
    // Files that have nothing around the site are as good as none.
    Ok(terrain.highest_m().map(|_| Arc::new(terrain)))
}

/// As [`around`], as far as [`FAR_M`], where files that have no height there are refused.
///
/// # Errors
///
/// As [`around`], and when there are files and nothing in them.
pub fn far_around(
    plan: &GroundPlan,
    input: &Winds,
    center: Position,
) -> Result<Option<Arc<Terrain>>> {
    let terrain = around(plan, Some(input), center, FAR_M)?;
    refuse_elsewhere(plan, &[terrain.as_deref()])?;
    Ok(terrain)
}

/// Refuses files of heights that have none around any of some places: the tile next door, or a name with a
/// wrong sign. Of several places a file may tell of one alone.
///
/// # Errors
///
/// There are files, and nothing in them.
pub fn refuse_elsewhere(plan: &GroundPlan, terrains: &[Option<&Terrain>]) -> Result<()> {
    if plan.terrain.is_empty() || tells_of_files(terrains) {
        return Ok(());
    }
    let names: Vec<String> = plan.terrain.iter().map(name_of).collect();
    let found = format!("no height within {:.0} km of the site", FAR_M / 1_000.0);
    let expected = "files of heights around it; the name of an .hgt tile gives its south-west corner, as in N44W072.hgt";
    Err(Fault::new(names.join(", "), found, expected)
        .of_key("[ground] terrain")
        .into())
}

/// Whether heights come from files, not from the forecast alone.
fn tells_of_files(terrains: &[Option<&Terrain>]) -> bool {
    let all = terrains.iter().flatten();
    all.flat_map(|terrain| terrain.sources_with_heights())
        .any(|source| source != OF_FORECAST)
}

fn of_forecast(archive: &Archive, center: Position, reach_m: f64) -> Result<Option<Raster>> {
    let window = archive.lattice.around(center, reach_m)?;
    let Some(heights) = archive.orography(window)? else {
        return Ok(None);
    };
    let heights = Heights::Fine(heights.into_iter().collect());
    Raster::new(
        OF_FORECAST.to_owned(),
        &archive.lattice.cut(window),
        heights,
    )
    .map(Some)
}

/// The height of the ground at a place.
pub struct HeightAt<'a> {
    /// Above mean sea level, m.
    pub height_m: f64,
    /// What tells it.
    pub source: &'a str,
}

/// The height of the ground at a place, if something tells it.
pub fn height_at(terrain: Option<&Terrain>, place: Position) -> Option<HeightAt<'_>> {
    let terrain = terrain?;
    Some(HeightAt {
        height_m: terrain.height_m(place)?,
        source: terrain.source_at(place)?,
    })
}

/// Elevation of a site, m: the plan's, else the ground's, else the lowest wind's, else sea level; and whether that
/// is assumed.
pub fn elevation(
    site: &Site,
    terrain: Option<&Terrain>,
    column: Option<&Column>,
) -> (f64, Option<Assumption>) {
    if let Some(elevation_m) = site.elevation_m {
        return (elevation_m, None);
    }
    let of_ground = height_at(terrain, site.position);
    let ground_m = of_ground.as_ref().map(|g| g.height_m);
    // Winds mostly begin near the ground, if not always at that of the site.
    let Some(elevation_m) = ground_m.or(column.map(|c| c.winds.base_m())) else {
        return (0.0, Some(Assumption::SiteAtSeaLevel));
    };
    let said = Assumption::SiteElevation {
        elevation_m,
        from: of_ground.map(|g| g.source.to_owned()),
    };
    (elevation_m, Some(said))
}

/// That a release is not on the ground, where it is not.
pub fn off_ground(terrain: Option<&Terrain>, site: Position, site_m: f64) -> Option<OffGround> {
    let HeightAt { height_m, source } = height_at(terrain, site)?;
    let off_m = site_m - height_m;
    (off_m.abs() > OFF_GROUND_M).then(|| OffGround {
        release_m: site_m,
        above_m: off_m,
        ground_m: height_m,
        from: source.to_owned(),
        smoothed: source == OF_FORECAST,
    })
}

/// Layers below the site that falls onto the lowest ground need: whole legs, so that those above are
/// flown as they are without.
pub fn layers_below(terrain: Option<&Terrain>, site_m: f64, thickness_m: f64) -> usize {
    let lowest_m = terrain.and_then(Terrain::lowest_m).unwrap_or(site_m);
    let layers = ((site_m - lowest_m) / thickness_m).ceil().max(0.0) as usize;
    layers.next_multiple_of(FIELD_LEG_LAYERS)
}

/// What tells the height of the ground at landings, the most frequent first.
pub fn sources(terrain: Option<&Terrain>, landings: &[Landing]) -> Vec<LandedOn> {
    sources_of([(terrain, landings)])
}

/// The same of landings in one terrain or another.
pub fn sources_of<'a>(
    parts: impl IntoIterator<Item = (Option<&'a Terrain>, &'a [Landing])>,
) -> Vec<LandedOn> {
    let mut counts: Vec<(Option<&str>, usize)> = Vec::new();
    for (terrain, landings) in parts {
        for landing in landings {
            let source = terrain.and_then(|t| t.source_at(landing.place.position()));
            match counts.iter_mut().find(|c| c.0 == source) {
                Some(count) => count.1 += 1,
                None => counts.push((source, 1)),
            }
        }
    }
    // Stable: of equal shares the one that the earlier draws met comes first, on every machine.
    counts.sort_by_key(|c| std::cmp::Reverse(c.1));
    let all = counts.iter().map(|c| c.1).sum::<usize>().max(1) as f64;
    let landed_on = |(source, count): (Option<&str>, usize)| LandedOn {
        source: source.map(str::to_owned),
        share: count as f64 / all,
    };
    counts.into_iter().map(landed_on).collect()
}

/// What is assumed of the ground: one line for each source that is not a file, or a file that is coarser
/// than the forecast's own ground. The person gave it, so it counts all the same.
pub fn assumed(terrains: &[Option<&Terrain>], landed_on: &[LandedOn]) -> Vec<Assumption> {
    let spacing_m = |source: &str| {
        let known = terrains.iter().flatten();
        known.copied().find_map(|t| t.spacing_of_m(source))
    };
    let coarse = |source: &str, share| {
        let (spacing_m, forecast_m) = (spacing_m(source)?, spacing_m(OF_FORECAST)?);
        (spacing_m > forecast_m).then(|| Assumption::LandsOnCoarseTerrain {
            share,
            source: source.to_owned(),
            spacing_m,
            forecast_m,
        })
    };
    let given = tells_of_files(terrains);
    let said = |&LandedOn { ref source, share }: &LandedOn| match source.as_deref() {
        None if share >= 1.0 && !given => Some(Assumption::LandsAtSite),
        None => Some(Assumption::LandsWithoutTerrain { share }),
        Some(OF_FORECAST) => Some(Assumption::LandsOnForecastGround { share }),
        Some(file) => coarse(file, share),
    };
    landed_on.iter().filter_map(said).collect()
}
