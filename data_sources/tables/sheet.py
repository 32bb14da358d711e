"""A table whose columns are understood, and its rows: one look, work, tree or place each.

A line of a notebook may be a whole season: each date in a column of a stage or work is a row of its own.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, fields, replace
from datetime import date
from typing import Any, TypeVar

from data_sources.journal.schema import ImportMap
from data_sources.tables.cells import unmark
from data_sources.tables.columns import IGNORE, OPEN, Known, explained, understand
from data_sources.tables.dates import DAY_NUMBER, DateReader, order_of
from data_sources.tables.headers import event_column, is_dated, is_mark, is_nothing, is_unknown
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

    @property
    def what(self) -> str:
        """The field that says what was seen or done."""
        return WHAT.get(self.subject, "")

    @property
    def year(self) -> int | None:
        """The year of dates without one."""
        return year_of(self.table) if self.subject in ENTRIES else None

    def headed(self, name: str) -> list[str]:
        """Headers of the columns that are a field, or OPEN, or IGNORE."""
        return [
            header
            for header, is_ in zip(self.table.headers, self.mapping.values(), strict=True)
            if is_ == name
        ]

    def dated_cells(self) -> Iterator[tuple[int, str, str]]:
        """Line, header and text of every cell where a date may stand."""
        dates = {one.name for one in SUBJECTS[self.subject] if one.date}
        for line, cells in self.table.rows:
            for name, header, cell in zip(self.mapping.values(), self.table.headers, cells, strict=True):
                if name in dates or (event_column(name) is not None and not is_mark(cell)):
                    yield line, header, cell

    def date_order(self) -> DateOrder | None:
        """The order of day and month that the date columns prove; raises as `order_of` does."""
        return order_of(self.table.file, self.dated_cells())

    def rows(self, dates: DateReader) -> Iterator[Row]:
        """The rows, with what is wrong with each."""
        above: dict[str, str] = {}
        season: tuple[str, str] | None = None
        for line, cells in self.table.rows:
            filled = [cell for cell in cells if cell.strip(BLANKS)]
            if len(filled) == 1 and self.subject in ENTRIES and (title := _SEASON.fullmatch(filled[0])):
                season = ("season" if title["next"] else "year", filled[0])  # a line between the rows
                continue
            texts, own = (
                self.texts(cells),
                list(zip(self.table.headers, self.mapping.values(), cells, strict=True)),
            )
            if self.subject in ENTRIES:
                rows = list(self._entries(line, texts, own, above, season))
            else:
                rows = [Row(self, line, texts)]
            rows += self._unexplained(line, texts, own, alone=not rows)
            for row in rows:
                row.read(dates)
                yield row

    def texts(self, cells: Iterable[str]) -> dict[str, str]:
        """A row's cells by field, without marks and outer spaces."""
        found = zip(self.mapping.values(), cells, strict=True)
        names = {one.name for one in SUBJECTS[self.subject]}
        return {name: unmark(cell.strip(BLANKS)) for name, cell in found if name in names}

    def _entries(
        self,
        line: int,
        texts: dict[str, str],
        cells: list[tuple[str, str, str]],
        above: dict[str, str],
        season: tuple[str, str] | None,
    ) -> Iterator[Row]:
        """Looks and work in a line: that of its date and stage, and those of its columns of dates."""
        what, date_text = texts.get(self.what, ""), texts.get("date", "")
        dated = [
            (header, column, cell.strip(BLANKS))
            for header, name, cell in cells
            if (column := event_column(name)) is not None and not is_nothing(cell)
        ]
        if not (what or dated or (date_text and not is_nothing(date_text))):
            above.update({name: text for name, text in texts.items() if text and name in ("tree", "species")})
            return
        filled = [
            name
            for name in ("tree", "date")
            if texts.get(name, "").casefold() in DITTO
            or (name == "tree" and not texts.get(name) and not texts.get("species"))
        ]
        if any(above.get(name) for name in filled):
            texts = texts | {name: above.get(name, "") for name in filled}
            if "tree" in filled and not texts.get("species"):
                texts["species"] = above.get("species", "")
        above.update({name: texts.get(name, "") for name in ("tree", "date", "species")})
        from_above = tuple(name for name in filled if texts.get(name))
        season = ("year", texts["season"]) if texts.get("season") else season
        rest = texts
        if what or (date_text and not any(is_mark(cell) for _, _, cell in dated)):
            for event in _events_in(what):
                yield Row(self, line, rest | {self.what: event}, season=season, from_above=from_above)
                rest = {name: text for name, text in rest.items() if name != "note"}
        for header, column, cell in dated:
            own = rest | {self.what: str(column.event), "date": cell}
            own |= {"flush": str(column.flush)} if column.flush else {}
            if is_mark(cell):
                own["date"] = date_text
            elif isinstance(column.event, Stage):
                own["kind"] = own.get("kind") or self.options.get("kind") or "happened"
            own = {name: text for name, text in own.items() if name not in ("earliest", "latest")}
            at = ("year", str(column.year)) if column.year else season
            yield Row(self, line, own, season=at, from_above=from_above, column=header)
            rest = {name: text for name, text in rest.items() if name != "note"}

    def _unexplained(
        self, line: int, texts: dict[str, str], cells: list[tuple[str, str, str]], *, alone: bool
    ) -> Iterator[Row]:
        """Dates of which nothing tells what happened then; `alone` where the line says nothing else."""
        for (header, name, cell), key in zip(cells, self.mapping, strict=True):
            text = cell.strip(BLANKS)
            passed = name == IGNORE and key in self.said
            if not is_dated(text) or passed or (name not in (OPEN, IGNORE) and not alone):
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
                    f"{explain} to pass it over" if name in (OPEN, IGNORE) else "say what happened then",
                    asks=True,
                )
            )
            yield row


@dataclass(frozen=True)
class Row:
    """One look, work, tree or place of a sheet: the texts and the values of its cells, by field.

    `column` heads the cell with its date, where that is not the sheet's own date column; `from_above` names
    the fields that a line above gave.
    """

    sheet: Sheet
    line: int
    texts: dict[str, str]
    values: dict[str, Any] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    season: tuple[str, str] | None = None
    column: str = ""
    from_above: tuple[str, ...] = ()

    def read(self, dates: DateReader) -> None:
        """Read the cells; what is wrong with one is a problem of the row."""
        if self.problems:
            return
        for one in SUBJECTS[self.sheet.subject]:
            text = self.texts.get(one.name, "")
            try:
                if one.name == "date" and is_unknown(text):
                    self.values["unknown"] = True
                    return
                if one.name == "date" and self.sheet.subject in ENTRIES:
                    self.values["date"] = self._date(text, dates)
                    continue
                read = getattr(dates, one.date) if one.date else one.read
                if one.needed and not text and read is str:
                    raise InputError(f"write the {one.name}")
                self.values[one.name] = read(text) if text or one.needed else one.empty
            except InputError as error:
                self.problems.append(self.problem(one.name, error))
        try:
            self._settle_date(dates)
        except InputError as error:
            self.problems.append(self.problem("date", error))

    def _date(self, text: str, dates: DateReader) -> VagueDate:
        """The row's date; without a year of its own it is of the season given for it."""
        if self.season is None:
            year = self.sheet.year
            return (
                dates.vague(text)
                if year is None
                else dates.within(text, date(year, 1, 1), date(year, 12, 31))
            )
        found = _SEASON.fullmatch(self.season[1])
        if found is None:
            raise InputError(f"'{self.season[1]}' is no year; write one such as 2004")
        year = int(found["year"])
        header = self.sheet.headed("season")
        if found["next"] or (header and header[0].casefold() in _SEASON_HEADERS):
            return dates.within(text, dates.calendar.start(year), dates.calendar.end(year))
        return dates.in_year(text, year)

    def problem(self, name: str, advice: object) -> Problem:
        """What is wrong with a cell, under the header that the file gives its field."""
        asks = isinstance(advice, UnknownNameError) and bool(advice.near)
        if self.column and name in ("date", self.sheet.what):
            column: str = self.column
        else:
            headed = self.sheet.headed(name)
            column = headed[0] if headed else name
        return Problem(
            self.sheet.table.file, self.line, column, f"read '{self.texts.get(name, '')}'", str(advice), asks
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
        headed = self.sheet.headed("date")
        return self.column or (headed[0] if headed else "")

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

    def make(self, record: type[R], *first: Any, **more: Any) -> R:
        """A record of the row's values: its first fields as given, others instead of the row's by name."""
        names = [one.name for one in fields(record)][len(first) :]
        return record(*first, **{n: self.values[n] for n in names if n in self.values} | more)

    def _settle_date(self, dates: DateReader) -> None:
        """First and last day of a dated row: its own `earliest` and `latest` where given, else its date's."""
        vague = self.values.get("date")
        if vague is None:
            return
        ends = {name: found for name in ("earliest", "latest") if (found := self.values.get(name))}
        when = replace(vague, **ends) if ends else vague
        earliest, latest = when.in_season(dates.calendar, dates.today)
        if earliest > latest:
            raise InputError("earliest lies after latest; exchange them")
        self.values.update(date_text=self._date_text(vague, earliest), earliest=earliest, latest=latest)

    def _date_text(self, vague: VagueDate, earliest: date) -> str:
        """A date as the file has it; a count of days as its day, and the year with it that a title had."""
        text = self.texts["date"]
        if DAY_NUMBER.fullmatch(text):
            return earliest.isoformat()
        if _HAS_YEAR.search(text) or (self.season is None and self.sheet.year is None):
            return text
        return earliest.isoformat() if vague.is_exact else f"{text} {earliest.year}"


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

    Parameters
    ----------
    subject : str, optional
        Else what the columns fit.
    said : mapping of header to field, stage or work, optional
        What the grower says; wins over everything.
    options : mapping, optional
        "order" and "kind" as said with the file; they win over remembered ones.
    remembered : iterable of ImportMap
        How earlier files were read.
    known : Known, optional
        What the garden makes of a cell.

    Raises
    ------
    TableError
        If a needed field has no column, or a mapping names a header or field that is not there.
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
