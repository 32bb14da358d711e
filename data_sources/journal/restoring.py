"""Putting a backup in the journal's place: first said, then done, and what was there kept aside."""

from __future__ import annotations

import os
import shutil
from contextlib import closing, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from data_sources.journal.backup import (
    FOLDER,
    STAMP,
    fault_of_file,
    has_log,
    looking,
    newest_good,
    sync_folder,
    write_backup,
)
from data_sources.journal.connection import connect, copy_whole, file_uri, plain_errors, roll_back
from data_sources.journal.health import read_header
from data_sources.journal.migrations import newest_version
from data_sources.journal.schema import TABLES, column_names
from phenology.model.errors import InputError, StoreCorruptError, StoreError, StoreTooNewError


@dataclass(frozen=True)
class Difference:
    """What a restore does to one table: rows now (None: unreadable), rows after, and how many differ."""

    now: int | None
    then: int
    comes_back: int
    goes: int
    differs: int


@dataclass(frozen=True)
class Restore:
    """What a restore would do, or did. `kept_aside` is where the journal of before now lies."""

    source: Path
    version: int
    tables: dict[str, Difference]
    current_fault: str | None = None
    kept_aside: Path | None = None
    done: bool = field(default=False)

    @property
    def nothing_changes(self) -> bool:
        """Whether every table already is as in the backup."""
        return self.current_fault is None and not any(
            d.comes_back or d.goes or d.differs for d in self.tables.values()
        )


def restore(journal: Path, source: Path | None = None, *, dry_run: bool = True) -> Restore:
    """Check a backup and say what it would change; with `dry_run=False`, put it in the journal's place.

    The journal of before is kept: as a backup named "before-restore" when it is whole, else as it is under
    another name beside it. Nothing is touched by a dry run.

    Parameters
    ----------
    journal : Path
        The garden's journal; it may be damaged or missing.
    source : Path, optional
        The backup; default: the newest good one.
    dry_run : bool
        Only look.

    Raises
    ------
    StoreError
        If there is no backup, or the files cannot be read or written.
    StoreCorruptError
        If the backup itself is damaged.
    StoreTooNewError
        If the backup, or the journal it would replace, was written by a newer flushcast.
    """
    checked = source is None
    if source is None:
        good = newest_good(journal)
        if good is None:
            raise StoreError(f"there is no good backup in {journal.parent / FOLDER}.")
        source = good.path
    version = _version_of_source(source, checked=checked)
    if journal.exists() and os.path.samefile(journal, source):
        raise InputError(f"{source} is the journal itself; name a backup.")
    fault = fault_of_file(journal) if journal.exists() else "it is missing"
    if fault is None and read_header(journal).version > newest_version():
        raise StoreTooNewError(
            f"{journal} was written by a newer flushcast; restore with that one. It was left untouched."
        )
    with plain_errors(journal, "restoring", kept="The journal is as it was."):
        tables = _differences(None if fault else journal, source)
        plan = Restore(source, version, tables, fault)
        if dry_run:
            return plan
        aside = _put_in_place(journal, source, damaged=fault is not None)
    return Restore(source, version, tables, fault, aside, done=True)


def _version_of_source(source: Path, *, checked: bool) -> int:
    if not source.is_file():
        raise StoreError(f"there is no backup {source}.")
    with plain_errors(source, "reading"):
        header = read_header(source)
    fault = None if checked else fault_of_file(source)
    if fault is not None:
        raise StoreCorruptError(f"the backup {source} cannot be used: {fault}. Nothing was changed.")
    if header.version > newest_version():
        raise StoreTooNewError(
            f"the backup {source} was written by a newer flushcast (version {header.version}, this one reads "
            f"up to {newest_version()}). Update flushcast first; nothing was changed."
        )
    return header.version


def _differences(journal: Path | None, source: Path) -> dict[str, Difference]:
    then = _rows(source)
    now = None if journal is None else _rows(journal)
    found = {}
    for table in TABLES:
        new, old = then[table], {} if now is None else now[table]
        found[table] = Difference(
            now=None if now is None else len(old),
            then=len(new),
            comes_back=len(new.keys() - old.keys()),
            goes=len(old.keys() - new.keys()),
            differs=sum(new[id] != old[id] for id in new.keys() & old.keys()),
        )
    return found


def _rows(path: Path) -> dict[str, dict[str, tuple[object, ...]]]:
    """Every row of every table by id; an older journal may lack a table or a column."""
    with closing(looking(path)) as connection:
        found: dict[str, dict[str, tuple[object, ...]]] = {}
        for table in TABLES:
            has = {row[1] for row in connection.execute(f"PRAGMA table_info({table})")}
            names = [name if name in has else "NULL" for name in column_names(table)]
            query = f"SELECT {', '.join(names)} FROM {table}"
            found[table] = {str(row[0]): row for row in connection.execute(query)} if has else {}
        return found


def _replace_content(journal: Path, source: Path) -> Path:
    """Replace all a whole journal holds, in one transaction that begins before the copy kept aside.

    So no other process can save in between, and those that have the journal open see one change.
    """
    with closing(connect(journal)) as live, closing(connect(journal, mode="ro")) as before:
        live.execute("PRAGMA foreign_keys = OFF")
        live.execute("ATTACH ? AS good", (file_uri(source, immutable=not has_log(source)),))
        live.execute("BEGIN IMMEDIATE")
        try:
            aside = write_backup(before, journal, why="before-restore")
            listed = "SELECT type, name, sql FROM {0}.sqlite_master WHERE name NOT LIKE 'sqlite_%'"
            for kind, name, _ in live.execute(listed.format("main")).fetchall():
                if kind == "table":
                    live.execute(f"DROP TABLE main.{name}")  # with its indexes and triggers
            objects = live.execute(listed.format("good")).fetchall()
            for kind, name, sql in sorted(objects, key=lambda o: o[0] != "table"):
                live.execute(sql)
                if kind == "table":
                    live.execute(f"INSERT INTO main.{name} SELECT * FROM good.{name} ORDER BY rowid")
            live.execute("DELETE FROM main.sqlite_sequence")
            live.execute("INSERT INTO main.sqlite_sequence SELECT * FROM good.sqlite_sequence")
            (version,) = live.execute("PRAGMA good.user_version").fetchone()
            live.execute(f"PRAGMA main.user_version = {version:d}")
            live.execute("COMMIT")
        finally:
            roll_back(live)
    return aside


def _put_in_place(journal: Path, source: Path, *, damaged: bool) -> Path | None:
    if not damaged:
        return _replace_content(journal, source)
    aside = None
    if journal.exists():
        stamp = datetime.now(UTC).strftime(STAMP)
        aside = journal.with_name(f"{journal.stem}-damaged-{stamp}{journal.suffix}")
        logs = [e for e in ("-wal", "-journal") if journal.with_name(journal.name + e).exists()]
        for ending in ("", *logs):
            shutil.copy2(journal.with_name(journal.name + ending), aside.with_name(aside.name + ending))
    part = journal.with_name(f".{journal.name}.{os.getpid()}.part")
    with closing(looking(source)) as good, closing(connect(part, mode="rwc")) as whole:
        copy_whole(good, whole, source)
    for ending in ("-wal", "-shm", "-journal"):
        with suppress(FileNotFoundError):
            journal.with_name(journal.name + ending).unlink()  # the damaged file's log is not the backup's
    part.replace(journal)
    sync_folder(journal.parent)
    return aside
