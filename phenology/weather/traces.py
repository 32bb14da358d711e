"""Traces: possible seasons. What was measured, then a forecast, then past years in today's climate."""

from __future__ import annotations

import math
from datetime import timedelta
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from phenology.heat.clocks import CLOCKS, Clock, ThermalTime, accumulate
from phenology.model.arrays import Array
from phenology.model.errors import WeatherError
from phenology.weather.normals import YEAR_DAYS, Normals, fill_gaps
from phenology.weather.outlook import Outlook, courses
from phenology.weather.season_weather import SeasonWeather

WANTED = 20  # fewer past years than this are used, and said
FEWEST = 25  # donors; with fewer, each also serves shifted in time
SHIFT_DAYS = 5
STRETCHED = 60  # traces that a few donors are stretched to


class Traces(NamedTuple):
    """Possible courses of one season."""

    season: int
    # day of the season up to which everything is common to all: that of the issue, or the last measured one
    # where forecast days follow; among possible years, the last before one not measured
    issued: int
    # tmin, tmax: from day 1 of the season to its last, shape (n_traces, days) [degC]
    tmin: Array
    tmax: Array
    # the past season behind each trace; none where possible years stand in for past ones
    donors: tuple[int, ...]
    # running variance from days to date that had to be filled, shape (days + 1,) [degC^2 d]
    gap_variance: Array
    daylight: Array | None = None  # shape (days,) [h]

    def thermal_time(self, clocks: tuple[Clock, ...] = CLOCKS) -> ThermalTime:
        """The clocks over every trace; sums of shape (n_traces, clocks, days + 1)."""
        past, ahead = slice(self.issued), slice(self.issued, None)
        light = (None, None) if self.daylight is None else (self.daylight[past], self.daylight[ahead])
        before = accumulate(self.tmin[:1, past], self.tmax[:1, past], clocks, light[0]).sums
        after = accumulate(self.tmin[:, ahead], self.tmax[:, ahead], clocks, light[1]).sums
        common = np.broadcast_to(before, (len(self.tmin), *before.shape[1:]))
        return ThermalTime(np.concatenate([common, common[..., -1:] + after[..., 1:]], axis=-1))


def draw_traces(
    record: SeasonWeather,
    season: int,
    issued: int,
    *,
    normals: Normals | None = None,
    outlook: Outlook | None = None,
) -> Traces:
    """Draw the possible courses of a season from what was known at the end of day `issued`.

    Parameters
    ----------
    record : SeasonWeather
        Weather of this season (forecast days included) and of past ones. Only days known by the issue
        date may be in it for this season; see `SeasonWeather.through`.
    season, issued : int
        The season, and the day of it (0: before its first).
    normals : Normals, optional
        The usual year, if it must not be learned from this record.
    outlook : Outlook, optional
        When the record's forecast was made, its skill, and an ensemble. Default: made on the issue date, of
        default skill.

    Raises
    ------
    WeatherError
        If no past season has weather for the days still to come, and no possible years stand in.

    Notes
    -----
    Days marked as forecast spread with their lead, see `outlook.courses`, and hand over to past years.
    Other days of this season after `issued` that the record knows are common to all traces.
    Letting a warm or cold spell carry over into the coming weeks was tried and did not help.
    """
    normals = normals or record.normals
    days = record.calendar.length(season)
    last_known, reach = _last_known(record, season, issued, days, outlook)
    made = _possible(record, season, days) if record.possible else None
    tmin, tmax, names, common, gap = made or _past(record, season, days, last_known, normals)
    if reach > last_known:
        ahead = slice(last_known, reach)
        first = record.calendar.date(season, last_known + 1)
        outlook = outlook or Outlook(record.calendar.start(season) + timedelta(days=issued - 1))
        said = _said(record, season, ahead)
        past = tmin[:, ahead], tmax[:, ahead]
        tmin[:, ahead], tmax[:, ahead] = courses(said, past, first, outlook, normals.spread)
    light = record.daylight(season, days)
    return Traces(season, common, np.minimum(tmin, tmax), tmax, names, gap, light)


Courses = tuple[Array, Array, tuple[int, ...], int, Array]
"""Minima, maxima, past seasons behind them, days that are common to all, and gap variance."""


def _possible(record: SeasonWeather, season: int, days: int) -> Courses:
    """Possible years about what was measured; days that were not differ from year to year."""
    years = record.possible
    assert years is not None
    tmin, tmax = years.tmin[:, :days].copy(), years.tmax[:, :days].copy()
    known, said = _known(record, season, days)
    measured = known & ~said
    if measured.any():
        row = record.row(season)
        tmin[:, measured], tmax[:, measured] = (
            record.tmin[row, :days][measured],
            record.tmax[row, :days][measured],
        )
    common = days if measured.all() else int(np.argmin(measured))
    return tmin, tmax, (), common, np.zeros(days + 1)


def _past(record: SeasonWeather, season: int, days: int, last_known: int, normals: Normals) -> Courses:
    """What was measured to the last known day, then past years."""
    low, high, variance = _this_season(record, season, days, normals)
    donors = [s for s in record.seasons if s != season and _serves(record, s, last_known)]
    if not donors:
        raise WeatherError(
            "there is no past season of weather to draw the coming weeks from; add at least one full year "
            "with `flushcast weather add FILE`"
        )
    shifts = _shifts(len(donors))
    rows_low, rows_high, names = [], [], []
    for shift in shifts:
        for donor in donors:
            past_low, past_high, _ = record.filled(donor, normals)
            warmed = normals.trend * (season - donor)
            index = np.clip(np.arange(last_known, days) + shift, 0, len(past_low) - 1)
            seasonal = [
                usual[np.arange(last_known, days)] - usual[np.clip(index, 0, YEAR_DAYS - 1)]
                for usual in (normals.tmin, normals.tmax)
            ]
            rows_low.append(np.concatenate([low[:last_known], past_low[index] + seasonal[0] + warmed]))
            rows_high.append(np.concatenate([high[:last_known], past_high[index] + seasonal[1] + warmed]))
            names.append(donor)
    gap = np.concatenate([[0.0], np.cumsum(np.where(np.arange(days) < last_known, variance, 0.0))])
    return np.array(rows_low), np.array(rows_high), tuple(names), last_known, gap


def _this_season(
    record: SeasonWeather, season: int, days: int, normals: Normals
) -> tuple[Array, Array, Array]:
    if season in record.seasons:
        return record.filled(season, normals)
    unknown = np.full(days, np.nan)
    return fill_gaps(unknown, unknown, normals)


def _last_known(
    record: SeasonWeather, season: int, issued: int, days: int, outlook: Outlook | None
) -> tuple[int, int]:
    """Last day of the season up to which all traces agree, and the last one that a forecast reaches."""
    known, said = _known(record, season, days)
    measured = int(np.flatnonzero(known & ~said)[-1]) + 1 if (known & ~said).any() else 0
    agreed = min(days, max(issued, measured))
    ahead = np.flatnonzero(said[measured:]) + measured
    reach = int(ahead[-1]) + 1 if len(ahead) else 0
    if len(ahead):
        agreed = min(agreed, int(ahead[0]))
    members_end = outlook.last_day() if outlook else None
    if members_end is not None:
        reach = max(reach, (members_end - record.calendar.start(season)).days + 1)
    return agreed, min(days, reach)


def _known(record: SeasonWeather, season: int, days: int) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Which days of a season are known, and which of them from a forecast."""
    if season not in record.seasons:
        return np.zeros(days, dtype=bool), np.zeros(days, dtype=bool)
    row = record.row(season)
    known = record.known(season)[:days]
    said = np.zeros(days, dtype=bool) if record.forecast is None else record.forecast[row, :days] & known
    return known, said


def _said(record: SeasonWeather, season: int, ahead: slice) -> tuple[Array, Array]:
    """What the forecast says of some days, NaN where it says nothing."""
    if season not in record.seasons or record.forecast is None:
        return np.full(ahead.stop - ahead.start, np.nan), np.full(ahead.stop - ahead.start, np.nan)
    row = record.row(season)
    said = record.forecast[row, ahead]
    return np.where(said, record.tmin[row, ahead], np.nan), np.where(said, record.tmax[row, ahead], np.nan)


def _serves(record: SeasonWeather, season: int, after: int) -> bool:
    """Whether a past season knows most of the days still to come (near the end: of the whole year)."""
    days = record.calendar.length(season)
    start = min(after, days - 60)
    return bool(record.known(season)[start:days].mean() > 0.8)


def _shifts(donors: int) -> tuple[int, ...]:
    """With few donors each also serves as often earlier as later: spells then fall on other days."""
    if donors >= FEWEST:
        return (0,)
    sides = math.ceil((STRETCHED / donors - 1) / 2)
    return tuple(SHIFT_DAYS * k for k in range(-sides, sides + 1))
