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
        let points = on_plane(landings, &frame);
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

/// The ellipse that people are shown as the zone, and nothing else of the [`Pattern`].
///
/// # Errors
///
/// As [`Pattern::of`], and when it cannot be brought to the ground.
pub fn outer(landings: &[Landing], center: Position) -> Result<GroundEllipse> {
    let frame = LocalFrame::new(center);
    Regions::outer_of(&on_plane(landings, &frame))?.on_ground(&frame)
}

fn on_plane(landings: &[Landing], frame: &LocalFrame) -> Vec<[f64; 2]> {
    let places = landings.iter().map(|landing| landing.place.position());
    places.map(|place| frame.to_plane(place)).collect()
}
