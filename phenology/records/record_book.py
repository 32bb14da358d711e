"""Flushes, looks and work of many trees, kept so that one more costs the same however many there are."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Iterator
from datetime import date
from typing import Any, Generic, TypeVar

from phenology.model.records import Flush, Look, Work
from phenology.model.season import SeasonCalendar
from phenology.records.entries import Changes
from phenology.records.flushes import TreeRecord
from phenology.records.waking import middle

R = TypeVar("R", Flush, Look, Work)

_NONE: dict[str, Any] = {}


class RecordBook:
    """An index of flushes and work by tree and season and of looks by flush.

    Parameters
    ----------
    calendar : SeasonCalendar
    flushes, looks, works : iterables of records
    """

    def __init__(
        self,
        calendar: SeasonCalendar,
        flushes: Iterable[Flush] = (),
        looks: Iterable[Look] = (),
        works: Iterable[Work] = (),
    ) -> None:
        self.calendar = calendar
        self._flushes = _Shelf[Flush](lambda flush: (flush.tree_id, flush.season))
        self._looks = _Shelf[Look](lambda look: look.flush_id)
        self._works = _Shelf[Work](self._season_of)
        for flush in flushes:
            self._flushes.put(flush)
        for look in looks:
            self._looks.put(look)
        for work in works:
            self._works.put(work)

    def around(self, tree_id: str, label: str, day: date) -> TreeRecord:
        """A tree's record in the season of a day and the ones beside it: all that placing a look needs."""
        season = self.calendar.season_of(day)
        seasons = [(tree_id, beside) for beside in (season - 1, season, season + 1)]
        flushes = self._flushes.of(seasons)
        return TreeRecord(label, flushes, self._looks.of(f.id for f in flushes), self._works.of(seasons))

    def apply(self, changes: Changes) -> None:
        """Take changes in."""
        for entry in changes.save:
            self._shelf(entry).put(entry)
        for entry in changes.remove:
            self._shelf(entry).take(entry.id)

    def looks(self) -> Iterator[Look]:
        """All looks."""
        return iter(self._looks.by_id.values())

    def works(self) -> Iterator[Work]:
        """All works."""
        return iter(self._works.by_id.values())

    def flushes(self) -> Iterator[Flush]:
        """All flushes."""
        return iter(self._flushes.by_id.values())

    def _shelf(self, entry: Flush | Look | Work) -> _Shelf[Any]:
        shelves: dict[type, _Shelf[Any]] = {Flush: self._flushes, Look: self._looks, Work: self._works}
        return shelves[type(entry)]

    def _season_of(self, work: Work) -> tuple[str, int]:
        return work.tree_id, self.calendar.season_of(middle(work.earliest, work.latest))


class _Shelf(Generic[R]):
    """Records of one kind by id and by what they belong to."""

    def __init__(self, group: Callable[[R], Hashable]) -> None:
        self.by_id: dict[str, R] = {}
        self._group: Callable[[R], Hashable] = group
        self._groups: dict[Hashable, dict[str, R]] = defaultdict(dict)

    def put(self, record: R) -> None:
        """A record, in place of the one with its id."""
        self.take(record.id)
        self.by_id[record.id] = self._groups[self._group(record)][record.id] = record

    def take(self, id: str) -> None:
        """Take a record away if it is there."""
        if (record := self.by_id.pop(id, None)) is not None:
            del self._groups[self._group(record)][id]

    def of(self, groups: Iterable[Hashable]) -> list[R]:
        """The records of some groups."""
        return [record for group in groups for record in self._groups.get(group, _NONE).values()]
