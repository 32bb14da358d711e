"""Numbers and times as files write them. What a cell means is decided over the whole file, or asked."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from typing import Literal

from data_sources.weather.files.problems import Problem

DateOrder = Literal["day-first", "month-first"]

MISSING = frozenset(
    ("", "na", "n/a", "nan", "null", "none", "-", "--", "---", "----", ".", "m", "missing", "<na>")
)
SENTINELS = frozenset(
    (-9999.0, -999.0, -999.9, -99.9, -99.99, 999.0, 999.9, 9999.0, -273.1, -273.15, -127.0, 3276.7, -3276.8)
)

_NUMBER = re.compile(r"([+-]?)(\d+(?:[.,]\d*)?|[.,]\d+)\s*(?:[°º˚]?\s*([CF]))?", re.IGNORECASE)
_CLOCK = (
    r"(?:[T\s,;-]+(?P<hour>\d{1,2})[:.h](?P<minute>\d{2})(?:[:.](?P<second>\d{2})(?:[.,]\d+)?)?"
    r"\s*(?P<half>[ap]\.?m\.?)?\s*(?P<zone>Z|UTC|GMT|[+-]\d{2}:?\d{2})?)?"
)
_YEAR_FIRST = re.compile(r"(?P<y>\d{4})([-/.])(?P<m>\d{1,2})\2(?P<d>\d{1,2})" + _CLOCK, re.IGNORECASE)
_COMPACT = re.compile(r"(?P<y>\d{4})(?P<m>\d{2})(?P<d>\d{2})(?:[T\s]?(?P<hour>\d{2})(?P<minute>\d{2}))?")
_YEAR_LAST = re.compile(
    r"(?P<a>\d{1,2})([-/.])\s?(?P<b>\d{1,2})\2\s?(?P<y>\d{4}|\d{2})" + _CLOCK, re.IGNORECASE
)
_NAMED = re.compile(
    r"(?P<d>\d{1,2})[-.\s]*(?P<name>[a-z]{3,9})[-.,\s]*(?P<y>\d{4}|\d{2})" + _CLOCK, re.IGNORECASE
)
_NAME_FIRST = re.compile(r"(?P<name>[a-z]{3,9})\.?\s+(?P<d>\d{1,2}),?\s+(?P<y>\d{4})" + _CLOCK, re.IGNORECASE)
_MONTH_NAMES = "jan feb mar apr may jun jul aug sep oct nov dec"
_MONTHS = {name: n for n, name in enumerate(_MONTH_NAMES.split(), 1)}
_SERIAL_ZERO = datetime(1899, 12, 30)


def read_number(text: str) -> tuple[float | None, str | None]:
    """A temperature cell: its value (None = missing) and the unit written in it, if any.

    Raises
    ------
    ValueError
        If it is no number.

    Examples
    --------
    >>> read_number("9,3"), read_number("−4.5 °C"), read_number("---"), read_number("48F")
    ((9.3, None), (-4.5, 'C'), (None, None), (48.0, 'F'))
    """
    plain = text.strip().strip('"').replace("−", "-").strip()
    if plain.casefold() in MISSING:
        return None, None
    match = _NUMBER.fullmatch(plain)
    if match is None:
        raise ValueError(text)
    sign, digits, unit = match.groups()
    return float(sign + digits.replace(",", ".")), unit.upper() if unit else None


@dataclass(frozen=True)
class Stamps:
    """The times of a column, in file order: naive (the file's own clock) or all with their zone.

    `order` is the order of day and month that was used, None when none was needed. `ambiguous` is true when
    the file proves none: then `times` is empty and the order must be asked. `timed` says whether any cell
    had a time of day.
    """

    times: tuple[datetime | None, ...]
    problems: tuple[Problem, ...]
    order: DateOrder | None
    ambiguous: bool = False
    timed: bool = False


def read_stamps(cells: Sequence[tuple[int, str]], column: str, order: DateOrder | None = None) -> Stamps:
    """Dates or times of a whole column, each with the line it stands on.

    Parameters
    ----------
    cells : sequence of (line, text)
        As they stand in the file.
    column : str
        For the messages.
    order : {"day-first", "month-first"}, optional
        What the grower said about "03/04/2026".
    """
    matches = [_match(text.strip()) for _, text in cells]
    proof: dict[DateOrder, int] = {}
    short = False
    for (line, _), found in zip(cells, matches, strict=True):
        if isinstance(found, re.Match) and "a" in found.re.groupindex:
            short = True
            first, second = int(found["a"]), int(found["b"])
            if first > 12 >= second:
                proof.setdefault("day-first", line)
            elif second > 12 >= first:
                proof.setdefault("month-first", line)
    if order is None and len(proof) == 2:
        advice = f"but line {proof['day-first']} has the day first; write all dates as 2026-03-05"
        return Stamps(
            (None,) * len(cells),
            (Problem(proof["month-first"], column, "has the month first", advice),),
            None,
        )
    if order is None and short:
        if not proof:
            return Stamps((), (), None, ambiguous=True)
        order = next(iter(proof))
    times: list[datetime | None] = []
    problems: list[Problem] = []
    timed = False
    for (line, text), found in zip(cells, matches, strict=True):
        try:
            if found is None:
                raise ValueError("is no date")
            time, has_clock = _time(found, order)
            timed |= has_clock
            times.append(time)
        except (ValueError, OverflowError) as error:
            times.append(None)
            why = str(error) if str(error) == "is no date" else "is not in the calendar"
            problems.append(Problem(line, column, f"'{text}' {why}", "write a date such as 2026-03-05"))
    return Stamps(tuple(times), tuple(problems), order if short else None, timed=timed)


def _match(text: str) -> re.Match[str] | datetime | None:
    for shape in (_YEAR_FIRST, _YEAR_LAST, _COMPACT, _NAMED, _NAME_FIRST):
        found = shape.fullmatch(text)
        if found:
            return found
    if re.fullmatch(r"\d{9,10}(\.\d+)?", text):
        return datetime.fromtimestamp(float(text), UTC)
    if re.fullmatch(r"\d{12,13}", text):
        return datetime.fromtimestamp(int(text) / 1000, UTC)
    if re.fullmatch(r"[2-7]\d{4}([.,]\d+)?", text):
        days = float(text.replace(",", "."))
        return _SERIAL_ZERO + timedelta(minutes=round(days * 1440))  # spreadsheets round to about a second
    return None


def _time(found: re.Match[str] | datetime, order: DateOrder | None) -> tuple[datetime, bool]:
    if isinstance(found, datetime):
        return found, True
    part = found.groupdict()
    year = int(part["y"])
    if len(part["y"]) == 2:
        year += 2000 if year < 70 else 1900
    if "a" in part:
        first, second = int(part["a"]), int(part["b"])
        day, month = (first, second) if order == "day-first" else (second, first)
    elif "name" in part:
        day, month = int(part["d"]), _MONTHS.get(part["name"][:3].casefold(), 0)
    else:
        day, month = int(part["d"]), int(part["m"])
    if part.get("hour") is None:
        return datetime(year, month, day), False
    hour, minute, second_ = int(part["hour"]), int(part["minute"]), int(part.get("second") or 0)
    half = (part.get("half") or "").casefold().replace(".", "")
    if half:
        hour = hour % 12 + (12 if half == "pm" else 0)
    later = timedelta(days=1) if (hour, minute) == (24, 0) else timedelta()
    time = datetime(year, month, day, 0 if later else hour, minute, second_) + later
    return time.replace(tzinfo=_zone(part.get("zone"))), True


def _zone(text: str | None) -> tzinfo | None:
    if not text:
        return None
    if text.upper() in ("Z", "UTC", "GMT"):
        return UTC
    return timezone(offset_of(text))


def offset_of(text: str) -> timedelta:
    """The offset written as "+01:00", "-0530" or "+1".

    >>> offset_of("-05:30").total_seconds()
    -19800.0
    """
    found = re.fullmatch(r"([+-−])(\d{1,2}):?(\d{2})?", text)
    if found is None:
        raise ValueError(text)
    size = timedelta(hours=int(found[2]), minutes=int(found[3] or 0))
    return size if found[1] == "+" else -size
