"""How dates are written and where weeks begin: one style at a time, the garden's while its command runs.

Many sentences hold a date, here and in the reports. Instead of handing the garden's way of writing through
all of them, `using_dates` sets it for a stretch of work; outside one, days come before months and weeks
begin on Monday, so that whoever calls a function from Python gets the same words every time.

Examples
--------
>>> day = date(2026, 7, 4)
>>> short_date(day), full_date(day), weekday_date(day), weekday_full_date(day), weekday_long_date(day)
('4 Jul', '4 Jul 2026', 'Sat 4 Jul', 'Sat 4 Jul 2026', 'Saturday 4 July')
>>> date_range(day, date(2026, 7, 9)), date_range(date(2026, 6, 29), date(2026, 7, 10))
('4-9 Jul', '29 Jun-10 Jul')
>>> with using_dates(DateStyle("month-first")):
...     short_date(day)
'Jul 4'
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import date, timedelta
from typing import Literal, NamedTuple

ShownOrder = Literal["day-first", "month-first", "year-first"]
SHOWN_ORDERS: tuple[ShownOrder, ...] = ("day-first", "month-first", "year-first")

# Written out: strftime and the calendar module would take the names from the reader's locale.
MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
SHORT_MONTHS, SHORT_WEEKDAYS = (tuple(name[:3] for name in names) for names in (MONTHS, WEEKDAYS))


class DateStyle(NamedTuple):
    """A way of writing dates.

    Examples
    --------
    >>> DateStyle("month-first").full(date(2026, 7, 4)), DateStyle("year-first").short(date(2026, 7, 4))
    ('Jul 4, 2026', '2026-07-04')
    """

    order: ShownOrder = "day-first"  # "4 Jul", "Jul 4" or "2026-07-04" (ISO 8601)
    first_weekday: int = 0  # day on which weeks begin, counted from Monday as 0

    def short(self, day: date) -> str:
        """A day without its year, but for the order that starts with it."""
        if self.order == "year-first":
            return day.isoformat()
        month = SHORT_MONTHS[day.month - 1]
        return f"{month} {day.day}" if self.order == "month-first" else f"{day.day} {month}"

    def full(self, day: date) -> str:
        """A day with its year."""
        if self.order == "year-first":
            return day.isoformat()
        return f"{self.short(day)}{',' if self.order == 'month-first' else ''} {day.year}"

    def span(self, first: date, last: date) -> str:
        """A span of days, the month said once."""
        if first == last:
            return self.short(first)
        if self.order == "year-first":
            return f"{first.isoformat()} to {last.isoformat()}"
        if (first.year, first.month) != (last.year, last.month):
            return f"{self.short(first)}-{self.short(last)}"
        if self.order == "month-first":
            return f"{self.short(first)}-{last.day}"
        return f"{first.day}-{self.short(last)}"

    def full_span(self, first: date, last: date) -> str:
        """A span of days with its year, or its two years."""
        if first == last:
            return self.full(first)
        if self.order == "year-first":
            return self.span(first, last)
        if first.year != last.year:
            return f"{self.full(first)}-{self.full(last)}"
        return f"{self.span(first, last)}{',' if self.order == 'month-first' else ''} {last.year}"

    def week_start(self, day: date) -> date:
        """The first day of the week that a day lies in.

        Examples
        --------
        >>> DateStyle(first_weekday=6).week_start(date(2026, 7, 4))  # the Sunday before that Saturday
        datetime.date(2026, 6, 28)
        """
        return day - timedelta(days=(day.weekday() - self.first_weekday) % 7)


DEFAULT = DateStyle()
_STYLE: ContextVar[DateStyle] = ContextVar("date style", default=DEFAULT)


def date_style() -> DateStyle:
    """The style in use."""
    return _STYLE.get()


@contextmanager
def using_dates(style: DateStyle) -> Iterator[DateStyle]:
    """Write dates in a style for a while."""
    token = _STYLE.set(style)
    try:
        yield style
    finally:
        _STYLE.reset(token)


def short_date(day: date) -> str:
    """A day and month."""
    return date_style().short(day)


def full_date(day: date) -> str:
    """A day, month and year."""
    return date_style().full(day)


def weekday_date(day: date) -> str:
    """A weekday, day and month."""
    return f"{SHORT_WEEKDAYS[day.weekday()]} {short_date(day)}"


def weekday_full_date(day: date) -> str:
    """A weekday, day, month and year."""
    return f"{SHORT_WEEKDAYS[day.weekday()]} {full_date(day)}"


def weekday_long_date(day: date) -> str:
    """A weekday, day and month written out."""
    weekday, month = WEEKDAYS[day.weekday()], MONTHS[day.month - 1]
    if date_style().order == "day-first":
        return f"{weekday} {day.day} {month}"
    return f"{weekday}, {month} {day.day}" if date_style().order == "month-first" else f"{weekday} {day}"


def date_range(first: date, last: date) -> str:
    """A span of days, the month said once."""
    return date_style().span(first, last)
