"""Every table as plain rows, and a journal rebuilt from them exactly, its history included."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from typing import Any

from data_sources.journal.changes import (
    CHANGE_COLUMNS,
    Batch,
    checksum,
    current_rows_by_changes,
    write_row,
)
from data_sources.journal.schema import (
    TABLES,
    Row,
    Stored,
    column_names,
    columns,
    decode,
    encode,
    to_json,
    tree_of,
)
from phenology.model.errors import InputError

CHANGES = "change"
EXPORTED: tuple[str, ...] = (*TABLES, CHANGES)
_CHANGE_FIELDS = CHANGE_COLUMNS[:-1]  # the checksum is worked out again


def export_rows(connection: sqlite3.Connection, table: str) -> Iterator[dict[str, Any]]:
    """Rows of a table as plain values: text, numbers, True/False, None; dates as ISO text."""
    names = field_names(table)
    order = "seq" if table == CHANGES else "rowid"
    yes_no = set() if table == CHANGES else {c.name for c in columns(table) if c.kind is bool}
    for row in connection.execute(f"SELECT {', '.join(names)} FROM {table} ORDER BY {order}"):
        yield {n: bool(v) if n in yes_no else v for n, v in zip(names, row, strict=True)}


def field_names(table: str) -> tuple[str, ...]:
    """The fields an exported row of this table has.

    Raises
    ------
    InputError
        If the journal has no such table.
    """
    if table == CHANGES:
        return _CHANGE_FIELDS
    if table not in TABLES:
        raise InputError(f"the journal has no table '{table}'; it has {', '.join(EXPORTED)}")
    return column_names(table)


def rebuild(
    connection: sqlite3.Connection, rows_by_table: Mapping[str, Iterable[Mapping[str, Any]]], batch: Batch
) -> None:
    """Fill an empty journal; the caller owns the transaction and ends the batch.

    Where the rows and their exported changes disagree (rows edited since, or no changes given), the rows
    stand and `batch` records the difference.

    Raises
    ------
    InputError
        If the journal is not empty, or a row cannot be stored.
    """
    for table in EXPORTED:
        if connection.execute(f"SELECT 1 FROM {table} LIMIT 1").fetchone() is not None:
            raise InputError(f"only an empty journal can be rebuilt, and this one has rows in '{table}'")
    for table in rows_by_table:
        field_names(table)
    _insert_changes(connection, rows_by_table.get(CHANGES, ()))
    for table in TABLES:
        expected = current_rows_by_changes(connection, table)
        for number, given in enumerate(rows_by_table.get(table, ()), 1):
            row = _as_row(table, given, number)
            try:
                write_row(connection, table, None, row)
            except sqlite3.IntegrityError as error:
                raise InputError(f"{table}, row {number}: {error}") from error
            _note(batch, table, expected.pop(str(row["id"]), None), row)
        for lost in expected.values():
            _note(batch, table, lost, None)


def _as_row(table: str, given: Mapping[str, Any], number: int) -> Row:
    unknown = set(given) - set(column_names(table))
    if unknown:
        raise InputError(f"{table}, row {number}: unknown field {', '.join(sorted(unknown))}")
    plain = {k: v.isoformat() if isinstance(v, date) else v for k, v in given.items()}
    try:
        return encode(decode(table, plain))
    except (InputError, TypeError, ValueError) as error:
        raise InputError(f"{table}, row {number}: {error}") from error


def _note(batch: Batch, table: str, before: Row | None, after: Row | None) -> None:
    if before == after:
        return
    row = after if after is not None else before
    assert row is not None
    texts = [None if r is None else to_json(r) for r in (before, after)]
    batch.record(table, str(row["id"]), tree_of(table, row), texts[0], texts[1])


def _insert_changes(connection: sqlite3.Connection, rows: Iterable[Mapping[str, Any]]) -> None:
    marks = ", ".join("?" * len(CHANGE_COLUMNS))
    for number, given in enumerate(rows, 1):
        cells: list[Stored] = [given.get(name) for name in _CHANGE_FIELDS]
        texts = [c if c is None or isinstance(c, str) else str(c) for c in cells[1:]]
        if not isinstance(cells[0], int) or any(t is None for t in (*texts[:6],)):
            raise InputError(f"change, row {number}: seq, batch, at, device, label, table and row are needed")
        try:
            connection.execute(
                f"INSERT INTO change ({', '.join(CHANGE_COLUMNS)}) VALUES ({marks})",
                (cells[0], *texts, checksum(tuple(texts))),
            )
        except sqlite3.IntegrityError as error:
            raise InputError(f"change, row {number}: {error}") from error
