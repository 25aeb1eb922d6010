//! Closed rings: which are outlines, which are holes, and of what.

use geo::{Area, Contains, Coord, LineString, Polygon};

/// Polygons out of closed rings that keep the inside on their left: counter-clockwise rings are
/// outlines, clockwise ones are holes of the smallest outline around them.
///
/// Rings without area, and holes of nothing, are dropped.
pub fn nest(rings: Vec<Vec<Coord>>) -> Vec<Polygon> {
    let mut outlines: Vec<(f64, Polygon)> = Vec::new();
    let mut holes: Vec<LineString> = Vec::new();
    for ring in rings {
        let outline = Polygon::new(LineString::new(ring), Vec::new());
        let area = outline.signed_area();
        if area > 0.0 {
            outlines.push((area, outline));
        } else if area < 0.0 {
            holes.push(outline.into_inner().0);
        }
    }
    for hole in holes {
        let around = outlines
            .iter_mut()
            // Rings do not cross, so any corner tells; one that lies on the outline does not count
            // as inside.
            .filter(|(_, outline)| hole.0.iter().any(|corner| outline.contains(corner)))
            .min_by(|a, b| a.0.total_cmp(&b.0));
        if let Some((_, outline)) = around {
            outline.interiors_push(hole);
        }
    }
    outlines.into_iter().map(|(_, outline)| outline).collect()
}
