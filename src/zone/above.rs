//! The winds above a plan's site at its release, as if a sonde had risen there.

use super::facts::WindSource;
use super::site_winds::SiteWinds;
use super::weather::Weather;
use crate::error::Result;
use crate::plan::Plan;
use crate::sources::{self, FileAscent};
use crate::wind::sounding::{HeightSource, Level, Model, Sounding, Tally};
use crate::winds::Winds;

/// The ascent that a plan's flight is flown in; of a forecast, or of several soundings that make a field,
/// their column above the site at the release.
///
/// # Errors
///
/// When the winds do not cover the site at the release.
pub fn above_site(plan: &Plan, winds: &Winds) -> Result<FileAscent> {
    let release = plan.release;
    let site = SiteWinds::new(plan, winds, [release, release])?;
    let weather = site.weather(release)?;
    match winds {
        Winds::Soundings(ascents) if !weather.is_field() => {
            // As it was read, with what a blended column has no more: its name, gaps and remarks.
            let which = sources::nearest(ascents.iter().map(|a| &a.sounding), release)?;
            Ok(ascents[which].clone())
        }
        _ => Ok(column(plan, &weather)),
    }
}

/// What computed the winds, and what its heights are.
fn origin(weather: &Weather) -> (Option<Model>, HeightSource) {
    if let WindSource::Forecast { lead_s, .. } = weather.source {
        // As forecasts' own profiles say.
        let name = "grid".to_owned();
        return (Some(Model { name, lead_s }), HeightSource::Geopotential);
    }
    let model = weather.model().map(|model| Model {
        name: model.name.clone(),
        lead_s: model.lead_s,
    });
    (model, HeightSource::Geometric)
}

fn column(plan: &Plan, weather: &Weather) -> FileAscent {
    let (winds, air) = (&weather.column.winds, &weather.column.air);
    let (low, high) = air
        .measured_m()
        // An empty range: no level lies in it.
        .unwrap_or((f64::INFINITY, f64::NEG_INFINITY));
    let level = |(altitude_m, _)| {
        let there = (low..=high)
            .contains(&altitude_m)
            .then(|| air.at(altitude_m));
        Level {
            altitude_m,
            pressure_pa: there.map(|air| air.pressure_pa),
            temperature_k: there.map(|air| air.temperature_k),
            wind: Some(winds.at(altitude_m)),
            ..Level::default()
        }
    };
    let levels: Vec<Level> = winds.speeds().map(level).collect();
    let (model, heights) = origin(weather);
    let of_forecast = weather.own_at_10_m.filter(|own| own.stations_m.is_none());
    FileAscent {
        file: weather.files.join(", "),
        sounding: Sounding {
            name: format!("the winds above {}", plan.site.position.text()),
            time: Some(plan.release),
            position: Some(plan.site.position),
            model,
            wind_at_10_m: of_forecast.map(|own| own.wind),
            heights,
            levels,
            // Between columns, of which none was read as it is.
            tally: Tally::default(),
        },
    }
}
