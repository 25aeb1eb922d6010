//! Hills and valleys as shades of grey.

use std::fmt::Write as _;

use rayon::prelude::*;

use super::sheet::Sheet;
use crate::ground::terrain::Terrain;
use crate::report::palette::SLOPES;
use crate::report::pictures::picture::{Look, Picture};

/// A cell of the shading, units.
const CELL: f64 = 4.0;
/// How dark a slope must be for each of the greys, as a share of the light that flat ground gets.
const FROM: [f64; SLOPES.len()] = [0.04, 0.12, 0.22, 0.36];
/// The light comes from the north-west, half way up, as is the custom of maps.
const LIGHT: [f64; 3] = [-0.5, 0.5, std::f64::consts::FRAC_1_SQRT_2];

/// Shades the ground; whether there was any to shade. Steepness is exaggerated the more, the
/// coarser the cells are: slopes over long distances are gentle.
pub fn draw(picture: &mut Picture, sheet: &Sheet, terrain: &Terrain) -> bool {
    // One more each way, as a cell slopes to its neighbours.
    let [columns, rows] = sheet.size.map(|s| (s / CELL).ceil() as usize + 1);
    let heights: Vec<Option<f64>> = (0..rows * columns)
        .into_par_iter()
        .map(|i| {
            let at = [(i % columns) as f64 * CELL, (i / columns) as f64 * CELL];
            terrain.height_m(sheet.place(at))
        })
        .collect();
    let cell_m = CELL * sheet.unit_m;
    let exaggeration = (cell_m / 150.0).clamp(1.0, 4.0);
    let shade = |row: usize, column: usize| -> Option<usize> {
        let at = |r: usize, c: usize| heights[r * columns + c];
        let (here, east, south) = (at(row, column)?, at(row, column + 1)?, at(row + 1, column)?);
        let slope = |rise: f64| exaggeration * rise / cell_m;
        // Rows run south, so the rise to the north is the other way round.
        let normal = [-slope(east - here), slope(south - here), 1.0];
        let length = normal.iter().map(|v| v * v).sum::<f64>().sqrt();
        let light: f64 = (0..3).map(|k| normal[k] * LIGHT[k]).sum::<f64>() / length;
        let dark = 1.0 - light / LIGHT[2];
        // Below the lowest there is no grey, so that flat ground stays paper.
        FROM.iter().rposition(|from| dark > *from)
    };
    let mut paths = vec![String::new(); SLOPES.len()];
    for row in 0..rows - 1 {
        let mut column = 0;
        while column < columns - 1 {
            let found = shade(row, column);
            let start = column;
            // A run of one grey is one stroke: cells one by one make a far longer text.
            while column < columns - 1 && shade(row, column) == found {
                column += 1;
            }
            if let Some(shade) = found {
                let (x, y) = (start as f64 * CELL, (row as f64 + 0.5) * CELL);
                let long = (column - start) as f64 * CELL;
                let _ = write!(paths[shade], "M{x} {y}h{long}");
            }
        }
    }
    let shaded = paths
        .iter()
        .zip(SLOPES)
        .filter(|(path, _)| !path.is_empty());
    for (path, grey) in shaded {
        picture.raw_path(path, Look::line(grey, CELL).crisp());
    }
    paths.iter().any(|path| !path.is_empty())
}
