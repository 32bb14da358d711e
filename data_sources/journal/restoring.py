"""Putting a backup in the journal's place: first said, then done, and what was there kept aside."""

from __future__ import annotations

import os
import shutil
from contextlib import closing
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from data_sources.disk.whole_files import make_empty, mode_in, part_of, sync_folder
from data_sources.journal.schema import TABLES, column_names
from data_sources.journal.store import Journal
from data_sources.sqlite.backups import FOLDER, STAMP, newest_good, write_backup
from data_sources.sqlite.connection import LOGS, beside, connect, copy_whole, look, remove
from data_sources.sqlite.errors import plain_errors
from data_sources.sqlite.health import Inspection, inspect
from phenology.model.errors import InputError, StoreCorruptError, StoreError, StoreTooNewError

Tables = dict[str, dict[str, tuple[Any, ...]]]  # the rows of each table by id


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
    tables: dict[str, Difference]
    current_fault: str | None = None
    kept_aside: Path | None = None

    @property
    def nothing_changes(self) -> bool:
        """Whether every table already is as in the backup."""
        return self.current_fault is None and not any(
            d.comes_back or d.goes or d.differs for d in self.tables.values()
        )


def restore(journal: Path, source: Path | None = None, *, dry_run: bool = True) -> Restore:
    """Check a backup and say what it would change; with `dry_run=False`, put it in the journal's place.

    The journal of before, which may be damaged or missing, is kept: as a backup named "before-restore" when
    it is whole, else as it is under another name beside it. By default the newest good backup is taken.

    Raises `StoreError` if there is no backup, or the files cannot be read or written; `StoreCorruptError` if
    the backup itself is damaged; `StoreTooNewError` if the backup, or the journal it would replace, was
    written by a newer flushcast.
    """
    schema = Journal.schema
    if source is None:
        good = newest_good(journal, schema)
        if good is None:
            raise StoreError(f"there is no good backup in {journal.parent / FOLDER}.")
        source = good.path
    if not source.is_file():
        raise StoreError(f"there is no backup {source}.")
    with plain_errors(source, "reading"):
        backup = inspect(source, schema, whole=True)
    if backup.fault is not None:
        raise StoreCorruptError(f"the backup {source} cannot be used: {backup.fault}. Nothing was changed.")
    if backup.version > schema.version:
        raise StoreTooNewError(
            f"the backup {source} was written by a newer flushcast (version {backup.version}, this one reads "
            f"up to {schema.version}). Update flushcast first; nothing was changed."
        )
    if journal.exists() and os.path.samefile(journal, source):
        raise InputError(f"{source} is the journal itself; name a backup.")
    with plain_errors(journal, "restoring", kept="The journal is as it was."):
        there = Inspection(fault="it is missing")
        if journal.exists():
            there = inspect(journal, schema, whole=True)
        if there.fault is None and there.version > schema.version:
            raise StoreTooNewError(
                f"{journal} was written by a newer flushcast; restore with that one. It was left untouched."
            )
        now = None if there.fault else _rows(journal)
        plan = Restore(source, _differences(now, _rows(source)), there.fault)
        if dry_run:
            return plan
        put = _replace_content if there.fault is None else _replace_file
        return replace(plan, kept_aside=put(journal, source))


def _differences(now: Tables | None, then: Tables) -> dict[str, Difference]:
    found = {}
    for table, new in then.items():
        old = (now or {}).get(table, {})
        found[table] = Difference(
            now=None if now is None else len(old),
            then=len(new),
            comes_back=len(new.keys() - old.keys()),
            goes=len(old.keys() - new.keys()),
            differs=sum(new[id] != old[id] for id in new.keys() & old.keys()),
        )
    return found


def _rows(path: Path) -> Tables:
    """Every row of every table by id; an older journal may lack a table or a column."""
    found: Tables = {}
    with closing(look(path)) as connection:
        for table in TABLES:
            has = {row[1] for row in connection.execute(f"PRAGMA table_info({table})")}
            names = [name if name in has else "NULL" for name in column_names(table)]
            query = f"SELECT {', '.join(names)} FROM {table}"
            found[table] = {str(row[0]): row for row in connection.execute(query)} if has else {}
    return found


def _replace_content(journal: Path, source: Path) -> Path | None:
    """Replace all a whole journal holds, in one transaction that begins before the copy kept aside.

    So no other process can save in between, and those that have the journal open see one change.
    """
    aside: list[Path] = []
    with (
        closing(look(source)) as good,
        closing(connect(journal)) as live,
        closing(connect(journal, "ro")) as before,
    ):

        def keep() -> None:
            aside.append(write_backup(before, journal, Journal.schema, why="before-restore"))

        copy_whole(good, live, once_locked=keep)
    return aside[0]


def _replace_file(journal: Path, source: Path) -> Path | None:
    """Put a copy of the backup where a journal is damaged or missing, and keep the damaged one aside."""
    aside = None
    if journal.exists():
        stamp = datetime.now(UTC).strftime(STAMP)
        aside = journal.with_name(f"{journal.stem}-damaged-{stamp}{journal.suffix}")
        for ending in ("", *LOGS):
            if beside(journal, ending).exists():
                shutil.copy2(beside(journal, ending), beside(aside, ending))
    part = part_of(journal)
    try:
        make_empty(part, mode_in(journal.parent))
        with closing(look(source)) as good, closing(connect(part, "rwc")) as whole:
            copy_whole(good, whole)
        for ending in (*LOGS, "-shm"):
            beside(journal, ending).unlink(missing_ok=True)  # the damaged file's log is not the backup's
        part.replace(journal)
        sync_folder(journal.parent)
    finally:
        remove(part)
    return aside
