//! A flight beside its prediction as a page: whole in itself, for the club's folder.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::debrief::Debrief;
use crate::plan::Plan;
use crate::report::cautions::AID;
use crate::report::files::debrief::record;
use crate::report::markup::document;
use crate::report::pages::brief::STYLE;
use crate::report::palette;
use crate::report::pictures::debrief::causes;
use crate::report::pictures::map::debrief::{landed, title};
use crate::report::pictures::picture::Picture;
use crate::report::tables::debrief::{
    WORTH, cause_name, in_the_rest, lines, lines_for_next, sides, winds_teach, worth,
};
use crate::report::words::date;
use crate::units::UnitSystem;

/// Nothing may be loaded from anywhere, and nothing runs.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'";

/// The page, with the map as it was drawn.
pub fn text(d: &Debrief, plan: &Plan, map: &Picture, units: UnitSystem) -> String {
    let title = title(d);
    document(html! {
        (DOCTYPE) "\n"
        html lang="en" { "\n"
            head { "\n"
                meta charset="utf-8"; "\n"
                meta name="viewport" content="width=device-width, initial-scale=1"; "\n"
                meta http-equiv="Content-Security-Policy" content=(POLICY); "\n"
                title { (title) ": flight beside its prediction" } "\n"
                link rel="icon" href="data:,"; "\n"
                style { "\n" (PreEscaped(palette::page_style())) (PreEscaped(STYLE)) } "\n"
            } "\n"
            body { "\n"
                header { "\n"
                    h1 dir="auto" { bdi { (title) } } "\n"
                    p.lead { (lead(d, plan, units)) } "\n"
                } "\n"
                main { "\n"
                    (map_section(d, map, units))
                    (section("flight", "The flight", &flight(d, plan, units)))
                    (section("causes", "What caused the miss", &miss(d, units)))
                    (section("next", "For the next plan", &next(d, plan, units)))
                    (section("record", "For the records", &for_records(d)))
                } "\n"
                footer { p.small { "windfall " (d.zone.version) ", " (d.draws) " draws, seed " (d.zone.seed) ". " (AID) } } "\n"
            } "\n"
        } "\n"
    })
}

fn section(id: &str, title: &str, content: &Markup) -> Markup {
    html! {
        section aria-labelledby=(id) { "\n" h2 id=(id) { (title) } "\n" (content) } "\n"
    }
}

/// The miss in one sentence.
fn lead(d: &Debrief, plan: &Plan, units: UnitSystem) -> Markup {
    let held = match d.held.as_ref().map(|h| h.ellipse) {
        Some(Some(p)) => format!(", inside the {:.0} % ellipse", 100.0 * p),
        Some(None) => ", outside every ellipse".to_owned(),
        None => String::new(),
    };
    html! {
        (date(d.measured.released, &plan.timezone)) ": it " (landed(d)) " "
        strong { (units.distance(d.miss_m)) } " from the planned landing ("
        (sides(d.along_across_m, units)) ")" (held) "."
    }
}

fn map_section(d: &Debrief, map: &Picture, units: UnitSystem) -> Markup {
    // Read out to those who do not see the map.
    let said = format!(
        "Planned landing at {}, {} at {}: {} away, {}.",
        d.planned_landing.position.text(),
        landed(d),
        d.landing.position.text(),
        units.distance(d.miss_m),
        sides(d.along_across_m, units)
    );
    let map = html! {
        figure { "\n"
            div.map { "\n" (map.described("map", "Map of the flight beside its zone", &said)) } "\n"
            figcaption { "North is up, true. Short and long are along the planned drift, left and right seen along it." } "\n"
        } "\n"
    };
    section("map-heading", "Map", &map)
}

fn flight(d: &Debrief, plan: &Plan, units: UnitSystem) -> Markup {
    html! {
        table { "\n"
            tbody { "\n"
                @for (name, what) in lines(d, plan, units) {
                    tr { th scope="row" { (name) } td { (what) } } "\n"
                }
            } "\n"
        } "\n"
    }
}

fn miss(d: &Debrief, units: UnitSystem) -> Markup {
    html! {
        @if d.causes.is_empty() {
            p { "It cannot be said: flown again as measured, it leaves the winds." }
        } @else {
            p { "The plan flown again, one measured part after the other; what is left is the winds." } "\n"
            figure.chart { "\n"
                (causes(d, units).described("bars", "Parts of the miss", "Bars of the parts of the miss; the table below has the same numbers."))
            } "\n"
            table { "\n"
                thead { tr { th scope="col" { "from" } th scope="col" { "moved it by" } th scope="col" { "along and across the drift" } } } "\n"
                tbody { "\n"
                    @for part in &d.causes {
                        @let [along, across] = part.along_across_m;
                        tr {
                            th scope="row" { (cause_name(part.cause)) }
                            td { (units.distance(along.hypot(across))) }
                            td { (sides(part.along_across_m, units)) }
                        } "\n"
                    }
                } "\n"
            } "\n"
            @if let Some(said) = in_the_rest(&d.measured) { p { (said) } "\n" }
            @if let Some(said) = winds_teach(d.winds_teach) { p { (said) } "\n" }
        }
    }
}

fn next(d: &Debrief, plan: &Plan, units: UnitSystem) -> Markup {
    html! {
        pre tabindex="0" aria-label="Lines for the next plan" { (lines_for_next(d)) } "\n"
        h3 { (WORTH) } "\n"
        ul { "\n" @for said in worth(d, plan, units) { li { (said) } "\n" } } "\n"
    }
}

fn for_records(d: &Debrief) -> Markup {
    html! {
        p { "The same row as the table that " code { "--out record.csv" } " writes: metres, seconds, degrees, shares." } "\n"
        table.record { "\n"
            tbody { "\n"
                @for (name, value) in record(d) {
                    tr { th scope="row" { (name) } td { (value) } } "\n"
                }
            } "\n"
        } "\n"
    }
}
