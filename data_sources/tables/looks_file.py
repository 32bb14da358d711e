"""LOOKS.csv without a garden, as a hindcast reads it: ``date,tree,species,flush,stage`` and more.

What an import into a garden adds stands in `table_import`.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

from data_sources.tables.dates import DateReader
from data_sources.tables.problems import Problem, TableError
from data_sources.tables.sheet import read_sheet
from data_sources.tables.text_table import read_table
from phenology.judging.hindcast import DatedSight
from phenology.language.written_days import DateOrder
from phenology.model.operations import Operation
from phenology.model.season import SeasonCalendar

NEEDED = ("date", "tree", "species", "flush", "stage")


def read_looks(
    path: Path, *, today: date, order: DateOrder | None = None, calendar: SeasonCalendar | None = None
) -> list[DatedSight]:
    """Read LOOKS.csv, all of it or nothing.

    Looks after today are refused. How "4/7/2025" reads the whole file decides, unless the order is given.
    Seasons, which close the open side of "by" and "after", begin on 1 January unless a calendar is given.

    Raises `TableError` if the file lacks a column, or with every row that cannot be used; `FileQuestion` if
    its dates could be read two ways.
    """
    table = read_table(path)
    missing = [name for name in NEEDED if name not in table.keys]
    if missing:
        raise TableError(
            f"{table.file} has no column {', '.join(missing)}; a looks file needs {','.join(NEEDED)}, "
            f"this one has {','.join(table.headers)}"
        )
    sheet = read_sheet(table, subject="look")
    problems: list[Problem] = list(table.problems)
    rows = list(sheet.rows(DateReader(today, calendar or SeasonCalendar(), order or sheet.date_order())))
    for row in rows:
        problems += row.problems
        if not row.problems and not row.values["species"]:
            problems.append(row.problem("species", "write the species"))
        if isinstance(row.event, Operation):
            problems.append(row.problem("stage", "this is work, not a stage; take it out"))
    if problems:
        raise TableError(sorted(problems, key=lambda p: p.line or 0))
    return [
        DatedSight(
            row.values["tree"],
            row.values["species"],
            row.values["flush"] or 1,
            row.values["stage"],
            row.values["earliest"],
            row.values["latest"],
            row.values["kind"] or "seen",
        )
        for row in rows
    ]
