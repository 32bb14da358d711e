"""From the bytes of a file to a table of text: encodings, delimiters, preamble, header."""

from __future__ import annotations

import csv
import gzip
import zlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from data_sources.weather.files.problems import WeatherFileError

DELIMITERS = (",", ";", "\t", "|")
DEEPEST_HEADER = 60  # lines looked through for the column names


@dataclass(frozen=True)
class Table:
    """Column names and rows of text; every row keeps the line it came from (the first line is 1)."""

    path: Path
    preamble: tuple[str, ...]
    header: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    delimiter: str
    encoding: str


def read_text(path: Path) -> tuple[str, str]:
    """The text of a file and the name of its encoding; a gzip file is opened on the way.

    Raises
    ------
    WeatherFileError
        If the file cannot be opened, is empty, is a spreadsheet or no text at all.
    """
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        raise WeatherFileError(path, f"there is no such file ({path})") from None
    except OSError as error:
        raise WeatherFileError(path, f"cannot be opened: {(error.strerror or str(error)).lower()}") from error
    if raw[:2] == b"\x1f\x8b":
        try:
            raw = gzip.decompress(raw)
        except (OSError, EOFError, zlib.error) as error:
            raise WeatherFileError(
                path, "the compressed file is cut short or damaged; fetch it again"
            ) from error
    if raw[:4] in (b"PK\x03\x04", b"\xd0\xcf\x11\xe0"):
        raise WeatherFileError(path, "this is a spreadsheet file; save the sheet as CSV and add that")
    text, encoding = _decode(path, raw)
    if not text.strip():
        raise WeatherFileError(path, "the file is empty")
    return text, encoding


def _decode(path: Path, raw: bytes) -> tuple[str, str]:
    for mark, encoding in (
        (b"\xef\xbb\xbf", "utf-8"),
        (b"\xff\xfe", "utf-16-le"),
        (b"\xfe\xff", "utf-16-be"),
    ):
        if raw.startswith(mark):
            return raw[len(mark) :].decode(encoding, errors="replace"), encoding
    head = raw[:400]
    if b"\0" in head:
        # UTF-16 without its mark: every second byte of plain text is zero.
        for encoding, zeros in (("utf-16-le", head[1::2]), ("utf-16-be", head[::2])):
            if zeros.count(0) > 0.8 * len(zeros):
                return raw.decode(encoding, errors="replace"), encoding
        raise WeatherFileError(path, "this is not a text file; export the readings as CSV")
    try:
        return raw.decode("utf-8"), "utf-8"
    except UnicodeDecodeError:
        return raw.decode("cp1252", errors="replace"), "windows-1252"


def split_table(
    path: Path, text: str, encoding: str, recognise: Callable[[Sequence[str]], bool]
) -> Table | None:
    """The table in a text: the first line whose cells `recognise` accepts as column names, and what follows.

    Parameters
    ----------
    path, text, encoding
        The file, as `read_text` gave it.
    recognise : callable
        Whether these cells name the columns we need.

    Returns
    -------
    Table or None
        None when no line names them with any delimiter.
    """
    lines = text.splitlines()
    delimiters: Sequence[str] = DELIMITERS
    if lines and lines[0].lower().startswith("sep=") and len(lines[0]) > 4:
        delimiters = (lines[0][4],)
    for number, line in enumerate(lines[:DEEPEST_HEADER]):
        for delimiter in sorted(delimiters, key=line.count, reverse=True):
            cells = _cells(line, delimiter)
            if len(cells) > 1 and recognise(cells):
                return Table(
                    path,
                    tuple(lines[:number]),
                    tuple(cells),
                    _rows(lines[number + 1 :], delimiter, number + 2),
                    delimiter,
                    encoding,
                )
    return None


def likely_header(text: str) -> list[str]:
    """The cells of the line that looks most like column names, for a message that must list them."""
    best: list[str] = []
    for line in text.splitlines()[:DEEPEST_HEADER]:
        for delimiter in DELIMITERS:
            cells = _cells(line, delimiter)
            if sum(any(c.isalpha() for c in cell) for cell in cells) > len(best):
                best = cells
    return [cell for cell in best if cell]


def _cells(line: str, delimiter: str) -> list[str]:
    return [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])]


def _rows(lines: Sequence[str], delimiter: str, first: int) -> tuple[tuple[int, tuple[str, ...]], ...]:
    reader = csv.reader(lines, delimiter=delimiter, skipinitialspace=True)
    rows = []
    for cells in reader:
        stripped = tuple(cell.strip() for cell in cells)
        if any(stripped):
            rows.append((first + reader.line_num - 1, stripped))
    return tuple(rows)
