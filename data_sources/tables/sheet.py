"""A table whose columns are understood, and its rows: one look, work, tree or place each.

A line of a notebook may be a whole season: each date in a column of a stage or work is a row of its own.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property, lru_cache
from itertools import compress
from typing import Any, TypeVar

from data_sources.journal.schema import ImportMap
from data_sources.tables.cells import read_once, unmark
from data_sources.tables.columns import IGNORE, OPEN, Known, explained, understand
from data_sources.tables.dates import DAY_NUMBER, DateReader, is_dated, order_of
from data_sources.tables.headers import EventColumn, event_column, is_mark, is_nothing, is_unknown
from data_sources.tables.notebook import year_of
from data_sources.tables.problems import Problem, TableError
from data_sources.tables.subjects import ENTRIES, SEASON_WORDS, SUBJECTS, WHAT
from data_sources.tables.text_table import BLANKS, TextTable, header_key
from phenology.language.vague_dates import VagueDate
from phenology.language.words import known_event
from phenology.language.written_days import DateOrder
from phenology.model.errors import InputError, UnknownNameError
from phenology.model.records import Look, Place, Tree, Work
from phenology.model.stages import Stage

R = TypeVar("R", Look, Work, Tree, Place)
DITTO = {'"', "''", "”", "〃", "ditto", "do.", "dto.", "id.", "idem"}
_SEVERAL = re.compile(r"\s*[,;+&/|]\s*|\s+(?:and|then|und|dann|et|puis|y|e|en)\s+")
_SEASON = re.compile(
    rf"(?:(?:{'|'.join(SEASON_WORDS)})[ :]*)?(?P<year>(?:19|20)\d\d)(?P<next>\s*[/-]\s*\d{{2,4}})?:?",
    re.IGNORECASE,
)
_HAS_YEAR = re.compile(r"\d{4}|'\d\d|\d[./-]\d{1,2}[./-]\d")
_SEASON_HEADERS = ("season", "saison", "temporada", "stagione", "seizoen")


@dataclass(frozen=True)
class Sheet:
    """A table, its subject, and which of its columns is which (header key to field, in the file's order).

    `options` are "order" and "kind" as far as said or remembered; `remembered` is what an earlier file with
    these headers left; `year` is that of dates without one, from the name of sheet or file.
    """

    table: TextTable
    subject: str
    mapping: Mapping[str, str]
    options: Mapping[str, str] = field(default_factory=dict)
    remembered: ImportMap | None = None
    said: frozenset[str] = frozenset()  # headers of which the grower said what they are, now or earlier

    @cached_property
    def what(self) -> str:
        """The field that says what was seen or done."""
        return WHAT.get(self.subject, "")

    @cached_property
    def year(self) -> int | None:
        """The year of dates without one."""
        return year_of(self.table) if self.subject in ENTRIES else None

    @cached_property
    def headed(self) -> dict[str, str]:
        """The header over each field."""
        return dict(zip(self.mapping.values(), self.table.headers, strict=True))

    @cached_property
    def _fields(self) -> list[tuple[int, str]]:
        """Columns that are a field, by position."""
        names = {one.name for one in SUBJECTS[self.subject]}
        return [(n, name) for n, name in enumerate(self.mapping.values()) if name in names]

    @cached_property
    def _event_columns(self) -> list[tuple[int, EventColumn]]:
        """Columns of dates of a stage or work, by position."""
        found = ((n, event_column(name)) for n, name in enumerate(self.mapping.values()))
        return [(n, column) for n, column in found if column is not None]

    @cached_property
    def _idle(self) -> dict[int, str]:
        """What columns that are no field are, by position; those that the grower passes over left out."""
        names = enumerate(self.mapping.items())
        return {
            n: name for n, (key, name) in names if name == OPEN or (name == IGNORE and key not in self.said)
        }

    def date_order(self) -> DateOrder | None:
        """The order of day and month that the date columns prove; raises as `order_of` does."""
        dates = {one.name for one in SUBJECTS[self.subject] if one.date}
        plain = [n for n, name in self._fields if name in dates]
        first: dict[tuple[int, str], int] = {}  # the line on which each text of a column stands first
        for line, cells in self.table.rows:
            for n in plain:
                first.setdefault((n, cells[n]), line)
            for n, _ in self._event_columns:
                if not is_mark(cells[n]):
                    first.setdefault((n, cells[n]), line)
        headers = self.table.headers
        return order_of(self.table.file, ((line, headers[n], cell) for (n, cell), line in first.items()))

    def rows(self, dates: DateReader) -> Iterator[Row]:
        """The rows, with what is wrong with each."""
        reader, above, entries = _RowReader(self, dates), dict[str, str](), self.subject in ENTRIES
        season: tuple[str, str] | None = None
        for line, cells in self.table.rows:
            if entries and (title := _title(cells)):
                season = title  # a line between the rows
                continue
            texts = self.texts(cells)
            rows = self._entries(line, texts, cells, above, season) if entries else [Row(self, line, texts)]
            if self._idle or not rows:
                rows += self._unexplained(line, texts, cells, alone=not rows)
            for row in rows:
                reader.read(row)
            reader.read_in_season(rows)
            yield from rows

    def texts(self, cells: Sequence[str]) -> dict[str, str]:
        """A row's cells by field, without marks and outer spaces."""
        return {name: unmark(cells[n].strip(BLANKS)) for n, name in self._fields}

    def _entries(
        self,
        line: int,
        texts: dict[str, str],
        cells: Sequence[str],
        above: dict[str, str],
        season: tuple[str, str] | None,
    ) -> list[Row]:
        """Looks and work in a line: that of its date and stage, and those of its columns of dates."""
        what, tree = texts.get(self.what, ""), texts.get("tree", "")
        dated = [(n, column) for n, column in self._event_columns if not is_nothing(cells[n])]
        if not (what or dated or not is_nothing(texts.get("date", ""))):
            above.update({name: text for name, text in texts.items() if text and name in ("tree", "species")})
            return []
        if above.get("date") and texts.get("date", "").casefold() in DITTO:
            texts["date"] = above["date"]
        if above.get("tree") and (tree.casefold() in DITTO or not (tree or texts.get("species"))):
            texts["tree"], texts["species"] = above["tree"], texts.get("species") or above["species"]
        above.update({name: texts.get(name, "") for name in ("tree", "date", "species")})
        season = ("year", texts["season"]) if texts.get("season") else season
        rows: list[Row] = []
        if what or (texts.get("date") and not any(is_mark(cells[n]) for n, _ in dated)):
            rows = [Row(self, line, texts | {self.what: event}, season) for event in _events_in(what)]
        for n, column in dated:
            cell = cells[n].strip(BLANKS)
            own = {name: text for name, text in texts.items() if name not in ("earliest", "latest")}
            own |= {self.what: str(column.event)} | ({"flush": str(column.flush)} if column.flush else {})
            if not is_mark(cell):
                own["date"] = cell
                if isinstance(column.event, Stage):
                    own["kind"] = own.get("kind") or self.options.get("kind") or "happened"
            elif not own.get("date"):
                own["date"] = cell  # a tick that no date stands for is told as it stands
            at = ("year", str(column.year)) if column.year else season
            rows.append(Row(self, line, own, at, self.table.headers[n]))
        for row in rows[1:]:
            row.texts.pop("note", None)
        return rows

    def _unexplained(
        self, line: int, texts: dict[str, str], cells: Sequence[str], *, alone: bool
    ) -> Iterator[Row]:
        """Dates of which nothing tells what happened then; `alone` where the line says nothing else."""
        fields = dict(self._fields) | {n: "" for n, _ in self._event_columns} if alone else {}
        for n, name in (self._idle | fields).items():
            text, header = cells[n].strip(BLANKS), self.table.headers[n]
            if not is_dated(text):
                continue
            row = Row(self, line, texts | {"date": text, self.what: ""}, column=header)
            explain = f"say --map '{header}=STAGE OR WORK', such as '{header}=hardened', or '{header}=-'"
            whole = name == OPEN
            row.problems.append(
                Problem(
                    self.table.file,
                    None if whole else line,
                    header,
                    "nothing says what the dates here are" if whole else f"read '{text}'",
                    f"{explain} to pass it over" if n in self._idle else "say what happened then",
                    asks=True,
                    about="column" if n in self._idle else "",
                )
            )
            yield row


@dataclass(slots=True)
class Row:
    """One look, work, tree or place of a sheet: the texts and the values of its cells, by field.

    `season` is what gives its date the year: ("season" or "year", its words). `column` heads the cell with
    its date, where that is not the sheet's own date column.
    """

    sheet: Sheet
    line: int
    texts: dict[str, str]
    season: tuple[str, str] | None = None
    column: str = ""
    values: dict[str, Any] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    def problem(self, name: str, advice: object) -> Problem:
        """What is wrong with a cell, under the header that the file gives its field."""
        asks = isinstance(advice, UnknownNameError) and bool(advice.near)
        column = self.column if name in ("date", self.sheet.what) else ""
        return Problem(
            self.sheet.table.file,
            self.line,
            column or self.sheet.headed.get(name, name),
            f"read '{self.texts.get(name, '')}'",
            str(advice),
            asks,
        )

    def understood(self, name: str, read: Callable[[str], str]) -> str:
        """A cell as read later; what is wrong with it is a problem of the cell."""
        try:
            return read(self.texts[name])
        except InputError as error:
            raise TableError([self.problem(name, error)]) from None

    @property
    def date_column(self) -> str:
        """The header over the row's date."""
        return self.column or self.sheet.headed.get("date", "")

    def to_mend(self) -> dict[str, str]:
        """The cells as a sheet to be mended has them: a day that is clear written out, the year kept."""
        texts = dict(self.texts)
        day = self.values.get("date")
        if isinstance(day, VagueDate) and day.is_exact and day.earliest is not None:
            texts["date"] = day.earliest.isoformat()
        year = self.season[1] if self.season else self.sheet.year
        if year and not _HAS_YEAR.search(texts.get("date", "")):
            texts["season"] = str(year)
        return texts

    @property
    def event(self) -> Any:
        """The stage or work."""
        return self.values.get(self.sheet.what)

    def make(self, record: type[R], *first: Any) -> R:
        """A record of the row's values, its first fields as given."""
        return record(*first, *[self.values[name] for name in record.__match_args__[len(first) :]])


class _Values(dict[str, Any]):
    """The values of a row by field; what it says nothing of has its usual value, and takes no room."""

    __slots__ = ("usual",)

    def __init__(self, usual: Mapping[str, Any]) -> None:
        self.usual = usual

    def __missing__(self, name: str) -> Any:
        return self.usual[name]


class _RowReader:
    """Reads the rows of a sheet, each text of a column once."""

    def __init__(self, sheet: Sheet, dates: DateReader) -> None:
        self.sheet, self.dates, self.entries = sheet, dates, sheet.subject in ENTRIES
        self.fields = {one.name: one for one in SUBJECTS[sheet.subject]}
        self.plain = {name for name, one in self.fields.items() if one.read is str and not one.date}
        self.empty = {name: one.empty for name, one in self.fields.items() if not one.needed}
        self.needed = {name: "" for name, one in self.fields.items() if one.needed}
        self._value_once, self._days_once = read_once(self._value), read_once(self._days)

    def read(self, row: Row) -> None:
        """Read the cells; what is wrong with one is a problem of the row."""
        if row.problems:
            return
        if self.entries and is_unknown(row.texts.get("date", "")):
            row.values = {"unknown": True}
            return
        row.values = values = _Values(self.empty)
        wrong: dict[str, InputError] = {}
        for name, text in (self.needed | row.texts).items():
            if text and name in self.plain:
                values[name] = text
            elif (text or name in self.needed) and not (name == "date" and self.entries):
                try:
                    values[name] = self._value_once(name, text)
                except InputError as error:
                    wrong[name] = error
        if self.entries:
            ends = tuple((name, values[name]) for name in ("earliest", "latest") if values[name])
            try:
                values.update(self._days_once(row.texts.get("date", ""), row.season, ends))
            except InputError as error:
                wrong["date"] = error
        if wrong:
            names = [*(name for name in self.fields if name != "date"), "date"]
            row.problems += [row.problem(name, wrong[name]) for name in names if name in wrong]

    def read_in_season(self, rows: Sequence[Row]) -> None:
        """Read dates without a year again, of the one season that the other dates of their line are of."""
        if self.sheet.year is not None or len(rows) < 2:
            return
        bare = [row.season is None and not _HAS_YEAR.search(row.texts.get("date", "")) for row in rows]
        if not any(bare) or all(bare):
            return
        days = [row.values.get("earliest") for row, without in zip(rows, bare, strict=True) if not without]
        seasons = {self.dates.calendar.season_of(day) for day in days if day is not None}
        for row in compress(rows, bare) if len(seasons) == 1 else ():
            row.season = ("season", self.dates.calendar.label(*seasons))
            self.read(row)

    def _value(self, name: str, text: str) -> Any:
        one = self.fields[name]
        if name in self.plain:
            raise InputError(f"write the {name}")
        return getattr(self.dates, one.date)(text) if one.date else one.read(text)

    def _days(
        self, text: str, season: tuple[str, str] | None, ends: tuple[tuple[str, date], ...]
    ) -> dict[str, Any]:
        """A row's date, what is kept of its words, and its first and last day, as far as given these."""
        vague = self._vague(text, season)
        given: Any = dict(ends)
        when = replace(vague, **given) if given else vague
        earliest, latest = when.in_season(self.dates.calendar, self.dates.today)
        if earliest > latest:
            raise InputError("earliest lies after latest; exchange them")
        if DAY_NUMBER.fullmatch(text):
            text = earliest.isoformat()
        elif not (_HAS_YEAR.search(text) or (season is None and self.sheet.year is None)):
            text = earliest.isoformat() if vague.is_exact else f"{text} {earliest.year}"
        return {"date": vague, "date_text": text, "earliest": earliest, "latest": latest}

    def _vague(self, text: str, season: tuple[str, str] | None) -> VagueDate:
        """A date; without a year of its own it is of the season, or the year, given for it."""
        year, calendar = self.sheet.year, self.dates.calendar
        if season is not None:
            found = _SEASON.fullmatch(season[1])
            if found is None:
                raise InputError(f"'{season[1]}' is no year; write one such as 2004")
            year = int(found["year"])
            if found["next"] or self.sheet.headed.get("season", "").casefold() in _SEASON_HEADERS:
                return self.dates.within(text, calendar.start(year), calendar.end(year))
        if year is None:
            return self.dates.vague(text)
        return self.dates.within(text, date(year, 1, 1), date(year, 12, 31))


def _title(cells: Sequence[str]) -> tuple[str, str] | None:
    """The season or year that a line holds and nothing else."""
    filled = [cell for cell in cells if cell.strip(BLANKS)]
    found = _SEASON.fullmatch(filled[0]) if len(filled) == 1 else None
    return ("season" if found["next"] else "year", found[0]) if found else None


@lru_cache(maxsize=1 << 10)
def _events_in(text: str) -> list[str]:
    """The stages and works of a cell; one that holds several known ones is taken apart."""
    pieces = [piece for piece in _SEVERAL.split(text) if piece]
    if known_event(text) is None and len(pieces) > 1 and all(map(known_event, pieces)):
        return pieces
    return [text]


def read_sheet(
    table: TextTable,
    *,
    subject: str | None = None,
    said: Mapping[str, str] | None = None,
    options: Mapping[str, str] | None = None,
    remembered: Iterable[ImportMap] = (),
    known: Known | None = None,
) -> Sheet:
    """Decide what each column of a table is.

    What the grower `said` (header to field, stage or work) wins over everything, `options` ("order", "kind")
    over those `remembered` of earlier files; without a `subject` it is what the columns fit. Raises
    `TableError` if a needed field has no column, or a mapping names a header or field that is not there.
    """
    chosen, mapping, kept, before = understand(
        table, subject=subject, said=said or {}, remembered=remembered, known=known or Known()
    )
    answered = {header_key(header) for header in said or {}} | set(
        json.loads(before.mapping) if before else ()
    )
    return Sheet(table, chosen, mapping, {**kept, **(options or {})}, before, frozenset(answered))


def to_remember(sheet: Sheet, new_id: str) -> ImportMap | None:
    """The record that lets the next file with these headers be read without a question.

    None when the headers say it all, or when it is remembered already.
    """
    headers, before = sorted(sheet.mapping), sheet.remembered
    clear = not sheet.said or explained(list(sheet.mapping), sheet.subject) == dict(sheet.mapping)
    if before is None and not sheet.options and clear:
        return None
    mapping = {
        key: name for key, name in sheet.mapping.items() if name not in (OPEN, IGNORE) or key in sheet.said
    }
    now = ImportMap(
        before.id if before else new_id,
        json.dumps(headers, ensure_ascii=False),
        sheet.subject,
        json.dumps(mapping, ensure_ascii=False, sort_keys=True),
        json.dumps(dict(sheet.options), ensure_ascii=False, sort_keys=True),
    )
    return None if now == before else now
