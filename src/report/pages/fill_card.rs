//! The launch-day card, as plain text and as a page to print.

use std::fmt::Write as _;

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::fill::Fill;
use crate::fill::answer::{LedgerItem, LiftRowKind};
use crate::fill::checklist::Checklist;
use crate::report::cautions::{COLD_GAUGE, LIFT_TEST, filling};
use crate::report::fill_words::{
    LOOK_AGAIN, about, cylinders_are, cylinders_used, filler, fits, gas_name, heading,
    measured_sum, rate_bounds, release, title, weight_to_hang,
};
use crate::report::findings::concern;
use crate::report::layout::wrapped;
use crate::report::markup::document;
use crate::report::palette;
use crate::report::{plain, warnings};
use crate::units::{UnitSystem, duration};

/// What the card says in its box of numbers: name and value, the first three in large.
fn numbers(fill: &Fill, units: UnitSystem) -> Vec<(&'static str, String)> {
    let [low, target, high] = weight_to_hang(&fill.lift_test, units);
    let mut numbers = vec![
        ("Hang on the filler", target),
        (
            "Gas at the site",
            format!(
                "{} of {}",
                units.volume(fill.lift.volume_m3),
                gas_name(fill.balloon.gas.gas)
            ),
        ),
        ("Cylinders", cylinders_used(&fill.cylinders, units)),
        (
            "Too little, too much",
            format!("{low} to {high}; {}", filler(&fill.lift_test, units)),
        ),
        ("Cylinders are", cylinders_are(&fill.cylinders, units)),
        ("Cold gauge", COLD_GAUGE.to_owned()),
        (
            "Across at release",
            format!(
                "{}{}; balloon of {}",
                units.size(fill.lift.release_diameter_m),
                fits(fill, units).map_or_else(String::new, |fits| format!(", {fits}")),
                units.balloon(fill.balloon.mass_kg)
            ),
        ),
    ];
    if let Some(flight) = &fill.flight {
        numbers.push((
            "Flight",
            format!(
                "rises at {} at release ({}); bursts near {} above sea level after {}; down after {}",
                units.vertical_speed(flight.release_rate_m_s),
                rate_bounds(flight, units),
                units.height(flight.burst_m),
                duration(flight.rise_s),
                duration(flight.rise_s + flight.fall_s)
            ),
        ));
    }
    numbers
}

/// What to stop at before anything is filled: what was found, and what is not known of the site.
fn stops(fill: &Fill, units: UnitSystem) -> Vec<(&'static str, String)> {
    let found = fill.findings.iter();
    let found = found.map(|finding| (heading(finding), concern(&finding.concern, units)));
    let doubts = warnings::lines(&warnings::of_fill(fill), units);
    let doubts = doubts.into_iter().map(|line| (LOOK_AGAIN, line));
    found.chain(doubts).collect()
}

/// Rows of the lift test for the card: weight, rate, burst.
fn lift_rows(fill: &Fill, units: UnitSystem) -> Vec<[String; 4]> {
    let rows = fill.lift_test.rows.iter();
    rows.map(|row| {
        let [rate, burst] = match row.flight {
            Some(flight) => [
                units.vertical_speed(flight.release_rate_m_s),
                units.height(flight.burst_m),
            ],
            None => ["no flight".to_owned(), "-".to_owned()],
        };
        let which = match row.which {
            LiftRowKind::Target => TARGET,
            LiftRowKind::Bound => "bound",
            LiftRowKind::Asked => "as lifted",
            LiftRowKind::Other => "",
        };
        [
            units.both_weights(row.hang_kg),
            rate,
            burst,
            which.to_owned(),
        ]
    })
    .collect()
}

const TARGET: &str = "target";
const ALL: &str = "all below the neck";
const RELEASE: &str = "Released at (exact, to the second, with time zone)";

/// The card as plain text.
pub fn text(fill: &Fill, list: &Checklist, units: UnitSystem) -> String {
    let mut text = format!(
        "{}\nplanned release {}\n\n",
        title(fill, "Launch-day card").to_uppercase(),
        release(fill)
    );
    for (head, said) in stops(fill, units) {
        text += &named(head, &said);
    }
    for (name, value) in numbers(fill, units) {
        text += &named(name, &value);
    }
    text += "\nCAUTIONS\n";
    for caution in filling(fill.balloon.gas.gas) {
        text += &paragraph(caution, "- ");
    }
    text += &masses_in_text(fill, units);
    text += &lift_in_text(fill, units);
    for part in list.parts_for(fill.balloon.gas.gas) {
        let _ = writeln!(text, "\n{}", part.heading.to_uppercase());
        for item in &part.items {
            text += &paragraph(item, "[ ] ");
        }
    }
    text += "\nWHO TO CALL\n";
    for call in &list.calls {
        let number = match call.number.as_str() {
            "" => "______________________",
            number => number,
        };
        let _ = writeln!(text, "    {:36}{number}", call.who);
    }
    let _ = writeln!(
        text,
        "\n{RELEASE}:\n\n    ____ - ____ - ____    ____ : ____ : ____    zone ________"
    );
    let _ = writeln!(
        text,
        "\nwindfall {}; assumed numbers are listed by `windfall fill`",
        fill.version
    );
    plain::text(&text).into_owned()
}

fn masses_in_text(fill: &Fill, units: UnitSystem) -> String {
    let row = |name: &str, planned: &str, measured: &str, about: &str| {
        let row = format!(
            "{name:30}{planned:>12}{measured:>12}{:>14}  {about}",
            "________"
        );
        row.trim_end().to_owned() + "\n"
    };
    let mut text = format!(
        "\n{:30}{:>12}{:>12}{:>14}\n",
        "MASSES", "planned", "measured", "re-weighed"
    );
    for item in &fill.ledger.items {
        // A blank would pass for a box to fill in, which is the last column.
        let [planned, measured] = weighed(item, units).map(|m| m.unwrap_or_else(|| "-".into()));
        // One less than the column, so that no name touches the number behind it.
        let name: String = item.name.chars().take(29).collect();
        text += &row(&name, &planned, &measured, &about_lines(item, units));
    }
    let planned = units.item_mass(fill.ledger.planned_kg);
    let measured = measured_sum(fill, units).unwrap_or_else(|| "-".into());
    text + &row(ALL, &planned, &measured, "")
}

fn lift_in_text(fill: &Fill, units: UnitSystem) -> String {
    let mut text = format!(
        "\n{:26}{:>15}{:>14}\n",
        "IT JUST LIFTS", "rises", "bursts at*"
    );
    for [weight, rate, burst, which] in lift_rows(fill, units) {
        let row = format!("{weight:>26}{rate:>15}{burst:>14}  {which}");
        let _ = writeln!(text, "{}", row.trim_end());
    }
    text += "* above sea level\n";
    text + &paragraph(LIFT_TEST, "")
}

/// The planned and the measured mass of an item, as far as there is one.
fn weighed(item: &LedgerItem, units: UnitSystem) -> [Option<String>; 2] {
    let measured = item.measured.then_some(item.mass_kg);
    [item.planned_kg, measured].map(|kg| Some(units.item_mass(kg?)))
}

/// Length and strength of lines; faces of boxes matter to rules, not on the morning.
fn about_lines(item: &LedgerItem, units: UnitSystem) -> String {
    // Packages alone have an energy of impact, so it tells them from lines.
    match item.impact_j {
        Some(_) => String::new(),
        None => about(item, units),
    }
}

/// A name in the margin with its value beside it.
fn named(name: &str, value: &str) -> String {
    let mut text = String::new();
    for (i, line) in wrapped(value, 66).iter().enumerate() {
        let _ = writeln!(text, "{:24}{line}", if i == 0 { name } else { "" });
    }
    text
}

/// A paragraph whose first line begins with a mark.
fn paragraph(text: &str, mark: &str) -> String {
    let mut out = String::new();
    for (i, line) in wrapped(text, 90 - mark.len()).iter().enumerate() {
        let head = if i == 0 {
            mark
        } else {
            &" ".repeat(mark.len())
        };
        let _ = writeln!(out, "{head}{line}");
    }
    out
}

const STYLE: &str = include_str!("card.css");

/// The card as a page to print: whole in itself, two or three sheets.
pub fn html(fill: &Fill, list: &Checklist, units: UnitSystem) -> String {
    let title = title(fill, "Launch-day card");
    let numbers = numbers(fill, units);
    let (large, rest) = numbers.split_at(3);
    let page = html! {
        (DOCTYPE) "\n"
        html lang="en" { "\n"
            head { "\n"
                meta charset="utf-8"; "\n"
                meta name="viewport" content="width=device-width"; "\n"
                title { (title) } "\n"
                style { "\n" (PreEscaped(palette::card_style())) (PreEscaped(STYLE)) (PreEscaped(paper(units))) } "\n"
            } "\n"
            body { "\n"
                h1 { (title) } "\n"
                p { "planned release " (release(fill)) } "\n"
                @for (head, said) in stops(fill, units) { div.stop { (head) ": " (said) } "\n" }
                div.large { "\n"
                    @for (name, value) in large { div { (name) b { (value) } } "\n" }
                } "\n"
                dl { "\n"
                    @for (name, value) in rest { dt { (name) } dd { (value) } "\n" }
                } "\n"
                (cautions(fill)) "\n"
                (masses(fill, units)) "\n"
                (lift_test(fill, units)) "\n"
                @for part in list.parts_for(fill.balloon.gas.gas) { (checks(&part.heading, &part.items)) "\n" }
                (who_to_call(list)) "\n"
                div.release { (RELEASE) ":" } "\n"
                footer {
                    "windfall " (fill.version) "; assumed numbers are listed by "
                    code { "windfall fill" }
                } "\n"
            } "\n"
        } "\n"
    };
    document(page)
}

fn masses(fill: &Fill, units: UnitSystem) -> Markup {
    let row = |name: &str, planned: Option<String>, measured: Option<String>| {
        html! { tr { td { (name) } td { @if let Some(kg) = planned { (kg) } } td { @if let Some(kg) = measured { (kg) } } td {} } "\n" }
    };
    let planned = units.item_mass(fill.ledger.planned_kg);
    html! {
        section {
            h2 { "Masses" } "\n"
            table { "\n"
                tr { th {} th { "planned" } th { "measured" } th.fill { "re-weighed" } } "\n"
                @for item in &fill.ledger.items {
                    @let [planned, measured] = weighed(item, units);
                    (row(&with_about(item, units), planned, measured))
                }
                (row(ALL, Some(planned), measured_sum(fill, units)))
            }
        }
    }
}

fn with_about(item: &LedgerItem, units: UnitSystem) -> String {
    match about_lines(item, units).as_str() {
        "" => item.name.clone(),
        about => format!("{} ({about})", item.name),
    }
}

fn lift_test(fill: &Fill, units: UnitSystem) -> Markup {
    html! {
        section {
            h2 { "Lift test" } "\n"
            table { "\n"
                tr { th { "it just lifts" } th { "rises at release" } th { "bursts at, above sea level" } th {} } "\n"
                @for row in lift_rows(fill, units) {
                    tr class=[(row[3] == TARGET).then_some("chosen")] {
                        @for cell in &row { td { (cell) } }
                    } "\n"
                }
            } "\n"
            p { (LIFT_TEST) }
        }
    }
}

fn checks(heading: &str, items: &[String]) -> Markup {
    html! {
        section {
            h2 { (heading) } "\n"
            ul { "\n" @for item in items { li { (item) } "\n" } }
        }
    }
}

/// Before the work, not after it.
fn cautions(fill: &Fill) -> Markup {
    html! {
        section {
            h2 { "Cautions" } "\n"
            ul.cautions { "\n"
                @for caution in filling(fill.balloon.gas.gas) { li { (caution) } "\n" }
            }
        }
    }
}

/// The paper that people with such units print on.
fn paper(units: UnitSystem) -> &'static str {
    match units {
        UnitSystem::Metric => "@page { size: A4 }",
        UnitSystem::Us => "@page { size: letter }",
    }
}

fn who_to_call(list: &Checklist) -> Markup {
    html! {
        section {
            h2 { "Who to call" } "\n"
            table { "\n"
                @for call in &list.calls {
                    tr { td { (call.who) } td style="width:60%" { (call.number) "\u{a0}" } } "\n"
                }
            }
        }
    }
}
