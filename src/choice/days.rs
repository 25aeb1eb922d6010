//! Release times over some days, each flown with the plan's spread, judged and ranked.

use std::cmp::Ordering;

use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};

use super::ground;
use super::verdict::{Limits, judge, strains};
use crate::error::{Error, Result};
use crate::geodesy::Normal;
use crate::ground::hits::{default_buffers, hits};
use crate::ground::map::{Class, GroundMap, Knowledge};
use crate::ground::sun::{Span, daylight};
use crate::plan::Plan;
use crate::report::days::{Day, Days, Hazard, Row, Verdict};
use crate::spread::run::quantiles;
use crate::units::UnitSystem;
use crate::zone::clock::after;
use crate::zone::releases::{FlownRelease, Tried, fly_releases};
use crate::zone::{LEFT_ALLOWED, Options, WindInput};

/// Flies, judges and ranks releases. `done` is told after each.
///
/// # Errors
///
/// When no release can be tried at all, or a file of the ground cannot be read.
pub fn days(
    plan: &Plan,
    input: &WindInput,
    times: &[Timestamp],
    options: Options,
    done: impl Fn() + Sync,
) -> Result<Days> {
    let mut assumed = Vec::new();
    let limits = Limits::of(&plan.limits, options.units, &mut assumed);
    let tried = fly_releases(plan, input, times, options, done)?;
    let places: Vec<Normal> = tried
        .iter()
        .filter_map(|(_, flown)| flown.as_ref().ok())
        .flat_map(|flown| flown.landings.iter().map(|l| l.place))
        .collect();
    let map = ground::map(&plan.ground, &places)?;
    let mut rows: Vec<Row> = tried
        .iter()
        .map(|tried| row(plan, tried, map.as_ref(), &limits, options.units))
        .collect();
    rank(&mut rows);
    assumed.push(
        "how near to a road, an airport or a town counts, by default distances, assumed".into(),
    );
    assumed.push("built-in lakes, rivers and towns are a coarse map of the world: what it does not show may be there".into());
    assumed.push("the load lands at the elevation of the site".into());
    if !plan.ground.terrain.is_empty() {
        assumed.push("[ground] terrain is in the plan but not used by this version".into());
    }
    Ok(Days {
        name: plan.name.clone(),
        site: plan.site,
        timezone: plan.timezone.clone(),
        limits: limits.in_words(options.units),
        covered: input.covered(),
        rows,
        draws: options.draws,
        seed: options.seed,
        version: env!("CARGO_PKG_VERSION").into(),
        sources: map.map_or_else(Vec::new, |m| m.sources().to_vec()),
        assumptions: assumed,
    })
}

fn row(
    plan: &Plan,
    (release, flown): &Tried,
    map: Option<&GroundMap>,
    limits: &Limits,
    units: UnitSystem,
) -> Row {
    let unknown = |reason: String, day| Row {
        release: *release,
        verdict: Verdict::Unknown,
        reason,
        strain: f64::INFINITY,
        strains: Vec::new(),
        rank: None,
        day,
    };
    let flown = match flown {
        Ok(flown) => flown,
        Err(Error::CannotDo { why, .. }) => return unknown(why.clone(), None),
        Err(error) => return unknown(error.to_string(), None),
    };
    let day = day(plan, flown, map);
    let left = flown.left as f64 / flown.draws as f64;
    if left > LEFT_ALLOWED {
        let reason = format!("{:.1} % of the draws leave the winds", 100.0 * left);
        return unknown(reason, Some(day));
    }
    let strains = strains(&day, limits, units);
    let (verdict, reason, strain) = judge(&strains);
    Row {
        release: *release,
        verdict,
        reason,
        strain,
        strains: strains.iter().map(|s| s.share).collect(),
        rank: None,
        day: Some(day),
    }
}

fn day(plan: &Plan, flown: &FlownRelease, map: Option<&GroundMap>) -> Day {
    let places: Vec<Normal> = flown.landings.iter().map(|l| l.place).collect();
    let hits = map.map(|map| hits(map, &default_buffers(), &places));
    let hazards = hits.as_ref().map_or_else(Vec::new, |hits| {
        let rows = hits.classes.iter();
        rows.map(|row| Hazard {
            name: row.buffer.class.name(),
            within_m: row.buffer.radius_m,
            share: row.share.map(|s| s.share()),
            standard_error: row.share.map(|s| s.standard_error()),
            coarse: row.knowledge == Knowledge::Coarse,
            to_keep_clear_of: keeps_clear_of(row.buffer.class),
        })
        .collect()
    });
    let [_, landing, latest] = quantiles(&flown.landings, |l| l.time_s);
    let (landing, latest) = (after(flown.release, landing), after(flown.release, latest));
    let land_in = hits
        .as_ref()
        .and_then(|h| h.share(Class::LandIn))
        .map(|s| s.share());
    Day {
        lead_s: flown.lead_s,
        center: flown.center,
        distance_m: plan.site.distance_m(flown.center),
        azimuth_deg: plan.site.azimuth_deg(flown.center),
        landing,
        latest_landing: latest,
        area_m2: flown.ellipse.as_ref().map(|e| e.shape.area_m2()),
        ellipse: flown.ellipse.clone(),
        surface: flown
            .surface
            .iter()
            .map(|(after_s, wind)| (*after_s, wind.speed_m_s()))
            .collect(),
        daylight_s: daylight_after(flown, latest, &plan.timezone),
        left: flown.left as f64 / flown.draws as f64,
        land_in,
        walk_in_m: hits.as_ref().and_then(|h| h.walk_in_m(0.9)),
        hazards,
    }
}

/// What a share of draws above the limit decides about.
fn keeps_clear_of(class: Class) -> bool {
    matches!(
        class,
        Class::KeepOut | Class::Urban | Class::Airport(_) | Class::Airfield
    )
}

/// Seconds from a landing to sunset at the centre of the landings; 0 when the sun is down.
fn daylight_after(flown: &FlownRelease, landing: Timestamp, zone: &TimeZone) -> Option<f64> {
    let local = landing.to_zoned_datetime(zone.clone());
    let light = daylight(flown.center, local.date(), zone).ok()?;
    match light.sun {
        Span::AlwaysAbove => Some(86_400.0),
        Span::AlwaysBelow => Some(0.0),
        Span::Crosses { rise, set } => {
            let up = rise.is_none_or(|rise| landing >= rise);
            let left = set.map_or(86_400.0, |set| set.duration_since(landing).as_secs_f64());
            Some(if up { left.max(0.0) } else { 0.0 })
        }
    }
}

/// Numbers the rows: by verdict, then by how near the deciding number is to its limit, then by
/// time. Unknown ones have no rank.
fn rank(rows: &mut [Row]) {
    let mut order: Vec<usize> = (0..rows.len()).collect();
    order.sort_by(|&a, &b| {
        let (a, b) = (&rows[a], &rows[b]);
        a.verdict
            .cmp(&b.verdict)
            .then(a.strain.partial_cmp(&b.strain).unwrap_or(Ordering::Equal))
            .then(a.release.cmp(&b.release))
    });
    for (rank, i) in order.into_iter().enumerate() {
        if rows[i].verdict != Verdict::Unknown {
            rows[i].rank = Some(rank + 1);
        }
    }
}

/// The moments of a period that lie on whole steps from local midnight and within local hours.
pub fn release_times(
    [from, to]: [Timestamp; 2],
    every_s: i64,
    hours: [f64; 2],
    zone: &TimeZone,
) -> Vec<Timestamp> {
    let mut times = Vec::new();
    let mut date = from.to_zoned_datetime(zone.clone()).date();
    let last = to.to_zoned_datetime(zone.clone()).date();
    let step = every_s.max(60);
    while date <= last {
        let midnight = date.to_zoned_datetime(zone.clone());
        if let Ok(midnight) = midnight {
            let mut second = 0;
            while second < 86_400 {
                let hour = second as f64 / 3_600.0;
                let time = midnight
                    .timestamp()
                    .checked_add(SignedDuration::from_secs(second));
                if let Ok(time) = time
                    && (hours[0]..=hours[1]).contains(&hour)
                    && (from..=to).contains(&time)
                {
                    times.push(time);
                }
                second += step;
            }
        }
        match date.tomorrow() {
            Ok(next) => date = next,
            Err(_) => break,
        }
    }
    times
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn release_times_are_on_whole_steps_of_the_local_day() {
        let zone = TimeZone::get("Europe/Lisbon").unwrap();
        let t = |text: &str| text.parse::<Timestamp>().unwrap();
        let period = [t("2023-10-12T08:00:00Z"), t("2023-10-13T18:00:00Z")];
        let times = release_times(period, 3_600, [5.0, 11.0], &zone);
        let expected = [
            "2023-10-12T08:00:00Z",
            "2023-10-12T09:00:00Z",
            "2023-10-12T10:00:00Z",
            "2023-10-13T04:00:00Z",
            "2023-10-13T05:00:00Z",
            "2023-10-13T06:00:00Z",
            "2023-10-13T07:00:00Z",
            "2023-10-13T08:00:00Z",
            "2023-10-13T09:00:00Z",
            "2023-10-13T10:00:00Z",
        ];
        let expected: Vec<Timestamp> = expected.iter().map(|s| t(s)).collect();
        assert_eq!(times, expected);
        assert!(release_times(period, 3_600, [12.0, 11.0], &zone).is_empty());
    }
}
