"""What writing down a look or work changes: the records to save or remove, in an order that never dangles.

Work stands before the flush it wakes, a flush before its looks; removals run the other way.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date

from phenology.language.vague_dates import format_day
from phenology.model.errors import InputError, LookError
from phenology.model.operations import Operation
from phenology.model.records import Flush, Look, Work
from phenology.model.season import SeasonCalendar
from phenology.model.stages import Stage
from phenology.records.flushes import NEXT_BEGAN, TreeRecord, Waking, wake
from phenology.records.placing import Said, place_look
from phenology.records.replay import is_last, replayed

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
    before = max((one.latest for one in record.looks if one.latest < look.earliest), default=date.min)
    return "seen" if (look.earliest - before).days < UNSEEN_DAYS else "happened"


@dataclass(frozen=True)
class Changes:
    """Records to save, then records to remove, each in order."""

    save: tuple[Entry, ...] = ()
    remove: tuple[Entry, ...] = ()
    waking: Waking | None = None

    def applied_to(self, record: TreeRecord) -> TreeRecord:
        """The tree's record as it stands after these changes."""
        entries: dict[str, Entry] = {e.id: e for e in entries_of(record)}
        entries |= {entry.id: entry for entry in self.save}
        for entry in self.remove:
            entries.pop(entry.id, None)
        kept = entries.values()
        return TreeRecord(
            record.label,
            tuple(entry for entry in kept if isinstance(entry, Flush)),
            tuple(entry for entry in kept if isinstance(entry, Look)),
            tuple(entry for entry in kept if isinstance(entry, Work)),
        )


def entries_of(record: TreeRecord) -> list[Entry]:
    """Everything in a tree's record."""
    return [*record.flushes, *record.looks, *record.works]


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
    """What a look changes; arguments as those of `Said`, errors as of `place_look`.

    A look that corrects another one of the same id may leave that one's flush empty; it is removed then.
    """
    before = next((other for other in record.looks if other.id == look.id), None)
    if before is None and is_last(look, record):
        said = Said(new_flush, number, cause, ended)
        placed = place_look(look, record, calendar, said, today=today, new_id=new_id)
        begun = (*placed.also, placed.flush) if placed.is_new else placed.also
        return Changes((*placed.changed, *begun, *placed.moved, look.at_flush(placed.flush.id)))
    if before and not ended:
        ended = next((f.ended_why for f in record.flushes if _ended_by(before, f) and not before.lost), None)
    cleared = without_look(before, record).applied_to(record) if before else record
    emptied = [f for f in record.flushes if f not in cleared.flushes and f.started_by == "season"]
    if emptied:  # the season's own flush may well be the right one still
        kept = tuple(replace(f, ended_on=None, ended_why=None) for f in emptied)
        others = tuple(f for f in cleared.flushes if f.id not in {k.id for k in kept})
        cleared = replace(cleared, flushes=(*others, *kept))
    said = Said(new_flush, number, cause, ended)
    after = _written(look, cleared, said, calendar, today=today, new_id=new_id)
    bare = {f.id for f in emptied} - {other.flush_id for other in after.looks}
    return _difference(record, replace(after, flushes=[f for f in after.flushes if f.id not in bare]), look)


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
    cleared = without_work(before, record).applied_to(record) if before is not None else record
    after = _written(work, cleared, Said(), calendar, today=today, new_id=new_id)
    woken = next((flush for flush in after.flushes if flush.work_id == work.id), None)
    why_not = wake(work, _before(work, after), calendar, new_id=str).why_not if woken is None else ""
    return replace(_difference(record, after, work), waking=Waking(woken, why_not=why_not))


def _written(
    entry: Look | Work,
    record: TreeRecord,
    said: Said,
    calendar: SeasonCalendar,
    *,
    today: date,
    new_id: Callable[[], str],
) -> TreeRecord:
    """The record with an entry, whichever way it is best taken in: as the newest, or among those after it."""

    def write(entry: Look | Work, record: TreeRecord, said: Said, new_id: Callable[[], str]) -> TreeRecord:
        """Take an entry in as the last that was written down."""
        added: tuple[Entry, ...]
        if isinstance(entry, Work):
            waking = wake(entry, record, calendar, new_id=new_id)
            own = (waking.flush,) if waking.flush is not None else ()
            added = (*own, *waking.also, *waking.changed, *waking.moved, entry)
        else:
            placed = place_look(entry, record, calendar, said, today=today, new_id=new_id)
            mine = entry.at_flush(placed.flush.id)
            added = (*placed.also, placed.flush, *placed.changed, *placed.moved, mine)
        return Changes(added).applied_to(record)

    if not said.ended and not is_last(entry, record):  # an end is told of the flush as it stands
        with suppress(LookError):  # if they cannot stand in order, what is wrong is told of this entry alone
            if (after := replayed(record, calendar, write, entry, said, new_id)) is not None:
                return after
    return write(entry, record, said, new_id)


def _before(work: Work, record: TreeRecord) -> TreeRecord:
    """The record without the looks after a piece of work."""
    return replace(record, looks=[look for look in record.looks if look.earliest <= work.latest])


def _difference(record: TreeRecord, after: TreeRecord, entry: Look | Work) -> Changes:
    """What turns one record into another, the entry itself in any case, and last but for what it wakes."""
    there: dict[str, Entry] = {one.id: one for one in entries_of(record)}
    now: list[Entry] = [*after.flushes, *after.looks]
    changed = [one for one in now if one.id != entry.id and there.get(one.id) != one]
    mine = next(one for one in entries_of(after) if one.id == entry.id)
    kept = {one.id for one in now}
    standing: list[Entry] = [*record.looks, *record.flushes]
    gone = tuple(one for one in standing if one.id not in kept)
    return Changes((mine, *changed) if isinstance(mine, Work) else (*changed, mine), gone)


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
