"""Our own store of accepted daily weather: `weather.sqlite` in the garden's folder.

Services and files only feed it. Every source keeps its own value of a day; reading picks the most trusted
(own thermometer, station, model, forecast, filled). A value once good is never lost: what replaces it
must be at least as complete, and the old value moves to a history. Forecasts are kept with the day
they were issued, so that their skill can be measured.

Whether a value was measured, modelled or forecast follows from its source (bench and station measure), so
it is not stored a second time.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import fields
from datetime import date, datetime
from pathlib import Path
from types import TracebackType

from data_sources.weather.store import feeding, reading
from data_sources.weather.store.file import FILE_NAME, PATIENCE, open_file, plain_errors, transaction
from data_sources.weather.store.records import (
    AddReport,
    Origin,
    OriginUse,
    PastForecasts,
    ReplacedDay,
    SuspiciousDay,
    TakenBack,
)
from phenology.model.errors import StoreError, WeatherError
from phenology.weather.series import SOURCES, DailyWeather

__all__ = [
    "AddReport",
    "Origin",
    "OriginUse",
    "PastForecasts",
    "ReplacedDay",
    "SuspiciousDay",
    "TakenBack",
    "WeatherStore",
]

NO_WEATHER = "there is no weather yet; add a file with `flushcast weather add FILE`"


class WeatherStore:
    """The accepted daily weather of a garden's places.

    Open it with `WeatherStore.open`, and close it, or use it in a ``with``. A place is named by its id.
    """

    def __init__(self, path: Path, connection: sqlite3.Connection) -> None:
        self.path = path
        self._connection = connection

    @classmethod
    def open(cls, garden: Path, *, create: bool = False, patience: float = PATIENCE) -> WeatherStore:
        """The store of a garden.

        Parameters
        ----------
        garden : Path
            The garden's folder.
        create : bool
            Make the file when it is missing. Otherwise a missing file means there is no weather yet.
        patience : float
            How long to wait for another writer. [s]

        Raises
        ------
        WeatherError
            If there is no store and `create` is false.
        StoreError
            If the file cannot be used (`StoreLockedError`, `StoreCorruptError`, `StoreTooNewError`).
        """
        path = garden / FILE_NAME
        if create:
            if not garden.is_dir():
                raise StoreError(f"there is no garden in {garden}; run `flushcast init` first")
            return cls(path, open_file(path, mode="rwc", patience=patience))
        if not path.exists():
            raise WeatherError(NO_WEATHER)
        # A garden on a read-only disk can still be read.
        writable = os.access(path, os.W_OK) and os.access(garden, os.W_OK)
        return cls(path, open_file(path, mode="rw" if writable else "ro", patience=patience))

    def close(self) -> None:
        """Let go of the file."""
        self._connection.close()

    def __enter__(self) -> WeatherStore:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

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
        gave way stays in the history (`replaced_days`).

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
        totals = dict.fromkeys((f.name for f in fields(AddReport)), 0)
        with self._writing():
            key = feeding.place_key(self._connection, place)
            batch = feeding.new_batch(self._connection, key, origin, fetched_at, None)
            for name in (n for n in SOURCES if (weather.source == n).any()):
                one = feeding.add_source(
                    self._connection, key, batch, weather, name, origin.provider, suspect or {}, prefer
                )
                totals = {field: n + getattr(one, field) for field, n in totals.items()}
        return AddReport(**totals)

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
        with self._writing():
            key = feeding.place_key(self._connection, place)
            series = [weather, *members]
            return feeding.put_forecast(self._connection, key, series, origin, fetched_at, issued)

    def take_back(self, place: str) -> TakenBack | None:
        """Undo the newest `add` of a place that changed anything; None when there is none.

        Its days go, and the values they took the place of come back. Forecasts are not touched.
        """
        key = self._known(place)
        with self._writing():
            return feeding.take_back(self._connection, key)

    def mark(self, place: str, source: str, reasons: Mapping[date, str]) -> int:
        """Mark stored days as suspicious (accepted ones stay accepted); how many were newly marked."""
        key, rank = self._known(place), SOURCES.index(source)
        rows = [(why, key, rank, day.toordinal()) for day, why in reasons.items()]
        sql = "UPDATE day SET suspect = ? WHERE place = ? AND source = ? AND day = ? AND suspect IS NULL"
        with self._writing():
            return self._connection.executemany(sql, rows).rowcount if rows else 0

    def accept(self, place: str, days: Iterable[date] | None = None, source: str | None = None) -> int:
        """Accept suspicious days, so that they are used; how many. Default: every one of the place."""
        where, values = "place = ? AND suspect IS NOT NULL AND accepted = 0", [self._known(place)]
        if source is not None:
            where, values = f"{where} AND source = ?", [*values, SOURCES.index(source)]
        with self._writing():
            if days is None:
                return self._connection.execute(f"UPDATE day SET accepted = 1 WHERE {where}", values).rowcount
            rows = [(*values, day.toordinal()) for day in days]
            sql = f"UPDATE day SET accepted = 1 WHERE {where} AND day = ?"
            return self._connection.executemany(sql, rows).rowcount if rows else 0

    def read(self, place: str, *, as_of: date | None = None) -> DailyWeather:
        """The weather of a place: each day's most trusted value, then the newest forecast.

        Parameters
        ----------
        place : str
            Id of the place.
        as_of : datetime.date, optional
            What stood on that day: measured and modelled days dated up to it (whenever they were added), and
            the newest forecast issued by then. Default: everything.

        Returns
        -------
        DailyWeather
            Suspicious days are left out until accepted.

        Raises
        ------
        WeatherError
            If there is no weather for the place (by then).
        """
        weather = self.find(place, as_of=as_of)
        if weather is None and self.has(place) and any(not d.accepted for d in self.suspicious_days(place)):
            raise WeatherError("all weather there is looks doubtful; see `flushcast weather status`")
        if weather is None:
            raise WeatherError(f"there is no weather up to {as_of}" if as_of else NO_WEATHER)
        return weather

    def find(self, place: str, *, as_of: date | None = None) -> DailyWeather | None:
        """Like `read`, but None when there is nothing to use."""
        with self._reading():
            key = reading.known_place(self._connection, place)
            return reading.days_and_forecast(self._connection, key, as_of) if key else None

    def read_source(self, place: str, source: str, *, as_of: date | None = None) -> DailyWeather | None:
        """What one source alone says (bench beside station, to fit their difference); None when nothing."""
        with self._reading():
            return reading.days_and_forecast(self._connection, self._known(place), as_of, source)

    def members(self, place: str, *, as_of: date | None = None) -> list[DailyWeather]:
        """The members of the newest ensemble issued by `as_of`; empty when there is none."""
        with self._reading():
            return reading.members(self._connection, self._known(place), as_of)

    def past_forecasts(
        self, place: str, *, as_of: date | None = None, since: date | None = None
    ) -> PastForecasts:
        """Every kept forecast, issued from `since` on, with its issue day, for measuring skill."""
        with self._reading():
            return reading.past_forecasts(self._connection, self._known(place), as_of, since)

    def suspicious_days(self, place: str) -> list[SuspiciousDay]:
        """Marked days, oldest first, accepted ones included."""
        with self._reading():
            return reading.suspicious_days(self._connection, self._known(place))

    def replaced_days(self, place: str) -> list[ReplacedDay]:
        """Values that others took the place of, in the order it happened."""
        with self._reading():
            return reading.replaced_days(self._connection, self._known(place))

    def origin_uses(self, place: str) -> list[OriginUse]:
        """How many days each origin stands for, the most first; of forecasts the newest of each provider."""
        with self._reading():
            return reading.origin_uses(self._connection, self._known(place))

    def attribution_lines(self, place: str) -> list[str]:
        """The lines a report must show, each once, the origin of most days first."""
        return list(
            dict.fromkeys(u.origin.attribution for u in self.origin_uses(place) if u.origin.attribution)
        )

    def has(self, place: str) -> bool:
        """Whether anything at all is stored for the place."""
        with self._reading():
            return reading.known_place(self._connection, place) is not None

    def _known(self, place: str) -> int:
        with self._reading():
            key = reading.known_place(self._connection, place)
        if key is None:
            raise WeatherError(NO_WEATHER)
        return key

    @contextmanager
    def _writing(self) -> Iterator[None]:
        with plain_errors(self.path, "saving to"), transaction(self._connection):
            yield

    @contextmanager
    def _reading(self) -> Iterator[None]:
        with plain_errors(self.path, "reading"):
            yield
