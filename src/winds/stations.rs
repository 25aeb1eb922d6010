//! Several soundings as one field of winds: which of them, by station and time, and their mean at a place.

use jiff::Timestamp;

use crate::atmosphere::AirProfile;
use crate::clock::seconds_between;
use crate::error::Result;
use crate::geodesy::Position;
use crate::notes::left_out::{LeftOut, NoSounding};
use crate::sources::{self, FileAscent, ONE_STATION_M};
use crate::wind::column::{Column, ENDS_ALIKE_M, WindProfile};
use crate::wind::departure::away_m;
use crate::wind::near_ground::TenMetreWind;
use crate::wind::placing::{LONGEST_GAP_S, MOST_STATIONS, Station, Weights};
use crate::wind::way::Way;

/// Soundings farther from the release than this in time are not blended, s.
const BLENDED_WITHIN_S: f64 = 48.0 * 3_600.0;

/// The soundings that a release is flown in.
pub struct Chosen<'a> {
    /// Those that make a field; `None` where one sounding does as well.
    pub blended: Option<Blended<'a>>,
    /// The nearest in time.
    pub nearest: &'a FileAscent,
}

/// Soundings that make a field.
pub struct Blended<'a> {
    /// Their stations.
    pub stations: Vec<Station>,
    /// The soundings of one station after the other.
    pub ascents: Vec<&'a FileAscent>,
    /// Which soundings are not among them, and why.
    pub left_out: Vec<LeftOut>,
}

/// The soundings of a station, each with its time after the release, s.
struct Group<'a> {
    place: Position,
    soundings: Vec<(f64, &'a FileAscent)>,
}

/// Chooses the soundings for a release at a site.
///
/// # Errors
///
/// There is no sounding, or several of which none has a time.
pub fn chosen(site: Position, release: Timestamp, ascents: &[FileAscent]) -> Result<Chosen<'_>> {
    Ok(Chosen {
        blended: blended(site, release, ascents),
        nearest: &ascents[sources::nearest(ascents.iter().map(|a| &a.sounding), release)?],
    })
}

fn blended(site: Position, release: Timestamp, ascents: &[FileAscent]) -> Option<Blended<'_>> {
    let mut groups = by_station(release, ascents);
    groups.sort_by(|a, b| {
        let away = |g: &Group| site.distance_m(g.place);
        away(a).total_cmp(&away(b))
    });
    // After sorting: the nearest stay.
    let beyond = groups.split_off(MOST_STATIONS.min(groups.len()));
    for group in &mut groups {
        group.in_order();
    }
    // One station whose soundings are all before the release says no more than its nearest one.
    if !(groups.len() > 1 || groups.first().is_some_and(Group::brackets)) {
        return None;
    }
    let left_out = left_out(release, ascents, &beyond);
    let (mut stations, mut ascents) = (Vec::new(), Vec::new());
    for group in groups {
        stations.push(Station {
            place: group.place.normal(),
            times_s: group.soundings.iter().map(|s| s.0).collect(),
            first: ascents.len() as u32,
            ways: group.ways(),
        });
        ascents.extend(group.soundings.into_iter().map(|s| s.1));
    }
    Some(Blended {
        stations,
        ascents,
        left_out,
    })
}

/// Where and when a sounding was made, if both are known.
fn made(ascent: &FileAscent) -> Option<(Position, Timestamp)> {
    Some((ascent.sounding.position?, ascent.sounding.time?))
}

fn is_of_other_time(release: Timestamp, time: Timestamp) -> bool {
    seconds_between(release, time).abs() > BLENDED_WITHIN_S
}

/// Soundings that do not come into a field, with the reason; `beyond` the stations that are too many.
fn left_out(release: Timestamp, ascents: &[FileAscent], beyond: &[Group]) -> Vec<LeftOut> {
    let made = || ascents.iter().map(made);
    let unknown = made().filter(Option::is_none).count();
    let other_time = made().flatten().filter(|m| is_of_other_time(release, m.1));
    let counts = [
        (unknown, NoSounding::UnknownPlaceOrTime),
        (
            other_time.count(),
            NoSounding::OtherTime {
                within_s: BLENDED_WITHIN_S,
            },
        ),
        (
            beyond.iter().map(|group| group.soundings.len()).sum(),
            NoSounding::FartherStations {
                nearest: MOST_STATIONS,
            },
        ),
    ];
    let some = counts.into_iter().filter(|(count, _)| *count > 0);
    some.map(|(count, why)| LeftOut::Soundings { count, why })
        .collect()
}

/// Those near enough to the release in time.
fn by_station(release: Timestamp, ascents: &[FileAscent]) -> Vec<Group<'_>> {
    let mut groups: Vec<Group> = Vec::new();
    for ascent in ascents {
        let Some((place, time)) = made(ascent).filter(|m| !is_of_other_time(release, m.1)) else {
            continue;
        };
        let at_s = seconds_between(release, time);
        let known = |g: &&mut Group| g.place.distance_m(place) < ONE_STATION_M;
        match groups.iter_mut().find(known) {
            Some(group) => group.soundings.push((at_s, ascent)),
            None => groups.push(Group {
                place,
                soundings: vec![(at_s, ascent)],
            }),
        }
    }
    groups
}

impl Group<'_> {
    /// Sorts by time; of two runs for the same time the newer counts, of two of the same ascent the fuller.
    fn in_order(&mut self) {
        self.soundings.sort_by(|(a_s, a), (b_s, b)| {
            let (a, b) = (&a.sounding, &b.sounding);
            let leads = a.lead_s().total_cmp(&b.lead_s());
            a_s.total_cmp(b_s).then(leads).then(a.fuller_first(b))
        });
        // In this order the first of equal times is the one with the shortest lead.
        self.soundings.dedup_by(|a, b| a.0 == b.0);
    }

    /// Whether there is one after the release, and another.
    fn brackets(&self) -> bool {
        let last = self.soundings.last();
        self.soundings.len() > 1 && last.is_some_and(|last| last.0 > 0.0)
    }

    /// The ways of its sondes; none where no file tells of them.
    fn ways(&self) -> Vec<Way> {
        let of = |s: &(f64, &FileAscent)| Way::of_sounding(&s.1.sounding);
        let ways: Vec<Way> = self.soundings.iter().map(of).collect();
        match ways.iter().all(Way::is_unknown) {
            true => Vec::new(),
            false => ways,
        }
    }
}

impl Blended<'_> {
    /// Their air and winds, and the tops of those that end lower than others, m. Such a one goes on with the
    /// winds of the nearest that does not: held above its top, a jet would last to the burst.
    pub fn columns(&self) -> (Vec<Column>, Vec<f64>) {
        let ascents = self.ascents.iter();
        let own: Vec<Column> = ascents
            .map(|a| Column::from_sounding(&a.sounding))
            .collect();
        let mut low_tops_m = Vec::new();
        let mut columns = own.clone();
        for (i, column) in columns.iter_mut().enumerate() {
            if let Some(j) = higher(&own, i) {
                low_tops_m.push(own[i].winds.top_m());
                column.winds = own[i].winds.continued_by(&own[j].winds);
            }
        }
        (columns, low_tops_m)
    }

    /// The one that counts most.
    pub fn first_of(&self, weights: &Weights) -> Option<&FileAscent> {
        let most = weights.terms().max_by(|a, b| a.1.total_cmp(&b.1))?;
        self.ascents.get(most.0).copied()
    }

    /// When they were made, or hold.
    pub fn times(&self) -> impl Iterator<Item = Timestamp> {
        self.ascents.iter().filter_map(|a| a.sounding.time)
    }

    /// The files they are from.
    pub fn files(&self) -> Vec<String> {
        let mut files: Vec<String> = Vec::new();
        for ascent in &self.ascents {
            // Ascents lie by station, so those of one file need not be neighbours.
            if !files.contains(&ascent.file) {
                files.push(ascent.file.clone());
            }
        }
        files
    }

    /// Whether the nearest station's profiles are a forecast's whose hours lie as close around the release
    /// as those of a forecast on a grid: then the winds are of the release itself, as wrong as the forecast.
    pub fn forecast_around(&self) -> bool {
        let Some(station) = self.stations.first() else {
            return false;
        };
        let next = station.times_s.partition_point(|t| *t <= 0.0);
        let Some(before) = next.checked_sub(1) else {
            return false;
        };
        let is_model = |i: usize| {
            let ascent = self.ascents.get(station.first as usize + i);
            ascent.is_some_and(|a| a.sounding.model.is_some())
        };
        let to_next_s = |s: &f64| s - station.times_s[before];
        let near = match station.times_s.get(next) {
            Some(after) => to_next_s(after) <= LONGEST_GAP_S && is_model(next),
            // After the last hour nothing lies around the release; at that very hour nothing needs
            // to.
            None => station.times_s[before] == 0.0,
        };
        near && is_model(before)
    }

    /// The weighted mean of what they tell of the wind at 10 m; `None` where one that counts tells nothing.
    pub fn wind_at_10_m(&self, weights: &Weights) -> Option<TenMetreWind> {
        let told = |(column, weight): (usize, f64)| {
            let ascent = self.ascents.get(column)?;
            Some((weight, TenMetreWind::of_sounding(&ascent.sounding)?))
        };
        // One that tells nothing would count as calm in the mean.
        let all: Option<Vec<(f64, TenMetreWind)>> = weights.counting().map(told).collect();
        TenMetreWind::mean(&all?)
    }
}

/// Of columns that reach much higher than one of them the nearest to it, in place and time.
fn higher(columns: &[Column], low: usize) -> Option<usize> {
    let of = &columns[low];
    let away_m = |other: &Column| {
        let (here, there) = (of.position?, other.position?);
        let apart_s = seconds_between(of.time?, other.time?);
        Some(away_m(here.lat_deg, apart_s, here.distance_m(there)))
    };
    let higher =
        (0..columns.len()).filter(|&i| columns[i].winds.top_m() - of.winds.top_m() > ENDS_ALIKE_M);
    higher.min_by(|&a, &b| {
        let [a, b] = [a, b].map(|i| away_m(&columns[i]).unwrap_or(f64::INFINITY));
        a.total_cmp(&b)
    })
}

/// From the site to the nearest of some soundings, m.
pub fn nearest_m(site: Position, ascents: &[&FileAscent]) -> Option<f64> {
    let places = ascents.iter().filter_map(|a| a.sounding.position);
    places.map(|p| site.distance_m(p)).min_by(f64::total_cmp)
}

/// The weighted mean of columns.
pub fn blend(weights: &Weights, columns: &[Column]) -> Column {
    let parts: Vec<(f64, &Column)> = weights
        .terms()
        // Columns that do not count may lie beyond the last, and would add levels for nothing.
        .filter(|t| t.1 > 0.0)
        .map(|(c, w)| (w, &columns[c]))
        .collect();
    let winds: Vec<(f64, &WindProfile)> = parts.iter().map(|(w, c)| (*w, &c.winds)).collect();
    let air: Vec<_> = parts.iter().map(|(w, c)| (*w, &c.air)).collect();
    Column {
        position: None,
        time: None,
        air: AirProfile::blend(&air),
        winds: WindProfile::blend(&winds),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TWO_LEVELS: &str = "altitude_m,wind_speed_m/s,wind_dir\n100,5,270\n900,7,280\n";

    fn ascent(place: Option<(f64, f64)>, time: &str) -> FileAscent {
        let mut sounding = sources::parse("a.csv", TWO_LEVELS, None).unwrap().remove(0);
        sounding.position = place.and_then(|(lat, lon)| Position::new(lat, lon));
        sounding.time = Some(time.parse().unwrap());
        FileAscent {
            file: "a.csv".into(),
            sounding,
        }
    }

    #[test]
    fn soundings_that_do_not_come_into_the_field_are_told() {
        let noon = "2010-06-01T12:00:00Z";
        let site = Position::new(43.0, 5.0).unwrap();
        let mut all: Vec<FileAscent> = (0..MOST_STATIONS + 2)
            .map(|k| ascent(Some((43.0, 5.0 + k as f64)), noon))
            .collect();
        all.push(ascent(None, noon));
        all.push(ascent(Some((43.0, 5.0)), "2010-06-04T12:00:00Z"));
        let release = "2010-06-01T14:00:00Z".parse().unwrap();
        let field = chosen(site, release, &all).unwrap().blended.unwrap();
        assert_eq!(field.ascents.len(), MOST_STATIONS);
        let told: Vec<String> = field.left_out.iter().map(ToString::to_string).collect();
        assert_eq!(
            told,
            [
                "1 sounding whose place or time is not known, beside others of known ones",
                "1 sounding more than 48 h before or after the release",
                &format!("2 soundings of stations farther away than the {MOST_STATIONS} nearest"),
            ]
        );
    }
}
