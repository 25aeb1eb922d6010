//! Inside which of many areas a point of a plane lies.

use rstar::primitives::{GeomWithData, Rectangle};
use rstar::{AABB, RTree};

use super::layers::Area;
use super::lines::{Lines, on_plane};
use super::region::Region;

/// Areas on a plane.
#[derive(Debug, Clone, Default)]
pub(super) struct Areas {
    shapes: Vec<Shape>,
    boxes: RTree<GeomWithData<Rectangle<[f64; 2]>, u32>>,
    outlines: Lines,
}

impl Areas {
    /// The areas of a region.
    pub fn new(region: &Region, areas: &[&Area]) -> Areas {
        let mut shapes = Vec::new();
        let mut boxes = Vec::new();
        let mut outlines = Vec::new();
        for (number, area) in areas.iter().enumerate() {
            let mut edges = Vec::new();
            for ring in &area.rings {
                for (i, &a) in ring.iter().enumerate() {
                    let b = ring[(i + 1) % ring.len()];
                    let cut = region.is_cut(a, b);
                    for pair in on_plane(region, &[a, b]).windows(2) {
                        edges.push([pair[0], pair[1]]);
                        if !cut {
                            outlines.push((pair[0], pair[1], number as u32));
                        }
                    }
                }
            }
            if let Some(shape) = Shape::new(edges) {
                let (low, high) = (shape.low, shape.high);
                boxes.push(GeomWithData::new(
                    Rectangle::from_corners(low, high),
                    shapes.len() as u32,
                ));
                shapes.push(shape);
            }
        }
        Areas {
            shapes,
            boxes: RTree::bulk_load(boxes),
            outlines: Lines::new(outlines),
        }
    }

    /// The numbers of the areas that hold a point.
    pub fn holding(&self, point: [f64; 2]) -> impl Iterator<Item = usize> + '_ {
        self.boxes
            .locate_in_envelope_intersecting(AABB::from_point(point))
            .map(|b| b.data as usize)
            .filter(move |&i| self.shapes[i].holds(point))
    }

    /// Whether an area is within a distance, m; 0 asks for inside.
    pub fn within(&self, point: [f64; 2], distance_m: f64) -> bool {
        self.holding(point).next().is_some()
            || distance_m > 0.0 && self.outlines.within(point, distance_m, |_| true)
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

type PlaneEdge = [[f64; 2]; 2];

/// The edges of one area, sorted into strips from south to north: a point meets those of its own
/// strip only.
#[derive(Debug, Clone)]
struct Shape {
    low: [f64; 2],
    high: [f64; 2],
    strips: Vec<Vec<PlaneEdge>>,
}

/// Edges in a strip, about.
const EDGES_A_STRIP: usize = 8;

impl Shape {
    fn new(edges: Vec<PlaneEdge>) -> Option<Shape> {
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for point in edges.iter().flatten() {
            for k in 0..2 {
                low[k] = low[k].min(point[k]);
                high[k] = high[k].max(point[k]);
            }
        }
        if !(low[0] <= high[0] && low[1] <= high[1]) {
            return None;
        }
        let mut shape = Shape {
            low,
            high,
            strips: vec![Vec::new(); edges.len() / EDGES_A_STRIP + 1],
        };
        for edge in edges {
            let [a, b] = edge.map(|p| shape.strip(p[1]));
            for strip in a.min(b)..=a.max(b) {
                shape.strips[strip].push(edge);
            }
        }
        Some(shape)
    }

    fn strip(&self, y: f64) -> usize {
        let height = self.high[1] - self.low[1];
        let share = if height > 0.0 {
            (y - self.low[1]) / height
        } else {
            0.0
        };
        ((share * self.strips.len() as f64) as usize).min(self.strips.len() - 1)
    }

    /// Whether a line from the point to the east meets an odd number of edges.
    fn holds(&self, [x, y]: [f64; 2]) -> bool {
        self.strips[self.strip(y)]
            .iter()
            .fold(false, |inside, [a, b]| {
                let spans = (a[1] > y) != (b[1] > y);
                let east = spans && x < a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0]);
                inside != east
            })
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
