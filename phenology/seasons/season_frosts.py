"""The last frost of spring and the first of autumn, season by season and place by place."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

import numpy as np

from phenology.garden import Garden
from phenology.weather.frost import FREEZE_C, first_frosts, last_frosts, midsummer
from phenology.weather.season_weather import SeasonWeather


@dataclass(frozen=True)
class SeasonFrost:
    """The frosts around one summer at one place. Days are days of the season, past its end after new year.

    Attributes
    ----------
    place : str
        Name of the place.
    season : int
    last, first : float or None
        Day of the last frost before midsummer and of the first one after; infinite where there was none;
        None where too little is known, or it has not come yet.
    last_open : bool
        Whether midsummer is still ahead, so that `last` may yet be outdone.
    """

    place: str
    season: int
    last: float | None
    first: float | None
    last_open: bool = False

    @property
    def free_days(self) -> int | None:
        """Days between the two frosts; None unless both came."""
        if self.last is None or self.first is None or self.last_open:
            return None
        gap = self.first - self.last
        return int(gap) - 1 if math.isfinite(gap) else None

    def date_of(self, day: float | None, garden: Garden) -> date | None:
        """One of its days as a date; None where there is none."""
        if day is None or not math.isfinite(day):
            return None
        return date.fromordinal(garden.calendar.start(self.season).toordinal() + int(day) - 1)


def season_frosts(garden: Garden, seasons: tuple[int, ...]) -> list[SeasonFrost]:
    """The frosts of seasons at every place that has weather, measured days only.

    Parameters
    ----------
    garden : Garden
    seasons : tuple of int
    """
    out = []
    for place in garden.places:
        if place.id in garden.weather:
            record = garden.record_at(((0, place.id),))
            if garden.season in record.seasons:
                record = record.through(garden.season, garden.today)  # a forecast frost has not come
            out += [one for season in seasons if (one := _of(record, season, garden, place.name)) is not None]
    return out


def _of(record: SeasonWeather, season: int, garden: Garden, place: str) -> SeasonFrost | None:
    if season not in record.seasons:
        return None
    last, first = last_frosts(record).get(season), first_frosts(record).get(season)
    if season == garden.season:
        if garden.today < midsummer(record):
            return SeasonFrost(place, season, _so_far(record, season, garden.today), None, True)
        first = None if first == math.inf else first
    return SeasonFrost(place, season, last, first)


def _so_far(record: SeasonWeather, season: int, today: int) -> float | None:
    """The latest frost of a season up to today; infinite for none yet."""
    low = record.tmin[record.row(season), :today]
    frozen = np.flatnonzero(low <= FREEZE_C)
    return float(frozen[-1] + 1) if len(frozen) else -math.inf
