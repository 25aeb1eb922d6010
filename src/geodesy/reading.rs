//! Coordinates as people write them: decimal degrees, degrees and minutes, degrees, minutes and
//! seconds, with letters or signs.

use super::Position;

/// What is expected where coordinates were not understood.
pub const EXPECTED: &str = "latitude and longitude, as in \"43.0246, -108.3801\", \
                            \"43 01.476 N, 108 22.806 W\" or \"43 01 28.6 N, 108 22 48.4 W\"";

/// Reads a latitude and a longitude, in this order unless letters (N, S, E, W) say otherwise.
/// Degrees alone, with minutes or with minutes and seconds; signs of degrees, minutes and seconds
/// may stand between them. `None` for anything that could be read in two ways.
///
/// # Examples
///
/// ```
/// use windfall::geodesy::reading::read_position;
/// let decimal = read_position("43.5, -108.25").unwrap();
/// assert_eq!(read_position("43°30' N 108°15' W"), Some(decimal));
/// assert_eq!(read_position("W108 15 00 N43 30 00"), Some(decimal));
/// assert_eq!(read_position("43,5, -108,25"), None);
/// ```
pub fn read_position(text: &str) -> Option<Position> {
    let tokens = tokens(text)?;
    let [first, second] = halves(&tokens)?;
    // As in "52,5 13": a decimal comma, if both angles are written alike.
    if has_tight_comma(text) && first.len() != second.len() {
        return None;
    }
    let (first, second) = (angle(first)?, angle(second)?);
    let (lat, lon) = match (first.axis, second.axis) {
        (None, None) | (Some(Axis::Lat), Some(Axis::Lon)) => (first, second),
        (Some(Axis::Lon), Some(Axis::Lat)) => (second, first),
        _ => return None,
    };
    Position::new(lat.degrees, lon.degrees)
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Token {
    /// A number, whether it has a sign, whether it is whole as written, and what its mark says it
    /// counts: 0 degrees, 1 minutes, 2 seconds.
    Number {
        value: f64,
        signed: bool,
        whole: bool,
        mark: Option<usize>,
    },
    /// N, S, E or W.
    Letter(char),
    /// Between latitude and longitude.
    Comma,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Axis {
    Lat,
    Lon,
}

#[derive(Debug, Clone, Copy)]
struct Angle {
    degrees: f64,
    axis: Option<Axis>,
}

/// Numbers, letters and at most one comma or semicolon; `None` where anything else stands.
fn tokens(text: &str) -> Option<Vec<Token>> {
    let text = text.trim();
    // As links that open maps begin (RFC 5870).
    let text = text.strip_prefix("geo:").unwrap_or(text);
    let mut tokens = Vec::new();
    let mut number = String::new();
    // A space at the end closes the last number.
    for c in text.chars().chain([' ']) {
        // Pages are typeset with a true minus sign.
        let c = if c == '\u{2212}' { '-' } else { c };
        if c.is_ascii_digit() || c == '.' {
            number.push(c);
            continue;
        }
        if !number.is_empty() {
            tokens.push(number_token(&number)?);
            number.clear();
        }
        match c.to_ascii_uppercase() {
            '+' | '-' => number.push(c),
            letter @ ('N' | 'S' | 'E' | 'W') => tokens.push(Token::Letter(letter)),
            ',' | ';' => tokens.push(Token::Comma),
            '°' | 'º' => set_mark(&mut tokens, 0)?,
            '\'' | '\u{2018}' | '\u{2019}' | '\u{2032}' => set_mark(&mut tokens, 1)?,
            '"' | '\u{201c}' | '\u{201d}' | '\u{2033}' => set_mark(&mut tokens, 2)?,
            c if c.is_whitespace() => {}
            _ => return None,
        }
    }
    // A second one would be a decimal comma, or a third number.
    let commas = tokens.iter().filter(|t| **t == Token::Comma).count();
    (commas <= 1).then_some(tokens)
}

fn number_token(text: &str) -> Option<Token> {
    let value: f64 = text.parse().ok()?;
    value.is_finite().then_some(Token::Number {
        value,
        signed: text.starts_with(['+', '-']),
        whole: !text.contains('.'),
        mark: None,
    })
}

/// Marks the number before; two strokes for minutes are one for seconds.
fn set_mark(tokens: &mut [Token], mark: usize) -> Option<()> {
    let Some(Token::Number { mark: set, .. }) = tokens.last_mut() else {
        return None;
    };
    *set = match (*set, mark) {
        (None, mark) => Some(mark),
        (Some(1), 1) => Some(2),
        _ => return None,
    };
    Some(())
}

/// Whether digits stand on both sides of a comma.
fn has_tight_comma(text: &str) -> bool {
    let is_tight = |w: &[u8]| matches!(w, [a, b',', c] if a.is_ascii_digit() && c.is_ascii_digit());
    text.as_bytes().windows(3).any(is_tight)
}

/// The tokens of the first and of the second angle: parted by the comma, else by the letters, else
/// in the middle.
fn halves(tokens: &[Token]) -> Option<[&[Token]; 2]> {
    let is_letter = |t: &Token| matches!(t, Token::Letter(_));
    if let Some(at) = tokens.iter().position(|t| *t == Token::Comma) {
        return Some([&tokens[..at], &tokens[at + 1..]]);
    }
    let letters: Vec<usize> = (0..tokens.len())
        .filter(|i| is_letter(&tokens[*i]))
        .collect();
    let at = match letters[..] {
        [] if tokens.len().is_multiple_of(2) => tokens.len() / 2,
        [0, second] => second,
        [first, last] if last + 1 == tokens.len() => first + 1,
        _ => return None,
    };
    Some([&tokens[..at], &tokens[at..]])
}

/// One to three numbers, a letter before or behind them.
fn angle(tokens: &[Token]) -> Option<Angle> {
    let (letter, numbers) = match tokens {
        [Token::Letter(letter), rest @ ..] => (Some(*letter), rest),
        [rest @ .., Token::Letter(letter)] => (Some(*letter), rest),
        _ => (None, tokens),
    };
    if !(1..=3).contains(&numbers.len()) {
        return None;
    }
    let (mut degrees, mut negative) = (0.0, false);
    for (i, token) in numbers.iter().enumerate() {
        let Token::Number {
            value,
            signed,
            whole,
            mark,
        } = *token
        else {
            return None;
        };
        let last = i + 1 == numbers.len();
        // A sign only at the beginning, and not together with a letter; minutes and seconds
        // below 60; decimals only at the end.
        let sign_out_of_place = signed && (i > 0 || letter.is_some());
        let mark_out_of_place = mark.is_some_and(|mark| mark != i);
        if sign_out_of_place || mark_out_of_place || i > 0 && value >= 60.0 || !last && !whole {
            return None;
        }
        // By the sign itself: -0 degrees and 30 minutes are south or west, too.
        negative |= value.is_sign_negative();
        degrees += value.abs() / [1.0, 60.0, 3600.0][i];
    }
    let axis = letter.map(|letter| match letter {
        'N' | 'S' => Axis::Lat,
        _ => Axis::Lon,
    });
    negative |= matches!(letter, Some('S' | 'W'));
    // A letter says which side is meant: more than half a turn from there is a slip.
    if axis == Some(Axis::Lon) && degrees > 180.0 {
        return None;
    }
    Some(Angle {
        degrees: if negative { -degrees } else { degrees },
        axis,
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn every_usual_form_is_the_same_place() {
        let place = Position::new(43.024_611_111_111, -108.380_111_111_111).unwrap();
        for text in [
            "43.024611111, -108.380111111",
            "43.024611111 -108.380111111",
            "43.024611111;-108.380111111",
            "geo:43.024611111,-108.380111111",
            "43.024611111 N 108.380111111 W",
            "43.024611111n, 108.380111111w",
            "N43.024611111 W108.380111111",
            "108.380111111 W, 43.024611111 N",
            "43 01.4766667 N, 108 22.8066667 W",
            "43° 01.4766667' N 108° 22.8066667' W",
            "43°01'28.6\"N 108°22'48.4\"W",
            "43°01\u{2032}28.6\u{2033}N, 108°22\u{2032}48.4\u{2033}W",
            "43°01'28.6''N 108°22'48.4''W",
            "43 01 28.6 -108 22 48.4",
            "+43 01 28.6, \u{2212}108 22 48.4",
            "43.024611111, 251.619888889",
        ] {
            let read = read_position(text).unwrap_or_else(|| panic!("{text}"));
            assert!(read.distance_m(place) < 0.01, "{text}: {read:?}");
        }
        let south = read_position("-0 30 0, 151 12 0").unwrap();
        assert_eq!((south.lat_deg, south.lon_deg), (-0.5, 151.2));
        // Written alike on both sides, a comma without a blank parts the two.
        for text in ["43,8", "43.0,8.0", "43 00.0,8 00.0"] {
            let read = read_position(text).unwrap_or_else(|| panic!("{text}"));
            assert_eq!((read.lat_deg, read.lon_deg), (43.0, 8.0), "{text}");
        }
        for text in [
            "",
            "52,5 13",
            "52,5 13.4",
            "52 30 13,4",
            "43.02",
            "Riverton",
            "43,0246, -108,3801",
            "91, 0",
            "0, 361",
            "43 60 N, 108 W",
            "43.5 30 N, 108 W",
            "43 N, 108 N",
            "-43 N, 108 W",
            "43 N, 181 W",
            "43 N 108",
            "43 01 28 7 N, 108 W",
            "1 2 3",
            "43.0.1, 2",
            "5'3\"",
            "43° 01° N, 108 W",
            "43' N, 108 W",
        ] {
            assert_eq!(read_position(text), None, "{text}");
        }
    }

    /// Degrees as whole degrees and minutes, or as whole minutes and seconds besides.
    fn written(value: f64, seconds: bool) -> String {
        if seconds {
            let hundredths = (value.abs() * 360_000.0).round() as u64;
            let (d, rest) = (hundredths / 360_000, hundredths % 360_000);
            format!(
                "{d} {:02} {:.2}",
                rest / 6_000,
                (rest % 6_000) as f64 / 100.0
            )
        } else {
            let parts = (value.abs() * 6e5).round() as u64;
            format!("{} {:.4}", parts / 600_000, (parts % 600_000) as f64 / 1e4)
        }
    }

    proptest! {
        #[test]
        fn what_is_written_is_read(lat in -90.0..=90.0_f64, lon in -180.0..=180.0_f64, seconds: bool, before: bool) {
            let place = Position::new(lat, lon).unwrap();
            let decimal = read_position(&format!("{lat:.7}, {lon:.7}")).unwrap();
            prop_assert!(decimal.distance_m(place) < 0.02);
            prop_assert!(read_position(&place.text()).unwrap().distance_m(place) < 12.0);
            let ns = if lat < 0.0 { 'S' } else { 'N' };
            let ew = if lon < 0.0 { 'W' } else { 'E' };
            let (a, b) = (written(lat, seconds), written(lon, seconds));
            let text = if before { format!("{ns} {a} {ew} {b}") } else { format!("{b}{ew}, {a}{ns}") };
            prop_assert!(read_position(&text).unwrap().distance_m(place) < 0.3, "{}", text);
        }

        #[test]
        fn anything_is_read_or_refused(text in "[-+0-9NSEWnsew.,;°'\" ]{0,30}") {
            if let Some(place) = read_position(&text) {
                prop_assert!(place.lat_deg.abs() <= 90.0 && place.lon_deg.abs() <= 180.0);
            }
        }
    }
}
