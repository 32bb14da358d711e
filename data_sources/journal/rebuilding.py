"""A journal made again from its records and its history, exactly."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping
from typing import Any

from data_sources.journal.changes import CHANGE_CELLS, Batch, append_changes, insert_row, rows_by_changes
from data_sources.journal.schema import TABLES, Record, encode, table_of
from phenology.model.errors import InputError

CHANGE_FIELDS = ("seq", *CHANGE_CELLS)  # of an exported change; the checksum is worked out again
_NEEDED = CHANGE_FIELDS[:7]


def rebuild(
    connection: sqlite3.Connection,
    records: Iterable[Record],
    changes: Iterable[Mapping[str, Any]],
    batch: Batch,
) -> None:
    """Fill an empty journal inside the caller's batch, which records where records and changes disagree.

    They do where records were edited since, or no changes are given; then the records stand. Raises
    `InputError` if the journal is not empty, or a record or change cannot be stored.
    """
    for table in (*TABLES, "change"):
        if connection.execute(f"SELECT 1 FROM {table} LIMIT 1").fetchone() is not None:
            raise InputError(f"only an empty journal can be rebuilt, and this one has rows in '{table}'")
    for number, given in enumerate(changes, 1):
        seq, *cells = (given.get(name) for name in CHANGE_FIELDS)
        if not isinstance(seq, int) or any(given.get(name) is None for name in _NEEDED):
            raise InputError(f"change, row {number}: {', '.join(_NEEDED)} are needed")
        try:
            append_changes(connection, [(seq, *(None if cell is None else str(cell) for cell in cells))])
        except sqlite3.IntegrityError as error:
            raise InputError(f"change, row {number}: {error}") from error
    expected = rows_by_changes(connection)
    for record in records:
        table, row = table_of(type(record)), encode(record)
        try:
            insert_row(connection, table, row)
        except sqlite3.IntegrityError as error:
            raise InputError(f"{table} {row['id']}: {error}") from error
        before = expected[table].pop(str(row["id"]), None)
        if before != row:
            batch.record(table, before, row)
    for table, rows in expected.items():
        for lost in rows.values():
            batch.record(table, lost, None)
