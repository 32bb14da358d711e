"""Reading from the weather store: numpy only, one indexed query for the days and one for the forecast."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from datetime import date, datetime
from itertools import chain
from pathlib import Path
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from data_sources.sqlite.backups import rolling_backup
from data_sources.sqlite.connection import connect
from data_sources.sqlite.database import Database
from data_sources.sqlite.errors import damaged, plain_errors
from data_sources.sqlite.schema import migrate
from data_sources.weather.store.records import DayValue, Origin, OriginUse, PastForecasts, SuspiciousDay
from data_sources.weather.store.steps import COLDEST, HOTTEST, WEATHER_SCHEMA, seal
from phenology.model.errors import StoreCorruptError, StoreError, WeatherError
from phenology.weather.series import SOURCES, DailyWeather

FILE_NAME = "weather.sqlite"
COPIES_KEPT = 2  # of the store, one a day at most: what services sent can be fetched again
_ASK = "flushcast weather status says which copy is good."
NO_WEATHER = "there is no weather yet; add a file with `flushcast weather add FILE`"
FARTHEST_AHEAD = 60  # days: no forecast is believed beyond
LOOK_BACK = 45  # days: how far behind the newest measurement forecasts may stand in for days not yet measured
_FORECAST = SOURCES.index("forecast")
_LATEST = date.max.toordinal()
ORIGIN = "provider, detail, attribution, measures"


class WeatherReader(Database):
    """What the store says of a place, named by its id."""

    schema = WEATHER_SCHEMA
    _backup_tried = False

    @classmethod
    def open(cls, garden: Path, *, create: bool = False) -> Self:
        """The store of a garden's folder; with `create` made where there is none.

        Raises `WeatherError` if there is none, `StoreError` if the file cannot be used; see `Database`.
        """
        path = garden / FILE_NAME
        if create and not garden.is_dir():
            raise StoreError(f"there is no garden in {garden}; run `flushcast init` first")
        # An older flushcast that was stopped while it made the file has left it empty.
        size = None
        with suppress(FileNotFoundError):
            size = path.stat().st_size
        if not size and not create:
            raise WeatherError(NO_WEATHER)
        if size == 0:  # filled where it lies, under its lock: another process may be doing the same
            with plain_errors(path, "making"), closing(connect(path)) as connection:
                migrate(connection, cls.schema)
        return cls(path, create=create)

    @contextmanager
    def writing(self) -> Iterator[None]:
        """As in `Database`, after the copy of the day; what is written is sealed with checksums."""
        if not self._backup_tried and not self.read_only:
            self._backup_tried = True
            try:
                if self.query("SELECT 1 FROM batch LIMIT 1"):
                    rolling_backup(self.connection, self.path, self.schema, newest=COPIES_KEPT, monthly=False)
            except StoreCorruptError:
                raise
            except StoreError as error:
                self.warnings.append(f"today's copy of the weather could not be made: {error}")
        with super().writing():
            yield
            seal(self.connection)

    def read(self, place: str, *, as_of: date | None = None) -> DailyWeather:
        """The weather of a place: each day's most trusted value, without doubtful ones, then the forecast.

        `as_of`: what stood on that day, measured and modelled days dated up to it (whenever they were added)
        and the newest forecast issued by then. Raises `WeatherError` if there is no weather for the place (by
        then).
        """
        weather = self.find(place, as_of=as_of)
        if weather is None and any(not d.accepted for d in self.suspicious_days(place)):
            raise WeatherError("all weather there is looks doubtful; see `flushcast weather status`")
        if weather is None:
            raise WeatherError(f"there is no weather up to {as_of}" if as_of else NO_WEATHER)
        return weather

    def find(self, place: str, *, as_of: date | None = None) -> DailyWeather | None:
        """Like `read`, but None when there is nothing to use."""
        rows = self._days(place, as_of)
        full = rows[(~np.isnan(rows)).all(axis=1), 1]
        since = int(full.max()) - LOOK_BACK if len(full) else 0
        return _best_of_each_day(np.concatenate((rows, self._newest_forecast(place, as_of, since))))

    def read_source(self, place: str, source: str, *, as_of: date | None = None) -> DailyWeather | None:
        """What one source alone says (bench beside station, to fit their difference); None when nothing."""
        return _best_of_each_day(self._days(place, as_of, f"AND source = {SOURCES.index(source):d}"))

    def read_others(self, place: str, source: str) -> DailyWeather | None:
        """What stations, models and forecasts but one of them say, the most trusted; None when nothing.

        Own readings are not among them: they are of the bench.
        """
        names = [name for name in ("station", "model") if name != source]
        ranks = ", ".join(str(SOURCES.index(name)) for name in names)
        parts = [self._days(place, None, f"AND source IN ({ranks})"), self._newest_forecast(place, None, 0)]
        return _best_of_each_day(np.concatenate(parts))

    def taken_from(
        self, place: str, source: str, provider: str, first: date, last: date, until: int
    ) -> tuple[DailyWeather, NDArray[np.int64]]:
        """Good days of one provider and source, as they stood after a batch, and from how many stations."""
        span = (first.toordinal(), last.toordinal())
        rows = self.query(
            "SELECT day, tmin, tmax, stations FROM day JOIN batch ON batch.key = batch"
            " JOIN origin ON origin.key = origin WHERE day.place = ? AND source = ? AND provider = ?"
            " AND day BETWEEN ? AND ? AND batch <= ? AND (suspect IS NULL OR accepted = 1) ORDER BY day",
            (
                self._number(place),
                SOURCES.index(source),
                provider,
                first.toordinal(),
                last.toordinal(),
                until,
            ),
        )
        cells = _numbers(rows)
        at = cells[:, 0].astype(np.int64) - span[0]
        n = (last - first).days + 1
        low, high, stations = np.full(n, np.nan), np.full(n, np.nan), np.ones(n, dtype=np.int64)
        low[at], high[at], stations[at] = cells[:, 1], cells[:, 2], cells[:, 3]
        return DailyWeather(first, low, high, source), stations

    def newest_batch(self) -> int:
        """The number of what was added last; 0 when nothing ever was."""
        return self.query("SELECT max(key) FROM batch")[0][0] or 0

    def _days(self, place: str, as_of: date | None, more: str = "") -> NDArray[np.float64]:
        """Rows (source, day, tmin, tmax) of the days that may be used."""
        query = "SELECT source, day, tmin, tmax FROM day WHERE place = ? AND day <= ?"
        usable = "AND (suspect IS NULL OR accepted = 1)"
        return _numbers(self.query(f"{query} {usable} {more}", (self._number(place), _ordinal(as_of))))

    def _newest_forecast(self, place: str, as_of: date | None, since: int) -> NDArray[np.float64]:
        """Rows (source, day, tmin, tmax): days past the newest issue come from it alone, others from the
        newest issue that has them."""
        key, until = self._number(place), _ordinal(as_of)
        newest = self.query(
            "SELECT key, issued FROM batch WHERE place = ? AND issued <= ?"
            " ORDER BY issued DESC, ensemble, key DESC LIMIT 1",
            (key, until),
        )
        if not newest:
            return np.empty((0, 4))
        batch, issued = newest[0]
        rows = _numbers(
            self.query(
                "SELECT (issued * 2 - ensemble) * 1e9 + batch, day, tmin, tmax"
                " FROM forecast JOIN batch ON batch.key = batch"
                " WHERE forecast.place = ? AND member = 0 AND day > ? AND issued <= ?"
                f" AND (day <= ? OR batch = ?) AND day <= issued + {FARTHEST_AHEAD:d} ORDER BY 1 DESC",
                (key, since, until, issued, batch),
            )
        )
        rows = rows[np.unique(rows[:, 1], return_index=True)[1]]  # the first, so the newest, of each day
        rows[:, 0] = _FORECAST
        return rows

    def members(self, place: str, *, as_of: date | None = None) -> list[DailyWeather]:
        """The members of the newest ensemble issued by `as_of`; empty when there is none."""
        key = self._number(place)
        of_members = "FROM forecast JOIN batch ON batch.key = batch WHERE forecast.place = ? AND member > 0"
        newest = self.query(
            f"SELECT max(batch) {of_members} AND issued = (SELECT max(issued) {of_members} AND issued <= ?)",
            (key, key, _ordinal(as_of)),
        )
        rows = _numbers(
            self.query(
                "SELECT member, day, tmin, tmax FROM forecast"
                " WHERE place = ? AND batch = ? AND member > 0 ORDER BY 1, 2",
                (key, *newest[0]),
            )
        )
        return [
            DailyWeather.from_ordinals(part[:, 1].astype(np.int64), part[:, 2], part[:, 3], "forecast")
            for part in np.split(rows, np.flatnonzero(np.diff(rows[:, 0])) + 1)
            if len(part)
        ]

    def past_forecasts(
        self, place: str, *, as_of: date | None = None, since: date | None = None
    ) -> PastForecasts:
        """Every kept forecast, issued from `since` on, with its issue day, for measuring skill."""
        rows = self.query(
            "SELECT issued, day, tmin, tmax, provider FROM forecast JOIN batch ON batch.key = batch"
            " JOIN origin ON origin.key = batch.origin"
            " WHERE forecast.place = ? AND member = 0 AND issued BETWEEN ? AND ?"
            f" AND day <= issued + {FARTHEST_AHEAD:d} ORDER BY issued, batch, day",
            (self._number(place), since.toordinal() if since else 0, _ordinal(as_of)),
        )
        kinds = (np.int64, np.int64, float, float, str)
        columns = zip(*rows, strict=True) if rows else ((),) * len(kinds)
        return PastForecasts(*(np.array(c, dtype=kind) for c, kind in zip(columns, kinds, strict=True)))

    def suspicious_days(self, place: str) -> list[SuspiciousDay]:
        """Marked days and values that wait beside a good one, oldest first, accepted ones included."""
        key = self._number(place)
        rows = self.query(
            "SELECT day, source, tmin, tmax, suspect, accepted, 0 FROM day"
            " WHERE place = ? AND suspect IS NOT NULL"
            " UNION ALL SELECT day, source, tmin, tmax, suspect, 0, 1 FROM held WHERE place = ?"
            " ORDER BY 1, 2, 7",
            (key, key),
        )
        return [
            SuspiciousDay(
                date.fromordinal(day), SOURCES[source], _known(low), _known(high), why, bool(ok), bool(held)
            )
            for day, source, low, high, why, ok, held in rows
        ]

    def day_values(self, place: str, first: date, last: date) -> list[DayValue]:
        """Every value of the days from `first` to `last`: read, beside it, held, or given way.

        By day; the one that is read first, then by trust, what gave way last, the newest first.
        """
        key, span = self._key(place), (first.toordinal(), last.toordinal())
        joined = f"{ORIGIN}, fetched_at FROM {{0}} JOIN batch ON batch.key = {{0}}.batch"
        joined += " JOIN origin ON origin.key = batch.origin WHERE {0}.place = ? AND day BETWEEN ? AND ?"
        cells, nothing = "day, source, tmin, tmax, stations", (key, *span)
        days = self.query(f"SELECT {cells}, suspect, accepted, {joined.format('day')}", nothing)
        held = self.query(f"SELECT {cells}, suspect, 0, {joined.format('held')}", nothing)
        gone = self.query(
            f"SELECT {cells}, suspect, 0, {joined.format('replaced')} ORDER BY replaced.key DESC", nothing
        )
        ahead = self.query(
            f"SELECT day, {_FORECAST}, tmin, tmax, 1, NULL, 0, {joined.format('forecast')} AND member = 0"
            " ORDER BY issued DESC, ensemble, batch.key DESC",
            nothing,
        )
        newest = {row[0]: row for row in reversed(ahead)}
        found = [(row, "doubtful" if row[5] and not row[6] else "beside") for row in days]
        found += [(row, "beside") for row in newest.values()]
        found += [(row, "held") for row in held] + [(row, "replaced") for row in gone]
        read = self.find(place)
        used = read.spanning(first, last).source if read is not None else ()
        order = ("used", "beside", "doubtful", "held", "replaced")
        out = []
        for (day, source, low, high, stations, why, _, *origin, at), state in found:
            name, on = SOURCES[source], date.fromordinal(day)
            if state == "beside" and len(used) and used[day - span[0]] == name:
                state = "used"
            when = datetime.fromisoformat(at)
            value = _known(low), _known(high)
            out.append(DayValue(on, name, *value, Origin(*origin), when, stations, state, why or ""))
        return sorted(out, key=lambda v: (v.day, order.index(v.state), SOURCES.index(v.source)))

    def replaced_count(self, place: str) -> int:
        """How many values others have taken the place of; the store keeps them."""
        count: int = self.query("SELECT count(*) FROM replaced WHERE place = ?", (self._key(place),))[0][0]
        return count

    def origin_uses(self, place: str) -> list[OriginUse]:
        """How many days each origin stands for and when it was last asked, the most first; of forecasts,
        which come last, the newest of each provider."""
        key = self._number(place)
        rows = self.query(
            f"SELECT {ORIGIN}, source, sum(days), min(first), max(last),"
            # also when the last answer brought nothing new
            " (SELECT max(fetched_at) FROM batch b WHERE b.origin = origin.key AND b.place = batch.place)"
            " FROM (SELECT batch, source, count(*) AS days, min(day) AS first, max(day) AS last FROM day"
            " WHERE place = ? GROUP BY batch, source)"  # few rows are joined, not every day
            " JOIN batch ON batch.key = batch JOIN origin ON origin.key = origin"
            " GROUP BY origin.key, source ORDER BY 6 DESC",
            (key,),
        )
        rows += self.query(
            f"SELECT {ORIGIN}, {_FORECAST}, count(*), min(day), max(day), fetched_at"
            " FROM forecast JOIN batch ON batch.key = batch JOIN origin ON origin.key = origin"
            " WHERE forecast.place = ? AND member = 0 AND batch IN (SELECT max(b.key) FROM batch b"
            " JOIN origin o ON o.key = b.origin WHERE b.place = ? AND issued IS NOT NULL GROUP BY o.provider)"
            " GROUP BY batch ORDER BY fetched_at DESC",
            (key, key),
        )
        return [
            OriginUse(
                Origin(*origin),
                SOURCES[source],
                days,
                date.fromordinal(first),
                date.fromordinal(last),
                datetime.fromisoformat(at),
            )
            for *origin, source, days, first, last, at in rows
        ]

    def attribution_lines(self, place: str) -> list[str]:
        """The lines a report must show, each once, the origin of most days first."""
        lines = (use.origin.attribution for use in self.origin_uses(place))
        return list(dict.fromkeys(line for line in lines if line))

    def has(self, place: str) -> bool:
        """Whether anything at all is stored for the place."""
        return self._number(place) > 0

    def _number(self, place: str) -> int:
        """The store's own number of a place; 0, of which it has nothing, where it does not know the place."""
        found = self.query("SELECT key FROM place WHERE id = ?", (place,))
        return int(found[0][0]) if found else 0

    def _key(self, place: str) -> int:
        """The same for what makes no sense without weather."""
        if not (key := self._number(place)):
            raise WeatherError(NO_WEATHER)
        return key


def _ordinal(as_of: date | None) -> int:
    return as_of.toordinal() if as_of else _LATEST


def _numbers(rows: Sequence[tuple[Any, ...]]) -> NDArray[np.float64]:
    # None becomes NaN on the way into a float array.
    try:
        cells = np.array(list(chain.from_iterable(rows)), dtype=float).reshape(-1, 4)
    except (ValueError, TypeError):
        raise damaged(Path(FILE_NAME), "a cell is no number", _ASK) from None
    beyond = (cells[:, 2:] < COLDEST) | (cells[:, 2:] > HOTTEST)
    if beyond.any():
        raise damaged(Path(FILE_NAME), f"a temperature of {cells[:, 2:][beyond][0]:g} °C", _ASK)
    return cells


def _known(cell: float | None) -> float:
    return float("nan") if cell is None else cell


def _best_of_each_day(rows: NDArray[np.float64]) -> DailyWeather | None:
    """One series from rows (source, day, tmin, tmax): full days before half days, then by trust."""
    if not len(rows):
        return None
    source, day = rows[:, 0].astype(np.int64), rows[:, 1].astype(np.int64)
    half = np.isnan(rows[:, 2:]).any(axis=1)
    worst_first = np.lexsort((-source, ~half))
    source, day, values = source[worst_first], day[worst_first], rows[worst_first, 2:]
    first = int(day.min())
    n = int(day.max()) - first + 1
    low, high, rank = np.full(n, np.nan), np.full(n, np.nan), np.full(n, -1)
    low[day - first], high[day - first], rank[day - first] = values[:, 0], values[:, 1], source
    return DailyWeather(date.fromordinal(first), low, high, np.array([*SOURCES, ""])[rank])
