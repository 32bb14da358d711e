"""What no command foresaw, as one sentence; what a developer needs of it goes to a file, nothing private."""

from __future__ import annotations

import os
import platform
import sys
import tempfile
import traceback
from pathlib import Path

from phenology.model.errors import FlushcastError, UnknownNameError
from reports.cli.common import shown

ROOT = Path(__file__).resolve().parent.parent.parent
LISTED = {  # what shows the names, where none is near to what was typed
    "tree, species or place": "What there is: flushcast tree list",
    "tree": "What there is: flushcast tree list",
    "species": "Those known: flushcast species; any other goes by its Latin name",
}


def in_one_sentence(error: Exception) -> str:
    """What to tell the grower of an error that ended a command."""
    if isinstance(error, UnknownNameError) and not error.near and error.what in LISTED:
        return shown(f"{error} {LISTED[error.what]}")
    if isinstance(error, FlushcastError):
        return shown(str(error))
    if isinstance(error, OSError):
        where = f" ({error.filename})" if error.filename else ""
        return shown(
            f"{(error.strerror or str(error)).capitalize()}{where}. A change that was told is saved."
        )
    if isinstance(error, MemoryError):
        return "there is not enough memory for this. What was saved before is untouched."
    kept = _written(error)
    said = f"something unexpected went wrong ({type(error).__name__}); the garden is as it was."
    return f"{said} A report without private data is in {kept}." if kept else said


def _written(error: Exception) -> Path | None:
    """The report of an error in a new file, where one can be written."""
    try:
        handle, name = tempfile.mkstemp(prefix="flushcast-report-", suffix=".txt")
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(report_of(error))
    except OSError:
        return None
    return Path(name)


def report_of(error: Exception) -> str:
    """Kind of the error and where in the program it came up; neither its words nor any value of the garden.

    Messages, arguments and local variables may hold names, notes and places, so none is told; nor is a path
    outside the program.
    """
    lines = [
        f"flushcast on Python {platform.python_version()}, {sys.platform}",
        *(f"{type(one).__module__}.{type(one).__name__}" for one in _chain(error)),
    ]
    for frame in traceback.extract_tb(error.__traceback__)[-60:]:
        file = Path(frame.filename)
        inside = file.is_relative_to(ROOT)
        lines.append(
            f"  {file.relative_to(ROOT).as_posix() if inside else file.name}:{frame.lineno} {frame.name}"
        )
    return "\n".join(lines) + "\n"


def _chain(error: BaseException | None) -> list[BaseException]:
    found: list[BaseException] = []
    while error is not None and error not in found:
        found.append(error)
        error = error.__cause__ or error.__context__
    return found
