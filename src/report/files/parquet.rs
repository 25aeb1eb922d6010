//! Releases of years of winds as Parquet: one row a release and field, the columns of the CSV.
//!
//! # References
//!
//! Apache Parquet format, logical types STRING and TIMESTAMP.

use std::sync::Arc;

use parquet::basic::Compression;
use parquet::data_type::{ByteArray, ByteArrayType, DoubleType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedColumnWriter, SerializedFileWriter};
use parquet::schema::parser::parse_message_type;

use crate::error::{Error, Result};
use crate::geodesy::Position;
use crate::report::tables::years::code;
use crate::years::Job;
use crate::years::parts::Part;
use crate::years::release::{Numbers, Release};

/// Rows that are written at once.
const ROWS: usize = 100_000;

/// How a column gets its values.
enum Values {
    Text(fn(&Job, &Release) -> Option<String>),
    /// Moments, as milliseconds since 1970 in UTC.
    Time(fn(&Release) -> i64),
    Count(fn(&Release) -> u64),
    Number(fn(&Numbers) -> Option<f64>),
    /// Of the place of the field.
    OfField(fn(Position) -> f64),
}

/// All columns; units are in their names, shares go from 0 to 1.
const COLUMNS: [(&str, Values); 21] = [
    (
        "field",
        Values::Text(|job, r| Some(job.fields.get(r.field)?.name.clone())),
    ),
    ("field_lat_deg", Values::OfField(|at| at.lat_deg)),
    ("field_lon_deg", Values::OfField(|at| at.lon_deg)),
    ("release", Values::Time(|r| 1_000 * r.at_s)),
    (
        "verdict",
        Values::Text(|_, r| Some(r.verdict.code().to_owned())),
    ),
    ("decides", Values::Text(|_, r| r.decides.map(code))),
    ("beyond", Values::Text(|_, r| beyond(r))),
    ("unknown", Values::Text(|_, r| r.unknown.map(code))),
    ("landed", Values::Count(|r| r.landed)),
    ("left_region", Values::Count(|r| r.left_region)),
    ("left_hours", Values::Count(|r| r.left_hours)),
    ("center_lat_deg", Values::Number(|n| Some(n.center[0]))),
    ("center_lon_deg", Values::Number(|n| Some(n.center[1]))),
    ("drift_m", Values::Number(|n| Some(n.drift_m))),
    ("azimuth_deg", Values::Number(|n| Some(n.azimuth_deg))),
    ("ellipse_90_km2", Values::Number(|n| n.area_km2)),
    ("surface_wind_m_s", Values::Number(|n| n.surface_m_s)),
    ("daylight_s", Values::Number(|n| n.daylight_s)),
    ("land_in_share", Values::Number(|n| n.land_in)),
    ("keep_clear_share", Values::Number(|n| Some(n.any))),
    ("water_share", Values::Number(|n| Some(n.water))),
];

/// The limits that a release is beyond, with spaces between; `None` for none.
fn beyond(release: &Release) -> Option<String> {
    let codes: Vec<String> = release.broken.iter().map(code).collect();
    (!codes.is_empty()).then(|| codes.join(" "))
}

impl Values {
    /// As the language of Parquet's schemas has it.
    fn kind(&self) -> [&'static str; 3] {
        match self {
            Values::Text(_) => ["optional", "binary", "(STRING)"],
            Values::Time(_) => ["required", "int64", "(TIMESTAMP(MILLIS,true))"],
            Values::Count(_) => ["required", "int64", ""],
            Values::Number(_) | Values::OfField(_) => ["optional", "double", ""],
        }
    }
}

/// Every release from every field, in SI units, times in UTC. What the work was is in the file's metadata,
/// under keys that begin with "windfall".
///
/// # Errors
///
/// When it cannot be made; which does not happen in memory.
pub fn releases(job: &Job, whole: &Part) -> Result<Vec<u8>> {
    written(job, whole).map_err(|cause| Error::CannotDo {
        why: format!("releases could not be written as Parquet: {cause}"),
        remedy: "expected releases.csv to do".into(),
    })
}

fn written(job: &Job, whole: &Part) -> std::result::Result<Vec<u8>, ParquetError> {
    let line = |(name, values): &(&str, Values)| {
        let [must, kind, meaning] = values.kind();
        format!("{must} {kind} {name} {meaning};")
    };
    let lines: String = COLUMNS.iter().map(line).collect();
    let schema = parse_message_type(&format!("message releases {{ {lines} }}"))?;
    let properties = WriterProperties::builder()
        // The packing that needs nothing in C.
        .set_compression(Compression::SNAPPY)
        .set_created_by(format!("windfall {}", env!("CARGO_PKG_VERSION")))
        .set_key_value_metadata(Some(about(job)))
        .build();
    let mut bytes = Vec::new();
    let mut file = SerializedFileWriter::new(&mut bytes, Arc::new(schema), Arc::new(properties))?;
    for rows in whole.releases.chunks(ROWS) {
        let mut group = file.next_row_group()?;
        for (_, values) in &COLUMNS {
            if let Some(column) = group.next_column()? {
                write(column, values, job, rows)?;
            }
        }
        group.close()?;
    }
    file.close()?;
    Ok(bytes)
}

fn about(job: &Job) -> Vec<KeyValue> {
    let options = job.asked.options;
    let pairs = [
        ("windfall", env!("CARGO_PKG_VERSION").to_owned()),
        ("windfall.flight", job.basis.name.clone()),
        ("windfall.work", job.digest.clone()),
        ("windfall.draws", options.draws.to_string()),
        ("windfall.seed", options.seed.to_string()),
    ];
    pairs
        .map(|(key, value)| KeyValue::new(key.to_owned(), value))
        .to_vec()
}

/// Whether there is a value: Parquet writes those that there are, and beside them a 1 or 0 for every row.
fn there<T>(value: &Option<T>) -> i16 {
    i16::from(value.is_some())
}

fn write_numbers(
    column: &mut SerializedColumnWriter,
    rows: &[Release],
    number: impl Fn(&Release) -> Option<f64>,
) -> std::result::Result<(), ParquetError> {
    let numbers: Vec<Option<f64>> = rows.iter().map(number).collect();
    let known: Vec<i16> = numbers.iter().map(there).collect();
    let numbers: Vec<f64> = numbers.into_iter().flatten().collect();
    let column = column.typed::<DoubleType>();
    column.write_batch(&numbers, Some(&known), None)?;
    Ok(())
}

/// One column of some rows: its values, and which rows have one.
fn write(
    mut column: SerializedColumnWriter,
    values: &Values,
    job: &Job,
    rows: &[Release],
) -> std::result::Result<(), ParquetError> {
    match values {
        Values::Text(text) => {
            let texts: Vec<Option<String>> = rows.iter().map(|row| text(job, row)).collect();
            let known: Vec<i16> = texts.iter().map(there).collect();
            let texts: Vec<ByteArray> = texts.iter().flatten().map(|t| t.as_str().into()).collect();
            column
                .typed::<ByteArrayType>()
                .write_batch(&texts, Some(&known), None)?;
        }
        Values::Number(number) => {
            write_numbers(&mut column, rows, |row| {
                row.numbers.as_ref().and_then(number)
            })?;
        }
        Values::OfField(number) => {
            let place = |row: &Release| Some(job.fields.get(row.field)?.plan.site.position);
            write_numbers(&mut column, rows, |row| place(row).map(number))?;
        }
        Values::Time(time) => {
            let times: Vec<i64> = rows.iter().map(time).collect();
            column
                .typed::<Int64Type>()
                .write_batch(&times, None, None)?;
        }
        Values::Count(count) => {
            // Counts are read from the files of parts, which may say anything.
            let count = |row: &Release| i64::try_from(count(row)).unwrap_or(i64::MAX);
            let counts: Vec<i64> = rows.iter().map(count).collect();
            column
                .typed::<Int64Type>()
                .write_batch(&counts, None, None)?;
        }
    }
    column.close()
}
