//! Years of winds: table, CSV of months and of releases, GeoJSON of cells.

use std::fmt::Write as _;

use serde_json::json;

use super::days::{csv_text, zone_name};
use crate::error::Result;
use crate::geodesy::{Position, wrap_longitude};
use crate::report::basis;
use crate::report::files::geojson::{polygons_feature, spot_feature};
use crate::report::layout::list;
use crate::report::words::{far, share};
use crate::report::years_words::{
    bounds, deciding, drift, hour, how_to_read, month, ranking, record, wait, what_is_unknown,
};
use crate::spread::region::GroundPolygon;
use crate::units::UnitSystem;
use crate::years::Job;
use crate::years::answer::{Counts, FieldYears, Season, Years};
use crate::years::parts::Part;
use crate::years::release::{Decides, Unknown};

/// So many fields are shown month by month.
const CLOSER: usize = 3;

/// The table for people.
pub fn table(years: &Years, units: UnitSystem) -> String {
    let basis = &years.basis;
    let title = basis::title(basis, "Years of winds");
    let warned = basis::warning_block(basis, units);
    let zone = zone_name(&basis.timezone);
    let record = record(years);
    let mut text = format!("{title}\ntimes in {zone}; {record}\n\n{warned}");
    if years.fields.len() > 1 {
        text.push_str(&fields(years, units));
    }
    // Twenty fields month by month are pages that nobody reads; the CSV has them.
    for field in years.fields.iter().take(CLOSER) {
        text.push_str(&months(field, units));
        text.push_str(&hours(field));
        text.push_str(&list(
            &format!("Where flights from {} come down", field.name),
            &landings(field, years, units),
        ));
        let counts = &field.year.counts;
        text.push_str(&list("Nothing is known", &what_is_unknown(counts)));
    }
    if years.fields.len() > CLOSER {
        let _ = writeln!(text, "\nMonths of the other fields: --out months.csv");
    }
    text.push_str(&list("How to read it", &how_to_read(years)));
    text + &basis::end_of_table(basis, ranking(years), "", units)
}

fn fields(years: &Years, units: UnitSystem) -> String {
    let widest = years.fields.iter().map(|f| f.name.chars().count()).max();
    // As wide as the names, within what leaves room for the numbers beside them.
    let wide = widest.unwrap_or(0).clamp(5, 24) + 2;
    let target = if years.into.is_some() {
        "in target  "
    } else {
        ""
    };
    let mut text = format!(
        "{:4}{:wide$}{target}{:12}{:12}{:>10}{:>10}  {:18}{:10}{}\n",
        "", "field", "days", "releases", "drift 50 %", "90 %", "toward", "water", "what decides"
    );
    for field in &years.fields {
        let name: String = field.name.chars().take(wide - 2).collect();
        let [median, most, toward] = drift(&field.year, units);
        // Areas to land in have a share, too, which is no column here but a line further down.
        let into = field.into.filter(|_| years.into.is_some());
        let into = into.map_or_else(String::new, |into| format!("{:11}", bounds(into)));
        let line = format!(
            "{:>3} {name:wide$}{into}{:12}{:12}{median:>10}{most:>10}  {toward:18}{:10}{}",
            field.rank,
            bounds(field.year.usable_days),
            bounds(field.year.usable),
            bounds(field.water),
            deciding(&field.year.counts, 2)
        );
        let _ = writeln!(text, "{}", line.trim_end());
    }
    text
}

fn months(field: &FieldYears, units: UnitSystem) -> String {
    let mut text = format!(
        "\n{} at {}\n{:6}{:>9}  {:10}{:10}{:14}{:>10}{:>10}  {:18}{:13}{:9}{}\n",
        field.name,
        field.position.text(),
        "",
        "releases",
        "within",
        "days",
        "of 90 %",
        "drift 50 %",
        "90 %",
        "toward",
        "days a week",
        "wait",
        "what decides, of those beyond a limit"
    );
    for season in field.months.iter().chain([&field.year]) {
        let _ = writeln!(text, "{}", line(season, units).trim_end());
    }
    text
}

fn line(season: &Season, units: UnitSystem) -> String {
    let [median, most, toward] = drift(season, units);
    let interval = season.between_years.as_ref().map_or_else(
        || "?".to_owned(),
        |years| {
            let [low, high] = years.interval.map(|share| 100.0 * share);
            format!("{low:.0} to {high:.0} %")
        },
    );
    let weeks = season.weeks.map_or_else(
        || "?".to_owned(),
        |weeks| weeks.spread.map(|days| format!("{days:.0}")).join(" "),
    );
    format!(
        "{:6}{:>9}  {:10}{:10}{interval:14}{median:>10}{most:>10}  {toward:18}{weeks:13}{:9}{}",
        month(season.month),
        season.counts.releases,
        bounds(season.usable),
        bounds(season.usable_days),
        wait(season),
        deciding(&season.counts, 2)
    )
}

/// Shares by month and hour.
fn hours(field: &FieldYears) -> String {
    // Of a single hour the table by months says the same.
    if field.year.hours.len() < 2 {
        return String::new();
    }
    let mut text = format!("\n{:6}", "");
    for of_day in &field.year.hours {
        let _ = write!(text, "{:10}", hour(of_day.at_s));
    }
    text = text.trim_end().to_owned() + "\n";
    for season in field.months.iter().chain([&field.year]) {
        let mut line = format!("{:6}", month(season.month));
        for of_day in &field.year.hours {
            // A month may lack an hour of the year: the record ends, or the clocks have changed.
            let here = season.hours.iter().find(|h| h.at_s == of_day.at_s);
            let share = here.map_or_else(String::new, |h| bounds(h.usable));
            let _ = write!(line, "{share:10}");
        }
        let _ = writeln!(text, "{}", line.trim_end());
    }
    text
}

/// What flights hit, and the likeliest cell.
fn landings(field: &FieldYears, years: &Years, units: UnitSystem) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some(into) = field.into {
        let what = match &years.into {
            Some(target) => format!("in {target}"),
            None => "in the areas to land in".to_owned(),
        };
        lines.push(format!("{what}: {}", bounds(into)));
    }
    lines.push(format!("in water: {}", bounds(field.water)));
    for hit in &field.hits {
        let near = match hit.within_m > 0.0 {
            true => format!(" (within {})", far(hit.within_m, units)),
            false => String::new(),
        };
        let coarse = if hit.coarse {
            ", by a coarse map or one of a part: at the least"
        } else {
            ""
        };
        lines.push(format!("{}{near}: {}{coarse}", hit.name, bounds(hit.share)));
    }
    if let Some(cell) = field.cells.first() {
        let [south, west, north, east] = cell.bounds_deg;
        let middle = Position {
            lat_deg: 0.5 * (south + north),
            lon_deg: wrap_longitude(0.5 * (west + east)),
        };
        lines.push(format!(
            "the likeliest of {} cells is around {}: {} of all flights",
            field.cells.len(),
            middle.text(),
            share(cell.share)
        ));
    }
    let left = field.left_region + field.left_hours;
    // They came down somewhere, so that every share is a bound from below.
    if left > 0.0 {
        lines.push(format!(
            "{} of {} flights left the region of the winds, {} their hours: any cell and any share may be higher by that much",
            share(field.left_region),
            crate::units::thousands(field.flights as f64),
            share(field.left_hours),
        ));
    }
    lines
}

/// Every month and hour of every field as CSV; a row without an hour is of all hours, one without a month of
/// the year.
///
/// # Errors
///
/// When the text cannot be made; which does not happen in memory.
pub fn months_csv(years: &Years) -> Result<String> {
    let mut header: Vec<String> = [
        "field",
        "lat_deg",
        "lon_deg",
        "rank",
        "month",
        "hour",
        "releases",
        "within_limits",
        "near_limit",
        "beyond_limit",
        "unknown",
        "share_at_least",
        "share_at_most",
        "days_at_least",
        "days_at_most",
        "share_5",
        "share_95",
        "drift_median_m",
        "drift_90_m",
        "drift_azimuth_deg",
        "week_10",
        "week_50",
        "week_90",
        "wait_at_least_days",
        "wait_at_most_days",
        "drift_mean_m",
    ]
    .map(str::to_owned)
    .to_vec();
    header.extend(Decides::ALL.map(|limit| format!("decided_{}", code(limit))));
    header.extend(Unknown::ALL.map(|why| format!("unknown_{}", code(why))));
    let rows = years.fields.iter().flat_map(|field| {
        let seasons = field.months.iter().chain([&field.year]);
        seasons.flat_map(move |season| rows_of(field, season))
    });
    csv_text(header, rows)
}

fn rows_of(field: &FieldYears, season: &Season) -> Vec<Vec<String>> {
    let start = |hour: String| {
        vec![
            field.name.clone(),
            format!("{:.6}", field.position.lat_deg),
            format!("{:.6}", field.position.lon_deg),
            field.rank.to_string(),
            season.month.map_or_else(String::new, |m| m.to_string()),
            hour,
        ]
    };
    let text = |value: Option<f64>, decimals: usize| {
        value.map_or_else(String::new, |value| format!("{value:.decimals$}"))
    };
    let whole = season.usable;
    let drift = season.drift.as_ref();
    let interval = season.between_years.as_ref().map(|years| years.interval);
    let spread = season.weeks.map(|weeks| weeks.spread);
    let days = season.usable_days;
    let mut row = start(String::new());
    row.extend(counted(&season.counts));
    row.extend([
        text(Some(whole.at_least), 4),
        text(Some(whole.at_most), 4),
        text(Some(days.at_least), 4),
        text(Some(days.at_most), 4),
        text(interval.map(|i| i[0]), 4),
        text(interval.map(|i| i[1]), 4),
        text(drift.map(|d| d.median_m), 0),
        text(drift.map(|d| d.most_m), 0),
        text(drift.map(|d| d.mean_azimuth_deg), 1),
    ]);
    row.extend([0, 1, 2].map(|i| text(spread.map(|s| s[i]), 0)));
    let waits = season.wait.map(|w| [w.longest_at_least, w.longest_at_most]);
    row.extend([0, 1].map(|i| text(waits.map(|w| w[i] as f64), 0)));
    row.push(text(drift.map(|d| d.mean_m), 0));
    row.extend(reasons(&season.counts));
    let of_hour = season.hours.iter().map(|of_hour| {
        let mut row = start(hour(of_hour.at_s));
        row.extend(counted(&of_hour.counts));
        let usable = of_hour.usable;
        row.extend([
            text(Some(usable.at_least), 4),
            text(Some(usable.at_most), 4),
        ]);
        // From days to the mean drift: what a single hour does not have.
        row.extend(std::iter::repeat_n(String::new(), 13));
        row.extend(reasons(&of_hour.counts));
        row
    });
    std::iter::once(row.clone()).chain(of_hour).collect()
}

fn counted(counts: &Counts) -> [String; 5] {
    let Counts {
        releases,
        within,
        near,
        beyond,
        unknown,
        ..
    } = counts;
    [releases, within, near, beyond, unknown].map(ToString::to_string)
}

fn reasons(counts: &Counts) -> Vec<String> {
    let number = |found: Option<&usize>| found.copied().unwrap_or(0).to_string();
    let decided = Decides::ALL
        .map(|limit| number(counts.decided.iter().find(|d| d.0 == limit).map(|d| &d.1)));
    let unknown = Unknown::ALL
        .map(|why| number(counts.why_unknown.iter().find(|u| u.0 == why).map(|u| &u.1)));
    decided.into_iter().chain(unknown).collect()
}

/// As programs read it.
pub(crate) fn code(value: impl serde::Serialize) -> String {
    let json = serde_json::to_value(value).unwrap_or_default();
    json.as_str().unwrap_or_default().to_owned()
}

/// Every release from every field as CSV, in SI units, times in UTC.
///
/// # Errors
///
/// When the text cannot be made; which does not happen in memory.
pub fn releases_csv(job: &Job, whole: &Part) -> Result<String> {
    let header = [
        "field",
        "field_lat_deg",
        "field_lon_deg",
        "release",
        "verdict",
        "decides",
        "beyond",
        "unknown",
        "landed",
        "left_region",
        "left_hours",
        "center_lat_deg",
        "center_lon_deg",
        "drift_m",
        "azimuth_deg",
        "ellipse_90_km2",
        "surface_wind_m_s",
        "daylight_s",
        "land_in_share",
        "keep_clear_share",
        "water_share",
    ];
    let rows = whole.releases.iter().map(|release| {
        let numbers = release.numbers.as_ref();
        let text = |value: Option<f64>| value.map_or_else(String::new, |v| v.to_string());
        let field = job.fields.get(release.field);
        let at = field.map(|field| field.plan.site.position);
        let broken: Vec<String> = release.broken.iter().map(code).collect();
        let mut row = vec![
            field.map_or_else(String::new, |field| field.name.clone()),
            text(at.map(|at| at.lat_deg)),
            text(at.map(|at| at.lon_deg)),
            release.at().to_string(),
            release.verdict.code().to_owned(),
            release.decides.map(code).unwrap_or_default(),
            broken.join(" "),
            release.unknown.map(code).unwrap_or_default(),
        ];
        row.extend(
            [release.landed, release.left_region, release.left_hours].map(|n| n.to_string()),
        );
        row.extend([
            text(numbers.map(|n| n.center[0])),
            text(numbers.map(|n| n.center[1])),
            text(numbers.map(|n| n.drift_m)),
            text(numbers.map(|n| n.azimuth_deg)),
            text(numbers.and_then(|n| n.area_km2)),
            text(numbers.and_then(|n| n.surface_m_s)),
            text(numbers.and_then(|n| n.daylight_s)),
            text(numbers.and_then(|n| n.land_in)),
            text(numbers.map(|n| n.any)),
            text(numbers.map(|n| n.water)),
        ]);
        row
    });
    csv_text(header.map(str::to_owned).to_vec(), rows)
}

/// The fields as points and the cells in which flights come down as GeoJSON.
pub fn geojson(years: &Years, units: UnitSystem) -> String {
    let mut features = Vec::new();
    for field in &years.fields {
        let properties = [
            ("name", json!(field.name)),
            ("rank", json!(field.rank)),
            ("days_at_least", json!(field.year.usable_days.at_least)),
            ("days_at_most", json!(field.year.usable_days.at_most)),
            ("left_share", json!(field.left_region + field.left_hours)),
        ];
        features.push(spot_feature("field", field.position, properties));
        for cell in &field.cells {
            let properties = [
                ("field", json!(field.name)),
                ("probability", json!(cell.share)),
                ("probability_within_limits", json!(cell.usable_share)),
            ];
            let shape = [polygon(cell.bounds_deg)];
            features.push(polygons_feature("cell", &shape, properties));
        }
    }
    basis::geojson(&years.basis, features, units)
}

fn polygon([south, west, north, east]: [f64; 4]) -> GroundPolygon {
    let corner = |lat_deg: f64, lon_deg: f64| Position {
        lat_deg,
        // A cell beside the antimeridian may end beyond 180 degrees.
        lon_deg: wrap_longitude(lon_deg),
    };
    let exterior = vec![
        corner(south, west),
        corner(south, east),
        corner(north, east),
        corner(north, west),
        corner(south, west),
    ];
    GroundPolygon {
        exterior,
        holes: Vec::new(),
    }
}
