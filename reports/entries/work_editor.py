"""Work: how `EntryEditor` goes on with what was done, and what the rules say of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from data_sources.garden import new_id
from data_sources.journal.schema import Record
from data_sources.kept_notes import not_said_yet
from phenology.advice.adviser import late_seasons
from phenology.language.tree_selection import few_labels
from phenology.language.words import find_operation, plain_words
from phenology.model.errors import FlushcastError, InputError
from phenology.model.operations import Operation
from phenology.model.records import Stand, Tree, Work
from phenology.model.stages import Stage
from phenology.records.entries import Changes, work_changes
from phenology.records.flushes import TreeRecord
from phenology.work.answer import Answer, may_i
from phenology.work.case import Case
from phenology.work.cautions import cautions
from reports.entries.entry_editor import ENTRY_READERS, EntryEditor, Planned
from reports.garden.clock import today
from reports.garden.open_garden import OpenGarden
from reports.views.ahead_text import answer_lines, finding_lines


def work_answers(opened: OpenGarden, trees: Sequence[Tree], work: Work) -> Iterator[tuple[Tree, Answer]]:
    """The answer for each tree to work of no tree yet, on its last day.

    A garden without weather is judged by what there is.
    """
    if not trees:
        return
    day = work.latest
    garden = opened.snapshot(day if day < opened.today else None)
    seasons = late_seasons(garden) if work.operation.wakes else None
    for tree in trees:
        late = seasons.late(tree.species, garden.site(tree, garden.season)) if seasons else None
        yield (
            tree,
            may_i(Case(garden, tree, work.operation, day, work.part, work.note or "", work.early, late)),
        )


RESTS = "rests until spring"  # the rule on cuts whose buds stay shut
GONE = ("sold", "died", "dead", "killed", "given away", "gone")  # what becomes of a tree, no work on it
NEEDS_HARD_LEAVES = (Operation.CUTBACK, Operation.HALVING, Operation.PARTIAL_DEFOLIATION)


class WorkEditor(EntryEditor[Work]):
    """Work: see `EntryEditor`."""

    kind = Work
    names = Operation
    readers = {  # noqa: RUF012
        **ENTRY_READERS,
        "name": lambda _, text: {"operation": find_operation(text)},
        "early": lambda _, flag: {"early": bool(flag)},
    }
    usage = 'say which trees and what was done: flushcast work "Elm 2" cutback'
    correctable = "an operation, --date, --part, --early"
    not_held: tuple[str, ...] = ()
    _answers: list[tuple[Tree, Answer]] | None = None
    _minded: list[str] | None = None

    def find(self, text: str) -> Any:
        if plain_words(text) in GONE:
            raise InputError("a tree that is sold or dead is retired: see flushcast tree retire --help")
        return super().find(text)

    def blank(self, name: Operation) -> Work:
        self._answers, self.not_held = None, ()  # of the trees as they are now
        if self.typed["place"] and name is not Operation.MOVING:
            raise InputError(f"--to goes with moving, not with {name}")
        self.place = self.garden.place(self.typed["place"]) if self.typed["place"] else None
        today = self.garden.today
        return Work("", "", name, today.isoformat(), today, today)

    def entries(self, tree_id: str | None) -> list[Work]:
        return self.garden.journal.works(tree_id)

    def changes(self, entry: Work, record: TreeRecord, before: Work | None = None) -> Changes:
        calendar, today = self.garden.calendar, self.garden.today
        return work_changes(entry, record, calendar, today=today, new_id=new_id, before=before)

    def besides(self, planned: Planned[Work]) -> Iterator[Record]:
        """Where the tree stands now, or when it was last repotted."""
        tree, work = planned.tree, planned.entry
        day = work.middle
        if self.place is not None:
            yield Stand(new_id(), tree.id, self.place.id, day)
        elif work.operation is Operation.REPOTTING and (tree.last_repot is None or tree.last_repot < day):
            yield replace(tree, last_repot=day)

    def shown(self, entry: Work) -> str:
        place = getattr(self, "place", None)
        to = f" to {place.name}" if place else ""
        return f"{entry.operation}{to}{f' ({entry.part})' if entry.part else ''}, {self.when(entry)}"

    def remarks(self, entry: Work) -> tuple[str, Sequence[str]]:
        return entry.operation, [entry.part or "", "early" if entry.early else ""]

    def consequences(self, planned: Sequence[Planned[Work]]) -> Iterator[str]:
        wakings = [(one.tree, one.changes.waking) for one in planned if one.entry.operation.wakes]
        opened = [tree for tree, waking in wakings if waking and waking.flush]
        rests = self._rest(planned) if opened else set()
        for when, some in (
            ("", [tree for tree in opened if tree.id not in rests]),
            (", perhaps only in spring", [tree for tree in opened if tree.id in rests]),
        ):
            if some:
                yield f"Wakes {'a new flush' if len(some) == len(planned) else few_labels(some)}{when}."
        for why in dict.fromkeys(w.why_not for _, w in wakings if w and not w.flush):
            asleep = [tree for tree, w in wakings if w and not w.flush and w.why_not == why]
            yield f"{few_labels(asleep)}: wakes no flush, {why}."
        if any(
            one.entry.operation in NEEDS_HARD_LEAVES and not one.entry.early and not _looked_at(one)
            for one in planned
        ):
            yield "No look says the leaves were hard: the work will count as a sign of it (--early if not)."

    def _rest(self, planned: Sequence[Planned[Work]]) -> set[str]:
        """The trees, by id, whose buds are taken to stay shut until spring."""
        answers = self.answers(planned[0].entry, [one.tree for one in planned])
        return {tree.id for tree, answer in answers if any(f.rule == RESTS for f in answer.findings)}

    def doubts(self, entry: Work, trees: Sequence[Tree]) -> Iterator[str]:
        yield from answer_lines([pair for pair in self.answers(entry, trees) if pair[1].answer == "no"])

    def cautions(self, entry: Work, trees: Sequence[Tree]) -> Sequence[str]:
        species = [self.garden.catalogue[t.species] for t in trees if t.species in self.garden.catalogue]
        against = [*finding_lines(self.answers(entry, trees)), *self.not_held]
        if self._minded is None:  # asked again where something else was written down meanwhile
            minded = cautions([entry.operation], species, len(trees))
            self._minded = not_said_yet(self.garden.folder, today(), minded)
        return [*against, *self._minded] if trees else []

    def answers(self, entry: Work, trees: Sequence[Tree]) -> list[tuple[Tree, Answer]]:
        """What the rules say of the work on each tree; what was done is written down whatever they say."""
        if self._answers is None:
            try:
                self._answers = list(work_answers(self.garden, trees, entry))
            except FlushcastError as error:
                self._answers = []
                self.not_held = (f"Not held against the weather: {str(error).rstrip('.')}.",)
        return self._answers


def _looked_at(planned: Planned[Work]) -> bool:
    """Whether looks say how the flush stood that was worked on: it was hard, or seen that day."""
    waking = planned.changes.waking
    woken = waking.flush.id if waking and waking.flush else None
    before = [flush for flush in planned.record.flushes if flush.id != woken]
    if not before:
        return False
    last = max(before, key=lambda flush: (flush.season, flush.started_on or date.min))
    seen_then = any(look.latest >= planned.entry.latest for look in planned.record.looks_of(last))
    return seen_then or planned.record.furthest(last) >= Stage.HARDENED.rank
