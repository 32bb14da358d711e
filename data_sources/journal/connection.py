"""Opening the SQLite file the safe way, and saying in one sentence why something could not be done."""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from urllib.parse import quote

from phenology.model.errors import InputError, StoreCorruptError, StoreError, StoreLockedError

PATIENCE = 5.0  # seconds to wait for another writer before giving up

_LOCKED = {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}
_DAMAGED = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}
_DAMAGE_WITHOUT_CODE = ("Could not decode", "unsupported file format", "malformed database schema")


def connect(
    path: Path, *, mode: str = "rw", immutable: bool = False, patience: float | None = None
) -> sqlite3.Connection:
    """A connection in autocommit mode with foreign keys on and every commit forced to disk.

    Parameters
    ----------
    path : Path
        The SQLite file; with mode "rwc" it may be missing.
    mode : {"ro", "rw", "rwc"}
        Read only, read and write, or create when missing.
    immutable : bool
        Read a file nobody can change, without any lock (only when the folder is read-only).
    patience : float, optional
        How long to wait for a lock; default: `PATIENCE`. [s]
    """
    connection = sqlite3.connect(
        file_uri(path, mode, immutable=immutable),
        uri=True,
        isolation_level=None,
        timeout=PATIENCE if patience is None else patience,
    )
    try:
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA synchronous = FULL")
    except BaseException:
        connection.close()
        raise
    return connection


def file_uri(path: Path, mode: str = "ro", *, immutable: bool = False) -> str:
    """The name by which SQLite opens a file in a mode."""
    name = quote(path.absolute().as_posix(), safe="/:")
    root = "" if name.startswith("/") else "/"
    return f"file://{root}{name}?mode={mode}{'&immutable=1' if immutable else ''}"


def may_write(path: Path) -> bool:
    """Whether both the file and its folder (SQLite keeps its log beside the file) may be written."""
    return os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)


def copy_whole(source: sqlite3.Connection, to: sqlite3.Connection, path: Path) -> None:
    """Copy a database over another in one step; SQLite itself would wait for ever for somebody's lock.

    Raises
    ------
    StoreLockedError
        If the file at `path` stays locked for longer than `PATIENCE`.
    """
    deadline = time.monotonic() + PATIENCE

    def watch(status: int, _remaining: int, _pages: int) -> None:
        if status & 0xFF in _LOCKED and time.monotonic() > deadline:
            raise locked_error(path, "Nothing was changed.")

    source.backup(to, progress=watch, sleep=0.05)


def roll_back(connection: sqlite3.Connection) -> None:
    """End an open transaction without saving; nothing to do when SQLite has ended it already."""
    if connection.in_transaction:
        with suppress(sqlite3.Error):
            connection.execute("ROLLBACK")


@contextmanager
def plain_errors(path: Path, doing: str, *, kept: str = "Nothing was changed.") -> Iterator[None]:
    """Turn what SQLite or the system raises into one clear sentence.

    Parameters
    ----------
    path : Path
        The file at work.
    doing : str
        What could not be done: "saving to", "reading".
    kept : str
        What the grower may rely on after the failure.
    """
    try:
        yield
    except sqlite3.Error as error:
        raise store_error(error, path, doing, kept) from error
    except UnicodeDecodeError as error:  # SQLite names what it cannot read, and the name is broken too
        from data_sources.journal.backup import damage

        raise StoreCorruptError(damage(path, "its tables cannot be read")) from error
    except OSError as error:
        why = error.strerror or str(error)
        raise StoreError(f"{doing} {path} failed: {why[:1].lower()}{why[1:]}. {kept}") from error


def locked_error(path: Path, kept: str) -> StoreLockedError:
    """The error a grower reads when somebody else holds the file."""
    return StoreLockedError(
        f"{path} is in use: another flushcast, or a syncing program, is writing. {kept} "
        "Try again in a moment."
    )


def store_error(error: sqlite3.Error, path: Path, doing: str, kept: str) -> StoreError | InputError:
    """The error a grower reads for an error of SQLite."""
    code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & 0xFF
    if code in _LOCKED:
        return locked_error(path, kept)
    if code in _DAMAGED or str(error).startswith(_DAMAGE_WITHOUT_CODE):
        from data_sources.journal.backup import damage

        return StoreCorruptError(damage(path, str(error)))
    if code == sqlite3.SQLITE_FULL:
        return StoreError(f"{doing} {path} failed: the disk is full. {kept} Make room and try again.")
    if code == sqlite3.SQLITE_READONLY:
        return StoreError(f"{doing} {path} failed: the file or its folder is read-only. {kept}")
    if code == sqlite3.SQLITE_CANTOPEN:
        return StoreError(
            f"{doing} {path} failed: the file or its folder cannot be opened or written. {kept}"
        )
    if code == sqlite3.SQLITE_IOERR:
        return StoreError(
            f"{doing} {path} failed: the disk did not take or give the data "
            f"(full, unplugged or failing). {kept}"
        )
    if code == sqlite3.SQLITE_CONSTRAINT:
        return InputError(f"the journal refuses this row: {error}. {kept}")
    return StoreError(f"{doing} {path} failed: {error}. {kept}")
