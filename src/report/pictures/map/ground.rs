//! What lies on the ground, drawn: water, towns, roads, borders, airfields.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use maud::{Markup, html};
use rayon::prelude::*;

use super::sheet::Sheet;
use crate::brief::answer::MapGround;
use crate::ground::airports::{Airport, AirportKind};
use crate::ground::layers::{Area, Kind, Layer, Line, RoadClass};
use crate::ground::sea::sea;
use crate::report::palette::{
    AIRFIELD, Colour, FINE_LINE, KEEP_OUT, LAND_IN, LOCAL_ROAD, PAPER, PRIMARY_ROAD, ROAD_EDGE,
    SECONDARY_ROAD, SHORE, TERTIARY_ROAD, TOWN, TRUNK_ROAD, WATER,
};
use crate::report::pictures::picture::{Look, Paint, Picture};

/// Points of a line nearer than this to the one before are left out, units.
const FINE: f64 = 0.8;
/// Lines are drawn this far beyond the sheet, units.
const BEYOND: f64 = 30.0;
/// Small airfields drawn at most: where there are more, they hide the rest.
const MOST_SMALL_AIRFIELDS: usize = 30;
/// Characters of a road's number at most: what is longer is a name.
const LONGEST_NUMBER: usize = 9;
/// Points of roads drawn at most: a page stays under a megabyte. The busiest roads come first.
const MOST_ROAD_POINTS: usize = 24_000;

/// Looks that the key shows as they are drawn: built-up areas,
pub const TOWNS: Look = Look::area(Paint::Colour(TOWN));
/// lakes and wide rivers,
pub const LAKES: Look = Look::area(Paint::Colour(WATER)).edged(SHORE, 1.2);
/// areas to land in,
pub const LANDING: Look = Look::area(Paint::Pattern("dots")).edged(LAND_IN, 1.6);
/// areas to keep out of,
pub const KEEPING_OUT: Look = Look::area(Paint::Pattern("hatch")).edged(KEEP_OUT, 1.6);
/// power lines,
pub const POWER_LINES: Look = Look::line(FINE_LINE, 1.3).dashed("1 4");
/// borders,
pub const BORDERS: Look = Look::line(FINE_LINE, 2.6).dashed("14 5 2 5 2 5");
/// and a road, for all of them.
pub const ROAD: Look = Look::line(PRIMARY_ROAD, 3.4);

/// How a road is drawn: its edge, then its middle.
fn road_look(class: RoadClass) -> (Look, Option<Look>) {
    let line = |colour: Colour, width: f64| Look::line(colour, width).capped();
    match class {
        RoadClass::Motorway => (line(ROAD_EDGE, 6.5), Some(line(PAPER, 3.0))),
        RoadClass::Trunk => (line(ROAD_EDGE, 5.0), Some(line(TRUNK_ROAD, 2.2))),
        RoadClass::Primary => (ROAD.capped(), None),
        // A road of no known class may be a busy one.
        RoadClass::Secondary | RoadClass::Unknown => (line(SECONDARY_ROAD, 2.4), None),
        RoadClass::Tertiary => (line(TERTIARY_ROAD, 1.6), None),
        RoadClass::Local => (line(LOCAL_ROAD, 0.9), None),
    }
}

/// Which entries of the key have something on the sheet.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct KeyEntries {
    /// Roads.
    pub roads: bool,
    /// Whether roads were left out for want of room.
    pub roads_left_out: bool,
    /// Lakes, rivers or coasts.
    pub water: bool,
    /// Built-up areas.
    pub towns: bool,
    /// Power lines.
    pub power_lines: bool,
    /// Areas to keep out of.
    pub keep_out: bool,
    /// Areas to land in.
    pub land_in: bool,
    /// Borders.
    pub borders: bool,
    /// Airports that are named, and areas and runways of airfields.
    pub airfields: bool,
    /// What became of the small ones.
    pub small_airfields: SmallAirfields,
    /// Shaded slopes.
    pub relief: bool,
}

/// What became of small airfields.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum SmallAirfields {
    /// There are none.
    #[default]
    None,
    /// They are dots.
    Dots,
    /// There are this many that they would hide the rest.
    LeftOut,
}

/// What is drawn below the flight, in its order: a name each, for pages that switch them.
pub const LAYERS: [&str; 6] = ["towns", "water", "areas", "roads", "power", "borders"];

/// Draws everything below the flight.
pub fn draw(picture: &mut Picture, sheet: &Sheet, ground: &MapGround) -> KeyEntries {
    let mut drawn = KeyEntries::default();
    for layer in LAYERS {
        draw_layer(layer, picture, sheet, ground, &mut drawn);
    }
    let runways = of(ground, Kind::Airfield).flat_map(|l| &l.lines);
    let field = Look::area(Paint::Colour(AIRFIELD));
    // `|` and not `||`: both are drawn, whichever was there first.
    drawn.airfields = lines(picture, sheet, runways, Look::line(FINE_LINE, 3.0))
        | areas(picture, sheet, of(ground, Kind::Airfield), field);
    drawn
}

/// Draws one of [`LAYERS`].
pub fn draw_layer(
    layer: &str,
    picture: &mut Picture,
    sheet: &Sheet,
    ground: &MapGround,
    drawn: &mut KeyEntries,
) {
    let of = |kind: Kind| of(ground, kind);
    match layer {
        // The sea lies below everything.
        "towns" => {
            drawn.water = draw_sea(picture, sheet);
            drawn.towns = areas(picture, sheet, of(Kind::Urban), TOWNS);
        }
        "water" => {
            drawn.water |= areas(picture, sheet, of(Kind::Lake), LAKES)
                | areas(picture, sheet, of(Kind::River), LAKES);
            let rivers = of(Kind::River).flat_map(|l| &l.lines);
            drawn.water |= lines(picture, sheet, rivers, Look::line(SHORE, 2.2));
            drawn.water |= lines(picture, sheet, &ground.coasts, Look::line(SHORE, 3.0));
        }
        "areas" => {
            drawn.land_in = areas(picture, sheet, of(Kind::LandIn), LANDING);
            drawn.keep_out = areas(picture, sheet, of(Kind::KeepOut), KEEPING_OUT);
        }
        "roads" => (drawn.roads, drawn.roads_left_out) = roads(picture, sheet, of(Kind::Road)),
        "power" => {
            let power = of(Kind::PowerLine).flat_map(|l| &l.lines);
            drawn.power_lines = lines(picture, sheet, power, POWER_LINES);
        }
        _ => drawn.borders = lines(picture, sheet, &ground.borders, BORDERS),
    }
}

fn of(ground: &MapGround, kind: Kind) -> impl Iterator<Item = &Layer> {
    ground.layers.iter().filter(move |l| l.kind == kind)
}

/// A cell of the sea, units: its edge lies below the line of the coast.
const SEA_CELL: f64 = 3.0;

/// Fills the sea, row by row; whether there is any on the sheet.
fn draw_sea(picture: &mut Picture, sheet: &Sheet) -> bool {
    // A map without its sea is still a map.
    let Ok(sea) = sea() else {
        return false;
    };
    let [columns, rows] = sheet.size.map(|s| (s / SEA_CELL).ceil() as usize);
    let place = |i: usize, k: usize| {
        sheet.place([(i as f64 + 0.5) * SEA_CELL, (k as f64 + 0.5) * SEA_CELL])
    };
    let row = |k: usize| -> String {
        let wet: Vec<bool> = (0..columns).map(|i| sea.holds(place(i, k))).collect();
        let mut path = String::new();
        let mut start = 0;
        for run in wet.chunk_by(|a, b| a == b) {
            if run[0] {
                // A run is one stroke as wide as a cell is high: cells one by one make a far longer
                // text.
                let (x, y) = (start as f64 * SEA_CELL, (k as f64 + 0.5) * SEA_CELL);
                let _ = write!(path, "M{x} {y}h{}", run.len() as f64 * SEA_CELL);
            }
            start += run.len();
        }
        path
    };
    // Collected in the order of rows, whichever thread is first, so the bytes are always the same.
    let path: String = (0..rows).into_par_iter().map(row).collect();
    if path.is_empty() {
        return false;
    }
    picture.raw_path(&path, Look::line(WATER, SEA_CELL).crisp());
    true
}

/// The patterns that areas are filled with.
pub fn patterns() -> Markup {
    html! {
        pattern id="hatch" width="9" height="9" patternUnits="userSpaceOnUse" patternTransform="rotate(45)" {
            line x1="0" y1="0" x2="0" y2="9" stroke=(KEEP_OUT) stroke-width="2.4" {}
        }
        pattern id="dots" width="10" height="10" patternUnits="userSpaceOnUse" {
            circle cx="3" cy="3" r="1.4" fill=(LAND_IN) {}
        }
    }
}

/// Draws the airfields: those with a hard or a long runway with their sign, strips as dots where they do
/// not crowd. Those with a sign are returned with its point: they are named.
pub fn airfields(
    picture: &mut Picture,
    sheet: &Sheet,
    airports: &[Airport],
) -> (SmallAirfields, Vec<(Airport, [f64; 2])>) {
    let shown = airports
        .iter()
        .map(|a| (*a, sheet.at(a.position)))
        .filter(|(_, at)| sheet.shows(*at, -6.0));
    let (named, small): (Vec<_>, Vec<_>) = shown
        .filter(|(airport, _)| airport.kind != AirportKind::Seaplane)
        .partition(|(airport, _)| airport.is_known);
    let became = match small.len() {
        0 => SmallAirfields::None,
        1..=MOST_SMALL_AIRFIELDS => SmallAirfields::Dots,
        _ => SmallAirfields::LeftOut,
    };
    if became == SmallAirfields::Dots {
        for (_, at) in &small {
            picture.dot(*at, 4.5, PAPER);
            picture.dot(*at, 3.0, FINE_LINE);
        }
    }
    for (airport, [x, y]) in &named {
        let r = match airport.kind {
            AirportKind::Large => 9.0,
            AirportKind::Medium => 7.5,
            _ => 6.0,
        };
        picture.dot([*x, *y], r, PAPER);
        let ring = format!(
            "M{:.1} {y:.1}a{r} {r} 0 1 0 {d} 0a{r} {r} 0 1 0 -{d} 0M{:.1} {y:.1}h{:.1}M{x:.1} {:.1}v{:.1}",
            x - r,
            x - 0.6 * r,
            1.2 * r,
            y - 0.6 * r,
            1.2 * r,
            d = 2.0 * r
        );
        picture.raw_path(&ring, Look::line(FINE_LINE, 1.8));
    }
    (became, named)
}

/// Where the numbers of the busiest roads may be written: each with points along its road, the middle of
/// its longest run first.
pub fn road_numbers(sheet: &Sheet, ground: &MapGround) -> Vec<(String, Vec<[f64; 2]>)> {
    let roads = ground.layers.iter().filter(|l| l.kind == Kind::Road);
    // Ordered: the busiest come first, and always in the same order.
    let mut found: BTreeMap<(RoadClass, &str), Vec<Vec<[f64; 2]>>> = BTreeMap::new();
    for line in roads.flat_map(|l| &l.lines) {
        let busy = [
            RoadClass::Motorway,
            RoadClass::Trunk,
            RoadClass::Primary,
            RoadClass::Secondary,
        ];
        if let Some(number) = road_number(&line.name)
            && busy.contains(&line.class)
        {
            let runs = on_sheet(sheet, &line.points);
            found.entry((line.class, number)).or_default().extend(runs);
        }
    }
    found
        .into_iter()
        .map(|((_, number), mut runs)| {
            runs.sort_by(|a, b| long(b).total_cmp(&long(a)));
            // More than are written: at some of them there will be no room.
            let points = runs.iter().take(8).map(|run| run[run.len() / 2]);
            (number.to_owned(), points.collect())
        })
        .collect()
}

/// The number that a road's name begins with, as in "A 1" of "A 1, Autoestrada do Norte".
fn road_number(name: &str) -> Option<&str> {
    let number = name.split(',').next()?.trim();
    let short = (1..=LONGEST_NUMBER).contains(&number.chars().count());
    (short && number.contains(|c: char| c.is_ascii_digit())).then_some(number)
}

fn long(run: &[[f64; 2]]) -> f64 {
    run.windows(2)
        .map(|w| (w[1][0] - w[0][0]).hypot(w[1][1] - w[0][1]))
        .sum()
}

fn roads<'a>(
    picture: &mut Picture,
    sheet: &Sheet,
    layers: impl Iterator<Item = &'a Layer>,
) -> (bool, bool) {
    let all: Vec<&Line> = layers.flat_map(|l| &l.lines).collect();
    let mut left = MOST_ROAD_POINTS;
    let mut kept: Vec<(RoadClass, Vec<Vec<[f64; 2]>>)> = Vec::new();
    let mut left_out = false;
    for class in RoadClass::ALL {
        let of_class = all.iter().filter(|l| l.class == class);
        let runs: Vec<Vec<[f64; 2]>> = of_class.flat_map(|l| on_sheet(sheet, &l.points)).collect();
        let points: usize = runs.iter().map(Vec::len).sum();
        // A class is drawn whole or not at all: half of the small roads would pass for all of them.
        // Nor are smaller ones drawn where larger ones are missing.
        if left_out || points > left {
            left_out = true;
        } else if points > 0 {
            left -= points;
            kept.push((class, runs));
        }
    }
    // The busiest roads are drawn last, and so lie on top.
    for (class, runs) in kept.iter().rev() {
        picture.path(runs, false, road_look(*class).0);
    }
    // Only after all edges: where two roads meet, no edge is drawn across a middle.
    for (class, runs) in kept.iter().rev() {
        if let (_, Some(middle)) = road_look(*class) {
            picture.path(runs, false, middle);
        }
    }
    (!kept.is_empty(), left_out)
}

fn lines<'a>(
    picture: &mut Picture,
    sheet: &Sheet,
    lines: impl IntoIterator<Item = &'a Line>,
    look: Look,
) -> bool {
    let runs: Vec<Vec<[f64; 2]>> = lines
        .into_iter()
        .flat_map(|line| on_sheet(sheet, &line.points))
        .collect();
    picture.path(&runs, false, look);
    !runs.is_empty()
}

fn areas<'a>(
    picture: &mut Picture,
    sheet: &Sheet,
    layers: impl Iterator<Item = &'a Layer>,
    look: Look,
) -> bool {
    let mut any = false;
    for area in layers.flat_map(|l| &l.areas) {
        let rings = rings(sheet, area);
        any |= !rings.is_empty();
        picture.path(&rings, true, look);
    }
    any
}

/// The rings of an area that reach the sheet.
fn rings(sheet: &Sheet, area: &Area) -> Vec<Vec<[f64; 2]>> {
    let rings: Vec<Vec<[f64; 2]>> = area
        .rings
        .iter()
        .map(|ring| thinned(ring.iter().map(|p| sheet.lon_lat(*p))))
        .collect();
    // All rings or none: it takes all of them to tell inside from outside.
    let reaches = rings.iter().any(|ring| touches(sheet, ring));
    if reaches { rings } else { Vec::new() }
}

/// Whether the box around a line touches the sheet.
fn touches(sheet: &Sheet, line: &[[f64; 2]]) -> bool {
    (0..2).all(|k| {
        let low = line.iter().map(|p| p[k]).fold(f64::INFINITY, f64::min);
        let high = line.iter().map(|p| p[k]).fold(f64::NEG_INFINITY, f64::max);
        low <= sheet.size[k] && high >= 0.0
    })
}

/// The runs of a line that are on the sheet, without points too near to each other.
fn on_sheet(sheet: &Sheet, points: &[[f64; 2]]) -> Vec<Vec<[f64; 2]>> {
    let points: Vec<[f64; 2]> = points.iter().map(|p| sheet.lon_lat(*p)).collect();
    // By its box: an edge that only passes a corner is kept, and clipped when it is drawn.
    let near = |edge: &[[f64; 2]]| {
        (0..2).all(|k| {
            let (a, b) = (edge[0][k], edge[1][k]);
            a.min(b) <= sheet.size[k] + BEYOND && a.max(b) >= -BEYOND
        })
    };
    let mut runs = Vec::new();
    let mut run: Vec<[f64; 2]> = Vec::new();
    for edge in points.windows(2) {
        if near(edge) {
            if run.is_empty() {
                run.push(edge[0]);
            }
            run.push(edge[1]);
        } else if !run.is_empty() {
            runs.push(thinned(std::mem::take(&mut run).into_iter()));
        }
    }
    if !run.is_empty() {
        runs.push(thinned(run.into_iter()));
    }
    runs
}

/// A line without points nearer than [`FINE`] to the one before; both ends are kept.
fn thinned(points: impl Iterator<Item = [f64; 2]>) -> Vec<[f64; 2]> {
    let mut kept: Vec<[f64; 2]> = Vec::new();
    let mut last = None;
    for p in points {
        let far = |q: &[f64; 2]| (p[0] - q[0]).hypot(p[1] - q[1]) >= FINE;
        if kept.last().is_none_or(far) {
            kept.push(p);
            last = None;
        } else {
            last = Some(p);
        }
    }
    kept.extend(last);
    kept
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geodesy::Position;

    #[test]
    fn numbers_of_roads_are_told_from_names() {
        assert_eq!(road_number("A 1, Autoestrada do Norte"), Some("A 1"));
        assert_eq!(road_number("US 26/287"), Some("US 26/287"));
        assert_eq!(road_number("5th Avenue North"), None);
        assert_eq!(road_number("Main"), None);
        assert_eq!(road_number(""), None);
    }

    #[test]
    fn the_sea_is_filled_and_land_is_not() {
        let drawn = |lat: f64, lon: f64| {
            let center = Position::new(lat, lon).unwrap();
            let sheet = Sheet::holding(center, &[center.destination(45.0, 20_000.0)], 720.0);
            let mut picture = Picture::new(720.0, 720.0);
            (draw_sea(&mut picture, &sheet), picture.svg())
        };
        assert!(!drawn(43.0, -108.4).0);
        let (any, svg) = drawn(38.7, -9.45);
        assert!(any && svg.contains(&WATER.to_string()), "{svg}");
        // West of the coast rows of the sheet begin in the sea.
        let rows = svg.matches("M0 ").count();
        assert!(rows > 20, "{rows}");
    }

    #[test]
    fn airstrips_are_dots_and_too_many_are_left_out() {
        let center = Position::new(43.0, -108.4).unwrap();
        let sheet = Sheet::holding(center, &[center.destination(45.0, 50_000.0)], 720.0);
        let airport = |kind, k: usize| Airport {
            ident: "KRIW",
            kind,
            is_known: kind == AirportKind::Medium,
            // Around the middle of the sheet, all of them on it.
            position: center
                .destination(45.0, 25_000.0)
                .destination(9.0 * k as f64, 300.0 * k as f64),
            elevation_m: None,
        };
        let mut all = vec![airport(AirportKind::Medium, 1)];
        for (small, wanted) in [
            (0, SmallAirfields::None),
            (MOST_SMALL_AIRFIELDS, SmallAirfields::Dots),
            (MOST_SMALL_AIRFIELDS + 1, SmallAirfields::LeftOut),
        ] {
            all.truncate(1);
            all.extend((0..small).map(|k| airport(AirportKind::Small, k)));
            let mut picture = Picture::new(720.0, 720.0);
            let (became, named) = airfields(&mut picture, &sheet, &all);
            assert_eq!((became, named.len()), (wanted, 1), "{small}");
            let dots = picture.svg().matches("<circle").count();
            assert_eq!(dots > 1, wanted == SmallAirfields::Dots, "{small}: {dots}");
        }
    }
}
