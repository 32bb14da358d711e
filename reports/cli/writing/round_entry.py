"""Taking the filled sheet of a round back in."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from data_sources.tables.problems import TableError
from data_sources.tables.text_table import read_table
from reports.cli.common import tell
from reports.cli.writing.import_entry import take_tables_in
from reports.entries.intake import garden_answers
from reports.garden.open_garden import OpenGarden


def take_sheet_in(garden: OpenGarden, file: Path, *, dry_run: bool) -> None:
    """Save the looks of a filled sheet, all of them or none; rows without a stage are passed over.

    Raises
    ------
    TableError
        If it is no such sheet, or a row that was filled in cannot be used; it is named by its line.
    """
    table = read_table(file)
    at = {key: n for n, key in enumerate(table.keys)}
    missing = [name for name in ("date", "tree", "stage") if name not in at]
    if missing:
        raise TableError(
            f"{file.name} lacks the column '{missing[0]}'; make a sheet with flushcast round --csv"
        )
    filled = tuple(row for row in table.rows if row[1][at["stage"]].strip())
    for line, cells in table.rows:
        if (line, cells) not in filled and "note" in at and cells[at["note"]].strip():
            tell(f"{file.name}, line {line}: a note without a stage was passed over.")
    if not filled and not table.problems:
        tell("No stage was filled in; nothing was changed.")
        return
    take_tables_in(garden, [replace(table, rows=filled)], garden_answers(garden, "look"), dry_run=dry_run)
