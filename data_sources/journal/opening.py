"""From a path to a file that may be trusted: made whole, refused untouched, upgraded, checked."""

from __future__ import annotations

import os
import sqlite3
import time
from contextlib import closing, suppress
from pathlib import Path

from data_sources.journal import backup as backups
from data_sources.journal import health, migrations
from data_sources.journal.connection import connect, plain_errors
from data_sources.journal.folders import why_not_shared_memory
from phenology.model.errors import StoreCorruptError, StoreError, StoreTooNewError


def refuse_where_backups_are(path: Path) -> None:
    """A journal that is gone but has backups is to be restored, not begun anew."""
    if backups.list_backups(path):
        raise StoreError(
            f"the journal {path} is missing but has backups in {path.parent / backups.FOLDER}: "
            "'flushcast restore' shows what the newest would bring back."
        )


def create_file(path: Path) -> None:
    """Make an empty journal under another name and give it its own when it is whole."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with closing(connect(part, mode="rwc")) as connection:
            connection.execute(f"PRAGMA application_id = {migrations.APPLICATION_ID}")
            migrations.apply_steps(connection)
        place_new(part, path)
    finally:
        with suppress(FileNotFoundError):
            part.unlink()


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
    backups.sync_folder(path.parent)
    return True


def refuse_what_cannot_be_used(path: Path) -> None:
    """Look at the file without opening it as a database, so that what is refused stays untouched."""
    header = health.read_header(path)
    for _ in range(3):
        if header.fault is None:
            break
        time.sleep(0.02)  # another process may be between two steps of growing the file
        header = health.read_header(path)
    if header.fault is not None:
        raise StoreCorruptError(backups.damage(path, header.fault))
    version, application = header.version, header.application
    if health.log_beside(path):  # the newest header may still be in the log
        with closing(connect(path, mode="ro")) as looking:
            version = migrations.version_of(looking)
            application = looking.execute("PRAGMA application_id").fetchone()[0]
    if application == migrations.APPLICATION_ID and 0 < version <= migrations.newest_version():
        return
    with closing(connect(path, mode="ro", immutable=not health.log_beside(path))) as looking:
        recorded = _recorded_version(looking)
    if application != migrations.APPLICATION_ID and recorded is None:
        raise StoreError(f"{path} is not a flushcast journal; it was left untouched.")
    if application == migrations.APPLICATION_ID:
        refuse_newer(path, version)
    raise StoreCorruptError(backups.damage(path, "its header is not that of a journal"))


def _recorded_version(connection: sqlite3.Connection) -> int | None:
    """The version the migration records speak of; None where there are none."""
    try:
        version: int | None = connection.execute("SELECT max(version) FROM migration").fetchone()[0]
    except sqlite3.OperationalError as error:
        if "no such" in str(error):
            return None
        raise
    return version


def refuse_newer(path: Path, version: int) -> None:
    """Leave a journal of a newer flushcast alone."""
    if version > migrations.newest_version():
        raise StoreTooNewError(
            f"{path} was written by a newer flushcast (version {version}, this one reads up to "
            f"{migrations.newest_version()}). It was left untouched; update flushcast."
        )


def choose_log(connection: sqlite3.Connection, path: Path, warnings: list[str]) -> None:
    """The write-ahead log, or the rollback mode and a warning where the folder does not suit it."""
    unfit = why_not_shared_memory(path.parent)
    if unfit is not None:
        warnings.append(
            f"the garden {unfit}: the journal uses its slower safe mode. "
            "Let one device write at a time, and wait until it is synced."
        )
    (mode,) = connection.execute("PRAGMA journal_mode").fetchone()
    wanted = "wal" if unfit is None else "delete"
    if mode != wanted:
        # When somebody has the journal open this waits for the next time; both modes are safe here.
        with suppress(sqlite3.OperationalError):
            connection.execute(f"PRAGMA journal_mode = {wanted}").fetchone()


def upgrade(connection: sqlite3.Connection, path: Path) -> None:
    """Take the steps the journal lacks, after a backup."""
    version = migrations.version_of(connection)
    if version >= migrations.newest_version():
        return
    if _recorded_version(connection) != version:
        raise StoreCorruptError(backups.damage(path, "its version is not the one it was brought to"))
    saved = backups.write_backup(connection, path, why=f"before-v{migrations.newest_version()}")
    kept = f"The journal is as it was, and a backup is in {saved}."
    with plain_errors(path, "upgrading", kept=kept):
        migrations.apply_steps(connection)


def check_on_opening(connection: sqlite3.Connection, path: Path) -> None:
    """As deep a check as the size of the file allows in an instant."""
    size = path.stat().st_size
    if size > health.QUICK_UP_TO:
        return
    fault = health.fault_in(connection, depth="deep" if size <= health.DEEP_UP_TO else "quick")
    if fault is not None:
        raise StoreCorruptError(backups.damage(path, fault))
