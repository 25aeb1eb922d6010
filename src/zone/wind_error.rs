//! How wrong the winds of a plan may be, and what to know of them.

use super::facts::{ModelFacts, WindFacts, WindSource};
use crate::notes::{Assumption, Note, Profile};
use crate::plan::WindSpread;
use crate::wind::column::WindProfile;
use crate::wind::error::{GIVEN_CORRELATION_M, WindError};
use crate::wind::way::Way;

/// Departures of soundings were measured up to this age, s.
const KNOWN_AGE_S: f64 = 48.0 * 3_600.0;
/// Winds farther away than this are told, m.
const FAR_M: f64 = 300_000.0;
/// What an unknown age is taken for, s.
const UNKNOWN_AGE_S: f64 = 24.0 * 3_600.0;
/// Lead of the forecast that old or distant winds are compared with, s.
pub(super) const NEW_FORECAST_S: f64 = 12.0 * 3_600.0;
/// Winds sooner and nearer than this are the flight's own, s and m.
const SOON_S: f64 = 3_600.0;
const NEAR_M: f64 = 50_000.0;
/// How many times less the wind must move the landing for that to be said.
const WORTH_SAYING: f64 = 1.5;
/// Altitude at which the wind error is reported, m.
const TOLD_AT_M: f64 = 10_000.0;

/// What the error of winds goes by.
pub struct About<'a> {
    /// Where they come from.
    pub source: &'a WindSource,
    /// The winds above the site.
    pub winds: &'a WindProfile,
    /// Standard deviation between the members of an ensemble by altitude, m and m/s.
    pub member_sigma: &'a [(f64, f64)],
    /// Latitude of the site.
    pub latitude_deg: f64,
    /// How the flight meets what one sonde measured, where its way is known.
    pub met: Option<Met<'a>>,
}

/// A flight's way up and that of the sonde whose winds it is flown in. On average flights meet their
/// winds as long after a sonde as they were fitted to; one that rises faster or slower than its sonde
/// does not.
pub struct Met<'a> {
    /// The flight.
    pub flight: Way,
    /// The sonde.
    pub sonde: &'a Way,
}

impl Met<'_> {
    /// Age and distance of the wind at an altitude: those of the sounding at the release, and what the
    /// ways differ by.
    fn at(&self, altitude_m: f64, age_s: f64, distance_m: f64) -> (f64, f64) {
        let (apart_m, later_s) = self.flight.apart(self.sonde, altitude_m);
        (
            age_s + later_s.unwrap_or(0.0),
            apart_m.unwrap_or(distance_m),
        )
    }
}

/// An error, `None` for winds taken as exact, and what is assumed of it.
type Assumed = (Option<WindError>, Vec<Assumption>);

impl About<'_> {
    /// The error that the plan asks for, or that such winds have.
    pub fn error(&self, stated: Option<&WindSpread>) -> Assumed {
        match (stated, self.source) {
            // What the plan says counts before what the winds are.
            (Some(WindSpread::None), _) => (None, Vec::new()),
            (Some(WindSpread::Table(rows)), _) => self.of_table(rows),
            // A single member is a forecast like any other: there is no other that it differs from.
            (None, WindSource::Forecast { members, .. }) if *members > 1 => {
                self.of_ensemble(*members)
            }
            // A plan may have a sounding's winds taken as a forecast's, and the other way round
            // below.
            (Some(WindSpread::Forecast), _) | (None, WindSource::Forecast { .. }) => {
                self.of_forecast()
            }
            (Some(WindSpread::Sounding) | None, _) => self.of_profile(),
        }
    }

    fn of_table(&self, rows: &[(f64, f64)]) -> Assumed {
        let error = WindError::given(rows, self.winds);
        let said = Assumption::WindErrorCorrelation {
            length_m: GIVEN_CORRELATION_M,
        };
        (Some(error), vec![said])
    }

    fn of_ensemble(&self, members: usize) -> Assumed {
        let lead_s = self.source.lead_s().unwrap_or(0.0);
        let error = WindError::of_ensemble(self.winds, lead_s, members, self.member_sigma);
        let said = Assumption::EnsembleError {
            members,
            // A run after the release is an analysis: it has no lead.
            lead_s: lead_s.max(0.0),
        };
        (Some(error), vec![said])
    }

    fn of_forecast(&self) -> Assumed {
        // Of an unknown run it is an analysis, and that is said with the winds.
        let lead_s = self.source.lead_s().unwrap_or(0.0);
        let error = WindError::of_forecast(self.winds, lead_s);
        let said = Assumption::ForecastError {
            // A run after the release is an analysis: it has no lead.
            lead_s: lead_s.max(0.0),
            sigma_m_s: error.sigma_m_s(TOLD_AT_M),
            at_m: TOLD_AT_M,
        };
        (Some(error), vec![said])
    }

    /// Of a sounding, or of a profile that a model computed.
    fn of_profile(&self) -> Assumed {
        let mut assumed = Vec::new();
        let profile = match self.source.model() {
            None => Profile::Sounding,
            Some(_) => Profile::Model,
        };
        let age_s = self.source.age_s().unwrap_or_else(|| {
            assumed.push(Assumption::ProfileTimeUnknown { profile });
            UNKNOWN_AGE_S
        });
        let distance_m = self.source.distance_m().unwrap_or_else(|| {
            assumed.push(Assumption::ProfilePlaceUnknown { profile });
            0.0
        });
        let (error, more) = match self.source.model() {
            None => self.of_sounding(age_s, distance_m),
            Some(model) => self.of_model_profile(model, age_s, distance_m),
        };
        assumed.extend(more);
        (error, assumed)
    }

    fn of_sounding(&self, age_s: f64, distance_m: f64) -> Assumed {
        let latitude_deg = self.latitude_deg;
        let error = match &self.met {
            None => WindError::of_sounding(self.winds, latitude_deg, age_s, distance_m),
            Some(met) => WindError::of_sounding_met(self.winds, latitude_deg, |z| {
                met.at(z, age_s, distance_m)
            }),
        };
        let said = Assumption::SoundingError {
            several: matches!(self.source, WindSource::Soundings { .. }),
            age_s,
            distance_m,
            sigma_m_s: error.sigma_m_s(TOLD_AT_M),
            at_m: TOLD_AT_M,
        };
        (Some(error), vec![said])
    }

    fn of_model_profile(&self, model: &ModelFacts, age_s: f64, distance_m: f64) -> Assumed {
        let unknown = model.lead_s.is_none();
        let lead_s = model.lead_s.unwrap_or(0.0);
        let latitude_deg = self.latitude_deg;
        let error =
            WindError::of_model_profile(self.winds, lead_s, latitude_deg, age_s, distance_m);
        let said = Assumption::ModelProfileError {
            model: model.name.clone(),
            lead_s: lead_s.max(0.0),
            age_s,
            distance_m,
            sigma_m_s: error.sigma_m_s(TOLD_AT_M),
            at_m: TOLD_AT_M,
        };
        let unknown = unknown.then_some(Assumption::ProfileRunUnknown);
        (Some(error), unknown.into_iter().chain([said]).collect())
    }
}

/// What to know about the winds: from far away, old, held where none is known; `better` for a word on
/// what would make the zone smaller.
pub fn notes(wind: &WindFacts, better: bool) -> Vec<Note> {
    let away_s = wind.source.age_s().map(f64::abs);
    let away_m = wind.source.distance_m();
    let old = away_s.filter(|s| *s > KNOWN_AGE_S);
    let distant = away_m.filter(|m| *m > FAR_M);
    let notes = [
        better.then(|| better_winds(wind)).flatten(),
        old.map(|away_s| Note::OldWinds {
            away_s,
            measured_s: KNOWN_AGE_S,
        }),
        distant.map(|away_m| Note::DistantWinds { away_m }),
        (wind.above_s > 0.0).then_some(Note::AboveWinds {
            top_m: wind.covered_m.top_m,
            for_s: wind.above_s,
        }),
        (wind.below_s > 0.0).then_some(Note::BelowWinds {
            base_m: wind.covered_m.base_m,
            for_s: wind.below_s,
        }),
    ];
    notes.into_iter().flatten().collect()
}

/// What would make the zone smaller, when the winds are of another time or place.
fn better_winds(wind: &WindFacts) -> Option<Note> {
    // A sounding after the release is as much another weather as one before it.
    let age_s = wind.source.age_s()?.abs();
    let away_s = (age_s >= SOON_S).then_some(age_s);
    let away_m = wind.source.distance_m().filter(|m| *m >= NEAR_M);
    let (now_m, new_m) = (wind.drift_sigma_m, wind.new_forecast_drift_sigma_m);
    let apart = away_s.is_some() || away_m.is_some();
    (apart && now_m > WORTH_SAYING * new_m).then_some(Note::BetterWinds {
        away_s,
        away_m,
        drift_sigma_m: now_m,
        new_forecast_s: NEW_FORECAST_S,
        new_forecast_drift_sigma_m: new_m,
    })
}
