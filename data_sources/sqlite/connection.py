"""Connections with the settings that keep data safe, transactions, and copies of whole databases."""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any
from urllib.parse import quote

from data_sources.disk.whole_files import sync_folder

LOGS = ("-wal", "-journal")
CHECKED = "-checked"  # our own: when the file was last checked


def beside(path: Path, ending: str) -> Path:
    """The file that SQLite names after the database."""
    return path.with_name(path.name + ending)


def has_log(path: Path) -> bool:
    """Whether a log lies beside the file, so that the file alone may not be all."""
    return any(beside(path, ending).exists() for ending in LOGS)


def state_of(path: Path) -> str:
    """Sizes and times of the file and its logs; it differs once anybody has written."""
    found = []
    for ending in ("", *LOGS):
        with suppress(OSError):
            stat = beside(path, ending).stat()
            if stat.st_size:
                found.append(f"{stat.st_size}.{stat.st_mtime_ns}{ending}")
    return " ".join(found)


def may_write(path: Path) -> bool:
    """Whether both the file and its folder (SQLite keeps its log beside the file) may be written."""
    return os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)


def remove(path: Path) -> None:
    """Delete a database with all that lies beside it under its name, as far as it can be deleted."""
    for ending in ("", *LOGS, "-shm", CHECKED):
        with suppress(OSError):
            beside(path, ending).unlink()


def place_new(part: Path, path: Path) -> bool:
    """Give a finished file its name, lastingly, unless the name is taken; False when it is."""
    try:
        os.link(part, path)  # unlike a rename, never replaces what another process just made
        part.unlink()
    except FileExistsError:
        return False
    except (OSError, AttributeError):  # a drive, or a system, without hard links
        if path.exists():
            return False
        part.replace(path)
    sync_folder(path.parent)
    return True


PATIENCE = 5.0  # seconds to wait for another writer before giving up


def connect(path: Path, mode: str = "rw", *, immutable: bool = False) -> sqlite3.Connection:
    """A connection in autocommit mode with foreign keys on and every commit forced to disk.

    `mode` is "ro", "rw" or "rwc" (create when missing); `immutable` reads without any lock a file that nobody
    changes meanwhile. It may be handed from thread to thread, but is for one at a time.
    """
    uri = file_uri(path, mode, immutable=immutable)
    connection = sqlite3.connect(
        uri, uri=True, isolation_level=None, timeout=PATIENCE, check_same_thread=False
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


def look(path: Path, *, locked: bool = False) -> sqlite3.Connection:
    """A connection for reading that leaves the file and its folder as they are, as far as a log allows.

    Without a log it reads without any lock, unless `locked`: then it waits for who is writing.
    """
    # A change cut off midway must be rolled back before anything can be read, and that is writing.
    mend = _size(beside(path, "-journal")) > 0 and may_write(path)
    return connect(path, "rw" if mend else "ro", immutable=not (locked or has_log(path)))


def _size(path: Path) -> int:
    """The size of a file; 0 when there is none, or none any more: a log goes with its change."""
    with suppress(OSError):
        return path.stat().st_size
    return 0


def pragma(connection: sqlite3.Connection, name: str) -> Any:
    """The value of a setting or header field of the database."""
    return connection.execute(f"PRAGMA {name}").fetchone()[0]


@contextmanager
def transaction(
    connection: sqlite3.Connection,
    begin: str = "BEGIN IMMEDIATE",
    *,
    refusal: Callable[[sqlite3.IntegrityError], Exception] | None = None,
) -> Iterator[None]:
    """All of it or none of it. The lock is taken at the start, so that nothing read inside can be stale.

    `refusal` puts a broken constraint into words, asked while the refused rows can still be seen.
    """
    connection.execute(begin)
    try:
        yield
        connection.execute("COMMIT")
    except sqlite3.IntegrityError as error:
        if refusal is None or not connection.in_transaction:
            raise
        raise refusal(error) from error
    finally:
        if connection.in_transaction:
            with suppress(sqlite3.Error):
                connection.execute("ROLLBACK")


@contextmanager
def snapshot(connection: sqlite3.Connection) -> Iterator[None]:
    """Everything read inside is of one point in time, whoever else is writing; may stand in a transaction."""
    if connection.in_transaction:
        yield
    else:
        with transaction(connection, "BEGIN"):
            yield


def copy_whole(
    source: sqlite3.Connection, to: sqlite3.Connection, *, once_locked: Callable[[], None] | None = None
) -> None:
    """Copy a database over another in one transaction, or give up as a writer would when one is locked.

    SQLite's own call would wait for ever. `once_locked` is called when `to` is locked for writing and still
    reads as before; an error in it undoes the copy.
    """
    deadline = time.monotonic() + PATIENCE
    waiting = [once_locked] if once_locked else []

    def watch(status: int, _remaining: int, _pages: int) -> None:
        if status & 0xFF not in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
            while waiting:
                waiting.pop()()
        elif time.monotonic() > deadline:
            error = sqlite3.OperationalError("database is locked")
            error.sqlite_errorcode = status
            raise error

    source.backup(to, pages=1 if once_locked else -1, progress=watch, sleep=0.05)
