//! The points of a GRIB grid.
//!
//! # References
//!
//! WMO-No. 306, Manual on Codes, volume I.2: grid definition templates 3.0, 3.1, 3.10, 3.20, 3.30
//! and 3.40, code tables 3.1 (grids), 3.2 (shape of the earth) and flag tables 3.3 (components), 3.4
//! (scanning) and 3.5 (projection centre).

use grib_reader::{
    GridDefinition, LambertConformalGrid, LatLonGrid, MercatorGrid, PolarStereographicGrid,
    ProjectedGridCore, RegularGaussianGrid, RotatedLatLonGrid,
};

use super::MOST_POINTS;
use super::longitudes::{eastward, first_column, gaussian_step};
use crate::earth::ECCENTRICITY_2;
use crate::geodesy::Position;
use crate::geodesy::lattice::{Axis, Lattice, Plane, to_plane};
use crate::geodesy::rotated::{RotatedPole, rotated};
use crate::notes::reading::Reading;

/// The grids that are read, for messages.
pub(super) const GRIDS_READ: &str = "regular or rotated latitude-longitude, Gaussian, Mercator, \
                                     polar stereographic or Lambert conformal; ask for a regular \
                                     latitude-longitude grid";

/// Why a grid has no lattice.
#[derive(Debug, PartialEq)]
pub(super) enum NoLattice {
    /// It is of a kind that is not read.
    NotRead(String),
    /// It contradicts itself: what was found, what would be right.
    Wrong(String, String),
}

type Result<T> = std::result::Result<T, NoLattice>;

fn wrong<T>(found: impl Into<String>, expected: impl Into<String>) -> Result<T> {
    Err(NoLattice::Wrong(found.into(), expected.into()))
}

/// Whether grids of a template (in edition 1, a data representation type) are read.
pub(super) fn is_read(edition: u8, template: u16) -> bool {
    match edition {
        1 => matches!(template, 0 | 1 | 3 | 4 | 5 | 10),
        _ => matches!(template, 0 | 1 | 10 | 20 | 30 | 40),
    }
}

/// What a grid is called: its number and, where known, its name.
pub(super) fn grid_name(edition: u8, template: u16) -> String {
    let kind = match edition {
        1 => format!("a grid of type {template}"),
        _ => format!("a grid of template 3.{template}"),
    };
    let name = match (edition, template) {
        (_, 0) => "regular latitude-longitude",
        (1, 1) | (2, 10) => "Mercator",
        (1, 3) | (2, 30) => "Lambert conformal",
        (1, 4) | (2, 40) => "Gaussian",
        (1, 5) | (2, 20) => "polar stereographic",
        (1, 10) | (2, 1) => "rotated latitude-longitude",
        (1, 50) | (2, 50) => "spherical harmonics",
        (2, 31) => "Albers equal-area",
        (1 | 2, 90) => "space view",
        (2, 101) => "unstructured",
        _ => return kind,
    };
    format!("{kind} ({name})")
}

/// How a file runs through its points (flag table 3.4).
#[derive(Debug, Clone, Copy)]
pub(super) struct Scan {
    pub columns: usize,
    pub rows: usize,
    mode: u8,
}

impl Scan {
    pub fn of(grid: &GridDefinition) -> Option<Scan> {
        let (columns, rows) = grid.shape();
        let mode = grid.scanning_mode()?;
        Some(Scan {
            columns,
            rows,
            mode,
        })
    }

    fn westward(self) -> bool {
        self.mode & 0x80 != 0
    }

    fn northward(self) -> bool {
        self.mode & 0x40 != 0
    }

    /// Whether the points of a column follow each other, not those of a row.
    pub fn by_columns(self) -> bool {
        self.mode & 0x20 != 0
    }

    /// Where the point of a row, counted from the south, and a column, counted from the west, is
    /// among the file's. Rows (or columns) that run to and fro must have been put right before.
    pub fn index(self, row: usize, column: usize) -> usize {
        let i = if self.westward() {
            self.columns - 1 - column
        } else {
            column
        };
        let j = if self.northward() {
            row
        } else {
            self.rows - 1 - row
        };
        if self.by_columns() {
            i * self.rows + j
        } else {
            j * self.columns + i
        }
    }
}

/// The lattice of a grid.
pub(super) fn lattice(edition: u8, grid: &GridDefinition) -> Result<Lattice> {
    let not_read = || NoLattice::NotRead(grid_name(edition, grid.template_number()));
    let scan = Scan::of(grid).ok_or_else(not_read)?;
    // All ones: the rows differ in length.
    if edition == 1 && [scan.columns, scan.rows].contains(&usize::from(u16::MAX)) {
        let reduced = "a reduced grid, with fewer points towards the poles";
        return Err(NoLattice::NotRead(reduced.into()));
    }
    let points = scan.columns.saturating_mul(scan.rows);
    if points == 0 || points > MOST_POINTS {
        return wrong(
            format!("a grid of {} by {} points", scan.columns, scan.rows),
            format!("up to {MOST_POINTS} points"),
        );
    }
    match grid {
        GridDefinition::LatLon(grid) => lat_lon(edition, grid, scan),
        GridDefinition::RotatedLatLon(grid) => rotated_lat_lon(edition, grid, scan),
        GridDefinition::RegularGaussian(grid) => gaussian(edition, grid, scan),
        GridDefinition::Mercator(grid) => mercator(grid, scan),
        GridDefinition::PolarStereographic(grid) => polar(grid, scan),
        GridDefinition::LambertConformal(grid) => lambert(grid, scan),
        _ => Err(not_read()),
    }
}

fn degrees(microdegrees: i32) -> f64 {
    f64::from(microdegrees) / 1e6
}

fn lat_lon(edition: u8, grid: &LatLonGrid, scan: Scan) -> Result<Lattice> {
    // GRIB 1 counts thousandths; where its increment is missing all 16 bits are ones.
    let (rounding, missing) = match edition {
        1 => (1e-3, u32::from(u16::MAX) * 1000),
        _ => (1e-6, u32::MAX),
    };
    let increment = |raw: u32| (raw != missing && raw != 0).then(|| f64::from(raw) / 1e6);
    let (first, last) = (degrees(grid.lon_first), degrees(grid.lon_last));
    let (west, east) = if scan.westward() {
        (last, first)
    } else {
        (first, last)
    };
    let span = match scan.columns {
        // `eastward` takes two equal longitudes for a whole turn.
        1 => 0.0,
        _ => eastward(west, east),
    };
    let mut x_step = step(
        span,
        scan.columns,
        increment(grid.di),
        rounding,
        "longitudes",
    )?;
    // Round the earth the step is known better than by rounded ends.
    let round = 360.0 / scan.columns as f64;
    if (x_step - round).abs() * scan.columns as f64 <= 2.0 * rounding {
        x_step = round;
    }
    let (first, last) = (degrees(grid.lat_first), degrees(grid.lat_last));
    let (south, north) = if scan.northward() {
        (first, last)
    } else {
        (last, first)
    };
    // Whether the ends or the flag are wrong nothing tells.
    if south > north {
        return wrong(
            format!("rows from {first} to {last} degrees that should run the other way"),
            "latitudes that agree with the direction of scanning",
        );
    }
    let y_step = step(
        north - south,
        scan.rows,
        increment(grid.dj),
        rounding,
        "latitudes",
    )?;
    Ok(Lattice {
        plane: Plane::LatLon,
        x: Axis {
            first: first_column(west, span),
            step: x_step,
            count: scan.columns,
        },
        y: Axis {
            first: south,
            step: y_step,
            count: scan.rows,
        },
    })
}

/// Degrees of a system turned so that its south pole lies elsewhere.
fn rotated_lat_lon(edition: u8, grid: &RotatedLatLonGrid, scan: Scan) -> Result<Lattice> {
    if grid.angle_of_rotation != 0.0 {
        let turned = "a rotated grid that is turned about its own pole besides";
        return Err(NoLattice::NotRead(turned.into()));
    }
    let degrees_of_it = lat_lon(edition, &grid.grid, scan)?;
    let pole = RotatedPole {
        // The file tells the southern pole; the northern one lies opposite.
        lat_deg: -degrees(grid.lat_southern_pole),
        lon_deg: f64::from(grid.lon_southern_pole) / 1e6 + 180.0,
        lon_in_grid_deg: 0.0,
    };
    Ok(rotated(degrees_of_it.x, degrees_of_it.y, pole))
}

/// Rows at Gaussian latitudes: between neighbours these differ so little that they are taken as
/// equally spaced, see [`gaussian_step`].
fn gaussian(edition: u8, grid: &RegularGaussianGrid, scan: Scan) -> Result<Lattice> {
    // Parallels are counted from a pole to the equator.
    let step = gaussian_step(2 * grid.number_of_parallels as usize);
    let missing = match edition {
        1 => u32::from(u16::MAX) * 1000,
        _ => u32::MAX,
    };
    // The row nearest to a latitude: the equator lies between two.
    let on_row = |micro: i32| {
        let row = (degrees(micro) / step - 0.5).round();
        let off = (degrees(micro) - (row + 0.5) * step).abs();
        // Next to a pole they are off equal steps by 1 %; rounding comes on top.
        (off < 0.03 * step).then_some((row + 0.5) * step)
    };
    let (Some(first), Some(last)) = (on_row(grid.lat_first), on_row(grid.lat_last)) else {
        return wrong(
            format!(
                "Gaussian rows from {} to {} degrees with {} between pole and equator",
                degrees(grid.lat_first),
                degrees(grid.lat_last),
                grid.number_of_parallels
            ),
            "a first and a last latitude that are among them",
        );
    };
    let rows = scan.rows.saturating_sub(1) as f64;
    if ((last - first).abs() - rows * step).abs() > 0.5 * step {
        return wrong(
            format!("{} Gaussian rows from {first} to {last} degrees", scan.rows),
            "as many as lie between these",
        );
    }
    let regular = LatLonGrid {
        ni: grid.ni,
        nj: 1,
        lat_first: 0,
        lat_last: 0,
        lon_first: grid.lon_first,
        lon_last: grid.lon_last,
        di: grid.di,
        dj: missing,
        scanning_mode: grid.scanning_mode,
    };
    // Longitudes are as on any grid; of rows one is left, as theirs are known already.
    let one_row = lat_lon(edition, &regular, Scan { rows: 1, ..scan })?;
    Ok(Lattice {
        y: Axis {
            first: first.min(last),
            step,
            count: scan.rows,
        },
        ..one_row
    })
}

/// The step of `count` points over a span: the span's share, which is less rounded than the
/// increment in the file, provided they agree.
fn step(span: f64, count: usize, given: Option<f64>, rounding: f64, what: &str) -> Result<f64> {
    if count == 1 {
        // One point has no step: any will do but 0, which would be divided by.
        return Ok(given.unwrap_or(1.0));
    }
    let steps = (count - 1) as f64;
    // Increments of some centres are those of 32 bits: off by a part of a step at the far end.
    let allowed = |given: f64| (rounding * (0.5 * steps + 2.0)).max(0.05 * given);
    if let Some(given) = given
        && (given * steps - span).abs() > allowed(given)
    {
        return wrong(
            format!("{count} {what} over {span} degrees, {given} apart"),
            "an increment that agrees with the first and the last point",
        );
    }
    if span <= 0.0 {
        return wrong(
            format!("{count} {what} over {span} degrees"),
            "a first and a last point that differ",
        );
    }
    Ok(span / steps)
}

fn lambert(grid: &LambertConformalGrid, scan: Scan) -> Result<Lattice> {
    if grid.projection_center_flag & 0x40 != 0 {
        let bipolar = "a bipolar Lambert conformal grid";
        return Err(NoLattice::NotRead(bipolar.into()));
    }
    let (lat1, lat2) = (degrees(grid.latin1), degrees(grid.latin2));
    let earth = Earth::of(&grid.core)?;
    let true_at = match true_lengths(grid, &earth) {
        Some(TrueLengths { scale, .. }) => format!(" +k_0={:.9}", 1.0 / scale),
        None => String::new(),
    };
    let definition = format!(
        // Any latitude of origin will do: the axes are laid through the grid's first point.
        "+proj=lcc +lat_1={lat1} +lat_2={lat2} +lat_0={lat1} +lon_0={}{true_at} {} +units=m +no_defs",
        degrees(grid.lon_v),
        earth.words()
    );
    projected(definition, &grid.core, scan)
}

/// Where the increments of a Lambert grid are true lengths, if not at its standard parallels.
struct TrueLengths {
    /// The latitude, degrees.
    latitude_deg: f64,
    /// How much larger the map is there than the ground.
    scale: f64,
}

/// Template 3.30: Dx and Dy are given at the latitude LaD. Mostly that is a standard parallel. One of 0
/// far from them was not set, as one of all ones.
fn true_lengths(grid: &LambertConformalGrid, earth: &Earth) -> Option<TrueLengths> {
    let latitude_deg = degrees(grid.lat_d);
    let parallels_deg = [degrees(grid.latin1), degrees(grid.latin2)];
    let scale = lambert_scale(parallels_deg, latitude_deg, earth.eccentricity());
    let is_set = latitude_deg != 0.0 && latitude_deg.abs() < 90.0;
    // The hundred-thousandth is 10 m over 1,000 km.
    let matters = scale.is_finite() && (scale - 1.0).abs() > 1e-5;
    (is_set && matters).then_some(TrueLengths {
        latitude_deg,
        scale,
    })
}

/// How much larger than the ground a Lambert map is at a latitude (Snyder, Map Projections, USGS
/// Professional Paper 1395, 1987, chapter 15: k = m1 t^n / (m t1^n), with -ln t the isometric latitude).
fn lambert_scale(parallels_deg: [f64; 2], latitude_deg: f64, eccentricity: f64) -> f64 {
    let e = eccentricity;
    let [first, second, at] =
        [parallels_deg[0], parallels_deg[1], latitude_deg].map(f64::to_radians);
    let isometric = |lat: f64| lat.tan().asinh() - e * (e * lat.sin()).atanh();
    let radius = |lat: f64| lat.cos() / (1.0 - (e * lat.sin()).powi(2)).sqrt();
    let apart = isometric(second) - isometric(first);
    let n = match apart.abs() < 1e-9 {
        true => first.sin(),
        false => (radius(first) / radius(second)).ln() / apart,
    };
    radius(first) / radius(at) * (n * (isometric(first) - isometric(at))).exp()
}

/// What is taken for granted of a grid.
pub(super) fn assumed(grid: &GridDefinition) -> Option<Reading> {
    let GridDefinition::LambertConformal(grid) = grid else {
        return None;
    };
    let earth = Earth::of(&grid.core).ok()?;
    let TrueLengths { latitude_deg, .. } = true_lengths(grid, &earth)?;
    Some(Reading::LengthsOfMap { latitude_deg })
}

fn polar(grid: &PolarStereographicGrid, scan: Scan) -> Result<Lattice> {
    // Flag table 3.5: the first bit is the south pole.
    let pole = if grid.projection_center_flag & 0x80 != 0 {
        -90.0
    } else {
        90.0
    };
    let definition = format!(
        "+proj=stere +lat_0={pole} +lat_ts={} +lon_0={} {} +units=m +no_defs",
        // Edition 1 means 60 degrees on the pole's own side.
        degrees(grid.lat_d).abs().copysign(pole),
        degrees(grid.lon_v),
        earth(&grid.core)?
    );
    projected(definition, &grid.core, scan)
}

fn mercator(grid: &MercatorGrid, scan: Scan) -> Result<Lattice> {
    if grid.orientation_of_grid != 0 {
        return Err(NoLattice::NotRead("a turned Mercator grid".into()));
    }
    let (first, last) = (degrees(grid.core.lon_first), degrees(grid.lon_last));
    let (west, east) = if scan.westward() {
        (last, first)
    } else {
        (first, last)
    };
    // Centred, so that the map's edge is far from the grid.
    let middle = west + 0.5 * eastward(west, east);
    let definition = format!(
        "+proj=merc +lat_ts={} +lon_0={middle} {} +units=m +no_defs",
        degrees(grid.lat_d),
        earth(&grid.core)?
    );
    projected(definition, &grid.core, scan)
}

fn projected(definition: String, core: &ProjectedGridCore, scan: Scan) -> Result<Lattice> {
    let (lat, lon) = (degrees(core.lat_first), degrees(core.lon_first));
    let no_place = || {
        NoLattice::Wrong(
            format!("a first point at {lat}, {lon} degrees"),
            "a latitude of -90 to 90 and a longitude of -180 to 360".into(),
        )
    };
    let first = Position::new(lat, lon).ok_or_else(no_place)?;
    let [x, y] = to_plane(&definition, first).map_err(|cause| {
        let expected = "a map projection with the grid's first point in it";
        NoLattice::Wrong(cause.to_string(), expected.into())
    })?;
    let axis = |first: f64, millimetres: u32, count: usize, backwards: bool| {
        let step = f64::from(millimetres) / 1e3;
        let first = if backwards {
            first - step * (count - 1) as f64
        } else {
            first
        };
        Axis { first, step, count }
    };
    // All ones: missing.
    if [core.dx, core.dy].iter().any(|d| [0, u32::MAX].contains(d)) {
        return wrong("a grid without increments", "points some metres apart");
    }
    Ok(Lattice {
        x: axis(x, core.dx, scan.columns, scan.westward()),
        y: axis(y, core.dy, scan.rows, !scan.northward()),
        plane: Plane::Projected(definition),
    })
}

/// Whether the winds of a grid are along its x and y (flag table 3.3, bit 5), with the flags of a
/// rotated grid, which its definition lacks. On a plane of true degrees these are east and north
/// themselves.
pub(super) fn along_grid(grid: &GridDefinition, flags: Option<u8>) -> bool {
    const ALONG: u8 = 0x08;
    match grid {
        GridDefinition::RotatedLatLon(_) => flags.is_some_and(|flags| flags & ALONG != 0),
        _ => grid
            .projected_core()
            .is_some_and(|core| core.resolution_and_component_flags & ALONG != 0),
    }
}

/// The shape of the earth.
enum Earth {
    /// Its radius, m.
    Sphere(f64),
    /// Its axes, m.
    Ellipsoid(f64, f64),
    /// One of two that differ by a tenth of a millimetre, by its name.
    Named(&'static str),
}

impl Earth {
    /// Code table 3.2.
    fn of(core: &ProjectedGridCore) -> Result<Earth> {
        let axes = |unit_m: f64| {
            let a = scaled(core.scale_factor_major_axis, core.scaled_value_major_axis) * unit_m;
            let b = scaled(core.scale_factor_minor_axis, core.scaled_value_minor_axis) * unit_m;
            Ok(Earth::Ellipsoid(radius(a)?, radius(b)?))
        };
        match core.shape_of_earth {
            0 => Ok(Earth::Sphere(6_367_470.0)),
            1 => {
                let r = scaled(core.scale_factor_radius, core.scaled_value_radius);
                radius(r).map(Earth::Sphere)
            }
            2 => Ok(Earth::Ellipsoid(6_378_160.0, 6_356_775.0)),
            3 => axes(1e3),
            4 => Ok(Earth::Named("GRS80")),
            5 => Ok(Earth::Named("WGS84")),
            6 => Ok(Earth::Sphere(6_371_229.0)),
            7 => axes(1.0),
            8 => Ok(Earth::Sphere(6_371_200.0)),
            9 => Ok(Earth::Ellipsoid(6_377_563.396, 6_356_256.909)),
            shape => Err(NoLattice::NotRead(format!(
                "a grid on an earth of shape {shape}"
            ))),
        }
    }

    /// In PROJ's words.
    fn words(&self) -> String {
        match self {
            Earth::Sphere(r) => format!("+R={r}"),
            Earth::Ellipsoid(a, b) => format!("+a={a} +b={b}"),
            Earth::Named(name) => format!("+ellps={name}"),
        }
    }

    fn eccentricity(&self) -> f64 {
        match self {
            Earth::Sphere(_) => 0.0,
            // A minor axis that is the longer one is a sphere's, for what this is asked.
            Earth::Ellipsoid(a, b) => (1.0 - (b / a).powi(2)).max(0.0).sqrt(),
            Earth::Named(_) => ECCENTRICITY_2.sqrt(),
        }
    }
}

/// The shape of the earth in PROJ's words.
fn earth(core: &ProjectedGridCore) -> Result<String> {
    Earth::of(core).map(|earth| earth.words())
}

fn scaled(factor: u8, value: u32) -> f64 {
    f64::from(value) * 10.0_f64.powi(-i32::from(factor))
}

fn radius(m: f64) -> Result<f64> {
    // Anything else is a scale factor or a unit that went wrong, and would move the whole grid.
    if (6e6..7e6).contains(&m) {
        return Ok(m);
    }
    wrong(
        format!("an earth with a radius of {m} m"),
        "one of about 6,371,000 m",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grid(ni: u32, nj: u32, lats: [f64; 2], lons: [f64; 2], mode: u8) -> LatLonGrid {
        let micro = |deg: f64| (deg * 1e6).round() as i32;
        LatLonGrid {
            ni,
            nj,
            lat_first: micro(lats[0]),
            lat_last: micro(lats[1]),
            lon_first: micro(lons[0]),
            lon_last: micro(lons[1]),
            di: u32::MAX,
            dj: u32::MAX,
            scanning_mode: mode,
        }
    }

    fn of(grid: LatLonGrid) -> Result<Lattice> {
        lattice(2, &GridDefinition::LatLon(grid))
    }

    #[test]
    fn rows_go_north_and_columns_east_however_the_file_runs() {
        let expected = of(grid(57, 41, [41.0, 51.0], [355.0, 9.0], 0x40)).unwrap();
        assert_eq!((expected.x.first, expected.x.step), (-5.0, 0.25));
        assert_eq!((expected.y.first, expected.y.step), (41.0, 0.25));
        let ways = [
            ([51.0, 41.0], [355.0, 9.0], 0x00),
            ([51.0, 41.0], [9.0, 355.0], 0x80),
            ([41.0, 51.0], [9.0, -5.0], 0xc0),
            ([41.0, 51.0], [-5.0, 9.0], 0x70),
        ];
        for (lats, lons, mode) in ways {
            assert_eq!(of(grid(57, 41, lats, lons, mode)).unwrap(), expected);
        }
        assert!(of(grid(57, 41, [41.0, 51.0], [355.0, 9.0], 0x00)).is_err());
    }

    #[test]
    fn every_scan_finds_the_same_point() {
        // Three columns, two rows; the south-western point is the one sought.
        for (mode, sw) in [
            (0x00, 3),
            (0x40, 0),
            (0x80, 5),
            (0xc0, 2),
            (0x20, 1),
            (0x60, 0),
            (0xa0, 5),
            (0xe0, 4),
        ] {
            let scan = Scan {
                columns: 3,
                rows: 2,
                mode,
            };
            assert_eq!(scan.index(0, 0), sw, "{mode:#x}");
        }
    }

    #[test]
    fn thirds_of_a_degree_go_round() {
        let third = LatLonGrid {
            di: 333_333,
            dj: 333_333,
            ..grid(1080, 541, [90.0, -90.0], [0.0, 359.666_667], 0)
        };
        let lattice = of(third).unwrap();
        assert!(lattice.goes_round());
        assert_eq!(lattice.x.step, 360.0 / 1080.0);
        assert!((lattice.y.step - 1.0 / 3.0).abs() < 1e-12);
    }

    #[test]
    fn increments_that_contradict_the_ends_are_refused() {
        let contradiction = LatLonGrid {
            di: 500_000,
            ..grid(57, 41, [41.0, 51.0], [355.0, 9.0], 0x40)
        };
        let Err(NoLattice::Wrong(found, _)) = of(contradiction) else {
            panic!("accepted");
        };
        assert!(
            found.contains("57 longitudes over 14 degrees, 0.5 apart"),
            "{found}"
        );
    }

    #[test]
    fn a_grid_of_absurd_size_is_refused() {
        let absurd = grid(
            u32::MAX - 1,
            u32::MAX - 1,
            [-90.0, 90.0],
            [0.0, 359.0],
            0x40,
        );
        assert!(of(absurd).is_err());
        assert!(of(grid(0, 3, [-90.0, 90.0], [0.0, 359.0], 0x40)).is_err());
    }

    fn core(shape_of_earth: u8) -> ProjectedGridCore {
        ProjectedGridCore {
            number_of_points: 6,
            shape_of_earth,
            scale_factor_radius: 1,
            scaled_value_radius: 63_712_290,
            scale_factor_major_axis: 0,
            scaled_value_major_axis: 6_378_137,
            scale_factor_minor_axis: 0,
            scaled_value_minor_axis: 6_356_752,
            nx: 3,
            ny: 2,
            lat_first: -70_000_000,
            lon_first: 20_000_000,
            resolution_and_component_flags: 0x08,
            dx: 1_000_000,
            dy: 2_000_000,
            scanning_mode: 0x80,
        }
    }

    #[test]
    fn the_earth_has_the_shape_the_file_says() {
        assert_eq!(earth(&core(1)).unwrap(), "+R=6371229");
        assert_eq!(earth(&core(6)).unwrap(), "+R=6371229");
        assert_eq!(earth(&core(5)).unwrap(), "+ellps=WGS84");
        assert_eq!(earth(&core(7)).unwrap(), "+a=6378137 +b=6356752");
        // The same numbers as kilometres are no earth.
        assert!(matches!(earth(&core(3)), Err(NoLattice::Wrong(..))));
        assert!(matches!(earth(&core(77)), Err(NoLattice::NotRead(_))));
    }

    #[test]
    fn a_southern_polar_grid_begins_at_its_first_point() {
        let grid = GridDefinition::PolarStereographic(PolarStereographicGrid {
            core: core(6),
            lat_d: 60_000_000,
            lon_v: 0,
            projection_center_flag: 0x80,
        });
        assert!(along_grid(&grid, None));
        let lattice = lattice(2, &grid).unwrap();
        // Scanned westward and southward: the first point is the north-eastern one.
        let place = lattice.map().unwrap().position(1.0, 2.0).unwrap();
        assert!((place.lat_deg + 70.0).abs() < 1e-9 && (place.lon_deg - 20.0).abs() < 1e-9);
        assert_eq!((lattice.x.step, lattice.y.step), (1000.0, 2000.0));
    }

    /// A Lambert grid of points 3 km apart around 45 N, 10 E, with standard parallels.
    fn conic(parallels: [i32; 2], lat_d: i32) -> GridDefinition {
        GridDefinition::LambertConformal(LambertConformalGrid {
            core: ProjectedGridCore {
                lat_first: 45_000_000,
                lon_first: 10_000_000,
                dx: 3_000_000,
                dy: 3_000_000,
                scanning_mode: 0x40,
                ..core(6)
            },
            lat_d,
            lon_v: 10_000_000,
            projection_center_flag: 0,
            latin1: parallels[0],
            latin2: parallels[1],
            lat_southern_pole: -90_000_000,
            lon_southern_pole: 0,
        })
    }

    #[test]
    fn lambert_increments_are_true_at_their_latitude() {
        // From the first point to the next in the row, along a great circle of the sphere, m.
        let apart_m = |grid: &GridDefinition| {
            let lattice = lattice(2, grid).unwrap();
            let map = lattice.map().unwrap();
            let [a, b] = [0.0, 1.0].map(|column| map.position(0.0, column).unwrap());
            let [lat_a, lat_b] = [a, b].map(|p| p.lat_deg.to_radians());
            let half = |d: f64| (0.5 * d).sin().powi(2);
            let lon = (b.lon_deg - a.lon_deg).to_radians();
            let chord = half(lat_b - lat_a) + lat_a.cos() * lat_b.cos() * half(lon);
            2.0 * 6_371_229.0 * chord.sqrt().asin()
        };
        let (m30, m45, m60) = (30_000_000, 45_000_000, 60_000_000);
        let between = conic([m30, m60], m45);
        assert!((apart_m(&between) - 3_000.0).abs() < 0.2);
        let latitude_deg = 45.0;
        assert_eq!(
            assumed(&between),
            Some(Reading::LengthsOfMap { latitude_deg })
        );
        // The parallels the other way round, and one parallel only.
        assert!((apart_m(&conic([m60, m30], m45)) - 3_000.0).abs() < 0.2);
        assert!((apart_m(&conic([m30, m30], m45)) - 3_000.0).abs() < 0.2);
        // At a parallel, or not set: true there, so that the ground between them is longer.
        let scale = lambert_scale([30.0, 60.0], 45.0, 0.0);
        for lat_d in [m30, m60, 0, i32::MIN, -i32::MAX] {
            let grid = conic([m30, m60], lat_d);
            assert!((apart_m(&grid) - 3_000.0 / scale).abs() < 0.2, "{lat_d}");
            assert_eq!(assumed(&grid), None);
        }
    }

    /// PROJ's own factors (`Proj.get_factors` of pyproj 3.7.2) on a sphere and on WGS84.
    #[test]
    fn scales_of_lambert_maps_are_those_of_proj() {
        let wgs84 = ECCENTRICITY_2.sqrt();
        for (parallels, at, sphere, ellipsoid) in [
            ([30.0, 60.0], 45.0, 0.965_717_530_5, 0.965_834_554_6),
            ([30.0, 60.0], 70.0, 1.083_616_781_8, 1.083_468_935_7),
            ([45.0, 45.0], 60.0, 1.039_322_409_0, 1.039_234_163_6),
            ([25.0, 25.0], 45.0, 1.068_505_406_2, 1.068_215_249_8),
            ([-30.0, -60.0], -45.0, 0.965_717_530_5, 0.965_834_554_6),
        ] {
            for (e, proj) in [(0.0, sphere), (wgs84, ellipsoid)] {
                let found = lambert_scale(parallels, at, e);
                assert!(
                    (found - proj).abs() < 1e-9,
                    "{parallels:?} {at} {e}: {found}"
                );
            }
        }
    }

    #[test]
    fn a_mercator_grid_ends_at_its_last_point() {
        // From 170 east across 180: 20 degrees at the equator of a sphere of 6,371,229 m in 10
        // steps.
        let step_mm = (6_371_229e3 * 20.0_f64.to_radians() / 10.0).round() as u32;
        let grid = GridDefinition::Mercator(MercatorGrid {
            core: ProjectedGridCore {
                nx: 11,
                number_of_points: 22,
                lat_first: 0,
                lon_first: 170_000_000,
                dx: step_mm,
                dy: step_mm,
                scanning_mode: 0x40,
                ..core(6)
            },
            lat_d: 0,
            lat_last: 0,
            lon_last: -170_000_000,
            orientation_of_grid: 0,
        });
        let lattice = lattice(2, &grid).unwrap();
        let place = lattice.map().unwrap().position(0.0, 10.0).unwrap();
        assert!(place.lat_deg.abs() < 1e-9 && (place.lon_deg + 170.0).abs() < 1e-6);
    }

    #[test]
    fn grids_have_names() {
        assert_eq!(
            grid_name(2, 1),
            "a grid of template 3.1 (rotated latitude-longitude)"
        );
        assert_eq!(grid_name(1, 4), "a grid of type 4 (Gaussian)");
        assert_eq!(grid_name(2, 32768), "a grid of template 3.32768");
    }

    #[test]
    fn gaussian_rows_are_those_of_their_number() {
        // ECMWF's documentation of the N80 grid: the first latitude is 89.142, the second 88.0294
        // degrees; 79.6 by the formula would be a row of none.
        let of = |lats: [f64; 2], nj| {
            let LatLonGrid {
                lat_first,
                lat_last,
                lon_first,
                lon_last,
                ..
            } = grid(320, nj, lats, [0.0, 358.875], 0);
            let grid = RegularGaussianGrid {
                ni: 320,
                nj,
                lat_first,
                lat_last,
                lon_first,
                lon_last,
                di: 1_125_000,
                number_of_parallels: 80,
                scanning_mode: 0,
            };
            lattice(2, &GridDefinition::RegularGaussian(grid))
        };
        let globe = of([89.142, -89.142], 160).unwrap();
        assert!(globe.goes_round());
        assert_eq!(globe.y.count, 160);
        assert!((globe.y.value(158) - 88.0294).abs() < 0.01);
        assert!((globe.y.value(79) + globe.y.value(80)).abs() < 1e-12);
        assert!(of([88.0294, -88.0294], 158).is_ok());
        assert!(of([89.142, -89.142], 150).is_err());
        assert!(of([80.0, -89.142], 152).is_err());
    }

    #[test]
    fn a_rotated_grid_lies_around_its_own_equator() {
        // A south pole at 40 S, 10 E: the grid's origin lies at 50 N, 10 E, where its axes run
        // east and north; on the grid's meridian 0 latitudes add up.
        let rotated = |angle| RotatedLatLonGrid {
            grid: grid(41, 31, [-1.5, 1.5], [358.0, 2.0], 0x40),
            lat_southern_pole: -40_000_000,
            lon_southern_pole: 10_000_000,
            angle_of_rotation: angle,
        };
        let lattice_of = |angle| lattice(2, &GridDefinition::RotatedLatLon(rotated(angle)));
        let found = lattice_of(0.0).unwrap();
        let map = found.map().unwrap();
        for (row, lat) in [(0.0, 48.5), (15.0, 50.0), (30.0, 51.5)] {
            let place = map.position(row, 20.0).unwrap();
            assert!((place.lat_deg - lat).abs() < 1e-9, "{place:?}");
            assert!((place.lon_deg - 10.0).abs() < 1e-9, "{place:?}");
            assert!(map.y_direction(place).unwrap().abs() < 1e-6);
        }
        assert!(matches!(lattice_of(3.0), Err(NoLattice::NotRead(_))));
    }
}
