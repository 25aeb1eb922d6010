//! NetCDF variables by their names alone: the last resort, for files whose attributes say nothing.

use super::parameter::{GEOPOTENTIAL, Meaning, isobaric};
use crate::wind::slab::{Quantity, Span, Surface};

/// Names of quantities on levels, in small letters, as the archives of reanalyses, converters from
/// GRIB and models write them.
const NAMES: [(Quantity, &[&str]); 7] = [
    (
        Quantity::EastWind,
        &[
            "u",
            "uwnd",
            "ugrd",
            "ua",
            "uwind",
            "u_wind",
            "u_component_of_wind",
            "ugrdprs",
        ],
    ),
    (
        Quantity::NorthWind,
        &[
            "v",
            "vwnd",
            "vgrd",
            "va",
            "vwind",
            "v_wind",
            "v_component_of_wind",
            "vgrdprs",
        ],
    ),
    (
        Quantity::WindSpeed,
        &["wspd", "wind_speed", "windspeed", "ws"],
    ),
    (
        Quantity::WindFrom,
        &[
            "wdir",
            "wind_direction",
            "wind_from_direction",
            "winddirection",
            "wd",
        ],
    ),
    (
        Quantity::Height,
        &[
            "h",
            "hgt",
            "z",
            "gh",
            "zg",
            "hgtprs",
            "height",
            "geopotential",
            "geopotential_height",
        ],
    ),
    (
        Quantity::Temperature,
        &["t", "air", "tmp", "ta", "temp", "temperature", "tmpprs"],
    ),
    (
        Quantity::RelativeHumidity,
        &["rh", "rhum", "hur", "rhprs", "relative_humidity"],
    ),
];

/// What a name says; of heights the units decide whether they are geopotentials.
pub(super) fn by_name(name: &str, units: &str) -> Option<Meaning> {
    let lower = name.to_ascii_lowercase();
    let (stem, surface) = match with_level(&lower) {
        Some((stem, surface)) => (stem, Some(surface)),
        None => (lower.as_str(), None),
    };
    let (quantity, _) = NAMES.iter().find(|(_, names)| names.contains(&stem))?;
    let squared = units.starts_with("m2") || units.starts_with("m**2") || units.starts_with("m^2");
    let unit = match quantity {
        Quantity::Height if squared => GEOPOTENTIAL,
        _ => 1.0,
    };
    Some(Meaning {
        quantity: *quantity,
        unit,
        surface,
        span: Span::Moment,
    })
}

/// A name with a level of pressure at its end, as in `ugrd_500mb` or `u500hpa`.
fn with_level(name: &str) -> Option<(&str, Surface)> {
    let body = ["mb", "hpa", "_mb", "_hpa"]
        .iter()
        // Those with an underscore first: with the others it would stay behind the number.
        .rev()
        .find_map(|unit| name.strip_suffix(unit))?;
    let stem = body.trim_end_matches(|c: char| c.is_ascii_digit());
    let hpa: f64 = body.split_at(stem.len()).1.parse().ok()?;
    Some((stem.trim_end_matches('_'), isobaric(100.0 * hpa)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_with_and_without_a_level() {
        let of = |name, units| by_name(name, units).map(|m| (m.quantity, m.surface));
        let at_500 = Some(Surface::Isobaric(50_000));
        assert_eq!(of("UGRD_500mb", "m/s"), Some((Quantity::EastWind, at_500)));
        assert_eq!(of("v500hPa", "m/s"), Some((Quantity::NorthWind, at_500)));
        assert_eq!(of("hgt_500_mb", "gpm"), Some((Quantity::Height, at_500)));
        assert_eq!(of("uwnd", "m/s"), Some((Quantity::EastWind, None)));
        assert_eq!(of("umb", "m/s"), None);
        assert_eq!(of("u10", "m/s"), None);
        assert_eq!(of("utm", "m"), None);
        assert_eq!(by_name("z", "m**2 s**-2").unwrap().unit, GEOPOTENTIAL);
        assert_eq!(by_name("z", "gpm").unwrap().unit, 1.0);
    }
}
