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
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np

from data_sources.weather.store.reading import FILE_NAME, NO_WEATHER, WeatherReader
from data_sources.weather.store.records import AddReport, Origin, OriginUse, SuspiciousDay, TakenBack
from data_sources.weather.store.verdict import Stored, verdict
from phenology.model.errors import StoreError, WeatherError
from phenology.weather.series import SOURCES, DailyWeather

__all__ = ["FILE_NAME", "AddReport", "Origin", "OriginUse", "SuspiciousDay", "TakenBack", "WeatherStore"]

MEMBERS_KEPT_DAYS = 30  # members of older ensembles are dropped; the forecasts themselves stay


class WeatherStore(WeatherReader):
    """The accepted daily weather of a garden's places.

    Open it with `WeatherStore.open`, and close it, or use it in a ``with``. A place is named by its id.
    """

    @classmethod
    def open(cls, garden: Path, *, create: bool = False) -> WeatherStore:
        """The store of a garden.

        Parameters
        ----------
        garden : Path
            The garden's folder.
        create : bool
            Make the file when it is missing. Otherwise a missing file means there is no weather yet.

        Raises
        ------
        WeatherError
            If there is no store and `create` is false.
        StoreError
            If the file cannot be used; see `Database`.
        """
        path = garden / FILE_NAME
        if create and not garden.is_dir():
            raise StoreError(f"there is no garden in {garden}; run `flushcast init` first")
        # An older flushcast that was stopped while it made the file has left it empty.
        empty = path.exists() and not path.stat().st_size
        if not create and (empty or not path.exists()):
            raise WeatherError(NO_WEATHER)
        if empty:
            path.unlink()
        return cls(path, create=create)

    @contextmanager
    def _adding(
        self, place: str, origin: Origin, fetched_at: datetime, issued: date | None
    ) -> Iterator[tuple[int, int]]:
        """A transaction for values that came in together; numbers of the place and of the batch."""
        if fetched_at.tzinfo is None:
            raise ValueError("fetched_at needs a time zone")
        names = "provider, detail, attribution, measures"
        fields = (origin.provider, origin.detail, origin.attribution, origin.measures)
        change = self.connection.execute
        with self.errors("saving to"), self.writing():
            change("INSERT OR IGNORE INTO place (id) VALUES (?)", (place,))
            change(f"INSERT OR IGNORE INTO origin ({names}) VALUES (?, ?, ?, ?)", fields)
            found = change(f"SELECT key FROM origin WHERE ({names}) = (?, ?, ?, ?)", fields).fetchone()
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
        prefer: bool = False,
    ) -> AddReport:
        """Take daily values that were measured, modelled or filled (not forecast): all of them or none.

        Unknown days are skipped. Within one source a value gives way to one that is as complete or more,
        unless the new one is suspicious; a value of another provider gives way only with `prefer`. What
        gave way stays in the history (`replaced`).

        Parameters
        ----------
        place : str
            Id of the place.
        weather : DailyWeather
            The days; forecast days are refused (see `add_forecast`).
        origin : Origin
            Where they came from.
        fetched_at : datetime
            When, with time zone.
        suspect : mapping of date to str, optional
            Days to mark, with the reason: they are kept and shown, and unused until accepted.
        prefer : bool
            Replace values of other providers too: the grower handed this file in on purpose.
        """
        if (weather.source == "forecast").any():
            raise WeatherError("forecast days are kept apart, with the day they were issued")
        tally = Counter[str]()
        put: list[tuple[object, ...]] = []
        gone: list[tuple[object, ...]] = []
        with self._adding(place, origin, fetched_at, None) as (key, batch):
            for source, day, low, high, old in self._offered(key, weather):
                why = suspect.get(date.fromordinal(day)) if suspect else None
                outcome = verdict(old, low, high, why, origin.provider, prefer)
                tally[outcome] += 1
                if outcome in ("added", "replaced", "marked"):
                    tally["suspicious"] += why is not None
                    brought_by = old.batch if old and outcome == "marked" else batch
                    put.append((key, source, day, low, high, brought_by, why))
                if old and outcome == "replaced":
                    gone.append((key, source, day, *old[:5], batch))
            self.connection.executemany(
                "INSERT INTO replaced (place, source, day, tmin, tmax, suspect, accepted, batch, by_batch)"
                " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
                gone,
            )
            self.connection.executemany(
                "INSERT OR REPLACE INTO day (place, source, day, tmin, tmax, batch, suspect)"
                " VALUES (?, ?, ?, ?, ?, ?, ?)",
                put,
            )
        return AddReport(
            offered=tally.total() - tally["suspicious"],
            added=tally["added"],
            replaced=tally["replaced"],
            unchanged=tally["unchanged"] + tally["marked"],
            kept=tally["kept"],
            suspicious=tally["suspicious"],
        )

    def _offered(
        self, key: int, weather: DailyWeather
    ) -> Iterator[tuple[int, int, float | None, float | None, Stored | None]]:
        """Source, day, tmin and tmax of each known day, and what the store has of it."""
        first = weather.first_day.toordinal()
        for name in SOURCES:
            offered = np.flatnonzero(weather.source == name).tolist()
            if not offered:
                continue
            rows = self.query(
                "SELECT day, tmin, tmax, suspect, accepted, batch, provider FROM day"
                " JOIN batch ON batch.key = day.batch JOIN origin ON origin.key = batch.origin"
                " WHERE day.place = ? AND source = ? AND day BETWEEN ? AND ?",
                (key, SOURCES.index(name), first + offered[0], first + offered[-1]),
            )
            stored = {row[0]: Stored(*row[1:]) for row in rows}
            for at in offered:
                cells = _cell(weather.tmin[at]), _cell(weather.tmax[at])
                yield SOURCES.index(name), first + at, *cells, stored.get(first + at)

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
        """Keep a forecast: its days from `issued` on.

        A later forecast of the same provider and day takes the place of the earlier one, so one a day is
        kept; members of ensembles are kept for a month.

        Parameters
        ----------
        place, origin, fetched_at
            As in `add`.
        weather : DailyWeather
            The forecast; whatever its source says, the days count as forecast.
        issued : datetime.date
            The place's local day on which it was fetched; the lead of a day counts from here.
        members : iterable of DailyWeather, optional
            The members of an ensemble.
        """
        with self._adding(place, origin, fetched_at, issued) as (key, batch):
            series = [part.between(issued, date.max) for part in (weather, *members)]
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
                "SELECT batch.key, provider, detail, attribution, measures, fetched_at"
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
                "INSERT INTO day (place, source, day, tmin, tmax, batch, suspect, accepted)"
                " SELECT place, source, day, tmin, tmax, batch, suspect, accepted FROM replaced"
                " WHERE place = ? AND by_batch = ?",
                (key, batch),
            ).rowcount
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
        doubted = "accepted = 1 WHERE place = ? AND suspect IS NOT NULL AND accepted = 0"
        values = [self._key(place)]
        if source is not None:
            doubted, values = f"{doubted} AND source = ?", [*values, SOURCES.index(source)]
        if days is None:
            return self._update(doubted, [tuple(values)])
        return self._update(f"{doubted} AND day = ?", [(*values, day.toordinal()) for day in days])

    def _update(self, setting: str, rows: list[tuple[object, ...]]) -> int:
        with self.writing():
            return self.connection.executemany(f"UPDATE day SET {setting}", rows).rowcount if rows else 0


def _cell(value: float) -> float | None:
    """A number as SQLite keeps it: unknown is NULL."""
    return None if np.isnan(value) else float(value)
