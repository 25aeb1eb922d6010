//! The plan's ground: what its files and the built-in world tell of the region of landings.

use crate::error::Result;
use crate::geodesy::Normal;
use crate::ground::layers::{Kind, Layer, Wanted, read, read_osm};
use crate::ground::map::GroundMap;
use crate::ground::region::Region;
use crate::plan::GroundPlan;

/// Room around the farthest landing, m: what lies near it counts.
const MARGIN_M: f64 = 15_000.0;

/// The ground around places; `None` where there are none.
///
/// # Errors
///
/// When a file cannot be read or holds what it should not.
pub fn map(plan: &GroundPlan, places: &[Normal]) -> Result<Option<GroundMap>> {
    let Some(region) = Region::holding(places, MARGIN_M) else {
        return Ok(None);
    };
    let mut layers: Vec<Layer> = Vec::new();
    let kinds = [
        (Kind::KeepOut, &plan.keep_out),
        (Kind::LandIn, &plan.land_in),
        (Kind::Road, &plan.roads),
        (Kind::PowerLine, &plan.power_lines),
    ];
    for (kind, files) in kinds {
        let wanted = Wanted {
            class_attribute: plan.road_class.clone(),
            ..Wanted::new(kind)
        };
        for file in files {
            layers.push(read(file, &wanted, &region)?);
        }
    }
    for file in &plan.osm {
        layers.extend(read_osm(file, &region)?);
    }
    GroundMap::new(region, &layers).map(Some)
}
