"""Which flush a look belongs to.

A look belongs to the newest flush begun by its date; a look that would take a flush back to an earlier stage
is either a new flush or a mistake, and only the grower knows which.

The turn of a season is not a wall. Leaves seen falling in January belong to the flush of the season before,
buds seen closed in late autumn to the spring to come. The day counts below are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date

from phenology.language.counts import counted
from phenology.language.vague_dates import format_dates, format_day
from phenology.model.errors import LookError, StageOrderError
from phenology.model.records import Flush, Look
from phenology.model.season import SeasonCalendar
from phenology.model.stages import Part, Stage
from phenology.records.flushes import (
    ANSWER_DAYS,
    CARRIES_ON_DAYS,
    NEXT_BEGAN,
    TreeRecord,
    flush_numbers,
    flush_start,
)

OLD_LEAVES_DAYS = 45
"""Grown or hard leaves seen this early in a season, before any bud has moved, are last season's. [days]"""

CLOSING_DAYS = 120
"""Resting buds seen this late in a season, growth being over, are the next season's. [days]"""

NOT_YET_DAYS = 10
"""A woken flush is not grown or hard within this: such leaves are the old ones. [days]"""

_BREAK, _GROWN, _HARD, _TURN = (
    stage.rank for stage in (Stage.BUDBREAK, Stage.EXTENDED, Stage.HARDENED, Stage.TURNING)
)


@dataclass(frozen=True)
class Placement:
    """Where a look belongs."""

    flush: Flush  # its flush, as it stands with the look
    is_new: bool = False  # whether the flush is not yet on record
    changed: tuple[Flush, ...] = ()  # flushes on record that change with it (`flush` among them if it does)
    moved: tuple[Look, ...] = ()  # other looks that belong to a flush in `also` now
    also: tuple[Flush, ...] = ()  # other flushes not yet on record that have to be recorded too


@dataclass(frozen=True)
class Said:
    """What a grower said of a look beside the look itself."""

    new_flush: bool = False  # a flush begins with this look
    number: int | None = None  # the flush of the season as a file numbers it, instead of the newest one
    cause: str | None = None  # why a new flush came, in the grower's words
    ended: str | None = None  # why the flush ends with this look, unfinished or not, in the grower's words


def place_look(
    look: Look,
    record: TreeRecord,
    calendar: SeasonCalendar,
    said: Said = Said(),
    *,
    today: date,
    new_id: Callable[[], str],
) -> Placement:
    """The flush a look belongs to.

    Parameters
    ----------
    look : Look
        The look; its `flush_id` does not matter. A look of the same id in `record` is the one it corrects.
    record : TreeRecord
        The tree's flushes and other looks.
    new_id : callable
        Makes an id for each flush that begins.

    Raises
    ------
    LookError
        If the look lies in the future, or so soon after waking work that it shows the old leaves, or ends a
        flush that has ended.
    StageOrderError
        If the flush would go back to an earlier stage.
    """
    if look.earliest > today:
        raise LookError(
            f"{record.label}: {format_day(look.earliest)} is in the future; a look can only be past"
        )
    others = [other for other in record.looks if other.id != look.id]
    record = record if len(others) == len(record.looks) else replace(record, looks=others)
    season = _season(look, record, calendar)
    placer = _Placer(look, record, calendar, season, record.in_season(season, calendar), said, new_id)
    placement = placer.placed()
    if not placement.moved:
        check_order(look, record, placement.flush)
    placement = placer.old_leaves(placement)
    return _with_end(look, record.label, placement, said.ended)


def check_order(look: Look, record: TreeRecord, flush: Flush) -> None:
    """Refuse a look that would take its flush back.

    Only certain contradictions count: dates that overlap or different parts of the tree contradict nothing.

    Raises
    ------
    StageOrderError
        With the question that the grower has to answer.
    """
    for other in record.looks_of(flush):
        if not _contradicts(look, other):
            continue
        first, second = (other, look) if other.latest < look.earliest else (look, other)
        merely = ""
        if first.stage is Stage.HARDENED and second.stage in (Stage.EXTENDING, Stage.EXTENDED):
            merely = " (tips that merely go on while the leaves that stay are hard need no new look)"
        raise StageOrderError(
            f"{record.label}: {second.stage} ({_when(second)}) comes after {first.stage} ({_when(first)}). "
            f"A new flush, or a wrong look? Add --new-flush if the tree pushes again{merely}; "
            f"else correct the other look with: flushcast look --correct {other.id[:8]}"
        )


def _contradicts(look: Look, other: Look) -> bool:
    if look.part != other.part:
        return False
    return (other.latest < look.earliest and _least(other) > look.stage.rank) or (
        look.latest < other.earliest and _least(look) > other.stage.rank
    )


def _least(look: Look) -> int:
    """The stage that a look proves: growth that was checked stopped, but may move again."""
    return min(look.stage.rank, _GROWN - 1) if look.checked else look.stage.rank


def _when(look: Look) -> str:
    return format_dates(look.earliest, look.latest)


# ---------------------------------------------------------------------------------------------------------


def _season(look: Look, record: TreeRecord, calendar: SeasonCalendar) -> int:
    """The season whose growth a look shows, which near the turn is not always the season it is dated in."""
    day, rank = look.latest, look.stage.rank
    season = calendar.season_of(day)
    this = record.in_season(season, calendar)
    moved = any(
        look.stage.rank >= _BREAK - 1 and look.earliest <= day for f in this for look in record.looks_of(f)
    )
    if not moved and not any(f.started_by == "work" for f in this):
        into = calendar.day(day)
        if rank >= _TURN and into <= calendar.length(season) // 2:
            return season - 1
        if rank >= _GROWN and into <= OLD_LEAVES_DAYS:
            return season - 1
        earlier = record.in_season(season - 1, calendar)
        if earlier and not this and rank >= _BREAK:
            last = earlier[-1]
            shown = record.furthest(last)
            fresh = (
                day - flush_start(last, calendar)
            ).days <= CARRIES_ON_DAYS and last.started_by != "season"
            if fresh and last.ended_on is None and _BREAK - 1 <= shown <= rank and shown < _HARD:
                return season - 1
    if rank <= _BREAK and (calendar.end(season) - day).days < CLOSING_DAYS:
        newest = this[-1] if this else None
        waiting = newest is not None and newest.started_by == "work" and record.furthest(newest) <= rank
        furthest = max((record.furthest(f) for f in this), default=-1)
        at_rest = not _BREAK <= furthest < _GROWN or _long_unseen(look, record, this)
        grown = furthest >= _TURN or (rank == 0 and at_rest)
        if grown and not waiting:
            return season + 1
    return season


def _long_unseen(look: Look, record: TreeRecord, flushes: Sequence[Flush]) -> bool:
    """Whether a flush that was last seen growing has had the time to finish unseen."""
    seen = [one.latest for f in flushes for one in record.looks_of(f) if _BREAK <= one.stage.rank < _GROWN]
    return bool(seen) and (look.earliest - max(seen)).days > OLD_LEAVES_DAYS


@dataclass
class _Placer:
    """Finds the flush of one look among those of its season, the look itself not on record."""

    look: Look
    record: TreeRecord
    calendar: SeasonCalendar
    season: int
    flushes: Sequence[Flush]  # of the season, in the order they began
    said: Said
    new_id: Callable[[], str]

    def placed(self) -> Placement:
        """By what was said of it, else the season's own flush or the newest one."""
        if self.said.number is not None:
            return self._numbered(self.said.number)
        if self.said.new_flush:
            return self._begun()
        return self._newest() if self.flushes else Placement(self._seasons_own(), True)

    def _seasons_own(self) -> Flush:
        return Flush(self.new_id(), self.look.tree_id, self.season, "season")

    def _seen(self, cause: str | None) -> Flush:
        """A flush that begins with the look."""
        look = self.look
        return Flush(
            self.new_id(), look.tree_id, self.season, "seen", look.earliest, cause=cause, part=look.part
        )

    def _begun_by_then(self) -> list[Flush]:
        return [f for f in self.flushes if flush_start(f, self.calendar) <= self.look.latest]

    def _newest(self) -> Placement:
        """The newest flush begun by the look's date, as far as the part of the tree allows."""
        look = self.look
        begun = self._begun_by_then() or [f for f in self.flushes if f.started_by == "season"]
        begun = [f for f in begun if not _looked_then_cut(look, f, begun, self.record)]
        if not begun:
            return Placement(self._seasons_own(), True)
        if look.part is Part.INSIDE:
            # Work on the outer canopy leaves the flush inside going on beside the new one.
            fitting = [f for f in begun if f.part is Part.INSIDE] or [
                f for f in begun if f.ended_on is None and not f.part
            ]
            chosen = fitting[0] if fitting and not fitting[-1].part else (fitting or begun)[-1]
        elif look.part:
            chosen = ([f for f in begun if f.part in (None, look.part)] or begun)[-1]
        else:
            chosen = begun[-1]
        over = chosen.ended_on is not None and chosen.ended_on < look.earliest
        if over and look.stage.rank < _TURN and chosen is begun[-1]:
            return Placement(self._seen(self.said.cause or f"after: {chosen.ended_why}"), True)
        return Placement(chosen)

    def _begun(self) -> Placement:
        """A flush the grower says begins; looks on record may turn out to belong to it."""
        look, record, before = self.look, self.record, self._begun_by_then()
        if not before:
            also = (self._seasons_own(),)
            return Placement(self._seen(self.said.cause), True, also=also)
        last = before[-1]
        if _answers(look, last, record):
            return Placement(last)
        later = [
            other
            for other in record.looks_of(last)
            if other.earliest > look.latest and _contradicts(look, other)
        ]
        if later:  # told afterwards: the look ends the older flush, what follows is the new one
            first = later[0].earliest
            began = Flush(self.new_id(), look.tree_id, self.season, "seen", first, cause=self.said.cause)
            after = (other for other in record.looks_of(last) if other.earliest >= first)
            moved = tuple(other.at_flush(began.id) for other in after)
            return Placement(last, moved=moved, also=(began,))
        ends = last.ended_on is None and record.furthest(last) < _HARD and look.part is None
        changed = (replace(last, ended_on=look.earliest, ended_why=NEXT_BEGAN),) if ends else ()
        return Placement(self._seen(self.said.cause), True, changed=changed)

    def _numbered(self, number: int) -> Placement:
        """The flush a file gives a number to; the next number begins a flush."""
        numbers = flush_numbers(self.flushes, self.calendar)
        for flush in self.flushes:
            if numbers[flush.id] == number:
                return Placement(flush)
        if number == 1:
            return Placement(self._seasons_own(), True)
        if number != max(numbers.values(), default=1) + 1:
            raise LookError(
                f"{self.record.label}: flush {number} of {self.calendar.label(self.season)} has no flush "
                f"{number - 1} before it"
            )
        also = () if self.flushes else (self._seasons_own(),)
        return Placement(self._seen(self.said.cause), True, also=also)

    def old_leaves(self, placement: Placement) -> Placement:
        """The flush before, where a look so soon after waking work shows leaves that are grown."""
        look, flush = self.look, placement.flush
        if flush.started_by != "work" or flush.started_on is None or look.stage.rank < _GROWN:
            return placement
        days = (look.latest - flush.started_on).days
        if not 0 <= days <= NOT_YET_DAYS:
            return placement
        before = [one for one in self.flushes if one.id != flush.id and not _began_after(one, flush)]
        try:
            check_order(look, self.record, before[-1])
        except (IndexError, StageOrderError):
            raise LookError(
                f"{self.record.label}: {look.stage} {counted(days, 'days')} after work that woke a new flush "
                f"({format_day(flush.started_on)}) can only be the old leaves; "
                "look at the new shoots, or correct the date of the look or the work"
            ) from None
        return Placement(before[-1])


def _looked_then_cut(look: Look, flush: Flush, begun: Sequence[Flush], record: TreeRecord) -> bool:
    """Whether a look that may be as old as the work that woke a flush shows the leaves before the cut."""
    if flush.started_by != "work" or flush.started_on is None or flush.started_on < look.earliest:
        return False
    if flush.started_on == look.latest:
        return look.stage.rank >= _BREAK
    before = [record.furthest(f) for f in begun if f.id != flush.id and not _began_after(f, flush)]
    return look.stage.rank >= _GROWN and max(before, default=-1) < look.stage.rank


def _answers(look: Look, flush: Flush, record: TreeRecord) -> bool:
    """Whether the flush that is said to begin is the one that work woke, of which nothing was seen yet."""
    if flush.started_by != "work" or flush.started_on is None:
        return False
    return 0 < (look.earliest - flush.started_on).days <= ANSWER_DAYS and record.furthest(flush) < _BREAK


def _began_after(flush: Flush, other: Flush) -> bool:
    return bool(flush.started_on and other.started_on and flush.started_on > other.started_on)


def _with_end(look: Look, label: str, placement: Placement, why: str | None) -> Placement:
    """The placement with the end of its flush, where the look says that it was lost or ended."""
    over = placement.flush.ended_on
    if over is not None and why:
        raise LookError(
            f"{label}: this flush ended already on {format_day(over)}: {placement.flush.ended_why}"
        )
    why = why or ("lost" if look.lost else None)
    if why is None or over is not None:
        return placement
    ended = replace(placement.flush, ended_on=look.latest, ended_why=why)
    others = tuple(f for f in placement.changed if f.id != ended.id)
    return replace(placement, flush=ended, changed=others if placement.is_new else (ended, *others))
