//! What a fill trades: neck lift across; rate, burst, flight time and gas up.

use super::axis::{axis_step, tick};
use super::picture::{Anchor, Picture};
use crate::fill::Fill;
use crate::fill::answer::{Curve, CurvePoint, FlightSummary};
use crate::report::cautions::AID;
use crate::report::fill_words::{cylinders_used, opening_name, release, title};
use crate::report::palette::{
    BALLOONS, CURVE_GRID, Colour, NO_FLIGHT, PAPER, SLOW, TEXT, TOO_MUCH_GAS, TOO_WIDE,
};
use crate::units::{CUBIC_FOOT_M3, FOOT_M, POUND_KG, UnitSystem};

const SIZE: [f64; 2] = [1040.0, 888.0];
const PANEL: [f64; 2] = [400.0, 270.0];
const LEFT: [f64; 2] = [70.0, 570.0];
const TOP: [f64; 2] = [92.0, 446.0];

/// A panel reaches to this many times the chosen value at most.
const OF_CHOSEN: f64 = 3.0;

/// One panel: its heading by units, and the number of a point in these units.
struct Panel {
    heading: fn(UnitSystem) -> &'static str,
    value: fn(&CurvePoint, UnitSystem) -> Option<f64>,
}

const PANELS: [Panel; 4] = [
    Panel {
        heading: |units| match units {
            UnitSystem::Metric => "ascent rate at release, m/s",
            UnitSystem::Us => "ascent rate at release, ft/min",
        },
        value: |p, units| {
            let m_s = p.flight?.release_rate_m_s;
            Some(match units {
                UnitSystem::Metric => m_s,
                UnitSystem::Us => m_s / FOOT_M * 60.0,
            })
        },
    },
    Panel {
        heading: |units| match units {
            UnitSystem::Metric => "burst altitude above sea level, km",
            UnitSystem::Us => "burst altitude above sea level, thousand ft",
        },
        value: |p, units| {
            let m = p.flight?.burst_m;
            Some(match units {
                UnitSystem::Metric => m / 1e3,
                UnitSystem::Us => m / FOOT_M / 1e3,
            })
        },
    },
    Panel {
        heading: |_| "flight time, hours",
        value: |p, _| Some(p.flight?.whole_s / 3_600.0),
    },
    Panel {
        heading: |units| match units {
            UnitSystem::Metric => "gas at the site, m3",
            UnitSystem::Us => "gas at the site, ft3",
        },
        value: |p, units| {
            Some(match units {
                UnitSystem::Metric => p.volume_m3,
                UnitSystem::Us => p.volume_m3 / CUBIC_FOOT_M3,
            })
        },
    },
];

/// A stretch of neck lifts that a limit rules out, kg, with its colour and what it is.
struct Shade {
    from_kg: f64,
    to_kg: f64,
    fill: Colour,
    why: String,
}

/// Draws the trade-offs.
pub fn draw(fill: &Fill, slow_m_s: f64, units: UnitSystem) -> Picture {
    let mut picture = Picture::new(SIZE[0], SIZE[1]);
    let heading = title(fill, "What a fill trades");
    picture.text([16.0, 30.0], 20.0, Anchor::Start, &heading);
    let under = format!(
        "neck lift across; load {}; release {}",
        units.mass(fill.ledger.load_kg),
        release(fill)
    );
    picture.text([16.0, 52.0], 13.0, Anchor::Start, &under);
    let shades = shades(fill, slow_m_s, units);
    for (i, panel) in PANELS.iter().enumerate() {
        let at = [LEFT[i % 2], TOP[i / 2]];
        draw_panel(&mut picture, panel, at, fill, &shades, units);
    }
    legend(&mut picture, fill, &shades, units);
    picture
}

fn lift(kg: f64, units: UnitSystem) -> f64 {
    match units {
        UnitSystem::Metric => kg,
        UnitSystem::Us => kg / POUND_KG,
    }
}

/// First and last neck lift of the curves, kg.
fn reach(fill: &Fill) -> [f64; 2] {
    let points = fill.curves.first().map_or(&[][..], |c| &c.points[..]);
    let ends = points.first().zip(points.last());
    let [low, high] = ends.map_or([0.0, 1.0], |(a, b)| [a.neck_kg, b.neck_kg]);
    // The chosen fill is in the picture even where it does not raise the load.
    [
        low.min(fill.lift.neck_kg.max(0.0)),
        high.max(fill.lift.neck_kg),
    ]
}

/// What limits the plan's own balloon.
fn shades(fill: &Fill, slow_m_s: f64, units: UnitSystem) -> Vec<Shade> {
    let Some(own) = fill.curves.first() else {
        return Vec::new();
    };
    let [low, high] = reach(fill);
    let mut shades = Vec::new();
    let flies = own.points.iter().find(|p| p.flight.is_some());
    // Where no lift makes a flight the whole panel is ruled out.
    let first = flies.map_or(high, |p| p.neck_kg);
    shades.push(Shade {
        from_kg: low,
        to_kg: first,
        fill: NO_FLIGHT,
        why: "it does not rise to a burst".into(),
    });
    let slow = crossing(
        own,
        // What does not fly has no rate, and counts as slower than any.
        |p| p.flight.map_or(0.0, |f| f.release_rate_m_s),
        slow_m_s,
    );
    shades.push(Shade {
        from_kg: first,
        to_kg: slow.unwrap_or(high),
        fill: SLOW,
        why: format!(
            "slower than {} (by judgement)",
            units.vertical_speed(slow_m_s)
        ),
    });
    let mut beyond = |limit: Option<f64>, fill, why: String| {
        let to_kg = high;
        shades.extend(limit.map(|from_kg| Shade {
            from_kg,
            to_kg,
            fill,
            why,
        }));
    };
    for opening in &fill.lift.openings {
        let limit = crossing(own, |p| p.diameter_m, opening.side_m - opening.margin_m);
        // The finding counts the high bound of the lift.
        let limit = limit.map(|kg| (kg / (1.0 + fill.lift_test.bounds_share)).max(low));
        let what = opening_name(opening.kind);
        beyond(
            limit,
            TOO_WIDE,
            format!("too wide for the {what} of {}", units.size(opening.side_m)),
        );
    }
    if fill.cylinders.at_hand {
        let limit = crossing(own, |p| p.volume_m3, fill.cylinders.give_m3);
        let gives = units.volume(fill.cylinders.give_m3);
        beyond(
            limit,
            TOO_MUCH_GAS,
            format!("more gas than the {gives} at hand"),
        );
    }
    shades.retain(|s| s.to_kg > s.from_kg);
    // Where they overlap, each is seen from where it begins.
    shades.sort_by(|a, b| a.from_kg.total_cmp(&b.from_kg));
    shades
}

/// The neck lift, kg, at which a number of a curve that grows with it reaches a limit.
fn crossing(curve: &Curve, value: impl Fn(&CurvePoint) -> f64, limit: f64) -> Option<f64> {
    let first = curve.points.first()?;
    // Beyond it from the first point on: nothing is crossed, and all of it is ruled out.
    if value(first) >= limit {
        return Some(first.neck_kg);
    }
    curve.points.windows(2).find_map(|w| {
        let (a, b) = (value(&w[0]), value(&w[1]));
        let share = (limit - a) / (b - a);
        (a < limit && b >= limit).then(|| w[0].neck_kg + share * (w[1].neck_kg - w[0].neck_kg))
    })
}

/// A panel's axes: where it lies, neck lifts across and values up, in the units shown.
struct PanelAxes {
    at: [f64; 2],
    lifts: [f64; 2],
    values: [f64; 2],
    step: f64,
    units: UnitSystem,
}

impl PanelAxes {
    fn new(panel: &Panel, at: [f64; 2], fill: &Fill, units: UnitSystem) -> PanelAxes {
        let values = fill.curves.iter().flat_map(|c| &c.points);
        let values: Vec<f64> = values.filter_map(|p| (panel.value)(p, units)).collect();
        let mut largest = values.iter().copied().fold(0.0, f64::max);
        // A stack that hardly rises flies for many hours: that would press all others flat.
        let of_chosen = (panel.value)(&chosen(fill), units).unwrap_or(largest);
        largest = largest.min(OF_CHOSEN * of_chosen.max(f64::MIN_POSITIVE));
        let smallest = values.iter().copied().fold(largest, f64::min);
        // From zero, unless that would hide what changes.
        let base = if smallest > 0.5 * largest {
            0.9 * smallest
        } else {
            0.0
        };
        let step = axis_step((largest - base).max(1e-9), 7.0);
        let low = (base / step).floor() * step;
        // One step at the least, as the panel divides by its height.
        let high = (largest / step).ceil().max(low / step + 1.0) * step;
        PanelAxes {
            at,
            lifts: reach(fill).map(|kg| lift(kg, units)),
            values: [low, high],
            step,
            units,
        }
    }

    /// Where a neck lift in the units shown is.
    fn across(&self, lift: f64) -> f64 {
        let [from, to] = self.lifts;
        self.at[0] + PANEL[0] * (lift - from) / (to - from)
    }

    /// Where a neck lift is.
    fn x(&self, kg: f64) -> f64 {
        self.across(lift(kg, self.units))
    }

    /// Where a value is.
    fn y(&self, value: f64) -> f64 {
        let [low, high] = self.values;
        self.at[1] + PANEL[1] * (high - value) / (high - low)
    }

    fn draw(&self, picture: &mut Picture) {
        let [left, top] = self.at;
        let [right, bottom] = [left + PANEL[0], top + PANEL[1]];
        let [low, high] = self.values;
        let count = ((high - low) / self.step).round() as i64;
        for k in 0..=count {
            let value = low + self.step * k as f64;
            let y = self.y(value);
            picture.line(&[[left, y], [right, y]], 0.6, CURVE_GRID);
            let text = tick(value, self.step);
            picture.text([left - 8.0, y + 4.0], 12.0, Anchor::End, &text);
        }
        let [from, to] = self.lifts;
        let step = axis_step(to - from, 8.0);
        let mut lift = (from / step).ceil() * step;
        while lift <= to {
            let x = self.across(lift);
            picture.line(&[[x, bottom], [x, bottom + 5.0]], 1.0, TEXT);
            let text = tick(lift, step);
            picture.text([x, bottom + 19.0], 12.0, Anchor::Middle, &text);
            lift += step;
        }
        let unit = match self.units {
            UnitSystem::Metric => "neck lift, kg",
            UnitSystem::Us => "neck lift, lb",
        };
        picture.text([right, bottom + 36.0], 12.0, Anchor::End, unit);
        let axes = [[left, top], [left, bottom], [right, bottom]];
        picture.line(&axes, 1.2, TEXT);
    }
}

fn draw_panel(
    picture: &mut Picture,
    panel: &Panel,
    at: [f64; 2],
    fill: &Fill,
    shades: &[Shade],
    units: UnitSystem,
) {
    let axes = PanelAxes::new(panel, at, fill, units);
    let [left, top] = at;
    let [right, bottom] = [left + PANEL[0], top + PANEL[1]];
    for shade in shades {
        let (a, b) = (axes.x(shade.from_kg), axes.x(shade.to_kg));
        picture.rectangle([a, top], [b - a, PANEL[1]], shade.fill);
    }
    let heading = (panel.heading)(units);
    picture.text([left, top - 10.0], 14.0, Anchor::Start, heading);
    axes.draw(picture);
    // The plan's own balloon is drawn last, over the others.
    for (i, curve) in fill.curves.iter().enumerate().rev() {
        let points: Vec<[f64; 2]> = curve
            .points
            .iter()
            .filter_map(|p| Some((p.neck_kg, (panel.value)(p, units)?)))
            // Beyond its frame a curve would run through the heading and the panel above.
            .filter(|(_, v)| *v <= axes.values[1])
            .map(|(kg, v)| [axes.x(kg), axes.y(v)])
            .collect();
        picture.line(&points, thickness(i), BALLOONS[i % BALLOONS.len()]);
    }
    label_ends(picture, panel, fill, right, |v| axes.y(v), units);
    let chosen = chosen(fill);
    let x = axes.x(chosen.neck_kg);
    picture.line(&[[x, top], [x, bottom]], 1.0, TEXT);
    if let Some(value) = (panel.value)(&chosen, units) {
        picture.dot([x, axes.y(value)], 7.0, TEXT);
        picture.dot([x, axes.y(value)], 4.0, PAPER);
    }
}

/// The plan's own balloon, the first, has the thicker line.
fn thickness(curve: usize) -> f64 {
    if curve == 0 { 3.2 } else { 1.8 }
}

/// Each curve's balloon at its right end, where there is room between them.
fn label_ends(
    picture: &mut Picture,
    panel: &Panel,
    fill: &Fill,
    right: f64,
    y: impl Fn(f64) -> f64,
    units: UnitSystem,
) {
    let ends: Vec<(f64, f64)> = fill
        .curves
        .iter()
        .filter_map(|c| Some((y((panel.value)(c.points.last()?, units)?), c.balloon_kg)))
        .collect();
    let apart = |i: usize, j: usize| (ends[i].0 - ends[j].0).abs() >= 14.0;
    // All or none: beside a curve without a name, the name of another may be taken for its own.
    if (0..ends.len()).all(|i| (0..i).all(|j| apart(i, j))) {
        for (at, kg) in ends {
            let text = units.balloon(kg);
            picture.text([right + 4.0, at + 4.0], 11.0, Anchor::Start, &text);
        }
    }
}

/// The chosen fill as a point.
fn chosen(fill: &Fill) -> CurvePoint {
    CurvePoint {
        neck_kg: fill.lift.neck_kg,
        volume_m3: fill.lift.volume_m3,
        diameter_m: fill.lift.release_diameter_m,
        flight: fill.flight.as_ref().map(|f| FlightSummary {
            release_rate_m_s: f.release_rate_m_s,
            burst_m: f.burst_m,
            whole_s: f.rise_s + f.fall_s,
        }),
    }
}

fn legend(picture: &mut Picture, fill: &Fill, shades: &[Shade], units: UnitSystem) {
    let mut y = TOP[1] + PANEL[1] + 64.0;
    let mut x = 16.0;
    for (i, curve) in fill.curves.iter().enumerate() {
        let colour = BALLOONS[i % BALLOONS.len()];
        picture.line(&[[x, y - 4.0], [x + 26.0, y - 4.0]], thickness(i), colour);
        let which = if i == 0 { " (the plan's)" } else { "" };
        let burst = match curve.burst_diameter_m {
            Some(diameter_m) => format!(", bursts at {}", units.size(diameter_m)),
            None => String::new(),
        };
        let text = format!("{}{which}{burst}", units.balloon(curve.balloon_kg));
        picture.text([x + 32.0, y], 12.0, Anchor::Start, &text);
        // About what our font takes at this size: nothing here measures text.
        x += 60.0 + 7.0 * text.len() as f64;
    }
    picture.dot([x + 6.0, y - 4.0], 6.0, TEXT);
    picture.dot([x + 6.0, y - 4.0], 3.5, PAPER);
    picture.text([x + 18.0, y], 12.0, Anchor::Start, "chosen");
    y += 22.0;
    x = 16.0;
    for shade in shades {
        let wide = 48.0 + 6.6 * shade.why.len() as f64;
        if x + wide > SIZE[0] {
            x = 16.0;
            y += 20.0;
        }
        picture.rectangle([x, y - 12.0], [16.0, 14.0], shade.fill);
        picture.text([x + 22.0, y], 12.0, Anchor::Start, &shade.why);
        x += wide;
    }
    y += 22.0;
    let cylinders = format!("cylinders: {}", cylinders_used(&fill.cylinders, units));
    picture.text([16.0, y], 12.0, Anchor::Start, &cylinders);
    picture.text([16.0, y + 20.0], 12.0, Anchor::Start, AID);
}
