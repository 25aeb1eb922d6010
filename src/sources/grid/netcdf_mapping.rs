//! The map projection of a NetCDF grid, from its `grid_mapping`.
//!
//! # References
//!
//! NetCDF Climate and Forecast (CF) Metadata Conventions 1.11, section 5.6 and appendix F: Lambert
//! conformal, polar stereographic, Mercator, rotated pole.

use netcdf_reader::{NcDimension, NcVariable};

use super::data_set::DataSet;
use super::netcdf_axes::metres_in;
use super::netcdf_meaning::{numbers, text};
use crate::geodesy::rotated::RotatedPole;
use crate::notes::reading::Reading;

/// Radius of the sphere that is taken where a file names none, m: that of most models (assumed).
const SPHERE_M: f64 = 6_371_229.0;

/// What a grid mapping is.
#[derive(Debug, PartialEq)]
pub(super) enum Mapping {
    /// A map projection: its PROJ definition.
    Projected(String),
    /// Degrees of a rotated system.
    Rotated(RotatedPole),
}

/// A mapping, and what was assumed about it.
pub(super) type Mapped = (Mapping, Option<Reading>);

/// The mapping that a variable names; or why it is left out.
pub(super) fn mapping(file: &DataSet, variable: &NcVariable) -> Result<Mapped, String> {
    let undescribed = || {
        format!(
            "\"{}\" on a map projection that the file does not describe",
            variable.name()
        )
    };
    let named = text(variable, "grid_mapping").ok_or_else(undescribed)?;
    // In the long form each name is followed by a colon and coordinates.
    let name = named.split_whitespace().next().unwrap_or_default();
    let name = name.trim_end_matches(':');
    let mapping = file
        .variables()
        .iter()
        .find(|v| v.name() == name)
        .ok_or_else(undescribed)?;
    of_attributes(mapping, axis_unit_m(file, variable))
}

/// Metres in the unit of a variable's x, which is that of false eastings, too.
fn axis_unit_m(file: &DataSet, variable: &NcVariable) -> f64 {
    let is_x = |axis: &&NcVariable| {
        let of_it = |d: &NcDimension| axis.is_coordinate_variable_for(&d.name);
        variable.dimensions().iter().any(of_it)
            && text(axis, "standard_name").as_deref() == Some("projection_x_coordinate")
    };
    let units = file
        .variables()
        .iter()
        .find(is_x)
        .and_then(|x| text(x, "units"));
    units.and_then(|units| metres_in(&units)).unwrap_or(1.0)
}

fn of_attributes(mapping: &NcVariable, unit_m: f64) -> Result<Mapped, String> {
    let kind = text(mapping, "grid_mapping_name").unwrap_or_default();
    let given = |key: &str| numbers(mapping, key)?.first().copied();
    let needed = |key: &str| given(key).ok_or_else(|| format!("a {kind} grid without {key}"));
    if kind == "rotated_latitude_longitude" {
        let pole = RotatedPole {
            lat_deg: needed("grid_north_pole_latitude")?,
            lon_deg: needed("grid_north_pole_longitude")?,
            lon_in_grid_deg: given("north_pole_grid_longitude").unwrap_or(0.0),
        };
        return Ok((Mapping::Rotated(pole), None));
    }
    let definition = match kind.as_str() {
        "lambert_conformal_conic" => {
            // A single one stands for both.
            let parallels = numbers(mapping, "standard_parallel").unwrap_or_default();
            let (Some(first), Some(second)) = (parallels.first(), parallels.last()) else {
                return Err(format!("a {kind} grid without standard_parallel"));
            };
            format!(
                "+proj=lcc +lat_1={first} +lat_2={second} +lat_0={} +lon_0={}",
                needed("latitude_of_projection_origin")?,
                needed("longitude_of_central_meridian")?
            )
        }
        "polar_stereographic" => {
            let pole = needed("latitude_of_projection_origin")?;
            if pole.abs() != 90.0 {
                return Err(format!("a {kind} grid around {pole} degrees"));
            }
            let lon = given("straight_vertical_longitude_from_pole").map_or_else(
                || needed("longitude_of_projection_origin"),
                Ok::<f64, String>,
            )?;
            let scale = match given("standard_parallel") {
                Some(lat) => format!("+lat_ts={}", lat.abs().copysign(pole)),
                None => format!("+k_0={}", needed("scale_factor_at_projection_origin")?),
            };
            format!("+proj=stere +lat_0={pole} {scale} +lon_0={lon}")
        }
        "mercator" => {
            let scale = match given("standard_parallel") {
                Some(lat) => format!("+lat_ts={lat}"),
                None => format!("+k_0={}", needed("scale_factor_at_projection_origin")?),
            };
            let lon = needed("longitude_of_projection_origin")?;
            format!("+proj=merc {scale} +lon_0={lon}")
        }
        "" => return Err("a map projection without grid_mapping_name".into()),
        other => return Err(format!("a {other} grid (ask for latitude and longitude)")),
    };
    let (earth, assumed) = earth(mapping)?;
    let [x_0, y_0] =
        ["false_easting", "false_northing"].map(|key| unit_m * given(key).unwrap_or(0.0));
    let definition = format!("{definition} +x_0={x_0} +y_0={y_0} {earth} +units=m +no_defs");
    Ok((Mapping::Projected(definition), assumed))
}

/// The shape of the earth in PROJ's words, and what was assumed about it.
fn earth(mapping: &NcVariable) -> Result<(String, Option<Reading>), String> {
    let given = |key: &str| numbers(mapping, key)?.first().copied();
    let checked = |m: f64| match (6e6..7e6).contains(&m) {
        true => Ok(m),
        false => Err(format!("a grid on an earth with a radius of {m} m")),
    };
    let major = given("semi_major_axis").or_else(|| given("earth_radius"));
    let Some(major) = major else {
        let assumed = Reading::SphericalMap { radius_m: SPHERE_M };
        return Ok((format!("+R={SPHERE_M}"), Some(assumed)));
    };
    let major = checked(major)?;
    let shape = match (given("semi_minor_axis"), given("inverse_flattening")) {
        (Some(minor), _) => format!("+a={major} +b={}", checked(minor)?),
        // An inverse flattening of 0 can only be meant for a sphere.
        (None, Some(flattening)) if flattening != 0.0 => {
            format!("+a={major} +rf={flattening}")
        }
        _ => format!("+R={major}"),
    };
    Ok((shape, None))
}
