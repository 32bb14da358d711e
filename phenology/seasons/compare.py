"""Seasons side by side: how warm each has been, how far ahead of usual, when stages and frosts came."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from phenology.garden import Garden
from phenology.model.errors import InputError, WeatherError
from phenology.model.records import Tree
from phenology.seasons.season_heat import HeatCourse, heat_courses
from phenology.seasons.tree_stages import SpeciesStage, TreeStage, loose_stages, species_stages, tree_stages
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


@dataclass(frozen=True)
class SeasonWarmth:
    """One season's warmth up to a day of it."""

    season: int
    through: date  # last day of the season counted
    # above `season_heat.BASE_C`, single sine; None where too little was measured, as the ranks [degC d]
    degree_days: float | None
    rank: int | None  # 1 for the warmest of the seasons shown by that day
    rank_of_all: int | None  # the same among all seasons known to this day
    of_all: int  # how many those are
    # days ahead (+) of or behind (-) the usual season; None with too few seasons to say, or at a time of year
    # too cool for days to mean anything
    days_ahead: float | None
    days_filled: int  # days filled because the weather lacks them


@dataclass(frozen=True)
class Comparison:
    """Seasons side by side."""

    garden: Garden
    seasons: tuple[int, ...]
    place: str  # whose warmth is compared: the garden's first place
    warmth: tuple[SeasonWarmth, ...]
    stages: tuple[SpeciesStage, ...]
    trees: tuple[TreeStage, ...]
    loose: tuple[tuple[Tree, int], ...]  # one for each stage that looks bracket too loosely to date it
    frosts: tuple[SeasonFrost, ...]
    courses: Mapping[int, HeatCourse]

    @property
    def usual_known(self) -> bool:
        """Whether there are seasons enough to say what is usual, on some day."""
        return any(np.isfinite(course.ahead).any() for course in self.courses.values())

    def ahead_on(self, season: int, day: int) -> float | None:
        """Days ahead of usual at the end of a date, given as a day of the season under way.

        None where it cannot be said or has not come.
        """
        calendar = self.garden.calendar
        return self.courses[season].ahead_on(
            calendar.same_day(calendar.date(self.garden.season, day), season)
        )


def compare_seasons(garden: Garden, seasons: Sequence[int] | None = None) -> Comparison:
    """Compare seasons up to the same date of each: today's.

    Parameters
    ----------
    seasons : sequence of int, optional
        Seasons to show; by default the one under way and up to five before it.

    Raises
    ------
    InputError
        If a season asked for has no weather.
    WeatherError
        If none has.
    """
    courses = heat_courses(garden)
    with_weather = [season for season, course in courses.items() if len(course.heat) > 1]
    if not with_weather:
        raise WeatherError(
            "there is no weather to compare yet; add some with `flushcast weather update` or "
            "`flushcast weather add FILE`"
        )
    wanted = tuple(sorted(seasons)) if seasons else tuple(with_weather[-6:])
    for season in wanted:
        if season not in with_weather:
            have = ", ".join(garden.calendar.label(s) for s in with_weather)
            raise InputError(
                f"there is no weather for season {garden.calendar.label(season)}; there is for {have}"
            )
    trees = [one for one in tree_stages(garden) if one.season in wanted]
    return Comparison(
        garden,
        wanted,
        garden.places[0].name,
        tuple(_warmth(garden, wanted, courses)),
        tuple(species_stages(garden, trees)),
        tuple(trees),
        tuple(one for one in loose_stages(garden) if one[1] in wanted),
        tuple(season_frosts(garden, wanted)),
        {season: courses[season] for season in wanted},
    )


def _warmth(
    garden: Garden, wanted: Sequence[int], courses: Mapping[int, HeatCourse]
) -> Iterator[SeasonWarmth]:
    today = {season: garden.calendar.same_day(garden.as_of, season) for season in courses}
    heats = {
        season: float(course.heat[min(today[season], len(course.heat) - 1)])
        for season, course in courses.items()
        if len(course.heat) > 1 and course.measured(today[season])
    }
    for season in wanted:
        course = courses[season]
        day = min(today[season], len(course.heat) - 1)
        warmer = [s for s, heat in heats.items() if season in heats and heat > heats[season]]
        yield SeasonWarmth(
            season,
            garden.calendar.date(season, today[season]),
            heats.get(season),
            1 + len(set(warmer) & set(wanted)) if season in heats else None,
            1 + len(warmer) if season in heats else None,
            len(heats),
            course.ahead_on(day),
            int(course.filled[day]),
        )
