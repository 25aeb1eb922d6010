//! How wrong the winds of a plan may be, and what to say of them.

use crate::plan::{Plan, WindSpread};
use crate::report::facts::{WindFacts, WindSource};
use crate::units::{UnitSystem, duration};
use crate::wind::error::{
    ErrorPart, FORECAST_CORRELATION_M, WindError, above_top, forecast_growth,
};

/// Departures of soundings were measured up to this age, s.
const KNOWN_AGE_S: f64 = 48.0 * 3_600.0;
/// What an unknown age is taken for, s.
const UNKNOWN_AGE_S: f64 = 24.0 * 3_600.0;
/// A sounding from farther away than this is told, m.
const FAR_M: f64 = 100_000.0;
/// Altitude at which the wind error is worded, m.
const WORDED_AT_M: f64 = 10_000.0;

/// The error that the plan asks for, or that such winds have.
pub fn table(
    plan: &Plan,
    source: &WindSource,
    top_m: f64,
    units: UnitSystem,
    assumed: &mut Vec<String>,
) -> Option<WindError> {
    match (&plan.spread.wind, source) {
        (Some(WindSpread::None), _) => None,
        (Some(WindSpread::Table(rows)), _) => {
            assumed.push(format!(
                "wind errors correlated over {} of height, assumed",
                units.distance(FORECAST_CORRELATION_M)
            ));
            let table = ErrorPart {
                rows: rows.clone(),
                correlation_length_m: FORECAST_CORRELATION_M,
            };
            Some(WindError {
                parts: vec![table, above_top(top_m)],
            })
        }
        (None, WindSource::Forecast { members, .. }) if *members > 1 => {
            assumed.push("the members of the ensemble carry the uncertainty of the wind; no other error is added, assumed".into());
            Some(WindError::none(top_m))
        }
        (Some(WindSpread::Forecast), _) | (None, WindSource::Forecast { .. }) => {
            Some(of_forecast(source, top_m, units, assumed))
        }
        (Some(WindSpread::Sounding) | None, _) => Some(of_sounding(source, top_m, units, assumed)),
    }
}

fn of_forecast(
    source: &WindSource,
    top_m: f64,
    units: UnitSystem,
    assumed: &mut Vec<String>,
) -> WindError {
    let lead_s = source.lead_s().unwrap_or(0.0);
    let table = WindError::of_forecast(lead_s, top_m);
    assumed.push(format!(
        "wind error of a forecast of {}: {} a component (sd) at {} above sea level, {:.2} times that of a day; by a table of judgement, assumed",
        duration(lead_s),
        units.speed(table.sigma_m_s(WORDED_AT_M)),
        units.height(WORDED_AT_M),
        forecast_growth(lead_s)
    ));
    table
}

fn of_sounding(
    source: &WindSource,
    top_m: f64,
    units: UnitSystem,
    assumed: &mut Vec<String>,
) -> WindError {
    let age = source.age_s().unwrap_or_else(|| {
        assumed.push("the sounding has no time: taken as a day old, assumed".into());
        UNKNOWN_AGE_S
    });
    let side = if age < 0.0 { "after" } else { "before" };
    let table = WindError::of_sounding(age, top_m);
    assumed.push(format!(
        "wind error of a sounding made {} {side} the release: {} a component (sd) at {} above sea level; measured departures of soundings at Darwin (January 2006, 11 pairs), assumed to hold here",
        duration(age.abs()),
        units.speed(table.sigma_m_s(WORDED_AT_M)),
        units.height(WORDED_AT_M)
    ));
    table
}

/// What to know about the winds: from far away, old, held where none is known.
pub fn notes(plan: &Plan, wind: &WindFacts, units: UnitSystem, notes: &mut Vec<String>) {
    if let WindSource::Sounding {
        position: Some(position),
        ..
    } = wind.source
    {
        let away = plan.site.distance_m(position);
        if away > FAR_M {
            notes.push(format!(
                "the sounding was made {} from the site: that distance is not in the spread",
                units.distance(away)
            ));
        }
    }
    if let Some(age) = wind.source.age_s().filter(|age| age.abs() > KNOWN_AGE_S) {
        notes.push(format!(
            "the sounding is {} away from the release: it says little about the winds of the flight, and no error was measured beyond {}",
            duration(age.abs()),
            duration(KNOWN_AGE_S)
        ));
    }
    if wind.above_s > 0.0 {
        notes.push(format!(
            "no wind is known above {} above sea level: the last one is held for {} of the flight, and its error grows",
            units.height(wind.covered_m.1),
            duration(wind.above_s)
        ));
    }
    if wind.below_s > 0.0 {
        notes.push(format!(
            "no wind is known below {} above sea level: the lowest one is held for {} of the flight",
            units.height(wind.covered_m.0),
            duration(wind.below_s)
        ));
    }
}
