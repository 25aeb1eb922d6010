//! The winds a zone is made with: how wrong they may be, and what to say of them.

use jiff::Timestamp;

use crate::flight::layers::Layers;
use crate::plan::{Plan, WindSpread};
use crate::report::facts::WindFacts;
use crate::units::{UnitSystem, duration};
use crate::wind::column::Column;
use crate::wind::error::{FORECAST_CORRELATION_M, WindErrorProcess, WindErrorTable};
use crate::wind::sounding::Sounding;

/// Departures of soundings were measured up to this age, s.
const KNOWN_AGE_S: f64 = 48.0 * 3_600.0;
/// What an unknown age is taken for, s.
const UNKNOWN_AGE_S: f64 = 24.0 * 3_600.0;
/// A sounding from farther away than this is told, m.
const FAR_M: f64 = 100_000.0;
/// Altitudes at which the wind error is told, m.
const TOLD_AT_M: [f64; 5] = [1_000.0, 5_000.0, 10_000.0, 20_000.0, 30_000.0];

/// A sounding as the wind of a flight.
pub struct Winds<'a> {
    file: &'a str,
    sounding: &'a Sounding,
    column: &'a Column,
    /// Age at release, s.
    age_s: Option<f64>,
    /// `None` for winds taken as exact.
    error: Option<WindErrorTable>,
}

impl<'a> Winds<'a> {
    /// The winds with the error the plan asks for. Says what it assumes.
    pub fn new(
        plan: &Plan,
        file: &'a str,
        sounding: &'a Sounding,
        column: &'a Column,
        units: UnitSystem,
        assumed: &mut Vec<String>,
    ) -> Winds<'a> {
        let age_s = sounding.time.map(|t| seconds_between(t, plan.release));
        Winds {
            file,
            sounding,
            column,
            age_s,
            error: error_table(plan, column.top_m(), age_s, units, assumed),
        }
    }

    /// The error process on layers in which the planned flight spends `seconds`.
    pub fn process(&self, layers: &Layers, seconds: &[f64]) -> Option<WindErrorProcess> {
        let heights: Vec<f64> = (0..layers.count).map(|k| layers.middle_m(k)).collect();
        let table = self.error.as_ref()?;
        Some(WindErrorProcess::new(table, &heights, seconds))
    }

    /// What is to be told of the winds.
    pub fn facts(
        &self,
        layers: &Layers,
        seconds: &[f64],
        process: Option<&WindErrorProcess>,
    ) -> WindFacts {
        let (base_m, top_m) = (self.column.base_m(), self.column.top_m());
        let time_where = |outside: &dyn Fn(f64) -> bool| -> f64 {
            let there = seconds.iter().enumerate();
            there
                .filter(|(k, _)| outside(layers.middle_m(*k)))
                .map(|(_, s)| s)
                .sum()
        };
        let error = self.error.as_ref();
        WindFacts {
            file: self.file.to_owned(),
            station: self.sounding.name.clone(),
            time: self.sounding.time,
            age_s: self.age_s,
            covered_m: (base_m, top_m),
            above_s: time_where(&|z| z > top_m),
            below_s: time_where(&|z| z < base_m),
            sigma: error.map_or_else(Vec::new, |t| {
                TOLD_AT_M.iter().map(|&z| (z, t.sigma_m_s(z))).collect()
            }),
            correlation_length_m: error.map_or(0.0, |t| t.correlation_length_m),
            drift_sigma_m: process.map_or(0.0, WindErrorProcess::drift_sigma_m),
        }
    }
}

fn error_table(
    plan: &Plan,
    top_m: f64,
    age_s: Option<f64>,
    units: UnitSystem,
    assumed: &mut Vec<String>,
) -> Option<WindErrorTable> {
    match plan.spread.wind.as_ref().unwrap_or(&WindSpread::Sounding) {
        WindSpread::None => None,
        WindSpread::Sounding => {
            let age = age_s.unwrap_or_else(|| {
                assumed.push("the sounding has no time: taken as a day old, assumed".into());
                UNKNOWN_AGE_S
            });
            let side = if age < 0.0 { "after" } else { "before" };
            let table = WindErrorTable::of_sounding(age, top_m);
            assumed.push(format!(
                "wind error of a sounding made {} {side} the release: {} a component (sd) at {} above sea level; measured departures of soundings at Darwin (January 2006, 11 pairs), assumed to hold here",
                duration(age.abs()),
                units.speed(table.sigma_m_s(TOLD_AT_M[2])),
                units.height(TOLD_AT_M[2])
            ));
            Some(table)
        }
        WindSpread::Forecast => {
            assumed.push(
                "wind error of a forecast of up to a day by a table of judgement, assumed".into(),
            );
            Some(WindErrorTable::of_forecast(top_m))
        }
        WindSpread::Table(rows) => {
            assumed.push("wind errors correlated over 2 km of height, assumed".into());
            Some(WindErrorTable {
                rows: rows.clone(),
                correlation_length_m: FORECAST_CORRELATION_M,
                known_up_to_m: top_m,
            })
        }
    }
}

/// What to know about the winds: from far away, old, held where none is known.
pub fn notes(
    plan: &Plan,
    sounding: &Sounding,
    wind: &WindFacts,
    units: UnitSystem,
    notes: &mut Vec<String>,
) {
    if let Some(away) = sounding.position.map(|p| plan.site.distance_m(p))
        && away > FAR_M
    {
        notes.push(format!(
            "the sounding was made {} from the site: that distance is not in the spread",
            units.distance(away)
        ));
    }
    if let Some(age) = wind.age_s.filter(|age| age.abs() > KNOWN_AGE_S) {
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

fn seconds_between(from: Timestamp, to: Timestamp) -> f64 {
    to.duration_since(from).as_secs_f64()
}
