"""Days ahead of usual, day by day: where a season's warmth stands in the mean of the others."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from phenology.garden import Garden
from phenology.model.arrays import Array
from phenology.model.season import SeasonCalendar
from phenology.seasons.season_heat import FEWEST_USUAL, KNOWN_DAYS, cumulative_heat, days_ahead, known_days

FILLED_SHARE = 0.1  # of the days to date; the warmth of a season that lacks more is not known (ours)


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
        return f"{days} {'day' if days == 1 else 'days'} {'ahead of' if self.lead > 0 else 'behind'} usual"


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
