"""An open database file that may be trusted: refused untouched, checked, upgraded, and written to whole."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager, suppress
from pathlib import Path
from typing import Any, ClassVar, Self

from data_sources.disk.whole_files import sweep
from data_sources.sqlite import backups, health
from data_sources.sqlite.connection import connect, has_log, may_write, pragma, snapshot, transaction
from data_sources.sqlite.errors import damaged, plain_errors
from data_sources.sqlite.folders import why_not_shared_memory
from data_sources.sqlite.schema import Schema, create_file, migrate
from phenology.model.errors import InputError, StoreCorruptError, StoreError, StoreTooNewError

NOTHING_SAVED = "Nothing was saved."


class Database:
    """An open SQLite file of one schema; use it as a context manager.

    Where file or folder cannot be written it is `read_only`: reading works, writing refuses. `warnings` are
    sentences the grower should read: a synced folder, a backup that could not be made.
    """

    schema: ClassVar[Schema]

    def __init__(self, path: Path, *, create: bool = False) -> None:
        """Open a file, bringing an older one up to date (after a backup).

        Raises `StoreError` if file or folder cannot be used. Raises `StoreTooNewError` if a newer flushcast
        wrote it; it is left untouched. Raises `StoreCorruptError` if it is damaged; it is kept. Raises
        `StoreLockedError` if another process holds it too long.
        """
        self.path, self.warnings, self._closed, self._held = path, list[str](), False, False
        with self.errors("opening"):
            new = create and not path.exists()
            if new:
                create_file(path, self.schema)
            self._due = not new and not health.checked_today(path)
            self._checked_on = None if new else health.today()
            # A look before it is opened to write, so that what is refused stays untouched.
            seen = health.inspect(path, self.schema)
            if seen.foreign:
                raise StoreError(f"{path} is not a flushcast {self.schema.noun}; it was left untouched.")
            if seen.fault is not None:
                raise self.damaged(seen.fault)
            self._refuse_newer(seen.version)
            self.read_only = not may_write(path)
            mode, alone = ("ro", not has_log(path)) if self.read_only else ("rw", False)
            self.connection = connect(path, mode, immutable=alone)
            try:
                self._make_ready(older=seen.version < self.schema.version)
            except BaseException:
                self.connection.close()
                raise

    def _refuse_newer(self, version: int) -> None:
        if version > self.schema.version:
            raise StoreTooNewError(
                f"{self.path} was written by a newer flushcast (version {version}, this one reads up to "
                f"{self.schema.version}). It was left untouched; update flushcast."
            )

    def _make_ready(self, *, older: bool) -> None:
        if self._due and (fault := health.fault_in(self.connection, self.schema)) is not None:
            raise self.damaged(fault)
        if self.read_only:
            self.warnings.append(f"{self.path} can only be read: the file or its folder is read-only.")
            if older:
                why = "is of an older flushcast and, being read-only, cannot be upgraded."
                raise StoreError(f"{self.path} {why}")
            return
        self._choose_log()
        sweep(self.path.parent)
        if older:
            self._checked_on = None  # its cells were not looked at
            saved = self.backup(why=f"before-v{self.schema.version}")
            kept = f"The {self.schema.noun} is as it was, and a backup is in {saved}."
            with self.errors("upgrading", kept):
                migrate(self.connection, self.schema)

    def _choose_log(self) -> None:
        """The write-ahead log, or the rollback mode and a warning where the folder does not suit it."""
        unfit = why_not_shared_memory(self.path.parent) if self.schema.write_ahead else None
        if unfit is not None:
            self.warnings.append(
                f"the garden {unfit}: the {self.schema.noun} uses its slower safe mode. "
                "Let one device write at a time, and wait until it is synced."
            )
        wanted = "wal" if self.schema.write_ahead and unfit is None else "delete"
        if pragma(self.connection, "journal_mode") != wanted:
            # When somebody has the file open this waits for the next time; both modes are safe here.
            with suppress(sqlite3.OperationalError):
                pragma(self.connection, f"journal_mode = {wanted}")

    def close(self) -> None:
        """Close the file; a change still open is rolled back."""
        if self._closed:
            return
        self._closed, changed = True, self.connection.total_changes > 0
        self.connection.close()
        if self._checked_on is not None and (self._due or changed):
            health.remember_check(self.path, self._checked_on)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    # -- in words --------------------------------------------------------------------------------------

    def errors(self, doing: str, kept: str = "Nothing was changed.") -> AbstractContextManager[None]:
        """Turn what SQLite or the system raises inside into one clear sentence; see `plain_errors`."""
        return plain_errors(self.path, doing, kept=kept, remedy=self.schema.remedy)

    def damaged(self, fault: str) -> StoreCorruptError:
        """The error for damage that was found: what is wrong, that the file is kept, what to do."""
        return damaged(self.path, fault, self.schema.remedy(self.path))

    def refusal(self, error: sqlite3.IntegrityError) -> Exception:
        """The error for rows that break a constraint, while they can still be seen."""
        return InputError(f"the {self.schema.noun} refuses this row: {error}. {NOTHING_SAVED}")

    # -- reading and writing ---------------------------------------------------------------------------

    def query(self, sql: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """All rows of a question."""
        with self.errors("reading"):
            return self.connection.execute(sql, values).fetchall()

    @contextmanager
    def snapshot(self) -> Iterator[None]:
        """Everything read inside is of one point in time, whoever else is writing."""
        with self.errors("reading"), snapshot(self.connection):
            yield

    @contextmanager
    def writing(self) -> Iterator[None]:
        """Changes that stand or fall together: on disk when the block ends, nothing after an error inside it.

        Only errors of SQLite are put into words; the caller's own stay as they are.
        """
        if self._held:  # a part of the change that is held open
            self._held = False
            yield
            self._held = True
            return
        if self.connection.in_transaction:
            raise RuntimeError("a change or a snapshot is open already")
        if self.read_only:
            raise StoreError(f"{self.path} can only be read: file or folder is read-only. {NOTHING_SAVED}")
        try:
            with transaction(self.connection, refusal=self.refusal):
                self._refuse_newer(pragma(self.connection, "user_version"))
                yield
        except sqlite3.Error as error:
            with self.errors("saving to", NOTHING_SAVED):
                raise error

    @contextmanager
    def held(self) -> Iterator[None]:
        """As `writing`, for what is read first and written then: blocks of `writing` inside are part of it.

        Nobody else writes while it is open, so what is read inside is still so when it is saved.
        """
        with self.writing():
            self._held = True
            try:
                yield
            finally:
                self._held = False

    # -- safety ----------------------------------------------------------------------------------------

    def backup(self, to: Path | None = None, *, why: str | None = None) -> Path:
        """Write a checked copy (default: into `backups` beside the file); returns its path."""
        if self.connection.in_transaction:
            raise RuntimeError("a backup inside a change would hold what may yet be rolled back")
        return backups.write_backup(self.connection, self.path, self.schema, to, why=why)

    def check(self) -> str | None:
        """What is wrong with the file, everything checked; None when it is whole."""
        with self.errors("checking"):
            return health.fault_in(self.connection, self.schema)
