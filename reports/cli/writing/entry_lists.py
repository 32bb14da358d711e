"""What looks and work share once they are written down: they are listed, and taken out again."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import TypeVar

from data_sources.journal_questions import find_by_id
from phenology.model.records import Look, Work
from phenology.records.entries import Changes
from phenology.records.flushes import TreeRecord
from reports.cli.writing.desk import UNDO, Desk, shown_date, table, tell

Entry = TypeVar("Entry", Look, Work)

NEWEST = 30  # entries listed when no tree is named


def listing(
    desk: Desk,
    trees: str,
    entries: Callable[[str | None], Sequence[Entry]],
    what: str,
    shown: Callable[[Entry], tuple[str, Iterable[str]]],
) -> str:
    """Entries as a table, newest first: of the trees named, else the newest thirty.

    Parameters
    ----------
    desk : Desk
    trees : str
        As typed; empty for all.
    entries : callable
        The entries of a tree's id, or all of them for None, oldest first.
    what : str
        Heading of the column that says what was seen or done.
    shown : callable
        That, and what else is to be said of an entry; empty texts are left out.
    """
    if trees:
        found = [entry for tree in desk.select(trees) for entry in entries(tree.id)]
        found.sort(key=lambda entry: (entry.latest, entry.earliest), reverse=True)
    else:
        found = list(entries(None))[::-1][:NEWEST]
    labels = {tree.id: tree.label for tree in desk.trees}
    rows = []
    for entry in found:
        said, more = shown(entry)
        when = shown_date(entry.earliest, entry.latest, desk.today)
        rows.append([entry.id[:8], when, labels[entry.tree_id], said, "; ".join(filter(None, more))])
    return table(["id", "date", "tree", what, ""], rows) if rows else ""


def take_out(
    desk: Desk,
    kind: type[Entry],
    id: str,
    without: Callable[[Entry, TreeRecord], Changes],
    shown: Callable[[Desk, Entry], str],
) -> None:
    """Take an entry out, and say what is gone and how to have it back."""
    entry = find_by_id(desk.journal, kind, id)
    tree = next(t for t in desk.trees if t.id == entry.tree_id)
    changes = without(entry, desk.record(tree, entry.latest))
    text = f"{tree.label}: {shown(desk, entry)}"
    desk.save(f"took out {kind.__name__.lower()}: {text}", changes.save, changes.remove)
    tell(f"Taken out: {text}. {UNDO}")
