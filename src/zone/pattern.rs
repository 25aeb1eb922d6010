//! Landings on a plane around the planned one, and the regions that they fill.

use crate::error::Result;
use crate::geodesy::{LocalFrame, Position};
use crate::spread::region::{GroundEllipse, Regions};
use crate::spread::run::Landing;

/// Landings on a plane.
pub struct Pattern {
    /// The plane.
    pub frame: LocalFrame,
    /// A point on it for each landing, m.
    pub points: Vec<[f64; 2]>,
    /// The regions.
    pub regions: Regions,
}

impl Pattern {
    /// Of landings, on a plane around a place.
    ///
    /// # Errors
    ///
    /// Of fewer than three landings.
    pub fn of(landings: &[Landing], center: Position) -> Result<Pattern> {
        let frame = LocalFrame::new(center);
        let places = landings.iter().map(|l| l.place.position());
        let points: Vec<[f64; 2]> = places.map(|p| frame.to_plane(p)).collect();
        let regions = Regions::of(&points)?;
        Ok(Pattern {
            frame,
            points,
            regions,
        })
    }

    /// The ellipse that people are shown as the zone.
    ///
    /// # Errors
    ///
    /// When it cannot be brought to the ground.
    pub fn outer(&self) -> Result<Option<GroundEllipse>> {
        let outer = self.regions.outer();
        outer.map(|e| e.on_ground(&self.frame)).transpose()
    }
}
