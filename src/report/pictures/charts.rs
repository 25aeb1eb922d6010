//! The charts of a briefing: height by time, winds by height, when draws land, what moves the
//! centre. Read on a phone and in black and white.

use jiff::Timestamp;

use super::axis::{axis_step, height_unit, speed_unit, tick};
use super::map::flight::ellipse_look;
use super::map::labels::Labels;
use super::picture::{Anchor, Look, Picture};
use crate::brief::Brief;
use crate::clock::{after, seconds_between};
use crate::ground::plane::Plane;
use crate::numeric::quantile;
use crate::report::palette::{CHART_GRID, INK, UNUSUAL, USUAL, WIND_ERROR};
use crate::report::words::{change_name, clock_time, clock_with_zone, far};
use crate::units::UnitSystem;
use crate::wind::sounding::Wind;
use crate::zone::Mark;

const WIDTH: f64 = 720.0;
const LEFT: f64 = 78.0;
const RIGHT: f64 = 700.0;
const TOP: f64 = 40.0;
const SMALL: f64 = 18.0;
/// How the way up and the way down are drawn, here as on the map.
const UP: Look = Look::line(INK, 3.0).dashed("12 6");
const DOWN: Look = Look::line(INK, 3.0);

/// A linear scale of values along a side of a chart.
struct Scale {
    values: [f64; 2],
    pixels: [f64; 2],
    step: f64,
}

impl Scale {
    /// From 0 up to a round value that is not less than `most`.
    fn from_zero(most: f64, pixels: [f64; 2], steps: f64) -> Scale {
        // Of nothing there is no logarithm to take a step from.
        let step = axis_step(most.max(1e-9), steps);
        Scale {
            // One step at the least: a scale without length would divide by nothing.
            values: [0.0, (most / step).ceil().max(1.0) * step],
            pixels,
            step,
        }
    }

    fn at(&self, value: f64) -> f64 {
        let share = (value - self.values[0]) / (self.values[1] - self.values[0]);
        self.pixels[0] + share * (self.pixels[1] - self.pixels[0])
    }

    fn ticks(&self) -> impl Iterator<Item = f64> + '_ {
        let first = (self.values[0] / self.step).ceil() as i64;
        // Rounding must not lose the last one.
        let last = (self.values[1] / self.step + 1e-9).floor() as i64;
        (first..=last).map(|k| k as f64 * self.step)
    }
}

/// The track up to the burst, and from there on.
fn up_and_down(brief: &Brief) -> [&[Mark]; 2] {
    let track = &brief.zone.track;
    let burst = track.iter().position(|m| m.time >= brief.zone.burst.time);
    // A track that ends before its burst is the way up alone.
    let at = burst.unwrap_or(track.len().saturating_sub(1));
    [
        // The burst belongs to both, or the line would have a gap.
        track.get(..=at).unwrap_or_default(),
        track.get(at..).unwrap_or_default(),
    ]
}

/// Height of the planned flight by local time.
pub fn heights(brief: &Brief, units: UnitSystem) -> Picture {
    let bottom = 330.0;
    let mut picture = Picture::new(WIDTH, 390.0);
    let (symbol, unit_m) = height_unit(units);
    let highest = brief.zone.burst.altitude_m / unit_m;
    let vertical = Scale::from_zero(highest, [bottom, TOP], 7.0);
    height_grid(&mut picture, &vertical);
    picture.text(
        [8.0, 24.0],
        SMALL,
        Anchor::Start,
        &format!("height above sea level, {symbol}"),
    );
    let across = time_axis(
        &mut picture,
        brief,
        brief.zone.release.time,
        brief.zone.landing.time,
        bottom,
    );
    for (leg, look) in up_and_down(brief).into_iter().zip([UP, DOWN]) {
        let points = leg.iter().map(|m| {
            [
                across.at(seconds(brief, m.time)),
                vertical.at(m.altitude_m / unit_m),
            ]
        });
        picture.path(&[points.collect()], false, look);
    }
    let burst = [
        across.at(seconds(brief, brief.zone.burst.time)),
        vertical.at(brief.zone.burst.altitude_m / unit_m),
    ];
    picture.dot(burst, 6.0, INK);
    let said = format!(
        "burst {}",
        clock_time(brief.zone.burst.time, &brief.timezone)
    );
    picture.edged_text([burst[0] - 12.0, burst[1] + 6.0], SMALL, Anchor::End, &said);
    frame(&mut picture, bottom);
    picture
}

/// When the draws land.
pub fn landing_times(brief: &Brief) -> Picture {
    let bottom = 230.0;
    let mut picture = Picture::new(WIDTH, 290.0);
    let mut times = brief.landing_times_s.clone();
    times.sort_by(f64::total_cmp);
    // Without the last few, which would press all other bars together.
    let (first, last) = (quantile(&times, 0.002), quantile(&times, 0.998));
    let (Some(first), Some(last)) = (first, last) else {
        return picture;
    };
    // In minutes, so that a bar is a round number of them.
    let width_s = axis_step((last - first).max(60.0) / 60.0, 24.0) * 60.0;
    let start = (first / width_s).floor() * width_s;
    let bins = ((last - start) / width_s).floor() as usize + 1;
    let mut counts = vec![0usize; bins];
    for time in &times {
        let bin = ((time - start) / width_s).floor();
        // Those beyond the bars are in none of them, but count in the shares.
        if bin >= 0.0 && (bin as usize) < bins {
            counts[bin as usize] += 1;
        }
    }
    let share = |count: usize| 100.0 * count as f64 / times.len().max(1) as f64;
    let most = counts.iter().map(|c| share(*c)).fold(1.0, f64::max);
    let vertical = Scale::from_zero(most, [bottom, TOP], 4.0);
    height_grid(&mut picture, &vertical);
    let said = format!(
        "share of landings in {}, %; dark: 9 in 10 of them",
        bar_time(width_s)
    );
    picture.text([8.0, 24.0], SMALL, Anchor::Start, &said);
    let at = |s: f64| after(brief.zone.release.time, s);
    let across = time_axis(
        &mut picture,
        brief,
        at(start),
        at(start + bins as f64 * width_s),
        bottom,
    );
    let (early, late) = (
        quantile(&times, 0.05).unwrap_or(first),
        quantile(&times, 0.95).unwrap_or(last),
    );
    for (i, count) in counts.iter().enumerate() {
        let left = start + i as f64 * width_s;
        // By its middle: a bar is dark as a whole or not at all.
        let inside = left + 0.5 * width_s >= early && left + 0.5 * width_s <= late;
        let (x0, x1) = (across.at(left) + 1.0, across.at(left + width_s) - 1.0);
        let y = vertical.at(share(*count));
        let colour = if inside { USUAL } else { UNUSUAL };
        picture.rectangle([x0, y], [(x1 - x0).max(1.0), bottom - y], colour);
    }
    frame(&mut picture, bottom);
    picture
}

/// How much time a bar stands for: whole minutes, or seconds where the landings lie close together.
fn bar_time(width_s: f64) -> String {
    match width_s < 60.0 {
        true => format!("{width_s:.0} s"),
        false => format!("{:.0} min", width_s / 60.0),
    }
}

/// Speed and direction of the wind that the planned flight meets, by height.
pub fn winds(brief: &Brief, units: UnitSystem) -> Picture {
    let bottom = 420.0;
    let mut picture = Picture::new(WIDTH, 500.0);
    let (symbol, unit_m) = height_unit(units);
    let (speed_symbol, speed_m_s) = speed_unit(units);
    let highest = brief.zone.burst.altitude_m / unit_m;
    let vertical = Scale::from_zero(highest, [bottom, TOP], 8.0);
    height_grid(&mut picture, &vertical);
    let heading = format!("height, {symbol}");
    picture.text([8.0, 24.0], SMALL, Anchor::Start, &heading);
    let met: Vec<Vec<(f64, Wind)>> = up_and_down(brief).into_iter().map(winds_met).collect();
    let speeds = met.iter().flatten().map(|(_, w)| w.speed_m_s() / speed_m_s);
    let middle = 0.5 * (LEFT + RIGHT);
    // A calm is not blown up to fill the panel.
    let speed = Scale::from_zero(speeds.fold(1.0, f64::max), [LEFT, middle - 20.0], 4.0);
    let from = Scale {
        values: [0.0, 360.0],
        pixels: [middle + 20.0, RIGHT],
        step: 90.0,
    };
    let speed_names = speed.ticks().map(|value| tick(value, speed.step));
    let title = format!("wind speed, {speed_symbol}");
    panel(&mut picture, &speed, speed_names, bottom, &title);
    let quarters = ["N", "E", "S", "W", "N"].map(str::to_owned);
    panel(
        &mut picture,
        &from,
        quarters,
        bottom,
        "wind comes from (true)",
    );
    for (winds, look) in met.iter().zip([UP, DOWN]) {
        let line = winds
            .iter()
            .map(|(z, w)| [speed.at(w.speed_m_s() / speed_m_s), vertical.at(z / unit_m)]);
        picture.path(&[line.collect()], false, look);
        let points: Vec<[f64; 2]> = winds
            .iter()
            .map(|(z, w)| [from.at(w.from_deg()), vertical.at(z / unit_m)])
            .collect();
        // From 350 to 10 degrees is a small turn, not a line across the panel.
        let half = 0.5 * (from.pixels[1] - from.pixels[0]);
        let runs = points.chunk_by(|a, b| (a[0] - b[0]).abs() < half);
        let runs: Vec<Vec<[f64; 2]>> = runs.map(<[_]>::to_vec).collect();
        picture.path(&runs, false, look);
    }
    up_down_key(&mut picture, 486.0);
    picture
}

/// Draws a panel's grid, the names of its ticks, its frame and its title.
fn panel(
    picture: &mut Picture,
    scale: &Scale,
    names: impl IntoIterator<Item = String>,
    bottom: f64,
    title: &str,
) {
    for (value, name) in scale.ticks().zip(names) {
        let x = scale.at(value);
        picture.line(&[[x, TOP], [x, bottom]], 1.0, CHART_GRID);
        picture.text([x, bottom + 24.0], SMALL, Anchor::Middle, &name);
    }
    let [left, right] = scale.pixels;
    picture.frame([left, TOP, right, bottom], 1.6, INK);
    let at = [0.5 * (left + right), bottom + 50.0];
    picture.text(at, SMALL, Anchor::Middle, title);
}

/// The winds that carry a track from mark to mark: height, m, and wind.
fn winds_met(track: &[Mark]) -> Vec<(f64, Wind)> {
    let met = track.windows(2).filter_map(|leg| {
        let (a, b) = (&leg[0], &leg[1]);
        let seconds = seconds_between(a.time, b.time);
        // Shorter legs, as beside the burst, say little.
        if seconds < 2.0 {
            return None;
        }
        // On a plane of its own, as east and north turn on the way.
        let [east, north] = Plane::new(a.position).to_plane(b.position.normal());
        let wind = Wind {
            east_m_s: east / seconds,
            north_m_s: north / seconds,
        };
        Some((0.5 * (a.altitude_m + b.altitude_m), wind))
    });
    met.collect()
}

/// Where the centre of the zone is on the picture of what moves it.
const MIDDLE: [f64; 2] = [360.0, 270.0];

/// How the centre of the zone moves with each change, as arrows on a small map.
pub fn changes(brief: &Brief, units: UnitSystem) -> Picture {
    let side = 560.0;
    let mut picture = Picture::new(WIDTH, 570.0);
    let [x, y] = MIDDLE;
    let mut labels = Labels::new([WIDTH, 530.0]);
    labels.take([x - 8.0, y - 8.0, x + 8.0, y + 8.0]);
    let moved = moves(brief);
    let wind_m = brief.facts.wind.drift_sigma_m;
    let farthest = moved
        .iter()
        .map(|(_, m)| m[0].hypot(m[1]))
        // Changes of a few metres shall not look as if they filled the map.
        .fold(wind_m.max(200.0), f64::max);
    // Twice, as arrows go either way, and a little for their tips.
    let unit_m = 2.1 * farthest / (side - 40.0);
    let on = |[east, north]: [f64; 2]| [x + east / unit_m, y - north / unit_m];
    let frame = "changes-frame";
    picture.clipped(frame, |picture| ellipses(picture, brief, on));
    picture.clipping(frame, [40.0, 10.0], [640.0, side - 40.0]);
    if wind_m > 0.0 {
        wind_error(&mut picture, &mut labels, wind_m, on);
    }
    for (_, to) in &moved {
        arrow(&mut picture, MIDDLE, on(*to));
        // Tip and middle stand for the whole arrow.
        labels.avoid(&[on(*to), on(to.map(|m| 0.5 * m))]);
    }
    // Names after all arrows, or one that is drawn later would cross them.
    for (name, to) in &moved {
        labels.write(&mut picture, on(*to), 9.0, SMALL, name);
    }
    picture.dot(MIDDLE, 5.0, INK);
    let bar_m = axis_step(farthest, 2.0);
    let [x, y] = [48.0, 550.0];
    picture.line(&[[x, y], [x + bar_m / unit_m, y]], 3.0, INK);
    let at = [x + bar_m / unit_m + 10.0, y + 6.0];
    picture.text(at, SMALL, Anchor::Start, &far(bar_m, units));
    picture.text([672.0, y + 6.0], SMALL, Anchor::End, "north up");
    picture
}

/// What each change that could be flown does to the centre: its name, and how far that is to the
/// east and north, m.
fn moves(brief: &Brief) -> Vec<(&'static str, [f64; 2])> {
    let flown = brief.changes.iter().filter_map(|change| {
        let moved = change.outcome.as_ref().ok()?;
        let (sine, cosine) = moved.azimuth_deg.to_radians().sin_cos();
        let east_north = [moved.distance_m * sine, moved.distance_m * cosine];
        Some((change_name(change.kind), east_north))
    });
    flown.collect()
}

/// Draws the ellipses around the centre, half as wide as on the map.
fn ellipses(picture: &mut Picture, brief: &Brief, on: impl Fn([f64; 2]) -> [f64; 2]) {
    let plane = Plane::new(brief.zone.center());
    for ellipse in &brief.zone.ellipses {
        let ring = ellipse.ring.iter();
        let ring = ring.map(|p| on(plane.to_plane(p.normal()))).collect();
        if let Some(look) = ellipse_look(ellipse.shape.probability) {
            picture.path(&[ring], true, look.wide(0.5 * look.width()));
        }
    }
}

/// Draws the error of the wind as a circle, with its name.
fn wind_error(
    picture: &mut Picture,
    labels: &mut Labels,
    wind_m: f64,
    on: impl Fn([f64; 2]) -> [f64; 2],
) {
    // Corners every 7.5 degrees look round at this size.
    let circle = (0..=48).map(|k| {
        let (s, c) = (f64::from(k) * std::f64::consts::PI / 24.0).sin_cos();
        on([wind_m * s, wind_m * c])
    });
    let look = Look::line(WIND_ERROR, 2.0).dashed("2 5");
    picture.path(&[circle.collect()], true, look);
    let [x, y] = on([0.0, wind_m]);
    labels.take([x - 60.0, y, x + 60.0, y + 26.0]);
    picture.edged_text([x, y + 20.0], SMALL, Anchor::Middle, "wind error");
}

fn arrow(picture: &mut Picture, from: [f64; 2], to: [f64; 2]) {
    let (dx, dy) = (to[0] - from[0], to[1] - from[1]);
    let long = dx.hypot(dy);
    picture.line(&[from, to], 3.0, INK);
    // A shorter one would be nothing but its tip.
    if long > 6.0 {
        let (u, v) = (dx / long, dy / long);
        let back = [to[0] - 13.0 * u, to[1] - 13.0 * v];
        let tip = [
            [to[0] + 2.0 * u, to[1] + 2.0 * v],
            [back[0] - 6.0 * v, back[1] + 6.0 * u],
            [back[0] + 6.0 * v, back[1] - 6.0 * u],
        ];
        picture.shape(&tip, INK);
    }
}

fn seconds(brief: &Brief, at: Timestamp) -> f64 {
    seconds_between(brief.zone.release.time, at)
}

/// Draws local times along the bottom, at whole steps of the hour.
fn time_axis(
    picture: &mut Picture,
    brief: &Brief,
    from: Timestamp,
    to: Timestamp,
    bottom: f64,
) -> Scale {
    let [first, last] = [seconds(brief, from), seconds(brief, to)];
    let minutes = (last - first).max(60.0) / 60.0;
    let step_min = [
        1.0, 2.0, 5.0, 10.0, 15.0, 20.0, 30.0, 60.0, 120.0, 180.0, 360.0,
    ]
    .into_iter()
    // Of more the names would run into each other.
    .find(|s| minutes / s <= 7.0)
    .unwrap_or(720.0);
    let scale = Scale {
        // A minute at the least: a scale without length would divide by nothing.
        values: [first, last.max(first + 60.0)],
        pixels: [LEFT, RIGHT],
        step: 60.0 * step_min,
    };
    // Whole steps of the local hour, not of the flight.
    let local = from.to_zoned_datetime(brief.timezone.clone());
    let into_hour = f64::from(local.minute()) * 60.0 + f64::from(local.second());
    let offset = scale.step - into_hour.rem_euclid(scale.step);
    // Where the axis begins on a whole step that is the first.
    let mut at = first + offset.rem_euclid(scale.step);
    while at <= scale.values[1] {
        let x = scale.at(at);
        picture.line(&[[x, TOP], [x, bottom]], 1.0, CHART_GRID);
        // At the ends half of a time would hang over the frame.
        if x > LEFT + 24.0 && x < RIGHT - 20.0 {
            let time = clock_time(after(brief.zone.release.time, at), &brief.timezone);
            picture.text([x, bottom + 24.0], SMALL, Anchor::Middle, &time);
        }
        at += scale.step;
    }
    let zone = clock_with_zone(from, &brief.timezone);
    let zone = zone.split_once(' ').map_or("", |(_, zone)| zone);
    picture.text(
        [RIGHT, bottom + 50.0],
        SMALL,
        Anchor::End,
        &format!("local time, {zone}"),
    );
    scale
}

fn height_grid(picture: &mut Picture, vertical: &Scale) {
    for value in vertical.ticks() {
        let y = vertical.at(value);
        picture.line(&[[LEFT, y], [RIGHT, y]], 1.0, CHART_GRID);
        picture.text(
            [LEFT - 8.0, y + 6.0],
            SMALL,
            Anchor::End,
            &tick(value, vertical.step),
        );
    }
}

fn up_down_key(picture: &mut Picture, y: f64) {
    for (x, look, name) in [(LEFT, UP, "way up"), (LEFT + 200.0, DOWN, "way down")] {
        picture.path(&[vec![[x, y - 6.0], [x + 50.0, y - 6.0]]], false, look);
        picture.text([x + 60.0, y], SMALL, Anchor::Start, name);
    }
}

fn frame(picture: &mut Picture, bottom: f64) {
    picture.frame([LEFT, TOP, RIGHT, bottom], 1.6, INK);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bars_stand_for_some_time() {
        assert_eq!(bar_time(3.0), "3 s");
        assert_eq!(bar_time(30.0), "30 s");
        assert_eq!(bar_time(60.0), "1 min");
        assert_eq!(bar_time(300.0), "5 min");
    }
}
