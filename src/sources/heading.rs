//! What a heading of a CSV column says: the quantity and its unit, in any common spelling.

use super::zones::{is_of_a_zone, is_utc};
use crate::units::{Dimension, symbols};

/// A quantity that a column can carry.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Quantity {
    /// Geometric, above mean sea level.
    Altitude,
    Geopotential,
    /// "height", without saying which.
    Height,
    Pressure,
    Temperature,
    DewPoint,
    DewPointDepression,
    Humidity,
    Speed,
    /// Where the wind comes from.
    From,
    /// Where it goes to.
    To,
    East,
    North,
    Latitude,
    Longitude,
    /// A date and time, or a time of day.
    Time,
    /// Since the release.
    Elapsed,
    /// A date, beside a time of day.
    Date,
}

/// What a heading was found to be.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Heading {
    /// A quantity with the symbol of its unit, empty where it needs none.
    Known(Quantity, &'static str),
    /// A quantity that needs a unit and has none.
    NoUnit(Quantity),
    /// A quantity with something behind it that is no unit of it.
    Unclear(Quantity),
    /// None of the above.
    Other,
}

/// Names of quantities, in lower case, words separated by one space.
const NAMES: &[(Quantity, &[&str])] = &[
    (
        Quantity::Altitude,
        &[
            "altitude",
            "alt",
            "geometric height",
            "geometric altitude",
            "gps altitude",
            "gps alt",
            "gps height",
            "gpsalt",
            "gps height msl",
            "gps altitude msl",
            "altitude msl",
            "altitude amsl",
            "altitude asl",
            "height msl",
            "height amsl",
            "height asl",
            "height above sea level",
            "altitude above sea level",
            "height above mean sea level",
            "altitude above mean sea level",
        ],
    ),
    (
        Quantity::Geopotential,
        &[
            "geopotential height",
            "geopotential altitude",
            "geopotential",
            "geopot",
            "geopot height",
            "geop hgt",
            "geopotentielle h\u{f6}he",
            "gph",
            "hght",
        ],
    ),
    // Of which kind such a height is, is said by its unit or assumed.
    (
        Quantity::Height,
        &["height", "hgt", "z", "h\u{f6}he", "hoehe"],
    ),
    (
        Quantity::Pressure,
        &[
            "pressure",
            "air pressure",
            "pressure level",
            "pres",
            "press",
            "p",
            // German services give away tables of their soundings, too.
            "luftdruck",
        ],
    ),
    (
        Quantity::Temperature,
        &[
            "temperature",
            "air temperature",
            "temp",
            "tdry",
            "dry bulb temperature",
            "t",
            "ta",
            "tmpc",
            "tmpk",
            "temperatur",
        ],
    ),
    (
        Quantity::DewPoint,
        &[
            "dew point temperature",
            "dewpoint temperature",
            "dew point",
            "dewpoint",
            "dwpt",
            "dwpc",
            "dwpk",
            "dewp",
            "dewpt",
            "td",
            "dp",
            "taupunkt",
        ],
    ),
    (
        Quantity::DewPointDepression,
        &["dew point depression", "dewpoint depression", "dpdp"],
    ),
    (
        Quantity::Humidity,
        &[
            "relative humidity",
            "rel humidity",
            "humidity",
            "relh",
            "rh",
        ],
    ),
    (
        Quantity::Speed,
        &[
            "wind speed",
            "windspeed",
            "wind",
            "speed",
            "wspd",
            "wind spd",
            "wind velocity",
            "windspd",
            "spd",
            "sknt",
            "sped",
            "ws",
            "ff",
            "windgeschwindigkeit",
        ],
    ),
    (
        Quantity::From,
        &[
            "wind direction",
            "winddirection",
            "wind dir",
            "winddir",
            "wind from",
            "wind from direction",
            "wind direction from",
            "direction",
            "dir",
            "wdir",
            "drct",
            "wd",
            "dd",
            "windrichtung",
        ],
    ),
    (Quantity::To, &["wind to", "wind towards", "wind toward"]),
    (
        Quantity::East,
        &[
            "u",
            "u wind",
            "uwind",
            "uwnd",
            "uwin",
            "wind u",
            "u component",
            "u wind component",
            "u component of wind",
            "eastward wind",
        ],
    ),
    (
        Quantity::North,
        &[
            "v",
            "v wind",
            "vwind",
            "vwnd",
            "vwin",
            "wind v",
            "v component",
            "v wind component",
            "v component of wind",
            "northward wind",
        ],
    ),
    (Quantity::Latitude, &["latitude", "lat"]),
    (Quantity::Longitude, &["longitude", "lon", "long", "lng"]),
    (
        Quantity::Time,
        &[
            "time",
            "datetime",
            "date time",
            "timestamp",
            "time utc",
            "utc time",
            "utc",
            "valid",
            "validutc",
            "valid utc",
            "valid time",
        ],
    ),
    (
        Quantity::Elapsed,
        &[
            "elapsed time",
            "elapsed",
            "time elapsed",
            "flight time",
            "time since release",
            "time since launch",
            "time from release",
            "time from launch",
            "etime",
        ],
    ),
    (Quantity::Date, &["date", "day", "utc date", "date utc"]),
];

/// Four-letter names that are one quantity in one unit wherever they stand.
const CONVENTION: [&str; 5] = ["tmpc", "tmpk", "dwpc", "dwpk", "sknt"];

/// Names with the units they have beside one of those above.
const CONVENTIONAL_UNITS: [(&str, &str); 14] = [
    ("pres", "hPa"),
    ("hght", "m"),
    ("tmpc", "C"),
    ("tmpk", "K"),
    ("dwpc", "C"),
    ("dwpk", "K"),
    // Beside one of the names of the convention these have its units; alone they say nothing.
    ("temp", "C"),
    ("dwpt", "C"),
    ("dewp", "C"),
    ("relh", "%"),
    ("sknt", "kt"),
    ("sped", "m/s"),
    ("uwnd", "m/s"),
    ("vwnd", "m/s"),
];

/// Units of what is not used, for lines of units.
const OTHER_UNITS: [&str; 8] = [
    "g/kg", "g kg-1", "j/kg", "utc", "hh:mm:ss", "1", "kg/m3", "pa/s",
];

/// Spellings of units, in lower case, words separated by one space, and their symbols. `gpm` is
/// kept apart, for it makes any height a geopotential one.
const UNITS: &[(&str, &[&str])] = &[
    (
        "m",
        &[
            "m",
            "meter",
            "meters",
            "metre",
            "metres",
            "m asl",
            "m amsl",
            "m msl",
            "m above sea level",
            "metres above sea level",
            "meters above sea level",
        ],
    ),
    (
        "gpm",
        &[
            "gpm",
            "geopotential m",
            "geopotential metres",
            "geopotential meters",
        ],
    ),
    ("km", &["km", "kilometres", "kilometers"]),
    ("ft", &["ft", "feet", "foot", "ft asl", "ft amsl", "ft msl"]),
    (
        "hPa",
        &[
            "hpa",
            "mb",
            "mbar",
            "millibar",
            "millibars",
            "hectopascal",
            "hectopascals",
        ],
    ),
    ("Pa", &["pa", "pascal", "pascals"]),
    (
        "m/s",
        &[
            "m/s",
            "m s",
            "ms",
            "mps",
            "m/sec",
            "m s-1",
            "ms-1",
            "m.s-1",
            "m s^-1",
            "m*s^-1",
            "m s**-1",
            "metres per second",
            "meters per second",
        ],
    ),
    ("kt", &["kt", "kts", "kn", "knot", "knots"]),
    ("km/h", &["km/h", "kmh", "kph", "km h", "km h-1"]),
    ("mph", &["mph", "mi/h"]),
    (
        "C",
        &[
            "c",
            "degc",
            "deg c",
            "celsius",
            "degree c",
            "degrees c",
            "degree celsius",
            "degrees celsius",
            "°c",
            "ºc",
        ],
    ),
    ("K", &["k", "kelvin", "degk", "deg k"]),
    (
        "F",
        &["f", "degf", "deg f", "fahrenheit", "degrees f", "°f"],
    ),
    ("%", &["%", "percent", "pct", "per cent"]),
    ("s", &["s", "sec", "secs", "second", "seconds"]),
    ("min", &["min", "mins", "minute", "minutes"]),
    (
        "deg",
        &[
            "deg",
            "degree",
            "degrees",
            "°",
            "º",
            "deg true",
            "deg. true",
            "degrees true",
            "degree true",
            "° true",
            "degt",
            "deg t",
            "degrees t",
            "°t",
            "true",
            "t",
            "degrees north",
            "degrees east",
            "degree north",
            "degree east",
            "degrees n",
            "degrees e",
            "degree n",
            "degree e",
            "deg north",
            "deg east",
            "deg n",
            "deg e",
            "degn",
            "dege",
            "°n",
            "°e",
            "n",
            "e",
            "decimal degrees",
            "dec deg",
            // German.
            "grad",
        ],
    ),
];

impl Quantity {
    /// What the quantity measures; `None` for angles and times, which need no unit.
    pub(super) fn dimension(self) -> Option<Dimension> {
        match self {
            Quantity::Altitude | Quantity::Geopotential | Quantity::Height => {
                Some(Dimension::Length)
            }
            Quantity::Pressure => Some(Dimension::Pressure),
            Quantity::Temperature | Quantity::DewPoint | Quantity::DewPointDepression => {
                Some(Dimension::Temperature)
            }
            Quantity::Humidity => Some(Dimension::Ratio),
            Quantity::Speed | Quantity::East | Quantity::North => Some(Dimension::Speed),
            Quantity::From
            | Quantity::To
            | Quantity::Latitude
            | Quantity::Longitude
            | Quantity::Time
            | Quantity::Date => None,
            Quantity::Elapsed => Some(Dimension::Time),
        }
    }

    /// Spellings with unit that would be right, for messages.
    pub(super) fn examples(self) -> &'static str {
        match self {
            Quantity::Altitude => "altitude_m, altitude (ft), altitude_km",
            Quantity::Geopotential => "geopotential_height_m, geopotential height_m, gph (gpm)",
            Quantity::Height => "altitude_m, geopotential height_m, height (ft)",
            Quantity::Pressure => "pressure_hPa, pressure_pa, pressure [mbar]",
            Quantity::Temperature => "temperature_C, temperature_k, temperature (F)",
            Quantity::DewPoint => "dew point_C, dewpoint_k",
            Quantity::DewPointDepression => "dew point depression_C",
            Quantity::Humidity => "relative humidity_%",
            Quantity::Speed => {
                "wind_speed_m/s, wind_speed_ms, wind_kt, wind speed (km/h), wind_mph"
            }
            Quantity::East => "u_m_s, u_wind_kt",
            Quantity::North => "v_m_s, v_wind_kt",
            Quantity::From => "wind_direction_deg, wind_dir",
            Quantity::To => "wind_to_deg",
            Quantity::Latitude => "latitude, lat_deg",
            Quantity::Longitude => "longitude, lon_deg",
            Quantity::Time => "time",
            Quantity::Elapsed => "elapsed time_s, time (s), flight time [min]",
            Quantity::Date => "date",
        }
    }

    /// How a person may say it of a column, with a likely unit.
    pub(super) fn told_as(self) -> &'static str {
        match self {
            Quantity::Altitude => "altitude m",
            Quantity::Geopotential => "geopotential height m",
            Quantity::Height => "height m",
            Quantity::Pressure => "pressure hPa",
            Quantity::Temperature => "temperature C",
            Quantity::DewPoint => "dew point C",
            Quantity::DewPointDepression => "dew point depression C",
            Quantity::Humidity => "relative humidity %",
            Quantity::Speed => "wind speed m/s",
            Quantity::From => "wind from",
            Quantity::To => "wind to",
            Quantity::East => "u m/s",
            Quantity::North => "v m/s",
            Quantity::Latitude => "latitude",
            Quantity::Longitude => "longitude",
            Quantity::Time => "time",
            Quantity::Elapsed => "elapsed time s",
            Quantity::Date => "date",
        }
    }

    /// Whether it is a height, of whatever kind.
    pub(super) fn is_height(self) -> bool {
        matches!(self.dimension(), Some(Dimension::Length))
    }

    /// Whether it is measured in a unit.
    pub(super) fn takes(self, symbol: &str) -> bool {
        match (self.dimension(), symbol) {
            (None, _) => symbol == "deg",
            // A geometric altitude in geopotential metres contradicts itself.
            (Some(Dimension::Length), "gpm") => self != Quantity::Altitude,
            (Some(dimension), _) => symbols(dimension).split(", ").any(|s| s == symbol),
        }
    }
}

/// Lower case, one space between words, brackets and the like as spaces; `windSpeed` and `HeightMSL` are two words,
/// `hPa` is one.
pub(super) fn plain(text: &str) -> String {
    let chars: Vec<char> = text.chars().collect();
    let mut parted = String::with_capacity(text.len());
    for (i, c) in chars.iter().enumerate() {
        let before = i.checked_sub(2).and_then(|from| chars.get(from..i));
        let before = before.is_some_and(|two| two.iter().all(|c| c.is_lowercase()));
        let after = chars.get(i + 1).is_some_and(|c| c.is_lowercase());
        // Up to the end of the word; a capital alone is part of a unit.
        let mut behind = chars.iter().skip(i + 1).take_while(|c| c.is_alphabetic());
        let mut is_run =
            || behind.next().is_some_and(|c| c.is_uppercase()) && behind.all(|c| c.is_uppercase());
        if c.is_uppercase() && before && (after || is_run()) {
            parted.push(' ');
        }
        parted.push(*c);
    }
    let spaced: String = parted
        .to_lowercase()
        .chars()
        .map(|c| if "_()[]{}:,".contains(c) { ' ' } else { c })
        .collect();
    spaced.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Whether a text is nothing but a unit.
pub(super) fn is_unit(text: &str) -> bool {
    let plain = plain(text);
    symbol(&plain).is_some() || OTHER_UNITS.contains(&plain.as_str())
}

/// Whether what stands below a heading that reads without it says something else than the heading does.
fn is_belied(quantity: Quantity, unit: &str) -> bool {
    match quantity {
        Quantity::Time | Quantity::Date => is_of_a_zone(unit),
        Quantity::From | Quantity::To | Quantity::Latitude | Quantity::Longitude => {
            unit.contains(char::is_alphabetic) && symbol(&plain(unit)) != Some("deg")
        }
        _ => says_otherwise(unit),
    }
}

/// Whether a name, or the unit of a time, says that it is in UTC, as "launch_time_utc", "validUTC" or "time (UTC)".
pub(super) fn is_in_utc(text: &str) -> bool {
    !is_of_a_zone(text) && plain(text).split(' ').any(is_utc)
}

/// Whether words say that something is above the ground, or where a wind goes to.
pub(super) fn says_otherwise(words: &str) -> bool {
    let lower = words.to_lowercase();
    let mut words = lower.split(|c: char| !c.is_alphanumeric());
    let others = [
        "agl", "ground", "to", "towards", "toward", "magnetic", "mag",
    ];
    words.any(|word| others.contains(&word))
}

/// Whether a heading is one of the names that fix the units of the others.
pub(super) fn is_conventional(heading: &str) -> bool {
    CONVENTION.contains(&plain(heading).as_str())
}

/// The unit that a heading has beside one of those names.
fn conventional_unit(heading: &str) -> Option<&'static str> {
    let plain = plain(heading);
    let known = CONVENTIONAL_UNITS.iter().find(|(name, _)| *name == plain);
    known.map(|&(_, unit)| unit)
}

/// Whether a column of that heading says of which station its rows are.
pub(super) fn is_station(heading: &str) -> bool {
    const NAMES: [&str; 12] = [
        "station",
        "station id",
        "station name",
        "station number",
        "stid",
        "wmo id",
        // In a receiver's log.
        "serial",
        "serial number",
        "sonde",
        "sonde id",
        "sonde serial",
        "callsign",
    ];
    NAMES.contains(&plain(heading).as_str())
}

/// Reads a heading with the unit that stands apart from it, if any; `convention` gives those without a unit that which
/// is usual beside four-letter names.
pub(super) fn read_with(heading: &str, unit: &str, convention: bool) -> Heading {
    // Read as one, so that a unit on the line below counts like one behind the name.
    let with_unit = read(&format!("{heading} {unit}"));
    if matches!(with_unit, Heading::Known(..)) {
        return with_unit;
    }
    let below = symbol(&plain(unit));
    let is_another = |said: &str| !said.is_empty() && below.is_some_and(|below| below != said);
    match read(heading) {
        Heading::Known(quantity, "m") if quantity.takes("gpm") && below == Some("gpm") => {
            Heading::Known(Quantity::Geopotential, "m")
        }
        // The unit below is another than the one that it names.
        Heading::Known(quantity, said) if is_another(said) => Heading::Unclear(quantity),
        Heading::NoUnit(quantity) if convention && unit.is_empty() => conventional_unit(heading)
            .map_or(Heading::NoUnit(quantity), |unit| {
                Heading::Known(quantity, unit)
            }),
        Heading::Known(quantity, _) | Heading::NoUnit(quantity) if is_belied(quantity, unit) => {
            Heading::Unclear(quantity)
        }
        other => other,
    }
}

/// Whether a heading that is not understood may name a height.
pub(super) fn may_be_height(heading: &str) -> bool {
    const WITHIN: [&str; 3] = ["height", "h\u{f6}he", "hoehe"];
    // Within a word these are parts of others, as of salt.
    const BEGINNINGS: [&str; 4] = ["hgt", "alt", "geop", "elev"];
    let plain = plain(heading);
    let is_named = |word: &str| {
        WITHIN.iter().any(|part| word.contains(part))
            || BEGINNINGS.iter().any(|part| word.starts_with(part))
    };
    // That above the horizon is no height.
    !plain.contains("angle") && plain.split(' ').any(is_named)
}

/// Reads a heading such as `geopotential height_m`, `wind speed [kt]`, `u_m_s`, `Temp (°C)`.
pub(super) fn read(heading: &str) -> Heading {
    let plain = plain(heading);
    let words: Vec<&str> = plain.split(' ').filter(|w| !w.is_empty()).collect();
    let mut best = Heading::Other;
    // The longest name wins: "dew point depression" is no "dew point".
    for length in 1..=words.len() {
        let (name, unit) = words.split_at(length);
        let (name, unit) = (name.join(" "), unit.join(" "));
        let Some(quantity) = quantity(&name) else {
            continue;
        };
        best = match symbol(&unit) {
            Some("gpm") if quantity.takes("gpm") => Heading::Known(Quantity::Geopotential, "m"),
            // A time in seconds is no time of day.
            Some(unit) if quantity == Quantity::Time && Quantity::Elapsed.takes(unit) => {
                Heading::Known(Quantity::Elapsed, unit)
            }
            Some(symbol) if quantity.takes(symbol) => Heading::Known(quantity, symbol),
            _ if unit.is_empty() && quantity.dimension().is_none() => Heading::Known(quantity, ""),
            _ if unit.is_empty() => Heading::NoUnit(quantity),
            // A longer name may still fit; but "u m s" must not become unclear after it was known.
            _ => Heading::Unclear(quantity),
        };
        if matches!(best, Heading::Known(..)) {
            break;
        }
    }
    best
}

fn quantity(name: &str) -> Option<Quantity> {
    NAMES
        .iter()
        .find(|(_, names)| names.contains(&name))
        .map(|&(quantity, _)| quantity)
}

/// The symbol of a unit in one of its spellings, as [`plain`] gives them.
pub(super) fn symbol(spelling: &str) -> Option<&'static str> {
    let spelling = spelling.trim_end_matches('.');
    UNITS
        .iter()
        .find(|(_, spellings)| spellings.contains(&spelling))
        .map(|&(symbol, _)| symbol)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn common_spellings() {
        use Quantity::*;
        let cases = [
            ("altitude_m", Altitude, "m"),
            ("Altitude [ft]", Altitude, "ft"),
            ("GPS Altitude (m)", Altitude, "m"),
            ("geopotential height_m", Geopotential, "m"),
            ("geopotential_height_m", Geopotential, "m"),
            ("height (gpm)", Geopotential, "m"),
            ("height (ft)", Height, "ft"),
            ("pressure [hPa]", Pressure, "hPa"),
            ("pressure_pa", Pressure, "Pa"),
            ("Press (mbar)", Pressure, "hPa"),
            ("wind speed_m/s", Speed, "m/s"),
            ("wind_speed_ms", Speed, "m/s"),
            ("wind_kt", Speed, "kt"),
            ("Wind Speed (km/h)", Speed, "km/h"),
            ("wind direction_degree", From, "deg"),
            ("wind_dir_deg", From, "deg"),
            ("wind_dir", From, ""),
            ("u_m_s", East, "m/s"),
            ("v_wind_m_s", North, "m/s"),
            ("u_wind (kt)", East, "kt"),
            ("temperature_C", Temperature, "C"),
            ("temperature_k", Temperature, "K"),
            ("Temp (°C)", Temperature, "C"),
            ("dew point temperature_C", DewPoint, "C"),
            ("dew point depression_C", DewPointDepression, "C"),
            ("relative humidity_%", Humidity, "%"),
            ("lat", Latitude, ""),
            ("longitude_deg", Longitude, "deg"),
            ("time", Time, ""),
            ("time_s", Elapsed, "s"),
            ("Time (min)", Elapsed, "min"),
            ("elapsed time [sec]", Elapsed, "s"),
            ("windDirection", From, ""),
            ("relativeHumidity_%", Humidity, "%"),
            ("altitudeFt", Altitude, "ft"),
            ("pressure_hPa", Pressure, "hPa"),
            ("DIR(T)", From, "deg"),
            ("HeightMSL [m]", Altitude, "m"),
            ("TimeUTC", Time, ""),
            ("Wind direction (deg.)", From, "deg"),
        ];
        for (text, quantity, unit) in cases {
            assert_eq!(read(text), Heading::Known(quantity, unit), "{text}");
        }
    }

    #[test]
    fn what_is_not_guessed() {
        assert_eq!(read("wind_speed"), Heading::NoUnit(Quantity::Speed));
        assert_eq!(read("pressure"), Heading::NoUnit(Quantity::Pressure));
        assert_eq!(read("wind_speed_m"), Heading::Unclear(Quantity::Speed));
        assert_eq!(read("altitude_agl_m"), Heading::Unclear(Quantity::Altitude));
        assert_eq!(read("DIR(M)"), Heading::Unclear(Quantity::From));
        assert_eq!(
            read("humidity wrt ice_%"),
            Heading::Unclear(Quantity::Humidity)
        );
        for other in ["phase", "mixing ratio_g/kg", "ice point temperature_C", ""] {
            assert_eq!(read(other), Heading::Other, "{other}");
        }
    }

    #[test]
    fn units_below_headings_may_repeat_and_spell_theirs() {
        use Quantity::*;
        for (heading, unit, quantity) in [
            ("altitude_m", "m", Altitude),
            ("wind_speed_ms", "m/s", Speed),
            ("wind_dir_deg", "deg", From),
            ("Wind direction [deg]", "deg", From),
            ("H\u{f6}he", "m", Height),
            ("Windrichtung", "Grad", From),
            ("wind_dir", "\u{b0}T", From),
            ("wind_dir", "degrees T", From),
            ("wind_dir", "deg. true", From),
            ("wind_dir", "\u{b0} true", From),
            ("lat", "\u{b0}N", Latitude),
            ("lon", "\u{b0}E", Longitude),
            ("lat", "degN", Latitude),
            ("lon", "degE", Longitude),
            ("lat", "decimal degrees", Latitude),
            ("lon", "dec deg", Longitude),
            ("height_m", "gpm", Geopotential),
            ("geopotential height_m", "gpm", Geopotential),
        ] {
            let found = read_with(heading, unit, false);
            let is_known = matches!(found, Heading::Known(found, _) if found == quantity);
            assert!(is_known, "{heading} over {unit}: {found:?}");
        }
        for (heading, unit) in [
            ("wind_dir", "deg to"),
            ("wind_dir", "deg (mag)"),
            ("wind_dir_deg", "deg (mag)"),
            ("lon", "\u{b0}W"),
            ("lat", "\u{b0}S"),
            ("altitude_m", "ft"),
            ("wind_speed_ms", "kt"),
            ("altitude_m", "gpm"),
        ] {
            let found = read_with(heading, unit, false);
            let is_unclear = matches!(found, Heading::Unclear(_));
            assert!(is_unclear, "{heading} over {unit}: {found:?}");
        }
    }

    #[test]
    fn what_may_be_a_height() {
        for height in ["HeightOfSonde", "baro_alt_x", "Flugh\u{f6}he", "Elev"] {
            assert!(may_be_height(height), "{height}");
        }
        for other in ["elevation angle", "ElevationAngle", "salt", "cobalt_ppm"] {
            assert!(!may_be_height(other), "{other}");
        }
    }

    #[test]
    fn every_example_is_understood() {
        for (quantity, names) in NAMES {
            for example in quantity.examples().split(", ") {
                let known = matches!(read(example), Heading::Known(..));
                assert!(known, "{example}");
            }
            let told = read(quantity.told_as());
            assert!(
                matches!(told, Heading::Known(q, _) if q == *quantity),
                "{told:?}"
            );
            // A name belongs to one quantity only.
            for name in *names {
                assert_eq!(super::quantity(name), Some(*quantity), "{name}");
            }
        }
    }
}
