//! What the columns of a table hold, where a person says so.

use std::str::FromStr;

use super::heading::{self, Heading, Quantity};

/// Columns of tables by their headings or numbers, as in `P=pressure hPa, 2=height m, Q=none`.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Columns(Vec<Told>);

#[derive(Debug, Clone, PartialEq)]
struct Told {
    /// The heading, or the number counted from 1.
    name: String,
    /// The quantity and its unit; `None` for a column that is to be passed over.
    holds: Option<(Quantity, &'static str)>,
}

impl FromStr for Columns {
    type Err = String;

    fn from_str(text: &str) -> Result<Columns, String> {
        let parts = text.split(',').map(str::trim).filter(|p| !p.is_empty());
        let told: Vec<Told> = parts.map(told).collect::<Result<_, _>>()?;
        match told.is_empty() {
            true => Err("found nothing; expected columns, as in P=pressure hPa, Z=height m".into()),
            false => Ok(Columns(told)),
        }
    }
}

fn told(part: &str) -> Result<Told, String> {
    let expected = "a heading or a number, =, quantity and unit, as in P=pressure hPa, 2=height m, \
                    S=wind speed kt, D=wind from, or none to pass a column over";
    let (name, meaning) = part
        // From the end: a heading may have the sign in it.
        .rsplit_once('=')
        .ok_or_else(|| format!("found \"{part}\"; expected {expected}"))?;
    let holds = match heading::read(meaning) {
        Heading::Known(quantity, unit) => Some((quantity, unit)),
        _ if meaning.trim().eq_ignore_ascii_case("none") => None,
        Heading::NoUnit(quantity) => {
            let examples = quantity.examples();
            return Err(format!(
                "found \"{part}\" without a unit; expected one, as in {examples}"
            ));
        }
        _ => return Err(format!("found \"{part}\"; expected {expected}")),
    };
    Ok(Told {
        name: name.trim().to_owned(),
        holds,
    })
}

impl Columns {
    /// Whether nothing is said.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// What is said of the column with a heading, at a place counted from 0: the outer `None` for
    /// nothing, the inner for one that is to be passed over.
    #[allow(clippy::option_option)] // the two say different things
    pub(super) fn of(
        &self,
        heading: &str,
        place: usize,
    ) -> Option<Option<(Quantity, &'static str)>> {
        let told = self.0.iter().find(|told| told.is_of(heading, place))?;
        Some(told.holds)
    }

    /// The first name that none of the headings has.
    pub(super) fn unknown_among(&self, headings: &[String]) -> Option<&str> {
        let is_there = |told: &&Told| {
            let mut all = headings.iter().enumerate();
            all.any(|(place, heading)| told.is_of(heading, place))
        };
        let unknown = self.0.iter().find(|told| !is_there(told))?;
        Some(&unknown.name)
    }
}

impl Told {
    fn is_of(&self, heading: &str, place: usize) -> bool {
        self.name.eq_ignore_ascii_case(heading.trim()) || self.name.parse() == Ok(place + 1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headings_and_numbers() {
        let columns: Columns = "P=pressure hPa, 2=height ft , Dir=wind from, Q = none"
            .parse()
            .unwrap();
        assert_eq!(columns.of(" p", 7), Some(Some((Quantity::Pressure, "hPa"))));
        assert_eq!(columns.of("x", 1), Some(Some((Quantity::Height, "ft"))));
        assert_eq!(columns.of("dir", 2), Some(Some((Quantity::From, ""))));
        assert_eq!(columns.of("Q", 3), Some(None));
        assert_eq!(columns.of("R", 4), None);
        let headings = ["P", "Z", "Dir"].map(str::to_owned);
        assert_eq!(columns.unknown_among(&headings), Some("Q"));
    }

    #[test]
    fn faults_say_what_would_be_right() {
        for (text, expected) in [
            ("", "found nothing"),
            ("P", "P=pressure hPa"),
            ("P=pressure", "without a unit"),
            ("P=pressure furlongs", "found \"P=pressure furlongs\""),
            ("P=length m", "found \"P=length m\""),
        ] {
            let message = text.parse::<Columns>().unwrap_err();
            assert!(message.contains(expected), "{message}");
        }
    }
}
