"""Days of weather as a table: every value, where it comes from, what is used and what gave way."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, timedelta
from math import isnan
from typing import Any, NamedTuple

from data_sources.weather.store.records import DayValue
from reports.table import Column, Kind, Table

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


def _of_value(
    name: str, kind: Kind, meaning: str, get: Callable[[DayValue], Any], **more: Any
) -> Column[DayRow]:
    """A column of what is told of a value; empty where the day has none."""
    return Column(name, kind, lambda row: None if row.value is None else get(row.value), meaning, **more)


COLUMNS: tuple[Column[DayRow], ...] = (
    Column("day", "date", lambda row: row.day, "The place's local day.", show=date.isoformat),
    _of_value("tmin", "temperature", "Lowest air.", lambda v: _number(v.tmin), digits=1),
    _of_value("tmax", "temperature", "Highest air.", lambda v: _number(v.tmax), digits=1),
    _of_value("source", "text", "What kind of source.", lambda v: v.source),
    Column("state", "text", lambda row: row.value.state if row.value else "missing",
           f"One of {', '.join(STATES)}.", title="what became of it", show=STATES.__getitem__),
    _of_value("origin", "text", "Who gave it.", lambda v: str(v.origin), title="from"),
    _of_value("stations", "number", "How many stations it is from.",
              lambda v: v.stations if v.source == "station" else None, digits=0),
    _of_value("taken", "time", "When it was fetched or added.", lambda v: v.fetched_at,
              show=lambda at: at.date().isoformat()),
    _of_value("reason", "text", "Why it is doubted, or waits.", lambda v: v.reason),
)  # fmt: skip


def weather_days(values: Sequence[DayValue], first: date, last: date, units: str) -> Table[DayRow]:
    """The table of the days from `first` to `last`; a day without any value has a row of its own."""
    by_day: dict[date, list[DayRow]] = {first + timedelta(days=n): [] for n in range((last - first).days + 1)}
    for value in values:
        by_day[value.day].append(DayRow(value.day, value))
    rows = [row for day, mine in by_day.items() for row in mine or [DayRow(day, None)]]
    return Table(SCHEMA, COLUMNS, rows, units=units)
