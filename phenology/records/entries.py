"""What writing down a look or work changes: the records to save or remove, in an order that never dangles.

Work stands before the flush it wakes, a flush before its looks; removals run the other way.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import date

from phenology.language.vague_dates import format_day
from phenology.model.errors import InputError
from phenology.model.operations import Operation
from phenology.model.records import Flush, Look, Work
from phenology.model.season import SeasonCalendar
from phenology.model.stages import Stage
from phenology.records.flushes import NEXT_BEGAN, TreeRecord, place_look
from phenology.records.waking import Waking, wake

Entry = Work | Flush | Look

DATED_STAGES = (Stage.BUDBREAK, Stage.EXTENDED, Stage.HARDENED)
"""Stages whose day growers keep as a date; any other stage is something that was seen to stand."""
LONG_AGO_DAYS = 30
"""What is written down so long after its day, with no look in `UNSEEN_DAYS` before it, is a date (ours)."""
UNSEEN_DAYS = 21


def kind_of_date(look: Look, record: TreeRecord, today: date) -> str:
    """Whether a date of which nobody said so tells when a stage was seen to stand, or when it came about.

    "Hardened, 10 June 2004", written down years later by somebody who did not look in the weeks before, is a
    date that was kept: hardened about then. A look among others, or of these days, shows what stood then.
    """
    if look.stage not in DATED_STAGES or (today - look.latest).days < LONG_AGO_DAYS:
        return "seen"
    before = [(look.earliest - other.latest).days for other in record.looks if other.latest < look.earliest]
    return "seen" if min(before, default=UNSEEN_DAYS) < UNSEEN_DAYS else "happened"


@dataclass(frozen=True)
class Changes:
    """Records to save, then records to remove, each in order."""

    save: tuple[Entry, ...] = ()
    remove: tuple[Entry, ...] = ()
    waking: Waking | None = None

    def applied_to(self, record: TreeRecord) -> TreeRecord:
        """The tree's record as it stands after these changes."""
        flushes = {f.id: f for f in record.flushes}
        looks = {look.id: look for look in record.looks}
        for entry in self.save:
            if isinstance(entry, Flush):
                flushes[entry.id] = entry
            elif isinstance(entry, Look):
                looks[entry.id] = entry
        for entry in self.remove:
            flushes.pop(entry.id, None)
            looks.pop(entry.id, None)
        return TreeRecord(record.label, tuple(flushes.values()), tuple(looks.values()))


def look_changes(
    look: Look,
    record: TreeRecord,
    calendar: SeasonCalendar,
    *,
    today: date,
    new_id: Callable[[], str],
    new_flush: bool = False,
    number: int | None = None,
    cause: str | None = None,
    ended: str | None = None,
) -> Changes:
    """What a look changes; arguments and errors as `phenology.records.flushes.place_look`.

    A look that corrects another one of the same id may leave that one's flush empty; it is removed then.
    """
    before = next((other for other in record.looks if other.id == look.id), None)
    undone = without_look(before, record) if before else Changes()
    if before and not ended:
        ended = next((f.ended_why for f in record.flushes if _ended_by(before, f) and not before.lost), None)
    cleared = undone.applied_to(record)
    emptied = [f for f in undone.remove if isinstance(f, Flush)]
    if (
        emptied and emptied[0].started_by == "season"
    ):  # the season's own flush may well be the right one still
        kept = replace(emptied[0], ended_on=None, ended_why=None)
        cleared = replace(cleared, flushes=(*cleared.flushes, kept))
        undone = replace(undone, save=(kept,) if kept != emptied[0] else ())
    placed = place_look(
        look,
        cleared,
        calendar,
        today=today,
        new_id=new_id,
        new_flush=new_flush,
        number=number,
        cause=cause,
        ended=ended,
    )
    own = (placed.flush,) if placed.is_new else ()
    done = replace(look, flush_id=placed.flush.id)
    remove = tuple(f for f in emptied if f.id != done.flush_id)
    gone = {f.id for f in (*remove, *placed.changed)}
    undoing = tuple(f for f in undone.save if f.id not in gone)
    save = (*undoing, *placed.also, *own, *placed.changed, *placed.moved, done)
    return Changes(save, remove)


def work_changes(
    work: Work,
    record: TreeRecord,
    calendar: SeasonCalendar,
    *,
    today: date,
    new_id: Callable[[], str],
    before: Work | None = None,
) -> Changes:
    """What work changes: itself, the flush it wakes, those it ends, the looks that move.

    With `before`, the work that it corrects, that one's consequences are taken back first.

    Raises
    ------
    InputError
        If the work lies in the future.
    """
    if work.earliest > today:
        raise InputError(
            f"{record.label}: {format_day(work.earliest)} is in the future; write work down when it is done"
        )
    if before is not None and same_entry(before, work):
        return Changes((work,))
    undone = without_work(before, record) if before is not None else Changes()
    waking = wake(work, undone.applied_to(record), calendar, new_id=new_id)
    own = (waking.flush,) if waking.flush is not None and waking.is_new else ()
    save = (*undone.save, work, *waking.also, *own, *waking.changed, *waking.moved)
    kept = {entry.id for entry in save}
    return Changes(save, tuple(entry for entry in undone.remove if entry.id not in kept), waking)


def without_look(look: Look, record: TreeRecord) -> Changes:
    """What taking a look out changes: its flush goes too when nothing else speaks for it."""
    others = [other for other in record.looks if other.id != look.id]
    flush = next((f for f in record.flushes if f.id == look.flush_id), None)
    if flush is None:
        return Changes(remove=(look,))
    if flush.id not in {other.flush_id for other in others} and _is_bare(flush, look):
        return Changes(remove=(look, flush))
    if _ended_by(look, flush):
        return Changes(save=(replace(flush, ended_on=None, ended_why=None),), remove=(look,))
    return Changes(remove=(look,))


def without_work(work: Work, record: TreeRecord) -> Changes:
    """What taking work out changes.

    A flush it woke stays as a seen one where looks speak for it, else it goes; the flushes it ended go on.
    """
    save: list[Entry] = []
    remove: list[Entry] = [work]
    for flush in record.flushes:
        if flush.work_id == work.id:
            looks = record.looks_of(flush)
            if looks:
                save.append(replace(flush, started_by="seen", work_id=None, started_on=looks[0].earliest))
            else:
                remove.insert(0, flush)
        elif (
            flush.ended_why == work.operation
            and flush.ended_on is not None
            and work.earliest <= flush.ended_on <= work.latest
        ):
            save.append(replace(flush, ended_on=None, ended_why=None))
    return Changes(tuple(save), tuple(remove))


def stage_now(looks: Iterable[Look]) -> Look | None:
    """The look that says how a tree stands: the newest, the furthest stage of its day."""
    return max(looks, key=lambda look: (look.latest, look.stage.rank), default=None)


def without(entry: Look | Work, record: TreeRecord) -> Changes:
    """What taking an entry out changes."""
    return without_look(entry, record) if isinstance(entry, Look) else without_work(entry, record)


def same_entry(a: Look | Work, b: Look | Work) -> bool:
    """Whether two entries say the same thing, whoever wrote them down and in which words."""
    return _facts(a) == _facts(b)


def _facts(entry: Look | Work) -> tuple[object, ...]:
    when = (entry.tree_id, entry.earliest, entry.latest, entry.part)
    if isinstance(entry, Work):
        return (*when, entry.operation)
    return (*when, entry.stage, entry.kind, entry.checked, entry.lost, entry.leaves)


def _is_bare(flush: Flush, look: Look) -> bool:
    """Whether only this look speaks for a flush: no work, and no end but the one it told of."""
    return flush.work_id is None and (flush.ended_on is None or _ended_by(look, flush))


def _ended_by(look: Look, flush: Flush) -> bool:
    """Whether a look told that its flush ended: lost, or for a reason in the grower's words."""
    if flush.id != look.flush_id or flush.ended_on is None:
        return False
    if look.lost and flush.ended_why == "lost":
        return True
    return flush.ended_on == look.latest and flush.ended_why not in (*Operation, NEXT_BEGAN, "lost")
