"""Weather and what the clocks make of it, as DataFrames."""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path
from typing import NamedTuple, TypeAlias

import numpy as np
import pandas as pd

from phenology.heat.clocks import CLOCKS, accumulate
from phenology.heat.thermal_time import Cutoff, Method, degree_days
from phenology.model.errors import WeatherError
from phenology.weather.series import DailyWeather, WeatherCoverage
from reports.notebook.opened import DAY, Opened, framed
from reports.table import attribute

Weather: TypeAlias = pd.DataFrame | DailyWeather | str | os.PathLike[str]
"""A daily frame, a series of ours, or a file."""


class SourceDays(NamedTuple):
    """How many days of a place came from one source."""

    place: str
    source: str
    days: int
    of: WeatherCoverage


COVERAGE = (
    attribute("place", "text"),
    attribute("source", "text"),
    attribute("first_day", "date", "of the place's weather", of="of.first_day"),
    attribute("last_day", "date", "of it", of="of.last_day"),
    attribute("days", "whole", "from that source"),
    attribute("missing_days", "whole", "of the place", of="of.missing"),
)


class WeatherFrames(Opened):
    """Frames of the weather."""

    def weather(self, place: str | None = None) -> pd.DataFrame:
        """The daily weather of a place as the forecast uses it, brought to the bench where that is learned.

        Returns
        -------
        DataFrame, one row a day without holes; `DatetimeIndex` named ``date``
            ``tmin``, ``tmax`` [°C] (NaN where unknown); ``source``: `bench`, `station`, `model`, `forecast`
            or `filled`. `phenology.DailyWeather.from_frame` takes it back.

        Raises
        ------
        WeatherError
            If the place has none.

        Examples
        --------
        >>> garden.weather().tail(2).round(1)
                    tmin  tmax   source
        date
        2026-06-13  11.0  24.9  station
        2026-06-14  13.1  27.4  station
        """
        frame = self._series(place).to_frame()
        return frame.set_axis(pd.DatetimeIndex(frame.index.astype(DAY), freq="D", name="date"))

    @framed(COVERAGE, "a place and source")
    def weather_coverage(self) -> Iterable[SourceDays]:
        """How many days of each place came from where.

        >>> garden.weather_coverage()[["source", "first_day", "last_day", "days", "missing_days"]]
            source  first_day   last_day   days  missing_days
        0  station 1996-01-01 2026-06-14  11123             0
        """
        for place in self.snapshot.places:
            if place.id in self.snapshot.weather:
                cover = self.snapshot.weather[place.id].coverage()
                for source, days in cover.by_source.items():
                    yield SourceDays(place.name, source, days, cover)

    def readings(self, place: str | None = None) -> pd.DataFrame:
        """A place's own readings beside the station's (or the model's), on the days that both have.

        Returns
        -------
        DataFrame, one row a day; `DatetimeIndex` named ``date``
            ``tmin_c``, ``tmax_c`` of the place's own thermometer, ``other_tmin_c``, ``other_tmax_c``
            [°C]; ``tmin_difference_c``, ``tmax_difference_c``: own less other [°C]. Days with an extreme
            missing on either side are left out.

        Raises
        ------
        InputError
            If there are no own readings, or nothing to hold them against.

        Examples
        --------
        >>> garden.readings()
        Traceback (most recent call last):
        phenology.model.errors.InputError: Larkfield benches is invented and has no readings of its own
        """
        pair = self.read_pair(self._place(place))
        own, other = (
            series.to_frame()[["tmin", "tmax"]].add_suffix("_c") for series in (pair.own, pair.other)
        )
        both = own.join(other.add_prefix("other_"), how="inner").dropna()
        for name in ("tmin", "tmax"):
            both[f"{name}_difference_c"] = both[f"{name}_c"] - both[f"other_{name}_c"]
        return both

    def thermal_time(
        self,
        season: int | None = None,
        *,
        place: str | None = None,
        base: float = 5.0,
        upper: float | None = None,
        method: Method = "single_sine",
        cutoff: Cutoff = "horizontal",
    ) -> pd.DataFrame:
        """Degree-days of a season, day by day, and their sum from its first day.

        `base`, `upper`, `method` and `cutoff` are as `phenology.degree_days` takes them. [°C]

        Returns
        -------
        DataFrame, one row a day up to the last day known; `DatetimeIndex` named ``date``
            ``day`` of the season (1 for its first); ``tmin_c``, ``tmax_c`` [°C]; ``filled`` (unknown, and
            filled from the usual year); ``degree_days_c`` of the day and ``sum_degree_days_c`` to its end
            [°C·d].

        Examples
        --------
        >>> garden.thermal_time(base=10)[["day", "degree_days_c", "sum_degree_days_c"]].tail(2).round(1)
                    day  degree_days_c  sum_degree_days_c
        date
        2026-06-13  164            8.0              323.7
        2026-06-14  165           10.2              334.0
        """
        low, high, filled, index = self._season_days(season, place)
        warmth = degree_days(low, high, base, upper, method=method, cutoff=cutoff)
        return pd.DataFrame(
            {
                "day": np.arange(1, len(low) + 1), "tmin_c": low, "tmax_c": high, "filled": filled,
                "degree_days_c": warmth, "sum_degree_days_c": np.cumsum(warmth),
            },
            index=index,
        )  # fmt: skip

    def clocks(self, season: int | None = None, *, place: str | None = None) -> pd.DataFrame:
        """The rival clocks of the forecast over a season: what each reads by the end of each day.

        Returns
        -------
        DataFrame, one row a day up to the last day known; `DatetimeIndex` named ``date``
            A column a clock: the sum of its days since the season's first, a day at a steady 18 °C
            counting 1. [days at 18 °C]

        Examples
        --------
        >>> garden.clocks()[["heat above 5", "plain days"]].tail(1).round(1)
                    heat above 5  plain days
        date
        2026-06-14          64.0       165.0
        """
        low, high, _, index = self._season_days(season, place)
        sums = accumulate(low, high).sums[:, 1:]
        return pd.DataFrame({c.name: s for c, s in zip(CLOCKS, sums, strict=True)}, index=index)

    def _season_days(
        self, season: int | None, place: str | None
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray, pd.DatetimeIndex]:
        """A season's extremes up to the last day known, which days were filled, and the days."""
        self._series(place)  # says so where there is none
        record = self.snapshot.record_at(((0, self._place(place).id),))
        calendar = self.snapshot.calendar
        wanted = self.snapshot.season if season is None else season
        known = np.zeros(0, dtype=np.intp)
        if wanted in record.seasons:
            row = record.row(wanted)
            unknown = np.isnan(record.tmin[row]) | np.isnan(record.tmax[row])
            known = np.flatnonzero(~unknown)
        if not len(known):
            raise WeatherError(f"there is no weather for season {calendar.label(wanted)}")
        until = int(known[-1]) + 1
        low, high, _ = record.filled(wanted)
        days = pd.date_range(calendar.start(wanted), periods=until, freq="D", name="date")
        return low[:until], high[:until], unknown[:until], days


def daily_weather(weather: Weather, *, units: str | None = None) -> DailyWeather:
    """Daily weather from a frame, a series or a file.

    Parameters
    ----------
    weather : DataFrame, DailyWeather or path
        A frame has ``tmin`` and ``tmax`` [°C], and its days as a `DatetimeIndex` or in a column ``date``;
        without a column ``source`` it counts as a station's.
    units : {"C", "F", "tenths"}, optional
        Of a file; guessed never, so that a file which does not say needs it.

    Raises
    ------
    WeatherError
        As `phenology.check_weather_frame`, or if a file cannot be read.

    Examples
    --------
    >>> days = pd.DataFrame({"date": ["2026-06-13", "2026-06-14"], "tmin": [9.0, 11.0], "tmax": [21.0, 24.0]})
    >>> daily_weather(days).last_day
    datetime.date(2026, 6, 14)
    """
    if isinstance(weather, DailyWeather):
        return weather
    if not isinstance(weather, pd.DataFrame):
        from data_sources.weather.files.reader import read_weather_file

        return read_weather_file(Path(weather), units=units)[0]
    frame = weather
    if "date" in frame.columns:
        try:
            days = pd.to_datetime(frame["date"])
        except (ValueError, TypeError) as error:
            raise WeatherError(f"the column 'date' holds something that is no date: {error}") from None
        frame = frame.drop(columns="date").set_axis(pd.DatetimeIndex(days, name="date"))
    elif isinstance(frame.index, pd.DatetimeIndex):
        frame = frame.rename_axis("date")
    if "source" not in frame.columns:
        frame = frame.assign(source="station")
    return DailyWeather.from_frame(frame)
