//! What of the ground is water: the sea, lakes, and rivers that are drawn as areas.

use std::borrow::Cow;

use rayon::prelude::*;

use super::data::{World, world};
use super::hits::Share;
use super::layers::Kind;
use super::lines::{Lines, on_plane};
use super::map::{Class, GroundMap, Things};
use super::sea::{Sea, sea};
use crate::error::Result;
use crate::geodesy::{Normal, Position, wrap_longitude};

/// Water by what it belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum WaterKind {
    /// The sea.
    Sea,
    /// A lake or reservoir.
    Lake,
    /// A river or canal so wide that it is an area.
    River,
}

/// How many of some places are in water.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WaterShares {
    /// In any.
    pub any: Share,
    /// In the sea.
    pub sea: Share,
    /// In lakes.
    pub lake: Share,
    /// In rivers.
    pub river: Share,
}

/// The water of a region, ready to be asked; shared between threads.
///
/// Lakes are those of the layers and the built-in ones as well, since an extract's great lakes are
/// often not whole. The sea and the built-in lakes are true to about a kilometre: of a shore nearer than
/// that they say little.
#[derive(Debug)]
pub struct Water<'a> {
    map: &'a GroundMap,
    sea: &'static Sea,
    coast: Lines,
    /// The built-in lakes beside those of layers.
    built_in: Cow<'a, Things>,
}

/// Points along each side of the grid by which the share of an area is counted.
const GRID: usize = 100;

impl<'a> Water<'a> {
    /// The water of a map's region.
    ///
    /// # Errors
    ///
    /// When the data in the program are damaged.
    pub fn of(map: &'a GroundMap) -> Result<Water<'a>> {
        let (region, sea) = (map.region(), sea()?);
        let mut edges = Vec::new();
        for edge in sea.coast(region) {
            let points = on_plane(region, &edge);
            edges.extend(points.windows(2).map(|w| (w[0], w[1], 0)));
        }
        let built_in = match map.built_in(Kind::Lake) {
            Some(lakes) => Cow::Borrowed(lakes),
            None => Cow::Owned(Things::of(region, &[&world(World::Lakes, region)?])),
        };
        Ok(Water {
            map,
            sea,
            coast: Lines::new(edges),
            built_in,
        })
    }

    /// The map that it is the water of.
    pub fn map(&self) -> &'a GroundMap {
        self.map
    }

    /// The water at a place; `None` on land.
    pub fn at(&self, place: Normal) -> Option<WaterKind> {
        self.at_position(place.position())
    }

    fn at_position(&self, position: Position) -> Option<WaterKind> {
        if self.sea.holds(position) {
            return Some(WaterKind::Sea);
        }
        let place = position.normal();
        let point = self.map.region().plane.to_plane(place);
        let given = |kind: Kind| self.map.given(kind).is_some_and(|t| t.holds(point));
        if given(Kind::Lake) || self.built_in.holds(point) {
            return Some(WaterKind::Lake);
        }
        // The built-in rivers are lines.
        given(Kind::River).then_some(WaterKind::River)
    }

    /// The name of the lake or river at a place, if it is in one with a name.
    pub fn name_at(&self, place: Normal) -> Option<&str> {
        let point = self.map.region().plane.to_plane(place);
        let given = [Class::Lake, Class::River]
            .into_iter()
            .flat_map(|class| self.map.areas_holding(class, place));
        let built_in = self.built_in.names_holding(point);
        // Areas without a name are numbered.
        given.chain(built_in).find(|name| !name.starts_with("no. "))
    }

    /// How many of some places are in water.
    pub fn shares(&self, places: &[Normal]) -> WaterShares {
        let found: Vec<Option<WaterKind>> = places.par_iter().map(|p| self.at(*p)).collect();
        let share = |counts: &dyn Fn(WaterKind) -> bool| Share {
            hits: found.iter().filter(|w| w.is_some_and(counts)).count(),
            draws: places.len(),
        };
        WaterShares {
            any: share(&|_| true),
            sea: share(&|w| w == WaterKind::Sea),
            lake: share(&|w| w == WaterKind::Lake),
            river: share(&|w| w == WaterKind::River),
        }
    }

    /// The share of an area that is in water, 0 to 1, to about a hundredth; 0 of an area that holds
    /// nothing. Its rings are longitudes and latitudes, degrees, running on without a jump; inside is
    /// where an odd number of them overlap.
    pub fn share_of_area(&self, rings: &[Vec<[f64; 2]>]) -> f64 {
        let corners = || rings.iter().flatten();
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for corner in corners() {
            for k in 0..2 {
                low[k] = low[k].min(corner[k]);
                high[k] = high[k].max(corner[k]);
            }
        }
        if !(low[0] < high[0] && low[1] < high[1]) {
            return 0.0;
        }
        // In the middles of cells, so that no point lies on the box, which outlines touch.
        let at = |k: usize, i: usize| low[k] + (high[k] - low[k]) * (i as f64 + 0.5) / GRID as f64;
        let inside: Vec<Position> = (0..GRID * GRID)
            .map(|i| [at(0, i % GRID), at(1, i / GRID)])
            .filter(|&point| holds(rings, point))
            .filter_map(|[lon, lat]| Position::new(lat, wrap_longitude(lon)))
            .collect();
        let wet = inside
            .par_iter()
            .filter(|p| self.at_position(**p).is_some());
        wet.count() as f64 / inside.len().max(1) as f64
    }

    /// Whether two places lie on the same shore: on land both, and the straight line between them
    /// crosses no coast and no bank of a lake or river that is an area. What lies behind a bay counts
    /// as another shore; rivers that are lines do not, as they have bridges.
    pub fn on_same_shore(&self, a: Normal, b: Normal) -> bool {
        if self.at(a).is_some() || self.at(b).is_some() {
            return false;
        }
        let [a, b] = [a, b].map(|place| self.map.region().plane.to_plane(place));
        let given = |kind: Kind| self.map.given(kind);
        let of_map = [Kind::Lake, Kind::River].into_iter().filter_map(given);
        let mut areas = of_map.chain([self.built_in.as_ref()]);
        !(self.coast.cross(a, b) || areas.any(|t| t.outlines_cross(a, b)))
    }
}

/// Whether a point of degrees lies within an odd number of rings.
fn holds(rings: &[Vec<[f64; 2]>], [x, y]: [f64; 2]) -> bool {
    let edges = rings
        .iter()
        .flat_map(|ring| (0..ring.len()).map(|i| (ring[i], ring[(i + 1) % ring.len()])));
    edges.fold(false, |inside, (a, b)| {
        let spans = (a[1] > y) != (b[1] > y);
        let east = spans && x < a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0]);
        inside != east
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::layers::{Area, Layer};
    use crate::ground::region::Region;

    fn at(lat: f64, lon: f64) -> Normal {
        Position::new(lat, lon).unwrap().normal()
    }

    fn square(lon: f64, lat: f64, half: f64) -> Vec<[f64; 2]> {
        let [w, e, s, n] = [lon - half, lon + half, lat - half, lat + half];
        vec![[w, s], [e, s], [e, n], [w, n]]
    }

    fn map(lat: f64, lon: f64, layers: &[Layer]) -> GroundMap {
        let region = Region::around(Position::new(lat, lon).unwrap(), 150_000.0);
        GroundMap::new(region, layers).unwrap()
    }

    #[test]
    fn great_lakes_and_the_sea_are_water_without_any_layer() {
        let michigan = map(43.5, -87.5, &[]);
        let water = Water::of(&michigan).unwrap();
        assert_eq!(water.at(at(43.5, -87.2)), Some(WaterKind::Lake));
        assert_eq!(water.name_at(at(43.5, -87.2)), Some("Lake Michigan"));
        // Fond du Lac, and the other shore.
        let [west, east] = [at(43.77, -88.45), at(43.0, -86.0)];
        assert_eq!([water.at(west), water.at(east)], [None, None]);
        assert!(!water.on_same_shore(west, east));
        assert!(water.on_same_shore(west, at(43.2, -88.7)));
        assert!(!water.on_same_shore(west, at(43.5, -87.2)));

        let portugal = map(39.0, -9.5, &[]);
        let water = Water::of(&portugal).unwrap();
        assert_eq!(water.at(at(39.0, -10.2)), Some(WaterKind::Sea));
        assert_eq!(water.at(at(39.2, -8.7)), None);
        let shares = water.shares(&[at(39.0, -10.2), at(39.2, -8.7), at(39.5, -10.0)]);
        assert_eq!(
            (shares.any.hits, shares.sea.hits, shares.any.draws),
            (2, 2, 3)
        );
        assert_eq!((shares.lake.hits, shares.river.hits), (0, 0));
        assert_eq!(water.share_of_area(&[square(-10.2, 39.0, 0.1)]), 1.0);
        assert_eq!(water.share_of_area(&[square(-8.7, 39.2, 0.1)]), 0.0);
    }

    #[test]
    fn wide_rivers_are_water_and_part_two_shores() {
        let mut river = Layer::new(Kind::River, "wide");
        river.areas.push(Area {
            rings: vec![vec![
                [-99.0, 39.00],
                [-97.0, 39.00],
                [-97.0, 39.01],
                [-99.0, 39.01],
            ]],
            name: "Kansas".into(),
        });
        let kansas = map(39.0, -98.0, &[river]);
        let water = Water::of(&kansas).unwrap();
        assert_eq!(water.at(at(39.005, -98.0)), Some(WaterKind::River));
        assert_eq!(water.name_at(at(39.005, -98.0)), Some("Kansas"));
        assert!(!water.on_same_shore(at(38.9, -98.0), at(39.1, -98.1)));
        assert!(water.on_same_shore(at(39.05, -98.5), at(39.1, -97.5)));
        // A tenth of a degree of 0.8 by 1.0 degrees.
        let share = water.share_of_area(&[vec![
            [-98.4, 38.96],
            [-97.6, 38.96],
            [-97.6, 39.06],
            [-98.4, 39.06],
        ]]);
        assert!((share - 0.1).abs() < 0.011, "{share}");
    }

    #[test]
    fn water_lies_on_both_sides_of_the_antimeridian() {
        let fiji = map(-17.0, 179.8, &[]);
        let water = Water::of(&fiji).unwrap();
        for (lat, lon) in [(-18.0, 180.0), (-18.0, 179.5), (-18.0, -179.6)] {
            assert_eq!(water.at(at(lat, lon)), Some(WaterKind::Sea), "{lon}");
        }
        let share = water.share_of_area(&[square(180.0, -18.0, 0.3)]);
        assert!(share > 0.99, "{share}");
    }
}
