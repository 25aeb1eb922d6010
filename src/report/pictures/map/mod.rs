//! The map of a briefing, drawn by us: the ground, the zone, the flight, names that do not cover
//! each other. It is to be read on a phone, and on paper without colour.

pub mod debrief;
pub(in crate::report) mod flight;
mod furniture;
pub mod ground;
pub(in crate::report) mod labels;
pub mod layered;
mod relief;
pub mod sheet;
mod sizes;

use self::furniture::{SCALE_ROOM, Sample};
use self::ground::KeyEntries;
use self::labels::Labels;
use self::sheet::Sheet;
use self::sizes::{SMALL, TEXT, TITLE};
use super::picture::{Anchor, Picture};
use crate::brief::Brief;
use crate::brief::answer::{MapGround, WaitingPoint};
use crate::geodesy::Position;
use crate::ground::airports::Airport;
use crate::report::cautions::AID;
use crate::report::palette::INK;
use crate::report::words;
use crate::units::UnitSystem;
use crate::zone::Zone;

/// Width of the map, units. On a phone a unit is half a pixel.
pub const WIDTH: f64 = 720.0;
/// Room above the sheet, for the heading.
const HEAD: f64 = TITLE + 3.5 * TEXT;
/// Room below the key, for the caution.
const FOOT: f64 = 28.0;
/// Characters of the heading that fit.
const HEADING: usize = 42;
/// Numbers of roads written at most, and how often each.
const MOST_NUMBERS: usize = 40;
const EACH_NUMBER: usize = 2;

/// The sheet that shows a zone, the flight and where to wait.
pub fn sheet(zone: &Zone, waiting: &[WaitingPoint]) -> Sheet {
    sheet_with(zone, waiting.iter().map(|w| w.position))
}

/// The sheet that shows a zone, the flight as planned and other places.
fn sheet_with(zone: &Zone, others: impl Iterator<Item = Position>) -> Sheet {
    // With the ellipse of 99 % on it, the sheet would show the others small.
    let outer = zone.ellipses.iter().filter(|e| e.shape.probability < 0.97);
    let places: Vec<Position> = zone
        .track
        .iter()
        .map(|m| m.position)
        .chain(others)
        .chain(outer.flat_map(|e| e.ring.iter().copied()))
        .collect();
    Sheet::holding(zone.center(), &places, WIDTH)
}

/// Draws the map of a briefing.
pub fn draw(brief: &Brief, units: UnitSystem) -> Picture {
    let sheet = sheet(&brief.zone, &brief.wait.points);
    // What stands below the sheet needs to know what is on it, so that is drawn first.
    let (body, drawn) = body(&sheet, brief, units);
    let samples = furniture::samples(brief, &drawn);
    framed(&sheet, &body, &samples, heading(brief, units))
}

/// A sheet with its heading, a title and two lines, above it, and the key and the caution below.
fn framed(
    sheet: &Sheet,
    body: &Picture,
    samples: &[(Sample, String)],
    heading: [String; 3],
) -> Picture {
    let [wide, high] = sheet.size;
    let key = furniture::key_height(samples);
    let mut picture = Picture::new(wide, HEAD + high + key + FOOT);
    let [title, when, place] = heading;
    let title: String = title.chars().take(HEADING).collect();
    let mut base = 1.15 * TITLE;
    picture.text([8.0, base], TITLE, Anchor::Start, &title);
    for (line, down) in [(when, 1.4), (place, 1.3)] {
        base += down * TEXT;
        picture.text([8.0, base], TEXT, Anchor::Start, &line);
    }
    picture.define(ground::patterns());
    picture.clipping("sheet", [0.0, 0.0], sheet.size);
    picture.lowered(HEAD, |picture| {
        picture.clipped("sheet", |picture| picture.append(body));
        picture.frame([1.0, 1.0, wide - 1.0, high - 1.0], 2.0, INK);
        furniture::key(picture, samples, wide, high + 10.0);
        picture.text([8.0, high + key + 12.0], SMALL, Anchor::Start, AID);
    });
    picture
}

/// The ground on a sheet and the grid over it: what lies below all else.
struct Base {
    picture: Picture,
    drawn: KeyEntries,
    grid: Vec<([f64; 2], Anchor, String)>,
    airfields: Vec<(Airport, [f64; 2])>,
}

impl Base {
    fn of(sheet: &Sheet, shown: &MapGround) -> Base {
        let mut picture = Picture::new(sheet.size[0], sheet.size[1]);
        let terrain = shown.terrain.as_ref();
        let relief = terrain.is_some_and(|terrain| relief::draw(&mut picture, sheet, terrain));
        let mut drawn = ground::draw(&mut picture, sheet, shown);
        let grid = furniture::grid(&mut picture, sheet);
        let (small, airfields) = ground::airfields(&mut picture, sheet, &shown.airports);
        drawn.small_airfields = small;
        drawn.airfields |= !airfields.is_empty();
        drawn.relief = relief;
        Base {
            picture,
            drawn,
            grid,
            airfields,
        }
    }
}

/// The sheet alone, and what of the ground is on it.
fn body(sheet: &Sheet, brief: &Brief, units: UnitSystem) -> (Picture, KeyEntries) {
    let Base {
        picture: mut body,
        drawn,
        mut grid,
        airfields,
    } = Base::of(sheet, &brief.ground);
    let mut labels = Labels::new(sheet.size);
    let zone = &brief.zone;
    flight::contours(&mut body, sheet, zone);
    flight::ellipses(&mut body, sheet, &mut labels, zone);
    flight::track(&mut body, sheet, &mut labels, zone);
    // The main places choose their room first and are drawn last.
    let mut top = Picture::clear(sheet.size[0], sheet.size[1]);
    flight::places(
        &mut top,
        sheet,
        &mut labels,
        (zone, &brief.wait),
        &brief.timezone,
    );
    // After the main places, which it must not cover, and before the names, which can do without.
    let corner = free_corner(sheet, &labels, &shown_points(sheet, brief));
    keep_free(&mut labels, corner, &mut grid, &airfields);
    flight::region_names(&mut body, sheet, &mut labels, zone);
    flight::marks(&mut body, sheet, &mut labels, zone, units);
    names(&mut body, sheet, &mut labels, &brief.ground, &airfields);
    furniture::grid_names(&mut body, &grid);
    furniture::scale(&mut body, sheet, corner, units);
    body.append(&top);
    (body, drawn)
}

/// The names of towns, airports and roads, as far as there is room.
fn names(
    body: &mut Picture,
    sheet: &Sheet,
    labels: &mut Labels,
    shown: &MapGround,
    airfields: &[(Airport, [f64; 2])],
) {
    // Who comes first finds room: towns say more than the codes of airports and numbers of roads.
    for place in &shown.places {
        let at = sheet.at(place.position);
        // A dot without its name would tell nothing.
        if sheet.shows(at, -4.0) && labels.write(body, at, 6.0, TEXT, &place.name) {
            body.dot(at, 3.5, INK);
        }
    }
    for (airport, at) in airfields {
        labels.write(body, *at, 10.0, SMALL, airport.ident);
    }
    let numbers = ground::road_numbers(sheet, shown);
    for (number, points) in numbers.iter().take(MOST_NUMBERS) {
        let mut written = 0;
        for point in points.iter().filter(|at| sheet.shows(**at, -20.0)) {
            if written < EACH_NUMBER && labels.write_on(body, *point, SMALL, number) {
                written += 1;
            }
        }
    }
}

/// Keeps the scale's corner, the names of the grid and the signs of airfields free of other names.
/// Names of the grid that would stand below the scale are left out.
fn keep_free(
    labels: &mut Labels,
    [left, top]: [f64; 2],
    grid: &mut Vec<([f64; 2], Anchor, String)>,
    airfields: &[(Airport, [f64; 2])],
) {
    let room = [left, top, left + SCALE_ROOM[0], top + SCALE_ROOM[1]];
    labels.take(room);
    let hidden = |[x, y]: [f64; 2]| {
        x + 52.0 > room[0] && x < room[2] && y + 4.0 > room[1] && y - SMALL < room[3]
    };
    grid.retain(|(at, ..)| !hidden(*at));
    for ([x, y], ..) in grid {
        labels.take([*x - 4.0, *y - SMALL, *x + 52.0, *y + 4.0]);
    }
    for (_, [x, y]) in airfields {
        labels.take([x - 8.0, y - 8.0, x + 8.0, y + 8.0]);
    }
}

fn heading(brief: &Brief, units: UnitSystem) -> [String; 3] {
    let zone = &brief.timezone;
    let day = |at| words::date(at, zone);
    let (when, what) = match brief.zone.outer() {
        Some(_) => {
            let times = words::landing_times(&brief.facts, zone);
            let day = day(brief.facts.landing_quantiles.low);
            (format!("{day}: landing {times}"), "centre")
        }
        // There is no room to say that times are those of the flights that stay in the winds.
        None => {
            let planned = brief.zone.landing.time;
            let name = words::center_name(&brief.zone);
            let clock = words::clock_with_zone(planned, zone);
            (
                format!("{}: {name} {clock}, no zone is given", day(planned)),
                name,
            )
        }
    };
    let place = format!(
        "{what} {}, {} of release",
        brief.zone.center().text(),
        words::way(brief.zone.release.position, brief.zone.center(), units)
    );
    [words::title(brief), when, place]
}

/// The corner of the sheet for the scale: free of the main places and their names, with the least of the
/// flight and the zone in it.
fn free_corner(sheet: &Sheet, labels: &Labels, points: &[[f64; 2]]) -> [f64; 2] {
    let [w, h] = sheet.size;
    let [a, b] = SCALE_ROOM;
    let crowded = |[x, y]: &[f64; 2]| {
        // With some room around: a line that just misses the scale still crowds it.
        let inside = |p: &&[f64; 2]| {
            p[0] > x - 30.0 && p[0] < x + a + 30.0 && p[1] > y - 30.0 && p[1] < y + b + 30.0
        };
        let taken = labels.is_taken([*x, *y, x + a, y + b]);
        (taken, points.iter().filter(inside).count())
    };
    [
        // The lower ones leave room for the names of the grid, at the left and at the bottom.
        [10.0, 10.0],
        [w - a - 10.0, 10.0],
        [w - a - 10.0, h - b - 26.0],
        [60.0, h - b - 26.0],
    ]
    .into_iter()
    // Of corners that are equal the first, so the same map is always the same.
    .min_by_key(crowded)
    .unwrap_or([10.0, 10.0])
}

/// The flight, the zone and the waiting points on the sheet.
fn shown_points(sheet: &Sheet, brief: &Brief) -> Vec<[f64; 2]> {
    let marks = brief.zone.track.iter().map(|m| m.position);
    let rings = brief
        .zone
        .ellipses
        .iter()
        .flat_map(|e| e.ring.iter().copied());
    let waiting = brief.wait.points.iter().map(|w| w.position);
    marks
        .chain(rings)
        .chain(waiting)
        .map(|p| sheet.at(p))
        .collect()
}
