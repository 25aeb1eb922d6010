//! The archive's derived files: heights, temperatures and winds by component among much else, at levels
//! that were checked for it. Their headers have no place.
//!
//! # References
//!
//! NOAA National Centers for Environmental Information, "IGRA version 2: format of the derived data
//! files" (igra2-derived-format.txt), as published readers quote it: column numbers, units, fillers.

use super::{Column, Form, Record};
use crate::error::Result;
use crate::sources::clean::Row;

/// Pressure, Pa.
const PRESS: Column = ("PRESS", 1, 7);
/// Geopotential height as reported, m.
const REPGPH: Column = ("REPGPH", 9, 15);
/// The same, computed.
const CALCGPH: Column = ("CALCGPH", 17, 23);
/// Tenths of a kelvin.
const TEMP: Column = ("TEMP", 25, 31);
/// Tenths of a percent, as reported and computed.
const REPRH: Column = ("REPRH", 89, 95);
const CALCRH: Column = ("CALCRH", 97, 103);
/// Tenths of m/s, towards east and north.
const UWND: Column = ("UWND", 113, 119);
const VWND: Column = ("VWND", 129, 135);

/// The levels of the derived files.
pub(super) const FORM: Form = Form {
    width: 151,
    filled: &[-99_999],
    has_place: false,
    level,
};

/// Whether a line may be a level of a derived file.
pub(super) fn looks_like(record: &str) -> bool {
    record.len() >= FORM.width
}

fn level(record: &mut Record) -> Result<Row> {
    let tenths = |value: Option<f64>| value.map(|v| v / 10.0);
    let (reported, computed) = (record.value(REPGPH)?, record.value(CALCGPH)?);
    let (rh, computed_rh) = (record.value(REPRH)?, record.value(CALCRH)?);
    Ok(Row {
        pressure_pa: record.value(PRESS)?,
        // What was measured counts more than what was computed from it.
        height_m: reported.or(computed),
        temperature_k: tenths(record.value(TEMP)?),
        relative_humidity: tenths(rh.or(computed_rh)).map(|percent| percent / 100.0),
        east_m_s: tenths(record.value(UWND)?),
        north_m_s: tenths(record.value(VWND)?),
        ..Row::default()
    })
}
