"""What SQLite or the system raises, as one sentence that says what the grower may rely on."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from phenology.model.errors import StoreCorruptError, StoreError, StoreLockedError

_LOCKED = {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}
_DAMAGED = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}
_DAMAGE_WITHOUT_CODE = ("Could not decode", "unsupported file format", "malformed database schema")
_REASONS = {
    sqlite3.SQLITE_FULL: "the disk is full",
    sqlite3.SQLITE_READONLY: "the file or its folder is read-only",
    sqlite3.SQLITE_CANTOPEN: "the file or its folder cannot be opened or written",
    sqlite3.SQLITE_IOERR: "the disk did not take or give the data (full, unplugged or failing)",
}
# These say nothing of what the file holds.
_ENVIRONMENT = {*_LOCKED, *_REASONS, sqlite3.SQLITE_INTERRUPT, sqlite3.SQLITE_NOMEM, sqlite3.SQLITE_PERM}


def fault_behind(error: Exception) -> str:
    """What an error says of the file when it was met while checking it; raised again when it says nothing."""
    if getattr(error, "sqlite_errorcode", sqlite3.SQLITE_CORRUPT) & 0xFF in _ENVIRONMENT:
        raise error
    return str(error)


def damaged(path: Path, fault: str, remedy: str = "") -> StoreCorruptError:
    """The error for a damaged file: what is wrong, that it is kept, what to do."""
    return StoreCorruptError(f"{path} is damaged ({fault}); it is kept as it is. {remedy}".rstrip())


@contextmanager
def plain_errors(
    path: Path,
    doing: str,
    *,
    kept: str = "Nothing was changed.",
    remedy: Callable[[Path], str] = lambda path: "",
) -> Iterator[None]:
    """Turn what SQLite or the system raises into one clear sentence.

    `doing` says what could not be done to the file at `path` ("saving to", "reading"), `kept` what the grower
    may rely on after the failure, `remedy` what to do when the file is damaged.
    """
    try:
        yield
    except UnicodeDecodeError as error:  # SQLite names what it cannot read, and the name is broken too
        raise damaged(path, "its tables cannot be read", remedy(path)) from error
    except OSError as error:
        why = error.strerror or str(error)
        raise StoreError(f"{doing} {path} failed: {why[:1].lower()}{why[1:]}. {kept}") from error
    except sqlite3.Error as error:
        code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & 0xFF
        if code in _LOCKED:
            writer = "another flushcast, or a syncing program, is writing"
            raise StoreLockedError(f"{path} is in use: {writer}. {kept} Try again in a moment.") from error
        if code in _DAMAGED or str(error).startswith(_DAMAGE_WITHOUT_CODE):
            raise damaged(path, str(error), remedy(path)) from error
        more = " Make room and try again." if code == sqlite3.SQLITE_FULL else ""
        raise StoreError(f"{doing} {path} failed: {_REASONS.get(code, error)}. {kept}{more}") from error
