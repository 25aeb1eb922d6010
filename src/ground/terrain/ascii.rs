//! The ASCII grid of ESRI: six lines of heading, then heights from north to south.
//!
//! # References
//!
//! ESRI, "Esri ASCII raster format" (ArcGIS documentation): keywords, order, corner and centre.

use std::fs::File;
use std::io::{BufRead, BufReader, Lines};
use std::path::Path;

use super::raster::{Heights, Part, Raster};
use crate::error::{Error, Fault, Result};
use crate::files::{beside, name_of, open_regular, read_text};
use crate::geodesy::lattice::{Axis, Lattice, Plane};
use crate::ground::projection::{Reference, ToDegrees, is_unprojected};
use crate::ground::region::Region;
use crate::numeric::{nearest_whole, single};

/// What a file of projected heights should be.
const DEGREES_ONLY: &str = "longitude and latitude in degrees; gdalwarp -t_srs EPSG:4326 makes a \
                            GeoTIFF of them from any projection";

/// What stands where there is no height if the heading does not name a number (ESRI's format).
const NO_DATA: f64 = -9_999.0;

/// What the heading says.
#[derive(Default)]
struct Heading {
    columns: Option<f64>,
    rows: Option<f64>,
    x: Option<(f64, bool)>,
    y: Option<(f64, bool)>,
    step_x: Option<f64>,
    step_y: Option<f64>,
    no_data: Option<f64>,
}

pub(super) fn read(path: &Path, region: &Region, most: usize) -> Result<Raster> {
    let name = &name_of(path);
    // The heading cannot name a projection, so a .prj beside it is the only one to say so.
    if let Ok(text) = read_text(&beside(path, "prj"), "a projection") {
        must_be_degrees(name, text)?;
    }
    let mut rows = Rows {
        path,
        name,
        lines: BufReader::new(open_regular(path, "heights")?).lines(),
        number: 0,
        line: String::new(),
    };
    let heading = rows.heading()?;
    let part = Part::new(name, heading.lattice(name)?, region, most)?;
    let heights = rows.heights(&part, heading.no_data.unwrap_or(NO_DATA))?;
    part.raster(name, Heights::Fine(heights))
}

/// Refuses what a .prj file says if it is not degrees on WGS84 or nearly so.
fn must_be_degrees(name: &str, text: String) -> Result<()> {
    let found = match is_unprojected(&text) {
        false => "a .prj file beside it that names a projection",
        true if ToDegrees::new(name, &Reference::Wkt(text))?.is_same() => return Ok(()),
        true => "a .prj file beside it that names another datum",
    };
    Err(Fault::new(name, found, DEGREES_ONLY).into())
}

/// The lines of a file, one after the other.
struct Rows<'a> {
    path: &'a Path,
    name: &'a str,
    lines: Lines<BufReader<File>>,
    number: usize,
    line: String,
}

impl Rows<'_> {
    /// Goes on to the next line; false after the last.
    fn next(&mut self) -> Result<bool> {
        self.number += 1;
        match self.lines.next() {
            Some(Ok(line)) => self.line = line,
            Some(Err(cause)) => return Err(Error::file(self.path, "read", cause)),
            None => return Ok(false),
        }
        Ok(true)
    }

    /// The heading; the first line of heights is read then.
    fn heading(&mut self) -> Result<Heading> {
        let mut heading = Heading::default();
        while self.next()? {
            if !heading.take(self.name, self.number, &self.line)? {
                return Ok(heading);
            }
        }
        // A file of a heading alone: its last line must not be read as heights.
        self.line.clear();
        Ok(heading)
    }

    /// The heights of a part, from this line on.
    fn heights(&mut self, part: &Part, no_data: f64) -> Result<Vec<f32>> {
        let (rows, columns) = (part.whole.y.count, part.whole.x.count);
        let mut heights = vec![f32::NAN; part.count()];
        let mut seen = 0;
        loop {
            for word in self.line.split_ascii_whitespace() {
                let value: f64 = word.parse().map_err(|_| {
                    Fault::new(self.name, format!("\"{word}\""), "a height in metres")
                        .at_line(self.number)
                })?;
                // Those that are too many are counted, too: the message says how many there are.
                if seen < rows * columns
                    && value != no_data
                    && let Some(i) = part.index(rows - 1 - seen / columns, seen % columns)
                    && let Some(height) = heights.get_mut(i)
                {
                    *height = single(value);
                }
                seen += 1;
            }
            if !self.next()? {
                break;
            }
        }
        if seen != rows * columns {
            let expected = format!("{rows} rows of {columns}; is the file complete?");
            return Err(Fault::new(self.name, format!("{seen} heights"), expected).into());
        }
        Ok(heights)
    }
}

impl Heading {
    /// Takes a line of the heading; false when it is none.
    fn take(&mut self, name: &str, line: usize, text: &str) -> Result<bool> {
        let mut words = text.split_ascii_whitespace();
        let Some(key) = words.next().map(str::to_ascii_lowercase) else {
            return Ok(true);
        };
        // A word that can stand for a missing height begins the heights.
        if !key.starts_with(|c: char| c.is_ascii_alphabetic()) || key == "nan" {
            return Ok(false);
        }
        let value: f64 = words.next().and_then(|w| w.parse().ok()).ok_or_else(|| {
            let found = format!("\"{}\"", text.trim());
            Fault::new(name, found, "a keyword and a number").at_line(line)
        })?;
        match key.as_str() {
            "ncols" => self.columns = Some(value),
            "nrows" => self.rows = Some(value),
            "xllcorner" => self.x = Some((value, true)),
            "xllcenter" => self.x = Some((value, false)),
            "yllcorner" => self.y = Some((value, true)),
            "yllcenter" => self.y = Some((value, false)),
            "cellsize" => (self.step_x, self.step_y) = (Some(value), Some(value)),
            "dx" => self.step_x = Some(value),
            "dy" => self.step_y = Some(value),
            "nodata_value" => self.no_data = Some(value),
            _ => {
                let expected = "ncols, nrows, xllcorner, yllcorner, cellsize or NODATA_value";
                return Err(Fault::new(name, format!("\"{key}\""), expected)
                    .at_line(line)
                    .into());
            }
        }
        Ok(true)
    }

    fn lattice(&self, name: &str) -> Result<Lattice> {
        let missing = |key: &'static str| {
            move || Fault::new(name, "nothing", "a number in the heading of the grid").of_key(key)
        };
        let count = |value: Option<f64>, key| -> Result<usize> {
            let value = value.ok_or_else(missing(key))?;
            let whole = (1.0..1e6).contains(&value) && value.fract() == 0.0;
            whole
                .then(|| nearest_whole(value))
                .flatten()
                .ok_or_else(|| {
                    let expected = "a whole number from 1 to 999,999";
                    Fault::new(name, value.to_string(), expected)
                        .of_key(key)
                        .into()
                })
        };
        let axis = |first: Option<(f64, bool)>, step: Option<f64>, count, key| -> Result<Axis> {
            let (first, corner) = first.ok_or_else(missing(key))?;
            let step = step.ok_or_else(missing("cellsize"))?;
            if step.is_nan() || step <= 0.0 {
                let fault = Fault::new(name, step.to_string(), "a size above 0");
                return Err(fault.of_key("cellsize").into());
            }
            let first = if corner { first + 0.5 * step } else { first };
            Ok(Axis { first, step, count })
        };
        let (columns, rows) = (count(self.columns, "ncols")?, count(self.rows, "nrows")?);
        let x = axis(self.x, self.step_x, columns, "xllcorner")?;
        let y = axis(self.y, self.step_y, rows, "yllcorner")?;
        let ends = |a: Axis| [a.first, a.value(a.count - 1)];
        let on_earth = ends(y).iter().all(|v| v.abs() <= 90.0)
            && ends(x).iter().all(|v| v.abs() <= 360.0)
            && x.step * (x.count as f64) < 360.5;
        if !on_earth {
            let found = format!(
                "coordinates from {} to {} and from {} to {}, which are no degrees",
                ends(x)[0],
                ends(x)[1],
                ends(y)[0],
                ends(y)[1]
            );
            return Err(Fault::new(name, found, DEGREES_ONLY).into());
        }
        Ok(Lattice {
            plane: Plane::LatLon,
            x,
            y,
        })
    }
}
