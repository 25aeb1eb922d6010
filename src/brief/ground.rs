//! The ground of a briefing: counted as for the choice of a day, and shown on the map.

use std::sync::Arc;

use rayon::prelude::*;

use super::answer::MapGround;
use crate::choice;
use crate::choice::answer::{Hazard, NearPlace};
use crate::choice::judge::{hazards, near_place, tells_of_all};
use crate::error::Result;
use crate::geodesy::{Normal, Position};
use crate::ground::data::{World, world};
use crate::ground::hits::{Buffer, hits};
use crate::ground::layers::{Layer, Line};
use crate::ground::map::{Class, GroundMap, Knowledge};
use crate::ground::places::{Place, Places};
use crate::ground::region::Region;
use crate::ground::terrain::Terrain;
use crate::ground::towns::{Town, towns};
use crate::ground::water::Water;
use crate::plan::Plan;
use crate::zone::Zone;

/// Room around the flight and the landings, m: the sheet of the map shows some of it, and what
/// lies near a landing counts.
const MARGIN_M: f64 = 15_000.0;

/// A town nearer to a larger one than this share of the region's reach is left out of the map, or
/// names would crowd it.
const TOWN_SPACING: f64 = 0.12;

/// The ground around a flight.
pub struct BriefGround {
    /// Ready to be asked.
    pub map: GroundMap,
    buffers: Vec<Buffer>,
    /// The plan's layers and the built-in ones that stand in for those it does not have.
    pub layers: Vec<Layer>,
    borders: Vec<Line>,
    coasts: Vec<Line>,
    named: Vec<Place>,
}

impl BriefGround {
    /// Reads the plan's ground around a zone and its landings.
    ///
    /// # Errors
    ///
    /// When a file cannot be read or holds what it should not.
    pub fn new(plan: &Plan, zone: &Zone, landings: &[Normal]) -> Result<BriefGround> {
        BriefGround::within(plan, region(plan, zone, landings))
    }

    /// Reads the plan's ground within a region.
    ///
    /// # Errors
    ///
    /// As [`BriefGround::new`].
    pub fn within(plan: &Plan, region: Region) -> Result<BriefGround> {
        let mut layers = choice::ground::layers(&plan.ground, &region)?;
        // Of the plan's own layers: what is built in stays known as coarse.
        let map = GroundMap::new(region, &layers)?;
        let coarse = |class: Class| map.knowledge(class) == Knowledge::Coarse;
        // Coarse lakes, rivers and towns only where the plan has not all: both would be drawn twice.
        let wanted: Vec<World> = [
            (World::Lakes, coarse(Class::Lake)),
            (World::Rivers, coarse(Class::River)),
            (World::Urban, coarse(Class::Urban)),
            (World::Borders, true),
            (World::States, true),
            (World::Coast, true),
        ]
        .into_iter()
        .filter_map(|(layer, wanted)| wanted.then_some(layer))
        .collect();
        let built_in: Vec<(World, Layer)> = wanted
            .into_par_iter()
            .map(|layer| Ok((layer, world(layer, &region)?)))
            .collect::<Result<_>>()?;
        let (mut borders, mut coasts) = (Vec::new(), Vec::new());
        for (layer, found) in built_in {
            match layer {
                World::Borders | World::States => borders.extend(found.lines),
                World::Coast => coasts = found.lines,
                _ => layers.push(map.beyond_layers(found)),
            }
        }
        Ok(BriefGround {
            named: named(&layers, &map)?,
            map,
            buffers: choice::ground::buffers(&plan.ground),
            layers,
            borders,
            coasts,
        })
    }

    /// What landings hit, the sea among it, the most likely first; what nothing is known of comes last.
    pub fn hazards(&self, water: &Water, landings: &[Normal]) -> Vec<Hazard> {
        let found = hits(&self.map, &self.buffers, landings);
        let mut rows = hazards(&found);
        let keep_out = found.areas.iter().filter(|a| a.class == Class::KeepOut);
        // As of the others: those on the map do not stand for all.
        let told = tells_of_all(&found);
        rows.extend(keep_out.map(|area| Hazard {
            name: format!("keep-out area \u{201c}{}\u{201d}", area.name),
            within_m: 0.0,
            share: told.then(|| area.share.share()),
            standard_error: told.then(|| area.share.standard_error()),
            coarse: false,
            to_keep_clear_of: true,
        }));
        let sea = water.shares(landings).sea;
        // Inland nobody asks for it.
        rows.extend((told && sea.hits > 0).then(|| Hazard {
            name: "sea".to_owned(),
            within_m: 0.0,
            share: Some(sea.share()),
            standard_error: Some(sea.standard_error()),
            coarse: false,
            // Water has a limit of its own.
            to_keep_clear_of: false,
        }));
        // Below every share, so that what nothing is known of comes last.
        let share = |row: &Hazard| row.share.unwrap_or(-1.0);
        rows.sort_by(|a, b| share(b).total_cmp(&share(a)));
        rows
    }

    /// The named place nearest to the centre of a zone.
    ///
    /// # Errors
    ///
    /// When the data in the program are damaged.
    pub fn near(&self, zone: &Zone) -> Result<Option<NearPlace>> {
        near_place(&self.map, zone.center())
    }

    /// What the map shows of it.
    pub fn shown(self, terrain: Option<&Arc<Terrain>>) -> MapGround {
        let airports = self.map.airports().iter().map(|(airport, _)| *airport);
        MapGround {
            airports: airports.collect(),
            layers: self.layers,
            borders: self.borders,
            coasts: self.coasts,
            places: self.named,
            terrain: terrain.cloned(),
        }
    }
}

/// The region of a flight and its landings.
pub fn region(plan: &Plan, zone: &Zone, landings: &[Normal]) -> Region {
    let track = zone.track.iter().map(|m| m.position.normal());
    let held: Vec<Normal> = landings.iter().copied().chain(track).collect();
    let around = Region::around(plan.site.position, MARGIN_M);
    Region::holding(&held, MARGIN_M).unwrap_or(around)
}

/// The named places of the layers in a map's region; then, where these do not cover, the built-in towns, the
/// largest first.
fn named(layers: &[Layer], map: &GroundMap) -> Result<Vec<Place>> {
    let region = map.region();
    let here = |position: Position| region.holds(position.normal());
    let given = Places::of_layers(layers);
    // Whoever gives places wants to see them; only the built-in towns are thinned.
    let given = given.all().iter().filter(|place| here(place.position));
    let untold = |town: &&Town| !map.tells_of_places(town.position.normal());
    let all = towns()?.all().iter().filter(|t| here(t.position));
    let mut towns: Vec<&Town> = all.filter(untold).collect();
    towns.sort_by_key(|town| std::cmp::Reverse(town.people));
    let mut kept: Vec<(&Town, [f64; 2])> = Vec::new();
    for town in towns {
        let at = region.plane.to_plane(town.position.normal());
        let far = |(_, other): &(&Town, [f64; 2])| {
            (at[0] - other[0]).hypot(at[1] - other[1]) > TOWN_SPACING * region.reach_m
        };
        if kept.iter().all(far) {
            kept.push((town, at));
        }
    }
    let place = |(town, _): &(&Town, [f64; 2])| Place {
        name: town.name.to_owned(),
        position: town.position,
    };
    Ok(given.cloned().chain(kept.iter().map(place)).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn towns_on_a_map_keep_their_distance_and_the_largest_stay() {
        let potsdam = Position::new(52.4, 13.05).unwrap();
        let region = Region::around(potsdam, 60_000.0);
        let here = |town: &&Town| region.holds(town.position.normal());
        let all = towns().unwrap().all().iter().filter(here).count();
        let map = GroundMap::new(region, &[]).unwrap();
        let named = named(&[], &map).unwrap();
        assert_eq!(named[0].name, "Berlin");
        assert!(
            named.len() > 20 && 2 * named.len() < all,
            "{} of {all}",
            named.len()
        );
        for (i, a) in named.iter().enumerate() {
            for b in &named[i + 1..] {
                let apart_m = a.position.distance_m(b.position);
                assert!(apart_m > 0.99 * TOWN_SPACING * 60_000.0, "{a:?} {b:?}");
            }
        }
    }
}
