"""Copies of the journal: made through SQLite's own backup call, checked, thinned, restored."""

from __future__ import annotations

import os
import re
import shutil
import sqlite3
from collections.abc import Sequence
from contextlib import closing, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from data_sources.journal.connection import connect, copy_whole, file_uri, plain_errors, roll_back
from data_sources.journal.health import QUICK_UP_TO, fault_in, read_header
from data_sources.journal.migrations import APPLICATION_ID, newest_version
from data_sources.journal.schema import TABLES, column_names
from phenology.errors import InputError, StoreCorruptError, StoreError, StoreTooNewError

FOLDER = "backups"
EVERY = timedelta(hours=20)  # a rolling backup before the first change of a day
_STAMP = "%Y%m%dT%H%M%S%fZ"
_NAME = re.compile(r"journal-(\d{8}T\d{12}Z)(?:-([a-z0-9-]+))?\.sqlite")


@dataclass(frozen=True)
class Backup:
    """A backup file: when it was taken, and why if not by routine ("before-v2", "before-restore")."""

    path: Path
    at: datetime
    why: str | None = None


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


def list_backups(journal: Path) -> list[Backup]:
    """The backups in the folder beside the journal, newest first. Files are only named, not opened."""
    found = []
    with suppress(OSError):
        for path in (journal.parent / FOLDER).iterdir():
            if match := _NAME.fullmatch(path.name):
                at = datetime.strptime(match[1], _STAMP).replace(tzinfo=UTC)
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
    with closing(_looking(path)) as connection:
        return fault_in(connection, depth=depth)


def _looking(path: Path) -> sqlite3.Connection:
    """A connection that leaves the file and its folder as they are, unless a log must be read too."""
    return connect(path, mode="ro", immutable=not _has_log(path))


def _has_log(path: Path) -> bool:
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
            name = f"journal-{datetime.now(UTC).strftime(_STAMP)}{'-' + why if why else ''}.sqlite"
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
    with closing(_looking(path)) as connection:
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
        live.execute("ATTACH ? AS good", (file_uri(source, immutable=not _has_log(source)),))
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
        stamp = datetime.now(UTC).strftime(_STAMP)
        aside = journal.with_name(f"{journal.stem}-damaged-{stamp}{journal.suffix}")
        logs = [e for e in ("-wal", "-journal") if journal.with_name(journal.name + e).exists()]
        for ending in ("", *logs):
            shutil.copy2(journal.with_name(journal.name + ending), aside.with_name(aside.name + ending))
    part = journal.with_name(f".{journal.name}.{os.getpid()}.part")
    with closing(_looking(source)) as good, closing(connect(part, mode="rwc")) as whole:
        copy_whole(good, whole, source)
    for ending in ("-wal", "-shm", "-journal"):
        with suppress(FileNotFoundError):
            journal.with_name(journal.name + ending).unlink()  # the damaged file's log is not the backup's
    part.replace(journal)
    sync_folder(journal.parent)
    return aside
