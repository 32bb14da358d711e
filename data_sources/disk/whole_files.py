"""The one writer of files: beside its place under another name, then into it; a reader never sees half.

What a writer that was killed leaves behind is swept away by the next one in that folder.
"""

from __future__ import annotations

import json
import os
import re
import stat
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, TypeVar

from phenology.model.errors import FlushcastError, StoreError

T = TypeVar("T")

PRIVATE = 0o600
ABANDONED = 60.0  # seconds: another device, whose processes we cannot ask, may still write a younger part
_PART = re.compile(r"\..+\.(\d+)-\d+\.part(-wal|-shm|-journal|-checked)?")
_DATABASE = b"SQLite format 3\0"
_OWN = re.compile(
    r"garden\.toml|(journal|weather)\.sqlite.*|journal-damaged-.*|(past|issued)_forecasts\.json"
    r"|weather_(corrections|asked)\.json",
    re.IGNORECASE,
)


def part_of(path: Path) -> Path:
    """A name beside the file under which it can be made until it is whole."""
    return path.with_name(f".{path.name}.{os.getpid()}-{threading.get_ident()}.part")


def sweep(folder: Path) -> None:
    """Remove what writers that are gone left half made in a folder."""
    with suppress(OSError):
        for file in os.scandir(folder):
            if (found := _PART.fullmatch(file.name)) and not _runs(int(found[1])):
                with suppress(OSError):
                    if time.time() - file.stat().st_mtime > ABANDONED:
                        os.unlink(file.path)


def _runs(process: int) -> bool:
    if os.name != "posix":  # where to ask is to end it
        return False
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True
    return True


def make_empty(path: Path, mode: int) -> None:
    """An empty new file of a mode: what SQLite makes of it, and keeps beside it, keeps the mode."""
    os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode))
    os.chmod(path, mode)  # whatever the mask of the process


def sync_folder(folder: Path) -> None:
    """Make a rename in the folder survive a power cut, where the system can."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def mode_in(folder: Path) -> int:
    """The mode of a new file of a garden: that of the journal, which may be shared, else the owner's."""
    for beside in (folder, folder.parent):
        for name in ("journal.sqlite", "garden.toml"):
            with suppress(OSError):
                return stat.S_IMODE((beside / name).stat().st_mode) & 0o666
    return PRIVATE


def write_whole(path: Path, data: bytes, *, mode: int | None = None) -> None:
    """Put bytes in a file's place as a whole, lastingly; a linked file stays a link and keeps its mode.

    `mode` is that of a file that is new. Raises `OSError` if the folder is not there, is full or cannot be
    written; what was there stays.
    """
    path = path.resolve()
    with suppress(FileNotFoundError):
        mode = stat.S_IMODE(path.stat().st_mode)
    sweep(path.parent)
    part = part_of(path)
    try:
        handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
        with open(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        if mode is not None:
            os.chmod(part, mode)
        part.replace(path)
        sync_folder(path.parent)
    finally:
        with suppress(OSError):
            part.unlink()


def write_output(path: Path, data: bytes) -> None:
    """Write what the grower asked for into a file, but never over a garden's own files.

    Raises `StoreError` if the file is one of a garden's or no plain file, or cannot be written.
    """
    with _named("cannot write", path):
        _refuse(path)
        write_whole(path, data)


def read_output(path: Path) -> bytes | None:
    """What stands in a file to be written again; None where there is none. Errors as `write_output`."""
    with _named("cannot read", path):
        _refuse(path)
        with suppress(FileNotFoundError):
            return path.read_bytes()
        return None


@contextmanager
def _named(what: str, path: Path) -> Iterator[None]:
    try:
        yield
    except (OSError, RuntimeError, ValueError) as error:  # the last two: a circle of links, a name with a NUL
        raise StoreError(f"{what} {path}: {getattr(error, 'strerror', None) or error}") from None


def _refuse(path: Path) -> None:
    """Raise `StoreError` where a file is no plain one, or one that a garden lives in."""
    target = path.resolve()
    if target.exists() and not target.is_file():
        raise StoreError(f"{path} is not a plain file; name another. Nothing was written.")
    garden = any((target.parent / name).exists() for name in ("journal.sqlite", "garden.toml"))
    own = garden and _OWN.fullmatch(target.name) is not None
    if not own:
        with suppress(FileNotFoundError), target.open("rb") as file:
            own = file.read(len(_DATABASE)) == _DATABASE
    if own:
        raise StoreError(f"{path} belongs to a garden and is not written over; name another file.")


def replace_text(path: Path, text: str | None) -> None:
    """Put a text in the place of a garden's file, as `write_whole` does; None: remove the file."""
    if text is None:
        path.resolve().unlink(missing_ok=True)
    else:
        write_whole(path, text.encode("utf-8"), mode=mode_in(path.parent))


def read_note(path: Path, read: Callable[[Any], T], nothing: T) -> T:
    """What `read` makes of a JSON note beside the journal; `nothing` where there is none or it is no such."""
    try:
        return read(json.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError, KeyError, TypeError, AttributeError, OverflowError, RecursionError):
        return nothing


def write_note(path: Path, content: Any) -> None:
    """Write a JSON note beside the journal, if the folder can be written: nothing depends on it."""
    with suppress(OSError, ValueError, FlushcastError):
        replace_text(path, json.dumps(content))
