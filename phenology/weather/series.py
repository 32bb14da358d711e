"""Daily weather as plain arrays with a first day: what every reckoning in flushcast runs on.

A series has no holes: a day nobody measured is there with NaN. Days are the place's local days.
The same data as a pandas frame (`to_frame`, `from_frame`) pass `check_weather_frame`, the one validator.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from phenology.language.counts import counted
from phenology.model.errors import WeatherError

if TYPE_CHECKING:
    import pandas as pd

SOURCES: tuple[str, ...] = ("bench", "station", "model", "forecast", "filled")
"""Where a day's values come from, the most trusted first."""

NO_SOURCE = ""
"""The source of a day without any value."""


def source_rank(source: str) -> int:
    """Place of a source in the order of trust, 0 the best; a day without source comes last."""
    if source == NO_SOURCE:
        return len(SOURCES)
    try:
        return SOURCES.index(source)
    except ValueError:
        raise WeatherError(f"'{source}' is no weather source; the sources are {', '.join(SOURCES)}") from None


class WeatherCoverage(NamedTuple):
    """How many days of a span came from where; a day counts as missing unless both extremes are known."""

    first_day: date
    last_day: date
    days: int
    by_source: dict[str, int]
    missing: int
    missing_spans: tuple[tuple[date, date], ...]

    def line(self) -> str:
        """One line for the grower: days, span, what is missing, where the rest came from.

        Examples
        --------
        >>> w = DailyWeather(date(2026, 3, 1), [1.0, np.nan, 2.0], [9.0, np.nan, 8.0], "station")
        >>> w.coverage().line()
        '3 days 2026-03-01 to 2026-03-03, 1 missing (2026-03-02); station 2'
        """
        if not self.days:
            return "no days"
        whole_years = (self.first_day.month, self.first_day.day, self.last_day.month, self.last_day.day)
        if whole_years == (1, 1, 12, 31) and self.first_day.year < self.last_day.year:
            span = f"{self.first_day.year}-{self.last_day.year}"
        else:
            span = f"{self.first_day} to {self.last_day}"
        words = [f"{counted(self.days, 'days')} {span}"]
        if self.missing:
            shown = [str(a) if a == b else f"{a} to {b}" for a, b in self.missing_spans[:3]]
            more = len(self.missing_spans) - len(shown)
            gaps = ", ".join(shown) + (f" and {more} more gap{'s' if more > 1 else ''}" if more else "")
            words.append(f"{self.missing:,} missing ({gaps})")
        else:
            words.append("none missing")
        from_where = ", ".join(f"{name} {n:,}" for name, n in self.by_source.items() if n)
        return ", ".join(words) + (f"; {from_where}" if from_where else "")


@dataclass(frozen=True, eq=False)
class DailyWeather:
    """A run of local days with their extremes of air temperature, without holes.

    Parameters
    ----------
    first_day : datetime.date
        The day of element 0.
    tmin, tmax : array_like, shape (n_days,)
        Daily minimum and maximum; NaN where unknown. [°C]
    source : array_like of str, shape (n_days,), or str
        One of `SOURCES` for each day; one word stands for all. Days without any value get ``""``.

    Raises
    ------
    WeatherError
        If shapes differ, a value is infinite, a source is unknown, or any ``tmin > tmax`` (names the day).

    Examples
    --------
    >>> w = DailyWeather(date(2026, 3, 1), [1.5, 0.0, 3.0], [9.0, 7.5, 12.0], "station")
    >>> len(w), w.last_day, w.index(date(2026, 3, 2))
    (3, datetime.date(2026, 3, 3), 1)
    >>> w.between(date(2026, 3, 2), date(2026, 3, 9)).tmax
    array([ 7.5, 12. ])
    """

    first_day: date
    tmin: NDArray[np.float64] = field(repr=False)
    tmax: NDArray[np.float64] = field(repr=False)
    source: NDArray[np.str_] = field(repr=False)

    def __init__(self, first_day: date, tmin: ArrayLike, tmax: ArrayLike, source: ArrayLike | str) -> None:
        low, high = np.array(tmin, dtype=float), np.array(tmax, dtype=float)
        if low.ndim != 1 or low.shape != high.shape:
            raise WeatherError(
                f"tmin and tmax must be as long as each other, got {low.shape} and {high.shape}"
            )
        names = np.full(low.shape, source) if isinstance(source, str) else np.array(source, dtype=str)
        if names.shape != low.shape:
            raise WeatherError(f"source must be as long as tmin, got {names.shape} and {low.shape}")
        _refuse_bad_values(first_day, low, high)
        known = ~(np.isnan(low) & np.isnan(high))
        names[~known] = NO_SOURCE
        bad = ~np.isin(names[known], SOURCES)
        if bad.any():
            source_rank(str(names[known][bad][0]))
            raise WeatherError(f"{first_day + timedelta(int(np.flatnonzero(known)[bad][0]))} has no source")
        names = names.astype("U8")
        for array in (low, high, names):
            array.setflags(write=False)
        object.__setattr__(self, "first_day", first_day)
        object.__setattr__(self, "tmin", low)
        object.__setattr__(self, "tmax", high)
        object.__setattr__(self, "source", names)

    @classmethod
    def from_days(
        cls, days: Sequence[date], tmin: ArrayLike, tmax: ArrayLike, source: ArrayLike | str
    ) -> DailyWeather:
        """A series from dated rows: sorted, each day once; days absent between them become unknown.

        Raises `WeatherError` if a day comes twice or out of order, or there is no day at all.
        """
        ordinals = np.array([day.toordinal() for day in days], dtype=np.int64)
        return cls.from_ordinals(ordinals, tmin, tmax, source)

    @classmethod
    def from_ordinals(
        cls, ordinals: NDArray[np.int64], tmin: ArrayLike, tmax: ArrayLike, source: ArrayLike | str
    ) -> DailyWeather:
        """Like `from_days`, for proleptic Gregorian ordinals (``date.toordinal``)."""
        if not len(ordinals):
            raise WeatherError("there is no weather: not a single day")
        steps = np.diff(ordinals)
        if (steps <= 0).any():
            at = int(np.flatnonzero(steps <= 0)[0])
            before, after = date.fromordinal(int(ordinals[at])), date.fromordinal(int(ordinals[at + 1]))
            if before == after:
                raise WeatherError(f"{after} comes twice; keep one row for each day")
            raise WeatherError(f"{after} comes after {before}; sort the days, oldest first")
        at = ordinals - ordinals[0]
        n = int(at[-1]) + 1
        low, high, names = np.full(n, np.nan), np.full(n, np.nan), np.full(n, NO_SOURCE, dtype="U32")
        low[at], high[at] = np.asarray(tmin, dtype=float), np.asarray(tmax, dtype=float)
        names[at] = source
        return cls(date.fromordinal(int(ordinals[0])), low, high, names)

    def __len__(self) -> int:
        return len(self.tmin)

    @property
    def last_day(self) -> date:
        """The last day; the day before `first_day` when the series is empty."""
        return self.first_day + timedelta(days=len(self) - 1)

    @property
    def ordinals(self) -> NDArray[np.int64]:
        """Each day as its proleptic Gregorian ordinal."""
        return self.first_day.toordinal() + np.arange(len(self), dtype=np.int64)

    @property
    def known(self) -> NDArray[np.bool_]:
        """True for days with both extremes."""
        return ~(np.isnan(self.tmin) | np.isnan(self.tmax))

    def index(self, day: date) -> int:
        """Position of a day; raises `WeatherError` when the series does not hold it."""
        at = (day - self.first_day).days
        if not 0 <= at < len(self):
            raise WeatherError(
                f"there is no weather for {day}: it runs from {self.first_day} to {self.last_day}"
            )
        return at

    def only(self, days: NDArray[np.bool_]) -> DailyWeather:
        """The same series with all but some days unknown."""
        low, high = (np.where(days, values, np.nan) for values in (self.tmin, self.tmax))
        return DailyWeather(self.first_day, low, high, self.source)

    def unknown_between(self, first: date, last: date) -> DailyWeather:
        """The same series with the days after `first` up to `last` unknown."""
        hidden = (self.ordinals > first.toordinal()) & (self.ordinals <= last.toordinal())
        return self.only(~hidden)

    def between(self, first: date, last: date) -> DailyWeather:
        """The days from `first` to `last`, both included, as far as the series holds them (maybe none)."""
        start = min(max((first - self.first_day).days, 0), len(self))
        stop = max(min((last - self.first_day).days + 1, len(self)), start)
        return DailyWeather(
            self.first_day + timedelta(days=start),
            self.tmin[start:stop],
            self.tmax[start:stop],
            self.source[start:stop],
        )

    def spanning(self, first: date, last: date) -> DailyWeather:
        """Exactly the days from `first` to `last`; those the series does not hold are unknown."""
        n = max((last - first).days + 1, 0)
        low, high, names = np.full(n, np.nan), np.full(n, np.nan), np.full(n, NO_SOURCE, dtype="U8")
        part = self.between(first, last)
        if len(part):
            at = slice((part.first_day - first).days, (part.last_day - first).days + 1)
            low[at], high[at], names[at] = part.tmin, part.tmax, part.source
        return DailyWeather(first, low, high, names)

    def last_known_day(self) -> date:
        """The newest day with both extremes; raises `WeatherError` when there is none."""
        at = np.flatnonzero(self.known)
        if not len(at):
            raise WeatherError("no day of the weather has both tmin and tmax")
        return self.first_day + timedelta(days=int(at[-1]))

    def coverage(self) -> WeatherCoverage:
        """How many days came from where, and which are missing."""
        known = self.known
        names, counts = np.unique(self.source[known], return_counts=True)
        found = dict(zip(names.tolist(), counts.tolist(), strict=True))
        edges = np.flatnonzero(np.diff(np.concatenate(([True], known, [True])).astype(np.int8)))
        spans = tuple(
            (self.first_day + timedelta(days=int(a)), self.first_day + timedelta(days=int(b) - 1))
            for a, b in zip(edges[::2], edges[1::2], strict=True)
        )
        by_source = {name: found[name] for name in SOURCES if name in found}
        missing = len(self) - int(known.sum())
        return WeatherCoverage(self.first_day, self.last_day, len(self), by_source, missing, spans)

    def to_frame(self) -> pd.DataFrame:
        """The daily frame: `DatetimeIndex` named ``date``; columns ``tmin``, ``tmax`` [°C], ``source``."""
        import pandas as pd

        index = pd.date_range(self.first_day, periods=len(self), freq="D", name="date")
        columns: dict[str, Any] = {"tmin": self.tmin, "tmax": self.tmax, "source": self.source.astype(object)}
        return pd.DataFrame(columns, index=index)

    @classmethod
    def from_frame(cls, frame: pd.DataFrame) -> DailyWeather:
        """The series of a daily frame, once `check_weather_frame` has passed it."""
        frame = check_weather_frame(frame)
        source = frame["source"].fillna(NO_SOURCE).to_numpy(dtype="U8")
        return cls(frame.index[0].date(), frame["tmin"].to_numpy(), frame["tmax"].to_numpy(), source)


def merge_weather(series: Iterable[DailyWeather]) -> DailyWeather:
    """One series from several, day by day the most trusted: bench, station, model, forecast, filled.

    A day is taken whole from one series, because a minimum and a maximum from two thermometers need not
    agree. A day with both extremes goes before a day with one; among equals the earlier in `series` wins.
    Raises `WeatherError` if there is no series.

    Examples
    --------
    >>> model = DailyWeather(date(2026, 3, 1), [1.0, 2.0, 3.0], [8.0, 9.0, 9.0], "model")
    >>> bench = DailyWeather(date(2026, 3, 2), [2.5], [11.0], "bench")
    >>> merge_weather([model, bench]).source.tolist()
    ['model', 'bench', 'model']
    """
    parts = [part for part in series if len(part)]
    if not parts:
        raise WeatherError("there is no weather: not a single day")
    first, last = min(p.first_day for p in parts), max(p.last_day for p in parts)
    wide = [part.spanning(first, last) for part in parts]
    # Unknown both ways ranks last, one extreme only after every full day.
    ranks = np.stack([_ranks(part.source) + np.where(part.known, 0, len(SOURCES) + 1) for part in wide])
    best, day = ranks.argmin(axis=0), np.arange(ranks.shape[1])
    return DailyWeather(
        first,
        np.stack([p.tmin for p in wide])[best, day],
        np.stack([p.tmax for p in wide])[best, day],
        np.stack([p.source for p in wide])[best, day],
    )


def check_weather_frame(frame: pd.DataFrame) -> pd.DataFrame:
    """Pass a daily weather frame, or say what is wrong with it and on which day.

    Parameters
    ----------
    frame : pandas.DataFrame
        `DatetimeIndex` named ``date``: local midnights without time zone, sorted, each day once, no holes.
        Columns ``tmin``, ``tmax`` [°C] and ``source``. Other columns are left alone.

    Returns
    -------
    pandas.DataFrame
        The same days with ``tmin`` and ``tmax`` as plain float64 (NaN = unknown); the argument is untouched.

    Raises
    ------
    WeatherError
        If the frame is empty, all NaN, unsorted, has a day twice or a hole, or any ``tmin > tmax``.
    """
    import pandas as pd

    if not isinstance(frame.index, pd.DatetimeIndex) or frame.index.name != "date":
        raise WeatherError("a weather frame needs a DatetimeIndex named 'date'")
    absent = [name for name in ("tmin", "tmax", "source") if name not in frame.columns]
    if absent:
        raise WeatherError(
            f"a weather frame needs the column{'s' * (len(absent) > 1)} {' and '.join(absent)}"
        )
    if frame.index.tz is not None or frame.index.hasnans or (frame.index != frame.index.normalize()).any():
        raise WeatherError(
            "a weather frame is indexed by local days: midnights without time zone, none empty"
        )
    days = [stamp.date() for stamp in frame.index]
    out = frame.copy()
    for name in ("tmin", "tmax"):
        out[name] = out[name].astype("float64")
    low, high = out["tmin"].to_numpy(), out["tmax"].to_numpy()
    source = out["source"].fillna(NO_SOURCE).to_numpy(dtype="U8")
    filled = DailyWeather.from_days(days, low, high, source)
    if len(filled) > len(days):
        gap = next(a for a, b in pairwise(days) if (b - a).days > 1) + timedelta(days=1)
        raise WeatherError(f"{gap} is absent; give every day a row, with NaN where nothing is known")
    if np.isnan(low).all() or np.isnan(high).all():
        raise WeatherError(f"all {len(days):,} days are empty: no temperature in tmin or none in tmax")
    return out


def _ranks(source: NDArray[np.str_]) -> NDArray[np.int64]:
    ranks = np.full(len(source), len(SOURCES), dtype=np.int64)
    for rank, name in enumerate(SOURCES):
        ranks[source == name] = rank
    return ranks


def _refuse_bad_values(first_day: date, low: NDArray[np.float64], high: NDArray[np.float64]) -> None:
    for name, values in (("tmin", low), ("tmax", high)):
        if np.isinf(values).any():
            day = first_day + timedelta(days=int(np.flatnonzero(np.isinf(values))[0]))
            raise WeatherError(f"{day}: {name} is infinite")
    crossed = np.flatnonzero(low > high)
    if len(crossed):
        at = int(crossed[0])
        more = f" (and {len(crossed) - 1:,} more such days)" if len(crossed) > 1 else ""
        raise WeatherError(
            f"{first_day + timedelta(days=at)}: tmin {low[at]:g} °C is above tmax {high[at]:g} °C{more}"
        )
