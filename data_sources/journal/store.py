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
from types import TracebackType
from typing import Any

from data_sources.journal import backup as backups
from data_sources.journal import health, migrations, rows
from data_sources.journal.changes import Batch, Change, dangling, to_redo, to_undo, walk
from data_sources.journal.connection import PATIENCE, connect, may_write, plain_errors, roll_back, store_error
from data_sources.journal.opening import (
    check_on_opening,
    choose_log,
    create_file,
    refuse_newer,
    refuse_what_cannot_be_used,
    refuse_where_backups_are,
    upgrade,
)
from data_sources.journal.schema import TABLES, ImportMap, R, column_names, decode_rows, table_of
from phenology.model.errors import InputError, StoreCorruptError, StoreError
from phenology.model.records import Aim, Flush, Look, Place, Stand, Tree, Work

FILE_NAME = "journal.sqlite"
_NOTHING_SAVED = "Nothing was saved."


class Journal:
    """An open journal; use it as a context manager.

    Attributes
    ----------
    path : Path
        The file.
    read_only : bool
        Whether file or folder cannot be written: reading works, `batch` refuses.
    warnings : list of str
        Sentences the grower should read: a synced folder, a backup that could not be made.

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

    def __init__(
        self, path: Path, connection: sqlite3.Connection, *, device: str, read_only: bool, warnings: list[str]
    ) -> None:
        self.path, self.device, self.read_only, self.warnings = path, device, read_only, warnings
        self.connection = connection
        self._backup_tried = read_only

    # -- opening and closing ---------------------------------------------------------------------------

    @classmethod
    def open(
        cls,
        path: str | os.PathLike[str],
        *,
        create: bool = False,
        device: str | None = None,
        patience: float | None = None,
    ) -> Journal:
        """Open a journal, bringing an older one up to date (after a backup).

        Parameters
        ----------
        path : path
            The file, usually `garden / FILE_NAME`.
        create : bool
            Start a new journal when there is none; its folder is made too.
        device : str, optional
            Where changes are written from, for the history; default: this machine's name.
        patience : float, optional
            How long to wait for another writer; default: a few seconds. [s]

        Raises
        ------
        StoreError
            If there is no journal, or file or folder cannot be used.
        StoreTooNewError
            If a newer flushcast wrote it; it is left untouched.
        StoreCorruptError
            If it is damaged; it is kept, and the newest good backup is named.
        StoreLockedError
            If another process holds it too long.
        """
        path = Path(path)
        with plain_errors(path, "opening"):
            if not path.exists():
                refuse_where_backups_are(path)
                if not create:
                    raise StoreError(f"there is no journal at {path}; 'flushcast init' starts a garden.")
                create_file(path)
            refuse_what_cannot_be_used(path)
            name = device or platform.node() or "this machine"
            return cls._connected(path, name, PATIENCE if patience is None else patience)

    @classmethod
    def _connected(cls, path: Path, device: str, patience: float) -> Journal:
        warnings: list[str] = []
        read_only = not may_write(path)
        if read_only:
            has_log = path.with_name(path.name + "-wal").exists()
            connection = connect(path, mode="ro", immutable=not has_log, patience=patience)
            warnings.append(f"{path} can only be read: the file or its folder is read-only.")
        else:
            connection = connect(path, patience=patience)
        try:
            if not read_only:
                choose_log(connection, path, warnings)
                upgrade(connection, path)
            elif migrations.version_of(connection) < migrations.newest_version():
                raise StoreError(f"{path} is of an older flushcast and, being read-only, cannot be upgraded.")
            check_on_opening(connection, path)
        except BaseException:
            connection.close()
            raise
        return cls(path, connection, device=device, read_only=read_only, warnings=warnings)

    def close(self) -> None:
        """Close the file; a batch still open is rolled back."""
        self.connection.close()

    def __enter__(self) -> Journal:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # -- writing ---------------------------------------------------------------------------------------

    @contextmanager
    def batch(self, label: str, *, at: datetime | None = None, id: str | None = None) -> Iterator[Batch]:
        """Changes that stand or fall together, under a label in plain words.

        The journal is locked for writing while the batch is open, so ask questions before. Leaving the
        `with` block saves everything to disk; an error inside it saves nothing.

        Parameters
        ----------
        label : str
            What is being done, as history will say it; `batch.label` may be set until the end.
        at : datetime, optional
            When, with a time zone; default: now.
        id : str, optional
            The batch's UUID; default: a new one.
        """
        with self._writing():
            batch = Batch(self.connection, label, at=_moment(at), device=self.device, id=id)
            yield batch
            self._finish(batch)

    @contextmanager
    def _writing(self) -> Iterator[None]:
        if self.connection.in_transaction:
            raise RuntimeError("a batch or a snapshot is open already")
        if self.read_only:
            raise StoreError(f"{self.path} can only be read: file or folder is read-only. {_NOTHING_SAVED}")
        self._rolling_backup()
        try:
            self.connection.execute("BEGIN IMMEDIATE")
            refuse_newer(self.path, migrations.version_of(self.connection))
            # Rows of a batch may come in any order; what they point at must be there at its end.
            self.connection.execute("PRAGMA defer_foreign_keys = ON")
            yield
            self.connection.execute("COMMIT")
        except sqlite3.Error as error:
            if "FOREIGN KEY" in str(error) and self.connection.in_transaction:
                raise InputError(f"{dangling(self.connection)}. {_NOTHING_SAVED}") from error
            raise store_error(error, self.path, "saving to", _NOTHING_SAVED) from error
        finally:
            roll_back(self.connection)

    def _finish(self, batch: Batch) -> None:
        if not batch.label.strip():
            raise InputError("a batch needs a label: what was done, in plain words")
        batch._finish()

    def _rolling_backup(self) -> None:
        if self._backup_tried:
            return
        self._backup_tried = True
        try:
            if self.version:
                backups.rolling_backup(self.connection, self.path)
        except StoreCorruptError:
            raise
        except StoreError as error:
            self.warnings.append(f"today's backup could not be made: {error}")

    def undo(self, n: int = 1, *, at: datetime | None = None) -> list[str]:
        """Take back the last `n` batches that still hold, all or none; returns their labels, newest first.

        Each undo is itself a batch, and `redo` takes it back. Fewer are undone when there are fewer.

        Raises
        ------
        InputError
            If `n` is below 1.
        """
        return self._take_back(n, "undid", at)

    def redo(self, n: int = 1, *, at: datetime | None = None) -> list[str]:
        """Do again what the last `n` undos took back; returns the labels, newest undo first.

        Raises
        ------
        InputError
            If `n` is below 1, or a row was changed since.
        """
        return self._take_back(n, "did again", at)

    def _take_back(self, n: int, verb: str, at: datetime | None) -> list[str]:
        if n < 1:
            raise InputError(f"the number to take back must be 1 or more, got {n}")
        moment = _moment(at)
        with self._writing():
            if verb == "undid":
                targets = [(change.batch, change.label) for change in to_undo(self.connection, n)]
            else:
                targets = [(change.batch, label) for change, label in to_redo(self.connection, n)]
            for target, label in targets:
                batch = Batch(
                    self.connection, f"{verb}: {label}", at=moment, device=self.device, undoes=target
                )
                batch._take_back(target, label)
                batch._finish()
        return [label for _, label in targets]

    def rebuild(
        self,
        rows_by_table: Mapping[str, Iterable[Mapping[str, Any]]],
        *,
        label: str = "rebuilt from files",
        at: datetime | None = None,
    ) -> None:
        """Fill this empty journal from exported rows, all or nothing; exact, with its history.

        Where rows and their exported changes disagree the rows stand, and one batch records it.

        Raises
        ------
        InputError
            If the journal is not empty or a row cannot be stored (table and row number are named).
        """
        with self._writing():
            batch = Batch(self.connection, label, at=_moment(at), device=self.device)
            rows.rebuild(self.connection, rows_by_table, batch)
            self._finish(batch)

    # -- reading ---------------------------------------------------------------------------------------

    @contextmanager
    def snapshot(self) -> Iterator[None]:
        """Everything read inside is of one moment, whoever else is writing."""
        if self.connection.in_transaction:
            yield
            return
        with plain_errors(self.path, "reading"):
            self.connection.execute("BEGIN")
            try:
                yield
            finally:
                roll_back(self.connection)

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
        day = None if since is None else since.isoformat()
        wanted = {"tree_id = ?": tree_id, "flush_id = ?": flush_id, "latest >= ?": day}
        return self._select(Look, wanted, "latest, earliest, id")

    def works(self, tree_id: str | None = None, since: date | None = None) -> list[Work]:
        """Work by its latest day; `since`: what can lie on that day or later."""
        day = None if since is None else since.isoformat()
        return self._select(Work, {"tree_id = ?": tree_id, "latest >= ?": day}, "latest, earliest, id")

    def import_maps(self) -> list[ImportMap]:
        """The remembered readings of spreadsheet columns."""
        return self._select(ImportMap, {}, "rowid")

    def _select(self, kind: type[R], wanted: Mapping[str, str | int | None], order: str) -> list[R]:
        table = table_of(kind)
        asked = {test: value for test, value in wanted.items() if value is not None}
        where = f" WHERE {' AND '.join(asked)}" if asked else ""
        query = f"SELECT {', '.join(column_names(table))} FROM {table}{where} ORDER BY {order}"
        with plain_errors(self.path, "reading"):
            try:
                return decode_rows(kind, self.connection.execute(query, tuple(asked.values())))
            except ValueError as error:  # a date that does not read: only damage can have written it
                raise StoreCorruptError(backups.damage(self.path, str(error))) from error

    def counts(self) -> dict[str, int]:
        """Number of rows in each table."""
        with plain_errors(self.path, "reading"):
            count = self.connection.execute
            return {table: count(f"SELECT count(*) FROM {table}").fetchone()[0] for table in TABLES}

    def history(self, tree_id: str | None = None, limit: int | None = None) -> list[Change]:
        """Batches of changes, newest first: all, or those that touched a tree."""
        with plain_errors(self.path, "reading"):
            return list(islice(walk(self.connection, tree_id), limit))

    @property
    def version(self) -> str:
        """A key for what is derived from the journal: it changes with every change; "" when empty."""
        with plain_errors(self.path, "reading"):
            row = self.connection.execute(
                "SELECT seq, batch FROM change ORDER BY seq DESC LIMIT 1"
            ).fetchone()
        return "" if row is None else f"{row[0]}-{row[1]}"

    def export_rows(self, table: str) -> Iterator[dict[str, Any]]:
        """Rows of one of `rows.EXPORTED` as plain values, dates as ISO text."""
        with plain_errors(self.path, "reading"):
            yield from rows.export_rows(self.connection, table)

    # -- safety ----------------------------------------------------------------------------------------

    def backup(self, to: str | os.PathLike[str] | None = None) -> Path:
        """Write a checked backup (default: into `backups` beside the journal); returns its path."""
        if self.connection.in_transaction:
            raise RuntimeError("a backup inside a batch would hold what may yet be rolled back")
        return backups.write_backup(self.connection, self.path, None if to is None else Path(to))

    def check(self) -> str | None:
        """What is wrong with the journal, every cell checked; None when it is whole."""
        with plain_errors(self.path, "checking"):
            return health.fault_in(self.connection)


def _moment(at: datetime | None) -> datetime:
    if at is None:
        return datetime.now(UTC)
    if at.tzinfo is None:
        raise InputError(f"the time of a change needs a time zone, got {at.isoformat()}")
    return at
