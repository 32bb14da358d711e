"""When to look at wire before it bites. Day counts are common practice, no source.

Three weeks after wiring on this year's shoots, six on older wood, then every two; warmth brings a look
forward, in step with the heat that thickens the shoot; one more in early autumn, when trunks swell.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, timedelta
from typing import NamedTuple

from phenology.model.records import Look, Work
from phenology.model.season import SeasonCalendar
from phenology.work.zones import names, read_vigour

FIRST_ON_SHOOTS, FIRST_ON_WOOD, THEN = 21, 42, 14  # days
SOONEST = 10  # days; nothing grows into wire faster (ours)
STRONG_SHARE = 0.75  # a strong tree is looked at after three quarters of the time (ours)
OLDER = ("old wood", "older wood", "trunk", "branch", "branches", "primary", "last year")

DaysOfGrowth = Callable[[date, date], float | None]
"""Growing days between two dates, a day at a constant 18 degC counting one; None when unknown."""


class WireCheck(NamedTuple):
    """The next look that wire on a tree wants."""

    wired: Work
    due: date
    on_wood: bool  # whether older wood was wired; else this year's shoots
    overdue: int  # days past it, 0 or more

    @property
    def sentence(self) -> str:
        """What to look for."""
        where = "older wood" if self.on_wood else "this year's shoots"
        return f"wire on {where}: cut it off, never unwind it, where it touches tight"


def wire_check(
    works: Sequence[Work],
    looks: Sequence[Look],
    today: date,
    calendar: SeasonCalendar,
    *,
    vigour: str | None = None,
    growth: DaysOfGrowth = lambda a, b: None,
) -> WireCheck | None:
    """The next wire look of one tree; None when it wears no wire.

    Parameters
    ----------
    works : sequence of Work
        Of one tree. `wire-removal` takes all wire off.
    looks : sequence of Look
        Of the same tree; one whose note names the wire counts as a wire look.
    vigour : str, optional
        As the grower calls it; a strong tree is looked at sooner.
    growth : callable, optional
        Warmth since wiring.
    """
    known = sorted((w for w in works if w.latest <= today), key=lambda w: w.latest)
    off = max((w.latest for w in known if w.operation == "wire-removal" and w.part is None), default=date.min)
    on = [w for w in known if w.operation == "wiring" and w.latest >= off]
    if not on:
        return None
    checks = []
    for work in on:
        day = work.middle
        wood = on_older_wood(work, calendar)
        seen = max(
            (k.latest for k in looks if day < k.latest <= today and "wire" in (k.note or "")), default=None
        )
        days = THEN if seen else FIRST_ON_WOOD if wood else FIRST_ON_SHOOTS
        since = seen or day
        if read_vigour(vigour).of("outer") == "strong":
            days = round(days * STRONG_SHARE)
        due = min(_warm(since, days, today, growth), _autumn(since, today, calendar))
        checks.append(WireCheck(work, due, wood, max(0, (today - due).days)))
    return min(checks, key=lambda check: check.due)


def on_older_wood(work: Work, calendar: SeasonCalendar) -> bool:
    """Whether older wood was wired: the note says so, or there were no shoots of this year yet.

    Wire put on before day 100 of a season, or in its last two months, is taken to be on wood.
    """
    if names(work.note or "", OLDER):
        return True
    if names(work.note or "", ("shoot", "shoots", "twig", "twigs", "tips")):
        return False
    n = calendar.day(work.latest)
    return n < 100 or n > 300


def _warm(since: date, days: int, today: date, growth: DaysOfGrowth) -> date:
    """The day on which as much growth has passed as in so many mild days, at most that long."""
    usual = since + timedelta(days=days)
    for k in range(SOONEST, days):
        day = since + timedelta(days=k)
        if day > today:
            break
        grown = growth(since, day)
        if grown is not None and grown >= days:
            return day
    return usual


def _autumn(since: date, today: date, calendar: SeasonCalendar) -> date:
    """The look of early autumn: two thirds of the way through the season, for wire put on before it."""
    when = calendar.date(calendar.season_of(today), 255)
    return when if since < when else date.max
