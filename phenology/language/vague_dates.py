"""Dates as growers write them: "4 July", "about 4 July", "mid July", "2-9 July", "04.07.", "by Friday".

A vague date is kept as typed, with the first and the last day it can mean. How wide each form is taken is
common practice, no source: early, mid and late are days 1-10, 11-20 and 21 to the end of the month; "about"
reaches four days either way; a week begins on Monday unless told otherwise, "week 27" is that of ISO 8601.

Without a year the most recent such date is meant: the latest year in which it has begun by today. The order
of day and month in "4/7/2025" is never guessed from one date: `decide_order` reads it from a whole file.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from phenology.language.date_style import date_style, full_date
from phenology.model.errors import InputError
from phenology.model.season import SeasonCalendar

DateOrder = Literal["day-first", "month-first"]
DATE_ORDERS: tuple[DateOrder, ...] = ("day-first", "month-first")

ABOUT_DAYS = 4
"""How far "about" reaches to either side. [days]"""

FIRST_YEAR = 1900
"""Years before this are taken for slips of the pen."""

# Written out: the calendar module would take the names from the reader's locale. fmt: off
MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
# fmt: on


class AmbiguousDateError(InputError):
    """Day and month could be either way round, and nothing in the file tells which."""


@dataclass(frozen=True)
class VagueDate:
    """A date as typed, with the days it may mean.

    Parameters
    ----------
    text : str
        As typed.
    earliest, latest : date or None
        First and last day meant; None where the words leave that side open ("by", "after").
    hint : str or None
        What the words suggest for a look: "seen" (it stood so by then), "happened" (it came about then),
        None when they fit both.
    """

    text: str
    earliest: date | None
    latest: date | None
    hint: str | None = None

    @property
    def is_exact(self) -> bool:
        """Whether one single day is meant."""
        return self.earliest is not None and self.earliest == self.latest

    def bounded(self, first: date, last: date) -> tuple[date, date]:
        """Both ends, open sides closed by `first` and `last`, and nothing later than `last`.

        Raises
        ------
        InputError
            If nothing of the date lies at or before `last`.
        """
        earliest = self.earliest or min(first, self.latest or first)
        if earliest > last:
            raise InputError(
                f"'{self.text}' ({format_day(earliest)}) is in the future; today is {format_day(last)}"
            )
        return earliest, min(self.latest or last, last)

    def in_season(self, calendar: SeasonCalendar, today: date) -> tuple[date, date]:
        """Both ends, open sides closed by the season the date lies in, and nothing later than `today`.

        Raises
        ------
        InputError
            If all of the date lies after `today`.
        """
        season = calendar.season_of(self.latest or self.earliest or today)
        return self.bounded(
            calendar.start(season), min(today, calendar.end(season)) if self.latest is None else today
        )

    def __str__(self) -> str:
        return format_dates(self.earliest, self.latest)


def format_day(day: date) -> str:
    """A day as we write it: "4 Jul 2026", or as the garden has it (see `date_style`)."""
    return full_date(day)


def format_dates(earliest: date | None, latest: date | None) -> str:
    """Two ends as we write them; `parse` reads every one of these forms back to the same days.

    Examples
    --------
    >>> format_dates(date(2026, 6, 30), date(2026, 7, 8)), format_dates(None, date(2026, 7, 4))
    ('30 Jun-8 Jul 2026', 'by 4 Jul 2026')
    """
    if earliest is None and latest is None:
        return "at any time"
    if earliest is None:
        assert latest is not None
        return f"by {format_day(latest)}"
    if latest is None:
        return f"since {format_day(earliest)}"
    return date_style().full_span(earliest, latest)


def parse(text: str, *, today: date, order: DateOrder | None = None, first_weekday: int = 0) -> VagueDate:
    """Read a date as a grower writes it.

    Parameters
    ----------
    text : str
        "4 July", "Sat 4 July", "July 4, 2025", "2025-07-04", "04.07.", "early July", "July 2023", "2-9 July",
        "28 Dec-3 Jan", "about 4 July", "week of 4 July", "week 27", "by", "before", "after" or "since" any of
        these, "today", "yesterday", "3 days ago", "Monday", "last week", "this month".
    today : date
        The day it is written.
    order : {"day-first", "month-first"}, optional
        How "4/7" reads. Dates with points ("04.07.") read day first unless told otherwise.
    first_weekday : int
        Day on which "this week" and "week of 4 July" begin, counted from Monday as 0.

    Raises
    ------
    InputError
        If no date can be read or there is no such day.
    AmbiguousDateError
        If "4/7" could be either and `order` is not given.

    Examples
    --------
    >>> parse("about 4 July", today=date(2026, 8, 1))
    VagueDate(text='about 4 July', earliest=datetime.date(2026, 6, 30), latest=datetime.date(2026, 7, 8),
    hint='happened')
    >>> str(parse("late July", today=date(2026, 3, 1)))
    '21-31 Jul 2025'
    """
    from phenology.language.vague_date_reader import Reader, tidy

    words = tidy(text)
    if not words:
        raise InputError("the date is empty; write one such as 4 July, 2026-07-04 or yesterday")
    reader = Reader(text.strip(), today, order, first_weekday)
    return replace(reader.qualified(words), text=text.strip())


def decide_order(texts: Iterable[str]) -> DateOrder | None:
    """The order of day and month that a whole file of dates proves, or None when it proves none.

    Raises
    ------
    AmbiguousDateError
        If some dates can only be day first and others only month first, or if dates such as "4/7/2025" occur
        and no date of the file tells which way they read.

    Examples
    --------
    >>> decide_order(["4/7/2025", "25/7/2025"]), decide_order(["2025-07-04", "4 July"])
    ('day-first', None)
    """
    from phenology.language.vague_date_reader import NUMERIC_INSIDE, tidy

    day_first = month_first = open_example = pointed = None
    for text in texts:
        for match in NUMERIC_INSIDE.finditer(tidy(text)):
            a, b = int(match["a"]), int(match["b"])
            if a > 12 >= b:
                day_first = day_first or text
            elif b > 12 >= a:
                month_first = month_first or text
            elif a != b and match["s"] == ".":
                pointed = pointed or text
            elif a != b:
                open_example = open_example or text
    if day_first and month_first:
        raise AmbiguousDateError(
            f"the dates do not agree: '{day_first}' can only be day first, '{month_first}' only month first; "
            "write them one way, best as 2026-07-04"
        )
    if day_first or month_first:
        return "day-first" if day_first else "month-first"
    if open_example:
        raise AmbiguousDateError(
            f"'{open_example}' may be day first or month first and no date here tells which; "
            "say --date-order day-first or --date-order month-first"
        )
    return "day-first" if pointed else None
