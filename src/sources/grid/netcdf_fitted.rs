//! Grids of which a file gives only the latitude and longitude of every point: what map they are equally
//! spaced on, if any.
//!
//! Lambert's conformal cone with the constant n holds the polar stereographic maps (n = 1 and -1) and
//! Mercator's (n = 0). On it the grid's y is turned from north by n times the longitude from the
//! central meridian, which gives a first guess of both; Gauss and Newton do the rest. A map is taken
//! only when every point is where it should be to a fiftieth of a cell.
//!
//! # References
//!
//! J. P. Snyder, Map projections: a working manual, USGS professional paper 1395 (1987), chapters 7, 15
//! and 21, formulas from memory; PROJ checks a point of what comes out.

#![allow(
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "two coordinates each, of points numbered here"
)]

use std::f64::consts::{PI, TAU};

use ndarray::{Array2, Ix2};
use netcdf_reader::NcVariable;

use super::data_set::DataSet;
use super::netcdf_axes::{Coordinate, Net};
use super::netcdf_meaning::text;
use crate::geodesy::Position;
use crate::geodesy::lattice::to_plane;
use crate::notes::reading::Reading;

/// The most points of such a grid: 3 km over the United States are 1.9 million.
const MOST_POINTS: u64 = 2_500_000;
/// How far a point may lie from where it should be, cells.
const OFF_CELLS: f64 = 0.02;
/// Rows and columns that a map is sought with.
const SOUGHT: usize = 40;
/// Eccentricity of the ellipsoid WGS84.
const WGS84: f64 = 0.081_819_190_842_621_5;
/// Radius of the sphere of most models, m (assumed): it only says how large a metre is.
const SPHERE: &str = "+R=6371229";

/// The two dimensions of such a grid as axes.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Fitted {
    /// Latitude and longitude, by name.
    of: [String; 2],
    names: [String; 2],
    axes: [Coordinate; 2],
    /// The map in PROJ's words; `None` where it is degrees.
    pub definition: Option<String>,
}

impl Fitted {
    /// The axis along a dimension, if it is one of the two.
    pub fn along(&self, dimension: &str) -> Option<Coordinate> {
        let at = self.names.iter().position(|name| name == dimension)?;
        Some(self.axes[at].clone())
    }

    /// Whether it was made from these.
    pub fn is_of(&self, places: [&NcVariable; 2]) -> bool {
        self.of.iter().zip(places).all(|(a, b)| a == b.name())
    }

    /// What is assumed about it.
    pub fn assumed(&self) -> Option<Reading> {
        let definition = self.definition.clone()?;
        Some(Reading::InferredMap { definition })
    }
}

/// Latitudes and longitudes of all points along two of a variable's dimensions, if the file has them.
pub(super) fn places<'a>(file: &'a DataSet, variable: &NcVariable) -> Option<[&'a NcVariable; 2]> {
    let of_it = |places: &&NcVariable| {
        let mut dimensions = places.dimensions().iter();
        let within = dimensions.all(|d| variable.dimensions().iter().any(|v| v.name == d.name));
        places.ndim() == 2 && within
    };
    let find = |standard: &str, unit: &str| {
        let mut all = file.variables().iter().filter(of_it);
        all.find(|v| {
            text(v, "standard_name").as_deref() == Some(standard)
                || text(v, "units").is_some_and(|u| u.starts_with(unit))
        })
    };
    let lat = find("latitude", "degrees_n").or_else(|| find("latitude", "degree_n"))?;
    let lon = find("longitude", "degrees_e").or_else(|| find("longitude", "degree_e"))?;
    let same = lat.dimensions().iter().zip(lon.dimensions());
    same.into_iter()
        .all(|(a, b)| a.name == b.name)
        .then_some([lat, lon])
}

/// The axes of a grid with these places; or why it has none.
pub(super) fn fitted(file: &DataSet, places: [&NcVariable; 2]) -> Result<Fitted, String> {
    let named = |place: &NcVariable| place.name().to_owned();
    if places[0]
        .num_elements()
        .ok()
        .is_none_or(|n| n > MOST_POINTS)
    {
        return Err(format!("latitudes of more than {MOST_POINTS} points"));
    }
    let [mut lat, mut lon] = [read(file, places[0])?, read(file, places[1])?];
    let dimensions = places[0].dimensions();
    let mut names = [dimensions[0].name.clone(), dimensions[1].name.clone()];
    // Rows come first in most files; where they do not, only the names tell.
    if names[0].starts_with(['x', 'X']) && names[1].starts_with(['y', 'Y']) {
        (lat, lon) = (lat.reversed_axes(), lon.reversed_axes());
        names.reverse();
    }
    let (axes, definition) = match degrees(&lat, &lon) {
        Some(axes) => (axes, None),
        None => on_a_map(&lat, &lon).map(|(axes, map)| (axes, Some(map)))?,
    };
    Ok(Fitted {
        of: places.map(named),
        names,
        axes,
        definition,
    })
}

fn read(file: &DataSet, place: &NcVariable) -> Result<Array2<f64>, String> {
    let values = file.coordinate(place.name())?;
    let values = values
        .into_dimensionality::<Ix2>()
        .map_err(|c| c.to_string())?;
    let least = values.dim().0.min(values.dim().1);
    // Three, as the way north at a point is taken from its neighbours on both sides.
    match least >= 3 && values.iter().all(|v| v.is_finite() && v.abs() <= 720.0) {
        true => Ok(values),
        false => Err(format!(
            "\"{}\" with values that are no places",
            place.name()
        )),
    }
}

/// Rows of one latitude and columns of one longitude.
fn degrees(lat: &Array2<f64>, lon: &Array2<f64>) -> Option<[Coordinate; 2]> {
    let (rows, columns) = lat.dim();
    // Degrees up to 360 that were kept in 32 bits are off by 1.5e-5.
    let close = |a: f64, b: f64| (a - b).abs() < 2e-5;
    let straight = (0..rows).all(|j| (0..columns).all(|i| close(lat[[j, i]], lat[[j, 0]])))
        && (0..rows).all(|j| (0..columns).all(|i| close(lon[[j, i]], lon[[0, i]])));
    straight.then(|| {
        [
            Coordinate::Row(Net::Degrees, lat.column(0).to_vec()),
            Coordinate::Column(Net::Degrees, lon.row(0).to_vec()),
        ]
    })
}

/// One point: its column and row, latitude and longitude, radians.
#[derive(Debug, Clone, Copy)]
struct Point {
    at: [f64; 2],
    lat: f64,
    lon: f64,
}

/// A conformal cone.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Cone {
    n: f64,
    /// The central meridian, radians.
    lon: f64,
    eccentricity: f64,
    /// Isometric latitude of the middle, so that numbers stay of the size of 1.
    middle: f64,
}

fn isometric(lat: f64, eccentricity: f64) -> f64 {
    lat.tan().asinh() - eccentricity * (eccentricity * lat.sin()).atanh()
}

fn turned(angle: f64) -> f64 {
    (angle + PI).rem_euclid(TAU) - PI
}

impl Cone {
    fn plane(&self, point: &Point) -> [f64; 2] {
        let up = isometric(point.lat, self.eccentricity) - self.middle;
        let east = turned(point.lon - self.lon);
        // Mercator's map, to which cones tend.
        if self.n == 0.0 {
            return [east, up];
        }
        let radius = (-self.n * up).exp() / self.n;
        let (sin, cos) = (self.n * east).sin_cos();
        [radius * sin, -radius * cos]
    }

    /// In PROJ's words.
    fn definition(&self) -> String {
        let lon = self.lon.to_degrees();
        let map = match self.n {
            0.0 => format!("+proj=merc +lon_0={lon:.6}"),
            n if n.abs() == 1.0 => {
                format!("+proj=stere +lat_0={} +k_0=1 +lon_0={lon:.6}", 90.0 * n)
            }
            n => {
                // One parallel stands for two: pairs with the same n give maps that
                // differ in size alone.
                let lat = n.asin().to_degrees();
                format!("+proj=lcc +lat_1={lat:.6} +lat_2={lat:.6} +lat_0={lat:.6} +lon_0={lon:.6}")
            }
        };
        let earth = match self.eccentricity {
            0.0 => SPHERE,
            _ => "+ellps=WGS84",
        };
        format!("{map} {earth} +units=m +no_defs")
    }
}

/// Where points lie on a cone: first value and step of x by columns and of y by rows, and how far each
/// point is off that, cells.
struct Laid {
    first: [f64; 2],
    step: [f64; 2],
    off: Vec<f64>,
}

fn laid(points: &[Point], cone: &Cone) -> Laid {
    let places: Vec<[f64; 2]> = points.iter().map(|point| cone.plane(point)).collect();
    let count = points.len() as f64;
    let mean = |value: &dyn Fn(usize) -> f64| (0..points.len()).map(value).sum::<f64>() / count;
    // Through all points, not from the first to the last: rounding of one must not tilt the grid.
    let line = |d: usize| {
        let (at, place) = (mean(&|k| points[k].at[d]), mean(&|k| places[k][d]));
        let spread = mean(&|k| (points[k].at[d] - at).powi(2));
        let both = mean(&|k| (points[k].at[d] - at) * (places[k][d] - place));
        (place - at * both / spread, both / spread)
    };
    let lines = [line(0), line(1)];
    let off = |k: usize, d: usize| {
        (places[k][d] - lines[d].0 - lines[d].1 * points[k].at[d]) / lines[d].1.abs()
    };
    Laid {
        first: lines.map(|l| l.0),
        step: lines.map(|l| l.1),
        off: (0..2)
            .flat_map(|d| (0..points.len()).map(move |k| (k, d)))
            .map(|(k, d)| off(k, d))
            .collect(),
    }
}

/// The cone that fits best, from a first guess on; `n` is kept where it is fixed.
fn improved(points: &[Point], guess: Cone, fixed: bool) -> Cone {
    // Small beside any change that moves a point by a cell, large beside rounding.
    const SMALL: f64 = 1e-6;
    let mut cone = guess;
    // Gauss and Newton get there within a few rounds, or not at all.
    for _ in 0..12 {
        let off = laid(points, &cone).off;
        let changed = |cone: Cone| -> Vec<f64> {
            let other = laid(points, &cone).off;
            other
                .iter()
                .zip(&off)
                .map(|(a, b)| (a - b) / SMALL)
                .collect()
        };
        let by_lon = changed(Cone {
            lon: cone.lon + SMALL,
            ..cone
        });
        let by_n = match fixed {
            true => vec![0.0; off.len()],
            false => changed(Cone {
                n: cone.n + SMALL,
                ..cone
            }),
        };
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        let (nn, ll, nl) = (
            dot(&by_n, &by_n),
            dot(&by_lon, &by_lon),
            dot(&by_n, &by_lon),
        );
        let (rn, rl) = (dot(&by_n, &off), dot(&by_lon, &off));
        let [n, lon] = match fixed {
            true => [0.0, rl / ll],
            false => {
                let whole = nn * ll - nl * nl;
                [(rn * ll - rl * nl) / whole, (rl * nn - rn * nl) / whole]
            }
        };
        // Changing them changes nothing more, so the cone is as good as it gets.
        if !n.is_finite() || !lon.is_finite() {
            break;
        }
        if !fixed {
            // The sine of a latitude; the poles themselves are other guesses.
            cone.n = (cone.n - n).clamp(-0.999_999, 0.999_999);
        }
        // Mercator's is the same around any meridian.
        if cone.n != 0.0 {
            cone.lon = turned(cone.lon - lon);
        }
    }
    cone
}

/// How the grid's y is turned from north at some points, clockwise, with their longitudes.
fn turns(lat: &Array2<f64>, lon: &Array2<f64>) -> Vec<[f64; 2]> {
    let (rows, columns) = lat.dim();
    let (by_row, by_column) = (rows.div_ceil(SOUGHT), columns.div_ceil(SOUGHT));
    // Without the first and the last row, which have a neighbour on one side only.
    let inner = (1..rows - 1).step_by(by_row);
    let at = inner.flat_map(|j| (0..columns).step_by(by_column).map(move |i| (j, i)));
    let ways = at.map(|(j, i)| {
        let north = (lat[[j + 1, i]] - lat[[j - 1, i]]).to_radians();
        let east = turned((lon[[j + 1, i]] - lon[[j - 1, i]]).to_radians());
        [
            lon[[j, i]].to_radians(),
            east * lat[[j, i]].to_radians().cos(),
            north,
        ]
    });
    let ways: Vec<[f64; 3]> = ways.collect();
    // Rows that run south, but for those around a pole, which run both ways.
    let (sum, size) = ways.iter().fold((0.0, 0.0), |(sum, size), way| {
        (sum + way[2], size + way[1].hypot(way[2]))
    });
    let sign = if sum < -0.3 * size { -1.0 } else { 1.0 };
    ways.iter()
        .map(|&[lon, east, north]| [lon, (sign * east).atan2(sign * north)])
        .collect()
}

fn mean_angle(angles: impl Iterator<Item = f64>) -> f64 {
    // By their directions: on both sides of 180 degrees the mean of numbers would be 0.
    let (sin, cos) = angles.fold((0.0, 0.0), |(s, c), a| (s + a.sin(), c + a.cos()));
    f64::atan2(sin, cos)
}

/// Cones to begin with: Mercator's, those around the poles, and one between.
fn guesses(turns: &[[f64; 2]], eccentricity: f64, middle: f64) -> [(Cone, bool); 4] {
    let cone = |n: f64, lon: f64| Cone {
        n,
        lon,
        eccentricity,
        middle,
    };
    let lon = mean_angle(turns.iter().map(|t| t[0]));
    let turn = mean_angle(turns.iter().map(|t| t[1]));
    let away = |t: &[f64; 2]| [turned(t[0] - lon), turned(t[1] - turn)];
    let (both, spread) = turns
        .iter()
        .map(away)
        .fold((0.0, 0.0), |(both, spread), a| {
            (both + a[0] * a[1], spread + a[0] * a[0])
        });
    // The turn is n times the way from the central meridian: its slope is n, and the guesses
    // find the meridian from it.
    let n = (both / spread).clamp(-0.999, 0.999);
    [
        (cone(0.0, lon), true),
        (
            cone(1.0, mean_angle(turns.iter().map(|t| t[0] - t[1]))),
            true,
        ),
        (
            cone(-1.0, mean_angle(turns.iter().map(|t| t[0] + t[1]))),
            true,
        ),
        (cone(n, turned(lon - turn / n)), false),
    ]
}

/// Axes in metres on the first map that fits every point; or that there is none.
fn on_a_map(lat: &Array2<f64>, lon: &Array2<f64>) -> Result<([Coordinate; 2], String), String> {
    let (rows, columns) = lat.dim();
    let point = |(j, i): (usize, usize)| Point {
        at: [i as f64, j as f64],
        lat: lat[[j, i]].to_radians(),
        lon: lon[[j, i]].to_radians(),
    };
    let some = |by_row: usize, by_column: usize| -> Vec<Point> {
        let rows = (0..rows).step_by(by_row);
        rows.flat_map(|j| (0..columns).step_by(by_column).map(move |i| (j, i)))
            .map(point)
            .collect()
    };
    // Most maps fall out with few points; only one that holds is tried with all of them.
    let sought = some(rows.div_ceil(SOUGHT), columns.div_ceil(SOUGHT));
    let turns = turns(lat, lon);
    for eccentricity in [0.0, WGS84] {
        let middle = isometric(lat[[rows / 2, columns / 2]].to_radians(), eccentricity);
        // At a pole isometric latitude has no end.
        for (guess, fixed) in guesses(&turns, eccentricity, middle.clamp(-4.0, 4.0)) {
            let cone = improved(&sought, guess, fixed);
            if !fits(&laid(&sought, &cone)) {
                continue;
            }
            let all = some(1, 1);
            let laid = laid(&all, &cone);
            if fits(&laid) {
                return axes(&all, &cone, &laid, [columns, rows]);
            }
        }
    }
    Err(
        "at latitudes and longitudes that are equally spaced on no map known (ask for a regular \
         latitude-longitude grid)"
            .into(),
    )
}

fn fits(laid: &Laid) -> bool {
    laid.off.iter().all(|off| off.abs() <= OFF_CELLS)
}

/// The axes in PROJ's metres: its map is the same but for size and origin.
fn axes(
    points: &[Point],
    cone: &Cone,
    laid: &Laid,
    count: [usize; 2],
) -> Result<([Coordinate; 2], String), String> {
    let definition = cone.definition();
    let of_proj = |point: &Point| {
        Position::new(point.lat.to_degrees(), turned(point.lon).to_degrees())
            .and_then(|place| to_plane(&definition, place).ok())
            .ok_or_else(|| format!("places that are not on {definition}"))
    };
    // Two of them give PROJ's size and origin, the third shows that its map is the same.
    let ends = [points.first(), points.get(points.len() / 2), points.last()];
    let [Some(first), Some(middle), Some(last)] = ends else {
        return Err("no places".into());
    };
    let ours = [first, middle, last].map(|point| cone.plane(point));
    let theirs = [of_proj(first)?, of_proj(middle)?, of_proj(last)?];
    let way = |of: &[[f64; 2]; 3]| (of[2][0] - of[0][0]).hypot(of[2][1] - of[0][1]);
    let size = way(&theirs) / way(&ours);
    let origin = [0, 1].map(|d| theirs[0][d] - size * ours[0][d]);
    let agrees = (0..2).all(|d| {
        let off = origin[d] + size * ours[1][d] - theirs[1][d];
        off.abs() <= OFF_CELLS * size * laid.step[d].abs()
    });
    if !agrees {
        return Err(format!("places that PROJ does not find on {definition}"));
    }
    let axis = |d: usize| -> Vec<f64> {
        let at = |k: usize| origin[d] + size * (laid.first[d] + laid.step[d] * k as f64);
        (0..count[d]).map(at).collect()
    };
    let axes = [
        Coordinate::Row(Net::Metres, axis(1)),
        Coordinate::Column(Net::Metres, axis(0)),
    ];
    Ok((axes, definition))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geodesy::lattice::{Axis, Lattice, Plane};

    /// Latitudes and longitudes of a grid on a map, rounded as files in 32 bits round them.
    fn grid(definition: &str, first: [f64; 2], step: f64, count: [usize; 2]) -> [Array2<f64>; 2] {
        let axis = |first, count| Axis { first, step, count };
        let lattice = Lattice {
            plane: Plane::Projected(definition.to_owned()),
            x: axis(first[0], count[0]),
            y: axis(first[1], count[1]),
        };
        let map = lattice.map().unwrap();
        let place = |(j, i): (usize, usize)| map.position(j as f64, i as f64).unwrap();
        let shape = (count[1], count[0]);
        let rounded = |v: f64| f64::from(v as f32);
        [
            Array2::from_shape_fn(shape, |at| rounded(place(at).lat_deg)),
            Array2::from_shape_fn(shape, |at| rounded(place(at).lon_deg)),
        ]
    }

    #[test]
    fn maps_are_found_from_places_alone() {
        let sphere = "+R=6371229 +units=m +no_defs";
        for (map, first, step) in [
            (
                "+proj=lcc +lat_1=38.5 +lat_2=38.5 +lat_0=38.5 +lon_0=-97.5",
                [-900e3, -600e3],
                12e3,
            ),
            (
                "+proj=lcc +lat_1=30 +lat_2=60 +lat_0=45 +lon_0=10",
                [-2_500e3, 200e3],
                40e3,
            ),
            (
                "+proj=lcc +lat_1=-25 +lat_2=-35 +lat_0=-30 +lon_0=175",
                [300e3, -400e3],
                9e3,
            ),
            (
                "+proj=stere +lat_0=90 +lat_ts=60 +lon_0=-111",
                [-3_000e3, -4_000e3],
                60e3,
            ),
            (
                "+proj=stere +lat_0=-90 +lat_ts=-71 +lon_0=0",
                [-1_900e3, -1_500e3],
                50e3,
            ),
            ("+proj=merc +lat_ts=20 +lon_0=0", [-9_000e3, 1_000e3], 25e3),
        ] {
            let definition = format!("{map} {sphere}");
            let [lat, lon] = grid(&definition, first, step, [90, 71]);
            let (axes, found) = on_a_map(&lat, &lon).unwrap_or_else(|why| panic!("{map}: {why}"));
            let [Coordinate::Row(_, y), Coordinate::Column(_, x)] = &axes else {
                panic!("{axes:?}");
            };
            // The map found and its axes give the places back.
            for (j, i) in [(0, 0), (35, 44), (70, 89), (0, 89), (61, 3)] {
                let place = Position::new(lat[[j, i]], lon[[j, i]]).unwrap();
                let [px, py] = to_plane(&found, place).unwrap();
                let cell = (x[1] - x[0]).abs();
                let off = (px - x[i]).hypot(py - y[j]);
                assert!(off < 0.01 * cell, "{map} became {found}: {off} m of {cell}");
            }
            assert!(x[1] > x[0] && y[1] > y[0], "{map} became {found}");
        }
    }

    #[test]
    fn rows_may_run_south() {
        let map = "+proj=lcc +lat_1=45 +lat_2=45 +lat_0=45 +lon_0=5 +R=6371229 +units=m +no_defs";
        let [lat, lon] = grid(map, [-400e3, -300e3], 10e3, [60, 50]);
        let flipped = [lat, lon].map(|mut v| {
            v.invert_axis(ndarray::Axis(0));
            v
        });
        let (axes, found) = on_a_map(&flipped[0], &flipped[1]).unwrap();
        let [Coordinate::Row(_, y), Coordinate::Column(_, x)] = &axes else {
            panic!("{axes:?}");
        };
        assert!(y[1] < y[0] && x[1] > x[0], "{found}");
    }

    #[test]
    fn other_grids_are_on_no_map() {
        let shape = (40, 50);
        let lat = Array2::from_shape_fn(shape, |(j, i)| {
            40.0 + 0.1 * j as f64 + 0.002 * (i * i) as f64
        });
        let lon = Array2::from_shape_fn(shape, |(j, i)| 5.0 + 0.1 * i as f64 + 0.01 * j as f64);
        let why = on_a_map(&lat, &lon).unwrap_err();
        assert!(why.contains("on no map known"), "{why}");
        // A grid of a map with a corner pulled by a third of a cell.
        let map = "+proj=lcc +lat_1=45 +lat_2=45 +lat_0=45 +lon_0=5 +R=6371229 +units=m +no_defs";
        let [mut lat, lon] = grid(map, [-400e3, -300e3], 10e3, [60, 50]);
        lat[[49, 59]] += 0.03;
        assert!(on_a_map(&lat, &lon).is_err());
    }

    #[test]
    fn a_mesh_of_degrees_is_degrees() {
        let lat = Array2::from_shape_fn((5, 4), |(j, _)| 50.0 - 0.25 * j as f64);
        let lon = Array2::from_shape_fn((5, 4), |(_, i)| 359.0 + 0.5 * i as f64);
        let Some([Coordinate::Row(Net::Degrees, rows), _]) = degrees(&lat, &lon) else {
            panic!("no degrees");
        };
        assert_eq!(rows, [50.0, 49.75, 49.5, 49.25, 49.0]);
    }
}
