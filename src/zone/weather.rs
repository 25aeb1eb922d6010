//! The winds a plan is flown in: above the site, and around it as far as flights reach.

use jiff::Timestamp;

use super::facts::{ErrorPartFacts, ModelFacts, WindFacts, WindSource};
use super::reach::{Extent, Reach};
use super::wind_error;
use crate::clock::{after, seconds_between};
use crate::error::{Error, Result};
use crate::flight::field::LayerField;
use crate::flight::layers::{LayerWinds, Layers};
use crate::flight::model::{self, FlightModel};
use crate::geodesy::{Compass, Position};
use crate::plan::Plan;
use crate::sources::grid::archive::Archive;
use crate::sources::{self, Ascent};
use crate::units::UnitSystem;
use crate::wind::cleaning::Cleaning;
use crate::wind::column::{Column, WindProfile};
use crate::wind::error::{ErrorPart, WindError};
use crate::wind::error_process::WindErrorProcess;
use crate::wind::grid::Block;
use crate::wind::members::member_sigma;
use crate::wind::placing::{MOST_STATIONS, Outside, Placing, Station, Weights};
use crate::wind::sounding::Sounding;
use crate::winds::Winds;

/// The winds around one site, for all its releases.
pub struct SiteWinds<'a> {
    input: &'a Winds,
    releases: [Timestamp; 2],
    /// Of a forecast: the points next to the site, at the times of the releases.
    near: Option<Block>,
}

/// The winds of one release.
pub struct Weather<'a> {
    /// Air and wind above the site at the release.
    pub column: Column,
    around: Around<'a>,
    /// The files it is from.
    pub files: Vec<String>,
    cleaning: Vec<Cleaning>,
    source: WindSource,
    /// Standard deviation between the members of an ensemble by altitude, m and m/s.
    member_sigma: Vec<(f64, f64)>,
    /// `None` for winds taken as exact.
    error: Option<WindError>,
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
    pub winds: model::Winds,
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
    fn only(winds: model::Winds) -> FlownWinds {
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
        if let model::Winds::Field(field) = &self.winds {
            let field = field.at_release(seconds_between(since, release));
            same.winds = model::Winds::Field(Box::new(field));
        }
        same
    }
}

/// Altitudes at which the wind error is told, m.
const TOLD_AT_M: [f64; 5] = [1_000.0, 5_000.0, 10_000.0, 20_000.0, 30_000.0];
/// Soundings farther from the release than this in time are not blended, s.
const BLENDED_WITHIN_S: f64 = 48.0 * 3_600.0;
/// Soundings closer than this are of one station, m.
const ONE_STATION_M: f64 = 5_000.0;

impl<'a> SiteWinds<'a> {
    /// For releases from a site between two times.
    ///
    /// # Errors
    ///
    /// When a part of a file cannot be decoded.
    pub fn new(
        site: Position,
        input: &'a Winds,
        releases: [Timestamp; 2],
    ) -> Result<SiteWinds<'a>> {
        let near = match input {
            Winds::Soundings(_) => None,
            Winds::Forecast(archive) => {
                let window = archive.lattice.around(site, 0.0)?;
                let steps = archive.steps_around(releases[0], releases[1]);
                Some(archive.cut(window, steps)?)
            }
        };
        Ok(SiteWinds {
            input,
            releases,
            near,
        })
    }

    /// The winds of a plan's release. Says what it assumes.
    ///
    /// # Errors
    ///
    /// When the winds do not cover the site at the release.
    pub fn weather(
        &self,
        plan: &Plan,
        units: UnitSystem,
        assumed: &mut Vec<String>,
    ) -> Result<Weather<'a>> {
        let mut weather = match (self.input, &self.near) {
            (Winds::Forecast(archive), Some(near)) => of_forecast(plan, archive, near, assumed)?,
            (Winds::Soundings(ascents), _) => of_soundings(plan, ascents, assumed)?,
            (Winds::Forecast(_), None) => return Err(nothing_near(plan)),
        };
        let winds = &weather.column.winds;
        let between = &weather.member_sigma;
        weather.error = wind_error::table(plan, &weather.source, winds, between, units, assumed);
        Ok(weather)
    }

    /// A forecast's winds as far as `reach` around all the releases, counted from the first of
    /// them; `None` where the winds are soundings.
    ///
    /// # Errors
    ///
    /// When a part of a file cannot be decoded.
    pub fn decoded(
        &self,
        plan: &Plan,
        reach: &Reach,
        layers: &Layers,
        compass: &Compass,
    ) -> Result<Option<FlownWinds>> {
        let Winds::Forecast(archive) = self.input else {
            return Ok(None);
        };
        let (block, extent) = reach.cut(plan.site, self.releases, archive)?;
        let field = LayerField::of_block(&block, plan.site, self.releases[0], layers, compass)?;
        let members = block.members.len();
        let (field, planned) = match members {
            1 => (field, 0),
            _ => field.with_mean_member(),
        };
        Ok(Some(FlownWinds {
            winds: model::Winds::Field(Box::new(field)),
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
    pub fn of_soundings(&self, plan: &Plan, model: &FlightModel) -> Option<FlownWinds> {
        let one = FlownWinds::only;
        match &self.around {
            Around::Nothing => {
                let winds = LayerWinds::of_profile(&self.column.winds, &model.layers);
                Some(one(model::Winds::Column(winds)))
            }
            Around::Stations(stations, columns) => {
                let placing = Placing::Stations(stations.clone());
                let column = |i: usize| {
                    let place = columns[i].position.unwrap_or(plan.site);
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
                Some(one(model::Winds::Field(Box::new(field))))
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

    /// What is to be told of the winds.
    pub fn facts(
        &self,
        layers: &Layers,
        seconds: &[f64],
        process: Option<&WindErrorProcess>,
    ) -> WindFacts {
        let (base_m, top_m) = (self.column.winds.base_m(), self.column.winds.top_m());
        let time_where = |outside: &dyn Fn(f64) -> bool| -> f64 {
            let there = seconds.iter().enumerate();
            there
                .filter(|(k, _)| outside(layers.middle_m(*k)))
                .map(|(_, s)| s)
                .sum()
        };
        let error = self.error.as_ref();
        let sigma = error.filter(|t| t.parts.len() > 1);
        let heights: Vec<f64> = (0..seconds.len()).map(|k| layers.middle_m(k)).collect();
        let drift_sigma_m =
            |error: &WindError| WindErrorProcess::new(error, &heights, seconds).drift_sigma_m();
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
            cleaning: self.cleaning.clone(),
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

    /// From the run of a forecast to the release, s.
    pub fn lead_s(&self) -> Option<f64> {
        self.source.lead_s()
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

/// One sounding stands for the whole flight, or several make a field.
fn of_soundings<'a>(
    plan: &Plan,
    ascents: &'a [Ascent],
    assumed: &mut Vec<String>,
) -> Result<Weather<'a>> {
    let nearest = sources::nearest(ascents.iter().map(|a| &a.sounding), plan.release)?;
    let nearest = &ascents[nearest];
    assumed.extend(nearest.sounding.tally.assumed.iter().cloned());
    let age_s = nearest
        .sounding
        .time
        .map(|t| seconds_between(t, plan.release));
    let model = model_of(plan, &nearest.sounding);
    let stations = stations(plan, ascents);
    if let Some((stations, blended)) = stations {
        let columns: Vec<Column> = blended
            .iter()
            .map(|a| Column::from_sounding(&a.sounding))
            .collect();
        let placing = Placing::Stations(stations.clone());
        let weights = placing
            .weights(plan.site.normal(), 0.0)
            .unwrap_or(Weights::one(0));
        let times: Vec<Timestamp> = blended.iter().filter_map(|a| a.sounding.time).collect();
        assumed.push(format!(
            "{} soundings of {} make a field: linear in time, by inverse square distance between stations, assumed",
            blended.len(),
            match stations.len() {
                1 => "one station".to_owned(),
                n => format!("{n} stations"),
            }
        ));
        let mut files: Vec<String> = blended.iter().map(|a| a.file.clone()).collect();
        files.dedup();
        return Ok(Weather {
            column: blend(&weights, &columns),
            cleaning: cleaning(&blended),
            files,
            source: WindSource::Soundings {
                stations: stations.len(),
                soundings: blended.len(),
                from: times.iter().min().copied(),
                to: times.iter().max().copied(),
                age_s,
                distance_m: nearest_m(plan, &blended),
                model,
            },
            around: Around::Stations(stations, columns),
            member_sigma: Vec::new(),
            error: None,
        });
    }
    if ascents.len() > 1 {
        assumed.push(format!(
            "of {} soundings, the one nearest to the release stands for the whole flight, assumed",
            ascents.len()
        ));
    }
    Ok(Weather {
        column: Column::from_sounding(&nearest.sounding),
        around: Around::Nothing,
        files: vec![nearest.file.clone()],
        cleaning: cleaning(&[nearest]),
        source: WindSource::Sounding {
            station: nearest.sounding.name.clone(),
            position: nearest.sounding.position,
            time: nearest.sounding.time,
            age_s,
            distance_m: nearest_m(plan, &[nearest]),
            model,
        },
        member_sigma: Vec::new(),
        error: None,
    })
}

/// What reading did to soundings, where that matters.
fn cleaning(ascents: &[&Ascent]) -> Vec<Cleaning> {
    let all = ascents.iter().map(|a| Cleaning::of(&a.file, &a.sounding));
    all.filter(Cleaning::matters).collect()
}

/// From the site to the nearest of some soundings, m.
fn nearest_m(plan: &Plan, ascents: &[&Ascent]) -> Option<f64> {
    let places = ascents.iter().filter_map(|a| a.sounding.position);
    places
        .map(|p| plan.site.distance_m(p))
        .min_by(f64::total_cmp)
}

/// The model behind a profile, with the run that the file or the plan names.
fn model_of(plan: &Plan, sounding: &Sounding) -> Option<ModelFacts> {
    let model = sounding.model.as_ref()?;
    let by_file = |time| Some(after(time, -model.lead_s?));
    let run = plan.wind_issued.or(sounding.time.and_then(by_file));
    Some(ModelFacts {
        name: model.name.clone(),
        run,
        lead_s: run
            .zip(sounding.time)
            .map(|(run, t)| seconds_between(run, t)),
    })
}

/// The soundings that can be blended for a release, grouped by station, in the order of their
/// columns; `None` where one sounding does as well.
fn stations<'a>(plan: &Plan, ascents: &'a [Ascent]) -> Option<(Vec<Station>, Vec<&'a Ascent>)> {
    let mut groups: Vec<(Position, Vec<(f64, &Ascent)>)> = Vec::new();
    for ascent in ascents {
        let (Some(place), Some(time)) = (ascent.sounding.position, ascent.sounding.time) else {
            continue;
        };
        let at_s = seconds_between(plan.release, time);
        if at_s.abs() > BLENDED_WITHIN_S {
            continue;
        }
        match groups
            .iter_mut()
            .find(|g| g.0.distance_m(place) < ONE_STATION_M)
        {
            Some(group) => group.1.push((at_s, ascent)),
            None => groups.push((place, vec![(at_s, ascent)])),
        }
    }
    groups.sort_by(|a, b| {
        let away = |g: &(Position, _)| plan.site.distance_m(g.0);
        away(a).total_cmp(&away(b))
    });
    groups.truncate(MOST_STATIONS);
    for (_, soundings) in &mut groups {
        soundings.sort_by(|a, b| a.0.total_cmp(&b.0));
        soundings.dedup_by(|a, b| a.0 == b.0);
    }
    let brackets = |soundings: &[(f64, &Ascent)]| {
        soundings.len() > 1 && soundings.last().is_some_and(|last| last.0 > 0.0)
    };
    if !(groups.len() > 1 || groups.first().is_some_and(|g| brackets(&g.1))) {
        return None;
    }
    let (mut stations, mut blended) = (Vec::new(), Vec::new());
    for (place, soundings) in groups {
        stations.push(Station {
            place: place.normal(),
            times_s: soundings.iter().map(|s| s.0).collect(),
            first: blended.len() as u32,
        });
        blended.extend(soundings.into_iter().map(|s| s.1));
    }
    Some((stations, blended))
}

/// The weighted mean of columns.
fn blend(weights: &Weights, columns: &[Column]) -> Column {
    let parts: Vec<(f64, &Column)> = weights
        .terms()
        .filter(|t| t.1 > 0.0)
        .map(|(c, w)| (w, &columns[c]))
        .collect();
    let winds: Vec<(f64, &WindProfile)> = parts.iter().map(|(w, c)| (*w, &c.winds)).collect();
    let air: Vec<_> = parts.iter().map(|(w, c)| (*w, &c.air)).collect();
    Column {
        position: None,
        time: None,
        air: crate::atmosphere::AirProfile::blend(&air),
        winds: WindProfile::blend(&winds),
    }
}

fn of_forecast<'a>(
    plan: &Plan,
    archive: &'a Archive,
    near: &Block,
    assumed: &mut Vec<String>,
) -> Result<Weather<'a>> {
    let placing = Placing::of_block(near, plan.site, plan.release)?;
    let weights = placing
        .weights(plan.site.normal(), 0.0)
        .map_err(|outside| not_covered(plan, archive, outside))?;
    let members: Vec<WindProfile> = (0..near.members.len())
        .map(|member| {
            let first = member * near.columns_of_member();
            let around: Vec<(f64, WindProfile)> = weights
                .terms()
                .map(|(c, w)| (w, near.winds(first + c)))
                .collect();
            let parts: Vec<(f64, &WindProfile)> = around.iter().map(|(w, p)| (*w, p)).collect();
            WindProfile::blend(&parts)
        })
        .collect();
    let share = 1.0 / members.len() as f64;
    let parts: Vec<(f64, &WindProfile)> = members.iter().map(|p| (share, p)).collect();
    let around = archive.steps_around(plan.release, plan.release);
    let run = archive.steps[around].iter().filter_map(|s| s.run).max();
    if run.is_none() {
        assumed.push("the files name no run and the plan has no [wind] issued: the winds are taken as an analysis, assumed".into());
    }
    assumed.extend(archive.one_time_held());
    assumed.extend(
        archive
            .left_out
            .iter()
            .map(|l| format!("left out of the winds: {l}")),
    );
    Ok(Weather {
        column: Column {
            position: Some(plan.site),
            time: Some(plan.release),
            air: near.air(&weights, 0),
            winds: WindProfile::blend(&parts),
        },
        around: Around::Forecast(archive),
        files: archive.names(),
        cleaning: Vec::new(),
        source: WindSource::Forecast {
            run,
            lead_s: run.map(|run| seconds_between(run, plan.release)),
            from: archive.steps.first().map(|s| s.valid),
            to: archive.steps.last().map(|s| s.valid),
            steps: archive.steps.len(),
            region: archive.lattice.describe(),
            levels: archive.levels_pa.len(),
            members: near.members.iter().flatten().count(),
        },
        member_sigma: member_sigma(&members),
        error: None,
    })
}

fn nothing_near(plan: &Plan) -> Error {
    Error::CannotDo {
        why: format!("no winds were decoded for {}", plan.site.text()),
        remedy: "expected a forecast around the site".into(),
    }
}

fn not_covered(plan: &Plan, archive: &Archive, outside: Outside) -> Error {
    let what = match outside {
        Outside::Region => format!("the site at {}", plan.site.text()),
        Outside::Hours => format!("the release at {}", plan.release),
    };
    Error::CannotDo {
        why: format!("{what} lies outside the winds"),
        remedy: format!(
            "they cover {}; expected winds for the site, from before the release until after the landing",
            archive.covered()
        ),
    }
}
