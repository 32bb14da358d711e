"""Dates in a table: the order of day and month that a whole file proves, cells found and read as dates."""

from __future__ import annotations

import re
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache

from data_sources.tables.problems import FileQuestion, MixedOrders, Problem
from phenology.language.other_languages import in_english
from phenology.language.vague_dates import VagueDate, parse
from phenology.language.written_days import (
    DATE_ORDERS,
    AmbiguousDateError,
    DateOrder,
    MixedDatesError,
    decide_order,
    month_named,
)
from phenology.model.errors import InputError
from phenology.model.season import SeasonCalendar

LONGEST_DATE = 200  # characters of a cell that may be one, in words and with spaces around (ours)
_FIGURES = re.compile(r"\d{4}-\d{1,2}-\d{1,2}(?:[T ].*)?|\d{1,2}\s?([./-])\s?\d{1,2}\s?\1\s?(?:\d{4}|\d{2})?")
_WORDS = re.compile(r"[^\W\d_]{3,}.*\d|\d.*[^\W\d_]{3,}")
_DAY = re.compile(r"\d{1,2}\.? (?P<month>[a-z]{3,9})\.?(?: \d{4})?")
_ANY_DAY = date(2100, 12, 31)


def order_of(file: str, dates: Iterable[tuple[int, str, str]]) -> DateOrder | None:
    """The order of day and month that a file's dates (line, column, text) prove, or None when they need none.

    Raises `FileQuestion` if nothing tells, as `MixedOrders` if some have the day first and others the month.
    """
    cells = list(dates)
    try:
        return decide_order(text for _, _, text in cells)
    except MixedDatesError as error:
        (line, column, text), (other, _, _) = cells[error.month_first], cells[error.day_first]
        advice = (
            f"but line {other} has the day first; say which most of them have, --date-order day-first or "
            "--date-order month-first, or write all as 2026-03-05"
        )
        mixed = Problem(file, line, column, f"'{text}' has the month first", advice)
        raise MixedOrders("date_order", DATE_ORDERS, str(mixed)) from None
    except AmbiguousDateError as error:
        raise FileQuestion("date_order", DATE_ORDERS, f"{file}: {error}") from None


DAY_NUMBER = re.compile(r"(?P<days>[2-5]\d{4})(?:[.,]\d+)?")
"""A day as spreadsheets count it: 1954 to 2064."""
_DAY_ZERO = date(1899, 12, 30)


@dataclass(frozen=True)
class DateReader:
    """Reads the date cells of one file; weeks begin on a day counted from Monday as 0."""

    today: date
    calendar: SeasonCalendar
    order: DateOrder | None = None
    first_weekday: int = 0

    def vague(self, text: str) -> VagueDate:
        """A date as the grower writes it, or a day as spreadsheets count it."""
        if counted := DAY_NUMBER.fullmatch(text.strip()):
            day = _DAY_ZERO + timedelta(days=int(counted["days"]))
            return VagueDate(text, day, day, "seen")
        return self.parsed(text, self.today)

    def parsed(self, text: str, today: date) -> VagueDate:
        """A date as written on a day."""
        return parse(text, today=today, order=self.order, first_weekday=self.first_weekday)

    def within(self, text: str, first: date, last: date) -> VagueDate:
        """A date of a known season: without a year of its own it lies between two days.

        Raises `InputError` if it lies after today.
        """
        found = self.vague(text)
        try:
            own_year = self.parsed(text, first) == self.parsed(text, first - timedelta(days=800))
        except InputError:  # a year that is no slip only from where the grower stands
            own_year = True
        if not own_year:
            found = self.parsed(text, min(last, self.today))
            if (found.latest or found.earliest or first) < first:
                raise InputError(f"of {first.year} this still lies ahead")
        return found

    def exact(self, text: str) -> date:
        """A date that must fix one day."""
        day = self.vague(text)
        if day.earliest is None or not day.is_exact:
            raise InputError("write one day, such as 2026-07-04")
        return day.earliest

    def middle(self, text: str) -> date:
        """A date that stands for one day; a vague one counts by its middle."""
        earliest, latest = self.vague(text).in_season(self.calendar, self.today)
        return earliest + (latest - earliest) // 2


@cache
def is_dated(cell: str) -> bool:
    """Whether a cell is a date that nobody takes for anything else, if there is such a day or not.

    Examples
    --------
    >>> is_dated("Ende Juni 2004"), is_dated("3.5.04"), is_dated("3.5"), is_dated("32 May")
    (True, True, False, True)
    """
    if len(cell) > LONGEST_DATE:
        return False
    if _FIGURES.fullmatch(cell.strip()):
        return True
    if not _WORDS.search(cell):
        return False
    day = _DAY.fullmatch(in_english(cell))
    return is_date(cell) or (day is not None and month_named(day["month"]) is not None)


@cache
def is_date(cell: str) -> bool:
    """Whether a cell can be read as a date, or as a spreadsheet's count of days."""
    if len(cell) > LONGEST_DATE:
        return False
    if DAY_NUMBER.fullmatch(cell.strip()):
        return True
    for order in DATE_ORDERS:
        with suppress(InputError):
            parse(cell, today=_ANY_DAY, order=order)
            return True
    return False
