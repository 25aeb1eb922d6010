"""A reduced Gaussian grid of GRIB 2 (32 rows of 20 to 80 points, octahedral), and points of it: what ecCodes
reads, linear along the row (numpy). Run with the folder to write to; appends to made_points.csv."""
import sys, numpy as np, eccodes as ec
OUT = sys.argv[1]; NAME = 'made_reduced.grib2'; LEVELS = (850, 500, 200, 50)
half = [16 + 4*i for i in range(1, 17)]; pl = half + half[::-1]
lat = np.degrees(np.arcsin(np.polynomial.legendre.leggauss(32)[0]))[::-1]
lats = np.repeat(lat, pl); lons = np.concatenate([360*np.arange(n)/n for n in pl])
s, c = np.sin(np.radians(lons)), np.cos(np.radians(2*lons)); f = np.cos(np.radians(lats))
def field(name, hpa):
    k = LEVELS.index(hpa) + 1
    return {'u': 5*k + 8*f*s + f*c, 'v': 3*f*c - k*s*f, 'gh': (1500, 5600, 11800, 20600)[k-1] + 200*f + 30*f*s}[name]
with open(f'{OUT}/{NAME}', 'wb') as out:
    for hpa in LEVELS:
        for name, (cat, num) in {'u': (2, 2), 'v': (2, 3), 'gh': (3, 5)}.items():
            h = ec.codes_grib_new_from_samples('reduced_gg_pl_32_grib2')
            for k, v in {'N': 16, 'Nj': 32, 'numberOfDataPoints': sum(pl), 'latitudeOfFirstGridPointInDegrees': lat[0], 'latitudeOfLastGridPointInDegrees': lat[-1],
                         'longitudeOfFirstGridPointInDegrees': 0, 'longitudeOfLastGridPointInDegrees': 360 - 360/80, 'dataDate': 20200314, 'dataTime': 0, 'stepRange': '0',
                         'parameterCategory': cat, 'parameterNumber': num, 'typeOfFirstFixedSurface': 100, 'level': hpa, 'bitsPerValue': 16}.items(): ec.codes_set(h, k, v)
            ec.codes_set_array(h, 'pl', pl); ec.codes_set_values(h, field(name, hpa)); ec.codes_write(h, out); ec.codes_release(h)
read = {}
with open(f'{OUT}/{NAME}', 'rb') as fh:
    while (h := ec.codes_grib_new_from_file(fh)) is not None:
        g = lambda k: ec.codes_get(h, k)
        assert g('gridType') == 'reduced_gg' and list(ec.codes_get_array(h, 'pl')) == pl
        read[g('shortName'), g('level')] = (ec.codes_get_array(h, 'latitudes'), ec.codes_get_array(h, 'longitudes'), ec.codes_get_values(h)); ec.codes_release(h)
rng = np.random.default_rng(3)
with open(f'{OUT}/made_points.csv', 'a') as out:
    for hpa in LEVELS:
        for _ in range(4):
            row, col = int(rng.integers(9, 23)), int(rng.integers(0, 80)); lon = 360*col/80
            def at(name):
                la, lo, v = read[name, hpa]; mine = np.abs(la - lat[row]) < 1e-3
                return np.interp(lon, lo[mine], v[mine], period=360)
            out.write(f'{NAME},{hpa},{lat[row]:.6f},{lon - 360 if lon > 180 else lon:.6f},{at("u"):.9g},{at("v"):.9g},{at("gh"):.9g}\n')
