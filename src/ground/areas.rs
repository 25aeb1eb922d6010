//! Inside which of many areas a point of a plane lies.

use rstar::primitives::{GeomWithData, Rectangle};
use rstar::{AABB, RTree};

use super::layers::Area;
use super::lines::{Lines, on_plane};
use super::region::Region;

/// Areas on a plane. Each edge is kept once, however large the area: a comb of many long teeth costs
/// no more than as many short edges.
#[derive(Debug, Clone, Default)]
pub(super) struct Areas {
    boxes: RTree<GeomWithData<Rectangle<[f64; 2]>, u32>>,
    outlines: Lines,
    /// Edges along the sides of the region's box: they close an area, and are no outline.
    cuts: Lines,
}

impl Areas {
    /// The areas of a region.
    pub fn new(region: &Region, areas: &[&Area]) -> Areas {
        let mut boxes = Vec::new();
        let (mut outlines, mut cuts) = (Vec::new(), Vec::new());
        for (number, area) in areas.iter().enumerate() {
            let number = number as u32;
            let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
            for ring in &area.rings {
                for (i, &a) in ring.iter().enumerate() {
                    let b = ring[(i + 1) % ring.len()];
                    // A cut closes the area for counting, but no shore or border is there to be
                    // near to.
                    let edges = match region.is_cut(a, b) {
                        true => &mut cuts,
                        false => &mut outlines,
                    };
                    for pair in on_plane(region, &[a, b]).windows(2) {
                        edges.push((pair[0], pair[1], number));
                        for point in pair {
                            low = [low[0].min(point[0]), low[1].min(point[1])];
                            high = [high[0].max(point[0]), high[1].max(point[1])];
                        }
                    }
                }
            }
            // An area without corners leaves its box inside out.
            if low[0] <= high[0] && low[1] <= high[1] {
                let around = Rectangle::from_corners(low, high);
                boxes.push(GeomWithData::new(around, number));
            }
        }
        Areas {
            boxes: RTree::bulk_load(boxes),
            outlines: Lines::new(outlines),
            cuts: Lines::new(cuts),
        }
    }

    /// The numbers of the areas that hold a point: those of which a line from there to the east meets
    /// an odd number of edges.
    pub fn holding(&self, point: [f64; 2]) -> impl Iterator<Item = usize> + '_ {
        let mut around: Vec<(u32, bool)> = Vec::new();
        // East of all boxes around the point no edge can belong to an area that holds it.
        let mut east = point[0];
        for found in self
            .boxes
            .locate_in_envelope_intersecting(AABB::from_point(point))
        {
            around.push((found.data, false));
            east = east.max(found.geom().upper()[0]);
        }
        if !around.is_empty() {
            // Sorted for the search below: most edges on the way belong to areas that cannot hold
            // the point.
            around.sort_unstable();
            for lines in [&self.outlines, &self.cuts] {
                for number in lines.met_eastward(point, east) {
                    if let Ok(i) = around.binary_search_by_key(&number, |a| a.0) {
                        around[i].1 ^= true;
                    }
                }
            }
        }
        let inside = around.into_iter().filter(|(_, odd)| *odd);
        inside.map(|(number, _)| number as usize)
    }

    /// Whether an area is within a distance, m; 0 asks for inside.
    pub fn within(&self, point: [f64; 2], distance_m: f64) -> bool {
        self.holding(point).next().is_some()
            || distance_m > 0.0 && self.outlines.within(point, distance_m, |_| true)
    }

    /// Whether an area holds a point and all that is within a distance of it, m.
    pub fn hold_around(&self, point: [f64; 2], distance_m: f64) -> bool {
        self.holding(point).any(|area| {
            let own = |number: u32| number as usize == area;
            distance_m <= 0.0 || !self.outlines.within(point, distance_m, own)
        })
    }

    /// Whether the straight line between two points crosses the outline of an area.
    pub fn outlines_cross(&self, a: [f64; 2], b: [f64; 2]) -> bool {
        self.outlines.cross(a, b)
    }

    /// The distance to the nearest area, m: 0 inside.
    pub fn distance_m(&self, point: [f64; 2]) -> Option<f64> {
        if self.holding(point).next().is_some() {
            return Some(0.0);
        }
        self.outlines.nearest(point).map(|nearest| nearest.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geodesy::Position;

    fn ring(lon: f64, lat: f64, half: f64) -> Vec<[f64; 2]> {
        let [w, e, s, n] = [lon - half, lon + half, lat - half, lat + half];
        vec![[w, s], [e, s], [e, n], [w, n]]
    }

    #[test]
    fn a_hole_is_outside_and_its_edge_the_nearest() {
        let region = Region::around(Position::new(0.0, 20.0).unwrap(), 50_000.0);
        let area = Area {
            rings: vec![ring(20.0, 0.0, 0.2), ring(20.0, 0.0, 0.1)],
            name: String::new(),
        };
        let areas = Areas::new(&region, &[&area]);
        let at = |lon: f64, lat: f64| region.project([lon, lat]);
        assert_eq!(areas.holding(at(20.15, 0.0)).collect::<Vec<_>>(), [0]);
        assert_eq!(areas.holding(at(20.0, 0.0)).count(), 0);
        assert_eq!(areas.holding(at(20.3, 0.0)).count(), 0);
        assert_eq!(areas.distance_m(at(20.15, 0.0)), Some(0.0));
        // A tenth of a degree of the meridian at the equator: 11,057.4 m.
        let d = areas.distance_m(at(20.0, 0.0)).unwrap();
        assert!((d - 11_057.4).abs() < 1.0, "{d}");
        assert_eq!(Areas::default().distance_m([0.0, 0.0]), None);
    }

    #[test]
    fn an_area_cut_at_the_region_has_no_edge_there() {
        let region = Region::around(Position::new(0.0, 20.0).unwrap(), 50_000.0);
        let west = Area {
            rings: region.clip_ring(&[[0.0, -40.0], [19.9, -40.0], [19.9, 40.0], [0.0, 40.0]]),
            name: String::new(),
        };
        let areas = Areas::new(&region, &[&west]);
        let d = areas.distance_m(region.project([20.4, 0.0])).unwrap();
        assert!((d - 55_659.7).abs() < 10.0, "{d}");
        assert_eq!(areas.distance_m(region.project([19.7, 0.0])), Some(0.0));
    }
}
