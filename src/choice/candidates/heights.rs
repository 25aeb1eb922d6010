//! Elevations of candidates, as tables and maps have them.

use crate::plan::SITE_ELEVATIONS_M;
use crate::units::{Dimension, parse};

/// What elevations are called.
const NAMES: [&str; 5] = ["elevation", "elev", "altitude", "alt", "height"];
/// Units that stand beside a name, each as the readers of quantities know it.
const UNITS: [(&str, &str); 8] = [
    ("m", "m"),
    ("metre", "m"),
    ("metres", "m"),
    ("meter", "m"),
    ("meters", "m"),
    ("ft", "ft"),
    ("foot", "ft"),
    ("feet", "ft"),
];
/// What may stand beside them and changes nothing.
const ABOVE: [&str; 7] = ["msl", "amsl", "asl", "above", "mean", "sea", "level"];

/// The unit that a name of elevations gives for all of them, as in "elevation_ft" or "Elevation [m]"; empty
/// where each has its own. `None` for the names of other things.
pub fn unit_of(name: &str) -> Option<&'static str> {
    let lower = name.to_lowercase();
    let mut words = lower
        .split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty());
    if !NAMES.contains(&words.next()?) {
        return None;
    }
    let mut unit = "";
    for word in words {
        match UNITS.iter().find(|(written, _)| *written == word) {
            Some((_, known)) => unit = known,
            // "Height above ground" is another height.
            None if !ABOVE.contains(&word) => return None,
            None => {}
        }
    }
    Some(unit)
}

/// What is expected of an elevation.
pub const EXPECTED: &str = "a height from -430 m to 6000 m, as in 120 m";

/// An elevation that a site can have, m; a number without a unit is in that of its column. Else what was
/// found.
pub fn elevation_of(text: &str, unit: &str) -> std::result::Result<f64, String> {
    let whole = match text.parse::<f64>() {
        Ok(_) => &format!("{text} {unit}"),
        Err(_) => text,
    };
    let elevation_m = parse(whole, Dimension::Length).map_err(|wrong| wrong.to_string())?;
    match SITE_ELEVATIONS_M.contains(&elevation_m) {
        true => Ok(elevation_m),
        false => Err(format!("\"{text}\"")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_elevations_may_have_a_unit() {
        for (name, unit) in [
            ("Elevation", Some("")),
            ("elevation_ft", Some("ft")),
            ("Elevation (ft)", Some("ft")),
            ("altitude [m]", Some("m")),
            ("Elev. above sea level, feet", Some("ft")),
            ("height above ground (m)", None),
            ("alt_name", None),
            ("name", None),
            ("", None),
        ] {
            assert_eq!(unit_of(name), unit, "{name}");
        }
    }
}
