"""Flushes, looks and work of many trees, kept so that one more costs the same however many there are."""

from __future__ import annotations

from bisect import insort
from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Iterator, Sequence
from datetime import date
from operator import attrgetter
from typing import Any, Generic, TypeVar

from phenology.model.records import Flush, Look, Work
from phenology.model.season import SeasonCalendar
from phenology.records.entries import Changes
from phenology.records.flushes import BY_DATE, TreeRecord

T = TypeVar("T", bound=Flush | Look | Work)


class RecordBook:
    """An index of flushes and work by tree and season and of looks by flush."""

    def __init__(
        self,
        calendar: SeasonCalendar,
        flushes: Iterable[Flush] = (),
        looks: Iterable[Look] = (),
        works: Iterable[Work] = (),
    ) -> None:
        season_of = calendar.season_of
        self.calendar = calendar
        self._flushes = _Index[Flush](lambda flush: (flush.tree_id, flush.season), flushes)
        self._looks = _Index[Look](attrgetter("flush_id"), looks, order=BY_DATE)
        self._works = _Index[Work](lambda work: (work.tree_id, season_of(work.middle)), works)

    def around(self, tree_id: str, label: str, day: date) -> TreeRecord:
        """A tree's record in the season of a day and the ones beside it: all that placing a look needs."""
        season = self.calendar.season_of(day)
        seasons = [(tree_id, beside) for beside in (season - 1, season, season + 1)]
        flushes = [flush for key in seasons for flush in self._flushes.under(key)]
        works = [work for key in seasons for work in self._works.under(key)]
        looks = {flush.id: [*self._looks.under(flush.id)] for flush in flushes}
        return TreeRecord.grouped(label, flushes, looks, works)

    def apply(self, changes: Changes) -> None:
        """Take changes in."""
        for entry in changes.save:
            if isinstance(entry, Flush):
                self._flushes.put(entry)
            elif isinstance(entry, Look):
                self._looks.put(entry)
            else:
                self._works.put(entry)
        for entry in changes.remove:
            self._flushes.drop(entry.id)
            self._looks.drop(entry.id)
            self._works.drop(entry.id)

    def looks(self) -> Iterator[Look]:
        """All looks."""
        return iter(self._looks.by_id.values())

    def works(self) -> Iterator[Work]:
        """All works."""
        return iter(self._works.by_id.values())

    def flushes(self) -> Iterator[Flush]:
        """All flushes."""
        return iter(self._flushes.by_id.values())


class _Index(Generic[T]):
    """Records by their id, and by what they are asked for; to drop an unknown id changes nothing.

    Those of one key stand in an order, without one as they came.
    """

    def __init__(
        self, key: Callable[[T], Hashable], records: Iterable[T], order: Callable[[T], Any] | None = None
    ) -> None:
        self.key, self.order = key, order
        self.by_id: dict[str, T] = {}
        self._under: dict[Hashable, list[T]] = defaultdict(list)
        for record in records:
            self.put(record)

    def put(self, record: T) -> None:
        """Take a record in, for one of the same id."""
        self.drop(record.id)
        self.by_id[record.id] = record
        there = self._under[self.key(record)]
        if self.order is None or not there or self.order(there[-1]) <= self.order(record):
            there.append(record)
        else:
            insort(there, record, key=self.order)

    def drop(self, id: str) -> None:
        """Take a record out."""
        if id in self.by_id:
            there = self._under[self.key(self.by_id.pop(id))]
            there[:] = [record for record in there if record.id != id]

    def under(self, key: Hashable) -> Sequence[T]:
        """The records of one key."""
        return self._under.get(key, ())
