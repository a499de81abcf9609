"""Reference evapotranspiration of a year of invented weather, by pyet.

Prints the sums of each month, mm, that analysis/evapotranspiration_test.go holds.
"""

import numpy as np
import pandas as pd
import pyet

LATITUDE, HEIGHT = np.deg2rad(43.0), 215.0
days = pd.date_range("2023-01-01", "2023-12-31")
j = np.arange(1, 366)
mean = 10 - 13 * np.cos(2 * np.pi * (j - 15) / 365)
span = 8 + 4 * np.sin(j)
series = lambda x: pd.Series(x, index=days)
high, low = series(mean + span / 2), series(mean - span / 2)
humidity = series(65 + 20 * np.sin(1.7 * j))
wind = series(2.5 + 1.5 * np.cos(2.3 * j))  # at 10 m
sun = series(6 + 2 * np.sin(0.9 * j))

tmean = (high + low) / 2
at_two = wind * 4.87 / np.log(67.8 * 10 - 5.42)
ea = humidity / 100 * (pyet.calc_e0(high) + pyet.calc_e0(low)) / 2
pm = pyet.pm_fao56(tmean, at_two, tmax=high, tmin=low, ea=ea, elevation=HEIGHT, lat=LATITUDE, n=sun)
# pyet lets the heat of evaporation follow the temperature; FAO-56 has 0.408 for it.
hargreaves = pyet.hargreaves(tmean, high, low, lat=LATITUDE) * pyet.calc_lambda(tmean) * 0.408
for name, x in (("Penman-Monteith", pm), ("Hargreaves", hargreaves)):
    print(name, *(f"{v:.9f}" for v in x.groupby(x.index.month).sum()))
