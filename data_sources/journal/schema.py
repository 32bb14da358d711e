"""The tables of the journal, and how a record becomes a row and back.

Dates are stored as ISO text, yes/no as 1/0. Ids are text UUIDs made by the writer. The SQL that
creates the tables lives in `migrations`; a test holds the two together.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import MISSING, dataclass, fields
from datetime import date, datetime
from functools import cache
from types import UnionType
from typing import Any, TypeAlias, TypeVar, get_args, get_type_hints

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


Record: TypeAlias = Place | Tree | Stand | Aim | Work | Flush | Look | ImportMap
R = TypeVar("R", Place, Tree, Stand, Aim, Work, Flush, Look, ImportMap)
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
}
_TABLE_OF = {kind: table for table, kind in TABLES.items()}


@dataclass(frozen=True)
class Column:
    """One column: its name, the kind of its values (str, float, int, bool, date), whether it may be empty."""

    name: str
    kind: type
    optional: bool


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
def columns(table: str) -> tuple[Column, ...]:
    """The columns of a table, in the order of its record's fields."""
    hints = get_type_hints(TABLES[table])
    found = []
    for field in fields(TABLES[table]):
        hint = hints[field.name]
        parts = [h for h in get_args(hint) if h is not type(None)] if isinstance(hint, UnionType) else [hint]
        kind = str if issubclass(parts[0], str) else parts[0]  # names of stages and the like are text
        found.append(Column(field.name, kind, len(parts) < len(get_args(hint))))
    return tuple(found)


@cache
def column_names(table: str) -> tuple[str, ...]:
    """Names of the columns of a table."""
    return tuple(column.name for column in columns(table))


def encode(record: Record) -> Row:
    """A record as the row SQLite holds.

    Raises
    ------
    InputError
        If a value is of the wrong kind, not a number, or missing where one is needed.
    """
    table = table_of(type(record))
    return {c.name: _stored(table, c, getattr(record, c.name)) for c in columns(table)}


def _stored(table: str, column: Column, value: Any) -> Stored:
    kind = column.kind
    if value is None:
        if column.optional:
            return None
    elif kind is date:
        if isinstance(value, date) and not isinstance(value, datetime):
            return value.isoformat()
    elif kind is bool:
        if isinstance(value, bool):
            return int(value)
    elif kind is float:
        if isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value):
            return float(value)
    elif kind is int:
        if isinstance(value, int) and not isinstance(value, bool) and abs(value) < 2**63:
            return value
    elif isinstance(value, str) and (value or column.name != "id") and _writable(value):
        return value
    wanted = {str: "text", float: "a number", int: "a whole number", bool: "yes or no", date: "a date"}[kind]
    raise InputError(f"{table}: '{column.name}' must be {wanted}, got {value!r}")


def _writable(text: str) -> bool:
    if "\0" in text:  # neither CSV files nor most programs carry it on
        return False
    if text.isascii():
        return True
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True


@cache
def _decoders(table: str) -> tuple[Callable[[Any], Any] | None, ...]:
    converters: dict[type, Callable[[Any], Any]] = {date: date.fromisoformat, bool: bool}
    return tuple(converters.get(column.kind) for column in columns(table))


def decode_rows(kind: type[R], rows: Iterable[tuple[Any, ...]]) -> list[R]:
    """Rows as SQLite returns them (columns in the order of the fields) as records."""
    changed = [(i, f) for i, f in enumerate(_decoders(table_of(kind))) if f is not None]
    records = []
    for row in rows:
        values = list(row)
        for i, convert in changed:
            if values[i] is not None:
                values[i] = convert(values[i])
        records.append(kind(*values))
    return records


def decode(table: str, row: Mapping[str, Any]) -> Record:
    """One row, by column name, as a record; columns it lacks take the record's defaults.

    Raises
    ------
    InputError
        If a column that is needed is missing.
    """
    values: dict[str, Any] = {}
    for column, convert in zip(columns(table), _decoders(table), strict=True):
        if column.name in row:
            value = row[column.name]
            values[column.name] = convert(value) if convert is not None and value is not None else value
    missing = [f.name for f in fields(TABLES[table]) if f.default is MISSING and f.name not in values]
    if missing:
        raise InputError(f"{table}: the row has no {', '.join(missing)}")
    return TABLES[table](**values)


def to_json(row: Mapping[str, Stored]) -> str:
    """A row as the change table keeps it: JSON of every column, nulls included."""
    return json.dumps(dict(row), ensure_ascii=False, separators=(",", ":"))


def from_json(text: str) -> Row:
    """The row that `to_json` wrote."""
    row: Row = json.loads(text)
    return row


def tree_of(table: str, row: Mapping[str, Stored]) -> str | None:
    """Id of the tree a row speaks of, if it speaks of one."""
    value = row["id"] if table == "tree" else row.get("tree_id")
    return None if value is None else str(value)
