//! The height of the ground, from files of heights on a grid.

// Numbers and lengths from outside are another kind until they were found to be ours.
#![cfg_attr(
    not(test),
    deny(
        clippy::cast_possible_truncation,
        clippy::cast_possible_wrap,
        clippy::cast_sign_loss,
        clippy::indexing_slicing,
        clippy::string_slice
    )
)]

mod ascii;
mod geotiff;
mod hgt;
mod raster;

use std::path::Path;

pub use self::raster::{Heights, Raster};
use super::region::Region;
use crate::error::{Error, Fault, Result};
use crate::files::name_of;
use crate::geodesy::{Normal, Position};

/// Most heights kept, all files together: 200 MB as whole metres, 400 MB with fractions.
const MOST_HEIGHTS: usize = 100_000_000;

/// Heights of the ground above mean sea level, from one or more files; the finest comes first, and what
/// stands in where they have none last.
#[derive(Debug, Clone, Default)]
pub struct Terrain {
    tiles: Vec<Raster>,
}

impl Terrain {
    /// Reads what files say of a region: SRTM .hgt (also .hgt.gz), GeoTIFF, ESRI ASCII grid.
    ///
    /// Heights are taken as above mean sea level, whatever geoid the file means by that (they
    /// differ by a metre or two).
    ///
    /// # Errors
    ///
    /// A file that cannot be read, understood or placed on the earth; too many heights.
    pub fn open<P: AsRef<Path>>(paths: &[P], region: &Region) -> Result<Terrain> {
        let mut tiles = Vec::new();
        let mut left = MOST_HEIGHTS;
        for path in paths {
            let tile = open_one(path.as_ref(), region, left)?;
            left = left.saturating_sub(tile.count());
            // Of a file that lies elsewhere those points were read that are nearest to the region.
            if tile.reaches(region) {
                tiles.push(tile);
            }
        }
        Ok(Terrain::of(tiles))
    }

    /// Terrain of rasters made elsewhere, as of a forecast's own orography.
    pub fn of(mut tiles: Vec<Raster>) -> Terrain {
        // `height_at` takes the first that has a height there.
        tiles.sort_by(|a, b| a.spacing_m().total_cmp(&b.spacing_m()));
        Terrain { tiles }
    }

    /// The height of the ground at a place, m above mean sea level; `None` where no file has it.
    pub fn height_m(&self, place: Position) -> Option<f64> {
        self.height_at(place.normal())
    }

    /// [`Terrain::height_m`] for the hot loop.
    pub fn height_at(&self, place: Normal) -> Option<f64> {
        self.tiles.iter().find_map(|tile| tile.height_at(place))
    }

    /// The file that gives the height at a place.
    pub fn source_at(&self, place: Position) -> Option<&str> {
        let place = place.normal();
        self.tiles
            .iter()
            .find(|tile| tile.height_at(place).is_some())
            .map(|tile| tile.source.as_str())
    }

    /// The files that have a height in the region.
    pub fn sources_with_heights(&self) -> impl Iterator<Item = &str> {
        let known = self.tiles.iter().filter(|tile| tile.highest_m.is_some());
        known.map(|tile| tile.source.as_str())
    }

    /// All files, as in "N44W071.hgt, N44W072.hgt".
    pub fn source(&self) -> String {
        let mut names: Vec<&str> = self.tiles.iter().map(|t| t.source.as_str()).collect();
        names.sort_unstable();
        names.join(", ")
    }

    /// Distance between neighbouring heights of the finest file, m; `None` without files.
    pub fn spacing_m(&self) -> Option<f64> {
        // Files rise from the finest on; what stands in for them is last.
        let ends = [self.tiles.first(), self.tiles.last()];
        let spacings = ends.into_iter().flatten().map(Raster::spacing_m);
        spacings.reduce(f64::min)
    }

    /// Distance between neighbouring heights of a file, m; `None` where it is not among these.
    pub fn spacing_of_m(&self, source: &str) -> Option<f64> {
        let of_it = self.tiles.iter().find(|tile| tile.source == source);
        of_it.map(Raster::spacing_m)
    }

    /// The highest ground in any file, m above mean sea level; `None` where there is none.
    pub fn highest_m(&self) -> Option<f64> {
        self.tiles
            .iter()
            .filter_map(|t| t.highest_m)
            .reduce(f64::max)
    }

    /// The lowest ground in any file, m above mean sea level; `None` where there is none.
    pub fn lowest_m(&self) -> Option<f64> {
        self.tiles
            .iter()
            .filter_map(|t| t.lowest_m)
            .reduce(f64::min)
    }

    /// The same with a raster that stands in where the files have no height.
    #[must_use]
    pub fn or_else(mut self, raster: Raster) -> Terrain {
        self.tiles.push(raster);
        self
    }
}

/// Reads what a file says of a region, so many heights at most.
type Reader = fn(&Path, &Region, usize) -> Result<Raster>;

fn open_one(path: &Path, region: &Region, most: usize) -> Result<Raster> {
    let lower = path.to_string_lossy().to_ascii_lowercase();
    let ends = |with: &[&str]| with.iter().any(|end| lower.ends_with(end));
    let reader: Option<Reader> = if ends(&[".hgt", ".hgt.gz"]) {
        Some(hgt::read)
    } else if ends(&[".tif", ".tiff"]) {
        Some(geotiff::read)
    } else if ends(&[".asc"]) {
        Some(ascii::read)
    } else {
        None
    };
    let unknown = || {
        let found = "a file of heights whose name ends in none of the known ways";
        let expected = "a name ending in .hgt, .hgt.gz, .tif, .tiff or .asc";
        Fault::new(name_of(path), found, expected)
    };
    reader.ok_or_else(unknown)?(path, region, most)
}

/// The error for a file that would fill the memory.
fn too_many(name: &str, count: usize) -> Error {
    Error::CannotDo {
        why: format!(
            "{name} has {count} heights in the region, more than can be kept with the rest"
        ),
        remedy: format!("give fewer or coarser files: at most {MOST_HEIGHTS} heights are kept"),
    }
}
