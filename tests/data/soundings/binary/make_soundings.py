"""Reference values of BUFR soundings (ecCodes 2.50) and of a NetCDF sounding (netCDF4), and a small
sounding with CF names made from it."""
import csv, sys, numpy as np, eccodes as ec, netCDF4
S, F, OUT = sys.argv[1:4]
rows = []
def hi(f, name):
    n = 0
    with open(f, 'rb') as fh:
        while (h := ec.codes_bufr_new_from_file(fh)) is not None:
            n += 1
            ec.codes_set(h, 'unpack', 1)
            g = lambda k: ec.codes_get_array(h, k)
            one = lambda k: ec.codes_get(h, k)
            t = '%04d-%02d-%02dT%02d:%02d' % tuple(int(g(k)[0]) for k in ('year', 'month', 'day', 'hour', 'minute'))
            st = '%02d%03d' % (one('blockNumber'), one('stationNumber'))
            lat, lon = g('latitude')[0], g('longitude')[0]
            p = g('pressure')
            def col(*keys):
                for k in keys:
                    try: return g(k)
                    except ec.KeyValueNotFoundError: pass
            z = col('nonCoordinateGeopotentialHeight', 'geopotentialHeight'); 
            if z is None: z = col('nonCoordinateGeopotential') / 9.80665
            T, Td, dd, ff = col('airTemperature'), col('dewpointTemperature'), col('windDirection'), col('windSpeed')
            z, T, Td, dd, ff = (np.atleast_1d(a) for a in (z, T, Td, dd, ff))
            m = min(len(z), len(T), len(Td), len(dd), len(ff))
            print(name, n, st, t, lat, lon, len(p), len(z), len(T), len(dd), len(ff))
            p = p[:m]
            miss = lambda x: '' if abs(x) > 1e10 or x == 2147483647 else f'{x:.7g}'
            for i in range(m):
                rows.append([name, n, st, t, f'{lat:.5f}', f'{lon:.5f}', *(miss(float(a[i])) for a in (p, z, T, Td, dd, ff))])
            ec.codes_release(h)
for f in ('pdbufr_temp_small', 'pdbufr_temp_hires', 'pybufrkit_IUSD40_OKLI'):
    hi(f'{S}/{f}.bufr', f + '.bufr')
with open(f'{OUT}/bufr_reference.csv', 'w', newline='') as f:
    w = csv.writer(f, lineterminator='\n'); w.writerow('file message station time lat lon pressure_pa height_gpm temperature_k dew_point_k from_deg speed_m_s'.split()); w.writerows(rows)
print(len(rows))
# NetCDF
src = netCDF4.Dataset(F); k = np.arange(0, len(src.dimensions['time']), 12)
d = netCDF4.Dataset(f'{OUT}/made_cf_sounding.nc', 'w', format='NETCDF3_CLASSIC')
d.platform = 'made from a Darwin sounding'; d.featureType = 'profile'
d.createDimension('profile', 1); d.createDimension('obs', len(k))
def put(n, v, **a):
    x = d.createVariable(n, 'f4' if n != 'time' else 'f8', ('profile', 'obs'), fill_value=-999.); x.set_auto_mask(True)
    for q, b in a.items(): setattr(x, q, b)
    x[:] = v[None, :]
g = lambda n: src[n][:][k]
put('time', g('time'), units=src['time'].units.replace(' 0:00', '') if False else 'seconds since 2006-01-19 00:00:00', standard_name='time')
put('P', g('pres')*100, units='Pa', standard_name='air_pressure')
put('TT', g('tdry') + 273.15, units='K', standard_name='air_temperature')
put('FF', g('wspd')/0.514444, units='knots', standard_name='wind_speed')
put('DD', g('deg'), units='degree', standard_name='wind_from_direction')
put('la', g('lat'), units='degrees_north', standard_name='latitude'); put('lo', g('lon'), units='degrees_east', standard_name='longitude')
put('Z', g('alt'), units='m', standard_name='altitude')
d.close()
with open(f'{OUT}/netcdf_reference.csv', 'w', newline='') as f:
    w = csv.writer(f, lineterminator='\n'); w.writerow('row pressure_pa altitude_m u v temperature_k'.split())
    for i in range(0, len(src.dimensions['time']), 60):
        r = [src[n][i] for n in ('pres', 'alt', 'u_wind', 'v_wind', 'tdry')]
        w.writerow([i] + ['' if np.ma.is_masked(x) else f'{float(x)*s+o:.7g}' for x, s, o in zip(r, (100, 1, 1, 1, 1), (0, 0, 0, 0, 273.15))])

# Variants of the first Prague message: edition 4; compressed alone; two subsets packed together.
def prague():
    with open(f'{S}/pybufrkit_IUSD40_OKLI.bufr', 'rb') as fh: return ec.codes_bufr_new_from_file(fh)
src = prague(); ec.codes_set(src, 'unpack', 1)
rep = ec.codes_get_array(src, 'extendedDelayedDescriptorReplicationFactor'), ec.codes_get_array(src, 'delayedDescriptorReplicationFactor')
keys = ['blockNumber','stationNumber','year','month','day','hour','minute','latitude','longitude','pressure','nonCoordinateGeopotentialHeight','airTemperature','dewpointTemperature','windDirection','windSpeed']
def variant(subsets, compressed, name):
    h = ec.codes_bufr_new_from_samples('BUFR4')
    ec.codes_set_array(h, 'inputExtendedDelayedDescriptorReplicationFactor', [int(x) for x in rep[0]] * (1 if compressed else subsets))
    ec.codes_set_array(h, 'inputDelayedDescriptorReplicationFactor', [int(x) for x in rep[1]] * (1 if compressed else subsets))
    ec.codes_set(h, 'masterTablesVersionNumber', 31); ec.codes_set(h, 'dataCategory', 2)
    ec.codes_set(h, 'numberOfSubsets', subsets); ec.codes_set(h, 'compressedData', int(compressed))
    ec.codes_set_array(h, 'unexpandedDescriptors', [309052])
    def both(rank, k, change=0):
        v = ec.codes_get_array(src, k)
        n = len(v)
        for i in range(n):
            x = float(v[i])
            if abs(x) > 1e10 or x == 2147483647: continue
            key = f'#{i+1}#{k}'
            try:
                if subsets == 2 and compressed: ec.codes_set_array(h, key, [x, x + change])
                elif subsets == 2:
                    ec.codes_set(h, key, x); ec.codes_set(h, f'#{n+i+1}#{k}', x + change)
                else: ec.codes_set(h, key, x)
            except ec.CodesInternalError as e: print(name, key, e); return
    for k in keys: both(0, k, {'hour': 3, 'windSpeed': 1.0, 'windDirection': 0}.get(k, 0))
    ec.codes_set(h, 'pack', 1)
    with open(f'{OUT}/{name}', 'wb') as f: ec.codes_write(h, f)
for a in ((1, False, 'made_edition4.bufr'), (1, True, 'made_compressed.bufr'), (2, True, 'made_two_compressed.bufr'), (2, False, 'made_two_subsets.bufr')): variant(*a)

# When and where the sondes were: every 15th level.
rows = []
miss = lambda x: '' if abs(x) > 1e10 or x == 2147483647 else f'{x:.7g}'
for f in ('pdbufr_temp_hires.bufr', 'pybufrkit_IUSD40_OKLI.bufr'):
    with open(f'{S}/{f}', 'rb') as fh:
        n = 0
        while (h := ec.codes_bufr_new_from_file(fh)) is not None:
            n += 1
            ec.codes_set(h, 'unpack', 1)
            g = lambda k: ec.codes_get_array(h, k)
            lat, lon = g('latitude')[0], g('longitude')[0]
            p, t = g('pressure'), g('timePeriod')
            dlat, dlon = g('latitudeDisplacement'), g('longitudeDisplacement')
            z = g('nonCoordinateGeopotentialHeight')
            for i in list(range(0, len(z), 15)) + [len(z) - 1]:
                rows.append([f, n, miss(float(p[i])), miss(float(z[i])), miss(float(t[i])), miss(float(lat + dlat[i])) if miss(float(dlat[i])) else '', miss(float(lon + dlon[i])) if miss(float(dlon[i])) else ''])
            ec.codes_release(h)
with open(f'{OUT}/bufr_drift_reference.csv', 'w', newline='') as f:
    w = csv.writer(f, lineterminator='\n'); w.writerow('file message pressure_pa height_gpm after_s lat lon'.split()); w.writerows(rows)
