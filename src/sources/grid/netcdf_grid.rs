//! The lattice of a NetCDF variable: rows and columns of its dimensions, and the plane they are on.

#![allow(
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "files, lattices, slabs and steps are numbered by ourselves"
)]

use netcdf_reader::NcVariable;

use super::MOST_POINTS;
use super::data_set::DataSet;
use super::netcdf_axes::{Coordinate, Net, No, Spaced, latitudes, longitudes, metres};
use super::netcdf_fitted::Fitted;
use super::netcdf_mapping::{Mapping, mapping};
use crate::error::Fault;
use crate::geodesy::lattice::{Lattice, Plane};
use crate::geodesy::rotated::rotated;
use crate::notes::reading::Reading;

/// The lattice of a variable, and which dimensions it lies along.
pub(super) struct Grid {
    pub lattice: Lattice,
    /// Which dimension is that of the rows, and whether they run down.
    pub rows: (usize, bool),
    /// Which is that of the columns, and whether they run down.
    pub columns: (usize, bool),
    /// What was assumed.
    pub assumed: Option<Reading>,
}

/// A dimension that is an axis: its number, on which net, its values.
type Along = (usize, Net, Spaced);

/// The lattice of a variable with these dimensions.
pub(super) fn grid(
    name: &str,
    file: &DataSet,
    variable: &NcVariable,
    dimensions: &[Coordinate],
    fitted: Option<&Fitted>,
) -> Result<Grid, No> {
    let (mut y, mut x): (Option<Along>, Option<Along>) = (None, None);
    for (i, dimension) in dimensions.iter().enumerate() {
        let (slot, net, spaced) = match dimension {
            Coordinate::Row(Net::Metres, m) => (&mut y, Net::Metres, metres(m)),
            Coordinate::Column(Net::Metres, m) => (&mut x, Net::Metres, metres(m)),
            Coordinate::Row(net, degrees) => (&mut y, *net, latitudes(degrees)),
            Coordinate::Column(net, degrees) => (&mut x, *net, longitudes(degrees)),
            _ => continue,
        };
        let spaced = spaced.map_err(|found| {
            let fault = Fault::new(name, found, "an equally spaced axis");
            No::Fault(fault.of_key(&variable.dimensions()[i].name).into())
        })?;
        if slot.replace((i, net, spaced)).is_some() {
            return Err(No::LeftOut("along two latitudes or longitudes".into()));
        }
    }
    let (Some(y), Some(x)) = (y, x) else {
        return Err(No::LeftOut("without latitude and longitude".into()));
    };
    if y.1 != x.1 {
        return Err(No::LeftOut("along axes that do not belong together".into()));
    }
    let points = y.2.axis.count.saturating_mul(x.2.axis.count);
    if points > MOST_POINTS {
        let found = format!("a grid of {} by {} points", x.2.axis.count, y.2.axis.count);
        let fault = Fault::new(name, found, format!("up to {MOST_POINTS} points"));
        return Err(No::Fault(fault.of_key(variable.name()).into()));
    }
    let (lattice, assumed) = lattice(file, variable, [&y, &x], fitted)?;
    Ok(Grid {
        lattice,
        rows: (y.0, y.2.reversed),
        columns: (x.0, x.2.reversed),
        assumed,
    })
}

fn lattice(
    file: &DataSet,
    variable: &NcVariable,
    [(_, net, y), (_, _, x)]: [&Along; 2],
    fitted: Option<&Fitted>,
) -> Result<(Lattice, Option<Reading>), No> {
    let on = |plane: Plane| Lattice {
        plane,
        x: x.axis,
        y: y.axis,
    };
    // Before any map is asked for: true degrees need none, though many files name one.
    if *net == Net::Degrees {
        return Ok((on(Plane::LatLon), None));
    }
    if let Some((fitted, definition)) = fitted.and_then(|f| Some((f, f.definition.clone()?))) {
        return Ok((on(Plane::Projected(definition)), fitted.assumed()));
    }
    let (mapping, assumed) = mapping(file, variable).map_err(No::LeftOut)?;
    let lattice = match (net, mapping) {
        (Net::Metres, Mapping::Projected(definition)) => on(Plane::Projected(definition)),
        (Net::RotatedDegrees, Mapping::Rotated(pole)) => rotated(x.axis, y.axis, pole),
        _ => {
            let why = "along axes that do not fit their grid_mapping";
            return Err(No::LeftOut(why.into()));
        }
    };
    Ok((lattice, assumed))
}
