"""From what a log's clock showed to moments in time and to the place's local days.

A log runs on local time with the clock changes (in autumn an hour comes twice, in spring one is absent), on
local standard time all year, or on UTC. Which one is read from the log itself where it holds a clock
change, and asked when that stays open.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone, tzinfo
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from data_sources.tables.problems import FileQuestion

Clock = Literal["local", "standard", "utc"]
CLOCKS: tuple[Clock, ...] = ("local", "standard", "utc")
_EPOCH = datetime(1970, 1, 1)


@dataclass(frozen=True)
class LogTimes:
    """Moments of readings, in file order.

    `instant` counts seconds (from 1970 UTC; from 1970 of the log's own clock when `zone` is None), `day` is
    the ordinal of the local day.
    """

    instant: NDArray[np.float64]
    day: NDArray[np.int64]
    zone: tzinfo | None
    notes: tuple[str, ...] = ()

    def day_start(self, ordinal: int) -> float:
        """The moment a local day begins; the next day's start ends it, 23, 24 or 25 hours later."""
        midnight = datetime.combine(date.fromordinal(ordinal), datetime.min.time())
        if self.zone is None:
            return (midnight - _EPOCH).total_seconds()
        return midnight.replace(tzinfo=self.zone).timestamp()


def log_times(
    file: str, times: Sequence[datetime], zone: tzinfo | None, clock: Clock | None = None
) -> LogTimes:
    """Moments and local days of a log's times.

    Parameters
    ----------
    file : str
        For the questions.
    times : sequence of datetime
        In file order; naive, or all with their offset.
    zone : tzinfo, optional
        The place's zone. Without it a log's days are those its own clock showed.
    clock : {"local", "standard", "utc"}, optional
        What naive times mean; default: what the log proves, else local.

    Raises
    ------
    FileQuestion
        If the zone is needed and absent, or the log is not on local time and `clock` does not say on which.
    """
    if times[0].tzinfo is not None or clock == "utc":
        moments = [t.replace(tzinfo=UTC) if t.tzinfo is None else t for t in times]
        offsets = {moment.utcoffset() for moment in moments}
        if zone is None and offsets == {timedelta(0)}:
            why = "is kept in UTC: the place's time zone is needed to tell its days; say --timezone"
            raise FileQuestion("timezone", (), f"{file}: {why}")
        # Without the place's zone the log's own offset makes the days.
        return _converted(moments, zone or timezone(next(o for o in offsets if o is not None)))
    if zone is None:
        instant = np.array([(t - _EPOCH).total_seconds() for t in times])
        return LogTimes(instant, np.array([t.toordinal() for t in times], dtype=np.int64), None)
    if clock is None:
        clock = proven_clock(times, zone)
        if clock is None:
            why = f"does not follow the clock changes of {zone}; say --clock standard or --clock utc"
            raise FileQuestion("clock", ("standard", "utc"), f"{file}: {why}")
    if clock == "standard":
        fixed = timezone(_standard_offset(zone, times[0].year))
        return _converted([t.replace(tzinfo=fixed) for t in times], zone)
    folded = _with_folds(times, zone)
    return LogTimes(
        np.array([t.replace(tzinfo=zone).timestamp() for t in folded]),
        np.array([t.toordinal() for t in times], dtype=np.int64),
        zone,
    )


def proven_clock(times: Sequence[datetime], zone: tzinfo) -> Clock | None:
    """ "local" unless the log holds a clock change and did not follow it; then None, for it may be any other.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> hours = [datetime(2026, 3, 29, h) for h in range(6)]  # 02:00 never came in Berlin
    >>> proven_clock(hours, ZoneInfo("Europe/Berlin")) is None
    True
    >>> proven_clock(hours[:2] + hours[3:], ZoneInfo("Europe/Berlin"))
    'local'
    """
    ordered = sorted(times)
    step = float(np.median([(b - a).total_seconds() for a, b in pairwise(ordered) if b > a] or [3600.0]))
    seen: set[datetime] = set()
    once: dict[date, int] = {}
    for before, time in pairwise([times[0], *times]):
        change = _offset_change(time, zone)
        if change > 0:  # an hour that never was
            return None
        if change < 0:
            if time in seen or time < before:
                return "local"  # the doubled hour
            seen.add(time)
            once[time.date()] = once.get(time.date(), 0) + 1
    full = 3600 / max(step, 1.0)
    # The hour that comes twice, full but only once, with the readings going on after it.
    gone_on = any(
        count >= full - 0.5 and ordered[-1] - datetime.combine(day, datetime.min.time()) > timedelta(hours=6)
        for day, count in once.items()
    )
    return None if gone_on else "local"


def _offset_change(time: datetime, zone: tzinfo) -> float:
    """0 for a usual time; below 0 for one that comes twice; above 0 for one that never comes. [s]"""
    first, second = (time.replace(tzinfo=zone, fold=fold).utcoffset() for fold in (0, 1))
    return (second - first).total_seconds() if first is not None and second is not None else 0.0


def _with_folds(times: Sequence[datetime], zone: tzinfo) -> list[datetime]:
    """Which pass of a doubled hour each time belongs to: the second once the clock has gone back."""
    newest_first = sum(b < a for a, b in pairwise(times)) > len(times) / 2
    forward = list(reversed(times)) if newest_first else list(times)
    out: list[datetime] = []
    latest: datetime | None = None  # of the doubled hour at hand
    second_pass = False
    for time in forward:
        if _offset_change(time, zone) >= 0:
            out.append(time)
            latest, second_pass = None, False
            continue
        if latest is not None and time <= latest:
            second_pass = True
        latest = time if latest is None or second_pass else max(latest, time)
        out.append(time.replace(fold=int(second_pass)))
    return list(reversed(out)) if newest_first else out


def _standard_offset(zone: tzinfo, year: int) -> timedelta:
    offsets = [datetime(year, month, 1, tzinfo=zone).utcoffset() for month in (1, 7)]
    return min(offset for offset in offsets if offset is not None)


def _converted(moments: Sequence[datetime], zone: tzinfo) -> LogTimes:
    return LogTimes(
        np.array([moment.timestamp() for moment in moments]),
        np.array([moment.astimezone(zone).toordinal() for moment in moments], dtype=np.int64),
        zone,
    )
