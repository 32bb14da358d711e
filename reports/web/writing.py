"""Looks and work from a form: planned as the commands plan them, written once, undone in one tap."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from uuid import NAMESPACE_URL, uuid4, uuid5

from data_sources.journal_questions import (
    batch_that_wrote,
    labels_since,
    newest_of_trees,
    what_a_batch_did,
)
from phenology.model.errors import InputError
from reports.entries.entry_editor import Draft, EntryEditor
from reports.entries.look_editor import LookEditor
from reports.entries.work_editor import WorkEditor
from reports.garden.open_garden import OpenGarden

if TYPE_CHECKING:
    from reports.web.keeper import Known

LOOK_FIELDS = ("when", "who", "note", "part", "mark", "leaves", "kind", "cause", "ended")
WORK_FIELDS = ("when", "who", "note", "part", "place")
FLAGS = ("yes", "new_flush", "early")
NOTHING_TYPED: dict[str, Any] = dict.fromkeys((*LOOK_FIELDS, *WORK_FIELDS, *FLAGS))
_TOKEN = re.compile(r"[0-9a-f-]{8,64}")


class Asked(Exception):
    """Something that the grower is asked before it can be written down."""

    def __init__(self, lines: Sequence[str], question: str, options: Sequence[str] = ()) -> None:
        super().__init__(question)
        self.lines, self.question, self.options = tuple(lines), question, tuple(options)

    @property
    def key(self) -> str:
        """What a form that says yes sends along: the whole question."""
        return " ".join((*self.lines, self.question))


class AlreadyWrittenError(Exception):
    """The same form was sent before; `batch` wrote it."""

    def __init__(self, batch: str) -> None:
        super().__init__(batch)
        self.batch = batch


class StaleError(Exception):
    """Something else was written of these trees since the form was filled in."""

    def __init__(self, theirs: Sequence[str], mine: str, seen: int) -> None:
        super().__init__(mine)
        self.theirs, self.mine, self.seen = tuple(theirs), mine, seen


@dataclass(frozen=True)
class Saved:
    """What is told once a change is saved."""

    # said and minded: as `Draft` has them
    said: str
    minded: str
    trees: tuple[str, ...]  # their ids
    before: Known | None = None  # what was forecast before it, where that was reckoned


class _InTheForm:
    """Answers with what the form says, and else has the page ask."""

    def __init__(self, agreed: Sequence[str]) -> None:
        self._yes = set(agreed)

    def agreed(self, lines: Sequence[str], question: str, *, again: bool) -> bool:
        asked = Asked(lines, question)
        if asked.key in self._yes:
            return True
        raise asked

    def chosen(self, question: str, options: Sequence[str]) -> str:
        raise Asked((), question, options)


@dataclass(frozen=True)
class Entry:
    """A look or work as a form or a program hands it in."""

    editor: type[LookEditor] | type[WorkEditor]
    trees: tuple[str, ...]  # their ids
    name: Any
    typed: dict[str, Any]  # as the command's options
    token: str  # of the form: the same one is written once, however often it is sent
    # the last change of these trees when the form was made; None where that does not matter
    seen: int | None = None
    # the questions that were answered with yes; None where nobody is asked
    agreed: Sequence[str] | None = None
    corrects: str = ""  # the id of the record that it takes the place of; empty where it is a new one

    def id_of(self, tree: str) -> str:
        """The id of a tree's record: the same for the same form."""
        return str(uuid5(NAMESPACE_URL, f"flushcast:{self.token}:{tree}"))

    def made_by(self, garden: OpenGarden) -> EntryEditor[Any]:
        """The editor that plans it."""
        questions = None if self.agreed is None else _InTheForm(self.agreed)
        return self.editor(garden, dict(self.typed), questions, lambda tree: self.id_of(tree.id))


def new_token() -> str:
    """The token of a new form."""
    return str(uuid4())


def typed_fields(given: dict[str, str], editor: type[LookEditor] | type[WorkEditor]) -> dict[str, Any]:
    """The options of the command from the fields of a form; empty fields were not typed."""
    names = LOOK_FIELDS if editor is LookEditor else WORK_FIELDS
    typed: dict[str, Any] = {name: given.get(name, "").strip() or None for name in names}
    return typed | {flag: bool(given.get(flag)) for flag in FLAGS}


def checked_token(token: str) -> str:
    """The token of a form as sent; another one where it cannot be ours."""
    return token if _TOKEN.fullmatch(token) else new_token()


def write_down(garden: OpenGarden, entry: Entry) -> tuple[Draft, str]:
    """Write an entry down, one record a tree, all of them or none; returns the change that wrote it too.

    That is empty where everything was on record already. Raises `Asked` if the grower is to be asked first;
    `AlreadyWrittenError` if the same form was saved before; `StaleError` if something else was written of
    these trees since it was made; `UnchangedError` if a correction says what is on record already;
    `InputError` if it cannot stand.
    """
    editor, batches = entry.made_by(garden), [""]

    def refuse_again() -> None:
        ids = [entry.id_of(tree) for tree in entry.trees]
        if batch := batch_that_wrote(garden.journal, ids, entry.trees):
            raise AlreadyWrittenError(batch)

    def plan() -> Draft:
        refuse_again()
        try:
            return drafted_now()
        except Exception:
            refuse_again()  # sent twice and written meanwhile, a form would stand against itself
            raise

    def drafted_now() -> Draft:
        journal = garden.journal
        trees = [tree for tree in garden.trees if tree.id in entry.trees]
        if not trees:
            raise InputError("say which trees")
        if entry.corrects:
            edit = editor.correction(entry.corrects, str(entry.name))
            draft = Draft(f"{edit.said}.", "", [*edit.save], edit.label, [*edit.remove])
        else:
            drafted = editor.drafted(trees, entry.name)
            assert drafted is not None  # nobody says no: the page asks before
            draft = drafted
        newest = newest_of_trees(journal, entry.trees)
        if entry.seen is not None and newest > entry.seen:
            raise StaleError(labels_since(journal, entry.trees, entry.seen), draft.label, newest)
        return draft

    def write(draft: Draft) -> None:
        editor.save(draft)
        newest = garden.journal.newest_change() if draft.save else None
        batches.append(newest[1] if newest else "")

    draft = garden.settle(plan, write)
    assert draft is not None
    return draft, batches[-1]


def take_back(garden: OpenGarden, batch: str | None = None) -> str:
    """Undo the last change; returns its label.

    Raises `InputError` if it is not the one meant, or there is nothing to undo.
    """
    from data_sources.kept_notes import journal_before_restore

    with garden.changing():
        if journal_before_restore(garden.folder, garden.journal) is not None:
            raise InputError("the last thing done was a restore; take it back with: flushcast undo")
        last = garden.journal.last_standing()
        known = what_a_batch_did(garden.journal, batch) if batch else None
        if known is not None and known[1]:
            raise InputError("this was taken back already")
        if last is None:
            raise InputError("there is nothing to undo")
        if batch is not None and last[0] != batch:
            raise InputError(f"something else was written down since: {last[1]}. Take that back first")
        return garden.journal.undo(1, at=garden.now)[0]
