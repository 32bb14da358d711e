"""CSV files as they come from spreadsheets: encodings, separators, ragged rows, and cells safe to open there.

A cell that a spreadsheet would take for a formula (one that begins with ``=``, ``+``, ``-``, ``@``, a tab or
a carriage return) is written behind a mark, an apostrophe; reading strips one mark from such cells. A text
that begins with an apostrophe gets the mark too, so every text comes back as it was; so does an empty text,
which is then not the same as nothing.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from phenology.model.errors import InputError

MARK = "'"
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
_NEEDS_MARK = (*_FORMULA, MARK)


@dataclass(frozen=True)
class Problem:
    """One cell or row that cannot be used: where, what was read, what to write instead."""

    file: str
    line: int | None
    column: str | None
    read: str | None
    advice: str

    def __str__(self) -> str:
        where = self.file
        where += f", line {self.line}" if self.line is not None else ""
        where += f", column {self.column}" if self.column else ""
        read = f"read '{self.read}'; " if self.read is not None else ""
        return f"{where}: {read}{self.advice}"


@dataclass(frozen=True)
class CsvTable:
    """A CSV file: its headers and its rows of text, each with the line it stands on."""

    file: str
    headers: tuple[str, ...]
    rows: tuple[tuple[int, dict[str, str]], ...]
    problems: tuple[Problem, ...] = field(default=())

    def column(self, name: str) -> list[str]:
        """All texts of a column, empty ones left out."""
        return [row[name] for _, row in self.rows if row.get(name)]


class BadRowsError(InputError):
    """Rows of a file that cannot be used; nothing of the file was taken."""

    def __init__(self, problems: Sequence[Problem], *, most: int = 30, what: str = "rows") -> None:
        self.problems = tuple(problems)
        shown = [str(problem) for problem in self.problems[:most]]
        if len(self.problems) == 1:
            super().__init__(f"{shown[0]}. Nothing was changed.")
            return
        more = len(self.problems) - len(shown)
        lines = "\n  ".join(shown + ([f"... and {more} more"] if more > 0 else []))
        super().__init__(f"{len(self.problems)} {what} cannot be read; nothing was changed.\n  {lines}")


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


def write_csv(path: Path, headers: Sequence[str], rows: Iterable[Sequence[str | None]]) -> int:
    """Write rows, cells marked where needed; returns how many. None is an empty cell."""
    count = 0
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write(",".join(map(_quoted, headers)) + "\n")
        for row in rows:
            # A lone empty cell would read back as an empty line.
            cells = ["" if cell is None else _quoted(mark(cell)) for cell in row]
            file.write((",".join(cells) or '""') + "\n")
            count += 1
    return count


def _quoted(cell: str) -> str:
    """A cell in quotes where it needs them; the csv module leaves a lone carriage return bare."""
    return '"' + cell.replace('"', '""') + '"' if any(c in cell for c in ',"\r\n') else cell


def read_csv(path: Path, *, raw: bool = False) -> CsvTable:
    """Read a CSV file whatever wrote it.

    UTF-8 with or without a byte-order mark, UTF-16 with one, else Windows-1252; separated by comma, semicolon
    or tab, whichever the header line holds most of. Empty rows are passed over; short rows end in empty
    cells; cells beyond the last header are a problem unless empty. Headers are compared without case. Cells
    come without marks and outer spaces, or with `raw` exactly as they stand.

    Raises
    ------
    InputError
        If the file cannot be read, is empty, or names a column twice.
    """
    text = _text(path)
    name = path.name
    head = next((line for line in text.splitlines() if line.strip()), "")
    if not head:
        raise InputError(f"{name} is empty; its first line should name the columns")
    separator = max(",;\t", key=head.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    headers: tuple[str, ...] | None = None
    rows: list[tuple[int, dict[str, str]]] = []
    problems: list[Problem] = []
    line = 0
    try:
        for cells in reader:
            first, line = line + 1, reader.line_num
            values = [unmark(cell.strip(" \u00a0")) for cell in cells]
            if not any(values):
                continue
            if headers is None:
                headers = _headers(values, name)
                continue
            if raw:
                values = cells
            if any(values[len(headers) :]):
                advice = (
                    f"{len(values)} cells under {len(headers)} headers; quote cells that hold '{separator}'"
                )
                problems.append(Problem(name, first, None, None, advice))
                continue
            values += [""] * (len(headers) - len(values))
            rows.append((first, dict(zip(headers, values, strict=False))))
    except csv.Error as error:
        raise InputError(f"{name}, line {line + 1}: this is not a CSV row ({error})") from None
    assert headers is not None
    return CsvTable(name, headers, tuple(rows), tuple(problems))


def _headers(values: list[str], name: str) -> tuple[str, ...]:
    while values and not values[-1]:
        values.pop()
    headers = tuple(" ".join(value.casefold().split()) or f"column {n}" for n, value in enumerate(values, 1))
    twice = sorted({h for h in headers if headers.count(h) > 1})
    if twice:
        raise InputError(f"{name} has two columns called '{twice[0]}'; rename one")
    return headers


def _text(path: Path) -> str:
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        raise InputError(f"there is no file {path}") from None
    except IsADirectoryError:
        raise InputError(f"{path} is a folder, not a CSV file") from None
    except OSError as error:
        raise InputError(f"{path} cannot be read: {(error.strerror or str(error)).lower()}") from None
    utf16 = raw[:2] in (b"\xff\xfe", b"\xfe\xff")
    for encoding in ["utf-16"] if utf16 else ["utf-8-sig", "cp1252"]:
        try:
            text = raw.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\x00" in text and encoding == "cp1252":  # any bytes decode in it; a picture has NULs
            break
        return text
    raise InputError(f"{path.name} is not a text file; save it as CSV (UTF-8)")
