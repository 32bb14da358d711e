"""One table a result: rows made once, and read as JSON, CSV, DataFrame or terminal text.

A result is a sequence of typed rows. Its columns say how a value is taken from a row, what kind it is and
what it means; the views differ in form alone, so that a thing has one name and one value everywhere. Numbers
stay numbers in °C and °C·d until a view writes them; only there are they turned into the garden's units.
"""

from __future__ import annotations

import json
import math
import re
import shutil
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from itertools import zip_longest
from operator import attrgetter
from textwrap import wrap
from typing import TYPE_CHECKING, Any, Generic, Literal, TypeVar
from unicodedata import combining, east_asian_width

from data_sources.tables.cells import mark, quoted

if TYPE_CHECKING:
    import pandas as pd

R = TypeVar("R")

Kind = Literal[
    "text",  # missing where None or empty in a frame
    "id",  # the same, for machines: a frame has it last
    "texts",  # several; joined by "; " where there is room for one
    "date",
    "time",  # a moment with its zone; UTC in a frame
    "number",
    "day",  # decimal day of a season: rounds up, so that the date beside it stays its ceiling
    "whole",  # never missing
    "season",  # the year in which it starts; JSON, CSV and text show its label
    "yes",  # never missing
    "temperature",  # °C
    "difference",  # between temperatures; °C
    "degree_days",  # °C·d
]

NUMBERS = ("number", "day", "whole", "temperature", "difference", "degree_days")
_WORD_ENDS = re.compile(r"\s|(?<=-)")
HEAT = ("temperature", "difference", "degree_days")
Encoded = str | int | float | bool | list[str] | None


@dataclass(frozen=True)
class Column(Generic[R]):
    """One column of a result."""

    name: str  # a dot nests it in JSON: "odds.today" stands under "odds" there, flat it is "odds_today"
    kind: Kind  # what a view may do with it
    get: Callable[[R], Any]  # the value of a row; None where nothing is known
    meaning: str = ""  # a line for who reads the table, with the unit
    digits: int | None = None  # decimals that are worth telling, in every view; exact without
    title: str | None = None  # its heading on a terminal; the name without
    listed: bool = False  # whether JSON keeps what stands under one name as an array and not as an object
    show: Callable[[Any], str] | None = None  # how a terminal or page shows what is known

    @property
    def flat(self) -> str:
        """Its name where nothing nests."""
        return self.name.replace(".", "_")

    def flat_in(self, units: str) -> str:
        """The same with its unit, where it has one: `degree_days_c`, `degree_days_f`."""
        return f"{self.flat}_{units.lower()}" if self.kind in HEAT else self.flat


def attribute(
    name: str,
    kind: Kind,
    meaning: str = "",
    digits: int | None = None,
    *,
    of: str | None = None,
    **shown: Any,
) -> Column[Any]:
    """A column read from the attribute of a row of the same name, or from `of` (which may have dots).

    Examples
    --------
    >>> [attribute("real", "number").get(2.0), attribute("date", "text", of="__class__.__name__").get(2.0)]
    [2.0, 'float']
    """
    return Column(name, kind, attrgetter(of or name), meaning, digits, **shown)


def picked(columns: Iterable[Column[R]], *names: str) -> list[Column[R]]:
    """Columns of a result by their names, in the order asked for."""
    by_name = {column.name: column for column in columns}
    return [by_name[name] for name in names]


def each(
    names: Mapping[str, str], kind: Kind, get: Callable[[Any, int], Any], digits: int | None = None
) -> Iterator[Column[Any]]:
    """Columns of a row of values, such as the quantiles of a forecast: names with their meanings, in order.

    `get` takes a row and which of them it is.

    Examples
    --------
    >>> [column.get("ab") for column in each({"first": "", "second": ""}, "text", lambda row, k: row[k])]
    ['a', 'b']
    """
    for k, (name, meaning) in enumerate(names.items()):
        yield Column(name, kind, _at(get, k), meaning, digits)


def _at(get: Callable[[Any, int], Any], k: int) -> Callable[[Any], Any]:
    return lambda row: get(row, k)


def fields(of: Callable[[R], object], **kinds: Kind) -> Iterator[Column[R]]:
    """Columns that are a record's own fields, named as they are there.

    Examples
    --------
    >>> [column.name for column in fields(lambda row: row, latitude="number", note="text")]
    ['latitude', 'note']
    """
    for name, kind in kinds.items():
        yield Column(name, kind, _field(of, name))


def _field(of: Callable[[R], object], name: str) -> Callable[[R], Any]:
    return lambda row: getattr(of(row), name)


class Table(Generic[R]):
    """A result as rows and columns.

    Parameters
    ----------
    schema : str
        Name and version, such as "flushcast.forecast/1".
    columns : sequence of Column
    rows : iterable
        Typed rows; each value is taken from them once.
    units : {"C", "F"}
        What JSON, CSV and text are written in. A frame is always in °C.
    season_label : callable
        How a season is written, see `SeasonCalendar.label`.

    Examples
    --------
    >>> pots = Table("example.pots/1", (
    ...     Column[tuple[str, float | None]]("pot", "text", lambda row: row[0], "Its label."),
    ...     Column("soil.warmest", "temperature", lambda row: row[1], "At noon.", digits=1),
    ... ), [("a", 21.04), ("b", None)], units="F")
    >>> pots.records()
    [{'pot': 'a', 'soil': {'warmest': 69.9}}, {'pot': 'b', 'soil': {'warmest': None}}]
    >>> print(pots.as_csv(), end="")
    pot,soil_warmest_f
    a,69.9
    b,
    >>> print(pots.as_text(width=30))
    pot  soil.warmest
    a            69.9
    b               .
    >>> pots.as_frame()["soil_warmest_c"].tolist()
    [21.0, nan]
    """

    def __init__(
        self,
        schema: str,
        columns: Sequence[Column[R]],
        rows: Iterable[R],
        *,
        units: str = "C",
        season_label: Callable[[int], str] = str,
    ) -> None:
        self.schema, self.columns, self.units = schema, tuple(columns), units
        self.rows = tuple(rows)
        self._season_label = season_label
        self._cells = [[column.get(row) for column in self.columns] for row in self.rows]

    def __len__(self) -> int:
        return len(self.rows)

    def records(self) -> list[dict[str, Any]]:
        """The rows as plain data: dates in ISO, nothing known as None, names nested at their dots."""
        return [self._record(cells) for cells in self._cells]

    def _record(self, cells: Sequence[Any]) -> dict[str, Any]:
        record: dict[str, Any] = {}
        for column, cell in zip(self.columns, cells, strict=True):
            group, _, name = column.name.rpartition(".")
            value = self._encoded(column, cell)
            if column.listed:
                record.setdefault(group, []).append(value)
            elif group:
                record.setdefault(group, {})[name] = value
            else:
                record[name] = value
        return record

    def as_json(self, *, key: str = "rows", **head: Any) -> str:
        """The table as JSON text: its schema, then `head`, then the rows under `key`."""
        return json_text(self.schema, {**head, key: self.records()})

    def as_csv(self, *, without: Sequence[str] = ()) -> str:
        """The table as CSV text, a line a row, empty cells where nothing is known, `without` some columns."""
        left_out = set(without)
        kept = [k for k, c in enumerate(self.columns) if not left_out & {c.name, c.name.partition(".")[0]}]
        lines = [[self.columns[k].flat_in(self.units) for k in kept]]
        for cells in self._cells:
            encoded = (self._encoded(self.columns[k], cells[k]) for k in kept)
            texts = ("; ".join(cell) if isinstance(cell, list) else cell for cell in encoded)
            # what a spreadsheet would run as a formula is marked; nothing known stays an empty cell
            lines.append(
                [
                    mark(text) if isinstance(text, str) and text else "" if text is None else str(text)
                    for text in texts
                ]
            )
        return "".join(f"{','.join(map(quoted, line))}\n" for line in lines)

    def as_frame(self) -> pd.DataFrame:
        """The table as a DataFrame, in °C whatever the garden shows.

        Notes
        -----
        ``text`` and ``texts`` are text, missing where empty; ``date`` is a datetime, NaT where unknown;
        ``time`` has its zone, UTC; numbers are floats with NaN; ``whole`` and ``season`` are integers and
        ``yes`` booleans, never missing. The types are the same when there is not a single row.
        """
        import pandas as pd

        order = sorted(range(len(self.columns)), key=lambda k: self.columns[k].kind == "id")
        return pd.DataFrame({
            self.columns[k].flat_in("C"): frame_column(
                [rounded(cells[k], self.columns[k]) for cells in self._cells], self.columns[k].kind
            )
            for k in order
        })  # fmt: skip

    def as_text(self, width: int | None = None, *, only: Sequence[str] = ()) -> str:
        """The table for a terminal of that `width`, or its own: all columns, or `only` those named so."""
        names = [column.name for column in self.columns]
        shown = [names.index(name) for name in only or names]
        columns = [self.columns[k] for k in shown]
        heads = [column.name if column.title is None else column.title for column in columns]
        numbers = {n for n, column in enumerate(columns) if column.kind in NUMBERS}
        return grid(heads, ([cells[k] for k in shown] for cells in self.texts()), width, numbers)

    def texts(self) -> list[list[str]]:
        """The cells as a terminal or a page shows them; a point where nothing is known."""
        return [[self._shown(c, cell) for c, cell in zip(self.columns, r, strict=True)] for r in self._cells]

    def _encoded(self, column: Column[R], cell: Any) -> Encoded:
        """A cell as JSON and CSV hold it, in the garden's units."""
        if cell is None:
            return None
        if column.kind in NUMBERS:
            number = rounded(in_units(cell, column.kind, self.units), column)
            if column.kind == "whole":
                return int(number)
            return number if math.isfinite(number) else None
        if column.kind in ("date", "time"):
            return str(cell.isoformat())
        if column.kind == "season":
            return self._season_label(cell)
        if column.kind == "texts":
            return [str(text) for text in cell]
        return bool(cell) if column.kind == "yes" else str(cell)

    def _shown(self, column: Column[R], cell: Any) -> str:
        """A cell as a terminal shows it."""
        from phenology.language.date_style import short_date

        if column.show is not None and cell is not None:
            return column.show(in_units(cell, column.kind, self.units))
        if isinstance(cell, date) and column.kind == "date":
            return short_date(cell)
        encoded = self._encoded(column, cell)
        if encoded is None or encoded == "" or encoded == []:
            return "."
        if isinstance(encoded, bool):
            return "yes" if encoded else "no"
        if isinstance(encoded, float) and column.digits is not None:
            return f"{encoded:.{column.digits}f}"
        return "; ".join(encoded) if isinstance(encoded, list) else str(encoded)


def grid(
    heads: Sequence[str],
    rows: Iterable[Sequence[str]],
    width: int | None = None,
    numbers: Collection[int] = (),
) -> str:
    """Words in rows and columns for a terminal of that `width`, or its own; `numbers` stand at the right.

    Cells that are too wide wrap: the widest first, and between words as long as there is room for them.

    Examples
    --------
    >>> print(grid(["", "2025"], [("bud break", "11 Apr"), ("hardened", ".")], 30))
               2025
    bud break  11 Apr
    hardened   .
    """
    body = [list(heads), *map(list, rows)]
    columns, most = list(zip(*body, strict=True)), width or shutil.get_terminal_size().columns
    widths = [min(most, max(map(screen_width, column))) for column in columns]
    words = [
        widths[n] if n in numbers else max(screen_width(w) for cell in column for w in _WORD_ENDS.split(cell))
        for n, column in enumerate(columns)
    ]
    for _ in range(sum(widths) + 2 * (len(widths) - 1) - most):
        roomy = [n for n, size in enumerate(widths) if size > words[n]] or range(len(widths))
        widths[max(roomy, key=lambda n: widths[n])] -= 1
    lines = []
    for row in body:
        cells = [_wrapped(cell, size) if cell else [] for cell, size in zip(row, widths, strict=True)]
        for parts in zip_longest(*cells, fillvalue=""):
            room = [" " * (size - screen_width(part)) for part, size in zip(parts, widths, strict=True)]
            told = (room[n] + part if n in numbers else part + room[n] for n, part in enumerate(parts))
            lines.append("  ".join(told).rstrip())
    return "\n".join(lines)


def screen_width(text: str) -> int:
    """Columns of a terminal that a text takes: letters of the East take two, marks above others none.

    Examples
    --------
    >>> screen_width("Elm 1"), screen_width("楓 1")
    (5, 4)
    """
    if text.isascii():
        return len(text)
    return sum(0 if combining(c) else 1 + (east_asian_width(c) in "WF") for c in text)


def _wrapped(text: str, size: int) -> list[str]:
    """Lines of a cell."""
    return wrap(text, max(1, size * len(text) // max(1, screen_width(text))))


def json_text(schema: str, content: dict[str, Any]) -> str:
    """A document of one table or of several as JSON text; dates in ISO."""
    return json.dumps({"schema": schema, **content}, ensure_ascii=False, indent=2, default=_iso)


def _iso(value: Any) -> str:
    if isinstance(value, date):
        return value.isoformat()
    raise TypeError(f"{value!r} cannot be written as JSON")


def in_units(celsius: float, kind: Kind, units: str) -> float:
    """A temperature, a difference of two or degree-days in a garden's units; other numbers as they are.

    Examples
    --------
    >>> in_units(10, "temperature", "F"), in_units(5, "degree_days", "F"), in_units(5, "number", "F")
    (50.0, 9.0, 5)
    """
    if units != "F" or kind not in HEAT:
        return celsius
    from phenology.model.units import c_to_f, degree_days_c_to_f

    return float((c_to_f if kind == "temperature" else degree_days_c_to_f)(celsius))


def rounded(value: Any, column: Column[Any]) -> Any:
    """A number to the decimals that its column tells; whatever has none, or is not finite, as it is."""
    if value is None or column.digits is None or not math.isfinite(value):
        return value
    if column.kind == "day":
        scale = 10**column.digits
        return math.ceil(round(value * scale, 6)) / scale
    return round(value, column.digits)


def frame_column(values: Sequence[Any], kind: Kind) -> pd.Series:
    """Values as one column of a DataFrame; see `Table.as_frame` for what becomes of each kind."""
    import numpy as np
    import pandas as pd

    if kind in ("text", "id", "texts"):
        joined = ("; ".join(v) if kind == "texts" and v is not None else v for v in values)
        return pd.Series([text or None for text in joined], dtype=pd.Series(["a"]).dtype)
    if kind == "date":
        day = pd.date_range("2026-01-01", periods=1).dtype  # as this pandas counts days itself
        return pd.Series(np.array(values, dtype="datetime64[D]")).astype(day)
    if kind == "time":
        moment = pd.to_datetime([datetime(2026, 1, 1, tzinfo=UTC)], utc=True).dtype  # as above
        return pd.Series(pd.to_datetime(list(values), utc=True)).astype(moment)
    if kind in ("whole", "season", "yes"):
        return pd.Series(np.array(values, dtype=np.bool_ if kind == "yes" else np.int64))
    return pd.Series(np.array([np.nan if v is None else v for v in values], dtype=float))
