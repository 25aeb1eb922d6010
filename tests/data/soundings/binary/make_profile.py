#!/usr/bin/env python3
"""Makes made_cf_profile.nc: a profile whose time and place stand once, the place along a dimension of a single value,
the time along none.

Python 3.11, nothing else: the classic format ("NetCDF Classic Format Specification", Unidata) written by hand.
"""
import struct

DIMENSIONS = [("profile", 1), ("z", 4)]
VARIABLES = [  # name, dimensions, standard name, units, values
    ("lat", [0], "latitude", "degrees_north", [39.42]),
    ("lon", [0], "longitude", "degrees_east", [-8.83]),
    ("time", [], "time", "seconds since 1970-01-01 00:00:00", [1_665_748_800.0]),  # 2022-10-14 12:00 UTC
    ("alt", [1], "altitude", "m", [100.0, 1500.0, 5600.0, 12000.0]),
    ("wind_speed", [1], "wind_speed", "m s-1", [3.0, 8.0, 15.0, 30.0]),
    ("wind_direction", [1], "wind_from_direction", "degree", [270.0, 280.0, 290.0, 300.0]),
]


def name(text):
    data = text.encode()
    return struct.pack(">i", len(data)) + data + b"\0" * (-len(data) % 4)


def attributes(pairs):
    return struct.pack(">ii", 12, len(pairs)) + b"".join(name(k) + struct.pack(">i", 2) + name(v) for k, v in pairs)


def header(begins):
    out = b"CDF\x01" + struct.pack(">i", 0)
    out += struct.pack(">ii", 10, len(DIMENSIONS)) + b"".join(name(n) + struct.pack(">i", s) for n, s in DIMENSIONS)
    out += attributes([("featureType", "profile")]) + struct.pack(">ii", 11, len(VARIABLES))
    for (text, along, standard, units, values), begin in zip(VARIABLES, begins):
        out += name(text) + struct.pack(f">i{len(along)}i", len(along), *along)
        out += attributes([("standard_name", standard), ("units", units)])
        out += struct.pack(">iii", 6, 8 * len(values), begin)
    return out


at, begins = len(header([0] * len(VARIABLES))), []
for variable in VARIABLES:
    begins.append(at)
    at += 8 * len(variable[4])
with open("made_cf_profile.nc", "wb") as made:
    made.write(header(begins) + b"".join(struct.pack(f">{len(v[4])}d", *v[4]) for v in VARIABLES))
