//! Candidate sites compared: table, CSV, GeoJSON.

use std::fmt::Write as _;

use serde_json::json;

use super::days::{
    csv_text, foot, header, more, number_heads, numbers, record, time, verdict, zone_name,
};
use super::why;
use crate::choice::answer::{ComparedSite, Sites};
use crate::error::Result;
use crate::report::basis;
use crate::report::files::geojson::{ellipse_with, spot_feature};
use crate::report::layout::list;
use crate::report::reasons::{reason, reason_in_short};
use crate::report::site;
use crate::units::UnitSystem;

/// Sites that were not flown themselves are listed up to this many.
const CARRIED_SHOWN: usize = 10;
/// This many of the best sites are looked at more closely.
const CLOSER: usize = 3;

/// The table for people, the best first.
pub fn table(sites: &Sites, units: UnitSystem) -> String {
    let basis = &sites.basis;
    let title = basis::title(basis, "Sites compared");
    let warned = basis::warning_block(basis, units);
    let widest = sites.sites.iter().map(|s| s.name.chars().count()).max();
    // As wide as the names, within what leaves room for the numbers beside them.
    let wide = widest.unwrap_or(0).clamp(4, 24) + 2;
    let [heads, units_below] = number_heads(basis.limits.max_drift_m.is_some(), units);
    let zone = zone_name(&basis.timezone);
    let mut text = format!(
        "{title}\ntimes in {zone}\n\n{warned}{:4}{:wide$}{:17}{:18}{:21}{heads}  what decides\n",
        "", "site", "verdict", "+ / ~ / x / ?***", "best release",
    );
    // As wide as rank, verdict, counts and the best release before them.
    let _ = writeln!(text, "{:blank$}{units_below}", "", blank = 60 + wide);
    let carried = sites.sites.iter().filter(|s| !s.flown);
    let hidden = carried.clone().count().saturating_sub(CARRIED_SHOWN);
    let shown = sites.sites.iter().filter(|s| s.flown);
    for site in shown.chain(carried.take(CARRIED_SHOWN)) {
        let _ = writeln!(text, "{}", line(site, sites, wide, units).trim_end());
    }
    if hidden > 0 {
        let _ = writeln!(text, "    and {hidden} more, see --out sites.csv");
    }
    text.push_str(&foot(sites.sites.iter().flat_map(|s| &s.rows), units));
    text.push_str(
        "*** how many release times are within limits (+), near one (~), beyond one (x), unknown (?); c: carried over, see Assumed\n",
    );
    let why = sites.why_best.as_ref();
    let why = why.map_or_else(Vec::new, |why| why::lines(why, &basis.timezone, units));
    text.push_str(&list("Why this one", &why));
    text.push_str(&closer(sites, units));
    let of = match sites.releases {
        1 => "1 release time, ".to_owned(),
        n => format!("{n} release times, "),
    };
    text + &basis::end_of_table(basis, RANKING, &of, units)
}

/// How sites are ranked.
const RANKING: &str = "by the best release from each: \"within limits\" before \"near a limit\" (beyond 80 % of one, or in the dark) before \"beyond a limit\", within these by the number that is nearest to its limit, which is the reason shown, then by how many releases are within limits. A site with something nearer than it should be is near a limit at best. A site whose releases the winds do not cover, or by old or distant soundings only, is unknown and has no rank.";

fn line(site: &ComparedSite, sites: &Sites, wide: usize, units: UnitSystem) -> String {
    let zone = &sites.basis.timezone;
    let rank = site.rank.map_or_else(String::new, |r| r.to_string());
    let name: String = site.name.chars().take(wide - 2).collect();
    let verdict = verdict(site.verdict);
    let counts = match site.flown {
        true => site.counts().map(|n| n.to_string()).join(" / "),
        false => "c".to_owned(),
    };
    let row = site.best_row();
    let when = row.map_or_else(String::new, |r| time(r.release, zone));
    let day = row.and_then(|r| r.day.as_ref());
    let numbers = numbers(day, sites.basis.limits.max_drift_m.is_some(), units);
    let reason = match (&site.reason, day) {
        // There is no list of these below.
        (why, None) => reason(why, units, zone),
        (why, Some(_)) => reason_in_short(why, units, zone),
    };
    format!("{rank:>3} {name:wide$}{verdict:17}{counts:18}{when:21}{numbers}  {reason}")
}

fn closer(sites: &Sites, units: UnitSystem) -> String {
    let flown = sites.sites.iter().filter(|s| s.flown).take(CLOSER);
    let mut text = String::new();
    for site in flown {
        let mut lines = vec![site.position.text()];
        if let (Some(row), Some(day)) = (site.best_row(), site.best_day()) {
            let when = time(row.release, &sites.basis.timezone);
            lines.push(format!("{when}: {}", more(day, units)));
        }
        lines.extend(site::lines(&site.check, units));
        text.push_str(&list(&format!("More of {}", site.name), &lines));
    }
    text
}

/// Every release from every site as CSV, SI units but for reasons, times in UTC.
///
/// # Errors
///
/// When the text cannot be made; which does not happen in memory.
pub fn csv(sites: &Sites, units: UnitSystem) -> Result<String> {
    let own = [
        "site",
        "site_lat_deg",
        "site_lon_deg",
        "site_rank",
        "site_verdict",
        "site_reason",
        "flown",
    ];
    let header = header(&own);
    let zone = &sites.basis.timezone;
    let records = sites.sites.iter().flat_map(|site| {
        site.rows.iter().map(|row| {
            let own = [
                site.name.clone(),
                format!("{:.6}", site.position.lat_deg),
                format!("{:.6}", site.position.lon_deg),
                site.rank.map_or_else(String::new, |r| r.to_string()),
                site.verdict.code().to_owned(),
                reason(&site.reason, units, zone),
                site.flown.to_string(),
            ];
            own.into_iter().chain(record(row, units, zone)).collect()
        })
    });
    csv_text(header, records)
}

/// The sites as points and the 90 % ellipses of their best releases as GeoJSON.
pub fn geojson(sites: &Sites, units: UnitSystem) -> String {
    let zone = &sites.basis.timezone;
    let mut features = Vec::new();
    for site in &sites.sites {
        let row = site.best_row();
        let properties = [
            ("name", json!(site.name)),
            ("rank", json!(site.rank)),
            ("verdict", json!(site.verdict.code())),
            ("reason", json!(reason(&site.reason, units, zone))),
            ("flown", json!(site.flown)),
            ("release", json!(row.map(|r| r.release.to_string()))),
        ];
        features.push(spot_feature("site", site.position, properties));
        let ellipse = site.best_day().and_then(|d| d.ellipse.as_ref());
        if let (Some(ellipse), Some(row)) = (ellipse, row) {
            let more = [
                ("site", json!(site.name)),
                ("release", json!(row.release.to_string())),
                ("verdict", json!(row.verdict.code())),
                ("reason", json!(reason(&row.reason, units, zone))),
            ];
            features.push(ellipse_with(ellipse, more));
        }
    }
    basis::geojson(&sites.basis, features, units)
}
