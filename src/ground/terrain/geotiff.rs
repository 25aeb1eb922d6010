//! GeoTIFF: an image of heights whose tags say where it lies.
//!
//! # References
//!
//! OGC 19-008r4, "OGC GeoTIFF Standard" 1.1 (2019): sections 7.1 (keys), annex B (tags).
//! GDAL documentation, "GTiff: GeoTIFF File Format": the tag 42113 for missing heights.

use std::io::{BufReader, Read, Seek};
use std::path::Path;

use tiff::ColorType;
use tiff::decoder::{Decoder, DecodingResult};
use tiff::tags::Tag;

use super::raster::{Heights, Part, Raster};
use crate::error::{Fault, Result};
use crate::files::{guarded, name_of, open_regular};
use crate::geodesy::lattice::{Axis, Lattice, Plane};
use crate::ground::projection;
use crate::ground::region::Region;
use crate::numeric::single;
use crate::units::FOOT_M;

// Keys of the GeoKey directory.
const RASTER_TYPE: u16 = 1025;
const GEOGRAPHIC: u16 = 2048;
const PROJECTED: u16 = 3072;
const VERTICAL_UNITS: u16 = 4099;
/// Value of RASTER_TYPE: coordinates are those of points, not of corners of pixels.
const PIXEL_IS_POINT: u16 = 2;
/// One U.S. survey foot, m (exact: 1200/3937).
const SURVEY_FOOT_M: f64 = 1200.0 / 3937.0;
/// What an image should be that is not placed on the earth.
const REMEDY: &str = "a GeoTIFF with ModelPixelScale and ModelTiepoint, or ModelTransformation, and \
                      an EPSG code; gdalwarp -t_srs EPSG:4326 makes one from any";

pub(super) fn read(path: &Path, region: &Region, most: usize) -> Result<Raster> {
    let name = &name_of(path);
    let file = open_regular(path, "a GeoTIFF")?;
    guarded(name, "a GeoTIFF", || {
        image(BufReader::new(file), name, region, most)
    })
}

fn image<R: Read + Seek>(file: R, name: &str, region: &Region, most: usize) -> Result<Raster> {
    let wrong = |cause: tiff::TiffError| {
        Fault::new(
            name,
            cause.to_string(),
            "a TIFF of heights; is the file complete?",
        )
    };
    let mut tiff = Decoder::new(file).map_err(wrong)?;
    let (width, height) = tiff.dimensions().map_err(wrong)?;
    if !matches!(tiff.colortype().map_err(wrong)?, ColorType::Gray(_)) {
        let expected = "an image of one height a pixel";
        return Err(Fault::new(name, "an image in colours or of several bands", expected).into());
    }
    let placed = Placed::read(&mut tiff, name)?;
    let whole = placed.lattice(width as usize, height as usize, name)?;
    let part = Part::new(name, whole, region, most)?;
    let mut heights = vec![f32::NAN; part.count()];
    let (chunk_width, chunk_height) = tiff.chunk_dimensions();
    let (width, height) = (width as usize, height as usize);
    let (cw, ch) = (chunk_width.max(1) as usize, chunk_height.max(1) as usize);
    let across = width.div_ceil(cw);
    // The number of each chunk, as the decoder counts them.
    for (number, chunk) in (0..=u32::MAX).zip(0..across * height.div_ceil(ch)) {
        let (top, left) = (chunk / across * ch, chunk % across * cw);
        // The decoder cuts chunks off at the edges of the image.
        let (rows, columns) = (ch.min(height - top), cw.min(width - left));
        let from_south = |row: usize| {
            if placed.north_up {
                height - 1 - row
            } else {
                row
            }
        };
        let ends = [from_south(top), from_south(top + rows - 1)];
        // Nothing outside the region is decoded: a file may hold a continent.
        if !part.has_rows(ends[0].min(ends[1]), ends[0].max(ends[1]) + 1) {
            continue;
        }
        let values = tiff.read_chunk(number).map_err(wrong)?;
        let value = reader(&values, name)?;
        for row in 0..rows {
            for column in 0..columns {
                let Some(i) = part.index(from_south(top + row), left + column) else {
                    continue;
                };
                if let Some(v) = value(row * columns + column)
                    && placed.no_data != Some(v)
                    && let Some(height) = heights.get_mut(i)
                {
                    *height = single(v * placed.unit_m);
                }
            }
        }
    }
    part.raster(name, Heights::Fine(heights))
}

/// The value at an index of a chunk, whatever its type.
fn reader<'a>(
    values: &'a DecodingResult,
    name: &str,
) -> Result<Box<dyn Fn(usize) -> Option<f64> + 'a>> {
    macro_rules! of {
        ($v:expr) => {
            Box::new(move |i: usize| $v.get(i).map(|&v| f64::from(v)))
        };
    }
    Ok(match values {
        DecodingResult::U8(v) => of!(v),
        DecodingResult::U16(v) => of!(v),
        DecodingResult::U32(v) => of!(v),
        DecodingResult::I8(v) => of!(v),
        DecodingResult::I16(v) => of!(v),
        DecodingResult::I32(v) => of!(v),
        DecodingResult::F32(v) => of!(v),
        DecodingResult::F64(v) => of!(v),
        _ => {
            let expected = "heights as integers of 8 to 32 bits or floats of 32 or 64";
            return Err(Fault::new(name, "pixels of another type", expected).into());
        }
    })
}

/// What the tags say of where the image lies and of what its values mean.
struct Placed {
    plane: Plane,
    /// x of the first column's points and the way to the next.
    x: [f64; 2],
    /// y of the first row's points and the way to the next.
    y: [f64; 2],
    north_up: bool,
    no_data: Option<f64>,
    unit_m: f64,
}

impl Placed {
    fn read<R: Read + Seek>(tiff: &mut Decoder<R>, name: &str) -> Result<Placed> {
        let keys = tiff
            .get_tag_u16_vec(Tag::GeoKeyDirectoryTag)
            .unwrap_or_default();
        let key = |id: u16| {
            let mut entries = keys.as_chunks::<4>().0.iter().skip(1);
            // Values that stand in the directory itself have location 0.
            entries.find(|e| e[0] == id && e[1] == 0).map(|e| e[3])
        };
        // A projected image may name the degrees below its projection as well.
        let code = key(PROJECTED).or(key(GEOGRAPHIC));
        // 32767 stands for a projection that the file describes by other keys.
        let Some(code) = code.filter(|&c| c != 32_767) else {
            return Err(Fault::new(name, "no EPSG code of its projection", REMEDY).into());
        };
        let definition = projection::definition(name, u32::from(code))?;
        let plane = if projection::is_degrees(definition) {
            Plane::LatLon
        } else if projection::is_modern(definition) {
            Plane::Projected(definition.to_owned())
        } else {
            let found = format!("EPSG:{code}, which is not on WGS84 or a datum alike");
            return Err(Fault::new(name, found, REMEDY).into());
        };
        // The standard's default: coordinates of a pixel's corner, while the lattice has its
        // middle.
        let shift = if key(RASTER_TYPE) == Some(PIXEL_IS_POINT) {
            0.0
        } else {
            0.5
        };
        let [x, y] =
            corner_and_steps(tiff, name)?.map(|[first, step]| [first + shift * step, step]);
        let no_data = tiff
            .find_tag(Tag::GdalNodata)
            .ok()
            .flatten()
            .and_then(|value| value.into_string().ok())
            .and_then(|text| text.trim_end_matches('\0').trim().parse().ok());
        let unit_m = match key(VERTICAL_UNITS) {
            Some(9002) => FOOT_M,
            Some(9003) => SURVEY_FOOT_M,
            _ => 1.0,
        };
        Ok(Placed {
            plane,
            x,
            y,
            north_up: y[1] < 0.0,
            no_data,
            unit_m,
        })
    }

    fn lattice(&self, width: usize, height: usize, name: &str) -> Result<Lattice> {
        let [x, x_step] = self.x;
        let [y, y_step] = self.y;
        let sound = x.is_finite() && y.is_finite() && x_step > 0.0 && x_step.is_finite();
        if !sound || y_step == 0.0 || !y_step.is_finite() || width == 0 || height == 0 {
            return Err(Fault::new(name, "tags that give no place on the earth", REMEDY).into());
        }
        let last = y + y_step * (height as f64 - 1.0);
        let degrees = self.plane == Plane::LatLon;
        if degrees && (y.abs().max(last.abs()) > 90.5 || x.abs() > 360.5) {
            let found = format!("a corner at {x}, {y}, which are no degrees");
            return Err(Fault::new(name, found, REMEDY).into());
        }
        let axis = |first, step, count| Axis { first, step, count };
        Ok(Lattice {
            plane: self.plane.clone(),
            x: axis(x, x_step, width),
            y: axis(y.min(last), y_step.abs(), height),
        })
    }
}

/// x and y of the image's corner (or first point) and the way from pixel to pixel.
fn corner_and_steps<R: Read + Seek>(tiff: &mut Decoder<R>, name: &str) -> Result<[[f64; 2]; 2]> {
    let mut numbers = |tag: Tag| tiff.get_tag_f64_vec(tag).unwrap_or_default();
    let scale = numbers(Tag::ModelPixelScaleTag);
    let tie = numbers(Tag::ModelTiepointTag);
    if let ([sx, sy, ..], [i, j, _, x, y, ..]) = (scale.as_slice(), tie.as_slice()) {
        // Rows run south from the tie point, but the scale has no sign.
        return Ok([[x - i * sx, *sx], [y + j * sy, -sy]]);
    }
    let matrix = numbers(Tag::ModelTransformationTag);
    let &[a, b, _, x, d, e, _, y, ..] = matrix.as_slice() else {
        return Err(Fault::new(name, "no place on the earth in its tags", REMEDY).into());
    };
    // A lattice has its axes along x and y.
    if b != 0.0 || d != 0.0 {
        return Err(Fault::new(name, "an image that is turned", REMEDY).into());
    }
    Ok([[x, a], [y, e]])
}
