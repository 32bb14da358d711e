"""An invented climate for the demo garden and for tests: daily extremes at any latitude, and over a region.

The value of a day depends on the seed, the day and the settings alone, never on where the series starts
or ends, so that what is invented tomorrow agrees with what was invented today. Noise is therefore a
function of the date: random numbers are hashed from the day, and persistence is a fixed sum over the
days before.

All numbers here are ours: chosen to look like weather, not fitted to any place.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from phenology.model.arrays import Array
from phenology.model.errors import InputError
from phenology.weather.series import DailyWeather

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr

YEAR = 365.2425  # days
MEAN_AS_OF = date(2010, 7, 1)  # the year whose climate `mean` describes; warming counts from here
PERSISTENCE = 0.72  # correlation of one day's anomaly with the next day's
MEMORY = 60  # days summed for persistence; 0.72**60 is below 1e-8
SPELL = 24  # days between the knots of the slow anomalies that make a spring early or late


def synthetic_weather(
    start: date,
    end: date,
    latitude: float,
    *,
    mean: float | None = None,
    amplitude: float | None = None,
    diurnal: float = 9.0,
    warming_per_decade: float = 0.25,
    seed: int = 0,
) -> DailyWeather:
    """Invented daily weather from `start` to `end`, both included: source "station", no day missing, to 0.1
    °C.

    Parameters
    ----------
    latitude : float
        Decides the hemisphere (warmest about 23 July in the north, 22 January in the south), the defaults of
        `mean` and `amplitude`, and how restless the weather is. [degrees, north positive]
    mean, amplitude : float, optional
        Mean over the year in the climate of 2010, default ``27 - 0.007 * latitude**2``; half the difference
        between the warmest and the coldest time of year, default ``1 + 0.19 * abs(latitude)``. [°C]
    diurnal : float
        Usual difference between a day's maximum and minimum; wider in summer, narrower in winter. [°C]
    warming_per_decade : float
        Trend of the mean. [°C per 10 years]
    seed : int
        The same seed gives the same weather.

    Raises
    ------
    InputError
        If `end` lies before `start`, the latitude is beyond a pole, or `diurnal` is not positive.

    Examples
    --------
    >>> w = synthetic_weather(date(2026, 7, 1), date(2026, 7, 3), 50.1, seed=4)
    >>> later = synthetic_weather(date(2026, 7, 3), date(2026, 7, 9), 50.1, seed=4)
    >>> bool(w.tmax[2] == later.tmax[0])
    True
    """
    if end < start:
        raise InputError(f"the last day {end} lies before the first day {start}")
    if not -90 <= latitude <= 90:
        raise InputError(f"latitude must lie between -90 and 90, got {latitude:g}")
    if not diurnal > 0:
        raise InputError(f"diurnal range must be above 0 °C, got {diurnal:g}")
    away = abs(latitude)
    mean = 27 - 0.007 * away**2 if mean is None else mean
    amplitude = 1 + 0.19 * away if amplitude is None else amplitude
    day = np.arange(start.toordinal(), end.toordinal() + 1, dtype=np.int64)

    summer = _summer(day, south=latitude < 0)
    warming = warming_per_decade * (day - MEAN_AS_OF.toordinal()) / (10 * YEAR)
    restless = 0.7 + 0.05 * min(away, 60.0)  # °C; the tropics are steady
    anomaly = restless * (1 - 0.25 * summer) * _persistent(day, seed, stream=1)
    anomaly += 0.45 * restless * _slow(day, seed, SPELL, stream=2)
    anomaly += 0.15 * restless * _slow(day, seed, round(YEAR), stream=3)
    middle = mean + amplitude * summer + warming + anomaly

    # Clear days are warm in summer and cold in winter, and their range is wide.
    clear = 0.5 * _persistent(day, seed, stream=4) + 0.4 * summer * np.tanh(anomaly / max(restless, 0.1))
    width = diurnal * (1 + 0.2 * summer) * np.exp(0.35 * clear - 0.03)
    tmin, tmax = np.round(middle - width / 2, 1), np.round(middle + width / 2, 1)
    return DailyWeather(start, tmin, np.maximum(tmin, tmax), "station")


def _summer(day: NDArray[np.int64], *, south: bool) -> Array:
    """From -1 at the coldest to 1 at the warmest time of year."""
    warmest = date(2010, 1, 22) if south else date(2010, 7, 23)
    return np.asarray(np.cos(2 * np.pi * (day - warmest.toordinal()) / YEAR))


def _normal(index: NDArray[np.int64], seed: int, stream: int) -> Array:
    """One standard normal number for each index, hashed from index, seed and stream."""
    first, second = (_uniform(index, seed, 2 * stream + half) for half in (0, 1))
    return np.asarray(np.sqrt(-2 * np.log(first)) * np.cos(2 * np.pi * second))


def _uniform(index: NDArray[np.int64], seed: int, stream: int) -> Array:
    """Numbers in (0, 1) from three rounds of a multiply-and-shift mix of the index."""
    key = np.uint64((seed * 0x9E3779B97F4A7C15 + stream * 0xD1B54A32D192ED03 + 0x632BE59BD9B4E019) % 2**64)
    mixed = index.astype(np.uint64) + key
    for shift, factor in ((30, 0xBF58476D1CE4E5B9), (27, 0x94D049BB133111EB), (31, 0x9E3779B97F4A7C15)):
        mixed = (mixed ^ (mixed >> np.uint64(shift))) * np.uint64(factor)
    mixed ^= mixed >> np.uint64(32)
    return np.asarray(((mixed >> np.uint64(11)).astype(np.float64) + 0.5) / 2**53)


def _persistent(day: NDArray[np.int64], seed: int, stream: int) -> Array:
    """First-order autoregressive noise of unit variance, as a fixed sum over the days before."""
    shocks = _normal(np.arange(day[0] - MEMORY, day[-1] + 1, dtype=np.int64), seed, stream)
    total = np.zeros(len(day))
    for back in range(MEMORY, -1, -1):  # elementwise, so that a day's sum is always taken in the same order
        total += PERSISTENCE**back * shocks[MEMORY - back : MEMORY - back + len(day)]
    return np.asarray(total * np.sqrt(1 - PERSISTENCE**2))


def _slow(day: NDArray[np.int64], seed: int, every: int, stream: int) -> Array:
    """Noise that wanders between knots `every` days apart; unit variance at the knots."""
    knot = day // every
    fraction = (day % every) / every
    knots = _normal(np.arange(knot[0], knot[-1] + 2, dtype=np.int64), seed, stream)
    ease = (1 - np.cos(np.pi * fraction)) / 2
    at = knot - knot[0]
    return np.asarray((1 - ease) * knots[at] + ease * knots[at + 1])


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
