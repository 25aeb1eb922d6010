//! The map of a plan's page.

use maud::{Markup, html};

use super::shown::PlanPage;
use crate::desk::words;
use crate::report::pictures::map::layered;

/// The map, and what can be done with it.
pub fn map(page: &PlanPage) -> Markup {
    let now = page.live.as_ref().and_then(|live| live.map.as_ref());
    let none = html! {};
    let modes = [
        ("look", words::MODE_MOVE),
        ("site", words::MODE_SITE),
        ("measure", words::MODE_MEASURE),
        ("target", words::MODE_TARGET),
    ];
    html! {
        figure.map #map-box data-frame=[now.map(|m| m.frame.text())] data-bare=[page.below.is_none().then_some("")] {
            div.tools.scripted {
                button type="button" data-zoom="in" aria-label=(words::NEARER) { "+" }
                button type="button" data-zoom="out" aria-label=(words::FARTHER) { "\u{2212}" }
                button type="button" data-zoom="all" { (words::WHOLE) }
                fieldset.modes {
                    legend { (words::MODES) }
                    @for (mode, label) in modes {
                        label { input type="radio" name="mode" value=(mode) checked[mode == "look"]; " " (label) }
                    }
                }
                button type="button" data-clear="" hidden { (words::CLEAR) }
                button type="button" data-keep="" hidden { (words::KEEP_TARGET) }
            }
            p #map-said role="status" {}
            div.sheet #map-sheet tabindex="0" role="application" aria-label=(words::MAP) aria-describedby="map-help" {
                (layered::frame("map", now.map_or(words::MAP, |m| &m.label), page.below.as_ref().unwrap_or(&none), now.map_or(&none, |m| &m.above)))
            }
            figcaption { small id="map-help" .scripted { (words::MAP_HELP) } }
            div.scripted #along-box hidden {
                label for="along" { (words::ALONG) }
                input #along type="range" min="0" max="1" value="0" step="1" aria-describedby="along-said";
                output id="along-said" for="along" {}
            }
            details.scripted {
                summary { (words::LAYERS) }
                div.layers {
                    @for (layer, label) in layered::NAMES {
                        label.tick { input type="checkbox" data-switch=(layer) checked; " " (label) }
                    }
                }
            }
        }
    }
}
