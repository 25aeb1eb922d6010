//! The points of a forecast's grid, and where a place lies among them.

use proj::Proj;

use super::Position;
use crate::error::{Error, Result};

/// The plane on which the points are equally spaced.
#[derive(Debug, Clone, PartialEq)]
pub enum Plane {
    /// Longitude and latitude, degrees.
    LatLon,
    /// A map projection, metres: its PROJ definition.
    Projected(String),
}

/// A grid of points: rows from south to north, columns from west to east on its plane, whichever
/// way the file runs.
#[derive(Debug, Clone, PartialEq)]
pub struct Lattice {
    /// What x and y are.
    pub plane: Plane,
    /// x of the first column (degrees east or m) and the way to the next, above 0.
    pub x: Axis,
    /// y of the first row (degrees north or m) and the way to the next, above 0.
    pub y: Axis,
}

/// Equally spaced values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Axis {
    /// The first.
    pub first: f64,
    /// From one to the next, above 0.
    pub step: f64,
    /// How many.
    pub count: usize,
}

impl Axis {
    /// Value `i`.
    pub fn value(&self, i: usize) -> f64 {
        self.first + self.step * i as f64
    }
}

/// Some rows and columns of a lattice; columns go on at the first one after the last where the
/// lattice goes round the earth.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// The first row.
    pub row: usize,
    /// The first column.
    pub column: usize,
    /// How many rows.
    pub rows: usize,
    /// How many columns.
    pub columns: usize,
}

impl Lattice {
    /// Whether the columns go round the earth, so that the first one follows the last.
    pub fn goes_round(&self) -> bool {
        self.plane == Plane::LatLon && (self.x.step * self.x.count as f64 - 360.0).abs() < 0.01
    }

    /// All rows and columns.
    pub fn whole(&self) -> Window {
        Window {
            row: 0,
            column: 0,
            rows: self.y.count,
            columns: self.x.count,
        }
    }
}
