//! Releases of years of winds as Parquet equal those of the CSV, cell by cell, read with the crate that
//! wrote them; by hand pyarrow was asked, too.

#![cfg(feature = "parquet")]
// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "common/program.rs"]
#[allow(dead_code, reason = "a part of it is used here")]
mod program;

use std::fs::File;

use jiff::Timestamp;
use parquet::file::reader::{FileReader, SerializedFileReader};
use parquet::record::Field;
use program::{stderr, windfall};

/// A value as the CSV has it.
fn text(name: &str, field: &Field) -> String {
    match field {
        Field::Null => String::new(),
        Field::Str(text) => text.clone(),
        Field::Long(count) => count.to_string(),
        Field::Double(number) => number.to_string(),
        Field::TimestampMillis(ms) => Timestamp::from_millisecond(*ms).unwrap().to_string(),
        other => panic!("{name}: {other:?}"),
    }
}

#[test]
fn rows_are_those_of_the_csv() {
    let folder = tempfile::tempdir().unwrap();
    let [csv, parquet] = ["releases.csv", "all.parquet"].map(|name| folder.path().join(name));
    let done = windfall(
        "years",
        &[
            "samples/ribatejo/plan.toml",
            "--draws",
            "20",
            "--every",
            "6h",
            "--hours",
            "00:00-23:00",
            "--candidates",
            "samples/ribatejo/meadows.geojson",
            "--spacing",
            "12 km",
            "--out",
            csv.to_str().unwrap(),
            "--out",
            parquet.to_str().unwrap(),
        ],
    );
    assert!(done.status.success(), "{}", stderr(&done));
    let reader = SerializedFileReader::new(File::open(&parquet).unwrap()).unwrap();
    let about = reader.metadata().file_metadata();
    let known = about.key_value_metadata().unwrap();
    let value = |key: &str| known.iter().find(|pair| pair.key == key)?.value.clone();
    assert_eq!(value("windfall.draws").as_deref(), Some("20"));
    assert_eq!(value("windfall.flight").as_deref(), Some("Sobreiro 1"));
    let columns = about.schema_descr().columns();
    let names: Vec<&str> = columns.iter().map(|column| column.name()).collect();
    let mut expected = csv::Reader::from_path(&csv).unwrap();
    assert_eq!(expected.headers().unwrap(), names);
    let expected: Vec<csv::StringRecord> = expected.records().map(Result::unwrap).collect();
    let rows: Vec<Vec<String>> = reader
        .get_row_iter(None)
        .unwrap()
        .map(|row| {
            let row = row.unwrap();
            row.get_column_iter()
                .map(|(name, field)| text(name, field))
                .collect()
        })
        .collect();
    assert_eq!(rows.len() as i64, about.num_rows());
    assert!(rows.len() > 20 && rows.len() == expected.len());
    for (row, expected) in rows.iter().zip(&expected) {
        assert_eq!(expected, row.as_slice());
    }
    // Some numbers are not there, in a row whose others are.
    let empty = |row: &Vec<String>| row.iter().filter(|text| text.is_empty()).count();
    assert!(rows.iter().any(|row| (1..10).contains(&empty(row))));
}
