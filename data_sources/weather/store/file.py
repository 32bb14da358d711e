"""The file behind the weather store: opening it, its tables, and what a grower reads when it fails.

Rollback mode, not a write-ahead log: the store is read often and written rarely, and a single file can
be copied by hand or by a syncing program at any quiet moment.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import quote

from phenology.model.errors import StoreCorruptError, StoreError, StoreLockedError, StoreTooNewError

FILE_NAME = "weather.sqlite"
APPLICATION_ID = 0x464C5557  # "FLUW": tells a weather store from any other SQLite file
PATIENCE = 5.0  # seconds to wait for another writer before giving up

# A step and the record that it was taken are one transaction. A released step is never edited.
STEPS: tuple[tuple[str, ...], ...] = (
    (
        "CREATE TABLE migration (version INTEGER PRIMARY KEY, at TEXT NOT NULL)",
        # The journal's ids are long text; a small number in front of every day keeps the file small.
        "CREATE TABLE place (key INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE)",
        """CREATE TABLE origin (
            key INTEGER PRIMARY KEY, provider TEXT NOT NULL, detail TEXT NOT NULL, attribution TEXT NOT NULL,
            measures TEXT NOT NULL, UNIQUE (provider, detail, attribution, measures))""",
        """CREATE TABLE batch (
            key INTEGER PRIMARY KEY AUTOINCREMENT, place INTEGER NOT NULL REFERENCES place (key),
            origin INTEGER NOT NULL REFERENCES origin (key), fetched_at TEXT NOT NULL, issued INTEGER)""",
        # Every source keeps its own value of a day (own readings and the station's must stay comparable);
        # reading picks the best. Days are proleptic Gregorian ordinals, sources ranks in SOURCES.
        """CREATE TABLE day (
            place INTEGER NOT NULL REFERENCES place (key), source INTEGER NOT NULL, day INTEGER NOT NULL,
            tmin REAL, tmax REAL, batch INTEGER NOT NULL REFERENCES batch (key),
            suspect TEXT, accepted INTEGER NOT NULL DEFAULT 0 CHECK (accepted IN (0, 1)),
            PRIMARY KEY (place, source, day),
            CHECK (tmin IS NOT NULL OR tmax IS NOT NULL), CHECK (tmin <= tmax)) WITHOUT ROWID""",
        """CREATE TABLE replaced (
            key INTEGER PRIMARY KEY, place INTEGER NOT NULL, source INTEGER NOT NULL, day INTEGER NOT NULL,
            tmin REAL, tmax REAL, batch INTEGER NOT NULL REFERENCES batch (key), suspect TEXT,
            accepted INTEGER NOT NULL, by_batch INTEGER NOT NULL REFERENCES batch (key))""",
        "CREATE INDEX replaced_day ON replaced (place, day)",
        # Member 0 is the forecast itself; 1, 2, ... are the members of an ensemble.
        """CREATE TABLE forecast (
            place INTEGER NOT NULL REFERENCES place (key), batch INTEGER NOT NULL REFERENCES batch (key),
            member INTEGER NOT NULL, day INTEGER NOT NULL, tmin REAL, tmax REAL,
            PRIMARY KEY (place, member, day, batch),
            CHECK (tmin IS NOT NULL OR tmax IS NOT NULL), CHECK (tmin <= tmax)) WITHOUT ROWID""",
    ),
)


def open_file(path: Path, *, mode: str, patience: float = PATIENCE) -> sqlite3.Connection:
    """A connection in autocommit mode to a weather store of the present shape.

    Parameters
    ----------
    path : Path
        The SQLite file.
    mode : {"ro", "rw", "rwc"}
        Read only, read and write, or create when missing.
    patience : float
        How long to wait for a lock. [s]

    Raises
    ------
    StoreCorruptError, StoreLockedError, StoreTooNewError, StoreError
        In one sentence; the file is left as it was.
    """
    with plain_errors(path, "opening"):
        name = quote(path.absolute().as_posix(), safe="/:")
        uri = f"file://{'' if name.startswith('/') else '/'}{name}?mode={mode}"
        connection = sqlite3.connect(uri, uri=True, isolation_level=None, timeout=patience)
        try:
            connection.execute("PRAGMA foreign_keys = ON")
            connection.execute("PRAGMA synchronous = FULL")
            _bring_to_shape(connection, path, may_write=mode != "ro")
        except BaseException:
            connection.close()
            raise
    return connection


def _bring_to_shape(connection: sqlite3.Connection, path: Path, *, may_write: bool) -> None:
    version = _pragma(connection, "user_version")
    if version == len(STEPS) and _pragma(connection, "application_id") == APPLICATION_ID:
        return
    if version > len(STEPS):
        raise StoreTooNewError(
            f"{path} was written by a newer flushcast; it is left untouched. Update flushcast."
        )
    if _pragma(connection, "application_id") not in (0, APPLICATION_ID) or (
        version == 0 and _tables(connection)
    ):
        raise StoreError(f"{path} is not a weather store of flushcast; move it away to start a new one")
    if not may_write:
        raise StoreError(
            f"{path} is from an older flushcast and its folder is read-only; make it writable once"
        )
    for step in range(version + 1, len(STEPS) + 1):
        with transaction(connection):
            # Asked inside the lock: another process may have taken the step while we waited.
            if _pragma(connection, "user_version") >= step:
                continue
            for statement in STEPS[step - 1]:
                connection.execute(statement)
            now = datetime.now(UTC).isoformat(timespec="seconds")
            connection.execute("INSERT INTO migration VALUES (?, ?)", (step, now))
            connection.execute(f"PRAGMA application_id = {APPLICATION_ID:d}")
            connection.execute(f"PRAGMA user_version = {step:d}")


def _pragma(connection: sqlite3.Connection, name: str) -> int:
    value: int = connection.execute(f"PRAGMA {name}").fetchone()[0]
    return value


def _tables(connection: sqlite3.Connection) -> int:
    count: int = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    return count


@contextmanager
def transaction(connection: sqlite3.Connection) -> Iterator[None]:
    """All of it or none of it; the lock is taken at the start, so that nothing read inside can be stale."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


@contextmanager
def plain_errors(path: Path, doing: str, kept: str = "Nothing was changed.") -> Iterator[None]:
    """Turn what SQLite or the system raises into one clear sentence."""
    try:
        yield
    except sqlite3.Error as error:
        raise _plain(error, path, doing, kept) from error
    except OSError as error:
        raise StoreError(
            f"{doing} {path} failed: {(error.strerror or str(error)).lower()}. {kept}"
        ) from error


def _plain(error: sqlite3.Error, path: Path, doing: str, kept: str) -> StoreError:
    code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & 0xFF
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return StoreLockedError(
            f"{path} is in use: another flushcast (or a syncing program) is writing. {kept} "
            "Try again in a moment."
        )
    if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return StoreCorruptError(
            f"{path} is damaged ({error}); it was left as it is. Put back a copy, "
            "or move it away and add or fetch the weather again."
        )
    why = {
        sqlite3.SQLITE_FULL: "the disk is full",
        sqlite3.SQLITE_READONLY: "the file or its folder is read-only",
        sqlite3.SQLITE_CANTOPEN: "the file or its folder cannot be opened or written",
        sqlite3.SQLITE_IOERR: "the disk did not take or give the data",
    }.get(code, str(error))
    return StoreError(f"{doing} {path} failed: {why}. {kept}")
