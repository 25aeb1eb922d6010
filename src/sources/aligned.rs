//! The cells of a row under the headings they belong to.

use super::cells::{Cell, Separator, placed};
use crate::error::Fault;
use crate::units::counted;

/// How rows with fewer cells than headings are read: where blanks separate, a missing value leaves no
/// cell, and only its place tells which it is.
pub(super) struct Aligned {
    separator: Separator,
    /// Rows in which every value stands under its heading, and all whole rows.
    straight: usize,
    whole: usize,
    /// Rows with values missing that cannot be told apart.
    unclear: usize,
}

impl Aligned {
    pub(super) fn new(separator: Separator) -> Aligned {
        Aligned {
            separator,
            straight: 0,
            whole: 0,
            unclear: 0,
        }
    }

    /// The cells of a row, one for each heading; `None`, counted, where that cannot be told.
    pub(super) fn row(
        &mut self,
        row: Vec<Cell>,
        heads: &[Cell],
    ) -> std::result::Result<Option<Vec<String>>, Fault> {
        let (found, wanted) = (row.len(), heads.len());
        let texts = |row: Vec<Cell>| row.into_iter().map(|cell| cell.text).collect();
        let beyond = row.iter().skip(wanted).any(|cell| !cell.text.is_empty());
        if beyond {
            let expected = format!(
                "{wanted}, as in the headings; where commas are decimal signs, ; or tabs between values"
            );
            return Err(Fault::new("", format!("{found} values"), expected));
        }
        let separated = matches!(self.separator, Separator::Char(_));
        if found >= wanted {
            let is_straight =
                !separated && placed(&row, heads).is_some_and(|p| p.iter().all(Option::is_some));
            self.whole += 1;
            self.straight += usize::from(is_straight);
            return Ok(Some(texts(row)));
        }
        if separated {
            let expected = format!("{wanted}, as in the header; is the file complete?");
            return Err(Fault::new("", format!("{found} values"), expected));
        }
        // Where whole rows do not stand under their headings, places tell nothing of the others.
        let placed = match self.straight == self.whole {
            true => placed(&row, heads),
            false => None,
        };
        self.unclear += usize::from(placed.is_none());
        Ok(placed.map(|cells| cells.into_iter().map(Option::unwrap_or_default).collect()))
    }

    pub(super) fn said(&self) -> Option<String> {
        (self.unclear > 0).then(|| {
            format!(
                "{} values: with blanks between values it is not clear which",
                counted(self.unclear, "row that lacks", "rows that lack")
            )
        })
    }
}
