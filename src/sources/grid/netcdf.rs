//! NetCDF 3 and 4: the catalogue of a file, and one hyperslab of it.
//!
//! Variables are known by their attributes (see `netcdf_meaning`), by their names only where these
//! say nothing (see `netcdf_names`), dimensions by those of their
//! coordinates: time, time of the run, time since the run, member of an ensemble, pressure or
//! height above the ground, latitude and longitude or x and y of a map, in any order and either way round. Any of
//! them but those of the grid may be a coordinate of a single value instead.

use std::path::Path;

use jiff::Timestamp;
use ndarray::{Array2, Ix2, concatenate};
use netcdf_reader::{NcFile, NcOpenOptions, NcSliceInfo, NcSliceInfoElem, NcVariable};

use super::netcdf_axes::{Coordinate, No, coordinate, of_dimension};
use super::netcdf_grid::grid;
use super::netcdf_meaning::{Conversion, Described, described, described_by_name, text};
use super::netcdf_time::is_since;
use super::parameter::placed;
use super::{Catalogue, GridFile, MOST_POINTS, READ_WHOLE, Source};
use crate::error::{Error, Fault, Result};
use crate::geodesy::lattice::{Lattice, Plane, Window};
use crate::numeric::single;
use crate::wind::slab::{Quantity, Slab, Surface};

/// What one thing of a NetCDF file is called, and several.
const OF_NETCDF: [&str; 2] = ["variable", "variables"];

/// The most slabs in a file: a year of hours of 37 levels of four quantities are 1.3 million.
const MOST_SLABS: usize = 2_000_000;

/// The fill value of NetCDF where a file names none is 9.97e36; nothing real comes near.
const LARGEST_VALUE: f64 = 1e30;

/// The variables that are of use, and where in them each slab is.
pub(super) struct Variables {
    file: NcFile,
    variables: Vec<Variable>,
    places: Vec<Place>,
}

/// A variable with what is needed to read it.
struct Variable {
    name: String,
    conversion: Conversion,
    /// How many indices there are along each dimension; see [`steps`].
    steps: Vec<usize>,
    /// Which of the dimensions are those of rows and columns, and whether they run down.
    rows: (usize, bool),
    columns: (usize, bool),
}

struct Place {
    variable: usize,
    /// Which of the variable's slabs, the last dimension running fastest; see [`unravelled`].
    index: usize,
}

fn options() -> NcOpenOptions {
    NcOpenOptions {
        // As unpacked: 64 bits.
        max_read_bytes: 8 * MOST_POINTS,
        ..NcOpenOptions::default()
    }
}

pub(super) fn open(name: &str, path: &Path) -> Result<NcFile> {
    let no_bytes = |cause| Error::file(path, "read", cause);
    if std::fs::metadata(path).map_err(no_bytes)?.len() <= READ_WHOLE {
        return from_bytes(name, std::fs::read(path).map_err(no_bytes)?);
    }
    NcFile::open_with_options(path, options()).map_err(|cause| match cause {
        netcdf_reader::Error::Io(cause) => Error::file(path, "read", cause),
        other => no_file(name, &other),
    })
}

pub(super) fn from_bytes(name: &str, bytes: Vec<u8>) -> Result<NcFile> {
    NcFile::from_owner(bytes, options()).map_err(|cause| no_file(name, &cause))
}

fn no_file(name: &str, cause: &netcdf_reader::Error) -> Error {
    let expected = "a complete NetCDF file; is it damaged or cut short?";
    Fault::new(name, cause.to_string(), expected).into()
}

/// Lists what is of use.
pub(super) fn catalogue(name: &str, file: NcFile) -> Result<GridFile> {
    let mut catalogue = Catalogue::default();
    let mut found = Found::default();
    if is_of_wrf(&file) {
        let what = "output of WRF on its own levels";
        let expected = "winds and heights on levels of pressure: whoever ran the model can make \
                        them, so ask for pressure levels";
        return Err(Fault::new(name, what, expected).into());
    }
    for (variable, described) in all_described(name, &file, &mut catalogue)? {
        match add(name, &file, variable, described, &mut catalogue, &mut found) {
            Ok(()) => {}
            Err(No::LeftOut(why)) => catalogue.left_out.count(why),
            Err(No::Fault(fault)) => return Err(fault),
        }
    }
    let source = Source::NetCdf(Variables {
        file,
        variables: found.variables,
        places: found.places,
    });
    catalogue.finish(name, source, OF_NETCDF)
}

/// Whether a file is what the Weather Research and Forecasting model writes: its levels are its own,
/// its winds are staggered, and nothing has a standard name.
fn is_of_wrf(file: &NcFile) -> bool {
    let variables = file.variables().unwrap_or_default();
    let has = |name: &str| variables.iter().any(|v| v.name() == name);
    has("PH") && has("PHB") && has("XLAT")
}

/// The variables with two dimensions or more that are of use, and what they are: by their attributes,
/// and by their names for quantities of which no attribute tells.
fn all_described<'a>(
    name: &str,
    file: &'a NcFile,
    catalogue: &mut Catalogue,
) -> Result<Vec<(&'a NcVariable, Described)>> {
    let variables = file.variables().map_err(|cause| no_file(name, &cause))?;
    // The others are coordinates, or hold attributes only.
    let variables = variables.iter().filter(|v| v.ndim() >= 2);
    let (mut all, mut unknown) = (Vec::new(), Vec::new());
    for variable in variables {
        match described(variable) {
            Ok(described) => all.push((variable, described)),
            Err(why) => unknown.push((variable, why)),
        }
    }
    let on_levels = all.iter().filter(|(_, d)| d.surface.is_none());
    let mut known: Vec<Quantity> = on_levels.map(|(_, d)| d.quantity).collect();
    if known.contains(&Quantity::EastWind) {
        known.extend([Quantity::WindSpeed, Quantity::WindFrom]);
    }
    let mut by_name = Vec::new();
    for (variable, why) in unknown {
        match described_by_name(variable).filter(|d| !known.contains(&d.quantity)) {
            Some(described) => by_name.push((variable, described)),
            None => catalogue.left_out.count(why),
        }
    }
    if !by_name.is_empty() {
        let named: Vec<String> = by_name
            .iter()
            .map(|(v, d)| format!("{} is the {}", v.name(), d.quantity))
            .collect();
        catalogue.assumed.push(format!(
            "by the names of variables alone, {}",
            shortened(named)
        ));
    }
    all.extend(by_name);
    Ok(all)
}

/// A list in words, of which no more than the first are named.
fn shortened(mut words: Vec<String>) -> String {
    const NAMED: usize = 8;
    let more = words.len().saturating_sub(NAMED);
    words.truncate(NAMED);
    match more {
        0 => words.join(", "),
        _ => format!("{} and {more} more", words.join(", ")),
    }
}

#[derive(Default)]
struct Found {
    variables: Vec<Variable>,
    places: Vec<Place>,
}

/// Adds the slabs of a variable.
fn add(
    name: &str,
    file: &NcFile,
    variable: &NcVariable,
    described: Described,
    catalogue: &mut Catalogue,
    found: &mut Found,
) -> std::result::Result<(), No> {
    let dimensions = variable
        .dimensions()
        .iter()
        .map(|d| of_dimension(name, file, &d.name, d.size))
        .collect::<std::result::Result<Vec<Coordinate>, No>>()?;
    let grid = grid(name, file, variable, &dimensions)?;
    if let Some(assumed) = grid.assumed {
        catalogue.assume(assumed);
    }
    let mut common = Common::default();
    if let Some(surface) = described.surface {
        common.surface = Some(Some(surface));
    }
    for single in singles(name, file, variable)? {
        common.take(&single, 0);
    }
    let steps = steps(&dimensions);
    let count = steps.iter().product::<usize>();
    if catalogue.slabs.len().saturating_add(count) > MOST_SLABS {
        let fault = Fault::new(name, format!("{count} levels and times"), "some thousands");
        return Err(No::Fault(fault.of_key(variable.name()).into()));
    }
    let is_wind = matches!(described.quantity, Quantity::EastWind | Quantity::NorthWind);
    let mapped = is_wind && grid.lattice.plane != Plane::LatLon;
    if mapped && described.along_grid.is_none() {
        catalogue.assume(
            "winds on a map projection are along the map's x and y (the file does not say)".into(),
        );
    }
    let along_grid = mapped && described.along_grid != Some(false);
    let lattice = catalogue.lattice(grid.lattice);
    let mut unused_surfaces = 0;
    for index in 0..count {
        let at = unravelled(index, &steps);
        let mut here = common.clone();
        for (dimension, i) in dimensions.iter().zip(&at) {
            here.take(dimension, *i);
        }
        match here.slab(&described, lattice, along_grid)? {
            Some(slab) => catalogue.slabs.push(slab),
            None => {
                unused_surfaces += 1;
                continue;
            }
        }
        found.places.push(Place {
            variable: found.variables.len(),
            index,
        });
    }
    if unused_surfaces > 0 {
        let name = variable.name();
        let note = format!("{unused_surfaces} levels of \"{name}\" that are not used");
        catalogue.left_out.note(note);
    }
    found.variables.push(Variable {
        name: variable.name().to_owned(),
        conversion: described.conversion,
        steps,
        rows: grid.rows,
        columns: grid.columns,
    });
    Ok(())
}

/// The coordinates of a single value that belong to a variable: those it lists, and times.
fn singles(
    name: &str,
    file: &NcFile,
    variable: &NcVariable,
) -> std::result::Result<Vec<Coordinate>, No> {
    let listed = text(variable, "coordinates").unwrap_or_default();
    let belongs = |single: &&NcVariable| {
        single.ndim() == 0
            && (listed.split_whitespace().any(|n| n == single.name())
                || text(single, "units").is_some_and(|units| is_since(&units)))
    };
    // Outside of an ensemble the member's number says nothing.
    let no_ensemble = variable
        .attribute("GRIB_totalNumber")
        .is_some_and(|total| total.value.as_f64() == Some(0.0));
    let mut singles = Vec::new();
    for single in file.variables().unwrap_or_default().iter().filter(belongs) {
        match coordinate(name, file, single)? {
            Some(Coordinate::Member(_)) if no_ensemble => {}
            Some(coordinate) => singles.push(coordinate),
            None => {}
        }
    }
    Ok(singles)
}

/// How many indices there are along each dimension: one for a whole latitude or longitude.
fn steps(dimensions: &[Coordinate]) -> Vec<usize> {
    let along = |dimension: &Coordinate| match dimension {
        Coordinate::Row(..) | Coordinate::Column(..) => 1,
        other => other.len(),
    };
    dimensions.iter().map(along).collect()
}

/// The index along each dimension of the `index`-th of all, the last dimension running fastest.
fn unravelled(mut index: usize, steps: &[usize]) -> Vec<usize> {
    let mut at = vec![0; steps.len()];
    for (i, n) in at.iter_mut().zip(steps).rev() {
        *i = index % n;
        index /= n;
    }
    at
}

/// What is known of a slab before its values.
#[derive(Debug, Clone, Default)]
struct Common {
    valid: Option<Timestamp>,
    run: Option<Timestamp>,
    lead: Option<jiff::SignedDuration>,
    member: Option<u32>,
    /// The inner `None` is a surface that is not used.
    surface: Option<Option<Surface>>,
}

impl Common {
    fn take(&mut self, coordinate: &Coordinate, i: usize) {
        match coordinate {
            Coordinate::Valid(times) => self.valid = times.get(i).copied(),
            Coordinate::Run(times) => self.run = times.get(i).copied(),
            Coordinate::Lead(leads) => self.lead = leads.get(i).copied(),
            Coordinate::Member(members) => self.member = members.get(i).copied(),
            Coordinate::Surface(surfaces) => self.surface = surfaces.get(i).copied(),
            Coordinate::Row(..) | Coordinate::Column(..) | Coordinate::Single => {}
        }
    }

    /// The slab; `None` when its surface is not used.
    fn slab(
        &self,
        described: &Described,
        lattice: usize,
        along_grid: bool,
    ) -> std::result::Result<Option<Slab>, No> {
        let surface = self
            .surface
            .ok_or_else(|| No::LeftOut("without a level".into()))?;
        let reckoned = || self.run?.checked_add(self.lead?).ok();
        let valid = self
            .valid
            .or_else(reckoned)
            .ok_or_else(|| No::LeftOut("without a time".into()))?;
        Ok(surface.map(|surface| Slab {
            quantity: described.quantity,
            surface: placed(described.quantity, surface),
            run: self.run,
            valid,
            member: self.member,
            lattice,
            along_grid,
        }))
    }
}

impl Variables {
    pub fn label(&self, slab: usize) -> String {
        let place = self.places.get(slab);
        place.map_or_else(String::new, |p| {
            format!("variable {}", self.variables[p.variable].name)
        })
    }

    pub fn read(
        &self,
        name: &str,
        slab: usize,
        lattice: &Lattice,
        window: Window,
    ) -> Result<Array2<f32>> {
        let place = &self.places[slab];
        let variable = &self.variables[place.variable];
        let fault = |found: String| {
            let expected = "values that can be read; is the file damaged?";
            Fault::new(name, found, expected).of_key(&variable.name)
        };
        // Where the window goes on at the first column it is read in two parts.
        let first = window.columns.min(lattice.x.count - window.column);
        let parts = [(window.column, first), (0, window.columns - first)]
            .into_iter()
            .filter(|(_, columns)| *columns > 0)
            .map(|(column, columns)| {
                let part = Window {
                    column,
                    columns,
                    ..window
                };
                self.part(place.index, variable, lattice, part)
                    .map_err(fault)
            })
            .collect::<std::result::Result<Vec<_>, Fault>>()?;
        let views: Vec<_> = parts.iter().map(|part| part.view()).collect();
        if views.is_empty() {
            return Ok(Array2::zeros((window.rows, 0)));
        }
        concatenate(ndarray::Axis(1), &views).map_err(|cause| fault(cause.to_string()).into())
    }

    /// A window that does not go on at the first column; or what is wrong.
    fn part(
        &self,
        index: usize,
        variable: &Variable,
        lattice: &Lattice,
        window: Window,
    ) -> std::result::Result<Array2<f32>, String> {
        let (y, y_reversed) = variable.rows;
        let (x, x_reversed) = variable.columns;
        let selection = |(dimension, i): (usize, usize)| {
            if dimension == y {
                run(window.row, window.rows, lattice.y.count, y_reversed)
            } else if dimension == x {
                run(window.column, window.columns, lattice.x.count, x_reversed)
            } else {
                NcSliceInfoElem::Index(i as u64)
            }
        };
        let at = unravelled(index, &variable.steps);
        let selections = at.into_iter().enumerate().map(selection).collect();
        let values = self
            .file
            .read_variable_slice_unpacked_masked(&variable.name, &NcSliceInfo { selections })
            .map_err(|cause| cause.to_string())?;
        let mut values = values
            .into_dimensionality::<Ix2>()
            .map_err(|cause| cause.to_string())?;
        if x < y {
            values = values.reversed_axes();
        }
        if values.dim() != (window.rows, window.columns) {
            let (rows, columns) = values.dim();
            return Err(format!("{rows} by {columns} values"));
        }
        if y_reversed {
            values.invert_axis(ndarray::Axis(0));
        }
        if x_reversed {
            values.invert_axis(ndarray::Axis(1));
        }
        let Conversion { scale, offset } = variable.conversion;
        let ours = |value: f64| {
            if value.abs() < LARGEST_VALUE {
                single(value * scale + offset)
            } else {
                f32::NAN
            }
        };
        Ok(values.map(|value| ours(*value)))
    }
}

/// `many` indices from `first` on, counted from the other end where the file runs down.
fn run(first: usize, many: usize, count: usize, reversed: bool) -> NcSliceInfoElem {
    let start = if reversed {
        count - first - many
    } else {
        first
    };
    NcSliceInfoElem::Slice {
        start: start as u64,
        end: (start + many) as u64,
        step: 1,
    }
}
