"""A garden's records as CSV files and back, exactly.

One file a table. Columns a person reads stand first (labels, the number of a flush), the ids that make the
rebuild exact last; `looks.csv` is a LOOKS.csv as well. A cell that is empty is nothing; an empty text is
written as the mark alone (see `cells`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields
from datetime import date
from pathlib import Path

from data_sources.journal.schema import (
    TABLES,
    ImportMap,
    Record,
    Row,
    SharedFile,
    StoredColumn,
    columns,
    decode,
    encode,
)
from data_sources.tables.cells import unmark, write_csv
from data_sources.tables.problems import Problem
from data_sources.tables.text_table import TextTable
from phenology.model.errors import InputError
from phenology.model.operations import Operation
from phenology.model.records import Aim, Flush, Look, Place, Stand, Tree, Work
from phenology.model.season import SeasonCalendar
from phenology.model.stages import Stage
from phenology.records.flushes import flush_numbers


@dataclass
class GardenRecords:
    """All records of a garden."""

    places: list[Place] = field(default_factory=list)
    trees: list[Tree] = field(default_factory=list)
    stands: list[Stand] = field(default_factory=list)
    aims: list[Aim] = field(default_factory=list)
    works: list[Work] = field(default_factory=list)
    flushes: list[Flush] = field(default_factory=list)
    looks: list[Look] = field(default_factory=list)
    import_maps: list[ImportMap] = field(default_factory=list)
    shared_files: list[SharedFile] = field(default_factory=list)

    def of(self, table: str) -> Sequence[Record]:
        """Records of one table, by its name in the journal."""
        records: Sequence[Record] = getattr(self, FILES[table].removesuffix(".csv"))
        return records


FILES = {table: f"{one.name}.csv" for table, one in zip(TABLES, fields(GardenRecords), strict=True)}

# Columns that only a person needs, before those of the record.
_READABLE: dict[str, tuple[str, ...]] = {
    "stand": ("tree", "place"),
    "aim": ("tree",),
    "work": ("date", "tree", "species"),
    "flush": ("tree", "number"),
    "look": ("date", "tree", "species", "flush"),
}
_RENAMED = {"date_text": "date"}  # of looks and works, as LOOKS.csv calls it


def write_tables(folder: Path, records: GardenRecords, calendar: SeasonCalendar) -> dict[str, int]:
    """Write every table of a garden; returns the number of rows by file name."""
    folder.mkdir(parents=True, exist_ok=True)
    trees = {tree.id: tree for tree in records.trees}
    places = {p.id: p.name for p in records.places}
    by_tree: dict[str, list[Flush]] = {}
    for flush in records.flushes:
        by_tree.setdefault(flush.tree_id, []).append(flush)
    numbers = {id: n for mine in by_tree.values() for id, n in flush_numbers(mine, calendar).items()}
    readable: dict[str, Callable[[Row], str]] = {
        "tree": lambda row: trees[str(row["tree_id"])].label,
        "species": lambda row: trees[str(row["tree_id"])].species,
        "place": lambda row: places[str(row["place_id"])],
        "number": lambda row: str(numbers[str(row["id"])]),
        "flush": lambda row: str(numbers[str(row["flush_id"])]),
    }
    counts = {}
    for table, file in FILES.items():
        headers = headers_of(table)
        own = {_RENAMED.get(c.name, c.name): c for c in columns(table)}
        rows = (
            [_cell(encoded, name, own, readable) for name in headers]
            for encoded in map(encode, _ordered(table, records.of(table)))
        )
        counts[file] = write_csv(folder / file, headers, rows)
    return counts


def headers_of(table: str) -> tuple[str, ...]:
    """The columns of a table's file."""
    own = [_RENAMED.get(c.name, c.name) for c in columns(table)]
    ids = [name for name in own if name == "id" or name.endswith("_id")]
    plain = [name for name in own if name not in ids]
    first = [name for name in _READABLE.get(table, ()) if name not in ids]
    return (*first, *(name for name in plain if name not in first), *ids)


def table_of_headers(headers: Iterable[str]) -> str | None:
    """The table whose exported columns these are, or None when the file is no export."""
    there = set(headers)
    for table in TABLES:
        own = {_RENAMED.get(c.name, c.name) for c in columns(table)}
        if own <= there <= own | set(_READABLE.get(table, ())):
            return table
    return None


def read_exported(
    found: TextTable, table: str, problems: list[Problem], *, all_have_ids: bool = False
) -> list[tuple[int, Record]]:
    """Rows of an exported table as records, each with its line; rows without an id are left out.

    A problem is added for each row or cell that cannot be read, for each row whose record no flushcast
    writes, and with `all_have_ids` for each row without an id.
    """
    problems += found.problems
    at = {key: n for n, key in enumerate(found.keys)}
    records: list[tuple[int, Record]] = []
    for line, cells in found.rows:
        if not cells[at["id"]].strip():
            if all_have_ids:
                advice = "write it as a row of a file of its own and import that"
                problems.append(found.problem(line, at["id"], "this row has no id", advice))
            continue
        row: dict[str, object] = {}
        for column in columns(table):
            n = at[_RENAMED.get(column.name, column.name)]
            try:
                row[column.name] = _value(cells[n], column)
            except ValueError as error:
                problems.append(found.problem(line, n, f"read '{cells[n]}'", str(error)))
        if len(row) == len(columns(table)):
            try:
                record = decode(table, row)
                wrong = wrong_in(record)
            except ValueError as error:
                wrong = str(error)
            if wrong:
                problems.append(found.problem(line, None, wrong.rstrip(".")))
            else:
                records.append((line, record))
    return records


def wrong_in(record: Record) -> str:
    """What no flushcast writes in a record, with a clearer word than the journal's own check; else empty."""
    if isinstance(record, Look) and record.stage not in set(Stage):
        return f"there is no stage called '{record.stage}'"
    if isinstance(record, Look) and record.kind not in ("seen", "happened"):
        return f"kind '{record.kind}' is not seen or happened"
    if isinstance(record, Work) and record.operation not in set(Operation):
        return f"there is no operation called '{record.operation}'"
    if isinstance(record, Look | Work) and record.earliest > record.latest:
        return "earliest lies after latest"
    if isinstance(record, Flush) and record.started_by not in ("season", "seen", "work"):
        return f"started_by '{record.started_by}' is not season, seen or work"
    if isinstance(record, Flush) and not 1 < record.season < 9999:
        return f"there is no season {record.season}"
    if isinstance(record, Aim) and record.aim not in ("building", "refining", "resting"):
        return f"aim '{record.aim}' is not building, refining or resting"
    if isinstance(record, Place) and not (-90 <= record.latitude <= 90 and -180 <= record.longitude <= 180):
        return "latitude runs from -90 to 90, longitude from -180 to 180"
    if isinstance(record, SharedFile):
        from data_sources.sharing.calibration_file import checked

        try:
            checked(record.content)
        except ValueError as error:
            return str(error)
    return ""


def unresolved(table: str, record: Record, known: Mapping[str, Iterable[str]]) -> str | None:
    """The column of a record that points at nothing in `known` (ids by table), or None."""
    for name in (column.name for column in columns(table) if column.name.endswith("_id")):
        pointed = getattr(record, name)
        if pointed is not None and pointed not in known[name.removesuffix("_id")]:
            return name
    return None


def _ordered(table: str, records: Sequence[Record]) -> Sequence[Record]:
    """Records in an order that does not depend on the store: dated ones by date."""
    if table in ("look", "work"):
        return sorted(records, key=lambda r: (r.latest, r.earliest, r.tree_id, r.id))  # type: ignore[union-attr]
    return records


def _cell(
    row: Row, name: str, own: Mapping[str, StoredColumn], readable: Mapping[str, Callable[[Row], str]]
) -> str | None:
    column = own.get(name)
    if column is None:
        return readable[name](row)
    value = row[column.name]
    if value is None:
        return None
    if column.kind is bool:
        return "yes" if value else "no"
    return repr(value) if column.kind is float else str(value)


def _value(cell: str, column: StoredColumn) -> object:
    """A cell as the journal stores it; `decode` makes the record's value of it."""
    if cell == "":
        if column.optional:
            return None
        raise InputError("this cell may not be empty")
    text = unmark(cell)
    if column.kind is str:
        return text
    plain = text.strip()
    if column.kind is bool:
        if plain.casefold() not in ("yes", "no"):
            raise InputError("write yes or no")
        return int(plain.casefold() == "yes")
    try:
        if column.kind is date:
            return date.fromisoformat(plain).isoformat()
        return column.kind(plain)
    except ValueError:
        wanted = {date: "a date such as 2026-07-04", int: "a whole number", float: "a number"}[column.kind]
        raise InputError(f"write {wanted}") from None
