"""One place from several stations: brought to its height, then weighted by closeness, all days at once.

The rule is that of the station library's own `interpolate` (version 2.1.5), which loops over the days and
takes a minute for thirty years; `tests/data_sources/test_weather_blend.py` holds the two together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from data_sources.weather.services.protocol import Spot, StationDays
from phenology.model.arrays import Array
from phenology.model.errors import WeatherError
from phenology.weather.quality import without_crossed_days
from phenology.weather.series import DailyWeather

LAPSE_RATE = 6.5  # °C per 1,000 m, the standard atmosphere
LAPSE_FROM = 50.0  # m: all are corrected as soon as one differs by so much
HEIGHT_WEIGHT = 10.0  # a metre of height counts like so many of distance
POWER = 2.0
NEAR, NEAR_HEIGHT = 5000.0, 50.0  # m: a station so near stands alone
EARTH_RADIUS = 6_371_000.0  # m


@dataclass(frozen=True)
class Blend:
    """The blended days.

    Attributes
    ----------
    weather : DailyWeather
        Source "station", or "model" on days for which no station has a measurement.
    suspect : dict of date to str
        Days on which every station there is was doubtful: their value is shown, not used.
    crossed : int
        Days left unknown because minimum and maximum, from different stations, crossed.
    used : tuple of str
        Stations with any value, the nearest first.
    """

    weather: DailyWeather
    suspect: dict[date, str]
    crossed: int
    used: tuple[str, ...]


def distance(latitude: float, longitude: float, latitudes: Array, longitudes: Array) -> Array:
    """Great-circle distance of one point to many. [m]

    Examples
    --------
    >>> float(distance(0.0, 179.9, np.array([0.0]), np.array([-179.9]))[0].round())
    22239.0
    """
    a, b = np.radians(latitude), np.radians(latitudes)
    half = (
        np.sin((b - a) / 2) ** 2 + np.cos(a) * np.cos(b) * np.sin(np.radians(longitudes - longitude) / 2) ** 2
    )
    return np.asarray(2 * EARTH_RADIUS * np.arcsin(np.sqrt(np.minimum(half, 1.0))))


def blend_values(
    values: Array,
    horizontal: Array,
    heights: Array,
    height: float | None,
    *,
    lapse_rate: float | None = LAPSE_RATE,
) -> Array:
    """Values of one variable at the spot.

    Parameters
    ----------
    values : ndarray, shape (n_stations, n_days)
        NaN where a station has none. [°C]
    horizontal : ndarray, shape (n_stations,)
        Distance to the spot. [m]
    heights : ndarray, shape (n_stations,)
        Above sea level, known for all. [m]
    height : float or None
        Of the spot; None: neither corrected nor weighted for height. [m]
    lapse_rate : float, optional
        None leaves the values at their height. [°C per 1,000 m]

    Returns
    -------
    ndarray, shape (n_days,)
        To a tenth; NaN where no station has a value.

    Notes
    -----
    Where a station stands within `NEAR` and any within `NEAR_HEIGHT` of height, the nearest that is both has
    the say, and the others fill its gaps.
    """
    above = np.zeros(len(heights)) if height is None else heights - height
    away = np.abs(above)
    if height is not None and lapse_rate is not None and away.max() >= LAPSE_FROM:
        values = np.round(values + (lapse_rate / 1000 * above)[:, None], 1)
    effective = np.sqrt(horizontal**2 + (away * HEIGHT_WEIGHT) ** 2)
    weights = (effective == 0).astype(float) if (effective == 0).any() else 1 / effective**POWER
    known = ~np.isnan(values)
    total = weights @ known
    with np.errstate(invalid="ignore"):
        blended = np.where(total > 0, (weights @ np.where(known, values, 0.0)) / total, np.nan)
    if horizontal.min() <= NEAR and away.min() <= NEAR_HEIGHT:
        alone = np.flatnonzero((horizontal <= NEAR) & (away <= NEAR_HEIGHT))
        for at in alone[np.argsort(-horizontal[alone])]:  # the nearest last, so that it has the last word
            blended = np.where(known[at], values[at], blended)
    return np.asarray(np.round(blended, 1))


def blend_stations(stations: Sequence[StationDays], spot: Spot, first: date, last: date) -> Blend:
    """The days from `first` to `last` at a spot.

    Parameters
    ----------
    stations : sequence of StationDays
        Their doubtful days are passed over while any other station has the day.
    spot : Spot
    first, last : datetime.date

    Raises
    ------
    WeatherError
        If there is no station, or the spot's height is known and no station's is.
    """
    usable = [s for s in stations if spot.elevation is None or s.station.elevation is not None]
    if not usable:
        raise WeatherError(
            "no station near has a known height, and without it cannot be brought to the spot's"
        )
    usable.sort(key=lambda s: s.station.distance_km)
    wide = [s.weather.spanning(first, last) for s in usable]
    lows, highs = np.stack([w.tmin for w in wide]), np.stack([w.tmax for w in wide])
    modelled = np.stack([w.source == "model" for w in wide])
    doubtful = np.zeros(lows.shape, dtype=bool)
    for n, one in enumerate(usable):
        inside = [(day - first).days for day in one.doubts if first <= day <= last]
        doubtful[n, inside] = True
    # Measured days go before modelled ones, and both before doubtful ones, whole days at a time.
    there = ~(np.isnan(lows) & np.isnan(highs))
    measured = (there & ~modelled & ~doubtful).any(axis=0)
    plain = (there & ~doubtful).any(axis=0)
    use = there & np.where(measured, ~modelled & ~doubtful, np.where(plain, ~doubtful, True))
    where = distance(
        spot.latitude,
        spot.longitude,
        np.array([s.station.latitude for s in usable]),
        np.array([s.station.longitude for s in usable]),
    )
    heights = np.array([s.station.elevation or 0.0 for s in usable])
    low, high = (
        blend_values(np.where(use, values, np.nan), where, heights, spot.elevation)
        for values in (lows, highs)
    )
    only_doubtful = there.any(axis=0) & ~plain
    source = np.where(measured | (only_doubtful & ~modelled.any(axis=0)), "station", "model")
    weather, crossed = without_crossed_days(first, low, high, source)
    suspect = {}
    for at in np.flatnonzero(only_doubtful):
        day = date.fromordinal(first.toordinal() + int(at))
        if day not in crossed:
            suspect[day] = next(s.doubts[day] for s in usable if day in s.doubts)
    used = tuple(s.station.id for n, s in enumerate(usable) if use[n].any())
    return Blend(weather, suspect, len(crossed), used)
