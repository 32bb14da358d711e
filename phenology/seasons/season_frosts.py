"""The last frost of spring and the first of autumn, season by season and place by place."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from phenology.garden import Garden
from phenology.weather.frost import FREEZE_C, first_frosts, last_frosts, midsummer
from phenology.weather.season_weather import SeasonWeather


@dataclass(frozen=True)
class SeasonFrost:
    """The frosts around one summer at one place."""

    place: str  # name of the place
    season: int
    start: date  # first day of the season
    # day of the season of the last frost before midsummer and of the first one after; past the season's end
    # after new year; infinite where there was none; None where too little is known, or it has not come yet
    last: float | None
    first: float | None
    may_yet_be_later: bool = False  # whether midsummer is still ahead, so that `last` may yet be outdone

    @property
    def last_in_spring(self) -> date | None:
        """Date of `last`; None where there is none."""
        return self._date(self.last)

    @property
    def first_in_autumn(self) -> date | None:
        """Date of `first`; None where there is none."""
        return self._date(self.first)

    @property
    def days_between(self) -> int | None:
        """Days between the two frosts; None unless both came and the first of them is known to be final."""
        last, first = self.last_in_spring, self.first_in_autumn
        return None if last is None or first is None or self.may_yet_be_later else (first - last).days - 1

    @property
    def no_frost_in_spring(self) -> bool:
        """Whether no frost came before midsummer, which is over."""
        return self.last is not None and math.isinf(self.last) and not self.may_yet_be_later

    @property
    def no_frost_in_autumn(self) -> bool:
        """Whether none came after midsummer."""
        return self.first is not None and math.isinf(self.first)

    def _date(self, day: float | None) -> date | None:
        return self.start + timedelta(int(day) - 1) if day is not None and math.isfinite(day) else None


def season_frosts(garden: Garden, seasons: tuple[int, ...]) -> list[SeasonFrost]:
    """The frosts of seasons at every place that has weather, measured days only."""
    out = []
    for place in garden.places:
        if place.id in garden.weather:
            record = garden.record_at(((0, place.id),))
            if garden.season in record.seasons:
                record = record.through(garden.season, garden.today)  # a forecast frost has not come
            out += [
                _frosts_of(record, season, garden, place.name)
                for season in seasons
                if season in record.seasons
            ]
    return out


def _frosts_of(record: SeasonWeather, season: int, garden: Garden, place: str) -> SeasonFrost:
    start = garden.calendar.start(season)
    last, first = last_frosts(record).get(season), first_frosts(record).get(season)
    if season == garden.season:
        if garden.today < midsummer(record):
            frozen = np.flatnonzero(record.tmin[record.row(season), : garden.today] <= FREEZE_C)
            so_far = float(frozen[-1] + 1) if len(frozen) else -math.inf
            return SeasonFrost(place, season, start, so_far, None, True)
        first = None if first == math.inf else first
    return SeasonFrost(place, season, start, last, first)
