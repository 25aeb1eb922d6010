"""Makes small forecast files on other grids and in other conventions from a real GFS analysis, and
a table of what must be read from them.

    python3 make_made.py GFS_FILE OUT_FOLDER

eccodes 2.50 (library 2.50), netCDF4, numpy. The winds of `gfs_0p25_western_europe_20200314_00z.grib2`
are brought to the points by bilinear interpolation and turned to the grid by closed forms; the table
`made_points.csv` then holds what ecCodes (GRIB) or netCDF4 (NetCDF) gives back at single points, at
the latitude and longitude that ecCodes' own iterator gives (GRIB) or the closed forms of this file
(NetCDF), with the wind turned to true east and north by the same closed forms:

- rotated grid: unit vectors along the grid's axes, against those towards east and north;
- Lambert: a = n (lon - lon0), n = ln(cos p1 / cos p2) / ln(tan(45 + p2/2) / tan(45 + p1/2))
  (Snyder 1987, 15-3, 14-4); polar: a = lon - lon0.
"""
import csv, sys
import numpy as np, eccodes as ec, netCDF4
from numpy import sin, cos, tan, radians as rad, degrees as deg, log

SRC, OUT = sys.argv[1], sys.argv[2]
LEVELS = [850, 500, 200, 50]

# ---- the source ----
src = {}
with open(SRC, 'rb') as f:
    while (h := ec.codes_grib_new_from_file(f)) is not None:
        if ec.codes_get(h, 'typeOfLevel') == 'isobaricInhPa' and ec.codes_get(h, 'level') in LEVELS:
            n = ec.codes_get(h, 'shortName')
            if n in ('u', 'v', 'gh', 't'):
                v = ec.codes_get_values(h).reshape(41, 57)
                src[n, ec.codes_get(h, 'level')] = v if ec.codes_get(h, 'jScansPositively') else v[::-1]
        ec.codes_release(h)

def gfs(name, level, lat, lon):
    y, x = (lat - 41) / .25, (lon + 5) / .25
    j, i = np.floor(y).astype(int), np.floor(x).astype(int)
    assert j.min() >= 0 and j.max() < 40 and i.min() >= 0 and i.max() < 56
    fy, fx = y - j, x - i
    a = src[name, level]
    return (1-fy)*((1-fx)*a[j, i] + fx*a[j, i+1]) + fy*((1-fx)*a[j+1, i] + fx*a[j+1, i+1])

# ---- geometry in closed form: lat, lon and the turn (clockwise from true north of the y axis) ----
def rotated(rlon, rlat, plat, plon):
    lo, la = np.meshgrid(rad(rlon), rad(rlat))
    def place(lo, la):
        v = np.array([cos(la)*cos(lo), cos(la)*sin(lo), sin(la)])
        s, c = sin(rad(plat)), cos(rad(plat))
        x, y, z = v[0]*s - v[2]*c, v[1], v[0]*c + v[2]*s
        t = rad(plon + 180)
        return np.array([x*cos(t) - y*sin(t), x*sin(t) + y*cos(t), z])
    p = place(lo, la)
    ydir = place(lo, la + 1e-6) - place(lo, la - 1e-6)
    lat, lon = np.arcsin(p[2]), np.arctan2(p[1], p[0])
    east = np.array([-sin(lon), cos(lon), 0*lon]); north = np.array([-sin(lat)*cos(lon), -sin(lat)*sin(lon), cos(lat)])
    return deg(lat), deg(lon), np.arctan2((ydir*east).sum(0), (ydir*north).sum(0))

def cone(p1, p2):
    if p1 == p2:
        return sin(rad(p1))
    t = lambda p: tan(np.pi/4 + rad(p)/2)
    return log(cos(rad(p1))/cos(rad(p2))) / log(t(p2)/t(p1))

def lambert(first, dx, nx, ny, p1, p2, lon0, R):
    n = cone(p1, p2); t = lambda p: tan(np.pi/4 + rad(p)/2)
    F = cos(rad(p1)) * t(p1)**n / n
    rho = lambda lat: R*F/t(lat)**n
    rho0 = rho(p1)
    th = n*rad(first[1]-lon0); x0, y0 = rho(first[0])*sin(th), rho0 - rho(first[0])*cos(th)
    X, Y = np.meshgrid(x0 + dx*np.arange(nx), y0 + dx*np.arange(ny))
    r = np.hypot(X, rho0-Y); th = np.arctan2(X, rho0-Y)
    lat = deg(2*np.arctan((R*F/r)**(1/n)) - np.pi/2); lon = lon0 + deg(th/n)
    return lat, lon, n*rad(lon-lon0), X[0], Y[:, 0]

def polar(first, dx, nx, ny, lon0, R, lat_ts=60.):
    k = R*(1+sin(rad(lat_ts)))
    rho = lambda lat: k*tan(np.pi/4 - rad(lat)/2)
    th = rad(first[1]-lon0); x0, y0 = rho(first[0])*sin(th), -rho(first[0])*cos(th)
    X, Y = np.meshgrid(x0 + dx*np.arange(nx), y0 + dx*np.arange(ny))
    lat = 90 - 2*deg(np.arctan(np.hypot(X, Y)/k)); lon = lon0 + deg(np.arctan2(X, -Y))
    return lat, lon, rad(lon-lon0), X[0], Y[:, 0]

def to_grid(u, v, a): return u*cos(a) - v*sin(a), u*sin(a) + v*cos(a)
def to_true(x, y, a): return x*cos(a) + y*sin(a), y*cos(a) - x*sin(a)

rows = []
def row(file, level, lat, lon, u, v, gh):
    lon = (lon + 180) % 360 - 180
    rows.append([file, level, *(f'{x:.9g}' for x in (lat, lon, u, v, gh))])

# ---- GRIB ----
def grib(name, edition, keys, lat, lon, turn, along=True):
    worst = 0
    with open(f'{OUT}/{name}', 'wb') as f:
        for level in LEVELS:
            u, v = gfs('u', level, lat, lon), gfs('v', level, lat, lon)
            gx, gy = to_grid(u, v, turn) if along else (u, v)
            for short, values in (('gh', gfs('gh', level, lat, lon)), ('t', gfs('t', level, lat, lon)), ('u', gx), ('v', gy)):
                h = ec.codes_grib_new_from_samples(f'GRIB{edition}')
                for k, x in keys.items():
                    ec.codes_set(h, k, x)
                if edition == 1:
                    ec.codes_set(h, 'table2Version', 2); ec.codes_set(h, 'centre', 7)
                    ec.codes_set(h, 'indicatorOfParameter', {'gh': 7, 't': 11, 'u': 33, 'v': 34}[short])
                    ec.codes_set(h, 'indicatorOfTypeOfLevel', 100); ec.codes_set(h, 'level', level)
                else:
                    ec.codes_set(h, 'discipline', 0)
                    c, n = {'gh': (3, 5), 't': (0, 0), 'u': (2, 2), 'v': (2, 3)}[short]
                    ec.codes_set(h, 'parameterCategory', c); ec.codes_set(h, 'parameterNumber', n)
                    ec.codes_set(h, 'typeOfFirstFixedSurface', 100)
                    ec.codes_set(h, 'scaleFactorOfFirstFixedSurface', 0); ec.codes_set(h, 'scaledValueOfFirstFixedSurface', level*100)
                ec.codes_set(h, 'dataDate', 20200314); ec.codes_set(h, 'dataTime', 0)
                ec.codes_set(h, 'bitsPerValue', 16)
                ec.codes_set_values(h, values.ravel())
                ec.codes_write(h, f); ec.codes_release(h)
    # What ecCodes gives back.
    back, where = {}, None
    with open(f'{OUT}/{name}', 'rb') as f:
        while (h := ec.codes_grib_new_from_file(f)) is not None:
            key = ec.codes_get(h, 'shortName'), ec.codes_get(h, 'level')
            back[key] = ec.codes_get_values(h)
            where = where or (ec.codes_get_array(h, 'latitudes'), ec.codes_get_array(h, 'longitudes'))
            ec.codes_release(h)
    n = lat.size
    far = np.hypot(where[0]-lat.ravel(), ((where[1]-lon.ravel()+180) % 360 - 180)*cos(rad(lat.ravel()))).max()
    for level in LEVELS:
        for i in (0, n//3, n//2 + 3, n - 1):
            a = turn.ravel()[i]
            u, v = to_true(back['u', level][i], back['v', level][i], a) if along else (back['u', level][i], back['v', level][i])
            worst = max(worst, abs(u - gfs('u', level, lat, lon).ravel()[i]))
            row(name, level, where[0][i], where[1][i], u, v, back['gh', level][i])
    print(f'{name}: ecCodes and closed form differ by {far*111e3:.1f} m; packing {worst:.4f} m/s; turn {deg(turn).min():.2f} to {deg(turn).max():.2f}')

rl = np.arange(-2, 2.01, .5)
plat, plon = 43.0, -178.0
R = rotated(rl, rl, plat, plon)
rot = {'Ni': 9, 'Nj': 9, 'latitudeOfFirstGridPointInDegrees': -2, 'longitudeOfFirstGridPointInDegrees': 358,
       'latitudeOfLastGridPointInDegrees': 2, 'longitudeOfLastGridPointInDegrees': 2, 'iDirectionIncrementInDegrees': .5, 'jDirectionIncrementInDegrees': .5,
       'latitudeOfSouthernPoleInDegrees': -43, 'longitudeOfSouthernPoleInDegrees': 2, 'iScansNegatively': 0, 'jScansPositively': 1}
# A pole far to the side, so that the turn is large.
plat2, plon2 = 10.0, 95.0
def find(lat, lon):
    # rotated coordinates of a place: the same turn backwards
    t = rad(lon - (plon2+180)); la = rad(lat)
    x, y, z = cos(la)*cos(t), cos(la)*sin(t), sin(la)
    s, c = sin(rad(plat2)), cos(rad(plat2))
    return deg(np.arctan2(y, x*s + z*c)), deg(np.arcsin(-x*c + z*s))
c = find(46., 2.)
rl2, rp2 = np.round(c[0]) + np.arange(-2, 2.01, .5), np.round(c[1]) + np.arange(-2, 2.01, .5)
R2 = rotated(rl2, rp2, plat2, plon2)
rot2 = dict(rot, latitudeOfFirstGridPointInDegrees=rp2[-1], latitudeOfLastGridPointInDegrees=rp2[0], jScansPositively=0,
            longitudeOfFirstGridPointInDegrees=rl2[0] % 360, longitudeOfLastGridPointInDegrees=rl2[-1] % 360,
            latitudeOfSouthernPoleInDegrees=-plat2, longitudeOfSouthernPoleInDegrees=plon2+180)
grib('made_rotated.grib2', 2, {'gridType': 'rotated_ll', **rot, 'uvRelativeToGrid': 1}, *R)
grib('made_rotated_true_winds.grib2', 2, {'gridType': 'rotated_ll', **rot, 'uvRelativeToGrid': 0}, *R, along=False)
flip = tuple(a[::-1] for a in R2)
grib('made_rotated_far_pole.grib2', 2, {'gridType': 'rotated_ll', **rot2, 'uvRelativeToGrid': 1}, *flip)
grib('made_rotated.grib1', 1, {'gridType': 'rotated_ll', **rot, 'uvRelativeToGrid': 1}, *R)
E1 = 6367470.
L = lambert((43.5, -2.0), 60e3, 10, 9, 44., 49., 12., E1)
grib('made_lambert.grib1', 1, {'gridType': 'lambert', 'Nx': 10, 'Ny': 9, 'latitudeOfFirstGridPointInDegrees': 43.5, 'longitudeOfFirstGridPointInDegrees': 358,
     'LoVInDegrees': 12, 'DxInMetres': 60000, 'DyInMetres': 60000, 'Latin1InDegrees': 44, 'Latin2InDegrees': 49, 'iScansNegatively': 0, 'jScansPositively': 1,
     'resolutionAndComponentFlags': 8}, *L[:3])
P = polar((43.5, -2.0), 60e3, 10, 9, -20., E1)
grib('made_polar.grib1', 1, {'gridType': 'polar_stereographic', 'Nx': 10, 'Ny': 9, 'latitudeOfFirstGridPointInDegrees': 43.5, 'longitudeOfFirstGridPointInDegrees': 358,
     'orientationOfTheGridInDegrees': 340, 'DxInMetres': 60000, 'DyInMetres': 60000, 'iScansNegatively': 0, 'jScansPositively': 1,
     'resolutionAndComponentFlags': 8}, *P[:3])
# Gaussian rows: N160, 42 to 50 N, every 1.125 degrees.
gl = deg(np.arcsin(np.polynomial.legendre.leggauss(320)[0]))[::-1]
gl = gl[(gl > 43) & (gl < 49)]
lon = np.arange(-3.375, 3.4, .5625)
glon, glat = np.meshgrid(lon, gl)
gauss = {'gridType': 'regular_gg', 'N': 160, 'Ni': lon.size, 'Nj': gl.size, 'latitudeOfFirstGridPointInDegrees': gl[0], 'latitudeOfLastGridPointInDegrees': gl[-1],
         'longitudeOfFirstGridPointInDegrees': lon[0] % 360, 'longitudeOfLastGridPointInDegrees': lon[-1], 'iDirectionIncrementInDegrees': .5625, 'iScansNegatively': 0, 'jScansPositively': 0}
for e in (1, 2):
    grib(f'made_gaussian.grib{e}', e, gauss, glat, glon, 0*glat, along=False)

# ---- NetCDF ----
PA = np.array([x*100. for x in LEVELS])
def nc(name, fmt='NETCDF4_CLASSIC'):
    d = netCDF4.Dataset(f'{OUT}/{name}', 'w', format=fmt)
    d.source = 'made from gfs_0p25_western_europe_20200314_00z.grib2'
    return d
def times(d):
    d.createDimension('time', 1)
    t = d.createVariable('time', 'f8', ('time',)); t.units = 'hours since 2020-03-14 00:00:00'; t.standard_name = 'time'; t[:] = 0
def level(d, name='plev', units='Pa', scale=1., **attrs):
    d.createDimension(name, 4)
    p = d.createVariable(name, 'f4', (name,)); p.units = units; p[:] = PA*scale
    for k, v in attrs.items(): setattr(p, k, v)
def axis(d, name, values, **attrs):
    d.createDimension(name, values.size)
    x = d.createVariable(name, 'f8', (name,)); x[:] = values
    for k, v in attrs.items(): setattr(x, k, v)
def field(d, name, dims, values, **attrs):
    v = d.createVariable(name, 'f4', dims, zlib=True, complevel=9) if d.data_model != 'NETCDF3_CLASSIC' else d.createVariable(name, 'f4', dims)
    for k, a in attrs.items(): setattr(v, k, a)
    v[:] = values
def stack(name, lat, lon): return np.array([[gfs(name, l, lat, lon) for l in LEVELS]])
def check(name, lat, lon, turn=None, get=lambda d: (d['u'][0], d['v'][0], d['gh'][0])):
    d = netCDF4.Dataset(f'{OUT}/{name}'); u, v, h = get(d); n = lat.size
    for k, l in enumerate(LEVELS):
        for i in (0, n//3, n//2 + 3, n - 1):
            a, b = float(u[k].ravel()[i]), float(v[k].ravel()[i])
            if turn is not None: a, b = to_true(a, b, turn.ravel()[i])
            row(name, l, lat.ravel()[i], lon.ravel()[i], a, b, float(h[k].ravel()[i]))
            assert abs(a - gfs('u', l, lat, lon).ravel()[i]) < 1e-4 or turn is None
UV = lambda lat, lon, turn: to_grid(stack('u', lat, lon), stack('v', lat, lon), turn)

d = nc('made_rotated_pole.nc'); times(d); level(d, standard_name='air_pressure')
axis(d, 'rlat', rp2, standard_name='grid_latitude', units='degrees'); axis(d, 'rlon', rl2, standard_name='grid_longitude', units='degrees')
m = d.createVariable('rotated_pole', 'i4'); m.grid_mapping_name = 'rotated_latitude_longitude'; m.grid_north_pole_latitude = plat2; m.grid_north_pole_longitude = plon2
x, y = UV(*R2); dims = ('time', 'plev', 'rlat', 'rlon')
for n, v, s in (('u', x, 'x_wind'), ('v', y, 'y_wind')): field(d, n, dims, v, standard_name=s, units='m s-1', grid_mapping='rotated_pole')
field(d, 'gh', dims, stack('gh', *R2[:2]), standard_name='geopotential_height', units='m', grid_mapping='rotated_pole')
field(d, 't', dims, stack('t', *R2[:2]), standard_name='air_temperature', units='K', grid_mapping='rotated_pole')
d.close(); check('made_rotated_pole.nc', *R2)

E2 = 6371229.
L2 = lambert((43.5, -2.0), 60e3, 10, 9, 44., 49., 12., E2)
# y counted from the latitude of origin: 46.5, not the first parallel.
n_ = cone(44., 49.); t_ = lambda p: tan(np.pi/4 + rad(p)/2); F_ = cos(rad(44.))*t_(44.)**n_/n_
shift = E2*F_/t_(44.)**n_ - E2*F_/t_(46.5)**n_
d = nc('made_lambert.nc', 'NETCDF3_CLASSIC'); times(d); level(d, 'isobaric', 'hPa', .01)
axis(d, 'y', (L2[4] - (E2*F_/t_(44.)**n_ - E2*F_/t_(46.5)**n_))/1e3, standard_name='projection_y_coordinate', units='km')
axis(d, 'x', L2[3]/1e3 + 250, standard_name='projection_x_coordinate', units='km')
m = d.createVariable('LambertConformal_Projection', 'i4'); m.grid_mapping_name = 'lambert_conformal_conic'; m.latitude_of_projection_origin = 46.5
m.longitude_of_central_meridian = 12.; m.standard_parallel = [44., 49.]; m.earth_radius = E2; m.false_easting = 250.
x, y = UV(*L2[:3]); dims = ('time', 'isobaric', 'y', 'x')
for n, v, p in (('u', x, 2), ('v', y, 3)): field(d, n, dims, v, long_name=f'{n}-component of wind @ Isobaric surface', units='m/s', Grib2_Parameter=np.array([0, 2, p], 'i4'), grid_mapping='LambertConformal_Projection')
field(d, 'gh', dims, stack('gh', *L2[:2]), long_name='Geopotential height @ Isobaric surface', units='gpm', Grib2_Parameter=np.array([0, 3, 5], 'i4'), grid_mapping='LambertConformal_Projection')
d.close(); check('made_lambert.nc', *L2[:3])

P2 = polar((43.5, -2.0), 60e3, 10, 9, -20., E2)
d = nc('made_polar.nc'); times(d); level(d, standard_name='air_pressure')
axis(d, 'y', P2[4][::-1] + 5e5, standard_name='projection_y_coordinate', units='m'); axis(d, 'x', P2[3], standard_name='projection_x_coordinate', units='m')
m = d.createVariable('crs', 'i4'); m.grid_mapping_name = 'polar_stereographic'; m.latitude_of_projection_origin = 90.; m.straight_vertical_longitude_from_pole = -20.
m.standard_parallel = 60.; m.semi_major_axis = E2; m.semi_minor_axis = E2; m.false_easting = 0.; m.false_northing = 5e5
f = lambda a: a[..., ::-1, :]; dims = ('time', 'plev', 'y', 'x')
# Winds towards true east and north, said by their standard names.
for n, s in (('u', 'eastward_wind'), ('v', 'northward_wind')): field(d, n, dims, f(stack(n, *P2[:2])), standard_name=s, units='m s-1', grid_mapping='crs')
field(d, 'gh', dims, f(stack('gh', *P2[:2])), standard_name='geopotential_height', units='m', grid_mapping='crs')
d.close(); check('made_polar.nc', f(P2[0]), f(P2[1]))

lo, la = np.meshgrid(np.arange(-3, 3.1, .75), np.arange(49, 43.9, -.5))
def latlon(d, y='lat', x='lon', **kw):
    axis(d, y, la[:, 0], units='degrees_north', **kw); axis(d, x, lo[0], units='degrees_east', **kw)
# Names alone.
d = nc('made_names_uwnd.nc', 'NETCDF3_CLASSIC'); times(d); level(d, 'level', 'millibar', .01, long_name='Level'); latlon(d)
dims = ('time', 'level', 'lat', 'lon')
for n, s, un in (('uwnd', 'u', 'm/s'), ('vwnd', 'v', 'm/s'), ('hgt', 'gh', 'm'), ('air', 't', 'degK')): field(d, n, dims, stack(s, la, lo), units=un, long_name=f'4xDaily {n}', statistic='Individual Obs')
d.close(); check('made_names_uwnd.nc', la, lo, get=lambda d: (d['uwnd'][0], d['vwnd'][0], d['hgt'][0]))
d = nc('made_names_ugrd_500mb.nc', 'NETCDF3_CLASSIC'); times(d); latlon(d, 'latitude', 'longitude')
dims = ('time', 'latitude', 'longitude')
for k, l in enumerate(LEVELS):
    for n, s, un in (('UGRD', 'u', 'm/s'), ('VGRD', 'v', 'm/s'), ('HGT', 'gh', 'gpm')): field(d, f'{n}_{l}mb', dims, stack(s, la, lo)[:, k], units=un, short_name=f'{n}_{l}mb', level=f'{l} mb')
d.close(); check('made_names_ugrd_500mb.nc', la, lo, get=lambda d: tuple(np.array([d[f'{n}_{l}mb'][0] for l in LEVELS]) for n in ('UGRD', 'VGRD', 'HGT')))
d = nc('made_names_uvh.nc', 'NETCDF3_CLASSIC'); times(d); level(d, 'lev', 'Pa'); latlon(d)
dims = ('time', 'lev', 'lat', 'lon')
for n, s, un in (('U', 'u', 'm/s'), ('V', 'v', 'm/s'), ('H', 'gh', 'm'), ('T', 't', 'K')): field(d, n, dims, stack(s, la, lo), units=un)
d.close(); check('made_names_uvh.nc', la, lo, get=lambda d: (d['U'][0], d['V'][0], d['H'][0]))
# Speed and direction.
d = nc('made_speed_direction.nc', 'NETCDF3_CLASSIC'); times(d); level(d, standard_name='air_pressure'); latlon(d)
dims = ('time', 'plev', 'lat', 'lon'); u, v = stack('u', la, lo), stack('v', la, lo)
field(d, 'ws', dims, np.hypot(u, v), standard_name='wind_speed', units='m s-1'); field(d, 'wd', dims, deg(np.arctan2(-u, -v)) % 360, standard_name='wind_from_direction', units='degree')
field(d, 'gh', dims, stack('gh', la, lo), standard_name='geopotential_height', units='m'); d.close()
check('made_speed_direction.nc', la, lo, get=lambda d: (-d['ws'][0]*sin(rad(d['wd'][0])), -d['ws'][0]*cos(rad(d['wd'][0])), d['gh'][0]))

# Every fourth row and column of gh, t, u and v at 16 levels: a coarse forecast of the same hour.
with open(SRC, 'rb') as f, open(f'{OUT}/made_one_degree.grib2', 'wb') as g:
    while (h := ec.codes_grib_new_from_file(f)) is not None:
        if ec.codes_get(h, 'typeOfLevel') == 'isobaricInhPa' and ec.codes_get(h, 'shortName') in ('u', 'v', 'gh', 't') \
                and ec.codes_get(h, 'level') in (1000, 925, 850, 700, 600, 500, 400, 300, 250, 200, 150, 100, 70, 50, 30, 20, 10):
            v = ec.codes_get_values(h).reshape(41, 57)[::4, ::4]
            ec.codes_set(h, 'Ni', 15); ec.codes_set(h, 'Nj', 11)
            ec.codes_set(h, 'iDirectionIncrementInDegrees', 1); ec.codes_set(h, 'jDirectionIncrementInDegrees', 1)
            ec.codes_set(h, 'bitsPerValue', 16); ec.codes_set_values(h, v.ravel()); ec.codes_write(h, g)
        ec.codes_release(h)

with open(f'{OUT}/made_points.csv', 'w', newline='') as f:
    w = csv.writer(f, lineterminator='\n'); w.writerow('file level_hpa lat lon u_true v_true height_gpm'.split()); w.writerows(rows)
print(len(rows), 'rows')
