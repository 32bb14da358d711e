"""What a database file holds, and the steps that bring an older one to its present shape.

A step and the record that it was taken are one transaction, so a failed upgrade leaves the file as it was.
A released step is never edited; a change of shape is a new step at the end.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Mapping
from contextlib import closing, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple

from data_sources.disk.whole_files import make_empty, mode_in, part_of, sweep
from data_sources.sqlite.connection import connect, place_new, pragma, remove, transaction


class Migration(NamedTuple):
    """One change of shape: the n-th step brings a file from version n - 1 to n."""

    name: str
    statements: tuple[str, ...]


@dataclass(frozen=True, eq=False, repr=False)
class Schema:
    """One kind of database file.

    It is `noun` to the grower and `application_id` to SQLite. `recording` is the statement that notes a step
    (:version, :name, :at) in its table `migration`. `write_ahead`: it uses the write-ahead log where the
    folder allows. `remedy` says what to do when the file at a path is damaged, `content_fault` what is wrong
    with the cells themselves, which SQLite cannot see. `functions` are those that the steps call.
    """

    noun: str
    application_id: int
    steps: tuple[Migration, ...]
    recording: str
    write_ahead: bool
    remedy: Callable[[Path], str]
    content_fault: Callable[[sqlite3.Connection], str | None] = lambda connection: None
    functions: Mapping[str, Callable[..., Any]] = field(default_factory=dict)

    @property
    def version(self) -> int:
        """The version this flushcast writes."""
        return len(self.steps)


def with_functions(connection: sqlite3.Connection, schema: Schema) -> sqlite3.Connection:
    """A connection that knows what the steps call."""
    for name, function in schema.functions.items():
        connection.create_function(name, -1, function, deterministic=True)
    return connection


def migrate(connection: sqlite3.Connection, schema: Schema) -> None:
    """Take every step the file lacks, each in one transaction with its record; give back what they freed."""
    with_functions(connection, schema)
    for version, step in enumerate(schema.steps, 1):
        with transaction(connection):
            # Asked inside the lock: another process may have taken the step while we waited.
            if pragma(connection, "user_version") == version - 1:
                for statement in step.statements:
                    connection.execute(statement)
                at = datetime.now(UTC).isoformat(timespec="seconds")
                connection.execute(schema.recording, {"version": version, "name": step.name, "at": at})
                connection.execute(f"PRAGMA application_id = {schema.application_id:d}")
                connection.execute(f"PRAGMA user_version = {version:d}")
    if 4 * pragma(connection, "freelist_count") > pragma(connection, "page_count"):
        with suppress(sqlite3.OperationalError):  # a full disk, or somebody reads: it is only larger then
            connection.execute("VACUUM")


def create_file(path: Path, schema: Schema) -> None:
    """Make an empty database under another name and give it its own when it is whole."""
    path.parent.mkdir(parents=True, exist_ok=True)
    sweep(path.parent)
    part = part_of(path)
    try:
        make_empty(part, mode_in(path.parent))
        with closing(connect(part, "rwc")) as connection:
            migrate(connection, schema)
        place_new(part, path)
    finally:
        remove(part)
