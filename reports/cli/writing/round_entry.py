"""Taking the filled sheet of a round back in."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

from data_sources.tables.csv_cells import read_csv, write_csv
from phenology.model.errors import InputError
from reports.cli.common import tell
from reports.cli.writing.import_entry import Asked, carry_out, planned
from reports.garden.open_garden import OpenGarden

COLUMNS = ("date", "tree", "stage", "checked", "note")


def take_in(garden: OpenGarden, file: Path, *, dry_run: bool) -> None:
    """Save the looks of a filled sheet, all of them or none.

    Raises
    ------
    InputError
        If it is no such sheet, or a row that was filled in cannot be used; it is named by its line.
    """
    table = read_csv(file)
    missing = [name for name in ("date", "tree", "stage") if name not in table.headers]
    if missing:
        raise InputError(
            f"{file.name} lacks the column '{missing[0]}'; make a sheet with flushcast round --csv"
        )
    rows: list[tuple[str | None, ...]] = []
    for line, row in table.rows:
        while len(rows) < line - 2:
            rows.append(())  # lines keep their numbers, so that a message names the right one
        looked = row["stage"].strip()
        rows.append(tuple(row.get(name) or None for name in COLUMNS) if looked else ())
        if not looked and row.get("note"):
            tell(f"{file.name}, line {line}: a note without a stage was passed over.")
    if not any(rows):
        tell("No stage was filled in; nothing was changed.")
        return
    with TemporaryDirectory() as folder:
        copy = Path(folder) / file.name
        write_csv(copy, COLUMNS, rows)
        plan = planned(garden, [copy], Asked(target="look"), may_ask=False)
        carry_out(garden, plan, [copy], dry_run=dry_run)
