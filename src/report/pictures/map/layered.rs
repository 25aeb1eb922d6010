//! The same map for a page that moves it, switches its layers and draws the flight anew while somebody types:
//! the ground apart from the flight, each thing in a layer with a name.

use jiff::tz::TimeZone;
use maud::{Markup, html};

use super::ground::{KeyEntries, LAYERS};
use super::labels::Labels;
use super::sheet::Sheet;
use super::{flight, furniture, ground, names, relief};
use crate::brief::Wait;
use crate::brief::answer::MapGround;
use crate::geodesy::Position;
use crate::report::palette::{INK, PAPER};
use crate::report::pictures::picture::{Look, Paint, Picture};
use crate::units::UnitSystem;
use crate::zone::Zone;

/// Width and height, units.
pub const SIDE: f64 = 720.0;

/// The sheet that reaches `half_m` to each side of a centre.
pub fn sheet(center: Position, half_m: f64) -> Sheet {
    Sheet::around(center, half_m, SIDE)
}

/// The ground.
pub fn below(sheet: &Sheet, shown: &MapGround, units: UnitSystem) -> Markup {
    let mut body = Picture::new(SIDE, SIDE);
    body.define(ground::patterns());
    if let Some(terrain) = &shown.terrain {
        body.layer("relief", |p| {
            relief::draw(p, sheet, terrain);
        });
    }
    let mut drawn = KeyEntries::default();
    for layer in LAYERS {
        body.layer(layer, |p| {
            ground::draw_layer(layer, p, sheet, shown, &mut drawn);
        });
    }
    let mut labels = Labels::new(sheet.size);
    // A fixed one: the flight is drawn apart and changes, so there is nothing to keep clear of.
    let corner = [10.0, 10.0];
    body.layer("grid", |p| {
        let mut grid = furniture::grid(p, sheet);
        super::keep_free(&mut labels, corner, &mut grid, &[]);
        furniture::grid_names(p, &grid);
    });
    let mut airfields = Vec::new();
    body.layer("airfields", |p| {
        airfields = ground::airfields(p, sheet, &shown.airports).1;
    });
    body.layer("names", |p| names(p, sheet, &mut labels, shown, &airfields));
    furniture::scale(&mut body, sheet, corner, units);
    body.inside()
}

/// The zone and the flight.
pub fn above(
    sheet: &Sheet,
    (zone, wait): (&Zone, &Wait),
    timezone: &TimeZone,
    units: UnitSystem,
) -> Markup {
    let mut body = Picture::clear(SIDE, SIDE);
    let mut labels = Labels::new(sheet.size);
    body.layer("contours", |p| flight::contours(p, sheet, zone));
    body.layer("ellipses", |p| {
        flight::ellipses(p, sheet, &mut labels, zone);
    });
    body.layer("track", |p| flight::track(p, sheet, &mut labels, zone));
    // Placed before the names below and drawn after them, so main places come first and on top.
    let mut top = Picture::clear(SIDE, SIDE);
    top.layer("places", |p| {
        flight::places(p, sheet, &mut labels, (zone, wait), timezone);
    });
    // A second part of the layer: names may only stand where the main places left room.
    body.layer("ellipses", |p| {
        flight::region_names(p, sheet, &mut labels, zone);
    });
    body.layer("times", |p| {
        flight::marks(p, sheet, &mut labels, zone, units);
    });
    body.append(&top);
    body.inside()
}

/// Places that were compared, named.
pub fn numbered(sheet: &Sheet, places: &[(String, Position)]) -> Markup {
    let mut body = Picture::clear(SIDE, SIDE);
    let mut labels = Labels::new(sheet.size);
    body.layer("sites", |body| {
        for (name, place) in places {
            let at = sheet.at(*place);
            if sheet.shows(at, 0.0) {
                body.dot(at, 8.0, PAPER);
                body.dot(at, 6.0, INK);
                labels.write(body, at, 9.0, super::sizes::TEXT, name);
            }
        }
    });
    body.inside()
}

/// A release without a flight: its sign alone.
pub fn release(sheet: &Sheet, place: Position) -> Markup {
    let mut body = Picture::clear(SIDE, SIDE);
    let at = sheet.at(place);
    body.dot(at, 10.0, INK);
    body.dot(at, 6.5, PAPER);
    body.dot(at, 3.0, INK);
    body.inside()
}

/// Two zones: the older in dashes, the newer solid.
pub fn two(sheet: &Sheet, rings: [&[Vec<Position>]; 2]) -> Markup {
    let mut body = Picture::clear(SIDE, SIDE);
    for (which, rings) in rings.iter().enumerate() {
        let lines: Vec<Vec<[f64; 2]>> = rings
            .iter()
            .map(|ring| ring.iter().map(|p| sheet.at(*p)).collect())
            .collect();
        let colour = [
            crate::report::palette::CONTOUR,
            crate::report::palette::ELLIPSE,
        ][which];
        let look = Look::area(Paint::Tint(colour, 0.08)).edged(colour, 3.5);
        // Told apart without their colours as well.
        let dashes = ["12 6", ""][which];
        body.path(&lines, true, look.dashed(dashes));
    }
    body.inside()
}

/// The whole earth, a degree in [`WORLD_UNIT`] units, from 180 west and 90 north.
pub fn world(coasts: &[Vec<[f64; 2]>]) -> Markup {
    let lines: Vec<Vec<[f64; 2]>> = coasts
        .iter()
        .map(|line| {
            let at = line.iter().map(|[lon, lat]| [lon + 180.0, 90.0 - lat]);
            at.map(|[x, y]| [x * WORLD_UNIT, y * WORLD_UNIT]).collect()
        })
        .collect();
    let mut body = Picture::new(360.0 * WORLD_UNIT, 180.0 * WORLD_UNIT);
    body.path(&lines, false, Look::line(INK, 0.8));
    body.inside()
}

/// Units to a degree of [`world`].
pub const WORLD_UNIT: f64 = 2.0;

/// What a page calls the layers, and in which order it lists them.
pub const NAMES: [(&str, &str); 15] = [
    ("ellipses", "ellipses"),
    ("contours", "contours"),
    ("track", "the flight"),
    ("times", "heights and minutes"),
    ("places", "release, burst, landing, waiting places"),
    ("sites", "sites compared"),
    ("names", "names"),
    ("roads", "roads"),
    ("water", "water"),
    ("towns", "sea and built-up areas"),
    ("areas", "areas to keep out of and to land in"),
    ("power", "power lines"),
    ("borders", "borders"),
    ("airfields", "airfields"),
    ("grid", "grid"),
];

/// The frame of a map: `below` and `above` go into it.
pub fn frame(id: &str, label: &str, below: &Markup, above: &Markup) -> Markup {
    html! {
        svg id=(id) viewBox={ "0 0 " (SIDE) " " (SIDE) } role="img" aria-label=(label)
            font-family="DejaVu Sans, Verdana, sans-serif" {
            g data-part="below" { (below) }
            g data-part="above" { (above) }
            g data-part="own" {}
        }
    }
}
