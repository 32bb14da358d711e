"""Single cells: safe to open in a spreadsheet, and read as numbers, answers and words from a list.

A cell that a spreadsheet would take for a formula (one that begins with ``=``, ``+``, ``-``, ``@``, a tab or
a carriage return) is written behind a mark, an apostrophe; reading strips one mark from such cells. A text
that begins with an apostrophe gets the mark too, so every text comes back as it was; so does an empty text,
which is then not the same as nothing.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import ParamSpec, TypeVar

from data_sources.disk.whole_files import write_output
from phenology.language.words import near_words
from phenology.model.errors import InputError

P = ParamSpec("P")
T = TypeVar("T")
MARK = "'"
_NEEDS_MARK = ("=", "+", "-", "@", "\t", "\r", MARK)
_NEEDS_QUOTES = re.compile('[,"\\r\\n]').search
_YES_NO = dict.fromkeys(("yes", "y", "true", "1", "x"), True) | dict.fromkeys(
    ("no", "n", "false", "0"), False
)


def mark(text: str) -> str:
    """A text as it is written to a cell.

    >>> mark("=1+1"), mark("'90s pot"), mark("firm")
    ("'=1+1", "''90s pot", 'firm')
    """
    return MARK + text if not text or text.startswith(_NEEDS_MARK) else text


def unmark(text: str) -> str:
    """The text a cell stands for; the inverse of `mark`.

    >>> unmark("'=1+1"), unmark("''90s pot"), unmark("'90s pot")
    ('=1+1', "'90s pot", "'90s pot")
    """
    marked = text == MARK or (text.startswith(MARK) and text[1:].startswith(_NEEDS_MARK))
    return text[1:] if marked else text


def write_csv(
    path: Path, headers: Sequence[str], rows: Iterable[Sequence[str | None]], *, marked: bool = True
) -> int:
    """Write rows, cells marked where needed; returns how many. None is an empty cell."""
    lines = csv_lines(headers, rows, marked=marked)
    write_output(path, "".join(lines).encode("utf-8"))
    return len(lines) - 1


def csv_lines(
    headers: Sequence[str], rows: Iterable[Sequence[str | None]], *, marked: bool = True
) -> list[str]:
    """The lines of a CSV file, column names first."""
    lines = [",".join(map(quoted, headers)) + "\n"]
    for row in rows:
        cells = ["" if cell is None else quoted(mark(cell) if marked else cell) for cell in row]
        lines.append((",".join(cells) or '""') + "\n")  # a lone empty cell would read back as an empty line
    return lines


def quoted(cell: str) -> str:
    """A cell in quotes where it needs them; the csv module leaves a lone carriage return bare."""
    return '"' + cell.replace('"', '""') + '"' if _NEEDS_QUOTES(cell) else cell


def decimal_number(text: str) -> float:
    """A number with a decimal point or comma and any sign for minus; raises `ValueError` if it is none.

    Examples
    --------
    >>> decimal_number("9,3"), decimal_number("−4.5")
    (9.3, -4.5)
    """
    plain = text.strip().replace("−", "-").replace(",", ".")
    if not plain.strip("+-").replace(".", "", 1).isdecimal():
        raise ValueError(text)
    return float(plain)


def number_between(low: float, high: float) -> Callable[[str], float]:
    """A reader of numbers within limits."""

    def read(text: str) -> float:
        try:
            number = decimal_number(text.strip().rstrip("°m "))
        except ValueError:
            number = low - 1
        if not low <= number <= high:
            raise InputError(f"write a number from {low:g} to {high:g}")
        return number

    return read


def yes_or_no(text: str) -> bool:
    """A yes/no cell; raises `InputError` if it is neither."""
    if text.casefold() not in _YES_NO:
        raise InputError("write yes or no")
    return _YES_NO[text.casefold()]


def one_of(*allowed: str) -> Callable[[str], str]:
    """A reader of words from a list."""

    def read(text: str) -> str:
        word = text.strip().casefold()
        if word not in allowed:
            near = near_words(word, {a: a for a in allowed})
            raise InputError(f"write {' or '.join(near or allowed)}")
        return word

    return read


def read_once(read: Callable[P, T]) -> Callable[P, T]:
    """The same reader, which reads each text only once, be it an error."""
    known: dict[object, T | InputError] = {}

    def known_or_read(*asked: P.args, **more: P.kwargs) -> T:
        if asked not in known:
            try:
                known[asked] = read(*asked, **more)
            except InputError as error:
                known[asked] = error
        found = known[asked]
        if isinstance(found, InputError):
            raise found.with_traceback(None)  # which would hold all that was read
        return found

    return known_or_read
