"""The tables of the journal, and how a record becomes a row and back.

Dates are stored as ISO text, yes/no as 1/0. Ids are text UUIDs made by the writer. The SQL that
creates the tables lives in `steps`; a test holds the two together.
"""

from __future__ import annotations

import json
import math
from collections import deque
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import MISSING, dataclass, fields
from datetime import date, datetime
from functools import cache, lru_cache
from sys import intern
from types import UnionType
from typing import Any, NamedTuple, TypeAlias, TypeVar, get_args, get_type_hints

from phenology.model.errors import InputError
from phenology.model.records import Aim, Flush, Look, Place, Stand, Tree, Work


@dataclass(frozen=True)
class ImportMap:
    """How a spreadsheet's columns were read once, so that the next file like it need not ask.

    `headers` is the JSON list of its column names, `target` the table it was read into, `mapping` the
    JSON object {column name: field}, `options` a JSON object (order of day and month, seen or happened).
    """

    id: str
    headers: str
    target: str
    mapping: str
    options: str = "{}"


@dataclass(frozen=True, eq=False, repr=False)
class SharedFile:
    """Another garden's calibrations, as the file that brought them has them.

    `id` is that garden's code, so that a newer file takes the place of an older one; `label` is what
    whoever learns from it calls it.
    """

    id: str
    label: str
    content: str


Record: TypeAlias = Place | Tree | Stand | Aim | Work | Flush | Look | ImportMap | SharedFile
R = TypeVar("R", Place, Tree, Stand, Aim, Work, Flush, Look, ImportMap, SharedFile)
Stored: TypeAlias = str | int | float | None  # what SQLite holds in one cell
Row: TypeAlias = dict[str, Stored]

# Parents before children: a table only points at tables above it.
TABLES: dict[str, type[Record]] = {
    "place": Place,
    "tree": Tree,
    "stand": Stand,
    "aim": Aim,
    "work": Work,
    "flush": Flush,
    "look": Look,
    "import_map": ImportMap,
    "shared_file": SharedFile,
}
_TABLE_OF = {kind: table for table, kind in TABLES.items()}


class StoredColumn(NamedTuple):
    """One column of a table."""

    name: str
    kind: type  # of its values: str, float, int, bool or date
    optional: bool  # whether it may be empty
    read: Callable[[Any], Any] | None  # makes of SQLite's value that of the record; None: it is the same


def table_of(kind: type[Record]) -> str:
    """Name of the table that keeps this kind of record.

    >>> table_of(Look)
    'look'
    """
    try:
        return _TABLE_OF[kind]
    except KeyError:
        raise TypeError(f"the journal keeps no {kind.__name__}") from None


@cache
def columns(table: str) -> tuple[StoredColumn, ...]:
    """The columns of a table, in the order of its record's fields."""
    hints = get_type_hints(TABLES[table])
    found = []
    for field in fields(TABLES[table]):
        hint = hints[field.name]
        parts = [h for h in get_args(hint) if h is not type(None)] if isinstance(hint, UnionType) else [hint]
        kind = str if issubclass(parts[0], str) else parts[0]  # names of stages and the like are text
        read = _KINDS[kind][2] if kind is parts[0] else parts[0]
        if read is None and kind is str and field.name != "id":
            read = intern  # most texts come up again and again: one of each is kept
        found.append(StoredColumn(field.name, kind, len(parts) < len(get_args(hint)), read))
    return tuple(found)


@cache
def column_names(table: str) -> tuple[str, ...]:
    """Names of the columns of a table."""
    return tuple(column.name for column in columns(table))


def _text(value: Any) -> str | None:
    try:  # neither CSV files nor most programs carry a NUL on
        fits = isinstance(value, str) and "\0" not in value and value.encode() is not None
    except UnicodeEncodeError:
        fits = False
    return value if fits else None


def _whole(value: Any) -> int | None:
    fits = isinstance(value, int) and not isinstance(value, bool) and abs(value) < 2**63
    return value if fits else None


def _number(value: Any) -> float | None:
    fits = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    return float(value) if fits else None


def _day(value: Any) -> str | None:
    return value.isoformat() if isinstance(value, date) and not isinstance(value, datetime) else None


# What a grower calls the kind; the value as it is stored, None when it is of another kind; how it is read.
_Kind: TypeAlias = tuple[str, Callable[[Any], Stored], Callable[[Any], Any] | None]
_KINDS: dict[type, _Kind] = {
    str: ("text", _text, None),
    int: ("a whole number", _whole, None),
    float: ("a number", _number, None),
    bool: ("yes or no", lambda value: int(value) if isinstance(value, bool) else None, bool),
    date: ("a date", _day, lru_cache(maxsize=4096)(date.fromisoformat)),
}


def encode(record: Record) -> Row:
    """A record as the row SQLite holds.

    Raises `InputError` if a value is of the wrong kind, not a number, or missing where one is needed.
    """
    table = table_of(type(record))
    row: Row = {}
    for name, (wanted, stored, _), optional in _writers(table):
        value = getattr(record, name)
        row[name] = cell = None if value is None else stored(value)
        if (cell is None and not (value is None and optional)) or (name == "id" and not value):
            raise InputError(f"{table}: '{name}' must be {wanted}, got {value!r}")
    return row


@cache
def _writers(table: str) -> list[tuple[str, _Kind, bool]]:
    return [(column.name, _KINDS[column.kind], column.optional) for column in columns(table)]


def decode_rows(kind: type[R], rows: Iterable[Sequence[Any]]) -> list[R]:
    """Rows as SQLite returns them (columns in the order of the fields) as records."""
    cells: list[Sequence[Any]] = [*zip(*rows, strict=True)]
    if not cells:
        return []
    for k, column in enumerate(columns(table_of(kind))):
        if (read := column.read) is not None:
            known = {value: None if value is None else read(value) for value in set(cells[k])}
            cells[k] = list(map(known.__getitem__, cells[k]))
    slots: Sequence[str] = getattr(kind, "__slots__", ())
    if not slots:
        return [kind(*row) for row in zip(*cells, strict=True)]
    # of many records it takes half as long to fill one field of all after another; names are read already
    records = [kind.__new__(kind) for _ in cells[0]]
    for name, values in zip(slots, cells, strict=True):
        deque(map(getattr(kind, name).__set__, records, values), maxlen=0)
    return records


def decode(table: str, row: Mapping[str, Any]) -> Record:
    """One row, by column name, as a record; columns it lacks take the record's defaults.

    Raises `InputError` if a column that is needed is missing.
    """
    cells = {f.name: row.get(f.name, f.default) for f in fields(TABLES[table])}
    missing = [name for name, cell in cells.items() if cell is MISSING]
    if missing:
        raise InputError(f"{table}: the row has no {', '.join(missing)}")
    kind: type[Any] = TABLES[table]
    record: Record = decode_rows(kind, [tuple(cells.values())])[0]
    return record


def to_json(row: Mapping[str, Stored]) -> str:
    """A row as the change table keeps it: JSON of every column, nulls included."""
    return json.dumps(row, ensure_ascii=False, separators=(",", ":"))


def tree_of(table: str, row: Mapping[str, Stored]) -> str | None:
    """Id of the tree a row speaks of, if it speaks of one."""
    value = row["id"] if table == "tree" else row.get("tree_id")
    return None if value is None else str(value)
