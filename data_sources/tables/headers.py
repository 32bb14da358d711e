"""What a header or a cell looks like: a stage or work with its year, a date, a mark, nothing; dates read."""

from __future__ import annotations

import re
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache, lru_cache

from data_sources.tables.problems import FileQuestion, Problem, TableError
from data_sources.tables.subjects import SUBJECTS
from phenology.language.other_languages import in_english
from phenology.language.vague_dates import VagueDate, parse
from phenology.language.words import known_event
from phenology.language.written_days import (
    DATE_ORDERS,
    AmbiguousDateError,
    DateOrder,
    MixedDatesError,
    decide_order,
    month_named,
)
from phenology.model.errors import InputError
from phenology.model.operations import Operation
from phenology.model.season import SeasonCalendar
from phenology.model.stages import Stage


def order_of(file: str, dates: Iterable[tuple[int, str, str]]) -> DateOrder | None:
    """The order of day and month that a file's dates (line, column, text) prove, or None when they need none.

    Raises `TableError` if some dates have the day first and others the month; `FileQuestion` if nothing
    tells.
    """
    cells = list(dates)
    try:
        return decide_order(text for _, _, text in cells)
    except MixedDatesError as error:
        (line, column, text), (other, _, _) = cells[error.month_first], cells[error.day_first]
        advice = f"but line {other} has the day first; write all dates as 2026-03-05"
        raise TableError([Problem(file, line, column, f"'{text}' has the month first", advice)]) from None
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


_YEAR = re.compile(r"\b(?P<year>(?:19|20)\d\d)(?:\s*[/-]\s*(?:\d\d)?\d\d)?\b")
_NUMBER = re.compile(r"(?:#|no\.?|nr\.?|\()?\s*(?P<number>[1-9])\)?$|^(?P<first>[1-9])(?:st|nd|rd|th|\.)\s")
_AROUND = re.compile(r"^(?:date of|date|day of|on|when|datum|date de|fecha de|data di)\b[ :]*|[ :]*\bdate$")
_MARKS = {"x", "xx", "yes", "y", "ja", "oui", "sí", "si", "✓", "✔", "✗", "true"}
_NOTHING = {"", "-", "--", "—", "–", "/", "n/a", "na", "none", "no", "nein", "non", "nee", ".", "0", "x̶"}
_UNKNOWN = {"?", "??", "???", "unknown", "not known", "don't know", "unbekannt", "inconnu", "desconocido"}
LONGEST_DATE = 200  # characters of a cell that may be one, in words and with spaces around (ours)
_FIGURES = re.compile(r"\d{4}-\d{1,2}-\d{1,2}(?:[T ].*)?|\d{1,2}\s?([./-])\s?\d{1,2}\s?\1\s?(?:\d{4}|\d{2})?")
_WORDS = re.compile(r"[^\W\d_]{3,}.*\d|\d.*[^\W\d_]{3,}")
_DAY = re.compile(r"\d{1,2}\.? (?P<month>[a-z]{3,9})\.?(?: \d{4})?")
AGAIN = " (again)"
"""Behind a column name that another column has too."""


@dataclass(frozen=True)
class EventColumn:
    """A column whose cells are the dates of one stage or work, perhaps of one year or one flush."""

    event: Stage | Operation
    year: int | None = None
    flush: int | None = None

    def __str__(self) -> str:
        return ":".join([str(self.event), str(self.year or ""), str(self.flush or "")]).rstrip(":")


@lru_cache(maxsize=1 << 12)  # a file asks of its few headers in every row
def event_column(header: str) -> EventColumn | None:
    """What a header such as "Bud break", "2004 hardened off" or "Budbreak 2" says; None for other headers.

    Examples
    --------
    >>> str(event_column("Hardened off 2004")), str(event_column("cutback::2")), event_column("Moon")
    ('hardened:2004', 'cutback::2', None)
    """
    name, _, rest = header.partition(":")
    years, _, number = rest.partition(":")
    if rest and all(part.isdigit() or not part for part in (years, number)):  # as `str` writes it
        event = known_event(name)
        return (
            None if event is None else EventColumn(event, int(years or 0) or None, int(number or 0) or None)
        )
    text, year, flush = header.casefold().replace(AGAIN, ""), None, None
    if found := _YEAR.search(text):
        year, text = int(found["year"]), text.replace(found[0], " ")
    text = text.strip(" -:,()[]")
    event = known_event(text)
    if event is None and (found := _NUMBER.search(text)):
        flush, text = int(found["number"] or found["first"]), text.replace(found[0], " ")
    event = event or known_event(_AROUND.sub("", text.strip(" -:,()[]")))
    return None if event is None else EventColumn(event, year, flush)


def year_in(text: str) -> int | None:
    """The one year that a title names; None for none or several."""
    years = {int(found["year"]) for found in _YEAR.finditer(text)}
    return years.pop() if len(years) == 1 else None


def is_known_header(header: str) -> bool:
    """Whether a table of looks, work, trees or places may have this column."""
    return header.casefold().replace("_", " ").strip() in _known_headers() or event_column(header) is not None


@cache
def _known_headers() -> frozenset[str]:
    return frozenset(word for fields in SUBJECTS.values() for field in fields for word in field.headers)


def is_mark(cell: str) -> bool:
    """Whether a cell only ticks its column."""
    return cell.strip().casefold() in _MARKS


def is_nothing(cell: str) -> bool:
    """Whether a cell where a date could stand says that there is none."""
    return cell.strip().casefold() in _NOTHING


def is_unknown(cell: str) -> bool:
    """Whether a cell says that its date is not known."""
    return cell.strip().casefold() in _UNKNOWN


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


_ANY_DAY = date(2100, 12, 31)
