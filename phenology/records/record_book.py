"""Flushes, looks and work of many trees, kept so that one more costs the same however many there are."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import date

from phenology.model.records import Flush, Look, Work
from phenology.model.season import SeasonCalendar
from phenology.records.entries import Changes
from phenology.records.flushes import TreeRecord
from phenology.records.waking import middle


class RecordBook:
    """An index of flushes and work by tree and season and of looks by flush."""

    def __init__(
        self,
        calendar: SeasonCalendar,
        flushes: Iterable[Flush] = (),
        looks: Iterable[Look] = (),
        works: Iterable[Work] = (),
    ) -> None:
        self.calendar = calendar
        self._flushes: dict[str, Flush] = {}
        self._seasons: dict[tuple[str, int], dict[str, None]] = defaultdict(dict)
        self._looks: dict[str, Look] = {}
        self._by_flush: dict[str, dict[str, None]] = defaultdict(dict)
        self._works: dict[str, Work] = {}
        self._by_tree: dict[tuple[str, int], dict[str, None]] = defaultdict(dict)
        for flush in flushes:
            self._put_flush(flush)
        for look in looks:
            self._put_look(look)
        for work in works:
            self._put_work(work)

    def around(self, tree_id: str, label: str, day: date) -> TreeRecord:
        """A tree's record in the season of a day and the ones beside it: all that placing a look needs."""
        season = self.calendar.season_of(day)
        seasons = [(tree_id, beside) for beside in (season - 1, season, season + 1)]
        flushes = [self._flushes[id] for key in seasons for id in self._seasons.get(key, ())]
        looks = [self._looks[id] for f in flushes for id in self._by_flush.get(f.id, ())]
        works = [self._works[id] for key in seasons for id in self._by_tree.get(key, ())]
        return TreeRecord(label, tuple(flushes), tuple(looks), tuple(works))

    def apply(self, changes: Changes) -> None:
        """Take changes in."""
        for entry in changes.save:
            if isinstance(entry, Flush):
                self._put_flush(entry)
            elif isinstance(entry, Look):
                self._put_look(entry)
            else:
                self._put_work(entry)
        for entry in changes.remove:
            if isinstance(entry, Flush):
                self._seasons[entry.tree_id, entry.season].pop(entry.id, None)
                self._flushes.pop(entry.id, None)
            elif isinstance(entry, Look):
                self._by_flush[entry.flush_id].pop(entry.id, None)
                self._looks.pop(entry.id, None)
            else:
                self._by_tree[self._season_of(entry)].pop(entry.id, None)
                self._works.pop(entry.id, None)

    def looks(self) -> Iterator[Look]:
        """All looks."""
        return iter(self._looks.values())

    def works(self) -> Iterator[Work]:
        """All works."""
        return iter(self._works.values())

    def flushes(self) -> Iterator[Flush]:
        """All flushes."""
        return iter(self._flushes.values())

    def _put_flush(self, flush: Flush) -> None:
        before = self._flushes.get(flush.id)
        if before is not None:
            self._seasons[before.tree_id, before.season].pop(flush.id, None)
        self._flushes[flush.id] = flush
        self._seasons[flush.tree_id, flush.season][flush.id] = None

    def _put_look(self, look: Look) -> None:
        before = self._looks.get(look.id)
        if before is not None:
            self._by_flush[before.flush_id].pop(look.id, None)
        self._looks[look.id] = look
        self._by_flush[look.flush_id][look.id] = None

    def _put_work(self, work: Work) -> None:
        before = self._works.get(work.id)
        if before is not None:
            self._by_tree[self._season_of(before)].pop(work.id, None)
        self._works[work.id] = work
        self._by_tree[self._season_of(work)][work.id] = None

    def _season_of(self, work: Work) -> tuple[str, int]:
        return work.tree_id, self.calendar.season_of(middle(work.earliest, work.latest))
