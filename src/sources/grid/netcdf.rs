//! NetCDF 3 and 4, and Zarr, which keeps the same data sets: the catalogue of one, and one hyperslab of it.
//!
//! Variables are known by their attributes (see `netcdf_meaning`), by their names only where these
//! say nothing (see `netcdf_names`), dimensions by those of their
//! coordinates: time, time of the run, time since the run, member of an ensemble, pressure or
//! height above the ground, latitude and longitude or x and y of a map, in any order and either way round. Any of
//! them but those of the grid may be a coordinate of a single value instead.

#![allow(
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "files, lattices, slabs and steps are numbered by ourselves"
)]

use std::collections::BTreeSet;
use std::fs::File;
use std::path::Path;
use std::rc::Rc;
use std::sync::Arc;

use jiff::Timestamp;
use ndarray::{Array2, Ix2, concatenate};
use netcdf_reader::{
    BlockCacheStorage, FileStorage, NcFile, NcOpenOptions, NcSliceInfoElem, NcVariable,
};

use super::data_set::DataSet;
use super::ensemble::drop_means;
use super::left_out::LeftOut;
use super::netcdf_axes::{Coordinate, Net, No, of_dimension};
use super::netcdf_beside::beside;
use super::netcdf_fitted::{Fitted, fitted, places};
use super::netcdf_grid::grid;
use super::netcdf_meaning::{Conversion, Described, described, described_by_name, text};
use super::parameter::placed;
use super::{Catalogue, GridFile, Hours, MOST_POINTS, Source};
use crate::error::{Error, Fault, Result};
use crate::geodesy::lattice::{Lattice, Plane, Window};
use crate::notes::reading::Reading;
use crate::numeric::single;
use crate::wind::slab::{Quantity, Slab, Surface};

/// Variables that are known by name and named one by one.
const NAMED: usize = 8;
/// What one thing of a NetCDF file is called, and several.
const OF_NETCDF: [&str; 2] = ["variable", "variables"];

/// Bytes that are read at once, and how many such blocks of a file are kept: its catalogue is looked up
/// again and again, its values once.
const BLOCK: usize = 64 << 10;
const BLOCKS: usize = 128;

/// The most slabs in a file: a year of hours of 37 levels of four quantities are 1.3 million.
const MOST_SLABS: usize = 2_000_000;

/// What would be fewer than that.
const MANY: &str = "2 million at most: a part of the years, or files by month";

/// Why winds on an inferred map may be left out.
const UNSAID: &str = "winds at latitudes and longitudes of every point, where neither an attribute nor a \
                      standard name says whether they blow along the grid or towards east and north \
                      (ask for eastward_wind and northward_wind)";

/// The fill value of NetCDF where a file names none is 9.97e36; nothing real comes near.
const LARGEST_VALUE: f64 = 1e30;

/// The variables that are of use, and where in them each slab is.
pub(super) struct Variables {
    file: DataSet,
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
    /// Whether it is the mean of an ensemble.
    is_mean: bool,
}

impl Variable {
    /// A window of one slab, along each dimension.
    fn selections(&self, index: usize, lattice: &Lattice, window: Window) -> Vec<NcSliceInfoElem> {
        let ((y, y_reversed), (x, x_reversed)) = (self.rows, self.columns);
        let along = |(dimension, i): (usize, usize)| {
            if dimension == y {
                run(window.row, window.rows, lattice.y.count, y_reversed)
            } else if dimension == x {
                run(window.column, window.columns, lattice.x.count, x_reversed)
            } else {
                NcSliceInfoElem::Index(i as u64)
            }
        };
        let at = unravelled(index, &self.steps);
        at.into_iter().enumerate().map(along).collect()
    }
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

/// Opens a file of which parts are read as they are asked for. It is not mapped into memory: a mapped
/// file that another program cuts short ends ours.
pub(in crate::sources) fn in_parts(
    path: &Path,
    options: NcOpenOptions,
) -> netcdf_reader::Result<NcFile> {
    let bytes = File::open(path)
        .and_then(|file| FileStorage::from_file(file).map_err(std::io::Error::other))?;
    let blocks = BlockCacheStorage::new(Arc::new(bytes), BLOCK, BLOCKS);
    NcFile::from_storage_with_options(Arc::new(blocks), options)
}

pub(super) fn open(name: &str, path: &Path) -> Result<DataSet> {
    let file = in_parts(path, options()).map_err(|cause| match cause {
        netcdf_reader::Error::Io(cause) => Error::file(path, "read", cause),
        other => no_file(name, &other),
    })?;
    whole(name, file)
}

pub(super) fn from_bytes(name: &str, bytes: Vec<u8>) -> Result<DataSet> {
    let file = NcFile::from_owner(bytes, options()).map_err(|cause| no_file(name, &cause))?;
    whole(name, file)
}

/// A file whose list of variables can be read.
fn whole(name: &str, file: NcFile) -> Result<DataSet> {
    // Asked for here, where it can fail: later a list that cannot be read passes for an empty one.
    file.variables().map_err(|cause| no_file(name, &cause))?;
    Ok(DataSet::NetCdf(file))
}

fn no_file(name: &str, cause: &netcdf_reader::Error) -> Error {
    let expected = "a complete NetCDF file; is it damaged or cut short?";
    Fault::new(name, cause.to_string(), expected).into()
}

/// Lists what is of use.
pub(super) fn catalogue(
    name: &str,
    file: DataSet,
    hours: Hours,
    left_out: LeftOut,
) -> Result<GridFile> {
    let mut catalogue = Catalogue {
        hours,
        left_out,
        ..Catalogue::default()
    };
    let mut found = Found::default();
    // Told as what it is: variable by variable only names nobody knows would be told.
    if is_of_wrf(&file) {
        let what = "output of WRF on its own levels";
        let expected = "winds and heights on levels of pressure: whoever ran the model can make \
                        them, so ask for pressure levels";
        return Err(Fault::new(name, what, expected).into());
    }
    for (variable, described) in all_described(&file, &mut catalogue) {
        match add(name, &file, variable, described, &mut catalogue, &mut found) {
            Ok(()) => {}
            Err(No::LeftOut(why)) => catalogue.left_out.count(why),
            Err(No::Fault(fault)) => return Err(fault),
        }
    }
    let (variables, mut places) = (found.variables, found.places);
    drop_means(&mut catalogue, &mut places, |place| {
        variables[place.variable].is_mean
    });
    let source = Source::NetCdf(Variables {
        file,
        variables,
        places,
    });
    catalogue.finish(name, source, OF_NETCDF)
}

/// Whether a data set has more levels and times than are listed, by its shapes alone.
pub(super) fn is_long(file: &DataSet) -> bool {
    let described = all_described(file, &mut Catalogue::default());
    let many = described.iter().map(|(variable, _)| {
        // The last two are those of the grid, as they are nearly everywhere.
        let along = variable.dimensions().iter().rev().skip(2);
        along.fold(1_u64, |all, d| all.saturating_mul(d.size))
    });
    many.fold(0, u64::saturating_add) > MOST_SLABS as u64
}

/// All times that fields of a data set are for.
pub(super) fn times(name: &str, file: &DataSet) -> Result<BTreeSet<Timestamp>> {
    let mut all = BTreeSet::new();
    let mut seen: Vec<&str> = Vec::new();
    let described = all_described(file, &mut Catalogue::default());
    for d in described.iter().flat_map(|(v, _)| v.dimensions()) {
        if seen.contains(&d.name.as_str()) {
            continue;
        }
        seen.push(&d.name);
        match of_dimension(name, file, &d.name, d.size) {
            Ok(Coordinate::Valid(times)) => all.extend(times),
            Ok(_) | Err(No::LeftOut(_)) => {}
            Err(No::Fault(fault)) => return Err(fault),
        }
    }
    Ok(all)
}

/// Whether a file is what the Weather Research and Forecasting model writes: its levels are its own,
/// its winds are staggered, and nothing has a standard name.
fn is_of_wrf(file: &DataSet) -> bool {
    let has = |name: &str| file.variables().iter().any(|v| v.name() == name);
    has("PH") && has("PHB") && has("XLAT")
}

/// The variables with two dimensions or more that are of use, and what they are: by their attributes,
/// and by their names for quantities of which no attribute tells.
fn all_described<'a>(
    file: &'a DataSet,
    catalogue: &mut Catalogue,
) -> Vec<(&'a NcVariable, Described)> {
    // The others are coordinates, or hold attributes only.
    let variables = file.variables().iter().filter(|v| v.ndim() >= 2);
    let (mut all, mut unknown) = (Vec::new(), Vec::new());
    for variable in variables {
        match described(variable) {
            Ok(described) => all.push((variable, described)),
            Err(why) => unknown.push((variable, why)),
        }
    }
    // A wind at 10 m whose attributes tell must not keep those on levels from being told by name.
    let on_levels = all.iter().filter(|(_, d)| d.surface.is_none());
    let mut known: Vec<Quantity> = on_levels.map(|(_, d)| d.quantity).collect();
    if known.contains(&Quantity::EastWind) {
        // Components are there already: the same winds are not told a second time.
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
        let named = by_name.iter().take(NAMED);
        catalogue.assumed.push(Reading::ByName {
            variables: named
                .map(|(v, d)| format!("{} is the {}", v.name(), d.quantity))
                .collect(),
            more: by_name.len().saturating_sub(NAMED),
        });
    }
    all.extend(by_name);
    all
}

#[derive(Default)]
struct Found {
    variables: Vec<Variable>,
    places: Vec<Place>,
    fitted: Vec<Rc<Fitted>>,
}

/// Adds the slabs of a variable.
fn add(
    name: &str,
    file: &DataSet,
    variable: &NcVariable,
    described: Described,
    catalogue: &mut Catalogue,
    found: &mut Found,
) -> std::result::Result<(), No> {
    let (mut dimensions, fitted) = dimensions(name, file, variable, found)?;
    let beside = beside(name, file, variable, &mut dimensions)?;
    if beside.of_runs {
        catalogue.assume(Reading::TimesOfRuns);
    }
    let grid = grid(name, file, variable, &dimensions, fitted.as_deref())?;
    if let Some(assumed) = grid.assumed {
        catalogue.assume(assumed);
    }
    let mut common = Common::default();
    // First, so that a coordinate, which knows better, replaces it.
    if let Some(surface) = described.surface {
        common.surface = Some(Some(surface));
    }
    for single in &beside.singles {
        common.take(single, 0);
    }
    let steps = steps(&dimensions);
    let asked = asked(&dimensions, &steps, catalogue.hours);
    let counts = asked.iter().map(Vec::len);
    let count = counts.fold(1, usize::saturating_mul);
    if catalogue.slabs.len().saturating_add(count) > MOST_SLABS {
        let fault = Fault::new(name, format!("{count} levels and times"), MANY);
        return Err(No::Fault(fault.of_key(variable.name()).into()));
    }
    let is_wind = matches!(described.quantity, Quantity::EastWind | Quantity::NorthWind);
    let mapped = is_wind && grid.lattice.plane != Plane::LatLon;
    // Where the map itself is inferred, a guess at the direction would turn winds unseen.
    if mapped && described.along_grid.is_none() && fitted.is_some() {
        return Err(No::LeftOut(UNSAID.into()));
    }
    // Converters of servers keep GRIB's numbers, but not its flag for this.
    if mapped && described.along_grid.is_none() {
        catalogue.assume(Reading::AlongMap);
    }
    let along_grid = mapped && described.along_grid != Some(false);
    let all = grid.lattice.whole();
    let variable = Variable {
        name: variable.name().to_owned(),
        conversion: described.conversion,
        steps,
        rows: grid.rows,
        columns: grid.columns,
        is_mean: described.is_mean,
    };
    let lattice = catalogue.lattice(grid.lattice.clone());
    let mut gaps = Gaps::default();
    let many: Vec<usize> = asked.iter().map(Vec::len).collect();
    for number in 0..count {
        let at = unravelled(number, &many);
        let at: Vec<usize> = at.iter().zip(&asked).map(|(i, asked)| asked[*i]).collect();
        // Among all, not among those asked for: a read knows nothing of the hours.
        let index = ravelled(&at, &variable.steps);
        let mut here = common.clone();
        for (dimension, i) in dimensions.iter().zip(&at) {
            here.take(dimension, *i);
        }
        if let Some((dimension, valid)) = &beside.valid {
            here.take(valid, at[*dimension]);
        }
        let Some(slab) = here.slab(&described, lattice, along_grid)? else {
            gaps.unused += 1;
            continue;
        };
        let selections = variable.selections(index, &grid.lattice, all);
        let stored = file.stored(&variable.name, &selections);
        let [there, of] = stored.map_err(|found| {
            let fault = Fault::new(name, found, "a chunk that can be looked at");
            No::Fault(fault.of_key(&variable.name).into())
        })?;
        gaps.partly += usize::from(there > 0 && there < of);
        if there == 0 {
            gaps.not_stored += 1;
            continue;
        }
        catalogue.slabs.push(slab);
        found.places.push(Place {
            variable: found.variables.len(),
            index,
        });
    }
    gaps.tell(&variable.name, count, catalogue);
    found.variables.push(variable);
    Ok(())
}

/// The dimensions of a variable; with the map that its latitudes and longitudes lie on, where they are
/// given point by point and the file describes no map.
fn dimensions(
    name: &str,
    file: &DataSet,
    variable: &NcVariable,
    found: &mut Found,
) -> std::result::Result<(Vec<Coordinate>, Option<Rc<Fitted>>), No> {
    let mut used = None;
    let mut all = Vec::new();
    for d in variable.dimensions() {
        let known = of_dimension(name, file, &d.name, d.size);
        let undescribed = match &known {
            Ok(Coordinate::Row(net, _) | Coordinate::Column(net, _)) => {
                // Metres without a map say nothing of where they are.
                *net == Net::Metres && text(variable, "grid_mapping").is_none()
            }
            Ok(_) | Err(No::Fault(_)) => false,
            Err(No::LeftOut(_)) => true,
        };
        let fitted = match undescribed {
            true => found.fitted(file, variable).map_err(No::LeftOut)?,
            false => None,
        };
        match fitted.and_then(|fitted| Some((fitted.along(&d.name)?, fitted))) {
            Some((coordinate, fitted)) => {
                all.push(coordinate);
                used = Some(fitted);
            }
            None => all.push(known?),
        }
        // In a Zarr store nothing holds them together.
        let values = all.last().map_or(0, Coordinate::len);
        if values as u64 != d.size {
            let why = format!(
                "along \"{}\", of {} points, whose coordinate has {values}",
                d.name, d.size
            );
            return Err(No::LeftOut(why));
        }
    }
    Ok((all, used))
}

impl Found {
    /// The map that the places of a variable's points lie on, sought once for all variables; `None` where
    /// the file does not give them point by point.
    fn fitted(
        &mut self,
        file: &DataSet,
        variable: &NcVariable,
    ) -> std::result::Result<Option<Rc<Fitted>>, String> {
        let Some(places) = places(file, variable) else {
            return Ok(None);
        };
        if let Some(known) = self.fitted.iter().find(|fitted| fitted.is_of(places)) {
            return Ok(Some(known.clone()));
        }
        let new = Rc::new(fitted(file, places)?);
        self.fitted.push(new.clone());
        Ok(Some(new))
    }
}

/// Levels and times of a variable that are left out, or have holes.
#[derive(Default)]
struct Gaps {
    unused: usize,
    not_stored: usize,
    partly: usize,
}

impl Gaps {
    fn tell(&self, name: &str, of: usize, catalogue: &mut Catalogue) {
        let Gaps {
            unused,
            not_stored,
            partly,
        } = *self;
        for (many, note) in [
            (
                unused,
                format!("{unused} levels of \"{name}\" that are not used"),
            ),
            (
                not_stored,
                format!(
                    "{not_stored} of {of} levels and times of \"{name}\": the store lacks their \
                     chunks, so they are missing"
                ),
            ),
            (
                partly,
                format!(
                    "parts of {partly} of {of} levels and times of \"{name}\": the store lacks \
                     chunks, so values are missing there"
                ),
            ),
        ] {
            if many > 0 {
                catalogue.left_out.note(note);
            }
        }
    }
}

/// How many indices there are along each dimension: one for a whole latitude or longitude.
fn steps(dimensions: &[Coordinate]) -> Vec<usize> {
    let along = |dimension: &Coordinate| match dimension {
        Coordinate::Row(..) | Coordinate::Column(..) => 1,
        other => other.len(),
    };
    dimensions.iter().map(along).collect()
}

/// Which indices there are along each dimension, of times those within the hours asked for.
fn asked(dimensions: &[Coordinate], steps: &[usize], hours: Hours) -> Vec<Vec<usize>> {
    let along = |(dimension, &many): (&Coordinate, &usize)| match (dimension, hours) {
        (Coordinate::Valid(times), Some([from, to])) => (0..many)
            .filter(|&i| times.get(i).is_some_and(|time| (from..=to).contains(time)))
            .collect(),
        // Runs and leads are kept whole: the time is known only from both.
        _ => (0..many).collect(),
    };
    dimensions.iter().zip(steps).map(along).collect()
}

/// The number of an index along each dimension among all; see [`unravelled`].
fn ravelled(at: &[usize], steps: &[usize]) -> usize {
    at.iter()
        .zip(steps)
        .fold(0, |number, (i, n)| number * n + i)
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
            span: described.span,
            // Converters number the mean, too.
            member: self.member.filter(|_| !described.is_mean),
            minus: false,
            lattice,
            along_grid,
        }))
    }
}

impl Variables {
    /// Whether they are the mean of an ensemble, whose members are elsewhere.
    pub fn is_mean(&self) -> bool {
        let mut places = self.places.iter();
        places.any(|place| self.variables[place.variable].is_mean)
    }

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
        let ((y, y_reversed), (x, x_reversed)) = (variable.rows, variable.columns);
        let selections = variable.selections(index, lattice, window);
        let values = self.file.part(&variable.name, selections)?;
        let mut values = values
            .into_dimensionality::<Ix2>()
            .map_err(|cause| cause.to_string())?;
        // Rows first, so that what follows need not know the file's order.
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
