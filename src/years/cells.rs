//! Cells of a map: where flights come down, counted.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::earth::DEGREE_M;
use crate::geodesy::{Normal, Position, wrap_longitude};
use crate::spread::run::Landing;

/// A grid of cells in latitude and longitude, about as wide as high around its origin.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CellGrid {
    /// A corner of cells, degrees of latitude and longitude.
    pub origin: [f64; 2],
    /// Height of a cell, degrees of latitude.
    pub lat_step_deg: f64,
    /// Width of a cell, degrees of longitude.
    pub lon_step_deg: f64,
}

/// Row from the south and column from the west, 0 at the origin.
pub type Cell = [i32; 2];

impl CellGrid {
    /// Cells of about `size_m`, with a corner at a whole degree near a place. Steps are whole parts of a
    /// degree of latitude, so that the cells of neighbouring plans fit on each other.
    pub fn around(place: Position, size_m: f64) -> CellGrid {
        // Cells larger than a degree would not fit on whole degrees.
        let a_degree = (DEGREE_M / size_m).round().max(1.0);
        let origin = [place.lat_deg.floor(), place.lon_deg.floor()];
        // By the middle of its degree, so that plans within it have cells of the same width.
        let narrow = (origin[0] + 0.5).to_radians().cos().max(0.02);
        CellGrid {
            origin,
            lat_step_deg: 1.0 / a_degree,
            lon_step_deg: 1.0 / (a_degree * narrow).round().max(1.0),
        }
    }

    /// The cell that holds a place.
    pub fn cell(&self, place: Normal) -> Cell {
        let place = place.position();
        // The short way round from the origin, so that cells go on across 180 degrees.
        let east_deg = wrap_longitude(place.lon_deg - self.origin[1]);
        [
            ((place.lat_deg - self.origin[0]) / self.lat_step_deg).floor() as i32,
            (east_deg / self.lon_step_deg).floor() as i32,
        ]
    }

    /// South, west, north and east of a cell, degrees; the longitudes may lie beyond 180.
    pub fn bounds(&self, [row, column]: Cell) -> [f64; 4] {
        let south = self.origin[0] + f64::from(row) * self.lat_step_deg;
        let west = self.origin[1] + f64::from(column) * self.lon_step_deg;
        let (north, east) = (south + self.lat_step_deg, west + self.lon_step_deg);
        [south.max(-90.0), west, north.min(90.0), east]
    }
}

/// Landings by field and cell.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CellCounts(pub BTreeMap<(usize, Cell), Count>);

/// Landings in a cell.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Count {
    /// Of all releases.
    pub all: u64,
    /// Of those within the limits.
    pub usable: u64,
}

impl CellCounts {
    /// Counts the landings of a release.
    pub fn add(&mut self, grid: &CellGrid, field: usize, landings: &[Landing], usable: bool) {
        for landing in landings {
            let count = self.0.entry((field, grid.cell(landing.place))).or_default();
            count.all += 1;
            count.usable += u64::from(usable);
        }
    }

    /// Adds the counts of another part.
    #[must_use]
    pub fn with(mut self, other: CellCounts) -> CellCounts {
        for (at, more) in other.0 {
            let count = self.0.entry(at).or_default();
            // Of files, which may say anything.
            count.all = count.all.saturating_add(more.all);
            count.usable = count.usable.saturating_add(more.usable);
        }
        self
    }
}
