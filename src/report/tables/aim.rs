//! Where to launch for a target: table, CSV, GeoJSON.

use std::fmt::Write as _;

use serde_json::json;

use super::days::{csv_text, header, of_wind, record, time, verdict, zone_name};
use crate::choice::answer::{Aim, AimRow, LaunchRegion};
use crate::error::Result;
use crate::report::basis;
use crate::report::files::geojson::{ellipse_with, polygons_feature, spot_feature};
use crate::report::layout::list;
use crate::report::reasons::{launches, reason};
use crate::units::{UnitSystem, duration};

/// How rows are ranked.
const RANKING: &str = "by the share of the draws that come down in the target, launched from the best place. The verdict is that of the plan's limits on the flight from there.";

/// The table for people, in order of time.
pub fn table(aim: &Aim, units: UnitSystem) -> String {
    let warned = basis::warning_block(&aim.basis, units);
    let mut text = format!(
        "Where to launch into {}\ntimes in {}\n\n{warned}{:4}{:22}{:24}{:>12}  {:22}{:>10}{:>10}{:>13}  {:17}{}\n",
        aim.target,
        zone_name(&aim.basis.timezone),
        "",
        "release",
        "launch at",
        "in target",
        "from the plan's site",
        "drift",
        "wind*",
        "daylight",
        "verdict",
        "what decides"
    );
    for row in &aim.rows {
        let _ = writeln!(text, "{}", line(row, aim, units).trim_end());
    }
    let _ = writeln!(
        text,
        "\n{}",
        of_wind(aim.rows.iter().map(|row| &row.row), units)
    );
    text.push_str(&list(
        "Where launches were tried",
        &[launches(&aim.restricted)],
    ));
    text + &basis::end_of_table(&aim.basis, RANKING, "", units)
}

fn line(row: &AimRow, aim: &Aim, units: UnitSystem) -> String {
    let rank = row.rank.map_or_else(String::new, |r| r.to_string());
    let when = time(row.row.release, &aim.basis.timezone);
    let launch = row.launch.as_ref().map_or_else(
        // As wide as place, share and way, so that what follows stays below its heads.
        || format!("{:58}", ""),
        |l| {
            format!(
                "{:24}{:>12}  {:20}",
                l.position.text(),
                format!(
                    "{:.1} +-{:.1} %",
                    100.0 * l.probability,
                    100.0 * l.standard_error
                ),
                format!(
                    "{} at {:03.0} deg",
                    units.distance(l.distance_m),
                    l.azimuth_deg
                )
            )
        },
    );
    // Without a place to launch from they are those of the search, which are not meant.
    let numbers = row.row.day.as_ref().filter(|_| row.launch.is_some());
    let numbers = numbers.map_or_else(
        || format!("{:35}", ""),
        |day| {
            let wind = day
                .surface_m_s()
                .map_or_else(|| "-".into(), |w| units.speed(w));
            let light = day.daylight_s.map_or_else(|| "-".into(), duration);
            format!(
                "{:>12}{wind:>10}{light:>13}",
                units.distance(day.distance_m)
            )
        },
    );
    let verdict = verdict(row.row.verdict);
    format!(
        "{rank:>3} {when:22}{launch}{numbers}  {verdict:17}{}",
        reason(&row.row.reason, units, &aim.basis.timezone)
    )
}

/// The rows as CSV, SI units but for the reason, times in UTC.
///
/// # Errors
///
/// When the text cannot be made; which does not happen in memory.
pub fn csv(aim: &Aim, units: UnitSystem) -> Result<String> {
    let own = [
        "launch_rank",
        "launch_lat_deg",
        "launch_lon_deg",
        "in_target_share",
        "in_target_standard_error",
    ];
    let header = header(&own);
    let records = aim.rows.iter().map(|row| {
        let launch = row.launch.as_ref();
        let number = |value: Option<f64>, digits: usize| {
            value.map_or_else(String::new, |v| format!("{v:.digits$}"))
        };
        let own = [
            row.rank.map_or_else(String::new, |r| r.to_string()),
            // Six digits of a degree are 0.1 m.
            number(launch.map(|l| l.position.lat_deg), 6),
            number(launch.map(|l| l.position.lon_deg), 6),
            number(launch.map(|l| l.probability), 5),
            number(launch.map(|l| l.standard_error), 5),
        ];
        own.into_iter()
            .chain(record(&row.row, units, &aim.basis.timezone))
            .collect()
    });
    csv_text(header, records)
}

/// Launch places, launch regions with the probability they have at least, and the 90 % ellipses
/// of the landings, as GeoJSON.
pub fn geojson(aim: &Aim, units: UnitSystem) -> String {
    let mut features = Vec::new();
    for row in &aim.rows {
        let Some(launch) = &row.launch else { continue };
        // All that is drawn for a row has it, and belongs together by it.
        let release = json!(row.row.release.to_string());
        let of_release = |features: &mut Vec<_>, region: &LaunchRegion| {
            let properties = [
                ("probability", json!(region.probability)),
                ("release", release.clone()),
            ];
            features.push(polygons_feature(
                "launch_region",
                &region.polygons,
                properties,
            ));
        };
        let properties = [
            ("probability", json!(launch.probability)),
            ("standard_error", json!(launch.standard_error)),
            ("release", release.clone()),
            ("rank", json!(row.rank)),
            ("verdict", json!(row.row.verdict.code())),
            (
                "reason",
                json!(reason(&row.row.reason, units, &aim.basis.timezone)),
            ),
        ];
        features.push(spot_feature("launch_place", launch.position, properties));
        for region in &row.regions {
            of_release(&mut features, region);
        }
        if let Some(ellipse) = row.row.day.as_ref().and_then(|d| d.ellipse.as_ref()) {
            features.push(ellipse_with(ellipse, [("release", release.clone())]));
        }
    }
    basis::geojson(&aim.basis, features, units)
}
