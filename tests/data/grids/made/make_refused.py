import sys, numpy as np, netCDF4
OUT=sys.argv[1]
d=netCDF4.Dataset(f'{OUT}/made_wrf_like.nc','w',format='NETCDF3_CLASSIC'); d.TITLE='OUTPUT FROM WRF (made, empty)'
for n,k in (('Time',1),('bottom_top',2),('bottom_top_stag',3),('south_north',2),('west_east',2),('west_east_stag',3),('south_north_stag',3)): d.createDimension(n,k)
for n,dims in (('U',('Time','bottom_top','south_north','west_east_stag')),('V',('Time','bottom_top','south_north_stag','west_east')),('PH',('Time','bottom_top_stag','south_north','west_east')),('PHB',('Time','bottom_top_stag','south_north','west_east')),('XLAT',('Time','south_north','west_east')),('XLONG',('Time','south_north','west_east'))):
    v=d.createVariable(n,'f4',dims); v.units='m s-1' if n in'UV' else ''; v[:]=1
d.close()
d=netCDF4.Dataset(f'{OUT}/made_hybrid_levels.nc','w',format='NETCDF3_CLASSIC')
for n,k in (('time',1),('hybrid',3),('lat',2),('lon',2)): d.createDimension(n,k)
v=d.createVariable('time','f8',('time',)); v.units='hours since 2020-01-01'; v[:]=0
v=d.createVariable('hybrid','f8',('hybrid',)); v.standard_name='atmosphere_hybrid_sigma_pressure_coordinate'; v.units='1'; v[:]=[1,.5,.1]
v=d.createVariable('lat','f8',('lat',)); v.units='degrees_north'; v[:]=[40,41]
v=d.createVariable('lon','f8',('lon',)); v.units='degrees_east'; v[:]=[0,1]
for n,s in (('u','eastward_wind'),('v','northward_wind')):
    v=d.createVariable(n,'f4',('time','hybrid','lat','lon')); v.standard_name=s; v.units='m s-1'; v[:]=1
d.close()
