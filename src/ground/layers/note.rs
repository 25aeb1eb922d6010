//! What readers of layers found that their users should know.

use serde::Serialize;

use super::Kind;
use crate::geodesy::Position;

/// What was found in one file, of one kind of feature.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LayerNote {
    /// The file's name.
    pub source: String,
    /// What its features were to be; `None` of a file that has many kinds.
    pub kind: Option<Kind>,
    /// What was found.
    #[serde(flatten)]
    pub found: LayerFinding,
}

/// What was found.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(tag = "code", rename_all = "snake_case")]
#[non_exhaustive]
pub enum LayerFinding {
    /// Shapes passed over, as their kind is not made of such.
    WrongShapes {
        /// How many.
        count: usize,
    },
    /// Lines in a file of areas, passed over as their ends do not meet.
    OpenLines {
        /// How many.
        count: usize,
    },
    /// Lines in a file of areas, taken as areas as their ends meet.
    ClosedLines {
        /// How many.
        count: usize,
    },
    /// Areas passed over that hold nothing: fewer than three corners, or all on a line.
    NoArea {
        /// How many.
        count: usize,
    },
    /// Roads without a known class.
    NoClass {
        /// How many.
        count: usize,
    },
    /// Paths, tracks and the like among roads, left out as no car drives on them.
    NotForCars {
        /// How many.
        count: usize,
    },
    /// Areas whose outline crosses itself: inside is where an odd number of rings overlap.
    Crossed {
        /// How many.
        count: usize,
    },
    /// Areas of an extract that has only a part of their outline.
    Incomplete {
        /// How many.
        count: usize,
    },
    /// The file ends within the region that was asked for, on one side or more.
    EndsWithin {
        /// Its northernmost latitude, degrees, where that is south of the region's.
        north_deg: Option<f64>,
        /// Its southernmost latitude.
        south_deg: Option<f64>,
        /// Its easternmost longitude.
        east_deg: Option<f64>,
        /// Its westernmost longitude.
        west_deg: Option<f64>,
    },
    /// Nothing lies in the region that was asked for.
    NothingNear {
        /// The middle of the region.
        center: Position,
        /// How far the region reaches, m.
        reach_m: f64,
        /// How far from the middle the nearest corner or point lies, m.
        nearest_m: f64,
    },
}
