"""Our own store of accepted daily weather: `weather.sqlite` in the garden's folder.

Services and files only feed it. Every source keeps its own value of a day; reading picks the most trusted
(own thermometer, station, model, forecast, filled). A value once good is never lost: what replaces it
must be at least as complete, and the old value moves to a history. Forecasts are kept with the day
they were issued, so that their skill can be measured.

Whether a value was measured, modelled or forecast follows from its source (bench and station measure), so
it is not stored a second time.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import astuple
from datetime import UTC, date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from data_sources.weather.store.reading import FARTHEST_AHEAD, FILE_NAME, ORIGIN, WeatherReader
from data_sources.weather.store.records import (
    EARLIEST,
    LATEST,
    AddReport,
    Origin,
    OriginUse,
    SuspiciousDay,
    TakenBack,
    Value,
    verdict,
)
from phenology.model.errors import WeatherError
from phenology.weather.series import SOURCES, DailyWeather

_DAY = "place, source, day, tmin, tmax, suspect, accepted, batch, stations"
_REPLACED = f"{_DAY}, by_batch"

__all__ = [
    "EARLIEST",
    "FILE_NAME",
    "LATEST",
    "AddReport",
    "Origin",
    "OriginUse",
    "SuspiciousDay",
    "TakenBack",
    "WeatherStore",
]

OFTEN_ENOUGH = 3  # days on which a correction was offered until it is taken: twice confirmed; ours
MEMBERS_KEPT_DAYS = 30  # members of older ensembles are dropped; the forecasts themselves stay


class WeatherStore(WeatherReader):
    """The accepted daily weather of a garden's places.

    Open it with `WeatherStore.open`, and close it, or use it in a ``with``. A place is named by its id.
    """

    @contextmanager
    def _adding(
        self, place: str, origin: Origin, fetched_at: datetime, issued: date | None
    ) -> Iterator[tuple[int, int]]:
        """A transaction for values that came in together; numbers of the place and of the batch."""
        if fetched_at.tzinfo is None:
            raise ValueError("fetched_at needs a time zone")
        fields = astuple(origin)
        change = self.connection.execute
        with self.errors("saving to"), self.writing():
            change("INSERT OR IGNORE INTO place (id) VALUES (?)", (place,))
            change(f"INSERT OR IGNORE INTO origin ({ORIGIN}) VALUES (?, ?, ?, ?)", fields)
            found = change(f"SELECT key FROM origin WHERE ({ORIGIN}) = (?, ?, ?, ?)", fields).fetchone()
            key = self._key(place)
            when = fetched_at.astimezone(UTC).isoformat(timespec="seconds")
            batch = change(
                "INSERT INTO batch (place, origin, fetched_at, issued) VALUES (?, ?, ?, ?)",
                (key, *found, when, issued.toordinal() if issued else None),
            ).lastrowid
            assert batch is not None
            yield key, batch

    def add(
        self,
        place: str,
        weather: DailyWeather,
        origin: Origin,
        *,
        fetched_at: datetime,
        suspect: Mapping[date, str] | None = None,
        wait: Mapping[date, str] | None = None,
        stations: NDArray[np.int64] | None = None,
        prefer: bool = False,
    ) -> AddReport:
        """Take daily values that were measured, modelled or filled (not forecast): all of them or none.

        Unknown days are skipped. Within one source a value gives way to one that is as complete or more and
        from as many stations, unless the new one is suspicious or must wait: then it is held beside the good
        one until it is accepted or, if it only waits, was offered on `OFTEN_ENOUGH` days. A value of another
        provider gives way only with `prefer`. What gave way stays in the history (`replaced`).

        Parameters
        ----------
        suspect : mapping of date to str, optional
            Days to mark, with the reason: they are kept and shown, and unused until accepted.
        wait : mapping of date to str, optional
            Corrections that must be confirmed before they replace anything, with the reason.
        stations : ndarray, shape (n_days,), optional
            How many stations each day is from.
        prefer : bool
            Replace values of other providers too: the grower handed this file in on purpose.
        """
        if (weather.source == "forecast").any():
            raise WeatherError("forecast days are kept apart, with the day they were issued")
        tally = Counter[str]()
        days: dict[str, list[tuple[int, int]]] = {"added": [], "replaced": []}
        put: list[tuple[object, ...]] = []
        gone: list[tuple[object, ...]] = []
        holding: list[tuple[object, ...]] = []
        let_go: list[tuple[object, ...]] = []
        better: list[tuple[object, ...]] = []
        seen_on = fetched_at.toordinal()
        counts = np.ones(len(weather), dtype=int) if stations is None else stations
        _refuse_times(weather)
        with self._adding(place, origin, fetched_at, None) as (key, batch):
            held = self._waiting(key)
            for source, at, day, old in self._offered(key, weather):
                on = date.fromordinal(day)
                why, waits = suspect.get(on) if suspect else None, wait.get(on) if wait else None
                low, high = _cell(weather.tmin[at]), _cell(weather.tmax[at])
                new = Value(low, high, why, int(counts[at]), origin.provider)
                outcome = verdict(old, new, wait=waits is not None, prefer=prefer)
                before = held.get((source, day))
                if outcome == "held":
                    seen = 1
                    if before is not None and before[:2] == (low, high):
                        seen = before[2] + (before[3] < seen_on)
                    if why is None and seen >= OFTEN_ENOUGH:
                        outcome = "replaced" if old else "added"
                    else:
                        hold = (key, source, day, low, high, new.stations, batch, why or waits, why is None)
                        holding.append((*hold, seen, seen_on))
                if before is not None and outcome not in ("held", "kept"):
                    let_go.append((key, source, day))
                tally[outcome] += 1
                if old and outcome == "unchanged" and new.stations > old.stations:
                    better.append((new.stations, key, source, day))
                if outcome in ("added", "replaced", "marked"):
                    tally["suspicious"] += why is not None
                    brought_by = old.batch if old and outcome == "marked" else batch
                    put.append((key, source, day, low, high, brought_by, why, new.stations))
                if outcome in days:
                    days[outcome].append((source, day))
                if old and outcome == "replaced":
                    was = (old.tmin, old.tmax, old.suspect, old.accepted, old.batch, old.stations)
                    gone.append((key, source, day, *was, batch))
            change = self.connection.executemany
            change(f"INSERT INTO replaced ({_REPLACED}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", gone)
            change(f"INSERT OR REPLACE INTO held VALUES ({', '.join('?' * 11)})", holding)
            change("DELETE FROM held WHERE place = ? AND source = ? AND day = ?", let_go)
            change("UPDATE day SET stations = ? WHERE place = ? AND source = ? AND day = ?", better)
            change(
                "INSERT OR REPLACE INTO day (place, source, day, tmin, tmax, batch, suspect, stations)"
                " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                put,
            )
        return AddReport(
            offered=tally.total() - tally["suspicious"],
            added=tally["added"],
            replaced=tally["replaced"],
            unchanged=tally["unchanged"] + tally["marked"],
            kept=tally["kept"],
            suspicious=tally["suspicious"],
            held=tally["held"],
            new_days=frozenset(days["added"]),
            replaced_days=frozenset(days["replaced"]),
        )

    def _waiting(self, key: int) -> dict[tuple[int, int], tuple[float | None, float | None, int, int]]:
        """Values that wait, by source and day: the value, how often it was offered, and when last."""
        rows = self.query("SELECT source, day, tmin, tmax, seen, last_seen FROM held WHERE place = ?", (key,))
        return {(source, day): (low, high, seen, last) for source, day, low, high, seen, last in rows}

    def _offered(self, key: int, weather: DailyWeather) -> Iterator[tuple[int, int, int, Value | None]]:
        """Source, position and ordinal of each known day, and what the store has of it."""
        first = weather.first_day.toordinal()
        for name in SOURCES:
            offered = np.flatnonzero(weather.source == name).tolist()
            if not offered:
                continue
            rows = self.query(
                "SELECT day, tmin, tmax, suspect, stations, provider, accepted, batch FROM day"
                " JOIN batch ON batch.key = day.batch JOIN origin ON origin.key = batch.origin"
                " WHERE day.place = ? AND source = ? AND day BETWEEN ? AND ?",
                (key, SOURCES.index(name), first + offered[0], first + offered[-1]),
            )
            stored = {row[0]: Value(*row[1:]) for row in rows}
            for at in offered:
                yield SOURCES.index(name), at, first + at, stored.get(first + at)

    def add_forecast(
        self,
        place: str,
        weather: DailyWeather,
        origin: Origin,
        *,
        fetched_at: datetime,
        issued: date,
        members: Iterable[DailyWeather] = (),
    ) -> AddReport:
        """Keep a forecast from `issued` on, whatever its source says, and the members of its ensemble.

        `issued` is the place's local day on which it was fetched; leads count from there. A later forecast of
        the same provider and day takes the place of the earlier one from its first day on, so one a day is
        kept; members are kept for a month.
        """
        last = issued + timedelta(days=FARTHEST_AHEAD)
        with self._adding(place, origin, fetched_at, issued) as (key, batch):
            series = [part.between(issued, last) for part in (weather, *members)]
            days = int(series[0].known.sum())
            if not days:
                why = "the forecast holds no day with both tmin and tmax; the one before is kept"
                raise WeatherError(why)
            earlier = self.query(
                "SELECT batch.key FROM batch JOIN origin ON origin.key = batch.origin"
                " WHERE place = ? AND issued = ? AND provider = ? AND batch.key != ?",
                (key, issued.toordinal(), origin.provider, batch),
            )
            change = self.connection
            change.execute("UPDATE batch SET ensemble = ? WHERE key = ?", (len(series) > 1, batch))
            begins = int(series[0].ordinals[series[0].source != ""][0])
            change.executemany(
                f"UPDATE OR IGNORE forecast SET batch = {batch:d}"
                f" WHERE place = {key:d} AND member = 0 AND day < {begins:d} AND batch = ?",
                earlier,
            )
            change.executemany(f"DELETE FROM forecast WHERE place = {key:d} AND batch = ?", earlier)
            change.executemany("DELETE FROM batch WHERE key = ?", earlier)
            change.execute(
                "DELETE FROM forecast WHERE place = ? AND member > 0"
                " AND batch IN (SELECT key FROM batch WHERE issued < ?)",
                (key, issued.toordinal() - MEMBERS_KEPT_DAYS),
            )
            change.executemany(
                "INSERT INTO forecast (place, batch, member, day, tmin, tmax) VALUES (?, ?, ?, ?, ?, ?)",
                (
                    (key, batch, member, day, _cell(low), _cell(high))
                    for member, part in enumerate(series)
                    for day, low, high in zip(part.ordinals.tolist(), part.tmin, part.tmax, strict=True)
                    if not (np.isnan(low) and np.isnan(high))
                ),
            )
        return AddReport(offered=days, added=0 if earlier else days, replaced=days if earlier else 0)

    def take_back(self, place: str) -> TakenBack | None:
        """Undo the newest `add` of a place that changed anything; None when there is none.

        Its days go, and the values they took the place of come back. Forecasts are not touched.
        """
        key, change = self._key(place), self.connection.execute
        with self.writing():
            newest = change(
                f"SELECT batch.key, {ORIGIN}, fetched_at"
                " FROM batch JOIN origin ON origin.key = origin WHERE batch.key IN"
                " (SELECT batch FROM day WHERE place = ? UNION SELECT by_batch FROM replaced WHERE place = ?)"
                " ORDER BY batch.key DESC LIMIT 1",
                (key, key),
            ).fetchone()
            if newest is None:
                return None
            batch, *origin, fetched_at = newest
            removed = change("DELETE FROM day WHERE place = ? AND batch = ?", (key, batch)).rowcount
            restored = change(
                f"INSERT INTO day ({_DAY}) SELECT {_DAY} FROM replaced WHERE place = ? AND by_batch = ?",
                (key, batch),
            ).rowcount
            change("DELETE FROM held WHERE place = ? AND batch = ?", (key, batch))
            change("DELETE FROM replaced WHERE place = ? AND by_batch = ?", (key, batch))
            change("DELETE FROM batch WHERE key = ?", (batch,))
        return TakenBack(Origin(*origin), datetime.fromisoformat(fetched_at), removed, restored)

    def mark(self, place: str, source: str, reasons: Mapping[date, str]) -> int:
        """Mark stored days as suspicious (accepted ones stay accepted); how many were newly marked."""
        key, rank = self._key(place), SOURCES.index(source)
        return self._update(
            "suspect = ? WHERE place = ? AND source = ? AND day = ? AND suspect IS NULL",
            [(why, key, rank, day.toordinal()) for day, why in reasons.items()],
        )

    def accept(self, place: str, days: Iterable[date] | None = None, source: str | None = None) -> int:
        """Accept suspicious days, so that they are used; how many. Default: every one of the place."""
        where, values = "place = ?", [self._key(place)]
        if source is not None:
            where, values = f"{where} AND source = ?", [*values, SOURCES.index(source)]
        rows: list[tuple[object, ...]] = [tuple(values)] if days is None else []
        if days is not None:
            where, rows = f"{where} AND day = ?", [(*values, day.toordinal()) for day in days]
        count = self._update(f"accepted = 1 WHERE {where} AND suspect IS NOT NULL AND accepted = 0", rows)
        with self.writing():
            change, same = self.connection.executemany, "(place, source, day)"
            change(
                f"INSERT INTO replaced ({_REPLACED}) SELECT {_DAY},"
                f" (SELECT batch FROM held WHERE {same} = (day.place, day.source, day.day)) FROM day"
                f" WHERE {where} AND {same} IN (SELECT place, source, day FROM held)",
                rows,
            )
            count += change(
                f"INSERT OR REPLACE INTO day ({_DAY})"
                " SELECT place, source, day, tmin, tmax, suspect, 1, batch, stations"
                f" FROM held WHERE {where}",
                rows,
            ).rowcount
            change(f"DELETE FROM held WHERE {where}", rows)
        return count

    def _update(self, setting: str, rows: list[tuple[object, ...]]) -> int:
        with self.writing():
            return self.connection.executemany(f"UPDATE day SET {setting}", rows).rowcount if rows else 0


def _refuse_times(weather: DailyWeather) -> None:
    """Days out of all time are a mistake, whoever offers them."""
    for day in (weather.first_day, weather.last_day) if len(weather) else ():
        if not EARLIEST <= day <= LATEST:
            raise WeatherError(f"there is no weather of {day} to keep")


def _cell(value: float) -> float | None:
    """A number as SQLite keeps it: unknown is NULL."""
    return None if np.isnan(value) else float(value)
