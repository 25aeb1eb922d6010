//! What stands on the launch-day card besides the numbers: data that a crew changes to its own.

use serde::Deserialize;

use super::toml_file;
use crate::error::{Error, Fault, Result};
use crate::vehicle::balloon::Gas;

const BUILT_IN: &str = include_str!("checklist.toml");

/// What a crew ticks off, and whom it calls.
#[derive(Debug, Clone, PartialEq)]
pub struct Checklist {
    /// Its parts.
    pub parts: Vec<ChecklistPart>,
    /// Whom to call.
    pub calls: Vec<Call>,
}

/// Things to do, under a heading.
#[derive(Debug, Clone, PartialEq)]
pub struct ChecklistPart {
    /// The heading.
    pub heading: String,
    /// The things.
    pub items: Vec<String>,
    /// The gas that it is for, if not for any.
    pub gas: Option<Gas>,
}

impl Checklist {
    /// The parts for a gas.
    pub fn parts_for(&self, gas: Gas) -> impl Iterator<Item = &ChecklistPart> {
        let is_for = move |part: &&ChecklistPart| part.gas.is_none_or(|of| of == gas);
        self.parts.iter().filter(is_for)
    }
}

/// Somebody to call.
#[derive(Debug, Clone, PartialEq)]
pub struct Call {
    /// Who.
    pub who: String,
    /// The number; empty where it is written in by hand.
    pub number: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(default)]
    part: Vec<WrittenPart>,
    #[serde(default)]
    call: Vec<WrittenCall>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WrittenPart {
    heading: String,
    items: Vec<String>,
    gas: Option<Gas>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WrittenCall {
    who: String,
    #[serde(default)]
    number: String,
}

/// The program's checklist.
///
/// # Errors
///
/// None, as long as the program's own file is right; a test holds that.
pub fn built_in() -> Result<Checklist> {
    read("checklist.toml", BUILT_IN)
}

/// A checklist of a user.
///
/// # Errors
///
/// What is wrong with the file, and where.
pub fn read(name: &str, text: &str) -> Result<Checklist> {
    let expected = "[[part]] with heading and items, [[call]] with who and number";
    let file: File = toml_file(name, text, expected)?;
    // A card with nothing to tick off would look like one that was forgotten.
    if file.part.is_empty() {
        return Err(Error::Faults(vec![Fault::new(
            name,
            "no [[part]]",
            expected,
        )]));
    }
    Ok(Checklist {
        parts: file
            .part
            .into_iter()
            .map(|p| ChecklistPart {
                heading: p.heading,
                items: p.items,
                gas: p.gas,
            })
            .collect(),
        calls: file
            .call
            .into_iter()
            .map(|c| Call {
                who: c.who,
                number: c.number,
            })
            .collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_programs_own_is_whole_and_a_users_is_read() {
        let own = built_in().unwrap();
        let text: String = own
            .parts
            .iter()
            .flat_map(|p| p.items.join(" ").to_lowercase().chars().collect::<Vec<_>>())
            .collect();
        for what in [
            "knots",
            "strength",
            "heard by the network",
            "before stringing",
            "lines clear",
            "gloves",
            "power lines",
            "spotters",
            "exact time",
        ] {
            assert!(text.contains(what), "{what}");
        }
        assert!(own.calls.len() > 3);
        let of = |gas| {
            let items = own.parts_for(gas).flat_map(|part| &part.items);
            items.cloned().collect::<Vec<_>>().join(" ")
        };
        assert!(of(Gas::Hydrogen).contains("bonded to earth"));
        assert!(!of(Gas::Hydrogen).to_lowercase().contains("helium"));
        assert!(!of(Gas::Helium).contains("bonded to earth"));
        let mine = "[[part]]\nheading = \"Ours\"\nitems = [\"tea\"]\n";
        assert_eq!(read("mine.toml", mine).unwrap().parts[0].items, ["tea"]);
        for (text, found) in [
            ("", "no [[part]]"),
            ("[[part]]\nhead = 1\n", "mine.toml, line 2"),
        ] {
            let message = read("mine.toml", text).unwrap_err().to_string();
            assert!(message.contains(found), "{message}");
        }
    }
}
