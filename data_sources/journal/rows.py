"""Every table as plain rows, and a journal rebuilt from them exactly, its history included."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from data_sources.journal.changes import CHANGE_CELLS, Batch, append_changes, insert_row, rows_by_changes
from data_sources.journal.schema import TABLES, Row, column_names, columns, decode, encode
from phenology.model.errors import InputError

CHANGES = "change"
EXPORTED: tuple[str, ...] = (*TABLES, CHANGES)
_NEEDED = 6  # batch, at, device, label, table and row


def field_names(table: str) -> tuple[str, ...]:
    """The fields an exported row of this table has.

    Raises
    ------
    InputError
        If the journal has no such table.
    """
    if table == CHANGES:
        return ("seq", *CHANGE_CELLS)  # the checksum is worked out again
    if table not in TABLES:
        raise InputError(f"the journal has no table '{table}'; it has {', '.join(EXPORTED)}")
    return column_names(table)


def plain_row(table: str, cells: Iterable[Any]) -> dict[str, Any]:
    """An exported row from its cells: text, numbers, True/False, None; dates as ISO text."""
    yes_no = set() if table == CHANGES else {c.name for c in columns(table) if c.kind is bool}
    return {n: bool(v) if n in yes_no else v for n, v in zip(field_names(table), cells, strict=True)}


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
    for number, given in enumerate(rows_by_table.get(CHANGES, ()), 1):
        _insert_change(connection, given, f"change, row {number}")
    for table in TABLES:
        expected = rows_by_changes(connection, table)
        for number, given in enumerate(rows_by_table.get(table, ()), 1):
            row = _as_row(table, given, f"{table}, row {number}")
            try:
                insert_row(connection, table, row)
            except sqlite3.IntegrityError as error:
                raise InputError(f"{table}, row {number}: {error}") from error
            before = expected.pop(str(row["id"]), None)
            if before != row:
                batch.record(table, before, row)
        for lost in expected.values():
            batch.record(table, lost, None)


def _as_row(table: str, given: Mapping[str, Any], where: str) -> Row:
    unknown = set(given) - set(column_names(table))
    if unknown:
        raise InputError(f"{where}: unknown field {', '.join(sorted(unknown))}")
    plain = {k: v.isoformat() if isinstance(v, date) else v for k, v in given.items()}
    try:
        return encode(decode(table, plain))
    except (InputError, TypeError, ValueError) as error:
        raise InputError(f"{where}: {error}") from error


def _insert_change(connection: sqlite3.Connection, given: Mapping[str, Any], where: str) -> None:
    seq, *cells = (given.get(name) for name in field_names(CHANGES))
    texts = [cell if cell is None else str(cell) for cell in cells]
    if not isinstance(seq, int) or None in texts[:_NEEDED]:
        raise InputError(f"{where}: seq, batch, at, device, label, table and row are needed")
    try:
        append_changes(connection, [(seq, *texts)])
    except sqlite3.IntegrityError as error:
        raise InputError(f"{where}: {error}") from error
