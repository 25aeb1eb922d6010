//! Shapefiles, with the attributes of their .dbf and the projection of their .prj.

use std::fs::File;
use std::io::{BufReader, Read, Seek, SeekFrom};
use std::path::Path;

use shapefile::dbase::encoding::{DynEncoding, UnicodeLossy};
use shapefile::dbase::{self, CodePageMark, FieldValue, ReaderBuilder};
use shapefile::record::polygon::GenericPolygon;
use shapefile::record::polyline::GenericPolyline;
use shapefile::record::traits::HasXY;
use shapefile::{Shape as Record, ShapeReader};

use super::LayerRequest;
use super::collect::{Attributes, Collected, Collector, Shape};
use crate::error::{Error, Fault, Result};
use crate::files::{beside, open_regular, read_text};
use crate::ground::projection::{Reference, ToDegrees};
use crate::ground::region::Region;

pub(super) fn read(
    path: &Path,
    name: &str,
    wanted: &LayerRequest,
    region: &Region,
) -> Result<Collected> {
    let to_degrees = match read_text(&beside(path, "prj"), "a projection") {
        Ok(wkt) => ToDegrees::new(name, &Reference::Wkt(wkt))?,
        // Without a .prj the collector sees when they are no degrees.
        Err(_) => ToDegrees::same(),
    };
    let mut shapes = shapes(path, name)?;
    let Table {
        mut reader,
        deleted,
    } = table(path, name)?;
    let mut records = reader.as_mut().map(|t| t.iter_records());
    let mut collector = Collector::new(name, wanted, region, to_degrees);
    for (row, shape) in shapes.iter_shapes().enumerate() {
        let shape = shape.map_err(|e| damaged(name, e.to_string()))?;
        // Rows of the table are in the order of the shapes; one that is deleted still has its shape, and is not
        // among the records.
        if deleted.get(row) == Some(&true) {
            continue;
        }
        let attributes = match records.as_mut().and_then(Iterator::next) {
            Some(record) => attributes(record.map_err(|e| damaged(name, e.to_string()))?),
            None => Attributes::new(),
        };
        collector.feature(&attributes, flatten(shape))?;
    }
    collector.finish()
}

fn damaged(name: &str, cause: String) -> Fault {
    Fault::new(name, cause, "a complete Shapefile")
}

/// The reader of a file's shapes.
fn shapes(path: &Path, name: &str) -> Result<ShapeReader<BufReader<File>>> {
    let mut file = open_regular(path, "a Shapefile")?;
    let refused = |cause| Error::file(path, "read", cause);
    let length = file.metadata().map_err(refused)?.len();
    // The reader reserves what a record says before it looks whether that is there.
    if let Some(lie) = first_lie(&mut BufReader::new(&file), length).map_err(refused)? {
        return Err(damaged(name, lie).into());
    }
    file.rewind().map_err(refused)?;
    let shapes = ShapeReader::new(BufReader::new(file));
    Ok(shapes.map_err(|e| damaged(name, e.to_string()))?)
}

/// The table of attributes beside shapes.
#[derive(Default)]
struct Table {
    reader: Option<dbase::Reader<BufReader<File>>>,
    /// Which rows are marked as deleted.
    deleted: Vec<bool>,
}

fn table(path: &Path, name: &str) -> Result<Table> {
    // Shapes without a table have no names or classes, and are of use all the same.
    let Ok(mut file) = open_regular(&beside(path, "dbf"), "a table") else {
        return Ok(Table::default());
    };
    let refused = |cause| Error::file(path, "read", cause);
    let deleted = deleted_rows(&mut BufReader::new(&file)).map_err(refused)?;
    file.rewind().map_err(refused)?;
    let encoding = encoding(path, &file).map_err(refused)?;
    file.rewind().map_err(refused)?;
    let reader = ReaderBuilder::new().with_encoding(encoding);
    let reader = reader.build(BufReader::new(file));
    Ok(Table {
        reader: Some(reader.map_err(|e| damaged(name, e.to_string()))?),
        deleted,
    })
}

/// How a table's letters are written: a file beside it tells, else its own mark. Of pages of DOS nobody knows here how
/// they are written: their letters beyond the English ones are lost, and names are all that is lost.
///
/// # References
///
/// ESRI, "Shapefiles and dBASE code pages": the .cpg file, and the mark at byte 29 of the heading.
fn encoding(path: &Path, mut table: &File) -> std::io::Result<DynEncoding> {
    const MARK_AT: u64 = 29;
    const USUAL_IN_WINDOWS: u8 = 0x57;
    let said = read_text(&beside(path, "cpg"), "a code page").ok();
    if let Some(encoding) = said.and_then(|said| named(&said)) {
        return Ok(encoding);
    }
    table.seek(SeekFrom::Start(MARK_AT))?;
    let mut mark = [0];
    table.read_exact(&mut mark)?;
    let [mark] = mark;
    let marked = match mark {
        USUAL_IN_WINDOWS => DynEncoding::from_name("1252"),
        mark => CodePageMark::from(mark).to_encoding(),
    };
    Ok(marked.unwrap_or_else(|| UnicodeLossy.into()))
}

/// The encoding that a .cpg file names, in one of the many ways that programs write it.
fn named(said: &str) -> Option<DynEncoding> {
    let name = said.trim().to_ascii_uppercase();
    let number = ["ANSI", "CP", "WINDOWS"]
        .iter()
        .find_map(|before| name.strip_prefix(before))
        .map(|rest| rest.trim_start_matches(['-', '_', ' ']));
    let usual = match name.as_str() {
        "UTF8" => "UTF-8",
        "LATIN1" | "LATIN-1" => "ISO-8859-1",
        name => name,
    };
    DynEncoding::from_name(usual).or_else(|| number.and_then(DynEncoding::from_name))
}

/// Which rows of a table are marked as deleted, as far as the file goes.
///
/// # References
///
/// dBASE III Plus, "Structure of a .dbf file": number of rows, length of heading and row; each row begins with its mark.
fn deleted_rows(file: &mut impl Read) -> std::io::Result<Vec<bool>> {
    let mut heading = [0; 12];
    file.read_exact(&mut heading)?;
    let [_, _, _, _, a, b, c, d, rest @ ..] = heading;
    let count = u32::from_le_bytes([a, b, c, d]);
    let [heading_size, row_size] = [[rest[0], rest[1]], [rest[2], rest[3]]].map(u16::from_le_bytes);
    let skipped = u64::from(heading_size).saturating_sub(heading.len() as u64);
    std::io::copy(&mut file.take(skipped), &mut std::io::sink())?;
    let mut row = vec![0; usize::from(row_size)];
    let mut deleted = Vec::new();
    for _ in 0..count {
        // A file that ends early is told by who reads its rows.
        if row.is_empty() || file.read_exact(&mut row).is_err() {
            break;
        }
        deleted.push(row.first() == Some(&b'*'));
    }
    Ok(deleted)
}

/// Bytes of a file's heading, and of a record's.
const HEADINGS: [u64; 2] = [100, 8];
/// Bytes of a record before the places of its parts or points: what it is, its box, one count or two.
const BEFORE_POINTS: u64 = 40;
const BEFORE_PARTS: u64 = 44;

/// The first record that says it has more than the file or the record does, in words. Lengths are
/// counted in units of two bytes, with the high byte first, counts with the low byte first.
///
/// # References
///
/// ESRI Shapefile Technical Description (1998), pages 3 to 23.
fn first_lie(file: &mut (impl Read + Seek), length: u64) -> std::io::Result<Option<String>> {
    let [mut at, heading] = HEADINGS;
    file.seek(SeekFrom::Start(24))?;
    let said = 2 * u64::from(u32::from_be_bytes(four(file)?));
    let mut number = 0;
    // What may follow after the length that the file says is not read.
    while at + heading <= length && at < said {
        number += 1;
        file.seek(SeekFrom::Start(at + 4))?;
        let size = 2 * u64::from(u32::from_be_bytes(four(file)?));
        at += heading;
        let told = |what: String| Ok(Some(format!("record {number} of {size} bytes with {what}")));
        if size > length - at {
            return told(format!("{} bytes left", length - at));
        }
        let shape = match size {
            // Too short to say what it is: as good as the shape of type 0, which holds nothing.
            0..4 => 0,
            _ => u32::from_le_bytes(four(file)?),
        };
        // Lines, areas (3, 5; 10 more with heights, 20 more with measures) and multipatches (31).
        let parts = matches!(shape, 3 | 5 | 13 | 15 | 23 | 25 | 31);
        let before = match shape {
            _ if parts => BEFORE_PARTS,
            8 | 18 | 28 => BEFORE_POINTS,
            _ => 0,
        };
        if before > size {
            return told(format!(
                "no place for the counts of a shape of type {shape}"
            ));
        }
        if before > 0 {
            // Behind the type (4 bytes) and the box (32).
            file.seek(SeekFrom::Start(at + 36))?;
            let first = u64::from(u32::from_le_bytes(four(file)?));
            let [parts, points] = match parts {
                true => [first, u64::from(u32::from_le_bytes(four(file)?))],
                false => [0, first],
            };
            if before + 4 * parts + 16 * points > size {
                return told(format!("{points} points in {parts} parts"));
            }
            let mut before = 0;
            for _ in 0..parts {
                let begins = u64::from(u32::from_le_bytes(four(file)?));
                // Parts end where the next begins: one that goes back would have a length below 0.
                if begins < before || begins > points {
                    return told(format!("a part that begins at point {begins} of {points}"));
                }
                before = begins;
            }
        }
        at += size;
    }
    Ok(None)
}

fn four(file: &mut impl Read) -> std::io::Result<[u8; 4]> {
    let mut bytes = [0; 4];
    file.read_exact(&mut bytes)?;
    Ok(bytes)
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
