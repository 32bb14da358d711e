"""Spreadsheet files (XLSX, XLS, ODS) as rows of text, sheet by sheet; python-calamine reads them."""

from __future__ import annotations

import re
import zlib
from contextlib import suppress
from datetime import date, datetime, time, timedelta
from functools import reduce
from io import BytesIO
from zipfile import BadZipFile, ZipFile

from data_sources.tables.problems import TableError
from data_sources.tables.text_table import LARGEST

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
