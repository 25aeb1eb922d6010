//! Tables of text: CSV with commas, semicolons or tabs, with a line of names, or with columns that the
//! user numbers.

use super::fields::{Fields, What, default_scale, plain, rank, report, what};
use super::{Outcome, Refusal};

/// A table whose columns are known.
#[derive(Debug, Clone, PartialEq)]
pub struct ReportTable {
    separator: u8,
    /// What each column is, with the scale of its numbers.
    columns: Vec<(What, usize, f64)>,
}

/// What may stand between columns.
const SEPARATORS: [u8; 3] = *b",;\t";

impl ReportTable {
    /// The table that a line of names begins; `None` where it is none.
    pub fn of_names(line: &str, fields: &Fields) -> Option<ReportTable> {
        SEPARATORS.into_iter().find_map(|separator| {
            let names = cells(line, separator)?;
            let mut columns: Vec<(What, usize, f64)> = Vec::new();
            for asked in ALL {
                let found = match fields.given(asked) {
                    Some(place) => {
                        let wanted = place.path.join(".");
                        let column = names
                            .iter()
                            .position(|n| n.trim() == wanted || plain(n) == plain(&wanted));
                        column.map(|c| (c, place.scale))
                    }
                    None => {
                        let of_it = |(_, n): &(usize, &String)| what(&plain(n)) == Some(asked);
                        let mut found = names.iter().enumerate().filter(of_it);
                        let column = match asked {
                            What::Tracker => found.min_by_key(|(_, n)| rank(&plain(n))),
                            _ => found.next(),
                        };
                        column.map(|(c, name)| {
                            (c, default_scale(name.trim_end_matches([')', ']', '"'])))
                        })
                    }
                };
                columns.extend(found.map(|(c, scale)| (asked, c, scale)));
            }
            ReportTable { separator, columns }.with_places()
        })
    }

    /// The table of lines without names, of which the user numbers the columns.
    pub fn of_numbers(line: &str, fields: &Fields) -> Option<ReportTable> {
        let columns = ALL.iter().filter_map(|asked| {
            let place = fields.given(*asked)?;
            let [number] = place.path.as_slice() else {
                return None;
            };
            let column = number.parse::<usize>().ok()?.checked_sub(1)?;
            Some((*asked, column, place.scale))
        });
        let columns: Vec<(What, usize, f64)> = columns.collect();
        let wide = columns.iter().map(|(_, c, _)| *c).max()?;
        let separator = SEPARATORS
            .into_iter()
            .find(|s| cells(line, *s).is_some_and(|cells| cells.len() > wide))?;
        ReportTable { separator, columns }.with_places()
    }

    fn with_places(self) -> Option<ReportTable> {
        let has = |asked: What| self.columns.iter().any(|(w, _, _)| *w == asked);
        (has(What::Latitude) && has(What::Longitude)).then_some(self)
    }

    /// A report from a line.
    pub fn read(&self, line: &str) -> Outcome {
        let cells = cells(line, self.separator).ok_or(Refusal::Damaged)?;
        let needed = [What::Latitude, What::Longitude];
        let reaches = |asked| {
            let column = self.columns.iter().find(|(w, _, _)| *w == asked);
            column.is_some_and(|(_, c, _)| *c < cells.len())
        };
        // A line that ends before its place was cut.
        if !needed.into_iter().all(reaches) {
            return Err(Refusal::Damaged);
        }
        report(|asked| {
            let (_, column, scale) = self.columns.iter().find(|(w, _, _)| *w == asked)?;
            Some((cells.get(*column)?.clone(), *scale))
        })
    }
}

const ALL: [What; 7] = [
    What::Time,
    What::Date,
    What::Latitude,
    What::Longitude,
    What::Altitude,
    What::Tracker,
    What::Heard,
];

/// The cells of a line; `None` for fewer than two.
fn cells(line: &str, separator: u8) -> Option<Vec<String>> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .delimiter(separator)
        .flexible(true)
        .from_reader(line.as_bytes());
    let row = reader.records().next()?.ok()?;
    (row.len() > 1).then(|| row.iter().map(|cell| cell.trim().to_owned()).collect())
}
