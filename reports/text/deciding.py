"""Of each flush the one row that decides what a grower does next, for pages, pictures and calendars."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from typing import Any

from phenology.advice.forecast_rows import ForecastRow, GardenForecast

AHEAD_DAYS = 120
"""What lies further ahead is not told yet (ours)."""

LONG_PAST_DAYS = 120
"""Leaves that nobody saw harden are not looked for any more, so long after they very probably did (ours)."""

LEAST_WEEKS, MOST_WEEKS = 13, 26

DOES = {
    "cutback": "cut to two, then halve outer leaves",
    "partial-defoliation": "take the outer leaves off, once a season",
}
STATE = {"budbreak": "in bud break", "extended": "extended", "hardened": "hard"}


def deciding_rows(forecast: GardenForecast) -> Iterator[ForecastRow]:
    """Hardening once bud break was seen, or is very probably past, or work woke the flush.

    Before that the coming bud break.
    """
    flushes: dict[tuple[str, int, int], dict[str, ForecastRow]] = {}
    for row in forecast.rows:
        flushes.setdefault((row.tree.id, row.season, row.flush), {})[row.stage] = row
    for stages in flushes.values():
        first = stages.get("budbreak")
        if first is not None and _is_past(first, forecast) and "hardened" in stages:
            first = None  # nobody looked, and it is too late to look for that
        told = first if first is not None and first.flush == 1 else stages.get("hardened")
        if told is not None and _is_past(told, forecast, LONG_PAST_DAYS) and told.seen[0] is None:
            continue  # never looked at, and by now the leaves turn: the next is spring's
        if told is not None and (told.arrival is not None or told.operation is not None or refusal_of(told)):
            yield told


def _is_past(row: ForecastRow, forecast: GardenForecast, days: int = 0) -> bool:
    by = row_date(row, 0.9, forecast)
    return by is not None and by < forecast.garden.as_of - timedelta(days=days)


def coming_rows(forecast: GardenForecast) -> list[ForecastRow]:
    """The deciding rows of the coming months, soonest look first."""
    near = [
        row
        for row in deciding_rows(forecast)
        if row.look_on <= forecast.garden.as_of + timedelta(days=AHEAD_DAYS)
    ]
    return sorted(near, key=lambda r: (r.look_on, r.order, r.tree.label))


def row_date(row: ForecastRow, level: float, forecast: GardenForecast) -> date | None:
    """The date by which a row's stage has come with chance `level`; None beyond what comes this season."""
    t = row.day(level)
    return None if t is None else forecast.garden.calendar.date(row.season, t)


def weeks_ahead(forecast: GardenForecast) -> int:
    """How many weeks a picture must show to hold what is coming: a season's quarter to its half."""
    reach = [row_date(row, 0.9, forecast) for row in coming_rows(forecast)]
    last = max((day for day in reach if day is not None), default=forecast.garden.as_of)
    return min(MOST_WEEKS, max(LEAST_WEEKS, (last - forecast.garden.as_of).days // 7 + 2))


def last_safe_of(row: ForecastRow) -> date | None:
    """The last day on which a cut still ripens; None where no cut is advised or nothing limits it."""
    found = _advice(row, "last_safe") if row.operation else None
    return found if isinstance(found, date) else None


def odds_of(row: ForecastRow) -> tuple[float, float, float] | None:
    """Odds that what a cut wakes ripens, if it is made today, in two weeks, in three."""
    found = _advice(row, "odds") if row.operation else None
    return None if found is None else (found[0], found[1], found[2])


def refusal_of(row: ForecastRow) -> str:
    """Why the work that hardening opens is not advised; empty where it is, or none is wanted."""
    found = _advice(row, "refused") if row.operation is None else None
    return str(found[0].sentence) if found else ""


def _advice(row: ForecastRow, name: str) -> Any:
    return getattr(getattr(row, "advice", None), name, None)


def does(row: ForecastRow) -> str:
    """What to do when it is firm, in a few words; empty where nothing is to be cut."""
    if row.operation is None:
        return ""
    return DOES.get(row.operation, row.operation.replace("-", " "))
