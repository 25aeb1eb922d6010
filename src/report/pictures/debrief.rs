//! Small pictures of a flight's miss and of many flights' ranks in their zones.

use super::picture::{Anchor, Look, Paint, Picture};
use crate::debrief::Debrief;
use crate::debrief::scores::Many;
use crate::report::palette::{CHART_GRID, CONTOUR, ELLIPSE, INK, USUAL};
use crate::report::tables::debrief::cause_name;
use crate::units::UnitSystem;

/// Width, units; on a phone one is half a pixel.
const WIDTH: f64 = 720.0;
/// Letters.
const TEXT: f64 = 20.0;
/// Room for the names, and for the numbers at the ends of bars.
const NAMES: f64 = 150.0;
const NUMBERS: f64 = 90.0;
/// Height of a row, and of a bar in it.
const ROW: f64 = 56.0;
const BAR: f64 = 20.0;
const TOP: f64 = 78.0;

/// What caused the miss: for each cause a bar along the drift and one across it, the miss last.
pub fn causes(d: &Debrief, units: UnitSystem) -> Picture {
    let mut rows: Vec<(&str, [f64; 2])> = d
        .causes
        .iter()
        .map(|part| (cause_name(part.cause), part.along_across_m))
        .collect();
    rows.push(("the miss", d.along_across_m));
    let most_m = rows.iter().flat_map(|(_, m)| m.map(f64::abs));
    // A metre at the least: a flight that came down as planned has no bar to scale by.
    let most_m = most_m.fold(1.0, f64::max);
    // Bars go both ways, with a number at either end.
    let room = 0.5 * (WIDTH - NAMES) - NUMBERS;
    let zero = NAMES + NUMBERS + room;
    let bottom = TOP + ROW * rows.len() as f64;
    let mut picture = Picture::new(WIDTH, bottom + 12.0);
    let along = Look::area(Paint::Colour(ELLIPSE)).edged(ELLIPSE, 1.5);
    let across = Look::area(Paint::Tint(CONTOUR, 0.25)).edged(CONTOUR, 2.5);
    for (side, look, y, words) in [
        (
            0,
            along,
            10.0,
            "along the drift: short (left), long (right)",
        ),
        (1, across, 40.0, "across it: left, right"),
    ] {
        let sample = bar([NAMES, y], 40.0);
        picture.path(&[sample], true, look);
        picture.text([NAMES + 52.0, y + 0.8 * BAR], TEXT, Anchor::Start, words);
        for (k, (_, m)) in rows.iter().enumerate() {
            let top = TOP + ROW * k as f64 + 6.0 + side as f64 * (BAR + 3.0);
            let long = m[side] / most_m * room;
            picture.path(&[bar([zero, top], long)], true, look);
            let (at, anchor) = match long < 0.0 {
                true => (zero + long - 6.0, Anchor::End),
                false => (zero + long + 6.0, Anchor::Start),
            };
            let value = units.distance(m[side].abs());
            picture.text([at, top + 0.8 * BAR], TEXT, anchor, &value);
        }
    }
    for (k, (name, _)) in rows.iter().enumerate() {
        let y = TOP + ROW * k as f64;
        picture.text([8.0, y + 0.5 * ROW + 7.0], TEXT, Anchor::Start, name);
        let last = k + 1 == rows.len();
        let colour = if last { INK } else { CHART_GRID };
        picture.line(
            &[[0.0, y], [WIDTH, y]],
            if last { 2.0 } else { 1.0 },
            colour,
        );
    }
    picture.line(&[[zero, TOP], [zero, bottom]], 2.0, INK);
    picture
}

/// A bar from its upper end at zero.
fn bar([x, y]: [f64; 2], long: f64) -> Vec<[f64; 2]> {
    vec![[x, y], [x + long, y], [x + long, y + BAR], [x, y + BAR]]
}

/// Flights by where in their zones they came down: bars of one height if zones are right.
pub fn ranks(many: &Many) -> Picture {
    let (left, base, high) = (60.0, 330.0, 250.0);
    let mut picture = Picture::new(WIDTH, 420.0);
    let most = many.ranks.iter().copied().max().unwrap_or(0);
    // High enough for the band as well, which may reach above every bar.
    let most = (most as f64).max(f64::from(many.usual[1])).max(1.0);
    let at = |count: f64| base - count / most * high;
    let wide = (WIDTH - left - 20.0) / many.ranks.len() as f64;
    let [low, top] = many.usual.map(f64::from);
    let band = [[left, at(top)], [WIDTH - 20.0, at(low)]];
    picture.rectangle(
        band[0],
        [band[1][0] - left, band[1][1] - band[0][1]],
        CHART_GRID,
    );
    for (k, count) in many.ranks.iter().enumerate() {
        let x = left + wide * k as f64;
        let y = at(*count as f64);
        let corners = vec![
            [x + 12.0, y],
            [x + wide - 12.0, y],
            [x + wide - 12.0, base],
            [x + 12.0, base],
        ];
        let look = Look::area(Paint::Tint(USUAL, 0.65)).edged(INK, 2.0);
        picture.path(&[corners], true, look);
        picture.edged_text(
            [x + 0.5 * wide, y - 8.0],
            TEXT,
            Anchor::Middle,
            &count.to_string(),
        );
        let edge = format!("{:.0} %", 100.0 * k as f64 / many.ranks.len() as f64);
        picture.text([x, base + 26.0], TEXT, Anchor::Middle, &edge);
    }
    picture.text([WIDTH - 20.0, base + 26.0], TEXT, Anchor::Middle, "100 %");
    picture.line(&[[left, base], [WIDTH - 20.0, base]], 2.0, INK);
    let words = "share of a zone's draws that were nearer to its middle than the flight";
    picture.text([left, base + 60.0], TEXT, Anchor::Start, words);
    picture.text(
        [left, 26.0],
        TEXT,
        Anchor::Start,
        "flights (in the grey band 19 times in 20 if zones are right)",
    );
    picture
}
