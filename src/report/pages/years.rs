//! Years of winds as a page: one file that needs nothing else.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::report::basis;
use crate::report::cautions::CHOOSING;
use crate::report::markup::document;
use crate::report::palette::page_style;
use crate::report::pictures::years::{map, month_hours, rose};
use crate::report::years_words::{
    bounds, deciding, drift, how_to_read, month, ranking, record, wait, what_is_unknown,
};
use crate::report::{notes, reasons, warnings, words};
use crate::units::UnitSystem;
use crate::years::answer::{FieldYears, Season, Years};

/// Pictures are shown of so many fields.
const CLOSER: usize = 5;
/// Fields that are listed at most.
const LISTED: usize = 40;

const STYLE: &str = "
body { font: 16px/1.45 system-ui, sans-serif; color: var(--ink); background: var(--paper); margin: 1em auto; max-width: 72em; padding: 0 .8em; }
table { border-collapse: collapse; } th, td { text-align: left; vertical-align: top; padding: .2em .7em .2em 0; border-bottom: 1px solid var(--line); }
.wide { overflow-x: auto; } .pictures { display: flex; flex-wrap: wrap; gap: 1em; } figure { margin: 0; } figure svg { max-width: 100%; height: auto; border: 1px solid var(--line); }
.warnings li { font-weight: 600; } figcaption { max-width: 26em; color: var(--soft); }
";

/// The page.
pub fn text(years: &Years, units: UnitSystem) -> String {
    let basis = &years.basis;
    let title = basis::title(basis, "Years of winds");
    let warned = warnings::lines(&basis::warned(basis), units);
    let found = basis::found(basis, units);
    document(html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { (PreEscaped(page_style())) (PreEscaped(STYLE)) }
            }
            body {
                h1 { bdi { (title) } }
                p { (record(years)) ", " (basis.draws) " draws for each." }
                @if !warned.is_empty() { div.warnings { p { strong { "Warnings" } } (lines(warned)) } }
                @if years.fields.len() > 1 { h2 { "Fields" } (fields(years, units)) }
                @for (number, field) in years.fields.iter().take(CLOSER).enumerate() {
                    (field_section(number, field, years, units))
                }
                h2 { "How to read it" }
                (lines(how_to_read(years)))
                p { "Ranking: " (ranking(years)) }
                @if !found.is_empty() { h2 { "Notes" } (lines(found)) }
                h2 { "Limits" } (lines(reasons::limits(&basis.limits, units)))
                h2 { "Assumed" } (lines(notes::assumptions(&basis.assumptions, units)))
                h2 { "Ground" } (lines(basis::ground_sources(&basis.sources)))
                h2 { "Cautions" } (lines(CHOOSING))
                p { "Seed " (basis.seed) ", windfall " (basis.version) ", work " (years.work) "." }
            }
        }
    })
}

fn lines<S: AsRef<str>>(all: impl IntoIterator<Item = S>) -> Markup {
    html! { ul { @for line in all { li { (line.as_ref()) } } } }
}

fn fields(years: &Years, units: UnitSystem) -> Markup {
    html! { div.wide { table {
        thead { tr {
            th scope="col" { "" } th scope="col" { "field" }
            @if years.into.is_some() { th scope="col" { "in the target" } }
            th scope="col" { "days" } th scope="col" { "releases" } th scope="col" { "drift, half" } th scope="col" { "90 %" }
            th scope="col" { "toward" } th scope="col" { "water" } th scope="col" { "what decides" }
        } }
        tbody { @for field in years.fields.iter().take(LISTED) { tr {
            @let [median, most, toward] = drift(&field.year, units);
            td { (field.rank) } th scope="row" { bdi { (field.name) } }
            @if years.into.is_some() { td { @if let Some(into) = field.into { (bounds(into)) } } }
            td { (bounds(field.year.usable_days)) } td { (bounds(field.year.usable)) }
            td { (median) } td { (most) } td { (toward) } td { (bounds(field.water)) }
            td { (deciding(&field.year.counts, 2)) }
        } } }
    } }
    @if years.fields.len() > LISTED {
        p { "The best " (LISTED) " of " (years.fields.len()) " fields; the others are in the table of the command." }
    } }
}

fn field_section(number: usize, field: &FieldYears, years: &Years, units: UnitSystem) -> Markup {
    let id = |what: &str| format!("{what}-{number}");
    let picture = |what: &str, picture: crate::report::pictures::picture::Picture, title: &str| {
        picture.described(&id(what), title, title)
    };
    // Whichever way they left, where they came down is not known.
    let left = field.left_region + field.left_hours;
    html! {
        h2 { bdi { (field.name) } }
        p { (field.position.text()) ": " (bounds(field.year.usable_days)) " of the days and " (bounds(field.year.usable))
            " of the releases are within the limits." }
        div.pictures {
            @if let Some(of_year) = &field.year.drift {
                figure {
                    (picture("rose", rose(of_year), "Where flights drift to"))
                    figcaption { "Where flights drift to, from the field in the middle: the longer a sector, the more releases; what is dark and green of it is within the limits." }
                }
            }
            figure {
                (picture("hours", month_hours(field), "Releases within the limits by month and hour"))
                figcaption { "Releases within the limits by month and hour. " (basis_zone(years)) }
            }
            figure {
                (picture("map", map(field, units), "Where flights come down"))
                figcaption {
                    "Where all flights come down, the darker the likelier; 99 % of those that came down are in it."
                    @if left > 0.0 { " " (words::share(left)) " of the flights left the winds: any cell may be likelier by that much." }
                }
            }
        }
        (months(field, units))
        h3 { "Where flights come down" }
        (landings(field, years, units))
        @let unknown = what_is_unknown(&field.year.counts);
        @if !unknown.is_empty() { h3 { "Nothing is known" } (lines(unknown)) }
    }
}

fn basis_zone(years: &Years) -> String {
    let zone = years.basis.timezone.iana_name().unwrap_or("UTC");
    format!("Hours on the clock of {zone}.")
}

fn months(field: &FieldYears, units: UnitSystem) -> Markup {
    html! { div.wide { table {
        thead { tr {
            th scope="col" { "" } th scope="col" { "releases" } th scope="col" { "within" } th scope="col" { "days" } th scope="col" { "of 90 %" }
            th scope="col" { "drift, half" } th scope="col" { "90 %" } th scope="col" { "toward" } th scope="col" { "days a week" }
            th scope="col" { "wait" } th scope="col" { "what decides" }
        } }
        tbody { @for season in field.months.iter().chain([&field.year]) { (season_row(season, units)) } }
    } } }
}

fn season_row(season: &Season, units: UnitSystem) -> Markup {
    let [median, most, toward] = drift(season, units);
    html! { tr {
        th scope="row" { (month(season.month)) } td { (season.counts.releases) } td { (bounds(season.usable)) }
        td { (bounds(season.usable_days)) }
        td { @if let Some(years) = &season.between_years {
            (format!("{:.0} to {:.0} %", 100.0 * years.interval[0], 100.0 * years.interval[1]))
        } @else { "?" } }
        td { (median) } td { (most) } td { (toward) }
        td { @if let Some(weeks) = &season.weeks { (weeks.spread.map(|days| format!("{days:.0}")).join(" ")) } @else { "?" } }
        td { (wait(season)) } td { (deciding(&season.counts, 3)) }
    } }
}

fn landings(field: &FieldYears, years: &Years, units: UnitSystem) -> Markup {
    html! { table { tbody {
        @if let Some(into) = field.into {
            tr { th scope="row" { @if years.into.is_some() { "in the target" } @else { "in the areas to land in" } } td { (bounds(into)) } }
        }
        tr { th scope="row" { "in water" } td { (bounds(field.water)) } }
        @for hit in &field.hits { tr {
            th scope="row" { (hit.name) @if hit.within_m > 0.0 { " (within " (words::far(hit.within_m, units)) ")" } }
            td { (bounds(hit.share)) @if hit.coarse { " by a coarse map or one of a part: at the least" } }
        } }
    } } }
}
