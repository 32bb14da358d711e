"""Days of weather as a table: every value, where it comes from, what is used and what gave way."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from math import isnan
from typing import NamedTuple

from data_sources.weather.store.records import DayValue
from reports.table import Column, Table

SCHEMA = "flushcast.weather-days/1"
STATES = {
    "used": "used",
    "beside": "not needed",
    "doubtful": "doubtful, unused",
    "held": "waits, unused",
    "replaced": "gave way",
    "missing": "missing",
}


class DayRow(NamedTuple):
    """A value of a day; None where the day has none."""

    day: date
    value: DayValue | None


def _number(value: float) -> float | None:
    return None if isnan(value) else value


COLUMNS = (
    Column[DayRow]("day", "date", lambda row: row.day, "The place's local day.", show=date.isoformat),
    Column[DayRow](
        "tmin", "temperature", lambda row: row.value and _number(row.value.tmin), "Lowest air.", digits=1
    ),
    Column[DayRow](
        "tmax", "temperature", lambda row: row.value and _number(row.value.tmax), "Highest air.", digits=1
    ),
    Column[DayRow]("source", "text", lambda row: row.value and row.value.source, "What kind of source."),
    Column[DayRow](
        "state",
        "text",
        lambda row: row.value.state if row.value else "missing",
        f"One of {', '.join(STATES)}.",
        title="what became of it",
        show=STATES.__getitem__,
    ),
    Column[DayRow](
        "origin", "text", lambda row: row.value and str(row.value.origin), "Who gave it.", title="from"
    ),
    Column[DayRow](
        "stations",
        "number",
        lambda row: row.value.stations if row.value and row.value.source == "station" else None,
        "How many stations it is from.",
        digits=0,
    ),
    Column[DayRow](
        "taken",
        "time",
        lambda row: row.value and row.value.fetched_at,
        "When it was fetched or added.",
        show=lambda at: at.date().isoformat(),
    ),
    Column[DayRow](
        "reason", "text", lambda row: row.value and row.value.reason, "Why it is doubted, or waits."
    ),
)


def weather_days(values: Sequence[DayValue], first: date, last: date, units: str) -> Table[DayRow]:
    """The table of the days from `first` to `last`; a day without any value has a row of its own."""
    by_day: dict[date, list[DayRow]] = {first + timedelta(days=n): [] for n in range((last - first).days + 1)}
    for value in values:
        by_day[value.day].append(DayRow(value.day, value))
    rows = [row for day, mine in by_day.items() for row in mine or [DayRow(day, None)]]
    return Table(SCHEMA, COLUMNS, rows, units=units)
