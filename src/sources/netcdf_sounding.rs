//! Soundings in NetCDF: one dimension along the ascent, variables known by their standard names, else
//! by the names that archives of soundings use.
//!
//! # References
//!
//! NetCDF Climate and Forecast (CF) Metadata Conventions 1.11, section 3.3 (standard names) and
//! chapter 9 (discrete sampling geometries: one trajectory or profile). Names without standard name:
//! files of the ARM sonde ingest and of ASPEN.

#![allow(
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "by numbers of its own rows"
)]

use std::path::Path;

use jiff::Timestamp;
use netcdf_reader::{NcFile, NcOpenOptions, NcVariable};

use super::around::is_unset;
use super::clean::{Raw, Row};
use super::drifted::place;
use super::grid::netcdf::in_parts;
use super::grid::netcdf_meaning::{pressure_pa, text};
use super::grid::netcdf_time::{Since, is_since};
use crate::error::{Error, Fault, Result};
use crate::files::guarded;
use crate::geodesy::Position;
use crate::notes::reading::Reading;
use crate::units::ZERO_CELSIUS_K;
use crate::wind::sounding::{HeightSource, Tally};

/// The most rows of an ascent: a day at ten a second.
const MOST_ROWS: usize = 1_000_000;
/// What a file was to be, for messages.
const FORMAT: &str = "a sounding in NetCDF";

/// What a variable along the ascent holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Column {
    Pressure,
    Geopotential,
    Altitude,
    Temperature,
    DewPoint,
    Humidity,
    Speed,
    From,
    East,
    North,
    Latitude,
    Longitude,
    Time,
}

/// Standard names, then other names in small letters.
const NAMES: [(Column, &[&str], &[&str]); 12] = [
    (
        Column::Pressure,
        &["air_pressure"],
        &["pres", "pressure", "press", "p"],
    ),
    (
        Column::Geopotential,
        &["geopotential_height"],
        &["geopotential_height", "gph", "geopot", "gpm", "hgt"],
    ),
    (
        Column::Altitude,
        &[
            "altitude",
            "height_above_mean_sea_level",
            "height_above_reference_ellipsoid",
        ],
        &["alt", "altitude", "height", "gpsalt", "gps_altitude", "z"],
    ),
    (
        Column::Temperature,
        &["air_temperature"],
        &["tdry", "temp", "temperature", "ta", "air_temperature", "t"],
    ),
    (
        Column::DewPoint,
        &["dew_point_temperature"],
        &["dp", "dew_point", "dewpoint", "td", "dew_point_temperature"],
    ),
    (
        Column::Humidity,
        &["relative_humidity"],
        &["rh", "relative_humidity", "humidity"],
    ),
    (
        Column::Speed,
        &["wind_speed"],
        &["wspd", "wind_speed", "windspeed", "speed", "ws", "ff"],
    ),
    (
        Column::From,
        &["wind_from_direction"],
        &["wdir", "deg", "wind_direction", "winddirection", "wd", "dd"],
    ),
    (
        Column::East,
        &["eastward_wind"],
        &["u_wind", "u", "ua", "uwnd", "wind_u"],
    ),
    (
        Column::North,
        &["northward_wind"],
        &["v_wind", "v", "va", "vwnd", "wind_v"],
    ),
    (Column::Latitude, &["latitude"], &["lat", "latitude"]),
    (Column::Longitude, &["longitude"], &["lon", "longitude"]),
];

/// The columns along one dimension.
struct Ladder<'a> {
    rows: usize,
    columns: Vec<(Column, &'a NcVariable)>,
}

impl Ladder<'_> {
    fn has(&self, column: Column) -> bool {
        self.columns.iter().any(|(c, _)| *c == column)
    }

    /// Whether it holds winds and where they are.
    fn is_sounding(&self) -> bool {
        let wind = (self.has(Column::East) && self.has(Column::North))
            || (self.has(Column::Speed) && self.has(Column::From));
        let where_it_is = [Column::Pressure, Column::Geopotential, Column::Altitude];
        self.rows >= 2 && wind && where_it_is.into_iter().any(|c| self.has(c))
    }
}

fn options() -> NcOpenOptions {
    NcOpenOptions {
        // As unpacked: 64 bits.
        max_read_bytes: 8 * MOST_ROWS,
        ..NcOpenOptions::default()
    }
}

/// Whether a NetCDF file holds a sounding, not a grid.
pub(super) fn is_one(path: &Path) -> bool {
    let name = path.display().to_string();
    guarded(&name, FORMAT, || {
        let file = in_parts(path, options());
        Ok(file.is_ok_and(|file| ladder(&file).is_some() && !has_grid(&file)))
    })
    .unwrap_or(false)
}

/// The same of what was read already.
pub(super) fn is_one_in(bytes: &[u8]) -> bool {
    guarded("", FORMAT, || {
        let file = NcFile::from_owner(bytes.to_vec(), options());
        Ok(file.is_ok_and(|file| ladder(&file).is_some() && !has_grid(&file)))
    })
    .unwrap_or(false)
}

/// Whether winds lie along two dimensions or more.
fn has_grid(file: &NcFile) -> bool {
    let variables = file.variables().unwrap_or_default();
    variables.iter().any(|variable| {
        let wind = [Column::East, Column::North, Column::Speed];
        let long = variable.dimensions().iter().filter(|d| d.size > 1);
        long.count() > 1 && column(variable).is_some_and(|(c, _)| wind.contains(&c))
    })
}

/// Reads the ascent; its clean form is made by `clean`.
pub(super) fn read(name: &str, bytes: &[u8]) -> Result<Raw> {
    guarded(name, FORMAT, || {
        let file = NcFile::from_owner(bytes.to_vec(), options()).map_err(|cause| {
            let expected = "a complete NetCDF file; is it damaged or cut short?";
            Fault::new(name, cause.to_string(), expected)
        })?;
        let ladder = ladder(&file).ok_or_else(|| {
            let found = "no winds with heights or pressures along one dimension";
            let expected = "a sounding: wind with height or pressure, row by row";
            Fault::new(name, found, expected)
        })?;
        if ladder.rows > MOST_ROWS {
            let expected = format!("up to {MOST_ROWS}");
            return Err(Fault::new(name, format!("{} rows", ladder.rows), expected).into());
        }
        ascent(name, &file, &ladder)
    })
}

/// The columns of the dimension with the most rows that makes a sounding.
fn ladder(file: &NcFile) -> Option<Ladder<'_>> {
    let variables = file.variables().ok()?;
    let mut ladders: Vec<(&str, Ladder)> = Vec::new();
    for variable in variables {
        let Some((dimension, rows)) = along(file, variable) else {
            continue;
        };
        let Some((column, standard)) = column(variable) else {
            continue;
        };
        let at = match ladders.iter().position(|(name, _)| *name == dimension) {
            Some(at) => at,
            None => {
                let columns = Vec::new();
                ladders.push((dimension, Ladder { rows, columns }));
                ladders.len() - 1
            }
        };
        let columns = &mut ladders[at].1.columns;
        // The first of several, unless another has the standard name.
        match columns.iter_mut().find(|(c, _)| *c == column) {
            Some((_, known)) if standard && text(known, "standard_name").is_none() => {
                *known = variable;
            }
            Some(_) => {}
            None => columns.push((column, variable)),
        }
    }
    let ladders = ladders.into_iter().map(|(_, ladder)| ladder);
    ladders.filter(Ladder::is_sounding).max_by_key(|l| l.rows)
}

/// The only dimension that a variable lies along, and how many values it has; beside one of a single
/// value that only counts profiles.
fn along<'a>(file: &NcFile, variable: &'a NcVariable) -> Option<(&'a str, usize)> {
    let counts = |name: &str| {
        let variables = file.variables().unwrap_or_default();
        !variables.iter().any(|v| v.is_coordinate_variable_for(name))
    };
    let dimension = match variable.dimensions() {
        [only] => only,
        [one, other] | [other, one] if one.size == 1 && counts(&one.name) => other,
        _ => return None,
    };
    Some((&dimension.name, usize::try_from(dimension.size).ok()?))
}

/// What a variable holds, and whether its standard name says so.
fn column(variable: &NcVariable) -> Option<(Column, bool)> {
    let units = text(variable, "units")?;
    if is_since(&units) {
        return Some((Column::Time, true));
    }
    let standard = text(variable, "standard_name").filter(|name| !name.is_empty());
    let name = variable.name().to_ascii_lowercase();
    let long = text(variable, "long_name")
        .unwrap_or_default()
        .to_ascii_lowercase();
    // A standard name that is none of these counts more than a name that is.
    let known = NAMES.iter().find(|(_, standards, names)| match &standard {
        Some(standard) => standards.contains(&standard.as_str()),
        None => names.contains(&name.as_str()),
    });
    let (mut column, ..) = *known?;
    if column == Column::Altitude {
        // How high the ground lies nothing tells.
        if is_above_ground(&long) {
            return None;
        }
        if long.contains("geopotential") {
            column = Column::Geopotential;
        }
    }
    unit(column, &units)?;
    Some((column, standard.is_some()))
}

/// Whether a height, by its long name in lower case, is none above the sea.
fn is_above_ground(long: &str) -> bool {
    const PLACES: [&str; 7] = [
        "ground", "surface", "station", "launch", "release", "terrain", "site",
    ];
    let long = long.replace("above the ", "above ");
    long.contains("agl")
        || PLACES
            .iter()
            .any(|place| long.contains(&format!("above {place}")))
}

/// Our unit for one of the file's, and what is to be added; `None` when it is none of the column's.
fn unit(column: Column, units: &str) -> Option<(f64, f64)> {
    let lower = units.trim().to_ascii_lowercase();
    let lower = lower.as_str();
    let scale = match column {
        Column::Pressure if lower == "kpa" => 1_000.0,
        Column::Pressure => pressure_pa(units).or_else(|| pressure_pa(lower))?,
        Column::Geopotential | Column::Altitude => match lower {
            "m" | "gpm" | "meter" | "meters" | "metre" | "metres" | "geopotential meters" => 1.0,
            "km" => 1_000.0,
            _ if lower.ends_with("mean sea level") || lower.ends_with("msl") => 1.0,
            _ => return None,
        },
        Column::Temperature | Column::DewPoint => match lower.replace('_', " ").as_str() {
            "k" | "kelvin" | "degk" | "deg k" | "degree k" | "degrees k" => 1.0,
            "c" | "degc" | "deg c" | "celsius" | "degree celsius" | "degrees celsius"
            | "degree c" | "degrees c" | "\u{b0}c" => return Some((1.0, ZERO_CELSIUS_K)),
            _ => return None,
        },
        Column::Humidity => match lower {
            "%" | "percent" => 0.01,
            "1" => 1.0,
            _ => return None,
        },
        Column::Speed | Column::East | Column::North => match lower {
            "m/s" | "m s-1" | "m s**-1" | "m s^-1" | "meters/second" => 1.0,
            "knot" | "knots" | "kt" | "kts" => 1_852.0 / 3_600.0,
            _ => return None,
        },
        Column::From | Column::Latitude | Column::Longitude => match lower.starts_with("deg") {
            true => 1.0,
            false => return None,
        },
        Column::Time => 1.0,
    };
    Some((scale, 0.0))
}

fn ascent(name: &str, file: &NcFile, ladder: &Ladder) -> Result<Raw> {
    let mut rows = vec![Row::default(); ladder.rows];
    let mut tally = Tally::default();
    let mut time = None;
    let heights = match ladder.has(Column::Geopotential) {
        true => HeightSource::Geopotential,
        false => HeightSource::Geometric,
    };
    for &(column, variable) in &ladder.columns {
        // Of both the one that goes with the pressures: altitudes may count from the ellipsoid.
        if column == Column::Altitude && heights == HeightSource::Geopotential {
            continue;
        }
        if column == Column::Altitude && is_above_ellipsoid(variable) {
            tally.assumed.push(Reading::HeightAboveEllipsoid);
        }
        let values = values(name, file, variable, column)?;
        match column {
            Column::Time => time = timed(variable, &values, &mut rows),
            _ => {
                for (row, value) in rows.iter_mut().zip(values) {
                    match value.is_finite() {
                        true => set(row, column, value),
                        false => tally.fillers += 1,
                    }
                }
            }
        }
    }
    let position = position(name, file, ladder, &rows)?;
    if !ladder.has(Column::Time)
        && let Some((variable, count)) = single(name, file, Column::Time)?
    {
        time = since(variable).and_then(|since| since.timestamp(count));
    }
    Ok(Raw {
        file: name.to_owned(),
        line: 1,
        name: station(file),
        time,
        position,
        model: None,
        heights,
        in_time_order: true,
        rows,
        tally,
    })
}

/// Where the ascent began: by its first row that has a place, else by the place that stands once.
fn position(name: &str, file: &NcFile, ladder: &Ladder, rows: &[Row]) -> Result<Option<Position>> {
    if ladder.has(Column::Latitude) && ladder.has(Column::Longitude) {
        return Ok(rows.iter().find_map(place));
    }
    let once = |column| single(name, file, column).map(|found| found.map(|(_, value)| value));
    let degrees = once(Column::Latitude)?.zip(once(Column::Longitude)?);
    let place = degrees.and_then(|(lat, lon)| Position::new(lat, lon));
    Ok(place.filter(|place| !is_unset(place)))
}

/// Whether altitudes are said to count from the ellipsoid.
fn is_above_ellipsoid(variable: &NcVariable) -> bool {
    if text(variable, "units").is_some_and(|units| units.to_ascii_lowercase().contains("sea level"))
    {
        return false;
    }
    let said = ["standard_name", "long_name", "comment"];
    let mut said = said.iter().filter_map(|name| text(variable, name));
    said.any(|words| {
        let lower = words.to_ascii_lowercase();
        lower.contains("ellipsoid") || lower.contains("wgs84") || lower.contains("wgs 84")
    })
}

fn set(row: &mut Row, column: Column, value: f64) {
    let slot = match column {
        Column::Pressure => &mut row.pressure_pa,
        Column::Geopotential | Column::Altitude => &mut row.height_m,
        Column::Temperature => &mut row.temperature_k,
        Column::DewPoint => &mut row.dew_point_k,
        Column::Humidity => &mut row.relative_humidity,
        Column::Speed => &mut row.speed_m_s,
        Column::From => &mut row.from_deg,
        Column::East => &mut row.east_m_s,
        Column::North => &mut row.north_m_s,
        Column::Latitude => &mut row.lat_deg,
        Column::Longitude => &mut row.lon_deg,
        Column::Time => return,
    };
    *slot = Some(value);
}

/// All values of a variable in our unit; not-a-number where missing.
fn values(name: &str, file: &NcFile, variable: &NcVariable, column: Column) -> Result<Vec<f64>> {
    let (scale, offset) = text(variable, "units")
        .and_then(|units| unit(column, &units))
        .unwrap_or((1.0, 0.0));
    let values = file
        .read_variable_unpacked_masked(variable.name())
        .map_err(|cause| -> Error {
            let expected = "numbers; is the file damaged?";
            Fault::new(name, cause.to_string(), expected)
                .of_key(variable.name())
                .into()
        })?;
    // The fill value of NetCDF, where a file names none, is 9.97e36.
    let ours = |v: f64| {
        if v.abs() < 1e30 {
            v * scale + offset
        } else {
            f64::NAN
        }
    };
    Ok(values.into_iter().map(ours).collect())
}

/// The first time, which the rows are counted from: a sonde that falls may be told from its end on.
fn timed(variable: &NcVariable, counts: &[f64], rows: &mut [Row]) -> Option<Timestamp> {
    let since = since(variable)?;
    let known = counts.iter().copied().filter(|c| c.is_finite());
    let first = known.min_by(f64::total_cmp)?;
    for (row, count) in rows.iter_mut().zip(counts) {
        row.after_s = count.is_finite().then(|| since.seconds(count - first));
    }
    since.timestamp(first)
}

/// What the times of a variable are counted from.
fn since(variable: &NcVariable) -> Option<Since> {
    let units = text(variable, "units")?;
    Since::parse(&units, text(variable, "calendar").as_deref()).ok()
}

/// What stands once in a file, of the ascent as a whole, with its variable: of several the one with a standard name.
fn single<'a>(
    name: &str,
    file: &'a NcFile,
    wanted: Column,
) -> Result<Option<(&'a NcVariable, f64)>> {
    let is_one = |v: &&NcVariable| {
        v.dimensions().iter().all(|d| d.size == 1) && column(v).is_some_and(|(c, _)| c == wanted)
    };
    let variables = file.variables().unwrap_or_default();
    let mut found = variables.iter().filter(is_one);
    let standard = |v: &&NcVariable| text(v, "standard_name").is_some();
    let best = found.clone().find(standard).or_else(|| found.next());
    let Some(variable) = best else {
        return Ok(None);
    };
    let values = values(name, file, variable, wanted)?;
    let value = values.first().copied().filter(|v| v.is_finite());
    Ok(value.map(|value| (variable, value)))
}

/// The station or platform, as the attributes of the file name it.
fn station(file: &NcFile) -> String {
    let attribute = |key: &&str| {
        let value = file.global_attribute(key).ok()?.value.as_string()?;
        let value = value.trim_matches(['\0', ' ']).to_owned();
        (!value.is_empty()).then_some(value)
    };
    [
        "facility_id",
        "station_name",
        "station",
        "site",
        "platform",
        "PlatformId",
        "site_id",
    ]
    .iter()
    .find_map(attribute)
    .unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn heights_above_the_ground_are_told_by_their_long_names() {
        for ground in [
            "height above ground",
            "height above the surface",
            "height above surface",
            "altitude above station",
            "height above the launch site",
            "height agl",
        ] {
            assert!(is_above_ground(ground), "{ground}");
        }
        for sea in [
            "altitude",
            "height above mean sea level",
            "height above sea surface",
        ] {
            assert!(!is_above_ground(sea), "{sea}");
        }
    }

    #[test]
    fn temperatures_in_usual_spellings() {
        for units in [
            "degC",
            "degree_C",
            "degrees C",
            "deg_C",
            "Celsius",
            "\u{b0}C",
        ] {
            let read = unit(Column::Temperature, units);
            assert_eq!(read, Some((1.0, ZERO_CELSIUS_K)), "{units}");
        }
        assert_eq!(unit(Column::DewPoint, "degrees_K"), Some((1.0, 0.0)));
        assert_eq!(unit(Column::Temperature, "degree"), None);
    }
}
