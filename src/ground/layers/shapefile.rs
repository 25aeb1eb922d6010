//! Shapefiles, with the attributes of their .dbf and the projection of their .prj.

use std::fs::File;
use std::io::BufReader;
use std::path::Path;

use shapefile::dbase::{self, FieldValue};
use shapefile::record::polygon::GenericPolygon;
use shapefile::record::polyline::GenericPolyline;
use shapefile::record::traits::HasXY;
use shapefile::{Shape as Record, ShapeReader};

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
    let to_degrees = match std::fs::read_to_string(path.with_extension("prj")) {
        Ok(wkt) => ToDegrees::new(name, &Reference::Wkt(wkt))?,
        // Without a .prj the collector sees when they are no degrees.
        Err(_) => ToDegrees::same(),
    };
    let file = File::open(path).map_err(|cause| Error::file(path, "read", cause))?;
    let wrong = |cause: String| Fault::new(name, cause, "a complete Shapefile");
    let mut shapes = ShapeReader::new(BufReader::new(file)).map_err(|e| wrong(e.to_string()))?;
    let mut table = match File::open(path.with_extension("dbf")) {
        Ok(file) => {
            Some(dbase::Reader::new(BufReader::new(file)).map_err(|e| wrong(e.to_string()))?)
        }
        Err(_) => None,
    };
    let mut records = table.as_mut().map(|t| t.iter_records());
    let mut collector = Collector::new(name, wanted, region, to_degrees);
    for shape in shapes.iter_shapes() {
        let shape = shape.map_err(|e| wrong(e.to_string()))?;
        let attributes = match records.as_mut().and_then(Iterator::next) {
            Some(record) => attributes(record.map_err(|e| wrong(e.to_string()))?),
            None => Attributes::new(),
        };
        collector.feature(&attributes, flatten(shape))?;
    }
    collector.finish()
}

fn attributes(record: dbase::Record) -> Attributes {
    record
        .into_iter()
        .map(|(key, value)| (key, text(&value)))
        .collect()
}

fn text(value: &FieldValue) -> String {
    match value {
        FieldValue::Character(Some(text)) | FieldValue::Memo(text) => text.clone(),
        FieldValue::Numeric(Some(number)) => number.to_string(),
        FieldValue::Float(Some(number)) => number.to_string(),
        FieldValue::Integer(number) => number.to_string(),
        FieldValue::Double(number) => number.to_string(),
        FieldValue::Logical(Some(flag)) => flag.to_string(),
        _ => String::new(),
    }
}

fn flatten(record: Record) -> Vec<Shape> {
    match record {
        Record::Point(p) => vec![Shape::Point([p.x, p.y])],
        Record::PointM(p) => vec![Shape::Point([p.x, p.y])],
        Record::PointZ(p) => vec![Shape::Point([p.x, p.y])],
        Record::Polyline(l) => lines(&l),
        Record::PolylineM(l) => lines(&l),
        Record::PolylineZ(l) => lines(&l),
        Record::Polygon(p) => polygon(&p),
        Record::PolygonM(p) => polygon(&p),
        Record::PolygonZ(p) => polygon(&p),
        Record::Multipoint(m) => spots(m.points()),
        Record::MultipointM(m) => spots(m.points()),
        Record::MultipointZ(m) => spots(m.points()),
        Record::NullShape | Record::Multipatch(_) => Vec::new(),
    }
}

fn points<P: HasXY>(points: &[P]) -> Vec<[f64; 2]> {
    points.iter().map(|p| [p.x(), p.y()]).collect()
}

fn spots<P: HasXY>(all: &[P]) -> Vec<Shape> {
    points(all).into_iter().map(Shape::Point).collect()
}

fn lines<P: HasXY>(line: &GenericPolyline<P>) -> Vec<Shape> {
    line.parts()
        .iter()
        .map(|part| Shape::Line(points(part)))
        .collect()
}

/// All rings as one polygon: outlines do not overlap, and holes lie in them.
fn polygon<P: HasXY>(polygon: &GenericPolygon<P>) -> Vec<Shape> {
    vec![Shape::Polygon(
        polygon.rings().iter().map(|r| points(r.points())).collect(),
    )]
}
