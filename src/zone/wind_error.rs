//! How wrong the winds of a plan may be, and what to know of them.

use super::facts::{Covered, ModelFacts, WindFacts, WindSource};
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
    /// The error that the plan's numbers say, or that such winds have.
    pub fn error(&self, stated: Option<&WindSpread>) -> Assumed {
        match stated {
            Some(WindSpread::None) => (None, Vec::new()),
            Some(WindSpread::Table(rows)) => self.of_table(rows),
            // A word says only which kind of error is meant: the winds know that better, as they may
            // have been replaced since it was written.
            Some(WindSpread::Sounding | WindSpread::Forecast) | None => {
                let (error, mut assumed) = self.of_the_winds();
                assumed.extend(stated.and_then(|stated| self.miscalled(stated)));
                (error, assumed)
            }
        }
    }

    fn of_the_winds(&self) -> Assumed {
        match self.source {
            // A single member is a forecast like any other: there is no other that it differs from.
            WindSource::Forecast { members, .. } if *members > 1 => self.of_ensemble(*members),
            WindSource::Forecast { .. } => self.of_forecast(),
            WindSource::Sounding { .. } | WindSource::Soundings { .. } => self.of_profile(),
        }
    }

    /// That the plan's word is one for other winds. A model's profile is a forecast in the form of a
    /// sounding, so either will do.
    fn miscalled(&self, stated: &WindSpread) -> Option<Assumption> {
        let on_grid = matches!(self.source, WindSource::Forecast { .. });
        let measured = !on_grid && self.source.model().is_none();
        match stated {
            WindSpread::Forecast if measured => Some(Assumption::WindsMiscalled { measured: true }),
            WindSpread::Sounding if on_grid => Some(Assumption::WindsMiscalled { measured: false }),
            _ => None,
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
    ];
    let beyond = beyond(wind.covered_m, wind.above_s, wind.below_s);
    notes.into_iter().flatten().chain(beyond).collect()
}

/// That a flight is above or below the winds, for so long.
pub fn beyond(covered_m: Covered, above_s: f64, below_s: f64) -> impl Iterator<Item = Note> {
    let above = (above_s > 0.0).then_some(Note::AboveWinds {
        top_m: covered_m.top_m,
        for_s: above_s,
    });
    let below = (below_s > 0.0).then_some(Note::BelowWinds {
        base_m: covered_m.base_m,
        for_s: below_s,
    });
    above.into_iter().chain(below)
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wind::sounding::Wind;

    const HOURS_S: f64 = 3_600.0;

    /// The error of winds and what is assumed of it, as a plan's word has it.
    fn error(source: &WindSource, word: Option<WindSpread>) -> Assumed {
        let wind = |east_m_s| Wind {
            east_m_s,
            north_m_s: 0.0,
        };
        let winds = WindProfile::new(&[(0.0, wind(3.0)), (1_400.0, wind(9.0))]);
        let about = About {
            source,
            winds: &winds,
            member_sigma: &[(0.0, 1.0), (10_000.0, 2.0)],
            latitude_deg: 43.0,
            met: None,
        };
        about.error(word.as_ref())
    }

    fn sounding(model: Option<ModelFacts>) -> WindSource {
        WindSource::Sounding {
            station: String::new(),
            position: None,
            time: None,
            age_s: Some(16.0 * HOURS_S),
            distance_m: Some(8_000.0),
            model,
        }
    }

    fn forecast(members: usize) -> WindSource {
        WindSource::Forecast {
            run: None,
            lead_s: Some(30.0 * HOURS_S),
            from: None,
            to: None,
            steps: 5,
            region: String::new(),
            levels: 20,
            members,
        }
    }

    #[test]
    fn winds_are_as_wrong_as_they_are_whatever_a_plan_calls_them() {
        let model = ModelFacts {
            name: "GFS".into(),
            run: None,
            lead_s: Some(6.0 * HOURS_S),
        };
        let all = [
            (sounding(None), Some(WindSpread::Forecast)),
            (sounding(Some(model.clone())), None),
            (forecast(0), Some(WindSpread::Sounding)),
            (forecast(3), Some(WindSpread::Sounding)),
        ];
        for (source, wrong) in all {
            let (own, assumed) = error(&source, None);
            assert!(own.is_some());
            for word in [WindSpread::Sounding, WindSpread::Forecast] {
                let (called, said) = error(&source, Some(word.clone()));
                assert_eq!(called, own, "{source:?} {word:?}");
                let unfit = wrong.as_ref() == Some(&word);
                assert_eq!(said.len(), assumed.len() + usize::from(unfit), "{said:?}");
                let has = |a: &Assumption| matches!(a, Assumption::WindsMiscalled { .. });
                assert_eq!(said.iter().any(has), unfit, "{source:?} {word:?}");
            }
        }
    }

    #[test]
    fn numbers_of_a_plan_count_before_the_winds() {
        assert_eq!(
            error(&forecast(3), Some(WindSpread::None)),
            (None, Vec::new())
        );
        let table = WindSpread::Table(vec![(0.0, 2.0)]);
        let (given, _) = error(&forecast(3), Some(table));
        assert_eq!(given.map(|error| error.sigma_m_s(500.0)), Some(2.0));
    }
}
