//! How wrong the winds of a plan may be, and what to say of them.

use super::facts::{WindFacts, WindSource};
use crate::plan::{Plan, WindSpread};
use crate::units::{UnitSystem, duration};
use crate::wind::column::WindProfile;
use crate::wind::error::{GIVEN_CORRELATION_M, WindError};

/// Departures of soundings were measured up to this age, s.
const KNOWN_AGE_S: f64 = 48.0 * 3_600.0;
/// Departures were measured up to this distance, m.
const KNOWN_DISTANCE_M: f64 = 3_000_000.0;
/// What an unknown age is taken for, s.
const UNKNOWN_AGE_S: f64 = 24.0 * 3_600.0;
/// Lead of the forecast that old or distant winds are compared with, s.
pub(super) const NEW_FORECAST_S: f64 = 12.0 * 3_600.0;
/// Winds sooner and nearer than this are the flight's own, s and m.
const SOON_S: f64 = 3_600.0;
const NEAR_M: f64 = 50_000.0;
/// A sounding as near as this was made at the site, m.
const AT_SITE_M: f64 = 1_000.0;
/// How many times less the wind must move the landing for that to be said.
const WORTH_SAYING: f64 = 1.5;
/// Altitude at which the wind error is worded, m.
const WORDED_AT_M: f64 = 10_000.0;

/// The error that the plan asks for, or that such winds have. `member_sigma` is the standard
/// deviation between the members of an ensemble by altitude, m and m/s.
pub fn table(
    plan: &Plan,
    source: &WindSource,
    winds: &WindProfile,
    member_sigma: &[(f64, f64)],
    units: UnitSystem,
    assumed: &mut Vec<String>,
) -> Option<WindError> {
    match (&plan.spread.wind, source) {
        (Some(WindSpread::None), _) => None,
        (Some(WindSpread::Table(rows)), _) => {
            assumed.push(format!(
                "wind errors correlated over {} of height, assumed",
                units.distance(GIVEN_CORRELATION_M)
            ));
            Some(WindError::given(rows, winds))
        }
        (None, WindSource::Forecast { members, .. }) if *members > 1 => {
            Some(of_ensemble(*members, source, winds, member_sigma, assumed))
        }
        (Some(WindSpread::Forecast), _) | (None, WindSource::Forecast { .. }) => {
            Some(of_forecast(source, winds, units, assumed))
        }
        (Some(WindSpread::Sounding) | None, _) => {
            Some(of_profile(plan, source, winds, units, assumed))
        }
    }
}

fn of_ensemble(
    members: usize,
    source: &WindSource,
    winds: &WindProfile,
    member_sigma: &[(f64, f64)],
    assumed: &mut Vec<String>,
) -> WindError {
    let lead_s = source.lead_s().unwrap_or(0.0);
    assumed.push(format!(
        "wind error of {members} members: what they differ by, and what so few of them and no model know, after published errors of forecasts of {}; assumed to hold here",
        duration(lead_s)
    ));
    WindError::of_ensemble(winds, lead_s, members, member_sigma)
}

fn of_forecast(
    source: &WindSource,
    winds: &WindProfile,
    units: UnitSystem,
    assumed: &mut Vec<String>,
) -> WindError {
    let lead_s = source.lead_s().unwrap_or(0.0);
    let error = WindError::of_forecast(winds, lead_s);
    assumed.push(format!(
        "wind error of a forecast of {}: {}; published errors of a leading global model (2018 to 2020), assumed to hold here",
        duration(lead_s.max(0.0)),
        worded(&error, units)
    ));
    error
}

/// Of a sounding, or of a profile that a model computed.
fn of_profile(
    plan: &Plan,
    source: &WindSource,
    winds: &WindProfile,
    units: UnitSystem,
    assumed: &mut Vec<String>,
) -> WindError {
    let what = match source.model() {
        None => "sounding",
        Some(_) => "model profile",
    };
    let age_s = source.age_s().unwrap_or_else(|| {
        assumed.push(format!(
            "the {what} has no time: taken as a day old, assumed"
        ));
        UNKNOWN_AGE_S
    });
    let distance_m = source.distance_m().unwrap_or_else(|| {
        assumed.push(format!(
            "the {what} has no place: taken as made at the site, assumed"
        ));
        0.0
    });
    let these = match source {
        WindSource::Soundings { .. } => "soundings, by the nearest in time and in place,",
        _ => "a sounding",
    };
    let when = match source.model() {
        None => "made",
        Some(_) => "valid",
    };
    let side = if age_s < 0.0 { "after" } else { "before" };
    let away = format!(
        "{when} {} {side} the release, {}",
        duration(age_s.abs()),
        match distance_m {
            d if d < AT_SITE_M => "at the site".into(),
            d => format!("{} from the site", units.distance(d)),
        }
    );
    let latitude_deg = plan.site.lat_deg;
    let Some(model) = source.model() else {
        let error = WindError::of_sounding(winds, latitude_deg, age_s, distance_m);
        assumed.push(format!(
            "wind error of {these} {away}: {}; as winds differ between times and places elsewhere (profiles of six places, five grids), assumed to hold here",
            worded(&error, units)
        ));
        return error;
    };
    let lead_s = model.lead_s.unwrap_or_else(|| {
        assumed.push(
            "neither the model profile nor [wind] issued names a run: taken as an analysis, assumed"
                .into(),
        );
        0.0
    });
    let error = WindError::of_model_profile(winds, lead_s, latitude_deg, age_s, distance_m);
    assumed.push(format!(
        "wind error of a {} forecast of {}, {away}: {}; published errors of a leading global model (2018 to 2020) and how winds differ between times and places elsewhere, assumed to hold here",
        model.name,
        duration(lead_s.max(0.0)),
        worded(&error, units)
    ));
    error
}

/// An error in words, by what it is at one height.
fn worded(error: &WindError, units: UnitSystem) -> String {
    format!(
        "{} a component (sd) at {} above sea level",
        units.speed(error.sigma_m_s(WORDED_AT_M)),
        units.height(WORDED_AT_M)
    )
}

/// What to know about the winds: from far away, old, held where none is known.
pub fn notes(plan: &Plan, wind: &WindFacts, units: UnitSystem, notes: &mut Vec<String>) {
    notes.extend(better_winds(plan, wind, units));
    if let Some(age) = wind.source.age_s().filter(|age| age.abs() > KNOWN_AGE_S) {
        notes.push(format!(
            "the winds are {} away from the release: they say little about those of the flight, and no error was measured beyond {}",
            duration(age.abs()),
            duration(KNOWN_AGE_S)
        ));
    }
    if let Some(away) = wind.source.distance_m().filter(|d| *d > KNOWN_DISTANCE_M) {
        notes.push(format!(
            "the winds are {} away from the site: they say little about those of the flight, and no error was measured beyond {}",
            units.distance(away),
            units.distance(KNOWN_DISTANCE_M)
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

/// What would make the zone smaller, when the winds are of another time or place.
fn better_winds(plan: &Plan, wind: &WindFacts, units: UnitSystem) -> Option<String> {
    if !matches!(plan.spread.wind, None | Some(WindSpread::Sounding)) {
        return None;
    }
    let age_s = wind.source.age_s()?.abs();
    let distance_m = wind.source.distance_m().unwrap_or(0.0);
    let (now_m, new_m) = (wind.drift_sigma_m, wind.new_forecast_drift_sigma_m);
    let mut away = Vec::new();
    if age_s >= SOON_S {
        away.push(duration(age_s));
    }
    if distance_m >= NEAR_M {
        away.push(units.distance(distance_m));
    }
    (now_m > WORTH_SAYING * new_m && !away.is_empty()).then(|| {
        format!(
            "most of the zone's width is that of winds {} away from the flight: they alone move the landing by {} (sd); a forecast for the place and hour, from a run of the last {:.0} hours, would bring that to about {}",
            away.join(" and "),
            units.distance(now_m),
            NEW_FORECAST_S / 3_600.0,
            units.distance(new_m)
        )
    })
}
