"""Writing into the weather store: what replaces what, and what is kept of the past.

Everything here runs inside the caller's transaction.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime
from typing import Literal, NamedTuple

import numpy as np

from data_sources.weather.store.records import AddReport, Origin, TakenBack
from phenology.model.errors import WeatherError
from phenology.weather.series import SOURCES, DailyWeather

MEMBERS_KEPT_DAYS = 30  # members of older ensembles are dropped; the forecasts themselves stay

Verdict = Literal["added", "replaced", "unchanged", "marked", "kept"]


class Stored(NamedTuple):
    """A day as one source has it in the store."""

    tmin: float | None
    tmax: float | None
    suspect: str | None
    accepted: int
    batch: int
    provider: str


def place_key(connection: sqlite3.Connection, place: str) -> int:
    """The store's own number of a place, made when it is new."""
    connection.execute("INSERT OR IGNORE INTO place (id) VALUES (?)", (place,))
    key: int = connection.execute("SELECT key FROM place WHERE id = ?", (place,)).fetchone()[0]
    return key


def new_batch(
    connection: sqlite3.Connection, place: int, origin: Origin, fetched_at: datetime, issued: date | None
) -> int:
    """Record where and when values came in; returns the batch's number."""
    if fetched_at.tzinfo is None:
        raise ValueError("fetched_at needs a time zone")
    fields = (origin.provider, origin.detail, origin.attribution, origin.measures)
    connection.execute(
        "INSERT OR IGNORE INTO origin (provider, detail, attribution, measures) VALUES (?, ?, ?, ?)", fields
    )
    (key,) = connection.execute(
        "SELECT key FROM origin WHERE (provider, detail, attribution, measures) = (?, ?, ?, ?)", fields
    ).fetchone()
    when = fetched_at.astimezone(UTC).isoformat(timespec="seconds")
    day = issued.toordinal() if issued else None
    made = connection.execute(
        "INSERT INTO batch (place, origin, fetched_at, issued) VALUES (?, ?, ?, ?)", (place, key, when, day)
    )
    assert made.lastrowid is not None
    return made.lastrowid


def verdict(
    old: Stored | None,
    tmin: float | None,
    tmax: float | None,
    suspect: str | None,
    provider: str,
    prefer: bool,
) -> Verdict:
    """What becomes of one offered value beside the stored one of the same source and day.

    Examples
    --------
    >>> old = Stored(1.0, 9.0, None, 0, 1, "meteostat")
    >>> verdict(old, 1.2, 9.0, None, "meteostat", False)  # the provider corrects itself
    'replaced'
    >>> verdict(old, 1.2, None, None, "meteostat", False)  # less than we had
    'kept'
    >>> verdict(old, 1.2, 9.0, None, "ncei", False)
    'kept'
    """
    if old is None:
        return "added"
    if (old.tmin, old.tmax) == (tmin, tmax):
        return "marked" if suspect and not old.suspect else "unchanged"
    doubted = old.suspect is not None and not old.accepted
    if suspect and not doubted:
        return "kept"
    if doubted and not suspect:
        return "replaced"
    more = (tmin is not None) + (tmax is not None) - (old.tmin is not None) - (old.tmax is not None)
    if more:
        return "replaced" if more > 0 else "kept"
    return "replaced" if prefer or provider == old.provider else "kept"


def add_source(
    connection: sqlite3.Connection,
    place: int,
    batch: int,
    weather: DailyWeather,
    name: str,
    provider: str,
    suspect: Mapping[date, str],
    prefer: bool,
) -> AddReport:
    """Offer the days of one source to the store."""
    source, first = SOURCES.index(name), weather.first_day.toordinal()
    rows = connection.execute(
        "SELECT day, tmin, tmax, suspect, accepted, batch, provider FROM day"
        " JOIN batch ON batch.key = day.batch JOIN origin ON origin.key = batch.origin"
        " WHERE day.place = ? AND source = ? AND day BETWEEN ? AND ?",
        (place, source, first, weather.last_day.toordinal()),
    )
    stored = {row[0]: Stored(*row[1:]) for row in rows}
    offered = np.flatnonzero(weather.source == name).tolist()
    tally: dict[Verdict, int] = {"added": 0, "replaced": 0, "unchanged": 0, "marked": 0, "kept": 0}
    suspicious = 0
    put: list[tuple[object, ...]] = []
    gone: list[tuple[object, ...]] = []
    for at in offered:
        day, low, high = first + at, cell(weather.tmin[at]), cell(weather.tmax[at])
        why, old = suspect.get(date.fromordinal(day)), stored.get(day)
        outcome = verdict(old, low, high, why, provider, prefer)
        tally[outcome] += 1
        if outcome in ("added", "replaced", "marked"):
            suspicious += why is not None
            from_batch = old.batch if old and outcome == "marked" else batch
            put.append((place, source, day, low, high, from_batch, why))
        if old and outcome == "replaced":
            gone.append((place, source, day, *old[:5], batch))
    connection.executemany(
        "INSERT INTO replaced (place, source, day, tmin, tmax, suspect, accepted, batch, by_batch)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        gone,
    )
    connection.executemany(
        "INSERT OR REPLACE INTO day (place, source, day, tmin, tmax, batch, suspect)"
        " VALUES (?, ?, ?, ?, ?, ?, ?)",
        put,
    )
    return AddReport(
        offered=len(offered),
        added=tally["added"],
        replaced=tally["replaced"],
        unchanged=tally["unchanged"] + tally["marked"],
        kept=tally["kept"],
        suspicious=suspicious,
    )


def put_forecast(
    connection: sqlite3.Connection,
    place: int,
    series: Sequence[DailyWeather],
    origin: Origin,
    fetched_at: datetime,
    issued: date,
) -> AddReport:
    """Keep a forecast (element 0) and its ensemble's members (the rest): one issue a day and provider."""
    series = [part.between(issued, date.max) for part in series]
    days = int(series[0].known.sum())
    if not days:
        raise WeatherError("the forecast holds no day with both tmin and tmax; the one before is kept")
    earlier = connection.execute(
        "SELECT batch.key FROM batch JOIN origin ON origin.key = batch.origin"
        " WHERE place = ? AND issued = ? AND provider = ?",
        (place, issued.toordinal(), origin.provider),
    ).fetchall()
    batch = new_batch(connection, place, origin, fetched_at, issued)
    for (key,) in earlier:
        connection.execute("DELETE FROM forecast WHERE place = ? AND batch = ?", (place, key))
        connection.execute("DELETE FROM batch WHERE key = ?", (key,))
    connection.execute(
        "DELETE FROM forecast WHERE place = ? AND member > 0"
        " AND batch IN (SELECT key FROM batch WHERE issued < ?)",
        (place, issued.toordinal() - MEMBERS_KEPT_DAYS),
    )
    connection.executemany(
        "INSERT INTO forecast (place, batch, member, day, tmin, tmax) VALUES (?, ?, ?, ?, ?, ?)",
        (
            (place, batch, member, day, cell(low), cell(high))
            for member, part in enumerate(series)
            for day, low, high in zip(part.ordinals.tolist(), part.tmin, part.tmax, strict=True)
            if not (np.isnan(low) and np.isnan(high))
        ),
    )
    return AddReport(offered=days, added=0 if earlier else days, replaced=days if earlier else 0)


def take_back(connection: sqlite3.Connection, place: int) -> TakenBack | None:
    """Remove what the newest batch of days brought, and put back what it replaced."""
    newest = connection.execute(
        "SELECT batch.key, provider, detail, attribution, measures, fetched_at"
        " FROM batch JOIN origin ON origin.key = origin WHERE batch.key IN"
        " (SELECT batch FROM day WHERE place = ? UNION SELECT by_batch FROM replaced WHERE place = ?)"
        " ORDER BY batch.key DESC LIMIT 1",
        (place, place),
    ).fetchone()
    if newest is None:
        return None
    batch, *origin, fetched_at = newest
    removed = connection.execute("DELETE FROM day WHERE place = ? AND batch = ?", (place, batch)).rowcount
    restored = connection.execute(
        "INSERT INTO day (place, source, day, tmin, tmax, batch, suspect, accepted)"
        " SELECT place, source, day, tmin, tmax, batch, suspect, accepted FROM replaced"
        " WHERE place = ? AND by_batch = ?",
        (place, batch),
    ).rowcount
    connection.execute("DELETE FROM replaced WHERE place = ? AND by_batch = ?", (place, batch))
    connection.execute("DELETE FROM batch WHERE key = ?", (batch,))
    return TakenBack(Origin(*origin), datetime.fromisoformat(fetched_at), removed, restored)


def cell(value: float) -> float | None:
    """A number as SQLite keeps it: unknown is NULL."""
    return None if np.isnan(value) else float(value)
