//! What lies on the ground, drawn: water, towns, roads, borders, airfields.

use super::sheet::Sheet;
use crate::brief::answer::MapGround;
use crate::ground::airports::{Airport, AirportKind};
use crate::ground::layers::{Area, Kind, Layer, Line, RoadClass};
use crate::report::pictures::picture::Picture;

/// Points of a line nearer than this to the one before are left out, units.
const FINE: f64 = 0.8;
/// Lines are drawn this far beyond the sheet, units.
const BEYOND: f64 = 30.0;
/// Points of roads drawn at most: a page stays under a megabyte. The busiest roads come first.
const MOST_ROAD_POINTS: usize = 24_000;

/// Colours also chosen by their grey: towns, water, roads get darker in that order.
const TOWN: &str = "#e9dfd2";
const WATER: &str = "#cfe0ee";
const WATER_EDGE: &str = "#5f8bb0";

/// How a road is drawn: width and colour of its edge, then of its middle.
fn road_look(class: RoadClass) -> (f64, &'static str, Option<(f64, &'static str)>) {
    match class {
        RoadClass::Motorway => (6.5, "#5c5c5c", Some((3.0, "#ffffff"))),
        RoadClass::Trunk => (5.0, "#5c5c5c", Some((2.2, "#ffe7b0"))),
        RoadClass::Primary => (3.4, "#777777", None),
        RoadClass::Secondary | RoadClass::Unknown => (2.4, "#858585", None),
        RoadClass::Tertiary => (1.6, "#959595", None),
        RoadClass::Local => (0.9, "#a8a8a8", None),
    }
}

/// What was drawn, for the key.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Drawn {
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
    /// Airfields.
    pub airfields: bool,
    /// Shaded slopes.
    pub relief: bool,
}

/// Draws everything below the flight.
pub fn draw(picture: &mut Picture, sheet: &Sheet, ground: &MapGround) -> Drawn {
    let of = |kind: Kind| ground.layers.iter().filter(move |l| l.kind == kind);
    let mut drawn = Drawn::default();
    let fill = |color: &str| format!(r#"fill="{color}" fill-rule="evenodd""#);
    drawn.towns = areas(picture, sheet, of(Kind::Urban), &fill(TOWN));
    let water =
        format!(r#"fill="{WATER}" fill-rule="evenodd" stroke="{WATER_EDGE}" stroke-width="1.2""#);
    drawn.water = areas(picture, sheet, of(Kind::Lake), &water)
        | areas(picture, sheet, of(Kind::River), &water);
    let stroke = |color: &str, width: f64, more: &str| {
        format!(
            r#"fill="none" stroke="{color}" stroke-width="{width}" stroke-linejoin="round" {more}"#
        )
    };
    let rivers = of(Kind::River).flat_map(|l| &l.lines);
    drawn.water |= lines(picture, sheet, rivers, &stroke(WATER_EDGE, 2.2, ""));
    drawn.water |= lines(picture, sheet, &ground.coasts, &stroke(WATER_EDGE, 3.0, ""));
    let edge = |pattern: &str, color: &str| {
        format!(r#"fill="url(#{pattern})" fill-rule="evenodd" stroke="{color}" stroke-width="1.6""#)
    };
    drawn.land_in = areas(picture, sheet, of(Kind::LandIn), &edge("dots", "#4c7a4c"));
    drawn.keep_out = areas(picture, sheet, of(Kind::KeepOut), &edge("hatch", "#a03030"));
    (drawn.roads, drawn.roads_left_out) = roads(picture, sheet, of(Kind::Road));
    let power = of(Kind::PowerLine).flat_map(|l| &l.lines);
    let dashed = stroke("#333333", 1.3, r#"stroke-dasharray="1 4""#);
    drawn.power_lines = lines(picture, sheet, power, &dashed);
    let border = stroke("#333333", 2.6, r#"stroke-dasharray="14 5 2 5 2 5""#);
    drawn.borders = lines(picture, sheet, &ground.borders, &border);
    let runways = of(Kind::Airfield).flat_map(|l| &l.lines);
    drawn.airfields = lines(picture, sheet, runways, &stroke("#333333", 3.0, ""))
        | areas(picture, sheet, of(Kind::Airfield), &fill("#d0d0d0"));
    drawn
}

/// The patterns that areas are filled with.
pub const PATTERNS: &str = concat!(
    r##"<pattern id="hatch" width="9" height="9" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">"##,
    r##"<line x1="0" y1="0" x2="0" y2="9" stroke="#a03030" stroke-width="2.4"/></pattern>"##,
    r##"<pattern id="dots" width="10" height="10" patternUnits="userSpaceOnUse">"##,
    r##"<circle cx="3" cy="3" r="1.4" fill="#4c7a4c"/></pattern>"##,
);

/// The airfields that are on the sheet, with their symbol's point.
pub fn airfields(
    picture: &mut Picture,
    sheet: &Sheet,
    airports: &[Airport],
) -> Vec<(Airport, [f64; 2])> {
    let shown = airports
        .iter()
        .filter(|a| a.kind != AirportKind::Seaplane)
        .map(|a| (*a, sheet.at(a.position)))
        .filter(|(_, at)| sheet.shows(*at, -6.0));
    let shown: Vec<(Airport, [f64; 2])> = shown.collect();
    for (airport, [x, y]) in &shown {
        let r = match airport.kind {
            AirportKind::Large => 9.0,
            AirportKind::Medium => 7.5,
            _ => 5.5,
        };
        picture.dot([*x, *y], r, "#ffffff");
        let ring = format!(
            "M{:.1} {y:.1}a{r} {r} 0 1 0 {d} 0a{r} {r} 0 1 0 -{d} 0M{:.1} {y:.1}h{:.1}M{x:.1} {:.1}v{:.1}",
            x - r,
            x - 0.6 * r,
            1.2 * r,
            y - 0.6 * r,
            1.2 * r,
            d = 2.0 * r
        );
        picture.raw_path(
            &ring,
            r##"fill="none" stroke="#333333" stroke-width="1.8""##,
        );
    }
    shown
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
        if points > left {
            left_out = true;
        } else if points > 0 {
            left -= points;
            kept.push((class, runs));
        }
    }
    for (class, runs) in kept.iter().rev() {
        let (width, color, _) = road_look(*class);
        picture.path(runs, false, &road_stroke(width, color));
    }
    for (class, runs) in kept.iter().rev() {
        if let (_, _, Some((width, color))) = road_look(*class) {
            picture.path(runs, false, &road_stroke(width, color));
        }
    }
    (!kept.is_empty(), left_out)
}

fn road_stroke(width: f64, color: &str) -> String {
    format!(
        r#"fill="none" stroke="{color}" stroke-width="{width}" stroke-linejoin="round" stroke-linecap="round""#
    )
}

fn lines<'a>(
    picture: &mut Picture,
    sheet: &Sheet,
    lines: impl IntoIterator<Item = &'a Line>,
    attributes: &str,
) -> bool {
    let runs: Vec<Vec<[f64; 2]>> = lines
        .into_iter()
        .flat_map(|line| on_sheet(sheet, &line.points))
        .collect();
    picture.path(&runs, false, attributes);
    !runs.is_empty()
}

fn areas<'a>(
    picture: &mut Picture,
    sheet: &Sheet,
    layers: impl Iterator<Item = &'a Layer>,
    attributes: &str,
) -> bool {
    let mut any = false;
    for area in layers.flat_map(|l| &l.areas) {
        let rings = rings(sheet, area);
        any |= !rings.is_empty();
        picture.path(&rings, true, attributes);
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
