"""Copies of a database: made through SQLite's own backup call, checked, thinned."""

from __future__ import annotations

import re
import sqlite3
import stat
from collections.abc import Sequence
from contextlib import closing, suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import NamedTuple

from data_sources.disk.whole_files import make_empty, part_of, sweep, sync_folder
from data_sources.sqlite.connection import connect, copy_whole, pragma, remove
from data_sources.sqlite.errors import damaged, plain_errors
from data_sources.sqlite.health import fault_in, inspect
from data_sources.sqlite.schema import Schema
from phenology.model.errors import StoreError

FOLDER = "backups"
EVERY = timedelta(hours=20)  # a rolling backup before the first change of a day
STAMP = "%Y%m%dT%H%M%S%fZ"


class Backup(NamedTuple):
    """A backup file: when it was taken, and why if not by routine ("before-v2", "before-restore")."""

    path: Path
    at: datetime
    why: str | None = None


def list_backups(path: Path) -> list[Backup]:
    """The backups in the folder beside a database, newest first. Files are only named, not opened."""
    name = re.compile(re.escape(path.stem) + r"-(\d{8}T\d{12}Z)(?:-([a-z0-9-]+))?\.sqlite")
    found = []
    with suppress(OSError):
        for file in (path.parent / FOLDER).iterdir():
            if match := name.fullmatch(file.name):
                at = datetime.strptime(match[1], STAMP).replace(tzinfo=UTC)
                found.append(Backup(file, at, match[2]))
    return sorted(found, key=lambda b: (b.at, b.path.name), reverse=True)


def newest_good(path: Path, schema: Schema) -> Backup | None:
    """The newest backup that passes the check."""
    for backup in list_backups(path):
        with suppress(sqlite3.Error, OSError):
            if inspect(backup.path, schema, whole=True).fault is None:
                return backup
    return None


def write_backup(
    connection: sqlite3.Connection,
    path: Path,
    schema: Schema,
    to: Path | None = None,
    *,
    why: str | None = None,
) -> Path:
    """Copy the open database at `path` to a file that appears under its name only when whole and checked.

    `connection` is outside any transaction. `to` is a new file, or a folder; by default a dated name in
    `backups` beside the database, with a few lower-case words of `why`: such a backup is never thinned away.
    Raises `StoreError` if it cannot be written or is there; `StoreCorruptError` if the database itself does
    not pass the check.
    """
    target = path.parent / FOLDER if to is None else to
    with plain_errors(target, "writing the backup", kept=f"The {schema.noun} is unchanged."):
        if to is None:
            target.mkdir(exist_ok=True, mode=stat.S_IMODE(path.parent.stat().st_mode))
        if target.is_dir():
            stamp = datetime.now(UTC).strftime(STAMP)
            target /= f"{path.stem}-{stamp}{'-' + why if why else ''}.sqlite"
        if target.exists():
            raise StoreError(f"{target} exists already; name a new file for the backup.")
        sweep(target.parent)
        part = part_of(target)
        try:
            make_empty(part, stat.S_IMODE(path.stat().st_mode))
            with closing(connect(part, "rwc")) as copy:
                copy_whole(connection, copy)
                pragma(copy, "journal_mode = DELETE")
                fault = fault_in(copy, schema)
            if fault is not None:
                raise damaged(path, fault, schema.remedy(path))
            part.replace(target)
            sync_folder(target.parent)
        finally:
            remove(part)
    return target


def rolling_backup(
    connection: sqlite3.Connection, path: Path, schema: Schema, *, newest: int = 10, monthly: bool = True
) -> Path | None:
    """A backup by routine, when the last one is old enough; then the oldest are thinned out, see `spaced`.

    One with a date still to come, of a clock that was wrong, says nothing of when the last was made.
    """
    now = datetime.now(UTC)
    if any(now - EVERY < backup.at <= now for backup in list_backups(path)):
        return None
    made = write_backup(connection, path, schema)
    thin(path, newest=newest, monthly=monthly)
    return made


def thin(path: Path, *, newest: int = 10, monthly: bool = True) -> list[Path]:
    """Remove routine backups that `spaced` does not keep; returns what was removed."""
    backups = [b for b in list_backups(path) if b.why is None]
    keep = spaced([b.at for b in backups if b.at <= datetime.now(UTC)], newest=newest, monthly=monthly)
    keep |= {b.at for b in backups if b.at > datetime.now(UTC)}
    removed = []
    for backup in backups:
        if backup.at not in keep:
            with suppress(OSError):
                backup.path.unlink()
                removed.append(backup.path)
    return removed


def spaced(times: Sequence[datetime], *, newest: int = 10, monthly: bool = True) -> set[datetime]:
    """Which backups to keep: the newest few, and with `monthly` the last of each month.

    >>> daily = [datetime(2025, 1, 1, tzinfo=UTC) + timedelta(days=d) for d in range(365)]
    >>> kept = sorted(spaced(daily))
    >>> len(kept), kept[0].date().isoformat(), kept[-1].date().isoformat()
    (21, '2025-01-31', '2025-12-31')
    """
    ordered = sorted(times)
    last_of_month = {(time.year, time.month): time for time in ordered}
    return {*ordered[-newest:], *(last_of_month.values() if monthly else ())}
