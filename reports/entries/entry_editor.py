"""The one flow in which looks and work are planned, listed, corrected and taken out; nothing is printed."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, ClassVar, Generic, Protocol, TypeVar

from data_sources.garden import new_id
from data_sources.journal.schema import Record
from data_sources.journal_questions import find_by_id
from phenology.language.tree_selection import few_labels
from phenology.language.vague_dates import format_day
from phenology.language.words import find_name, find_part
from phenology.model.errors import FlushcastError, InputError
from phenology.model.operations import Operation
from phenology.model.records import Look, Tree, Work
from phenology.model.stages import Stage
from phenology.records.entries import Changes, same_entry, without
from phenology.records.flushes import TreeRecord
from reports.entries.merging import Edit, Readers, merged, text_field
from reports.garden.open_garden import OpenGarden
from reports.views.words import shown_date, table

Entry = TypeVar("Entry", Look, Work)

ALL_THE_SAME = "Write it down all the same?"
NEWEST = 30  # entries listed when no tree is named


def read_when(garden: OpenGarden, text: str) -> dict[str, Any]:
    """A date as it is kept: as typed, but for words that mean another day tomorrow."""
    vague = garden.read_date(text)
    earliest, latest = vague.in_season(garden.calendar, garden.today)
    kept = earliest.isoformat() if earliest == latest else vague.text
    return {"date_text": kept, "earliest": earliest, "latest": latest}


def read_part(_: OpenGarden, text: str) -> dict[str, Any]:
    """A part of a tree, or "none"."""
    return {"part": None if text == "none" else find_part(text)}


ENTRY_READERS: Readers = {
    "when": read_when,
    "part": read_part,
    "who": text_field("who"),
    "note": text_field("note"),
}


@dataclass(frozen=True)
class Planned(Generic[Entry]):
    """An entry of one tree that can stand, with the tree's record before it and what it changes."""

    tree: Tree
    entry: Entry
    record: TreeRecord
    changes: Changes


@dataclass(frozen=True)
class Draft:
    """What is saved, what is said once it is, and what the history says of it."""

    # said and minded: what was understood and brings about; what to mind. Either may be empty.
    said: str
    minded: str
    save: Sequence[Record]
    label: str
    remove: Sequence[Record] = ()


class UnchangedError(InputError):
    """A correction says what is on record already."""


class Questions(Protocol):
    """Somebody who can be asked while an entry is planned."""

    def agreed(self, lines: Sequence[str], question: str, *, again: bool) -> bool:
        """Whether they say yes, after a few lines; `again` where something else was written meanwhile."""

    def chosen(self, question: str, options: Sequence[str]) -> str:
        """Which of some words they choose; the first where they do not mind."""


class EntryEditor(ABC, Generic[Entry]):
    """Plans entries of one kind: new ones, corrections, removals.

    `typed` are the options of the command, None (or False) where not given. Without `questions` nobody is
    asked. `id_of` gives the id of a tree's new entry: where the same one is handed in twice, its id shows it.
    """

    kind: type[Entry]
    names: type[Stage] | type[Operation]
    readers: Readers
    usage: ClassVar[str]
    correctable: ClassVar[str]

    def __init__(
        self,
        garden: OpenGarden,
        typed: dict[str, Any],
        questions: Questions | None = None,
        id_of: Callable[[Tree], str] = lambda _: new_id(),
    ) -> None:
        self.garden, self.typed, self.questions, self.id_of = garden, typed, questions, id_of
        self._agreed: list[tuple[str, ...]] = []
        self._drafts = 0
        self.what = self.kind.__name__.lower()

    @abstractmethod
    def blank(self, name: Any) -> Entry:
        """An entry of today, of no tree yet."""

    @abstractmethod
    def entries(self, tree_id: str | None) -> list[Entry]:
        """What is on record, of one tree or of all, oldest first."""

    @abstractmethod
    def changes(self, entry: Entry, record: TreeRecord, before: Entry | None = None) -> Changes:
        """What the entry changes, in place of `before` where it corrects one."""

    @abstractmethod
    def shown(self, entry: Entry) -> str:
        """The entry in a few words."""

    @abstractmethod
    def remarks(self, entry: Entry) -> tuple[str, Sequence[str]]:
        """For the list: stage or operation, and what else was said of it, empty where nothing was."""

    @abstractmethod
    def consequences(self, planned: Sequence[Planned[Entry]]) -> Iterator[str]:
        """Sentences on what else the entries bring about."""

    def find(self, text: str) -> Any:
        """The stage or operation meant by a word."""
        return find_name(self.names, text)

    def of_tree(self, entry: Entry, record: TreeRecord) -> Entry:
        """The entry as it is for one tree."""
        return entry

    def ask(self, entry: Entry, questions: Questions) -> Entry:
        """Ask what a vague date leaves open."""
        return entry

    def besides(self, planned: Planned[Entry]) -> Iterable[Record]:
        """Other records that go with an entry."""
        return ()

    def doubts(self, entry: Entry, trees: Sequence[Tree]) -> Iterable[str]:
        """What stands so much against an entry that whoever is there is asked once more."""
        return ()

    def moved(self) -> Iterable[str]:
        """What the entry moved, once it is written."""
        return ()

    def cautions(self, entry: Entry, trees: Sequence[Tree]) -> Sequence[str]:
        """What to mind, a sentence each."""
        return ()

    def save(self, draft: Draft) -> None:
        """Write down what was planned."""
        if draft.save:
            self.garden.save(draft.label, draft.save, draft.remove)

    def draft(self, words: Sequence[str]) -> Draft | None:
        """What to save and tell of one entry a tree; None where the grower, asked, would rather not."""
        return self.drafted(*self.garden.select_and(words, self.find))

    def drafted(self, trees: Sequence[Tree], name: Any) -> Draft | None:
        """As `draft`, of trees and a stage or operation that are known."""
        self._drafts += 1
        entry = merged(self.garden, self.blank(name), self.typed, self.readers)
        if not self.year_is_clear():
            return None
        asks = entry.earliest != entry.latest and not self.typed["yes"] and self.questions is not None
        if asks and self.questions is not None:
            entry = self.ask(entry, self.questions)
        planned = self.plan(trees, entry)
        named = [one.tree for one in planned]
        there = [tree for tree in trees if tree not in named]
        understood = f"{few_labels(named)}: {self.shown(entry)}"
        if asks and named and not self.agreed([], f"{understood}. Save?"):
            return None
        doubts = list(self.doubts(entry, named)) if self.questions and not self.typed["yes"] else []
        if doubts and not self.agreed(doubts, ALL_THE_SAME):
            return None
        said = [f"{understood}."] if named else []
        said += [f"{few_labels(there)}: written down already."] if there else []
        gone = [tree for tree in named if tree.retired is not None and tree.retired <= entry.latest]
        said += [f"{few_labels(gone)}: retired by then."] if gone else []
        said += self.consequences(planned)
        minded = self.cautions(entry, named)
        records: list[Record] = []
        one: Planned[Entry]
        for one in planned:
            records += [*one.changes.save, *self.besides(one)]
        return Draft(" ".join(said), " ".join(minded), records, f"{self.what}: {understood}")

    def year_is_clear(self) -> bool:
        """Whether a day without a year is meant as read, where this year's is nearer than last year's.

        Raises `InputError` if it is not clear and nobody can be asked.
        """
        when = self.typed["when"]
        vague = self.garden.read_date(when) if when and not self.typed["yes"] else None
        if vague is None or vague.ahead is None:
            return True
        read = f"'{when}' without a year is {vague}, and {format_day(vague.ahead)} is still to come"
        if self.questions is None:
            raise InputError(f"{read}: write the year with it. Nothing was saved")
        return self.agreed([], f"{read}. Is {vague} meant?")

    def agreed(self, lines: Sequence[str], question: str) -> bool:
        """Whether the grower says yes; what was said yes to is not asked again when planning again."""
        asked = (*lines, question)
        if asked in self._agreed:
            return True
        yes = self.questions is None or self.questions.agreed(lines, question, again=self._drafts > 1)
        self._agreed += [asked] if yes else []
        return yes

    def plan(self, trees: Sequence[Tree], entry: Entry) -> list[Planned[Entry]]:
        """The entry of each tree that lacks it; nothing is written.

        Raises `InputError` if any cannot stand.
        """
        planned: list[Planned[Entry]] = []
        wrong: list[FlushcastError] = []
        for tree in trees:
            record = self.garden.record(tree, entry.latest)
            mine = self.of_tree(replace(entry, id=self.id_of(tree), tree_id=tree.id), record)
            known = self.entries(tree.id)
            if not self.typed.get("new_flush") and any(same_entry(mine, other) for other in known):
                continue
            try:
                planned.append(Planned(tree, mine, record, self.changes(mine, record)))
            except InputError as error:
                wrong.append(error)
        if wrong:
            others = "" if len(wrong) == 1 else f" (and the same for {len(wrong) - 1} more of these trees)"
            raise InputError(f"{wrong[0]}{others}. Nothing was saved")
        return planned

    def correction(self, id: str, name: str) -> Edit:
        """What correcting an entry changes."""
        old, tree = self.found(id)
        entry = merged(self.garden, old, {**self.typed, "name": name or None}, self.readers)
        if entry == old and not (self.typed.get("new_flush") or self.typed.get("ended")):
            raise UnchangedError(f"nothing to correct: give {self.correctable}, --who or --note")
        changes = self.changes(entry, self.garden.record(tree, old.latest, entry.latest), old)
        said = f"{tree.label}: {self.shown(entry)} (was {self.shown(old)})"
        return Edit(said, changes.save, changes.remove, label=f"corrected {self.what}: {said}")

    def removal(self, id: str) -> Edit:
        """What taking an entry out changes."""
        entry, tree = self.found(id)
        changes = without(entry, self.garden.record(tree, entry.latest))
        said = f"{tree.label}: {self.shown(entry)}"
        label = f"took out {self.what}: {said}"
        return Edit(f"Taken out: {said}", changes.save, changes.remove, label=label)

    def found(self, id: str) -> tuple[Entry, Tree]:
        """The entry with an id that begins so, and its tree."""
        entry = find_by_id(self.garden.journal, self.kind, id)
        return entry, next(tree for tree in self.garden.trees if tree.id == entry.tree_id)

    def listing(self, trees: str) -> str:
        """Entries as a table, newest first: of the trees named, else the newest thirty."""
        if trees:
            found = [entry for tree in self.garden.select(trees) for entry in self.entries(tree.id)]
            found.sort(key=lambda entry: (entry.latest, entry.earliest), reverse=True)
        else:
            found = self.entries(None)[::-1][:NEWEST]
        labels = {tree.id: tree.label for tree in self.garden.trees}
        rows = []
        for entry in found:
            remarks: Sequence[str]
            name, remarks = self.remarks(entry)
            more = [*remarks, f"by {entry.who}" if entry.who else "", entry.note or ""]
            when = shown_date(entry.earliest, entry.latest, self.garden.today)
            rows.append([entry.id[:8], when, labels[entry.tree_id], name, "; ".join(filter(None, more))])
        heading = self.names.__name__.lower()
        return table(["id", "date", "tree", heading, ""], rows) if rows else f"No {self.what} yet."

    def when(self, entry: Entry) -> str:
        """The date of an entry, a vague one with what was typed."""
        shown = shown_date(entry.earliest, entry.latest, self.garden.today)
        return shown if entry.earliest == entry.latest else f'{shown} ("{entry.date_text}")'
