"""Is a database file whole? Checked once a day and after every surprise.

The check goes through structure, indexes, references and, through the schema, every cell, so it takes time
that grows with the file. The day of the last one is kept beside the file with the state it was left in:
another state means that it was killed, copied or written to by others.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing, suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from data_sources.disk.whole_files import make_empty, mode_in
from data_sources.sqlite.connection import CHECKED, beside, has_log, look, pragma, snapshot, state_of
from data_sources.sqlite.errors import fault_behind
from data_sources.sqlite.schema import Schema, with_functions


@dataclass(frozen=True, eq=False, repr=False)
class Inspection:
    """The version a file says it has, and what is wrong with it; `foreign`: another program's database."""

    version: int = 0
    fault: str | None = None
    foreign: bool = False


def inspect(path: Path, schema: Schema, *, whole: bool = False) -> Inspection:
    """Look at a file without opening it to write; with `whole`, check it too.

    Raises `OSError` or `sqlite3.Error` if the file cannot be read, which says nothing of what it holds.
    """
    for attempt in range(3):
        before = state_of(path)
        with path.open("rb") as file:
            if not file.read(1):
                return Inspection(fault="the file is empty")
        try:
            with closing(look(path, locked=attempt > 0)) as connection:
                seen = _read_header(connection, path, schema)
                if whole and seen.fault is None:
                    seen = replace(seen, fault=fault_in(connection, schema))
        except (sqlite3.DatabaseError, ValueError) as error:
            seen = Inspection(fault=fault_behind(error))
        if seen.fault is None or state_of(path) == before:
            break  # else somebody wrote to it while it was read without a lock
    return seen


def _read_header(connection: sqlite3.Connection, path: Path, schema: Schema) -> Inspection:
    version, recorded = pragma(connection, "user_version"), _recorded_version(connection)
    size, belong = path.stat().st_size, pragma(connection, "page_count") * pragma(connection, "page_size")
    fault, foreign = None, False
    if pragma(connection, "encoding") != "UTF-8":
        fault = "its header names a text encoding that it never has"
    elif size < belong and not has_log(path):
        fault = f"it is cut short: {size} bytes where {belong} belong"
    elif pragma(connection, "application_id") != schema.application_id:
        foreign = recorded is None
        fault = f"it is not a {schema.noun}" if foreign else f"its header is not that of a {schema.noun}"
    elif version != recorded and (recorded is not None or version <= schema.version):
        fault = f"its version ({version}) is not the one it was brought to ({recorded})"
    return Inspection(version, fault, foreign)


def _recorded_version(connection: sqlite3.Connection) -> int | None:
    try:
        version: int | None = connection.execute("SELECT max(version) FROM migration").fetchone()[0]
    except sqlite3.OperationalError as error:
        if "no such" in str(error):
            return None
        raise
    return version


def fault_in(connection: sqlite3.Connection, schema: Schema) -> str | None:
    """What is wrong with an open database, in words; None when nothing is.

    SQLite's full check, every reference and, at the present version, every cell.
    """
    try:
        with snapshot(connection):
            verdict = pragma(connection, "integrity_check(1)")
            if verdict != "ok":
                return str(verdict).splitlines()[-1]
            if connection.execute("PRAGMA foreign_key_check").fetchone() is not None:
                return "a row points at another that is not there"
            version = pragma(connection, "user_version")
            if (strange := strange_shape(connection, schema, version)) is not None:
                return strange
            return schema.content_fault(connection) if version == schema.version else None
    except (sqlite3.DatabaseError, ValueError, TypeError) as error:  # the last two: a cell of no known kind
        return fault_behind(error)


def strange_shape(connection: sqlite3.Connection, schema: Schema, version: int) -> str | None:
    """What tables, indexes and triggers no flushcast made, or lack, in a file of a version; in words."""
    if not 1 <= version <= schema.version:
        return None if version > schema.version else f"there never was a version {version} of it"
    with closing(with_functions(sqlite3.connect(":memory:"), schema)) as fresh:
        for step in schema.steps[:version]:
            for statement in step.statements:
                fresh.execute(statement)
        wanted, found = _shape(fresh), _shape(connection)
    for name in sorted(wanted.keys() ^ found.keys()):
        kind = (found.get(name) or wanted[name])[0]
        return f"it has a {kind} '{name}' of its own" if name in found else f"its {kind} '{name}' is missing"
    altered = next((name for name in sorted(wanted) if wanted[name] != found[name]), None)
    return None if altered is None else f"its {wanted[altered][0]} '{altered}' is not as flushcast makes it"


def _shape(connection: sqlite3.Connection) -> dict[str, tuple[str, str]]:
    listed = "SELECT name, type, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite%'"
    return {name: (kind, " ".join(str(sql).split())) for name, kind, sql in connection.execute(listed)}


def today() -> str:
    """The day that counts for the daily check."""
    return datetime.now(UTC).date().isoformat()


def checked_today(path: Path) -> bool:
    """Whether the file passed the check today and is as a flushcast left it since."""
    with suppress(OSError, ValueError):
        return beside(path, CHECKED).read_text("utf-8") == f"{today()} {state_of(path)}"
    return False


def remember_check(path: Path, day: str) -> None:
    """Write down that the database, as it stands, was checked that day; the note may be deleted."""
    with suppress(OSError):  # a folder nobody may write; then every opening checks
        note = beside(path, CHECKED)
        if not note.exists():
            make_empty(note, mode_in(path.parent))
        note.write_text(f"{day} {state_of(path)}", "utf-8")
