"""Weather and what the clocks make of it, as DataFrames."""

from __future__ import annotations

import numpy as np
import pandas as pd

from phenology.heat.clocks import CLOCKS, accumulate
from phenology.heat.thermal_time import Cutoff, Method, degree_days
from phenology.model.errors import WeatherError
from reports.notebook.columns import DAY, Columns, table
from reports.notebook.opened import Opened

COVERAGE: Columns = {
    "place": "text", "source": "text", "first_day": "date", "last_day": "date", "days": "whole",
    "missing_days": "whole",
}  # fmt: skip


class WeatherFrames(Opened):
    """Frames of the weather."""

    def weather(self, place: str | None = None) -> pd.DataFrame:
        """The daily weather of a place as the forecast uses it, brought to the bench where that is learned.

        Parameters
        ----------
        place : str, optional
            Its name or part of it; the first place without one.

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
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.weather().tail(2).round(1)
                    tmin  tmax   source
        date
        2026-06-13  11.0  24.9  station
        2026-06-14  13.1  27.4  station
        """
        frame = self._series(place).to_frame()
        return frame.set_axis(pd.DatetimeIndex(frame.index.astype(DAY), freq="D", name="date"))

    def weather_coverage(self) -> pd.DataFrame:
        """How many days of each place came from where.

        Returns
        -------
        DataFrame, one row a place and source
            ``place``, ``source``; ``first_day``, ``last_day`` (dates) of the place's weather; ``days`` from
            that source; ``missing_days`` of the place.

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.weather_coverage()[["source", "first_day", "last_day", "days", "missing_days"]]
            source  first_day   last_day   days  missing_days
        0  station 1996-01-01 2026-06-14  11123             0
        """
        rows = []
        for place in self.snapshot.places:
            if place.id in self.snapshot.weather:
                cover = self.snapshot.weather[place.id].coverage()
                rows += [
                    {
                        "place": place.name, "source": source, "first_day": cover.first_day,
                        "last_day": cover.last_day, "days": days, "missing_days": cover.missing,
                    }
                    for source, days in cover.by_source.items()
                ]  # fmt: skip
        return table(rows, COVERAGE)

    def readings(self, place: str | None = None) -> pd.DataFrame:
        """A place's own readings beside the station's (or the model's), on the days that both have.

        Parameters
        ----------
        place : str, optional
            Its name or part of it; the first place without one.

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
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
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

        Parameters
        ----------
        season : int, optional
            The year it starts in; the one under way without it.
        place : str, optional
            Its name or part of it; the first place without one.
        base, upper, method, cutoff
            As `phenology.degree_days`. [°C]

        Returns
        -------
        DataFrame, one row a day up to the last day known; `DatetimeIndex` named ``date``
            ``day`` of the season (1 for its first); ``tmin_c``, ``tmax_c`` [°C]; ``filled`` (unknown, and
            filled from the usual year); ``degree_days_c`` of the day and ``sum_degree_days_c`` to its end
            [°C·d].

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
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

        Parameters
        ----------
        season : int, optional
            The year it starts in; the one under way without it.
        place : str, optional
            Its name or part of it; the first place without one.

        Returns
        -------
        DataFrame, one row a day up to the last day known; `DatetimeIndex` named ``date``
            A column a clock: the sum of its days since the season's first, a day at a steady 18 °C
            counting 1. [days at 18 °C]

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
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
        record, calendar = self._record(place), self.snapshot.calendar
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
