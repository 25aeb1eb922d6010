//! Several soundings as one field of winds: which of them, by station and time, and their mean at a place.

use jiff::Timestamp;

use crate::atmosphere::AirProfile;
use crate::clock::seconds_between;
use crate::geodesy::Position;
use crate::sources::FileAscent;
use crate::wind::column::{Column, WindProfile};
use crate::wind::placing::{LONGEST_GAP_S, MOST_STATIONS, Station, Weights};
use crate::wind::sounding::Wind;
use crate::wind::way::Way;

/// Soundings farther from the release than this in time are not blended, s.
const BLENDED_WITHIN_S: f64 = 48.0 * 3_600.0;
/// Soundings closer than this are of one station, m.
const ONE_STATION_M: f64 = 5_000.0;

/// The soundings that can be blended for a release, grouped by station, in the order of their
/// columns; `None` where one sounding does as well.
pub fn stations(
    site: Position,
    release: Timestamp,
    ascents: &[FileAscent],
) -> Option<(Vec<Station>, Vec<&FileAscent>)> {
    let mut groups: Vec<(Position, Vec<(f64, &FileAscent)>)> = Vec::new();
    for ascent in ascents {
        let (Some(place), Some(time)) = (ascent.sounding.position, ascent.sounding.time) else {
            continue;
        };
        let at_s = seconds_between(release, time);
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
        let away = |g: &(Position, _)| site.distance_m(g.0);
        away(a).total_cmp(&away(b))
    });
    groups.truncate(MOST_STATIONS);
    for (_, soundings) in &mut groups {
        let lead_s = |s: &(f64, &FileAscent)| s.1.sounding.lead_s();
        // Of two runs for the same time the newer counts.
        soundings.sort_by(|a, b| a.0.total_cmp(&b.0).then(lead_s(a).total_cmp(&lead_s(b))));
        soundings.dedup_by(|a, b| a.0 == b.0);
    }
    let brackets = |soundings: &[(f64, &FileAscent)]| {
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
            ways: ways(&soundings),
        });
        blended.extend(soundings.into_iter().map(|s| s.1));
    }
    Some((stations, blended))
}

/// The ways of soundings' sondes; none where no file tells of them.
fn ways(soundings: &[(f64, &FileAscent)]) -> Vec<Way> {
    let of = |s: &(f64, &FileAscent)| Way::of_sounding(&s.1.sounding);
    let ways: Vec<Way> = soundings.iter().map(of).collect();
    match ways.iter().all(Way::is_unknown) {
        true => Vec::new(),
        false => ways,
    }
}

/// Whether a station's profiles are a forecast's whose hours lie as close around the release as those of
/// a forecast on a grid: then the winds are of the release itself, as wrong as the forecast.
pub fn forecast_around(station: &Station, blended: &[&FileAscent]) -> bool {
    let next = station.times_s.partition_point(|t| *t <= 0.0);
    let Some(before) = next.checked_sub(1) else {
        return false;
    };
    let is_model = |i: usize| {
        let ascent = blended.get(station.first as usize + i);
        ascent.is_some_and(|a| a.sounding.model.is_some())
    };
    let to_next_s = |s: &f64| s - station.times_s[before];
    let near = match station.times_s.get(next) {
        Some(after) => to_next_s(after) <= LONGEST_GAP_S && is_model(next),
        None => station.times_s[before] == 0.0,
    };
    near && is_model(before)
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

/// The weighted mean of profiles' own winds at 10 m; `None` where one that counts has none.
pub fn blended_at_10_m(weights: &Weights, blended: &[&FileAscent]) -> Option<Wind> {
    let counting = || weights.terms().filter(|(_, weight)| *weight > 0.0);
    let own = |column: usize| blended[column].sounding.wind_at_10_m;
    let all = counting().all(|(column, _)| own(column).is_some());
    let mean = |part: fn(Wind) -> f64| {
        counting()
            .map(|(c, weight)| own(c).map_or(0.0, |wind| weight * part(wind)))
            .sum()
    };
    all.then(|| Wind {
        east_m_s: mean(|wind| wind.east_m_s),
        north_m_s: mean(|wind| wind.north_m_s),
    })
}
