"""An invented region on a grid: hills, and a sea without weather. For docs/region.md, tests and measuring."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from data_sources.demo.climate import synthetic_weather
from phenology.model.arrays import Array

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr

SOUTH, NORTH, WEST, EAST = 44.0, 52.0, 4.0, 14.0
LAPSE = 6.5  # °C colder a kilometre up (textbook value)
PER_DEGREE = 0.7  # °C colder a degree further north (ours)
ROWS = 16  # written at once


def store_region(
    path: Path,
    rows: int = 16,
    columns: int = 20,
    first: date = date(1996, 1, 1),
    last: date = date(2026, 6, 14),
    dtype: str = "float32",
    every: int = 1,
) -> None:
    """Write an invented climate set of `tasmin` and `tasmax` in K over a grid of `rows` and `columns`.

    A path that ends in .zarr, not in .nc, may be larger than memory: it is written a few rows at a time. Only
    `every` so many-th cell each way has weather: a large set that is soon worked through.
    """
    import pandas as pd

    latitudes, longitudes = np.linspace(SOUTH, NORTH, rows), np.linspace(WEST, EAST, columns)
    time = pd.date_range(first, last, name="time")
    if path.suffix != ".zarr":
        _cells(latitudes, longitudes, time, dtype, every).to_netcdf(path, engine="h5netcdf")
        return
    for at in range(0, rows, ROWS):
        part = _cells(latitudes[at : at + ROWS], longitudes, time, dtype, every)
        chunks = {"chunks": (part.sizes["time"], min(ROWS, rows), min(ROWS, columns))}
        how = {"encoding": {"tasmin": chunks, "tasmax": chunks}} if at == 0 else {"append_dim": "lat"}
        part.to_zarr(path, mode="w" if at == 0 else "a", zarr_format=2, consolidated=True, **how)


def _cells(latitudes: Array, longitudes: Array, time: pd.DatetimeIndex, dtype: str, every: int) -> xr.Dataset:
    import xarray as xr

    north, east = np.meshgrid(latitudes, longitudes, indexing="ij")
    hills = 0.9 * np.exp(-(((north - 46.5) / 1.2) ** 2) - ((east - 9.0) / 2.5) ** 2)
    hills += 0.35 * np.exp(-(((north - 50.0) / 0.9) ** 2) - ((east - 6.5) / 1.5) ** 2)
    colder = LAPSE * hills + PER_DEGREE * (north - (SOUTH + NORTH) / 2)
    sea = east < WEST + 2.2 + 0.35 * (north - SOUTH) * np.cos(1.3 * north)
    row, column = np.indices(sea.shape)
    sea |= (row % every > 0) | (column % every > 0)
    base = synthetic_weather(time[0].date(), time[-1].date(), (SOUTH + NORTH) / 2, seed=21)
    continental = (east - (WEST + EAST) / 2) / (EAST - WEST) * 3.0  # warmer summers and colder winters inland
    summer = np.cos(2 * np.pi * (time.day_of_year.to_numpy() - 200) / 365.25)
    move = summer[:, None, None] * continental - np.where(sea, np.nan, colder)
    values = {}
    for name, series, method in (("tasmin", base.tmin, "minimum"), ("tasmax", base.tmax, "maximum")):
        attrs = {"units": "K", "standard_name": "air_temperature", "cell_methods": f"time: {method}"}
        kelvin = (series[:, None, None] + move + 273.15).astype(dtype)
        values[name] = xr.Variable(("time", "lat", "lon"), kelvin, attrs)
    return xr.Dataset(
        values,
        {
            "time": time,
            "lat": ("lat", latitudes, {"standard_name": "latitude", "units": "degrees_north"}),
            "lon": ("lon", longitudes, {"standard_name": "longitude", "units": "degrees_east"}),
        },
        {"Conventions": "CF-1.11", "title": "An invented region: no real place"},
    )
