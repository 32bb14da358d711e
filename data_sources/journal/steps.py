"""The steps that brought the journal's tables to their present shape, and how it keeps a changed row.

A row of the change table lacks what its other columns, or another cell, say already. `compact` and `expanded`
are part of the file's format, so never changed but by a new step: an upgrade writes with the functions that
read. See `data_sources.sqlite.schema`.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from data_sources.sqlite.schema import Migration

_FIRST_SHAPE = (
    """CREATE TABLE migration (version INTEGER PRIMARY KEY, name TEXT NOT NULL, at TEXT NOT NULL)""",
    """CREATE TABLE place (
        id TEXT PRIMARY KEY NOT NULL, name TEXT NOT NULL,
        latitude REAL NOT NULL CHECK (latitude BETWEEN -90 AND 90),
        longitude REAL NOT NULL CHECK (longitude BETWEEN -180 AND 180),
        elevation REAL, timezone TEXT, cover TEXT NOT NULL, sun TEXT, note TEXT)""",
    """CREATE TABLE tree (
        id TEXT PRIMARY KEY NOT NULL, label TEXT NOT NULL, species TEXT NOT NULL, pot TEXT, last_repot TEXT,
        vigour TEXT, grown_for TEXT, retired TEXT, note TEXT)""",
    """CREATE TABLE stand (
        id TEXT PRIMARY KEY NOT NULL, tree_id TEXT NOT NULL REFERENCES tree (id),
        place_id TEXT NOT NULL REFERENCES place (id), from_date TEXT)""",
    """CREATE TABLE aim (
        id TEXT PRIMARY KEY NOT NULL, tree_id TEXT NOT NULL REFERENCES tree (id),
        aim TEXT NOT NULL CHECK (aim IN ('building', 'refining', 'resting')), from_date TEXT)""",
    """CREATE TABLE work (
        id TEXT PRIMARY KEY NOT NULL, tree_id TEXT NOT NULL REFERENCES tree (id), operation TEXT NOT NULL,
        date_text TEXT NOT NULL, earliest TEXT NOT NULL, latest TEXT NOT NULL, part TEXT,
        early INTEGER NOT NULL CHECK (early IN (0, 1)), who TEXT, note TEXT,
        CHECK (earliest <= latest))""",
    """CREATE TABLE flush (
        id TEXT PRIMARY KEY NOT NULL, tree_id TEXT NOT NULL REFERENCES tree (id), season INTEGER NOT NULL,
        started_by TEXT NOT NULL CHECK (started_by IN ('season', 'seen', 'work')), started_on TEXT,
        work_id TEXT REFERENCES work (id), cause TEXT, part TEXT, ended_on TEXT, ended_why TEXT)""",
    """CREATE TABLE look (
        id TEXT PRIMARY KEY NOT NULL, tree_id TEXT NOT NULL REFERENCES tree (id),
        flush_id TEXT NOT NULL REFERENCES flush (id),
        stage TEXT NOT NULL CHECK (stage IN ('dormant', 'swelling', 'budbreak', 'extending', 'extended',
            'hardened', 'turning', 'bare')),
        date_text TEXT NOT NULL, earliest TEXT NOT NULL, latest TEXT NOT NULL,
        kind TEXT NOT NULL CHECK (kind IN ('seen', 'happened')),
        checked INTEGER NOT NULL CHECK (checked IN (0, 1)), lost INTEGER NOT NULL CHECK (lost IN (0, 1)),
        part TEXT, leaves TEXT, who TEXT, note TEXT,
        CHECK (earliest <= latest))""",
    """CREATE TABLE import_map (
        id TEXT PRIMARY KEY NOT NULL, headers TEXT NOT NULL, target TEXT NOT NULL, mapping TEXT NOT NULL,
        options TEXT NOT NULL)""",
    """CREATE TABLE change (
        seq INTEGER PRIMARY KEY AUTOINCREMENT, batch TEXT NOT NULL, at TEXT NOT NULL, device TEXT NOT NULL,
        label TEXT NOT NULL, table_name TEXT NOT NULL, row_id TEXT NOT NULL, tree_id TEXT,
        before TEXT, after TEXT, undoes TEXT, checksum INTEGER NOT NULL)""",
    "CREATE INDEX stand_of_tree ON stand (tree_id)",
    "CREATE INDEX stand_in_place ON stand (place_id)",
    "CREATE INDEX aim_of_tree ON aim (tree_id)",
    "CREATE INDEX work_of_tree ON work (tree_id, latest)",
    "CREATE INDEX flush_of_tree ON flush (tree_id, season)",
    "CREATE INDEX flush_of_work ON flush (work_id)",
    "CREATE INDEX look_of_tree ON look (tree_id, latest)",
    "CREATE INDEX look_of_flush ON look (flush_id)",
    "CREATE INDEX look_by_day ON look (latest)",
    "CREATE INDEX change_of_batch ON change (batch)",
    "CREATE INDEX change_of_row ON change (table_name, row_id)",
    "CREATE INDEX change_of_tree ON change (tree_id)",
    """CREATE TRIGGER change_is_never_edited BEFORE UPDATE ON change
        BEGIN SELECT RAISE(ABORT, 'the change table is append-only'); END""",
    """CREATE TRIGGER change_is_never_deleted BEFORE DELETE ON change
        BEGIN SELECT RAISE(ABORT, 'the change table is append-only'); END""",
)

# Who, when and why stand once a batch instead of at every row it changed, a tree's id once a tree, and a row
# without what is said beside it: half the size. `history` reads as the table did.
_SMALL_CHANGES = (
    """CREATE TABLE batch (
        key INTEGER PRIMARY KEY, id TEXT NOT NULL, at TEXT NOT NULL, device TEXT NOT NULL,
        label TEXT NOT NULL, undoes TEXT)""",
    "CREATE INDEX batch_by_id ON batch (id)",
    "CREATE TABLE changed_tree (key INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE)",
    """CREATE TABLE small_change (
        seq INTEGER PRIMARY KEY AUTOINCREMENT, batch INTEGER NOT NULL REFERENCES batch (key),
        table_name TEXT NOT NULL, row_id TEXT NOT NULL, tree INTEGER REFERENCES changed_tree (key),
        before TEXT, after TEXT, checksum INTEGER NOT NULL)""",
    """INSERT INTO batch (id, at, device, label, undoes)
        SELECT batch, at, device, label, undoes FROM change
        GROUP BY batch, at, device, label, undoes ORDER BY min(seq)""",
    """INSERT INTO changed_tree (id)
        SELECT tree_id FROM change WHERE tree_id IS NOT NULL GROUP BY tree_id ORDER BY min(seq)""",
    """INSERT INTO small_change
        SELECT seq, batch.key, table_name, row_id, changed_tree.key,
            compact_row(table_name, row_id, tree_id, before), compact_row(table_name, row_id, tree_id, after),
            carried_checksum(checksum, batch, change.at, change.device, change.label, table_name, row_id,
                tree_id, before, after, change.undoes)
        FROM change
        LEFT JOIN batch ON batch.id = change.batch AND batch.at = change.at AND batch.device = change.device
            AND batch.label = change.label AND batch.undoes IS change.undoes
        LEFT JOIN changed_tree ON changed_tree.id = tree_id
        ORDER BY seq""",
    "DROP TABLE change",
    "ALTER TABLE small_change RENAME TO change",
    "DROP INDEX look_by_day",  # asked by nobody but through a tree
    "CREATE INDEX change_of_batch ON change (batch)",
    "CREATE INDEX change_of_tree ON change (tree)",
    """CREATE VIEW history AS
        SELECT seq, batch.id AS batch, at, device, label, table_name, row_id, changed_tree.id AS tree_id,
            before, after, undoes, checksum, change.batch AS batch_key, change.tree AS tree_key
        FROM change LEFT JOIN batch ON batch.key = change.batch
            LEFT JOIN changed_tree ON changed_tree.key = change.tree""",
    *(
        f"""CREATE TRIGGER {table}_is_never_{done} BEFORE {what} ON {table}
        BEGIN SELECT RAISE(ABORT, 'the {table} table is append-only'); END"""
        for table in ("change", "batch", "changed_tree")
        for what, done in (("UPDATE", "edited"), ("DELETE", "deleted"))
    ),
)

_SHARED_FILES = (
    """CREATE TABLE shared_file (id TEXT PRIMARY KEY NOT NULL, label TEXT NOT NULL, content TEXT NOT NULL)""",
)

STEPS = (
    Migration("places, trees, flushes, looks, work and their changes", _FIRST_SHAPE),
    Migration("who, when and why once a batch", _SMALL_CHANGES),
    Migration("calibrations of other gardens", _SHARED_FILES),
)


USUAL: dict[str, dict[str, Any]] = {"look": {"kind": "seen", "checked": 0, "lost": 0}, "work": {"early": 0}}
"""Cells that are left out of a row where they hold this."""


_encode = json.JSONEncoder(ensure_ascii=False, separators=(",", ":")).encode


def compact(table: str, row_id: str, tree_id: str | None, row: Mapping[str, Any] | str | None) -> str | None:
    """The JSON of a row without nulls and without what `expanded` brings back; other text as it is."""
    text = row
    if isinstance(text, str):
        try:
            row = json.loads(text)
        except ValueError:  # damage, which stays to be seen
            return text
        if not isinstance(row, dict):
            return text
    if row is None or isinstance(row, str):
        return None
    implied = _implied(table, row_id, tree_id, row)
    return _encode({name: cell for name, cell in row.items() if cell != implied.get(name)})


def expanded(table: str, row_id: str, tree_id: str | None, text: str) -> dict[str, Any]:
    """What `compact` made a row of, with what it left out; cells that are null are still absent."""
    row = json.loads(text)
    return {**_implied(table, row_id, tree_id, row), **row}


def _implied(table: str, row_id: str, tree_id: str | None, row: Mapping[str, Any]) -> dict[str, Any]:
    """What a row is taken to hold where it does not say."""
    found = {**USUAL.get(table, {}), "id": row_id}
    if tree_id is not None and table != "tree":
        found["tree_id"] = tree_id
    if (day := row.get("date_text")) is not None:
        found |= {"earliest": day, "latest": day}
    return found


def checksum(cells: Sequence[str | None]) -> int:
    """CRC-32 of the `CHANGE_CELLS` of a row: shows a flipped bit that SQLite cannot see."""
    return zlib.crc32("\x1f".join("\x00" if cell is None else cell for cell in cells).encode("utf-8"))


def carried_checksum(kept: int, *cells: str | None) -> int:
    """The checksum of a row of version 1 once it is compact; one that was wrong stays wrong."""
    *who, table, row_id, tree_id, before, after, undoes = cells
    assert table is not None and row_id is not None
    small = (compact(table, row_id, tree_id, text) for text in (before, after))
    now = checksum((*who, table, row_id, tree_id, *small, undoes))
    return now if checksum(cells) == kept else now ^ 1


FUNCTIONS: dict[str, Callable[..., Any]] = {"compact_row": compact, "carried_checksum": carried_checksum}
"""What the steps of the schema call by name."""
