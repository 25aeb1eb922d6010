//! Quantities as people write them: `"1,200 g"`, `"15 lbs"`, `8 ft 6 in`, `7' 6"`.
//!
//! What could mean two things is refused, with the nearest form that cannot.

use super::{Dimension, QuantityError, UNITS, Unit, symbols};

/// Reads a number and its unit, such as `"6.8 kg"`, or several as in `"8 ft 6 in"`, into SI.
///
/// Units may be written out ("grams", "cubic feet", "miles per hour"), and commas or spaces may
/// stand between thousands.
///
/// # Errors
///
/// A missing number, a missing unit, a unit of another dimension, a number that is not finite, or
/// a comma that may be a decimal one.
///
/// # Examples
///
/// ```
/// use windfall::units::{parse, Dimension};
/// assert_eq!(parse("1.2 km", Dimension::Length).unwrap(), 1200.0);
/// assert_eq!(parse("1,200 grams", Dimension::Mass).unwrap(), 1.2);
/// assert!((parse("15 lbs", Dimension::Mass).unwrap() - 6.8038855).abs() < 1e-7);
/// assert!((parse("8 ft 6 in", Dimension::Length).unwrap() - 2.5908).abs() < 1e-12);
/// assert!(parse("1,5 kg", Dimension::Mass).is_err());
/// assert!(parse("15", Dimension::Mass).is_err());
/// assert!(parse("15 ft", Dimension::Mass).is_err());
/// ```
pub fn parse(text: &str, dimension: Dimension) -> Result<f64, QuantityError> {
    let text = text.trim();
    let parts = parts(&plain_signs(text));
    let si = match parts.as_slice() {
        [] => Err(not_read(
            text,
            dimension,
            "which does not start with a number",
            None,
        )),
        [(number, name)] => one(text, number, name, dimension),
        several => sum(text, several, dimension),
    }?;
    if !si.is_finite() {
        return Err(not_read(
            text,
            dimension,
            "which is not a finite number",
            None,
        ));
    }
    Ok(si)
}

/// A number with its unit.
fn one(text: &str, written: &str, name: &str, dimension: Dimension) -> Result<f64, QuantityError> {
    let (value, unit) = value_and_unit(text, written, name, dimension)?;
    Ok((value + unit.offset) * unit.factor)
}

/// Several numbers with units of falling size, as in `8 ft 6 in`: what is not the largest must be
/// less than one of the unit before it.
fn sum(text: &str, parts: &[(String, String)], dimension: Dimension) -> Result<f64, QuantityError> {
    let refused =
        |why: &str, nearest: Option<String>| not_read(text, dimension, why, nearest.as_deref());
    let mut read = Vec::new();
    for (number, name) in parts {
        read.push(value_and_unit(text, number, name, dimension)?);
    }
    if read.iter().any(|(_, unit)| unit.offset != 0.0) {
        return Err(refused("which is more than one temperature", None));
    }
    // As it is written: of "-0 ft 6 in" the first number has no sign to go by.
    let negative = parts[0].0.starts_with('-');
    let mut si = read[0].0.abs() * read[0].1.factor;
    for pair in read.windows(2) {
        let [(before, larger), (value, unit)] = [&pair[0], &pair[1]];
        // Of "8.5 ft 6 in" one part is likely a slip, and nobody knows which.
        if unit.factor >= larger.factor || before.fract() != 0.0 || *value < 0.0 {
            let why = "whose parts are not whole, then smaller";
            return Err(refused(why, None));
        }
        let part = value * unit.factor;
        // Twelve inches are a foot, also where rounding makes them a little less.
        if part >= larger.factor * (1.0 - 1e-9) {
            let why = format!(
                "with {value} {} or more in a {}",
                unit.symbol, larger.symbol
            );
            let nearest = format!("{} {}", rounded((si + part) / larger.factor), larger.symbol);
            return Err(refused(&why, Some(nearest)));
        }
        si += part;
    }
    Ok(if negative { -si } else { si })
}

fn value_and_unit(
    text: &str,
    written: &str,
    name: &str,
    dimension: Dimension,
) -> Result<(f64, &'static Unit), QuantityError> {
    let unit = unit_named(name, dimension);
    let symbol = unit.map_or(name, |u| u.symbol);
    let value = number(written).map_err(|wrong| {
        let nearest = wrong.nearest.map(|n| format!("{n} {symbol}"));
        not_read(text, dimension, wrong.why, nearest.as_deref())
    })?;
    if let Some(unit) = unit {
        return Ok((value, unit));
    }
    let with_unit = |unit: &str| format!("{written} {unit}");
    Err(if name.is_empty() {
        let usual = with_unit(usual_unit(dimension));
        QuantityError {
            found: format!("\"{text}\" without a unit"),
            expected: expected(dimension, Some(&usual)),
        }
    } else if let Some(other) = any_unit_named(name) {
        let why = format!("which is {}", other.dimension.name());
        // "10 m" where a time is wanted.
        let minutes = dimension == Dimension::Time && other.symbol == "m";
        let nearest = minutes.then(|| with_unit("min"));
        not_read(text, dimension, &why, nearest.as_deref())
    } else {
        let nearest = nearest_unit(name, dimension).map(with_unit);
        QuantityError {
            found: format!("\"{text}\" with the unknown unit \"{name}\""),
            expected: expected(dimension, nearest.as_deref()),
        }
    })
}

fn not_read(text: &str, dimension: Dimension, why: &str, nearest: Option<&str>) -> QuantityError {
    QuantityError {
        found: format!("\"{text}\", {why}"),
        expected: expected(dimension, nearest),
    }
}

fn expected(dimension: Dimension, nearest: Option<&str>) -> String {
    let units = symbols(dimension);
    let such = nearest.map_or(String::new(), |form| format!(", perhaps \"{form}\""));
    format!("{} with a unit: {units}{such}", dimension.name())
}

/// The unit an example is given in.
fn usual_unit(dimension: Dimension) -> &'static str {
    match dimension {
        Dimension::Pressure => "hPa",
        Dimension::Temperature => "C",
        Dimension::Time => "min",
        other => other.si_symbol(),
    }
}

/// At most six decimals, and no zeros at the end.
fn rounded(value: f64) -> String {
    ((value * 1e6).round() / 1e6).to_string()
}

/// Curly and primed signs of feet and inches as straight ones, spaces of all kinds as one kind,
/// raised figures and degree signs as plain letters.
fn plain_signs(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        match c {
            '\u{2018}' | '\u{2019}' | '\u{2032}' => out.push('\''),
            '\u{201c}' | '\u{201d}' | '\u{2033}' => out.push('"'),
            '\u{2212}' => out.push('-'),
            '²' => out.push('2'),
            '³' => out.push('3'),
            // "ft^3" and "59 °F" say the same without.
            '^' | '°' => {}
            c if c.is_whitespace() => out.push(' '),
            c => out.push(c),
        }
    }
    // Two signs of feet are one of inches.
    out.replace("''", "\"")
}

/// Numbers, each with the unit behind it: `8 ft 6 in` is two, of which only the last may lack its
/// unit. Nothing where the text does not begin with a number.
fn parts(text: &str) -> Vec<(String, String)> {
    let mut parts = Vec::new();
    let mut rest = text.trim();
    while !rest.is_empty() {
        let end = number_end(rest);
        if end == 0 {
            return Vec::new();
        }
        let (number, behind) = rest.split_at(end);
        // A unit ends where the next number begins: after a space, or after ' as in 7'6".
        let mut before = None;
        let next = behind.char_indices().find(|&(_, c)| {
            let begins = matches!(before, Some(' ' | '\''))
                && (c.is_ascii_digit() || matches!(c, '.' | '+' | '-'));
            before = Some(c);
            begins
        });
        let next = next.map_or(behind.len(), |(i, _)| i);
        let (name, after) = behind.split_at(next);
        parts.push((number.trim().to_owned(), name.trim().to_owned()));
        rest = after;
    }
    parts
}

/// Where the number at the beginning ends: digits, signs, separators, an `e` only before an
/// exponent, and a space only before three more digits.
fn number_end(text: &str) -> usize {
    let bytes = text.as_bytes();
    let digits_at = |i: usize| bytes[i..].iter().take_while(|b| b.is_ascii_digit()).count();
    let belongs = |i: usize| match bytes[i] {
        b'0'..=b'9' | b'.' | b'+' | b'-' | b',' => true,
        b'e' | b'E' => {
            let signed = bytes.get(i + 1).is_some_and(|b| matches!(b, b'+' | b'-'));
            i > 0 && i + 1 < bytes.len() && digits_at(i + 1 + usize::from(signed)) > 0
        }
        b' ' => i > 0 && bytes[i - 1].is_ascii_digit() && digits_at(i + 1) == 3,
        _ => false,
    };
    (0..bytes.len())
        .find(|&i| !belongs(i))
        .unwrap_or(bytes.len())
}

/// Why a number was not read, and the nearest one that would be.
struct NotANumber {
    why: &'static str,
    nearest: Option<String>,
}

/// The text without the point between what may be thousands, as in "1.640 m"; `None` where it can only be
/// a decimal one.
pub fn without_point(text: &str) -> Option<String> {
    let (before, behind) = text.trim().split_once('.')?;
    let digits = |text: &str| text.bytes().take_while(u8::is_ascii_digit).count();
    let whole = before.trim_start_matches(['+', '-']);
    let may_be = (1..=3).contains(&whole.len())
        && digits(whole) == whole.len()
        && !whole.starts_with('0')
        && digits(behind) == 3
        && !behind.contains(['.', ',']);
    may_be.then(|| format!("{before}{behind}"))
}

/// A number, with commas or spaces between thousands or without.
fn number(text: &str) -> Result<f64, NotANumber> {
    let unsigned = text.trim_start_matches(['+', '-']);
    let grouped = unsigned.contains([',', ' ']);
    let plain = text.replace([',', ' '], "");
    let value = plain.parse::<f64>();
    if !grouped || value.is_err() {
        return value.map_err(|_| not_a_number(text));
    }
    let (whole, decimals) = unsigned.split_once('.').unwrap_or((unsigned, ""));
    let groups: Vec<&str> = whole.split([',', ' ']).collect();
    let one_kind = !(whole.contains(',') && whole.contains(' '));
    // Only what can mean nothing else: in "1,5" and "0,500" the comma may be a decimal one.
    let of_thousands = one_kind
        && !decimals.contains([',', ' '])
        && (1..=3).contains(&groups[0].len())
        && !groups[0].starts_with('0')
        && groups[1..].iter().all(|g| g.len() == 3);
    if of_thousands {
        return value.map_err(|_| not_a_number(text));
    }
    Err(not_a_number(text))
}

fn not_a_number(text: &str) -> NotANumber {
    // "1.200,5": points between thousands, then a decimal comma.
    let decimal = match text.rsplit_once(',') {
        Some((whole, decimals)) => format!("{}.{decimals}", whole.replace(['.', ','], "")),
        None => String::new(),
    };
    let nearest = decimal.parse::<f64>().is_ok().then_some(decimal);
    NotANumber {
        why: match nearest {
            Some(_) => "with a comma that is not between thousands",
            None => "which does not start with a number",
        },
        nearest,
    }
}

/// The unit of a dimension by its symbol or a name in common use.
fn unit_named(name: &str, dimension: Dimension) -> Option<&'static Unit> {
    let of_dimension = || UNITS.iter().filter(|u| u.dimension == dimension);
    let exact = of_dimension().find(|u| u.symbol == name);
    exact.or_else(|| {
        let symbol = symbol_of(name);
        of_dimension().find(|u| u.symbol.eq_ignore_ascii_case(&symbol))
    })
}

/// The unit of any dimension of that name.
fn any_unit_named(name: &str) -> Option<&'static Unit> {
    let exact = UNITS.iter().find(|u| u.symbol == name);
    exact.or_else(|| {
        let symbol = symbol_of(name);
        UNITS
            .iter()
            .find(|u| u.symbol.eq_ignore_ascii_case(&symbol))
    })
}

/// Names of units that stand by themselves.
const WHOLE_NAMES: [(&str, &str); 24] = [
    ("fpm", "ft/min"),
    ("fps", "ft/s"),
    ("mps", "m/s"),
    ("kph", "km/h"),
    ("kmh", "km/h"),
    ("kmph", "km/h"),
    ("mi/h", "mph"),
    ("mp/h", "mph"),
    ("nmi/h", "kt"),
    ("lb/in2", "psi"),
    ("psig", "psi"),
    ("cf", "ft3"),
    ("cuft", "ft3"),
    ("cbm", "m3"),
    ("lb force", "lbf"),
    ("deg c", "C"),
    ("deg f", "F"),
    ("degc", "C"),
    ("degf", "F"),
    ("nautical mi", "nmi"),
    ("nm", "nmi"),
    ("n mi", "nmi"),
    ("per cent", "%"),
    ("percent", "%"),
];

/// Words for units, in the singular, by symbol.
const WORDS: [(&str, &str); 41] = [
    ("gram", "g"),
    ("gramme", "g"),
    ("gr", "g"),
    ("kilogram", "kg"),
    ("kilogramme", "kg"),
    ("kilo", "kg"),
    ("ounce", "oz"),
    ("pound", "lb"),
    ("metre", "m"),
    ("meter", "m"),
    ("centimetre", "cm"),
    ("centimeter", "cm"),
    ("millimetre", "mm"),
    ("millimeter", "mm"),
    ("kilometre", "km"),
    ("kilometer", "km"),
    ("inch", "in"),
    ("inche", "in"),
    ("\"", "in"),
    ("foot", "ft"),
    ("feet", "ft"),
    ("'", "ft"),
    ("mile", "mi"),
    ("knot", "kt"),
    ("kn", "kt"),
    ("pascal", "pa"),
    ("hectopascal", "hpa"),
    ("millibar", "hpa"),
    ("mbar", "hpa"),
    ("mb", "hpa"),
    ("litre", "l"),
    ("liter", "l"),
    ("kelvin", "k"),
    ("celsius", "c"),
    ("fahrenheit", "f"),
    ("degree", "deg"),
    ("newton", "n"),
    ("second", "s"),
    ("sec", "s"),
    ("minute", "min"),
    ("hour", "h"),
];

/// A name in small letters brought to a symbol as well as can be: "Cubic Feet" to "ft3", "meters
/// per second" to "m/s".
fn symbol_of(name: &str) -> String {
    let name = name.to_lowercase().replace(" per ", "/").replace('-', " ");
    // Each side of the stroke by itself: what is square or cubic is so on its own side only.
    let sides: Vec<String> = name.split('/').map(side).collect();
    let joined = sides.join("/");
    let whole = WHOLE_NAMES.iter().find(|(name, _)| *name == joined);
    whole.map_or(joined, |(_, symbol)| (*symbol).to_owned())
}

/// One side of a stroke: words one by one, "square" and "cubic" as 2 and 3 behind the unit.
fn side(text: &str) -> String {
    let mut power = "";
    let mut words = Vec::new();
    for word in text.split_whitespace() {
        match word.trim_end_matches('.') {
            "square" | "sq" => power = "2",
            "cubic" | "cu" => power = "3",
            other => words.push(word_symbol(other)),
        }
    }
    words.join(" ") + power
}

fn word_symbol(word: &str) -> &str {
    let listed = |word: &str| {
        let found = WORDS.iter().find(|(name, _)| *name == word);
        found.map(|(_, symbol)| *symbol)
    };
    // "hrs", "lbs", "kgs": a symbol in the plural. One letter is none: "ms" is not metres.
    let plural = || {
        let one = word.strip_suffix('s')?;
        let symbol = listed(one).or(match one {
            "hr" => Some("h"),
            _ => None,
        });
        let is_symbol =
            || one.len() > 1 && UNITS.iter().any(|u| u.symbol.eq_ignore_ascii_case(one));
        symbol.or_else(|| is_symbol().then_some(one))
    };
    match word {
        "hr" => "h",
        "inches" => "in",
        _ => listed(word).or_else(plural).unwrap_or(word),
    }
}

/// The unit whose symbol or name is off by one letter.
fn nearest_unit(name: &str, dimension: Dimension) -> Option<&'static str> {
    let name = symbol_of(name);
    let of_dimension = || UNITS.iter().filter(|u| u.dimension == dimension);
    // Of one letter any other is off by one.
    let by_symbol =
        of_dimension().find(|u| u.symbol.len() > 1 && off_by_one(&u.symbol.to_lowercase(), &name));
    by_symbol.map(|u| u.symbol).or_else(|| {
        let singular = name.trim_end_matches('s');
        let (_, symbol) = WORDS.iter().find(|(word, symbol)| {
            word.len() > 2
                && off_by_one(word, singular)
                && of_dimension().any(|u| u.symbol.eq_ignore_ascii_case(symbol))
        })?;
        let unit = of_dimension().find(|u| u.symbol.eq_ignore_ascii_case(symbol))?;
        Some(unit.symbol)
    })
}

/// Whether one letter put in, left out, changed, or two exchanged, make one word the other.
fn off_by_one(a: &str, b: &str) -> bool {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
    let same = a.iter().zip(&b).take_while(|(x, y)| x == y).count();
    let (a, b) = (&a[same..], &b[same..]);
    match (a, b) {
        ([], []) => true,
        ([_, a @ ..], b) if a == b => true,
        (a, [_, b @ ..]) if a == b => true,
        ([_, a @ ..], [_, b @ ..]) if a == b => true,
        ([p, q, a @ ..], [r, s, b @ ..]) => (p, q) == (s, r) && a == b,
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::super::{CUBIC_FOOT_M3, FOOT_M, KNOT_M_S, MILE_M, POUND_FORCE_N, POUND_KG};
    use super::*;

    fn assert_reads(cases: &[(&str, Dimension, f64)]) {
        for &(text, dimension, si) in cases {
            let got = parse(text, dimension).unwrap_or_else(|e| panic!("{e}"));
            assert!((got - si).abs() < 1e-9 * si.abs().max(1.0), "{text}: {got}");
        }
    }

    #[test]
    fn a_point_that_may_stand_between_thousands() {
        assert_eq!(without_point(" 1.640 m").as_deref(), Some("1640 m"));
        assert_eq!(without_point("-1.640ft").as_deref(), Some("-1640ft"));
        for decimal in [
            "1640 m",
            "1.64 m",
            "1.6400 m",
            "0.640 m",
            "1640.125 m",
            "1.640,5 m",
            "m.125",
        ] {
            assert_eq!(without_point(decimal), None, "{decimal}");
        }
    }

    #[test]
    fn reads_what_people_write() {
        assert_reads(&[
            ("15 lbs", Dimension::Mass, 15.0 * POUND_KG),
            ("15lb.", Dimension::Mass, 15.0 * POUND_KG),
            ("1,200 g", Dimension::Mass, 1.2),
            ("1 200 g", Dimension::Mass, 1.2),
            ("1\u{202f}200 grams", Dimension::Mass, 1.2),
            ("2 Kilograms", Dimension::Mass, 2.0),
            ("3 kgs", Dimension::Mass, 3.0),
            ("1 pound", Dimension::Mass, POUND_KG),
            ("2 lb 3 oz", Dimension::Mass, (2.0 + 3.0 / 16.0) * POUND_KG),
            ("50 lbs", Dimension::Force, 50.0 * POUND_FORCE_N),
            ("50 pounds-force", Dimension::Force, 50.0 * POUND_FORCE_N),
            ("50 newtons", Dimension::Force, 50.0),
            ("100,000 feet", Dimension::Length, 30_480.0),
            ("1,234,567.5 mm", Dimension::Length, 1_234.567_5),
            ("98 425 ft", Dimension::Length, 98_425.0 * FOOT_M),
            ("7'", Dimension::Length, 7.0 * FOOT_M),
            ("7\u{2019} 6\u{201d}", Dimension::Length, 7.5 * FOOT_M),
            ("7' 6\"", Dimension::Length, 7.5 * FOOT_M),
            ("7'6''", Dimension::Length, 7.5 * FOOT_M),
            ("8 ft 6 in", Dimension::Length, 8.5 * FOOT_M),
            ("8 feet 6 inches", Dimension::Length, 8.5 * FOOT_M),
            ("8ft 6in", Dimension::Length, 8.5 * FOOT_M),
            ("-8 ft 6 in", Dimension::Length, -8.5 * FOOT_M),
            ("36\"", Dimension::Length, 3.0 * FOOT_M),
            ("12 miles", Dimension::Length, 12.0 * MILE_M),
            ("3 nautical miles", Dimension::Length, 3.0 * 1852.0),
            ("3 NM", Dimension::Length, 3.0 * 1852.0),
            ("30 kilometers", Dimension::Length, 30_000.0),
            ("30 Metres", Dimension::Length, 30.0),
            ("280 cu ft", Dimension::Volume, 280.0 * CUBIC_FOOT_M3),
            ("280 cu. ft.", Dimension::Volume, 280.0 * CUBIC_FOOT_M3),
            ("280 cubic feet", Dimension::Volume, 280.0 * CUBIC_FOOT_M3),
            ("280 ft^3", Dimension::Volume, 280.0 * CUBIC_FOOT_M3),
            ("5 m³", Dimension::Volume, 5.0),
            ("50 liters", Dimension::Volume, 0.05),
            ("50 l", Dimension::Volume, 0.05),
            ("10 knots", Dimension::Speed, 10.0 * KNOT_M_S),
            ("10 kts", Dimension::Speed, 10.0 * KNOT_M_S),
            ("1,000 feet per minute", Dimension::Speed, 5.08),
            ("1000 fpm", Dimension::Speed, 5.08),
            ("5 meters per second", Dimension::Speed, 5.0),
            ("5 m/sec", Dimension::Speed, 5.0),
            ("10 miles per hour", Dimension::Speed, MILE_M / 360.0),
            ("36 kph", Dimension::Speed, 10.0),
            (
                "2400 pounds per square inch",
                Dimension::Pressure,
                2400.0 * 6_894.757_293_168,
            ),
            ("1013 mbar", Dimension::Pressure, 101_300.0),
            ("20 MPa", Dimension::Pressure, 2e7),
            ("59 °F", Dimension::Temperature, 288.15),
            ("15 degrees Celsius", Dimension::Temperature, 288.15),
            ("-5 C", Dimension::Temperature, 268.15),
            ("2 hours", Dimension::Time, 7200.0),
            ("1 h 30 min", Dimension::Time, 5400.0),
            ("90 mins", Dimension::Time, 5400.0),
            ("1 hr", Dimension::Time, 3600.0),
            ("4 percent", Dimension::Ratio, 0.04),
            (
                "3 ounces per square inch",
                Dimension::AreaDensity,
                131.825_546_182,
            ),
            ("2 grams per metre", Dimension::MassPerLength, 0.002),
            (".5 kg", Dimension::Mass, 0.5),
            ("1.5e3 m", Dimension::Length, 1500.0),
        ]);
    }

    #[test]
    fn what_may_mean_two_things_is_refused_with_the_nearest_form() {
        let cases = [
            ("1,5 kg", Dimension::Mass, "perhaps \"1.5 kg\""),
            ("0,950 kg", Dimension::Mass, "perhaps \"0.950 kg\""),
            ("1.200,5 g", Dimension::Mass, "perhaps \"1200.5 g\""),
            ("1200,50 grams", Dimension::Mass, "perhaps \"1200.50 g\""),
            ("12,34,567 m", Dimension::Length, "not between thousands"),
            ("1 20 g", Dimension::Mass, "without a unit"),
            ("15", Dimension::Mass, "perhaps \"15 kg\""),
            ("8 ft 6", Dimension::Length, "without a unit"),
            ("8 ft 14 in", Dimension::Length, "perhaps \"9.166667 ft\""),
            ("6 in 8 ft", Dimension::Length, "whose parts"),
            ("8.5 ft 6 in", Dimension::Length, "whose parts"),
            ("8 ft -6 in", Dimension::Length, "whose parts"),
            (
                "15 C 3 C",
                Dimension::Temperature,
                "more than one temperature",
            ),
            ("10 m", Dimension::Time, "perhaps \"10 min\""),
            ("15 lsb", Dimension::Mass, "perhaps \"15 lb\""),
            ("15 gramms", Dimension::Mass, "perhaps \"15 g\""),
            ("15 ponds", Dimension::Mass, "perhaps \"15 lb\""),
            ("15 stone", Dimension::Mass, "unknown unit \"stone\""),
            ("15 ms", Dimension::Length, "unknown unit \"ms\""),
            (
                "about 5 kg",
                Dimension::Mass,
                "does not start with a number",
            ),
            ("5-6 kg", Dimension::Mass, "does not start with a number"),
            ("", Dimension::Mass, "does not start with a number"),
            ("1e999 kg", Dimension::Mass, "not a finite number"),
            ("inf kg", Dimension::Mass, "does not start with a number"),
            ("5 m", Dimension::Mass, "which is a length"),
        ];
        for (text, dimension, words) in cases {
            let error = parse(text, dimension).unwrap_err().to_string();
            assert!(error.contains(words), "{text}: {error}");
        }
    }
}
