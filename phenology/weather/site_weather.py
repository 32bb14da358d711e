"""The weather of the places of a garden by seasons, and what stands in where little or none was measured."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from phenology.model.records import Place
from phenology.model.season import SeasonCalendar
from phenology.weather.season_weather import SeasonWeather
from phenology.weather.series import DailyWeather

if TYPE_CHECKING:
    from phenology.weather.zonal_climate import ZonalClimate

ENOUGH_YEARS = 5
"""With fewer past years of weather the latitude's usual warmth stands in for them (ours: with five, real
years alone come as close at Harvard Forest)."""

WHOLE_YEAR = 0.8
"""Share of its days from which on a season, or what was to come of it, is known (ours)."""

NEAR_DEGREES, NEAR_HEIGHT = 0.3, 300.0
"""A place without weather takes that of another this near (ours). [degrees of latitude], [m]"""


def place_beside(place: Place, places: Sequence[Place], weather: Mapping[str, DailyWeather]) -> Place | None:
    """The place whose weather a place has: itself, or the nearest beside it; None where none is known."""

    def away(other: Place) -> float:
        east = (place.longitude - other.longitude) * math.cos(math.radians(place.latitude))
        return math.hypot(place.latitude - other.latitude, east)

    def as_high(other: Place) -> bool:
        heights = place.elevation, other.elevation
        return None in heights or abs((heights[0] or 0.0) - (heights[1] or 0.0)) <= NEAR_HEIGHT

    known = [p for p in places if p.id in weather and weather[p.id].known.any()]
    if any(p.id == place.id for p in known):
        return place
    near = [p for p in known if away(p) <= NEAR_DEGREES and as_high(p)]
    return min(near, key=away, default=None)


@dataclass(frozen=True, eq=False, repr=False)
class PlaceWeather:
    """A place with the weather that it has, if any."""

    place: Place
    series: DailyWeather | None  # its own, or that of a place beside it
    calendar: SeasonCalendar
    looked: Collection[int]  # seasons of which there are records
    season: int  # the season under way

    def record(self) -> SeasonWeather:
        """Its seasons; the one under way, unknown, where nothing was measured."""
        if self.series is None:
            return SeasonWeather.unknown(self.calendar, self.season, self.place.latitude)
        return SeasonWeather.cut(self.series, self.calendar, self.place.latitude)

    def climate(self) -> ZonalClimate:
        """The usual warmth of its latitude and height, brought to the days measured.

        Notes
        -----
        What looks of seasons without weather teach was learned on this same usual year, and a forecast on
        it takes back what is wrong with it: each such season leaves less doubt about the place (ours).
        """
        from phenology.weather.zonal_climate import ZonalClimate

        climate = ZonalClimate.at(self.place.latitude, self.place.elevation)
        if self.series is not None:
            measured = self.series.only(self.series.source != "forecast")
            climate = climate.given(measured.first_day, measured.tmin, measured.tmax)
        record = self.record()
        known = {s for s in record.seasons if record.known_share(s) > WHOLE_YEAR}
        blind = len(set(self.looked) - known - {self.season})
        return climate.surer(1 / math.sqrt(1 + blind))


def site_record(parts: Sequence[tuple[int, PlaceWeather]]) -> SeasonWeather:
    """The weather of a tree's places by seasons, each with the day of the season after which it stands there.

    Where a place has few past years, `SeasonWeather.possible` holds years about the usual warmth of the
    latitude and the days there are, and seasons of records that the weather does not reach are there,
    unknown: they teach on the usual year.
    """
    records = [one.record() for _, one in parts]
    first, last = min(r.seasons[0] for r in records), max(r.seasons[-1] for r in records)
    records = [r.widened(first, last) for r in records]
    found = replace(records[0], tmin=records[0].tmin.copy(), tmax=records[0].tmax.copy())
    said = [np.zeros(r.tmin.shape, dtype=bool) if r.forecast is None else r.forecast for r in records]
    ahead = said[0].copy()
    for (day, _), other, theirs in zip(parts[1:], records[1:], said[1:], strict=True):
        found.tmin[:, day:], found.tmax[:, day:] = other.tmin[:, day:], other.tmax[:, day:]
        ahead[:, day:] = theirs[:, day:]
    possible = None
    if any(_has_few_years(r, one.season) for r, (_, one) in zip(records, parts, strict=True)):
        years = [one.climate().years(one.calendar) for _, one in parts]
        possible = years[0]
        for (day, _), after in zip(parts[1:], years[1:], strict=True):
            possible = possible.moved_to(after, day)
    found = replace(found, forecast=ahead if ahead.any() else None, possible=possible)
    looked = parts[0][1].looked
    return found.widened(min(looked), max(looked)) if possible is not None and looked else found


def _has_few_years(record: SeasonWeather, now: int) -> bool:
    """Whether from some day on few seasons but the one under way know what was still to come."""
    past = np.array([season != now for season in record.seasons])
    known = (np.isfinite(record.tmin) & np.isfinite(record.tmax))[past, :365]
    return any((known[:, day:].mean(1) > WHOLE_YEAR).sum() < ENOUGH_YEARS for day in range(0, 306, 61))
