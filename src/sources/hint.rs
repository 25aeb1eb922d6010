//! What a column whose heading is not understood may hold, for lines that a person may copy.

use super::heading::{Heading, Quantity, plain, read, read_with, symbol};

/// What a heading that is not understood may be taken for.
#[derive(Debug, PartialEq)]
pub(super) struct Hint {
    /// Quantity and unit, as a person may say them.
    pub meaning: String,
    /// Whether heading or unit speak for it.
    pub is_named: bool,
}

/// A heading that is not understood, with the unit that stands apart from it, taken for what is `meant`, with its own
/// unit where it has one; `None` where it names something else.
pub(super) fn hint(heading: &str, unit: &str, meant: &str) -> Option<Hint> {
    let Heading::Known(quantity, usual) = read(meant) else {
        return None;
    };
    let is_of =
        |other: Quantity| other == quantity || (other == Quantity::Height && quantity.is_height());
    let is_named = match read_with(heading, unit, false) {
        Heading::NoUnit(other) | Heading::Unclear(other) if !is_of(other) => return None,
        Heading::NoUnit(_) | Heading::Unclear(_) => true,
        _ => false,
    };
    let own = symbol(&plain(unit)).or_else(|| unit_behind(heading));
    if own.is_some_and(|own| !quantity.takes(own)) {
        return None;
    }
    let name = meant.strip_suffix(usual).unwrap_or(meant);
    let unit = own.filter(|_| !usual.is_empty()).unwrap_or(usual);
    Some(Hint {
        meaning: format!("{name}{unit}"),
        is_named: is_named || own.is_some(),
    })
}

/// The unit at the end of a heading.
fn unit_behind(heading: &str) -> Option<&'static str> {
    let plain = plain(heading);
    let words: Vec<&str> = plain.split(' ').collect();
    let mut ends = (1..words.len()).filter_map(|from| words.get(from..));
    ends.find_map(|end| symbol(&end.join(" ")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_headings_may_be_taken_for() {
        let speed =
            |heading: &str| hint(heading, "", "wind speed kt").map(|h| (h.meaning, h.is_named));
        let told = |meaning: &str, is_named: bool| Some((meaning.to_owned(), is_named));
        assert_eq!(speed("FF_x"), told("wind speed kt", true));
        assert_eq!(speed("Vitesse du vent (m/s)"), told("wind speed m/s", true));
        assert_eq!(speed("wind_kt 06Z"), told("wind speed kt", true));
        assert_eq!(speed("Heure"), told("wind speed kt", false));
        for other in ["wind_dir 06Z", "Direction du vent (deg)", "Feuchte (%)"] {
            assert_eq!(speed(other), None, "{other}");
        }
        let from = hint("Direction du vent (deg)", "", "wind from");
        assert_eq!(from.map(|h| h.meaning), Some("wind from".to_owned()));
    }
}
