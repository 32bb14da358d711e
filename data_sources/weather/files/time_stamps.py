"""Time stamps: a date as any table has it, with a time of day and an offset behind it, or a count.

Counts are of seconds or milliseconds from 1970, or of days as spreadsheets have them.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from functools import cache
from typing import NamedTuple
from zoneinfo import ZoneInfo

from phenology.language.written_days import DateOrder, tidy, written_day

FIGURES = re.compile(r"\d{1,2}[-/.] ?\d")  # where the order of day and month matters
LATEST_YEAR = 2069  # of two digits: 70 is 1970
_SERIAL_ZERO = datetime(1899, 12, 30)
_STAMP = re.compile(
    r"(?P<date>.{5,}?)(?:(?:(?<=\d)T|[\s,;-]+)"
    r"(?P<hour>\d{1,2})[:.h](?P<minute>\d{2})(?:[:.](?P<second>\d{2})(?:[.,]\d+)?)?"
    r"\s*(?:(?P<half>[ap])\.?m\.?)?\s*(?P<zone>Z|UTC|GMT|[+-]\d{2}:?\d{2}|[A-Z]{3,5})?)?",
    re.IGNORECASE,
)
_UTC = ("Z", "UTC", "GMT")
_EUROPE = ("Europe/Berlin", "Europe/London", "Europe/Lisbon", "Europe/Athens")
_GERMAN = {"MEZ": "CET", "MESZ": "CEST"}
_COMPACT = re.compile(r"(?P<date>\d{8})[T\s]?(?P<hour>\d{2})(?P<minute>\d{2})")


class Stamp(NamedTuple):
    """The date in a stamp, and the parts of its time of day where it has one."""

    text: str
    date: str
    clock: dict[str, str | None] = {}  # noqa: RUF012


def split_stamp(text: str) -> Stamp:
    """A stamp with its time of day taken off.

    >>> split_stamp("5 Mar 2026 7:30 pm").date
    '5 Mar 2026'
    """
    match = _COMPACT.fullmatch(text) or _STAMP.fullmatch(text)
    if match is None:
        return Stamp(text, text)
    parts = match.groupdict()
    return Stamp(text, match["date"], parts if parts["hour"] else {})


def several_a_day(stamps: Sequence[Stamp]) -> bool:
    """Whether stamps have times of day and clearly fewer days than stamps."""
    return any(s.clock for s in stamps) and len({s.date for s in stamps}) < 0.7 * len(stamps)


def day_of(text: str, order: DateOrder | None) -> datetime | None:
    """Midnight of a date, or the moment that a count stands for; None when the text is neither.

    Raises `ValueError` or `OverflowError` if there is no such day.
    """
    if re.fullmatch(r"\d{4}-\d\d-\d\d", text):
        return datetime.fromisoformat(text)
    if re.fullmatch(r"\d{9,10}(\.\d+)?|\d{13}", text):
        milliseconds = len(text) == 13 and text.isdigit()
        return datetime.fromtimestamp(float(text) / (1000 if milliseconds else 1), UTC)
    if re.fullmatch(r"[2-7]\d{4}([.,]\d+)?", text):
        # Spreadsheets round to about a second.
        return _SERIAL_ZERO + timedelta(minutes=round(float(text.replace(",", ".")) * 1440))
    day = None if ":" in text else written_day(tidy(text), order=order, latest_year=LATEST_YEAR)
    return None if day is None or day[0] is None else datetime(day[0], day[1], day[2])


def with_clock(day: datetime | None, stamp: Stamp, place: tzinfo | None = None) -> datetime | None:
    """A day at a stamp's time; None where a count, which has its own, has another behind it.

    A zone's short name ("CEST") is that of the place's zone, or one of Europe's. Raises `ValueError` if the
    name of the zone is not known.
    """
    clock = stamp.clock
    if day is None or not clock:
        return day
    if day.tzinfo is not None or day.hour or day.minute:
        return None
    hour, minute, second = (int(clock.get(name) or 0) for name in ("hour", "minute", "second"))
    if half := clock.get("half"):
        hour = hour % 12 + 12 * (half in "pP")
    later = timedelta(days=1) if (hour, minute) == (24, 0) else timedelta()
    time = day.replace(hour=0 if later else hour, minute=minute, second=second) + later
    zone = clock.get("zone")
    if zone and zone.isalpha() and zone.upper() not in _UTC:
        return time.replace(tzinfo=_named_offset(zone.upper(), place))
    return time.replace(tzinfo=offset_of(zone)) if zone else time


@cache
def _named_offset(name: str, place: tzinfo | None) -> timezone:
    """The offset that a short name stands for, in a place's zone or in Europe, in winter or in summer."""
    for zone in (place, *map(ZoneInfo, _EUROPE)):
        for month in (1, 7):
            moment = datetime(2025, month, 1, tzinfo=zone)
            offset = moment.utcoffset()
            if zone is not None and offset is not None and moment.tzname() == _GERMAN.get(name, name):
                return timezone(offset)
    raise ValueError(name)


def offset_of(text: str) -> timezone:
    """The offset written as "+01:00", "-0530", "+1" or "UTC".

    >>> offset_of("-05:30"), offset_of("Z")
    (datetime.timezone(datetime.timedelta(days=-1, seconds=66600)), datetime.timezone.utc)
    """
    if text.upper() in _UTC:
        return UTC
    found = re.fullmatch(r"([+-−])(\d{1,2}):?(\d{2})?", text)
    if found is None:
        raise ValueError(text)
    size = timedelta(hours=int(found[2]), minutes=int(found[3] or 0))
    return timezone(size if found[1] == "+" else -size)
