"""LOOKS.csv, one look a row: ``date,tree,species,flush,stage``, optionally ``earliest,latest,kind,who,note``.

Read without a garden, as a hindcast does; what an import into a garden adds stands in `table_import`. Exports
also write marks, part and leaves, so that no look loses anything.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from data_sources.tables.csv_cells import BadRowsError, CsvTable, Problem, read_csv, write_csv
from phenology.language.vague_dates import AmbiguousDateError, DateOrder, VagueDate, decide_order, parse
from phenology.language.words import find_part, find_stage
from phenology.model.errors import InputError
from phenology.model.season import SeasonCalendar

NEEDED = ("date", "tree", "species", "flush", "stage")
OPTIONAL = ("earliest", "latest", "kind", "checked", "lost", "part", "leaves", "who", "note")
COLUMNS = NEEDED + OPTIONAL
KINDS = ("seen", "happened")

_YES = {"yes", "y", "true", "1", "x"}
_NO = {"", "no", "n", "false", "0"}


@dataclass(frozen=True)
class LookRow:
    """One row of LOOKS.csv, checked; `date_text` is the date as the file has it."""

    line: int
    date_text: str
    earliest: date
    latest: date
    tree: str
    species: str
    flush: int
    stage: str
    kind: str = "seen"
    checked: bool = False
    lost: bool = False
    part: str | None = None
    leaves: str | None = None
    who: str | None = None
    note: str | None = None


def read_looks(
    path: Path, *, today: date, order: DateOrder | None = None, calendar: SeasonCalendar | None = None
) -> tuple[list[LookRow], list[Problem]]:
    """Read LOOKS.csv: the rows that can be used, and a problem for each that cannot.

    Parameters
    ----------
    path : Path
    today : date
        Looks after it are problems.
    order : {"day-first", "month-first"}, optional
        How "4/7/2025" reads; without it the whole file decides.
    calendar : SeasonCalendar, optional
        Closes the open side of "by" and "after"; from 1 January unless given.

    Raises
    ------
    InputError
        If the file cannot be read, lacks a column, or its dates could be read two ways.
    """
    table = read_csv(path)
    missing = [name for name in NEEDED if name not in table.headers]
    if missing:
        raise InputError(
            f"{table.file} has no column {', '.join(missing)}; a looks file needs {','.join(NEEDED)}, "
            f"this one has {','.join(table.headers)}"
        )
    order = order or order_of(table, ("date", "earliest", "latest"))
    rows: list[LookRow] = []
    problems = list(table.problems)
    for line, cells in table.rows:
        row = _row(table.file, line, cells, today, order, calendar or SeasonCalendar())
        if isinstance(row, LookRow):
            rows.append(row)
        else:
            problems += row
    return rows, sorted(problems, key=lambda p: p.line or 0)


def load_looks(
    path: Path, *, today: date, order: DateOrder | None = None, calendar: SeasonCalendar | None = None
) -> list[LookRow]:
    """Read LOOKS.csv, all of it or nothing.

    Raises
    ------
    BadRowsError
        With every row that cannot be used.
    """
    rows, problems = read_looks(path, today=today, order=order, calendar=calendar)
    if problems:
        raise BadRowsError(problems)
    return rows


def write_looks(path: Path, rows: Iterable[LookRow]) -> int:
    """Write LOOKS.csv, oldest first as given; returns the number of rows."""
    return write_csv(path, COLUMNS, (look_cells(row) for row in rows))


def look_cells(row: LookRow) -> list[str | None]:
    """The cells of one row, in the order of `COLUMNS`."""
    return [
        row.date_text,
        row.tree,
        row.species,
        str(row.flush),
        row.stage,
        row.earliest.isoformat(),
        row.latest.isoformat(),
        row.kind,
        "yes" if row.checked else None,
        "yes" if row.lost else None,
        row.part,
        row.leaves,
        row.who,
        row.note,
    ]


def order_of(table: CsvTable, columns: Sequence[str]) -> DateOrder | None:
    """Order of day and month that a file's date columns prove; an error names the file."""
    texts = [text for name in columns if name in table.headers for text in table.column(name)]
    try:
        return decide_order(texts)
    except AmbiguousDateError as error:
        raise AmbiguousDateError(f"{table.file}: {error}") from None


def yes_or_no(text: str) -> bool:
    """A yes/no cell; empty is no.

    Raises
    ------
    InputError
        If it is neither.
    """
    word = text.casefold()
    if word in _YES:
        return True
    if word in _NO:
        return False
    raise InputError("write yes or no")


def bounds_of(
    cells: Mapping[str, str],
    vague: VagueDate,
    calendar: SeasonCalendar,
    *,
    today: date,
    order: DateOrder | None,
) -> tuple[date, date]:
    """First and last day of a dated row: its own `earliest` and `latest` where given, else its date's."""
    given: dict[str, date | None] = {}
    for name in ("earliest", "latest"):
        if cells.get(name):
            end = parse(cells[name], today=today, order=order)
            if not end.is_exact:
                raise InputError(f"{name} must be one day, such as 2026-07-04")
            given[name] = end.earliest
    earliest, latest = replace(
        vague, earliest=given.get("earliest", vague.earliest), latest=given.get("latest", vague.latest)
    ).in_season(calendar, today)
    if earliest > latest:
        raise InputError("earliest lies after latest; exchange them")
    return earliest, latest


def _row(
    file: str,
    line: int,
    cells: dict[str, str],
    today: date,
    order: DateOrder | None,
    calendar: SeasonCalendar,
) -> LookRow | list[Problem]:
    problems: list[Problem] = []

    def bad(column: str, error: object) -> None:
        problems.append(Problem(file, line, column, cells.get(column, ""), str(error)))

    for column in ("tree", "species"):
        if not cells[column]:
            bad(column, f"write the {column}")
    earliest = latest = today
    try:
        vague = parse(cells["date"], today=today, order=order)
        earliest, latest = bounds_of(cells, vague, calendar, today=today, order=order)
    except InputError as error:
        bad("date", error)
    stage, part, kind = "", None, cells.get("kind", "").casefold() or "seen"
    try:
        stage = find_stage(cells["stage"])
    except InputError as error:
        bad("stage", error)
    if kind not in KINDS:
        bad("kind", "write seen or happened")
    if cells.get("part"):
        try:
            part = find_part(cells["part"])
        except InputError as error:
            bad("part", error)
    flush = cells["flush"] or "1"
    if not (flush.isascii() and flush.isdigit() and 1 <= int(flush) <= 20):
        bad("flush", "write the number of the flush within its season: 1, 2, ...")
    marks = {}
    for name in ("checked", "lost"):
        try:
            marks[name] = yes_or_no(cells.get(name, ""))
        except InputError as error:
            bad(name, error)
    if problems:
        return problems
    return LookRow(
        line,
        cells["date"],
        earliest,
        latest,
        cells["tree"],
        cells["species"],
        int(flush),
        stage,
        kind,
        marks["checked"],
        marks["lost"],
        part,
        *(cells.get(name) or None for name in ("leaves", "who", "note")),
    )
