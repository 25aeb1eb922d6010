//! Which columns of wind lie around a place and a time, and how much each counts.

use jiff::Timestamp;

use super::departure;
use super::grid::{Block, Step};
use super::way::{Way, chord_m};
use crate::error;
use crate::geodesy::beside::Vectors;
use crate::geodesy::cell_map::CellMap;
use crate::geodesy::lattice::Lattice;
use crate::geodesy::{Normal, Position};
use crate::numeric::bracket;

/// Columns and what each counts; the weights add up to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weights {
    // Arrays, not lists: weights are made for every leg of every flight.
    columns: [u32; MOST],
    weights: [f64; MOST],
    count: usize,
}

/// Most columns that count at once: eight of a grid, or two times at four stations.
const MOST: usize = 8;
/// Soundings from more stations than this are not blended.
pub const MOST_STATIONS: usize = MOST / 2;

impl Weights {
    /// One column alone.
    pub fn one(column: u32) -> Weights {
        let mut weights = Weights::none();
        weights.push(column, 1.0);
        weights
    }

    fn none() -> Weights {
        Weights {
            columns: [0; MOST],
            weights: [0.0; MOST],
            count: 0,
        }
    }

    /// Columns with their weights, no more than eight.
    pub fn of(terms: impl IntoIterator<Item = (usize, f64)>) -> Weights {
        let mut weights = Weights::none();
        for (column, weight) in terms.into_iter().take(MOST) {
            weights.push(column as u32, weight);
        }
        weights
    }

    fn push(&mut self, column: u32, weight: f64) {
        self.columns[self.count] = column;
        self.weights[self.count] = weight;
        self.count += 1;
    }

    /// The columns, numbered within one member, with their weights, which may be 0.
    pub fn terms(&self) -> impl Iterator<Item = (usize, f64)> {
        let columns = self.columns[..self.count].iter();
        columns.map(|&c| c as usize).zip(self.weights)
    }

    /// The columns that count; a weight left over from rounding does not.
    pub fn counting(&self) -> impl Iterator<Item = (usize, f64)> {
        self.terms().filter(|(_, weight)| *weight > ROUNDING)
    }

    /// The weighted mean of what the columns have; those that do not count may have no number.
    pub fn mean(&self, value: impl Fn(usize) -> f64) -> f64 {
        self.counting().map(|(c, w)| w * value(c)).sum()
    }
}

/// Where winds end.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Outside {
    /// The place lies outside the region.
    Region,
    /// The time lies outside the hours.
    Hours,
}

/// How places and times find their columns.
#[derive(Debug, Clone)]
pub enum Placing {
    /// One column stands for every place and time.
    One,
    /// A grid: bilinear between its points, linear in time.
    Grid(GridPlacing),
    /// Soundings: inverse-distance between stations, linear in time.
    Stations(Vec<Station>),
}

/// Where and when a grid's columns stand.
#[derive(Debug, Clone)]
pub struct GridPlacing {
    map: CellMap,
    rows: usize,
    columns: usize,
    goes_round: bool,
    /// Seconds since the planned release, rising.
    times_s: Vec<f64>,
    /// Which columns have no wind; empty where all have.
    empty: Vec<bool>,
}

/// Soundings of one station.
#[derive(Debug, Clone)]
pub struct Station {
    /// Where.
    pub place: Normal,
    /// When each was made, seconds since the planned release, rising.
    pub times_s: Vec<f64>,
    /// The column of the first.
    pub first: u32,
    /// The way of each one's sonde; empty where none is known.
    pub ways: Vec<Way>,
}

impl Station {
    /// When a sounding's wind of an altitude was measured, seconds since the planned release.
    fn time_s(&self, sounding: usize, altitude_m: f64) -> f64 {
        let after_s = self.ways.get(sounding).and_then(|w| w.after_s(altitude_m));
        self.times_s[sounding] + after_s.unwrap_or(0.0)
    }

    /// Where it was.
    fn place(&self, sounding: usize, altitude_m: f64) -> Normal {
        let place = self.ways.get(sounding).and_then(|w| w.place(altitude_m));
        place.unwrap_or(self.place)
    }

    /// What of the station counts at a place and time, by when and where its sondes measured an altitude.
    fn around(&self, place: Normal, time_s: f64, altitude_m: f64) -> Around {
        let last = self.times_s.len() - 1;
        if self.ways.is_empty() {
            let (sounding, late) = bracket(&self.times_s, |t| *t, time_s);
            return Around {
                sounding,
                late,
                distance_m: chord_m(self.place, place),
                beyond_s: beyond([self.times_s[0], self.times_s[last]], time_s),
            };
        }
        let at = |i: usize| self.time_s(i, altitude_m);
        // By when each measured this altitude: the sonde that was released first may get there
        // last.
        let sounding = (1..=last).take_while(|&i| at(i) <= time_s).count();
        let next = (sounding + 1).min(last);
        let between_s = at(next) - at(sounding);
        let late = match between_s > 0.0 {
            true => ((time_s - at(sounding)) / between_s).clamp(0.0, 1.0),
            false => 0.0,
        };
        let [from, to] = [sounding, next].map(|i| chord_m(self.place(i, altitude_m), place));
        Around {
            sounding,
            late,
            distance_m: from + late * (to - from),
            beyond_s: beyond([at(0), at(last)], time_s),
        }
    }
}

/// What of a station counts at a place and time.
struct Around {
    /// The sounding before the time.
    sounding: usize,
    /// The share of the way to the next.
    late: f64,
    /// From the place, m.
    distance_m: f64,
    /// From the first or last of its soundings, where the time lies outside of them, s.
    beyond_s: f64,
}

/// How far a value lies outside of a range.
fn beyond([first, last]: [f64; 2], value: f64) -> f64 {
    (first - value).max(value - last).max(0.0)
}

/// A forecast of one time only may stand for flights within this, s (assumed).
pub const ONE_TIME_STANDS_S: f64 = 4.0 * 3_600.0;

/// Times farther apart than this leave a gap that is not known, s: forecasts step by up to six
/// hours.
pub const LONGEST_GAP_S: f64 = 6.5 * 3_600.0;

impl GridPlacing {
    /// For the points of a lattice around `center`, and times in seconds since the release.
    ///
    /// # Errors
    ///
    /// When PROJ refuses the lattice's projection.
    pub fn new(
        lattice: &Lattice,
        center: Position,
        times_s: Vec<f64>,
    ) -> error::Result<GridPlacing> {
        Ok(GridPlacing {
            map: CellMap::new(lattice, center)?,
            rows: lattice.y.count,
            columns: lattice.x.count,
            goes_round: lattice.goes_round(),
            times_s,
            empty: Vec::new(),
        })
    }

    fn is_empty_there(&self, weights: &Weights) -> bool {
        !self.empty.is_empty() && weights.counting().any(|(c, _)| self.empty[c])
    }

    /// Sets `weights`, which in the hot loop is cheaper than to hand them over.
    fn weigh(
        &self,
        [row, column]: [f64; 2],
        time_s: f64,
        weights: &mut Weights,
    ) -> Result<(), Outside> {
        let (step, late) = self.time(time_s)?;
        let (row, north) = between(row, self.rows).ok_or(Outside::Region)?;
        let (column, next, east) = if self.goes_round {
            let column = column.rem_euclid(self.columns as f64);
            // `rem_euclid` may round a tiny negative number up to the count itself.
            let west = (column as usize).min(self.columns - 1);
            (west, (west + 1) % self.columns, column - west as f64)
        } else {
            let (west, east) = between(column, self.columns).ok_or(Outside::Region)?;
            (west, (west + 1).min(self.columns - 1), east)
        };
        let above = (row + 1).min(self.rows - 1);
        weights.count = 0;
        for (step, share) in [(step, 1.0 - late), (step + 1, late)] {
            // At the last step there is no next one to ask.
            if share == 0.0 {
                continue;
            }
            let first = step * self.rows;
            for (row, share) in [(row, share * (1.0 - north)), (above, share * north)] {
                let first = (first + row) * self.columns;
                weights.push((first + column) as u32, share * (1.0 - east));
                weights.push((first + next) as u32, share * east);
            }
        }
        if self.is_empty_there(weights) {
            return Err(Outside::Region);
        }
        Ok(())
    }

    #[cfg(test)]
    fn weights(&self, place: Normal, time_s: f64) -> Result<Weights, Outside> {
        let mut weights = Weights::none();
        let (row, column) = self.map.locate(place);
        self.weigh([row, column], time_s, &mut weights)?;
        Ok(weights)
    }

    fn gap_after(&self, time_s: f64) -> bool {
        let mut pairs = self.times_s.windows(2);
        pairs.any(|pair| pair[1] > time_s && pair[1] - pair[0] > LONGEST_GAP_S)
    }

    /// The step before a time and the share of the way to the next.
    fn time(&self, time_s: f64) -> Result<(usize, f64), Outside> {
        // With one time there is nothing to interpolate between.
        if let [only] = self.times_s[..] {
            let near = (time_s - only).abs() <= ONE_TIME_STANDS_S;
            return if near {
                Ok((0, 0.0))
            } else {
                Err(Outside::Hours)
            };
        }
        let after = self.times_s.partition_point(|t| *t <= time_s);
        match (after.checked_sub(1), self.times_s.get(after)) {
            (Some(i), Some(next)) if next - self.times_s[i] <= LONGEST_GAP_S => {
                let before = self.times_s[i];
                Ok((i, (time_s - before) / (next - before)))
            }
            // The last time, and one before a gap, still hold at their own moment.
            (Some(i), _) if self.times_s[i] == time_s => Ok((i, 0.0)),
            _ => Err(Outside::Hours),
        }
    }
}

/// Rounding between degrees and normals must not put a place on the edge outside, nor make a neighbour of a place
/// on a line of the grid count: in steps of the grid, so in weights, too.
const ROUNDING: f64 = 1e-9;

/// The whole number below `x` and the rest, if `x` is within the first and the last of `count`.
fn between(x: f64, count: usize) -> Option<(usize, f64)> {
    let last = count.checked_sub(1)?;
    // Not-a-number is outside as well.
    if !(x >= -ROUNDING && x <= last as f64 + ROUNDING) {
        return None;
    }
    let x = x.clamp(0.0, last as f64);
    // A place on the last point belongs to the cell before it, all the way across.
    let below = (x as usize).min(last.saturating_sub(1));
    Some((below, x - below as f64))
}

/// Nearer than this a station stands alone, m.
const AT_STATION_M: f64 = 100.0;

fn station_weights(stations: &[Station], place: Normal, time_s: f64, altitude_m: f64) -> Weights {
    let around: [Option<Around>; MOST_STATIONS] = std::array::from_fn(|i| {
        let station = stations.get(i)?;
        Some(station.around(place, time_s, altitude_m))
    });
    let around = || around.iter().flatten();
    let smallest = |of: &dyn Fn(&Around) -> f64| around().map(of).fold(f64::INFINITY, f64::min);
    let freshest_s = smallest(&|a| a.beyond_s);
    let moves_at_m_s = departure::moves_at_m_s(place.0[2]);
    // What is older than the freshest is as good as so much farther away. Of the age that all have the
    // nearest suffers no less than the others.
    let away_m = |a: &Around| a.distance_m.hypot(moves_at_m_s * (a.beyond_s - freshest_s));
    let nearest = smallest(&away_m).max(AT_STATION_M);
    // Relative to the nearest, so that none grows without bound.
    let share = |a: &Around| match away_m(a) {
        d if d <= AT_STATION_M => f64::from(u8::from(nearest <= AT_STATION_M)),
        _ if nearest <= AT_STATION_M => 0.0,
        d => (nearest / d).powi(2),
    };
    let total: f64 = around().map(share).sum();
    let mut weights = Weights::none();
    for (station, there) in stations.iter().zip(around()) {
        let share = share(there) / total;
        let column = station.first + there.sounding as u32;
        weights.push(column, share * (1.0 - there.late));
        // At its last sounding a station has no next one to ask.
        if there.late > 0.0 {
            weights.push(column + 1, share * there.late);
        }
    }
    weights
}

impl Placing {
    /// For the columns of a block, around a `center`, at times counted from the planned release.
    /// Where a column has no wind in some member is outside.
    ///
    /// # Errors
    ///
    /// When PROJ refuses the block's projection.
    pub fn of_block(block: &Block, center: Position, release: Timestamp) -> error::Result<Placing> {
        let seconds = |step: &Step| step.valid.duration_since(release).as_secs_f64();
        let times_s = block.steps.iter().map(seconds).collect();
        let mut placing = GridPlacing::new(&block.lattice, center, times_s)?;
        let columns = block.columns_of_member();
        let empty = |column| {
            let mut members = 0..block.members.len();
            members.any(|member| !block.has_wind(member * columns + column))
        };
        let all: Vec<bool> = (0..columns).map(empty).collect();
        // Most forecasts have wind everywhere: then the hot loop asks nothing.
        if all.contains(&true) {
            placing.empty = all;
        }
        Ok(Placing::Grid(placing))
    }

    /// Whether a gap in the hours that is not bridged lies after a time, seconds since the planned release.
    pub fn gap_after(&self, time_s: f64) -> bool {
        matches!(self, Placing::Grid(grid) if grid.gap_after(time_s))
    }

    /// The columns around a place at a time, seconds since the planned release, near the ground.
    ///
    /// # Errors
    ///
    /// Where they end.
    pub fn weights(&self, place: Normal, time_s: f64) -> Result<Weights, Outside> {
        self.weights_at(place, time_s, 0.0)
    }

    /// The same at an altitude, m above mean sea level: sondes drift.
    ///
    /// # Errors
    ///
    /// Where they end.
    pub fn weights_at(
        &self,
        place: Normal,
        time_s: f64,
        altitude_m: f64,
    ) -> Result<Weights, Outside> {
        let mut weights = Weights::none();
        let [[row], [column]] = self.locate_all(&Vectors::<1>::of(|_| place));
        self.weigh(place, [row, column], time_s, altitude_m, &mut weights)?;
        Ok(weights)
    }

    /// Rows and columns of several places, to [`Placing::weigh`] by; nothing where there is no grid.
    #[inline(always)]
    pub fn locate_all<const N: usize>(&self, places: &Vectors<N>) -> [[f64; N]; 2] {
        match self {
            Placing::Grid(grid) => grid.map.locate_all(places),
            _ => [[0.0; N]; 2],
        }
    }

    /// [`Placing::weights_at`] in place of others, which are lost where there are none, of a place that has
    /// been `located`.
    #[inline]
    pub fn weigh(
        &self,
        place: Normal,
        located: [f64; 2],
        time_s: f64,
        altitude_m: f64,
        weights: &mut Weights,
    ) -> Result<(), Outside> {
        match self {
            Placing::One => *weights = Weights::one(0),
            Placing::Grid(grid) => grid.weigh(located, time_s, weights)?,
            Placing::Stations(stations) => {
                *weights = station_weights(stations, place, time_s, altitude_m);
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geodesy::lattice::{Axis, Plane};

    fn place(lat: f64, lon: f64) -> Normal {
        Position::new(lat, lon).unwrap().normal()
    }

    fn grid(x: Axis, y: Axis, times_s: &[f64]) -> GridPlacing {
        let lattice = Lattice {
            plane: Plane::LatLon,
            x,
            y,
        };
        let center = Position::new(y.first, x.first).unwrap();
        GridPlacing::new(&lattice, center, times_s.to_vec()).unwrap()
    }

    fn axis(first: f64, step: f64, count: usize) -> Axis {
        Axis { first, step, count }
    }

    #[test]
    fn eight_columns_make_the_trilinear_mean() {
        let g = grid(axis(-1.0, 0.5, 5), axis(40.0, 0.25, 3), &[0.0, 3_600.0]);
        // Value = 100 step + 10 row + column.
        let value = |c: usize| (100 * (c / 15) + 10 * (c % 15 / 5) + c % 5) as f64;
        let found = g.weights(place(40.3, -0.1), 900.0).unwrap();
        let wanted = 100.0 * 0.25 + 10.0 * (0.3 / 0.25) + 0.9 / 0.5;
        assert!((found.mean(value) - wanted).abs() < 1e-5);
        assert!((found.mean(|_| 1.0) - 1.0).abs() < 1e-6);
    }

    #[test]
    fn outside_is_told() {
        let g = grid(axis(-1.0, 0.5, 5), axis(40.0, 0.25, 3), &[0.0, 3_600.0]);
        assert_eq!(g.weights(place(39.99, 0.0), 0.0), Err(Outside::Region));
        assert_eq!(g.weights(place(40.1, 1.01), 0.0), Err(Outside::Region));
        assert_eq!(g.weights(place(40.1, 0.0), -1.0), Err(Outside::Hours));
        assert_eq!(g.weights(place(40.1, 0.0), 3_601.0), Err(Outside::Hours));
        assert!(g.weights(place(40.1, 0.0), 3_600.0).is_ok());
    }

    #[test]
    fn the_edge_belongs_to_the_region() {
        let g = grid(axis(-9.0, 0.25, 9), axis(39.0, 0.25, 5), &[0.0]);
        for lat in [39.0, 39.25, 40.0] {
            for lon in [-9.0, -8.3, -7.0] {
                assert!(g.weights(place(lat, lon), 0.0).is_ok(), "{lat} {lon}");
            }
        }
    }

    #[test]
    fn a_night_without_times_is_not_bridged() {
        let g = grid(
            axis(-1.0, 0.5, 5),
            axis(40.0, 0.25, 3),
            &[0.0, 21_600.0, 72_000.0],
        );
        let at = |s| g.weights(place(40.1, 0.0), s).map(|_| ());
        assert_eq!(at(10_000.0), Ok(()));
        assert_eq!(at(21_600.0), Ok(()));
        assert_eq!(at(21_601.0), Err(Outside::Hours));
        assert_eq!(at(72_000.0), Ok(()));
        let placing = Placing::Grid(g);
        assert!(placing.gap_after(0.0) && placing.gap_after(21_600.0));
        assert!(!placing.gap_after(72_000.0));
    }

    #[test]
    fn columns_go_round_the_earth() {
        let g = grid(axis(0.0, 2.5, 144), axis(-90.0, 2.5, 73), &[0.0]);
        for (lon, west) in [(-0.5, 143), (359.0, 143), (-179.0, 72), (1.0, 0)] {
            let found = g.weights(place(1.0, lon), 0.0).unwrap();
            let columns: Vec<usize> = found.terms().map(|t| t.0 % 144).collect();
            assert_eq!(columns[..2], [west, (west + 1) % 144], "{lon}");
        }
    }

    #[test]
    fn stations_count_by_inverse_square_distance() {
        let station = |lat, first, times: &[f64]| Station {
            place: place(lat, 0.0),
            times_s: times.to_vec(),
            first,
            ways: Vec::new(),
        };
        let stations = [
            station(40.0, 0, &[1_800.0]),
            station(41.0, 1, &[-3_600.0, 3_600.0]),
        ];
        let found = station_weights(&stations, place(40.25, 0.0), 1_800.0, 0.0);
        let share = |c| found.mean(|k| f64::from(u8::from(k == c)));
        assert!((share(0) - 0.9).abs() < 1e-3);
        assert!((share(1) - 0.025).abs() < 1e-3);
        assert!((share(2) - 0.075).abs() < 1e-3);
        let at = station_weights(&stations, place(40.0, 0.0), 1_800.0, 0.0);
        assert!(at.mean(|k| k as f64).abs() < 1e-6);
    }

    /// A day old and 50 km away is not as good as half an hour old and 100 km away.
    #[test]
    fn old_soundings_count_less() {
        let station = |lat, first, at_s: f64| Station {
            place: place(lat, 0.0),
            times_s: vec![at_s],
            first,
            ways: Vec::new(),
        };
        let share_of_first = |first_s: f64, other_s: f64| {
            let stations = [station(40.45, 0, first_s), station(39.1, 1, other_s)];
            let found = station_weights(&stations, place(40.0, 0.0), 0.0, 0.0);
            found.mean(|k| f64::from(u8::from(k == 0)))
        };
        assert!(share_of_first(-86_400.0, -1_800.0) < 0.02);
        // Of one age the nearer counts as before, however old both are.
        let fresh = share_of_first(0.0, 0.0);
        assert!((fresh - 0.8).abs() < 0.01, "{fresh}");
        assert_eq!(share_of_first(-86_400.0, -86_400.0), fresh);
    }

    /// A sounding counts by when and where its sonde was at the height of the flight.
    #[test]
    fn soundings_drift() {
        let row = |z: f64, s: f64, lon: f64| (z, s, place(40.0, lon));
        let way = |lon: f64| {
            let rows = [row(0.0, 0.0, lon), row(20_000.0, 4_000.0, lon + 1.0)];
            Way::of_moments(rows.into_iter())
        };
        let station = |lon: f64, first, times: &[f64]| Station {
            place: place(40.0, lon),
            times_s: times.to_vec(),
            first,
            ways: times.iter().map(|_| way(lon)).collect(),
        };
        let stations = [
            station(0.0, 0, &[-36_000.0, 7_200.0]),
            station(2.0, 2, &[0.0]),
        ];
        let share = |z: f64, s: f64, lon: f64, c: usize| {
            let found = station_weights(&stations, place(40.0, lon), s, z);
            found.mean(|k| f64::from(u8::from(k == c)))
        };
        // Released at the first station at time 0, flying as its sondes did: at every height as near to
        // it as at the release, and as long after the first sounding, 36,000 of 43,200 s.
        let first = |z: f64, s: f64, lon: f64| share(z, s, lon, 0) + share(z, s, lon, 1);
        assert!((first(0.0, 0.0, 0.5) - 0.9).abs() < 1e-3);
        assert!((first(10_000.0, 2_000.0, 1.0) - 0.9).abs() < 1e-3);
        assert!((first(20_000.0, 4_000.0, 1.5) - 0.9).abs() < 1e-3);
        for (z, s) in [(0.0, 0.0), (10_000.0, 2_000.0), (20_000.0, 4_000.0)] {
            let late = share(z, s, 0.0, 1) / first(z, s, 0.0);
            assert!((late - 36.0 / 43.2).abs() < 1e-9, "{z}: {late}");
        }
        // The second sounding's wind at 20 km is of 11,200 s.
        assert!(share(20_000.0, 11_000.0, 1.0, 0) > 0.0);
        assert_eq!(share(20_000.0, 11_200.0, 1.0, 0), 0.0);
        assert_eq!(share(0.0, 7_200.0, 0.0, 0), 0.0);
    }
}
