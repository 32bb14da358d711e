"""Every change as a row of its own, in the same transaction: what makes history and undo possible."""

from __future__ import annotations

import sqlite3
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import MISSING, dataclass, field, fields, replace
from datetime import UTC, date, datetime
from functools import cache
from itertools import groupby
from typing import Any, cast
from uuid import uuid4

from data_sources.journal.schema import (
    TABLES,
    R,
    Record,
    Row,
    Stored,
    column_names,
    columns,
    decode,
    encode,
    table_of,
    to_json,
    tree_of,
)
from data_sources.journal.steps import checksum, compact, expanded
from phenology.model.errors import InputError
from phenology.model.records import Look, Work

# Without `seq` in front, which SQLite numbers, and `checksum` at the end.
_WHO = ("batch", "at", "device", "label")
CHANGE_CELLS = (*_WHO, "table_name", "row_id", "tree_id", "before", "after", "undoes")
CACHE = 1 << 16  # kilobytes of pages at hand where many rows are written: their indexes lie all over (ours)
AT_ONCE = 500  # so many rows are held against their changes in one question (ours)


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


@dataclass
class Batch:
    """Changes that stand or fall together. Made by `Journal.batch`; `label` may be set until it ends."""

    connection: sqlite3.Connection
    label: str
    at: datetime
    device: str
    undoes: str | None = None
    id: str = field(default_factory=lambda: str(uuid4()))
    _changes: list[tuple[str, str, str | None, str | None, str | None]] = field(default_factory=list)

    def insert(self, record: Record) -> bool:
        """Add a record; False when exactly this record is there already (a retry).

        Raises `InputError` if a record with this id says something else, or a value cannot be stored.
        """
        return self._put(record, over=False)

    def save(self, record: Record) -> bool:
        """Add a record, or bring the one with its id to what it says; False when nothing changes."""
        return self._put(record, over=True)

    def save_all(self, records: Iterable[Record]) -> None:
        """`save` for many, of records with one id the last; those that are not there yet go in together."""
        wanted: dict[str, dict[str, Record]] = {table: {} for table in TABLES}
        for record in records:
            wanted[table_of(type(record))][record.id] = record
        self.connection.execute(f"PRAGMA cache_size = -{CACHE}")
        for table, by_id in wanted.items():
            there = {id for (id,) in self.connection.execute(f"SELECT id FROM {table}")} if by_id else set()
            new = sorted((record for id, record in by_id.items() if id not in there), key=_by_day)
            names = column_names(table)
            self.connection.executemany(
                f"INSERT INTO {table} ({', '.join(names)}) VALUES ({', '.join('?' * len(names))})",
                (tuple(self._noted(table, encode(record)).values()) for record in new),
            )
            for id in there & by_id.keys():
                self.save(by_id[id])

    def _noted(self, table: str, row: Row) -> Row:
        """A new row, its change noted."""
        self.record(table, None, row)
        return row

    def _put(self, record: Record, *, over: bool) -> bool:
        table, row = table_of(type(record)), encode(record)
        there = self._row(table, str(row["id"]))
        if there is not None and there != row and not over:
            differs = ", ".join(name for name in row if row[name] != there[name])
            raise InputError(f"{table}: id {row['id']} is taken by a row with other {differs}")
        if there != row:
            self.write(table, there, row)
        return there != row

    def update(self, kind: type[R], id: str, /, **changes: Any) -> R:
        """Change some fields of a record; returns the record as it now stands.

        Raises `InputError` if there is no such record or field, or a value cannot be stored.
        """
        table = table_of(kind)
        before = self._needed(table, id)
        unknown = set(changes) - set(column_names(table)) | ({"id"} & set(changes))
        if unknown:
            raise InputError(f"{table}: {', '.join(sorted(unknown))} cannot be changed")
        new = cast(R, replace(decode(table, before), **changes))
        self._put(new, over=True)
        return new

    def delete(self, kind: type[R], id: str) -> R:
        """Remove a record; returns what it was. Refused at the end of the batch if others still point at it.

        Raises `InputError` if there is no such record.
        """
        table = table_of(kind)
        before = self._needed(table, id)
        self.write(table, before, None)
        return cast(R, decode(table, before))

    def _needed(self, table: str, id: str) -> Row:
        row = self._row(table, id)
        if row is None:
            raise InputError(f"the journal has no {table} with id {id}")
        return row

    def _row(self, table: str, id: str) -> Row | None:
        names = column_names(table)
        query = f"SELECT {', '.join(names)} FROM {table} WHERE id = ?"
        found = self.connection.execute(query, (id,)).fetchone()
        return None if found is None else dict(zip(names, found, strict=True))

    def write(self, table: str, before: Row | None, after: Row | None) -> None:
        """Bring one row from `before` to `after` (None: not there)."""
        if after is not None and before is not None:
            changed = {name: cell for name, cell in after.items() if cell != before[name]}
            setting = ", ".join(f"{name} = ?" for name in changed or after)
            values = (*(changed or after).values(), after["id"])
            self.connection.execute(f"UPDATE {table} SET {setting} WHERE id = ?", values)
        elif after is not None:
            insert_row(self.connection, table, after)
        elif before is not None:
            self.connection.execute(f"DELETE FROM {table} WHERE id = ?", (before["id"],))
        self.record(table, before, after)

    def record(self, table: str, before: Row | None, after: Row | None) -> None:
        """Note what became of a row, for the change table."""
        row = after or before or {}
        which = table, str(row["id"]), tree_of(table, row)
        self._changes.append((*which, compact(*which, before), compact(*which, after)))

    def take_back(self, batch: str, label: str) -> None:
        """Undo every row of a batch, last first."""
        self.connection.execute(f"PRAGMA cache_size = -{CACHE}")
        rows = self.connection.execute(
            "SELECT table_name, row_id, tree_id, before, after FROM history "
            "WHERE batch_key IN (SELECT key FROM batch WHERE id = ?) ORDER BY seq DESC",
            (batch,),
        )
        for table, row_id, tree_id, before, after in rows:
            expected = _full(table, row_id, tree_id, after)
            if self._row(table, row_id) != expected:
                raise InputError(f"cannot take back '{label}': a {table} it wrote was changed again since")
            self.write(table, expected, _full(table, row_id, tree_id, before))

    def finish(self) -> None:
        """Write the change rows; the caller commits."""
        if not self.label.strip():
            raise InputError("a batch needs a label: what was done, in plain words")
        label = self.label.encode("utf-8", "backslashreplace").decode("utf-8")
        start = (self.id, self.at.astimezone(UTC).isoformat(), self.device, label)
        _append_compact(self.connection, ((None, *start, *cells, self.undoes) for cells in self._changes))


def _by_day(record: Record) -> date:
    """Sorts looks so that those of a tree lie apart, whatever order they came in: its indexes pack closer."""
    return record.latest if isinstance(record, Look | Work) else date.min


def insert_row(connection: sqlite3.Connection, table: str, row: Mapping[str, Stored]) -> int:
    """Add one row, given by column name; returns its number."""
    marks = ", ".join("?" * len(row))
    added = f"INSERT INTO {table} ({', '.join(row)}) VALUES ({marks})"
    return int(connection.execute(added, tuple(row.values())).lastrowid or 0)


def append_changes(connection: sqlite3.Connection, rows: Iterable[tuple[Any, ...]]) -> None:
    """Append rows (seq or None, then `CHANGE_CELLS`) with their checksums."""
    _append_compact(
        connection,
        (
            (*start, *which, compact(*which, before), compact(*which, after), undoes)
            for *start, table, row_id, tree_id, before, after, undoes in rows
            for which in [(table, row_id, tree_id)]
        ),
    )


def _append_compact(connection: sqlite3.Connection, rows: Iterable[tuple[Any, ...]]) -> None:
    """`append_changes` for what is compact already; one after the other, so that none are held twice."""
    connection.executemany("INSERT INTO change VALUES (?, ?, ?, ?, ?, ?, ?, ?)", _keyed(connection, rows))


def _keyed(connection: sqlite3.Connection, rows: Iterable[tuple[Any, ...]]) -> Iterator[tuple[Any, ...]]:
    """Rows of the change table: batches and trees by their keys, with checksums."""
    batches: dict[tuple[Any, ...], int] = {}
    trees: dict[str, int] = {}
    for seq, *who, table, row_id, tree_id, before, after, undoes in rows:
        batch = (*who, undoes)
        if batch not in batches:
            named = dict(zip(("id", *_WHO[1:], "undoes"), batch, strict=True))
            batches[batch] = _key_of(connection, "batch", named)
        if tree_id is not None and tree_id not in trees:
            trees[tree_id] = _key_of(connection, "changed_tree", {"id": tree_id})
        sum_of_it = checksum((*who, table, row_id, tree_id, before, after, undoes))
        yield seq, batches[batch], table, row_id, trees.get(tree_id), before, after, sum_of_it


def _key_of(connection: sqlite3.Connection, table: str, row: Mapping[str, Stored]) -> int:
    """The key of a row that is there once, put there now if it is not."""
    same = " AND ".join(f"{name} IS ?" for name in row)
    found = connection.execute(f"SELECT key FROM {table} WHERE {same}", tuple(row.values())).fetchone()
    return int(found[0]) if found else insert_row(connection, table, row)


@cache
def _defaults(table: str) -> dict[str, Stored]:
    """What stands in a column where a row does not say: its record's default, null where it may be empty."""
    usual = {f.name: f.default for f in fields(TABLES[table]) if f.default is not MISSING}
    optional = {column.name: None for column in columns(table) if column.optional}
    return optional | {n: int(v) if isinstance(v, bool) else v for n, v in usual.items()}


def _full(table: str, row_id: str, tree_id: str | None, text: str | None) -> Row | None:
    """A row as it was, with columns that came since at their defaults."""
    if text is None:
        return None
    found = {**_defaults(table), **expanded(table, row_id, tree_id, text)}
    try:
        return {name: found[name] for name in column_names(table)}
    except KeyError as lacking:
        raise InputError(f"{table}: the row has no {lacking.args[0]}") from None


def full_text(table: str, row_id: str, tree_id: str | None, text: str | None) -> str | None:
    """A row of the change table as JSON of every column, nulls included."""
    row = _full(table, row_id, tree_id, text)
    return None if row is None else to_json(row)


def rows_by_changes(connection: sqlite3.Connection) -> dict[str, dict[str, Row]]:
    """What the changes say each table holds: the last `after` of each row that is not deleted."""
    last: dict[str, dict[str, tuple[str | None, str | None]]] = {table: {} for table in TABLES}
    query = "SELECT table_name, row_id, tree_id, after FROM history ORDER BY seq"
    for table, row_id, tree_id, after in connection.execute(query):
        last.setdefault(table, {})[row_id] = tree_id, after
    return {
        table: {id: row for id, kept in rows.items() if (row := _full(table, id, *kept)) is not None}
        for table, rows in last.items()
        if table in TABLES
    }


def content_fault(connection: sqlite3.Connection) -> str | None:
    """The first cell that is not as it was written, in words.

    SQLite does not see a flipped bit inside a note. The change table holds every row a second time, and each
    change carries a checksum, so together they show any cell that altered. Rows are held against their last
    change a run at a time: all at once they would take more memory than the garden.
    """
    last: dict[str, dict[str, int]] = {table: {} for table in TABLES}
    for seq, *cells, kept in connection.execute(
        f"SELECT seq, {', '.join(CHANGE_CELLS)}, checksum FROM history ORDER BY seq"
    ):
        if checksum(cells) != kept:
            return f"change {seq} does not match its checksum"
        seqs = last.setdefault(cells[4], {})
        if cells[8] is None:
            seqs.pop(cells[5], None)
        else:
            seqs[cells[5]] = seq
    for table in TABLES:
        names, seqs = column_names(table), last[table]
        at = names.index("id")
        rows = connection.execute(f"SELECT {', '.join(names)} FROM {table}")
        while some := {str(row[at]): row for row in rows.fetchmany(AT_ONCE)}:
            expected = _rows_of(connection, table, [seqs.pop(id) for id in some if id in seqs])
            for id, row in some.items():
                if expected.get(id) != dict(zip(names, row, strict=True)):
                    return f"{table} {id} is not as it was written"
        if seqs:
            return f"{table} {next(iter(seqs))} is missing"
    return None


def _rows_of(connection: sqlite3.Connection, table: str, seqs: Sequence[int]) -> dict[str, Row | None]:
    """The rows as some changes left them, by their ids."""
    query = f"SELECT row_id, tree_id, after FROM history WHERE seq IN ({', '.join('?' * len(seqs))})"
    return {id: _full(table, id, *kept) for id, *kept in connection.execute(query, seqs)}


def walk(connection: sqlite3.Connection, tree_id: str | None = None) -> Iterator[Change]:
    """Batches, newest first, read only as far as asked."""
    where = "" if tree_id is None else "WHERE tree_key = (SELECT key FROM changed_tree WHERE id = ?)"
    cursor = connection.execute(
        f"SELECT batch, at, device, label, undoes, table_name FROM history {where} ORDER BY seq DESC",
        () if tree_id is None else (tree_id,),
    )
    taken_back: set[str] = set()
    for (batch, at, device, label, undoes), rows in groupby(cursor, key=lambda row: row[:5]):
        counts = dict(Counter(row[5] for row in rows))
        undone = batch in taken_back
        if undoes is not None and not undone:
            taken_back.add(undoes)
        yield Change(batch, datetime.fromisoformat(at), device, label, counts, undoes, undone)


def to_undo(connection: sqlite3.Connection) -> Iterator[tuple[str, str]]:
    """Id and label of the batches that still hold and are no undo or redo themselves, newest first."""
    for change in walk(connection):
        if change.undoes is None and not change.undone:
            yield change.batch, change.label


def to_redo(connection: sqlite3.Connection) -> Iterator[tuple[str, str]]:
    """Id of the undos that still hold, newest first, each with the label of what it took back."""
    for change in walk(connection):
        if change.undoes is not None and not change.undone:
            query = "SELECT label, undoes FROM batch WHERE id = ? LIMIT 1"
            label, undoes = connection.execute(query, (change.undoes,)).fetchone()
            if undoes is None:  # else it is a redo, which took back an undo
                yield change.batch, label


def dangling(connection: sqlite3.Connection) -> str | None:
    """In words, the first row that points at one that is not there."""
    for table, rowid, parent, _ in connection.execute("PRAGMA foreign_key_check"):
        (id,) = connection.execute(f"SELECT id FROM {table} WHERE rowid = ?", (rowid,)).fetchone()
        return f"{table} {id} needs a {parent} that is not in the journal"
    return None
