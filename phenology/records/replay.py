"""A tree's looks and work written down again in the order of their dates.

Which flush an entry belongs to follows from all records of the tree, not from the order in which they came
to be written down: an entry that arrives after later ones is put in its place by writing all of them again.
What only the grower knows (a new flush, why one ended, which of two flushes a look was of) is read off the
flushes as they stand, and said again.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date
from itertools import count

from phenology.model.operations import Operation
from phenology.model.records import Flush, Look, Work
from phenology.model.season import SeasonCalendar
from phenology.model.stages import Stage
from phenology.records.flushes import ANSWER_DAYS, NEXT_BEGAN, TreeRecord, flush_numbers
from phenology.records.placing import Said

FlushKey = tuple[str, object]
"""What a flush is, whatever its id: the season's own, the answer to a piece of work, or begun by a look."""


Write = Callable[[Look | Work, TreeRecord, Said, Callable[[], str]], TreeRecord]
"""Writes one entry down: the record with it, given the record before and a maker of ids."""


def place_in_order(entry: Look | Work) -> tuple[date, int, date]:
    """Sorts entries by date; of one day leaves are looked at before a cut, closed buds after it."""
    if isinstance(entry, Work):
        return (entry.middle, 1, entry.earliest)
    return (entry.latest, 0 if entry.stage.rank >= Stage.BUDBREAK.rank else 2, entry.earliest)


def is_last(entry: Look | Work, record: TreeRecord) -> bool:
    """Whether no other entry of the record comes after this one: it can be written down as it is."""
    place = place_in_order(entry)
    later = (other for other in _entries(record) if other.latest >= place[0] and other.id != entry.id)
    return all(place_in_order(other) <= place for other in later)


def _entries(record: TreeRecord) -> list[Look | Work]:
    return [*record.looks, *(work for work in record.works if work.operation.wakes)]


def replayed(
    record: TreeRecord,
    calendar: SeasonCalendar,
    write: Write,
    new: Look | Work,
    said: Said,
    new_id: Callable[[], str],
) -> TreeRecord | None:
    """The record with a new entry, as it would be had everything been written down in order.

    Flushes keep their ids where they are what they were.

    Returns
    -------
    TreeRecord or None
        None where the records of today are not those that writing them in order gives, and for that reason
        stay as they are.

    Raises
    ------
    LookError
        If an entry cannot stand when they are written in order.
    """
    known = _said(record)
    entries = _entries(record)
    before = _written(entries, known, record, calendar, write, {})
    replaced = _placed(before)
    pins = {look: key for look, key in _placed(record).items() if key != replaced[look]}
    if pins:
        before = _written(entries, known, record, calendar, write, pins)
    if _shape(before) != _shape(record):
        return None
    if said.new_flush and (follows := _continues(new, record)) is not None:
        said = replace(said, cause=said.cause or known[follows].cause)
        known[follows] = replace(known[follows], new_flush=False, cause=None)
    after = _written([*entries, new], {**known, new.id: said}, record, calendar, write, pins)
    return _with_known_ids(after, record, new_id)


def _written(
    entries: list[Look | Work],
    said: Mapping[str, Said],
    record: TreeRecord,
    calendar: SeasonCalendar,
    write: Write,
    pins: Mapping[str, FlushKey],
) -> TreeRecord:
    ids = count()
    built = TreeRecord(record.label)
    for entry in sorted(entries, key=place_in_order):
        more = said.get(entry.id, Said())
        if entry.id in pins:
            found = {key: id for id, key in _keys(built).items()}
            if (flush := found.get(pins[entry.id])) is not None:
                more = replace(more, number=flush_numbers(_season_of(flush, built), calendar)[flush])
        built = write(entry, built, more, lambda: f"~{next(ids)}")
    return built


def _continues(new: Look | Work, record: TreeRecord) -> str | None:
    """The look with which a flush was said to begin that this earlier look shows to have begun before."""
    later = [flush for flush in record.flushes if flush.started_on and flush.started_on > new.latest]
    nearest = min(later, key=lambda flush: flush.started_on or date.max, default=None)
    if nearest is None or nearest.started_by != "seen" or not isinstance(new, Look):
        return None
    first = record.looks_of(nearest)[0]
    goes_on = first.stage.rank > new.stage.rank and (first.earliest - new.latest).days <= ANSWER_DAYS
    return first.id if goes_on else None


def _season_of(id: str, record: TreeRecord) -> list[Flush]:
    season = next(flush.season for flush in record.flushes if flush.id == id)
    return [flush for flush in record.flushes if flush.season == season]


def _said(record: TreeRecord) -> dict[str, Said]:
    """What the grower must have said of looks for the flushes to stand as they do."""
    said: dict[str, Said] = {}
    for flush in record.flushes:
        looks = record.looks_of(flush)
        if looks and flush.started_by == "seen":
            said[looks[0].id] = Said(new_flush=True, cause=flush.cause)
        if flush.ended_on is None or flush.ended_why in (*Operation, NEXT_BEGAN, "lost"):
            continue
        for look in looks:
            if look.latest == flush.ended_on:
                said[look.id] = replace(said.get(look.id, Said()), ended=flush.ended_why)
                break
    return said


def _keys(record: TreeRecord) -> dict[str, FlushKey]:
    keys: dict[str, FlushKey] = {}
    for flush in record.flushes:
        if flush.started_by == "season":
            keys[flush.id] = ("season", flush.season)
        elif flush.work_id is not None:
            keys[flush.id] = ("work", flush.work_id)
        else:
            looks = record.looks_of(flush)
            keys[flush.id] = ("seen", looks[0].id if looks else flush.id)
    return keys


def _placed(record: TreeRecord) -> dict[str, FlushKey]:
    """What the flush of each look is."""
    keys = _keys(record)
    return {look.id: keys[look.flush_id] for look in record.looks}


def _shape(record: TreeRecord) -> tuple[object, ...]:
    """A record without the ids of its flushes."""
    keys = _keys(record)
    return {keys[flush.id]: replace(flush, id="") for flush in record.flushes}, _placed(record)


def _with_known_ids(built: TreeRecord, record: TreeRecord, new_id: Callable[[], str]) -> TreeRecord:
    """The record with flushes under the ids they had; a new one takes that of a flush its looks have left."""
    known = {key: id for id, key in _keys(record).items()}
    keys = _keys(built)
    ids = {id: known.pop(key) for id, key in keys.items() if key in known}
    left = set(known.values())
    for flush in built.flushes:
        if flush.id not in ids:
            mine = {look.id for look in built.looks_of(flush)}
            had = [look.flush_id for look in record.looks if look.id in mine and look.flush_id in left]
            ids[flush.id] = had[0] if had else new_id()
            left.discard(ids[flush.id])
    return replace(
        built,
        flushes=tuple(replace(flush, id=ids[flush.id]) for flush in built.flushes),
        looks=tuple(look.at_flush(ids[look.flush_id]) for look in built.looks),
    )
