//! FlatGeobuf, feature by feature.

use std::fs::File;
use std::io::BufReader;
use std::path::Path;

use flatgeobuf::geozero::{FeatureProperties, GeomProcessor, GeozeroGeometry, error};
use flatgeobuf::{FallibleStreamingIterator, FgbReader};

use super::LayerRequest;
use super::collect::{Attributes, Collected, Collector, Shape};
use crate::error::{Error, Fault, Result};
use crate::ground::projection::{Reference, ToDegrees};
use crate::ground::region::Region;

pub(super) fn read(
    path: &Path,
    name: &str,
    wanted: &LayerRequest,
    region: &Region,
) -> Result<Collected> {
    let file = File::open(path).map_err(|cause| Error::file(path, "read", cause))?;
    let wrong = |cause: String| Fault::new(name, cause, "a complete FlatGeobuf file");
    let reader = FgbReader::open(BufReader::new(file)).map_err(|e| wrong(e.to_string()))?;
    let to_degrees = reference(name, &reader)?;
    let mut collector = Collector::new(name, wanted, region, to_degrees);
    let mut features = reader.select_all_seq().map_err(|e| wrong(e.to_string()))?;
    while let Some(feature) = features.next().map_err(|e| wrong(e.to_string()))? {
        let attributes: Attributes = feature
            .properties()
            .map_err(|e| wrong(e.to_string()))?
            .into_iter()
            .collect();
        let mut shapes = Shapes::default();
        feature
            .process_geom(&mut shapes)
            .map_err(|e| wrong(e.to_string()))?;
        collector.feature(&attributes, shapes.done)?;
    }
    collector.finish()
}

/// The projection in the heading; none means degrees, and the collector sees when it is not.
fn reference<R: std::io::Read>(name: &str, reader: &FgbReader<R>) -> Result<ToDegrees> {
    let header = reader.header();
    let Some(crs) = header.crs() else {
        return Ok(ToDegrees::same());
    };
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

/// Shapes put together from the calls of a reader.
#[derive(Default)]
struct Shapes {
    done: Vec<Shape>,
    rings: Option<Vec<Vec<[f64; 2]>>>,
    points: Vec<[f64; 2]>,
}

impl Shapes {
    fn points_done(&mut self) {
        let points = std::mem::take(&mut self.points);
        self.done.extend(points.into_iter().map(Shape::Point));
    }
}

impl GeomProcessor for Shapes {
    fn xy(&mut self, x: f64, y: f64, _: usize) -> error::Result<()> {
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
        self.done.extend(self.rings.take().map(Shape::Polygon));
        Ok(())
    }
}
