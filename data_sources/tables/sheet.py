"""A table whose columns are understood: by everyday words, as the grower says, or as an earlier file's."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any, TypeVar

from data_sources.journal.schema import ImportMap
from data_sources.tables.cells import unmark
from data_sources.tables.dates import DateReader, order_of
from data_sources.tables.problems import Problem, TableError
from data_sources.tables.subjects import PLURALS, SUBJECTS, field_names
from data_sources.tables.text_table import BLANKS, TextTable, header_key
from phenology.language.words import near_words
from phenology.language.written_days import DateOrder
from phenology.model.errors import InputError
from phenology.model.records import Look, Place, Tree, Work

R = TypeVar("R", Look, Work, Tree, Place)
IGNORE = "-"
"""What a mapping gives a column that is to be passed over."""


@dataclass(frozen=True)
class Sheet:
    """A table, its subject, and which of its columns is which (header key to field, in the file's order).

    `options` are "order" and "kind" as far as said or remembered; `remembered` is what an earlier file with
    these headers left.
    """

    table: TextTable
    subject: str
    mapping: Mapping[str, str]
    options: Mapping[str, str] = field(default_factory=dict)
    remembered: ImportMap | None = None

    def texts(self, cells: Sequence[str]) -> dict[str, str]:
        """A row's cells by field, without marks and outer spaces."""
        found = zip(self.mapping.values(), cells, strict=True)
        return {name: unmark(cell.strip(BLANKS)) for name, cell in found if name != IGNORE}

    def date_order(self) -> DateOrder | None:
        """The order of day and month that the date columns prove; raises as `order_of` does."""
        dates = {one.name for one in SUBJECTS[self.subject] if one.date}
        return order_of(
            self.table.file,
            (
                (line, header, cell)
                for line, cells in self.table.rows
                for name, header, cell in zip(self.mapping.values(), self.table.headers, cells, strict=True)
                if name in dates
            ),
        )

    def rows(self, dates: DateReader, problems: list[Problem]) -> list[Row]:
        """The rows that can be used; every cell that cannot is added to the problems."""
        found = []
        for line, cells in self.table.rows:
            row, before = Row(self, line, self.texts(cells)), len(problems)
            for one in SUBJECTS[self.subject]:
                text = row.texts.get(one.name, "")
                try:
                    read = getattr(dates, one.date) if one.date else one.read
                    if one.needed and not text and read is str:
                        raise InputError(f"write the {one.name}")
                    row.values[one.name] = read(text) if text or one.needed else one.empty
                except InputError as error:
                    problems.append(row.problem(one.name, error))
            try:
                row.settle_date(dates)
            except InputError as error:
                problems.append(row.problem("date", error))
            found += [row] if len(problems) == before else []
        return found


@dataclass(frozen=True)
class Row:
    """A row of a sheet: the texts and the values of its cells, by field."""

    sheet: Sheet
    line: int
    texts: dict[str, str]
    values: dict[str, Any] = field(default_factory=dict)

    def problem(self, name: str, advice: object) -> Problem:
        """What is wrong with a cell, under the header that the file gives its field."""
        headers = self.sheet.table.headers
        at = [*self.sheet.mapping.values(), name].index(name)
        column = headers[at] if at < len(headers) else name
        read = f"read '{self.texts.get(name, '')}'"
        return Problem(self.sheet.table.file, self.line, column, read, str(advice))

    def understood(self, name: str, read: Callable[[str], str]) -> str:
        """A cell as read later; what is wrong with it is a problem of the cell."""
        try:
            return read(self.texts[name])
        except InputError as error:
            raise TableError([self.problem(name, error)]) from None

    def make(self, record: type[R], *first: Any, **more: Any) -> R:
        """A record of the row's values: its first fields as given, others instead of the row's by name."""
        names = [one.name for one in fields(record)][len(first) :]
        return record(*first, **{n: self.values[n] for n in names if n in self.values} | more)

    def settle_date(self, dates: DateReader) -> None:
        """First and last day of a dated row: its own `earliest` and `latest` where given, else its date's."""
        vague = self.values.get("date")
        if vague is None:
            return
        ends = {name: found for name in ("earliest", "latest") if (found := self.values.get(name))}
        when = replace(vague, **ends) if ends else vague
        earliest, latest = when.in_season(dates.calendar, dates.today)
        if earliest > latest:
            raise InputError("earliest lies after latest; exchange them")
        self.values.update(date_text=self.texts["date"], earliest=earliest, latest=latest)


def read_sheet(
    table: TextTable,
    *,
    subject: str | None = None,
    said: Mapping[str, str] | None = None,
    options: Mapping[str, str] | None = None,
    remembered: Iterable[ImportMap] = (),
) -> Sheet:
    """Decide what each column of a table is.

    Parameters
    ----------
    subject : str, optional
        Else what the columns fit.
    said : mapping of header to field, optional
        What the grower says; wins over everything.
    options : mapping, optional
        "order" and "kind" as said with the file; they win over remembered ones.
    remembered : iterable of ImportMap
        How earlier files were read.

    Raises
    ------
    TableError
        If a needed field has no column, or a mapping names a header or field that is not there.
    """
    headers = table.keys
    listed = ", ".join(table.headers)
    said = {header_key(header): name for header, name in (said or {}).items()}
    for header in said:
        if header not in headers:
            raise TableError(f"{table.file} has no column '{header}'; it has {listed}")
    before = next((m for m in remembered if sorted(json.loads(m.headers)) == sorted(headers)), None)
    known: dict[str, str] = {}
    kept: dict[str, str] = {}
    if before is not None and subject in (None, before.target):
        subject, known, kept = before.target, json.loads(before.mapping), json.loads(before.options)
    candidates = [subject] if subject else list(SUBJECTS)
    _check_names([n for n in said.values() if n != IGNORE], candidates)
    lacking: dict[str, list[str]] = {}
    for candidate in candidates:
        mapping, needed = _mapping(candidate, headers, known | said), field_names(candidate, needed=True)
        lacking[candidate] = [name for name in needed if name not in mapping.values()]
        foreign = [n for n in said.values() if n != IGNORE and n not in field_names(candidate)]
        if not lacking[candidate] and not foreign:
            return Sheet(table, candidate, mapping, {**kept, **(options or {})}, before)
        lacking[candidate] += foreign
    subject = max(lacking, key=lambda s: len(field_names(s, needed=True)) - len(lacking[s]))
    lacks = lacking[subject]
    raise TableError(
        f"{table.file}: which column is the {' and which the '.join(lacks)} of its {PLURALS[subject]}? "
        f"It has {listed}; say for example --map '{table.headers[0]}={lacks[0]}'"
    )


def to_remember(sheet: Sheet, new_id: str) -> ImportMap | None:
    """The record that lets the next file with these headers be read without a question.

    None when the headers say it all, or when it is remembered already.
    """
    headers, before = sorted(sheet.mapping), sheet.remembered
    if before is None and not sheet.options and _mapping(sheet.subject, headers, {}) == sheet.mapping:
        return None
    now = ImportMap(
        before.id if before else new_id,
        json.dumps(headers, ensure_ascii=False),
        sheet.subject,
        json.dumps(dict(sheet.mapping), ensure_ascii=False, sort_keys=True),
        json.dumps(dict(sheet.options), ensure_ascii=False, sort_keys=True),
    )
    return None if now == before else now


def _check_names(names: Sequence[str], subjects: Sequence[str]) -> None:
    known = {name for subject in subjects for name in field_names(subject)}
    for name in names:
        if name not in known:
            near = near_words(name, {n: n for n in known})
            hint = f"did you mean {' or '.join(near)}?" if near else f"they are {', '.join(sorted(known))}"
            raise TableError(f"there is no field '{name}' to map a column to; {hint}")


def _mapping(subject: str, headers: Sequence[str], said: Mapping[str, str]) -> dict[str, str]:
    """Every header with its field, or with IGNORE; no field twice, its own name before its other words."""
    mapping = {h: said[h] for h in headers if h in said}
    for own_name in (True, False):
        for header in headers:
            for one in SUBJECTS[subject]:
                words = one.headers[:1] if own_name else one.headers
                free = header not in mapping and one.name not in mapping.values()
                if free and header.replace("_", " ") in words:
                    mapping[header] = one.name
    return {h: mapping.get(h, IGNORE) for h in headers}
