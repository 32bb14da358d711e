"""The file of a database and the logs that SQLite keeps beside it."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

from data_sources.disk.whole_files import sync_folder

LOGS = ("-wal", "-journal")
CHECKED = "-checked"  # our own: when the file was last checked deeply


def beside(path: Path, ending: str) -> Path:
    """The file that SQLite names after the database."""
    return path.with_name(path.name + ending)


def has_log(path: Path) -> bool:
    """Whether a log lies beside the file, so that the file alone may not be all."""
    return any(beside(path, ending).exists() for ending in LOGS)


def state_of(path: Path) -> str:
    """Sizes and times of the file and its logs; it differs once anybody has written."""
    found = []
    for ending in ("", *LOGS):
        with suppress(OSError):
            stat = beside(path, ending).stat()
            if stat.st_size:
                found.append(f"{stat.st_size}.{stat.st_mtime_ns}{ending}")
    return " ".join(found)


def may_write(path: Path) -> bool:
    """Whether both the file and its folder (SQLite keeps its log beside the file) may be written."""
    return os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)


def remove(path: Path) -> None:
    """Delete a database with all that lies beside it under its name, as far as it can be deleted."""
    for ending in ("", *LOGS, "-shm", CHECKED):
        with suppress(OSError):
            beside(path, ending).unlink()


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
    sync_folder(path.parent)
    return True
