//! The plan's ground: what its files and the built-in world tell of the region of landings.

use serde::Serialize;

use crate::error::Result;
use crate::files::name_of;
use crate::geodesy::{Normal, Position};
use crate::ground::data;
use crate::ground::hits::{Buffer, default_buffers};
use crate::ground::layers::{FileLayers, Kind, Layer, LayerRequest, read_or_far, read_osm_or_far};
use crate::ground::map::{Class, GroundMap};
use crate::ground::region::Region;
use crate::ground::site::default_limits;
use crate::notes::Assumption;
use crate::plan::GroundPlan;
use crate::zone::facts::LandedOn;

/// Room around the farthest landing and the sites, m: what lies near them counts, and no air around an airport
/// reaches farther.
const MARGIN_M: f64 = 20_000.0;

/// What is assumed of what lies on the ground.
pub const ON_GROUND: [Assumption; 2] = [Assumption::HitDistances, Assumption::CoarseGround];

/// What is assumed of what lies on the ground and of the air above it.
pub const ASSUMED: [Assumption; 3] = [
    Assumption::HitDistances,
    Assumption::CoarseGround,
    Assumption::AirportsForAirspace,
];

/// How near a landing counts as a hit: the plan's distances, else the defaults.
pub fn buffers(plan: &GroundPlan) -> Vec<Buffer> {
    let mut buffers = default_buffers();
    for buffer in &mut buffers {
        if let Some(radius_m) = given(&plan.buffers, buffer.class) {
            buffer.radius_m = radius_m;
            buffer.reason = GIVEN.to_owned();
        }
    }
    buffers
}

/// How far a site should be from what: the plan's distances, else the defaults.
pub fn site_limits(plan: &GroundPlan) -> Vec<Buffer> {
    let mut limits = default_limits();
    for &(class, radius_m) in &plan.site_limits {
        let limit = Buffer {
            class,
            radius_m,
            reason: GIVEN.to_owned(),
        };
        match limits.iter_mut().find(|l| l.class == class) {
            Some(default) => *default = limit,
            None => limits.push(limit),
        }
    }
    limits
}

/// The reason for a distance of the plan.
const GIVEN: &str = "given in the plan";

fn given(distances: &[(Class, f64)], class: Class) -> Option<f64> {
    // Of two distances for one class the later counts, as in the limits of a site.
    let found = distances.iter().rfind(|d| d.0 == class);
    found.map(|d| d.1)
}

/// Where something of the ground comes from.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "code", rename_all = "snake_case")]
#[non_exhaustive]
pub enum GroundSource {
    /// A layer of the map.
    Layer {
        /// The file, or what else it is from.
        from: String,
    },
    /// The heights that draws come down on.
    Heights {
        /// The file; none for the elevation of the site.
        from: Option<String>,
        /// The share of the draws.
        share: f64,
    },
    /// What is built in, with its licence.
    BuiltIn(data::DataSource),
}

/// Where the ground comes from: layers, heights, and the licences of what is built in.
pub fn sources(
    plan: &GroundPlan,
    maps: &[&GroundMap],
    landed_on: &[LandedOn],
) -> Vec<GroundSource> {
    let mut layers: Vec<&String> = maps.iter().flat_map(|map| map.sources()).collect();
    // Several maps have the same files, and only neighbours are made one.
    layers.sort();
    layers.dedup();
    let layers = layers.into_iter();
    let layers = layers.map(|from| GroundSource::Layer {
        from: without_folder(plan, from),
    });
    let heights = landed_on.iter().map(|on| GroundSource::Heights {
        from: on.source.clone(),
        share: on.share,
    });
    let built_in = data::sources().into_iter().map(GroundSource::BuiltIn);
    layers.chain(heights).chain(built_in).collect()
}

/// A source of layers; of a file of the plan its name only: answers go to people who need not know where their
/// maker keeps files.
fn without_folder(plan: &GroundPlan, from: &str) -> String {
    let is_file = plan.files().any(|file| file.display().to_string() == from);
    match is_file {
        true => name_of(from),
        false => from.to_owned(),
    }
}

/// The ground around landings and a site.
///
/// # Errors
///
/// When a file cannot be read or holds what it should not.
pub fn map(plan: &GroundPlan, site: Position, landings: &[Normal]) -> Result<GroundMap> {
    let region = region(site, landings);
    GroundMap::new(region, &layers(plan, &region)?)
}

/// The region of landings and a site.
pub fn region(site: Position, landings: &[Normal]) -> Region {
    let places: Vec<Normal> = landings.iter().copied().chain([site.normal()]).collect();
    // Landings all round the earth fit into no region: then what lies at the site is told.
    Region::holding(&places, MARGIN_M).unwrap_or(Region::around(site, MARGIN_M))
}

/// The ground of several regions.
///
/// # Errors
///
/// As [`layers`]; a file may lie far from all regions but one.
pub fn maps(plan: &GroundPlan, regions: &[Region]) -> Result<Vec<GroundMap>> {
    let layers = layers_of(plan, regions)?;
    let both = regions.iter().zip(&layers);
    both.map(|(region, layers)| GroundMap::new(*region, layers))
        .collect()
}

/// The plan's layers, as far as they touch a region.
///
/// # Errors
///
/// When a file cannot be read, holds what it should not or lies far away.
pub fn layers(plan: &GroundPlan, region: &Region) -> Result<Vec<Layer>> {
    let all = layers_of(plan, std::slice::from_ref(region))?;
    Ok(all.into_iter().flatten().collect())
}

/// The plan's layers, as far as they touch each of some regions.
fn layers_of(plan: &GroundPlan, regions: &[Region]) -> Result<Vec<Vec<Layer>>> {
    let mut layers: Vec<Vec<Layer>> = vec![Vec::new(); regions.len()];
    let mut take = |read: &dyn Fn(&Region) -> Result<FileLayers>| -> Result<()> {
        let found: Vec<FileLayers> = regions.iter().map(read).collect::<Result<_>>()?;
        // What is drawn around one field is far from another, and no slip.
        let slip = found.iter().all(|file| file.too_far.is_some());
        for (layers, file) in layers.iter_mut().zip(found) {
            match file.too_far.filter(|_| slip) {
                Some(fault) => return Err(fault.into()),
                None => layers.extend(file.layers),
            }
        }
        Ok(())
    };
    let kinds = [
        (Kind::KeepOut, &plan.keep_out),
        (Kind::LandIn, &plan.land_in),
        (Kind::Road, &plan.roads),
        (Kind::PowerLine, &plan.power_lines),
    ];
    for (kind, files) in kinds {
        let wanted = LayerRequest {
            class_attribute: plan.road_class.clone().filter(|_| kind == Kind::Road),
            ..LayerRequest::new(kind)
        };
        for file in files {
            take(&|region| read_or_far(file, &wanted, region))?;
        }
    }
    for file in &plan.osm {
        take(&|region| read_osm_or_far(file, region))?;
    }
    Ok(layers)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::airspace::default_cylinders;

    #[test]
    fn the_room_around_holds_all_that_is_looked_for_by_default() {
        assert!(default_cylinders().iter().all(|c| c.radius_m < MARGIN_M));
        let buffers = [default_buffers(), default_limits()].concat();
        assert!(buffers.iter().all(|b| b.radius_m < MARGIN_M));
    }
}
