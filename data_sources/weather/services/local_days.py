"""Daily extremes from hourly values, by the local days of a time zone: 23, 24 or 25 hours long.

Services that make days themselves use today's distance from Greenwich for the whole series, so that every
day beyond the next clock change begins an hour off. Hours in UTC and the true zone do not.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import NamedTuple
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
from numpy.typing import ArrayLike, NDArray

from phenology.model.errors import InputError, WeatherError
from phenology.weather.series import DailyWeather

HOUR = 3600
HOURS_ABSENT = 2  # of a day's hours that may be unknown and leave it a day; ours


class DaysFromHours(NamedTuple):
    """`weather`: the whole local days; `partial`: how many days had too few hours."""

    weather: DailyWeather | None
    partial: int


def zone_of(name: str) -> ZoneInfo:
    """The time zone of an IANA name.

    Raises
    ------
    InputError
        If there is none of that name.
    """
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise InputError(f"there is no time zone '{name}'; write one such as Europe/Berlin") from None


def local_today(timezone: str, now: datetime) -> date:
    """The local day at a moment."""
    return now.astimezone(zone_of(timezone)).date()


def day_starts(first: int, n_days: int, zone: ZoneInfo) -> NDArray[np.int64]:
    """The moments at which `n_days` local days begin, and the one at which the last ends.

    Parameters
    ----------
    first : int
        Ordinal of the first day.
    n_days : int
    zone : ZoneInfo
        A day without a midnight begins when the clock goes on; a day the zone skipped has no length.

    Returns
    -------
    ndarray, shape (n_days + 1,)
        Seconds since 1970 UTC.
    """
    midnight = datetime.min.time()
    return np.array(
        [
            int(datetime.combine(date.fromordinal(day), midnight, zone).timestamp())
            for day in range(first, first + n_days + 1)
        ],
        dtype=np.int64,
    )


def days_from_hours(moments: ArrayLike, values: ArrayLike, timezone: str, source: str) -> DaysFromHours:
    """Daily extremes of hourly instants.

    Parameters
    ----------
    moments : array_like of int, shape (n,)
        Seconds since 1970 UTC, strictly increasing, on full hours.
    values : array_like, shape (n,)
        Air temperature at these moments; NaN where unknown. [°C]
    timezone : str
        IANA name of the spot's zone.
    source : str
        What the days count as.

    Returns
    -------
    DaysFromHours
        A day needs all of its hours but `HOURS_ABSENT`; others are unknown, and the ends are cut off.

    Raises
    ------
    WeatherError
        If the moments are not in order, or two are the same.

    Examples
    --------
    >>> hours = np.arange(1774738800, 1774738800 + 23 * 3600, 3600)  # 29 March 2026 in Berlin: 23 hours
    >>> days_from_hours(hours, np.arange(23.0), "Europe/Berlin", "model").weather.tmax
    array([22.])
    """
    at, air = np.asarray(moments, dtype=np.int64), np.asarray(values, dtype=float)
    if at.shape != air.shape or at.ndim != 1:
        raise WeatherError(
            f"times and temperatures must be as long as each other, got {at.shape} and {air.shape}"
        )
    if (np.diff(at) <= 0).any():
        where = int(np.flatnonzero(np.diff(at) <= 0)[0]) + 1
        when = datetime.fromtimestamp(int(at[where]), UTC)
        raise WeatherError(f"the hours are not in order at {when:%Y-%m-%d %H:%M} UTC")
    known = ~np.isnan(air)
    at, air = at[known], air[known]
    if not len(at):
        return DaysFromHours(None, 0)
    zone = zone_of(timezone)
    first = datetime.fromtimestamp(int(at[0]), zone).toordinal()
    last = datetime.fromtimestamp(int(at[-1]), zone).toordinal()
    starts = day_starts(first, last - first + 1, zone)
    edges = np.searchsorted(at, starts)
    there = np.diff(edges)
    full = np.diff(
        -(-starts // HOUR)
    )  # full hours from each start on: right in zones off by half an hour too
    whole = (there >= full - HOURS_ABSENT) & (there > 0)
    low, high = np.full(len(whole), np.nan), np.full(len(whole), np.nan)
    # A day without any hour would give its neighbour's value to reduceat: only days with hours are reduced.
    some = np.flatnonzero(there)
    low[some], high[some] = np.minimum.reduceat(air, edges[some]), np.maximum.reduceat(air, edges[some])
    low[~whole] = high[~whole] = np.nan
    partial = int(((there > 0) & ~whole).sum())
    good = np.flatnonzero(whole)
    if not len(good):
        return DaysFromHours(None, partial)
    keep = slice(int(good[0]), int(good[-1]) + 1)
    weather = DailyWeather(date.fromordinal(first + int(good[0])), low[keep], high[keep], source)
    return DaysFromHours(weather, partial)
