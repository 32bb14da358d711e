"""Spreadsheet files (XLSX, XLS, ODS) as rows of text, sheet by sheet; python-calamine reads them."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from pathlib import Path

from data_sources.tables.problems import TableError

Grid = list[tuple[int, tuple[str, ...]]]
"""Rows of cells, each with its line in the file."""

BEGINNINGS = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")


def is_workbook(path: Path) -> bool:
    """Whether a file begins as a spreadsheet file does."""
    try:
        with path.open("rb") as file:
            return file.read(4) in BEGINNINGS
    except OSError:
        return False


def read_workbook(path: Path) -> list[tuple[str, Grid]]:
    """The sheets of a workbook that hold anything: name and cells, a merged cell in all of its places.

    Raises
    ------
    TableError
        If it cannot be opened.
    """
    from python_calamine import CalamineError, CalamineWorkbook

    try:
        book = CalamineWorkbook.from_path(str(path))
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
            f"{path.name} begins like a spreadsheet but cannot be opened ({error}); "
            "save the sheet as CSV and take that"
        ) from None
    if not sheets:
        raise TableError(f"{path.name}: the spreadsheet is empty")
    return sheets


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
