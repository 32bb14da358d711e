"""The flushes of a tree, and which of them a piece of work wakes.

A tree has one flush that the season starts, and may have more: seen (lammas growth, rain after drought, new
growth after damage) or woken by work. The day counts are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from operator import attrgetter

from phenology.model.records import Flush, Look, Work
from phenology.model.season import SeasonCalendar
from phenology.model.stages import Stage

CARRIES_ON_DAYS = 150
"""A flush begun this shortly before the season's turn may still be growing after it. [days]"""

ANSWER_DAYS = 45
"""A bud break seen at most this long after waking work is taken for the answer to it. [days]"""

SAME_WAKING_DAYS = 21
"""Work repeated within this, no bud having broken, wakes the same flush once more. [days]"""

LEAFLESS_DAYS = 90
"""Cuts made this early in a season, before bud break, only prune; the season wakes the tree. [days]"""

NEXT_BEGAN = "the next flush began"
"""Why a flush ended that the grower said a new one has followed."""

_BREAK, _TURN = Stage.BUDBREAK.rank, Stage.TURNING.rank


BY_DATE = attrgetter("latest", "earliest")
"""Sorts looks."""


@dataclass(frozen=True)
class TreeRecord:
    """Flushes, looks and work of one tree, with its name for messages."""

    label: str
    flushes: Sequence[Flush] = ()
    looks: Sequence[Look] = ()
    works: Sequence[Work] = ()

    @classmethod
    def grouped(
        cls,
        label: str,
        flushes: Sequence[Flush],
        by_flush: Mapping[str, Sequence[Look]],
        works: Sequence[Work],
    ) -> TreeRecord:
        """A record of looks that are at hand by the id of their flush, in the order `BY_DATE`."""
        record = cls(label, flushes, [look for looks in by_flush.values() for look in looks], works)
        record.__dict__["_by_flush"] = by_flush
        return record

    @cached_property
    def _by_flush(self) -> Mapping[str, Sequence[Look]]:
        found: dict[str, list[Look]] = {}
        for look in sorted(self.looks, key=BY_DATE):
            found.setdefault(look.flush_id, []).append(look)
        return found

    def looks_of(self, flush: Flush) -> Sequence[Look]:
        """Looks at one flush, by date."""
        return self._by_flush.get(flush.id, ())

    def in_season(self, season: int, calendar: SeasonCalendar) -> list[Flush]:
        """Flushes of a season in the order they began."""
        found = [f for f in self.flushes if f.season == season]
        return sorted(found, key=lambda f: _order(f, calendar)) if len(found) > 1 else found

    def furthest(self, flush: Flush) -> int:
        """Rank of the latest stage seen of a flush; -1 when nothing was."""
        return max((look.stage.rank for look in self.looks_of(flush)), default=-1)


def flush_start(flush: Flush, calendar: SeasonCalendar) -> date:
    """The day a flush counts from: its own start, else the first day of its season."""
    return flush.started_on or calendar.start(flush.season)


def _order(flush: Flush, calendar: SeasonCalendar) -> tuple[date, bool, str]:
    """Sorts flushes by their start; one that was cut on the day it was seen begins before the answer."""
    return flush_start(flush, calendar), flush.started_by == "work", flush.id


def flush_numbers(flushes: Iterable[Flush], calendar: SeasonCalendar) -> dict[str, int]:
    """Number of each flush of one tree within its season, by date: 1 is the season's own, seen or not.

    Examples
    --------
    >>> woken = Flush("b", "t", 2026, "work", date(2026, 7, 4))
    >>> flush_numbers([woken], SeasonCalendar())
    {'b': 2}
    """
    numbers: dict[str, int] = {}
    ordered = sorted(flushes, key=lambda f: (f.season, f.started_by != "season", _order(f, calendar)))
    season, count = None, 0
    for flush in ordered:
        if flush.season != season:
            season, count = flush.season, 0 if flush.started_by == "season" else 1
        count += 1
        numbers[flush.id] = count
    return numbers


@dataclass(frozen=True, eq=False, repr=False)
class Waking:
    """What work does to the flushes, as `Placement` says of a look; `flush` None when it wakes nothing."""

    flush: Flush | None
    changed: tuple[Flush, ...] = ()
    moved: tuple[Look, ...] = ()
    also: tuple[Flush, ...] = ()
    why_not: str = ""


def wake(work: Work, record: TreeRecord, calendar: SeasonCalendar, *, new_id: Callable[[], str]) -> Waking:
    """What a piece of work does to the tree's flushes; `record` is without this work's own flush.

    Work on the whole tree ends the flushes that stand; work on a part, or partial defoliation, leaves them
    side by side with the new one. A bud break already seen after the work becomes its answer, and looks dated
    after it move to the new flush.
    """
    if not work.operation.wakes:
        return Waking(None, why_not=f"{work.operation} wakes no flush")
    day = work.middle
    season = calendar.season_of(day)
    flushes = record.in_season(season, calendar)
    why_not = _sleeps_on(day, record, calendar, season, flushes)
    if why_not:
        return Waking(None, why_not=why_not)
    partial = work.operation.partial or work.part is not None
    before = [f for f in flushes if flush_start(f, calendar) <= day]
    ended = tuple(
        replace(f, ended_on=day, ended_why=work.operation)
        for f in ([] if partial else before)
        if f.ended_on is None or f.ended_on > day
    )
    if before and (again := _woken_again(before[-1], work, day, record)):
        others = tuple(f for f in ended if f.id != again.id)
        return Waking(again, changed=(again, *others) if again != before[-1] else others)
    answer = next((f for f in flushes if _answers(f, day, calendar)), None)
    if answer is not None:
        woken = replace(answer, started_by="work", started_on=day, work_id=work.id, part=work.part)
        return Waking(woken, changed=(woken, *ended))
    woken = Flush(new_id(), work.tree_id, season, "work", day, work.id, part=work.part)
    moved = tuple(
        look.at_flush(woken.id)
        for f in before[-1:]
        for look in record.looks_of(f)
        if look.earliest > work.latest and look.stage.rank < _TURN and not partial
    )
    also = () if before else (Flush(new_id(), work.tree_id, season, "season"),)
    if also and not partial:
        also = (replace(also[0], ended_on=day, ended_why=work.operation),)
    return Waking(woken, changed=ended, moved=moved, also=also)


def _sleeps_on(
    day: date, record: TreeRecord, calendar: SeasonCalendar, season: int, flushes: list[Flush]
) -> str:
    """Why a cut on this day wakes nothing by itself; empty when it does."""
    looks = [look for f in flushes for look in record.looks_of(f) if look.earliest <= day]
    shown = max((look.stage.rank for look in looks), default=-1)
    if any(look.stage.rank >= _TURN for look in looks):
        return "the leaves are turning or down; the cut rests until spring"
    woken = any(f.started_by != "season" and flush_start(f, calendar) <= day for f in flushes)
    if shown < _BREAK and not woken and (calendar.day(day) <= LEAFLESS_DAYS):
        return "buds had not broken; the season wakes the tree"
    return ""


def _woken_again(flush: Flush, work: Work, day: date, record: TreeRecord) -> Flush | None:
    """The flush an earlier cut woke, when this work only wakes it once more."""
    if flush.started_by != "work" or flush.started_on is None or flush.part != work.part:
        return None
    if (day - flush.started_on).days > SAME_WAKING_DAYS or record.furthest(flush) >= _BREAK:
        return None
    return replace(flush, started_on=day, work_id=work.id) if day > flush.started_on else flush


def _answers(flush: Flush, day: date, calendar: SeasonCalendar) -> bool:
    if flush.started_by != "seen" or flush.started_on is None:
        return False
    return 0 < (flush.started_on - day).days <= ANSWER_DAYS
