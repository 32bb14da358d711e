"""A daily series cut into seasons, gaps filled: what the clocks run on."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from phenology.heat.clocks import CLOCKS, Clock, ThermalTime, accumulate
from phenology.heat.daylength import daylength
from phenology.model.arrays import Array
from phenology.model.season import SeasonCalendar
from phenology.weather.normals import YEAR_DAYS, Normals, fill_gaps, fit_normals
from phenology.weather.series import DailyWeather

if TYPE_CHECKING:
    from phenology.weather.zonal_climate import PossibleYears


@dataclass(frozen=True, eq=False, repr=False)
class SeasonThermalTime:
    """The clocks over one season, from its first day on, with what gaps in the weather cost."""

    thermal_time: ThermalTime  # sums of shape (clocks, days + 1); `t` of the season reads them directly
    # running sum of the variance that filled days add to the temperature sum, shape (days + 1,) [degC^2 d]
    gap_variance: Array


@dataclass(frozen=True, eq=False, repr=False)
class SeasonWeather:
    """Daily extremes by season and day of season."""

    calendar: SeasonCalendar
    seasons: tuple[int, ...]  # labels, in order
    # tmin, tmax: NaN where unknown, and past the end of a season of 365 days, shape (n_seasons, 366) [degC]
    tmin: Array
    tmax: Array
    # days whose values were forecast, not measured; None where there are none; shape (n_seasons, 366)
    forecast: NDArray[np.bool_] | None = None
    latitude: float | None = None  # where it is, for clocks that answer to the length of the day [degrees]
    # years that stand in for past ones, where too few of those are known
    possible: PossibleYears | None = None

    @classmethod
    def unknown(cls, calendar: SeasonCalendar, season: int, latitude: float | None = None) -> SeasonWeather:
        """A season of which nothing was measured."""
        nothing = np.full((1, YEAR_DAYS), np.nan)
        return cls(calendar, (season,), nothing, nothing.copy(), None, latitude)

    @classmethod
    def cut(
        cls, weather: DailyWeather, calendar: SeasonCalendar, latitude: float | None = None
    ) -> SeasonWeather:
        """Cut a series into seasons; seasons that it only touches are there, mostly NaN."""
        first, last = calendar.season_of(weather.first_day), calendar.season_of(weather.last_day)
        seasons = tuple(range(first, last + 1))
        low, high = np.full((len(seasons), YEAR_DAYS), np.nan), np.full((len(seasons), YEAR_DAYS), np.nan)
        said = weather.source == "forecast"
        ahead = np.zeros(low.shape, dtype=bool) if said.any() else None
        for i, season in enumerate(seasons):
            start = (calendar.start(season) - weather.first_day).days
            stop = start + calendar.length(season)
            a, b = max(start, 0), min(stop, len(weather.tmin))
            low[i, a - start : b - start] = weather.tmin[a:b]
            high[i, a - start : b - start] = weather.tmax[a:b]
            if ahead is not None:
                ahead[i, a - start : b - start] = said[a:b]
        return cls(calendar, seasons, low, high, ahead, latitude)

    def known(self, season: int) -> NDArray[np.bool_]:
        """Days of a season with both extremes; shape (366,)."""
        row = self.row(season)
        return np.asarray(np.isfinite(self.tmin[row]) & np.isfinite(self.tmax[row]))

    def row(self, season: int) -> int:
        """Row of a season; KeyError when the series does not reach it."""
        if season not in self.seasons:
            raise KeyError(season)
        return season - self.seasons[0]

    def known_share(self, season: int) -> float:
        """Share of a season's days that are known."""
        return float(self.known(season)[: self.calendar.length(season)].mean())

    def without(self, season: int) -> SeasonWeather:
        """The same record with one season unknown."""
        return self.through_only(season, 0)

    def widened(self, first: int, last: int) -> SeasonWeather:
        """The same record with seasons from `first` to `last` at least, unknown ones NaN."""
        seasons = tuple(range(min(first, self.seasons[0]), max(last, self.seasons[-1]) + 1))
        pad = ((self.seasons[0] - seasons[0], seasons[-1] - self.seasons[-1]), (0, 0))
        low, high = (np.pad(v, pad, constant_values=np.nan) for v in (self.tmin, self.tmax))
        ahead = None if self.forecast is None else np.pad(self.forecast, pad, constant_values=False)
        return replace(self, seasons=seasons, tmin=low, tmax=high, forecast=ahead)

    def through(self, season: int, day: int) -> SeasonWeather:
        """The same record as it stood at the end of a day of a season."""
        return self._without(season, day, np.array(self.seasons) > season)

    def through_only(self, season: int, day: int) -> SeasonWeather:
        """The same record with one season known only to the end of a day; other seasons whole."""
        return self._without(season, day, False)

    def _without(self, season: int, day: int, whole: NDArray[np.bool_] | bool) -> SeasonWeather:
        """The same record with whole seasons unknown, and one from the end of a day on."""
        mine = np.array(self.seasons)[:, None] == season
        hidden = (mine & (np.arange(YEAR_DAYS) >= day)) | np.asarray(whole)[..., None]
        low, high = (np.where(hidden, np.nan, values) for values in (self.tmin, self.tmax))
        return replace(self, tmin=low, tmax=high)

    @cached_property
    def normals(self) -> Normals:
        """The usual year of this record."""
        if self.possible is not None:
            return self.possible.usual
        return fit_normals(self.tmin, self.tmax, np.array(self.seasons))

    def daylight(self, season: int, days: int) -> Array | None:
        """Hours of daylight from a season's first day on; None where it is not known where this is."""
        if self.latitude is None:
            return None
        first = self.calendar.start(season).timetuple().tm_yday
        return daylength((first - 1 + np.arange(days)) % 365 + 1, self.latitude)

    def filled(self, season: int, normals: Normals | None = None) -> tuple[Array, Array, Array]:
        """A season without gaps, and the variance each filled day adds; see `fill_gaps`."""
        days, i = self.calendar.length(season), self.row(season)
        return fill_gaps(self.tmin[i, :days], self.tmax[i, :days], normals or self.normals)

    def thermal_time(
        self, seasons: Iterable[int], clocks: tuple[Clock, ...] = CLOCKS, normals: Normals | None = None
    ) -> dict[int, SeasonThermalTime]:
        """The clocks over whole seasons, filled where the record has gaps."""
        out = {}
        for season in seasons:
            low, high, variance = self.filled(season, normals)
            light = self.daylight(season, len(low))
            out[season] = SeasonThermalTime(
                accumulate(low, high, clocks, light), np.concatenate([[0.0], np.cumsum(variance)])
            )
        return out
