//! Candidates of a table: a row each.

use csv::StringRecord;

use super::Candidate;
use super::heights::{EXPECTED, elevation_of, unit_of};
use crate::error::{Fault, Result};
use crate::geodesy::Position;

/// Where what stands in a table.
struct Columns {
    count: usize,
    lat: usize,
    lon: usize,
    name: Option<usize>,
    /// With the unit of all of them, which may be empty.
    elevation: Option<(usize, &'static str)>,
}

/// The candidates of a table, which its heading may have remarks above and its rows between them.
///
/// # Errors
///
/// A heading without a place, a row without one or with too many or too few fields, a height that no site
/// has.
pub fn read(name: &str, bytes: &[u8]) -> Result<Vec<Candidate>> {
    let mut reader = csv::ReaderBuilder::new()
        // As people type tables: blanks behind commas, remarks of any length.
        .trim(csv::Trim::All)
        .flexible(true)
        .has_headers(false)
        .from_reader(bytes);
    let mut columns: Option<Columns> = None;
    let mut found = Vec::new();
    for row in reader.records() {
        let row = row.map_err(|cause| {
            let line = cause.position().map_or(1, csv::Position::line);
            let fault = Fault::new(name, cause.to_string(), "a table of text in UTF-8");
            fault.at_line(line as usize)
        })?;
        let line = row.position().map_or(1, csv::Position::line) as usize;
        let first = row.get(0).unwrap_or("");
        match &columns {
            None if first.starts_with('#') => {}
            None => columns = Some(heading(name, &row, line)?),
            Some(_) if is_remark(first) => {}
            Some(columns) => {
                let candidate = columns.candidate(name, &row, found.len() + 1);
                found.push(candidate.map_err(|fault| fault.at_line(line))?);
            }
        }
    }
    Ok(found)
}

/// A field may be called "#1"; else a row that begins so is a remark, or a field that is switched off.
fn is_remark(first: &str) -> bool {
    let rest = first.strip_prefix('#');
    rest.is_some_and(|rest| !rest.starts_with(|c: char| c.is_ascii_digit()))
}

/// Where what stands, by a heading.
fn heading(name: &str, heading: &StringRecord, line: usize) -> Result<Columns> {
    let column = |names: &[&str]| {
        heading
            .iter()
            .position(|h| names.iter().any(|n| h.eq_ignore_ascii_case(n)))
    };
    let needed = |names: &[&str]| {
        column(names).ok_or_else(|| {
            let columns: Vec<&str> = heading.iter().collect();
            let expected = "columns lat and lon in degrees, and name and elevation if wanted";
            Fault::new(name, format!("columns {}", columns.join(", ")), expected).at_line(line)
        })
    };
    let elevations = heading.iter().enumerate();
    let elevations = elevations.filter_map(|(at, name)| Some((at, unit_of(name)?)));
    Ok(Columns {
        count: heading.len(),
        lat: needed(&["lat", "latitude", "lat_deg"])?,
        lon: needed(&["lon", "longitude", "lon_deg"])?,
        name: column(&["name", "site"]),
        // Of several the first, and rather one whose numbers need no units of their own.
        elevation: elevations.min_by_key(|(_, unit)| unit.is_empty()),
    })
}

impl Columns {
    fn place(&self, row: &StringRecord) -> Option<Position> {
        let degrees = |at: usize| row.get(at)?.parse().ok();
        Position::new(degrees(self.lat)?, degrees(self.lon)?)
    }

    /// The candidate of a row; without a name it has a number.
    fn candidate(
        &self,
        name: &str,
        row: &StringRecord,
        number: usize,
    ) -> std::result::Result<Candidate, Fault> {
        if row.len() != self.count {
            let expected = format!("{} as in the heading", self.count);
            return Err(Fault::new(name, format!("{} fields", row.len()), expected));
        }
        let field = |at: usize| row.get(at).unwrap_or("");
        let position = self.place(row).ok_or_else(|| {
            let found = format!("\"{}\", \"{}\"", field(self.lat), field(self.lon));
            let expected = "degrees north from -90 to 90 and east from -180 to 360";
            Fault::new(name, found, expected).of_key("lat, lon")
        })?;
        let height = self.elevation.map(|(at, unit)| (field(at), unit));
        let height = height.filter(|(text, _)| !text.is_empty());
        let elevation_m = height.map(|(text, unit)| elevation_of(text, unit));
        let label = self.name.map(field).filter(|text| !text.is_empty());
        Ok(Candidate {
            name: label.map_or_else(|| format!("site {number}"), str::to_owned),
            position,
            elevation_m: elevation_m
                .transpose()
                .map_err(|found| Fault::new(name, found, EXPECTED).of_key("elevation"))?,
        })
    }
}
