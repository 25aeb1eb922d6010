//! What is in a file: its messages with their places, and the fields in each.
//!
//! Three ways lead here, one file each: the text inventory, the JSON lines, and the headers of the
//! messages themselves.

pub mod idx;
pub mod json_lines;
pub mod walk;

use super::field::Field;

/// Fields after which a list is taken for something else.
const MOST_FIELDS: usize = 500_000;

/// One GRIB message of a file. It may hold several fields; it is fetched as a whole.
#[derive(Debug, Clone, PartialEq)]
pub struct Message {
    /// First byte.
    pub start: u64,
    /// Length in bytes; `None` for the last of a list that gives only beginnings.
    pub length: Option<u64>,
    /// What it holds.
    pub fields: Vec<Field>,
}
