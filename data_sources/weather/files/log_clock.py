"""From what a log's clock showed to moments in time and to the place's local days.

A log runs on local time with the clock changes (in autumn an hour comes twice, in spring one is absent), on
local standard time all year, or on UTC. Which one is read from the log itself where it holds a clock
change, and asked when that stays open.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone, tzinfo
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from data_sources.tables.problems import FileQuestion

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
    """Moments of a log's times.

    Parameters
    ----------
    times : sequence of datetime
        In file order; naive, or all with their offset.
    zone : tzinfo, optional
        The place's zone. Without it a log's days are those its own clock, or its first offset, showed.
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
