"""Is the journal file whole? Three depths: its header, SQLite's own check, and every cell.

SQLite's check sees broken structure but not a flipped bit inside a note. The change table holds every
row a second time, and each change carries a checksum, so together they show any cell that altered.
"""

from __future__ import annotations

import sqlite3
import struct
from dataclasses import dataclass
from pathlib import Path

from data_sources.journal.changes import CHANGE_COLUMNS, checksum, current_rows_by_changes
from data_sources.journal.connection import roll_back
from data_sources.journal.migrations import APPLICATION_ID
from data_sources.journal.schema import TABLES, column_names

_MAGIC = b"SQLite format 3\x00"
DEEP_UP_TO = 2_000_000  # bytes: opening checks every cell of a journal no larger than this
QUICK_UP_TO = 20_000_000  # bytes: opening runs SQLite's quick check up to this

# Errors that say nothing of what the file holds.
_NOT_THE_FILE = {
    sqlite3.SQLITE_BUSY,
    sqlite3.SQLITE_LOCKED,
    sqlite3.SQLITE_CANTOPEN,
    sqlite3.SQLITE_FULL,
    sqlite3.SQLITE_INTERRUPT,
    sqlite3.SQLITE_IOERR,
    sqlite3.SQLITE_NOMEM,
    sqlite3.SQLITE_PERM,
    sqlite3.SQLITE_READONLY,
}


@dataclass(frozen=True)
class Header:
    """What the first hundred bytes of an SQLite file say (SQLite file format, section 1.3)."""

    page_size: int
    pages: int
    version: int
    application: int
    fault: str | None = None


def read_header(path: Path) -> Header:
    """The file's header; `fault` says what is wrong with it, if anything.

    Raises
    ------
    OSError
        If the file cannot be read.
    """
    with path.open("rb") as file:
        head = file.read(100)
    size = path.stat().st_size
    if not head:
        return Header(0, 0, 0, 0, "the file is empty")
    if len(head) < 100 or head[:16] != _MAGIC:
        return Header(0, 0, 0, 0, "it does not begin like an SQLite file")
    (page_size,) = struct.unpack(">H", head[16:18])
    page_size = 65536 if page_size == 1 else page_size
    (pages,) = struct.unpack(">I", head[28:32])
    (version,) = struct.unpack(">i", head[60:64])
    (application,) = struct.unpack(">i", head[68:72])
    fault = None
    if page_size < 512 or page_size & (page_size - 1):
        fault = "its page size makes no sense"
    elif not {head[18], head[19]} <= {1, 2} or head[56:60] != b"\0\0\0\x01":
        fault = "its header names a file format or text encoding that no journal has"
    elif not log_beside(path) and size < pages * page_size:
        fault = f"it is cut short: {size} bytes where {pages * page_size} belong"
    return Header(page_size, pages, version, application, fault)


def log_beside(path: Path) -> bool:
    """Whether a log with unfinished work lies beside the file, so that SQLite must mend it first."""
    for ending in ("-wal", "-journal"):
        try:
            if path.with_name(path.name + ending).stat().st_size:
                return True
        except OSError:
            continue
    return False


def fault_in(connection: sqlite3.Connection, *, depth: str = "deep") -> str | None:
    """What is wrong with an open journal, in words; None when nothing is.

    Parameters
    ----------
    connection : sqlite3.Connection
        Open on a journal of this version (or, for "quick", any version).
    depth : {"quick", "deep"}
        SQLite's quick check; or its full check, then every cell against the changes.
    """
    own = not connection.in_transaction
    try:
        if own:
            connection.execute("BEGIN")  # one moment in time, whoever else is writing
        pragma = "integrity_check(1)" if depth == "deep" else "quick_check(1)"
        (said,) = connection.execute(f"PRAGMA {pragma}").fetchone()
        if said != "ok":
            return str(said).splitlines()[-1]
        return _unlike_its_changes(connection) if depth == "deep" else None
    except (sqlite3.DatabaseError, ValueError, TypeError) as error:  # the last two: a cell of no known kind
        if getattr(error, "sqlite_errorcode", sqlite3.SQLITE_CORRUPT) & 0xFF in _NOT_THE_FILE:
            raise
        return str(error)
    finally:
        if own:
            roll_back(connection)


def _unlike_its_changes(connection: sqlite3.Connection) -> str | None:
    (recorded,) = connection.execute("SELECT max(version) FROM migration").fetchone()
    (stands,) = connection.execute("PRAGMA user_version").fetchone()
    if recorded != stands:
        return f"its version ({stands}) is not the one it was brought to ({recorded})"
    (application,) = connection.execute("PRAGMA application_id").fetchone()
    if application != APPLICATION_ID:
        return "its application number is not a journal's"
    if connection.execute("PRAGMA foreign_key_check").fetchone() is not None:
        return "a row points at another that is not there"
    query = f"SELECT {', '.join(CHANGE_COLUMNS[1:])}, seq FROM change"
    for *cells, kept, seq in connection.execute(query):
        if checksum(tuple(cells)) != kept:
            return f"change {seq} does not match its checksum"
    for table in TABLES:
        expected = current_rows_by_changes(connection, table)
        names = column_names(table)
        for found in connection.execute(f"SELECT {', '.join(names)} FROM {table}"):
            row = dict(zip(names, found, strict=True))
            if expected.pop(str(row["id"]), None) != row:
                return f"{table} {row['id']} is not as it was written"
        if expected:
            return f"{table} {next(iter(expected))} is missing"
    return None
