"""A grower's own file as tables: CSV or spreadsheet, wherever its column names stand.

Spreadsheet files (XLSX, XLS, ODS) are read sheet by sheet by python-calamine.
A file whose first line names columns we know is taken as `read_table` has it. In any other, titles above the
column names are passed over, a line of years or seasons above them is joined to them, and a file without
column names gets numbered ones.
"""

from __future__ import annotations

import re
import zlib
from collections import Counter
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from functools import reduce
from io import BytesIO
from pathlib import Path, PurePath
from zipfile import BadZipFile, ZipFile

from data_sources.tables.dates import is_dated
from data_sources.tables.headers import AGAIN, event_column, is_known_header, year_in
from data_sources.tables.problems import TableError
from data_sources.tables.text_table import (
    BLANKS,
    LARGEST,
    SEPARATORS,
    TextTable,
    header_key,
    printable,
    read_bytes,
    split_table,
    text_of,
)

Grid = list[tuple[int, tuple[str, ...]]]
"""Rows of cells, each with its line in the file."""

MOST_CELLS = 20_000_000  # of a sheet, empty ones too; ours
_CELL = re.compile(rb"""\br=["']([A-Z]{1,3})([0-9]{1,7})["']""")
BEGINNINGS = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")


def is_workbook(raw: bytes) -> bool:
    """Whether a file's bytes begin as a spreadsheet's do."""
    return raw.startswith(BEGINNINGS)


def sheets_of(file: str, raw: bytes) -> list[tuple[str, Grid]]:
    """The sheets of a workbook that hold anything: name and cells, a merged cell in all of its places.

    Raises `TableError` if it cannot be opened, or is too large.
    """
    from python_calamine import CalamineError, CalamineWorkbook

    if raw.startswith(BEGINNINGS[0]):
        _refuse_too_large(file, raw)
    try:
        book = CalamineWorkbook.from_filelike(BytesIO(raw))
        sheets = []
        for name in book.sheet_names:
            sheet = book.get_sheet_by_name(name)
            rows = [[_text(cell) for cell in row] for row in sheet.to_python(skip_empty_area=False)]
            for (top, left), (bottom, right) in sheet.merged_cell_ranges or ():
                for row in rows[top : bottom + 1]:
                    row[left : right + 1] = [rows[top][left]] * len(row[left : right + 1])
            filled = [(line, tuple(row)) for line, row in enumerate(rows, 1) if any(row)]
            sheets += [(name, filled)] if filled else []
    except (CalamineError, OSError, ValueError) as error:
        raise TableError(
            f"{file} begins like a spreadsheet but cannot be opened ({error}); "
            "save the sheet as CSV and take that"
        ) from None
    if not sheets:
        raise TableError(f"{file}: the spreadsheet is empty")
    return sheets


def _refuse_too_large(file: str, raw: bytes) -> None:
    """Unpack a workbook once and keep nothing of it: what it says of its size need not be true."""
    left, cells = LARGEST, 0
    with suppress(BadZipFile, OSError, EOFError, ValueError, zlib.error), ZipFile(BytesIO(raw)) as packed:
        for part in packed.infolist():  # one that is damaged is told by the reader
            part.file_size = 1 << 40
            with packed.open(part) as stream:
                held = stream.read(left + 1)
            left -= len(held)
            if left < 0:
                break
            if part.filename.startswith("xl/worksheets/"):
                cells = max(cells, _cells_spanned(held))
    if left < 0:
        raise TableError(f"{file} holds more than {LARGEST >> 20} megabytes; take what is needed out of it")
    if cells > MOST_CELLS:
        raise TableError(f"{file} has a cell far from all others; take it out, or save the sheet as CSV")


def _cells_spanned(sheet: bytes) -> int:
    """How many cells lie up to a sheet's last row and column: all are made when it is read."""
    columns, rows = {b"A"}, {1}
    for letters, row in _CELL.findall(sheet):
        columns.add(letters)
        rows.add(int(row))
    widest = max(reduce(lambda n, sign: 26 * n + sign - 64, letters, 0) for letters in columns)
    return widest * max(rows)


def _text(cell: object) -> str:
    """A cell as a person reads it: a day as 2026-07-04, a whole number without its point."""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, datetime):
        return cell.date().isoformat() if cell.time() == time() else cell.isoformat(" ")
    if isinstance(cell, date):
        return cell.isoformat()
    if isinstance(cell, float):
        return f"{cell:.10g}"
    return str(cell).strip() if not isinstance(cell, timedelta) else ""


DEEPEST = 12  # rows of a notebook looked through for its column names
KNOWN = 2  # known column names that make a row a header
MOST_ALIKE = 100  # columns of one stage or work that no year tells apart; ours


def read_notebook(path: Path) -> list[TextTable]:
    """The tables in a file, one a sheet; raises as `read_bytes` and `notebook_in` do."""
    return notebook_in(printable(path.name), read_bytes(path))


def notebook_in(name: str, raw: bytes) -> list[TextTable]:
    """The tables in what a file of some name holds; raises as `text_of`, `split_table` and `sheets_of` do."""
    stem = PurePath(name).stem
    if is_workbook(raw):
        sheets = sheets_of(name, raw)
        return [
            table_of(name if len(sheets) == 1 else f"{name}, sheet {title}", grid, title)
            for title, grid in sheets
        ]
    text = text_of(name, raw)
    table = split_table(name, text)
    if _known(table.headers) >= KNOWN and not _twice(table.headers):
        return [replace(table, title=stem)]
    grids = [_grid(split_table(name, text, separator=sign)) for sign in SEPARATORS if sign in text]
    grid = max(grids, key=_likelihood, default=_grid(table))
    return [table_of(name, grid, stem)]


def table_of(name: str, grid: Grid, title: str = "") -> TextTable:
    """The table in rows of cells."""
    at, headers = _headers(grid)
    before = tuple(" ".join(filter(None, cells)) for _, cells in grid[: max(at, 0)])
    rows = grid[at + 1 :]
    width = max((_width(cells) for _, cells in rows), default=0)
    headers = [*headers, *[""] * (width - len(headers))]
    named = tuple(header.strip(BLANKS) or f"column {n}" for n, header in enumerate(headers, 1))
    padded = tuple((line, (*cells[: len(named)], *[""] * (len(named) - len(cells)))) for line, cells in rows)
    return TextTable(name, _apart(name, named), padded, preamble=before, title=title)


def _headers(grid: Grid) -> tuple[int, list[str]]:
    """The row that names the columns (-1: none does) and the names, joined with years above them."""
    known = [_known(cells) for _, cells in grid[:DEEPEST]]
    at = known.index(max(known))
    if known[at] < KNOWN:
        at = next((n for n, (_, cells) in enumerate(grid) if sum(map(bool, cells)) > 1), 0)
        if any(is_dated(cell) for cell in grid[at][1]):
            return at - 1, []
    names = list(grid[at][1])
    if at:
        above = [*grid[at - 1][1], *[""] * len(names)][: len(names)]
        group = ""
        for n, (name, over) in enumerate(zip(names, above, strict=True)):
            group = over or (group if name else "")
            if not name:
                names[n] = over
            elif group and any(above[1:]) and event_column(name):
                names[n] = f"{group} {name}"
    return at, names


def _apart(file: str, headers: Sequence[str]) -> tuple[str, ...]:
    """Column names, those of a stage or work that come again told apart.

    Raises `TableError` where one comes too often to be anybody's.
    """
    for key, times in Counter(map(header_key, headers)).items():
        if times > MOST_ALIKE and event_column(key):
            raise TableError(
                f"{file} has {times:,} columns called '{key}'; give each its year, such as '2004 {key}', "
                "or take out those that are not needed"
            )
    seen: set[str] = set()
    named = []
    for header in headers:
        while header_key(header) in seen and event_column(header):
            header += AGAIN
        seen.add(header_key(header))
        named.append(header)
    return tuple(named)


def _grid(table: TextTable) -> Grid:
    """A table as rows of cells, its first line among them."""
    first = len(table.preamble) + 1
    return sorted([(first, table.headers), *table.rows, *table.ragged])


def _likelihood(grid: Grid) -> tuple[int, int]:
    """How much a way of splitting a file looks like a table: known column names, then cells."""
    return (
        max(_known(cells) for _, cells in grid[:DEEPEST]),
        sum(_width(cells) > 1 for _, cells in grid[:50]),
    )


def _known(cells: Sequence[str]) -> int:
    return len({header_key(cell) for cell in cells if is_known_header(cell)})


def _twice(headers: Sequence[str]) -> bool:
    """Whether a stage or work heads two columns, as under years or for two flushes."""
    keys = Counter(header_key(header) for header in headers)
    return any(times > 1 and event_column(key) for key, times in keys.items())


def _width(cells: Sequence[str]) -> int:
    return max((n for n, cell in enumerate(cells, 1) if cell.strip(BLANKS)), default=0)


def year_of(table: TextTable) -> int | None:
    """The year that a table's name, title or the lines above it give."""
    return year_in(table.title) or year_in(" ".join(table.preamble))
