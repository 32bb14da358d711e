"""Flushes, looks and work of many trees, kept so that one more costs the same however many there are."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Iterator
from datetime import date
from typing import Generic, TypeVar

from phenology.model.records import Flush, Look, Work
from phenology.model.season import SeasonCalendar
from phenology.records.entries import Changes
from phenology.records.flushes import TreeRecord

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
        self._looks = _Index[Look](lambda look: look.flush_id, looks)
        self._works = _Index[Work](lambda work: (work.tree_id, season_of(work.middle)), works)

    def around(self, tree_id: str, label: str, day: date) -> TreeRecord:
        """A tree's record in the season of a day and the ones beside it: all that placing a look needs."""
        season = self.calendar.season_of(day)
        seasons = [(tree_id, beside) for beside in (season - 1, season, season + 1)]
        flushes = tuple(flush for key in seasons for flush in self._flushes.under(key))
        looks = tuple(look for flush in flushes for look in self._looks.under(flush.id))
        return TreeRecord(label, flushes, looks, tuple(w for key in seasons for w in self._works.under(key)))

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
    """Records by their id, and by what they are asked for; to drop an unknown id changes nothing."""

    def __init__(self, key: Callable[[T], Hashable], records: Iterable[T]) -> None:
        self.key = key
        self.by_id: dict[str, T] = {}
        self._under: dict[Hashable, dict[str, T]] = defaultdict(dict)
        for record in records:
            self.put(record)

    def put(self, record: T) -> None:
        """Take a record in, for one of the same id."""
        self.drop(record.id)
        self.by_id[record.id] = self._under[self.key(record)][record.id] = record

    def drop(self, id: str) -> None:
        """Take a record out."""
        if id in self.by_id:
            self._under[self.key(self.by_id.pop(id))].pop(id, None)

    def under(self, key: Hashable) -> Iterable[T]:
        """The records of one key, in the order in which they came."""
        return self._under[key].values() if key in self._under else ()
