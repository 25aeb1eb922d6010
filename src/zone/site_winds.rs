//! The winds around a site, and those of a release among them.

use jiff::Timestamp;

use super::facts::{ModelFacts, WindSource};
use super::fly::missing;
use super::learnt;
use super::reach::Reach;
use super::weather::{Around, FlownWinds, Weather, left_out};
use super::wind_error;
use crate::clock::{after, seconds_between};
use crate::error::{Error, Result};
use crate::flight::field::LayerField;
use crate::flight::layers::Layers;
use crate::flight::model::{FlightWinds, Moment};
use crate::geodesy::{Compass, Position};
use crate::logbook::Logbook;
use crate::notes::Assumption;
use crate::plan::{Plan, WindSpread};
use crate::sources::grid::archive::Archive;
use crate::sources::{self, FileAscent};
use crate::units::in_both;
use crate::wind::column::{Column, WindProfile};
use crate::wind::error::WindError;
use crate::wind::grid::{Block, ensemble};
use crate::wind::members::member_sigma;
use crate::wind::near_ground::{GroundWindFrom, TenMetreWind, near_ground};
use crate::wind::placing::{Outside, Placing, Weights};
use crate::wind::sounding::Sounding;
use crate::wind::way::Way;
use crate::winds::stations::{self, Blended};
use crate::winds::{Winds, each_once};

/// The winds around one site, for all its releases.
pub struct SiteWinds<'a> {
    pub(super) site: Position,
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

/// What tells of the winds near the ground of a site.
pub struct NearGround {
    /// The winds above it and what they themselves tell for 10 m above the ground, member by member.
    members: Vec<(WindProfile, Option<TenMetreWind>)>,
    /// A forecast's own gusts near its ground, m/s.
    pub gust_m_s: Option<f64>,
}

impl NearGround {
    /// The speed of the wind 10 m above the ground of a site (m/s), and what it is from.
    pub fn wind(&self, site_m: f64) -> Option<(f64, GroundWindFrom)> {
        let members = self.members.iter();
        let told: Vec<(f64, GroundWindFrom)> = members
            .map(|(winds, own)| near_ground(winds, site_m, *own))
            .collect();
        // Of speeds: of members that blow in opposite ways the mean wind would be a calm that none has.
        let speed_m_s = told.iter().map(|(speed_m_s, _)| speed_m_s).sum::<f64>();
        Some((speed_m_s / told.len() as f64, told.first()?.1))
    }
}

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
                // The points next to the site do for the column above it; flights decode what they
                // reach.
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
    pub fn weather(&self, release: Timestamp) -> Result<Weather<'_>> {
        match (self.input, &self.near) {
            (Winds::Forecast(archive), Some(near)) => self.of_forecast(release, archive, near),
            (Winds::Soundings(ascents), _) => self.of_soundings(release, ascents),
            // Does not come up: a forecast is decoded near the site at once.
            (Winds::Forecast(_), None) => Err(nothing_near(self.site)),
        }
    }

    /// What tells of the winds near the ground at a time: those above the site, its own at 10 m, its gusts.
    ///
    /// # Errors
    ///
    /// As [`SiteWinds::weather`].
    pub fn near_ground(&self, time: Timestamp) -> Result<NearGround> {
        // Without air, source and notes, which a whole weather has: this is asked for every hour.
        if let (Winds::Forecast(archive), Some(near)) = (self.input, &self.near) {
            let weights = self.weights(time, archive, near)?;
            let at_10_m = near.winds_at_10_m(&weights);
            let own = |member: usize| {
                let wind = at_10_m.as_ref()?.get(member)?;
                Some(TenMetreWind::of_forecast(*wind))
            };
            let winds = near.winds_of_members(&weights).into_iter().enumerate();
            return Ok(NearGround {
                members: winds.map(|(member, winds)| (winds, own(member))).collect(),
                gust_m_s: near.gust_m_s(&weights),
            });
        }
        let weather = self.weather(time)?;
        Ok(NearGround {
            members: vec![(weather.column.winds, weather.own_at_10_m)],
            gust_m_s: weather.gust_m_s,
        })
    }

    /// How much the columns around the site count at a time.
    fn weights(&self, time: Timestamp, archive: &Archive, near: &Block) -> Result<Weights> {
        let lacking = |outside| not_covered(self.site, time, archive, outside);
        Placing::of_block(near, self.site, time)?
            .weights(self.site.normal(), 0.0)
            .map_err(lacking)
    }

    /// How wrong the winds of a release may be along the track of its planned flight: as the plan says or such winds
    /// are, and as flights taught.
    pub(super) fn error(
        &self,
        weather: &Weather,
        track: &[Moment],
    ) -> (Option<WindError>, Vec<Assumption>) {
        let met = weather.sonde.as_ref().map(|sonde| wind_error::Met {
            flight: way_up(track),
            sonde,
        });
        let about = wind_error::About {
            source: &weather.source,
            winds: &weather.column.winds,
            member_sigma: &weather.member_sigma,
            latitude_deg: self.site.lat_deg,
            met,
        };
        let (mut error, mut assumed) = about.error(self.stated_error);
        if let (Some(error), Some((factor, _))) = (&mut error, self.learnt_error) {
            error.widen(factor);
            assumed.extend(learnt::of_winds(self.learnt_error));
        }
        (error, assumed)
    }

    /// Whether better winds would be worth a word: not where the plan says how wrong these are.
    pub(super) fn told_of_better(&self) -> bool {
        !matches!(
            self.stated_error,
            Some(WindSpread::None | WindSpread::Table(_))
        )
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
        // Not to the end of the span, which goes on for the winds at the ground.
        let (block, extent) = reach.cut(self.site, [self.releases[0], self.last], archive)?;
        let field = LayerField::of_block(&block, self.site, self.releases[0], layers, compass)?;
        let members = block.members.len();
        // The planned flight of an ensemble goes through the mean of its members, as one member
        // more.
        let (field, planned) = match members {
            1 => (field, 0),
            _ => field.with_mean_member(),
        };
        Ok(Some(FlownWinds {
            winds: FlightWinds::Field(Box::new(field)),
            members,
            planned,
            extent,
            left_out: block.left_out,
        }))
    }
}

impl<'a> SiteWinds<'a> {
    /// One sounding stands for the whole flight, or several make a field.
    fn of_soundings(&self, release: Timestamp, ascents: &'a [FileAscent]) -> Result<Weather<'_>> {
        let chosen = stations::chosen(self.site, release, ascents)?;
        let nearest = chosen.nearest;
        let mut weather = match chosen.blended {
            Some(blended) => self.of_field(release, nearest, blended),
            None => self.of_one(release, nearest, ascents.len()),
        };
        let is_measured = ascents.iter().all(|a| a.sounding.model.is_none());
        if self.issued.is_some() && is_measured {
            weather.assumptions.push(Assumption::RunOfMeasured);
        }
        let lost = ascents.iter().map(|a| &a.sounding.tally.lost[..]);
        weather.assumptions.extend(lost.flat_map(left_out));
        // Winds of another part of the world are a slip of a sign, not a worse forecast.
        match weather.distance_m().filter(|m| *m > FARTHEST_M) {
            Some(away_m) => Err(of_elsewhere(self.site, nearest, away_m)),
            None => Ok(weather),
        }
    }

    /// Several soundings.
    fn of_field(&self, release: Timestamp, nearest: &FileAscent, blended: Blended) -> Weather<'_> {
        let (columns, low_tops_m) = blended.columns();
        // Columns of stations hold everywhere and always, so these weights are always found.
        let weights = Placing::Stations(blended.stations.clone())
            .weights(self.site.normal(), 0.0)
            .unwrap_or(Weights::one(0));
        // How wrong a field is goes by the sounding that counts most.
        let nearest = blended.first_of(&weights).unwrap_or(nearest);
        let source = self.source_of_field(release, nearest, &blended);
        let lowest_top_m = low_tops_m.iter().copied().reduce(f64::min);
        let continued = lowest_top_m.map(|lowest_top_m| Assumption::SoundingsContinued {
            soundings: low_tops_m.len(),
            lowest_top_m,
        });
        let said = Assumption::SoundingsBlended {
            soundings: blended.ascents.len(),
            stations: blended.stations.len(),
        };
        let column = stations::blend(&weights, &columns);
        Weather {
            files: blended.files(),
            own_at_10_m: blended.wind_at_10_m(&weights),
            cleaning: sources::cleaned(blended.ascents.iter().copied()),
            // Of all that are blended: each may have been read in another way.
            assumptions: read_as(blended.ascents.iter().map(|a| &a.sounding))
                .chain([said])
                .chain(continued)
                .chain(left_out(&blended.left_out))
                .collect(),
            ..self.of(
                release,
                column,
                Around::Stations(blended.stations, columns),
                source,
            )
        }
    }

    fn source_of_field(
        &self,
        release: Timestamp,
        nearest: &FileAscent,
        blended: &Blended,
    ) -> WindSource {
        WindSource::Soundings {
            stations: blended.stations.len(),
            soundings: blended.ascents.len(),
            from: blended.times().min(),
            to: blended.times().max(),
            // Between hours that are close the winds are of the release itself, as wrong as their
            // lead says.
            age_s: match blended.forecast_around() {
                true => Some(0.0),
                false => age_s(&nearest.sounding, release),
            },
            distance_m: stations::nearest_m(self.site, &[nearest]),
            model: self.model_of(&nearest.sounding),
        }
    }

    /// The one nearest of `all` soundings.
    fn of_one(&self, release: Timestamp, nearest: &FileAscent, all: usize) -> Weather<'_> {
        let sounding = &nearest.sounding;
        let mut assumptions: Vec<Assumption> = read_as([sounding]).collect();
        if all > 1 {
            assumptions.push(Assumption::NearestSounding { of: all });
        }
        let source = WindSource::Sounding {
            station: sounding.name.clone(),
            position: sounding.position,
            time: sounding.time,
            age_s: age_s(sounding, release),
            distance_m: stations::nearest_m(self.site, &[nearest]),
            model: self.model_of(sounding),
        };
        let column = Column::from_sounding(sounding);
        Weather {
            files: vec![nearest.file.clone()],
            own_at_10_m: TenMetreWind::of_sounding(sounding),
            cleaning: sources::cleaned([nearest]),
            sonde: Some(Way::of_sounding(sounding)).filter(|way| !way.is_unknown()),
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
    ) -> Weather<'_> {
        Weather {
            site_winds: self,
            release,
            column,
            around,
            own_at_10_m: None,
            gust_m_s: None,
            source,
            files: Vec::new(),
            cleaning: Vec::new(),
            member_sigma: Vec::new(),
            sonde: None,
            assumptions: Vec::new(),
        }
    }

    /// The model behind a profile, with the run that the file or the plan names.
    fn model_of(&self, sounding: &Sounding) -> Option<ModelFacts> {
        let model = sounding.model.as_ref()?;
        let by_file = |time| Some(after(time, -model.lead_s?));
        // What the plan says of the run counts before the file.
        let run = self.issued.or(sounding.time.and_then(by_file));
        Some(ModelFacts {
            name: model.name.clone(),
            run,
            lead_s: run
                .zip(sounding.time)
                .map(|(run, t)| seconds_between(run, t)),
        })
    }

    fn of_forecast(
        &self,
        release: Timestamp,
        archive: &'a Archive,
        near: &Block,
    ) -> Result<Weather<'_>> {
        let weights = self.weights(release, archive, near)?;
        let run = near.run_at(release);
        let members = near.winds_of_members(&weights);
        let column = Column {
            position: Some(self.site),
            time: Some(release),
            air: near.air(&weights, 0),
            winds: WindProfile::mean_of(&members),
        };
        let unknown = run.is_none().then_some(Assumption::ForecastRunUnknown);
        Ok(Weather {
            files: archive.names(),
            own_at_10_m: mean_at_10_m(near, &weights),
            gust_m_s: near.gust_m_s(&weights),
            member_sigma: member_sigma(&members),
            assumptions: unknown.into_iter().chain(self.input.assumed()).collect(),
            ..self.of(
                release,
                column,
                Around::Forecast(archive),
                source_of(archive, near, run, release),
            )
        })
    }
}

/// A forecast's own wind at 10 m, as the winds above it the mean of its members.
fn mean_at_10_m(near: &Block, weights: &Weights) -> Option<TenMetreWind> {
    let winds = near.winds_at_10_m(weights)?;
    let share = 1.0 / winds.len() as f64;
    let told = winds.into_iter().map(TenMetreWind::of_forecast);
    let parts: Vec<(f64, TenMetreWind)> = told.map(|told| (share, told)).collect();
    TenMetreWind::mean(&parts)
}

/// What a release's winds are of a forecast, `near` the site.
fn source_of(
    archive: &Archive,
    near: &Block,
    run: Option<Timestamp>,
    release: Timestamp,
) -> WindSource {
    WindSource::Forecast {
        run,
        lead_s: run.map(|run| seconds_between(run, release)),
        from: archive.steps.first().map(|s| s.valid),
        to: archive.steps.last().map(|s| s.valid),
        steps: archive.steps.len(),
        region: archive.describe(),
        levels: archive.all_levels_pa().len(),
        members: ensemble(&near.members).len(),
    }
}

/// What reading soundings took for granted.
fn read_as<'s>(
    soundings: impl IntoIterator<Item = &'s Sounding>,
) -> impl Iterator<Item = Assumption> {
    let said = soundings.into_iter().flat_map(|s| &s.tally.assumed);
    each_once(said).into_iter().map(Assumption::Read)
}

/// Age of a sounding at a release, s.
fn age_s(sounding: &Sounding, release: Timestamp) -> Option<f64> {
    sounding.time.map(|t| seconds_between(t, release))
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

/// A flight's way up to its burst.
fn way_up(track: &[Moment]) -> Way {
    // Up to the burst: the fall passes the same altitudes at other times.
    let rises = |pair: &&[Moment]| pair[1].altitude_m > pair[0].altitude_m;
    let up = track.windows(2).take_while(rises).count() + 1;
    let moments = track.iter().take(up);
    Way::of_moments(moments.map(|m| (m.altitude_m, m.time_s, m.place)))
}
