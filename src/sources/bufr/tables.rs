//! The elements and sequences that soundings are made of.

use std::collections::HashMap;
use std::sync::LazyLock;

/// One descriptor as the three parts F, X and Y, written 307080.
pub(super) type Descriptor = u32;

/// How an element is packed: its value is (bits + reference) / 10^scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Element {
    pub scale: i32,
    pub reference: i64,
    pub width: u32,
    pub is_text: bool,
    /// Whether it is a number of a table, which operators leave as it is.
    pub is_code: bool,
}

#[derive(Default)]
struct Tables {
    elements: HashMap<Descriptor, Element>,
    sequences: HashMap<Descriptor, Vec<Descriptor>>,
}

static TABLES: LazyLock<Tables> = LazyLock::new(|| {
    let mut tables = Tables::default();
    for line in include_str!("tables.txt").lines() {
        if let Some((number, parts)) = line.split_once(": ")
            && let Ok(number) = number.parse()
        {
            let parts = parts.split(' ').filter_map(|part| part.parse().ok());
            tables.sequences.insert(number, parts.collect());
        } else if let Some((number, element)) = element(line) {
            tables.elements.insert(number, element);
        }
    }
    tables
});

fn element(line: &str) -> Option<(Descriptor, Element)> {
    let mut words = line.split(' ');
    let number = words.next()?.parse().ok()?;
    let kind = line.rsplit(' ').next();
    let element = Element {
        scale: words.next()?.parse().ok()?,
        reference: words.next()?.parse().ok()?,
        width: words.next()?.parse().ok()?,
        is_text: kind == Some("s"),
        is_code: kind == Some("c"),
    };
    Some((number, element))
}

/// How an element is packed, if it is known.
pub(super) fn packing(number: Descriptor) -> Option<Element> {
    TABLES.elements.get(&number).copied()
}

/// What a sequence stands for, if it is known.
pub(super) fn sequence(number: Descriptor) -> Option<&'static [Descriptor]> {
    TABLES.sequences.get(&number).map(Vec::as_slice)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_part_of_every_sequence_is_known() {
        assert!(TABLES.elements.len() > 80 && TABLES.sequences.len() > 30);
        for (number, parts) in &TABLES.sequences {
            assert!(!parts.is_empty(), "{number}");
            for part in parts {
                let known = match part / 100_000 {
                    0 => packing(*part).is_some(),
                    3 => sequence(*part).is_some(),
                    _ => true,
                };
                assert!(known, "{part} of {number}");
            }
        }
    }
}
