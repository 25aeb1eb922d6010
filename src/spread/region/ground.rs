//! Regions brought from the plane to the ground.

use geo::{LineString, MultiPolygon};
use serde::Serialize;

use super::contour::Contour;
use super::ellipse::Ellipse;
use super::moments::half_turn_deg;
use crate::error::Result;
use crate::geodesy::{LocalFrame, Position, wrap_longitude};

/// Corners of a drawn ellipse: its area is within 0.05 % of the true one.
const CORNERS: usize = 120;
/// An edge that turns through more longitude than this, degrees, is split: between its ends a
/// straight line on the plane would differ from one in longitude and latitude.
const TURN_DEG: f64 = 5.0;
/// ... unless it is shorter than this, metres, already.
const SHORT_M: f64 = 10.0;

/// An ellipse on the ground.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GroundEllipse {
    /// The ellipse on the plane: probability, axes, the share of draws held.
    pub shape: Ellipse,
    /// Its centre.
    pub center: Position,
    /// Azimuth of the longer axis at the centre, degrees clockwise from true north, 0 up to 180.
    pub azimuth_deg: f64,
    /// Its edge, counter-clockwise seen from above; the first point is not repeated.
    pub ring: Vec<Position>,
}

/// A contour on the ground.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GroundContour {
    /// The probability it is meant to hold, 0 to 1.
    pub probability: f64,
    /// The share of the draws inside.
    pub held: f64,
    /// Area, square metres.
    pub area_m2: f64,
    /// How many of its polygons hold at least 2 % of the draws.
    pub pieces: usize,
    /// The region.
    pub polygons: Vec<GroundPolygon>,
}

/// A polygon on the ground, seen from above; no ring repeats its first point.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GroundPolygon {
    /// The outline, counter-clockwise.
    pub exterior: Vec<Position>,
    /// The holes, clockwise.
    pub holes: Vec<Vec<Position>>,
}

impl Ellipse {
    /// This ellipse on the ground.
    ///
    /// # Errors
    ///
    /// When it reaches beyond the other side of the earth.
    pub fn on_ground(&self, frame: &LocalFrame) -> Result<GroundEllipse> {
        let center = frame.to_position(self.center_m)?;
        // Without length there is no tip to look at from the centre.
        let azimuth_deg = if self.semi_major_m > 0.0 {
            half_turn_deg(center.azimuth_deg(frame.to_position(self.tip_m())?))
        } else {
            self.azimuth_deg
        };
        Ok(GroundEllipse {
            shape: *self,
            center,
            azimuth_deg,
            ring: ring_on_ground(&self.ring(CORNERS), frame)?,
        })
    }
}

impl Contour {
    /// This contour on the ground.
    ///
    /// # Errors
    ///
    /// When it reaches beyond the other side of the earth.
    pub fn on_ground(&self, frame: &LocalFrame) -> Result<GroundContour> {
        Ok(GroundContour {
            probability: self.probability,
            held: self.held,
            area_m2: self.area_m2(),
            pieces: self.pieces,
            polygons: polygons_on_ground(&self.polygons, frame)?,
        })
    }
}

/// Polygons of the plane (metres) on the ground.
///
/// # Errors
///
/// When they reach beyond the other side of the earth.
pub fn polygons_on_ground(
    polygons: &MultiPolygon,
    frame: &LocalFrame,
) -> Result<Vec<GroundPolygon>> {
    let ground = |ring: &LineString| {
        // The ring is closed: its last corner is the first one.
        let open: Vec<[f64; 2]> = ring.0.iter().skip(1).map(|c| [c.x, c.y]).collect();
        ring_on_ground(&open, frame)
    };
    polygons
        .iter()
        .map(|polygon| {
            Ok(GroundPolygon {
                exterior: ground(polygon.exterior())?,
                holes: polygon
                    .interiors()
                    .iter()
                    .map(ground)
                    .collect::<Result<_>>()?,
            })
        })
        .collect()
}

/// An open ring of the plane on the ground, with corners added where meridians crowd.
fn ring_on_ground(ring: &[[f64; 2]], frame: &LocalFrame) -> Result<Vec<Position>> {
    let corners: Vec<Position> = ring
        .iter()
        .map(|p| frame.to_position(*p))
        .collect::<Result<_>>()?;
    let mut out = Vec::with_capacity(ring.len());
    for i in 0..ring.len() {
        let j = (i + 1) % ring.len();
        out.push(corners[i]);
        split(
            frame,
            (ring[i], corners[i]),
            (ring[j], corners[j]),
            &mut out,
        )?;
    }
    Ok(out)
}

/// Adds the corners needed between two points of the plane.
fn split(
    frame: &LocalFrame,
    from: ([f64; 2], Position),
    to: ([f64; 2], Position),
    out: &mut Vec<Position>,
) -> Result<()> {
    // Without the wrap an edge across 180 degrees would turn once round the earth.
    let turn_deg = wrap_longitude(to.1.lon_deg - from.1.lon_deg).abs();
    let length_m = (to.0[0] - from.0[0]).hypot(to.0[1] - from.0[1]);
    if turn_deg > TURN_DEG && length_m > SHORT_M {
        let middle = [0, 1].map(|k| 0.5 * (from.0[k] + to.0[k]));
        let middle = (middle, frame.to_position(middle)?);
        split(frame, from, middle, out)?;
        out.push(middle.1);
        split(frame, middle, to, out)?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_azimuth_is_from_true_north_at_the_ellipse() {
        // 300 km east at 60 N the plane's north leans by about longitude times sin(latitude).
        let frame = LocalFrame::new(Position::new(60.0, 10.0).unwrap());
        let e = Ellipse::from_moments([3e5, 0.0], [[1e6, 0.0], [0.0, 9e6]], 0.5).unwrap();
        let ground = e.on_ground(&frame).unwrap();
        let lean = (ground.center.lon_deg - 10.0) * 60f64.to_radians().sin();
        assert!((lean - 4.6).abs() < 0.2, "{lean}");
        assert!(
            (ground.azimuth_deg - lean).abs() < 0.1,
            "{}",
            ground.azimuth_deg
        );
    }

    #[test]
    fn corners_are_added_beside_the_pole_only() {
        let e = Ellipse::from_moments([0.0, 0.0], [[1e8, 0.0], [0.0, 1e8]], 0.9).unwrap();
        for (lat, more) in [(45.0, false), (89.8, true)] {
            let frame = LocalFrame::new(Position::new(lat, 20.0).unwrap());
            let ring = e.on_ground(&frame).unwrap().ring;
            assert_eq!(ring.len() > CORNERS, more, "{lat}");
            assert!(ring.len() < 400);
        }
    }
}
