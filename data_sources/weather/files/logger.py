"""A thermometer's log: many readings a day, made into daily extremes of the place's local days.

A day counts only when it holds enough of its readings; otherwise its extremes would be those of a part of it.
"""

from __future__ import annotations

import re
from collections import Counter
from datetime import UTC, date, datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
from numpy.typing import NDArray

from data_sources.weather.files.columns import Columns
from data_sources.weather.files.log_clock import Clock, LogTimes, log_times
from data_sources.weather.files.problems import Problem, WeatherFileError
from data_sources.weather.files.report import FileReport
from data_sources.weather.files.rows import Rows, middle_notes, read_times, to_celsius, units_of, whole_rows
from data_sources.weather.files.text import Table
from data_sources.weather.files.values import SENTINELS, DateOrder, offset_of, read_number
from phenology.weather.series import DailyWeather

LEAST_SHARE = 0.9  # of a day's readings
LONGEST_HOLE = 3 * 3600  # seconds
COLDEST, HOTTEST = -90.0, 70.0  # °C; beyond them no thermometer in a garden is right
STARTING_UP = 85.0  # °C: what a common sensor gives before its first measurement

_FAULTS = frozenset(
    ("err", "error", "fail", "fault", "open", "short", "lo", "hi", "over", "under", "overflow")
)
_ZONE_IN_NAME = re.compile(r"\b(?:GMT|UTC)\s*([+\-−]\d{1,2}(?::?\d{2})?)?", re.IGNORECASE)

Values = NDArray[np.float64]


def is_log(table: Table, found: Columns, date_order: DateOrder | None) -> bool:
    """Whether the table has several readings a day rather than one row."""
    if not {"tmin", "tmax"} <= set(found.at):
        return True
    rows = whole_rows(table, found, [])
    if "time" not in found.at and not any(":" in cell for _, cells in rows[:50] for cell in cells):
        return False
    stamps = read_times(table, found, rows, date_order or "day-first")
    days = [time.date() for time in stamps.times if time]
    return stamps.timed and len(set(days)) < 0.7 * len(days)


def read_log(
    table: Table,
    found: Columns,
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
    WeatherFileError
        With every cell that cannot be read, or when no day has enough readings.
    WeatherFileQuestion
        If the unit, the order of day and month, the clock or the zone is open.
    """
    zone = _place_zone(table, timezone)
    problems: list[Problem] = []
    rows = whole_rows(table, found, problems)
    stamps = read_times(table, found, rows, date_order)
    problems += stamps.problems
    left_out: Counter[str] = Counter()
    roles = ("tmin", "tmax") if {"tmin", "tmax"} <= set(found.at) else ("temp",)
    readings, in_cells = {}, set()
    for role in roles:
        readings[role], seen = _readings(found, role, rows, problems)
        in_cells |= seen
    if problems:
        raise WeatherFileError(table.path, sorted(problems, key=lambda p: p.line))
    units = units_of(table, [found.names[role] for role in roles], units, in_cells)
    series = [_celsius(readings[role], units, found.names[role], left_out) for role in roles]
    low, high = series[0], series[-1]
    if not (np.isfinite(low) & np.isfinite(high)).any():
        raise WeatherFileError(table.path, f"there is no temperature in any of its {len(rows):,} rows")

    times = [time for time in stamps.times if time]  # none is None: those were problems
    kept = _after_clock_resets(times, left_out)
    times, low, high = [times[i] for i in kept], low[kept], high[kept]
    stated = _zone_stated(f"{found.names.get('time', '')} {found.names.get('date', '')}")
    if stated is not None and times[0].tzinfo is None:
        times = [time.replace(tzinfo=stated) for time in times]
    moments = log_times(table.path, times, zone, clock)
    weather, notes = daily_extremes(moments, low, high, source)
    if not weather.known.any():
        raise WeatherFileError(
            table.path,
            f"has readings on {len(weather)} day{'s' * (len(weather) > 1)}, but none with {LEAST_SHARE:.0%} "
            f"of its readings and no hole over {LONGEST_HOLE // 3600} hours",
        )
    report = FileReport(
        table.path,
        "thermometer log",
        units,
        weather.coverage(),
        {role: found.names[role] for role in ("date", "time", *roles) if role in found.names},
        stamps.order,
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


def _readings(
    found: Columns, role: str, rows: Rows, problems: list[Problem]
) -> tuple[list[float | None], set[str]]:
    at, name = found.at[role], found.names[role]
    values: list[float | None] = []
    units: set[str] = set()
    for line, cells in rows:
        value = None
        if cells[at].casefold() not in _FAULTS:
            try:
                value, unit = read_number(cells[at])
                units |= {unit} if unit else set()
            except ValueError:
                read = f"'{cells[at]}' is not a number"
                problems.append(Problem(line, name, read, "write one such as 14.2, or leave it blank"))
        values.append(value)
    return values, units


def _celsius(values: list[float | None], units: str, name: str, left_out: Counter[str]) -> Values:
    out = np.full(len(values), np.nan)
    for i, value in enumerate(values):
        if value is None:
            continue
        warmth = to_celsius(value, units)
        # A sensor's own signs for trouble are in °C; the file may have brought them to °F.
        if value in SENTINELS or warmth in SENTINELS or warmth == STARTING_UP:
            left_out[f"{name}: a sensor's signs for trouble"] += 1
        elif not COLDEST < warmth < HOTTEST:
            left_out[f"{name}: beyond any air"] += 1
        else:
            out[i] = warmth
    return out


def _after_clock_resets(times: list[datetime], left_out: Counter[str]) -> list[int]:
    """Without the readings of a clock that had lost its date and stood years before the rest."""
    seconds = np.array([(t.replace(tzinfo=UTC) if t.tzinfo is None else t).timestamp() for t in times])
    early = seconds < np.median(seconds) - timedelta(days=10 * 365).total_seconds()
    reset = early & np.array([t.year in (1970, 1980, 2000) for t in times])
    for i in np.flatnonzero(reset):
        left_out[f"dated {times[i].date()}: the thermometer's clock had been reset"] += 1
    return np.flatnonzero(~reset).tolist()


def _zone_stated(name: str) -> tzinfo | None:
    """The fixed offset a column name states ("Date Time, GMT+01:00"), if any."""
    found = _ZONE_IN_NAME.search(name)
    if found is None:
        return None
    return timezone(offset_of(found[1])) if found[1] else UTC


def _place_zone(table: Table, name: str | None) -> ZoneInfo | None:
    if name is None:
        return None
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise WeatherFileError(
            table.path, f"cannot be read in the time zone '{name}': no such zone (one is Europe/Berlin)"
        ) from None
