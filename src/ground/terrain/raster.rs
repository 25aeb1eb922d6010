//! A rectangle of heights that knows where on the earth it lies.

use super::{Region, too_many};
use crate::earth::{DEGREE_M, HIGHEST_GROUND_M, LOWEST_GROUND_M, SEMI_MAJOR_M};
use crate::error::{Fault, Result};
use crate::geodesy::cell_map::CellMap;
use crate::geodesy::lattice::{Lattice, Plane, Window};
use crate::geodesy::{Normal, Position};

/// Heights row by row, the southernmost first, m.
#[derive(Debug, Clone)]
pub enum Heights {
    /// Whole metres; -32768 where there is none.
    Whole(Vec<i16>),
    /// With fractions; not-a-number where there is none.
    Fine(Vec<f32>),
}

impl Heights {
    fn at(&self, index: usize) -> Option<f64> {
        match self {
            Heights::Whole(h) => h
                .get(index)
                .filter(|&&v| v != i16::MIN)
                .map(|&v| f64::from(v)),
            Heights::Fine(h) => h
                .get(index)
                .filter(|v| v.is_finite())
                .map(|&v| f64::from(v)),
        }
    }

    #[allow(clippy::indexing_slicing, reason = "all of them, one after the other")]
    /// Makes heights that no ground has missing; gives the different ones among them, no more than
    /// tell that they are no fillers.
    fn drop_impossible(&mut self) -> Vec<f64> {
        let mut different: Vec<f64> = Vec::new();
        for i in 0..self.len() {
            let on_earth = LOWEST_GROUND_M..=HIGHEST_GROUND_M;
            let Some(height) = self.at(i).filter(|h| !on_earth.contains(h)) else {
                continue;
            };
            match self {
                Heights::Whole(h) => h[i] = i16::MIN,
                Heights::Fine(h) => h[i] = f32::NAN,
            }
            if different.len() <= MOST_FILLERS && !different.contains(&height) {
                different.push(height);
            }
        }
        different
    }

    fn len(&self) -> usize {
        match self {
            Heights::Whole(h) => h.len(),
            Heights::Fine(h) => h.len(),
        }
    }
}

/// More different numbers than this beyond the ground's range are no fillers.
const MOST_FILLERS: usize = 2;

/// One file's heights within the region.
#[derive(Debug, Clone)]
pub struct Raster {
    /// The file's name.
    pub source: String,
    /// The highest, m; `None` where all are missing.
    pub highest_m: Option<f64>,
    /// The lowest, m; `None` where all are missing.
    pub lowest_m: Option<f64>,
    rows: usize,
    columns: usize,
    heights: Heights,
    map: CellMap,
    spacing_m: f64,
    /// Columns all the way round the earth, where columns are degrees.
    round: Option<f64>,
    middle: Normal,
    /// Cosine of the angle within which all of it lies, seen from its middle.
    within: f64,
}

impl Raster {
    /// Heights on the points of a lattice, row by row from the south.
    ///
    /// # Errors
    ///
    /// When PROJ refuses the lattice's projection.
    pub fn new(source: String, lattice: &Lattice, heights: Heights) -> Result<Raster> {
        let (rows, columns) = (lattice.y.count, lattice.x.count);
        let map = lattice.map()?;
        let (top, right) = (rows as f64 - 1.0, columns as f64 - 1.0);
        let middle = map.position(0.5 * top, 0.5 * right)?;
        let spacing_m = match lattice.plane {
            // By rows, which are as far apart at every latitude.
            Plane::LatLon => lattice.y.step * DEGREE_M,
            Plane::Projected(_) => lattice.y.step,
        };
        let known = || (0..heights.len()).filter_map(|i| heights.at(i));
        let (highest_m, lowest_m) = (known().reduce(f64::max), known().reduce(f64::min));
        let round = (lattice.plane == Plane::LatLon).then(|| 360.0 / lattice.x.step);
        Ok(Raster {
            source,
            highest_m,
            lowest_m,
            rows,
            columns,
            heights,
            map: CellMap::new(lattice, middle)?,
            spacing_m,
            round,
            middle: middle.normal(),
            within: within(lattice, middle, spacing_m),
        })
    }

    /// Whether it may have a height in a region; false only where it surely has none.
    pub(super) fn reaches(&self, region: &Region) -> bool {
        let center = region.plane.center().normal();
        let dot: f64 = center.0.iter().zip(self.middle.0).map(|(a, b)| a * b).sum();
        let apart = dot.clamp(-1.0, 1.0).acos() - self.within.acos();
        apart * SEMI_MAJOR_M <= region.reach_m
    }

    /// How many heights it has.
    pub fn count(&self) -> usize {
        self.heights.len()
    }

    /// Distance between its rows, m.
    pub fn spacing_m(&self) -> f64 {
        self.spacing_m
    }

    /// The height at a place, bilinear between the four points around it (those of them that are
    /// known, if they have at least half of the weight); up to half a cell beyond the outermost
    /// points, that of the nearest.
    pub fn height_at(&self, place: Normal) -> Option<f64> {
        // One product tells most places that this is not their tile.
        let dot: f64 = place.0.iter().zip(self.middle.0).map(|(a, b)| a * b).sum();
        if dot < self.within {
            return None;
        }
        let (row, column) = self.map.locate(place);
        let column = match self.round {
            // Nearer to the first column, seen from the west, than to the last one, seen from the
            // east.
            Some(round) if column > 0.5 * (round + self.columns as f64) => column - round,
            _ => column,
        };
        let ((j, fy), (i, fx)) = (cell(row, self.rows)?, cell(column, self.columns)?);
        let (mut sum, mut weight) = (0.0, 0.0);
        for (dj, wy) in [(0, 1.0 - fy), (1, fy)] {
            for (di, wx) in [(0, 1.0 - fx), (1, fx)] {
                let w = wx * wy;
                // A point without weight may lie beyond the last row or column.
                if w > 0.0
                    && let Some(h) = self.heights.at((j + dj) * self.columns + i + di)
                {
                    sum += w * h;
                    weight += w;
                }
            }
        }
        (weight >= 0.5).then(|| sum / weight)
    }
}

/// The cell that holds a coordinate and how far in it; `None` more than half a cell outside.
#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "clamped to the cells that there are, for each landing"
)]
fn cell(at: f64, count: usize) -> Option<(usize, f64)> {
    let last = count.checked_sub(1)? as f64;
    // Turned round, so that not-a-number is outside, too.
    if !(at >= -0.5 && at <= last + 0.5) {
        return None;
    }
    let at = at.clamp(0.0, last);
    // The last point is the end of a cell, not the beginning of one.
    let low = at.floor().min((last - 1.0).max(0.0));
    Some((low as usize, at - low))
}

/// Cosine of an angle, seen from the middle, within which a lattice surely lies; -1 for one so
/// large that it does not matter.
fn within(lattice: &Lattice, middle: Position, spacing_m: f64) -> f64 {
    // With the half cell around the outermost points that belongs to it, and a little more.
    let (rows, columns) = (lattice.y.count as f64 + 1.0, lattice.x.count as f64 + 1.0);
    let across_m = match lattice.plane {
        Plane::LatLon => lattice.x.step * DEGREE_M * columns,
        Plane::Projected(_) => lattice.x.step * columns,
    };
    // Half the diagonal and a tenth: maps and ellipsoids stretch by less.
    let angle = 1.1 * 0.5 * across_m.hypot(spacing_m * rows) / SEMI_MAJOR_M;
    // Maps far from their centre may stretch by more.
    let stretched = matches!(lattice.plane, Plane::Projected(_)) && middle.lat_deg.abs() > 75.0;
    if angle > 1.5 || stretched {
        -1.0
    } else {
        angle.cos()
    }
}

/// The part of a file that is in the region, and the means to put its values there.
pub(super) struct Part {
    /// All points of the file.
    pub whole: Lattice,
    /// Those in the region.
    pub window: Window,
}

impl Part {
    /// The part around a place.
    pub fn new(name: &str, whole: Lattice, region: &Region, most: usize) -> Result<Part> {
        let axes = [whole.x, whole.y];
        // Outside of these there are no grids of heights, but there are damaged files.
        if axes
            .iter()
            .any(|a| !(1e-7..1e7).contains(&a.step) || !(-1e9..1e9).contains(&a.first))
        {
            let found = "a grid that fits nowhere on the earth";
            return Err(Fault::new(name, found, "a complete, undamaged file").into());
        }
        let window = whole.around(region.plane.center(), region.reach_m)?;
        let count = window.rows.saturating_mul(window.columns);
        if count > most {
            return Err(too_many(name, count));
        }
        Ok(Part { whole, window })
    }

    /// How many points are in the part.
    pub fn count(&self) -> usize {
        self.window.rows * self.window.columns
    }

    /// Where a point of the file (row from the south) goes; `None` when it is not in the part.
    pub fn index(&self, row: usize, column: usize) -> Option<usize> {
        let j = row.checked_sub(self.window.row)?;
        let i = match column.checked_sub(self.window.column) {
            Some(i) => i,
            // The window of a grid round the earth goes on at its first column.
            None => column + self.whole.x.count - self.window.column,
        };
        (j < self.window.rows && i < self.window.columns).then(|| j * self.window.columns + i)
    }

    /// Whether any of the rows `first..end` (from the south) is in the part.
    pub fn has_rows(&self, first: usize, end: usize) -> bool {
        first < self.window.row + self.window.rows && end > self.window.row
    }

    /// The raster of the part's heights.
    ///
    /// What cannot be a height of ground is none where it is a filler that the file does not
    /// declare: one or two numbers, again and again. Many different ones are another unit, or
    /// fillers that were averaged with heights.
    pub fn raster(&self, name: &str, mut heights: Heights) -> Result<Raster> {
        let impossible = heights.drop_impossible();
        if impossible.len() > MOST_FILLERS {
            let list: Vec<String> = impossible.iter().map(f64::to_string).collect();
            let found = format!("heights of {} m and others", list.join(", "));
            let expected = format!("{LOWEST_GROUND_M} to {HIGHEST_GROUND_M} m above sea level");
            return Err(Fault::new(name, found, expected).into());
        }
        Raster::new(name.to_owned(), &self.whole.cut(self.window), heights)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geodesy::lattice::Axis;

    fn raster(x: (f64, f64, usize), y: (f64, f64, usize), heights: Heights) -> Raster {
        let axis = |(first, step, count)| Axis { first, step, count };
        let lattice = Lattice {
            plane: Plane::LatLon,
            x: axis(x),
            y: axis(y),
        };
        Raster::new("t".into(), &lattice, heights).unwrap()
    }

    fn height(r: &Raster, lat: f64, lon: f64) -> Option<f64> {
        r.height_at(Position::new(lat, lon).unwrap().normal())
    }

    #[test]
    fn heights_are_bilinear_across_the_antimeridian() {
        let r = raster(
            (179.0, 1.0, 3),
            (0.0, 1.0, 2),
            Heights::Whole(vec![0, 10, 20, 100, 110, 120]),
        );
        assert!((height(&r, 0.0, 180.0).unwrap() - 10.0).abs() < 1e-9);
        assert!((height(&r, 0.5, -179.5).unwrap() - 65.0).abs() < 1e-9);
        assert!((height(&r, 1.0, -179.0).unwrap() - 120.0).abs() < 1e-9);
        // Half a cell outside the nearest point holds; beyond, nothing does.
        assert!((height(&r, -0.4, 178.6).unwrap() - 0.0).abs() < 1e-9);
        assert_eq!(height(&r, 0.0, 178.4), None);
        assert_eq!(height(&r, 0.0, 0.0), None);
        assert_eq!(height(&r, 2.0, 180.0), None);
        assert_eq!((r.highest_m, r.lowest_m), (Some(120.0), Some(0.0)));
    }

    #[test]
    fn missing_heights_are_left_out() {
        let r = raster(
            (0.0, 1.0, 2),
            (0.0, 1.0, 2),
            Heights::Whole(vec![i16::MIN, 10, 10, 10]),
        );
        assert!((height(&r, 0.5, 0.5).unwrap() - 10.0).abs() < 1e-9);
        assert_eq!(height(&r, 0.0, 0.0), None);
        let none = raster(
            (0.0, 1.0, 2),
            (0.0, 1.0, 2),
            Heights::Fine(vec![f32::NAN; 4]),
        );
        assert_eq!((height(&none, 0.5, 0.5), none.highest_m), (None, None));
    }

    #[test]
    fn a_grid_of_one_point_is_a_place() {
        let r = raster((5.0, 1.0, 1), (50.0, 1.0, 1), Heights::Whole(vec![7]));
        assert_eq!(height(&r, 50.2, 5.2), Some(7.0));
        assert_eq!(height(&r, 51.0, 5.0), None);
    }
}
