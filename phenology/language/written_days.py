"""One day as it is written: ISO 8601, in figures, or with the month's name.

The order of day and month in "4/7/2025" is never guessed from one date: `decide_order` reads it from a whole
file. Dates with points ("04.07.") read day first unless the file or the caller says otherwise.
"""

from __future__ import annotations

import calendar
import re
from collections.abc import Iterable, Sequence
from typing import Literal

from phenology.language.date_style import MONTHS, WEEKDAYS, date_style
from phenology.model.errors import InputError

DateOrder = Literal["day-first", "month-first"]
DATE_ORDERS: tuple[DateOrder, ...] = ("day-first", "month-first")

_NAME = r"(?P<name>[a-z]{3,9})"
_YEAR = r"(?P<year>\d{4}|'\d{2})"
_SHAPES = [
    re.compile(shape)
    for shape in (
        r"(?P<year>\d{4})([-/.])(?P<month>\d{1,2})\2(?P<day>\d{1,2})\.?",
        r"(?P<year>(?:18|19|20)\d{2})(?P<month>\d{2})(?P<day>\d{2})",
        r"(?P<a>\d{1,2})(?P<s>[./-]) ?(?P<b>\d{1,2})(?:(?P=s) ?(?P<year>\d{4}|\d{2})?)?",
        rf"(?P<day>\d{{1,2}})\.?[ -]?{_NAME}\.?(?:[ -]?{_YEAR})?",
        rf"(?P<day>\d{{1,2}})(?P<s>[ .-]){_NAME}(?P=s)(?P<year>\d{{2}})",
        rf"{_NAME}\.?[ -]?(?P<day>\d{{1,2}})(?: {_YEAR})?",
    )
]
_FIGURES_INSIDE = re.compile(
    r"(?<![\d./-])(?P<a>\d{1,2})(?P<s>[./-]) ?(?P<b>\d{1,2})"
    r"(?:(?P=s) ?(?:\d{4}|\d{2})?)?(?![\d./-]|[ -]?[a-z]{3})"
)
_TIDIED = [
    (re.compile(pattern), instead)
    for pattern, instead in (
        (r"\b(\d{1,2})(?:st|nd|rd|th)\b", r"\1"),
        (r"[t ]\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?\s*(?:am|pm|z|[+-]\d{2}:?\d{2})?$", ""),  # a time of day
        (r"\b(?:end|ends)(?: of)?\b(?= (?:the )?[a-z])", "late"),
        (r"\b(?:beginning|begin|start)(?: of)?\b(?= (?:the )?[a-z])", "early"),
        (r"\b(?:middle|half)(?: of)?\b(?= (?:the )?[a-z])", "mid"),
        (r"\b(?:some ?time|on(?! or)|the|of|in|during|at(?! latest))\b ?", ""),
        (r",(?= |$)", " "),
        (r" ?- ?", "-"),
    )
]
_SIGNS = str.maketrans("–—−’", "---'")


class AmbiguousDateError(InputError):
    """Day and month could be either way round, and nothing tells which."""


class MixedDatesError(InputError):
    """Some dates of a file can only be day first and others only month first.

    `day_first` and `month_first` say where the first of each stands among the dates.
    """

    def __init__(self, texts: Sequence[str], day_first: int, month_first: int) -> None:
        self.day_first, self.month_first = day_first, month_first
        super().__init__(
            f"the dates do not agree: '{texts[day_first]}' can only be day first, "
            f"'{texts[month_first]}' only month first; write them one way, best as 2026-07-04"
        )


def tidy(text: str) -> str:
    """A date in lower case with plain hyphens, without filler words and time of day.

    >>> tidy("on the 4th of July, 2025 10:30")
    '4 july 2025'
    """
    words = " ".join(text.lower().split()).translate(_SIGNS)
    for pattern, instead in _TIDIED:
        words = pattern.sub(instead, words)
    return " ".join(words.split())


def written_day(
    words: str, *, order: DateOrder | None, latest_year: int
) -> tuple[int | None, int, int] | None:
    """Year (None where none is written), month and day of a tidied date, or None when it is no single day.

    A year of two digits is of the century of `latest_year` up to it, else of the one before.

    Raises
    ------
    AmbiguousDateError
        If "4/7" could be either and `order` is not given.
    InputError
        If there is no such day.

    Examples
    --------
    >>> written_day("25/7/25", order=None, latest_year=2030)
    (2025, 7, 25)
    """
    for shape in _SHAPES:
        match = shape.fullmatch(words)
        if match is None:
            continue
        part = match.groupdict()
        if "a" in part:
            day, month = _in_order(int(part["a"]), int(part["b"]), part["s"], order)
        else:
            named = month_named(part["name"]) if "name" in part else int(part["month"])
            if named is None:
                continue
            day, month = int(part["day"]), named
        year = year_written(part["year"], latest_year)
        check_day(day, month, year)
        return year, month, day
    return None


def decide_order(dates: Iterable[str]) -> DateOrder | None:
    """The order of day and month that a whole file of dates proves, or None when it needs none.

    Raises
    ------
    MixedDatesError
        If some dates can only be day first and others only month first.
    AmbiguousDateError
        If dates such as "4/7/2025" occur and no date of the file tells which way they read.

    Examples
    --------
    >>> decide_order(["4/7/2025", "25/7/2025"]), decide_order(["2025-07-04", "4 July"])
    ('day-first', None)
    """
    texts = list(dates)
    first: dict[str, int] = {}  # where each kind of evidence comes first
    for n, text in enumerate(texts):
        for match in _FIGURES_INSIDE.finditer(tidy(text)):
            a, b = int(match["a"]), int(match["b"])
            if max(a, b) > 12 >= min(a, b):
                first.setdefault("day-first" if a > b else "month-first", n)
            elif a != b:
                first.setdefault("pointed" if match["s"] == "." else "open", n)
    if "day-first" in first and "month-first" in first:
        raise MixedDatesError(texts, first["day-first"], first["month-first"])
    for order in DATE_ORDERS:
        if order in first:
            return order
    if "open" in first:
        raise AmbiguousDateError(
            f"'{texts[first['open']]}' may be day first or month first and no date here tells which; "
            "say --date-order day-first or --date-order month-first"
        )
    return "day-first" if "pointed" in first else None


def check_day(day: int, month: int, year: int | None) -> tuple[int, int]:
    """Day and month; raises `InputError` when there is no such day, in any year if none is given."""
    if not 1 <= month <= 12:
        raise InputError(f"there is no month {month}")
    longest = calendar.monthrange(year or 2024, month)[1]
    if not 1 <= day <= longest:
        when = MONTHS[month - 1] + (f" {year}" if year else "")
        raise InputError(f"there is no {day_and_month(day, month)}; {when} has {longest} days")
    return day, month


def day_and_month(day: int, month: int) -> str:
    """A day with its month in full, in the order that dates are written in."""
    name = MONTHS[month - 1] if 0 < month <= 12 else str(month)
    return f"{name} {day}" if date_style().order == "month-first" else f"{day} {name}"


def year_written(text: str | None, latest_year: int) -> int | None:
    """A year of four digits, or of two; None for none."""
    if not text:
        return None
    digits = text.lstrip("'")
    year = int(digits)
    if len(digits) == 2:
        year += latest_year // 100 * 100
        year -= 100 * (year > latest_year)
    return year


def month_named(word: str) -> int | None:
    """The month a word is or begins, counted from 1.

    >>> month_named("sept"), month_named("ma")
    (9, None)
    """
    return next((n for n, name in enumerate(MONTHS, 1) if _begins(word, name)), None)


def weekday_named(word: str) -> int | None:
    """The weekday a word is or begins, counted from Monday as 0."""
    return next((n for n, name in enumerate(WEEKDAYS) if _begins(word, name)), None)


def _begins(word: str, name: str) -> bool:
    word = word.rstrip(".")
    return (len(word) >= 3 and name.lower().startswith(word)) or (word == "sept" and name == "September")


def _in_order(a: int, b: int, sign: str, order: DateOrder | None) -> tuple[int, int]:
    """Day and month of two figures."""
    if order is None:
        if a == b or sign == "." or a > 12:
            order = "day-first"
        elif b > 12:
            order = "month-first"
        else:
            raise AmbiguousDateError(
                f"this may be {day_and_month(a, b)} or {day_and_month(b, a)}; "
                "write the month as a word, or use --date-order day-first or --date-order month-first"
            )
    day, month = (a, b) if order == "day-first" else (b, a)
    if not 1 <= month <= 12:
        raise InputError(f"read {order.replace('-', ' ')} it has month {month}; write the month as a word")
    return day, month
