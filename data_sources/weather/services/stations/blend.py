"""One place from several stations: brought to its height, then weighted by closeness, all days at once.

The rule is that of the station library's own `interpolate` (version 2.1.5), which loops over the days and
takes a minute for thirty years; `tests/data_sources/test_weather_blend.py` holds the two together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from data_sources.weather.services.protocol.service import Spot
from phenology.model.arrays import Array
from phenology.model.errors import WeatherError
from phenology.weather.quality import doubtful_days, shifted_days, without_crossed_days
from phenology.weather.series import DailyWeather

LAPSE_RATE = 6.5  # °C per 1,000 m, the standard atmosphere
LAPSE_FROM = 50.0  # m: all are corrected as soon as one differs by so much
HEIGHT_WEIGHT = 10.0  # a metre of height counts like so many of distance
POWER = 2.0
NEAR, NEAR_HEIGHT = 5000.0, 50.0  # m: a station so near stands alone


@dataclass(frozen=True)
class Station:
    """A weather station near the spot."""

    id: str
    name: str
    elevation: float | None
    distance_km: float


@dataclass(frozen=True)
class StationDays:
    """What one station measured, with the days that are hard to believe."""

    station: Station
    weather: DailyWeather
    doubts: Mapping[date, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Blend:
    """The blended days."""

    weather: DailyWeather  # source "station", or "model" on days for which no station has a measurement
    # days on which every station there is was doubtful: their value is shown, not used
    suspect: dict[date, str]
    crossed: int  # days left unknown because minimum and maximum, from different stations, crossed
    used: tuple[str, ...]  # stations with any value, the nearest first
    stations: NDArray[np.int64]  # how many stations each day is from


def blend_values(
    values: Array,
    horizontal: Array,
    heights: Array,
    height: float | None,
    *,
    lapse_rate: float | None = LAPSE_RATE,
) -> Array:
    """Values of one variable at the spot, to a tenth; NaN where no station has a value.

    Parameters
    ----------
    values : ndarray, shape (n_stations, n_days)
        NaN where a station has none. [°C]
    horizontal, heights : ndarray, shape (n_stations,)
        Distance to the spot, and height above sea level. [m]
    height : float or None
        Of the spot; None: neither corrected nor weighted for height. [m]
    lapse_rate : float, optional
        None leaves the values at their height. [°C per 1,000 m]

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

    A station's doubtful days are passed over while any other has the day. Raises `WeatherError` if there is
    no station, or the spot's height is known and no station's is.
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
        doubtful[n, [(day - first).days for day in one.doubts if first <= day <= last]] = True
    # Measured days go before modelled ones, and both before doubtful ones, whole days at a time.
    there = ~(np.isnan(lows) & np.isnan(highs))
    measured = (there & ~modelled & ~doubtful).any(axis=0)
    plain = (there & ~doubtful).any(axis=0)
    use = there & np.where(measured, ~modelled & ~doubtful, np.where(plain, ~doubtful, True))
    where = np.array([1000 * s.station.distance_km for s in usable])
    heights = np.array([s.station.elevation or 0.0 for s in usable])
    low, high = (
        blend_values(np.where(use, values, np.nan), where, heights, spot.elevation)
        for values in (lows, highs)
    )
    only_doubtful = there.any(axis=0) & ~plain
    source = np.where(measured | (only_doubtful & ~modelled.any(axis=0)), "station", "model")
    weather, crossed = without_crossed_days(first, low, high, source)
    doubts = {day: why for s in reversed(usable) for day, why in s.doubts.items()}
    days = [date.fromordinal(int(weather.ordinals[at])) for at in np.flatnonzero(only_doubtful)]
    used = tuple(s.station.id for n, s in enumerate(usable) if use[n].any())
    suspect = {day: doubts[day] for day in days if day not in crossed}
    return Blend(weather, suspect, len(crossed), used, use.sum(axis=0))


def judged_by_each_other(stations: Sequence[StationDays]) -> tuple[list[StationDays], list[str]]:
    """Stations with their doubtful days marked (one may disagree with the others), and what seems misdated.

    Of two that disagree nobody can tell which is right, so it takes three: each is held against the median
    of the others. A steady difference (height, town) is no disagreement.
    """
    if len(stations) < 3:
        return [replace(one, doubts=doubtful_days(one.weather)) for one in stations], []
    first, last = min(s.weather.first_day for s in stations), max(s.weather.last_day for s in stations)
    wide = [s.weather.spanning(first, last) for s in stations]
    judged, notes = [], []
    for one, mine in zip(stations, wide, strict=True):
        medians = []
        for name in ("tmin", "tmax"):
            others = pd.DataFrame({n: getattr(w, name) for n, w in enumerate(wide) if w is not mine})
            medians.append(others.median(axis=1).where(others.count(axis=1) >= 2))
        middle, _ = without_crossed_days(first, medians[0], medians[1], "station")
        judged.append(replace(one, doubts=doubtful_days(one.weather, middle)))
        notes += [f"{one.station.id}: {shift}" for shift in shifted_days(one.weather, middle)]
    return judged, notes
