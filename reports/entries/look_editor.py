"""Looks: where the general flow of `EntryEditor` is that of what was seen."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any

from data_sources.garden import new_id
from phenology.language.counts import counted
from phenology.language.tree_selection import few_labels
from phenology.language.words import find_bloom, find_mark, find_stage
from phenology.model.errors import FlushcastError, InputError
from phenology.model.records import Flush, Look, Tree
from phenology.model.stages import Mark, Stage
from phenology.records.entries import Changes, kind_of_date, look_changes
from phenology.records.flushes import TreeRecord, flush_numbers
from reports.entries.entry_editor import ENTRY_READERS, EntryEditor, Planned, Questions, read_when
from reports.garden.open_garden import OpenGarden

if TYPE_CHECKING:
    from phenology.garden import Garden

KINDS = ("seen", "happened")


def _read_when(garden: OpenGarden, text: str) -> dict[str, Any]:
    hint = garden.read_date(text).hint
    return read_when(garden, text) | ({"kind": hint} if hint else {})


def _read_mark(_: OpenGarden, text: str) -> dict[str, Any]:
    mark = None if text == "none" else find_mark(text)
    return {"checked": mark is Mark.CHECKED, "lost": mark is Mark.LOST}


def _read_leaves(_: OpenGarden, text: str) -> dict[str, Any]:
    counts = re.split(r"[,; ]+", text.strip())
    if text.strip() and not all(re.fullmatch(r"[0-9]{1,3}", count) for count in counts):
        raise InputError(f"--leaves takes counts such as 5,6,5; got '{text}'")
    return {"leaves": ",".join(counts) or None}


class LookEditor(EntryEditor[Look]):
    """Looks: see `EntryEditor`."""

    kind = Look
    names = Stage
    readers = {  # noqa: RUF012
        **ENTRY_READERS,
        "name": lambda _, text: {"stage": find_stage(text)},
        "when": _read_when,
        "mark": _read_mark,
        "leaves": _read_leaves,
        "kind": lambda _, text: {"kind": text},
    }
    usage = 'say which trees and which stage: flushcast look "hornbeams" soft'
    correctable = "a stage, --date, --mark, --part, --kind, --ended"

    bloom: str | None = None

    def __init__(self, *given: Any, **more: Any) -> None:
        super().__init__(*given, **more)
        self._early: list[Planned[Look]] = []
        self._known: dict[date, Garden] = {}
        self._before: dict[str, tuple[list[Flush], list[Look]]] = {}

    def find(self, text: str) -> Stage:
        self.bloom = find_bloom(text)
        return Stage.DORMANT if self.bloom else find_stage(text)

    def of_tree(self, entry: Look, record: TreeRecord) -> Look:
        """Flowers say nothing of leaves: the stage that was seen last stands beside them."""
        if self.bloom is None:
            if self._kind_is_open(entry):
                return replace(entry, kind=kind_of_date(entry, record, self.garden.today))
            return entry
        season = self.garden.calendar.season_of(entry.latest)
        seen = [k for k in record.looks if k.latest <= entry.latest]
        last = max(seen, key=lambda k: (k.latest, k.stage.rank), default=None)
        if last is None or self.garden.calendar.season_of(last.latest) != season:
            label = next(tree.label for tree in self.garden.trees if tree.id == entry.tree_id)
            raise InputError(
                f"what are the leaves of {label} at? No look of this season says so: "
                f'flushcast look "{label}" soft --note {self.bloom}'
            )
        return replace(entry, stage=last.stage, note="; ".join(filter(None, [self.bloom, entry.note])))

    def blank(self, name: Stage) -> Look:
        today = self.garden.today
        return Look("", "", "", name, today.isoformat(), today, today)

    def entries(self, tree_id: str | None) -> list[Look]:
        return self.garden.journal.looks(tree_id)

    def changes(self, entry: Look, record: TreeRecord, before: Look | None = None) -> Changes:
        return look_changes(
            entry,
            record,
            self.garden.calendar,
            today=self.garden.today,
            new_id=new_id,
            new_flush=self.typed["new_flush"],
            cause=self.typed["cause"],
            ended=self.typed["ended"],
        )

    def ask(self, entry: Look, questions: Questions) -> Look:
        if not self._kind_is_open(entry):
            return entry
        question = f'"{entry.date_text}": was it seen so by then, or did it come about then?'
        kind = questions.chosen(question, KINDS)
        self.typed["kind"] = kind
        return replace(entry, kind=kind)

    def plan(self, trees: Sequence[Tree], entry: Look) -> list[Planned[Look]]:
        """As for any entry; new growth sooner after work than the species shows it is doubted.

        Without anybody to ask it is taken for the old leaves, where what is on record of them allows that.
        """
        self._before = self._records(tree.id for tree in trees)
        planned = super().plan(trees, entry)
        if self.typed["yes"] or self.typed["new_flush"]:
            return planned
        self._early = [one for one in planned if self._too_early(one)]
        if self.questions is not None:
            return planned
        return [self._as_old_leaves(one) if one in self._early else one for one in planned]

    def _too_early(self, one: Planned[Look]) -> bool:
        from phenology.forecasting.early_looks import may_be_early, too_early

        flush = _flush_of(one)
        if not may_be_early(one.entry, flush, one.record.looks_of(flush)):
            return False
        day = one.entry.latest
        if day not in self._known:
            self._known[day] = self.garden.snapshot(None if day == self.garden.today else day)
        return too_early(one.entry, flush, self._known[day])

    def _records(self, trees: Iterable[str]) -> dict[str, tuple[list[Flush], list[Look]]]:
        """The flushes and looks of some trees, as they are written down."""
        return {id: (self.garden.journal.flushes(id), self.garden.journal.looks(id)) for id in trees}

    def _as_old_leaves(self, one: Planned[Look]) -> Planned[Look]:
        calendar = self.garden.calendar
        flush = _flush_of(one)
        number = flush_numbers(one.record.flushes, calendar)[flush.id] - 1
        try:
            changes = look_changes(
                one.entry, one.record, calendar, today=self.garden.today, new_id=new_id, number=number
            )
        except InputError:
            raise InputError(
                f"{one.tree.label}: {_too_soon(one)}, and the old leaves were beyond that. Correct the "
                "date or the stage; if the new shoots are really out, add --yes. Nothing was saved"
            ) from None
        return replace(one, changes=changes)

    def doubts(self, entry: Look, trees: Sequence[Tree]) -> Iterator[str]:
        """Growth that comes too soon."""
        said: dict[str, list[Tree]] = {}
        for one in self._early:
            said.setdefault(_too_soon(one), []).append(one.tree)
        for words, some in said.items():
            yield f"{few_labels(some)}: {words}: the old leaves, or another day?"

    def moved(self) -> Iterator[str]:
        """Stop dates, of whichever trees."""
        from phenology.advice.forecast_change import stops_moved
        from reports.views.change_text import stops_text

        with suppress(FlushcastError):  # without a place or weather there are none
            looked_at, known = self._before.keys(), self._known.get(self.garden.today)
            now = known.with_records(self._records(looked_at)) if known else self.garden.snapshot()
            before = known or now.with_records(self._before)
            if words := stops_text(stops_moved(before, now)):
                yield f"This moves stop dates: {words}."

    def _kind_is_open(self, entry: Look) -> bool:
        """Whether neither the grower nor the words of the date say if it was seen or came about then."""
        when = self.typed["when"]
        if when is None or self.typed["kind"] is not None:
            return False
        return entry.earliest == entry.latest or self.garden.read_date(when).hint is None

    def shown(self, entry: Look) -> str:
        mark = Mark.LOST if entry.lost else Mark.CHECKED if entry.checked else None
        if self.bloom:
            return f"{self.bloom}, {self.when(entry)}"
        about = "came about " if entry.kind == "happened" else ""
        return f"{entry.stage}{f' ({mark})' if mark else ''}, {about}{self.when(entry)}"

    def remarks(self, entry: Look) -> tuple[str, Sequence[str]]:
        exact = entry.earliest == entry.latest
        about = "then" if exact else entry.date_text.removeprefix("about ")
        return entry.stage, [
            Mark.CHECKED if entry.checked else "",
            Mark.LOST if entry.lost else "",
            entry.part or "",
            f"leaves {entry.leaves}" if entry.leaves else "",
            f"came about {about}" if entry.kind == "happened" else "",
        ]

    def consequences(self, planned: Sequence[Planned[Look]]) -> Iterator[str]:
        opened, beside = 1, dict[str, list[Planned[Look]]]()
        for one in planned:
            after = one.changes.applied_to(one.record)
            mine = next(look for look in after.looks if look.id == one.entry.id)
            number = flush_numbers(after.flushes, self.garden.calendar)[mine.flush_id]
            if mine.flush_id not in {flush.id for flush in one.record.flushes}:
                opened = max(opened, number)
            elif words := _beside(after, mine, number):
                beside.setdefault(words, []).append(one)
        if opened > 1:
            yield f"This opens flush {opened}."
        for words, some in beside.items():
            yield words if len(some) == len(planned) else f"{few_labels([s.tree for s in some])}: {words}"
        for label, other in _of_the_same_day(planned):
            slip = f"if it was a slip: flushcast look --remove {other.id[:8]}"
            yield f"{label}: {other.stage} is on record of that day too; {slip}."
        if self.typed["ended"]:
            yield f"The flush ends here: {self.typed['ended']}."
        guessed = [one.entry for one in planned if self._kind_is_open(one.entry)]
        if any(look.kind == "happened" for look in guessed):
            yield "Taken as the day it came about; add --kind seen if it was only found so then."
        elif any(look.earliest != look.latest for look in guessed):
            yield "Taken as seen by then; add --kind happened if it came about then."


def _of_the_same_day(planned: Sequence[Planned[Look]]) -> Iterator[tuple[str, Look]]:
    """Looks that say another stage of the same day: both stand, and one may have been meant to replace."""
    for tree, entry, record in ((one.tree, one.entry, one.record) for one in planned):
        for other in record.looks:
            same = (
                other.earliest == other.latest == entry.earliest == entry.latest and other.part == entry.part
            )
            if same and other.stage != entry.stage:
                yield tree.label, other


def _flush_of(one: Planned[Look]) -> Flush:
    """The flush that a planned look was taken for."""
    after = one.changes.applied_to(one.record)
    mine = next(look for look in after.looks if look.id == one.entry.id)
    return next(flush for flush in after.flushes if flush.id == mine.flush_id)


def _too_soon(one: Planned[Look]) -> str:
    worked = _flush_of(one).started_on
    days = (one.entry.latest - worked).days if worked else 0
    count = counted(days, "days")
    return f"{one.entry.stage} {count} after work that woke new growth is sooner than this species shows it"


def _beside(record: TreeRecord, look: Look, number: int) -> str:
    """Which of two flushes that go on side by side a look was taken for, and how to name the other."""
    mine = next(flush for flush in record.flushes if flush.id == look.flush_id)
    later = [f for f in record.flushes if f.started_by == "work" and f.started_on and f.season == mine.season]
    if mine.ended_on and any(mine.ended_on <= f.started_on < look.earliest for f in later if f.started_on):
        if look.stage.rank >= Stage.EXTENDED.rank:
            return "Taken for the old leaves."
        return "Taken for the old leaves; if new shoots are really out, undo it and add --yes."
    going = [flush for flush in record.flushes if flush.season == mine.season and flush.ended_on is None]
    if len(going) < 2 or mine.ended_on is not None:
        return ""
    if mine == going[0]:
        return f"Taken for flush {number}, which goes on beside a newer one."
    return f"Taken for flush {number}; --part inside is for the older one that goes on beside it."
