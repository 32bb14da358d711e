"""The one way in for tables: from the bytes of a file to rows of text that know their lines.

Encodings, separators, lines before the column names and compressed files are seen to here; what columns and
cells mean is for those who read on. Another file shape needs one more maker of a `TextTable`.
"""

from __future__ import annotations

import csv
import gzip
import io
import zlib
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from data_sources.tables.problems import Problem, TableError

SEPARATORS = ",;\t|"
LARGEST = 1 << 27  # bytes of a table, unpacked; ours
DEEPEST_HEADER = 60  # lines looked through for the column names
_END = "\ue000 the end of the file"  # a line of its own behind the last, unless a quote is open there
MOST_IN_A_CELL = 1_500_000  # calibrations of many species, in a change, stand in one
_CLOSE_IT = "close it, or take it out. Nothing was changed."
MOST_COLUMNS = 16_384  # as many as a spreadsheet can have
HEADERS_LISTED = 60  # in a message; ours
BLANKS = " \t\u00a0"


@dataclass(frozen=True)
class TextTable:
    """Column names and rows of text."""

    file: str
    headers: tuple[str, ...]  # as they stand in the file, none blank
    # where each row begins (the first line of a file is 1), and its cells as they stand: one a header
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    ragged: tuple[tuple[int, tuple[str, ...]], ...] = ()  # those with more cells
    separator: str = ","
    preamble: tuple[str, ...] = ()  # the lines before the column names
    title: str = ""  # what the sheet or the file is called

    @cached_property
    def keys(self) -> tuple[str, ...]:
        """The headers as they are compared: lower case, single spaces.

        Raises `TableError` if two are the same.
        """
        keys = tuple(header_key(header) for header in self.headers)
        twice = next((key for key, times in Counter(keys).items() if times > 1), None)
        if twice is not None:
            raise TableError(f"{self.file} has two columns called '{twice}'; rename one")
        return keys

    @property
    def listed(self) -> str:
        """The headers, for a message; of very many the first."""
        more = len(self.headers) - HEADERS_LISTED
        return ", ".join(self.headers[:HEADERS_LISTED]) + (f" and {more:,} more" if more > 0 else "")

    @property
    def is_one_of_several(self) -> bool:
        """Whether it is one sheet of a workbook with more."""
        return self.file.endswith(f", sheet {self.title}")

    @property
    def problems(self) -> tuple[Problem, ...]:
        """What is wrong with the ragged rows."""
        points = "if commas are decimal points, put semicolons between the columns; else "
        advice = f"{points if self.separator == ',' else ''}quote cells that hold '{self.separator}'"
        width = len(self.headers)
        return tuple(
            self.problem(line, None, f"{len(cells)} cells where the header has {width}", advice)
            for line, cells in self.ragged
        )

    def problem(self, line: int | None, column: int | None, wrong: str, advice: str = "") -> Problem:
        """A problem of a cell, its column given by position, or of a whole row or file."""
        return Problem(self.file, line, None if column is None else self.headers[column], wrong, advice)


def header_key(header: str) -> str:
    """A column name as names are compared."""
    return " ".join(header.casefold().split())


def read_table(path: Path) -> TextTable:
    """Read a table of text whatever wrote it; raises as `read_text` and `split_table` do."""
    return split_table(printable(path.name), read_text(path))


def printable(name: str) -> str:
    """A file's name as UTF-8 can hold it; a name may be any bytes."""
    return name.encode("utf-8", "backslashreplace").decode("utf-8")


def read_text(path: Path) -> str:
    """The text of a file; raises as `read_bytes` and `text_of` do."""
    return text_of(path.name, read_bytes(path))


def read_bytes(path: Path) -> bytes:
    """What a file holds, as far as a table may; raises `TableError` if it cannot be opened."""
    try:
        with path.open("rb") as file:
            return file.read(LARGEST + 1)
    except FileNotFoundError:
        raise TableError(f"there is no file {path}") from None
    except IsADirectoryError:
        raise TableError(f"{path} is a folder, not a file") from None
    except OSError as error:
        raise TableError(f"{path} cannot be read: {(error.strerror or str(error)).lower()}") from None


def text_of(name: str, raw: bytes) -> str:
    """The text in bytes, in UTF-8, UTF-16 or else Windows-1252; what gzip packed is unpacked on the way.

    Raises `TableError` if it is empty, too much, a spreadsheet or no text at all.
    """
    if raw[:2] == b"\x1f\x8b":
        try:
            with gzip.open(io.BytesIO(raw)) as packed:
                raw = packed.read(LARGEST + 1)
        except (OSError, EOFError, zlib.error):
            raise TableError(f"{name}: the compressed file is cut short or damaged; fetch it again") from None
    if len(raw) > LARGEST:
        raise TableError(f"{name} holds more than {LARGEST >> 20} megabytes; take what is needed out of it")
    if raw[:4] in (b"PK\x03\x04", b"\xd0\xcf\x11\xe0"):
        raise TableError(f"{name} is a spreadsheet file; save the sheet as CSV and take that")
    text = raw.decode(_encoding(raw), errors="replace").removeprefix("\ufeff")
    if "\0" in text[:200]:
        raise TableError(f"{name} is not a text file; save or export it as CSV (UTF-8)")
    if not text.strip():
        raise TableError(f"{name}: the file is empty; its first line should name the columns")
    return text


def _encoding(raw: bytes) -> str:
    head = raw[:400]
    for encoding, mark, at in (("utf-16-le", b"\xff\xfe", 1), ("utf-16-be", b"\xfe\xff", 0)):
        if raw.startswith(mark) or head[at::2].count(0) > 0.4 * max(len(head), 2):
            return encoding
    try:
        raw.decode("utf-8")
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def split_table(
    name: str,
    text: str,
    recognise: Callable[[Sequence[str]], bool] | None = None,
    separator: str | None = None,
) -> TextTable:
    """The table in a text; raises `TableError` if a line is no CSV.

    `recognise` tells whether a line's cells are the column names: lines before it are the preamble, and where
    it knows none the likeliest line counts. Without it the first line that is not blank names the columns,
    and cells keep their spaces. Without a `separator` it is the one that the column names have most of.
    """
    lines = list(io.StringIO(text, newline=""))
    at, likely = _find_header(lines, recognise)
    separator = separator or likely
    last = lines[-1] if lines[-1].endswith(("\n", "\r")) else f"{lines[-1]}\n"
    csv.field_size_limit(MOST_IN_A_CELL)
    reader = csv.reader(
        [*lines[at:-1], *([last] if at < len(lines) else []), _END],
        delimiter=separator,
        skipinitialspace=recognise is not None,  # where cells must come back as they were, spaces count
    )
    headers: tuple[str, ...] = ()
    rows: list[tuple[int, tuple[str, ...]]] = []
    ragged: list[tuple[int, tuple[str, ...]]] = []
    once: dict[str, str] = {}  # most cells come up again and again: one of each is kept
    line = at
    try:
        for cells in reader:
            first, line = line + 1, at + reader.line_num
            if cells and _END in cells[-1]:
                if cells == [_END]:
                    break
                raise TableError(
                    f"{name}, line {first}: a quote is opened here and never closed; {_CLOSE_IT}"
                )
            written = "id" in headers  # by an export, whose names may hold lines, quoted as they must be
            if line > first and not written and _swallows(lines[first:line], separator, len(headers)):
                raise TableError(
                    f"{name}, line {first}: a quote opened here is closed only on line {line}, rows later; "
                    f"{_CLOSE_IT}"
                )
            if not any(cell.strip(BLANKS) for cell in cells):
                continue
            width = len(headers)
            if not width:
                while recognise is None and not cells[-1].strip(BLANKS):
                    cells.pop()
                if len(cells) > MOST_COLUMNS:
                    raise TableError(
                        f"{name}, line {first}: {len(cells):,} cells in one line, which should name the "
                        "columns; write each row on a line of its own"
                    )
                headers = tuple(cell.strip(BLANKS) or f"column {n}" for n, cell in enumerate(cells, 1))
            elif any(cell.strip(BLANKS) for cell in cells[width:]):
                ragged.append((first, tuple(cells)))
            else:
                row = [once.setdefault(cell, cell) for cell in cells[:width]]
                rows.append((first, (*row, *[""] * (width - len(cells)))))
    except csv.Error as error:
        if "field limit" in str(error):
            raise TableError(
                f"{name}, line {line + 1}: a cell here is longer than {MOST_IN_A_CELL:,} letters; "
                f"shorten it, or if it is a quote that is never closed, {_CLOSE_IT}"
            ) from None
        raise TableError(f"{name}, line {line + 1}: this is not a CSV row ({error})") from None
    if not headers:
        raise TableError(f"{name}: no line names the columns; its first line should")
    return TextTable(name, headers, tuple(rows), tuple(ragged), separator, tuple(lines[:at]))


def _swallows(more: Sequence[str], separator: str, width: int) -> bool:
    """Whether a line on which a cell goes on looks like a row of the table rather than a line of a note."""
    return width > 1 and any(len(line.split(separator)) == width for line in more)


def _find_header(lines: Sequence[str], recognise: Callable[[Sequence[str]], bool] | None) -> tuple[int, str]:
    """Which line names the columns, and what separates them: the one recognised, else the likeliest."""
    separators = lines[0][4] if lines[0].casefold().startswith("sep=") and lines[0][4:].strip("\r\n") else ""
    start, separators = (1, separators) if separators else (0, SEPARATORS)
    if recognise is None:
        at = next((n for n, line in enumerate(lines) if n >= start and line.strip()), 0)
        return at, max(separators, key=lines[at].count)
    likeliest = (-1, 0, separators[0])
    for at, line in enumerate(lines[:DEEPEST_HEADER]):
        for separator in sorted(separators, key=line.count, reverse=True):
            names = next(csv.reader([line], delimiter=separator, skipinitialspace=True), [])
            names = [name.strip() for name in names]
            if len(names) > 1 and recognise(names):
                return at, separator
            likeliest = max(likeliest, (sum(any(map(str.isalpha, n)) for n in names), -at, separator))
    return -likeliest[1], likeliest[2]
