#!/usr/bin/env python3
"""Makes awkward_*.nc: invented winds in files that are easily misread. Python 3.11, netCDF4, numpy.

awkward_axes.nc   winds on levels along a Lambert grid (20 m/s along x), at 10 m as speed and direction (5 m/s from 270)
awkward_mask.nc   all values missing at 107 W
awkward_times.nc  one time, no dimension of time, and beside it when the file was processed
"""
import netCDF4
import numpy as np

PRESSURES, HEIGHTS = [1000, 850, 500, 100], np.array([100, 1500, 5600, 16200.0])


def new(name, dimensions):
    data = netCDF4.Dataset(name, "w", format="NETCDF3_CLASSIC")
    for dimension, size in dimensions.items():
        data.createDimension(dimension, size)
    return data


def put(data, name, dimensions, values, **attributes):
    variable = data.createVariable(name, "f4" if dimensions and len(dimensions) > 1 else "f8", dimensions)
    variable.setncatts(attributes)
    variable[...] = values


def levels(data):
    put(data, "pressure", ("pressure",), PRESSURES, units="hPa", standard_name="air_pressure")


def times(data):
    put(data, "time", ("time",), [0, 3], units="hours since 2026-02-06 00:00:00", standard_name="time")


def on_levels(shape, axis):
    return np.broadcast_to(HEIGHTS.reshape([-1 if i == axis else 1 for i in range(len(shape))]), shape)


def axes():
    n = 6
    data = new("awkward_axes.nc", {"time": 2, "pressure": 4, "height": 1, "y": n, "x": n})
    times(data)
    levels(data)
    put(data, "height", ("height",), [10.0], units="m", standard_name="height")
    for axis, first in (("x", 1_500_000), ("y", 400_000)):
        put(data, axis, (axis,), first + 20_000.0 * np.arange(n), units="m",
            standard_name=f"projection_{axis}_coordinate")
    crs = data.createVariable("crs", "i4", ())
    crs.setncatts(dict(grid_mapping_name="lambert_conformal_conic", standard_parallel=[40.0, 40.0],
                       latitude_of_projection_origin=40.0, longitude_of_central_meridian=-110.0,
                       earth_radius=6371229.0))
    of, shape = ("time", "pressure", "y", "x"), (2, 4, n, n)
    put(data, "u", of, np.full(shape, 20.0), units="m s-1", standard_name="x_wind", grid_mapping="crs")
    put(data, "v", of, np.zeros(shape), units="m s-1", standard_name="y_wind", grid_mapping="crs")
    put(data, "gh", of, on_levels(shape, 1), units="m", standard_name="geopotential_height", grid_mapping="crs")
    of, shape = ("time", "height", "y", "x"), (2, 1, n, n)
    put(data, "ws", of, np.full(shape, 5.0), units="m s-1", standard_name="wind_speed", grid_mapping="crs")
    put(data, "wd", of, np.full(shape, 270.0), units="degree", standard_name="wind_from_direction",
        grid_mapping="crs")
    data.close()


def degrees(data, lats, lons):
    put(data, "lat", ("lat",), lats, units="degrees_north")
    put(data, "lon", ("lon",), lons, units="degrees_east")


def fields(data, of, shape, axis, masked=None, **attributes):
    for name, values, unit, standard_name in (
        ("u", np.full(shape, 20.0), "m s-1", "eastward_wind"),
        ("v", np.zeros(shape), "m s-1", "northward_wind"),
        ("z", on_levels(shape, axis), "m", "geopotential_height"),
        ("t", 290 - 0.005 * on_levels(shape, axis), "K", "air_temperature"),
    ):
        values = values.copy()
        if masked is not None:
            values[..., masked] = 9.96921e36
        put(data, name, of, values, units=unit, standard_name=standard_name, **attributes)


def mask():
    lats, lons = np.arange(42, 45.0), np.arange(-110, -104.0)
    data = new("awkward_mask.nc", {"time": 2, "pressure": 4, "lat": len(lats), "lon": len(lons)})
    times(data)
    levels(data)
    degrees(data, lats, lons)
    fields(data, ("time", "pressure", "lat", "lon"), (2, 4, len(lats), len(lons)), 1, masked=3)
    data.close()


def two_times():
    lats, lons = np.arange(42, 45.0), np.arange(-110, -107.0)
    data = new("awkward_times.nc", {"pressure": 4, "lat": len(lats), "lon": len(lons)})
    put(data, "time", (), 3, units="hours since 2026-02-06 00:00:00", standard_name="time")
    put(data, "processed", (), 1.0e9, units="seconds since 1970-01-01", long_name="time of processing")
    levels(data)
    degrees(data, lats, lons)
    fields(data, ("pressure", "lat", "lon"), (4, len(lats), len(lons)), 0, coordinates="time")
    data.close()


axes()
mask()
two_times()
