//! A landing zone: everything decided, nothing left to compute.

use jiff::Timestamp;
use serde::Serialize;

use crate::geodesy::Position;
use crate::notes::{Assumption, Note};
use crate::spread::region::{GroundContour, GroundEllipse, is_outer};

/// A place and a height at a time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Mark {
    /// Where on the ellipsoid.
    pub position: Position,
    /// Altitude above mean sea level, metres.
    pub altitude_m: f64,
    /// When.
    pub time: Timestamp,
}

/// The landing zone of one release.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Zone {
    /// Release of the flight without spread.
    pub release: Mark,
    /// Burst of the flight without spread.
    pub burst: Mark,
    /// Landing of the flight without spread.
    pub landing: Mark,
    /// The flight without spread, release and landing included.
    pub track: Vec<Mark>,
    /// Ellipses, smallest probability first.
    pub ellipses: Vec<GroundEllipse>,
    /// Contours, smallest probability first.
    pub contours: Vec<GroundContour>,
    /// The landings drawn, when they were asked for.
    pub draws: Option<Vec<Position>>,
    /// How many draws the zone was made from.
    pub draw_count: usize,
    /// The seed of the draws.
    pub seed: u64,
    /// The program's version.
    pub version: String,
    /// Every assumption made.
    pub assumptions: Vec<Assumption>,
    /// What to know about the result.
    pub notes: Vec<Note>,
}

impl Zone {
    /// The ellipse of 90 %, the outer line of reports for people; none where no region is given.
    pub fn outer(&self) -> Option<&GroundEllipse> {
        let mut ellipses = self.ellipses.iter();
        ellipses.find(|e| is_outer(e.shape.probability))
    }

    /// The centre of the zone: of that ellipse, else the planned landing.
    pub fn center(&self) -> Position {
        self.outer().map_or(self.landing.position, |e| e.center)
    }
}
