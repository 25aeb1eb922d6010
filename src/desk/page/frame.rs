//! What is around every page.

use maud::{DOCTYPE, Markup, html};

use crate::desk::show::encoded;
use crate::desk::state::View;
use crate::desk::words::{self, Station};
use crate::units::UnitSystem;

/// A page.
pub fn document(title: &str, view: View, here: &str, body: Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                link rel="icon" href="data:,";
                link rel="stylesheet" href="/desk.css";
                script src="/desk.js" defer {}
            }
            body data-words=(script_words()) {
                a.skip href="#main" { (words::SKIP) }
                header.top {
                    a.name href="/" { (words::DESK) }
                    (view_form(view, here))
                    form method="post" action="/close" { button { (words::CLOSE) } }
                }
                (body)
                footer { p { (words::AID) } }
            }
        }
    }
}

/// The words of the script, as it reads them.
fn script_words() -> String {
    let words: std::collections::BTreeMap<_, _> = words::SCRIPT.into_iter().collect();
    serde_json::to_string(&words).unwrap_or_default()
}

/// Units and clocks, for all pages.
fn view_form(view: View, here: &str) -> Markup {
    let units = match view.units {
        None => "",
        Some(UnitSystem::Metric) => "metric",
        Some(UnitSystem::Us) => "us",
    };
    let clock = if view.utc { "utc" } else { "" };
    let option = |value: &str, label: &str, now: &str| {
        html! { option value=(value) selected[value == now] { (label) } }
    };
    html! {
        form.view method="post" action="/view" aria-label=(words::VIEW) {
            input type="hidden" name="here" value=(here);
            label {
                (words::VIEW_UNITS) " "
                select name="units" {
                    (option("", words::AS_PLANNED, units))
                    (option("metric", words::choice("", "metric"), units))
                    (option("us", words::choice("", "us"), units))
                }
            }
            label {
                (words::VIEW_CLOCK) " "
                select name="clock" {
                    (option("", words::SITE_CLOCK, clock))
                    (option("utc", "UTC", clock))
                }
            }
            button { (words::VIEW_BUTTON) }
        }
    }
}

/// A page that says one thing.
pub fn note(title: &str, view: View, said: Markup, back: Option<&str>) -> Markup {
    let body = html! {
        main #main {
            h1 { (title) }
            (said)
            @if let Some(back) = back { p { a href=(back) { (words::BACK) } } }
        }
    };
    document(title, view, "/", body)
}

/// The address of a plan's page, at a station.
pub fn address(name: &str, station: Option<Station>) -> String {
    let at = station.map_or(String::new(), |s| format!("#{}", s.id()));
    format!("/plan?name={}{at}", encoded(name))
}
