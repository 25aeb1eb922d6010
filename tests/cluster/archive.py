"""Makes a record of winds for measuring `windfall years`; nothing of it is committed.

    python3 archive.py FOLDER FIRST_YEAR YEARS [chunk]

Months of NetCDF 4 as area requests give them: 17 by 17 points every 0.25 degrees around 40 N 4 W, 37 levels,
06 09 12 15 18 UTC, u, v, z (geopotential) and t in 32 bits, deflated. Winds are a smooth jet whose strength and direction
wander from day to day. Python 3.11, numpy, netCDF4.
"""

import calendar
import sys

import netCDF4
import numpy as np

LEVELS = [1000, 975, 950, 925, 900, 875, 850, 825, 800, 775, 750, 700, 650, 600, 550, 500, 450, 400, 350, 300,
          250, 225, 200, 175, 150, 125, 100, 70, 50, 30, 20, 10, 7, 5, 3, 2, 1]
HOURS = [6, 9, 12, 15, 18]
LAT = np.arange(42.0, 37.9, -0.25)
LON = np.arange(-6.0, -1.9, 0.25)


def height_m(hpa):
    """Geopotential height of the standard atmosphere, roughly, m."""
    return 44330.8 * (1 - (hpa / 1013.25) ** 0.190263) if hpa > 226 else 11000 + 6341.6 * np.log(226.32 / hpa)


def month(path, year, number, chunk, rng, state):
    times = [(year, number, day, hour) for day in range(1, calendar.monthrange(year, number)[1] + 1) for hour in HOURS]
    with netCDF4.Dataset(path, "w") as out:
        for name, size in [("time", len(times)), ("level", 37), ("latitude", len(LAT)), ("longitude", len(LON))]:
            out.createDimension(name, size)
        for name, units, values in [("level", "hPa", LEVELS), ("latitude", "degrees_north", LAT), ("longitude", "degrees_east", LON)]:
            axis = out.createVariable(name, "f8", (name,))
            axis.units = units
            axis[:] = values
        axis = out.createVariable("time", "f8", ("time",))
        axis.units = "hours since 1900-01-01 00:00:00"
        first = (calendar.timegm((year, number, 1, 0, 0, 0)) + 2208988800) / 3600
        axis[:] = [first + 24 * (day - 1) + hour for _, _, day, hour in times]
        z = np.array([height_m(p) for p in LEVELS])
        shape = np.exp(-(((z - 11000) / 6000) ** 2)) + 0.15
        size = (len(times), 37, len(LAT), len(LON))
        wind = np.empty((2,) + size, "f4")
        lat, lon = np.meshgrid(LAT - 40, LON + 4, indexing="ij")
        for i, (_, _, _, hour) in enumerate(times):
            if hour == HOURS[0]:
                state = 0.8 * state + rng.normal(0, [9, 7])
            jet = np.array([12.0, 0.0]) + state
            for k in range(2):
                wind[k, i] = jet[k] * shape[:, None, None] * (1 + 0.03 * lat - 0.02 * lon)
        height = np.broadcast_to((9.80665 * z)[None, :, None, None], size)
        warm = np.broadcast_to(np.maximum(288.15 - 0.0065 * z, 216.65)[None, :, None, None], size)
        for name, units, standard, values in [
            ("u", "m s**-1", "eastward_wind", wind[0]), ("v", "m s**-1", "northward_wind", wind[1]),
            ("z", "m**2 s**-2", "geopotential", height), ("t", "K", "air_temperature", warm),
        ]:
            chunks = (chunk, 37, len(LAT), len(LON))
            field = out.createVariable(name, "f4", ("time", "level", "latitude", "longitude"), zlib=True, complevel=1, shuffle=True, chunksizes=chunks)
            field.units, field.standard_name = units, standard
            field[:] = values
    return state


def main():
    folder, first, count = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
    chunk = int(sys.argv[4]) if len(sys.argv) > 4 else 1
    rng, state = np.random.default_rng(1), np.zeros(2)
    for year in range(first, first + count):
        for number in range(1, 13):
            state = month(f"{folder}/{year}-{number:02}.nc", year, number, chunk, rng, state)


main()
