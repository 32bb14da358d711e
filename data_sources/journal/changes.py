"""Every change as a row of its own, in the same transaction: what makes history and undo possible."""

from __future__ import annotations

import sqlite3
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import groupby
from typing import Any
from uuid import uuid4

from data_sources.journal.schema import (
    R,
    Record,
    Row,
    column_names,
    decode,
    encode,
    from_json,
    table_of,
    to_json,
    tree_of,
)
from phenology.model.errors import InputError

CHANGE_COLUMNS = (
    "seq",
    "batch",
    "at",
    "device",
    "label",
    "table_name",
    "row_id",
    "tree_id",
    "before",
    "after",
    "undoes",
    "checksum",
)


@dataclass(frozen=True)
class Change:
    """One batch of changes, as history shows it.

    `label` says in plain words what was done; `rows` counts the changed rows by table. `undoes` is the
    batch this one took back (or, for a redo, the undo it took back); `undone`: this batch no longer holds.
    """

    batch: str
    at: datetime
    device: str
    label: str
    rows: dict[str, int] = field(default_factory=dict)
    undoes: str | None = None
    undone: bool = False


class Batch:
    """Changes that stand or fall together. Made by `Journal.batch`; `label` may be set until it ends."""

    def __init__(
        self,
        connection: sqlite3.Connection,
        label: str,
        *,
        at: datetime,
        device: str,
        id: str | None = None,
        undoes: str | None = None,
    ) -> None:
        self.id = id or str(uuid4())
        self.label, self.at, self.device, self.undoes = label, at, device, undoes
        self._connection = connection
        self._changes: list[tuple[str, str, str | None, str | None, str | None]] = []

    def __len__(self) -> int:
        """Number of rows changed so far."""
        return len(self._changes)

    def insert(self, record: Record) -> bool:
        """Add a record; False when exactly this record is there already (a retry).

        Raises
        ------
        InputError
            If a record with this id says something else, or a value cannot be stored.
        """
        table, row = table_of(type(record)), encode(record)
        there = self._row(table, str(row["id"]))
        if there == row:
            return False
        if there is not None:
            differs = ", ".join(name for name in row if row[name] != there[name])
            raise InputError(f"{table}: id {row['id']} is taken by a row with other {differs}")
        self._write(table, None, row)
        return True

    def save(self, record: Record) -> bool:
        """Add a record, or bring the one with its id to what it says; False when nothing changes."""
        table, row = table_of(type(record)), encode(record)
        there = self._row(table, str(row["id"]))
        if there == row:
            return False
        self._write(table, there, row)
        return True

    def update(self, kind: type[R], id: str, /, **changes: Any) -> R:
        """Change some fields of a record; returns the record as it now stands.

        Raises
        ------
        InputError
            If there is no such record or field, or a value cannot be stored.
        """
        table = table_of(kind)
        before = self._needed(table, id)
        unknown = set(changes) - set(column_names(table)) | ({"id"} & set(changes))
        if unknown:
            raise InputError(f"{table}: {', '.join(sorted(unknown))} cannot be changed")
        old = decode(table, before)
        new = kind(**{name: getattr(old, name) for name in column_names(table)} | changes)
        after = encode(new)
        if after != before:
            self._write(table, before, after)
        return new

    def delete(self, kind: type[R], id: str) -> R:
        """Remove a record; returns what it was. Refused at the end of the batch if others still point at it.

        Raises
        ------
        InputError
            If there is no such record.
        """
        table = table_of(kind)
        before = self._needed(table, id)
        self._write(table, before, None)
        gone = decode(table, before)
        assert isinstance(gone, kind)
        return gone

    def _needed(self, table: str, id: str) -> Row:
        row = self._row(table, id)
        if row is None:
            raise InputError(f"the journal has no {table} with id {id}")
        return row

    def _row(self, table: str, id: str) -> Row | None:
        return read_row(self._connection, table, id)

    def _write(self, table: str, before: Row | None, after: Row | None) -> None:
        write_row(self._connection, table, before, after)
        row = after if after is not None else before
        assert row is not None
        texts = [None if r is None else to_json(r) for r in (before, after)]
        self.record(table, str(row["id"]), tree_of(table, row), texts[0], texts[1])

    def record(
        self, table: str, row_id: str, tree_id: str | None, before: str | None, after: str | None
    ) -> None:
        """Note a change made elsewhere in the same transaction (a rebuild), for the change table."""
        self._changes.append((table, row_id, tree_id, before, after))

    def _take_back(self, batch: str, label: str) -> None:
        """Undo every row of a batch, last first."""
        rows = self._connection.execute(
            "SELECT table_name, row_id, before, after FROM change WHERE batch = ? ORDER BY seq DESC", (batch,)
        ).fetchall()
        for table, row_id, before, after in rows:
            there, expected = self._row(table, row_id), _full(table, after)
            if there != expected:
                raise InputError(f"cannot take back '{label}': a {table} it wrote was changed again since")
            self._write(table, expected, _full(table, before))

    def _finish(self) -> None:
        """Write the change rows; the caller commits."""
        at = self.at.astimezone(UTC).isoformat()
        append_changes(
            self._connection,
            (
                (self.id, at, self.device, self.label, table, row_id, tree_id, before, after, self.undoes)
                for table, row_id, tree_id, before, after in self._changes
            ),
        )


def append_changes(connection: sqlite3.Connection, rows: Iterator[tuple[str | None, ...]]) -> None:
    """Append rows (batch ... undoes, in the order of `CHANGE_COLUMNS`) with their checksums."""
    connection.executemany(
        f"INSERT INTO change ({', '.join(CHANGE_COLUMNS[1:])}) VALUES ({', '.join('?' * 11)})",
        ((*row, checksum(row)) for row in rows),
    )


def checksum(row: tuple[str | None, ...]) -> int:
    """CRC-32 of a change row (batch ... undoes): shows a flipped bit that SQLite cannot see."""
    return zlib.crc32("\x1f".join("\x00" if cell is None else cell for cell in row).encode("utf-8"))


def read_row(connection: sqlite3.Connection, table: str, id: str) -> Row | None:
    """The row with this id, by column name."""
    names = column_names(table)
    found = connection.execute(f"SELECT {', '.join(names)} FROM {table} WHERE id = ?", (id,)).fetchone()
    return None if found is None else dict(zip(names, found, strict=True))


def write_row(connection: sqlite3.Connection, table: str, before: Row | None, after: Row | None) -> None:
    """Bring one row from `before` to `after` (None: not there)."""
    names = column_names(table)
    if after is None:
        assert before is not None
        connection.execute(f"DELETE FROM {table} WHERE id = ?", (before["id"],))
    elif before is None:
        marks = ", ".join("?" * len(names))
        connection.execute(
            f"INSERT INTO {table} ({', '.join(names)}) VALUES ({marks})", tuple(after.values())
        )
    else:
        setting = ", ".join(f"{name} = ?" for name in names)
        connection.execute(f"UPDATE {table} SET {setting} WHERE id = ?", (*after.values(), after["id"]))


def _full(table: str, text: str | None) -> Row | None:
    """A row as an older version wrote it, with the columns that came since at their defaults."""
    if text is None:
        return None
    row = from_json(text)
    return row if set(row) == set(column_names(table)) else encode(decode(table, row))


def current_rows_by_changes(connection: sqlite3.Connection, table: str) -> dict[str, Row]:
    """What the changes say the table holds: the last `after` of each row that is not deleted."""
    last: dict[str, str | None] = {}
    query = "SELECT row_id, after FROM change WHERE table_name = ? ORDER BY seq"
    for row_id, after in connection.execute(query, (table,)):
        last[row_id] = after
    return {id: row for id, text in last.items() if (row := _full(table, text)) is not None}


def walk(connection: sqlite3.Connection, tree_id: str | None = None) -> Iterator[Change]:
    """Batches, newest first, read only as far as asked."""
    where = "" if tree_id is None else "WHERE tree_id = ?"
    cursor = connection.execute(
        f"SELECT batch, at, device, label, undoes, table_name FROM change {where} ORDER BY seq DESC",
        () if tree_id is None else (tree_id,),
    )
    taken_back: set[str] = set()
    for (batch, at, device, label, undoes), rows in groupby(cursor, key=lambda row: row[:5]):
        counts: dict[str, int] = {}
        for row in rows:
            counts[row[5]] = counts.get(row[5], 0) + 1
        undone = batch in taken_back
        if undoes is not None and not undone:
            taken_back.add(undoes)
        yield Change(batch, datetime.fromisoformat(at), device, label, counts, undoes, undone)


def to_undo(connection: sqlite3.Connection, n: int) -> list[Change]:
    """The last `n` batches that still hold and are no undo or redo themselves, newest first."""
    found: list[Change] = []
    for change in walk(connection):
        if len(found) == n:
            break
        if change.undoes is None and not change.undone:
            found.append(change)
    return found


def to_redo(connection: sqlite3.Connection, n: int) -> list[tuple[Change, str]]:
    """The last `n` undos that still hold, newest first, each with the label of what it took back."""
    found: list[tuple[Change, str]] = []
    for change in walk(connection):
        if len(found) == n:
            break
        if change.undoes is None or change.undone:
            continue
        label, undid = connection.execute(
            "SELECT label, undoes FROM change WHERE batch = ? LIMIT 1", (change.undoes,)
        ).fetchone()
        if undid is None:
            found.append((change, label))
    return found


def dangling(connection: sqlite3.Connection) -> str:
    """In words, the first row that points at one that is not there."""
    for table, rowid, parent, _ in connection.execute("PRAGMA foreign_key_check"):
        (id,) = connection.execute(f"SELECT id FROM {table} WHERE rowid = ?", (rowid,)).fetchone()
        return f"{table} {id} needs a {parent} that is not in the journal"
    return "a row needs another that is not in the journal"
