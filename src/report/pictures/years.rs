//! Pictures of years of winds: a rose of drifts, shares by month and hour, a map of cells.

use super::picture::{Anchor, Look, Paint, Picture};
use crate::geodesy::{Position, wrap_longitude};
use crate::report::palette::{CHART_GRID, ELLIPSE, INK, LAND_IN};
use crate::report::years_words::{bounds, hour, month};
use crate::units::UnitSystem;
use crate::years::answer::{CellShare, Drift, FieldYears, SECTORS};

/// Side of the rose and the map, units.
const SIDE: f64 = 420.0;
const LETTERS: f64 = 13.0;

/// A point at a distance from a middle, in a direction clockwise from up.
fn around([x, y]: [f64; 2], azimuth_deg: f64, radius: f64) -> [f64; 2] {
    let (s, c) = azimuth_deg.to_radians().sin_cos();
    [x + radius * s, y - radius * c]
}

/// Where flights drift to: the length of a sector is the share of releases, what is dark in it the
/// share that is within the limits as well.
pub fn rose(drift: &Drift) -> Picture {
    let mut picture = Picture::new(SIDE, SIDE);
    let middle = [0.5 * SIDE; 2];
    let radius = 0.5 * SIDE - 30.0;
    let most = drift.rose.iter().map(|s| s.share).fold(0.0, f64::max);
    // A multiple of 5 %, as the outer ring is named by it.
    let full = (20.0 * most).ceil().max(1.0) / 20.0;
    let look = Look::line(CHART_GRID, 1.0);
    for ring in [0.5, 1.0] {
        // Corners every 5 degrees look round at this size.
        let at = |k: usize| around(middle, 5.0 * k as f64, ring * radius);
        picture.path(&[(0..72).map(at).collect()], true, look);
    }
    let width = 360.0 / SECTORS as f64;
    for (number, sector) in drift.rose.iter().enumerate() {
        let wedge = |share: f64| {
            let length = radius * share / full;
            let to = |part: f64| width * (number as f64 + part);
            // Narrower than its sector, so that neighbours stay apart.
            let arc = [-0.42, -0.2, 0.0, 0.2, 0.42].map(|part| around(middle, to(part), length));
            std::iter::once(middle).chain(arc).collect::<Vec<_>>()
        };
        let all = Look::area(Paint::Tint(ELLIPSE, 0.3)).edged(ELLIPSE, 1.0);
        picture.path(&[wedge(sector.share)], true, all);
        if sector.usable_share > 0.0 {
            let usable = Look::area(Paint::Colour(LAND_IN));
            picture.path(&[wedge(sector.usable_share)], true, usable);
        }
    }
    for (name, azimuth) in [("N", 0.0), ("E", 90.0), ("S", 180.0), ("W", 270.0)] {
        let [x, y] = around(middle, azimuth, radius + 14.0);
        picture.text([x, y + 5.0], LETTERS + 2.0, Anchor::Middle, name);
    }
    let [x, y] = around(middle, 22.5, radius);
    let ring = format!("{:.0} %", 100.0 * full);
    picture.edged_text([x + 6.0, y], LETTERS, Anchor::Start, &ring);
    picture
}

/// The share of releases within the limits by month and hour: darker is more, and the number is in it.
pub fn month_hours(field: &FieldYears) -> Picture {
    let (left, top, cell) = (60.0, 34.0, [78.0, 28.0]);
    let hours = &field.year.hours;
    let rows = field.months.len() + 1;
    let width = left + cell[0] * hours.len() as f64 + 10.0;
    let mut picture = Picture::new(width.max(200.0), top + cell[1] * rows as f64 + 10.0);
    for (column, of_day) in hours.iter().enumerate() {
        let x = left + cell[0] * (column as f64 + 0.5);
        picture.text([x, top - 12.0], LETTERS, Anchor::Middle, &hour(of_day.at_s));
    }
    for (row, season) in field.months.iter().chain([&field.year]).enumerate() {
        let y = top + cell[1] * row as f64;
        let name = month(season.month);
        picture.text([left - 10.0, y + 19.0], LETTERS, Anchor::End, name);
        for (column, of_day) in hours.iter().enumerate() {
            // A month may lack an hour: the record ends, or the clocks have changed.
            let Some(here) = season.hours.iter().find(|h| h.at_s == of_day.at_s) else {
                continue;
            };
            let x = left + cell[0] * column as f64;
            let [right, below] = [x + cell[0] - 2.0, y + cell[1] - 2.0];
            let shape = vec![[x, y], [right, y], [right, below], [x, below]];
            // Half of the colour at most: black letters read on it.
            let tint = Paint::Tint(LAND_IN, 0.55 * here.usable.at_least);
            picture.path(&[shape], true, Look::area(tint).edged(CHART_GRID, 1.0));
            let text = bounds(here.usable);
            picture.text(
                [x + 0.5 * cell[0], y + 19.0],
                LETTERS,
                Anchor::Middle,
                &text,
            );
        }
    }
    picture
}

/// Where flights come down: the darker a cell, the likelier; north up, with rings around the field.
pub fn map(field: &FieldYears, units: UnitSystem) -> Picture {
    let mut picture = Picture::new(SIDE, SIDE);
    let likely = likely(&field.cells);
    let site = field.position;
    // As narrow as a degree of longitude is there, but not quite nothing beside a pole.
    let narrow = site.lat_deg.to_radians().cos().max(0.02);
    let plane = |lat_deg: f64, lon_deg: f64| {
        [
            wrap_longitude(lon_deg - site.lon_deg) * narrow,
            lat_deg - site.lat_deg,
        ]
    };
    let corners = likely.iter().flat_map(|cell| {
        let [south, west, north, east] = cell.bounds_deg;
        [plane(south, west), plane(north, east)]
    });
    // Some kilometres at the least, also where all flights come down in one cell.
    let far = corners.flatten().map(f64::abs).fold(0.05, f64::max);
    let scale = (0.5 * SIDE - 20.0) / far;
    let middle = 0.5 * SIDE;
    let at = |lat: f64, lon: f64| {
        let [x, y] = plane(lat, lon);
        [middle + scale * x, middle - scale * y]
    };
    // Cells come with the likeliest first.
    let most = likely.first().map_or(1.0, |cell| cell.share);
    for cell in likely {
        let [south, west, north, east] = cell.bounds_deg;
        let shape = vec![
            at(south, west),
            at(south, east),
            at(north, east),
            at(north, west),
        ];
        // Also the unlikeliest is tinted, or it would pass for a cell that nothing reaches.
        let tint = Paint::Tint(ELLIPSE, 0.12 + 0.78 * cell.share / most);
        picture.path(&[shape], true, Look::area(tint).crisp());
    }
    // By degrees of latitude, which the map is scaled by.
    for ring_m in rings(far * crate::earth::DEGREE_M) {
        let points: Vec<[f64; 2]> = (0..72)
            .map(|k| site.destination(5.0 * f64::from(k), ring_m))
            .map(|p: Position| at(p.lat_deg, p.lon_deg))
            .collect();
        let [x, y] = points[0];
        picture.path(&[points], true, Look::line(INK, 0.8).dashed("4 4"));
        let far = units.distance(ring_m);
        picture.edged_text([x, y - 4.0], LETTERS, Anchor::Middle, &far);
    }
    picture.dot([middle, middle], 5.0, INK);
    let name: String = field.name.chars().take(40).collect();
    picture.edged_text([middle + 8.0, middle + 4.0], LETTERS, Anchor::Start, &name);
    picture
}

/// The cells that hold 99 % of what came down, the likeliest first.
fn likely(cells: &[CellShare]) -> &[CellShare] {
    let all: f64 = cells.iter().map(|cell| cell.share).sum();
    let mut sum = 0.0;
    // Before it is added: the cell with which 99 % are reached belongs to them.
    let held = cells.iter().take_while(|cell| {
        let before = sum;
        sum += cell.share;
        before < 0.99 * all
    });
    &cells[..held.count()]
}

/// Round distances, two or three of them.
fn rings(far_m: f64) -> Vec<f64> {
    let steps = [5e3, 10e3, 25e3, 50e3, 100e3, 200e3, 400e3];
    let step = steps
        .into_iter()
        .find(|step| far_m / step <= 3.5)
        .unwrap_or(400e3);
    (1..=3)
        .map(|k| f64::from(k) * step)
        .filter(|m| *m <= far_m)
        .collect()
}
