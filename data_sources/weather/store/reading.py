"""Reading from the weather store: numpy only, one indexed query for the days and one for the forecast."""

from __future__ import annotations

import sqlite3
from datetime import date, datetime
from itertools import chain
from typing import Any

import numpy as np
from numpy.typing import NDArray

from data_sources.weather.store.records import Origin, OriginUse, PastForecasts, ReplacedDay, SuspiciousDay
from phenology.weather.series import SOURCES, DailyWeather

FORECAST = SOURCES.index("forecast")
LOOK_BACK = 45  # days: how far behind the newest measurement forecasts may stand in for days not yet measured
_LATEST = date.max.toordinal()
_USED = "(suspect IS NULL OR accepted = 1)"


def known_place(connection: sqlite3.Connection, place: str) -> int | None:
    """The store's own number of a place; None when it holds nothing for it."""
    row = connection.execute("SELECT key FROM place WHERE id = ?", (place,)).fetchone()
    return row[0] if row else None


def days_and_forecast(
    connection: sqlite3.Connection, place: int, as_of: date | None, source: str | None = None
) -> DailyWeather | None:
    """The best value of each day and the newest forecast, as known on `as_of`; None when there is nothing."""
    until = as_of.toordinal() if as_of else _LATEST
    one = "" if source is None else f" AND source = {SOURCES.index(source):d}"
    rows = _numbers(
        connection.execute(
            f"SELECT source, day, tmin, tmax FROM day WHERE place = ? AND day <= ? AND {_USED}{one}",
            (place, until),
        ),
        4,
    )
    if source is None:
        full = rows[(~np.isnan(rows)).all(axis=1), 1]
        since = int(full.max()) - LOOK_BACK if len(full) else 0
        rows = np.concatenate((rows, _newest_forecast(connection, place, until, since)))
    return _best_of_each_day(rows)


def _newest_forecast(
    connection: sqlite3.Connection, place: int, until: int, since: int
) -> NDArray[np.float64]:
    """Rows (source, day, tmin, tmax): days past the newest issue come from it alone, others from the newest
    issue that has them."""
    newest = connection.execute(
        "SELECT key, issued FROM batch WHERE place = ? AND issued <= ?"
        " ORDER BY issued DESC, key DESC LIMIT 1",
        (place, until),
    ).fetchone()
    if newest is None:
        return np.empty((0, 4))
    key, issued = newest
    rows = _numbers(
        connection.execute(
            "SELECT issued * 1e9 + batch, day, tmin, tmax FROM forecast JOIN batch ON batch.key = batch"
            " WHERE forecast.place = ? AND member = 0 AND day > ? AND issued <= ? AND (day <= ? OR batch = ?)"
            " ORDER BY 1",
            (place, since, until, issued, key),
        ),
        4,
    )
    days = rows[::-1, 1]  # newest first, so that unique keeps the newest
    keep = len(rows) - 1 - np.unique(days, return_index=True)[1]
    rows = rows[keep]
    rows[:, 0] = FORECAST
    return rows


def _numbers(cursor: sqlite3.Cursor, width: int) -> NDArray[np.float64]:
    rows: list[tuple[Any, ...]] = cursor.fetchall()
    # None becomes NaN on the way into a float array.
    return np.array(list(chain.from_iterable(rows)), dtype=float).reshape(-1, width)


def _best_of_each_day(rows: NDArray[np.float64]) -> DailyWeather | None:
    """One series from rows (source, day, tmin, tmax): full days before half days, then by trust."""
    if not len(rows):
        return None
    source, day = rows[:, 0].astype(np.int64), rows[:, 1].astype(np.int64)
    first = int(day.min())
    n = int(day.max()) - first + 1
    low, high, rank = np.full(n, np.nan), np.full(n, np.nan), np.full(n, -1)
    half = np.isnan(rows[:, 2:]).any(axis=1)
    for is_half in (True, False):
        for code in reversed(range(len(SOURCES))):
            chosen = (source == code) & (half == is_half)
            at = day[chosen] - first
            low[at], high[at], rank[at] = rows[chosen, 2], rows[chosen, 3], code
    return DailyWeather(date.fromordinal(first), low, high, np.array([*SOURCES, ""])[rank])


def members(connection: sqlite3.Connection, place: int, as_of: date | None) -> list[DailyWeather]:
    """The members of the newest ensemble issued by `as_of`; empty when there is none."""
    newest = connection.execute(
        "SELECT max(batch) FROM forecast JOIN batch ON batch.key = batch"
        " WHERE forecast.place = ? AND member > 0 AND issued ="
        " (SELECT max(issued) FROM forecast JOIN batch ON batch.key = batch"
        " WHERE forecast.place = ? AND member > 0 AND issued <= ?)",
        (place, place, as_of.toordinal() if as_of else _LATEST),
    ).fetchone()[0]
    rows = _numbers(
        connection.execute(
            "SELECT member, day, tmin, tmax FROM forecast"
            " WHERE place = ? AND batch = ? AND member > 0 ORDER BY 1, 2",
            (place, newest),
        ),
        4,
    )
    return [
        DailyWeather.from_ordinals(part[:, 1].astype(np.int64), part[:, 2], part[:, 3], "forecast")
        for part in np.split(rows, np.flatnonzero(np.diff(rows[:, 0])) + 1)
        if len(part)
    ]


def past_forecasts(
    connection: sqlite3.Connection, place: int, as_of: date | None, since: date | None = None
) -> PastForecasts:
    """Every kept forecast issued from `since` to `as_of`, oldest first."""
    rows = connection.execute(
        "SELECT issued, day, tmin, tmax, provider FROM forecast JOIN batch ON batch.key = batch"
        " JOIN origin ON origin.key = batch.origin"
        " WHERE forecast.place = ? AND member = 0 AND issued BETWEEN ? AND ? ORDER BY issued, batch, day",
        (place, since.toordinal() if since else 0, as_of.toordinal() if as_of else _LATEST),
    ).fetchall()
    issued, day, low, high, provider = zip(*rows, strict=True) if rows else ((),) * 5
    return PastForecasts(
        np.array(issued, dtype=np.int64),
        np.array(day, dtype=np.int64),
        np.array(low, dtype=float),
        np.array(high, dtype=float),
        np.array(provider, dtype=str),
    )


def suspicious_days(connection: sqlite3.Connection, place: int) -> list[SuspiciousDay]:
    """Marked days, oldest first, accepted ones included."""
    rows = connection.execute(
        "SELECT day, source, tmin, tmax, suspect, accepted FROM day"
        " WHERE place = ? AND suspect IS NOT NULL ORDER BY day, source",
        (place,),
    )
    return [
        SuspiciousDay(
            date.fromordinal(day), SOURCES[source], _number(low), _number(high), why, bool(accepted)
        )
        for day, source, low, high, why, accepted in rows
    ]


def replaced_days(connection: sqlite3.Connection, place: int) -> list[ReplacedDay]:
    """Values that others took the place of, in the order it happened."""
    rows = connection.execute(
        "SELECT day, source, tmin, tmax, provider, detail, attribution, measures,"
        " was.fetched_at, now.fetched_at"
        " FROM replaced JOIN batch was ON was.key = batch JOIN batch now ON now.key = by_batch"
        " JOIN origin ON origin.key = was.origin WHERE replaced.place = ? ORDER BY replaced.key",
        (place,),
    )
    return [
        ReplacedDay(
            date.fromordinal(day),
            SOURCES[source],
            _number(low),
            _number(high),
            Origin(*where),
            _time(at),
            _time(by),
        )
        for day, source, low, high, *where, at, by in rows
    ]


def origin_uses(connection: sqlite3.Connection, place: int) -> list[OriginUse]:
    """How many days each origin stands for and when it was last asked, the most first; forecasts last."""
    rows = connection.execute(
        "SELECT provider, detail, attribution, measures, source, count(*), min(day), max(day),"
        # also when the last answer brought nothing new
        " (SELECT max(fetched_at) FROM batch b WHERE b.origin = origin.key AND b.place = day.place)"
        " FROM day JOIN batch ON batch.key = batch JOIN origin ON origin.key = origin"
        " WHERE day.place = ? GROUP BY origin.key, source ORDER BY 6 DESC",
        (place,),
    ).fetchall()
    rows += connection.execute(
        f"SELECT provider, detail, attribution, measures, {FORECAST},"
        " count(*), min(day), max(day), fetched_at"
        " FROM forecast JOIN batch ON batch.key = batch JOIN origin ON origin.key = origin"
        " WHERE forecast.place = ? AND member = 0 AND batch IN (SELECT max(b.key) FROM batch b"
        " JOIN origin o ON o.key = b.origin WHERE b.place = ? AND issued IS NOT NULL GROUP BY o.provider)"
        " GROUP BY batch ORDER BY fetched_at DESC",
        (place, place),
    ).fetchall()
    return [
        OriginUse(Origin(*where), SOURCES[source], days, _day(first), _day(last), _time(at))
        for *where, source, days, first, last, at in rows
    ]


def _day(ordinal: int) -> date:
    return date.fromordinal(ordinal)


def _number(value: float | None) -> float:
    return float("nan") if value is None else value


def _time(text: str) -> datetime:
    return datetime.fromisoformat(text)
