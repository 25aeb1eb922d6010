//! Whether signs in a column of heights or pressures part thousands, as in "12,345 ft", or decimals.

use super::table::is_missing;

/// So many numbers with such a sign tell what it is.
const TELLING: usize = 2;

/// What the commas and points of a column are.
#[derive(Debug, PartialEq)]
pub(super) enum Signs {
    Decimals,
    /// Thousands, with this sign.
    Thousands(char),
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
/// the cells of `other` columns may tell which. Where these have decimals behind either sign, as beside coordinates that
/// some device wrote, those behind the other one count.
pub(super) fn signs<'a>(
    cells: impl Iterator<Item = &'a str>,
    other: impl Iterator<Item = &'a str>,
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
    let (mut by_this, mut by_other) = (false, false);
    for cell in other {
        by_this |= has_decimals(cell, sign);
        by_other |= has_decimals(cell, if sign == ',' { '.' } else { ',' });
    }
    match sign {
        ',' if !decimal_comma => Signs::Thousands(sign),
        '.' if !decimal_comma => Signs::Decimals,
        _ if by_other && small > 0 => Signs::Thousands(sign),
        _ if parted.len() < TELLING => Signs::Decimals,
        _ if by_this && !by_other => Signs::Decimals,
        _ if small > 0 => Signs::Thousands(sign),
        _ => Signs::Unclear(cell.to_owned()),
    }
}

/// What the signs between digits are in a column of pressures in hPa. One such number tells: 1.008 beside 850 is no
/// level at 48 km.
pub(super) fn in_pressures<'a>(cells: impl Iterator<Item = &'a str>, decimal_comma: bool) -> Signs {
    let mut parted = None;
    let mut others: Vec<&str> = Vec::new();
    for cell in cells.filter(|cell| !is_missing(cell)) {
        match form(cell) {
            Form::Parted(sign)
                if parted.is_none_or(|first| first == sign) && is_at_ground(cell) =>
            {
                parted = Some(sign);
            }
            _ => others.push(cell),
        }
    }
    let Some(sign) = parted.filter(|sign| decimal_comma || *sign == ',') else {
        return Signs::Decimals;
    };
    let number = |cell: &str| cell.replacen(',', ".", 1).parse::<f64>().ok();
    let is = |cell: &str, of: fn(f64) -> bool| number(cell).is_some_and(of);
    // Where thousands stand without any sign as well, it parts decimals.
    let all_below = others
        .iter()
        .all(|cell| is(cell, |n| n < 1_000.0) && !cell.contains(sign));
    match all_below && others.iter().any(|cell| is(cell, |n| n >= 100.0)) {
        true => Signs::Thousands(sign),
        false => Signs::Decimals,
    }
}

/// Whether a number in groups of digits is a pressure at the ground, in hPa.
fn is_at_ground(cell: &str) -> bool {
    let whole = cell.replace([',', '.'], "");
    whole
        .parse()
        .is_ok_and(|number: f64| (1_000.0..1_100.0).contains(&number))
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
        let comma = Signs::Thousands(',');
        assert_eq!(of(&["985", "1,640", "", "39,370"]), comma);
        assert_eq!(of(&["-12", "1.471", "12.345"]), Signs::Thousands('.'));
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
        assert_eq!(quoted, comma);
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
        // Coordinates of some device beside numbers of a country.
        let both = ["52.2112", "14.1204", "5,1"];
        let heights = ["112", "1.512", "5.580"];
        assert_eq!(of(&heights, &both, true), Signs::Thousands('.'));
        assert_eq!(of(&heights, &both[..2], true), Signs::Decimals);
        assert_eq!(of(&heights[..2], &both, true), Signs::Thousands('.'));
        assert!(matches!(of(&heights[1..], &both, true), Signs::Unclear(_)));
        // None of these is a decimal beyond doubt.
        let other = ["270", "5,2", "1.013", "1.013,2", "x.y", ""];
        assert!(matches!(of(&low, &other, true), Signs::Unclear(_)));
        assert_eq!(of(&whole, &other, true), Signs::Thousands('.'));
    }

    #[test]
    fn pressures_at_the_ground_may_be_parted() {
        let of = |cells: &[&str], comma: bool| {
            matches!(
                in_pressures(cells.iter().copied(), comma),
                Signs::Thousands(_)
            )
        };
        assert!(of(&["1.008", "1.000", "850", "5"], true));
        assert!(of(&["1,004", "", "850"], true));
        assert!(of(&["1,004", "850"], false));
        assert!(of(&["1.008", "850,5"], true));
        let points = ["1,004", "850.5", "85.5"];
        for comma in [true, false] {
            assert_eq!(
                in_pressures(points.into_iter(), comma),
                Signs::Thousands(',')
            );
        }
        for decimals in [
            &["1013.2", "850.1", "1.008"][..],
            &["1013", "850", "1.008"],
            &["850", "10.000", "1.008"],
            &["7", "5", "1.008"],
            &["1.008", "1.000"],
            &["850", "500"],
        ] {
            assert!(!of(decimals, true), "{decimals:?}");
        }
        assert!(!of(&["1.008", "850"], false));
    }
}
