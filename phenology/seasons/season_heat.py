"""The warmth of a season, and how many days it is ahead of usual: where it stands in the mean of others."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from phenology.garden import Garden
from phenology.heat.thermal_time import degree_days
from phenology.language.counts import counted
from phenology.model.arrays import Array
from phenology.model.season import SeasonCalendar
from phenology.weather.season_weather import SeasonWeather

BASE_C = 5.0
"""Base of the degree-days shown; a common choice for temperate trees (common practice, no source)."""

FEWEST_USUAL = 3  # seasons without which nothing is called usual (ours)
KNOWN_DAYS = 300  # days without which a past season is not usual (ours)
LEAST_HEAT = 20.0  # before this much usual warmth a lead in days says nothing (ours) [degC d]
LEAST_RATE = 0.25  # nor while a usual day brings less than this share of the warmest time's days (ours)
RATE_DAYS = 7
FILLED_SHARE = 0.1  # of the days to date; the warmth of a season that lacks more is not known (ours)


def cumulative_heat(record: SeasonWeather, season: int) -> Array:
    """Degree-days above `BASE_C` by the end of each day of a season, gaps filled; entry 0 is 0. [degC d]"""
    low, high, _ = record.filled(season)
    return np.concatenate([[0.0], np.cumsum(degree_days(low, high, BASE_C))])


def known_days(record: SeasonWeather, season: int) -> NDArray[np.bool_]:
    """On which days of a season both extremes are known."""
    row = record.row(season)
    return np.asarray(np.isfinite(record.tmin[row]) & np.isfinite(record.tmax[row]))


def days_ahead(heat: Array, others: Sequence[Array]) -> Array:
    """How many days a season's warmth is ahead of the mean of other seasons, day by day.

    Parameters
    ----------
    heat : ndarray, shape (days + 1,)
        A season's degree-days by the end of each day, from 0. [degC d]
    others : sequence of ndarray
        The same of whole other seasons.

    Returns
    -------
    ndarray, shape (days + 1,)
        Days ahead (+) or behind (-), read along the mean season. NaN where that cannot be said: with fewer
        than `FEWEST_USUAL` others; while so little warmth usually gathers, on that day or on the one that it
        is read at, that days mean nothing, as in winter; once it is warmer than a whole usual season.

    Examples
    --------
    Half as warm again as the others from the first day, so 50 days ahead after 100:

    >>> usual = np.arange(366) * 10.0
    >>> float(days_ahead(np.arange(366) * 15.0, [usual] * 3)[100])
    50.0
    """
    ahead = np.full(len(heat), np.nan)
    if len(others) < FEWEST_USUAL:
        return ahead
    usual = np.mean([curve[:366] for curve in others], axis=0)
    day = np.arange(len(heat), dtype=float)
    last = len(usual) - 1
    read = np.interp(heat, usual, np.arange(len(usual)))
    warm = _warm_days(usual)
    at = np.minimum(day.astype(int), last)
    tells = warm[at] & warm[np.rint(read).astype(int)] & (usual[at] >= LEAST_HEAT) & (heat >= LEAST_HEAT)
    return np.where(tells & (heat <= usual[-1]), read - day, np.nan)


def _warm_days(usual: Array) -> NDArray[np.bool_]:
    """Whether around each day warmth usually gathers fast enough for a lead to be told in days."""
    at, last = np.arange(len(usual)), len(usual) - 1
    before, after = np.maximum(at - RATE_DAYS, 0), np.minimum(at + RATE_DAYS, last)
    rate = (usual[after] - usual[before]) / (after - before)
    best = float((usual[2 * RATE_DAYS :] - usual[: -2 * RATE_DAYS]).max()) / (2 * RATE_DAYS)
    return np.asarray(rate >= LEAST_RATE * best)


@dataclass(frozen=True)
class HeatCourse:
    """Warmth through a season beside the others, at a garden's first place."""

    season: int
    # degree-days above `BASE_C` by the end of each day, from 0; up to today in the season under way [degC d]
    heat: Array
    # the same for the other seasons that are over and known well enough
    past: dict[int, Array]
    # days ahead (+) of or behind (-) their mean; NaN where that cannot be said: with too few seasons, where
    # too much of this one is filled, or while so little warmth gathers that days mean nothing
    ahead: Array
    filled: NDArray[np.int_]  # days until then that the weather lacks

    def measured(self, day: int) -> bool:
        """Whether enough was measured by a day for its warmth to be known."""
        return bool(self.filled[min(day, len(self.filled) - 1)] <= FILLED_SHARE * day)

    def ahead_on(self, day: int) -> float | None:
        """Days ahead of usual at the end of a day; None where it cannot be said or has not come."""
        return float(self.ahead[day]) if day < len(self.ahead) and np.isfinite(self.ahead[day]) else None

    @property
    def lead(self) -> float | None:
        """Days ahead of usual by now; None where that cannot be said."""
        return float(self.ahead[-1]) if np.isfinite(self.ahead[-1]) else None

    @property
    def words(self) -> str:
        """How far ahead of usual the season is."""
        if len(self.past) < FEWEST_USUAL:
            return "too few past seasons of weather to say what is usual"
        if not self.measured(len(self.heat) - 1):
            return "too little weather measured to say how far ahead of usual"
        if self.lead is None:
            return "too cool a time of year to say how far ahead of usual"
        days = abs(round(self.lead))
        if days == 0:
            return "as usual"
        return f"{counted(days, 'days')} {'ahead of' if self.lead > 0 else 'behind'} usual"


def heat_courses(garden: Garden) -> dict[int, HeatCourse]:
    """Every season with any weather, and the one under way, which may have none yet.

    Raises
    ------
    WeatherError
        If the first place has no weather.
    """
    record = garden.record_at(((0, garden.places[0].id),))
    known = {s: known_days(record, s) for s in record.seasons if s <= garden.season}
    curves = {s: cumulative_heat(record, s) for s in known if known[s].any()}
    over = {s: curve for s, curve in curves.items() if s < garden.season and known[s].sum() >= KNOWN_DAYS}
    out = {}
    for season, curve in ({garden.season: np.zeros(1)} | curves).items():
        heat = curve[: garden.today + 1] if season == garden.season else curve
        lacking = ~known[season][: len(heat) - 1] if season in known else np.zeros(0, dtype=bool)
        filled = np.concatenate([[0], np.cumsum(lacking)])
        past = {s: other for s, other in over.items() if s != season}
        enough = filled <= FILLED_SHARE * np.arange(len(heat))
        ahead = np.where(enough, ahead_by_date(garden.calendar, season, heat, past), np.nan)
        out[season] = HeatCourse(season, heat, past, ahead, filled)
    return dict(sorted(out.items()))


def ahead_by_date(calendar: SeasonCalendar, season: int, heat: Array, others: Mapping[int, Array]) -> Array:
    """`days_ahead` of a season among others, date by date: a 29 February shifts no day of the calendar.

    The warmth of that day counts with the day after it; on itself what was said of the day before holds.
    """
    usual = [_by_date(calendar, other, curve) for other, curve in others.items()]
    ahead = days_ahead(_by_date(calendar, season, heat), usual)
    leap = calendar.leap_day(season)
    return ahead if leap is None or leap >= len(heat) else np.insert(ahead, leap, ahead[leap - 1])


def _by_date(calendar: SeasonCalendar, season: int, curve: Array) -> Array:
    leap = calendar.leap_day(season)
    return curve if leap is None or leap >= len(curve) else np.delete(curve, leap)


def heat_course(garden: Garden) -> HeatCourse:
    """The season under way; errors as `heat_courses`."""
    return heat_courses(garden)[garden.season]
