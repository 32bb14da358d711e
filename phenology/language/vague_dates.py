"""Dates as growers write them: "4 July", "about 4 July", "mid July", "2-9 July", "04.07.", "by Friday".

A vague date is kept as typed, with the first and the last day it can mean. How wide each form is taken is
common practice, no source: early, mid and late are days 1-10, 11-20 and 21 to the end of the month; "about"
reaches four days either way; a week begins on Monday unless told otherwise, "week 27" is that of ISO 8601.

Without a year the most recent such date is meant: the latest year in which it has begun by today. What cannot
be read in English is tried in German, French, Spanish, Italian and Dutch ("Ende Juni 2004", "1er mars").
"""

from __future__ import annotations

import calendar
import re
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from functools import lru_cache

from phenology.language.date_style import WEEKDAYS, DateStyle, date_style, full_date
from phenology.language.written_days import (
    AmbiguousDateError,
    DateOrder,
    check_day,
    day_and_month,
    month_named,
    tidy,
    weekday_named,
    written_day,
    year_written,
)
from phenology.model.errors import InputError
from phenology.model.season import SeasonCalendar

LONGEST = 200  # characters of a date in words; ours
ABOUT_DAYS = 4  # how far "about" reaches to either side
FIRST_YEAR = 1900  # years before this are taken for slips of the pen
_DAY = timedelta(days=1)
_MONTH = r"(?P<month>[a-z]{3,9})(?: (?P<year>\d{4}|'\d{2}))?"
_MONTH_ONLY = re.compile(_MONTH)
_PART_MONTH = re.compile(rf"(?P<part>early|mid|late)[ -]{_MONTH}")
_NTH_WEEK = re.compile(rf"(?P<nth>first|second|third|fourth|last|[1-4]) week {_MONTH}")
_FIGURE_MONTH = re.compile(r"(?P<year>\d{4})[-/.](?P<month>\d{1,2})|(?P<month2>\d{1,2})[/.](?P<year2>\d{4})")
_ISO_WEEK = re.compile(r"(?P<year>\d{4})-?w(?P<week>\d{1,2})|week (?P<week2>\d{1,2})(?: (?P<year2>\d{4}))?")
_WEEK_OF = re.compile(r"(?:week|in week) (?:of |beginning |starting |from )?(?=\D|\d{1,2}\D|\d{4}-)")
_AGO = re.compile(r"(?P<n>\d+|an?|one|two|three|four|five|six) (?P<unit>day|week)s? ago")
_ABOUT = re.compile(r"(?:about|around|approximately|approx\.?|roughly|circa|ca\.?|c\.|near|~)\s*")
_NUMBERS = {"a": 1, "an": 1, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6}
_NTH = {"first": 1, "second": 2, "third": 3, "fourth": 4}
_DAYS_BACK = dict.fromkeys(("today", "now", "just now", "this morning", "this evening"), 0) | {
    "tomorrow": -1, "yesterday": 1, "last night": 1, "day before yesterday": 2,
}  # fmt: skip
_TENTHS = {"early": (1, 10), "mid": (11, 20), "late": (21, 31)}

Bounds = tuple[date | None, date | None]
_OPEN_SIDED: tuple[tuple[re.Pattern[str], Callable[[date, date], Bounds], str], ...] = (
    (re.compile("(?:by|no later than|on or before|at latest) "), lambda _, last: (None, last), "seen"),
    (re.compile("(?:before|earlier than) "), lambda first, _: (None, first - _DAY), "seen"),
    (re.compile("(?:after|later than) "), lambda _, last: (last + _DAY, None), "happened"),
    (re.compile("(?:since|from(?!.* to )|on or after) "), lambda first, _: (first, None), "happened"),
)


@dataclass(frozen=True)
class VagueDate:
    """A date as typed, with the days it may mean."""

    text: str  # as typed
    # first and last day meant; None where the words leave that side open ("by", "after")
    earliest: date | None
    latest: date | None
    # what the words suggest for a look: "seen" (it stood so by then), "happened" (it came about then), None
    # when they fit both
    hint: str | None = None
    # the first such day still to come, where no year was written and it is nearer than the last one
    ahead: date | None = field(default=None, repr=False, compare=False)

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
    if latest is None:
        return "at any time" if earliest is None else f"since {format_day(earliest)}"
    return f"by {format_day(latest)}" if earliest is None else date_style().full_span(earliest, latest)


@lru_cache(maxsize=4096)
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
    typed, words = text.strip(), tidy(text)
    if len(words) > LONGEST:
        raise InputError(f"'{typed[:20]}...' is too long for a date; write one such as 4 July or 2026-07-04")
    if not words:
        raise InputError("the date is empty; write one such as 4 July, 2026-07-04 or yesterday")
    reader = _DateReader(today, order, first_weekday)
    try:
        return replace(reader.qualified(words), text=typed)
    except AmbiguousDateError as error:
        raise AmbiguousDateError(f"'{typed}': {error}") from None
    except InputError as error:
        from phenology.language.other_languages import in_english

        if (english := tidy(in_english(words))) != words:
            with suppress(InputError, OverflowError):
                return replace(reader.qualified(english), text=typed)
        raise type(error)(f"'{typed}': {error}") from None
    except OverflowError:
        raise InputError(f"'{typed}': there is no such day; the years run from 1 to 9999") from None


@dataclass(frozen=True)
class _Span:
    """Days of one month, the year perhaps unknown; a last day past the month's end is the month's last."""

    year: int | None
    month: int
    first: int
    last: int


@dataclass(frozen=True)
class _DateReader:
    """The grammar: words that qualify a date are taken off its front, then a span of days is looked for in
    the rest, then its year is settled."""

    today: date
    order: DateOrder | None
    first_weekday: int

    def qualified(self, words: str) -> VagueDate:
        """A date with the words before it ("by", "about")."""
        for pattern, bounds, hint in _OPEN_SIDED:
            if match := pattern.match(words):
                inner = self.qualified(words[match.end() :])
                if inner.earliest is None or inner.latest is None:
                    raise InputError("there is one word too many before the date")
                return VagueDate("", *bounds(inner.earliest, inner.latest), hint)
        match = _ABOUT.match(words)
        if match or words.endswith("?"):
            inner = self.qualified(words[match.end() :] if match else words[:-1].strip())
            earliest = inner.earliest and inner.earliest - ABOUT_DAYS * _DAY
            latest = inner.latest and inner.latest + ABOUT_DAYS * _DAY
            return VagueDate("", earliest, latest, "happened", inner.ahead)
        found = self.plain(words)
        if found is None:
            raise InputError(
                "this is not a date that can be read; "
                "write one such as 4 July, mid July, 2-9 July, 2026-07-04 or yesterday"
            )
        return found

    def plain(self, words: str) -> VagueDate | None:
        """A date without such words."""
        for form in (self.relative, self.week, self.one_span, self.range):
            found = form(words)
            if found is not None:
                return found
        return None

    def relative(self, words: str) -> VagueDate | None:
        """Dates told from today."""
        if words in _DAYS_BACK:
            return _days(self.today - _DAYS_BACK[words] * _DAY)
        if match := _AGO.fullmatch(words):
            n = _NUMBERS.get(match["n"]) or int(match["n"])
            if n > 3650:
                raise InputError("this is too long ago; write the date itself")
            if match["unit"] == "day":
                return _days(self.today - n * _DAY)
            middle = self.today - 7 * n * _DAY
            return _days(middle - 3 * _DAY, middle + 3 * _DAY)
        if words in ("this week", "last week"):
            return self.week_from(self.today - 7 * (words == "last week") * _DAY)
        if words in ("this month", "last month"):
            day = self.today.replace(day=1)
            day = day if words == "this month" else (day - _DAY).replace(day=1)
            return _days(day, day.replace(day=calendar.monthrange(day.year, day.month)[1]))
        named = re.fullmatch(r"(?P<last>last )?(?P<day>[a-z]{3,9})\.?", words)
        weekday = weekday_named(named["day"]) if named else None
        if named and weekday is not None:
            ago = (self.today.weekday() - weekday) % 7
            return _days(self.today - (ago or (7 if named["last"] else 0)) * _DAY)
        return None

    def week(self, words: str) -> VagueDate | None:
        """A week by its number, within its month, or by one of its days."""
        if match := _ISO_WEEK.fullmatch(words):
            number, year = int(match["week"] or match["week2"]), match["year"] or match["year2"]
            for candidate in [int(year)] if year else range(self.today.year, self.today.year - 3, -1):
                try:
                    start = date.fromisocalendar(candidate, number, 1)
                except ValueError:
                    continue
                if year or start <= self.today:
                    return _days(start, start + 6 * _DAY)
            raise InputError(f"there is no week {number}" + (f" in {year}" if year else ""))
        if match := _NTH_WEEK.fullmatch(words):
            month, settled = month_named(match["month"]), self.year(match["year"])
            if month is None:
                return None
            last = calendar.monthrange(settled or 2023, month)[1]
            if match["nth"] != "last":
                last = 7 * (_NTH.get(match["nth"]) or int(match["nth"]))
            return self.settle(_Span(settled, month, last - 6, last))
        if match := _WEEK_OF.match(words):
            inner = self.plain(words[match.end() :])
            if inner is not None and inner.earliest is not None and inner.is_exact:
                return self.week_from(inner.earliest)
        return None

    def week_from(self, day: date) -> VagueDate:
        start = DateStyle(first_weekday=self.first_weekday).week_start(day)
        return _days(start, start + 6 * _DAY)

    def one_span(self, words: str) -> VagueDate | None:
        """A day or days of one month, perhaps with its weekday."""
        weekday, rest = None, words
        if match := re.match(r"([a-z]{3,9})\.?[ ,]+(?=\S)", words):
            weekday = weekday_named(match[1])
            rest = words[match.end() :] if weekday is not None else words
        span = self.span(rest)
        if span is None:
            return None
        found = self.settle(span)
        if weekday is not None and found.earliest is not None:
            if not found.is_exact:
                raise InputError("this names a weekday but not one day")
            if found.earliest.weekday() != weekday:
                actual = WEEKDAYS[found.earliest.weekday()]
                raise InputError(
                    f"{format_day(found.earliest)} is a {actual}, not a {WEEKDAYS[weekday]}; "
                    "correct the day or write the year"
                )
        return found

    def range(self, words: str) -> VagueDate | None:
        """Two ends; a bare day or a bare "early" takes its month from the other end."""
        body = re.sub(r"^(?:between|from) ", "", words)
        for match in re.finditer(r" ?(?:\.\.+|[-/]| to | and | or ) ?", body):
            ends = self.ends(body[: match.start()].strip(), body[match.end() :].strip())
            if ends is None:
                continue
            left, right = ends
            crosses = left.month > right.month  # "28 Dec-3 Jan" runs over new year
            if left.year is None and right.year is not None:
                left = replace(left, year=right.year - crosses)
            start = self.settle(left).earliest
            assert start is not None
            if right.year is None:
                right = replace(right, year=start.year + crosses)
            end = self.settle(right).latest
            assert end is not None
            if end < start:
                raise InputError("this ends before it starts")
            if (end - start).days > 366:
                raise InputError("this spans more than a year; write a narrower date")
            return _days(start, end)
        return None

    def ends(self, a: str, b: str) -> tuple[_Span, _Span] | None:
        left, right = self.span(a), self.span(b)
        if left is None and right is not None:
            left = self.borrow(a, right)
        elif right is None and left is not None:
            # "July 2-9 2025": the year stands at the right end
            year = re.fullmatch(r"(?P<rest>\S+) (?P<year>\d{4})", b)
            right = self.borrow(year["rest"] if year else b, left)
            if right and year:
                right, left = (replace(end, year=int(year["year"])) for end in (right, left))
        return (left, right) if left and right else None

    def borrow(self, words: str, other: _Span) -> _Span | None:
        if words in _TENTHS:
            return _Span(other.year, other.month, *_TENTHS[words])
        if match := re.fullmatch(r"(\d{1,2})\.?", words):
            day, _ = check_day(int(match[1]), other.month, other.year)
            return _Span(other.year, other.month, day, day)
        return None

    def span(self, words: str) -> _Span | None:
        """One day, or days of one month; None when the words are something else."""
        words = words.strip().rstrip(",")
        if one := written_day(words, order=self.order, latest_year=self.today.year + 1):
            return _Span(self.check_year(one[0]), one[1], one[2], one[2])
        if match := _FIGURE_MONTH.fullmatch(words):
            _, month = check_day(1, int(match["month"] or match["month2"]), None)
            return _Span(self.year(match["year"] or match["year2"]), month, 1, 31)
        for pattern in (_PART_MONTH, _MONTH_ONLY):
            match = pattern.fullmatch(words)
            named = month_named(match["month"]) if match else None
            if match and named is not None:
                days = _TENTHS[match["part"]] if pattern is _PART_MONTH else (1, 31)
                return _Span(self.year(match["year"]), named, *days)
        return None

    def year(self, text: str | None) -> int | None:
        return self.check_year(year_written(text, self.today.year + 1))

    def check_year(self, year: int | None) -> int | None:
        if year is not None and not FIRST_YEAR <= year <= self.today.year + 10:
            raise InputError(f"the year {year} looks like a slip")
        return year

    def settle(self, span: _Span) -> VagueDate:
        """The days of a span; without a year, in the latest year in which it has begun by today."""
        for year in [span.year] if span.year else (self.today.year, self.today.year - 1):
            longest = calendar.monthrange(year, span.month)[1]
            if not span.year and date(year, span.month, min(span.first, longest)) > self.today:
                continue
            if span.first > longest:  # 29 February of an earlier year is hardly meant
                raise InputError(
                    f"{year} has no {day_and_month(span.first, span.month)}; write the year with it"
                )
            start = date(year, span.month, span.first)
            found = _days(start, start.replace(day=min(span.last, longest)))
            if not span.year and year < self.today.year:
                coming = date(self.today.year, span.month, min(span.first, longest))
                if coming - self.today < self.today - start:
                    return replace(found, ahead=coming)
            return found
        raise InputError(f"there is no {day_and_month(span.first, span.month)}")


def _days(earliest: date, latest: date | None = None) -> VagueDate:
    exact = latest is None or latest == earliest
    return VagueDate("", earliest, latest or earliest, "seen" if exact else None)
