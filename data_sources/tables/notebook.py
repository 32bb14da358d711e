"""A grower's own file as tables: CSV or spreadsheet, wherever its column names stand.

A file whose first line names columns we know is taken as `read_table` has it. In any other, titles above the
column names are passed over, a line of years or seasons above them is joined to them, and a file without
column names gets numbered ones.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path, PurePath

from data_sources.tables.headers import AGAIN, event_column, is_dated, is_known_header, year_in
from data_sources.tables.text_table import (
    BLANKS,
    SEPARATORS,
    TextTable,
    header_key,
    printable,
    read_bytes,
    split_table,
    text_of,
)
from data_sources.tables.workbook import Grid, is_workbook, sheets_of

DEEPEST = 12  # rows of a notebook looked through for its column names
KNOWN = 2  # known column names that make a row a header


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
    return TextTable(name, _apart(named), padded, preamble=before, title=title)


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


def _apart(headers: Sequence[str]) -> tuple[str, ...]:
    """Column names, those of a stage or work that come again told apart."""
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
    keys = [header_key(header) for header in headers]
    return any(keys.count(key) > 1 and event_column(key) for key in keys)


def _width(cells: Sequence[str]) -> int:
    return max((n for n, cell in enumerate(cells, 1) if cell.strip(BLANKS)), default=0)


def year_of(table: TextTable) -> int | None:
    """The year that a table's name, title or the lines above it give."""
    return year_in(table.title) or year_in(" ".join(table.preamble))
