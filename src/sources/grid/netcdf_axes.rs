//! The dimensions of a NetCDF variable: what each counts, from the coordinate that belongs to it.

use jiff::{SignedDuration, Timestamp};
use netcdf_reader::NcVariable;

use super::MODEL_LEVELS;
use super::data_set::DataSet;
use super::longitudes::{first_column, gaussian_step};
use super::netcdf_meaning::{pressure_pa, text};
use super::netcdf_time::{Since, is_since, seconds_in, whole_seconds};
use super::parameter::{above_ground, isobaric};
use crate::error::{Fault, Result};
use crate::geodesy::lattice::Axis;
use crate::numeric::nearest_whole;
use crate::wind::slab::Surface;

/// The most values of a coordinate.
const MOST_VALUES: u64 = 1_000_000;

/// What the lines of a grid are counted by.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Net {
    /// Degrees of latitude and longitude.
    Degrees,
    /// Degrees counted from another pole.
    RotatedDegrees,
    /// Metres on a map.
    Metres,
}

/// What a dimension, or a coordinate of a single value, counts.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Coordinate {
    /// The times the values are for.
    Valid(Vec<Timestamp>),
    /// The times of the runs.
    Run(Vec<Timestamp>),
    /// From the run to the time the values are for.
    Lead(Vec<SignedDuration>),
    /// Members of an ensemble.
    Member(Vec<u32>),
    /// Surfaces; `None` is one that is not used.
    Surface(Vec<Option<Surface>>),
    /// What rows are counted by: latitudes, or metres to the north of a map.
    Row(Net, Vec<f64>),
    /// What columns are counted by.
    Column(Net, Vec<f64>),
    /// Something that has only one value.
    Single,
}

impl Coordinate {
    pub fn len(&self) -> usize {
        match self {
            Coordinate::Valid(times) | Coordinate::Run(times) => times.len(),
            Coordinate::Lead(leads) => leads.len(),
            Coordinate::Member(members) => members.len(),
            Coordinate::Surface(surfaces) => surfaces.len(),
            Coordinate::Row(_, values) | Coordinate::Column(_, values) => values.len(),
            Coordinate::Single => 1,
        }
    }
}

/// Why a dimension is not understood.
pub(super) enum No {
    /// The variable is left out, and why.
    LeftOut(String),
    /// The file cannot be used.
    Fault(crate::error::Error),
}

fn fault(name: &str, variable: &str, found: String, expected: &str) -> No {
    No::Fault(Fault::new(name, found, expected).of_key(variable).into())
}

/// What a dimension counts.
pub(super) fn of_dimension(
    name: &str,
    file: &DataSet,
    dimension: &str,
    size: u64,
) -> std::result::Result<Coordinate, No> {
    // Each of the two is empty where the other has values, so one has to be chosen.
    if dimension == "expver" {
        let found = "final and preliminary data side by side, along \"expver\"".to_owned();
        return match size {
            1 => Ok(Coordinate::Single),
            _ => Err(fault(name, dimension, found, "one of them in a file")),
        };
    }
    let left_out = || {
        No::LeftOut(format!(
            "along \"{dimension}\", which is none of the dimensions known"
        ))
    };
    let variable = file
        .variables()
        .iter()
        .find(|v| v.is_coordinate_variable_for(dimension))
        .ok_or_else(left_out)?;
    coordinate(name, file, variable)?.ok_or_else(left_out)
}

/// What a variable counts as a coordinate of one dimension or of a single value; `None` when it is
/// nothing that is known.
pub(super) fn coordinate(
    name: &str,
    file: &DataSet,
    variable: &NcVariable,
) -> std::result::Result<Option<Coordinate>, No> {
    let units = text(variable, "units").unwrap_or_default();
    let standard_name = text(variable, "standard_name").unwrap_or_default();
    let Some(make) = kind(variable, &units, &standard_name) else {
        return Ok(None);
    };
    let wrong = |(found, expected): (String, &str)| fault(name, variable.name(), found, expected);
    if let Kind::ModelLevels = make {
        return Err(No::LeftOut(MODEL_LEVELS.into()));
    }
    let values = values(name, file, variable).map_err(No::Fault)?;
    let counted = match make {
        Kind::Valid => times(variable, &units, &values).map(Coordinate::Valid),
        Kind::Run => times(variable, &units, &values).map(Coordinate::Run),
        Kind::Lead => leads(&units, &values).map(Coordinate::Lead),
        Kind::Member => members(&values).map(Coordinate::Member),
        Kind::Pressure(pa) => Ok(Coordinate::Surface(
            values.iter().map(|p| isobaric(p * pa)).collect(),
        )),
        Kind::Height => Ok(Coordinate::Surface(
            values.iter().map(|m| above_ground(*m)).collect(),
        )),
        Kind::Row(net) => Ok(Coordinate::Row(net, values)),
        Kind::Column(net) => Ok(Coordinate::Column(net, values)),
        Kind::MapRow(unit) => Ok(Coordinate::Row(Net::Metres, scaled(values, unit))),
        Kind::MapColumn(unit) => Ok(Coordinate::Column(Net::Metres, scaled(values, unit))),
        Kind::ModelLevels => Ok(Coordinate::Surface(vec![None; values.len()])),
    };
    counted.map(Some).map_err(wrong)
}

/// What kind of coordinate a variable is.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Kind {
    Valid,
    Run,
    Lead,
    Member,
    /// Pa in the coordinate's unit.
    Pressure(f64),
    Height,
    Row(Net),
    Column(Net),
    /// Metres on a map in the coordinate's unit.
    MapRow(f64),
    MapColumn(f64),
    ModelLevels,
}

fn scaled(values: Vec<f64>, unit: f64) -> Vec<f64> {
    values.into_iter().map(|v| v * unit).collect()
}

fn kind(variable: &NcVariable, units: &str, standard_name: &str) -> Option<Kind> {
    let member_names = ["number", "member", "ens", "ensemble", "realization"];
    // Before units and names, which serve for several things.
    match standard_name {
        "forecast_reference_time" if is_since(units) => return Some(Kind::Run),
        "forecast_period" => return Some(Kind::Lead),
        "realization" => return Some(Kind::Member),
        "grid_latitude" => return Some(Kind::Row(Net::RotatedDegrees)),
        "grid_longitude" => return Some(Kind::Column(Net::RotatedDegrees)),
        "projection_y_coordinate" => return metres_in(units).map(Kind::MapRow),
        "projection_x_coordinate" => return metres_in(units).map(Kind::MapColumn),
        "model_level_number" => return Some(Kind::ModelLevels),
        _ if standard_name.starts_with("atmosphere_") => return Some(Kind::ModelLevels),
        _ if is_since(units) => return Some(Kind::Valid),
        _ if member_names.contains(&variable.name()) => return Some(Kind::Member),
        _ => {}
    }
    match units {
        "m" if is_above_ground(variable, standard_name) => Some(Kind::Height),
        "degrees_north" | "degree_north" | "degrees_N" | "degree_N" | "degreesN" | "degreeN" => {
            Some(Kind::Row(Net::Degrees))
        }
        "degrees_east" | "degree_east" | "degrees_E" | "degree_E" | "degreesE" | "degreeE" => {
            Some(Kind::Column(Net::Degrees))
        }
        "degrees" | "degree" | "" => by_name(variable.name(), standard_name),
        _ => pressure_pa(units)
            .filter(|_| is_isobaric(variable))
            .map(Kind::Pressure),
    }
}

/// Latitudes and longitudes whose unit does not say which they are.
fn by_name(name: &str, standard_name: &str) -> Option<Kind> {
    let name = name.to_ascii_lowercase();
    if standard_name == "latitude" || ["lat", "latitude"].contains(&name.as_str()) {
        return Some(Kind::Row(Net::Degrees));
    }
    let longitude =
        standard_name == "longitude" || ["lon", "long", "longitude"].contains(&name.as_str());
    longitude.then_some(Kind::Column(Net::Degrees))
}

/// Metres in a unit of lengths on a map.
pub(super) fn metres_in(units: &str) -> Option<f64> {
    match units {
        "m" | "meter" | "meters" | "metre" | "metres" => Some(1.0),
        "km" | "kilometer" | "kilometers" | "kilometre" | "kilometres" => Some(1_000.0),
        _ => None,
    }
}

/// The kind of level that converters from GRIB keep.
fn level_type(variable: &NcVariable) -> Option<f64> {
    variable.attribute("Grib_level_type")?.value.as_f64()
}

/// Whether a coordinate in metres counts from the ground: CF's "height" does.
fn is_above_ground(variable: &NcVariable, standard_name: &str) -> bool {
    standard_name == "height" || level_type(variable) == Some(103.0)
}

/// Whether a coordinate in a unit of pressure is the pressure itself, not how far below that at the ground.
fn is_isobaric(variable: &NcVariable) -> bool {
    let from_ground = text(variable, "datum").is_some_and(|datum| datum == "ground");
    !from_ground && level_type(variable).is_none_or(|kind| kind == 100.0)
}

/// Values taken from a coordinate; or what was found and what would be right.
type Counted<T> = std::result::Result<Vec<T>, (String, &'static str)>;

fn times(variable: &NcVariable, units: &str, counts: &[f64]) -> Counted<Timestamp> {
    let expected = "a time such as \"hours since 1900-01-01\" in the standard or the \
                    proleptic_gregorian calendar";
    let since = Since::parse(units, text(variable, "calendar").as_deref())
        .map_err(|found| (found, expected))?;
    let times = counts.iter().map(|count| since.timestamp(*count));
    times
        .collect::<Option<_>>()
        .ok_or_else(|| ("a time that is none".to_owned(), expected))
}

fn leads(units: &str, counts: &[f64]) -> Counted<SignedDuration> {
    let expected = "lengths of time in seconds, minutes, hours or days";
    let unit = seconds_in(units).ok_or_else(|| (format!("\"{units}\""), expected))?;
    let leads = counts.iter().map(|count| whole_seconds(count * unit));
    leads
        .collect::<Option<_>>()
        .ok_or_else(|| ("a length of time that is none".to_owned(), expected))
}

fn members(numbers: &[f64]) -> Counted<u32> {
    let member = |number: &f64| {
        (number.fract() == 0.0)
            .then(|| nearest_whole(*number))
            .flatten()
    };
    let members = numbers.iter().map(member);
    members
        .collect::<Option<_>>()
        .ok_or_else(|| ("a member without a number".to_owned(), "whole numbers"))
}

fn values(name: &str, file: &DataSet, variable: &NcVariable) -> Result<Vec<f64>> {
    let fault =
        |found: String, expected: &str| Fault::new(name, found, expected).of_key(variable.name());
    let size = variable.num_elements().unwrap_or(u64::MAX);
    if size > MOST_VALUES {
        let expected = format!("up to {MOST_VALUES}");
        return Err(fault(format!("{size} values of a coordinate"), &expected).into());
    }
    let values = file
        .coordinate(variable.name())
        .map_err(|found| fault(found, "numbers; is the file damaged?"))?;
    Ok(values.into_iter().collect())
}

/// An axis of equally spaced degrees, and whether the file runs down it.
#[derive(Debug, PartialEq)]
pub(super) struct Spaced {
    pub axis: Axis,
    pub reversed: bool,
}

/// The axis of latitudes; or what was found instead.
pub(super) fn latitudes(degrees: &[f64]) -> std::result::Result<Spaced, String> {
    let spaced = match spaced(degrees) {
        Ok(spaced) => spaced,
        Err(found) => gaussian(degrees).ok_or(found)?,
    };
    let last = spaced.axis.value(spaced.axis.count - 1);
    // A row at the pole itself may be rounded beyond it.
    if spaced.axis.first < -90.0 - 1e-6 || last > 90.0 + 1e-6 {
        return Err(format!("latitudes from {} to {last}", spaced.axis.first));
    }
    Ok(spaced)
}

/// Rows at Gaussian latitudes, which are nearly equally spaced; see [`gaussian_step`].
fn gaussian(degrees: &[f64]) -> Option<Spaced> {
    let [first, .., last] = *degrees else {
        return None;
    };
    let about = 180.0 / ((last - first).abs() / (degrees.len() - 1) as f64);
    if !(8.0..20_000.0).contains(&about) {
        return None;
    }
    // Of a part of the globe the number is not known to the last digit: the one that fits best.
    let off_rows = |rows: usize| {
        let step = gaussian_step(rows);
        let off = |lat: &f64| {
            let row = lat / step - 0.5;
            (row - row.round()).abs()
        };
        degrees.iter().map(off).fold(0.0, f64::max)
    };
    let half = |rows: f64| nearest_whole::<usize>(rows.trunc()).map(|rows| rows / 2);
    // Halves, as there are as many rows north of the equator as south.
    let (least, most) = (half(0.98 * about)?, half(1.02 * about)? + 1);
    let rows = (least.max(4)..=most)
        .map(|half| 2 * half)
        .min_by(|a, b| off_rows(*a).total_cmp(&off_rows(*b)))?;
    let step = gaussian_step(rows);
    let row = |lat: f64| (lat / step - 0.5).round();
    let steps = nearest_whole::<usize>((row(last) - row(first)).abs());
    let counted = steps.is_some_and(|steps| steps + 1 == degrees.len());
    (counted && off_rows(rows) < 0.03).then(|| Spaced {
        axis: Axis {
            first: (row(first.min(last)) + 0.5) * step,
            step,
            count: degrees.len(),
        },
        reversed: last < first,
    })
}

/// The axis of metres on a map; or what was found instead.
pub(super) fn metres(values: &[f64]) -> std::result::Result<Spaced, String> {
    if values.len() == 1 {
        // The step of 1 that a single value gets would pass for a metre.
        return Err("a single row or column of a map".into());
    }
    spaced(values)
}

/// The axis of longitudes; or what was found instead.
pub(super) fn longitudes(degrees: &[f64]) -> std::result::Result<Spaced, String> {
    let mut turned: Vec<f64> = Vec::with_capacity(degrees.len());
    for lon in degrees {
        // The short way from one to the next, across 360 or 180 degrees.
        let way = turned.last().map_or(0.0, |before| lon - before);
        turned.push(lon - (way / 360.0).round() * 360.0);
    }
    let mut spaced = spaced(&turned)?;
    let Axis { first, step, count } = spaced.axis;
    let span = step * (count - 1) as f64;
    // Round the earth with the first column once more is 360 degrees; rounding comes on top.
    if first.abs() > 720.0 || span > 361.0 {
        return Err(format!("longitudes from {first} over {span} degrees"));
    }
    spaced.axis.first = first_column(first, span);
    // Round the earth the step is known better than by rounded ends.
    let round = 360.0 / count as f64;
    if (step - round).abs() * count as f64 <= 1e-3 * step {
        spaced.axis.step = round;
    }
    Ok(spaced)
}

fn spaced(values: &[f64]) -> std::result::Result<Spaced, String> {
    let (Some(&first), Some(&last)) = (values.first(), values.last()) else {
        return Err("no values".into());
    };
    let steps = (values.len() - 1) as f64;
    let step = if values.len() == 1 {
        1.0
    } else {
        (last - first) / steps
    };
    let largest = first.abs().max(last.abs());
    // Degrees kept in 32 bits are rounded by as much.
    let rounding = (1e-3 * step.abs()).max(largest * f64::from(f32::EPSILON));
    let even = |(i, v): (usize, &f64)| (v - (first + step * i as f64)).abs() <= rounding;
    if step == 0.0 || !step.is_finite() || !values.iter().enumerate().all(even) {
        return Err(format!(
            "{} points from {first} to {last} that are not equally spaced",
            values.len()
        ));
    }
    Ok(Spaced {
        axis: Axis {
            first: first.min(last),
            step: step.abs(),
            count: values.len(),
        },
        reversed: step < 0.0,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn axes_run_north_and_east() {
        let north = latitudes(&[40.0, 39.75, 39.5]).unwrap();
        assert!(north.reversed);
        assert_eq!((north.axis.first, north.axis.step), (39.5, 0.25));
        let across = longitudes(&[358.0, 359.0, 0.0, 1.0]).unwrap();
        assert!(!across.reversed);
        assert_eq!((across.axis.first, across.axis.step), (-2.0, 1.0));
        let west: Vec<f64> = (0..480).map(|i| -180.0 + 0.75 * f64::from(i)).collect();
        assert_eq!(longitudes(&west).unwrap().axis.first, -180.0);
        let single = latitudes(&[12.0]).unwrap();
        assert_eq!((single.axis.first, single.axis.count), (12.0, 1));
    }

    #[test]
    fn degrees_in_32_bits_are_equally_spaced() {
        let fine: Vec<f64> = (0..3600).map(|i| f64::from(i as f32 * 0.1_f32)).collect();
        let axis = longitudes(&fine).unwrap().axis;
        assert!((axis.step - 0.1).abs() < 1e-12, "{}", axis.step);
    }

    #[test]
    fn gaussian_latitudes_are_known() {
        // Of the 94 rows of T62 (NCEP's reanalysis), from the pole and from the middle.
        let t62 = [88.542, 86.6531, 84.7532, 82.8508, 80.9473];
        let axis = latitudes(&t62).unwrap();
        assert!(axis.reversed);
        assert_eq!((axis.axis.step, axis.axis.count), (180.0 / 94.5, 5));
        assert!((axis.axis.value(4) - 88.542).abs() < 0.03);
        let middle = [-0.952368, 0.952368, 2.8571, 4.7619, 6.6666];
        let axis = latitudes(&middle).unwrap().axis;
        assert!((axis.value(4) - 6.6666).abs() < 1e-3);
    }

    #[test]
    fn uneven_latitudes_are_refused() {
        let message = latitudes(&[88.6, 86.7, 84.0, 83.0]).unwrap_err();
        assert!(message.contains("4 points from 88.6"), "{message}");
        for bad in [&[f64::NAN, 1.0][..], &[], &[1.0, 1.0], &[0.0, 100.0]] {
            assert!(latitudes(bad).is_err());
        }
    }
}
