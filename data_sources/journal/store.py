"""The journal: places, trees, flushes, looks and work in one SQLite file beside the garden's settings."""

from __future__ import annotations

import os
import platform
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, date, datetime
from itertools import islice
from pathlib import Path
from typing import Any

from data_sources.journal.changes import (
    CHANGE_CELLS,
    Batch,
    Change,
    append_changes,
    content_fault,
    dangling,
    full_text,
    insert_row,
    rows_by_changes,
    to_redo,
    to_undo,
    walk,
)
from data_sources.journal.schema import (
    TABLES,
    ImportMap,
    R,
    Record,
    SharedFile,
    column_names,
    decode_rows,
    encode,
    table_of,
)
from data_sources.journal.steps import FUNCTIONS, STEPS
from data_sources.sqlite import backups
from data_sources.sqlite.database import NOTHING_SAVED, Database
from data_sources.sqlite.schema import Schema
from phenology.model.errors import InputError, StoreCorruptError, StoreError
from phenology.model.records import Aim, Flush, Look, Place, Stand, Tree, Work

CHANGE_FIELDS = ("seq", *CHANGE_CELLS)  # of an exported change; the checksum is worked out again
_NEEDED = CHANGE_FIELDS[:7]
FILE_NAME = "journal.sqlite"
ROWS_AT_ONCE = 10_000  # before records are made of them, rows take more memory than these (ours)


def _remedy(path: Path) -> str:
    good = backups.newest_good(path, Journal.schema)
    if good is None:
        return f"No good backup was found in {path.parent / backups.FOLDER}."
    return (
        f"The newest good backup is {good.path}, of {good.at:%Y-%m-%d %H:%M} UTC: "
        "'flushcast restore' shows what it would bring back."
    )


class Journal(Database):
    """An open journal; use it as a context manager.

    Examples
    --------
    >>> import tempfile
    >>> folder = Path(tempfile.mkdtemp())
    >>> with Journal.open(folder / "journal.sqlite", create=True, device="bench") as journal:
    ...     with journal.batch("added Elm 1") as batch:
    ...         _ = batch.insert(Tree("t1", "Elm 1", "Ulmus parvifolia"))
    ...     print(journal.trees()[0].label, journal.undo(), journal.trees())
    Elm 1 ['added Elm 1'] []
    """

    schema = Schema(
        noun="journal",
        application_id=0x464C5543,  # "FLUC"
        steps=STEPS,
        recording="INSERT INTO migration VALUES (:version, :name, :at)",
        write_ahead=True,
        remedy=_remedy,
        content_fault=content_fault,
        functions=FUNCTIONS,
    )
    device = "this machine"
    _backup_tried = False

    @classmethod
    def open(
        cls, path: str | os.PathLike[str], *, create: bool = False, device: str | None = None
    ) -> Journal:
        """Open a journal, bringing an older one up to date (after a backup).

        With `create` a new one is made where there is none, and its folder. `device` is where changes are
        written from, for the history; by default this machine's name. Raises `StoreError` if there is no
        journal, or it cannot be used; see `Database`.
        """
        path = Path(path)
        if not path.exists():
            if backups.list_backups(path):
                raise StoreError(
                    f"the journal {path} is missing but has backups in {path.parent / backups.FOLDER}: "
                    "'flushcast restore' shows what the newest would bring back."
                )
            if not create:
                raise StoreError(f"there is no journal at {path}; 'flushcast init' starts a garden.")
        journal = cls(path, create=create)
        journal.device = device or platform.node() or cls.device
        return journal

    # -- writing ---------------------------------------------------------------------------------------

    @contextmanager
    def batch(self, label: str, *, at: datetime | None = None) -> Iterator[Batch]:
        """Changes that stand or fall together, under a label in plain words, as history will say it.

        The journal is locked for writing while the batch is open, so ask questions before. Leaving the `with`
        block saves everything to disk; an error inside it saves nothing. `batch.label` may be set until then;
        `at` (default: now) has a time zone.
        """
        at = at or datetime.now(UTC)
        if at.tzinfo is None:
            raise InputError(f"the time of a change needs a time zone, got {at.isoformat()}")
        with self.writing():
            batch = Batch(self.connection, label, at, self.device)
            yield batch
            batch.finish()

    @contextmanager
    def writing(self) -> Iterator[None]:
        """As in `Database`, after the backup of the day; rows may come in any order but must end whole."""
        self._rolling_backup()
        with super().writing():
            self.connection.execute("PRAGMA defer_foreign_keys = ON")
            yield

    def refusal(self, error: sqlite3.IntegrityError) -> Exception:
        """The error for rows that break a constraint: the row that needs another is named."""
        needs = dangling(self.connection) if "FOREIGN KEY" in str(error) else None
        return InputError(f"{needs}. {NOTHING_SAVED}") if needs else super().refusal(error)

    def _rolling_backup(self) -> None:
        if self._backup_tried or self.read_only or self.connection.in_transaction:
            return
        self._backup_tried = True
        try:
            if self.history(limit=1):  # there is something to keep
                backups.rolling_backup(self.connection, self.path, self.schema)
        except StoreCorruptError:
            raise
        except StoreError as error:
            self.warnings.append(f"today's backup could not be made: {error}")

    def undo(self, n: int = 1, *, at: datetime | None = None) -> list[str]:
        """Take back the last `n` batches that still hold, all or none; returns their labels, newest first.

        Each undo is itself a batch, and `redo` takes it back. Fewer are undone when there are fewer. Raises
        `InputError` if `n` is below 1.
        """
        return self._take_back(n, "undid", at)

    def redo(self, n: int = 1, *, at: datetime | None = None) -> list[str]:
        """Do again what the last `n` undos took back; returns the labels, newest undo first.

        Raises `InputError` if `n` is below 1, or a row was changed since.
        """
        return self._take_back(n, "did again", at)

    def _take_back(self, n: int, verb: str, at: datetime | None) -> list[str]:
        if n < 1:
            raise InputError(f"the number to take back must be 1 or more, got {n}")
        candidates, at = to_undo if verb == "undid" else to_redo, at or datetime.now(UTC)
        with self.writing():
            targets = list(islice(candidates(self.connection), n))
            for target, label in targets:
                batch = Batch(self.connection, f"{verb}: {label}", at, self.device, undoes=target)
                batch.take_back(target, label)
                batch.finish()
        return [label for _, label in targets]

    def rebuild(self, records: Iterable[Record], changes: Iterable[Mapping[str, Any]]) -> None:
        """Fill this empty journal with records and what `export_changes` gave, all or nothing.

        Where the two disagree the records stand, and one batch records it. Raises `InputError` if the journal
        is not empty or a record or change cannot be stored.
        """
        with self.batch("rebuilt from files") as batch:
            for table in (*TABLES, "change"):
                if self.connection.execute(f"SELECT 1 FROM {table} LIMIT 1").fetchone() is not None:
                    raise InputError(
                        f"only an empty journal can be rebuilt, and this one has rows in '{table}'"
                    )
            for number, given in enumerate(changes, 1):
                seq, *cells = (given.get(name) for name in CHANGE_FIELDS)
                if not isinstance(seq, int) or any(given.get(name) is None for name in _NEEDED):
                    raise InputError(f"change, row {number}: {', '.join(_NEEDED)} are needed")
                try:
                    append_changes(
                        self.connection, [(seq, *(None if cell is None else str(cell) for cell in cells))]
                    )
                except sqlite3.IntegrityError as error:
                    raise InputError(f"change, row {number}: {error}") from error
            expected = rows_by_changes(self.connection)
            for record in records:
                table, row = table_of(type(record)), encode(record)
                try:
                    insert_row(self.connection, table, row)
                except sqlite3.IntegrityError as error:
                    raise InputError(f"{table} {row['id']}: {error}") from error
                before = expected[table].pop(str(row["id"]), None)
                if before != row:
                    batch.record(table, before, row)
            for table, rows in expected.items():
                for lost in rows.values():
                    batch.record(table, lost, None)

    # -- reading ---------------------------------------------------------------------------------------

    def get(self, kind: type[R], id: str) -> R | None:
        """The record of this kind with this id, or None."""
        found = self._select(kind, {"id = ?": id}, "id")
        return found[0] if found else None

    def places(self) -> list[Place]:
        """All places, the one made first in front: it speaks for the garden where one place must."""
        return self._select(Place, {}, "rowid")

    def trees(self) -> list[Tree]:
        """All trees, by label, retired ones too."""
        return self._select(Tree, {}, "label, id")

    def stands(self, tree_id: str | None = None) -> list[Stand]:
        """Which tree stood where from when, earliest first (no date: from the beginning)."""
        return self._select(Stand, {"tree_id = ?": tree_id}, "from_date, id")

    def aims(self, tree_id: str | None = None) -> list[Aim]:
        """What trees are grown towards from when, earliest first (no date: from the beginning)."""
        return self._select(Aim, {"tree_id = ?": tree_id}, "from_date, id")

    def flushes(self, tree_id: str | None = None, season: int | None = None) -> list[Flush]:
        """Flushes by season and start (no start date first)."""
        return self._select(Flush, {"tree_id = ?": tree_id, "season = ?": season}, "season, started_on, id")

    def looks(
        self, tree_id: str | None = None, since: date | None = None, flush_id: str | None = None
    ) -> list[Look]:
        """Looks by their latest day; `since`: those that can lie on that day or later."""
        wanted = {"tree_id = ?": tree_id, "flush_id = ?": flush_id, "latest >= ?": _iso(since)}
        return self._select(Look, wanted, "latest, earliest, id")

    def works(self, tree_id: str | None = None, since: date | None = None) -> list[Work]:
        """Work by its latest day; `since`: what can lie on that day or later."""
        wanted = {"tree_id = ?": tree_id, "latest >= ?": _iso(since)}
        return self._select(Work, wanted, "latest, earliest, id")

    def import_maps(self) -> list[ImportMap]:
        """The remembered readings of spreadsheet columns."""
        return self._select(ImportMap, {}, "rowid")

    def shared_files(self) -> list[SharedFile]:
        """The calibrations learned from other gardens."""
        return self._select(SharedFile, {}, "label, id")

    def _select(self, kind: type[R], wanted: Mapping[str, str | int | None], order: str) -> list[R]:
        table = table_of(kind)
        asked = {test: value for test, value in wanted.items() if value is not None}
        where = f" WHERE {' AND '.join(asked)}" if asked else ""
        query = f"SELECT {', '.join(column_names(table))} FROM {table}{where} ORDER BY {order}"
        records: list[R] = []
        try:
            with self.errors("reading"):
                rows = self.connection.execute(query, tuple(asked.values()))
                while some := rows.fetchmany(ROWS_AT_ONCE):
                    records += decode_rows(kind, some)
            return records
        except ValueError as error:  # a date that does not read: only damage can have written it
            raise self.damaged(str(error)) from error

    def history(self, tree_id: str | None = None, limit: int | None = None) -> list[Change]:
        """Batches of changes, newest first: all, or those that touched a tree."""
        with self.errors("reading"):
            return list(islice(walk(self.connection, tree_id), limit))

    def last_standing(self) -> tuple[str, str] | None:
        """Id and label of the batch that `undo` would take back; None where there is nothing to undo."""
        with self.errors("reading"):
            return next(to_undo(self.connection), None)

    def newest_change(self) -> tuple[int, str] | None:
        """Its last change, which tells this state of it from every other; None while there is none."""
        found = self.query("SELECT seq, batch FROM history ORDER BY seq DESC LIMIT 1")
        return (found[0][0], found[0][1]) if found else None

    def export_changes(self) -> Iterator[dict[str, Any]]:
        """The whole history, oldest first, a row for each changed row, every cell of it told."""
        for cells in self.query(f"SELECT {', '.join(CHANGE_FIELDS)} FROM history ORDER BY seq"):
            change = dict(zip(CHANGE_FIELDS, cells, strict=True))
            which = change["table_name"], change["row_id"], change["tree_id"]
            yield change | {name: full_text(*which, change[name]) for name in ("before", "after")}


def _iso(day: date | None) -> str | None:
    return None if day is None else day.isoformat()
