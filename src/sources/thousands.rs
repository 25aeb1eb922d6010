//! Whether signs in a column of heights part thousands, as in "12,345 ft", or decimals.

use super::table::is_missing;

/// So many numbers with such a sign tell what it is.
const TELLING: usize = 2;

/// What the commas and points of a column are.
#[derive(Debug, PartialEq)]
pub(super) enum Signs {
    Decimals,
    Thousands,
    /// One or the other, as of this number.
    Unclear(String),
}

/// How a number is written.
enum Form {
    /// In groups of three digits, with this sign between them.
    Parted(char),
    /// Whole and below 1,000.
    Small,
    Other,
}

/// What the signs between digits are in the cells of a column, where a comma may be a decimal sign or not: groups of three
/// digits everywhere, beside whole numbers below 1,000 only, are no decimals; but in one table a sign parts either, and
/// the cells of `other` columns may tell which.
pub(super) fn signs<'a>(
    cells: impl Iterator<Item = &'a str>,
    mut other: impl Iterator<Item = &'a str>,
    decimal_comma: bool,
) -> Signs {
    let mut parted: Vec<(&str, char)> = Vec::new();
    let mut small = 0;
    for cell in cells.filter(|cell| !is_missing(cell)) {
        match form(cell) {
            Form::Parted(sign) if parted.first().is_none_or(|first| first.1 == sign) => {
                parted.push((cell, sign));
            }
            Form::Small => small += 1,
            _ => return Signs::Decimals,
        }
    }
    let Some(&(cell, sign)) = parted.first() else {
        return Signs::Decimals;
    };
    match sign {
        ',' if !decimal_comma => Signs::Thousands,
        '.' if !decimal_comma => Signs::Decimals,
        _ if parted.len() < TELLING => Signs::Decimals,
        _ if other.any(|cell| has_decimals(cell, sign)) => Signs::Decimals,
        _ if small > 0 => Signs::Thousands,
        _ => Signs::Unclear(cell.to_owned()),
    }
}

/// Whether a cell is a number in which a sign parts decimals and cannot part thousands.
fn has_decimals(cell: &str, sign: char) -> bool {
    let is_number = cell.contains(sign) && cell.replacen(sign, ".", 1).parse::<f64>().is_ok();
    is_number && !matches!(form(cell), Form::Parted(_))
}

fn form(cell: &str) -> Form {
    let digits = cell.trim_start_matches(['+', '-', '\u{2212}']);
    let is_number = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    let sign = digits.chars().find(|c| matches!(c, ',' | '.'));
    let Some(sign) = sign else {
        return match is_number(digits) && digits.len() <= 3 {
            true => Form::Small,
            false => Form::Other,
        };
    };
    let mut groups = digits.split(sign);
    let first = groups.next().unwrap_or("");
    let begins = is_number(first) && first.len() <= 3 && !first.starts_with('0');
    match begins && groups.all(|group| is_number(group) && group.len() == 3) {
        true => Form::Parted(sign),
        false => Form::Other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn groups_of_three_digits_beside_small_whole_numbers_are_thousands() {
        let of = |cells: &[&str]| signs(cells.iter().copied(), std::iter::empty(), true);
        assert_eq!(of(&["985", "1,640", "", "39,370"]), Signs::Thousands);
        assert_eq!(of(&["-12", "1.471", "12.345"]), Signs::Thousands);
        for decimals in [
            &["985", "1,640"][..],
            &["985", "1640", "12,345", "39,370"],
            &["985", "0.123", "1.471", "12.345"],
            &["985", "1.471", "12.345", "1200.5"],
            &["985", "1.471", "12,345"],
            &["100", "200"],
        ] {
            assert_eq!(of(decimals), Signs::Decimals, "{decimals:?}");
        }
        let unclear = Signs::Unclear("1.640".to_owned());
        assert_eq!(of(&["1.640", "39.370"]), unclear);
        // Where commas part cells they part no decimals.
        let quoted = signs(["1,640"].into_iter(), std::iter::empty(), false);
        assert_eq!(quoted, Signs::Thousands);
    }

    #[test]
    fn low_heights_with_three_decimals_are_not_multiplied() {
        let of = |cells: &[&str], other: &[&str], decimal_comma: bool| {
            signs(cells.iter().copied(), other.iter().copied(), decimal_comma)
        };
        let (low, whole) = (["40.250", "60.500"], ["40.250", "50", "60.500"]);
        for cells in [&low[..], &whole] {
            assert_eq!(of(cells, &[], false), Signs::Decimals);
            assert_eq!(of(cells, &["270", "5.2"], true), Signs::Decimals);
        }
        // None of these is a decimal beyond doubt.
        let other = ["270", "5,2", "1.013", "1.013,2", "x.y", ""];
        assert!(matches!(of(&low, &other, true), Signs::Unclear(_)));
        assert_eq!(of(&whole, &other, true), Signs::Thousands);
    }
}
