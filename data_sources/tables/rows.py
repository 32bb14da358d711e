"""Rows of a spreadsheet as the records they speak of, before they are fitted into a garden.

Each reader takes a row's cells by field and gives either a value or the problems of the row.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import TypeVar

from data_sources.tables.columns import Columns
from data_sources.tables.csv_cells import Problem
from data_sources.tables.looks_csv import KINDS, bounds_of, yes_or_no
from phenology.language.vague_dates import DateOrder, VagueDate, parse
from phenology.language.words import find_operation, find_part, find_stage, near_words
from phenology.model.errors import InputError
from phenology.model.records import Place
from phenology.model.season import SeasonCalendar

AIMS = ("building", "refining", "resting")
GROWN_FOR = ("leaf", "flower", "fruit")
T = TypeVar("T")


@dataclass(frozen=True)
class DatedRow:
    """A look or a piece of work as a row tells it; `what` is the stage or the operation, `said` its word."""

    file: str
    line: int
    trees: str
    species: str
    what: str
    date_text: str
    earliest: date
    latest: date
    kind: str = "seen"
    kind_is_open: bool = False
    flush: int | None = None
    checked: bool = False
    lost: bool = False
    early: bool = False
    part: str | None = None
    leaves: str | None = None
    who: str | None = None
    note: str | None = None
    said: str = ""


@dataclass(frozen=True)
class TreeRow:
    """A tree as a row tells it."""

    line: int
    label: str
    species: str
    place: str | None
    aim: str | None
    pot: str | None
    last_repot: date | None
    vigour: str | None
    grown_for: str | None
    retired: date | None
    note: str | None


class RowReader:
    """Reads the rows of one file, gathering problems.

    Parameters
    ----------
    file : str
    columns : Columns
    calendar : SeasonCalendar
    today : date
    order : DateOrder or None
        Order of day and month in this file.
    kind : str or None
        What dates of this file are that could be `seen` or `happened`.
    first_weekday : int
        Day on which weeks begin, counted from Monday as 0.
    """

    def __init__(
        self,
        file: str,
        columns: Columns,
        calendar: SeasonCalendar,
        *,
        today: date,
        order: DateOrder | None,
        kind: str | None = None,
        first_weekday: int = 0,
    ) -> None:
        self.file, self.columns, self.calendar = file, columns, calendar
        self.today, self.order, self.kind, self.first_weekday = today, order, kind, first_weekday
        self.problems: list[Problem] = []

    def dated(self, line: int, cells: Mapping[str, str]) -> DatedRow | None:
        """A row of looks or work."""
        row = _Row(self, line, cells)
        is_look = self.columns.target == "look"
        trees = row.needed("tree")
        what = row.read("stage", find_stage) if is_look else row.read("operation", find_operation)
        typed = row.needed("date")
        vague = row.attempt("date", lambda: self._parsed(typed)) if typed else None
        ends = None
        if vague is not None:
            dated = vague  # held for the closure
            ends = row.attempt(
                "date", lambda: bounds_of(cells, dated, self.calendar, today=self.today, order=self.order)
            )
        kind, is_open = "seen", False
        if is_look and vague is not None:
            if cells.get("kind"):
                kind = row.read("kind", _one_of(KINDS)) or ""
            elif vague.hint is not None:
                kind = vague.hint
            else:
                kind, is_open = self.kind or "seen", self.kind is None
        flush = row.read("flush", _flush_number) if cells.get("flush") else None
        part = row.read("part", find_part) if cells.get("part") else None
        flags = {
            name: row.read(name, yes_or_no) if cells.get(name) else False
            for name in ("checked", "lost", "early")
        }
        if row.problems or ends is None:
            self._gather(row)
            return None
        return DatedRow(
            self.file,
            line,
            trees,
            cells.get("species", ""),
            what or "",
            typed,
            *ends,
            kind,
            is_open,
            flush,
            bool(flags["checked"]),
            bool(flags["lost"]),
            bool(flags["early"]),
            part,
            leaves=cells.get("leaves") or None,
            who=cells.get("who") or None,
            note=cells.get("note") or None,
            said=cells.get("stage" if is_look else "operation", ""),
        )

    def tree(self, line: int, cells: Mapping[str, str]) -> TreeRow | None:
        """A row of trees."""
        row = _Row(self, line, cells)
        label, species = row.needed("label"), row.needed("species")
        aim = row.read("aim", _one_of(AIMS)) if cells.get("aim") else None
        grown_for = row.read("grown_for", _one_of(GROWN_FOR)) if cells.get("grown_for") else None
        last_repot = row.read("last_repot", self._day) if cells.get("last_repot") else None
        retired = row.read("retired", self._day) if cells.get("retired") else None
        if row.problems:
            self._gather(row)
            return None
        return TreeRow(
            line,
            label,
            species,
            cells.get("place") or None,
            aim,
            cells.get("pot") or None,
            last_repot,
            cells.get("vigour") or None,
            grown_for,
            retired,
            cells.get("note") or None,
        )

    def place(self, line: int, cells: Mapping[str, str], new_id: str) -> Place | None:
        """A row of places."""
        row = _Row(self, line, cells)
        name = row.needed("name")
        latitude = row.read("latitude", number_between(-90, 90)) if row.needed("latitude") else None
        longitude = row.read("longitude", number_between(-180, 180)) if row.needed("longitude") else None
        elevation = row.read("elevation", number_between(-430, 9000)) if cells.get("elevation") else None
        if row.problems or latitude is None or longitude is None:
            self._gather(row)
            return None
        return Place(
            new_id,
            name,
            latitude,
            longitude,
            elevation,
            cells.get("timezone") or None,
            cells.get("cover") or "open",
            cells.get("sun") or None,
            cells.get("note") or None,
        )

    def problem(self, line: int, name: str, read: str | None, advice: object) -> None:
        """Note a problem found later, under the header that the file gives the field."""
        self.problems.append(Problem(self.file, line, self.columns.header_of(name), read, str(advice)))

    def _gather(self, row: _Row) -> None:
        self.problems += row.problems

    def _day(self, text: str) -> date:
        """A date cell that must fix one day; a vague one counts by its middle."""
        earliest, latest = self._parsed(text).in_season(self.calendar, self.today)
        return earliest + (latest - earliest) // 2

    def _parsed(self, text: str) -> VagueDate:
        return parse(text, today=self.today, order=self.order, first_weekday=self.first_weekday)


class _Row:
    """One row being read; each problem names the file's own header."""

    def __init__(self, reader: RowReader, line: int, cells: Mapping[str, str]) -> None:
        self.reader, self.line, self.cells = reader, line, cells
        self.problems: list[Problem] = []

    def needed(self, name: str) -> str:
        text = self.cells.get(name, "")
        if not text:
            self._bad(name, f"write the {name}")
        return text

    def read(self, name: str, how: Callable[[str], T]) -> T | None:
        return self.attempt(name, lambda: how(self.cells.get(name, "")))

    def attempt(self, name: str, how: Callable[[], T]) -> T | None:
        try:
            return how()
        except InputError as error:
            self._bad(name, error)
            return None

    def _bad(self, name: str, advice: object) -> None:
        header = self.reader.columns.header_of(name)
        self.problems.append(
            Problem(self.reader.file, self.line, header, self.cells.get(name, ""), str(advice))
        )


def number_between(low: float, high: float) -> Callable[[str], float]:
    """A reader of numbers within limits; a decimal comma is understood."""

    def read(text: str) -> float:
        try:
            number = float(re.sub(r"(?<=\d),(?=\d)", ".", text.strip().rstrip("°m ")))
        except ValueError:
            raise InputError(f"write a number from {low:g} to {high:g}") from None
        if not low <= number <= high:
            raise InputError(f"write a number from {low:g} to {high:g}")
        return number

    return read


def _flush_number(text: str) -> int:
    if not (text.isascii() and text.isdigit() and 1 <= int(text) <= 20):
        raise InputError("write the number of the flush within its season: 1, 2, ...")
    return int(text)


def _one_of(allowed: tuple[str, ...]) -> Callable[[str], str]:
    def read(text: str) -> str:
        word = text.strip().casefold()
        if word in allowed:
            return word
        near = near_words(word, {a: a for a in allowed})
        raise InputError(f"write {' or '.join(near or allowed)}")

    return read
