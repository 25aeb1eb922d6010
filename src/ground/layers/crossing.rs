//! Whether a polygon's outline crosses itself.

use rstar::primitives::{GeomWithData, Rectangle};
use rstar::{AABB, RTree};

use crate::numeric::between;

/// Where two edges of a polygon's rings cross, in the rings' own coordinates. Touching is not
/// crossing, nor is running along each other.
pub(super) fn crossing(rings: &[Vec<[f64; 2]>]) -> Option<[f64; 2]> {
    let edges: Vec<[[f64; 2]; 2]> = rings.iter().flat_map(|ring| edges(ring)).collect();
    let boxes = edges
        .iter()
        .enumerate()
        .map(|(i, e)| GeomWithData::new(Rectangle::from_corners(e[0], e[1]), i))
        .collect();
    // Only edges whose boxes meet can cross; an outline may have many thousands.
    let tree = RTree::bulk_load(boxes);
    edges.iter().enumerate().find_map(|(i, &edge)| {
        tree.locate_in_envelope_intersecting(AABB::from_corners(edge[0], edge[1]))
            // Each pair once, and no edge with itself.
            .filter(|other| other.data > i)
            .find_map(|other| meet(edge, *edges.get(other.data)?))
    })
}

fn edges(ring: &[[f64; 2]]) -> impl Iterator<Item = [[f64; 2]; 2]> + '_ {
    let next = ring.iter().cycle().skip(1);
    ring.iter().zip(next).map(|(&a, &b)| [a, b])
}

/// The crossing of two edges whose ends lie strictly on both sides of each other.
fn meet([a, b]: [[f64; 2]; 2], [c, d]: [[f64; 2]; 2]) -> Option<[f64; 2]> {
    let side = |p: [f64; 2], q: [f64; 2], r: [f64; 2]| {
        (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])
    };
    let (sa, sb) = (side(c, d, a), side(c, d, b));
    let (sc, sd) = (side(a, b, c), side(a, b, d));
    if !(sa * sb < 0.0 && sc * sd < 0.0) {
        return None;
    }
    // The areas are to each other as both ends' distances from the other edge.
    let t = sa / (sa - sb);
    Some(between(a, b, t))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bow_tie_crosses_itself_and_a_square_with_a_hole_does_not() {
        let bow = vec![[0.0, 0.0], [2.0, 2.0], [2.0, 0.0], [0.0, 2.0]];
        assert_eq!(crossing(&[bow]), Some([1.0, 1.0]));
        let square = vec![[0.0, 0.0], [4.0, 0.0], [4.0, 4.0], [0.0, 4.0]];
        let hole = vec![[1.0, 1.0], [1.0, 2.0], [2.0, 2.0], [2.0, 1.0]];
        assert_eq!(crossing(&[square.clone(), hole]), None);
        let out = vec![[3.0, 1.0], [5.0, 1.0], [5.0, 2.0]];
        assert!(crossing(&[square, out]).is_some());
        assert_eq!(crossing(&[]), None);
    }
}
