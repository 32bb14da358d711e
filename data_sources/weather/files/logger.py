"""A thermometer's log: many readings a day, made into daily extremes of the place's local days.

A day counts only when it holds enough of its readings; otherwise its extremes would be those of a part of it.
A log runs on local time with the clock changes (in autumn an hour comes twice, in spring one is absent), on
local standard time all year, or on UTC. Which one is read from the log itself where it holds a clock change,
and asked when that stays open.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone, tzinfo
from itertools import pairwise
from typing import Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
from numpy.typing import NDArray

from data_sources.tables.problems import FileQuestion
from data_sources.weather.files.time_stamps import offset_of
from data_sources.weather.files.weather_table import SENTINELS, FileReport, Values, WeatherTable, to_celsius
from phenology.language.written_days import DateOrder
from phenology.weather.series import DailyWeather

Clock = Literal["local", "standard", "utc"]


@dataclass(frozen=True)
class Moments:
    """Moments of readings, in file order, in seconds from 1970 UTC, and the zone whose days count.

    For a log without a known zone both are as if its own clock showed UTC.
    """

    instant: NDArray[np.float64]
    zone: tzinfo

    def day_of(self, instant: float) -> int:
        """The local day of a moment, as an ordinal."""
        return datetime.fromtimestamp(instant, self.zone).toordinal()

    def day_start(self, ordinal: int) -> float:
        """The moment a local day begins; the next day's start ends it, 23, 24 or 25 hours later."""
        day = date.fromordinal(ordinal)
        return datetime(day.year, day.month, day.day, tzinfo=self.zone).timestamp()


def moments_of(
    file: str, times: Sequence[datetime], zone: tzinfo | None, clock: Clock | None = None
) -> Moments:
    """Moments of a log's times, in file order; naive, or all with their offset.

    Parameters
    ----------
    zone : tzinfo, optional
        The place's. Without it a log's days are those its own clock, or its first offset, showed.
    clock : {"local", "standard", "utc"}, optional
        What naive times mean; default: what the log proves, else local.

    Raises
    ------
    FileQuestion
        If the zone is needed and absent, or the log is not on local time and `clock` does not say on which.
    """
    if times[0].tzinfo is not None or clock == "utc":
        times = [t.replace(tzinfo=UTC) if t.tzinfo is None else t for t in times]
        if zone is None and {t.utcoffset() for t in times} == {timedelta(0)}:
            why = "is kept in UTC: the place's time zone is needed to tell its days; say --timezone"
            raise FileQuestion("timezone", (), f"{file}: {why}")
        zone = zone or times[0].tzinfo or UTC
    elif zone is None:
        zone, times = UTC, [t.replace(tzinfo=UTC) for t in times]
    elif clock == "standard":
        offsets = (datetime(times[0].year, month, 1, tzinfo=zone).utcoffset() for month in (1, 7))
        fixed = timezone(min(offset for offset in offsets if offset is not None))
        times = [t.replace(tzinfo=fixed) for t in times]
    elif clock is None and not follows_clock_changes(times, zone):
        why = f"does not follow the clock changes of {zone}; say --clock standard or --clock utc"
        raise FileQuestion("clock", ("standard", "utc"), f"{file}: {why}")
    else:
        times = [t.replace(tzinfo=zone) for t in _with_folds(times, zone)]
    return Moments(np.array([t.timestamp() for t in times]), zone)


def follows_clock_changes(times: Sequence[datetime], zone: tzinfo) -> bool:
    """Whether a log may show local time: false when it holds a clock change and did not follow it.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> hours = [datetime(2026, 3, 29, h) for h in range(6)]  # 02:00 never came in Berlin
    >>> follows_clock_changes(hours, ZoneInfo("Europe/Berlin"))
    False
    >>> follows_clock_changes(hours[:2] + hours[3:], ZoneInfo("Europe/Berlin"))
    True
    """
    ordered = sorted(times)
    steps = [(b - a).total_seconds() for a, b in pairwise(ordered) if b > a]
    step = float(np.median(steps or [3600.0]))
    seen: set[datetime] = set()
    for before, time in pairwise([times[0], *times]):
        change = _offset_change(time, zone)
        if change > 0:  # an hour that never was
            return False
        if change < 0 and (time in seen or time < before):
            return True  # the doubled hour
        if change < 0:
            seen.add(time)
    # The hour that comes twice, full but only once, with the readings going on after it.
    full, newest = 3600 / max(step, 1.0), ordered[-1]
    return not any(
        count >= full - 0.5 and newest - datetime(day.year, day.month, day.day) > timedelta(hours=6)
        for day, count in Counter(time.date() for time in seen).items()
    )


def _offset_change(time: datetime, zone: tzinfo) -> float:
    """0 for a usual time; below 0 for one that comes twice; above 0 for one that never comes. [s]"""
    first, second = (time.replace(tzinfo=zone, fold=fold).utcoffset() for fold in (0, 1))
    return (second - first).total_seconds() if first is not None and second is not None else 0.0


def _with_folds(times: Sequence[datetime], zone: tzinfo) -> list[datetime]:
    """Which pass of a doubled hour each time belongs to: the second once the clock has gone back."""
    newest_first = sum(b < a for a, b in pairwise(times)) > len(times) / 2
    out: list[datetime] = []
    latest, second_pass = datetime.min, False  # within the doubled hour at hand
    for time in reversed(times) if newest_first else times:
        if _offset_change(time, zone) >= 0:
            latest, second_pass = datetime.min, False
        else:
            second_pass |= time <= latest
            latest = max(latest, time)
        out.append(time.replace(fold=int(second_pass)))
    return out[::-1] if newest_first else out


LEAST_SHARE = 0.9  # of a day's readings
LONGEST_HOLE = 3 * 3600  # seconds
COLDEST, HOTTEST = -90.0, 70.0  # °C; beyond them no thermometer in a garden is right
LEAST_CHANGES = 24  # readings from which a log can be told to hold changes alone
HELD_EVERY = 600.0  # seconds
STARTING_UP = 85.0  # °C: what a common sensor gives before its first measurement
FAULTS = frozenset(
    ["err", "error", "fail", "fault", "open", "short", "lo", "hi", "over", "under", "overflow"]
)

_ZONE_IN_NAME = re.compile(r"\b(?:GMT|UTC)\s*([+\-−]\d{1,2}(?::?\d{2})?)?", re.IGNORECASE)


def read_log(
    table: WeatherTable,
    *,
    units: str | None,
    date_order: DateOrder | None,
    source: str,
    timezone: str | None,
    clock: Clock | None,
) -> tuple[DailyWeather, FileReport]:
    """Read a log, all of it or nothing.

    Raises `TableError` with every cell that cannot be read, or when no day has enough readings. Raises
    `FileQuestion` if the unit, the order of day and month, the clock or the zone is open.
    """
    try:
        zone = ZoneInfo(timezone) if timezone is not None else None
    except (ZoneInfoNotFoundError, ValueError, OSError):
        why = f"cannot be read in the time zone '{timezone}': no such zone (one is Europe/Berlin)"
        raise table.error(why) from None
    stamps, order = table.times(date_order, with_time=True, place=zone)
    roles = ("tmin", "tmax") if {"tmin", "tmax"} <= set(table.at) else ("temp",)
    readings = [table.temperatures(role, FAULTS) for role in roles]
    table.refuse(*readings)
    units = table.units(units, *roles)
    series = [
        _plausible(to_celsius(values, units), name, table.left_out)
        for values, name in zip(readings, table.names(*roles).values(), strict=True)
    ]
    table.refuse(*series)
    times = [time for time in stamps if time]  # none is None: those were problems
    kept = _after_clock_resets(times, table.left_out)
    times = [times[n] for n in kept]
    stated = _ZONE_IN_NAME.search(" ".join(table.names("time", "date").values()))
    if stated is not None and times[0].tzinfo is None:
        times = [time.replace(tzinfo=offset_of(stated[1] or "UTC")) for time in times]
    moments = moments_of(table.table.file, times, zone, clock)
    low, high = series[0][kept], series[-1][kept]
    held = held_between_changes(moments, low) if len(roles) == 1 else None
    if held is not None:
        moments, low = held
        high = low
    weather, notes = daily_extremes(moments, low, high, source)
    if held is not None:
        notes = ("the thermometer writes only when the temperature changes; it holds until the next", *notes)
    if not weather.known.any():
        raise table.error(
            f"has readings on {len(weather)} day{'s' * (len(weather) > 1)}, but none with {LEAST_SHARE:.0%} "
            f"of its readings and no hole over {LONGEST_HOLE // 3600} hours"
        )
    columns = ("date", "time", *roles)
    return weather, table.report("thermometer log", units, weather, *columns, date_order=order, notes=notes)


def held_between_changes(times: Moments, values: Values) -> tuple[Moments, Values] | None:
    """The readings of a thermometer that writes only changes, with the value that holds every ten minutes.

    None for other logs: it writes at uneven times and never the same value twice. A long hole is one in which
    nothing changed if the next value is within two usual changes of the last; else it stays a hole.
    """
    good = np.isfinite(values)
    instant, first = np.unique(times.instant[good], return_index=True)
    value = values[good][first]
    if len(value) < LEAST_CHANGES:
        return None
    steps, changes = np.diff(instant), np.abs(np.diff(value))
    uneven = np.quantile(steps, 0.9) > 1.5 * np.median(steps)
    if not uneven or (changes == 0).mean() > 0.02:
        return None
    nothing = changes <= 2 * np.median(changes) + 0.01
    grid = np.arange(instant[0], instant[-1], HELD_EVERY)
    before = np.searchsorted(instant, grid, side="right") - 1
    holds = (steps[before] <= LONGEST_HOLE) | nothing[before]
    moments = np.concatenate([instant, grid[holds]])
    return Moments(moments, times.zone), np.concatenate([value, value[before[holds]]])


def daily_extremes(
    times: Moments, low: Values, high: Values, source: str
) -> tuple[DailyWeather, tuple[str, ...]]:
    """Daily minimum and maximum of readings, where a day has enough of them, and notes for the grower.

    `low` and `high` are the reading, or the extremes since the one before, NaN where it failed; shape
    (n_readings,), in any order. [°C]
    """
    every = np.unique(times.instant)
    step = float(np.median(np.diff(every))) if len(every) > 1 else np.inf
    doubled = len(times.instant) - len(every)
    first, last = times.day_of(every[0]), times.day_of(every[-1])
    starts = np.array([times.day_start(day) for day in range(first, last + 2)])
    good = np.isfinite(low) & np.isfinite(high)
    instant, low, high = times.instant[good], low[good], high[good]
    moments = np.unique(instant)
    count = np.diff(np.searchsorted(moments, starts))
    points = np.unique(np.concatenate((moments, starts)))
    holes = np.maximum.reduceat(np.diff(points), np.searchsorted(points, starts[:-1]))
    enough = (count * step >= LEAST_SHARE * np.diff(starts)) & (holes <= LONGEST_HOLE)
    tmin, tmax = np.full(len(count), np.inf), np.full(len(count), -np.inf)
    day = np.searchsorted(starts, instant, side="right") - 1
    np.minimum.at(tmin, day, low)
    np.maximum.at(tmax, day, high)
    thin = int(((count > 0) & ~enough).sum())
    notes = []
    if doubled:
        notes.append(f"readings at a time that another one has: {doubled:,}; all were used")
    if thin:
        notes.append(
            f"days with too few readings, taken as missing: {thin:,} "
            f"(under {LEAST_SHARE:.0%} of them, or a hole over {LONGEST_HOLE // 3600} hours)"
        )
    tmin[~enough] = tmax[~enough] = np.nan
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
