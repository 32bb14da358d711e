"""What work that followed on hard leaves tells of the tree, and what of the grower.

Where nobody wrote a look, a cutback says that leaves were hard by then, and not long before: how long, the
grower's other flushes tell. A grower who always cuts on one weekend teaches the calendar that way: every
season then seems to ripen on the same day.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from phenology.language.date_style import WEEKDAYS
from phenology.learning.flush_history import WORK_REACH, FlushHistory
from phenology.model.season import NEVER, SeasonCalendar

SOFT_DAYS = 21
"""A look that found leaves soft at most this long before the work speaks for the tree (ours). [days]"""

ONE_WEEK = 7
"""Days of the year within which weekends of different years count as the same one (ours)."""

FEWEST_DATES = 3
"""Fewer days of work on one weekday are chance: three on weekends are already 1 in 43 (derived: (2/7)^3)."""

DELAYS_BELIEVED = 2.0
"""Flushes that the belief in a usual delay of half of `WORK_REACH` is worth (ours)."""


@dataclass(frozen=True)
class WorkHabit:
    """Work of several seasons that keeps to the week."""

    species: str
    flush: int  # number of the flush in its season
    days: tuple[date, ...]  # the days of work that alone say when its leaves were hard
    seasons: int
    weekday: str  # the weekday all of it fell on, or "weekend"
    same_week: bool  # whether it also fell within the same seven days of every year


def work_habits(
    histories: Iterable[FlushHistory], calendar: SeasonCalendar, species: str | None = None
) -> Iterator[WorkHabit]:
    """Find species whose hardening rests on work alone, all of it on the same days of the week.

    One season in which looks tell is enough to break the circle: nothing is said of that flush then.

    Parameters
    ----------
    histories : iterable of FlushHistory
    calendar : SeasonCalendar
    species : str, optional
        Latin name; without it all of them.
    """
    found: dict[tuple[str, int], list[tuple[int, date]]] = defaultdict(list)
    looked: set[tuple[str, int]] = set()
    for h in histories:
        by = h.came.get("hardened", (0.0, NEVER))[1]
        if by == NEVER or (species is not None and h.tree.species != species):
            continue
        if rests_on_work(h):
            found[h.tree.species, h.number].append((h.flush.season, calendar.date(h.flush.season, by)))
        else:
            looked.add((h.tree.species, h.number))
    for (name, number), dated in found.items():
        if (name, number) in looked:
            continue
        days = tuple(sorted({day for _, day in dated}))
        seasons = sorted({season for season, _ in dated})
        weekday = shared_weekday(days)
        if len(seasons) < 2 or weekday is None:
            continue
        numbers = [calendar.day(day) for day in days]
        same_week = max(numbers) - min(numbers) <= ONE_WEEK
        if same_week or (len(days) >= FEWEST_DATES and len(seasons) >= FEWEST_DATES):
            yield WorkHabit(name, number, days, len(seasons), weekday, same_week)


def rests_on_work(history: FlushHistory) -> bool:
    """Whether work alone says when leaves were hard: no look found them soft shortly before."""
    interval = history.came.get("hardened")
    return interval is not None and history.by_work and interval[1] - interval[0] > SOFT_DAYS


def mean_delay(histories: Iterable[FlushHistory]) -> float:
    """How long after leaves got hard the grower works on them, on average. [days]

    The mean of an exponential distribution of delays known between two looks, by expectation-maximisation. A
    longer delay than `WORK_REACH` counts as one of that length: it was no longer about the leaves.
    """
    known = np.array([h.put_off for h in histories if h.put_off is not None]).reshape(-1, 2)
    least, within = known[:, 0], np.maximum(np.diff(known)[:, 0], 1.0)
    mean = WORK_REACH / 2
    for _ in range(30):
        expected = np.minimum(least + mean - within / np.expm1(within / mean), WORK_REACH)
        mean = (DELAYS_BELIEVED * WORK_REACH / 2 + expected.sum()) / (DELAYS_BELIEVED + len(known))
    return float(mean)


def shared_weekday(days: Sequence[date]) -> str | None:
    """The weekday that all days share, "weekend" for Saturdays and Sundays, or None.

    Examples
    --------
    >>> shared_weekday([date(2024, 6, 22), date(2025, 6, 21)])
    'Saturday'
    >>> shared_weekday([date(2024, 6, 22), date(2025, 6, 22)])
    'weekend'
    """
    found = {day.weekday() for day in days}
    if len(found) == 1:
        return WEEKDAYS[found.pop()].capitalize()
    return "weekend" if found == {5, 6} else None
