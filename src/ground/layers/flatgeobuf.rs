//! FlatGeobuf, feature by feature.

use std::fs::File;
use std::io::{BufReader, Read, Seek};
use std::path::Path;

use flatgeobuf::geozero::{FeatureProperties, GeomProcessor, GeozeroGeometry, error};
use flatgeobuf::packed_r_tree::PackedRTree;
use flatgeobuf::{FallibleStreamingIterator, FgbReader, Header};

use super::LayerRequest;
use super::collect::{Attributes, Collected, Collector, Shape};
use crate::error::{Error, Fault, Result};
use crate::files::open_regular;
use crate::ground::projection::{Reference, ToDegrees};
use crate::ground::region::Region;

pub(super) fn read(
    path: &Path,
    name: &str,
    wanted: &LayerRequest,
    region: &Region,
) -> Result<Collected> {
    let mut file = open_regular(path, "a FlatGeobuf")?;
    let wrong = |cause: String| Fault::new(name, cause, "a complete FlatGeobuf file");
    let refused = |cause| Error::file(path, "read", cause);
    let length = file.metadata().map_err(refused)?.len();
    let sizes = Sizes::of(&file).map_err(refused)?;
    // The reader reserves what the file says before it looks whether that is there.
    if sizes.heading.saturating_add(FIRST_BYTES) > length {
        return Err(wrong(format!("a heading of {} bytes in {length}", sizes.heading)).into());
    }
    let reader = FgbReader::open(BufReader::new(&file)).map_err(|e| wrong(e.to_string()))?;
    let lie = sizes.features(reader.header(), BufReader::new(&file), length);
    if let Some((number, size)) = lie.map_err(refused)? {
        let found = format!("feature {number} of {size} bytes in a file of {length}");
        return Err(wrong(found).into());
    }
    // All readers share the position of the one open file, which the look at the sizes has moved.
    file.rewind().map_err(refused)?;
    let reader = FgbReader::open(BufReader::new(&file)).map_err(|e| wrong(e.to_string()))?;
    let to_degrees = reference(name, &reader)?;
    let mut budget = length / LEAST_BYTES;
    let mut collector = Collector::new(name, wanted, region, to_degrees);
    let mut features = reader.select_all_seq().map_err(|e| wrong(e.to_string()))?;
    while let Some(feature) = features.next().map_err(|e| wrong(e.to_string()))? {
        let attributes: Attributes = feature
            .properties()
            .map_err(|e| wrong(e.to_string()))?
            .into_iter()
            .collect();
        let mut shapes = Shapes {
            budget,
            ..Shapes::default()
        };
        feature
            .process_geom(&mut shapes)
            .map_err(|e| wrong(e.to_string()))?;
        budget = shapes.budget;
        collector.feature(&attributes, shapes.done)?;
    }
    collector.finish()
}

/// Bytes before the heading: what it is, and how long that is.
const FIRST_BYTES: u64 = 12;
/// Nothing that is drawn takes fewer bytes of a file: a point has sixteen, a part of a shape four.
const LEAST_BYTES: u64 = 4;

/// How long a file says that its pieces are.
struct Sizes {
    heading: u64,
}

impl Sizes {
    fn of(mut file: &File) -> std::io::Result<Sizes> {
        let mut first = Vec::new();
        file.take(FIRST_BYTES).read_to_end(&mut first)?;
        file.rewind()?;
        // The last four of these bytes are the length of the heading.
        let size = first.last_chunk().copied().unwrap_or_default();
        Ok(Sizes {
            heading: u64::from(u32::from_le_bytes(size)),
        })
    }

    /// The number and the size of the first feature that would reach beyond the file's end.
    fn features(
        &self,
        header: Header,
        mut file: impl Read + Seek,
        length: u64,
    ) -> std::io::Result<Option<(u64, u64)>> {
        let count = header.features_count();
        let index = match header.index_node_size() {
            0 => 0,
            // Its first level alone has a node of forty bytes for each feature.
            _ if count.saturating_mul(40) > length => return Ok(Some((count, 40))),
            _ if count == 0 => 0,
            node_size => match usize::try_from(count) {
                Ok(count) => PackedRTree::index_size(count, node_size) as u64,
                Err(_) => return Ok(Some((count, 40))),
            },
        };
        let mut at = FIRST_BYTES + self.heading + index;
        let mut number = 0;
        file.seek(std::io::SeekFrom::Start(at))?;
        // A count of 0 says that the writer did not know it: features go on to the end of the file.
        while at + 4 <= length && (count == 0 || number < count) {
            let mut size = [0; 4];
            file.read_exact(&mut size)?;
            let size = u64::from(u32::from_le_bytes(size));
            number += 1;
            at += 4 + size;
            if at > length {
                return Ok(Some((number, size)));
            }
            file.seek(std::io::SeekFrom::Start(at))?;
        }
        Ok(None)
    }
}

/// The projection in the heading; none means degrees, and the collector sees when it is not.
fn reference<R: std::io::Read>(name: &str, reader: &FgbReader<R>) -> Result<ToDegrees> {
    let header = reader.header();
    let Some(crs) = header.crs() else {
        return Ok(ToDegrees::same());
    };
    // The format has EPSG for a code whose organization is not named.
    let epsg = crs.org().is_none_or(|org| org.eq_ignore_ascii_case("EPSG"));
    if epsg && crs.code() > 0 {
        return Ok(ToDegrees::new(
            name,
            &Reference::Epsg(crs.code().unsigned_abs()),
        )?);
    }
    match crs.wkt() {
        Some(wkt) => Ok(ToDegrees::new(name, &Reference::Wkt(wkt.to_owned()))?),
        None => Ok(ToDegrees::same()),
    }
}

/// Shapes put together from the calls of a reader, as many points and parts as the budget allows: a
/// file may point to one part from many places.
#[derive(Default)]
struct Shapes {
    budget: u64,
    done: Vec<Shape>,
    rings: Option<Vec<Vec<[f64; 2]>>>,
    points: Vec<[f64; 2]>,
}

impl Shapes {
    fn points_done(&mut self) {
        let points = std::mem::take(&mut self.points);
        self.done.extend(points.into_iter().map(Shape::Point));
    }

    fn pay(&mut self) -> error::Result<()> {
        let left = self.budget.checked_sub(1);
        self.budget = left.ok_or_else(|| {
            error::GeozeroError::Geometry("shapes of more parts than the file has bytes for".into())
        })?;
        Ok(())
    }
}

impl GeomProcessor for Shapes {
    fn xy(&mut self, x: f64, y: f64, _: usize) -> error::Result<()> {
        self.pay()?;
        self.points.push([x, y]);
        Ok(())
    }

    fn point_end(&mut self, _: usize) -> error::Result<()> {
        self.points_done();
        Ok(())
    }

    fn multipoint_end(&mut self, _: usize) -> error::Result<()> {
        self.points_done();
        Ok(())
    }

    fn linestring_end(&mut self, _: bool, _: usize) -> error::Result<()> {
        // Parts pay besides their points, as those without any take memory, too.
        self.pay()?;
        let points = std::mem::take(&mut self.points);
        match &mut self.rings {
            Some(rings) => rings.push(points),
            None => self.done.push(Shape::Line(points)),
        }
        Ok(())
    }

    fn polygon_begin(&mut self, _: bool, _: usize, _: usize) -> error::Result<()> {
        self.rings = Some(Vec::new());
        Ok(())
    }

    fn polygon_end(&mut self, _: bool, _: usize) -> error::Result<()> {
        self.pay()?;
        self.done.extend(self.rings.take().map(Shape::Polygon));
        Ok(())
    }
}
