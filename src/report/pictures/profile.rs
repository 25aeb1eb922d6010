//! Wind speed and direction by height, as a picture that also works on a phone and in black and
//! white.

use super::axis::{axis_step, height_unit, speed_unit, tick};
use super::picture::{Anchor, Picture};
use crate::report::palette::{NO_WINDS, PAPER, PROFILE_GRID, TEXT};
use crate::report::tables::winds::{place_text, time_text, wind_gaps};
use crate::units::UnitSystem;
use crate::wind::cleaning::least_gap_m;
use crate::wind::sounding::{Sounding, Wind};

const WIDTH: f64 = 1000.0;
const HEIGHT: f64 = 1230.0;
/// Upper and lower end of the height axis.
const TOP: f64 = 230.0;
const BOTTOM: f64 = 1010.0;
/// Left and right ends of the three panels.
const SPEED: [f64; 2] = [130.0, 500.0];
const ARROWS: [f64; 2] = [520.0, 610.0];
const FROM: [f64; 2] = [640.0, 960.0];
/// Sizes of text: heading, labels, numbers.
const LARGE: f64 = 36.0;
const MEDIUM: f64 = 26.0;
const SMALL: f64 = 24.0;

/// The units of both axes: symbol and size in SI.
struct Axes {
    height: (&'static str, f64),
    speed: (&'static str, f64),
}

/// The heights shown, and where they are in the picture.
struct HeightScale {
    low_m: f64,
    high_m: f64,
}

impl HeightScale {
    fn y(&self, altitude_m: f64) -> f64 {
        BOTTOM - (altitude_m - self.low_m) / (self.high_m - self.low_m) * (BOTTOM - TOP)
    }
}

/// Draws an ascent: speed on the left, arrows along the wind in the middle, the direction it comes
/// from on the right, all over the same heights. `title` heads the picture.
pub fn draw(sounding: &Sounding, title: &str, units: UnitSystem) -> Picture {
    let axes = Axes {
        height: height_unit(units),
        speed: speed_unit(units),
    };
    let winds = winds(sounding);
    let mut picture = Picture::new(WIDTH, HEIGHT);
    headings(&mut picture, sounding, title);
    let scale = height_axis(&mut picture, &winds, &axes);
    // Before the panels, whose lines have to lie over the grey.
    for (low, high) in wind_gaps(sounding) {
        gap(&mut picture, scale.y(low), scale.y(high));
    }
    speed_panel(&mut picture, &winds, &scale, &axes);
    arrow_panel(&mut picture, &winds, &scale);
    direction_panel(&mut picture, &winds, &scale);
    frame(&mut picture, SPEED);
    frame(&mut picture, FROM);
    let gap = units.distance(least_gap_m(sounding));
    footnotes(
        &mut picture,
        (!wind_gaps(sounding).is_empty()).then_some(gap),
    );
    picture
}

/// Heights and winds, no denser than the picture can show.
fn winds(sounding: &Sounding) -> Vec<(f64, Wind)> {
    let all = sounding
        .levels
        .iter()
        .filter_map(|level| Some((level.altitude_m, level.wind?)));
    let top = sounding.levels.last().map_or(0.0, |l| l.altitude_m);
    // About two pixels of the height axis: what lies closer together could not be told apart.
    let finest_m = top.abs() / 400.0;
    let mut shown: Vec<(f64, Wind)> = Vec::new();
    for (altitude_m, wind) in all {
        if shown.last().is_none_or(|l| altitude_m - l.0 >= finest_m) {
            shown.push((altitude_m, wind));
        }
    }
    shown
}

fn headings(picture: &mut Picture, sounding: &Sounding, title: &str) {
    // More would run off the picture.
    let title: String = title.chars().take(42).collect();
    picture.text([40.0, 60.0], LARGE, Anchor::Start, &title);
    let second = format!("{}, at {}", time_text(sounding), place_text(sounding));
    let second = match (sounding.time, sounding.position) {
        (None, None) => "time and place are not in the file".to_owned(),
        (Some(_), None) => time_text(sounding),
        (None, Some(_)) => format!("{}, time not in the file", place_text(sounding)),
        _ => second,
    };
    picture.text([40.0, 104.0], MEDIUM, Anchor::Start, &second);
}

/// Draws the heights over all panels and returns their scale, from sea level where that is near.
fn height_axis(picture: &mut Picture, winds: &[(f64, Wind)], axes: &Axes) -> HeightScale {
    let (symbol, unit_m) = axes.height;
    let lowest = winds.first().map_or(0.0, |w| w.0) / unit_m;
    let highest = winds.last().map_or(1.0, |w| w.0) / unit_m;
    // From sea level where that is near: far above it half of the picture would be empty.
    let from_zero = lowest >= 0.0 && lowest < 0.5 * highest;
    let bottom = if from_zero { 0.0 } else { lowest };
    // A sounding of one level has an axis, too.
    let step = axis_step((highest - bottom).max(0.1), 9.0);
    let first = (bottom / step).floor() * step;
    let steps = ((highest - first) / step).ceil().max(1.0) as usize;
    let scale = HeightScale {
        low_m: first * unit_m,
        high_m: (first + steps as f64 * step) * unit_m,
    };
    for i in 0..=steps {
        let value = first + i as f64 * step;
        let y = scale.y(value * unit_m);
        picture.line(&[[SPEED[0], y], [FROM[1], y]], 1.0, PROFILE_GRID);
        picture.text(
            [SPEED[0] - 12.0, y + 9.0],
            SMALL,
            Anchor::End,
            &tick(value, step),
        );
    }
    picture.turned_text(
        [42.0, 0.5 * (TOP + BOTTOM)],
        MEDIUM,
        Anchor::Middle,
        -90.0,
        &format!("height above sea level, {symbol}"),
    );
    scale
}

/// Shades heights over which the line between two levels is a guess.
fn gap(picture: &mut Picture, low_y: f64, high_y: f64) {
    for panel in [SPEED, FROM] {
        let size = [panel[1] - panel[0], low_y - high_y];
        picture.rectangle([panel[0], high_y], size, NO_WINDS);
    }
}

fn speed_panel(picture: &mut Picture, winds: &[(f64, Wind)], scale: &HeightScale, axes: &Axes) {
    let (symbol, unit_m_s) = axes.speed;
    let fastest = winds
        .iter()
        .map(|w| w.1.speed_m_s() / unit_m_s)
        // A calm is not blown up to fill the panel.
        .fold(1.0, f64::max);
    let step = axis_step(fastest, 5.0);
    let steps = (fastest / step).ceil() as usize;
    let x_of = |speed: f64| SPEED[0] + speed / (steps as f64 * step) * (SPEED[1] - SPEED[0]);
    for i in 0..=steps {
        let value = i as f64 * step;
        vertical(picture, x_of(value), &tick(value, step));
    }
    panel_title(picture, SPEED, "wind speed", symbol);
    let points: Vec<[f64; 2]> = winds
        .iter()
        .map(|(z, wind)| [x_of(wind.speed_m_s() / unit_m_s), scale.y(*z)])
        .collect();
    picture.line(&points, 3.5, TEXT);
    // Dots at many levels would grow together and hide the line.
    if points.len() <= 60 {
        points.iter().for_each(|&p| picture.dot(p, 4.5, TEXT));
    }
}

fn direction_panel(picture: &mut Picture, winds: &[(f64, Wind)], scale: &HeightScale) {
    let start = axis_start(winds);
    let x_of = |from: f64| {
        let share = (from - start).rem_euclid(360.0) / 360.0;
        FROM[0] + share * (FROM[1] - FROM[0])
    };
    for quarter in 0..=4_u8 {
        let share = f64::from(quarter) / 4.0;
        let x = FROM[0] + share * (FROM[1] - FROM[0]);
        let value = (start + 360.0 * share).rem_euclid(360.0);
        let name = ["N", "E", "S", "W"][(value / 90.0) as usize % 4];
        vertical(picture, x, &format!("{value:.0}"));
        picture.text([x, BOTTOM + 62.0], SMALL, Anchor::Middle, name);
    }
    panel_title(picture, FROM, "wind comes from", "degrees true");
    let points: Vec<[f64; 2]> = winds
        .iter()
        .map(|(z, wind)| [x_of(wind.from_deg()), scale.y(*z)])
        .collect();
    // From 350 to 10 degrees is a small turn, not a line across the whole panel.
    let half = 0.5 * (FROM[1] - FROM[0]);
    for run in unbroken(&points, |a, b| (a[0] - b[0]).abs() < half) {
        picture.line(run, 2.0, TEXT);
    }
    for (point, (_, wind)) in points.iter().zip(winds) {
        // A calm comes from nowhere.
        if wind.speed_m_s() > 0.0 {
            picture.dot(*point, 4.0, TEXT);
        }
    }
}

/// Where the axis of directions begins, in quarters of the compass: such that the winds lie near
/// its middle, for a line from one end to the other would be torn.
fn axis_start(winds: &[(f64, Wind)]) -> f64 {
    let off_middle = |start: f64| -> f64 {
        let off = |wind: &Wind| ((wind.from_deg() - start).rem_euclid(360.0) - 180.0).abs();
        winds.iter().map(|(_, wind)| off(wind)).sum()
    };
    [0.0, 90.0, 180.0, 270.0]
        .into_iter()
        .min_by(|&a, &b| off_middle(a).total_cmp(&off_middle(b)))
        .unwrap_or(0.0)
}

/// Arrows along the wind, north up, about twenty over the heights.
fn arrow_panel(picture: &mut Picture, winds: &[(f64, Wind)], scale: &HeightScale) {
    let x = 0.5 * (ARROWS[0] + ARROWS[1]);
    picture.text([x, TOP - 58.0], SMALL, Anchor::Middle, "blows");
    picture.text([x, TOP - 26.0], SMALL, Anchor::Middle, "towards");
    // The lines of the grid would run through the arrows.
    picture.rectangle(
        [ARROWS[0], TOP],
        [ARROWS[1] - ARROWS[0], BOTTOM - TOP],
        PAPER,
    );
    // Heights rise, so y falls: an arrow is due where the last one is left far enough below.
    let mut free = f64::INFINITY;
    for (altitude_m, wind) in winds {
        let y = scale.y(*altitude_m);
        if y <= free && y < BOTTOM - 18.0 && y > TOP + 18.0 {
            arrow(picture, [x, y], *wind);
            free = y - 44.0;
        }
    }
}

fn arrow(picture: &mut Picture, [x, y]: [f64; 2], wind: Wind) {
    let speed = wind.speed_m_s();
    // A calm points nowhere, and would divide by nothing.
    if speed == 0.0 {
        picture.dot([x, y], 5.0, TEXT);
        return;
    }
    // Along the wind and to its left, in the picture's y-down frame.
    let (along, left) = (
        [wind.east_m_s / speed, -wind.north_m_s / speed],
        [-wind.north_m_s / speed, -wind.east_m_s / speed],
    );
    let at = |a: f64, l: f64| {
        [
            x + a * along[0] + l * left[0],
            y + a * along[1] + l * left[1],
        ]
    };
    picture.line(&[at(-18.0, 0.0), at(8.0, 0.0)], 3.0, TEXT);
    picture.shape(&[at(20.0, 0.0), at(4.0, 8.0), at(4.0, -8.0)], TEXT);
}

/// Runs of points for whose neighbours `joined` holds.
fn unbroken(
    points: &[[f64; 2]],
    joined: impl Fn([f64; 2], [f64; 2]) -> bool,
) -> impl Iterator<Item = &[[f64; 2]]> {
    points.chunk_by(move |a, b| joined(*a, *b))
}

fn vertical(picture: &mut Picture, x: f64, label: &str) {
    picture.line(&[[x, TOP], [x, BOTTOM]], 1.0, PROFILE_GRID);
    picture.text([x, BOTTOM + 32.0], SMALL, Anchor::Middle, label);
}

fn panel_title(picture: &mut Picture, panel: [f64; 2], name: &str, unit: &str) {
    let x = 0.5 * (panel[0] + panel[1]);
    picture.text([x, TOP - 58.0], MEDIUM, Anchor::Middle, name);
    picture.text([x, TOP - 26.0], SMALL, Anchor::Middle, unit);
}

fn frame(picture: &mut Picture, [left, right]: [f64; 2]) {
    picture.frame([left, TOP, right, BOTTOM], 2.0, TEXT);
}

/// How to read it; with the height above which a step between levels is a gap, where there is one.
fn footnotes(picture: &mut Picture, gap: Option<String>) {
    let mut texts = vec![
        "Direction is where the wind comes from: 270 is a wind from the west.".to_owned(),
        "Arrows show which way it carries the balloon, north up.".to_owned(),
    ];
    texts.extend(
        gap.map(|gap| format!("Grey: levels over {gap} apart; the line between them is a guess.")),
    );
    for (i, text) in texts.iter().enumerate() {
        let y = BOTTOM + 120.0 + 34.0 * i as f64;
        picture.text([40.0, y], SMALL, Anchor::Start, text);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sources;

    fn picture(table: &str) -> String {
        let text = format!("altitude_m,wind_speed_m/s,wind_dir\n{table}");
        let s = sources::parse("f", &text, None).unwrap().remove(0);
        draw(&s, "f", UnitSystem::Metric).svg()
    }

    #[test]
    fn gaps_are_shaded_and_explained() {
        let svg = picture("0,5,270\n500,5,270\n9000,5,270\n");
        assert!(svg.contains(&NO_WINDS.to_string()) && svg.contains("Grey"));
        let svg = picture("0,5,270\n500,5,270\n");
        assert!(!svg.contains(&NO_WINDS.to_string()) && !svg.contains("Grey"));
    }

    #[test]
    fn extremes_are_drawn() {
        for table in [
            "-100,0,0\n-99,0,0\n",
            "79000,200,360\n79001,0.001,1\n",
            "0,0,0\n79000,199,180\n",
        ] {
            let svg = picture(table);
            assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
        }
    }

    #[test]
    fn northerly_winds_are_in_the_middle() {
        let north = |from| Wind::from_direction(5.0, from);
        assert_eq!(
            axis_start(&[(0.0, north(350.0)), (1.0, north(10.0))]),
            180.0
        );
        assert_eq!(axis_start(&[(0.0, north(180.0))]), 0.0);
    }
}
