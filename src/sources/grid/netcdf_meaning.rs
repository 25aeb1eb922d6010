//! What a NetCDF variable is, from its attributes and units; from its name only where these say
//! nothing.
//!
//! In this order: CF's `standard_name`; the parameter number that converters from GRIB keep
//! (`GRIB_paramId`, `Grib2_Parameter`, `Grib_Variable_Id`); for ECMWF's own converter, which gives
//! winds at 10 m and temperature at 2 m nothing better, the exact `long_name`. `units` must be
//! present and fit.

use netcdf_reader::NcVariable;

use super::netcdf_names::by_name;
use super::parameter::{self, GEOPOTENTIAL, Meaning, above_ground};
use crate::numeric::nearest_whole;
use crate::units::ZERO_CELSIUS_K;
use crate::wind::slab::{Quantity, Span, Surface};

/// Our value is the file's times `scale` plus `offset`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Conversion {
    pub scale: f64,
    pub offset: f64,
}

/// What a variable is.
#[derive(Debug, PartialEq)]
pub(super) struct Described {
    pub quantity: Quantity,
    pub conversion: Conversion,
    /// Where it is, if the attributes say.
    pub surface: Option<Surface>,
    /// Which time its values are of.
    pub span: Span,
    /// Whether a wind is along the grid's x or y, if the attributes say.
    pub along_grid: Option<bool>,
    /// Whether it is the mean of an ensemble.
    pub is_mean: bool,
}

/// An attribute's text.
pub(in crate::sources) fn text(variable: &NcVariable, attribute: &str) -> Option<String> {
    let text = variable.attribute(attribute)?.value.as_string()?;
    // Texts written from C may have its zero at their end.
    Some(text.trim_matches(['\0', ' ']).to_owned())
}

/// An attribute's whole numbers.
pub(super) fn numbers(variable: &NcVariable, attribute: &str) -> Option<Vec<f64>> {
    variable.attribute(attribute)?.value.as_f64_vec()
}

fn small(number: f64) -> Option<u8> {
    (number.fract() == 0.0)
        .then(|| nearest_whole(number))
        .flatten()
}

/// What a variable is; or why it is left out.
pub(super) fn described(variable: &NcVariable) -> Result<Described, String> {
    as_meant(
        variable,
        meaning(variable).ok_or("quantities that are not used")?,
    )
}

/// What a variable is by its name, where it is of use.
pub(super) fn described_by_name(variable: &NcVariable) -> Option<Described> {
    if text(variable, "standard_name").is_some_and(|name| !name.is_empty()) {
        return None;
    }
    let units = text(variable, "units")?;
    as_meant(variable, by_name(variable.name(), &units)?).ok()
}

fn as_meant(variable: &NcVariable, meaning: Meaning) -> Result<Described, String> {
    // Of all that is told over some time only the strongest gusts are of use.
    let strongest = meaning.quantity == Quantity::Gust && is_maximum(variable);
    if let Some(why) = not_of_one_moment(variable).filter(|why| !(strongest && *why == OVER_TIME)) {
        return Err(why.into());
    }
    let span = match meaning.span {
        // How long is told by no attribute.
        Span::Moment if strongest => Span::SinceLast,
        span => span,
    };
    let units = text(variable, "units").unwrap_or_default();
    let conversion = conversion(meaning, &units).ok_or_else(|| {
        format!(
            "\"{}\" in \"{units}\", a unit that is not read",
            variable.name()
        )
    })?;
    Ok(Described {
        quantity: meaning.quantity,
        conversion,
        surface: meaning.surface.or_else(|| surface(variable)),
        span,
        along_grid: along_grid(variable),
        is_mean: is_mean(variable),
    })
}

/// Whether a wind is along the grid's axes, if the attributes say.
fn along_grid(variable: &NcVariable) -> Option<bool> {
    // The flag comes from the message; converters call winds eastward by their number alone.
    if let Some([flag, ..]) = numbers(variable, "GRIB_uvRelativeToGrid").as_deref() {
        return Some(*flag != 0.0);
    }
    match text(variable, "standard_name")?.as_str() {
        "eastward_wind" | "northward_wind" => Some(false),
        "x_wind" | "y_wind" | "grid_eastward_wind" | "grid_northward_wind" => Some(true),
        _ => None,
    }
}

fn meaning(variable: &NcVariable) -> Option<Meaning> {
    let by_number = by_number(variable);
    let by_name = text(variable, "standard_name").and_then(|name| by_standard_name(&name));
    match (by_name, by_number) {
        // The number may know more of where it is: 10 m above the ground.
        (Some(name), Some(number)) if name.quantity == number.quantity => Some(Meaning {
            surface: name.surface.or(number.surface),
            span: number.span,
            ..name
        }),
        (Some(name), _) => Some(Meaning {
            surface: name.surface.or_else(|| by_long_name(variable)?.surface),
            ..name
        }),
        (None, number) => number.or_else(|| by_long_name(variable)),
    }
}

fn by_standard_name(name: &str) -> Option<Meaning> {
    let (quantity, unit, surface) = match name {
        "eastward_wind" | "x_wind" | "grid_eastward_wind" => (Quantity::EastWind, 1.0, None),
        "northward_wind" | "y_wind" | "grid_northward_wind" => (Quantity::NorthWind, 1.0, None),
        "wind_speed" => (Quantity::WindSpeed, 1.0, None),
        "wind_from_direction" => (Quantity::WindFrom, 1.0, None),
        "wind_speed_of_gust" => (Quantity::Gust, 1.0, Some(Surface::Ground)),
        "air_temperature" => (Quantity::Temperature, 1.0, None),
        "geopotential" => (Quantity::Height, GEOPOTENTIAL, None),
        // The second and the third are what the reanalysis MERRA-2 calls it.
        "geopotential_height" | "edge_heights" | "mid_layer_heights" => {
            (Quantity::Height, 1.0, None)
        }
        "surface_altitude" => (Quantity::Height, 1.0, Some(Surface::Ground)),
        "relative_humidity" => (Quantity::RelativeHumidity, 1.0, None),
        "specific_humidity" => (Quantity::SpecificHumidity, 1.0, None),
        "air_pressure" => (Quantity::Pressure, 1.0, None),
        "surface_air_pressure" => (Quantity::Pressure, 1.0, Some(Surface::Ground)),
        _ => return None,
    };
    Some(Meaning {
        quantity,
        unit,
        surface,
        span: Span::Moment,
    })
}

fn by_number(variable: &NcVariable) -> Option<Meaning> {
    if let Some([id, ..]) = numbers(variable, "GRIB_paramId").as_deref() {
        let whole = nearest_whole(*id).filter(|_| id.fract() == 0.0);
        return parameter::ecmwf(whole?);
    }
    if let Some([discipline, category, number, ..]) =
        numbers(variable, "Grib2_Parameter").as_deref()
    {
        return parameter::grib2(small(*discipline)?, small(*category)?, small(*number)?);
    }
    let id = text(variable, "Grib_Variable_Id")?;
    let mut parts = id.strip_prefix("VAR_")?.split('_').next()?.split('-');
    let mut next = || parts.next()?.parse().ok();
    parameter::grib2(next()?, next()?, next()?)
}

fn by_long_name(variable: &NcVariable) -> Option<Meaning> {
    parameter::ecmwf(match text(variable, "long_name")?.as_str() {
        "10 metre U wind component" => 165,
        "10 metre V wind component" => 166,
        "2 metre temperature" => 167,
        "Maximum 10 metre wind gust since previous post-processing"
        | "10 metre wind gust since previous post-processing" => 49,
        "Maximum 10 metre wind gust in the last 6 hours" => 123,
        "Maximum 10 metre wind gust in the last 3 hours" => 228_028,
        "Instantaneous 10 metre wind gust" => 228_029,
        _ => return None,
    })
}

/// Why a variable over some time is left out.
const OVER_TIME: &str = "accumulations, means and extremes over time";

/// Whether a variable holds the largest values over some time.
fn is_maximum(variable: &NcVariable) -> bool {
    // Code tables 4.10 of GRIB 2.
    let kind = numbers(variable, "Grib2_Statistical_Interval_Type");
    text(variable, "GRIB_stepType").is_some_and(|kind| kind == "max")
        || kind.is_some_and(|kind| kind.first() == Some(&2.0))
        || text(variable, "cell_methods")
            .is_some_and(|methods| over_time(&methods) == Some("maximum"))
}

/// Why a variable is not of one moment of one forecast, if it is not.
fn not_of_one_moment(variable: &NcVariable) -> Option<&'static str> {
    let step_type = text(variable, "GRIB_stepType");
    // An attribute of archives of reanalyses; "ltm" is a long-term mean.
    let statistic = text(variable, "statistic").map(|s| s.to_ascii_lowercase());
    if statistic.is_some_and(|s| s.contains("mean") || s.contains("ltm") || s.contains("std"))
        || step_type.is_some_and(|kind| kind != "instant")
        || variable
            .attribute("Grib2_Statistical_Interval_Type")
            .is_some()
        || variable
            .attribute("Grib_Statistical_Interval_Type")
            .is_some()
        || text(variable, "cell_methods").is_some_and(|methods| over_time(&methods).is_some())
    {
        return Some(OVER_TIME);
    }
    let methods = text(variable, "cell_methods").unwrap_or_default();
    if text(variable, "GRIB_dataType").is_some_and(|kind| kind == "es")
        || over_members(&methods).is_some_and(|method| method != "mean")
        || variable.attribute("Grib2_Ensemble_Derived_Type").is_some()
        || variable.attribute("Grib2_Probability_Type").is_some()
    {
        return Some("spreads, probabilities and other statistics of an ensemble");
    }
    None
}

/// Whether a variable is the mean of an ensemble.
fn is_mean(variable: &NcVariable) -> bool {
    text(variable, "GRIB_dataType").is_some_and(|kind| kind == "em")
        || text(variable, "cell_methods")
            .is_some_and(|methods| over_members(&methods) == Some("mean"))
}

/// What was done over time, if anything was.
fn over_time(cell_methods: &str) -> Option<&str> {
    done_along(cell_methods, &["time:", "valid_time:"])
}

/// What was done over the members of an ensemble, if anything was.
fn over_members(cell_methods: &str) -> Option<&str> {
    done_along(cell_methods, &["realization:"])
}

fn done_along<'a>(cell_methods: &'a str, dimensions: &[&str]) -> Option<&'a str> {
    let mut words = cell_methods.split_whitespace();
    words.find(|word| dimensions.contains(word))?;
    let method = words.next().unwrap_or_default();
    // CF's word for the moments themselves.
    (method != "point").then_some(method)
}

/// Where a variable is, from what converters keep of GRIB.
fn surface(variable: &NcVariable) -> Option<Surface> {
    let kind = text(variable, "GRIB_typeOfLevel");
    if kind.is_some_and(|kind| kind == "surface") {
        return Some(Surface::Ground);
    }
    let number = numbers(variable, "Grib2_Level_Type").or(numbers(variable, "Grib1_Level_Type"));
    if number.is_some_and(|n| n.first() == Some(&1.0)) {
        return Some(Surface::Ground);
    }
    numbers(variable, "GRIB_heightAboveGround").and_then(|h| above_ground(*h.first()?))
}

/// How a variable's unit becomes ours; `None` when it is none of the quantity's.
fn conversion(meaning: Meaning, units: &str) -> Option<Conversion> {
    let is_geopotential = meaning.unit == GEOPOTENTIAL;
    let scale = match meaning.quantity {
        Quantity::EastWind | Quantity::NorthWind | Quantity::WindSpeed | Quantity::Gust => {
            match units {
                "m s-1" | "m s**-1" | "m s^-1" | "m.s-1" | "m/s" | "meters/second" => 1.0,
                _ => return None,
            }
        }
        Quantity::WindFrom => match units {
            "degree" | "degrees" | "deg" | "degree_true" | "degrees_true" | "degree true"
            | "degrees true" => 1.0,
            _ => return None,
        },
        Quantity::Height if is_geopotential => match units {
            "m2 s-2" | "m**2 s**-2" | "m^2 s^-2" | "m2.s-2" | "m2/s2" | "m^2/s^2" | "J kg-1" => {
                GEOPOTENTIAL
            }
            _ => return None,
        },
        Quantity::Height => match units {
            "m" | "gpm" | "metre" | "metres" | "meter" | "meters" | "geopotential meters" => 1.0,
            _ => return None,
        },
        Quantity::Temperature => match units {
            "K" | "kelvin" | "Kelvin" | "degK" => 1.0,
            "degC" | "degree_Celsius" | "degrees_Celsius" | "celsius" | "Celsius" => {
                return Some(Conversion {
                    scale: 1.0,
                    offset: ZERO_CELSIUS_K,
                });
            }
            _ => return None,
        },
        Quantity::RelativeHumidity => match units {
            "%" | "percent" => 0.01,
            "1" => 1.0,
            _ => return None,
        },
        Quantity::SpecificHumidity => match units {
            "kg kg-1" | "kg kg**-1" | "kg kg^-1" | "kg.kg-1" | "kg/kg" | "1" => 1.0,
            "g kg-1" | "g kg**-1" | "g kg^-1" | "g/kg" => 1e-3,
            _ => return None,
        },
        Quantity::Pressure => pressure_pa(units)?,
    };
    Some(Conversion { scale, offset: 0.0 })
}

/// Pa in a unit of pressure.
pub(in crate::sources) fn pressure_pa(units: &str) -> Option<f64> {
    match units {
        "Pa" | "pascal" | "pascals" => Some(1.0),
        "hPa" | "mb" | "mbar" | "millibar" | "millibars" | "hectopascal" | "hectopascals" => {
            Some(100.0)
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use netcdf_reader::{NcAttrValue, NcAttribute, NcType};

    fn variable(attributes: &[(&str, &str)]) -> NcVariable {
        let attribute = |(name, value): &(&str, &str)| NcAttribute {
            name: (*name).into(),
            value: match value.parse::<i64>() {
                Ok(number) => NcAttrValue::Int64s(vec![number]),
                Err(_) => NcAttrValue::Chars((*value).into()),
            },
        };
        NcVariable {
            name: "u".into(),
            dimensions: Vec::new(),
            dtype: NcType::Float,
            attributes: attributes.iter().map(attribute).collect(),
            data_offset: 0,
            _data_size: 0,
            is_record_var: false,
            record_size: 0,
        }
    }

    #[test]
    fn the_name_alone_is_the_last_resort() {
        assert!(described(&variable(&[("units", "m s-1")])).is_err());
        let by_name = |attributes: &[_]| described_by_name(&variable(attributes));
        assert!(by_name(&[("units", "m s-1")]).is_some());
        assert!(by_name(&[("units", "K")]).is_none());
        assert!(by_name(&[]).is_none());
        assert!(by_name(&[("units", "m s-1"), ("standard_name", "upward_air_velocity")]).is_none());
        assert!(by_name(&[("units", "m s-1"), ("statistic", "Mean")]).is_none());
        let u = [("standard_name", "eastward_wind"), ("units", "m s**-1")];
        assert_eq!(
            described(&variable(&u)).unwrap().quantity,
            Quantity::EastWind
        );
        assert!(described(&variable(&u[..1])).is_err());
    }

    #[test]
    fn units_decide() {
        let of =
            |name, units| described(&variable(&[("standard_name", name), ("units", units)])).ok();
        let z = of("geopotential", "m**2 s**-2").unwrap();
        assert_eq!(z.conversion.scale, GEOPOTENTIAL);
        assert_eq!(
            of("geopotential_height", "gpm").unwrap().conversion.scale,
            1.0
        );
        assert_eq!(of("geopotential", "m"), None);
        // As MERRA-2 calls it.
        let h = of("edge_heights", "m").unwrap();
        assert_eq!((h.quantity, h.conversion.scale), (Quantity::Height, 1.0));
        assert_eq!(of("relative_humidity", "%").unwrap().conversion.scale, 0.01);
        assert_eq!(
            of("air_temperature", "degC").unwrap().conversion.offset,
            273.15
        );
        assert_eq!(of("eastward_wind", "knots"), None);
    }

    #[test]
    fn winds_at_ten_metres_are_known_by_number_or_exact_words() {
        let ten = Some(Surface::AboveGround(10));
        let by_number = variable(&[("GRIB_paramId", "165"), ("units", "m s**-1")]);
        assert_eq!(described(&by_number).unwrap().surface, ten);
        let both = variable(&[
            ("GRIB_paramId", "165"),
            ("GRIB_typeOfLevel", "surface"),
            ("standard_name", "eastward_wind"),
            ("units", "m s**-1"),
        ]);
        assert_eq!(described(&both).unwrap().surface, ten);
        let words = variable(&[
            ("long_name", "10 metre U wind component"),
            ("units", "m s**-1"),
        ]);
        assert_eq!(described(&words).unwrap().surface, ten);
    }

    #[test]
    fn gusts_may_be_the_strongest_over_some_time() {
        let span = |attributes: &[_]| described(&variable(attributes)).map(|d| d.span);
        let (name, unit) = (("standard_name", "wind_speed_of_gust"), ("units", "m s-1"));
        assert_eq!(span(&[name, unit]), Ok(Span::Moment));
        let maximum = ("cell_methods", "time: maximum (interval: 1 hour)");
        assert_eq!(span(&[name, unit, maximum]), Ok(Span::SinceLast));
        assert!(span(&[name, unit, ("cell_methods", "time: mean")]).is_err());
        let [id, kind] = [("GRIB_paramId", "228028"), ("GRIB_stepType", "max")];
        assert_eq!(span(&[id, kind, unit]), Ok(Span::Before(10_800)));
        assert_eq!(span(&[("GRIB_paramId", "228029"), unit]), Ok(Span::Moment));
        let long = (
            "long_name",
            "Maximum 10 metre wind gust since previous post-processing",
        );
        assert_eq!(span(&[long, kind, unit]), Ok(Span::SinceLast));
        // Winds are not: the strongest of each component are no wind.
        let wind = ("standard_name", "eastward_wind");
        assert!(span(&[wind, unit, maximum]).is_err());
    }

    #[test]
    fn statistics_are_left_out() {
        let of = |attribute| {
            let u = [
                ("standard_name", "eastward_wind"),
                ("units", "m/s"),
                attribute,
            ];
            described(&variable(&u)).err()
        };
        assert!(of(("cell_methods", "time: mean")).is_some());
        assert!(of(("cell_methods", "area: mean time: point")).is_none());
        assert!(of(("GRIB_stepType", "avg")).is_some());
        assert!(of(("GRIB_dataType", "es")).is_some());
        assert!(of(("cell_methods", "realization: standard_deviation")).is_some());
        for mean in [
            ("GRIB_dataType", "em"),
            ("cell_methods", "realization: mean"),
        ] {
            assert!(of(mean).is_none(), "{mean:?}");
        }
    }
}
