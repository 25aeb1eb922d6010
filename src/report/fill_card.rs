//! The launch-day card, as plain text and as a page to print.

use std::fmt::Write as _;

use super::fill_words::{
    CAUTIONS, COLD_GAUGE, about, cylinders_are, cylinders_used, filler, fits, gas_name,
    measured_sum, rate_bounds, release, title, weight_to_hang,
};
use super::findings::concern;
use super::picture::escaped;
use super::zone_table::wrapped;
use crate::fill::Fill;
use crate::fill::answer::{LedgerItem, LiftRowKind};
use crate::fill::checklist::Checklist;
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
            LiftRowKind::Target => "target",
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

const RELEASE: &str = "Released at (exact, to the second, with time zone)";
const WIND: &str = "A gust makes the reading false: test in a lull, straight up, three times. With a spring scale: true lift = reading x cos(lean).";

/// The card as plain text.
pub fn text(fill: &Fill, list: &Checklist, units: UnitSystem) -> String {
    let mut text = format!(
        "{}\nplanned release {}\n\n",
        title(fill, "Launch-day card").to_uppercase(),
        release(fill)
    );
    for finding in &fill.findings {
        let head = if finding.stops {
            "DO NOT FLY"
        } else {
            "LOOK AGAIN"
        };
        text += &named(head, &concern(&finding.concern, units));
    }
    let _ = writeln!(
        text,
        "{RELEASE}:\n\n    ____ - ____ - ____    ____ : ____ : ____    zone ________\n"
    );
    for (name, value) in numbers(fill, units) {
        text += &named(name, &value);
    }
    let _ = writeln!(
        text,
        "\n{:30}{:>12}{:>12}{:>14}",
        "MASSES", "planned", "measured", "re-weighed"
    );
    for item in &fill.ledger.items {
        let planned = item
            .planned_kg
            .map_or_else(|| "-".into(), |kg| units.item_mass(kg));
        let measured = match item.measured {
            true => units.item_mass(item.mass_kg),
            false => "-".into(),
        };
        let name: String = item.name.chars().take(29).collect();
        let row = format!(
            "{name:30}{planned:>12}{measured:>12}{:>14}  {}",
            "________",
            about_lines(item, units)
        );
        let _ = writeln!(text, "{}", row.trim_end());
    }
    let _ = writeln!(
        text,
        "{:30}{:>12}{:>12}{:>14}",
        "all below the neck",
        units.item_mass(fill.ledger.planned_kg),
        measured_sum(fill, units).unwrap_or_else(|| "-".into()),
        "________"
    );
    let _ = writeln!(
        text,
        "\n{:26}{:>12}{:>14}",
        "IT JUST LIFTS", "rises", "bursts at*"
    );
    for [weight, rate, burst, which] in lift_rows(fill, units) {
        let row = format!("{weight:>26}{rate:>12}{burst:>14}  {which}");
        let _ = writeln!(text, "{}", row.trim_end());
    }
    text += "* above sea level\n";
    text += &paragraph(WIND, "");
    for part in &list.parts {
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
    text += "\nCAUTIONS\n";
    for caution in CAUTIONS {
        text += &paragraph(caution, "- ");
    }
    let _ = writeln!(
        text,
        "\nwindfall {}; assumed numbers are listed by `windfall fill`",
        fill.version
    );
    text
}

/// Length and strength of lines; faces of boxes matter to rules, not on the morning.
fn about_lines(item: &LedgerItem, units: UnitSystem) -> String {
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

const STYLE: &str = "\
@page { size: A4; margin: 10mm 12mm }
* { box-sizing: border-box }
body { font: 9.6pt/1.25 'DejaVu Sans', Verdana, sans-serif; color: #000; background: #fff; max-width: 186mm; margin: 0 auto; padding: 4mm 0 }
h1 { font-size: 17pt; margin: 0 }
h2 { font-size: 11pt; margin: 3mm 0 1mm; border-bottom: 1.5pt solid #000; break-after: avoid }
p { margin: 1mm 0 }
.stop { border: 2.5pt solid #000; padding: 2mm 3mm; margin: 2mm 0; font-weight: bold }
.release { border: 1.5pt solid #000; padding: 2mm 3mm; margin: 3mm 0; height: 15mm }
.large { display: grid; grid-template-columns: 1fr 1fr 1.4fr; gap: 2mm }
.large div { border: 1pt solid #000; padding: 1.5mm 2.5mm }
.large b { display: block; font-size: 13pt; line-height: 1.2 }
dl { display: grid; grid-template-columns: 38mm 1fr; gap: 0.6mm 2mm; margin: 2mm 0 }
dt { font-weight: bold } dd { margin: 0 }
table { border-collapse: collapse; width: 100%; break-inside: avoid }
td, th { border: 0.5pt solid #777; padding: 0.35mm 1.5mm; text-align: right; font-variant-numeric: tabular-nums }
td:first-child, th:first-child { text-align: left }
th { background: #eee } .chosen td { font-weight: bold; background: #eee } .fill { width: 32mm }
section { break-inside: avoid }
ul { list-style: none; margin: 0; padding: 0 }
li { padding-left: 7mm; position: relative; margin: 0.9mm 0 }
li::before { content: ''; position: absolute; left: 0; top: 0.4mm; width: 4mm; height: 4mm; border: 1pt solid #000 }
.cautions li::before { border: 0; content: '\\2013'; width: auto; height: auto }
footer { margin-top: 3mm; font-size: 8pt }
";

/// The card as a page to print: whole in itself, two or three sheets of A4.
pub fn html(fill: &Fill, list: &Checklist, units: UnitSystem) -> String {
    let title = escaped(&title(fill, "Launch-day card"));
    let mut page = format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" content=\"width=device-width\">\n<title>{title}</title>\n<style>\n{STYLE}</style>\n</head>\n<body>\n<h1>{title}</h1>\n<p>planned release {}</p>\n",
        escaped(&release(fill))
    );
    for finding in &fill.findings {
        let head = if finding.stops {
            "DO NOT FLY"
        } else {
            "LOOK AGAIN"
        };
        let _ = writeln!(
            page,
            "<div class=\"stop\">{head}: {}</div>",
            escaped(&concern(&finding.concern, units))
        );
    }
    let _ = writeln!(page, "<div class=\"release\">{RELEASE}:</div>");
    let numbers = numbers(fill, units);
    let (large, rest) = numbers.split_at(3);
    page += "<div class=\"large\">\n";
    for (name, value) in large {
        let _ = writeln!(page, "<div>{name}<b>{}</b></div>", escaped(value));
    }
    page += "</div>\n<dl>\n";
    for (name, value) in rest {
        let _ = writeln!(page, "<dt>{name}</dt><dd>{}</dd>", escaped(value));
    }
    page += "</dl>\n";
    page += &html_masses(fill, units);
    page += &html_lift(fill, units);
    for part in &list.parts {
        let _ = writeln!(page, "<section><h2>{}</h2>\n<ul>", escaped(&part.heading));
        for item in &part.items {
            let _ = writeln!(page, "<li>{}</li>", escaped(item));
        }
        page += "</ul></section>\n";
    }
    page += "<section><h2>Who to call</h2>\n<table>\n";
    for call in &list.calls {
        let (who, number) = (escaped(&call.who), escaped(&call.number));
        let _ = writeln!(
            page,
            "<tr><td>{who}</td><td style=\"width:60%\">{number}&nbsp;</td></tr>"
        );
    }
    page += "</table></section>\n<section><h2>Cautions</h2>\n<ul class=\"cautions\">\n";
    for caution in CAUTIONS {
        let _ = writeln!(page, "<li>{}</li>", escaped(caution));
    }
    let _ = write!(
        page,
        "</ul></section>\n<footer>windfall {}; assumed numbers are listed by <code>windfall fill</code></footer>\n</body>\n</html>\n",
        fill.version
    );
    page
}

fn html_masses(fill: &Fill, units: UnitSystem) -> String {
    let mut table = "<section><h2>Masses</h2>\n<table>\n<tr><th></th><th>planned</th><th>measured</th><th class=\"fill\">re-weighed</th></tr>\n".to_owned();
    let mut row = |name: &str, planned: String, measured: String| {
        let name = escaped(name);
        let _ = writeln!(
            table,
            "<tr><td>{name}</td><td>{planned}</td><td>{measured}</td><td></td></tr>"
        );
    };
    for item in &fill.ledger.items {
        let planned = item
            .planned_kg
            .map_or_else(String::new, |kg| units.item_mass(kg));
        let measured = match item.measured {
            true => units.item_mass(item.mass_kg),
            false => String::new(),
        };
        let name = match about_lines(item, units).as_str() {
            "" => item.name.clone(),
            about => format!("{} ({about})", item.name),
        };
        row(&name, planned, measured);
    }
    let measured = measured_sum(fill, units).unwrap_or_default();
    row(
        "all below the neck",
        units.item_mass(fill.ledger.planned_kg),
        measured,
    );
    table + "</table></section>\n"
}

fn html_lift(fill: &Fill, units: UnitSystem) -> String {
    let mut table = "<section><h2>Lift test</h2>\n<table>\n<tr><th>it just lifts</th><th>rises at release</th><th>bursts at, above sea level</th><th></th></tr>\n".to_owned();
    for [weight, rate, burst, which] in lift_rows(fill, units) {
        let class = match which.as_str() {
            "target" => " class=\"chosen\"",
            _ => "",
        };
        let _ = writeln!(
            table,
            "<tr{class}><td>{weight}</td><td>{rate}</td><td>{burst}</td><td>{which}</td></tr>"
        );
    }
    let _ = write!(table, "</table>\n<p>{}</p></section>\n", escaped(WIND));
    table
}
