//! The winds of a release: above the site, and around it as far as flights reach.

use std::sync::Arc;

use jiff::Timestamp;

use super::facts::{Covered, ErrorPartFacts, ModelFacts, SigmaAt, WindFacts, WindSource};
use super::reach::{Extent, Reach};
use super::setup::Surroundings;
use super::site_winds::SiteWinds;
use super::wind_error;
use crate::clock::seconds_between;
use crate::error::Result;
use crate::flight::field::LayerField;
use crate::flight::layers::LayerWinds;
use crate::flight::model::{FlightModel, FlightWinds, Moment};
use crate::ground::terrain::Terrain;
use crate::notes::left_out::LeftOut;
use crate::notes::{Assumption, Cleaning, Note};
use crate::sources::grid::archive::Archive;
use crate::wind::column::Column;
use crate::wind::error::{ErrorPart, WindError};
use crate::wind::error_process::WindErrorProcess;
use crate::wind::near_ground::TenMetreWind;
use crate::wind::placing::{Outside, Placing, Station};
use crate::wind::way::Way;

/// The winds of one release.
pub struct Weather<'a> {
    /// The winds that they are among.
    pub site_winds: &'a SiteWinds<'a>,
    /// The release.
    pub release: Timestamp,
    /// Air and wind above the site at the release.
    pub column: Column,
    pub(super) around: Around<'a>,
    /// What the winds themselves tell for 10 m above the ground.
    pub own_at_10_m: Option<TenMetreWind>,
    /// A forecast's own gusts near its ground, m/s.
    pub gust_m_s: Option<f64>,
    /// The files it is from.
    pub files: Vec<String>,
    /// What reading did to its soundings, where that matters.
    pub(super) cleaning: Vec<Cleaning>,
    pub(super) source: WindSource,
    /// Standard deviation between the members of an ensemble by altitude, m and m/s.
    pub(super) member_sigma: Vec<(f64, f64)>,
    /// The way of the one sounding's sonde, where its file tells of it.
    pub(super) sonde: Option<Way>,
    /// What is assumed of the winds, but for how wrong they may be.
    pub assumptions: Vec<Assumption>,
}

/// What there is besides the column above the site.
pub(super) enum Around<'a> {
    /// Nothing: the column stands for every place and time.
    Nothing,
    Stations(Vec<Station>, Vec<Column>),
    Forecast(&'a Archive),
}

/// The winds that flights are flown in.
#[derive(Clone)]
pub struct FlownWinds {
    /// As the model takes them.
    pub winds: FlightWinds,
    /// How many members there are to draw from.
    pub members: usize,
    /// The member that the planned flight is flown in: the mean of all.
    pub planned: usize,
    /// How much of the winds it is.
    pub extent: Extent,
    /// Members that are not among them, with the reason.
    pub left_out: Vec<LeftOut>,
}

impl FlownWinds {
    /// The only winds there are, without members.
    fn only(winds: FlightWinds) -> FlownWinds {
        FlownWinds {
            winds,
            members: 1,
            planned: 0,
            extent: Extent::WHOLE,
            left_out: Vec::new(),
        }
    }

    /// Whether there is no more to be had where flights left them: a gap in the hours is as good as
    /// their end.
    pub fn end_at(&self, left: Outside) -> bool {
        self.extent.ends_at(left) || (left == Outside::Hours && self.winds.gap_ahead())
    }

    /// A forecast's winds, decoded for releases from `since` on, for another of them.
    pub fn for_release(&self, since: Timestamp, release: Timestamp) -> FlownWinds {
        // Columns are shared: only the time that they are counted from differs.
        let mut same = self.clone();
        if let FlightWinds::Field(field) = &self.winds {
            let field = field.at_release(seconds_between(since, release));
            same.winds = FlightWinds::Field(Box::new(field));
        }
        same
    }
}

/// Altitudes at which the wind error is reported, m.
const TOLD_AT_M: [f64; 5] = [1_000.0, 5_000.0, 10_000.0, 20_000.0, 30_000.0];

impl Weather<'_> {
    /// The winds that a model's flights are flown in: of a forecast as far as `reach`.
    ///
    /// # Errors
    ///
    /// When a part of a forecast cannot be decoded.
    pub fn flown(&self, reach: &Reach, model: &FlightModel) -> Result<FlownWinds> {
        let of_forecast = self
            .site_winds
            .decoded(reach, &model.layers, &model.compass)?;
        Ok(of_forecast.unwrap_or_else(|| self.of_soundings(model)))
    }

    /// The same where they are soundings: their field, or the one column.
    pub fn of_soundings(&self, model: &FlightModel) -> FlownWinds {
        let Around::Stations(stations, columns) = &self.around else {
            let winds = LayerWinds::of_profile(&self.column.winds, &model.layers);
            return FlownWinds::only(FlightWinds::Column(winds));
        };
        let column = |i: usize| {
            // A sounding without a place is taken as made at the site, as its error says.
            let place = columns[i].position.unwrap_or(self.site_winds.site);
            (columns[i].winds.clone(), place)
        };
        let count = columns.len();
        let placing = Placing::Stations(stations.clone());
        let field = LayerField::new(placing, count, count, column, &model.layers, &model.compass);
        FlownWinds::only(FlightWinds::Field(Box::new(field)))
    }

    /// How wrong the winds may be along the track of the planned flight, `None` where they are taken as
    /// exact, and what is assumed of it.
    pub fn error(&self, track: &[Moment]) -> (Option<WindError>, Vec<Assumption>) {
        self.site_winds.error(self, track)
    }

    /// That the air is the standard atmosphere, where the winds tell nothing of it.
    pub fn standard_air(&self) -> Option<Assumption> {
        let measured = self.column.air.measured_m().is_some();
        (!measured).then_some(Assumption::StandardAir)
    }

    /// Where flights are set up in these winds: above the site at `site_m`, to come down on `terrain`.
    pub fn place<'b>(&'b self, site_m: f64, terrain: Option<&'b Arc<Terrain>>) -> Surroundings<'b> {
        Surroundings {
            site: self.site_winds.site,
            site_m,
            column: &self.column,
            through_field: self.is_field(),
            terrain,
        }
    }

    /// The altitudes with a wind, and how long a flight with so many `seconds` in each layer is above and below
    /// them, s.
    pub fn beyond(&self, model: &FlightModel, seconds: &[f64]) -> (Covered, f64, f64) {
        let covered_m = Covered {
            base_m: self.column.winds.base_m(),
            top_m: self.column.winds.top_m(),
        };
        let time_where = |outside: &dyn Fn(f64) -> bool| -> f64 {
            let there = seconds.iter().enumerate();
            there
                .filter(|(k, _)| outside(model.layers.middle_m(*k)))
                .map(|(_, s)| s)
                .sum()
        };
        (
            covered_m,
            time_where(&|z| z > covered_m.top_m),
            time_where(&|z| z < covered_m.base_m),
        )
    }

    /// What is to be said of the winds.
    pub fn facts(
        &self,
        model: &FlightModel,
        seconds: &[f64],
        error: Option<&WindError>,
        process: Option<&WindErrorProcess>,
    ) -> WindFacts {
        let (covered_m, above_s, below_s) = self.beyond(model, seconds);
        let drift_sigma_m = |error: &WindError| process_of(error, model, seconds).drift_sigma_m();
        // What a forecast made twelve hours ahead would leave, to say whether one is worth
        // fetching.
        let new_forecast = WindError::of_forecast(&self.column.winds, wind_error::NEW_FORECAST_S);
        WindFacts {
            files: self.files.clone(),
            source: self.source.clone(),
            covered_m,
            above_s,
            below_s,
            sigma: sigma_of(error),
            error_parts: error_parts(error, &drift_sigma_m),
            drift_sigma_m: process.map_or(0.0, WindErrorProcess::drift_sigma_m),
            new_forecast_drift_sigma_m: drift_sigma_m(&new_forecast),
        }
    }

    /// What to know of the winds, by what is known of them and by the highest burst, m.
    pub fn notes(&self, facts: &WindFacts, highest_m: f64) -> Vec<Note> {
        let all = self.cleaning.iter().cloned();
        let met = all.filter_map(|cleaning| cleaning.below(highest_m));
        let cleaned = met.map(Note::Cleaned);
        let of_winds = wind_error::notes(facts, self.site_winds.told_of_better());
        cleaned.chain(of_winds).collect()
    }

    /// From the run of a forecast to the release, s.
    pub fn lead_s(&self) -> Option<f64> {
        self.source.lead_s()
    }

    /// How old a sounding is at the release, s; less than 0 for one made after it.
    pub fn age_s(&self) -> Option<f64> {
        self.source.age_s()
    }

    /// From the site to the nearest sounding, m.
    pub fn distance_m(&self) -> Option<f64> {
        self.source.distance_m()
    }

    /// The model behind a profile.
    pub fn model(&self) -> Option<&ModelFacts> {
        self.source.model()
    }

    /// Whether some members have hours that others lack.
    pub fn is_uneven(&self) -> bool {
        matches!(self.around, Around::Forecast(archive) if archive.is_uneven())
    }

    /// Whether the winds differ from place to place or from time to time.
    pub fn is_field(&self) -> bool {
        !matches!(self.around, Around::Nothing)
    }

    /// The region and the hours that the winds cover, in words.
    pub fn covered(&self) -> String {
        match &self.around {
            Around::Forecast(archive) => archive.covered(),
            _ => String::new(),
        }
    }
}

/// The error process of a table on layers in which a flight spends `seconds`. Below the release the
/// error is that of the lowest layer above it, so that draws do not depend on how deep the ground
/// lies.
pub fn process_of(error: &WindError, model: &FlightModel, seconds: &[f64]) -> WindErrorProcess {
    let height = |k: usize| model.layers.middle_m(k.max(model.release_layer));
    let heights: Vec<f64> = (0..model.layers.count).map(height).collect();
    WindErrorProcess::new(error, &heights, seconds)
}

/// The error by altitude; nothing where it has one part only, or none.
fn sigma_of(error: Option<&WindError>) -> Vec<SigmaAt> {
    // A single part without gaps is a table of the plan, which need not be told back to it.
    let error = error.filter(|error| error.parts.len() > 1);
    error.map_or_else(Vec::new, |error| {
        let at = |altitude_m| SigmaAt {
            altitude_m,
            sigma_m_s: error.sigma_m_s(altitude_m),
        };
        TOLD_AT_M.map(at).into()
    })
}

fn error_parts(
    error: Option<&WindError>,
    drift_sigma_m: &dyn Fn(&WindError) -> f64,
) -> Vec<ErrorPartFacts> {
    let part = |part: &ErrorPart| ErrorPartFacts {
        correlation_length_m: part.correlation_length_m,
        drift_sigma_m: drift_sigma_m(&WindError {
            parts: vec![part.clone()],
        }),
    };
    let parts = error.into_iter().flat_map(|error| &error.parts);
    parts.map(part).collect()
}

/// What was left out of the winds, each with its reason.
pub fn left_out(what: &[LeftOut]) -> impl Iterator<Item = Assumption> {
    what.iter().cloned().map(Assumption::LeftOut)
}
