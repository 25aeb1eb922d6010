//! From raw rows to a [`Sounding`]: what every file needs done to it, done once and counted.

#![allow(
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "by numbers of its own lines, rows and words"
)]

use jiff::Timestamp;

use super::drifted;
use crate::atmosphere::{
    Geopotential, hypsometric_thickness, saturation_vapour_pressure_pa, standard,
    standard_height_of_pressure, virtual_temperature_k,
};
use crate::error::{Fault, Result};
use crate::geodesy::Position;
use crate::notes::reading::Reading;
use crate::numeric::linear;
use crate::wind::sounding::{HeightSource, Level, Model, Sounding, Tally, Wind};

/// One ascent as a reader found it, in SI units but otherwise untouched.
pub(super) struct Raw {
    /// The file's name, for messages.
    pub file: String,
    /// The line where the ascent begins.
    pub line: usize,
    pub name: String,
    pub time: Option<Timestamp>,
    pub position: Option<Position>,
    /// The model that computed it; `None` for a measured one.
    pub model: Option<Model>,
    /// What the heights in the rows are, where there are any.
    pub heights: HeightSource,
    /// Whether the rows are in the order they were measured, so that a fall after the rise is a
    /// descent. Archives list wind-only levels in a block of their own: theirs is no such order.
    pub in_time_order: bool,
    pub rows: Vec<Row>,
    pub tally: Tally,
}

/// One row. Fillers are `None` already; anything else may still be impossible.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Row {
    pub height_m: Option<f64>,
    pub pressure_pa: Option<f64>,
    pub temperature_k: Option<f64>,
    pub dew_point_k: Option<f64>,
    pub dew_point_depression_k: Option<f64>,
    /// A share: 1 is saturated.
    pub relative_humidity: Option<f64>,
    pub speed_m_s: Option<f64>,
    pub from_deg: Option<f64>,
    pub east_m_s: Option<f64>,
    pub north_m_s: Option<f64>,
    /// From the release of the sonde, s.
    pub after_s: Option<f64>,
    /// Where the sonde was.
    pub lat_deg: Option<f64>,
    pub lon_deg: Option<f64>,
    /// Whether this is a model's own wind 10 m above its ground.
    pub at_10_m: bool,
}

/// Levels nearer than this are the same level, m.
const SAME_LEVEL_M: f64 = 0.05;
/// Latitude used for the conversion of heights when the file has none: the middle of the range.
const UNKNOWN_LATITUDE_DEG: f64 = 45.0;

/// Makes a sounding of a raw ascent.
///
/// # Errors
///
/// Fewer than two levels have both height and wind.
pub(super) fn clean(raw: Raw) -> Result<Sounding> {
    let Raw {
        mut rows,
        mut tally,
        mut heights,
        ..
    } = raw;
    tally.rows = rows.len();
    if let Some(fault) = strange_heights(&raw.file, &rows) {
        return Err(fault.at_line(raw.line).into());
    }
    // Before what is out of range goes: directions below 0 would.
    let directions = rows.iter_mut().filter_map(|row| row.from_deg.as_mut());
    turn_signed(directions, &mut tally);
    rows.iter_mut()
        .for_each(|row| drop_impossible(row, &mut tally));
    drop_belied(&mut rows, &mut tally);
    drifted::check(&mut rows, raw.position, &mut tally);
    // Before heights are filled: rows of a descent would pass for air of the ascent.
    if raw.in_time_order {
        cut_descent(&mut rows, &mut tally);
    }
    if rows.iter().all(|row| row.height_m.is_none()) {
        heights = HeightSource::Hypsometric;
    }
    let lat_deg = latitude(raw.position, &rows, heights, &mut tally);
    fill_heights(&mut rows, heights, lat_deg, &mut tally);
    // While rows are at hand: levels do not say which of them it is.
    let at_10_m = rows.iter().find(|row| row.at_10_m);
    let wind_at_10_m = at_10_m.and_then(|row| wind(row, &mut tally));
    let levels = rows
        .iter()
        .filter_map(|row| level(row, &mut tally))
        .collect();
    let levels = strictly_rising(levels, &mut tally);
    let winds = levels.iter().filter(|level| level.wind.is_some()).count();
    if winds < 2 {
        let count = if winds == 0 { "no" } else { "1" };
        let found = format!("{count} level with height and wind in {} rows", tally.rows);
        let fault = Fault::new(raw.file, found, "at least 2 such levels");
        return Err(fault.at_line(raw.line).into());
    }
    Ok(Sounding {
        name: raw.name,
        time: raw.time,
        position: raw.position,
        model: raw.model,
        wind_at_10_m,
        heights,
        levels,
        tally,
    })
}

/// So much air above the ground is looked at to tell what heights are, Pa.
const LOW_AIR_PA: f64 = 20_000.0;
/// Weather moves the pressures of the low air up or down by less than this, m: at sea level they are 930 to 1,085 hPa
/// outside the eye of a tropical storm.
const WEATHER_M: f64 = 700.0;
/// Cold or hot air below a high ground moves its pressure by less than this share of its height.
const WARMTH: f64 = 0.1;
/// Fewer rows may be wrong themselves.
const FEWEST_LOW: usize = 2;

/// The fault of heights of which all near the ground lie so far from those of their pressures that they are none above
/// the sea.
fn strange_heights(file: &str, rows: &[Row]) -> Option<Fault> {
    let both = || {
        rows.iter()
            .filter_map(|row| row.height_m.zip(row.pressure_pa))
    };
    let ground_pa = both().map(|(_, p)| p).fold(0.0, f64::max);
    let low = both().filter(|(_, p)| *p > 50_000.0 && ground_pa - p <= LOW_AIR_PA);
    let standard_m = |p| standard_height_of_pressure(p).0;
    let may_be = |(height_m, p): (f64, f64)| {
        (height_m - standard_m(p)).abs() <= WEATHER_M + WARMTH * standard_m(p).max(0.0)
    };
    if low.clone().count() < FEWEST_LOW || low.clone().any(may_be) {
        return None;
    }
    let least_m = low
        .map(|(height_m, p)| height_m - standard_m(p))
        .min_by(|a, b| a.abs().total_cmp(&b.abs()))?;
    let found = format!(
        "heights near the ground at least {:.0} m {} those of their pressures",
        least_m.abs(),
        if least_m < 0.0 { "below" } else { "above" }
    );
    let expected = "heights above mean sea level, and not above the ground, in the unit that is named; where only \
                    the pressures or only the heights are right, a table is read if the others are passed over, as in \
                    --columns \"height_m=none\" or \"pressure_hPa=none\"";
    Some(Fault::new(file, found, expected))
}

/// Directions of -180 to 180 degrees become 0 to 360. They are told from fillers by there being several
/// below 0, and from directions of 0 to 360 by there being none above 180.
pub(super) fn turn_signed<'a>(directions: impl Iterator<Item = &'a mut f64>, tally: &mut Tally) {
    let directions: Vec<&mut f64> = directions.collect();
    let given = || directions.iter().map(|direction| **direction);
    let Some(first) = given().find(|d| *d < 0.0) else {
        return;
    };
    let several = given().any(|d| d < 0.0 && d != first);
    if !several || given().any(|d| !(-180.0..=180.0).contains(&d)) {
        return;
    }
    let mut turned = 0;
    for direction in directions {
        if *direction < 0.0 {
            *direction += 360.0;
            turned += 1;
        }
    }
    tally
        .assumed
        .push(Reading::SignedDirections { below_0: turned });
}

/// Takes values outside any physical range out of a row.
fn drop_impossible(row: &mut Row, tally: &mut Tally) {
    let mut keep = |value: &mut Option<f64>, low: f64, high: f64| {
        if value.is_some_and(|v| !(low..=high).contains(&v)) {
            *value = None;
            tally.out_of_range += 1;
        }
    };
    // Wide ranges: what is merely unusual must stay.
    keep(&mut row.height_m, -500.0, 80_000.0);
    keep(&mut row.pressure_pa, 1.0, 110_000.0);
    keep(&mut row.temperature_k, 130.0, 340.0);
    keep(&mut row.dew_point_k, 100.0, 320.0);
    keep(&mut row.dew_point_depression_k, 0.0, 120.0);
    keep(&mut row.relative_humidity, 0.0, 1.5);
    keep(&mut row.speed_m_s, 0.0, 200.0);
    keep(&mut row.from_deg, 0.0, 360.0);
    keep(&mut row.east_m_s, -200.0, 200.0);
    keep(&mut row.north_m_s, -200.0, 200.0);
}

/// Of a height and a pressure that belie each other takes out the pressure, where it alone is out of the order of the rows
/// around; else the height, which can be computed anew from the pressure, and not the other way round.
fn drop_belied(rows: &mut [Row], tally: &mut Tally) {
    let both = |row: &Row| row.height_m.zip(row.pressure_pa);
    let sound = |row: &Row| both(row).filter(|&(height_m, pa)| agree(height_m, pa));
    let mut last = None;
    let mut behind: Vec<Option<(f64, f64)>> = Vec::with_capacity(rows.len());
    for row in rows.iter().rev() {
        behind.push(last);
        last = sound(row).or(last);
    }
    let mut before = None;
    for (row, behind) in rows.iter_mut().zip(behind.into_iter().rev()) {
        let Some((height_m, pa)) = both(row) else {
            continue;
        };
        if agree(height_m, pa) {
            before = Some((height_m, pa));
            continue;
        }
        let is_between = |x: f64, of: fn((f64, f64)) -> f64| {
            let around = before.map(of).zip(behind.map(of));
            around.is_some_and(|(a, b)| (a.min(b)..=a.max(b)).contains(&x))
        };
        match is_between(height_m, |(height_m, _)| height_m) && !is_between(pa, |(_, pa)| pa) {
            true => row.pressure_pa = None,
            false => row.height_m = None,
        }
        tally.out_of_range += 1;
    }
}

/// Whether a height can belong to a pressure. Real air departs from the standard atmosphere by a
/// few hundred metres low down and by a tenth of the height in the polar stratosphere.
pub(super) fn agree(height_m: f64, pressure_pa: f64) -> bool {
    let standard_m = standard_height_of_pressure(pressure_pa).0;
    (height_m - standard_m).abs() < 1_500.0 + 0.12 * standard_m.abs()
}

/// Drops the rows after the top when they are a descent: most rows rise up to the top, over a good
/// part of the range, and then several fall.
fn cut_descent(rows: &mut Vec<Row>, tally: &mut Tally) {
    let heights: Vec<(usize, f64)> = rows
        .iter()
        .enumerate()
        .filter_map(|(i, row)| Some((i, rough_height(row)?)))
        .collect();
    let Some(top) = (0..heights.len()).max_by(|&a, &b| {
        // The later of equal heights counts as lower, so that the first is found.
        heights[a].1.total_cmp(&heights[b].1).then(b.cmp(&a))
    }) else {
        return;
    };
    let (up, down) = (&heights[..=top], &heights[top..]);
    let (first, last) = (up[0].1, down[down.len() - 1].1);
    let (rise, fall) = (heights[top].1 - first, heights[top].1 - last);
    // A table from the top down falls far and rises little: its rows are the ascent itself.
    let is_ascent = up.len() > 2 && mostly(up, |a, b| b > a) && rise > 0.5 * fall;
    let is_descent =
        // A few rows that fall a little are noise at the top.
        (down.len() > 6 || (down.len() > 2 && fall > 500.0)) && mostly(down, |a, b| b < a);
    if is_ascent && is_descent {
        let keep = heights[top].0 + 1;
        tally.descent = rows.len() - keep;
        rows.truncate(keep);
    }
}

/// Whether four fifths of the steps between neighbours hold.
pub(super) fn mostly(heights: &[(usize, f64)], holds: fn(f64, f64) -> bool) -> bool {
    let steps = heights.len() - 1;
    let good = heights.windows(2).filter(|w| holds(w[0].1, w[1].1)).count();
    5 * good >= 4 * steps
}

/// The row's height, or the standard atmosphere's for its pressure: good enough to see a fall.
pub(super) fn rough_height(row: &Row) -> Option<f64> {
    row.height_m
        .or_else(|| Some(standard_height_of_pressure(row.pressure_pa?).0))
}

/// The latitude at which geopotential heights are made geometric.
fn latitude(
    position: Option<Position>,
    rows: &[Row],
    heights: HeightSource,
    tally: &mut Tally,
) -> f64 {
    let computed = rows
        .iter()
        .any(|row| row.height_m.is_none() && row.pressure_pa.is_some());
    match position {
        Some(place) => place.lat_deg,
        None => {
            // Geometric heights need no latitude, as long as none is computed.
            if heights != HeightSource::Geometric || computed {
                tally.assumed.push(Reading::Latitude {
                    latitude_deg: UNKNOWN_LATITUDE_DEG,
                });
            }
            UNKNOWN_LATITUDE_DEG
        }
    }
}

/// Turns all heights into geometric altitudes and computes those that only have a pressure.
///
/// The hypsometric equation gives the shape of the column; between and beyond rows of known
/// height the shape is shifted to meet them, the shift being linear in ln p between two.
fn fill_heights(rows: &mut [Row], heights: HeightSource, lat_deg: f64, tally: &mut Tally) {
    let computed = missing_geopotentials(rows, heights, lat_deg, tally);
    for (row, missing) in rows.iter_mut().zip(computed) {
        row.height_m = match (row.height_m, missing) {
            (Some(h), _) if heights == HeightSource::Geopotential => {
                Some(Geopotential(h).altitude_m(lat_deg))
            }
            (Some(z), _) => Some(z),
            (None, Some(h)) => {
                tally.heights_computed += 1;
                Some(Geopotential(h).altitude_m(lat_deg))
            }
            (None, None) => None,
        };
    }
}

/// For each row that has a pressure but no height, its geopotential height.
fn missing_geopotentials(
    rows: &[Row],
    heights: HeightSource,
    lat_deg: f64,
    tally: &mut Tally,
) -> Vec<Option<f64>> {
    let mut missing = vec![None; rows.len()];
    if !rows
        .iter()
        .any(|row| row.height_m.is_none() && row.pressure_pa.is_some())
    {
        // Before the shape is made, which notes what it assumes: here nothing depends on it.
        return missing;
    }
    let shape = column_shape(rows, tally);
    // How far each known height lies above the shape.
    let mut shifts: Vec<(f64, f64)> = shape
        .iter()
        .filter_map(|node| {
            let height = rows[node.row].height_m?;
            let geopotential = match heights {
                HeightSource::Geometric => Geopotential::at_latitude(height, lat_deg).0,
                _ => height,
            };
            Some((node.x, geopotential - node.height))
        })
        .collect();
    if let (true, Some(lowest)) = (shifts.is_empty(), shape.first()) {
        let pressure_pa = (-lowest.x).exp();
        let height_m = standard_height_of_pressure(pressure_pa).0;
        shifts.push((lowest.x, height_m));
        tally.assumed.push(Reading::LowestHeight {
            pressure_pa,
            height_m,
        });
    }
    for node in &shape {
        if rows[node.row].height_m.is_none() {
            missing[node.row] = linear(&shifts, node.x).map(|shift| node.height + shift);
        }
    }
    missing
}

/// One row of the column by pressure.
struct Node {
    row: usize,
    /// -ln p, which rises with height.
    x: f64,
    /// Geopotential metres above the lowest row.
    height: f64,
}

/// The rows with pressure, lowest first, with their hypsometric heights above the lowest.
fn column_shape(rows: &[Row], tally: &mut Tally) -> Vec<Node> {
    let mut by_pressure: Vec<(usize, f64)> = rows
        .iter()
        .enumerate()
        .filter_map(|(i, row)| Some((i, row.pressure_pa?)))
        .collect();
    by_pressure.sort_by(|a, b| b.1.total_cmp(&a.1));
    let measured: Vec<(f64, f64)> = by_pressure
        .iter()
        .filter_map(|&(i, p)| {
            let t = rows[i].temperature_k?;
            let e = vapour_pressure_pa(&rows[i]).unwrap_or(0.0);
            Some((-p.ln(), virtual_temperature_k(t, p, e)))
        })
        .collect();
    let mut guessed = false;
    let mut shape: Vec<Node> = Vec::with_capacity(by_pressure.len());
    let (mut below, mut height) = (None, 0.0);
    for (row, p) in by_pressure {
        let x = -p.ln();
        let inside = measured
            .first()
            .zip(measured.last())
            .is_some_and(|(low, high)| (low.0..=high.0).contains(&x));
        // `linear` holds its last values, but air beyond them is not as warm as theirs.
        let tv = match linear(&measured, x) {
            Some(tv) if inside => tv,
            _ => {
                guessed = true;
                standard(standard_height_of_pressure(p)).temperature_k
            }
        };
        if let Some((p_below, tv_below)) = below {
            height += hypsometric_thickness(p_below, p, 0.5 * (tv_below + tv));
        }
        below = Some((p, tv));
        shape.push(Node { row, x, height });
    }
    if guessed {
        tally.assumed.push(Reading::StandardTemperatures);
    }
    shape
}

/// The level of a row; `None`, counted, when it has no height or nothing but height and pressure
/// (below-ground pressure levels of mountain stations are like that).
fn level(row: &Row, tally: &mut Tally) -> Option<Level> {
    let wind = wind(row, tally);
    // Computed heights may be anything where pressures are wrong.
    let altitude_m = row.height_m.filter(|z| (-2_000.0..=100_000.0).contains(z));
    match altitude_m {
        Some(altitude_m) if wind.is_some() || row.temperature_k.is_some() => Some(Level {
            altitude_m,
            pressure_pa: row.pressure_pa,
            temperature_k: row.temperature_k,
            vapour_pressure_pa: vapour_pressure_pa(row),
            wind,
            after_s: row.after_s,
            place: drifted::place(row),
        }),
        _ => {
            tally.unusable += 1;
            None
        }
    }
}

/// The wind of a row: speed and direction, else components. No direction is needed when calm.
fn wind(row: &Row, tally: &mut Tally) -> Option<Wind> {
    match (row.speed_m_s, row.from_deg) {
        (Some(speed), Some(from)) => Some(Wind::from_direction(speed, from)),
        (Some(0.0), None) => {
            tally.calm += 1;
            Some(Wind::from_direction(0.0, 0.0))
        }
        _ => Some(Wind {
            east_m_s: row.east_m_s?,
            north_m_s: row.north_m_s?,
        }),
    }
}

/// Vapour pressure from dew point, else dew-point depression, else relative humidity.
fn vapour_pressure_pa(row: &Row) -> Option<f64> {
    let dew_point = row
        .dew_point_k
        .or_else(|| Some(row.temperature_k? - row.dew_point_depression_k?));
    match dew_point {
        Some(dew_point) => Some(saturation_vapour_pressure_pa(dew_point)),
        None => {
            // Sensors read a little over 100 %; air does not hold that much.
            let humidity = row.relative_humidity?.min(1.0);
            Some(humidity * saturation_vapour_pressure_pa(row.temperature_k?))
        }
    }
}

/// The levels sorted by altitude, each altitude once. The first of repeated levels is kept; what
/// it lacks is taken from the others, as archives give wind and temperature on separate lines.
fn strictly_rising(mut levels: Vec<Level>, tally: &mut Tally) -> Vec<Level> {
    let mut highest = f64::NEG_INFINITY;
    for level in &levels {
        if level.altitude_m < highest {
            tally.unsorted += 1;
        }
        highest = highest.max(level.altitude_m);
    }
    // Stable, so that of repeated levels the file's first stays the first.
    levels.sort_by(|a, b| a.altitude_m.total_cmp(&b.altitude_m));
    let mut rising: Vec<Level> = Vec::with_capacity(levels.len());
    for level in levels {
        match rising.last_mut() {
            Some(last) if level.altitude_m - last.altitude_m < SAME_LEVEL_M => {
                tally.repeated += 1;
                last.pressure_pa = last.pressure_pa.or(level.pressure_pa);
                last.temperature_k = last.temperature_k.or(level.temperature_k);
                last.vapour_pressure_pa = last.vapour_pressure_pa.or(level.vapour_pressure_pa);
                last.wind = last.wind.or(level.wind);
                last.after_s = last.after_s.or(level.after_s);
                last.place = last.place.or(level.place);
            }
            _ => rising.push(level),
        }
    }
    rising
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(height_m: f64, speed_m_s: f64) -> Row {
        Row {
            height_m: Some(height_m),
            speed_m_s: Some(speed_m_s),
            from_deg: Some(270.0),
            ..Row::default()
        }
    }

    fn raw(rows: Vec<Row>) -> Raw {
        Raw {
            file: "f".to_owned(),
            line: 1,
            name: String::new(),
            time: None,
            position: None,
            model: None,
            heights: HeightSource::Geometric,
            in_time_order: true,
            rows,
            tally: Tally::default(),
        }
    }

    fn altitudes(s: &Sounding) -> Vec<f64> {
        s.levels.iter().map(|l| l.altitude_m.round()).collect()
    }

    #[test]
    fn repeats_and_disorder() {
        let rows = vec![
            row(100.0, 1.0),
            row(300.0, 3.0),
            row(200.0, 2.0),
            row(300.0, 9.0),
        ];
        let s = clean(raw(rows)).unwrap();
        assert_eq!(altitudes(&s), [100.0, 200.0, 300.0]);
        assert_eq!((s.tally.unsorted, s.tally.repeated), (1, 1));
        let top = s.levels[2].wind.unwrap();
        assert!((top.speed_m_s() - 3.0).abs() < 1e-12, "the first is kept");
    }

    #[test]
    fn a_file_that_falls_is_turned_over() {
        let rows = (0..20).rev().map(|i| row(f64::from(i) * 100.0, 5.0));
        let s = clean(raw(rows.collect())).unwrap();
        assert_eq!((s.levels.len(), s.tally.descent), (20, 0));
        assert_eq!(s.tally.unsorted, 19);
    }

    #[test]
    fn a_descent_is_cut_off() {
        let up = (0..20).map(|i| row(f64::from(i) * 1000.0, 5.0));
        let down = (0..10).rev().map(|i| row(f64::from(i) * 1900.0, 99.0));
        let s = clean(raw(up.chain(down).collect())).unwrap();
        assert_eq!((s.levels.len(), s.tally.descent), (20, 10));
        // A short dip at the top, as in any record of a burst, is only put in order.
        let up = (0..20).map(|i| row(f64::from(i) * 1000.0, 5.0));
        let s = clean(raw(up.chain([row(18_990.0, 5.0)]).collect())).unwrap();
        assert_eq!((s.levels.len(), s.tally.descent), (21, 0));
    }

    #[test]
    fn impossible_values_are_missing() {
        let mut bad = row(500.0, 250.0);
        bad.temperature_k = Some(999.0);
        // 9 km at sea-level pressure.
        let mut belied = row(9_000.0, 5.0);
        belied.pressure_pa = Some(101_325.0);
        let rows = vec![row(100.0, 1.0), bad, row(900.0, 2.0), belied];
        let s = clean(raw(rows)).unwrap();
        assert_eq!(s.tally.out_of_range, 3);
        assert_eq!(s.tally.unusable, 1);
        assert_eq!(s.tally.heights_computed, 1);
        assert!(s.levels.iter().all(|l| l.altitude_m < 1_000.0));
    }

    #[test]
    fn of_height_and_pressure_the_one_out_of_order_goes() {
        let with = |pairs: &[(f64, f64)]| {
            let rows = pairs.iter().map(|&(height_m, hpa)| Row {
                pressure_pa: Some(100.0 * hpa),
                ..row(height_m, 5.0)
            });
            let s = clean(raw(rows.collect())).unwrap();
            assert_eq!(s.tally.out_of_range, 1);
            (altitudes(&s), s.tally.heights_computed)
        };
        let wrong_pressure = [(110.0, 1_000.0), (1_500.0, 85.0), (3_000.0, 700.0)];
        assert_eq!(with(&wrong_pressure), (vec![110.0, 1_500.0, 3_000.0], 0));
        let falling = [(3_000.0, 700.0), (1_500.0, 85.0), (110.0, 1_000.0)];
        assert_eq!(with(&falling), (vec![110.0, 1_500.0, 3_000.0], 0));
        let (heights, computed) = with(&[(110.0, 1_000.0), (15_000.0, 850.0), (3_000.0, 700.0)]);
        assert!(
            (heights[1] - 1_460.0).abs() < 30.0 && computed == 1,
            "{heights:?}"
        );
    }

    #[test]
    fn heights_above_the_ground_are_no_heights() {
        let with = |pairs: &[(f64, f64)]| {
            let rows = pairs.iter().map(|&(height_m, hpa)| Row {
                pressure_pa: Some(100.0 * hpa),
                ..row(height_m, 5.0)
            });
            clean(raw(rows.collect()))
        };
        // Of a station at 1,650 m.
        let above_ground = with(&[
            (0.0, 830.0),
            (600.0, 772.0),
            (1_300.0, 705.0),
            (4_000.0, 495.0),
        ]);
        let message = above_ground.unwrap_err().to_string();
        assert!(
            message.contains("below those of their pressures"),
            "{message}"
        );
        assert!(with(&[(5_413.0, 830.0), (7_400.0, 772.0), (18_000.0, 500.0)]).is_err());
        // A deep low over Siberia in winter, and a high.
        assert!(with(&[(10.0, 950.0), (400.0, 900.0), (4_900.0, 500.0)]).is_ok());
        assert!(with(&[(10.0, 1_060.0), (850.0, 950.0), (5_900.0, 500.0)]).is_ok());
        // The South Pole, where all air below is cold.
        assert!(with(&[(2_835.0, 650.0), (3_400.0, 600.0), (4_700.0, 500.0)]).is_ok());
        // Some rows may be wrong.
        assert!(with(&[(110.0, 1_000.0), (9_000.0, 925.0), (5_574.0, 500.0)]).is_ok());
        let s = with(&[(9_000.0, 1_013.0), (5_574.0, 500.0), (9_164.0, 300.0)]).unwrap();
        assert_eq!(s.tally.out_of_range, 1);
    }

    #[test]
    fn directions_of_both_signs_are_read_as_what_they_are() {
        let with = |directions: &[f64]| {
            let rows = directions.iter().enumerate().map(|(i, &d)| Row {
                from_deg: Some(d),
                ..row(100.0 * i as f64, 5.0)
            });
            clean(raw(rows.collect())).unwrap()
        };
        let signed = with(&[-180.0, -90.0, -10.0, 0.0, 90.0, 180.0]);
        let plain = with(&[180.0, 270.0, 350.0, 0.0, 90.0, 180.0]);
        assert_eq!(signed.levels, plain.levels);
        assert_eq!(signed.tally.out_of_range, 0);
        assert!(signed.tally.assumed == [Reading::SignedDirections { below_0: 3 }]);
        // A filler, and something else.
        assert_eq!(with(&[-99.0, 90.0, 180.0, -99.0]).levels.len(), 2);
        assert_eq!(with(&[-20.0, -10.0, 270.0, 180.0]).levels.len(), 2);
    }

    #[test]
    fn calm_needs_no_direction() {
        let mut calm = row(100.0, 0.0);
        calm.from_deg = None;
        let mut lost = row(200.0, 4.0);
        lost.from_deg = None;
        let s = clean(raw(vec![calm, lost, row(300.0, 2.0)])).unwrap();
        assert_eq!((s.tally.calm, s.tally.unusable), (1, 1));
        assert_eq!(s.levels[0].wind.unwrap().speed_m_s(), 0.0);
    }

    #[test]
    fn one_wind_is_not_enough() {
        let message = clean(raw(vec![row(100.0, 1.0)])).unwrap_err().to_string();
        assert!(
            message.contains("1 level with height and wind"),
            "{message}"
        );
        let message = clean(raw(Vec::new())).unwrap_err().to_string();
        assert!(message.contains("no level"), "{message}");
    }

    /// Pressures and temperatures of the standard atmosphere must give its heights back.
    #[test]
    fn pressures_become_heights() {
        let at = |h: f64| {
            let air = standard(Geopotential(h));
            Row {
                height_m: None,
                pressure_pa: Some(air.pressure_pa),
                temperature_k: Some(air.temperature_k),
                ..row(0.0, 5.0)
            }
        };
        let expected: Vec<f64> = (0..60).map(|i| f64::from(i) * 500.0).collect();
        let s = clean(raw(expected.iter().map(|&h| at(h)).collect())).unwrap();
        assert_eq!(s.heights, HeightSource::Hypsometric);
        assert_eq!(s.tally.heights_computed, 60);
        for (level, h) in s.levels.iter().zip(&expected) {
            let z = Geopotential(*h).altitude_m(UNKNOWN_LATITUDE_DEG);
            assert!(
                (level.altitude_m - z).abs() < 3.0,
                "{z} {}",
                level.altitude_m
            );
        }
        // Known heights shift the column: here all of it lies 50 m higher.
        let mut rows: Vec<Row> = expected.iter().map(|&h| at(h)).collect();
        rows[10].height_m = Some(5_050.0);
        rows[30].height_m = Some(15_050.0);
        let mut shifted = raw(rows);
        shifted.heights = HeightSource::Geopotential;
        let s = clean(shifted).unwrap();
        assert_eq!(s.heights, HeightSource::Geopotential);
        assert_eq!(s.tally.heights_computed, 58);
        for (level, h) in s.levels.iter().zip(&expected) {
            let z = Geopotential(h + 50.0).altitude_m(UNKNOWN_LATITUDE_DEG);
            assert!(
                (level.altitude_m - z).abs() < 3.0,
                "{z} {}",
                level.altitude_m
            );
        }
    }

    #[test]
    fn humidity_in_any_form() {
        let mut r = Row {
            temperature_k: Some(293.15),
            relative_humidity: Some(0.5),
            ..Row::default()
        };
        let from_share = vapour_pressure_pa(&r).unwrap();
        // Half of 23.4 hPa, the saturation at 20 C of any table.
        assert!((from_share - 1_168.0).abs() < 8.0, "{from_share}");
        // The dew point then is 9.3 C.
        r.dew_point_depression_k = Some(10.73);
        assert!((vapour_pressure_pa(&r).unwrap() / from_share - 1.0).abs() < 5e-3);
        r.dew_point_k = Some(282.42);
        assert!((vapour_pressure_pa(&r).unwrap() / from_share - 1.0).abs() < 5e-3);
    }
}
