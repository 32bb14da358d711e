"""What commands ask of a journal beyond its tables: the last trees written about, ids by their beginning."""

from __future__ import annotations

from data_sources.journal import Journal
from data_sources.journal.schema import R, table_of
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

    Raises
    ------
    InputError
        If none or more than one does.
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
