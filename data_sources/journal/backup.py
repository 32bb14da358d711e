"""Copies of the journal: made through SQLite's own backup call, checked, thinned."""

from __future__ import annotations

import os
import re
import sqlite3
from collections.abc import Sequence
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from data_sources.journal.connection import connect, copy_whole, plain_errors
from data_sources.journal.health import QUICK_UP_TO, fault_in, read_header
from data_sources.journal.migrations import APPLICATION_ID, newest_version
from phenology.model.errors import StoreCorruptError, StoreError

FOLDER = "backups"
EVERY = timedelta(hours=20)  # a rolling backup before the first change of a day
STAMP = "%Y%m%dT%H%M%S%fZ"
_NAME = re.compile(r"journal-(\d{8}T\d{12}Z)(?:-([a-z0-9-]+))?\.sqlite")


@dataclass(frozen=True)
class Backup:
    """A backup file: when it was taken, and why if not by routine ("before-v2", "before-restore")."""

    path: Path
    at: datetime
    why: str | None = None


def list_backups(journal: Path) -> list[Backup]:
    """The backups in the folder beside the journal, newest first. Files are only named, not opened."""
    found = []
    with suppress(OSError):
        for path in (journal.parent / FOLDER).iterdir():
            if match := _NAME.fullmatch(path.name):
                at = datetime.strptime(match[1], STAMP).replace(tzinfo=UTC)
                found.append(Backup(path, at, match[2]))
    return sorted(found, key=lambda b: (b.at, b.path.name), reverse=True)


def newest_good(journal: Path) -> Backup | None:
    """The newest backup that passes the full check."""
    return next((b for b in list_backups(journal) if fault_of_file(b.path) is None), None)


def fault_of_file(path: Path) -> str | None:
    """What is wrong with a journal or backup file, every cell checked; None when nothing is."""
    for _ in range(3):
        try:
            before = path.stat()
            fault = _fault_of_file(path)
            after = path.stat()
        except (sqlite3.Error, OSError) as error:
            return str(error)
        if fault is None or (before.st_mtime_ns, before.st_size) == (after.st_mtime_ns, after.st_size):
            break  # else somebody wrote to it while it was read
    return fault


def _fault_of_file(path: Path) -> str | None:
    header = read_header(path)
    if header.fault:
        return header.fault
    if header.application != APPLICATION_ID:
        return "it is not a journal"
    # The tables of another version are not known here: only SQLite's own check can speak.
    depth = "deep" if header.version == newest_version() else "quick"
    with closing(looking(path)) as connection:
        return fault_in(connection, depth=depth)


def looking(path: Path) -> sqlite3.Connection:
    """A connection that leaves the file and its folder as they are, unless a log must be read too."""
    return connect(path, mode="ro", immutable=not has_log(path))


def has_log(path: Path) -> bool:
    return path.with_name(path.name + "-wal").exists() or path.with_name(path.name + "-journal").exists()


def damage(journal: Path, fault: str) -> str:
    """The sentence for a damaged journal: what is wrong, that it is kept, which backup is good."""
    said = f"{journal} is damaged ({fault}); it is kept as it is. "
    good = newest_good(journal)
    if good is None:
        return said + f"No good backup was found in {journal.parent / FOLDER}."
    return said + (
        f"The newest good backup is {good.path}, of {good.at:%Y-%m-%d %H:%M} UTC: "
        "'flushcast restore' shows what it would bring back."
    )


def write_backup(
    connection: sqlite3.Connection,
    journal: Path,
    to: Path | None = None,
    *,
    why: str | None = None,
    deep: bool = True,
) -> Path:
    """Copy an open journal to a file and check the copy.

    Parameters
    ----------
    connection : sqlite3.Connection
        Open on the journal, outside any transaction.
    journal : Path
        The journal's file; the `backups` folder stands beside it.
    to : Path, optional
        Where to write, a new file (or an existing folder); default: a dated name in `backups`.
    why : str, optional
        A few lower-case words for the file's name; such a backup is never thinned away.
    deep : bool
        Check every cell, not only what SQLite's quick check sees.

    Returns
    -------
    Path
        The finished backup. It appears under this name only when whole and checked.

    Raises
    ------
    StoreError
        If it cannot be written, or `to` exists.
    StoreCorruptError
        If the journal itself does not pass the check.
    """
    path = journal.parent / FOLDER if to is None else to
    with plain_errors(path, "writing the backup", kept="The journal is unchanged."):
        if to is None:
            path.mkdir(exist_ok=True)
        if path.is_dir():
            name = f"journal-{datetime.now(UTC).strftime(STAMP)}{'-' + why if why else ''}.sqlite"
            path = path / name
        if path.exists():
            raise StoreError(f"{path} exists already; name a new file for the backup.")
        part = path.with_name(f".{path.name}.{os.getpid()}.part")
        try:
            with closing(connect(part, mode="rwc")) as copy:
                copy_whole(connection, copy, journal)
                copy.execute("PRAGMA journal_mode = DELETE")
                deep = deep and copy.execute("PRAGMA user_version").fetchone()[0] == newest_version()
                fault = fault_in(copy, depth="deep" if deep else "quick")
            if fault is not None:
                raise StoreCorruptError(damage(journal, fault))
            part.replace(path)
            sync_folder(path.parent)
        finally:
            for ending in ("", "-journal", "-wal", "-shm"):
                with suppress(OSError):
                    part.with_name(part.name + ending).unlink()
    return path


def rolling_backup(connection: sqlite3.Connection, journal: Path) -> Path | None:
    """A backup by routine, when the last one is old enough; then the oldest are thinned out."""
    backups = list_backups(journal)
    if backups and datetime.now(UTC) - backups[0].at < EVERY:
        return None
    # In a journal of many thousand looks the deep check takes seconds, and the grower stands at the bench.
    path = write_backup(connection, journal, deep=journal.stat().st_size <= QUICK_UP_TO)
    thin(journal)
    return path


def thin(journal: Path) -> list[Path]:
    """Remove routine backups that `spaced` does not keep; returns what was removed."""
    backups = [b for b in list_backups(journal) if b.why is None]
    keep = spaced([b.at for b in backups])
    removed = []
    for backup in backups:
        if backup.at not in keep:
            with suppress(OSError):
                backup.path.unlink()
                removed.append(backup.path)
    for part in (journal.parent / FOLDER).glob(".journal-*.part*"):
        with suppress(OSError):  # left by a backup that was killed long ago
            if datetime.now(UTC).timestamp() - part.stat().st_mtime > 86400:
                part.unlink()
    return removed


def spaced(times: Sequence[datetime], *, newest: int = 10) -> set[datetime]:
    """Which backups to keep: the newest few, and the last of each month.

    >>> daily = [datetime(2025, 1, 1, tzinfo=UTC) + timedelta(days=d) for d in range(365)]
    >>> kept = sorted(spaced(daily))
    >>> len(kept), kept[0].date().isoformat(), kept[-1].date().isoformat()
    (21, '2025-01-31', '2025-12-31')
    """
    ordered = sorted(times, reverse=True)
    last_of_month: dict[tuple[int, int], datetime] = {}
    for time in ordered:
        last_of_month.setdefault((time.year, time.month), time)
    return {*ordered[:newest], *last_of_month.values()}


def sync_folder(folder: Path) -> None:
    """Make a rename in the folder survive a power cut, where the system can."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
