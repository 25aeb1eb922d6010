#!/usr/bin/env python3
"""Reference tables for the gridded-forecast readers, made by independent decoders.

    python reference.py GRIDS_FOLDER [OUT_FOLDER]

GRIB files are decoded by ecCodes, NetCDF files by netCDF4/xarray, projections by
pyproj. Nothing here uses the program under test. One function per table; the
columns are described in README.md beside the tables.
"""

import csv
import datetime as dt
import math
import os
import sys

import pyproj  # before eccodes: both carry PROJ, the other order crashes at exit
import eccodes as ec
import netCDF4
import numpy as np
import xarray as xr

G0 = 9.80665  # m s-2, standard gravity: geopotential -> geopotential metres
MISSING = -1e34  # told to ecCodes, because its default 9999 is also a possible height

PORTUGAL = {  # file -> (time dimension, level dimension, site, times)
    "era5_portugal_20221013_17.nc": (
        "valid_time", "pressure_level", (39.39, -8.29),
        ["2022-10-13T10:00:00", "2022-10-14T12:20:00", "2022-10-15T13:00:00",
         "2022-10-16T16:40:00", "2022-10-17T17:00:00"]),
    "era5_portugal_2023.nc": (
        "time", "level", (39.75, -8.85),
        ["2023-10-12T08:00:00", "2023-10-13T12:20:00", "2023-10-14T15:00:00",
         "2023-10-14T09:47:30", "2023-10-15T18:00:00"]),
}
ALTITUDES = [500, 1500, 3000, 5000, 8000, 12000, 16000, 20000, 25000, 30000, 35000]
GFS_SITES = {
    "gfs_0p25_western_europe_20200314_00z.grib2": [(47.3, -0.1), (47.3, 0.1), (50.9, 8.9)],
    "gfs_2p5_global_20170322_00z.grib2": [
        (10.0, 179.3), (10.0, -179.3), (10.0, -0.7), (88.9, 40.0), (-89.2, -120.0)],
}
NAM = "nam_lambert_20180917_00z.grib2"
POLAR = "polar_stereographic_20200125_12z.grib2"
UNSUPPORTED = "rotated_latlon_unsupported.grib2"


# ---------------------------------------------------------------- small helpers

def num(x):
    """A number with 9 significant digits; empty when missing."""
    return "" if x is None or (isinstance(x, float) and math.isnan(x)) else f"{float(x):.9g}"


def iso(t):
    return t.strftime("%Y-%m-%dT%H:%M:%SZ")


def west(lon):
    """Longitude in -180 <= lon < 180."""
    return (lon + 180.0) % 360.0 - 180.0


def degrees(x):
    """A coordinate: rounded to 1e-9 degree first (ecCodes steps to -2e-13 for 0)."""
    return num(round(float(x), 9) + 0.0)


def write(out, name, header, rows):
    with open(os.path.join(out, name), "w", newline="") as f:
        w = csv.writer(f, lineterminator="\n")
        w.writerow(header)
        w.writerows(rows)
    print(f"{name}: {len(rows)} rows, {os.path.getsize(os.path.join(out, name))} bytes")


def grib_files(grids):
    """Names of the GRIB files, relative to the folder, in a fixed order."""
    top = sorted(n for n in os.listdir(grids) if ".grib" in n)
    return top + ["repacked/" + n for n in sorted(os.listdir(grids + "/repacked"))]


def netcdf_files(grids):
    return sorted(n for n in os.listdir(grids) if n.endswith(".nc"))


# ---------------------------------------------------------------- GRIB by ecCodes

def get(h, key, default=None):
    return ec.codes_get(h, key) if ec.codes_is_defined(h, key) else default


def moment(h, date, time):
    d, t = ec.codes_get(h, date), ec.codes_get(h, time)
    return dt.datetime(d // 10000, d // 100 % 100, d % 100, t // 100, t % 100)


class Field:
    """What the tables need from one field; the values stay in the handle."""

    def __init__(self, h, index):
        self.h, self.index = h, index
        self.edition = ec.codes_get(h, "edition")
        self.name = ec.codes_get(h, "shortName")
        self.level_type = ec.codes_get(h, "typeOfLevel")
        self.level = ec.codes_get(h, "level")
        self.run = moment(h, "dataDate", "dataTime")
        self.valid = moment(h, "validityDate", "validityTime")
        self.instant = ec.codes_get(h, "stepType") == "instant"
        self.grid = ec.codes_get(h, "gridType")
        self.offset = ec.codes_get(h, "offset")
        if self.edition == 2:
            self.packing = "5.%d" % ec.codes_get(h, "dataRepresentationTemplateNumber")
            self.parameter = "%d.%d.%d" % tuple(
                ec.codes_get(h, k) for k in ("discipline", "parameterCategory", "parameterNumber"))
        else:
            self.packing = ec.codes_get(h, "packingType")
            self.parameter = "%d.%d" % (ec.codes_get(h, "table2Version"),
                                        ec.codes_get(h, "indicatorOfParameter"))
        # An ensemble member only where the file says the ensemble has members
        # (the deterministic 10 degree file carries number 0 of 0).
        n = get(h, "number")
        self.member = n if n is not None and get(h, "totalNumber", 0) > 0 else None

    def values(self):
        ec.codes_set(self.h, "missingValue", MISSING)
        v = ec.codes_get_array(self.h, "values").astype(float)
        v[v == MISSING] = np.nan
        return v

    def lats_lons(self):
        return (ec.codes_get_array(self.h, "latitudes"),
                np.array([west(x) for x in ec.codes_get_array(self.h, "longitudes")]))

    def key(self):
        """(level type of the program, level in Pa or m) or None."""
        if self.level_type == "isobaricInhPa":
            return "isobaric", self.level * 100
        if self.level_type == "surface":
            return "ground", 0
        if self.level_type == "heightAboveGround":
            return "above_ground", self.level
        return None

    def si(self, values):
        """Values and unit as the tables give them: gpm, share, else as in the file."""
        if self.name == "z":
            return values / G0, "gpm"
        if self.name in ("gh", "orog"):
            return values, "gpm"
        if self.name in ("r", "2r"):
            return values / 100.0, "1"
        return values, ec.codes_get(self.h, "units").replace("**", "")


def fields(path):
    """All fields of a GRIB file, the fields of a multi-field message one by one."""
    ec.codes_grib_multi_support_on()
    with open(path, "rb") as f:
        index = 0
        while (h := ec.codes_grib_new_from_file(f)) is not None:
            try:
                yield Field(h, index)
            finally:
                ec.codes_release(h)
            index += 1


# ---------------------------------------------------------------- choosing samples

def spread(levels):
    """Low, middle and high of a list of levels, without repeats."""
    s = sorted(levels)
    return list(dict.fromkeys([s[0], s[len(s) // 2], s[-1]])) if s else []


def choose(keys):
    """Choose about a dozen of a file's fields.

    keys: list of (index, name, (level type, level), stamp), stamp = (run, valid, member).
    Takes height, t, u, v at three levels, each level at another stamp where the file
    has several, relative humidity at one level, and what there is at the ground.
    """
    iso_keys = [k for k in keys if k[2][0] == "isobaric" and k[1] in ("gh", "z", "t", "u", "v")]
    stamps = sorted({k[3] for k in iso_keys}, key=lambda s: (s[0], s[1], s[2] or 0))
    most = {}
    for k in iso_keys:
        most.setdefault(k[2][1], set()).add(k[1])
    top = max((len(s) for s in most.values()), default=0)
    levels = spread([lv for lv, s in most.items() if len(s) == top])
    picked_stamps = [stamps[0], stamps[-1], stamps[len(stamps) // 2]] if stamps else []
    chosen = set()
    for i, lv in enumerate(levels):
        for name in ("gh", "z", "t", "u", "v"):
            hits = [k for k in iso_keys if k[1] == name and k[2][1] == lv]
            exact = [k for k in hits if k[3] == picked_stamps[i]]
            chosen.update(k[0] for k in (exact or hits)[:1])
    if len(stamps) > 1 and len(levels) < 3 or len(levels) == 1:
        # few levels: the last stamp once more at every level
        for k in iso_keys:
            if k[2][1] in levels and k[3] in (stamps[-1], stamps[len(stamps) // 2]):
                chosen.add(k[0])
    humid = [k for k in keys if k[1] == "r" and k[2][0] == "isobaric"]
    chosen.update(k[0] for k in humid[len(humid) // 2:][:1])
    ground = {}
    for k in keys:  # first and last of each name at the ground
        if k[1] in ("10u", "10v", "2t", "sp", "orog", "sde"):
            ground.setdefault(k[1], []).append(k)
    for ks in ground.values():
        chosen.update({ks[0][0], ks[-1][0]})
    return sorted(chosen)


def sample_points(lats, lons, shape):
    """Flat indices of four grid points: first, last, one inside, one of interest."""
    nj, ni = shape
    inside = (int(nj * 0.3), int(ni * 0.4))
    la, lo = lats.reshape(shape), lons.reshape(shape)
    if lo.min() < 0 <= lo.max():  # crosses Greenwich: the point just west of it
        d = np.where(lo < 0, -lo, 999) + abs(la - la[nj // 2, ni // 2]) * 1e-3
    else:  # otherwise the corner at the end of the first row
        d = np.full(shape, 1.0)
        d[0, ni - 1] = 0.0
    if lo.max() - lo.min() > 350 and la.max() - la.min() < 100:  # polar: at the antimeridian
        d = 180 - abs(lo) + abs(la - 70) * 1e-2
    of_interest = np.unravel_index(int(np.argmin(d)), shape)
    return list(dict.fromkeys(
        [0, nj * ni - 1, inside[0] * ni + inside[1], int(of_interest[0]) * ni + int(of_interest[1])]))


# ---------------------------------------------------------------- 1. points.csv

POINTS = ["file", "index", "time_index", "name", "level_type", "level", "run", "valid",
          "member", "lat", "lon", "value", "units"]


def points(grids, out):
    rows = []
    for name in grib_files(grids):
        if name == UNSUPPORTED:
            continue
        path = f"{grids}/{name}"
        keys = [(f.index, f.name, f.key(), (f.run, f.valid, f.member))
                for f in fields(path) if f.key() and f.instant]
        chosen = choose(keys)
        if name.startswith("repacked/"):  # same field set six times: a few are enough
            chosen = chosen[::2][:5] + [64]
        at = None
        for f in fields(path):
            if f.index not in chosen:
                continue
            if at is None:
                lats, lons = f.lats_lons()
                at = sample_points(lats, lons, (get(f.h, "Ny"), get(f.h, "Nx")))
            values, units = f.si(f.values())
            here = list(at)
            if f.name == "sde":  # field with a bitmap: one point without, one with a value
                here = [int(np.argmax(np.isnan(values))), int(np.argmax(~np.isnan(values)))]
            level_type, level = f.key()
            for p in here:
                rows.append([name, f.index, "", f.name, level_type, level, iso(f.run), iso(f.valid),
                             "" if f.member is None else f.member, degrees(lats[p]), degrees(lons[p]),
                             num(values[p]), units])
    rows += [r for name in netcdf_files(grids) for r in netcdf_points(grids, name)]
    write(out, "points.csv", POINTS, rows)


# NetCDF variable -> (short name, level type, level in m or None for isobaric, units)
NETCDF_NAMES = {
    "z": ("z", "isobaric", None, "gpm"), "t": ("t", "isobaric", None, "K"),
    "u": ("u", "isobaric", None, "m s-1"), "v": ("v", "isobaric", None, "m s-1"),
    "Geopotential_height_isobaric": ("gh", "isobaric", None, "gpm"),
    "Temperature_isobaric": ("t", "isobaric", None, "K"),
    "u-component_of_wind_isobaric": ("u", "isobaric", None, "m s-1"),
    "v-component_of_wind_isobaric": ("v", "isobaric", None, "m s-1"),
    "Relative_humidity_isobaric": ("r", "isobaric", None, "1"),
    "u-component_of_wind_height_above_ground": ("10u", "above_ground", 10, "m s-1"),
    "v-component_of_wind_height_above_ground": ("10v", "above_ground", 10, "m s-1"),
    "Temperature_height_above_ground": ("2t", "above_ground", 2, "K"),
}


def netcdf_axes(d, var):
    """Times (datetime or None), pressures in Pa, latitudes, longitudes of a 4-D variable."""
    tdim, ldim, ydim, xdim = d.variables[var].dimensions
    t = d.variables[tdim]
    times = [None] * len(t)
    if "units" in t.ncattrs():
        cal = getattr(t, "calendar", "standard")
        times = [dt.datetime(*x.timetuple()[:6])
                 for x in netCDF4.num2date(t[:], t.units.replace("Hour since", "hours since"), cal)]
    lev = d.variables[ldim]
    scale = {"hPa": 100, "millibars": 100, "Pa": 1, "m": 1}[lev.units]
    return (times, [float(x) * scale for x in lev[:]],
            np.asarray(d.variables[ydim][:], float),
            np.array([west(x) for x in np.asarray(d.variables[xdim][:], float)]))


def netcdf_points(grids, name):
    rows = []
    with netCDF4.Dataset(f"{grids}/{name}") as d:
        for var, (short, level_type, fixed, units) in NETCDF_NAMES.items():
            if var not in d.variables:
                continue
            times, levels, lats, lons = netcdf_axes(d, var)
            shape = (len(lats), len(lons))
            grid_lat, grid_lon = np.meshgrid(lats, lons, indexing="ij")
            at = sample_points(grid_lat.ravel(), grid_lon.ravel(), shape)
            picks = [(0, 0)]
            if level_type == "isobaric":
                n = len(levels)
                picks = [(0, 0), (len(times) - 1, n // 2), (len(times) // 2, n - 1)]
                if short == "r":
                    picks = picks[1:2]
            for it, il in picks:
                # netCDF4 applies scale_factor and add_offset in float64
                plane = np.ma.filled(np.ma.asarray(d.variables[var][it, il], float), np.nan).ravel()
                plane = plane / G0 if short == "z" else plane / 100 if short == "r" else plane
                for p in at:
                    rows.append([name, "", it, short, level_type,
                                 fixed if fixed is not None else num(levels[il]), "",
                                 iso(times[it]) if times[it] else "", "",
                                 degrees(grid_lat.ravel()[p]), degrees(grid_lon.ravel()[p]),
                                 num(plane[p]), units])
    return rows


# ---------------------------------------------------------------- 2. field_sums.csv

def stride(name, count):
    """Which fields of a file are listed one by one, to keep the table small."""
    if name.startswith("gfs_2p5"):
        return 8
    if name.startswith("repacked/"):
        return 5  # the order is gh, t, u, v at each level: 5 meets all four
    return 1 if count < 50 else 2 if count < 100 else 5 if name == NAM else 7


def field_sums(grids, out):
    """field_sums.csv (some fields) and field_groups.csv (all isobaric fields, summed up)."""
    rows, groups = [], []
    for name in grib_files(grids):
        if name == UNSUPPORTED:
            continue
        path = f"{grids}/{name}"
        count = sum(1 for _ in fields(path))
        group = {}
        for f in fields(path):
            listed = f.index % stride(name, count) == 0
            grouped = f.level_type == "isobaricInhPa"
            if not (listed or grouped):
                continue
            v = f.values()
            good = v[~np.isnan(v)]
            stats = (good.mean(), good.min(), good.max()) if len(good) else (None,) * 3
            if listed:
                rows.append([name, f.index, f.name, f.parameter, f.level_type, f.level, iso(f.valid),
                             "" if f.member is None else f.member, f.packing, len(v),
                             len(v) - len(good), *map(num, stats)])
            if grouped:
                g = group.setdefault(f.name, [0, 0, 0, 0.0, math.inf, -math.inf])
                g[0] += 1
                g[1] += len(v)
                g[2] += len(v) - len(good)
                g[3] += float(good.sum())
                g[4], g[5] = min(g[4], good.min()), max(g[5], good.max())
        for short, (n, total, missing, s, lo, hi) in group.items():
            groups.append([name, short, n, total, missing, num(s / (total - missing)), num(lo), num(hi)])
    write(out, "field_sums.csv", ["file", "index", "shortName", "parameter", "typeOfLevel", "level",
                                  "valid", "member", "packing", "points", "missing", "mean", "min",
                                  "max"], rows)
    write(out, "field_groups.csv", ["file", "shortName", "fields", "points", "missing", "mean", "min",
                                    "max"], groups)


# ---------------------------------------------------------------- 3. projections

def projection(h):
    """The PROJ string of the grid, written from the keys of the file by hand."""
    assert ec.codes_get(h, "shapeOfTheEarth") == 6  # sphere of 6371229 m
    if ec.codes_get(h, "gridType") == "lambert":
        return ("+proj=lcc +lat_1={:g} +lat_2={:g} +lat_0={:g} +lon_0={:g} +R=6371229 +units=m".format(
            *(ec.codes_get(h, k + "InDegrees") for k in ("Latin1", "Latin2", "LaD")),
            west(ec.codes_get(h, "LoVInDegrees"))))
    return "+proj=stere +lat_0=90 +lat_ts={:g} +lon_0={:g} +R=6371229 +units=m".format(
        ec.codes_get(h, "LaDInDegrees"), west(ec.codes_get(h, "orientationOfTheGridInDegrees")))


def corners(grids, out, name, table):
    """Corner coordinates by ecCodes and by pyproj."""
    every = fields(f"{grids}/{name}")
    f = next(every)  # its handle lives until the next field is asked for
    nj, ni = ec.codes_get(f.h, "Ny"), ec.codes_get(f.h, "Nx")
    lats, lons = (a.reshape(nj, ni) for a in f.lats_lons())
    string = projection(f.h)
    p = pyproj.Proj(string)
    x0, y0 = p(west(ec.codes_get(f.h, "longitudeOfFirstGridPointInDegrees")),
               ec.codes_get(f.h, "latitudeOfFirstGridPointInDegrees"))
    dx, dy = ec.codes_get(f.h, "DxInMetres"), ec.codes_get(f.h, "DyInMetres")
    rows = []
    for j, i in [(0, 0), (0, ni - 1), (nj - 1, 0), (nj - 1, ni - 1), (nj // 2, ni // 2)]:
        lon, lat = p(x0 + i * dx, y0 + j * dy, inverse=True)
        rows.append([j, i, num(lats[j, i]), num(lons[j, i]), num(lat), num(west(lon)), string])
    write(out, table, ["row", "column", "lat_eccodes", "lon_eccodes", "lat_pyproj", "lon_pyproj",
                       "proj"], rows)
    for f in every:  # read to the end, so that ecCodes drops what it keeps of the file
        pass


def rotation(grids, out, name, wanted, places, table):
    """Wind turned from the grid's axes to true east and north.

    angle a = n (lon - lon_0), n = sin(Latin1) for the tangent cone, 1 for the polar plane
        u_true =  u_grid cos a + v_grid sin a
        v_true = -u_grid sin a + v_grid cos a
    a > 0 east of lon_0: there true north lies to the left (west) of the grid's y axis.
    """
    got, p = {}, None
    for f in fields(f"{grids}/{name}"):
        if (f.name, f.level) in wanted and f.name not in got:
            got[f.name] = f.values()
            if p is None:
                lats, lons = f.lats_lons()
                shape = ec.codes_get(f.h, "Ny"), ec.codes_get(f.h, "Nx")
                p = pyproj.Proj(projection(f.h))
                if f.grid == "lambert":
                    n = math.sin(math.radians(ec.codes_get(f.h, "Latin1InDegrees")))
                    lon_0 = ec.codes_get(f.h, "LoVInDegrees")
                else:
                    n, lon_0 = 1.0, ec.codes_get(f.h, "orientationOfTheGridInDegrees")
    rows = []
    for j, i in places:
        k = j * shape[1] + i
        u, v = (got[w[0]][k] for w in wanted)
        a = math.radians(n * west(lons[k] - lon_0))
        # the same angle by finite difference: the direction of a small step to true north
        e = 1e-4
        x1, y1 = p(lons[k], lats[k] - e)
        x2, y2 = p(lons[k], lats[k] + e)
        fd = math.atan2(-(x2 - x1), y2 - y1)
        rows.append([j, i, num(lats[k]), num(lons[k]), num(u), num(v),
                     num(u * math.cos(a) + v * math.sin(a)), num(-u * math.sin(a) + v * math.cos(a)),
                     num(math.degrees(a)), num(math.degrees(fd)), "%.2g" % math.degrees(a - fd)])
    write(out, table, ["row", "column", "lat", "lon", "u_grid", "v_grid", "u_true", "v_true",
                       "angle_deg", "angle_pyproj_deg", "difference_deg"], rows)


# ---------------------------------------------------------------- 4. portugal_columns.csv

def portugal_columns(grids, out):
    """Columns by xarray: linear in latitude, longitude and time at each pressure level."""
    rows = []
    for name, (tdim, ldim, (lat, lon), times) in PORTUGAL.items():
        with xr.open_dataset(f"{grids}/{name}") as d:
            d = d[["z", "t", "u", "v"]].astype("float64")
            d = d.assign_coords(latitude=d.latitude.astype("float64"),
                                longitude=d.longitude.astype("float64"))
            for t in times:
                c = d.interp({"latitude": lat, "longitude": lon, tdim: np.datetime64(t, "ns")},
                             method="linear").sortby(ldim, ascending=False)
                for p, z, tt, u, v in zip(*(c[k].values for k in (ldim, "z", "t", "u", "v"))):
                    rows.append([name, t + "Z", num(lat), num(lon), num(p * 100), num(z / G0),
                                 num(tt), num(u), num(v)])
    write(out, "portugal_columns.csv", ["file", "time", "lat", "lon", "pressure_pa", "height_gpm",
                                        "t_k", "u_m_s", "v_m_s"], rows)


# ---------------------------------------------------------------- 5. and 6. at altitudes

def geometric(h, lat):
    """Geometric altitude (m) of geopotential height h (gpm) at a latitude (degrees)."""
    s2 = math.sin(math.radians(lat)) ** 2
    gamma = 9.780325 * (1 + 0.00193185 * s2) / math.sqrt(1 - 0.00669435 * s2)
    g = gamma / G0
    r = 6378137.0 / (1.006803 - 0.006706 * s2)
    return r * h / (g * r - h)


def column_at(h, values, lat, altitude):
    """Linear in geometric altitude within one grid column; nan outside it."""
    z = geometric(h, lat)
    order = np.argsort(z)
    z = z[order]
    assert (np.diff(z) > 0).all()
    if not z[0] <= altitude <= z[-1]:
        return np.full(len(values), np.nan)
    return np.array([np.interp(altitude, z, v[order]) for v in values])


def bracket(axis, x, period=None):
    """Indices of the two neighbours of x on a regular axis, and the share of the second."""
    step, last = axis[1] - axis[0], len(axis) - 1
    pos = ((x - axis[0]) % period if period else x - axis[0]) / step
    wraps = period and abs(len(axis) * step - period) < 1e-6 * period
    if pos < 0 or pos > last and not wraps:
        raise ValueError("outside the grid")
    i = int(math.floor(pos))
    return i, (i + 1) % (last + 1), pos - i


def at_altitude(planes, lats, lons, lat, lon, altitude):
    """planes: height (gpm), u, v, t as [level, lat, lon]; returns u, v, t."""
    j0, j1, wj = bracket(lats, lat)
    i0, i1, wi = bracket(lons, lon, 360.0)
    h, rest = planes[0], planes[1:]
    total = np.zeros(3)
    for j, a in ((j0, 1 - wj), (j1, wj)):
        for i, b in ((i0, 1 - wi), (i1, wi)):
            if a * b > 0:
                total += a * b * column_at(h[:, j, i], [x[:, j, i] for x in rest], lats[j], altitude)
    return total


ALTITUDE_COLUMNS = ["file", "time", "lat", "lon", "altitude_m", "u_m_s", "v_m_s", "t_k"]


def portugal_altitudes(grids, out):
    rows = []
    for name, (tdim, _, (lat, lon), times) in PORTUGAL.items():
        with netCDF4.Dataset(f"{grids}/{name}") as d:
            stamps, _, lats, lons = netcdf_axes(d, "z")
            seconds = np.array([(s - dt.datetime(1970, 1, 1)).total_seconds() for s in stamps])
            data = [np.ma.filled(d.variables[k][:].astype(float), np.nan) for k in "zuvt"]
            data[0] = data[0] / G0
        for t in times:
            x = (dt.datetime.fromisoformat(t) - dt.datetime(1970, 1, 1)).total_seconds()
            k = min(max(int(np.searchsorted(seconds, x, side="right")) - 1, 0), len(seconds) - 2)
            w = (x - seconds[k]) / (seconds[k + 1] - seconds[k])
            for z in ALTITUDES:
                first, second = (at_altitude([a[n] for a in data], lats, lons, lat, lon, z)
                                 for n in (k, k + 1))
                # at an exact step only that step counts
                r = first if w == 0 else second if w == 1 else (1 - w) * first + w * second
                rows.append([name, t + "Z", num(lat), num(lon), z, *map(num, r)])
    write(out, "portugal_altitudes.csv", ALTITUDE_COLUMNS, rows)


def gfs_altitudes(grids, out):
    rows = []
    for name, sites in GFS_SITES.items():
        got = {}
        for f in fields(f"{grids}/{name}"):
            if f.level_type == "isobaricInhPa" and f.name in ("gh", "u", "v", "t"):
                nj, ni = ec.codes_get(f.h, "Ny"), ec.codes_get(f.h, "Nx")
                got[f.name, f.level] = f.values().reshape(nj, ni)
                if len(got) == 1:
                    lats, lons = (a.reshape(nj, ni) for a in f.lats_lons())
                    lats, lons = lats[:, 0], np.unwrap(lons[0], period=360)
                    valid = f.valid
        levels = sorted({lv for _, lv in got if all((n, lv) in got for n in ("gh", "u", "v", "t"))})
        planes = [np.array([got[n, lv] for lv in levels]) for n in ("gh", "u", "v", "t")]
        for lat, lon in sites:
            for z in ALTITUDES:
                r = at_altitude(planes, lats, lons, lat, lon, z)
                rows.append([name, iso(valid), num(lat), num(lon), z, *map(num, r)])
    write(out, "gfs_altitudes.csv", ALTITUDE_COLUMNS, rows)


# ---------------------------------------------------------------- 7. inventory.csv

INVENTORY = ["file", "edition", "messages", "fields", "grid_type", "ni", "nj", "lat_first", "lon_first",
             "lat_last", "lon_last", "scanning_mode", "uv_relative_to_grid", "complete_levels_hpa",
             "isobaric_levels", "runs", "valid_times", "members"]


def inventory(grids, out):
    rows = []
    for name in grib_files(grids):
        starts, count, have, every = set(), 0, {}, set()
        runs, valids, members, row = set(), set(), set(), None
        for f in fields(f"{grids}/{name}"):
            count += 1
            # fields of one multi-field message share its start in the file
            starts.add(f.offset)
            runs.add(iso(f.run))
            valids.add(iso(f.valid))
            if f.member is not None:
                members.add(f.member)
            if f.level_type == "isobaricInhPa":
                every.add(f.level)
                have.setdefault(f.level, set()).add("h" if f.name in ("gh", "z") else f.name)
            if row is None:
                lats, lons = f.lats_lons()
                flags = ec.codes_get(f.h, "resolutionAndComponentFlags")
                row = [f.grid, ec.codes_get(f.h, "Nx"), ec.codes_get(f.h, "Ny"), num(lats[0]),
                       num(lons[0]), num(lats[-1]), num(lons[-1]), ec.codes_get(f.h, "scanningMode"),
                       int(bool(flags & 8))]
                edition = f.edition
        complete = sorted((lv for lv, s in have.items() if {"h", "u", "v", "t"} <= s), reverse=True)
        rows.append([name, f"grib{edition}", len(starts), count, *row,
                     " ".join(map(str, complete)), len(every), " ".join(sorted(runs)),
                     " ".join(sorted(valids)), " ".join(map(str, sorted(members)))])
    for name in netcdf_files(grids):
        with netCDF4.Dataset(f"{grids}/{name}") as d:
            names = {NETCDF_NAMES[v][0].replace("gh", "h").replace("z", "h"): v
                     for v in d.variables if v in NETCDF_NAMES}
            var = names["u"]
            times, levels, lats, lons = netcdf_axes(d, var)
            complete = sorted(levels, reverse=True) if {"h", "u", "v", "t"} <= set(names) else []
            rows.append([name, d.data_model.lower(), "", "", "regular_ll", len(lons), len(lats),
                         num(lats[0]), num(lons[0]), num(lats[-1]), num(lons[-1]), "", "",
                         " ".join(num(p / 100) for p in complete), len(levels), "",
                         " ".join(iso(t) for t in times if t), ""])
    write(out, "inventory.csv", INVENTORY, rows)


def main():
    grids = sys.argv[1].rstrip("/")
    out = sys.argv[2] if len(sys.argv) > 2 else os.path.dirname(os.path.abspath(__file__))
    print("eccodes", ec.codes_get_api_version(), "pyproj", pyproj.__version__, "PROJ",
          pyproj.proj_version_str, "netCDF4", netCDF4.__version__, "libnetcdf",
          netCDF4.__netcdf4libversion__, "xarray", xr.__version__, "numpy", np.__version__)
    inventory(grids, out)
    points(grids, out)
    field_sums(grids, out)
    corners(grids, out, NAM, "nam_corners.csv")
    corners(grids, out, POLAR, "polar_corners.csv")
    rotation(grids, out, NAM, [("u", 500), ("v", 500)], [(12, 15), (32, 46), (50, 80)],
             "nam_rotation.csv")
    rotation(grids, out, POLAR, [("10u", 10), ("10v", 10)], [(40, 50), (150, 30), (120, 220)],
             "polar_rotation.csv")
    portugal_columns(grids, out)
    portugal_altitudes(grids, out)
    gfs_altitudes(grids, out)


if __name__ == "__main__":
    main()
