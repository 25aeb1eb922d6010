//! Release times compared: what was decided about each, as table, CSV and GeoJSON.

use std::fmt::Write as _;

use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde_json::json;

use crate::choice::answer::{Day, Days, Hazard, ReleaseRow, Verdict};
use crate::error::{Error, Result};
use crate::ground::map::Class;
use crate::report::basis;
use crate::report::files::geojson::ellipse_with;
use crate::report::layout::list;
use crate::report::reasons::{reason, verdict_name, verdict_sign};
use crate::report::site;
use crate::units::{UnitSystem, duration};

/// What the table and the picture are called.
pub(in crate::report) const TITLE: &str = "Release times compared";

/// The table for people, in order of time.
pub fn table(days: &Days, units: UnitSystem) -> String {
    let title = basis::title(&days.basis, TITLE);
    let warned = basis::warning_block(&days.basis, units);
    let mut text = format!(
        "{title}\nfrom {}\n\n{warned}{:4}{:22}{:11}{:>10}{:>9}{:>13}{:>10}{:>9}{:>13}  {}\n",
        days.site.text(),
        "",
        "release",
        "verdict",
        "drift",
        "true",
        "90 % zone",
        "wind*",
        "hits**",
        "daylight",
        "what decides"
    );
    for row in &days.rows {
        let rank = row.rank.map_or_else(String::new, |r| r.to_string());
        let when = time(row.release, &days.basis.timezone);
        let verdict = verdict(row.verdict);
        let reason = reason(&row.reason, units);
        let numbers = row
            .day
            .as_ref()
            .map_or_else(|| format!("{:64}", ""), |d| numbers(d, units));
        let line = format!("{rank:>3} {when:22}{verdict:11}{numbers}  {reason}");
        let _ = writeln!(text, "{}", line.trim_end());
    }
    text.push_str(
        "\n* strongest wind at the ground, or the lowest known, from an hour before the release to the release\n** largest share of draws in a keep-out area, in a town or near an airport\n",
    );
    text.push_str(&closer(days, units));
    text.push_str(&list("Site", &site::lines(&days.site_check, units)));
    text + &basis::end_of_table(&days.basis, RANKING, "", units)
}

/// So many of the best releases are looked at more closely.
const CLOSER: usize = 3;

/// More of the best releases; where none is known, of the first that were flown.
fn closer(days: &Days, units: UnitSystem) -> String {
    let mut rows: Vec<(&ReleaseRow, &Day)> = days
        .rows
        .iter()
        .filter_map(|row| Some((row, row.day.as_ref()?)))
        .collect();
    rows.sort_by_key(|(row, _)| row.rank.unwrap_or(usize::MAX));
    let lines: Vec<String> = rows
        .iter()
        .take(CLOSER)
        .map(|(row, day)| {
            format!(
                "{}: {}",
                time(row.release, &days.basis.timezone),
                more(day, units)
            )
        })
        .collect();
    list("More of the best", &lines)
}

/// What does not fit into the table, in a sentence.
pub(in crate::report) fn more(day: &Day, units: UnitSystem) -> String {
    let mut parts = Vec::new();
    if let Some(place) = &day.place {
        parts.push(format!(
            "landings around {} at {:03.0} deg true of {}",
            units.distance(place.distance_m),
            place.azimuth_deg,
            place.name
        ));
    }
    if let Some(share) = day.land_in {
        parts.push(format!(
            "{:.1} % of the draws in land-in areas",
            100.0 * share
        ));
    }
    let hit = day
        .hazards
        .iter()
        .filter(|h| h.share.is_some_and(|s| s > 0.0));
    parts.extend(hit.map(|h| hit_words(h, units)));
    if let Some(walk_in_m) = day.walk_in_m {
        let walk_in = units.distance(walk_in_m);
        parts.push(format!("9 of 10 within {walk_in} of a road"));
    }
    let passed = day.airspace.iter().filter(|p| p.share > 0.0);
    parts.extend(passed.map(|p| {
        format!(
            "{:.1} % (+- {:.1}) pass within {} of a {} below {} above it",
            100.0 * p.share,
            100.0 * p.standard_error,
            units.distance(p.within_m),
            p.airport,
            units.height(p.below_m)
        )
    }));
    if let Some(wind) = day.strongest() {
        let away = duration(wind.after_s.abs());
        let when = match wind.after_s {
            s if s < 0.0 => format!("{away} before"),
            s if s > 0.0 => format!("{away} after"),
            _ => "at".to_owned(),
        };
        let speed = units.speed(wind.speed_m_s);
        parts.push(format!(
            "strongest wind at the ground {speed}, {when} the release"
        ));
    }
    if let Some(lead_s) = day.lead_s {
        let side = if lead_s < 0.0 { "before" } else { "after" };
        let lead = duration(lead_s.abs());
        parts.push(format!("{lead} {side} the forecast's run"));
    }
    parts.join("; ")
}

/// How many draws come down on or near a hazard.
fn hit_words(hazard: &Hazard, units: UnitSystem) -> String {
    let [share, error] = [hazard.share, hazard.standard_error].map(|s| 100.0 * s.unwrap_or(0.0));
    let near = match hazard.within_m {
        m if m > 0.0 => format!("within {} of a", units.distance(m)),
        _ => "in a".to_owned(),
    };
    format!(
        "{share:.1} % (+- {error:.1}) come down {near} {}",
        hazard.name
    )
}

/// How rows are ranked.
const RANKING: &str = "\"fly\" before \"marginal\" (beyond 80 % of a limit) before \"don't\" (beyond a limit); within these by the number that is nearest to its limit, which is the reason shown. A release that the winds do not cover, or whose draws leave them, is unknown and has no rank.";

pub(in crate::report) fn numbers(day: &Day, units: UnitSystem) -> String {
    let area = day.area_m2.map_or_else(|| "-".into(), |a| units.area(a));
    let wind = day.surface_m_s();
    let wind = wind.map_or_else(|| "-".into(), |w| units.speed(w));
    let hits = day.worst_hazard();
    let hits = hits.map_or_else(|| "-".into(), |h| format!("{:.1} %", 100.0 * h.share));
    let light = day.daylight_s.map_or_else(|| "-".into(), duration);
    format!(
        "{:>10}{:>9}{area:>13}{wind:>10}{hits:>9}{light:>13}",
        units.distance(day.distance_m),
        format!("{:03.0} deg", day.azimuth_deg)
    )
}

/// A verdict with its sign.
pub(in crate::report) fn verdict(verdict: Verdict) -> String {
    format!("{} {}", verdict_sign(verdict), verdict_name(verdict))
}

pub(in crate::report) fn time(at: Timestamp, zone: &TimeZone) -> String {
    at.to_zoned_datetime(zone.clone())
        .strftime("%a %Y-%m-%d %H:%M")
        .to_string()
}

/// The rows as CSV, SI units but for the reason, times in UTC.
///
/// # Errors
///
/// When the text cannot be made; which does not happen in memory.
pub fn csv(days: &Days, units: UnitSystem) -> Result<String> {
    csv_text(header(&[]), days.rows.iter().map(|row| record(row, units)))
}

/// Some columns, and then those of [`record`].
pub(in crate::report) fn header(own: &[&str]) -> Vec<String> {
    let hits = Class::all().map(|class| {
        let name = class.name().replace([' ', '-'], "_");
        format!("hit_{name}_share")
    });
    let fixed = own.iter().chain(&RECORD).map(|name| (*name).to_owned());
    fixed.chain(hits).collect()
}

/// The first columns of [`record`].
const RECORD: [&str; 24] = [
    "release_utc",
    "verdict",
    "rank",
    "reason",
    "lead_s",
    "center_lat_deg",
    "center_lon_deg",
    "distance_m",
    "azimuth_deg",
    "area_90_m2",
    "landing_utc",
    "latest_landing_utc",
    "surface_wind_m_s",
    "strongest_wind_m_s",
    "daylight_s",
    "left_share",
    "worst_hazard",
    "worst_hazard_share",
    "land_in_share",
    "walk_in_m",
    "nearest_place",
    "nearest_place_distance_m",
    "nearest_place_azimuth_deg",
    "near_airports_share",
];

/// A row in the columns of [`header`].
pub(in crate::report) fn record(row: &ReleaseRow, units: UnitSystem) -> Vec<String> {
    let day = row.day.as_ref();
    let number = |value: Option<f64>, digits: usize| {
        value.map_or_else(String::new, |v| format!("{v:.digits$}"))
    };
    let worst = day.and_then(Day::worst_hazard);
    let place = day.and_then(|d| d.place.as_ref());
    let mut record = vec![
        row.release.to_string(),
        verdict_name(row.verdict).to_owned(),
        row.rank.map_or_else(String::new, |r| r.to_string()),
        reason(&row.reason, units),
        number(day.and_then(|d| d.lead_s), 0),
        number(day.map(|d| d.center.lat_deg), 5),
        number(day.map(|d| d.center.lon_deg), 5),
        number(day.map(|d| d.distance_m), 0),
        number(day.map(|d| d.azimuth_deg), 1),
        number(day.and_then(|d| d.area_m2), 0),
        day.map_or_else(String::new, |d| whole(d.landing)),
        day.map_or_else(String::new, |d| whole(d.latest_landing)),
        number(day.and_then(Day::surface_m_s), 2),
        number(day.and_then(|d| Some(d.strongest()?.speed_m_s)), 2),
        number(day.and_then(|d| d.daylight_s), 0),
        number(day.map(|d| d.left), 5),
        worst.as_ref().map_or_else(String::new, |h| h.name.clone()),
        number(worst.map(|h| h.share), 5),
        number(day.and_then(|d| d.land_in), 5),
        number(day.and_then(|d| d.walk_in_m), 0),
        place.map_or_else(String::new, |p| p.name.clone()),
        number(place.map(|p| p.distance_m), 0),
        number(place.map(|p| p.azimuth_deg), 1),
        number(day.map(Day::most_passed), 5),
    ];
    record.extend(Class::all().map(|class| {
        let name = class.name();
        let hazard = day.and_then(|d| d.hazards.iter().find(|h| h.name == name));
        number(hazard.and_then(|h| h.share), 5)
    }));
    record
}

/// Records under a header as CSV.
///
/// # Errors
///
/// When the text cannot be made; which does not happen in memory.
pub(in crate::report) fn csv_text(
    header: Vec<String>,
    records: impl Iterator<Item = Vec<String>>,
) -> Result<String> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let failed = |cause: csv::Error| Error::CannotDo {
        why: format!("the table cannot be written as CSV: {cause}"),
        remedy: "expected memory to write to".into(),
    };
    writer.write_record(&header).map_err(failed)?;
    for record in records {
        writer.write_record(&record).map_err(failed)?;
    }
    let bytes = writer
        .into_inner()
        .map_err(|e| failed(e.into_error().into()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// To the second.
fn whole(time: Timestamp) -> String {
    let rounded = Timestamp::from_second(time.as_second());
    rounded.unwrap_or(time).to_string()
}

/// The 90 % ellipses of all releases as GeoJSON.
pub fn geojson(days: &Days, units: UnitSystem) -> String {
    let features = days.rows.iter().filter_map(|row| {
        let ellipse = row.day.as_ref()?.ellipse.as_ref()?;
        let more = [
            ("release", json!(row.release.to_string())),
            ("verdict", json!(verdict_name(row.verdict))),
            ("reason", json!(reason(&row.reason, units))),
            ("rank", json!(row.rank)),
        ];
        Some(ellipse_with(ellipse, more))
    });
    basis::geojson(&days.basis, features.collect(), units)
}
