"""Time stamps of a file: a date as any table has it, with a time of day and an offset behind it.

Besides, stamps may count seconds or milliseconds from 1970, or days as spreadsheets do.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta, timezone

from data_sources.tables.dates import order_of
from data_sources.tables.problems import Problem, TableError
from data_sources.tables.text_table import TextTable
from data_sources.weather.files.columns import Columns
from data_sources.weather.files.readings import Rows
from phenology.language.written_days import DateOrder, tidy, written_day

LATEST_YEAR = 2069  # of two digits: 70 is 1970
_SERIAL_ZERO = datetime(1899, 12, 30)
_STAMP = re.compile(
    r"(?P<date>.{5,}?)(?:(?:(?<=\d)T|[\s,;-]+)(?P<hour>\d{1,2})[:.h](?P<minute>\d{2})(?:[:.](?P<second>\d{2})(?:[.,]\d+)?)?"
    r"\s*(?:(?P<half>[ap])\.?m\.?)?\s*(?P<zone>Z|UTC|GMT|[+-]\d{2}:?\d{2})?)?",
    re.IGNORECASE,
)
_FIGURES = re.compile(r"\d{1,2}[-/.] ?\d")  # where the order of day and month matters
_COMPACT = re.compile(r"(?P<date>\d{8})[T\s]?(?P<hour>\d{2})(?P<minute>\d{2})")


def stamp_texts(found: Columns, rows: Rows, *, with_time: bool) -> list[str]:
    """The date of each row as text; `with_time`, with what a column of times of day holds."""
    roles, joint = (("date",), "") if "date" in found.at else (("year", "month", "day"), "-")
    clock = [found.at["time"]] if with_time and "time" in found.at else []
    dates = [joint.join(cells[found.at[role]] for role in roles) for _, cells in rows]
    clocks = [[cells[n] for n in clock] for _, cells in rows]
    return [" ".join([day, *time]).strip() for day, time in zip(dates, clocks, strict=True)]


def several_a_day(texts: Sequence[str]) -> bool:
    """Whether stamps have times of day and clearly fewer days than stamps."""
    found = [_STAMP.fullmatch(text) for text in texts]
    timed = any(match and match["hour"] for match in found)
    return timed and len({match["date"] for match in found if match}) < 0.7 * len(texts)


def read_stamps(
    table: TextTable,
    found: Columns,
    rows: Rows,
    order: DateOrder | None,
    problems: list[Problem],
    *,
    with_time: bool,
) -> tuple[list[datetime | None], DateOrder | None]:
    """Dates or times of all rows, and the order of day and month used (None when none was needed).

    Times are naive (the file's own clock) or all have their offset; what cannot be read becomes a problem.

    Raises
    ------
    FileQuestion
        If nothing tells the day from the month.
    """
    at = found.at.get("date", found.at.get("year", 0))
    column = table.headers[at]
    stamps = [
        (line, text, _COMPACT.fullmatch(text) or _STAMP.fullmatch(text))
        for (line, _), text in zip(rows, stamp_texts(found, rows, with_time=with_time), strict=True)
    ]
    dates: dict[str, int] = {}  # each once, with the line it comes first on
    for line, text, part in stamps:
        dates.setdefault(part["date"] if part else text, line)
    if order is None:
        order = order_of(table.file, ((line, column, text) for text, line in dates.items()))
    days: dict[str, datetime | None] = {}
    times: list[datetime | None] = []
    for line, text, part in stamps:
        time, wrong = None, "is no date"
        try:
            time = _counted(text)
            if time is None and part is not None:
                if part["date"] not in days:
                    days[part["date"]] = _day(part["date"], order)
                day = days[part["date"]]
                time = day and _with_clock(day, part.groupdict())
        except (ValueError, OverflowError):
            wrong = "is not in the calendar"
        if time is None:
            problems.append(table.problem(line, at, f"'{text}' {wrong}", "write a date such as 2026-03-05"))
        times.append(time)
    if len({time.tzinfo is None for time in times if time}) > 1:
        raise TableError(
            f"{table.file}: gives only some times in '{column}' an offset; give it to all or none"
        )
    return times, order if any(map(_FIGURES.match, dates)) else None


def _counted(text: str) -> datetime | None:
    """The moment that a count of seconds, milliseconds or a spreadsheet's days stands for."""
    if re.fullmatch(r"\d{9,10}(\.\d+)?", text):
        return datetime.fromtimestamp(float(text), UTC)
    if re.fullmatch(r"\d{13}", text):
        return datetime.fromtimestamp(int(text) / 1000, UTC)
    if re.fullmatch(r"[2-7]\d{4}([.,]\d+)?", text):
        # Spreadsheets round to about a second.
        return _SERIAL_ZERO + timedelta(minutes=round(float(text.replace(",", ".")) * 1440))
    return None


def _day(text: str, order: DateOrder | None) -> datetime | None:
    """Midnight of a date; None when it is none."""
    if re.fullmatch(r"\d{4}-\d\d-\d\d", text):
        return datetime.fromisoformat(text)
    day = None if ":" in text else written_day(tidy(text), order=order, latest_year=LATEST_YEAR)
    return None if day is None or day[0] is None else datetime(day[0], day[1], day[2])


def _with_clock(day: datetime, part: dict[str, str | None]) -> datetime:
    if part["hour"] is None:
        return day
    hour, minute, second = (int(part.get(name) or 0) for name in ("hour", "minute", "second"))
    if half := part.get("half"):
        hour = hour % 12 + 12 * (half in "pP")
    later = timedelta(days=1) if (hour, minute) == (24, 0) else timedelta()
    time = day.replace(hour=0 if later else hour, minute=minute, second=second) + later
    zone = part.get("zone")
    return time.replace(tzinfo=offset_of(zone)) if zone else time


def offset_of(text: str) -> timezone:
    """The offset written as "+01:00", "-0530", "+1" or "UTC".

    >>> offset_of("-05:30"), offset_of("Z")
    (datetime.timezone(datetime.timedelta(days=-1, seconds=66600)), datetime.timezone.utc)
    """
    if text.upper() in ("Z", "UTC", "GMT"):
        return UTC
    found = re.fullmatch(r"([+-−])(\d{1,2}):?(\d{2})?", text)
    if found is None:
        raise ValueError(text)
    size = timedelta(hours=int(found[2]), minutes=int(found[3] or 0))
    return timezone(size if found[1] == "+" else -size)
