#!/usr/bin/env python3
"""Makes made_places.nc and made_places_unsaid.nc from made_lambert.nc: the same winds, but instead of axes and
grid_mapping the latitude and longitude of every point (pyproj 3.7, netCDF4), as models write them.

The first says that winds are along the grid (x_wind, y_wind), the second says nothing. Rows of made_points.csv are
those of made_lambert.nc.
"""
import netCDF4
import numpy as np
from pyproj import Proj

with netCDF4.Dataset("made_lambert.nc") as source:
    mapping = source["LambertConformal_Projection"]
    proj = Proj(proj="lcc", lat_1=44, lat_2=49, lat_0=46.5, lon_0=12, R=mapping.earth_radius)
    x, y = np.meshgrid(source["x"][:] - mapping.false_easting, source["y"][:])
    lon, lat = proj(1000 * x, 1000 * y, inverse=True)
    for name, said in (("made_places.nc", True), ("made_places_unsaid.nc", False)):
        with netCDF4.Dataset(name, "w") as out:
            for dimension, size in (("time", 1), ("isobaric", 4), ("south_north", 9), ("west_east", 10)):
                out.createDimension(dimension, size)
            for axis in ("time", "isobaric"):
                made = out.createVariable(axis, source[axis].dtype, (axis,))
                made.setncatts({k: source[axis].getncattr(k) for k in source[axis].ncattrs()})
                made[:] = source[axis][:]
            for key, values, unit in (("lat", lat, "degrees_north"), ("lon", lon, "degrees_east")):
                made = out.createVariable(key, "f4", ("south_north", "west_east"))
                made.units = unit
                made[:] = values
            for key, along in (("u", "x_wind"), ("v", "y_wind"), ("gh", "geopotential_height")):
                made = out.createVariable(key, source[key].dtype, ("time", "isobaric", "south_north", "west_east"))
                made.units = source[key].units
                made.coordinates = "lat lon"
                if said or key == "gh":
                    made.standard_name = along
                made[:] = source[key][:]
