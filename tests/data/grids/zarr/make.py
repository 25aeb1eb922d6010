#!/usr/bin/env python3
"""Makes the Zarr stores beside it: python make.py (written with zarr 3.1.6, xarray 2026.9.0, numpy).

Two hold the first twelve hours of ../era5_portugal_20221013_17.nc, values unchanged; the others are
invented, with the formula of `wind` below, which tests/zarr.rs repeats.
"""
import shutil
from pathlib import Path

import numcodecs
import numpy as np
import xarray as xr
import zarr
from zarr.codecs import BytesCodec, Crc32cCodec, ShardingCodec, TransposeCodec, ZstdCodec

HERE = Path(__file__).parent
HOURS = 12


def real():
    with xr.open_dataset(HERE.parent / "era5_portugal_20221013_17.nc") as whole:
        part = whole[["u", "v", "z", "t"]].isel(valid_time=slice(0, HOURS)).load()
    part = part.drop_vars(["expver", "number"], errors="ignore")
    for name in part.variables:
        part[name].encoding = {}
    fields = ["u", "v", "z", "t"]
    blosc = numcodecs.Blosc(cname="lz4", clevel=9, shuffle=numcodecs.Blosc.SHUFFLE)
    packed = {n: {"compressors": [blosc], "chunks": (6, 37, 3, 5)} for n in fields}
    write(part, "era5_v2_blosc", packed, 2)
    sharded = {
        n: {"compressors": [zarr.codecs.BloscCodec(cname="zstd", clevel=9, shuffle="shuffle")],
            "chunks": (1, 37, 5, 5), "shards": (4, 37, 5, 5)}
        for n in fields
    }
    write(part, "era5_v3_sharded", sharded, 3)


def write(data, name, encoding, version):
    folder = HERE / name
    shutil.rmtree(folder, ignore_errors=True)
    data.to_zarr(folder, zarr_format=version, encoding=encoding, consolidated=False)


TIMES = np.array([0, 6, 12])
LEVELS = np.array([1000.0, 500.0, 100.0])
LATS = np.array([52.0, 51.0, 50.0, 49.0, 48.0])
LONS = np.array([357.0, 358.0, 359.0, 0.0, 1.0, 2.0])


def wind(quantity):
    """The invented field: hundredths, so that packed numbers hold them."""
    k, l, j, i = np.meshgrid(*(np.arange(n) for n in (3, 3, 5, 6)), indexing="ij")
    if quantity == "z":
        return np.array([100.0, 5500.0, 16000.0])[l] + k + j + i
    sign = 1 if quantity == "u" else -1
    return sign * (1.0 + 10.0 * l + k + 0.25 * j + 0.5 * i)


ATTRIBUTES = {
    "u": {"standard_name": "eastward_wind", "units": "m s-1"},
    "v": {"standard_name": "northward_wind", "units": "m s-1"},
    "z": {"standard_name": "geopotential_height", "units": "m"},
    "time": {"standard_name": "time", "units": "hours since 2024-02-29 00:00:00"},
    "level": {"standard_name": "air_pressure", "units": "hPa"},
    "lat": {"standard_name": "latitude", "units": "degrees_north"},
    "lon": {"standard_name": "longitude", "units": "degrees_east"},
}
COORDINATES = {"time": TIMES, "level": LEVELS, "lat": LATS, "lon": LONS}
DIMENSIONS = ("time", "level", "lat", "lon")


def invented(name, version, make):
    """A store with packed winds; `make` says how an array is kept."""
    folder = HERE / name
    shutil.rmtree(folder, ignore_errors=True)
    group = zarr.create_group(folder, zarr_format=version)

    def add(key, values, dimensions, how):
        if version == 2:
            array = group.create_array(key, shape=values.shape, dtype=values.dtype, **how)
            array.attrs["_ARRAY_DIMENSIONS"] = list(dimensions)
        else:
            array = group.create_array(key, shape=values.shape, dtype=values.dtype,
                                       dimension_names=dimensions, **how)
        array.attrs.update(ATTRIBUTES[key])
        array[...] = values
        return array

    for key, values in COORDINATES.items():
        # One value a chunk: hour 0 is the fill value, and its chunk is not written.
        add(key, values, (key,), {"chunks": (1,) if key == "time" else values.shape})
    for key in ("u", "v", "z"):
        values, attributes, how = make(key, wind(key))
        array = add(key, values, DIMENSIONS, how)
        array.attrs.update(attributes)


def packed(key, values):
    """Sharded, transposed within the shard, with checksums; v is not stored at hour 12."""
    if key == "z":
        return values, {}, {"chunks": (1, 3, 5, 6)}
    stored = np.round(values / 0.01).astype("i2")
    if key == "v":
        stored[2] = -32768
    inner = [TransposeCodec(order=(3, 2, 1, 0)), BytesCodec(), ZstdCodec(level=9), Crc32cCodec()]
    sharding = ShardingCodec(chunk_shape=(1, 1, 2, 3), codecs=inner)
    how = {"chunks": (1, 3, 6, 6), "serializer": sharding, "compressors": None, "fill_value": -32768}
    return stored, {"scale_factor": 0.01, "add_offset": 0.0, "_FillValue": -32768}, how


def old(key, values):
    """Version 2: zlib, big-endian, column by column, folders within folders; a chunk of z is missing."""
    how = {
        "chunks": (2, 2, 3, 4), "order": "F", "compressors": numcodecs.Zlib(level=9),
        "fill_value": -9999.0, "chunk_key_encoding": {"name": "v2", "separator": "/"},
    }
    values = values.astype(">f4")
    if key == "z":
        values[2, 2, :2] = -9999.0
        values[:2, :2, 3:, 4:] = -9999.0
    return values, {}, how


if __name__ == "__main__":
    real()
    invented("invented_v3_shards", 3, packed)
    invented("invented_v2_zlib", 2, old)
