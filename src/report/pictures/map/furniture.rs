//! What makes a drawing a map: the grid of coordinates, scale, north, the key.

use super::flight::{DOWN, SIGN, UP, contour_look, ellipse_look};
use super::ground::{
    BORDERS, KEEPING_OUT, KeyEntries, LAKES, LANDING, POWER_LINES, ROAD, SmallAirfields, TOWNS,
};
use super::sheet::Sheet;
use super::sizes::{SMALL, TEXT};
use crate::brief::Brief;
use crate::report::palette::{INK, MAP_GRID, PAPER, SLOPES};
use crate::report::pictures::picture::{Anchor, Look, Paint, Picture};
use crate::report::words::region_name;
use crate::spread::region::is_outer;
use crate::units::{MILE_M, UnitSystem};
use crate::zone::Zone;

/// Steps of the grid, degrees.
const STEPS: [f64; 10] = [0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0];
/// Lines of the grid across the sheet at most.
const MOST_LINES: f64 = 6.0;

/// Draws meridians and parallels; the names go to the edges of the sheet.
pub fn grid(picture: &mut Picture, sheet: &Sheet) -> Vec<([f64; 2], Anchor, String)> {
    let region = sheet.region();
    let mut names = Vec::new();
    let look = Look::line(MAP_GRID, 0.8).faint(0.75);
    // Where meridians crowd, beside a pole, they are no help.
    let crowded = region.lat.iter().any(|lat| lat.abs() > 88.0);
    for (axis, [low, high]) in [region.lon, region.lat].into_iter().enumerate() {
        if axis == 0 && crowded {
            continue;
        }
        let step = STEPS
            .into_iter()
            .find(|s| (high - low) / s <= MOST_LINES)
            .unwrap_or(30.0);
        let first = (low / step).ceil() as i64;
        // By whole numbers of steps, as sums of them would drift off round degrees.
        for k in first..=(high / step).floor() as i64 {
            let value = k as f64 * step;
            let [from, to] = if axis == 0 { region.lat } else { region.lon };
            // In pieces, as a parallel is a curve on the plane.
            let line: Vec<[f64; 2]> = (0..=24)
                .map(|i| {
                    let along = from + f64::from(i) / 24.0 * (to - from);
                    sheet.lon_lat(if axis == 0 {
                        [value, along]
                    } else {
                        [along, value]
                    })
                })
                .collect();
            picture.path(std::slice::from_ref(&line), false, look);
            names.extend(edge_name(sheet, &line, axis, value, step));
        }
    }
    names
}

/// The name of a line of the grid, where it leaves the sheet: parallels on the left, meridians
/// below.
fn edge_name(
    sheet: &Sheet,
    line: &[[f64; 2]],
    axis: usize,
    value: f64,
    step: f64,
) -> Option<([f64; 2], Anchor, String)> {
    let decimals = if step < 0.1 {
        2
    } else {
        usize::from(step < 1.0)
    };
    // Beside the antimeridian a region has longitudes beyond 180 degrees.
    let turned = (value + 180.0).rem_euclid(360.0) - 180.0;
    let (value, side) = match axis {
        0 => (turned, if turned < 0.0 { 'W' } else { 'E' }),
        _ => (value, if value < 0.0 { 'S' } else { 'N' }),
    };
    let text = format!("{:.decimals$} {side}", value.abs());
    let (edge, k) = if axis == 0 {
        (sheet.size[1], 1)
    } else {
        (0.0, 0)
    };
    let crossing = line.windows(2).find_map(|w| {
        let (a, b) = (w[0], w[1]);
        let crosses = (a[k] - edge) * (b[k] - edge) <= 0.0 && a[k] != b[k];
        let t = (edge - a[k]) / (b[k] - a[k]);
        crosses.then(|| a[1 - k] + t * (b[1 - k] - a[1 - k]))
    })?;
    // In a corner the names of both directions would meet.
    let room = 40.0;
    let inside = crossing > room && crossing < sheet.size[1 - k] - room;
    let (at, anchor) = match axis {
        0 => ([crossing, sheet.size[1] - 5.0], Anchor::Middle),
        _ => ([4.0, crossing - 4.0], Anchor::Start),
    };
    inside.then_some((at, anchor, text))
}

/// Writes the names of the grid.
pub fn grid_names(picture: &mut Picture, names: &[([f64; 2], Anchor, String)]) {
    for (at, anchor, text) in names {
        picture.edged_text(*at, SMALL, *anchor, text);
    }
}

/// The room that the scale and the arrow to true north take.
pub const SCALE_ROOM: [f64; 2] = [14.6 * SMALL, 4.4 * SMALL];

/// Draws the scale bar and north into the room whose upper left corner is given.
pub fn scale(picture: &mut Picture, sheet: &Sheet, [x, y]: [f64; 2], units: UnitSystem) {
    let (unit_m, unit) = match units {
        UnitSystem::Metric => (1_000.0, "km"),
        UnitSystem::Us => (MILE_M, "mi"),
    };
    picture.rectangle([x, y], SCALE_ROOM, PAPER);
    // The arrow to the north takes the rest of the room.
    let most = 9.3 * SMALL * sheet.unit_m / unit_m;
    let power = 10f64.powf(most.log10().floor());
    let length = [5.0, 2.0, 1.0]
        .into_iter()
        .map(|m| m * power)
        .find(|l| *l <= most)
        .unwrap_or(power);
    let wide = length * unit_m / sheet.unit_m;
    let (left, base, thick) = (x + SMALL, y + 1.7 * SMALL, 0.55 * SMALL);
    for k in 0..4 {
        let colour = if k % 2 == 0 { INK } else { PAPER };
        picture.rectangle(
            [left + 0.25 * wide * f64::from(k), base],
            [0.25 * wide, thick],
            colour,
        );
    }
    picture.frame([left, base, left + wide, base + thick], 1.2, INK);
    picture.text([left, base - 6.0], SMALL, Anchor::Start, "0");
    // Multiples of a tenth carry errors of rounding, which would all be written.
    let far = format!("{} {unit}", (length * 1_000.0).round() / 1_000.0);
    picture.text([left + wide, base - 6.0], SMALL, Anchor::Middle, &far);
    let below = base + thick + 1.25 * SMALL;
    picture.text([left, below], SMALL, Anchor::Start, "north: true");
    let (nx, ny) = (x + SCALE_ROOM[0] - 1.7 * SMALL, y + 0.6 * SMALL);
    let half = |side: f64| {
        let tip = [nx, ny];
        [
            tip,
            [nx + side * 0.6 * SMALL, ny + 2.0 * SMALL],
            [nx, ny + 1.5 * SMALL],
        ]
    };
    picture.shape(&half(-1.0), INK);
    picture.path(
        &[half(1.0).to_vec()],
        true,
        Look::area(Paint::Colour(PAPER)).edged(INK, 1.4),
    );
    picture.text([nx, ny + 3.3 * SMALL], TEXT, Anchor::Middle, "N");
}

/// A sample of what is drawn.
pub enum Sample {
    /// A line.
    Line(Look),
    /// An area.
    Area(Look),
    /// A sign, as a path from its middle.
    Sign(&'static str),
}

/// Height of a key of so many samples.
pub fn key_height(samples: &[(Sample, String)]) -> f64 {
    samples.len().div_ceil(2) as f64 * KEY_LINE + 20.0
}

/// Height of a line of the key.
const KEY_LINE: f64 = 1.5 * TEXT;

/// Draws the key, two columns wide, below `y`.
pub fn key(picture: &mut Picture, samples: &[(Sample, String)], width: f64, y: f64) {
    for (i, (sample, text)) in samples.iter().enumerate() {
        let x = 0.5 * width * (i % 2) as f64 + 8.0;
        let middle = y + KEY_LINE * ((i / 2) as f64 + 0.5);
        match sample {
            Sample::Line(look) => {
                let line = vec![[x, middle], [x + 52.0, middle]];
                picture.path(&[line], false, *look);
            }
            Sample::Area(look) => {
                let [l, t, r, b] = [x + 4.0, middle - 8.0, x + 48.0, middle + 8.0];
                picture.path(&[vec![[l, t], [r, t], [r, b], [l, b]]], true, *look);
            }
            Sample::Sign(d) => {
                picture.raw_path(&format!("M{:.1} {middle:.1}{d}", x + 26.0), SIGN);
            }
        }
        picture.text([x + 62.0, middle + 0.36 * TEXT], TEXT, Anchor::Start, text);
    }
}

/// What is drawn, with its sample: the zone, the flight, the ground.
pub fn samples(brief: &Brief, drawn: &KeyEntries) -> Vec<(Sample, String)> {
    let mut samples = zone_samples(&brief.zone);
    let named = |(sample, name): (Sample, &str)| (sample, name.to_owned());
    samples.extend(FLIGHT_SAMPLES.map(named));
    samples.extend(ground_shown(drawn));
    samples
}

/// Samples of what lies on the ground, as far as it is drawn.
pub fn ground_shown(drawn: &KeyEntries) -> Vec<(Sample, String)> {
    let all = ground_samples(drawn).into_iter();
    let shown = all.filter(|(shown, ..)| *shown);
    shown
        .map(|(_, sample, name)| (sample, name.to_owned()))
        .collect()
}

/// Samples of the ellipses and contours.
pub fn zone_samples(zone: &Zone) -> Vec<(Sample, String)> {
    let ellipses = zone.ellipses.iter().filter_map(|ellipse| {
        let p = ellipse.shape.probability;
        let outer = if is_outer(p) { ", the outer line" } else { "" };
        let text = format!("{}{outer}", region_name("ellipse", p));
        Some((Sample::Line(ellipse_look(p)?), text))
    });
    let contours = zone.contours.iter().map(|contour| {
        let p = contour.probability;
        (Sample::Line(contour_look(p)), region_name("contour", p))
    });
    ellipses.chain(contours).collect()
}

const FLIGHT_SAMPLES: [(Sample, &str); 4] = [
    (Sample::Line(UP), "way up"),
    (Sample::Line(DOWN), "way down"),
    (
        Sample::Sign("m-14 -8l-7 13h14zm28 13l-7 -13h14z"),
        "height, up and down",
    ),
    (Sample::Sign("m0 -8v16m-10 -8h20"), "minutes flown"),
];

/// The sign of what was left out.
const CROSSED_OUT: &str = "m-8 -5l16 10m0 -10l-16 10";

/// What may lie on the ground: whether it was drawn, its sample, its name.
fn ground_samples(drawn: &KeyEntries) -> [(bool, Sample, &'static str); 12] {
    let roads = if drawn.roads_left_out {
        "roads (small ones left out)"
    } else {
        "roads, wider the busier"
    };
    let slopes = Look::area(Paint::Colour(SLOPES[2]));
    [
        (drawn.roads, Sample::Line(ROAD), roads),
        (
            !drawn.roads && drawn.roads_left_out,
            Sample::Sign(CROSSED_OUT),
            "roads left out: too many for this map",
        ),
        (drawn.power_lines, Sample::Line(POWER_LINES), "power line"),
        (
            drawn.borders,
            Sample::Line(BORDERS),
            "state or country border",
        ),
        (drawn.water, Sample::Area(LAKES), "water"),
        (drawn.towns, Sample::Area(TOWNS), "built-up area"),
        (drawn.keep_out, Sample::Area(KEEPING_OUT), "keep out"),
        (drawn.land_in, Sample::Area(LANDING), "good to land in"),
        (
            drawn.relief,
            Sample::Area(slopes),
            "slopes, lit from north-west",
        ),
        (
            drawn.airfields,
            Sample::Sign("m-8 0a8 8 0 1 0 16 0a8 8 0 1 0 -16 0m4 0h8m-4 -4v8"),
            "airfield, hard or long runway",
        ),
        (
            drawn.small_airfields == SmallAirfields::Dots,
            Sample::Sign("m-3 0a3 3 0 1 0 6 0a3 3 0 1 0 -6 0"),
            "airstrip",
        ),
        (
            drawn.small_airfields == SmallAirfields::LeftOut,
            Sample::Sign(CROSSED_OUT),
            "airstrips left out",
        ),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Roads that are not drawn for want of room are told, also where none is left.
    #[test]
    fn roads_that_are_left_out_are_told() {
        let told = |roads: bool, roads_left_out: bool| {
            let drawn = KeyEntries {
                roads,
                roads_left_out,
                ..KeyEntries::default()
            };
            let names = ground_shown(&drawn).into_iter().map(|(_, name)| name);
            names
                .filter(|name| name.contains("roads"))
                .collect::<Vec<_>>()
        };
        assert_eq!(told(true, false), ["roads, wider the busier"]);
        assert_eq!(told(true, true), ["roads (small ones left out)"]);
        assert_eq!(told(false, true), ["roads left out: too many for this map"]);
        assert!(told(false, false).is_empty());
    }
}
