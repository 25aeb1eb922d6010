"""Invents the winds and the roads of this sample: python3 make_winds.py (numpy, netCDF4).

Nothing here was measured or forecast. One simple rule makes everything: the heights of pressure
surfaces are those of the standard atmosphere plus a wave that travels east, strongest at the
tropopause, and a jet along it. Winds follow from the heights (geostrophic balance), temperatures
from their thickness (hydrostatic balance), the wind at 10 m from that of the lowest level, slowed
and turned by the ground, most at dawn.
"""

import json
from datetime import datetime, timezone

import netCDF4
import numpy as np

RUN = datetime(2026, 5, 7, 0, tzinfo=timezone.utc)
FIRST_H, LAST_H, STEP_H = 24, 123, 3  # hours after the run: four days and their nights
LAT, LON = np.arange(39.0, 46.0), np.arange(-90.0, -80.0)
LEVELS_HPA = np.array([1000, 925, 850, 700, 600, 500, 400, 300, 250, 200, 150, 100, 70, 50, 30, 20, 10, 7.0])

G, R_DRY = 9.80665, 287.053  # m/s2, J/(kg K)
F0 = 2 * 7.292e-5 * np.sin(np.radians(42.5))  # Coriolis parameter in the middle of the region, 1/s
KM_PER_DEGREE = 111.2


def standard(p_hpa):
    """Height (m) and temperature (K) of the standard atmosphere, up to 35 km."""
    p = np.asarray(p_hpa, float)
    t11, p11 = 216.65, 226.32
    low = 288.15 * (p / 1013.25) ** (R_DRY * 0.0065 / G)
    mid_z = 11_000 + R_DRY * t11 / G * np.log(p11 / p)
    p20 = p11 * np.exp(-G * 9_000 / (R_DRY * t11))
    high = t11 * (p / p20) ** (-R_DRY * 0.001 / G)
    z = np.where(p > p11, (288.15 - low) / 0.0065, np.where(p > p20, mid_z, 20_000 + (high - t11) / 0.001))
    t = np.where(p > p11, low, np.where(p > p20, t11, high))
    return z, t


def strength(z_m):
    """How strong wave and jet are at a height, 1 at the tropopause (11 km)."""
    below = 0.16 + 0.84 * (np.clip(z_m, 0, 11_000) / 11_000) ** 1.2
    above = 0.12 + 0.88 * np.exp(-((np.maximum(z_m, 11_000) - 11_000) / 5_500) ** 1.3)
    return np.where(z_m < 11_000, below, above)


def heights(hour, lat, lon):
    """Heights of the levels (m) over a place, [level, lat, lon], `hour` hours after the run."""
    x = (lon[None, :] + 86) * KM_PER_DEGREE * np.cos(np.radians(42.5))
    y = (lat[:, None] - 42.5) * KM_PER_DEGREE
    days = (hour - FIRST_H) / 24
    wave = 2 * np.pi * (x - 700 * days) / 4_200
    # The axis of the jet meanders and goes north, so that light winds follow from the south.
    axis = -150 + 330 * days + 200 * np.sin(wave + 2.2)
    jet = -240 * np.tanh((y - axis) / 420)
    # Behind it a ridge, and on the last day a low in the south: the winds turn to the east.
    ridge = 110 * np.exp(-(((x - 550 * (days - 2.6)) / 1_100) ** 2 + ((y - 350) / 650) ** 2))
    low = -150 * np.exp(-(((x + 100 - 350 * (days - 3.4)) / 650) ** 2 + ((y + 420) / 450) ** 2))
    south = 60 * np.tanh((y + 100) / 500) * np.clip(days - 2, 0, 1)
    z0, _ = standard(LEVELS_HPA)
    a = strength(z0)[:, None, None]
    # Summer easterlies begin above 20 km.
    stratosphere = 45 * np.tanh(y / 900) * np.clip((z0 - 16_000) / 16_000, 0, 1)[:, None, None]
    return z0[:, None, None] + a * (jet + ridge + low + south)[None] + stratosphere


def winds(hour):
    """Winds (m/s) from the slopes of the heights over 20 km."""
    d = 0.09
    north = (heights(hour, LAT + d, LON) - heights(hour, LAT - d, LON)) / (2 * d * KM_PER_DEGREE * 1e3)
    metres = KM_PER_DEGREE * 1e3 * np.cos(np.radians(42.5))
    east = (heights(hour, LAT, LON + d) - heights(hour, LAT, LON - d)) / (2 * d * metres)
    return -G / F0 * north, G / F0 * east


def temperatures(z):
    """Temperatures (K) from the thickness between neighbouring levels."""
    t = -G / R_DRY * np.gradient(z, np.log(LEVELS_HPA), axis=0)
    return t


def at_10_m(u, v, hour):
    """The wind at 10 m: turned by 25 degrees towards low pressure, 20 % at dawn to 60 % after noon."""
    local = (hour - 5.7) % 24  # mean solar time at 86 W, as the run starts at 0 UTC
    factor = 0.40 + 0.20 * np.sin(2 * np.pi * (local - 8.5) / 24)
    turn = np.radians(25)
    u, v = factor * u[1], factor * v[1]
    return u * np.cos(turn) - v * np.sin(turn), u * np.sin(turn) + v * np.cos(turn)


def write_winds(path):
    hours = np.arange(FIRST_H, LAST_H + 1, STEP_H)
    fields = {"u": [], "v": [], "z": [], "t": [], "u10": [], "v10": []}
    for hour in hours:
        z = heights(hour, LAT, LON)
        u, v = winds(hour)
        for name, values in zip(fields, (u, v, z, temperatures(z), *at_10_m(u, v, hour))):
            fields[name].append(values)
    with netCDF4.Dataset(path, "w") as file:
        file.Conventions = "CF-1.10"
        file.title = "INVENTED winds of a travelling wave: no measurement, no forecast"
        file.source = "samples/lake-shore/make_winds.py"
        for name, values, standard_name, units in (
            ("time", hours, "time", f"hours since {RUN:%Y-%m-%d %H:%M:%S}"),
            ("level", LEVELS_HPA, "air_pressure", "hPa"),
            ("latitude", LAT, "latitude", "degrees_north"),
            ("longitude", LON, "longitude", "degrees_east"),
        ):
            file.createDimension(name, len(values))
            variable = file.createVariable(name, "f8" if name != "time" else "i4", (name,))
            variable.standard_name, variable.units = standard_name, units
            variable[:] = values
        file["time"].calendar, file["level"].positive = "standard", "down"
        run = file.createVariable("forecast_reference_time", "i4", ())
        run.standard_name, run.units = "forecast_reference_time", file["time"].units
        run[...] = 0
        for name, standard_name, units, step in (
            ("u", "eastward_wind", "m s-1", 0.01),
            ("v", "northward_wind", "m s-1", 0.01),
            ("z", "geopotential_height", "m", 1.0),
            ("t", "air_temperature", "K", 0.02),
            ("u10", "eastward_wind", "m s-1", 0.01),
            ("v10", "northward_wind", "m s-1", 0.01),
        ):
            near_ground = name.endswith("10")
            axes = ("time", "latitude", "longitude") if near_ground else ("time", "level", "latitude", "longitude")
            variable = file.createVariable(name, "i2", axes, zlib=True, complevel=9, shuffle=True)
            variable.standard_name, variable.units = standard_name, units
            # Steps small enough for what is stored, and round, so that the file is small.
            variable.scale_factor, variable.add_offset = step, 15_000.0 if name == "z" else 0.0 if near_ground or name in "uv" else 220.0
            if near_ground:
                variable.coordinates = "height"
            variable[:] = np.array(fields[name])
        height = file.createVariable("height", "f8", ())
        height.standard_name, height.units, height.positive = "height", "m", "up"
        height[...] = 10.0


# Towns that the invented roads join; places rounded, from memory.
TOWNS = {
    "Grand Rapids": (42.96, -85.67), "Lansing": (42.73, -84.56), "Kalamazoo": (42.29, -85.59),
    "Battle Creek": (42.32, -85.18), "Holland": (42.79, -86.11), "Muskegon": (43.23, -86.25),
    "Jackson": (42.25, -84.40), "Ann Arbor": (42.28, -83.74), "Flint": (43.01, -83.69),
    "Saginaw": (43.42, -83.95), "Mount Pleasant": (43.60, -84.77), "Big Rapids": (43.70, -85.48),
    "South Bend": (41.68, -86.25), "Fort Wayne": (41.08, -85.14), "Detroit": (42.33, -83.05),
    "Toledo": (41.66, -83.56), "Ionia": (42.99, -85.07), "Hastings": (42.65, -85.29),
    "Coldwater": (41.94, -85.00), "Alma": (43.38, -84.66),
}
ROADS = (
    ("motorway", ("Muskegon", "Grand Rapids", "Lansing", "Jackson")),
    ("motorway", ("Kalamazoo", "Battle Creek", "Jackson", "Ann Arbor", "Detroit")),
    ("motorway", ("Grand Rapids", "Kalamazoo")),
    ("motorway", ("Holland", "Grand Rapids")),
    ("motorway", ("Lansing", "Flint")),
    ("motorway", ("Battle Creek", "Lansing")),
    ("primary", ("Grand Rapids", "Big Rapids", "Mount Pleasant", "Alma", "Lansing")),
    ("primary", ("Flint", "Saginaw", "Alma")),
    ("primary", ("Kalamazoo", "South Bend", "Fort Wayne", "Coldwater", "Battle Creek")),
    ("primary", ("Kalamazoo", "Hastings", "Lansing")),
    ("primary", ("Hastings", "Ionia", "Alma")),
    ("primary", ("Coldwater", "Jackson")),
    ("primary", ("Toledo", "Ann Arbor", "Flint")),
    ("primary", ("Fort Wayne", "Toledo", "Detroit")),
)


def write_roads(path):
    """Straight lines between towns, and county roads every tenth of a degree between them."""
    lines = [(f"{kind} {a} - {b}", kind, [TOWNS[a], TOWNS[b]])
             for kind, towns in ROADS for a, b in zip(towns, towns[1:])]
    south, north, west, east = 41.3, 43.9, -86.0, -83.6
    for k in range(27):
        lat = round(south + k / 10, 1)
        lines.append((f"county road {lat} N", "tertiary", [(lat, west), (lat, east)]))
    for k in range(25):
        lon = round(west + k / 10, 1)
        lines.append((f"county road {-lon} W", "tertiary", [(south, lon), (north, lon)]))
    features = [
        {"type": "Feature", "properties": {"name": name, "class": kind, "invented": True},
         "geometry": {"type": "LineString", "coordinates": [[lon, lat] for lat, lon in ends]}}
        for name, kind, ends in lines
    ]
    body = ",\n".join(json.dumps(feature) for feature in features)
    with open(path, "w", encoding="utf-8") as file:
        file.write('{"type": "FeatureCollection", "features": [\n' + body + "\n]}\n")


if __name__ == "__main__":
    write_winds("invented-winds.nc")
    write_roads("invented-roads.geojson")
