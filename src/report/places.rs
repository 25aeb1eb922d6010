//! A place as devices and people take it: links to tap, texts to copy.

use crate::geodesy::{Position, utm::utm};

/// A link that map programs on a phone open without a network (RFC 5870).
/// Its six decimals are a tenth of a metre.
pub fn geo_link(at: Position) -> String {
    format!("geo:{:.6},{:.6}", at.lat_deg, at.lon_deg)
}

/// A link to a map on the web, for devices that know no other: nothing is asked for until somebody taps
/// it.
pub fn map_link(at: Position) -> String {
    let [lat, lon] = [at.lat_deg, at.lon_deg].map(|v| format!("{v:.5}"));
    format!("https://www.openstreetmap.org/?mlat={lat}&mlon={lon}#map=13/{lat}/{lon}")
}

/// A place in the forms that are in use, each with the name of its form.
pub fn forms(at: Position) -> Vec<(&'static str, String)> {
    // Five decimals are about a metre: nobody waits nearer than that.
    let decimal = format!("{:.5}, {:.5}", at.lat_deg, at.lon_deg);
    let mut forms = vec![
        ("decimal degrees", decimal),
        ("degrees and minutes", degrees_and_minutes(at)),
    ];
    forms.extend(utm(at).map(|there| {
        // Not rounded: by custom a reference is the corner of the square that holds the place.
        let text = format!(
            "{}{} {:06.0} {:07.0}",
            there.zone,
            there.band,
            there.easting_m.floor(),
            there.northing_m.floor()
        );
        ("UTM", text)
    }));
    forms
}

/// As in "39\u{b0} 45.000' N, 8\u{b0} 48.600' W".
fn degrees_and_minutes(at: Position) -> String {
    let side = |value: f64, sides: [char; 2]| {
        // Rounded first, or 59.9999 minutes would be written as 60.
        let thousandths = (value.abs() * 60_000.0).round();
        let degrees = (thousandths / 60_000.0).floor();
        let minutes = (thousandths - 60_000.0 * degrees) / 1_000.0;
        let side = sides[usize::from(value < 0.0)];
        format!("{degrees:.0}\u{b0} {minutes:06.3}' {side}")
    };
    let lat = side(at.lat_deg, ['N', 'S']);
    format!("{lat}, {}", side(at.lon_deg, ['E', 'W']))
}

/// The number to dial in a line of contacts, as a link, with where in the line it stands.
pub fn telephone(line: &str) -> Option<(std::ops::Range<usize>, String)> {
    // What people write between digits, a blank that does not break among it.
    let of_number = |c: char| c.is_ascii_digit() || " \u{a0}-./()+".contains(c);
    let mut start = 0;
    while start < line.len() {
        let rest = &line[start..];
        let from = start + rest.find(|c: char| c.is_ascii_digit() || c == '+')?;
        let long = line[from..].find(|c| !of_number(c));
        let to = long.map_or(line.len(), |long| from + long);
        // A dash or a bracket behind the last digit is of the sentence.
        let found = line[from..to].trim_end_matches(|c: char| !c.is_ascii_digit());
        let digits: String = found.chars().filter(char::is_ascii_digit).collect();
        // Shorter ones may be a house or a channel; 3 to 5 digits after "+" are no number either.
        let one_number = !found.chars().skip(1).any(|c| c == '+');
        // A frequency, as in "144.800".
        let decimal = found.matches('.').count() == 1
            && found.chars().all(|c| c.is_ascii_digit() || c == '.');
        // No number has more than 15 digits (ITU-T E.164).
        if (6..=15).contains(&digits.len()) && one_number && !decimal {
            let plus = if found.starts_with('+') { "+" } else { "" };
            return Some((from..from + found.len(), format!("tel:{plus}{digits}")));
        }
        // One on at the least, or the same sign would be found for ever.
        start = to.max(from + 1);
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(lat: f64, lon: f64) -> Position {
        Position::new(lat, lon).unwrap()
    }

    #[test]
    fn a_place_is_written_in_three_forms() {
        let forms = forms(at(39.75, -8.81));
        assert_eq!(forms[0], ("decimal degrees", "39.75000, -8.81000".into()));
        let minutes = "39\u{b0} 45.000' N, 8\u{b0} 48.600' W";
        assert_eq!(forms[1], ("degrees and minutes", minutes.into()));
        assert!(forms[2].1.starts_with("29S 516"), "{forms:?}");
        let almost = degrees_and_minutes(at(-0.999_999_9, 179.999_999_9));
        assert_eq!(almost, "1\u{b0} 00.000' S, 180\u{b0} 00.000' E");
        assert_eq!(super::forms(at(88.0, 10.0)).len(), 2);
    }

    #[test]
    fn numbers_to_dial_are_found_and_others_are_not() {
        assert_eq!(telephone("+"), None);
        let (at, link) = telephone("Ann + Bob +1 555 123 4567").unwrap();
        assert_eq!((at.start, link.as_str()), (10, "tel:+15551234567"));
        let link = |line| telephone(line).map(|(_, link)| link);
        assert_eq!(
            link("Ana: +351 912 345 678"),
            Some("tel:+351912345678".into())
        );
        assert_eq!(
            link("Tower (307) 555-0143, ask for Lee"),
            Some("tel:3075550143".into())
        );
        assert_eq!(link("2 m band 144.800 MHz"), None);
        assert_eq!(link("Room 12, 555 0143 00"), Some("tel:555014300".into()));
        assert_eq!(link("nobody \u{1f388}"), None);
        let line = "Ana \u{1f388}: +351 912 345 678 (evenings)";
        let (found, _) = telephone(line).unwrap();
        assert_eq!(&line[found], "+351 912 345 678");
    }
}
