//! Lines and polygons cut where longitude jumps from 180 to -180 (RFC 7946, section 3.1.9).
//!
//! The map of longitude and latitude is a rectangle. What crosses its sides is cut there, and
//! what goes round a pole is closed along its top or bottom. An edge goes the short way round in
//! longitude, so edges must turn through less than half a circle.

use geo::Coord;

use crate::geodesy::Position;

/// A point of a cut line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CutPoint {
    /// Longitude (-180 to 180) and latitude, degrees.
    pub at: Coord,
    /// Which point of the line this is: its index, or a fraction between two where it was cut.
    pub index: f64,
}

/// The pieces of a line between its crossings of the antimeridian; one when there are none.
///
/// At a crossing one piece ends at 180 (or -180) and the next starts at -180 (or 180), on the
/// same latitude.
///
/// # Examples
///
/// ```
/// use windfall::geodesy::Position;
/// use windfall::report::files::antimeridian::cut_line;
/// let west = Position::new(10.0, 179.0).unwrap();
/// let east = Position::new(12.0, -179.0).unwrap();
/// let pieces = cut_line(&[west, east]);
/// assert_eq!((pieces[0][1].at.x, pieces[0][1].at.y), (180.0, 11.0));
/// assert_eq!((pieces[1][0].at.x, pieces[1][0].index), (-180.0, 0.5));
/// ```
pub fn cut_line(line: &[Position]) -> Vec<Vec<CutPoint>> {
    let mut pieces = Vec::new();
    let mut piece: Vec<CutPoint> = Vec::new();
    for (i, position) in line.iter().enumerate() {
        let here = CutPoint {
            at: on_map(*position),
            index: i as f64,
        };
        if let Some(before) = piece.last().copied()
            && let Some((t, side)) = crossing(before.at, here.at)
        {
            let mut cut = CutPoint {
                at: Coord {
                    x: side,
                    y: before.at.y * (1.0 - t) + here.at.y * t,
                },
                index: before.index + t,
            };
            piece.push(cut);
            pieces.push(std::mem::take(&mut piece));
            cut.at.x = -side;
            piece.push(cut);
        }
        piece.push(here);
    }
    pieces.push(piece);
    pieces
}

/// A place on the map, longitude from -180 up to (not including) 180 degrees.
fn on_map(position: Position) -> Coord {
    // One meridian, one number: else what lies along it would be cut.
    let x = if position.lon_deg >= 180.0 {
        position.lon_deg - 360.0
    } else {
        position.lon_deg
    };
    Coord {
        x,
        y: position.lat_deg,
    }
}

/// Where the edge from `a` to `b` leaves the map: the share of the edge, and the side, 180 or
/// -180, it leaves by. `None` when it stays.
fn crossing(a: Coord, b: Coord) -> Option<(f64, f64)> {
    let turn = b.x - a.x;
    // A larger turn is the same edge drawn the long way round.
    if turn.abs() <= 180.0 {
        return None;
    }
    let side = if turn < 0.0 { 180.0 } else { -180.0 };
    // By the short way round, on which the other end lies beyond that side.
    let t = (side - a.x) / (turn + 2.0 * side);
    // A point on the antimeridian itself may be a rounding beyond it.
    Some((t.clamp(0.0, 1.0), side))
}

/// The rings, on the map, of a polygon on the ground: closed, the inside on their left.
///
/// `rings` are the polygon's outline (counter-clockwise seen from above) and its holes
/// (clockwise), without the first point repeated. Which of the resulting rings are outlines and
/// which holes is for [`nest`](crate::spread::region::nest) to find.
pub fn cut_rings<'a>(rings: impl IntoIterator<Item = &'a [Position]>) -> Vec<Vec<Coord>> {
    let mut whole = Vec::new();
    let mut chains = Vec::new();
    for ring in rings {
        let mut pieces = cut_closed(ring);
        // One that is not cut is closed already and needs no edge of the map.
        if pieces.len() == 1 {
            whole.append(&mut pieces);
        } else {
            // The piece that `cut_closed` left empty.
            pieces.pop();
            chains.append(&mut pieces);
        }
    }
    whole.append(&mut join(&chains));
    whole
}

/// The pieces of a closed ring. When it is cut, the last piece runs into the first: they are
/// joined, and an empty one is left at the end.
fn cut_closed(ring: &[Position]) -> Vec<Vec<Coord>> {
    let closed: Vec<Position> = ring.iter().chain(ring.first()).copied().collect();
    let mut pieces: Vec<Vec<Coord>> = cut_line(&closed)
        .iter()
        .map(|piece| piece.iter().map(|point| point.at).collect())
        .collect();
    let last = pieces.len() - 1;
    if last > 0 {
        let mut run = std::mem::take(&mut pieces[last]);
        // The first point once more, with which the piece that is joined to this one begins.
        run.pop();
        run.append(&mut pieces[0]);
        pieces[0] = run;
    }
    pieces
}

/// Length of the edge of the map in degrees: up the right side, back along the top, down the
/// left side and along the bottom.
const AROUND: f64 = 1080.0;
/// The corners of the map, by their place on its edge.
const CORNERS: [(f64, Coord); 4] = [
    (180.0, Coord { x: 180.0, y: 90.0 }),
    (540.0, Coord { x: -180.0, y: 90.0 }),
    (
        720.0,
        Coord {
            x: -180.0,
            y: -90.0,
        },
    ),
    (AROUND, Coord { x: 180.0, y: -90.0 }),
];
/// Ends of chains this close, degrees (0.1 mm), are in the same place.
const SAME_DEG: f64 = 1e-9;

/// The place on the map's edge of a point on its left or right side.
fn place_on_edge(point: Coord) -> f64 {
    if point.x > 0.0 {
        point.y + 90.0
    } else {
        // Down the left side, whose top is at 540.
        540.0 + 90.0 - point.y
    }
}

/// Closes chains that start and end on the sides of the map. The inside is on the left, so from
/// the end of a chain the edge of the map leads, counter-clockwise, to the start of the next.
fn join(chains: &[Vec<Coord>]) -> Vec<Vec<Coord>> {
    let starts: Vec<f64> = chains.iter().map(|c| place_on_edge(c[0])).collect();
    let mut used = vec![false; chains.len()];
    let mut rings = Vec::new();
    for first in 0..chains.len() {
        let mut ring: Vec<Coord> = Vec::new();
        let mut current = first;
        // A ring is closed when its next start is its own, which is used by then.
        while !used[current] {
            used[current] = true;
            ring.extend(&chains[current]);
            let end = place_on_edge(chains[current][chains[current].len() - 1]);
            // Rounding must not put a start at the end itself a whole way round the map ahead.
            let ahead = |place: f64| (place - end + SAME_DEG).rem_euclid(AROUND);
            let Some(next) =
                (0..starts.len()).min_by(|a, b| ahead(starts[*a]).total_cmp(&ahead(starts[*b])))
            else {
                break;
            };
            let mut passed: Vec<(f64, Coord)> = CORNERS
                .iter()
                .map(|(place, corner)| (ahead(*place), *corner))
                .filter(|(distance, _)| *distance < ahead(starts[next]))
                .collect();
            // By the way from here, which may begin anywhere between the corners.
            passed.sort_by(|a, b| a.0.total_cmp(&b.0));
            ring.extend(passed.iter().map(|(_, corner)| *corner));
            current = next;
        }
        if let Some(start) = ring.first().copied() {
            ring.push(start);
            rings.push(ring);
        }
    }
    rings
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ring(points: &[[f64; 2]]) -> Vec<Position> {
        points
            .iter()
            .map(|p| Position::new(p[1], p[0]).unwrap())
            .collect()
    }

    fn area(ring: &[Coord]) -> f64 {
        ring.windows(2)
            .map(|w| 0.5 * (w[0].x * w[1].y - w[1].x * w[0].y))
            .sum()
    }

    #[test]
    fn the_edge_of_the_map_is_as_long_as_its_sides() {
        assert_eq!(AROUND, 2.0 * (180.0 + 360.0));
        assert_eq!(place_on_edge(Coord { x: 180.0, y: 90.0 }), 180.0);
        assert_eq!(place_on_edge(Coord { x: -180.0, y: 90.0 }), 540.0);
        assert_eq!(
            place_on_edge(Coord {
                x: -180.0,
                y: -90.0
            }),
            720.0
        );
    }

    #[test]
    fn a_cap_reaches_the_pole() {
        let north = ring(&[[0.0, 80.0], [90.0, 80.0], [180.0, 80.0], [-90.0, 80.0]]);
        let rings = cut_rings([north.as_slice()]);
        assert_eq!(rings.len(), 1);
        assert!((area(&rings[0]) - 3600.0).abs() < 1e-9);
        let south = ring(&[[0.0, -80.0], [-90.0, -80.0], [180.0, -80.0], [90.0, -80.0]]);
        let rings = cut_rings([south.as_slice()]);
        assert!((area(&rings[0]) - 3600.0).abs() < 1e-9);
    }

    #[test]
    fn a_cap_with_a_hole_at_the_pole_is_a_band() {
        let outline = ring(&[[10.0, 80.0], [130.0, 80.0], [-110.0, 80.0]]);
        let hole = ring(&[[10.0, 85.0], [-110.0, 85.0], [130.0, 85.0]]);
        let rings = cut_rings([outline.as_slice(), hole.as_slice()]);
        assert_eq!(rings.len(), 1);
        assert!((area(&rings[0]) - 1800.0).abs() < 1e-9);
    }

    #[test]
    fn touching_the_antimeridian_is_not_crossing_it() {
        for lon in [180.0, -180.0] {
            let touching = ring(&[[179.0, 0.0], [lon, 0.3], [lon, 0.7], [179.0, 1.0]]);
            let rings = cut_rings([touching.as_slice()]);
            let total: f64 = rings.iter().map(|r| area(r)).sum();
            assert!((total - 0.7).abs() < 1e-9, "{rings:?}");
            assert!(rings.iter().all(|r| area(r) > -1e-12));
        }
    }

    #[test]
    fn a_horseshoe_is_cut_into_three() {
        // Open to the east, its two arms across the antimeridian.
        let horseshoe = ring(&[
            [179.0, 0.0],
            [-179.0, 0.0],
            [-179.0, 1.0],
            [179.5, 1.0],
            [179.5, 2.0],
            [-179.0, 2.0],
            [-179.0, 3.0],
            [179.0, 3.0],
        ]);
        let rings = cut_rings([horseshoe.as_slice()]);
        assert_eq!(rings.len(), 3);
        let mut areas: Vec<f64> = rings.iter().map(|r| area(r)).collect();
        areas.sort_by(f64::total_cmp);
        assert!((areas[0] - 1.0).abs() < 1e-9 && (areas[1] - 1.0).abs() < 1e-9);
        assert!((areas[2] - 2.5).abs() < 1e-9);
    }
}
