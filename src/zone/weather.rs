//! The winds a plan is flown in: above the site, and around it as far as flights reach.

use std::sync::Arc;

use jiff::Timestamp;

use super::facts::{ErrorPartFacts, ModelFacts, WindFacts, WindSource};
use super::fly::missing;
use super::reach::{Extent, Reach};
use super::setup::Surroundings;
use super::wind_error;
use crate::clock::{after, seconds_between};
use crate::error::{Error, Result};
use crate::flight::field::LayerField;
use crate::flight::layers::{LayerWinds, Layers};
use crate::flight::model::{self, FlightModel};
use crate::geodesy::{Compass, Position};
use crate::ground::terrain::Terrain;
use crate::logbook::Logbook;
use crate::notes::{Assumption, Cleaning, LearntOf, Note};
use crate::plan::{Plan, WindSpread};
use crate::sources::grid::archive::Archive;
use crate::sources::{self, FileAscent};
use crate::units::in_both;
use crate::wind::column::{Column, WindProfile};
use crate::wind::error::{ErrorPart, WindError};
use crate::wind::error_process::WindErrorProcess;
use crate::wind::grid::Block;
use crate::wind::members::member_sigma;
use crate::wind::placing::{Outside, Placing, Station, Weights};
use crate::wind::sounding::{Sounding, Wind};
use crate::winds::Winds;
use crate::winds::stations::{blend, blended_at_10_m, forecast_around, nearest_m, stations};

/// The winds around one site, for all its releases.
pub struct SiteWinds<'a> {
    site: Position,
    /// The time of the run, where the plan names it.
    issued: Option<Timestamp>,
    /// How wrong the plan says that the winds are.
    stated_error: Option<&'a WindSpread>,
    /// What flights taught of the winds' error: a factor, and how many.
    learnt_error: Option<(f64, usize)>,
    input: &'a Winds,
    releases: [Timestamp; 2],
    /// The last release that is flown; winds at the ground may be looked up after it.
    last: Timestamp,
    /// Of a forecast: the points next to the site, at the times of the releases.
    near: Option<Block>,
}

/// The winds of one release.
pub struct Weather<'a> {
    site: Position,
    /// The release.
    pub release: Timestamp,
    /// Air and wind above the site at the release.
    pub column: Column,
    around: Around<'a>,
    /// A forecast's or a model profile's own wind 10 m above its ground.
    pub own_at_10_m: Option<Wind>,
    /// A forecast's own gusts near its ground, m/s.
    pub gust_m_s: Option<f64>,
    /// The files it is from.
    pub files: Vec<String>,
    /// What reading did to its soundings, where that matters.
    cleaning: Vec<Cleaning>,
    source: WindSource,
    /// Standard deviation between the members of an ensemble by altitude, m and m/s.
    member_sigma: Vec<(f64, f64)>,
    /// `None` for winds taken as exact.
    error: Option<WindError>,
    /// Whether better winds would be worth a word: not where the plan says how wrong these are.
    told_of_better: bool,
    /// What is assumed of the winds.
    pub assumptions: Vec<Assumption>,
}

/// What tells of the winds near the ground of a site.
pub struct NearGround {
    /// The winds above it.
    pub winds: WindProfile,
    /// A forecast's or a model profile's own wind 10 m above its ground.
    pub own_at_10_m: Option<Wind>,
    /// A forecast's own gusts near its ground, m/s.
    pub gust_m_s: Option<f64>,
}

/// What there is besides the column above the site.
enum Around<'a> {
    /// Nothing: the column stands for every place and time.
    Nothing,
    Stations(Vec<Station>, Vec<Column>),
    Forecast(&'a Archive),
}

/// The winds that flights are flown in.
#[derive(Clone)]
pub struct FlownWinds {
    /// As the model takes them.
    pub winds: model::FlightWinds,
    /// How many members there are to draw from.
    pub members: usize,
    /// The member that the planned flight is flown in: the mean of all.
    pub planned: usize,
    /// How much of the winds it is.
    pub extent: Extent,
    /// Members that are not among them, with the reason, in words.
    pub left_out: Vec<String>,
}

impl FlownWinds {
    /// The only winds there are, without members.
    fn only(winds: model::FlightWinds) -> FlownWinds {
        FlownWinds {
            winds,
            members: 1,
            planned: 0,
            extent: Extent::WHOLE,
            left_out: Vec::new(),
        }
    }

    /// A forecast's winds, decoded for releases from `since` on, for another of them.
    pub fn for_release(&self, since: Timestamp, release: Timestamp) -> FlownWinds {
        let mut same = self.clone();
        if let model::FlightWinds::Field(field) = &self.winds {
            let field = field.at_release(seconds_between(since, release));
            same.winds = model::FlightWinds::Field(Box::new(field));
        }
        same
    }
}

/// Altitudes at which the wind error is reported, m.
const TOLD_AT_M: [f64; 5] = [1_000.0, 5_000.0, 10_000.0, 20_000.0, 30_000.0];
/// Soundings farther from the site than this are not its winds, m.
const FARTHEST_M: f64 = 1_000_000.0;

impl<'a> SiteWinds<'a> {
    /// For releases from a plan's site between two times.
    ///
    /// # Errors
    ///
    /// When a part of a file cannot be decoded.
    pub fn new(
        plan: &'a Plan,
        input: &'a Winds,
        releases: [Timestamp; 2],
    ) -> Result<SiteWinds<'a>> {
        let site = plan.site.position;
        let near = match input {
            Winds::Soundings(_) => None,
            Winds::Forecast(archive) => {
                let window = archive.lattice.around(site, 0.0)?;
                let steps = archive.steps_around(releases[0], releases[1]);
                Some(archive.cut(window, steps)?)
            }
        };
        Ok(SiteWinds {
            site,
            issued: plan.wind_issued,
            stated_error: plan.spread.wind.as_ref(),
            learnt_error: plan.spread.logbook.as_ref().and_then(Logbook::winds),
            input,
            releases,
            last: releases[1],
            near,
        })
    }

    /// The same, with the last of the releases that are flown.
    #[must_use]
    pub fn flown_until(self, last: Timestamp) -> SiteWinds<'a> {
        SiteWinds { last, ..self }
    }

    /// The winds of a release.
    ///
    /// # Errors
    ///
    /// When the winds do not cover the site at the release.
    pub fn weather(&self, release: Timestamp) -> Result<Weather<'a>> {
        let mut weather = match (self.input, &self.near) {
            (Winds::Forecast(archive), Some(near)) => self.of_forecast(release, archive, near)?,
            (Winds::Soundings(ascents), _) => self.of_soundings(release, ascents)?,
            (Winds::Forecast(_), None) => return Err(nothing_near(self.site)),
        };
        let about = wind_error::About {
            source: &weather.source,
            winds: &weather.column.winds,
            member_sigma: &weather.member_sigma,
            latitude_deg: self.site.lat_deg,
        };
        let (mut error, mut assumed) = about.error(self.stated_error);
        if let (Some(error), Some((factor, flights))) = (&mut error, self.learnt_error) {
            error.widen(factor);
            assumed.push(Assumption::Learnt {
                what: LearntOf::Winds,
                factor: 1.0,
                wider: factor,
                flights,
            });
        }
        weather.error = error;
        weather.assumptions.extend(assumed);
        Ok(weather)
    }

    /// What tells of the winds near the ground at a time: those above the site, its own at 10 m, its gusts.
    ///
    /// # Errors
    ///
    /// As [`SiteWinds::weather`].
    pub fn near_ground(&self, time: Timestamp) -> Result<NearGround> {
        if let (Winds::Forecast(archive), Some(near)) = (self.input, &self.near) {
            let weights = self.weights(time, archive, near)?;
            return Ok(NearGround {
                winds: mean_wind(&member_winds(near, &weights)),
                own_at_10_m: near.wind_at_10_m(&weights),
                gust_m_s: near.gust_m_s(&weights),
            });
        }
        let weather = self.weather(time)?;
        Ok(NearGround {
            winds: weather.column.winds,
            own_at_10_m: weather.own_at_10_m,
            gust_m_s: weather.gust_m_s,
        })
    }

    /// A forecast's winds as far as `reach` around all the releases, counted from the first of
    /// them; `None` where the winds are soundings.
    ///
    /// # Errors
    ///
    /// When a part of a file cannot be decoded.
    pub fn decoded(
        &self,
        reach: &Reach,
        layers: &Layers,
        compass: &Compass,
    ) -> Result<Option<FlownWinds>> {
        let Winds::Forecast(archive) = self.input else {
            return Ok(None);
        };
        let (block, extent) = reach.cut(self.site, [self.releases[0], self.last], archive)?;
        let field = LayerField::of_block(&block, self.site, self.releases[0], layers, compass)?;
        let members = block.members.len();
        let (field, planned) = match members {
            1 => (field, 0),
            _ => field.with_mean_member(),
        };
        Ok(Some(FlownWinds {
            winds: model::FlightWinds::Field(Box::new(field)),
            members,
            planned,
            extent,
            left_out: block.left_out,
        }))
    }
}

impl Weather<'_> {
    /// The winds that a flight's model is flown in, where they are soundings; `None` where they
    /// are a forecast, which [`SiteWinds::decoded`] gives.
    pub fn of_soundings(&self, model: &FlightModel) -> Option<FlownWinds> {
        let one = FlownWinds::only;
        match &self.around {
            Around::Nothing => {
                let winds = LayerWinds::of_profile(&self.column.winds, &model.layers);
                Some(one(model::FlightWinds::Column(winds)))
            }
            Around::Stations(stations, columns) => {
                let placing = Placing::Stations(stations.clone());
                let column = |i: usize| {
                    let place = columns[i].position.unwrap_or(self.site);
                    (columns[i].winds.clone(), place)
                };
                let field = LayerField::new(
                    placing,
                    columns.len(),
                    columns.len(),
                    column,
                    &model.layers,
                    &model.compass,
                );
                Some(one(model::FlightWinds::Field(Box::new(field))))
            }
            Around::Forecast(_) => None,
        }
    }

    /// How wrong the winds may be; `None` where they are taken as exact.
    pub fn wind_error(&self) -> Option<&WindError> {
        self.error.as_ref()
    }

    /// The error process on layers in which the planned flight spends `seconds`.
    pub fn process(&self, model: &FlightModel, seconds: &[f64]) -> Option<WindErrorProcess> {
        let table = self.error.as_ref()?;
        Some(process_of(table, model, seconds))
    }

    /// Where flights are set up in these winds: above the site at `site_m`, to come down on `terrain`.
    pub fn place<'b>(&'b self, site_m: f64, terrain: Option<&'b Arc<Terrain>>) -> Surroundings<'b> {
        Surroundings {
            site: self.site,
            site_m,
            column: &self.column,
            through_field: self.is_field(),
            terrain,
        }
    }

    /// What is to be said of the winds.
    pub fn facts(
        &self,
        model: &FlightModel,
        seconds: &[f64],
        process: Option<&WindErrorProcess>,
    ) -> WindFacts {
        let (base_m, top_m) = (self.column.winds.base_m(), self.column.winds.top_m());
        let time_where = |outside: &dyn Fn(f64) -> bool| -> f64 {
            let there = seconds.iter().enumerate();
            there
                .filter(|(k, _)| outside(model.layers.middle_m(*k)))
                .map(|(_, s)| s)
                .sum()
        };
        let error = self.error.as_ref();
        let sigma = error.filter(|t| t.parts.len() > 1);
        let drift_sigma_m = |error: &WindError| process_of(error, model, seconds).drift_sigma_m();
        let part = |part: &ErrorPart| ErrorPartFacts {
            correlation_length_m: part.correlation_length_m,
            drift_sigma_m: drift_sigma_m(&WindError {
                parts: vec![part.clone()],
            }),
        };
        let new_forecast = WindError::of_forecast(&self.column.winds, wind_error::NEW_FORECAST_S);
        WindFacts {
            files: self.files.clone(),
            source: self.source.clone(),
            covered_m: (base_m, top_m),
            above_s: time_where(&|z| z > top_m),
            below_s: time_where(&|z| z < base_m),
            sigma: sigma.map_or_else(Vec::new, |t| {
                TOLD_AT_M.iter().map(|&z| (z, t.sigma_m_s(z))).collect()
            }),
            error_parts: error.map_or_else(Vec::new, |t| t.parts.iter().map(part).collect()),
            drift_sigma_m: process.map_or(0.0, WindErrorProcess::drift_sigma_m),
            new_forecast_drift_sigma_m: drift_sigma_m(&new_forecast),
        }
    }

    /// What to know of the winds, by what is known of them.
    pub fn notes(&self, facts: &WindFacts) -> Vec<Note> {
        let cleaned = self.cleaning.iter().cloned().map(Note::Cleaned);
        let of_winds = wind_error::notes(facts, self.told_of_better);
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

impl<'a> SiteWinds<'a> {
    /// One sounding stands for the whole flight, or several make a field.
    fn of_soundings(&self, release: Timestamp, ascents: &'a [FileAscent]) -> Result<Weather<'a>> {
        let nearest = sources::nearest(ascents.iter().map(|a| &a.sounding), release)?;
        let nearest = &ascents[nearest];
        let mut weather = match stations(self.site, release, ascents) {
            Some((stations, blended)) => self.of_field(release, nearest, stations, &blended),
            None => self.of_one(release, nearest, ascents.len()),
        };
        let lost = ascents.iter().map(|a| &a.sounding.tally.lost[..]);
        weather.assumptions.extend(lost.flat_map(left_out));
        match weather.source.distance_m().filter(|m| *m > FARTHEST_M) {
            Some(away_m) => Err(of_elsewhere(self.site, nearest, away_m)),
            None => Ok(weather),
        }
    }

    /// Several soundings.
    fn of_field(
        &self,
        release: Timestamp,
        nearest: &FileAscent,
        stations: Vec<Station>,
        blended: &[&FileAscent],
    ) -> Weather<'a> {
        let columns: Vec<Column> = blended
            .iter()
            .map(|a| Column::from_sounding(&a.sounding))
            .collect();
        let placing = Placing::Stations(stations.clone());
        let weights = placing
            .weights(self.site.normal(), 0.0)
            .unwrap_or(Weights::one(0));
        let times = || blended.iter().filter_map(|a| a.sounding.time);
        let source = WindSource::Soundings {
            stations: stations.len(),
            soundings: blended.len(),
            from: times().min(),
            to: times().max(),
            age_s: match forecast_around(&stations[0], blended) {
                true => Some(0.0),
                false => age_s(&nearest.sounding, release),
            },
            distance_m: nearest_m(self.site, blended),
            model: self.model_of(&nearest.sounding),
        };
        let said = Assumption::SoundingsBlended {
            soundings: blended.len(),
            stations: stations.len(),
        };
        let mut files: Vec<String> = blended.iter().map(|a| a.file.clone()).collect();
        files.dedup();
        let column = blend(&weights, &columns);
        let own = blended_at_10_m(&weights, blended);
        let around = Around::Stations(stations, columns);
        Weather {
            files,
            own_at_10_m: own,
            cleaning: sources::cleaned(blended.iter().copied()),
            assumptions: [read_as(&nearest.sounding), vec![said]].concat(),
            ..self.of(release, column, around, source)
        }
    }

    /// The one nearest of `all` soundings.
    fn of_one(&self, release: Timestamp, nearest: &FileAscent, all: usize) -> Weather<'a> {
        let sounding = &nearest.sounding;
        let mut assumptions = read_as(sounding);
        if all > 1 {
            assumptions.push(Assumption::NearestSounding { of: all });
        }
        let source = WindSource::Sounding {
            station: sounding.name.clone(),
            position: sounding.position,
            time: sounding.time,
            age_s: age_s(sounding, release),
            distance_m: nearest_m(self.site, &[nearest]),
            model: self.model_of(sounding),
        };
        let column = Column::from_sounding(sounding);
        Weather {
            files: vec![nearest.file.clone()],
            own_at_10_m: sounding.wind_at_10_m,
            cleaning: sources::cleaned([nearest]),
            assumptions,
            ..self.of(release, column, Around::Nothing, source)
        }
    }

    /// Winds of which nothing else is known yet.
    fn of(
        &self,
        release: Timestamp,
        column: Column,
        around: Around<'a>,
        source: WindSource,
    ) -> Weather<'a> {
        Weather {
            site: self.site,
            release,
            column,
            around,
            own_at_10_m: None,
            gust_m_s: None,
            source,
            files: Vec::new(),
            cleaning: Vec::new(),
            member_sigma: Vec::new(),
            error: None,
            told_of_better: matches!(self.stated_error, None | Some(WindSpread::Sounding)),
            assumptions: Vec::new(),
        }
    }

    /// The model behind a profile, with the run that the file or the plan names.
    fn model_of(&self, sounding: &Sounding) -> Option<ModelFacts> {
        let model = sounding.model.as_ref()?;
        let by_file = |time| Some(after(time, -model.lead_s?));
        let run = self.issued.or(sounding.time.and_then(by_file));
        Some(ModelFacts {
            name: model.name.clone(),
            run,
            lead_s: run
                .zip(sounding.time)
                .map(|(run, t)| seconds_between(run, t)),
        })
    }

    /// How much the columns around the site count at a time.
    fn weights(&self, time: Timestamp, archive: &Archive, near: &Block) -> Result<Weights> {
        Placing::of_block(near, self.site, time)?
            .weights(self.site.normal(), 0.0)
            .map_err(|outside| not_covered(self.site, time, archive, outside))
    }

    fn of_forecast(
        &self,
        release: Timestamp,
        archive: &'a Archive,
        near: &Block,
    ) -> Result<Weather<'a>> {
        let weights = self.weights(release, archive, near)?;
        let members = member_winds(near, &weights);
        let column = Column {
            position: Some(self.site),
            time: Some(release),
            air: near.air(&weights, 0),
            winds: mean_wind(&members),
        };
        let steps = archive.steps_around(release, release);
        let run = archive.steps[steps].iter().filter_map(|s| s.run).max();
        let source = WindSource::Forecast {
            run,
            lead_s: run.map(|run| seconds_between(run, release)),
            from: archive.steps.first().map(|s| s.valid),
            to: archive.steps.last().map(|s| s.valid),
            steps: archive.steps.len(),
            region: archive.describe(),
            levels: archive.all_levels_pa().len(),
            members: near.members.iter().flatten().count(),
        };
        let unknown = run.is_none().then_some(Assumption::ForecastRunUnknown);
        Ok(Weather {
            files: archive.names(),
            own_at_10_m: near.wind_at_10_m(&weights),
            gust_m_s: near.gust_m_s(&weights),
            member_sigma: member_sigma(&members),
            assumptions: unknown
                .into_iter()
                .chain(self.input.assumed())
                .chain(left_out(&archive.left_out))
                .collect(),
            ..self.of(release, column, Around::Forecast(archive), source)
        })
    }
}

/// What was left out of the winds, each with its reason.
pub fn left_out(what: &[String]) -> impl Iterator<Item = Assumption> {
    what.iter()
        .map(|what| Assumption::LeftOut { what: what.clone() })
}

/// What reading a sounding took for granted.
fn read_as(sounding: &Sounding) -> Vec<Assumption> {
    let said = sounding.tally.assumed.iter();
    said.map(|words| Assumption::in_words(words.as_str()))
        .collect()
}

/// Age of a sounding at a release, s.
fn age_s(sounding: &Sounding, release: Timestamp) -> Option<f64> {
    sounding.time.map(|t| seconds_between(t, release))
}

/// The winds above a place, member by member.
fn member_winds(near: &Block, weights: &Weights) -> Vec<WindProfile> {
    let of_member = |member: usize| {
        let first = member * near.columns_of_member();
        let around: Vec<(f64, WindProfile)> = weights
            .terms()
            .map(|(c, w)| (w, near.winds(first + c)))
            .collect();
        let parts: Vec<(f64, &WindProfile)> = around.iter().map(|(w, p)| (*w, p)).collect();
        WindProfile::blend(&parts)
    };
    (0..near.members.len()).map(of_member).collect()
}

/// The mean of members.
fn mean_wind(members: &[WindProfile]) -> WindProfile {
    let share = 1.0 / members.len() as f64;
    let parts: Vec<(f64, &WindProfile)> = members.iter().map(|p| (share, p)).collect();
    WindProfile::blend(&parts)
}

fn of_elsewhere(site: Position, ascent: &FileAscent, away_m: f64) -> Error {
    let made = ascent.sounding.position.map(Position::text);
    Error::CannotDo {
        why: format!(
            "the site at {} and its winds do not belong together: {} was made at {}, {} away",
            site.text(),
            ascent.file,
            made.unwrap_or_default(),
            in_both(|units| units.distance(away_m))
        ),
        remedy: format!(
            "expected winds within {}; check the signs of latitude and longitude, south and west are negative",
            in_both(|units| units.distance(FARTHEST_M))
        ),
    }
}

fn nothing_near(site: Position) -> Error {
    Error::CannotDo {
        why: format!("no winds were decoded for {}", site.text()),
        remedy: "expected a forecast around the site".into(),
    }
}

fn not_covered(site: Position, release: Timestamp, archive: &Archive, outside: Outside) -> Error {
    let what = match outside {
        Outside::Region => format!("the site at {}", site.text()),
        Outside::Hours => format!("the release at {release}"),
    };
    Error::NoWinds {
        missing: missing(outside),
        why: format!("{what} lies outside the winds"),
        remedy: format!(
            "they cover {}; expected winds for the site, from before the release until after the landing",
            archive.covered()
        ),
    }
}
