//! Words that name a zone whose clocks do not show UTC, however they are written.

use jiff::tz::TimeZone;

use crate::clock::letters::HOURS_EAST;

/// Letters of zones besides those whose hours are known.
const OTHERS: [&str; 39] = [
    "LT", "LST", "LDT", "LMT", "AST", "ADT", "NST", "NDT", "MEZ", "MESZ", "IST", "MSK", "SAST",
    "KST", "ACST", "ACDT", "BRT", "CAT", "EAT", "WAT", "PET", "COT", "ART", "CLT", "CLST", "BOT",
    "ECT", "VET", "UYT", "HKT", "SGT", "WIB", "ICT", "PHT", "PKT", "NPT", "TRT", "ChST", "SST",
];
/// Words for the clocks of a place, in lower case.
const LOCAL: [&str; 6] = [
    "local",
    "locale",
    "lokal",
    "lokale",
    "lokalzeit",
    "ortszeit",
];
/// The ends of names that are spelt out, in lower case.
const SPELT: [&str; 3] = ["standard time", "daylight time", "summer time"];

/// Whether words name such a zone: "local", "MDT", "UTC -6", "Europe/Lisbon", "Mountain Standard Time".
pub(super) fn is_of_a_zone(text: &str) -> bool {
    let lower = text.to_lowercase();
    let all: Vec<&str> = words(text).collect();
    // In small letters they are words beside others, as in "West Texas".
    let is = |word: &str, letters: &str| match all.len() {
        1 => word.eq_ignore_ascii_case(letters),
        _ => word == letters,
    };
    let is_named = |word: &&str| {
        let mut known = HOURS_EAST.iter().map(|(letters, _)| *letters);
        known.any(|letters| is(word, letters)) || OTHERS.iter().any(|letters| is(word, letters))
    };
    SPELT.iter().any(|spelt| lower.contains(spelt))
        || words(&lower).any(|word| LOCAL.contains(&word))
        || words(&tight(text)).any(is_away)
        || all.iter().any(is_named)
}

/// Whether a word names UTC, as "utc", "Z" or "GMT+00:00".
pub(super) fn is_utc(word: &str) -> bool {
    let upper = word.to_ascii_uppercase();
    let is_none = |offset: &str| offset.chars().all(|c| "+-\u{2212}0:".contains(c));
    matches!(upper.as_str(), "Z" | "ZULU") || behind_utc(&upper).is_some_and(is_none)
}

fn words(text: &str) -> impl Iterator<Item = &str> {
    let parts = text.split(|c: char| c.is_whitespace() || "()[],;".contains(c));
    parts.filter(|word| !word.is_empty())
}

/// Whether a word is an offset from UTC, or a place whose clocks show another time.
fn is_away(word: &str) -> bool {
    let upper = word.to_ascii_uppercase();
    let is_any = |offset: &str| {
        offset.starts_with(['+', '-', '\u{2212}']) && offset.contains(|c| ('1'..='9').contains(&c))
    };
    let is_place =
        || word.contains('/') && !upper.starts_with("ETC/") && TimeZone::get(word).is_ok();
    behind_utc(&upper).is_some_and(is_any) || is_place()
}

/// What stands behind UTC or GMT in a word of capitals, as the offset in "ETC/GMT+5".
fn behind_utc(upper: &str) -> Option<&str> {
    let plain = upper.strip_prefix("ETC/").unwrap_or(upper);
    plain.strip_prefix("UTC").or(plain.strip_prefix("GMT"))
}

/// A text without blanks around its signs, as an offset may stand apart from what it is from.
fn tight(text: &str) -> String {
    let without = |text: String, sign: &char| {
        let parts: Vec<&str> = text.split(*sign).map(str::trim).collect();
        parts.join(&sign.to_string())
    };
    ['+', '-', '\u{2212}'].iter().fold(text.to_owned(), without)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn zones_in_many_spellings() {
        for zone in [
            "Local time",
            "LOCAL",
            "heure locale",
            "Ortszeit",
            "UTC+05:30",
            "UTC -7",
            "UTC - 7",
            "gmt-1",
            "Etc/GMT+5",
            "America/Denver",
            "WEST",
            "mst",
            "MST (UTC-7)",
            "Mountain Standard Time",
            "COT",
        ] {
            assert!(is_of_a_zone(zone), "{zone}");
            assert!(!words(zone).all(is_utc), "{zone}");
        }
        for utc in ["UTC", "utc+0", "Z", "zulu", "GMT+00:00", "Etc/UTC"] {
            assert!(is_utc(utc) && !is_of_a_zone(utc), "{utc}");
        }
        for other in [
            "",
            "UTC",
            "utc+0",
            "GMT - 0",
            "Etc/UTC",
            "West Texas",
            "12:00 - 13:00",
        ] {
            assert!(!is_of_a_zone(other), "{other}");
        }
    }
}
