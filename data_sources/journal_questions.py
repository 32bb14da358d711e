"""What commands ask of a journal beyond its tables: the last trees written about, ids by their beginning."""

from __future__ import annotations

from collections.abc import Collection

from data_sources.journal.schema import R, table_of
from data_sources.journal.store import Journal
from data_sources.tables.garden_tables import GardenRecords
from phenology.model.errors import InputError


def last_entry_trees(journal: Journal) -> list[str]:
    """Ids of the trees of the newest look or work that still holds: what "same as last time" means."""
    for change in journal.history():
        if change.undone or change.undoes is not None or not {"look", "work"} & set(change.rows):
            continue
        rows = journal.query(
            "SELECT DISTINCT tree_id FROM history "
            "WHERE batch_key IN (SELECT key FROM batch WHERE id = ?) AND table_name IN ('look', 'work') "
            "AND after IS NOT NULL",
            (change.batch,),
        )
        if rows:
            return [row[0] for row in rows]
    return []


def find_by_id(journal: Journal, kind: type[R], beginning: str) -> R:
    """The record whose id begins so; eight characters are usually enough.

    Raises `InputError` if none or more than one does.
    """
    table = table_of(kind)
    start = beginning.strip()
    rows = journal.query(f"SELECT id FROM {table} WHERE substr(id, 1, ?) = ? LIMIT 2", (len(start), start))
    if not start or not rows:
        raise InputError(
            f"there is no {table} with the id {beginning}; list them with: flushcast {table} --list"
        )
    if len(rows) > 1:
        raise InputError(f"more than one {table} has an id that begins with {beginning}; write more of it")
    found = journal.get(kind, rows[0][0])
    assert found is not None
    return found


def all_records(journal: Journal) -> GardenRecords:
    """Every record of a garden, of one point in time."""
    with journal.snapshot():
        return GardenRecords(
            journal.places(),
            journal.trees(),
            journal.stands(),
            journal.aims(),
            journal.works(),
            journal.flushes(),
            journal.looks(),
            journal.import_maps(),
            journal.shared_files(),
        )


def _of_trees(trees: Collection[str]) -> str:
    return f"tree_key IN (SELECT key FROM changed_tree WHERE id IN ({', '.join('?' * len(trees))}))"


def batch_that_wrote(journal: Journal, ids: Collection[str], trees: Collection[str]) -> str | None:
    """The batch that first wrote any record of some trees with one of some ids, whether or not it holds."""
    marks = ", ".join("?" * len(ids))
    query = f"SELECT batch FROM history WHERE {_of_trees(trees)} AND row_id IN ({marks}) ORDER BY seq LIMIT 1"
    rows = journal.query(query, (*trees, *ids))
    return rows[0][0] if rows else None


def newest_of_trees(journal: Journal, trees: Collection[str]) -> int:
    """The number of the last change that touched any of some trees; 0 where there is none."""
    found = journal.query(f"SELECT max(seq) FROM history WHERE {_of_trees(trees)}", (*trees,))
    return found[0][0] or 0


def labels_since(journal: Journal, trees: Collection[str], change: int) -> list[str]:
    """What was written of some trees after a change, oldest first, in the words of the history."""
    rows = journal.query(
        f"SELECT label, min(seq) FROM history WHERE {_of_trees(trees)} AND seq > ? GROUP BY batch ORDER BY 2",
        (*trees, change),
    )
    return [label for label, _ in rows]


def what_a_batch_did(journal: Journal, batch: str) -> tuple[str, bool] | None:
    """The label of a batch, and whether it was taken back; None where there is no such batch."""
    rows = journal.query("SELECT label FROM batch WHERE id = ? LIMIT 1", (batch,))
    return (rows[0][0], _undone(journal, batch)) if rows else None


def _undone(journal: Journal, batch: str) -> bool:
    """Whether a batch was taken back by one that still holds."""
    return any(
        not _undone(journal, id) for (id,) in journal.query("SELECT id FROM batch WHERE undoes = ?", (batch,))
    )
