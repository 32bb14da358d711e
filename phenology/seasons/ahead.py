"""Days ahead of usual, day by day: where a season's warmth stands in the mean of the others."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phenology.garden import Garden
from phenology.model.arrays import Array
from phenology.seasons.season_heat import FEWEST_USUAL, KNOWN_DAYS, cumulative_heat, days_ahead, known_days


@dataclass(frozen=True)
class HeatCourse:
    """Warmth through a season beside past ones, at a garden's first place.

    Attributes
    ----------
    season : int
    heat : ndarray, shape (today + 1,)
        Degree-days above `phenology.seasons.season_heat.BASE_C` by the end of each day up to today. [degC d]
    past : dict of season to ndarray, shape (days + 1,)
        The same for whole past seasons.
    ahead : ndarray, shape (today + 1,)
        Days ahead (+) of or behind (-) the mean of the past seasons; NaN where that cannot be said: with too
        few seasons, or while so little warmth gathers that days mean nothing.
    """

    season: int
    heat: Array
    past: dict[int, Array]
    ahead: Array

    @property
    def lead(self) -> float | None:
        """Days ahead of usual by now; None where that cannot be said."""
        return float(self.ahead[-1]) if np.isfinite(self.ahead[-1]) else None

    @property
    def words(self) -> str:
        """How far ahead of usual the season is."""
        if len(self.past) < FEWEST_USUAL:
            return "too few past seasons of weather to say what is usual"
        if self.lead is None:
            return "too cool a time of year to say how far ahead of usual"
        days = abs(round(self.lead))
        if days == 0:
            return "as usual"
        return f"{days} {'day' if days == 1 else 'days'} {'ahead of' if self.lead > 0 else 'behind'} usual"


def heat_course(garden: Garden) -> HeatCourse:
    """The warmth of the season under way, and how far ahead of usual it has been.

    Raises
    ------
    WeatherError
        If the first place has no weather.
    """
    record = garden.record_at(((0, garden.places[0].id),))
    past = {
        season: cumulative_heat(record, season)
        for season in record.seasons
        if season < garden.season and known_days(record, season).sum() >= KNOWN_DAYS
    }
    if garden.season not in record.seasons:
        return HeatCourse(garden.season, np.zeros(1), past, np.full(1, np.nan))
    heat = cumulative_heat(record, garden.season)[: garden.today + 1]
    return HeatCourse(garden.season, heat, past, days_ahead(heat, list(past.values())))
