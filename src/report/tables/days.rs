//! Release times compared: what was decided about each, as table, CSV and GeoJSON.

use std::fmt::Write as _;

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use serde_json::json;

use super::why;
use crate::choice::answer::{Day, Days, Hazard, ReleaseRow, Verdict};
use crate::choice::reason::Reason;
use crate::error::{Error, Result};
use crate::ground::map::Class;
use crate::report::basis;
use crate::report::files::geojson::ellipse_with;
use crate::report::layout::{list, wrapped};
use crate::report::plain;
use crate::report::reasons::{
    clock, hours_and_minutes, percent, reason, reason_in_short, verdict_name, verdict_sign,
};
use crate::report::site;
use crate::units::{MILE_M, UnitSystem, duration, thousands};
use crate::wind::near_ground::{GroundWindFrom, TOLD_AT_M};

/// What the table and the picture are called.
pub(in crate::report) const TITLE: &str = "Release times compared";

/// Columns of the table at most.
const WIDEST: usize = 120;

/// The table for people, in order of time: a line a release, at most 120 columns wide.
pub fn table(days: &Days, units: UnitSystem) -> String {
    let basis = &days.basis;
    let warned = basis::warning_block(basis, units);
    let mut text = format!(
        "{}\nfrom {}; times in {}\n\n{warned}",
        basis::title(basis, TITLE),
        days.site.text(),
        zone_name(&basis.timezone)
    );
    // Else each row says so: a drift that nobody limits must not look as if it were within one.
    let limited = basis.limits.max_drift_m.is_some();
    let heads = number_heads(limited, units);
    for (own, heads) in ["  #  at     verdict         ", ""].iter().zip(heads) {
        let decides = if own.is_empty() { "" } else { "  what decides" };
        let _ = writeln!(text, "{}", format!("{own:28}{heads}{decides}").trim_end());
    }
    for part in parts(days) {
        match part {
            DayPart::Day(date, rows) => {
                let _ = writeln!(text, "{}", day_heading(date, rows, &basis.timezone));
                for row in rows {
                    let _ = writeln!(text, "{}", line(row, limited, days, units).trim_end());
                }
            }
            DayPart::NotFlown(dates, rows) => {
                let _ = writeln!(text, "\n{}", not_flown_line(dates, rows));
            }
        }
    }
    text.push_str(&foot(days.rows.iter(), units));
    text.push_str(&list(
        WHY_NOT,
        &not_flown(&days.rows, &basis.timezone, units),
    ));
    let why = days.why_best.as_ref();
    let why = why.map_or_else(Vec::new, |why| why::lines(why, &basis.timezone, units));
    text.push_str(&list("Why this one", &why));
    text.push_str(&closer(days, units));
    text.push_str(&list("Site", &site::lines(&days.site_check, units)));
    text + &basis::end_of_table(basis, RANKING, "", units)
}

/// The days of a comparison, and between them those without any flight.
pub(in crate::report) enum DayPart<'a> {
    /// A local day with its releases.
    Day(Date, &'a [ReleaseRow]),
    /// Days one after the other, from the first to the last, none of whose releases was flown to the end.
    NotFlown([Date; 2], &'a [ReleaseRow]),
}

/// Days apart, those without any flight summed up.
pub(in crate::report) fn parts(days: &Days) -> Vec<DayPart<'_>> {
    let zone = &days.basis.timezone;
    let date = |row: &ReleaseRow| row.release.to_zoned_datetime(zone.clone()).date();
    let covered = |row: &ReleaseRow| {
        // By an old or a distant sounding a release is unknown as well, but has numbers to show.
        let not = matches!(
            row.reason,
            Reason::NotFlown { .. } | Reason::LeavesWinds { .. }
        );
        !not
    };
    let mut parts = Vec::new();
    let mut rest = &days.rows[..];
    while let Some(first) = rest.first() {
        let of_day =
            |rows: &[ReleaseRow], day: Date| rows.iter().take_while(|row| date(row) == day).count();
        let (mut last, mut count) = (date(first), of_day(rest, date(first)));
        if rest[..count].iter().any(covered) {
            parts.push(DayPart::Day(last, &rest[..count]));
        } else {
            // Days that follow without a flight are one line, not a line each.
            while let Some(next) = rest.get(count) {
                let more = of_day(&rest[count..], date(next));
                if rest[count..count + more].iter().any(covered) {
                    break;
                }
                (last, count) = (date(next), count + more);
            }
            parts.push(DayPart::NotFlown([date(first), last], &rest[..count]));
        }
        rest = &rest[count..];
    }
    parts
}

fn day_heading(date: Date, rows: &[ReleaseRow], zone: &TimeZone) -> String {
    let sun = |time: fn(&Day) -> Option<Timestamp>, what: &str| {
        // Of a day with two sunsets, one of them after midnight, it is the one that ends the day.
        let at = rows.iter().filter_map(|row| time(row.day.as_ref()?)).max();
        at.map_or_else(String::new, |at| {
            // In summer at high latitudes the sun sets after midnight.
            let later = zone.to_datetime(at).date() > date;
            let day = if later { " the next day" } else { "" };
            format!(", {what} {}{day}", clock(at, zone))
        })
    };
    format!(
        "\n{}{}{}",
        date.strftime("%a %Y-%m-%d"),
        sun(|day| day.sunrise, "sunrise"),
        sun(|day| day.sunset, "sunset")
    )
}

/// Days without any flight, in a line.
pub(in crate::report) fn not_flown_line([first, last]: [Date; 2], rows: &[ReleaseRow]) -> String {
    let first_day = first.strftime("%a %Y-%m-%d");
    let when = match first == last {
        true => first_day.to_string(),
        false => format!("{first_day} to {}", last.strftime("%a %Y-%m-%d")),
    };
    let releases = match rows.len() {
        1 => "1 release".to_owned(),
        n => format!("{n} releases"),
    };
    let is_stack = |row: &ReleaseRow| {
        matches!(
            row.reason,
            Reason::NotFlown {
                wants_winds: false,
                ..
            }
        )
    };
    let why = match rows.iter().any(is_stack) {
        true => "not flown",
        false => "the winds do not reach far enough",
    };
    format!("{when}: {releases} unknown, {why}")
}

fn line(row: &ReleaseRow, limited: bool, days: &Days, units: UnitSystem) -> String {
    let zone = &days.basis.timezone;
    let rank = row.rank.map_or_else(String::new, |r| r.to_string());
    let dark = row.day.as_ref().is_some_and(|day| day.dark_release);
    format!(
        "{rank:>3}  {}{} {:16}{}  {}",
        clock(row.release, zone),
        if dark { "d" } else { " " },
        verdict(row.verdict),
        numbers(row.day.as_ref(), limited, units),
        reason_in_short(&row.reason, units, zone)
    )
}

/// What the wind at the ground is, under a table of some releases.
pub(in crate::report) fn of_wind<'a>(
    rows: impl Iterator<Item = &'a ReleaseRow>,
    units: UnitSystem,
) -> String {
    let days: Vec<&Day> = rows.filter_map(|row| row.day.as_ref()).collect();
    let gusts = match days.iter().any(|day| day.gust_m_s().is_some()) {
        true => "g: the strongest gusts in that hour",
        false => "the winds tell no gusts",
    };
    let from = winds_from(days.iter().filter_map(|day| day.surface_from), units);
    format!(
        "* strongest wind at the ground from an hour before the release to the release{from}; {gusts}"
    )
}

/// What winds at the ground are from: each kind once, with its largest height of all.
fn winds_from(all: impl Iterator<Item = GroundWindFrom>, units: UnitSystem) -> String {
    let mut kinds: [Option<GroundWindFrom>; 4] = [None; 4];
    for from in all {
        let (kind, height_m) = kind_of(from);
        let kept = &mut kinds[kind];
        if kept.is_none_or(|kept| height_m > kind_of(kept).1) {
            *kept = Some(from);
        }
    }
    let said = kinds.into_iter().flatten();
    let said: Vec<String> = said.map(|from| wind_from(from, units)).collect();
    match said.as_slice() {
        [] => String::new(),
        said => format!(": {}", said.join(", or ")),
    }
}

/// The kind of a wind at the ground, the best known first, and the height that goes with it, m.
fn kind_of(from: GroundWindFrom) -> (usize, f64) {
    match from {
        GroundWindFrom::TenMetres => (0, 0.0),
        GroundWindFrom::AtStation { apart_m } => (1, apart_m),
        GroundWindFrom::Between => (2, 0.0),
        GroundWindFrom::BroughtDown { from_m } => (3, from_m),
    }
}

fn wind_from(from: GroundWindFrom, units: UnitSystem) -> String {
    let at = units.height(TOLD_AT_M);
    match from {
        GroundWindFrom::TenMetres => format!("the forecast's own at {at}"),
        GroundWindFrom::AtStation { apart_m } => format!(
            "the lowest of the sounding, at a station up to {} above or below the site (see Assumed)",
            units.height(apart_m)
        ),
        GroundWindFrom::Between => format!("{at} above it by the winds below and above"),
        GroundWindFrom::BroughtDown { from_m } => format!(
            "of the lowest level of the winds, up to {} above the site, brought down to {at} (see Assumed)",
            units.height(from_m)
        ),
    }
}

/// What the columns are, under a table of some releases.
pub(in crate::report) fn foot<'a>(
    rows: impl Iterator<Item = &'a ReleaseRow>,
    units: UnitSystem,
) -> String {
    let wind = of_wind(rows, units);
    let hits = "** share of draws that hit at least one thing to keep clear of: a keep-out area, a town, the surroundings of an airport, a motorway, trunk or primary road, a power line; the one that is hit most has a limit of its own";
    let others = "water: share of draws in the sea, a lake or a wide river; light: hours and minutes from the landing to sunset; d: release in the dark";
    let lines = [wind.as_str(), hits, others];
    let lines = lines.map(|line| wrapped(line, WIDEST).join("\n"));
    format!("\n{}\n", lines.join("\n"))
}

/// What heads the reasons of releases that were not flown, or whose flights leave the winds.
const WHY_NOT: &str = "Why releases are unknown";

/// Why releases were not flown or leave the winds, alike reasons together.
fn not_flown(rows: &[ReleaseRow], zone: &TimeZone, units: UnitSystem) -> Vec<String> {
    let mut groups: Vec<(String, &ReleaseRow, usize)> = Vec::new();
    for row in rows {
        let kind = match &row.reason {
            // Where and when a flight leaves the winds stands behind a colon, and differs.
            Reason::NotFlown { why, .. } => {
                // Numbers differ from release to release where the reason is the same.
                let kind = why.split(": ").next().unwrap_or(why);
                kind.replace(|c: char| c.is_ascii_digit(), "")
            }
            Reason::LeavesWinds { .. } => String::new(),
            _ => continue,
        };
        match groups.iter_mut().find(|group| group.0 == kind) {
            Some(group) => group.2 += 1,
            None => groups.push((kind, row, 1)),
        }
    }
    let words = |(_, row, count): &(String, &ReleaseRow, usize)| {
        let more = match count {
            1 => String::new(),
            n => format!(" (and {} more like it)", n - 1),
        };
        let why = reason(&row.reason, units, zone);
        format!("{}: {why}{more}", time(row.release, zone))
    };
    groups.iter().map(words).collect()
}

/// This many of the best releases are looked at more closely.
const CLOSER: usize = 3;

/// More of the best releases; where none is known, of the first that were flown.
fn closer(days: &Days, units: UnitSystem) -> String {
    let mut rows: Vec<(&ReleaseRow, &Day)> = days
        .rows
        .iter()
        .filter_map(|row| Some((row, row.day.as_ref()?)))
        .collect();
    // The sort is stable, so those without a rank stay in order of time.
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
    let water = day.water;
    if water.any.share > 0.0 {
        let kinds = [
            (water.sea_share, "in the sea"),
            (water.lake_share, "in lakes"),
            (water.river_share, "in rivers"),
        ];
        let kinds = kinds.iter().filter(|kind| kind.0 > 0.0);
        let kinds: Vec<String> = kinds
            .map(|(share, what)| format!("{} {what}", percent(*share)))
            .collect();
        parts.push(format!(
            "{} (+- {:.1}) of the draws in water: {}",
            percent(water.any.share),
            100.0 * water.any.standard_error,
            kinds.join(", ")
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
    if let Some(age_s) = day.wind_age_s {
        let side = if age_s < 0.0 { "after" } else { "before" };
        let away = day.wind_distance_m;
        let away = away.map_or_else(String::new, |m| format!(", {} away", units.distance(m)));
        let age = duration(age_s.abs());
        parts.push(format!("sounding made {age} {side} the release{away}"));
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
        m if m > 0.0 => format!("within {} of", units.distance(m)),
        _ => "in".to_owned(),
    };
    format!(
        "{share:.1} % (+- {error:.1}) come down {near} {} {}",
        article(&hazard.name),
        hazard.name
    )
}

fn article(name: &str) -> &'static str {
    match name.starts_with(['a', 'e', 'i', 'o', 'u']) {
        true => "an",
        false => "a",
    }
}

/// How rows are ranked.
const RANKING: &str = "\"within limits\" before \"near a limit\" (beyond 80 % of one, or in the dark) before \"beyond a limit\"; within these by the number that is nearest to its limit, which is the reason shown. A release that the winds do not cover, whose draws leave them, or whose sounding is old or far away is unknown and has no rank.";

/// Metres and metres per second in the units of a table's columns, with their names.
fn column_units(units: UnitSystem) -> [(f64, &'static str); 3] {
    match units {
        UnitSystem::Metric => [(1_000.0, "km"), (1e6, "km2"), (1.0, "m/s")],
        UnitSystem::Us => [
            (MILE_M, "mi"),
            (MILE_M * MILE_M, "sq mi"),
            (MILE_M / 3_600.0, "mph"),
        ],
    }
}

/// Two lines of heads over [`numbers`]: what, and in which unit.
pub(in crate::report) fn number_heads(limited: bool, units: UnitSystem) -> [String; 2] {
    let [drift, area, wind] = column_units(units).map(|unit| unit.1);
    let limit = if limited { "" } else { "         " };
    [
        format!("  drift   to{limit} 90% zone  wind* hits** water  light"),
        format!("{drift:>7}  deg{limit}{area:>9}{wind:>7}      %     %    h:m"),
    ]
}

/// The numbers of a release; `limited` says that its drift has a limit, else the row says that it has none.
pub(in crate::report) fn numbers(day: Option<&Day>, limited: bool, units: UnitSystem) -> String {
    let limit = if limited { "" } else { " no limit" };
    let Some(day) = day else {
        // As wide as the numbers below, so that what decides stays in its column.
        return " ".repeat(47 + limit.len());
    };
    let [(length, _), (area, _), (speed, _)] = column_units(units);
    let text = |value: Option<f64>, digits: usize| {
        value.map_or_else(|| "-".to_owned(), |v| format!("{v:.digits$}"))
    };
    let area_text = day.area_m2.map(|m2| m2 / area).map_or_else(
        || "-".to_owned(),
        |value| match value {
            1_000.0.. => thousands(value),
            _ => format!("{value:.1}"),
        },
    );
    format!(
        "{:>7}  {:03.0}{limit}{:>9}{:>7}{:>7}{:>6}{:>6}",
        text(Some(day.distance_m / length), 1),
        day.azimuth_deg,
        area_text,
        ground_wind(day, speed),
        text(Some(100.0 * day.all_hazards.share), 1),
        text(Some(100.0 * day.water.any.share), 1),
        day.daylight_s.map_or_else(|| "-".into(), hours_and_minutes)
    )
}

/// The wind at the ground in a unit of so many m/s, with its gusts where they are known, as in "4.2g9".
fn ground_wind(day: &Day, unit_m_s: f64) -> String {
    let Some(speed_m_s) = day.surface_m_s() else {
        return "-".to_owned();
    };
    let gusts = day.gust_m_s();
    let gusts = gusts.map_or_else(String::new, |gust| format!("g{:.0}", gust / unit_m_s));
    format!("{:.1}{gusts}", speed_m_s / unit_m_s)
}

/// The same with its unit, as in "4.2g9 m/s".
pub(in crate::report) fn wind_at_ground(day: &Day, units: UnitSystem) -> Option<String> {
    let [_, _, (unit_m_s, name)] = column_units(units);
    day.surface_m_s()?;
    Some(format!("{} {name}", ground_wind(day, unit_m_s)))
}

/// A verdict with its sign.
pub(in crate::report) fn verdict(verdict: Verdict) -> String {
    format!("{} {}", verdict_sign(verdict), verdict_name(verdict))
}

/// The name of a time zone.
pub(in crate::report) fn zone_name(zone: &TimeZone) -> &str {
    zone.iana_name().unwrap_or("UTC")
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
    let zone = &days.basis.timezone;
    let records = days.rows.iter().map(|row| record(row, units, zone));
    csv_text(header(&[]), records)
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
const RECORD: [&str; 34] = [
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
    "all_hazards_share",
    "water_share",
    "sea_share",
    "lake_share",
    "wide_river_share",
    "sunrise_utc",
    "sunset_utc",
    "dark_release",
    "wind_age_s",
    "wind_distance_m",
    "land_in_share",
    "walk_in_m",
    "nearest_place",
    "nearest_place_distance_m",
    "nearest_place_azimuth_deg",
    "near_airports_share",
];

/// A row in the columns of [`header`].
pub(in crate::report) fn record(
    row: &ReleaseRow,
    units: UnitSystem,
    zone: &TimeZone,
) -> Vec<String> {
    let day = row.day.as_ref();
    let number = |value: Option<f64>, digits: usize| {
        value.map_or_else(String::new, |v| format!("{v:.digits$}"))
    };
    let worst = day.and_then(Day::worst_hazard);
    let place = day.and_then(|d| d.place.as_ref());
    let mut record = vec![
        row.release.to_string(),
        row.verdict.code().to_owned(),
        row.rank.map_or_else(String::new, |r| r.to_string()),
        reason(&row.reason, units, zone),
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
        number(day.map(|d| d.all_hazards.share), 5),
        number(day.map(|d| d.water.any.share), 5),
        number(day.map(|d| d.water.sea_share), 5),
        number(day.map(|d| d.water.lake_share), 5),
        number(day.map(|d| d.water.river_share), 5),
        day.and_then(|d| d.sunrise).map_or_else(String::new, whole),
        day.and_then(|d| d.sunset).map_or_else(String::new, whole),
        day.map_or_else(String::new, |d| d.dark_release.to_string()),
        number(day.and_then(|d| d.wind_age_s), 0),
        number(day.and_then(|d| d.wind_distance_m), 0),
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
        // Reasons and names come from elsewhere, and a spreadsheet would obey a formula.
        let cells = record.iter().map(|cell| plain::cell(cell).into_owned());
        writer
            .write_record(cells.map(String::into_bytes))
            .map_err(failed)?;
    }
    let bytes = writer
        .into_inner()
        .map_err(|e| failed(e.into_error().into()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// To the second.
fn whole(time: Timestamp) -> String {
    // A fraction of a second is more than quantiles of draws know.
    let rounded = Timestamp::from_second(time.as_second());
    rounded.unwrap_or(time).to_string()
}

/// The 90 % ellipses of all releases as GeoJSON.
pub fn geojson(days: &Days, units: UnitSystem) -> String {
    let features = days.rows.iter().filter_map(|row| {
        let ellipse = row.day.as_ref()?.ellipse.as_ref()?;
        let more = [
            ("release", json!(row.release.to_string())),
            ("verdict", json!(row.verdict.code())),
            (
                "reason",
                json!(reason(&row.reason, units, &days.basis.timezone)),
            ),
            ("rank", json!(row.rank)),
        ];
        Some(ellipse_with(ellipse, more))
    });
    basis::geojson(&days.basis, features.collect(), units)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_farthest_station_is_told_in_any_order() {
        let near = GroundWindFrom::AtStation { apart_m: 0.0 };
        let far = GroundWindFrom::AtStation { apart_m: 290.0 };
        let own = GroundWindFrom::TenMetres;
        let said = |all: [GroundWindFrom; 3]| winds_from(all.into_iter(), UnitSystem::Metric);
        let one = said([near, far, own]);
        assert_eq!(one, said([own, far, near]));
        assert!(
            one.contains("own at 10 m, or the lowest")
                && one.contains("up to 290 m above or below"),
            "{one}"
        );
        assert_eq!(winds_from(std::iter::empty(), UnitSystem::Metric), "");
    }

    #[test]
    fn an_airfield_is_not_a_airfield() {
        assert_eq!(["airfield", "town"].map(article), ["an", "a"]);
    }
}
