"""A thermometer's log: many readings a day, made into daily extremes of the place's local days.

A day counts only when it holds enough of its readings; otherwise its extremes would be those of a part of it.
"""

from __future__ import annotations

import re
from collections import Counter
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np

from data_sources.tables.problems import Problem, TableError
from data_sources.tables.text_table import TextTable
from data_sources.weather.files.columns import Columns
from data_sources.weather.files.log_clock import Clock, LogTimes, log_times
from data_sources.weather.files.readings import (
    SENTINELS,
    Rows,
    Values,
    middle_notes,
    read_temperatures,
    refuse,
    to_celsius,
    units_of,
)
from data_sources.weather.files.report import FileReport
from data_sources.weather.files.time_stamps import offset_of, read_stamps
from phenology.language.written_days import DateOrder
from phenology.weather.series import DailyWeather

LEAST_SHARE = 0.9  # of a day's readings
LONGEST_HOLE = 3 * 3600  # seconds
COLDEST, HOTTEST = -90.0, 70.0  # °C; beyond them no thermometer in a garden is right
STARTING_UP = 85.0  # °C: what a common sensor gives before its first measurement

FAULTS = frozenset(
    ("err", "error", "fail", "fault", "open", "short", "lo", "hi", "over", "under", "overflow")
)
_ZONE_IN_NAME = re.compile(r"\b(?:GMT|UTC)\s*([+\-−]\d{1,2}(?::?\d{2})?)?", re.IGNORECASE)


def read_log(
    table: TextTable,
    found: Columns,
    rows: Rows,
    problems: list[Problem],
    *,
    units: str | None,
    date_order: DateOrder | None,
    source: str,
    timezone: str | None,
    clock: Clock | None,
) -> tuple[DailyWeather, FileReport]:
    """Read a log, all of it or nothing.

    Raises
    ------
    TableError
        With every cell that cannot be read, or when no day has enough readings.
    FileQuestion
        If the unit, the order of day and month, the clock or the zone is open.
    """
    zone = _place_zone(table, timezone)
    stamps, order = read_stamps(table, found, rows, date_order, problems, with_time=True)
    left_out: Counter[str] = Counter()
    roles = ("tmin", "tmax") if {"tmin", "tmax"} <= set(found.at) else ("temp",)
    at = [found.at[role] for role in roles]
    columns = [read_temperatures(table, rows, n, problems, left_out, FAULTS) for n in at]
    refuse(table, problems, *(values for values, _ in columns))
    units = units_of(table, at, units, {unit for _, in_cells in columns for unit in in_cells})
    series = [
        _plausible(to_celsius(values, units), table.headers[n], left_out)
        for n, (values, _) in zip(at, columns, strict=True)
    ]
    refuse(table, (), *series)
    times = [time for time in stamps if time]  # none is None: those were problems
    kept = _after_clock_resets(times, left_out)
    times, low, high = [times[i] for i in kept], series[0][kept], series[-1][kept]
    names = [table.headers[found.at[role]] for role in ("time", "date") if role in found.at]
    stated = _ZONE_IN_NAME.search(" ".join(names))
    if stated is not None and times[0].tzinfo is None:
        times = [time.replace(tzinfo=offset_of(stated[1] or "UTC")) for time in times]
    weather, notes = daily_extremes(log_times(table.file, times, zone, clock), low, high, source)
    if not weather.known.any():
        raise TableError(
            f"{table.file}: has readings on {len(weather)} day{'s' * (len(weather) > 1)}, but none with "
            f"{LEAST_SHARE:.0%} of its readings and no hole over {LONGEST_HOLE // 3600} hours"
        )
    report = FileReport(
        table.file,
        "thermometer log",
        units,
        weather.coverage(),
        {role: table.headers[found.at[role]] for role in ("date", "time", *roles) if role in found.at},
        order,
        left_out,
        (*notes, *middle_notes(weather)),
    )
    return weather, report


def daily_extremes(
    times: LogTimes, low: Values, high: Values, source: str
) -> tuple[DailyWeather, tuple[str, ...]]:
    """Daily minimum and maximum of readings, where a day has enough of them.

    Parameters
    ----------
    times : LogTimes
        Moments and local days of the readings, in any order.
    low, high : ndarray, shape (n_readings,)
        The reading, or the extremes since the one before; NaN where it failed. [°C]
    source : str
        What the days count as.

    Returns
    -------
    weather : DailyWeather
        NaN on days with under nine tenths of their readings or a hole over three hours.
    notes : tuple of str
        What the grower should know: doubled readings, days with too few.
    """
    good = np.isfinite(low) & np.isfinite(high)
    every = np.unique(times.instant)
    step = float(np.median(np.diff(every))) if len(every) > 1 else np.inf
    doubled = len(times.instant) - len(every)
    first, last = int(times.day.min()), int(times.day.max())
    tmin, tmax = np.full(last - first + 1, np.nan), np.full(last - first + 1, np.nan)
    instant, day, low, high = times.instant[good], times.day[good], low[good], high[good]
    order = np.lexsort((instant, day))
    instant, day, low, high = instant[order], day[order], low[order], high[order]
    thin = 0
    bounds = np.searchsorted(day, np.arange(first, last + 2))
    for n, (start, stop) in enumerate(zip(bounds[:-1].tolist(), bounds[1:].tolist(), strict=True)):
        if start == stop:
            continue
        begin, end = times.day_start(first + n), times.day_start(first + n + 1)
        moments = np.unique(instant[start:stop])
        hole = float(np.diff(np.concatenate(([begin], moments, [end]))).max())
        if len(moments) * step < LEAST_SHARE * (end - begin) or hole > LONGEST_HOLE:
            thin += 1
            continue
        tmin[n], tmax[n] = low[start:stop].min(), high[start:stop].max()
    notes = []
    if doubled:
        notes.append(f"readings at a time that another one has: {doubled:,}; all were used")
    if thin:
        notes.append(
            f"days with too few readings, taken as missing: {thin:,} "
            f"(under {LEAST_SHARE:.0%} of them, or a hole over {LONGEST_HOLE // 3600} hours)"
        )
    return DailyWeather(date.fromordinal(first), tmin, tmax, source), tuple(notes)


def _plausible(celsius: Values, name: str, left_out: Counter[str]) -> Values:
    """Readings without a sensor's signs for trouble (in °C, whatever the file has) and what no air can be."""
    trouble = np.isin(celsius, [*SENTINELS, STARTING_UP])
    beyond = np.isfinite(celsius) & ~trouble & ~((celsius > COLDEST) & (celsius < HOTTEST))
    for which, why in ((trouble, "a sensor's signs for trouble"), (beyond, "beyond any air")):
        if which.any():
            left_out[f"{name}: {why}"] += int(which.sum())
    return np.where(trouble | beyond, np.nan, celsius)


def _after_clock_resets(times: list[datetime], left_out: Counter[str]) -> list[int]:
    """Without the readings of a clock that had lost its date and stood years before the rest."""
    seconds = np.array([(t.replace(tzinfo=UTC) if t.tzinfo is None else t).timestamp() for t in times])
    early = seconds < np.median(seconds) - timedelta(days=10 * 365).total_seconds()
    reset = early & np.array([t.year in (1970, 1980, 2000) for t in times])
    for i in np.flatnonzero(reset):
        left_out[f"dated {times[i].date()}: the thermometer's clock had been reset"] += 1
    return np.flatnonzero(~reset).tolist()


def _place_zone(table: TextTable, name: str | None) -> ZoneInfo | None:
    if name is None:
        return None
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise TableError(
            f"{table.file}: cannot be read in the time zone '{name}': no such zone (one is Europe/Berlin)"
        ) from None
