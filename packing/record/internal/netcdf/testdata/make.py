# Makes the files of this folder, except e1947_sample.cdf. Every number is
# written here by hand; nothing was measured.
# python make.py, with the versions that README.md names.
import netCDF4
import numpy as np
from scipy.io import netcdf_file

# Chromatography with names in other letters, NULs behind the texts, no unit of
# time and no name of the detector.
f = netcdf_file("no_retention_unit.cdf", "w")
f.Detector_Unit = b"mAU\0\0"
f.sample_name = b"caf\xe9\0"
f.createDimension("point_number", 5)
v = f.createVariable("Ordinate_Values", "f8", ("point_number",))
v[:] = [0, 1.5, 12.25, 1.75, 0.125]
for name, value in (("actual_sampling_interval", 0.5), ("actual_delay_time", 10)):
    f.createVariable(name, "f8", ())[...] = value
f.close()

# Chromatography with times of its own, packed values over the unlimited
# dimension, a sampling interval of 0, and peaks. CDF-2.
f = netCDF4.Dataset("own_times.cdf", "w", format="NETCDF3_64BIT_OFFSET")
f.retention_unit = "minutes"
f.detector_name = "UV 280 nm"
f.detector_unit = "AU"
f.createDimension("point_number", None)
f.createDimension("peak_number", 2)
f.createDimension("_32_byte_string", 32)
v = f.createVariable("ordinate_values", "i2", ("point_number",), fill_value=-999)
v.uniform_sampling_flag = "N"
v.scale_factor = 0.001
v.add_offset = 0.25
v.set_auto_maskandscale(False)
v[:] = np.array([0, 1000, -999, 250], "i2")
f.createVariable("raw_data_retention", "f4", ("point_number",))[:] = [0, 0.5, 0.75, 2.5]
f.createVariable("actual_sampling_interval", "f4", ())[...] = 0
p = f.createVariable("peak_name", "S1", ("peak_number", "_32_byte_string"))
p[:] = netCDF4.stringtochar(np.array(["tracer", "salt"], "S32"))
f.createVariable("peak_retention_time", "f4", ("peak_number",))[:] = [0.5, 2.25]
f.close()

# Any data, several variables in a record, of odd sizes. CDF-5.
f = netCDF4.Dataset("records.nc", "w", format="NETCDF3_64BIT_DATA")
f.title = "three records"
f.createDimension("time", None)
f.createDimension("three", 3)
f.createDimension("text", 5)
t = f.createVariable("time", "f8", ("time",))
t.units = "s since 2024-03-01 08:30:00"
b = f.createVariable("valve", "i1", ("time",))
s = f.createVariable("pressure", "i2", ("time",))
s.units = "kPa"
w = f.createVariable("total", "i8", ("time",))
u = f.createVariable("count", "u2", ("time",))
c = f.createVariable("phase", "S1", ("time", "text"))
m = f.createVariable("spectrum", "f4", ("time", "three"))
x = f.createVariable("flow", "f4", ("time",))
x.units = "L/h"
k = f.createVariable("area", "f8", ())
k.units = "cm2"
t[:] = [0, 1.5, 4]
b[:] = [1, -1, 127]
s[:] = [101, 202, -303]
w[:] = [1, 2**40, -3]
u[:] = [65535 - 1, 0, 7]
c[:] = netCDF4.stringtochar(np.array(["load", "wash", "elute"], "S5"))
m[:] = np.arange(9).reshape(3, 3)
x[0] = 21.5
x[2] = 0.1
k[...] = 706.858
f.close()

# One record variable alone, of 2 bytes: records without padding. CDF-1.
f = netcdf_file("one_record_variable.nc", "w")
f.createDimension("n", None)
v = f.createVariable("level", "i2", ("n",))
v.units = "mm"
v[:] = np.array([3, 1, 4, 1, 5], "i2")
f.close()
