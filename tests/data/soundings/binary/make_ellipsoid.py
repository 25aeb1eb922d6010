#!/usr/bin/env python3
"""Makes made_ellipsoid.nc of made_cf_sounding.nc: its first rows, with heights that count from the ellipsoid.

Python 3.11, netCDF4. Heights are copied as they are: only what they are called differs.
"""
import netCDF4

ROWS = 12
with netCDF4.Dataset("made_cf_sounding.nc") as source, \
        netCDF4.Dataset("made_ellipsoid.nc", "w", format="NETCDF3_CLASSIC") as made:
    source.set_auto_maskandscale(False)
    for name, dimension in source.dimensions.items():
        made.createDimension(name, min(len(dimension), ROWS))
    for name, variable in source.variables.items():
        attributes = {a: variable.getncattr(a) for a in variable.ncattrs()}
        if attributes.get("standard_name") == "altitude":
            attributes["standard_name"] = "height_above_reference_ellipsoid"
        copy = made.createVariable(name, variable.dtype, variable.dimensions, fill_value=attributes.pop("_FillValue"))
        copy.set_auto_maskandscale(False)
        copy.setncatts(attributes)
        copy[...] = variable[..., :ROWS]
    made.setncatts({a: source.getncattr(a) for a in source.ncattrs()})
