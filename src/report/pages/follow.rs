//! A flight that is followed as a page: whole in itself, it loads itself again without a server.

use jiff::tz::TimeZone;
use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::brief::answer::WaitingPoint;
use crate::follow::answer::Standing;
use crate::geodesy::Position;
use crate::report::cautions::AID;
use crate::report::follow_words::note;
use crate::report::markup::{Px, document};
use crate::report::palette::{CONTOUR, ELLIPSE, INK, MAP_GRID, PAPER, TEXT};
use crate::report::places::geo_link;
use crate::report::tables;
use crate::report::words::far;
use crate::units::UnitSystem;

/// Seconds until it loads itself again.
const AGAIN_S: u32 = 10;
/// Sides of the picture.
const WIDTH: f64 = 720.0;
const HEIGHT: f64 = 540.0;
const MARGIN: f64 = 40.0;
/// Size of letters in it: on a phone the picture is half as wide.
const LETTERS: u32 = 26;

/// The page.
pub fn text(
    standing: &Standing,
    waiting: &[WaitingPoint],
    zone: &TimeZone,
    units: UnitSystem,
) -> String {
    let title = match standing.name.as_str() {
        "" => "Flight",
        name => name,
    };
    let style = format!(
        "body{{font:16px/1.4 system-ui,sans-serif;color:{TEXT};background:{PAPER};margin:1em auto;max-width:46em;padding:0 .6em}}\
         table{{border-collapse:collapse}}th{{text-align:left;width:7em}}th,td{{vertical-align:top;padding:.15em .4em .15em 0}}svg{{width:100%;height:auto;border:1px solid {MAP_GRID}}}"
    );
    document(html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="refresh" content=(AGAIN_S);
                meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { (PreEscaped(style)) }
            }
            body {
                h1 { bdi { (title) } }
                (standing_now(standing, waiting, zone, units))
            }
        }
    })
}

/// How a flight stands, as a part of a page: the picture, the rows, what is to be known, ways to maps.
pub fn standing_now(
    standing: &Standing,
    waiting: &[WaitingPoint],
    zone: &TimeZone,
    units: UnitSystem,
) -> Markup {
    html! {
        (picture(standing, units))
        table {
            @for (name, value) in tables::follow::rows(standing, waiting, zone, units) {
                tr { th scope="row" { (name) } td { (value) } }
            }
        }
        @for said in &standing.notes {
            p { strong { (note(said, units)) } }
        }
        p { (AID) }
        @if let Some(landing) = &standing.landing {
            p { a href=(geo_link(landing.center)) { "Middle of the zone, for a map on this device" } }
        }
        @if let Some(last) = &standing.last {
            p { a href=(geo_link(last.mark.position)) { "Last place heard, for a map on this device" } }
        }
    }
}

/// Places on the picture, north up.
struct Sheet {
    center: Position,
    metres_a_pixel: f64,
    middle: [f64; 2],
}

impl Sheet {
    /// Holds all places.
    fn around(places: &[Position]) -> Option<Sheet> {
        // Any of them will do: it only has to be near the others.
        let center = *places.first()?;
        let mut sheet = Sheet {
            center,
            metres_a_pixel: 1.0,
            middle: [0.0; 2],
        };
        let at: Vec<[f64; 2]> = places.iter().map(|p| sheet.metres(*p)).collect();
        let bound = |i: usize, pick: fn(f64, f64) -> f64, from: f64| {
            at.iter().map(|p| p[i]).fold(from, pick)
        };
        let low = [0, 1].map(|i| bound(i, f64::min, f64::INFINITY));
        let high = [0, 1].map(|i| bound(i, f64::max, f64::NEG_INFINITY));
        sheet.middle = [0, 1].map(|i| 0.5 * (low[i] + high[i]));
        let wide = (high[0] - low[0]) / (WIDTH - 2.0 * MARGIN);
        let tall = (high[1] - low[1]) / (HEIGHT - 2.0 * MARGIN);
        // Not finer than a metre: before the release all places are one.
        sheet.metres_a_pixel = wide.max(tall).max(1.0);
        Some(sheet)
    }

    /// East and north of the first place, m.
    fn metres(&self, place: Position) -> [f64; 2] {
        // By azimuth and distance: differences of degrees break at the antimeridian.
        let (s, c) = self.center.azimuth_deg(place).to_radians().sin_cos();
        [s, c].map(|part| part * self.center.distance_m(place))
    }

    fn at(&self, place: Position) -> [f64; 2] {
        let m = self.metres(place);
        [
            0.5 * WIDTH + (m[0] - self.middle[0]) / self.metres_a_pixel,
            0.5 * HEIGHT - (m[1] - self.middle[1]) / self.metres_a_pixel,
        ]
    }

    fn points(&self, places: impl Iterator<Item = Position>) -> String {
        let point = |p: Position| {
            let [x, y] = self.at(p);
            format!("{x:.1},{y:.1}")
        };
        places.map(point).collect::<Vec<_>>().join(" ")
    }
}

/// The track, the last fix, the ellipses and the car, north up.
fn picture(standing: &Standing, units: UnitSystem) -> Markup {
    let rings = || standing.landing.iter().flat_map(|l| &l.ellipses);
    // The largest ellipse would make everything else on the picture small.
    let shown = || rings().filter(|e| e.shape.probability <= 0.9);
    let car = standing.from_car.map(|c| c.car);
    let mut places: Vec<Position> = shown().flat_map(|e| e.ring.iter().copied()).collect();
    places.extend(standing.track.iter().map(|m| m.position));
    places.extend(car);
    let search = standing.search.as_ref();
    places.extend(search.iter().flat_map(|s| s.ring.iter().copied()));
    let Some(sheet) = Sheet::around(&places) else {
        return html! { p { "Nothing has been heard yet." } };
    };
    let last = standing.last.as_ref().map(|l| sheet.at(l.mark.position));
    let target = standing.landing.as_ref().map(|l| sheet.at(l.center));
    // Of a hundred pixels at most, so that it stays in its corner.
    let bar_m = nice(100.0 * sheet.metres_a_pixel);
    html! {
        svg viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) role="img" aria-label="Track and landing zone, north up" {
            @for ellipse in shown() {
                polygon points=(sheet.points(ellipse.ring.iter().copied())) fill="none" stroke=(ELLIPSE)
                    stroke-width=(if ellipse.shape.probability > 0.8 { "3" } else { "1.5" }) {}
            }
            polyline points=(sheet.points(standing.track.iter().map(|m| m.position))) fill="none" stroke=(INK) stroke-width="2" {}
            @if let Some(search) = search {
                polygon points=(sheet.points(search.ring.iter().copied())) fill="none" stroke=(CONTOUR)
                    stroke-width="3" stroke-dasharray="8 6" {}
                (label(sheet.at(search.ring[0]), "search"))
            }
            @if let Some([x, y]) = last {
                circle cx=(Px(x)) cy=(Px(y)) r="6" fill=(PAPER) stroke=(INK) stroke-width="3" {}
                (label([x, y - 8.0], "last heard"))
            }
            @if let Some([x, y]) = target {
                path d=(format!("M{:.1} {y:.1}h16M{x:.1} {:.1}v16", x - 8.0, y - 8.0)) stroke=(CONTOUR) stroke-width="3" {}
                (label([x, y + 28.0], "landing"))
            }
            @if let Some([x, y]) = car.map(|c| sheet.at(c)) {
                rect x=(Px(x - 6.0)) y=(Px(y - 6.0)) width="12" height="12" fill=(INK) {}
                (label([x, y + 8.0], "car"))
            }
            path d=(format!("M12 {:.0}h{:.1}", HEIGHT - 12.0, bar_m / sheet.metres_a_pixel)) stroke=(INK) stroke-width="4" {}
            text x="12" y=(Px(HEIGHT - 20.0)) font-size=(LETTERS) { (far(bar_m, units)) ", north up" }
        }
    }
}

/// A word beside a place: to its left where there is no room to the right.
fn label([x, y]: [f64; 2], word: &str) -> Markup {
    // As wide as the longest word, "last heard".
    let (at, anchor) = match x > WIDTH - 160.0 {
        true => (x - 12.0, "end"),
        false => (x + 12.0, "start"),
    };
    html! { text x=(Px(at)) y=(Px(y)) font-size=(LETTERS) text-anchor=(anchor) { (word) } }
}

/// The largest of 1, 2 and 5 times a power of ten that is no more, m.
fn nice(m: f64) -> f64 {
    let power = 10f64.powf(m.max(1.0).log10().floor());
    let steps = [5.0, 2.0, 1.0];
    steps
        .into_iter()
        .map(|s| s * power)
        .find(|v| *v <= m)
        .unwrap_or(power)
}
