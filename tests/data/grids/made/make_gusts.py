#!/usr/bin/env python3
"""Makes gusts_*.grib*: invented winds at three times with the strongest gusts before two of them.

Python 3.11, eccodes 2.50.0. Gusts are 10 m/s at 3 h and 20 m/s at 6 h everywhere; there are none at 0 h.
"""
import eccodes
import numpy as np

STEPS = (0, 3, 6)


def field(edition, step, parameter, level, value, span=None):
    sample = "regular_ll_pl_grib2" if edition == 2 else "regular_ll_pl_grib1"
    h = eccodes.codes_grib_new_from_samples(sample)
    keys = {
        "centre": 98, "dataDate": 20240229, "dataTime": 0, "Ni": 4, "Nj": 3,
        "latitudeOfFirstGridPointInDegrees": 52, "latitudeOfLastGridPointInDegrees": 50,
        "longitudeOfFirstGridPointInDegrees": 4, "longitudeOfLastGridPointInDegrees": 7,
        "iDirectionIncrementInDegrees": 1, "jDirectionIncrementInDegrees": 1,
        "paramId": parameter,
    }
    for key, to in keys.items():
        eccodes.codes_set(h, key, to)
    if level is not None:
        eccodes.codes_set(h, "typeOfLevel", "isobaricInhPa")
        eccodes.codes_set(h, "level", level)
    elif edition == 1:
        eccodes.codes_set(h, "typeOfLevel", "surface")
    eccodes.codes_set(h, "stepRange", f"{step - span}-{step}" if span else str(step))
    eccodes.codes_set_values(h, np.full(12, float(value)))
    message = eccodes.codes_get_message(h)
    eccodes.codes_release(h)
    return message


def write(name, edition, parameter, span):
    with open(name, "wb") as out:
        for step in STEPS:
            for level, height in ((850, 1500.0), (500, 5600.0)):
                out.write(field(edition, step, 131, level, 5.0))
                out.write(field(edition, step, 132, level, -2.0))
                out.write(field(edition, step, 156, level, height))
            if step:
                out.write(field(edition, step, parameter, None, 10.0 * step / 3, span))


write("gusts_3h.grib2", 2, 228028, 3)
write("gusts_1h.grib2", 2, 49, 1)
write("gusts_since_last.grib1", 1, 49, None)
