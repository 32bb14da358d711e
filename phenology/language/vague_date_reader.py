"""The grammar behind `phenology.language.vague_dates.parse`.

Words that qualify a date ("about", "by") are taken off the front, then a span of days is looked for in
the rest, then its year is settled.
"""

from __future__ import annotations

import calendar
import re
from dataclasses import dataclass, replace
from datetime import date, timedelta

from phenology.language.date_style import DateStyle, date_style
from phenology.language.vague_dates import (
    ABOUT_DAYS,
    FIRST_YEAR,
    MONTHS,
    WEEKDAYS,
    AmbiguousDateError,
    DateOrder,
    VagueDate,
    format_day,
)
from phenology.model.errors import InputError

_ORDINAL = re.compile(r"\b(\d{1,2})(?:st|nd|rd|th)\b")
_CLOCK = re.compile(r"[t ]\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?\s*(?:am|pm|z|[+-]\d{2}:?\d{2})?$")
_YEAR = r"(?P<year>\d{4}|'\d{2})"
_MONTH = r"(?P<month>[a-z]{3,9})"
_DAY_MONTH = re.compile(rf"(?P<day>\d{{1,2}})\.?[ -]?{_MONTH}(?:[ -]{_YEAR})?")
_MONTH_DAY = re.compile(rf"{_MONTH}[ -]?(?P<day>\d{{1,2}})(?: {_YEAR})?")
_MONTH_ONLY = re.compile(rf"{_MONTH}(?: {_YEAR})?")
_PART_MONTH = re.compile(rf"(?P<part>early|mid|late)[ -]{_MONTH}(?: {_YEAR})?")
_NTH_WEEK = re.compile(rf"(?P<nth>first|second|third|fourth|last|[1-4]) week {_MONTH}(?: {_YEAR})?")
_ISO = re.compile(r"(?P<year>\d{4})([-/.])(?P<month>\d{1,2})\2(?P<day>\d{1,2})\.?")
_ISO_PLAIN = re.compile(r"(?P<year>(?:19|20)\d{2})(?P<month>\d{2})(?P<day>\d{2})")
_ISO_MONTH = re.compile(r"(?P<year>\d{4})[-/.](?P<month>\d{1,2})|(?P<month2>\d{1,2})[/.](?P<year2>\d{4})")
_ISO_WEEK = re.compile(r"(?P<year>\d{4})-?w(?P<week>\d{1,2})|week (?P<week2>\d{1,2})(?: (?P<year2>\d{4}))?")
_NUMERIC = re.compile(r"(?P<a>\d{1,2})(?P<s>[./-])(?P<b>\d{1,2})(?:(?P=s)(?P<year>\d{4}|\d{2})?)?")
NUMERIC_INSIDE = re.compile(
    r"(?<![\d./-])(?P<a>\d{1,2})(?P<s>[./-])(?P<b>\d{1,2})"
    r"(?:(?P=s)(?:\d{4}|\d{2})?)?(?![\d./-]|[ -]?[a-z]{3})"
)
_AGO = re.compile(r"(?P<n>\d+|an?|one|two|three|four|five|six) (?P<unit>day|week)s? ago")
_NUMBERS = {"a": 1, "an": 1, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6}

_ABOUT = re.compile(r"(?:about|around|approximately|approx\.?|roughly|circa|ca\.?|c\.|near|~)\s*")
_BY = re.compile(r"(?:by|no later than|on or before|at latest) ")
_BEFORE = re.compile(r"(?:before|earlier than) ")
_AFTER = re.compile(r"(?:after|later than) ")
_SINCE = re.compile(r"(?:since|from|on or after) ")
_WEEK_OF = re.compile(r"(?:week|in week) (?:of |beginning |starting |from )?(?=\D|\d{1,2}\D|\d{4}-)")

_TENTHS = {"early": (1, 10), "mid": (11, 20), "late": (21, 31)}


@dataclass(frozen=True)
class _Span:
    """Days of one month, the year perhaps unknown."""

    year: int | None
    month: int
    first: int
    last: int


@dataclass
class Reader:
    """Reads one date; `text` is what the grower typed, for the messages."""

    text: str
    today: date
    order: DateOrder | None
    first_weekday: int = 0

    # -- words before a date ------------------------------------------------------------------------------

    def qualified(self, words: str) -> VagueDate:
        if match := _BY.match(words):
            inner = self.qualified(words[match.end() :])
            return VagueDate(self.text, None, self._both(inner)[1], "seen")
        if match := _BEFORE.match(words):
            start = self._both(self.qualified(words[match.end() :]))[0]
            return VagueDate(self.text, None, start - timedelta(days=1), "seen")
        if match := _AFTER.match(words):
            end = self._both(self.qualified(words[match.end() :]))[1]
            return VagueDate(self.text, end + timedelta(days=1), None, "happened")
        if (match := _SINCE.match(words)) and " to " not in words:
            start = self._both(self.qualified(words[match.end() :]))[0]
            return VagueDate(self.text, start, None, "happened")
        if match := _ABOUT.match(words):
            return self._about(self.qualified(words[match.end() :]))
        if words.endswith("?"):
            return self._about(self.qualified(words[:-1].strip()))
        found = self.plain(words)
        if found is None:
            raise InputError(
                f"'{self.text}' is not a date that can be read; "
                "write one such as 4 July, mid July, 2-9 July, 2026-07-04 or yesterday"
            )
        return found

    def _both(self, inner: VagueDate) -> tuple[date, date]:
        if inner.earliest is None or inner.latest is None:
            raise InputError(f"'{self.text}' has one word too many before the date")
        return inner.earliest, inner.latest

    def _about(self, inner: VagueDate) -> VagueDate:
        reach = timedelta(days=ABOUT_DAYS)
        earliest = inner.earliest - reach if inner.earliest else None
        latest = inner.latest + reach if inner.latest else None
        return VagueDate(self.text, earliest, latest, "happened")

    # -- the date itself ----------------------------------------------------------------------------------

    def plain(self, words: str) -> VagueDate | None:
        for form in (self.relative, self.week, self.one_span, self.range):
            found = form(words)
            if found is not None:
                return found
        return None

    def relative(self, words: str) -> VagueDate | None:
        """Dates told from today."""
        back = {"today": 0, "now": 0, "just now": 0, "this morning": 0, "this evening": 0, "tomorrow": -1}
        back |= {"yesterday": 1, "day before yesterday": 2, "last night": 1}
        if words in back:
            return self._days(self.today - timedelta(days=back[words]))
        if match := _AGO.fullmatch(words):
            n = _NUMBERS.get(match["n"]) or int(match["n"])
            if n > 3650:
                raise InputError(f"'{self.text}' is too long ago; write the date itself")
            if match["unit"] == "day":
                return self._days(self.today - timedelta(days=n))
            middle = self.today - timedelta(weeks=n)
            return self._days(middle - timedelta(days=3), middle + timedelta(days=3))
        if words in ("this week", "last week"):
            start = self._week_start(self.today) - timedelta(days=7 * (words == "last week"))
            return self._days(start, start + timedelta(days=6))
        if words in ("this month", "last month"):
            day = self.today.replace(day=1)
            day = day if words == "this month" else (day - timedelta(days=1)).replace(day=1)
            return self._days(day, day.replace(day=calendar.monthrange(day.year, day.month)[1]))
        named = re.fullmatch(r"(?P<last>last )?(?P<day>[a-z]{3,9})\.?", words)
        weekday = _weekday(named["day"]) if named else None
        if named and weekday is not None:
            ago = (self.today.weekday() - weekday) % 7
            return self._days(self.today - timedelta(days=ago or (7 if named["last"] else 0)))
        return None

    def week(self, words: str) -> VagueDate | None:
        if match := _ISO_WEEK.fullmatch(words):
            number, year = int(match["week"] or match["week2"]), match["year"] or match["year2"]
            for candidate in [int(year)] if year else range(self.today.year, self.today.year - 3, -1):
                try:
                    start = date.fromisocalendar(candidate, number, 1)
                except ValueError:
                    continue
                if year or start <= self.today:
                    return self._days(start, start + timedelta(days=6))
            raise InputError(f"'{self.text}': there is no week {number}" + (f" in {year}" if year else ""))
        if match := _NTH_WEEK.fullmatch(words):
            month = self._month(match["month"])
            if month is None:
                return None
            nth = {"first": 1, "second": 2, "third": 3, "fourth": 4}.get(match["nth"], match["nth"])
            year = self._year(match["year"])
            if nth == "last":
                days = calendar.monthrange(year or 2023, month)[1]
                return self._settle(_Span(year, month, days - 6, days))
            return self._settle(_Span(year, month, int(nth) * 7 - 6, int(nth) * 7))
        if match := _WEEK_OF.match(words):
            inner = self.plain(words[match.end() :])
            if inner is None or inner.earliest is None or not inner.is_exact:
                return None
            start = self._week_start(inner.earliest)
            return self._days(start, start + timedelta(days=6))
        return None

    def _week_start(self, day: date) -> date:
        return DateStyle(first_weekday=self.first_weekday).week_start(day)

    def one_span(self, words: str) -> VagueDate | None:
        weekday, rest = None, words
        if match := re.match(r"([a-z]{3,9})\.?[ ,]+(?=\S)", words):
            weekday = _weekday(match[1])
            rest = words[match.end() :] if weekday is not None else words
        span = self.span(rest)
        if span is None:
            return None
        found = self._settle(span)
        if weekday is not None and found.earliest is not None:
            if not found.is_exact:
                raise InputError(f"'{self.text}' names a weekday but not one day")
            if found.earliest.weekday() != weekday:
                actual = WEEKDAYS[found.earliest.weekday()]
                raise InputError(
                    f"'{self.text}': {format_day(found.earliest)} is a {actual}, not a {WEEKDAYS[weekday]}; "
                    "correct the day or write the year"
                )
        return found

    def range(self, words: str) -> VagueDate | None:
        """Two ends; a bare day or a bare "early" takes its month from the other end."""
        body = re.sub(r"^(?:between|from) ", "", words)
        for match in re.finditer(r" ?(?:\.\.+|[-/]| to | and | or ) ?", body):
            ends = self._ends(body[: match.start()].strip(), body[match.end() :].strip())
            if ends is None:
                continue
            left, right = ends
            crosses = left.month > right.month  # "28 Dec-3 Jan" runs over new year
            if left.year is None and right.year is not None:
                left = replace(left, year=right.year - crosses)
            start = self._settle(left)
            assert start.earliest is not None
            if right.year is None:
                right = replace(right, year=start.earliest.year + crosses)
            end = self._settle(right)
            assert end.latest is not None
            if end.latest < start.earliest:
                raise InputError(f"'{self.text}' ends before it starts")
            if (end.latest - start.earliest).days > 366:
                raise InputError(f"'{self.text}' spans more than a year; write a narrower date")
            return self._days(start.earliest, end.latest)
        return None

    def _ends(self, a: str, b: str) -> tuple[_Span, _Span] | None:
        left = self.span(a)
        right = self.span(b)
        if left is None and right is not None:
            left = self._borrow(a, right)
        elif right is None and left is not None:
            # "July 2-9 2025": the year stands at the right end
            year = re.fullmatch(r"(?P<rest>\S+) (?P<year>\d{4})", b)
            right = self._borrow(year["rest"] if year else b, left)
            if right and year:
                right = replace(right, year=int(year["year"]))
                left = replace(left, year=int(year["year"]))
        return (left, right) if left and right else None

    def _borrow(self, words: str, other: _Span) -> _Span | None:
        if words in _TENTHS:
            first, last = _TENTHS[words]
            return _Span(other.year, other.month, first, last)
        if match := re.fullmatch(r"(\d{1,2})\.?", words):
            day = self._day(int(match[1]), other.month, other.year)
            return _Span(other.year, other.month, day, day)
        return None

    def span(self, words: str) -> _Span | None:
        """One day, or days of one month; None when the words are something else."""
        words = words.strip().rstrip(",")
        for pattern in (_ISO, _ISO_PLAIN):
            if match := pattern.fullmatch(words):
                return self._one(self._year(match["year"]), int(match["month"]), int(match["day"]))
        if match := _NUMERIC.fullmatch(words):
            day, month = self._in_order(match)
            return self._one(self._year(match["year"]), month, day)
        if match := _ISO_MONTH.fullmatch(words):
            year, number = match["year"] or match["year2"], int(match["month"] or match["month2"])
            if not 1 <= number <= 12:
                raise InputError(f"'{self.text}': there is no month {number}")
            return _Span(self._year(year), number, 1, 31)
        for pattern in (_PART_MONTH, _DAY_MONTH, _MONTH_DAY, _MONTH_ONLY):
            if not (match := pattern.fullmatch(words)):
                continue
            month_named = self._month(match["month"])
            if month_named is None:
                continue
            year_read = self._year(match["year"])
            groups = match.groupdict()
            if "part" in groups:
                return _Span(year_read, month_named, *_TENTHS[groups["part"]])
            if "day" in groups:
                return self._one(year_read, month_named, int(groups["day"]))
            return _Span(year_read, month_named, 1, 31)
        return None

    # -- checks and years ---------------------------------------------------------------------------------

    def _in_order(self, match: re.Match[str]) -> tuple[int, int]:
        a, b = int(match["a"]), int(match["b"])
        order = self.order
        if order is None:
            if a == b or match["s"] == "." or a > 12:
                order = "day-first"
            elif b > 12:
                order = "month-first"
            else:
                raise AmbiguousDateError(
                    f"'{self.text}' may be {_named(a, b)} or {_named(b, a)}; "
                    "write the month as a word, or use --date-order day-first or --date-order month-first"
                )
        day, month = (a, b) if order == "day-first" else (b, a)
        if not 1 <= month <= 12:
            raise InputError(f"'{self.text}' read {order.replace('-', ' ')} has month {month}")
        return day, month

    def _one(self, year: int | None, month: int, day: int) -> _Span:
        if not 1 <= month <= 12:
            raise InputError(f"'{self.text}': there is no month {month}")
        day = self._day(day, month, year)
        return _Span(year, month, day, day)

    def _day(self, day: int, month: int, year: int | None) -> int:
        longest = calendar.monthrange(year or 2024, month)[1]
        if not 1 <= day <= longest:
            when = MONTHS[month - 1] + (f" {year}" if year else "")
            raise InputError(f"'{self.text}': there is no {_named(day, month)}; {when} has {longest} days")
        return day

    def _month(self, word: str) -> int | None:
        return next((n for n, name in enumerate(MONTHS, 1) if _short_for(word, name)), None)

    def _year(self, text: str | None) -> int | None:
        if not text:
            return None
        year = int(text.lstrip("'"))
        if len(text.lstrip("'")) == 2:
            year += 2000 if 2000 + year <= self.today.year + 1 else 1900
        if year < FIRST_YEAR or year > self.today.year + 10:
            raise InputError(f"'{self.text}': the year {year} looks like a slip")
        return year

    def _settle(self, span: _Span) -> VagueDate:
        """The days of a span; without a year, in the latest year in which it has begun by today."""
        years = [span.year] if span.year else (self.today.year, self.today.year - 1)
        for year in years:
            longest = calendar.monthrange(year, span.month)[1]
            if not span.year and date(year, span.month, min(span.first, longest)) > self.today:
                continue
            if span.first > longest:  # 29 February of an earlier year is hardly meant
                day = _named(span.first, span.month)
                raise InputError(f"'{self.text}': {year} has no {day}; write the year with it")
            start = date(year, span.month, span.first)
            return self._days(start, date(year, span.month, min(span.last, longest)))
        raise InputError(f"there is no {_named(span.first, span.month)} {span.year or ''}".rstrip())

    def _days(self, earliest: date, latest: date | None = None) -> VagueDate:
        exact = latest is None or latest == earliest
        return VagueDate(self.text, earliest, latest or earliest, "seen" if exact else None)


def _named(day: int, month: int) -> str:
    """A day with its month in full, in the order that dates are written in."""
    name = MONTHS[month - 1] if 0 < month <= 12 else str(month)
    return f"{name} {day}" if date_style().order == "month-first" else f"{day} {name}"


def tidy(text: str) -> str:
    """Lower case, plain hyphens, no filler words, no time of day."""
    words = " ".join(text.lower().split())
    words = words.replace("–", "-").replace("—", "-").replace("’", "'").replace("−", "-")
    words = _ORDINAL.sub(r"\1", words)
    words = _CLOCK.sub("", words)
    words = re.sub(r"\b(?:end|ends)(?: of)?\b(?= (?:the )?[a-z])", "late", words)
    words = re.sub(r"\b(?:beginning|begin|start)(?: of)?\b(?= (?:the )?[a-z])", "early", words)
    words = re.sub(r"\b(?:middle|half)(?: of)?\b(?= (?:the )?[a-z])", "mid", words)
    words = re.sub(r"\b(?:some ?time|on(?! or)|the|of|in|during|at(?! latest))\b ?", "", words)
    words = re.sub(r",(?= |$)", " ", words)
    words = re.sub(r" ?- ?", "-", words)
    return " ".join(words.split())


def _short_for(word: str, name: str) -> bool:
    word = word.rstrip(".")
    return (len(word) >= 3 and name.lower().startswith(word)) or (word == "sept" and name == "September")


def _weekday(word: str) -> int | None:
    return next((n for n, name in enumerate(WEEKDAYS) if _short_for(word, name)), None)
