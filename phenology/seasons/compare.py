"""Seasons side by side: how warm each has been, how far ahead of usual, and when each stage came."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from phenology.garden import Garden
from phenology.model.arrays import Array
from phenology.model.errors import InputError
from phenology.model.records import Tree
from phenology.seasons.season_frosts import SeasonFrost, season_frosts
from phenology.seasons.season_heat import KNOWN_DAYS, cumulative_heat, days_ahead, known_days
from phenology.seasons.tree_stages import (
    SpeciesStage,
    TreeStage,
    loose_stages,
    species_stages,
    tree_stages,
)
from phenology.weather.season_weather import SeasonWeather

FILLED_SHARE = 0.1  # of the days to date; the warmth of a season that lacks more is not known (ours)


@dataclass(frozen=True)
class SeasonWarmth:
    """One season's warmth up to a day of it.

    Attributes
    ----------
    season : int
    through : date
        Last day of the season counted.
    degree_days : float or None
        Above `phenology.seasons.season_heat.BASE_C`, single sine; None where too little was measured, as the
        ranks. [degC d]
    rank : int or None
        1 for the warmest of the seasons shown by that day.
    rank_of_all : int or None
        The same among all seasons known to this day.
    of_all : int
        How many those are.
    days_ahead : float or None
        Days ahead (+) of or behind (-) the usual season; None with too few seasons to say, or at a time of
        year too cool for days to mean anything.
    days_filled : int
        Days filled because the weather lacks them.
    """

    season: int
    through: date
    degree_days: float | None
    rank: int | None
    rank_of_all: int | None
    of_all: int
    days_ahead: float | None
    days_filled: int


@dataclass(frozen=True)
class Comparison:
    """Seasons side by side.

    Attributes
    ----------
    garden : Garden
    seasons : tuple of int
    place : str
        Whose warmth is compared: the garden's first place.
    warmth : tuple of SeasonWarmth
    stages : tuple of SpeciesStage
    trees : tuple of TreeStage
    loose : tuple of (Tree, season)
        One for each stage that looks bracket too loosely to date it.
    frosts : tuple of SeasonFrost
    courses : mapping of season to (heat, ahead)
        Degree-days by the end of each day, and days ahead of usual; up to today in the season under way.
    """

    garden: Garden
    seasons: tuple[int, ...]
    place: str
    warmth: tuple[SeasonWarmth, ...]
    stages: tuple[SpeciesStage, ...]
    trees: tuple[TreeStage, ...]
    loose: tuple[tuple[Tree, int], ...]
    frosts: tuple[SeasonFrost, ...]
    courses: Mapping[int, tuple[Array, Array]]

    @property
    def usual_known(self) -> bool:
        """Whether there are seasons enough to say what is usual, on some day."""
        return any(np.isfinite(ahead).any() for _, ahead in self.courses.values())

    def ahead_on(self, season: int, day: int) -> float | None:
        """Days ahead of usual at the end of a day; None where it cannot be said or has not come."""
        ahead = self.courses[season][1]
        return float(ahead[day]) if day < len(ahead) and np.isfinite(ahead[day]) else None


def compare_seasons(garden: Garden, seasons: Sequence[int] | None = None) -> Comparison:
    """Compare seasons up to the same day of each: today's.

    Parameters
    ----------
    garden : Garden
    seasons : sequence of int, optional
        Seasons to show; by default the one under way and up to five before it.

    Raises
    ------
    InputError
        If a season asked for has no weather.
    """
    garden.check_weather_is_fresh()
    place = garden.places[0]
    record = garden.record_at(((0, place.id),))
    with_weather = [s for s in record.seasons if s <= garden.season and known_days(record, s).any()]
    wanted = tuple(sorted(seasons)) if seasons else tuple(with_weather[-6:])
    for season in wanted:
        if season not in with_weather:
            have = ", ".join(garden.calendar.label(s) for s in with_weather)
            raise InputError(
                f"there is no weather for season {garden.calendar.label(season)}; there is for {have}"
            )
    curves = {s: cumulative_heat(record, s) for s in with_weather}
    courses = {s: _course(s, curves, record, garden) for s in wanted}
    trees = [one for one in tree_stages(garden) if one.season in wanted]
    return Comparison(
        garden,
        wanted,
        place.name,
        tuple(_warmth(wanted, curves, courses, record, garden)),
        tuple(species_stages(garden, trees)),
        tuple(trees),
        tuple(one for one in loose_stages(garden) if one[1] in wanted),
        tuple(season_frosts(garden, wanted)),
        courses,
    )


def _course(
    season: int, curves: Mapping[int, Array], record: SeasonWeather, garden: Garden
) -> tuple[Array, Array]:
    others = [
        curve
        for s, curve in curves.items()
        if s not in (season, garden.season) and known_days(record, s).sum() >= KNOWN_DAYS
    ]
    heat = curves[season][: garden.today + 1] if season == garden.season else curves[season]
    lacking = np.cumsum(~known_days(record, season)[: len(heat) - 1])
    enough = np.concatenate([[True], lacking <= FILLED_SHARE * np.arange(1, len(heat))])
    return heat, np.where(enough, days_ahead(heat, others), np.nan)


def _warmth(
    wanted: Sequence[int],
    curves: Mapping[int, Array],
    courses: Mapping[int, tuple[Array, Array]],
    record: SeasonWeather,
    garden: Garden,
) -> list[SeasonWarmth]:
    days = {s: min(garden.today, record.calendar.length(s)) for s in curves}
    filled = {s: int((~known_days(record, s)[: days[s]]).sum()) for s in curves}
    heats = {s: float(curves[s][days[s]]) for s in curves if filled[s] <= FILLED_SHARE * garden.today}

    def rank(season: int, among: Sequence[int]) -> int | None:
        return 1 + sum(heats[s] > heats[season] for s in among if s in heats) if season in heats else None

    out = []
    for season in wanted:
        ahead = float(courses[season][1][days[season]])
        out.append(
            SeasonWarmth(
                season,
                garden.calendar.date(season, garden.today),
                heats.get(season),
                rank(season, wanted),
                rank(season, list(heats)),
                len(heats),
                ahead if np.isfinite(ahead) else None,
                filled[season],
            )
        )
    return out
