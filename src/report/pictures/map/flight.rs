//! The zone and the flight on the map: regions, track, marks.

use jiff::tz::TimeZone;

use super::labels::Labels;
use super::sheet::Sheet;
use super::sizes::{NAME, TEXT};
use crate::brief::Wait;
use crate::clock::seconds_between;
use crate::geodesy::Position;
use crate::numeric::between;
use crate::report::palette::{CONTOUR, ELLIPSE, INK, PAPER};
use crate::report::pictures::picture::{Look, Paint, Picture};
use crate::report::words::{clock_time, waiting_name};
use crate::spread::region::is_outer;
use crate::units::{FOOT_M, UnitSystem};
use crate::zone::{Mark, Zone};

/// What is drawn below a line to lift it off the ground is so much wider, units.
const EDGE: f64 = 2.5;
/// The way up, on maps and charts.
pub const UP: Look = Look::line(INK, 3.2).dashed("12 6");
/// The way down.
pub const DOWN: Look = Look::line(INK, 3.2);
/// Signs on the map.
pub const SIGN: Look = Look::area(Paint::Colour(PAPER)).edged(INK, 2.0);
/// Minutes between marks of time.
const MARK_EVERY_S: f64 = 600.0;

/// How an ellipse is drawn, if it is.
pub fn ellipse_look(probability: f64) -> Option<Look> {
    match (100.0 * probability).round() as i64 {
        50 => Some(Look::line(ELLIPSE, 2.2)),
        90 => Some(Look::line(ELLIPSE, 4.6)),
        99 => Some(Look::line(ELLIPSE, 2.2).dashed("3 5")),
        // Too near to the ellipse of 90 % to be seen beside it.
        _ => None,
    }
}

/// How a contour is drawn.
pub fn contour_look(probability: f64) -> Look {
    if probability > 0.75 {
        Look::line(CONTOUR, 2.6).dashed("16 5 4 5")
    } else {
        Look::line(CONTOUR, 2.0).dashed("8 5")
    }
}

/// Draws lines with an edge of paper.
fn lifted(picture: &mut Picture, lines: &[Vec<[f64; 2]>], closed: bool, look: Look, edge: f64) {
    picture.path(lines, closed, Look::line(PAPER, look.width() + edge));
    picture.path(lines, closed, look);
}

/// Draws the contours.
pub fn contours(picture: &mut Picture, sheet: &Sheet, zone: &Zone) {
    for contour in &zone.contours {
        let rings: Vec<Vec<[f64; 2]>> = contour
            .polygons
            .iter()
            .flat_map(|p| std::iter::once(&p.exterior).chain(&p.holes))
            .map(|ring| on_sheet(sheet, ring))
            .collect();
        let look = contour_look(contour.probability);
        lifted(picture, &rings, true, look, EDGE);
    }
}

/// Draws the ellipses.
pub fn ellipses(picture: &mut Picture, sheet: &Sheet, labels: &mut Labels, zone: &Zone) {
    for ellipse in &zone.ellipses {
        let p = ellipse.shape.probability;
        let Some(look) = ellipse_look(p) else {
            continue;
        };
        let ring = on_sheet(sheet, &ellipse.ring);
        if is_outer(p) {
            let tint = Look::area(Paint::Tint(ELLIPSE, 0.07));
            picture.path(std::slice::from_ref(&ring), true, tint);
        }
        let rings = [ring];
        lifted(picture, &rings, true, look, EDGE);
        labels.avoid(&rings[0]);
    }
}

fn on_sheet(sheet: &Sheet, ring: &[Position]) -> Vec<[f64; 2]> {
    ring.iter().map(|p| sheet.at(*p)).collect()
}

/// Writes the share of each ellipse on its edge, where the most room is.
pub fn region_names(picture: &mut Picture, sheet: &Sheet, labels: &mut Labels, zone: &Zone) {
    for ellipse in &zone.ellipses {
        let p = ellipse.shape.probability;
        if ellipse_look(p).is_none() {
            continue;
        }
        let ring = &ellipse.ring;
        let text = format!("{:.0} %", 100.0 * p);
        for k in 0..8 {
            let point = sheet.at(ring[(k * ring.len() / 8 + ring.len() / 16) % ring.len()]);
            // Less than nothing around the point: the name of a line stands on the line.
            if sheet.shows(point, -10.0) && labels.write(picture, point, -2.0, TEXT, &text) {
                break;
            }
        }
    }
}

/// Draws the track: dashed up, solid down.
pub fn track(picture: &mut Picture, sheet: &Sheet, labels: &mut Labels, zone: &Zone) {
    let burst = zone.track.iter().position(|m| m.time >= zone.burst.time);
    let burst = burst.unwrap_or(zone.track.len().saturating_sub(1));
    let points: Vec<[f64; 2]> = zone.track.iter().map(|m| sheet.at(m.position)).collect();
    // The burst belongs to both, or the line would have a gap.
    let legs = [
        (points.get(..=burst).unwrap_or_default(), UP),
        (points.get(burst..).unwrap_or_default(), DOWN),
    ];
    for (leg, look) in legs {
        lifted(picture, &[leg.to_vec()], false, look, 3.3);
    }
    labels.avoid(&points);
}

/// Half the room that the sign of a main place takes, units.
const SIGN_ROOM: f64 = 13.0;

/// Draws and names release, burst, landing and the waiting points. They come before every other name,
/// the last is drawn on top: none is hidden.
pub fn places(
    picture: &mut Picture,
    sheet: &Sheet,
    labels: &mut Labels,
    (zone, wait): (&Zone, &Wait),
    timezone: &TimeZone,
) {
    let named = |what: &str, mark: &Mark| {
        let name = format!("{what} {}", clock_time(mark.time, timezone));
        (sheet.at(mark.position), name)
    };
    let mut names = vec![
        named("release", &zone.release),
        named("burst", &zone.burst),
        named("planned landing", &zone.landing),
    ];
    let signs = waiting_signs(sheet, zone, wait);
    let waiting = wait.points.iter().zip(&signs);
    names.extend(waiting.map(|(point, sign)| (*sign, waiting_name(point))));
    // All signs take their room before any name looks for its own.
    for ([x, y], _) in &names {
        let r = SIGN_ROOM;
        labels.take([x - r, y - r, x + r, y + r]);
    }
    for (point, name) in &names {
        labels.write_or_join(picture, *point, SIGN_ROOM + 3.0, NAME, name);
    }
    draw_signs(picture, sheet, (zone, wait), &signs);
}

/// Where the signs of the waiting points stand: at their places, or beside them, joined by a line, where
/// another sign stands.
fn waiting_signs(sheet: &Sheet, zone: &Zone, wait: &Wait) -> Vec<[f64; 2]> {
    let marks = [&zone.release, &zone.burst, &zone.landing];
    let mut taken: Vec<[f64; 2]> = marks.map(|mark| sheet.at(mark.position)).to_vec();
    for point in &wait.points {
        let sign = free_of(sheet.at(point.position), &taken);
        taken.push(sign);
    }
    taken.split_off(marks.len())
}

/// A point for a sign that covers no other: the point itself, or the first beside it that is free.
fn free_of(point: [f64; 2], taken: &[[f64; 2]]) -> [f64; 2] {
    let apart = 2.0 * SIGN_ROOM + 2.0;
    let free = |at: &[f64; 2]| {
        let covers = |t: &[f64; 2]| (at[0] - t[0]).abs().max((at[1] - t[1]).abs()) < apart;
        !taken.iter().any(covers)
    };
    // Diagonals first, as names stand to the right and to the left if they can.
    let beside = [1.0, 2.0].into_iter().flat_map(|ring| {
        let d = ring * (apart + 4.0);
        [
            [d, d],
            [d, -d],
            [-d, -d],
            [-d, d],
            [d, 0.0],
            [0.0, d],
            [-d, 0.0],
            [0.0, -d],
        ]
    });
    let beside = beside.map(|[dx, dy]| [point[0] + dx, point[1] + dy]);
    std::iter::once(point)
        .chain(beside)
        .find(free)
        // Where all is crowded, one sign on another is better than none.
        .unwrap_or(point)
}

/// The signs of the main places, the burst and the landing on top.
fn draw_signs(
    picture: &mut Picture,
    sheet: &Sheet,
    (zone, wait): (&Zone, &Wait),
    waiting: &[[f64; 2]],
) {
    // The first point is that of the first car: its sign lies on top of the others.
    for (point, &[x, y]) in wait.points.iter().zip(waiting).rev() {
        let place = sheet.at(point.position);
        if place != [x, y] {
            picture.line(&[place, [x, y]], 4.5, PAPER);
            picture.line(&[place, [x, y]], 1.8, INK);
        }
        picture.rectangle([x - 13.0, y - 13.0], [26.0, 26.0], PAPER);
        picture.rectangle([x - 11.0, y - 11.0], [22.0, 22.0], INK);
        let lines = Look::line(PAPER, 2.4).capped();
        picture.raw_path(&letter(&point.name, [x, y]), lines);
    }
    let release = sheet.at(zone.release.position);
    picture.dot(release, 10.0, INK);
    picture.dot(release, 6.5, PAPER);
    picture.dot(release, 3.0, INK);
    let landing = sheet.at(zone.landing.position);
    for (width, color) in [(8.0, PAPER), (4.0, INK)] {
        let arms = [[-9.0, -9.0, 9.0, 9.0], [-9.0, 9.0, 9.0, -9.0]];
        for [a, b, c, d] in arms {
            let arm = [
                [landing[0] + a, landing[1] + b],
                [landing[0] + c, landing[1] + d],
            ];
            picture.line(&arm, width, color);
        }
    }
    let burst = sheet.at(zone.burst.position);
    let look = Look::area(Paint::Colour(INK)).edged(PAPER, 1.5);
    picture.path(&[star(burst, 12.0)], true, look);
}

/// Draws marks along the track: triangles at whole heights, bars at whole ten minutes.
pub fn marks(
    picture: &mut Picture,
    sheet: &Sheet,
    labels: &mut Labels,
    zone: &Zone,
    units: UnitSystem,
) {
    let mut names: Vec<([f64; 2], String)> = Vec::new();
    let (step_m, unit_m, unit) = match units {
        UnitSystem::Metric => (5_000.0, 1_000.0, " km"),
        UnitSystem::Us => (15_000.0 * FOOT_M, 1_000.0 * FOOT_M, ",000 ft"),
    };
    for leg in zone.track.windows(2) {
        let rising = leg[1].altitude_m > leg[0].altitude_m;
        let [low, high] = if rising {
            [&leg[0], &leg[1]]
        } else {
            [&leg[1], &leg[0]]
        };
        // The track has a mark at every layer, and layers are thinner than a step: a leg passes one
        // whole height at most.
        let height_m = (high.altitude_m / step_m).floor() * step_m;
        let span = high.altitude_m - low.altitude_m;
        // One at the lower end is marked by the other leg that meets there.
        if height_m <= low.altitude_m || height_m <= 0.0 || span <= 0.0 {
            continue;
        }
        let share = (height_m - low.altitude_m) / span;
        let [a, b] = [low, high].map(|m| sheet.at(m.position));
        let at = between(a, b, share);
        // The y of a picture grows downwards.
        let tip = if rising { -8.0 } else { 8.0 };
        let shape = vec![
            [at[0], at[1] + tip],
            [at[0] - 7.0, at[1] - 0.6 * tip],
            [at[0] + 7.0, at[1] - 0.6 * tip],
        ];
        picture.path(&[shape], true, SIGN);
        let arrow = if rising { "\u{2191}" } else { "\u{2193}" };
        names.push((at, format!("{}{unit} {arrow}", (height_m / unit_m).round())));
    }
    for (at, time) in bars(picture, sheet, zone) {
        names.push((at, time));
    }
    // Names must not stand on a mark that is still to be named.
    for (point, _) in &names {
        labels.take([
            point[0] - 6.0,
            point[1] - 6.0,
            point[0] + 6.0,
            point[1] + 6.0,
        ]);
    }
    for (point, name) in &names {
        labels.write(picture, *point, 8.0, TEXT, name);
    }
}

/// Bars across the track every ten minutes; where they are, and the time in words.
fn bars(picture: &mut Picture, sheet: &Sheet, zone: &Zone) -> Vec<([f64; 2], String)> {
    let track = &zone.track;
    let Some(first) = track.first() else {
        return Vec::new();
    };
    let since = |mark: &Mark| seconds_between(first.time, mark.time);
    let mut out = Vec::new();
    let mut k = 1;
    for leg in track.windows(2) {
        let (before, after) = (since(&leg[0]), since(&leg[1]));
        // A leg that takes no time has no mark on it, and would divide by nothing.
        while after > before && MARK_EVERY_S * f64::from(k) <= after {
            let share = (MARK_EVERY_S * f64::from(k) - before) / (after - before);
            let [a, b] = [&leg[0], &leg[1]].map(|m| sheet.at(m.position));
            let at = between(a, b, share);
            let long = (b[0] - a[0]).hypot(b[1] - a[1]).max(1e-9);
            let across = [-(b[1] - a[1]) / long * 7.0, (b[0] - a[0]) / long * 7.0];
            let ends = [
                [at[0] - across[0], at[1] - across[1]],
                [at[0] + across[0], at[1] + across[1]],
            ];
            picture.line(&ends, 2.6, INK);
            out.push((at, format!("+{}", 10 * k)));
            k += 1;
        }
    }
    out
}

fn star([x, y]: [f64; 2], radius: f64) -> Vec<[f64; 2]> {
    (0..16)
        .map(|k| {
            let r = if k % 2 == 0 { radius } else { 0.45 * radius };
            let (s, c) = (f64::from(k) * std::f64::consts::PI / 8.0).sin_cos();
            [x + r * s, y - r * c]
        })
        .collect()
}

/// The letters A to C as lines, so that no font is needed on the dark square.
fn letter(name: &str, [x, y]: [f64; 2]) -> String {
    let d = match name {
        "A" => "m-5 6l5 -12l5 12m-8 -4h6",
        "B" => "m-4 -6v12h4a3 3 0 0 0 0 -6h-4h3a3 3 0 0 0 0 -6z",
        _ => "m5 -4a6 6 0 1 0 0 8",
    };
    format!("M{x:.1} {y:.1}{d}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_sign_covers_another() {
        let landing = [100.0, 100.0];
        assert_eq!(free_of([200.0, 100.0], &[landing]), [200.0, 100.0]);
        let mut taken = vec![landing];
        for _ in 0..6 {
            let sign = free_of([101.0, 99.0], &taken);
            for t in &taken {
                let far = (sign[0] - t[0]).abs().max((sign[1] - t[1]).abs());
                assert!(far >= 2.0 * SIGN_ROOM, "{sign:?} covers {t:?}");
            }
            taken.push(sign);
        }
    }
}
